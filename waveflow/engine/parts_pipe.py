"""What a case says about passages and volumes: port stations, runner, plenum, throttle, header, reservoirs. SI."""

from __future__ import annotations

import math
from typing import Annotated, Any

from pydantic import BeforeValidator, Field

from waveflow.engine.fields import Choice, Kind, Number, Quantity, Whole, guess, guessed_number, standard
from waveflow.engine.part import Part
from waveflow.engine.parts_station import ROUGHNESS, Port
from waveflow.engine.parts_valve import Cam, Flow, Valve

WALL_RANGE = ("-20 degC", "1000 degC")
BORE_OF_PIPE = Quantity("length", "8 mm", "200 mm", ("20 mm", "110 mm"), why="inside a pipe", example="37 mm")
_MEMORY = "textbook-type value, from memory"


class Bend(Part):
    """One bend of a pipe; without `at` its loss is spread over the whole pipe."""

    angle: Annotated[float, Quantity("angle", "1 deg", "180 deg", why="how far the pipe turns", example="45 deg")]
    radius: Annotated[
        float, Quantity("length", "5 mm", "2000 mm", why="of the centreline, at least half the bore", example="60 mm")
    ]
    at: Annotated[float, Quantity("length", "0 mm", "6000 mm", why="where it begins, along the pipe")] | None = None

    @property
    def arc(self) -> float:
        """Length along the centreline [m]."""
        return math.radians(self.angle) * self.radius


Bends = Annotated[tuple[Bend, ...], Field(max_length=24)]


class IntakePort(Port):
    pair: Annotated[
        str, Choice(("one equivalent duct", "two branches"), why="how a port that splits to two valves is laid")
    ] = standard("one equivalent duct", "both branches as one duct of their area")
    wall_temperature: Annotated[
        float, Quantity("temperature", *WALL_RANGE, ("20 degC", "150 degC"), why="metal of the head")
    ] = guess("temperature", "80 degC", "60 degC", "110 degC", f"intake port wall; {_MEMORY}")


class ExhaustPort(Port):
    wall_temperature: Annotated[
        float, Quantity("temperature", *WALL_RANGE, ("20 degC", "700 degC"), why="metal of the head")
    ] = guess("temperature", "350 degC", "250 degC", "500 degC", f"exhaust port wall; {_MEMORY}")


class Runner(Part):
    """The manifold's pipe from its inlet to the head's face.

    `outlet_area` is its own end; where `blend_length` is above zero the last stretch is ground out from the runner's own
    area at that distance to the port's face. `gasket_area` is only compared with both, not computed with.
    """

    length: Annotated[
        float, Quantity("length", "5 mm", "2500 mm", ("20 mm", "900 mm"), why="along the centreline", example="270 mm")
    ]
    inlet_diameter: Annotated[float, BORE_OF_PIPE]
    outlet_area: (
        Annotated[float, Quantity("area", "50 mm2", "20000 mm2", why="at the head's face, before any blend")] | None
    ) = None
    gasket_area: (
        Annotated[float, Quantity("area", "50 mm2", "20000 mm2", why="hole in the gasket at the head's face")] | None
    ) = None
    blend_length: Annotated[
        float, Quantity("length", "0 mm", "1000 mm", ("0 mm", "200 mm"), why="ground out towards the head")
    ] = standard(0.0, "runner not blended to the port")
    entry: Annotated[
        str, Choice(("bellmouth", "plain", "flanged", "ideal"), why="loss where air enters", example="bellmouth")
    ]
    bends: Bends = ()
    roughness: Annotated[float, ROUGHNESS] = guess(
        "length", "0.02 mm", "0.005 mm", "0.05 mm", "smooth cast or drawn pipe; our choice"
    )
    wall_temperature: Annotated[
        float, Quantity("temperature", *WALL_RANGE, ("0 degC", "120 degC"), why="metal of the manifold")
    ] = guess("temperature", "45 degC", "25 degC", "70 degC", f"runner wall; {_MEMORY}")


class Plenum(Part):
    """The volume the runners draw from; no heat through its wall."""

    volume: Annotated[float, Quantity("volume", "0.05 L", "100 L", ("0.3 L", "20 L"), why="plenum", example="3.2 L")]


class Throttle(Part):
    """The butterfly between ambient and plenum: open by a share of its area, or by the angle of its plate."""

    diameter: Annotated[
        float, Quantity("length", "10 mm", "200 mm", ("25 mm", "110 mm"), why="throttle bore", example="54 mm")
    ]
    opening: Annotated[float, Number(0.0005, 1.0, why="share of the bore's area that is open")] = standard(
        1.0, "wide open, or as the plate's angle says"
    )
    plate_angle: (
        Annotated[
            float,
            Quantity(
                "angle", "0 deg", "90 deg", why="from square across the bore; 90 deg is wide open", example="35 deg"
            ),
        ]
        | None
    ) = None
    shut_angle: Annotated[float, Quantity("angle", "0 deg", "30 deg", why="at which the plate shuts")] = guess(
        "angle", "7 deg", "3 deg", "12 deg", "elliptic plate; common practice, no source"
    )
    shaft_diameter: Annotated[float, Quantity("length", "0 mm", "40 mm", why="of the spindle")] = standard(
        0.0, "spindle in the discharge coefficient"
    )
    discharge_coefficient: Annotated[float, Number(0.2, 1.0, (0.6, 1.0), why="flow over isentropic flow")] = (
        guessed_number(0.85, 0.75, 0.95, "throttle with its spindle; from memory")
    )

    @property
    def open_share(self) -> float:
        """Open share of the bore's area [-], as stated or by the angle of the plate."""
        from waveflow.engine.losses import plate_opening

        if self.plate_angle is None:
            return self.opening
        return plate_opening(self.plate_angle, self.shut_angle, self.shaft_diameter / self.diameter)


class Reservoir(Part):
    """What lies outside a pipe's outer end, and never changes."""

    pressure: Annotated[
        float,
        Quantity(
            "pressure",
            "5 kPa abs",
            "1000 kPa abs",
            ("20 kPa abs", "300 kPa abs"),
            why="gas outside the pipe",
            example="100 kPa abs",
        ),
    ]
    temperature: Annotated[
        float, Quantity("temperature", "200 K", "1800 K", why="gas outside the pipe", example="300 K", unit="K")
    ]
    burned: Annotated[float, Number(0.0, 1.0, why="share of burned gas")] = standard(0.0, "fresh gas")


def _each(value: Any) -> Any:
    """One length, or a list with one for each cylinder."""
    return tuple(value) if isinstance(value, (list, tuple)) else (value,)


_PIPE_LENGTH = Quantity("length", "5 mm", "6000 mm", ("40 mm", "3000 mm"), why="along the centreline", example="380 mm")


class Header(Part):
    """The exhaust behind the head: primaries, secondaries where they are paired, tail, silencer."""

    primary_length: Annotated[
        tuple[Annotated[float, _PIPE_LENGTH], ...], Field(min_length=1, max_length=16), BeforeValidator(_each)
    ]
    primary_diameter: Annotated[float, BORE_OF_PIPE]
    groups: (
        Annotated[
            tuple[
                Annotated[
                    tuple[Annotated[int, Whole(1, 16, why="cylinders whose primaries meet")], ...], Field(min_length=1)
                ],
                ...,
            ],
            Field(min_length=1),
        ]
        | None
    ) = None
    secondary_length: Annotated[float, _PIPE_LENGTH] | None = None
    secondary_diameter: Annotated[float, BORE_OF_PIPE] | None = None
    tail_length: Annotated[float, _PIPE_LENGTH] | None = None
    tail_diameter: Annotated[float, BORE_OF_PIPE] | None = None
    silencer_at: Annotated[float, Quantity("length", "0 mm", "6000 mm", why="from the collector")] | None = None
    silencer_volume: Annotated[float, Quantity("volume", "0.1 L", "100 L", ("1 L", "40 L"), why="silencer")] | None = (
        None
    )
    silencer_length: Annotated[float, Quantity("length", "20 mm", "3000 mm", why="silencer")] | None = None
    primary_bends: Bends = ()
    secondary_bends: Bends = ()
    tail_bends: Bends = ()
    merge_angle: (
        Annotated[
            float,
            Quantity(
                "angle", "0 deg", "120 deg", ("5 deg", "90 deg"), why="between a merging pipe and the collector's axis"
            ),
        ]
        | None
    ) = None
    exit: Annotated[str, Choice(("plain", "flanged", "ideal"), why="how the last pipe ends")] = standard(
        "plain", "pipe ends in the open"
    )
    roughness: Annotated[float, ROUGHNESS] = guess("length", "0.05 mm", "0.01 mm", "0.1 mm", "tube in use; our choice")
    wall_temperature: Annotated[
        float, Quantity("temperature", *WALL_RANGE, ("50 degC", "900 degC"), why="metal of the pipes")
    ] = guess("temperature", "450 degC", "300 degC", "650 degC", f"exhaust pipe wall; {_MEMORY}")


class Intake(Part):
    valve: Valve
    cam: Cam
    flow: Flow
    port: IntakePort | None = None
    runner: Runner | None = None
    plenum: Plenum | None = None
    throttle: Throttle | None = None
    reservoir: Reservoir | None = None


class Exhaust(Part):
    valve: Valve
    cam: Cam
    flow: Flow
    port: ExhaustPort | None = None
    header: Header | None = None
    reservoir: Reservoir | None = None


def kind_of(field: Any) -> Kind | None:
    """The `Kind` of a model field, wherever its annotation hides it."""
    waiting = [*field.metadata, field.annotation]
    while waiting:
        item = waiting.pop(0)
        if isinstance(item, Kind):
            return item
        waiting.extend(getattr(item, "__metadata__", ()))
        waiting.extend(getattr(item, "__args__", ()))
    return None
