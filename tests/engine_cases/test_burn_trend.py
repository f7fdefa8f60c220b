"""The burn's duration by residual gas, speed and inlet jet: a trend, off unless asked for, with its uncertainty."""

import numpy as np
import pytest
from case_runs import case_of, run

from waveflow.engine.case import load_text
from waveflow.engine.trend import RANGES, duration_ratio, flame_speed, ratio_range
from waveflow.errors import CaseError
from waveflow.study.compare import compare
from waveflow.study.sweep import sweep

AT = {"burn_trend.at_speed": "5000 rpm", "burn_trend.at_residual": "2.45 %", "burn_trend.at_jet": "226 m/s"}
TREND = case_of("starter", AT).burn_trend


def test_nothing_changes_at_the_reference_point():
    assert duration_ratio(TREND, 5000.0, 0.0245, 226.0) == pytest.approx(1.0, abs=1e-12)
    assert ratio_range(TREND, 5000.0, 0.0245, 226.0) == pytest.approx((1.0, 1.0), abs=1e-12)


def test_by_the_piston_alone_degrees_go_with_the_third_root_of_speed():
    """Turbulence in proportion to speed and power 2/3: twice the speed, 2^(1/3) of the degrees (less a third in time)."""
    more = dict(jet_share=0.0, power=2.0 / 3.0)
    assert duration_ratio(TREND, 10000.0, 0.0245, 1.0, **more) == pytest.approx(2.0 ** (1.0 / 3.0), rel=1e-12)
    jet = duration_ratio(TREND, 5000.0, 0.0245, 452.0, jet_share=1.0, power=2.0 / 3.0)
    assert jet == pytest.approx(2.0 ** (-2 / 3), rel=1e-12)


def test_residual_gas_slows_the_flame():
    """1 - 2.06 x 0.1^0.77 = 0.650 (Rhodes & Keck's form); the burn is the longer for it, never endless."""
    assert flame_speed(0.1, 2.06) == pytest.approx(1.0 - 2.06 * 0.16982437, rel=1e-6)
    lengths = [duration_ratio(TREND, 5000.0, x, 226.0) for x in (0.0, 0.02, 0.05, 0.1, 0.3, 0.9)]
    assert np.all(np.diff(lengths[:5]) > 0.0) and lengths[5] >= lengths[4] and lengths[5] < 5.0


def test_the_range_holds_the_value_and_grows_away_from_the_reference():
    near, far = (ratio_range(TREND, rpm, 0.04, 150.0) for rpm in (4500.0, 2000.0))
    for rpm, (low, high) in ((4500.0, near), (2000.0, far)):
        assert low < duration_ratio(TREND, rpm, 0.04, 150.0) < high
    assert far[1] - far[0] > near[1] - near[0]
    for name, (low, high) in RANGES.items():  # the ranges are those the case states
        extra = type(TREND).model_fields[name].json_schema_extra
        assert (extra["low"], extra["high"]) == (low, high)


def test_off_by_default_and_off_by_a_word():
    plain, off = run("starter", 3000.0), run("starter", 3000.0, AT | {"burn_trend.use": "false"})
    assert case_of("starter").burn_trend is None
    assert off.scalars == plain.scalars
    assert plain.burn_duration == pytest.approx(26.0, abs=1e-3) and "burn_duration_low" not in plain.scalars


def test_the_burn_follows_its_trend_until_cycles_repeat():
    """Away from the reference point the duration is what the formula gives for the cycle's own residual and jet."""
    result = run("starter", 3000.0, AT)
    assert result.converged
    expected = 26.0 * duration_ratio(TREND, 3000.0, result.residual_fraction, result.inlet_jet_speed)
    assert result.burn_duration == pytest.approx(expected, rel=2e-3)
    assert result.burn_duration_low < result.burn_duration < result.burn_duration_high
    assert result.burn_duration < 25.0  # slower turning, fewer degrees
    plain = run("starter", 3000.0)
    assert result.volumetric_efficiency == pytest.approx(plain.volumetric_efficiency, rel=2e-3)
    assert result.torque > plain.torque and result.peak_pressure > plain.peak_pressure
    assert result.mass_balance < 1e-10 and result.energy_balance < 1e-10


def test_the_jet_is_flow_over_density_and_valve_area():
    """Mean over the mass between the piston's demand through the mean effective area and twice that, at low speed."""
    at = run("starter", 2500.0)
    demand = at.inlet_mach_index * 343.2
    assert demand < at.inlet_jet_speed < 2.0 * demand


def test_two_ports_are_compared_with_and_without_it():
    speeds = [3000.0, 6000.0]
    made = {}
    for use in ("true", "false"):
        cases = [case_of(name, AT | {"burn_trend.use": use}) for name in ("starter", "starter_bigger_port")]
        results = [sweep(case, speeds) for case in cases]
        made[use] = compare(results)
        told = [any(text.startswith("TREND MODEL") for text in result.warnings) for result in results]
        assert told == [use == "true"] * 2
    with_it, without = made["true"].options[1].result, made["false"].options[1].result
    assert not np.array_equal(with_it.torque, without.torque)
    assert with_it.volumetric_efficiency == pytest.approx(without.volumetric_efficiency, rel=3e-3)
    assert any("uncertain by up to" in note for note in made["true"].notes)


def test_a_trend_without_a_burn_is_refused():
    case = case_of("starter")
    text = case.text.replace('kind = "gasoline"', 'kind = "none"') + "".join(
        f'{key} = "{value}"\n' if n else f'[burn]\nkind = "motored"\n[burn_trend]\n{key} = "{value}"\n'
        for n, (key, value) in enumerate((k.split(".")[1], v) for k, v in AT.items())
    )
    with pytest.raises(CaseError) as caught:
        load_text(text, "still.toml")
    (problem,) = caught.value.problems
    assert (problem.key, problem.message) == ("burn_trend", "there is no burn to change")
