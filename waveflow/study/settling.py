"""When do cycles repeat?

Watched are filling, trapped mass and indicated work: their means over the cylinders, which the result states, closely, and
those of every cylinder loosely. A run counts as settled when what is still to come of the means is below the tolerance: the
rest of a geometric series from the last two changes, whose ratio is never taken below 0.65, as a slow decay (gas of a plenum or
a muffler being renewed) hides under the quick one of the first cycles, or below 0.3 after a start from a neighbouring speed,
which leaves a tenth of that decay; or when two changes running are below half the
tolerance. No cylinder may then change by more than four tolerances a cycle: waves of neighbouring cylinders beat against each
other and make a jitter that never ends. Where the means jitter, too, the means over two blocks of cycles, half a block apart,
are compared after some cycles, and the result is the mean of the last block with the jitter stated. If nothing of this holds
within the allowed number of cycles the result says that it did not converge.

Measured at 20 speeds against the mean of cycles 12 to 18 after the rule was content: filling is off by 1.9e-4 at most on N155
and 2e-5 on the single cylinder at a tolerance of 3e-4, by 9.4e-4 on N155 with its long cam at 1e-3; to watch every cylinder as
closely as the means took 1.2 to 1.35 times as many cycles.
"""

from __future__ import annotations

import numpy as np

BLOCK = 6  # cycles in a block where cycles jitter: whole periods of jitter that repeats every 2 or 3 cycles
HALF = BLOCK // 2
LEAST_CYCLES = 3
SLOW, SLOWEST = 0.65, 0.9  # bounds of the ratio of the series still to come
SLOW_FROM_NEIGHBOUR = 0.3  # the lower one after a start from a neighbouring speed
JITTER = 4.0  # tolerances that a single cylinder may still change by
BELIEVED = 0.1  # a change below this share of the one before is taken for chance


class Settling:
    """Watches key numbers (rows, cylinders) of cycle after cycle; `add` returns True once they have settled."""

    def __init__(self, tolerance: float, from_neighbour: bool = False) -> None:
        self.tolerance = tolerance
        self.slow = SLOW_FROM_NEIGHBOUR if from_neighbour else SLOW
        self.history: list[np.ndarray] = []
        self.block = 1  # how many of the last cycles the result is the mean of
        self.jitter = 0.0  # spread of one cylinder's filling within the block
        self.settled = False

    @property
    def last_change(self) -> float:
        """Largest change of any cylinder's number between the last two cycles."""
        h = self.history
        return float(np.abs(h[-1] - h[-2]).max()) if len(h) > 1 else np.inf

    def left_to_come(self) -> float:
        """Estimate of the change of the means still to come, as the rest of a geometric series."""
        if len(self.history) < 3:
            return np.inf
        now, before = self._changes()
        ratio = np.clip(now / np.maximum(before, 1e-300), self.slow, SLOWEST)
        return float((np.maximum(now, BELIEVED * before) * ratio / (1.0 - ratio)).max())

    def _changes(self) -> tuple[np.ndarray, np.ndarray]:
        """Sizes (rows,) of the last change of the means over the cylinders, and of the one before."""
        last, middle, first = (each.mean(axis=1) for each in self.history[:-4:-1])
        return np.abs(last - middle), np.abs(middle - first)

    def add(self, numbers: np.ndarray) -> bool:
        """Enter a cycle's key numbers; True once settled."""
        self.history.append(numbers)
        count = len(self.history)
        if count < LEAST_CYCLES:
            return False
        quiet = max(float(each.max()) for each in self._changes()) < 0.5 * self.tolerance
        if (quiet or self.left_to_come() < self.tolerance) and self.last_change < JITTER * self.tolerance:
            self.settled = True
        elif count >= BLOCK + HALF and count % HALF == 0:
            last, previous = np.array(self.history[-BLOCK:]), np.array(self.history[-BLOCK - HALF : -HALF])
            moved = last.mean(axis=(0, 2)) - previous.mean(axis=(0, 2))
            each = last.mean(axis=0) - previous.mean(axis=0)
            if np.abs(moved).max() < 0.5 * self.tolerance and np.abs(each).max() < JITTER * self.tolerance:
                self.settled, self.block = True, BLOCK
                self.jitter = float(np.ptp(last[:, 0], axis=0).max())
        return self.settled
