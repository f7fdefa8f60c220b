"""What a porter would look at twice: steps at the joints, too steep a taper, throat and valve shares, a foreign bench,
stations against the burette. All are warnings: the case can be used as it stands.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Any

from waveflow.engine import section
from waveflow.engine.checks import Finding
from waveflow.engine.checks_valves import each_side
from waveflow.engine.portfacts import beside_gasket, runner_end, throat_number
from waveflow.units import show

STEP = 0.05
"""Change of area at a joint from which it is told (our choice: a gasket edge of half a millimetre all round)."""
TAPER = 25.0
"""|d ln A / dx| [1/m] between two stations from which a port is too steep for a model of one dimension (our choice: in a
33 mm passage a cone of 12 degrees half angle, where flow parts from the wall)."""
GROOVE = 0.20
"""Hole of the gasket over the larger passage from which it is told (our choice: more than the play a gasket needs)."""
THROAT = {"intake": 0.91, "exhaust": 0.89}
VALVE_SHARE = (0.44, 0.48)
_PRACTICE = "common practice, no source"


def _joint(before: float, after: float) -> str:
    edge = abs(math.sqrt(after / math.pi) - math.sqrt(before / math.pi))
    return (f"{show(before, 'mm2', 4)} runs into {show(after, 'mm2', 4)}, {after / before - 1:+.0%} of area, "
            f"{1e3 * edge:.1f} mm all round")


def _end(port: Any, number: int) -> float | None:
    try:
        return section.net_area(port.stations[number])
    except ValueError:
        return None


def runner_joint(case: Any) -> Iterator[Finding]:
    """Runner to head face; one that ends wider than the port is told by the runner's own check."""
    pipe, port = case.intake.runner, case.intake.port
    if pipe is None or port is None or pipe.blend_length > 0:
        return
    own = pipe.outlet_area if pipe.outlet_area is not None else math.pi / 4 * pipe.inlet_diameter**2
    face = _end(port, 0)
    if face is not None and face > (1 + STEP) * own:
        message = f"a step at the runner's joint with the head: {_joint(own, face)}"
        hint = "if the runner was matched to the port, say over what blend_length"
        yield Finding(("intake", "runner", "outlet_area"), message, hint=hint, warning=True, missing=True)


def gasket_joint(case: Any) -> Iterator[Finding]:
    """The hole in the intake gasket beside its two neighbours: an edge in the flow, or a groove round the joint."""
    pipe, port = case.intake.runner, case.intake.port
    if pipe is None or port is None or pipe.gasket_area is None:
        return
    face = _end(port, 0)
    if face is None:
        return
    beside = beside_gasket(runner_end(pipe, face), face, pipe.gasket_area)
    key = ("intake", "runner", "gasket_area")
    if pipe.gasket_area < (1 - STEP) * beside:
        message = f"the gasket stands into the flow: its hole against the passage, {_joint(beside, pipe.gasket_area)}"
        yield Finding(key, message, hint="trim the gasket; its edge is not in the computation", warning=True)
    elif pipe.gasket_area > (1 + GROOVE) * beside:
        message = "the gasket leaves a groove round the joint: the passage against its hole, "
        message += _joint(beside, pipe.gasket_area)
        hint = "never open a port to the gasket: match port and runner to each other; the groove is not in the computation"
        yield Finding(key, message, hint=hint, warning=True)


def exhaust_joint(case: Any) -> Iterator[Finding]:
    port, pipes = case.exhaust.port, case.exhaust.header
    if port is None or pipes is None:
        return
    own, tube = _end(port, -1), math.pi / 4 * pipes.primary_diameter**2
    if own is not None and tube < (1 - STEP) * own:
        message = f"a step against the flow at the flange: {_joint(own, tube)}"
        hint = "the gas meets the edge of the pipe; look at pipe and gasket"
        yield Finding(("exhaust", "header", "primary_diameter"), message, hint=hint, warning=True, missing=True)


@each_side
def taper(case: Any, side: str) -> Iterator[Finding]:
    port = getattr(case, side).port
    if port is None:
        return
    try:
        rows = [(station.at, section.net_area(station)) for station in port.stations]
    except ValueError:
        return
    for number, ((x0, a0), (x1, a1)) in enumerate(zip(rows, rows[1:], strict=False), 1):
        if x1 <= x0:
            return
        steep = math.log(a1 / a0) / (x1 - x0)
        if abs(steep) > TAPER:
            message = f"area changes by {steep / 10:+.1f} % a millimetre from stations[{number - 1}] to here: too steep a "
            message += f"taper for a model of one dimension (above {TAPER / 10:g} %, our choice)"
            hint = "put a station between them, or expect more loss than is computed"
            yield Finding((side, "port", "stations", number), message, hint=hint, warning=True, missing=True)


@each_side
def throat_share(case: Any, side: str) -> Iterator[Finding]:
    table = getattr(case, side)
    if table.port is None or table.port.burette_volume is None and not any(s.note for s in table.port.stations):
        return
    try:
        number = throat_number(table.port.stations, side)
        area = section.section_of(table.port.stations[number])[0]
    except ValueError:
        return
    if table.port.stations[number].branches != table.valve.count:
        return
    share = math.sqrt(4 * area / math.pi) / table.valve.head_diameter
    if share > THROAT[side]:
        usual = "above 90 to 91 %" if side == "intake" else "85 to 88 % is usual; beyond it"
        message = f"the throat is {share:.1%} of the valve head: {usual} little is left for the seat ({_PRACTICE})"
        yield Finding((side, "port", "stations", number), message, warning=True, missing=True)


def valve_share(case: Any) -> Iterator[Finding]:
    """One intake valve beside the bore; ideal engines are nobody's head."""
    valve, bore = case.intake.valve, case.engine.bore
    if valve.count != 1 or case.ideal.gas != "real" or valve.head_diameter >= bore:
        return
    share, (low, high) = valve.head_diameter / bore, VALVE_SHARE
    if not low <= share <= high:
        message = f"{share:.1%} of the bore; a single intake valve usually has {low:.0%} to {high:.0%} ({_PRACTICE})"
        hint = "the cylinder wall shrouds a big valve; look at the gap, and whether the sheet was read in this bore"
        yield Finding(("intake", "valve", "head_diameter"), message, hint=hint if share > high else "", warning=True)


@each_side
def foreign_bench(case: Any, side: str) -> Iterator[Finding]:
    flow = getattr(case, side).flow
    inner = flow.kind == "stock"
    sheet = flow.stock_flow if inner else flow
    if sheet.kind != "sheet" or not sheet.other_bench:
        return
    key = (side, "flow", "stock_flow", "other_bench") if inner else (side, "flow", "other_bench")
    message = "OTHER BENCH: benches differ by far more than one bench repeats, so what this sheet gains or loses beside "
    message += f"another may be the bench's ({_PRACTICE})"
    yield Finding(key, message, hint="compare it only with sheets of that bench, or read both with one plate", warning=True)


@each_side
def burette(case: Any, side: str) -> Iterator[Finding]:
    """Which reading of a port does not fit the others; asked last, as it brings in the number library."""
    port = getattr(case, side).port
    if port is None or port.burette_volume is None:
        return
    from waveflow.engine.reconcile import reconcile
    from waveflow.engine.station_margins import port_margins

    found = reconcile(port.stations, port.burette_volume, port.length, straight=port.between == "linear area",
                      margins=port_margins(case, side))
    if not found.agrees:
        message = f"the readings of this port do not fit each other; {found.advice}"
        yield Finding((side, "port", "burette_volume"), message, warning=True)


CHECKS = (runner_joint, gasket_joint, exhaust_joint, taper, throat_share, valve_share, foreign_bench)
LATE_CHECKS = (burette,)
