"""What a cam does by crank angle: events at any lift, velocity and acceleration, and how far a card leaves them open.

Degrees are crank degrees, 0 firing top dead centre, 360 gas-exchange top dead centre; lifts in m.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from waveflow.engine.valves import lift_of, rocker_of
from waveflow.engine.valvetrain import LIKELY_SHAPES, LiftCurve, Rocker, crank_grid, from_card, geared

POWERS = (1.5, 2.0, 3.0)
"""How softly a lobe may meet its base circle (`CardLobe.power`): our choice, from a short ramp to a long one."""
WHOLE_DEGREES = 0.5
"""A card prints whole degrees: each duration may be this much off [crank deg]."""
SEAT = 1e-5
"""A valve that stands lower than this [m] is counted as shut: the seat itself is a tangent and has no sharp angle."""
RAMP = 0.1e-3
"""Below this lift [m] velocity and acceleration belong to the ramp and the lash and are not told as the cam's highest."""


@dataclass(frozen=True)
class Motion:
    """Valve (n,) at crank `angle` (n,) [deg]: `lift` [m], `velocity` [m/deg], `acceleration` [m/deg2]."""

    angle: np.ndarray
    lift: np.ndarray
    velocity: np.ndarray
    acceleration: np.ndarray

    def highest(self, name: str) -> tuple[float, float, float]:
        """(lowest, highest, of) "velocity" or "acceleration" above the ramp."""
        moving = self.lift > RAMP
        values = getattr(self, name)[moving]
        return float(values.min()), float(values.max()), float(self.angle[moving][int(np.argmax(np.abs(values)))])


def motion(curve: LiftCurve) -> Motion:
    """Lift, velocity and acceleration on the crank grid, by central differences over one degree."""
    angle = crank_grid()
    step = 1.0
    low, high = curve.at(angle - step), curve.at(angle + step)
    return Motion(angle, curve.lift, (high - low) / (2 * step), (high - 2 * curve.lift + low) / step**2)


@dataclass(frozen=True)
class Shape:
    """One lift law that a cam's description allows; `words` say how it differs from the one that is used."""

    words: str
    curve: LiftCurve

    def closes(self, height: float = SEAT) -> float:
        """Crank degrees where the valve comes down to `height` [m]."""
        return self.curve.close_angle(height)


@dataclass(frozen=True)
class ClosingSpan:
    """Where a valve may close: `used`, `earliest` and `latest` [crank deg] at `height` [m]."""

    height: float
    used: float
    earliest: float
    latest: float

    @property
    def width(self) -> float:
        """Latest less earliest [deg]."""
        return self.latest - self.earliest


def shapes(cam: Any, side: str) -> list[Shape]:
    """The lobes that are consistent with a card, the one that is used first; one alone for a table or a given law.

    With two durations every lobe meets both, to the whole degree that a card prints; how softly it meets the base circle is
    free (`POWERS`). With one duration the flank is free as well (`LIKELY_SHAPES`), which leaves far more open.
    """
    used = Shape("as used", lift_of(cam, side))
    if cam.kind != "card":
        return [used]
    found = [used]
    for power in POWERS:
        for first in (-WHOLE_DEGREES, 0.0, WHOLE_DEGREES):
            if cam.second_duration is None:
                ends = [_one_duration(cam, side, first, exponent, power) for exponent in LIKELY_SHAPES]
            else:
                ends = [_two_durations(cam, side, first, second, power) for second in (-WHOLE_DEGREES, 0.0, WHOLE_DEGREES)]
            found += [Shape(f"ramp power {power:g}, duration {first:+g} deg", curve) for curve in ends if curve is not None]
    return found


def _two_durations(cam: Any, side: str, first: float, second: float, power: float) -> LiftCurve | None:
    try:
        return from_card(
            cam.lobe_lift, cam.duration + first, cam.duration_at, cam.lobe_centre, side=side, rocker_ratio=rocker_of(cam),
            lash=cam.lash, second_duration=cam.second_duration + second, second_duration_at=cam.second_duration_at,
            advance=cam.advance, power=power,
        )  # fmt: skip
    except ValueError:  # no smooth lobe of that power has both
        return None


def _one_duration(cam: Any, side: str, first: float, exponent: float, power: float) -> LiftCurve:
    from waveflow.engine.lobe import CardLobe
    from waveflow.engine.valvetrain import card_curve

    # a power other than 2 moves the seat as the exponent does; both together would count one doubt twice
    lobe = CardLobe.through(cam.lobe_lift, cam.duration + first, cam.duration_at, exponent if power == 2.0 else 2.0, 2.0)
    return card_curve(lobe, cam.lobe_centre, side, cam.advance, rocker_of(cam), cam.lash)


def closing_span(found: list[Shape], height: float = SEAT) -> ClosingSpan:
    """Range of closing angles [deg] of all `shapes` at a lift [m] of the valve."""
    angles = [shape.closes(height) for shape in found]
    near = [angles[0] + (each - angles[0] + 360.0) % 720.0 - 360.0 for each in angles]
    return ClosingSpan(height, near[0], min(near), max(near))


def extremes(found: list[Shape]) -> tuple[Shape, Shape]:
    """The shapes that close earliest and latest at the seat."""
    first = found[0].closes()
    ranked = sorted(found, key=lambda shape: (shape.closes() - first + 360.0) % 720.0)
    return ranked[0], ranked[-1]


def lash_effect(cam: Any, side: str, more: float = 0.05e-3) -> float:
    """Crank degrees by which the valve closes earlier with `more` lash [m]."""
    if cam.kind == "sine_squared" or getattr(cam, "lift_of", "lobe") == "valve":
        return 0.0
    wider = lift_of(cam.model_copy(update={"lash": cam.lash + more}), side)
    return lift_of(cam, side).close_angle(SEAT) - wider.close_angle(SEAT)


def valve_height(cam: Any, follower_height: float) -> float:
    """Valve lift [m] where the follower stands at a checking height [m]; 0 where the lash has not been taken up."""
    return max(0.0, float(geared(rocker_of(cam), follower_height)) - cam.lash)


__all__ = ["ClosingSpan", "Motion", "Rocker", "Shape", "closing_span", "extremes", "lash_effect", "motion", "shapes",
           "valve_height"]  # fmt: skip
