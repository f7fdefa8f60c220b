"""A head on the flow bench, modelled: entry or stub, port and valve of one cylinder in steady flow at a depression.

The valve is the one of `physics.ends`: a throat of the effective area, isentropic from the pipe's stagnation state to the
pressure behind, its jet's kinetic energy lost; into the pipe with or without recovery of momentum as the case has it. So a
valve coefficient found here means the same to the engine. Behind the valve air is at rest, as in the engine's cylinder; what
a bore adapter recovers of the jet is beyond a model of one dimension, and `adapter_share` says how much that may be.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from waveflow.engine.bench import AIR_GAS_CONSTANT, BenchAir, nozzle_flux
from waveflow.engine.breathing import END_AREA_SHARE
from waveflow.engine.flowsheet import ValveFlow
from waveflow.engine.section import net_area
from waveflow.engine.steady import SteadyDuct, entered, static
from waveflow.engine.tract import Duct, Stretch, circle, inward_opening, plain_duct, port_curve

MOST_OF_THROAT = 0.95
"""Greatest valve coefficient on the throat area that is believed: beyond it no valve with a stem and a seat comes."""

MOUTH = "bellmouth"
ROOM = 293.15
"""Temperature [K] of walls on the bench; no heat passes there."""
STEEP = 60


@dataclass(frozen=True, eq=False)
class Rig:
    """One side of a head on the bench. `duct`: from the port's outer end, stub included, to the valve, None without a port;
    `mouth`: opening [-] for flow into its outer end; `throat` [m2]: net area of all valve throats."""

    side: str
    duct: Duct | None
    mouth: float
    throat: float
    count: int
    temperature: float
    barometer: float
    recovery: bool = False
    frictionless: bool = False

    def air(self, depression: float, reverse: bool = False) -> BenchAir:
        """The bench's air at a depression [Pa]; forward, an intake is drawn and an exhaust blown through."""
        return BenchAir(depression, self.temperature, self.barometer, self.blown(reverse))

    def blown(self, reverse: bool = False) -> bool:
        """Whether the air comes from the valve's side and leaves by the port's outer end."""
        return (self.side == "exhaust") != reverse

    @property
    def end_area(self) -> float:
        """Area of the port where the valve stands [m2]; without a port the throat's."""
        if self.duct is None:
            return self.throat
        return float(self.duct.curve.area_at(self.duct.length, before=True))

    def steady(self, reverse: bool = False) -> SteadyDuct | None:
        """The duct cut for steady flow, in the direction of the flow."""
        return None if self.duct is None else SteadyDuct.of(self.duct, self.blown(reverse), self.frictionless)

    def needed_area(self, flow: NDArray, depression: float, reverse: bool = False, steady: SteadyDuct | None = None) -> NDArray:
        """Effective area (n,) [m2] of all open valves that passes mass flows (n,) [kg/s]; NaN where the port alone cannot."""
        flow = np.asarray(flow, float)
        steady = steady or self.steady(reverse)
        room, box = self.barometer, self.barometer - depression
        if not self.blown(reverse):
            p0 = np.full(flow.shape, room)
            if steady is not None:
                p0 = entered(flow, steady.first_area, self.mouth, room, self.temperature)
                p0 = steady.through(flow, p0, self.temperature)
            with np.errstate(invalid="ignore"):
                ratio = np.where(p0 > box, box / p0, np.nan)
            return flow / _flux(p0, self.temperature, ratio)
        box = room + depression
        if steady is None:
            return flow / _flux(np.full(flow.shape, box), self.temperature, np.full(flow.shape, room / box))
        behind = static(flow, steady.first_area, steady.upstream(flow, room, self.temperature), self.temperature)
        if self.recovery:
            behind = self._jet_pressure(flow, steady.first_area, behind, box)
        with np.errstate(invalid="ignore"):
            ratio = np.where(behind < box, behind / box, np.nan)
        return flow / _flux(np.full(flow.shape, box), self.temperature, ratio)

    def _jet_pressure(self, flow: NDArray, area: float, behind: NDArray, box: float) -> NDArray:
        """Pressure in the valve's throat (n,) whose jet, its momentum kept, leaves `behind` in the pipe."""
        def speed(mass: NDArray, p: NDArray) -> NDArray:
            # speed of a stream of that mass flux [kg/s/m2] at the static pressure p, from its total enthalpy
            a = 0.5 * (mass * AIR_GAS_CONSTANT / p) ** 2
            cp = 3.5 * AIR_GAS_CONSTANT
            temp = (np.sqrt(cp * cp + 4.0 * a * cp * self.temperature) - cp) / (2.0 * a)
            return mass * AIR_GAS_CONSTANT * temp / p

        mass = flow / area
        thrust = behind + mass * speed(mass, behind)
        low, high = np.full(flow.shape, 0.01 * box), np.full(flow.shape, box)
        for _ in range(STEEP):
            p = 0.5 * (low + high)
            drop = 1.0 - (p / box) ** (2.0 / 7.0)
            more = p + mass * np.sqrt(7.0 * AIR_GAS_CONSTANT * self.temperature * drop) < thrust
            low, high = np.where(more, p, low), np.where(more, high, p)
        return 0.5 * (low + high)

    def flow_through(self, area: NDArray, depression: float, reverse: bool = False) -> NDArray:
        """Mass flow (n,) [kg/s] through open valves of effective area (n,) [m2]: root of `needed_area` in the flow."""
        area = np.minimum(np.asarray(area, float), END_AREA_SHARE * self.end_area)
        steady = self.steady(reverse)
        low, f_low = np.zeros(area.shape), np.full(area.shape, -1.0)
        high = area * nozzle_flux(self.barometer + (depression if self.blown(reverse) else 0.0), self.temperature, 0.0)
        f_high = np.full(area.shape, np.inf)  # a port may pass more than its valve against the room: it is a diffuser
        for turn in range(STEEP):
            with np.errstate(invalid="ignore"):
                share = np.clip(-f_low / (f_high - f_low), 0.05, 0.95)
            m = low + np.where(np.isfinite(f_high) & (turn % 4 != 3), share, 0.5) * (high - low)
            f = self.needed_area(m, depression, reverse, steady) / area - 1.0
            less = f < 0.0  # NaN: more than the port can pass
            low, f_low = np.where(less, m, low), np.where(less, f, f_low)
            high, f_high = np.where(less, high, m), np.where(less, f_high, f)
            if np.all(high - low <= 1e-7 * high):
                break
        return np.where(np.abs(f_high) < np.abs(f_low), high, low)

    def most_flow(self, depression: float, reverse: bool = False) -> float:
        """Mass flow [kg/s] with the valve taken as far open as it can ever be, 0.95 of its throat."""
        return float(self.flow_through(np.array([MOST_OF_THROAT * self.throat]), depression, reverse)[0])

    def adapter_share(self, flow: float, bore: float, depression: float) -> float:
        """Dynamic pressure of a flow [kg/s] in an adapter of this bore [m], over the depression."""
        density = self.barometer / (AIR_GAS_CONSTANT * self.temperature)
        return float((flow / circle(bore)) ** 2 / (2.0 * density * depression))


def _flux(pressure: NDArray, temperature: float, ratio: NDArray) -> NDArray:
    """Nozzle flux with NaN where the ratio is none."""
    known = np.isfinite(ratio) & np.isfinite(pressure)
    flux = nozzle_flux(np.where(known, pressure, 1e5), temperature, np.where(known, ratio, 0.5))
    return np.where(known, flux, np.nan)


def rig_of(side_table: Any, side: str, sheet: Any = None, ideal: Any = None) -> Rig:
    """The rig of a case's intake or exhaust; `sheet` [SheetFlow] says room, mouth and stub, else a room of 20 degC."""
    port, valve = side_table.port, side_table.valve
    duct, throat = None, valve.count * 0.25 * math.pi * valve.head_diameter**2
    if port is not None:
        curve = port_curve(port)
        duct = Duct(curve, (Stretch("port", 0.0, curve.length, port.roughness, ROOM),))
        throat = throat_of(port, side)
        stub = None
        if sheet is not None and sheet.stub_length > 0.0:
            bore = sheet.stub_diameter
            stub = plain_duct("stub", sheet.stub_length, circle(bore), STUB_ROUGHNESS, ROOM)
        if side == "exhaust":
            duct = duct.followed_by(stub) if stub is not None else duct
            duct = Duct(duct.curve.reversed(), _turned(duct), ())
        elif stub is not None:
            duct = stub.followed_by(duct)
        duct = duct.without_steep_ramps()
    return Rig(
        side, duct, inward_opening(sheet.mouth if sheet is not None else MOUTH), throat, valve.count,
        sheet.air_temperature if sheet is not None else 293.15, sheet.barometer if sheet is not None else 101325.0,
        recovery=ideal is not None and ideal.valve_recovery == "momentum",
        frictionless=ideal is not None and ideal.frictionless,
    )  # fmt: skip


STUB_ROUGHNESS = 1.5e-6
"""Roughness [m] of a stub: drawn tube (handbook value, from memory)."""


def _turned(duct: Duct) -> tuple[Stretch, ...]:
    return tuple(Stretch(s.name, duct.length - s.x1, duct.length - s.x0, s.roughness, s.wall_temperature)
                 for s in duct.stretches[::-1])  # fmt: skip


def throat_of(port: Any, side: str) -> float:
    """Net area [m2] of a port's throat: the station noted so, else the smaller of the two nearest the valve."""
    from waveflow.engine.derive import throat_index

    return net_area(port.stations[throat_index(port.stations, "last" if side == "intake" else "first")])


def sheet_areas(table: ValveFlow) -> NDArray:
    """Effective area of one valve (n,) [m2] at the readings of a table."""
    return table.effective_area(table.lift_over_diameter * table.head_diameter)
