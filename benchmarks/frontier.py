"""Error of filling against cost: the shipped grids and some that are not, at 20 speeds of both engines.

The reference of a point is the same engine on cells of 4 mm (2 mm in the intake port) run to a change of 1e-5 a cycle. Costs
are CPU seconds of all 20 points on one thread, the compiled code loaded.
"""

from __future__ import annotations

import time
from typing import Any

import numpy as np

import waveflow
from benchmarks.sweep import CASES, FOUR, SINGLE, SPEEDS
from waveflow.engine.parts_engine import GRIDS
from waveflow.study.cycle import run_point

REFERENCE = (0.004, 1e-5)
MORE = ((0.010, 3e-4), (0.015, 1e-3), (0.025, 3e-4))
"""Cell [m] and tolerance of grids beside the shipped ones."""


def curve(name: str, cell: float, tolerance: float, grid: str = "standard") -> tuple[np.ndarray, dict[str, Any]]:
    """VE (20,) of an engine on one grid, and what it cost."""
    case = waveflow.load(CASES / f"{name}.toml", {"run.grid": grid, "run.tolerance": repr(tolerance), "run.max_cycles": "80"})
    run_point(case, 3000.0, cell=cell, max_cycles=1)
    start = time.process_time()
    points = [run_point(case, rpm, cell=cell) for rpm in SPEEDS]
    cost = {
        "cell": cell,
        "tolerance": tolerance,
        "cpu": time.process_time() - start,
        "cycles": sum(point.cycles for point in points),
        "cells": points[0].checks["cells"],
        "unsettled": sum(not point.converged for point in points),
    }
    return np.array([point.volumetric_efficiency for point in points]), cost


def measure() -> dict[str, Any]:
    """Worst and root-mean-square error of VE over the speeds, and CPU time, of every grid and engine."""
    made: dict[str, Any] = {}
    for name in (SINGLE, FOUR):
        limit, _ = curve(name, *REFERENCE)
        rows = {}
        named = {grid: (cell, tolerance, grid) for grid, (cell, _, tolerance, _) in GRIDS.items()}
        for label, kind in (*named.items(), *((f"{1e3 * c:g} mm, {t:g}", (c, t)) for c, t in MORE)):
            found, cost = curve(name, *kind)
            off = found / limit - 1.0
            rows[label] = cost | {"worst": float(np.abs(off).max()), "rms": float(np.sqrt(np.mean(off**2)))}
        made[name] = rows
    return made
