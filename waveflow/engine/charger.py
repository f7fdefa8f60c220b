"""A charger's rows in the model: the charge as an outer state, the manifold before the turbine, nozzle and wastegate.

The charge before the throttle is held at the boost (a charge pipe between, where there is one); the throttle is then the far
end of that pipe. Primaries, or the last pipe behind them, end in the manifold, a small adiabatic volume at rest from which
two nozzles lead to the outlet: the turbine, which counts its work, and the wastegate. What the nozzles' areas are is settled
from cycle to cycle by `study.shaft`.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np

from waveflow.physics import layout as lay
from waveflow.physics.gas import enthalpy, entropy_function, gas_constant, internal_energy

TURBINE = 3
"""Role of an orifice whose flow's work is counted."""
_HOT, _HOT_R, _HOT_KAPPA = 1050.0, 290.0, 1.32
"""Exhaust before a turbine [K, J/kg/K, -], for first guesses only; from memory."""


@dataclass(frozen=True)
class ChargerRows:
    """Where the charger lies in a model: volume rows, orifice rows."""

    charge: int
    manifold: int
    outlet: int
    turbine: int
    wastegate: int


@dataclass(frozen=True)
class Outside:
    """States at both ends of an engine: pressure [Pa], temperature [K], share of burned gas, before and behind it."""

    source: tuple[float, float, float]
    sink: tuple[float, float, float]
    exhaust_start: float  # pressure the exhaust pipes start at [Pa]
    cylinder_start: float  # and the cylinders


def outside_of(case: Any, gas: Any) -> Outside:
    """What lies before the throttle and behind the last pipe or the turbine."""
    c, air = case.charger, case.ambient
    if c is None:
        before, after = case.intake.reservoir, case.exhaust.reservoir
        source = (before.pressure, before.temperature, before.burned) if before else (air.pressure, air.temperature, 0.0)
        sink = (after.pressure, after.temperature, after.burned) if after else (air.pressure, air.temperature, 0.0)
        return Outside(source, sink, sink[0], air.pressure)
    behind = air.pressure + getattr(c, "behind_turbine", 0.0)
    charge = charge_temperature(c, gas, air, c.boost, c.filter_loss)
    return Outside((c.boost, charge, 0.0), (behind, air.temperature, 0.0), 1.2 * c.boost, 1.2 * c.boost)


def isentropic_rise(gas: Any, temperature: float, ratio: float) -> float:
    """Enthalpy [J/kg] an isentropic compression of air from `temperature` [K] by the pressure `ratio` takes."""
    wanted = float(entropy_function(gas, temperature)) + float(gas.r[0]) * math.log(ratio)
    low, high = 0.5 * temperature, temperature * max(ratio, 1.0) + 1.0
    for _ in range(80):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if float(entropy_function(gas, middle)) < wanted else (low, middle)
    return float(enthalpy(gas, middle) - enthalpy(gas, temperature))


def charge_temperature(charger: Any, gas: Any, air: Any, boost: float, loss: float) -> float:
    """Temperature of the charge [K] at this boost [Pa] and filter loss [Pa]: as stated, else by compressor and cooler.

    A cooler of effectiveness e takes the charge e of the way down to the ambient temperature (definition).
    """
    if charger.charge_temperature is not None:
        return charger.charge_temperature
    rise = isentropic_rise(gas, air.temperature, max(boost / (air.pressure - loss), 1.0)) / charger.compressor_efficiency
    wanted, low, high = float(enthalpy(gas, air.temperature)) + rise, air.temperature, air.temperature + rise / 900.0
    for _ in range(60):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if float(enthalpy(gas, middle)) < wanted else (low, middle)
    share = charger.cooler_effectiveness if charger.cooler == "air" else 0.0
    return middle - share * (middle - air.temperature)


def choking_pressure(flow: float, area: float) -> float:
    """Pressure [Pa] at which a nozzle of `area` [m2] chokes at `flow` [kg/s] of exhaust gas: the classical choked nozzle."""
    k = _HOT_KAPPA
    return flow * math.sqrt(_HOT_R * _HOT) / area / math.sqrt(k * (2.0 / (k + 1.0)) ** ((k + 1.0) / (k - 1.0)))


def nozzle_for(flow: float, pressure: float, back: float) -> float:
    """Area [m2] of a nozzle that passes `flow` [kg/s] of exhaust gas from `pressure` to `back` [Pa]."""
    k = _HOT_KAPPA
    ratio = min(max(back / pressure, (2.0 / (k + 1.0)) ** (k / (k - 1.0))), 0.999)
    flux = math.sqrt(2.0 * k / (k - 1.0) * (ratio ** (2.0 / k) - ratio ** ((k + 1.0) / k)))
    return flow * math.sqrt(_HOT_R * _HOT) / (pressure * flux)


def lay_manifold(b: Any, outlet: int, hot: dict) -> tuple[int, ChargerRows]:
    """The manifold's volume row, and the rows it makes with its two nozzles; `hot` is its first state."""
    c = b.case.charger
    manifold = b.name_volume(b.asm.plenum(c.manifold_volume, hot["pressure"], hot["temp"], 0.0, hot["yb"]), "exhaust manifold")
    area = getattr(c, "turbine_area", 1e-4)
    turbine = b.asm.orifice(manifold, outlet, area, area, role=TURBINE)
    return manifold, ChargerRows(0, manifold, outlet, turbine, b.asm.orifice(manifold, outlet, 0.0, 0.0))


def lay_charge_pipe(b: Any, source: int, plenum: int, throttle: float, fresh: dict) -> None:
    """The charge pipe, its far end the throttle of effective area `throttle` [m2]; without one the throttle alone."""
    from waveflow.engine.tract import circle, plain_duct

    c = b.case.charger
    if c is None or c.charge_pipe_length is None:
        b.asm.orifice(source, plenum, throttle, throttle)
        return
    area = circle(c.charge_pipe_diameter)
    duct = plain_duct("charge pipe", c.charge_pipe_length, area, 2e-5, fresh["temp"])
    laid = b.chain(duct, 2.0 * b.cell, -1, "charge pipe", fresh)
    b.asm.end(laid[0][0], "near", source)
    b.asm.end(laid[-1][0], "far", plenum, inward=throttle / area, outward=throttle / area)


def put_state(gas: Any, row: np.ndarray, pressure: float, temp: float) -> None:
    """Set the state of an outer volume of 1 m3 [row of State.volumes], its composition kept, to `pressure` [Pa], `temp` [K]."""
    yf, yb = row[lay.V_FUEL] / row[lay.V_MASS], row[lay.V_BURNED] / row[lay.V_MASS]
    mass = pressure * row[lay.V_VOL] / (gas_constant(gas, yf, yb) * temp)
    row[:] = mass, mass * yf, mass * yb, mass * internal_energy(gas, temp, yf, yb), temp, pressure, row[lay.V_VOL]
