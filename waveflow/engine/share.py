"""What the coefficient of a flow sheet is of: the whole port as read, or what remains for the valve alone.

A bench reads port and valve together. Where the port is described, its losses in steady flow are taken out of the sheet and
the port charges them itself, once; where it is not, or not all valves stood open, the whole port's coefficient serves.
"""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

WHOLE_PORT, VALVE_ALONE = "whole port", "valve alone"


def measured_head(case: Any, side: str) -> tuple[Any, Any]:
    """(sheet, head) of a side: its flow sheet or None, and what it was read with as `valve` and `port`."""
    table = getattr(case, side)
    flow = table.flow
    if flow.kind == "stock":
        sheet, head = flow.stock_flow, SimpleNamespace(valve=flow.stock_valve, port=flow.stock_port)
    else:
        sheet, head = flow, table
    return (sheet if sheet.kind == "sheet" else None), head


def share_of(case: Any, side: str) -> str:
    """"valve alone" or "whole port": as the sheet says, else the first wherever it can be had."""
    sheet, head = measured_head(case, side)
    if sheet is None:
        return WHOLE_PORT
    if sheet.coefficient_of is not None:
        return sheet.coefficient_of
    if side == "intake" and case.ideal.infinite_plenum_at_valve:
        return WHOLE_PORT  # there is no port to bring its losses
    all_open = (sheet.valves_open or 1) == head.valve.count
    return VALVE_ALONE if head.port is not None and all_open else WHOLE_PORT
