"""What limits the answer of a comparison, in sentences."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from waveflow.study.lobes import lobe_spacing
from waveflow.study.valvenote import valve_notes
from waveflow.study.words import capital, listed, lobe_words, rounded

SAME_RATIO = 0.02
"""Difference of compression ratios below which they are called equal: less than a burette tells (our choice)."""

if TYPE_CHECKING:
    from waveflow.study.compare import OptionFacts, Versus


def notes_on(options: Sequence[OptionFacts], versus: Sequence[Versus], band: tuple[float, float] | None) -> list[str]:
    """Sentences on what limits the answer of a comparison, the most important first, each once."""
    notes = []
    for option in options:
        for why in option.result.facts.assumed_why:
            notes.append(f"ASSUMED for {option.label}: {why.rstrip('.')}.")
    notes += _different(options)
    notes += valve_notes([(option.label, option.result.facts.text) for option in options])
    redlines = {option.result.redline for option in options if option.result.redline}
    for redline in sorted(redlines):
        if band and band[1] > redline:
            whose = "" if len(redlines) == 1 else " of one option"
            notes.append(f"The band ends {band[1] - redline:.0f} rpm beyond the redline{whose} of {redline:.0f} rpm.")
    for pair in versus:
        change = pair.change
        if change is not None and change.band_left_out:
            parts = listed([f"{low:.0f} to {high:.0f}" for low, high in change.band_left_out])
            what = "The mean over the band leaves out" if change.asked else "The mean leaves out"
            notes.append(f"{what} {parts} rpm, where there is not a value for both.")
        notes += _jump_note(pair)
    for option in options:
        name, peak = capital(option.label), option.peaks["torque"]
        notes += [f"{name}: {speed:g} rpm failed: {why}" for speed, why in option.result.failed.items()]
        if peak is not None and peak.at_end:
            notes.append(
                f"{name}: torque is highest at {rounded(peak.rpm)} rpm, an end of the computed range; "
                "the real peak may lie beyond it."
            )
        elif peak is not None and not peak.refined:
            notes.append(
                f"{name}: points around the torque peak lie {peak.spacing:.0f} rpm apart, so its speed is known to "
                f"about {rounded(max(peak.uncertainty, 10.0))} rpm."
            )
        notes += _envelope_note(option)
        notes += lobe_words(option.near_equal, max((lobe.value for lobe in option.lobes), default=0.0), option.label)
        notes += [f"{name}: {text}" for text in option.result.warnings]
    return list(dict.fromkeys(notes))


def _different(options: Sequence[OptionFacts]) -> list[str]:
    """What is not held equal between the options and does not come from the port: compression, and remarks not all share."""
    first, notes = options[0], []
    for option in options[1:]:
        ratios = first.result.facts.ratio, option.result.facts.ratio
        if None not in ratios and abs(ratios[1] - ratios[0]) >= SAME_RATIO:
            notes.append(
                f"Changed compression: {option.label} runs {ratios[1]:.2f} to 1 where {first.label} runs {ratios[0]:.2f}; that "
                "part of its torque is the chamber's, not the port's."
            )
    shared = set(first.result.facts.remarks).intersection(*(option.result.facts.remarks for option in options[1:]))
    for option in options:
        notes += [f"{capital(option.label)}: {text}" for text in option.result.facts.remarks if text not in shared]
    return notes


def _jump_note(pair: Versus) -> list[str]:
    """Says where a peak moved to another lobe, so that its shift says more about lobes than about breathing."""
    name = pair.decided_by
    shift, behind, length = pair.peak_shift[name], pair.envelope_shift[name], pair.first.result.intake_length
    sound = pair.first.result.ordered("runner_sound_speed")[1]
    if shift is None or behind is None or not length or not len(sound):
        return []
    spacing = lobe_spacing(max(pair.first.peaks[name].rpm, pair.option.peaks[name].rpm), float(np.mean(sound)), length)
    if abs(shift - behind) < 0.4 * spacing:
        return []
    words, one, other = name.replace("_", " "), pair.option.label, pair.first.label
    return [
        f"The {words} peak of {one} lies on another lobe than that of {other}: it moved {shift:+.0f} rpm, the envelope "
        f"{rounded(behind):+d} rpm."
    ]


def _envelope_note(option: OptionFacts) -> list[str]:
    envelope = option.envelopes["torque"]
    if envelope.peak is None:
        return [f"{capital(option.label)}: no envelope over the lobes can be given: {envelope.why}."]
    if envelope.sparse:
        return [f"{capital(option.label)}: the points lie too far apart for an envelope over the lobes."]
    if envelope.peak.at_end:
        return [
            f"{capital(option.label)}: the envelope of torque is highest at {rounded(envelope.peak.rpm)} rpm, where it "
            "ends (half a lobe inside the computed range), so its peak cannot be told."
        ]
    return []
