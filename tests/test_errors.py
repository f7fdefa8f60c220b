"""Sentences of mistakes and failures."""

import json

import pytest

from waveflow.errors import CaseError, CaseProblem, CaseWarning, RunError, clean_text


def test_a_problem_is_one_line_with_everything_in_it():
    problem = CaseProblem(
        "race.toml", "intake.port.stations[3].width", '"381 mm"', "above 120 mm", "5 to 120 mm",
        'did you mean "38.1 mm"?', 41,
    )  # fmt: skip
    assert str(problem) == (
        'race.toml:41: intake.port.stations[3].width = "381 mm": above 120 mm (allowed 5 to 120 mm); '
        'did you mean "38.1 mm"?'
    )


def test_what_is_not_known_leaves_no_gap():
    assert str(CaseProblem("a.toml", "", None, "no such file")) == "a.toml: no such file"
    assert str(CaseProblem("a.toml", "name", None, "missing", line=3)) == "a.toml:3: name: missing"
    assert str(CaseWarning("a.toml", "x", "1", "odd", why="because")) == "a.toml: x = 1: odd (because)"
    why = CaseProblem("a.toml", "x", "9", "above 5", "1 to 5", why="so it is")
    assert str(why) == "a.toml: x = 9: above 5 (allowed 1 to 5: so it is)"


def test_all_mistakes_come_out_one_line_each():
    error = CaseError([CaseProblem("a.toml", "x", "1", "wrong"), CaseProblem("b.csv", "", None, "empty", line=2)])
    assert str(error) == "a.toml: x = 1: wrong\nb.csv:2: empty"
    assert len(error.problems) == 2


def test_the_same_content_as_data():
    error = CaseError([CaseProblem("a.toml", "x", "1", "wrong", "2 to 3", "try 2", 7, "two or three")])
    data = json.loads(json.dumps(error.as_json()))
    assert data == {
        "problems": [
            {
                "file": "a.toml", "key": "x", "value": "1", "message": "wrong", "allowed": "2 to 3", "hint": "try 2",
                "line": 7, "why": "two or three", "text": "a.toml:7: x = 1: wrong (allowed 2 to 3: two or three); try 2",
            }
        ]
    }  # fmt: skip


@pytest.mark.parametrize(
    ("text", "shown"),
    [("plain", "plain"), ("a\x1b[31mb", "a\\x1b[31mb"), ("a\nb", "a\\nb"), ("\u202e", "\\u202e"), ("\ud800", "\\ud800"),
     ("é µ ½", "é µ ½")],
)  # fmt: skip
def test_nothing_unprintable_gets_through(text, shown):
    assert clean_text(text) == shown


def test_long_text_is_cut():
    assert clean_text("x" * 500) == "x" * 197 + "..."
    problem = CaseProblem("a.toml", "x", "9" * 5000, "wrong\x07")
    assert len(str(problem)) < 120 and str(problem).isprintable()


def test_a_failed_run_names_part_place_speed_and_angle():
    error = RunError(
        "temperature 4100 K is above the gas table (3500 K)", "runner 2", "123 mm from the plenum", 4500, 312.4
    )
    assert str(error) == (
        "runner 2, 123 mm from the plenum, 4500 rpm, 312 deg: temperature 4100 K is above the gas table (3500 K)"
    )
    assert str(RunError("no gas")) == "no gas"
    assert json.loads(json.dumps(error.as_json()))["rpm"] == 4500
