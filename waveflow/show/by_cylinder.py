"""Tables that name cylinders: what one has of its own, and how each of them fills and pulls."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from waveflow.show.sizes import size, unit
from waveflow.show.words import counted, listed, number, percent, percent_change, plain
from waveflow.study.columns import shown, unit_shown

OWN_HEAD = ("cylinder", "what", "here", "in the others", "change")
_VE, _TORQUE = "volumetric_efficiency", "torque"
REPEATS = 0.01
"""Difference of a reading from which a port is called low (our choice; benches are said to repeat to 0.5 to 1 %)."""
SAME_AREA = 0.002  # difference of area below which a station is as the others'
OWN = "*"  # behind the number of a cylinder with parts of its own


def own_rows(case: Any) -> list[tuple[str, ...]]:
    """Rows (cylinder, what, here, in the others, change) of everything in which a cylinder of a case differs."""
    from waveflow.engine.percylinder import of_cylinder

    rows: list[tuple[str, ...]] = []
    for entry in sorted(case.cylinder, key=lambda each: each.number):
        own = of_cylinder(case, entry.number - 1)
        found: list[tuple[str, ...]] = []
        for side in ("intake", "exhaust"):
            here, there = getattr(own, side), getattr(case, side)
            given = getattr(getattr(entry, side), "readings", None)
            found += _port_rows(side, here.port, there.port)
            found += _flow_rows(side, here.flow, there.flow, given.lift if given is not None else None)
        found += _length_rows(own, case, entry.number - 1)
        rows += [(f"{entry.number}", *row) for row in found] or [(f"{entry.number}", "nothing differs", "", "", "")]
    return rows


def _port_rows(side: str, here: Any, there: Any) -> list[tuple[str, ...]]:
    from waveflow.engine.section import net_area

    if here is there or here is None:
        return []
    rows = []
    known = {round(s.at, 5): net_area(s) for s in there.stations}
    for station in here.stations:
        area, other = net_area(station), known.get(round(station.at, 5))
        if other is None or abs(area / other - 1.0) > 5e-5:
            rows.append(_row(f"{side} area at {size('length', station.at, 0)} {unit('length')}", "area", area, other, 0))
    for name, kind, digits in (("roughness", "length", 3), ("burette_volume", "volume", 1), ("length", "length", 1)):
        one, other = getattr(here, name), getattr(there, name)
        if one is not None and one != other:
            rows.append(_row(f"{side} port {name.replace('_', ' ')}", kind, one, other, digits))
    if here.wall_temperature != there.wall_temperature:
        rows.append(_row(f"{side} port wall", "temperature", here.wall_temperature, there.wall_temperature, 0))
    return rows


def _flow_rows(side: str, here: Any, there: Any, lifts: Any = None) -> list[tuple[str, ...]]:
    if here == there:
        return []
    if here.kind != "sheet" or there.kind != "sheet":
        return [(f"{side} flow", here.kind, there.kind, "")]
    rows = []
    for lift in lifts or here.lift:
        flow = float(np.interp(lift, here.lift, here.flow))
        other = float(np.interp(lift, there.lift, there.flow)) if there.lift[0] <= lift <= there.lift[-1] else None
        if other is None or abs(flow / other - 1.0) > 5e-5:
            rows.append(_row(f"{side} flow at {size('length', lift, 1)} {unit('length')}", "volume_flow", flow, other, 1))
    return rows


def _length_rows(own: Any, case: Any, k: int) -> list[tuple[str, ...]]:
    rows = []
    if own.intake.runner is not None and own.intake.runner != case.intake.runner:
        for name, kind in (("length", "length"), ("inlet_diameter", "length"), ("outlet_area", "area"),
                           ("blend_length", "length")):  # fmt: skip
            here, there = getattr(own.intake.runner, name), getattr(case.intake.runner, name)
            if here != there:
                rows.append(_row(f"runner {name.replace('_', ' ')}", kind, here, there, 1))
    if own.exhaust.header is not None:
        here, there = own.exhaust.header.primary_length[k], case.exhaust.header.primary_length[k]
        if here != there:
            rows.append(_row("primary length", "length", here, there, 1))
    return rows


def _row(what: str, kind: str, here: float, there: float | None, digits: int) -> tuple[str, ...]:
    change = "" if there is None or not there or kind == "temperature" else percent_change(here / there - 1)
    return f"{what}, {unit(kind)}", size(kind, here, digits), "" if there is None else size(kind, there, digits), change


def print_own(out: Any, case: Any) -> None:
    """The table of what is its own in each cylinder, to a console; nothing where all are alike."""
    from waveflow.show.terminal import table

    if not case.cylinder:
        return
    count = counted(len(case.cylinder), "cylinder")
    align = ("left", "left", "right", "right", "right")
    out.print(table(tuple(zip(OWN_HEAD, align, strict=True)), own_rows(case), f"{count} with parts of their own"))
    for sentence in bench_sentences(case):
        out.print(plain(sentence, 400))
    out.print()


def bench_sentences(case: Any) -> list[str]:
    """Which cylinder reads low on the bench, by how much and where its port differs, before anything is run."""
    told = []
    for side in ("intake", "exhaust"):
        ratios = {entry.number: _ratios(case, entry, side) for entry in case.cylinder}
        least = {number_: min(found) for number_, found in ratios.items() if found}
        low = sorted((found, number_) for number_, found in least.items() if found[0] < -REPEATS)
        for (change, lift), number_ in low:
            text = f"Cylinder {number_} reads low on the {side} side: {percent_change(change)} at "
            text += f"{size('length', lift, 1)} {unit('length')} against the sheet"
            told.append(text + _where_it_differs(case, number_, side) + ".")
        even = [number_ for number_ in sorted(least) if number_ not in [each for _, each in low]]
        if even:
            most = max(abs(change) for number_ in even for change, _ in ratios[number_])
            names = listed([f"{number_}" for number_ in even])
            told.append(f"The {side} readings of {'cylinders' if len(even) > 1 else 'cylinder'} {names} lie within "
                        f"{100 * most:.1f} % of the sheet; a bench repeats to 0.5 to {100 * REPEATS:.0f} % (common practice, "
                        "no source).")  # fmt: skip
    return told


def _ratios(case: Any, entry: Any, side: str) -> list[tuple[float, float]]:
    """(change against the common sheet, lift [m]) of every reading of one cylinder's own port."""
    given, common = getattr(getattr(entry, side), "readings", None), getattr(case, side).flow
    if given is None or common.kind != "sheet":
        return []
    sheet = np.interp(given.lift, common.lift, common.flow)
    return [(float(flow / other - 1.0), lift) for lift, flow, other in zip(given.lift, given.flow, sheet, strict=True)]


def _where_it_differs(case: Any, number_: int, side: str) -> str:
    """The station of a cylinder's port whose area differs most from the common one, in words; empty where none does."""
    from waveflow.engine.percylinder import of_cylinder
    from waveflow.engine.section import net_area

    own, there = getattr(of_cylinder(case, number_ - 1), side).port, getattr(case, side).port
    if own is None or own is there:
        return ""
    known = {round(s.at, 5): net_area(s) for s in there.stations}
    changes = [(net_area(s) / known[round(s.at, 5)] - 1.0, s.at) for s in own.stations if round(s.at, 5) in known]
    change, at = max(changes, key=lambda each: abs(each[0]), default=(0.0, 0.0))
    if abs(change) < SAME_AREA:
        return ""
    return f"; the station that differs most stands at {size('length', at)} {unit('length')}, {percent_change(change)} of area"


def cylinder_names(count: int, own: Any) -> list[str]:
    """Headings of cylinders, those with parts of their own marked."""
    return [f"cylinder {k + 1}{OWN if own.get(k + 1) else ''}" for k in range(count)]


def own_words(own: Any) -> list[str]:
    """A sentence on what the mark behind a cylinder's number means; nothing where none is marked."""
    pieces = [f"{number_}: {', '.join(parts)}" for number_, parts in sorted(own.items()) if parts]
    return [f"{OWN} parts of its own: {'; '.join(pieces)}."] if pieces else []


def sweep_rows(result: Any, speeds: Sequence[float], own: Any) -> tuple[list[tuple[str, str]], list[list[str]]]:
    """Headings and rows of filling and torque of each cylinder at some of the speeds [rpm] of a sweep."""
    count = result.per_cylinder[_VE].shape[1]
    marks = [f"{k + 1}{OWN if own.get(k + 1) else ''}" for k in range(count)]
    heads = [("rpm", "right"), *((f"VE {mark}", "right") for mark in marks),
             *((f"{unit_shown(_TORQUE)} {mark}", "right") for mark in marks)]  # fmt: skip
    pull = result.per_cylinder.get(_TORQUE, np.full((len(result.rpm), count), np.nan))
    rows = []
    for index, rpm in enumerate(result.rpm):
        if rpm not in speeds:
            continue
        torque, _, digits = shown(_TORQUE, pull[index])
        rows.append([f"{rpm:.0f}", *(percent(float(v)) for v in result.per_cylinder[_VE][index]),
                     *(number(float(v), max(digits - 1, 0)) for v in torque)])  # fmt: skip
    return heads, rows


def comparison_rows(comparison: Any) -> tuple[list[tuple[str, str]], list[list[str]]]:
    """Headings and rows of the mean change of filling and torque of each cylinder against the first option."""
    from waveflow.study.uneven import changes, own_of

    first = comparison.results[0]
    rows, count = [], 0
    for option in comparison.options[1:]:
        own = own_of(option.result)
        if not own and not own_of(first):
            continue
        for name, words in ((_VE, "VE"), (_TORQUE, "torque")):
            found = changes(option.result, first, comparison.band, name)
            if found:
                count = len(found)
                cells = [percent_change(each.mean) + (OWN if own.get(each.cylinder) else "") for each in found]
                rows.append([f"{option.label}, mean {words}", *cells])
    return [("", "key"), *((f"cylinder {k + 1}", "right") for k in range(count))], rows
