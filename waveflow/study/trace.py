"""One cycle by crank angle: the rows the solver wrote, by name and at whole degrees, and the numbers taken from them."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np

from waveflow.physics.accounts import CYLINDER_COLUMNS, PROBE_COLUMNS, VOLUME_COLUMNS


@dataclass(frozen=True)
class Trace:
    """One cycle by crank angle: `angle` (n,) [deg] of the engine and named columns (n,), SI; see `names`."""

    angle: np.ndarray
    columns: dict[str, np.ndarray]

    @property
    def names(self) -> tuple[str, ...]:
        """Names of the columns."""
        return tuple(self.columns)

    def __getitem__(self, name: str) -> np.ndarray:
        return self.columns[name]


def probe_column(engine: Any, name: str) -> int:
    net = engine.model.net
    return 1 + CYLINDER_COLUMNS * len(net.cylinder) + PROBE_COLUMNS * engine.model.probes[name]


def duct_numbers(engine: Any) -> tuple[float, float, float]:
    """(mean port Mach number while the intake is open, its peak, mean sound speed at mid-runner), over all cylinders."""
    m = engine.model
    rows = engine.rows[: engine.written]
    means, peaks, sounds = [], [], []
    for k in range(len(m.net.cylinder)):
        name = f"cylinder {k + 1} port pinch"
        if name not in m.probes:
            return math.nan, math.nan, math.nan
        at = probe_column(engine, name)
        mach = np.abs(rows[:, at + 1]) / rows[:, at + 3]
        open_now = m.intake_lift.at((rows[:, 0] - m.phases[k]) % 720.0) > 0.0
        means.append(mach[open_now].mean())
        peaks.append(mach[open_now].max())
        middle = probe_column(engine, f"cylinder {k + 1} runner middle")
        sounds.append(rows[:, middle + 3].mean())
    return float(np.mean(means)), float(np.max(peaks)), float(np.mean(sounds))


def trace_of(engine: Any) -> Trace:
    """The last cycle by crank angle, every degree; columns like "cylinder 1 pressure", "cylinder 1 intake valve velocity"."""
    m = engine.model
    rows = engine.rows[: engine.written]
    angle = np.arange(0.0, 720.0, engine.trace_step)
    local = (rows[:, 0] - m.start_angle) % 720.0
    order = np.argsort(local, kind="stable")
    wanted = (angle - m.start_angle) % 720.0
    columns: dict[str, np.ndarray] = {}

    def take(name: str, column: int) -> None:
        columns[name] = np.interp(wanted, local[order], rows[order, column], period=720.0)

    at = 1
    for k in range(len(m.net.cylinder)):
        for offset, what in enumerate(("pressure", "temperature", "mass", "volume", "intake flow", "exhaust flow")):
            take(f"cylinder {k + 1} {what}", at + offset)
        columns[f"cylinder {k + 1} intake lift"] = m.intake_lift.at((angle - m.phases[k]) % 720.0)
        columns[f"cylinder {k + 1} exhaust lift"] = m.exhaust_lift.at((angle - m.phases[k]) % 720.0)
        at += CYLINDER_COLUMNS
    for name in sorted(m.probes, key=m.probes.get):
        for offset, what in enumerate(("pressure", "velocity", "temperature", "sound speed")):
            take(f"{name} {what}", at + offset)
        at += PROBE_COLUMNS
    for name in m.volumes:
        if not name.startswith("cylinder"):
            take(f"{name} pressure", at)
            take(f"{name} temperature", at + 1)
        at += VOLUME_COLUMNS
    return Trace(angle, columns)
