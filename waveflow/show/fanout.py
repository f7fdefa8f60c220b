"""`--workers` and `--cluster`: where the points of a study are computed."""

from __future__ import annotations

import functools
from collections.abc import Callable
from typing import Any

import click

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
