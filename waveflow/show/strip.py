"""The cutaway strip: two ports laid over each other along the gas path, the metal taken out between them filled.

Length is to scale along the centreline; the drawn height is the flow area (half above, half below the centreline), so
equal heights are equal areas whatever the shape of the section. Intake on the left, cylinder in the middle, exhaust on
the right.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from waveflow.show.looks import FAINT, HAIRLINE, INK, METAL, PAPER, SOFT_INK, Look
from waveflow.show.sizes import size, size_change, with_unit
from waveflow.show.views import Stretch, Tract
from waveflow.show.words import percent_change, plain

if TYPE_CHECKING:
    from matplotlib.axes import Axes

CYLINDER_GAP = 44.0  # [mm] drawn width of the cylinder between the valves
EXHAUST_SHOWN = 110.0  # [mm] of header drawn after the exhaust port
RUNNER_SHOWN = 270.0  # [mm] of runner drawn before the intake port at most
SAME = 0.002  # relative change of area below which two contours are drawn as one


@dataclass(frozen=True)
class Contour:
    """One side's path ready to draw: `x` [mm], `area` [mm2] and the head's extent `head` [mm, mm] within it."""

    x: np.ndarray
    area: np.ndarray
    head: tuple[float, float]
    cut: bool


def _joined(stretches: list[Stretch]) -> tuple[np.ndarray, np.ndarray, dict[str, tuple[float, float]]]:
    """One polyline through stretches [m, m2]; a jump of area is kept as two points at one place."""
    x, area, places, start = [], [], {}, 0.0
    for stretch in stretches:
        x.append(start + stretch.x - stretch.x[0])
        area.append(stretch.area)
        places[stretch.kind] = (start, start + stretch.length)
        start += stretch.length
    return np.concatenate(x), np.concatenate(area), places


def _clipped(x: np.ndarray, y: np.ndarray, low: float, high: float) -> tuple[np.ndarray, np.ndarray]:
    inside = (x > low) & (x < high)
    ends = np.interp([low, high], x, y)
    return np.concatenate([[low], x[inside], [high]]), np.concatenate([[ends[0]], y[inside], [ends[1]]])


def intake_contour(tract: Tract) -> Contour | None:
    """Runner's last part and port, ending at x = 0 at the intake valve; None without a described port."""
    port = tract.find("intake", "port")
    pipes = [s for s in tract.intake if s.kind in ("pipe", "port")]
    if port is None and not pipes:
        return None
    path = pipes[pipes.index(port) - 1 :] if port in pipes and pipes.index(port) > 0 else pipes[-1:]
    x, area, places = _joined(path)
    end = x[-1]
    head = places.get("port", (end, end))
    first = max(0.0, head[0] - RUNNER_SHOWN * 1e-3)
    cut = first > 1e-6
    if cut:
        x, area = _clipped(x, area, first, end)
    return Contour((x - end) * 1e3, area * 1e6, ((head[0] - end) * 1e3, 0.0), cut)


def exhaust_contour(tract: Tract) -> Contour | None:
    """Port and the first part of the header, starting at x = 0 at the exhaust valve; None without pipes."""
    port = tract.find("exhaust", "port")
    pipes = [s for s in tract.exhaust if s.kind in ("pipe", "port")]
    if not pipes:
        return None
    x, area, places = _joined(pipes[:2] if port is pipes[0] else pipes[:1])
    head = places.get("port", (0.0, 0.0))
    last = min(x[-1], head[1] + EXHAUST_SHOWN * 1e-3)
    cut = last < x[-1] - 1e-6
    if cut:
        x, area = _clipped(x, area, x[0], last)
    return Contour(x * 1e3, area * 1e6, (0.0, head[1] * 1e3), cut)


def height_needed(tracts: list[Tract]) -> float:
    """Largest area [mm2] any of the strips has to show."""
    contours = [c for t in tracts for c in (intake_contour(t), exhaust_contour(t)) if c is not None]
    return max((float(contour.area.max()) for contour in contours), default=1000.0)


def draw_strip(
    axes: Axes, first: Tract, other: Tract | None, base: Look, look: Look, tallest: float, rule: bool = True
) -> list[str]:
    """Draw `first` [Tract], and over it `other` [Tract or None] with the metal between filled, up to `tallest` [mm2].

    With `rule` [bool] the scale is drawn too. Returns the sentences that say in words what the strip shows.
    """
    axes.set_axis_off()
    said: list[str] = []
    sides = (("intake", intake_contour, -CYLINDER_GAP / 2), ("exhaust", exhaust_contour, CYLINDER_GAP / 2))
    low, high = -CYLINDER_GAP, CYLINDER_GAP
    for side, contour_of, offset in sides:
        ground, cut = contour_of(first), contour_of(other) if other is not None else None
        if ground is None:
            continue
        _metal(axes, ground, offset, tallest)
        _duct(axes, ground, offset, base)
        if cut is not None:
            _removed(axes, ground, cut, offset, look)
            said += _figures(axes, side, first, other, ground, offset, look, tallest)
        low, high = min(low, offset + ground.x[0]), max(high, offset + ground.x[-1])
        axes.plot([offset + ground.x[0], offset + ground.x[-1]], [0, 0], color=FAINT, linewidth=0.5,
                  dashes=(12, 3, 2, 3), zorder=5)  # fmt: skip
    _cylinder(axes, first, other, look, tallest)
    _names(axes, first, low, high, tallest)
    if rule:
        _rule(axes, low, tallest)
    axes.set_xlim(low - 6, high + 6)
    axes.set_ylim(-0.98 * tallest, 0.98 * tallest)
    return said


def _metal(axes: Axes, contour: Contour, offset: float, tallest: float) -> None:
    from matplotlib.patches import Rectangle

    start, end = (offset + place for place in contour.head)
    if end > start:
        axes.add_patch(Rectangle((start, -0.66 * tallest), end - start, 1.32 * tallest, facecolor=METAL,
                                 edgecolor="#cfcac2", hatch="////", linewidth=0, zorder=1))  # fmt: skip


def _duct(axes: Axes, contour: Contour, offset: float, look: Look) -> None:
    x, half = offset + contour.x, contour.area / 2
    axes.fill_between(x, -half, half, facecolor=PAPER, linewidth=0, zorder=2)
    for sign in (1, -1):
        axes.plot(x, sign * half, color=look.color, linewidth=1.1, zorder=4)


def _removed(axes: Axes, ground: Contour, cut: Contour, offset: float, look: Look) -> None:
    """Fill what was taken out in the option's colour, and what was filled in (a smaller section) with a hatch."""
    low, high = max(ground.x[0], cut.x[0]), min(ground.x[-1], cut.x[-1])
    # Both sides of a jump keep their own value: places are moved apart by less than a pen's width.
    old_x, new_x = _strictly(ground.x), _strictly(cut.x)
    x = np.unique(np.concatenate([old_x, new_x, np.linspace(low, high, 400)]))
    x = x[(x >= low) & (x <= high)]
    old, new = np.interp(x, old_x, ground.area) / 2, np.interp(x, new_x, cut.area) / 2
    for sign in (1, -1):
        axes.fill_between(offset + x, sign * old, sign * new, where=new > old * (1 + SAME), facecolor=look.color,
                          alpha=0.85, linewidth=0, zorder=3)  # fmt: skip
        axes.fill_between(offset + x, sign * old, sign * new, where=new < old * (1 - SAME), facecolor=PAPER,
                          edgecolor=look.color, hatch="xxxx", linewidth=0, zorder=3)  # fmt: skip
        axes.plot(offset + x, sign * new, color=look.color, linewidth=0.9, linestyle=look.line, zorder=4)


def _strictly(x: np.ndarray) -> np.ndarray:
    return x + np.concatenate([[0.0], np.cumsum(np.diff(x) <= 0)]) * 1e-6


def _figures(axes: Axes, side: str, first: Tract, other: Tract, ground: Contour, offset: float, look: Look,
             tallest: float) -> list[str]:  # fmt: skip
    """Write the numbers of a side over the strip and return them as a sentence."""
    old, new = first.find(side, "port"), other.find(side, "port")
    if old is None or new is None:
        return []
    middle = offset + (ground.head[0] + ground.head[1]) / 2
    high = {"ha": "center", "va": "bottom", "fontsize": 7.5, "fontweight": "bold"}
    if _alike(old, new):
        axes.text(middle, 0.74 * tallest, f"{side} port unchanged", color=FAINT, **high)
        return [f"{side} port unchanged"]
    cc = size_change("volume", new.content - old.content)
    narrow_old, narrow_new = float(old.area.min()), float(new.area.min())
    change = percent_change(narrow_new / narrow_old - 1, 0)
    place = float(new.x[int(np.argmin(new.area))])
    note = next((plain(m.note, 20) for m in new.stations if m.note and abs(m.at - place) < 3e-3), "")
    axes.text(middle, 0.74 * tallest, f"{side} port {cc}", color=look.color, **high)
    words = f"smallest {size('area', narrow_old)} \N{RIGHTWARDS ARROW} {with_unit('area', narrow_new)} ({change})"
    axes.text(middle, -0.74 * tallest, words, ha="center", va="top", fontsize=7, color=SOFT_INK)
    where = f" at the {note}" if note else ""
    narrow = f"{size('area', narrow_old)} to {with_unit('area', narrow_new)}"
    return [f"{side} port {cc}, smallest section {narrow} ({change}){where}"]


def _alike(old: Stretch, new: Stretch) -> bool:
    """Whether two ports are the same shape for all a pen could show."""
    places = np.linspace(old.x[0], old.x[-1], 50)
    same = np.interp(places, old.x, old.area), np.interp(places, new.x, new.area)
    return abs(new.length - old.length) < 1e-4 and bool(np.allclose(*same, rtol=SAME))


def _cylinder(axes: Axes, tract: Tract, other: Tract | None, look: Look, tallest: float) -> None:
    """The cylinder between the valves as a plain sign, with each valve's head drawn at the height of its area."""
    from matplotlib.patches import Rectangle

    half = CYLINDER_GAP / 2
    axes.add_patch(Rectangle((-half, -0.66 * tallest), CYLINDER_GAP, 1.32 * tallest, facecolor="#f6f7f8",
                             edgecolor=HAIRLINE, linewidth=0.8, zorder=1))  # fmt: skip
    for side, name in ((-1, "intake_valve"), (1, "exhaust_valve")):
        x = side * (half - 3)
        for valve, color, layer in ((other, look.color, 5), (tract, INK, 6)):
            if valve is not None:
                reach = np.pi / 8 * (1e3 * getattr(valve, name)) ** 2
                axes.plot([x, x], [-reach, reach], color=color, linewidth=2.4, solid_capstyle="butt", zorder=layer)
        axes.plot([x, x + side * 26], [0, 0], color=INK, linewidth=1.0, zorder=6)
    axes.text(0, 0, "cylinder", ha="center", va="center", fontsize=7, color=FAINT, rotation=90)


def _names(axes: Axes, tract: Tract, low: float, high: float, tallest: float) -> None:
    """Name the pipes that run on outside the head."""
    half = CYLINDER_GAP / 2
    outside = [s for s in tract.intake if s.kind == "pipe"][-1:]
    port = tract.find("intake", "port")
    if outside and port is not None:
        middle = (low - half - 1e3 * port.length) / 2
        axes.text(middle, 0.04 * tallest, f"{plain(outside[0].name, 20)} {with_unit('length', outside[0].length)}", ha="center",
                  va="bottom", fontsize=7, color=FAINT, zorder=6)  # fmt: skip
    pipes = [s for s in tract.exhaust if s.kind == "pipe"][:1]
    port = tract.find("exhaust", "port")
    if pipes and port is not None:
        middle = (high + half + 1e3 * port.length) / 2
        axes.text(middle, 0.04 * tallest, f"{plain(pipes[0].name, 20)} {with_unit('length', pipes[0].length)}", ha="center",
                  va="bottom", fontsize=7, color=FAINT, zorder=6)  # fmt: skip


def _rule(axes: Axes, low: float, tallest: float) -> None:
    """The scale: one corner whose arms are a length and an area."""
    x, y, area = low, -0.72 * tallest, _round_down(0.3 * tallest)
    axes.plot([x, x, x + 50], [y + area, y, y], color=FAINT, linewidth=0.8, solid_joinstyle="miter", zorder=6)
    words = f"{with_unit('length', 0.05)} long, {with_unit('area', 1e-6 * area)} of area high"
    axes.text(x + 53, y, words, fontsize=6.5, color=FAINT, va="center")


def _round_down(value: float) -> float:
    """Largest of 1, 2, 5 times a power of ten that is not above `value`."""
    power = 10.0 ** np.floor(np.log10(value))
    return float(power * max(step for step in (1, 2, 5) if step * power <= value))
