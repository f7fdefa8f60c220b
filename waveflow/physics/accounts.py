"""The books of a cycle: what passed every valve, what every volume took in, events of a cylinder, rows of a trace.

Everything is entered with the numbers of the step itself (the fluxes that went into the cells and volumes), so the books
balance to round-off.
"""

from __future__ import annotations

import math

from waveflow.compiled import inner_kernel
from waveflow.physics import layout as lay
from waveflow.physics.layout import RESERVOIR, V_BURNED, V_FUEL, V_MASS, V_PRES, V_TEMP, V_VOL
from waveflow.physics.thermo import energy, gas_constant, isentropic_temperature, mixture
from waveflow.physics.volumes import Q_AIR_USED, Q_FUEL_USED, Q_RELEASE, Q_WALL, Q_WORK, local_angle

TURBINE = 3  # role of an orifice

# columns of a trace row: angle, then per cylinder, per probe, per volume
CYLINDER_COLUMNS, PROBE_COLUMNS, VOLUME_COLUMNS = 6, 4, 2


@inner_kernel
def count_valve(role, account, mass, fuel, burned, power, added, added_power, dt):
    """Enter one valve's flow into the cylinder (mass [kg/s] positive into it) in the cycle's accounts."""
    air = mass - fuel - burned
    if role == 1:
        if mass > 0.0:
            account[lay.A_AIR_IN] += air * dt
            account[lay.A_MASS_IN] += mass * dt
        else:
            account[lay.A_AIR_BACK] -= air * dt
            account[lay.A_MASS_BACK] -= mass * dt
        account[lay.A_FUEL_ADDED] += added * dt
        account[lay.A_FUEL_IN] += fuel * dt
        account[lay.A_BURNED_IN] += burned * dt
        account[lay.A_ENERGY_IN] += (power + added_power) * dt
    else:
        account[lay.A_MASS_OUT] -= mass * dt
        account[lay.A_AIR_OUT] -= air * dt
        account[lay.A_FUEL_OUT] -= fuel * dt
        account[lay.A_BURNED_OUT] -= burned * dt
        account[lay.A_ENERGY_OUT] -= power * dt


@inner_kernel
def count_turbine(gas, account, vol, back, mass, dt):
    """Enter a turbine's flow (mass [kg/s]) from a volume: its mass and the work of an isentropic expansion to `back` [Pa]."""
    account[lay.B_TURBINE_MASS] += mass * dt
    if mass <= 0.0 or vol[V_PRES] <= back:
        return
    yf, yb = vol[V_FUEL] / vol[V_MASS], vol[V_BURNED] / vol[V_MASS]
    c = mixture(gas, yf, yb)
    r = gas_constant(gas, yf, yb)
    temp = vol[V_TEMP]
    cold = isentropic_temperature(c, r, temp, back / vol[V_PRES])
    account[lay.B_TURBINE_WORK] += mass * dt * (energy(c, temp) + r * temp - energy(c, cold) - r * cold)


@inner_kernel
def crossed(before, degrees, event):
    """True if the local clock passes `event` while going on by `degrees` from `before`."""
    return (event - before) % 720.0 < degrees


@inner_kernel
def enter_volumes(net, mid, rates, tally, volume_accounts, accounts, dt, angle, degrees):
    for v in range(net.volume.shape[0]):
        account = volume_accounts[v]
        account[lay.B_MASS] += rates[v, 0] * dt
        account[lay.B_FUEL] += rates[v, 1] * dt
        account[lay.B_BURNED] += rates[v, 2] * dt
        account[lay.B_ENERGY] += rates[v, 3] * dt
        account[lay.B_P_TIME] += mid[v, V_PRES] * dt
        account[lay.B_T_TIME] += mid[v, V_TEMP] * dt
        account[lay.B_MASS_TIME] += mid[v, V_MASS] * dt
        if net.volume[v].kind != RESERVOIR:
            account[lay.B_WALL] += tally[v, Q_WALL]
    for j in range(net.cylinder.shape[0]):
        cyl = net.cylinder[j]
        account = accounts[j]
        row = tally[cyl.volume]
        work, fuel, air = row[Q_WORK], row[Q_FUEL_USED], row[Q_AIR_USED]
        account[lay.A_WALL] += row[Q_WALL]
        account[lay.A_RELEASE] += row[Q_RELEASE]
        account[lay.A_WORK] += work
        local = local_angle(angle + 0.5 * degrees, cyl.phase)
        if local < 180.0 or local >= 540.0:
            account[lay.A_WORK_HIGH] += work
        account[lay.A_BURNED] += fuel + air
        account[lay.A_FUEL_USED] += fuel
        account[lay.A_AIR_USED] += air


@inner_kernel
def enter_events(net, vols, memory, accounts, angle, degrees):
    for j in range(net.cylinder.shape[0]):
        cyl = net.cylinder[j]
        state = vols[cyl.volume]
        before = local_angle(angle, cyl.phase)
        if state[V_PRES] > accounts[j, lay.A_PEAK_P]:
            accounts[j, lay.A_PEAK_P] = state[V_PRES]
            accounts[j, lay.A_PEAK_ANGLE] = local_angle(before + degrees, 0.0)
        if crossed(before, degrees, cyl.intake_close):
            memory[j, lay.M_REF_P] = state[V_PRES]
            memory[j, lay.M_REF_V] = state[V_VOL]
            memory[j, lay.M_REF_T] = state[V_TEMP]
            memory[j, lay.M_TRAP_MASS] = state[V_MASS]
            memory[j, lay.M_TRAP_BURNED] = state[V_BURNED]
            memory[j, lay.M_TRAP_AIR] = state[V_MASS] - state[V_FUEL] - state[V_BURNED]


@inner_kernel
def write_trace(net, w, vols, valve_flow, row, angle):
    """One row: angle; a cylinder: pressure, temperature, mass, volume, intake and exhaust flow; a probe: pressure, velocity,
    temperature, sound speed; a volume: pressure, temperature."""
    row[0] = angle
    k = 1
    for j in range(net.cylinder.shape[0]):
        v = net.cylinder[j].volume
        row[k], row[k + 1], row[k + 2], row[k + 3] = vols[v, V_PRES], vols[v, V_TEMP], vols[v, V_MASS], vols[v, V_VOL]
        row[k + 4], row[k + 5] = valve_flow[j, 0], -valve_flow[j, 1]
        k += CYLINDER_COLUMNS
    for p in range(net.probe.shape[0]):
        a, b, share = net.probe[p, 0], net.probe[p, 1], net.probe_weight[p]
        row[k] = (1.0 - share) * w[lay.PRES, a] + share * w[lay.PRES, b]
        row[k + 1] = (1.0 - share) * w[lay.VEL, a] + share * w[lay.VEL, b]
        row[k + 2] = (1.0 - share) * w[lay.TEMP, a] + share * w[lay.TEMP, b]
        row[k + 3] = math.sqrt((1.0 - share) * w[lay.SOUND2, a] + share * w[lay.SOUND2, b])
        k += PROBE_COLUMNS
    for v in range(vols.shape[0]):
        row[k], row[k + 1] = vols[v, V_PRES], vols[v, V_TEMP]
        k += VOLUME_COLUMNS


def trace_columns(net) -> int:
    """Number of columns of a trace row."""
    return (
        1
        + CYLINDER_COLUMNS * net.cylinder.shape[0]
        + PROBE_COLUMNS * net.probe.shape[0]
        + VOLUME_COLUMNS * net.volume.shape[0]
    )
