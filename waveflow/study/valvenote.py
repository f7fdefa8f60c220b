"""Whether results were run with the valve's own coefficient or the whole port's, read from the text kept with them."""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache

from waveflow.engine.case import load_text
from waveflow.engine.share import VALVE_ALONE, share_of
from waveflow.errors import CaseError
from waveflow.study.words import listed


@lru_cache(maxsize=64)
def alone_sides(text: str) -> tuple[str, ...]:
    """Sides of a case [resolved TOML] whose sheet serves for the valve alone."""
    try:
        case = load_text(text)
    except CaseError:
        return ()
    return tuple(side for side in ("intake", "exhaust") if share_of(case, side) == VALVE_ALONE)


def valve_notes(named: Sequence[tuple[str, str]]) -> list[str]:
    """Sentences on the choice for options (name, text); a comparison of unlike choices is told as such."""
    sides = [alone_sides(text) for _, text in named]
    if len(set(sides)) == 1 and len(sides) > 1 and sides[0]:
        return [f"Valve coefficients ({listed(sides[0])}) are those of the valves alone: the ports' losses were taken out of "
                "the flow sheets and are charged by the ports as described."]  # fmt: skip
    notes = [f"The coefficient of {name} is that of the valve alone ({listed(each)}): the port's losses were taken out of the "
             "sheet and are charged by the port." for (name, _), each in zip(named, sides, strict=True) if each]
    if len(set(sides)) > 1:
        notes.append("The options do not share that choice; part of their difference is the choice, not the port.")
    return notes
