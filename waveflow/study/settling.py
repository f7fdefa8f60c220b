"""When do cycles repeat?

A run counts as settled when what is still to come is below the tolerance: from the last two changes of filling, trapped
mass and indicated work of every cylinder the rest of a geometric series is estimated; or when two changes running are below
half the tolerance. An engine whose cycles jitter (waves of neighbouring cylinders beating against each other) never settles
so; after some cycles the means over two blocks of cycles, half a block apart, are compared instead, and the result is the mean
of the last block with the jitter stated. If neither holds within the allowed number of cycles the result says that it did not
converge.
"""

from __future__ import annotations

import numpy as np

BLOCK = 6  # cycles in a block where cycles jitter: whole periods of jitter that repeats every 2 or 3 cycles
HALF = BLOCK // 2
LEAST_CYCLES = 3


class Settling:
    """Watches key numbers (rows, cylinders) of cycle after cycle; `add` returns True once they have settled."""

    def __init__(self, tolerance: float) -> None:
        self.tolerance = tolerance
        self.history: list[np.ndarray] = []
        self.block = 1  # how many of the last cycles the result is the mean of
        self.jitter = 0.0  # spread of one cylinder's filling within the block
        self.settled = False

    @property
    def last_change(self) -> float:
        """Largest change between the last two cycles."""
        h = self.history
        return float(np.abs(h[-1] - h[-2]).max()) if len(h) > 1 else np.inf

    def left_to_come(self) -> float:
        """Estimate of the change still to come, as the rest of a geometric series.

        A last change below a tenth of the one before is not believed: jitter of three cycles repeats a value by chance.
        """
        h = self.history
        if len(h) < 3:
            return np.inf
        now, before = np.abs(h[-1] - h[-2]), np.abs(h[-2] - h[-3])
        ratio = np.clip(now / np.maximum(before, 1e-300), 0.1, 0.95)
        return float((np.maximum(now, 0.1 * before) * np.maximum(1.0, ratio / (1.0 - ratio))).max())

    def add(self, numbers: np.ndarray) -> bool:
        """Enter a cycle's key numbers; True once settled."""
        self.history.append(numbers)
        h, count = self.history, len(self.history)
        if count < LEAST_CYCLES:
            return False
        before = float(np.abs(h[-2] - h[-3]).max())
        if self.left_to_come() < self.tolerance or max(self.last_change, before) < 0.5 * self.tolerance:
            self.settled = True
        elif count >= BLOCK + HALF and count % HALF == 0:
            last, previous = np.array(h[-BLOCK:]), np.array(h[-BLOCK - HALF : -HALF])
            if np.abs(last.mean(axis=0) - previous.mean(axis=0)).max() < 0.5 * self.tolerance:
                self.settled, self.block = True, BLOCK
                self.jitter = float(np.ptp(last[:, 0], axis=0).max())
        return self.settled
