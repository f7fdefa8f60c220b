"""Three or more pipes meeting: the joint of `joints`, by Newton's method in all of its unknowns together.

The laws are those of `joints` (the reference; the tests hold the two together). Unknowns are the joint's pressure p and the
speed w_k into every receiver; every receiver's stagnation pressure gives one equation G_k(p, w_k) = 0, whose step

    dw_k = -(G_k + dG_k/dp dp) / (dG_k/dw_k)

put into the balance of mass leaves one equation for dp. One evaluation of every member a round, two or three rounds from
the acoustic answer plus what that missed in the step before, where `joints` searches every w_k anew for every p it tries.
A joint near sonic speed anywhere, or where the rounds do not settle, is left to `joints`.
"""

from __future__ import annotations

import math

from waveflow.compiled import inner_kernel, kernel
from waveflow.physics.ends import arrested_pressure, pushed_back, wave
from waveflow.physics.joints import dynamic_share, facing_stream
from waveflow.physics.layout import BURNED, ENERGY, FUEL, MASS, MOMENTUM
from waveflow.physics.thermo import energy, gas_constant, heat_capacity, mixture

# columns of the work table, a row a member
_RHO, _VEL, _PRES, _YF, _YB, _KAPPA, _STOP, _Z, _FLOW, _P_END, _U_END, _TOTAL, _MISS, _W = range(14)
_G, _GW, _GP, _SLOPE, _DU, _DH = range(14, 20)
MERGE_COLUMNS = 20

_ROUNDS = 8
_ENOUGH = 1e-5  # last change of p over the spread of the arrested pressures, and of w over itself, that ends the search
_NEARLY_SONIC = 0.95  # squared Mach number from which a joint is left to `joints`
_SLOWEST = 1e-5  # [m/s] below which a speed need not be exact in proportion


@inner_kernel
def receiver_round(
    c, r, h0, temp0, d_temp0, p, rise, d_rise, speed, d_speed, turned, loss, stop, rho, vel, pres, kappa, w
):
    """Receiver at joint pressure p and speed w: (G, dG/dw, dG/dp, mass flux,
    its changes with p and w, pressure, its change with w, squared Mach)."""
    short = max(0.0, 1.0 - w / speed)
    above = (p - stop) / rise if rise > 0.0 else 1.0
    rest = max(0.0, 1.0 - above)
    kept, woken = 1.0 - short * short, 1.0 - rest * rest
    turning = 2.0 * rise * turned / speed
    q = p + rise * kept * woken
    d_rest = (above * d_rise - 1.0) / rise if rest > 0.0 else 0.0
    d_short = w / (speed * speed) * d_speed if short > 0.0 else 0.0
    dq_p = 1.0 + d_rise * kept * woken - 2.0 * rise * (short * d_short * woken + kept * rest * d_rest)
    per_q = 1.0 / (q + turning * w)
    left = q * q * per_q
    dl_q = left * per_q * (1.0 + 2.0 * turning * w / q)
    dl_w = dl_q * 2.0 * rise * short / speed * woken - left * turning * per_q
    p_r, dp_r = pushed_back(rho, vel + w, pres, kappa)
    cp0 = heat_capacity(c, temp0) + r
    temp = temp0 - 0.5 * w * w / cp0
    cv = heat_capacity(c, temp)
    temp += (h0 - 0.5 * w * w - energy(c, temp) - r * temp) / (cv + r)
    kappa_r = 1.0 + r / cv
    rho_r = p_r / (r * temp)
    per_sound2 = 1.0 / (kappa_r * r * temp)
    mach2 = w * w * per_sound2
    cooling, warmer = w / ((cv + r) * temp), d_temp0 / temp
    g = (2.0 - kappa_r) / 6.0
    stagnation = 1.0 + (1.0 + loss) * dynamic_share(kappa_r, mach2)
    slope = 0.5 * kappa_r * (1.0 + mach2 * (0.5 + 0.75 * g * mach2))
    return (
        p_r * stagnation - left,
        dp_r * stagnation + p_r * (1.0 + loss) * slope * (2.0 * w * per_sound2 + mach2 * cooling) - dl_w,
        -dl_q * dq_p - p_r * (1.0 + loss) * slope * mach2 * warmer,
        rho_r * w,
        -rho_r * w * warmer,
        rho_r * (1.0 + w * (dp_r / p_r + cooling)),
        p_r,
        dp_r,
        mach2,
    )


@inner_kernel
def _round(gas, joint, member, work, p):
    """One evaluation of all members at p: (balance of mass, its slope for p after elimination, supply, largest squared
    Mach number). Slopes and states of the members go to the work table; supply 0: nothing feeds the joint."""
    first, count = joint.first, joint.count
    supply, enthalpy, fuel, burned, warm, slope, worst, d_warm = 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0
    m_up, rise_up, speed_up, square_up, across_up, d_up, pace_up = 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0
    m_down, rise_down, speed_down, square_down, across_down, d_down, pace_down = 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0
    for k in range(count):
        row = work[first + k]
        if row[_STOP] <= p:
            continue
        area = member[first + k].area
        rho, vel, pres, kappa = row[_RHO], row[_VEL], row[_PRES], row[_KAPPA]
        c = mixture(gas, row[_YF], row[_YB])
        r = gas_constant(gas, row[_YF], row[_YB])
        rho_e, drop = wave(p, rho, pres, kappa)
        u = vel - drop
        temp = p / (r * rho_e)
        cp = heat_capacity(c, temp) + r
        total = energy(c, temp) + r * temp + 0.5 * u * u
        per_sound2 = rho_e / (kappa * p)
        per_sound = math.sqrt(per_sound2)
        du = -per_sound / rho_e
        mass = rho_e * u * area
        mach2 = u * u * per_sound2
        worst = max(worst, mach2, vel * vel * rho / (kappa * pres))
        row[_P_END], row[_U_END], row[_TOTAL], row[_FLOW] = p, u, total, mass
        row[_SLOPE], row[_DU], row[_DH] = area * (u * per_sound2 - per_sound), du, 1.0 / rho_e + u * du
        supply += mass
        slope += row[_SLOPE]
        enthalpy += mass * total
        fuel += mass * row[_YF]
        burned += mass * row[_YB]
        warm += mass * (temp + 0.5 * u * u / cp)
        d_warm += row[_SLOPE] * (temp + 0.5 * u * u / cp) + mass * row[_DH] / cp
        share = dynamic_share(kappa, mach2)
        d_share = 0.5 * kappa * (1.0 + 0.5 * mach2) * (2.0 * u * du * per_sound2 + mach2 * (per_sound2 / rho_e - 1.0 / p))
        turn = member[first + k].turn
        if member[first + k].side == 0:
            m_up += mass
            rise_up += mass * p * share
            speed_up += mass * u
            square_up += mass * u * u
            across_up += mass * u * turn
            d_up += mass * (share + p * d_share)
            pace_up += mass * du
        else:
            m_down += mass
            rise_down += mass * p * share
            speed_down += mass * u
            square_down += mass * u * u
            across_down += mass * u * turn
            d_down += mass * (share + p * d_share)
            pace_down += mass * du
    if supply <= 0.0:
        return 0.0, 0.0, 0.0, 0.0
    h0, y_f, y_b = enthalpy / supply, fuel / supply, burned / supply
    c = mixture(gas, y_f, y_b)
    r = gas_constant(gas, y_f, y_b)
    temp0 = warm / supply
    for _ in range(2):
        temp0 += (h0 - energy(c, temp0) - r * temp0) / (heat_capacity(c, temp0) + r)
    d_temp0 = (d_warm - temp0 * slope) / supply  # the mixture shifts to the stronger stream
    rho0 = p / (r * temp0)
    balance = supply
    for k in range(count):
        row = work[first + k]
        if row[_STOP] > p:
            continue
        m = member[first + k]
        area = m.area
        if m.side == 0:
            share, speed, turned, loss = facing_stream(
                supply, m_down, speed_down, square_down, across_down, m.turn, area * rho0, joint.contraction
            )
            rise, d_rise, d_speed = rise_down * share, d_down * share, pace_down / max(m_down, 1e-300)
        else:
            share, speed, turned, loss = facing_stream(
                supply, m_up, speed_up, square_up, across_up, m.turn, area * rho0, joint.contraction
            )
            rise, d_rise, d_speed = rise_up * share, d_up * share, pace_up / max(m_up, 1e-300)
        g, g_w, g_p, flux, flux_p, flux_w, p_r, dp_r, mach2 = receiver_round(
            c, r, h0, temp0, d_temp0, p, rise, d_rise, speed, d_speed, turned, loss,
            row[_STOP], row[_RHO], row[_VEL], row[_PRES], row[_KAPPA], row[_W],
        )  # fmt: skip
        worst = max(worst, mach2)
        row[_G], row[_GW], row[_GP], row[_DU], row[_SLOPE] = g, g_w, g_p, dp_r, -flux_w * area
        row[_DH] = -flux_p * area
        row[_P_END], row[_U_END], row[_FLOW] = p_r, -row[_W], -flux * area
        balance -= flux * area - flux_w * area * g / g_w
        slope -= (flux_p - flux_w * g_p / g_w) * area
    return balance, slope, supply, worst


@kernel
def merge_fluxes(gas, joints, member, half_state, flux, work, last_miss, pending):
    """Write the flux through the end faces of all members of the `pending` (joints,) joints solved here, and unmark them.

    half_state, flux: as for `joints.joint_fluxes`. work (members, MERGE_COLUMNS), last_miss (joints,): kept between steps.
    """
    for j in range(joints.shape[0]):
        if not pending[j]:
            continue
        joint = joints[j]
        first, count = joint.first, joint.count
        low, high, guess, weight = 1e300, 0.0, 0.0, 0.0
        for k in range(count):
            row, state = work[first + k], half_state[first + k]
            rho, vel, pres, yf, yb = state[0], state[1], state[2], state[3], state[4]
            r = gas_constant(gas, yf, yb)
            kappa = 1.0 + r / heat_capacity(mixture(gas, yf, yb), pres / (r * rho))
            stop = arrested_pressure(rho, vel, pres, kappa)
            row[_RHO], row[_VEL], row[_PRES], row[_YF], row[_YB], row[_KAPPA], row[_STOP] = rho, vel, pres, yf, yb, kappa, stop
            row[_Z] = math.sqrt(rho * kappa * pres)
            low, high = min(low, stop), max(high, stop)
            admittance = member[first + k].area * rho / row[_Z]
            guess += admittance * stop
            weight += admittance
        spread = high - low
        if spread < 1e-12 * high:
            continue
        guess /= weight
        p = guess + last_miss[j]
        if not (low < p < high):
            p = guess
        for k in range(count):
            row = work[first + k]
            acoustic = (p - row[_STOP]) / row[_Z]
            row[_W] = acoustic + row[_MISS] if acoustic + row[_MISS] > 0.0 else max(acoustic, 0.0)
        done = False
        new = p
        for _ in range(_ROUNDS):
            balance, slope, supply, worst = _round(gas, joint, member, work, p)
            if not (supply > 0.0 and worst < _NEARLY_SONIC and slope < 0.0):
                break
            step = -balance / slope
            new = p + step
            if new <= low:
                new = 0.5 * (p + low)
            elif new >= high:
                new = 0.5 * (p + high)
            settled = abs(step) <= _ENOUGH * spread
            for k in range(count):
                row = work[first + k]
                if row[_STOP] > p:
                    continue
                change = -(row[_G] + row[_GP] * (new - p)) / row[_GW]
                settled &= abs(change) <= _ENOUGH * row[_W] + _ENOUGH * _SLOWEST
                changed = row[_W] + change if row[_W] + change > 0.0 else 0.3 * row[_W]
                row[_P_END] += row[_DU] * (changed - row[_W])  # by its slope: good once the step is small
                row[_FLOW] += row[_SLOPE] * (changed - row[_W]) + row[_DH] * (new - p)
                row[_W] = changed
                row[_U_END] = -changed
            if settled:
                done = True
                break
            for k in range(count):
                row = work[first + k]
                if p < row[_STOP] <= new:  # it begins to receive
                    row[_W] = (new - row[_STOP]) / row[_Z]
            p = new
        if not done:
            last_miss[j] = 0.0
            for k in range(count):
                work[first + k, _MISS] = 0.0
            continue
        pending[j] = False
        last_miss[j] = new - guess
        supply, h0, y_f, y_b, taken = 0.0, 0.0, 0.0, 0.0, 0.0
        for k in range(count):
            row = work[first + k]
            if row[_STOP] > p:  # the suppliers' states by their slopes, too
                row[_P_END] = new
                row[_FLOW] += row[_SLOPE] * (new - p)
                row[_U_END] += row[_DU] * (new - p)
                row[_TOTAL] += row[_DH] * (new - p)
                supply += row[_FLOW]
                h0 += row[_FLOW] * row[_TOTAL]
                y_f += row[_FLOW] * row[_YF]
                y_b += row[_FLOW] * row[_YB]
            else:
                taken -= row[_FLOW]
        h0, y_f, y_b = h0 / supply, y_f / supply, y_b / supply
        scale = supply / taken
        for k in range(count):
            row, m = work[first + k], member[first + k]
            flow, total, fuel, burned = row[_FLOW], row[_TOTAL], row[_YF], row[_YB]
            row[_MISS] = 0.0
            if row[_STOP] <= p:
                flow, total, fuel, burned = flow * scale, h0, y_f, y_b
                row[_MISS] = row[_W] - (new - row[_STOP]) / row[_Z]
            flux[MASS, m.face] = m.sign * flow
            flux[MOMENTUM, m.face] = row[_P_END] * m.area + flow * row[_U_END]
            flux[ENERGY, m.face] = m.sign * flow * total
            flux[FUEL, m.face] = m.sign * flow * fuel
            flux[BURNED, m.face] = m.sign * flow * burned
