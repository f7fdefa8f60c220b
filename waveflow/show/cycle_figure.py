"""One cycle on one sheet, made so that a wave can be followed by eye along the intake path to the closing valve.

Top: when the valves are open. Then the pressure at every probe of the intake path, each trace standing at its own place
between plenum and valve, so a running wave shows as a slanting ridge. Then the pressures on both sides of the valves,
and what flows through them.
"""

from __future__ import annotations

import textwrap
from typing import TYPE_CHECKING

import numpy as np

from waveflow.show.canvas import A4_LANDSCAPE, describe, name_axes, sheet, style
from waveflow.show.cycle_facts import headline, intake_share, ram_wave
from waveflow.show.looks import FAINT, GAIN, HAIRLINE, INK, LOSS, SOFT_INK, look
from waveflow.show.views import CycleView
from waveflow.show.words import listed, number, plain, signed, wrapped
from waveflow.study.columns import measure

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

LEFT, RIGHT = 0.06, 0.93
INTAKE, EXHAUST, CYLINDER = look(1), look(2), look(0)
BACK = "\\\\\\\\"  # hatch of what flows back
ROWS = {"lift": 9, "path": 46, "pressure": 25, "flow": 20}  # shares of the sheet's height
STROKES = ((0, "expansion"), (180, "exhaust"), (360, "intake"), (540, "compression"))


def cycle_figure(view: CycleView) -> Figure:
    """Draw one cycle [CycleView] on one A4 sheet; the words go in as alt text."""
    with style():
        figure = sheet(A4_LANDSCAPE)
        y = 0.962
        sentence = headline(view)
        for line in wrapped(plain(sentence, 300), 104)[:2]:
            figure.text(LEFT, y, line, fontsize=13, fontweight="bold", va="top", color=INK)
            y -= 0.0315
        words = " \N{MIDDLE DOT} ".join(plain(text, 120) for text in (view.engine, view.option) if text)
        figure.text(LEFT, y - 0.003, words, fontsize=8, va="top", color=SOFT_INK)
        y -= 0.066
        gap, foot = 0.038, 0.105
        room = y - foot - gap * (len(ROWS) - 1)
        rows = [(name, room * share / sum(ROWS.values())) for name, share in ROWS.items()]
        for name, height in rows:
            axes = figure.add_axes((LEFT, y - height, RIGHT - LEFT, height), label=name)
            axes.set_xlim(0, 720)
            axes.set_xticks(range(0, 721, 90))
            axes.tick_params(labelbottom=name == "flow")
            _events(axes, view, named=name == "lift")
            {"lift": _lift, "path": _path, "pressure": _pressures, "flow": _flows}[name](axes, view)
            y -= height + gap
        axes.set_xlabel("crank angle, degrees after firing top dead centre")
        foot = [text for text in (f"Checks: {view.stamp}" if view.stamp else "", view.left_out) if text]
        rows = [part for text in foot for part in textwrap.wrap(plain(text, 600), 205)]
        for row, text in enumerate(rows):
            figure.text(LEFT, 0.0165 * (len(rows) - row) + 0.006, text, fontsize=6.8, color=SOFT_INK, va="top")
        return describe(figure, plain(sentence, 300), alt_text(view))


def _events(axes: Axes, view: CycleView, named: bool) -> None:
    """The intake valve's open time as pale ground, opening and closing of both valves as hairlines, in every chart."""
    axes.axvspan(view.intake_open, view.intake_close, facecolor="#f1f5f9", linewidth=0, zorder=0)
    for angle, words, way in (
        (view.exhaust_open, "exhaust opens", EXHAUST), (view.exhaust_close, "closes", EXHAUST),
        (view.intake_open, "intake opens", INTAKE), (view.intake_close, "closes", INTAKE),
    ):  # fmt: skip
        axes.axvline(angle, color=way.color, linewidth=0.7, linestyle=(0, (3, 2)), zorder=1)
        if named:
            # Opening words stand before their line where the two valves overlap, so that they do not meet.
            early = words == "intake opens"
            side, align = (-3, "right") if early else (3, "left")
            axes.annotate(f"{words} {angle:.0f}°", (angle, 1), (side, -2), xycoords=("data", "axes fraction"), ha=align,
                          textcoords="offset points", va="top", fontsize=6.8, color=way.color, zorder=6)  # fmt: skip


def _lift(axes: Axes, view: CycleView) -> None:
    for lift, way, name in ((view.exhaust_lift, EXHAUST, "exhaust"), (view.intake_lift, INTAKE, "intake")):
        axes.fill_between(view.angle, 0, 1e3 * lift, facecolor=way.color, alpha=0.22, linewidth=0, zorder=2)
        axes.plot(view.angle, 1e3 * lift, color=way.color, linestyle=way.line, linewidth=1.2, zorder=3, label=name)
    axes.set_ylim(0, 1.45e3 * max(float(view.intake_lift.max()), float(view.exhaust_lift.max()), 1e-6))
    axes.set_yticks([])
    axes.grid(False)
    for start, name in STROKES:
        axes.annotate(name, ((start + 90) / 720, 1.06), xycoords="axes fraction", ha="center", va="bottom", fontsize=8,
                      color=SOFT_INK, annotation_clip=False)  # fmt: skip
        axes.annotate("", (start / 720, 1.0), (start / 720, 1.32), xycoords="axes fraction", annotation_clip=False,
                      arrowprops={"arrowstyle": "-", "color": HAIRLINE, "linewidth": 0.8})  # fmt: skip
    axes.text(2, axes.get_ylim()[1] * 0.06, "valve lift", fontsize=7, color=FAINT, va="bottom")


def _path(axes: Axes, view: CycleView) -> None:
    """Pressure ridges: one per intake probe at its place, crest above the plenum in blue, trough in amber."""
    probes = view.side("intake")
    axes.grid(False)
    if not probes:
        axes.set_yticks([])
        axes.text(360, 0.5, "no probes on the intake path", ha="center", color=FAINT)
        return
    per_metre, length_unit = (measure("length", 1.0)[n] for n in (0, 1))
    places = np.array([per_metre * probe.place for probe in probes])
    gap = float(np.min(np.diff(places))) if len(places) > 1 else 100.0
    swing = max(float(np.max(np.abs(probe.pressure - view.reference_pressure))) for probe in probes)
    scale = 1.6 * gap / swing if swing > 0 else 0.0  # [unit of length per Pa]
    for depth, probe in enumerate(reversed(probes)):
        base, wave = per_metre * probe.place, scale * (probe.pressure - view.reference_pressure)
        low = 3 + 2 * depth
        axes.fill_between(view.angle, base, base + wave, where=wave >= 0, interpolate=True, facecolor=GAIN, alpha=0.75,
                          linewidth=0, zorder=low)  # fmt: skip
        axes.fill_between(view.angle, base, base + wave, where=wave <= 0, interpolate=True, facecolor=LOSS, alpha=0.5,
                          linewidth=0, zorder=low)  # fmt: skip
        axes.plot(view.angle, base + wave, color=INK, linewidth=0.9, zorder=low + 1, label=plain(probe.name, 40))
    axes.set_ylim(places[0] - 1.6 * gap, places[-1] + 1.9 * gap)
    axes.set_yticks(places[:: max(1, len(places) // 5)])
    digits = measure("length", 0.0, 0)[2]
    axes.yaxis.set_major_formatter(lambda value, _: f"{value:.{min(digits, 1)}f}")
    wave = ram_wave(view)
    if wave is not None and len(wave.path) > 2:
        angles, ups = zip(*((angle, per_metre * place) for angle, place in wave.path), strict=True)
        axes.plot(angles, ups, color=INK, linewidth=1.1, linestyle=(0, (1, 1.6)), zorder=60, label="ram wave")
        arrow = {"arrowstyle": "-|>", "color": INK, "linewidth": 1.1, "shrinkA": 0, "shrinkB": 0}
        axes.annotate("", (angles[-1], ups[-1]), (angles[-3], ups[-3]), zorder=61, arrowprops=arrow)
    _scale_bar(axes, scale, swing, places, gap)
    words = "blue above the mean of the first volume, amber below; dotted: out and back, the signal's way"
    name_axes(axes, f"pressure along the intake path: distance from the valve, {length_unit}", aside=words)


def _scale_bar(axes: Axes, scale: float, swing: float, places: np.ndarray, gap: float) -> None:
    if scale <= 0:
        return
    per_pascal, unit, _ = measure("pressure", 1.0)
    steps = (1000, 500, 200, 100, 50, 20, 10, 5, 2, 1, 0.5, 0.2, 0.1)
    bar = next((k for k in steps if k <= 1.2 * swing * per_pascal), 0.1)
    high = bar / per_pascal
    foot = places[-1] + 0.3 * gap
    ends = "|-|,widthA=0.18,widthB=0.18"
    arrow = {"arrowstyle": ends, "color": SOFT_INK, "linewidth": 0.9, "shrinkA": 0, "shrinkB": 0}
    beside = {"xycoords": ("axes fraction", "data"), "annotation_clip": False, "color": SOFT_INK, "fontsize": 7}
    axes.annotate("", (1.012, foot), (1.012, foot + scale * high), arrowprops=arrow, **beside)
    axes.annotate(f"{bar:g} {unit}", (1.022, foot + 0.5 * scale * high), va="center", **beside)


def _pressures(axes: Axes, view: CycleView) -> None:
    """Cylinder and both ports on the scale of the gas exchange; the combustion leaves the top, its peak in words."""
    intake = view.side("intake")
    ports = [(view.side(side)[0], way, f"{side} port at the valve")
             for side, way in (("intake", INTAKE), ("exhaust", EXHAUST)) if view.side(side)]  # fmt: skip
    cylinder, unit, _ = measure("pressure", view.cylinder_pressure)
    shown = [measure("pressure", probe.pressure)[0] for probe, _, _ in ports]
    inside = (view.angle > view.intake_open) & (view.angle < view.intake_close)
    low = min([float(cylinder[inside].min())] + [float(row.min()) for row in shown])
    high = max([float(cylinder[inside].max())] + [float(row.max()) for row in shown])
    axes.set_ylim(low - 0.12 * (high - low), high + 0.25 * (high - low))
    if intake:
        port = measure("pressure", intake[0].pressure)[0]
        axes.fill_between(view.angle, cylinder, port, where=inside & (port > cylinder), facecolor=GAIN, alpha=0.55,
                          linewidth=0, zorder=2, label="pushes gas in")  # fmt: skip
        axes.fill_between(view.angle, cylinder, port, where=inside & (port < cylinder), facecolor=LOSS, alpha=0.6,
                          hatch=BACK, edgecolor="white", linewidth=0, zorder=2, label="pushes gas back")  # fmt: skip
    axes.plot(view.angle, cylinder, color=CYLINDER.color, linewidth=1.4, zorder=4, label="cylinder")
    for (_, way, words), row in zip(ports, shown, strict=True):
        axes.plot(view.angle, row, color=way.color, linestyle=way.line, linewidth=1.6, zorder=5,
                  label=words)  # fmt: skip
    peak = int(np.argmax(view.cylinder_pressure))
    bar = f"cylinder peak {_peak(float(view.cylinder_pressure[peak]))} at {view.angle[peak]:.0f}°"
    axes.annotate(bar, (0.005, 0.93), xycoords="axes fraction", fontsize=7, color=SOFT_INK, va="top")
    wave = ram_wave(view)
    if wave is not None:
        top = float(measure("pressure", view.reference_pressure + wave.rise)[0])
        axes.plot([wave.angle], [top], marker=INTAKE.marker, color=INTAKE.color, markersize=5, zorder=7)
        rise, _, digits = measure("pressure", wave.rise)
        text = f"ram wave {signed(float(rise), digits, unit)},\n{wave.before_closing:.0f}° before closing"
        axes.annotate(text, (view.intake_close, top), (8, 4), textcoords="offset points", fontsize=7.5, va="center",
                      fontweight="bold", color=INTAKE.color, zorder=8,
                      bbox={"facecolor": "white", "alpha": 0.85, "linewidth": 0, "pad": 1.0})  # fmt: skip
    axes.legend(loc="upper left", bbox_to_anchor=(0.24, 1.2), ncols=5, fontsize=7, handlelength=2.4, columnspacing=1.6)
    name_axes(axes, f"pressure, {unit} absolute")


def _peak(pressure: float) -> str:
    """A peak cylinder pressure [Pa] in words: bar, or the unit asked for."""
    value, unit, digits = measure("pressure", pressure, 0, usual="bar")
    return f"{value:.{digits}f} {unit}"


def _flows(axes: Axes, view: CycleView) -> None:
    axes.axhline(0, color=FAINT, linewidth=0.7, zorder=1)
    intake, unit, _ = measure("mass_flow", view.intake_flow)
    exhaust = measure("mass_flow", view.exhaust_flow)[0]
    axes.plot(view.angle, exhaust, color=EXHAUST.color, linestyle=EXHAUST.line, linewidth=1.4, zorder=3,
              label="exhaust")  # fmt: skip
    axes.fill_between(view.angle, 0, intake, where=intake >= 0, facecolor=GAIN, alpha=0.5, linewidth=0, zorder=2)
    axes.fill_between(view.angle, 0, intake, where=intake <= 0, facecolor=LOSS, alpha=0.8, hatch=BACK,
                      edgecolor="white", linewidth=0, zorder=2)  # fmt: skip
    axes.plot(view.angle, intake, color=INTAKE.color, linestyle=INTAKE.line, linewidth=1.5, zorder=4, label="intake")
    share = intake_share(view)
    low, high = axes.get_ylim()
    axes.set_ylim(low - 0.35 * (high - low), high + 0.05 * (high - low))
    axes.axvline(540, ymax=0.93, color=FAINT, linewidth=0.6, zorder=1)
    middle = float(view.angle[int(np.argmax(intake))])
    axes.annotate(f"in {number(1e6 * share.forward, 0, 'mg')}", (middle, 0.42 * float(intake.max())), ha="center",
                  fontsize=7.5, fontweight="bold", color=INTAKE.color, zorder=6)  # fmt: skip
    early, late, kept = share.back_early, share.back_late, share.after_bottom
    notes = ((view.intake_open, "right", "back at overlap", early, -14),
             (view.intake_close, "left", "back before closing", late, -14),
             (view.intake_close, "left", "in after dead centre", kept, 12))  # fmt: skip
    for angle, align, words, mass, up in notes:
        text, aside = f"{words} {number(1e6 * mass, 1, 'mg')}", 5 if align == "left" else -5
        axes.annotate(text, (angle, 0), (aside, up), textcoords="offset points", ha=align, va="center", fontsize=7,
                      color=SOFT_INK, zorder=6)  # fmt: skip
    name_axes(axes, f"flow through the valves of one cylinder, {unit}")


def alt_text(view: CycleView) -> str:
    """The sheet in words [str]."""
    share = intake_share(view)
    timing = [f"exhaust valve open {view.exhaust_open:.0f} to {view.exhaust_close:.0f} degrees",
              f"intake valve open {view.intake_open:.0f} to {view.intake_close:.0f} degrees"]  # fmt: skip
    masses = [f"{number(1e6 * share.forward, 0)} milligrams flow in",
              f"{number(1e6 * share.after_bottom, 0)} of them after bottom dead centre",
              f"{number(1e6 * (share.back_early + share.back_late), 1)} flow back"]  # fmt: skip
    probes = f"{len(view.side('intake'))} probes on the intake path, {len(view.side('exhaust'))} on the exhaust."
    return plain(f"{headline(view)} {listed(timing)}. {listed(masses)}. {probes} {plain(view.left_out, 600)}", 2000)
