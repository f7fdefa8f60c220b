"""Which speeds to compute: a list as given, or a range whose points suit the lobes; and where to add points.

A range starts with a coarse row, at least four points a lobe as far as that is affordable. Then rounds follow: around
every top that counts, and around the highest torque and power, points 25 rpm apart are added until the top is in the
middle of three of them; then half-way points where neighbouring points differ much. What to add depends only on the
values of the rounds before, never on the order in which points are finished, and the number of points is bounded.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from waveflow.study.lobes import COUNTS, STEP, lobe_spacing, turns, vertex

LOWEST, HIGHEST = 100.0, 30000.0  # [rpm]
MOST_SPEEDS = 1000
MOST_COARSE = 60
MOST_EXTRA = 40
MOST_A_ROUND = 24
ROUNDS = 10
FINEST, WIDEST = 100.0, 250.0  # [rpm] bounds of the coarse row's step
PER_LOBE = 4.0  # coarse points a lobe where affordable
ENOUGH_PER_LOBE = 3.0  # with fewer points a lobe, a whole one can hide between two points
STEEP = 0.08  # with enough points a lobe, neighbours may differ by this share before a lobe is suspected
UNKNOWN = 0.03  # and by this share where the lobes' spacing is not known
MERGE = 200.0  # [rpm] stretches closer than this are spoken of as one


class SpeedsError(ValueError):
    """The speeds asked for make no sense; the text says what is allowed."""


@dataclass(frozen=True)
class SpeedRange:
    """Speeds from `low` to `high` [rpm]; `step` [rpm] of the coarse row, or None to let the lobes decide."""

    low: float
    high: float
    step: float | None = None

    def __post_init__(self) -> None:
        for speed in (self.low, self.high):
            _checked(speed)
        if self.high <= self.low:
            raise SpeedsError(f"the range {self.low:g} to {self.high:g} rpm does not go upwards")
        if self.step is not None and not 1.0 <= self.step <= self.high - self.low:
            raise SpeedsError(f"step {self.step:g} rpm: allowed 1 to {self.high - self.low:g} rpm for this range")
        if self.step is not None and (self.high - self.low) / self.step > MOST_SPEEDS:
            raise SpeedsError(f"step {self.step:g} rpm gives more than {MOST_SPEEDS} speeds; take a larger one")


@dataclass(frozen=True)
class Plan:
    """What will be computed: `first` speeds [rpm] as given or the coarse row, and at most `most_extra` more."""

    first: tuple[float, ...]
    refine: bool
    most_extra: int
    in_order: bool

    @property
    def most(self) -> int:
        """Upper bound of the number of speeds."""
        return len(set(self.first)) + self.most_extra

    @property
    def sentence(self) -> str:
        """The plan in words, to be said before anything is computed."""
        count = len(set(self.first))
        speeds = f"{count} speed" + ("" if count == 1 else "s")
        if not self.refine:
            return f"{speeds} to compute."
        return f"{speeds} to compute first, then at most {self.most_extra} more around the lobes that count."


def parse_speeds(text: str) -> SpeedRange | list[float]:
    """Speeds from words: "1500:7500" and "1500:7500:250" are ranges, "2000, 3000 4000" is a list [rpm].

    Raises ``SpeedsError``.
    """
    bare = re.sub(r"\s*rpm\b", "", text.strip(), flags=re.IGNORECASE)
    separator = ":" if ":" in bare else None
    words = bare.split(":") if separator else re.split(r"[\s,;]+", bare.strip(" ,;"))
    try:
        numbers = [float(word) for word in words]
    except ValueError:
        raise SpeedsError(
            f"{text!r} is no list of speeds; write 1500:7500 for a range, 1500:7500:250 for a range with a step, "
            "or 2000,3000,4000 for a list"
        ) from None
    if separator:
        if len(numbers) not in (2, 3):
            raise SpeedsError(f"{text!r}: a range is FROM:TO or FROM:TO:STEP in rpm")
        return SpeedRange(*numbers)
    return [_checked(speed) for speed in numbers]


def plan_speeds(
    rpm: str | float | SpeedRange | Iterable[float],
    *,
    refine: bool | None = None,
    sound_speed: float = 343.0,
    intake_length: float | None = None,
    most_extra: int = MOST_EXTRA,
) -> Plan:
    """The plan for the speeds asked for.

    `rpm`: words as ``parse_speeds`` reads them, one speed, a list or a ``SpeedRange`` [rpm]; `refine` None means:
    refine a range, compute a list as given. `sound_speed` [m/s] and `intake_length` [m] give the lobes' spacing.
    Raises ``SpeedsError``.
    """
    asked = parse_speeds(rpm) if isinstance(rpm, str) else rpm
    if isinstance(asked, SpeedRange):
        refine = True if refine is None else refine
        first = coarse_speeds(asked, sound_speed, intake_length)
    else:
        given = [asked] if isinstance(asked, int | float | np.number) else list(asked)
        first = tuple(_checked(speed) for speed in given)
        if not first:
            raise SpeedsError("no speed is given")
        if len(first) > MOST_SPEEDS:
            raise SpeedsError(f"{len(first)} speeds are given; at most {MOST_SPEEDS} are computed at once")
    refine = bool(refine)
    return Plan(first, refine, most_extra if refine else 0, in_order=not refine)


def coarse_speeds(asked: SpeedRange, sound_speed: float, intake_length: float | None) -> tuple[float, ...]:
    """The coarse row of a range [rpm]: a given step as it is, otherwise about four points a lobe.

    Lobes crowd together and fade at low speed, so the step is never under 100 rpm, and never over 250 rpm; it is
    widened evenly where that would give more than 60 points. Inner points are multiples of 25 rpm, so that points added
    later fall between them evenly.
    """
    if asked.step is not None:
        count = int(math.floor((asked.high - asked.low) / asked.step + 1e-9))
        row = [asked.low + n * asked.step for n in range(count + 1)]
        return tuple(row) if row[-1] >= asked.high - 1e-6 * asked.step else (*row, asked.high)
    widen = 1.0
    while True:
        row = [asked.low]
        while True:
            step = WIDEST
            if intake_length:
                step = min(max(lobe_spacing(row[-1], sound_speed, intake_length) / PER_LOBE, FINEST), WIDEST)
            following = STEP * round((row[-1] + widen * step) / STEP)
            if following > asked.high - 0.5 * widen * step:
                break
            row.append(float(following))
        if len(row) < MOST_COARSE:
            return (*row, asked.high)
        widen *= 1.1


def extra_speeds(
    values: Mapping[str, Mapping[float, float]],
    done: Iterable[float],
    room: int,
    sound_speed: float = 343.0,
    intake_length: float | None = None,
) -> list[float]:
    """Speeds [rpm] to add in the next round, most important first, none of those in `done`, at most `room`.

    `values`: by column name ("volumetric_efficiency", "torque", "power") the values by speed, NaN for a failed one.
    `sound_speed` [m/s] and `intake_length` [m] give the lobes' spacing.
    """
    taken = set(done)
    wanted: list[float] = []
    ve = values.get("volumetric_efficiency", {})
    for name in ("power", "torque", "volumetric_efficiency"):
        wanted += _around_top(values.get(name, {}), None, taken)
    x, y = _ascending(ve)
    # A lobe seen through few points looks smaller than it is: smaller ones are looked at, too.
    tops = [i for kind, i in turns(y, 0.6 * COUNTS) if kind == "top"]
    for i in sorted(tops, key=lambda i: -y[i]):
        wanted += _around_top(ve, i, taken)
    fresh = [speed for speed in dict.fromkeys(wanted) if speed not in taken]
    if fresh:
        return fresh[: min(room, MOST_A_ROUND)]
    # Tops come first; what half-way points show may need half of the room that is left.
    return _half_way(x, y, taken, sound_speed, intake_length)[: min((room + 1) // 2, MOST_A_ROUND)]


def _half_way(
    x: np.ndarray, y: np.ndarray, taken: set[float], sound_speed: float, intake_length: float | None
) -> list[float]:
    """Half-way points [rpm] where neighbours differ much and the curve is not simply steep there, worst first."""
    if len(x) < 4:
        return []
    slopes = np.diff(y) / np.diff(x)
    usual = 0.5 * (np.append(slopes[1], slopes[:-1]) + np.append(slopes[1:], slopes[-2]))
    odd = np.abs(slopes - usual) * np.diff(x) / np.abs(y[1:])
    oddness = dict(zip(x[:-1], odd, strict=True))
    middles = []
    for low, high, _, _ in sorted(doubtful(x, y, sound_speed, intake_length), key=lambda gap: -oddness[gap[0]]):
        middle = STEP * round(0.5 * (low + high) / STEP)
        if oddness[low] > COUNTS and high - low >= 4.0 * STEP and low < middle < high and middle not in taken:
            middles.append(middle)
    return middles



def _around_top(values: Mapping[float, float], i: int | None, taken: set[float]) -> list[float]:
    """Points 25 rpm apart around a top (the highest one for None), empty once it is in the middle of three of them."""
    x, y = _ascending(values)
    if len(x) < 3:
        return []
    if i is None:
        i = int(np.argmax(y))
    if i == 0 or i == len(x) - 1 or max(x[i] - x[i - 1], x[i + 1] - x[i]) <= 1.01 * STEP:
        return []
    guess = vertex(x[i - 1 : i + 2], y[i - 1 : i + 2])[0]
    middle = STEP * round(guess / STEP)
    near = [middle, middle - STEP, middle + STEP, x[i] - STEP, x[i] + STEP]
    open_ones = [speed for speed in near if x[i - 1] < speed < x[i + 1] and speed not in taken]
    return [float(speed) for speed in (open_ones[:3] if middle not in taken else open_ones)]


def doubtful(
    rpm: Sequence[float], ve: Sequence[float], sound_speed: float, intake_length: float | None
) -> list[tuple[float, float, float, float]]:
    """Neighbouring points that differ too much to exclude a missed lobe between them.

    `rpm` ascending and `ve` finite, (n,). With fewer than three points a lobe, a difference above 0.5 % is too much;
    otherwise one above 8 %, or above 3 % where the lobes' spacing is not known. Returns (low [rpm], high [rpm],
    difference [1], lobes' spacing [rpm], inf if not known).
    """
    found = []
    for low, high, a, b in zip(rpm[:-1], rpm[1:], ve[:-1], ve[1:], strict=True):
        change, between = abs(b - a) / max(abs(a), abs(b), 1e-9), high - low
        apart = lobe_spacing(low, sound_speed, intake_length) if intake_length else math.inf
        limit = COUNTS if apart < ENOUGH_PER_LOBE * between else STEEP if intake_length else UNKNOWN
        if between > 1.01 * STEP and change > limit:
            found.append((float(low), float(high), float(change), float(apart)))
    return found


def doubts(
    rpm: Sequence[float], ve: Sequence[float], sound_speed: float, intake_length: float | None
) -> tuple[str, ...]:
    """A sentence on what ``doubtful`` finds, stretches near each other taken together; empty if there is nothing."""
    gaps = doubtful(rpm, ve, sound_speed, intake_length)
    if not gaps:
        return ()
    stretches: list[list[float]] = []
    for low, high, _, _ in gaps:
        if stretches and low - stretches[-1][1] <= MERGE:
            stretches[-1][1] = high
        else:
            stretches.append([low, high])
    places = [f"{low:g} and {high:g}" for low, high in stretches]
    between = places[0] if len(places) == 1 else f"{', '.join(places[:-1])}, and {places[-1]}"
    spacings = [apart for *_, apart in gaps if math.isfinite(apart)]
    where = ""
    if spacings:
        low, high = min(spacings), max(spacings)
        where = f" where lobes lie about {low:.0f}" + (f" to {high:.0f}" if high > 1.05 * low else "") + " rpm apart"
    return (
        f"Between {between} rpm neighbouring points differ by up to {100 * max(gap[2] for gap in gaps):.1f} % of "
        f"volumetric efficiency{where}: a lobe between the points cannot be excluded.",
    )


def _ascending(values: Mapping[float, float]) -> tuple[np.ndarray, np.ndarray]:
    x = np.array(sorted(speed for speed, value in values.items() if math.isfinite(value)))
    return x, np.array([values[speed] for speed in x])


def _checked(speed: float) -> float:
    speed = float(speed)
    if not LOWEST <= speed <= HIGHEST:
        raise SpeedsError(f"{speed:g} rpm: allowed {LOWEST:g} to {HIGHEST:g} rpm")
    return speed
