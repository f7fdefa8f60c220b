"""The curve behind the lobes: the mean of a curve over one lobe, and where that is highest.

A lobe is one unit of the pulsation index q wide, so the mean over q - 1/2 to q + 1/2 carries no lobes. Its peak moves
when the engine's breathing moves, not when one lobe overtakes its neighbour.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from waveflow.study.lobes import Peak, pulsation_index, vertex
from waveflow.study.results import SweepResult

_PLACES = 801


@dataclass(frozen=True)
class Envelope:
    """Running mean of `quantity` over one unit of q: `value` [SI] over `rpm` [rpm, ascending], both (m,).

    `peak` is None where the envelope is empty; then `why` says the reason. `sparse` means that the points around the
    peak lie more than half a unit of q apart, too far to average lobes away.
    """

    quantity: str
    rpm: np.ndarray
    value: np.ndarray
    peak: Peak | None = None
    sparse: bool = False
    why: str = ""


def envelope_of(result: SweepResult, name: str = "volumetric_efficiency") -> Envelope:
    """Envelope of a result's column by name.

    The mean is uniform in q, over a shape-preserving cubic through the computed points, and only where the whole unit
    of q lies inside the computed range: half a unit at either end of the range has no envelope.
    """
    empty = np.array([])
    rpm, value = result.ordered(name)
    if result.intake_length is None:
        return Envelope(name, empty, empty, why="the length of the intake column is not known")
    speeds, sound = result.ordered("runner_sound_speed")
    if len(rpm) < 3 or not len(speeds):
        return Envelope(name, empty, empty, why="too few speeds were computed")
    # Interpolated, as a column may be known at fewer speeds than another; np.interp is exact at the points.
    q = pulsation_index(rpm, np.interp(rpm, speeds, sound), result.intake_length)
    order = np.argsort(q)
    q, rpm, value = q[order], rpm[order], value[order]
    if np.any(np.diff(q) <= 0.0):
        return Envelope(name, empty, empty, why="the sound speed in the runner jumps between speeds")
    if q[-1] - q[0] <= 1.0:
        return Envelope(name, empty, empty, why="the speeds span less than one lobe")
    from scipy.interpolate import PchipInterpolator

    integral = PchipInterpolator(q, value).antiderivative()
    # Even steps in 1/q are about even steps in speed.
    centres = 1.0 / np.linspace(1.0 / (q[-1] - 0.5), 1.0 / (q[0] + 0.5), _PLACES)
    mean = integral(centres + 0.5) - integral(centres - 0.5)
    places = np.interp(centres, q, q * rpm) / centres  # q n = 30 c / L hardly varies, so a straight line will do
    return Envelope(name, places, mean, *_peak(name, places, mean, centres, q))


def _peak(name: str, rpm: np.ndarray, mean: np.ndarray, centres: np.ndarray, q: np.ndarray) -> tuple[Peak, bool]:
    """Highest place of the envelope, and whether the points under it are sparse."""
    i = int(np.argmax(mean))
    at_end = "low" if i == 0 else "high" if i == len(mean) - 1 else ""
    place, value = float(rpm[i]), float(mean[i])
    if not at_end:
        place, value = vertex(rpm[i - 1 : i + 2], mean[i - 1 : i + 2])
    first = np.searchsorted(q, centres[i] - 0.5, side="right") - 1
    last = np.searchsorted(q, centres[i] + 0.5, side="left")
    widest = float(np.max(np.diff(q[max(first, 0) : last + 1])))
    return Peak(name, place, value, refined=True, at_end=at_end), widest > 0.5
