"""The passes over all cells of all pipes: reconstruction to half time, Riemann flux, update.

Quasi-one-dimensional gas dynamics in a duct of area A(x), thermally perfect frozen mixtures:

    d(rho)/dt A      + d(rho u A)/dx            = 0
    d(rho u)/dt A    + d((rho u^2 + p) A)/dx    = p dA/dx - f/(2 D) rho u |u| A
    d(E)/dt A        + d((E + p) u A)/dx        = h P (T_wall - T)
    d(rho Y)/dt A    + d(rho u Y A)/dx          = 0

MUSCL-Hancock (van Leer 1984, "On the relation between the upwind-differencing schemes of Godunov, Engquist-Osher and
Roe"; Toro 2009, *Riemann Solvers and Numerical Methods for Fluid Dynamics*, ch. 14): the primitive variables rho, uA, p
and Y get limited slopes, are carried to half time by the primitive equations, and meet at every face in the HLLC flux (Toro,
Spruce & Speares 1994) with Einfeldt's wave speeds (Einfeldt 1988).

uA and p are limited by van Leer's monotonised-central limiter. Y, and the part of rho that goes with a contact, rho - p/a^2,
by one that is steeper where they are not smooth, which keeps contacts narrow: nothing steepens them again (the idea is
Harten's, 1978, "The artificial compression method for computation of shocks and contact discontinuities. III"; the form is
ours, within the bounds of Sweby, 1984, "High resolution schemes using flux limiters for hyperbolic conservation laws").

Two choices make a changing area accurate and keep gas at rest at rest: the volume flow u A is reconstructed, not u (it
is what stays constant in slow flow), and the p dA source takes the half-time mean pressure of the cell, so that at rest
flux difference and source are the same two numbers.

Each pass is one loop over contiguous rows, branches written as selects, so that the compiler turns it into vector code. Rows
that it writes are arguments of their own, which the compiler knows to be apart, and the cells are filled up to whole
vectors (`assembly`): no loop is left over to run one cell at a time.
"""

from __future__ import annotations

import numpy as np

from waveflow.compiled import inner_kernel, kernel, kernel_of_rows, muladd
from waveflow.physics.layout import (
    AREA,
    AREA_L,
    AREA_R,
    BURNED,
    ENERGY,
    FLOW,
    FRICTION,
    FUEL,
    GRUN,
    HEAT,
    INV_LENGTH,
    L_PRES,
    L_RHO,
    L_VEL,
    L_YB,
    L_YF,
    MASS,
    MOMENTUM,
    PER_AREA,
    PER_AREA_L,
    PER_AREA_R,
    PRES,
    R_PRES,
    R_RHO,
    R_VEL,
    R_YB,
    R_YF,
    RATE,
    RHO,
    SIZE,
    SOUND2,
    SRC_ENERGY,
    SRC_MOMENTUM,
    STRETCH_L,
    STRETCH_R,
    TEMP,
    VEL,
    VOLUME_INV,
    WALL_T,
    WEIGHT_L,
    WEIGHT_R,
    YB,
    YF,
)
from waveflow.physics.thermo import cubic, mixed, quartic, quintic

# Limiter of contacts: central while the changes on both sides differ by less than a sixth, then steeper than the central one,
# up to this times the smaller change. At 2 the contacts of a fired engine swing so much that it takes a third more cycles to
# repeat, and 0.3 % of filling on long cells.
_STEEP = 1.5


@inner_kernel
def limited(down, up, weight_l, weight_r):
    """Change across a cell: monotonised central limiter (van Leer 1977) on a grid of unequal cells."""
    centre = weight_l * down + weight_r * up
    bound = 2.0 * min(abs(down), abs(up))
    size = min(abs(centre), bound)
    size = size if down * up > 0.0 else 0.0
    return size if centre > 0.0 else -size


@inner_kernel
def limited_contact(down, up, stretch_l, stretch_r):
    """Likewise for what moves with the gas: as central where it is smooth, steeper where it is not."""
    a, b = stretch_l * abs(down), stretch_r * abs(up)
    more, less = max(a, b), min(a, b)
    size = min(max(0.5 * (a + b), min(2.0 * more - 1.25 * less, _STEEP * less)), 2.0 * less)
    size = size if down * up > 0.0 else 0.0
    return size if down > 0.0 else -size


@kernel
def reconstruct(w, geometry, wall, half, dt):
    """Half-time states on both faces of every cell but the first and the last, and the cell's sources over the step.

    w (PRIMITIVES, n), geometry (GEOMETRY, n), wall (SOURCES, n), half (10, n+1): left states of face i+1 and right states
    of face i come from cell i. dt is the time step [s].
    """
    _reconstruct(
        w[RHO], w[FLOW], w[PRES], w[YF], w[YB], w[VEL, 1:-1], w[TEMP, 1:-1], w[SOUND2, 1:-1], w[GRUN, 1:-1],
        geometry[AREA, 1:-1], geometry[AREA_L, 1:-1], geometry[AREA_R, 1:-1], geometry[PER_AREA, 1:-1],
        geometry[PER_AREA_L, 1:-1], geometry[PER_AREA_R, 1:-1], geometry[SIZE, 1:-1], geometry[INV_LENGTH, 1:-1],
        geometry[WEIGHT_L, 1:-1], geometry[WEIGHT_R, 1:-1], geometry[STRETCH_L, 1:-1], geometry[STRETCH_R, 1:-1],
        geometry[WALL_T, 1:-1], wall[FRICTION, 1:-1], wall[HEAT, 1:-1], dt, wall[SRC_MOMENTUM, 1:-1], wall[SRC_ENERGY, 1:-1],
        half[L_RHO, 2:-1], half[L_VEL, 2:-1], half[L_PRES, 2:-1], half[L_YF, 2:-1], half[L_YB, 2:-1],
        half[R_RHO, 1:-2], half[R_VEL, 1:-2], half[R_PRES, 1:-2], half[R_YF, 1:-2], half[R_YB, 1:-2],
    )  # fmt: skip


@kernel_of_rows
def _reconstruct(
    all_rho, all_flow, all_pres, all_yf, all_yb, vel, temp, sound2, grun, area, area_l, area_r, per_a, per_l, per_r, size,
    inv_length, wl, wr, sl, sr, wall_t, friction, heat, dt, src_m, src_e,
    l_rho, l_vel, l_pres, l_yf, l_yb, r_rho, r_vel, r_pres, r_yf, r_yb,
):  # fmt: skip
    """`reconstruct` with every row an argument; the first five with the neighbours on both sides."""
    half_dt = 0.5 * dt
    for i in range(vel.shape[0]):
        rho, flow, pres, yf, yb = all_rho[i + 1], all_flow[i + 1], all_pres[i + 1], all_yf[i + 1], all_yb[i + 1]
        per_all = 1.0 / (rho * pres * sound2[i])
        per_sound2 = per_all * rho * pres
        d_flow = limited(flow - all_flow[i], all_flow[i + 2] - flow, wl[i], wr[i])
        down_p, up_p = pres - all_pres[i], all_pres[i + 2] - pres
        d_pres = limited(down_p, up_p, wl[i], wr[i])
        d_yf = limited_contact(yf - all_yf[i], all_yf[i + 2] - yf, sl[i], sr[i])
        d_yb = limited_contact(yb - all_yb[i], all_yb[i + 2] - yb, sl[i], sr[i])
        # density: what pressure explains, and the contact; together never beyond the neighbours' means
        down, up = rho - all_rho[i], all_rho[i + 2] - rho
        both = d_pres * per_sound2 + limited_contact(down - down_p * per_sound2, up - up_p * per_sound2, sl[i], sr[i])
        most = 2.0 * min(abs(down), abs(up)) if down * up > 0.0 else 0.0
        d_rho = min(max(both, 0.0), most) if down > 0.0 else max(min(both, 0.0), -most)
        u = vel[i]
        per_area = per_a[i]
        per_rho = per_all * pres * sound2[i]
        per_pres = per_all * rho * sound2[i]
        drag = friction[i] * abs(u)
        warm = heat[i] * (wall_t[i] - temp[i])
        du = (flow + 0.5 * d_flow) * per_r[i] - (flow - 0.5 * d_flow) * per_l[i]
        step = half_dt * inv_length[i]
        ch_rho = -step * per_area * (rho * d_flow + flow * d_rho)
        ch_vel = -step * (u * du + d_pres * per_rho) - half_dt * drag * u
        ch_pres = -step * (u * d_pres + rho * sound2[i] * per_area * d_flow) + half_dt * grun[i] * (
            warm + rho * drag * u * u
        )
        ch_yf = -step * u * d_yf
        ch_yb = -step * u * d_yb
        # half-time means; a change that would empty the cell falls back to the cell's own value
        sound = (rho + ch_rho > 0.2 * rho + 0.5 * abs(d_rho)) & (pres + ch_pres > 0.2 * pres + 0.5 * abs(d_pres))
        ch_rho = ch_rho if sound else 0.0
        ch_pres = ch_pres if sound else 0.0
        d_rho = d_rho if sound else 0.0
        d_pres = d_pres if sound else 0.0
        rho_h = rho + ch_rho
        pres_h = pres + ch_pres
        flow_h = flow + ch_vel * area[i]
        l_rho[i] = rho_h + 0.5 * d_rho
        r_rho[i] = rho_h - 0.5 * d_rho
        l_pres[i] = pres_h + 0.5 * d_pres
        r_pres[i] = pres_h - 0.5 * d_pres
        l_vel[i] = (flow_h + 0.5 * d_flow) * per_r[i]
        r_vel[i] = (flow_h - 0.5 * d_flow) * per_l[i]
        l_yf[i] = min(max(yf + ch_yf + 0.5 * d_yf, 0.0), 1.0)
        r_yf[i] = min(max(yf + ch_yf - 0.5 * d_yf, 0.0), 1.0)
        l_yb[i] = min(max(yb + ch_yb + 0.5 * d_yb, 0.0), 1.0)
        r_yb[i] = min(max(yb + ch_yb - 0.5 * d_yb, 0.0), 1.0)
        u_h = u + ch_vel
        src_m[i] = pres_h * (area_r[i] - area_l[i]) - rho_h * friction[i] * u_h * abs(u_h) * size[i]
        src_e[i] = heat[i] * (wall_t[i] - temp[i] * (1.0 + ch_pres * per_pres - ch_rho * per_rho)) * size[i]


@kernel
def fluxes(half, face_area, gas, flux):
    """HLLC flux times area through the faces of the cells of `reconstruct`, the last one's far face excepted, which is an end;
    half (10, n+1), face_area (n+1,), flux (FIELDS, n+1). The pipes' ends overwrite theirs afterwards."""
    _fluxes(
        half, face_area[1:-2], gas,
        flux[MASS, 1:-2], flux[MOMENTUM, 1:-2], flux[ENERGY, 1:-2], flux[FUEL, 1:-2], flux[BURNED, 1:-2],
    )  # fmt: skip


@kernel_of_rows
def _fluxes(half, face_area, gas, f_mass, f_mom, f_energy, f_fuel, f_burned):
    r0, r1, r2 = gas.r[0], gas.r[1] - gas.r[0], gas.r[2] - gas.r[0]
    a, f, b = gas.e[0], gas.e[1], gas.e[2]
    a0, a1, a2, a3, a4, a5, a6, a7, a8, a9 = a[0], a[1], a[2], a[3], a[4], a[5], a[6], a[7], a[8], a[9]
    f0, f1, f2, f3, f4 = f[0] - a0, f[1] - a1, f[2] - a2, f[3] - a3, f[4] - a4
    f5, f6, f7, f8, f9 = f[5] - a5, f[6] - a6, f[7] - a7, f[8] - a8, f[9] - a9
    b0, b1, b2, b3, b4 = b[0] - a0, b[1] - a1, b[2] - a2, b[3] - a3, b[4] - a4
    b5, b6, b7, b8, b9 = b[5] - a5, b[6] - a6, b[7] - a7, b[8] - a8, b[9] - a9
    l_rho, l_vel, l_pres = half[L_RHO, 1:-2], half[L_VEL, 1:-2], half[L_PRES, 1:-2]
    r_rho, r_vel, r_pres = half[R_RHO, 1:-2], half[R_VEL, 1:-2], half[R_PRES, 1:-2]
    l_yf, l_yb, r_yf, r_yb = half[L_YF, 1:-2], half[L_YB, 1:-2], half[R_YF, 1:-2], half[R_YB, 1:-2]
    for i in range(face_area.shape[0]):
        rl, ul, pl, yfl, ybl = l_rho[i], l_vel[i], l_pres[i], l_yf[i], l_yb[i]
        rr, ur, pr, yfr, ybr = r_rho[i], r_vel[i], r_pres[i], r_yf[i], r_yb[i]
        gas_l = r0 + yfl * r1 + ybl * r2
        gas_r = r0 + yfr * r1 + ybr * r2
        heavy_l = rl * gas_l
        heavy_r = rr * gas_r
        per_heavy = 1e-3 / (heavy_l * heavy_r)
        tl = pl * heavy_r * per_heavy
        tr = pr * heavy_l * per_heavy
        c0, c1, c2 = mixed(yfl, ybl, a0, f0, b0), mixed(yfl, ybl, a1, f1, b1), mixed(yfl, ybl, a2, f2, b2)
        c3, c4, c5 = mixed(yfl, ybl, a3, f3, b3), mixed(yfl, ybl, a4, f4, b4), mixed(yfl, ybl, a5, f5, b5)
        c6, c7 = mixed(yfl, ybl, a6, f6, b6), mixed(yfl, ybl, a7, f7, b7)
        c8, c9 = mixed(yfl, ybl, a8, f8, b8), mixed(yfl, ybl, a9, f9, b9)
        xl = max(tl - 1.0, 0.0)
        el = muladd(xl * xl, cubic(xl, c6, c7, c8, c9), quintic(tl, c0, c1, c2, c3, c4, c5))
        cvl = quartic(tl, c1, 2.0 * c2, 3.0 * c3, 4.0 * c4, 5.0 * c5)
        cvl = muladd(xl, cubic(xl, 2.0 * c6, 3.0 * c7, 4.0 * c8, 5.0 * c9), cvl)
        d0, d1, d2 = mixed(yfr, ybr, a0, f0, b0), mixed(yfr, ybr, a1, f1, b1), mixed(yfr, ybr, a2, f2, b2)
        d3, d4, d5 = mixed(yfr, ybr, a3, f3, b3), mixed(yfr, ybr, a4, f4, b4), mixed(yfr, ybr, a5, f5, b5)
        d6, d7 = mixed(yfr, ybr, a6, f6, b6), mixed(yfr, ybr, a7, f7, b7)
        d8, d9 = mixed(yfr, ybr, a8, f8, b8), mixed(yfr, ybr, a9, f9, b9)
        xr = max(tr - 1.0, 0.0)
        er = muladd(xr * xr, cubic(xr, d6, d7, d8, d9), quintic(tr, d0, d1, d2, d3, d4, d5))
        cvr = quartic(tr, d1, 2.0 * d2, 3.0 * d3, 4.0 * d4, 5.0 * d5)
        cvr = muladd(xr, cubic(xr, 2.0 * d6, 3.0 * d7, 4.0 * d8, 5.0 * d9), cvr)
        # sound speeds; Einfeldt's estimate of the fastest waves from density-weighted means
        per_cv = 1e3 / (cvl * cvr)
        al2 = 1e3 * tl * gas_l * (1.0 + gas_l * cvr * per_cv)
        ar2 = 1e3 * tr * gas_r * (1.0 + gas_r * cvl * per_cv)
        mean = np.sqrt(rl * rr)
        per_sum = 1.0 / (rl + mean)
        wl = rl * per_sum
        wr = mean * per_sum
        u_mean = wl * ul + wr * ur
        d_mean = np.sqrt(wl * al2 + wr * ar2 + 0.5 * wl * wr * (ur - ul) * (ur - ul))
        sl = min(ul - np.sqrt(al2), u_mean - d_mean)
        sr = max(ur + np.sqrt(ar2), u_mean + d_mean)
        ml = rl * (sl - ul)
        mr = rr * (sr - ur)
        s_star = (pr - pl + ml * ul - mr * ur) / (ml - mr)
        left = s_star >= 0.0
        rho = rl if left else rr
        u = ul if left else ur
        pres = pl if left else pr
        yf = yfl if left else yfr
        yb = ybl if left else ybr
        energy = (el if left else er) + 0.5 * u * u  # total, per mass
        speed = sl if left else sr
        bounded = min(speed, 0.0) if left else max(speed, 0.0)
        relative = speed - u
        flowing = rho * relative
        ahead = speed - s_star
        per_both = 1.0 / (flowing * ahead)
        rho_star = flowing * flowing * per_both
        e_star = energy + (s_star - u) * (s_star + pres * ahead * per_both)
        mass = rho * u + bounded * (rho_star - rho)
        area = face_area[i]
        f_mass[i] = area * mass
        f_mom[i] = area * (rho * u * u + pres + bounded * (rho_star * s_star - rho * u))
        f_energy[i] = area * ((rho * energy + pres) * u + bounded * (rho_star * e_star - rho * energy))
        f_fuel[i] = area * mass * yf
        f_burned[i] = area * mass * yb


@kernel
def update(cells, before, flux, geometry, wall, dt):
    """Conserved values at the end of the step, in place; those at its start are kept in `before` (FIELDS, n). All cells but
    the first and the last."""
    _update(
        cells[MASS, 1:-1], cells[MOMENTUM, 1:-1], cells[ENERGY, 1:-1], cells[FUEL, 1:-1], cells[BURNED, 1:-1],
        before[MASS, 1:-1], before[MOMENTUM, 1:-1], before[ENERGY, 1:-1], before[FUEL, 1:-1], before[BURNED, 1:-1],
        flux, wall[SRC_MOMENTUM, 1:-1], wall[SRC_ENERGY, 1:-1], geometry[VOLUME_INV, 1:-1], dt,
    )  # fmt: skip


@kernel_of_rows
def _update(
    mass, momentum, energy, fuel, burned, b_mass, b_momentum, b_energy, b_fuel, b_burned, flux, src_m, src_e, per_volume, dt
):
    n = mass.shape[0]
    l_mass, l_mom, l_energy = flux[MASS, 1:-2], flux[MOMENTUM, 1:-2], flux[ENERGY, 1:-2]
    r_mass, r_mom, r_energy = flux[MASS, 2:-1], flux[MOMENTUM, 2:-1], flux[ENERGY, 2:-1]
    l_fuel, l_burned, r_fuel, r_burned = flux[FUEL, 1:-2], flux[BURNED, 1:-2], flux[FUEL, 2:-1], flux[BURNED, 2:-1]
    for i in range(n):
        k = dt * per_volume[i]
        b_mass[i], b_momentum[i], b_energy[i], b_fuel[i], b_burned[i] = mass[i], momentum[i], energy[i], fuel[i], burned[i]
        mass[i] = b_mass[i] + k * (l_mass[i] - r_mass[i])
        momentum[i] = b_momentum[i] + k * (l_mom[i] - r_mom[i] + src_m[i])
        energy[i] = b_energy[i] + k * (l_energy[i] - r_energy[i] + src_e[i])
        fuel[i] = b_fuel[i] + k * (l_fuel[i] - r_fuel[i])
        burned[i] = b_burned[i] + k * (l_burned[i] - r_burned[i])


@kernel
def primitives(cells, temps, geometry, gas, w, wall):
    """Primitive rows from the conserved ones, of all cells but the first and the last; temperature by one Halley and one
    Newton step from the last value."""
    _primitives(
        cells, temps[1:-1], geometry[AREA, 1:-1], geometry[INV_LENGTH, 1:-1], gas,
        w[RHO, 1:-1], w[FLOW, 1:-1], w[PRES, 1:-1], w[YF, 1:-1], w[YB, 1:-1],
        w[VEL, 1:-1], w[TEMP, 1:-1], w[SOUND2, 1:-1], w[GRUN, 1:-1], wall[RATE, 1:-1],
    )  # fmt: skip


@kernel_of_rows
def _primitives(
    cells, temps, area, inv_length, gas, w_rho, w_flow, w_pres, w_yf, w_yb, w_vel, w_temp, w_sound2, w_grun, rate
):
    n = temps.shape[0]
    mass, momentum, total = cells[MASS, 1:-1], cells[MOMENTUM, 1:-1], cells[ENERGY, 1:-1]
    fuel, burned = cells[FUEL, 1:-1], cells[BURNED, 1:-1]
    r0, r1, r2 = gas.r[0], gas.r[1] - gas.r[0], gas.r[2] - gas.r[0]
    a, f, b = gas.e[0], gas.e[1], gas.e[2]
    a0, a1, a2, a3, a4, a5, a6, a7, a8, a9 = a[0], a[1], a[2], a[3], a[4], a[5], a[6], a[7], a[8], a[9]
    f0, f1, f2, f3, f4 = f[0] - a0, f[1] - a1, f[2] - a2, f[3] - a3, f[4] - a4
    f5, f6, f7, f8, f9 = f[5] - a5, f[6] - a6, f[7] - a7, f[8] - a8, f[9] - a9
    b0, b1, b2, b3, b4 = b[0] - a0, b[1] - a1, b[2] - a2, b[3] - a3, b[4] - a4
    b5, b6, b7, b8, b9 = b[5] - a5, b[6] - a6, b[7] - a7, b[8] - a8, b[9] - a9
    for i in range(n):
        rho = mass[i]
        per_mass = 1.0 / rho
        u = momentum[i] * per_mass
        yf = fuel[i] * per_mass
        yb = burned[i] * per_mass
        e = total[i] * per_mass - 0.5 * u * u
        c0, c1, c2 = mixed(yf, yb, a0, f0, b0), mixed(yf, yb, a1, f1, b1), mixed(yf, yb, a2, f2, b2)
        c3, c4, c5 = mixed(yf, yb, a3, f3, b3), mixed(yf, yb, a4, f4, b4), mixed(yf, yb, a5, f5, b5)
        c6, c7 = mixed(yf, yb, a6, f6, b6), mixed(yf, yb, a7, f7, b7)
        c8, c9 = mixed(yf, yb, a8, f8, b8), mixed(yf, yb, a9, f9, b9)
        k2, k3, k4, k5 = 2.0 * c2, 3.0 * c3, 4.0 * c4, 5.0 * c5
        k6, k7, k8, k9 = 2.0 * c6, 3.0 * c7, 4.0 * c8, 5.0 * c9
        t = temps[i]
        x = max(t - 1.0, 0.0)
        miss = e - muladd(x * x, cubic(x, c6, c7, c8, c9), quintic(t, c0, c1, c2, c3, c4, c5))
        cv = muladd(x, cubic(x, k6, k7, k8, k9), quartic(t, c1, k2, k3, k4, k5))
        curve = cubic(t, k2, 2.0 * k3, 3.0 * k4, 4.0 * k5)
        curve += cubic(x, k6, 2.0 * k7, 3.0 * k8, 4.0 * k9) if t > 1.0 else 0.0
        t += miss * cv / (cv * cv + 0.5 * miss * curve)
        x = max(t - 1.0, 0.0)
        miss = e - muladd(x * x, cubic(x, c6, c7, c8, c9), quintic(t, c0, c1, c2, c3, c4, c5))
        cv = muladd(x, cubic(x, k6, k7, k8, k9), quartic(t, c1, k2, k3, k4, k5))
        per_cv = 1.0 / cv
        t += miss * per_cv
        temps[i] = t
        r = r0 + yf * r1 + yb * r2
        grun = 1e3 * r * per_cv
        pres = rho * r * t * 1e3
        sound2 = (1.0 + grun) * r * t * 1e3
        w_rho[i] = rho
        w_vel[i] = u
        w_flow[i] = u * area[i]
        w_pres[i] = pres
        w_yf[i] = yf
        w_yb[i] = yb
        w_temp[i] = t * 1e3
        w_grun[i] = grun
        w_sound2[i] = sound2
        rate[i] = (abs(u) + np.sqrt(sound2)) * inv_length[i] if rho > 0.0 else np.nan


@kernel
def fastest(rate):
    """Largest rate [1/s], 0 without pipes; read as integers, which order like positive floats and reduce in registers."""
    bits = rate.view(np.int64)
    largest = np.int64(0)
    for i in range(bits.shape[0]):
        largest = max(largest, bits[i])
    return largest
