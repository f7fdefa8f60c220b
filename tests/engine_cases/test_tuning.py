"""Where the waves in a runner put the lobes of filling, and the frequency of a column of gas on a volume.

The pulsation index is q = 2 x 60 nu / n with nu = c / (4 L), so q = 30 c / (L n): the number of quarter waves of the runner,
shut at its valve, in half a turn of the cam; charge goes up at q = 1.5, 2.5, ... and down at q = 2, 3, ... (Japan Society of
Mechanical Engineers, Mechanical Engineering Dictionary, "pulsation effect"). Asked: within 3 % of speed.
"""

import math

import numpy as np
import pytest
from case_runs import rows, run
from scipy.optimize import brentq

from waveflow.physics import layout as lay
from waveflow.physics.accounts import trace_columns
from waveflow.physics.assembly import Assembly
from waveflow.physics.gas import ideal_gas
from waveflow.physics.march import OK, march

LENGTH = 0.64  # of the long intake, m; its end is ideal, so nothing is added
SPEEDS = np.arange(2400.0, 3901.0, 50.0)
QUICK = {"run.tolerance": "1e-4"}


@pytest.fixture(scope="module")
def curve() -> tuple[np.ndarray, float]:
    """Filling of the long intake over `SPEEDS`, and the mean sound speed at mid-runner."""
    results = [run("long_intake_motored", n, QUICK, cell=0.01).scalars for n in SPEEDS]
    return np.array([s["volumetric_efficiency"] for s in results]), float(np.mean([s["runner_sound_speed"] for s in results]))


def extremes(filling: np.ndarray, sign: float) -> list[float]:
    """Speeds of tops (sign 1) or valleys (-1), by a parabola through three points."""
    y = sign * filling
    inside = [k for k in range(1, len(y) - 1) if y[k - 1] < y[k] > y[k + 1]]
    return [SPEEDS[k] + 25.0 * (y[k + 1] - y[k - 1]) / (2.0 * y[k] - y[k - 1] - y[k + 1]) for k in inside]


def test_tops_and_valleys(curve):
    """Three tops near q = 6.5, 5.5, 4.5, two valleys near q = 6, 5, and nothing else in that range."""
    filling, sound = curve
    tops, valleys = extremes(filling, 1.0), extremes(filling, -1.0)
    assert len(tops) == 3 and len(valleys) == 2
    for n, q in [*zip(tops, (6.5, 5.5, 4.5), strict=True), *zip(valleys, (6.0, 5.0), strict=True)]:
        assert n == pytest.approx(30.0 * sound / (LENGTH * q), rel=0.03), f"q = {q}"


@pytest.mark.full
def test_a_shorter_runner_moves_them_up(curve):
    """560 instead of 640 mm: the top of q = 5.5 at 640/560 times the speed (3 %)."""
    short = QUICK | {"intake.runner.length": "560 mm"}
    speeds = np.arange(3250.0, 3601.0, 25.0)
    filling = np.array([run("long_intake_motored", n, short, cell=0.01).scalars["volumetric_efficiency"] for n in speeds])
    top = int(np.argmax(filling))
    assert 0 < top < len(speeds) - 1
    assert speeds[top] == pytest.approx(extremes(curve[0], 1.0)[1] * 640.0 / 560.0, rel=0.03)


@pytest.mark.parametrize("row", rows("tuning_indices_example"), ids=lambda r: f"{r['D_mm']:.0f}x{r['L_m'] * 1e3:.0f}mm")
def test_column_on_a_volume(row):
    """Air in a pipe open at one end, a rigid volume at the other (mean volume of an 86 x 86 mm cylinder, r = 10): the lowest
    frequency solves cot(k L) = k V / A. 0.5 % of frequency, 10 mm cells; c = 346.1166 m/s as in the file."""
    swept = 0.25 * math.pi * 0.086**2 * 0.086
    size = swept / 9.0 + 0.5 * swept
    area, length, sound = 0.25 * math.pi * (row["D_mm"] * 1e-3) ** 2, row["L_m"], 346.1166
    k = brentq(lambda k: 1.0 / math.tan(k * length) - k * size / area, 1e-3, 0.5 * math.pi / length - 1e-6)
    expected = k * sound / (2.0 * math.pi)
    assert expected == pytest.approx(row["nu_m_Hz"], rel=1e-4)  # the file's own evaluation

    temp = sound**2 / (1.4 * 287.0)
    faces = np.linspace(0.0, length, round(length / 0.01) + 1)
    cells = len(faces) - 1
    mode = 1e5 + 20.0 * np.sin(k * 0.5 * (faces[1:] + faces[:-1])) / math.sin(k * length)  # at rest, in the mode's shape
    model = Assembly(ideal_gas(1.4, 287.0))
    outside, inside = model.reservoir(1e5, temp), model.plenum(size, 1e5 + 20.0, temp * (1.0 + 2e-4) ** (2.0 / 7.0))
    pipe = model.pipe(
        faces, np.full(cells + 1, area), np.full(cells, area), pressure=mode, temp=temp * (mode / 1e5) ** (2.0 / 7.0)
    )
    model.end(pipe, "near", outside)
    model.end(pipe, "far", inside)
    net, state = model.finish()
    trace = np.zeros((4000, trace_columns(net)))
    span = 12.0 / expected * 6.0 * 1000.0  # twelve periods at 1000 rpm, in degrees
    code, *_, written = march(
        net, model.gas, state, 1000.0, 0.0, span, np.zeros((0, lay.ACCOUNTS)), np.zeros((2, lay.VOLUME_ACCOUNTS)),
        np.zeros(state.temp.size), trace, span / 2400.0,
    )  # fmt: skip
    assert code == OK
    time, swing = trace[:written, 0] / 6000.0, trace[:written, -2] - 1e5
    up = np.flatnonzero((swing[:-1] < 0.0) & (swing[1:] >= 0.0))
    crossings = time[up] - swing[up] * (time[up + 1] - time[up]) / (swing[up + 1] - swing[up])
    assert 11 <= len(crossings) <= 12
    measured = (len(crossings) - 1) / (crossings[-1] - crossings[0])
    assert measured == pytest.approx(expected, rel=5e-3)
