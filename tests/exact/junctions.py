"""One joint on its own: given states beside it, the fluxes its kernel writes."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from waveflow.physics import layout as lay
from waveflow.physics.assembly import Assembly
from waveflow.physics.gas import Gas
from waveflow.physics.joints import WORK_COLUMNS, joint_fluxes
from waveflow.physics.merges import MERGE_COLUMNS, merge_fluxes
from waveflow.physics.pairs import pair_fluxes


@dataclass(frozen=True)
class Member:
    """State next to the joint in one of its pipes; velocity towards the joint as a Mach number of a 1.4 gas."""

    area: float
    pressure: float
    temp: float = 300.0
    mach: float = 0.0
    burned: float = 0.0


@dataclass(frozen=True)
class Flow:
    """Flow out of every member into the joint: mass [kg/s], momentum flux [N], energy [W], fuel, burned [kg/s]."""

    mass: NDArray
    momentum: NDArray
    energy: NDArray
    fuel: NDArray
    burned: NDArray


class Junction:
    """A joint of pipes on either side."""

    def __init__(
        self, gas: Gas, upstream: list[float], downstream: list[float], contraction: float = 0.5,
        angles: dict[int, float] | None = None,
    ) -> None:  # fmt: skip
        assembly = Assembly(gas)
        pipes = []
        for number, area in enumerate([*upstream, *downstream]):
            pipe = assembly.pipe([0.0, 1.0, 2.0], [area] * 3, [area] * 2, pressure=1e5, temp=300.0)
            meets, other = ("far", "near") if number < len(upstream) else ("near", "far")
            assembly.closed(pipe, other)
            pipes.append((pipe, meets))
        assembly.joint(pipes[: len(upstream)], pipes[len(upstream) :], contraction, angles)
        self.gas = gas
        self.net, state = assembly.finish()
        self.flux = np.zeros((lay.FIELDS, state.temp.size + 1))
        count = len(self.net.member)
        self.work, self.last = np.zeros((count, WORK_COLUMNS)), np.zeros((1, 2))
        self.merge_work, self.merge_last = np.zeros((count, MERGE_COLUMNS)), np.zeros(1)
        self.pending = np.ones(1, np.bool_)
        self.pairs = self.net.pairs.copy()

    def flow(self, members: list[Member]) -> Flow:
        """Fluxes for the states of all members, upstream ones first. A joint that is not solved fails the test."""
        states = self._states(members)
        joint, member = self.net.joint, self.net.member
        assert joint_fluxes(self.gas, joint, member, states, self.flux, self.work, self.last, self.pending) == -1
        return self._result()

    def pair_flow(self, members: list[Member]) -> Flow | None:
        """The same from the vector code for two pipes; None where that leaves the joint to the general solution."""
        half = np.ones((10, self.flux.shape[1]))
        for m, (rho, vel, pres, yf, yb) in zip(self.net.member, self._states(members), strict=True):
            rows = half[:5] if m["sign"] > 0 else half[5:]
            rows[:, m["face"]] = rho, m["sign"] * vel, pres, yf, yb
        pending = np.ones(1, np.bool_)
        pair_fluxes(self.net, self.gas, self.pairs, half, self.flux, pending)
        return None if pending[0] else self._result()

    def merge_flow(self, members: list[Member]) -> Flow | None:
        """The same by Newton's method in all unknowns together; None where that leaves the joint to the general solution."""
        pending = np.ones(1, np.bool_)
        states = self._states(members)
        merge_fluxes(
            self.gas, self.net.joint, self.net.member, states, self.flux, self.merge_work, self.merge_last, pending
        )
        return None if pending[0] else self._result()

    def _states(self, members: list[Member]) -> NDArray:
        states = np.zeros((len(members), 5))
        for row, m in zip(states, members, strict=True):
            r = (1.0 - m.burned) * self.gas.r[0] + m.burned * self.gas.r[2]
            row[:] = m.pressure / (r * m.temp), m.mach * np.sqrt(1.4 * r * m.temp), m.pressure, 0.0, m.burned
        return states

    def _result(self) -> Flow:
        at = self.net.member["face"]
        sign = self.net.member["sign"]
        mass, momentum, energy, fuel, burned = self.flux[:, at]
        return Flow(sign * mass, momentum.copy(), sign * energy, sign * fuel, sign * burned)


def end_states(flow: Flow, area: NDArray) -> tuple[NDArray, NDArray, NDArray]:
    """(static pressure, velocity towards the joint, temperature) at the ends of the pipes, from the fluxes alone.

    For a gas of gamma = 1.4, R = 287.05: mass, momentum and energy flux have one subsonic state. Velocity 0 where nothing
    flows, the temperature there is NaN.
    """
    k, r = 3.5, 287.05
    g, thrust = flow.mass / area, flow.momentum / area
    with np.errstate(invalid="ignore", divide="ignore"):
        h0 = flow.energy / flow.mass
        inside = np.maximum((k * thrust) ** 2 - 4.0 * (k - 0.5) * h0 * g**2, 0.0)
        vel = np.where(flow.mass == 0.0, 0.0, 2.0 * h0 * g / (k * thrust + np.sqrt(inside)))
        temp = (h0 - 0.5 * vel**2) / (k * r)
    return thrust - g * vel, vel, temp
