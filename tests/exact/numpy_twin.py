"""The passes over the cells once more, in plain numpy: slower, to be read, and to check the compiled kernels against.

Arrays run over all cells of all pipes with one ghost cell at either end of every pipe, as in `waveflow.physics.layout`.
The scheme is described in `waveflow.physics.pipes`; nothing here is shared with it but the names of the rows.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from waveflow.physics import layout as lay
from waveflow.physics.gas import (
    Gas,
    gas_constant,
    internal_energy,
    sound_speed,
    specific_heat_v,
    temperature_from_energy,
)


@dataclass
class Primitive:
    """Density, volume flow u A, pressure, fuel and burned fractions, and what follows from them, a value a cell."""

    rho: NDArray
    flow: NDArray
    pres: NDArray
    yf: NDArray
    yb: NDArray
    vel: NDArray
    temp: NDArray
    sound: NDArray
    grun: NDArray  # R / cv


def primitive(cells: NDArray, geometry: NDArray, gas: Gas) -> Primitive:
    """From mass, momentum, energy and species per volume; the temperature by inverting e(T) completely."""
    rho, momentum, energy, fuel, burned = cells
    vel, yf, yb = momentum / rho, fuel / rho, burned / rho
    temp = temperature_from_energy(gas, energy / rho - 0.5 * vel**2, yf, yb)
    r = gas_constant(gas, yf, yb)
    return Primitive(
        rho, vel * geometry[lay.AREA], rho * r * temp, yf, yb, vel, temp, sound_speed(gas, temp, yf, yb),
        r / specific_heat_v(gas, temp, yf, yb),
    )  # fmt: skip


def limited(values: NDArray, geometry: NDArray) -> NDArray[np.float64]:
    """Change across each inner cell, by van Leer's monotonised central limiter on cells of unequal length."""
    down, up = values[1:-1] - values[:-2], values[2:] - values[1:-1]
    centre = geometry[lay.WEIGHT_L, 1:-1] * down + geometry[lay.WEIGHT_R, 1:-1] * up
    size = np.minimum(np.abs(centre), 2.0 * np.minimum(np.abs(down), np.abs(up)))
    return np.where(down * up > 0.0, np.copysign(size, centre), 0.0)


def limited_contact(down: NDArray, up: NDArray, geometry: NDArray) -> NDArray[np.float64]:
    """Change of what moves with the gas: 1/2 + q/2, but (2 q - 5/4) up to 3/2 where that is more, at most 2, times the
    smaller of the changes on both sides; q: the larger over the smaller."""
    a, b = np.abs(down) * geometry[lay.STRETCH_L, 1:-1], np.abs(up) * geometry[lay.STRETCH_R, 1:-1]
    less = np.minimum(a, b)
    q = np.divide(np.maximum(a, b), less, out=np.full_like(a, 1.0), where=less > 0.0)
    size = less * np.minimum(np.maximum(0.5 + 0.5 * q, np.minimum(2.0 * q - 1.25, 1.5)), 2.0)
    return np.where(down * up > 0.0, np.copysign(size, down), 0.0)


def differences(values: NDArray) -> tuple[NDArray, NDArray]:
    return values[1:-1] - values[:-2], values[2:] - values[1:-1]


def limited_density(w: Primitive, d_pres: NDArray, geometry: NDArray) -> NDArray[np.float64]:
    """Change of density: with pressure at constant entropy, and of the contact; between the neighbours."""
    (down, up), (down_p, up_p) = differences(w.rho), differences(w.pres)
    square = w.sound[1:-1] ** 2
    both = d_pres / square + limited_contact(down - down_p / square, up - up_p / square, geometry)
    most = np.where(down * up > 0.0, 2.0 * np.minimum(np.abs(down), np.abs(up)), 0.0)
    return np.where(down > 0.0, np.clip(both, 0.0, most), np.clip(both, -most, 0.0))


def half_states(w: Primitive, geometry: NDArray, friction: NDArray, heat: NDArray, dt: float):
    """(states (5, n) on the left face of every inner cell, on its right face, momentum source [N], heat [W]) at half time.

    friction: f/(2D) [1/m]; heat: h P/A [W/m3/K]. The quasi-linear equations with u A as a variable:
    rho_t = -(rho q_x + q rho_x)/A, u_t = -u u_x - p_x/rho, p_t = -u p_x - rho a^2 q_x / A, q = u A.
    """
    g, inner = geometry[:, 1:-1], slice(1, -1)
    rho, flow, pres, vel = w.rho[inner], w.flow[inner], w.pres[inner], w.vel[inner]
    temp, sound, grun, drag_of = w.temp[inner], w.sound[inner], w.grun[inner], friction[inner]
    d_flow, d_pres = limited(w.flow, geometry), limited(w.pres, geometry)
    d_rho = limited_density(w, d_pres, geometry)
    d_yf, d_yb = (limited_contact(*differences(x), geometry) for x in (w.yf, w.yb))
    dx, area, area_l, area_r = g[lay.LENGTH], g[lay.AREA], g[lay.AREA_L], g[lay.AREA_R]
    d_vel = (flow + 0.5 * d_flow) / area_r - (flow - 0.5 * d_flow) / area_l
    drag = drag_of * vel * np.abs(vel)  # deceleration [m/s2]
    warmth = heat[inner] * (g[lay.WALL_T] - temp)  # [W/m3]
    rho_t = -(rho * d_flow + flow * d_rho) / (area * dx)
    vel_t = -(vel * d_vel + d_pres / rho) / dx - drag
    pres_t = -(vel * d_pres + rho * sound**2 * d_flow / area) / dx + grun * (warmth + rho * drag * vel)
    half = 0.5 * dt
    ch_rho, ch_pres = half * rho_t, half * pres_t
    # a cell that would run empty on either face keeps its own density and pressure
    kept = (rho + ch_rho <= 0.2 * rho + 0.5 * np.abs(d_rho)) | (pres + ch_pres <= 0.2 * pres + 0.5 * np.abs(d_pres))
    ch_rho, ch_pres, d_rho, d_pres = (np.where(kept, 0.0, x) for x in (ch_rho, ch_pres, d_rho, d_pres))
    rho_h, pres_h, vel_h = rho + ch_rho, pres + ch_pres, vel + half * vel_t
    flow_h = flow + half * vel_t * area
    yf_h, yb_h = w.yf[inner] - half * vel * d_yf / dx, w.yb[inner] - half * vel * d_yb / dx

    def face(sign, face_area):
        return np.array(
            [
                rho_h + sign * 0.5 * d_rho,
                (flow_h + sign * 0.5 * d_flow) / face_area,
                pres_h + sign * 0.5 * d_pres,
                np.clip(yf_h + sign * 0.5 * d_yf, 0.0, 1.0),
                np.clip(yb_h + sign * 0.5 * d_yb, 0.0, 1.0),
            ]
        )

    push = pres_h * (area_r - area_l) - rho_h * drag_of * vel_h * np.abs(vel_h) * area * dx
    temp_h = temp * (1.0 + ch_pres / pres - ch_rho / rho)
    return face(-1.0, area_l), face(1.0, area_r), push, heat[inner] * (g[lay.WALL_T] - temp_h) * area * dx


def flux(left: NDArray, right: NDArray, area: NDArray, gas: Gas) -> NDArray[np.float64]:
    """HLLC flux times area between left and right states (5, faces): rho, u, p, fuel and burned fractions.

    E. F. Toro, M. Spruce & W. Speares, "Restoration of the contact surface in the HLL Riemann solver", Shock Waves 4
    (1994); outer speeds by B. Einfeldt, "On Godunov-type methods for gas dynamics", SIAM J. Numer. Anal. 25 (1988).
    """
    sides = []
    for rho, vel, pres, yf, yb in (left, right):
        temp = pres / (rho * gas_constant(gas, yf, yb))
        energy = rho * (internal_energy(gas, temp, yf, yb) + 0.5 * vel**2)
        conserved = np.array([rho, rho * vel, energy, rho * yf, rho * yb])
        through = vel * conserved + np.array([0.0 * pres, pres, pres * vel, 0.0 * pres, 0.0 * pres])
        sides.append((conserved, through, sound_speed(gas, temp, yf, yb) ** 2))
    (u_l, f_l, a2_l), (u_r, f_r, a2_r) = sides
    rho_l, vel_l, pres_l, _, _ = left
    rho_r, vel_r, pres_r, _, _ = right
    root_l, root_r = np.sqrt(rho_l), np.sqrt(rho_r)
    both = root_l + root_r
    mean_vel = (root_l * vel_l + root_r * vel_r) / both
    mean_sound = np.sqrt((root_l * a2_l + root_r * a2_r) / both + 0.5 * root_l * root_r / both**2 * (vel_r - vel_l) ** 2)
    s_l = np.minimum(vel_l - np.sqrt(a2_l), mean_vel - mean_sound)
    s_r = np.maximum(vel_r + np.sqrt(a2_r), mean_vel + mean_sound)
    m_l, m_r = rho_l * (s_l - vel_l), rho_r * (s_r - vel_r)
    s_star = (pres_r - pres_l + m_l * vel_l - m_r * vel_r) / (m_l - m_r)

    def star(conserved, state, speed):
        rho, vel, pres, yf, yb = state
        packed = rho * (speed - vel) / (speed - s_star)
        energy = conserved[2] / rho + (s_star - vel) * (s_star + pres / (rho * (speed - vel)))
        return packed * np.array([np.ones_like(rho), s_star, energy, yf, yb])

    through_l = np.where(s_l < 0.0, f_l + s_l * (star(u_l, left, s_l) - u_l), f_l)
    through_r = np.where(s_r > 0.0, f_r + s_r * (star(u_r, right, s_r) - u_r), f_r)
    return area * np.where(s_star >= 0.0, through_l, through_r)


def updated(cells: NDArray, fluxes: NDArray, push: NDArray, warmth: NDArray, geometry: NDArray, dt: float):
    """Conserved rows of the inner cells after dt [s]; fluxes (5, faces of the inner cells), in the order of `layout`."""
    new = cells[:, 1:-1] + dt * geometry[lay.VOLUME_INV, 1:-1] * (fluxes[:, :-1] - fluxes[:, 1:])
    new[lay.MOMENTUM] += dt * geometry[lay.VOLUME_INV, 1:-1] * push
    new[lay.ENERGY] += dt * geometry[lay.VOLUME_INV, 1:-1] * warmth
    return new
