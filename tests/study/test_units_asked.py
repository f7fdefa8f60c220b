"""Units a reader asks for: exact factors, one switch for tables, files and axes, and clear refusals."""

import numpy as np
import pytest
from made_up import Engine, make_case

from waveflow import units
from waveflow.study.columns import COLUMNS, asked_units, measure, parse_units, shown, unit_shown
from waveflow.study.pointsfile import points_csv
from waveflow.study.sweep import sweep
from waveflow.units import UnitError

# exact by definition: inch 25.4 mm, pound 0.45359237 kg, standard gravity 9.80665 m/s2, horsepower 550 ft lbf/s
EXACT = {
    ("torque", "lb-ft"): 0.45359237 * 9.80665 * 0.3048,
    ("power", "hp"): 550 * 0.45359237 * 9.80665 * 0.3048,
    ("pressure", "psi"): 0.45359237 * 9.80665 / 0.0254**2,
    ("pressure_difference", "inH2O"): 249.08891,
    ("length", "thou"): 25.4e-6,
    ("volume", "cc"): 1e-6,
    ("volume_flow", "CFM"): 0.3048**3 / 60,
    ("mass_flow", "lb/min"): 0.45359237 / 60,
    ("velocity", "ft/s"): 0.3048,
}


@pytest.mark.parametrize(("kind", "unit"), EXACT, ids=lambda each: each)
def test_factors_are_exact(kind, unit):
    with asked_units(unit):
        value, label, _ = measure(kind, EXACT[kind, unit])
    assert value == pytest.approx(1.0, rel=1e-9)
    assert label == unit


def test_every_column_comes_back_to_si():
    for name, (si, _) in COLUMNS.items():
        with asked_units("US"):
            value, unit, _ = shown(name, [300.0])
        if si in ("N m", "W", "Pa", "K", "m/s", "kg/s"):
            bare = {"deg F": "degF"}.get(unit, unit)
            kind = next(kind for kind in units.TABLE if bare in units.TABLE[kind])
            assert value[0] * units.TABLE[kind][bare] + units.offset_of(kind, bare) == pytest.approx(300.0, rel=1e-12)
        else:
            assert np.array_equal(value, shown(name, [300.0])[0]) and unit == unit_shown(name)


def test_temperatures_have_their_zero():
    with asked_units("degF"):
        assert shown("exhaust_temperature", [373.15])[0][0] == pytest.approx(212.0, abs=1e-9)
    assert shown("exhaust_temperature", [373.15])[0][0] == pytest.approx(100.0, abs=1e-9)


def test_the_switch_ends_with_its_block():
    before = shown("torque", [100.0])
    with asked_units("lb-ft, hp"):
        assert unit_shown("torque") == "lb-ft" and unit_shown("power") == "hp" and unit_shown("plenum_pressure") == "kPa"
    assert shown("torque", [100.0])[1:] == before[1:] and unit_shown("torque") == "N m"


def test_one_column_may_differ():
    with asked_units("US, pumping_mean_pressure=inH2O, torque = Nm"):
        assert unit_shown("pumping_mean_pressure") == "inH2O" and unit_shown("plenum_pressure") == "psi"
        assert unit_shown("torque") == "N m" and unit_shown("gross_torque") == "lb-ft"
        assert shown("pumping_mean_pressure", [249.08891])[0][0] == pytest.approx(1.0, rel=1e-12)


def test_air_flow_in_cfm_names_its_density():
    """1.2041 kg/m3 x 0.3048^3 / 60 m3/s in one CFM."""
    with asked_units("CFM"):
        value, unit, _ = shown("air_flow", [1.2041 * 0.3048**3 / 60])
    assert value[0] == pytest.approx(1.0, rel=2e-5) and unit == "CFM of 1.2041 kg/m3"


@pytest.mark.parametrize(("text", "message", "hint"), [
    ("lb-fot", 'no unit is called "lb-fot"', "did you mean lb-ft? write US, SI, or units such as lb-ft, hp, psi, CFM, in"),
    ("torqe=Nm", 'no column is called "torqe"', "did you mean torque?"),
    ("torque=psi", '"psi" is no unit of torque', "give one of Nm, lb-ft, lb-in, kgf-m"),
    ("rpm=rps", "rpm has no other unit than rpm", ""),
])  # fmt: skip
def test_what_cannot_be_used_is_told(text, message, hint):
    with pytest.raises(UnitError) as caught:
        parse_units(text)
    assert (caught.value.message, caught.value.hint) == (message, hint)


def test_a_file_of_points_carries_the_units_in_its_headers():
    result = sweep(make_case(), [3000, 5000], run_point=Engine())
    plain = points_csv([("a", result)]).decode("utf-8-sig").splitlines()
    with asked_units("US"):
        asked = points_csv([("a", result)]).decode("utf-8-sig").splitlines()
    at = plain[0].split(",").index("torque [N m]")
    assert asked[0].split(",")[at] == "torque [lb-ft]"
    foot = 0.45359237 * 9.80665 * 0.3048
    for row, other in zip(plain[1:], asked[1:], strict=True):
        assert float(other.split(",")[at]) * foot == pytest.approx(float(row.split(",")[at]), rel=1e-9)
