"""Lengths, areas, volumes and states as text in the units asked for; what is not asked for stays mm, mm2, cc and kPa."""

from __future__ import annotations

from typing import Any

from waveflow.show.words import number, signed
from waveflow.study.columns import measure

__all__ = ["scaled", "size", "size_change", "unit", "with_unit"]


def size(kind: str, value: float, digits: int = 0) -> str:
    """A value [SI] without its unit; `digits` are the decimals of its usual unit (mm, mm2, cc, kPa, deg C)."""
    shown, _, digits = measure(kind, value, digits)
    return number(float(shown), digits)


def with_unit(kind: str, value: float, digits: int = 0) -> str:
    """A value [SI] with the unit asked for: "38.5 mm", "1.516 in"."""
    return f"{size(kind, value, digits)} {unit(kind)}"


def size_change(kind: str, value: float, digits: int = 1) -> str:
    """A difference [SI] with its sign and unit: "+7.9 cc"."""
    shown, label, digits = measure(kind, value, digits)
    return signed(float(shown), digits, label)


def unit(kind: str) -> str:
    """Label of the unit shown now for a kind of quantity: "mm", or "in" where that is asked for."""
    return measure(kind, 0.0)[1]


def scaled(kind: str, values: Any) -> Any:
    """Values [SI] in the unit asked for, as numbers to draw."""
    return measure(kind, values)[0]
