"""Options made from a measured port: so many per cent of area more, over the whole port, a stretch, the pinch or the
throat.

SI. Sizes grow by the square root of the area, so every section keeps its proportions; what blocks it (stem, guide
boss) stays. Stations are any frozen objects with the attributes of `Station`; the new ones are copies of the same
kind.
"""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Literal, NamedTuple

import numpy as np

from waveflow.engine.port import AreaCurve, net_area, section_of

Where = Literal["port", "pinch", "throat"] | tuple[float, float]

PINCH_REACH = 25e-3
"""Half-length [m] over which an opened pinch fades into the port: our choice, about the run of a hand-held cutter."""
THROAT_REACH = 12e-3
"""Half-length [m] over which an opened throat fades into bowl and seat: our choice."""
TAPER = 15e-3
"""Longest run-out [m] at each end of a stretch that ends inside the port: our choice."""
THROAT_WARNING = 0.91
"""Throat over valve-head diameter beyond which the seat has little left to stand on (common practice, no source)."""
NEAR = 1e-3
"""Places [m] closer than this to a station use that station."""
GUARD = 3e-3
"""Distance [m] outside a stretch at which an unchanged station holds the measured area."""


class Change(NamedTuple):
    """One station of a derived port: place [m], net area [m2] before and after, and whether the station was added."""

    at: float
    area_before: float
    area_after: float
    added: bool


@dataclass(frozen=True)
class Enlargement:
    """A derived port: `stations`, what changed, volume [m3] before and after, plain-word `warnings`."""

    stations: tuple[Any, ...]
    changes: tuple[Change, ...]
    volume_before: float
    volume_after: float
    warnings: tuple[str, ...]

    @property
    def smallest(self) -> tuple[float, float]:
        """Place [m] and net area [m2] of the smallest station of the new port."""
        tightest = min(self.stations, key=net_area)
        return float(tightest.at), net_area(tightest)


def copy_of(station: Any, **changes: Any) -> Any:
    """A copy of a station with some attributes changed, of a dataclass or of a model with `model_copy`."""
    if hasattr(station, "model_copy"):
        return station.model_copy(update=changes)
    return dataclasses.replace(station, **changes)


def scale_area(station: Any, factor: float) -> Any:
    """Copy of a station whose NET area is `factor` times as large, in the same proportions, with the same blocked
    area.
    """
    section, wall = section_of(station)
    blocked = station.blocked_area or 0.0
    grown = factor * (section - blocked) + blocked
    if not grown > 0.0:
        raise ValueError(f"station at {station.at:g} m: area factor {factor:g} leaves nothing")
    size = math.sqrt(grown / section)
    if station.shape == "measured":
        return copy_of(station, area=grown, perimeter=wall * size)
    if station.shape == "outline":
        return copy_of(station, points=tuple((x * size, y * size) for x, y in station.points))
    sizes = {k: getattr(station, k) for k in ("width", "height", "corner_radius")}
    return copy_of(station, **{k: v * size for k, v in sizes.items() if v is not None})


def throat_index(stations: Sequence[Any], valve_end: Literal["first", "last"]) -> int:
    """Which station is the throat: the one noted so, else the smaller of the two nearest the valve."""
    noted = [i for i, s in enumerate(stations) if "throat" in (getattr(s, "note", None) or "").lower()]
    if noted:
        return noted[0] if valve_end == "first" else noted[-1]
    near = (0, 1) if valve_end == "first" else (len(stations) - 1, len(stations) - 2)
    return min(near, key=lambda i: section_of(stations[i])[0])


def pinch_index(stations: Sequence[Any]) -> int:
    """Which station is the pinch: the one noted so, else the smallest of all."""
    noted = [i for i, s in enumerate(stations) if "pinch" in (getattr(s, "note", None) or "").lower()]
    return noted[0] if noted else min(range(len(stations)), key=lambda i: net_area(stations[i]))


def _fade(distance: Any, reach: float) -> Any:
    """1 at distance 0, 0 from `reach` on, level at both ends."""
    return 0.5 * (1.0 + np.cos(np.pi * np.clip(np.abs(distance) / reach, 0.0, 1.0)))


def _between(stations: Sequence[Any], curve: AreaCurve, x: float) -> Any:
    """A station at x of the unchanged port, with exactly the curve's area there.

    In the shape of its neighbours where both have the same one, else as a measured section.
    """
    i = next(k for k, s in enumerate(stations) if s.at > x)
    a, b = stations[i - 1], stations[i]
    t = (x - a.at) / (b.at - a.at)
    net, wall = float(curve.area_at(x)), float(curve.perimeter_at(x))
    words = {"note": "added"} if hasattr(a, "note") else {}
    for plain in ("instrument", "resolution", "points"):
        if getattr(a, plain, None) is not None:
            words[plain] = None
    if a.shape == b.shape and a.branches == b.branches and a.shape not in ("measured", "outline"):
        sizes = {k: getattr(a, k) + t * (getattr(b, k) - getattr(a, k)) for k in ("width", "height", "corner_radius")
                 if getattr(a, k) is not None and getattr(b, k) is not None}
        blocked = (a.blocked_area or 0.0) + t * ((b.blocked_area or 0.0) - (a.blocked_area or 0.0))
        draft = copy_of(a, at=x, blocked_area=blocked, **sizes, **words)
        return scale_area(draft, net / net_area(draft))
    return copy_of(a, at=x, shape="measured", width=None, height=None, corner_radius=None, area=net, perimeter=wall,
                   branches=1, blocked_area=0.0, **words)


def _with_places(stations: Sequence[Any], curve: AreaCurve, places: Sequence[float]) -> tuple[list[Any], set[float]]:
    """Stations with new ones at `places` that have none within 1 mm; the added places."""
    out, added = list(stations), set()
    for x in places:
        if all(abs(s.at - x) > NEAR for s in out):
            out.append(_between(stations, curve, x))
            added.add(x)
    return sorted(out, key=lambda s: s.at), added


def enlarge(stations: Sequence[Any], percent: float = 15.0, where: Where = "port", *,
            valve_end: Literal["first", "last"] = "last", valve_diameter: float | None = None,
            seat_inner_diameter: float | None = None) -> Enlargement:
    """Port with `percent` more net area where asked, as new stations.

    * "port": every station.
    * (x0, x1) [m]: that stretch. Where an end lies inside the port the gain fades in smoothly inside the stretch,
      over 15 mm or a third of it, so no step appears; an end at a port face takes the full gain. Stations are added
      where the fade needs them.
    * "pinch": the station noted as pinch, else the smallest; fading out 25 mm to both sides.
    * "throat": the station noted as throat, else the smaller of the two nearest the valve; fading out 12 mm to both
      sides.

    Added stations lie on the measured port's curve; drawn again through them, it moves by 1 % of area at most.

    `valve_end`: the valve stands at the last station (intake) or the first (exhaust). No round section within 12 mm
    of the valve end grows beyond `seat_inner_diameter` [m] (the valve-head diameter if not given); one that would is
    held there and a warning says so. A throat above 91 % of `valve_diameter` [m] is warned of. A negative `percent`
    makes the port smaller. Raises ValueError for a stretch outside the port or a percentage outside -50 to 100.
    """
    if not -50.0 <= percent <= 100.0:
        raise ValueError(f"{percent:g} % of area is outside -50 to 100 %")
    curve = AreaCurve.from_stations(stations)
    rows, added, gain = list(stations), set(), percent / 100.0
    if where == "port":
        def share(x: float) -> float:
            return 1.0
    elif where in ("pinch", "throat"):
        index = pinch_index(rows) if where == "pinch" else throat_index(rows, valve_end)
        centre, reach = rows[index].at, PINCH_REACH if where == "pinch" else THROAT_REACH

        def share(x: float) -> float:
            return float(_fade(x - centre, reach))

        rows, added = _with_places(rows, curve, [x for x in (centre - reach, centre + reach) if 0.0 < x < curve.length])
    elif isinstance(where, str):
        raise ValueError(f"where must be port, pinch, throat or a stretch (from, to), not {where!r}")
    else:
        share, places = _stretch(float(where[0]), float(where[1]), curve.length)
        rows, added = _with_places(rows, curve, places)
    grown, changes, warnings = [], [], []
    limit = seat_inner_diameter or valve_diameter
    valve_x = rows[-1].at if valve_end == "last" else rows[0].at
    for s in rows:
        new = scale_area(s, 1.0 + gain * share(s.at)) if share(s.at) else s
        at_seat = limit is not None and new.shape == "round" and abs(s.at - valve_x) <= THROAT_REACH
        if new is not s and at_seat and new.width > limit:
            held = max(limit, s.width)
            warnings.append(f"the section at {s.at * 1e3:g} mm is held at {held * 1e3:.2f} mm by the valve seat, "
                            f"{new.width * 1e3:.2f} mm was asked for")
            new = scale_to_width(s, held)
        grown.append(new)
        if new is not s or s.at in added:
            changes.append(Change(float(s.at), net_area(s), net_area(new), s.at in added))
    warnings += throat_warnings(grown, valve_end, valve_diameter)
    after = AreaCurve.from_stations(grown)
    return Enlargement(tuple(grown), tuple(changes), curve.volume(), after.volume(), tuple(warnings))


def scale_to_width(station: Any, width: float) -> Any:
    """Copy of a round station with another diameter [m]."""
    return copy_of(station, width=width, **({"height": width} if station.height is not None else {}))


def throat_warnings(stations: Sequence[Any], valve_end: Literal["first", "last"],
                    valve_diameter: float | None) -> list[str]:
    """A sentence if the throat of these stations is above 91 % of the valve-head diameter [m]."""
    if valve_diameter is None:
        return []
    throat = stations[throat_index(stations, valve_end)]
    equal = math.sqrt(4.0 * section_of(throat)[0] / math.pi)
    if equal <= THROAT_WARNING * valve_diameter:
        return []
    share = 100.0 * equal / valve_diameter
    return [f"the throat at {throat.at * 1e3:g} mm, {equal * 1e3:.2f} mm, is {share:.1f} % of the valve: "
            f"above {100.0 * THROAT_WARNING:.0f} % little is left for the seat (common practice, no source)"]


def _stretch(x0: float, x1: float, length: float) -> tuple[Any, list[float]]:
    """Share of the gain at x for a stretch, and the places that must have a station."""
    if not -NEAR <= x0 < x1 <= length + NEAR:
        raise ValueError(f"the stretch {x0 * 1e3:g} to {x1 * 1e3:g} mm must run forward inside the port, "
                         f"0 to {length * 1e3:g} mm")
    open_left, open_right = x0 > NEAR, x1 < length - NEAR
    x0, x1 = x0 if open_left else 0.0, x1 if open_right else length
    taper = min(TAPER, (x1 - x0) / 3.0)

    def share(x: float) -> float:
        if not x0 - 1e-12 <= x <= x1 + 1e-12:
            return 0.0
        left = float(_fade(max(x0 + taper - x, 0.0), taper)) if open_left else 1.0
        right = float(_fade(max(x - (x1 - taper), 0.0), taper)) if open_right else 1.0
        return min(left, right)

    # a guard just outside pins the measured port there: the redrawn curve would else give a little area back
    left = [x0, x0 + taper, *([x0 - GUARD] if x0 - GUARD > NEAR else [])] if open_left else []
    right = [x1 - taper, x1, *([x1 + GUARD] if x1 + GUARD < length - NEAR else [])] if open_right else []
    return share, left + right
