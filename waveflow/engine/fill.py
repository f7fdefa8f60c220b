"""What follows from the rest of a checked case: a value left out that has one sensible meaning, and a derived port."""

from __future__ import annotations

import math
from typing import Any

from waveflow.engine import compression
from waveflow.engine.assumptions import Assumption
from waveflow.engine.part import Part
from waveflow.engine.parts_engine import GRIDS
from waveflow.engine.parts_pipe import Reservoir, kind_of
from waveflow.engine.share import VALVE_ALONE, share_of
from waveflow.engine.wording import field_at


def replaced(part: Part, key: str, value: Any) -> Any:
    """Copy of `part` with the value at the dotted attribute name `key` replaced."""
    first, _, rest = key.partition(".")
    if rest:
        value = replaced(getattr(part, first), rest, value)
    return part.model_copy(update={first: value})


class _Filler:
    """Collects what is filled in, with its reason."""

    def __init__(self, case: Any):
        self.case = case
        self.notes: list[Assumption] = []

    def put(self, key: str, value: Any, why: str, text: str = "") -> None:
        parent, _, last = key.rpartition(".")
        table = self.case
        for part in parent.split("."):
            table = getattr(table, part)
        kind = kind_of(field_at(type(table), last))
        self.case = replaced(self.case, key, value)
        shown = text or (kind.text(value) if kind is not None else str(value))
        self.notes.append(Assumption(key, shown, "default", why=why))


def complete(case: Any) -> tuple[Any, list[Assumption]]:
    """The case with everything filled in that follows from the rest, and a note on each such value."""
    filler = _Filler(case)
    engine = case.engine
    if engine.firing_order is None:
        filler.put("engine.firing_order", (1,), "one cylinder", "[1]")
    for side in ("intake", "exhaust"):
        table = getattr(case, side)
        if table.reservoir is None and case.charger is None:
            air = case.ambient
            outside = Reservoir(pressure=f"{air.pressure!r} Pa abs", temperature=f"{air.temperature!r} K")
            filler.put(f"{side}.reservoir", outside, "outside is ambient air", "ambient")
        if table.flow.kind == "sheet" and table.flow.valves_open is None:
            filler.put(f"{side}.flow.valves_open", 1, "there is only one valve")
        if table.flow.kind == "stock" and getattr(table.flow.stock_flow, "valves_open", 1) is None:
            filler.case = replaced(filler.case, f"{side}.flow.stock_flow.valves_open", 1)
        _share(filler, side)
    runner = case.intake.runner
    if runner is not None and runner.outlet_area is None:
        area = math.pi / 4.0 * runner.inlet_diameter**2
        filler.put("intake.runner.outlet_area", area, "runner of one bore, round of its inlet diameter")
    if case.fuel.temperature is None and case.fuel.kind != "none":
        filler.put("fuel.temperature", case.ambient.temperature, "fuel at ambient temperature")
    cell, in_port, tolerance, _ = GRIDS[filler.case.run.grid]
    if filler.case.run.cell is None:
        why = f"{filler.case.run.grid} grid; {in_port:g} times that in an intake port, 1.7 times in hot pipes"
        filler.put("run.cell", cell, why)
    if filler.case.run.tolerance is None:
        filler.put("run.tolerance", tolerance, f"{filler.case.run.grid} grid; change of filling from cycle to cycle")
    _header(filler)
    return _compressed(filler.case), filler.notes


def _share(filler: _Filler, side: str) -> None:
    """What a sheet's coefficient is of, where the case does not say: the valve alone if the port it was read with is known."""
    flow = getattr(filler.case, side).flow
    key = f"{side}.flow" + (".stock_flow" if flow.kind == "stock" else "")
    sheet = flow.stock_flow if flow.kind == "stock" else flow
    if sheet.kind == "sheet" and sheet.coefficient_of is None:
        share = share_of(filler.case, side)
        why = "the port as described brings its own losses" if share == VALVE_ALONE else "port losses in it"
        filler.put(f"{key}.coefficient_of", share, why)


def _header(filler: _Filler) -> None:
    header = filler.case.exhaust.header
    if header is None:
        return
    cylinders = filler.case.engine.cylinders
    if len(header.primary_length) == 1 and cylinders > 1:
        filler.case = replaced(filler.case, "exhaust.header.primary_length", header.primary_length * cylinders)
    if header.groups is None:
        together = (tuple(range(1, cylinders + 1)),)
        text = str([list(group) for group in together])
        filler.put("exhaust.header.groups", together, "all primaries meet in one place", text)


def _compressed(case: Any) -> Any:
    """Case with compression ratio and clearance volume, whichever way they were given."""
    parts = case.compression
    swept = case.swept_volume
    if parts.ratio is not None:
        volume = compression.clearance_from_ratio(swept, parts.ratio)
        new = parts.model_copy()
    else:
        volume = compression.clearance_volume(
            case.engine.bore, parts.chamber, parts.dish, parts.deck, parts.gasket_bore, parts.gasket_thickness
        )
        new = parts.model_copy(update={"ratio": compression.ratio_from_clearance(swept, volume)})
    new._clearance_volume = volume
    return case.model_copy(update={"compression": new})


def enlarged(case: Any) -> Any:
    """Derived port of `case.enlarge` (an `Enlargement` of derive.py). Raises ValueError where it cannot be made."""
    from waveflow.engine.derive import enlarge

    wish = case.enlarge
    side = getattr(case, wish.side)
    return enlarge(
        side.port.stations,
        wish.percent,
        wish.where,
        valve_end="last" if wish.side == "intake" else "first",
        valve_diameter=side.valve.head_diameter,
    )
