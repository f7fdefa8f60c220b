"""One cross-section of a port from what callipers, ball gauge or mould slice give: area and wetted perimeter by shape.

SI throughout (m, m2). A station is any object with the attributes of `Station`; sizes are those of ONE branch.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

SHAPES = ("round", "ellipse", "rounded rectangle", "oblong", "D", "measured")


@dataclass(frozen=True)
class Station:
    """One measured cross-section of a port, `at` metres along the centreline.

    `width`, `height`, `corner_radius` in m; `area` [m2] and `perimeter` [m] only for the shape "measured"; `branches`
    equal passages side by side (a port that has split to two valves: 2), each narrowed by `blocked_area` [m2] (stem,
    guide boss).
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


def _size(name: str, value: float | None) -> float:
    if value is None or not (math.isfinite(value) and value > 0.0):
        raise ValueError(f"{name} must be a positive length or area, not {value!r}")
    return float(value)


def section(shape: str, width: float | None = None, height: float | None = None, corner_radius: float | None = None,
            area: float | None = None, perimeter: float | None = None) -> tuple[float, float]:
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

    Raises ValueError for an unknown shape or a size that cannot be.
    """
    if shape == "measured":
        area = _size("area", area)
        return area, _size("perimeter", perimeter) if perimeter is not None else 2.0 * math.sqrt(math.pi * area)
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
