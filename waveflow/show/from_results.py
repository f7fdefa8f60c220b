"""From results to what is drawn: a comparison, a sweep or one cycle as views, with the words that belong to them.

Everything needed is inside the results (a result carries its case text), so a result reopened from disk is drawn as
one just computed.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

import numpy as np

from waveflow.show.sizes import with_unit
from waveflow.show.tract import tract_of
from waveflow.show.views import ComparisonView, CycleView, OptionView, Peak, ProbeTrace, Tract
from waveflow.show.words import MODEL_NOTE, counted, speed, tiny
from waveflow.study.results import case_of

DRAWN = ("volumetric_efficiency", "torque")
CYLINDER_COLUMNS = ("pressure", "temperature", "intake lift", "exhaust lift", "intake flow", "exhaust flow")
PROBE_COLUMNS = ("pressure", "velocity", "sound speed")
CLOSE = 100.0  # [rpm] a peak between points farther apart than this is spoken of as "about"
PROBES_DRAWN = 9


def conditions_of(case: Any) -> str:
    """What is held equal, in one line: throttle, ambient, what volumetric efficiency is counted on."""
    throttle = case.intake.throttle
    opening = "" if throttle is None else "wide-open throttle, " if throttle.open_share == 1.0 else (
        f"throttle {100 * throttle.open_share:.0f} % open, ")  # fmt: skip
    air = case.ambient
    ambient = f"{with_unit('pressure', air.pressure, 1)}, {with_unit('temperature', air.temperature).replace('deg ', '°')}"
    return f"{opening}{ambient}; VE = fresh air delivered, on ambient density"


def stamp_of(results: Iterable[Any], grid: str = "") -> str:
    """The checks of results [SweepResult] in one line: worst balances, cycles, points that did not settle, grid."""
    results = list(results)

    def worst(name: str) -> float:
        values = np.concatenate([np.abs(result.column(name)) for result in results])
        return float(np.nanmax(values)) if np.isfinite(values).any() else float("nan")

    points = sum(int(np.isfinite(result.column("volumetric_efficiency")).sum()) for result in results)
    unsettled = sum(
        int(np.sum(~result.converged & np.isfinite(result.column("volumetric_efficiency")))) for result in results
    )
    cycles = worst("cycles")
    pieces = [
        f"mass balance {tiny(worst('mass_balance'))}",
        f"energy balance {tiny(worst('energy_balance'))} at worst of {counted(points, 'point')}",
        f"at most {cycles:.0f} cycles until they repeat" if np.isfinite(cycles) else "",
        f"{counted(unsettled, 'point')} did not settle" if unsettled else "",
        grid or "grid not checked",
    ]
    return ", ".join(piece for piece in pieces if piece)


def comparison_view(comparison: Any, grid: str = "") -> ComparisonView:
    """What the comparison figure draws, from a comparison [study.compare.Comparison]; `grid`: words of a grid check."""
    from waveflow.engine.percylinder import of_cylinder
    from waveflow.study.uneven import comparison_sentences

    cases = [case_of(result) for result in comparison.results]
    drawn = [None if case is None else _with_own_port(case) for case in cases]
    tracts = [
        None if case is None else tract_of(case if k is None else of_cylinder(case, k - 1))
        for case, k in zip(cases, drawn, strict=True)
    ]
    remarks = [f"Drawn of {option.label}: cylinder {k}, whose port is its own."
               for option, k in zip(comparison.options, drawn, strict=True) if k is not None]  # fmt: skip
    versus = {id(each.option): each for each in comparison.versus}
    options = tuple(
        _option_view(option, versus.get(id(option)), tract)
        for option, tract in zip(comparison.options, tracts, strict=True)
    )
    target = None if comparison.target is None else (speed(comparison.target.rpm), comparison.target.rpm)
    first = cases[0]
    return ComparisonView(
        headline=comparison.headline,
        options=options,
        engine=comparison.results[0].case_name,
        conditions="" if first is None else conditions_of(first),
        band=comparison.band,
        target=target,
        left_out=f"{MODEL_NOTE} {comparison.leaves_out}",
        stamp=stamp_of(comparison.results, grid),
        remarks=(*comparison_sentences(comparison), *remarks),
    )


def _with_own_port(case: Any) -> int | None:
    """Number of the first cylinder with a port of its own; None where all ports are alike."""
    sides = ((entry.number, getattr(entry, side)) for entry in case.cylinder for side in ("intake", "exhaust"))
    return next((number for number, own in sides if own is not None and own.port is not None), None)


def _option_view(option: Any, versus: Any, tract: Tract | None) -> OptionView:
    from waveflow.study.curve import Curve

    result = option.result
    rpm = np.unique(result.rpm)
    curves = {name: _over(rpm, result, name) for name in result.names if name != "rpm"}
    low: dict[str, np.ndarray] = {}
    high: dict[str, np.ndarray] = {}
    bands: dict[str, tuple[np.ndarray, np.ndarray, np.ndarray]] = {}
    for name in DRAWN if result.flow_band else ():
        low[name], high[name] = (Curve.of(edge, name).at(rpm) for edge in result.flow_band)
        if versus is not None:
            base = Curve.of(versus.first.result, name).at(rpm)
            with np.errstate(divide="ignore", invalid="ignore"):
                bands[name] = (rpm, low[name] / base - 1, high[name] / base - 1)
    changes = {} if versus is None else {name: c for name, c in versus.changes.items() if c is not None}
    return OptionView(
        name=option.label,
        rpm=rpm,
        curves=curves,
        assumed=option.assumed,
        low=low,
        high=high,
        peaks={name: _peak(peak) for name, peak in option.peaks.items() if peak is not None},
        envelope_peaks=_envelope_peaks(option.envelopes),
        failed=result.failed,
        tract=tract,
        band_mean_change={name: change.mean for name, change in changes.items() if np.isfinite(change.mean)},
        crossovers={name: tuple(cross.rpm for cross in change.crossovers) for name, change in changes.items()},
        changes={name: (change.rpm, change.change) for name, change in changes.items()},
        change_bands=bands,
    )


def _peak(peak: Any) -> Peak:
    return Peak(peak.rpm, peak.value, sure=bool(peak.refined or peak.spacing <= CLOSE or peak.at_end))


def _over(rpm: np.ndarray, result: Any, name: str) -> np.ndarray:
    """A column at ascending speeds, NaN where there is none."""
    known = dict(zip(result.rpm, result.column(name), strict=True))
    return np.array([known.get(each, np.nan) for each in rpm], float)


def _envelope_peaks(envelopes: Mapping[str, Any]) -> dict[str, float]:
    """Peaks of the envelopes that can be told [rpm]."""
    return {
        name: envelope.peak.rpm
        for name, envelope in envelopes.items()
        if envelope.peak is not None and not envelope.sparse and not envelope.peak.at_end
    }


def probe_places(case: Any, cylinder: int = 1) -> dict[str, tuple[int, str, float]]:
    """Probes for the cycle sheet: evenly along the intake path, and the exhaust valve's end.

    name -> (cylinder, side, distance [m] from the outer end of the intake path, or from the exhaust valve), as
    ``study.cycle.run_point`` takes them. Empty for a case whose valves draw straight from a volume.
    """
    from waveflow.engine.percylinder import of_cylinder
    from waveflow.engine.tract import intake_duct

    duct = intake_duct(of_cylinder(case, cylinder - 1))
    if duct is None or case.ideal.quasi_steady or case.ideal.infinite_plenum_at_valve:
        return {}
    places = np.linspace(0.0, duct.length, PROBES_DRAWN)
    return {f"path {1e3 * (duct.length - x):.0f} mm from the valve": (cylinder, "intake", float(x)) for x in places}


def cycle_view(case: Any, rpm: float, point: Any, cylinder: int = 1, left_out: str = "") -> CycleView:
    """What the cycle sheet draws, from a traced point [study.cycle.PointResult] of a case at `rpm` [rpm].

    Angles are turned so that 0 is the firing top dead centre of that `cylinder` [1..].
    """
    from waveflow.engine.percylinder import of_cylinder
    from waveflow.engine.tract import intake_duct
    from waveflow.engine.valves import lift_of

    trace, n = point.trace, case.engine.cylinders
    phase = 720.0 / n * case.engine.firing_order.index(cylinder)
    shift = int(np.searchsorted(trace.angle, phase))
    columns = {name: np.roll(trace[name], -shift) for name in trace.names}
    own = {name: columns[f"cylinder {cylinder} {name}"] for name in CYLINDER_COLUMNS}
    duct = intake_duct(of_cylinder(case, cylinder - 1))
    probes = []
    for name, (_, side, x) in probe_places(case, cylinder).items():
        place = duct.length - x if side == "intake" else x
        probes.append(ProbeTrace(name, side, place, *(columns[f"{name} {what}"] for what in PROBE_COLUMNS)))
    valve = f"cylinder {cylinder} exhaust valve"
    if f"{valve} pressure" in columns:
        probes.append(ProbeTrace(valve, "exhaust", 0.0, *(columns[f"{valve} {what}"] for what in PROBE_COLUMNS)))
    lifts = {side: lift_of(getattr(case, side).cam, side) for side in ("intake", "exhaust")}
    scalars = point.scalars
    outside = case.intake.reservoir.pressure if case.intake.reservoir else case.ambient.pressure
    reference = scalars.get("plenum_pressure", outside)
    settled = "" if point.converged else ", NOT settled"
    return CycleView(
        engine=case.name,
        option=(case.option or "").replace("_", " "),
        rpm=rpm,
        angle=trace.angle,
        cylinder_pressure=own["pressure"],
        cylinder_temperature=own["temperature"],
        intake_lift=own["intake lift"],
        exhaust_lift=own["exhaust lift"],
        intake_flow=own["intake flow"],
        exhaust_flow=own["exhaust flow"],
        probes=tuple(probes),
        intake_open=lifts["intake"].open_angle(),
        intake_close=lifts["intake"].close_angle(),
        exhaust_open=lifts["exhaust"].open_angle(),
        exhaust_close=lifts["exhaust"].close_angle(),
        reference_pressure=float(reference),
        scalars=scalars,
        left_out=left_out,
        stamp=f"mass balance {tiny(scalars.get('mass_balance'))}, energy balance "
        f"{tiny(scalars.get('energy_balance'))}, {point.cycles} cycles{settled}, grid not checked",
    )
