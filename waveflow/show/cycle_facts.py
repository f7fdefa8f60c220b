"""What one cycle's traces say in numbers: gas moved while the valve opens and closes, and when the ram wave comes."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from waveflow.show.views import CycleView, ProbeTrace
from waveflow.show.words import number, percent, signed, speed
from waveflow.study.columns import measure

BDC_INTAKE = 540.0  # crank angle of bottom dead centre between intake and compression [deg]
RAM_WINDOW = 100.0  # the ram wave is looked for this long before the intake valve closes [deg]


@dataclass(frozen=True)
class IntakeShare:
    """Mass through one cylinder's intake valves in a cycle [kg], by when and which way it went; reverse ones positive.

    `forward` all that went in, `after_bottom` what of it went in after bottom dead centre, `back_early` pushed back
    before it (at overlap), `back_late` pushed back after it (before the valve closed).
    """

    forward: float
    after_bottom: float
    back_early: float
    back_late: float


@dataclass(frozen=True)
class RamWave:
    """Highest pressure at the intake valve shortly before it closes: at `angle` [deg], `rise` [Pa] over the reference.

    `before_closing` [deg] is how long before closing; `path` the (angle [deg], place [m from the valve]) of the signal
    that arrives there then: away from the valve, turned around at the far end of the intake path, and back.
    """

    angle: float
    rise: float
    before_closing: float
    path: tuple[tuple[float, float], ...]


def intake_share(view: CycleView) -> IntakeShare:
    """Masses through the intake valves [kg] by trapezoids over the crank angle, split at bottom dead centre."""
    seconds = 1.0 / (6.0 * view.rpm)  # per degree

    def mass(way: float, start: float, end: float) -> float:
        flow = np.where((view.angle >= start) & (view.angle <= end), np.maximum(way * view.intake_flow, 0.0), 0.0)
        return float(np.trapezoid(flow, view.angle) * seconds)

    return IntakeShare(mass(1, 0, 720), mass(1, BDC_INTAKE, 720), mass(-1, 0, BDC_INTAKE), mass(-1, BDC_INTAKE, 720))


def ram_wave(view: CycleView) -> RamWave | None:
    """Find the ram wave [RamWave]; None without a probe at the intake valve or a crest above the reference."""
    probes = view.side("intake")
    if not probes or not np.isfinite(view.intake_close):
        return None
    start = max(view.intake_close - RAM_WINDOW, view.intake_open)
    window = (view.angle >= start) & (view.angle <= view.intake_close)
    if not window.any():
        return None
    rise = np.where(window, probes[0].pressure - view.reference_pressure, -np.inf)
    best = int(np.argmax(rise))
    if rise[best] <= 0:
        return None
    angle = float(view.angle[best])
    return RamWave(angle, float(rise[best]), view.intake_close - angle, _path(view, probes, angle))


def _path(view: CycleView, probes: tuple[ProbeTrace, ...], angle: float) -> tuple[tuple[float, float], ...]:
    """The characteristic that ends at the valve at `angle` [deg], followed back to the far end and to the valve again.

    dx/dt = a + u on the way to the valve and a - u on the way from it (u towards the valve), a and u those of the
    computed cycle, straight between the probes; for small signals that is the way of the wave (Riemann, 1860).
    """
    places = np.array([probe.place for probe in probes])
    if len(places) < 2 or any(probe.sound_speed is None for probe in probes):
        return ()
    steps = np.linspace(places[0], places[-1], 8 * len(places))
    path = [(angle, float(steps[0]))]
    for way, leg in ((1.0, steps), (-1.0, steps[::-1])):
        for start, end in zip(leg[:-1], leg[1:], strict=True):
            late = path[-1][0]
            pace = _at(view, probes, places, 0.5 * (start + end), late, way)
            if pace <= 0:  # the gas is faster than the signal: from here it never came
                return tuple(path[::-1])
            path.append((late - 6.0 * view.rpm * abs(end - start) / pace, float(end)))
    return tuple(path[::-1])


def _at(
    view: CycleView, probes: tuple[ProbeTrace, ...], places: np.ndarray, x: float, angle: float, way: float
) -> float:
    """Speed of the signal [m/s] at a place [m] and an angle [deg]; `way` +1 to the valve, -1 from it."""
    paces = [
        float(np.interp(angle, view.angle, probe.sound_speed + way * probe.velocity, period=720.0)) for probe in probes
    ]
    return float(np.interp(x, places, paces))


def headline(view: CycleView) -> str:
    """The cycle in one sentence [str]."""
    wave, share = ram_wave(view), intake_share(view)
    filling = view.scalars.get("volumetric_efficiency")
    start = f"At {speed(view.rpm)}" + (f" the cylinder fills to {percent(filling)}" if filling is not None else "")
    if wave is None:
        return f"{start}: no pressure wave stands at the intake valve before it closes."
    rise, unit, digits = measure("pressure", wave.rise)
    rise = signed(float(rise), digits, unit)
    kept = share.after_bottom - share.back_late
    late = f"{number(1e6 * abs(kept), 0, 'mg')} {'in' if kept >= 0 else 'lost'} after bottom dead centre"
    when = f"{wave.before_closing:.0f}° before it closes"
    return f"{start}: the ram wave reaches the intake valve {when} ({rise}), {late}."
