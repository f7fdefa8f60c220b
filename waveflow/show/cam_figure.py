"""Lift, velocity and acceleration of both valves on one sheet, with the checking heights and the doubt of intake closing."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from waveflow.show.canvas import A4_LANDSCAPE, describe, name_axes, sheet, style
from waveflow.show.looks import FAINT, HAIRLINE, INK, SOFT_INK, look
from waveflow.show.words import plain, wrapped

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

LEFT, RIGHT = 0.06, 0.94
LOOKS = {"intake": look(1), "exhaust": look(2)}
FROM, TO = 90.0, 720.0


def cam_figure(case: Any, effect: Any = None) -> Figure:
    """Draw the cams of a case [engine.case.Case]; `effect` [study.camrange.ClosingEffect] adds its sentence."""
    from waveflow.engine.camshapes import closing_span, motion, shapes
    from waveflow.engine.valves import lift_of
    from waveflow.show.cam import closing_sentences

    made = {side: motion(lift_of(getattr(case, side).cam, side)) for side in LOOKS}
    found = shapes(case.intake.cam, "intake")
    words = [*closing_sentences(case), *([effect.sentence] if effect is not None else [])]
    with style():
        figure = sheet(A4_LANDSCAPE)
        title = f"{plain(case.name, 60)}{', ' + plain(case.option, 40) if case.option else ''}: what the valves do"
        figure.text(LEFT, 0.962, title, fontsize=13, fontweight="bold", va="top", color=INK)
        lines = [line for text in words for line in wrapped(plain(text, 400), 165)]
        for row, line in enumerate(lines):
            figure.text(LEFT, 0.918 - 0.022 * row, line, fontsize=8, va="top", color=SOFT_INK)
        top = 0.88 - 0.022 * len(lines)
        room, gap, y = top - 0.075, 0.055, top
        for name, share in (("lift", 0.46), ("velocity", 0.24), ("acceleration", 0.30)):
            height = (room - 2 * gap) * share
            axes = figure.add_axes((LEFT, y - height, RIGHT - LEFT, height), label=name)
            axes.set_xlim(FROM, TO)
            axes.set_xticks(range(90, 721, 45))
            axes.tick_params(labelbottom=name == "acceleration")
            for centre, told in ((180, "bottom"), (360, "top, gas exchange"), (540, "bottom")):
                axes.axvline(centre, color=HAIRLINE, linewidth=0.9, zorder=0)
                if name == "lift":
                    axes.text(centre + 2, 0.985, told, transform=axes.get_xaxis_transform(), fontsize=7, color=FAINT, va="top")
            _draw(axes, name, made)
            if name == "lift":
                _heights(axes, case)
                _closing(axes, found, [closing_span(found), closing_span(found, 1e-3)])
                axes.legend(loc="upper left", fontsize=8, frameon=False)
            y -= height + gap
        axes.set_xlabel("crank angle, degrees after firing top dead centre")
        return describe(figure, title, " ".join(words))


def _draw(axes: Axes, name: str, made: dict[str, Any]) -> None:
    from waveflow.engine.camshapes import RAMP

    factor, unit = {"lift": (1e3, "mm"), "velocity": (1e3, "mm per degree"), "acceleration": (1e6, "µm per degree²")}[name]
    highest = 0.0
    for side, motion in made.items():
        way, values = LOOKS[side], factor * getattr(motion, name)
        shown = motion.lift > (0.0 if name == "lift" else RAMP)
        axes.plot(motion.angle, np.where(shown, values, np.nan), color=way.color, linestyle=way.line,
                  linewidth=way.width, label=side)  # fmt: skip
        highest = max(highest, float(np.abs(values[shown]).max()))
    if name == "lift":
        axes.set_ylim(0, 1.22 * highest)
    else:
        axes.axhline(0, color=FAINT, linewidth=0.7)
    aside = "" if name == "lift" else f"above {1e3 * RAMP:g} mm of lift: below it are ramp and lash"
    name_axes(axes, f"{name} at the valve, {unit}", aside=aside)


def _heights(axes: Axes, case: Any) -> None:
    """Checking heights, where they stand at the valve."""
    from waveflow.engine.camshapes import valve_height
    from waveflow.engine.valves import lift_of

    for side in LOOKS:
        cam = getattr(case, side).cam
        middle = lift_of(cam, side).max_lift_angle
        if cam.kind != "card":
            continue
        for height in filter(None, (cam.duration_at, cam.second_duration_at)):
            at_valve = valve_height(cam, height)
            if at_valve > 0.0:
                axes.plot([middle - 125, middle + 125], [1e3 * at_valve] * 2, color=LOOKS[side].color, linewidth=0.6, alpha=0.6)
                axes.text(middle, 1e3 * at_valve, f"{1e3 * height:.3g} mm at the {side} follower", fontsize=6.5,
                          color=LOOKS[side].color, ha="center", va="bottom")  # fmt: skip


def _closing(axes: Axes, found: list[Any], spans: list[Any]) -> None:
    """The earliest and the latest lobe as a band, the range at the seat and at 1 mm as bars."""
    if len(found) < 2:
        return
    angle = np.linspace(2.0 * found[0].curve.max_lift_angle - spans[0].latest - 4.0, spans[0].latest + 4.0, 800)
    lifts = np.array([shape.curve.at(angle) for shape in found])
    colour = LOOKS["intake"].color
    axes.fill_between(angle, 1e3 * lifts.min(axis=0), 1e3 * lifts.max(axis=0), color=colour, alpha=0.25, linewidth=0,
                      label="other lobes that meet the card")
    for span in spans:
        axes.plot([span.earliest, span.latest], [1e3 * span.height] * 2, color=colour, linewidth=4, solid_capstyle="butt")
        text = f"{span.earliest - 540:.1f} to {span.latest - 540:.1f}° after bottom"
        axes.annotate(text, (span.latest, 1e3 * span.height), xytext=(8, 9), textcoords="offset points", fontsize=7, color=INK)
