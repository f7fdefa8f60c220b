"""Clearance volume and ratio from a burette: the demo engines' stated ratios, and the way back."""

import math

import numpy as np
import pytest
from case_texts import GOOD
from hypothesis import given
from hypothesis import strategies as st

from waveflow.engine.case import load, load_text
from waveflow.engine.compression import (
    chamber_change,
    clearance_from_ratio,
    clearance_volume,
    piston_travel,
    ratio_from_clearance,
    ratio_spread,
    swept_volume,
)
from waveflow.errors import CaseError

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


def test_the_ratio_with_its_plus_or_minus_by_hand():
    """50 cc above the piston, 450 cc swept: ratio 10, slope 450/50^2 = 0.18 per cc; 0.3 cc twice, 5 cm2 x 0.1 mm twice."""
    bore = math.sqrt(4 * 5e-4 / math.pi)
    spread = ratio_spread(450e-6, bore, 50e-6, 0.3e-6, 0.3e-6, 0.1e-3, None, 0.1e-3)
    assert spread.parts == pytest.approx({"chamber": 0.054, "dish": 0.054, "deck": 0.009, "gasket": 0.009}, rel=1e-9)
    assert spread.ratio == pytest.approx(10) and spread.plus_minus == pytest.approx(math.sqrt(2 * 0.054**2 + 2 * 0.009**2))


def test_the_plus_or_minus_is_what_spoilt_readings_give():
    random = np.random.default_rng(3)
    swept = swept_volume(0.0806, 0.0762)
    spread = ratio_spread(swept, 0.0806, clearance_volume(chamber=36.5e-6, **N155), gasket_bore=0.0816)
    made = []
    for chamber, dish, deck, gasket in random.normal(0, [0.3e-6, 0.3e-6, 0.05e-3, 0.05e-3], (4000, 4)):
        parts = N155 | {"deck": N155["deck"] + deck, "gasket_thickness": N155["gasket_thickness"] + gasket}
        made.append(ratio_from_clearance(swept, clearance_volume(chamber=36.5e-6 + chamber, dish=dish, **parts)))
    assert np.std(made) == pytest.approx(spread.plus_minus, rel=0.05)
    assert spread.plus_minus == pytest.approx(0.1, abs=0.03)


CHAMBER = 'chamber = "36 cc"'


def test_chambers_of_the_cylinders_in_a_case():
    case = load_text(GOOD.replace(CHAMBER, CHAMBER + '\nchambers = "36.1, 35.9 cc"'))
    assert case.compression.chambers == pytest.approx((36.1e-6, 35.9e-6))
    assert not any("chamber" in str(each) for each in case.warnings)
    assert load_text(case.text).model_dump() == case.model_dump()


@pytest.mark.parametrize(("listed", "words"), [
    ('"36.8, 35.2 cc"', "cylinder 1 has 36.8 cc, cylinder 2 only 35.2 cc: uneven compression"),
    ('"38, 38 cc"', "their mean is 38 cc; the run uses 36 cc for every cylinder")])
def test_chambers_that_do_not_go_together_are_told(listed, words):
    case = load_text(GOOD.replace(CHAMBER, f"{CHAMBER}\nchambers = {listed}"))
    assert any(words in each.message for each in case.warnings)


@pytest.mark.parametrize(("new", "words"), [
    (f'{CHAMBER}\nchambers = ["36 cc"]', "1 volumes for 2 cylinders"),
    ('ratio = 9.8\nchambers = "36, 36 cc"', "missing beside the list of chambers")])
def test_a_list_of_chambers_that_cannot_be_is_refused(new, words):
    text = GOOD.replace(CHAMBER, new)
    if "ratio" in new:
        text = text.replace('gasket_bore = "81 mm"\n', "").replace('gasket_thickness = "1.2 mm"\n', "")
    with pytest.raises(CaseError, match=words):
        load_text(text)


def test_a_ratio_in_a_difference_takes_the_cc_of_the_base_away(tmp_path):
    (tmp_path / "a.toml").write_text(GOOD.replace(CHAMBER, f'{CHAMBER}\nchambers = "36, 36 cc"'), encoding="utf-8")
    (tmp_path / "b.toml").write_text('base = "a.toml"\n[compression]\nratio = 11', encoding="utf-8")
    assert load(tmp_path / "b.toml").compression.chambers is None


def test_a_band_beyond_the_redline_is_told():
    text = GOOD.replace('to = "7500 rpm"', 'to = "7600 rpm"\nband = ["4500 rpm", "7400 rpm"]')
    assert any("your band ends beyond the redline of 7000 rpm" in each.message for each in load_text(text).warnings)
    calm = load_text(text.replace("7400 rpm", "6900 rpm"))
    assert not any("redline" in each.message for each in calm.warnings)
