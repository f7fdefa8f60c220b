"""Cycles until they repeat: the stop rule says the truth, warm starts lead to the same place, results repeat bit for bit."""

from concurrent.futures import ThreadPoolExecutor

import numpy as np
import pytest
from case_runs import case_of, run

from waveflow.engine.build import build
from waveflow.study.cycle import Engine, PointResult, run_point

LONG = "long_intake_motored"


def same_bits(a: PointResult, b: PointResult) -> bool:
    """Whether two results agree in every number, bit for bit."""
    return (
        a.scalars == b.scalars
        and all(np.array_equal(a.per_cylinder[name], b.per_cylinder[name]) for name in a.per_cylinder)
        and np.array_equal(a.end_state, b.end_state)
        and (a.converged, a.cycles, a.checks) == (b.converged, b.cycles, b.checks)
    )


@pytest.mark.parametrize("most", [1, 2, 4])
def test_a_run_cut_short_says_so(most):
    result = run_point(case_of(LONG), 3000, max_cycles=most)
    assert not result.converged
    assert result.cycles == most == result.scalars["cycles"]
    assert 0.5 < result.scalars["volumetric_efficiency"] < 2.0


def test_a_tolerance_out_of_reach_says_so():
    """No solver repeats to 1e-10 of a jittering engine within its cycles; the last change tells how far it was."""
    result = run_point(case_of("n155", {"run.tolerance": "1e-10", "run.max_cycles": "6"}), 6000)
    assert not result.converged
    assert result.checks["last_change"] > 1e-10


@pytest.mark.parametrize("rpm", [3000, 5000, 8000])
def test_what_was_called_settled_was(rpm):
    """Forty cycles instead of the handful the rule asked for: filling moves by no more than the tolerance, 3e-4."""
    result = run("starter", rpm)
    assert result.converged
    engine = Engine(build(case_of("starter")), rpm)
    for _ in range(40):
        engine.cycle()
    assert result.scalars["volumetric_efficiency"] == pytest.approx(float(engine.key_numbers()[0].mean()), abs=3e-4)


def test_warm_start():
    """From its own end state, and from that of a neighbouring speed: the same filling within the tolerance asked (1e-6 of
    the series still to come; 2e-6 allowed), in fewer cycles."""
    case = case_of(LONG)
    cold = run(LONG, 3010)
    again = run_point(case, 3010, start=cold.end_state)
    beside = run_point(case, 3010, start=run(LONG, 3000).end_state)
    assert cold.converged and again.converged and beside.converged
    for warm in (again, beside):
        assert warm.scalars["volumetric_efficiency"] == pytest.approx(cold.scalars["volumetric_efficiency"], abs=2e-6)
        assert warm.cycles < cold.cycles


def test_a_state_of_another_mesh_is_refused():
    with pytest.raises(ValueError, match="another mesh"):
        run_point(case_of("starter"), 5000, start=run(LONG, 3000).end_state)


def test_results_repeat_bit_for_bit():
    case = case_of("starter")
    assert same_bits(run_point(case, 6000), run_point(case, 6000))


def test_two_threads_give_the_same_bits_as_one():
    case = case_of("n155")
    speeds = (7000, 6500, 6000, 5500)

    def point(rpm: float) -> PointResult:
        return run_point(case, rpm, max_cycles=3)

    alone = [point(rpm) for rpm in speeds]
    with ThreadPoolExecutor(2) as threads:
        together = list(threads.map(point, speeds))
    assert all(same_bits(a, b) for a, b in zip(alone, together, strict=True))


@pytest.mark.full
def test_jitter_is_averaged_and_told():
    """N155 with the long cam at 2000 rpm never repeats from cycle to cycle (cylinders beat against each other by some
    tenths of a per cent): the run ends all the same, tells the jitter, and its mean is that of the cycles that follow
    (tolerance 3e-4)."""
    case = case_of("n155_long_cam")
    result = run("n155_long_cam", 2000)
    assert result.converged
    assert 1e-3 < result.checks["jitter"] < 2e-2
    following = run_point(case, 2000, start=result.end_state, max_cycles=12)
    assert following.converged
    assert following.scalars["volumetric_efficiency"] == pytest.approx(result.scalars["volumetric_efficiency"], abs=3e-4)
