"""The port as it would lie on the bench, to scale: plan by the stations' widths, side view by their heights.

Straight from the readings, one millimetre along as long as one across. Between stations a monotone curve, as for areas;
a passage measured only by its area is drawn as wide and as high as a round one of that area. Where a port has split, its
branches lie side by side with a web between them whose thickness nobody measured.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from waveflow.show.canvas import bare
from waveflow.show.looks import ALARM, FAINT, INK, METAL, SOFT_INK
from waveflow.show.sizes import size_change, with_unit
from waveflow.show.views import StationMark, Stretch, Tract

if TYPE_CHECKING:
    from matplotlib.axes import Axes

WEB = 4.0  # [mm] drawn between two branches
FILL = "#dbe9f4"
STEP_SHOWN = 0.03  # change of area at a joint from which it is marked


def outline(stretch: Stretch, start: float) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Places, whole width and height [mm] of a stretch that begins at `start` [m]."""
    marks = [mark for mark in stretch.stations if mark.width and mark.height]
    x = 1e3 * (start + stretch.x - stretch.x[0])
    if len(marks) < 2:
        across = 2e3 * np.sqrt(stretch.area / np.pi)
        return x, across, across
    from scipy.interpolate import PchipInterpolator

    at = np.array([1e3 * (start + mark.at) for mark in marks])
    shown = np.clip(x, at[0], at[-1])
    return x, *(PchipInterpolator(at, [size(mark) for mark in marks])(shown) for size in (whole_width, whole_height))


def whole_width(mark: StationMark) -> float:
    """Width [mm] over all branches and the webs between them."""
    return 1e3 * mark.branches * (mark.width or 0.0) + WEB * (mark.branches - 1)


def whole_height(mark: StationMark) -> float:
    """Height [mm] of one branch."""
    return 1e3 * (mark.height or 0.0)


def draw_plan(axes: Axes, side: str, rows: list[tuple[Stretch, float, float]], tract: Tract) -> None:
    """Plan and side view of `rows` (stretch, start [m], first place shown [m]) into axes whose x runs in mm."""
    bare(axes)
    low, high = 1e3 * rows[0][2], 1e3 * (rows[-1][1] + rows[-1][0].length)
    axes.set_xlim(low, high)
    inch = axes.figure.get_size_inches()
    position = axes.get_position()
    half = (high - low) * position.height * inch[1] / (position.width * inch[0]) / 2.0
    axes.set_ylim(-half, half)
    for stretch, start, _ in rows:
        x, wide, tall = outline(stretch, start)
        keep = x >= low - 1e-9
        if not keep.all():
            x, wide, tall = (np.append(np.interp(low, x, each), each[keep]) for each in (x, wide, tall))
        if stretch.kind == "port":
            axes.axvspan(x[0], x[-1], facecolor=METAL, linewidth=0, zorder=0)
        axes.fill_between(x, -wide / 2, wide / 2, facecolor=FILL, linewidth=0, zorder=1)
        for sign in (-0.5, 0.5):
            axes.plot(x, sign * wide, color=INK, linewidth=1.3, zorder=4)
            axes.plot(x, sign * tall, color=SOFT_INK, linewidth=0.9, dashes=(4, 2), zorder=5)
        _webs(axes, stretch, start)
        for mark in stretch.stations:
            place = 1e3 * (start + mark.at)
            axes.plot([place, place], [-whole_width(mark) / 2, whole_width(mark) / 2], color=FAINT, linewidth=0.5, zorder=3)
    axes.plot([low, high], [0, 0], color=SOFT_INK, linewidth=0.5, dashes=(12, 3, 2, 3), zorder=6)
    _joints(axes, rows, tract, side, half)
    words = f"{side}: plan to scale (solid: width, dashed: height)"
    axes.text(0, 1.015, words, transform=axes.transAxes, fontsize=8, color=INK, fontweight="bold", va="bottom")


def _webs(axes: Axes, stretch: Stretch, start: float) -> None:
    """The web between branches, from the first to the last station that has them."""
    split = [mark for mark in stretch.stations if mark.branches > 1 and mark.width]
    if len(split) < 2:
        return
    x = np.array([1e3 * (start + mark.at) for mark in split])
    for number in range(1, split[0].branches):
        middle = np.array([-whole_width(mark) / 2 + number * (1e3 * (mark.width or 0.0) + WEB) - WEB / 2 for mark in split])
        axes.fill_between(x, middle - WEB / 2, middle + WEB / 2, facecolor=METAL, edgecolor=INK, linewidth=0.7, zorder=4)


def _joints(axes: Axes, rows: list[tuple[Stretch, float, float]], tract: Tract, side: str, half: float) -> None:
    """A mark where one part steps into the next, and the hole of the gasket."""
    for (before, start, _), (after, _, _) in zip(rows, rows[1:], strict=False):
        x = 1e3 * (start + before.length)
        old, new = float(before.area[-1]), float(after.area[0])
        axes.plot([x, x], [-0.92 * half, 0.92 * half], color=SOFT_INK, linewidth=0.7, dashes=(2, 2), zorder=2)
        if abs(new / old - 1.0) > STEP_SHOWN:
            edge = 1e3 * (np.sqrt(new / np.pi) - np.sqrt(old / np.pi))
            against = edge < 0
            axes.text(x + 1.5, -0.93 * half, f"step {size_change('length', edge / 1e3)} all round", fontsize=6.8,
                      ha="left", va="top", color=ALARM if against else SOFT_INK, zorder=7)  # fmt: skip
    if side == "intake" and tract.gasket is not None and len(rows) > 1:
        across = 1e3 * np.sqrt(tract.gasket / np.pi)
        for sign in (-1, 1):
            axes.plot([0, 0], [sign * across, sign * half * 0.92], color=INK, linewidth=2.4, solid_capstyle="butt", zorder=6)
        axes.text(-1.5, -0.93 * half, f"gasket's hole {with_unit('area', tract.gasket)}", fontsize=6.8, ha="right", va="top",
                  color=SOFT_INK, zorder=7)  # fmt: skip
