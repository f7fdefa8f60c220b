"""What remains for the valve when the port's own losses are taken out of a flow sheet: the modelled bench, turned round.

At every reading the mass flow of the sheet is sent through the port of the case in steady flow; the state it has left at the
valve asks for a certain effective area, and that is the valve's. Nothing is fitted, so the modelled bench returns the sheet;
the port's losses are then charged once, by the port.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from waveflow.engine.breathing import END_AREA_SHARE
from waveflow.engine.flowsheet import ValveFlow
from waveflow.engine.rig import MOST_OF_THROAT, Rig, sheet_areas
from waveflow.units import show


@dataclass(frozen=True)
class Impossible:
    """A reading no valve coefficient can return: its number on the sheet, lift [m], flow [m3/s], and words."""

    number: int
    lift: float
    flow: float
    message: str


class NoCoefficient(ValueError):
    """Readings that cannot be returned, in `readings`."""

    def __init__(self, readings: list[Impossible]) -> None:
        self.readings = readings
        super().__init__("; ".join(each.message for each in readings))


def valve_alone(table: ValveFlow, rig: Rig, depression: float) -> ValveFlow:
    """The valve's own table from a sheet's (`ValveFlow` on the whole port, all valves open) read at `depression` [Pa].

    Same lifts, same reference area, the same reverse share. Raises NoCoefficient where the port of the description alone
    passes less than the sheet, or a valve would have to flow more than 0.95 of its throat.
    """
    whole = rig.count * sheet_areas(table)
    air = rig.air(depression)
    flow = whole * air.mass_flux
    alone = rig.needed_area(flow, depression)
    limit = min(MOST_OF_THROAT * rig.throat, END_AREA_SHARE * rig.end_area)
    wrong = [k for k in range(len(flow)) if not alone[k] <= limit]
    if wrong:
        raise NoCoefficient([_impossible(table, rig, depression, flow, alone, k) for k in wrong])
    ratio = alone / whole
    return replace(table, coefficient=table.coefficient * ratio, reverse_coefficient=table.reverse_coefficient * ratio,
                   source=f"{table.source}, valve alone")  # fmt: skip


def _impossible(table: ValveFlow, rig: Rig, depression: float, flow: NDArray, alone: NDArray, k: int) -> Impossible:
    air = rig.air(depression)
    lift = float(table.lift_over_diameter[k] * table.head_diameter)
    most = rig.most_flow(depression) / air.density
    read = float(flow[k]) / air.density
    asked = "nothing at all is left for the valve" if not np.isfinite(alone[k]) else \
        f"the valve would have to flow {alone[k] / rig.throat:.2f} of its throat"  # fmt: skip
    return Impossible(k, lift, read, (
        f"no coefficient can return this sheet: {show(read, 'CFM', 4)} at {lift * 1e3:g} mm lift, but the port as described "
        f"passes {show(most, 'CFM', 4)} at most with its {show(rig.throat, 'mm2', 4)} throat ({asked})"
    ))  # fmt: skip
