"""The one picture of a comparison: what was taken out of the metal, and what that does to filling and torque.

Read from the top: the answer as a sentence, the ports in cutaway, the curves with their peaks flagged, the gain and
loss as a ribbon, and at the foot what the numbers rest on. It fits one A4 sheet across and reads in grey.
"""

from __future__ import annotations

import textwrap
from typing import TYPE_CHECKING

from waveflow.show.canvas import A4_LANDSCAPE, bare, describe, name_axes, sheet, style
from waveflow.show.looks import ALARM, INK, SOFT_INK, look
from waveflow.show.panels import draw_curves, draw_power_lines, draw_ribbon, extremes, option_label
from waveflow.show.strip import draw_strip, height_needed
from waveflow.show.tables import quantity
from waveflow.show.views import ComparisonView, OptionView, Peak
from waveflow.show.words import listed, number, percent, percent_change, plain, signed, speed, wrapped
from waveflow.study.columns import shown, unit_shown

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure
    from matplotlib.ticker import MaxNLocator

LEFT, RIGHT = 0.052, 0.955
WIDE, GAP = 0.535, 0.075


def comparison_figure(view: ComparisonView) -> Figure:
    """Draw a comparison [ComparisonView] of two or more options on one sheet; the words go in as alt text."""
    with style():
        figure = sheet(A4_LANDSCAPE)
        top = _headline(figure, view)
        top, said = _strips(figure, view, top)
        bottom = _foot(figure, view)
        _charts(figure, view, top, bottom)
        return describe(figure, plain(view.headline, 400), alt_text(view, said))


def _headline(figure: Figure, view: ComparisonView) -> float:
    y = 0.962
    for line in wrapped(plain(view.headline, 400), 104)[:3]:
        figure.text(LEFT, y, line, fontsize=13, fontweight="bold", va="top", color=INK)
        y -= 0.0315
    words = " \N{MIDDLE DOT} ".join(plain(text, 220) for text in (view.engine, view.conditions) if text)
    figure.text(LEFT, y - 0.004, words, fontsize=8, va="top", color=SOFT_INK)
    return y - 0.034


def _strips(figure: Figure, view: ComparisonView, top: float) -> tuple[float, list[str]]:
    """One cutaway per option after the first; without any tract only the legend is drawn."""
    first, others = view.options[0], view.options[1:]
    drawn = [option for option in others if option.tract is not None] if first.tract is not None else []
    tallest = height_needed([first.tract, *(option.tract for option in drawn)]) if drawn else 0.0
    each = {0: 0.03, 1: 0.185, 2: 0.125}.get(len(others), 0.3 / max(len(others), 1))
    said = []
    for index, option in enumerate(others, start=1):
        bottom = top - each
        key = bare(figure.add_axes((LEFT, bottom, 0.13, each)))
        entries = [(first, 0), (option, index)] if index == 1 else [(option, index)]
        _key(key, entries, worded=len(others) > 1)
        if option in drawn:
            axes = bare(figure.add_axes((LEFT + 0.135, bottom, RIGHT - LEFT - 0.135, each)))
            axes.set_label(f"strip {index}")
            words = draw_strip(axes, first.tract, option.tract, look(0), look(index), tallest, rule=index == 1)
            said += [f"{plain(option.name, 40)}: {listed(words)}."] if words else []
        top = bottom - 0.006
    return top - 0.02, said


def _key(axes: Axes, entries: list[tuple[OptionView, int]], worded: bool) -> None:
    """Legend of a strip: line with marker, name, ASSUMED where so, and extremes if the ribbon names none."""
    axes.set(xlim=(0, 1), ylim=(0, 1))
    height = 0.36 if len(entries) > 1 else 0.0
    for row, (option, index) in enumerate(entries):
        y, way = 0.55 + height * ((len(entries) - 1) / 2 - row), look(index)
        axes.plot([0.0, 0.24], [y, y], color=way.color, linestyle=way.line, linewidth=way.width)
        axes.plot([0.12], [y], marker=way.marker, color=way.color, markersize=4.5, markerfacecolor="white")
        axes.text(0.29, y, plain(option.name, 22), fontsize=9, fontweight="bold", color=way.color, va="center")
        notes = [("ASSUMED valve flow", ALARM)] if option.assumed else []
        if worded and index > 0:
            changes = extremes(option, "volumetric_efficiency")
            notes += [(f"VE {percent_change(peak.value)} at {peak.rpm:.0f}", way.color) for peak in changes]
        for line, (words, color) in enumerate(notes):
            weight = "bold" if color == ALARM else "normal"
            axes.annotate(words, (0.29, y), (0, -11 - 8.5 * line), textcoords="offset points", fontsize=6.5,
                          va="center", fontweight=weight, color=color)  # fmt: skip


def _charts(figure: Figure, view: ComparisonView, top: float, bottom: float) -> None:
    ribbon, against = 0.155, plain(view.options[0].name, 24)
    above = bottom + ribbon + 0.045
    lobe_marks = any("volumetric_efficiency" in option.envelope_peaks for option in view.options)
    for name in ("volumetric_efficiency", "torque"):
        roomy = name == "volumetric_efficiency"
        x, width = (LEFT, WIDE) if roomy else (LEFT + WIDE + GAP, RIGHT - LEFT - WIDE - GAP)
        curves = figure.add_axes((x, above, width, top - above), label=f"curves {name}")
        draw_curves(curves, view, name, float(shown(name, [1.0])[0][0]), _ve_flag if roomy else _torque_flag, roomy)
        curves.tick_params(labelbottom=False)
        below = figure.add_axes((x, bottom, width, ribbon), sharex=curves, label=f"ribbon {name}")
        draw_ribbon(below, view, name, roomy)
        below.yaxis.set_major_formatter(lambda value, _: signed(value, 0))
        below.yaxis.set_major_locator(_few())
        if roomy:
            aside = "\N{WHITE UP-POINTING TRIANGLE} peak of the mean over one lobe" if lobe_marks else ""
            name_axes(curves, "volumetric efficiency, %", aside=aside)
        else:
            draw_power_lines(curves)
            name_axes(curves, f"torque, {unit_shown('torque')}", aside="hairlines: equal power")
        name_axes(below, f"{'VE' if roomy else 'torque'} against {against}, %", "engine speed, rpm")


def _few() -> MaxNLocator:
    from matplotlib.ticker import MaxNLocator

    return MaxNLocator(4, integer=True, min_n_ticks=3)


def _ve_flag(peak: Peak) -> str:
    return f"{peak.place}, {number(100 * peak.value, 1, '%')}"


def _torque_flag(peak: Peak) -> str:
    return f"{peak.place}, {quantity('torque', peak.value)}"


def _foot(figure: Figure, view: ComparisonView) -> float:
    """What the sheet rests on, smallest print last; returns where the charts may end."""
    lines: list[tuple[str, str]] = []
    assumed = [plain(option.name, 30) for option in view.options if option.assumed]
    if assumed:
        have = "has" if len(assumed) == 1 else "have"
        lines.append((f"ASSUMED: {listed(assumed)} {have} no flow sheet; the stock valve coefficient is kept, and the "
                      "hatched band is the same run with valve flow 8 % lower and 8 % higher.", ALARM))  # fmt: skip
    for option in view.options:
        if option.failed:
            what = "; ".join(f"{speed(rpm)}: {plain(why, 90)}" for rpm, why in list(option.failed.items())[:2])
            lines.append((f"Not computed (crosses), {plain(option.name, 30)}: {what}", ALARM))
    lines += [(plain(text, 300), INK) for text in view.remarks]
    if view.stamp:
        lines.append((f"Checks: {plain(view.stamp, 300)}", SOFT_INK))
    if view.left_out:
        lines.append((plain(view.left_out, 600), SOFT_INK))
    rows = [(part, color) for text, color in lines for part in textwrap.wrap(text, 205)]
    y = 0.022 + 0.0165 * len(rows)
    for number_, (text, color) in enumerate(rows):
        figure.text(LEFT, y - 0.0165 * number_, text, fontsize=6.8, color=color, va="top")
    return y + 0.062


def alt_text(view: ComparisonView, said: list[str]) -> str:
    """What the picture shows, in words [str], for readers who hear it."""
    parts = [plain(view.headline, 400)]
    for option in view.options:
        peak = option.peaks.get("volumetric_efficiency")
        best, power = option.peaks.get("torque"), option.peaks.get("power")
        facts = [f"highest volumetric efficiency {percent(peak.value)} at {peak.place}"] if peak else []
        facts += [f"most torque {quantity('torque', best.value)} at {best.place}"] if best else []
        facts += [f"most power {quantity('power', power.value)} at {power.place}"] if power else []
        parts.append(f"{plain(option_label(option), 60)}: {listed(facts)}." if facts else f"{plain(option.name, 40)}.")
    return plain(" ".join([*parts, *said, plain(view.left_out, 600)]), 3000)
