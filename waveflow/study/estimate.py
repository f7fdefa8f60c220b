"""What a study will take, told before it begins: CPU time, memory and disk; and refusal of what cannot end well.

The time of a point is cycles x steps a cycle x time of a step. Steps a cycle go with 1 / cell (a step is a share of what a
wave needs to cross one) and, measured, with speed to the power -0.7; a step costs a part for each cell and a part for what
hangs on a cylinder (ends, joints, volume). The constants are measured (benchmarks/README.md, "Costs at scale") on one
processor of 2025 and good to a factor of two or three elsewhere; whoever wants to know better runs one speed.
"""

from __future__ import annotations

import os
import shutil
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

STEPS = 2200.0  # a cycle on cells of 10 mm at 4500 rpm
SLOWER = 0.7  # power of speed by which they fall
PER_CELL = 2.3e-8  # [s]
PER_CYLINDER = 3.5e-6  # [s]
PER_CASE = 0.05  # [s] to read, check and build a changed case; threads take turns at it
CYCLES = 6.0  # a point, mean of starts from rest and from a neighbour
MEMORY = 20e6  # [bytes] an engine at work, at most, beside the program itself
LINE = 20e3  # [bytes] a point in the journal and the results, at most, for 400 cells
LONGEST = 30.0  # [days] of computing on this machine beyond which a study is refused
WORTH_TELLING = 60.0  # [s] of CPU time


@dataclass(frozen=True)
class Estimate:
    """`points` at most, `cpu` [s] and `wall` [s] on `cores`, `memory` [bytes], `disk` [bytes]; `pooled`: not only here."""

    points: int
    cpu: float
    wall: float
    cores: int
    memory: float
    disk: float
    pooled: bool = False

    @property
    def sentence(self) -> str:
        """In words; empty for what is short."""
        if self.cpu < WORTH_TELLING:
            return ""
        here = f"about {_time(self.wall)} on {self.cores} core" + "s" * (self.cores != 1)
        where = "over the cluster" if self.pooled else here
        return (f"At most {self.points} points, {_time(self.cpu)} of CPU time by a rough estimate: {where}; "
                f"{max(1, round(self.disk / 1e6))} MB on the disk.")  # fmt: skip

    def refusal(self, folder: str | os.PathLike[str] | None = None) -> str:
        """Why this machine should not begin, and what would help; empty where it may."""
        days = self.wall / 86400.0
        if days > LONGEST and not self.pooled:
            return (f"This would take about {days:.0f} days on {self.cores} cores ({self.points} points); at most "
                    f"{LONGEST:.0f} are begun. Fewer points, larger cells or --cluster need less.")  # fmt: skip
        free = free_memory()
        if free and self.memory > 0.9 * free:
            return (f"This needs about {self.memory / 1e6:.0f} MB of memory and {free / 1e6:.0f} MB are free. "
                    "Fewer workers or larger cells need less.")  # fmt: skip
        room = _room(folder)
        if room is not None and self.disk > 0.95 * room:
            return (f"This needs about {self.disk / 1e6:.0f} MB of disk and {room / 1e6:.0f} MB are free in {folder}. "
                    "Fewer points or another --out would do.")  # fmt: skip
        return ""


def cells_of(case: Any, cell: float | None = None) -> int:
    """Cells of all pipes of a case [1], on cells of `cell` [m] or its own."""
    from waveflow.engine.build import build

    return int(build(case, cell).net.pipe["cells"].sum())


def point_seconds(cells: int, cylinders: int, cell: float, rpm: float, cycles: float = CYCLES) -> float:
    """CPU time [s] of one point of `cells` [1] cells of `cell` [m] and `cylinders` [1] at `rpm` [rpm]."""
    steps = STEPS * (0.01 / cell) * (4500.0 / rpm) ** SLOWER
    return cycles * steps * (PER_CELL * cells + PER_CYLINDER * cylinders)


def estimate(
    case: Any, speeds: Sequence[float], points: int, cores: int, *, cell: float | None = None, pooled: bool = False,
    built: int = 0,
) -> Estimate:  # fmt: skip
    """Estimate of `points` [1] runs spread evenly over `speeds` [rpm] on `cores` [1] and cells of `cell` [m], for which `built`
    changed cases [1] are made."""
    size = cell or case.run.cell
    count = cells_of(case, cell)
    each = [point_seconds(count, case.engine.cylinders, size, speed) for speed in speeds]
    runs, making = points * sum(each) / len(each), built * PER_CASE
    busy = max(1, min(cores, points))
    cpu, wall = runs + making, runs / busy + making
    memory = busy * (MEMORY * max(1.0, count / 400.0))
    return Estimate(points, cpu, wall, busy, memory, points * LINE * max(1.0, count / 400.0), pooled)


def free_memory() -> float:
    """Memory [bytes] this process may still take, 0 where the system does not tell."""
    try:
        for line in Path("/proc/meminfo").read_text().splitlines():
            if line.startswith("MemAvailable:"):
                return 1024.0 * float(line.split()[1])
    except (OSError, ValueError, IndexError):
        pass
    return 0.0


def _room(folder: str | os.PathLike[str] | None) -> float | None:
    if folder is None:
        return None
    try:
        return float(shutil.disk_usage(folder).free)
    except OSError:
        return None


def _time(seconds: float) -> str:
    for size, name in ((86400.0, "days"), (3600.0, "hours"), (60.0, "minutes")):
        if seconds >= 2.0 * size:
            return f"{seconds / size:.0f} {name}"
    return f"{max(1.0, seconds):.0f} seconds"
