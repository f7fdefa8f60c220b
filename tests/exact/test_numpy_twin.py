"""The compiled passes against their readable twin, on the same random states: 1e-12 of each quantity's size."""

import numpy as np
import numpy_twin as twin
import pytest
from tubes import BURNED, Tubes, add_pipe, centres, frozen_gas

from waveflow.physics import layout as lay
from waveflow.physics import pipes
from waveflow.physics.assembly import Assembly
from waveflow.physics.gas import frozen_mixture
from waveflow.physics.march import fill_ghosts, wall_laws


def three_gases():
    """Air, a vapour (of isooctane) and burned gas, so that all columns of the tables matter."""
    gas = frozen_gas()
    r, energy = gas.r.copy(), gas.e.copy()
    r[1], energy[1] = frozen_mixture({"C8H18,isooctane": 1.0})
    r[2], energy[2] = frozen_mixture(BURNED)
    return gas._replace(r=r, e=energy)


@pytest.fixture(scope="module", params=[1, 2, 3])
def states(request):
    """Net and rows of one pipe of unequal cells in random, rough states on either side of 1000 K."""
    random = np.random.default_rng(request.param)
    gas = three_gases()
    n = 60
    x = np.concatenate([[0.0], np.cumsum(random.uniform(0.004, 0.012, n))])
    assembly = Assembly(gas)
    smooth = [np.interp(np.arange(n), np.arange(0, n, 6), random.uniform(0.0, 1.0, n // 6)) for _ in range(5)]
    pipe = add_pipe(
        assembly, x, lambda at: 1e-3 * (1.0 + 0.5 * np.sin(9.0 * at)), pressure=1e5 * (0.5 + 3.0 * smooth[0]),
        temp=300.0 + 1700.0 * smooth[1], vel=900.0 * (smooth[2] - 0.5) + random.uniform(-5.0, 5.0, n),
        yf=0.06 * smooth[3], yb=0.9 * smooth[4], roughness=1e-4, wall_temp=400.0 + 100.0 * np.sin(centres(x)),
    )  # fmt: skip
    assembly.closed(pipe, "near")
    assembly.closed(pipe, "far")
    run = Tubes(assembly, friction=True, heat=1.0)
    cells = run.net.geometry.shape[1]
    w, wall = np.ones((lay.PRIMITIVES, cells)), np.zeros((lay.SOURCES, cells))
    temps = run.state.temp * random.uniform(0.998, 1.002, cells)  # the kernel starts from the step before
    pipes.primitives(run.state.cells, temps, run.net.geometry, gas, w, wall)
    return gas, run, w, wall


def close(found, wanted, size=None, rel=1e-12):
    scale = np.abs(wanted).max() if size is None else size
    assert np.abs(found - wanted).max() <= rel * scale


def as_twin(w):
    """Rows of the compiled kernels, ghosts included, as the twin's record."""
    rows = (w[k] for k in (lay.RHO, lay.FLOW, lay.PRES, lay.YF, lay.YB, lay.VEL, lay.TEMP))
    return twin.Primitive(*rows, np.sqrt(w[lay.SOUND2]), w[lay.GRUN])


def test_primitives(states):
    """Temperature from energy: the kernel's one Halley and one Newton step from 0.2 % off against the full inversion."""
    gas, run, w, wall = states
    at = run.cells(0)
    wanted = twin.primitive(run.state.cells[:, at], run.net.geometry[:, at], gas)
    for row, value in (
        (lay.RHO, wanted.rho), (lay.FLOW, wanted.flow), (lay.PRES, wanted.pres), (lay.YF, wanted.yf), (lay.YB, wanted.yb),
        (lay.VEL, wanted.vel), (lay.TEMP, wanted.temp),
    ):  # fmt: skip
        close(w[row, at], value)
    # speed of sound and R/cv take cv where the last correction of the temperature started
    close(w[lay.SOUND2, at], wanted.sound**2, rel=1e-9)
    close(w[lay.GRUN, at], wanted.grun, rel=1e-9)
    rate = (np.abs(wanted.vel) + wanted.sound) / run.net.geometry[lay.LENGTH, at]
    close(wall[lay.RATE, at], rate, rel=1e-9)
    bits = pipes.fastest(np.ascontiguousarray(wall[lay.RATE]))
    assert np.array([bits]).view(np.float64)[0] == wall[lay.RATE].max()


def one_step(states):
    """(half states, fluxes, sources, cells after the step) of the compiled passes and of the twin."""
    gas, run, w, wall = states
    w, wall = w.copy(), wall.copy()
    geometry, cells = run.net.geometry, run.state.cells.copy()
    dt = 0.9 / wall[lay.RATE].max()
    wall_laws(geometry, w, gas, wall, run.net.switches)
    fill_ghosts(run.net.ghost, w)
    n = cells.shape[1]
    half, flux = np.ones((10, n + 1)), np.zeros((lay.FIELDS, n + 1))
    half[[lay.L_PRES, lay.R_PRES]] = 1e5
    last = run.cells(0).stop  # ghost at the far end; idle cells may follow
    area = np.append(geometry[lay.AREA_L], geometry[lay.AREA_R, -1])
    pipes.reconstruct(w, geometry, wall, half, dt)
    pipes.fluxes(half, area, gas, flux)
    left, right, push, warmth = twin.half_states(as_twin(w), geometry, wall[lay.FRICTION], wall[lay.HEAT], dt)
    met = twin.flux(right[:, : last - 2], left[:, 1 : last - 1], area[2:last], gas)
    flux[:, [1, last]] = 0.0  # the outer faces belong to the ends: walls without force will do here
    both = np.zeros((lay.FIELDS, n - 1))
    both[:, 1 : last - 1] = met
    after = twin.updated(cells, both, push, warmth, geometry, dt)
    before = np.full_like(cells, np.nan)
    pipes.update(cells, before, flux, geometry, wall, dt)
    assert np.array_equal(before[:, 1:-1], run.state.cells[:, 1:-1])  # what a step taken back returns to
    return half, flux, wall, cells, left, right, push, warmth, met, after


def test_half_time_states(states):
    half, _, wall, _, left, right, push, warmth, _, _ = one_step(states)
    at = states[1].cells(0)
    count = at.stop - at.start
    for k in range(5):
        close(half[k, 2 : at.stop + 1], right[k, :count])
        close(half[5 + k, 1 : at.stop], left[k, :count])
    close(wall[lay.SRC_MOMENTUM, at], push[:count])
    close(wall[lay.SRC_ENERGY, at], warmth[:count])


def test_fluxes(states):
    _, flux, _, _, _, _, _, _, met, _ = one_step(states)
    for k in range(lay.FIELDS):
        close(flux[k, 2 : states[1].cells(0).stop], met[k])


def test_update(states):
    _, _, _, cells, _, _, _, _, _, after = one_step(states)
    for k in range(lay.FIELDS):
        at = states[1].cells(0)
        close(cells[k, at], after[k, : at.stop - at.start])


def test_ghost_cells_of_a_cubic(states):
    """Where a field is a cubic in x the ghost is its value there: exact extrapolation from four cells of unequal length."""
    gas, run, w, _ = states
    w = w.copy()
    x = np.concatenate([[0.0], np.cumsum(run.net.geometry[lay.LENGTH, run.cells(0)])])
    centre = centres(x)

    def cubic(at):
        return 1e5 * (1.0 + 0.2 * at - 0.1 * at**2 + 0.3 * at**3)

    w[lay.PRES, run.cells(0)] = cubic(centre)
    w[lay.FLOW, run.cells(0)] = cubic(centre) * 1e-6
    w[lay.RHO, run.cells(0)] = cubic(centre) * 1e-5
    w[lay.SOUND2, run.cells(0)] = 1.4 * 1e5
    fill_ghosts(run.net.ghost, w)
    for ghost, at in ((0, -0.5 * (x[1] - x[0])), (run.cells(0).stop, x[-1] + 0.5 * (x[-1] - x[-2]))):
        assert w[lay.PRES, ghost] == pytest.approx(cubic(at), rel=1e-12)
        assert w[lay.FLOW, ghost] == pytest.approx(cubic(at) * 1e-6, rel=1e-12)
        assert w[lay.RHO, ghost] == pytest.approx(cubic(at) * 1e-5, rel=1e-12)
