"""One cross-section of a port from what callipers, ball gauge or mould slice give: area and wetted perimeter by shape.

SI throughout (m, m2). A station is any object with the attributes of `Station`; sizes are those of ONE branch.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

Point = tuple[float, float]

SHAPES = ("round", "ellipse", "rounded rectangle", "oblong", "D", "measured", "outline")


@dataclass(frozen=True)
class Station:
    """One measured cross-section of a port, `at` metres along the centreline.

    `width`, `height`, `corner_radius` in m; `area` [m2] and `perimeter` [m] only for the shape "measured"; `points`
    [(x, y) in m] only for the shape "outline"; `branches` equal passages side by side (a port that has split to two
    valves: 2), each narrowed by `blocked_area` [m2] (stem, guide boss); `instrument` and its `resolution` [m].
    """

    at: float
    shape: str = "round"
    width: float | None = None
    height: float | None = None
    corner_radius: float | None = None
    area: float | None = None
    perimeter: float | None = None
    branches: int = 1
    blocked_area: float = 0.0
    note: str = ""
    instrument: str = ""
    resolution: float | None = None
    points: tuple[tuple[float, float], ...] | None = None


def _size(name: str, value: float | None) -> float:
    if value is None or not (math.isfinite(value) and value > 0.0):
        raise ValueError(f"{name} must be a positive length or area, not {value!r}")
    return float(value)


def polygon(points: Sequence[Sequence[float]]) -> tuple[float, float]:
    """Area [m2] and perimeter [m] of a slice traced as points (x, y) [m], the last joined to the first.

    Area by the shoelace formula (C. F. Gauss, 1795; exact for the polygon), whichever way round it was traced. Points
    laid ON a round wall cut its corners: n of them on a circle hold sin(2 pi/n)/(2 pi/n) of its area, 0.5 % too little
    at 36 points, 4.5 % at 12. Raises ValueError for fewer than three places, an outline that crosses itself, or no area.
    """
    return _polygon(tuple((float(x), float(y)) for x, y in points))


@lru_cache(maxsize=256)
def _polygon(points: tuple[Point, ...]) -> tuple[float, float]:
    """`polygon`, kept: a case asks for the same slice many times, and looking for crossings takes points squared."""
    rows = list(points)
    rows = [p for p, q in zip(rows, rows[1:] + rows[:1], strict=True) if p != q]
    if len(rows) < 3:
        raise ValueError("an outline needs three different points at least")
    if not all(math.isfinite(value) for row in rows for value in row):
        raise ValueError("every point of an outline must be two numbers")
    edges = list(zip(rows, rows[1:] + rows[:1], strict=True))
    boxes = [(min(a[0], b[0]), max(a[0], b[0]), min(a[1], b[1]), max(a[1], b[1])) for a, b in edges]
    for i, (left, right, low, high) in enumerate(boxes):
        for j in range(i + 2, len(edges)):
            box = boxes[j]
            if box[0] > right or box[1] < left or box[2] > high or box[3] < low:
                continue
            if (i, j) != (0, len(edges) - 1) and _cross(*edges[i], *edges[j]):
                raise ValueError(f"the outline crosses itself between points {i + 1} and {j + 1}")
    # counted from the first point, so that a slice drawn far from the origin loses no digits
    x0, y0 = rows[0]
    double = sum((ax - x0) * (by - y0) - (bx - x0) * (ay - y0) for (ax, ay), (bx, by) in edges)
    if double == 0.0:
        raise ValueError("the outline holds no area")
    return abs(double) / 2.0, sum(math.dist(a, b) for a, b in edges)


def _cross(a: Point, b: Point, c: Point, d: Point) -> bool:
    """Whether the line from a to b and the line from c to d share a point."""
    def side(p: Point, q: Point, r: Point) -> float:
        return (q[0] - p[0]) * (r[1] - p[1]) - (q[1] - p[1]) * (r[0] - p[0])

    def within(p: Point, q: Point, r: Point) -> bool:
        return min(p[0], q[0]) <= r[0] <= max(p[0], q[0]) and min(p[1], q[1]) <= r[1] <= max(p[1], q[1])

    turns = side(a, b, c), side(a, b, d), side(c, d, a), side(c, d, b)
    if turns[0] * turns[1] < 0.0 and turns[2] * turns[3] < 0.0:
        return True
    ends = ((a, b, c), (a, b, d), (c, d, a), (c, d, b))
    return any(turn == 0.0 and within(*each) for turn, each in zip(turns, ends, strict=True))


def section(shape: str, width: float | None = None, height: float | None = None, corner_radius: float | None = None,
            area: float | None = None, perimeter: float | None = None,
            points: Sequence[Sequence[float]] | None = None) -> tuple[float, float]:
    """Area [m2] and perimeter [m] of one cross-section from its measured sizes [m].

    * round: `width` is the diameter (a `height` that differs is refused).
    * ellipse: `width` and `height` are the axes. Area exact; perimeter by Ramanujan's second formula (S. Ramanujan,
      Modular equations and approximations to pi, 1914), relative error below 3e-8 up to an axis ratio of 3.
    * rounded rectangle: four corners of radius `corner_radius` (0 if not given).
    * oblong: straight sides closed by two half circles whose diameter is the smaller of width and height.
    * D: a rectangle closed on one side by a half circle of diameter `height`; `width` is over all, half circle
      included; `corner_radius` rounds the two corners opposite to it.
    * measured: `area` as measured (mould slice, scan); `perimeter` as measured, else that of a circle of that area, the
      smallest there is.
    * outline: `points` round a slice, see `polygon`.

    Raises ValueError for an unknown shape or a size that cannot be.
    """
    if shape == "measured":
        area = _size("area", area)
        return area, _size("perimeter", perimeter) if perimeter is not None else 2.0 * math.sqrt(math.pi * area)
    if shape == "outline":
        return polygon(points or ())
    w = _size("width", width)
    if shape == "round":
        if height is not None and abs(height - w) > 1e-9:
            raise ValueError(f"a round section has one diameter: width {w:g} m and height {height:g} m differ")
        return math.pi / 4.0 * w * w, math.pi * w
    h = _size("height", height)
    if shape == "ellipse":
        a, b = w / 2.0, h / 2.0
        q = ((a - b) / (a + b)) ** 2
        return math.pi * a * b, math.pi * (a + b) * (1.0 + 3.0 * q / (10.0 + math.sqrt(4.0 - 3.0 * q)))
    r = 0.0 if corner_radius is None else float(corner_radius)
    if not 0.0 <= r:
        raise ValueError(f"corner radius must not be negative, not {corner_radius!r}")
    if shape == "rounded rectangle":
        if r > min(w, h) / 2.0 * (1.0 + 1e-12):
            raise ValueError(f"corner radius {r:g} m is more than half of the smaller side {min(w, h):g} m")
        return w * h - (4.0 - math.pi) * r * r, 2.0 * (w + h) - (8.0 - 2.0 * math.pi) * r
    if shape == "oblong":
        s, l = min(w, h), max(w, h)
        return math.pi / 4.0 * s * s + s * (l - s), math.pi * s + 2.0 * (l - s)
    if shape == "D":
        flat = w - h / 2.0
        if flat < -1e-12:
            raise ValueError(f"a D of height {h:g} m is at least {h / 2.0:g} m wide, not {w:g} m")
        if r > min(h / 2.0, max(flat, 0.0)) + 1e-12:
            raise ValueError(f"corner radius {r:g} m does not fit the straight part of the D")
        return (flat * h + math.pi / 8.0 * h * h - (2.0 - math.pi / 2.0) * r * r,
                2.0 * flat + h + math.pi / 2.0 * h - (4.0 - math.pi) * r)
    raise ValueError(f"unknown shape {shape!r}: one of {', '.join(SHAPES)}")


def section_of(station: Any) -> tuple[float, float]:
    """Area [m2] and perimeter [m] of ONE branch of a station, before anything that blocks it is taken off."""
    if station.shape == "measured":
        return section("measured", area=station.area, perimeter=station.perimeter)
    if station.shape == "outline":
        return polygon(station.points or ())
    return section(station.shape, station.width, station.height, station.corner_radius)


def net_area(station: Any) -> float:
    """Open area [m2] of a station: branches x (section - blocked area). Raises ValueError if nothing is left open."""
    area = section_of(station)[0]
    net = station.branches * (area - (station.blocked_area or 0.0))
    if net <= 0.0:
        raise ValueError(f"station at {station.at:g} m: {station.blocked_area:g} m2 blocked of {area:g} m2")
    return net


def net_perimeter(station: Any) -> float:
    """Wetted perimeter [m] of a station: branches x section perimeter (the wall of a stem or boss is not counted)."""
    return station.branches * section_of(station)[1]
