"""By how much area a derived option would put its peak at a wanted speed: a quick search with one parameter."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

from waveflow.errors import RunError
from waveflow.study.results import SweepResult
from waveflow.study.target import off_words, peak_for, words_for
from waveflow.study.words import capital, counted, rounded

CLOSE = 25.0  # [rpm] a target is met within this
FINEST_AREA = 0.25  # [%] a finer difference of area cannot be ground


@dataclass(frozen=True)
class AreaSearch:
    """What area alone can do: `percent` [%] of area added comes nearest, with its `peak` [rpm] and `miss` [rpm].

    `outcome`: "met"; "cannot" (area alone does not reach it within the limits); "jumps" (the peak goes from one lobe to
    another past the target); "stopped" (the number of runs was used up); "range" (the computed speeds end before the
    peak); "failed" (no run gave a peak). `tried`: (percent, peak [rpm]) in the order of the runs.
    """

    percent: float
    peak: float
    miss: float
    outcome: str
    tried: tuple[tuple[float, float], ...]
    sentence: str

    @property
    def met(self) -> bool:
        """True where the peak comes within 25 rpm of the target."""
        return self.outcome == "met"


def area_for_target(
    evaluate: Callable[[float], SweepResult],
    rpm: float,
    *,
    of: str = "power",
    base: SweepResult | None = None,
    low: float = -15.0,
    high: float = 40.0,
    most: int = 8,
    close: float = CLOSE,
) -> AreaSearch:
    """By how much area a derived option would put its peak at a target speed `rpm` [rpm].

    `evaluate(percent)` runs an option whose area is changed by so many percent (it may raise ``RunError``); `base` is
    its result at 0 %, if there is one already. The search stays within `low` to `high` [%], runs `evaluate` at most
    `most` times, and stops when the peak is within `close` [rpm]. The root of peak minus target is bracketed by the
    limits and closed in on by the regula falsi with the Illinois step (Dowell and Jarratt, "A Modified Regula Falsi
    Method for Computing the Root of an Equation", 1971).
    """
    search = _Search(evaluate, rpm, of, close, most)
    search.run(base, low, high)
    return search.answer(low, high)


class _Search:
    """The search under way: what was tried and how it ended."""

    def __init__(
        self, evaluate: Callable[[float], SweepResult], rpm: float, of: str, close: float, most: int
    ) -> None:
        self.evaluate, self.rpm, self.of, self.close, self.most = evaluate, rpm, of, close, most
        self.tried: dict[float, float] = {}  # percent: peak [rpm], NaN where the run failed
        self.runs = 0
        self.outcome = "stopped"
        self.between = 0.0  # [%] middle of the last bracket

    def miss(self, percent: float, known: SweepResult | None = None) -> float:
        """Peak minus target [rpm]; NaN where the run failed or its speeds end before the peak."""
        if known is None:
            self.runs += 1
            try:
                known = self.evaluate(percent)
            except RunError:
                self.tried[percent] = math.nan
                return math.nan
        peak = peak_for(known, self.of)
        place = math.nan if peak is None else peak.rpm
        if peak is not None and peak.at_end:
            # The real peak lies beyond: the side is known only where the target is on the other side of the end.
            outward = 1.0 if peak.at_end == "high" else -1.0
            if (place - self.rpm) * outward <= self.close:
                self.outcome = "range"
                return math.nan
        self.tried[percent] = place
        return place - self.rpm

    def run(self, base: SweepResult | None, low: float, high: float) -> None:
        """Fill ``tried`` and set ``outcome``."""
        here = self.miss(0.0, base)
        if abs(here) <= self.close:
            self.outcome = "met"
        if self.outcome in ("met", "range") or not math.isfinite(here):
            self.outcome = "failed" if self.outcome == "stopped" else self.outcome
            return
        # A larger port usually peaks later; the other way is tried second.
        for limit in (high, low) if here < 0 else (low, high):
            if self.runs >= self.most or limit == 0.0:
                continue
            there = self.miss(limit)
            if abs(there) <= self.close:
                self.outcome = "met"
                return
            if self.outcome == "range":
                return
            if math.isfinite(there) and there * here < 0.0:
                self._close_in(0.0, here, limit, there)
                return
        if self.outcome == "stopped" and self.runs < self.most:
            self.outcome = "cannot"

    def _close_in(self, a: float, miss_a: float, b: float, miss_b: float) -> None:
        weight_a, weight_b = miss_a, miss_b
        while self.runs < self.most:
            self.between = 0.5 * (a + b)
            if abs(b - a) <= FINEST_AREA:
                self.outcome = "jumps"
                return
            middle = round((a * weight_b - b * weight_a) / (weight_b - weight_a), 2)
            inner = 0.05 * abs(b - a)
            middle = round(min(max(middle, min(a, b) + inner), max(a, b) - inner), 2)
            there = self.miss(middle)
            if not math.isfinite(there):
                return
            if abs(there) <= self.close:
                self.outcome = "met"
                return
            if there * miss_b < 0.0:
                a, miss_a, weight_a = b, miss_b, weight_b
            else:
                weight_a *= 0.5
            b, miss_b, weight_b = middle, there, there
            # A jump from lobe to lobe makes straight lines useless: halve instead once the bracket is small.
            if abs(b - a) < 4.0:
                weight_a, weight_b = math.copysign(1.0, miss_a), math.copysign(1.0, miss_b)
        self.outcome = "jumps" if abs(b - a) <= FINEST_AREA else "stopped"

    def answer(self, low: float, high: float) -> AreaSearch:
        """The best of what was tried, in words."""
        known = {percent: place for percent, place in self.tried.items() if math.isfinite(place)}
        name = f"{words_for(self.of)} peak"
        tried = tuple(self.tried.items())
        if self.outcome == "range":
            end = "The computed speeds end before the peak can be told"
            sentence = f"{end}: compute a range well to both sides of {self.rpm:.0f} rpm."
        elif not known:
            self.outcome, sentence = "failed", f"No {name} could be computed, so no area can be given."
        if not known:
            return AreaSearch(math.nan, math.nan, math.nan, self.outcome, tried, sentence)
        percent = min(known, key=lambda p: (round(abs(known[p] - self.rpm)), abs(p - self.between)))
        place, miss = known[percent], known[percent] - self.rpm
        at = f"the {name} at {rounded(place)} rpm, {off_words(miss)} the target of {self.rpm:.0f} rpm"
        lows, highs = rounded(min(known.values())), rounded(max(known.values()))
        if self.outcome == "met":
            sentence = f"{_area(percent)} puts {at}."
        elif self.outcome == "cannot":
            span = f"between {low:+g} and {high:+g} % of area the {name} lies from {lows} to {highs} rpm"
            sentence = f"Area alone cannot meet {self.rpm:.0f} rpm: {span}; {_area(percent, False)} puts {at}."
        elif self.outcome == "jumps":
            sentence = (
                f"Area alone cannot meet {self.rpm:.0f} rpm: near {self.between:+.3g} % of area the {name} jumps from "
                f"one lobe to another, past the target; {_area(percent, False)} puts {at}."
            )
        elif self.outcome == "stopped":
            sentence = f"After {counted(self.runs, 'run')} {_area(percent, False)} comes nearest: it puts {at}."
        return AreaSearch(percent, place, miss, self.outcome, tried, sentence)


def _area(percent: float, start: bool = True) -> str:
    if percent == 0.0:
        text = "the area as it is"
    elif percent > 0:
        text = f"{percent:.3g} % more area"
    else:
        text = f"{-percent:.3g} % less area (a smaller port, which grinding cannot give)"
    return capital(text) if start else text
