"""Well-stirred volumes: reservoirs, plenums, cylinders. First law of an open system, perfect mixing.

    dm_k/dt = sum of the species flows,   dU/dt = sum(m h0) - p dV/dt + Q + ideal heat

U holds the formation energies, so burning is a change of species at constant U: the heat release is a difference of
energies, never a second heating-value term. A step is the explicit midpoint rule: one predictor to half time with the
flows of the start, one corrector with the flows at half time; piston work and wall heat of a step are the same numbers in
the balance and in the accounts.
"""

from __future__ import annotations

import math

import numpy as np

from waveflow.compiled import inner_kernel, kernel
from waveflow.physics.layout import (
    CYLINDER,
    M_BURN_AIR,
    M_BURN_FUEL,
    M_REF_P,
    M_REF_T,
    M_REF_V,
    RESERVOIR,
    V_BURNED,
    V_ENERGY,
    V_FUEL,
    V_MASS,
    V_PRES,
    V_TEMP,
    V_VOL,
)
from waveflow.physics.thermo import gas_constant, mixture, temperature_of_energy
from waveflow.physics.vectors import exp2, log2
from waveflow.physics.walls import hohenberg, woschni, woschni_speed

# what a step of a volume needs to know, a row a volume
Q_WALL, Q_RELEASE, Q_WORK, Q_FUEL_USED, Q_AIR_USED = range(5)
STEP_COLUMNS = 5

_SAME_ANGLE = 1e-9  # [deg] a step that ends this close before an event has reached it


@kernel
def cylinder_volume(cyl, angle):
    """Volume [m3] at the local crank angle [deg]: slider-crank with pin offset."""
    theta = math.radians(angle)
    a, l, e = cyl.crank, cyl.rod, cyl.offset
    side = a * math.sin(theta) - e
    travel = math.sqrt((l + a) * (l + a) - e * e) - a * math.cos(theta) - math.sqrt(l * l - side * side)
    return cyl.clearance + 0.25 * math.pi * cyl.bore * cyl.bore * travel


@kernel
def local_angle(angle, phase):
    """Crank angle of one cylinder's clock, 0..720 [deg]."""
    since = angle - phase
    local = since - 720.0 * np.floor(since / 720.0)
    return max(local, 0.0) if local < 720.0 else 0.0


@inner_kernel
def burned_share(burn, span, since):
    """Burned fraction `since` degrees after the start of the burn, by linear interpolation in the table."""
    if since <= 0.0:
        return 0.0
    if since >= span:
        return 1.0
    place = since / span * (burn.shape[0] - 1)
    k = int(place)
    return burn[k] + (place - k) * (burn[k + 1] - burn[k])


@inner_kernel
def burn_step(net, cyl, memory, state, angle, degrees):
    """(fuel kg, air kg, ideal heat J) burned while the clock goes on by `degrees` from local `angle`."""
    if cyl.burn_span <= 0.0:
        return 0.0, 0.0, 0.0
    since = (angle - cyl.burn_start) % 720.0
    starting = since + degrees >= 720.0 - _SAME_ANGLE or since < _SAME_ANGLE
    if since >= cyl.burn_span and not starting:
        return 0.0, 0.0, 0.0
    if starting:
        # the burn starts within this step: note what there is to burn
        air = state[V_MASS] - state[V_FUEL] - state[V_BURNED]
        fuel = state[V_FUEL]
        if cyl.air_fuel > 0.0:
            fuel = min(fuel, air / cyl.air_fuel)
            air = fuel * cyl.air_fuel
        memory[M_BURN_AIR] = max(air, 0.0)
        memory[M_BURN_FUEL] = max(fuel, 0.0)
        if since > 360.0:
            since -= 720.0
    share = burned_share(net.burn, cyl.burn_span, since + degrees) - burned_share(net.burn, cyl.burn_span, since)
    air = share * memory[M_BURN_AIR]
    fuel = share * memory[M_BURN_FUEL]
    fuel = min(fuel, state[V_FUEL])
    air = min(air, state[V_MASS] - state[V_FUEL] - state[V_BURNED])
    return fuel, max(air, 0.0), air * cyl.heat_per_air


@inner_kernel
def cylinder_heat(cyl, memory, pres, temp, vol, angle, piston_speed):
    """Heat flow from the walls into the gas [W], negative while the gas is hotter."""
    if cyl.heat_law == 0:
        return 0.0
    if cyl.heat_law == 1:
        exchange = cyl.exhaust_open <= angle <= cyl.intake_close
        since = (angle - cyl.burn_start) % 720.0
        burning = cyl.burn_span > 0.0 and since < 180.0 and not exchange
        motored = memory[M_REF_P] * exp2(1.33 * log2(memory[M_REF_V] / vol)) if burning else pres
        w = woschni_speed(
            6.18 if exchange else 2.28, piston_speed, 3.24e-3 if burning else 0.0, cyl.swept,
            memory[M_REF_T], memory[M_REF_P], memory[M_REF_V], pres, min(motored, pres),
        )  # fmt: skip
        h = woschni(cyl.bore, pres, temp, w)
    else:
        h = hohenberg(vol, pres, temp, piston_speed)
    liner = 4.0 * (vol - cyl.clearance) / cyl.bore
    return h * (
        cyl.head_area * (cyl.head_temp - temp) + cyl.piston_area * (cyl.piston_temp - temp) + liner * (cyl.liner_temp - temp)
    )


@inner_kernel
def settle(gas, state):
    """Temperature and pressure of a volume from its masses, energy and size, in place."""
    mass = state[V_MASS]
    yf = state[V_FUEL] / mass
    yb = state[V_BURNED] / mass
    temp = temperature_of_energy(mixture(gas, yf, yb), state[V_ENERGY] / mass, state[V_TEMP])
    state[V_TEMP] = temp
    state[V_PRES] = mass * gas_constant(gas, yf, yb) * temp / state[V_VOL]


@inner_kernel
def advance(net, gas, start, basis, rates, memory, out, tally, angle, degrees, dt, piston_speed):
    """Volumes `dt` seconds (`degrees` of crank) after `start`, with flows `rates` and conditions of `basis`.

    start, basis, out (volumes, VOLUME_STATE); rates (volumes, 4): mass, fuel, burned [kg/s], energy [W] into the volume;
    memory (cylinders, MEMORY); tally (volumes, STEP_COLUMNS) receives heat, work and what burned.
    """
    for v in range(net.volume.shape[0]):
        row = net.volume[v]
        if row.kind == RESERVOIR:
            for k in range(start.shape[1]):
                out[v, k] = start[v, k]
            continue
        wall = row.wall_h * row.wall_area * (row.wall_temp - basis[v, V_TEMP]) * dt
        out[v, V_MASS] = start[v, V_MASS] + dt * rates[v, 0]
        out[v, V_FUEL] = start[v, V_FUEL] + dt * rates[v, 1]
        out[v, V_BURNED] = start[v, V_BURNED] + dt * rates[v, 2]
        out[v, V_ENERGY] = start[v, V_ENERGY] + dt * rates[v, 3] + wall
        out[v, V_TEMP] = basis[v, V_TEMP]
        out[v, V_VOL] = start[v, V_VOL]
        tally[v, Q_WALL] = wall
        tally[v, Q_WORK] = 0.0
    for j in range(net.cylinder.shape[0]):
        cyl = net.cylinder[j]
        v = cyl.volume
        local = local_angle(angle, cyl.phase)
        size = cylinder_volume(cyl, local + degrees)
        middle = local_angle(local + 0.5 * degrees, 0.0)
        work = basis[v, V_PRES] * (size - start[v, V_VOL])
        wall = cylinder_heat(cyl, memory[j], basis[v, V_PRES], basis[v, V_TEMP], basis[v, V_VOL], middle, piston_speed) * dt
        fuel, air, heat = burn_step(net, cyl, memory[j], start[v], local, degrees)
        out[v, V_ENERGY] += wall + heat - work
        out[v, V_FUEL] -= fuel
        out[v, V_BURNED] += fuel + air
        out[v, V_VOL] = size
        tally[v, Q_WALL], tally[v, Q_RELEASE], tally[v, Q_WORK] = wall, heat, work
        tally[v, Q_FUEL_USED], tally[v, Q_AIR_USED] = fuel, air
    for v in range(net.volume.shape[0]):
        if net.volume[v].kind != RESERVOIR:
            settle(gas, out[v])


__all__ = ["CYLINDER", "advance", "cylinder_volume", "local_angle"]
