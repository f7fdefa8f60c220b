"""What a sensitivity study varies, and how each value is written into a case at its low and at its high end.

Three kinds: a single value with a margin or a likely range; a column with a margin (flow-sheet lifts and flows, a lift
table, lengths of primaries); all stations of a measured port.

A column and a port are moved AS A WHOLE, every reading the same way by its own margin: one dial set to a wrong zero, one
leaking bench, one hand that presses the calliper. Errors common to a column are what a sheet is off by; errors that know
nothing of each other come to about 1/sqrt(n) of that over n readings, so this is the wide bound. The choice is ours.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from typing import Any

from waveflow import units
from waveflow.engine.station_margins import port_margins, together

WHOLE_PORT = 3
"""Stations with a margin or an instrument from which a port is moved as a whole; fewer are varied one by one."""
_ITEM = re.compile(r"(.*)\[\d+\]")
_STATION = re.compile(r"(intake|exhaust)\.port\.stations\[\d+\]\.(width|height|corner_radius|area|blocked_area)")


@dataclass(frozen=True)
class Varied:
    """One uncertain value and how it is written into a case: `low`, `high` are overrides by key."""

    key: str
    text: str
    mark: str
    low_text: str
    high_text: str
    low: dict[str, str] = field(repr=False, default_factory=dict)
    high: dict[str, str] = field(repr=False, default_factory=dict)


def varied_values(case: Any) -> list[Varied]:
    """Every value of a case that has a range: given ones first, then what was filled in."""
    ports = [side for side in ("intake", "exhaust") if _as_a_whole(case, side)]
    singles, items = [], {}
    for each in case.uncertain:
        station, item = _STATION.fullmatch(each.key), _ITEM.fullmatch(each.key)
        if station and station[1] in ports:
            continue
        if item:
            items.setdefault(item[1], []).append(each)
        elif each.lows:
            singles.append(_column(each))
        elif each.low is not None and each.high is not None:
            low, high = (_written(value, each.unit) for value in (each.low, each.high))
            singles.append(
                Varied(each.key, each.value_text, each.mark or "given", low, high, {each.key: low}, {each.key: high})
            )
    found = singles + [_items(key, group) for key, group in items.items() if any(each.low is not None for each in group)]
    found += [_port(case, side) for side in ports]
    for each in case.assumptions:
        if each.low is not None and each.high is not None:
            low, high = (_written(value, each.unit) for value in (each.low, each.high))
            kind = {"burn.kind": case.burn.kind} if each.key.startswith("burn.") and "[burn]" not in case.text else {}
            found.append(Varied(each.key, each.value_text, each.mark, low, high,
                                {**kind, each.key: low}, {**kind, each.key: high}))  # fmt: skip
    return found


def _written(value: float, unit: str) -> str:
    return units.show(value, unit, 8) if unit else units.plain(value, 8)


def _shut(key: str, now: float, moved: float) -> float:
    """A lift table stays shut where it is shut."""
    if not key.endswith("cam.lift"):
        return moved
    return 0.0 if now <= 0.0 else max(moved, 0.0)


def _list(values: Iterable[float], unit: str) -> str:
    return "[" + ", ".join(f'"{_written(value, unit)}"' if unit else _written(value, unit) for value in values) + "]"


def _words(count: int, margin: str, sign: str) -> str:
    return f"all {count} {sign} {margin}"


def _column(each: Any) -> Varied:
    """A column written as one text with one margin."""
    middle = [(low + high) / 2.0 for low, high in zip(each.lows, each.highs, strict=True)]
    low, high = (_list([_shut(each.key, now, value) for now, value in zip(middle, ends, strict=True)], each.unit)
                 for ends in (each.lows, each.highs))  # fmt: skip
    count = len(middle)
    return Varied(each.key, f"{count} values", each.mark or "given", _words(count, each.plus_minus, "-"),
                  _words(count, each.plus_minus, "+"), {each.key: low}, {each.key: high})  # fmt: skip


def _items(key: str, group: Sequence[Any]) -> Varied:
    """A column given value by value (a list, or a table in a file), each with its margin."""
    known = [each for each in group if each.low is not None]
    margins = list(dict.fromkeys(each.plus_minus for each in known))
    said = margins[0] if len(margins) == 1 else "their margins"
    ends = [{each.key: _written(_shut(key, each.value, getattr(each, end)), each.unit) for each in known}
            for end in ("low", "high")]  # fmt: skip
    mark = known[0].mark or "given"
    return Varied(key, f"{len(known)} values", mark, _words(len(known), said, "-"), _words(len(known), said, "+"), *ends)


def _as_a_whole(case: Any, side: str) -> bool:
    port = getattr(case, side).port
    if port is None or case.enlarge is not None and case.enlarge.side == side:
        return False
    margins = port_margins(case, side)
    told = [bool(margins.of(number)) or bool(station.instrument) or station.resolution is not None
            for number, station in enumerate(port.stations) if station.shape != "outline"]  # fmt: skip
    return sum(told) >= WHOLE_PORT


def _port(case: Any, side: str) -> Varied:
    stations, margins = getattr(case, side).port.stations, port_margins(case, side)
    ends = []
    for sign in (-1, 1):
        ends.append({
            f"{side}.port.stations[{number}].{name}": _written(value, "mm2" if name == "area" else "mm")
            for number, row in enumerate(together(stations, margins, sign)) for name, value in row.items()
        })  # fmt: skip
    count = len(stations)
    return Varied(f"{side}.port.stations", f"{count} stations", "measured", f"all {count} narrow", f"all {count} wide", *ends)
