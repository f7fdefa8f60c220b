"""Tables that a case keeps in a CSV file: flow sheets, lift tables, port stations, measured burns.

Columns are found by name, units stand in the header ("lift (mm)") or in each cell ("1 mm"). Commas, semicolons and tabs
between columns, decimal commas, a byte-order mark, comment lines (#) and empty lines are all taken. A cell becomes the
same text with a unit as would stand in the case file, and keeps its own line for messages.
"""

from __future__ import annotations

import csv
import difflib
import re
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from waveflow.engine.files import read_text
from waveflow.engine.grid import is_workbook, read_grid, split_page
from waveflow.engine.lines import Key
from waveflow.engine.margins import SIGN
from waveflow.errors import CaseError, CaseProblem

Place = tuple[str, int | None]

MOST_LINES = 5000
STATION_COLUMNS = (
    "at", "shape", "width", "height", "corner_radius", "area", "perimeter", "branches", "blocked_area", "note",
    "instrument", "resolution", "file",
)  # fmt: skip
TEXT_COLUMNS = ("shape", "note", "instrument", "file")
_OTHER_NAMES = {
    "distance": "at", "radius": "corner_radius", "corner": "corner_radius", "blocked": "blocked_area", "cfm": "flow",
    "degrees": "angle", "crank_angle": "angle", "burned": "fraction", "valve_lift": "lift", "lobe_lift": "lift",
    "outline": "file",
}  # fmt: skip


@dataclass
class Sheet:
    """A CSV file as read: unit of each column (may be empty), and rows as (line, {column: cell})."""

    units: dict[str, str]
    rows: list[tuple[int, dict[str, str]]]


@dataclass
class Notes:
    """What is to be said of the reading: mistakes, remarks on keys, and keys whose value could not be read."""

    problems: list[CaseProblem] = field(default_factory=list)
    remarks: list[tuple[Key, str]] = field(default_factory=list)
    unread: set[Key] = field(default_factory=set)


def column_of(head: str) -> tuple[str, str]:
    """`"Corner radius (mm)"` into `("corner_radius", "mm")`."""
    match = re.fullmatch(r"\s*(.*?)\s*[(\[]([^()\[\]]*)[)\]]\s*", head)
    name, unit = (match[1], match[2]) if match else (head, "")
    name = re.sub(r"[\s_-]+", "_", name.strip().lower())
    return _OTHER_NAMES.get(name, name), unit.strip()


def read_sheet(path: Path, label: str) -> Sheet:
    """A CSV file or a workbook's page ("book.xlsx#page"), or CaseError with every row that cannot be read."""
    kept: list[tuple[int, Any]]
    if is_workbook(path.name):
        name, page = split_page(path.name)
        kept, separator = list(read_grid(path.with_name(name), label, page).rows), ""
    else:
        lines = read_text(path, label).replace("\r", "\n").split("\n")
        kept = [
            (number, line) for number, line in enumerate(lines, 1) if line.strip() and not line.lstrip().startswith("#")
        ]
        separator = next((mark for mark in (";", "\t") if kept and mark in kept[0][1]), ",")
    if len(kept) > MOST_LINES:
        raise CaseError([CaseProblem(label, "", None, f"more than {MOST_LINES} rows")])
    if len(kept) < 2:
        message = "empty" if not kept else "a header and nothing below it"
        raise CaseError(
            [CaseProblem(label, "", None, message, hint='begin with a header such as "lift (mm),flow (CFM)"')]
        )
    names = [column_of(cell) for cell in _cells(kept[0][1], separator, label, kept[0][0])]
    problems = []
    doubled = {name for name, _ in names if [each for each, _ in names].count(name) > 1 and name}
    for name in sorted(doubled):
        problems.append(CaseProblem(label, "", None, f'two columns are called "{name}"', line=kept[0][0]))
    rows = []
    for number, line in kept[1:]:
        cells = [cell.strip() for cell in _cells(line, separator, label, number)]
        while len(cells) > len(names) and not cells[-1]:
            cells.pop()
        if len(cells) > len(names):
            hint = 'decimal commas need semicolons between the columns: "1,5;18,3"' if separator == "," else ""
            message = f"{len(cells)} cells under {len(names)} headings"
            problems.append(CaseProblem(label, "", None, message, hint=hint, line=number))
            continue
        if separator != ",":
            cells = [re.sub(r"^([+-]?[0-9]*),([0-9]+)", r"\1.\2", cell) for cell in cells]
        if any(cells):
            rows.append((number, {name: cell for (name, _), cell in zip(names, cells, strict=False) if cell}))
    if problems:
        raise CaseError(problems[:20])
    return Sheet(dict(names), rows)


def _cells(line: Any, separator: str, label: str, number: int) -> list[str]:
    if not separator:
        return list(line)  # a workbook's row is in cells already
    try:
        rows = list(csv.reader([line], delimiter=separator, skipinitialspace=True, strict=True))
    except csv.Error:
        raise CaseError([CaseProblem(label, "", None, "quotes that do not close", line=number)]) from None
    return rows[0] if rows else []


def _cell(sheet: Sheet, row: dict[str, str], name: str) -> str | None:
    cell = row.get(name)
    unit = sheet.units.get(name, "")
    if cell is None or name in TEXT_COLUMNS or not unit:
        return cell
    return f"{cell} {unit}" if re.fullmatch(r"[-+0-9.eE]+", cell) else cell


_HAS_UNIT = re.compile(r"[0-9.]\s*[A-Za-z%\"'/]")
_NUMBER = re.compile(r"[-+]?[0-9.]+([eE][-+]?[0-9]+)?")


def split_series(text: str) -> list[str]:
    """`"1, 2, 3 mm"` as `["1 mm", "2 mm", "3 mm"]`: a column written as one text, its unit and one margin at the end."""
    margins = list(SIGN.finditer(text))
    tail = ""
    if len(margins) == 1 and not re.search("[,;]", text[margins[0].start() :]):
        text, tail = text[: margins[0].start()], text[margins[0].start() :].strip()
    pieces = [piece.strip() for piece in text.replace(";", ",").split(",")]
    if len(pieces) == 1:
        pieces = text.split()
    unit = ""
    last = pieces[-1].split(None, 1) if pieces else []
    if len(last) == 2:
        pieces[-1], unit = last
    elif len(pieces) > 1 and not re.search("[0-9]", pieces[-1]):
        unit = pieces.pop()
    # "2 mm, 4 mm, 6 mm" says its unit every time
    units = ["" if _HAS_UNIT.search(piece) and not _NUMBER.fullmatch(piece) else unit for piece in pieces]
    return [" ".join(word for word in (piece, own, tail) if word) for piece, own in zip(pieces, units, strict=True)]


def expand_tables(
    tree: dict[str, Any], places: dict[Key, Place], folder: Path | None, label: str, notes: Notes
) -> None:
    """Puts the rows of every CSV file named by a key `file` in its place, into `tree` and `places`."""
    wanted = [(side, name) for side in ("intake", "exhaust") for name in ("port", "cam", "flow")] + [("burn",)]
    entries = tree.get("cylinder")
    count = len(entries) if isinstance(entries, list) else 0
    wanted += [("cylinder", k, *key) for k in range(count) for key in wanted[:-1] if key[-1] != "cam"]
    for key in wanted:
        table: Any = tree
        for part in key:
            table = table[part] if isinstance(part, int) else table.get(part) if isinstance(table, dict) else None
        if isinstance(table, dict) and "file" in table:
            _expand(key, table, places, folder, label, notes)
        stations = table.get("stations") if isinstance(table, dict) and key[-1] == "port" else None
        for number, station in enumerate(stations if isinstance(stations, list) else ()):
            if isinstance(station, dict) and "file" in station:
                _expand((*key, "stations", number), station, places, folder, label, notes)


def _expand(
    key: Key, table: dict[str, Any], places: dict[Key, Place], folder: Path | None, label: str, notes: Notes
) -> None:
    name = table.pop("file")
    own_label, line = places.get((*key, "file"), (label, None))
    if isinstance(key[-1], int):
        # named in a row of a station table, or in the case file
        own_label, line = places.get((*key, "file"), places.get(key, (label, None)))
    columns = ("stations",) if key[-1] == "port" else _columns_of(key)

    def bad(message: str, hint: str = "") -> None:
        value = f'"{name}"' if isinstance(name, str) else None
        steps = (f"[{part}]" if isinstance(part, int) and key[0] == "cylinder" else f".{part}" for part in key)
        dotted = "".join(steps)[1:] + ".file"
        notes.problems.append(CaseProblem(own_label, dotted, value, message, hint=hint, line=line))
        notes.unread.update((*key, column) for column in columns)

    if not isinstance(name, str) or not name.strip() or "\0" in name:
        return bad("not the name of a file in quotes")
    if folder is None:
        return bad("a case given as text cannot name a file")
    if Path(name).is_absolute() or re.match(r"[A-Za-z]:", name):
        return bad("an absolute path", "name the table from this file's own folder")
    both = [column for column in columns if column in table]
    if both:
        return bad(f"given beside {' and '.join(both)}", "give the file or the values, not both")
    sheet_label = (Path(own_label).parent / name).as_posix() if "/" in own_label or "\\" in own_label else name
    try:
        sheet = read_sheet(folder / name, sheet_label)
    except CaseError as error:
        first = error.problems[0]
        if first.message.startswith(("no such file", "not a file", "cannot be read")):
            return bad(first.message, first.hint)
        notes.problems.extend(error.problems)
        notes.unread.update((*key, column) for column in columns)
        return None
    table["read_from"] = name
    places[(*key, "read_from")] = (own_label, line)
    if key[-1] == "port":
        _stations(key, table, sheet, sheet_label, places, notes)
    elif isinstance(key[-1], int):
        _outline(key, table, sheet, sheet_label, places, notes)
    else:
        _series(key, columns, table, sheet, sheet_label, places, notes)
    return None


def _columns_of(key: Key) -> tuple[str, ...]:
    if isinstance(key[-1], int):
        return ("points",)
    return {"cam": ("angle", "lift"), "flow": ("lift", "flow")}.get(str(key[-1]), ("angle", "fraction"))


def _stations(key: Key, table: dict, sheet: Sheet, label: str, places: dict[Key, Place], notes: Notes) -> None:
    for name in sheet.units:
        if name and name not in STATION_COLUMNS:
            close = difflib.get_close_matches(name, STATION_COLUMNS, 1, 0.55)
            hint = f'did you mean "{close[0]}"?' if close else f"columns: {', '.join(STATION_COLUMNS)}"
            notes.problems.append(CaseProblem(label, "", None, f'unknown column "{name}"', hint=hint))
            if close:
                notes.unread.update((*key, "stations", number, close[0]) for number in range(len(sheet.rows)))
    stations = []
    for number, (line, row) in enumerate(sheet.rows):
        stations.append({name: _cell(sheet, row, name) for name in STATION_COLUMNS if name in row})
        places[(*key, "stations", number)] = (label, line)
    table["stations"] = stations
    places[(*key, "stations")] = (label, None)


def _outline(key: Key, table: dict, sheet: Sheet, label: str, places: dict[Key, Place], notes: Notes) -> None:
    """Points round a mould slice, columns x and y; a row that lacks one is told, as a wall left out moves the area."""
    missing = [name for name in ("x", "y") if name not in sheet.units]
    for name in missing:
        seen = ", ".join(f'"{each}"' for each in sheet.units if each)
        notes.problems.append(CaseProblem(label, "", None, f'no column "{name}"', hint=f"its columns are {seen}"))
    points = []
    for line, row in sheet.rows if not missing else ():
        cells = [_cell(sheet, row, name) for name in ("x", "y")]
        if None in cells:
            notes.problems.append(CaseProblem(label, "", None, f"no {'xy'[cells.index(None)]} there", line=line))
            missing.append("row")
        places[(*key, "points", len(points))] = (label, line)
        points.append(cells)
    places[(*key, "points")] = (label, None)
    if missing:
        notes.unread.add((*key, "points"))
    else:
        table["points"] = points


def _series(
    key: Key, columns: tuple[str, ...], table: dict, sheet: Sheet, label: str, places: dict[Key, Place], notes: Notes
) -> None:
    """Two columns of numbers; a flow sheet may hold both sides, its flow column then bears the side's name."""
    sources = []
    for column in columns:
        source = str(key[-2]) if column == "flow" and column not in sheet.units else column
        if source not in sheet.units:
            seen = ", ".join(f'"{name}"' for name in sheet.units if name)
            also = f' or "{key[-2]}"' if column == "flow" else ""
            hint = f"its columns are {seen}"
            notes.problems.append(CaseProblem(label, "", None, f'no column "{column}"{also}', hint=hint))
            notes.unread.update((*key, each) for each in columns)
            return
        sources.append(source)
    for column in columns:
        table[column] = []
        places[(*key, column)] = (label, None)
    for line, row in sheet.rows:
        cells = [_cell(sheet, row, source) for source in sources]
        if None in cells:
            remark = f"{label}:{line}: no {sources[cells.index(None)]} there, row left out"
            notes.remarks.append(((*key, "read_from"), remark))
            continue
        for column, cell in zip(columns, cells, strict=True):
            places[(*key, column, len(table[column]))] = (label, line)
            table[column].append(cell)
