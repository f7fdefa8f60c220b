"""Workbooks: every table of a result, numbers as numbers, and no text that could become more than text."""

import math

import numpy as np
import pytest
from made_up import Engine, make_case

from waveflow.study.compare import compare
from waveflow.study.sweep import sweep
from waveflow.study.workbook import Page, comparison_pages, sweep_pages, workbook

pytest.importorskip("xlsxwriter")
calamine = pytest.importorskip("python_calamine")

HOSTILE = [
    "=1+1",
    "=cmd|' /C calc'!A0",
    "+1",
    "-1+2",
    "@SUM(A1)",
    "{=A1}",
    '=HYPERLINK("http://x")',
    "http://example.org",
    "mailto:a@b",
    "file:///etc/passwd",
    "internal:Sheet1!A1",
    "007",
    "1e5",
    "TRUE",
    "#REF!",
    "\x1b[2J",
    "\x00",
    "\ud800",
    "\u202eabc",
    "\ufffe",
    "x" * 50000,
    "a\tb\nc\rd",
    "<b>&amp;</b>",
    "]]>",
    "_x0041_",
    "'",
    "''",
    " lead",
    "\ufeff",
    "%s",
    "{0}",
]


def read(data, tmp_path):
    (tmp_path / "b.xlsx").write_bytes(data)
    book = calamine.CalamineWorkbook.from_path(str(tmp_path / "b.xlsx"))
    return {name: book.get_sheet_by_name(name).to_python() for name in book.sheet_names}


def test_hostile_texts_stay_texts(tmp_path):
    import zipfile

    data = workbook([Page("p", ["text", "=head"], [[text, 1.5] for text in HOSTILE])])
    rows = read(data, tmp_path)["p"]
    assert rows[0] == ["text", "=head"] and [row[1] for row in rows[1:]] == [1.5] * len(HOSTILE)
    assert all(isinstance(row[0], str) and len(row[0]) <= 1000 for row in rows[1:])
    assert rows[1][0] == "=1+1" and rows[HOSTILE.index("007") + 1][0] == "007"
    with zipfile.ZipFile(tmp_path / "b.xlsx") as parts:
        sheet = parts.read("xl/worksheets/sheet1.xml").decode()
        assert "<f>" not in sheet and "hyperlink" not in sheet.lower()
        assert not [name for name in parts.namelist() if "externalLink" in name]


def test_gaps_are_empty_cells_and_numbers_keep_sixteen_digits(tmp_path):
    values = [1 / 3, 1e-300, -2.5e9, math.nan, math.inf, None, 0.0]
    rows = read(workbook([Page("p", ["x", "y"], [[value, "end"] for value in values])]), tmp_path)["p"][1:]
    for row, value in zip(rows, values, strict=True):
        if value is None or not math.isfinite(value):
            assert row[0] == ""
        else:
            assert row[0] == pytest.approx(value, rel=2e-16, abs=0)


def test_page_names_are_made_lawful_and_unlike(tmp_path):
    names = ["a/b:c*?[]\\", "'quoted'", "x" * 60, "x" * 61, "", "History", "points", "POINTS"]
    pages = read(workbook([Page(name, ["h"], [["v"]]) for name in names]), tmp_path)
    assert len(pages) == len(names) and all(0 < len(name) <= 31 for name in pages)


def test_the_same_pages_give_the_same_bytes():
    pages = [Page("p", ["x"], [[1.0], ["a"]])]
    assert workbook(pages) == workbook(pages)


def results():
    rpm = [3000.0, 4000.0, 5000.0, 6000.0]
    one = sweep(make_case("=stock"), rpm, run_point=Engine(broken=(5000.0,)))
    return one, sweep(make_case("bigger"), rpm, run_point=Engine(centre=5600.0))


def test_a_sweep_has_its_points_and_its_cylinders(tmp_path):
    one, _ = results()
    pages = read(workbook(sweep_pages([(one.label, one)], ["a remark"])), tmp_path)
    heads = pages["points"][0]
    torque = heads.index("torque [N m]")
    assert [row[torque] for row in pages["points"][1:]] == pytest.approx([*one.torque[:2], "", one.torque[3]], nan_ok=True)
    assert pages["points"][1][0] == one.label == "=stock" and "gas table" in pages["points"][3][-1]
    cylinders = pages["cylinders"]
    assert len(cylinders) == 1 + 4 * len(one) and cylinders[0][:3] == ["option", "rpm", "cylinder"]
    assert cylinders[2][3] - cylinders[1][3] == pytest.approx(0.1)  # 0.001 in percent
    assert pages["remarks"][1] == ["a remark"]


def test_a_comparison_has_its_options_its_changes_and_all_points(tmp_path):
    one, other = results()
    made = compare([one, other])
    pages = read(workbook(comparison_pages(made)), tmp_path)
    assert pages["options"][0] == ["", *(option.label for option in made.options)]
    heads, *rows = pages["by speed"]
    place = next(k for k, head in enumerate(heads) if head.startswith("change of torque [%]"))
    expected = 100 * (other.torque / one.torque - 1)
    for row in rows:
        k = int(np.flatnonzero(one.rpm == row[0])[0])
        assert row[place] == "" if np.isnan(expected[k]) else row[place] == pytest.approx(expected[k], rel=1e-12)
    assert len(pages["points"]) == 1 + len(one) + len(other)
    assert made.headline in [row[0] for row in pages["remarks"]]
