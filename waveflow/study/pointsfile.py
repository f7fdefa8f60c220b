"""The points of a result as a CSV file that opens right in a spreadsheet.

UTF-8 with a byte-order mark and CRLF line ends (RFC 4180), decimal points, units in the headers, empty cells for gaps.
Text that a spreadsheet would take for a formula gets an apostrophe in front.
"""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Sequence

import numpy as np

from waveflow.errors import clean_text
from waveflow.study.columns import shown
from waveflow.study.corrections import with_corrected
from waveflow.study.results import SweepResult


def points_csv(sweeps: Sequence[tuple[str, SweepResult]]) -> bytes:
    """The file's bytes: one line a point, options one after the other; `sweeps` pairs of label and result."""
    header, rows = points_table(sweeps)
    buffer = io.StringIO(newline="")
    writer = csv.writer(buffer, lineterminator="\r\n")
    writer.writerow(header)
    writer.writerows([safe_cell(cell) if isinstance(cell, str) else _number(cell) for cell in row] for row in rows)
    return b"\xef\xbb\xbf" + buffer.getvalue().encode("utf-8", errors="replace")


def points_table(sweeps: Sequence[tuple[str, SweepResult]]) -> tuple[list[str], list[list[str | float]]]:
    """(header, rows) of the same table: texts as they are, numbers in user's units, NaN in gaps."""
    rows = [pair for label, result in sweeps for pair in _with_flow_band(label, with_corrected(result))]
    names = list(dict.fromkeys(name for _, result in rows for name in result.names))
    cylinders: dict[str, int] = {}
    for _, result in rows:
        for name, values in result.per_cylinder.items():
            cylinders[name] = max(cylinders.get(name, 0), values.shape[1])
    single = [(name, number) for name, count in cylinders.items() for number in range(count)]
    header = ["option", "assumed", *(headed(name) for name in names)]
    header += [headed(name, f" cylinder {number + 1}") for name, number in single]
    table: list[list[str | float]] = []
    for label, result in rows:
        columns = [shown(name, result.column(name))[0] for name in names]
        columns += [shown(name, _cylinder(result, name, number))[0] for name, number in single]
        for i, rpm in enumerate(result.rpm):
            cells: list[str | float] = [label, "ASSUMED" if result.assumed else ""]
            cells += [float(column[i]) for column in columns]
            failed = result.failed.get(float(rpm), "")
            repeats = "" if failed else "yes" if result.converged[i] else "no"
            table.append([*cells, repeats, "yes" if result.added[i] else "no", failed])
    return [*header, "repeats", "added by refinement", "note"], table


def headed(name: str, more: str = "") -> str:
    """Header of a column: "torque [N m]"; no unit for a dimensionless one."""
    unit = shown(name, [])[1]
    return f"{name}{more}" + ("" if unit == "1" else f" [{unit}]")


def safe_cell(text: str) -> str:
    """Text that no spreadsheet takes for a formula, on one line."""
    text = clean_text(text, 500)
    return f"'{text}" if text.startswith(("=", "+", "-", "@")) else text


def _with_flow_band(label: str, result: SweepResult) -> list[tuple[str, SweepResult]]:
    rows = [(label, result)]
    if result.flow_band:
        low, high = result.flow_band
        rows += [(f"{label}, valve flow lowered", low), (f"{label}, valve flow raised", high)]
    return rows


def _cylinder(result: SweepResult, name: str, number: int) -> np.ndarray:
    values = result.per_cylinder.get(name)
    if values is None or number >= values.shape[1]:
        return np.full(len(result), np.nan)
    return values[:, number]


def _number(value: float) -> str:
    return f"{value:.10g}" if math.isfinite(value) else ""
