"""Flow-bench arithmetic: ideal nozzle flow at a depression, corrections of a reading, and what looks wrong on a sheet.

SI: Pa, K, m3/s, kg/s, m2. The bench's air is an ideal gas, gamma 1.4, R 287.05 J/(kg K); its moisture is left out.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np

AIR_GAMMA = 1.4
AIR_GAS_CONSTANT = 287.05
JAGGED = 0.025
"""A reading this far off the curve through its neighbours is flagged: three sigma of a bench that repeats to 0.6 %."""

Law = Literal["compressible", "root"]


def critical_ratio(gamma: float = AIR_GAMMA) -> float:
    """Throat over stagnation pressure at which an ideal nozzle chokes."""
    return (2.0 / (gamma + 1.0)) ** (gamma / (gamma - 1.0))


def nozzle_flux(pressure: Any, temperature: Any, pressure_ratio: Any, gamma: float = AIR_GAMMA,
                gas_constant: float = AIR_GAS_CONSTANT) -> Any:
    """Isentropic mass flux [kg/(m2 s)] through a throat from stagnation `pressure` [Pa] and `temperature` [K].

    `pressure_ratio`: throat static over stagnation, 0 to 1; choked below the critical one. The nozzle law of A. H.
    Shapiro, The Dynamics and Thermodynamics of Compressible Fluid Flow, 1953 (from memory; checked against
    closed-form tables).
    """
    r = np.asarray(pressure_ratio, float)
    if not ((r >= 0.0) & (r <= 1.0)).all():
        raise ValueError("a pressure ratio across a nozzle lies between 0 and 1")
    r = np.maximum(r, critical_ratio(gamma))
    # expm1/log keep the difference exact for the small depressions of a bench
    drop = -np.expm1((gamma - 1.0) / gamma * np.log(r))
    speed = np.sqrt(2.0 * gamma / (gamma - 1.0) * drop * gas_constant * np.asarray(temperature))
    return (np.asarray(pressure) / (gas_constant * np.asarray(temperature)) * r ** (1.0 / gamma) * speed)[()]


def incompressible_flux(density: float, depression: float) -> float:
    """Root-law mass flux [kg/(m2 s)], sqrt(2 rho dp): the usual one of the trade, 2.5 % off from 10 to 28 inH2O."""
    return math.sqrt(2.0 * density * depression)


@dataclass(frozen=True)
class BenchAir:
    """Air of a bench: `depression` [Pa] across the head, room `temperature` [K] and `barometer` [Pa].

    Drawn through (intake), the room is upstream. `blown` through (exhaust), room pressure + depression is upstream at
    room temperature and the room downstream. A flow in m3/s means room air in both cases. `law` "compressible" is the
    isentropic nozzle, the definition the valve boundary uses; "root" is sqrt(2 rho dp) with the room's density, for
    display beside old sheets.
    """

    depression: float
    temperature: float
    barometer: float
    blown: bool = False
    law: Law = "compressible"

    def __post_init__(self) -> None:
        if not 0.0 < self.depression < self.barometer:
            raise ValueError(f"a depression of {self.depression:g} Pa must lie between 0 and the barometer, "
                             f"{self.barometer:g} Pa")
        if not self.temperature > 0.0:
            raise ValueError("the air temperature must be above absolute zero")
        if self.law not in ("compressible", "root"):
            raise ValueError(f"law must be compressible or root, not {self.law!r}")

    @property
    def density(self) -> float:
        """Density of the room's air [kg/m3]."""
        return self.barometer / (AIR_GAS_CONSTANT * self.temperature)

    @property
    def mass_flux(self) -> float:
        """Ideal mass flux [kg/(m2 s)] at the depression."""
        if self.law == "root":
            return incompressible_flux(self.density, self.depression)
        upstream = self.barometer + (self.depression if self.blown else 0.0)
        return nozzle_flux(upstream, self.temperature, (upstream - self.depression) / upstream)

    @property
    def flow_per_area(self) -> float:
        """Ideal volume flow of room air per effective area [m/s]."""
        return self.mass_flux / self.density

    def effective_area(self, flow: Any) -> Any:
        """Effective area [m2] that passes `flow` [m3/s of room air]."""
        return (np.asarray(flow, float) / self.flow_per_area)[()]

    def flow(self, effective_area: Any) -> Any:
        """Volume flow [m3/s of room air] through an effective area [m2]: the sheet this bench would show."""
        return (np.asarray(effective_area, float) * self.flow_per_area)[()]


def convert_flow(flow: Any, read_at: BenchAir, wanted_at: BenchAir) -> Any:
    """Volume flow [m3/s, each bench's room air] the same effective area would show on another bench or at another
    depression.
    """
    return wanted_at.flow(read_at.effective_area(flow))


def sheet_effective_area(lift: np.ndarray, flow: np.ndarray, air: BenchAir, *, leak: float = 0.0,
                         leak_depression: float | None = None, plate: float = 1.0) -> np.ndarray:
    """Effective area (n,) [m2] of everything open on the bench, from readings `flow` (n,) [m3/s] at `lift` (n,) [m].

    `leak` [m3/s] as read with the valves shut, at `leak_depression` [Pa] (the test's if not given; square-root law
    between the two); `plate`: expected over read flow of the calibration plate. Raises ValueError for readings that
    cannot be.
    """
    if lift.ndim != 1 or lift.shape != flow.shape or not len(lift):
        raise ValueError("a sheet needs as many flows as lifts, one at least")
    if not (np.isfinite(lift).all() and np.isfinite(flow).all()):
        raise ValueError("a sheet holds numbers only")
    if not (lift[0] > 0.0 and (np.diff(lift) > 0.0).all()):
        raise ValueError("lifts of a sheet start above 0 and increase from row to row (the flow at zero is the leak)")
    if leak < 0.0 or not plate > 0.0:
        raise ValueError("the leak must not be negative and the plate correction must be positive")
    if leak_depression is not None:
        leak *= math.sqrt(air.depression / leak_depression)
    net = (flow - leak) * plate
    if not (net > 0.0).all():
        raise ValueError(f"flow read at {lift[int(np.argmin(net))] * 1e3:g} mm lift is not above the leak")
    return air.effective_area(net)


def sheet_findings(lift: np.ndarray, area: np.ndarray, curtain: np.ndarray) -> list[str]:
    """Plain sentences about readings that look wrong: falling flow, a point off its neighbours, more than can pass.

    `lift` [m], effective `area` and `curtain` area [m2] of one valve, all (n,). Nothing is changed by it.
    """
    mm, out = lift * 1e3, []
    for i in np.flatnonzero(np.diff(area) < 0.0):
        fall = 100.0 * (1.0 - area[i + 1] / area[i])
        out.append(f"flow falls by {fall:.1f} % from {mm[i]:g} to {mm[i + 1]:g} mm lift: "
                   "the flow may have left the short turn; kept as read")
    for i in range(2, len(lift) - 2):
        near = np.array([i - 2, i - 1, i + 1, i + 2])
        weights = [math.prod((mm[i] - mm[k]) / (mm[j] - mm[k]) for k in near if k != j) for j in near]
        off = area[i] / float(np.dot(weights, area[near])) - 1.0
        if abs(off) > JAGGED:
            side = "above" if off > 0.0 else "below"
            out.append(f"the point at {mm[i]:g} mm lift lies {100.0 * abs(off):.1f} % {side} the curve through its "
                       "neighbours: read it again; kept as read")
    for i in np.flatnonzero(area > curtain):
        out.append(f"at {mm[i]:g} mm lift the effective area is {area[i] / curtain[i]:.2f} of the curtain: more than "
                   "can pass; check lift, diameter, depression and how many valves were open")
    return out
