"""The invented four-cylinder N155: levels and cams run to sound states; cells, a blended runner, steep ramps and steps.

The whole matrix of levels, cams and speeds is behind the marker `full`.
"""

import itertools
import math

import numpy as np
import pytest
from case_runs import case_of, run

from waveflow.engine.build import build
from waveflow.study.cycle import run_point

LEVELS = ("n155", "n155_pocket", "n155_street", "n155_race")
QUICK = [("n155", 4500), ("n155_race", 7000), ("n155_race_long_cam", 6500)]
ALL = [(level + cam, rpm) for cam in ("", "_long_cam") for level in LEVELS for rpm in range(1500, 7501, 500)]


def sound(name: str, rpm: float) -> dict[str, float]:
    """Scalars of a run, after every number was found possible for an engine of this kind."""
    result = run(name, rpm)
    s = result.scalars
    assert result.converged
    assert all(math.isfinite(value) for value in s.values()), s
    assert all(np.isfinite(values).all() for values in result.per_cylinder.values())
    assert 0.4 < s["volumetric_efficiency"] < 1.3
    assert 0.95 * s["volumetric_efficiency"] < s["trapped_efficiency"] < 1.002 * s["volumetric_efficiency"]
    assert 0.005 < s["residual_fraction"] < 0.25
    assert 0.0 <= s["reverse_flow_fraction"] < 0.35
    assert 25e5 < s["peak_pressure"] < 95e5
    assert 1000.0 < s["exhaust_temperature"] < 1500.0
    assert 0.9 * 101e3 < s["plenum_pressure"] < 1.005 * 101e3
    assert s["port_mach_mean"] < s["port_mach_peak"] < 1.0
    assert s["pumping_mean_pressure"] < 20e3 < 4e5 < s["gross_mean_pressure"]
    assert np.ptp(result.per_cylinder["volumetric_efficiency"]) < 0.06
    assert s["mass_balance"] < 1e-10 and s["energy_balance"] < 1e-10
    return s


@pytest.mark.parametrize(("name", "rpm"), QUICK)
def test_sound_states(name, rpm):
    sound(name, rpm)


@pytest.mark.full
@pytest.mark.timeout(900)
@pytest.mark.parametrize("name", [level + cam for cam in ("", "_long_cam") for level in LEVELS])
def test_the_whole_range_is_sound(name):
    for rpm in range(1500, 7501, 500):
        sound(name, rpm)


@pytest.mark.full
@pytest.mark.timeout(900)
def test_the_comparison_reads_sensibly():
    """What a porter expects of opened ports with the road cam: torque at the top rises from level to level, the speed of
    peak torque does not fall, and below 2500 rpm no level loses more than 4 % of torque to the one before."""
    speeds = range(1500, 7501, 500)
    torque = {level: np.array([run(level, n).scalars["torque"] for n in speeds]) for level in LEVELS}
    peak = {level: speeds[int(np.argmax(torque[level]))] for level in LEVELS}
    for before, after in itertools.pairwise(LEVELS):
        assert torque[after][-3:].min() > torque[before][-3:].min()
        assert peak[after] >= peak[before] - 500
        assert (torque[after][:3] > 0.96 * torque[before][:3]).all()
    assert torque["n155_race"].max() > torque["n155"].max()


def test_cells_of_ten_millimetres_are_enough():
    """Race level, 7000 rpm: less than 0.3 % of filling from 10 to 5 mm cells."""
    a, b = (run("n155_race", 7000, {"run.tolerance": "1e-4"}, cell=dx).scalars for dx in (0.01, 0.005))
    assert b["volumetric_efficiency"] == pytest.approx(a["volumetric_efficiency"], rel=3e-3)


@pytest.mark.full
def test_cells_of_five_millimetres_are_plenty():
    """And less than 0.1 % from 5 to 2.5 mm."""
    a, b = (run("n155_race", 7000, {"run.tolerance": "1e-4"}, cell=dx).scalars for dx in (0.005, 0.0025))
    assert b["volumetric_efficiency"] == pytest.approx(a["volumetric_efficiency"], rel=1e-3)


def test_a_runner_that_is_not_blended():
    """The step at the head's face costs filling at high speed, a few per cent at most; blended, the duct has no step."""
    apart = {"intake.runner.blend_length": "0 mm"}
    blended, stepped = build(case_of("n155_race")), build(case_of("n155_race", apart))
    count = [sum(info.name == "intake" for info in model.pipes) for model in (blended, stepped)]
    assert count == [4, 8]
    change = run("n155_race", 7000, apart).scalars["volumetric_efficiency"] / sound("n155_race", 7000)["volumetric_efficiency"]
    assert 0.95 < change < 1.0


# ramps and steps in the runner of the fired single ---------------------------------------------------------------------


def passage(before: float, after: float, ramp: float) -> dict[str, str]:
    """The single's 320 mm runner of bore `before`, the last 96 mm of it with a ramp [mm] of linear area to bore `after`."""
    places = ((0.0, before), (40.0, before), (40.0 + ramp, after), (96.0, after))
    stations = ",".join(f'{{at="{x:g} mm",shape="round",width="{d:.6f} mm"}}' for x, d in places)
    return {
        "intake.runner.length": "224 mm", "intake.runner.inlet_diameter": f"{before:.6f} mm",
        "intake.port.between": "linear area", "intake.port.stations": f"[{stations}]", "run.tolerance": "1e-5",
    }  # fmt: skip


def passed(rpm: float, changes: dict[str, str], cell: float) -> float:
    """Filling of the fired single with that passage."""
    result = run("runner_area_fired", rpm, changes, cell=cell)
    assert result.converged
    return result.scalars["volumetric_efficiency"]


@pytest.mark.parametrize("wider", [True, False], ids=["wider", "narrower"])
@pytest.mark.parametrize("rpm", [4000, 7000, pytest.param(8000, marks=pytest.mark.full)])
def test_a_steep_ramp_converges(wider, rpm):
    """Area x1.5 within 16 mm (25 per metre on average), meshed as a ramp: against 2 mm cells 0.4 % of filling at 8 mm,
    0.1 % at 4 mm."""
    large = 36.0 * math.sqrt(1.5)
    ramp = passage(36.0, large, 16.0) if wider else passage(large, 36.0, 16.0)
    assert len(build(case_of("runner_area_fired", ramp)).pipes) == 2  # one duct each side: no step was made of it
    fine = passed(rpm, ramp, 0.002)
    assert passed(rpm, ramp, 0.008) == pytest.approx(fine, rel=4e-3)
    assert passed(rpm, ramp, 0.004) == pytest.approx(fine, rel=1e-3)


def test_a_step_is_one_model_on_every_grid():
    """A ramp too steep for cells is a step, decided from the description: filling on 16 mm cells within 0.3 % of 4 mm."""
    step = passage(36.0, 36.0 * math.sqrt(1.5), 8.0)
    for cell in (0.016, 0.004):
        assert len(build(case_of("runner_area_fired", step), cell).pipes) == 3
    assert passed(8000, step, 0.016) == pytest.approx(passed(8000, step, 0.004), rel=3e-3)


def test_a_step_that_chokes():
    """36 to 22 mm at 8000 rpm: the stream behind the step reaches the speed of sound and the engine goes on, breathing a
    little less than through a smooth ramp of the same sizes (no vena contracta there), not half as much."""
    step = passage(36.0, 22.0, 8.0)
    case = case_of("runner_area_fired", step)
    model = build(case, 0.004, {"behind": (1, "intake", 0.224 + 0.045)})
    result = run_point(case, 8000, model=model, trace=True)
    mach = np.abs(result.trace["behind velocity"]) / result.trace["behind sound speed"]
    assert result.converged
    assert 0.95 < mach.max() < 1.05
    smooth = passed(8000, passage(36.0, 22.0, 45.0), 0.004)
    assert 0.88 * smooth < result.scalars["volumetric_efficiency"] < smooth
    assert result.checks["mass_balance"] < 1e-10
