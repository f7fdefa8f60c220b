"""Clearance volume and compression ratio from what a burette and a depth gauge give. SI: m, m3.

Ratio = (swept + clearance) / clearance, both geometric (the piston at its two dead centres).
"""

from __future__ import annotations

import math
from typing import NamedTuple


def _disc(diameter: float) -> float:
    return math.pi / 4.0 * diameter * diameter


def swept_volume(bore: float, stroke: float) -> float:
    """Volume swept by one piston [m3] from bore and stroke [m]."""
    return _disc(bore) * stroke


def piston_travel(stroke: float, rod_length: float, pin_offset: float = 0.0) -> float:
    """Distance between the dead centres [m]: the stroke, a little more with an offset pin.

    The dead centres are where crank and rod lie in one line: sqrt((rod + r)^2 - offset^2) - sqrt((rod - r)^2 -
    offset^2), r = stroke / 2. Raises ValueError if the rod cannot reach round the crank.
    """
    r = stroke / 2.0
    if not rod_length - r > abs(pin_offset):
        raise ValueError(f"rod of {rod_length:g} m is too short for a stroke of {stroke:g} m")
    return math.sqrt((rod_length + r) ** 2 - pin_offset**2) - math.sqrt((rod_length - r) ** 2 - pin_offset**2)


def clearance_volume(bore: float, chamber: float, dish: float = 0.0, deck: float = 0.0,
                     gasket_bore: float | None = None, gasket_thickness: float = 0.0) -> float:
    """Volume above the piston at top dead centre [m3].

    `chamber` [m3] in the head by burette; `dish` [m3] of the piston, positive where it takes volume, negative for a
    dome; `deck` [m]: piston below the block face positive, standing proud negative; gasket as a disc of its own bore
    (the cylinder bore if not given) and crushed thickness [m]. Raises ValueError if nothing is left.
    """
    gasket = _disc(bore if gasket_bore is None else gasket_bore) * gasket_thickness
    total = chamber + dish + _disc(bore) * deck + gasket
    if not total > 0.0:
        raise ValueError(f"the parts leave no clearance volume ({total * 1e6:.2f} cc)")
    return total


def ratio_from_clearance(swept: float, clearance: float) -> float:
    """Compression ratio of a swept and a clearance volume [m3]."""
    if not (swept > 0.0 and clearance > 0.0):
        raise ValueError("swept and clearance volume must be positive")
    return (swept + clearance) / clearance


def clearance_from_ratio(swept: float, ratio: float) -> float:
    """Clearance volume [m3] that gives `ratio` with the swept volume [m3]."""
    if not (swept > 0.0 and ratio > 1.0):
        raise ValueError("the swept volume must be positive and the ratio above 1")
    return swept / (ratio - 1.0)


CHAMBER_ERROR = 0.3e-6
DISH_ERROR = 0.3e-6
DECK_ERROR = 0.05e-3
GASKET_ERROR = 0.05e-3
"""What a burette [m3] and a depth gauge or micrometer [m] repeat to where nothing is said: our choice, no source."""


class Spread(NamedTuple):
    """A compression ratio and how far it may be off: `plus_minus`, and the share of it by part [all -]."""

    ratio: float
    plus_minus: float
    parts: dict[str, float]


def ratio_spread(swept: float, bore: float, clearance: float, chamber_error: float = CHAMBER_ERROR,
                 dish_error: float = DISH_ERROR, deck_error: float = DECK_ERROR, gasket_bore: float | None = None,
                 gasket_error: float = GASKET_ERROR) -> Spread:
    """Ratio of `swept` and `clearance` [m3] with the errors of its parts: chamber and dish [m3], deck and gasket
    thickness [m].

    d ratio / d clearance = -swept / clearance^2; independent errors add by their squares (Guide to the expression of
    uncertainty in measurement, JCGM 100, 2008, 5.1.2).
    """
    slope = swept / clearance**2
    gasket = _disc(bore if gasket_bore is None else gasket_bore)
    parts = {
        "chamber": slope * chamber_error, "dish": slope * dish_error, "deck": slope * _disc(bore) * deck_error,
        "gasket": slope * gasket * gasket_error,
    }  # fmt: skip
    return Spread(ratio_from_clearance(swept, clearance), math.sqrt(sum(each**2 for each in parts.values())), parts)


class ChamberChange(NamedTuple):
    """What taking `added` [m3] out of a chamber does to the compression ratio; `skim` [m] off a flat head face would
    undo it.
    """

    ratio_before: float
    ratio_after: float
    added: float
    skim: float


def chamber_change(swept: float, clearance: float, added: float, face_area: float) -> ChamberChange:
    """Ratio before and after the chamber grows by `added` [m3] (laying back its walls: positive).

    `skim` is the cut over the chamber's open area at the head face, `face_area` [m2], that brings the old ratio back;
    negative when the chamber was made smaller.
    """
    if clearance + added <= 0.0:
        raise ValueError("the change leaves no clearance volume")
    return ChamberChange(ratio_from_clearance(swept, clearance), ratio_from_clearance(swept, clearance + added), added,
                         added / face_area)
