"""What a case says about a port: its stations, and the port as a whole. SI."""

from __future__ import annotations

from typing import Annotated

from pydantic import Field

from waveflow.engine.fields import Choice, Quantity, Whole, Words, guess, standard
from waveflow.engine.part import MOST_ROWS, Part

SHAPES = ("round", "ellipse", "rounded rectangle", "oblong", "D", "measured", "outline")
MOST_POINTS = 400
_POINT = Quantity("length", "-300 mm", "300 mm", why="x and y of a point round a mould slice", example="12.5 mm")
SIZE = Quantity("length", "5 mm", "120 mm", ("12 mm", "80 mm"), why="one passage of a port", example="33 mm")
ROUGHNESS = Quantity("length", "0 mm", "2 mm", ("0 mm", "0.5 mm"), why="height of the wall's grain", example="0.1 mm")


class Station(Part):
    """One measured section across a port, `at` m along its centreline; sizes of ONE branch, m and m2."""

    at: Annotated[
        float, Quantity("length", "0 mm", "500 mm", ("0 mm", "250 mm"), why="along the centreline", example="15 mm")
    ]
    shape: Annotated[str, Choice(SHAPES, example="rounded rectangle")] = standard("round", "one diameter given")
    width: Annotated[float, SIZE] | None = None
    height: Annotated[float, SIZE] | None = None
    corner_radius: Annotated[float, Quantity("length", "0 mm", "60 mm", why="corner", example="9 mm")] | None = None
    area: (
        Annotated[float, Quantity("area", "20 mm2", "12000 mm2", why="one passage of a port", example="812 mm2")] | None
    ) = None
    perimeter: (
        Annotated[float, Quantity("length", "15 mm", "600 mm", why="round one passage of a port", example="105 mm")]
        | None
    ) = None
    branches: Annotated[int, Whole(1, 4, why="equal passages side by side")] = standard(1, "one passage")
    blocked_area: Annotated[
        float, Quantity("area", "0 mm2", "3000 mm2", ("0 mm2", "400 mm2"), why="stem and boss in one branch")
    ] = standard(0.0, "nothing stands in the passage")
    note: Annotated[str, Words(120, why="such as pinch, throat, guide boss")] = ""
    instrument: Annotated[str, Words(120, why="what it was measured with")] = ""
    resolution: Annotated[float, Quantity("length", "0.001 mm", "5 mm", why="of the instrument")] | None = None
    points: (
        Annotated[
            tuple[Annotated[tuple[Annotated[float, _POINT], ...], Field(min_length=2, max_length=2)], ...],
            Field(min_length=3, max_length=MOST_POINTS),
        ]
        | None
    ) = None
    read_from: Annotated[str, Words(200, why="table the points came from")] = ""


class Port(Part):
    """Stations along the centreline: intake from the manifold face to the valve, exhaust from the seat to the flange."""

    stations: Annotated[tuple[Station, ...], Field(min_length=2, max_length=MOST_ROWS)]
    between: Annotated[str, Choice(("smooth", "linear area"), why="how the area runs between stations")] = standard(
        "smooth", "monotone curve through the stations"
    )
    length: Annotated[float, Quantity("length", "5 mm", "600 mm", why="along the centreline")] | None = None
    burette_volume: (
        Annotated[float, Quantity("volume", "1 cc", "2000 cc", ("8 cc", "400 cc"), why="one port", example="66.4 cc")]
        | None
    ) = None
    roughness: Annotated[float, ROUGHNESS] = guess("length", "0.1 mm", "0.05 mm", "0.25 mm", "as-cast wall; our choice")
    read_from: Annotated[str, Words(200, why="table the values came from")] = ""
