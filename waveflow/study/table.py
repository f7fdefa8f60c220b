"""A comparison as a table: one row an option, the same keys in each, units in the keys."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from waveflow.study.columns import shown
from waveflow.study.words import rounded

if TYPE_CHECKING:
    from waveflow.study.compare import OptionFacts, Versus

Row = dict[str, str | float | bool | None]

# Short words for the means over the band.
_MEANS = {
    "volumetric_efficiency": "VE",
    "volumetric_efficiency_plenum": "VE on plenum density",
    "trapped_efficiency": "trapped VE",
    "residual_fraction": "residual gas",
    "reverse_flow_fraction": "reverse flow",
    "torque": "torque",
    "power": "power",
    "pumping_mean_pressure": "pumping mean pressure",
    "port_mach_mean": "port Mach number",
    "port_mach_peak": "peak port Mach number",
    "inlet_mach_index": "inlet Mach index",
}
MEANED = tuple(_MEANS)


def table_row(option: OptionFacts, versus: Versus | None) -> Row:
    """The row of one option; `versus` the first one, None for the first itself (its changes are None)."""
    row: Row = {"option": option.label, "assumed": option.assumed}
    for name, words in (("volumetric_efficiency", "VE"), ("torque", "torque"), ("power", "power")):
        peak, envelope = option.peaks[name], option.envelopes[name]
        unit = shown(name, [])[1]
        row[f"peak {words} [{unit}]"] = None if peak is None else float(shown(name, [peak.value])[0][0])
        row[f"{words} peak at [rpm]"] = None if peak is None else peak.rpm
        row[f"{words} peak is at an end of the range"] = bool(peak is not None and peak.at_end)
        row[f"{words} peak shift [rpm]"] = None if versus is None else versus.peak_shift[name]
        row[f"{words} envelope at [rpm]"] = None if envelope.peak is None else envelope.peak.rpm
        row[f"{words} envelope shift [rpm]"] = None if versus is None else versus.envelope_shift[name]
    for name, words in (("torque", "torque"), ("volumetric_efficiency", "VE")):
        change = versus.changes[name] if versus is not None else None
        row[f"mean change of {words} in band [%]"] = _percent(change.mean if change else None)
        below = change.largest_loss_below if change else None
        row[f"largest loss of {words} below [%]"] = _percent(below.change if below else None)
        row[f"largest loss of {words} below, at [rpm]"] = below.rpm if below else None
    change = versus.change if versus is not None else None
    row["largest loss [%]"] = _percent(change.largest_loss.change if change and change.largest_loss else None)
    row["largest gain [%]"] = _percent(change.largest_gain.change if change and change.largest_gain else None)
    row["cross-overs [rpm]"] = ", ".join(f"{rounded(c.rpm)} to {c.to}" for c in change.crossovers) if change else None
    row["tops at [rpm]"] = ", ".join(str(rounded(lobe.rpm)) for lobe in option.lobes if lobe.kind == "top")
    for name, words in _MEANS.items():
        value, unit, _ = shown(name, [option.band_means.get(name, math.nan)])
        bracket = "" if unit == "1" else f" [{unit}]"
        row[f"mean {words} in band{bracket}"] = float(value[0]) if math.isfinite(value[0]) else None
    row["failed speeds"] = len(option.result.failed)
    return row


def _percent(change: float | None) -> float | None:
    return None if change is None or not math.isfinite(change) else 100.0 * change
