"""Flow against lift, modelled and measured, one panel a side: the sheet as open marks, the model as a line."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from waveflow.show.benchtable import CFM, PER_INCH, alone_of
from waveflow.show.canvas import describe, name_axes, sheet, style
from waveflow.show.looks import ALARM, FAINT, INK, SOFT_INK, look
from waveflow.show.words import percent_change, plain
from waveflow.study.benchrun import BenchRun, bench
from waveflow.study.predicted import PredictedSheet

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure


def bench_figure(case: Any, runs: Sequence[BenchRun]) -> Figure:
    """One panel for every run [BenchRun] of a case."""
    title = plain(f"{case.name}{', ' + case.option if case.option else ''} on the modelled flow bench", 120)
    with style():
        figure = sheet((5.6 * len(runs) + 0.6, 5.2))
        axes = figure.subplots(1, len(runs), squeeze=False)[0]
        for each, run in zip(axes, runs, strict=True):
            _panel(each, case, run)
        figure.suptitle(title, x=0.02, ha="left", fontsize=11, fontweight="bold", color=INK)
        note = plain(case.note, 200)
        if note:
            figure.text(0.02, 0.012, note, fontsize=6.5, color=FAINT, parse_math=False)
        figure.subplots_adjust(left=0.07, right=0.98, top=0.86, bottom=0.13, wspace=0.2)
    words = "; ".join(f"{run.side}: {run.modelled[-1] / CFM:.1f} CFM at {1e3 * run.lift[-1]:g} mm" for run in runs)
    return describe(figure, title, f"Flow against lift. {words}.")


def predicted_figure(base: Any, case: Any, sheets: Sequence[PredictedSheet]) -> Figure:
    """One panel for every predicted sheet [PredictedSheet] of a case, from the sheet of `base`: estimate, band, readings."""
    title = plain(f"{case.name}: {case.option or case.name} predicted from {base.option or base.name}", 120)
    with style():
        figure = sheet((5.6 * len(sheets) + 0.6, 5.2))
        axes = figure.subplots(1, len(sheets), squeeze=False)[0]
        for each, made in zip(axes, sheets, strict=True):
            _predicted_panel(each, made)
        figure.suptitle(title, x=0.02, ha="left", fontsize=11, fontweight="bold", color=INK)
        note = "Predicted from areas and the other port's sheet, not read on a bench."
        note += " Invented demo data." if "INVENTED" in f"{base.note} {case.note}" else ""
        figure.text(0.02, 0.012, note, fontsize=6.5, color=FAINT)
        figure.subplots_adjust(left=0.07, right=0.98, top=0.86, bottom=0.13, wspace=0.2)
    words = "; ".join(f"{made.side}: {made.flow[-1] / CFM:.1f} CFM at {1e3 * made.lift[-1]:g} mm, "
                      f"{made.low[-1] / CFM:.1f} to {made.high[-1] / CFM:.1f}" for made in sheets)  # fmt: skip
    return describe(figure, title, f"Predicted flow against lift. {words}.")


def _predicted_panel(axes: Axes, made: PredictedSheet) -> None:
    first, second, lift = look(1), look(0), 1e3 * made.lift
    axes.fill_between(lift, made.low / CFM, made.high / CFM, facecolor=first.color, alpha=0.2, linewidth=0, label="its band")
    axes.plot(lift, made.flow / CFM, color=first.color, linestyle="solid", linewidth=1.8, zorder=3, label="predicted")
    axes.plot(lift, made.stock / CFM, color=SOFT_INK, linestyle="dotted", linewidth=1.4, zorder=3, label="stock rule")
    top = max(made.high.max(), made.stock.max())
    if made.measured is not None:
        axes.plot(lift, made.measured / CFM, color=second.color, marker="o", markersize=5, linestyle="none",
                  markerfacecolor="white", zorder=6, label="sheet, corrected")  # fmt: skip
        top = max(top, float(np.nanmax(made.measured, initial=0.0)))
    axes.set_xlim(0.0, 1.04 * lift[-1])
    axes.set_ylim(0.0, 1.14 * top / CFM)
    name_axes(axes, f"{made.side}: flow of room air [CFM]", "valve lift [mm]", f"{made.depression / PER_INCH:.4g} inH2O")
    axes.legend(loc="lower right", fontsize=7.5, frameon=False)
    axes.text(0.02, 0.97, "ASSUMED", transform=axes.transAxes, fontsize=9, fontweight="bold", color=ALARM, va="top")


def _panel(axes: Axes, case: Any, run: BenchRun) -> None:
    fine = np.linspace(min(0.5e-3, run.lift[0]), run.lift[-1], 45)
    smooth = bench(case, run.depression, side=run.side, reverse=run.reverse, lift=fine, share=run.share)[0]
    first, second = look(1), look(0)
    axes.plot(1e3 * fine, smooth.modelled / CFM, color=first.color, linestyle="solid", linewidth=1.8, zorder=3,
              label=f"modelled, coefficient of the {run.share}")  # fmt: skip
    alone = alone_of(case, run)
    if isinstance(alone, BenchRun) and run.share != alone.share:
        third = look(2)
        axes.plot(1e3 * run.lift, alone.modelled / CFM, color=third.color, linestyle=third.line, linewidth=1.4, zorder=4,
                  label="modelled, valve alone")  # fmt: skip
    if run.measured is not None:
        axes.plot(1e3 * run.lift, run.measured / CFM, color=second.color, marker="o", markersize=5, linestyle="none",
                  markerfacecolor="white", zorder=6, label="sheet, corrected")  # fmt: skip
        falls = np.flatnonzero(np.diff(run.measured) < 0.0) + 1
        for k in falls:
            axes.annotate("falls", (1e3 * run.lift[k], run.measured[k] / CFM), (0, -11), textcoords="offset points",
                          ha="center", va="top", fontsize=7.5, color=ALARM, zorder=7)  # fmt: skip
        last = int(np.flatnonzero(np.isfinite(run.measured))[-1])
        axes.annotate(f"model {percent_change(run.missed[last])}" if abs(run.missed[last]) >= 5e-4 else "model on the sheet",
                      (1e3 * run.lift[last], run.modelled[last] / CFM), (-8, 12), textcoords="offset points", ha="right",
                      fontsize=7.5, color=first.color)  # fmt: skip
    axes.set_xlim(0.0, 1.04e3 * run.lift[-1])
    axes.set_ylim(0.0, 1.14 * max(smooth.modelled.max(), run.modelled.max()) / CFM)
    way = ", reverse" if run.reverse else ""
    name_axes(axes, f"{run.side}{way}: flow of room air [CFM]", "valve lift [mm]", f"{run.depression / PER_INCH:.4g} inH2O")
    axes.legend(loc="lower right", fontsize=7.5, frameon=False)
    if run.other_bench or run.assumed:
        axes.text(0.02, 0.97, "OTHER BENCH" if run.other_bench else "ASSUMED", transform=axes.transAxes, fontsize=9,
                  fontweight="bold", color=ALARM, va="top")  # fmt: skip
