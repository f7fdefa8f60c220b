"""Points over processes: the same bits, a lost worker's points done again, a deadly point named, plain words for the rest."""

from __future__ import annotations

import builtins
import json
import os
import signal
import sys
from types import SimpleNamespace

import made_up
import numpy as np
import pytest
from made_up import Engine, make_case

from waveflow import cli
from waveflow.study.cluster import ClusterError, ClusterWorkers, remote_call
from waveflow.study.sensitivity import sensitivity
from waveflow.study.sweep import SweepInterrupted, sweep

CASE = make_case()
ROW = [2000, 2200, 2400, 2600, 2800, 3000, 4000, 5000]


class Deadly(Engine):
    """The made-up engine; `once` [rpm] kills its process the first time (a marker in `folder`), `always` every time."""

    once = always = 0.0
    folder = ""

    def __call__(self, case, rpm, start=None, max_cycles=None):
        marker = os.path.join(self.folder, "died")
        if rpm == self.always or (rpm == self.once and not os.path.exists(marker)):
            with open(marker, "a") as file:
                file.write(f"{os.getpid()}\n")
            os.kill(os.getpid(), signal.SIGKILL)
        point = super().__call__(case, rpm)
        point.end_state = np.array([rpm + (0.0 if start is None else 0.5 * start[0])])
        point.scalars["volumetric_efficiency"] += 0.0 if start is None else 1e-6 * start[0]
        return point


def engine(folder, **more):
    made = Deadly(slow=0.02)
    made.folder = str(folder)
    for name, value in more.items():
        setattr(made, name, value)
    return made


def same_bits(a, b):
    """Whether two results hold the same bits."""
    return json.dumps(a.as_dict()) == json.dumps(b.as_dict())


@pytest.fixture(scope="module")
def pool():
    """Two processes of this machine."""
    pytest.importorskip("distributed")
    sentences = []
    if os.path.dirname(made_up.__file__) not in sys.path:
        sys.path.insert(0, os.path.dirname(made_up.__file__))
    with ClusterWorkers("local:2", sentences.append) as made:
        made.sentences = sentences
        yield made


@pytest.mark.skipif(os.name != "posix", reason="kills processes by a signal")
def test_a_worker_killed_in_the_middle_changes_no_bit(pool, tmp_path):
    straight = sweep(CASE, ROW, run_point=engine(tmp_path), workers=1)
    told = []
    row = sweep(CASE, ROW, run_point=engine(tmp_path, once=2400.0), workers=pool, progress=lambda *args: told.append(args))
    assert len((tmp_path / "died").read_text().split()) == 1
    assert same_bits(row, straight) and not row.failed
    assert [args[0] for args in told] == list(range(1, len(ROW) + 1))
    assert any("was lost" in sentence and "done again" in sentence for sentence in pool.sentences)


@pytest.mark.skipif(os.name != "posix", reason="kills processes by a signal")
def test_a_point_that_kills_three_workers_is_named_and_the_others_finish(pool, tmp_path):
    file = tmp_path / "journal"
    row = sweep(CASE, ROW, run_point=engine(tmp_path, always=4000.0), workers=pool, resume=file)
    assert list(row.failed) == [4000.0] and "4000 rpm: the process that computed it died 3 times" in row.failed[4000.0]
    assert len((tmp_path / "died").read_text().split()) == 3
    assert np.isfinite(row.torque).sum() == len(ROW) - 1
    # It is not kept: a resumed run tries it again, on a machine where it may run.
    assert len(file.read_text().splitlines()) == len(ROW) - 1
    assert same_bits(sweep(CASE, ROW, run_point=engine(tmp_path), resume=file), sweep(CASE, ROW, run_point=engine(tmp_path)))


def test_stopped_on_a_cluster_and_resumed_on_threads_is_the_straight_run(pool, tmp_path):
    def stop(done, total, rpm, ve):
        if done == 3:
            raise KeyboardInterrupt

    with pytest.raises(SweepInterrupted) as stopped:
        sweep(CASE, ROW, run_point=engine(tmp_path), workers=pool, progress=stop, resume=tmp_path / "j")
    assert len(stopped.value.partial) >= 3
    straight = sweep(CASE, ROW, run_point=engine(tmp_path), workers=1)
    assert same_bits(sweep(CASE, ROW, run_point=engine(tmp_path), resume=tmp_path / "j"), straight)


def test_mistakes_in_the_program_come_through(pool):
    with pytest.raises(ZeroDivisionError):
        pool.submit(divmod, 1, 0).result(timeout=20)


def test_another_version_is_refused(pool):
    with pytest.raises(ClusterError, match="another version of waveflow"):
        pool.submit(remote_call, "other sources", divmod, (7, 2)).result(timeout=20)


@pytest.mark.full
def test_the_real_solver_gives_the_same_bits(pool):
    import waveflow

    case = waveflow.load(os.path.join(os.path.dirname(__file__), "..", "..", "cases", "starter.toml"), {"run.cell": "20 mm"})
    row = [4000, 4300, 4600, 5200]
    assert same_bits(sweep(case, row, workers=pool), sweep(case, row, workers=1))
    assert repr(sensitivity(case, 5000, workers=pool).rows) == repr(sensitivity(case, 5000, workers=2).rows)


def test_without_the_library_the_extra_is_named(monkeypatch, capsys, tmp_path):
    real = builtins.__import__

    def without(name, *args, **more):
        if name == "distributed":
            raise ImportError(name)
        return real(name, *args, **more)

    monkeypatch.setattr(builtins, "__import__", without)
    with pytest.raises(ClusterError, match=r"waveflow\[cluster\]"):
        ClusterWorkers("tcp://127.0.0.1:1").submit(divmod, 1, 1)
    words = ["sweep", "cases/starter.toml", "--rpm", "3000", "--out", str(tmp_path), "--cluster", "local:2", "--quiet"]
    assert cli.run_line(words) == 2
    said = capsys.readouterr().err
    assert "waveflow[cluster]" in said and "Traceback" not in said


@pytest.mark.parametrize(("address", "says"), [("local:none", "write local:COUNT"), ("nonsense://x", "No cluster answers")])
def test_addresses_that_make_no_sense_are_refused_with_words(address, says):
    pytest.importorskip("distributed")
    with pytest.raises(ClusterError, match=says):
        ClusterWorkers(address).submit(divmod, 1, 1)


def test_a_lost_cluster_is_a_sentence_for_every_waiting_point():
    pool = ClusterWorkers("tcp://127.0.0.1:1")

    def gone():
        raise OSError("Timed out trying to connect")

    pool._client = SimpleNamespace(nthreads=gone, close=lambda timeout: None)
    first = pool.submit(divmod, 7, 2)
    pool._thread.start()
    for future in (first, pool.submit(divmod, 7, 2)):
        with pytest.raises(ClusterError, match="was lost"):
            future.result(timeout=5)
