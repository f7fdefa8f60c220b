"""What a cycle says in numbers: filling, torque and its parts, flows and states, from the accounts of one cycle."""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from waveflow.engine.breathing import inlet_mach_index
from waveflow.physics import layout as lay
from waveflow.physics.gas import sound_speed, temperature_from_enthalpy
from waveflow.study.burning import Burning, inlet_jet
from waveflow.study.trace import duct_numbers


def mean_of(kept: list[dict]) -> dict:
    """Mean of the numbers of several cycles."""
    return {
        group: {name: np.mean([one[group][name] for one in kept], axis=0) for name in kept[0][group]}
        if group == "per_cylinder"
        else {name: float(np.mean([one[group][name] for one in kept])) for name in kept[0][group]}
        for group in kept[0]
    }


def friction_pressure(case: Any, rpm: float, peak: Any = 0.0) -> np.ndarray:
    """Mean friction pressure [Pa] at `rpm` and peak cylinder pressure `peak` [Pa, one for each cylinder]; no pumping in it.

    A straight line in mean piston speed through the two given points, plus `friction.peak_share` of what the peak pressure
    exceeds `friction.at_peak` by. The form, a constant and terms in peak pressure and mean piston speed, is that of
    S. K. Chen & P. F. Flynn, "Development of a Single Cylinder Compression Ignition Research Engine", SAE 650733 (1965)
    (from memory; their constants are not used, and the share is off unless it is given).
    """
    f = case.friction
    line = f.at_2000 + (f.at_7000 - f.at_2000) * (rpm - 2000.0) / 5000.0
    if f.peak_share == 0.0:
        return np.full(np.shape(peak), line)
    return np.maximum(line + f.peak_share * (np.asarray(peak, float) - f.at_peak), 0.0)


def numbers_of(case: Any, engine: Any, burning: Burning) -> dict:
    """Everything a result holds, from the accounts of the last cycle and the burn it ran with."""
    m, a, memory = engine.model, engine.accounts, engine.state.memory
    n = len(m.net.cylinder)
    seconds = 120.0 / engine.rpm
    reference = m.ambient_pressure / (m.gas.r[0] * m.ambient_temperature)
    if m.net.volume[m.plenum]["kind"] == lay.RESERVOIR:
        plenum_p, plenum_t = (engine.state.volumes[m.plenum, k] for k in (lay.V_PRES, lay.V_TEMP))
    else:
        v = engine.volume_accounts[m.plenum]
        plenum_p, plenum_t = v[lay.B_P_TIME] / seconds, v[lay.B_T_TIME] / seconds
    air = a[:, lay.A_AIR_IN] - a[:, lay.A_AIR_BACK]
    work = a[:, lay.A_WORK]
    gross = a[:, lay.A_WORK_HIGH]
    friction = friction_pressure(case, engine.rpm, a[:, lay.A_PEAK_P]) * m.swept
    burned = memory[:, lay.M_TRAP_BURNED] / memory[:, lay.M_TRAP_MASS]
    back = a[:, lay.A_MASS_BACK] / np.maximum(a[:, lay.A_MASS_IN], 1e-300)
    per_torque = 1.0 / (4.0 * math.pi)
    torque = (work - friction) * per_torque
    charge_sound = float(sound_speed(m.gas, plenum_t))
    mach_mean, mach_peak, runner_sound = duct_numbers(engine)
    displaced = m.swept * n
    jets = inlet_jet(engine)
    scalars = {
        "volumetric_efficiency": float(air.mean() / (reference * m.swept)),
        "volumetric_efficiency_plenum": float(air.mean() / (plenum_p / (m.gas.r[0] * plenum_t) * m.swept)),
        "trapped_efficiency": float(memory[:, lay.M_TRAP_AIR].mean() / (reference * m.swept)),
        "residual_fraction": float(burned.mean()),
        "reverse_flow_fraction": float(a[:, lay.A_MASS_BACK].sum() / max(a[:, lay.A_MASS_IN].sum(), 1e-300)),
        "torque": float(torque.sum()),
        "power": float(torque.sum() * engine.rpm * math.pi / 30.0),
        "gross_torque": float(gross.sum() * per_torque),
        "pumping_torque": float((work - gross).sum() * per_torque),
        "friction_torque": float(friction.sum() * per_torque),
        "indicated_mean_pressure": float(work.sum() / displaced),
        "gross_mean_pressure": float(gross.sum() / displaced),
        "pumping_mean_pressure": float((work - gross).sum() / displaced),
        "friction_mean_pressure": float(friction.mean() / m.swept),
        "port_mach_mean": mach_mean,
        "port_mach_peak": mach_peak,
        "inlet_mach_index": float(
            inlet_mach_index(case.engine.bore, case.engine.stroke, engine.rpm, m.mean_intake_area, charge_sound)
        ),
        "inlet_jet_speed": float(jets.mean()),
        **burning.numbers(),
        "plenum_pressure": float(plenum_p),
        "plenum_temperature": float(plenum_t),
        "air_flow": float(air.sum() / seconds),
        "exhaust_temperature": _exhaust_temperature(engine),
        "peak_pressure": float(a[:, lay.A_PEAK_P].max()),
        "runner_sound_speed": runner_sound if math.isfinite(runner_sound) else charge_sound,
    }
    per_cylinder = {
        "volumetric_efficiency": air / (reference * m.swept),
        "trapped_efficiency": memory[:, lay.M_TRAP_AIR] / (reference * m.swept),
        "residual_fraction": burned,
        "reverse_flow_fraction": back,
        "torque": torque,
        "peak_pressure": a[:, lay.A_PEAK_P].copy(),
        "inlet_jet_speed": jets,
    }
    return {"scalars": scalars, "per_cylinder": per_cylinder}


def _exhaust_temperature(engine: Any) -> float:
    """Temperature [K] of a steady stream carrying the cycle's exhaust mass and enthalpy."""
    a = engine.accounts.sum(axis=0)
    mass = a[lay.A_MASS_OUT]
    if mass <= 0.0:
        return math.nan
    gas = engine.model.gas
    yf, yb = a[lay.A_FUEL_OUT] / mass, a[lay.A_BURNED_OUT] / mass
    return temperature_from_enthalpy(gas, a[lay.A_ENERGY_OUT] / mass, yf, yb)
