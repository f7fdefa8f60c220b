"""Two flows of a perfect gas with exact solutions: Sod's tube and a simple wave before it breaks; cell means of both."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.polynomial.legendre import leggauss
from numpy.typing import NDArray
from scipy.optimize import brentq

GAMMA = 1.4

Profile = Callable[[NDArray], tuple[NDArray, NDArray, NDArray]]


@dataclass(frozen=True)
class Flow:
    """A problem on 0..1: density, velocity, pressure at the start and at time `end`, all of order one."""

    name: str
    start: Profile
    finish: Profile
    end: float


def cell_means(profile: Profile, n: int, pieces: int = 1) -> NDArray:
    """Conserved means (3, n) by eight-point Gauss rules on `pieces` parts of every cell (many where the profile jumps)."""
    at, weight = leggauss(8)
    parts = n * pieces
    x = (np.arange(parts)[:, None] + 0.5 + 0.5 * at) / parts
    rho, vel, pres = profile(x.ravel())
    values = np.array([rho, rho * vel, pres / (GAMMA - 1.0) + 0.5 * rho * vel**2]).reshape(3, n, pieces * len(at))
    return values @ np.tile(0.5 * weight / pieces, pieces)


def sod(end: float = 0.2) -> Flow:
    """G. A. Sod, "A Survey of Several Finite Difference Methods ...", J. Comput. Phys. 27 (1978); middle at 0.5."""
    left, right = (1.0, 0.0, 1.0), (0.125, 0.0, 0.1)
    g = GAMMA
    al, ar = math.sqrt(g * left[2] / left[0]), math.sqrt(g * right[2] / right[0])

    def fan(p: float) -> float:  # velocity behind the rarefaction
        return 2.0 * al / (g - 1.0) * (1.0 - (p / left[2]) ** ((g - 1.0) / (2.0 * g)))

    def shock(p: float) -> float:  # velocity behind the shock
        return (p - right[2]) * math.sqrt(2.0 / (right[0] * ((g + 1.0) * p + (g - 1.0) * right[2])))

    p = brentq(lambda p: fan(p) - shock(p), 0.1, 1.0, xtol=1e-15)
    u = shock(p)
    rho_l = left[0] * (p / left[2]) ** (1.0 / g)
    ratio = p / right[2]
    rho_r = right[0] * ((g + 1.0) * ratio + g - 1.0) / ((g - 1.0) * ratio + g + 1.0)
    front = ar * math.sqrt((g + 1.0) / (2.0 * g) * ratio + (g - 1.0) / (2.0 * g))
    tail = u - math.sqrt(g * p / rho_l)

    def at(t: float) -> Profile:
        def profile(x: NDArray) -> tuple[NDArray, NDArray, NDArray]:
            s = (x - 0.5) / max(t, 1e-12)
            inside = np.clip(s, -al, tail)
            a = 2.0 / (g + 1.0) * al - (g - 1.0) / (g + 1.0) * inside
            where = [s < -al, s < tail, s < u, s < front]
            rho = np.select(where, [left[0], left[0] * (a / al) ** (2.0 / (g - 1.0)), rho_l, rho_r], right[0])
            vel = np.select(where, [0.0, 2.0 / (g + 1.0) * (al + inside), u, u], 0.0)
            pres = np.select(where, [left[2], left[2] * (a / al) ** (2.0 * g / (g - 1.0)), p, p], right[2])
            return rho, vel, pres

        return profile

    return Flow("Sod", at(0.0), at(end), end)


def simple_wave(amplitude: float = 0.1, centre: float = 0.3, width: float = 0.08, end: float = 0.4) -> Flow:
    """A pulse u = `amplitude` exp(-((x - centre) / width)^2) running right into gas at rest (rho = 1, a = 1).

    A Riemann invariant and the entropy are uniform: a = 1 + (gamma - 1)/2 u, and every u travels at u + a. It breaks at
    t = 1 / ((gamma + 1)/2 max(-du/dx)), 0.78 for these numbers; `end` is half of that.
    """
    if end * 0.5 * (GAMMA + 1.0) * amplitude / width * math.sqrt(2.0 / math.e) > 0.9:
        raise ValueError("the wave breaks before the end")

    def velocity(x: NDArray) -> NDArray:
        return amplitude * np.exp(-(((x - centre) / width) ** 2))

    def state(u: NDArray) -> tuple[NDArray, NDArray, NDArray]:
        a = 1.0 + 0.5 * (GAMMA - 1.0) * u
        rho = a ** (2.0 / (GAMMA - 1.0))
        return rho, u, rho * a * a / GAMMA

    def finish(x: NDArray) -> tuple[NDArray, NDArray, NDArray]:
        low, high = x - end * (1.0 + 1.3 * amplitude), x - end  # feet of the characteristics, by bisection
        for _ in range(60):
            foot = 0.5 * (low + high)
            u = velocity(foot)
            behind = foot + (1.0 + 0.5 * (GAMMA + 1.0) * u) * end < x
            low, high = np.where(behind, foot, low), np.where(behind, high, foot)
        return state(velocity(0.5 * (low + high)))

    return Flow("smooth wave", lambda x: state(velocity(x)), finish, end)
