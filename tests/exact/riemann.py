"""Exact solution of Riemann problems of a constant-gamma gas, sampled at x/t.

E. F. Toro, *Riemann Solvers and Numerical Methods for Fluid Dynamics*, 3rd ed. 2009, ch. 4: pressure function, fans.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import brentq

GAMMA = 1.4


def _drop(p: float, rho: float, pres: float) -> float:
    """Toro's f_K: change of velocity across the wave from the state (rho, pres) to p."""
    g = GAMMA
    if p > pres:
        return (p - pres) * np.sqrt(2.0 / (rho * ((g + 1.0) * p + (g - 1.0) * pres)))
    return 2.0 * np.sqrt(g * pres / rho) / (g - 1.0) * ((p / pres) ** (0.5 * (g - 1.0) / g) - 1.0)


def star(left: tuple, right: tuple) -> tuple[float, float]:
    """(pressure, velocity) between the waves of the states (rho, u, p)."""
    (rl, ul, pl), (rr, ur, pr) = left, right

    def excess(p):
        return _drop(p, rl, pl) + _drop(p, rr, pr) + ur - ul

    p = brentq(excess, 1e-9 * min(pl, pr), 100.0 * max(pl, pr), xtol=1e-14, rtol=1e-14)
    return p, 0.5 * (ul + ur + _drop(p, rr, pr) - _drop(p, rl, pl))


def _side(s: NDArray, rho: float, u: float, pres: float, p: float, u_star: float) -> tuple:
    """Left wave and what lies on either side of it, at speeds s (Toro 4.5)."""
    g = GAMMA
    a = np.sqrt(g * pres / rho)
    if p > pres:
        speed = u - a * np.sqrt((g + 1.0) / (2.0 * g) * p / pres + (g - 1.0) / (2.0 * g))
        b = (g - 1.0) / (g + 1.0)
        inside = s > speed
        rho_star = rho * (p / pres + b) / (b * p / pres + 1.0)
        return np.where(inside, rho_star, rho), np.where(inside, u_star, u), np.where(inside, p, pres)
    rho_star = rho * (p / pres) ** (1.0 / g)
    tail = u_star - np.sqrt(g * p / rho_star)
    c = 2.0 / (g + 1.0) + (g - 1.0) / (g + 1.0) * (u - s) / a
    c = np.maximum(c, 1e-30)
    fan = (rho * c ** (2.0 / (g - 1.0)), 2.0 / (g + 1.0) * (a + 0.5 * (g - 1.0) * u + s), pres * c ** (2.0 * g / (g - 1.0)))
    ahead, behind = s < u - a, s > tail
    return tuple(
        np.where(ahead, quiet, np.where(behind, after, between))
        for quiet, after, between in zip((rho, u, pres), (rho_star, u_star, p), fan, strict=True)
    )


def sample(left: tuple, right: tuple, s: NDArray) -> tuple[NDArray, NDArray, NDArray]:
    """(density, velocity, pressure) at x/t = s."""
    p, u = star(left, right)
    on_left = _side(s, *left, p, u)
    mirrored = _side(-s, right[0], -right[1], right[2], p, -u)
    on_right = (mirrored[0], -mirrored[1], mirrored[2])
    return tuple(np.where(s < u, l, r) for l, r in zip(on_left, on_right, strict=True))


def cell_density(left: tuple, right: tuple, x: NDArray, x0: float, t: float) -> NDArray[np.float64]:
    """Mean density over the cells between faces x (64 points a cell: within 1/64 of a cell of a jump)."""
    share = (np.arange(64) + 0.5) / 64.0
    points = x[:-1, None] + np.diff(x)[:, None] * share
    return sample(left, right, (points - x0) / t)[0].mean(axis=1)
