"""A margin behind a value: `"38.5 mm +- 0.05 mm"`, `"38.5 +- 0.05 mm"`, `"85 CFM +- 1 %"`; also with `±` or `+/-`.

A margin in per cent is a share of the value, except on a value that is itself a share ("50 % +- 10 %" is 40 to 60 %).
A margin of a temperature or pressure is a difference: it has no zero, and says neither "abs" nor "gauge".
"""

from __future__ import annotations

import re

from waveflow import units

SIGN = re.compile(r"\+\s?/?\s?-|±")
_AS_DIFFERENCE = {"pressure": "pressure_difference", "absolute_pressure": "pressure_difference",
                  "barometer": "pressure_difference"}  # fmt: skip


def has_margin(text: object) -> bool:
    """Whether a text holds the sign of a margin."""
    return isinstance(text, str) and SIGN.search(text) is not None


def split_margin(text: str) -> tuple[str, str]:
    """`"38.5 mm +- 0.05 mm"` into `("38.5 mm", "0.05 mm")`; the margin is empty where none is given.

    One unit behind both numbers stands for both. Raises UnitError where there is a sign but not one value and margin.
    """
    if not has_margin(text):
        return text, ""
    value, *margins = (piece.strip() for piece in SIGN.split(text))
    if len(margins) != 1 or not value or not margins[0]:
        raise units.UnitError("not one value with one margin", 'write it as "38.5 mm +- 0.05 mm"')
    margin = margins[0]
    number, unit = units.split(value)
    _, margin_unit = _margin_split(margin)
    if not unit and margin_unit and margin_unit != "%":
        value = f"{number} {margin_unit}"
    return value, margin


def margin_of(margin: str, value: float, value_text: str, kind: str) -> float:
    """Margin [SI] of a value [SI]; `kind` is one of `units.TABLE`, or empty for a plain number. Raises UnitError."""
    number, unit = _margin_split(margin)
    amount = float(number)
    if amount <= 0.0 or not units.is_finite(amount):
        raise units.UnitError("a margin must be above zero")
    if unit == "%" and kind != "fraction":
        if amount > 100.0:
            raise units.UnitError("a margin of more than 100 %")
        if kind == "temperature":
            raise units.UnitError("a share of a temperature means nothing", 'write the margin in degrees, as "+- 5 degC"')
        return abs(value) * amount / 100.0
    if not kind:
        if unit:
            raise units.UnitError("the margin of a plain number has no unit", f"did you mean {value_text} +- {number}?")
        return amount
    if not unit and kind != "fraction":
        own = units.split_reference(units.split(value_text)[1])[0]
        raise units.UnitError("the margin has no unit", f'did you mean "{value_text} +- {number} {own}"?')
    bare = units.split_reference(unit)[0]
    if bare != unit and kind in _AS_DIFFERENCE:
        unit = bare
    kind = _AS_DIFFERENCE.get(kind, kind)
    amount = units.parse(f"{number} {unit}", kind)
    return amount - units.parse(f"0 {unit}", kind) if kind == "temperature" else amount


def _margin_split(margin: str) -> tuple[str, str]:
    try:
        return units.split(margin)
    except units.UnitError as error:
        message = "the margin is not a number with a unit" if error.message.startswith("not a number") else error.message
        raise units.UnitError(message, error.hint or 'write it as "38.5 mm +- 0.05 mm"') from None
