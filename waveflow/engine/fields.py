"""Kinds of value a case may hold: a quantity with its unit and range, a number, a count, a yes or no, a word, a choice.

Each kind turns what the file says into the SI value the model keeps, or says in a shop's words what is wrong with it:
what is allowed and why, and the likely slip (factor 10, inch for millimetre). Raised as `PydanticCustomError` whose
context carries `allowed`, `why` and `hint`, so that pydantic collects all of them.
"""

from __future__ import annotations

import difflib
from dataclasses import dataclass, field
from decimal import Decimal
from typing import Any

from pydantic import Field
from pydantic_core import PydanticCustomError, core_schema

from waveflow import units
from waveflow.engine.margins import has_margin, margin_of, split_margin
from waveflow.errors import clean_text

_SLACK = 1e-9
# same number, other unit: the slips of a shop that works in both systems
_SWAPS = {
    "length": ("mm", "in", "cm"), "area": ("mm2", "in2", "cm2"), "volume": ("cc", "L", "in3"),
    "temperature": ("degC", "degF", "K"), "pressure": ("kPa", "bar", "psi", "Pa"),
    "absolute_pressure": ("kPa", "inHg", "mbar", "bar"), "barometer": ("kPa", "inHg", "mbar"),
    "pressure_difference": ("inH2O", "kPa", "Pa"),
    "mean_pressure": ("kPa", "bar"), "volume_flow": ("CFM", "L/s", "m3/h"),
}  # fmt: skip


# a shop's other words for our choices
_OTHER_WORDS = {
    "petrol": ("gasoline",), "pump petrol": ("gasoline",), "gas": ("gasoline",), "e10": ("gasoline",),
    "e85": ("ethanol_blend",), "ethanol": ("ethanol_blend",), "no fuel": ("none",), "trumpet": ("bellmouth",),
    "bell": ("bellmouth",), "velocity stack": ("bellmouth",), "circle": ("round",), "circular": ("round",),
    "rectangle": ("rounded rectangle",), "square": ("rounded rectangle",), "rectangular": ("rounded rectangle",),
    "oval": ("ellipse",), "slot": ("oblong",), "mould": ("measured",), "valve": ("valve head",),
    "head": ("valve head",), "valve area": ("valve head",), "bench": ("sheet",), "measured": ("sheet",),
    "cd": ("coefficient",), "lift table": ("table",), "cam card": ("card",), "sine": ("sine_squared",),
    "follower": ("lobe",), "cam": ("lobe",), "whole port": ("port",), "all": ("port",), "off": ("motored",),
}  # fmt: skip


class Unknown:
    """Stands for a value that was refused: any use of it ends the check that wanted it, by `Skip`."""

    def _skip(self, *_: Any) -> Any:
        raise Skip

    __getattr__ = __bool__ = __iter__ = __len__ = __getitem__ = __float__ = __eq__ = __hash__ = _skip
    __add__ = __radd__ = __sub__ = __rsub__ = __mul__ = __rmul__ = __truediv__ = __rtruediv__ = _skip
    __lt__ = __le__ = __gt__ = __ge__ = __neg__ = __abs__ = __pow__ = __index__ = __contains__ = _skip


class Skip(Exception):
    """A check met a value that is already known to be wrong."""


UNKNOWN = Unknown()


def refuse(message: str, allowed: str = "", why: str = "", hint: str = "") -> PydanticCustomError:
    """The error that pydantic collects; the text goes in by context, so braces in it stay as they are."""
    return PydanticCustomError("wrong", "{message}", {"message": message, "allowed": allowed, "why": why, "hint": hint})


@dataclass(frozen=True)
class Kind:
    """What all kinds share: why the range is what it is, an example for a missing key, why it must not be missing."""

    why: str = field(default="", kw_only=True)
    example: str = field(default="", kw_only=True)
    must: str = field(default="", kw_only=True)

    def __get_pydantic_core_schema__(self, source: Any, handler: Any) -> core_schema.CoreSchema:
        return core_schema.with_info_plain_validator_function(self.read)

    def read(self, value: Any, info: core_schema.ValidationInfo) -> Any:
        raise NotImplementedError

    def text(self, value: Any) -> str:
        """The value as a user would write it."""
        return str(value)


@dataclass(frozen=True)
class Quantity(Kind):
    """A number with a unit of `kind`; `low`, `high`, `usual` are written with units, limits included."""

    kind: str
    low: str
    high: str
    usual: tuple[str, str] | None = None
    unit: str = ""

    def __post_init__(self) -> None:
        object.__setattr__(self, "unit", self.unit or units.split(self.high)[1])
        limits = tuple(units.parse(text, self.kind) for text in (self.low, self.high))
        object.__setattr__(self, "limits", limits)
        usual = tuple(units.parse(text, self.kind) for text in self.usual) if self.usual else limits
        object.__setattr__(self, "usual_limits", usual)

    def allowed(self) -> str:
        """The range in words: "5 to 120 mm"."""
        return span(*self.limits, self.unit)

    def inside(self, value: float, limits: tuple[float, float] | None = None) -> bool:
        low, high = limits or self.limits
        slack = _SLACK * max(abs(low), abs(high))
        return low - slack <= value <= high + slack

    def read(self, value: Any, info: core_schema.ValidationInfo) -> float:
        barometer = (info.context or {}).get("barometer")
        value, margin = _apart(value, self)
        try:
            si = units.parse(value, self.kind, barometer)
        except units.UnitError as error:
            raise refuse(error.message, self.allowed(), self.why, self._cure(value, barometer) or error.hint) from None
        _margin(margin, si, value, self.kind, self)
        if self.inside(si):
            return si
        limit = self.limits[1] if si > self.limits[1] else self.limits[0]
        message = f"{'above' if si > limit else 'below'} {units.show(limit, self.unit, 6)}"
        raise refuse(message, self.allowed(), self.why, self._cure(value, barometer))

    def remark(self, value: float) -> str:
        """What is unusual about a legal value; empty if nothing is."""
        if self.inside(value, self.usual_limits):
            return ""
        return f"unusual: most are {span(*self.usual_limits, self.unit)}"

    def _cure(self, value: Any, barometer: float | None) -> str:
        """`did you mean "38.1 mm"?`: the first likely slip that falls in the usual range, else in the allowed one."""
        if isinstance(value, bool) or not isinstance(value, (str, int, float)):
            return ""
        try:
            number, unit = units.split(value if isinstance(value, str) else repr(value))
        except units.UnitError:
            return ""
        texts = self._slips(number, unit)
        for limits in (self.usual_limits, self.limits):
            for text in texts:
                try:
                    si = units.parse(text, self.kind, barometer)
                except units.UnitError:
                    continue
                if self.inside(si, limits):
                    return f'did you mean "{text}"?'
        return ""

    def _slips(self, number: str, unit: str) -> list[str]:
        referenced = self.kind in ("pressure", "absolute_pressure")
        swaps = [f"{number} {other}{' abs' if referenced else ''}" for other in _SWAPS.get(self.kind, ())]
        if not unit:
            return [f"{number} %"] if self.kind == "fraction" else [f"{number} {self.unit}", *swaps]
        bare, reference = units.split_reference(unit)
        if units.unit_named(bare, self.kind) is None:
            return []
        if referenced and not reference:
            # which of the two is not guessed: a cure only where one alone can be
            return [] if self.kind == "pressure" else [f"{number} {bare} abs"]
        tenfold = [f"{_shift(number, power)} {unit}" for power in (-1, 1)]
        # of a length the point slips more often than the unit, of anything else the unit
        first = tenfold + swaps if self.kind == "length" else swaps + tenfold
        return first + [f"{_shift(number, power)} {unit}" for power in (-2, 2, -3, 3)]

    def text(self, value: float) -> str:
        return units.show(value, self.unit, 6)


def _shift(number: str, power: int) -> str:
    return format(Decimal(number).scaleb(power).normalize(), "f") if abs(float(number)) < 1e12 else number


def span(low: float, high: float, unit: str) -> str:
    """A range in words: "5 to 120 mm", "0.3 to 1.7 bar abs"."""
    first, last = (units.plain(units.from_si(value, unit), 6) for value in (low, high))
    return f"{first} to {last} {unit}".rstrip()


@dataclass(frozen=True)
class Number(Kind):
    """A plain number without a unit, limits included."""

    low: float
    high: float
    usual: tuple[float, float] | None = None

    def allowed(self) -> str:
        return f"{units.plain(self.low, 6)} to {units.plain(self.high, 6)}"

    def read(self, value: Any, info: core_schema.ValidationInfo) -> float:
        if isinstance(value, str):
            value, margin = _apart(value, self)
            text, value = value, _number_in(value, self)
            _margin(margin, value, text, "", self)
        if isinstance(value, bool) or not isinstance(value, (int, float)):
            raise refuse("not a number", self.allowed(), self.why)
        if not units.is_finite(value):
            raise refuse("not a finite number", self.allowed(), self.why)
        if not self.low <= value <= self.high:
            limit = self.high if value > self.high else self.low
            message = f"{'above' if value > limit else 'below'} {units.plain(limit, 6)}"
            raise refuse(message, self.allowed(), self.why, self._cure(float(value)))
        return float(value)

    def _cure(self, value: float) -> str:
        low, high = self.usual or (self.low, self.high)
        for power in (-1, 1, -2, 2, -3, 3):
            shifted = float(Decimal(repr(value)).scaleb(power))
            if low <= shifted <= high and shifted != value:
                return f"did you mean {shifted:g}?"
        return ""

    def remark(self, value: float) -> str:
        if self.usual is None or self.usual[0] <= value <= self.usual[1]:
            return ""
        return f"unusual: most are {units.plain(self.usual[0], 6)} to {units.plain(self.usual[1], 6)}"

    def text(self, value: float) -> str:
        return f"{value:g}"


def _apart(value: Any, kind: Any) -> tuple[Any, str]:
    """A value and the margin behind it; what is no text has none."""
    if not has_margin(value):
        return value, ""
    try:
        return split_margin(value)
    except units.UnitError as error:
        raise refuse(error.message, kind.allowed(), kind.why, error.hint) from None


def _margin(margin: str, value: float, text: str, unit_kind: str, kind: Any) -> None:
    """Refuses a margin that cannot be read."""
    if not margin:
        return
    try:
        margin_of(margin, value, text, unit_kind)
    except units.UnitError as error:
        raise refuse(error.message, kind.allowed(), kind.why, error.hint) from None


def _number_in(text: str, kind: Number) -> float:
    """Number in a cell of a table; a unit on a plain number is a mistake."""
    try:
        number, unit = units.split(text)
    except units.UnitError as error:
        message = "not a number" if error.message.startswith("not a number") else error.message
        raise refuse(message, kind.allowed(), kind.why, error.hint.replace('"', "")) from None
    if unit:
        raise refuse("a plain number, without a unit", kind.allowed(), kind.why, f"did you mean {number}?")
    return float(number)


@dataclass(frozen=True)
class Whole(Kind):
    """A whole number, limits included."""

    low: int
    high: int

    def read(self, value: Any, info: core_schema.ValidationInfo) -> int:
        allowed = f"{self.low} to {self.high}" if self.low < self.high else f"{self.low}"
        if isinstance(value, str) and value.strip().isascii() and value.strip().isdigit() and len(value) < 9:
            value = int(value)
        if isinstance(value, bool) or not isinstance(value, int):
            hint = f"did you mean {value:g}?" if isinstance(value, float) and value.is_integer() else ""
            raise refuse("not a whole number", allowed, self.why, hint)
        if not self.low <= value <= self.high:
            limit = self.high if value > self.high else self.low
            raise refuse(f"{'above' if value > limit else 'below'} {limit}", allowed, self.why)
        return value


@dataclass(frozen=True)
class YesNo(Kind):
    """true or false."""

    def read(self, value: Any, info: core_schema.ValidationInfo) -> bool:
        if not isinstance(value, bool):
            guess = {"yes": "true", "no": "false", "true": "true", "false": "false", "1": "true", "0": "false"}
            cure = guess.get(str(value).strip().lower(), "")
            raise refuse("neither true nor false", "true or false", self.why, f"did you mean {cure}?" if cure else "")
        return value

    def text(self, value: bool) -> str:
        return "true" if value else "false"


@dataclass(frozen=True)
class Words(Kind):
    """A short text of printable characters."""

    longest: int = 200
    shortest: int = 0

    def read(self, value: Any, info: core_schema.ValidationInfo) -> str:
        if not isinstance(value, str):
            raise refuse("not a text in quotes", why=self.why)
        if len(value) > self.longest:
            raise refuse(f"longer than {self.longest} characters", why=self.why)
        if len(value.strip()) < self.shortest:
            raise refuse("empty", why=self.why)
        if clean_text(value, self.longest + 1) != value:
            raise refuse("holds characters that cannot be printed", why=self.why)
        return value

    def text(self, value: str) -> str:
        return f'"{value}"'


@dataclass(frozen=True)
class Choice(Kind):
    """One of a few words."""

    words: tuple[str, ...]

    def read(self, value: Any, info: core_schema.ValidationInfo) -> str:
        if not isinstance(value, str):
            raise refuse("not one of the words", self.allowed(), self.why)
        if value not in self.words:
            raise refuse("not one of the words", self.allowed(), self.why, nearest_word(value, self.words))
        return value

    def allowed(self) -> str:
        *first, last = (f'"{word}"' for word in self.words)
        return f"{', '.join(first)} or {last}" if first else last

    def text(self, value: str) -> str:
        return f'"{value}"'


def nearest_word(word: str, words: tuple[str, ...] | list[str]) -> str:
    """`did you mean "ellipse"?` or nothing."""
    plain = {name.lower().replace("_", " ").replace("-", " "): name for name in words}
    low = word[:60].lower().replace("_", " ").replace("-", " ").strip()
    other = next((each for each in _OTHER_WORDS.get(low, ()) if each in words), None)
    if other is not None:
        return f'did you mean "{other}"?'
    close = difflib.get_close_matches(low, plain, 1, 0.6)
    return f'did you mean "{plain[close[0]]}"?' if close else ""


def standard(value: Any, why: str = "", mark: str = "default") -> Any:
    """A default (SI, or a word) that is a choice or the neutral value, not a guess about this engine."""
    return Field(default=value, json_schema_extra={"mark": mark, "low": None, "high": None, "why": why})


def guess(kind: str, text: str, low: str, high: str, why: str) -> Any:
    """A default for what hardly anybody measures, with its likely range; all three written with their unit."""
    value, first, last = (units.parse(each, kind) for each in (text, low, high))
    return Field(default=value, json_schema_extra={"mark": "guess", "low": first, "high": last, "why": why})


def guessed_number(value: float, low: float, high: float, why: str) -> Any:
    """The same for a plain number."""
    return Field(default=value, json_schema_extra={"mark": "guess", "low": low, "high": high, "why": why})
