"""Before and after on the bench: what counts as a change, what a cam makes of it, and what looks like the bench."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from waveflow.engine.valvetrain import from_card, sine_squared
from waveflow.study.sheetcompare import (
    NOISE,
    Readings,
    cam_sentence,
    cam_view,
    compare_sheets,
    findings_of,
    noise_of,
    verdict_of,
)

CFM = 0.3048**3 / 60
INCH_WATER = 249.08891
LIFTS = tuple(1e-3 * k for k in range(1, 12))
BEFORE = (18, 34, 48.5, 61, 71.5, 80, 87.5, 93.5, 98, 102.5, 106.5)
SHORT = from_card(6.4e-3, 208.0, 1.27e-3, 110.0, side="intake", rocker_ratio=1.45, lash=0.25e-3)


def readings(flow, name="x", lift=LIFTS, **more):
    return Readings(name, tuple(lift), tuple(each * CFM for each in flow), 28 * INCH_WATER, **more)


@pytest.mark.parametrize("mount", NOISE)
def test_a_change_is_judged_by_what_lies_between_the_readings(mount):
    low, high = NOISE[mount]
    for sign, word in ((1, "gain"), (-1, "loss")):
        assert verdict_of(sign * 0.99 * low, NOISE[mount], mount) == ("not judged" if mount == "other bench" else "noise")
        assert verdict_of(sign * (high + 1e-3), NOISE[mount], mount) == word
        if high > low:
            assert verdict_of(sign * (low + high) / 2, NOISE[mount], mount) == f"perhaps {word}"


def test_the_same_three_percent_counts_on_one_bench_and_not_on_two():
    after = readings([each * (1.03 + 0.004 * (-1) ** k) for k, each in enumerate(BEFORE)])
    one = compare_sheets(readings(BEFORE), after, "remounted")
    assert {row.verdict for row in one.rows} == {"gain"} and "gain at every lift" in one.sentence()
    two = compare_sheets(readings(BEFORE), after, "other bench")
    assert {row.verdict for row in two.rows} == {"not judged"} and two.sentence().startswith(
        "Not judged: these are two benches"
    )
    own = compare_sheets(readings(BEFORE), after, "remounted", repeat=0.02)
    assert {row.verdict for row in own.rows} == {"perhaps gain"}


def test_lifts_are_told_in_the_unit_of_the_sheet():
    """A gain of 5 % at 0.2 and 0.3 in only; 25.4 mm are an inch."""
    lift, flow = [0.1 * k * 0.0254 for k in (1, 2, 3, 4)], (62.0, 115.0, 146.0, 152.0)
    after = readings([q * (1.05 if k in (1, 2) else 1.0) for k, q in enumerate(flow)], lift=lift)
    made = compare_sheets(readings(flow, lift=lift), after)
    assert "gain at 0.2 and 0.3 in." in made.sentence("in") and "gain at 5.08 and 7.62 mm." in made.sentence()


@given(st.lists(st.floats(-0.2, 0.2), min_size=11, max_size=11))
@settings(max_examples=60, deadline=None)
def test_changes_are_after_over_before_at_every_lift(shares):
    after = readings([q * (1 + share) for q, share in zip(BEFORE, shares, strict=True)])
    made = compare_sheets(readings(BEFORE), after)
    assert [row.change for row in made.rows] == pytest.approx(shares, abs=1e-12)
    assert not any(row.between for row in made.rows)


def test_lifts_that_only_one_sheet_has_are_taken_between_readings_never_beyond():
    after = readings((60.0, 96.0, 110.0), lift=(2.54e-3, 5.08e-3, 7.62e-3))
    rows = compare_sheets(readings(BEFORE), after).rows
    assert [round(row.lift * 1e3) for row in rows] == [3, 4, 5, 6, 7] and all(row.between for row in rows)
    exact = readings(BEFORE[:3] + BEFORE[4:], lift=LIFTS[:3] + LIFTS[4:])
    at_4 = compare_sheets(readings(BEFORE), exact).rows[3]
    assert at_4.between and at_4.change == pytest.approx(0.0, abs=0.01)


def test_leak_and_plate_are_taken_off_before_anything_is_compared():
    raw = [each / 1.02 + 1.5 for each in BEFORE]
    after = readings(raw, leak=1.5 * CFM, plate=1.02)
    assert [row.change for row in compare_sheets(readings(BEFORE), after).rows] == pytest.approx([0.0] * 11, abs=1e-12)


def test_another_depression_is_converted_by_the_nozzle_law_and_its_doubt_added():
    """10 to 28 inH2O: 1.632 by the isentropic nozzle, 1.673 by the root law (arithmetic on the two laws)."""
    at_10 = Readings("b", LIFTS, tuple(each / 1.632 * CFM for each in BEFORE), 10 * INCH_WATER)
    made = compare_sheets(readings(BEFORE), at_10)
    assert [row.change for row in made.rows] == pytest.approx([0.0] * 11, abs=5e-4)
    assert made.noise == pytest.approx((0.035, 0.045)) and any("nozzle law" in each for each in made.findings)
    assert noise_of("other bench", converted=True) == NOISE["other bench"]


def test_a_change_alike_at_every_lift_looks_like_the_bench():
    made = compare_sheets(readings(BEFORE), readings([1.021 * each for each in BEFORE]))
    assert any("looks like the bench" in each for each in made.findings)
    port = [each * (1 + 0.04 * k / 10) for k, each in enumerate(BEFORE)]
    assert not compare_sheets(readings(BEFORE), readings(port)).findings


def test_falling_jagged_and_impossible_sheets_are_flagged():
    falling = [*BEFORE[:-1], 99.0]
    assert any("flow falls by" in each for each in findings_of(readings(falling)))
    jagged = [each * (1.06 if k == 5 else 1) for k, each in enumerate(BEFORE)]
    assert any("6 mm lift lies" in each for each in findings_of(readings(jagged)))
    litres = [each * 28.3 for each in BEFORE]  # litres a minute taken for CFM
    assert any("more than can pass" in each for each in findings_of(readings(litres), 38.5e-3))
    assert findings_of(readings(BEFORE), 38.5e-3) == []


@pytest.mark.parametrize("diameter", [30e-3, 38.5e-3, 60e-3])
def test_weighted_flow_is_the_mean_over_the_time_the_valve_is_open(diameter):
    """A sheet whose flow is in proportion to lift: the mean flow is that of the mean lift, whatever the valve."""
    linear = readings([10.0 * k for k in range(1, 13)], lift=tuple(1e-3 * k for k in range(1, 13)))
    sine = sine_squared(334.0, 602.0, 10e-3)  # mean of sin^2 is a half
    view = cam_view(sine, linear, None, diameter, linear.lift)
    assert view.before / CFM == pytest.approx(50.0, rel=2e-3)
    assert sum(view.shares) == pytest.approx(1.0) and view.change is None and not view.beyond
    card = cam_view(SHORT, linear, linear, diameter, linear.lift)
    opened = SHORT.lift[SHORT.lift > 0]
    assert card.before / CFM == pytest.approx(np.mean(opened) * 1e4, rel=2e-3) and card.change == 0.0


def test_a_peak_that_gains_while_the_cam_loses_is_not_celebrated():
    after = readings([each * (0.93 if k < 8 else 1.0 + 0.09 * (k - 8)) for k, each in enumerate(BEFORE)])
    view = cam_view(SHORT, readings(BEFORE), after, 38.5e-3, LIFTS)
    told = cam_sentence(view, readings(BEFORE), after, NOISE["remounted"], "remounted")
    assert view.change < -0.02 and "The peak gained and the engine lost" in told
    middle = readings([each * (1.06 if k < 9 else 0.95) for k, each in enumerate(BEFORE)])
    view = cam_view(SHORT, readings(BEFORE), middle, 38.5e-3, LIFTS)
    told = cam_sentence(view, readings(BEFORE), middle, NOISE["remounted"], "remounted")
    assert "The peak lost and the engine gained" in told


def test_a_cam_that_lifts_beyond_the_sheet_is_told():
    short_sheet = readings(BEFORE[:6], lift=LIFTS[:6])
    assert "the flow table ends at 6.00 mm" in cam_view(SHORT, short_sheet, None, 38.5e-3, LIFTS[:6]).beyond[0]
