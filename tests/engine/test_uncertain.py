"""Margins and marks: read as a shop writes them, carried in the text, refused in plain words."""

import pytest
from case_texts import GOOD

from waveflow.engine.case import load_text
from waveflow.engine.margins import split_margin
from waveflow.errors import CaseError

MARKS = """
[marks]
engine.bore = "measured, bore gauge"
engine.stroke = "card"
intake.valve = "guess"
"""


def with_value(old, new, more=""):
    assert old in GOOD
    return GOOD.replace(old, new) + more


def sentences(text):
    with pytest.raises(CaseError) as caught:
        load_text(text)
    return [str(problem) for problem in caught.value.problems]


@pytest.mark.parametrize(
    ("written", "half"),
    [
        ("80 mm +- 0.05 mm", 5e-5), ("80 mm ± 0.05 mm", 5e-5), ("80 mm +/- 2 thou", 2 * 2.54e-5),
        ("80 +- 0.05 mm", 5e-5), ("80 mm +-1 %", 8e-4),
    ],
)  # fmt: skip
def test_margin_of_a_length_by_its_definition(written, half):
    case = load_text(with_value('"80 mm"', f'"{written}"'))
    assert case.engine.bore == pytest.approx(0.08, rel=1e-12)
    (bore,) = (each for each in case.uncertain if each.key == "engine.bore")
    assert bore.high - bore.value == pytest.approx(half, rel=1e-9)
    assert bore.value - bore.low == pytest.approx(half, rel=1e-9)


def test_a_margin_changes_nothing_that_is_computed_with():
    plain, with_margin = load_text(GOOD), load_text(with_value('"80 mm"', '"80 mm +- 0.05 mm"', MARKS))
    assert with_margin.model_dump() == plain.model_dump()


def test_marks_are_inherited_from_the_table_and_guesses_come_first():
    case = load_text(with_value('"38 mm"', '"38 mm +- 0.1 mm"', MARKS))
    by_key = {each.key: each for each in case.uncertain}
    assert by_key["engine.bore"].mark == "measured" and by_key["engine.bore"].instrument == "bore gauge"
    assert by_key["intake.valve.head_diameter"].mark == "guess"
    marks = [each.mark for each in case.uncertain]
    assert marks.index("card") > max(k for k, mark in enumerate(marks) if mark == "guess")


def test_the_text_kept_in_results_carries_margins_and_marks():
    case = load_text(with_value('"80 mm"', '"80 mm ± 0.05 mm"', MARKS))
    again = load_text(case.text)
    assert again.uncertain == case.uncertain and again.text == case.text and len(case.uncertain) >= 3


def test_a_column_has_one_margin():
    case = load_text(with_value('"2, 4, 6, 8, 10 mm"', '"2, 4, 6, 8, 10 mm +- 0.02 mm"'))
    assert [each.plus_minus for each in case.uncertain if each.key == "intake.flow.lift"] == ["0.02 mm"]


def test_temperature_and_pressure_margins_are_differences():
    case = load_text(GOOD, overrides={"ambient.temperature": "20 degC +- 9 degF", "ambient.pressure": "100 kPa abs +- 1 kPa"})
    by_key = {each.key: each for each in case.uncertain}
    assert by_key["ambient.temperature"].high - by_key["ambient.temperature"].value == pytest.approx(5.0, abs=1e-9)
    assert by_key["ambient.pressure"].value - by_key["ambient.pressure"].low == pytest.approx(1000.0, abs=1e-6)


@pytest.mark.parametrize(
    ("written", "said"),
    [
        ("80 mm +- 0.05", 'the margin has no unit (allowed 20 to 300 mm: engine cylinder); did you mean "80 mm +- 0.05 mm"?'),
        ("80 mm +- 1 kPa", '"kPa" measures a pressure, not a length'),
        ("80 mm +-", "not one value with one margin"),
        ("+- 1 mm", "not one value with one margin"),
        ("80 mm +- 1 mm +- 2 mm", "not one value with one margin"),
        ("80 mm +- -1 mm", "a margin must be above zero"),
        ("80 mm +- 0 mm", "a margin must be above zero"),
        ("80 mm +- 200 %", "a margin of more than 100 %"),
        ("80 mm +- a bit", "the margin is not a number with a unit"),
        ("80 mm +- 1 furlong", 'unknown unit "furlong" for a length'),
        ("80 mm +- 0,5 mm", 'decimal comma'),
        ("800 mm +- 1 mm", 'above 300 mm (allowed 20 to 300 mm: engine cylinder); did you mean "80 mm"?'),
    ],
)  # fmt: skip
def test_spoilt_margins_are_refused_in_the_usual_words(written, said):
    (sentence,) = sentences(with_value('"80 mm"', f'"{written}"'))
    assert sentence.startswith("case:") and "engine.bore" in sentence and said in sentence


@pytest.mark.parametrize(
    ("line", "said"),
    [
        ('engine.bor = "measured"', 'there is no value engine.bor; did you mean "engine.bore"?'),
        ('engine.bore = "measurd"', 'not a mark (allowed guess, default, card or measured); did you mean "measured"?'),
        ("engine.bore = 4", "not a mark"),
        ('"a b" = "guess"', "not a key of a case"),
        ('friction.at_2000 = "guess"', "only a value given in the case can be marked"),
        ('engine.bore = "measured, \\u001b[31m"', "printable characters"),
    ],
)
def test_spoilt_marks_are_refused_with_the_cure(line, said):
    (sentence,) = sentences(GOOD + f"\n[marks]\n{line}\n")
    assert said in sentence and sentence.startswith("case:")


def test_marks_must_be_a_table_and_words_may_hold_the_sign():
    assert "not a table" in sentences('marks = "all"\n' + GOOD)[0]
    assert load_text(GOOD.replace('"as cast"', '"as cast ± 1"')).option == "as cast ± 1"


def test_an_inherited_mark_without_its_value_is_dropped(tmp_path):
    from waveflow.engine.case import load

    (tmp_path / "base.toml").write_text(GOOD + '\n[marks]\nintake.cam.lobe_lift = "card"\n')
    (tmp_path / "other.toml").write_text(
        'base = "base.toml"\n[intake.cam]\nkind = "sine_squared"\nopen = "340 deg"\nclose = "600 deg"\nmax_lift = "9 mm"\n'
    )
    assert load(tmp_path / "other.toml").uncertain == ()
    assert [each.mark for each in load(tmp_path / "base.toml").uncertain] == ["card"]


def test_check_shows_what_was_given_guesses_first():
    from waveflow.show.check import check_data, given_lines

    case = load_text(with_value('"80 mm"', '"80 mm +- 0.05 mm"', MARKS))
    lines = given_lines(case.uncertain, 100)
    assert "guess" in lines[1] and any("bore gauge" in line for line in lines)
    assert check_data(case)["given"][0]["mark"] == "guess"


def test_no_sign_no_margin():
    assert split_margin("38.5 mm") == ("38.5 mm", "")


@pytest.mark.parametrize("written", ["2 4 6 8 10 mm", "2 4 6 8 10 mm +- 0.02 mm", "2 mm, 4 mm, 6 mm, 8 mm, 10 mm"])
def test_a_column_without_commas_or_with_its_unit_every_time_can_bear_a_mark(written):
    text = with_value('"2, 4, 6, 8, 10 mm"', f'"{written}"', '\n[marks]\nintake.flow.lift = "measured, dial"\n')
    case = load_text(text)
    assert case.intake.flow.lift == pytest.approx([0.002, 0.004, 0.006, 0.008, 0.010])
    (lift,) = [each for each in case.uncertain if each.key == "intake.flow.lift"]
    assert lift.mark == "measured" and lift.plus_minus == ("0.02 mm" if "+-" in written else "")
    assert lift.lows == pytest.approx([each - 2e-5 for each in case.intake.flow.lift] if "+-" in written else ())
