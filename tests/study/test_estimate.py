"""What a study will take: told beforehand, within a factor of the truth, and refused where it cannot end well."""

from __future__ import annotations

from pathlib import Path
from types import SimpleNamespace

import pytest

import waveflow
from waveflow import cli
from waveflow.show.endings import Refused
from waveflow.show.fanout import cost_of
from waveflow.study import estimate as module
from waveflow.study.estimate import PER_CASE, Estimate, estimate, point_seconds

ROOT = Path(__file__).parents[2]


@pytest.fixture(scope="module")
def case():
    return waveflow.load(ROOT / "cases" / "n155.toml")


def test_steps_of_a_real_cycle_are_within_a_factor_of_two_and_a_half(case):
    """The estimate's steps a cycle against those the solver takes (no clock is looked at)."""
    from waveflow.engine.build import build
    from waveflow.study.cycle import Engine

    for cell, rpm in ((0.02, 2000.0), (0.02, 6000.0)):
        engine = Engine(build(case, cell), rpm)
        engine.cycle()
        began = engine.steps
        engine.cycle()
        told = point_seconds(0, 1, cell, rpm, cycles=1.0) / module.PER_CYLINDER
        assert 0.4 < told / (engine.steps - began) < 2.5


def test_cost_goes_with_points_and_with_the_square_of_fineness(case):
    ten, twenty = (estimate(case, [3000.0], count, 2) for count in (10, 20))
    assert twenty.cpu == pytest.approx(2 * ten.cpu) and twenty.disk == pytest.approx(2 * ten.disk)
    assert twenty.wall == pytest.approx(twenty.cpu / 2)
    coarse, fine = (point_seconds(round(4.0 / cell), 0, cell, 3000.0) for cell in (0.01, 0.005))
    assert fine == pytest.approx(4.0 * coarse)
    drawn = estimate(case, [3000.0], 20, 2, built=20)
    assert drawn.cpu - twenty.cpu == pytest.approx(20 * PER_CASE) == pytest.approx(drawn.wall - twenty.wall)  # not shared out
    assert estimate(case, [3000.0], 1, 8).cores == 1  # more cores than points help nothing


def test_short_studies_are_not_spoken_of_and_long_ones_are():
    assert Estimate(3, 20.0, 10.0, 2, 1e6, 1e6).sentence == ""
    told = Estimate(5000, 7.2e4, 3.6e4, 2, 1e6, 1e8).sentence
    assert "At most 5000 points, 20 hours of CPU time" in told and "about 10 hours on 2 cores; 100 MB on the disk" in told


def test_what_cannot_end_well_is_refused(case, tmp_path, monkeypatch):
    with pytest.raises(Refused, match="would take about .* days on 1 cores .* at most 30"):
        cost_of([case], [3000.0], 50_000_000, 1, tmp_path)
    monkeypatch.setattr(module, "free_memory", lambda: 30e6)
    with pytest.raises(Refused, match="memory and 30 MB are free. Fewer workers"):
        cost_of([case], [3000.0], 100, 8, tmp_path)
    monkeypatch.setattr(module, "free_memory", lambda: 0.0)  # a system that does not tell
    assert "CPU time" in cost_of([case], [3000.0], 1000, 8, tmp_path)
    monkeypatch.setattr(module.shutil, "disk_usage", lambda folder: SimpleNamespace(free=5e6))
    with pytest.raises(Refused, match="disk and 5 MB are free"):
        cost_of([case], [3000.0], 1000, 8, tmp_path)


def test_a_refused_study_runs_nothing(tmp_path, capsys, monkeypatch):
    monkeypatch.setattr(module, "free_memory", lambda: 1e6)
    words = ["spread", str(ROOT / "cases" / "starter.toml"), "--rpm", "3000", "--out", str(tmp_path / "out")]
    assert cli.run_line(words) == 2
    shown = capsys.readouterr()
    assert "of memory and 1 MB are free" in shown.err and shown.out == ""


def test_spread_from_the_command_line(tmp_path, capsys):
    """Six samples of the invented single on coarse cells; resumed, nothing is run again and the table is the same."""
    words = ["spread", str(ROOT / "cases" / "starter.toml"), "--rpm", "5000", "--samples", "6", "--cell", "40 mm",
             "--out", str(tmp_path)]  # fmt: skip
    assert cli.run_line(words) == 0
    first = capsys.readouterr()
    assert "6 of 6 samples" in first.err and "VE [%]" in first.out and "Nine of ten of 6 samples" in first.out
    size = (tmp_path / "finished-samples.jsonl").stat().st_size
    assert cli.run_line([*words, "--resume", "--quiet"]) == 0
    assert capsys.readouterr().out == first.out
    assert (tmp_path / "finished-samples.jsonl").stat().st_size == size
