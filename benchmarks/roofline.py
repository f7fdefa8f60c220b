"""What the machine could do at most, to judge the kernel by: measured peaks, and the rate they would allow."""

from __future__ import annotations

import ctypes
import subprocess
import tempfile
from collections.abc import Callable
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np

from benchmarks.clock import interleaved
from benchmarks.kernel import BYTES, FLOPS, SIZES
from benchmarks.twin import compiler

ROWS = 49  # rows of doubles the passes touch: geometry, primitives, conserved, fluxes, half-time states, sources
SOURCE = Path(__file__).with_name("peaks.c")


def measure(rounds: int) -> dict[str, Any]:
    """Peak flops a second, bytes a second in working sets as large as the kernel's, and the lower of the two bounds."""
    if compiler() is None:
        return {}
    with tempfile.TemporaryDirectory() as folder:
        library = Path(folder) / "peaks.so"
        command = ["gcc", "-O3", "-march=native", "-ffast-math", "-mprefer-vector-width=512", "-shared", "-fPIC"]
        subprocess.run([*command, "-o", str(library), str(SOURCE)], check=True)
        code = ctypes.CDLL(str(library))
    real = np.ctypeslib.ndpointer(np.float64, flags="C_CONTIGUOUS")
    code.multiply_add.restype = code.triad.restype = ctypes.c_double
    code.multiply_add.argtypes = [ctypes.c_long]
    code.triad.argtypes = [ctypes.c_long, ctypes.c_long, real, real, real]

    def flops() -> float:
        turns = 200_000
        code.multiply_add(turns)
        return turns * 192.0

    sides = {"flops": flops}
    for n in SIZES:
        length = ROWS * n // 3
        a, b, c = (np.ones(length) for _ in range(3))
        turns = 20_000_000 // length

        def stream(length: int = length, turns: int = turns, a=a, b=b, c=c) -> float:
            code.triad(length, turns, a, b, c)
            return 24.0 * length * turns

        sides[f"bytes {n}"] = stream
    timed = interleaved({name: partial(_ready, run) for name, run in sides.items()}, rounds)
    rates = {name: 1.0 / float(np.median(times)) for name, times in timed.items()}
    bounds = {n: {"flops": rates["flops"] / FLOPS, "bytes": rates[f"bytes {n}"] / BYTES} for n in SIZES}
    return {"peaks": rates, "flops a cell update": FLOPS, "bytes a cell update": BYTES, "bound": bounds}


def _ready(run: Callable[[], float]) -> Callable[[], float]:
    return run
