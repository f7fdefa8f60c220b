"""A case as one self-contained TOML text: bases merged, CSV tables and set values in place, defaults as comments."""

from __future__ import annotations

import re
from collections.abc import Iterable
from typing import Any

_BARE = re.compile(r"[A-Za-z0-9_-]+")
_ESCAPES = {'"': '\\"', "\\": "\\\\", "\b": "\\b", "\t": "\\t", "\n": "\\n", "\f": "\\f", "\r": "\\r"}


def quoted(text: str) -> str:
    """A TOML basic string."""
    return '"' + "".join(_escaped(character) for character in text) + '"'


def _escaped(character: str) -> str:
    if character in _ESCAPES:
        return _ESCAPES[character]
    return character if character >= " " and character != "\x7f" else f"\\u{ord(character):04X}"


def key_text(name: str) -> str:
    """A key as it stands in a file, quoted where it must be."""
    return name if _BARE.fullmatch(name) else quoted(name)


def _value(value: Any) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return quoted(value)
    if isinstance(value, dict):
        return "{ " + ", ".join(f"{key_text(name)} = {_value(item)}" for name, item in value.items()) + " }"
    if isinstance(value, (list, tuple)):
        items = [_value(item) for item in value]
        if any(isinstance(item, dict) for item in value):
            return "[\n" + "".join(f"  {item},\n" for item in items) + "]"
        return "[" + ", ".join(items) + "]"
    return repr(value) if isinstance(value, float) else str(value)


def marks_table(marks: dict[tuple, tuple[str, str]]) -> dict[str, Any]:
    """The table `marks` of (mark, instrument) by key, each key as one quoted text; nothing where there are none."""
    from waveflow.engine.reading import dotted

    table = {dotted(key): ", ".join(word for word in said if word) for key, said in marks.items()}
    return {"marks": table} if table else {}


def toml_text(tree: dict[str, Any], comments: Iterable[str] = ()) -> str:
    """TOML of a tree of tables: plain keys first, then every table under its own header; comment lines at the end."""
    pieces: list[str] = []
    _table(tree, (), pieces)
    pieces.extend(f"# {comment}" for comment in comments)
    return "\n".join(pieces).strip() + "\n"


def _table(tree: dict[str, Any], path: tuple[str, ...], pieces: list[str]) -> None:
    plain = {name: value for name, value in tree.items() if not isinstance(value, dict)}
    if path and (plain or not tree):
        pieces.append(f"\n[{'.'.join(key_text(part) for part in path)}]")
    pieces.extend(f"{key_text(name)} = {_value(value)}" for name, value in plain.items())
    for name, value in tree.items():
        if isinstance(value, dict):
            _table(value, (*path, name), pieces)
