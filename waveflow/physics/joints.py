"""Several pipes meeting: merges, splits and sudden steps of area, with no volume of their own.

Unknown is one static pressure p_J. Every member whose gas, brought to rest, would exceed it feeds the joint (a supplier):
its end lies at p_J, or is sonic if p_J is too low for that. All others are fed by it (receivers): isentropic from the
suppliers' mixed total enthalpy and a stagnation pressure

    p0_k = p_J + rise_k (1 - max(0, 1 - u_k/u_s)^2) (1 - (1 - q_k)^2)

where rise_k is the mass-weighted dynamic pressure rise of those suppliers that face the receiver (a merge has an upstream
and a downstream side: a stream recovers nothing by turning back into a neighbour's pipe), u_s their mass-weighted and u_k
the receiver's own speed, q_k the receiver's share of the flow. The first bracket is the Borda-Carnot loss of a sudden
expansion, 1/2 rho (u_s - u_k)^2, for compressible flow (from memory; in any fluid-mechanics handbook); the second makes a
receiver of little flow recover nothing of the dynamic pressure (a choice; nothing jumps when a flow reverses). Two equal
pipes joined are transparent. A receiver narrower than the stream that faces it loses K = c (1 - A_k/A_s), times that
stream's share of the supply, of its own dynamic pressure (vena contracta; c = 0.5 for a sharp edge, from memory), applied as an inward opening of 1/sqrt(1 + K).
A receiver may be sonic. p_J follows from the balance of mass; energy and species are shared in proportion to mass, to
round-off. Stagnation pressure never rises: p0_k is at most the suppliers' mean.
"""

from __future__ import annotations

import math

from waveflow.compiled import kernel
from waveflow.physics.ends import (
    arrested_pressure,
    moving_temperature,
    sonic_entry,
    sonic_pressure,
    throat_from_rest,
    velocity_drop,
    wave_density,
)
from waveflow.physics.layout import BURNED, ENERGY, FUEL, MASS, MOMENTUM
from waveflow.physics.thermo import (
    energy,
    gas_constant,
    heat_capacity,
    mixture,
    temperature_of_enthalpy,
)

# columns of the work table, a row a member
_RHO, _VEL, _PRES, _YF, _YB, _KAPPA, _STOP, _FLOW, _P_END, _RHO_END, _U_END, _TOTAL = range(12)
WORK_COLUMNS = 12


@kernel
def receive(c, r, h0, temp0, p_joint, rise, speed_s, area_s, supply, contraction, area, rho, vel, pres, kappa):
    """Inflow into one receiver: (mass flux kg/m2/s, p, rho, speed into the pipe).

    Root in the speed w into the pipe: what the wave relation allows at an end pressure against what the joint's
    stagnation pressure drives. `rise` is the suppliers' dynamic pressure rise [Pa], speed_s and area_s their speed and
    total stream area, `supply` their mass flow [kg/s].
    """
    rho0 = p_joint / (r * temp0)
    stop = arrested_pressure(rho, vel, pres, kappa)
    psi = 1.0
    if area < area_s:
        psi = 1.0 / math.sqrt(1.0 + contraction * (1.0 - area / area_s))
    low, high = stop, p_joint + rise
    z = rho * math.sqrt(kappa * pres / rho)
    p = low + (high - low) * 0.5
    # first guess: incompressible, linear wave: psi^2 2 rho0 (p_top - stop - z w) = rho0^2 w^2
    q = psi * psi * 2.0 * max(high - stop, 0.0)
    b = psi * psi * 2.0 * z
    w = 2.0 * q / (b + math.sqrt(b * b + 4.0 * rho0 * q) + 1e-300)
    p = min(max(stop + z * w, low), high)
    f = 0.0
    slope = -(rho0 / z + psi * psi * rho0 / max(rho0 * w, 1e-6))
    rho_e = rho0
    last = p
    for k in range(40):
        w_new = velocity_drop(p, rho, pres, kappa) - vel
        short = max(0.0, 1.0 - max(w_new, 0.0) / speed_s)
        rest = max(0.0, 1.0 - rho0 * max(w_new, 0.0) * area / supply)
        p0 = p_joint + rise * (1.0 - short * short) * (1.0 - rest * rest)
        flux, p_t, temp_t, vel_t = throat_from_rest(c, r, temp0, p0, p)
        temp_e = moving_temperature(c, r, h0, temp0, w_new)
        rho_e = p / (r * temp_e)
        f_new = psi * flux - rho_e * w_new
        if k > 0 and p != last:
            trial = (f_new - f) / (p - last)
            if trial < 0.0:
                slope = trial
        f = f_new
        w = w_new
        if f > 0.0:
            low = p
        else:
            high = p
        new = p - f / slope
        if not (low <= new <= high):
            new = 0.5 * (low + high)
        last = p
        p = new
        if abs(new - last) < 1e-12 * last:
            break
    temp_e = last / (r * rho_e)
    if w * w > (1.0 + r / heat_capacity(c, temp_e)) * r * temp_e:
        flux = rho_e * w
        last, rho_e, w = sonic_entry(c, r, temp0, flux)
    return rho_e * w, last, rho_e, w


@kernel
def _balance(gas, joint, member, work, p_joint):
    """Mass flow in minus out [kg/s] at the assumed joint pressure; fills the work table."""
    first, count = joint.first, joint.count
    supply = 0.0
    enthalpy = 0.0
    fuel = 0.0
    burned = 0.0
    facing = (0.0, 0.0)  # mass flow of suppliers on either side
    rises = (0.0, 0.0)
    speeds = (0.0, 0.0)
    for k in range(count):
        row = work[k]
        area = member[first + k].area
        up = 1.0 if member[first + k].side == 0 else 0.0
        if row[_STOP] > p_joint:
            rho, vel, pres, kappa = row[_RHO], row[_VEL], row[_PRES], row[_KAPPA]
            sound = math.sqrt(kappa * pres / rho)
            if vel >= sound:
                mach = vel / sound
                shock = pres * (1.0 + 2.0 * kappa / (kappa + 1.0) * (mach * mach - 1.0))
                p = p_joint if p_joint > shock else pres
            else:
                p = max(p_joint, sonic_pressure(rho, vel, pres, kappa))
            rho_e = wave_density(p, rho, pres, kappa)
            u = vel - velocity_drop(p, rho, pres, kappa)
            c = mixture(gas, row[_YF], row[_YB])
            r = gas_constant(gas, row[_YF], row[_YB])
            temp = p / (r * rho_e)
            total = energy(c, temp) + r * temp + 0.5 * u * u
            mass = rho_e * u * area
            m2 = min(u * u / (kappa * r * temp), 1.0)
            row[_P_END], row[_RHO_END], row[_U_END], row[_TOTAL], row[_FLOW] = p, rho_e, u, total, mass
            supply += mass
            enthalpy += mass * total
            fuel += mass * row[_YF]
            burned += mass * row[_YB]
            gain = mass * p_joint * ((1.0 + 0.5 * (kappa - 1.0) * m2) ** (kappa / (kappa - 1.0)) - 1.0)
            facing = (facing[0] + up * mass, facing[1] + (1.0 - up) * mass)
            rises = (rises[0] + up * gain, rises[1] + (1.0 - up) * gain)
            speeds = (speeds[0] + up * mass * u, speeds[1] + (1.0 - up) * mass * u)
    if supply <= 0.0:
        # nothing flows in: every member stands at its own pressure
        for k in range(count):
            if work[k, _STOP] <= p_joint:
                work[k, _FLOW] = 0.0
                work[k, _P_END] = work[k, _STOP]
                work[k, _U_END] = 0.0
        return -1e-300, 0.0, 0.0, 0.0, 0.0
    h0 = enthalpy / supply
    y_f = fuel / supply
    y_b = burned / supply
    c = mixture(gas, y_f, y_b)
    r = gas_constant(gas, y_f, y_b)
    temp0 = temperature_of_enthalpy(c, r, h0, 300.0 if h0 < 0.0 else 800.0)
    rho0 = p_joint / (r * temp0)
    taken = 0.0
    for k in range(count):
        row = work[k]
        if row[_STOP] <= p_joint:
            area = member[first + k].area
            other = 1 - member[first + k].side
            rise = rises[other] / supply
            speed = max(speeds[other] / max(facing[other], 1e-300), 1e-9)
            area_s = facing[other] / (rho0 * speed)
            flux, p, rho_e, w = receive(
                c, r, h0, temp0, p_joint, rise, speed, area_s, supply, joint.contraction * facing[other] / supply, area,
                row[_RHO], row[_VEL], row[_PRES], row[_KAPPA],
            )  # fmt: skip
            row[_P_END], row[_RHO_END], row[_U_END], row[_FLOW] = p, rho_e, -w, -flux * area
            taken += flux * area
    return supply - taken, supply, h0, y_f, y_b


@kernel
def joint_fluxes(gas, joints, member, half_state, flux, work):
    """Write the flux through the end faces of all members of all joints.

    half_state (members, 5): rho, outward velocity, pressure, fuel and burned fractions next to each member's end.
    flux (FIELDS, n+1), times area, in +x direction. work: (most members, WORK_COLUMNS) scratch. Returns the row of a
    joint whose balance was not found, else -1.
    """
    failed = -1
    for j in range(joints.shape[0]):
        joint = joints[j]
        first, count = joint.first, joint.count
        low = 1e300
        high = 0.0
        guess = 0.0
        weight = 0.0
        for k in range(count):
            row = work[k]
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
        p = guess / weight
        supply, h0, y_f, y_b = 0.0, 0.0, 0.0, 0.0
        if high - low < 1e-12 * high:
            for k in range(count):
                work[k, _FLOW] = 0.0
                work[k, _U_END] = 0.0
                work[k, _P_END] = work[k, _STOP]
        else:
            slope = -weight
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
                if not (low < new < high):
                    new = 0.5 * (low + high)
                last = p
                if abs(f) <= 1e-10 * weight * p or abs(new - p) <= 1e-12 * p:
                    done = True
                    break
                p = new
            if not done and high - low > 1e-9 * p:
                failed = j
        # receivers take exactly what the suppliers gave
        taken = 0.0
        for k in range(count):
            if work[k, _FLOW] < 0.0:
                taken -= work[k, _FLOW]
        scale = supply / taken if taken > 0.0 else 0.0
        for k in range(count):
            row = work[k]
            m = member[first + k]
            flow = row[_FLOW]
            if flow > 0.0 and scale > 0.0:
                total, fuel, burned, u, p_end = row[_TOTAL], row[_YF], row[_YB], row[_U_END], row[_P_END]
            elif flow < 0.0:
                flow *= scale
                total, fuel, burned, u, p_end = h0, y_f, y_b, row[_U_END], row[_P_END]
            else:
                flow, total, fuel, burned, u, p_end = 0.0, 0.0, 0.0, 0.0, 0.0, row[_STOP]
            flux[MASS, m.face] = m.sign * flow
            flux[MOMENTUM, m.face] = p_end * m.area + flow * u
            flux[ENERGY, m.face] = m.sign * flow * total
            flux[FUEL, m.face] = m.sign * flow * fuel
            flux[BURNED, m.face] = m.sign * flow * burned
    return failed
