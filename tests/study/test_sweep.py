"""Sweeps: exactly the speeds asked for, refined lobes, gaps, journal, kills, and the same bits whatever happens."""

from __future__ import annotations

import json
import os
import random
import signal
import subprocess
import sys
import threading
import time
from pathlib import Path

import made_up
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from made_up import Engine, make_case

from waveflow.study import journal as journal_module
from waveflow.study.journal import Journal
from waveflow.study.lobes import lobe_spacing, lobes_of, peak_of
from waveflow.study.speeds import (
    MOST_COARSE,
    SpeedRange,
    SpeedsError,
    coarse_speeds,
    doubtful,
    extra_speeds,
    parse_speeds,
)
from waveflow.study.sweep import SweepInterrupted, plan, sweep
from waveflow.study.writing import StoreError

CASE = make_case()


def same_bits(a, b):
    """Whether two results hold the same bits (NaN equal to NaN)."""
    return json.dumps(a.as_dict()) == json.dumps(b.as_dict())


def test_a_list_is_computed_exactly_as_given():
    asked = [5000, 2000.5, 7000, 2000.5, 3000]
    engine = Engine()
    result = sweep(CASE, asked, run_point=engine, workers=2)
    assert list(result.rpm) == asked
    assert sorted(engine.calls) == [2000.5, 3000, 5000, 7000]
    np.testing.assert_allclose(result.volumetric_efficiency, engine.ve(asked), rtol=0)
    assert result.per_cylinder["volumetric_efficiency"].shape == (5, 4)
    assert not result.added.any()
    assert result.converged.tolist() == [True, True, False, True, True]
    assert any("did not come to repeat itself at 7000 rpm" in text for text in result.warnings)


def test_a_single_speed_and_words():
    assert sweep(CASE, 3000, run_point=Engine()).rpm.tolist() == [3000]
    assert sweep(CASE, "3000, 2000 rpm", run_point=Engine()).rpm.tolist() == [3000, 2000]


@pytest.mark.parametrize(
    ("text", "wants"),
    [
        ("1500:7500", SpeedRange(1500, 7500)),
        ("1500 : 7500 : 250 rpm", SpeedRange(1500, 7500, 250)),
        ("2e3;3000", [2e3, 3e3]),
    ],
)
def test_words_for_speeds(text, wants):
    assert parse_speeds(text) == wants


@pytest.mark.parametrize(
    ("asked", "says"),
    [
        ("", "no list of speeds"),
        ("fast", "no list of speeds"),
        ("1:2:3:4", "FROM:TO"),
        ("7000:1500", "does not go upwards"),
        ("1500:7500:0", "step 0 rpm: allowed 1 to 6000"),
        ("1500:7500:nan", "step nan rpm"),
        ("1500:30000:1", "more than 1000 speeds"),
        ([], "no speed"),
        ([50], "50 rpm: allowed 100 to 30000"),
        ([float("nan")], "nan rpm"),
        ([float("inf")], "inf rpm"),
        (range(1000, 3000), "at most 1000"),
    ],
)
def test_senseless_speeds_are_refused_with_words(asked, says):
    engine = Engine()
    with pytest.raises(SpeedsError, match=says):
        sweep(CASE, asked, run_point=engine)
    assert engine.calls == []


@given(
    low=st.floats(100, 10000),
    width=st.floats(100, 15000),
    length=st.one_of(st.none(), st.floats(0.05, 2.0)),
    sound=st.floats(320, 380),
)
def test_the_coarse_row_suits_the_lobes_and_is_bounded(low, width, length, sound):
    row = coarse_speeds(SpeedRange(low, low + width), sound, length)
    assert row[0] == low and row[-1] == low + width
    steps = np.diff(row)
    assert np.all(steps > 0) and len(row) <= MOST_COARSE
    if length and width < 4000 and low > 500:
        # Four points a lobe, except for the bounds of the step and rounding to 25 rpm.
        allowed = np.maximum(lobe_spacing(np.array(row[:-1]), sound, length) / 4.0, 100.0) + 25.0
        inner = steps[:-1]
        assert np.all(inner <= np.minimum(allowed[:-1], 275.0) + 1e-9)


def test_a_given_step_is_kept():
    assert coarse_speeds(SpeedRange(1500, 2600, 250), 343, 0.4) == (1500, 1750, 2000, 2250, 2500, 2600)
    assert coarse_speeds(SpeedRange(1500, 2500, 250), 343, 0.4) == (1500, 1750, 2000, 2250, 2500)


def test_a_range_finds_every_lobe_that_counts_within_a_few_rpm():
    engine = Engine(ripple=0.03)
    result = sweep(CASE, "1500:7500", run_point=engine)
    fine = np.arange(1500.0, 7500.0, 1.0)
    truth = engine.ve(fine)
    from scipy.signal import find_peaks

    tops = fine[find_peaks(truth, prominence=0.006)[0]]
    assert len(tops) >= 4
    found = [lobe for lobe in lobes_of(result) if lobe.kind == "top"]
    for top in tops:
        near = min(found, key=lambda lobe: abs(lobe.rpm - top))
        assert abs(near.rpm - top) < 3.0 and near.refined, (top, near)
    for name, curve in (("torque", engine.torque), ("power", lambda n: engine.torque(n) * n)):
        peak = peak_of(result, name)
        assert peak.refined and abs(peak.rpm - fine[np.argmax(curve(fine))]) < 3.0
    assert np.all(np.diff(result.rpm) > 0)
    assert result.added.any() and len(result) <= plan(CASE, "1500:7500").most


@settings(max_examples=25, deadline=None)
@given(
    centre=st.floats(2500, 7000), ripple=st.floats(0.0, 0.08), width=st.floats(2000, 6000),
    workers=st.integers(1, 4), most=st.integers(0, 40),
)  # fmt: skip
def test_the_number_of_points_never_exceeds_what_was_stated(centre, ripple, width, workers, most):
    planned = plan(CASE, "1500:7500", most_extra=most)
    engine = Engine(centre=centre, ripple=ripple, width=width)
    result = sweep(CASE, "1500:7500", run_point=engine, workers=workers, most_extra=most)
    assert len(engine.calls) == len(set(engine.calls)) == len(result) <= planned.most
    assert planned.sentence.startswith(f"{len(planned.first)} speeds to compute first, then at most {most} more")


def test_running_out_of_points_is_said():
    result = sweep(CASE, "1500:7500", run_point=Engine(ripple=0.04), most_extra=3)
    assert int(result.added.sum()) == 3
    assert any("could not be refined within 3 added speeds" in text for text in result.warnings)


def test_points_too_far_apart_are_doubted_in_words():
    result = sweep(CASE, "1500:7500:600", run_point=Engine(ripple=0.05), most_extra=0)
    doubts = [text for text in result.warnings if "cannot be excluded" in text]
    assert doubts and "rpm apart" in doubts[0]
    smooth = sweep(CASE, "2500:4500:100", run_point=Engine(ripple=0.0, width=20000.0))
    assert not [text for text in smooth.warnings if "cannot be excluded" in text]


@pytest.mark.parametrize(
    ("rpm", "ve", "length", "found"),
    [
        # At 3000 rpm lobes of a 400 mm column lie 311 rpm apart: points 100 rpm apart are three a lobe.
        ([3000, 3100], [0.90, 0.96], 0.4, []),
        ([3000, 3100], [0.90, 0.99], 0.4, [(3000, 3100)]),
        ([3000, 3125], [0.90, 0.906], 0.4, [(3000, 3125)]),
        ([3000, 3125], [0.90, 0.904], 0.4, []),
        ([3000, 3100], [0.90, 0.92], None, []),
        ([3000, 3100], [0.90, 0.94], None, [(3000, 3100)]),
        ([3000, 3025], [0.90, 0.99], 0.4, []),  # 25 rpm is as fine as it gets
        ([3100, 3200, 3300], [0.9, 0.99, 0.90], 0.4, [(3100, 3200), (3200, 3300)]),
    ],
)
def test_what_makes_a_stretch_doubtful(rpm, ve, length, found):
    assert [gap[:2] for gap in doubtful(rpm, ve, made_up.SOUND, length)] == found


def test_half_way_points_where_the_curve_does_something_odd():
    rpm = [float(n) for n in range(2000, 3001, 100)]

    def added(ve, done=rpm, room=40):
        values = {"volumetric_efficiency": dict(zip(rpm, ve, strict=True))}
        return extra_speeds(values, done, room, made_up.SOUND, made_up.LENGTH)

    step = [0.90 + 0.02 * (n >= 2550) + 1e-6 * n for n in rpm]
    assert added(step) == [2550.0]
    assert added(step, done=[*rpm, 2550.0]) == []  # tried already, and failed
    assert added([0.9 + 1e-4 * (n - 2000.0) for n in rpm]) == []  # as steep, but nothing odd
    stairs = [0.90 + 0.02 * (n >= 2250) + 0.03 * (n >= 2750) + 1e-6 * n for n in rpm]
    assert added(stairs) == [2750.0, 2250.0]  # the odder one first
    assert added(stairs, room=1) == [2750.0]
    assert added(stairs, room=2) == [2750.0]  # half of the room is kept for what these two may show
    close = {"volumetric_efficiency": {2500.0: 0.90, 2550.0: 0.92, 2600.0: 0.921, 2650.0: 0.922}}
    assert extra_speeds(close, close["volumetric_efficiency"], 40, made_up.SOUND, made_up.LENGTH) == []


def test_speeds_beyond_the_redline_are_said():
    case = make_case(redline=5000.0)
    assert any("beyond the redline; computed up to 6000" in w for w in sweep(case, [6000, 3000], run_point=Engine()).warnings)
    assert not any("redline" in w for w in sweep(case, [5000, 3000], run_point=Engine()).warnings)


def test_a_failed_speed_is_a_gap_with_a_reason():
    told = []
    result = sweep(
        CASE, [2000, 3000, 4000], run_point=Engine(broken=(3000,)), progress=lambda *args: told.append(args)
    )
    assert np.isnan(result.torque).tolist() == [False, True, False]
    assert np.isnan(result.per_cylinder["volumetric_efficiency"][1]).all()
    assert result.converged.tolist() == [True, False, True]
    assert not any("repeat itself" in text for text in result.warnings)  # it failed, which is said elsewhere
    assert "runner 2" in result.failed[3000] and "above the gas table" in result.failed[3000]
    assert [args[:2] for args in told] == [(1, 3), (2, 3), (3, 3)]
    assert [np.isnan(ve) for _, _, rpm, ve in sorted(told, key=lambda args: args[2])] == [False, True, False]


def test_all_speeds_failing_gives_only_gaps():
    result = sweep(CASE, [2000, 3000], run_point=Engine(broken=(2000, 3000)))
    assert np.isnan(result.torque).all() and len(result.failed) == 2
    refined = sweep(CASE, "2000:3000:500", run_point=Engine(broken=(2000, 2500, 3000)))
    assert len(refined) == 3 and np.isnan(refined.volumetric_efficiency).all()


def test_a_number_that_is_not_finite_is_a_gap_too():
    def run_point(case, rpm, start=None, max_cycles=None):
        point = Engine()(case, rpm)
        point.scalars["torque"] = float("nan") if rpm == 3000 else 100.0
        return point

    result = sweep(CASE, [2000, 3000], run_point=run_point)
    assert result.failed == {3000.0: "3000 rpm: no finite number came out for torque"}
    assert np.isnan(result.volumetric_efficiency[1])


def test_a_failing_speed_beside_a_top_does_not_stop_the_others():
    engine = Engine(ripple=0.03)
    straight = sweep(CASE, "1500:7500", run_point=engine)
    top = max((lobe for lobe in lobes_of(straight) if lobe.kind == "top"), key=lambda lobe: lobe.value)
    broken = 25.0 * round(top.rpm / 25.0)
    result = sweep(CASE, "1500:7500", run_point=Engine(ripple=0.03, broken=(broken,)))
    assert broken in result.failed
    assert peak_of(result, "volumetric_efficiency").beside_gap
    assert peak_of(result, "power").refined


def test_mistakes_in_the_program_are_not_hidden(tmp_path):
    def run_point(case, rpm, start=None, max_cycles=None):
        if rpm == 3000:
            raise ZeroDivisionError("a bug")
        return Engine()(case, rpm)

    with pytest.raises(ZeroDivisionError):
        sweep(CASE, [2000, 3000], run_point=run_point, workers=1, resume=tmp_path / "journal")
    again = Engine()
    sweep(CASE, [2000, 3000], run_point=again, resume=tmp_path / "journal")
    assert again.calls == [3000]


@settings(max_examples=15, deadline=None)
@given(seed=st.integers(0, 10**6), workers=st.integers(2, 6))
def test_same_bits_for_any_number_of_workers_and_any_order_of_finishing(seed, workers):
    chance = random.Random(seed)
    delays = {}
    lock = threading.Lock()
    engine = Engine(ripple=0.04, broken=(4000.0,))

    def late(case, rpm, start=None, max_cycles=None):
        with lock:
            delay = delays.setdefault(rpm, chance.random() * 0.004)
        time.sleep(delay)
        return engine(case, rpm)

    straight = sweep(CASE, "2000:7000:250", run_point=Engine(ripple=0.04, broken=(4000.0,)), workers=1)
    assert same_bits(straight, sweep(CASE, "2000:7000:250", run_point=late, workers=workers))


def test_points_are_really_computed_side_by_side():
    together = threading.Barrier(3, timeout=10.0)

    def run_point(case, rpm, start=None, max_cycles=None):
        together.wait()
        return Engine()(case, rpm)

    assert len(sweep(CASE, [2000, 3000, 4000], run_point=run_point, workers=3)) == 3


def test_stopped_after_each_point_and_resumed_gives_the_straight_run(tmp_path):
    straight = sweep(CASE, "2000:6000:500", run_point=Engine(broken=(3500.0,)))
    for stop_after in range(1, len(straight)):
        file = tmp_path / f"journal-{stop_after}"

        def stop(done, total, rpm, ve, stop_after=stop_after):
            if done == stop_after:
                raise KeyboardInterrupt

        with pytest.raises(SweepInterrupted) as stopped:
            sweep(CASE, "2000:6000:500", run_point=Engine(broken=(3500.0,)), progress=stop, workers=2, resume=file)
        assert len(stopped.value.partial) >= stop_after
        assert str(file) in stopped.value.sentence and "resume=" in stopped.value.sentence
        rest = Engine(broken=(3500.0,))
        resumed = sweep(CASE, "2000:6000:500", run_point=rest, resume=file)
        assert same_bits(straight, resumed)
        assert len(rest.calls) <= len(straight) - stop_after


def test_stopping_without_a_file_says_so():
    def stop(*args):
        raise KeyboardInterrupt

    with pytest.raises(SweepInterrupted, match="1 of 2 speeds are finished; they are not kept") as stopped:
        sweep(CASE, [2000, 3000], run_point=Engine(slow=0.05), progress=stop, workers=1)
    assert isinstance(stopped.value, KeyboardInterrupt) and len(stopped.value.partial) == 1


SLOW_RUN = """
import sys; sys.path.insert(0, sys.argv[1])
from made_up import Engine, make_case
from waveflow.study import journal
from waveflow.study.sweep import sweep
journal.source_digest = lambda: "the same sources throughout"
sweep(make_case(), "2000:6000:250", run_point=Engine(slow=0.03), workers=2, resume=sys.argv[2],
      progress=lambda done, total, rpm, ve: print(done, flush=True))
print("end", flush=True)
"""


def start_slow_run(journal):
    return subprocess.Popen(
        [sys.executable, "-c", SLOW_RUN, str(Path(made_up.__file__).parent), str(journal)],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )


def test_killed_in_the_middle_again_and_again_no_finished_point_is_lost(tmp_path, monkeypatch):
    monkeypatch.setattr(journal_module, "source_digest", lambda: "the same sources throughout")
    chance = random.Random(11)
    file = tmp_path / "journal.jsonl"
    told = 0
    for _ in range(4):
        process = start_slow_run(file)
        lines = []
        wait_for = told + chance.randint(1, 4)
        for line in process.stdout:
            lines.append(line.strip())
            if line.strip() == "end" or int(line) >= wait_for:
                break
        time.sleep(chance.random() * 0.04)
        process.kill()
        process.wait()
        rest = process.stdout.read().split()
        told = max([told, *(int(line) for line in [*lines, *rest] if line != "end")])
        process.stdout.close(), process.stderr.close()
        kept = len(file.read_bytes().splitlines())
        assert kept >= told  # what was told to the user is on the disk
    assert told >= 4
    rest = Engine()
    resumed = sweep(make_case(), "2000:6000:250", run_point=rest, resume=file)
    assert len(rest.calls) <= len(resumed) - told
    assert same_bits(resumed, sweep(make_case(), "2000:6000:250", run_point=Engine()))


@pytest.mark.skipif(os.name != "posix", reason="sends a signal")
def test_ctrl_c_ends_at_once_though_a_point_takes_long(tmp_path):
    script = SLOW_RUN.replace("slow=0.03", "slow=30.0").replace(
        'sweep(make_case()', 'print("go", flush=True)\nsweep(make_case()'
    )
    process = subprocess.Popen(
        [sys.executable, "-c", script, str(Path(made_up.__file__).parent), str(tmp_path / "journal")],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )
    assert process.stdout.readline() == "go\n"
    time.sleep(0.3)
    begun = time.monotonic()
    process.send_signal(signal.SIGINT)
    _, errors = process.communicate(timeout=20)
    assert time.monotonic() - begun < 2.0
    assert process.returncode != 0 and "SweepInterrupted: Stopped: 0 of" in errors


def test_a_torn_or_changed_line_is_passed_over(tmp_path):
    file = tmp_path / "journal"
    sweep(CASE, [2000, 3000, 4000, 5000], run_point=Engine(), workers=1, resume=file)
    lines = file.read_bytes().splitlines(keepends=True)
    changed = lines[1].replace(b'"volumetric_efficiency": 0.', b'"volumetric_efficiency": 1.')
    assert changed != lines[1]
    file.write_bytes(lines[0] + changed + b"\xff\xfe not json\n" + lines[2] + lines[3][:40])
    rest = Engine()
    resumed = sweep(CASE, [2000, 3000, 4000, 5000], run_point=rest, workers=1, resume=file)
    assert rest.calls == [3000, 5000]
    assert same_bits(resumed, sweep(CASE, [2000, 3000, 4000, 5000], run_point=Engine()))
    # The torn line did not take the next one with it.
    with Journal(file, json.loads(lines[0])["key"]) as journal:
        assert sorted(journal.points) == [2000, 3000, 4000, 5000]
        assert journal.damaged == 3


@given(cut=st.integers(0, 10**6))
@settings(max_examples=40, deadline=None)
def test_a_journal_cut_anywhere_never_gives_a_wrong_number(tmp_path_factory, cut):
    folder = tmp_path_factory.mktemp("cut")
    sweep(CASE, [2000, 3000], run_point=Engine(), workers=1, resume=folder / "a")
    whole = (folder / "a").read_bytes()
    (folder / "b").write_bytes(whole[: cut % (len(whole) + 1)])
    assert same_bits(
        sweep(CASE, [2000, 3000], run_point=Engine(), resume=folder / "b"),
        sweep(CASE, [2000, 3000], run_point=Engine()),
    )


def test_one_journal_serves_several_cases_and_never_mixes_them(tmp_path):
    file = tmp_path / "journal"
    first = sweep(make_case(digest="a"), [2000, 3000], run_point=Engine(), resume=file)
    other = sweep(make_case(digest="b"), [2000, 3000], run_point=Engine(centre=6000), resume=file)
    assert not np.array_equal(first.torque, other.torque)
    none = Engine()
    assert same_bits(first, sweep(make_case(digest="a"), [2000, 3000], run_point=none, resume=file))
    assert none.calls == []
    changed = Engine()
    sweep(make_case(digest="a"), [2000], run_point=changed, resume=file, max_cycles=12)
    assert changed.calls == [2000]  # other settings, other numbers


def test_a_journal_that_cannot_be_kept_is_said_before_computing(tmp_path):
    (tmp_path / "file").write_text("")
    engine = Engine()
    with pytest.raises(StoreError, match="a part of the path is a file"):
        sweep(CASE, [2000], run_point=engine, resume=tmp_path / "file" / "journal")
    assert engine.calls == []


def test_a_disk_that_fills_up_stops_with_one_sentence_and_keeps_what_is_finished(tmp_path, monkeypatch):
    real, written = os.write, []

    def full(handle, data):
        written.append(len(data))
        if len(written) == 3:
            return real(handle, bytes(data)[:20])
        if len(written) > 3:
            raise OSError(28, "No space left on device")
        return real(handle, data)

    file = tmp_path / "journal"
    monkeypatch.setattr(journal_module, "write_all", _write_all_with(full))
    with pytest.raises(StoreError, match="finished speeds cannot be written: the disk is full"):
        sweep(CASE, [2000, 3000, 4000, 5000], run_point=Engine(), workers=1, resume=file)
    monkeypatch.undo()
    rest = Engine()
    resumed = sweep(CASE, [2000, 3000, 4000, 5000], run_point=rest, workers=1, resume=file)
    assert rest.calls == [4000, 5000]
    assert same_bits(resumed, sweep(CASE, [2000, 3000, 4000, 5000], run_point=Engine()))


def _write_all_with(write):
    def write_all(handle, data):
        while data:
            data = data[write(handle, data) :]

    return write_all
