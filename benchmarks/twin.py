"""Build and call the C twin of the cell passes (twin.c)."""

from __future__ import annotations

import ctypes
import shutil
import subprocess
import tempfile
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from waveflow.physics import layout as lay
from waveflow.physics.gas import Gas

FLAGS = ("-O3", "-march=native", "-ffast-math", "-fno-math-errno", "-std=c11")
WIDTHS = (128, 256, 512)
SOURCE = Path(__file__).with_name("twin.c")


def compiler() -> str | None:
    """Version line of gcc, None where there is none."""
    if shutil.which("gcc") is None:
        return None
    return subprocess.run(["gcc", "--version"], capture_output=True, text=True, check=True).stdout.splitlines()[0]


class Twin:
    """One build of the twin; `steps` has the arguments of `benchmarks.kernel.steps`."""

    def __init__(self, width: int) -> None:
        self.flags = (*FLAGS, f"-mprefer-vector-width={width}")
        with tempfile.TemporaryDirectory() as folder:
            library = Path(folder) / "twin.so"
            subprocess.run(
                ["gcc", *self.flags, "-shared", "-fPIC", "-o", str(library), str(SOURCE), "-lmvec", "-lm"], check=True
            )
            self._steps = ctypes.CDLL(str(library)).steps
        real = np.ctypeslib.ndpointer(np.float64, flags="C_CONTIGUOUS")
        self._steps.restype = ctypes.c_double
        self._steps.argtypes = [
            ctypes.c_long, ctypes.c_long, real, real, real, real, real, ctypes.c_double, ctypes.c_long, ctypes.c_long, real,
        ]  # fmt: skip

    def steps(
        self, geometry: NDArray, ghosts: NDArray, gas: Gas, cfl: float, cells: NDArray, temps: NDArray, count: int,
        wall_every: int, wall_heat: NDArray,
    ) -> float:  # fmt: skip
        """March `count` steps in place; returns the time gone by [s]."""
        if geometry.shape[0] != lay.GEOMETRY or len(ghosts) != 2 or np.any(ghosts["count"] != 4):
            raise ValueError("the twin takes one pipe of at least four cells")
        weights = np.array([[row[f"w{k}"] for k in range(4)] for row in ghosts])
        packed = np.concatenate([gas.r, gas.e.ravel(), gas.mu, gas.lam])
        far = int(ghosts[1]["cell"])
        return self._steps(temps.size, far, cells, temps, geometry, weights, packed, cfl, count, wall_every, wall_heat)
