"""Torque and power corrected to the air of a named standard; nothing is corrected unless it is asked for by name.

    SAE J1349 (form of June 1990)   cf = 1.180 (99 / p) ((t + 273) / 298)^(1/2) - 0.180
    ISO 1585, spark ignition        af = (99 / p)^1.2 (T / 298)^0.6

with p the pressure of the dry air [kPa], t its temperature [degC], T the same in kelvins. Both refer to dry air of 99 kPa and
25 degC. The standards themselves were not at hand: the first form was read second-hand, in two places that agree, the second is
from memory, and so are the ranges. The first counts 15 % of indicated power as friction that the weather does not touch.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass, replace
from typing import Any

from waveflow.study.columns import measure
from waveflow.study.results import SweepResult

REFERENCE_PRESSURE, REFERENCE_TEMPERATURE = 99e3, 298.15
BOOSTED = 1.05
"""Pressure before the throttle over ambient from which an intake is taken as fed by a charger."""
CORRECTED = {"corrected_torque": "torque", "corrected_power": "power"}


def sae_j1349(dry_pressure: float, temperature: float) -> float:
    """Factor of SAE J1349 (1990 form, read second-hand) [1]; pressure of the dry air [Pa], its temperature [K]."""
    return 1.180 * (99e3 / dry_pressure) * ((temperature - 273.15 + 273.0) / 298.0) ** 0.5 - 0.180


def iso_1585(dry_pressure: float, temperature: float) -> float:
    """Factor of ISO 1585 for spark-ignition engines (from memory) [1]; pressure of the dry air [Pa], its temperature [K]."""
    return (99e3 / dry_pressure) ** 1.2 * ((temperature - 273.15 + 273.0) / 298.0) ** 0.6


@dataclass(frozen=True)
class Standard:
    """A named rule: its factor, what is known of its form, and the ranges [Pa, K, 1] it is meant for (from memory)."""

    name: str
    form: str
    factor: Callable[[float, float], float]
    pressures: tuple[float, float]
    temperatures: tuple[float, float]
    factors: tuple[float, float] = (0.93, 1.07)


STANDARDS = {
    each.name: each
    for each in (
        Standard("SAE J1349", "form of 1990, read second-hand", sae_j1349, (90e3, 105e3), (288.15, 308.15)),
        Standard("ISO 1585", "spark ignition, form from memory", iso_1585, (80e3, 110e3), (288.15, 308.15)),
    )
}


@dataclass(frozen=True)
class Correction:
    """A factor with the conditions it was found at, and what speaks against it."""

    standard: str
    form: str
    factor: float
    dry_pressure: float
    temperature: float
    cautions: tuple[str, ...] = ()

    @property
    def sentence(self) -> str:
        """Standard, factor and conditions in one sentence."""
        there = f"{_told('pressure', self.dry_pressure)} and {_told('temperature', self.temperature)}"
        here = f"{_told('pressure', REFERENCE_PRESSURE)} and {_told('temperature', REFERENCE_TEMPERATURE)}"
        return f"{self.standard} ({self.form}): torque and power times {self.factor:.4f}, from dry air of {there} to {here}."

    def as_dict(self) -> dict[str, Any]:
        """The correction as data for JSON, SI."""
        return {
            "standard": self.standard, "form": self.form, "factor": self.factor, "dry_pressure_Pa": self.dry_pressure,
            "temperature_K": self.temperature, "reference_pressure_Pa": REFERENCE_PRESSURE,
            "reference_temperature_K": REFERENCE_TEMPERATURE, "cautions": list(self.cautions),
        }  # fmt: skip


def standard_named(text: str) -> Standard:
    """A standard by its name, however it is spaced; raises ValueError with those there are."""
    wanted = "".join(text.split()).replace("-", "").lower()
    for name, standard in STANDARDS.items():
        if wanted in ("".join(name.split()).lower(), name.split()[-1].lower()):
            return standard
    raise ValueError(f"no standard is called {text!r}; there are: {', '.join(STANDARDS)}")


def correction_of(case: Any, standard: Standard) -> Correction:
    """The correction of a case from its ambient air to the standard's."""
    from waveflow.physics.gas import moist_air

    air = case.ambient
    dry = air.pressure * (1.0 - moist_air(air.temperature, air.pressure, air.relative_humidity))
    factor = standard.factor(dry, air.temperature)
    cautions = []
    for what, value, (low, high) in (
        ("dry pressure", dry, standard.pressures), ("temperature", air.temperature, standard.temperatures),
        ("factor", factor, standard.factors),
    ):  # fmt: skip
        if not low <= value <= high:
            span = f"{_told(what, low)} to {_told(what, high)}"
            cautions.append(f"OUTSIDE {standard.name}: the {what} of {_told(what, value)} is not within {span} (range from "
                            "memory); what is corrected here is no standard figure.")  # fmt: skip
    outside = case.intake.reservoir
    if getattr(case, "charger", None) is not None or outside is not None and outside.pressure > BOOSTED * air.pressure:
        cautions.append("BOOSTED: a charger whose boost is controlled makes up for the weather by itself, so a correction by "
                        "ambient air over-corrects; compare uncorrected figures at the same boost.")  # fmt: skip
    return Correction(standard.name, standard.form, factor, dry, air.temperature, tuple(cautions))


def _told(what: str, value: float) -> str:
    if what == "factor":
        return f"{value:.3f}"
    shown, unit, digits = measure("temperature" if what == "temperature" else "pressure", value, 1)
    return f"{shown:.{digits}f} {unit}"


_asked: ContextVar[Standard | None] = ContextVar("standard asked for", default=None)


@contextmanager
def asked_standard(name: str) -> Iterator[Standard]:
    """Show torque and power corrected to the standard of this name, too, until the block ends. Raises ValueError."""
    standard = standard_named(name)
    token = _asked.set(standard)
    try:
        yield standard
    finally:
        _asked.reset(token)


def correction_asked(case: Any) -> Correction | None:
    """The correction of a case where one has been asked for."""
    standard = _asked.get()
    return None if standard is None or case is None else correction_of(case, standard)


def correction_of_result(result: SweepResult) -> Correction | None:
    """The same for a result, by the case text it carries."""
    from waveflow.engine.case import load_text
    from waveflow.errors import CaseError

    if _asked.get() is None or not result.facts.text:
        return None
    try:
        return correction_asked(load_text(result.facts.text, result.facts.name))
    except CaseError:
        return None


def with_corrected(result: SweepResult) -> SweepResult:
    """A result with corrected torque and power beside its own, where a correction has been asked for."""
    made = correction_of_result(result)
    if made is None:
        return result
    more = {name: made.factor * result.column(of) for name, of in CORRECTED.items()}
    band = result.flow_band and tuple(with_corrected(edge) for edge in result.flow_band)
    return replace(result, columns={**result.columns, **more}, flow_band=band)
