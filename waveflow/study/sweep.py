"""Speeds over the cores: every finished point is kept at once, and nothing depends on who finishes first."""

from __future__ import annotations

import contextlib
import hashlib
import math
import os
from collections.abc import Iterable, Mapping
from concurrent.futures import Future
from typing import Any, Protocol

import numpy as np

from waveflow.engine.provenance import inputs_of
from waveflow.errors import RunError
from waveflow.study.chain import nearest, parents_of, state_of
from waveflow.study.journal import Journal, journal_key, program_version
from waveflow.study.lobes import tuned_length
from waveflow.study.records import PointRecord, RunPoint, record_of
from waveflow.study.results import CaseFacts, SweepResult, assemble
from waveflow.study.speeds import MOST_EXTRA, ROUNDS, Plan, SpeedRange, doubts, extra_speeds, plan_speeds
from waveflow.study.trendwords import trend_sentence
from waveflow.study.workers import Pool, next_finished, pool_of
from waveflow.study.writing import StoreError

_REFINED_BY = ("volumetric_efficiency", "torque", "power")


class Progress(Protocol):
    """Told about every finished speed, by the thread that called ``sweep``.

    `done` of `total` speeds (the total grows when points are added), the speed just finished [rpm] and its volumetric
    efficiency [1], NaN where it failed. Speeds found in the journal are told first; a method ``reused``, where there is one,
    hears before that how many they are, so that they do not count in an estimate of time.
    """

    def __call__(self, done: int, total: int, rpm: float, ve: float) -> None:
        ...


class SweepInterrupted(KeyboardInterrupt):
    """The user stopped a sweep. `partial` holds what is finished; `journal` the file it is kept in, or None."""

    def __init__(self, partial: SweepResult, total: int, journal: str | None) -> None:
        self.partial = partial
        self.total = total
        self.journal = journal
        super().__init__(self.sentence)

    @property
    def sentence(self) -> str:
        """What is kept, and how to go on."""
        done = f"Stopped: {len(self.partial)} of {self.total} speeds are finished"
        if self.journal is None:
            return f"{done}; they are not kept on the disk, as no file to resume from was named."
        return f"{done} and kept in {self.journal}; the same run with resume={self.journal!r} goes on from there."


def plan(
    case: Any, rpm: str | float | SpeedRange | Iterable[float], *, refine: bool | None = None,
    intake_length: float | None = None, most_extra: int = MOST_EXTRA,
) -> Plan:  # fmt: skip
    """What ``sweep`` would compute with the same arguments, and at most how many speeds. Raises ``SpeedsError``."""
    length = intake_length if intake_length is not None else tuned_length(case)
    return plan_speeds(
        rpm, refine=refine, sound_speed=_sound_speed(case), intake_length=length, most_extra=most_extra
    )


def sweep(
    case: Any,
    rpm: str | float | SpeedRange | Iterable[float],
    *,
    refine: bool | None = None,
    workers: int | Pool | None = None,
    progress: Progress | None = None,
    run_point: RunPoint | None = None,
    resume: str | os.PathLike[str] | None = None,
    intake_length: float | None = None,
    max_cycles: int | None = None,
    start: np.ndarray | None = None,
    arguments: Mapping[str, Any] | None = None,
    most_extra: int = MOST_EXTRA,
    warm: bool = True,
) -> SweepResult:
    """Compute a case over speeds.

    `rpm` [rpm]: a list is computed exactly as given, in its order; a range ("1500:7500", "1500:7500:250" or a
    ``SpeedRange``) gets a coarse row that suits the lobes and then points around the lobes that count, at most
    `most_extra`. `refine` True adds such points to a list, too; the result is then in ascending order.
    `workers`: threads, by default one a core, or an open pool (``study.cluster``). `resume`: journal file; every finished
    point is added to it at once and those found in it for the same case, program and settings are not computed again.
    `intake_length` [m] of the column that carries the lobes, by default taken from the case. `max_cycles`, `start` (state
    every point starts from) and further `arguments` by name (such as `cell`) are passed on to `run_point`. `warm`: points
    start from the end state of a neighbouring speed, as ``study.chain`` lays down, where no `start` is given; False: every
    one from rest.

    The result depends neither on `workers` nor on interruptions, bit for bit. A speed that fails is a gap (NaN) with
    its reason in ``failed``.

    Raises ``SpeedsError`` for speeds that make no sense, ``StoreError`` where the journal cannot be kept,
    ``SweepInterrupted`` (a ``KeyboardInterrupt``) with what is finished.
    """
    facts = facts_of(case, intake_length)
    planned = plan(case, rpm, refine=refine, intake_length=facts.intake_length, most_extra=most_extra)
    passed = {"max_cycles": max_cycles, "start": start, **(arguments or {})}
    warm = warm and start is None
    settings = {**passed, "warm": warm}
    if start is not None:
        settings["start"] = hashlib.sha256(np.ascontiguousarray(start, float).tobytes()).hexdigest()
    if run_point is None:
        from waveflow.study.cycle import run_point

    with Journal(resume, journal_key(facts.digest, settings)) as journal:
        job = _Sweep(case, facts, planned, journal, run_point, progress, passed, warm)
        with pool_of(workers, len(set(planned.first))) as pool:
            try:
                job.run(pool)
            except KeyboardInterrupt:
                job.collect_finished()
                kept = None if journal.path is None else str(journal.path)
                raise SweepInterrupted(job.result(), len(job.asked), kept) from None
            except BaseException:
                with contextlib.suppress(StoreError):  # the first mistake is the one to tell
                    job.collect_finished()
                raise
        return job.result()


def facts_of(case: Any, intake_length: float | None = None) -> CaseFacts:
    """What a result has to know of its case. `intake_length` [m] overrides the case's own."""
    assumed = [
        f"{mark.key}: {'; '.join(text for text in (mark.why, mark.value_text) if text)}"
        for mark in case.assumptions
        if mark.mark == "assumed"
    ]
    for side in ("intake", "exhaust"):
        flow = getattr(getattr(case, side, None), "flow", None)
        if getattr(flow, "kind", "") == "stock" and not any(text.startswith(side) for text in assumed):
            assumed.append(f"{side}.flow: no flow sheet of its own; the stock valve coefficient is kept")
    band = getattr(case.range, "band", None) if case.range is not None else None
    return CaseFacts(
        name=case.name,
        option=case.option,
        assumed_why=tuple(assumed),
        band=(float(band[0]), float(band[1])) if band else None,
        redline=case.engine.redline,
        intake_length=intake_length if intake_length is not None else tuned_length(case),
        digest=case.digest,
        text=case.text,
        inputs=tuple(each._asdict() for each in inputs_of(case)) if hasattr(case, "uncertain") else (),
        ratio=getattr(getattr(case, "compression", None), "ratio", None),
        remarks=tuple(f"{each.key}: {each.message}" for each in case.warnings),
    )


def _sound_speed(case: Any) -> float:
    """Sound speed of air at ambient temperature [m/s]; before anything is computed there is no better one."""
    return math.sqrt(1.4 * 287.05 * case.ambient.temperature)


def compute(
    case: Any, speed: float, start: np.ndarray | None, run_point: RunPoint, arguments: Mapping[str, Any], keep_state: bool
) -> PointRecord:
    """Compute one speed [rpm] (in a worker): its record, or one that says why there is none.

    Where it cannot go on from the state of a neighbour it is run from rest; so whether it runs does not hang on that one.
    """
    try:
        if start is not None and keep_state:
            with contextlib.suppress(RunError, ValueError):
                return record_of(speed, run_point(case, speed, **{**arguments, "start": start}), keep_state)
            start = None
        return record_of(speed, run_point(case, speed, **{**arguments, "start": start}), keep_state)
    except RunError as error:
        return PointRecord(rpm=speed, failed=str(error) or "the run failed and gave no reason")


class _Sweep:
    """One sweep under way. Only the thread that calls ``run`` writes, records and tells progress."""

    def __init__(
        self, case: Any, facts: CaseFacts, planned: Plan, journal: Journal, run_point: RunPoint,
        progress: Progress | None, arguments: Mapping[str, Any], warm: bool,
    ) -> None:  # fmt: skip
        self.warm = warm
        self.case, self.facts, self.planned, self.journal = case, facts, planned, journal
        self.run_point, self.progress, self.arguments = run_point, progress, arguments
        self.asked: dict[float, None] = {}
        self.records: dict[float, PointRecord] = {}
        self.running: dict[Future, float] = {}
        self.unrefined = False
        self.reused = 0  # points from the journal, which say nothing of the time the others take

    def run(self, pool: Pool) -> None:
        """The coarse row, then rounds of added points until nothing is left to add."""
        self._compute(pool, self.planned.first)
        for _ in range(ROUNDS if self.planned.refine else 0):
            room = self.planned.most - len(self.asked)
            wanted = extra_speeds(
                self._values(), self.asked, max(room, 1), _sound_speed(self.case), self.facts.intake_length
            )
            if not wanted:
                return
            if room <= 0:
                self.unrefined = True
                return
            self._compute(pool, wanted)

    def _compute(self, pool: Pool, speeds: Iterable[float]) -> None:
        """Compute speeds that were not asked for yet, each once the one it starts from is known."""
        fresh = [speed for speed in dict.fromkeys(speeds) if speed not in self.asked]
        parents: dict[float, float | None] = dict.fromkeys(fresh)
        if self.warm:
            parents = nearest(fresh, self._with_state()) if self.records else parents_of(fresh)
        self.asked.update(dict.fromkeys(fresh))
        kept = [speed for speed in fresh if speed in self.journal.points]
        self.reused += len(kept)
        if kept and self.progress is not None and hasattr(self.progress, "reused"):
            self.progress.reused(self.reused)
        for speed in kept:
            self._record(self.journal.points[speed])
        waiting = {speed: parent for speed, parent in parents.items() if speed not in self.records}
        while waiting or self.running:
            for speed in [speed for speed, parent in waiting.items() if parent is None or parent in self.records]:
                start = self._start_from(waiting.pop(speed))
                self.running[pool.submit(compute, self.case, speed, start, self.run_point, self.arguments, self.warm)] = speed
            for future in next_finished(list(self.running)):
                self._take(future)

    def _with_state(self) -> list[float]:
        return [speed for speed, record in self.records.items() if record.state]

    def _start_from(self, parent: float | None) -> np.ndarray | None:
        """The state a point starts from; None is rest."""
        if not self.warm:
            return self.arguments.get("start")
        return None if parent is None else state_of(self.records[parent].state)

    def _take(self, future: Future) -> None:
        """Keep what a worker finished. An exception other than a failed run is a mistake in the program: let it out."""
        speed = self.running[future]
        try:
            record = future.result()
        except RunError as error:  # the worker itself was lost: a gap here, not kept, so that a resumed run tries again
            record = PointRecord(rpm=speed, failed=f"{speed:g} rpm: {error}")
        else:
            self.journal.add(record)
        self.running.pop(future, None)
        self._record(record)

    def _record(self, record: PointRecord) -> None:
        self.records[record.rpm] = record
        if self.progress is not None:
            self.progress(len(self.records), len(self.asked), record.rpm, record.volumetric_efficiency)

    def collect_finished(self) -> None:
        """After a stop: keep points that were finished but not yet taken. Those still under way are given up."""
        for future in [future for future in self.running if future.done()]:
            if future.exception() is None:
                record = future.result()
                self.journal.add(record)
                self.records[record.rpm] = record
            self.running.pop(future)

    def _values(self) -> dict[str, dict[float, float]]:
        return {
            name: {speed: record.scalars.get(name, math.nan) for speed, record in sorted(self.records.items())}
            for name in _REFINED_BY
        }

    def result(self) -> SweepResult:
        """The result of what is recorded: in the list's order, or ascending if points were added."""
        order = self.planned.first if self.planned.in_order else sorted(self.asked)
        first = set(self.planned.first)
        made = assemble(
            self.facts,
            order,
            self.records,
            added=[speed for speed in self.asked if speed not in first],
            settings={"refined": self.planned.refine, **{k: v for k, v in self.arguments.items() if k != "start"}},
            program=program_version(),
        )
        return made.with_warnings(self._warnings(made))

    def _warnings(self, made: SweepResult) -> list[str]:
        sentences = []
        slow = [f"{speed:g}" for speed, known in zip(made.rpm, made.converged, strict=True) if not known]
        slow = [speed for speed in dict.fromkeys(slow) if float(speed) not in made.failed]
        if slow:
            sentences.append(f"The cycle did not come to repeat itself at {', '.join(slow)} rpm.")
        if self.facts.redline and len(made) and max(made.rpm) > self.facts.redline:
            sentences.append(
                f"Speeds above {self.facts.redline:g} rpm lie beyond the redline; computed up to {max(made.rpm):g} rpm."
            )
        if self.unrefined:
            sentences.append(
                f"Some lobes could not be refined within {self.planned.most_extra} added speeds; "
                "their tops are read from the coarser points."
            )
        burn = trend_sentence(made)
        sentences += [burn] if burn else []
        if self.planned.refine:
            speeds, ve = made.ordered("volumetric_efficiency")
            sound = made.ordered("runner_sound_speed")[1]
            mean = float(np.mean(sound)) if len(sound) else _sound_speed(self.case)
            sentences += doubts(list(speeds), list(ve), mean, self.facts.intake_length)
        return sentences
