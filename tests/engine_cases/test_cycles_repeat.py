"""Cycles until they repeat: the stop rule says the truth, warm starts lead to the same place, results repeat bit for bit."""

import math
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor

import numpy as np
import pytest
from case_runs import case_of, run

from waveflow.engine.build import build
from waveflow.study.cycle import Engine, PointResult, run_point
from waveflow.study.settling import Settling

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


def history(error: Callable[[int], float], from_neighbour: bool = False) -> tuple[Settling, list[float]]:
    """The rule at tolerance 3e-4 fed with 1 + error(cycle) for four cylinders until it is content, 40 cycles at most."""
    rule, values = Settling(3e-4, from_neighbour), []
    while len(values) < 40 and not rule.settled:
        values.append(1.0 + error(len(values)))
        rule.add(np.full((3, 4), values[-1]))
    return rule, values


@pytest.mark.parametrize("ratio", [-0.6, 0.2, 0.5, 0.7])
def test_a_decaying_series_is_followed_to_its_end(ratio):
    """What the rule calls settled is within the tolerance of where the series ends."""
    rule, values = history(lambda k: 0.1 * ratio**k)
    assert rule.settled and rule.block == 1
    assert abs(values[-1] - 1.0) < 3e-4


@pytest.mark.parametrize("ratio", [-0.4, 0.1, 0.35, 0.6])
def test_a_start_from_a_neighbour_is_believed_sooner(ratio):
    """A quick decay of 1 % over a slow one a tenth as large as from rest: settled within the tolerance, in no more cycles."""
    def error(k: int) -> float:
        return 0.01 * ratio**k + 2e-4 * 0.65**k

    rule, values = history(error, from_neighbour=True)
    assert rule.settled and rule.block == 1
    assert abs(values[-1] - 1.0) < 3e-4
    assert len(values) <= len(history(error)[1])


@pytest.mark.parametrize("period", [2, 3])
def test_jitter_is_averaged_and_told(period):
    """Cycles that come back only every second or third time: settled on the mean of a block, with the spread stated."""
    rule, values = history(lambda k: 0.1 * 0.3**k + 4e-3 * math.cos(2.0 * math.pi * k / period))
    assert rule.settled and rule.block > 1
    assert float(np.mean(values[-rule.block :])) == pytest.approx(1.0, abs=3e-4)
    assert rule.jitter == pytest.approx(np.ptp(values[-rule.block :]), rel=1e-12)
    assert rule.jitter > 4e-3


def test_a_drift_never_settles():
    rule, values = history(lambda k: 1e-3 * k)
    assert not rule.settled and len(values) == 40


@pytest.mark.full
@pytest.mark.parametrize(("name", "rpm"), [("n155_long_cam", 2000), ("n155_race", 7000), ("n155", 3500)])
def test_what_was_called_settled_was_on_four_cylinders(name, rpm):
    """The mean of cycles 25 to 30 is within the tolerance, 3e-4, of what the rule was content with."""
    result = run(name, rpm)
    assert result.converged
    engine = Engine(build(case_of(name)), rpm)
    last = []
    for _ in range(30):
        engine.cycle()
        last.append(float(engine.key_numbers()[0].mean()))
    assert result.scalars["volumetric_efficiency"] == pytest.approx(np.mean(last[-6:]), abs=3e-4)
