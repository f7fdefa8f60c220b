"""Stations of a port and lift tables of a cam from a spreadsheet, by the names of their columns: read, asked about, or
refused row by row. What is written is the plain CSV that a case names as `file`.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass

from waveflow.engine.grid import Grid, refusal
from waveflow.engine.sheetfile import BadRow, Question
from waveflow.engine.sheetnumbers import NOTHING, decimal_mark, fault_of, is_number, plain_number, split_cell
from waveflow.engine.tables import STATION_COLUMNS, column_of
from waveflow.units import TABLE, unit_named

_STATION_KINDS = {
    "at": "length", "width": "length", "height": "length", "corner_radius": "length", "area": "area", "perimeter": "length",
    "branches": "", "blocked_area": "area", "resolution": "length",
}  # fmt: skip
COLUMNS: dict[str, dict[str, str]] = {
    "stations": {name: _STATION_KINDS.get(name, "text") for name in STATION_COLUMNS},
    "lift": {"angle": "angle", "lift": "length"},
}
"""What may be imported: columns by name with the kind of quantity ("" a plain number, "text" words)."""
_NEEDED = {"stations": ("at",), "lift": ("angle", "lift")}
_LIKE = {"stations": '"at (mm),shape,width (mm),height (mm)"', "lift": '"angle (deg),lift (mm)"'}
_OFFERED = {"length": ("mm", "in"), "area": ("mm2", "cm2", "in2"), "angle": ("deg",)}


@dataclass(frozen=True)
class ImportedTable:
    """A table as read: `columns` in order, their `units`, `rows` as (row number, cells) with numbers as plain texts."""

    source: str
    what: str
    columns: tuple[str, ...]
    units: Mapping[str, str]
    rows: tuple[tuple[int, tuple[str, ...]], ...]
    questions: tuple[Question, ...]
    bad_rows: tuple[BadRow, ...]
    notes: tuple[str, ...]

    @property
    def ready(self) -> bool:
        """Whether nothing is left to ask and every row could be read."""
        return not self.questions and not self.bad_rows

    def headings(self) -> list[str]:
        """Column names with their units: "at (mm)"."""
        return [f"{name} ({self.units[name]})" if self.units.get(name) else name for name in self.columns]

    def normal_csv(self) -> str:
        """The plain CSV; ValueError for a table that is not ready."""
        import csv
        import io

        if not self.ready:
            raise ValueError("a table with open questions or bad rows cannot be written")
        buffer = io.StringIO()
        csv.writer(buffer, lineterminator="\n").writerows([self.headings(), *(cells for _, cells in self.rows)])
        return buffer.getvalue()


def import_table(grid: Grid, what: str, answers: Mapping[str, str] | None = None) -> ImportedTable:
    """The table of stations ("stations") or of lift ("lift") in a grid; `answers` by the keys of its questions.

    Raises CaseError where no heading row, or no needed column, can be found.
    """
    kinds, given, notes = COLUMNS[what], dict(answers or {}), list(grid.notes)
    top = next((k for k, (_, cells) in enumerate(grid.rows) if sum(column_of(cell)[0] in kinds for cell in cells) >= 2), None)
    if top is None:
        raise refusal(grid.source, "no row of headings with two columns that are known", hint=f"such as {_LIKE[what]}")
    notes += [f'row {line}: "{" ".join(filter(None, cells))[:60]}" taken as a title' for line, cells in grid.rows[:top]]
    places, units = _headings(grid.rows[top][1], kinds, notes)
    missing = [name for name in _NEEDED[what] if name not in places]
    if missing:
        seen = ", ".join(f'"{cell}"' for cell in grid.rows[top][1] if cell)
        raise refusal(grid.source, f'no column "{missing[0]}"', grid.rows[top][0], f"its columns are {seen}")
    body = list(grid.rows[top + 1 :])
    if body and not any(map(is_number, body[0][1])) and _units_below(body[0][1], places, kinds, units):
        body.pop(0)
    numeric = [name for name in places if kinds[name] != "text"]
    texts = [split_cell(cells[places[n]])[0] for _, cells in body for n in numeric if places[n] < len(cells)]
    mark, example = decimal_mark([text for text in texts if text], grid.separator)
    questions = []
    if not mark:
        mark = given.get("decimal mark", "")
        if mark not in ("comma", "point"):
            told = tuple(f"{example} is {plain_number(example, each) or 'a mistake'}" for each in ("comma", "point"))
            about = f'what parts the decimals in "{example}"'
            questions, mark = [Question("decimal mark", about, ("comma", "point"), told)], "point"
    rows, bad = [], []
    for line, cells in body:
        made = _row(line, cells, places, kinds, units, mark, grid.separator == "", notes)
        if isinstance(made, BadRow):
            bad.append(made)
        elif made is not None:
            rows.append((line, made))
    for name in numeric:
        kind = kinds[name]
        if not kind or units.get(name) or not any(cells[list(places).index(name)] for _, cells in rows):
            continue
        said = unit_named(given.get(f"{name} unit", ""), kind) if given.get(f"{name} unit") else None
        if said:
            units[name] = said
        else:
            questions.append(Question(f"{name} unit", f'unit of column "{name}"', _OFFERED[kind], free=True))
    if questions and questions[0].key == "decimal mark":
        bad = [each for each in bad if "does not fit" not in each.why]
    return ImportedTable(grid.source, what, tuple(places), units, tuple(rows), tuple(questions), tuple(bad), tuple(notes))


def _headings(cells: tuple[str, ...], kinds: Mapping[str, str], notes: list[str]) -> tuple[dict[str, int], dict[str, str]]:
    """Place and unit of every known column."""
    places: dict[str, int] = {}
    units: dict[str, str] = {}
    for k, cell in enumerate(cells):
        name, unit = column_of(cell)
        if name not in kinds or name in places:
            if cell:
                why = "named twice" if name in places else "not known"
                notes.append(f'column {k + 1}, "{cell[:40]}", is not used: {why}')
            continue
        places[name] = k
        found = unit_named(unit, kinds[name]) if unit and kinds[name] in TABLE else None
        if found:
            units[name] = found
    return places, units


def _units_below(cells: tuple[str, ...], places: Mapping[str, int], kinds: Mapping[str, str], units: dict[str, str]) -> bool:
    """Takes a row of units under the headings into `units`; False if the row is none."""
    found = {}
    for name, place in places.items():
        text = cells[place].strip("()[] ") if place < len(cells) else ""
        if text and kinds[name] in TABLE:
            unit = unit_named(text, kinds[name])
            if unit is None:
                return False
            found[name] = unit
    units.update(found)
    return bool(found)


def _row(line: int, cells: tuple[str, ...], places: Mapping[str, int], kinds: Mapping[str, str], units: dict[str, str],
         mark: str, workbook: bool, notes: list[str]) -> tuple[str, ...] | BadRow | None:  # fmt: skip
    """Cells of the known columns with plain numbers, or why the row cannot be used; None for a row without numbers."""
    text = " | ".join(cells)[:80]
    if not any(map(is_number, cells)):
        notes.append(f'row {line}: "{text[:60]}", no numbers, taken as a remark')
        return None
    made = []
    for number, (name, place) in enumerate(places.items()):
        cell = cells[place] if place < len(cells) else ""
        if kinds[name] == "text":
            made.append(re.sub(r"\s+", " ", "".join(char if char.isprintable() else " " for char in cell)).strip())
            continue
        cell = "" if cell.lower() in NOTHING else cell
        if not cell:
            if name in ("at", "angle", "lift"):
                return BadRow(line, text, f"no {name} there")
            made.append("")
            continue
        fault = fault_of(cell.lstrip("-") if name == "angle" else cell, mark, workbook)
        if fault:
            return BadRow(line, text, f'"{cell[:30]}" in column "{name}" {fault}')
        digits, unit = split_cell(cell)
        if unit and kinds[name]:
            own = unit_named(unit, kinds[name])
            if own is None or units.setdefault(name, own) != own:
                said = f'"{unit[:20]}" is no unit of it' if own is None else f"says {own} here and {units[name]} elsewhere"
                return BadRow(line, text, f'column {number + 1}, "{name}": {said}')
        made.append(plain_number(digits, mark, workbook))
    return tuple(made)
