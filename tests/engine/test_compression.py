"""Clearance volume and ratio from a burette: the demo engines' stated ratios, and the way back."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from waveflow.engine.compression import (
    chamber_change,
    clearance_from_ratio,
    clearance_volume,
    piston_travel,
    ratio_from_clearance,
    swept_volume,
)

N155 = {"bore": 0.0806, "deck": 0.3e-3, "gasket_bore": 0.0816, "gasket_thickness": 1.2e-3}
T192 = {"bore": 0.0842, "dish": 6.9e-6, "deck": 0.25e-3, "gasket_bore": 0.085, "gasket_thickness": 1.3e-3}


@pytest.mark.parametrize(("parts", "stroke", "chamber_cc", "stated"), [
    (N155, 0.0762, 36.5, 9.78), (N155, 0.0762, 38.6, 9.38), (T192, 0.0864, 46.0, 8.80), (T192, 0.0864, 47.2, 8.65)])
def test_demo_engines_have_their_stated_ratio(parts, stroke, chamber_cc, stated):
    swept = swept_volume(parts["bore"], stroke)
    ratio = ratio_from_clearance(swept, clearance_volume(chamber=chamber_cc * 1e-6, **parts))
    assert ratio == pytest.approx(stated, abs=0.005)


@given(st.floats(1.5, 25.0), st.floats(1e-5, 2e-3))
def test_ratio_and_clearance_are_inverse(ratio, swept):
    assert ratio_from_clearance(swept, clearance_from_ratio(swept, ratio)) == pytest.approx(ratio, rel=1e-12)


def test_laying_back_the_chamber_drops_the_ratio_and_a_skim_brings_it_back():
    swept, clearance, face = swept_volume(0.0806, 0.0762), clearance_volume(chamber=36.5e-6, **N155), 4.0e-3
    change = chamber_change(swept, clearance, 2.1e-6, face)
    assert (change.ratio_before, change.ratio_after) == pytest.approx((9.78, 9.38), abs=0.006)
    restored = clearance + change.added - change.skim * face
    assert ratio_from_clearance(swept, restored) == pytest.approx(change.ratio_before, rel=1e-12)


def test_a_dome_takes_volume_away():
    assert clearance_volume(0.08, 40e-6, dish=-3e-6) == pytest.approx(37e-6)


def test_travel_is_the_distance_between_the_farthest_piston_places():
    stroke, rod, offset = 0.0762, 0.128, 0.004
    t = np.linspace(0.0, 2.0 * math.pi, 200_001)
    r = stroke / 2.0
    height = r * np.cos(t) + np.sqrt(rod**2 - (r * np.sin(t) - offset) ** 2)
    assert piston_travel(stroke, rod, offset) == pytest.approx(np.ptp(height), rel=1e-8)
    assert piston_travel(stroke, rod) == pytest.approx(stroke, rel=1e-14)


@pytest.mark.parametrize("call", [
    lambda: clearance_volume(0.08, 5e-6, dish=-8e-6), lambda: ratio_from_clearance(4e-4, 0.0),
    lambda: clearance_from_ratio(4e-4, 1.0), lambda: chamber_change(4e-4, 4e-5, -5e-5, 4e-3),
    lambda: piston_travel(0.08, 0.04)])
def test_what_cannot_be_is_refused(call):
    with pytest.raises(ValueError):
        call()
