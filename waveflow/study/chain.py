"""Which speed starts from whose end state: fixed by the list of speeds alone.

A run from rest spends most of its cycles on filling the system with gas of the right heat; one that starts from the end
state of a neighbouring speed needs about half of them. So that a sweep gives the same bits for any number of workers and
however often it was stopped, who follows whom depends on the list only, never on who finishes first: ascending speeds are
cut into groups of at most ten, the middle one starts from rest, its neighbours from it, the outer ones from those. Groups
are small so that several cores find work at once. Points added later start from the nearest speed of the rounds before.

States are handed on in single precision, whether they come from a run a moment ago or from the journal: half the size, and
a start need not be more exact.
"""

from __future__ import annotations

import base64
import binascii
import zlib
from collections.abc import Iterable

import numpy as np

GROUP = 10  # speeds in a group, one of them from rest
REACH = 1.25  # ratio of two speeds beyond which neither starts from the other


def parents_of(speeds: Iterable[float]) -> dict[float, float | None]:
    """For each of `speeds` [rpm] the one it starts from, None for rest; in an order in which parents come first."""
    row = sorted(set(speeds))
    groups: list[list[float]] = []
    for speed in row:
        if groups and speed < REACH * groups[-1][-1]:
            groups[-1].append(speed)
        else:
            groups.append([speed])
    cut = [part for group in groups for part in _cut(group)]
    parents: dict[float, float | None] = {part[len(part) // 2]: None for part in cut}
    for away in range(1, GROUP):
        for part in cut:
            middle = len(part) // 2
            for place, step in ((middle - away, 1), (middle + away, -1)):
                if 0 <= place < len(part):
                    parents[part[place]] = part[place + step]
    return parents


def _cut(group: list[float]) -> list[list[float]]:
    """A row of speeds in parts of nearly the same length, none longer than GROUP."""
    count = -(-len(group) // GROUP)
    edges = [round(k * len(group) / count) for k in range(count + 1)]
    return [group[low:high] for low, high in zip(edges, edges[1:], strict=False)]


def nearest(speeds: Iterable[float], known: Iterable[float]) -> dict[float, float | None]:
    """For each of `speeds` [rpm] the nearest (by ratio; the lower of two) of those `known`, None where none is near."""
    row = sorted(known)
    found: dict[float, float | None] = {}
    for speed in speeds:
        close = min(row, key=lambda each: (max(each / speed, speed / each), each), default=None)
        found[speed] = close if close is not None and max(close / speed, speed / close) < REACH else None
    return found


def state_text(state: np.ndarray) -> str:
    """An end state (n,) as text for the journal: single precision, little-endian, compressed, base64."""
    return base64.b64encode(zlib.compress(np.asarray(state, "<f4").tobytes(), 6)).decode("ascii")


def state_of(text: str) -> np.ndarray | None:
    """The state (n,) back from ``state_text``; None where there is none or it is damaged."""
    try:
        return np.frombuffer(zlib.decompress(base64.b64decode(text, validate=True)), "<f4").astype(float) if text else None
    except (binascii.Error, zlib.error, ValueError):
        return None


def usable(state: np.ndarray | None) -> bool:
    """Whether a state may be handed on: there is one, and every number of it is finite in single precision."""
    if state is None:
        return False
    with np.errstate(over="ignore"):
        return bool(np.isfinite(np.asarray(state, np.float32)).all())

