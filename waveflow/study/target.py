"""A wanted speed of peak: how far each option is from it, and how flat its curve is there."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from waveflow.study.curve import Curve
from waveflow.study.envelope import envelope_of
from waveflow.study.lobes import Peak, peak_of
from waveflow.study.results import SweepResult
from waveflow.study.words import NAMES, capital, listed, rounded, share

FLAT = 0.02  # flatness: the band within this share of the peak


@dataclass(frozen=True)
class Flatness:
    """Speeds around a peak where a curve stays within 2 % of it: from `low` to `high` [rpm].

    `open_low`, `open_high`: the computed range (or a failed speed) ends before the curve has fallen so far.
    """

    low: float
    high: float
    open_low: bool
    open_high: bool

    @property
    def width(self) -> float:
        """Width of the band [rpm]; at least so much where an end is open."""
        return self.high - self.low

    @property
    def words(self) -> str:
        """ "within 2 % of it from 5900 to 6900 rpm (1000 rpm wide)"."""
        least = "at least " if self.open_low or self.open_high else ""
        low, high = rounded(self.low), rounded(self.high)
        return f"within 2 % of it from {low} to {high} rpm ({least}{high - low} rpm wide)"


@dataclass(frozen=True)
class OptionTarget:
    """One option against the target: its `peak` (None where none is known), `miss` = peak minus target [rpm].

    `others`: speeds [rpm] of its peaks of power, torque and volumetric efficiency. `given_up`: how far the curve at the
    target speed is below its own peak, as a share [1]; NaN where the target speed was not computed.
    """

    label: str
    peak: Peak | None
    miss: float
    flat: Flatness | None
    given_up: float
    others: dict[str, float]
    sentence: str


@dataclass(frozen=True)
class TargetReport:
    """All options against a target speed `rpm` [rpm] of the peak of `of`; `nearest`: labels of the nearest ones."""

    rpm: float
    of: str
    options: tuple[OptionTarget, ...]
    nearest: tuple[str, ...]
    sentences: tuple[str, ...]


def parse_target(target: str | float) -> float:
    """Target speed [rpm] from words ("6500 rpm") or a number [rpm]. Raises ``ValueError``."""
    if isinstance(target, str):
        from waveflow.units import parse

        target = parse(target, "speed_rpm")
    target = float(target)
    if not 100.0 <= target <= 30000.0:
        raise ValueError(f"target {target:g} rpm: allowed 100 to 30000 rpm")
    return target


def words_for(of: str) -> str:
    """Words for what the target speaks of."""
    return "volumetric-efficiency envelope" if of == "envelope" else NAMES[of]


def peak_for(result: SweepResult, of: str) -> Peak | None:
    """The peak a target speaks of: a column's, or for "envelope" that of volumetric efficiency over the lobes.

    Raises ``ValueError`` for another word.
    """
    if of == "envelope":
        return envelope_of(result).peak
    if of not in ("power", "torque", "volumetric_efficiency"):
        raise ValueError(f"a target can be of power, torque, volumetric_efficiency or envelope, not {of!r}")
    return peak_of(result, of)


def flatness_of(curve: Curve, peak: Peak, within: float = FLAT) -> Flatness:
    """The unbroken band around a peak where the curve is above (1 - `within`) times its peak."""
    floor = peak.value * (1.0 - within)
    edges = []
    for way, end in ((-1.0, curve.low), (1.0, curve.high)):
        if (end - peak.rpm) * way <= 0.0:
            edges.append((float(end), True))
            continue
        speeds = np.unique(np.concatenate([np.linspace(peak.rpm, end, 2001), curve.x]))
        speeds = speeds[(speeds - peak.rpm) * way >= 0.0][:: int(way)]
        values = curve.at(speeds)
        below = np.flatnonzero(~(values >= floor) & (speeds != peak.rpm))
        if not len(below):
            edges.append((float(end), True))
            continue
        k = int(below[0])
        if not np.isfinite(values[k]) or k == 0:
            edges.append((float(speeds[max(k - 1, 0)]), True))
        else:
            part = (values[k - 1] - floor) / (values[k - 1] - values[k])
            edges.append((float(speeds[k - 1] + part * (speeds[k] - speeds[k - 1])), False))
    (low, open_low), (high, open_high) = edges
    return Flatness(low, high, open_low, open_high)


def _curve_for(result: SweepResult, of: str) -> Curve:
    if of == "envelope":
        envelope = envelope_of(result)
        return Curve(envelope.rpm, envelope.value)
    return Curve.of(result, of)


def target_report(options: Sequence[tuple[str, SweepResult]], rpm: float, of: str = "power") -> TargetReport:
    """Every option's peak against a target speed `rpm` [rpm]; `of` as for ``peak_for``."""
    rows = tuple(_one(label, result, rpm, of) for label, result in options)
    known = [row for row in rows if math.isfinite(row.miss) and not _unsure(row.peak, row.miss)]
    sentences = [row.sentence for row in rows]
    nearest: tuple[str, ...] = ()
    if known:
        best = min(abs(rounded(row.miss)) for row in known)
        nearest = tuple(row.label for row in known if abs(rounded(row.miss)) == best)
        verb = "comes" if len(nearest) == 1 else "come equally"
        if len(known) > 1:
            sentences.append(f"{capital(listed(nearest))} {verb} near{'est' if len(nearest) == 1 else ''}.")
    return TargetReport(rpm, of, rows, nearest, tuple(sentences))


def _unsure(peak: Peak, miss: float) -> bool:
    """Whether the range ends before the peak, on the side of the target: then the miss can be anything."""
    return bool(peak.at_end) and (peak.at_end == "high") == (miss <= 0.0)


def _one(label: str, result: SweepResult, rpm: float, of: str) -> OptionTarget:
    peak, name = peak_for(result, of), words_for(of)
    places = {key: peak_of(result, key) for key in ("power", "torque", "volumetric_efficiency")}
    others = {key: place.rpm for key, place in places.items() if place is not None}
    if peak is None:
        sentence = f"{capital(label)}: no {name} peak is known, so it cannot be held against {rpm:.0f} rpm."
        return OptionTarget(label, None, math.nan, None, math.nan, others, sentence)
    curve = _curve_for(result, of)
    flat = flatness_of(curve, peak)
    given_up = float(1.0 - curve.at(rpm) / peak.value)
    miss = peak.rpm - rpm
    edge = {"high": " or above", "low": " or below", "": ""}[peak.at_end]
    text = f"{capital(label)}: {name} peak at {rounded(peak.rpm)} rpm{edge}, {off_words(miss)} {rpm:.0f} rpm; "
    text += flat.words
    if math.isfinite(given_up):
        text += f", {share(given_up)} under its peak at {rpm:.0f} rpm"
    if _unsure(peak, miss):
        text += "; the computed range ends there, so how far off the peak is cannot be told"
    if of == "power" and "torque" in others:
        text += f"; torque peak at {rounded(others['torque'])} rpm"
    return OptionTarget(label, peak, miss, flat, given_up, others, text + ".")


def off_words(miss: float) -> str:
    """ "120 rpm above", "on" """
    size = abs(rounded(miss))
    return "on" if size == 0 else f"{size} rpm {'above' if miss > 0 else 'below'}"
