"""What an intake closing that is only known to a range does to filling: the engine run with the earliest and the latest."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from waveflow.engine.camshapes import Shape, extremes, shapes
from waveflow.engine.fill import replaced
from waveflow.engine.parts_valve import LiftTable
from waveflow.study.workers import Workers, as_finished, usable_cores

COARSE_CELL = 0.020
STEP = 1.0
"""Spacing [crank deg] of the table a shape is handed over as."""


@dataclass(frozen=True)
class ClosingEffect:
    """Filling and torque at `rpm` (n,) with the cam as used, closing earliest, closing latest.

    `efficiency` and `torque` [N m] hold three tuples (n,); `closes` [crank deg] three angles at the seat.
    """

    rpm: tuple[float, ...]
    closes: tuple[float, float, float]
    efficiency: tuple[tuple[float, ...], ...]
    torque: tuple[tuple[float, ...], ...]
    unsettled: int = 0

    def band(self, name: str) -> list[tuple[float, float]]:
        """(lowest, highest) change against the cam as used, one pair a speed, of "efficiency" or "torque"."""
        used, *others = getattr(self, name)
        return [(min(0.0, *changes), max(0.0, *changes)) for k, base in enumerate(used)
                if (changes := [each[k] / base - 1.0 for each in others])]  # fmt: skip

    @property
    def sentence(self) -> str:
        """The range in words."""
        widest = max(range(len(self.rpm)), key=lambda k: self.band("efficiency")[k][1] - self.band("efficiency")[k][0])
        low, high = self.band("efficiency")[widest]
        range_ = f"{100 * low:+.1f} to {100 * high:+.1f} % at {self.rpm[widest]:.0f} rpm"
        told = f"What the card leaves open, closing and flanks together, leaves VE open by {range_}"
        return told + (", where it matters most of these speeds." if len(self.rpm) > 1 else ".")


def as_table(shape: Shape, cam: Any) -> LiftTable:
    """A shape of a card as a case's lift table of the lobe, `STEP` degrees apart, with the card's rocker and lash."""
    law: Any = shape.curve.exact
    half = law.lobe.half_width
    offset = np.linspace(-half, half, 2 * round(half / STEP) + 1)
    lift = law.lobe.at(offset)
    lift[[0, -1]] = 0.0
    gear: dict[str, Any] = {"rocker_ratio": cam.rocker_ratio}
    if cam.rocker_at is not None:
        gear = {"rocker_at": [f"{1e3 * each!r} mm" for each in cam.rocker_at], "rocker_ratios": list(cam.rocker_ratios)}
    angle = [f"{each!r} deg" for each in map(float, law.centre - 360.0 + offset)]
    return LiftTable(kind="table", angle=angle, lift_of="lobe", lash=f"{cam.lash!r} m",
                     lift=[f"{1e3 * each!r} mm" for each in map(float, lift)], **gear)  # fmt: skip


def _alone(case: Any, rpm: float, cell: float, run_point: Any) -> Any:
    return run_point(case, rpm, cell=cell)


def closing_effect(case: Any, rpm: Sequence[float], *, cell: float = COARSE_CELL, workers: int | None = None,
                   progress: Callable[[int, int, str], None] | None = None,
                   run_point: Callable[..., Any] | None = None) -> ClosingEffect | None:  # fmt: skip
    """Runs the case at `rpm` [rpm] as it stands and with the intake cam that closes earliest and latest of all its card
    allows; None where the cam is no card. `cell` [m]: coarse cells. Raises RunError where the case does not run.
    """
    if run_point is None:
        from waveflow.study.cycle import run_point
    found = shapes(case.intake.cam, "intake")
    if len(found) < 2:
        return None
    chosen = (found[0], *extremes(found))
    cases = [case, *(replaced(case, "intake.cam", as_table(shape, case.intake.cam)) for shape in chosen[1:])]
    speeds, total = tuple(map(float, rpm)), 3 * len(rpm)
    points: dict[tuple[int, int], Any] = {}
    with Workers(workers or usable_cores()) as pool:
        jobs = {pool.submit(_alone, each, speed, cell, run_point): (number, k)
                for number, each in enumerate(cases) for k, speed in enumerate(speeds)}  # fmt: skip
        for future in as_finished(jobs):
            points[jobs[future]] = future.result()
            if progress is not None:
                progress(len(points), total, ("as used", "closing earliest", "closing latest")[jobs[future][0]])
    told = [tuple(tuple(points[number, k].scalars[name] for k in range(len(speeds))) for number in range(3))
            for name in ("volumetric_efficiency", "torque")]  # fmt: skip
    first = chosen[0].closes()
    closes = tuple(first + (shape.closes() - first + 360.0) % 720.0 - 360.0 for shape in chosen)
    return ClosingEffect(speeds, closes, told[0], told[1], sum(not point.converged for point in points.values()))
