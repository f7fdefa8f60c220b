"""Threads that compute points and can be left behind.

The compiled solver cannot be stopped in the middle of a point. So that Ctrl-C ends at once, the threads are daemons:
nobody waits for them, neither here nor when the program ends. They only compute and return; writing is the caller's.
(``concurrent.futures.ThreadPoolExecutor`` would wait for its threads at the program's end.)
"""

from __future__ import annotations

import os
import queue
import threading
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import FIRST_COMPLETED, Future, wait
from typing import Any

_LOOK_UP = 0.1  # [s] how often the waiting thread wakes, so that signals are seen on every system


def usable_cores() -> int:
    """Processors this process may use."""
    try:
        return len(os.sched_getaffinity(0))
    except AttributeError:
        return os.cpu_count() or 1


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


def as_finished(futures: Iterable[Future]) -> Iterator[Future]:
    """Futures as they finish, in the order given among those that are finished.

    The wait can be interrupted by a signal on every system.
    """
    open_ones = list(futures)
    while open_ones:
        done, _ = wait(open_ones, timeout=_LOOK_UP, return_when=FIRST_COMPLETED)
        yield from [future for future in open_ones if future in done]
        open_ones = [future for future in open_ones if future not in done]
