"""The gas: air, fuel vapour and burned gas as frozen, thermally perfect mixtures.

Each of the three is an ideal gas of fixed composition whose specific heats vary with temperature. Internal energy
includes the enthalpy of formation (elements at 298.15 K are zero), so turning fuel and air into burned gas at the
same temperature releases the heat of combustion with no separate heating value. With t = T / 1000 K and e in J/kg

    e(T)  = sum_{j=0..5} c_j t^j + sum_{j=2..5} d_j max(t - 1, 0)^j
    cv(T) = de/dT,   h = e + R T,   cp = cv + R.

NASA's seven-coefficient data are built so, a quartic of cv below and above 1000 K (McBride, Gordon & Reno,
"Coefficients for Calculating Thermodynamic and Transport Properties of Individual Species", NASA TM-4513, 1993), so
the ten coefficients of a mixture repeat them to round-off. (One polynomial of that cost misses cv by 0.2 to 0.8 %.)

Species data and equilibrium come from Cantera (file nasa_gas.yaml), which only this module imports, and only while
tables are made; they are kept as JSON in the cache folder. Compressibility is taken as one.
"""

from __future__ import annotations

import collections
import dataclasses
import functools
import hashlib
import json
import math
import os
import tempfile
from collections.abc import Mapping, Sequence
from importlib import metadata
from pathlib import Path

import numpy as np
from numpy.polynomial.polynomial import polyder, polydiv, polyint, polyval
from numpy.typing import ArrayLike, NDArray

from waveflow.compiled import cache_root

SPECIES = ("air", "fuel vapour", "burned gas")
"""Order of the rows of a `Gas`."""

Gas = collections.namedtuple("Gas", ["r", "e", "t_low", "t_high", "air_fuel", "mu", "lam", "fuel_latent"])
Gas.__doc__ = """Gas tables as the kernels take them.

r: specific gas constants of the three species [J/kg/K], shape (3,). e: coefficients of internal energy [J/kg], shape
(3, 10), c_0 to c_5 and d_2 to d_5 of the module's first lines. t_low, t_high: limits of the tables [K]. air_fuel: air
burned per fuel [kg/kg], 0 where there is no fuel. mu: viscosity mu[0] + mu[1] t + mu[2] t^2 [Pa s], t = T / 1000 K.
lam: thermal conductivity likewise [W/m/K]. fuel_latent: latent heat of vaporisation of the fuel [J/kg].
"""

COLUMNS = 10
"""Number of energy coefficients of a species."""

T_REFERENCE = 298.15
"""Reference temperature of the enthalpies of formation [K]."""

DRY_AIR = {"O2": 0.2095, "N2": 0.7808, "Ar": 0.0097}
"""Mole fractions of dry air (carbon dioxide counted as nitrogen)."""

EQUILIBRIUM_T = 1800.0
"""Temperature at which the burned gas is in equilibrium [K]; at any other it is frozen. Near here the water-gas
reaction stops following an expansion in an engine. Hotter gas is in truth partly dissociated, which is left out:
burned at constant volume from 700 K and 20 bar, gasoline at lambda 0.89 comes to 3117 K here and 2953 K in full
equilibrium."""

EQUILIBRIUM_P = 30e5
"""Pressure of that equilibrium [Pa]."""

AIR_VISCOSITY = (4.486e-6, 4.859e-5, -9.04e-6)
"""Viscosity of air as a parabola in T / 1000 K [Pa s]: within 3 % of Cantera's gri30.yaml from 200 to 2000 K."""

AIR_CONDUCTIVITY = (6.372e-3, 6.882e-2, -6.057e-3)
"""Thermal conductivity of air likewise [W/m/K]: within 0.4 %."""

_PRODUCTS = ("CO2", "CO", "H2O", "H2", "O2", "N2", "NO", "OH", "H", "O", "Ar")
_OXYGEN = {"C": 1.0, "H": 0.25, "O": -0.5, "N": 0.0, "Ar": 0.0}  # oxygen molecules that burn one atom
_FORMAT = 2


@dataclasses.dataclass(frozen=True)
class Fuel:
    """A liquid fuel: mass fractions by species name, latent heat of vaporisation at 298.15 K [J/kg]."""

    mass_fractions: Mapping[str, float]
    latent_heat: float


def _fuel(**mass_fractions: float) -> Fuel:
    parts = {_COMPONENTS[name][0]: share for name, share in mass_fractions.items()}
    return Fuel(parts, sum(share * _COMPONENTS[name][1] for name, share in mass_fractions.items()))


# Latent heats: CRC Handbook of Chemistry and Physics, molar enthalpies of vaporisation at 298.15 K (kJ/mol 35.14,
# 38.01, 36.57, 42.32, 37.43; read in the data tables of the open-source package `chemicals`) over molar mass.
_COMPONENTS = {
    "isooctane": ("C8H18,isooctane", 35.14e6 / 114.23),
    "toluene": ("C7H8", 38.01e6 / 92.14),
    "heptane": ("C7H16,n-heptane", 36.57e6 / 100.20),
    "ethanol": ("C2H5OH", 42.32e6 / 46.07),
    "methanol": ("CH3OH", 37.43e6 / 32.04),
}

# Both mixtures are our own choice: the first has the hydrogen-carbon ratio, heating value and air demand of a pump
# gasoline without oxygenates, the second is 85 % ethanol by volume (densities 789 and 745 kg/m3, from memory) in that
# gasoline.
FUELS: Mapping[str, Fuel] = {
    "gasoline": _fuel(isooctane=0.52, toluene=0.30, heptane=0.18),
    "ethanol_blend": _fuel(ethanol=0.857, isooctane=0.143 * 0.52, toluene=0.143 * 0.30, heptane=0.143 * 0.18),
    "methanol": _fuel(methanol=1.0),
}
"""Fuels by name; "none" stands for no fuel at all."""


def moist_air(temperature: float, pressure: float, relative_humidity: float) -> float:
    """Mole fraction of water vapour in moist air.

    temperature [K], pressure [Pa absolute], relative_humidity as a fraction 0..1. Saturation pressure over water from
    Alduchov & Eskridge, "Improved Magnus Form Approximation of Saturation Vapor Pressure", J. Appl. Meteorology 35
    (1996) (within 0.4 % from -40 to 50 C). Raises ValueError where the air could not hold that much water.
    """
    celsius = temperature - 273.15
    saturation = 610.94 * math.exp(17.625 * celsius / (celsius + 243.04))
    water = relative_humidity * saturation / pressure
    if not 0.0 <= water < 0.5:
        raise ValueError(f"moist air: water mole fraction {water:.3g} is outside 0 to 0.5")
    return water


def ideal_gas(gamma: float = 1.4, gas_constant: float = 287.05) -> Gas:
    """Constant-gamma gas: all three species alike, e = R T / (gamma - 1), no fuel.

    gamma [1], gas_constant [J/kg/K]. There is no energy of formation. The temperature limits are wide, nothing in this
    gas depends on them.
    """
    e = np.zeros((3, COLUMNS))
    e[:, 1] = 1000.0 * gas_constant / (gamma - 1.0)
    r = np.full(3, float(gas_constant))
    return Gas(r, e, 1.0, 1.0e5, 0.0, np.array(AIR_VISCOSITY), np.array(AIR_CONDUCTIVITY), 0.0)


def real_gas(fuel: str = "gasoline", lambda_: float = 0.89, water: float = 0.0) -> Gas:
    """Gas tables of moist air, vapour of a fuel, and their burned gas.

    fuel: a name in `FUELS`, or "none" (all three species are air then). lambda_: air-fuel ratio of the mixture over
    the stoichiometric one [1]. water: mole fraction of water vapour in the air, see `moist_air`. Burned gas is the
    equilibrium at `EQUILIBRIUM_T`, `EQUILIBRIUM_P` of that mixture, then frozen. The tables hold from 180 to 3500 K.
    Read from the cache folder when they have been made before. Raises ValueError on an unknown fuel or a mixture
    outside lambda 0.5 to 3.
    """
    if fuel != "none" and fuel not in FUELS:
        raise ValueError(f"unknown fuel {fuel!r}; known: {', '.join([*FUELS, 'none'])}")
    if not 0.5 <= lambda_ <= 3.0:
        raise ValueError(f"lambda {lambda_:g} is outside 0.5 to 3")
    inputs = {
        "format": _FORMAT,
        "cantera": _cantera_version(),
        "fuel": dict(FUELS[fuel].mass_fractions) if fuel != "none" else {},
        "latent_heat": FUELS[fuel].latent_heat if fuel != "none" else 0.0,
        "lambda": float(lambda_) if fuel != "none" else 0.0,
        "water": float(water),
        "equilibrium": [EQUILIBRIUM_T, EQUILIBRIUM_P],
    }
    key = hashlib.sha256(json.dumps(inputs, sort_keys=True).encode()).hexdigest()[:16]
    path = cache_root() / "gas" / f"{key}.json"
    tables = _read_tables(path, inputs)
    if tables is None:
        tables = _make_tables(inputs)
        _write_tables(path, {"inputs": inputs, "tables": tables})
    return Gas(
        np.array(tables["r"]), np.array(tables["e"]), 180.0, 3500.0, tables["air_fuel"],
        np.array(AIR_VISCOSITY), np.array(AIR_CONDUCTIVITY), inputs["latent_heat"],
    )  # fmt: skip


def _cantera_version() -> str:
    try:
        return metadata.version("cantera")  # reads the installed version without importing the library
    except metadata.PackageNotFoundError:
        return "none"


def _read_tables(path: Path, inputs: dict) -> dict | None:
    """Tables stored at `path` if they are whole and were made from the same inputs, else None."""
    try:
        stored = json.loads(path.read_text(encoding="utf-8"))
        tables = stored["tables"]
        r, e = np.array(tables["r"], dtype=float), np.array(tables["e"], dtype=float)
        whole = r.shape == (3,) and e.shape == (3, COLUMNS) and np.isfinite(e).all() and (r > 0.0).all()
        same = stored["inputs"] == inputs and _digest(tables) == tables["digest"]
        return tables if whole and same and math.isfinite(tables["air_fuel"]) else None
    except (OSError, ValueError, KeyError, TypeError, RecursionError):
        return None


def _digest(tables: dict) -> str:
    return hashlib.sha256(json.dumps([tables["r"], tables["e"], tables["air_fuel"]]).encode()).hexdigest()


def _write_tables(path: Path, content: dict) -> None:
    """Store tables; a folder that cannot be written only means making them again next time."""
    temporary = None
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        handle, temporary = tempfile.mkstemp(prefix=f".{path.stem}-", dir=path.parent)
        with os.fdopen(handle, "w", encoding="utf-8") as file:
            json.dump(content, file)
            file.flush()
            os.fsync(file.fileno())
        os.replace(temporary, path)
    except OSError:
        if temporary is not None:
            Path(temporary).unlink(missing_ok=True)


def _make_tables(inputs: dict) -> dict:
    air = {name: (1.0 - inputs["water"]) * share for name, share in DRY_AIR.items()} | {"H2O": inputs["water"]}
    mixtures, air_fuel = [air, air, air], 0.0
    if inputs["fuel"]:
        air_fuel = inputs["lambda"] * stoichiometric_air_fuel(inputs["fuel"], air)
        mixtures = [air, _mole_fractions(inputs["fuel"]), burned_mixture(inputs["fuel"], air, air_fuel)]
    rows = [frozen_mixture(mixture) for mixture in mixtures]
    tables = {"r": [r for r, _ in rows], "e": [e.tolist() for _, e in rows], "air_fuel": air_fuel}
    return tables | {"digest": _digest(tables)}


@functools.cache
def _species() -> list:
    from cantera import Species

    return [one for one in Species.list_from_file("nasa_gas.yaml") if one.name in (*_PRODUCTS, *dict(_COMPONENTS.values()))]


def _phase():
    """All species used here, read once, as a new Cantera phase."""
    from cantera import Solution

    return Solution(thermo="ideal-gas", species=_species())


def _mole_fractions(mass_fractions: Mapping[str, float]) -> dict[str, float]:
    phase = _phase()
    phase.Y = dict(mass_fractions)
    return {name: float(phase[name].X[0]) for name in mass_fractions}


def stoichiometric_air_fuel(fuel: Mapping[str, float], air: Mapping[str, float]) -> float:
    """Mass of air that just burns unit mass of fuel to carbon dioxide and water [kg/kg].

    fuel: mass fractions, air: mole fractions, by species name.
    """
    phase = _phase()
    phase.Y = dict(fuel)
    demand = [sum(_OXYGEN[element] * n for element, n in one.composition.items()) for one in phase.species()]
    oxygen_needed = np.dot(phase.X, demand) / phase.mean_molecular_weight  # kmol per kg of fuel
    phase.X = dict(air)
    return float(oxygen_needed / phase["O2"].X[0] * phase.mean_molecular_weight)


def burned_mixture(fuel: Mapping[str, float], air: Mapping[str, float], air_fuel: float) -> dict[str, float]:
    """Mole fractions of the equilibrium products of `air_fuel` kg of air with 1 kg of fuel.

    fuel: mass fractions, air: mole fractions, by species name. Elements are conserved to the solver's tolerance, 1e-12.
    """
    phase = _phase()
    phase.X = dict(air)
    mixture = air_fuel * phase.Y
    phase.Y = dict(fuel)
    mixture += phase.Y
    phase.TPY = EQUILIBRIUM_T, EQUILIBRIUM_P, mixture
    phase.equilibrate("TP", rtol=1e-12, max_steps=10000)
    return {name: float(phase[name].X[0]) for name in _PRODUCTS}


def frozen_mixture(mole_fractions: Mapping[str, float]) -> tuple[float, NDArray[np.float64]]:
    """Gas constant [J/kg/K] and energy coefficients, shape (COLUMNS,), of a mixture given by mole fractions."""
    phase = _phase()
    grid = np.concatenate([np.linspace(180.0, 1500.0, 265), np.linspace(1510.0, 3500.0, 200)])
    cv = np.empty_like(grid)
    for i, temperature in enumerate(grid):
        phase.TPX = temperature, 1e5, dict(mole_fractions)
        cv[i] = phase.cv_mass
    fitted = _fit(grid / 1000.0, cv)
    phase.TPX = T_REFERENCE, 1e5, dict(mole_fractions)
    fitted[0] = phase.int_energy_mass - _energy(fitted, T_REFERENCE)
    return float(phase.P / (phase.density * phase.T)), fitted


def _fit(t: NDArray, cv: NDArray) -> NDArray[np.float64]:
    """Energy coefficients (COLUMNS,), the first zero, of two quartics of cv that meet at 1000 K, by least squares."""
    above = np.maximum(t - 1.0, 0.0)
    basis = np.column_stack([*(t**j for j in range(5)), *(above**j for j in range(1, 5))])
    slope = np.linalg.lstsq(basis / cv[:, None], np.ones_like(t), rcond=None)[0]
    return np.r_[0.0, 1000.0 * slope / np.r_[1.0:6.0, 2.0:6.0]]


# ---- the readable twins of the kernels' gas functions, for arrays


def _energy(c: NDArray, temperature: ArrayLike) -> NDArray[np.float64]:
    t = np.asarray(temperature, dtype=float) / 1000.0
    above = np.maximum(t - 1.0, 0.0)
    return polyval(t, c[:6]) + above**2 * polyval(above, c[6:])


def _specific_heat(c: NDArray, temperature: ArrayLike) -> NDArray[np.float64]:
    t = np.asarray(temperature, dtype=float) / 1000.0
    above = np.maximum(t - 1.0, 0.0)
    return (polyval(t, polyder(c[:6])) + polyval(above, polyder(np.r_[0.0, 0.0, c[6:]]))) / 1000.0


def _heat_over_temperature(c: NDArray, temperature: ArrayLike) -> NDArray[np.float64]:
    """Integral of cv / T dT from a fixed start: term by term, the constant of cv giving the logarithm."""
    t = np.asarray(temperature, dtype=float) / 1000.0
    slope = polyder(c[:6]) / 1000.0
    result = slope[0] * np.log(t) + polyval(t, polyint(slope[1:]))
    above = np.maximum(t - 1.0, 0.0)
    quotient, rest = polydiv(polyder(np.r_[0.0, 0.0, c[6:]]) / 1000.0, [1.0, 1.0])  # over 1 + above = t
    return result + polyval(above, polyint(quotient)) + rest[0] * np.log1p(above)


def _blend(gas: Gas, yf: ArrayLike, yb: ArrayLike, of_species: Sequence) -> NDArray[np.float64]:
    yf, yb = np.asarray(yf, dtype=float), np.asarray(yb, dtype=float)
    return (1.0 - yf - yb) * of_species[0] + yf * of_species[1] + yb * of_species[2]


def gas_constant(gas: Gas, yf: ArrayLike = 0.0, yb: ArrayLike = 0.0) -> NDArray[np.float64]:
    """Specific gas constant R [J/kg/K] at mass fractions yf of fuel vapour and yb of burned gas."""
    return _blend(gas, yf, yb, gas.r)


def internal_energy(gas: Gas, T: ArrayLike, yf: ArrayLike = 0.0, yb: ArrayLike = 0.0) -> NDArray[np.float64]:
    """Internal energy e [J/kg], formation included, at T [K] and mass fractions yf (fuel vapour), yb (burned gas).

    Arguments broadcast, here and below.
    """
    return _blend(gas, yf, yb, [_energy(c, T) for c in gas.e])


def specific_heat_v(gas: Gas, T: ArrayLike, yf: ArrayLike = 0.0, yb: ArrayLike = 0.0) -> NDArray[np.float64]:
    """Specific heat at constant volume cv [J/kg/K]."""
    return _blend(gas, yf, yb, [_specific_heat(c, T) for c in gas.e])


def specific_heat_p(gas: Gas, T: ArrayLike, yf: ArrayLike = 0.0, yb: ArrayLike = 0.0) -> NDArray[np.float64]:
    """Specific heat at constant pressure cp = cv + R [J/kg/K]."""
    return specific_heat_v(gas, T, yf, yb) + gas_constant(gas, yf, yb)


def enthalpy(gas: Gas, T: ArrayLike, yf: ArrayLike = 0.0, yb: ArrayLike = 0.0) -> NDArray[np.float64]:
    """Enthalpy h = e + R T [J/kg], formation included."""
    return internal_energy(gas, T, yf, yb) + gas_constant(gas, yf, yb) * np.asarray(T)


def sound_speed(gas: Gas, T: ArrayLike, yf: ArrayLike = 0.0, yb: ArrayLike = 0.0) -> NDArray[np.float64]:
    """Frozen sound speed a = sqrt(cp / cv R T) [m/s]."""
    r, cv = gas_constant(gas, yf, yb), specific_heat_v(gas, T, yf, yb)
    return np.sqrt((1.0 + r / cv) * r * np.asarray(T))


def entropy_function(gas: Gas, T: ArrayLike, yf: ArrayLike = 0.0, yb: ArrayLike = 0.0) -> NDArray[np.float64]:
    """Integral of cp / T dT [J/kg/K] from a fixed start: along an isentrope its change is R ln(p2 / p1)."""
    r = gas_constant(gas, yf, yb)
    return _blend(gas, yf, yb, [_heat_over_temperature(c, T) for c in gas.e]) + r * np.log(np.asarray(T) / 1000.0)


def temperature_from_energy(gas: Gas, energy: ArrayLike, yf: ArrayLike = 0.0, yb: ArrayLike = 0.0) -> NDArray[np.float64]:
    """Temperature [K] at internal energy `energy` [J/kg]: Newton's method kept inside a shrinking bracket.

    Raises ValueError where the answer lies more than a hair outside the gas tables.
    """
    energy, yf, yb = np.broadcast_arrays(np.asarray(energy, dtype=float), yf, yb)
    low, high = np.full(energy.shape, gas.t_low - 0.1), np.full(energy.shape, gas.t_high + 0.1)
    inside = (internal_energy(gas, low, yf, yb) <= energy) & (energy <= internal_energy(gas, high, yf, yb))
    if not inside.all():
        raise ValueError(f"internal energy outside the gas tables ({gas.t_low:g} to {gas.t_high:g} K)")
    T = np.clip(np.full(energy.shape, 600.0), low, high)
    for _ in range(60):
        excess = internal_energy(gas, T, yf, yb) - energy
        low, high = np.where(excess < 0.0, T, low), np.where(excess < 0.0, high, T)
        step = T - excess / specific_heat_v(gas, T, yf, yb)
        step = np.where((step >= low) & (step <= high), step, 0.5 * (low + high))
        if np.all(np.abs(step - T) <= 1e-13 * T):
            return step
        T = step
    return T


def temperature_from_enthalpy(gas: Gas, wanted: float, yf: float = 0.0, yb: float = 0.0) -> float:
    """Temperature [K] of one mixture at the enthalpy `wanted` [J/kg], 150 to 4000 K; the nearer one outside."""
    from scipy.optimize import brentq

    c, r = _blend(gas, yf, yb, gas.e), float(gas_constant(gas, yf, yb))

    def excess(temperature: float) -> float:
        return float(_energy(c, temperature)) + r * temperature - wanted

    low, high = 150.0, 4000.0
    if excess(low) >= 0.0 or excess(high) <= 0.0:
        return low if excess(low) >= 0.0 else high
    return float(brentq(excess, low, high, rtol=1e-12))
