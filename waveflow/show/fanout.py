"""`--workers` and `--cluster`: where the points of a study are computed, and what they will take."""

from __future__ import annotations

import functools
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

import click

from waveflow.show.endings import Refused
from waveflow.show.terminal import say


def fan_out(command: Callable[..., Any]) -> Callable[..., Any]:
    """Give a command the options --workers and --cluster; it gets one argument `workers`: a count, None, or a pool."""

    @click.option("--workers", type=click.IntRange(1, 256), metavar="COUNT", help="Points computed at once; one a core by "
                  "default. Results do not depend on it.")  # fmt: skip
    @click.option("--cluster", metavar="ADDRESS", help="Compute over a Dask cluster, such as tcp://10.0.0.5:8786, or over "
                  "processes of this machine: local:4. Results do not depend on it.")  # fmt: skip
    @functools.wraps(command)
    def with_pool(*args: Any, workers: int | None, cluster: str | None, **more: Any) -> Any:
        if cluster is None:
            return command(*args, workers=workers, **more)
        from waveflow.study.cluster import ClusterWorkers

        with ClusterWorkers(cluster, (lambda text: None) if more.get("quiet") else say) as pool:
            return command(*args, workers=pool, **more)

    return with_pool


def foretold(cases: Sequence[Any], planned: Any, workers: Any, folder: Path) -> str:
    """The plan [study.speeds.Plan] for every case [engine.case.Case] in words, and what a long one takes; or it is refused.

    Raises Refused where time, memory or the disk of `folder` will not do.
    """
    runs = [3 if "stock" in (each.intake.flow.kind, each.exhaust.flow.kind) and len(cases) > 1 else 1 for each in cases]
    points = sum(runs) * planned.most  # an ASSUMED flow is run with less and with more, too
    head = f"{len(cases)} options, for each: " if len(cases) > 1 else ""
    return " ".join(part for part in (head + planned.sentence, cost_of(cases, planned.first, points, workers, folder)) if part)


def cost_of(
    cases: Sequence[Any], speeds: Sequence[float], points: int, workers: Any, folder: Path | None, cell: float | None = None,
    built: int = 0,
) -> str:  # fmt: skip
    """What `points` [1] runs at `speeds` [rpm] take, in words, empty for little; the dearest case counts for all.

    built: changed cases [1] to be made for them.

    Raises Refused where time, memory or the disk of `folder` will not do.
    """
    from waveflow.study.estimate import estimate
    from waveflow.study.workers import usable_cores

    pooled = not (workers is None or isinstance(workers, int))
    cores = workers if isinstance(workers, int) else usable_cores()
    each = (estimate(case, speeds, points, cores, cell=cell, pooled=pooled, built=built) for case in cases)
    made = max(each, key=lambda one: one.cpu)
    refusal = made.refusal(folder)
    if refusal:
        raise Refused(refusal)
    return made.sentence
