"""Lobes, peaks and envelopes against known curves."""

from __future__ import annotations

from types import SimpleNamespace

import made_up
import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from made_up import Engine, make_case

from waveflow.study.curve import Curve, mean_over
from waveflow.study.envelope import envelope_of
from waveflow.study.lobes import (
    find_lobes,
    find_peak,
    lobe_spacing,
    lobes_of,
    near_equal,
    peak_of,
    pulsation_index,
    tuned_length,
    turns,
    vertex,
)
from waveflow.study.sweep import sweep

# Motored engine with a 640 mm intake pipe, gas at 300 K: VE by an independent method (two-step Lax-Wendroff with
# characteristic ends, 8/4/2 mm cells, Richardson extrapolation), as given with the case long_intake_motored.
LONG_INTAKE = {
    1000: 0.91063, 1500: 0.94838, 2000: 0.93144, 2500: 1.03088, 2540: 1.03287, 2700: 1.01629, 2750: 1.02110,
    3000: 1.14301, 3010: 1.14368, 3300: 1.10400, 3500: 1.14400, 3600: 1.15671, 4000: 1.03839, 5000: 0.78046,
    6000: 0.63788,
}  # fmt: skip


def test_lobes_of_the_long_intake_engine():
    lobes = [lobe for lobe in find_lobes(list(LONG_INTAKE), list(LONG_INTAKE.values())) if lobe.rpm > 2200]
    assert [lobe.kind for lobe in lobes] == ["top", "valley", "top", "valley", "top"]
    for lobe, stated in zip(lobes, (2540, 2700, 3010, 3300, 3600), strict=True):
        assert abs(lobe.rpm - stated) <= max(10.0, lobe.uncertainty), (lobe, stated)
    for lobe, q in zip(lobes, (6.5, 6.0, 5.5, 5.0, 4.5), strict=True):
        expected = 30.0 * np.sqrt(1.4 * 287.05 * 300.0) / (0.64 * q)
        assert abs(lobe.rpm / expected - 1.0) < 0.03
    assert all(lobe.value > lobe.rise > 0 and lobe.fall > 0 for lobe in lobes if lobe.kind == "top")
    # The two highest tops are 1.1 % apart: not near equal; within 2 % they are.
    assert near_equal(lobes) == ()
    assert [lobe.rpm for lobe in near_equal(lobes, share=0.02)[0]] == [lobes[2].rpm, lobes[4].rpm]


def test_peak_of_the_long_intake_engine_is_not_called_refined():
    peak = find_peak(list(LONG_INTAKE), list(LONG_INTAKE.values()), "volumetric_efficiency")
    assert abs(peak.rpm - 3600) < 40 and not peak.refined and peak.at_end == ""
    assert peak.spacing == 400 and peak.uncertainty == 200


def test_pulsation_index_is_the_published_one():
    # JSME dictionary, entry pulsation effect, as evaluated in the reference table: L = 0.35 m, c = 346.1166 m/s.
    assert pulsation_index(19778.1, 346.1166, 0.35) == pytest.approx(1.5, rel=1e-5)
    assert pulsation_index(11866.9, 346.1166, 0.35) == pytest.approx(2.5, rel=1e-5)


@given(rpm=st.floats(500, 10000), sound=st.floats(320, 380), length=st.floats(0.1, 2))
def test_the_next_lobe_down_is_one_unit_of_q_away(rpm, sound, length):
    below = rpm - lobe_spacing(rpm, sound, length)
    assert pulsation_index(below, sound, length) - pulsation_index(rpm, sound, length) == pytest.approx(1.0)


@given(
    peak=st.floats(-5, 5), bend=st.floats(-3, -0.01), level=st.floats(-2, 2),
    left=st.floats(0.05, 3), right=st.floats(0.05, 3), middle=st.floats(-3, 3),
)  # fmt: skip
def test_the_vertex_of_a_parabola_is_exact(peak, bend, level, left, right, middle):
    x = np.array([middle - left, middle, middle + right])
    place, value = vertex(x, level + bend * (x - peak) ** 2)
    assert place == pytest.approx(peak, abs=1e-5 / abs(bend)) and value == pytest.approx(level, abs=1e-5 / abs(bend))


def test_three_points_on_a_line_have_no_vertex():
    assert vertex([1, 2, 4], [1, 2, 4]) == (2, 2)


def brute_force_tops(y, share):
    """A top counts if, on both sides, the row goes down by more than the share before it goes above the top."""
    tops = []
    for i, top in enumerate(y):
        drops = []
        for side in (y[:i][::-1], y[i + 1 :]):
            deepest = top
            for value in side:
                if value >= top:
                    break
                deepest = min(deepest, value)
            drops.append(top - deepest > share * top)
        if all(drops):
            tops.append(i)
    return tops


@given(y=st.lists(st.integers(9000, 11000), min_size=2, max_size=40, unique=True))
def test_tops_are_those_that_rise_and_fall_enough(y):
    y = np.array(y) / 10000.0
    share = 0.01
    high, low = np.maximum.outer(y, y), np.minimum.outer(y, y)
    # Rises are measured on the valley's value, the definition here on the top's: leave out the borderline.
    assume(not np.any(np.abs((high - low) / high - share) < 2e-4) or share == 0)
    found = turns(y, share)
    assert [i for kind, i in found if kind == "top"] == brute_force_tops(y, share)
    kinds = [kind for kind, _ in found]
    assert all(a != b for a, b in zip(kinds, kinds[1:], strict=False))
    for (_, before), (kind, i), (_, after) in zip(found, found[1:], found[2:], strict=False):
        between = y[before : after + 1]
        assert y[i] == (min(between) if kind == "valley" else max(between))


def test_small_wiggles_do_not_count():
    x = np.arange(1000.0, 7000.0, 25.0)
    for ripple, counted in ((0.002, False), (0.004, True)):
        y = 1.0 + ripple * np.sin(x / 100.0)
        assert bool(find_lobes(x, y)) is counted
    assert find_lobes([1000], [1.0]) == () and find_lobes([], []) == ()


def test_peaks_at_the_ends_are_marked():
    x = np.arange(1000.0, 5000.0, 500.0)
    assert find_peak(x, x).at_end == "high" and find_peak(x, x).rpm == 4500
    assert find_peak(x, -x).at_end == "low"
    assert find_peak([3000], [1.0]).at_end == "low"
    assert find_peak([], []) is None


def test_a_gap_beside_the_peak_is_marked():
    x, y = [1000, 2000, 3000, 4000], [1, 3, 2, 1]
    assert find_peak(x, y, failed=[2500]).beside_gap and not find_peak(x, y, failed=[3500]).beside_gap


def test_a_flat_top_is_located_less_surely_than_a_sharp_one():
    x = np.arange(4000.0, 6001.0, 25.0)
    flat = find_peak(x, 1.0 - ((x - 5010.0) / 5000.0) ** 2)
    sharp = find_peak(x, 1.0 - ((x - 5010.0) / 500.0) ** 2)
    assert flat.rpm == pytest.approx(5010.0) and sharp.rpm == pytest.approx(5010.0)
    assert flat.uncertainty == 12.5 and sharp.uncertainty < 1.0


def test_points_a_few_rpm_apart_do_not_throw_the_peak_away():
    x = [2400.0, 2475.0, 2500.0, 2503.0, 2525.0, 2600.0]
    y = [1.0 - ((n - 2505.0) / 1000.0) ** 2 for n in x]
    y[2] += 1e-5  # round-off of a solver
    peak = find_peak(x, y)
    assert abs(peak.rpm - 2505.0) < 3.0 and peak.spacing == pytest.approx(28.0)


def test_tuned_length_counts_runner_port_and_end_correction():
    def case(entry, length=None):
        return SimpleNamespace(
            intake=SimpleNamespace(
                runner=SimpleNamespace(length=0.27, inlet_diameter=0.037, entry=entry),
                port=SimpleNamespace(length=length, stations=[SimpleNamespace(at=0.0), SimpleNamespace(at=0.085)]),
            )
        )

    assert tuned_length(case("ideal")) == pytest.approx(0.355)
    assert tuned_length(case("flanged")) == pytest.approx(0.355 + 0.8216 * 0.0185)
    assert tuned_length(case("plain", length=0.09)) == pytest.approx(0.36 + 0.6133 * 0.0185)
    assert tuned_length(SimpleNamespace(intake=SimpleNamespace(runner=None, port=None))) is None


def test_the_envelope_carries_no_lobes_and_keeps_the_hump():
    engine = Engine(ripple=0.04, centre=4500.0)
    rows = np.arange(1500.0, 9001.0, 25.0)
    result = sweep(make_case(), rows, run_point=engine, workers=1)
    smooth = sweep(make_case(), rows, run_point=Engine(ripple=0.0, centre=4500.0), workers=1)
    wavy, plain = envelope_of(result), envelope_of(smooth)
    assert len(lobes_of(result)) >= 5
    upper = wavy.rpm > 3500  # there the ripple of the formula no longer grows, and one unit of q averages it away
    np.testing.assert_allclose(wavy.value[upper], plain.value[upper], rtol=3e-3)
    assert abs(wavy.peak.rpm - plain.peak.rpm) < 60 and not wavy.sparse and wavy.peak.at_end == ""
    # The mean is over q: against a direct numerical mean at one place.
    k = np.argmin(np.abs(wavy.rpm - 5000))
    q0 = pulsation_index(wavy.rpm[k], made_up.SOUND, made_up.LENGTH)
    q = np.linspace(q0 - 0.5, q0 + 0.5, 20001)
    direct = np.mean(engine.ve(30.0 * made_up.SOUND / (made_up.LENGTH * q)))
    assert wavy.value[k] == pytest.approx(direct, rel=1e-4)


def test_the_envelope_moves_with_the_hump_when_a_lobe_jumps():
    rows = np.arange(1500.0, 9001.0, 25.0)
    a, b = (sweep(make_case(), rows, run_point=Engine(ripple=0.03, centre=c), workers=1) for c in (4500.0, 4900.0))
    shift = envelope_of(b).peak.rpm - envelope_of(a).peak.rpm
    lobe_shift = peak_of(b, "volumetric_efficiency").rpm - peak_of(a, "volumetric_efficiency").rpm
    assert abs(shift - 400.0) < 60.0 < abs(lobe_shift - 400.0)


@pytest.mark.parametrize(
    ("rpm", "length", "why"),
    [
        ([3000, 3100, 3200], 0.4, "less than one lobe"),
        ([3000, 6000], 0.4, "too few"),
        ([2000, 3000, 4000, 5000], None, "length of the intake column"),
    ],
)
def test_no_envelope_is_given_with_a_reason(rpm, length, why):
    case = make_case()
    if length is None:
        case.intake.runner = None
    envelope = envelope_of(sweep(case, rpm, run_point=Engine()))
    assert envelope.peak is None and why in envelope.why and len(envelope.rpm) == 0


def test_sparse_points_under_an_envelope_are_marked():
    assert envelope_of(sweep(make_case(), range(1500, 9001, 1500), run_point=Engine())).sparse


def test_a_curve_goes_through_its_points_and_stops_at_gaps():
    curve = Curve([1000, 2000, 3000, 4000], [1.0, 3.0, 2.0, 2.5], failed=[2500])
    assert curve.at([1000, 2000, 3000, 4000]).tolist() == [1.0, 3.0, 2.0, 2.5]
    assert np.isnan(curve.at([999, 4001, 2001, 2500, 2999])).all()
    assert 1.0 < curve.at(1500.0) < 3.0
    assert np.isnan(Curve([], []).at([1000.0])).all()
    assert Curve([1000], [2.0]).at([1000.0, 1001.0]).tolist()[0] == 2.0


@given(y=st.lists(st.floats(0.1, 2.0), min_size=2, max_size=20))
def test_a_curve_never_overshoots_its_points(y):
    x = np.arange(len(y)) * 100.0
    fine = Curve(x, y).at(np.linspace(x[0], x[-1], 500))
    assert fine.min() >= min(y) - 1e-12 and fine.max() <= max(y) + 1e-12


def test_the_mean_over_a_band_is_uniform_in_speed():
    assert mean_over(np.array([1.0, 2.0, 10.0]), np.array([0.0, 2.0, 2.0])) == (17.0 / 9.0, [])
    mean, left_out = mean_over(np.array([1.0, 2.0, 3.0, 4.0, 5.0]), np.array([1.0, 1.0, np.nan, 3.0, 3.0]))
    assert mean == 2.0 and left_out == [(2.0, 4.0)]
    assert np.isnan(mean_over(np.array([1.0, 2.0]), np.array([np.nan, 1.0]))[0])
