"""`waveflow cam`: what a case's cams do by crank angle, how far the card leaves intake closing open, and what that costs."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Any

import click

from waveflow.show.endings import Refused
from waveflow.show.terminal import console, say, say_if_cold, table
from waveflow.show.words import percent, plain

HEIGHTS = (0.0, 0.15e-3, 1e-3)
SIDES = ("intake", "exhaust")


@click.command(short_help="What the cams do; how sure intake closing is.")
@click.argument("file", type=click.Path(path_type=Path))
@click.option("--rpm", metavar="SPEEDS", help="Also run the case at these speeds, 2000,4000,6000, with the intake "
              "closing earliest and latest of all its card allows.")  # fmt: skip
@click.option("--cell", default="20 mm", show_default=True, metavar="LENGTH", help="Cells of the pipes; coarse is quick.")
@click.option("--figure", type=click.Path(path_type=Path), help="Draw lift, velocity and acceleration (.png or .svg).")
@click.option("--set", "settings", multiple=True, metavar="KEY=VALUE", help="Set one value of the case; may be repeated.")
@click.option("--workers", type=click.IntRange(1, 256), metavar="COUNT", help="Runs at once; one a core by default.")
@click.option("--json", "as_json", is_flag=True, help="Write one JSON document instead of tables; errors too.")
@click.option("--quiet", "-q", is_flag=True, help="No progress and no remarks on standard error.")
def cam(file: Path, rpm: str | None, cell: str, figure: Path | None, settings: tuple[str, ...], workers: int | None,
        as_json: bool, quiet: bool) -> None:  # fmt: skip
    """Say what the cams of a case FILE do: events at the seat and at checking heights, velocity, acceleration, overlap; and
    where the intake may close, given what its card leaves open.
    """
    if figure is not None and figure.suffix.lower() not in (".png", ".svg"):
        raise Refused(f"--figure {figure}: the name must end in .png or .svg")
    if figure is not None and not figure.parent.is_dir():
        raise Refused(f"--figure {figure}: there is no folder {figure.parent}")
    from waveflow.engine.case import load
    from waveflow.show.new import speeds_of

    speeds, wanted = None if rpm is None else speeds_of(rpm), {}
    for text in settings:
        key, equals, value = text.partition("=")
        if not equals or not key.strip():
            raise Refused(f'--set "{text}": write KEY=VALUE, such as --set "intake.cam.lash=0.3 mm"')
        wanted[key.strip()] = value
    case = load(file, wanted or None)
    from waveflow.units import UnitError, parse

    try:
        size = parse(cell, "length")
    except UnitError as error:
        raise Refused(f'--cell "{cell}": {error}') from None
    effect = _effect(case, speeds, size, workers, quiet) if speeds else None
    if figure is not None:
        from waveflow.show.cam_figure import cam_figure
        from waveflow.show.canvas import save

        save(cam_figure(case, effect), figure)
    if as_json:
        from waveflow.show.deliver import print_json

        print_json(cam_data(case, effect), sys.stdout)
    else:
        print_cam(case, effect, asked=speeds is not None)


def _effect(case: Any, speeds: list[float], cell: float, workers: int | None, quiet: bool) -> Any:
    from waveflow.study.camrange import closing_effect

    say_if_cold(quiet)

    def progress(done: int, total: int, what: str) -> None:
        if not quiet:
            say(f"{done} of {total} runs, intake {what}")

    return closing_effect(case, speeds, cell=cell, workers=workers, progress=progress)


def event_rows(case: Any) -> list[tuple[str, ...]]:
    """(side, at, opens, closes, duration) of both cams at the seat, at 0.15 and 1 mm, and at each checking height."""
    from waveflow.engine.camshapes import SEAT, valve_height
    from waveflow.engine.valves import lift_of

    rows = []
    for side in SIDES:
        part = getattr(case, side).cam
        curve = lift_of(part, side)
        heights = [("seat" if h == 0.0 else f"{1e3 * h:g} mm of valve lift", h or SEAT) for h in HEIGHTS]
        if part.kind == "card":
            for height in filter(None, (part.second_duration_at, part.duration_at)):
                at_valve = valve_height(part, height)
                if at_valve > 0.0:
                    heights.append((f"{1e3 * height:.3g} mm at the follower", at_valve))
                else:
                    rows.append((side, f"{1e3 * height:.3g} mm at the follower", "within the lash", "", ""))
        for words, height in heights:
            if height < curve.max_lift:
                opens, closes = curve.open_angle(height), curve.close_angle(height)
                rows.append((side, words, before_after(opens), before_after(closes), f"{curve.duration(height):.1f}°"))
    return rows


def before_after(angle: float) -> str:
    """A crank angle [deg] as porters say it: "12.3° before top dead centre"."""
    centres = ((0.0, "firing top"), (180.0, "bottom"), (360.0, "top"), (540.0, "bottom"), (720.0, "firing top"))
    centre, words = min(centres, key=lambda each: abs(each[0] - angle))
    return f"{abs(angle - centre):.1f}° {'before' if angle < centre else 'after'} {words}"


def motion_rows(case: Any) -> list[tuple[str, ...]]:
    """(side, full lift, its place, highest velocity, highest and lowest acceleration) at the valve."""
    from waveflow.engine.camshapes import motion
    from waveflow.engine.valves import lift_of

    rows = []
    for side in SIDES:
        curve = lift_of(getattr(case, side).cam, side)
        made = motion(curve)
        low, high, _ = made.highest("acceleration")
        speed = max(abs(each) for each in made.highest("velocity")[:2])
        rows.append((side, f"{1e3 * curve.max_lift:.2f} mm", before_after(curve.max_lift_angle), f"{1e3 * speed:.3f}",
                     f"{1e6 * high:.2f}", f"{1e6 * low:.2f}"))  # fmt: skip
    return rows


def overlap(case: Any, height: float) -> float:
    """Crank degrees for which both valves stand above `height` [m] around gas-exchange top dead centre."""
    from waveflow.engine.valves import lift_of

    opens = lift_of(case.intake.cam, "intake").open_angle(height)
    closes = lift_of(case.exhaust.cam, "exhaust").close_angle(height)
    return closes - opens


def closing_sentences(case: Any) -> list[str]:
    """How sure intake closing is, in words."""
    from waveflow.engine.camshapes import closing_span, lash_effect, shapes

    part = case.intake.cam
    if part.kind != "card":
        what = "a lift table: its closing is as good as the readings near the seat" if part.kind == "table" else "a stated law"
        return [f"The intake cam is {what}; there is no card to be uncertain of."]
    found = shapes(part, "intake")
    seat, higher = closing_span(found), closing_span(found, 1e-3)
    known = "its two durations" if part.second_duration is not None else "its one duration"
    out = [f"A card with {known} leaves intake closing open: at the seat {_after(seat)}, at 1 mm of lift {_after(higher)} "
           f"({len(found) - 1} lobes that meet the card to its whole degree; their family is our choice)."]  # fmt: skip
    if part.second_duration is None:
        out.append("A second duration at another checking height would narrow it most; a lift table read off the cam ends it.")
    earlier = lash_effect(part, "intake")
    if abs(earlier) > 0.05:
        out.append(f"0.05 mm more lash closes it {earlier:.1f}° earlier.")
    return out


def _after(span: Any) -> str:
    low, high = span.earliest - 540.0, span.latest - 540.0
    way = "after" if low > 0 else "before" if high < 0 else "from"
    if way == "before":
        low, high = -high, -low
    tail = "bottom dead centre" if way != "from" else "bottom dead centre (minus is before)"
    return f"{low:.1f} to {high:.1f}° {way} {tail}, {span.width:.1f}° wide"


def effect_rows(effect: Any) -> list[tuple[str, ...]]:
    """(rpm, VE as used, closing earliest, closing latest, range) of the runs [study.camrange.ClosingEffect]."""
    rows = []
    for k, rpm in enumerate(effect.rpm):
        low, high = effect.band("efficiency")[k]
        low_t, high_t = effect.band("torque")[k]
        values = [percent(effect.efficiency[n][k], 2) for n in range(3)]
        changes = [f"{100 * a:+.2f} to {100 * b:+.2f} %" for a, b in ((low, high), (low_t, high_t))]
        rows.append((f"{rpm:.0f}", *values, *changes))
    return rows


def print_cam(case: Any, effect: Any, asked: bool = False) -> None:
    """Everything about the cams of a case to standard output."""
    out = console(None)
    option = f", {plain(case.option, 40)}" if case.option else ""
    out.print(f"{plain(case.name, 80)}{option}", style="bold")
    heads = (("cam", "left"), ("at", "left"), ("opens", "right"), ("closes", "right"), ("open for", "right"))
    out.print(table(heads, event_rows(case)))
    out.print()
    heads = (("valve", "left"), ("full lift", "right"), ("at", "right"), ("velocity, mm/°", "right"),
             ("acceleration, µm/°²", "right"), ("and down to", "right"))  # fmt: skip
    out.print(table(heads, motion_rows(case)))
    out.print()
    wide = [overlap(case, height) for height in (1e-5, 1e-3)]
    both = [f"{each:.1f}°" if each > 0.0 else f"none ({-each:.1f}° apart)" for each in wide]
    out.print(f"Overlap: at the seat {both[0]}, at 1 mm of lift {both[1]}.")
    for text in closing_sentences(case):
        out.print(text)
    if effect is not None:
        heads = (("rpm", "right"), ("VE as used", "right"), ("closing earliest", "right"), ("closing latest", "right"),
                 ("change of VE", "right"), ("of torque", "right"))  # fmt: skip
        out.print()
        out.print(table(heads, effect_rows(effect), "what that does to the engine, on coarse cells"))
        out.print(effect.sentence)
        if effect.unsettled:
            out.print(f"{effect.unsettled} runs did not come to repeat themselves; their changes are rough.")
    elif not asked and case.intake.cam.kind == "card":
        out.print("What that does to filling: waveflow cam FILE --rpm 2000,4000,6000")


def cam_data(case: Any, effect: Any) -> dict[str, Any]:
    """The same as data for JSON; angles in crank degrees, lifts in m."""
    from waveflow.engine.camshapes import closing_span, motion, shapes
    from waveflow.engine.valves import lift_of

    data: dict[str, Any] = {"name": case.name, "option": case.option, "sentences": closing_sentences(case)}
    for side in SIDES:
        curve = lift_of(getattr(case, side).cam, side)
        made = motion(curve)
        events = [{"height_m": h, "opens": curve.open_angle(h), "closes": curve.close_angle(h)} for h in (1e-5, *HEIGHTS[1:])]
        data[side] = {"max_lift_m": curve.max_lift, "max_lift_angle": curve.max_lift_angle, "events": events,
                      "velocity_m_per_deg": made.highest("velocity")[:2],
                      "acceleration_m_per_deg2": made.highest("acceleration")[:2]}  # fmt: skip
    found = shapes(case.intake.cam, "intake")
    data["intake_closing"] = [vars(closing_span(found, height)) for height in (1e-5, 1e-3)]
    if effect is not None:
        data["effect"] = {"rpm": effect.rpm, "closes": effect.closes, "volumetric_efficiency": effect.efficiency,
                          "torque_N_m": effect.torque, "sentence": effect.sentence}  # fmt: skip
    return data
