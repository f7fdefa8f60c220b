"""Every value a case holds that nobody gave: defaults, guesses, and what was assumed for want of a measurement."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from waveflow import units
from waveflow.engine.fields import Quantity
from waveflow.engine.part import Part, key_of
from waveflow.engine.parts_pipe import kind_of

MARKS = ("assumed", "guess", "default", "card", "measured")


@dataclass(frozen=True)
class Assumption:
    """One value that was filled in: `mark` is "default" (a choice or a neutral value), "guess" (nobody measures it; the
    range `low` to `high`, SI, is where it likely lies) or "assumed" (stands in for a missing measurement)."""

    key: str
    value_text: str
    mark: str
    low: float | None = None
    high: float | None = None
    why: str = ""
    unit: str = ""

    @property
    def range_text(self) -> str:
        """`"60 to 110 degC"`, or nothing where there is no range."""
        if self.low is None or self.high is None:
            return ""
        if not self.unit:
            return f"{self.low:g} to {self.high:g}"
        low, high = (units.plain(units.from_si(value, self.unit), 4) for value in (self.low, self.high))
        return f"{low} to {high} {self.unit}"

    def __str__(self) -> str:
        spread = f", likely {self.range_text}" if self.range_text else ""
        return f"{self.key} = {self.value_text} ({self.mark}{spread}{': ' + self.why if self.why else ''})"


def filled_in(part: Part, path: str = "") -> Iterator[Assumption]:
    """The defaults that stand in `part` and the tables below it."""
    for name, field in type(part).model_fields.items():
        key = f"{path}.{key_of(name, field)}" if path else key_of(name, field)
        value = getattr(part, name)
        if isinstance(value, Part):
            yield from filled_in(value, key)
        elif isinstance(value, tuple) and value and isinstance(value[0], Part):
            for number, item in enumerate(value):
                yield from filled_in(item, f"{key}[{number}]")
        elif name not in part.model_fields_set and isinstance(field.json_schema_extra, dict):
            yield _assumption(key, value, field)


def _assumption(key: str, value: Any, field: Any) -> Assumption:
    kind = kind_of(field)
    about = field.json_schema_extra
    unit = kind.unit if isinstance(kind, Quantity) else ""
    text = kind.text(value) if kind is not None else str(value)
    return Assumption(key, text, about["mark"], about["low"], about["high"], about["why"], unit)


def of_use(assumption: Assumption, case: Any) -> bool:
    """Whether a default bears on this case at all: no fuel settings without fuel, no gamma in a real gas."""
    key = assumption.key
    last = key.rsplit(".", 1)[-1]
    pipes = ("frictionless", "roughness"), ("adiabatic_pipes", "wall_temperature")
    if ".stock_port." in key:
        return False
    if key.startswith("fuel.") and case.fuel.kind == "none":
        return False
    if key.startswith("walls.") and last != "heat" and case.walls.heat == "adiabatic":
        return False
    if key == "charger.cooler_effectiveness" and (case.charger.charge_temperature is not None or case.charger.cooler == "none"):
        return False
    if last == "rocker_ratio" and getattr(getattr(case, key.split(".")[0]).cam, "rocker_ratios", None) is not None:
        return False
    if key == "friction.at_peak" and case.friction.peak_share == 0.0:
        return False
    if key in ("ideal.gamma", "ideal.gas_constant") and case.ideal.gas == "real":
        return False
    if key == "ambient.relative_humidity" and case.ideal.gas != "real":
        return False
    if key.startswith("compression.") and case.compression.chamber is None:
        return False
    return not any(getattr(case.ideal, switch) and last == name for switch, name in pipes)
