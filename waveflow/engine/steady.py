"""Steady flow through the duct and the valve of one cylinder, by the equations the solver marches, without marching.

Air of the bench (`bench.AIR_GAMMA`, `AIR_GAS_CONSTANT`), adiabatic, so the stagnation temperature is the room's all along.
A mass flow m through an area A at the stagnation pressure p0 has the Mach number of

    m sqrt(R T0 / gamma) / (A p0) = M (1 + (gamma - 1)/2 M^2)^(-(gamma + 1)/(2 (gamma - 1))),

and p0 falls along the duct by d ln p0 / dx = -gamma M^2 / 2 (f/D + K/L), friction and bends (A. H. Shapiro, *The Dynamics and
Thermodynamics of Compressible Fluid Flow*, 1953, ch. 8, from memory; checked against exact Fanno flow and against the
marched solver). Entries, steps of area, ends and valves follow the formulas of `physics.ends` and `physics.joints`. All
functions take rows (n,) of flows at once; where the duct cannot pass a flow the answer is NaN.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from waveflow.engine.bench import AIR_GAMMA, AIR_GAS_CONSTANT, critical_ratio, nozzle_flux
from waveflow.engine.losses import loss_rows
from waveflow.engine.tract import Duct, cell_areas

PIECE = 1e-3
"""Length [m] of the steps along the duct; half of it changes no flow by 1e-5."""

SEARCH = 60
CONTRACTION = 0.5  # vena-contracta factor of a step, as `Assembly.joint` has it

_G1 = 0.5 * (AIR_GAMMA - 1.0)
_POWER = 0.5 * (AIR_GAMMA + 1.0) / (AIR_GAMMA - 1.0)
SONIC = (1.0 + _G1) ** -_POWER
"""Greatest value of the flow function, at Mach 1."""


def mach_of(function: NDArray) -> NDArray:
    """Subsonic Mach number (n,) of the flow function (n,) m sqrt(R T0/gamma)/(A p0); NaN above `SONIC`."""
    wanted = np.asarray(function, float)
    with np.errstate(invalid="ignore"):
        m = np.where(wanted <= SONIC, np.minimum(wanted * (1.0 + wanted * wanted), 0.99), np.nan)
        for _ in range(40):
            base = 1.0 + _G1 * m * m
            power = base ** (-_POWER - 1.0)
            step = (wanted - m * power * base) / (power * np.maximum(1.0 - m * m, 1e-9))
            new = np.minimum(np.maximum(m + step, 0.5 * m), 0.5 * (1.0 + m))
            if not (np.abs(new - m) > 1e-12).any():  # NaN is done with, too
                break
            m = new
    return m


def friction_factor(reynolds: NDArray, relative_roughness: NDArray | float) -> NDArray:
    """Darcy friction factor, the rows' form of `physics.walls.friction_factor` (Haaland 1983; laminar 64/Re)."""
    re = np.maximum(reynolds, 1.0)
    s = np.clip((re - 2000.0) / 2000.0, 0.0, 1.0)
    share = s * s * (3.0 - 2.0 * s)
    root = -1.8 * np.log10((relative_roughness / 3.7) ** 1.11 + 6.9 / np.maximum(re, 2000.0))
    return (1.0 - share) * 64.0 / re + share / (root * root)


def viscosity(temperature: NDArray) -> NDArray:
    """Viscosity of air [Pa s], the solver's parabola."""
    from waveflow.physics.gas import AIR_VISCOSITY

    t = 1e-3 * temperature
    return AIR_VISCOSITY[0] + t * (AIR_VISCOSITY[1] + t * AIR_VISCOSITY[2])


@dataclass(frozen=True, eq=False)
class _Section:
    """One pipe without a step inside: areas at faces (n+1,) and middles (n,) [m2], hydraulic diameters, roughness, K/L."""

    face: NDArray
    middle: NDArray
    hydraulic: NDArray
    roughness: NDArray
    bends: NDArray
    length: NDArray


@dataclass(frozen=True, eq=False)
class SteadyDuct:
    """A duct cut into short pieces, in flow order. `frictionless` leaves out walls and bends, `constant_friction` is for
    comparison with exact Fanno flow."""

    sections: tuple[_Section, ...]
    frictionless: bool = False
    constant_friction: float | None = None

    @classmethod
    def of(cls, duct: Duct, backwards: bool = False, frictionless: bool = False,
           constant_friction: float | None = None) -> SteadyDuct:  # fmt: skip
        """The pieces of a `Duct`; `backwards`: the flow runs against its centreline."""
        cut = []
        for x0, x1 in duct.sections():
            faces = np.linspace(x0, x1, max(4, math.ceil((x1 - x0) / PIECE)) + 1)
            middle = 0.5 * (faces[1:] + faces[:-1])
            inside = faces.copy()
            inside[-1] -= 1e-9 * duct.length  # a step at the end belongs to the next pipe
            _, _, hydraulic = cell_areas(duct.curve, faces)
            rough = np.array([next(s.roughness for s in duct.stretches if s.x0 <= x <= s.x1) for x in middle])
            rows = [np.asarray(duct.curve.area_at(inside), float), np.asarray(duct.curve.area_at(middle), float), hydraulic,
                    rough, 2.0 * loss_rows(duct.turns, faces), np.diff(faces)]  # fmt: skip
            cut.append(_Section(*(row[::-1] if backwards else row for row in rows)))
        return cls(tuple(cut[::-1] if backwards else cut), frictionless, constant_friction)

    @property
    def first_area(self) -> float:
        """Area [m2] where the flow comes in."""
        return float(self.sections[0].face[0])

    @property
    def last_area(self) -> float:
        """Area [m2] where it goes out."""
        return float(self.sections[-1].face[-1])

    def through(self, flow: NDArray, pressure: NDArray, temperature: float) -> NDArray:
        """Stagnation pressure (n,) [Pa] at the far end from that at the near end, for mass flows (n,) [kg/s]."""
        p0 = np.array(np.broadcast_to(pressure, np.shape(flow)), float)
        scaled = flow * math.sqrt(AIR_GAS_CONSTANT * temperature / AIR_GAMMA)
        before = None
        for section in self.sections:
            if before is not None:
                p0 = _step(before, float(section.face[0]), scaled, p0)
            before = float(section.face[-1])
            for k in range(len(section.length)):
                half = 0.5 * section.length[k] * self._slope(section, k, section.face[k], scaled, p0, temperature)
                middle = p0 * np.exp(half)
                slope = self._slope(section, k, section.middle[k], scaled, middle, temperature)
                p0 = p0 * np.exp(section.length[k] * slope)
            p0 = np.where(scaled <= SONIC * section.face.min() * p0, p0, np.nan)
        return p0

    def upstream(self, flow: NDArray, outside: float, temperature: float) -> NDArray:
        """Stagnation pressure (n,) [Pa] needed at the near end to drive mass flows (n,) [kg/s] out of the far end into a
        room at the static pressure `outside` [Pa]; a flow that chokes the far end or the duct needs what chokes it."""
        scaled = flow * math.sqrt(AIR_GAS_CONSTANT * temperature / AIR_GAMMA)
        p0 = from_static(flow, self.last_area, np.full(np.shape(flow), outside), temperature)
        p0 = np.fmax(p0, scaled / (SONIC * self.last_area))
        for number in range(len(self.sections) - 1, -1, -1):
            section = self.sections[number]
            for k in range(len(section.length) - 1, -1, -1):
                p0 = np.maximum(p0, scaled / (SONIC * section.face[k + 1]))
                half = 0.5 * section.length[k] * self._slope(section, k, section.face[k + 1], scaled, p0, temperature)
                middle = np.maximum(p0 * np.exp(-half), scaled / (SONIC * section.middle[k]))
                slope = self._slope(section, k, section.middle[k], scaled, middle, temperature)
                p0 = p0 * np.exp(-section.length[k] * slope)
            p0 = np.maximum(p0, scaled / (SONIC * section.face[0]))
            if number:
                p0 = _before_step(float(self.sections[number - 1].face[-1]), float(section.face[0]), scaled, p0)
        return p0

    def _slope(self, s: _Section, k: int, area: float, scaled: NDArray, p0: NDArray, temp0: float) -> NDArray:
        m2 = mach_of(scaled / (area * p0)) ** 2
        if self.frictionless:
            return 0.0 * m2
        f = self.constant_friction
        if f is None:
            flow = scaled / math.sqrt(AIR_GAS_CONSTANT * temp0 / AIR_GAMMA)
            reynolds = flow * s.hydraulic[k] / (area * viscosity(temp0 / (1.0 + _G1 * m2)))
            f = friction_factor(reynolds, s.roughness[k] / s.hydraulic[k])
        return -0.5 * AIR_GAMMA * m2 * (f / s.hydraulic[k] + s.bends[k])


def static(flow: NDArray, area: float, p0: NDArray, temperature: float) -> NDArray:
    """Static pressure (n,) [Pa] of a flow [kg/s] through `area` [m2] at the stagnation pressure p0 [Pa]."""
    m = mach_of(flow * math.sqrt(AIR_GAS_CONSTANT * temperature / AIR_GAMMA) / (area * p0))
    return p0 * (1.0 + _G1 * m * m) ** (-AIR_GAMMA / (AIR_GAMMA - 1.0))


def _dynamic(m2: NDArray) -> NDArray:
    """p0/p - 1 at the squared Mach number, in the series `physics.joints` uses."""
    return 0.5 * AIR_GAMMA * m2 * (1.0 + 0.25 * m2 * (1.0 + (2.0 - AIR_GAMMA) / 6.0 * m2))


def _step(area: float, after: float, scaled: NDArray, p0: NDArray) -> NDArray:
    """Stagnation pressure behind a sudden step of area, as a joint of two pipes on one axis settles it."""
    ms = mach_of(scaled / (area * p0))
    base = 1.0 + _G1 * ms * ms
    joint = p0 * base ** (-AIR_GAMMA / (AIR_GAMMA - 1.0))
    rise = joint * _dynamic(ms * ms)
    narrower = 1.0 - after / area / base  # the joint weighs areas with the density at rest over that of the stream
    loss = np.maximum(CONTRACTION * narrower, 0.0)
    speed = ms / np.sqrt(base)  # over the sound speed at rest
    # the receiver's Mach number m: flow = p after m sqrt(1 + ..) and p from the joint's stagnation pressure
    low, high = np.zeros_like(p0), np.ones_like(p0)
    for _ in range(SEARCH):
        m = 0.5 * (low + high)
        p = _behind(m, joint, rise, speed, loss)
        short = p * after * m * np.sqrt(1.0 + _G1 * m * m) < scaled
        low, high = np.where(short, m, low), np.where(short, high, m)
    p = _behind(m, joint, rise, speed, loss)
    found = p * (1.0 + _G1 * m * m) ** (AIR_GAMMA / (AIR_GAMMA - 1.0))
    return np.where(m < 1.0 - 1e-9, found, np.nan)


def _before_step(area: float, after: float, scaled: NDArray, p0: NDArray) -> NDArray:
    """Stagnation pressure before a step that leaves `p0` behind it, found between the least that passes the flow and more."""
    low = np.maximum(p0, scaled / (SONIC * area))
    high = 4.0 * low
    for _ in range(SEARCH):
        trial = 0.5 * (low + high)
        enough = _step(area, after, scaled, trial) >= p0  # NaN: the step chokes, more is needed
        low, high = np.where(enough, low, trial), np.where(enough, trial, high)
        if np.all(high - low < 1e-11 * high):
            break
    return high


def _behind(m: NDArray, joint: NDArray, rise: NDArray, speed: NDArray, loss: NDArray) -> NDArray:
    w = m / np.sqrt(1.0 + _G1 * m * m)
    with np.errstate(divide="ignore", invalid="ignore"):
        short = np.maximum(0.0, 1.0 - w / speed)
        p = (joint + rise * (1.0 - short * short)) / (1.0 + (1.0 + loss) * _dynamic(m * m))
        stop = p * (1.0 - _G1 * m) ** (AIR_GAMMA / _G1)
        rest = np.where(rise > 0.0, np.maximum(0.0, 1.0 - (joint - stop) / rise), 0.0)
    return (joint + rise * (1.0 - short * short) * (1.0 - rest * rest)) / (1.0 + (1.0 + loss) * _dynamic(m * m))


def entered(flow: NDArray, area: float, opening: float, pressure: float, temperature: float) -> NDArray:
    """Stagnation pressure (n,) [Pa] behind an entry: isentropic from rest through `opening` of the area at the pipe's own
    static pressure, no recovery; NaN where the entry cannot pass the flow [kg/s]."""
    if opening >= 1.0 - 1e-12:
        return np.where(flow <= area * float(nozzle_flux(pressure, temperature, 0.0)), pressure, np.nan)
    low, high = np.full(np.shape(flow), critical_ratio()), np.ones(np.shape(flow))
    possible = flow <= opening * area * nozzle_flux(pressure, temperature, low)
    for _ in range(SEARCH):
        ratio = 0.5 * (low + high)
        much = opening * area * nozzle_flux(pressure, temperature, ratio) > flow
        low, high = np.where(much, ratio, low), np.where(much, high, ratio)
    return np.where(possible, from_static(flow, area, ratio * pressure, temperature), np.nan)


def from_static(flow: NDArray, area: float, pressure: NDArray, temperature: float) -> NDArray:
    """Stagnation pressure (n,) [Pa] of a flow [kg/s] at a static `pressure` [Pa]; NaN if it were supersonic."""
    g = flow * math.sqrt(AIR_GAS_CONSTANT * temperature / AIR_GAMMA) / (area * pressure)
    m2 = (np.sqrt(1.0 + 4.0 * _G1 * g * g) - 1.0) / (2.0 * _G1)  # g = M sqrt(1 + G1 M^2)
    return np.where(m2 <= 1.0, pressure * (1.0 + _G1 * m2) ** (AIR_GAMMA / (AIR_GAMMA - 1.0)), np.nan)
