"""The second demo engine between its two fixed reservoirs runs, repeats itself and keeps its books."""

from pathlib import Path

import pytest

from waveflow.engine.case import load
from waveflow.study.cycle import run_point

CASES = Path(__file__).parents[2] / "cases"


@pytest.mark.parametrize(("name", "rpm"), [("t192", 2500), ("t192_race_long_cam", 7000)])
def test_it_runs_and_conserves(name, rpm):
    case = load(CASES / f"{name}.toml")
    point = run_point(case, rpm)
    assert point.converged
    assert abs(point.checks["mass_balance"]) < 1e-11 and abs(point.checks["energy_balance"]) < 1e-11
    numbers = point.scalars
    # filling by the room's air is that by the plenum's, times the ratio of the two densities (dry-air law within 1 %)
    ratio = numbers["plenum_pressure"] / case.ambient.pressure * case.ambient.temperature / numbers["plenum_temperature"]
    expected = ratio * numbers["volumetric_efficiency_plenum"]
    assert numbers["volumetric_efficiency"] == pytest.approx(expected, rel=0.01)
    # the throttle can only take pressure away, and a wide-open one little
    assert 0.95 * case.intake.reservoir.pressure < numbers["plenum_pressure"] <= case.intake.reservoir.pressure
    # pushing out against 1.5 times what pushes in costs work, by at most that difference and the valves' losses
    against = case.exhaust.reservoir.pressure - numbers["plenum_pressure"]
    assert -numbers["pumping_mean_pressure"] > 0.5 * against
