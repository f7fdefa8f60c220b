"""The columns of a result: SI units, plain words, and how a value is shown to the user.

Results are kept in SI. What a reader sees (tables, CSV headers, axes) goes through `shown` and `measure`, which follow the
units asked for with `asked_units`: one switch for all of them.
"""

from __future__ import annotations

import difflib
import math
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from waveflow import units

# name: (SI unit of the array, plain words). One table for headers, reports and documentation.
COLUMNS: dict[str, tuple[str, str]] = {
    "rpm": ("rpm", "engine speed"),
    "volumetric_efficiency": ("1", "volumetric efficiency, delivered fresh air on ambient density"),
    "volumetric_efficiency_plenum": ("1", "volumetric efficiency on plenum density"),
    "trapped_efficiency": ("1", "fresh air in the cylinder at intake closing, on ambient density"),
    "residual_fraction": ("1", "residual gas, mass fraction at intake closing"),
    "reverse_flow_fraction": ("1", "gross reverse flow through the intake valves, of the delivered mass"),
    "torque": ("N m", "torque at the crankshaft, friction taken off"),
    "power": ("W", "power at the crankshaft, not corrected to any standard"),
    "corrected_torque": ("N m", "torque at the crankshaft, corrected to the standard named"),
    "corrected_power": ("W", "power at the crankshaft, corrected to the standard named"),
    "gross_torque": ("N m", "torque of the compression and expansion strokes"),
    "pumping_torque": ("N m", "torque of the gas-exchange strokes"),
    "friction_torque": ("N m", "torque lost to friction"),
    "indicated_mean_pressure": ("Pa", "net indicated mean pressure, over the whole cycle"),
    "gross_mean_pressure": ("Pa", "gross indicated mean pressure, compression and expansion strokes"),
    "pumping_mean_pressure": ("Pa", "pumping mean pressure, gas-exchange strokes"),
    "friction_mean_pressure": ("Pa", "friction mean pressure"),
    "port_mach_mean": ("1", "mean Mach number at the smallest intake port section while the valve is open"),
    "port_mach_peak": ("1", "peak Mach number at the smallest intake port section"),
    "inlet_mach_index": ("1", "inlet Mach index Z, on the mean effective valve area"),
    "inlet_jet_speed": ("m/s", "inlet jet at the valves, root of the mass mean of its square"),
    "burn_duration": ("deg", "10 to 90 % burned"),
    "burn_duration_low": ("deg", "10 to 90 % burned, shortest likely by the trend model"),
    "burn_duration_high": ("deg", "10 to 90 % burned, longest likely by the trend model"),
    "plenum_pressure": ("Pa", "plenum pressure, absolute, cycle mean"),
    "plenum_temperature": ("K", "plenum temperature, cycle mean"),
    "air_flow": ("kg/s", "air flow into the engine"),
    "exhaust_temperature": ("K", "exhaust gas temperature, mass mean behind the valves"),
    "boost_pressure": ("Pa", "boost before the throttle, above ambient"),
    "charge_temperature": ("K", "charge temperature behind the cooler"),
    "exhaust_pressure": ("Pa", "exhaust pressure before the turbine, absolute, cycle mean"),
    "turbine_power": ("W", "turbine power at the shaft, bearing loss taken off"),
    "compressor_power": ("W", "power the compressor takes"),
    "turbine_flow": ("kg/s", "exhaust flow through the turbine"),
    "wastegate_share": ("1", "share of the exhaust that passes the wastegate"),
    "peak_pressure": ("Pa", "peak cylinder pressure, absolute"),
    "runner_sound_speed": ("m/s", "sound speed at mid-runner, cycle mean"),
    "mass_balance": ("1", "mass balance over the last cycle, relative"),
    "energy_balance": ("1", "energy balance over the last cycle, relative"),
    "cycles": ("1", "cycles until the cycle repeats"),
}

# name or SI unit: (user's unit, factor, offset, decimals): shown = SI * factor + offset. A name goes before its unit.
_SHOWN: dict[str, tuple[str, float, float, int]] = {
    "volumetric_efficiency": ("%", 100.0, 0.0, 2),
    "volumetric_efficiency_plenum": ("%", 100.0, 0.0, 2),
    "trapped_efficiency": ("%", 100.0, 0.0, 2),
    "residual_fraction": ("%", 100.0, 0.0, 2),
    "reverse_flow_fraction": ("%", 100.0, 0.0, 2),
    "mass_balance": ("1", 1.0, 0.0, 15),
    "energy_balance": ("1", 1.0, 0.0, 15),
    "cycles": ("1", 1.0, 0.0, 0),
    "air_flow": ("g/s", 1000.0, 0.0, 2),
    "turbine_flow": ("g/s", 1000.0, 0.0, 2),
    "wastegate_share": ("%", 100.0, 0.0, 1),
    "rpm": ("rpm", 1.0, 0.0, 0),
    "N m": ("N m", 1.0, 0.0, 2),
    "W": ("kW", 1e-3, 0.0, 2),
    "Pa": ("kPa", 1e-3, 0.0, 2),
    "K": ("deg C", 1.0, -273.15, 1),
    "m/s": ("m/s", 1.0, 0.0, 1),
    "1": ("1", 1.0, 0.0, 4),
    "deg": ("deg", 1.0, 0.0, 1),
}


# SI unit of a column: kind of quantity in units.TABLE
_KINDS = {"N m": "torque", "W": "power", "Pa": "pressure", "K": "temperature", "m/s": "velocity", "kg/s": "mass_flow"}
# kind: unit shown where none is asked for
_USUAL = {
    "torque": "Nm", "power": "kW", "pressure": "kPa", "temperature": "degC", "velocity": "m/s", "mass_flow": "g/s",
    "length": "mm", "area": "mm2", "volume": "cc", "volume_flow": "CFM", "pressure_difference": "inH2O", "mass": "mg",
}  # fmt: skip
_LABELS = {
    "Nm": "N m", "degC": "deg C", "degF": "deg F", "mm2": "mm\u00b2", "cm2": "cm\u00b2", "in2": "in\u00b2", "in3": "in\u00b3",
}  # fmt: skip
_WATER = ("inH2O", "mmH2O", "cmH2O")  # columns of water measure differences: a bench's depression
SYSTEMS: dict[str, dict[str, str]] = {
    "SI": {},
    "US": {
        "torque": "lb-ft", "power": "hp", "pressure": "psi", "temperature": "degF", "velocity": "ft/s",
        "mass_flow": "lb/min", "length": "in", "area": "in2", "volume": "cc", "volume_flow": "CFM",
        "pressure_difference": "inH2O",
    },
}  # fmt: skip
CFM_DENSITY = 101325.0 / (287.05 * 293.15)
"""Density [kg/m3] at which an air flow is counted in CFM where that is asked for: dry air of 20 degC and 101.325 kPa."""


@dataclass(frozen=True)
class UnitsAsked:
    """The units a reader wants: by kind of quantity, and by column where one differs; what is not named stays as it is."""

    kinds: Mapping[str, str] = field(default_factory=dict)
    columns: Mapping[str, str] = field(default_factory=dict)

    @property
    def words(self) -> str:
        """The units in words; empty where none were asked for."""
        named = [f"{kind.replace('_', ' ')} in {_label(unit)}" for kind, unit in self.kinds.items()]
        return ", ".join([*named, *(f"{words_of(name)} in {_label(unit)}" for name, unit in self.columns.items())])


_AS_USUAL = UnitsAsked()
_asked: ContextVar[UnitsAsked] = ContextVar("units asked for", default=_AS_USUAL)


@contextmanager
def asked_units(wanted: UnitsAsked | str) -> Iterator[UnitsAsked]:
    """Show everything in these units ("US", "lb-ft, hp, psi", "torque=lb-ft") until the block ends. Raises UnitError."""
    made = parse_units(wanted) if isinstance(wanted, str) else wanted
    token = _asked.set(made)
    try:
        yield made
    finally:
        _asked.reset(token)


def parse_units(text: str) -> UnitsAsked:
    """Units from words: a system (SI, US), units (each for all of its kind), or COLUMN=UNIT; later words win.

    Raises UnitError with the nearest name there is.
    """
    kinds: dict[str, str] = {}
    columns: dict[str, str] = {}
    for word in (piece.strip() for piece in text.split(",")):
        if not word:
            continue
        name, equals, unit = (piece.strip() for piece in word.partition("="))
        if equals:
            columns[_column(name)] = _unit_of_column(_column(name), unit)
        elif word.upper() in SYSTEMS:
            kinds |= SYSTEMS[word.upper()]
            if word.upper() == "SI":
                kinds.clear()
                columns.clear()
        else:
            kinds |= _kinds_of(word)
    return UnitsAsked(kinds, columns)


def _column(name: str) -> str:
    plain = name.lower().replace(" ", "_")
    if plain in COLUMNS:
        return plain
    close = difflib.get_close_matches(plain, COLUMNS, 1, 0.6)
    raise units.UnitError(f'no column is called "{name}"', f"did you mean {close[0]}?" if close else "")


def _unit_of_column(name: str, unit: str) -> str:
    kind = _KINDS.get(unit_of(name))
    if kind is None:
        raise units.UnitError(f"{name} has no other unit than {shown(name, [])[1]}")
    if name == "air_flow" and units.unit_named(unit, "volume_flow") == "CFM":
        return "CFM"
    found = units.unit_named(unit, kind)
    if found is None:
        raise units.UnitError(f'"{unit}" is no unit of {name}', f"give one of {', '.join(units.TABLE[kind])}")
    return found


def _kinds_of(word: str) -> dict[str, str]:
    for kind in _USUAL:
        found = units.unit_named(word, kind) if kind in units.TABLE else None
        if found is not None:
            if kind == "pressure" and found in _WATER:
                return {"pressure_difference": found}
            return {kind: found} | ({"pressure_difference": "inH2O"} if kind == "pressure" else {})
    known = [unit for kind in _USUAL for unit in units.TABLE.get(kind, {}) if unit]
    close = difflib.get_close_matches(word, known, 1, 0.5)
    raise units.UnitError(
        f'no unit is called "{word}"',
        (f"did you mean {close[0]}? " if close else "") + "write US, SI, or units such as lb-ft, hp, psi, CFM, in",
    )


def _label(unit: str) -> str:
    return _LABELS.get(unit, unit)


def _finer(kind: str, unit: str, digits: int, usual: str = "") -> int:
    """Decimals that keep about the digits the usual unit has."""
    ratio = units.TABLE[kind][unit] / units.TABLE[kind][usual or _USUAL[kind]]
    return max(0, digits + math.ceil(math.log10(ratio) - 0.2))


def measure(kind: str, value: Any, digits: int = 1, usual: str = "") -> tuple[Any, str, int]:
    """An SI value, or an array of them, in the unit asked for: (value, label of the unit, decimals worth showing).

    `kind` is one of units.TABLE; `digits` are those of the unit shown where none is asked for: mm, mm2, cc, kPa, deg C, N m,
    kW, or `usual`.
    """
    usual = usual or _USUAL[kind]
    unit = _asked.get().kinds.get(kind, usual)
    shown_value = (np.asarray(value, float) - units.offset_of(kind, unit))[()] / units.TABLE[kind][unit]
    return shown_value, _label(unit), _finer(kind, unit, digits, usual)


def unit_of(name: str) -> str:
    """SI unit of a column by name; "1" for a dimensionless one and for a name that is not in ``COLUMNS``."""
    return COLUMNS.get(name, ("1", ""))[0]


def words_of(name: str) -> str:
    """Plain words for a column by name."""
    return COLUMNS.get(name, ("", name.replace("_", " ")))[1]


def shown(name: str, values: Any) -> tuple[np.ndarray, str, int]:
    """A column in user's units, or in those asked for: (values, unit, decimals worth showing)."""
    unit, factor, offset, digits = _SHOWN.get(name) or _SHOWN.get(unit_of(name), (unit_of(name), 1.0, 0.0, 4))
    values = np.asarray(values, float)
    kind, asked = _KINDS.get(unit_of(name)), _asked.get()
    wanted = asked.columns.get(name) or asked.kinds.get(kind or "")
    if name == "air_flow" and (wanted == "CFM" or name not in asked.columns and asked.kinds.get("volume_flow") == "CFM"
                               and "mass_flow" not in asked.kinds):  # fmt: skip
        return values / CFM_DENSITY / units.TABLE["volume_flow"]["CFM"], f"CFM of {CFM_DENSITY:.4f} kg/m3", digits
    if wanted is None or kind is None or wanted == _USUAL[kind]:
        return values * factor + offset, unit, digits
    return (values - units.offset_of(kind, wanted)) / units.TABLE[kind][wanted], _label(wanted), _finer(kind, wanted, digits)


def unit_shown(name: str) -> str:
    """Unit in which a column is shown now: "N m", or "lb-ft" where that is asked for."""
    return shown(name, [])[1]
