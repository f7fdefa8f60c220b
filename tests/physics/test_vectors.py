"""Logarithm, power and wall laws as vector code against numpy and the scalar functions."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from waveflow.physics import layout as lay
from waveflow.physics import march, vectors, walls
from waveflow.physics.gas import real_gas
from waveflow.physics.walls import roughness_term


@settings(deadline=None)  # the first call compiles
@given(st.floats(1e-300, 1e300))
def test_logarithm(x):
    assert vectors.log2(x) == pytest.approx(np.log2(x), rel=1e-10, abs=1e-10)


@settings(deadline=None)  # the first call compiles
@given(st.floats(-1000.0, 1000.0))
def test_power_of_two(x):
    assert vectors.exp2(x) == pytest.approx(2.0**x, rel=1e-10)


def test_exact_where_the_answer_is_whole():
    """Powers of two come out as they are, and the two functions undo each other."""
    for k in (-300, -1, 0, 1, 52, 300):
        assert vectors.log2(2.0**k) == k
        assert vectors.exp2(float(k)) == 2.0**k
    for x in np.geomspace(1e-12, 1e12, 97):
        assert vectors.exp2(vectors.log2(x)) == pytest.approx(x, rel=1e-9)


@pytest.mark.parametrize("frictional, heated", [(1.0, 1.0), (0.0, 1.5), (1.0, 0.0)])
def test_wall_rows_are_the_scalar_laws(frictional, heated):
    """Cells from gas at rest to Mach 1, laminar to Re 1e6, smooth to rough, hot and cold: each as its scalar functions say."""
    rng = np.random.default_rng(3)
    gas = real_gas("gasoline", 0.89, 0.01)
    n = 203
    w, geometry, wall = np.ones((lay.PRIMITIVES, n)), np.zeros((lay.GEOMETRY, n)), np.full((lay.SOURCES, n), -1.0)
    w[lay.TEMP] = rng.uniform(250.0, 2400.0, n)
    w[lay.RHO] = 10.0 ** rng.uniform(-1.0, 1.0, n)
    w[lay.VEL] = 10.0 ** rng.uniform(-3.0, 2.6, n) * rng.choice([-1.0, 1.0], n)
    w[lay.GRUN] = rng.uniform(0.25, 0.4, n)
    diameter, roughness = 10.0 ** rng.uniform(-3.0, -1.0, n), 10.0 ** rng.uniform(-7.0, -4.0, n)
    geometry[lay.HYDRAULIC], geometry[lay.ROUGHNESS] = diameter, roughness
    geometry[lay.ROUGH] = roughness_term(roughness / diameter)
    geometry[lay.WETTED], geometry[lay.LOSS] = rng.uniform(0.9, 1.5, n), rng.uniform(0.0, 5.0, n)
    switches = np.zeros(lay.SWITCHES)
    switches[lay.SW_FRICTION], switches[lay.SW_PIPE_HEAT] = frictional, heated
    march.wall_laws(geometry, w, gas, wall, switches)
    kinds = set()
    for i in range(1, n - 1):
        t = 1e-3 * w[lay.TEMP, i]
        mu, lam = (c[0] + t * (c[1] + t * c[2]) for c in (gas.mu, gas.lam))
        reynolds = w[lay.RHO, i] * max(abs(w[lay.VEL, i]), 3.0) * diameter[i] / mu
        kinds.add(0 if reynolds < 2000.0 else 2 if reynolds > 4000.0 else 1)
        f = walls.friction_factor(reynolds, roughness[i] / diameter[i])
        prandtl = mu * gas.r[0] * (1.0 + 1.0 / w[lay.GRUN, i]) / lam
        heat = walls.nusselt(reynolds, prandtl, f) * lam * 4.0 / diameter[i] ** 2 * geometry[lay.WETTED, i]
        friction = 0.5 * f / diameter[i] + geometry[lay.LOSS, i]
        assert wall[lay.FRICTION, i] == pytest.approx(frictional * friction, rel=1e-9)
        assert wall[lay.HEAT, i] == pytest.approx(heated * heat, rel=1e-9)
    assert kinds == {0, 1, 2}
