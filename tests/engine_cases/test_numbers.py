"""Friction, and how torque is split: the arithmetic by hand, the parts adding up."""

import numpy as np
import pytest
from case_runs import case_of, run

from waveflow.study.numbers import friction_pressure


def test_friction_is_a_straight_line_through_the_two_points():
    case = case_of("starter", {"friction.at_2000": "90 kPa", "friction.at_7000": "240 kPa"})
    for rpm, kilo in ((2000.0, 90.0), (4500.0, 165.0), (7000.0, 240.0), (8000.0, 270.0)):
        assert friction_pressure(case, rpm) == pytest.approx(1e3 * kilo, rel=1e-12)
    # without a share the peak pressure does nothing at all
    assert np.all(friction_pressure(case, 4500.0, np.array([4e6, 9e6])) == friction_pressure(case, 4500.0))


def test_a_share_of_the_peak_pressure_comes_on_top():
    """0.005 of 30 bar above the pressure the two points stand for: 15 kPa; as much less below it; never negative."""
    more = {"friction.at_2000": "90 kPa", "friction.at_7000": "240 kPa", "friction.peak_share": "0.005"}
    case = case_of("starter", more | {"friction.at_peak": "60 bar abs"})
    found = friction_pressure(case, 4500.0, np.array([6e6, 9e6, 3e6]))
    assert found == pytest.approx([165e3, 180e3, 150e3], rel=1e-12)
    light = case_of("starter", {"friction.at_2000": "5 kPa", "friction.at_7000": "5 kPa", "friction.peak_share": "0.02",
                                "friction.at_peak": "60 bar abs"})  # fmt: skip
    assert friction_pressure(light, 2000.0, 2e6) == 0.0


def test_peak_pressure_friction_takes_torque_only():
    plain = run("starter", 5000.0)
    loaded = run("starter", 5000.0, {"friction.peak_share": "0.005", "friction.at_peak": "20 bar abs"})
    assert loaded.volumetric_efficiency == plain.volumetric_efficiency
    assert loaded.gross_torque == plain.gross_torque
    extra = 0.005 * (plain.peak_pressure - 2e6)
    assert extra > 2e4
    assert loaded.friction_mean_pressure - plain.friction_mean_pressure == pytest.approx(extra, rel=1e-9)
    swept = case_of("starter").swept_volume
    assert plain.torque - loaded.torque == pytest.approx(extra * swept / (4.0 * np.pi), rel=1e-9)


def test_the_parts_of_the_torque_add_up():
    at = run("starter", 5000.0)
    assert at.torque == pytest.approx(at.gross_torque + at.pumping_torque - at.friction_torque, rel=1e-12)
    assert at.power == pytest.approx(at.torque * 5000.0 * np.pi / 30.0, rel=1e-12)
    assert at.pumping_torque < 0.0 < at.friction_torque


@pytest.mark.parametrize("law", ["woschni", "hohenberg"])
def test_wall_heat_costs_torque_and_cools_the_exhaust(law):
    """Both laws take heat out of a fired cylinder: less torque and a colder exhaust than the same engine adiabatic."""
    cooled, adiabatic = run("starter", 3000.0, {"walls.heat": law}), run("starter", 3000.0, {"walls.heat": "adiabatic"})
    assert cooled.torque < 0.99 * adiabatic.torque
    assert cooled.exhaust_temperature < adiabatic.exhaust_temperature - 20.0


def test_fuel_that_evaporates_in_the_port_cools_the_charge():
    """The more of the latent heat the charge gives, the more air goes in: below the 7 to 8 % that full evaporation of gasoline
    would bring by temperature alone (about 25 K of 300 K)."""
    fills = [run("starter", 5000.0, {"fuel.evaporation_share": f"{share} %"}).volumetric_efficiency for share in (0, 30, 100)]
    assert fills[0] < fills[1] < fills[2] < 1.08 * fills[0]
