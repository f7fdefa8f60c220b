"""What a sheet says of its bench, and whether the valve's own coefficient can be had from it."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from waveflow.engine.checks import Finding
from waveflow.engine.checks_valves import each_side
from waveflow.engine.share import VALVE_ALONE, share_of


@each_side
def stub(case: Any, side: str) -> Iterator[Finding]:
    """A stub has a length and a bore, and needs a port to be fitted to."""
    flow = getattr(case, side).flow
    if flow.kind != "sheet":
        return
    if flow.stub_length > 0.0 and flow.stub_diameter is None:
        hint = 'add stub_diameter = "35 mm" or what it was'
        yield Finding((side, "flow", "stub_diameter"), "missing beside stub_length", hint=hint, missing=True)
    if flow.stub_diameter is not None and flow.stub_length == 0.0:
        yield Finding((side, "flow", "stub_diameter"), "has no effect without a stub_length", warning=True)


@each_side
def valve_alone_asked(case: Any, side: str) -> Iterator[Finding]:
    """The valve alone can only be had from a sheet of this port, read with the valves it is described with."""
    table = getattr(case, side)
    flow = table.flow
    if flow.kind != "sheet" or flow.coefficient_of != "valve alone":
        return
    key = (side, "flow", "coefficient_of")
    if table.port is None:
        hint = 'describe the port, or write coefficient_of = "whole port"'
        yield Finding(key, "there is no port whose losses could be taken out of the sheet", hint=hint)
    elif flow.valves_open is not None and flow.valves_open != table.valve.count:
        message = f"the sheet was read with {flow.valves_open} valve open, the port is described for {table.valve.count}"
        yield Finding(key, message, hint='read it with all valves open, or write coefficient_of = "whole port"')


@each_side
def returned(case: Any, side: str) -> Iterator[Finding]:
    """A sheet that asks more of the valve than the port as described leaves it; asked last, as it solves the flow."""
    if share_of(case, side) != VALVE_ALONE:
        return
    from waveflow.engine.valvealone import NoCoefficient
    from waveflow.engine.valves import flow_of

    try:
        flow_of(case, side)
    except NoCoefficient as none:
        hint = "look at the stations, the depression, how many valves were open and whose head the sheet is of"
        hint += '; coefficient_of = "whole port" reads it as it stands'
        inner = ("stock_flow",) if getattr(case, side).flow.kind == "stock" else ()
        for each in none.readings:
            yield Finding((side, "flow", *inner, "flow", each.number), each.message, hint=hint)


CHECKS = (stub, valve_alone_asked)
LATE_CHECKS = (returned,)
