"""Scalar thermodynamics of the frozen mixtures, compiled: the same polynomials as `gas`, one state at a time.

A mixture is a tuple of ten coefficients of its internal energy, c_0..c_5 and d_2..d_5, formation energy included,

    e(T) = sum_{j=0..5} c_j t^j + sum_{j=2..5} d_j u^j,    t = T / 1000 K,  u = max(t - 1, 0),

and its gas constant. Everything else follows: cv = de/dT, h = e + R T, and the entropy function
s(T) = integral of cp/T dT, whose logarithm is analytic. Isentropes are s(T2) - s(T1) = R ln(p2/p1): no ratio of specific
heats is assumed constant. (The ratio at a state, cp/cv, appears where a local sound speed is meant.)
"""

from __future__ import annotations

import math

from waveflow.compiled import inner_kernel, kernel_within, muladd


@kernel_within
def mixed(yf, yb, air, fuel, burned):
    """`air` + yf `fuel` + yb `burned`."""
    return muladd(yb, burned, muladd(yf, fuel, air))


@kernel_within
def cubic(x, a0, a1, a2, a3):
    """a0 + a1 x + a2 x^2 + a3 x^3."""
    return muladd(x, muladd(x, muladd(x, a3, a2), a1), a0)


@kernel_within
def quintic(x, a0, a1, a2, a3, a4, a5):
    """a0 + a1 x + .. + a5 x^5."""
    return muladd(x, muladd(x, muladd(x, muladd(x, muladd(x, a5, a4), a3), a2), a1), a0)


@kernel_within
def quartic(x, a0, a1, a2, a3, a4):
    """a0 + a1 x + .. + a4 x^4."""
    return muladd(x, muladd(x, muladd(x, muladd(x, a4, a3), a2), a1), a0)


@kernel_within
def mixture(gas, yf, yb):
    """Coefficients of e(T) of air + `yf` fuel vapour + `yb` burned gas (mass fractions) [J/kg]."""
    e = gas.e
    ya = 1.0 - yf - yb
    return (
        mixed(yf, yb, ya * e[0, 0], e[1, 0], e[2, 0]),
        mixed(yf, yb, ya * e[0, 1], e[1, 1], e[2, 1]),
        mixed(yf, yb, ya * e[0, 2], e[1, 2], e[2, 2]),
        mixed(yf, yb, ya * e[0, 3], e[1, 3], e[2, 3]),
        mixed(yf, yb, ya * e[0, 4], e[1, 4], e[2, 4]),
        mixed(yf, yb, ya * e[0, 5], e[1, 5], e[2, 5]),
        mixed(yf, yb, ya * e[0, 6], e[1, 6], e[2, 6]),
        mixed(yf, yb, ya * e[0, 7], e[1, 7], e[2, 7]),
        mixed(yf, yb, ya * e[0, 8], e[1, 8], e[2, 8]),
        mixed(yf, yb, ya * e[0, 9], e[1, 9], e[2, 9]),
    )


@kernel_within
def gas_constant(gas, yf, yb):
    """Specific gas constant of the mixture [J/kg/K]."""
    r = gas.r
    return (1.0 - yf - yb) * r[0] + yf * r[1] + yb * r[2]


@kernel_within
def energy(c, temp):
    """Specific internal energy [J/kg]."""
    t = temp * 1e-3
    u = max(t - 1.0, 0.0)
    return muladd(u * u, cubic(u, c[6], c[7], c[8], c[9]), quintic(t, c[0], c[1], c[2], c[3], c[4], c[5]))


@kernel_within
def heat_capacity(c, temp):
    """Specific heat at constant volume [J/kg/K]."""
    t = temp * 1e-3
    u = max(t - 1.0, 0.0)
    low = quartic(t, c[1], 2.0 * c[2], 3.0 * c[3], 4.0 * c[4], 5.0 * c[5])
    return 1e-3 * muladd(u, cubic(u, 2.0 * c[6], 3.0 * c[7], 4.0 * c[8], 5.0 * c[9]), low)


@inner_kernel
def entropy(c, r, temp):
    """Integral of cp/T dT up to a constant [J/kg/K]."""
    t = temp * 1e-3
    low = (1e-3 * c[1] + r) * math.log(temp) + 1e-3 * t * (
        2.0 * c[2] + t * (1.5 * c[3] + t * (4.0 / 3.0 * c[4] + t * 1.25 * c[5]))
    )
    if t <= 1.0:
        return low
    u = t - 1.0  # cv above 1000 K divided by t = 1 + u: quotient q0 u^0 .. q3 u^3, remainder -q0
    q3 = 5.0 * c[9]
    q2 = 4.0 * c[8] - q3
    q1 = 3.0 * c[7] - q2
    q0 = 2.0 * c[6] - q1
    return low + 1e-3 * (u * (q0 + u * (0.5 * q1 + u * (q2 / 3.0 + u * 0.25 * q3))) - q0 * math.log(t))


@inner_kernel
def temperature_of_energy(c, e, guess):
    """Temperature [K] at which the mixture holds `e` J/kg; Newton from `guess`."""
    temp = guess
    for _ in range(20):
        step = (e - energy(c, temp)) / heat_capacity(c, temp)
        temp += step
        if abs(step) < 1e-9 * abs(temp):
            break
    return temp


@inner_kernel
def temperature_of_enthalpy(c, r, h, guess):
    """Temperature [K] at which the mixture's enthalpy is `h` J/kg; Newton from `guess`."""
    temp = guess
    for _ in range(20):
        step = (h - energy(c, temp) - r * temp) / (heat_capacity(c, temp) + r)
        temp += step
        if abs(step) < 1e-9 * abs(temp):
            break
    return temp


@inner_kernel
def isentropic_temperature(c, r, temp, ratio):
    """Temperature [K] after an isentropic change from `temp` to `ratio` times the pressure."""
    target = entropy(c, r, temp) + r * math.log(ratio)
    cp = heat_capacity(c, temp) + r
    new = temp * ratio ** (r / cp)
    for _ in range(8):
        step = (target - entropy(c, r, new)) * new / (heat_capacity(c, new) + r)
        new += step
        if abs(step) < 1e-9 * new:
            break
    return new


@inner_kernel
def critical_temperature(c, r, temp0):
    """Temperature [K] in a sonic throat fed isentropically from rest at `temp0` (stagnation)."""
    h0 = energy(c, temp0) + r * temp0
    return critical_temperature_of(c, r, h0, 0.85 * temp0)


@inner_kernel
def critical_temperature_of(c, r, h0, guess):
    """Temperature [K] at which a stream of total enthalpy `h0` J/kg is sonic."""
    temp = guess
    for _ in range(20):
        cv = heat_capacity(c, temp)
        gamma = 1.0 + r / cv
        residual = energy(c, temp) + r * temp + 0.5 * gamma * r * temp - h0
        step = residual / (cv + r + 0.5 * gamma * r)
        temp -= step
        if abs(step) < 1e-10 * temp:
            break
    return temp
