"""One cycle in numbers: masses by integration, and the way of the signal that becomes the ram wave."""

from dataclasses import replace

import invented
import numpy as np
import pytest

from waveflow.show.cycle_facts import headline, intake_share, ram_wave
from waveflow.show.views import ProbeTrace

RPM, SOUND, LENGTH = 4000.0, 340.0, 0.40


def cycle(wind=0.0, crest=570.0, **more):
    """A cycle of uniform sound speed and wind [m/s, towards the valve] with a crest at the valve at an angle [deg]."""
    view = invented.cycle(RPM)
    probes = []
    for place in np.linspace(0.0, LENGTH, 9):
        pressure = view.reference_pressure + (2e4 if place == 0 else 0.0) * np.exp(-(((view.angle - crest) / 10) ** 2))
        uniform = np.ones_like(view.angle)
        probes.append(ProbeTrace("p", "intake", float(place), pressure, wind * uniform, SOUND * uniform))
    return replace(view, probes=tuple(probes), **more)


def test_masses_are_flow_times_time_split_at_bottom_dead_centre():
    flow = np.zeros(720)
    flow[400:561] = 0.1  # into the cylinder from 400 to 560 degrees
    flow[345:356] = -0.02
    flow[590:601] = -0.05
    share = intake_share(cycle(intake_flow=flow))
    degree = 1 / (6 * RPM)
    assert share.forward == pytest.approx(0.1 * 161 * degree, rel=0.01)
    assert share.after_bottom == pytest.approx(0.1 * 21 * degree, rel=0.05)
    assert share.back_early == pytest.approx(0.02 * 11 * degree, rel=0.1)
    assert share.back_late == pytest.approx(0.05 * 11 * degree, rel=0.1)
    net = np.trapezoid(flow, np.arange(720.0)) * degree
    assert share.forward - share.back_early - share.back_late == pytest.approx(net, rel=0.02)


@pytest.mark.parametrize("wind", [0.0, 50.0, -50.0])
def test_signal_goes_out_and_back_with_sound_speed_and_wind(wind):
    wave = ram_wave(cycle(wind))
    assert wave.angle == 570.0 and wave.rise == pytest.approx(2e4) and wave.before_closing == pytest.approx(35.0)
    angles, places = np.array(wave.path).T
    assert places[0] == places[-1] == 0.0 and places.max() == pytest.approx(LENGTH)
    top = int(np.argmax(places))
    assert angles[-1] - angles[top] == pytest.approx(6 * RPM * LENGTH / (SOUND + wind), rel=1e-6)
    assert angles[top] - angles[0] == pytest.approx(6 * RPM * LENGTH / (SOUND - wind), rel=1e-6)
    assert np.all(np.diff(angles) > 0)


def test_without_sound_speed_or_probes_there_is_no_way_to_draw():
    view = cycle()
    bare = tuple(replace(probe, sound_speed=None) for probe in view.probes)
    assert ram_wave(replace(view, probes=bare)).path == ()
    assert ram_wave(replace(view, probes=())) is None
    assert "no pressure wave stands" in headline(replace(view, probes=()))


def test_supersonic_wind_ends_the_path_instead_of_turning_time_around():
    angles = np.array(ram_wave(cycle(wind=400.0)).path)[:, 0]
    assert np.all(np.diff(angles) > 0)


def test_trough_at_the_valve_is_no_ram_wave():
    view = cycle()
    low = tuple(replace(probe, pressure=2 * view.reference_pressure - probe.pressure - 1.0) for probe in view.probes)
    assert ram_wave(replace(view, probes=low)) is None


def test_headline_speaks_of_filling_wave_and_late_gas():
    said = headline(cycle(scalars={"volumetric_efficiency": 0.962}))
    assert said.startswith("At 4000 rpm the cylinder fills to 96.2 %: the ram wave reaches the intake valve 35° before")
    assert "+20.0 kPa" in said and "after bottom dead centre" in said
