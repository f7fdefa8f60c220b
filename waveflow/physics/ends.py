"""Every pipe end that faces a volume: closed end, open end, throttle and valve are one restriction.

The gas next to the end (half-time state on the end face: rho, u, p) and the state at the end itself are joined by one
wave that runs back into the pipe: a shock (Rankine-Hugoniot) if the pressure rises, a rarefaction if it falls; its jump
is small in any step, so the sound speed ratio of the gas next to the end is used across it. Between the end and the
volume lies a throat of area psi A:

* out of the pipe: isentropic from the pipe end's stagnation state to the volume's pressure in the throat, sonic where
  due; the jet's kinetic energy is lost in the volume;
* into the pipe: isentropic from the volume to the throat; the pressure in the throat is that of the pipe end (constant
  pressure, no recovery), or, as an option, the momentum of the jet is recovered (sudden expansion).

If the gas in the pipe draws so hard that the stream into it would be supersonic at the end, the end is sonic with the mass
flow that the throat gives: the pipe cannot be heard upstream any more.

psi = 0 is a wall, psi = 1 an open end (outflow at the volume's static pressure, inflow isentropic from rest); an entry
loss K (in units of the pipe's dynamic head) is an inward psi of 1/sqrt(1 + K).

Benson 1982, *The Thermodynamics and Gas Dynamics of Internal Combustion Engines*, vol. 1 (valve and pipe-end models, from
memory); the wave relations are those of Toro 2009, ch. 3-4.
"""

from __future__ import annotations

import math

from waveflow.compiled import kernel
from waveflow.physics.thermo import (
    critical_temperature,
    critical_temperature_of,
    energy,
    entropy,
    gas_constant,
    heat_capacity,
    isentropic_temperature,
    mixture,
    temperature_of_enthalpy,
)

OPEN = 0.999999  # an opening above this is the whole pipe


@kernel
def velocity_drop(p, rho, pres, kappa):
    """Change of velocity [m/s] across a wave from pressure `pres` (density `rho`, cp/cv `kappa`) to `p`."""
    if p > pres:
        return (p - pres) * math.sqrt(2.0 / (rho * ((kappa + 1.0) * p + (kappa - 1.0) * pres)))
    sound = math.sqrt(kappa * pres / rho)
    return 2.0 * sound / (kappa - 1.0) * ((p / pres) ** (0.5 * (kappa - 1.0) / kappa) - 1.0)


@kernel
def wave_density(p, rho, pres, kappa):
    """Density [kg/m3] behind the same wave."""
    if p > pres:
        ratio = p / pres
        b = (kappa - 1.0) / (kappa + 1.0)
        return rho * (ratio + b) / (b * ratio + 1.0)
    return rho * (p / pres) ** (1.0 / kappa)


@kernel
def arrested_pressure(rho, vel, pres, kappa):
    """Pressure [Pa] if the flow (`vel` towards the end) were stopped by a wall."""
    sound = math.sqrt(kappa * pres / rho)
    mach = vel / sound
    if mach > 0.0:
        k = 0.25 * (kappa + 1.0) * mach
        return pres * (1.0 + kappa * mach * (k + math.sqrt(1.0 + k * k)))
    base = 1.0 + 0.5 * (kappa - 1.0) * mach
    if base < 0.1:
        base = 0.1
    return pres * base ** (2.0 * kappa / (kappa - 1.0))


@kernel
def sonic_pressure(rho, vel, pres, kappa):
    """Pressure [Pa] at the end where the flow out of the pipe just becomes sonic."""
    sound = math.sqrt(kappa * pres / rho)
    z = (vel / sound * (kappa - 1.0) + 2.0) / (kappa + 1.0)
    return pres * z ** (2.0 * kappa / (kappa - 1.0))


@kernel
def throat_from_rest(c, r, temp0, pres0, back):
    """Isentropic throat fed from rest: (mass flux kg/m2/s, throat pressure Pa, throat temperature K, velocity m/s)."""
    if back >= pres0:
        return 0.0, pres0, temp0, 0.0
    h0 = energy(c, temp0) + r * temp0
    if back > 0.6 * pres0:
        choked = False
    else:
        temp_c = critical_temperature(c, r, temp0)
        pres_c = pres0 * math.exp((entropy(c, r, temp_c) - entropy(c, r, temp0)) / r)
        choked = back <= pres_c
    if choked:
        vel = math.sqrt((1.0 + r / heat_capacity(c, temp_c)) * r * temp_c)
        return pres_c / (r * temp_c) * vel, pres_c, temp_c, vel
    temp_t = isentropic_temperature(c, r, temp0, back / pres0)
    drop = h0 - energy(c, temp_t) - r * temp_t
    vel = math.sqrt(2.0 * drop) if drop > 0.0 else 0.0
    return back / (r * temp_t) * vel, back, temp_t, vel


@kernel
def throat_from_stream(c, r, temp, pres, vel, back):
    """Isentropic throat fed by a stream (static temp, pres, velocity): mass flux [kg/m2/s]."""
    h0 = energy(c, temp) + r * temp + 0.5 * vel * vel
    temp_t = isentropic_temperature(c, r, temp, back / pres)
    drop = h0 - energy(c, temp_t) - r * temp_t
    if drop <= 0.0:
        return 0.0
    kappa = 1.0 + r / heat_capacity(c, temp_t)
    if 2.0 * drop > kappa * r * temp_t:
        temp_c = critical_temperature_of(c, r, h0, temp_t)
        pres_c = pres * math.exp((entropy(c, r, temp_c) - entropy(c, r, temp)) / r)
        if pres_c > back:
            return pres_c / (r * temp_c) * math.sqrt((1.0 + r / heat_capacity(c, temp_c)) * r * temp_c)
    return back / (r * temp_t) * math.sqrt(2.0 * drop)


@kernel
def _outflow_excess(p, rho, vel, pres, kappa, c, r, psi, back):
    """Throat minus pipe mass flux [kg/m2/s] for an assumed pressure `p` at the end of the pipe."""
    rho_e = wave_density(p, rho, pres, kappa)
    vel_e = vel - velocity_drop(p, rho, pres, kappa)
    return psi * throat_from_stream(c, r, p / (r * rho_e), p, vel_e, back) - rho_e * vel_e


@kernel
def outflow(gas, rho, vel, pres, yf, yb, psi, back, arrested):
    """State (p, rho, u outward) at a pipe end discharging through psi of its area into pressure `back`."""
    c = mixture(gas, yf, yb)
    r = gas_constant(gas, yf, yb)
    temp = pres / (r * rho)
    kappa = 1.0 + r / heat_capacity(c, temp)
    sound = math.sqrt(kappa * r * temp)
    if vel >= sound:
        mach = vel / sound
        low = pres * (1.0 + 2.0 * kappa / (kappa + 1.0) * (mach * mach - 1.0))
        if psi >= OPEN:
            return pres, rho, vel
        if _outflow_excess(low, rho, vel, pres, kappa, c, r, psi, back) >= 0.0:
            return pres, rho, vel
    else:
        low = max(back, sonic_pressure(rho, vel, pres, kappa))
        if psi >= OPEN:
            return low, wave_density(low, rho, pres, kappa), vel - velocity_drop(low, rho, pres, kappa)
    high = arrested
    # first guess: incompressible throat, linear wave: psi^2 (2 rho (ps - Z u - back)) = rho^2 u^2 (1 - psi^2)
    z = rho * sound
    a = 0.5 * rho * (1.0 - psi * psi)
    b = psi * psi * z
    q = psi * psi * max(arrested - back, 0.0)
    u = 2.0 * q / (b + math.sqrt(b * b + 4.0 * a * q) + 1e-300)
    p = min(max(arrested - z * u, low), high)
    f_low = _outflow_excess(low, rho, vel, pres, kappa, c, r, psi, back)
    if f_low >= 0.0:
        p = low
    else:
        p = _root_out(p, low, high, rho, vel, pres, kappa, c, r, psi, back, z, u)
    return p, wave_density(p, rho, pres, kappa), vel - velocity_drop(p, rho, pres, kappa)


@kernel
def _root_out(p, low, high, rho, vel, pres, kappa, c, r, psi, back, z, u):
    slope = psi * psi * rho / max(rho * u, 1e-9) + rho / z  # d(excess)/dp of the first guess
    f = _outflow_excess(p, rho, vel, pres, kappa, c, r, psi, back)
    for _ in range(30):
        if f < 0.0:
            low = p
        else:
            high = p
        new = p - f / slope
        if not (low <= new <= high):
            new = 0.5 * (low + high)
        if abs(new - p) < 1e-10 * p:
            p = new
            break
        f_new = _outflow_excess(new, rho, vel, pres, kappa, c, r, psi, back)
        trial = (f_new - f) / (new - p)
        if trial > 0.0:
            slope = trial
        p = new
        f = f_new
    return p


@kernel
def moving_temperature(c, r, h0, temp0, w):
    """Static temperature [K] of a stream of total enthalpy h0 (temp0 at rest) and speed w; well past sonic it stays put."""
    kinetic = 0.5 * w * w
    most = 0.35 * (heat_capacity(c, temp0) + r) * temp0
    if kinetic > most:
        kinetic = most
    cp = heat_capacity(c, temp0) + r
    return temperature_of_enthalpy(c, r, h0 - kinetic, temp0 - kinetic / cp)


@kernel
def sonic_entry(c, r, temp0, mass_flux):
    """(p, rho, speed) of a sonic stream of that mass flux [kg/m2/s] and stagnation temperature: an entry can do no more."""
    temp = critical_temperature(c, r, temp0)
    speed = math.sqrt((1.0 + r / heat_capacity(c, temp)) * r * temp)
    rho = mass_flux / speed
    return rho * r * temp, rho, speed


@kernel
def _inflow_excess(y, gap, rho, vel, pres, kappa, c, r, temp0, pres0, h0, psi, recovery):
    """(throat minus pipe mass flux, p, rho, u into the pipe) for an assumed end pressure p0 - gap y^2."""
    p = pres0 - gap * y * y
    flux, p_t, temp_t, vel_t = throat_from_rest(c, r, temp0, pres0, p)
    w = velocity_drop(p, rho, pres, kappa) - vel
    temp_e = moving_temperature(c, r, h0, temp0, w)
    rho_e = p / (r * temp_e)
    return psi * flux - rho_e * w, p, rho_e, w


@kernel
def inflow(gas, rho, vel, pres, yf, yb, psi, temp0, pres0, yf0, yb0, arrested, recovery):
    """State (p, rho, u outward, negative) at a pipe end fed through psi of its area from a volume at temp0, pres0."""
    r_pipe = gas_constant(gas, yf, yb)
    kappa = 1.0 + r_pipe / heat_capacity(mixture(gas, yf, yb), pres / (r_pipe * rho))
    c = mixture(gas, yf0, yb0)
    r = gas_constant(gas, yf0, yb0)
    h0 = energy(c, temp0) + r * temp0
    gap = pres0 - arrested
    rho0 = pres0 / (r * temp0)
    # first guess: incompressible throat, linear wave: psi sqrt(2 rho0 gap) y = rho0 gap (1 - y^2) / (rho a)
    a = rho0 * gap / (rho * math.sqrt(kappa * pres / rho))
    b = psi * math.sqrt(2.0 * rho0 * gap)
    y = 2.0 * a / (b + math.sqrt(b * b + 4.0 * a * a) + 1e-300)
    low, high = 0.0, 1.0
    slope = b + 2.0 * a * y
    f, p, rho_e, w = _inflow_excess(y, gap, rho, vel, pres, kappa, c, r, temp0, pres0, h0, psi, recovery)
    for _ in range(30):
        if f > 0.0:
            high = y
        else:
            low = y
        new = y - f / slope
        if not (low <= new <= high):
            new = 0.5 * (low + high)
        if abs(new - y) < 1e-11:
            break
        f_new, p, rho_e, w = _inflow_excess(new, gap, rho, vel, pres, kappa, c, r, temp0, pres0, h0, psi, recovery)
        trial = (f_new - f) / (new - y)
        if trial > 0.0:
            slope = trial
        y = new
        f = f_new
    if w * w > kappa * 0.7 * r * temp0:
        temp_e = p / (r * rho_e)
        if w * w > (1.0 + r / heat_capacity(c, temp_e)) * r * temp_e:
            p, rho_e, w = sonic_entry(c, r, temp0, rho_e * w)
    return p, rho_e, -w


@kernel
def end_flux(gas, rho, vel, pres, yf, yb, psi_in, psi_out, temp0, pres0, yf0, yb0, recovery):
    """Flux per area through a pipe end, outward positive.

    Pipe side: half-time state on the end face, `vel` outward. Volume side: temp0, pres0, yf0, yb0 at rest. Returns mass
    [kg/m2/s], momentum [Pa], energy [W/m2] (total enthalpy), fuel and burned mass fluxes.
    """
    r = gas_constant(gas, yf, yb)
    kappa = 1.0 + r / heat_capacity(mixture(gas, yf, yb), pres / (r * rho))
    arrested = arrested_pressure(rho, vel, pres, kappa)
    if arrested >= pres0:
        if psi_out <= 0.0:
            return 0.0, arrested, 0.0, 0.0, 0.0
        p, rho_e, u = outflow(gas, rho, vel, pres, yf, yb, min(psi_out, 1.0), pres0, arrested)
        y_f, y_b = yf, yb
    else:
        if psi_in <= 0.0:
            return 0.0, arrested, 0.0, 0.0, 0.0
        p, rho_e, u = inflow(
            gas, rho, vel, pres, yf, yb, min(psi_in, 1.0), temp0, pres0, yf0, yb0, arrested, recovery
        )
        y_f, y_b = yf0, yb0
    c = mixture(gas, y_f, y_b)
    r = gas_constant(gas, y_f, y_b)
    mass = rho_e * u
    temp_e = p / (r * rho_e)
    if u >= 0.0:
        total = energy(c, temp_e) + r * temp_e + 0.5 * u * u
    else:
        total = energy(c, temp0) + r * temp0
    return mass, p + mass * u, mass * total, mass * y_f, mass * y_b


@kernel
def orifice_flux(gas, temp_a, pres_a, yf_a, yb_a, temp_b, pres_b, yf_b, yb_b, area_ab, area_ba):
    """Flow from volume a to volume b through a nozzle: mass, energy [W], fuel, burned [kg/s], negative for b to a."""
    if pres_a >= pres_b:
        c = mixture(gas, yf_a, yb_a)
        r = gas_constant(gas, yf_a, yb_a)
        mass = area_ab * throat_from_rest(c, r, temp_a, pres_a, pres_b)[0]
        return mass, mass * (energy(c, temp_a) + r * temp_a), mass * yf_a, mass * yb_a
    c = mixture(gas, yf_b, yb_b)
    r = gas_constant(gas, yf_b, yb_b)
    mass = area_ba * throat_from_rest(c, r, temp_b, pres_b, pres_a)[0]
    return -mass, -mass * (energy(c, temp_b) + r * temp_b), -mass * yf_b, -mass * yb_b
