"""The charger against its own records, read a second time: powers by Cantera, flows in and out, stated pressures.

Powers are recomputed from the traced state of the manifold with Cantera's entropy, enthalpy and sound speed and the nozzle
law written a second time (0.1 %); the compressor's from ambient air alone.
"""

from functools import cache

import numpy as np
import pytest
from case_runs import case_of, run
from test_reactor_network import mass_flux

from waveflow.engine.build import build
from waveflow.engine.case import load_text
from waveflow.engine.charger import charge_temperature, choking_pressure, nozzle_for
from waveflow.errors import RunError
from waveflow.physics import gas as tables
from waveflow.physics import layout as lay
from waveflow.physics.gas import moist_air
from waveflow.study.cycle import Engine, run_point
from waveflow.study.shaft import Shaft

ct = pytest.importorskip("cantera")
pytestmark = pytest.mark.filterwarnings("ignore::DeprecationWarning")


def charged(table: str, **overrides: str):
    """T192 as cast with another charger."""
    text = case_of("t192").text
    start = text.index("[charger]")
    end = text.index("\n[", start)
    return load_text(text[:start] + table + text[end:], "t192", overrides)


BALANCE = '''[charger]
kind = "power balance"
boost = "110 kPa gauge"
charge_temperature = "45 degC"
manifold_volume = "420 cc"
turbine_area = "{area} mm2"
'''


@cache
def point(rpm: float):
    return run("t192", rpm, trace=True)


def phases():
    """Cantera's ambient air and burned gas, frozen, from the case's own air and mixture."""
    case = case_of("t192")
    air, fuel = case.ambient, tables.FUELS["gasoline"].mass_fractions
    water = moist_air(air.temperature, air.pressure, air.relative_humidity)
    wet = {name: (1.0 - water) * share for name, share in tables.DRY_AIR.items()} | {"H2O": water}
    burned = tables.burned_mixture(fuel, wet, case.fuel.lambda_ * tables.stoichiometric_air_fuel(fuel, wet))
    species = [one for one in ct.Species.list_from_file("nasa_gas.yaml") if one.name in {*wet, *burned}]
    gases = [ct.Solution(thermo="ideal-gas", species=species) for _ in range(2)]
    gases[0].TPX = air.temperature, air.pressure, wet
    gases[1].TPX = 1000.0, 1e5, burned
    return gases


@pytest.mark.parametrize("rpm", [2500, 5000])
def test_powers_by_cantera_and_the_shaft_balances(rpm):
    case, numbers, cold_air = case_of("t192"), point(rpm).scalars, phases()[0]
    c = case.charger
    # compressor: isentropic from behind the filter, whose loss goes with the flow squared, to the boost
    loss = c.filter_loss * (numbers["air_flow"] / c.filter_loss_at) ** 2
    cold_air.TP = case.ambient.temperature, case.ambient.pressure - loss
    rest = cold_air.enthalpy_mass
    cold_air.SP = cold_air.entropy_mass, c.boost
    power = numbers["air_flow"] * (cold_air.enthalpy_mass - rest) / c.compressor_efficiency
    assert numbers["compressor_power"] == pytest.approx(power, rel=1e-3)
    # turbine: every traced state through the nozzle
    trace, burned = point(rpm).trace, phases()[1]
    back = case.ambient.pressure + c.behind_turbine
    flows, powers = [], []
    for pressure, temp in zip(trace["exhaust manifold pressure"], trace["exhaust manifold temperature"], strict=True):
        burned.TP = temp, pressure
        before, entropy = burned.enthalpy_mass, burned.entropy_mass
        flows.append(c.turbine_area * mass_flux(burned, back))
        burned.SP = entropy, back
        powers.append(flows[-1] * (before - burned.enthalpy_mass))
    turbine = np.mean(powers[:720]) * c.turbine_efficiency * c.mechanical_efficiency
    assert numbers["turbine_flow"] == pytest.approx(np.mean(flows[:720]), rel=1e-3)
    assert numbers["turbine_power"] == pytest.approx(turbine, rel=1e-3)
    assert turbine == pytest.approx(power, rel=2e-3)


def test_turbine_and_wastegate_pass_air_and_fuel():
    """Once cycles repeat, what the compressor and the fuel bring leaves by the two nozzles (1e-5), shared as their areas."""
    case = case_of("t192")
    engine = Engine(build(case), 2500.0)
    shaft = Shaft(case, engine)
    for _ in range(32):
        engine.cycle()
        shaft.settle()
    seconds, rows = 120.0 / engine.rpm, engine.model.charger
    air = -engine.volume_accounts[rows.charge, lay.B_MASS] / seconds
    fuel = engine.accounts[:, lay.A_FUEL_ADDED].sum() / seconds
    assert engine.volume_accounts[rows.outlet, lay.B_MASS] / seconds == pytest.approx(air + fuel, rel=1e-5)
    open_area = engine.model.net.orifice["area_ab"][[rows.turbine, rows.wastegate]]
    share = shaft.numbers()["wastegate_share"]
    assert share == pytest.approx(open_area[1] / open_area.sum(), rel=1e-9) and share > 0.1
    assert shaft.settled and max(engine.balances()) < 1e-10


def test_a_stated_ratio_holds():
    case = charged('[charger]\nkind = "exhaust ratio"\nboost = "110 kPa gauge"\nratio = "1.3 +- 0.2"\n')
    numbers = run_point(case, 5000.0).scalars
    assert numbers["exhaust_pressure"] / numbers["plenum_pressure"] == pytest.approx(1.3, rel=5e-4)
    assert "wastegate_share" not in numbers and "turbine_power" not in numbers and numbers["compressor_power"] > 0.0
    assert numbers["energy_balance"] < 1e-10


def test_a_measured_pressure_holds_between_its_speeds():
    case = charged(
        '[charger]\nkind = "measured exhaust pressure"\nboost = "16 psi gauge"\nspeed = "4000, 6000 rpm"\n'
        'exhaust_pressure = "230, 270 kPa abs"\n'
    )
    numbers = run_point(case, 5000.0).scalars
    assert numbers["exhaust_pressure"] == pytest.approx(250e3, rel=5e-4)
    assert numbers["boost_pressure"] == pytest.approx(16 * 6894.757, rel=1e-6)
    # no charge temperature is stated: compressor and cooler make it, within the wall of ambient and compressor outlet
    c, air, gas = case.charger, case.ambient, phases()[0]
    gas.TP = air.temperature, air.pressure - c.filter_loss
    rest = gas.enthalpy_mass
    gas.SP = gas.entropy_mass, c.boost
    gas.HP = rest + (gas.enthalpy_mass - rest) / c.compressor_efficiency, c.boost
    behind = gas.T - c.cooler_effectiveness * (gas.T - air.temperature)
    assert numbers["charge_temperature"] == pytest.approx(behind, abs=0.1)


def test_a_turbine_too_big_is_refused_and_the_cure_named():
    with pytest.raises(RunError) as told:
        run_point(charged(BALANCE.format(area=1500)), 2500.0)
    assert "with the wastegate shut the turbine gives" in str(told.value) and "a smaller turbine_area" in str(told.value)
    assert told.value.part == "charger" and told.value.rpm == 2500.0


def test_a_turbine_too_big_may_give_less_boost():
    numbers = run_point(charged(BALANCE.format(area=800) + 'if_short = "less boost"\n'), 2500.0).scalars
    assert numbers["wastegate_share"] == 0.0
    assert numbers["turbine_power"] == pytest.approx(numbers["compressor_power"], rel=0.02)  # nearly neutral: slow to settle
    assert 10e3 < numbers["boost_pressure"] < 109e3


def test_a_wastegate_too_small_is_refused_and_the_cure_named():
    with pytest.raises(RunError) as told:
        run_point(charged(BALANCE.format(area=420) + 'wastegate_area = "20 mm2"\n'), 5000.0)
    assert "with the wastegate wide open" in str(told.value) and "wastegate_area" in str(told.value)


def test_first_guesses_are_a_nozzle():
    """At the choking pressure the area is that of the choked nozzle, above it the flow goes with pressure (ideal gas)."""
    pressure = choking_pressure(0.1, 4e-4)
    assert nozzle_for(0.1, pressure, 0.5 * pressure) == pytest.approx(4e-4, rel=1e-9)
    assert nozzle_for(0.1, 2.0 * pressure, 0.5 * pressure) == pytest.approx(2e-4, rel=1e-9)


def test_a_cooler_takes_its_share():
    case = charged(BALANCE.format(area=420).replace('charge_temperature = "45 degC"', 'cooler_effectiveness = "100 %"'))
    gas = tables.real_gas("gasoline", 0.89)
    air = case.ambient
    assert charge_temperature(case.charger, gas, air, case.charger.boost, 2e3) == pytest.approx(air.temperature)
    bare = case.charger.model_copy(update={"cooler": "none"})
    hot = charge_temperature(bare, gas, air, bare.boost, 2e3)
    # constant specific heat, 1 %: T2 = T1 (1 + (r^0.2857 - 1) / efficiency)
    rise = (bare.boost / (air.pressure - 2e3)) ** 0.2857 - 1.0
    assert hot - air.temperature == pytest.approx(air.temperature * rise / bare.compressor_efficiency, rel=0.01)
