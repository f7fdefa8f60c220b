"""A case's cylinder as columns of the solver's table: slider-crank, walls, burn, fuel."""

from __future__ import annotations

from typing import Any

from waveflow.engine.tract import circle
from waveflow.engine.valvetrain import LiftCurve
from waveflow.physics.combustion import burn_table, burn_table_from_points, no_burn, wiebe_from_ca50
from waveflow.physics.gas import Gas, enthalpy

HEAD_AREA_FACTOR = 1.2
"""Surface of the combustion chamber in the head over the bore's area (a choice; flat would be 1)."""


def cylinder_columns(case: Any, gas: Gas, port_fuel: bool, intake: LiftCurve, exhaust: LiftCurve) -> dict:
    """Columns of the cylinder table for one cylinder; `port_fuel`: vapour joins the charge at the valve."""
    e = case.engine
    crank = 0.5 * e.stroke
    bore_area = circle(e.bore)
    burn = burn_of(case)
    columns = dict(
        bore=e.bore, crank=crank, rod=e.rod_length, offset=e.pin_offset, clearance=case.compression.clearance_volume,
        swept=bore_area * e.stroke, burn_start=burn.start, burn_span=burn.duration, air_fuel=gas.air_fuel,
        heat_law={"adiabatic": 0, "woschni": 1, "hohenberg": 2}[case.walls.heat], head_area=HEAD_AREA_FACTOR * bore_area,
        piston_area=bore_area, head_temp=case.walls.head_temperature, piston_temp=case.walls.piston_temperature,
        liner_temp=case.walls.liner_temperature, intake_close=intake.close_angle() % 720.0,
        exhaust_open=exhaust.open_angle() % 720.0,
    )  # fmt: skip
    if case.ideal.gas == "constant gamma":
        columns["air_fuel"] = 0.0
        columns["heat_per_air"] = getattr(case.burn, "heat_per_kg_fresh_air", None) or 0.0
    elif port_fuel:
        temp = case.fuel.temperature if case.fuel.temperature is not None else case.ambient.temperature
        columns["fuel_per_air"] = 1.0 / gas.air_fuel
        columns["fuel_enthalpy"] = float(enthalpy(gas, temp, 1.0, 0.0)) - case.fuel.evaporation_share * gas.fuel_latent
    return columns


def burn_of(case: Any):
    """The case's burn as start, duration and cumulative fractions."""
    b = case.burn
    if b.kind == "motored":
        return no_burn()
    if b.kind == "wiebe":
        start, duration = wiebe_from_ca50(b.ca50, b.duration_10_90, b.a, b.m)
        return burn_table(start, duration, b.a, b.m)
    if b.kind == "wiebe_direct":
        return burn_table(b.start, b.duration, b.a, b.m, b.normalised)
    return burn_table_from_points(b.angle, b.fraction)
