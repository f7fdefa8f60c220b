"""The two charts of a comparison: the curves with their flagged peaks, and under them the ribbon of gain and loss."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

import numpy as np

from waveflow.show.looks import FAINT, GAIN, HAIRLINE, INK, LOSS, SOFT_INK, Look, look
from waveflow.show.views import ComparisonView, OptionView, Peak
from waveflow.show.words import percent_change, signed, span
from waveflow.study.columns import shown, unit_shown

if TYPE_CHECKING:
    from matplotlib.axes import Axes

BAND = "#f1f4f8"
PATCH = {"facecolor": "white", "alpha": 0.75, "linewidth": 0, "pad": 0.6}
PeakText = Callable[[Peak], str]


def draw_curves(
    axes: Axes, view: ComparisonView, name: str, scale: float, peak_text: PeakText, roomy: bool = True
) -> None:
    """Curves of `name` [SI] times `scale` for every option; `peak_text(peak)` words the flag on each curve's top.

    A narrow chart is not `roomy` [bool]: its small notes are shortened.
    """
    shade_band(axes, view)
    for index, option in enumerate(view.options):
        style, y = look(index), scale * option.curve(name)
        if name in option.low and name in option.high:
            axes.fill_between(option.rpm, scale * np.asarray(option.low[name]), scale * np.asarray(option.high[name]),
                              facecolor="none", edgecolor=style.color, hatch=style.hatch, linewidth=0.4, alpha=0.45,
                              zorder=2, label=f"_{option.name}: valve flow -8 to +8 %")  # fmt: skip
        axes.plot(option.rpm, y, color=style.color, linestyle=style.line, linewidth=style.width, zorder=4 + index,
                  marker=style.marker, markersize=3.4, markevery=marks(option.rpm), markerfacecolor="white",
                  markeredgewidth=0.9, label=option_label(option))  # fmt: skip
    _limits(axes, view, name, scale)
    for index, option in enumerate(view.options):
        _failed(axes, option, look(index))
    _flags(axes, view, name, scale, peak_text, roomy)
    for index, option in enumerate(view.options):
        _envelope_mark(axes, option, name, look(index))
    _target(axes, view, roomy)


def option_label(option: OptionView) -> str:
    """What the legend calls an option: its name, and ASSUMED where its valve flow was not measured."""
    return f"{option.name} (ASSUMED valve flow)" if option.assumed else option.name


def marks(rpm: np.ndarray, wanted: int = 9) -> list[int]:
    """Indices of about `wanted` points spread evenly in speed, so that refined stretches are not a string of beads."""
    if len(rpm) <= wanted:
        return list(range(len(rpm)))
    places = np.linspace(rpm[0], rpm[-1], wanted)
    return sorted({int(np.argmin(np.abs(rpm - place))) for place in places})


def shade_band(axes: Axes, view: ComparisonView) -> None:
    """Pale ground behind the user's band of speeds."""
    if view.band is not None:
        axes.axvspan(*view.band, facecolor=BAND, linewidth=0, zorder=0)


def _limits(axes: Axes, view: ComparisonView, name: str, scale: float) -> None:
    rows = [option.curve(name) for option in view.options]
    rows += [np.asarray(band[name]) for option in view.options for band in (option.low, option.high) if name in band]
    rows += [np.array([option.peaks[name].value]) for option in view.options if name in option.peaks]
    values = scale * np.concatenate(rows)
    values = values[np.isfinite(values)]
    if len(values) == 0:
        values = np.array([0.0, 1.0])
    low, high = float(values.min()), float(values.max())
    height = max(high - low, 0.02 * abs(high), 1e-9)
    flags = 0.13 + 0.075 * len(view.options)
    axes.set_ylim(low - 0.08 * height, high + flags * height)
    speeds = np.concatenate([option.rpm for option in view.options])
    margin = 0.02 * max(float(speeds.max() - speeds.min()), 100.0)
    axes.set_xlim(float(speeds.min()) - margin, float(speeds.max()) + margin)


def _failed(axes: Axes, option: OptionView, style: Look) -> None:
    bottom = axes.get_ylim()[0]
    for rpm in option.failed:
        axes.plot([rpm], [bottom], marker="x", color=style.color, markersize=6, markeredgewidth=1.6, clip_on=False,
                  zorder=9, linestyle="none", label=f"_failed {rpm:.0f}")  # fmt: skip


def _flags(axes: Axes, view: ComparisonView, name: str, scale: float, peak_text: PeakText, roomy: bool) -> None:
    """A pole on each peak with a pennant at its top; poles end at different heights so that texts never meet."""
    peaks = [(option.peaks[name], index) for index, option in enumerate(view.options) if name in option.peaks]
    low, high = axes.get_ylim()
    step = 0.068 * (high - low)
    left, right = axes.get_xlim()
    for rank, (peak, index) in enumerate(sorted(peaks, key=lambda item: item[0].rpm)):
        style, top = look(index), high - step * (0.6 + rank)
        axes.plot([peak.rpm, peak.rpm], [scale * peak.value, top], color=style.color, linewidth=0.8, zorder=3)
        axes.plot([peak.rpm], [scale * peak.value], marker=style.marker, color=style.color, markersize=6, zorder=12)
        # A pennant near the right edge flies to the left.
        wind = 1 if peak.rpm < left + (0.72 if roomy else 0.5) * (right - left) else -1
        across = wind * (0.011 if roomy else 0.018) * (right - left)
        axes.fill([peak.rpm, peak.rpm + across, peak.rpm], [top, top - 0.28 * step, top - 0.56 * step],
                  color=style.color, linewidth=0, zorder=8)  # fmt: skip
        axes.text(peak.rpm + 1.5 * across, top - 0.28 * step, peak_text(peak), color=style.color, fontsize=7.5,
                  fontweight="bold", va="center", ha="left" if wind > 0 else "right", zorder=13,
                  bbox=PATCH)  # fmt: skip


def _envelope_mark(axes: Axes, option: OptionView, name: str, style: Look) -> None:
    rpm = option.envelope_peaks.get(name)
    if rpm is not None and np.isfinite(rpm):
        axes.plot([rpm], [axes.get_ylim()[0]], marker="^", markersize=6.5, markerfacecolor="white", zorder=10,
                  markeredgecolor=style.color, markeredgewidth=1.2, clip_on=False, linestyle="none")  # fmt: skip


def _target(axes: Axes, view: ComparisonView, roomy: bool) -> None:
    if view.target is None:
        return
    words, rpm = view.target
    low, high = axes.get_ylim()
    axes.plot([rpm, rpm], [low, high], color=INK, linewidth=0.8, linestyle=(0, (1, 2)), zorder=1)
    if roomy:
        left, right = axes.get_xlim()
        aside, align = (3, "left") if rpm < left + 0.8 * (right - left) else (-3, "right")
        axes.annotate(f"wanted {words}", (rpm, low), (aside, 3), textcoords="offset points", fontsize=7, color=SOFT_INK,
                      va="bottom", ha=align, zorder=3, bbox=PATCH)  # fmt: skip


def draw_ribbon(axes: Axes, view: ComparisonView, name: str, roomy: bool = True) -> None:
    """Change against the first option in percent: gain above the line, loss below it, extremes and crossings named."""
    shade_band(axes, view)
    axes.axhline(0, color=look(0).color, linewidth=look(0).width, zorder=4)
    lone = len(view.options) == 2
    rows = [np.array([-1.0, 1.0])]
    for index, option in enumerate(view.options[1:], start=1):
        style = look(index)
        rpm, change = option.change(name)
        change = 100 * change
        if lone:
            axes.fill_between(rpm, 0, change, where=change >= 0, interpolate=True, facecolor=GAIN, alpha=0.55,
                              linewidth=0, zorder=2, label="gain")  # fmt: skip
            axes.fill_between(rpm, 0, change, where=change <= 0, interpolate=True, facecolor=LOSS, alpha=0.75,
                              edgecolor="white", hatch="\\\\\\\\", linewidth=0, zorder=2, label="loss")  # fmt: skip
        if name in option.change_bands:
            at, *band = option.change_bands[name]
            band = [100 * row for row in band]
            axes.fill_between(at, *band, facecolor="none", edgecolor=style.color, hatch=style.hatch, linewidth=0.4,
                              alpha=0.45, zorder=3)  # fmt: skip
            rows += band
        axes.plot(rpm, change, color=style.color, linestyle=style.line, linewidth=style.width, zorder=5,
                  label=option_label(option))  # fmt: skip
        rows.append(change)
    lowest, highest = (float(edge(np.concatenate(rows))) for edge in (np.nanmin, np.nanmax))
    height = highest - lowest
    axes.set_ylim(lowest - (0.62 if view.band else 0.3) * height, highest + 0.3 * height)
    for index, option in enumerate(view.options[1:], start=1):
        _extremes(axes, option, name, look(index), worded=lone)
        if lone:
            _crossings(axes, option, name)
    _bracket(axes, view, name, roomy)


def extremes(option: OptionView, name: str) -> list[Peak]:
    """Largest gain and largest loss [relative change, 1] of an option against the first; below 0.05 % left out."""
    rpm, change = option.change(name)
    if not np.isfinite(change).any():
        return []
    best, worst = int(np.nanargmax(change)), int(np.nanargmin(change))
    pairs = [(best, 1), (worst, -1)]
    return [Peak(float(rpm[at]), float(change[at])) for at, side in pairs if side * change[at] >= 0.0005]


def _extremes(axes: Axes, option: OptionView, name: str, style: Look, worded: bool) -> None:
    left, right = axes.get_xlim()
    for peak in extremes(option, name):
        side = 1 if peak.value > 0 else -1
        share = (peak.rpm - left) / (right - left)
        align = "left" if share < 0.15 else "right" if share > 0.85 else "center"
        axes.plot([peak.rpm], [100 * peak.value], marker=style.marker, color=style.color, markersize=4.5, zorder=7)
        if worded:
            text = f"{percent_change(peak.value)} at {peak.rpm:.0f}"
            axes.annotate(text, (peak.rpm, 100 * peak.value), (0, 6 * side), textcoords="offset points", ha=align,
                          va="bottom" if side > 0 else "top", fontsize=7.5,
                          fontweight="bold", color=style.color, zorder=8)  # fmt: skip


def _crossings(axes: Axes, option: OptionView, name: str) -> None:
    low, high = axes.get_ylim()
    left, right = axes.get_xlim()
    last, (at, change) = -np.inf, option.change(name)
    for rpm in option.crossovers.get(name, ()):
        axes.plot([rpm, rpm], [-0.05 * (high - low), 0.05 * (high - low)], color=INK, linewidth=1.4, zorder=9)
        if rpm - last > 0.05 * (right - left):
            # Above the line, on the side where the curve runs below it.
            rising = np.interp(rpm + 1.0, at, change) > np.interp(rpm - 1.0, at, change)
            axes.annotate(f"{rpm:.0f}", (rpm, 0), (-3 if rising else 3, 4), textcoords="offset points", fontsize=7, color=INK,
                          ha="right" if rising else "left", va="bottom", zorder=9)  # fmt: skip
            last = rpm


def _bracket(axes: Axes, view: ComparisonView, name: str, roomy: bool) -> None:
    """A bracket under the user's band with the mean change in it written inside."""
    if view.band is None:
        return
    low, high = axes.get_ylim()
    foot, tick = low + 0.04 * (high - low), 0.07 * (high - low)
    left, right = axes.get_xlim()
    start, end = max(view.band[0], left), min(view.band[1], right)
    if not start < end:
        return
    axes.plot([start, start, end, end], [foot + tick, foot, foot, foot + tick], color=SOFT_INK, linewidth=1.0, zorder=6,
              label="_band")  # fmt: skip
    means = [option.band_mean_change.get(name) for option in view.options[1:]]
    words = ", ".join(signed(100 * mean, 1, "%") for mean in means if mean is not None)
    text = f"your band {span(*view.band)}" if roomy else "your band"
    words += ", as far as computed" if words and roomy and (start, end) != tuple(view.band) else ""
    axes.annotate(f"{text}: mean {words}" if words else text, ((start + end) / 2, foot), (0, 2.5), zorder=9,
                  textcoords="offset points", ha="center", va="bottom", fontsize=7.5, color=SOFT_INK)  # fmt: skip


def draw_power_lines(axes: Axes) -> list[float]:
    """Hairlines of equal power behind a chart of torque over speed [rpm]; returns their powers, all in the units shown."""
    left, right = axes.get_xlim()
    low, high = axes.get_ylim()
    torque_scale, power_scale = (float(shown(name, [1.0])[0][0]) for name in ("torque", "power"))
    per_torque = np.pi / 30.0 * power_scale / torque_scale  # power over torque and rpm, as shown
    most = high * right * per_torque
    step = next((s for s in (1, 2, 5, 10, 20, 50, 100, 200, 500) if most / s <= 14), 1000)
    rpm = np.linspace(max(left, 1.0), right, 200)
    drawn = []
    for power in np.arange(step, most, step):
        torque = power / per_torque / rpm
        seen = (torque > low) & (torque < high)
        if seen.sum() < 12:
            continue
        axes.plot(rpm[seen], torque[seen], color=HAIRLINE, linewidth=0.7, zorder=1, label="_power")
        last = np.flatnonzero(seen)[-1]
        align, lift = ("center", 0) if last == len(rpm) - 1 else ("bottom", 6)
        words = f"{power:g} {unit_shown('power')}"
        axes.annotate(words, (rpm[last], torque[last]), (2, lift), textcoords="offset points", fontsize=6.5,
                      color=FAINT, va=align, annotation_clip=False)  # fmt: skip
        drawn.append(float(power))
    return drawn
