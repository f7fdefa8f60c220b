"""The columns of a result: SI units, plain words, and how a value is shown to the user."""

from __future__ import annotations

from typing import Any

import numpy as np

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
    "plenum_pressure": ("Pa", "plenum pressure, absolute, cycle mean"),
    "plenum_temperature": ("K", "plenum temperature, cycle mean"),
    "air_flow": ("kg/s", "air flow into the engine"),
    "exhaust_temperature": ("K", "exhaust gas temperature, mass mean behind the valves"),
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
    "rpm": ("rpm", 1.0, 0.0, 0),
    "N m": ("N m", 1.0, 0.0, 2),
    "W": ("kW", 1e-3, 0.0, 2),
    "Pa": ("kPa", 1e-3, 0.0, 2),
    "K": ("deg C", 1.0, -273.15, 1),
    "m/s": ("m/s", 1.0, 0.0, 1),
    "1": ("1", 1.0, 0.0, 4),
}


def unit_of(name: str) -> str:
    """SI unit of a column by name; "1" for a dimensionless one and for a name that is not in ``COLUMNS``."""
    return COLUMNS.get(name, ("1", ""))[0]


def words_of(name: str) -> str:
    """Plain words for a column by name."""
    return COLUMNS.get(name, ("", name.replace("_", " ")))[1]


def shown(name: str, values: Any) -> tuple[np.ndarray, str, int]:
    """A column in user's units: (values, unit, decimals worth showing)."""
    unit, factor, offset, digits = _SHOWN.get(name) or _SHOWN.get(unit_of(name), (unit_of(name), 1.0, 0.0, 4))
    return np.asarray(values, float) * factor + offset, unit, digits
