"""Several pipes meeting: merges, splits and sudden steps of area, with no volume of their own.

Unknown is one static pressure p_J. Every member whose gas, brought to rest, would exceed it feeds the joint (a supplier):
its end lies at p_J, or is sonic if p_J is too low for that. All others are fed by it (receivers): isentropic from the
suppliers' mixed total enthalpy and a stagnation pressure

    p0_k = p_J + rise_k (1 - max(0, 1 - u_k/u_s)^2) (1 - (1 - s_k)^2)

where rise_k is the dynamic pressure rise of the mixed stream of those suppliers that face the receiver (a merge has an
upstream and a downstream side: a stream recovers nothing by turning back into a neighbour's pipe): their mass-weighted
mean, times mean(u)^2 / mean(u^2), since streams of unequal speed keep their momentum while they mix, not their dynamic
pressure. u_s is their mass-weighted and u_k the receiver's own speed, s_k = (p_J - stop_k)/rise_k, at most 1, how far p_J
lies above the pressure stop_k of the receiver's gas at rest. The first bracket is the Borda-Carnot loss of a sudden
expansion, 1/2 rho (u_s - u_k)^2, for compressible flow (from memory; in any fluid-mechanics handbook); the second makes a
receiver whose gas is only just overcome recover nothing of the dynamic pressure (a choice; nothing jumps when a flow
reverses, and since it asks for a pressure, not for a flow, the receiver's flow has one answer). Two equal pipes
joined are transparent.

A pipe may meet the joint at an angle d from its axis. A stream then brings only cos(3/4 d) of its momentum across, which
costs rho u_s u_k (1 - cos 3/4 d) of stagnation pressure: in incompressible flow the loss of a branch becomes
1 + x^2 - 2 x cos(3/4 d) dynamic heads of the supplier, x = u_k/u_s, the form of W. H. Hager, "An Approximate Treatment of
Flow in Branches and Bends", Proc. Instn Mech. Engrs 198C, 1984 (three quarters of the angle since the stream has begun to
turn before the branch; from memory). Converging and dividing flows share it, so nothing jumps when a flow reverses. It is
compared with the tee and wye coefficients of Crane Co., *Flow of Fluids*, TP-410, 2009, in the tests.

A receiver narrower than the stream that faces it loses K = c (1 - A_k/A_s), times that stream's share of the supply, of its
own dynamic pressure (vena contracta; c = 0.5 for a sharp edge, from memory), applied as an inward opening of
1/sqrt(1 + K). A receiver may be sonic. p_J follows from the balance of mass; energy and species are shared in proportion
to mass, to round-off. Stagnation pressure never rises: p0_k is at most the suppliers' mean.
"""

from __future__ import annotations

import math

from waveflow.compiled import inner_kernel, kernel
from waveflow.physics.ends import arrested_pressure, sonic_pressure, velocity_drop, wave
from waveflow.physics.layout import BURNED, ENERGY, FUEL, MASS, MOMENTUM
from waveflow.physics.thermo import (
    energy,
    gas_constant,
    heat_capacity,
    mixture,
    temperature_of_enthalpy,
)

# columns of the work table, a row a member
_RHO, _VEL, _PRES, _YF, _YB, _KAPPA, _STOP, _FLOW, _P_END, _RHO_END, _U_END, _TOTAL, _SONIC = range(13)
WORK_COLUMNS = 13

_SLOW = 0.02  # squared speed over enthalpy below which one Newton step gives a stream's temperature to 1e-13


@inner_kernel
def dynamic_share(kappa, m2):
    """Dynamic pressure over static pressure, p0/p - 1, at the squared Mach number m2 (series of the isentropic relation,
    0.05 % at sonic speed)."""
    return 0.5 * kappa * m2 * (1.0 + 0.25 * m2 * (1.0 + (2.0 - kappa) / 6.0 * m2))


@inner_kernel
def receive(c, r, h0, temp0, p_joint, rise, speed_s, turned, loss, stop, rho, vel, pres, kappa, w):
    """Inflow into one receiver: (p, rho, speed into the pipe).

    Root in the speed into the pipe, from the guess `w`: what the wave relation allows against what the joint's stagnation
    pressure drives. `rise` is the dynamic pressure rise [Pa] and speed_s the speed of the suppliers that face it, `turned`
    the share of their momentum lost in turning, `loss` its own loss coefficient, `stop` the pressure of its gas brought to
    rest [Pa].
    """
    rho0 = p_joint / (r * temp0)
    per_z = 1.0 / math.sqrt(rho * kappa * pres)
    cp = heat_capacity(c, temp0) + r
    kappa0 = cp / (cp - r)
    top = math.sqrt(2.0 * kappa0 / (kappa0 + 1.0) * r * temp0)  # sonic speed of the stream
    rest = max(0.0, 1.0 - (p_joint - stop) / rise) if rise > 0.0 else 0.0
    turning = 2.0 * rise * turned / speed_s  # stagnation pressure lost per receiver's speed [Pa s/m]
    low, high = 0.0, top
    w = min(max(w, 1e-13 * top), top)
    p, rho_e = p_joint, rho0
    last_w, last_miss = w, 0.0
    for k in range(40):
        temp_e = temp0 - 0.5 * w * w / cp
        for _ in range(1 if w * w < _SLOW * cp * temp0 else 2):
            cv = heat_capacity(c, temp_e)
            temp_e += (h0 - 0.5 * w * w - energy(c, temp_e) - r * temp_e) / (cv + r)
        kappa_e = 1.0 + r / cv
        short = max(0.0, 1.0 - w / speed_s)
        p0 = p_joint + rise * (1.0 - short * short) * (1.0 - rest * rest)
        p0 /= 1.0 + turning * w / p0  # as p0 - turning w where that is small, and never negative
        p = p0 / (1.0 + (1.0 + loss) * dynamic_share(kappa_e, w * w / (kappa_e * r * temp_e)))
        rho_e = p / (r * temp_e)
        miss = w - velocity_drop(p, rho, pres, kappa) + vel
        if miss < 0.0:
            if w >= top:
                break  # sonic: the pipe would take more than a stream can bring
            low = w
        else:
            high = w
        slope = (miss - last_miss) / (w - last_w) if k > 0 and w != last_w else 0.0
        if not (0.3 < slope < 30.0):  # no secant yet, or none to trust
            gain = rise * 2.0 * short / speed_s * (1.0 - rest * rest)
            slope = 1.0 + per_z * max((1.0 + loss) * rho_e * w + turning - gain, -0.5 * rho0 * top)
        last_w, last_miss = w, miss
        new = w - miss / slope
        if new >= high:
            new = high if high == top and k == 0 else 0.5 * (low + high)
        elif new <= low:
            new = 0.5 * (low + high)
        if abs(new - w) < 1e-9 * w + 1e-15 * top:
            break
        w = new
    return p, rho_e, w


@inner_kernel
def facing_stream(supply, facing, speed, square, across, turn, widest, contraction):
    """The stream that faces a receiver: (factor on the sum of its dynamic pressure rises, its speed, share of its momentum lost
    in turning, loss coefficient of a narrower receiver).

    supply: what all suppliers bring [kg/s]; facing: what those facing it do; speed, square, across: sums over these of mass
    flow times speed, its square, and speed times turned share; turn: the receiver's share; widest: its area times the density
    of the stream at rest [kg/m].
    """
    share, turned = 1.0 / supply, 0.0
    if speed > 0.0:
        share *= speed * speed / (facing * square)
        turned = 1.0 - turn * across / speed
    speed = max(speed / max(facing, 1e-300), 1e-9)
    narrower = 1.0 - widest * speed / max(facing, 1e-300)
    return share, speed, turned, contraction * facing / supply * narrower if narrower > 0.0 else 0.0


@inner_kernel
def _balance(gas, joint, member, work, p_joint):
    """(mass flow in minus out [kg/s], supply [kg/s], mixed total enthalpy, fuel and burned fractions) at the assumed joint
    pressure; fills the work table."""
    first, count = joint.first, joint.count
    supply, enthalpy, fuel, burned = 0.0, 0.0, 0.0, 0.0
    facing_up, rise_up, speed_up, square_up, across_up = 0.0, 0.0, 0.0, 0.0, 0.0  # suppliers on the upstream side
    facing_down, rise_down, speed_down, square_down, across_down = 0.0, 0.0, 0.0, 0.0, 0.0  # and on the downstream side
    warm = 0.0
    for k in range(count):
        row = work[first + k]
        if row[_STOP] <= p_joint:
            continue
        rho, vel, pres, kappa = row[_RHO], row[_VEL], row[_PRES], row[_KAPPA]
        c = mixture(gas, row[_YF], row[_YB])
        r = gas_constant(gas, row[_YF], row[_YB])
        sound = math.sqrt(kappa * pres / rho)
        if vel >= sound:
            mach = vel / sound
            shock = pres * (1.0 + 2.0 * kappa / (kappa + 1.0) * (mach * mach - 1.0))
            p = p_joint if p_joint > shock else pres
        else:
            p = max(p_joint, row[_SONIC])
        rho_e, drop = wave(p, rho, pres, kappa)
        u = vel - drop
        temp = p / (r * rho_e)
        total = energy(c, temp) + r * temp + 0.5 * u * u
        mass = rho_e * u * member[first + k].area
        row[_P_END], row[_RHO_END], row[_U_END], row[_TOTAL], row[_FLOW] = p, rho_e, u, total, mass
        supply += mass
        enthalpy += mass * total
        fuel += mass * row[_YF]
        burned += mass * row[_YB]
        warm += mass * (temp + 0.5 * u * u / (heat_capacity(c, temp) + r))
        gain = mass * p_joint * dynamic_share(kappa, min(u * u / (kappa * r * temp), 1.0))
        if member[first + k].side == 0:
            facing_up += mass
            rise_up += gain
            speed_up += mass * u
            square_up += mass * u * u
            across_up += mass * u * member[first + k].turn
        else:
            facing_down += mass
            rise_down += gain
            speed_down += mass * u
            square_down += mass * u * u
            across_down += mass * u * member[first + k].turn
    if supply <= 0.0:
        # nothing flows in: every member stands at its own pressure
        for k in range(count):
            if work[first + k, _STOP] <= p_joint:
                work[first + k, _FLOW] = 0.0
                work[first + k, _P_END] = work[first + k, _STOP]
                work[first + k, _U_END] = 0.0
        return -1e-300, 0.0, 0.0, 0.0, 0.0
    h0 = enthalpy / supply
    y_f = fuel / supply
    y_b = burned / supply
    c = mixture(gas, y_f, y_b)
    r = gas_constant(gas, y_f, y_b)
    temp0 = temperature_of_enthalpy(c, r, h0, warm / supply)
    rho0 = p_joint / (r * temp0)
    taken = 0.0
    for k in range(count):
        row = work[first + k]
        if row[_STOP] > p_joint:
            continue
        m = member[first + k]
        area = m.area
        if m.side == 0:
            share, speed, turned, loss = facing_stream(
                supply, facing_down, speed_down, square_down, across_down, m.turn, area * rho0, joint.contraction
            )
            rise = rise_down * share
        else:
            share, speed, turned, loss = facing_stream(
                supply, facing_up, speed_up, square_up, across_up, m.turn, area * rho0, joint.contraction
            )
            rise = rise_up * share
        guess = -row[_U_END]
        if guess <= 0.0:
            guess = (p_joint - row[_STOP]) / math.sqrt(row[_RHO] * row[_KAPPA] * row[_PRES])
        p, rho_e, w = receive(
            c, r, h0, temp0, p_joint, rise, speed, turned, loss, row[_STOP], row[_RHO], row[_VEL], row[_PRES], row[_KAPPA],
            guess,
        )  # fmt: skip
        row[_P_END], row[_RHO_END], row[_U_END], row[_FLOW] = p, rho_e, -w, -rho_e * w * area
        taken += rho_e * w * area
    return supply - taken, supply, h0, y_f, y_b


@kernel
def joint_fluxes(gas, joints, member, half_state, flux, work, last_time, pending):
    """Write the flux through the end faces of all members of the joints that are `pending` (joints,).

    half_state (members, 5): rho, outward velocity, pressure, fuel and burned fractions next to each member's end.
    flux (FIELDS, n+1), times area, in +x direction. work: (members, WORK_COLUMNS) scratch that keeps
    the last speeds, where a receiver's search starts. last_time (joints, 2):
    what the first guess missed and the slope of the balance in the step before, where the search starts. Returns the row
    of a joint whose balance was not found, else -1.
    """
    failed = -1
    for j in range(joints.shape[0]):
        if not pending[j]:
            continue
        joint = joints[j]
        first, count = joint.first, joint.count
        low = 1e300
        high = 0.0
        guess = 0.0
        weight = 0.0
        for k in range(count):
            row = work[first + k]
            state = half_state[first + k]
            yf, yb = state[3], state[4]
            r = gas_constant(gas, yf, yb)
            kappa = 1.0 + r / heat_capacity(mixture(gas, yf, yb), state[2] / (r * state[0]))
            row[_RHO], row[_VEL], row[_PRES], row[_YF], row[_YB], row[_KAPPA] = (
                state[0], state[1], state[2], yf, yb, kappa
            )  # fmt: skip
            row[_STOP] = arrested_pressure(state[0], state[1], state[2], kappa)
            low = min(low, row[_STOP])
            high = max(high, row[_STOP])
            admittance = member[first + k].area * math.sqrt(state[0] / (kappa * state[2]))
            guess += admittance * row[_STOP]
            weight += admittance
        for k in range(count):
            # where its gas would be sonic; a slow stream is far from that unless the joint's pressure may lie far below its own
            row = work[first + k]
            slow = row[_VEL] < 0.2 * math.sqrt(row[_KAPPA] * row[_PRES] / row[_RHO]) and low > 0.7 * row[_PRES]
            row[_SONIC] = 0.0 if slow else sonic_pressure(row[_RHO], row[_VEL], row[_PRES], row[_KAPPA])
        p = guess / weight
        supply, h0, y_f, y_b = 0.0, 0.0, 0.0, 0.0
        if high - low < 1e-12 * high:
            for k in range(count):
                work[first + k, _FLOW] = 0.0
                work[first + k, _U_END] = 0.0
                work[first + k, _P_END] = work[first + k, _STOP]
        else:
            p += last_time[j, 0]
            if not (low < p < high):
                p = 0.5 * (low + high)
            spread = high - low
            slope = last_time[j, 1] if last_time[j, 1] < 0.0 else -weight
            last = p
            f = 0.0
            done = False
            for it in range(60):
                f_new, supply, h0, y_f, y_b = _balance(gas, joint, member, work, p)
                if it > 0 and p != last:
                    trial = (f_new - f) / (p - last)
                    if trial < 0.0:
                        slope = trial
                f = f_new
                if f > 0.0:
                    low = p
                else:
                    high = p
                new = p - f / slope
                if not (low < new < high) or it > 25:
                    new = 0.5 * (low + high)
                last = p
                if abs(f) <= weight * min(1e-9 * p, 1e-7 * spread) or abs(new - p) <= min(1e-11 * p, 1e-9 * spread):
                    done = True
                    break
                p = new
            if not done and high - low > 1e-9 * p:
                failed = j
            last_time[j, 0] = p - guess / weight
            last_time[j, 1] = slope
        # receivers take exactly what the suppliers gave; where the balance jumps, their waves are shortened to that
        taken = 0.0
        for k in range(count):
            if work[first + k, _FLOW] < 0.0:
                taken -= work[first + k, _FLOW]
        scale = supply / taken if taken > 0.0 else 0.0
        for k in range(count):
            row = work[first + k]
            m = member[first + k]
            flow = row[_FLOW]
            if flow > 0.0 and scale > 0.0:
                total, fuel, burned, u, p_end = row[_TOTAL], row[_YF], row[_YB], row[_U_END], row[_P_END]
            elif flow < 0.0:
                flow *= scale
                total, fuel, burned, u, p_end = h0, y_f, y_b, row[_U_END], row[_P_END]
                if abs(scale - 1.0) > 1e-3:
                    u *= scale
                    p_end = row[_STOP] + scale * (p_end - row[_STOP])
            else:
                flow, total, fuel, burned, u, p_end = 0.0, 0.0, 0.0, 0.0, 0.0, row[_STOP]
            flux[MASS, m.face] = m.sign * flow
            flux[MOMENTUM, m.face] = p_end * m.area + flow * u
            flux[ENERGY, m.face] = m.sign * flow * total
            flux[FUEL, m.face] = m.sign * flow * fuel
            flux[BURNED, m.face] = m.sign * flow * burned
    return failed
