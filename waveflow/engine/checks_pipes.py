"""Checks of ports, runner, plenum, header and a derived port."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Any

from waveflow.engine import section
from waveflow.engine.checks import Finding
from waveflow.engine.checks_valves import each_side
from waveflow.engine.fields import Skip
from waveflow.units import show

_RUNS = {
    "intake": "stations go from the manifold face towards the valve",
    "exhaust": "stations go from the valve seat towards the flange",
}
_TWO_SIZES = ("ellipse", "rounded rectangle", "oblong", "D")


@each_side
def station_order(case: Any, side: str) -> Iterator[Finding]:
    port = getattr(case, side).port
    if port is None:
        return
    key = (side, "port", "stations")
    before = None
    for number, station in enumerate(port.stations):
        try:
            at = station.at + 0.0
        except Skip:
            before = None
            continue
        if number == 0 and at != 0:
            yield Finding((*key, 0, "at"), "the first station stands at zero", "0 mm", why=_RUNS[side])
        if before is not None and at <= before:
            message = f"not beyond stations[{number - 1}], which stands at {show(before, 'mm', 6)}"
            yield Finding((*key, number, "at"), message, f"above {show(before, 'mm', 6)}", why=_RUNS[side])
        before = at
    if port.length is not None and before is not None and port.length < before - 1e-9:
        message = f"shorter than the last station's distance of {show(before, 'mm', 6)}"
        yield Finding((side, "port", "length"), message, f"at least {show(before, 'mm', 6)}")


@each_side
def station_shapes(case: Any, side: str) -> Iterator[Finding]:
    port = getattr(case, side).port
    for number, station in enumerate(port.stations if port is not None else ()):
        try:
            yield from _shape(station, (side, "port", "stations", number))
        except Skip:
            continue


def _shape(station: Any, key: tuple) -> Iterator[Finding]:
    shape = station.shape
    needed = {"width": shape not in ("measured", "outline"), "height": shape in _TWO_SIZES, "area": shape == "measured"}
    needed |= {"corner_radius": shape == "rounded rectangle", "points": shape == "outline"}
    examples = {"width": '"33 mm"', "height": '"29 mm"', "area": '"812 mm2"', "corner_radius": '"9 mm"'}
    examples["points"] = '[["0 mm", "0 mm"], ["9 mm", "2 mm"], ...]'
    complete = True
    for name, wanted in needed.items():
        if wanted and getattr(station, name) is None:
            complete = False
            hint = f"add {name} = {examples[name]} or what it is"
            yield Finding((*key, name), f'missing for the shape "{shape}"', hint=hint, missing=True)
    if shape != "measured" and (station.area is not None or station.perimeter is not None):
        name = "area" if station.area is not None else "perimeter"
        hint = 'leave it out, or write shape = "measured"'
        yield Finding((*key, name), f'the shape "{shape}" brings its own', hint=hint)
    if shape != "outline" and station.points is not None:
        hint = 'leave them out, or write shape = "outline"'
        yield Finding((*key, "points"), f'do not belong to the shape "{shape}"', hint=hint, missing=True)
    if shape == "outline" and (station.width is not None or station.height is not None):
        name = "width" if station.width is not None else "height"
        yield Finding((*key, name), 'the shape "outline" has its size from its points', hint="leave it out")
    if shape not in ("rounded rectangle", "D") and station.corner_radius:
        yield Finding((*key, "corner_radius"), f'the shape "{shape}" has no corners', hint="leave it out")
        return
    if not complete:
        return
    try:
        area = section.section_of(station)[0]
    except ValueError as error:
        yield _impossible(station, key, str(error))
        return
    if station.blocked_area >= area:
        message = f"leaves nothing open of {show(area, 'mm2')}"
        yield Finding((*key, "blocked_area"), message, f"below {show(area, 'mm2')}", why="of one branch")
    elif station.blocked_area > 0.5 * area:
        message = f"unusual: more than half of the section's {show(area, 'mm2')}"
        yield Finding((*key, "blocked_area"), message, warning=True)
    if station.perimeter is not None and station.perimeter < 0.999 * 2 * math.sqrt(math.pi * area):
        least = show(2 * math.sqrt(math.pi * area), "mm")
        yield Finding((*key, "perimeter"), "shorter than a circle's of that area", f"at least {least}")


def _impossible(station: Any, key: tuple, reason: str) -> Finding:
    if station.shape == "outline":
        return Finding((*key, "points"), reason, hint="trace the slice once round, point after point", missing=True)
    if station.shape == "round":
        message = f"a round section has one diameter, and its width is {show(station.width, 'mm')}"
        return Finding((*key, "height"), message, hint="leave height out")
    if station.shape == "D" and station.width < station.height / 2:
        message = f"narrower than the half circle of a height of {show(station.height, 'mm')}"
        return Finding((*key, "width"), message, f"at least {show(station.height / 2, 'mm')}")
    half = min(station.width, station.height) / 2
    if station.shape == "D":
        half = min(station.height / 2, station.width - station.height / 2)
    message = f"more than half of the smaller side of {show(2 * half, 'mm')}"
    if station.shape == "D":
        message = f"does not fit the D's straight part of {show(half, 'mm')}"
    return Finding((*key, "corner_radius"), message, f"up to {show(half, 'mm')}")


@each_side
def port_as_a_whole(case: Any, side: str) -> Iterator[Finding]:
    """Steps, order by the notes, and the burette against the stations."""
    table = getattr(case, side)
    port = table.port
    if port is None:
        return
    try:
        areas = [section.net_area(station) for station in port.stations]
    except ValueError:
        return
    places = [station.at for station in port.stations]
    if any(second <= first for first, second in zip(places, places[1:], strict=False)):
        return
    key = (side, "port", "stations")
    for number, (first, second) in enumerate(zip(areas, areas[1:], strict=False), 1):
        if not 0.6 < second / first < 1.7:
            message = f"net area goes from {show(first, 'mm2')} to {show(second, 'mm2')} in one step"
            yield Finding((*key, number), message, warning=True, missing=True)
    noted = [number for number, station in enumerate(port.stations) if "throat" in station.note.lower()]
    wrong_end = noted and (noted[0] * 2 < len(areas) - 1) == (side == "intake") and len(areas) > 2
    if wrong_end:
        message = "the throat is noted at the wrong end"
        yield Finding((*key, noted[0]), message, hint=_RUNS[side], warning=True, missing=True)
    if port.burette_volume is not None:
        volume = sum((b + a) / 2 * (y - x) for a, b, x, y in zip(areas, areas[1:], places, places[1:], strict=False))
        off = volume / port.burette_volume - 1
        if abs(off) > 0.06:
            message = f"the stations hold {show(volume, 'cc')}, {off:+.1%}"
            hint = "look at corner radii, lengths and the burette again"
            yield Finding((side, "port", "burette_volume"), message, hint=hint, warning=True)


def pair(case: Any) -> Iterator[Finding]:
    """A pair of branches needs a split to as many branches as there are valves, inside the port."""
    port, key = case.intake.port, ("intake", "port", "pair")
    if port is None or port.pair != "two branches":
        return
    count = [station.branches for station in port.stations]
    valves = case.intake.valve.count
    split = next((number for number, branches in enumerate(count) if branches > 1), None)
    if split is None or split == 0 or split == len(count) - 1 or set(count[split:]) != {valves}:
        message = f"the stations do not go from one passage to {valves} branch{'es' if valves > 1 else ''}, one a valve"
        hint = 'give the last stations branches = 2, or write pair = "one equivalent duct"'
        yield Finding(key, message, hint=hint)


def intake_parts(case: Any) -> Iterator[Finding]:
    intake = case.intake
    if intake.port is None and intake.runner is None and not case.ideal.infinite_plenum_at_valve:
        hint = "describe intake.port, intake.runner or both"
        yield Finding(("intake",), "no passage to the valve", hint=hint, missing=True)
    if intake.plenum is not None and intake.throttle is None:
        hint = 'add [intake.throttle] with diameter = "54 mm" or what it is'
        yield Finding(("intake", "throttle"), "missing: nothing feeds the plenum", hint=hint, missing=True)
    if intake.throttle is not None and intake.plenum is None:
        hint = 'add [intake.plenum] with volume = "3.2 L" or what it is'
        yield Finding(("intake", "plenum"), "missing: the throttle feeds a plenum", hint=hint, missing=True)


def runner(case: Any) -> Iterator[Finding]:
    intake = case.intake
    pipe = intake.runner
    if pipe is None:
        return
    key = ("intake", "runner")
    if pipe.blend_length > pipe.length:
        message = f"longer than the runner of {show(pipe.length, 'mm')}"
        yield Finding((*key, "blend_length"), message, f"up to {show(pipe.length, 'mm')}")
    elif pipe.blend_length > 0 and intake.port is None:
        hint = "describe intake.port, or leave blend_length out"
        yield Finding((*key, "blend_length"), "there is no port to blend the runner to", hint=hint)
    inlet = math.pi / 4 * pipe.inlet_diameter**2
    if pipe.outlet_area is not None and not 0.3 < pipe.outlet_area / inlet < 3:
        message = f"unusual beside {show(inlet, 'mm2')} at the runner's inlet"
        yield Finding((*key, "outlet_area"), message, warning=True)
    if pipe.outlet_area is not None and intake.port is not None:
        try:
            face = section.net_area(intake.port.stations[0])
        except ValueError:
            return
        if pipe.outlet_area > 1.05 * face:
            message = f"the runner ends wider than the port begins, {show(face, 'mm2')}"
            yield Finding((*key, "outlet_area"), message, warning=True)


def exhaust_parts(case: Any) -> Iterator[Finding]:
    exhaust = case.exhaust
    if exhaust.port is None and exhaust.header is None:
        hint = "describe exhaust.port, exhaust.header or both"
        yield Finding(("exhaust",), "no passage behind the valve", hint=hint, missing=True)


def header(case: Any) -> Iterator[Finding]:
    pipes, cylinders = case.exhaust.header, case.engine.cylinders
    if pipes is None:
        return
    key = ("exhaust", "header")
    if len(pipes.primary_length) not in (1, cylinders):
        message = f"{len(pipes.primary_length)} lengths for {cylinders} cylinder{'s' if cylinders > 1 else ''}"
        yield Finding((*key, "primary_length"), message, f"one, or {cylinders}")
    groups = pipes.groups
    if groups is not None and sorted(n for group in groups for n in group) != list(range(1, cylinders + 1)):
        yield Finding((*key, "groups"), "not a grouping of the cylinders", f"each of 1 to {cylinders} once")
        return
    for part, wanted in (("secondary", groups is not None and len(groups) > 1), ("tail", False)):
        sizes = getattr(pipes, f"{part}_length"), getattr(pipes, f"{part}_diameter")
        for name, own, other in zip(("length", "diameter"), sizes, sizes[::-1], strict=True):
            if own is None and (other is not None or wanted):
                message = "missing beside the other" if other is not None else "missing: the groups meet through it"
                example = {"length": "420 mm", "diameter": "42 mm"}[name]
                hint = f'add {part}_{name} = "{example}" or what it is'
                yield Finding((*key, f"{part}_{name}"), message, hint=hint, missing=True)
    if pipes.secondary_length is not None and (groups is None or len(groups) < 2):
        hint = "add groups = [[1, 4], [2, 3]] or what they are, or leave the secondaries out"
        yield Finding((*key, "secondary_length"), "secondaries without groups of primaries", hint=hint)


def silencer(case: Any) -> Iterator[Finding]:
    pipes = case.exhaust.header
    if pipes is None:
        return
    key = ("exhaust", "header")
    sizes = {name: getattr(pipes, f"silencer_{name}") for name in ("at", "volume", "length")}
    if all(value is None for value in sizes.values()):
        return
    for name, example in (("at", "900 mm"), ("volume", "8 L"), ("length", "550 mm")):
        if sizes[name] is None:
            hint = f'add silencer_{name} = "{example}" or what it is'
            yield Finding((*key, f"silencer_{name}"), "missing beside the other", hint=hint, missing=True)
    if pipes.tail_length is None:
        hint = 'add tail_length = "1800 mm" and tail_diameter = "50.8 mm" or what they are'
        yield Finding((*key, "silencer_at"), "there is no tail pipe for it", hint=hint)
    elif not any(value is None for value in sizes.values()):
        if sizes["at"] + sizes["length"] > pipes.tail_length:
            message = f"the silencer would end beyond the tail of {show(pipes.tail_length, 'mm')}"
            room = show(max(0.0, pipes.tail_length - sizes["length"]), "mm")
            yield Finding((*key, "silencer_at"), message, f"up to {room}")
        width = math.sqrt(4 * sizes["volume"] / sizes["length"] / math.pi)
        if pipes.tail_diameter is not None and width < pipes.tail_diameter:
            message = f"volume over length gives {show(width, 'mm')} of width, narrower than the tail"
            yield Finding((*key, "silencer_volume"), message)


def derived_port(case: Any) -> Iterator[Finding]:
    wish = case.enlarge
    if wish is None:
        return
    port = (case.intake if wish.side == "intake" else case.exhaust).port
    if port is None:
        hint = f"describe {wish.side}.port with its stations"
        yield Finding(("enlarge",), f"there is no {wish.side} port to enlarge", hint=hint, missing=True)
    elif not isinstance(wish.where, str):
        start, end = wish.where
        last = port.stations[-1].at
        if end <= start:
            yield Finding(("enlarge", "where"), "runs backwards", hint='write ["20 mm", "60 mm"], the nearer one first')
        elif end > last + 1e-9:
            yield Finding(("enlarge", "where"), "reaches beyond the port", f"0 to {show(last, 'mm')}")


def bends(case: Any) -> Iterator[Finding]:
    """Bends tighter than a pipe can be, or longer than the pipe they are in."""
    for table, name, length, width in _bent_pipes(case):
        laid = 0.0
        for number, bend in enumerate(getattr(table[1], name)):
            try:
                arc, radius, at = bend.arc, bend.radius, bend.at
            except (Skip, TypeError):
                continue
            key = (*table[0], name, number)
            if width is not None and radius < 0.5 * width:
                message = f"inside the pipe's own wall, which is {show(width, 'mm')} across"
                yield Finding((*key, "radius"), message, f"at least {show(0.5 * width, 'mm')}", why="of the centreline")
            laid += arc
            if length is None:
                continue
            if at is not None and at + arc > length + 1e-9:
                message = f"the bend of {show(arc, 'mm')} would end beyond the pipe of {show(length, 'mm')}"
                yield Finding((*key, "at"), message, f"up to {show(max(length - arc, 0.0), 'mm')}")
        if length is not None and laid > length * (1.0 + 1e-9):
            message = f"the bends take {show(laid, 'mm')} of a pipe of {show(length, 'mm')}"
            yield Finding((*table[0], name), message, hint="look at angles and radii again", missing=True)


def _bent_pipes(case: Any) -> Iterator[tuple[tuple[tuple[str, str], Any], str, float | None, float | None]]:
    """((place, table), key of its bends, length, bore) of every pipe that may have bends [m]."""
    runner, pipes = case.intake.runner, case.exhaust.header
    if runner is not None:
        yield (("intake", "runner"), runner), "bends", runner.length, runner.inlet_diameter
    if pipes is not None:
        shortest = min(pipes.primary_length, default=None)
        yield (("exhaust", "header"), pipes), "primary_bends", shortest, pipes.primary_diameter
        for part in ("secondary", "tail"):
            length, width = getattr(pipes, f"{part}_length"), getattr(pipes, f"{part}_diameter")
            yield (("exhaust", "header"), pipes), f"{part}_bends", length, width


def throttle_plate(case: Any) -> Iterator[Finding]:
    plate = case.intake.throttle
    if plate is None:
        return
    key = ("intake", "throttle")
    if plate.shaft_diameter >= plate.diameter:
        yield Finding((*key, "shaft_diameter"), f"fills the bore of {show(plate.diameter, 'mm')}")
    if plate.plate_angle is None:
        return
    if plate.opening != 1.0:
        yield Finding((*key, "opening"), "stands beside plate_angle", hint="give one of the two")
    if plate.plate_angle <= plate.shut_angle:
        message = f"the plate is shut at {plate.shut_angle:g} deg"
        allowed = f"above {plate.shut_angle:g} to 90 deg"
        yield Finding((*key, "plate_angle"), message, allowed, why="from square across the bore")


CHECKS = (
    station_order, station_shapes, port_as_a_whole, pair, intake_parts, runner, exhaust_parts, header, silencer, bends,
    throttle_plate, derived_port,
)  # fmt: skip
