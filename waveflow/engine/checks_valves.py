"""Checks of valves, cams and flows, each side on its own and both together."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import Any

from waveflow.engine.checks import Finding
from waveflow.engine.checks_engine import rising
from waveflow.engine.fields import Skip
from waveflow.units import show

SIDES = ("intake", "exhaust")
BEYOND_SHEET = 0.5e-3
SEATED = 0.05e-3


def each_side(check: Callable[[Any, str], Iterator[Finding]]) -> Callable[[Any], Iterator[Finding]]:
    """A check of one side, run for both; a wrong value on one side does not end the other's."""

    def both(case: Any) -> Iterator[Finding]:
        for side in SIDES:
            try:
                yield from check(case, side)
            except Skip:
                continue

    return both


@each_side
def valve_in_bore(case: Any, side: str) -> Iterator[Finding]:
    valve, bore = getattr(case, side).valve, case.engine.bore
    key = (side, "valve", "head_diameter")
    if valve.head_diameter >= bore:
        message = f"not smaller than the bore of {show(bore, 'mm')}"
        yield Finding(key, message, f"below {show(bore, 'mm')}", why="the valve must fit the cylinder")
    elif valve.count > 1 and 2 * valve.head_diameter > bore:
        message = f"two of them side by side are wider than the bore of {show(bore, 'mm')}"
        yield Finding(key, message, f"up to {show(bore / 2, 'mm')}")


@each_side
def valve_sizes(case: Any, side: str) -> Iterator[Finding]:
    valve = getattr(case, side).valve
    head = valve.head_diameter
    if valve.throat_diameter is not None and valve.throat_diameter > head:
        message = f"larger than the valve head of {show(head, 'mm')}"
        yield Finding((side, "valve", "throat_diameter"), message, f"up to {show(head, 'mm')}")
    elif valve.throat_diameter is not None and valve.throat_diameter > 0.93 * head:
        message = f"unusual: {valve.throat_diameter / head:.0%} of the valve head, most stay below 91 %"
        yield Finding((side, "valve", "throat_diameter"), message, warning=True)
    if valve.stem_diameter > 0.5 * head:
        message = f"more than half the valve head of {show(head, 'mm')}"
        yield Finding((side, "valve", "stem_diameter"), message, f"below {show(head / 2, 'mm')}")


def both_valves(case: Any) -> Iterator[Finding]:
    intake, exhaust, bore = case.intake.valve, case.exhaust.valve, case.engine.bore
    if max(intake.head_diameter, exhaust.head_diameter) >= bore:
        return
    if intake.head_diameter + exhaust.head_diameter > 1.02 * bore:
        total = show(intake.head_diameter + exhaust.head_diameter, "mm")
        message = f"intake and exhaust head together are {total} across a bore of {show(bore, 'mm')}"
        yield Finding(("intake", "valve", "head_diameter"), message, warning=True)
    if exhaust.head_diameter > intake.head_diameter and exhaust.count >= intake.count:
        message = f"larger than the intake valve of {show(intake.head_diameter, 'mm')}"
        yield Finding(("exhaust", "valve", "head_diameter"), message, warning=True)


@each_side
def card(case: Any, side: str) -> Iterator[Finding]:
    cam = getattr(case, side).cam
    if cam.kind != "card":
        return
    key = (side, "cam")
    pair = cam.second_duration, cam.second_duration_at
    if pair[0] is None and pair[1] is not None:
        hint = 'add second_duration = "258 deg" or what it is'
        yield Finding((*key, "second_duration"), "missing beside second_duration_at", hint=hint, missing=True)
    elif pair[1] is None and pair[0] is not None:
        why = "a duration means nothing without the lift it was read at, at the follower"
        hint = 'add second_duration_at = "0.006 in" or what it is'
        yield Finding((*key, "second_duration_at"), "missing", hint=hint, why=why, missing=True)
    for name in ("duration_at", "second_duration_at"):
        height = getattr(cam, name)
        if height is not None and height >= cam.lobe_lift:
            message = f"not below the lobe lift of {show(cam.lobe_lift, 'mm')}"
            yield Finding((*key, name), message, f"below {show(cam.lobe_lift, 'mm')}", why="at the follower")
    if None not in pair:
        lower = cam.second_duration_at < cam.duration_at
        if cam.second_duration_at == cam.duration_at:
            yield Finding((*key, "second_duration_at"), "the same height as duration_at")
        elif lower != (cam.second_duration > cam.duration):
            than = "shorter" if lower else "longer"
            message = f"{than} than the one at {show(cam.duration_at, 'mm')}, though read at a "
            message += f"{'lower' if lower else 'higher'} lift"
            yield Finding((*key, "second_duration"), message, hint="look whether the two heights are exchanged")
    gross = greatest_lift(cam) + cam.lash
    if cam.lash >= gross:
        yield Finding((*key, "lash"), "the valve never opens", f"below {show(gross, 'mm')}")


@each_side
def rocker(case: Any, side: str) -> Iterator[Finding]:
    """A rocker whose ratio changes with its travel."""
    cam = getattr(case, side).cam
    if cam.kind not in ("card", "table") or (cam.rocker_at is None and cam.rocker_ratios is None):
        return
    key, both = (side, "cam"), (cam.rocker_at, cam.rocker_ratios)
    if both[0] is None or both[1] is None:
        lacking = "rocker_at" if both[0] is None else "rocker_ratios"
        hint = "lobe lifts and the ratios read at them go together"
        yield Finding((*key, lacking), "missing", hint=hint, missing=True)
        return
    if len(both[0]) != len(both[1]):
        yield Finding((*key, "rocker_ratios"), f"{len(both[1])} values for {len(both[0])} lifts")
        return
    if "rocker_ratio" in cam.model_fields_set:
        yield Finding((*key, "rocker_ratio"), "given beside rocker_ratios", hint="give one ratio or the table, not both")
    yield from rising(both[0], (*key, "rocker_at"), "mm")
    valve = [at * ratio for at, ratio in zip(*both, strict=True)]
    for number, (low, high) in enumerate(zip(valve, valve[1:], strict=False), 1):
        if high <= low:
            message = f"the valve would stand at {show(high, 'mm')}, below the {show(low, 'mm')} of the smaller lobe lift"
            yield Finding((*key, "rocker_ratios", number), message, hint="the ratio is valve lift over lobe lift")
    top = cam.lobe_lift if cam.kind == "card" else max(cam.lift)
    if both[0][-1] < 0.8 * top:
        message = f"ends at {show(both[0][-1], 'mm')} of a lobe of {show(top, 'mm')}; its last ratio is held beyond"
        yield Finding((*key, "rocker_at"), message, hint="read the ratio at full lift, too", warning=True)


@each_side
def sine(case: Any, side: str) -> Iterator[Finding]:
    cam = getattr(case, side).cam
    if cam.kind != "sine_squared":
        return
    key = (side, "cam", "close")
    if cam.close <= cam.open:
        hint = f'did you mean "{cam.close + 720:g} deg"?' if cam.close + 720 - cam.open < 450 else ""
        yield Finding(key, "not after the opening", f"above {cam.open:g} deg", hint)
    elif not 100 <= cam.close - cam.open <= 450:
        yield Finding(key, f"open for {cam.close - cam.open:g} deg", "100 to 450 deg after the opening")


@each_side
def lift_table(case: Any, side: str) -> Iterator[Finding]:
    cam = getattr(case, side).cam
    if cam.kind != "table":
        return
    key = (side, "cam")
    if len(cam.angle) != len(cam.lift):
        yield Finding((*key, "lift"), f"{len(cam.lift)} values for {len(cam.angle)} angles")
        return
    yield from rising(cam.angle, (*key, "angle"), "deg")
    if cam.angle[-1] - cam.angle[0] > 720:
        yield Finding((*key, "angle"), "longer than one cycle of 720 deg", "up to 720 deg from first to last")
    for number in (0, len(cam.lift) - 1):
        if cam.lift[number] > SEATED:
            end = "start" if number == 0 else "end"
            message = f"the table does not {end} with the valve shut"
            yield Finding((*key, "lift", number), message, f"up to {show(SEATED, 'mm')}")
    if greatest_lift(cam) <= 0:
        yield Finding((*key, "lift"), "the valve never opens")
    if cam.lift_of == "valve":
        for name in ("rocker_ratio", "rocker_ratios", "lash"):
            if name in cam.model_fields_set:
                message = "has no effect: the table holds the valve's own lift"
                yield Finding((*key, name), message, warning=True)
    top = cam.lift.index(max(cam.lift))
    low, high = (40, 180) if side == "intake" else (-180, -40)
    if not low <= cam.angle[top] <= high:
        message = f"full lift at {cam.angle[top]:g} deg, most {side} cams have it between {low} and {high} deg"
        yield Finding((*key, "angle", top), message, hint="angles count from gas-exchange TDC", warning=True)


def greatest_lift(cam: Any) -> float:
    """Greatest lift at the valve [m]: rocker ratio applied, lash taken off."""
    if cam.kind == "sine_squared":
        return cam.max_lift
    if cam.kind == "table" and cam.lift_of == "valve":
        return max(cam.lift)
    top = cam.lobe_lift if cam.kind == "card" else max(cam.lift)
    return top * _ratio_at(cam, top) - cam.lash


def _ratio_at(cam: Any, lobe_lift: float) -> float:
    """Rocker ratio at a lobe lift, straight between the points of a table."""
    if cam.rocker_at is None or cam.rocker_ratios is None or len(cam.rocker_at) != len(cam.rocker_ratios):
        return cam.rocker_ratio
    pairs = sorted(zip(cam.rocker_at, cam.rocker_ratios, strict=True))
    for (x0, r0), (x1, r1) in zip(pairs, pairs[1:], strict=False):
        if lobe_lift <= x1 and x1 > x0:
            return r0 + (r1 - r0) * max(0.0, lobe_lift - x0) / (x1 - x0)
    return pairs[-1][1]


def _flow(table: Any) -> tuple[Any, str, Any]:
    """Flow that was measured, where its key begins, and the valve it was measured with."""
    if table.flow.kind == "stock":
        return table.flow.stock_flow, "stock_flow", table.flow.stock_valve
    return table.flow, "", table.valve


@each_side
def flow_columns(case: Any, side: str) -> Iterator[Finding]:
    flow, inner, _ = _flow(getattr(case, side))
    key = (side, "flow", inner) if inner else (side, "flow")
    first, second = ("lift", "flow") if flow.kind == "sheet" else ("lift_over_diameter", "coefficient")
    heights, readings = getattr(flow, first), getattr(flow, second)
    if len(heights) != len(readings):
        yield Finding((*key, second), f"{len(readings)} values for {len(heights)} in {first}")
    yield from rising(heights, (*key, first), "mm" if flow.kind == "sheet" else "")
    if flow.kind == "coefficient":
        back = flow.reverse_coefficient
        if back is not None and len(back) != len(heights):
            yield Finding((*key, "reverse_coefficient"), f"{len(back)} values for {len(heights)} in {first}")


@each_side
def sheet(case: Any, side: str) -> Iterator[Finding]:
    table = getattr(case, side)
    flow, inner, valve = _flow(table)
    if flow.kind != "sheet":
        return
    key = (side, "flow", inner) if inner else (side, "flow")
    if flow.lift[0] <= 0:
        yield Finding((*key, "lift", 0), "the flow at zero lift is the leak", "above 0 mm", "give it as leak instead")
    if flow.leak_subtracted is False and "leak" not in flow.model_fields_set:
        hint = 'add leak = "1.0 CFM" or what the bench read with the valve shut'
        yield Finding((*key, "leak"), "missing, though leak_subtracted = false", hint=hint, missing=True)
    elif flow.leak_subtracted and flow.leak > 0:
        message = "given, though leak_subtracted = true; it is not taken off again"
        yield Finding((*key, "leak"), message, warning=True)
    elif not flow.leak_subtracted:
        for number, reading in enumerate(flow.flow):
            if reading <= flow.leak:
                yield Finding((*key, "flow", number), "not above the leak", f"above {show(flow.leak, 'CFM')}")
    yield from _plate(flow, key)
    if valve.count > 1 and flow.valves_open is None:
        message = f"missing: there are {valve.count} valves a side"
        yield Finding((*key, "valves_open"), message, hint="add valves_open = 1 or what it was", missing=True)
    elif flow.valves_open is not None and flow.valves_open > valve.count:
        yield Finding((*key, "valves_open"), "more valves than the side has", f"up to {valve.count}")


def _plate(flow: Any, key: tuple) -> Iterator[Finding]:
    plate = flow.plate_expected, flow.plate_read
    if (plate[0] is None) != (plate[1] is None):
        name = "plate_expected" if plate[0] is None else "plate_read"
        hint = f'add {name} = "187 CFM" or what it was'
        yield Finding((*key, name), "missing beside the other reading of the plate", hint=hint, missing=True)
    elif flow.plate_corrected is False and plate[0] is None:
        message = "no plate check given; the readings are taken as they are"
        yield Finding((*key, "plate_corrected"), message, warning=True)
    elif plate[0] is not None and abs(plate[0] / plate[1] - 1) > 0.05:
        message = f"the plate check is off by {plate[0] / plate[1] - 1:+.1%}"
        yield Finding((*key, "plate_read"), message, hint="have the bench looked at", warning=True)


@each_side
def falling_sheet(case: Any, side: str) -> Iterator[Finding]:
    """A sheet that falls is told, never smoothed: the flow parts from the wall there."""
    flow, inner, _ = _flow(getattr(case, side))
    if flow.kind != "sheet" or inner or len(flow.lift) != len(flow.flow):
        return
    for number, (first, second) in enumerate(zip(flow.flow, flow.flow[1:], strict=False), 1):
        if second < first:
            message = f"the sheet falls from {show(first, 'CFM')} to {show(second, 'CFM')} "
            message += f"at {show(flow.lift[number], 'mm', 4)}; taken as it is"
            hint = "read that lift again; if it stays, the flow parts from the wall there, most often at the short turn"
            yield Finding((side, "flow", "flow", number), message, hint=hint, warning=True)


@each_side
def throat_cap(case: Any, side: str) -> Iterator[Finding]:
    flow, inner, _ = _flow(getattr(case, side))
    if flow.kind != "coefficient":
        return
    key = (side, "flow", inner) if inner else (side, "flow")
    capped = flow.reference_area == "curtain capped by throat"
    if capped and flow.throat_area is None:
        hint = 'add throat_area = "1001 mm2" or what it is'
        yield Finding((*key, "throat_area"), "missing beside a curtain capped by the throat", hint=hint, missing=True)
    if not capped and flow.throat_area is not None:
        hint = 'leave it out, or write reference_area = "curtain capped by throat"'
        yield Finding((*key, "throat_area"), f'does not belong to a coefficient on "{flow.reference_area}"', hint=hint)
    if flow.reference_area == "valve head" and flow.lift_over_diameter[0] == 0 and flow.coefficient[0] > 0:
        message = "a shut valve passes nothing, so on valve-head area it has no coefficient"
        yield Finding((*key, "lift_over_diameter", 0), message, hint="leave the point at zero lift out")


@each_side
def lift_beyond_sheet(case: Any, side: str) -> Iterator[Finding]:
    table = getattr(case, side)
    flow, _, _ = _flow(table)
    lift = greatest_lift(table.cam)
    last = flow.lift[-1] if flow.kind == "sheet" else flow.lift_over_diameter[-1] * table.valve.head_diameter
    name = {"card": "lobe_lift", "table": "lift", "sine_squared": "max_lift"}[table.cam.kind]
    if lift <= last + 1e-9:
        return
    what = "sheet" if flow.kind == "sheet" else "table"
    message = f"lifts the valve {show(lift, 'mm', 3)}, the flow {what} ends at {show(last, 'mm', 3)}"
    if lift > last + BEYOND_SHEET:
        hint = "measure the flow up to full lift, or look at lift, rocker ratio and lash"
        yield Finding((side, "cam", name), message, f"up to {show(BEYOND_SHEET, 'mm')} beyond the {what}", hint)
    else:
        message += "; its last coefficient on valve-head area is kept"
        yield Finding((side, "cam", name), message, warning=True)


@each_side
def smooth_lobe(case: Any, side: str) -> Iterator[Finding]:
    """Whether one smooth lobe can have both durations; asked last, as it brings in the number library."""
    cam = getattr(case, side).cam
    if cam.kind != "card" or cam.second_duration is None:
        return
    from waveflow.engine.lobe import EXPONENTS, CardLobe

    lobes = [CardLobe.through(cam.lobe_lift, cam.duration, cam.duration_at, exponent) for exponent in EXPONENTS]
    low, high = sorted(lobe.duration(cam.second_duration_at) for lobe in lobes)
    if not low <= cam.second_duration <= high:
        message = f"no smooth lobe of {show(cam.lobe_lift, 'mm')} has it beside {cam.duration:g} deg"
        message += f" at {show(cam.duration_at, 'mm')}"
        hint = "look at durations, checking heights and lobe lift again"
        yield Finding((side, "cam", "second_duration"), message, f"{low:.0f} to {high:.0f} deg", hint)


LATE_CHECKS = (smooth_lobe,)
CHECKS = (
    valve_in_bore, valve_sizes, both_valves, card, rocker, sine, lift_table, flow_columns, sheet, falling_sheet, throat_cap,
    lift_beyond_sheet,
)  # fmt: skip
