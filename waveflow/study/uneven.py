"""Cylinder by cylinder: which one fills less than the others, and what the parts it does not share with them cost."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from waveflow.study.curve import Curve, mean_over
from waveflow.study.results import SweepResult, case_of
from waveflow.study.words import counted, listed, share

EVEN = 0.005
"""Difference of filling below which cylinders are called even: about what a flow bench repeats to on one day."""
FILLING = "volumetric_efficiency"


@dataclass(frozen=True)
class CylinderChange:
    """Change of one cylinder [relative, 1]: mean over the band, and the largest loss at any common speed [rpm]."""

    cylinder: int
    mean: float
    worst: float
    worst_rpm: float


def own_of(result: SweepResult) -> dict[int, tuple[str, ...]]:
    """Cylinder number -> what it has of its own, of a result's case; empty where all are alike."""
    from waveflow.engine.percylinder import own_parts

    case = case_of(result)
    return {} if case is None else own_parts(case)


def against_others(result: SweepResult, name: str = FILLING) -> np.ndarray:
    """Each cylinder over the mean of the other cylinders, less 1, (speeds, cylinders) [1]; NaN in a gap.

    Raises KeyError where the result holds no such column cylinder by cylinder.
    """
    values = result.per_cylinder[name]
    others = (values.sum(axis=1, keepdims=True) - values) / max(values.shape[1] - 1, 1)
    with np.errstate(divide="ignore", invalid="ignore"):
        return values / others - 1.0


def changes(result: SweepResult, first: SweepResult, band: tuple[float, float] | None = None,
            name: str = FILLING) -> list[CylinderChange]:  # fmt: skip
    """Each cylinder of a result against the same cylinder of the first one, uniform in speed over the band they share.

    Empty where the two do not have the same number of cylinders, or no two common speeds.
    """
    a, b = result.per_cylinder.get(name), first.per_cylinder.get(name)
    if a is None or b is None or a.shape[1] != b.shape[1]:
        return []
    found = []
    for k in range(a.shape[1]):
        own, other = _curve(result, a[:, k]), _curve(first, b[:, k])
        speeds = np.unique(np.concatenate([own.x, other.x]))
        low, high = band or (-np.inf, np.inf)
        change = own.at(speeds) / other.at(speeds) - 1.0
        if not np.isfinite(change).any():
            return []
        worst = int(np.nanargmin(change))
        inside = (speeds >= low) & (speeds <= high)
        mean, _ = mean_over(speeds[inside], change[inside])
        found.append(CylinderChange(k + 1, mean, float(change[worst]), float(speeds[worst])))
    return found


def _curve(result: SweepResult, values: np.ndarray) -> Curve:
    speeds, first = np.unique(result.rpm, return_index=True)
    good = np.isfinite(values[first])
    return Curve(speeds[good], values[first][good], result.failed)


def sweep_sentence(result: SweepResult) -> str:
    """Which cylinder of one sweep fills least, and whether that is one with parts of its own; empty for a single cylinder."""
    values = result.per_cylinder.get(FILLING)
    if values is None or values.shape[1] < 2 or not np.isfinite(values).any():
        return ""
    apart = against_others(result)
    at, least = np.unravel_index(np.nanargmin(apart), apart.shape)
    own = own_of(result)
    if apart[at, least] > -EVEN:
        return f"The cylinders fill alike: none falls more than {share(min(apart[at, least], 0.0))} below the others."
    mean = float(np.nanmean(apart[:, least]))
    text = f"Cylinder {least + 1} fills least: {share(apart[at, least])} below the mean of the others at "
    text += f"{result.rpm[at]:.0f} rpm, {share(mean)} {'below' if mean < 0 else 'above'} it on average"
    if not own:
        return f"{text}; all are described alike, so it is where it stands in the pipes that makes the difference."
    if own.get(int(least) + 1):
        return f"{text}; it has its own {listed(own[int(least) + 1])}."
    return f"{text}; nothing of it is its own, so its place in the pipes makes the difference."


def comparison_sentences(comparison: Any) -> list[str]:
    """For each option in which cylinders differ: the cylinder that loses most against the same one of the first option."""
    told = []
    first = comparison.results[0]
    for option in comparison.options[1:]:
        own = own_of(option.result)
        if not own and not own_of(first):
            continue
        found = changes(option.result, first, comparison.band)
        if not found:
            continue
        least = min(found, key=lambda each: each.worst)
        rest = [each for each in found if each is not least]
        most = max((-each.worst for each in rest), default=0.0)
        if least.worst > -EVEN:
            told.append(f"{option.label}: no cylinder loses more than {share(min(least.worst, 0.0))} of filling at any speed, "
                        "less than a flow bench repeats to.")  # fmt: skip
            continue
        parts = f" (own {listed(own[least.cylinder])})" if own.get(least.cylinder) else ""
        told.append(
            f"{option.label}: cylinder {least.cylinder}{parts} is the low one: it loses {share(least.worst)} of filling at "
            f"{least.worst_rpm:.0f} rpm and {share(least.mean)} on average, the other {counted(len(rest), 'cylinder')} "
            f"{share(max(most, 0.0))} at most."
        )
    return told
