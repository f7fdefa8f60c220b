"""An intake port that splits to its valves: as one duct of all branches' area, or as a pipe each from where they begin.

The split stands at the first station with branches. Each branch takes an equal share of area and perimeter, so its hydraulic
diameter is that of the stations, and ends at one valve. The split itself costs nothing: what a divider's nose loses is in the
flow sheet already.
"""

from __future__ import annotations

from typing import Any

Laid = list[tuple[int, float, float]]


def split_at(intake: Any, duct: Any) -> tuple[float, int] | None:
    """Place of the split along the intake duct [m] and number of branches; None where the port is laid as one duct."""
    port = intake.port
    if port is None or port.pair != "two branches":
        return None
    first = next(station for station in port.stations if station.branches > 1)
    return duct.stretch("port").x0 + first.at, first.branches


def lay_intake(b: Any, intake: Any, duct: Any, k: int, fresh: dict) -> tuple[Laid, list[Laid]]:
    """The pipes of cylinder k's intake up to the first valve [(number, x0, x1)], and those of each further branch."""
    split = split_at(intake, duct)
    if split is None:
        return b.chain(duct, b.cell, k, "intake", fresh), []
    at, count = split
    trunk = b.chain(duct, b.cell, k, "intake", fresh, span=(0.0, at))
    branches = [
        b.chain(duct, b.cell, k, "intake" if n == 0 else f"intake branch {n + 1}", fresh, (at, duct.length), 1.0 / count)
        for n in range(count)
    ]
    b.asm.joint([(trunk[-1][0], "far")], [(branch[0][0], "near") for branch in branches], contraction=0.0)
    return [*trunk, *branches[0]], branches[1:]
