"""Many samples: each number reproducible, every line kept, memory that does not grow with their count."""

from __future__ import annotations

import json
import os
import random
import signal
import subprocess
import sys
import time
import tracemalloc
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from waveflow.errors import CaseError, CaseProblem, RunError
from waveflow.study import journal as journal_module
from waveflow.study.samples import between, drawn, spread
from waveflow.study.varied import Varied

KEYS = ("engine.bore", "intake.runner.length", "friction.at_2000")


class MadeUp:
    """A case of three uncertain values whose torque is a sum with known weights; `changed` is what a real case has."""

    name, digest, text, assumptions = "made-up", "d0", "[burn]", ()
    burn = SimpleNamespace(kind="wiebe")
    enlarge = None
    intake = exhaust = SimpleNamespace(port=None)
    uncertain = tuple(
        SimpleNamespace(key=key, low=-1.0, high=1.0, lows=(), unit="", value_text="0", mark="", plus_minus="1") for key in KEYS
    )

    def __init__(self, overrides=None):
        self.values = [float((overrides or {}).get(key, 0.0)) for key in KEYS]

    def changed(self, overrides):
        if float(overrides[KEYS[0]]) > 0.999:
            raise CaseError([CaseProblem("case", KEYS[0], "1", "too large")])
        return MadeUp(overrides)


def run_point(case, rpm, start=None, cell=None):
    """Torque 100 + 3 a + 2 b + c, VE 1 + 0.01 a; it fails where b is near its upper end."""
    a, b, c = case.values
    if b > 0.99:
        raise RunError("temperature above the gas table", rpm=rpm)
    return SimpleNamespace(
        scalars={"torque": 100.0 + 3.0 * a + 2.0 * b + c, "volumetric_efficiency": 1.0 + 0.01 * a},
        end_state=np.zeros(4), converged=True,
    )  # fmt: skip


def same(a, b):
    """Whether two spreads hold the same bits."""
    return np.array_equal(a.numbers, b.numbers, equal_nan=True) and np.array_equal(a.shares, b.shares)


def test_the_spread_is_that_of_the_sum():
    """Uniform values: variance of torque (9 + 4 + 1) / 3, VE quantiles of a uniform one; 1 % of 512 Sobol samples allowed."""
    made = spread(MadeUp(), [3000, 4000], 512, run_point=run_point)
    torque = made.numbers[:, 0, 0]
    assert np.nanvar(torque) == pytest.approx(14.0 / 3.0, rel=0.05)
    np.testing.assert_allclose(made.shares[1, 0], 1.0 + 0.01 * np.array([-0.9, -0.5, 0.0, 0.5, 0.9]), atol=2e-4)
    np.testing.assert_allclose(made.mean[0], 100.0, atol=0.05)
    assert made.failed == np.isnan(torque).sum() > 0 and 2 <= len(made.reasons) <= 3
    assert "at 4000 rpm torque" in made.sentence and "VE -0.9 to +0.9 %" in made.sentence


def test_a_sample_is_the_same_however_many_are_asked_for_and_whoever_computes_it():
    few, many = spread(MadeUp(), 3000, 40, run_point=run_point, workers=1), spread(MadeUp(), 3000, 200, run_point=run_point)
    assert np.array_equal(few.numbers, many.numbers[:40], equal_nan=True)
    other = spread(MadeUp(), 3000, 40, run_point=run_point, seed=2)
    assert not np.array_equal(few.numbers, other.numbers)


def test_stopped_and_resumed_is_the_straight_run(tmp_path):
    straight = spread(MadeUp(), 3000, 150, run_point=run_point, workers=1)

    def stop(done, samples):
        if done == 70:
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        spread(MadeUp(), 3000, 150, run_point=run_point, progress=stop, resume=tmp_path / "file", workers=2)
    kept = len((tmp_path / "file").read_text().splitlines())
    assert kept >= 70
    calls = []

    def counted(case, rpm, start=None, cell=None):
        calls.append(case.values)
        return run_point(case, rpm, start, cell)

    assert same(spread(MadeUp(), 3000, 150, run_point=counted, resume=tmp_path / "file"), straight)
    # Those that fail from the handed-on state are tried from rest, too, so a failing one counts twice.
    assert len(calls) <= 1 + 150 - kept + straight.failed


RUN = """
import sys; sys.path.insert(0, sys.argv[1])
from test_samples import MadeUp, run_point
from waveflow.study import journal
from waveflow.study.samples import spread
journal.source_digest = lambda: "the same sources throughout"
import time
def slow(case, rpm, start=None, cell=None):
    time.sleep(0.004)
    return run_point(case, rpm, start, cell)
spread(MadeUp(), 3000, 400, run_point=slow, workers=2, resume=sys.argv[2],
       progress=lambda done, total: print(done, flush=True))
"""


@pytest.mark.skipif(os.name != "posix", reason="kills processes by a signal")
def test_killed_at_random_times_nothing_told_is_lost(tmp_path, monkeypatch):
    monkeypatch.setattr(journal_module, "source_digest", lambda: "the same sources throughout")
    chance, told = random.Random(5), 0
    for _ in range(3):
        process = subprocess.Popen([sys.executable, "-c", RUN, str(Path(__file__).parent), str(tmp_path / "f")],
                                   stdout=subprocess.PIPE, text=True)  # fmt: skip
        seen = [int(process.stdout.readline())]
        time.sleep(chance.random() * 0.3)
        process.send_signal(signal.SIGKILL)
        seen += [int(line) for line in process.stdout.read().split()]
        process.wait()
        process.stdout.close()
        told = max(told, *seen)
        whole = [line for line in (tmp_path / "f").read_bytes().split(b"\n")[:-1] if line]
        assert len({json.loads(line)["point"]["sample"] for line in whole}) >= told
    made = spread(MadeUp(), 3000, 400, run_point=run_point, resume=tmp_path / "f")
    assert same(made, spread(MadeUp(), 3000, 400, run_point=run_point))


def test_memory_does_not_grow_with_the_samples(tmp_path):
    """Every sample carries a state of 400 kB that must not be kept: the peak of 400 samples is within 1 MB of that of 100."""

    def heavy(case, rpm, start=None, cell=None):
        point = run_point(case, rpm, start, cell)
        point.end_state = np.random.default_rng(0).random(50_000)
        return point

    spread(MadeUp(), 3000, 4, run_point=heavy)
    peaks = []
    for count in (100, 400):
        tracemalloc.start()
        spread(MadeUp(), 3000, count, run_point=heavy, workers=2, resume=tmp_path / f"{count}")
        peaks.append(tracemalloc.get_traced_memory()[1])
        tracemalloc.stop()
    assert peaks[1] < peaks[0] + 1e6 and peaks[1] < 20e6, peaks
    assert len((tmp_path / "400").read_text().splitlines()) == 400


def test_an_engine_needs_less_than_fifty_megabytes():
    """The four-cylinder engine on its own cells, built and run for a cycle: what it holds in memory at most."""
    import waveflow
    from waveflow.study.cycle import run_point as real

    case = waveflow.load(Path(__file__).parents[2] / "cases" / "n155.toml")
    real(case, 3000.0, max_cycles=1)  # tables and machine code are shared by all engines
    tracemalloc.start()
    real(case, 3000.0, max_cycles=1)
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert peak < 50e6


@given(st.floats(-1e6, 1e6), st.floats(-1e6, 1e6), st.floats(0, 1))
def test_numbers_of_a_text_move_and_units_do_not(a, b, share):
    text = between(f"{a!r} in2", f"{b!r} in2", share)
    assert text.endswith(" in2") and float(text.split()[0]) == pytest.approx(a + share * (b - a), abs=2e-3)
    column = between('["1 mm", "0 mm", "3 inH2O"]', '["2 mm", "0 mm", "5 inH2O"]', 0.5)
    assert column == '["1.5 mm", "0 mm", "4 inH2O"]'


def test_every_value_stays_in_its_range():
    values = [Varied(key, "0", "", "-1", "1", {key: "-1 mm2"}, {key: "1 mm2"}) for key in KEYS]
    rows = [[float(text.split()[0]) for text in each.values()] for each in drawn(values, 64, 3)]
    assert np.abs(rows).max() <= 1.0 and np.abs(np.mean(rows, axis=0)).max() < 0.05


def test_nothing_uncertain_and_senseless_counts_are_refused():
    case = MadeUp()
    case.uncertain = ()
    with pytest.raises(ValueError, match="nothing of this case is uncertain"):
        spread(case, 3000, 10, run_point=run_point)
    with pytest.raises(ValueError, match="allowed 2 to 100000"):
        spread(MadeUp(), 3000, 1, run_point=run_point)
