"""What the headings and remarks of a flow sheet mean: lift, flow, which side, before or after, units, depression.

Only what a text says is taken; what it leaves open stays open and is asked for (see `sheetfile`). English and German
words are known; a heading in another language is asked about.
"""

from __future__ import annotations

import re
import unicodedata
from dataclasses import dataclass

from waveflow.units import unit_named

FACTS = {
    "depression": "depression",
    "test depression": "depression",
    "test pressure": "depression",
    "pressure drop": "depression",
    "prüfdruck": "depression",
    "unterdruck": "depression",
    "differenzdruck": "depression",
    "bench": "bench",
    "flow bench": "bench",
    "flowbench": "bench",
    "leak": "leak",
    "leakage": "leak",
    "leak at zero lift": "leak",
    "leck": "leak",
    "intake leak": "intake leak",
    "exhaust leak": "exhaust leak",
    "leak subtracted": "leak subtracted",
    "plate expected": "plate expected",
    "plate read": "plate read",
    "plate corrected": "plate corrected",
    "valve": "valve",
    "valve diameter": "valve",
    "head diameter": "valve",
    "valve size": "valve",
    "intake valve": "intake valve",
    "exhaust valve": "exhaust valve",
    "inlet valve": "intake valve",
    "einlassventil": "intake valve",
    "auslassventil": "exhaust valve",
    "valves open": "valves open",
    "air temperature": "air temperature",
    "temperature": "air temperature",
    "room temperature": "air temperature",
    "temperatur": "air temperature",
    "barometer": "barometer",
    "luftdruck": "barometer",
    "repeat": "repeat",
    "side": "side",
    "seite": "side",
    "lift unit": "lift unit",
    "flow unit": "flow unit",
    "decimal mark": "decimal mark",
}
"""What a sheet may say of itself beside its table, and the name it goes by."""

_LIFT = {"lift", "valvelift", "hub", "ventilhub", "opening", "lifts"}
_FLOW = {"flow", "volumeflow", "durchfluss", "durchfluß", "reading", "volume", "flowed", "flows", "luft", "air"}
_SIDES = {
    "intake": {"intake", "inlet", "int", "in", "einlass", "einlaß", "ein"},
    "exhaust": {"exhaust", "exh", "ex", "outlet", "auslass", "auslaß", "aus"},
}
_TIMES = {
    "before": {"before", "stock", "vorher", "original", "baseline", "serie", "vor", "old"},
    "after": {"after", "ported", "nachher", "modified", "bearbeitet", "nach", "new", "final"},
}
_UNUSED = {
    "cd",
    "cf",
    "coefficient",
    "coeff",
    "gain",
    "change",
    "difference",
    "diff",
    "delta",
    "velocity",
    "speed",
    "fps",
    "note",
    "notes",
    "remark",
    "remarks",
    "comment",
    "comments",
    "area",
    "percent",
    "number",
    "no",
    "nr",
    "point",
    "bemerkung",
    "differenz",
    "ratio",
    "date",
    "time",
    "operator",
    "loss",
}
_FILLER = {"valve", "at", "the", "of", "per", "read", "corrected", "port", "test", "inches", "water", "h2o", "bei", "side"}
_RATIO = re.compile(
    r"\bl\s*/\s*d\b|\b(?:lift|hub)\s*(?:/|over|by|to|per)\s*(?:valve\s*)?d(?:ia\w*|urchmesser)?\b", re.IGNORECASE
)
_WATER = (r"(?:in(?:ch(?:es)?)?\.?|\")\s*(?:of\s+)?(?:h\s?2[o0]|water|w\.?\s?c\.?|w\.?\s?g\.?)|(?:mm|cm)\s?h\s?2o|kpa|mbar|hpa"
          r"|pa")  # fmt: skip
_DEPRESSION = re.compile(
    rf"(?:@|\bat\b|\bbei\b)\s*([0-9]+(?:[.,][0-9]+)?)(?:\s*({_WATER}|\"|in\b|inch(?:es)?\b))?(?![\w/])", re.IGNORECASE
)
_TOLD = re.compile(rf"([0-9]+(?:[.,][0-9]+)?)\s*({_WATER})(?![\w/])", re.IGNORECASE)
_SLASHED = re.compile(
    r"\b(?:m\^?[3\N{SUPERSCRIPT THREE}]\s?/\s?(?:hr?|s|min)|l\s?/\s?(?:s|min)|(?:ft\^?3|cu\.?\s?ft)\s?/\s?min)(?![a-z])",
    re.IGNORECASE,
)
FOREIGN = re.compile(r"\b(?:other|another|different|foreign)(?:\s+\w+'?s?)?\s+(?:bench|shop)\b", re.IGNORECASE)


@dataclass(frozen=True)
class Heading:
    """A heading understood: `meaning` is "lift", "lift/diameter", "flow", "unused" or "" (not said).

    `depression` is "28 inH2O", or a bare "28" where the heading names no unit.
    """

    text: str
    meaning: str
    side: str = ""
    label: str = ""
    unit: str = ""
    depression: str = ""
    why: str = ""


def squared(text: str) -> str:
    """Text with its forms of letters, blanks and superscripts made alike."""
    text = unicodedata.normalize("NFKC", text.replace("\u2033", '"').replace("\u201d", '"').replace("\u201c", '"'))
    return re.sub(r"\s+", " ", text.replace("''", '"')).strip()


def fact_named(text: str) -> str | None:
    """Our name of a thing a sheet says of itself, or None."""
    return FACTS.get(re.sub(r"[\s_]+", " ", squared(text).lower()).strip(" .:="))


def _pressure(number: str, unit: str | None) -> str:
    """`("28", "in. of water")` as "28 inH2O"; the bare number where there is no unit that says what it measures."""
    number = number.replace(",", ".")
    low = re.sub(r"[\s.]+", "", (unit or "").lower()).replace("h20", "h2o")
    if re.fullmatch(r"(?:in(?:ch(?:es)?)?|\")(?:of)?(?:h2o|water|wc|wg)", low):
        return f"{number} inH2O"
    named = unit_named(low, "pressure_difference") if low else None
    return f"{number} {named}" if named else number


def depression_in(text: str) -> str:
    """The test depression a title or remark speaks of, "28 inH2O", if it names exactly one with its unit; else ""."""
    found = {_pressure(number, unit) for number, unit in _TOLD.findall(squared(text))}
    return found.pop() if len(found) == 1 else ""


def depression_text(text: str) -> str:
    """A stated depression in our spelling; as it was where it cannot be read."""
    found = re.fullmatch(rf"([0-9]+(?:[.,][0-9]+)?)\s*({_WATER}|\"|in\b|inch(?:es)?\b)?", squared(text), re.IGNORECASE)
    return _pressure(found[1], found[2]) if found else text


def understood(text: str) -> Heading:
    """What one heading says, for example `"Intake before (CFM @ 28 inH2O)"`."""
    whole = squared(text)
    rest, depression, unit = whole, "", ""
    found = _DEPRESSION.search(rest) or _TOLD.search(rest)
    if found:
        depression = _pressure(found[1], found[2])
        rest = rest[: found.start()] + " " + rest[found.end() :]
    slashed = _SLASHED.search(rest)
    if slashed:
        unit = unit_named(re.sub(r"\s", "", slashed[0]), "volume_flow") or ""
        rest = rest[: slashed.start()] + " " + rest[slashed.end() :]
    if _RATIO.search(rest):
        return Heading(whole, "lift/diameter")
    words = [word for word in re.split(r"[^\w%\"']+|_", rest) if word]
    low = [word.lower() for word in words]
    if "%" in rest or set(low) & _UNUSED:
        return Heading(whole, "unused", why="not a reading")
    if low in (["in"], ["ein"]) and not unit and not depression:
        return Heading(whole, "", unit="in", why="inches of lift, or the intake's flow?")
    if set(low) & _LIFT:
        units = {named for word in words if word.lower() not in _LIFT and (named := unit_named(word, "length"))}
        return Heading(whole, "lift", unit=units.pop() if len(units) == 1 else "")
    units = {named for word in words if (named := unit_named(word, "volume_flow"))}
    unit = unit or (units.pop() if len(units) == 1 else "")
    side = next((side for side, names in _SIDES.items() if names & set(low)), "")
    label = next((time for time, names in _TIMES.items() if names & set(low)), "")
    if not (unit or side or label or set(low) & _FLOW):
        lengths = [named for word in words if (named := unit_named(word, "length"))]
        if len(words) == 1 and lengths:
            return Heading(whole, "lift", unit=lengths[0])
        return Heading(whole, "", why="no word in it says lift or flow")
    if not label:
        known = _FLOW | _FILLER | _SIDES["intake"] | _SIDES["exhaust"]
        own = [word for word in words if word.lower() not in known and not unit_named(word, "volume_flow")]
        label = " ".join(own)[:40]
    return Heading(whole, "flow", side, label, unit, depression)
