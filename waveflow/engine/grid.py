"""A table somebody keeps in a spreadsheet or a text file, as rows of text cells with the numbers of their rows.

Text with commas, semicolons, tabs or blanks between its columns, in UTF-8, UTF-16 or Windows-1252; workbooks where
python-calamine is installed. Nothing is interpreted here. A number of a workbook becomes the shortest text that gives
the same number back.
"""

from __future__ import annotations

import csv
import datetime
import re
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from waveflow.engine.files import LARGEST, decoded, read_bytes
from waveflow.errors import CaseError, CaseProblem

MOST_ROWS = 5000
MOST_CELLS = 200
MOST_BYTES = 5 * LARGEST
WORKBOOKS = (".xlsx", ".xlsm", ".xls", ".xlsb", ".ods")
SEPARATOR_WORDS = {",": "commas", ";": "semicolons", "\t": "tabs", " ": "blanks"}


@dataclass(frozen=True)
class Grid:
    """`rows` as (row number in the file, cells); `remarks`: comment lines (row, text without the mark).

    `separator`: what stood between the cells, "" in a workbook; `page`: the workbook's sheet; `notes`: sentences on how
    the file had to be read.
    """

    source: str
    separator: str
    rows: tuple[tuple[int, tuple[str, ...]], ...]
    remarks: tuple[tuple[int, str], ...] = ()
    page: str = ""
    notes: tuple[str, ...] = ()


def is_workbook(name: str) -> bool:
    """Whether a file of this name is a workbook, with or without a page named behind it ("book.xlsx#intake")."""
    return Path(split_page(name)[0]).suffix.lower() in WORKBOOKS


def split_page(name: str) -> tuple[str, str]:
    """`"book.xlsx#intake"` as `("book.xlsx", "intake")`; a text file's name stays whole."""
    file, mark, page = name.rpartition("#")
    return (file, page) if mark and Path(file).suffix.lower() in WORKBOOKS else (name, "")


def read_grid(path: Path, label: str = "", page: str = "") -> Grid:
    """All cells of a file; `page` names the sheet of a workbook (its first, if empty).

    Raises CaseError with one sentence: no such file, too large, no text, no such page, no reader for workbooks.
    """
    name = label or path.name
    if path.suffix.lower() in WORKBOOKS:
        return _workbook(path, name, page)
    data = read_bytes(path, name, MOST_BYTES, "a table")
    text, encoding = decoded(data)
    notes = () if encoding == "UTF-8" else (f"not UTF-8 text: read as {encoding}",)
    return grid_of_text(text, name, notes)


def grid_of_text(text: str, label: str, notes: tuple[str, ...] = ()) -> Grid:
    """Cells of a text. Semicolons or tabs part its columns where most lines with digits hold one, else commas, else
    blanks. Raises CaseError for quotes that do not close, zero bytes, and more than can be a table.
    """
    lines = text.lstrip("\ufeff").replace("\r\n", "\n").replace("\r", "\n").split("\n")
    if len(lines) > MOST_ROWS:
        raise refusal(label, f"more than {MOST_ROWS} lines")
    if "\0" in text:
        raise refusal(label, "holds a zero byte: neither text nor a workbook", text[: text.index("\0")].count("\n") + 1)
    if lines[0].lower().startswith("sep=") and len(lines[0].strip()) == 5:
        lines[0] = ""  # some spreadsheets name their separator so; the lines below show it
    kept = [(number, line) for number, line in enumerate(lines, 1) if line.strip(" ,;\t")]
    remarks = tuple((number, line.strip().lstrip("#").strip()) for number, line in kept if line.lstrip().startswith("#"))
    kept = [(number, line) for number, line in kept if not line.lstrip().startswith("#")]
    separator = _separator([line for _, line in kept])
    rows = []
    for number, line in kept:
        cells = _cells(line, separator, label, number)
        if len(cells) > MOST_CELLS:
            raise refusal(label, f"more than {MOST_CELLS} columns", number)
        rows.append((number, tuple(cell.strip() for cell in cells)))
    return Grid(label, separator, tuple(row for row in rows if any(row[1])), remarks, notes=notes)


def _separator(lines: list[str]) -> str:
    digits = [line for line in lines if re.search("[0-9]", line)] or lines
    for mark in (";", "\t"):
        if sum(mark in line for line in digits) * 2 > len(digits):
            return mark
    if sum("," in line for line in digits) * 2 > len(digits):
        return ","
    apart = sum(bool(re.match(r"\s*\S*[0-9]\S*\s+\S*[0-9]", line)) for line in digits)
    return " " if apart * 2 > len(digits) else ","


def _cells(line: str, separator: str, label: str, number: int) -> list[str]:
    if separator == " ":
        apart = re.split(r"\s{2,}", line.strip())
        return apart if len(apart) > 1 else line.split()
    if '"' in line and not re.search(rf'(?:^|{re.escape(separator)})\s*"', line):
        return line.split(separator)  # an inch mark behind a number opens no quotation
    try:
        return next(csv.reader([line], delimiter=separator, skipinitialspace=separator != "\t", strict=True), [])
    except csv.Error:
        raise refusal(label, "quotes that do not close", number) from None


def refusal(label: str, message: str, line: int | None = None, hint: str = "") -> CaseError:
    """A CaseError of one sentence on a file."""
    return CaseError([CaseProblem(label, "", None, message, hint=hint, line=line)])


def _workbook(path: Path, label: str, page: str) -> Grid:
    try:
        import python_calamine
    except ImportError:
        raise refusal(label, "workbooks are read by python-calamine, which is not installed",
                      hint='pip install "waveflow[sheets]", or save the page as CSV') from None  # fmt: skip
    data = read_bytes(path, label, MOST_BYTES, "a table")
    import io

    try:
        book = python_calamine.CalamineWorkbook.from_filelike(io.BytesIO(data))
        names = list(book.sheet_names)
        if not page or page in names:
            cells = book.get_sheet_by_name(page or names[0]).to_python(skip_empty_area=False)
    except Exception as error:  # noqa: BLE001 - the reader has an error of its own for every kind of damage
        raise refusal(label, f"cannot be read as a workbook: {str(error)[:120]}") from None
    if page and page not in names:
        raise refusal(label, f'has no page "{page}"', hint=f"its pages are {', '.join(names)}")
    if len(cells) > MOST_ROWS or max((len(row) for row in cells), default=0) > MOST_CELLS:
        raise refusal(label, f"more than {MOST_ROWS} rows or {MOST_CELLS} columns")
    rows = [(number, tuple(_text(cell) for cell in row)) for number, row in enumerate(cells, 1)]
    remarks = tuple((number, row[0].lstrip("# ")) for number, row in rows if row and row[0].startswith("#"))
    kept = tuple(each for each in rows if any(each[1]) and not each[1][0].startswith("#"))
    others = f"; its other pages, {', '.join(names[1:])}, are not read" if len(names) > 1 and not page else ""
    return Grid(label, "", kept, remarks, page or names[0], (f'page "{page or names[0]}" of the workbook{others}',))


def _text(cell: Any) -> str:
    if isinstance(cell, bool):
        return "yes" if cell else "no"
    if isinstance(cell, float):
        return repr(int(cell)) if cell.is_integer() and abs(cell) < 1e15 else repr(cell)
    if isinstance(cell, (datetime.date, datetime.time, datetime.timedelta)):
        return str(cell)
    return str(cell).strip()
