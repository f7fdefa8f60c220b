"""Units against exact definitions and against pint's table as an independent one."""

import math

import pint
import pytest
from hypothesis import given
from hypothesis import strategies as st

from waveflow import units
from waveflow.units import TABLE, UnitError, from_si, parse, plain, show, split, unit_named

# our name -> what pint calls it, with the SI unit (ours for angle and speed) to convert to
PINT = {
    "mm": "mm", "m": "m", "cm": "cm", "in": "inch", "thou": "thou", "um": "micrometer", "ft": "foot",
    "mm2": "mm**2", "cm2": "cm**2", "m2": "m**2", "in2": "inch**2", "cc": "cm**3", "L": "liter", "m3": "m**3",
    "mm3": "mm**3", "in3": "inch**3", "kPa": "kPa", "Pa": "Pa", "hPa": "hPa", "MPa": "MPa", "bar": "bar",
    "mbar": "mbar", "psi": "psi", "inHg": "inHg", "mmHg": "mmHg", "atm": "atm", "torr": "torr", "psf": "force_pound/foot**2",
    "rad": "rad", "deg": "deg", "rpm": "rpm", "rps": "revolution/s", "CFM": "foot**3/minute", "L/s": "liter/s",
    "m3/s": "m**3/s", "m3/h": "m**3/hour",
    "m3/min": "m**3/minute", "L/min": "liter/minute", "g/s": "g/s", "kg/s": "kg/s", "kg/h": "kg/hour",
    "lb/min": "lb/minute", "lb/h": "lb/hour", "g": "g", "kg": "kg", "mg": "mg", "lb": "lb", "oz": "oz", "%": "percent",
    "Nm": "N*m", "lb-ft": "force_pound*foot", "lb-in": "force_pound*inch", "kgf-m": "force_kilogram*m", "kW": "kW",
    "W": "W", "hp": "horsepower", "PS": "metric_horsepower", "kJ/kg": "kJ/kg", "J/kg": "J/kg", "MJ/kg": "MJ/kg",
    "BTU/lb": "Btu_it/lb", "J/kg/K": "J/kg/K", "kJ/kg/K": "kJ/kg/K", "m/s": "m/s", "ft/s": "foot/s", "km/h": "km/hour",
    "kg/m3": "kg/m**3", "g/L": "g/liter", "lb/ft3": "lb/foot**3", "degC": "degC", "K": "kelvin", "degF": "degF",
    "degR": "degR", "": "dimensionless",
}  # fmt: skip
TARGET = {
    "length": "m", "area": "m**2", "volume": "m**3", "temperature": "kelvin", "angle": "deg", "speed_rpm": "rpm",
    "volume_flow": "m**3/s", "mass_flow": "kg/s", "mass": "kg", "fraction": "dimensionless", "torque": "N*m",
    "power": "W", "energy_per_mass": "J/kg", "gas_constant": "J/kg/K", "velocity": "m/s", "density": "kg/m**3",
}  # fmt: skip
# pint's water columns use another density; checked against the definition below instead
OWN = ("inH2O", "mmH2O", "cmH2O")


@pytest.fixture(scope="module")
def registry():
    return pint.UnitRegistry()


def _text(number: str, unit: str, kind: str) -> str:
    return f"{number} {unit}" + (" abs" if kind in ("pressure", "absolute_pressure") else "")


@pytest.mark.parametrize(("kind", "unit"), [(kind, unit) for kind in TABLE for unit in TABLE[kind] if unit not in OWN])
def test_factors_agree_with_pint(registry, kind, unit):
    for number in ("1", "37.25"):
        expected = registry.Quantity(float(number), PINT[unit]).to(TARGET.get(kind, "Pa")).magnitude
        # pint keeps conventional mercury to 7 digits only
        tolerance = 1e-6 if unit in ("inHg", "mmHg") else 1e-9
        assert parse(_text(number, unit, kind), kind) == pytest.approx(expected, rel=tolerance)


@pytest.mark.parametrize(
    ("text", "kind", "si"),
    [
        ("28 inH2O", "pressure_difference", 28 * 249.08891),
        ("1 inH2O", "pressure_difference", 249.08891),
        ("1 in", "length", 0.0254),
        ("1 lb", "mass", 0.45359237),
        ("1 psi abs", "pressure", 6894.757293168361),
        ("1 hp", "power", 745.6998715822702),
        ("1 PS", "power", 735.49875),
        ("1 lb-ft", "torque", 1.3558179483314004),
        ("1 CFM", "volume_flow", 0.0004719474432),
        ("32 degF", "temperature", 273.15),
        ("-40 degF", "temperature", 233.15),
        ("20 degC", "temperature", 293.15),
        ("1 BTU/lb", "energy_per_mass", 2326.0),
    ],
)
def test_exact_definitions(text, kind, si):
    assert parse(text, kind) == pytest.approx(si, rel=1e-12)


@pytest.mark.parametrize(
    ("unit", "printed", "digits"),
    [("inHg", 3386.389, 7), ("mmHg", 133.3224, 7), ("inH2O", 249.0889, 7), ("mmH2O", 9.80665, 6), ("cmH2O", 98.0665, 6),
     ("psi", 6894.757, 7), ("psf", 47.88026, 7), ("atm", 101325, 7), ("torr", 133.3224, 7)],
)  # fmt: skip
def test_conventional_columns_as_printed(unit, printed, digits):
    """Thompson and Taylor, NIST Special Publication 811 (2008), Appendix B, to the printed digits."""
    assert float(f"{parse(f'1 {unit}', 'pressure_difference'):.{digits}g}") == printed


# unit, kind, the definition in SI
DEFINED = [
    ("in", "length", 0.0254), ("thou", "length", 0.0000254), ("ft", "length", 0.3048), ("um", "length", 1e-6),
    ("cm", "length", 0.01), ("mm2", "area", 1e-6), ("cm2", "area", 1e-4), ("in2", "area", 0.00064516), ("cc", "volume", 1e-6),
    ("L", "volume", 1e-3), ("mm3", "volume", 1e-9), ("in3", "volume", 0.000016387064), ("mbar", "pressure_difference", 100.0),
    ("hPa", "pressure_difference", 100.0), ("bar", "pressure_difference", 1e5), ("MPa", "pressure_difference", 1e6),
    ("atm", "pressure_difference", 101325.0), ("torr", "pressure_difference", 101325.0 / 760.0),
    ("psf", "pressure_difference", 0.45359237 * 9.80665 / 0.3048**2), ("CFM", "volume_flow", 0.028316846592 / 60.0),
    ("L/s", "volume_flow", 1e-3), ("L/min", "volume_flow", 1e-3 / 60.0), ("m3/h", "volume_flow", 1.0 / 3600.0),
    ("m3/min", "volume_flow", 1.0 / 60.0), ("kg/h", "mass_flow", 1.0 / 3600.0), ("lb/min", "mass_flow", 0.45359237 / 60.0),
    ("lb/h", "mass_flow", 0.45359237 / 3600.0), ("oz", "mass", 0.028349523125), ("mg", "mass", 1e-6),
    ("lb-in", "torque", 0.45359237 * 9.80665 * 0.0254), ("kgf-m", "torque", 9.80665), ("ft/s", "velocity", 0.3048),
    ("km/h", "velocity", 1.0 / 3.6), ("lb/ft3", "density", 0.45359237 / 0.028316846592), ("g/L", "density", 1.0),
    ("rps", "speed_rpm", 60.0), ("rad", "angle", 180.0 / math.pi), ("MJ/kg", "energy_per_mass", 1e6),
]  # fmt: skip


@pytest.mark.parametrize(("unit", "kind", "si"), DEFINED, ids=[f"{kind} {unit}" for unit, kind, _ in DEFINED])
def test_every_unit_follows_from_the_metre_the_pound_and_standard_gravity(unit, kind, si):
    """Inch 25.4 mm, pound 0.45359237 kg, gravity 9.80665 m/s2, litre 1 dm3: exact by definition, here to 1e-9."""
    assert parse(f"1 {unit}", kind) == pytest.approx(si, rel=1e-9)
    assert from_si(si, unit) == pytest.approx(1.0, rel=1e-9)


@pytest.mark.parametrize(("degrees", "kelvins"), [("0 degF", 255.3722222222222), ("212 degF", 373.15), ("491.67 degR", 273.15)])
def test_temperatures_of_the_other_scale(degrees, kelvins):
    assert parse(degrees, "temperature") == pytest.approx(kelvins, rel=1e-9)


@pytest.mark.parametrize(
    ("unit", "kind", "printed"),
    [
        ("CFM", "volume_flow", "4.719474e-04"), ("in2", "area", "6.4516e-04"), ("in3", "volume", "1.638706e-05"),
        ("thou", "length", "2.54e-05"), ("lb", "mass", "4.535924e-01"), ("oz", "mass", "2.834952e-02"),
        ("lb-ft", "torque", "1.355818e+00"), ("lb-in", "torque", "1.129848e-01"), ("hp", "power", "7.456999e+02"),
        ("PS", "power", "7.354988e+02"), ("lb/min", "mass_flow", "7.559873e-03"), ("lb/h", "mass_flow", "1.259979e-04"),
        ("lb/ft3", "density", "1.601846e+01"), ("km/h", "velocity", "2.777778e-01"), ("ft/s", "velocity", "3.048e-01"),
        ("m3/min", "volume_flow", "1.666667e-02"), ("psi", "pressure_difference", "6.894757e+03"),
    ],
)  # fmt: skip
def test_factors_as_printed(unit, kind, printed):
    """Thompson and Taylor, NIST Special Publication 811 (2008), Appendix B, to the printed digits; values from memory."""
    mantissa, _, power = printed.partition("e")
    last = 10.0 ** (int(power) - len(mantissa) + 2)
    assert abs(parse(f"1 {unit}", kind) - float(printed)) <= 0.5 * last * (1 + 1e-6)  # a tie may be printed either way


def test_decimal_numbers_stay_what_they_are():
    assert parse("80.6 mm", "length") == 0.0806
    assert parse("0.3 mm", "length") == 0.0003
    assert parse("293.65 K", "temperature") == 293.65


@pytest.mark.parametrize(
    ("text", "kind", "si"),
    [
        ("38.5mm", "length", 0.0385), ("38.5 MM", "length", 0.0385), (" 38.5  mm ", "length", 0.0385),
        ("+.5 in", "length", 0.0127), ('1.5"', "length", 0.0381), ("1e1 mm", "length", 0.01), ("5. mm", "length", 0.005),
        ("1.45 in^2", "area", 1.45 * 0.0254**2), ("1.45 sq in", "area", 1.45 * 0.0254**2), ("1 mm²", "area", 1e-6),
        ("1 cm³", "volume", 1e-6), ("3.2 litre", "volume", 3.2e-3), ("3.2 l", "volume", 3.2e-3),
        ("20 °C", "temperature", 293.15), ("20 deg C", "temperature", 293.15), ("20 C", "temperature", 293.15),
        ("100 F", "temperature", 310.92777777777775), ("28 in H2O", "pressure_difference", 28 * 249.08891),
        ("28 in. H₂O", "pressure_difference", 28 * 249.08891), ("5 N·m", "torque", 5.0), ("5 N m", "torque", 5.0),
        ("5 ft-lbf", "torque", 5 * 1.3558179483314004), ("208°", "angle", 208.0), ("208 crank deg", "angle", 208.0),
        ("18 cfm", "volume_flow", 18 * 0.0004719474432), ("7000 1/min", "speed_rpm", 7000.0), ("55 %", "fraction", 0.55),
        ("0.55", "fraction", 0.55), (0.55, "fraction", 0.55), ("0.05 µm", "length", 5e-8), ("0.05 μm", "length", 5e-8),
        ("14.7 psia", "pressure", 14.7 * 6894.757293168361), ("1 bar(a)", "pressure", 1e5),
        ("100.6 kPa", "barometer", 100600.0), ("100.6 kPa abs", "barometer", 100600.0),
        ("95 kPa", "mean_pressure", 95000.0), ("287.05 J/(kg K)", "gas_constant", 287.05),
    ],
)  # fmt: skip
def test_spellings_of_a_shop(text, kind, si):
    assert parse(text, kind) == pytest.approx(si, rel=1e-12)


@pytest.mark.parametrize(
    ("text", "kind", "message", "hint"),
    [
        (38.5, "length", "missing unit", 'did you mean "38.5 mm"?'),
        ("38.5", "length", "missing unit", 'did you mean "38.5 mm"?'),
        (7000, "speed_rpm", "missing unit", 'did you mean "7000 rpm"?'),
        ("16 psi", "pressure", 'says neither "abs" nor "gauge"', 'write "16 psi abs" or "16 psi gauge"'),
        ("101 kPa", "absolute_pressure", 'says neither "abs" nor "gauge"', 'write "101 kPa abs"'),
        ("1 bar gauge", "absolute_pressure", "the pressure of the air itself cannot be gauge", 'write "1 bar abs", if it is'),
        ("1 bar gauge", "barometer", "the pressure of the air itself cannot be gauge", 'write "1 bar abs", if it is'),
        ("16 psi gauge", "pressure", "a gauge pressure needs the barometer", "write it as an absolute one"),
        ("28 inH2O abs", "pressure_difference", "a difference of pressures cannot be absolute", 'did you mean "28 inH2O"?'),
        ("5 inHg vacuum", "pressure", "a vacuum is neither absolute nor gauge",
         'below the outside pressure it is "-5 inHg gauge"'),
        ("38,5 mm", "length", "decimal comma", 'did you mean "38.5 mm"?'),
        ("12 kg", "length", '"kg" measures a mass, not a length', "give one of mm, m, cm, in, thou, um, ft"),
        ("12 mm", "angle", '"mm" measures a length, not an angle', "give one of deg, rad"),
        ("1 furlong", "length", 'unknown unit "furlong" for a length', "give one of mm, m, cm, in, thou, um, ft"),
        ("5 mPa", "mean_pressure", 'unknown unit "mPa" for a mean pressure', None),
        ("about 5 mm", "length", "not a number with a unit", ""),
        ("nan mm", "length", "not a number with a unit", ""),
        ("inf", "length", "not a number with a unit", ""),
        ("1e999 mm", "length", "not a finite number", ""),
        (math.nan, "length", "not a finite number", ""),
        (10**400, "length", "not a finite number", ""),
        (True, "length", "not a number with a unit", ""),
        (None, "length", "not a number with a unit", ""),
        ("1 " + "m" * 100, "length", "too long for a number with a unit", ""),
        ("١٢ mm", "length", "not a number with a unit", ""),
    ],
)  # fmt: skip
def test_refused_with_the_cure(text, kind, message, hint):
    with pytest.raises(UnitError) as caught:
        parse(text, kind)
    assert caught.value.message == message
    if hint is not None:
        assert caught.value.hint == hint


def test_gauge_is_counted_from_the_barometer_that_is_given():
    assert parse("16 psi gauge", "pressure", 1e5) == pytest.approx(1e5 + 16 * 6894.757293168361)
    assert parse("-20 kPa gauge", "pressure", 1e5) == pytest.approx(8e4)
    assert parse("100 kPa abs", "pressure", 9e4) == pytest.approx(1e5)


def test_units_are_not_ambiguous_within_a_kind():
    for kind, table in TABLE.items():
        for unit in table:
            assert unit_named(unit, kind) == unit


def test_a_millipascal_is_no_megapascal():
    assert unit_named("mPa", "mean_pressure") is None
    assert unit_named("mpa", "mean_pressure") is None
    assert parse("1 MPa", "mean_pressure") == 1e6


@given(
    st.sampled_from([(kind, unit) for kind in TABLE for unit in TABLE[kind]]),
    st.floats(-1e6, 1e6).filter(lambda x: x == 0 or abs(x) > 1e-6),
)
def test_there_and_back(unit, number):
    kind, name = unit
    text = _text(repr(number), name, kind)
    si = parse(text, kind)
    assert from_si(si, name) == pytest.approx(number, rel=1e-9, abs=1e-9) if name else si == number


@given(st.text(max_size=70), st.sampled_from(sorted(TABLE)))
def test_any_text_is_a_number_or_a_sentence(text, kind):
    try:
        assert math.isfinite(parse(text, kind, 1e5))
    except UnitError as error:
        assert error.message


@given(st.from_regex(r"[0-9]{1,3}(\.[0-9]{1,3})?", fullmatch=True))
def test_a_number_in_front_is_split_off(number):
    assert split(f"{number} mm") == (number, "mm")


@pytest.mark.parametrize(
    ("value", "unit", "digits", "text"),
    [
        (0.0385, "mm", 4, "38.5 mm"), (101325, "kPa abs", 4, "101.3 kPa abs"), (7000, "rpm", 2, "7000 rpm"),
        (12345.6, "rpm", 3, "12300 rpm"), (300, "degC", 4, "26.85 degC"), (0.55, "%", 3, "55 %"), (1e-4, "m", 3, "0.0001 m"),
        (0.0, "mm", 3, "0 mm"), (-0.0012, "mm", 3, "-1.2 mm"), (99999.9, "rpm", 3, "100000 rpm"),
    ],
)  # fmt: skip
def test_shown_with_the_digits_asked_for(value, unit, digits, text):
    assert show(value, unit, digits) == text


def test_plain_keeps_small_and_large_numbers_readable():
    assert plain(0.00001234, 3) == "0.0000123"
    assert plain(123456789.0, 3) == "123000000"
    assert plain(1e20, 3) == "1e+20"


def test_unknown_unit_to_show():
    with pytest.raises(UnitError, match="no unit is called"):
        show(1.0, "furlong")
    assert units.split_reference("psig") == ("psi", "gauge")
