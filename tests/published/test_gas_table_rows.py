"""Rows of printed and closed-form gas tables against the functions that pipe ends are made of.

Printed rows (gamma = 1.4): tests/data/gas_tables_published_rows_seen.csv, S2 a textbook's table of isentropic flow, S3
S. Farokhi, *Aircraft Propulsion*, 2nd ed. 2014, appendix B. Shock columns: tests/data/gas_tables_gamma1p4_computed.csv
(formulae of NACA Report 1135, 1953). Agreement: one unit of the last printed digit (one row of S2 is rounded up where it
should not be), or 1e-6 of the formula.
"""

import numpy as np
import pytest
from reference_files import DATA, rows

from waveflow.physics.ends import throat_from_rest, velocity_drop, wave
from waveflow.physics.gas import ideal_gas
from waveflow.physics.thermo import mixture

GAS = ideal_gas(1.4, 287.05)
P0, T0 = 1e5, 300.0


def stream(mach: float) -> dict[str, float]:
    """Ratios in a stream from rest whose pressure is that of the Mach number, by the solver's throat."""
    c, r = mixture(GAS, 0.0, 0.0), float(GAS.r[0])
    flux, p, temp, vel = throat_from_rest(c, r, T0, P0, P0 * (1.0 + 0.2 * mach**2) ** -3.5)
    most = throat_from_rest(c, r, T0, P0, 0.1 * P0)[0]
    rho = p / (r * temp)
    return {
        "M": vel / np.sqrt(1.4 * r * temp), "p/p0": p / P0, "T/T0": temp / T0, "rho/rho0": rho / (P0 / (r * T0)),
        "A/A*": most / flux,
    }  # fmt: skip


PRINTED = [row for row in rows("gas_tables_published_rows_seen") if row["source"] in ("S2", "S3")]


def printed_digit(row: dict) -> float:
    """One unit in the last place of a printed value, read from the file's own text."""
    start = f"{row['source']},{row['M']:g},{row['quantity']},"
    text = next(
        line for line in (DATA / "gas_tables_published_rows_seen.csv").read_text().splitlines() if line.startswith(start)
    )
    digits = len(text.rsplit(",", 1)[1].partition(".")[2])
    return 10.0**-digits


@pytest.mark.parametrize("row", PRINTED, ids=[f"{x['source']}-M{x['M']}-{x['quantity']}".replace("/", ":") for x in PRINTED])
def test_printed_isentropic_rows(row):
    found = stream(row["M"])
    assert found["M"] == pytest.approx(row["M"], rel=1e-6)
    value = found.get(row["quantity"])
    if value is None:  # printed upside down: stagnation over static
        above, below = row["quantity"].split("/")
        value = 1.0 / found[f"{below}/{above}"]
    assert value == pytest.approx(row["value"], abs=printed_digit(row))


COMPUTED = rows("gas_tables_gamma1p4_computed")


@pytest.mark.parametrize("row", [x for x in COMPUTED if x["M"] <= 1.0], ids=lambda x: f"M{x['M']}")
def test_closed_form_isentropic_rows(row):
    found = stream(row["M"])
    for name, column in (("p/p0", "p_p0"), ("T/T0", "T_T0"), ("rho/rho0", "rho_rho0"), ("A/A*", "A_Astar")):
        assert found[name] == pytest.approx(row[column], rel=1e-6)


@pytest.mark.parametrize("row", [x for x in COMPUTED if x["M"] > 1.0], ids=lambda x: f"M{x['M']}")
def test_normal_shock_rows(row):
    """The wave of a pipe end is that shock: density ratio, speed behind it, temperature, loss of stagnation pressure."""
    rho1, p1 = 1.2, 1e5
    a1 = np.sqrt(1.4 * p1 / rho1)
    p2 = p1 * row["p2_p1_ns"]
    rho2 = wave(p2, rho1, p1, 1.4)[0]
    assert rho2 / rho1 == pytest.approx(row["rho2_rho1_ns"], rel=1e-6)
    assert p2 / p1 * rho1 / rho2 == pytest.approx(row["T2_T1_ns"], rel=1e-6)
    slowed = velocity_drop(p2, rho1, p1, 1.4)
    assert wave(p2, rho1, p1, 1.4)[1] == pytest.approx(slowed, rel=1e-12)
    m2 = (row["M"] * a1 - slowed) / np.sqrt(1.4 * p2 / rho2)
    assert m2 == pytest.approx(row["M2_ns"], rel=1e-6)
    stagnation = p2 / p1 * ((1.0 + 0.2 * m2**2) / (1.0 + 0.2 * row["M"] ** 2)) ** 3.5
    assert stagnation == pytest.approx(row["p02_p01_ns"], rel=1e-6)
