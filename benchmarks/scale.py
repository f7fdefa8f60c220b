"""What studies cost as they grow: CPU time against cells, cycles and points; cycles from rest and from a neighbour; memory.

Exponents are slopes of straight lines through the logarithms. CPU time of this process, one thread.
"""

from __future__ import annotations

import time
import tracemalloc
from pathlib import Path
from typing import Any

import numpy as np

import waveflow
from waveflow.engine.build import build
from waveflow.study.cycle import Engine, run_point
from waveflow.study.estimate import point_seconds

CASES = Path(__file__).resolve().parent.parent / "cases"
SPEEDS = tuple(float(round(speed)) for speed in np.linspace(1500.0, 7500.0, 20))
CELLS = (0.02, 0.01, 0.005)


def slope(x: Any, y: Any) -> float:
    """Exponent of a power law through the points."""
    return float(np.polyfit(np.log(x), np.log(y), 1)[0])


def one_cycle(case: Any, cell: float, rpm: float, count: int = 2) -> tuple[int, float, float]:
    """Cells, CPU seconds of a cycle that nearly repeats, and its steps."""
    model = build(case, cell)
    engine = Engine(model, rpm)
    engine.cycle()
    began, start = engine.steps, time.process_time()
    for _ in range(count):
        engine.cycle()
    return int(model.net.pipe["cells"].sum()), (time.process_time() - start) / count, (engine.steps - began) / count


def growth(name: str) -> dict[str, Any]:
    """Exponents of cost against cells (at 4500 rpm), speed, cycles and points of one case, and memory of an engine."""
    case = waveflow.load(CASES / f"{name}.toml")
    run_point(case, 3000.0, max_cycles=1)  # load the compiled code first
    rows = [one_cycle(case, cell, 4500.0) for cell in CELLS]
    by_speed = [one_cycle(case, CELLS[0], rpm)[1] for rpm in (1500.0, 3000.0, 6000.0)]
    by_cycles = []
    for count in (4, 8, 16):
        engine, start = Engine(build(case, CELLS[0]), 4500.0), time.process_time()
        for _ in range(count):
            engine.cycle()
        by_cycles.append(time.process_time() - start)
    by_points = []
    for count in (5, 10, 20):
        start = time.process_time()
        waveflow.sweep(case, rpm=np.linspace(3000.0, 6000.0, count).tolist(), workers=1, arguments={"cell": CELLS[0]})
        by_points.append(time.process_time() - start)
    tracemalloc.start()
    run_point(case, 3000.0, max_cycles=1)
    memory = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    told = [point_seconds(cells, case.engine.cylinders, cell, 4500.0, 1.0) / seconds
            for cell, (cells, seconds, _) in zip(CELLS, rows, strict=True)]  # fmt: skip
    return {
        "cells": [row[0] for row in rows],
        "cpu of a cycle": [row[1] for row in rows],
        "us a step": [1e6 * row[1] / row[2] for row in rows],
        "exponent of cells": slope([row[0] for row in rows], [row[1] for row in rows]),
        "exponent of speed": slope((1500.0, 3000.0, 6000.0), by_speed),
        "exponent of cycles": slope((4, 8, 16), by_cycles),
        "exponent of points": slope((5, 10, 20), by_points),
        "memory of an engine": memory,
        "estimate over measured": told,
    }


def warm_starts(name: str) -> dict[str, Any]:
    """Twenty speeds from rest and from neighbours: cycles, CPU seconds, largest difference of filling and torque."""
    case = waveflow.load(CASES / f"{name}.toml")
    run_point(case, 3000.0, max_cycles=1)
    made: dict[str, Any] = {}
    curves = {}
    for word, warm in (("rest", False), ("neighbour", True)):
        start = time.process_time()
        curves[word] = waveflow.sweep(case, rpm=list(SPEEDS), workers=1, warm=warm)
        made[word] = {"cpu": time.process_time() - start, "cycles": int(curves[word].cycles.sum())}
    for column in ("volumetric_efficiency", "torque"):
        a, b = (np.asarray(curves[word].column(column)) for word in ("rest", "neighbour"))
        made[f"largest difference of {column}"] = float(np.abs(b / a - 1.0).max())
    made["gain"] = made["rest"]["cpu"] / made["neighbour"]["cpu"]
    return made


def measure() -> dict[str, Any]:
    """Both for the four-cylinder engine and the single."""
    return {name: {"growth": growth(name), "starts": warm_starts(name)} for name in ("n155", "starter")}
