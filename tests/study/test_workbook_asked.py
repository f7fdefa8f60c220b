"""`--xlsx` and a `--csv` that ends in .xlsx: a kept result comes out as a workbook, or is refused before anything is done."""

import sys

import pytest
from made_up import Engine, make_case

from waveflow import cli
from waveflow.study.store import save
from waveflow.study.sweep import sweep

pytest.importorskip("xlsxwriter")
calamine = pytest.importorskip("python_calamine")


@pytest.fixture
def folder(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    save(sweep(make_case(), [3000.0, 4000.0, 5000.0], run_point=Engine()), tmp_path / "kept")
    return tmp_path


@pytest.mark.parametrize("option", ["--xlsx", "--csv"])
def test_a_kept_sweep_comes_out_with_its_units(option, folder, capsys):
    assert cli.run_line(["reopen", "kept", option, "again.xlsx", "--units", "lb-ft"]) == 0
    rows = calamine.CalamineWorkbook.from_path("again.xlsx").get_sheet_by_name("points").to_python()
    torque = rows[0].index("torque [lb-ft]")
    assert rows[1][torque] == pytest.approx(Engine().torque(3000.0) / 1.3558179483314004)
    assert capsys.readouterr().out


def test_what_cannot_be_written_is_refused(folder, capsys, monkeypatch):
    assert cli.run_line(["reopen", "kept", "--xlsx", "again.ods"]) == 2
    assert "the name must end in .xlsx" in capsys.readouterr().err
    assert cli.run_line(["reopen", "kept", "--xlsx", "no/again.xlsx"]) == 2
    assert "there is no folder no" in capsys.readouterr().err
    monkeypatch.setitem(sys.modules, "xlsxwriter", None)
    monkeypatch.setattr("importlib.util.find_spec", lambda name: None)
    assert cli.run_line(["reopen", "kept", "--xlsx", "again.xlsx"]) == 2
    assert 'pip install "waveflow[sheets]"' in capsys.readouterr().err
