"""Burn curves: Wiebe's function, its closed-form inverse, tables and measured points."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from reference_files import rows

from waveflow.physics.combustion import (
    BURN_POINTS,
    burn_fraction,
    burn_table,
    burn_table_from_points,
    no_burn,
    wiebe,
    wiebe_from_ca50,
)


@pytest.mark.parametrize("row", rows("wiebe_a5_m2"), ids=lambda x: f"y{x['y']}")
def test_wiebe_table(row):
    assert wiebe(row["y"], 5.0, 2.0, False) == pytest.approx(row["xb"], abs=1e-9)
    assert wiebe(row["y"], 5.0, 2.0, True) == pytest.approx(row["xb"] / 0.993262053, abs=1e-9)


def test_wiebe_outside_the_burn():
    assert wiebe(-0.1, 5.0, 2.0, True) == 0.0
    assert wiebe(1.7, 5.0, 2.0, True) == 1.0
    assert wiebe(1.7, 5.0, 2.0, False) == wiebe(1.0, 5.0, 2.0, False)


@given(st.floats(-20.0, 40.0), st.floats(10.0, 90.0), st.floats(2.5, 8.0), st.floats(0.5, 4.0), st.booleans())
def test_ca50_and_duration_come_back(ca50, duration, a, m, normalised):
    """Wiebe's own function at the returned start and span: half at CA50, 10 and 90 % as far apart as asked."""
    if not normalised and -np.expm1(-a) <= 0.9:
        return
    start, span = wiebe_from_ca50(ca50, duration, a, m, normalised)
    assert wiebe((ca50 - start) / span, a, m, normalised) == pytest.approx(0.5, abs=1e-12)
    theta = np.linspace(start, start + span, 20001)
    x = np.array([wiebe((at - start) / span, a, m, normalised) for at in theta])
    t10, t90 = np.interp([0.1, 0.9], x, theta)
    assert t90 - t10 == pytest.approx(duration, rel=2e-4)


def test_table_keeps_ca50_across_the_turn():
    """A burn that starts before firing top dead centre runs from 701 to 755 deg; angles past 720 read on."""
    start, span = wiebe_from_ca50(9.0, 26.0)
    assert start < 0.0
    burn = burn_table(start, span)
    assert burn.start == pytest.approx(720.0 + start, abs=1e-12)
    assert burn.fractions.shape == (BURN_POINTS,)
    assert burn_fraction(9.0, *burn) == pytest.approx(0.5, abs=1e-6)
    assert burn_fraction(729.0, *burn) == pytest.approx(0.5, abs=1e-6)
    assert burn_fraction(burn.start + 1e-9, *burn) == pytest.approx(0.0, abs=1e-9)
    assert burn_fraction(burn.start - 1e-9, *burn) == 1.0  # of the burn of the turn before
    for theta in np.arange(701.7, 754.0, 1.3):
        assert burn_fraction(theta, *burn) == pytest.approx(
            wiebe((theta - 720.0 - start) / span, 5.0, 2.0, True), abs=2e-6
        )


def test_measured_points():
    angle, fraction = [-15.0, -5.0, 0.0, 9.0, 20.0, 45.0], [0.02, 0.08, 0.2, 0.5, 0.9, 0.98]
    burn = burn_table_from_points(angle, fraction)
    assert burn.start == 705.0 and burn.duration == 60.0
    assert burn.fractions[0] == 0.0 and burn.fractions[-1] == 1.0
    assert (np.diff(burn.fractions) >= 0.0).all()
    for at, x in zip(angle[1:-1], fraction[1:-1], strict=True):
        assert burn_fraction(at, *burn) == pytest.approx((x - 0.02) / 0.96, abs=1e-5)


def test_measured_points_of_a_wiebe_burn_give_it_back():
    start, span = wiebe_from_ca50(8.0, 30.0)
    exact = burn_table(start, span)
    y = np.linspace(0.0, 1.0, 41)
    burn = burn_table_from_points(start + span * y, [wiebe(v, 5.0, 2.0, True) for v in y])
    assert np.abs(burn.fractions - exact.fractions).max() < 2e-4


@pytest.mark.parametrize(
    "angle, fraction, words",
    [
        ([0.0], [1.0], "two points"),
        ([0.0, 10.0], [0.0, 0.5, 1.0], "equal length"),
        ([0.0, 10.0, 10.0], [0.0, 0.5, 1.0], "rise from point to point"),
        ([0.0, 400.0, 800.0], [0.0, 0.5, 1.0], "at most 720"),
        ([0.0, 10.0, 20.0], [0.0, 0.6, 0.5], "never fall"),
        ([0.0, 10.0, 20.0], [0.3, 0.3, 0.3], "end above"),
        ([0.0, float("nan"), 20.0], [0.0, 0.5, 1.0], "finite"),
    ],
)
def test_unusable_points_are_refused(angle, fraction, words):
    with pytest.raises(ValueError, match=words):
        burn_table_from_points(angle, fraction)


def test_unusable_wiebe_burns_are_refused():
    with pytest.raises(ValueError, match="never reaches 90 %"):
        wiebe_from_ca50(9.0, 26.0, a=1.5, normalised=False)
    for wrong in ({"a": 0.0}, {"m": -1.0}, {"duration_10_90": 0.0}):
        with pytest.raises(ValueError, match="needs a > 0"):
            wiebe_from_ca50(**{"ca50": 9.0, "duration_10_90": 26.0, **wrong})
    for start, span in ((0.0, 0.0), (0.0, 721.0), (float("nan"), 50.0)):
        with pytest.raises(ValueError, match="duration must be"):
            burn_table(start, span)


def test_motored():
    burn = no_burn()
    assert all(burn_fraction(theta, *burn) == 0.0 for theta in (0.0, 10.0, 700.0))
