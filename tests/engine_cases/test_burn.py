"""A burn in a shut, adiabatic cylinder against an ordinary differential equation solved by scipy, and its books.

The reference integrates the first law d(U)/d(theta) = -p dV/d(theta) (+ heat) with its own slider-crank and Wiebe
formulas: I. I. Wiebe (Vibe), "Brennverlauf und Kreisprozess von Verbrennungsmotoren" (1970). 0.05 % of p and T.
"""

import numpy as np
import pytest
from bare_cylinder import Bench, square_engine
from scipy.integrate import solve_ivp
from scipy.optimize import brentq

from waveflow.physics import layout as lay
from waveflow.physics.assembly import Assembly
from waveflow.physics.combustion import burn_table
from waveflow.physics.gas import gas_constant, ideal_gas, internal_energy, real_gas

START, SPAN, A, M, Q = 700.0, 50.0, 6.908, 2.0, 1.8e6
LOOK = (690.0, 705.0, 715.0, 720.0, 725.0, 735.0, 750.0, 780.0, 840.0)


def volume(angle):
    """Slider-crank volume [m3] of `square_engine(10)` at a crank angle [deg]."""
    t = np.radians(angle)
    travel = 0.043 * (1.0 - np.cos(t)) + 0.143 - np.sqrt(0.143**2 - (0.043 * np.sin(t)) ** 2)
    swept = 0.25 * np.pi * 0.086**2 * 0.086
    return swept / 9.0 + 0.25 * np.pi * 0.086**2 * travel


def burned(angle):
    """Wiebe's fraction, scaled to reach 1."""
    y = np.clip((angle - START) / SPAN, 0.0, 1.0)
    return (1.0 - np.exp(-A * y ** (M + 1.0))) / (1.0 - np.exp(-A))


def bench(gas, yf: float = 0.0, yb: float = 0.0, **more) -> Bench:
    """The cylinder at 540 deg, 1 bar and 350 K, with the burn above."""
    model = Assembly(gas)
    burn = burn_table(START, SPAN, A, M)
    model.burn = burn.fractions
    engine = square_engine(10.0, burn_start=burn.start, burn_span=burn.duration, **more)
    return Bench(model, model.cylinder(1e5, 350.0, yf, yb, start_angle=540.0, **engine), 540.0, 3000.0)


def test_ideal_gas_follows_the_first_law():
    gas = ideal_gas(1.4, 287.05)
    cylinder = bench(gas, yb=0.1, heat_per_air=Q)
    air = 0.9 * cylinder.state.volumes[cylinder.row, lay.V_MASS]

    def slope(angle, p):
        d = 1e-3
        dv = (volume(angle + d) - volume(angle - d)) / (2.0 * d)
        dx = (burned(angle + d) - burned(angle - d)) / (2.0 * d)
        return (0.4 * Q * air * dx - 1.4 * p * dv) / volume(angle)

    exact = solve_ivp(slope, (540.0, LOOK[-1]), [1e5], t_eval=LOOK, rtol=1e-9, atol=1e-3, max_step=0.5).y[0]
    for angle, p in zip(LOOK, exact, strict=True):
        assert cylinder.to(angle)[lay.V_PRES] == pytest.approx(p, rel=5e-4), f"at {angle} deg"
    assert cylinder.accounts[0, lay.A_RELEASE] == pytest.approx(Q * air, rel=1e-10)
    state = cylinder.state.volumes[cylinder.row]
    assert state[lay.V_BURNED] == pytest.approx(state[lay.V_MASS], rel=1e-12)


def test_real_gas_follows_the_first_law():
    """Gasoline at lambda 0.89 with 5 % residual: no heating value anywhere, only the energies of the mixtures."""
    gas = real_gas("gasoline", 0.89)
    yb0 = 0.05
    yf0 = (1.0 - yb0) / (1.0 + gas.air_fuel)
    cylinder = bench(gas, yf0, yb0, air_fuel=gas.air_fuel)
    mass = cylinder.state.volumes[cylinder.row, lay.V_MASS]

    def pressure(angle, energy):
        x = burned(angle)
        yf, yb = yf0 * (1.0 - x), yb0 + x * (1.0 - yb0)
        temp = brentq(lambda t: float(internal_energy(gas, t, yf, yb)) - energy / mass, 200.0, 3490.0, xtol=1e-9)
        return mass * float(gas_constant(gas, yf, yb)) * temp / volume(angle), temp

    def slope(angle, energy):
        d = 1e-3
        return [-pressure(angle, energy[0])[0] * (volume(angle + d) - volume(angle - d)) / (2.0 * d)]

    first = mass * float(internal_energy(gas, 350.0, yf0, yb0))
    exact = solve_ivp(slope, (540.0, LOOK[-1]), [first], t_eval=LOOK, rtol=1e-8, atol=1e-6, max_step=2.0).y[0]
    for angle, energy in zip(LOOK, exact, strict=True):
        p, temp = pressure(angle, energy)
        state = cylinder.to(angle)
        assert state[lay.V_PRES] == pytest.approx(p, rel=5e-4), f"at {angle} deg"
        assert state[lay.V_TEMP] == pytest.approx(temp, rel=5e-4), f"at {angle} deg"
    assert cylinder.state.volumes[cylinder.row, lay.V_TEMP] > 1500.0
    used = cylinder.accounts[0]
    assert used[lay.A_FUEL_USED] == pytest.approx(yf0 * mass, rel=1e-12)
    assert used[lay.A_AIR_USED] == pytest.approx(gas.air_fuel * used[lay.A_FUEL_USED], rel=1e-12)


@pytest.mark.parametrize("too_much", ["fuel", "air"])
def test_the_burn_ends_with_what_is_scarce(too_much):
    """Off the case's ratio the scarce one is used up and the rest of the other stays."""
    gas = real_gas("gasoline", 1.0)
    yf = 1.2 / (1.2 + gas.air_fuel) if too_much == "fuel" else 0.8 / (0.8 + gas.air_fuel)
    cylinder = bench(gas, yf, air_fuel=gas.air_fuel)
    before = cylinder.state.volumes[cylinder.row].copy()
    after = cylinder.to(800.0)
    air_before = before[lay.V_MASS] - before[lay.V_FUEL]
    air_after = after[lay.V_MASS] - after[lay.V_FUEL] - after[lay.V_BURNED]
    if too_much == "fuel":
        assert air_after == pytest.approx(0.0, abs=1e-12 * air_before)
        assert after[lay.V_FUEL] == pytest.approx(before[lay.V_FUEL] / 6.0, rel=1e-9)
    else:
        assert after[lay.V_FUEL] == pytest.approx(0.0, abs=1e-12 * air_before)
        assert air_after == pytest.approx(air_before / 5.0, rel=1e-9)


def test_a_burn_conserves_mass_and_energy():
    gas = real_gas("gasoline", 0.89)
    cylinder = bench(gas, 1.0 / (1.0 + gas.air_fuel), air_fuel=gas.air_fuel)
    before = cylinder.state.volumes[cylinder.row].copy()
    after = cylinder.to(900.0)
    assert after[lay.V_MASS] == pytest.approx(before[lay.V_MASS], rel=1e-14)
    spent = before[lay.V_ENERGY] - after[lay.V_ENERGY]
    assert spent == pytest.approx(cylinder.accounts[0, lay.A_WORK], rel=1e-10)
