"""Tubes for the tests: pipes of given states, marched a given number of seconds by the compiled solver.

The solver counts crank degrees; at `RPM` one degree lasts one second, so spans, angles and trace steps are seconds.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike, NDArray

from waveflow.physics import layout as lay
from waveflow.physics.accounts import trace_columns
from waveflow.physics.assembly import Assembly
from waveflow.physics.gas import DRY_AIR, Gas, frozen_mixture, ideal_gas
from waveflow.physics.march import march

RPM = 1.0 / 6.0
BURNED = {"CO2": 8, "H2O": 9, "N2": 47}  # stoichiometric isooctane, complete, as in the reference files

Quantity = ArrayLike | Callable[[NDArray], ArrayLike]


def perfect_gas(gamma: float = 1.4, gas_constant: float = 1.0) -> Gas:
    """Constant-gamma gas without limits of temperature, for problems stated without dimensions."""
    return ideal_gas(gamma, gas_constant)._replace(t_low=0.0, t_high=1e12)


@lru_cache
def frozen_gas() -> Gas:
    """Air, air and burned gas of the reference files, frozen and thermally perfect."""
    (r_air, air), (r_burned, burned) = (frozen_mixture(x) for x in (DRY_AIR, BURNED))
    return ideal_gas()._replace(
        r=np.array([r_air, r_air, r_burned]), e=np.array([air, air, burned]), t_low=180.0, t_high=3500.0
    )


def centres(x: NDArray) -> NDArray[np.float64]:
    """Cell centres between faces [m]."""
    return 0.5 * (x[1:] + x[:-1])


def cell_means(function: Callable[[NDArray], ArrayLike], x: NDArray) -> NDArray[np.float64]:
    """Means of a function over the cells between the faces x, by Gauss's rule of six points."""
    nodes, weights = np.polynomial.legendre.leggauss(6)
    points = centres(x)[:, None] + 0.5 * np.diff(x)[:, None] * nodes
    return 0.5 * np.broadcast_to(function(points), points.shape) @ weights


def add_pipe(assembly: Assembly, x: NDArray, area: float | Callable, **state: Quantity) -> int:
    """A pipe with faces x [m] of constant or given area(x) [m2]; states are values, arrays or functions of x."""
    along = area if callable(area) else (lambda at: np.full(np.shape(at), float(area)))
    values = {key: value(centres(x)) if callable(value) else value for key, value in state.items()}
    return assembly.pipe(x, along(x), cell_means(along, x), **values)


@dataclass(frozen=True)
class Profile:
    """States along one pipe: cell centres from its near end [m], density, velocity, pressure, temperature, fractions."""

    x: NDArray
    rho: NDArray
    vel: NDArray
    pres: NDArray
    temp: NDArray
    yf: NDArray
    yb: NDArray
    sound: NDArray

    @property
    def mach(self) -> NDArray[np.float64]:
        return self.vel / self.sound


class Tubes:
    """An assembly that has been finished: march it on, read profiles, sums and accounts."""

    def __init__(self, assembly: Assembly, **switches) -> None:
        self.gas = assembly.gas
        self.net, self.state = assembly.finish(**switches)
        self.time = 0.0
        self.steps = 0
        self.accounts = np.zeros((len(self.net.cylinder), lay.ACCOUNTS))
        self.volume_accounts = np.zeros((len(self.net.volume), lay.VOLUME_ACCOUNTS))
        self.wall_heat = np.zeros(self.state.temp.size)

    def march(self, seconds: float, every: float | None = None, rpm: float = RPM) -> NDArray[np.float64]:
        """March on; returns the trace with a row every `every` seconds (none by default). Any trouble fails the test.

        Another `rpm` is for nets with cylinders; `seconds` and `every` are then still the time.
        """
        degrees = 6.0 * rpm
        rows = 0 if every is None else int(seconds / every) + 2
        trace = np.zeros((rows, trace_columns(self.net)))
        code, row, angle, steps, written = march(
            self.net, self.gas, self.state, rpm, self.time * degrees, seconds * degrees, self.accounts,
            self.volume_accounts, self.wall_heat, trace, (every or 1.0) * degrees,
        )  # fmt: skip
        assert code == 0, f"trouble {code} in row {row} at {angle / degrees} s"
        self.time += seconds
        self.steps += steps
        return trace[:written]

    def cells(self, pipe: int) -> slice:
        """Columns of the real cells of a pipe."""
        first, count = int(self.net.pipe[pipe]["first"]), int(self.net.pipe[pipe]["cells"])
        return slice(first, first + count)

    def profile(self, pipe: int = 0) -> Profile:
        """States along a pipe now."""
        at = self.cells(pipe)
        mass, momentum, _, fuel, burned = self.state.cells[:, at]
        length = self.net.geometry[lay.LENGTH, at]
        temp = 1e3 * self.state.temp[at]
        yf, yb = fuel / mass, burned / mass
        species = np.array([1.0 - yf - yb, yf, yb])
        r = self.gas.r @ species
        t = temp * 1e-3
        above = np.maximum(t - 1.0, 0.0)
        powers = np.array([j * t ** (j - 1.0) for j in range(1, 6)] + [j * above ** (j - 1.0) for j in range(2, 6)])
        cv = 1e-3 * np.einsum("sj,jn,sn->n", self.gas.e[:, 1:], powers, species)
        sound = np.sqrt((1.0 + r / cv) * r * temp)
        x = np.cumsum(length) - 0.5 * length
        return Profile(x, mass, momentum / mass, mass * r * temp, temp, yf, yb, sound)

    def pipe_sums(self) -> NDArray[np.float64]:
        """Sums over all pipes of the conserved rows times volume."""
        per_volume = self.net.geometry[lay.VOLUME_INV]
        real = per_volume > 0.0
        return (self.state.cells[:, real] / per_volume[real]).sum(axis=1)

    def sums(self) -> NDArray[np.float64]:
        """Mass, energy, fuel vapour and burned gas in all pipes and all volumes that are not reservoirs [kg, J]."""
        finite = self.net.volume["kind"] != lay.RESERVOIR
        volumes = self.state.volumes[finite].sum(axis=0)
        pipes = self.pipe_sums()
        inside = [lay.V_MASS, lay.V_ENERGY, lay.V_FUEL, lay.V_BURNED]
        return pipes[[lay.MASS, lay.ENERGY, lay.FUEL, lay.BURNED]] + volumes[inside]


def orders(errors: ArrayLike, ratio: float = 2.0) -> NDArray[np.float64]:
    """Observed orders between successive grids, each finer by `ratio`."""
    errors = np.asarray(errors)
    return np.log(errors[:-1] / errors[1:]) / np.log(ratio)


def opened(gas: Gas, x: NDArray, area: float | Callable, near: tuple, far: tuple, **state: Quantity) -> Assembly:
    """One pipe between two reservoirs given as (pressure, temperature)."""
    assembly = Assembly(gas)
    pipe = add_pipe(assembly, x, area, **state)
    assembly.end(pipe, "near", assembly.reservoir(*near))
    assembly.end(pipe, "far", assembly.reservoir(*far))
    return assembly


def sealed(gas: Gas, x: NDArray, area: float | Callable, **state: Quantity) -> Assembly:
    """One pipe between two walls."""
    assembly = Assembly(gas)
    pipe = add_pipe(assembly, x, area, **state)
    assembly.closed(pipe, "near")
    assembly.closed(pipe, "far")
    return assembly
