"""Tops and valleys of a curve over speed, their exact places, and the envelope over them.

A curve of volumetric efficiency is a wiggly one: waves running in the intake column between two intake strokes lift
and lower it several times. With the pulsation index q = 30 c / (L n) (c sound speed, L length of the column, n speed in
rpm: how often the closed column's quarter-wave swings in one cycle), tops lie near q = 1.5, 2.5, 3.5 ... and valleys
between (JSME Mechanical Engineering Dictionary, entry "pulsation effect"). So neighbouring lobes lie at q and q + 1.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from waveflow.study.results import SweepResult

COUNTS = 0.005  # a lobe counts if its rise and its fall exceed this share of the curve's value
NEAR_EQUAL = 0.01  # tops closer to each other than this share are said to be so
STEP = 25.0  # [rpm] distance of the points a parabola is laid through
UNEVEN = 3.0  # a parabola is not trusted where one neighbour is farther off than this many times the other
REPEATS = 1e-4  # how well a computed point repeats, as a share of its value; sets how well a flat top is located

# End correction as a share of the pipe's radius, by kind of entry (plain: Levine and Schwinger, "On the Radiation of
# Sound from an Unflanged Circular Pipe", 1948). A bellmouth is counted as a plain end; an ideal entry has none.
END_CORRECTION = {"plain": 0.6133, "bellmouth": 0.6133, "flanged": 0.8216, "ideal": 0.0}


def pulsation_index(rpm: Any, sound_speed: Any, length: float) -> Any:
    """q = 30 c / (L n): `rpm` n [rpm], `sound_speed` c [m/s], `length` L [m]."""
    return 30.0 * sound_speed / (length * rpm)


def lobe_spacing(rpm: Any, sound_speed: float, length: float) -> Any:
    """Distance [rpm] from a lobe at `rpm` (index q) down to its neighbour at q + 1: n / (q + 1)."""
    return rpm / (pulsation_index(rpm, sound_speed, length) + 1.0)


def tuned_length(case: Any) -> float | None:
    """Length of a case's intake column [m] from the valve to the first volume (or the open), plus end correction.

    None where the case has neither runner nor port.
    """
    port, runner = getattr(case.intake, "port", None), getattr(case.intake, "runner", None)
    length = 0.0
    if port is not None:
        length += getattr(port, "length", None) or port.stations[-1].at
    if runner is not None:
        correction = END_CORRECTION.get(runner.entry, END_CORRECTION["plain"])
        length += runner.length + correction * runner.inlet_diameter / 2.0
    return length or None


@dataclass(frozen=True)
class Lobe:
    """A top or valley that counts: at `rpm` [rpm] the curve is `value`.

    `rise`, `fall`: height on the low-speed and the high-speed side, as a share of the value (negative for a valley).
    `refined`: located by a parabola through points 25 rpm apart, otherwise through points `spacing` [rpm] apart.
    `uncertainty` [rpm]: what the repeatability of a point (1e-4 of its value) means for the place of a flat top, and a
    quarter of the spacing where that is more than 25 rpm.
    """

    kind: str
    rpm: float
    value: float
    rise: float
    fall: float
    refined: bool
    spacing: float
    uncertainty: float


@dataclass(frozen=True)
class Peak:
    """The highest place of a curve: `quantity` is `value` [SI] at `rpm` [rpm].

    `at_end` is "low" or "high" where it is the first or last computed speed, so that the real peak may lie beyond it;
    `beside_gap` where a neighbouring speed failed; `refined`, `spacing`, `uncertainty` as in ``Lobe``.
    """

    quantity: str
    rpm: float
    value: float
    refined: bool = False
    at_end: str = ""
    beside_gap: bool = False
    spacing: float = np.nan
    uncertainty: float = 0.0


def vertex(x: Sequence[float], y: Sequence[float]) -> tuple[float, float]:
    """Highest or lowest place (x, y) of the parabola through three points; the middle point if they lie on a line."""
    (x0, x1, x2), (y0, y1, y2) = x, y
    left, right = (y1 - y0) / (x1 - x0), (y2 - y1) / (x2 - x1)
    bend = (right - left) / (x2 - x0)
    if bend == 0.0 or not np.isfinite(left / bend):
        return float(x1), float(y1)
    place = 0.5 * (x0 + x1) - 0.5 * left / bend
    return float(place), float(y0 + left * (place - x0) + bend * (place - x0) * (place - x1))


def located(x: np.ndarray, y: np.ndarray, i: int, step: float = STEP) -> tuple[float, float, float, float]:
    """Place of the extreme at point `i` by a parabola: (rpm, value, spacing of the points, uncertainty of the place).

    Points closer than half a `step` [rpm] to the middle one are passed over where another is near: their difference is
    noise. Between points that lie very unevenly the extreme stays at its point, as it does at either end.
    """
    left, right = _neighbour(x, i, -1, step), _neighbour(x, i, 1, step)
    if left < 0 or right >= len(x):
        return float(x[i]), float(y[i]), np.nan, 0.0
    xs, ys = x[[left, i, right]], y[[left, i, right]]
    spacing, nearest = float(max(np.diff(xs))), float(min(np.diff(xs)))
    if (ys[1] - ys[0]) * (ys[1] - ys[2]) < 0.0 or spacing > UNEVEN * nearest:
        return float(x[i]), float(y[i]), spacing, 0.5 * spacing
    rpm, value = vertex(xs, ys)
    moved = 0.0
    for k in range(3):
        nudged = ys.copy()
        nudged[k] += REPEATS * abs(ys[1])
        moved += (np.clip(vertex(xs, nudged)[0], xs[0], xs[2]) - rpm) ** 2
    # Points farther apart than a step say where the extreme is to about a quarter of their distance, as a rough rule.
    coarse = 0.0 if spacing <= 1.01 * step else 0.25 * spacing
    return rpm, value, spacing, float(min(np.hypot(np.sqrt(moved), coarse), 0.5 * spacing))


def _neighbour(x: np.ndarray, i: int, way: int, step: float) -> int:
    """The point beside `i` to lay a parabola through; outside the row where there is none."""
    near = far = i + way
    while 0 <= far < len(x) and abs(x[far] - x[i]) < 0.5 * step:
        far += way
    return far if 0 <= far < len(x) and abs(x[far] - x[i]) <= 2.0 * step else near


def turns(y: Sequence[float], share: float = COUNTS) -> list[tuple[str, int]]:
    """Tops and valleys of a row of values, alternating: [("top", index), ...].

    A top is kept if the row rose to it and falls from it by more than `share` of its value; a valley likewise. The ends
    of the row are never turns.
    """
    found: list[tuple[str, int]] = []
    high = low = 0
    direction = 0
    for i in range(1, len(y)):
        if y[i] > y[high]:
            high = i
        if y[i] < y[low]:
            low = i
        if direction >= 0 and y[high] - y[i] > share * abs(y[high]):
            if direction > 0:
                found.append(("top", high))
            direction, low, high = -1, i, i
        elif direction <= 0 and y[i] - y[low] > share * abs(y[low]):
            if direction < 0:
                found.append(("valley", low))
            direction, low, high = 1, i, i
    return found


def find_lobes(x: Any, y: Any, share: float = COUNTS, step: float = STEP) -> tuple[Lobe, ...]:
    """All lobes that count, tops and valleys by ascending speed. `x` [rpm] ascending and `y`, (n,), both finite."""
    x, y = np.asarray(x, float), np.asarray(y, float)
    found = turns(y, share)
    bounds = [0, *(i for _, i in found), len(y) - 1]
    lobes = []
    for n, (kind, i) in enumerate(found):
        rpm, value, spacing, uncertainty = located(x, y, i, step)
        before, after = y[bounds[n] : i + 1], y[i : bounds[n + 2] + 1]
        extreme = np.min if kind == "top" else np.max
        lobes.append(
            Lobe(
                kind=kind,
                rpm=rpm,
                value=value,
                rise=float((y[i] - extreme(before)) / abs(y[i])),
                fall=float((y[i] - extreme(after)) / abs(y[i])),
                refined=bool(spacing <= 1.01 * step),
                spacing=spacing,
                uncertainty=uncertainty,
            )
        )
    return tuple(lobes)


def find_peak(x: Any, y: Any, quantity: str = "", failed: Iterable[float] = (), step: float = STEP) -> Peak | None:
    """The highest place of a curve, by a parabola through the points around it; None without points.

    `x` [rpm] ascending and `y`, (n,), both finite; `failed` [rpm] speeds without a value.
    """
    x, y = np.asarray(x, float), np.asarray(y, float)
    if not len(x):
        return None
    i = int(np.argmax(y))
    rpm, value, spacing, uncertainty = located(x, y, i, step)
    lower = x[i - 1] if i > 0 else -np.inf
    upper = x[i + 1] if i < len(x) - 1 else np.inf
    return Peak(
        quantity=quantity,
        rpm=rpm,
        value=value,
        refined=bool(spacing <= 1.01 * step),
        at_end="low" if i == 0 else "high" if i == len(x) - 1 else "",
        beside_gap=any(lower < speed < upper for speed in failed),
        spacing=spacing,
        uncertainty=uncertainty,
    )


def near_equal(lobes: Iterable[Lobe], share: float = NEAR_EQUAL) -> tuple[tuple[Lobe, ...], ...]:
    """Groups of tops within `share` of the highest of their group, two or more in each, the highest group first."""
    tops = sorted((lobe for lobe in lobes if lobe.kind == "top"), key=lambda lobe: -lobe.value)
    groups: list[list[Lobe]] = []
    for lobe in tops:
        if groups and groups[-1][0].value - lobe.value <= share * abs(groups[-1][0].value):
            groups[-1].append(lobe)
        else:
            groups.append([lobe])
    return tuple(tuple(sorted(group, key=lambda lobe: lobe.rpm)) for group in groups if len(group) > 1)


def rivals_of(lobes: Iterable[Lobe], peak: Peak | None, share: float = NEAR_EQUAL) -> tuple[Lobe, ...]:
    """Tops within `share` of a curve's peak, by ascending speed, where there are two or more: then its place says little."""
    if peak is None or peak.at_end:
        return ()
    near = tuple(lobe for lobe in lobes if lobe.kind == "top" and peak.value - lobe.value <= share * abs(peak.value))
    return near if len(near) > 1 else ()


def lobes_of(result: SweepResult, name: str = "volumetric_efficiency") -> tuple[Lobe, ...]:
    """All lobes that count in a result's column."""
    return find_lobes(*result.ordered(name))


def peak_of(result: SweepResult, name: str) -> Peak | None:
    """Peak of a result's column; None where no speed was computed."""
    x, y = result.ordered(name)
    return find_peak(x, y, name, result.failed)
