"""`waveflow spread`: what all doubts of a case come to together."""

from __future__ import annotations

import os
import sys
from pathlib import Path
from typing import Any

import click

from waveflow.show.endings import Refused
from waveflow.show.fanout import cost_of, fan_out
from waveflow.show.new import NEW_CELL, speeds_of
from waveflow.show.terminal import say, say_if_cold

SAMPLES = "finished-samples.jsonl"
FEW = 40
"""Below this fewer than two samples lie beyond 5 % and beyond 95 %."""


@click.command(short_help="What all uncertain values do together.")
@click.argument("file", type=click.Path(path_type=Path))
@click.option("--rpm", required=True, metavar="SPEEDS", help="One speed or a few: 3000,6000.")
@click.option("--samples", type=click.IntRange(2, 100_000), default=200, show_default=True, help="Drawn cases.")
@click.option("--cell", default=NEW_CELL, show_default=True, metavar="LENGTH", help="Cells of the pipes; coarse is quick.")
@click.option("--seed", type=click.IntRange(0, 2**32 - 1), default=1, show_default=True, help="Another one draws other cases.")
@click.option("--out", type=click.Path(path_type=Path, file_okay=False), default=None,
              help="Folder that keeps every finished sample; by default a new one below waveflow-results.")  # fmt: skip
@click.option("--resume", is_flag=True, help="Go on from the finished samples an interrupted run has kept.")
@fan_out
@click.option("--json", "as_json", is_flag=True, help="Write one JSON document instead of a table; errors too.")
@click.option("--quiet", "-q", is_flag=True, help="No progress and no remarks on standard error.")
def spread(file: Path, rpm: str, samples: int, cell: str, seed: int, out: Path | None, resume: bool, workers: Any,
           as_json: bool, quiet: bool) -> None:  # fmt: skip
    """Draw every uncertain value of a case FILE at once, again and again: the spread of torque and filling."""
    from waveflow import units
    from waveflow.engine.case import load
    from waveflow.study.writing import StoreError, make_folder, write_atomic

    speeds = speeds_of(rpm)
    case = load(os.fspath(file)).changed({"run.cell": cell})
    size = units.parse(cell, "length")
    folder = out or Path("waveflow-results") / f"{file.stem}-spread"
    try:
        make_folder(folder)
        if not resume or not (folder / SAMPLES).exists():
            write_atomic(folder / SAMPLES, b"")
    except StoreError as error:
        raise Refused(str(error)) from error
    told = cost_of([case], speeds, len(speeds) * (samples + 1), workers, folder, size, built=samples)
    from waveflow.study import samples as study

    if not quiet:
        say(" ".join(part for part in (f"{samples} samples at {len(speeds)} speed{'s' * (len(speeds) != 1)}.", told) if part))
        say_if_cold()

    def progress(done: int, total: int) -> None:
        if not quiet and (done == total or done % max(1, total // 10) == 0):
            say(f"{done} of {total} samples")

    try:
        made = study.spread(case, speeds, samples, cell=size, seed=seed, workers=workers, progress=progress,
                            resume=folder / SAMPLES)  # fmt: skip
    except ValueError as error:
        raise Refused(f"{file}: {error}") from None
    except KeyboardInterrupt:
        say(f"Stopped; finished samples are kept in {folder / SAMPLES}: the same command with --resume goes on from them.")
        raise
    if as_json:
        from waveflow.show.deliver import print_json

        data = {"samples": made.samples, "values": made.values, "failed": made.failed, "reasons": list(made.reasons),
                "unsettled": made.unsettled, "rpm": list(made.rpm), "cell": made.cell, "shares_percent": list(study.SHARES),
                "names": list(study.WATCHED), "base": made.base.tolist(), "mean": made.mean.tolist(),
                "below": made.shares.tolist(), "sentence": made.sentence, "ok": True}  # fmt: skip
        print_json(data, sys.stdout)
        return
    _print(made, study.SHARES)


def _print(made: Any, shares: tuple[float, ...]) -> None:
    from waveflow.show.terminal import console, table

    out = console(None)
    heads = (("", "left"), ("rpm", "right"), ("as it stands", "right"), ("mean", "right"),
             *((f"{share:.0f} %", "right") for share in shares))  # fmt: skip
    rows = []
    for row, (name, factor, digits) in enumerate((("torque [N m]", 1.0, 1), ("VE [%]", 100.0, 2))):
        for k, rpm in enumerate(made.rpm):
            numbers = (made.base[row, k], made.mean[row, k], *made.shares[row, k])
            rows.append((name, f"{rpm:g}", *(f"{factor * number:.{digits}f}" for number in numbers)))
    title = f"{made.samples} samples of {made.values} uncertain values drawn at once; x % of them lie below"
    out.print(table(heads, rows, title))
    if made.failed:
        out.print(f"{made.failed} samples gave no number, such as: {'; '.join(made.reasons)}")
    if made.unsettled:
        out.print(f"{made.unsettled} samples did not come to repeat themselves; their numbers are rough.")
    if made.samples < FEW:
        out.print(f"{made.samples} samples are few: 5 % and 95 % are hardly more than the lowest and the highest of them; take "
                  f"{FEW} or more.")  # fmt: skip
    out.print(made.sentence)
