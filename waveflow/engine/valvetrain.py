"""Cam card or dial-read lift table -> lift of the valve over one cycle.

Crank angle in degrees: 0 firing top dead centre, 360 gas-exchange top dead centre, period 720. Lifts in m. An intake
lobe centre counts degrees after gas-exchange top dead centre, an exhaust lobe centre degrees before it; advance
brings every event earlier.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np

from waveflow.engine.lobe import CardLobe, CrankTable, card_lobe

GRID_STEP = 0.25
GAS_EXCHANGE_TDC = 360.0
CYCLE = 720.0
LIKELY_SHAPES = (1.6, 2.4)
"""Exponents a lobe with only one stated duration may have; the four invented demo cams lie between 1.68 and 2.17."""

Side = Literal["intake", "exhaust"]


@dataclass(frozen=True, eq=False)
class Rocker:
    """A rocker whose ratio changes with its travel: valve lift over lobe lift, `ratio` (n,) at lobe lifts `lift` (n,) [m].

    As two dial indicators give it, at follower and valve, without lash. Between the points a monotone cubic (Fritsch and
    Butland, 1984), beyond them the last ratio. Raises ValueError where the valve would come down while the lobe rises.
    """

    lift: tuple[float, ...]
    ratio: tuple[float, ...]

    def __post_init__(self) -> None:
        lift, ratio = np.asarray(self.lift, float), np.asarray(self.ratio, float)
        if lift.ndim != 1 or lift.shape != ratio.shape or len(lift) < 2:
            raise ValueError("a rocker table needs two lists of equal length, two points at least")
        if not (np.diff(lift) > 0.0).all() or lift[0] < 0.0 or not ratio.min() > 0.0:
            raise ValueError("lifts of a rocker table must rise from 0 or more, its ratios be positive")
        from scipy.interpolate import PchipInterpolator

        object.__setattr__(self, "_law", PchipInterpolator(lift, ratio))
        fine = np.linspace(0.0, 1.2 * lift[-1], 400)
        if not (np.diff(self.valve_lift(fine)) > 0.0).all():
            raise ValueError("by this rocker table the valve would come down while the lobe rises")

    def ratio_at(self, lobe_lift: Any) -> Any:
        """Ratio at lobe lifts [m] (any array)."""
        return self._law(np.clip(np.asarray(lobe_lift, float), self.lift[0], self.lift[-1]))[()]

    def valve_lift(self, lobe_lift: Any) -> Any:
        """Valve lift [m], lash not taken off, at lobe lifts [m] (any array)."""
        return (self.ratio_at(lobe_lift) * np.asarray(lobe_lift, float))[()]


def geared(rocker: float | Rocker, lobe_lift: Any) -> Any:
    """Valve lift [m], lash not taken off, of lobe lifts [m] by one ratio or by a `Rocker`."""
    return rocker.valve_lift(lobe_lift) if isinstance(rocker, Rocker) else rocker * lobe_lift


def crank_grid() -> np.ndarray:
    """Crank angles (2881,) [deg] of every tabulated lift: 0 to 720 in steps of 0.25."""
    return np.linspace(0.0, CYCLE, round(CYCLE / GRID_STEP) + 1)


@dataclass(frozen=True, eq=False)
class LiftCurve:
    """Valve lift (2881,) [m] at `crank_grid()`, and where it is known, the exact law behind it (crank deg -> m).

    `at` and the event angles use the exact law; without one, straight lines between the grid points.
    """

    lift: np.ndarray
    exact: Callable[[np.ndarray], np.ndarray] | None = None
    source: str = ""

    def __post_init__(self) -> None:
        lift = np.array(self.lift, dtype=float)
        if lift.shape != crank_grid().shape or not np.isfinite(lift).all() or lift.min() < 0.0:
            raise ValueError(f"a lift curve is {len(crank_grid())} lifts from 0 to 720 degrees, none negative")
        if abs(lift[0] - lift[-1]) > 1e-12:
            raise ValueError("lift at 0 and at 720 degrees must be the same")
        if not lift.max() > 0.0:
            raise ValueError("the valve never opens")
        lift.setflags(write=False)
        object.__setattr__(self, "lift", lift)

    @classmethod
    def from_law(cls, law: Callable[[np.ndarray], np.ndarray], source: str) -> LiftCurve:
        """Curve of an exact law of crank angle [deg] (any array) -> lift [m]."""
        return cls(law(crank_grid()), law, source)

    @property
    def angle(self) -> np.ndarray:
        """Crank angles (2881,) [deg]."""
        return crank_grid()

    @property
    def max_lift(self) -> float:
        """Highest lift of the grid [m]."""
        return float(self.lift.max())

    @property
    def max_lift_angle(self) -> float:
        """Crank angle [deg] of the highest lift of the grid."""
        return float(np.argmax(self.lift) * GRID_STEP)

    def at(self, theta: Any) -> Any:
        """Lift [m] at crank angles [deg] of any size, taken modulo 720."""
        t = np.mod(np.asarray(theta, float), CYCLE)
        return (self.exact(t) if self.exact is not None else np.interp(t, crank_grid(), self.lift))[()]

    def _leave(self, height: float, step: float) -> float:
        """Angle, unwrapped from the highest lift, where the lift last stands above `height` walking by `step`
        degrees.
        """
        if not 0.0 <= height < self.max_lift:
            raise ValueError(f"height {height * 1e3:.3f} mm is not below the highest lift {self.max_lift * 1e3:.3f} mm")
        # the points of the grid in the order of the walk; the last one is the first again
        top, points = int(np.argmax(self.lift)), len(self.lift) - 1
        way = np.arange(1, points + 1) if step > 0.0 else -np.arange(1, points + 1)
        below = np.flatnonzero(self.lift[(top + way) % points] <= height)
        if not len(below):
            raise ValueError("the valve never closes")
        inside = GRID_STEP * top + step * float(below[0])
        outside = inside + step
        for _ in range(48):
            middle = (inside + outside) / 2.0
            if self.at(middle) > height:
                inside = middle
            else:
                outside = middle
        return inside

    def open_angle(self, height: float = 0.0) -> float:
        """Crank angle [deg, 0 to 720] where the valve rises through `height` [m]; 0: where it leaves the seat."""
        return self._leave(height, -GRID_STEP) % CYCLE

    def close_angle(self, height: float = 0.0) -> float:
        """Crank angle [deg, 0 to 720] where the valve falls through `height` [m]; 0: where it meets the seat."""
        return self._leave(height, GRID_STEP) % CYCLE

    def duration(self, height: float = 0.0) -> float:
        """Crank degrees for which the lift stands above `height` [m], around the highest lift."""
        return self._leave(height, GRID_STEP) - self._leave(height, -GRID_STEP)


@dataclass(frozen=True)
class _CardLaw:
    lobe: CardLobe
    centre: float
    rocker_ratio: float | Rocker
    lash: float

    def __call__(self, theta: np.ndarray) -> np.ndarray:
        offset = np.mod(np.asarray(theta, float) - self.centre + CYCLE / 2.0, CYCLE) - CYCLE / 2.0
        return np.maximum(geared(self.rocker_ratio, self.lobe.at(offset)) - self.lash, 0.0)


@dataclass(frozen=True, eq=False)
class _TableLaw:
    table: CrankTable
    shift: float
    ratio: float | Rocker
    lash: float

    def __call__(self, theta: np.ndarray) -> np.ndarray:
        middle = (self.table.start + self.table.end) / 2.0
        offset = np.mod(np.asarray(theta, float) - self.shift - middle + CYCLE / 2.0, CYCLE) - CYCLE / 2.0
        return np.maximum(geared(self.ratio, self.table.at(offset + middle)) - self.lash, 0.0)


@dataclass(frozen=True)
class _SineSquared:
    opens: float
    closes: float
    height: float

    def __call__(self, theta: np.ndarray) -> np.ndarray:
        share = np.mod(np.asarray(theta, float) - self.opens, CYCLE) / (self.closes - self.opens)
        return np.where(share < 1.0, self.height * np.sin(np.pi * np.minimum(share, 1.0)) ** 2, 0.0)


def _check_gear(rocker_ratio: float | Rocker, lash: float, lobe_lift: float) -> None:
    if not isinstance(rocker_ratio, Rocker) and not rocker_ratio > 0.0:
        raise ValueError(f"rocker ratio must be positive, not {rocker_ratio:g}")
    gross = float(geared(rocker_ratio, lobe_lift))
    if not 0.0 <= lash < gross:
        raise ValueError(f"lash {lash * 1e3:.3f} mm must be between 0 and the gross lift {gross * 1e3:.3f} mm")


def crank_centre(lobe_centre: float, side: Side, advance: float = 0.0) -> float:
    """Crank angle [deg] of the top of a lobe from its card."""
    if side not in ("intake", "exhaust"):
        raise ValueError(f"side must be intake or exhaust, not {side!r}")
    return GAS_EXCHANGE_TDC + (lobe_centre if side == "intake" else -lobe_centre) - advance


def from_card(lobe_lift: float, duration: float, duration_at: float, lobe_centre: float, *, side: Side,
              rocker_ratio: float | Rocker = 1.0, lash: float = 0.0, second_duration: float | None = None,
              second_duration_at: float | None = None, advance: float = 0.0, power: float = 2.0) -> LiftCurve:
    """Valve lift from a cam card: rocker ratio x lobe lift - lash, never below 0.

    `lobe_lift` and the checking heights `duration_at`, `second_duration_at` [m] are at the follower, before rocker
    and lash; durations and centres are crank degrees. The lobe meets lift and durations exactly (see `card_lobe`);
    `power` says how softly it leaves the base circle (see `CardLobe`).
    Raises ValueError where the card contradicts itself.
    """
    _check_gear(rocker_ratio, lash, lobe_lift)
    lobe = card_lobe(lobe_lift, duration, duration_at, second_duration, second_duration_at, power)
    law = _CardLaw(lobe, crank_centre(lobe_centre, side, advance), rocker_ratio, lash)
    source = "cam card" if second_duration is not None else "cam card with one duration, shape assumed"
    return LiftCurve.from_law(law, source)


def card_curve(lobe: CardLobe, lobe_centre: float, side: Side, advance: float, rocker_ratio: float | Rocker,
               lash: float) -> LiftCurve:  # fmt: skip
    """Valve lift of a lobe that is known already; the rest as in `from_card`."""
    return LiftCurve.from_law(_CardLaw(lobe, crank_centre(lobe_centre, side, advance), rocker_ratio, lash), "cam card")


def from_table(angle: Sequence[float], lift: Sequence[float], *, lift_of: Literal["lobe", "valve"] = "lobe",
               rocker_ratio: float | Rocker = 1.0, lash: float = 0.0, advance: float = 0.0) -> LiftCurve:
    """Valve lift from a table read off a degree wheel: `angle` [crank deg after gas-exchange top dead centre, may be
    negative].

    `lift` [m] of the lobe (rocker ratio and lash are applied) or of the valve itself (both ignored: it is the net
    lift). Interpolation as `CrankTable`. Raises ValueError for a table that is not closed at both ends or out of
    order.
    """
    if lift_of not in ("lobe", "valve"):
        raise ValueError(f"lift_of must be lobe or valve, not {lift_of!r}")
    table = CrankTable.through(angle, lift)
    ratio, gap = (rocker_ratio, lash) if lift_of == "lobe" else (1.0, 0.0)
    _check_gear(ratio, gap, float(np.max(lift)))
    return LiftCurve.from_law(_TableLaw(table, GAS_EXCHANGE_TDC - advance, ratio, gap), f"{lift_of} lift table")


def sine_squared(opens: float, closes: float, max_lift: float) -> LiftCurve:
    """Lift = max_lift sin^2(pi (theta - opens)/(closes - opens)) between two crank angles [deg], 0 elsewhere."""
    if not (0.0 < closes - opens < CYCLE and max_lift > 0.0):
        raise ValueError("a valve must close after it opens, within one cycle, and lift more than 0")
    return LiftCurve.from_law(_SineSquared(opens, closes, max_lift), "sine squared")
