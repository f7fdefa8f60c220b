"""`waveflow chamber`: what laying back the chamber walls does to the ratio, and what that costs or gains."""

from __future__ import annotations

import os
import sys
from pathlib import Path

import click

from waveflow.show.endings import Refused
from waveflow.show.new import NEW_CELL, speeds_of
from waveflow.show.terminal import say_if_cold

WALLS = ("Water, the plug's thread and the gasket's fire ring lie behind and beside chamber walls: measure their thickness "
         "before grinding, and wear eye, ear and breathing protection.")  # fmt: skip


@click.command(short_help="What laying back the chamber does.")
@click.argument("file", type=click.Path(path_type=Path))
@click.option("--added", required=True, metavar="VOLUME", help='Volume ground out of one chamber: "1.8 cc"; minus fills it.')
@click.option("--rpm", required=True, metavar="SPEEDS", help="One speed or a few: 3000,6000.")
@click.option("--flow", metavar="SHARE", help='Gain of intake flow that goes with it, such as "2 %"; none by default.')
@click.option("--cell", default=NEW_CELL, show_default=True, metavar="LENGTH", help="Cells of the pipes; coarse is quick.")
@click.option("--workers", type=click.IntRange(1, 256), metavar="COUNT", help="Runs at once; one a core by default.")
@click.option("--json", "as_json", is_flag=True, help="Write one JSON document instead of a table; errors too.")
@click.option("--quiet", "-q", is_flag=True, help="No progress and no remarks on standard error.")
def chamber(file: Path, added: str, rpm: str, flow: str | None, cell: str, workers: int | None, as_json: bool,
            quiet: bool) -> None:  # fmt: skip
    """Run a case FILE as it is, with the chamber changed, and with the flow that it gains: ratio, torque and filling."""
    from waveflow import units
    from waveflow.engine.case import load

    speeds = speeds_of(rpm)
    volume = _read("--added", added, "volume", 'write a volume such as "1.8 cc"')
    gain = 0.0 if flow is None else _read("--flow", flow, "fraction", 'write a share such as "2 %"')
    if abs(gain) > 0.5:
        raise Refused(f'--flow "{flow}": allowed -50 to 50 %')
    case = load(os.fspath(file)).changed({"run.cell": cell})
    say_if_cold(quiet)
    from waveflow.study.chamber import chamber_study

    try:
        made = chamber_study(case, volume, speeds, flow=gain, cell=units.parse(cell, "length"), workers=workers)
    except ValueError as error:
        raise Refused(f'--added "{added}": {error}') from None
    if as_json:
        from dataclasses import asdict

        from waveflow.show.deliver import print_json

        print_json({**asdict(made), "change": made.change._asdict(), "sentence": made.sentence, "ok": True}, sys.stdout)
        return
    _print(made)


def _read(option: str, text: str, kind: str, hint: str) -> float:
    from waveflow import units

    try:
        return units.parse(text, kind)
    except units.UnitError as error:
        raise Refused(f'{option} "{text}": {error.message}; {error.hint or hint}') from None


def _print(made) -> None:
    from waveflow.show.terminal import console, table
    from waveflow.show.words import percent_change

    out = console(None)
    heads = [("rpm", "right"), ("torque, N m", "right"), ("chamber alone", "right"), ("VE, %", "right"),
             ("chamber alone", "right")]  # fmt: skip
    if made.both:
        heads += [("torque with flow", "right"), ("VE with flow", "right")]
    rows = []
    for number, speed in enumerate(made.rpm):
        torque, filling = made.before[number]
        row = [f"{speed:g}", f"{torque:.1f}", percent_change(made.share("chamber", number)), f"{100 * filling:.1f}",
               percent_change(made.share("chamber", number, 1))]  # fmt: skip
        if made.both:
            row += [percent_change(made.share("both", number)), percent_change(made.share("both", number, 1))]
        rows.append(tuple(row))
    title = f"{made.case_name}: ratio {made.change.ratio_before:.2f} to {made.change.ratio_after:.2f}"
    out.print(table(tuple(heads), rows, title))
    out.print(made.sentence)
    out.print("Burn and spark are held: whether the old ratio knocked, or the new one wants more advance, is not computed.")
    if made.change.added > 0.0:
        out.print(WALLS)
