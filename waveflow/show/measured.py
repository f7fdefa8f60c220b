"""What the measurements of a case say about each other: stations against the burette, compression with its plus or minus."""

from __future__ import annotations

import math
from pathlib import Path
from typing import Any

from waveflow.engine import compression
from waveflow.engine.reconcile import DOUBT, Reconciled, reconcile
from waveflow.engine.station_margins import port_margins
from waveflow.errors import CaseError
from waveflow.show.sizes import scaled, size, size_change, unit, with_unit
from waveflow.show.terminal import table
from waveflow.show.words import percent_change, plain

HEAD = (("at, {length}", "right"), ("measured, {area}", "right"), ("±", "right"), ("best fit", "right"), ("change", "right"),
        ("times its uncertainty", "right"), ("an error is seen from", "right"))  # fmt: skip
RULE = ("± by one rule (our choice): a size to the resolution of its instrument, a corner radius to 0.5 mm, a blocked area to "
        "10 %, a shape to 1 or 1.5 %; the run uses the stations as measured.")  # fmt: skip


def reconciled_ports(case: Any) -> dict[str, Reconciled]:
    """Side -> stations against burette [engine.reconcile.Reconciled], for every port that has both."""
    found = {}
    for side in ("intake", "exhaust"):
        port = getattr(case, side).port
        if port is not None and port.burette_volume is not None:
            straight = port.between == "linear area"
            found[side] = reconcile(port.stations, port.burette_volume, port.length, straight=straight,
                                    margins=port_margins(case, side))
    return found


def station_rows(found: Reconciled) -> list[tuple[str, ...]]:
    """One row of text for every station, in the columns of `HEAD`."""
    return [
        (f"{scaled('length', each.at):.4g}", size("area", each.measured), size("area", each.error), size("area", each.fitted),
         percent_change(each.fitted / each.measured - 1), f"{each.doubt:.1f}" + (" !" if each.doubt > DOUBT else ""),
         f"{100 * each.noticed / each.measured:.0f} %" if math.isfinite(each.noticed) else "never")
        for each in found.stations
    ]  # fmt: skip


def port_sentence(side: str, found: Reconciled) -> str:
    """Volumes, how well they fit, and what to measure again."""
    off = percent_change(found.stations_volume / found.volume - 1)
    burette = f"{size('volume', found.volume, 1)} ± {with_unit('volume', found.volume_error, 1)}"
    return (f"{side} port: the stations hold {with_unit('volume', found.stations_volume, 1)}, the burette {burette} ({off}); "
            f"chi {found.chi:.2f}: {found.advice}")  # fmt: skip


def spread_of(case: Any) -> compression.Spread | None:
    """Compression ratio with its plus or minus [engine.compression.Spread]; None where only a ratio was given.

    Margins given with the values count; for the others what a burette and a depth gauge usually repeat to.
    """
    given = case.compression
    if given.chamber is None:
        return None
    margins = {each.key: (each.high - each.low) / 2 for each in getattr(case, "uncertain", ()) if each.low is not None}
    keys = {"chamber_error": "chamber", "dish_error": "dish", "deck_error": "deck", "gasket_error": "gasket_thickness"}
    errors = {name: margins[f"compression.{key}"] for name, key in keys.items() if f"compression.{key}" in margins}
    return compression.ratio_spread(case.swept_volume, case.engine.bore, case.clearance_volume,
                                    gasket_bore=given.gasket_bore, **errors)


def compression_lines(case: Any) -> list[str]:
    """Ratio and its plus or minus, the cylinders' own ratios, and what the chamber's change against the base did."""
    spread = spread_of(case)
    if spread is None:
        return []
    parts = sorted(spread.parts.items(), key=lambda part: -part[1])
    most = ", ".join(f"{name} {value:.2f}" for name, value in parts)
    lines = [f"compression {spread.ratio:.2f} ± {spread.plus_minus:.2f} ({most})"]
    given = case.compression
    if given.chambers is not None:
        rest = case.clearance_volume - given.chamber
        ratios = [compression.ratio_from_clearance(case.swept_volume, rest + chamber) for chamber in given.chambers]
        words = ", ".join(f"{number} {ratio:.2f}" for number, ratio in enumerate(ratios, 1))
        low, high = min(ratios), max(ratios)
        # two readings differ by root two of the error of one; twice that hardly ever
        apart = 2.0 * 2.0**0.5 * spread.parts["chamber"]
        text = f"by cylinder: {words}; lowest in cylinder {ratios.index(low) + 1}, "
        text += f"highest in cylinder {ratios.index(high) + 1}, a spread of {high - low:.2f}, "
        text += f"{'within' if high - low <= apart else 'beyond'} what two burette readings "
        lines.append(f"{text}may differ by ({apart:.2f}); the run uses {spread.ratio:.2f} for all")
    base = _base(case)
    if base is not None and base.clearance_volume > 0 and abs(base.clearance_volume - case.clearance_volume) > 1e-11:
        added = case.clearance_volume - base.clearance_volume
        face = math.pi / 4 * case.engine.bore**2
        change = compression.chamber_change(base.swept_volume, base.clearance_volume, added, face)
        text = f"changed compression: {change.ratio_before:.2f} in {plain(case.base, 80)}, {change.ratio_after:.2f} here"
        text += f", {size_change('volume', added)} above the piston"
        if added > 0 and base.swept_volume == case.swept_volume:
            text += f"; a skim of {with_unit('length', change.skim, 2)} brings it back if the chamber is as wide as the bore, "
            text += "more if not"
        where = plain((Path(case.source).parent / case.base).as_posix(), 120)
        command = f'waveflow chamber {where} --added "{1e6 * added:.4g} cc" --rpm 3000,6000'
        lines.append(f"{text}; what it costs: {command}")
    return lines


def _base(case: Any) -> Any:
    from waveflow.engine.case import load

    if not case.base:
        return None
    try:
        return load(Path(case.source).parent / case.base)
    except CaseError:
        return None


def print_measured(out: Any, case: Any) -> None:
    """Tables and sentences of all this, to a console; nothing where nothing was measured twice."""
    ports = reconciled_ports(case)
    for side, found in ports.items():
        heads = [(words.format(length=unit("length"), area=unit("area")), align) for words, align in HEAD]
        out.print(table(heads, station_rows(found), f"{side} port against its burette"))
        out.print(port_sentence(side, found))
        out.print()
    if ports:
        out.print(RULE)
        out.print()
    lines = compression_lines(case)
    for line in lines:
        out.print(line)
    if lines:
        out.print()


def measured_data(case: Any) -> dict[str, Any]:
    """The same as data for JSON, SI."""
    spread = spread_of(case)
    return {
        "ports": {side: {
            "stations": [each._asdict() | {"noticed": each.noticed if math.isfinite(each.noticed) else None}
                         for each in found.stations],
            "burette_m3": found.volume, "burette_error_m3": found.volume_error, "stations_m3": found.stations_volume,
            "chi": found.chi, "freedom": found.freedom, "agrees": found.agrees, "advice": found.advice,
        } for side, found in reconciled_ports(case).items()},
        "compression": None if spread is None else spread._asdict(),
        "compression_words": compression_lines(case),
    }  # fmt: skip
