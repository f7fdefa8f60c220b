"""Tables kept in CSV: what a shop's spreadsheet may write, and what is refused with its line."""

import os

import pytest
from case_texts import GOOD
from hypothesis import given
from hypothesis import strategies as st

from waveflow.engine.case import load, load_text
from waveflow.engine.tables import split_series
from waveflow.errors import CaseError

SHEET = GOOD.replace(
    'lift = "2, 4, 6, 8, 10 mm"\nflow = ["34 CFM", "61 CFM", "80 CFM", "93 CFM", "102 CFM"]\n', 'file = "flow.csv"\n'
)
FLOWS = pytest.approx([q * 0.0004719474432 for q in (34, 61, 80, 93, 102.5)])
LIFTS = pytest.approx([0.002, 0.004, 0.006, 0.008, 0.010])


@pytest.fixture(autouse=True)
def in_its_own_folder(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "twin.toml").write_text(SHEET)


def put(text, name="flow.csv"):
    with open(name, "wb") as stream:
        stream.write(text if isinstance(text, bytes) else text.encode())


def sentences():
    with pytest.raises(CaseError) as caught:
        load("twin.toml")
    return str(caught.value).split("\n")


@pytest.mark.parametrize(
    "text",
    [
        "lift (mm),flow (CFM)\n2,34\n4,61\n6,80\n8,93\n10,102.5\n",
        "lift (mm);flow (CFM)\r\n2;34\r\n4,0;61\r\n6;80,0\r\n8;93\r\n10;102,5\r\n",
        b"\xef\xbb\xbflift [mm]\tflow [cfm]\n2\t34\n4\t61\n6\t80\n8\t93\n10\t102,5\n",
        "# invented\n\nLift (mm),Exhaust (CFM),Intake (CFM),note\n2,30,34,\n4,50,61,ok\n6,,80,\n8,70,93\n10,71,102.5,x\n\n",
        'lift,flow\n"2 mm","34 CFM"\n4 mm,61 CFM\n0.6 cm,80 CFM\n8 mm,93 CFM\n10 mm,102.5 CFM\n',
        "lift,flow (CFM)\r2 mm,34\r4 mm,61\r6 mm,80\r8 mm,93\r10 mm,102.5\r",
        "lift (mm), flow (CFM), , \n2, 34, , \n4, 61,,\n6, 80,,\n8, 93,,\n10, 102.5,,\n",
    ],
    ids=["commas", "semicolons", "tabs and mark", "both sides", "units in cells", "carriage returns", "empty columns"],
)
def test_accepted(text):
    put(text)
    flow = load("twin.toml").intake.flow
    assert (flow.lift, flow.flow) == (LIFTS, FLOWS)
    assert flow.read_from == "flow.csv"


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("", ['flow.csv: empty; begin with a header such as "lift (mm),flow (CFM)"']),
        ("# only a remark\n\n", ['flow.csv: empty; begin with a header such as "lift (mm),flow (CFM)"']),
        ("lift (mm),flow (CFM)\n",
         ['flow.csv: a header and nothing below it; begin with a header such as "lift (mm),flow (CFM)"']),
        ("lift (mm),flow (CFM)\n2,34\n", [
            'flow.csv: intake.flow.lift = ["2 mm"]: 1 entry; at least 2 are needed',
            'flow.csv: intake.flow.flow = ["34 CFM"]: 1 entry; at least 2 are needed']),
        (b"lift (mm),flow (CFM)\n2,34\n4,\xe961\n", ["flow.csv:3: not UTF-8 text: byte 0xe9; save it as UTF-8"]),
        ("lift (mm),flw (CFM)\n2,34\n4,61\n",
         ['flow.csv: no column "flow" or "intake"; its columns are "lift", "flw"']),
        ("lift (mm),flow (CFM)\n1,5,18,3\n4,5,61,0\n", [
            'flow.csv:2: 4 cells under 2 headings; decimal commas need semicolons between the columns: "1,5;18,3"',
            'flow.csv:3: 4 cells under 2 headings; decimal commas need semicolons between the columns: "1,5;18,3"']),
        ('lift (mm),flow (CFM)\n"2,34\n4,61\n', ["flow.csv:2: quotes that do not close"]),
        ("lift (mm),lift (mm),flow (CFM)\n2,2,34\n", ['flow.csv:1: two columns are called "lift"']),
        ("lift (mm),flow (CFM)\n2,34\n4,x\n6,80\n8,nan\n10,102\n", [
            'flow.csv:3: intake.flow.flow[1] = "x": not a number with a unit (allowed 0.1 to 1000 CFM: bench reading)',
            'flow.csv:5: intake.flow.flow[3] = "nan": not a number with a unit (allowed 0.1 to 1000 CFM: bench reading)']),
        ("lift (mm),flow (CFM)\n2,34\n4,61\n60,80\n8,93\n10,102\n", [
            'flow.csv:4: intake.flow.lift[2] = "60 mm": above 30 mm (allowed 0 to 30 mm: lift on the bench); '
            'did you mean "6 mm"?']),
        ("lift,flow (CFM)\n2,34\n4,61\n6,80\n8,93\n10,102\n", [
            'flow.csv: intake.flow.lift = ["2", "4", "6", "8", ...]: missing unit (allowed 0 to 30 mm: lift on the bench); '
            'did you mean "2, 4, 6, 8, 10 mm"?']),
        ("lift (mm),flow (CFM)\n" + "2,34\n" * 5000, ["flow.csv: more than 5000 rows"]),
        ("lift (mm),flow (CFM)\n2,34\n4,61\n\n# here\n4,80\n8,93\n10,102\n", [
            'flow.csv:6: intake.flow.lift[2] = "4 mm": not above the one before it (allowed above 4 mm)']),
    ],
)  # fmt: skip
def test_refused_with_the_line(text, expected):
    put(text)
    assert sentences() == expected


def test_a_table_that_is_not_there():
    put("x", "flwo.csv")
    line = SHEET[: SHEET.index("file =")].count("\n") + 1
    (first,) = sentences()
    assert first == f'twin.toml:{line}: intake.flow.file = "flow.csv": no such file; did you mean "flwo.csv"?'


@pytest.mark.parametrize(
    ("name", "message"),
    [
        ('"/etc/passwd"', '"/etc/passwd": an absolute path; name the table from this file\'s own folder'),
        ('"C:/x.csv"', '"C:/x.csv": an absolute path; name the table from this file\'s own folder'),
        ('"."', '".": not a file'),
        ('""', '"": not the name of a file in quotes'),
        ("3", "not the name of a file in quotes"),
    ],
)
def test_names_that_are_refused(name, message):
    put(SHEET.replace('"flow.csv"', name), "twin.toml")
    (first,) = sentences()
    assert first.endswith(message)


def test_file_and_values_together():
    put(SHEET.replace('file = "flow.csv"', 'file = "flow.csv"\nlift = "1, 2 mm"'), "twin.toml")
    put("lift (mm),flow (CFM)\n2,34\n4,61\n")
    assert sentences()[0].endswith('"flow.csv": given beside lift; give the file or the values, not both')


def test_a_row_without_a_reading_is_left_out_and_said():
    put("lift (mm),intake (CFM)\n2,34\n4,\n6,80\n8,93\n9,100\n")
    case = load("twin.toml")
    assert len(case.intake.flow.lift) == 4
    assert [str(w) for w in case.warnings if "left out" in w.message][0].endswith(
        "flow.csv:3: no intake there, row left out"
    )


def test_stations_lift_and_burn_from_tables():
    put("at (mm);shape;width (mm);height (mm);corner radius (mm);blocked area (mm2);note\n"
        "0;rounded rectangle;33;29;9;;\n58;ellipse;35,5;33;;95;guide boss\n76;round;32,6;;;38,5;throat\n", "port.csv")
    put("Angle (deg),Lift (mm)\n-20,0\n40,3\n100,6\n160,3\n220,0\n", "cam.csv")
    put("crank angle (deg),burned\n-20,0\n10,0.5\n60,1\n", "burn.csv")
    put("lift (mm),flow (CFM)\n2,34\n4,61\n6,80\n")
    text = SHEET[: SHEET.index("[intake.cam]")] + (
        '[intake.cam]\nkind = "table"\nfile = "cam.csv"\nlift_of = "valve"\n\n' + SHEET[SHEET.index("[intake.flow]") :]
    )
    start = text.index("stations = [")
    text = text[:start] + 'file = "port.csv"\n' + text[text.index("]\n", start) + 2 :]
    put(text + '\n[burn]\nkind = "table"\nfile = "burn.csv"\n', "twin.toml")
    case = load("twin.toml")
    assert [station.width for station in case.intake.port.stations] == [0.033, 0.0355, 0.0326]
    assert case.intake.port.stations[1].blocked_area == pytest.approx(95e-6)
    assert case.intake.port.stations[2].corner_radius is None and case.intake.port.stations[2].note == "throat"
    assert case.intake.cam.angle == (-20, 40, 100, 160, 220) and case.intake.cam.lift[2] == 0.006
    assert case.burn.fraction == (0, 0.5, 1)
    again = load_text(case.text)
    assert again.model_dump() == case.model_dump() and again.digest == case.digest


def test_a_station_column_nobody_knows():
    put("at (mm),shape,width (mm),hight (mm)\n0,ellipse,33,29\n70,round,30,\n", "port.csv")
    put("lift (mm),flow (CFM)\n2,34\n4,61\n6,80\n8,93\n10,102\n")
    start = SHEET.index("stations = [")
    put(SHEET[:start] + 'file = "port.csv"\n' + SHEET[SHEET.index("]\n", start) + 2 :], "twin.toml")
    assert sentences() == [
        'port.csv: unknown column "hight"; did you mean "height"?',
        'port.csv:2: intake.port.stations[0].height: missing for the shape "ellipse"; '
        'add height = "29 mm" or what it is',
    ]


def test_a_table_named_by_a_base_in_another_folder():
    os.mkdir("engines")
    put(SHEET, "engines/base.toml")
    put("lift (mm),flow (CFM)\n2,34\n4,0.01\n6,80\n8,93\n10,102\n", "engines/flow.csv")
    put('base = "engines/base.toml"\noption = "x"\n', "twin.toml")
    assert sentences() == [
        'engines/flow.csv:3: intake.flow.flow[1] = "0.01 CFM": below 0.1 CFM (allowed 0.1 to 1000 CFM: bench reading); '
        'did you mean "1 CFM"?'
    ]


@pytest.mark.parametrize(
    ("text", "items"),
    [
        ("1, 2, 3 mm", ["1 mm", "2 mm", "3 mm"]), ("1 2 3 mm", ["1 mm", "2 mm", "3 mm"]), ("1; 2 mm", ["1 mm", "2 mm"]),
        ("1,2", ["1", "2"]), ("5 mm", ["5 mm"]), ("5", ["5"]), ("", []), ("1, 2 in H2O", ["1 in H2O", "2 in H2O"]),
    ],
)  # fmt: skip
def test_a_column_in_one_text(text, items):
    assert split_series(text) == items


@given(st.lists(st.integers(0, 10**6), min_size=2, max_size=20), st.sampled_from(["mm", "CFM", "deg C"]))
def test_a_column_in_one_text_is_the_list_it_was_joined_from(numbers, unit):
    expected = [f"{number} {unit}" for number in numbers]
    assert split_series(", ".join(map(str, numbers)) + f" {unit}") == expected


def test_a_workbook_takes_the_place_of_a_csv(tmp_path):
    xlsxwriter = pytest.importorskip("xlsxwriter")
    pytest.importorskip("python_calamine")
    rows = [["lift (mm)", "intake (CFM)"], *zip((2, 4, 6, 8, 10), (34, 61, 80, 93, 102.5), strict=True)]
    with xlsxwriter.Workbook(tmp_path / "flow.xlsx") as book:
        book.add_worksheet("notes").write_string(0, 0, "x")
        page = book.add_worksheet("head 3")
        for r, row in enumerate(rows):
            for c, cell in enumerate(row):
                page.write(r, c, cell)
    (tmp_path / "twin.toml").write_text(SHEET.replace("flow.csv", "flow.xlsx#head 3"))
    flow = load("twin.toml").intake.flow
    assert (flow.lift, flow.flow) == (LIFTS, FLOWS) and flow.read_from == "flow.xlsx#head 3"
    (tmp_path / "twin.toml").write_text(SHEET.replace("flow.csv", "flow.xlsx#head 4"))
    assert sentences() == ['flow.xlsx#head 4: has no page "head 4"; its pages are notes, head 3']
    (tmp_path / "twin.toml").write_text(SHEET.replace("flow.csv", "flow.xlsx"))
    assert sentences() == ['flow.xlsx: a header and nothing below it; begin with a header such as "lift (mm),flow (CFM)"']
    (tmp_path / "twin.toml").write_text(SHEET.replace("flow.csv", "flo.xlsx"))
    assert sentences()[0].startswith('twin.toml:') and 'no such file; did you mean "flow.xlsx"?' in sentences()[0]
