"""Small waves: modes of pipes, silencers, area steps and joints, against linear acoustics.

End corrections: H. Levine & J. Schwinger, "On the Radiation of Sound from an Unflanged Circular Pipe", Phys. Rev. 73
(1948); Y. Nomura, I. Yamamura & S. Inawashiro, J. Phys. Soc. Japan 15 (1960) for the flanged one (value as quoted in
tests/data/end_corrections.csv). Transmission loss: D. D. Davis, G. M. Stokes, D. Moore & G. L. Stevens, "Theoretical and
experimental investigation of mufflers with comments on engine-exhaust muffler design", NACA Report 1192 (1954), classical
formulae, tabulated in tests/data/expansion_chamber_TL.csv and sidebranch_TL.csv.
"""

from functools import lru_cache

import numpy as np
import pytest
from reference_files import rows
from tubes import Tubes, add_pipe, perfect_gas

from waveflow.physics.assembly import Assembly

GAS = perfect_gas(1.4, 287.0)
TEMP = 298.15
SOUND = np.sqrt(1.4 * 287.0 * TEMP)
REST = {"pressure": 1e5, "temp": TEMP}


def area(diameter: float) -> float:
    return 0.25 * np.pi * diameter**2


def grid(length: float, cell: float) -> np.ndarray:
    return np.linspace(0.0, length, max(2, round(length / cell)) + 1)


@lru_cache
def corrections() -> dict[str, float]:
    return {row["quantity"]: row["value"] for row in rows("end_corrections")}


def mode_frequency(length: float, mode: int, cells: int = 40) -> float:
    """Frequency of a pipe closed at the near and open at the far end [Hz], from the phase of its pressure at the wall."""
    x = np.linspace(0.0, length, cells + 1)
    number = (mode - 0.5) * np.pi / length
    assembly = Assembly(GAS)

    def ratio(at):
        return 1.0 + 1e-4 * np.cos(number * at)

    shape = {"pressure": lambda at: 1e5 * ratio(at), "temp": lambda at: TEMP * ratio(at) ** (2.0 / 7.0)}
    pipe = add_pipe(assembly, x, 1e-3, **shape)
    assembly.closed(pipe, "near")
    assembly.end(pipe, "far", assembly.reservoir(1e5, TEMP))
    assembly.probe(pipe, 0.0)
    run = Tubes(assembly)
    period = 2.0 * np.pi / (number * SOUND)
    trace = run.march(8.0 * period, every=1e-9)
    t, p = trace[:, 0], trace[:, 1] - 1e5
    rising = np.nonzero((p[:-1] < 0.0) & (p[1:] >= 0.0))[0]
    crossings = t[rising] - p[rising] * (t[rising + 1] - t[rising]) / (p[rising + 1] - p[rising])
    assert len(crossings) >= 7
    return float(1.0 / np.polyfit(np.arange(len(crossings)), crossings, 1)[0])


@pytest.mark.parametrize("row", rows("pipe_modes_closed_open"), ids=lambda x: f"L{x['L_m']}-{x['mode']:.0f}")
def test_modes_of_a_closed_open_pipe(row):
    """First three modes, ideal open end and with either end correction as added length: 0.3 % on 40 cells."""
    mode, radius = int(row["mode"]), 0.5 * row["D_m"]
    known = corrections()
    for column, added in (
        ("f0_Hz", 0.0),
        ("f_unflanged_Hz", known["unflanged_end_correction_over_radius_printed"] * radius),
        ("f_flanged_Hz", known["flanged_end_correction_over_radius"] * radius),
    ):
        assert mode_frequency(row["L_m"] + added, mode) == pytest.approx(row[column], rel=3e-3)


def pulse(x0: float, width: float, amplitude: float):
    """Right-going small Gaussian wave: pressure, temperature and velocity as functions of place."""

    def ratio(at):
        return 1.0 + amplitude * np.exp(-(((at - x0) / width) ** 2))

    return {
        "pressure": lambda at: 1e5 * ratio(at),
        "temp": lambda at: TEMP * ratio(at) ** (2.0 / 7.0),
        "vel": lambda at: 5.0 * SOUND * (ratio(at) ** (1.0 / 7.0) - 1.0),
    }


def spectrum(t: np.ndarray, p: np.ndarray, frequencies: np.ndarray) -> np.ndarray:
    """|Fourier integral| of an unevenly sampled signal that starts and ends at rest."""
    phase = np.exp(-2j * np.pi * frequencies[:, None] * t)
    return np.abs(np.trapezoid(phase * p, t, axis=1))


def transmission_loss(silencer, before: float, behind: float, frequencies, cell: float, seconds: float) -> np.ndarray:
    """Loss [dB] between pipes of `before` and `behind` m at whose meeting `silencer(assembly, a, b)` connects something.

    A pulse of 0.05 % runs in; both pipes are too long for an echo of their outer ends to be heard in the time.
    """
    width = 0.06
    traces = []
    for connect in (None, silencer):
        assembly = Assembly(GAS)
        a = add_pipe(assembly, grid(before, cell), area(DIAMETER), **pulse(before - 0.5, width, 5e-4))
        b = add_pipe(assembly, grid(behind, cell), area(DIAMETER), **REST)
        assembly.closed(a, "near")
        assembly.closed(b, "far")
        if connect is None:
            assembly.joint([(a, "far")], [(b, "near")])
        else:
            connect(assembly, a, b)
        assembly.probe(b, 0.1)
        traces.append(Tubes(assembly).march(seconds, every=1e-9))
    straight, silenced = (spectrum(x[:, 0], x[:, 1] - 1e5, np.asarray(frequencies)) for x in traces)
    return 20.0 * np.log10(straight / silenced)


DIAMETER = 0.05  # of the main pipe in all of these


@lru_cache
def chamber_loss(ratio: float) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """(kl, tabulated loss, found loss) of a chamber 0.4 m long between two joints."""
    table = [row for row in rows("expansion_chamber_TL") if row["area_ratio_m"] == ratio and row["kl_rad"] > 0.0]
    kl, wanted = (np.array([row[key] for row in table]) for key in ("kl_rad", "TL_dB"))
    length = 0.4

    def silencer(assembly, a, b):
        chamber = add_pipe(assembly, grid(length, 0.01), ratio * area(DIAMETER), **REST)
        assembly.joint([(a, "far")], [(chamber, "near")])
        assembly.joint([(chamber, "far")], [(b, "near")])

    round_trips = {4.0: 8, 9.0: 16, 16.0: 28}[ratio]
    reach = 1.0 + round_trips * length
    found = transmission_loss(silencer, reach, reach, kl * SOUND / (2.0 * np.pi * length), 0.02, (2.0 * reach - 0.7) / SOUND)
    return kl, wanted, found


def first_cut_on(diameter: float) -> float:
    """Frequency [Hz] above which a round duct carries more than plane waves."""
    return 1.8412 * SOUND / (np.pi * diameter)


@pytest.mark.parametrize("ratio", [4.0, 9.0, 16.0])
def test_expansion_chamber(ratio):
    """0.5 dB below half the first cut-on of the chamber."""
    kl, wanted, found = chamber_loss(ratio)
    plane = kl * SOUND / (2.0 * np.pi * 0.4) < 0.5 * first_cut_on(DIAMETER * np.sqrt(ratio))
    assert plane.sum() >= 8
    assert np.abs(found - wanted)[plane].max() < 0.5


def sidebranch(kind: str):
    table = [row for row in rows("sidebranch_TL") if row["type"] == kind]
    return np.array([row["f_Hz"] for row in table]), np.array([row["TL_dB"] for row in table])


def test_helmholtz_resonator():
    """A volume of one litre on a neck of 20 mm (a pipe of the effective length) beside the main pipe: 0.5 dB."""
    frequencies, wanted = sidebranch("helmholtz")

    def silencer(assembly, a, b):
        neck = add_pipe(assembly, grid(0.0642, 0.0107), area(0.02), **REST)
        assembly.joint([(a, "far")], [(b, "near"), (neck, "near")])
        assembly.end(neck, "far", assembly.plenum(1e-3, 1e5, TEMP))

    found = transmission_loss(silencer, 10.0, 10.0, frequencies, 0.025, 18.5 / SOUND)
    assert (frequencies < 0.5 * first_cut_on(DIAMETER)).all()
    assert np.abs(found - wanted).max() < 0.5


def test_quarter_wave_resonator():
    """A closed branch of 30 mm and 0.35 m beside the main pipe: 0.5 dB."""
    frequencies, wanted = sidebranch("quarter_wave")

    def silencer(assembly, a, b):
        branch = add_pipe(assembly, grid(0.35, 0.01), area(0.03), **REST)
        assembly.joint([(a, "far")], [(b, "near"), (branch, "near")])
        assembly.closed(branch, "far")

    found = transmission_loss(silencer, 12.0, 12.0, frequencies, 0.02, 22.5 / SOUND)
    assert np.abs(found - wanted).max() < 0.5
