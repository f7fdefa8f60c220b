"""Where every input of a case comes from: value, plus or minus, mark, instrument; what is least certain first.

Marks: "assumed" (stands in for a measurement), "guess", "given" (given, and nobody said from where), "default" (a choice
or a neutral value), "card" (a sheet, a card, a drawing), "measured". A station with an instrument counts as measured with
it, to its resolution where no margin stands behind the size; an outline and what stands in a burette or flow column are
marked only by `[marks]`.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import Any, NamedTuple

ORDER = ("assumed", "guess", "given", "default", "card", "measured")
_STATION = re.compile(r".*\.port\.(stations|changed)\[\d+\]\.(width|height|corner_radius|area|perimeter)")
_WORDS = ("name", "note", "option", "instrument", "resolution", "read_from", "shape", "kind", "format", "number")


class Input(NamedTuple):
    """One input: `value` and `plus_minus` as written, `mark` one of `ORDER`, `instrument` in words, why it was filled in."""

    key: str
    value: str
    plus_minus: str = ""
    mark: str = "given"
    instrument: str = ""
    why: str = ""


def inputs_of(case: Any) -> tuple[Input, ...]:
    """Every input of a case, given or filled in, the least certain first; words and names are left out."""
    from waveflow.engine.files import parse_toml
    from waveflow.engine.margins import has_margin, split_margin

    known = {each.key: each for each in case.uncertain}
    marks = {each.key: each for each in case.uncertain if each.mark}
    tree, _ = parse_toml(case.text, case.source or "case")
    tree.pop("marks", None)
    found = []
    for key, value, row in _leaves(tree, ""):
        text = value if isinstance(value, str) else _plain(value)
        margin, at = "", known.get(key)
        if has_margin(text):
            text, margin = split_margin(text) if at is None or not at.lows else (text, at.plus_minus)
        told = _marked(key, marks)
        mark, instrument = (told.mark, told.instrument) if told else ("given", "")
        if _STATION.fullmatch(key) and row.get("instrument") and not told:
            mark, instrument = "measured", str(row["instrument"])
        if not margin and key.endswith((".width", ".height")) and "resolution" in row:
            margin = str(row["resolution"])
        found.append(Input(key, text, margin, mark, instrument))
    found += [Input(each.key, each.value_text, each.range_text and f"likely {each.range_text}", each.mark, "", each.why)
              for each in case.assumptions]  # fmt: skip
    return tuple(sorted(found, key=lambda each: ORDER.index(each.mark)))


def _marked(key: str, marks: dict[str, Any]) -> Any:
    """The mark of the key, or of the nearest table or list around it."""
    while key:
        if key in marks:
            return marks[key]
        key = key[: max(key.rfind("."), key.rfind("["), 0)]
    return None


def _leaves(at: Any, path: str) -> Iterator[tuple[str, Any, dict]]:
    """(key, value, table it stands in) of every number or quantity below `at`; a list of plain values is one leaf."""
    for name, value in at.items():
        key = f"{path}.{name}" if path else name
        if isinstance(value, dict):
            yield from _leaves(value, key)
        elif isinstance(value, list) and value and isinstance(value[0], dict):
            for number, item in enumerate(value):
                yield from _leaves(item, f"{key}[{number}]")
        elif name not in _WORDS:
            yield key, value, at


def _plain(value: Any) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, list):
        return "[" + ", ".join(_plain(each) for each in value) + "]"
    return str(value)


def counts(inputs: tuple[Input, ...]) -> dict[str, int]:
    """How many inputs bear each mark, in the order of `ORDER`, none left out that has any."""
    found = {mark: sum(each.mark == mark for each in inputs) for mark in ORDER}
    return {mark: count for mark, count in found.items() if count}
