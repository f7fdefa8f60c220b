"""Threads that compute points and can be left behind.

The compiled solver cannot be stopped in the middle of a point. So that Ctrl-C ends at once, the threads are daemons:
nobody waits for them, neither here nor when the program ends. They only compute and return; writing is the caller's.
(``concurrent.futures.ThreadPoolExecutor`` would wait for its threads at the program's end.)
"""

from __future__ import annotations

import os
import queue
import threading
from collections.abc import Callable, Iterable, Iterator, Sequence
from concurrent.futures import FIRST_COMPLETED, Future, wait
from contextlib import AbstractContextManager, nullcontext
from typing import Any, Protocol

_LOOK_UP = 0.1  # [s] how often the waiting thread wakes, so that signals are seen on every system


def usable_cores() -> int:
    """Processors this process may use."""
    try:
        return len(os.sched_getaffinity(0))
    except AttributeError:
        return os.cpu_count() or 1


class Pool(Protocol):
    """Whatever computes jobs: threads here, processes of a cluster (study/cluster.py)."""

    def submit(self, function: Callable[..., Any], *args: Any) -> Future:
        """Ask for `function(*args)`; the future holds its result or exception."""
        ...


class Workers:
    """A few daemon threads that take jobs from a queue.

    Used as a context manager: on leaving, jobs not yet begun are dropped and those under way are left to themselves.
    """

    def __init__(self, count: int) -> None:
        self._jobs: queue.SimpleQueue[tuple[Future, Callable[..., Any], tuple] | None] = queue.SimpleQueue()
        self._closed = threading.Event()
        self.threads = [
            threading.Thread(target=self._work, name=f"point-{n}", daemon=True) for n in range(max(1, count))
        ]
        for thread in self.threads:
            thread.start()

    def submit(self, function: Callable[..., Any], *args: Any) -> Future:
        """Ask for `function(*args)`; the future holds its result or exception."""
        future: Future = Future()
        self._jobs.put((future, function, args))
        return future

    def _work(self) -> None:
        while (job := self._jobs.get()) is not None:
            future, function, args = job
            if self._closed.is_set() or not future.set_running_or_notify_cancel():
                continue
            try:
                future.set_result(function(*args))
            except BaseException as error:  # the waiting thread decides what it means
                future.set_exception(error)

    def __enter__(self) -> Workers:
        return self

    def __exit__(self, *_: object) -> None:
        self._closed.set()
        for _thread in self.threads:
            self._jobs.put(None)


def pool_of(workers: int | Pool | None, most: int) -> AbstractContextManager[Pool]:
    """Threads for at most `most` jobs at once: so many as `workers` says, one a core for None; an open pool stays open."""
    if workers is None or isinstance(workers, int):
        return Workers(min(usable_cores() if workers is None else workers, most))
    return nullcontext(workers)


def next_finished(futures: Sequence[Future]) -> list[Future]:
    """Wait until some are finished; those, in the order given. The wait can be interrupted on every system."""
    while futures:
        done, _ = wait(futures, timeout=_LOOK_UP, return_when=FIRST_COMPLETED)
        if done:
            return [future for future in futures if future in done]
    return []


def as_finished(futures: Iterable[Future]) -> Iterator[Future]:
    """Futures as they finish, in the order given among those that are finished."""
    open_ones = list(futures)
    while open_ones:
        done = next_finished(open_ones)
        yield from done
        open_ones = [future for future in open_ones if future not in set(done)]
