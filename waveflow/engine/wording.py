"""What pydantic found, in a shop's words: key as written, value as written, what is allowed, the cure."""

from __future__ import annotations

import copy
import difflib
from collections.abc import Iterable
from typing import Any

from pydantic import ValidationError

from waveflow.engine.fields import UNKNOWN, Choice, nearest_word
from waveflow.engine.lines import Key
from waveflow.engine.part import Part, key_of
from waveflow.engine.parts_pipe import kind_of
from waveflow.engine.reading import Reading, dotted, written
from waveflow.engine.tables import split_series
from waveflow.errors import CaseProblem

_TAGGED = ("cam", "flow", "burn", "stock_flow", "charger")
# a shop's other words for our keys
_SYNONYMS = {
    "rod": "rod_length", "conrod": "rod_length", "cr": "ratio", "compression_ratio": "ratio", "dia": "head_diameter",
    "diameter": "head_diameter", "stem": "stem_diameter", "throat": "throat_diameter", "centreline": "lobe_centre",
    "centerline": "lobe_centre", "lobe_center": "lobe_centre", "rocker": "rocker_ratio", "clearance": "lash",
    "plate": "plate_corrected", "test_pressure": "depression", "distance": "at", "x": "at", "radius": "corner_radius",
    "blocked": "blocked_area", "baro": "barometer", "afr": "lambda", "primary": "primary_length", "rpm": "range",
    "humidity": "relative_humidity", "cc": "burette_volume", "inlet": "intake", "carter": "compression",
    "manifold": "runner", "muffler": "silencer_at", "max_rpm": "redline", "limit": "redline",
}  # fmt: skip


def models_in(annotation: Any) -> list[type[Part]]:
    """The table models an annotation allows."""
    found, waiting = [], [annotation]
    while waiting:
        item = waiting.pop(0)
        if isinstance(item, type) and issubclass(item, Part):
            found.append(item)
        waiting.extend(getattr(item, "__args__", ()))
    return found


def field_at(model: type[Part], name: str) -> Any:
    """Field of `model` that stands as `name` in a file; None if there is none."""
    return next((info for each, info in model.model_fields.items() if key_of(each, info) == name), None)


def model_at(root: type[Part], key: Key, tree: Any) -> type[Part] | None:
    """Model of the table at `key`, chosen by `kind` where several are possible."""
    model: type[Part] | None = root
    at = tree
    for part in key:
        at = at.get(part) if isinstance(at, dict) and isinstance(part, str) else _item(at, part)
        if isinstance(part, int):
            continue
        field = field_at(model, part) if model else None
        models = models_in(field.annotation) if field is not None else []
        kind = at.get("kind") if isinstance(at, dict) else None
        chosen = [each for each in models if kind in kinds_of([each])]
        model = (chosen or models or [None])[0] if chosen or len(models) == 1 else None
    return model


def _item(at: Any, part: Any) -> Any:
    return at[part] if isinstance(at, list) and isinstance(part, int) and part < len(at) else None


def kinds_of(models: Iterable[type[Part]]) -> list[str]:
    """The words that key `kind` takes for these tables; nothing for a table without it."""
    return [m.model_fields["kind"].annotation.__args__[0] for m in models if _is_tagged(m)]


def _is_tagged(model: type[Part]) -> bool:
    field = model.model_fields.get("kind")
    return field is not None and bool(getattr(field.annotation, "__args__", ()))


def _true_key(loc: tuple, tree: Any) -> Key:
    """pydantic's location without the tags of unions."""
    key: list[str | int] = []
    at = tree
    for part in loc:
        if key and key[-1] in _TAGGED and isinstance(at, dict) and part == at.get("kind"):
            at = dict(at, kind=None)
            continue
        if isinstance(part, int) and not isinstance(at, list) and len(split_series(str(at))) < 2:
            # one value where a list could stand
            continue
        key.append(part)
        at = at.get(part) if isinstance(at, dict) and isinstance(part, str) else _item(at, part)
    return tuple(key)


def problems_of(error: ValidationError, root: type[Part], reading: Reading) -> tuple[list[CaseProblem], set[Key]]:
    """Every mistake pydantic found, and the keys that are there under a misspelt name."""
    entries = [(_true_key(entry["loc"], reading.tree), entry) for entry in error.errors(include_url=False)]
    cures = {}
    for key, entry in entries:
        if entry["type"] == "extra_forbidden":
            cures[key] = nearest_key(str(key[-1]), model_at(root, key[:-1], reading.tree), root)
    meant = {(*key[:-1], name) for key, (name, _) in cures.items() if name}
    bare = _without_units(entries, reading)
    problems = [_all_bare(key, first, reading) for key, first in bare.items()]
    spoilt = {key[:-1] for key, _ in entries} | {key for key, entry in entries if entry["type"] == "wrong"}
    spoilt |= {key[:-2] for key, _ in entries if len(key) > 2 and isinstance(key[-2], int)}
    for key, entry in entries:
        # a key that is missing only because it is misspelt is one mistake, not two; a list is short of its bad items
        if (
            entry["type"] == "missing"
            and key in meant | reading.notes.unread
            or entry["type"] == "too_short"
            and key in spoilt
        ):
            continue
        if key[:-1] not in bare:
            problems.append(_problem(key, entry, root, reading, cures))
    return problems, meant


def _without_units(entries: list, reading: Reading) -> dict[Key, dict]:
    """Columns of which no value has a unit: told once, not for every value."""
    bare: dict[Key, list[dict]] = {}
    for key, entry in entries:
        if isinstance(key[-1], int) and entry.get("ctx", {}).get("message") == "missing unit":
            bare.setdefault(key[:-1], []).append(entry)
    whole = {}
    for key, found in bare.items():
        column = reading.value(key)
        size = len(split_series(column)) if isinstance(column, str) else len(column)
        if len(found) == size > 1:
            whole[key] = found[0]
    return whole


def _all_bare(key: Key, first: dict, reading: Reading) -> CaseProblem:
    file, line = reading.place(key)
    column, context = reading.value(key), first["ctx"]
    items = split_series(column) if isinstance(column, str) else [str(each) for each in column]
    unit = context["hint"].rsplit(" ", 1)[-1].rstrip('?"') if context["hint"] else ""
    shown = ", ".join(items[:12])
    hint = f'did you mean "{shown}{", ..." if len(items) > 12 else ""} {unit}"?' if unit else ""
    return CaseProblem(
        file, dotted(key), written(column), "missing unit", context["allowed"], hint, line, context["why"]
    )


def nearest_key(word: str, model: type[Part] | None, root: type[Part]) -> tuple[str, str]:
    """(key of this table that was probably meant, hint); the key is empty if it belongs elsewhere or nowhere."""
    own = [key_of(name, field) for name, field in model.model_fields.items()] if model else []
    low = word[:60].lower().replace("-", "_").replace(" ", "_")
    if _SYNONYMS.get(low) in own:
        return _SYNONYMS[low], f'did you mean "{_SYNONYMS[low]}"?'
    close = difflib.get_close_matches(low, own, 1, 0.6)
    if close:
        return close[0], f'did you mean "{close[0]}"?'
    homes = _homes(root, "")
    if low in homes:
        return "", f'"{low}" belongs to [{homes[low]}]' if homes[low] else f'"{low}" stands at the top of the file'
    close = difflib.get_close_matches(low, own, 1, 0.5)
    if close:
        return close[0], f'did you mean "{close[0]}"?'
    return "", f"keys here are {', '.join(own)}" if own else ""


def _homes(model: type[Part], path: str) -> dict[str, str]:
    """Key -> dotted table it belongs to, the first found."""
    homes: dict[str, str] = {}
    below = []
    for name, field in model.model_fields.items():
        key = key_of(name, field)
        homes.setdefault(key, path)
        for each in models_in(field.annotation):
            below.append((each, f"{path}.{key}" if path else key))
    for each, deeper in below:
        for key, home in _homes(each, deeper).items():
            homes.setdefault(key, home)
    return homes


def _problem(key: Key, entry: dict, root: type[Part], reading: Reading, cures: dict) -> CaseProblem:
    file, line = reading.place(key)
    value = written(reading.value(key))
    context = entry.get("ctx", {})
    kind = entry["type"]
    model = model_at(root, key[:-1], reading.tree)
    field = field_at(model, str(key[-1])) if model and key else None

    def made(message: str, allowed: str = "", hint: str = "", why: str = "", at: Key = key, shown: Any = value):
        return CaseProblem(file, dotted(at), shown, message, allowed, hint, line, why)

    if kind == "wrong":
        return made(context["message"], context["allowed"], context["hint"], context["why"])
    if kind == "extra_forbidden":
        others = _other_kinds(key, root, reading)
        if others:
            chosen = reading.value((*key[:-1], "kind"))
            return made(f'does not go with kind = "{chosen}"', hint=f"it belongs to {others}")
        return made("unknown key", hint=cures[key][1])
    if kind == "missing":
        return _missing(key, field, made)
    if kind in ("union_tag_not_found", "union_tag_invalid"):
        table = reading.value(key)
        if not isinstance(table, dict):
            return made("not a table", hint=f"write [{dotted(key)}] with its keys below")
        return _which_kind(key, table, field, made, reading)
    if kind in ("model_type", "model_attributes_type", "dict_type"):
        hint = "write { at = ..., ... }" if isinstance(key[-1], int) else f"write [{dotted(key)}] with its keys below"
        return made("not a table", hint=hint)
    if kind in ("tuple_type", "list_type"):
        tables = isinstance(reading.value(key), dict)
        return made("not a list", hint=f"write [[{dotted(key)}]] with double brackets" if tables else "write [ ..., ... ]")
    if kind == "too_short":
        return made(f"{_count(context['actual_length'])}; at least {context['min_length']} are needed")
    if kind == "too_long":
        return made(f"more than {context['max_length']} entries")
    return made(entry["msg"].lower())


def _other_kinds(key: Key, root: type[Part], reading: Reading) -> str:
    """`kind = "card"`: the other kinds of this table that have this key."""
    table = reading.value(key[:-1])
    above = model_at(root, key[:-2], reading.tree) if len(key) > 1 else None
    field = field_at(above, str(key[-2])) if above is not None else None
    if field is None or not isinstance(table, dict):
        return ""
    having = [model for model in models_in(field.annotation) if field_at(model, str(key[-1])) is not None]
    return " or ".join(f'kind = "{kind}"' for kind in kinds_of(having))


def _count(number: int) -> str:
    return "no entry" if number == 0 else "1 entry" if number == 1 else f"{number} entries"


def _missing(key: Key, field: Any, made: Any) -> CaseProblem:
    kind = kind_of(field) if field is not None else None
    if field is not None and kind_is_table(field):
        model = (models_in(field.annotation) or [Part])[0]
        needed = [key_of(name, info) for name, info in model.model_fields.items() if info.is_required()]
        with_keys = f" with {_listed(needed)}" if needed else ""
        return made("missing", hint=f"add a table [{dotted(key)}]{with_keys}", shown=None)
    if kind is None:
        return made("missing", shown=None)
    example = kind.example
    if not example and isinstance(kind, Choice):
        example = kind.words[0]
    plain = example in ("true", "false") or example.replace(".", "", 1).isdigit()
    hint = f"add {key[-1]} = {example if plain else chr(34) + example + chr(34)}" if example else ""
    allowed = getattr(kind, "allowed", None)
    words = kind.allowed() if isinstance(kind, Choice) and allowed else ""
    return made("missing", words, hint + (" or what it is" if hint and not words else ""), kind.must, shown=None)


def _listed(words: list[str]) -> str:
    return " and ".join([", ".join(words[:-1]), words[-1]] if len(words) > 1 else words)


def kind_is_table(field: Any) -> bool:
    """Whether a field holds a table (not a list of tables)."""
    return bool(models_in(field.annotation)) and "tuple" not in str(field.annotation)


def _which_kind(key: Key, table: dict, field: Any, made: Any, reading: Reading) -> CaseProblem:
    models = models_in(field.annotation) if field is not None else []
    kinds = kinds_of(models)
    words = Choice(tuple(kinds)).allowed() if kinds else ""
    at = (*key, "kind")
    given = table.get("kind")
    fitting = sorted(models, key=lambda each: -len(set(table) & {key_of(n, f) for n, f in each.model_fields.items()}))
    best = kinds_of(fitting[:1])
    guess = f'did you mean kind = "{best[0]}"?' if best and len(set(table) - {"kind"}) > 0 else ""
    if given is None:
        return made("missing", words, guess, at=at, shown=None)
    hint = nearest_word(given, kinds) if isinstance(given, str) else ""
    return made("not one of the kinds", words, hint or guess, at=at, shown=written(given))


def with_unknown(tree: dict[str, Any], misspelt: set[Key], unread: set[Key]) -> dict[str, Any]:
    """Copy of a tree in which keys that are misspelt or could not be read hold a value that no check may use."""
    new = copy.deepcopy(tree)
    for key in sorted(misspelt | unread, key=len):
        at: Any = new
        for part in key[:-1]:
            at = at if at is UNKNOWN else at[part]
        if isinstance(at, dict) and (key in unread or key[-1] not in at):
            at[key[-1]] = UNKNOWN
    return new
