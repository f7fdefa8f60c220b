"""Adiabatic pipe with friction fed by a bellmouth: exact Fanno flow and printed Fanno tables.

Exact states in tests/data/fanno_pipe_cases.csv (computed; formulae as in NACA Report 1135 and A. H. Shapiro, *The
Dynamics and Thermodynamics of Compressible Fluid Flow*, 1953). Printed rows: S. Farokhi, *Aircraft Propulsion*, 2nd ed.
2014, appendix E, as transcribed in tests/data/gas_tables_published_rows_seen.csv.

The friction factor is constant here because the gas is given next to no viscosity: the Reynolds number is then so high
that the wall law (Haaland 1983) depends on the roughness alone, and the roughness follows from the factor.
"""

from functools import lru_cache

import numpy as np
import pytest
from reference_files import rows
from tubes import Tubes, opened, perfect_gas

from waveflow.physics.walls import friction_factor

CASES = rows("fanno_pipe_cases")
NAMES = [f"{row['p0_Pa']:.0f}-{row['pb_Pa']:.0f}" for row in CASES]
PRINTED = {(row["M"], row["quantity"]): row["value"] for row in rows("gas_tables_published_rows_seen") if row["source"] == "S1"}


def rough_gas():
    """Air as a perfect gas of no viscosity to speak of."""
    return perfect_gas(1.4, 287.0)._replace(mu=np.array([1e-15, 0.0, 0.0]))


def roughness(darcy: float, diameter: float) -> float:
    """Height of roughness [m] at which a fully rough pipe has the Darcy factor; checked against the solver's wall law."""
    height = 3.7 * diameter * 10.0 ** (-1.0 / (1.8 * 1.11 * np.sqrt(darcy)))
    assert friction_factor(1e12, height / diameter) == pytest.approx(darcy, rel=1e-6)
    return height


def pipe(darcy, length, diameter, inlet, outlet, cells=100, seconds=None):
    """A pipe between (p0, T0) and (back pressure, T0), run until it is steady; cells grow finer towards the exit."""
    share = np.linspace(0.0, 1.0, cells + 1)
    x = length * (1.5 * share - 0.5 * share**2)
    run = Tubes(
        opened(
            rough_gas(), x, 0.25 * np.pi * diameter**2, inlet, outlet,
            pressure=lambda at: inlet[0] + (outlet[0] - inlet[0]) * at / length, temp=inlet[1],
            roughness=roughness(darcy, diameter),
        ),
        friction=True,
    )  # fmt: skip
    run.march(seconds or 100.0 * length / np.sqrt(1.4 * 287.0 * inlet[1]))
    run.volume_accounts[:] = 0.0
    last = run.profile().mach
    run.march(0.01)
    assert np.abs(run.profile().mach - last).max() < 2e-4
    return run, -run.volume_accounts[0, 0] / 0.01, x


@lru_cache
def case(number: int):
    row = CASES[number]
    return row, *pipe(row["f_darcy"], row["L_m"], row["D_m"], (row["p0_Pa"], row["T0_K"]), (row["pb_Pa"], row["T0_K"]))


def fanno_group(m):
    """f L*/D from Mach number m to choking (Shapiro)."""
    return (1.0 - m * m) / (1.4 * m * m) + 6.0 / 7.0 * np.log(1.2 * m * m / (1.0 + 0.2 * m * m))


@pytest.mark.parametrize("number", range(len(CASES)), ids=NAMES)
def test_mass_flow(number):
    row, _, flow, _ = case(number)
    assert flow == pytest.approx(row["mdot_kg_s"], rel=5e-3)


def exact_mach(row, x):
    """Mach number at the places x of a pipe of the table."""
    group = fanno_group(row["M_in"]) - row["f_darcy"] * x / row["D_m"]  # from each place to choking
    trial = np.linspace(0.02, 1.0, 200001)
    return np.interp(-group, -fanno_group(trial), trial)


@pytest.mark.parametrize("number", range(len(CASES)), ids=NAMES)
def test_mach_numbers(number):
    """Mach number along the pipe within 0.2 %, a sonic exit included."""
    row, run, _, _ = case(number)
    found = run.profile()
    assert np.abs(found.mach / exact_mach(row, found.x) - 1.0).max() < 2e-3


@pytest.mark.parametrize("number", range(len(CASES)), ids=NAMES)
def test_pressures(number):
    """Pressure along the pipe from the exit pressure of the table, within 0.2 %."""
    row, run, _, _ = case(number)
    found = run.profile()

    def over_critical(m):
        return np.sqrt(1.2 / (1.0 + 0.2 * m * m)) / m

    wanted = row["p_exit_Pa"] * over_critical(exact_mach(row, found.x)) / over_critical(row["M_exit"])
    assert np.abs(found.pres / wanted - 1.0).max() < 2e-3


@pytest.mark.parametrize("m_in, m_exit", [(0.1, 0.14), (0.12, 0.16)])
def test_printed_fanno_table(m_in, m_exit):
    """A pipe as long as the table's friction groups say, with the table's pressure ratio, has the table's Mach numbers
    (0.2 %), pressure, temperature and density ratios (0.1 %) at its ends."""
    group = PRINTED[m_in, "4CfLstar/D"] - PRINTED[m_exit, "4CfLstar/D"]
    back = 1e5 * PRINTED[m_exit, "p/p*"] * 0.52828 / PRINTED[m_in, "p0/p0*"]  # p*/p0* of sonic flow, table of Farokhi
    darcy, diameter = 0.03, 0.01
    run, _, x = pipe(darcy, group * diameter / darcy, diameter, (1e5, 300.0), (back, 300.0), seconds=0.5)
    found = run.profile()
    ends = {}
    for name in ("mach", "pres", "temp", "rho"):
        row = getattr(found, name)
        ends[name] = [
            row[i] + (face - found.x[i]) * (row[j] - row[i]) / (found.x[j] - found.x[i])
            for i, j, face in ((0, 1, x[0]), (-1, -2, x[-1]))
        ]
    assert ends["mach"] == pytest.approx([m_in, m_exit], rel=2e-3)
    for name, symbol in (("pres", "p/p*"), ("temp", "T/T*"), ("rho", "rho/rho*")):
        ratio = PRINTED[m_exit, symbol] / PRINTED[m_in, symbol]
        assert ends[name][1] / ends[name][0] == pytest.approx(ratio, rel=1e-3)


def test_a_bend_costs_its_loss_coefficient():
    """Slow steady flow: a bend of K = 0.4 over the middle third takes K/2 rho u^2 of stagnation pressure, to 1 %."""
    x = np.linspace(0.0, 0.3, 61)
    loss = np.where((x[:-1] > 0.0999) & (x[1:] < 0.2001), 0.4 / (2.0 * 0.1), 0.0)

    def across(row):
        ends = (1e5, 300.0), (0.998e5, 300.0)
        run = Tubes(opened(rough_gas(), x, 1e-3, *ends, pressure=1e5, temp=300.0, loss=row), friction=True)
        run.march(0.4)
        at = run.profile()
        total = at.pres * (1.0 + 0.2 * at.mach**2) ** 3.5
        return total[0] - total[-1], float(np.mean(0.5 * at.rho * at.vel**2))

    straight, head = across(0.0)
    bent, slower = across(loss)
    assert bent / slower - straight / head == pytest.approx(0.4, rel=1e-2)
