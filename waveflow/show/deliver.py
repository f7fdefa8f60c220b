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
from waveflow.study.columns import measure

FIGURE = "comparison"
# What stands at the end of a trace's name: the kind of quantity.
TRACE_KINDS = {
    "pressure": "pressure",
    "sound speed": "velocity",
    "velocity": "velocity",
    "temperature": "temperature",
    "flow": "mass_flow",
    "lift": "length",
    "mass": "mass",
    "volume": "volume",
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
    book = _workbook_of(outcome.comparison, outcome.extra)
    return [where / "result.json", where / "points.csv", *draw_comparison(outcome.comparison, where, grid), *book]


def save_sweep(result: Any, folder: str | os.PathLike[str], command: str) -> list[Path]:
    """Write one option's sweep [SweepResult] to a folder; returns the files. Raises ``StoreError``."""
    from waveflow.study.store import save

    where = save(result, folder, extra={"command": command})
    return [where / "result.json", where / "points.csv", *_workbook_of(result)]


def _workbook_of(made: Any, sentences: Sequence[str] = (), path: Path | None = None) -> list[Path]:
    """Writes every table of a sweep or comparison as a workbook, where one was asked for; returns the file."""
    from waveflow.show.asked import workbook_asked

    target = path or workbook_asked()
    if target is None:
        return []
    from waveflow.study.workbook import comparison_pages, sweep_pages, workbook
    from waveflow.study.writing import write_atomic

    pages = comparison_pages(made, sentences) if hasattr(made, "options") else sweep_pages([(made.label, made)], sentences)
    write_atomic(target, workbook(pages))
    return [target]


def draw_comparison(comparison: Any, folder: Path, grid: str = "") -> list[Path]:
    """Draw a comparison as PNG and SVG into a folder; returns the files. Raises ``StoreError``."""
    from waveflow.show.canvas import save
    from waveflow.show.comparison import comparison_figure

    figure = comparison_figure(comparison_view(comparison, grid))
    return [save(figure, folder / f"{FIGURE}{suffix}") for suffix in (".png", ".svg")]


def write_again(made: Any, grid: str, figure: Path | None, table: Path | None) -> None:
    """Draw a kept comparison and write the points of a kept result to files; raises ``Refused`` for a figure of one sweep."""
    from waveflow.show.endings import Refused
    from waveflow.study.pointsfile import points_csv
    from waveflow.study.writing import write_atomic

    compared = hasattr(made, "options")
    if figure is not None:
        if not compared:
            raise Refused("This folder holds a single sweep; there is no comparison to draw.")
        from waveflow.show.canvas import save
        from waveflow.show.comparison import comparison_figure

        save(comparison_figure(comparison_view(made, grid)), figure)
    _workbook_of(made)
    if table is not None and table.suffix.lower() == ".xlsx":
        _workbook_of(made, path=table)
    elif table is not None:
        pairs = [(each.label, each.result) for each in made.options] if compared else [(made.label, made)]
        write_atomic(table, points_csv(pairs))


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
        **_corrections(comparison.results),
    }


def sweep_data(result: Any) -> dict[str, Any]:
    """One option's sweep as data for JSON."""
    from waveflow.study.compare import LEAVES_OUT

    told = {"result": result.as_dict(), "checks": stamp_of([result]), "note": MODEL_NOTE, "leaves_out": LEAVES_OUT}
    return {**told, **_corrections([result])}


def _corrections(results: Sequence[Any]) -> dict[str, Any]:
    """Factor and conditions of each result, where a correction was asked for; the numbers beside it stay uncorrected."""
    from waveflow.study.corrections import correction_of_result

    made = [correction_of_result(result) for result in results]
    return {"corrections": [each.as_dict() for each in made]} if all(each is not None for each in made) else {}


def point_data(case: Any, point: Any, sentence: str) -> dict[str, Any]:
    """One speed [study.cycle.PointResult] as data for JSON, SI; the traces go to the CSV only."""
    from waveflow.study.compare import LEAVES_OUT
    from waveflow.study.corrections import correction_asked

    correction = correction_asked(case)
    return {
        **({} if correction is None else {"corrections": [correction.as_dict()]}),
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


def save_traces(case: Any, point: Any, table: Path | None) -> None:
    """Writes one cycle by crank angle as a CSV, or as a workbook where the name says so or one was asked for."""
    from waveflow.show.asked import workbook_asked
    from waveflow.study.writing import write_atomic

    books = {path for path in (table, workbook_asked()) if path is not None and path.suffix.lower() == ".xlsx"}
    if table is not None and table not in books:
        write_atomic(table, traces_csv(point.trace))
    for path in books:
        from waveflow.study.columns import shown
        from waveflow.study.pointsfile import headed
        from waveflow.study.workbook import Page, workbook

        heads, columns = traces_table(point.trace)
        scalars = [[headed(name), float(shown(name, [value])[0][0])] for name, value in point.scalars.items()]
        singles = {name: shown(name, values)[0] for name, values in point.per_cylinder.items()}
        count = max((len(values) for values in singles.values()), default=0)
        cylinders = [[headed(name), *map(float, values)] for name, values in singles.items()]
        pages = [Page("one cycle", ["", f"{case.name} {case.option}".strip()], scalars),
                 Page("cylinders", ["", *(f"cylinder {k + 1}" for k in range(count))], cylinders),
                 Page("by crank angle", heads, list(zip(*columns, strict=True)))]  # fmt: skip
        write_atomic(path, workbook(pages))


def traces_table(trace: Any) -> tuple[list[str], list[Any]]:
    """(headings with units, columns) of one cycle by crank angle [study.cycle.Trace]."""
    heads, columns = ["crank angle [deg]"], [trace.angle]
    for name in trace.names:
        kind = next(each for end, each in TRACE_KINDS.items() if name.endswith(end))
        # a trace's temperatures stay kelvins where nothing else is asked for
        values, unit, _ = measure(kind, trace[name], usual="K" if kind == "temperature" else "")
        heads.append(f"{name} [{unit}]")
        columns.append(values)
    return heads, columns


def traces_csv(trace: Any) -> bytes:
    """One cycle by crank angle [study.cycle.Trace] as a CSV for spreadsheets: units in the headers, a line a degree.

    UTF-8 with byte-order mark and CRLF line ends (RFC 4180).
    """
    heads, columns = traces_table(trace)
    buffer = io.StringIO(newline="")
    writer = csv.writer(buffer, lineterminator="\r\n")
    writer.writerow(heads)
    writer.writerows([f"{value:.8g}" for value in row] for row in zip(*columns, strict=True))
    return b"\xef\xbb\xbf" + buffer.getvalue().encode()
