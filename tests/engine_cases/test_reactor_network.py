"""A breathing cylinder against Cantera's reactor network: moving wall, four one-way flow controllers, frozen composition.

Cantera integrates the same well-stirred volume with its own equations, thermodynamics and stiff solver (CVODES, relative
tolerance 1e-10); the valve law is written here a second time on Cantera's entropy and sound speed. Pressure, temperature
and mass within 0.05 % at every degree of a cycle.
"""

import numpy as np
import pytest
from bare_cylinder import Bench, sine_squared_area, square_engine
from scipy.optimize import brentq

from waveflow.engine.build import MOST_DEGREES_BARE
from waveflow.physics import gas as tables
from waveflow.physics import layout as lay
from waveflow.physics.assembly import Assembly

ct = pytest.importorskip("cantera")
pytestmark = pytest.mark.filterwarnings("ignore::DeprecationWarning")

RPM = 4000.0
FIRST, LAST = 100.0, 820.0
INTAKE, EXHAUST = (334.0, 602.0, 6.2e-4), (114.0, 382.0, 4.4e-4)  # opens, closes [deg], largest effective area [m2]
AIR_SIDE, BURNED_SIDE = (0.97e5, 305.0), (1.06e5, 850.0)  # Pa, K
CYLINDER = (4.5e5, 1500.0)


def burned_gas() -> dict[str, float]:
    """Mole fractions of the burned gas in the tables of `real_gas("gasoline", 0.89)`."""
    fuel = tables.FUELS["gasoline"].mass_fractions
    air_fuel = 0.89 * tables.stoichiometric_air_fuel(fuel, tables.DRY_AIR)
    return tables.burned_mixture(fuel, tables.DRY_AIR, air_fuel)


def ours() -> np.ndarray:
    """(degrees, 3): pressure, temperature, mass after every degree."""
    model = Assembly(tables.real_gas("gasoline", 0.89))
    air = model.reservoir(*AIR_SIDE)
    burned = model.reservoir(*BURNED_SIDE, yb=1.0)
    row = model.cylinder(*CYLINDER, yb=1.0, start_angle=FIRST, **square_engine(10.0))
    for outside, valve, role in ((air, INTAKE, 1), (burned, EXHAUST, 2)):
        curve = model.curve(sine_squared_area(*valve))
        model.orifice(outside, model.volume_of(row), curve_ab=curve, curve_ba=curve, cylinder=row, role=role)
    bench = Bench(model, row, FIRST, RPM, max_degrees=MOST_DEGREES_BARE)
    return np.array([bench.to(a)[[lay.V_PRES, lay.V_TEMP, lay.V_MASS]] for a in np.arange(FIRST + 1.0, LAST + 0.5)])


def phase():
    """A frozen ideal gas of every species that air and burned gas need; no reactions."""
    wanted = set(tables.DRY_AIR) | set(burned_gas())
    species = [one for one in ct.Species.list_from_file("nasa_gas.yaml") if one.name in wanted]
    return ct.Solution(thermo="ideal-gas", species=species)


def mass_flux(gas, back: float) -> float:
    """Isentropic nozzle flow [kg/m2/s] from the state of `gas`, at rest, into the pressure `back`; choked where due."""
    rest, entropy, pressure = gas.enthalpy_mass, gas.entropy_mass, gas.P
    if back >= pressure:
        return 0.0

    def excess(p):
        gas.SP = entropy, p
        return np.sqrt(2.0 * max(rest - gas.enthalpy_mass, 0.0)) - gas.sound_speed

    throat = back
    if back < 0.6 * pressure and excess(back) > 0.0:
        throat = brentq(excess, max(back, 0.4 * pressure), 0.7 * pressure, xtol=1e-6)
    excess(throat)  # leaves the gas in the throat's state
    return gas.density * np.sqrt(2.0 * max(rest - gas.enthalpy_mass, 0.0))


def network() -> np.ndarray:
    """The same by Cantera."""
    engine = square_engine(10.0)
    area = 0.25 * np.pi * engine["bore"] ** 2
    turn = 6.0 * RPM

    def angle(t):
        return FIRST + turn * t

    def piston_speed(t):
        theta = np.radians(angle(t))
        a, rod = engine["crank"], engine["rod"]
        root = np.sqrt(rod**2 - (a * np.sin(theta)) ** 2)
        return np.radians(turn) * (a * np.sin(theta) + a**2 * np.sin(theta) * np.cos(theta) / root)

    def opening(valve, t):
        opens, closes, most = valve
        share = (angle(t) % 720.0 - opens) / (closes - opens)
        return most * np.sin(np.pi * share) ** 2 if 0.0 < share < 1.0 else 0.0

    inside, air, burned, probe = (phase() for _ in range(4))
    inside.TPX = CYLINDER[1], CYLINDER[0], burned_gas()
    air.TPX = AIR_SIDE[1], AIR_SIDE[0], tables.DRY_AIR
    burned.TPX = BURNED_SIDE[1], BURNED_SIDE[0], burned_gas()
    cylinder = ct.IdealGasReactor(inside)
    contents = cylinder.phase if hasattr(cylinder, "phase") else cylinder.thermo  # renamed in Cantera 3.2
    theta = np.radians(FIRST)
    travel = engine["crank"] * (1.0 - np.cos(theta)) + engine["rod"]
    travel -= np.sqrt(engine["rod"] ** 2 - (engine["crank"] * np.sin(theta)) ** 2)
    cylinder.volume = engine["clearance"] + area * travel
    sources = {"air": (ct.Reservoir(air), air, INTAKE), "burned": (ct.Reservoir(burned), burned, EXHAUST)}
    surroundings = ct.Reservoir(air)

    def inflow(outside, valve):
        rest = outside.TPY

        def rate(t):
            opened = opening(valve, t)
            if opened == 0.0 or contents.P >= rest[1]:
                return 0.0
            probe.TPY = rest
            return opened * mass_flux(probe, contents.P)

        return rate

    def outflow(outside, valve):
        back = outside.P

        def rate(t):
            opened = opening(valve, t)
            if opened == 0.0 or contents.P <= back:
                return 0.0
            probe.TPY = contents.TPY
            return opened * mass_flux(probe, back)

        return rate

    devices = []
    for reservoir, outside, valve in sources.values():
        devices.append(ct.MassFlowController(reservoir, cylinder, mdot=inflow(outside, valve)))
        devices.append(ct.MassFlowController(cylinder, reservoir, mdot=outflow(outside, valve)))
    devices.append(ct.Wall(cylinder, surroundings, A=area, velocity=piston_speed))
    net = ct.ReactorNet([cylinder])
    net.rtol, net.atol = 1e-10, 1e-16
    net.max_time_step = 0.5 / turn
    result = []
    for a in np.arange(FIRST + 1.0, LAST + 0.5):
        net.advance((a - FIRST) / turn)
        result.append((contents.P, contents.T, cylinder.mass))
    return np.array(result)


def test_breathing_cycle():
    left, right = ours(), network()
    error = np.abs(left / right - 1.0)
    worst = error.max(axis=0)
    mass = right[:, 2]
    assert mass.max() > 4.0 * mass.min()  # it blew down, and filled
    assert (worst < 5e-4).all(), f"pressure, temperature, mass off by {worst}"
