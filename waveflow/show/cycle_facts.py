"""What one cycle's traces say in numbers: gas moved while the valve opens and closes, and when the ram wave comes."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from waveflow.show.views import CycleView, ProbeTrace
from waveflow.show.words import number, percent, signed, speed

BDC_INTAKE = 540.0  # crank angle of bottom dead centre between intake and compression [deg]
RAM_WINDOW = 100.0  # the ram wave is looked for this long before the intake valve closes [deg]
GAMMA_AIR = 1.4


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

    `before_closing` [deg] is how long before closing; `path` the (angle [deg], place [m from the valve]) at which the
    wave that runs towards the valve passed each probe on its way.
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


def inward(probe: ProbeTrace, reference: float, sound_speed: float) -> np.ndarray:
    """Part of a probe's pressure over `reference` [Pa] that runs with the flow, towards the intake valve [Pa].

    Linear acoustics, (p' + rho a u)/2 with rho a = gamma p / a (Morse and Ingard, Theoretical Acoustics, 1968): exact
    for small waves only, good enough to follow a crest. Without a `sound_speed` [m/s] the whole pressure is taken.
    """
    if not np.isfinite(sound_speed) or sound_speed <= 0:
        return probe.pressure - reference
    return 0.5 * (probe.pressure - reference + GAMMA_AIR * reference / sound_speed * probe.velocity)


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
    """Follow the crest outwards from the valve: at each next probe it passed a little earlier."""
    sound = view.scalars.get("runner_sound_speed", float("nan"))
    assumed = sound if np.isfinite(sound) else 340.0
    path = [(angle, probes[0].place)]
    for probe in probes[1:]:
        late, place = path[-1]
        delay = 6.0 * view.rpm * (probe.place - place) / assumed
        window = (view.angle >= late - 2.2 * delay - 2.0) & (view.angle <= late)
        if not window.any():
            break
        wave = np.where(window, inward(probe, view.reference_pressure, sound), -np.inf)
        path.append((float(view.angle[int(np.argmax(wave))]), probe.place))
    return tuple(path)


def headline(view: CycleView) -> str:
    """The cycle in one sentence [str]."""
    wave, share = ram_wave(view), intake_share(view)
    filling = view.scalars.get("volumetric_efficiency")
    start = f"At {speed(view.rpm)}" + (f" the cylinder fills to {percent(filling)}" if filling is not None else "")
    if wave is None:
        return f"{start}: no pressure wave stands at the intake valve before it closes."
    rise = signed(wave.rise / 1e3, 1, "kPa")
    kept = share.after_bottom - share.back_late
    late = f"{number(1e6 * abs(kept), 0, 'mg')} {'in' if kept >= 0 else 'lost'} after bottom dead centre"
    when = f"{wave.before_closing:.0f}° before it closes"
    return f"{start}: the ram wave reaches the intake valve {when} ({rise}), {late}."
