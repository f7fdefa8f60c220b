"""Which uncertain value matters most: each is set low and high, one at a time, all else as it was.

Values varied (`varied.py`): everything filled in with a likely range, every given value with a margin, columns and
measured ports as a whole. Changes are against the case as it stands, at the same speeds on the same cells. What two
values do together is not asked.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from concurrent.futures import Future
from dataclasses import dataclass
from typing import Any

from waveflow.errors import CaseError, RunError
from waveflow.study.varied import Varied, varied_values
from waveflow.study.workers import Pool, as_finished, pool_of

COARSE_CELL = 0.02  # [m]
TOO_SMALL = 1e-3  # [1] changes below this are within what repeats from cycle to cycle on such cells
Progress = Callable[[int, int, str], None]


@dataclass(frozen=True)
class Row:
    """What one value does: relative change [1] of torque and VE at each speed, low and high; NaN where `failed` says why."""

    varied: Varied
    torque: tuple[tuple[float, ...], tuple[float, ...]]
    filling: tuple[tuple[float, ...], tuple[float, ...]]
    failed: str = ""

    def band(self, name: str = "torque") -> tuple[float, float]:
        """Largest fall and rise [1] over all speeds of "torque" or "filling"; zero counts."""
        known = [each for side in getattr(self, name) for each in side if math.isfinite(each)]
        return (min(0.0, *known), max(0.0, *known)) if known else (math.nan, math.nan)

    def spread(self, name: str = "torque") -> float:
        """Width of the band [1]; -1 where nothing is known."""
        low, high = self.band(name)
        return high - low if math.isfinite(low) else -1.0


@dataclass(frozen=True)
class Sensitivity:
    """Rows, the one that moves torque most first; base numbers at each speed [N m, 1]; cell of the pipes [m]."""

    case_name: str
    rpm: tuple[float, ...]
    cell: float
    torque: tuple[float, ...]
    filling: tuple[float, ...]
    rows: tuple[Row, ...]
    unsettled: int = 0

    def __repr__(self) -> str:
        return f"<sensitivity of {self.case_name}: {len(self.rows)} values at {self._speeds()}>"

    def _speeds(self) -> str:
        return ", ".join(f"{speed:g}" for speed in self.rpm) + " rpm"

    @property
    def sentence(self) -> str:
        """The three values that matter most, with numbers, speeds and cells."""
        told = [row for row in self.rows if max(row.spread(), row.spread("filling")) >= TOO_SMALL][:3]
        where = f"at {self._speeds()} on cells of {1e3 * self.cell:g} mm"
        if not told:
            return f"No uncertain value moves torque or filling by more than 0.1 % ({where})."
        parts = [f"{row.varied.key} {row.varied.low_text} to {row.varied.high_text} (torque {_band(row.band())}, "
                 f"VE {_band(row.band('filling'))})" for row in told]  # fmt: skip
        count = {1: "The value that matters", 2: "The two values that matter"}.get(len(told), "The three values that matter")
        listed = "; ".join(parts)
        return f"{count} most, each over its own likely range {where}: {listed}. Other speeds may rank them otherwise."


def _band(band: tuple[float, float]) -> str:
    return f"{100 * band[0]:+.1f} to {100 * band[1]:+.1f} %"


def sensitivity(
    case: Any,
    rpm: float | Sequence[float],
    *,
    cell: float = COARSE_CELL,
    workers: int | Pool | None = None,
    progress: Progress | None = None,
    run_point: Callable[..., Any] | None = None,
) -> Sensitivity:
    """Change of torque and filling for each uncertain value of `case`, low and high, at `rpm` [rpm, one or several].

    `cell` [m]: cells of the pipes, coarse by default. `progress(done, total, key)` is told by the calling thread. The
    result does not depend on `workers`. A value that cannot be set (its range leaves what a case allows) or run is a row
    with its reason. Raises RunError where the case itself does not run at a speed.
    """
    if run_point is None:
        from waveflow.study.cycle import run_point
    speeds = tuple(float(each) for each in ([rpm] if isinstance(rpm, (int, float)) else rpm))
    values = varied_values(case)
    total = len(speeds) * (1 + 2 * len(values))
    done = 0

    def finished(what: str) -> None:
        nonlocal done
        done += 1
        if progress is not None:
            progress(done, total, what)

    with pool_of(workers, total) as pool:
        base = {pool.submit(_alone, case, speed, cell, run_point): speed for speed in speeds}
        points: dict[tuple[int, int, float], Any] = {}
        for future in as_finished(base):
            points[-1, 0, base[future]] = future.result()
            finished("as it stands")
        jobs = {}
        for number, value in enumerate(values):
            for side, overrides in enumerate((value.low, value.high)):
                for speed in speeds:
                    start = points[-1, 0, speed].end_state
                    jobs[pool.submit(_point, case, overrides, speed, cell, start, run_point)] = (number, side, speed)
        for future in as_finished(jobs):
            points[jobs[future]] = _result(future)
            finished(values[jobs[future][0]].key)
    rows = [_row(value, number, speeds, points) for number, value in enumerate(values)]
    rows.sort(key=lambda row: -row.spread())
    unsettled = sum(not getattr(each, "converged", True) for each in points.values())
    first = [points[-1, 0, speed].scalars for speed in speeds]
    return Sensitivity(case.name, speeds, cell, tuple(each["torque"] for each in first),
                       tuple(each["volumetric_efficiency"] for each in first), tuple(rows), unsettled)  # fmt: skip


def _result(future: Future) -> Any:
    """What a worker found, or why there is nothing: its sentence, or that the worker itself was lost."""
    try:
        return future.result()
    except RunError as error:
        return str(error)


def _alone(case: Any, rpm: float, cell: float, run_point: Any) -> Any:
    return run_point(case, rpm, cell=cell)


def _point(case: Any, overrides: dict[str, str], rpm: float, cell: float, start: Any, run_point: Any) -> Any:
    """One run with some values set anew (in a worker), from the state the case itself came to; or why there is none."""
    try:
        changed = case.changed(overrides)
        try:
            return run_point(changed, rpm, cell=cell, start=start)
        except ValueError:  # another mesh: from rest
            return run_point(changed, rpm, cell=cell)
    except CaseError as error:
        return error.problems[0].message
    except RunError as error:
        return str(error)


def _row(value: Varied, number: int, speeds: Sequence[float], points: dict[tuple[int, int, float], Any]) -> Row:
    changes: dict[str, list[tuple[float, ...]]] = {"torque": [], "volumetric_efficiency": []}
    failed = ""
    for side in (0, 1):
        made = [points[number, side, speed] for speed in speeds]
        failed = next((each for each in made if isinstance(each, str)), failed)
        for name, told in changes.items():
            told.append(tuple(_change(each, points[-1, 0, speed], name) for each, speed in zip(made, speeds, strict=True)))
    return Row(value, tuple(changes["torque"]), tuple(changes["volumetric_efficiency"]), failed)


def _change(point: Any, base: Any, name: str) -> float:
    if isinstance(point, str) or base.scalars[name] == 0.0:
        return math.nan
    return (point.scalars[name] - base.scalars[name]) / abs(base.scalars[name])
