"""A curve over speed between computed points: shape-preserving, and empty where a speed failed."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

import numpy as np

from waveflow.study.results import SweepResult


class Curve:
    """Values over speed, interpolated by a monotone cubic (Fritsch and Butland, "A Method for Constructing Local
    Monotone Piecewise Cubic Interpolants", 1984): no overshoot, so no lobe that is not in the points.

    `x` [rpm] ascending, `y` [any unit], both finite, (n,); `failed` [rpm] speeds without a value: between the computed
    neighbours of such a speed the curve is not defined, as it is not outside the points (NaN in both).
    """

    def __init__(self, x: Any, y: Any, failed: Iterable[float] = ()) -> None:
        self.x = np.asarray(x, float)
        self.y = np.asarray(y, float)
        self.gaps = self._gaps_around(failed)
        self._between: Any = None

    @classmethod
    def of(cls, result: SweepResult, name: str) -> Curve:
        """The curve of a result's column by name."""
        x, y = result.ordered(name)
        return cls(x, y, result.failed)

    def _gaps_around(self, failed: Iterable[float]) -> tuple[tuple[float, float], ...]:
        gaps = []
        for speed in failed:
            left, right = self.x[self.x < speed], self.x[self.x > speed]
            if len(left) and len(right) and not np.any(self.x == speed):
                gaps.append((float(left[-1]), float(right[0])))
        return tuple(sorted(set(gaps)))

    def __len__(self) -> int:
        return len(self.x)

    @property
    def low(self) -> float:
        """Lowest speed with a value [rpm]; NaN for an empty curve."""
        return float(self.x[0]) if len(self.x) else np.nan

    @property
    def high(self) -> float:
        """Highest speed with a value [rpm]; NaN for an empty curve."""
        return float(self.x[-1]) if len(self.x) else np.nan

    def at(self, speeds: Any) -> np.ndarray:
        """Values at `speeds` [rpm]; NaN outside the points and inside a gap. Computed points come back exactly."""
        speeds = np.asarray(speeds, float)
        out = np.full(speeds.shape, np.nan)
        if not len(self.x):
            return out
        inside = (speeds >= self.low) & (speeds <= self.high)
        for left, right in self.gaps:
            inside &= ~((speeds > left) & (speeds < right))
        if len(self.x) > 1:
            if self._between is None:
                from scipy.interpolate import PchipInterpolator

                self._between = PchipInterpolator(self.x, self.y)
            out[inside] = self._between(speeds[inside])
        place = np.clip(np.searchsorted(self.x, speeds), 0, len(self.x) - 1)
        same = self.x[place] == speeds
        out[same] = self.y[place[same]]
        return out


def mean_over(x: np.ndarray, y: np.ndarray) -> tuple[float, list[tuple[float, float]]]:
    """Mean of y over x, uniform in x (trapezoid), over the stretches where both ends are known.

    Returns the mean (NaN if nothing is known) and the stretches [x, x] that had to be left out.
    """
    good = np.isfinite(y[:-1]) & np.isfinite(y[1:])
    widths = np.diff(x)
    total = float(np.sum(widths[good]))
    left_out: list[tuple[float, float]] = []
    for start, end in zip(x[:-1][~good], x[1:][~good], strict=True):
        if left_out and left_out[-1][1] == start:
            left_out[-1] = (left_out[-1][0], float(end))
        else:
            left_out.append((float(start), float(end)))
    if total <= 0.0:
        single = y[np.isfinite(y)]
        return (float(single[0]) if len(single) == 1 and len(y) == 1 else np.nan), left_out
    middles = 0.5 * (y[:-1] + y[1:])
    return float(np.sum((middles * widths)[good]) / total), left_out
