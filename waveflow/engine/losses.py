"""Losses that a duct's shape costs beside wall friction: bends, entries, throttle plates. Numbers in SI; nothing of a case.

A loss coefficient K is in dynamic heads, 1/2 rho u^2, of the stream in the duct. Bend and entry coefficients come from the
`fluids` library, which prints their sources.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

ENTRY_LOSS = {"ideal": 0.0, "bellmouth": 0.04, "plain": 0.78, "flanged": 0.5}
"""Loss of flow into an open end: a rounded, an inward-projecting and a flush pipe entry of Crane Co., *Flow of Fluids Through
Valves, Fittings, and Pipe*, TP-410, 2009 (rounded by 0.15 diameters or more)."""

SMOOTHEST = 1e-6
"""Roughness [m] below which a wall counts as this rough where no Reynolds number is at hand."""


@dataclass(frozen=True)
class Turn:
    """A bend laid into a duct: loss coefficient `k` [-] spread between x0 and x1 [m]."""

    x0: float
    x1: float
    k: float

    def moved(self, by: float) -> Turn:
        """The same bend `by` metres further along."""
        return Turn(self.x0 + by, self.x1 + by, self.k)


def rough_friction(roughness: ArrayLike, diameter: ArrayLike) -> NDArray:
    """Darcy friction factor [-] of fully rough flow: Haaland's formula (S. E. Haaland, "Simple and Explicit Formulas for the
    Friction Factor in Turbulent Pipe Flow", J. Fluids Eng. 105, 1983) without its Reynolds number."""
    relative = np.maximum(roughness, SMOOTHEST) / np.asarray(diameter, float)
    return (-1.8 * np.log10((relative / 3.7) ** 1.11)) ** -2


def bend_loss(angle: float, radius: float, diameter: float, roughness: float) -> float:
    """Loss coefficient [-] of a round bend, its wall friction as a straight pipe not included (the pipe charges that).

    angle [deg], centreline radius [m], at least half a diameter, diameter [m], roughness [m]. D. C. Rennels & H. M. Hudson,
    *Pipe Flow: A Practical and Comprehensive Guide*, 2012, through `fluids.bend_rounded`, with the friction factor of
    fully rough flow.
    """
    from fluids.fittings import bend_rounded

    f = float(rough_friction(roughness, diameter))
    whole = bend_rounded(Di=diameter, angle=angle, fd=f, rc=radius, method="Rennels")
    return whole - f * math.radians(angle) * radius / diameter


def loss_rows(turns: tuple[Turn, ...], faces: NDArray) -> NDArray:
    """K / (2 L) [1/m] of every cell between `faces` [m], as the solver's row of bend losses takes it."""
    row = np.zeros(len(faces) - 1)
    for turn in turns:
        inside = np.maximum(np.minimum(faces[1:], turn.x1) - np.maximum(faces[:-1], turn.x0), 0.0)
        row += 0.5 * turn.k / (turn.x1 - turn.x0) * inside / np.diff(faces)
    return row


def plate_opening(angle: float, closed: float, shaft_ratio: float = 0.0) -> float:
    """Open share [-] of a throttle bore whose plate stands at `angle` [deg] from square across it, shut at `closed` [deg].

    Seen along the bore, an ellipse of plate and the strip of a shaft of `shaft_ratio` bores lie in the circle. Exact
    geometry of that picture, by the circle's segments: the strip leaves 1 - 2/pi (s sqrt(1 - s^2) + asin s) open, and the
    plate, an ellipse whose short half axis is cos(angle)/cos(closed) radii, covers more where it is wider than the strip.
    Raises ValueError for an angle below the shut one or beyond 90 degrees.
    """
    if not closed <= angle <= 90.0 or not 0.0 <= closed < 90.0:
        raise ValueError("a throttle plate stands between its shut angle and 90 degrees")
    s = shaft_ratio
    strip = 2.0 / math.pi * (s * math.sqrt(1.0 - s * s) + math.asin(s))
    short = math.cos(math.radians(angle)) / math.cos(math.radians(closed))
    if short <= s:
        return 1.0 - strip
    # the ellipse y = short sqrt(1 - x^2) lies outside the strip |y| = s for |x| < edge
    edge = math.sqrt(1.0 - (s / short) ** 2)
    wider = 2.0 / math.pi * (short * (edge * math.sqrt(1.0 - edge * edge) + math.asin(edge)) - 2.0 * s * edge)
    return max(1.0 - strip - wider, 0.0)
