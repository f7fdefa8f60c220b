"""Whether results were run with the valve's own coefficient or the whole port's, read from the text kept with them."""

from __future__ import annotations

import tomllib
from collections.abc import Sequence
from typing import Any

from waveflow.engine.valvealone import VALVE_ALONE
from waveflow.study.words import listed


def alone_sides(text: str) -> tuple[str, ...]:
    """Sides of a case [resolved TOML] whose sheet serves for the valve alone."""
    if VALVE_ALONE not in text:
        return ()
    tree = tomllib.loads(text)
    found: Any = ((side, tree.get(side, {}).get("flow", {})) for side in ("intake", "exhaust"))
    return tuple(side for side, flow in found if flow.get("coefficient_of") == VALVE_ALONE)


def valve_notes(named: Sequence[tuple[str, str]]) -> list[str]:
    """Sentences on the choice for options (name, text); a comparison of unlike choices is told as such."""
    sides = [alone_sides(text) for _, text in named]
    notes = [f"The coefficient of {name} is that of the valve alone ({listed(each)}): the port's losses were taken out of the "
             "sheet and are charged by the port." for (name, _), each in zip(named, sides, strict=True) if each]
    if len(set(sides)) > 1:
        notes.append("The options do not share that choice; part of their difference is the choice, not the port.")
    return notes
