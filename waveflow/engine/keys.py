"""Every key a case may hold, as a list to print: what it takes, what it stands for, and what is used without it."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any, NamedTuple

from waveflow.engine.fields import Words, YesNo
from waveflow.engine.part import Part, key_of
from waveflow.engine.parts_pipe import kind_of
from waveflow.engine.wording import kinds_of, models_in


class KeyLine(NamedTuple):
    """One key: `kind` is the table's kind where the table has several, `default` is empty where the key is needed or
    where nothing is used without it."""

    key: str
    kind: str
    allowed: str
    default: str
    why: str
    needed: bool


def every_key(model: type[Part] | None = None, path: str = "", kind: str = "") -> Iterator[KeyLine]:
    """All keys in the order of the file, tables within tables; lists of tables as `stations[]`."""
    if model is None:
        from waveflow.engine.case import Case

        model = Case
        about = "where a given value comes from, by its key, and after a comma the instrument; see `uncertain.py`"
        yield KeyLine("marks", "", '"measured", "card", "default" or "guess"', "", about, False)
        yield KeyLine("base", "", "text", "", "another case file, of which this one gives only the differences", False)
    for name, field in model.model_fields.items():
        key = f"{path}.{key_of(name, field)}" if path else key_of(name, field)
        if name == "read_from":
            why = "CSV table in place of the columns; columns found by name"
            yield KeyLine(key.replace("read_from", "file"), kind, "text", "", why, False)
        inner = models_in(field.annotation)
        if not inner:
            yield _line(key, kind, field)
        listed = "[]" if "tuple" in str(field.annotation) else ""
        for each in inner:
            yield from every_key(each, key + listed, (kinds_of([each]) or [""])[0])


def _line(key: str, kind: str, field: Any) -> KeyLine:
    value = kind_of(field)
    about = field.json_schema_extra if isinstance(field.json_schema_extra, dict) else {}
    default = "" if field.is_required() or not about else value.text(field.default)
    if value is None:
        return KeyLine(key, kind, f'"{kind}"', "", "says which kind of table this is", True)
    range_text = getattr(value, "allowed", None)
    allowed = range_text() if range_text is not None else _other_allowed(value)
    return KeyLine(key, kind, allowed, default, value.must or value.why or about.get("why", ""), field.is_required())


def _other_allowed(value: Any) -> str:
    if isinstance(value, YesNo):
        return "true or false"
    if isinstance(value, Words):
        return "text"
    return f"{value.low} to {value.high}" if value.low < value.high else f"{value.low}"
