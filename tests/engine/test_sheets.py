"""Flow sheets as found in practice: read as they are meant, or asked about; never by half, and back again bit for bit."""

import re
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from waveflow.engine.case import load_text
from waveflow.engine.grid import grid_of_text, read_grid
from waveflow.engine.sheetnormal import case_lines, groups, leak_of, normal_csv
from waveflow.engine.sheetnumbers import decimal_mark, plain_number
from waveflow.engine.sheetreading import flow_file, read_flow_file
from waveflow.errors import CaseError

MESSY = Path(__file__).with_name("messy_sheets.txt").read_text(encoding="utf-8")
ESCAPES = (("\\t", "\t"), ("\\r", "\r"), ("\\ufeff", "\ufeff"))
DONE = {"depression": "28 inH2O", "leak subtracted": "yes"}


def blocks():
    for block in MESSY.split("== ")[1:]:
        name, _, rest = block.partition("\n")
        text, _, told = rest.partition("->\n")
        for written, meant in ESCAPES:
            text = text.replace(written, meant)
        yield pytest.param(text, told.rstrip("\n").split("\n"), id=name)


def told(text, answers=None):
    """What is understood of a text, line by line."""
    try:
        made = flow_file(grid_of_text(text, "x.csv"), answers)
    except CaseError as error:
        return str(error).split("\n")
    out = [f"lift {' '.join(made.lifts)} {made.lift_unit or '?'}"] if made.lifts else []
    for each in made.columns:
        shut = f", shut {each.shut}" if each.shut else ""
        readings = " ".join(text or "_" for text in each.texts)
        label = f" {each.label}" if each.label else ""
        out.append(f"{each.side or '?'}{label}: {readings} {each.unit or '?'} @ {each.depression or '?'}{shut}")
    out += [f"bad {each}" for each in made.bad_rows]
    out += [f"ask {each.key}: {each}" for each in made.questions]
    out += [f"note {each}" for each in made.notes]
    return out + (["foreign bench"] if made.foreign else [])


@pytest.mark.parametrize(("text", "expected"), list(blocks()))
def test_messy_sheets_are_read_or_asked_about(text, expected):
    assert told(text) == expected


def test_there_are_enough_of_them():
    assert len(list(blocks())) >= 60


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "utf-16-be", "cp1252"])
@pytest.mark.parametrize("name", ["sheet.csv", "sheet.txt"])
def test_encodings(encoding, name, tmp_path):
    text = "Prüfdruck;28 inH2O\r\nHub (mm);Einlaß (m³/h)\r\n1,5;30,6\r\n2,5;57,8\r\n"
    path = tmp_path / name
    path.write_bytes(text.encode(encoding))
    made = read_flow_file(path)
    assert made.ready and made.lifts == ("1.5", "2.5") and made.columns[0].texts == ("30.6", "57.8")
    assert made.columns[0].unit == "m3/h" and made.columns[0].depression == "28 inH2O"
    assert bool(made.notes) == (encoding not in ("utf-8", "utf-8-sig"))


# round trip ----------------------------------------------------------------------------------------------------------

NUMBERS = st.decimals("0.01", "900", places=3).map(lambda number: format(number.normalize(), "f"))


@st.composite
def sheets(draw):
    """(lift texts, {heading: flow texts}, lift unit, flow unit)"""
    lifts = sorted(set(draw(st.lists(NUMBERS, min_size=2, max_size=12))), key=float)
    sides = draw(st.sampled_from((("intake",), ("exhaust",), ("intake", "exhaust"))))
    flows = {side: draw(st.lists(NUMBERS, min_size=len(lifts), max_size=len(lifts))) for side in sides}
    return lifts, flows, draw(st.sampled_from(("mm", "in", "thou"))), draw(st.sampled_from(("CFM", "L/s", "L/min", "m3/h")))


DIALECTS = ((",", ".", "\n"), (";", ".", "\n"), (";", ",", "\r\n"), ("\t", ".", "\r\n"), ("\t", ",", "\n"))


def written(sheet, separator, mark, end, units_below=False):
    lifts, flows, lift_unit, flow_unit = sheet
    heads = ["lift", *flows] if units_below else [f"lift ({lift_unit})", *(f"{side} ({flow_unit})" for side in flows)]
    rows = [["depression", "28 inH2O"], heads, *([[lift_unit, *[flow_unit] * len(flows)]] if units_below else [])]
    rows += [[each.replace(".", mark) for each in row] for row in zip(lifts, *flows.values(), strict=True)]
    return "".join(separator.join(row) + end for row in rows)


@given(sheets(), st.sampled_from(DIALECTS), st.booleans())
@settings(max_examples=150, deadline=None)
def test_every_dialect_gives_the_same_numbers_and_they_come_back_exactly(sheet, dialect, units_below):
    text = written(sheet, *dialect, units_below)
    numbers = [each.replace(".", dialect[1]) for row in (sheet[0], *sheet[1].values()) for each in row]
    answers = {"decimal mark": "comma" if dialect[1] == "," else "point"} if not decimal_mark(numbers, dialect[0])[0] else {}
    made = flow_file(grid_of_text(text, "x.csv"), answers)
    if len(sheet[0]) < 2:
        return
    assert made.ready, [str(each) for each in (*made.questions, *made.bad_rows)]
    assert [float(each) for each in made.lifts] == [float(each) for each in sheet[0]]
    again = flow_file(grid_of_text(normal_csv(made, list(made.columns)), "y.csv"))
    assert again.ready and again.lifts == made.lifts and again.lift_unit == sheet[2]
    for one, other in zip(made.columns, again.columns, strict=True):
        assert (one.texts, one.side, one.unit, one.depression) == (other.texts, other.side, other.unit, other.depression)
        assert made.readings(one) == again.readings(other)
        assert [float(each) for each in one.texts] == [float(each) for each in sheet[1][one.side]]
    assert normal_csv(again, list(again.columns)) == normal_csv(made, list(made.columns))


@given(st.from_regex(r"[0-9]{1,6}(\.[0-9]{1,6})?", fullmatch=True))
def test_a_number_is_the_same_with_either_mark(number):
    assert plain_number(number, "point") == number == plain_number(number.replace(".", ","), "comma")


@given(st.text(alphabet="0123456789.,+-eE ;\"'x\tmin", max_size=60))
@settings(max_examples=300, deadline=None)
def test_any_cell_is_a_number_a_question_or_a_bad_row(cell):
    cell = cell.replace("\t", " ").replace('"', "").replace(";", "").strip()
    lines = told(f"lift (mm);intake (CFM @ 28 inH2O)\n1;18\n2;{cell}\n3;48\n")
    assert lines and all("Traceback" not in line for line in lines)


def test_lift_over_diameter_is_multiplied_out_exactly():
    made = flow_file(grid_of_text("L/D,intake (CFM)\n0.05,30\n0.1,60\n", "x.csv"), DONE | {"intake valve": "38.5 mm"})
    assert made.ready and made.lift_texts("intake") == (("1.925", "3.85"), "mm")
    assert "lift (mm),intake (CFM)\n1.925,30\n3.85,60\n" in normal_csv(made, list(made.columns))


def test_before_and_after_in_one_file_become_two_files_that_cases_can_use(tmp_path, monkeypatch):
    text = ";Einlass;;Auslass;\nHub;vorher;nachher;vorher;nachher\nmm;CFM;CFM;CFM;CFM\n0;1;1,2;0,5;0,5\n"
    text += "1,5;28,5;31;25;26\n3;52;57,5;47;48\n6;82;95;60;66\n9;99;110;77;82\n"
    answers = {"depression": "28 inH2O", "leak subtracted": "no", "plate corrected": "yes"}
    made = flow_file(grid_of_text(text, "x.csv"), answers)
    assert [name for name, _ in groups(made)] == ["before", "after"]
    monkeypatch.chdir(tmp_path)
    for name, columns in groups(made):
        Path(f"{name}.csv").write_text(normal_csv(made, columns))
        again = read_flow_file(Path(f"{name}.csv"))
        assert again.ready
        assert [again.readings(one) for one in again.columns] == [made.readings(one) for one in columns]
        lines = "\n".join(case_lines(made, each, f"{name}.csv") for each in columns)
        assert [leak_of(again, one) for one in again.columns] == [leak_of(made, one) for one in columns]
        assert 'leak = "1.2 CFM"' in lines or name == "before"
        case = _case_with(lines, tmp_path)
        flow = case.intake.flow
        assert [flow.lift[0], flow.flow[0]] == [made.readings(columns[0])[0][0], made.readings(columns[0])[1][0]]
        assert flow.leak_subtracted is False and flow.plate_corrected is True


def _case_with(lines, folder):
    """The starter case with pasted flow tables in the place of its own."""
    from waveflow.engine.case import load

    text = (Path(__file__).parents[2] / "cases" / "starter.toml").read_text()
    text = re.sub(r"(?ms)^\[(?:intake|exhaust)\.flow\][^\n]*\n.*?(?=^\[[a-z])", "", text)
    (folder / "case.toml").write_text(text + "\n" + lines)
    return load(folder / "case.toml")


# answers -------------------------------------------------------------------------------------------------------------


CURE = "; leave the answer out, or correct the sheet"


@pytest.mark.parametrize(
    ("answers", "sentence"),
    [
        ({"depression": "10 inH2O"}, 'depression = "10 inH2O": the sheet itself says 28 inH2O' + CURE),
        ({"lift unit": "in"}, 'lift unit = "in": the sheet itself says mm in column 1' + CURE),
        ({"lift unit": "furlong"}, 'lift unit = "furlong": not known; one of mm, in, thou'),
        ({"flow unit": "L/s"}, 'flow unit = "L/s": the sheet itself says CFM in column 2' + CURE),
        ({"side": "inlet valve"}, 'side = "inlet valve": not known; intake or exhaust'),
        ({"leak": "1"}, 'leak = "1": not a number with a unit; units: CFM, L/s, m3/s, m3/h, L/min, m3/min'),
        ({"leak subtracted": "perhaps"}, 'leak subtracted = "perhaps": not known; yes or no'),
        (
            {"column 2": "banana"},
            'column 2 = "banana": does not say what the column is; say lift, lift/diameter, unused, or such as intake before',
        ),
    ],
)
def test_answers_that_contradict_or_make_no_sense_are_refused(answers, sentence):
    assert told("Depression,28 inH2O\nlift (mm),intake (CFM)\n1,18\n2,34\n", answers) == [f"x.csv: {sentence}"]


def test_each_question_is_settled_by_its_own_readings():
    """Answering with the first reading offered, again and again, ends with a sheet that is ready."""
    for case in blocks():
        text, expected = case.values
        if not any(line.startswith("lift ") for line in expected) or any(line.startswith("bad") for line in expected):
            continue
        answers = {}
        for _ in range(9):
            made = flow_file(grid_of_text(text, "x.csv"), answers)
            if not made.questions:
                break
            answers[made.questions[0].key] = made.questions[0].readings[0]
        assert not made.questions, (case.id, [str(each) for each in made.questions])


# workbooks -----------------------------------------------------------------------------------------------------------


def workbook(path, pages):
    xlsxwriter = pytest.importorskip("xlsxwriter")
    book = xlsxwriter.Workbook(path, {"strings_to_formulas": False, "strings_to_urls": False})
    for name, rows in pages.items():
        page = book.add_worksheet(name)
        for r, row in enumerate(rows):
            for c, cell in enumerate(row):
                if cell is not None:
                    (page.write_string if isinstance(cell, str) else page.write_number)(r, c, cell)
    book.close()


def test_a_workbook_is_read_with_its_numbers_as_they_are(tmp_path):
    rows = [["Lift (mm)", "Intake (CFM @ 28 inH2O)"], [1.27, 18.12345678901], [None, None], [2.54, 33.125]]
    workbook(tmp_path / "b.xlsx", {"sheet": rows, "other": [["x"]]})
    made = read_flow_file(tmp_path / "b.xlsx")
    assert made.ready and [float(text) for text in made.columns[0].texts] == [18.12345678901, 33.125]
    assert made.lines == (2, 4) and 'page "sheet" of the workbook; its other pages, other, are not read' in made.notes
    with pytest.raises(CaseError, match='has no page "third"; its pages are sheet, other'):
        read_grid(tmp_path / "b.xlsx", page="third")
    (tmp_path / "c.xlsx").write_bytes(b"PK\x03\x04 nonsense")
    with pytest.raises(CaseError, match="c.xlsx: cannot be read as a workbook"):
        read_grid(tmp_path / "c.xlsx")


def test_without_its_reader_a_workbook_is_refused_with_the_cure(tmp_path, monkeypatch):
    import sys

    monkeypatch.setitem(sys.modules, "python_calamine", None)
    (tmp_path / "b.xlsx").write_bytes(b"PK")
    with pytest.raises(CaseError, match=r'not installed; pip install "waveflow\[sheets\]", or save the page as CSV'):
        read_grid(tmp_path / "b.xlsx")


# hostile cells -------------------------------------------------------------------------------------------------------

HOSTILE = [
    "=1+1",
    "=cmd|' /C calc'!A0",
    "+1+1",
    "-1+1",
    "@SUM(A1)",
    '=HYPERLINK("http://x","y")',
    "\x1b[2J",
    "\x07bell",
    "\u202eabc",
    "\ufffe",
    "\ud800",
    "9" * 400,
    "1" + "0" * 320,
    "1e308",
    "1e309",
    "1e-400",
    "NaN",
    "nan",
    "inf",
    "-inf",
    "Infinity",
    "0x10",
    "1_000",
    "٣",
    "Ⅳ",
    "½",
    "1/2",
    "1 1/2",
    "1:30",
    "12:00:01",
    "2024-05-01",
    "1.5.2024",
    "May-01",
    "TRUE",
    "#REF!",
    "#DIV/0!",
    "1,2,3,4",
    "1.2.3.4",
    "1..5",
    "..",
    ",",
    ".",
    "--5",
    "+-5",
    "5-",
    "5 5",
    "5\u00a05",
    "5\u20095",
    "１８",
    "1e5e5",
    "e5",
    "5e",
    "'18",
    "''18",
    "18'",
    "$18",
    "18 €",
    "18 CFM CFM",
    "18 furlong",
    "x" * 5000,
    "%s%n",
    "../../etc/passwd",
    "<script>",
    "{0}",
    "\\x00",
    "18;19",
    "\\",
    "\u2028",
    "\ufeff18",
    "18\u200b",
]


@pytest.mark.parametrize("cell", HOSTILE, ids=range(len(HOSTILE)))
def test_a_hostile_cell_is_named_with_its_row_and_nothing_else_is_lost(cell):
    quoted = '"' + cell.replace('"', '""') + '"'
    made = flow_file(grid_of_text(f"lift (mm),intake (CFM @ 28 inH2O)\n1,18\n2,{quoted}\n3,48\n", "x.csv"))
    if made.questions:
        assert made.questions[0].key == "decimal mark"
        return
    if made.bad_rows:
        assert [each.line for each in made.bad_rows] == [3] and made.columns[0].texts == ("18", "48")
        assert all(len(str(each)) < 200 for each in made.bad_rows)
        with pytest.raises(ValueError):
            normal_csv(made, list(made.columns))
    elif len(made.lifts) == 3:
        assert 0.0 <= float(made.columns[0].texts[1]) < 1e12
    else:
        assert any("row 3" in note for note in made.notes)


def test_hostile_remarks_cannot_leave_their_line():
    text = (
        "# bench: x\x1b[2J\u202ey\nbench;'evil'\u2028[intake.flow]\nDepression;28 inH2O\nlift (mm);intake (CFM)\n1;18\n2;34\n"
    )
    made = flow_file(grid_of_text(text, "x.csv"), {"leak subtracted": "yes", "plate corrected": "yes"})
    lines = case_lines(made, made.columns[0], 'a"b\n.csv')
    assert lines.count("\n[") == 0 and "\x1b" not in lines + normal_csv(made, list(made.columns))
    assert load_text.__name__ and lines.isprintable() is False  # line ends only
    assert all(line.isprintable() for line in lines.split("\n"))


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        ("x" * 10 + "\0", "x.csv:1: holds a zero byte: neither text nor a workbook"),
        ("1,2\n" * 6000, "x.csv: more than 5000 lines"),
        ("1," * 300, "x.csv:1: more than 200 columns"),
    ],
)
def test_what_cannot_be_a_table_is_refused(text, sentence):
    assert told(text) == [sentence]


def test_a_leading_zero_never_parts_thousands():
    """"0.100" in a table of decimal commas is no hundred: the row is refused, not read as a lift of 100."""
    assert plain_number("0.100", "comma") == "" and plain_number("0,100", "point") == ""
    assert plain_number("1.270", "comma") == "1270" and plain_number("0,100", "comma") == "0.100"
