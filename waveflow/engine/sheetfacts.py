"""What a flow sheet says of itself beside its table: depression, leak, plate check, valve, air; and what it leaves open."""

from __future__ import annotations

import re
from collections.abc import Mapping

from waveflow.engine.grid import Grid
from waveflow.engine.sheetfile import FlowColumn, Question
from waveflow.engine.sheetnumbers import is_number
from waveflow.engine.sheetwords import FACTS, FOREIGN, depression_in, depression_text, fact_named, squared, understood
from waveflow.errors import CaseProblem
from waveflow.units import TABLE, UnitError, parse

_KINDS = {
    "depression": "pressure_difference",
    "leak": "volume_flow",
    "intake leak": "volume_flow",
    "exhaust leak": "volume_flow",
    "plate expected": "volume_flow",
    "plate read": "volume_flow",
    "valve": "length",
    "intake valve": "length",
    "exhaust valve": "length",
    "air temperature": "temperature",
    "barometer": "barometer",
    "repeat": "fraction",
}
_USUAL = {
    "pressure_difference": ("inH2O", "kPa", "mbar"),
    "volume_flow": ("CFM", "L/s", "L/min", "m3/h"),
    "length": ("mm", "in"),
    "temperature": ("degC", "degF"),
    "barometer": ("kPa", "mbar", "inHg"),
    "fraction": ("%",),
}
_YES = {"yes": True, "true": True, "ja": True, "y": True, "no": False, "false": False, "nein": False, "n": False}
_PARTS = re.compile(r"[;|]|,\s(?=[a-zA-Z])")


def fact_of(cells: tuple[str, ...]) -> tuple[str, str] | None:
    """("depression", "28 inH2O") of a row such as `Depression;28 inH2O` or `Depression: 28 inH2O`; None of any other."""
    filled = [cell for cell in cells if cell]
    if not 1 <= len(filled) <= 3 or not cells[0]:
        return None
    mark = next((each for each in (":", "=") if each in filled[0]), "")
    name, _, value = filled[0].partition(mark) if mark else (filled[0], "", "")
    key = fact_named(name)
    text = squared(" ".join([value.strip(), *filled[1:]]))
    if key is None or not text or (len(filled) == 3 and not mark and fact_named(filled[1])):
        return None
    if not mark and any(understood(each).meaning for each in filled[1:] if not is_number(each)):
        return None  # "valve, intake" heads columns
    return key, text


def facts_of(grid: Grid, first: int) -> tuple[dict[str, str], list, list, list[str], bool]:
    """What a sheet says of itself: (facts, rows above its numbers, its body, notes, whether it speaks of another bench).

    `first`: index of the first row of numbers.
    """
    facts: dict[str, str] = {}
    above, body, notes, titles = [], [], [], []
    for _, text in grid.remarks:
        titles.append(text)
        for piece in [text, *_PARTS.split(text)]:
            fact = fact_of((piece.strip(),))
            if fact:
                facts.setdefault(*fact)
    for k, (line, cells) in enumerate(grid.rows):
        fact = fact_of(cells)
        filled = [cell for cell in cells if cell]
        if fact and not (k >= first and is_number(cells[0])):
            facts[fact[0]] = fact[1]
        elif (
            k < first
            and len(filled) == 1
            and cells[0]
            and (len(cells) > 1 or grid.separator or not understood(filled[0]).meaning)
        ):
            titles.append(filled[0])
            notes.append(f'row {line}: "{filled[0][:60]}" taken as a title')
        elif k < first:
            above.append((line, cells))
        else:
            body.append((line, cells))
    if "depression" not in facts:
        rows = [" ".join(cells) for _, cells in above if not any(understood(each).depression for each in cells[1:])]
        told = {found for text in [*titles, *rows] if (found := depression_in(text))}
        if len(told) == 1:
            facts["depression"] = told.pop()
            notes.append(f"depression {facts['depression']} taken from a title or remark")
    for key, text in facts.items():
        facts[key] = _spelled(key, text)
    foreign = any(FOREIGN.search(text) for text in [*titles, facts.get("bench", "")])
    return facts, above, body, notes, foreign


def _spelled(key: str, text: str) -> str:
    if key == "depression":
        return depression_text(text)
    if _KINDS.get(key) and re.match(r"[+-]?[0-9]+,[0-9]{1,2}(?![0-9])", text):
        return text.replace(",", ".", 1)
    return text


def _usable(text: str, kind: str) -> bool:
    try:
        parse(text, kind)
    except UnitError:
        return False
    return True


def answered_facts(facts: dict[str, str], given: Mapping[str, str], source: str) -> list[CaseProblem]:
    """Puts answers into `facts` where the sheet says nothing that can be used; what contradicts it comes back.

    Depression and the units belong to columns and are left to those.
    """
    problems = []
    for key, text in given.items():
        name = FACTS.get(key, key)
        if key.startswith("column ") or name in ("lift unit", "flow unit", "decimal mark", "depression"):
            continue
        own, kind = facts.get(name, ""), _KINDS.get(name)
        spelled = _spelled(name, text)
        if name == "side" and text.lower() not in ("intake", "exhaust"):
            problems.append(CaseProblem(source, name, f'"{text}"', "not known", hint="intake or exhaust"))
        elif name in ("leak subtracted", "plate corrected") and text.lower() not in _YES:
            problems.append(CaseProblem(source, name, f'"{text}"', "not known", hint="yes or no"))
        elif kind and not _usable(spelled, kind):
            units = ", ".join(unit for unit in TABLE[kind] if unit)
            problems.append(CaseProblem(source, name, f'"{text}"', "not a number with a unit", hint=f"units: {units}"))
        elif own and (not kind or _usable(own, kind)) and not _same(own, spelled, kind):
            problems.append(CaseProblem(source, name, f'"{text}"', f"the sheet itself says {own}",
                                        hint="leave the answer out, or correct the sheet"))  # fmt: skip
        else:
            facts[name] = spelled
    return problems


def _same(one: str, other: str, kind: str | None) -> bool:
    if kind:
        return abs(parse(one, kind) - parse(other, kind)) <= 1e-9 * abs(parse(one, kind))
    return _YES.get(one.lower(), one.lower()) == _YES.get(other.lower(), other.lower())


def open_facts(columns: list[FlowColumn], facts: Mapping[str, str], lift_unit: str) -> list[Question]:
    """What must still be known before the readings can be used."""
    out = []
    lost = [f'"{column.heading}"' for column in columns if not column.side]
    if lost:
        verb = "which side is" if len(lost) == 1 else "which side are"
        out.append(Question("side", f"{verb} {' and '.join(lost)}", ("intake", "exhaust"), ("drawn", "blown")))
    for column in columns:
        if not _usable(column.depression, "pressure_difference"):
            number = re.sub(r"[^0-9.].*", "", column.depression)
            said = tuple(f"{number} {unit}" for unit in _USUAL["pressure_difference"]) if number else ("28 inH2O", "10 inH2O")
            about = "test depression" + (
                f' of "{column.heading}"' if number or len({c.depression for c in columns}) > 1 else ""
            )
            out.append(Question("depression", about, said, free=not number))
    for key, kind in _KINDS.items():
        if key in facts and key != "depression" and not _usable(facts[key], kind):
            bare = re.fullmatch(r"[+-]?[0-9]+(?:\.[0-9]+)?", facts[key])
            said = tuple(f"{facts[key]} {unit}" for unit in _USUAL[kind]) if bare else ()
            out.append(
                Question(key, f'{key} "{facts[key][:40]}": ' + ("in what unit" if bare else "how much"), said, free=not bare)
            )
    if lift_unit == "D":
        for side in dict.fromkeys(column.side for column in columns if column.side):
            if not facts.get(f"{side} valve") and not facts.get("valve"):
                about = f"head diameter of the {side} valve, which the lifts are counted in"
                out.append(Question(f"{side} valve", about, ("38.5 mm", "1.5 in"), ("for example", "for example"), free=True))
    leaks = any(each.shut and float(each.shut) > 0.0 for each in columns) or any(
        facts.get(key) for key in ("leak", "intake leak", "exhaust leak")
    )
    if leaks and yes(facts, "leak subtracted") is None:
        out.append(Question("leak subtracted", "is the leak already taken off the readings", ("yes", "no")))
    if facts.get("plate read") and facts.get("plate expected") and yes(facts, "plate corrected") is None:
        out.append(Question("plate corrected", "are the readings already corrected by the plate check", ("yes", "no")))
    return out


def yes(facts: Mapping[str, str], name: str) -> bool | None:
    """True or False where the sheet or an answer says it, else None."""
    return _YES.get(facts.get(name, "").lower())
