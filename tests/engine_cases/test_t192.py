"""The second demo engine behind its charger runs, repeats itself, keeps its books, and its shaft balances."""

import pytest
from case_runs import case_of, run

LEVELS = ("", "_pocket", "_street", "_race")
MATRIX = [f"t192{level}{cam}{boost}" for boost in ("", "_high_boost") for level in LEVELS for cam in ("", "_long_cam")]


def judged(name, rpm):
    case, point = case_of(name), run(name, rpm)
    assert point.converged, (name, rpm)
    assert abs(point.checks["mass_balance"]) < 1e-10 and abs(point.checks["energy_balance"]) < 1e-10
    numbers, air = point.scalars, case.ambient
    # filling by the room's air is that by the plenum's, times the ratio of the two densities (dry-air law within 1 %)
    ratio = numbers["plenum_pressure"] / air.pressure * air.temperature / numbers["plenum_temperature"]
    assert numbers["volumetric_efficiency"] == pytest.approx(ratio * numbers["volumetric_efficiency_plenum"], rel=0.01)
    # the throttle can only take pressure away on the whole, and a wide-open one little
    assert 0.95 * case.charger.boost < numbers["plenum_pressure"] < 1.005 * case.charger.boost
    assert numbers["boost_pressure"] == pytest.approx(case.charger.boost - air.pressure, rel=1e-9)
    assert numbers["charge_temperature"] == pytest.approx(case.charger.charge_temperature, rel=1e-9)
    assert numbers["turbine_power"] == pytest.approx(numbers["compressor_power"], rel=1e-3)
    assert 0.0 < numbers["wastegate_share"] < 0.7
    return numbers


@pytest.mark.parametrize(("name", "rpm"), [("t192", 2500), ("t192_race_long_cam_high_boost", 7000)])
def test_it_runs_and_conserves(name, rpm):
    judged(name, rpm)


def test_the_exhaust_presses_harder_the_faster_the_engine_runs():
    """A nozzle of one size needs more pressure for more flow, and the wastegate opens further."""
    slow, fast = judged("t192", 2500), judged("t192", 5000)
    assert fast["exhaust_pressure"] > 1.2 * slow["exhaust_pressure"]
    assert fast["wastegate_share"] > slow["wastegate_share"] + 0.1
    # the shaft passes the boost on for less exhaust than charge pressure where its efficiencies and the heat allow it
    assert slow["pumping_mean_pressure"] > 0.0 > fast["pumping_mean_pressure"]


@pytest.mark.full
@pytest.mark.parametrize("name", MATRIX)
def test_boosted_sweeps_run_for_every_level_cam_and_boost(name):
    case = case_of(name)
    for rpm in (2500, 3500, 5000, 6500, case.range.to):
        judged(name, rpm)
