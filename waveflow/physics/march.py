"""One engine cycle: the time step, the order of the passes, the accounts. The only kernel that Python calls.

A step of length dt, limited by the fastest wave in the smallest cell:

1. ghost cells by polynomial extrapolation, reconstruction to half time (with the layers of gas at the valves), flux through
   every inner face;
2. pipe ends and orifices with the volumes at the start of the step; volumes carried to half time (predictor);
3. pipe ends, orifices and joints with the volumes at half time: these fluxes count, for both sides alike;
4. cells, volumes and layers to the end of the step.

What leaves a pipe enters a volume as the same number, so mass of every species and energy are conserved to round-off.
"""

from __future__ import annotations

import numpy as np

from waveflow.compiled import from_bits, inner_kernel, kernel, kernel_with_memory
from waveflow.physics import layout as lay
from waveflow.physics.accounts import TURBINE, count_turbine, count_valve, enter_events, enter_volumes, write_trace
from waveflow.physics.end_blocks import END_BLOCK, FLOW_BLOCK, MEMORY, end_fluxes, gather_ends
from waveflow.physics.ends import orifice_flux
from waveflow.physics.joints import WORK_COLUMNS, joint_fluxes
from waveflow.physics.lanes import LANES
from waveflow.physics.layout import (
    BURNED,
    ENERGY,
    FUEL,
    L_PRES,
    L_RHO,
    L_VEL,
    L_YB,
    L_YF,
    MASS,
    MOMENTUM,
    R_PRES,
    R_RHO,
    R_VEL,
    R_YB,
    R_YF,
    RESERVOIR,
    V_BURNED,
    V_FUEL,
    V_MASS,
    V_PRES,
    V_TEMP,
)
from waveflow.physics.merges import MERGE_COLUMNS, merge_fluxes
from waveflow.physics.pairs import pair_fluxes
from waveflow.physics.pipes import fastest, fluxes, primitives, reconstruct, update
from waveflow.physics.slugs import follow_slugs, forget_overdrawn, part_slugs
from waveflow.physics.volumes import STEP_COLUMNS, advance, local_angle
from waveflow.physics.walls import wall_rows

OK, NOT_A_NUMBER, TOO_HOT, TOO_COLD, VOLUME_TROUBLE, JOINT_TROUBLE, STEP_COLLAPSED = range(7)

OVERRUN = 1.25  # Courant number, with the speeds at the end of a step, from which the step is taken back

_WALL_EVERY = 8  # steps between updates of the friction factor and the heat transfer coefficient (they vary slowly)
# Speed [m/s] below which the laws are not followed down: laminar friction, 64/Re, of gas at rest would be absurd some steps
# later, when the gas moves; at such speeds neither friction nor heat matters.
_SLOWEST = 3.0
_LOOK_EVERY = 16  # steps between looks at the temperature range


@inner_kernel
def curve_at(curves, row, angle):
    """Effective-area table at a local crank angle [deg], linear between its points."""
    place = angle * 4.0
    k = int(place)
    if k > lay.CURVE_POINTS - 2:
        k = lay.CURVE_POINTS - 2
    return curves[row, k] + (place - k) * (curves[row, k + 1] - curves[row, k])


@kernel
def fill_ghosts(ghosts, w):
    """Ghost cells by polynomial extrapolation of the real cells next to them.

    Pressure is kept positive, mass fractions in 0..1, and density between 0.65 and 1.5 of what the extrapolated pressure gives
    isentropically: a contact of cold and hot gas that passes the end must not be extrapolated beyond either of them. While
    a front stands so near the end that the pressure doubles within the cells used, the ghost is a copy: a polynomial through
    a jump overshoots, and gas running into a wall at more than Mach 1.8 fed on it.
    """
    for g in range(ghosts.shape[0]):
        row = ghosts[g]
        c, s, ghost = row.cell, row.step, row.ghost
        if row.count > 2:
            p0, p1 = w[lay.PRES, c], w[lay.PRES, c + s]
            p2, p3 = w[lay.PRES, c + 2 * s], w[lay.PRES, c + 3 * s]
            if abs(p0 - p1) + abs(p1 - p2) + abs(p2 - p3) > min(min(p0, p1), min(p2, p3)):
                for k in range(5):
                    w[k, ghost] = w[k, c]
                continue
        for k in range(5):
            value = row.w0 * w[k, c]
            if row.count > 1:
                value += row.w1 * w[k, c + s]
            if row.count > 2:
                value += row.w2 * w[k, c + 2 * s] + row.w3 * w[k, c + 3 * s]
            w[k, ghost] = value
        near = w[lay.PRES, c]
        pres = min(max(w[lay.PRES, ghost], 0.3 * near), 3.0 * near)
        rho = w[lay.RHO, c]
        kappa = w[lay.SOUND2, c] * rho / near
        isentropic = rho * (1.0 + (pres / near - 1.0) / kappa)
        w[lay.PRES, ghost] = pres
        w[lay.RHO, ghost] = min(max(w[lay.RHO, ghost], 0.65 * isentropic), 1.5 * isentropic)
        w[lay.YF, ghost] = min(max(w[lay.YF, ghost], 0.0), 1.0)
        w[lay.YB, ghost] = min(max(w[lay.YB, ghost], 0.0), 1.0)


@kernel
def wall_laws(geometry, w, gas, wall, switches):
    """Friction f/(2D) [1/m] and heat transfer h P/A [W/m3/K] of every cell from its present flow."""
    wall_rows(
        w[lay.RHO, 1:-1], w[lay.VEL, 1:-1], w[lay.TEMP, 1:-1], w[lay.GRUN, 1:-1], geometry[lay.HYDRAULIC, 1:-1],
        geometry[lay.ROUGH, 1:-1], geometry[lay.WETTED, 1:-1], geometry[lay.LOSS, 1:-1],
        gas.mu[0], gas.mu[1], gas.mu[2], gas.lam[0], gas.lam[1], gas.lam[2], gas.r[0], _SLOWEST,
        1.0 if switches[lay.SW_FRICTION] > 0.0 else 0.0, switches[lay.SW_PIPE_HEAT],
        wall[lay.FRICTION, 1:-1], wall[lay.HEAT, 1:-1],
    )  # fmt: skip


@inner_kernel
def _openings(end, net, angle):
    """Inward and outward opening of a pipe end now [-]."""
    if end.curve_in < 0 and end.curve_out < 0:
        return end.inward, end.outward
    local = local_angle(angle, net.cylinder[end.cylinder].phase) if end.cylinder >= 0 else angle % 720.0
    return curve_at(net.area_curves, end.curve_in, local), curve_at(net.area_curves, end.curve_out, local)


@inner_kernel
def _vapour_added(net, cylinder, mass, fuel, burned):
    """Vapour that joins a flow into the cylinder, from its species flows [kg/s], and the power it carries [W]."""
    if mass <= 0.0:
        return 0.0, 0.0
    cyl = net.cylinder[cylinder]
    added = max(0.0, (mass - fuel - burned) * cyl.fuel_per_air - fuel)
    return added, added * cyl.fuel_enthalpy


@inner_kernel
def couple(net, gas, vols, through, angle, flux, rates, counting, accounts, volume_accounts, dt, counts):
    """Ends and orifices: fluxes into the pipes, rates into the volumes; in the pass that counts also the accounts.

    through (ends, 5): flux per area out of every pipe end. counts: 1.0 or 0.0, not a constant of which each value would be
    compiled apart.
    """
    final = counts > 0.0
    rates[:] = 0.0
    for n in range(net.end.shape[0]):
        end = net.end[n]
        v = end.volume
        if not final and net.volume[v].kind == RESERVOIR:
            continue
        i = end.face
        mass, force, power = through[n, 0] * end.area, through[n, 1], through[n, 2] * end.area
        fuel, burned = through[n, 3] * end.area, through[n, 4] * end.area
        added, added_power = 0.0, 0.0
        if end.fuelled > 0.0:
            added, added_power = _vapour_added(net, end.cylinder, mass, fuel, burned)
        rates[v, 0] += mass + added
        rates[v, 1] += fuel + added
        rates[v, 2] += burned
        rates[v, 3] += power + added_power
        if final:
            flux[MASS, i] = end.sign * mass
            flux[MOMENTUM, i] = force * end.area
            flux[ENERGY, i] = end.sign * power
            flux[FUEL, i] = end.sign * fuel
            flux[BURNED, i] = end.sign * burned
            if end.role > 0:
                count_valve(end.role, accounts[end.cylinder], mass, fuel, burned, power, added, added_power, dt)
                counting[end.cylinder, end.role - 1] += mass
    for n in range(net.orifice.shape[0]):
        row = net.orifice[n]
        a, b = row.a, row.b
        area_ab, area_ba = row.area_ab, row.area_ba
        if row.curve_ab >= 0:
            local = local_angle(angle, net.cylinder[row.cylinder].phase)
            area_ab = curve_at(net.area_curves, row.curve_ab, local)
            area_ba = curve_at(net.area_curves, row.curve_ba, local)
        ma, mb = vols[a, V_MASS], vols[b, V_MASS]
        mass, power, fuel, burned = orifice_flux(
            gas,
            vols[a, V_TEMP], vols[a, V_PRES], vols[a, V_FUEL] / ma, vols[a, V_BURNED] / ma,
            vols[b, V_TEMP], vols[b, V_PRES], vols[b, V_FUEL] / mb, vols[b, V_BURNED] / mb,
            area_ab, area_ba,
        )  # fmt: skip
        added, added_power = 0.0, 0.0
        if row.fuelled > 0.0:
            added, added_power = _vapour_added(net, row.cylinder, mass, fuel, burned)
        rates[a, 0] -= mass
        rates[a, 1] -= fuel
        rates[a, 2] -= burned
        rates[a, 3] -= power
        rates[b, 0] += mass + added
        rates[b, 1] += fuel + added
        rates[b, 2] += burned
        rates[b, 3] += power + added_power
        if final and row.role == TURBINE:
            count_turbine(gas, volume_accounts[a], vols[a], vols[b, V_PRES], mass, dt)
        elif final and row.role > 0:
            count_valve(row.role, accounts[row.cylinder], mass, fuel, burned, power, added, added_power, dt)
            counting[row.cylinder, row.role - 1] += mass


@inner_kernel
def _joint_states(net, half, states):
    for n in range(net.member.shape[0]):
        m = net.member[n]
        i = m.face
        if m.sign > 0.0:
            states[n, 0], states[n, 1], states[n, 2] = half[L_RHO, i], half[L_VEL, i], half[L_PRES, i]
            states[n, 3], states[n, 4] = half[L_YF, i], half[L_YB, i]
        else:
            states[n, 0], states[n, 1], states[n, 2] = half[R_RHO, i], -half[R_VEL, i], half[R_PRES, i]
            states[n, 3], states[n, 4] = half[R_YF, i], half[R_YB, i]


@kernel_with_memory
def march(net, gas, state, rpm, start_angle, span, accounts, volume_accounts, wall_heat, trace, trace_step):
    """Run `span` degrees of crank from `start_angle` at `rpm`; the state is changed in place.

    accounts (cylinders, ACCOUNTS), volume_accounts (volumes, VOLUME_ACCOUNTS) and wall_heat (cells,) [J, into the gas]
    are added to; trace (rows, columns) receives a row every `trace_step` degrees (no rows: none). Returns (code, row,
    angle of trouble, steps, rows of trace written). Raises ValueError where a table has not the rows of the net.
    """
    cells, temps, vols, memory, slugs = state.cells, state.temp, state.volumes, state.memory, state.slugs
    geometry, switches = net.geometry, net.switches
    n = cells.shape[1]
    if wall_heat.shape[0] != n or accounts.shape[0] != net.cylinder.shape[0] or volume_accounts.shape[0] != vols.shape[0]:
        raise ValueError("accounts and wall heat need a row a cylinder, volume and cell, the idle ones included")
    w = np.zeros((lay.PRIMITIVES, n))
    w[:] = 1.0
    wall = np.zeros((lay.SOURCES, n))
    half = np.zeros((10, n + 1))
    half[:] = 1.0
    half[L_PRES] = 1e5
    half[R_PRES] = 1e5
    flux = np.zeros((lay.FIELDS, n + 1))
    face_area = np.zeros(n + 1)
    for i in range(n):
        face_area[i] = geometry[lay.AREA_L, i]
    face_area[n] = geometry[lay.AREA_R, n - 1]
    n_vol = vols.shape[0]
    mid = np.zeros((n_vol, lay.VOLUME_STATE))
    end_vols = np.zeros((n_vol, lay.VOLUME_STATE))
    rates = np.zeros((n_vol, 4))
    tally = np.zeros((n_vol, STEP_COLUMNS))
    n_cyl = net.cylinder.shape[0]
    valve_flow = np.zeros((n_cyl, 2))
    n_end = net.end.shape[0]
    ends = np.zeros(((n_end + LANES - 1) // LANES, END_BLOCK))
    ends[:] = 1.0
    flow = np.zeros((2, FLOW_BLOCK))
    flow[:] = 1.0
    lanes = np.zeros((2, LANES + 1), np.int64)
    openings, through, end_memory = np.zeros((n_end, 2)), np.zeros((n_end, 5)), np.zeros((n_end, MEMORY))
    every, changing = np.zeros(n_end, np.bool_), np.zeros(n_end, np.bool_)
    for k in range(n_end):
        end_memory[k, 0] = end_memory[k, 1] = 1.0
        every[k] = True
        changing[k] = net.volume[net.end[k].volume].kind != RESERVOIR
    joint_state = np.zeros((net.member.shape[0], 5))
    joint_last = np.zeros((net.joint.shape[0], 2))
    pairs = net.pairs.copy()
    merge_work, merge_last = np.zeros((net.member.shape[0], MERGE_COLUMNS)), np.zeros(net.joint.shape[0])
    pending = np.zeros(net.joint.shape[0], np.bool_)
    work = np.zeros((max(net.member.shape[0], 1), WORK_COLUMNS))

    degrees_per_second = 6.0 * rpm
    duration = span / degrees_per_second
    piston_speed = 0.0
    time = 0.0
    steps = 0
    written = 0
    next_row = 0.0
    primitives(cells, temps, geometry, gas, w, wall)
    smallest = duration * 1e-9
    saved_cells = np.zeros((lay.FIELDS, n))
    saved_temps = np.zeros(n)
    books, volume_books = accounts.copy(), volume_accounts.copy()
    share = 1.0  # of the usual time step: halved when a step had to be taken back
    rate = from_bits(fastest(wall[lay.RATE]))
    while time < duration:
        if not (rate < 1e300):
            return NOT_A_NUMBER, _first_bad(wall[lay.RATE]), start_angle + time * degrees_per_second, steps, written
        dt = share * min(switches[lay.SW_CFL] / rate, switches[lay.SW_MAX_DEGREES] / degrees_per_second)
        if dt < smallest:
            return STEP_COLLAPSED, _fastest_cell(wall[lay.RATE]), start_angle + time * degrees_per_second, steps, written
        left = duration - time
        if dt >= left:
            dt = left
        elif dt > 0.5 * left:
            dt = 0.5 * left
        angle = start_angle + time * degrees_per_second
        degrees = dt * degrees_per_second
        if steps % _WALL_EVERY == 0 and (switches[lay.SW_FRICTION] > 0.0 or switches[lay.SW_PIPE_HEAT] > 0.0):
            wall_laws(geometry, w, gas, wall, switches)
        for i in range(n):
            saved_temps[i] = temps[i]
        _copy(accounts, books)
        _copy(volume_accounts, volume_books)
        fill_ghosts(net.ghost, w)
        reconstruct(w, geometry, wall, half, dt)
        middle = angle + 0.5 * degrees
        for k in range(n_end):
            openings[k, 0], openings[k, 1] = _openings(net.end[k], net, middle)
        part_slugs(net, w, cells, slugs, openings, through, dt, half)
        fluxes(half, face_area, gas, flux)
        gather_ends(net, gas, half, ends)
        end_fluxes(net, gas, vols, ends, openings, changing, end_memory, flow, lanes, through)
        couple(net, gas, vols, through, middle, flux, rates, valve_flow, accounts, volume_accounts, dt, 0.0)
        if n_cyl > 0:
            piston_speed = 4.0 * net.cylinder[0].crank * rpm / 60.0
        advance(net, gas, vols, vols, rates, memory, mid, tally, angle, 0.5 * degrees, 0.5 * dt, piston_speed)
        valve_flow[:] = 0.0
        end_fluxes(net, gas, mid, ends, openings, every, end_memory, flow, lanes, through)
        couple(net, gas, mid, through, middle, flux, rates, valve_flow, accounts, volume_accounts, dt, 1.0)
        if net.joint.shape[0] > 0:
            pending[:] = True
            pair_fluxes(net, gas, pairs, half, flux, pending)
            _joint_states(net, half, joint_state)
            merge_fluxes(gas, net.joint, net.member, joint_state, flux, merge_work, merge_last, pending)
            failed = joint_fluxes(gas, net.joint, net.member, joint_state, flux, work, joint_last, pending)
            if failed >= 0:
                return JOINT_TROUBLE, failed, angle, steps, written
        advance(net, gas, vols, mid, rates, memory, end_vols, tally, angle, degrees, dt, piston_speed)
        update(cells, saved_cells, flux, geometry, wall, dt)
        primitives(cells, temps, geometry, gas, w, wall)
        rate = from_bits(fastest(wall[lay.RATE]))
        outrun = not (rate * dt < OVERRUN) and share > 1e-3
        if forget_overdrawn(net, cells, slugs) or outrun:
            # a cell ran empty, or waves became so fast that they outran it: take the step back and go on in smaller ones;
            # or layers at a valve gave more than they had: take it back and go on without them
            for k in range(lay.FIELDS):
                for i in range(1, n - 1):
                    cells[k, i] = saved_cells[k, i]
            for i in range(n):
                temps[i] = saved_temps[i]
            _copy(books, accounts)
            _copy(volume_books, volume_accounts)
            primitives(cells, temps, geometry, gas, w, wall)
            rate = from_bits(fastest(wall[lay.RATE]))
            if outrun:
                share *= 0.5
            continue
        share = min(1.0, 1.5 * share)
        follow_slugs(net, gas, cells, w, vols, through, dt, slugs)
        for i in range(n):
            wall_heat[i] += dt * wall[lay.SRC_ENERGY, i]
        enter_volumes(net, mid, rates, tally, volume_accounts, accounts, dt, angle, degrees)
        for v in range(n_vol):
            for k in range(vols.shape[1]):
                vols[v, k] = end_vols[v, k]
            if not (vols[v, V_PRES] > 0.0 and vols[v, V_TEMP] < 1.2 * gas.t_high and vols[v, V_MASS] > 0.0):
                return VOLUME_TROUBLE, v, angle, steps, written
        enter_events(net, vols, memory, accounts, angle, degrees)
        time += dt
        steps += 1
        if steps % _LOOK_EVERY == 0:
            for i in range(n):
                if temps[i] * 1e3 > gas.t_high:
                    return TOO_HOT, i, angle, steps, written
                if temps[i] * 1e3 < gas.t_low:
                    return TOO_COLD, i, angle, steps, written
        if trace.shape[0] > 0 and written < trace.shape[0] and time * degrees_per_second >= next_row - 1e-9:
            write_trace(net, w, vols, valve_flow, trace[written], angle + degrees)
            written += 1
            next_row += trace_step
    return OK, -1, start_angle + span, steps, written


@inner_kernel
def _first_bad(rate):
    for i in range(rate.shape[0]):
        if not (rate[i] < 1e300):
            return i
    return 0


@inner_kernel
def _copy(table, to):
    for i in range(table.shape[0]):
        for k in range(table.shape[1]):
            to[i, k] = table[i, k]


@inner_kernel
def _fastest_cell(rate):
    at = 0
    for i in range(rate.shape[0]):
        if rate[i] > rate[at]:
            at = i
    return at
