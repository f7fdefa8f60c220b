"""Options side by side: where peaks move, what is gained and lost, and how sure that is."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from waveflow.study.change import SAME, Change, change_of
from waveflow.study.curve import Curve, mean_over
from waveflow.study.envelope import Envelope, envelope_of
from waveflow.study.lobes import Lobe, Peak, lobes_of, near_equal, peak_of, rivals_of
from waveflow.study.notes import notes_on
from waveflow.study.results import SweepResult
from waveflow.study.table import MEANED, Row, table_row
from waveflow.study.target import TargetReport, parse_target, target_report
from waveflow.study.words import capital, change_words, counted, listed, peak_words, shift_of

PEAKED = ("volumetric_efficiency", "torque", "power")
CHANGED = ("torque", "power", "volumetric_efficiency", "trapped_efficiency")

LEAVES_OUT = (
    "The model leaves out fuel film and its evaporation on walls, mixture motion and its effect on burning, flow "
    "separation beyond what the flow sheet holds, and detonation; what customers feel as lost bottom end beyond the "
    "figures given here is outside it."
)


@dataclass(frozen=True)
class OptionFacts:
    """What one option's sweep says by itself: peaks and envelopes by column name, lobes of volumetric efficiency.

    `rivals`: tops within 1 % of the peak by column name, where there are several. `band_means`: means over the band [SI] by
    column name, uniform in speed, NaN where nothing was computed.
    """

    label: str
    result: SweepResult
    peaks: dict[str, Peak | None]
    envelopes: dict[str, Envelope]
    lobes: tuple[Lobe, ...]
    near_equal: tuple[tuple[Lobe, ...], ...]
    rivals: dict[str, tuple[Lobe, ...]]
    band_means: dict[str, float]

    @property
    def assumed(self) -> bool:
        """True where the option's valve flow is ASSUMED."""
        return self.result.assumed

    @property
    def title(self) -> str:
        """The label, with the ASSUMED mark where it belongs."""
        return f"{self.label} (ASSUMED)" if self.assumed else self.label


@dataclass(frozen=True)
class Versus:
    """One option against the first.

    `peak_shift`, `envelope_shift` [rpm] by column name, None where it cannot be told; `changes` by column name, None
    where a relative change has no meaning. `shift_spread` and `mean_spread`: lowest and highest torque-peak shift [rpm]
    and mean change [1] over the band of valve flow, where the option is ASSUMED and that band was computed.
    """

    option: OptionFacts
    first: OptionFacts
    peak_shift: dict[str, float | None]
    envelope_shift: dict[str, float | None]
    changes: dict[str, Change | None]
    shift_spread: tuple[float, float] | None = None
    mean_spread: tuple[float, float] | None = None

    @property
    def decided_by(self) -> str:
        """The column the headline speaks of: torque, or volumetric efficiency where torque is not positive."""
        return "torque" if self.changes["torque"] is not None else "volumetric_efficiency"

    @property
    def change(self) -> Change | None:
        """Change of the column the headline speaks of."""
        return self.changes[self.decided_by]

    @property
    def sentence(self) -> str:
        """The answer in one sentence with numbers."""
        return f"{capital(self.option.title)} against {self.first.title}: {self.findings}."

    @property
    def findings(self) -> str:
        """What the sentence says after the names."""
        name = self.decided_by
        first, other = self.first.peaks[name], self.option.peaks[name]
        rivals = {option.label: option.rivals[name] for option in (self.first, self.option) if option.rivals[name]}
        pieces = [peak_words(name, first, other, self.envelope_shift[name], self.shift_spread, rivals)]
        pieces += change_words(self.change)
        failed = len({*self.first.result.failed, *self.option.result.failed})
        tail = f"; {counted(failed, 'speed')} failed and {'is' if failed == 1 else 'are'} left out" if failed else ""
        return ", ".join(pieces) + tail


@dataclass(frozen=True)
class Comparison:
    """Two or more options, the first being what the others are measured against.

    `band` [rpm, rpm] the user's band or None; `target` what was asked of peak speed, or None. `notes` are sentences on
    what limits the answer.
    """

    results: tuple[SweepResult, ...]
    options: tuple[OptionFacts, ...]
    versus: tuple[Versus, ...]
    band: tuple[float, float] | None
    target: TargetReport | None
    notes: tuple[str, ...]
    leaves_out: str = LEAVES_OUT

    @property
    def sentences(self) -> tuple[str, ...]:
        """One sentence for each option against the first, then those on the target."""
        return (*(versus.sentence for versus in self.versus), *(self.target.sentences if self.target else ()))

    @property
    def headline(self) -> str:
        """The answer in one sentence; with three or more options, on the one that gains most on average."""
        if len(self.versus) == 1:
            return self.versus[0].sentence
        ranked = [versus for versus in self.versus if versus.change and math.isfinite(versus.change.mean)]
        if not ranked:
            return self.versus[0].sentence
        best = max(ranked, key=lambda versus: versus.change.mean)
        name, first, others = best.option.title, best.first.title, len(self.versus)
        if best.change.mean > SAME:
            lead = f"Of {others + 1} options {name} gains most against {first}"
        else:
            lead = f"None of the other {others} options gains on average against {first}, and {name} loses least"
        return f"{lead}: {best.findings}."

    def rows(self) -> list[Row]:
        """A table: one mapping an option, the same keys in each, the first option's changes None.

        Units stand in the keys: percent, rpm, N m, kW.
        """
        return [table_row(option, self._against(option)) for option in self.options]

    def _against(self, option: OptionFacts) -> Versus | None:
        return next((versus for versus in self.versus if versus.option is option), None)

    def __repr__(self) -> str:
        return f"<Comparison of {listed([repr(option.title) for option in self.options])}>"


def compare(
    results: Sequence[SweepResult],
    *,
    band: tuple[float, float] | None = None,
    target: str | float | None = None,
    target_of: str = "power",
) -> Comparison:
    """Compare two or more results, each against the first.

    `band` [rpm, rpm]: where mean changes are taken, by default the band of the first case that states one, otherwise
    the common range. `target`: wanted speed of the peak of `target_of` ("power", "torque", "volumetric_efficiency" or
    "envelope"), as words ("6500 rpm") or a number [rpm].

    Raises ``ValueError`` for fewer than two results, a band that does not go upwards, or a target without a unit.
    """
    results = tuple(results)
    if len(results) < 2:
        raise ValueError("a comparison needs two results or more")
    band = band or next((result.band for result in results if result.band), None)
    if band is not None:
        band = (float(band[0]), float(band[1]))
        if not 0 < band[0] < band[1]:
            raise ValueError(f"the band {band[0]:g} to {band[1]:g} rpm does not go upwards")
    wanted = None if target is None else parse_target(target)
    options = tuple(facts_of_option(r, label, band) for r, label in zip(results, _labels(results), strict=True))
    versus = tuple(_versus(options[0], option, band) for option in options[1:])
    report = None if wanted is None else target_report([(o.label, o.result) for o in options], wanted, target_of)
    return Comparison(results, options, versus, band, report, tuple(notes_on(options, versus, band)))


def facts_of_option(
    result: SweepResult, label: str | None = None, band: tuple[float, float] | None = None
) -> OptionFacts:
    """What one sweep says by itself; `band` [rpm, rpm] for the means, by default the whole range."""
    lobes = lobes_of(result)
    peaks = {name: peak_of(result, name) for name in PEAKED}
    return OptionFacts(
        label=label or result.label,
        result=result,
        peaks=peaks,
        envelopes={name: envelope_of(result, name) for name in PEAKED},
        lobes=lobes,
        near_equal=near_equal(lobes),
        rivals={name: rivals_of(lobes_of(result, name), peaks[name]) for name in PEAKED},
        band_means={name: _band_mean(Curve.of(result, name), band) for name in MEANED},
    )


def _band_mean(curve: Curve, band: tuple[float, float] | None) -> float:
    if not len(curve):
        return math.nan
    low, high = band or (curve.low, curve.high)
    speeds = np.unique(np.concatenate([curve.x, np.clip([low, high], curve.low, curve.high)]))
    inside = (speeds >= low) & (speeds <= high)
    return mean_over(speeds[inside], curve.at(speeds[inside]))[0]


def _labels(results: Sequence[SweepResult]) -> list[str]:
    """Labels that tell the options apart: the option, with the case's name where two are called the same."""
    labels = [result.label for result in results]
    if len(set(labels)) < len(labels):
        labels = [f"{result.label} of {result.case_name}" for result in results]
    if len(set(labels)) < len(labels):
        labels = [f"{label} ({number})" for number, label in enumerate(labels, 1)]
    return labels


def _versus(first: OptionFacts, option: OptionFacts, band: tuple[float, float] | None) -> Versus:
    changes = {name: change_of(first.result, option.result, name, band) for name in CHANGED}
    spread = mean_spread = None
    if option.result.flow_band:
        means, shifts = [], []
        for result in (*option.result.flow_band, option.result):
            change = change_of(first.result, result, "torque", band)
            shift = shift_of(first.peaks["torque"], peak_of(result, "torque"))
            means += [change.mean] if change is not None and math.isfinite(change.mean) else []
            shifts += [shift] if shift is not None else []
        spread = (min(shifts), max(shifts)) if len(shifts) == 3 else None
        mean_spread = (min(means), max(means)) if len(means) == 3 else None
    return Versus(
        option=option,
        first=first,
        peak_shift={name: shift_of(first.peaks[name], option.peaks[name]) for name in PEAKED},
        envelope_shift={name: _envelope_shift(first.envelopes[name], option.envelopes[name]) for name in PEAKED},
        changes=changes,
        shift_spread=spread,
        mean_spread=mean_spread,
    )


def _envelope_shift(first: Envelope, other: Envelope) -> float | None:
    """Shift of the envelope's peak [rpm]; None where either is sparse, empty or highest at its end."""
    if first.peak is None or other.peak is None or first.sparse or other.sparse:
        return None
    if first.peak.at_end or other.peak.at_end:
        return None
    return other.peak.rpm - first.peak.rpm
