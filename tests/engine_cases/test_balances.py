"""Books of the last cycle: every species and energy balance to round-off, 1e-10, whatever the gas and the engine.

Species relative to the mass through the intake valves; energy (enthalpy in and out, wall heat, piston work as the solver
added them up) relative to the heat release, or to the enthalpy through the intake valves where nothing burns.
"""

import numpy as np
import pytest
from case_runs import case_of, run

from waveflow.engine.build import build
from waveflow.physics import layout as lay
from waveflow.study.cycle import Engine

FUEL_FIRST = {"fuel.added": "plenum"}
PLENUM = {"intake.plenum.volume": "2 L", "intake.throttle.diameter": "36 mm"}
MOTORED = {"burn.kind": "motored", "fuel.kind": "none"}

ENGINES = {
    "motored ideal gas": ("long_intake_motored", 3000, {}),
    "motored real gas with walls": ("starter", 3000, MOTORED),
    "fired ideal gas": ("runner_area_fired", 5000, {}),
    "fired real gas": ("starter", 7000, {}),
    "fired real gas, hohenberg": ("starter", 3000, {"walls.heat": "hohenberg"}),
    "premixed": ("starter", 5000, PLENUM | FUEL_FIRST),
    "methanol": ("starter", 5000, {"fuel.kind": "methanol"}),
    "no pipes": ("starter", 4000, {"ideal.quasi_steady": "true"}),
    "no intake pipe": ("starter", 4000, {"ideal.infinite_plenum_at_valve": "true"}),
    "no memory": ("starter", 6000, {"ideal.no_memory": "true"}),
    "momentum recovered": ("starter", 6000, {"ideal.valve_recovery": "momentum"}),
    "N155": ("n155", 4500, {}),
    "N155 race, long cam": ("n155_race_long_cam", 6500, {}),
}


@pytest.mark.parametrize("engine", ENGINES)
def test_books_balance(engine):
    name, rpm, changes = ENGINES[engine]
    result = run(name, rpm, changes, max_cycles=3)
    assert result.checks["mass_balance"] <= 1e-10
    assert result.checks["energy_balance"] <= 1e-10


@pytest.fixture(scope="module")
def settled() -> Engine:
    """The starter case at 5000 rpm after fourteen cycles."""
    engine = Engine(build(case_of("starter")), 5000.0)
    for _ in range(14):
        engine.cycle()
    return engine


def test_books_can_be_wrong(settled):
    """The check is not blind: 1 mg a cycle, or 1 J, that went astray would show."""
    mass, energy = settled.balances()
    assert mass < 1e-10 and energy < 1e-10
    settled.volume_accounts[0, lay.B_MASS] += 1e-6
    settled.volume_accounts[0, lay.B_ENERGY] += 1.0
    assert settled.balances()[0] > 1e-3
    assert settled.balances()[1] > 1e-4
    settled.volume_accounts[0, lay.B_MASS] -= 1e-6
    settled.volume_accounts[0, lay.B_ENERGY] -= 1.0


def test_settled_cycle_of_a_fired_engine(settled):
    """Over a repeating cycle: what goes in comes out, fuel burns in the case's ratio, and the first law adds up from the
    cylinder's own accounts (1e-5: the cycle repeats to about that)."""
    a = settled.accounts[0]
    entered = a[lay.A_MASS_IN] - a[lay.A_MASS_BACK] + a[lay.A_FUEL_ADDED]
    assert a[lay.A_MASS_OUT] == pytest.approx(entered, rel=1e-5)
    assert a[lay.A_AIR_USED] == pytest.approx(settled.model.gas.air_fuel * a[lay.A_FUEL_USED], rel=1e-12)
    assert a[lay.A_FUEL_USED] + a[lay.A_AIR_USED] == pytest.approx(a[lay.A_BURNED], rel=1e-12)
    assert a[lay.A_FUEL_ADDED] == pytest.approx(a[lay.A_FUEL_USED] + a[lay.A_FUEL_OUT] - a[lay.A_FUEL_IN], rel=1e-5)
    left = a[lay.A_ENERGY_IN] - a[lay.A_ENERGY_OUT] + a[lay.A_WALL] - a[lay.A_WORK]
    assert abs(left) < 1e-5 * a[lay.A_FUEL_USED] * 4e7


def test_piston_work_is_the_area_of_the_pressure_diagram(settled):
    """Work from the trace, trapezoids of 1 degree: 0.2 %."""
    rows = settled.rows[: settled.written]
    p, v = rows[:, 1], rows[:, 4]
    area = np.sum(0.5 * (p + np.roll(p, -1)) * (np.roll(v, -1) - v))
    assert settled.accounts[0, lay.A_WORK] == pytest.approx(area, rel=2e-3)


def test_premixed_charge_keeps_its_ratio():
    """Fuel added before the plenum: nothing joins at the valve, and fuel and air enter in the mixture's ratio."""
    model = build(case_of("starter", PLENUM | FUEL_FIRST))
    engine = Engine(model, 5000.0)
    for _ in range(3):
        engine.cycle()
    a = engine.accounts[0]
    assert a[lay.A_FUEL_ADDED] == 0.0
    air = a[lay.A_AIR_IN] - a[lay.A_AIR_BACK]
    assert air == pytest.approx(model.gas.air_fuel * a[lay.A_FUEL_IN], rel=1e-6)
    assert a[lay.A_AIR_USED] == pytest.approx(air, rel=0.02)


def test_premixed_vapour_displaces_air():
    """The vapour takes room in the plenum: air enters in proportion to its share of the volume, (1 + R_f / (R_a AF))^-1,
    since an engine without waves draws the same volume of either gas at low speed (0.3 %)."""
    gas = build(case_of("starter")).gas
    share = 1.0 / (1.0 + gas.r[1] / gas.r[0] / gas.air_fuel)
    still = {"burn.kind": "motored", "walls.heat": "adiabatic", "ideal.quasi_steady": "true", "run.tolerance": "1e-6"}
    air = run("starter", 1000, PLENUM | MOTORED | still).scalars["volumetric_efficiency"]
    mixed = run("starter", 1000, PLENUM | FUEL_FIRST | still).scalars["volumetric_efficiency"]
    assert mixed / air == pytest.approx(share, abs=3e-3)
    assert share < 0.99
