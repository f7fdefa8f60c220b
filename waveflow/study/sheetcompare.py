"""Two readings of a port on the bench, before and after: what is above the bench's own noise, and what this cam makes of it.

Lifts in m, flows in m3/s. The noise of a bench is common practice without a source: readings of one head in one setting
repeat to 0.5 to 1 %, after taking it off and on again to 1 to 2 %; two benches may differ by up to 20 %.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from waveflow.engine.bench import BenchAir, convert_flow, sheet_findings
from waveflow.engine.flowsheet import ValveFlow, curtain_area, from_sheet
from waveflow.units import from_si, show

NOISE: dict[str, tuple[float, float]] = {"same mount": (0.005, 0.01), "remounted": (0.01, 0.02), "other bench": (0.20, 0.20)}
"""Change below the first share: noise; between the two: perhaps; above the second: real."""
LAWS_APART = 0.025
"""How far the root law and the nozzle law differ between 10 and 28 inH2O; the doubt of a conversion."""
ROOM = (293.15, 101325.0)
"""Air [K, Pa] of a bench that states none: it cancels in every comparison made here."""
ALIKE = 0.004
"""Changes whose spread over the lifts is below this are alike: a bench does that, a port does not."""


@dataclass(frozen=True)
class Readings:
    """One column as read: `lift` (n,) [m], `flow` (n,) [m3/s], and what belongs to it.

    `depression` [Pa]; `leak` [m3/s] still in the readings; `plate`: expected over read flow of the plate, where it is
    not yet taken off.
    """

    name: str
    lift: tuple[float, ...]
    flow: tuple[float, ...]
    depression: float
    leak: float = 0.0
    plate: float = 1.0
    blown: bool = False

    @property
    def net(self) -> np.ndarray:
        """Flow (n,) [m3/s] less leak, with the plate's correction."""
        return (np.array(self.flow) - self.leak) * self.plate

    @property
    def air(self) -> BenchAir:
        """The bench's air, of a usual room."""
        return BenchAir(self.depression, ROOM[0], ROOM[1], self.blown)

    def at_depression(self, depression: float) -> np.ndarray:
        """Net flow (n,) [m3/s] as another `depression` [Pa] would show it, by the nozzle law."""
        if abs(depression / self.depression - 1) < 1e-9:
            return self.net
        return np.asarray(convert_flow(self.net, self.air, BenchAir(depression, *ROOM, self.blown)))

    def valve(self, head_diameter: float) -> ValveFlow:
        """The valve [m, head diameter] these readings make, all valves of the side taken as one."""
        net = np.asarray(self.net)
        return from_sheet(
            self.lift,
            net,
            head_diameter=head_diameter,
            depression=self.depression,
            reference_area="curtain",
            leak_subtracted=True,
            plate_corrected=True,
            air_temperature=ROOM[0],
            barometer=ROOM[1],
            blown=self.blown,
        )


@dataclass(frozen=True)
class LiftChange:
    """Both readings at one lift [m], flows [m3/s] at the first one's depression; `between`: not read there, taken from the
    curve through the second sheet's points. `verdict`: "gain", "loss", "perhaps gain", "perhaps loss", "noise", "not judged".
    """

    lift: float
    before: float
    after: float
    verdict: str
    between: bool = False

    @property
    def change(self) -> float:
        """After over before, less one."""
        return self.after / self.before - 1.0


@dataclass(frozen=True)
class CamView:
    """What a cam makes of two sheets: flow weighted by the time it spends at each lift [m3/s], its top lift [m].

    `shares`: of the open time, spent nearest to each compared lift. `beyond`: words if it lifts past a sheet's last point.
    """

    before: float
    after: float | None
    top: float
    shares: tuple[float, ...]
    beyond: tuple[str, ...] = ()

    @property
    def change(self) -> float | None:
        """After over before, less one."""
        return None if self.after is None else self.after / self.before - 1.0


@dataclass(frozen=True)
class SheetComparison:
    """Before and after, lift by lift. `noise` (low, high); `mount` says what stands between the two readings."""

    rows: tuple[LiftChange, ...]
    noise: tuple[float, float]
    mount: str
    findings: tuple[str, ...]

    def sentence(self, unit: str = "mm") -> str:
        """What is above the noise and what is not, in one or two sentences; lifts in a `unit` [str] of length."""
        if not self.rows:
            return "The two sheets share no lift: nothing can be compared."
        low, high = self.noise
        kinds = {
            kind: [row for row in self.rows if row.verdict == kind]
            for kind in ("gain", "loss", "perhaps gain", "perhaps loss", "noise", "not judged")
        }
        if self.mount == "other bench" and not kinds["gain"] and not kinds["loss"]:
            return (
                f"Not judged: these are two benches, which may differ by up to {high:.0%} on the same head; read both sheets "
                "on one bench, or one plate on both."
            )
        sure = [
            f"{word} at {_lifts(kinds[kind], self.rows, unit)}"
            for kind, word in (("gain", "gain"), ("loss", "LOSS"))
            if kinds[kind]
        ]
        open_ones = [
            f"a {kind.removeprefix('perhaps ')} at {_lifts(kinds[kind], self.rows, unit)}"
            for kind in ("perhaps gain", "perhaps loss")
            if kinds[kind]
        ]
        words = [
            f"Above the noise of {_noise(low, high)}: {', '.join(sure)}."
            if sure
            else f"Nothing is above the noise of {_noise(low, high)}."
        ]
        words += [f"Perhaps {' and '.join(open_ones)}."] if open_ones else []
        if kinds["noise"] and sure + open_ones:
            words.append(f"Within the noise at {_lifts(kinds['noise'], self.rows, unit)}.")
        words += [f"Not judged at {_lifts(kinds['not judged'], self.rows, unit)}."] if kinds["not judged"] else []
        return " ".join(words)


def _noise(low: float, high: float) -> str:
    return f"{100 * low:.2g} %" if low == high else f"{100 * low:.2g} to {100 * high:.2g} %"


def _lifts(rows: list[LiftChange], all_rows: Sequence[LiftChange], unit: str) -> str:
    if len(rows) == len(all_rows):
        return "every lift"
    texts = [f"{from_si(row.lift, unit):.4g}" for row in rows]
    return (f"{', '.join(texts[:-1])} and {texts[-1]}" if texts[1:] else texts[0]) + f" {unit}"


def noise_of(mount: str, repeat: float | None = None, converted: bool = False) -> tuple[float, float]:
    """(low, high) noise of a change: the shop's own repeatability if it knows one, else common practice."""
    low, high = NOISE[mount] if repeat is None else (repeat, 2.0 * repeat)
    return (low + LAWS_APART, high + LAWS_APART) if converted and mount != "other bench" else (low, high)


def verdict_of(change: float, noise: tuple[float, float], mount: str) -> str:
    """The word for one change."""
    low, high = noise
    if abs(change) <= low:
        return "not judged" if mount == "other bench" else "noise"
    word = "gain" if change > 0.0 else "loss"
    return word if abs(change) > high else f"perhaps {word}"


def through(lift: Sequence[float], flow: Sequence[float]) -> Any:
    """Curve through a sheet's points and shut at zero lift (monotone cubics; Fritsch and Butland, 1984): m -> m3/s."""
    from scipy.interpolate import PchipInterpolator

    return PchipInterpolator([0.0, *lift], [0.0, *flow])


def compare_sheets(before: Readings, after: Readings, mount: str = "remounted", repeat: float | None = None) -> SheetComparison:
    """Change of flow at every lift of `before` that lies within the lifts of `after`."""
    own = after.at_depression(before.depression)
    converted = abs(after.depression / before.depression - 1.0) > 1e-9
    noise = noise_of(mount, repeat, converted)
    curve = through(after.lift, own)
    rows = []
    for lift, flow in zip(before.lift, before.net, strict=True):
        if not after.lift[0] - 1e-9 <= lift <= after.lift[-1] + 1e-9:
            continue
        near = int(np.argmin(np.abs(np.array(after.lift) - lift)))
        read = abs(after.lift[near] - lift) < 2e-6
        value = float(own[near]) if read else float(curve(lift))
        rows.append(LiftChange(lift, float(flow), value, verdict_of(value / flow - 1.0, noise, mount), not read))
    return SheetComparison(tuple(rows), noise, mount, tuple(_alike(rows, noise) + _converted(before, after, converted)))


def _alike(rows: list[LiftChange], noise: tuple[float, float]) -> list[str]:
    changes = [row.change for row in rows if not row.between]
    if len(changes) < 4:
        return []
    mean, spread = float(np.mean(changes)), float(np.std(changes))
    if spread < ALIKE and abs(mean) > 0.005 and abs(mean) <= 0.06:
        return [
            f"the change is the same at every lift, {100 * mean:+.1f} % within {100 * spread:.1f} %: that looks like the bench "
            "(plate, leak, depression, temperature), not like the port; check the plate"
        ]
    return []


def _converted(before: Readings, after: Readings, converted: bool) -> list[str]:
    if not converted:
        return []
    return [
        f"read at {show(before.depression, 'inH2O', 3)} and {show(after.depression, 'inH2O', 3)}: the second was converted by "
        "the nozzle law; the root law of many sheets differs by up to 2.5 %, which is added to the noise"
    ]


def findings_of(readings: Readings, head_diameter: float | None = None, count: int = 1) -> list[str]:
    """What looks wrong on one sheet: falling, jagged, and (with the valve [m]) more flow than can pass."""
    lift, net = np.array(readings.lift), np.asarray(readings.net)
    if (net <= 0.0).any():
        return [f"the flow at {lift[int(np.argmin(net))] * 1e3:g} mm is not above the leak"]
    area = np.asarray(readings.air.effective_area(net)) / count
    curtain = np.full_like(lift, math.inf) if head_diameter is None else np.asarray(curtain_area(head_diameter, lift))
    return sheet_findings(lift, area, curtain)


def cam_view(
    lift_curve: Any, before: Readings, after: Readings | None, head_diameter: float, lifts: Sequence[float]
) -> CamView:
    """Flow weighted by the time a cam [engine.valvetrain.LiftCurve] spends at each lift, for both sheets.

    `lifts` (n,) [m]: where the time is told. `head_diameter` [m] only counts lift over diameter: it cancels.
    """
    from waveflow.engine.breathing import lift_time_flow

    valves = [each.valve(head_diameter) for each in (before, after) if each is not None]
    flows = [lift_time_flow(lift_curve, valve, before.air.flow_per_area) for valve in valves]
    opened = lift_curve.lift[lift_curve.lift > 0.0]
    edges = [0.0, *((a + b) / 2.0 for a, b in zip(lifts, lifts[1:], strict=False)), math.inf]
    shares = (
        tuple(float(np.mean((opened > a) & (opened <= b))) for a, b in zip(edges, edges[1:], strict=False)) if lifts else ()
    )
    names = [each.name for each in (before, after) if each is not None]
    beyond = tuple(
        f"{name}: {words}"
        for name, valve in zip(names, valves, strict=True)
        if (words := valve.lift_sentence(lift_curve.max_lift))
    )
    return CamView(flows[0], flows[1] if after is not None else None, lift_curve.max_lift, shares, beyond)


def cam_sentence(view: CamView, before: Readings, after: Readings, noise: tuple[float, float], mount: str) -> str:
    """Whether the cam sees what the top of the sheet promises."""
    change = view.change or 0.0
    peak = float(max(after.at_depression(before.depression)) / max(before.net) - 1.0)
    judged = verdict_of(change, noise, mount)
    words = {"noise": "within the noise", "not judged": "not judged"}.get(judged, judged)
    told = f"With this cam: {100 * change:+.1f} % ({words}); the top of the sheet: {100 * peak:+.1f} %."
    if peak > noise[1] and change < -noise[0]:
        return told + " The peak gained and the engine lost: the lifts where this cam spends its time went down."
    if peak > noise[1] and change < 0.5 * peak:
        return told + " Most of the gain stands at lifts where this cam spends little time."
    if peak < -noise[0] and change > noise[1]:
        return told + " The peak lost and the engine gained: the lifts where this cam spends its time went up."
    return told
