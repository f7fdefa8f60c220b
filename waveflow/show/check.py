"""What was understood of a case: tables for the terminal, and the same content as plain data."""

from __future__ import annotations

import re
import textwrap
from collections.abc import Iterator
from pathlib import Path
from typing import IO, TYPE_CHECKING, Any

from waveflow.engine.portfacts import port_facts
from waveflow.engine.provenance import counts, inputs_of
from waveflow.show.by_cylinder import OWN_HEAD, own_rows, print_own
from waveflow.show.measured import measured_data, print_measured
from waveflow.show.port_words import HEAD as PORT_HEAD
from waveflow.show.port_words import SIDES, joint_words, pinch_words, port_rows, ports_data
from waveflow.show.sizes import size, unit, with_unit
from waveflow.show.terminal import can_show, console, table, width_of
from waveflow.show.text_drawing import FINE_GLYPHS, near_cylinder, path_drawing
from waveflow.show.tract import tract_of
from waveflow.show.views import Stretch, Tract
from waveflow.show.words import MODEL_NOTE, counted, listed, percent_change, plain, span
from waveflow.study.columns import measure

if TYPE_CHECKING:
    from matplotlib.figure import Figure

Row = tuple[str, str]
MARK_WORDS = {
    "assumed": "ASSUMED, standing in for a measurement",
    "guess": "guesses, nobody measures them",
    "default": "defaults, choices and neutral values",
}


def engine_rows(case: Any) -> list[Row]:
    """(what, value) of the engine [engine.case.Case] itself."""
    engine, band = case.engine, case.range.band
    order = "-".join(str(number) for number in engine.firing_order) if engine.firing_order else ""
    rows = [
        ("cylinders", f"{engine.cylinders}" + (f", firing order {order}" if order else "")),
        ("bore, stroke, rod", f"{_mm(engine.bore)}, {_mm(engine.stroke)}, {_mm(engine.rod_length)} {unit('length')}"),
        ("displacement", with_unit("volume", case.displacement)),
        ("compression", f"ratio {case.compression.ratio:.2f}, "
                        f"{with_unit('volume', case.clearance_volume, 1)} at top dead centre"),
        ("ambient", f"{with_unit('pressure', case.ambient.pressure, 1)} absolute, "
                    f"{with_unit('temperature', case.ambient.temperature).replace('deg ', '°')}"),
        *([("charger", _charger(case))] if case.charger is not None else []),
        ("fuel", _fuel(case.fuel)),
        ("burn", _burn(case.burn)),
        ("speeds", span(case.range.from_, case.range.to) + (f", your band {span(*band)}" if band else "")
         + (f", redline {engine.redline:.0f} rpm" if engine.redline else "")),
    ]  # fmt: skip
    return rows


def _charger(case: Any) -> str:
    c = case.charger
    boost = f"{with_unit('pressure', c.boost - case.ambient.pressure, 1)} of boost"
    if c.charge_temperature is not None:
        boost += f" at {with_unit('temperature', c.charge_temperature).replace('deg ', '°')}"
    if c.kind == "exhaust ratio":
        return f"{boost}, exhaust at {c.ratio:g} times the plenum pressure"
    if c.kind == "measured exhaust pressure":
        return f"{boost}, exhaust pressure as measured at {len(c.speed)} speeds"
    short = ", less boost where it falls short" if c.if_short == "less boost" else ""
    return f"{boost}, turbine nozzle of {with_unit('area', c.turbine_area)} with a wastegate on a balanced shaft{short}"


def _fuel(fuel: Any) -> str:
    return "none" if fuel.kind == "none" else f"{fuel.kind.replace('_', ' ')}, lambda {fuel.lambda_:g}"


def _mm(value: float) -> str:
    shown, label, digits = measure("length", value)
    return f"{shown:.4g}" if label == "mm" else f"{shown:.{digits}f}"


def _burn(burn: Any) -> str:
    if burn.kind == "motored":
        return "none (motored)"
    if burn.kind == "wiebe":
        return f"half burned {burn.ca50:g}° after top dead centre, 10 to 90 % in {burn.duration_10_90:g}°, Wiebe normalised"
    if burn.kind == "wiebe_direct":
        return f"Wiebe from {burn.start:g}° over {burn.duration:g}°" + (", normalised" if burn.normalised else "")
    return f"measured, {len(burn.angle)} points"


def valve_rows(case: Any) -> list[tuple[str, str, str]]:
    """(what, intake, exhaust) of the valves, their cams and their flow."""
    from waveflow.engine.valves import lift_of

    columns = []
    for name in ("intake", "exhaust"):
        side = getattr(case, name)
        lift = lift_of(side.cam, name)
        columns.append([
            f"{side.valve.count} x {_mm(side.valve.head_diameter)} {unit('length')}",
            f"{_mm(lift.max_lift)} {unit('length')} at {lift.max_lift_angle:.0f}°",
            f"{lift.open_angle():.0f}° to {lift.close_angle():.0f}°",
            {"card": "cam card", "table": "lift table"}.get(side.cam.kind, "sine squared"),
            _flow(side.flow),
        ])  # fmt: skip
    names = ("number, head", "full lift", "open", "cam given as", "valve flow")
    return list(zip(names, *columns, strict=True))


def _flow(flow: Any) -> str:
    if flow.kind == "stock":
        return "ASSUMED: coefficient of the measured valve"
    if flow.kind == "sheet":
        depression, label, _ = measure("pressure_difference", flow.depression)
        return f"sheet, {len(flow.lift)} lifts at {depression:.3g} {label}, on {flow.reference_area}, {flow.coefficient_of}"
    return f"coefficients at {len(flow.coefficient)} lifts, on {flow.reference_area}"


def path_rows(tract: Tract) -> Iterator[tuple[str, ...]]:
    """(side, part, length, area, volume, remark) of every part of the gas path, in flow order."""
    for side in ("intake", "exhaust"):
        for stretch in getattr(tract, side):
            name = plain(stretch.name, 24) + (f" x{stretch.count}" if stretch.count > 1 else "")
            yield side, name, *_sizes(stretch)


def _sizes(stretch: Stretch) -> tuple[str, str, str, str]:
    if stretch.kind == "volume":
        return "", "", size("volume", stretch.content), stretch.note
    length = "" if stretch.kind == "throttle" else size("length", stretch.length)
    ends = [size("area", float(area)) for area in (stretch.area[0], stretch.area[-1])]
    area = ends[0] if ends[0] == ends[1] else f"{ends[0]} to {ends[1]}"
    notes = [stretch.note] if stretch.note else []
    if stretch.stations:
        least = min(stretch.stations, key=lambda mark: mark.area)
        place = f" ({plain(least.note, 20)})" if least.note else ""
        notes.insert(0, f"smallest {size('area', least.area)} at {with_unit('length', least.at)}{place}")
    content = "" if stretch.kind == "throttle" else size("volume", stretch.content, 1)
    return length, area, content, ", ".join(notes)


def print_check(case: Any, stream: IO[str] | None = None) -> None:
    """Everything that was understood of a case, to a stream (standard output): what it is, then what was filled in."""
    from waveflow.engine.case import defaults_and_guesses
    from waveflow.study.compare import LEAVES_OUT

    out = console(stream)
    tract = tract_of(case)
    option = f", option {plain(case.option, 40).replace('_', ' ')}" if case.option else ""
    out.print(f"{plain(case.name, 80)}{option}", style="bold")
    if case.note:
        out.print(plain(case.note, 1000))
    out.print(f"from {plain(case.source, 200)}" + (f", a difference to {plain(case.base, 200)}" if case.base else ""))
    out.print()
    out.print(table((("engine", "left"), ("", "left")), engine_rows(case)))
    out.print()
    out.print(table((("valves", "left"), ("intake", "left"), ("exhaust", "left")), valve_rows(case)))
    out.print()
    head = (("gas path", "left"), ("part", "left"), (f"length, {unit('length')}", "right"),
            (f"area, {unit('area')}", "right"), (unit("volume"), "right"))  # fmt: skip
    out.print(table((*head, ("", "left")), list(path_rows(tract))))
    out.print()
    fine, width = can_show(FINE_GLYPHS, out.file), width_of(out.file)
    near = near_cylinder(tract)
    longer = len(tract.intake) + len(tract.exhaust) > len(near.intake) + len(near.exhaust)
    for drawn in (tract, near) if longer else (tract,):
        for line in path_drawing(drawn, width, 6, fine):
            out.print(line, overflow="crop", no_wrap=True)
        out.print()
    rows = port_rows(case)
    if rows:
        out.print(table(PORT_HEAD, rows))
        out.print()
    print_measured(out, case)
    print_own(out, case)
    _print_derived(out, case)
    _print_warnings(out, case)
    out.print(inputs_line(case))
    for line in given_lines(case.uncertain, width):
        out.print(line, overflow="crop", no_wrap=True)
    for line in filled_lines(defaults_and_guesses(case), width):
        out.print(line, overflow="crop", no_wrap=True)
    out.print()
    out.print(MODEL_NOTE)
    out.print(LEAVES_OUT)


def inputs_line(case: Any) -> str:
    """How many inputs a case has and where they come from, the least certain first."""
    words = {"assumed": "assumed", "guess": "guessed", "given": "given without saying where from", "default": "by default",
             "card": "from a sheet or card", "measured": "measured"}  # fmt: skip
    inputs = inputs_of(case)
    parts = ", ".join(f"{count} {words[mark]}" for mark, count in counts(inputs).items())
    return f"{counted(len(inputs), 'input')}: {parts}; [marks] says where a value comes from"


def given_lines(given: Any, width: int) -> list[str]:
    """Given values with a margin or a mark [engine.uncertain.Uncertain] as lines, guesses first."""
    lines = [f"{counted(len(given), 'value')} given with a margin or a mark, the least certain first"] if given else []
    for each in given:
        text = plain(str(each), 300)
        indent = {"initial_indent": "    ", "subsequent_indent": "        "}
        lines += textwrap.wrap(text, width, break_on_hyphens=False, **indent)
    return lines


def filled_lines(filled: Any, width: int) -> list[str]:
    """Filled-in values [engine.assumptions.Assumption] as lines at most `width` [characters] wide, grouped by mark.

    Values that are alike at several stations share a line: "stations[0-7]".
    """
    groups: dict[str, dict[tuple[str, str], list[int]]] = {}
    for each in filled:
        place = re.search(r"\[(\d+)\]", each.key)
        key = each.key if place is None else each.key[: place.start()] + "[*]" + each.key[place.end() :]
        likely = f", likely {each.range_text}" if each.range_text else ""
        row = (plain(key, 120), plain(f"= {each.value_text}{likely}" + (f" ({each.why})" if each.why else ""), 300))
        groups.setdefault(each.mark, {}).setdefault(row, []).append(int(place[1]) if place else -1)
    lines = [f"{counted(len(filled), 'value')} nobody gave, the least certain first"] if filled else []
    for mark, rows in groups.items():
        lines.append(f"  {MARK_WORDS.get(mark, mark)}")
        for (key, rest), places in rows.items():
            text = key.replace("*", _in_short(places)) + " " + rest
            indent = {"initial_indent": "    ", "subsequent_indent": "        "}
            lines += textwrap.wrap(text, width, break_on_hyphens=False, **indent)
    return lines


def _in_short(places: list[int]) -> str:
    """Whole numbers as "0-3,5"."""
    runs: list[list[int]] = []
    for place in places:
        if runs and place == runs[-1][1] + 1:
            runs[-1][1] = place
        else:
            runs.append([place, place])
    return ",".join(f"{low}" if low == high else f"{low}-{high}" for low, high in runs)


def derived_rows(case: Any) -> list[tuple[str, str, str, str]]:
    """(place, net area before, after, change) of every station of a derived port; empty where none is derived."""
    if case.derived is None:
        return []
    rows = []
    for each in case.derived.changes:
        after = size("area", each.area_after) + (" (station added)" if each.added else "")
        change = percent_change(each.area_after / each.area_before - 1)
        rows.append((size("length", each.at, 1), size("area", each.area_before), after, change))
    return rows


def _print_derived(out: Any, case: Any) -> None:
    rows, made = derived_rows(case), case.derived
    if not rows:
        return
    title = f"derived {case.enlarge.side} port: {size('volume', made.volume_before, 1)} to "
    title += with_unit("volume", made.volume_after, 1)
    head = ((f"at, {unit('length')}", "right"), (f"{unit('area')} before", "right"), (f"{unit('area')} after", "right"),
            ("change", "right"))  # fmt: skip
    out.print(table(head, rows, title))
    for warning in made.warnings:
        out.print(f"  {plain(warning, 400)}")
    out.print()


def _print_warnings(out: Any, case: Any) -> None:
    if not case.warnings:
        return
    out.print(counted(len(case.warnings), "warning"), style="bold")
    for warning in case.warnings:
        out.print(f"  {plain(warning, 600)}")
    out.print()


def check_data(case: Any) -> dict[str, Any]:
    """The same content as ``print_check`` as data for JSON: texts as shown, numbers in SI."""
    from dataclasses import asdict

    from waveflow.engine.case import defaults_and_guesses
    from waveflow.study.compare import LEAVES_OUT

    tract = tract_of(case)
    return {
        "format": 1,
        "ok": True,
        "name": case.name,
        "option": case.option,
        "source": case.source,
        "digest": case.digest,
        "engine": dict(engine_rows(case)),
        "valves": {what: {"intake": intake, "exhaust": exhaust} for what, intake, exhaust in valve_rows(case)},
        "path": [_part_data(side, part) for side in ("intake", "exhaust") for part in getattr(tract, side)],
        "ports": ports_data(case),
        "measured": measured_data(case),
        "own_cylinders": [dict(zip(OWN_HEAD, row, strict=True)) for row in own_rows(case)],
        "warnings": [str(warning) for warning in case.warnings],
        "given": [asdict(each) for each in case.uncertain],
        "inputs": [each._asdict() for each in inputs_of(case)],
        "filled_in": [asdict(each) for each in defaults_and_guesses(case)],
        "note": MODEL_NOTE,
        "leaves_out": LEAVES_OUT,
    }


def _part_data(side: str, part: Stretch) -> dict[str, Any]:
    return {
        "side": side,
        "name": part.name,
        "kind": part.kind,
        "count": part.count,
        "length_m": None if part.kind in ("volume", "throttle") else part.length,
        "area_start_m2": None if part.kind == "volume" else float(part.area[0]),
        "area_end_m2": None if part.kind == "volume" else float(part.area[-1]),
        "volume_m3": part.content,
        "stations": [{"at_m": mark.at, "area_m2": mark.area, "note": mark.note} for mark in part.stations],
    }


def check_figure(case: Any) -> Figure:
    """The drawing [matplotlib Figure] of a case's whole gas path with its stations."""
    from waveflow.show.tract_figure import tract_figure

    tract = tract_of(case)
    option = f", {case.option.replace('_', ' ')}" if case.option else ""
    notes = [f"ASSUMED: {each}" for each in case.assumptions if each.mark == "assumed"]
    notes += [f"From {Path(case.source).name}. {counted(len(case.assumptions), 'value')} filled in, "
             f"{counted(len(case.warnings), 'warning')}: see waveflow check.{_whose(case)}"]  # fmt: skip
    notes += [_port_note(case, tract, name) for name in SIDES if tract.find(name, "port") is not None]
    return tract_figure(tract, f"{case.name}{option}", tuple(notes))


def _whose(case: Any) -> str:
    """That the drawing is of the common path where cylinders differ, and whether the data are invented; else nothing."""
    apart = sorted({int(row[0]) for row in own_rows(case) if row[1] != "nothing differs"})
    names = listed([f"{number_}" for number_ in apart])
    told = f" Drawn as common to all; parts of their own: cylinder{'s' * (len(apart) > 1)} {names}." if apart else ""
    return told + (" Invented demo data." if "INVENTED" in case.note else "")


def _port_note(case: Any, tract: Tract, side: str) -> str:
    """Volume against the burette, pinch, throat, taper and steps of one port in a line."""
    port, drawn, facts = getattr(case, side).port, tract.find(side, "port"), port_facts(case, side)
    volume = f"{with_unit('volume', drawn.content, 1)} from the stations"
    if port.burette_volume:
        off = percent_change(drawn.content / port.burette_volume - 1)
        volume += f", {with_unit('volume', port.burette_volume, 1)} by burette ({off})"
    parts = [volume, f"pinch {pinch_words(facts)}"] + [f"{joint.name} {joint_words(joint)}" for joint in facts.joints[-1:]]
    return f"{side.capitalize()} port: {'; '.join(parts)}."
