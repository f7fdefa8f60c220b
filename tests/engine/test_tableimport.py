"""Stations and lift tables out of a spreadsheet: by column name, bad rows by number, units asked for where not said."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from waveflow.engine.grid import grid_of_text
from waveflow.engine.tableimport import import_table
from waveflow.errors import CaseError

LIFT = "angle (deg);lift (mm)\n-50;0\n-40;0,109\n-30;0,443\n"


def table(text, what="stations", **answers):
    return import_table(
        grid_of_text(text, "x.csv"), what, {key.replace("_unit", " unit"): value for key, value in answers.items()}
    )


def told(text, what="stations"):
    with pytest.raises(CaseError) as caught:
        table(text, what)
    return str(caught.value)


def test_a_lift_table_with_decimal_commas_becomes_plain():
    made = table(LIFT, "lift")
    assert made.ready and made.normal_csv() == "angle (deg),lift (mm)\n-50,0\n-40,0.109\n-30,0.443\n"


@pytest.mark.parametrize(
    "text",
    [
        "Distance (mm),Shape,Width (mm),Height (mm),Radius (mm)\n0,round,33.5,,\n20,rounded rectangle,30,27.5,8\n",
        "shape\tat\twidth\theight\tcorner\n\tmm\tmm\tmm\tmm\nround\t0\t33,5\t\t\nrounded rectangle\t20\t30\t27,5\t8\n",
        "Port 3;;;;\nat;shape;width;height;corner radius\n0 mm;round;33.5 mm;-;n/a\n"
        "20 mm;rounded rectangle;30 mm;27.5 mm;8 mm\n",
    ],
)
def test_stations_by_column_name(text):
    made = table(text)
    assert made.ready, (made.questions, made.bad_rows)
    rows = [dict(zip(made.columns, cells, strict=True)) for _, cells in made.rows]
    assert [(row["at"], row["width"], row["height"]) for row in rows] == [("0", "33.5", ""), ("20", "30", "27.5")]
    assert rows[1]["shape"] == "rounded rectangle" and made.units["corner_radius"] == "mm"


def test_units_that_nobody_says_are_asked_for():
    made = table("at,shape,width\n0,round,33.5\n20,round,32\n")
    assert [each.key for each in made.questions] == ["at unit", "width unit"]
    assert str(made.questions[0]) == 'unit of column "at": mm or in or another?'
    with pytest.raises(ValueError):
        made.normal_csv()
    assert table("at,shape,width\n0,round,33.5\n20,round,32\n", at_unit="mm", width_unit="in").headings()[-1] == "width (in)"


@pytest.mark.parametrize(
    ("row", "why"),
    [
        ("20,round,x", '"x" in column "width" is not a number'),
        (",round,32", "no at there"),
        ("20,round,-32", '"-32" in column "width" is negative'),
        ("20,round,32 furlong", 'column 3, "width": "furlong" is no unit of it'),
        ("20,round,1.2 in", 'column 3, "width": says in here and mm elsewhere'),
        ("20,round,2024-05-01", "looks like a date"),
        ("20,round,1e999", "is too large"),
    ],
)
def test_bad_rows_by_number_and_reason(row, why):
    made = table(f"at (mm),shape,width (mm)\n0,round,33.5\n{row}\n40,round,31\n")
    assert [each.line for each in made.bad_rows] == [3] and why in made.bad_rows[0].why
    assert [line for line, _ in made.rows] == [2, 4] and not made.ready


def test_what_is_no_such_table_is_refused():
    assert "no row of headings" in told("Dear porter,\nhello\n")
    assert 'x.csv:1: no column "at"; its columns are "shape", "width"' in told("shape,width\nround,3\n")
    assert 'no column "lift"' in told("angle,crank angle,degrees\n1,2,3\n", "lift")


@given(st.lists(st.tuples(st.integers(0, 900), st.integers(1, 9999)), min_size=2, max_size=9), st.sampled_from(",;\t"))
@settings(max_examples=60, deadline=None)
def test_what_is_written_reads_back_exactly(rows, separator):
    mark = "," if separator != "," else "."
    lines = [separator.join((str(x), "round", f"{w // 100}{mark}{w % 100:02d}")) for x, w in rows]
    made = table("\n".join([separator.join(("at (mm)", "shape", "width (mm)")), *lines]))
    again = table(made.normal_csv())
    assert made.ready and again.rows and [cells for _, cells in again.rows] == [cells for _, cells in made.rows]
    assert again.normal_csv() == made.normal_csv()
    assert [float(cells[2]) for _, cells in made.rows] == [w / 100 for _, w in rows]
