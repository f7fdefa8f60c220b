"""What a porter reads off a port: pinch, throat beside its valve, taper, steps at both joints. SI; areas net, [m2]."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, NamedTuple

from waveflow.engine.section import net_area, section_of


class Taper(NamedTuple):
    """A stretch between two stations `x0`, `x1` [m]; `rate` = d ln A / dx [1/m], positive where it opens."""

    x0: float
    x1: float
    rate: float


class Joint(NamedTuple):
    """Where two parts meet: `name` in words, place `x` [m] on the port, areas before and after in flow direction [m2]."""

    name: str
    x: float
    before: float
    after: float

    @property
    def share(self) -> float:
        """Change of area [1]."""
        return self.after / self.before - 1.0

    @property
    def edge(self) -> float:
        """Step of the wall all round [m], as of two round passages of these areas; positive where it opens."""
        return math.sqrt(self.after / math.pi) - math.sqrt(self.before / math.pi)


@dataclass(frozen=True)
class PortFacts:
    """One port. `pinch` (place [m], area [m2]); `throat` (place [m], equivalent diameter of one branch [m], stem not taken
    off) where one is known; `valve` head diameter [m] and `valves` their number; `tapers` in order; `joints` in order.
    """

    side: str
    length: float
    pinch: tuple[float, float]
    throat: tuple[float, float] | None
    valve: float
    valves: int
    tapers: tuple[Taper, ...]
    joints: tuple[Joint, ...]

    @property
    def steepest(self) -> Taper:
        """The stretch whose area changes fastest."""
        return max(self.tapers, key=lambda each: abs(each.rate))

    @property
    def throat_share(self) -> float | None:
        """Throat over valve head [1], diameters; None without a throat."""
        return None if self.throat is None else self.throat[1] / self.valve

    @property
    def pinch_share(self) -> float:
        """Smallest area over that of the valve heads [1]."""
        return self.pinch[1] / (self.valves * math.pi / 4.0 * self.valve**2)


def throat_number(stations: Sequence[Any], side: str) -> int:
    """Which station is the throat: the one so noted, else the smaller passage of the two next to the valve."""
    noted = [number for number, station in enumerate(stations) if "throat" in station.note.lower()]
    if noted:
        return noted[-1 if side == "intake" else 0]
    near = (-1, -2) if side == "intake" else (0, 1)
    return min(near, key=lambda number: section_of(stations[number])[0]) % len(stations)


def port_facts(case: Any, side: str) -> PortFacts | None:
    """Facts of the port of a `side` ["intake" or "exhaust"]; None without a port."""
    table = getattr(case, side)
    port, valve = table.port, table.valve
    if port is None:
        return None
    rows = [(station.at, net_area(station)) for station in port.stations]
    tapers = tuple(Taper(x0, x1, math.log(a1 / a0) / (x1 - x0)) for (x0, a0), (x1, a1) in zip(rows, rows[1:], strict=False))
    throat = port.stations[throat_number(port.stations, side)]
    known = throat.branches == valve.count
    across = math.sqrt(4.0 * section_of(throat)[0] / math.pi)
    length = max(port.length or 0.0, rows[-1][0])
    return PortFacts(side, length, min(rows, key=lambda row: row[1]), (throat.at, across) if known else None,
                     valve.head_diameter, valve.count, tapers, tuple(_joints(case, side, rows[0][1], rows[-1][1], length)))


def runner_end(pipe: Any, face: float) -> float:
    """Area of the runner at the head [m2]: its own end, or the port's face where it was blended to it."""
    if pipe.blend_length > 0:
        return face
    return pipe.outlet_area if pipe.outlet_area is not None else math.pi / 4.0 * pipe.inlet_diameter**2


def beside_gasket(one: float, other: float, hole: float) -> float:
    """The neighbour [m2] a gasket's hole is held against: the smaller where it stands into the flow, the larger where it
    leaves a groove, the hole itself where it lies between the two.
    """
    low, high = sorted((one, other))
    return min(max(hole, low), high)


def _joints(case: Any, side: str, first: float, last: float, length: float) -> list[Joint]:
    if side == "intake":
        pipe = case.intake.runner
        if pipe is None:
            return []
        found = [Joint("runner to head", 0.0, runner_end(pipe, first), first)]
        if pipe.gasket_area is not None:
            found.insert(0, Joint("gasket's hole", 0.0, beside_gasket(found[0].before, first, pipe.gasket_area),
                                  pipe.gasket_area))  # fmt: skip
        return found
    header = case.exhaust.header
    if header is None:
        return []
    return [Joint("flange to primary", length, last, math.pi / 4.0 * header.primary_diameter**2)]
