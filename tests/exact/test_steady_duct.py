"""Steady flow through a duct of changing area, with and without a shock, against the exact isentropic relations.

Duct shapes and back pressures: J. D. Anderson, *Computational Fluid Dynamics* (1995), ch. 7; exact states in
tests/data/duct_area_change_exact.csv (provenance there). 100 cells; Mach number within 0.2 % (three cells and more away
from the shock), mass flow within 0.5 %, shock within two cells.
"""

from functools import lru_cache

import numpy as np
import pytest
from reference_files import rows
from scipy.optimize import brentq
from tubes import Tubes, opened, orders, perfect_gas

P0, T0, GAMMA = 1e5, 300.0, 1.4
CASES = {"subsonic_pe0.93": 0.93, "shock_pe0.6784": 0.6784}


def area(case):
    def of(x):
        behind = 0.2223 if case.startswith("subsonic") else 2.2
        return 1e-3 * (1.0 + np.where(x < 1.5, 2.2, behind) * (x - 1.5) ** 2)

    return of


@lru_cache
def steady(case: str, cells: int = 100):
    """Duct between a vessel at P0, T0 and one at the back pressure, run until nothing changes any more."""
    x = np.linspace(0.0, 3.0, cells + 1)
    start = {"pressure": lambda at: P0 * (1.0 - (1.0 - CASES[case]) * at / 3.0), "temp": T0}
    gas = perfect_gas(GAMMA, 287.05)
    run = Tubes(opened(gas, x, area(case), (P0, T0), (P0 * CASES[case], T0), **start))
    run.march(0.4)
    before = run.profile().mach
    run.volume_accounts[:] = 0.0
    run.march(0.01)
    change = np.abs(run.profile().mach - before)
    assert np.median(change) < 1e-5
    assert change.max() < 3e-3  # in the cells of the shock, which never quite settles
    return run


def exact(case: str):
    table = [row for row in rows("duct_area_change_exact") if row["case"] == case]
    return {key: np.array([row[key] for row in table]) for key in ("x", "M", "p_p0", "A_At")}, table[0]["x_shock"]


@lru_cache
def exact_mach(case: str, at: float) -> float:
    """Mach number from the exact branch between the table's points: area ratio to the local critical area, inverted."""

    def ratio(m):
        return (1.0 + 0.2 * m * m) ** 3 / 1.728 / m

    _, shock = exact(case)
    if shock == "":
        critical, low, high = 1e-3 / ratio(0.5412497523), 1e-6, 1.0
    elif at < shock:
        critical, low, high = 1e-3, *((1e-6, 1.0) if at < 1.5 else (1.0, 10.0))
    else:
        critical, low, high = float(area(case)(3.0)) / ratio(0.1430758192), 1e-6, 1.0
    wanted = float(area(case)(at)) / critical
    return 1.0 if wanted <= 1.0 else brentq(lambda m: ratio(m) - wanted, low, high, xtol=1e-13)


@pytest.mark.parametrize("case", CASES)
def test_mach_number(case):
    found = steady(case).profile()
    _, shock = exact(case)
    checked = np.ones(100, bool) if shock == "" else np.abs(found.x - shock) > 3.0 * 0.03
    wanted = np.array([exact_mach(case, at) for at in found.x])
    assert np.abs(found.mach / wanted - 1.0)[checked].max() < 2e-3


@pytest.mark.parametrize("case", CASES)
def test_tabulated_pressures_and_mach_numbers(case):
    """At the table's own places, between cell centres: 0.3 % of the stagnation pressure, 0.5 % of Mach number."""
    found = steady(case).profile()
    table, shock = exact(case)
    away = (table["x"] > 0.1) & (table["x"] < 2.9)
    if shock != "":
        away &= np.abs(table["x"] - shock) > 3.5 * 0.03
    at = table["x"][away]
    assert np.abs(np.interp(at, found.x, found.pres) / P0 - table["p_p0"][away]).max() < 3e-3
    assert np.abs(np.interp(at, found.x, found.mach) / table["M"][away] - 1.0).max() < 5e-3


@pytest.mark.parametrize("case", CASES)
def test_mass_flow(case):
    run = steady(case)
    table, _ = exact(case)
    m = table["M"][6]  # in the throat
    wanted = 1e-3 * P0 * np.sqrt(GAMMA / (287.05 * T0)) * m * (1.0 + 0.2 * m * m) ** -3
    through = run.volume_accounts[:, 0] / 0.01
    assert -through[0] == pytest.approx(wanted, rel=5e-3)
    assert through[1] == pytest.approx(-through[0], rel=1e-4)


def test_shock_position():
    found = steady("shock_pe0.6784").profile()
    _, shock = exact("shock_pe0.6784")
    supersonic = found.x[found.mach > 1.0]
    assert abs(supersonic[-1] + 0.015 - shock) < 2.0 * 0.03


def test_steady_flow_converges():
    """Errors of Mach number in the subsonic duct fall at order 1.8 or better (L1)."""
    errors = []
    for cells in (25, 50, 100):
        found = steady("subsonic_pe0.93", cells).profile()
        errors.append(
            np.mean([abs(m / exact_mach("subsonic_pe0.93", x) - 1.0) for m, x in zip(found.mach, found.x, strict=True)])
        )
    assert orders(errors)[-1] > 1.8


def test_energy_of_steady_flow():
    """Total enthalpy is that of the vessel in every cell: 0.1 % away from the shock."""
    found = steady("shock_pe0.6784").profile()
    total = found.temp * (1.0 + 0.2 * found.mach**2) / T0
    away = np.abs(found.x - exact("shock_pe0.6784")[1]) > 0.09
    assert np.abs(total - 1.0)[away].max() < 1e-3
