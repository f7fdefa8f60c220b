"""Rockers whose ratio changes, the lobes a card allows, and what they leave open of intake closing."""

import numpy as np
import pytest
from case_texts import GOOD
from demo_parts import cam
from hypothesis import given, settings
from hypothesis import strategies as st

from waveflow.engine.camshapes import closing_span, extremes, lash_effect, motion, shapes, valve_height
from waveflow.engine.case import load_text
from waveflow.engine.lobe import CardLobe, card_lobe
from waveflow.engine.valves import lift_of
from waveflow.engine.valvetrain import Rocker, from_card, from_table, sine_squared
from waveflow.study.camrange import as_table

CASE = load_text(GOOD)


def one_duration():
    return CASE.intake.cam.model_copy(update={"second_duration": None, "second_duration_at": None})


# rockers -------------------------------------------------------------------------------------------------------------


@given(st.floats(0.8, 2.0), st.floats(0.0, 0.5e-3))
@settings(max_examples=30, deadline=None)
def test_a_table_of_one_ratio_is_that_ratio(ratio, lash):
    card = dict(lobe_lift=6.4e-3, duration=208.0, duration_at=1.27e-3, lobe_centre=110.0, side="intake", lash=lash)
    table = Rocker((0.0, 2e-3, 6e-3), (ratio,) * 3)
    one, other = from_card(**card, rocker_ratio=ratio), from_card(**card, rocker_ratio=table)
    assert other.lift == pytest.approx(one.lift, abs=1e-15)


def test_a_changing_ratio_is_met_at_its_points_and_held_beyond():
    rocker = Rocker((1e-3, 3e-3, 6e-3), (1.35, 1.45, 1.42))
    assert rocker.valve_lift([1e-3, 3e-3, 6e-3]) == pytest.approx([1.35e-3, 4.35e-3, 8.52e-3], rel=1e-12)
    assert rocker.ratio_at([0.0, 0.5e-3, 9e-3]) == pytest.approx([1.35, 1.35, 1.42])
    lobe = card_lobe(6.4e-3, 208.0, 1.27e-3, 258.0, 0.152e-3)
    curve = from_card(6.4e-3, 208.0, 1.27e-3, 110.0, side="intake", rocker_ratio=rocker, lash=0.25e-3,
                      second_duration=258.0, second_duration_at=0.152e-3)  # fmt: skip
    offset = np.linspace(-60.0, 60.0, 25)
    assert curve.at(470.0 + offset) == pytest.approx(rocker.valve_lift(lobe.at(offset)) - 0.25e-3, rel=1e-12)
    dial = from_table(*cam("N155-R", "intake")["table"], rocker_ratio=rocker)
    assert dial.max_lift == pytest.approx(7.594e-3 * 1.42, rel=2e-3)


@pytest.mark.parametrize(
    ("lift", "ratio", "words"),
    [
        ((0.0, 6e-3), (1.8, 0.0), "positive"),
        ((0.0, 3e-3, 6e-3), (1.4, 1.8, 0.7), "come down while the lobe rises"),
        ((3e-3, 1e-3), (1.4, 1.5), "must rise"),
        ((0.0,), (1.4,), "two points"),
    ],
)
def test_rockers_that_cannot_be_are_refused(lift, ratio, words):
    with pytest.raises(ValueError, match=words):
        Rocker(lift, ratio)


def test_a_case_takes_a_rocker_table_in_place_of_a_ratio():
    text = GOOD.replace("rocker_ratio = 1.45\n", 'rocker_at = "1, 3, 6 mm"\nrocker_ratios = [1.40, 1.45, 1.45]\n', 1)
    case = load_text(text)
    assert "rocker_ratio" not in [each.key.rpartition(".")[2] for each in case.assumptions if each.key.startswith("intake")]
    assert load_text(case.text).digest == case.digest
    assert lift_of(case.intake.cam, "intake").max_lift == pytest.approx(CASE.intake.cam.lobe_lift * 1.45 - CASE.intake.cam.lash)
    assert valve_height(case.intake.cam, 1e-3) == pytest.approx(1.40e-3 - case.intake.cam.lash)


# shapes --------------------------------------------------------------------------------------------------------------


@given(st.floats(1.5, 3.0), st.floats(180.0, 280.0), st.floats(6e-3, 12e-3))
@settings(max_examples=40, deadline=None)
def test_every_power_meets_lift_and_duration(power, duration, top):
    lobe = CardLobe.through(top, duration, 1.27e-3, 2.0, power)
    assert lobe.duration(1.27e-3) == pytest.approx(duration, rel=1e-12) and lobe.at(0.0) == pytest.approx(top)
    assert lobe.at(lobe.offset_at(0.3e-3)) == pytest.approx(0.3e-3, rel=1e-9)


def test_all_shapes_of_a_card_meet_its_durations_to_the_whole_degree():
    part = CASE.intake.cam
    found = shapes(part, "intake")
    assert len(found) > 20
    for shape in found:
        law = shape.curve.exact
        assert law.lobe.duration(part.duration_at) == pytest.approx(part.duration, abs=0.5 + 1e-6)
        assert law.lobe.duration(part.second_duration_at) == pytest.approx(part.second_duration, abs=0.5 + 1e-6)


def test_one_duration_leaves_the_seat_far_more_open_than_two_and_one_millimetre_less_than_the_seat():
    two, one = closing_span(shapes(CASE.intake.cam, "intake")), closing_span(shapes(one_duration(), "intake"))
    assert two.earliest < two.used < two.latest and 0.4 < two.width < 2.0
    assert one.width > 4 * two.width
    assert closing_span(shapes(one_duration(), "intake"), 1e-3).width < 0.5 * one.width


@pytest.mark.parametrize("identity", ["T192-R", "N155-R"])
def test_the_long_cams_dial_readings_against_their_cards(identity):
    """Invented readings every 10 degrees: the card closes within 0.25 degrees of them at 1.27 mm (follower) and at the seat
    (measured: 0.22 to 0.23 and 0.20 to 0.21), and the span of its shapes holds the seat of the readings.
    """
    parts = cam(identity, "intake")
    card = parts["card"]
    used = from_card(**card)
    table = from_table(*parts["table"], rocker_ratio=card["rocker_ratio"], lash=card["lash"])
    for height in (1e-5, card["rocker_ratio"] * 1.27e-3 - card["lash"]):
        assert used.close_angle(height) == pytest.approx(table.close_angle(height), abs=0.25)
        assert used.open_angle(height) == pytest.approx(table.open_angle(height), abs=0.25)
    part = CASE.intake.cam.model_copy(update={key: value for key, value in card.items() if key != "side"})
    assert closing_span(shapes(part, "intake")).used == pytest.approx(used.close_angle(1e-5), abs=1e-6)
    span = closing_span(shapes(part, "intake"))
    assert span.earliest <= table.close_angle(1e-5) <= span.latest


def test_a_shape_handed_over_as_a_table_stays_itself():
    found = shapes(CASE.intake.cam, "intake")
    for shape in extremes(found):
        table = lift_of(as_table(shape, CASE.intake.cam), "intake")
        assert abs(table.lift - shape.curve.lift).max() < 2e-6
        assert table.close_angle(1e-5) == pytest.approx(shape.closes(), abs=0.05)


def test_more_lash_closes_earlier_by_the_slope_of_the_flank():
    part = CASE.intake.cam
    curve = lift_of(part, "intake")
    closes = curve.close_angle(1e-5)
    slope = (curve.at(closes - 1.0) - curve.at(closes)) / 1.0  # [m/deg]
    assert lash_effect(part, "intake") == pytest.approx(0.05e-3 / slope, rel=0.25)
    assert lash_effect(part, "intake") > 0


def test_motion_of_a_known_law():
    """Lift h sin^2(pi x/w): velocity at most h pi/w, acceleration at most 2 h (pi/w)^2 (calculus)."""
    made = motion(sine_squared(334.0, 602.0, 10e-3))
    assert max(made.highest("velocity")[:2]) == pytest.approx(10e-3 * np.pi / 268.0, rel=1e-3)
    assert made.highest("acceleration")[0] == pytest.approx(-2 * 10e-3 * (np.pi / 268.0) ** 2, rel=1e-3)
