"""Results as tables and sentences on a terminal: the answer, the numbers, the checks, what is left out."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import IO, Any

import numpy as np

from waveflow.show.by_cylinder import comparison_rows, cylinder_names, own_words, sweep_rows
from waveflow.show.terminal import console, tables_that_fit
from waveflow.show.words import (
    MODEL_NOTE,
    NOTHING,
    counted,
    in_columns,
    number,
    percent,
    percent_change,
    plain,
    signed,
    speed,
)
from waveflow.study.columns import shown, unit_shown
from waveflow.study.corrections import CORRECTED, correction_asked, correction_of_result, with_corrected
from waveflow.study.trendwords import TREND_NOTE
from waveflow.study.uneven import comparison_sentences, own_of, sweep_sentence
from waveflow.study.words import rounded

MOST_BY_CYLINDER = 8
MOST_ROWS, MOST_SWEPT = 14, 30  # speeds in a table of several options, of one; the rest stand in the CSV
VE, TORQUE, POWER = "volumetric_efficiency", "torque", "power"
# What is read at each option's own speed of most power: name, words, how it is written.
AT_POWER: tuple[tuple[str, str, Callable[[float], str]], ...] = (
    ("residual_fraction", "residual gas", percent),
    ("reverse_flow_fraction", "reverse flow", percent),
    ("port_mach_mean", "mean port Mach number", lambda value: number(value, 3)),
    ("port_mach_peak", "peak port Mach number", lambda value: number(value, 3)),
    ("inlet_mach_index", "inlet Mach index Z", lambda value: number(value, 3)),
    ("pumping_mean_pressure", "pumping mean pressure", lambda value: quantity("pumping_mean_pressure", value)),
)


def print_comparison(comparison: Any, stamp: str, extra: Sequence[str] = (), stream: IO[str] | None = None) -> None:
    """A comparison [study.compare.Comparison]: headline, tables, notes, `stamp` [str] of the checks, what is left out.

    `extra` sentences (on a target met by area, on a grid check) come after the headline.
    """
    out = console(stream)
    out.print(plain(comparison.headline, 800), style="bold")
    more = [each for each in comparison.sentences if (each.partition(": ")[2] or each) not in comparison.headline]
    for sentence in (*more, *extra, *comparison_sentences(comparison)):
        out.print(plain(sentence, 800))
    out.print()
    heads = [("", "key"), *((option.title, "right") for option in comparison.options)]
    _print_table(out, heads, summary_rows(comparison))
    for option in comparison.options:
        tops = [rounded(lobe.rpm) for lobe in option.lobes if lobe.kind == "top"]
        if tops:
            out.print(plain(f"Tops of VE, {option.label}: {in_columns(tops)} rpm.", 400))
    out.print()
    heads, rows = comparison_rows(comparison)
    if rows:
        where = "in common" if comparison.band is None else f"{comparison.band[0]:.0f} to {comparison.band[1]:.0f} rpm"
        _print_table(out, heads, rows, f"each cylinder against the same one of {comparison.options[0].label}, {where}")
    heads, rows = speed_rows(comparison)
    _print_table(out, heads, rows, "at some of the computed speeds; all of them are in points.csv")
    _print_corrections(out, comparison.results)
    for note in comparison.notes:
        out.print(plain(f"Note: {note}", 800))
    _close(out, stamp, comparison.leaves_out)


def _print_table(out: Any, heads: Sequence[tuple[str, str]], rows: Sequence[Sequence[str]], title: str = "") -> None:
    for each in tables_that_fit(heads, rows, out.width, title):
        out.print(each)
        out.print()


def _close(out: Any, stamp: str, leaves_out: str) -> None:
    out.print(f"Checks: {plain(stamp, 400)}.")
    out.print(MODEL_NOTE)
    out.print(plain(leaves_out, 800))


def _print_corrections(out: Any, results: Sequence[Any]) -> None:
    """Standard, factor and conditions of each result where a correction was asked for, told once where they are alike."""
    made = [(result.label, correction_of_result(result)) for result in results]
    told = list(dict.fromkeys(each.sentence for _, each in made if each is not None))
    for label, each in made if len(told) > 1 else made[:1]:
        if each is not None:
            out.print(plain(f"Corrected{f', {label}' if len(told) > 1 else ''}: {each.sentence}", 400))
    for caution in dict.fromkeys(text for _, each in made if each is not None for text in each.cautions):
        out.print(plain(caution, 400), style="bold")


def _corrected_power(option: Any) -> str:
    made, peak = correction_of_result(option.result), option.peaks[POWER]
    return "" if made is None else NOTHING if peak is None else _power(made.factor * peak.value)


def summary_rows(comparison: Any) -> list[list[str]]:
    """Rows (what, value of each option) of the table that compares options [study.compare.Comparison]."""
    against = {id(each.option): each for each in comparison.versus}
    pairs = [(option, against.get(id(option))) for option in comparison.options]

    def row(words: str, cell: Callable[[Any, Any], str]) -> list[str]:
        return [words, *(cell(option, versus) for option, versus in pairs)]

    rows = []
    for name, words, value in ((VE, "VE", percent), (TORQUE, "torque", _torque), (POWER, "power", _power)):
        rows.append(row(f"most {words}", lambda o, v, n=name, f=value: _top(o.peaks[n], f)))
        rows.append(row(f"most {words} at", lambda o, v, n=name: _place(o.peaks[n], v and v.peak_shift[n])))
        if name == POWER:
            rows.append(row("most power, corrected", lambda o, v: _corrected_power(o)))
        shape = f"envelope of {words} at"
        rows.append(row(shape, lambda o, v, n=name: _envelope(o.envelopes[n], v and v.envelope_shift[n])))
    band = comparison.band
    where = "in common" if band is None else f"{band[0]:.0f} to {band[1]:.0f}"
    for name, words in ((VE, "VE"), (TORQUE, "torque")):
        below = "cross-over" if band is None else f"{band[0]:.0f}"
        for title, cell in (
            (f"mean {words}, {where}", _mean),
            (f"largest gain of {words}", lambda c: _spot(c.largest_gain)),
            (f"largest loss of {words}", lambda c: _spot(c.largest_loss)),
            (f"largest loss of {words} below {below}", lambda c: _spot(c.largest_loss_below)),
        ):
            rows.append(row(title, lambda o, v, n=name, f=cell: _change(v, n, f)))
    rows.append(row("torque turns to gain at", lambda o, v: _change(v, TORQUE, lambda c: _crossings(c, "gain"))))
    rows.append(row("torque turns to loss at", lambda o, v: _change(v, TORQUE, lambda c: _crossings(c, "loss"))))
    for name, words, value in AT_POWER:
        rows.append(row(f"{words} at most power", lambda o, v, n=name, f=value: f(_at_power(o, n))))
    return [each for each in rows if any(cell not in ("", NOTHING) for cell in each[1:])]


def quantity(name: str, value: float, unit: bool = True) -> str:
    """A value [SI] of the column `name` in the unit asked for, with a decimal less than its column in a file has."""
    shown_value, label, digits = shown(name, [value])
    return number(float(shown_value[0]), max(digits - 1, 0), label if unit else "")


def _torque(value: float) -> str:
    return quantity(TORQUE, value)


def _power(value: float) -> str:
    return quantity(POWER, value)


def _top(peak: Any, value: Callable[[float], str]) -> str:
    return NOTHING if peak is None else value(peak.value)


def _place(peak: Any, shift: float | None) -> str:
    if peak is None:
        return NOTHING
    edge = {"high": " or above", "low": " or below"}.get(peak.at_end, "")
    return speed(rounded(peak.rpm)) + edge + (f" ({signed(rounded(shift), 0)})" if shift is not None else "")


def _envelope(envelope: Any, shift: float | None) -> str:
    """Where an envelope is highest; nothing where its points lie too far apart to average lobes away."""
    return NOTHING if envelope.sparse else _place(envelope.peak, shift)


def _mean(change: Any) -> str:
    """The mean over the band, and what of the band it is over where not all of it was computed."""
    over = f" from {change.covered[0]:.0f} to {change.covered[1]:.0f}" if change.covered != change.band else ""
    return percent_change(change.mean) + over


def _change(versus: Any, name: str, words: Callable[[Any], str]) -> str:
    if versus is None:
        return ""
    change = versus.changes.get(name)
    return NOTHING if change is None else words(change)


def _spot(spot: Any) -> str:
    return "none" if spot is None else f"{percent_change(spot.change)} at {spot.rpm:.0f}"


def _crossings(change: Any, to: str) -> str:
    return in_columns([rounded(cross.rpm) for cross in change.crossovers if cross.to == to]) or "nowhere"


def _at_power(option: Any, name: str) -> float:
    """A column at an option's speed of most power, straight between computed points; NaN where it is not known."""
    peak = option.peaks[POWER]
    rpm, values = option.result.ordered(name)
    return float("nan") if peak is None or not len(rpm) else float(np.interp(peak.rpm, rpm, values))


def chosen(rpm: np.ndarray, most: int = MOST_ROWS) -> np.ndarray:
    """At most `most` [1] of the speeds `rpm` [rpm], spread evenly, both ends among them."""
    rpm = np.unique(rpm)
    if len(rpm) <= most:
        return rpm
    wanted = np.linspace(rpm[0], rpm[-1], most)
    return np.unique([rpm[int(np.argmin(np.abs(rpm - each)))] for each in wanted])


def speed_rows(comparison: Any) -> tuple[list[tuple[str, str]], list[list[str]]]:
    """Headings and rows of the table over speeds: VE and torque of each option at speeds computed for all."""
    common = comparison.results[0].rpm
    for result in comparison.results[1:]:
        common = np.intersect1d(common, result.rpm)
    heads, columns = [("rpm", "right")], []
    for name, words, value in ((VE, "VE", percent), (TORQUE, unit_shown(TORQUE), lambda v: quantity(TORQUE, v, unit=False))):
        base = None
        for option in comparison.options:
            known = dict(zip(option.result.rpm, option.result.column(name), strict=True))
            values = np.array([known[each] for each in chosen(common)], float)
            heads.append((f"{words} {option.label}", "right"))
            texts = [value(each) for each in values]
            if base is None:
                base = values
            elif np.all(base[np.isfinite(base)] > 0):
                changes = values / base - 1
                texts = [f"{text} ({percent_change(change)})" if np.isfinite(change) else text
                         for text, change in zip(texts, changes, strict=True)]  # fmt: skip
            columns.append(texts)
    rows = [[f"{rpm:.0f}", *cells] for rpm, *cells in zip(chosen(common), *columns, strict=True)]
    return heads, rows


SWEEP_COLUMNS: tuple[tuple[str, str, Callable[[float], str]], ...] = (
    (VE, "VE", percent),
    ("trapped_efficiency", "trapped", percent),
    ("residual_fraction", "residual", percent),
    ("reverse_flow_fraction", "reverse", percent),
    (TORQUE, "{unit}", lambda value: quantity(TORQUE, value, unit=False)),
    (POWER, "{unit}", lambda value: quantity(POWER, value, unit=False)),
    ("corrected_torque", "{unit} corrected", lambda value: quantity(TORQUE, value, unit=False)),
    ("corrected_power", "{unit} corrected", lambda value: quantity(POWER, value, unit=False)),
    ("port_mach_mean", "port Mach", lambda value: number(value, 3)),
    ("inlet_mach_index", "Z", lambda value: number(value, 3)),
    ("gross_torque", "gross {unit}", lambda value: quantity("gross_torque", value, unit=False)),
    ("pumping_torque", "pumping {unit}", lambda value: quantity("pumping_torque", value, unit=False)),
    ("friction_torque", "friction {unit}", lambda value: quantity("friction_torque", value, unit=False)),
    ("pumping_mean_pressure", "pumping {unit}", lambda value: quantity("pumping_mean_pressure", value, unit=False)),
    ("air_flow", "air {unit}", lambda value: quantity("air_flow", value, unit=False)),
    ("exhaust_temperature", "exhaust {unit}", lambda value: quantity("exhaust_temperature", value, unit=False)),
    ("boost_pressure", "boost {unit} gauge", lambda value: quantity("boost_pressure", value, unit=False)),
    ("exhaust_pressure", "manifold {unit} abs", lambda value: quantity("exhaust_pressure", value, unit=False)),
    ("wastegate_share", "wastegate", percent),
)
WHERE_THERE = {*CORRECTED, "boost_pressure", "exhaust_pressure", "wastegate_share"}
"""Columns told only of a result that has them."""


def print_sweep(result: Any, stamp: str, stream: IO[str] | None = None) -> None:
    """One option over speeds [study.results.SweepResult]: peaks, a table of every speed, gaps with their reason."""
    from waveflow.study.compare import LEAVES_OUT, facts_of_option

    out, facts = console(stream), facts_of_option(result)
    result = with_corrected(result)
    columns = [each for each in SWEEP_COLUMNS if each[0] not in WHERE_THERE or each[0] in result.columns]
    title = f"{plain(result.case_name, 80)}, {plain(facts.title, 60)}"
    out.print(f"{title}: {peaks_in_words(facts)}", style="bold")
    out.print()
    heads = [("rpm", "right"), *((words.format(unit=unit_shown(name)), "right") for name, words, _ in columns)]
    rows = []
    told = chosen(result.rpm, MOST_SWEPT)
    for index, rpm in enumerate(result.rpm):
        if rpm not in told:
            continue
        cells = [write(float(result.column(name)[index])) for name, _, write in columns]
        rows.append([f"{rpm:.0f}" + ("" if result.converged[index] else "*"), *cells])
    some = len(told) < len(np.unique(result.rpm))
    _print_table(out, heads, rows, "at some of the computed speeds; all of them are in points.csv" if some else "")
    own = own_of(result)
    if own:
        heads, rows = sweep_rows(result, chosen(result.rpm, MOST_BY_CYLINDER), own)
        _print_table(out, heads, rows, "cylinder by cylinder")
        for sentence in (sweep_sentence(result), *own_words(own)):
            out.print(plain(sentence, 400))
    if not all(result.converged):
        out.print("* failed, or the cycle did not come to repeat itself")
    _print_corrections(out, [result])
    for rpm, why in result.failed.items():
        out.print(f"No value at {speed(rpm)}: {plain(why, 400)}")
    for why in result.facts.assumed_why:
        out.print(f"ASSUMED: {plain(why, 400)}")
    for sentence in result.warnings:
        out.print(f"Note: {plain(sentence, 600)}")
    _close(out, stamp, LEAVES_OUT)


def peaks_in_words(facts: Any) -> str:
    """Peaks of one option [study.compare.OptionFacts] in a sentence's end."""
    pieces = []
    for name, words, value in ((VE, "VE", percent), (TORQUE, "torque", _torque), (POWER, "power", _power)):
        peak = facts.peaks[name]
        if peak is not None:
            pieces.append(f"most {words} {value(peak.value)} at {_place(peak, None)}")
    return ", ".join(pieces) + "." if pieces else "no speed could be computed."


def print_point(case: Any, point: Any, sentence: str, stamp: str, stream: IO[str] | None = None) -> None:
    """One speed [study.cycle.PointResult]: the cycle in a `sentence`, every number with its unit, each cylinder."""
    from waveflow.engine.percylinder import own_parts
    from waveflow.study.columns import COLUMNS
    from waveflow.study.compare import LEAVES_OUT

    out = console(stream)
    option = f", {plain(case.option, 40).replace('_', ' ')}" if case.option else ""
    out.print(f"{plain(case.name, 80)}{option}. {plain(sentence, 400)}", style="bold")
    out.print()
    rows, correction = [], correction_asked(case)
    scalars = dict(point.scalars)
    if correction is not None:
        scalars |= {name: correction.factor * scalars[of] for name, of in CORRECTED.items()}
    for name, (_, words) in COLUMNS.items():
        if name in scalars and name not in ("mass_balance", "energy_balance", "cycles"):
            value, unit, digits = shown(name, [scalars[name]])
            rows.append((words, f"{number(float(value[0]), digits)} {'' if unit == '1' else unit}".rstrip()))
    _print_table(out, (("", "left"), ("value", "right")), rows)
    if len(next(iter(point.per_cylinder.values()), ())) > 1:
        names = [name for name in point.per_cylinder if name in COLUMNS]
        scaled = {name: shown(name, point.per_cylinder[name]) for name in names}
        own = own_parts(case)
        heads = [("", "left"), *((each, "right") for each in cylinder_names(len(point.per_cylinder[names[0]]), own))]
        rows = [(f"{name.replace('_', ' ')}, {unit}".removesuffix(", 1"), *(number(float(v), digits) for v in values))
                for name, (values, unit, digits) in scaled.items()]  # fmt: skip
        _print_table(out, heads, rows)
        for sentence in own_words(own):
            out.print(plain(sentence, 400))
    if correction is not None:
        out.print(plain(f"Corrected: {correction.sentence}", 400))
        for caution in correction.cautions:
            out.print(plain(caution, 400), style="bold")
    if case.burn_trend is not None and case.burn_trend.use:
        out.print(TREND_NOTE)
    if not point.converged:
        out.print(f"Note: the cycle did not come to repeat itself within {counted(point.cycles, 'cycle')}.")
    _close(out, stamp, LEAVES_OUT)
