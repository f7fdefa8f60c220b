"""Shapes of a cam lobe over crank degrees: from the few numbers of a card, or through the points of a dial-read
table.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

ROUNDING = 0.1
"""Rounds the nose: without it an exponent below 2 would ask for an infinite acceleration there."""
EXPONENTS = (1.0, 8.0)
"""Below, the lobe comes to a point; above, it has corners. Cards outside contradict themselves."""
SEATED = 0.05e-3
"""A table whose ends stand higher than this [m] is cut short."""


@dataclass(frozen=True)
class CardLobe:
    """Symmetric lobe lift(offset) = top (1 - u)^p, u = ((x^2 + e^2)^(n/2) - e^n) / ((1 + e^2)^(n/2) - e^n), x =
    |offset|/half_width.

    `top` [m], `half_width` [crank deg], exponent n; e = `ROUNDING`. Smooth everywhere but at its two ends, where lift
    and slope are zero. For n = 2 it is (1 - x^2)^2. Our own form; the exponent takes up what two durations say about
    the flanks, and `power` p (2 unless told) how softly the lobe meets its base circle, which no card says.
    """

    top: float
    half_width: float
    exponent: float
    power: float = 2.0

    @staticmethod
    def _share(u: float, n: float) -> float:
        """x at which the drop function reaches u."""
        low = ROUNDING**n
        inner = (low + u * ((1.0 + ROUNDING**2) ** (n / 2.0) - low)) ** (2.0 / n) - ROUNDING**2
        return math.sqrt(max(inner, 0.0))

    @classmethod
    def through(cls, top: float, duration: float, height: float, exponent: float, power: float = 2.0) -> CardLobe:
        """The lobe of this exponent that stands above `height` [m] for `duration` [crank deg]."""
        share = cls._share(1.0 - (height / top) ** (1.0 / power), exponent)
        return cls(top, duration / 2.0 / share, exponent, power)

    def at(self, offset: Any) -> Any:
        """Lift [m] at crank degrees from the lobe centre (any array)."""
        n, low = self.exponent, ROUNDING**self.exponent
        x = np.minimum(np.abs(np.asarray(offset, float)) / self.half_width, 1.0)
        drop = ((x * x + ROUNDING**2) ** (n / 2.0) - low) / ((1.0 + ROUNDING**2) ** (n / 2.0) - low)
        return (self.top * (1.0 - np.minimum(drop, 1.0)) ** self.power)[()]

    def offset_at(self, height: float) -> float:
        """Crank degrees from the centre at which the lift is `height` [m]."""
        if not 0.0 <= height <= self.top:
            raise ValueError(f"height {height * 1e3:.3f} mm is not on a lobe of {self.top * 1e3:.3f} mm")
        return self.half_width * self._share(1.0 - (height / self.top) ** (1.0 / self.power), self.exponent)

    def duration(self, height: float = 0.0) -> float:
        """Crank degrees for which the lift stands above `height` [m]."""
        return 2.0 * self.offset_at(height)


def card_lobe(lobe_lift: float, duration: float, duration_at: float, second_duration: float | None = None,
              second_duration_at: float | None = None, power: float = 2.0) -> CardLobe:
    """Lobe that meets the lift [m] and the duration [crank deg] at a stated height [m] at the follower, and a second
    if given.

    With two durations the exponent is solved for, so both are met to round-off. With one, the shape is the default (1
    - x^2)^2 (see `camshapes.py` for what that leaves open). Raises ValueError where the numbers cannot belong to one
    smooth lobe.
    """
    _check_height("duration_at", duration_at, duration, lobe_lift)
    if (second_duration is None) != (second_duration_at is None):
        raise ValueError("a second duration and the height it was checked at go together")
    if second_duration is None or second_duration_at is None:
        return CardLobe.through(lobe_lift, duration, duration_at, 2.0, power)
    _check_height("second_duration_at", second_duration_at, second_duration, lobe_lift)
    if (second_duration_at - duration_at) * (second_duration - duration) >= 0.0:
        raise ValueError(f"{second_duration:g} deg at {second_duration_at * 1e3:.3f} mm against {duration:g} deg at "
                         f"{duration_at * 1e3:.3f} mm: the lower height must have the longer duration")
    from scipy.optimize import brentq

    def miss(n: float) -> float:
        return CardLobe.through(lobe_lift, duration, duration_at, n, power).duration(second_duration_at) - second_duration

    ends = sorted(miss(n) + second_duration for n in EXPONENTS)
    if not ends[0] <= second_duration <= ends[1]:
        raise ValueError(f"no smooth lobe of {lobe_lift * 1e3:.3f} mm with {duration:g} deg at "
                         f"{duration_at * 1e3:.3f} mm has {second_duration:g} deg at "
                         f"{second_duration_at * 1e3:.3f} mm: it would have {ends[0]:.0f} to {ends[1]:.0f} deg")
    exponent = float(brentq(miss, *EXPONENTS, xtol=1e-14, rtol=1e-14))
    return CardLobe.through(lobe_lift, duration, duration_at, exponent, power)


def _check_height(name: str, height: float, duration: float, top: float) -> None:
    if not 0.0 < height < top:
        raise ValueError(f"{name} {height * 1e3:.3f} mm must lie between 0 and the lobe lift {top * 1e3:.3f} mm")
    if not 0.0 < duration < 500.0:
        raise ValueError(f"a duration of {duration:g} crank degrees cannot be")


@dataclass(frozen=True, eq=False)
class CrankTable:
    """Smooth lift through the points of a table, zero outside it and never below zero.

    A cubic spline with level ends (C. de Boor, A Practical Guide to Splines, 1978) follows a real lobe ten times
    closer than monotone pieces do, and keeps its top between two readings; where the readings are so rough that it
    would leave them by more than 1 % of the lift, monotone pieces (Fritsch and Butland, 1984) are used instead and
    `smooth` is False.
    """

    start: float
    end: float
    knots: np.ndarray
    pieces: np.ndarray
    smooth: bool

    @classmethod
    def through(cls, angle: Sequence[float], lift: Sequence[float]) -> CrankTable:
        """Table of crank degrees, strictly increasing, and lifts [m] (equal lengths, four points at least, ends on
        the seat).
        """
        from scipy.interpolate import CubicSpline, PchipInterpolator

        x, y = np.asarray(angle, float), np.asarray(lift, float)
        if x.ndim != 1 or x.shape != y.shape or len(x) < 4:
            raise ValueError("a lift table needs two lists of equal length, four points at least")
        if not (np.isfinite(x).all() and np.isfinite(y).all()):
            raise ValueError("a lift table holds numbers only")
        if not (np.diff(x) > 0.0).all():
            raise ValueError("angles of a lift table must increase from row to row")
        if x[-1] - x[0] > 720.0:
            raise ValueError("a lift table spans one cycle of 720 degrees at most")
        if y.min() < 0.0 or not y.max() > 0.0:
            raise ValueError("lifts must not be negative, and the highest must be above zero")
        if max(y[0], y[-1]) > SEATED:
            raise ValueError(f"the table is cut short: it must begin and end on the seat (below {SEATED * 1e3:g} mm), "
                             f"not at {y[0] * 1e3:.3f} and {y[-1] * 1e3:.3f} mm")
        rise = np.flatnonzero(y > 0.0)
        # rows beyond the last zero say nothing and would only let a spline ring on the base circle
        first, last = max(rise[0] - 1, 0), min(rise[-1] + 1, len(y) - 1)
        x, y = x[first:last + 1], y[first:last + 1]
        spline = CubicSpline(x, y, bc_type="clamped")
        fine = np.linspace(x[:-1], x[1:], 21)
        # between the readings beside the top one the true top may stand higher than any of them
        slack = np.where(np.maximum(y[:-1], y[1:]) == y.max(), 0.06, 0.01) * y.max()
        within = np.minimum(y[:-1], y[1:]) - slack, np.maximum(y[:-1], y[1:]) + slack
        smooth = bool(((spline(fine) >= within[0]) & (spline(fine) <= within[1])).all())
        law = spline if smooth else PchipInterpolator(x, y)
        return cls(float(x[0]), float(x[-1]), x, np.ascontiguousarray(law.c.T), smooth)

    def at(self, angle: Any) -> Any:
        """Lift [m] at crank degrees in the table's own count (any array)."""
        a = np.asarray(angle, float)
        i = np.clip(np.searchsorted(self.knots, a, side="right") - 1, 0, len(self.knots) - 2)
        s, p = a - self.knots[i], self.pieces[i]
        value = ((p[..., 0] * s + p[..., 1]) * s + p[..., 2]) * s + p[..., 3]
        return np.where((a >= self.start) & (a <= self.end), np.maximum(value, 0.0), 0.0)[()]
