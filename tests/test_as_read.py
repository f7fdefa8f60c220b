"""`--units` and `--corrected` through every command that shows results; what lies on the disk stays SI."""

import json
import re
from pathlib import Path

import pytest

from waveflow import cli

CASES = Path(__file__).parents[1] / "cases"
STARTER, BIGGER = str(CASES / "starter.toml"), str(CASES / "starter_bigger_port.toml")


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    where = tmp_path_factory.mktemp("results")
    assert cli.run_line(["compare", STARTER, BIGGER, "--rpm", "4000,6000", "--out", str(where), "-q", "--units", "US",
                         "--corrected", "J1349"]) == 0  # fmt: skip
    return where


def told(capsys, *words: str) -> str:
    assert cli.run_line(list(words)) == 0
    return " ".join(capsys.readouterr().out.split())


def test_what_lies_on_the_disk_stays_si_but_for_the_table(folder):
    result = json.loads((folder / "result.json").read_text())
    header = (folder / "points.csv").read_text(encoding="utf-8-sig").splitlines()[0]
    assert "torque [lb-ft]" in header and "corrected_power [hp]" in header and "peak_pressure [psi]" in header
    text = json.dumps(result)
    assert "corrected_torque" not in text and "lb-ft" not in re.sub(r'"command": "[^"]*"', "", text)


def test_reopened_in_any_units(folder, capsys, tmp_path):
    plain = told(capsys, "reopen", str(folder))
    assert " N m" in plain and " kW" in plain and "Corrected" not in plain and "lb-ft" not in plain
    table = tmp_path / "again.csv"
    asked = told(capsys, "reopen", str(folder), "--units", "lb-ft, hp", "--corrected", "ISO 1585", "--csv", str(table))
    assert " lb-ft" in asked and " hp" in asked and " N m" not in asked and " kW" not in asked.split("Corrected")[0]
    assert "Corrected: ISO 1585 (spark ignition, form from memory)" in asked and "most power, corrected" in asked
    pairs = (("N m", plain), ("lb-ft", asked))
    newton, foot = (float(re.search(rf"most torque ([\d.]+) {unit}", text)[1]) for unit, text in pairs)
    assert newton == pytest.approx(1.3558179 * foot, rel=5e-3)
    assert "torque [lb-ft]" in table.read_text(encoding="utf-8-sig").splitlines()[0]
    assert told(capsys, "reopen", str(folder)) == plain


def test_axes_follow(folder, tmp_path):
    for units, label in (("US", "torque, lb-ft"), ("SI", "torque, N m")):
        assert cli.run_line(["reopen", str(folder), "--units", units, "--figure", str(tmp_path / f"{units}.svg")]) == 0
        assert label in (tmp_path / f"{units}.svg").read_text()


def test_one_cycle_in_us_units(capsys, tmp_path):
    table, figure = tmp_path / "cycle.csv", tmp_path / "cycle.svg"
    text = told(capsys, "run", STARTER, "--rpm", "6000", "--units", "US, CFM", "--corrected", "SAE J1349", "--csv", str(table),
                "--figure", str(figure))  # fmt: skip
    for words in (" lb-ft", " hp", " psi", " deg F", "lb/min", "corrected to the standard named", "Corrected: SAE J1349"):
        assert words in text
    header = table.read_text(encoding="utf-8-sig").splitlines()[0]
    assert "cylinder 1 pressure [psi]" in header and "cylinder 1 intake lift [in]" in header and "[kPa]" not in header
    drawn = figure.read_text()
    assert "pressure, psi absolute" in drawn and "lb/min" in drawn and "kPa" not in drawn


def test_a_case_is_understood_in_us_units(capsys):
    text = told(capsys, "check", STARTER, "--units", "US")
    assert "length, in" in text and "area, in²" in text and "2.756, 2.559, 4.409 in" in text
    # a taper stays a change a millimetre
    assert " mm" not in text.partition("values nobody gave")[0].replace("% a mm", "")


@pytest.mark.parametrize(("words", "said"), [
    (("--units", "lb-fot"), '--units "lb-fot": no unit is called "lb-fot"; did you mean lb-ft?'),
    (("--units", "torque=psi"), '--units "torque=psi": "psi" is no unit of torque; give one of Nm, lb-ft, lb-in, kgf-m'),
    (("--corrected", "DIN 70020"), "--corrected: no standard is called 'DIN 70020'; there are: SAE J1349, ISO 1585"),
])  # fmt: skip
def test_what_cannot_be_used_is_refused(words, said, capsys):
    assert cli.run_line(["run", STARTER, "--rpm", "6000", *words]) == 2
    assert said in " ".join(capsys.readouterr().err.split())
