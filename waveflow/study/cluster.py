"""Points over the processes of a Dask cluster, on this machine or others: a pool as ``workers`` has it, and the same bits.

The cluster only computes; files are written here alone. Every job is bound to one worker, never more at once than it has
threads, so that a worker that dies takes known jobs with it. They are done again, each by itself on an idle worker: a job
that then kills its worker, too, is the cause and not a bystander, and after three dead workers it is given up with a
sentence while the others finish. A worker whose program differs from ours is refused, as its numbers might.

Needs the library distributed (``waveflow[cluster]``), which is imported only here and only when a cluster is asked for.
"""

from __future__ import annotations

import contextlib
import logging
import os
import signal
import threading
import time
from collections.abc import Callable
from concurrent.futures import Future, InvalidStateError
from dataclasses import dataclass
from typing import Any

from waveflow.errors import RunError
from waveflow.study.journal import source_digest

MOST_DEATHS = 3
PATIENCE = 30.0  # [s] without any worker before the cluster is given up
_LOOK = 0.1  # [s]
LOCAL = "local"


class ClusterError(Exception):
    """There is no cluster, it was lost, or it cannot be used; one sentence. `begun`: jobs had been handed out before."""

    def __init__(self, message: str, begun: bool = False) -> None:
        super().__init__(message)
        self.begun = begun


@dataclass
class _Job:
    """One call; `deaths` of workers under it, where it runs now, and what stands for it there."""

    future: Future
    function: Callable[..., Any]
    args: tuple
    deaths: int = 0
    worker: str = ""
    remote: Any = None


def remote_call(digest: str, function: Callable[..., Any], args: tuple) -> Any:
    """`function(*args)` in a worker, whose sources must have the `digest` of ours. Raises ``ClusterError`` if not."""
    if source_digest() != digest:
        raise ClusterError("a worker of the cluster runs another version of waveflow; install the same one everywhere")
    return function(*args)


class ClusterWorkers:
    """Workers of the cluster at `address` ("tcp://10.0.0.5:8786"); "local" or "local:4" starts processes on this machine.

    `tell` is called with a sentence where a worker is lost. A context manager; leaving it drops what is not finished. The
    first job connects, and raises ``ClusterError`` where there is no cluster or the library is missing.
    """

    def __init__(self, address: str, tell: Callable[[str], None] | None = None) -> None:
        self.address, self.tell = address, tell or (lambda text: None)
        self._lock = threading.Lock()
        self._closed = threading.Event()
        self._waiting: list[_Job] = []
        self._running: list[_Job] = []
        self._broken: ClusterError | None = None
        self._begun = False
        self._seen = time.monotonic()
        self._cluster: Any = None
        self._client: Any = None
        self._thread = threading.Thread(target=self._work, name="cluster", daemon=True)

    def _connected(self) -> Any:
        try:
            from distributed import Client, LocalCluster
        except ImportError:
            raise ClusterError('A cluster needs the library "distributed": pip install "waveflow[cluster]"') from None
        logging.getLogger("distributed").setLevel(logging.CRITICAL)  # a lost worker is told in our words
        name, _, count = self.address.partition(":")
        try:
            if name == LOCAL:
                # An interrupted run leaves at once; what is then left of shared locks is cleared without a word.
                os.environ.setdefault("PYTHONWARNINGS", "ignore:resource_tracker")
                self._cluster = LocalCluster(
                    n_workers=_count(count), threads_per_worker=1, processes=True, dashboard_address=None,
                    silence_logs=logging.CRITICAL, memory_limit=0, preload=[__name__],
                )  # fmt: skip
            client = Client(self._cluster or self.address, timeout=10, set_as_default=False)
        except (OSError, ValueError, RuntimeError, TypeError) as error:
            raise ClusterError(f"No cluster answers at {self.address}: {str(error).splitlines()[0][:200]}") from None
        return client

    def submit(self, function: Callable[..., Any], *args: Any) -> Future:
        """Ask for `function(*args)`; the future holds its result, its exception, or the ``RunError`` of a deadly job."""
        if self._client is None:
            self._client = self._connected()
            self._seen = time.monotonic()
            self._thread.start()
        job = _Job(Future(), function, args)
        with self._lock:
            if self._broken is not None:
                job.future.set_exception(self._broken)
            else:
                self._waiting.append(job)
        return job.future

    # in the thread that hands out ------------------------------------------------------------------------------------

    def _work(self) -> None:
        while not self._closed.is_set():
            try:
                slots = dict(self._client.nthreads())
                self._seen = time.monotonic() if slots else self._seen
                with self._lock:
                    self._collect(slots)
                    self._hand_out(slots)
                if not slots and time.monotonic() - self._seen > PATIENCE:
                    raise ClusterError(f"No worker is left in the cluster at {self.address}.", self._begun)
            except Exception as error:  # noqa: BLE001 - whatever it is, nobody may wait for ever
                if not self._closed.is_set():
                    self._give_up(error)
                return
            self._closed.wait(_LOOK)

    def _collect(self, slots: dict[str, int]) -> None:
        lost: dict[str, int] = {}
        for job in list(self._running):
            if job.remote.done():
                self._running.remove(job)
                error = job.remote.exception() if job.remote.status == "error" else None
                if job.remote.status == "finished":
                    _settle(job.future, job.remote.result())
                elif error is not None and type(error).__name__ != "KilledWorker":
                    self._fail(job, error)
                else:
                    lost[job.worker] = lost.get(job.worker, 0) + 1
                    self._again(job)
            elif job.worker not in slots:
                self._running.remove(job)
                lost[job.worker] = lost.get(job.worker, 0) + 1
                self._again(job)
        for worker, count in lost.items():
            self.tell(f"A worker of the cluster was lost ({worker}); what it had under way ({count}) is done again.")

    def _fail(self, job: _Job, error: BaseException) -> None:
        if isinstance(error, ImportError):
            error = ClusterError(f"A worker of the cluster cannot load waveflow or a part of it: {error}", True)
        _settle(job.future, error=error)

    def _again(self, job: _Job) -> None:
        """Its worker died: once more by itself, or give it up."""
        with contextlib.suppress(Exception):  # the scheduler may have forgotten it
            job.remote.cancel(force=True)
        job.remote, job.worker, job.deaths = None, "", job.deaths + 1
        if job.deaths < MOST_DEATHS:
            self._waiting.append(job)
            return
        message = (
            f"the process that computed it died {job.deaths} times, the last time with nothing else to do; "
            "too little memory there is a frequent cause"
        )
        _settle(job.future, error=RunError(message))

    def _hand_out(self, slots: dict[str, int]) -> None:
        """Jobs to workers with room; one that has seen a worker die gets an idle worker for itself."""
        load = {worker: 0 for worker in slots}
        for job in self._running:
            if job.worker in load:
                load[job.worker] += slots[job.worker] if job.deaths else 1
        for job in sorted(self._waiting, key=lambda job: job.deaths > 0):
            room = [w for w, used in load.items() if (used == 0 if job.deaths else used < slots[w])]
            if not room:
                continue
            job.worker = min(room, key=lambda worker: load[worker])
            load[job.worker] += slots[job.worker] if job.deaths else 1
            job.remote = self._client.submit(
                remote_call, source_digest(), job.function, job.args, workers=[job.worker], allow_other_workers=False,
                pure=False, retries=0,
            )  # fmt: skip
            self._waiting.remove(job)
            self._running.append(job)
            self._begun = True

    def _give_up(self, error: Exception) -> None:
        known = error if isinstance(error, ClusterError) else None
        lost = known or ClusterError(f"The cluster at {self.address} was lost ({type(error).__name__}: {error}).", self._begun)
        with self._lock:
            self._broken = lost
            jobs = [*self._running, *self._waiting]
            self._running, self._waiting = [], []
        for job in jobs:
            _settle(job.future, error=lost)

    def __enter__(self) -> ClusterWorkers:
        return self

    def __exit__(self, *_: object) -> None:
        self._closed.set()
        if self._thread.is_alive():
            self._thread.join(0.3)
        for part in (self._client, self._cluster):
            with contextlib.suppress(Exception):  # a lost cluster cannot be told to end
                if part is not None:
                    part.close(timeout=1.0)


def dask_setup(worker: Any) -> None:
    """Called in each process started here: Ctrl-C is for the program at the terminal alone, which then ends them."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)


def _settle(future: Future, result: Any = None, error: BaseException | None = None) -> None:
    with contextlib.suppress(InvalidStateError):
        if error is not None:
            future.set_exception(error)
        else:
            future.set_result(result)


def _count(text: str) -> int | None:
    """How many local processes; None lets the machine's cores decide. Raises ValueError."""
    if not text:
        return None
    if not text.isdigit() or not 1 <= int(text) <= 256:
        raise ValueError(f'write local:COUNT with a count from 1 to 256, not "local:{text}"')
    return int(text)
