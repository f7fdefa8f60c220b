"""``python -m benchmarks [parts] [--quick] [--write]``: run the suite and print a dated table."""

from __future__ import annotations

import argparse
import json
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

from rich.console import Console

from benchmarks import accuracy, frontier, kernel, machine, report, roofline, scale, start, sweep

RESULTS = Path(__file__).with_name("results")
PARTS = ("kernel", "roofline", "accuracy", "start", "sweep", "scale", "frontier", "matrix")


def arguments() -> argparse.Namespace:
    """The command line."""
    parser = argparse.ArgumentParser(prog="python -m benchmarks", description=__doc__)
    parser.add_argument("parts", nargs="*", metavar="part", help=f"of {', '.join(PARTS)} (all; quick: not the last three)")
    parser.add_argument("--quick", action="store_true", help="about two minutes: fewer rounds and speeds")
    parser.add_argument("--write", action="store_true", help="keep the figures in benchmarks/results")
    asked = parser.parse_args()
    if unknown := set(asked.parts) - set(PARTS):
        parser.error(f"no such part: {', '.join(sorted(unknown))}")
    return asked


def main() -> int:
    """Run the parts asked for, print their tables, keep them where asked."""
    asked = arguments()
    quick = asked.quick
    parts = asked.parts or [part for part in PARTS if not (quick and part in ("scale", "frontier", "matrix"))]
    jobs: dict[str, Callable[[], dict[str, Any]]] = {
        "kernel": lambda: kernel.measure(rounds=7 if quick else 15, updates=200_000 if quick else 500_000),
        "roofline": lambda: roofline.measure(rounds=5),
        "accuracy": lambda: accuracy.measure(rounds=5 if quick else 9, full=not quick),
        "start": lambda: start.measure(rounds=3 if quick else 7),
        "sweep": lambda: sweep.measure(full=not quick),
        "scale": scale.measure,
        "frontier": frontier.measure,
        "matrix": sweep.matrix,
    }
    console = Console()
    about = machine.describe()
    console.print(machine.one_line(about), highlight=False)
    begun = time.monotonic()
    made: dict[str, Any] = {}
    for part in PARTS:
        if part not in parts:
            continue
        made[part] = jobs[part]()
        for table in report.tables(part, made[part]):
            console.print(table)
        if asked.write:
            keep(part, made[part], about, "quick" if quick else "full")
    console.print(f"{time.monotonic() - begun:.0f} s in all", highlight=False)
    return 0


def keep(part: str, result: dict[str, Any], about: dict[str, str], form: str) -> None:
    """Write one part's figures with the machine they were measured on."""
    RESULTS.mkdir(exist_ok=True)
    content = {"machine": about, "form": form, part: result}
    (RESULTS / f"{part}.json").write_text(json.dumps(content, indent=1) + "\n", encoding="utf-8")
    if part == "matrix":
        (RESULTS / "matrix.csv").write_text(sweep.matrix_csv(result, machine.one_line(about)), encoding="utf-8")


if __name__ == "__main__":
    sys.exit(main())
