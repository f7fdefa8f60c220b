"""Two pipes meeting end to end: the joint of `joints`, solved for all such joints of the engine at once as vector code.

The laws are those of `joints` (which stays the reference: the tests hold the two together); what differs is the way to the
answer. With one supplier and one receiver the unknowns are the joint's pressure p and the speed w into the receiver, and two
balances decide them,

    mass:      rho_r(w) w A_r = rho_s(p) u(p) A_s
    pressure:  p_r(w) (1 + (1 + loss) dynamic share) = stagnation pressure the supplier leaves at p

with the supplier's state from its wave at p, the receiver's pressure from its wave at w and its temperature from the total
enthalpy. Newton's method in both, from the acoustic answer plus what that missed in the step before, takes two or three
rounds. Where a stream is near sonic, or Newton did not arrive, the joint is left to `joints`.

A pass is one loop over the lanes of a block, without branches, its powers those of `vectors`.
"""

from __future__ import annotations

import numpy as np

from waveflow.compiled import inner_kernel, kernel, kernel_of_rows, kernel_within
from waveflow.physics.joints import dynamic_share
from waveflow.physics.lanes import LANES, arrested_and_slope, coefficients, keep_coefficients, wave_behind
from waveflow.physics.layout import BURNED, ENERGY, FUEL, L_PRES, L_RHO, L_VEL, L_YB, L_YF, MASS, MOMENTUM
from waveflow.physics.layout import R_RHO as RIGHT
from waveflow.physics.thermo import energy, gas_constant, heat_capacity, mixture

# rows of a block, behind the ten of `lanes.coefficients`, which are the supplier's. The two ends as they come: half-time state
# next to the end, velocity outward
A_RHO, A_VEL, A_PRES, A_YF, A_YB, B_RHO, B_VEL, B_PRES, B_YF, B_YB = range(10 * LANES, 20 * LANES, LANES)
# what stays: areas, product of the turned shares, contraction; and what the last step's acoustic guess missed
AREA_A, AREA_B, TURN, CONTRACTION, MISS_P, MISS_W = range(20 * LANES, 26 * LANES, LANES)
# supplier and receiver of this step
S_RHO, S_VEL, S_PRES, S_KAPPA, S_STOP, S_AREA = range(26 * LANES, 32 * LANES, LANES)
R_RHO, R_VEL, R_PRES, R_KAPPA, R_STOP, R_AREA = range(32 * LANES, 38 * LANES, LANES)
A_GIVES, GAS, GUESS_P, GUESS_W = range(38 * LANES, 42 * LANES, LANES)
# the answer: unknowns, their last change, and the state that belongs to them
P, W, STEP_P, STEP_W, OUT_MASS, OUT_U, OUT_H0, OUT_PR, OUT_MACH2 = range(42 * LANES, 51 * LANES, LANES)
BLOCK = 51 * LANES

_ROUNDS = 7
_ENOUGH = 3e-5  # last change of p over the difference of the arrested pressures, of w over itself, that ends the search
_WELL_ENOUGH = 1e-4  # and the one that still counts as an answer
_NO_SPEED = 1e-9  # [m/s]
_NEARLY_SONIC = 0.95  # squared Mach number from which a pair is left to the general joint


@kernel_of_rows
def choose(pairs, gas):
    """Who supplies and who receives, from the pressures of the two gases brought to rest; first guesses."""
    for i in range(LANES):
        rho_a, vel_a, pres_a, rho_b, vel_b, pres_b = (
            pairs[A_RHO + i], pairs[A_VEL + i], pairs[A_PRES + i], pairs[B_RHO + i], pairs[B_VEL + i], pairs[B_PRES + i]
        )  # fmt: skip
        yf_a, yb_a, yf_b, yb_b = pairs[A_YF + i], pairs[A_YB + i], pairs[B_YF + i], pairs[B_YB + i]
        area_a, area_b = pairs[AREA_A + i], pairs[AREA_B + i]
        r_a, r_b = gas_constant(gas, yf_a, yb_a), gas_constant(gas, yf_b, yb_b)
        kappa_a = 1.0 + r_a / heat_capacity(mixture(gas, yf_a, yb_a), pres_a / (r_a * rho_a))
        kappa_b = 1.0 + r_b / heat_capacity(mixture(gas, yf_b, yb_b), pres_b / (r_b * rho_b))
        stop_a, _ = arrested_and_slope(rho_a, vel_a, pres_a, kappa_a)
        stop_b, _ = arrested_and_slope(rho_b, vel_b, pres_b, kappa_b)
        a_gives = stop_a >= stop_b
        rho_s, vel_s, pres_s = rho_a if a_gives else rho_b, vel_a if a_gives else vel_b, pres_a if a_gives else pres_b
        rho_r, vel_r, pres_r = rho_b if a_gives else rho_a, vel_b if a_gives else vel_a, pres_b if a_gives else pres_a
        kappa_s, kappa_r = kappa_a if a_gives else kappa_b, kappa_b if a_gives else kappa_a
        stop_s, stop_r = stop_a if a_gives else stop_b, stop_b if a_gives else stop_a
        area_s, area_r = area_a if a_gives else area_b, area_b if a_gives else area_a
        c = mixture(gas, yf_a if a_gives else yf_b, yb_a if a_gives else yb_b)
        pairs[S_RHO + i], pairs[S_VEL + i], pairs[S_PRES + i], pairs[S_KAPPA + i] = rho_s, vel_s, pres_s, kappa_s
        pairs[R_RHO + i], pairs[R_VEL + i], pairs[R_PRES + i], pairs[R_KAPPA + i] = rho_r, vel_r, pres_r, kappa_r
        pairs[S_STOP + i], pairs[R_STOP + i], pairs[S_AREA + i], pairs[R_AREA + i] = stop_s, stop_r, area_s, area_r
        pairs[A_GIVES + i], pairs[GAS + i] = 1.0 if a_gives else 0.0, r_a if a_gives else r_b
        keep_coefficients(pairs, i, c)
        # the acoustic answer: two linear waves
        admit_s = area_s * np.sqrt(rho_s / (kappa_s * pres_s))
        per_z = 1.0 / np.sqrt(rho_r * kappa_r * pres_r)
        admit_r = area_r * rho_r * per_z
        p = (admit_s * stop_s + admit_r * stop_r) / (admit_s + admit_r)
        w = (p - stop_r) * per_z
        pairs[GUESS_P + i], pairs[GUESS_W + i] = p, w
        near, fast = p + pairs[MISS_P + i], w + pairs[MISS_W + i]
        usable = (near > stop_r) & (near < stop_s) & (fast > 0.0)
        pairs[P + i] = near if usable else p
        pairs[W + i] = fast if usable else w


@kernel_of_rows
def newton(pairs):
    """One round: the state at the present unknowns, both balances, new unknowns."""
    for i in range(LANES):
        p, w = pairs[P + i], pairs[W + i]
        rho, vel, pres, kappa = pairs[S_RHO + i], pairs[S_VEL + i], pairs[S_PRES + i], pairs[S_KAPPA + i]
        area_s, area_r, stop_r, stop_s = pairs[S_AREA + i], pairs[R_AREA + i], pairs[R_STOP + i], pairs[S_STOP + i]
        r = pairs[GAS + i]
        c = coefficients(pairs, i)
        # supplier: its wave, shock or rarefaction, to the joint's pressure
        rho_s, drop, d_drop = wave_behind(p, rho, pres, kappa)
        u, du = vel - drop, -d_drop
        per_sound2 = rho_s / (kappa * p)
        temp = p / (r * rho_s)
        cp = heat_capacity(c, temp) + r
        h0 = energy(c, temp) + r * temp + 0.5 * u * u
        mass = rho_s * u * area_s
        d_mass = area_s * (rho_s * du + u * per_sound2)
        d_h0 = 1.0 / rho_s + u * du
        # what of its dynamic pressure reaches the receiver
        mach2 = u * u * per_sound2
        g = (2.0 - kappa) / 6.0
        rise = p * dynamic_share(kappa, mach2)
        d_mach2 = 2.0 * u * du * per_sound2 + mach2 * (per_sound2 / rho_s - 1.0 / p)
        d_rise = rise / p + 0.5 * p * kappa * (1.0 + mach2 * (0.5 + 0.75 * g * mach2)) * d_mach2
        fast = max(u, 1e-9)
        short = max(1.0 - w / fast, 0.0)
        per_rise = 1.0 / max(rise, 1e-300)
        above = (p - stop_r) * per_rise
        rest = max(1.0 - above, 0.0)
        kept, woken = 1.0 - short * short, 1.0 - rest * rest
        turning = 2.0 * rise * (1.0 - pairs[TURN + i]) / fast
        q = p + rise * kept * woken
        d_short = w / (fast * fast) * du if short > 0.0 else 0.0
        d_rest = (above * d_rise - 1.0) * per_rise if rest > 0.0 else 0.0
        dq_p = 1.0 + d_rise * kept * woken - 2.0 * rise * (short * d_short * woken + kept * rest * d_rest)
        dq_w = 2.0 * rise * short / fast * woken
        per_q = 1.0 / (q + turning * w)
        left = q * q * per_q
        dl_q = (q * q + 2.0 * q * turning * w) * per_q * per_q
        dl_w = dl_q * dq_w - left * turning * per_q
        # receiver: its wave at w, temperature from the total enthalpy
        temp0 = temp + 0.5 * u * u / cp
        temp0 += (h0 - energy(c, temp0) - r * temp0) / cp
        narrower = max(1.0 - area_r * p / (r * temp0 * rho_s * area_s), 0.0)
        share = 1.0 + pairs[CONTRACTION + i] * narrower
        p_r, dp_r = arrested_and_slope(pairs[R_RHO + i], pairs[R_VEL + i] + w, pairs[R_PRES + i], pairs[R_KAPPA + i])
        temp_r = temp + 0.5 * (u * u - w * w) / cp
        cv_r = heat_capacity(c, temp_r)
        temp_r += (h0 - 0.5 * w * w - energy(c, temp_r) - r * temp_r) / (cv_r + r)
        cp_r, kappa_r = cv_r + r, 1.0 + r / cv_r
        rho_r = p_r / (r * temp_r)
        per_sound2_r = 1.0 / (kappa_r * r * temp_r)
        mach2_r = w * w * per_sound2_r
        g = (2.0 - kappa_r) / 6.0
        stagnation = 1.0 + share * dynamic_share(kappa_r, mach2_r)
        slope = 0.5 * kappa_r * (1.0 + mach2_r * (0.5 + 0.75 * g * mach2_r))
        cooling = w / (cp_r * temp_r)
        d_mach2_r = 2.0 * w * per_sound2_r + mach2_r * cooling
        # the two balances and their slopes
        f1 = rho_r * w * area_r - mass
        f1_p = -d_mass - rho_r * w * area_r * d_h0 / (cp_r * temp_r)
        f1_w = area_r * rho_r * (1.0 + w * (dp_r / p_r + cooling))
        f2 = p_r * stagnation - left
        f2_p = -dl_q * dq_p
        f2_w = dp_r * stagnation + p_r * share * slope * d_mach2_r - dl_w
        per_det = 1.0 / (f1_p * f2_w - f1_w * f2_p)
        step_p = (f1_w * f2 - f2_w * f1) * per_det
        step_w = (f2_p * f1 - f1_p * f2) * per_det
        new_p = p + step_p
        new_p = new_p if new_p > stop_r else 0.5 * (p + stop_r)
        new_p = new_p if new_p < stop_s else 0.5 * (p + stop_s)
        new_w = w + step_w
        new_w = new_w if new_w > 0.0 else 0.3 * w
        # the state at the new unknowns by its slopes: once the step is small, as good as another round
        ahead_p, ahead_w = new_p - p, new_w - w
        pairs[OUT_MASS + i], pairs[OUT_U + i] = mass + d_mass * ahead_p, u + du * ahead_p
        pairs[OUT_H0 + i] = h0 + d_h0 * ahead_p
        pairs[OUT_PR + i], pairs[OUT_MACH2 + i] = p_r + dp_r * ahead_w, max(mach2, mach2_r)
        pairs[STEP_P + i], pairs[STEP_W + i] = step_p, step_w
        pairs[P + i], pairs[W + i] = new_p, new_w


@kernel_within
def _settled(pairs, i, enough):
    """Whether the last change of pair i was below the share `enough` of what drives it."""
    spread = pairs[S_STOP + i] - pairs[R_STOP + i]
    return (abs(pairs[STEP_P + i]) <= enough * spread + 1e-13 * pairs[S_STOP + i]) & (
        abs(pairs[STEP_W + i]) <= enough * pairs[W + i] + _NO_SPEED
    )


@inner_kernel
def _all_settled(pairs):
    count = 0
    for i in range(LANES):
        count += 1 if _settled(pairs, i, _ENOUGH) else 0
    return count == LANES


def pair_table(joints: np.ndarray, members: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """(row of the joint of every pair, table (blocks, BLOCK)): the joints of two members that face each other."""
    index = [j for j, row in enumerate(joints) if row["count"] == 2 and np.diff(members["side"][row["first"] :][:2])]
    table = np.zeros((-(-len(index) // LANES), BLOCK))
    for k in range(len(table) * LANES):
        joint = joints[index[min(k, len(index) - 1)]]  # lanes left over repeat the last pair
        a, b = members[joint["first"]], members[joint["first"] + 1]
        pairs, i = table[k // LANES], k % LANES
        pairs[AREA_A + i], pairs[AREA_B + i] = a["area"], b["area"]
        pairs[TURN + i], pairs[CONTRACTION + i] = a["turn"] * b["turn"], joint["contraction"]
    return np.array(index, np.int64), table


@inner_kernel
def _write(net, joint, pairs, i, flux):
    """Flux of pair i through its two faces."""
    supplier = 0 if pairs[A_GIVES + i] > 0.0 else 1
    yf, yb = (pairs[A_YF + i], pairs[A_YB + i]) if supplier == 0 else (pairs[B_YF + i], pairs[B_YB + i])
    mass, total = pairs[OUT_MASS + i], pairs[OUT_H0 + i]
    for side in range(2):
        m = net.member[joint.first + side]
        if side == supplier:
            out, force = mass, pairs[P + i] * m.area + mass * pairs[OUT_U + i]
        else:
            out, force = -mass, pairs[OUT_PR + i] * m.area + mass * pairs[W + i]
        flux[MASS, m.face] = m.sign * out
        flux[MOMENTUM, m.face] = force
        flux[ENERGY, m.face] = m.sign * out * total
        flux[FUEL, m.face] = m.sign * out * yf
        flux[BURNED, m.face] = m.sign * out * yb


@kernel
def pair_fluxes(net, gas, table, half, flux, pending):
    """Write the flux through both faces of every pair; `pending` (joints,) is left True for those not solved here.

    table (blocks, BLOCK): `net.pairs`, kept from step to step; it belongs to the joints in net.pair.
    """
    index = net.pair
    for b in range(table.shape[0]):
        pairs = table[b]
        for i in range(LANES):
            first = net.joint[index[min(b * LANES + i, index.shape[0] - 1)]].first
            for side in range(2):
                m = net.member[first + side]
                source = L_RHO if m.sign > 0.0 else RIGHT
                base = (A_RHO if side == 0 else B_RHO) + i
                pairs[base] = half[source, m.face]
                pairs[base + LANES] = m.sign * half[source + L_VEL, m.face]
                pairs[base + 2 * LANES] = half[source + L_PRES, m.face]
                pairs[base + 3 * LANES] = half[source + L_YF, m.face]
                pairs[base + 4 * LANES] = half[source + L_YB, m.face]
        choose(pairs, gas)
        for _ in range(_ROUNDS):
            newton(pairs)
            if _all_settled(pairs):
                break
        for i in range(min(LANES, index.shape[0] - b * LANES)):
            row = index[b * LANES + i]
            incoming = pairs[S_VEL + i] * pairs[S_VEL + i] * pairs[S_RHO + i] < pairs[S_KAPPA + i] * pairs[S_PRES + i]
            if pairs[S_STOP + i] - pairs[R_STOP + i] < 1e-12 * pairs[S_STOP + i]:  # at rest
                pairs[MISS_P + i] = pairs[MISS_W + i] = pairs[OUT_MASS + i] = pairs[OUT_H0 + i] = 0.0
                pairs[P + i], pairs[OUT_PR + i] = pairs[S_STOP + i], pairs[R_STOP + i]
            elif _settled(pairs, i, _WELL_ENOUGH) and incoming and pairs[OUT_MACH2 + i] < _NEARLY_SONIC:
                pairs[MISS_P + i] = pairs[P + i] - pairs[GUESS_P + i]
                pairs[MISS_W + i] = pairs[W + i] - pairs[GUESS_W + i]
            else:
                pairs[MISS_P + i] = pairs[MISS_W + i] = 0.0
                continue
            pending[row] = False
            _write(net, net.joint[row], pairs, i, flux)
