"""Warm starts: who follows whom is fixed by the speeds, so that stops, kills and cores leave every bit as it is."""

from __future__ import annotations

import json
import random
import threading
import time
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from made_up import Engine, make_case

from waveflow.errors import RunError
from waveflow.study.chain import GROUP, REACH, nearest, parents_of, state_of, state_text, usable
from waveflow.study.sweep import SweepInterrupted, sweep

CASE = make_case()
RANGE = "2000:7000:250"


class Remembering(Engine):
    """The made-up engine with an end state that carries its whole past: another start gives other bits."""

    def __call__(self, case, rpm, start=None, max_cycles=None):
        if start is not None and rpm in getattr(self, "only_from_rest", ()):
            raise RunError(message="this start leads outside the gas table", rpm=rpm)
        point = super().__call__(case, rpm)
        past = 0.0 if start is None else float(start[0])
        point.end_state = np.array([0.5 * past + np.sin(rpm), rpm, 1e-40])
        point.scalars["volumetric_efficiency"] += 1e-3 * past
        point.scalars["from_rest"] = float(start is None)
        return point


def same_bits(a, b):
    """Whether two results hold the same bits."""
    return json.dumps(a.as_dict()) == json.dumps(b.as_dict())


speeds = st.lists(st.floats(100, 30000), min_size=1, max_size=60)


@given(speeds)
def test_every_speed_follows_a_neighbour_within_reach_or_none(row):
    parents = parents_of(row)
    assert set(parents) == set(row)
    ascending = sorted(set(row))
    seen = set()
    for speed, parent in parents.items():
        if parent is not None:
            assert parent in seen  # a parent comes first
            assert abs(ascending.index(parent) - ascending.index(speed)) == 1
            assert max(parent / speed, speed / parent) < REACH
        seen.add(speed)
    assert parents_of(random.sample(row, len(row))) == parents


@given(st.integers(1, 200))
def test_at_most_one_of_five_starts_from_rest_and_no_way_is_long(count):
    parents = parents_of(np.linspace(5000.0, 6000.0, count))
    assert sum(parent is None for parent in parents.values()) == -(-count // GROUP)
    for speed in parents:
        steps = 0
        while (speed := parents[speed]) is not None:
            steps += 1
        assert steps <= GROUP // 2


@given(speeds, speeds)
def test_added_speeds_follow_the_nearest(row, known):
    for speed, parent in nearest(row, known).items():
        ratios = [max(each / speed, speed / each) for each in known]
        assert parent is None if min(ratios) >= REACH else max(parent / speed, speed / parent) == min(ratios)


@given(st.lists(st.floats(allow_nan=False, allow_infinity=False), max_size=20))
def test_a_state_comes_back_from_text_in_single_precision(values):
    state = np.array(values)
    if usable(state):
        back = state_of(state_text(state))
        np.testing.assert_array_equal(back, state.astype(np.float32))
        assert state_text(back) == state_text(state)
    else:
        assert np.abs(state).max() > 3e38


def test_states_that_cannot_be_handed_on():
    assert not usable(None) and not usable(np.array([1.0, np.nan])) and not usable(np.array([1e300]))
    assert state_of("") is None and state_of("%%%") is None and state_of("QUJD") is None


def test_neighbours_hand_on_and_far_ones_do_not():
    row = sweep(CASE, [2000, 3000, 3500, 4000], run_point=Remembering())
    assert row.column("from_rest").tolist() == [1, 0, 1, 0]  # the middle of 3000, 3500, 4000; 2000 is too far away
    assert sweep(CASE, [3000, 3500], run_point=Remembering(), warm=False).column("from_rest").tolist() == [1, 1]
    given_start = sweep(CASE, [3000, 3500], run_point=Remembering(), start=np.ones(3))
    assert given_start.column("from_rest").tolist() == [0, 0]


def test_added_points_start_from_the_coarse_row():
    result = sweep(CASE, RANGE, run_point=Remembering(ripple=0.04))
    assert result.added.sum() > 5
    assert not result.column("from_rest")[result.added].any()


@settings(max_examples=12, deadline=None)
@given(seed=st.integers(0, 10**6), workers=st.sampled_from([1, 2, 8]))
def test_same_bits_for_any_number_of_workers(seed, workers):
    chance, lock = random.Random(seed), threading.Lock()
    engine = Remembering(ripple=0.04, broken=(4000.0,))

    def late(case, rpm, start=None, max_cycles=None):
        with lock:
            delay = chance.random() * 0.004
        time.sleep(delay)
        return engine(case, rpm, start)

    straight = sweep(CASE, RANGE, run_point=Remembering(ripple=0.04, broken=(4000.0,)), workers=1)
    assert same_bits(straight, sweep(CASE, RANGE, run_point=late, workers=workers))


@pytest.mark.parametrize("workers", [1, 2])
def test_stopped_after_every_point_and_resumed_is_the_straight_run(tmp_path, workers):
    straight = sweep(CASE, RANGE, run_point=Remembering(broken=(4000.0,)))
    for stop_after in range(1, len(straight), 2):
        file = tmp_path / f"journal-{stop_after}"

        def stop(done, total, rpm, ve, stop_after=stop_after):
            if done == stop_after:
                raise KeyboardInterrupt

        with pytest.raises(SweepInterrupted):
            sweep(CASE, RANGE, run_point=Remembering(broken=(4000.0,)), progress=stop, workers=workers, resume=file)
        rest = Remembering(broken=(4000.0,))
        assert same_bits(straight, sweep(CASE, RANGE, run_point=rest, resume=file))
        assert len(set(rest.calls)) <= len(straight) - stop_after


@given(lost=st.sets(st.integers(0, 40)))
@settings(max_examples=30, deadline=None)
def test_whichever_lines_of_the_journal_are_left_the_bits_are_the_same(tmp_path_factory, lost):
    """A kill leaves any subset of points at the end; here even any subset at all."""
    folder = tmp_path_factory.mktemp("lines")
    straight = sweep(CASE, RANGE, run_point=Remembering(), resume=folder / "whole")
    lines = (folder / "whole").read_bytes().splitlines(keepends=True)
    (folder / "part").write_bytes(b"".join(line for n, line in enumerate(lines) if n not in lost))
    assert same_bits(straight, sweep(CASE, RANGE, run_point=Remembering(), resume=folder / "part"))


def test_a_start_that_leads_nowhere_is_given_up_for_rest():
    engine = Remembering()
    engine.only_from_rest = (3500.0, 3000.0)
    result = sweep(CASE, [3000, 3500, 4000], run_point=engine)
    assert not result.failed and result.column("from_rest").tolist() == [1, 1, 0]


def test_the_journal_keeps_states_and_the_result_does_not(tmp_path):
    result = sweep(CASE, [3000, 3500], run_point=Remembering(), resume=tmp_path / "j")
    assert all("state" in json.loads(line)["point"] for line in Path(tmp_path / "j").read_text().splitlines())
    assert "state" not in json.dumps(result.as_dict())


def test_a_start_from_a_neighbour_comes_to_the_same_numbers_sooner():
    """The invented single: filling within 3e-4 (the tolerance of the case) of a run from rest, in fewer cycles."""
    import waveflow

    case = waveflow.load(Path(__file__).parents[2] / "cases" / "starter.toml", {"run.cell": "20 mm"})
    row = [4400, 4600, 4800, 5000, 5200]
    warm, cold = (sweep(case, row, warm=each) for each in (True, False))
    assert warm.cycles.sum() < cold.cycles.sum() and warm.converged.all()
    np.testing.assert_allclose(warm.volumetric_efficiency, cold.volumetric_efficiency, rtol=3e-4)
    one, eight = (sweep(case, row, workers=each) for each in (1, 8))
    assert same_bits(one, warm) and same_bits(eight, warm)
