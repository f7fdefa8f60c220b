"""How far a station of a port may be off: from the margin behind its sizes, else from its instrument, else by a rule.

A margin behind a size ("30 mm +- 0.05 mm") counts first; without one the stated `resolution`; without that what the
instrument's name says. Uncertainties (one sigma) by a rule that is our choice, no source:
* a width, height or diameter: its margin, or one resolution of the instrument; not stated: 0.3 mm for a mould, 0.1 mm for
  callipers and ball gauges, 0.2 mm for anything else; every wall of a traced outline half of it;
* a corner radius: its margin, or 0.5 mm; a blocked area: its margin, or 10 %;
* no passage is exactly round, oval or square: 1 % of area for a round, traced or measured one, 1.5 % for the others.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any, NamedTuple

from waveflow.engine.section import section, section_of

CORNER_ERROR = 0.5e-3
BLOCKED_ERROR = 0.10
MOULD_ERROR, GAUGE_ERROR, OTHER_ERROR = 0.3e-3, 0.1e-3, 0.2e-3
_ROUGHLY = {"round": 0.01, "measured": 0.01, "outline": 0.01}
_OTHER_SHAPES = 0.015
SIZES = ("width", "height", "corner_radius")
NOTHING: Mapping[str, float] = {}


class PortMargins(NamedTuple):
    """Margins as given with the values of one port: by size of each station [m, m2], of the burette volume [m3] and of
    the length [m]; None where none is given.
    """

    stations: tuple[Mapping[str, float], ...] = ()
    burette: float | None = None
    length: float | None = None

    def of(self, number: int) -> Mapping[str, float]:
        """Margins by name of one station."""
        return self.stations[number] if number < len(self.stations) else NOTHING


def port_margins(case: Any, side: str) -> PortMargins:
    """Margins of the port of a `side` ["intake" or "exhaust"] from the values of a case that carry one."""
    port = getattr(case, side).port
    found: list[dict[str, float]] = [{} for _ in port.stations]
    whole: dict[str, float] = {}
    head = f"{side}.port."
    for each in getattr(case, "uncertain", ()):
        if each.low is None or not each.key.startswith(head):
            continue
        rest = each.key[len(head) :]
        if rest.startswith("stations["):
            number, _, name = rest[len("stations[") :].partition("].")
            if int(number) < len(found):
                found[int(number)][name] = (each.high - each.low) / 2.0
        else:
            whole[rest] = (each.high - each.low) / 2.0
    return PortMargins(tuple(found), whole.get("burette_volume"), whole.get("length"))


def resolution_of(station: Any) -> float:
    """Resolution [m] of the instrument, as stated or by the rule above."""
    stated = getattr(station, "resolution", None)
    if stated is not None:
        return float(stated)
    words = (getattr(station, "instrument", "") or "").lower()
    if "mould" in words or "mold" in words:
        return MOULD_ERROR
    return GAUGE_ERROR if any(name in words for name in ("calliper", "caliper", "ball", "gauge")) else OTHER_ERROR


def size_errors(station: Any, given: Mapping[str, float] = NOTHING) -> dict[str, float]:
    """One sigma [m] of every size a station has: its margin, or the rule above."""
    step = resolution_of(station)
    errors = {}
    for name in SIZES:
        size = getattr(station, name, None)
        if size:
            errors[name] = given.get(name, CORNER_ERROR if name == "corner_radius" else step)
    return errors


def reading_error(station: Any, given: Mapping[str, float] = NOTHING) -> float:
    """One sigma of the net area [m2] from sizes and corner radius alone, all branches; errors of sizes independent."""
    area, wall = section_of(station)
    if station.shape == "measured":
        # a wall that lies half a resolution out all round, unless the area's own margin is known
        return station.branches * given.get("area", wall * resolution_of(station) / 2.0)
    if station.shape == "outline":
        return station.branches * wall * resolution_of(station) / 2.0
    errors = size_errors(station, given)
    if station.shape == "round":
        return station.branches * wall * errors["width"] / 2.0
    squares = 0.0
    for name, error in errors.items():
        least = 0.5 * error
        changed = {key: getattr(station, key) for key in errors} | {name: getattr(station, name) - least}
        try:
            squares += ((area - section(station.shape, **changed)[0]) / least * error) ** 2
        except ValueError:
            squares += (wall * error / 4.0) ** 2
    return station.branches * math.sqrt(squares)


def station_error(station: Any, given: Mapping[str, float] = NOTHING) -> float:
    """One sigma of the net area [m2]: instrument, shape and what blocks the passage."""
    shape = _ROUGHLY.get(station.shape, _OTHER_SHAPES) * section_of(station)[0]
    blocked = given.get("blocked_area", BLOCKED_ERROR * (station.blocked_area or 0.0))
    return math.hypot(reading_error(station, given), station.branches * math.hypot(shape, blocked))


def together(stations: Sequence[Any], margins: PortMargins, sign: int) -> list[dict[str, float]]:
    """Sizes [m, m2] of every station with all of them moved the same way: `sign` +1 the widest passage, -1 the narrowest.

    One hand holds one gauge one way, so errors of a whole port are taken as common: widths, heights and areas go up
    together by their own one sigma, corner radii down. That is the wide bound; errors of n stations that know nothing of
    each other would come to about 1/sqrt(n) of it. A corner keeps between 0 and half the smaller side.
    """
    rows = []
    for number, station in enumerate(stations):
        errors, moved = size_errors(station, margins.of(number)), {}
        for name in ("width", "height"):
            if name in errors:
                moved[name] = getattr(station, name) + sign * errors[name]
        if "corner_radius" in errors:
            most = min(moved["width"], moved["height"]) / 2.0
            moved["corner_radius"] = min(max(station.corner_radius - sign * errors["corner_radius"], 0.0), most)
        if station.shape == "measured":
            moved["area"] = station.area + sign * reading_error(station, margins.of(number)) / station.branches
        if station.shape == "round" and "height" in moved:
            moved["height"] = moved["width"]
        rows.append(moved)
    return rows
