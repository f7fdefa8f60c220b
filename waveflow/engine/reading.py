"""Case files from disk: caps, TOML with line numbers, bases, tables kept in CSV, and values set from outside.

The result is a `Reading`: one plain tree of what the files say, where each value stands, and every mistake met on the
way. Nothing is interpreted here; units, ranges and sense are the model's business.
"""

from __future__ import annotations

import copy
import os
import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from waveflow.engine.files import parse_toml, read_text
from waveflow.engine.lines import DEEPEST, Key
from waveflow.engine.resolved import key_text
from waveflow.engine.tables import Notes, Place, expand_tables, split_series
from waveflow.errors import CaseError, CaseProblem

MOST_BASES = 16
SET = "--set"
WHOLE_TABLES = ("flow", "cam", "burn")
_MEASURED = ("chamber", "dish", "deck", "gasket_bore", "gasket_thickness", "chambers")


@dataclass
class Layer:
    """One file of the chain (or the values set from outside), and the tree as it stood after it."""

    label: str
    given: dict[str, Any]
    merged: dict[str, Any]


@dataclass
class Reading:
    """What the files say together: `places` gives (file, line) of every key."""

    label: str
    folder: Path | None
    tree: dict[str, Any] = field(default_factory=dict)
    places: dict[Key, Place] = field(default_factory=dict)
    layers: list[Layer] = field(default_factory=list)
    notes: Notes = field(default_factory=Notes)
    base: str | None = None

    def place(self, key: Key) -> Place:
        """File and line of `key`, or of the nearest table around it."""
        for length in range(len(key), 0, -1):
            if key[:length] in self.places:
                return self.places[key[:length]]
        return self.label, None

    def value(self, key: Key) -> Any:
        """What stands at `key`; None if nothing does."""
        at: Any = self.tree
        for part in key:
            if isinstance(at, dict) and isinstance(part, str):
                at = at.get(part)
            elif isinstance(at, (list, str)) and isinstance(part, int):
                items = split_series(at) if isinstance(at, str) else at
                at = items[part] if part < len(items) else None
            else:
                return None
        return at


def dotted(key: Key) -> str:
    """`("intake", "port", "stations", 3, "width")` as `intake.port.stations[3].width`."""
    text = ""
    for part in key:
        text += f"[{part}]" if isinstance(part, int) else ("." if text else "") + key_text(part)
    return text


def read(path: Path, label: str, overrides: Mapping[str, str] | None = None) -> Reading:
    """A case file with its bases, its CSV tables and `overrides`; raises CaseError where reading cannot go on."""
    chain: list[tuple[str, Path, dict[str, Any], dict[Key, int]]] = []
    seen: list[Path] = []
    at, at_label = path, label
    while True:
        resolved = _resolved(at, at_label, chain)
        if resolved in seen:
            ring = " -> ".join([entry[0] for entry in chain] + [at_label])
            raise _base_error(chain[-1], f"bases run in a ring: {ring}")
        if len(chain) >= MOST_BASES:
            raise _base_error(chain[-1], f"more than {MOST_BASES} bases one upon another")
        seen.append(resolved)
        tree, lines = _file(at, at_label, chain)
        chain.append((at_label, at, tree, lines))
        base = tree.pop("base", None)
        if base is None:
            break
        at, at_label = _base_path(base, chain[-1])
    reading = Reading(label, path.parent)
    reading.base = os.path.relpath(chain[1][1], path.parent) if len(chain) > 1 else None
    for file_label, file_path, tree, lines in reversed(chain):
        places = {key: (file_label, line) for key, line in lines.items()}
        _add_layer(reading, file_label, tree, places, file_path.parent)
    _override(reading, overrides or {})
    return reading


def read_string(text: str, label: str, overrides: Mapping[str, str] | None = None) -> Reading:
    """The same for a case that stands in one text, without bases and CSV files."""
    tree, lines = parse_toml(text, label)
    reading = Reading(label, None)
    if "base" in tree:
        tree.pop("base")
        message = "a case given as text cannot name a base"
        reading.notes.problems.append(CaseProblem(label, "base", None, message, line=lines.get(("base",))))
    _add_layer(reading, label, tree, {key: (label, line) for key, line in lines.items()}, None)
    _override(reading, overrides or {})
    return reading


def _file(path: Path, label: str, chain: list) -> tuple[dict[str, Any], dict[Key, int]]:
    try:
        return parse_toml(read_text(path, label), label)
    except CaseError as error:
        first = error.problems[0]
        if chain and first.message.startswith(("no such file", "not a file", "cannot be read")):
            raise _base_error(chain[-1], first.message, first.hint) from None
        raise


def _resolved(path: Path, label: str, chain: list) -> Path:
    try:
        return path.resolve()
    except (OSError, ValueError, RuntimeError):
        message = "not the path of a file"
        raise _base_error(chain[-1], message) if chain else CaseError([CaseProblem(label, "", None, message)]) from None


def _base_error(entry: tuple, message: str, hint: str = "", value: str | None = None) -> CaseError:
    label, _, tree, lines = entry
    return CaseError([CaseProblem(label, "base", value, message, hint=hint, line=lines.get(("base",)))])


def _base_path(base: Any, entry: tuple) -> tuple[Path, str]:
    label, path, _, _ = entry
    if not isinstance(base, str) or not base.strip() or "\0" in base:
        raise _base_error(entry, "not the name of a file in quotes", 'write base = "other_case.toml"', written(base))
    if os.path.isabs(base) or re.match(r"[A-Za-z]:", base):
        raise _base_error(entry, "an absolute path", "name the base from this file's own folder", written(base))
    return path.parent / base, os.path.join(os.path.dirname(label), base)


def written(value: Any, longest: int = 60) -> str | None:
    """A value as it would stand in a case file; None for a table, which has no short text."""
    if isinstance(value, bool):
        text = "true" if value else "false"
    elif isinstance(value, str):
        text = f'"{value}"'
    elif isinstance(value, dict):
        return None
    elif isinstance(value, list):
        items = [written(item, longest) or "{...}" for item in value[:4]]
        text = f"[{', '.join(items)}{', ...' if len(value) > 4 else ''}]"
    elif isinstance(value, int) and abs(value) >= 10**18:
        text = "a very large number"
    else:
        text = str(value)
    return text if len(text) <= longest else text[: longest - 4] + "..." + text[-1]


def _add_layer(
    reading: Reading, label: str, tree: dict[str, Any], places: dict[Key, Place], folder: Path | None
) -> None:
    expand_tables(tree, places, folder, label, reading.notes)
    given = copy.deepcopy(tree)
    _one_way_of_compression(reading, tree)
    _merge(reading, reading.tree, tree, places, ())
    reading.layers.append(Layer(label, given, copy.deepcopy(reading.tree)))


def _one_way_of_compression(reading: Reading, tree: dict[str, Any]) -> None:
    """A difference that states the ratio replaces a base's cc, and the other way round."""
    old, new = reading.tree.get("compression"), tree.get("compression")
    if not isinstance(old, dict) or not isinstance(new, dict):
        return
    gone = _MEASURED if "ratio" in new else ("ratio",) if any(key in new for key in _MEASURED) else ()
    for key in gone:
        old.pop(key, None)


def _merge(reading: Reading, old: dict, new: dict, places: dict[Key, Place], path: Key) -> None:
    for name, value in new.items():
        key = (*path, name)
        if isinstance(value, dict) and isinstance(old.get(name), dict) and not replaces_whole(key):
            reading.places[key] = places.get(key, reading.place(key))
            _merge(reading, old[name], value, places, key)
            continue
        old[name] = value
        _move_places(reading, key, places)


def _move_places(reading: Reading, key: Key, places: dict[Key, Place]) -> None:
    size = len(key)
    for known in [known for known in reading.places if known[:size] == key]:
        del reading.places[known]
    reading.places.update({known: place for known, place in places.items() if known[:size] == key})


def replaces_whole(key: Key) -> bool:
    """Tables that make sense only as one piece: a new cam, flow or burn replaces the base's altogether."""
    return key[-1] in WHOLE_TABLES and len(key) <= 2


_STEP = re.compile(r"\.?([A-Za-z0-9_-]+)|\[([0-9]{1,6})\]")


def key_of_text(text: str) -> Key | None:
    """`intake.port.stations[3].width` to a key; None if it is none."""
    parts: list[str | int] = []
    at = 0
    while at < len(text):
        match = _STEP.match(text, at)
        if match is None or (at == 0) == text.startswith((".", "["), at) and match[1] is not None:
            return None
        parts.append(match[1] if match[1] is not None else int(match[2]))
        at = match.end()
    return tuple(parts) if parts and isinstance(parts[0], str) and len(parts) <= DEEPEST else None


def _override(reading: Reading, overrides: Mapping[str, str]) -> None:
    """Values set from outside, in their order; they pass the same checks as those of a file."""
    if not overrides:
        return
    given: dict[str, Any] = {}
    for text, raw in overrides.items():
        key = key_of_text(str(text).strip())
        value = _override_value(raw)
        if key is None or key == ("base",):
            message = "not a key that can be set" if key is None else "the base cannot be set from outside"
            reading.notes.problems.append(CaseProblem(SET, str(text)[:80], written(value), message))
            continue
        _set(reading, key, value, given)
    reading.layers.append(Layer(SET, given, copy.deepcopy(reading.tree)))


def _override_value(raw: Any) -> Any:
    """TOML where it is TOML (5, true, [1, 3]), else the text itself."""
    if not isinstance(raw, str):
        return raw
    text = raw.strip()
    try:
        tree, _ = parse_toml(f"value = {text}", SET)
    except CaseError:
        return text
    return tree["value"] if set(tree) == {"value"} else text


def _set(reading: Reading, key: Key, value: Any, given: dict[str, Any]) -> None:
    if key[-1] in ("kind", "file") and len(key) > 1 and replaces_whole(key[:-1]):
        kind = {"kind": reading.value(key)} if key[-1] == "file" else {}
        value, key = {key[-1]: value} | ({} if key[-1] == "kind" else kind), key[:-1]
    at: Any = reading.tree
    for number, part in enumerate(key[:-1]):
        step = at.get(part) if isinstance(at, dict) else at[part] if _has(at, part) else None
        if step is None and isinstance(at, dict) and isinstance(part, str) and isinstance(key[number + 1], str):
            step = at[part] = {}
        if not isinstance(step, (dict, list)):
            _cannot_set(reading, key, key[: number + 1], value)
            return
        at = step
    if isinstance(at, list) and not _has(at, key[-1]) or isinstance(at, dict) and not isinstance(key[-1], str):
        _cannot_set(reading, key, key, value)
        return
    at[key[-1]] = value
    _note_given(given, key, value)
    _move_places(reading, key, {key: (SET, None)})
    if isinstance(value, dict) or key[-1] == "file":
        places: dict[Key, Place] = {}
        expand_tables(reading.tree, places, reading.folder, SET, reading.notes)
        reading.places.update(places)


def _has(at: Any, part: Any) -> bool:
    return isinstance(at, list) and isinstance(part, int) and part < len(at)


def _cannot_set(reading: Reading, key: Key, there: Key, value: Any) -> None:
    message = f"there is no {dotted(there)} to set it in"
    reading.notes.problems.append(CaseProblem(SET, dotted(key), written(value), message))


def _note_given(given: dict[str, Any], key: Key, value: Any) -> None:
    at = given
    for part in key[:-1]:
        at = at.setdefault(str(part), {})
    at[str(key[-1])] = value
