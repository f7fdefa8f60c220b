"""The whole job in one call: cases over the same speeds, the band of an ASSUMED one, the wanted speed, the grids.

Each part is one function elsewhere; here is only their order, so that every finished point is kept in one journal and a
run that was stopped goes on where it was.
"""

from __future__ import annotations

import contextlib
import math
import os
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from waveflow.study.area import AreaSearch, area_for_target
from waveflow.study.compare import Comparison, compare, facts_of_option
from waveflow.study.gridcheck import GridCheck, grid_check
from waveflow.study.records import RunPoint
from waveflow.study.results import SweepResult
from waveflow.study.speeds import SpeedRange
from waveflow.study.sweep import sweep
from waveflow.study.target import parse_target
from waveflow.study.workers import Pool

BAND = (0.92, 1.08)  # share of the valve flow an ASSUMED option is run at beside its own
AROUND = 1500.0  # [rpm] the search for an area looks so far to both sides of the wanted speed
APART = 150.0  # [rpm] between its speeds: a quick search, its peak is read from a parabola
GRIDS = (1.0, 0.5, 0.25)  # cells of a grid check as shares of the case's own
NEAR_PEAK = 50.0  # [rpm] between the three speeds a grid check reads the peak's place from
AREA_LIMITS = (-15.0, 40.0)  # [%] of area the search stays within


@dataclass(frozen=True)
class GridReport:
    """Three grids of one option at its VE peak: checks of VE itself and of the peak's speed; `label` its name."""

    label: str
    cells: tuple[float, float, float]
    efficiency: GridCheck
    peak_speed: GridCheck | None

    @property
    def sentences(self) -> tuple[str, ...]:
        """What the grids say, one sentence each."""
        cells = ", ".join(f"{1e3 * cell:g}" for cell in self.cells)
        head = f"{self.label}, cells of {cells} mm: "
        told = [head + self.efficiency.sentence]
        if self.peak_speed is not None:
            told.append(head + self.peak_speed.sentence)
        return tuple(told)


@dataclass(frozen=True)
class Outcome:
    """A `comparison`; by how much `area` the first option would meet the wanted speed; `grids` of every option."""

    comparison: Comparison
    area: AreaSearch | None = None
    grids: tuple[GridReport, ...] = ()
    ungridded: tuple[str, ...] = ()  # why an option has no grid check although one was asked for

    @property
    def extra(self) -> tuple[str, ...]:
        """Sentences beside those of the comparison itself."""
        area = () if self.area is None else (f"A port derived from the first option: {self.area.sentence}",)
        return (*area, *(sentence for grid in self.grids for sentence in grid.sentences), *self.ungridded)


class _Silent:
    """Stands in where nobody watches."""

    def begin(self, label: str, note: str = "") -> None: ...

    def __call__(self, done: int, total: int, rpm: float, ve: float) -> None: ...


def compare_cases(
    cases: Sequence[Any],
    rpm: str | float | SpeedRange | Iterable[float],
    *,
    band: tuple[float, float] | None = None,
    target: str | float | None = None,
    target_of: str = "power",
    grids: bool = False,
    workers: int | Pool | None = None,
    progress: Any = None,
    resume: str | os.PathLike[str] | None = None,
    run_point: RunPoint | None = None,
    refine: bool | None = None,
) -> Outcome:
    """Run `cases` [engine.case.Case] over speeds `rpm` [rpm] as ``sweep`` takes them, and compare them with the first.

    An ASSUMED option is run again with 8 % less and 8 % more valve flow. With a `target` speed ("6500 rpm") the first
    option's intake port is derived larger and smaller until its peak meets it. `grids` [bool]: three grids at every
    option's VE peak. `resume`: journal of finished points. `progress` is told as in ``sweep``, and ``begin(label)`` is
    called on it before each row of speeds.

    Raises what ``sweep`` and ``compare`` raise.
    """
    told = _Silent() if progress is None else progress
    if target is not None:
        parse_target(target)  # a wrong one is told before anything is computed
    if not isinstance(rpm, str | int | float | SpeedRange):
        rpm = list(rpm)
    shared = {"workers": workers, "progress": told, "resume": resume, "run_point": run_point}
    results = [_with_band(case, rpm, told, {**shared, "refine": refine}) for case in cases]
    made = compare(results, band=band, target=target, target_of=target_of)
    area = None
    if made.target is not None:
        area = _area(cases[0], results[0], made.target.rpm, made.target.of, told, shared)
    reports: list[GridReport] = []
    without: list[str] = []
    if grids:
        for case, option in zip(cases, made.options, strict=True):
            report = check_grids(case, option.label, option.result, progress=told, workers=workers, run_point=run_point)
            if isinstance(report, str):
                without.append(report)
            else:
                reports.append(report)
    return Outcome(made, area, tuple(reports), tuple(without))


def label_of(case: Any) -> str:
    """The option of a case in words, or the case's name."""
    return (case.option or case.name).replace("_", " ")


def _with_band(case: Any, rpm: Any, told: Any, how: dict[str, Any]) -> SweepResult:
    """One option's sweep; where its valve flow is ASSUMED, with the same at less and at more of it."""
    told.begin(label_of(case))
    result = sweep(case, rpm, **how)
    sides = [side for side in ("intake", "exhaust") if getattr(case, side).flow.kind == "stock"]
    if not sides:
        return result
    edges = []
    for share in BAND:
        told.begin(f"{label_of(case)}, valve flow {100 * (share - 1):+.0f} %")
        flows = {f"{side}.flow.factor": repr(share * getattr(case, side).flow.factor) for side in sides}
        edges.append(sweep(case.changed(flows), rpm, **how))
    return result.with_flow_band(edges[0], edges[1])


def _area(case: Any, base: SweepResult, rpm: float, of: str, told: Any, how: dict[str, Any]) -> AreaSearch | None:
    """The search of ``study.area`` on the first option's intake port; None where it has none or is derived itself."""
    if case.intake.port is None or case.enlarge is not None:
        return None
    low, high = float(np.nanmin(base.rpm)), float(np.nanmax(base.rpm))
    speeds = [each for each in np.arange(rpm - AROUND, rpm + AROUND + 1.0, APART) if low <= each <= high]
    if len(speeds) < 3:
        return None

    def evaluate(percent: float) -> SweepResult:
        told.begin(f"{label_of(case)} {percent:+.3g} % of area")
        return sweep(case.changed({"enlarge.percent": repr(percent)}), speeds, **how)

    return area_for_target(evaluate, rpm, of=of, base=base, low=AREA_LIMITS[0], high=AREA_LIMITS[1])


def check_grids(
    case: Any, label: str, result: SweepResult, *, progress: Any = None, workers: int | Pool | None = None,
    run_point: RunPoint | None = None,
) -> GridReport | str:  # fmt: skip
    """Three grids at and around the VE peak of an option's `result`, or the sentence that says why there is no check.

    The cells are the case's own, half and a quarter of it. VE is compared at the speed of the peak; the peak's own
    speed through parabolas over three speeds 50 rpm apart.
    """
    told = _Silent() if progress is None else progress
    peak = facts_of_option(result).peaks["volumetric_efficiency"]
    if peak is None or peak.at_end:
        return f"{label}: no grid check, since the computed speeds hold no VE peak between them."
    middle = 25.0 * round(peak.rpm / 25.0)
    speeds = [middle - NEAR_PEAK, middle, middle + NEAR_PEAK]
    cells, rows = [], []
    for share in GRIDS:
        cell = share * case.run.cell
        told.begin(f"{label}, cells of {1e3 * cell:g} mm")
        finer = case.changed({"run.cell": f"{1e3 * cell!r} mm"})
        done = sweep(finer, speeds, workers=workers, progress=told, run_point=run_point, refine=False)
        cells.append(cell)
        rows.append(done.column("volumetric_efficiency"))
        if done.failed:
            why = next(iter(done.failed.values()))
            return f"{label}: no grid check, since cells of {1e3 * cell:g} mm did not run: {why}"
    noise = case.run.tolerance
    name = f"volumetric efficiency at {middle:.0f} rpm"
    efficiency = grid_check([row[1] for row in rows], quantity=name, noise=noise)
    places = [_vertex(speeds, row) for row in rows]
    place = None
    if all(math.isfinite(each) for each in places):
        with contextlib.suppress(ValueError):
            # A top within the noise can lie anywhere as flat as the flattest parabola allows.
            bend = max(abs(row[0] - 2 * row[1] + row[2]) / NEAR_PEAK**2 for row in rows)
            place = grid_check(places, quantity="the speed of the VE peak", noise=noise / max(bend * NEAR_PEAK, 1e-12))
    return GridReport(label, tuple(cells), efficiency, place)


def _vertex(x: Sequence[float], y: np.ndarray) -> float:
    """Top of the parabola through three points; NaN where it opens upwards or tops outside them by more than a step."""
    bend = y[0] - 2.0 * y[1] + y[2]
    if not bend < 0.0:
        return math.nan
    place = 0.5 * (y[0] - y[2]) / bend
    return x[1] + place * (x[1] - x[0]) if abs(place) <= 2.0 else math.nan
