"""The drawing of what was understood: the whole gas path to scale, and the ports beside it large enough to check.

Above, the path of one cylinder from the open air to the open air, lengths true to each other and the width that of a
round pipe of the same area. In the middle the ports in plan, true to scale (`port_plan.py`). Below, flow area against
distance with every measured station, intake and exhaust on one scale of length and area.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from waveflow.show.canvas import A4_LANDSCAPE, bare, describe, name_axes, sheet, style
from waveflow.show.looks import ALARM, FAINT, HAIRLINE, INK, METAL, PAPER, SOFT_INK
from waveflow.show.port_plan import draw_plan
from waveflow.show.sizes import scaled, size, unit, with_unit
from waveflow.show.views import Stretch, Tract
from waveflow.show.words import listed, plain

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

LEFT, RIGHT = 0.052, 0.965
RUNNER_SHOWN = 0.13  # [m] of pipe drawn before the intake port at most
HEADER_SHOWN = 0.10  # [m] of pipe drawn after the exhaust port
FILL = "#dbe9f4"
EDGE = 0.020  # [m] labels nearer to the end of a chart than this run inwards
CLOSE = 0.0105  # [m] stations nearer than this have their numbers one below the other
STEEP = 2.5  # [% a mm] as `checks_practice.TAPER`
BORE_WIDTH = 0.12  # [m] drawn for the cylinder in the overview


def tract_figure(tract: Tract, title: str, notes: tuple[str, ...] = ()) -> Figure:
    """Draw a tract [Tract] under a `title` [str], with `notes` [str] at the foot; the words go in as alt text."""
    with style():
        figure = sheet(A4_LANDSCAPE)
        figure.text(LEFT, 0.955, plain(title, 110), fontsize=14, fontweight="bold", va="top", color=INK)
        figure.text(LEFT, 0.915, "The gas path of one cylinder as it was understood.", fontsize=8.5, va="top",
                    color=SOFT_INK)  # fmt: skip
        _overview(bare(figure.add_axes((LEFT, 0.665, RIGHT - LEFT, 0.225), label="whole path")), tract)
        _details(figure, tract)
        for row, note in enumerate(notes[:4]):
            figure.text(LEFT, 0.072 - 0.017 * row, plain(note, 210), fontsize=7, color=SOFT_INK, va="top")
        return describe(figure, plain(title, 160), alt_text(tract))


def _overview(axes: Axes, tract: Tract) -> None:
    """One silhouette from mouth to tail; what is true in it is said in the corner."""
    places: list[tuple[Stretch, float]] = []
    start = 0.0
    for stretch in tract.intake:
        places.append((stretch, start))
        start += stretch.length
    cylinder = start
    start += BORE_WIDTH
    for stretch in tract.exhaust:
        places.append((stretch, start))
        start += stretch.length
    total = start
    pipes = [s for s, _ in places if s.kind != "volume"]
    widest = max((2 * float(np.sqrt(s.area.max() / np.pi)) for s in pipes), default=0.05)
    box = 2.1 * widest
    axes.set_xlim(-0.01 * total, 1.01 * total)
    axes.set_ylim(-2.75 * box, 1.4 * box)
    axes.plot([0, total], [0, 0], color=SOFT_INK, linewidth=0.5, dashes=(12, 3, 2, 3), zorder=5)
    for stretch, at in places:
        _silhouette(axes, stretch, at, box)
    _captions(axes, places, total, box)
    _cylinder(axes, cylinder, box)
    wider = _drawn_ratio(axes, total)
    words = f"lengths to scale; widths are those of round pipes of equal area, drawn {wider:.1f} times as wide as long"
    axes.text(0.0, 1.39 * box, f"{words}; chambers are signs with their volume", fontsize=7, color=FAINT, va="top")
    step = next(s for s in (0.05, 0.1, 0.2, 0.5, 1.0, 2.0) if s > total / 16)
    y = -2.65 * box
    axes.plot([0, 0, step, step], [y + 0.05 * box, y, y, y + 0.05 * box], color=FAINT, linewidth=0.8)
    axes.text(step * 1.06, y, with_unit("length", step), fontsize=7, color=FAINT, va="center")


def _drawn_ratio(axes: Axes, total: float) -> float:
    """How many times wider than long the silhouette is drawn, from the axes' size on paper."""
    position, (wide, high) = axes.get_position(), axes.figure.get_size_inches()
    low, top = axes.get_ylim()
    return float((position.height * high / (top - low)) / (position.width * wide / (1.02 * total)))


def _silhouette(axes: Axes, stretch: Stretch, at: float, box: float) -> None:
    from matplotlib.patches import FancyBboxPatch

    if stretch.kind == "volume":
        rounding = min(0.25 * stretch.length, 0.25 * box)
        axes.add_patch(FancyBboxPatch((at + rounding, -box + rounding), stretch.length - 2 * rounding,
                                      2 * box - 2 * rounding, boxstyle=f"round,pad={rounding}", facecolor=FILL,
                                      edgecolor=INK, linewidth=0.9, zorder=2))  # fmt: skip
        return
    half = np.sqrt(stretch.area / np.pi)
    x = at + stretch.x - stretch.x[0]
    if stretch.kind == "port":
        axes.fill_between(x, -0.8 * box, 0.8 * box, facecolor=METAL, edgecolor="#cfcac2", hatch="////", linewidth=0,
                          zorder=1)  # fmt: skip
    axes.fill_between(x, -half, half, facecolor=FILL, linewidth=0, zorder=3)
    for sign in (1, -1):
        axes.plot(x, sign * half, color=INK, linewidth=0.9, zorder=4)


def _captions(axes: Axes, places: list[tuple[Stretch, float]], total: float, box: float) -> None:
    """Name, count and size of every part in two rows under the path; where they would meet they give way sideways."""
    inch = 1.02 * total / (axes.get_position().width * axes.figure.get_size_inches()[0])
    taken = [-0.01 * total, -0.01 * total]
    for row, (stretch, at) in enumerate(places):
        name, size = _named(stretch), _sized(stretch)
        width = 0.058 * inch * max(len(name), len(size))
        level = row % 2
        middle = at + stretch.length / 2
        x = max(middle, taken[level] + width / 2)
        taken[level] = x + width / 2 + 0.08 * inch
        y, edge = (-1.14, -1.82)[level] * box, -1.0 * box if stretch.kind == "volume" else -0.83 * box
        axes.plot([middle, middle, x], [edge, -1.08 * box, y], color=HAIRLINE, linewidth=0.7, zorder=1)
        axes.text(x, y, f"{name}\n{size}", ha="center", va="top", fontsize=6.8, color=SOFT_INK, linespacing=1.2,
                  bbox={"facecolor": "white", "linewidth": 0, "pad": 0.8}, zorder=3 - level)  # fmt: skip


def _named(stretch: Stretch) -> str:
    return plain(stretch.name, 22) + (f" \N{MULTIPLICATION SIGN}{stretch.count}" if stretch.count > 1 else "")


def _sized(stretch: Stretch) -> str:
    if stretch.kind == "volume":
        litres = 1e3 * stretch.content
        return f"{litres:.1f} L" if litres >= 1.0 else f"{litres:.2f} L"
    wide = [2 * float(np.sqrt(area / np.pi)) for area in (stretch.area[0], stretch.area[-1])]
    ends = [size("length", each, 1) for each in wide]
    across = ends[0] if abs(wide[0] - wide[1]) < 5e-5 else f"{ends[0]}\N{EN DASH}{ends[1]}"
    if stretch.kind == "throttle":
        return f"\N{LATIN CAPITAL LETTER O WITH STROKE} {across}"
    return f"{with_unit('length', stretch.length)}, \N{LATIN CAPITAL LETTER O WITH STROKE} {across}"


def _cylinder(axes: Axes, at: float, box: float) -> None:
    from matplotlib.patches import Rectangle

    axes.add_patch(Rectangle((at, -0.8 * box), BORE_WIDTH, 1.6 * box, facecolor="#f6f7f8", edgecolor=INK, linewidth=0.9,
                             zorder=2))  # fmt: skip
    axes.text(at + BORE_WIDTH / 2, 0, "cylinder", ha="center", va="center", fontsize=6.8, color=SOFT_INK, rotation=90)


def _details(figure: Figure, tract: Tract) -> None:
    """Area against distance, both sides with the same millimetres per inch of paper and the same area axis."""
    intake = _near_port(tract.intake, before=RUNNER_SHOWN)
    exhaust = _near_port(tract.exhaust, after=HEADER_SHOWN)
    sides = [(side, rows) for side, rows in (("intake", intake), ("exhaust", exhaust)) if rows]
    if not sides:
        return
    lengths = [rows[-1][1] + rows[-1][0].length - rows[0][2] for _, rows in sides]
    gap = 0.1
    room = RIGHT - LEFT - gap * (len(sides) - 1)
    top = scaled("area", 1.0) * max(float(s.area.max()) for _, rows in sides for s, _, _ in rows)
    x = LEFT
    for (side, rows), length in zip(sides, lengths, strict=True):
        width = room * max(length, 0.12) / sum(max(each, 0.12) for each in lengths)
        draw_plan(figure.add_axes((x, 0.42, width, 0.2), label=f"{side} plan"), side, rows, tract)
        axes = figure.add_axes((x, 0.145, width, 0.235), label=f"{side} area")
        _area_chart(axes, side, rows, top, tract)
        axes.tick_params(labelleft=x == LEFT)
        x += width + gap


def _near_port(stretches: tuple[Stretch, ...], before: float = 0.0, after: float = 0.0):
    """Pipes around a side's port as (stretch, start [m], first place shown [m]), from the port's upstream end.

    Without a port the last pipe before (or the first after) the valve is shown.
    """
    pipes = [s for s in stretches if s.kind in ("pipe", "port")]
    if not pipes:
        return []
    port = next((i for i, s in enumerate(pipes) if s.kind == "port"), len(pipes) - 1 if before else 0)
    rows, start = [], 0.0
    if before and port > 0:
        runner = pipes[port - 1]
        rows.append((runner, -runner.length, -min(before, runner.length)))
    first = rows[0][2] if rows else 0.0
    rows.append((pipes[port], start, first))
    if after and port + 1 < len(pipes):
        header, start = pipes[port + 1], pipes[port].length
        shown = min(after, header.length)
        x = np.append(header.x[header.x - header.x[0] < shown], header.x[0] + shown)
        cut = Stretch(header.name, header.kind, x, np.interp(x, header.x, header.area), header.count, note="cut")
        rows.append((cut, start, first))
    return rows


def _area_chart(axes: Axes, side: str, rows, top: float, tract: Tract) -> None:
    low, high = scaled("length", rows[0][2]), scaled("length", rows[-1][1] + rows[-1][0].length)
    axes.set_xlim(low, high)
    axes.set_ylim(0, 1.32 * top)
    for stretch, start, _ in rows:
        x, area = scaled("length", start + stretch.x - stretch.x[0]), scaled("area", stretch.area)
        if stretch.kind == "port":
            axes.axvspan(x[0], x[-1], facecolor=METAL, linewidth=0, zorder=0)
        axes.fill_between(x, 0, area, facecolor=FILL if stretch.kind != "port" else PAPER, linewidth=0, zorder=1)
        axes.fill_between(x, 0, area, facecolor=FILL, alpha=0.9, linewidth=0, zorder=1)
        axes.plot(x, area, color=INK, linewidth=1.5, zorder=3, label=plain(stretch.name, 30))
        shown = (max(x[0], low) + min(x[-1], high)) / 2
        axes.text(shown, 0.03 * top, plain(stretch.name, 20), ha="center", va="bottom", fontsize=8, color=SOFT_INK)
        _stations(axes, stretch, start, top, side)
    _steps(axes, rows)
    inwards = -1 if side == "intake" else 1
    head = scaled("area", 1.0) * np.pi / 4 * getattr(tract, f"{side}_valve") ** 2 * getattr(tract, f"{side}_valves")
    if head < 1.3 * top:
        place = high if side == "intake" else low
        axes.plot([place], [head], marker="<" if side == "intake" else ">", color=INK, markersize=6, zorder=6,
                  clip_on=False)  # fmt: skip
        words = f"valve head\n{with_unit('area', head / scaled('area', 1.0))}"
        axes.annotate(words, (place, head), (-7 * inwards, 0), textcoords="offset points",
                      ha="left" if side == "intake" else "right", va="center", fontsize=6.8, color=SOFT_INK,
                      annotation_clip=False)  # fmt: skip
    where = "from the manifold face" if side == "intake" else "from the exhaust valve"
    name_axes(axes, f"{side}: flow area, {unit('area')}", f"distance {where}, {unit('length')}")


def _stations(axes: Axes, stretch: Stretch, start: float, top: float, side: str) -> None:
    """Every measured station as a dot with its area; the user's notes stand higher, each on a stem."""
    noted, last, lower, before = 0, len(stretch.stations) - 1, False, -1.0
    for index, mark in enumerate(stretch.stations):
        x, area = scaled("length", start + mark.at), scaled("area", mark.area)
        axes.plot([x], [area], marker="o", markersize=4.5, markerfacecolor=PAPER, markeredgecolor=INK, zorder=5,
                  clip_on=False)  # fmt: skip
        align = "left" if index == 0 else "right" if index == last else "center"
        # The station at the valve has its number outside, where there is room.
        outside = {("intake", last): (7, "left"), ("exhaust", 0): (-7, "right")}.get((side, index))
        lower = mark.at - before < CLOSE and not lower and not outside
        before = mark.at
        offset, ha, va = ((outside[0], 0), outside[1], "center") if outside else ((0, -15 if lower else -7), align, "top")
        axes.annotate(size("area", mark.area), (x, area), offset, textcoords="offset points", ha=ha, va=va, fontsize=6.8,
                      color=SOFT_INK, zorder=6, annotation_clip=False)  # fmt: skip
        said = plain(mark.note, 22)
        if mark.throat_share is not None:
            said = f"{said or 'throat'} ({mark.throat_share:.1%} of the valve)"
        if said:
            high = (1.20, 1.10, 1.00)[noted % 3] * top
            axes.plot([x, x], [area + 0.02 * top, high], color=FAINT, linewidth=0.6, zorder=4)
            axes.text(x, high, said, ha=_inwards(axes, x, align), va="bottom", fontsize=7, color=INK, zorder=6)
            noted += 1
    _steepest(axes, stretch, start)


def _inwards(axes: Axes, x: float, align: str) -> str:
    """Where a label at `x` [as drawn] begins so that it stays inside the chart."""
    (low, high), edge = axes.get_xlim(), scaled("length", EDGE)
    return "left" if x - low < edge else "right" if high - x < edge else align


def _steepest(axes: Axes, stretch: Stretch, start: float) -> None:
    """The stretch whose area changes fastest, with its change a millimetre."""
    pairs = [(a, b, 100.0 * np.log(b.area / a.area) / (1e3 * (b.at - a.at)))
             for a, b in zip(stretch.stations, stretch.stations[1:], strict=False) if b.at > a.at]  # fmt: skip
    if not pairs:
        return
    first, last, rate = max(pairs, key=lambda pair: abs(pair[2]))
    if abs(rate) < 0.05:
        return
    color = ALARM if abs(rate) > STEEP else SOFT_INK
    x = [scaled("length", start + each.at) for each in (first, last)]
    y = [0.72 * scaled("area", min(first.area, last.area))] * 2
    axes.plot(x, y, color=color, linewidth=1.2, marker="|", markersize=5, zorder=5)
    align = _inwards(axes, sum(x) / 2, "center")
    at = {"left": x[0], "right": x[1]}.get(align, sum(x) / 2)
    axes.annotate(f"steepest {rate:+.1f} % a mm".replace("-", "\N{MINUS SIGN}"), (at, y[0]), (0, -4),
                  textcoords="offset points", ha=align, va="top", fontsize=6.8, color=color, zorder=6)  # fmt: skip


def _steps(axes: Axes, rows) -> None:
    """Where one part ends and the next begins at another area, the jump is drawn and its size written."""
    for (before, start, _), (after, _, _) in zip(rows, rows[1:], strict=False):
        x = scaled("length", start + before.length)
        areas = float(before.area[-1]), float(after.area[0])
        old, new = (scaled("area", area) for area in areas)
        axes.plot([x, x], [old, new], color=INK, linewidth=1.5, zorder=3)
        if abs(new / old - 1) > 0.01:
            words = f"step {size('area', areas[0])} \N{RIGHTWARDS ARROW} {size('area', areas[1])}"
            axes.annotate(words, (x, max(old, new)), (0, 5), ha="center",
                          textcoords="offset points", va="bottom", fontsize=6.8, color=SOFT_INK, zorder=6)  # fmt: skip


def alt_text(tract: Tract) -> str:
    """The drawing in words [str]: every part in order with its length and area."""
    parts = []
    for side in ("intake", "exhaust"):
        words = []
        for s in getattr(tract, side):
            if s.kind == "volume":
                words.append(f"{plain(s.name, 30)} of {1e3 * s.content:.1f} litres")
            else:
                least, most = size("area", float(s.area.min())), with_unit("area", float(s.area.max()))
                words.append(f"{plain(s.name, 30)} {with_unit('length', s.length)} long, {least} to {most}")
        parts.append(f"{side.capitalize()} in flow order: {listed(words)}." if words else f"No {side} pipes.")
    return plain(" ".join(parts), 2000)
