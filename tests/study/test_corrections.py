"""Power corrected to named standards: factors of the reference table, ranges, cautions, and that nothing happens unasked."""

import csv
from pathlib import Path

import numpy as np
import pytest
from made_up import Engine, make_case

from waveflow.engine.case import load
from waveflow.study.columns import asked_units
from waveflow.study.corrections import (
    STANDARDS,
    asked_standard,
    correction_of,
    iso_1585,
    sae_j1349,
    standard_named,
    with_corrected,
)
from waveflow.study.pointsfile import points_csv
from waveflow.study.sweep import sweep

ROOT = Path(__file__).parents[2]
LINES = (ROOT / "tests" / "data" / "power_correction_factors.csv").read_text(encoding="utf-8").splitlines()
ROWS = [{name: float(text) for name, text in row.items()} for row in csv.DictReader(x for x in LINES if x[:1] != "#")]


@pytest.mark.parametrize("row", ROWS, ids=lambda row: f"{row['p_dry_kPa']:g} kPa {row['T_C']:g} C")
def test_factors_of_the_reference_table(row):
    """The table's provenance stands in its first line; to the digits it prints."""
    at = 1e3 * row["p_dry_kPa"], row["T_C"] + 273.15
    assert sae_j1349(*at) == pytest.approx(row["cf_SAE_J1349_1990"], rel=1e-6)
    assert iso_1585(*at) == pytest.approx(row["cf_ISO1585_SI_from_memory"], rel=1e-6)


@pytest.mark.parametrize("factor", [sae_j1349, iso_1585])
def test_thin_and_warm_air_is_corrected_upwards(factor):
    assert factor(99e3, 298.15) == pytest.approx(1.0, abs=1e-12)
    assert factor(95e3, 298.15) > 1.0 > factor(101e3, 298.15)
    assert factor(99e3, 308.15) > 1.0 > factor(99e3, 288.15)


def starter(**changes):
    return load(ROOT / "cases" / "starter.toml", {key.replace("__", "."): value for key, value in changes.items()})


def test_the_pressure_is_that_of_the_dry_air():
    """Half-saturated air of 20 degC holds 1.17 kPa of vapour (steam tables: 2.339 kPa saturated)."""
    found = correction_of(starter(), STANDARDS["SAE J1349"])
    assert found.dry_pressure == pytest.approx(101e3 - 0.5 * 2339.0, rel=1e-4)
    assert found.factor == pytest.approx(sae_j1349(found.dry_pressure, 293.15), rel=1e-12)
    assert found.cautions == ()
    assert "99.8 kPa and 20.0 deg C" in found.sentence and "SAE J1349" in found.sentence and "99.0 kPa" in found.sentence
    with asked_units("US"):
        assert "14.48 psi and 68.0 deg F" in found.sentence


def test_outside_the_range_it_says_so():
    high = correction_of(starter(ambient__pressure="80 kPa abs", ambient__temperature="40 degC"), STANDARDS["SAE J1349"])
    assert [caution.split(":")[0] for caution in high.cautions] == ["OUTSIDE SAE J1349"] * 3
    assert "dry pressure of 76.3 kPa" in high.cautions[0] and "temperature of 40.0 deg C" in high.cautions[1]
    assert "factor of 1.3" in high.cautions[2]


def test_a_boosted_engine_is_cautioned():
    found = correction_of(load(ROOT / "cases" / "t192_street.toml"), STANDARDS["ISO 1585"])
    assert any("over-corrects" in caution for caution in found.cautions)


def test_names_are_taken_as_people_write_them():
    for text in ("SAE J1349", "sae j1349", "J1349", "SAE-J1349"):
        assert standard_named(text).name == "SAE J1349"
    assert standard_named("iso1585").name == "ISO 1585"
    with pytest.raises(ValueError, match="there are: SAE J1349, ISO 1585"):
        standard_named("DIN 70020")


def result(text: str | None = None):
    made = sweep(make_case(), [3000, 5000], run_point=Engine())
    if text is None:
        return made
    from dataclasses import replace

    return replace(made, facts=replace(made.facts, text=text))


def test_nothing_is_corrected_unless_asked_for():
    made = result(starter().text)
    assert with_corrected(made) is made
    assert b"corrected" not in points_csv([("a", made)])


def test_corrected_columns_stand_beside_the_others():
    case = starter()
    made = result(case.text)
    with asked_standard("SAE J1349"):
        found = with_corrected(made)
        table = points_csv([("a", made)]).decode("utf-8-sig")
    factor = correction_of(case, STANDARDS["SAE J1349"]).factor
    assert np.array_equal(found.torque, made.torque)
    assert found.column("corrected_torque") == pytest.approx(factor * made.torque, rel=1e-15)
    assert found.column("corrected_power") == pytest.approx(factor * made.power, rel=1e-15)
    assert ",torque [N m],power [kW],corrected_torque [N m],corrected_power [kW]," in table
    assert with_corrected(made) is made
