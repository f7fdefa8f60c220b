"""All uncertain values at once: many samples of a case, each value drawn anew within its own range.

Where a sensitivity study moves one value at a time, here all move together, so that the spread of torque and filling is what
the doubts together come to. Samples are points of a scrambled Sobol sequence (I. M. Sobol, 1967; scrambling by A. B. Owen,
1995, as scipy has it), uniform over each range: sample number n is the same however many are asked for, and whoever computes
it. Every finished one is a line in a file at once; in memory only its few numbers are kept, so that ten thousand samples need
no more than ten.
"""

from __future__ import annotations

import math
import os
import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from concurrent.futures import Future
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from waveflow.errors import CaseError, RunError
from waveflow.study.chain import state_of, state_text, usable
from waveflow.study.journal import LineFile, journal_key
from waveflow.study.sensitivity import COARSE_CELL
from waveflow.study.varied import Varied, varied_values
from waveflow.study.workers import Pool, next_finished, pool_of

MOST_SAMPLES = 100_000
IN_FLIGHT = 64  # samples handed out at once
WATCHED = ("torque", "volumetric_efficiency")
SHARES = (5.0, 25.0, 50.0, 75.0, 95.0)  # [%] of the samples that lie below
_NUMBER = re.compile(r"(?<![A-Za-z_0-9.])[-+]?\d+(?:\.\d+)?(?:[eE][-+]?\d+)?")


@dataclass(frozen=True)
class Spread:
    """What all doubts together do at each speed `rpm` [rpm].

    `base`, `mean`: (2, speeds) torque [N m] and VE [1] of the case as it stands and of the samples; `shares`: (2, speeds, 5)
    values that 5, 25, 50, 75, 95 % of the samples lie below; `failed` of `samples` gave no number, `reasons` the first few.
    """

    case_name: str
    rpm: tuple[float, ...]
    cell: float
    values: int
    samples: int
    base: np.ndarray
    mean: np.ndarray
    shares: np.ndarray
    failed: int = 0
    unsettled: int = 0
    reasons: tuple[str, ...] = ()
    numbers: np.ndarray = field(repr=False, default_factory=lambda: np.zeros((0, 2, 0)))

    def __repr__(self) -> str:
        return f"<spread of {self.case_name}: {self.samples} samples of {self.values} values>"

    @property
    def sentence(self) -> str:
        """The spread of torque and filling at every speed in words."""
        told = []
        for k, rpm in enumerate(self.rpm):
            bands = [100.0 * (self.shares[row, k, [0, -1]] / self.base[row, k] - 1.0) for row in range(2)]
            told.append(f"at {rpm:g} rpm torque {bands[0][0]:+.1f} to {bands[0][1]:+.1f} %, VE {bands[1][0]:+.1f} to "
                        f"{bands[1][1]:+.1f} %")  # fmt: skip
        return (f"Nine of ten of {self.samples} samples, {self.values} values drawn together, lie within: {'; '.join(told)} "
                f"of the case as it stands (cells of {1e3 * self.cell:g} mm).")  # fmt: skip


def drawn(values: Sequence[Varied], count: int, seed: int) -> Iterator[dict[str, str]]:
    """Overrides by key for samples 0, 1, ...: every value somewhere between its low and its high."""
    from scipy.stats import qmc

    sobol = qmc.Sobol(len(values), rng=np.random.default_rng(seed))
    for _ in range(count):
        place = sobol.random(1)[0]
        made: dict[str, str] = {}
        for value, share in zip(values, place, strict=True):
            made |= {key: between(low, value.high[key], float(share)) for key, low in value.low.items()}
        yield made


def between(low: str, high: str, share: float) -> str:
    """Text with every number a `share` [1] of the way from `low` to `high`: "38.4 mm", "38.6 mm", 0.5 gives "38.5 mm"."""
    ends = iter(_NUMBER.findall(high))

    def number(match: re.Match[str]) -> str:
        a, b = float(match[0]), float(next(ends))
        return match[0] if a == b else f"{a + share * (b - a):.10g}"

    return _NUMBER.sub(number, low)


def spread(
    case: Any,
    rpm: float | Sequence[float],
    samples: int,
    *,
    cell: float = COARSE_CELL,
    seed: int = 1,
    workers: int | Pool | None = None,
    progress: Callable[[int, int], None] | None = None,
    resume: str | os.PathLike[str] | None = None,
    run_point: Callable[..., Any] | None = None,
) -> Spread:
    """Torque and filling of `samples` [1] drawn cases at `rpm` [rpm, one or several] on cells of `cell` [m].

    `resume`: file with a line a finished sample; those found there for the same case, speeds, cells and `seed` are taken
    over, bit for bit. `progress(done, samples)`. A sample that cannot be set or run counts as failed. Raises ValueError
    where nothing of the case is uncertain, RunError where the case itself does not run, ``StoreError`` for the file.
    """
    if not 2 <= samples <= MOST_SAMPLES:
        raise ValueError(f"{samples} samples: allowed 2 to {MOST_SAMPLES}")
    if run_point is None:
        from waveflow.study.cycle import run_point
    speeds = tuple(float(each) for each in ([rpm] if isinstance(rpm, int | float) else rpm))
    values = varied_values(case)
    if not values:
        raise ValueError("nothing of this case is uncertain: no value carries a margin or a likely range")
    numbers = np.full((samples, 2, len(speeds)), np.nan)
    reasons: dict[int, str] = {}
    unsettled, done = 0, 0
    key = journal_key(case.digest, {"samples of": [value.key for value in values], "rpm": speeds, "cell": cell, "seed": seed})
    known = np.zeros(samples, bool)

    def take(number: int, found: Mapping[str, Any]) -> None:
        nonlocal unsettled, done
        done += 1
        if found["failed"]:
            reasons[number] = found["failed"]
        else:
            numbers[number] = found["numbers"]
            unsettled += not found["settled"]
        if progress is not None:
            progress(done, samples)

    with LineFile(resume, key) as file, pool_of(workers, IN_FLIGHT) as pool:
        base = [pool.submit(as_it_stands, case, speed, cell, run_point) for speed in speeds]
        stands = [each.result() for each in base]
        starts = [state_of(each[1]) for each in stands]
        for body in file.bodies():
            if 0 <= body["sample"] < samples and not known[body["sample"]]:
                known[body["sample"]] = True
                take(body["sample"], body)
        running: dict[Future, int] = {}
        for number, overrides in enumerate(drawn(values, samples, seed)):
            if known[number]:
                continue
            running[pool.submit(one_sample, case, overrides, speeds, cell, starts, run_point)] = number
            while len(running) >= IN_FLIGHT:
                _finish(running, file, take)
        while running:
            _finish(running, file, take)
    good = numbers[np.isfinite(numbers).all(axis=(1, 2))]
    if not len(good):
        raise RunError(f"no sample of this case runs: {next(iter(reasons.values()), 'no reason known')}")
    first = tuple(reasons[number] for number in sorted(reasons)[:3])
    shares = np.moveaxis(np.percentile(good, SHARES, axis=0), 0, -1)
    return Spread(case.name, speeds, cell, len(values), samples, np.array([each[0] for each in stands]).T, good.mean(axis=0),
                  shares, len(reasons), unsettled, first, numbers)  # fmt: skip


def _finish(running: dict[Future, int], file: LineFile, take: Callable[[int, Mapping[str, Any]], None]) -> None:
    """Wait for one or more samples and put them on the disk before anything else."""
    for future in next_finished(list(running)):
        number = running.pop(future)
        try:
            found = future.result()
            file.add({"sample": number, **found})
        except RunError as error:  # its worker was lost; not kept, so that a resumed run tries again
            found = {"failed": str(error)}
        take(number, found)


def as_it_stands(case: Any, rpm: float, cell: float, run_point: Any) -> tuple[list[float], str]:
    """The case itself (in a worker): its watched numbers, and its end state as text for the samples to start from."""
    point = run_point(case, rpm, cell=cell)
    state = getattr(point, "end_state", None)
    return [float(point.scalars[name]) for name in WATCHED], state_text(state) if usable(state) else ""


def one_sample(
    case: Any, overrides: Mapping[str, str], speeds: Sequence[float], cell: float, starts: Sequence[Any], run_point: Any
) -> dict[str, Any]:
    """One drawn case at all speeds (in a worker): "numbers" (2 lists by speed) and "settled", or why not in "failed"."""
    rows, settled = [], True
    try:
        changed = case.changed(overrides)
        for speed, start in zip(speeds, starts, strict=True):
            try:
                point = run_point(changed, speed, cell=cell, start=start)
            except (ValueError, RunError):  # another mesh, or a start that leads nowhere: from rest
                point = run_point(changed, speed, cell=cell)
            rows.append([float(point.scalars[name]) for name in WATCHED])
            settled = settled and bool(point.converged)
    except CaseError as error:
        return {"failed": error.problems[0].message, "numbers": [], "settled": False}
    except RunError as error:
        return {"failed": str(error), "numbers": [], "settled": False}
    if not all(math.isfinite(number) for row in rows for number in row):
        return {"failed": "no finite number came out", "numbers": [], "settled": False}
    return {"failed": "", "numbers": [list(each) for each in zip(*rows, strict=True)], "settled": settled}
