"""All pipe ends at once, as vector code: the restriction of `ends`, which stays the reference for every single one.

Open ends are sorted by the direction of their flow into blocks of LANES, and solved there by Newton's method for the square
of the mass flux, which unlike the flux itself has a finite slope at rest:

* out of the pipe, unknown the pressure p at its end: 2 (psi rho_t)^2 (h0(p) - h_t) = (rho u)^2, the throat t at the volume's
  pressure or sonic, whichever is hotter (where it is sonic the flux is stationary in the throat's state, so the slope at a
  fixed throat serves both);
* into the pipe, unknown the cooling T0 - T of gas brought isentropically from the volume to the pressure of the pipe's end:
  2 (psi rho_t)^2 (h0 - h_t) = (rho w)^2, the throat at T or sonic; a sonic entry is known beforehand.

The guess is the answer for incompressible flow and a linear wave, times what that was wrong by in the solution before. Ends
that are near sonic themselves, recover momentum, or where Newton did not arrive are solved by `ends.end_flux`.
"""

from __future__ import annotations

import numpy as np

from waveflow.compiled import inner_kernel, kernel, kernel_of_rows
from waveflow.physics.ends import OPEN, end_flux
from waveflow.physics.lanes import (
    LANES,
    LN2,
    arrested_and_slope,
    coefficients,
    entropy_log,
    exponential,
    keep_coefficients,
    wave_behind,
)
from waveflow.physics.layout import L_PRES, L_RHO, L_VEL, L_YB, L_YF, V_BURNED, V_FUEL, V_MASS, V_PRES, V_TEMP
from waveflow.physics.layout import R_RHO as RIGHT
from waveflow.physics.thermo import energy, gas_constant, heat_capacity, mixture
from waveflow.physics.vectors import log2

# rows of a block of ends as they come: half-time state next to the end, velocity outward; then what follows from it alone
E_RHO, E_VEL, E_PRES, E_YF, E_YB, E_KAPPA, E_STOP = range(0, 7 * LANES, LANES)
END_BLOCK = 7 * LANES

# rows of a block of ends with flow in one direction, behind the ten of `lanes.coefficients`, which are those of the gas that
# flows: pipe, opening, volume, start; and the answer
RHO, VEL, PRES, YF, YB, KAPPA, STOP, PSI, TEMP0, PRES0, YF0, YB0, TRUST = range(10 * LANES, 23 * LANES, LANES)
GAS, GUESS, X, FOUND, STEP, MACH2, MASS, FORCE, POWER = range(23 * LANES, 32 * LANES, LANES)
COLD, H_COLD, FREE = range(32 * LANES, 35 * LANES, LANES)  # out: throat at the volume's pressure; 0 where it is the whole pipe
H0, S0, SONIC, SQUARE, DEEPEST = range(35 * LANES, 40 * LANES, LANES)  # in: at rest, sonic throat and its flux squared, limit
FULL, FULL_P, FULL_W, FULL_MASS = range(40 * LANES, 44 * LANES, LANES)  # in: whether the entry is sonic, and that state
FLOW_BLOCK = 44 * LANES

MEMORY = 2
"""Columns of an end's memory: what the guess was wrong by, for flow out of and into the pipe."""

_ROUNDS = 8
_ENOUGH = 3e-5  # last change of the unknown over its distance from no flow that ends the search
_WELL_ENOUGH = 1e-4  # and the one that still counts as an answer
_NEARLY_SONIC = 0.95  # squared Mach number from which an end is left to `ends`


@kernel_of_rows
def arrest(block, gas):
    """cp/cv and the pressure of the gas brought to rest, for a block of ends as they come."""
    for i in range(LANES):
        rho, vel, pres, yf, yb = block[E_RHO + i], block[E_VEL + i], block[E_PRES + i], block[E_YF + i], block[E_YB + i]
        r = gas_constant(gas, yf, yb)
        kappa = 1.0 + r / heat_capacity(mixture(gas, yf, yb), pres / (r * rho))
        stop, _ = arrested_and_slope(rho, vel, pres, kappa)
        block[E_KAPPA + i] = kappa
        block[E_STOP + i] = stop


@kernel_of_rows
def begin_out(block, gas):
    """Flow out of the pipe: throat at the volume's pressure, first guess of the pressure at the end."""
    for i in range(LANES):
        rho, pres, kappa, stop, psi = block[RHO + i], block[PRES + i], block[KAPPA + i], block[STOP + i], block[PSI + i]
        yf, yb, back = block[YF + i], block[YB + i], block[PRES0 + i]
        c = mixture(gas, yf, yb)
        r = gas_constant(gas, yf, yb)
        block[GAS + i] = r
        keep_coefficients(block, i, c)
        temp = pres / (r * rho)
        log_ratio = LN2 * log2(back / pres)
        cp = heat_capacity(c, temp) + r
        cold = temp * exponential(log_ratio * r / cp)
        target = entropy_log(c, r, temp) + r * log_ratio
        cold += (target - entropy_log(c, r, cold)) * cold / (heat_capacity(c, cold) + r)
        cold += (target - entropy_log(c, r, cold)) * cold / (heat_capacity(c, cold) + r)
        block[COLD + i] = cold
        block[H_COLD + i] = energy(c, cold) + r * cold
        # psi^2 (2 rho (stop - z u - back)) = rho^2 u^2 (1 - psi^2)
        z = np.sqrt(rho * kappa * pres)
        a = 0.5 * rho * (1.0 - psi * psi)
        b = psi * psi * z
        q = psi * psi * max(stop - back, 0.0)
        u = 2.0 * q / (b + np.sqrt(b * b + 4.0 * a * q) + 1e-300)
        drop = z * u
        block[GUESS + i] = drop
        whole = psi >= OPEN
        trusted = stop - min(drop * block[TRUST + i], 0.999 * (stop - back))
        block[X + i] = back if whole else trusted
        block[FREE + i] = 0.0 if whole else 1.0


@kernel_of_rows
def round_out(block):
    """One round for flow out of the pipe."""
    for i in range(LANES):
        p = block[X + i]
        rho, vel, pres, kappa, stop = block[RHO + i], block[VEL + i], block[PRES + i], block[KAPPA + i], block[STOP + i]
        r, psi, back, free = block[GAS + i], block[PSI + i], block[PRES0 + i], block[FREE + i]
        cold, h_cold = block[COLD + i], block[H_COLD + i]
        c = coefficients(block, i)
        rho_e, drop, d_drop = wave_behind(p, rho, pres, kappa)
        u, du = vel - drop, -d_drop
        per_sound2 = rho_e / (kappa * p)
        temp = p / (r * rho_e)
        h0 = energy(c, temp) + r * temp + 0.5 * u * u
        # throat: at the volume's pressure, or sonic if the stream would be faster there
        cv = heat_capacity(c, cold)
        excess = h0 - h_cold - 0.5 * (1.0 + r / cv) * r * cold
        sonic = cold + excess / (cv + r + 0.5 * (1.0 + r / cv) * r)
        cv = heat_capacity(c, sonic)
        sonic += (h0 - energy(c, sonic) - r * sonic - 0.5 * (1.0 + r / cv) * r * sonic) / (
            cv + r + 0.5 * (1.0 + r / cv) * r
        )
        choked = excess > 0.0
        throat = sonic if choked else cold
        p_t = back * (exponential((entropy_log(c, r, sonic) - entropy_log(c, r, cold)) / r) if choked else 1.0)
        h_t = (energy(c, sonic) + r * sonic) if choked else h_cold
        dense = psi * p_t / (r * throat)
        flux = rho_e * u
        d_flux, d_h0 = u * per_sound2 + rho_e * du, 1.0 / rho_e + u * du
        miss = 2.0 * dense * dense * (h0 - h_t) - flux * flux
        slope = 2.0 * dense * dense * d_h0 - 2.0 * flux * d_flux
        step = -free * miss / slope
        new = p + step
        new = new if new > back else 0.5 * (p + back)
        new = new if new < stop else 0.5 * (p + stop)
        new = new if free > 0.0 else p
        ahead = new - p  # the state there by its slopes: once the step is small, as good as another round
        block[MACH2 + i] = u * u * per_sound2
        block[MASS + i] = flux + d_flux * ahead
        block[FORCE + i] = new + flux * u + (d_flux * u + flux * du) * ahead
        block[POWER + i] = flux * h0 + (d_flux * h0 + flux * d_h0) * ahead
        block[STEP + i] = abs(step) / (stop - p + 1e-8 * back)
        block[FOUND + i] = stop - new
        block[X + i] = new


@kernel_of_rows
def begin_in(block, gas):
    """Flow into the pipe: the volume's gas at rest, its sonic throat, first guess of the cooling."""
    for i in range(LANES):
        rho, pres, kappa, stop, psi = block[RHO + i], block[PRES + i], block[KAPPA + i], block[STOP + i], block[PSI + i]
        yf, yb, temp0, pres0 = block[YF0 + i], block[YB0 + i], block[TEMP0 + i], block[PRES0 + i]
        c = mixture(gas, yf, yb)
        r = gas_constant(gas, yf, yb)
        block[GAS + i] = r
        keep_coefficients(block, i, c)
        h0 = energy(c, temp0) + r * temp0
        s0 = entropy_log(c, r, temp0)
        cp = heat_capacity(c, temp0) + r
        sonic = temp0 * 2.0 / (1.0 + cp / (cp - r))
        for _ in range(3):
            cv = heat_capacity(c, sonic)
            half = 0.5 * (1.0 + r / cv) * r
            sonic += (h0 - energy(c, sonic) - r * sonic - half * sonic) / (cv + r + half)
        p_c = pres0 * exponential((entropy_log(c, r, sonic) - s0) / r)
        dense = psi * p_c / (r * sonic)
        square = 2.0 * dense * dense * (h0 - energy(c, sonic) - r * sonic)
        deepest = temp0 * (1.0 - exponential(LN2 * log2(stop / pres0) * r / cp))
        gap = pres0 - stop
        rho0 = pres0 / (r * temp0)
        z = np.sqrt(rho * kappa * pres)
        # psi sqrt(2 rho0 gap) y = rho0 gap (1 - y^2) / (rho a)
        a = rho0 * gap / z
        b = psi * np.sqrt(2.0 * rho0 * gap)
        y = 2.0 * a / (b + np.sqrt(b * b + 4.0 * a * a) + 1e-300)
        cooling = deepest * y * y
        # with a sonic throat: its mass flux into a linear wave
        p = 0.5 * (stop + np.sqrt(stop * stop + 4.0 * np.sqrt(square) * z * r * temp0))
        fed = temp0 * (1.0 - exponential(LN2 * log2(p / pres0) * r / cp))
        cooling = fed if cooling > temp0 - sonic else cooling
        # a sonic entry with the flux of the sonic throat: the answer where the pipe's gas would draw even more at its pressure
        cv = heat_capacity(c, sonic)
        speed = np.sqrt((1.0 + r / cv) * r * sonic)
        full_mass = np.sqrt(square)
        full_p = full_mass / speed * r * sonic
        _, drawn, _ = wave_behind(full_p, rho, pres, kappa)
        block[FULL + i] = 1.0 if drawn - block[VEL + i] > speed else 0.0
        block[FULL_P + i], block[FULL_W + i], block[FULL_MASS + i] = full_p, speed, full_mass
        block[GUESS + i] = cooling
        trusted = cooling * block[TRUST + i]
        block[X + i] = trusted if trusted < 0.999 * deepest else 0.999 * deepest
        block[DEEPEST + i] = deepest
        block[H0 + i], block[S0 + i], block[SONIC + i], block[SQUARE + i] = h0, s0, sonic, square


@kernel_of_rows
def round_in(block):
    """One round for flow into the pipe."""
    for i in range(LANES):
        cooling = block[X + i]
        rho, vel, pres, kappa = block[RHO + i], block[VEL + i], block[PRES + i], block[KAPPA + i]
        r, psi, temp0, pres0 = block[GAS + i], block[PSI + i], block[TEMP0 + i], block[PRES0 + i]
        h0, s0, sonic, square, deepest = block[H0 + i], block[S0 + i], block[SONIC + i], block[SQUARE + i], block[DEEPEST + i]
        c = coefficients(block, i)
        temp = temp0 - cooling
        cp = heat_capacity(c, temp) + r
        p = pres0 * exponential((entropy_log(c, r, temp) - s0) / r)
        dense = psi * p / (r * temp)
        choked = temp < sonic
        fed = square if choked else 2.0 * dense * dense * (h0 - energy(c, temp) - r * temp)
        d_fed = 0.0 if choked else 2.0 * dense * dense * (2.0 * (cp - r) / r * (h0 - energy(c, temp) - r * temp) / temp - cp)
        # the pipe's gas answers with a wave
        _, drawn, dw = wave_behind(p, rho, pres, kappa)
        w = drawn - vel
        # the stream in the pipe: all its enthalpy kept
        moving = temp0 - min(0.5 * w * w, 0.35 * cp * temp0) / cp
        for _ in range(2):
            cv = heat_capacity(c, moving)
            moving += (h0 - min(0.5 * w * w, 0.35 * cp * temp0) - energy(c, moving) - r * moving) / (cv + r)
        rho_e = p / (r * moving)
        flux = rho_e * w
        d_flux = flux / p + rho_e * dw * (1.0 + w * w / ((cv + r) * moving))
        miss = fed - flux * flux
        slope = 2.0 * flux * d_flux * p * cp / (r * temp) - d_fed  # p falls by p cp/(R T) per kelvin of cooling
        step = -miss / slope
        new = cooling + step
        new = new if new > 0.0 else 0.3 * cooling
        new = new if new < deepest else 0.5 * (cooling + deepest)
        ahead = -p * cp / (r * temp) * (new - cooling)  # in pressure; see `round_out`
        d_w = dw * ahead
        full, full_mass = block[FULL + i] > 0.0, block[FULL_MASS + i]
        full_p, full_w = block[FULL_P + i], block[FULL_W + i]
        mass = full_mass if full else flux + d_flux * ahead
        block[MACH2 + i] = 0.0 if full else w * w / ((1.0 + r / cv) * r * moving)
        block[MASS + i] = -mass
        block[FORCE + i] = full_p + full_mass * full_w if full else p + ahead + flux * w + d_flux * ahead * w + flux * d_w
        block[POWER + i] = -mass * h0
        short = abs(step) * (1.0 / (cooling + 1e-8 * temp0) + 1.0 / (deepest - cooling + 1e-8 * temp0))
        block[STEP + i] = 0.0 if full else short
        block[FOUND + i] = new
        block[X + i] = new


@inner_kernel
def _solve(net, gas, block, lanes, way, openings, memory, answer):
    """The answers for a block of the ends `lanes`, out of (way 0) or into the pipe (1); those that do not arrive get
    `ends.end_flux`."""
    count, out = lanes[LANES], way == 0
    if out:
        begin_out(block, gas)
    else:
        begin_in(block, gas)
    for _ in range(_ROUNDS):
        if out:
            round_out(block)
        else:
            round_in(block)
        settled = 0
        for i in range(count):
            settled += 1 if block[STEP + i] <= _ENOUGH else 0
        if settled == count:
            break
    for i in range(count):
        n = lanes[i]
        vel = max(block[VEL + i], 0.0)
        if (
            block[STEP + i] <= _WELL_ENOUGH
            and block[MACH2 + i] < _NEARLY_SONIC
            and vel * vel * block[RHO + i] < block[KAPPA + i] * block[PRES + i]
            and not (net.end[n].recovery > 0.0 and not out)
        ):
            mass = block[MASS + i]
            yf, yb = (block[YF + i], block[YB + i]) if out else (block[YF0 + i], block[YB0 + i])
            answer[n, 0], answer[n, 1], answer[n, 2] = mass, block[FORCE + i], block[POWER + i]
            answer[n, 3], answer[n, 4] = mass * yf, mass * yb
            trust = block[FOUND + i] / block[GUESS + i] if block[GUESS + i] > 0.0 else 1.0
            memory[n, way] = trust if 0.1 < trust < 10.0 else 1.0
        else:
            memory[n, way] = 1.0
            flow = end_flux(
                gas, block[RHO + i], block[VEL + i], block[PRES + i], block[YF + i], block[YB + i], openings[n, 0],
                openings[n, 1], block[TEMP0 + i], block[PRES0 + i], block[YF0 + i], block[YB0 + i], net.end[n].recovery,
            )  # fmt: skip
            answer[n, 0], answer[n, 1], answer[n, 2], answer[n, 3], answer[n, 4] = flow


@kernel
def gather_ends(net, gas, half, blocks):
    """States next to all ends and their pressures at rest, into blocks (blocks, END_BLOCK)."""
    for n in range(net.end.shape[0]):
        end = net.end[n]
        block, i = blocks[n // LANES], n % LANES
        source = L_RHO if end.sign > 0.0 else RIGHT
        block[E_RHO + i] = half[source, end.face]
        block[E_VEL + i] = end.sign * half[source + L_VEL, end.face]
        block[E_PRES + i] = half[source + L_PRES, end.face]
        block[E_YF + i] = half[source + L_YF, end.face]
        block[E_YB + i] = half[source + L_YB, end.face]
    for b in range(blocks.shape[0]):
        arrest(blocks[b], gas)


@kernel
def end_fluxes(net, gas, vols, blocks, openings, wanted, memory, flow, lanes, answer):
    """Fluxes per area, outward, through all `wanted` (ends,) pipe ends: answer (ends, 5) as from `ends.end_flux`.

    blocks: from `gather_ends`; openings (ends, 2): inward and outward [-]; memory (ends, MEMORY); flow (2, FLOW_BLOCK) and
    lanes (2, LANES + 1): scratch for flow out of and into the pipes, which ends stand in a block, and their number behind.
    """
    lanes[0, LANES] = lanes[1, LANES] = 0
    for n in range(net.end.shape[0]):
        if not wanted[n]:
            continue
        from_block, k = blocks[n // LANES], n % LANES
        v = net.end[n].volume
        stop = from_block[E_STOP + k]
        way = 0 if stop >= vols[v, V_PRES] else 1
        psi = openings[n, 1 - way]
        if psi <= 0.0:
            answer[n, 0], answer[n, 1], answer[n, 2], answer[n, 3], answer[n, 4] = 0.0, stop, 0.0, 0.0, 0.0
            continue
        block, i = flow[way], lanes[way, LANES]
        for row in range(7):
            block[RHO + row * LANES + i] = from_block[E_RHO + row * LANES + k]
        block[PSI + i] = min(psi, 1.0)
        block[TEMP0 + i], block[PRES0 + i] = vols[v, V_TEMP], vols[v, V_PRES]
        block[YF0 + i], block[YB0 + i] = vols[v, V_FUEL] / vols[v, V_MASS], vols[v, V_BURNED] / vols[v, V_MASS]
        block[TRUST + i] = memory[n, way]
        lanes[way, i] = n
        lanes[way, LANES] = i + 1
        if i + 1 == LANES:
            _solve(net, gas, block, lanes[way], way, openings, memory, answer)
            lanes[way, LANES] = 0
    for way in range(2):
        if lanes[way, LANES] > 0:
            _solve(net, gas, flow[way], lanes[way], way, openings, memory, answer)
