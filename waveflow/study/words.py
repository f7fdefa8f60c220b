"""A comparison in words a porter reads first: one sentence with numbers, right for gains, losses and nothing at all."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

from waveflow.study.change import SAME, Change, Spot
from waveflow.study.lobes import Lobe, Peak

NAMES = {
    "volumetric_efficiency": "volumetric efficiency",
    "torque": "torque",
    "power": "power",
    "trapped_efficiency": "trapped volumetric efficiency",
}
UNSURE = 25.0  # [rpm] from here on a peak's place is called "about"


def rounded(rpm: float) -> int:
    """Speed [rpm] to the nearest ten, as it is spoken of."""
    return int(10 * math.floor(rpm / 10.0 + 0.5))


def share(change: float) -> str:
    """Size of a relative change [1] without its sign: "6.2 %", with a second digit below 0.1 %."""
    size = 100.0 * abs(change)
    return f"{size:.1f} %" if size >= 0.095 else f"{size:.2f} %"


def signed_rpm(shift: float) -> str:
    """A shift of speed [rpm], already rounded, with its sign: "+440", "-120", "0"."""
    return f"{int(shift):+d}" if shift else "0"


def counted(count: int, noun: str) -> str:
    """Count with its noun: "1 speed", "3 speeds"."""
    return f"{count} {noun}" + ("" if count == 1 else "s")


def listed(words: Sequence[str], last: str = "and") -> str:
    """Words joined: "a", "a and b", "a, b and c"."""
    return f"{', '.join(words[:-1])} {last} {words[-1]}" if len(words) > 1 else "".join(words)


def capital(text: str) -> str:
    """Text with its first letter as at the start of a sentence, the rest untouched."""
    return text[:1].upper() + text[1:]


def shift_of(first: Peak | None, other: Peak | None) -> float | None:
    """Shift between two peaks [rpm] as spoken of: difference of the rounded speeds; None where either is not known."""
    if first is None or other is None or first.at_end or other.at_end:
        return None
    return float(rounded(other.rpm) - rounded(first.rpm))


def peak_words(
    quantity: str, first: Peak | None, other: Peak | None, envelope: float | None, spread: tuple[float, float] | None,
    rivals: Mapping[str, Sequence[Lobe]] | None = None,
) -> str:  # fmt: skip
    """ "torque peak moves from 4870 to 5310 rpm (+440; envelope +310)" and its kin.

    `envelope` shift [rpm] or None; `spread` lowest and highest shift [rpm] over the band of valve flow, or None; `rivals`
    near-equal tops by option: where there are any, the envelope leads, as the peak's place then hangs on a hair.
    """
    name = f"{NAMES.get(quantity, quantity)} peak"
    if first is None or other is None:
        whom = "either" if first is other else "one of them"
        return f"{name} cannot be compared, as no speed was computed for {whom}"
    shift = shift_of(first, other)
    if shift is None and first.at_end == other.at_end and rounded(first.rpm) == rounded(other.rpm):
        return f"{name} stays {_edge(other)}, the end of the range"
    if rivals and shift is not None and envelope is not None:
        return _lead_by_envelope(quantity, first, other, rounded(envelope), rivals)
    notes = []
    if shift is not None and shift != 0.0:
        notes.append(signed_rpm(shift))
    if shift is not None and spread is not None:
        low, high = (signed_rpm(rounded(edge)) for edge in spread)
        notes.append(f"{low} to {high} with valve flow lowered and raised")
    if envelope is not None:
        size = rounded(envelope)
        notes.append(f"envelope {signed_rpm(size)}" if size else "envelope unchanged")
    bracket = f" ({'; '.join(notes)})" if notes else ""
    if shift == 0.0:
        return f"{name} stays at {_place(other)} rpm{bracket}"
    if shift is not None:
        about = "about " if max(first.uncertainty, other.uncertainty) > UNSURE else ""
        return f"{name} moves from {about}{rounded(first.rpm)} to {rounded(other.rpm)} rpm{bracket}"
    start = _edge(first, "at ") if first.at_end else f"{_place(first)} rpm"
    end = f"{_edge(other, 'at ')}, the end of the range" if other.at_end else f"{_place(other)} rpm"
    return f"{name} moves from {start.removeprefix('at ')} to {end.removeprefix('at ')}{bracket}"


def _lead_by_envelope(quantity: str, first: Peak, other: Peak, size: int, rivals: Mapping[str, Sequence[Lobe]]) -> str:
    name = NAMES.get(quantity, quantity)
    moved = f"moves by {signed_rpm(size)} rpm" if size else "stays where it was"
    places = {label: listed([str(rounded(top.rpm)) for top in each]) for label, each in rivals.items()}
    tops = listed([f"{label} has near-equal tops at {speeds}" for label, speeds in places.items()])
    return (
        f"{name} envelope's peak {moved} (the curve's own from {rounded(first.rpm)} to {rounded(other.rpm)} rpm says "
        f"little, as {tops} rpm)"
    )


def _place(peak: Peak) -> str:
    return ("about " if peak.uncertainty > UNSURE else "") + str(rounded(peak.rpm))


def _edge(peak: Peak, at: str = "at ") -> str:
    return f"{at}{rounded(peak.rpm)} rpm or {'above' if peak.at_end == 'high' else 'below'}"


def change_words(change: Change | None) -> list[str]:
    """What the change does on average over the band and at its worst and best: pieces of the headline."""
    if change is None:
        return ["gain and loss cannot be given, as the two share no range of computed speeds"]
    name = NAMES.get(change.quantity, change.quantity)
    subject = "" if change.quantity in ("torque", "power") else f" of {name}"
    band = f"from {change.covered[0]:.0f} to {change.covered[1]:.0f} rpm"
    gain, loss, below = change.largest_gain, change.largest_loss, change.largest_loss_below
    if not math.isfinite(change.mean):
        why = f"no average can be given {band}, as no speed there was computed for both"
        return [why, *_worst(loss, below, change)]
    if abs(change.mean) <= SAME and gain is None and loss is None:
        return [f"{name} is the same within {share(SAME)} at every speed {band}"]
    if abs(change.mean) <= SAME:
        pieces = [f"{name} is unchanged on average {band}"]
        if gain is not None:
            pieces.append(f"gains at most {share(gain.change)} at {gain.rpm:.0f} rpm")
        return [*pieces, *_worst(loss, below, change)]
    if change.mean > 0:
        return [f"gains {share(change.mean)}{subject} on average {band}", *_worst(loss, below, change)]
    pieces = [f"loses {share(change.mean)}{subject} on average {band}"]
    if loss is not None:
        pieces += [piece.replace("costs ", "", 1) for piece in _worst(loss, below, change)]
    pieces.append(f"gains at most {share(gain.change)} at {gain.rpm:.0f} rpm" if gain else "gains nowhere")
    return pieces


def _worst(loss: Spot | None, below: Spot | None, change: Change) -> list[str]:
    """The largest loss; where that is not the one below the band, both."""
    if loss is None:
        return ["loses nowhere"]
    overall = f"{share(loss.change)} at {loss.rpm:.0f} rpm"
    if below is None or below.rpm == loss.rpm:
        return [f"costs at most {overall}"]
    where = "below the band" if change.asked else f"below the cross-over at {change.below:.0f} rpm"
    return [f"costs at most {share(below.change)} {where}, at {below.rpm:.0f} rpm, and {overall}"]


def lobe_words(groups: Sequence[Sequence[Lobe]], highest: float, label: str) -> list[str]:
    """Sentences that name tops within 1 % of each other; `highest` is the value of the highest top."""
    sentences = []
    for group in groups:
        speeds = listed([str(rounded(lobe.rpm)) for lobe in group])
        text = f"{capital(label)}: the tops of volumetric efficiency at {speeds} rpm lie within 1 % of each other"
        if any(lobe.value == highest for lobe in group):
            text += ", so which of them is the peak says little"
        sentences.append(text + ".")
    return sentences
