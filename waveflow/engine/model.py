"""What the solver runs, with the meaning of its rows: so that trouble can be told as "intake of cylinder 2, 123 mm from its
outer end" and a result knows which volume is the plenum.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from waveflow.engine.charger import ChargerRows
from waveflow.engine.flowsheet import ValveFlow
from waveflow.engine.valvetrain import LiftCurve
from waveflow.physics.gas import Gas
from waveflow.physics.layout import Net, State


@dataclass(frozen=True)
class PipeInfo:
    """Where a row of the pipe table lies: part name, cylinder (-1: shared), faces [m] along its duct, first cell."""

    name: str
    cylinder: int
    faces: np.ndarray
    first: int


@dataclass
class Model:
    """A `Net` and its first `State`, with the meaning of their rows."""

    gas: Gas
    net: Net
    state: State
    start_angle: float  # engine angle [deg] at which a cycle is counted from
    swept: float  # one cylinder [m3]
    ambient_pressure: float  # [Pa]
    ambient_temperature: float  # [K]
    plenum: int  # volume row the runners draw from
    pipes: list[PipeInfo]
    volumes: list[str]
    probes: dict[str, int]  # name -> row
    intake_lift: LiftCurve
    exhaust_lift: LiftCurve
    intake_flow: ValveFlow
    exhaust_flow: ValveFlow
    mean_intake_area: float  # effective, over the open period, all intake valves of a cylinder [m2]
    intake_length: float  # valve to the first volume, end correction included [m]
    assumed: bool  # an option without a flow sheet of its own
    phases: tuple[float, ...]  # engine angle of firing TDC of cylinder 1, 2, ... [deg]
    charger: ChargerRows | None = None
    restarts: list[tuple[float, list[int], int]] = field(default_factory=list)  # no memory: angle, pipe rows, volume


def place_of_cell(model: Model, cell: int) -> tuple[str, str]:
    """Part and place of a cell in words, for error messages."""
    for info in model.pipes:
        count = len(info.faces) - 1
        if info.first - 1 <= cell <= info.first + count:
            k = min(max(cell - info.first, 0), count - 1)
            x = 0.5 * (info.faces[k] + info.faces[k + 1])
            part = info.name if info.cylinder < 0 else f"{info.name} of cylinder {info.cylinder + 1}"
            side = info.name.split(" ")[0]
            datum = {"exhaust": "the valve", "intake": "its outer end"}.get(side, "its start")
            return part, f"{x * 1e3:.0f} mm from {datum}"
    return "pipes", ""
