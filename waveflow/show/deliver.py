"""Results into files and onto the screen: the folder with its CSV, figures and result file, and the JSON form."""

from __future__ import annotations

import csv
import io
import json
import os
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import IO, Any

import numpy as np

from waveflow.show.from_results import comparison_view, stamp_of
from waveflow.show.words import MODEL_NOTE

FIGURE = "comparison"
# What stands at the end of a trace's name: (unit shown, factor from SI).
TRACE_UNITS = {
    "pressure": ("kPa", 1e-3),
    "sound speed": ("m/s", 1.0),
    "velocity": ("m/s", 1.0),
    "temperature": ("K", 1.0),
    "flow": ("g/s", 1e3),
    "lift": ("mm", 1e3),
    "mass": ("mg", 1e6),
    "volume": ("cc", 1e6),
}


def grid_words(grids: Sequence[Any]) -> str:
    """Words for the stamp [str] on the grid checks [study.together.GridReport] of all options; "" without any."""
    worst = [100 * grid.efficiency.gci for grid in grids if np.isfinite(grid.efficiency.gci)]
    return f"grid uncertainty of VE at most {max(worst):.2g} % on the finest of three grids" if worst else ""


def save_outcome(outcome: Any, folder: str | os.PathLike[str], command: str) -> list[Path]:
    """Write a comparison with its figures to a folder; returns the files. Raises ``StoreError``.

    `outcome` [study.together.Outcome]; `command` [str]: the line that made it, kept in the result.
    """
    from waveflow.study.store import save

    grid = grid_words(outcome.grids)
    where = save(outcome.comparison, folder, extra={"command": command, "sentences": list(outcome.extra), "grid": grid})
    return [where / "result.json", where / "points.csv", *draw_comparison(outcome.comparison, where, grid)]


def save_sweep(result: Any, folder: str | os.PathLike[str], command: str) -> list[Path]:
    """Write one option's sweep [SweepResult] to a folder; returns the files. Raises ``StoreError``."""
    from waveflow.study.store import save

    where = save(result, folder, extra={"command": command})
    return [where / "result.json", where / "points.csv"]


def draw_comparison(comparison: Any, folder: Path, grid: str = "") -> list[Path]:
    """Draw a comparison as PNG and SVG into a folder; returns the files. Raises ``StoreError``."""
    from waveflow.show.canvas import save
    from waveflow.show.comparison import comparison_figure

    figure = comparison_figure(comparison_view(comparison, grid))
    return [save(figure, folder / f"{FIGURE}{suffix}") for suffix in (".png", ".svg")]


def comparison_data(comparison: Any, extra: Sequence[str] = (), grid: str = "") -> dict[str, Any]:
    """A comparison as data for JSON: the answer in words, the table, the numbers [SI] of every option."""
    return {
        "headline": comparison.headline,
        "sentences": [*comparison.sentences, *extra],
        "rows": comparison.rows(),
        "notes": list(comparison.notes),
        "checks": stamp_of(comparison.results, grid),
        "results": [result.as_dict() for result in comparison.results],
        "note": MODEL_NOTE,
        "leaves_out": comparison.leaves_out,
    }


def sweep_data(result: Any) -> dict[str, Any]:
    """One option's sweep as data for JSON."""
    from waveflow.study.compare import LEAVES_OUT

    return {"result": result.as_dict(), "checks": stamp_of([result]), "note": MODEL_NOTE, "leaves_out": LEAVES_OUT}


def point_data(case: Any, point: Any, sentence: str) -> dict[str, Any]:
    """One speed [study.cycle.PointResult] as data for JSON, SI; the traces go to the CSV only."""
    from waveflow.study.compare import LEAVES_OUT

    return {
        "name": case.name,
        "option": case.option,
        "digest": case.digest,
        "sentence": sentence,
        "scalars": dict(point.scalars),
        "per_cylinder": {name: list(map(float, values)) for name, values in point.per_cylinder.items()},
        "converged": point.converged,
        "cycles": point.cycles,
        "checks": dict(point.checks),
        "note": MODEL_NOTE,
        "leaves_out": LEAVES_OUT,
    }


def print_json(data: Mapping[str, Any], stream: IO[str], ok: bool = True) -> None:
    """Write one JSON document; numbers that are not finite become null, text is kept in ASCII escapes."""
    json.dump(_finite({"format": 1, "ok": ok, **data}), stream, indent=1, allow_nan=False)
    stream.write("\n")


def _finite(value: Any) -> Any:
    if isinstance(value, Mapping):
        return {str(key): _finite(each) for key, each in value.items()}
    if isinstance(value, list | tuple):
        return [_finite(each) for each in value]
    if isinstance(value, np.ndarray | np.generic):
        return _finite(value.tolist())
    if isinstance(value, float):
        return value if np.isfinite(value) else None
    return value


def traces_csv(trace: Any) -> bytes:
    """One cycle by crank angle [study.cycle.Trace] as a CSV for spreadsheets: units in the headers, a line a degree.

    UTF-8 with byte-order mark and CRLF line ends (RFC 4180).
    """
    heads, columns = ["crank angle [deg]"], [trace.angle]
    for name in trace.names:
        unit, factor = next(each for end, each in TRACE_UNITS.items() if name.endswith(end))
        heads.append(f"{name} [{unit}]")
        columns.append(np.asarray(trace[name]) * factor)
    buffer = io.StringIO(newline="")
    writer = csv.writer(buffer, lineterminator="\r\n")
    writer.writerow(heads)
    writer.writerows([f"{value:.8g}" for value in row] for row in zip(*columns, strict=True))
    return b"\xef\xbb\xbf" + buffer.getvalue().encode()
