"""Every switch of a case's [ideal] table does what it says. Laws, not stored numbers; tolerances stand at each test."""

import math

import numpy as np
import pytest
from case_runs import case_of, filling, run
from scipy.optimize import brentq

from waveflow.engine.build import build
from waveflow.physics import layout as lay
from waveflow.physics.ends import end_flux
from waveflow.physics.gas import ideal_gas
from waveflow.study.cycle import Engine

LONG = "long_intake_motored"


def cycles(name: str, rpm: float, changes: dict | None = None, count: int = 3) -> Engine:
    """An engine after some cycles, to look into its accounts."""
    engine = Engine(build(case_of(name, changes)), rpm)
    for _ in range(count):
        engine.cycle()
    return engine


def test_frictionless():
    """Without wall friction more air passes where speeds are high: filling at 9000 rpm up by 0.2 to 5 %."""
    gain = filling("starter", 9000, {"ideal.frictionless": "true"}) / filling("starter", 9000) - 1.0
    assert 0.002 < gain < 0.05


def test_adiabatic_pipes():
    """No heat passes any pipe wall; with it, the warm intake costs filling: 0.5 to 5 % at 3000 rpm."""
    tight = cycles("starter", 3000, {"ideal.adiabatic_pipes": "true"})
    assert np.all(tight.wall_heat == 0.0)
    warm = cycles("starter", 3000)
    inlet = [info for info in warm.model.pipes if info.name == "intake"]
    into_intake = sum(warm.wall_heat[info.first : info.first + len(info.faces) - 1].sum() for info in inlet)
    assert into_intake > 0.0 > warm.wall_heat.sum()
    loss = 1.0 - filling("starter", 3000) / filling("starter", 3000, {"ideal.adiabatic_pipes": "true"})
    assert 0.005 < loss < 0.05


def test_adiabatic_cylinder():
    """No heat to the cylinder's walls; then the charge burns hotter and the exhaust is hotter by 150 K at least."""
    tight = cycles("starter", 5000, {"walls.heat": "adiabatic"})
    assert tight.accounts[0, lay.A_WALL] == 0.0
    assert cycles("starter", 5000).accounts[0, lay.A_WALL] < 0.0
    cooled = run("starter", 5000).scalars
    hot = run("starter", 5000, {"walls.heat": "adiabatic"}).scalars
    assert hot["exhaust_temperature"] > cooled["exhaust_temperature"] + 150.0
    assert hot["torque"] > cooled["torque"]


def test_motored():
    """Nothing burns, nothing is left of a burn, and an engine that only pumps takes work."""
    still = cycles("starter", 4000, {"burn.kind": "motored", "fuel.kind": "none"})
    assert still.accounts[0, lay.A_BURNED] == still.accounts[0, lay.A_FUEL_ADDED] == 0.0
    result = run("starter", 4000, {"burn.kind": "motored", "fuel.kind": "none"}).scalars
    assert result["residual_fraction"] == 0.0
    assert result["indicated_mean_pressure"] < 0.0 < run("starter", 4000).scalars["indicated_mean_pressure"]


def test_infinite_plenum_at_the_valve():
    """The intake pipe is gone: its length and bore change nothing, bit for bit; with it they do."""
    bare = {"ideal.infinite_plenum_at_valve": "true"}
    other = {"intake.runner.length": "200 mm", "intake.runner.inlet_diameter": "40 mm"}
    a, b = run(LONG, 3000, bare), run(LONG, 3000, bare | other)
    assert a.scalars["volumetric_efficiency"] == b.scalars["volumetric_efficiency"]
    assert abs(filling(LONG, 3000, other) / filling(LONG, 3000) - 1.0) > 0.05
    assert filling(LONG, 3000, bare) < 0.95 * filling(LONG, 3000)  # no ram


def test_quasi_steady():
    """Pipes without inertia: frictionless they are no pipes at all, so that length changes nothing and there is no ram; with
    friction a longer pipe costs more. Against an infinite plenum at the valve only the short exhaust differs (1 %)."""
    steady = {"ideal.quasi_steady": "true"}
    short = {"intake.runner.length": "320 mm"}
    rough = {"ideal.frictionless": "false"}
    assert filling(LONG, 3000, steady) == filling(LONG, 3000, steady | short)
    bare = filling(LONG, 3000, {"ideal.infinite_plenum_at_valve": "true"})
    assert filling(LONG, 3000, steady) == pytest.approx(bare, rel=0.01)
    assert filling(LONG, 3000, steady) < 1.0 < filling(LONG, 3000)
    assert filling(LONG, 3000, steady | rough) < filling(LONG, 3000, steady | rough | short) < filling(LONG, 3000, steady)


def test_no_memory():
    """Each cycle of the runner begins at rest: the ripples that waves of the cycle before make go, ram stays. With memory
    filling of the long intake dips at 2700 and at 3300 rpm; without it rises all the way from 2540 to 3300, to one top."""
    speeds = (2540, 2700, 3010, 3300)
    kept = np.diff([filling(LONG, n) for n in speeds])
    forgotten = np.diff([filling(LONG, n, {"ideal.no_memory": "true"}) for n in speeds])
    assert (np.sign(kept) == [-1, 1, -1]).all()
    assert (forgotten > 0.0).all()


def test_reservoir_pressure_is_only_a_scale():
    """A perfect gas without walls knows no absolute pressure: 0.4 times the pressure on both sides gives the same filling
    on the plenum's density and 0.4 times that on the ambient's (1e-6)."""
    close = {"run.tolerance": "1e-8"}  # the law is that of the repeating cycle
    low = {"intake.reservoir.pressure": "40 kPa abs", "exhaust.reservoir.pressure": "40 kPa abs"} | close
    a, b = run(LONG, 3010, close).scalars, run(LONG, 3010, low).scalars
    assert b["volumetric_efficiency_plenum"] == pytest.approx(a["volumetric_efficiency_plenum"], rel=1e-6)
    assert b["volumetric_efficiency"] == pytest.approx(0.4 * a["volumetric_efficiency"], rel=1e-6)
    assert b["peak_pressure"] == pytest.approx(0.4 * a["peak_pressure"], rel=1e-5)


def test_reservoir_temperature_is_only_a_clock():
    """Likewise 1.1 times every temperature at sqrt(1.1) times the speed: same Mach numbers, same filling (1e-6)."""
    keys = ("intake.reservoir.temperature", "exhaust.reservoir.temperature", "ideal.start_temperature", "ambient.temperature")
    hot = dict.fromkeys(keys, "330 K")
    assert filling(LONG, 2700.0 * math.sqrt(1.1), hot) == pytest.approx(filling(LONG, 2700), rel=1e-6)


def test_burned_share_of_the_reservoir():
    """A tenth of burned gas in what the runner draws: nine tenths of the air (1e-5), a tenth of the trapped charge."""
    fresh, mixed = run(LONG, 3010), run(LONG, 3010, {"intake.reservoir.burned": "0.1"})
    assert mixed.scalars["volumetric_efficiency"] == pytest.approx(0.9 * fresh.scalars["volumetric_efficiency"], rel=1e-5)
    assert mixed.scalars["residual_fraction"] == pytest.approx(0.1, rel=1e-3)


def test_the_start_is_forgotten():
    """start_angle, start_pressure, start_temperature and start_burned are a first guess only: filling within 2e-5."""
    other = {
        "ideal.start_angle": "560 deg", "ideal.start_pressure": "180 kPa abs", "ideal.start_temperature": "600 K",
        "ideal.start_burned": "0.5",
    }  # fmt: skip
    assert filling(LONG, 3000, other) == pytest.approx(filling(LONG, 3000), rel=2e-5)


def test_constant_gamma_is_a_gas_without_fuel():
    """The ideal gas's own R and gamma count: filling depends on gamma (slightly), not on R if the speed follows its sound
    speed (1e-6)."""
    light = {"ideal.gas_constant": "574.1 J/kg/K"}
    assert filling(LONG, 3000 * math.sqrt(2.0), light) == pytest.approx(filling(LONG, 3000), rel=1e-6)
    change = filling(LONG, 3000, {"ideal.gamma": "1.3"}) / filling(LONG, 3000) - 1.0
    assert 1e-3 < abs(change) < 0.1


def throat(flux: float, p0: float, temp0: float, psi: float) -> tuple[float, float]:
    """(pressure, speed) in a throat of psi of the pipe's area that passes `flux` from rest, below the speed of sound."""

    def passed(ratio):
        speed = math.sqrt(7.0 * 287.05 * temp0 * (1.0 - ratio ** (2.0 / 7.0)))
        return psi * p0 * ratio / (287.05 * temp0 * ratio ** (2.0 / 7.0)) * speed, speed

    ratio = brentq(lambda r: passed(r)[0] - flux, 0.5283, 1.0 - 1e-12, xtol=1e-14)
    return p0 * ratio, passed(ratio)[1]


@pytest.mark.parametrize("psi", [0.2, 0.5, 0.8])
def test_recovered_momentum(psi):
    """Behind the throat the jet keeps its momentum and the wall beside it the throat's pressure (Borda and Carnot's sudden
    expansion): p_throat + flux x jet speed is the thrust in the pipe (1e-6). Without recovery the throat has the pressure
    of the pipe's end, and less passes."""
    gas = ideal_gas(1.4, 287.05)
    state = (gas, 1.0e5 / (287.05 * 400.0), -20.0, 1.0e5, 0.0, 0.0, psi, psi, 500.0, 1.25e5, 0.0, 0.0)
    mass, thrust, *_ = end_flux(*state, 1.0)
    p, speed = throat(-mass, 1.25e5, 500.0, psi)
    assert thrust == pytest.approx(p - mass * speed, rel=1e-6)
    plain, force, *_ = end_flux(*state, 0.0)
    p, _ = throat(-plain, 1.25e5, 500.0, psi)
    rho_u2 = force - p
    assert rho_u2 > 0.0  # what is left is the pipe's own momentum flux at the throat's pressure
    assert -mass > -plain


def test_valve_recovery_in_an_engine():
    """Recovery makes emptying easier: less pumping work. It shifts filling by up to 3 %, the effect of the larger runner by
    at most 0.5 points."""
    jet = {"ideal.valve_recovery": "momentum"}
    plain, eased = run(LONG, 3300).scalars, run(LONG, 3300, jet).scalars
    assert eased["pumping_mean_pressure"] > plain["pumping_mean_pressure"]
    names = ("runner_area_fired", "runner_area_fired_enlarged")
    without = [filling(name, 4000) for name in names]
    with_it = [filling(name, 4000, jet) for name in names]
    shifts = [b / a - 1.0 for a, b in zip(without, with_it, strict=True)]
    assert all(1e-4 < abs(shift) < 0.03 for shift in shifts)
    assert abs(shifts[1] - shifts[0]) < 0.005
