"""A port's facts in a porter's words: for the terminal, the figure and JSON."""

from __future__ import annotations

from typing import Any

from waveflow.engine.portfacts import Joint, PortFacts, Taper, port_facts
from waveflow.show.sizes import size, with_unit
from waveflow.show.words import percent_change

SIDES = ("intake", "exhaust")
HEAD = (("port", "left"), ("intake", "left"), ("exhaust", "left"))


def taper_words(taper: Taper) -> str:
    """`"-1.9 % a mm, 58 to 68 mm"`."""
    rate = f"{taper.rate / 10:+.1f}".replace("-", "\N{MINUS SIGN}")
    return f"{rate} % a mm, {size('length', taper.x0)} to {with_unit('length', taper.x1)}"


def joint_words(joint: Joint) -> str:
    """`"804 to 887 mm², +10 % (0.8 mm all round)"`."""
    if abs(joint.share) < 0.005:
        return f"{with_unit('area', joint.after)}, no step"
    edge = f"{with_unit('length', abs(joint.edge), 1)} all round"
    return f"{size('area', joint.before)} to {with_unit('area', joint.after)}, {percent_change(joint.share)} ({edge})"


def pinch_words(facts: PortFacts) -> str:
    """Smallest section and its share of the valve heads."""
    place = with_unit("length", facts.pinch[0])
    return f"{with_unit('area', facts.pinch[1])} at {place}, {facts.pinch_share:.0%} of the valve head area"


def throat_words(facts: PortFacts) -> str:
    """Throat beside its valve."""
    if facts.throat is None or facts.throat_share is None:
        return "not known"
    return f"{with_unit('length', facts.throat[1], 1)} across, {facts.throat_share:.1%} of the valve head"


def port_rows(case: Any) -> list[tuple[str, str, str]]:
    """(what, intake, exhaust) of both ports; empty where the case has none."""
    known = {side: port_facts(case, side) for side in SIDES}
    if not any(known.values()):
        return []
    rows = {"pinch": pinch_words, "throat": throat_words, "steepest taper": lambda facts: taper_words(facts.steepest)}
    made = [(what, *("" if known[side] is None else told(known[side]) for side in SIDES)) for what, told in rows.items()]
    joints = [(side, joint) for side in SIDES if known[side] is not None for joint in known[side].joints]
    for side, joint in joints:
        made.append((joint.name, *(joint_words(joint) if side == each else "" for each in SIDES)))
    return made


def ports_data(case: Any) -> dict[str, Any]:
    """The same as data for JSON, SI."""
    found = {}
    for side in SIDES:
        facts = port_facts(case, side)
        if facts is not None:
            found[side] = {
                "length_m": facts.length, "pinch_at_m": facts.pinch[0], "pinch_m2": facts.pinch[1],
                "pinch_of_valve_area": facts.pinch_share, "throat_of_valve": facts.throat_share,
                "steepest_taper_per_m": facts.steepest.rate,
                "joints": [{"name": each.name, "before_m2": each.before, "after_m2": each.after, "edge_m": each.edge}
                           for each in facts.joints],
            }  # fmt: skip
    return found
