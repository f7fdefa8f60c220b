"""A grid of cells -> a flow sheet: headings, units, decimal mark, rows, and a question for everything it leaves open.

Nothing is guessed: a heading, a cell, a remark or an answer must say which unit, side or decimal mark is meant. An answer
only fills what the sheet leaves open; one that contradicts it is refused.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from pathlib import Path

from waveflow.engine.grid import Grid, read_grid, refusal
from waveflow.engine.sheetfacts import answered_facts, fact_of, facts_of, open_facts, yes
from waveflow.engine.sheetfile import BadRow, FlowColumn, FlowFile, Question
from waveflow.engine.sheetnumbers import NOTHING, decimal_mark, fault_of, is_number, plain_number, split_cell
from waveflow.engine.sheetwords import Heading, depression_text, squared, understood
from waveflow.errors import CaseError, CaseProblem
from waveflow.units import UnitError, parse, unit_named

LIFT_UNITS = ("mm", "in", "thou")
FLOW_UNITS = ("CFM", "L/s", "L/min", "m3/h")
_HEADING_ROWS = 3
_DROP = "pressure_difference"
_LIKE = 'a flow sheet has headings such as "lift (mm),intake (CFM)" and rows of numbers below'
Row = tuple[int, tuple[str, ...]]


def read_flow_file(path: Path, answers: Mapping[str, str] | None = None, page: str = "", label: str = "") -> FlowFile:
    """The sheet in a text file or workbook. `answers`: what the file does not say, by the keys of its questions
    ("lift unit", "flow unit", "side", "depression", "decimal mark", "valve", "leak subtracted", "column 3", ...).

    Raises CaseError where no table can be made out at all, or an answer contradicts the file.
    """
    return flow_file(read_grid(path, label, page), answers)


def flow_file(grid: Grid, answers: Mapping[str, str] | None = None) -> FlowFile:
    """The sheet in a grid of cells; see `read_flow_file`."""
    given = {squared(key).lower(): value.strip() for key, value in (answers or {}).items()}
    grid = _upright(grid)
    first = next((k for k, (_, cells) in enumerate(grid.rows) if _is_data(cells)), None)
    if first is None:
        raise refusal(grid.source, "no row of numbers under a heading", hint=_LIKE)
    facts, above, body, notes, foreign = facts_of(grid, first)
    problems = answered_facts(facts, given, grid.source)
    heads = _headings(above, notes)
    width = len(heads)
    decimal, questions = _decimal(grid, body, given, facts)
    heads = [_answered(k, head, given, problems, grid.source) for k, head in enumerate(heads)]
    lift_at, flow_at = _columns(grid, heads, body, questions, notes)
    rows, bad = _rows(body, width, lift_at, flow_at, decimal, grid.separator == "", notes)
    places = [*([lift_at] if lift_at is not None else []), *flow_at]
    units = {k: _unit(rows, k, heads[k], facts, given, questions, bad, problems, grid) for k in places}
    lift_unit = units[lift_at] if lift_at is not None else ""
    if given.get("flow unit") and not all(heads[k].unit for k in flow_at):
        # the answer was meant for the columns that say nothing
        problems = [each for each in problems if each.key != "flow unit" or "itself" not in each.message]
    if any(each.key == "decimal mark" for each in questions):
        bad = [each for each in bad if "does not fit" not in each.why]  # the answer decides those
    left_out = {each.line for each in bad}
    rows = [row for row in rows if row[0] not in left_out]
    if lift_at is not None:
        rows = _ordered(rows, lift_at, bad, notes)
    zero = next((row for row in rows if lift_at is not None and float(row[1][lift_at]) == 0.0), None)
    rows = [row for row in rows if row is not zero]
    columns = [_column(k, heads[k], units[k], rows, zero, facts, given, problems, grid.source) for k in flow_at]
    if problems:
        raise CaseError(problems)
    questions += open_facts(columns, facts, lift_unit)
    lifts = tuple(cells[lift_at] for _, cells in rows) if lift_at is not None else ()
    if lift_at is not None and not lifts and not bad and not questions:
        raise refusal(grid.source, "no row with a lift above zero", hint=_LIKE)
    return FlowFile(grid.source, grid.separator, decimal, heads[lift_at].text if lift_at is not None else "", lift_unit,
                    lifts, tuple(line for line, _ in rows), tuple(columns), facts, tuple(dict.fromkeys(questions)),
                    tuple(sorted(bad, key=lambda each: each.line)), (*grid.notes, *notes), foreign)  # fmt: skip


def _upright(grid: Grid) -> Grid:
    """A sheet whose lifts stand side by side in a row, turned; its rows then count the columns."""
    long = [cells for _, cells in grid.rows if len(cells) > 2 and not is_number(cells[0])
            and sum(is_number(cell) for cell in cells[1:] if cell) >= 2]  # fmt: skip
    upright = any(is_number(cells[0]) and sum(is_number(cell) for cell in cells) >= 2 for _, cells in grid.rows)
    if upright or len(long) < 2 or not any(understood(cells[0]).meaning.startswith("lift") for cells in long):
        return grid
    width = max(len(cells) for cells in long)
    turned = tuple((k + 1, tuple(cells[k] if k < len(cells) else "" for cells in long)) for k in range(width))
    others = tuple(row for row in grid.rows if row[1] not in long)
    note = "lifts stand side by side: the table was turned, rows are counted as its columns"
    return Grid(grid.source, grid.separator, (*others, *(row for row in turned if any(row[1]))), grid.remarks, grid.page,
                (*grid.notes, note))  # fmt: skip


def _is_data(cells: tuple[str, ...]) -> bool:
    filled = [cell for cell in cells if cell]
    return len(filled) >= 2 and sum(map(is_number, filled)) * 2 >= len(filled) and is_number(filled[0]) and not fact_of(cells)


def _headings(above: list[Row], notes: list[str]) -> list[Heading]:
    """Headings of all columns from the rows next above the numbers; rows that spoil them are titles and are left."""
    for count in range(min(len(above), _HEADING_ROWS), 0, -1):
        heads = [understood(text) for text in _joined([cells for _, cells in above[-count:]])]
        meanings = [head.meaning for head in heads]
        if "flow" in meanings and any(each.startswith("lift") for each in meanings):
            break
    else:
        count = min(len(above), _HEADING_ROWS)
        heads = [understood(text) for text in _joined([cells for _, cells in above[-count:]])] if count else []
    for line, cells in above[: len(above) - count]:
        notes.append(f'row {line}: "{" ".join(filter(None, cells))[:60]}" taken as a title')
    return heads


def _joined(above: list[tuple[str, ...]]) -> list[str]:
    """Headings of all columns; a merged cell counts for every filled cell below it."""
    width = max((len(row) for row in above), default=0)
    rows = [list(row) + [""] * (width - len(row)) for row in above]
    for upper, lower in zip(rows, rows[1:], strict=False):
        for k in range(2, width):
            if not upper[k] and lower[k] and upper[k - 1]:
                upper[k] = upper[k - 1]
    return [" ".join(row[k] for row in rows if row[k]) for k in range(width)]


def _decimal(grid: Grid, body: list[Row], given: Mapping[str, str], facts: Mapping[str, str]) -> tuple[str, list[Question]]:
    """ "point" or "comma"; a question where the numbers leave it open."""
    numbers = [number for _, cells in body for cell in cells if is_number(cell) and (number := split_cell(cell)[0])]
    mark, example = decimal_mark(numbers, grid.separator)
    if mark:
        return mark, []
    said = (given.get("decimal mark") or facts.get("decimal mark", "")).lower()
    if said in ("comma", "point"):
        return said, []
    sign = "comma" if "," in example else "point"
    told = tuple(f"{example} is {plain_number(example, mark) or 'a mistake'}" for mark in ("comma", "point"))
    return "point", [Question("decimal mark", f'what is the {sign} in "{example}", decimal comma or decimal point',
                              ("comma", "point"), told)]  # fmt: skip


def _answered(k: int, head: Heading, given: Mapping[str, str], problems: list[CaseProblem], source: str) -> Heading:
    said = given.get(f"column {k + 1}")
    if said is None:
        return head
    if said.lower() in ("unused", "nothing", "ignore"):
        return Heading(head.text, "unused", why="as told")
    read = understood(said)
    if said.lower() in ("before", "after"):
        read = Heading(said, "flow", head.side, said.lower())
    if not read.meaning:
        problems.append(CaseProblem(source, f"column {k + 1}", f'"{said}"', "does not say what the column is", hint=
                                    "say lift, lift/diameter, unused, or such as intake before"))  # fmt: skip
    kind = "length" if read.meaning == "lift" else "volume_flow"
    own = head.unit if head.unit and unit_named(head.unit, kind) else ""
    return Heading(head.text, read.meaning, read.side or head.side, read.label or head.label, read.unit or own,
                   read.depression or head.depression)  # fmt: skip


def _columns(grid: Grid, heads: list[Heading], body: list[Row], questions: list[Question],
             notes: list[str]) -> tuple[int | None, list[int]]:  # fmt: skip
    """Places of the lift column and of the flow columns; what is open goes to `questions`."""
    if any(head.meaning == "lift" for head in heads):
        derived = [k for k, head in enumerate(heads) if head.meaning == "lift/diameter"]
        for k in derived:
            heads[k] = Heading(heads[k].text, "unused", why="the lifts themselves stand beside it")
    lifts = [k for k, head in enumerate(heads) if head.meaning.startswith("lift")]
    flows = [k for k, head in enumerate(heads) if head.meaning == "flow"]
    choices = ("lift", "lift/diameter", "intake", "exhaust", "unused")
    for k, head in enumerate(heads):
        name = f'"{head.text}"' if head.text else "without a heading"
        if not head.meaning and any(k < len(cells) and is_number(cells[k]) for _, cells in body):
            about = f"what is column {k + 1}, {name}" + (f" ({head.why})" if head.why and head.text else "")
            questions.append(Question(f"column {k + 1}", about, choices))
        elif head.meaning == "unused" or (not head.meaning and head.text):
            notes.append(f"column {k + 1}, {name}, is not used" + (f": {head.why}" if head.meaning else ": no numbers"))
    for k in lifts[1:]:
        about = f'two columns of lift, "{heads[lifts[0]].text}" and "{heads[k].text}"; what is column {k + 1}'
        questions.append(Question(f"column {k + 1}", about, ("unused", "intake", "exhaust")))
    seen: dict[tuple[str, str], int] = {}
    for k in flows:
        same = (heads[k].side, heads[k].label)
        if same in seen:
            side = heads[k].side or "intake"
            about = f'columns {seen[same] + 1} and {k + 1} are both called "{heads[k].text}"; what is column {k + 1}'
            readings = (f"{side} after", "exhaust" if side == "intake" else "intake", "unused")
            questions.append(Question(f"column {k + 1}", about, readings))
        seen.setdefault(same, k)
    if not heads or ((not lifts or not flows) and not any(each.key.startswith("column") for each in questions)):
        names = ", ".join(f'"{head.text}"' for head in heads if head.text) or "none"
        lacking = "lift" if not lifts else "flow"
        raise refusal(grid.source, f"no column of {lacking}", hint=f"its headings are {names}; {_LIKE}")
    return (lifts[0] if lifts else None), flows


def _rows(body: list[Row], width: int, lift_at: int | None, flow_at: list[int], decimal: str, workbook: bool,
          notes: list[str]) -> tuple[list[Row], list[BadRow]]:  # fmt: skip
    """Rows with plain numbers (their units behind a blank) in the cells that count, and those that cannot be used."""
    good, bad = [], []
    wanted = [*([lift_at] if lift_at is not None else []), *flow_at]
    for line, cells in body:
        text = " | ".join(cells)[:80]
        if not any(is_number(cell) for cell in cells) and not (wanted and wanted[0] < len(cells) and cells[wanted[0]]
                                                               and sum(map(bool, cells)) > 1):  # fmt: skip
            notes.append(f'row {line}: "{text[:60]}", no numbers, taken as a remark')
            continue
        if any(cells[width:]):
            hint = "; a decimal comma needs semicolons or quotes around the number" if decimal != "comma" else ""
            bad.append(BadRow(line, text, f"{len(cells)} cells under {width} headings{hint}"))
            continue
        padded = ["" if cell.lower() in NOTHING else cell for cell in cells] + [""] * (width - len(cells))
        faults = [(k, fault) for k in wanted if padded[k] and (fault := fault_of(padded[k], decimal, workbook))]
        if faults:
            bad.append(BadRow(line, text, f'"{padded[faults[0][0]][:30]}" in column {faults[0][0] + 1} {faults[0][1]}'))
        elif lift_at is not None and not padded[lift_at]:
            bad.append(BadRow(line, text, "a reading without its lift"))
        elif flow_at and not any(padded[k] for k in flow_at):
            notes.append(f"row {line}: a lift without a reading, not used")
        else:
            for k in wanted:
                if padded[k]:
                    number, unit = split_cell(padded[k])
                    padded[k] = f"{plain_number(number, decimal, workbook)} {unit}".strip()
            good.append((line, tuple(padded)))
    return good, bad


def _unit(rows: list[Row], k: int, head: Heading, facts: Mapping[str, str], given: Mapping[str, str], questions: list[Question],
          bad: list[BadRow], problems: list[CaseProblem], grid: Grid) -> str:  # fmt: skip
    """Unit of a column from its heading, its cells or an answer; a question where none of them says it.

    Takes the units out of the column's cells, in `rows`.
    """
    if head.meaning == "lift/diameter":
        return "D"
    kind, key, choices = ("volume_flow", "flow unit", FLOW_UNITS) if head.meaning == "flow" else ("length", "lift unit",
                                                                                                 LIFT_UNITS)  # fmt: skip
    named = head.unit
    for i, (line, cells) in enumerate(rows):
        number, _, unit = cells[k].partition(" ")
        if not unit:
            continue
        rows[i] = (line, (*cells[:k], number, *cells[k + 1 :]))
        own = unit_named(unit, kind)
        if own is None:
            bad.append(BadRow(line, " | ".join(cells)[:80], f'"{cells[k][:30]}" in column {k + 1}: "{unit[:20]}" is no unit of '
                              f"{kind.replace('_', ' ')}"))  # fmt: skip
        elif named and own != named:
            bad.append(BadRow(line, " | ".join(cells)[:80], f"column {k + 1} says {own} here and {named} elsewhere"))
        else:
            named = own
    told = given.get(key) or facts.get(key, "")
    said = unit_named(told, kind) if told else None
    if told and said is None:
        problems.append(CaseProblem(grid.source, key, f'"{told}"', "not known", hint=f"one of {', '.join(choices)}"))
    if named:
        if said is not None and said != named and given.get(key):
            problems.append(CaseProblem(grid.source, key, f'"{told}"', f"the sheet itself says {named} in column {k + 1}",
                                        hint="leave the answer out, or correct the sheet"))  # fmt: skip
        return named
    if said:
        return said
    numbers = [float(cells[k]) for _, cells in rows if cells[k] and re.fullmatch(r"[0-9.eE+-]+", cells[k])]
    about = f'unit of column {k + 1}, "{head.text}"'
    settled = not any(each.key == "decimal mark" for each in questions)
    meanings = tuple(_span(numbers, unit, kind) for unit in choices) if settled else ()
    questions.append(Question(key, about, choices, meanings))
    return ""


def _span(numbers: list[float], unit: str, kind: str) -> str:
    if not numbers:
        return ""
    text = f"{min(numbers):g} to {max(numbers):g} {unit}"
    common = "mm" if kind == "length" else "CFM"
    if unit == common:
        return text
    factor = 1e3 if kind == "length" else 1 / parse("1 CFM", kind)
    return f"{text}, at most {parse(f'{max(numbers)!r} {unit}', kind) * factor:.4g} {common}"


def _ordered(rows: list[Row], lift_at: int, bad: list[BadRow], notes: list[str]) -> list[Row]:
    """Rows by rising lift; a sheet read downwards is turned, a row out of order or doubled is told by number."""
    values = [float(cells[lift_at]) for _, cells in rows]
    if len(values) > 1 and all(b < a for a, b in zip(values, values[1:], strict=False)):
        notes.append("rows run from high to low lift; turned")
        return rows[::-1]
    kept: list[Row] = []
    top = -1.0
    for row, value in zip(rows, values, strict=True):
        if value > top:
            kept.append(row)
            top = value
        else:
            bad.append(BadRow(row[0], " | ".join(row[1])[:80], f"lift {value:g} is not above the {top:g} of the row before"))
    return kept


def _column(k: int, head: Heading, unit: str, rows: list[Row], zero: Row | None, facts: Mapping[str, str],
            given: Mapping[str, str], problems: list[CaseProblem], source: str) -> FlowColumn:  # fmt: skip
    own, stated, told = head.depression, facts.get("depression", ""), given.get("depression", "")
    if own and stated.startswith(f"{own} "):
        own = stated  # "CFM @ 28" under a sheet that says 28 inH2O
    depression = own or stated
    if told:
        wanted = depression_text(told)
        if not _has_unit(wanted):
            problems.append(
                CaseProblem(source, "depression", f'"{told}"', "not a pressure with a unit", hint='such as "28 inH2O"')
            )
        elif (_has_unit(depression) and parse(wanted, _DROP) != parse(depression, _DROP)) or (
            depression and not _has_unit(depression) and wanted.partition(" ")[0] != depression
        ):
            hint = "leave the answer out, or correct the sheet"
            problems.append(CaseProblem(source, "depression", f'"{told}"', f"the sheet itself says {depression}", hint=hint))
        else:
            depression = wanted
    side = head.side or facts.get("side", "").lower()
    texts = tuple(cells[k] or None for _, cells in rows)
    shut = zero[1][k] if zero and zero[1][k] else None
    return FlowColumn(k, head.text, side if side in ("intake", "exhaust") else "", head.label, unit, depression, texts, shut)


def _has_unit(depression: str) -> bool:
    try:
        parse(depression, _DROP)
    except UnitError:
        return False
    return True


__all__ = ["FLOW_UNITS", "LIFT_UNITS", "flow_file", "read_flow_file", "yes"]
