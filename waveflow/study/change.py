"""How one curve differs from another over speed: gains and losses, where they meet, and their mean over a band."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from waveflow.study.curve import Curve, mean_over
from waveflow.study.results import SweepResult

SAME = 0.0005  # changes below this share are spoken of as none
TELLING = 0.002  # a curve has crossed over once it is this share on the other side


@dataclass(frozen=True)
class Spot:
    """A relative `change` [1] at `rpm` [rpm]."""

    rpm: float
    change: float


@dataclass(frozen=True)
class Crossover:
    """At `rpm` [rpm] the change goes over to `to` ("gain" or "loss") as speed rises."""

    rpm: float
    to: str


@dataclass(frozen=True)
class Change:
    """Relative change of `quantity` against the first option: `change` (m,) [1] over `rpm` (m,) [rpm, ascending].

    The speeds are those computed for either; where one of the two has no point of its own it is interpolated. NaN where
    a speed failed. `band` [rpm, rpm] and `mean` change over it (uniform in speed); `asked` tells whether the user gave
    the band, otherwise it is the whole common range; `band_left_out` the stretches of it without values, failed or not
    computed. `largest_loss_below` is the largest loss below `below` [rpm]: the band's lower end, or without a band the
    highest speed at which a loss turns into a gain.
    """

    quantity: str
    rpm: np.ndarray
    change: np.ndarray
    band: tuple[float, float]
    asked: bool
    mean: float
    band_left_out: tuple[tuple[float, float], ...]
    crossovers: tuple[Crossover, ...]
    largest_gain: Spot | None
    largest_loss: Spot | None
    largest_loss_below: Spot | None
    below: float | None

    @property
    def covered(self) -> tuple[float, float]:
        """The part of the band that was computed [rpm, rpm]; the band itself where none of it was."""
        low, high = max(self.band[0], float(self.rpm[0])), min(self.band[1], float(self.rpm[-1]))
        return (low, high) if low < high else self.band

    @property
    def main_crossover(self) -> float | None:
        """Highest speed [rpm] above which a loss has become a gain, if there is one."""
        ups = [cross.rpm for cross in self.crossovers if cross.to == "gain"]
        return max(ups) if ups else None


def change_of(
    first: SweepResult, other: SweepResult, name: str, band: tuple[float, float] | None = None
) -> Change | None:
    """Change of a column by name from one result to the other; None where a relative change has no meaning.

    That is so where the two share no range of speeds, or where the first is not positive everywhere (torque of a
    motored engine).
    """
    old, new = Curve.of(first, name), Curve.of(other, name)
    if not len(old) or not len(new) or np.any(old.y <= 0.0):
        return None
    low, high = max(old.low, new.low), min(old.high, new.high)
    if low > high:
        return None
    speeds = np.unique(np.concatenate([old.x, new.x, band or ()]))
    speeds = speeds[(speeds >= low) & (speeds <= high)]
    change = new.at(speeds) / old.at(speeds) - 1.0
    asked = band is not None
    edges = (float(band[0]), float(band[1])) if asked else (float(low), float(high))
    inside = (speeds >= edges[0]) & (speeds <= edges[1])
    mean, left_out = mean_over(speeds[inside], change[inside])
    for start, end in ((edges[0], min(low, edges[1])), (max(high, edges[0]), edges[1])):
        if start < end:
            left_out.append((float(start), float(end)))
    crossovers = find_crossovers(speeds, change)
    ups = [cross.rpm for cross in crossovers if cross.to == "gain"]
    below = edges[0] if asked else max(ups) if ups else None
    return Change(
        quantity=name,
        rpm=speeds,
        change=change,
        band=edges,
        asked=asked,
        mean=mean,
        band_left_out=tuple(sorted(left_out)),
        crossovers=crossovers,
        largest_gain=_spot(speeds, change, 1.0),
        largest_loss=_spot(speeds, change, -1.0),
        largest_loss_below=None if below is None else _spot(speeds[speeds < below], change[speeds < below], -1.0),
        below=below,
    )


def _spot(speeds: np.ndarray, change: np.ndarray, sign: float) -> Spot | None:
    """The largest gain (sign +1) or loss (-1); None where it is too small to speak of."""
    known = np.isfinite(change)
    if not np.any(known):
        return None
    i = int(np.argmax(np.where(known, sign * change, -np.inf)))
    return Spot(float(speeds[i]), float(change[i])) if sign * change[i] > SAME else None


def find_crossovers(speeds: np.ndarray, change: np.ndarray) -> tuple[Crossover, ...]:
    """Speeds [rpm] at which the change turns from loss to gain or back, both of more than 0.2 %.

    The place is where the straight line between neighbouring points is zero, the last such place between the two sides;
    the middle between them where it lies in a gap.
    """
    found = []
    side, last = 0, 0
    for i, value in enumerate(change):
        now = 0 if not abs(value) > TELLING else 1 if value > 0 else -1
        if now == 0:
            continue
        if side and now != side:
            place = 0.5 * (speeds[last] + speeds[i])
            for k in range(last, i):
                a, b = change[k], change[k + 1]
                if a * b <= 0.0 and a != b:  # false for NaN
                    place = speeds[k] + (speeds[k + 1] - speeds[k]) * a / (a - b)
            found.append(Crossover(float(place), "gain" if now > 0 else "loss"))
        side, last = now, i
    return tuple(found)
