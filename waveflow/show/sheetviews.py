"""Before and after of a flow sheet as tables and sentences, and the sheet written plain with the lines for a case."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

from waveflow.engine.sheetfile import FlowColumn, FlowFile
from waveflow.engine.sheetnormal import case_lines, groups, leak_of, normal_csv
from waveflow.engine.sheetreading import yes
from waveflow.errors import CaseError, CaseProblem
from waveflow.show.endings import Refused
from waveflow.show.terminal import table
from waveflow.show.words import percent_change, plain
from waveflow.study.sheetcompare import (
    CamView,
    Readings,
    SheetComparison,
    cam_sentence,
    cam_view,
    compare_sheets,
    findings_of,
)
from waveflow.units import from_si, parse

VERDICTS = {
    "gain": "gain",
    "loss": "LOSS",
    "perhaps gain": "perhaps a gain",
    "perhaps loss": "perhaps a loss",
    "noise": "within noise",
    "not judged": "not judged",
}
PRACTICE = "bench noise: common practice, no source"


@dataclass(frozen=True)
class View:
    """One side: its sheets, how they compare, and what the case's cam makes of them."""

    side: str
    lift_unit: str
    flow_unit: str
    before: Readings
    after: Readings | None
    comparison: SheetComparison | None
    cam: CamView | None
    sentences: tuple[str, ...]
    findings: tuple[str, ...]

    def data(self) -> dict[str, Any]:
        """The same as data for JSON, SI."""
        rows = (
            []
            if self.comparison is None
            else [
                {
                    "lift_m": row.lift,
                    "before_m3_s": row.before,
                    "after_m3_s": row.after,
                    "change": row.change,
                    "verdict": row.verdict,
                    "interpolated": row.between,
                }
                for row in self.comparison.rows
            ]
        )
        cam = (
            None
            if self.cam is None
            else {
                "before_m3_s": self.cam.before,
                "after_m3_s": self.cam.after,
                "change": self.cam.change,
                "time_shares": list(self.cam.shares),
            }
        )
        noise = (
            None
            if self.comparison is None
            else {"low": self.comparison.noise[0], "high": self.comparison.noise[1], "between": self.comparison.mount}
        )
        return {
            "side": self.side,
            "rows": rows,
            "noise": noise,
            "cam": cam,
            "sentences": list(self.sentences),
            "findings": list(self.findings),
        }


def readings_of(sheet: FlowFile, column: FlowColumn) -> Readings:
    """SI readings of one column with what is still to be taken off. Raises CaseError where nothing is above the leak."""
    lift, flow = sheet.readings(column)
    leak, plate = 0.0, 1.0
    told = leak_of(sheet, column)
    if told and yes(sheet.facts, "leak subtracted") is False:
        leak = parse(told, "volume_flow")
    pair = [sheet.facts.get(key, "") for key in ("plate expected", "plate read")]
    if all(pair) and yes(sheet.facts, "plate corrected") is False:
        plate = parse(pair[0], "volume_flow") / parse(pair[1], "volume_flow")
    if len(lift) < 2:
        raise CaseError([CaseProblem(sheet.source, column.name, None, "fewer than two readings")])
    low = [x for x, q in zip(lift, flow, strict=True) if q <= leak]
    if low:
        raise CaseError(
            [CaseProblem(sheet.source, column.name, None, f"the flow at {low[0] * 1e3:g} mm is not above the leak")]
        )
    name = f"{column.name} of {sheet.source}" if not column.label else column.name
    return Readings(
        name, tuple(lift), tuple(flow), parse(column.depression, "pressure_difference"), leak, plate, column.side == "exhaust"
    )


def _pick(sheet: FlowFile, side: str, label: str) -> FlowColumn | None:
    """The one column of a side, or the one of several that is labelled so. Refused where that leaves a choice."""
    own = [column for column in sheet.columns if column.side == side]
    if len(own) < 2:
        return own[0] if own else None
    named = [column for column in own if column.label == label]
    if len(named) == 1:
        return named[0]
    names = ", ".join(f'"{column.heading}" (column {column.place + 1})' for column in own)
    raise Refused(
        f"{sheet.source}: several columns of the {side}: {names}; say which is {label}, such as --answer "
        f'"column {own[0].place + 1}={side} {label}", and leave the others out with =unused'
    )


def compared(sheets: list[FlowFile], mount: str | None, repeat: float | None, case: Any) -> list[View]:
    """A view of every side that the first sheet holds."""
    views = []
    for side in ("intake", "exhaust"):
        own = [column for column in sheets[0].columns if column.side == side]
        if not own:
            continue
        alone = len(own) == 1 and len(sheets) == 1
        first = own[0] if alone else _pick(sheets[0], side, "before")
        other = sheets[-1]
        second = None if alone else _pick(other, side, "after")
        if first is None:
            continue
        views.append(_view(side, sheets[0], first, other, second if second is not first else None, mount, repeat, case))
    if len(sheets) == 2 and not any(view.after for view in views):
        raise Refused(f"{sheets[0].source} and {sheets[1].source} hold no reading of the same side")
    return views


def _view(
    side: str,
    sheet: FlowFile,
    first: FlowColumn,
    other: FlowFile,
    second: FlowColumn | None,
    mount: str | None,
    repeat: float | None,
    case: Any,
) -> View:
    before = readings_of(sheet, first)
    after = readings_of(other, second) if second is not None else None
    findings, sentences = [], []
    valve = getattr(case, side).valve if case is not None else None
    stated = sheet.valve(side)
    diameter = valve.head_diameter if valve is not None else parse(stated, "length") if stated else None
    count = valve.count if valve is not None else 1
    for each in (before, *([after] if after is not None else [])):
        findings += [f"{each.name}: {text}" for text in findings_of(each, diameter, count)]
    comparison = cam = None
    apart = sheet.facts.get("bench", "").lower() != other.facts.get("bench", "").lower() or sheet.foreign != other.foreign
    between = mount or ("other bench" if apart else "remounted")
    if after is not None:
        comparison = compare_sheets(before, after, between, repeat)
        findings += comparison.findings
        sentences.append(comparison.sentence("mm" if sheet.lift_unit == "D" else sheet.lift_unit))
        if mount is None and not apart:
            sentences.append(
                'Counted as read on one bench, the head taken off in between; if not, say --between "same mount" or '
                '"other bench".'
            )
        elif mount is None:
            sentences.append("Counted as read on two benches, as the sheets say.")
    if case is not None:
        from waveflow.engine.valves import lift_of

        lifts = [row.lift for row in comparison.rows] if comparison else list(before.lift)
        cam = cam_view(lift_of(getattr(case, side).cam, side), before, after, valve.head_diameter, lifts)
        findings += cam.beyond
        if after is not None and comparison is not None:
            sentences.append(cam_sentence(cam, before, after, comparison.noise, between))
        flow = getattr(case, side).flow
        if flow.kind == "sheet" and abs(flow.depression / before.depression - 1.0) > 0.01:
            findings.append(f"the case's own {side} sheet was read at another depression: another bench's sheet, perhaps")
    return View(
        side,
        "mm" if sheet.lift_unit == "D" else sheet.lift_unit,
        first.unit,
        before,
        after,
        comparison,
        cam,
        tuple(sentences),
        tuple(findings),
    )


def print_compared(out: Any, views: list[View]) -> None:
    """Every side's table, sentences and findings."""
    for view in views:
        unit, flow = view.lift_unit, view.flow_unit
        if view.comparison is not None:
            heads = [
                (f"lift, {unit}", "right"),
                (f"before, {flow}", "right"),
                (f"after, {flow}", "right"),
                ("change", "right"),
                ("", "left"),
            ]
            heads += [("time of this cam", "right")] if view.cam else []
            rows = []
            for k, row in enumerate(view.comparison.rows):
                mark = " (between readings)" if row.between else ""
                cells = [
                    f"{from_si(row.lift, unit):.4g}",
                    *(f"{from_si(each, flow):.4g}" for each in (row.before, row.after)),
                    percent_change(row.change),
                    VERDICTS[row.verdict] + mark,
                ]
                rows.append([*cells, f"{100 * view.cam.shares[k]:.0f} %"] if view.cam else cells)
            if view.cam is not None and view.cam.after is not None:
                weighted = [f"{from_si(each, flow):.4g}" for each in (view.cam.before, view.cam.after)]
                rows.append(["by cam time", *weighted, percent_change(view.cam.change), "", "100 %"])
            out.print(table(heads, rows, f"{view.side}, net flow"))
        elif view.cam is not None:
            out.print(
                plain(
                    f"{view.side}: {from_si(view.cam.before, flow):.4g} {flow} weighted by the time this cam spends at each "
                    f"lift, {from_si(max(view.before.net), flow):.4g} {flow} at the top of the sheet.",
                    300,
                )
            )
        for text in view.sentences:
            out.print(plain(text, 600))
        for text in view.findings:
            out.print(plain(f"Look at: {text}", 600))
        if view.comparison is not None:
            out.print(f"({PRACTICE})")
        out.print()


def write_sheets(sheets: list[FlowFile], target: Path, force: bool) -> list[tuple[Path, str]]:
    """Writes every sheet plain; (file, lines for a case) of each. Refused before anything is written where a file stands."""
    from waveflow.study.writing import write_atomic

    if not target.parent.is_dir():
        raise Refused(f"--write {target}: there is no folder {target.parent}")
    planned: list[tuple[Path, FlowFile, list[FlowColumn]]] = []
    for number, sheet in enumerate(sheets):
        for ending, columns in groups(sheet):
            ending = ending or ("after" if number else "before" if len(sheets) > 1 else "")
            path = target.with_name(f"{target.stem}_{ending}{target.suffix}" if ending else target.name)
            planned.append((path, sheet, columns))
    paths = [path for path, _, _ in planned]
    doubled = {str(path) for path in paths if paths.count(path) > 1}
    if doubled:
        raise Refused(f"--write {target}: two sheets would both become {', '.join(sorted(doubled))}; write them one by one")
    standing = [str(path) for path in paths if path.exists()]
    if standing and not force:
        raise Refused(f"--write: {', '.join(standing)} exists already; --force overwrites it")
    made = []
    for path, sheet, columns in planned:
        write_atomic(path, normal_csv(sheet, columns).encode())
        made.append((path, "\n".join(case_lines(sheet, column, path.name) for column in columns)))
    return made
