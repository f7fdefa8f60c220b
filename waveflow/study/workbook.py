"""Tables as a workbook (.xlsx) for a spreadsheet: numbers as numbers, texts as texts, units in the headings.

No text becomes a formula or a link, whatever it looks like. Written by XlsxWriter (extra "sheets"); a workbook keeps 16
digits of a number.
"""

from __future__ import annotations

import io
import math
import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from waveflow.errors import clean_text
from waveflow.study.pointsfile import headed, points_table
from waveflow.study.results import SweepResult

LONGEST_CELL = 1000
WIDEST = 40


@dataclass(frozen=True)
class Page:
    """One page: `heads` with units, `rows` of texts and numbers (None, NaN: an empty cell)."""

    name: str
    heads: Sequence[str]
    rows: Sequence[Sequence[str | float | bool | None]]


def has_writer() -> bool:
    """Whether workbooks can be written here."""
    from importlib.util import find_spec

    return find_spec("xlsxwriter") is not None


def workbook(pages: Sequence[Page]) -> bytes:
    """Bytes of a workbook; the same pages give the same bytes. Raises ImportError where XlsxWriter is not installed."""
    import xlsxwriter

    buffer = io.BytesIO()
    options = {"in_memory": True, "strings_to_formulas": False, "strings_to_urls": False, "strings_to_numbers": False}
    book = xlsxwriter.Workbook(buffer, options)
    book.set_properties({"created": datetime(2000, 1, 1), "comments": "written by waveflow"})
    bold = book.add_format({"bold": True, "text_wrap": True, "valign": "top"})
    taken: set[str] = set()
    for page in pages:
        sheet = book.add_worksheet(_page_name(page.name, taken))
        sheet.freeze_panes(1, 0)
        for column, head in enumerate(page.heads):
            sheet.write_string(0, column, clean_text(head, LONGEST_CELL), bold)
        widths = [min(WIDEST, max(9, len(head) // 2 + 2)) for head in page.heads]
        for number, row in enumerate(page.rows, 1):
            for column, cell in enumerate(row):
                _write(sheet, number, column, cell)
                if isinstance(cell, str) and column < len(widths):
                    widths[column] = min(WIDEST, max(widths[column], len(cell) + 1))
        for column, width in enumerate(widths):
            sheet.set_column(column, column, width)
    book.close()
    return buffer.getvalue()


def _write(sheet: Any, row: int, column: int, cell: Any) -> None:
    if isinstance(cell, bool):
        sheet.write_string(row, column, "yes" if cell else "no")
    elif isinstance(cell, str):
        if cell:
            sheet.write_string(row, column, clean_text(cell, LONGEST_CELL))
    elif cell is not None and math.isfinite(cell):
        sheet.write_number(row, column, float(cell))


def _page_name(name: str, taken: set[str]) -> str:
    """At most 31 characters, none of []:*?/\\ or an apostrophe at an end, unlike every other page's."""
    plain = re.sub(r"[\[\]:*?/\\]", " ", clean_text(name)).strip(" '") or "page"
    made, number = plain[:31].rstrip(" '"), 1
    while made.lower() in taken or made.lower() == "history":
        number += 1
        made = f"{plain[: 28 - len(str(number))].rstrip()} {number}"
    taken.add(made.lower())
    return made


def sweep_pages(sweeps: Sequence[tuple[str, SweepResult]], sentences: Sequence[str] = ()) -> list[Page]:
    """Every table of one or several sweeps: points, each cylinder by itself, remarks. `sweeps`: label and result."""
    pages = [Page("points", *points_table(sweeps))]
    pages += _cylinders(sweeps)
    remarks = [*sentences, *(f"{label}: {text}" for label, result in sweeps for text in result.warnings)]
    return [*pages, Page("remarks", ["remark"], [[text] for text in remarks])] if remarks else pages


def _cylinders(sweeps: Sequence[tuple[str, SweepResult]]) -> list[Page]:
    from waveflow.study.columns import shown

    names = list(dict.fromkeys(name for _, result in sweeps for name in result.per_cylinder))
    most = max((values.shape[1] for _, result in sweeps for values in result.per_cylinder.values()), default=0)
    if most < 2 or not names:
        return []
    rows: list[list[Any]] = []
    for label, result in sweeps:
        columns = {name: shown(name, values)[0] for name, values in result.per_cylinder.items()}
        for i, rpm in enumerate(result.rpm):
            for k in range(most):
                known = {name: float(column[i, k]) for name, column in columns.items() if k < column.shape[1]}
                rows.append([label, float(rpm), float(k + 1), *(known.get(name) for name in names)])
    return [Page("cylinders", ["option", "rpm", "cylinder", *(headed(name) for name in names)], rows)]


def comparison_pages(comparison: Any, sentences: Sequence[str] = ()) -> list[Page]:
    """Every table of a comparison [study.compare.Comparison]: options side by side, changes by speed, and its sweeps."""
    told = comparison.rows()
    heads = list(dict.fromkeys(key for row in told for key in row))
    side_by_side = [[head, *(row.get(head) for row in told)] for head in heads if head != "option"]
    first = Page("options", ["", *(str(row["option"]) for row in told)], side_by_side)
    pairs = [(option.label, option.result) for option in comparison.options]
    words = [comparison.headline, *comparison.sentences, *sentences, *comparison.notes, comparison.leaves_out]
    return [first, *_changes(pairs), *sweep_pages(pairs, list(dict.fromkeys(words)))]


def _changes(pairs: Sequence[tuple[str, SweepResult]]) -> list[Page]:
    """VE, torque and power of every option at the speeds all have, and their change against the first in percent."""
    import numpy as np

    from waveflow.study.columns import shown

    common = pairs[0][1].rpm
    for _, result in pairs[1:]:
        common = np.intersect1d(common, result.rpm)
    common = np.unique(common)
    heads, columns = ["rpm"], [common]
    for name in ("volumetric_efficiency", "torque", "power"):
        base = None
        for label, result in pairs:
            known = dict(zip(result.rpm, result.column(name), strict=True))
            values = np.array([known[rpm] for rpm in common], float)
            heads.append(f"{headed(name)}, {label}")
            columns.append(shown(name, values)[0])
            if base is None:
                base = values
                continue
            with np.errstate(divide="ignore", invalid="ignore"):
                columns.append(np.where(base > 0.0, 100.0 * (values / base - 1.0), np.nan))
            heads.append(f"change of {name} [%], {label}")
    rows = [[float(each) for each in row] for row in zip(*columns, strict=True)]
    return [Page("by speed", heads, rows)]
