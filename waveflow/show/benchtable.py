"""The modelled bench in tables and sentences, as a porter reads a flow sheet: lift, CFM, and what to think of it."""

from __future__ import annotations

from collections.abc import Sequence
from typing import IO, Any

import numpy as np

from waveflow import units
from waveflow.engine.bench import BenchAir
from waveflow.engine.share import VALVE_ALONE, WHOLE_PORT
from waveflow.engine.valvealone import NoCoefficient
from waveflow.engine.valves import valve_flow
from waveflow.show.terminal import console, tables_that_fit
from waveflow.show.words import number, percent, percent_change, plain
from waveflow.study.benchrun import BenchRun, bench

CFM = units.TABLE["volume_flow"]["CFM"]
PER_INCH = units.TABLE["pressure_difference"]["inH2O"]


def alone_of(case: Any, run: BenchRun) -> BenchRun | NoCoefficient | None:
    """The same run with the valve's own coefficient; what stands in its way, or None where there is no sheet for it."""
    table = getattr(case, run.side)
    if table.flow.kind != "sheet" or table.port is None or table.flow.valves_open != table.valve.count:
        return None
    try:
        return bench(case, run.depression, side=run.side, reverse=run.reverse, lift=run.lift, share=VALVE_ALONE)[0]
    except NoCoefficient as none:
        return none


def beside_of(run: BenchRun, other: Any) -> tuple[str, np.ndarray] | None:
    """Name and flow (n,) [m3/s] of another case's sheet of this side at this run's lifts and depression by the isentropic law,
    NaN beyond its readings; None where it has no sheet."""
    table = getattr(other, run.side)
    if table.flow.kind != "sheet" or run.reverse:
        return None
    plain_flow = valve_flow(table.flow, table.valve, run.side)
    read = plain_flow.lift_over_diameter * plain_flow.head_diameter
    air = BenchAir(run.depression, table.flow.air_temperature, table.flow.barometer, run.side == "exhaust")
    flow = air.flow(table.valve.count * plain_flow.effective_area(run.lift))
    inside = (run.lift >= read[0] - 1e-9) & (run.lift <= read[-1] + 1e-9)
    return other.option or other.name, np.where(inside, flow, np.nan)


def sentences(case: Any, run: BenchRun, alone: BenchRun | NoCoefficient | None) -> list[str]:
    """What to think of a run, the most important first."""
    out = []
    if run.assumed:
        out.append("ASSUMED: this port has no flow sheet of its own.")
    if run.other_bench:
        out.append(f"OTHER BENCH: the sheet was read on {run.other_bench}; converting it does not make it this bench's.")
    known = run.missed is not None and np.isfinite(run.missed).any()
    if known and run.share == WHOLE_PORT:
        low, high = np.nanmin(run.missed), np.nanmax(run.missed)
        out.append(f"The coefficient in use is that of the whole port: the model's port charges its own losses or recovery on "
                   f"top, and the modelled bench returns the sheet {percent_change(low)} to {percent_change(high)}.")
    elif known:
        out.append(f"The coefficient in use is that of the valve alone: the modelled bench returns the sheet within "
                   f"{percent(max(run.worst, 5e-5), 2)}.")  # fmt: skip
    if isinstance(alone, BenchRun) and run.share == WHOLE_PORT and known:
        out.append(f'With {run.side}.flow.coefficient_of = "valve alone" it returns the sheet within '
                   f"{percent(max(alone.worst or 0.0, 5e-5), 2)}; the port's losses are then charged once.")  # fmt: skip
    if isinstance(alone, NoCoefficient):
        out.append(f"The valve alone: {alone}.")
    out += [f"Sheet: {each}." for each in run.findings]
    bore, share = run.adapter or (None, 0.0)
    if bore and share > 0.002:
        out.append(f"In a bore adapter of {units.show(bore, 'mm', 4)} the air keeps {percent(share)} of the depression as "
                   "dynamic pressure at most: how it is tapped can move the flow by up to half of that.")
    return out


def run_rows(run: BenchRun, alone: BenchRun | NoCoefficient | None, besides: tuple[str, np.ndarray] | None) -> tuple[
        list[tuple[str, str]], list[list[str]]]:  # fmt: skip
    """Headings and rows of one side's table."""
    heads = [("lift mm", "key")]
    if run.measured is not None:
        heads.append(("sheet CFM", "right"))
    heads.append(("modelled CFM", "right"))
    if run.measured is not None:
        heads.append(("off", "right"))
    heads += [("Cf in use", "right"), ("of throat", "right")]
    show_alone = isinstance(alone, BenchRun) and run.share == WHOLE_PORT
    if show_alone:
        heads.append(("Cf valve alone", "right"))
    if besides is not None:
        heads += [(f"{plain(besides[0], 30)} CFM", "right"), ("beside", "right")]
    rows = []
    for k, lift in enumerate(run.lift):
        row = [number(1e3 * lift, 2)]
        if run.measured is not None:
            row.append(_cfm(run.measured[k]))
        row.append(_cfm(run.modelled[k]))
        if run.measured is not None:
            row.append(_change(run.missed[k]))
        row += [number(run.coefficient[k], 3), number(run.on_throat[k], 3)]
        if show_alone:
            row.append(number(alone.coefficient[k], 3))
        if besides is not None:
            own = run.measured[k] if run.measured is not None and np.isfinite(run.measured[k]) else run.modelled[k]
            row += [_cfm(besides[1][k]), _change(besides[1][k] / own - 1.0)]
        rows.append(row)
    return heads, rows


def print_bench(case: Any, runs: Sequence[BenchRun], other: Any = None, stream: IO[str] | None = None) -> None:
    """All runs of a case, to a stream."""
    out = console(stream)
    for run in runs:
        alone = alone_of(case, run)
        besides = beside_of(run, other) if other is not None else None
        way = "reverse" if run.reverse else "forward"
        title = f"{case.option or case.name}, {run.side}, {way}, {run.depression / PER_INCH:.4g} inH2O"
        if run.read_at is not None and abs(run.read_at / run.depression - 1.0) > 1e-6:
            title += f" (sheet read at {run.read_at / PER_INCH:.4g} inH2O)"
        for each in tables_that_fit(*run_rows(run, alone, besides), out.width, title):
            out.print(each)
            out.print()
        for sentence in sentences(case, run, alone):
            out.print(plain(sentence, 800))
        if other is not None and getattr(getattr(other, run.side).flow, "other_bench", ""):
            foreign = getattr(other, run.side).flow.other_bench
            out.print(plain(f"OTHER BENCH: the sheet beside it was read on {foreign}; a difference may be the bench's.", 400))
        out.print()
    rows = [[words, number(isen, 4), number(root, 4), percent_change(isen / root - 1.0, 2)]
            for words, (isen, root) in runs[0].conversions.items()]  # fmt: skip
    heads = [("depression", "key"), ("isentropic", "right"), ("root law", "right"), ("apart", "right")]
    for each in tables_that_fit(heads, rows, out.width, f"One opening at other depressions, over 28 inH2O ({runs[0].side})"):
        out.print(each)
        out.print()
    out.print(f"CFM of room air; Cf on the valve-head area. {IDEAL} Sheets are converted by the isentropic law.")


IDEAL = "Ideal gas, steady, adiabatic; behind the valve air at rest, as in the engine's cylinder."


def _cfm(value: float) -> str:
    return number(value / CFM, 1) if np.isfinite(value) else ""


def _change(value: float) -> str:
    return percent_change(value) if np.isfinite(value) else ""


def bench_data(case: Any, runs: Sequence[BenchRun], other: Any = None) -> dict[str, Any]:
    """All of it as plain values; flows in CFM and m3/s, lifts in m."""
    made = []
    for run in runs:
        alone, besides = alone_of(case, run), beside_of(run, other) if other is not None else None
        made.append({
            "side": run.side, "reverse": run.reverse, "depression_Pa": run.depression, "lift_m": run.lift.tolist(),
            "modelled_m3_s": run.modelled.tolist(), "modelled_CFM": (run.modelled / CFM).tolist(),
            "measured_m3_s": None if run.measured is None else run.measured.tolist(),
            "coefficient_on_valve_head": run.coefficient.tolist(), "effective_over_throat": run.on_throat.tolist(),
            "coefficient_of": run.share, "assumed": run.assumed, "other_bench": run.other_bench,
            "valve_alone_on_valve_head": alone.coefficient.tolist() if isinstance(alone, BenchRun) else None,
            "beside_m3_s": None if besides is None else besides[1].tolist(),
            "conversions": {words: {"isentropic": a, "root": b} for words, (a, b) in run.conversions.items()},
            "sentences": sentences(case, run, alone),
        })  # fmt: skip
    return {"case": case.name, "option": case.option, "runs": made}
