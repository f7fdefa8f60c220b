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

from waveflow.compiled import inner_kernel, kernel
from waveflow.physics.thermo import (
    critical_temperature,
    critical_temperature_of,
    energy,
    entropy,
    gas_constant,
    heat_capacity,
    isentropic_temperature,
    mixture,
)

OPEN = 0.999999  # an opening above this is the whole pipe
# A stream whose kinetic energy is below this share of its enthalpy (3 K of cooling) has its temperature to 1e-13 after one
# Newton step from cp taken as constant; faster ones need two.
_SLOW = 0.01


@kernel
def velocity_drop(p, rho, pres, kappa):
    """Change of velocity [m/s] across a wave from pressure `pres` (density `rho`, cp/cv `kappa`) to `p`."""
    if p > pres:
        return (p - pres) * math.sqrt(2.0 / (rho * ((kappa + 1.0) * p + (kappa - 1.0) * pres)))
    sound = math.sqrt(kappa * pres / rho)
    return 2.0 * sound / (kappa - 1.0) * ((p / pres) ** (0.5 * (kappa - 1.0) / kappa) - 1.0)


@kernel
def wave(p, rho, pres, kappa):
    """(density [kg/m3] behind the same wave, `velocity_drop`) with one root or one power for both."""
    if p > pres:
        b = kappa - 1.0
        stiff = (kappa + 1.0) * p + b * pres
        return rho * stiff / (b * p + (kappa + 1.0) * pres), (p - pres) * math.sqrt(2.0 / (rho * stiff))
    ratio = p / pres
    cooled = ratio ** (0.5 * (kappa - 1.0) / kappa)  # ratio of sound speeds
    return rho * ratio / (cooled * cooled), 2.0 * math.sqrt(kappa * pres / rho) / (kappa - 1.0) * (cooled - 1.0)


@inner_kernel
def pushed_back(rho, speed, pres, kappa):
    """(pressure [Pa], its change with the speed) where a wave changes the velocity of the gas by `speed` against the pipe."""
    sound = math.sqrt(kappa * pres / rho)
    mach = speed / sound
    if mach > 0.0:
        k = 0.25 * (kappa + 1.0) * mach
        root = math.sqrt(1.0 + k * k)
        return pres * (1.0 + kappa * mach * (k + root)), kappa / sound * pres * (k + root) * (1.0 + k / root)
    base = max(1.0 + 0.5 * (kappa - 1.0) * mach, 0.1)
    p = pres * base ** (2.0 * kappa / (kappa - 1.0))
    return p, kappa / sound * p / base


@inner_kernel
def arrested_pressure(rho, vel, pres, kappa):
    """Pressure [Pa] if the flow (`vel` towards the end) were stopped by a wall."""
    return pushed_back(rho, vel, pres, kappa)[0]


@inner_kernel
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


@inner_kernel
def _outflow_excess(p, rho, vel, pres, kappa, c, r, psi, back, temp_t, h_t):
    """Throat minus pipe mass flux [kg/m2/s] for an assumed pressure `p` at the end of the pipe.

    temp_t, h_t: temperature and enthalpy of the pipe's gas brought isentropically to the volume's pressure; they do not
    depend on `p` but for the entropy of the wave, which is of third order in its jump.
    """
    rho_e, drop_u = wave(p, rho, pres, kappa)
    u = vel - drop_u
    temp = p / (r * rho_e)
    h0 = energy(c, temp) + r * temp + 0.5 * u * u
    drop = h0 - h_t
    if drop <= 0.0:
        return -rho_e * u
    kappa_t = 1.0 + r / heat_capacity(c, temp_t)
    if 2.0 * drop > kappa_t * r * temp_t:
        temp_c = critical_temperature_of(c, r, h0, temp_t)
        pres_c = back * math.exp((entropy(c, r, temp_c) - entropy(c, r, temp_t)) / r)
        if pres_c > back:
            return psi * pres_c / (r * temp_c) * math.sqrt((1.0 + r / heat_capacity(c, temp_c)) * r * temp_c) - rho_e * u
    return psi * back / (r * temp_t) * math.sqrt(2.0 * drop) - rho_e * u


@inner_kernel
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
        temp_t = isentropic_temperature(c, r, temp, back / pres)
        h_t = energy(c, temp_t) + r * temp_t
        if _outflow_excess(low, rho, vel, pres, kappa, c, r, psi, back, temp_t, h_t) >= 0.0:
            return pres, rho, vel
    else:
        low = max(back, sonic_pressure(rho, vel, pres, kappa))
        if psi >= OPEN:
            rho_e, drop_u = wave(low, rho, pres, kappa)
            return low, rho_e, vel - drop_u
        temp_t = isentropic_temperature(c, r, temp, back / pres)
        h_t = energy(c, temp_t) + r * temp_t
    high = arrested
    # first guess: incompressible throat, linear wave: psi^2 (2 rho (ps - Z u - back)) = rho^2 u^2 (1 - psi^2)
    z = rho * sound
    a = 0.5 * rho * (1.0 - psi * psi)
    b = psi * psi * z
    q = psi * psi * max(arrested - back, 0.0)
    u = 2.0 * q / (b + math.sqrt(b * b + 4.0 * a * q) + 1e-300)
    p = min(max(arrested - z * u, low), high)
    slope = psi * psi * rho / max(rho * u, 1e-9) + rho / z  # d(excess)/dp of the first guess
    f = _outflow_excess(p, rho, vel, pres, kappa, c, r, psi, back, temp_t, h_t)
    for _ in range(40):
        if f < 0.0:
            low = p
        else:
            high = p
        new = p - f / slope
        if new <= low:
            if low > p - 1e-12 * p or f < 0.0:
                new = 0.5 * (low + high)
            else:
                new = low  # the sonic or the wide-open limit may be the answer
        elif new >= high:
            new = 0.5 * (low + high)
        if abs(new - p) < 1e-9 * p:
            p = new
            break
        f_new = _outflow_excess(new, rho, vel, pres, kappa, c, r, psi, back, temp_t, h_t)
        if new == low and f_new >= 0.0:
            p = new
            break
        trial = (f_new - f) / (new - p)
        if trial > 0.0:
            slope = trial
        p = new
        f = f_new
    rho_e, drop_u = wave(p, rho, pres, kappa)
    return p, rho_e, vel - drop_u


@inner_kernel
def moving_temperature(c, r, h0, temp0, w):
    """Static temperature [K] of a stream of total enthalpy h0 (temp0 at rest) and speed w; well past sonic it stays put."""
    cp = heat_capacity(c, temp0) + r
    kinetic = min(0.5 * w * w, 0.35 * cp * temp0)
    temp = temp0 - kinetic / cp
    for _ in range(1 if kinetic < _SLOW * cp * temp0 else 2):
        temp += (h0 - kinetic - energy(c, temp) - r * temp) / (heat_capacity(c, temp) + r)
    return temp


@inner_kernel
def sonic_entry(c, r, temp0, mass_flux):
    """(p, rho, speed) of a sonic stream of that mass flux [kg/m2/s] and stagnation temperature: an entry can do no more."""
    temp = critical_temperature(c, r, temp0)
    speed = math.sqrt((1.0 + r / heat_capacity(c, temp)) * r * temp)
    rho = mass_flux / speed
    return rho * r * temp, rho, speed


@inner_kernel
def _jet_entry(c, r, h0, temp0, flux, thrust):
    """(p, speed) behind a throat whose mass flux and thrust (p + flux x speed, both per pipe area) are kept: the sudden
    expansion that recovers the jet's momentum. Subsonic root; thrust below what that needs: the sonic one."""
    cp = heat_capacity(c, temp0) + r
    k = 1.0 - 0.5 * r / cp
    root = thrust * thrust - 4.0 * flux * flux * k * r * temp0
    w = 2.0 * flux * r * temp0 / (thrust + math.sqrt(max(root, 0.0)))
    return thrust - flux * w, w


@inner_kernel
def _inflow_excess(temp_t, s0, rho, vel, pres, kappa, c, r, temp0, pres0, h0, psi, recovery):
    """(throat minus pipe mass flux, p, rho, speed into the pipe) for an assumed temperature in the throat."""
    drop = h0 - energy(c, temp_t) - r * temp_t
    speed = math.sqrt(2.0 * drop) if drop > 0.0 else 0.0
    p = pres0 * math.exp((entropy(c, r, temp_t) - s0) / r)
    flux = psi * p / (r * temp_t) * speed
    if recovery > 0.0:
        p, jet = _jet_entry(c, r, h0, temp0, flux, p + flux * speed)
        w = velocity_drop(p, rho, pres, kappa) - vel
        rho_e = flux / jet if jet > 0.0 else p / (r * temp0)
        return rho_e * (jet - w), p, rho_e, jet
    w = velocity_drop(p, rho, pres, kappa) - vel
    rho_e = p / (r * moving_temperature(c, r, h0, temp0, w))
    return flux - rho_e * w, p, rho_e, w


@inner_kernel
def _choked_entry(flux, arrested, rho, vel, pres, kappa, c, r, temp0, h0, top):
    """(p, rho, speed into the pipe) where a sonic throat fixes the mass flux [kg/m2/s]; p between `arrested` and `top`."""
    z = rho * math.sqrt(kappa * pres / rho)
    p = 0.5 * (arrested + math.sqrt(arrested * arrested + 4.0 * flux * z * r * temp0))
    low, high = arrested, top
    p = min(max(p, low), high)
    slope = -2.0 * p / (z * r * temp0)
    last, f = p, 0.0
    rho_e, w = rho, 0.0
    for k in range(40):
        w = velocity_drop(p, rho, pres, kappa) - vel
        rho_e = p / (r * moving_temperature(c, r, h0, temp0, w))
        f_new = flux - rho_e * w
        if k > 0 and p != last:
            trial = (f_new - f) / (p - last)
            if trial < 0.0:
                slope = trial
        f = f_new
        last = p
        if f > 0.0:
            low = p
        else:
            high = p
        new = p - f / slope
        if not (low < new < high):
            new = 0.5 * (low + high)
        if abs(new - p) < 1e-9 * p:
            break
        p = new
    return last, rho_e, w


@inner_kernel
def inflow(gas, rho, vel, pres, yf, yb, psi, temp0, pres0, yf0, yb0, arrested, recovery):
    """State (p, rho, u outward, negative) at a pipe end fed through psi of its area from a volume at temp0, pres0."""
    r_pipe = gas_constant(gas, yf, yb)
    kappa = 1.0 + r_pipe / heat_capacity(mixture(gas, yf, yb), pres / (r_pipe * rho))
    c = mixture(gas, yf0, yb0)
    r = gas_constant(gas, yf0, yb0)
    h0 = energy(c, temp0) + r * temp0
    s0 = entropy(c, r, temp0)
    cp = heat_capacity(c, temp0) + r
    gap = pres0 - arrested
    rho0 = pres0 / (r * temp0)
    deepest = temp0 * (1.0 - (arrested / pres0) ** (r / cp))  # cooling of a throat at the arrested pressure
    limit = 1.1 * deepest
    if deepest > 0.1 * temp0 or recovery > 0.0:
        sonic = temp0 - critical_temperature(c, r, temp0)
        if deepest > sonic or recovery > 0.0:
            f, p, rho_e, w = _inflow_excess(
                temp0 - sonic, s0, rho, vel, pres, kappa, c, r, temp0, pres0, h0, psi, recovery
            )
            if f < 0.0:
                top = p
                flux = rho_e * w if recovery > 0.0 else f + rho_e * w
                p, rho_e, w = _choked_entry(flux, arrested, rho, vel, pres, kappa, c, r, temp0, h0, top)
                if w * w > (1.0 + r / heat_capacity(c, p / (r * rho_e))) * p / rho_e:
                    p, rho_e, w = sonic_entry(c, r, temp0, flux)
                return p, rho_e, -w
            limit = sonic
            deepest = min(deepest, sonic)
    # first guess: incompressible throat, linear wave: psi sqrt(2 rho0 gap) y = rho0 gap (1 - y^2) / (rho a)
    a = rho0 * gap / (rho * math.sqrt(kappa * pres / rho))
    b = psi * math.sqrt(2.0 * rho0 * gap)
    y = 2.0 * a / (b + math.sqrt(b * b + 4.0 * a * a) + 1e-300)
    deepest = max(deepest, 1e-300)
    low, high = 0.0, math.sqrt(limit / deepest)
    y = min(y, high)
    slope = b + 2.0 * a * y
    f, p, rho_e, w = _inflow_excess(temp0 - deepest * y * y, s0, rho, vel, pres, kappa, c, r, temp0, pres0, h0, psi, recovery)
    for _ in range(40):
        if f > 0.0:
            high = y
        else:
            low = y
        new = y - f / slope
        if not (low < new < high):
            new = 0.5 * (low + high)
        if abs(new - y) < 1e-8:
            break
        f_new, p, rho_e, w = _inflow_excess(
            temp0 - deepest * new * new, s0, rho, vel, pres, kappa, c, r, temp0, pres0, h0, psi, recovery
        )
        trial = (f_new - f) / (new - y)
        if trial > 0.0:
            slope = trial
        y = new
        f = f_new
    if recovery > 0.0:
        w = velocity_drop(p, rho, pres, kappa) - vel  # the same speed from the wave: free of noise next to rest
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
        p, rho_e, u = inflow(gas, rho, vel, pres, yf, yb, min(psi_in, 1.0), temp0, pres0, yf0, yb0, arrested, recovery)
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


@inner_kernel
def eased(low, high):
    """Factor on a nozzle's mass flux that makes it linear where the pressures differ by less than some 5e-5 of themselves.

    The square root's infinite slope at no difference makes two volumes chatter; at a difference of 0.1 % the factor
    takes 0.06 % of the flow, at 1 % nothing.
    """
    slack = 5e-5 * high / max(high - low, 1e-300)
    return (1.0 + slack * slack) ** -0.25


@inner_kernel
def orifice_flux(gas, temp_a, pres_a, yf_a, yb_a, temp_b, pres_b, yf_b, yb_b, area_ab, area_ba):
    """Flow from volume a to volume b through a nozzle: mass, energy [W], fuel, burned [kg/s], negative for b to a."""
    if pres_a >= pres_b:
        c = mixture(gas, yf_a, yb_a)
        r = gas_constant(gas, yf_a, yb_a)
        mass = area_ab * eased(pres_b, pres_a) * throat_from_rest(c, r, temp_a, pres_a, pres_b)[0]
        return mass, mass * (energy(c, temp_a) + r * temp_a), mass * yf_a, mass * yb_a
    c = mixture(gas, yf_b, yb_b)
    r = gas_constant(gas, yf_b, yb_b)
    mass = area_ba * eased(pres_a, pres_b) * throat_from_rest(c, r, temp_b, pres_b, pres_a)[0]
    return -mass, -mass * (energy(c, temp_b) + r * temp_b), -mass * yf_b, -mass * yb_b
