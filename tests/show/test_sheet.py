"""`waveflow sheet` as a porter types it: previews, questions, refusals, files written whole or not at all."""

import io
import json
import sys
from pathlib import Path

import pytest

from waveflow import cli
from waveflow.engine.sheetreading import read_flow_file

CASES = Path(__file__).parents[2] / "cases"
MESSY = ";Einlass;\r\nHub;vorher;nachher\r\nmm;CFM;CFM\r\n1;18;18,2\r\n2;34;33\r\n3;48,5;x\r\n4;61;63,5\r\n5;71,5;75\r\n"


@pytest.fixture(autouse=True)
def alone(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr(sys, "stdin", io.StringIO(""))
    Path("head.csv").write_bytes(MESSY.encode("cp1252"))


def run(capsys, *words):
    code = cli.run_line(["sheet", *words])
    shown = capsys.readouterr()
    return code, shown.out, shown.err


def test_what_is_open_is_listed_with_the_options_that_answer_it(capsys):
    code, out, err = run(capsys, "head.csv", "--write", "flow.csv")
    assert code == 2 and "depression not said" in out
    assert err.splitlines() == [
        "head.csv: test depression: 28 inH2O or 10 inH2O or another?",
        'head.csv:6: "x" in column 3 is not a number: 3 | 48,5 | x',
        "1 question and 1 row that cannot be used; nothing was taken in. Answer it with your own values, such as: "
        '--depression "28 inH2O" --leave-out 6',
    ]
    assert not list(Path().glob("flow*"))


def test_the_options_it_names_do_answer_it(capsys):
    code, out, err = run(capsys, "head.csv", "--depression", "28 inH2O", "--leave-out", "6", "--write", "flow.csv")
    assert code == 0 and "Note: row 6 left out, as told" in out and err == "Written: flow_before.csv\nWritten: flow_after.csv\n"
    assert 'file = "flow_after.csv"' in out
    assert read_flow_file(Path("flow_after.csv")).columns[0].texts == ("18.2", "33", "63.5", "75")
    assert "Above the noise of 1 to 2 %: gain at 4 and 5 mm, LOSS at 2 mm. Perhaps a gain at 1 mm." in " ".join(out.split())
    code, _, err = run(capsys, "head.csv", "--depression", "28 inH2O", "--leave-out", "6", "--write", "flow.csv")
    assert code == 2 and "exists already; --force overwrites it" in err


def test_on_a_terminal_it_asks_until_the_answer_can_be_used(capsys, monkeypatch):
    typed = io.StringIO("")
    typed.isatty = lambda: True
    monkeypatch.setattr(sys, "stdin", typed)
    answers = iter(["28", "28 inH2O", "yes"])
    monkeypatch.setattr("builtins.input", lambda _: next(answers))
    code, out, err = run(capsys, "head.csv")
    assert code == 0 and 'depression = "28": not a pressure with a unit' in err and "Leave out 1 row? yes or no" in err
    assert "row 6 left out, as told" in out


def test_two_files_of_two_units_are_answered_one_by_one(capsys):
    Path("a.csv").write_text("lift,intake (CFM)\n1.27,23\n2.54,44\n5.08,75\n")
    Path("b.csv").write_text("lift,intake\n.050,24\n.100,43.9\n.200,80\n")
    code, _, err = run(capsys, "a.csv", "b.csv")
    assert code == 2 and "2 CFM" not in err and err.count("unit of column 1") == 2
    words = (
        "a.csv",
        "b.csv",
        "--lift-unit",
        "mm",
        "--lift-unit",
        "in",
        "--answer",
        "after flow unit=CFM",
        "--depression",
        "28 inH2O",
    )
    code, out, _ = run(capsys, *words)
    assert code == 0 and "between readings" not in out and "+4.3 %" in out and "+6.7 %" in out and "within noise" in out
    code, _, err = run(capsys, *words, "--lift-unit", "mm")
    assert code == 2 and "--lift-unit: given 3 times for 2 sheets" in err


def test_demo_sheets_with_the_demo_cam(capsys):
    street, race = (str(CASES / f"n155_flow_{name}.csv") for name in ("street", "race"))
    code, out, _ = run(capsys, street, race, "--case", str(CASES / "n155.toml"))
    assert code == 0 and "by cam time" in out and "flow falls by 2.1 % from 10 to 11 mm lift" in " ".join(out.split())
    foreign = str(CASES / "t192_flow_street_other_bench.csv")
    code, out, _ = run(capsys, str(CASES / "t192_flow_street.csv"), foreign, "--case", str(CASES / "t192.toml"),
                       "--depression", "28 inH2O", "--depression", "10 inH2O")
    told = " ".join(out.split())
    assert code == 0 and "This sheet speaks of another bench" in told and "Not judged: these are two benches" in told
    assert "converted by the nozzle law" in told


def test_json_holds_the_questions_or_the_result(capsys):
    code, out, _ = run(capsys, "head.csv", "--json")
    data = json.loads(out)
    assert code == 2 and data["ok"] is False and data["answer_by"] == ['--depression "28 inH2O"', "--leave-out 6"]
    assert data["sheets"][0]["bad_rows"][0]["line"] == 6
    code, out, _ = run(capsys, "head.csv", "--json", "--depression", "28 inH2O", "--leave-out", "6")
    data = json.loads(out)
    assert code == 0 and [row["verdict"] for row in data["compared"][0]["rows"]] == ["perhaps gain", "loss", "gain", "gain"]


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        (("none.csv",), "none.csv: no such file"),
        (("head.csv", "--write", "flow.toml"), "--write flow.toml: the name must end in .csv"),
        (("head.csv", "--repeat", "x"), '--repeat "x"'),
        (("head.csv", "--repeat", "50 %"), "a bench repeats to 0.05 to 10 %"),
        (("head.csv", "--leave-out", "x"), "write row numbers, such as 7,12"),
        (("head.csv", "--answer", "x"), "write NAME=VALUE"),
        (("head.csv", "--case", "none.toml"), "none.toml: no such file"),
        (("head.csv", "--depression", "10 furlong"), 'depression = "10 furlong": not a pressure with a unit'),
        (("head.csv", "--depression", "28 inH2O", "--leave-out", "6", "--write", "no/flow.csv"), "there is no folder no"),
    ],
)
def test_refusals(words, sentence, capsys):
    code, _, err = run(capsys, *words)
    assert code == 2 and sentence in err and "Traceback" not in err


def test_a_sheet_of_three_runs_says_which_column_is_meant(capsys):
    Path("r.csv").write_text("lift (mm),intake run 1 (CFM),intake run 2 (CFM)\n1,18,18.2\n2,34,34.1\n")
    code, _, err = run(capsys, "r.csv", "--depression", "28 inH2O")
    assert code == 2 and "several columns of the intake" in err and '--answer "column 2=intake before"' in err
    more = ("--answer", "column 2=intake before", "--answer", "column 3=intake after")
    assert run(capsys, "r.csv", "--depression", "28 inH2O", *more)[0] == 0
