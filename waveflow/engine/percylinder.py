"""Cylinders that differ from the others: the case as one cylinder has it, and what is its own in words.

`of_cylinder(case, k)` is the whole case with cylinder k's own stations, flow and lengths in place of the common ones, so
everything that is made of a case (ducts, valve areas, checks) is made the same way for every cylinder. Without a difference
it is the case itself.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

SAME_PLACE = 0.5e-3
"""Distance [m] within which a changed station stands at the place of one of the common ones."""
SIDES = ("intake", "exhaust")


def of_cylinder(case: Any, k: int) -> Any:
    """The case as cylinder 0, 1, ... has it; the case itself where nothing of it differs."""
    entry = next((each for each in case.cylinder if each.number == k + 1), None)
    if entry is None:
        return case
    sides = {side: _side(getattr(case, side), getattr(entry, side), k, case.engine.cylinders)
             for side in SIDES if getattr(entry, side) is not None}  # fmt: skip
    return case.model_copy(update=sides) if sides else case


def _side(common: Any, own: Any, k: int, cylinders: int) -> Any:
    update: dict[str, Any] = {}
    if own.port is not None:
        update["port"] = own_port(common.port, own.port)
    if own.flow is not None:
        update["flow"] = own.flow
    if own.readings is not None:
        update["flow"] = scaled_sheet(own.flow or common.flow, own.readings)
    if getattr(own, "runner", None) is not None:
        given = {name: getattr(own.runner, name) for name in own.runner.model_fields_set}
        update["runner"] = common.runner.model_copy(update=given)
    if getattr(own, "primary_length", None) is not None:
        lengths = common.header.primary_length
        lengths = lengths * cylinders if len(lengths) == 1 else lengths
        update["header"] = common.header.model_copy(
            update={"primary_length": (*lengths[:k], own.primary_length, *lengths[k + 1 :])}
        )
    return common.model_copy(update=update)


def own_port(common: Any, own: Any) -> Any:
    """The common port with a cylinder's own values in it; a burette volume or length of other stations is not kept."""
    update = {name: getattr(own, name) for name in own.model_fields_set - {"changed", "stations", "read_from"}}
    if own.stations is not None or own.changed is not None:
        update.setdefault("burette_volume", None)
    if own.stations is not None:
        update["stations"] = own.stations
        update.setdefault("length", None)
    if own.changed is not None:
        rows = list(own.stations or common.stations)
        for station in own.changed:
            place = place_of(station, rows)
            if place is not None:
                rows[place] = station
        update["stations"] = tuple(rows)
    return common.model_copy(update=update)


def place_of(station: Any, rows: Sequence[Any]) -> int | None:
    """Which of the common stations a changed one stands in for; None if there is none at its place."""
    return next((n for n, each in enumerate(rows) if abs(each.at - station.at) <= SAME_PLACE), None)


def scaled_sheet(sheet: Any, readings: Any) -> Any:
    """A flow sheet times the ratio of a cylinder's few readings to it."""
    ratios = [flow / _straight(sheet.lift, sheet.flow, lift) for lift, flow in zip(readings.lift, readings.flow, strict=True)]
    scaled = [flow * _straight(readings.lift, ratios, lift) for lift, flow in zip(sheet.lift, sheet.flow, strict=True)]
    return sheet.model_copy(update={"flow": tuple(scaled)})


def _straight(x: Sequence[float], y: Sequence[float], at: float) -> float:
    """Value at `at` straight between points, the first or last beyond them; at a point exactly the point's."""
    if at <= x[0]:
        return y[0]
    for x0, x1, y0, y1 in zip(x, x[1:], y, y[1:], strict=False):
        if at == x1:
            return y1
        if at < x1:
            return y0 + (at - x0) / (x1 - x0) * (y1 - y0)
    return y[-1]


def own_parts(case: Any) -> dict[int, tuple[str, ...]]:
    """Cylinder number -> what it has of its own: "intake port", "intake flow", "exhaust primary length", ..."""
    found = {}
    for entry in case.cylinder:
        words = []
        for side in SIDES:
            own = getattr(entry, side)
            for name, word in (("port", "port"), ("flow", "flow"), ("readings", "flow"), ("runner", "runner"),
                               ("primary_length", "primary")):  # fmt: skip
                if own is not None and getattr(own, name, None) is not None and f"{side} {word}" not in words:
                    words.append(f"{side} {word}")
        found[entry.number] = tuple(words)
    return found


def without_own_flow(case: Any) -> list[tuple[int, str]]:
    """(place in the list, side) of every cylinder whose port is its own while its flow is still the common sheet."""
    return [
        (place, side)
        for place, entry in enumerate(case.cylinder)
        for side in SIDES
        if (own := getattr(entry, side)) is not None and own.port is not None
        and (own.port.stations is not None or own.port.changed is not None)
        and own.flow is None and own.readings is None
    ]  # fmt: skip
