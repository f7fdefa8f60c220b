"""A case's cams and flow tables as lift curves and effective areas."""

from __future__ import annotations

from functools import lru_cache
from types import SimpleNamespace
from typing import Any

from waveflow.engine import valvetrain
from waveflow.engine.flowsheet import ValveFlow, from_coefficient, from_sheet, with_stock_coefficient
from waveflow.engine.share import VALVE_ALONE, measured_head, share_of
from waveflow.engine.valvetrain import LiftCurve


def rocker_of(cam: Any) -> float | valvetrain.Rocker:
    """Rocker ratio of a card or lift table: one number, or a table over lobe lift."""
    if cam.rocker_at is None or cam.rocker_ratios is None:
        return cam.rocker_ratio
    return valvetrain.Rocker(tuple(cam.rocker_at), tuple(cam.rocker_ratios))


def lift_of(cam: Any, side: str) -> LiftCurve:
    """Valve lift over the cycle from the case's cam."""
    if cam.kind == "card":
        return valvetrain.from_card(
            cam.lobe_lift, cam.duration, cam.duration_at, cam.lobe_centre, side=side, rocker_ratio=rocker_of(cam),
            lash=cam.lash, second_duration=cam.second_duration, second_duration_at=cam.second_duration_at,
            advance=cam.advance,
        )  # fmt: skip
    if cam.kind == "table":
        return valvetrain.from_table(
            cam.angle, cam.lift, lift_of=cam.lift_of, rocker_ratio=rocker_of(cam), lash=cam.lash, advance=cam.advance
        )
    return valvetrain.sine_squared(cam.open, cam.close, cam.max_lift)


def valve_flow(flow: Any, valve: Any, side: str) -> ValveFlow:
    """Effective area of one valve against lift from the case's flow table; a stock flow keeps its own valve's coefficient."""
    if flow.kind == "stock":
        table = with_stock_coefficient(valve_flow(flow.stock_flow, flow.stock_valve, side), valve.head_diameter)
    elif flow.kind == "sheet":
        table = from_sheet(
            flow.lift, flow.flow, head_diameter=valve.head_diameter, depression=flow.depression,
            reference_area=flow.reference_area, leak_subtracted=flow.leak_subtracted, leak=flow.leak,
            plate_corrected=flow.plate_corrected, plate_expected=flow.plate_expected, plate_read=flow.plate_read,
            air_temperature=flow.air_temperature, barometer=flow.barometer, blown=side == "exhaust",
            valves_open=flow.valves_open or valve.count, reverse_factor=flow.reverse_factor,
        )  # fmt: skip
    else:
        table = from_coefficient(
            flow.lift_over_diameter, flow.coefficient, head_diameter=valve.head_diameter,
            reference_area=flow.reference_area, throat_area=flow.throat_area, reverse_factor=flow.reverse_factor,
            reverse_coefficient=flow.reverse_coefficient,
        )  # fmt: skip
    return table if flow.factor == 1.0 else table.scaled(flow.factor)


def flow_of(case: Any, side: str) -> ValveFlow:
    """Effective area of one valve of a case's "intake" or "exhaust", as the engine uses it: what its flow table says, or,
    where the sheet serves for the valve alone (`share_of`), what the modelled bench leaves for the valve of the head the sheet
    was read with; a stock flow carries that over to this valve's head."""
    table = getattr(case, side)
    flow = table.flow
    if share_of(case, side) != VALVE_ALONE:
        return valve_flow(flow, table.valve, side)
    sheet, head = measured_head(case, side)
    # as it was read, said in one way, so that checks (before defaults are filled in) and engine ask for the same
    open_valves = sheet.valves_open or head.valve.count
    read = sheet.model_copy(update={"factor": 1.0, "valves_open": open_valves, "coefficient_of": None})
    plain = _alone(read, head.valve, head.port, side, case.ideal)
    plain = plain if sheet.factor == 1.0 else plain.scaled(sheet.factor)
    if flow.kind != "stock":
        return plain
    plain = with_stock_coefficient(plain, table.valve.head_diameter)
    return plain if flow.factor == 1.0 else plain.scaled(flow.factor)


@lru_cache(maxsize=64)
def _alone(sheet: Any, valve: Any, port: Any, side: str, ideal: Any) -> ValveFlow:
    """What a sheet, read with this valve and port, leaves for the valve; kept, as checks and engine ask for the same and a
    study for little else."""
    from waveflow.engine.rig import rig_of
    from waveflow.engine.valvealone import valve_alone

    plain = valve_flow(sheet, valve, side)
    if port is None:
        return plain
    return valve_alone(plain, rig_of(SimpleNamespace(valve=valve, port=port), side, sheet, ideal), sheet.depression)
