"""Checks of cylinders that differ from the others: each makes sense by itself, and is a good case in the place of all."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from typing import Any

from waveflow.engine.checks import Finding
from waveflow.engine.checks_engine import rising
from waveflow.engine.fields import Skip, span
from waveflow.engine.percylinder import SIDES, of_cylinder, place_of
from waveflow.units import show

_OWN = ("port", "flow", "readings", "runner", "header")


def numbers(case: Any) -> Iterator[Finding]:
    """Each cylinder once, and none the engine does not have."""
    seen: set[int] = set()
    for place, entry in enumerate(case.cylinder):
        key = ("cylinder", place, "number")
        try:
            if entry.number > case.engine.cylinders:
                yield Finding(key, f"the engine has {case.engine.cylinders}", f"1 to {case.engine.cylinders}")
            elif entry.number in seen:
                yield Finding(key, "given twice", hint="put all that differs in it under one [[cylinder]]")
            seen.add(entry.number)
            if entry.intake is None and entry.exhaust is None:
                hint = "give what is its own, such as intake.readings or intake.port.changed, or leave it out"
                yield Finding(("cylinder", place), "nothing of it differs", hint=hint, missing=True)
        except Skip:
            continue


def own_sides(case: Any) -> Iterator[Finding]:
    """What each entry needs of the common description."""
    for place, entry in enumerate(case.cylinder):
        for side in SIDES:
            try:
                own = getattr(entry, side)
                if own is not None and own.port is not None and case.enlarge is not None and case.enlarge.side == side:
                    message = f"the {side} port is enlarged by [enlarge]; what is given here stays as it is"
                    yield Finding(("cylinder", place, side, "port"), message, warning=True, missing=True)
                if own is not None:
                    yield from _own_side(getattr(case, side), own, ("cylinder", place, side))
            except Skip:
                continue


def _own_side(common: Any, own: Any, key: tuple) -> Iterator[Finding]:
    side = key[-1]
    if all(getattr(own, name, None) is None for name in (*_OWN[:-1], "primary_length")):
        yield Finding(key, "nothing in it differs", hint="leave it out, or give port, flow or readings", missing=True)
    for name, part in (("port", "port"), ("runner", "runner"), ("primary_length", "header")):
        if getattr(own, name, None) is not None and getattr(common, part) is None:
            hint = f"describe {side}.{part} first; here stands only what differs from it"
            yield Finding((*key, name), f"there is no {side}.{part} to differ from", hint=hint)
    if own.port is not None and common.port is not None and own.port.changed is not None:
        rows = own.port.stations or common.port.stations
        taken: set[int] = set()
        for number, station in enumerate(own.port.changed):
            found = place_of(station, rows)
            if found is None:
                near = min(rows, key=lambda each: abs(each.at - station.at))
                hint = f"the nearest stands at {show(near.at, 'mm', 6)}; with other places give all stations"
                yield Finding((*key, "port", "changed", number, "at"), "the port has no station there", hint=hint)
            elif found in taken:
                yield Finding((*key, "port", "changed", number, "at"), "given twice")
            taken.add(found if found is not None else -1 - number)
    if own.readings is not None:
        yield from _readings(own.flow if own.flow is not None else common.flow, own.readings, (*key, "readings"), side)


def _readings(sheet: Any, readings: Any, key: tuple, side: str) -> Iterator[Finding]:
    if sheet.kind != "sheet":
        hint = f"readings scale a flow sheet; give this cylinder's own flow, or {side}.flow as a sheet"
        yield Finding(key, "there is no sheet to scale", hint=hint, missing=True)
        return
    if len(readings.lift) != len(readings.flow):
        yield Finding((*key, "flow"), f"{len(readings.flow)} of flow at {len(readings.lift)} of lift")
        return
    yield from rising(readings.lift, (*key, "lift"), "mm")
    low, high = sheet.lift[0], sheet.lift[-1]
    for number, (lift, flow) in enumerate(zip(readings.lift, readings.flow, strict=True)):
        if not low - 1e-9 <= lift <= high + 1e-9:
            allowed = span(low, high, "mm")
            yield Finding((*key, "lift", number), "outside the sheet it is compared with", allowed)
            continue
        at = max(n for n, each in enumerate(sheet.lift) if each <= lift + 1e-9)
        upper = min(at + 1, len(sheet.lift) - 1)
        share = 0.0 if upper == at else (lift - sheet.lift[at]) / (sheet.lift[upper] - sheet.lift[at])
        ratio = flow / (sheet.flow[at] + share * (sheet.flow[upper] - sheet.flow[at]))
        if not 0.7 <= ratio <= 1.4:
            message = f"{ratio - 1:+.0%} of the sheet of all cylinders"
            yield Finding((*key, "flow", number), message, "within -30 and +40 %", "look at lift, unit and depression again")


def as_a_case(case: Any, checks: Iterable[Callable[[Any], Iterator[Finding]]]) -> Iterator[Finding]:
    """The checks of a whole case on each cylinder that differs, told at its own keys; what is true of all is told once."""
    if len(case.cylinder) == 0:
        return
    checks = tuple(checks)
    common = {(finding.key, finding.message) for finding in _all(case, checks)}
    for place, entry in enumerate(case.cylinder):
        try:
            view = of_cylinder(case, entry.number - 1)
        except (Skip, AttributeError, IndexError, ValueError):
            continue  # what is missing has been told already
        for finding in _all(view, checks):
            if finding.key[0] in SIDES and (finding.key, finding.message) not in common and _is_own(entry, finding.key):
                yield Finding(_own_key(entry, place, finding.key, case), finding.message, finding.allowed, finding.hint,
                              finding.why, finding.warning, finding.missing)  # fmt: skip


def _all(case: Any, checks: Iterable[Callable[[Any], Iterator[Finding]]]) -> Iterator[Finding]:
    for check in checks:
        try:
            yield from check(case)
        except Skip:
            continue


def _is_own(entry: Any, key: tuple) -> bool:
    own = getattr(entry, key[0])
    names = {"flow": ("flow", "readings"), "header": ("primary_length",)}.get(key[1], (key[1],)) if len(key) > 1 else ()
    return own is not None and any(getattr(own, name, None) is not None for name in names)


def _own_key(entry: Any, place: int, key: tuple, case: Any) -> tuple:
    """The key of a finding on the whole case as the place where this cylinder's file says it."""
    side, rest = key[0], key[1:]
    own, head = getattr(entry, side), ("cylinder", place, side)
    if rest[0] == "header":
        return (*head, "primary_length")
    if rest[0] == "flow" and own.readings is not None:
        return (*head, "readings")
    if rest[:2] == ("port", "stations") and len(rest) > 2 and own.port.changed is not None:
        rows = own.port.stations or getattr(case, side).port.stations
        for number, station in enumerate(own.port.changed):
            if place_of(station, rows) == rest[2]:
                return (*head, "port", "changed", number, *rest[3:])
        if own.port.stations is None:
            return (*head, "port")
    return (*head, *rest)


CHECKS = (numbers, own_sides)
