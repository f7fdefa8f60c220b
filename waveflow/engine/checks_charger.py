"""Checks of the charger: boost that cannot be, air colder than it can be, exhaust below ambient, keys that exclude others."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from waveflow.engine.checks import Finding
from waveflow.engine.checks_engine import rising
from waveflow.units import show

_HOTTEST = 1.05
"""Charge temperature over the compressor's outlet from which it is told as too hot."""
_SIMPLE = 0.2857
"""R/cp of cold air, good enough to judge a temperature by."""


def compressed(case: Any, efficiency: float) -> float:
    """Temperature [K] behind the compressor at this efficiency [-], for air of constant specific heat."""
    c, air = case.charger, case.ambient
    ratio = max(c.boost / (air.pressure - c.filter_loss), 1.0)
    return air.temperature * (1.0 + (ratio**_SIMPLE - 1.0) / efficiency)


def alone(case: Any) -> Iterator[Finding]:
    """A charger brings its own outer states, and its pipes end in its manifold."""
    if case.charger is None:
        return
    for side in ("intake", "exhaust"):
        if getattr(case, side).reservoir is not None:
            what = "the charge" if side == "intake" else "what lies behind the turbine"
            yield Finding((side, "reservoir"), f"the charger says {what}", hint="leave one of the two out", missing=True)
    if case.ideal.gas != "real":
        yield Finding(("charger",), "a charger needs real gas", hint='leave ideal.gas out', missing=True)
    for name in ("quasi_steady", "infinite_plenum_at_valve"):
        if getattr(case.ideal, name):
            yield Finding(("ideal", name), "does not go with a charger", hint="leave one of the two out")


def boost(case: Any) -> Iterator[Finding]:
    c = case.charger
    if c is None:
        return
    inlet = case.ambient.pressure - c.filter_loss
    if c.boost <= case.ambient.pressure:
        message = f"not above the ambient pressure of {show(case.ambient.pressure, 'kPa')} abs"
        yield Finding(("charger", "boost"), message, hint="an engine without boost needs no charger")
    elif c.boost > 4.5 * inlet:
        message = f"{c.boost / inlet:.1f} times the pressure before the compressor"
        yield Finding(("charger", "boost"), message, "at most 4.5 times", "did you mean psi?", "one compressor stage")
    given = c.model_fields_set
    if c.charge_temperature is not None and "cooler_effectiveness" in given:
        yield Finding(("charger", "cooler_effectiveness"), "given beside charge_temperature", hint="leave one of the two out")
    if c.cooler == "none" and "cooler_effectiveness" in given:
        yield Finding(("charger", "cooler_effectiveness"), "there is no cooler", hint='leave it out, or write cooler = "air"')
    if (c.charge_pipe_length is None) != (c.charge_pipe_diameter is None):
        missing = "diameter" if c.charge_pipe_diameter is None else "length"
        hint = f'add charge_pipe_{missing} = "{"55 mm" if missing == "diameter" else "900 mm"}" or what it is'
        yield Finding(("charger", f"charge_pipe_{missing}"), "missing beside the other", hint=hint, missing=True)
    if c.charge_pipe_length is not None and case.intake.plenum is None:
        hint = "describe intake.throttle and intake.plenum, or leave the charge pipe out"
        yield Finding(("charger", "charge_pipe_length"), "the charge pipe ends at a throttle, and there is none", hint=hint)


def temperature(case: Any) -> Iterator[Finding]:
    c = case.charger
    if c is None or c.charge_temperature is None or c.boost <= case.ambient.pressure:
        return
    key, air = ("charger", "charge_temperature"), case.ambient.temperature
    perfect, usual = compressed(case, 1.0), compressed(case, c.compressor_efficiency)
    if c.cooler == "none" and c.charge_temperature < perfect:
        message = "colder than a perfect compressor without a cooler would leave it"
        yield Finding(key, message, f"at least {show(perfect, 'degC')}", 'describe the cooler: cooler = "air"')
    elif c.charge_temperature < air:
        message = f"colder than the ambient air of {show(air, 'degC')} that cools it"
        yield Finding(key, message, f"at least {show(air, 'degC')}", "was the day colder?")
    elif c.charge_temperature - air > _HOTTEST * (usual - air):
        message = f"hotter than the compressor leaves it, {show(usual, 'degC')}"
        yield Finding(key, message, hint="look at boost and compressor_efficiency again", warning=True)


def exhaust(case: Any) -> Iterator[Finding]:
    c, air = case.charger, case.ambient.pressure
    if c is None:
        return
    if c.kind == "measured exhaust pressure":
        if len(c.speed) != len(c.exhaust_pressure):
            yield Finding(("charger", "exhaust_pressure"), f"{len(c.exhaust_pressure)} values for {len(c.speed)} speeds")
            return
        yield from rising(c.speed, ("charger", "speed"), "rpm")
        for number, value in enumerate(c.exhaust_pressure):
            if value <= air:
                message = f"not above the ambient pressure of {show(air, 'kPa')} abs"
                key = ("charger", "exhaust_pressure", number)
                yield Finding(key, message, hint="gauge or absolute?", why="exhaust flows out")
    if c.kind == "exhaust ratio" and c.ratio * c.boost <= air:
        message = f"puts the exhaust at {show(c.ratio * c.boost, 'kPa')} abs, below ambient"
        yield Finding(("charger", "ratio"), message, f"above {air / c.boost:.2f}", why="exhaust flows out")


def turbine(case: Any) -> Iterator[Finding]:
    """A nozzle that full flow could not pass below 10 bar, or whose manifold pressure nothing could drive the shaft with."""
    c = case.charger
    if c is None or c.kind != "power balance":
        return
    from waveflow.engine.charger import choking_pressure

    widest = c.wastegate_area if c.wastegate_area is not None else None
    if widest is None:
        return
    flow = c.boost / (287.0 * (c.charge_temperature or 330.0)) * case.displacement * case.range.to / 120.0
    needed = choking_pressure(1.06 * flow, c.turbine_area + widest)
    if needed > 3.0 * c.boost:
        message = (
            f"with the wastegate wide open, full flow at {show(case.range.to, 'rpm')} would need about "
            f"{show(needed, 'kPa')} abs before the turbine"
        )
        hint = "a larger turbine_area or wastegate_area"
        yield Finding(("charger", "turbine_area"), message, f"at most {show(3.0 * c.boost, 'kPa')} abs", hint)


def manifold(case: Any) -> Iterator[Finding]:
    c, header = case.charger, case.exhaust.header
    if c is None or header is None:
        return
    if header.silencer_at is not None:
        hint = "leave it out: what lies behind the turbine is charger.behind_turbine"
        yield Finding(("exhaust", "header", "silencer_at"), "a silencer before the turbine", hint=hint)


CHECKS = (alone, boost, temperature, exhaust, turbine, manifold)
