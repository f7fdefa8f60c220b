"""Elements of one kind in blocks of LANES, and the laws of `ends` and `thermo` without branches for them.

A block is a row of numbers in which every quantity has LANES places, one an element: quantities lie LANES apart, a number
the compiler knows, so that one quantity is one or a few vector registers and a loop over the lanes is straight vector code.
"""

from __future__ import annotations

import math

import numpy as np

from waveflow.compiled import kernel_within
from waveflow.physics.vectors import exp2, log2

LANES = 8
LN2 = math.log(2.0)


@kernel_within
def arrested_and_slope(rho, vel, pres, kappa):
    """`ends.arrested_pressure` without branches, and its change with the velocity [Pa s/m]."""
    sound = np.sqrt(kappa * pres / rho)
    mach = vel / sound
    k = 0.25 * (kappa + 1.0) * mach
    root = np.sqrt(1.0 + k * k)
    pushed = pres * (1.0 + kappa * mach * (k + root))
    base = max(1.0 + 0.5 * (kappa - 1.0) * mach, 0.1)
    drawn = pres * exp2(2.0 * kappa / (kappa - 1.0) * log2(base))
    compressed = mach > 0.0
    return (
        pushed if compressed else drawn,
        kappa / sound * (pres * (k + root) * (1.0 + k / root) if compressed else drawn / base),
    )


@kernel_within
def entropy_log(c, r, temp):
    """`thermo.entropy` up to a constant, without branches."""
    t = temp * 1e-3
    u = max(t - 1.0, 0.0)
    log_t = LN2 * log2(t)
    q3 = 5.0 * c[9]
    q2 = 4.0 * c[8] - q3
    q1 = 3.0 * c[7] - q2
    q0 = 2.0 * c[6] - q1
    low = (1e-3 * c[1] + r) * log_t + 1e-3 * t * (
        2.0 * c[2] + t * (1.5 * c[3] + t * (4.0 / 3.0 * c[4] + t * 1.25 * c[5]))
    )
    return low + 1e-3 * (u * (q0 + u * (0.5 * q1 + u * (q2 / 3.0 + u * 0.25 * q3))) - (q0 * log_t if t > 1.0 else 0.0))


@kernel_within
def exponential(x):
    """e to the power of x."""
    return exp2(x / LN2)


@kernel_within
def wave_behind(p, rho, pres, kappa):
    """`ends.wave` without branches: density behind it, change of velocity, and how that changes with p [m/s/Pa]."""
    ratio = p / pres
    cooled = exp2(0.5 * (kappa - 1.0) / kappa * log2(ratio))
    low, stiff = (kappa - 1.0) * p + (kappa + 1.0) * pres, (kappa + 1.0) * p + (kappa - 1.0) * pres
    root = np.sqrt(2.0 / (rho * stiff))
    sound = np.sqrt(kappa * pres / rho)
    pushed = p > pres
    return (
        rho * (stiff / low if pushed else ratio / (cooled * cooled)),
        (p - pres) * root if pushed else 2.0 / (kappa - 1.0) * sound * (cooled - 1.0),
        root * (1.0 - 0.5 * (kappa + 1.0) * (p - pres) / stiff) if pushed else sound * cooled / (kappa * p),
    )


@kernel_within
def keep_coefficients(block, i, c):
    """Write the ten energy coefficients of lane i to the first ten rows of a block."""
    block[i], block[LANES + i], block[2 * LANES + i], block[3 * LANES + i], block[4 * LANES + i] = c[0], c[1], c[2], c[3], c[4]
    block[5 * LANES + i], block[6 * LANES + i], block[7 * LANES + i] = c[5], c[6], c[7]
    block[8 * LANES + i], block[9 * LANES + i] = c[8], c[9]


@kernel_within
def coefficients(block, i):
    """And read them."""
    return (
        block[i], block[LANES + i], block[2 * LANES + i], block[3 * LANES + i], block[4 * LANES + i],
        block[5 * LANES + i], block[6 * LANES + i], block[7 * LANES + i], block[8 * LANES + i], block[9 * LANES + i],
    )  # fmt: skip
