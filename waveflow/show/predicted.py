"""A predicted sheet in a table, with what it is worth."""

from __future__ import annotations

from collections.abc import Sequence
from typing import IO, Any

import numpy as np

from waveflow.show.benchtable import CFM, PER_INCH
from waveflow.show.terminal import console, tables_that_fit
from waveflow.show.words import number, percent_change, plain
from waveflow.study.predicted import PredictedSheet

ASSUMED = (
    "ASSUMED: predicted from the areas of valve and port and the sheet of {base}, not read on a bench. The estimate keeps that "
    "port's shape; the upper edge is a better seat and bowl (our choice, no source). The stock rule keeps the "
    "measured coefficient on the new valve's head. A run of a port without a sheet keeps "
    "the measured valve's coefficient and lets the new port bring its own losses."
)
INVENTED = "These sheets are invented: the comparison exercises the arithmetic and proves nothing."


def print_predicted(base: Any, case: Any, sheets: Sequence[PredictedSheet], stream: IO[str] | None = None) -> None:
    """Tables and sentences of a case's predicted sheets."""
    out = console(stream)
    names = [plain(each.option or each.name, 40) for each in (base, case)]
    for made in sheets:
        heads = [("lift mm", "key"), ("predicted CFM", "right"), ("from", "right"), ("to", "right"), ("stock rule", "right")]
        if made.measured is not None:
            heads += [("sheet CFM", "right"), ("predicted off", "right"), ("stock off", "right")]
        rows = []
        for k, lift in enumerate(made.lift):
            row = [number(1e3 * lift, 2), *(number(each[k] / CFM, 1) for each in (made.flow, made.low, made.high, made.stock))]
            if made.measured is not None:
                read = made.measured[k]
                row += [number(read / CFM, 1), percent_change(made.error[k]), percent_change(made.stock[k] / read - 1.0)] \
                    if np.isfinite(read) else ["", "", ""]  # fmt: skip
            rows.append(row)
        title = f"{names[1]} predicted from {names[0]}, {made.side}, {made.depression / PER_INCH:.4g} inH2O"
        for each in tables_that_fit(heads, rows, out.width, title):
            out.print(each)
            out.print()
        if made.measured is not None:
            known = np.isfinite(made.measured)
            inside = (made.measured >= made.low) & (made.measured <= made.high)
            out.print(f"Blind error {percent_change(np.nanmin(made.error))} to {percent_change(np.nanmax(made.error))}; "
                      f"{int(inside[known].sum())} of {int(known.sum())} readings lie inside the band.")  # fmt: skip
            out.print()
    out.print(ASSUMED.format(base=names[0]))
    if "INVENTED" in f"{base.note} {case.note}":
        out.print(INVENTED)


def predicted_data(base: Any, case: Any, sheets: Sequence[PredictedSheet]) -> dict[str, Any]:
    """The same as plain values in SI."""
    rows = [{
        "side": made.side, "depression_Pa": made.depression, "lift_m": made.lift.tolist(), "predicted_m3_s": made.flow.tolist(),
        "low_m3_s": made.low.tolist(), "high_m3_s": made.high.tolist(), "stock_m3_s": made.stock.tolist(),
        "measured_m3_s": None if made.measured is None else made.measured.tolist(), "assumed": True,
    } for made in sheets]  # fmt: skip
    return {"case": case.name, "option": case.option, "from": base.option or base.name, "predicted": rows}
