"""Gas that a cylinder pushed back into its intake port: it lies in layers at the valve, and the last in is the first out.

Without more, the cell next to the valve would mix it with what was there, and the cylinder would draw the mixture for a long
time after: hot residual gas pushed back at overlap cost a single cylinder 0.4 % of its filling on cells
of 20 mm, by far the largest error of such cells. The layers are contacts inside that one cell, known by their masses and
sizes. They tell which gas stands at the valve and which at the cell's other face; the fluxes follow from that as from any
reconstruction, so nothing is gained or lost. Layers and the rest always fill the cell and hold no more of a species than it
does: since all of it is at one pressure, that makes their energies right, too. What is pushed out of the cell on its far side
is forgotten; the cells carry that contact as any other. Where a flow turns out so much stronger than foreseen that a species
would be overdrawn, the layers are given up and the step is made without them. Exhaust ports go without layers: what they give
back is as hot as what lies there, and it made no difference.
"""

from __future__ import annotations

import numpy as np

from waveflow.compiled import inner_kernel, kernel
from waveflow.physics.layout import (
    AREA_L,
    AREA_R,
    BURNED,
    FUEL,
    INTAKE_VALVE,
    L_PRES,
    L_RHO,
    L_VEL,
    L_YB,
    L_YF,
    LAYER,
    LAYERS,
    MASS,
    PRES,
    RHO,
    S_BURNED,
    S_FUEL,
    S_MASS,
    S_SIZE,
    SIZE,
    SLUG_COUNT,
    SLUG_LAYER,
    SLUG_PRES,
    SOUND2,
    V_TEMP,
    VEL,
)
from waveflow.physics.layout import R_RHO as RIGHT
from waveflow.physics.thermo import gas_constant, mixture, temperature_of_enthalpy

FULL = 0.95  # share of a cell's mass from which its layers count as the whole cell
_ALIKE_SIZE, _ALIKE_BURNED = 0.08, 0.04  # relative size, share of burned gas: nearer than both, gas joins the uppermost layer
_SHARP_SIZE, _SHARP_BURNED = 0.02, 0.01  # in a full cell, from here on the deepest layer stands at its far side, not the slope
_BEYOND = 0.05  # how far outside the cell's mean and its neighbour the specific volume of the rest may lie
_AHEAD, _LEAST = 1.5, 0.005  # flow of a step, share of the cell: how far a face looks into the layers
_LEAST_FILLED = 0.1  # least factor by which layers are made to fill their cell, and least share of its mean specific volume
_OVERDRAWN = 1e-12  # mass fraction below 0 that is more than round-off
_OVERDRAWN_AIR = 1e-6  # the same for air, the difference of two fractions that are limited apart
_NOTHING = 1e-6  # share of a cell's mass that is no layer


@inner_kernel
def _squeezed(pres, before, kappa):
    """Density ratio of an isentropic change from `before` to `pres`; to third order in the change."""
    x = (pres - before) / ((pres + before) * kappa)
    return (1.0 + x) / (1.0 - x)


@inner_kernel
def _sums(row, count):
    """Mass, fuel vapour, burned gas [kg] and size [m3] of all layers."""
    mass, fuel, burned, size = 0.0, 0.0, 0.0, 0.0
    for k in range(count):
        at = SLUG_LAYER + LAYER * k
        mass += row[at + S_MASS]
        fuel += row[at + S_FUEL]
        burned += row[at + S_BURNED]
        size += row[at + S_SIZE]
    return mass, fuel, burned, size


@inner_kernel
def _thin(row, count, fuel, burned):
    for k in range(count):
        at = SLUG_LAYER + LAYER * k
        row[at + S_FUEL] *= fuel
        row[at + S_BURNED] *= burned


@inner_kernel
def _resize(row, count, factor):
    for k in range(count):
        row[SLUG_LAYER + LAYER * k + S_SIZE] *= factor


@inner_kernel
def _scale_layer(row, at, factor):
    for k in range(LAYER):
        row[at + k] *= factor


@inner_kernel
def _first_out(row, count, inward, rest, wanted):
    """Specific volume and mass fractions of fuel vapour and burned gas, means of the `wanted` kg that leave first.

    Seen from the valve (inward -1.0) the layers leave before the rest of the cell, from the far side (1.0) after it.
    rest: mass, fuel vapour, burned gas, size.
    """
    mass, size, fuel, burned = 0.0, 0.0, 0.0, 0.0
    k, step = count - 1, -1
    if inward > 0.0:
        k, step = 0, 1
        part = min(1.0, wanted / rest[0]) if rest[0] > 0.0 else 0.0
        mass, fuel, burned, size = part * rest[0], part * rest[1], part * rest[2], part * rest[3]
    while mass < wanted and 0 <= k < count:
        at = SLUG_LAYER + LAYER * k
        part = min(1.0, (wanted - mass) / row[at])
        mass += part * row[at + S_MASS]
        size += part * row[at + S_SIZE]
        fuel += part * row[at + S_FUEL]
        burned += part * row[at + S_BURNED]
        k += step
    if inward < 0.0 and mass < wanted and rest[0] > 0.0:
        part = min(1.0, (wanted - mass) / rest[0])
        mass, fuel, burned, size = mass + part * rest[0], fuel + part * rest[1], burned + part * rest[2], size + part * rest[3]
    per = 1.0 / mass
    return size * per, fuel * per, burned * per


@kernel
def part_slugs(net, w, cells, slugs, openings, through, dt, half):
    """Density and composition on both faces of the cells that hold layers: half (10, faces) is overwritten there.

    A face gets the mean of what will leave through it in this step, judged by the speed there and by the fluxes of the step
    before, through (ends, 5), and of half as much again: what a growing flow took beyond a layer would be missing behind it.
    Nothing leaves at a shut valve (openings (ends, 2) both 0), so its face is left as it is.
    """
    for n in range(slugs.shape[0]):
        row = slugs[n]
        count = int(row[SLUG_COUNT])
        if count == 0:
            continue
        end = net.end[n]
        c = end.cell
        if end.sign > 0.0:
            face, source, far, far_source, far_area = end.face, L_RHO, end.face - 1, RIGHT, net.geometry[AREA_L, c]
        else:
            face, source, far, far_source, far_area = end.face, RIGHT, end.face + 1, L_RHO, net.geometry[AREA_R, c]
        rho, pres, space = w[RHO, c], w[PRES, c], net.geometry[SIZE, c]
        whole = rho * space
        kappa = w[SOUND2, c] * rho / pres
        layers = _sums(row, count)
        mass = max(whole - layers[0], 0.0)
        rest = (
            mass,
            min(max(cells[FUEL, c] * space - layers[1], 0.0), mass),
            min(max(cells[BURNED, c] * space - layers[2], 0.0), mass),
            max(space - layers[3], _LEAST_FILLED * mass / rho),
        )
        if openings[n, 0] > 0.0 or openings[n, 1] > 0.0:
            leaving = max(through[n, 0], rho * end.sign * half[source + L_VEL, face]) * end.area
            volume, fuel, burned = _first_out(row, count, -1.0, rest, max(_AHEAD * leaving * dt, _LEAST * whole))
            half[source + L_RHO, face] = _squeezed(half[source + L_PRES, face], pres, kappa) / volume
            half[source + L_YF, face], half[source + L_YB, face] = fuel, burned
        # the far side also answers to a pressure that has no speed yet
        push = max(half[far_source + L_PRES, far] - half[source + L_PRES, far], 0.0) / (rho * np.sqrt(w[SOUND2, c]))
        leaving = rho * (push - end.sign * half[far_source + L_VEL, far]) * far_area
        volume, fuel, burned = _first_out(row, count, 1.0, rest, max(_AHEAD * leaving * dt, _LEAST * whole))
        sharp = abs(volume * rho - 1.0) > _SHARP_SIZE or abs(burned - cells[BURNED, c] / rho) > _SHARP_BURNED
        if mass > (1.0 - FULL) * whole or sharp:
            half[far_source + L_RHO, far] = _squeezed(half[far_source + L_PRES, far], pres, kappa) / volume
            half[far_source + L_YF, far], half[far_source + L_YB, far] = fuel, burned


@kernel
def forget_overdrawn(net, cells, slugs):
    """Forget the layers of every cell that gave more of a species than it had; returns whether there was one: the step is then
    to be repeated without them."""
    found = False
    for n in range(slugs.shape[0]):
        if slugs[n, SLUG_COUNT] > 0.0:
            c = net.end[n].cell
            spare = _OVERDRAWN * cells[MASS, c]
            fuel, burned = cells[FUEL, c], cells[BURNED, c]
            air = cells[MASS, c] - fuel - burned
            if not (fuel > -spare and burned > -spare and air > -_OVERDRAWN_AIR * cells[MASS, c]):
                slugs[n, SLUG_COUNT] = 0.0
                found = True
    return found


@kernel
def follow_slugs(net, gas, cells, w, vols, through, dt, slugs):
    """Layers (ends, SLUG) after a step of dt [s] with the fluxes `through` (ends, 5); w and cells at its end."""
    for n in range(slugs.shape[0]):
        end = net.end[n]
        if end.role != INTAKE_VALVE:
            continue
        row = slugs[n]
        count = int(row[SLUG_COUNT])
        moved = -through[n, 0] * end.area * dt
        if count == 0 and moved <= 0.0:
            continue
        c = end.cell
        pres = w[PRES, c]
        if count > 0:
            kappa = w[SOUND2, c] * w[RHO, c] / pres
            _resize(row, count, 1.0 / _squeezed(pres, row[SLUG_PRES], kappa))
        row[SLUG_PRES] = pres
        if moved > 0.0:
            count = _push(row, count, gas, through[n], moved, pres, w[VEL, c], vols[end.volume, V_TEMP])
        else:
            count = _pop(row, count, -moved)
        near = c - 1 if end.sign > 0.0 else c + 1
        space = net.geometry[SIZE, c]
        whole = w[RHO, c] * space
        count = _no_deeper(row, count, whole)
        if count > 0:
            _reconcile(row, count, space, cells[FUEL, c] * space, cells[BURNED, c] * space, w[RHO, c], w[RHO, near])
        row[SLUG_COUNT] = count


@inner_kernel
def _push(row, count, gas, through, moved, pres, vel, guess):
    """Lay `moved` kg of what came in upon the layers; the gas comes to the cell's pressure and speed. Returns their number."""
    per = 1.0 / through[0]
    yf, yb = through[3] * per, through[4] * per
    r = gas_constant(gas, yf, yb)
    temp = temperature_of_enthalpy(mixture(gas, yf, yb), r, through[2] * per - 0.5 * vel * vel, guess)
    size = moved * r * temp / pres
    top = SLUG_LAYER + LAYER * (count - 1)
    if (
        count == 0
        or abs(row[top + S_SIZE] * moved - size * row[top]) > _ALIKE_SIZE * size * row[top]
        or abs(row[top + S_BURNED] - yb * row[top]) > _ALIKE_BURNED * row[top]
    ):
        if count == LAYERS:  # the two deepest become one
            for k in range(LAYER):
                row[SLUG_LAYER + LAYER + k] += row[SLUG_LAYER + k]
            _drop_deepest(row, count, count - LAYERS + 1)
            count -= 1
        count += 1
        top = SLUG_LAYER + LAYER * (count - 1)
        for k in range(LAYER):
            row[top + k] = 0.0
    row[top + S_MASS] += moved
    row[top + S_FUEL] += moved * yf
    row[top + S_BURNED] += moved * yb
    row[top + S_SIZE] += size
    return count


@inner_kernel
def _pop(row, count, gone):
    """Take `gone` kg off the layers from the valve on. Returns their number."""
    while gone > 0.0 and count > 0:
        top = SLUG_LAYER + LAYER * (count - 1)
        if row[top] <= 1.001 * gone:
            gone -= row[top]
            count -= 1
        else:
            _scale_layer(row, top, 1.0 - gone / row[top])
            gone = 0.0
    return count


@inner_kernel
def _no_deeper(row, count, whole):
    """Cut off what lies deeper than the cell, which holds `whole` kg. Returns the number of layers."""
    room = whole
    lowest = count
    while lowest > 0 and room > _NOTHING * whole:
        lowest -= 1
        at = SLUG_LAYER + LAYER * lowest
        if row[at] > room:
            _scale_layer(row, at, room / row[at])
        room -= row[at]
    if whole - room <= _NOTHING * whole:
        return 0
    if lowest > 0:
        _drop_deepest(row, count, lowest)
    return count - lowest


@inner_kernel
def _drop_deepest(row, count, dropped):
    for k in range(SLUG_LAYER, SLUG_LAYER + LAYER * (count - dropped)):
        row[k] = row[k + LAYER * dropped]


@inner_kernel
def _reconcile(row, count, space, fuel, burned, rho, rho_near):
    """Make layers and rest fill the cell of `space` m3 and hold no more `fuel` and `burned` [kg] than it does."""
    mass, vapour, old, size = _sums(row, count)
    rest = max(rho * space - mass, 0.0)
    own, other = 1.0 / rho, 1.0 / rho_near
    least, most = rest * (1.0 - _BEYOND) * min(own, other), rest * (1.0 + _BEYOND) * max(own, other)
    room = min(max(space - size, least), most)
    if room != space - size:
        _resize(row, count, max((space - room) / size, _LEAST_FILLED))
    fuel, burned = max(fuel, 0.0), max(burned, 0.0)
    if vapour > fuel or old > burned:
        _thin(row, count, min(fuel / vapour, 1.0) if vapour > 0.0 else 1.0, min(burned / old, 1.0) if old > 0.0 else 1.0)
