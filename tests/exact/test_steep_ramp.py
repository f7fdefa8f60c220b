"""A steep linear ramp of area (16 mm long, area x 1.5, faces on its kinks) in a pipe whose gas swings to and fro."""

from functools import lru_cache

import numpy as np
import pytest
from tubes import Tubes, orders, perfect_gas

from waveflow.physics.assembly import Assembly

LENGTH, START, RAMP, RATIO = 0.32, 0.144, 0.016, 1.5


def mean_area(a, b):
    """Exact mean of the area between the faces a and b."""

    def integral(x):
        inside = np.clip(x - START, 0.0, RAMP)
        return x + (RATIO - 1.0) * (0.5 * inside**2 / RAMP + np.maximum(x - START - RAMP, 0.0))

    return 1e-3 * (integral(b) - integral(a)) / (b - a)


@lru_cache
def swing(cell: float, widening: bool) -> np.ndarray:
    """Mass [kg] that has left through the open end and pressure at the closed one [bar], at 64 instants of 8 ms.

    The narrow (or the wide) part is closed; the pipe starts at 1.5 bar, so that several strong swings pass the ramp.
    """
    cells = round(LENGTH / cell)
    x = np.linspace(0.0, LENGTH, cells + 1)
    area = 1e-3 * (1.0 + (RATIO - 1.0) * np.clip((x - START) / RAMP, 0.0, 1.0))
    means = mean_area(x[:-1], x[1:])
    assembly = Assembly(perfect_gas(1.4, 287.05))
    pipe = assembly.pipe(x, area, means, pressure=1.5e5, temp=300.0 * 1.5 ** (2.0 / 7.0))
    shut, wide_open = ("near", "far") if widening else ("far", "near")
    outside = assembly.reservoir(1e5, 300.0)
    assembly.closed(pipe, shut)
    assembly.end(pipe, wide_open, outside)
    run = Tubes(assembly)
    found = []
    for _ in range(64):
        run.march(8e-3 / 64)
        pressure = run.profile().pres
        found.append((run.volume_accounts[outside, 0], (pressure[0] if widening else pressure[-1]) / 1e5))
    return np.array(found).T


def errors(widening: bool) -> np.ndarray:
    """Largest error of the mass that has left, relative to the most that ever has, on cells of 16, 8, 4 mm."""
    best = swing(0.0005, widening)[0]
    return np.array([np.abs(swing(cell, widening)[0] - best).max() / best.max() for cell in (0.016, 0.008, 0.004)])


@pytest.mark.parametrize("widening", [True, False], ids=["widening outward", "narrowing outward"])
def test_swinging_flow_converges(widening):
    """1.2 % on 16 mm cells (one across the ramp), 0.5 % on 8 mm, 0.25 % on 4 mm; near first order, as kinks make it."""
    found = errors(widening)
    assert (found < [1.2e-2, 5e-3, 2.5e-3]).all()
    assert (orders(found) > 0.85).all()


@pytest.mark.parametrize("widening", [True, False], ids=["widening outward", "narrowing outward"])
def test_steady_flow_through_the_ramp_keeps_stagnation_pressure(widening):
    """What the ramp should not lose, as a share of the greatest dynamic pressure, Mach 0.3 to 0.6: one cell across it 8 %,
    four cells 1 %, falling at order 1.2 or better."""
    lost = []
    for cell in (0.016, 0.008, 0.004):
        cells = round(LENGTH / cell)
        x = np.linspace(0.0, LENGTH, cells + 1)
        area = 1e-3 * (1.0 + (RATIO - 1.0) * np.clip((x - START) / RAMP, 0.0, 1.0))
        assembly = Assembly(perfect_gas(1.4, 287.05))
        pipe = assembly.pipe(x, area, mean_area(x[:-1], x[1:]), pressure=0.95e5, temp=300.0)
        first, last = ("near", "far") if widening else ("far", "near")
        assembly.end(pipe, first, assembly.reservoir(1e5, 300.0))
        assembly.end(pipe, last, assembly.reservoir(0.92e5 if widening else 0.85e5, 300.0))
        run = Tubes(assembly)
        run.march(0.3)
        found = run.profile()
        total = found.pres * (1.0 + 0.2 * found.mach**2) ** 3.5
        before, behind = (total[2], total[-3]) if widening else (total[-3], total[2])
        lost.append((before - behind) / (0.7 * found.pres * found.mach**2).max())
    assert np.abs(lost).max() < 8e-2
    assert abs(lost[2]) < 1e-2
    assert orders([abs(lost[0]), abs(lost[2])], 4.0)[0] > 1.2
