"""How much of a number is the grid: observed order and grid convergence index from three grids.

P. J. Roache, "Perspective: A Method for Uniform Reporting of Grid Refinement Studies", J. Fluids Eng. 116 (1994); for
grids whose ratios differ, the equation for the order is that of I. B. Celik, U. Ghia, P. J. Roache, C. J. Freitas,
H. Coleman, P. E. Raad, "Procedure for Estimation and Reporting of Uncertainty Due to Discretization in CFD
Applications", J. Fluids Eng. 130 (2008).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

SAFETY = 1.25  # Roache's factor for three grids
ROUND_OFF = 1e-12  # differences below this share of the value are none
SLOW = 0.5  # an observed order below this is too slow to be trusted


@dataclass(frozen=True)
class GridCheck:
    """What three grids say of one quantity.

    `values` coarse, medium, fine [its unit]; `kind`: "converges", "slow" (order below 0.5), "oscillates" (the sign of
    the change alternates and its size falls), "diverges" (changes do not fall) or "same" (changes below the noise).
    `order` observed order, NaN where there is none; `limit` Richardson's extrapolation, NaN likewise; `gci` [1] the
    uncertainty of the fine value as a share of it, NaN where none can be given; `gci_medium` that of the medium one.
    `in_range`: ratio of the two indices to what the order predicts; near 1 if the grids are fine enough for it.
    """

    quantity: str
    values: tuple[float, float, float]
    ratios: tuple[float, float]
    kind: str
    sentence: str
    order: float = math.nan
    limit: float = math.nan
    gci: float = math.nan
    gci_medium: float = math.nan
    in_range: float = math.nan


def grid_check(
    values: Sequence[float],
    ratio: float | tuple[float, float] = 2.0,
    *,
    quantity: str = "the value",
    formal_order: float = 2.0,
    noise: float = 0.0,
) -> GridCheck:
    """Observed order and grid convergence index of a quantity.

    `values`: on the coarse, medium and fine grid; `ratio` of cell sizes, coarse to medium and medium to fine, one
    number if they are equal; `formal_order` of the scheme: where the observed order is higher, it is a lucky one and
    the index is taken with the formal order; `noise`: how well a value repeats, in its own unit (cycle tolerance);
    changes below it say nothing.

    Raises ``ValueError`` for ratios not above 1 or values that are not finite.
    """
    coarse, medium, fine = (float(value) for value in values)
    r32, r21 = (float(ratio), float(ratio)) if isinstance(ratio, int | float) else (float(r) for r in ratio)
    if not all(math.isfinite(value) for value in (coarse, medium, fine)):
        raise ValueError(f"three finite values are needed for {quantity}")
    if not (1.0 < r21 < math.inf and 1.0 < r32 < math.inf):
        raise ValueError("each grid must be finer than the one before: ratios above 1")
    name = quantity[:1].upper() + quantity[1:]
    facts = {"quantity": quantity, "values": (coarse, medium, fine), "ratios": (r32, r21)}
    e32, e21 = coarse - medium, medium - fine
    floor = max(noise, ROUND_OFF * max(abs(coarse), abs(medium), abs(fine)))
    if abs(e21) <= floor:
        text = f"{name} does not change from the medium to the fine grid by more than it repeats"
        if abs(e32) > floor:
            text += ", though it does from the coarse one; an order cannot be told"
        share = _share(SAFETY * floor, fine)
        return GridCheck(**facts, kind="same", sentence=f"{text}.", limit=fine, gci=share, gci_medium=share)
    if e32 != 0.0 and (e32 < 0.0) != (e21 < 0.0):
        return _oscillating(facts, name, e32, e21)
    order = _order(e32, e21, r32, r21) if e32 != 0.0 else -math.inf
    if not order > 0.0:
        text = f"{name} does not converge: its change does not fall from grid to grid, so no grid error can be given."
        return GridCheck(**facts, kind="diverges", sentence=text, order=order)
    used = min(order, formal_order)
    gci = _share(SAFETY * e21 / (r21**used - 1.0), fine)
    gci_medium = _share(SAFETY * e32 / (r32**used - 1.0), medium)
    text = f"{name} converges with observed order {order:.2f}; grid uncertainty of the fine value {_percent(gci)}"
    if order < SLOW:
        text += ", a rough figure, as so low an order means that the grids are still too coarse"
    elif order > formal_order:
        text += f" (taken with order {formal_order:g}, as the scheme has no higher one)"
    return GridCheck(
        **facts,
        kind="slow" if order < SLOW else "converges",
        sentence=f"{text}.",
        order=order,
        limit=fine - e21 / (r21**order - 1.0),
        gci=gci,
        gci_medium=gci_medium,
        in_range=gci_medium / (r21**used * gci) if gci > 0.0 else math.nan,
    )


def _oscillating(facts: dict[str, Any], name: str, e32: float, e21: float) -> GridCheck:
    """The change alternates: no order; half the span of the three values stands for the uncertainty if it falls.

    Half the span as in F. Stern, R. V. Wilson, H. W. Coleman, E. G. Paterson, "Comprehensive Approach to Verification
    and Validation of CFD Simulations, Part 1", J. Fluids Eng. 123 (2001), from memory.
    """
    if abs(e21) >= abs(e32):
        text = f"{name} swings from grid to grid and the swings do not fall, so no grid error can be given."
        return GridCheck(**facts, kind="diverges", sentence=text)
    _, medium, fine = facts["values"]
    half = 0.5 * (max(facts["values"]) - min(facts["values"]))
    gci = _share(half, fine)
    text = (
        f"{name} swings around its limit from grid to grid; no order can be told, and half the span of the three "
        f"values, {_percent(gci)}, stands for the grid uncertainty."
    )
    return GridCheck(**facts, kind="oscillates", sentence=text, gci=gci, gci_medium=_share(half, medium))


def _order(e32: float, e21: float, r32: float, r21: float) -> float:
    """Order p for changes of equal sign: e32 / e21 = r21^p (r32^p - 1) / (r21^p - 1).

    The right side rises with p, so halving an interval finds it for any ratios (the fixed point of the 2008 paper, the
    same equation, does not always settle). Negative where the changes grow.
    """
    wanted = math.log(abs(e32)) - math.log(abs(e21))

    def excess(p: float) -> float:
        if abs(p) < 1e-9:
            return math.log(math.log(r32) / math.log(r21)) - wanted
        return p * math.log(r21) + math.log(math.expm1(p * math.log(r32)) / math.expm1(p * math.log(r21))) - wanted

    low, high = -30.0, 30.0
    if excess(low) > 0.0 or excess(high) < 0.0:
        return low if excess(low) > 0.0 else high
    for _ in range(100):
        middle = 0.5 * (low + high)
        low, high = (low, middle) if excess(middle) > 0.0 else (middle, high)
    return 0.5 * (low + high)


def _share(size: float, value: float) -> float:
    return abs(size / value) if value != 0.0 else math.nan


def _percent(share: float) -> str:
    return f"{100.0 * share:.2g} %" if math.isfinite(share) else "not to be given as a share of zero"

