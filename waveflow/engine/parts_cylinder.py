"""What a case says about a single cylinder that differs from the others: only the difference is given. SI.

    [[cylinder]]
    number = 4
    intake.readings = { lift = "4, 7, 10 mm", flow = "126, 177.5, 203.5 CFM" }
    [[cylinder.intake.port.changed]]
    at = "80 mm"
    width = "28.6 mm"
"""

from __future__ import annotations

from typing import Annotated

from pydantic import Field

from waveflow.engine.fields import Quantity, Whole, Words
from waveflow.engine.part import MOST_ROWS, Part, series
from waveflow.engine.parts_pipe import BORE_OF_PIPE, WALL_RANGE
from waveflow.engine.parts_station import ROUGHNESS, Station
from waveflow.engine.parts_valve import Flow

MOST_CYLINDERS = 16
_PIPE = Quantity("length", "5 mm", "6000 mm", ("20 mm", "3000 mm"), why="this cylinder's own, along the centreline")


class Readings(Part):
    """A few readings of this port on the bench of the others' sheet: the sheet is scaled by their ratio to it.

    Between two lifts the ratio is straight, beyond the first and last it stays.
    """

    lift: series(Quantity("length", "0.2 mm", "30 mm", why="lift on the bench", example="4, 7, 10 mm"), 1)
    flow: series(Quantity("volume_flow", "0.1 CFM", "1000 CFM", why="bench reading", example="126, 177, 203 CFM"), 1)


class CylinderPort(Part):
    """What differs in this cylinder's port: the stations `changed`, each at the place of one of the others, or all of them."""

    changed: Annotated[tuple[Station, ...], Field(min_length=1, max_length=MOST_ROWS)] | None = None
    stations: Annotated[tuple[Station, ...], Field(min_length=2, max_length=MOST_ROWS)] | None = None
    length: Annotated[float, Quantity("length", "5 mm", "600 mm", why="along the centreline")] | None = None
    burette_volume: Annotated[float, Quantity("volume", "1 cc", "2000 cc", ("8 cc", "400 cc"), why="one port")] | None = None
    roughness: Annotated[float, ROUGHNESS] | None = None
    wall_temperature: (
        Annotated[float, Quantity("temperature", *WALL_RANGE, ("20 degC", "700 degC"), why="metal of the head")] | None
    ) = None
    read_from: Annotated[str, Words(200, why="table the values came from")] = ""


class CylinderRunner(Part):
    """What differs in this cylinder's manifold pipe."""

    length: Annotated[float, _PIPE] | None = None
    inlet_diameter: Annotated[float, BORE_OF_PIPE] | None = None
    outlet_area: Annotated[float, Quantity("area", "50 mm2", "20000 mm2", why="at the head's face")] | None = None
    blend_length: (
        Annotated[float, Quantity("length", "0 mm", "1000 mm", ("0 mm", "200 mm"), why="ground out towards the head")] | None
    ) = None


class CylinderIntake(Part):
    port: CylinderPort | None = None
    flow: Flow | None = None
    readings: Readings | None = None
    runner: CylinderRunner | None = None


class CylinderExhaust(Part):
    port: CylinderPort | None = None
    flow: Flow | None = None
    readings: Readings | None = None
    primary_length: Annotated[float, _PIPE] | None = None


class Cylinder(Part):
    """One cylinder, 1, 2, ... as they stand in the block, and what of it is not as in the others."""

    number: Annotated[int, Whole(1, MOST_CYLINDERS, why="which cylinder", example="3")]
    note: Annotated[str, Words(200, why="whatever is worth knowing of it")] = ""
    intake: CylinderIntake | None = None
    exhaust: CylinderExhaust | None = None
