"""Where a given value comes from and how sure it is: margins behind values, and the table `marks`.

    bore = "80.6 mm +- 0.02 mm"
    [marks]
    engine.bore = "measured, bore gauge"        # measured, card, default or guess; the instrument after a comma
    intake.port = "measured, mould"             # a whole table
    "intake.port.stations[2].width" = "guess"   # one item of a list; such a key needs quotes

Marks change nothing that is computed. They stand in the case's text, so every result carries them.
"""

from __future__ import annotations

import difflib
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from waveflow import units
from waveflow.engine.fields import Number, Quantity
from waveflow.engine.lines import Key
from waveflow.engine.margins import has_margin, margin_of, split_margin
from waveflow.engine.part import Part
from waveflow.engine.parts_pipe import kind_of
from waveflow.engine.reading import Reading, dotted, key_of_text, written
from waveflow.engine.tables import split_series
from waveflow.engine.wording import field_at, model_at
from waveflow.errors import CaseProblem, clean_text

MARKS = ("guess", "default", "card", "measured")  # the least certain first
_LONGEST = 120


@dataclass(frozen=True)
class Uncertain:
    """A given value with a margin, a mark or both; `value`, `low`, `high` SI (None for a column, a word or no margin).

    `plus_minus` is the margin as written ("0.05 mm", "1 %"; empty where there is none). A column with one margin has
    `lows` and `highs`, SI, instead of `low` and `high`.
    """

    key: str
    value_text: str
    plus_minus: str = ""
    mark: str = ""
    instrument: str = ""
    value: float | None = None
    low: float | None = None
    high: float | None = None
    unit: str = ""
    lows: tuple[float, ...] = ()
    highs: tuple[float, ...] = ()

    def __str__(self) -> str:
        spread = f" +- {self.plus_minus}" if self.plus_minus else ""
        said = ", ".join(word for word in (self.mark or "no mark", self.instrument) if word)
        return f"{self.key} = {self.value_text}{spread} ({said})"


def take_marks(reading: Reading, root: type[Part]) -> dict[Key, tuple[str, str]]:
    """The table `marks` out of the tree: key -> (mark, instrument). Mistakes in it go into `reading.notes`.

    A mark inherited from a base whose value this case no longer has is dropped.
    """
    table = reading.tree.pop("marks", None)
    if table is None:
        return {}
    if not isinstance(table, dict):
        _say(reading, ("marks",), table, "not a table", 'write [marks] and below it engine.bore = "measured"')
        return {}
    found: dict[Key, tuple[str, str]] = {}
    for at, named, text in _leaves(table, ("marks",)):
        mark, _, instrument = text.partition(",") if isinstance(text, str) else ("", "", "")
        mark, instrument = mark.strip().lower(), instrument.strip()
        key = key_of_text(named)
        if mark not in MARKS:
            _say(reading, at, text, "not a mark", _nearest(mark, MARKS), ", ".join(MARKS[:-1]) + f" or {MARKS[-1]}")
        elif len(instrument) > _LONGEST or clean_text(instrument, _LONGEST + 1) != instrument:
            _say(reading, at, text, f"an instrument is at most {_LONGEST} printable characters")
        elif key is None:
            _say(reading, at, text, "not a key of a case", 'write it as "intake.port.stations[2].width"')
        elif reading.value(key) is not None:
            found[key] = mark, instrument
        elif reading.place(at)[0] == reading.label:
            known = [dotted(each) for each in _all_keys(reading.tree, ())]
            only = "only a value given in the case can be marked; what is not given is listed by itself"
            hint = _nearest(named, known) or only
            _say(reading, at, text, f"there is no value {clean_text(named, 80)}", hint)
    return found


def _say(reading: Reading, key: Key, value: Any, message: str, hint: str = "", allowed: str = "") -> None:
    file, line = reading.place(key)
    reading.notes.problems.append(CaseProblem(file, dotted(key), written(value), message, allowed, hint, line))


def _nearest(word: str, words: Any) -> str:
    close = difflib.get_close_matches(word[:80], words, 1, 0.7)
    return f'did you mean "{close[0]}"?' if close else ""


def _leaves(table: dict[str, Any], path: Key) -> Iterator[tuple[Key, str, Any]]:
    """(place of the mark, dotted key it names, what it says)."""
    for name, value in table.items():
        at = (*path, name)
        if isinstance(value, dict):
            yield from _leaves(value, at)
        else:
            yield at, ".".join(str(part) for part in at[1:]), value


def _all_keys(at: Any, path: Key) -> Iterator[Key]:
    pairs = at.items() if isinstance(at, dict) else enumerate(at) if isinstance(at, list) else ()
    for name, value in pairs:
        yield (*path, name)
        yield from _all_keys(value, (*path, name))


def collect(reading: Reading, root: type[Part], marks: dict[Key, tuple[str, str]]) -> list[Uncertain]:
    """Every given value with a margin or a mark, the least certain first. The case must have been found good."""
    found: dict[Key, Uncertain] = {}
    for key in _all_keys(reading.tree, ()):
        value = reading.value(key)
        if isinstance(value, (dict, list)) or not has_margin(value) and key not in marks:
            continue
        made = _with_margin(reading, root, key, value)
        if made is not None or key in marks:
            found[key] = made or Uncertain(dotted(key), written(value) or "")
    for key in marks:
        if key not in found:
            found[key] = Uncertain(dotted(key), written(reading.value(key)) or "whole table")
    made = [_marked(each, key, marks) for key, each in found.items()]
    order = [*MARKS[:1], "", *MARKS[1:]]
    return sorted(made, key=lambda each: order.index(each.mark))


def _marked(each: Uncertain, key: Key, marks: dict[Key, tuple[str, str]]) -> Uncertain:
    """With the mark of the key itself, or of the nearest table around it."""
    mark = next((marks[key[:size]] for size in range(len(key), 0, -1) if key[:size] in marks), ("", ""))
    return Uncertain(**{**each.__dict__, "mark": mark[0], "instrument": mark[1]})


def _with_margin(reading: Reading, root: type[Part], key: Key, text: Any) -> Uncertain | None:
    names = [place for place, part in enumerate(key) if isinstance(part, str)]
    model = model_at(root, key[: names[-1]], reading.tree)
    field = field_at(model, str(key[names[-1]])) if model is not None else None
    kind = kind_of(field) if field is not None else None
    if not isinstance(text, str) or not isinstance(kind, (Quantity, Number)):
        return None
    items = split_series(text) if "tuple" in str(field.annotation) else [text]
    parsed = [_span(kind, item, reading) for item in items]
    value_text, margin, value, spread, unit = parsed[-1]
    if len(items) > 1:
        spans = [(each, known) for _, _, each, known, _ in parsed if known is not None]
        ends = tuple(tuple(each + sign * known for each, known in spans) for sign in (-1.0, 1.0))
        return Uncertain(dotted(key), f'"{text}"', plus_minus=margin, unit=unit, lows=ends[0], highs=ends[1])
    low, high = (None, None) if spread is None else (value - spread, value + spread)
    return Uncertain(dotted(key), value_text, margin, "", "", value, low, high, unit)


def _span(kind: Any, text: str, reading: Reading) -> tuple[str, str, float, float | None, str]:
    """(value as written, margin as written, value, margin, unit) of one number, SI; no margin where none is written."""
    value_text, margin = split_margin(text)
    if isinstance(kind, Number):
        value, of, unit = float(value_text), "", ""
    else:
        value, of, unit = units.parse(value_text, kind.kind, _barometer(reading)), kind.kind, kind.unit
    return value_text, margin, value, margin_of(margin, value, value_text, of) if margin else None, unit


def _barometer(reading: Reading) -> float:
    return units.parse(split_margin(str(reading.value(("ambient", "pressure"))))[0], "absolute_pressure")
