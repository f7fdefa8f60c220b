"""The shop's units to SI and back.

`parse("38.5 mm", "length")` gives 0.0385. A bare number where a unit belongs is refused, and a pressure must say
"abs" or "gauge": neither is ever guessed. Inside the program lengths are metres, pressures pascals absolute,
temperatures kelvins; crank angles stay in degrees and speeds in rpm.

Factors are exact where the unit is defined exactly (inch, pound, standard gravity, litre); conventional columns of
water (4 degC) and mercury (0 degC) follow NIST Special Publication 811 (Thompson and Taylor, 2008), Appendix B.
"""

from __future__ import annotations

import math
import re
import unicodedata
from decimal import Decimal

INCH = 0.0254
FOOT = 0.3048
POUND = 0.45359237
GRAVITY = 9.80665
PSI = POUND * GRAVITY / INCH**2
MM_H2O = GRAVITY  # conventional: water of 1000 kg/m3 under standard gravity
MM_HG = 133.322387415  # conventional: mercury of 13595.1 kg/m3 under standard gravity
LB_FT = POUND * GRAVITY * FOOT
ZERO_CELSIUS = 273.15

_PRESSURE = {
    "kPa": 1e3, "Pa": 1.0, "hPa": 1e2, "MPa": 1e6, "bar": 1e5, "mbar": 1e2, "psi": PSI, "inHg": 25.4 * MM_HG,
    "mmHg": MM_HG, "inH2O": 25.4 * MM_H2O, "mmH2O": MM_H2O, "cmH2O": 10 * MM_H2O, "atm": 101325.0,
    "torr": 101325.0 / 760.0, "psf": POUND * GRAVITY / FOOT**2,
}  # fmt: skip

# kind -> unit -> factor; the first unit of a kind is the one used in our own sentences
TABLE: dict[str, dict[str, float]] = {
    "length": {"mm": 1e-3, "m": 1.0, "cm": 1e-2, "in": INCH, "thou": INCH / 1000, "um": 1e-6, "ft": FOOT},
    "area": {"mm2": 1e-6, "cm2": 1e-4, "m2": 1.0, "in2": INCH**2},
    "volume": {"cc": 1e-6, "L": 1e-3, "m3": 1.0, "mm3": 1e-9, "in3": INCH**3},
    "pressure": _PRESSURE,
    "absolute_pressure": _PRESSURE,
    "barometer": _PRESSURE,
    "pressure_difference": _PRESSURE,
    "mean_pressure": _PRESSURE,
    "temperature": {"degC": 1.0, "K": 1.0, "degF": 5.0 / 9.0, "degR": 5.0 / 9.0},
    "angle": {"deg": 1.0, "rad": 180.0 / math.pi},
    "speed_rpm": {"rpm": 1.0, "rps": 60.0},
    "volume_flow": {"CFM": FOOT**3 / 60, "L/s": 1e-3, "m3/s": 1.0, "m3/h": 1 / 3600, "L/min": 1e-3 / 60, "m3/min": 1 / 60},
    "mass_flow": {"g/s": 1e-3, "kg/s": 1.0, "kg/h": 1 / 3600, "lb/min": POUND / 60, "lb/h": POUND / 3600},
    "mass": {"g": 1e-3, "kg": 1.0, "mg": 1e-6, "lb": POUND, "oz": POUND / 16},
    "fraction": {"": 1.0, "%": 0.01},
    "torque": {"Nm": 1.0, "lb-ft": LB_FT, "lb-in": LB_FT / 12, "kgf-m": GRAVITY},
    "power": {"kW": 1e3, "W": 1.0, "hp": 550 * LB_FT, "PS": 75 * GRAVITY},
    "energy_per_mass": {"kJ/kg": 1e3, "J/kg": 1.0, "MJ/kg": 1e6, "BTU/lb": 2326.0},
    "gas_constant": {"J/kg/K": 1.0, "kJ/kg/K": 1e3},
    "velocity": {"m/s": 1.0, "ft/s": FOOT, "km/h": 1 / 3.6},
    "density": {"kg/m3": 1.0, "g/L": 1.0, "lb/ft3": POUND / FOOT**3},
}

_OFFSET = {"degC": ZERO_CELSIUS, "degF": 459.67 * 5.0 / 9.0}

# other spellings, after `_squeeze` (no blanks, hyphens, points, dots or carets)
_SPELLED = {
    "millimetre": "mm", "millimetres": "mm", "millimeter": "mm", "millimeters": "mm", "metre": "m", "meter": "m",
    '"': "in", "''": "in", "inch": "in", "inches": "in", "ins": "in", "mil": "thou", "mils": "thou", "micron": "um",
    "microns": "um", "foot": "ft", "feet": "ft", "sqmm": "mm2", "sqcm": "cm2", "sqin": "in2", "sqm": "m2",
    "cm3": "cc", "ccm": "cc", "ml": "cc", "mL": "cc", "l": "L", "litre": "L", "litres": "L", "liter": "L",
    "liters": "L", "ltr": "L", "ci": "in3", "cuin": "in3", "cid": "in3", "lbf/in2": "psi", "lb/in2": "psi",
    '"Hg': "inHg", '"H2O': "inH2O", "inwater": "inH2O", "inofwater": "inH2O", "inH20": "inH2O", "Torr": "torr",
    "inofmercury": "inHg", "C": "degC", "F": "degF", "R": "degR", "celsius": "degC", "fahrenheit": "degF",
    "degcelsius": "degC", "degfahrenheit": "degF", "kelvin": "K", "degree": "deg", "degrees": "deg",
    "crankdeg": "deg", "degcrank": "deg", "crankdegrees": "deg", "degCA": "deg", "r/min": "rpm", "rev/min": "rpm",
    "1/min": "rpm", "min1": "rpm", "r/s": "rps", "rev/s": "rps", "ft3/min": "CFM", "cuft/min": "CFM", "l/s": "L/s",
    "l/min": "L/min", "Lpm": "L/min", "lpm": "L/min", "m3/hr": "m3/h", "kg/hr": "kg/h", "lb/hr": "lb/h",
    "lbs/min": "lb/min", "lbs/hr": "lb/h", "lbs/h": "lb/h", "lbs": "lb", "percent": "%", "pct": "%", "N*m": "Nm",
    "lbft": "lb-ft", "lbfft": "lb-ft", "ftlb": "lb-ft", "ftlbf": "lb-ft", "ftlbs": "lb-ft", "lbsft": "lb-ft",
    "lbin": "lb-in", "lbfin": "lb-in", "inlb": "lb-in", "inlbf": "lb-in", "kgfm": "kgf-m", "kgm": "kgf-m",
    "bhp": "hp", "ps": "PS", "cv": "PS", "metrichp": "PS", "BTU/lbm": "BTU/lb", "J/(kgK)": "J/kg/K",
    "J/kgK": "J/kg/K", "kJ/(kgK)": "kJ/kg/K", "kJ/kgK": "kJ/kg/K", "fps": "ft/s", "g/l": "g/L",
}  # fmt: skip

_NUMBER = re.compile(r"[+-]?(?:[0-9]+(?:\.[0-9]*)?|\.[0-9]+)(?:[eE][+-]?[0-9]+)?")
_ABSOLUTE = ("absolute", "abs.", "abs", "(a)", "(abs)")
_GAUGE = ("gauge", "gage", "(g)", "(gauge)")
_GLUED = {
    "psia": ("psi", "abs"), "psig": ("psi", "gauge"), "bara": ("bar", "abs"), "barg": ("bar", "gauge"),
    "kpaa": ("kPa", "abs"), "kpag": ("kPa", "gauge"),
}  # fmt: skip
_LONGEST = 60


class UnitError(ValueError):
    """A text that is not a number with a unit of the wanted kind; `hint` is the likely cure (may be empty)."""

    def __init__(self, message: str, hint: str = ""):
        super().__init__(message)
        self.message = message
        self.hint = hint


def _squeeze(text: str) -> str:
    """Unit text without the marks that people set differently: blanks, hyphens, dots, carets, superscripts."""
    text = unicodedata.normalize("NFKC", text).replace("\u03bc", "u").replace("\u00b5", "u")
    text = text.replace("\u2033", '"').replace("\u201d", '"').replace("\u00b0", "deg").replace("\u00ba", "deg")
    return re.sub(r"[\s.\u00b7\u22c5^*-]+", "", text)


def _build_lookup() -> dict[str, dict[str, str]]:
    lookup: dict[str, dict[str, str]] = {}
    for kind, units in TABLE.items():
        names = {_squeeze(unit): unit for unit in units}
        names.update({_squeeze(spelled): unit for spelled, unit in _SPELLED.items() if unit in units})
        for name, unit in list(names.items()):
            # any case will do, but mPa must not be taken for MPa
            if unit != "MPa":
                names.setdefault(name.lower(), unit)
        lookup[kind] = names
    return lookup


_LOOKUP = _build_lookup()


def unit_named(text: str, kind: str) -> str | None:
    """Our own name of the unit spelled `text` among the units of `kind`; None if it is not one of them."""
    squeezed = _squeeze(text)
    names = _LOOKUP[kind]
    found = names.get(squeezed) or names.get(squeezed.lower())
    return None if found == "MPa" and squeezed.startswith("m") else found


def _kind_of(unit: str) -> str:
    for kind in TABLE:
        if unit_named(unit, kind) is not None:
            return kind
    raise UnitError(f'no unit is called "{unit}"')


def split_reference(text: str) -> tuple[str, str]:
    """Unit text of a pressure into (unit, "abs" | "gauge" | ""): `"kPa abs"` gives `("kPa", "abs")`."""
    lowered = text.lower().strip()
    glued = _GLUED.get(lowered)
    if glued:
        return glued
    for word, endings in (("abs", _ABSOLUTE), ("gauge", _GAUGE)):
        for ending in endings:
            if lowered.endswith(ending):
                return text.strip()[: -len(ending)].rstrip(" ,("), word
    return text, ""


def is_finite(number: int | float) -> bool:
    """Whether a number is finite and small enough to be computed with."""
    try:
        return math.isfinite(number)
    except OverflowError:
        return False


def split(text: str) -> tuple[str, str]:
    """`"38.5 mm"` into `("38.5", "mm")`; raises UnitError where the text does not begin with a number."""
    text = text.strip()
    if len(text) > _LONGEST:
        raise UnitError("too long for a number with a unit")
    match = _NUMBER.match(text)
    if match is None:
        raise UnitError("not a number with a unit")
    rest = text[match.end() :].strip()
    if re.match(r",[0-9]", rest):
        point = f"{match.group()}.{rest[1:]}"
        raise UnitError("decimal comma", f'did you mean "{point}"?')
    return match.group(), rest


def parse(text: str | int | float, kind: str, barometer: float | None = None) -> float:
    """Number with a unit to SI: metres, m2, m3, pascals absolute, kelvins, kg/s ...; degrees and rpm stay as they are.

    `kind` is a key of TABLE. Kind "pressure" must say "abs" or "gauge" (a gauge pressure is added to `barometer` [Pa],
    which must be known); "absolute_pressure" must say "abs"; "barometer" is absolute by its nature;
    "pressure_difference" and "mean_pressure" are differences. Raises UnitError.
    """
    if isinstance(text, bool) or not isinstance(text, (str, int, float)):
        raise UnitError("not a number with a unit")
    if not isinstance(text, str):
        if not is_finite(text):
            raise UnitError("not a finite number")
        if kind != "fraction":
            example = next(iter(TABLE[kind]))
            raise UnitError("missing unit", f'did you mean "{text:g} {example}"?')
        return float(text)
    number, unit_text = split(text)
    value = float(number)
    if not math.isfinite(value):
        raise UnitError("not a finite number")
    reference = ""
    if TABLE[kind] is _PRESSURE:
        unit_text, reference = split_reference(unit_text)
    if not unit_text and kind != "fraction":
        raise UnitError("missing unit", f'did you mean "{number} {next(iter(TABLE[kind]))}"?')
    unit = unit_named(unit_text, kind)
    if unit is None:
        raise _wrong_unit(number, unit_text, kind)
    # in decimal, so that 80.6 mm is 0.0806 and not a neighbour of it
    exact = Decimal(number) * Decimal(repr(TABLE[kind][unit]))
    si = float(exact + Decimal(repr(_OFFSET[unit])) if kind == "temperature" and unit in _OFFSET else exact)
    if not math.isfinite(si):
        raise UnitError("not a finite number")
    return _referenced(si, kind, reference, f"{number} {unit_text.strip()}", barometer)


def _wrong_unit(number: str, unit_text: str, kind: str) -> UnitError:
    known = ", ".join(unit for unit in TABLE[kind] if unit)
    wanted = f"give one of {known}"
    vacuum = re.fullmatch(r"\s*(.*?)\s*vac(uum|\.)?\s*", unit_text, re.IGNORECASE)
    if vacuum and kind == "pressure":
        below = f"-{number.lstrip('+-')} {vacuum[1] or 'kPa'} gauge"
        return UnitError("a vacuum is neither absolute nor gauge", f'below the outside pressure it is "{below}"')
    try:
        other = _kind_of(unit_text)
    except UnitError:
        return UnitError(f'unknown unit "{unit_text}" for {_article(kind)}', wanted)
    return UnitError(f'"{unit_text}" measures {_article(other)}, not {_article(kind)}', wanted)


def _article(kind: str) -> str:
    name = {"speed_rpm": "engine speed", "barometer": "pressure"}.get(kind)
    name = name or kind.replace("_", " ")
    return ("an " if name[0] in "aeiou" else "a ") + name


def _referenced(si: float, kind: str, reference: str, text: str, barometer: float | None) -> float:
    """Absolute pressure of a reading, or the reading itself where the kind needs no reference."""
    if kind in ("pressure", "absolute_pressure") and not reference:
        cure = f'write "{text} abs"' + (f' or "{text} gauge"' if kind == "pressure" else "")
        raise UnitError('says neither "abs" nor "gauge"', cure)
    if kind == "pressure" and reference == "gauge":
        if barometer is None:
            raise UnitError("a gauge pressure needs the barometer", "write it as an absolute one")
        return si + barometer
    if kind in ("barometer", "absolute_pressure") and reference == "gauge":
        raise UnitError("the pressure of the air itself cannot be gauge", f'write "{text} abs", if it is')
    if kind in ("pressure_difference", "mean_pressure") and reference == "abs":
        raise UnitError("a difference of pressures cannot be absolute", f'did you mean "{text}"?')
    return si


def from_si(value: float, unit: str) -> float:
    """SI value in `unit`: `from_si(0.0385, "mm")` gives 38.5; pressures may be named "kPa abs"."""
    bare, _ = split_reference(unit)
    kind = _kind_of(bare)
    name = unit_named(bare, kind)
    return (value - (_OFFSET.get(name, 0.0) if kind == "temperature" else 0.0)) / TABLE[kind][name]


def offset_of(kind: str, unit: str) -> float:
    """What stands at zero of a unit [SI]: 273.15 K of degC, 0 of everything but temperatures."""
    return _OFFSET.get(unit, 0.0) if kind == "temperature" else 0.0


def plain(number: float, digits: int) -> str:
    """Number with `digits` significant digits and no exponent between 1e-6 and 1e15: 7000, 0.0385."""
    text = f"{number:.{digits}g}"
    if "e" in text and (number == 0 or 1e-7 < abs(number) < 1e15):
        places = max(0, digits - 1 - math.floor(math.log10(abs(number))))
        text = f"{float(text):.{places}f}"
    return text


def show(value: float, unit: str, digits: int = 4) -> str:
    """SI value as text in `unit` with `digits` significant digits: `show(0.0385, "mm")` gives "38.5 mm"."""
    return f"{plain(from_si(value, unit), digits)} {unit}".rstrip()
