"""Measured stations of a port or runner -> area and wetted perimeter along its centreline.

Everything is SI (m, m2, m3). A curve is a row of cubic pieces, so mean areas and volumes are exact integrals and no
mesh is needed to ask for them. A step in area at a joint is kept as a step (two values at one x): a sharp edge
between a runner and a bigger port face is a fact of the tract and costs flow, so it is reported, never smoothed away.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np

from waveflow.engine.section import SHAPES, Station, net_area, net_perimeter, section, section_of

__all__ = [
    "SHAPES",
    "AreaCurve",
    "Ramp",
    "Station",
    "Step",
    "net_area",
    "net_perimeter",
    "ramps_as_steps",
    "runner_curve",
    "section",
    "section_of",
    "steep_steps",
]


SAME = 1e-9
"""Relative difference of two areas below which a joint is none: round-off, far under what any gauge reads."""


class Step(NamedTuple):
    """A sudden change of area at one place: `x` [m], areas just before and just after it [m2]."""

    x: float
    area_before: float
    area_after: float


class Ramp(NamedTuple):
    """A stretch x0..x1 [m] whose area changes faster than a limit, with the areas [m2] at its ends."""

    x0: float
    x1: float
    area_before: float
    area_after: float


def _powers(poly: np.ndarray, s: np.ndarray) -> np.ndarray:
    return ((poly[..., 3] * s + poly[..., 2]) * s + poly[..., 1]) * s + poly[..., 0]


def _hermite(x: np.ndarray, y: np.ndarray, left: np.ndarray, right: np.ndarray) -> np.ndarray:
    """Cubic pieces (n-1, 4), rising powers of x - x[i], from values (n,) and the slopes at both ends of each piece
    (n-1,).
    """
    h, dy = np.diff(x), np.diff(y)
    second, third = (3.0 * dy / h - 2.0 * left - right) / h, (left + right - 2.0 * dy / h) / h**2
    return np.stack([y[:-1], left, second, third], axis=1)


@dataclass(frozen=True, eq=False)
class AreaCurve:
    """Area and perimeter along a centreline from x = 0 to `length`, as cubic pieces.

    `breaks` (m+1,) [m] strictly increasing; `area_pieces`, `perimeter_pieces` (m, 4): rising powers of x - breaks[i];
    `kinks` [m]: places inside where the slope (or the area itself) jumps. Cells of a mesh must have faces there.
    Build it by `linear_area`, `from_stations`, `runner_curve`, `joined`.
    """

    breaks: np.ndarray
    area_pieces: np.ndarray
    perimeter_pieces: np.ndarray
    kinks: np.ndarray

    def __post_init__(self) -> None:
        if self.breaks[0] != 0.0 or not (np.diff(self.breaks) > 0.0).all():
            raise ValueError("places along the centreline must start at 0 and increase strictly")
        for name in ("breaks", "area_pieces", "perimeter_pieces", "kinks"):
            array = np.array(getattr(self, name), dtype=float)
            array.setflags(write=False)
            object.__setattr__(self, name, array)
        if not (np.isfinite(self.area_pieces).all() and self.area.min() > 0.0):
            raise ValueError("every area along the centreline must be a positive number")

    @classmethod
    def linear_area(
        cls, x: Sequence[float], area: Sequence[float], perimeter: Sequence[float] | None = None
    ) -> AreaCurve:
        """Area linear in x between stations `x` [m] (first 0), `area` [m2]; every station inside is a kink.

        `perimeter` [m], linear as well; left out, the pipe is round: 2 sqrt(pi A), by cubics that meet its values and
        slopes.
        """
        xs, a = np.asarray(x, float), np.asarray(area, float)
        if xs.ndim != 1 or xs.shape != a.shape or len(xs) < 2:
            raise ValueError("x and area must be two lists of equal length, two places at least")
        if not (np.isfinite(xs).all() and np.isfinite(a).all() and (a > 0.0).all() and (np.diff(xs) > 0.0).all()):
            raise ValueError("places must increase strictly and every area must be a positive number")
        slope = np.diff(a) / np.diff(xs)
        if perimeter is None:
            p = 2.0 * np.sqrt(np.pi * a)
            pieces = _hermite(xs, p, slope * np.sqrt(np.pi / a[:-1]), slope * np.sqrt(np.pi / a[1:]))
        else:
            p = np.asarray(perimeter, float)
            straight = np.diff(p) / np.diff(xs)
            pieces = _hermite(xs, p, straight, straight)
        return cls(xs, _hermite(xs, a, slope, slope), pieces, xs[1:-1])

    @classmethod
    def from_stations(cls, stations: Iterable[Any], length: float | None = None) -> AreaCurve:
        """Monotone cubic through the net areas and perimeters of measured stations (F. N. Fritsch and J. Butland, A
        method for constructing local monotone piecewise cubic interpolants, 1984): it meets every station and invents
        no bulge or waist between two of them. `length` [m] beyond the last station goes on at that station's section.
        """
        from scipy.interpolate import PchipInterpolator

        rows = list(stations)
        if len(rows) < 2:
            raise ValueError("a port needs two stations at least")
        x = np.array([s.at for s in rows], float)
        if not (np.diff(x) > 0.0).all():
            raise ValueError("stations must be in order, each further along the centreline than the one before")
        areas, perimeters = np.array([net_area(s) for s in rows]), np.array([net_perimeter(s) for s in rows])
        kinks = np.empty(0)
        pieces = [np.ascontiguousarray(PchipInterpolator(x, y).c[::-1].T) for y in (areas, perimeters)]
        if length is not None and length > x[-1] + 1e-9:
            kinks, x = x[-1:], np.append(x, length)
            pieces = [np.vstack([p, [y[-1], 0.0, 0.0, 0.0]]) for p, y in zip(pieces, (areas, perimeters), strict=True)]
        elif length is not None and length < x[-1] - 1e-9:
            raise ValueError(f"length {length:g} m ends before the last station at {x[-1]:g} m")
        return cls(x, pieces[0], pieces[1], kinks)

    @property
    def length(self) -> float:
        """Centreline length [m]."""
        return float(self.breaks[-1])

    def _nodes(self, left: np.ndarray, right: np.ndarray) -> np.ndarray:
        """Values at the breaks from those at the left and right end of every piece; both kept where the area steps."""
        end, start = self._ends(self.area_pieces)
        step = np.flatnonzero(np.abs(end[:-1] - start[1:]) > SAME * start[1:])
        return np.insert(np.append(left, right[-1]), step + 1, right[step])

    def _ends(self, pieces: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        return _powers(pieces, np.diff(self.breaks)), pieces[:, 0]

    @property
    def x(self) -> np.ndarray:
        """Places of the stations [m]; where the area steps, the place stands twice (before, after)."""
        return self._nodes(self.breaks[:-1], self.breaks[1:])

    @property
    def area(self) -> np.ndarray:
        """Areas [m2] at `x`."""
        end, start = self._ends(self.area_pieces)
        return self._nodes(start, end)

    @property
    def perimeter(self) -> np.ndarray:
        """Perimeters [m] at `x`."""
        end, start = self._ends(self.perimeter_pieces)
        return self._nodes(start, end)

    @property
    def steps(self) -> list[Step]:
        """Sudden steps of area along the curve, in order."""
        x, a = self.x, self.area
        return [Step(float(x[i]), float(a[i]), float(a[i + 1])) for i in range(len(x) - 1) if x[i] == x[i + 1]]

    def _piece(self, x: Any, before: bool = False) -> tuple[np.ndarray, np.ndarray]:
        xs = np.asarray(x, float)
        slack = 1e-9 * self.length
        if xs.size and not ((xs >= -slack) & (xs <= self.length + slack)).all():
            raise ValueError(f"place outside the curve: it runs from 0 to {self.length:g} m")
        xs = np.clip(xs, 0.0, self.length)
        i = np.clip(np.searchsorted(self.breaks, xs, "left" if before else "right") - 1, 0, len(self.breaks) - 2)
        return i, xs - self.breaks[i]

    def area_at(self, x: Any, before: bool = False) -> Any:
        """Area [m2] at x [m] (any shape); at a step the value just after it, or just `before` it."""
        i, s = self._piece(x, before)
        return _powers(self.area_pieces[i], s)[()]

    def perimeter_at(self, x: Any, before: bool = False) -> Any:
        """Wetted perimeter [m] at x [m] (any shape); at a step the value just after it, or just `before` it."""
        i, s = self._piece(x, before)
        return _powers(self.perimeter_pieces[i], s)[()]

    def slope_at(self, x: Any) -> Any:
        """dA/dx [m] at x [m] (any shape); at a kink the value just after it."""
        i, s = self._piece(x)
        p = self.area_pieces[i]
        return ((3.0 * p[..., 3] * s + 2.0 * p[..., 2]) * s + p[..., 1])[()]

    def _integral(self, pieces: np.ndarray, x: Any) -> np.ndarray:
        whole = (np.diff(self.breaks)[:, None] ** np.arange(1, 5) / np.arange(1, 5) * pieces).sum(axis=1)
        before = np.concatenate([[0.0], np.cumsum(whole)])
        i, s = self._piece(x)
        p = pieces[i]
        return before[i] + s * (p[..., 0] + s * (p[..., 1] / 2.0 + s * (p[..., 2] / 3.0 + s * p[..., 3] / 4.0)))

    def mean_area(self, x0: Any, x1: Any) -> Any:
        """Exact mean area [m2] between x0 and x1 [m] (equal shapes): at x0 = x1 the area there."""
        return self._mean(self.area_pieces, x0, x1)

    def mean_perimeter(self, x0: Any, x1: Any) -> Any:
        """Exact mean perimeter [m] between x0 and x1 [m] (equal shapes)."""
        return self._mean(self.perimeter_pieces, x0, x1)

    def _mean(self, pieces: np.ndarray, x0: Any, x1: Any) -> Any:
        a, b = np.broadcast_arrays(np.asarray(x0, float), np.asarray(x1, float))
        i, s = self._piece(a)
        d = b - a
        total = self._integral(pieces, b) - self._integral(pieces, a)
        return np.where(d != 0.0, total / np.where(d != 0.0, d, 1.0), _powers(pieces[i], s))[()]

    def volume(self) -> float:
        """Volume [m3], exact integral of the area: what a burette would fill."""
        return float(self._integral(self.area_pieces, self.length))

    def wall_area(self) -> float:
        """Wetted wall [m2]: integral of the perimeter along the centreline."""
        return float(self._integral(self.perimeter_pieces, self.length))

    def l_over_a(self) -> float:
        """Inertance per density, integral of dx/A [1/m], by 12-point Gauss rules on every piece (relative error below
        1e-9).
        """
        node, weight = np.polynomial.legendre.leggauss(12)
        h = np.diff(self.breaks)
        a = _powers(self.area_pieces[:, None, :], h[:, None] * (node + 1.0) / 2.0)
        return float(((weight / a).sum(axis=1) * h / 2.0).sum())

    def min_area(self) -> float:
        """Smallest area [m2] on the curve."""
        return float(self.area_at_minimum()[1])

    def area_at_minimum(self) -> tuple[float, float]:
        """Place [m] and size [m2] of the smallest section. The pieces are monotone between stations, so it lies at
        one of them.
        """
        x, a = self.x, self.area
        i = int(np.argmin(a))
        return float(x[i]), float(a[i])

    def reversed(self) -> AreaCurve:
        """The same tract walked from the other end."""
        h = np.diff(self.breaks)[:, None]

        def turn(p: np.ndarray) -> np.ndarray:
            c0, c1, c2, c3 = (p[:, k : k + 1] for k in range(4))
            value, slope = c0 + h * (c1 + h * (c2 + h * c3)), c1 + h * (2.0 * c2 + 3.0 * h * c3)
            return np.hstack([value, -slope, c2 + 3.0 * h * c3, -c3])[::-1]

        breaks = self.length - self.breaks[::-1]
        breaks[0] = 0.0
        return AreaCurve(breaks, turn(self.area_pieces), turn(self.perimeter_pieces), (self.length - self.kinks)[::-1])

    def joined(self, other: AreaCurve) -> AreaCurve:
        """This tract followed by `other`. The joint is a kink; a difference of area there stays a step in `steps`."""
        at = self.length
        return AreaCurve(
            np.concatenate([self.breaks, other.breaks[1:] + at]),
            np.vstack([self.area_pieces, other.area_pieces]),
            np.vstack([self.perimeter_pieces, other.perimeter_pieces]),
            np.concatenate([self.kinks, [at], other.kinks + at]),
        )


def runner_curve(
    length: float,
    inlet_area: float,
    outlet_area: float,
    blend_length: float = 0.0,
    port_inlet_area: float | None = None,
) -> AreaCurve:
    """Round runner of `length` [m], area linear from `inlet_area` (plenum end) to its own `outlet_area` (port end)
    [m2].

    Blended over `blend_length` [m], the last stretch goes linearly from the unblended runner's own area at that
    distance to `port_inlet_area`, the area of the port face it was opened to meet; not blended, the runner keeps its
    own end and the step to the port stays.
    """
    if not 0.0 <= blend_length <= length:
        raise ValueError(f"blend length {blend_length:g} m must be between 0 and the runner length {length:g} m")
    if blend_length == 0.0:
        return AreaCurve.linear_area([0.0, length], [inlet_area, outlet_area])
    if port_inlet_area is None:
        raise ValueError("a blended runner needs the area of the port face it is blended to")
    start = length - blend_length
    if start <= 1e-9 * length:
        return AreaCurve.linear_area([0.0, length], [inlet_area, port_inlet_area])
    own = inlet_area + (outlet_area - inlet_area) * start / length
    return AreaCurve.linear_area([0.0, start, length], [inlet_area, own, port_inlet_area])


def steep_steps(curve: AreaCurve, limit: float = 40.0) -> list[Ramp]:
    """Stretches where |d ln A / dx| exceeds `limit` [1/m]: too steep for a ramp of cells, to be solved as a step joint.

    Decided from the description alone (each piece looked at in 64 parts, neighbours merged), so every mesh solves one
    model.
    """
    ramps: list[list[float]] = []
    for x0, x1 in zip(curve.breaks[:-1], curve.breaks[1:], strict=True):
        edges = np.linspace(x0, x1, 65)
        middle = (edges[:-1] + edges[1:]) / 2.0
        steep = np.abs(curve.slope_at(middle) / curve.area_at(middle)) > limit
        for a, b, s in zip(edges[:-1], edges[1:], steep, strict=True):
            if s and ramps and abs(ramps[-1][1] - a) < 1e-12 and np.sign(curve.slope_at((a + b) / 2.0)) == ramps[-1][2]:
                ramps[-1][1] = float(b)
            elif s:
                ramps.append([float(a), float(b), float(np.sign(curve.slope_at((a + b) / 2.0)))])
    return [Ramp(a, b, float(curve.area_at(a)), float(curve.area_at(b, before=True))) for a, b, _ in ramps]


def ramps_as_steps(curve: AreaCurve, ramps: Iterable[Ramp]) -> AreaCurve:
    """The curve with each ramp made a sudden step between the same two areas, placed so that the volume stays the same.

    The step stands inside the ramp for any ramp that rises or falls throughout. Perimeters before and after are those
    of the ramp's ends.
    """
    breaks, area, perimeter, kinks = [0.0], [], [], list(curve.kinks)

    def copy(x0: float, x1: float) -> None:
        for a, b in zip(curve.breaks[:-1], curve.breaks[1:], strict=True):
            lo, hi = max(a, x0), min(b, x1)
            if hi - lo > 1e-12 * curve.length:
                i = int(np.searchsorted(curve.breaks, (lo + hi) / 2.0, side="right")) - 1
                for pieces, out in ((curve.area_pieces, area), (curve.perimeter_pieces, perimeter)):
                    out.append(_shifted(pieces[i], lo - curve.breaks[i]))
                breaks.append(float(hi))

    done = 0.0
    for ramp in sorted(ramps):
        copy(done, ramp.x0)
        volume = float(curve.mean_area(ramp.x0, ramp.x1)) * (ramp.x1 - ramp.x0)
        at = ramp.x0 + (volume - ramp.area_after * (ramp.x1 - ramp.x0)) / (ramp.area_before - ramp.area_after)
        before, after = curve.perimeter_at(ramp.x0), curve.perimeter_at(ramp.x1, before=True)
        for end, a, p in ((at, ramp.area_before, before), (ramp.x1, ramp.area_after, after)):
            area.append(np.array([a, 0.0, 0.0, 0.0]))
            perimeter.append(np.array([float(p), 0.0, 0.0, 0.0]))
            breaks.append(end)
        kinks = [k for k in kinks if not ramp.x0 < k < ramp.x1] + [ramp.x0, at, ramp.x1]
        done = ramp.x1
    copy(done, curve.length)
    inner = sorted({k for k in kinks if 0.0 < k < curve.length})
    return AreaCurve(np.array(breaks), np.array(area), np.array(perimeter), np.array(inner))


def _shifted(p: np.ndarray, s: float) -> np.ndarray:
    """Rising powers of a cubic about a point s further on."""
    c0, c1, c2, c3 = p
    return np.array([c0 + s * (c1 + s * (c2 + s * c3)), c1 + s * (2.0 * c2 + 3.0 * s * c3), c2 + 3.0 * s * c3, c3])
