"""Checks of engine, compression, fuel, burn, range and the ideal switches."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Any

from waveflow.engine import compression
from waveflow.engine.checks import Finding
from waveflow.engine.fields import Skip
from waveflow.units import show

BURN_ENDS = 0.98
"""Least burned share at the end of a table: readings rarely reach 1 exactly."""
LONGEST_BURN, LATE_BURN = 180.0, 110.0
"""Degrees about firing top dead centre: a stroke; and what hardly any burn needs (our choice)."""
_ORDERS = {3: [1, 3, 2], 4: [1, 3, 4, 2], 5: [1, 2, 4, 5, 3], 6: [1, 5, 3, 6, 2, 4], 8: [1, 5, 4, 2, 6, 3, 7, 8]}


def firing_order(case: Any) -> Iterator[Finding]:
    cylinders, order = case.engine.cylinders, case.engine.firing_order
    key = ("engine", "firing_order")
    if order is None:
        if cylinders > 1:
            example = _ORDERS.get(cylinders, list(range(1, cylinders + 1)))
            hint = f"add firing_order = {example} or what it is"
            yield Finding(key, "missing", hint=hint, missing=True)
    elif sorted(order) != list(range(1, cylinders + 1)):
        allowed = f"each of 1 to {cylinders} once"
        yield Finding(key, f"not an order of {cylinders} cylinder{'s' if cylinders > 1 else ''}", allowed)


def rod(case: Any) -> Iterator[Finding]:
    engine = case.engine
    reach = engine.stroke / 2 + abs(engine.pin_offset)
    key = ("engine", "rod_length")
    if engine.rod_length <= reach:
        message = f"too short for a stroke of {show(engine.stroke, 'mm')}"
        yield Finding(key, message, f"above {show(reach, 'mm')}", why="half the stroke and the pin's offset")
    elif not 1.3 <= engine.rod_length / engine.stroke <= 2.6:
        ratio = engine.rod_length / engine.stroke
        yield Finding(key, f"unusual: rod over stroke is {ratio:.2f}, most are 1.3 to 2.6", warning=True)
    if not 0.4 <= engine.bore / engine.stroke <= 2.5:
        ratio = engine.bore / engine.stroke
        message = f"unusual: bore over stroke is {ratio:.2f}, most are 0.4 to 2.5"
        yield Finding(("engine", "stroke"), message, warning=True)


def one_way_of_compression(case: Any) -> Iterator[Finding]:
    given = case.compression
    measured = {name: getattr(given, name) for name in ("chamber", "gasket_bore", "gasket_thickness")}
    if given.ratio is not None and any(value is not None for value in measured.values()):
        also = ", ".join(name for name, value in measured.items() if value is not None)
        message = f"given beside {also}"
        yield Finding(("compression", "ratio"), message, hint="give either the ratio or the measured volumes")
    elif given.ratio is None and measured["chamber"] is None:
        hint = "add ratio = 9.8, or chamber, gasket_bore and gasket_thickness"
        yield Finding(("compression",), "neither a ratio nor a chamber volume", hint=hint, missing=True)
    elif given.ratio is None:
        for name, example in (("gasket_bore", "81.6 mm"), ("gasket_thickness", "1.2 mm")):
            if measured[name] is None:
                hint = f'add {name} = "{example}" or what it is'
                yield Finding(("compression", name), "missing", hint=hint, missing=True)


def measured_compression(case: Any) -> Iterator[Finding]:
    given = case.compression
    if given.chamber is None or None in (given.gasket_bore, given.gasket_thickness):
        return
    engine = case.engine
    if given.gasket_bore < engine.bore * 0.995:
        message = f"smaller than the bore of {show(engine.bore, 'mm')}"
        yield Finding(("compression", "gasket_bore"), message, warning=True)
    swept = compression.swept_volume(engine.bore, engine.stroke)
    try:
        volume = compression.clearance_volume(
            engine.bore, given.chamber, given.dish, given.deck, given.gasket_bore, given.gasket_thickness
        )
    except ValueError:
        yield Finding(("compression", "chamber"), "dish, deck and gasket leave no volume above the piston")
        return
    ratio = compression.ratio_from_clearance(swept, volume)
    parts = f"the parts give a clearance of {show(volume, 'cc')} and a ratio of {ratio:.2f}"
    if not 4.0 <= ratio <= 25.0:
        hint = "look at chamber, dish, deck and gasket again"
        yield Finding(("compression", "chamber"), parts, "a ratio of 4 to 25", hint, "four-stroke engines")
    elif not 7.5 <= ratio <= 15.0:
        yield Finding(("compression", "chamber"), f"unusual: {parts}, most are 7.5 to 15", warning=True)


def chambers(case: Any) -> Iterator[Finding]:
    given, cylinders, key = case.compression, case.engine.cylinders, ("compression", "chambers")
    if given.chambers is None:
        return
    if given.chamber is None:
        hint = 'add chamber = "36.5 cc" or what the run shall use'
        yield Finding(("compression", "chamber"), "missing beside the list of chambers", hint=hint, missing=True)
        return
    if len(given.chambers) != cylinders:
        message = f"{len(given.chambers)} volumes for {cylinders} cylinder{'s' if cylinders > 1 else ''}"
        yield Finding(key, message, f"{cylinders}")
        return
    error = compression.CHAMBER_ERROR
    least, most = min(given.chambers), max(given.chambers)
    # two readings differ by more than sqrt(2) times their error in one case of three, by twice that hardly ever
    if most - least > 3 * error:
        number = given.chambers.index(most) + 1
        message = f"cylinder {number} has {show(most, 'cc', 3)}, cylinder {given.chambers.index(least) + 1} only"
        message += f" {show(least, 'cc', 3)}: uneven compression"
        yield Finding(key, message, hint="measure both again before any metal is taken off", warning=True, missing=True)
    mean = sum(given.chambers) / cylinders
    if abs(mean - given.chamber) > 2 * error + 1e-12:
        message = f"their mean is {show(mean, 'cc', 3)}; the run uses {show(given.chamber, 'cc', 3)} for every cylinder"
        yield Finding(key, message, warning=True, missing=True)


def speeds(case: Any) -> Iterator[Finding]:
    span, key = case.range, ("range", "to")
    if span.to <= span.from_:
        yield Finding(key, "not above the speed it starts from", f"above {show(span.from_, 'rpm')}")
    if span.band is not None:
        low, high = span.band
        if high <= low:
            yield Finding(("range", "band"), "runs backwards", hint='write ["2500 rpm", "5500 rpm"], low speed first')
        elif low < span.from_ or high > span.to:
            message = "reaches outside the range"
            yield Finding(("range", "band"), message, f"{show(span.from_, 'rpm')} to {show(span.to, 'rpm')}")
    piston = 2 * case.engine.stroke * span.to / 60
    if piston > 30:
        yield Finding(key, f"unusual: mean piston speed of {piston:.0f} m/s, few pass 28 m/s", warning=True)
    redline = case.engine.redline
    if redline is not None and span.band is not None and span.band[1] > redline:
        message = f"your band ends beyond the redline of {show(redline, 'rpm')}"
        hint = "does the valve train stand it? a figure up there is worth nothing if not"
        yield Finding(("range", "band"), message, hint=hint, warning=True)
    if redline is not None and span.to > redline * 1.1:
        message = f"well above the redline of {show(redline, 'rpm')}"
        yield Finding(key, message, warning=True)


def fuel_and_burn(case: Any) -> Iterator[Finding]:
    fired, ideal = case.burn.kind != "motored", case.ideal.gas != "real"
    heat = getattr(case.burn, "heat_per_kg_fresh_air", None)
    if heat is not None and not ideal:
        hint = 'leave it out, or set ideal.gas = "constant gamma"'
        yield Finding(("burn", "heat_per_kg_fresh_air"), "a real gas brings its own heat release", hint=hint)
    if ideal and fired and heat is None:
        hint = 'add heat_per_kg_fresh_air = "1800 kJ/kg" or what it is'
        yield Finding(("burn", "heat_per_kg_fresh_air"), "missing: an ideal gas holds no fuel", hint=hint, missing=True)
    if ideal and case.fuel.kind != "none":
        hint = 'write kind = "none"'
        yield Finding(("fuel", "kind"), "an ideal gas holds no fuel", hint=hint)
    if not ideal and fired and case.fuel.kind == "none":
        hint = 'name the fuel, or set burn.kind = "motored"'
        yield Finding(("fuel", "kind"), "nothing to burn in a fired engine", hint=hint)
    if case.fuel.added == "plenum" and case.intake.plenum is None and case.fuel.kind != "none":
        hint = 'write added = "valve", or describe intake.plenum'
        yield Finding(("fuel", "added"), "there is no plenum", hint=hint)


def burn_table(case: Any) -> Iterator[Finding]:
    burn = case.burn
    if burn.kind != "table":
        return
    if len(burn.angle) != len(burn.fraction):
        yield Finding(("burn", "fraction"), f"{len(burn.fraction)} values for {len(burn.angle)} angles")
        return
    yield from rising(burn.angle, ("burn", "angle"), "deg")
    for number, (first, second) in enumerate(zip(burn.fraction, burn.fraction[1:], strict=False), 1):
        if second < first:
            yield Finding(("burn", "fraction", number), "the burned share falls", f"at least {first:g}")
    if burn.fraction[0] > 0.01:
        yield Finding(("burn", "fraction", 0), "the burn has begun before the table does", "0 to 0.01")
    if burn.fraction[-1] < BURN_ENDS and burn.fraction[-1] == max(burn.fraction):
        hint = "go on until all has burned; a share of the fuel that never burns belongs into lambda"
        key = ("burn", "fraction", len(burn.fraction) - 1)
        yield Finding(key, "the burn never ends in this table", f"{BURN_ENDS:g} to 1", hint)
    if burn.angle[-1] - burn.angle[0] > LONGEST_BURN:
        message = f"{show(burn.angle[-1] - burn.angle[0], 'deg')} from first to last"
        yield Finding(("burn", "angle"), message, f"at most {LONGEST_BURN:g} deg", why="the exhaust valve opens before that")


def burn_in_time(case: Any) -> Iterator[Finding]:
    """A Wiebe burn that has not ended when the exhaust valve opens, or begins before the intake valve has shut."""
    burn = case.burn
    if burn.kind not in ("wiebe", "wiebe_direct"):
        return
    if burn.kind == "wiebe":
        # in closed form: the fraction q is reached at y = (-ln(1 - q x_end) / a)^(1 / (m + 1))
        end = -math.expm1(-burn.a)
        y10, y50, y90 = ((-math.log1p(-q * end) / burn.a) ** (1.0 / (burn.m + 1.0)) for q in (0.1, 0.5, 0.9))
        whole = burn.duration_10_90 / (y90 - y10)
        first, key = burn.ca50 - y50 * whole, ("burn", "duration_10_90")
    else:
        whole, key = burn.duration, ("burn", "duration")
        first = burn.start if burn.start < 360.0 else burn.start - 720.0
    text = f"the burn lasts from {about_top(first)} to {about_top(first + whole)} firing top dead centre"
    if whole > LONGEST_BURN or first < -LONGEST_BURN:
        yield Finding(key, text, f"within {LONGEST_BURN:g} deg of it", "look at duration, a and m again")
    elif first + whole > LATE_BURN:
        yield Finding(key, f"{text}: hardly anything burns so late", hint="is it the 10-90 % duration?", warning=True)


def burn_trend(case: Any) -> Iterator[Finding]:
    if case.burn_trend is not None and case.burn.kind == "motored":
        hint = "leave burn_trend out, or describe the burn"
        yield Finding(("burn_trend",), "there is no burn to change", hint=hint, missing=True)


def about_top(angle: float) -> str:
    """An angle about firing top dead centre in words."""
    return f"{abs(angle):.0f} deg {'before' if angle < 0 else 'after'}"


def rising(values: Any, key: tuple, unit: str, why: str = "") -> Iterator[Finding]:
    """Findings where a column does not rise from row to row."""
    for number, (first, second) in enumerate(zip(values, values[1:], strict=False), 1):
        if second <= first:
            shown = show(first, unit, 6) if unit else f"{first:g}"
            yield Finding((*key, number), "not above the one before it", f"above {shown}", why=why)


def friction(case: Any) -> Iterator[Finding]:
    f = case.friction
    if f.at_7000 < f.at_2000:
        message = f"below the friction at 2000 rpm of {show(f.at_2000, 'kPa')}"
        yield Finding(("friction", "at_7000"), message, f"at least {show(f.at_2000, 'kPa')}", why="friction rises with speed")
    if "at_peak" in f.model_fields_set and f.peak_share == 0.0:
        hint = "add peak_share = 0.005 or what it is, or leave at_peak out"
        yield Finding(("friction", "at_peak"), "has no effect without peak_share", hint=hint, warning=True)


def ideal_switches(case: Any) -> Iterator[Finding]:
    ideal = case.ideal
    if ideal.start_angle is not None and (ideal.start_pressure is None or ideal.start_temperature is None):
        name = "start_pressure" if ideal.start_pressure is None else "start_temperature"
        example = "100 kPa abs" if name == "start_pressure" else "300 K"
        hint = f'add {name} = "{example}", or leave start_angle out'
        yield Finding(("ideal", name), "missing beside start_angle", hint=hint, missing=True)
    if ideal.gas == "real":
        for name in ("gamma", "gas_constant"):
            if name in ideal.model_fields_set:
                hint = 'set gas = "constant gamma" to use it'
                yield Finding(("ideal", name), "has no effect in a real gas", hint=hint, warning=True)


def outer_states(case: Any) -> Iterator[Finding]:
    for side in ("intake", "exhaust"):
        reservoir = getattr(case, side).reservoir
        if reservoir is None:
            continue
        try:
            ratio = reservoir.pressure / case.ambient.pressure
        except Skip:
            continue
        if side == "intake" and not math.isclose(ratio, 1.0, abs_tol=0.7):
            message = f"{ratio:.1f} times the ambient pressure"
            yield Finding((side, "reservoir", "pressure"), message, warning=True)


CHECKS = (
    firing_order, rod, one_way_of_compression, measured_compression, chambers, speeds, fuel_and_burn, burn_table,
    burn_in_time, burn_trend, friction, ideal_switches, outer_states,
)  # fmt: skip
