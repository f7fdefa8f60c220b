"""What a whole torque curve costs, and whether every option of the demo engine runs at every speed.

Costs are CPU seconds of `waveflow.sweep` on one thread over an explicit list of speeds, and the same in units of W, the
CPU time the best C build needs for 1e7 cell updates at 200 cells: a machine's speed cancels.
"""

from __future__ import annotations

import csv
import io
import time
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

import numpy as np

import waveflow
from benchmarks.clock import Side, interleaved, median_ratio
from benchmarks.kernel import CFL, WALL_EVERY, pipe
from benchmarks.twin import WIDTHS, Twin, compiler
from waveflow.study.cycle import run_point

CASES = Path(__file__).resolve().parent.parent / "cases"
SPEEDS = tuple(float(round(speed)) for speed in np.linspace(1500.0, 7500.0, 20))
FOUR, SINGLE = "n155", "starter"
GRID = "quick"
"""Cells and cycles that keep VE within 0.2 % of its limit at every speed (see `frontier`)."""
LEVELS = ("as cast", "pocket", "street", "race")
CAMS = ("road", "long")
MATRIX_STEP = 500


def case_file(level: str, cam: str) -> Path:
    """The demo case of a port level with a cam."""
    parts = ["n155"] + ([] if level == "as cast" else [level]) + ([] if cam == "road" else ["long_cam"])
    return CASES / ("_".join(parts) + ".toml")


def cost(name: str, speeds: Sequence[float] = SPEEDS, rounds: int = 5) -> dict[str, Any]:
    """CPU seconds and W, cycles, steps and cell updates of a sweep of one case, medians of interleaved rounds."""
    case = waveflow.load(CASES / f"{name}.toml", {"run.grid": GRID})
    run_point(case, 3000.0, max_cycles=1)  # load the compiled code first
    points: dict[float, dict[str, float]] = {}

    def timed(case: Any, rpm: float, **more: Any) -> Any:
        start = time.thread_time()
        point = run_point(case, rpm, **more)
        points[rpm] = {
            "cpu": time.thread_time() - start,
            "cycles": point.cycles,
            "converged": bool(point.converged),
            "updates": point.checks["steps"] * point.checks["cells"],
        }
        return point

    def whole() -> float:
        curve = waveflow.sweep(case, rpm=list(speeds), workers=1, run_point=timed)
        if curve.failed:
            raise RuntimeError(f"{name}: {curve.failed}")
        return 1.0

    sides: dict[str, Side] = {"curve": lambda: whole}
    if compiler() is not None:
        sides |= {f"C {width}": work(Twin(width)) for width in WIDTHS}
    times = interleaved(sides, rounds)
    best = min((side for side in times if side != "curve"), key=lambda side: float(np.median(times[side])), default=None)
    total = float(np.median(times["curve"]))
    scale = len(SPEEDS) / len(speeds)
    updates = sum(point["updates"] for point in points.values())
    return {
        "speeds": list(speeds),
        "rounds": rounds,
        "cpu": total,
        "of 20 speeds": len(speeds) == len(SPEEDS),
        "cpu for 20": total * scale,
        "W": 1e7 * float(np.median(times[best])) if best else None,
        "W for 20": 1e-7 * median_ratio(times["curve"], times[best]) * scale if best else None,
        "updates": updates,
        "updates a second": updates / total,
        "cycles": sum(point["cycles"] for point in points.values()),
        "unconverged": sum(not point["converged"] for point in points.values()),
        "by speed": {int(rpm): point for rpm, point in sorted(points.items())},
    }


def work(twin: Twin) -> Side:
    """A million cell updates of a C build at 200 cells; seconds an update times 1e7 is W."""
    gas, net, state = pipe(200)
    heat = np.zeros(state.temp.size)

    def prepared() -> Callable[[], float]:
        cells, temps = state.cells.copy(), state.temp.copy()

        def once() -> float:
            twin.steps(net.geometry, net.ghost, gas, CFL, cells, temps, 5000, WALL_EVERY, heat)
            return 200.0 * 5000

        return once

    return prepared


def measure(full: bool) -> dict[str, Any]:
    """Both engines; the quick form takes every fifth of the twenty speeds and scales."""
    speeds = SPEEDS if full else SPEEDS[2::5]
    rounds = 7 if full else 3
    return {"engines": {name: cost(name, speeds if name == FOUR else SPEEDS, rounds) for name in (FOUR, SINGLE)}}


def matrix(step: int = MATRIX_STEP) -> dict[str, Any]:
    """VE of every level with every cam from 1500 to 7500 rpm; raises RuntimeError where a run left the physical."""
    speeds = np.arange(1500.0, 7500.0 + 1e-9, step)
    table: dict[str, list[float]] = {}
    start = time.process_time()
    unconverged: list[str] = []
    worst = 0.0
    for cam in CAMS:
        for level in LEVELS:
            curve = waveflow.sweep(waveflow.load(case_file(level, cam)), rpm=speeds.tolist())
            ve = np.asarray(curve.volumetric_efficiency)
            name = f"{level}, {cam} cam"
            if curve.failed or not np.all(np.isfinite(ve)) or np.any((ve < 0.2) | (ve > 1.5)):
                raise RuntimeError(f"{name}: {curve.failed or ve}")
            worst = max(worst, float(np.abs(curve.mass_balance).max()), float(np.abs(curve.energy_balance).max()))
            table[name] = [float(v) for v in ve]
            limit = waveflow.load(case_file(level, cam)).run.max_cycles
            unconverged += [f"{name}, {rpm:.0f} rpm" for rpm, n in zip(speeds, curve.cycles, strict=True) if n >= limit]
    return {
        "speeds": speeds.tolist(),
        "ve": table,
        "cpu": time.process_time() - start,
        "worst balance": worst,
        "unconverged": unconverged,
    }


def matrix_csv(made: dict[str, Any], machine: str) -> str:
    """The matrix as CSV text: a row a speed, a column an option."""
    text = io.StringIO()
    text.write("# INVENTED DEMO DATA: volumetric efficiency (delivered fresh air on ambient) of the demo engine N155\n")
    text.write(f"# {machine}\n")
    rows = csv.writer(text, lineterminator="\n")
    rows.writerow(["speed [rpm]", *made["ve"]])
    for k, speed in enumerate(made["speeds"]):
        rows.writerow([f"{speed:.0f}", *(f"{values[k]:.4f}" for values in made["ve"].values())])
    return text.getvalue()
