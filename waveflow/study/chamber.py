"""What laying back a chamber does: the compression ratio it takes, and what the model says that costs.

Three runs a speed, all on the same cells: the case as it stands, the case with the larger chamber alone, and - where a gain
of intake flow is named - the larger chamber with that flow. Nothing but the chamber and the flow differs; burn, spark and
mixture are held, so what a lower ratio allows or forbids there is not in it.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

from waveflow import units
from waveflow.engine.compression import ChamberChange, chamber_change
from waveflow.study.sensitivity import COARSE_CELL
from waveflow.study.workers import Workers, as_finished, usable_cores

SAME = 5e-4  # [1] changes below this are spoken of as none


@dataclass(frozen=True)
class ChamberStudy:
    """`change` of ratio; at each `rpm` [rpm] the torque [N m] and VE [1] `before`, with the `chamber` alone, and with the
    chamber and the flow (`both`; empty without a `flow` [1]). Each of the three is (torque, VE) a speed.
    """

    case_name: str
    change: ChamberChange
    rpm: tuple[float, ...]
    flow: float
    before: tuple[tuple[float, float], ...]
    chamber: tuple[tuple[float, float], ...]
    both: tuple[tuple[float, float], ...] = ()

    def share(self, which: str, number: int, column: int = 0) -> float:
        """Change [1] of torque (column 0) or VE (1) against `before` at one speed; `which` is "chamber" or "both"."""
        old = self.before[number][column]
        return getattr(self, which)[number][column] / old - 1.0 if old > 0.0 else math.nan

    @property
    def sentence(self) -> str:
        """Ratio, what it costs, what the flow gains back."""
        change = self.change
        cc = f"{1e6 * change.added:+.1f} cc takes the ratio from {change.ratio_before:.2f} to {change.ratio_after:.2f}"
        text = f"{cc}; at the same spark that alone changes torque by {self._band('chamber')}"
        if self.both:
            text += f", with {self.flow:+.1%} of intake flow by {self._band('both')}"
        skim = f"{1e3 * abs(change.skim):.2f} mm"
        skim = f"a skim of {skim}" if change.added > 0 else f"{skim} more gasket"
        return f"{text}. If the chamber is as wide as the bore, {skim} brings the old ratio back; more if it is not."

    def _band(self, which: str) -> str:
        shares = [self.share(which, number) for number in range(len(self.rpm))]
        told = [f"{100 * each:+.1f} %" if abs(each) > SAME else "nothing to speak of" for each in shares]
        return ", ".join(f"{each} at {speed:g} rpm" for each, speed in zip(told, self.rpm, strict=True))


def with_chamber(case: Any, added: float, flow: float = 0.0) -> Any:
    """The case with `added` [m3] of chamber and `flow` [1] more intake flow. Raises CaseError where that cannot be."""
    given = case.compression
    if given.chamber is not None:
        wanted = {"compression.chamber": units.show(given.chamber + added, "cc", 9)}
    else:
        after = chamber_change(case.swept_volume, case.clearance_volume, added, 1.0).ratio_after
        wanted = {"compression.ratio": f"{after:.9g}"}
    if flow:
        wanted["intake.flow.factor"] = f"{case.intake.flow.factor * (1.0 + flow):.9g}"
    return case.changed(wanted)


def chamber_study(case: Any, added: float, rpm: float | Sequence[float], *, flow: float = 0.0, cell: float = COARSE_CELL,
                  workers: int | None = None, run_point: Callable[..., Any] | None = None) -> ChamberStudy:
    """Effect of `added` [m3] of chamber volume (negative: taken away) at `rpm` [rpm], with `flow` [1] more intake flow.

    Raises ValueError where nothing would be left above the piston, CaseError where the changed case is not allowed, RunError
    where a run fails.
    """
    if run_point is None:
        from waveflow.study.cycle import run_point
    speeds = tuple(float(each) for each in ([rpm] if isinstance(rpm, (int, float)) else rpm))
    change = chamber_change(case.swept_volume, case.clearance_volume, added, math.pi / 4.0 * case.engine.bore**2)
    cases = [case, with_chamber(case, added), *([with_chamber(case, added, flow)] if flow else [])]
    with Workers(workers or usable_cores()) as pool:
        jobs = {pool.submit(_point, each, speed, cell, run_point): (number, place)
                for number, each in enumerate(cases) for place, speed in enumerate(speeds)}  # fmt: skip
        points = {jobs[future]: future.result().scalars for future in as_finished(jobs)}
    rows = [tuple((points[number, place]["torque"], points[number, place]["volumetric_efficiency"])
                  for place in range(len(speeds))) for number in range(len(cases))]  # fmt: skip
    return ChamberStudy(case.name, change, speeds, flow, rows[0], rows[1], rows[2] if flow else ())


def _point(case: Any, rpm: float, cell: float, run_point: Callable[..., Any]) -> Any:
    """One speed of one case (in a worker)."""
    return run_point(case, rpm, cell=cell)
