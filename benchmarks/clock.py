"""CPU time of rivals in one process: interleaved rounds, medians."""

from __future__ import annotations

import gc
import statistics
import time
from collections.abc import Callable, Mapping

Side = Callable[[], Callable[[], float]]
"""Prepares a piece of work and returns what does it; that returns how much it did (say, in cell updates)."""


def interleaved(sides: Mapping[str, Side], rounds: int) -> dict[str, list[float]]:
    """CPU seconds per unit of work of every side, a value a round; preparing is not timed.

    Each side runs once untimed first; the order turns by one from round to round, so that no side always follows the same
    neighbour.
    """
    names = list(sides)
    for name in names:
        sides[name]()()
    times: dict[str, list[float]] = {name: [] for name in names}
    collecting = gc.isenabled()
    gc.disable()
    try:
        for turn in range(rounds):
            first = turn % len(names)
            for name in names[first:] + names[:first]:
                run = sides[name]()
                start = time.process_time()
                work = run()
                times[name].append((time.process_time() - start) / work)
    finally:
        if collecting:
            gc.enable()
    return times


def median_ratio(above: list[float], below: list[float]) -> float:
    """Median over the rounds of above / below: both sides of a round saw the same state of the machine."""
    return statistics.median(a / b for a, b in zip(above, below, strict=True))


def spread(times: list[float]) -> float:
    """Half the range of the middle half of the rounds over the median: how far to trust it."""
    if len(times) < 4:
        return 0.5 * (max(times) - min(times)) / statistics.median(times)
    low, _, high = statistics.quantiles(times, n=4)
    return 0.5 * (high - low) / statistics.median(times)
