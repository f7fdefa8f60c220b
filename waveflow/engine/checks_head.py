"""Cylinders of one head held against each other: which port flows low or high, and which of its stations differs.

Warnings: the case runs with every cylinder as it is given.
"""

from __future__ import annotations

import math
import statistics
from collections.abc import Iterator
from typing import Any

from waveflow.engine.checks import Finding
from waveflow.engine.percylinder import SIDES, own_port
from waveflow.units import show

REPEAT = 0.006
"""One sigma of a reading of flow, same day, same mount: 0.5 to 1 % is common practice, no source."""
DOUBT = 3.0
"""How many times its uncertainty a difference must be before it is told (our choice: 0.3 % of good readings go beyond)."""


def uneven_flow(case: Any) -> Iterator[Finding]:
    """The cylinder whose readings lie farthest beside those of the others at one lift, with the station to look at."""
    for side in SIDES:
        rows = [(place, entry, getattr(entry, side).readings) for place, entry in enumerate(case.cylinder)
                if getattr(entry, side) is not None and getattr(entry, side).readings is not None]  # fmt: skip
        if len(rows) < 3:
            continue
        worst = max(_differences(rows), key=lambda each: abs(each[1]), default=None)
        if worst is None or abs(worst[1]) <= DOUBT * worst[2]:
            continue
        number, share, error, lift, lifts = worst
        place, entry, _ = rows[number]
        low = "low" if share < 0 else "high"
        message = f"cylinder {entry.number} flows {low}: {share:+.1%} beside the middle of the others at {show(lift, 'mm')}, "
        message += f"{abs(share) / error:.0f} times the uncertainty of that difference (a reading repeats to {REPEAT:.1%})"
        if lifts > 1:
            message += f", and {low} at {lifts} lifts"
        hint = _station(case, entry, side) or "measure its stations beside those of a good cylinder before grinding any other"
        yield Finding(("cylinder", place, side, "readings"), message, hint=hint, warning=True, missing=True)


def _differences(rows: list[tuple[int, Any, Any]]) -> Iterator[tuple[int, float, float, float, int]]:
    """(row, share beside the median of the others, its error, lift, lifts at which it is told too) for common lifts."""
    for number, (_, _, own) in enumerate(rows):
        found = []
        for lift, flow in zip(own.lift, own.flow, strict=False):
            others = [reading.flow[reading.lift.index(lift)] for row, (_, _, reading) in enumerate(rows)
                      if row != number and lift in reading.lift and len(reading.lift) == len(reading.flow)]  # fmt: skip
            if len(others) >= 2:
                # error of one reading beside the median of n: REPEAT * sqrt(1 + 1.57 / n), normal readings
                found.append((flow / statistics.median(others) - 1.0, REPEAT * math.sqrt(1.0 + 1.57 / len(others)), lift))
        if found:
            share, error, lift = max(found, key=lambda each: abs(each[0]) / each[1])
            lifts = sum(each[0] * share > 0 and abs(each[0]) > DOUBT * each[1] for each in found)
            yield number, share, error, lift, lifts


def _station(case: Any, entry: Any, side: str) -> str:
    """The station of this cylinder that differs most from the common port, in words; empty where none is measured or does."""
    own, common = getattr(entry, side).port, getattr(case, side).port
    if own is None or common is None or (own.changed is None and own.stations is None):
        return ""
    from waveflow.engine.reconcile import against

    changed = own.changed if own.changed is not None else own_port(common, own).stations
    try:
        rows, words = against(changed, common.stations)
    except ValueError:
        return ""
    if max(row.doubt for row in rows) <= DOUBT:
        return "no station of it differs beyond what the instruments read: look at seat, guide and short turn"
    return f"{words}; measure the wall there, then grind that one, not the others"


LATE_CHECKS = (uneven_flow,)
