"""A new case from answers: runnable, honest about what is a guess, never over an old file."""

import io
import sys
from types import SimpleNamespace

import pytest

from waveflow import cli
from waveflow.engine.case import load
from waveflow.engine.firstcase import case_text
from waveflow.engine.interview import QUESTIONS, question, read_answer
from waveflow.errors import CaseProblem

GIVEN = {
    "cylinders": "2", "bore": "3.15 in +- 1 thou", "stroke": "70 mm", "top_speed": "8500 rpm", "intake_valve": "40 mm",
    "intake_lift": "10.1 mm", "intake_duration": "232 deg",
}  # fmt: skip


def words(path, given=GIVEN, *more):
    options = [word for name, text in given.items() for word in ("--answer", f"{name}={text}")]
    return ["new", str(path), *options, *more, "--no-sensitivity"]


@pytest.fixture(autouse=True)
def no_terminal(monkeypatch):
    monkeypatch.setattr(sys, "stdin", io.StringIO(""))


def test_case_loads_and_every_guess_is_marked_with_its_margin(tmp_path, capsys):
    path = tmp_path / "twin.toml"
    assert cli.run_line(words(path)) == 0
    case = load(path)
    assert case.engine.bore == pytest.approx(3.15 * 0.0254, rel=1e-12) and case.engine.cylinders == 2
    by_key = {each.key: each for each in case.uncertain}
    assert by_key["engine.bore"].mark == "measured" and by_key["intake.cam.duration"].mark == "card"
    for key in ("engine.rod_length", "intake.runner.length", "intake.flow.factor", "exhaust.cam.lobe_centre"):
        assert by_key[key].mark == "guess" and by_key[key].low < by_key[key].value < by_key[key].high, key
    text = path.read_text()
    for each in case.assumptions:
        if each.low is not None:
            assert any(line.startswith(f"# {each.key.rpartition('.')[2]} = ") and each.range_text in line
                       for line in text.splitlines()), each.key  # fmt: skip


@pytest.mark.parametrize("more", [{"cylinders": "1"}, {"cylinders": "4", "valves": "2", "intake_valve": "29 mm",
    "intake_lift": "9 mm", "plenum": "3 L?"}, {"cylinders": "7"}, {"cylinders": "2", "bench_lifts": "2, 5, 10 mm",
    "intake_flow": "36, 75, 105 CFM", "exhaust_flow": "28, 60, 80 CFM"}])  # fmt: skip
def test_engines_of_every_kind_make_a_case_that_builds(more, tmp_path):
    from waveflow.engine.build import build

    path = tmp_path / "engine.toml"
    assert cli.run_line(words(path, GIVEN | more)) == 0
    case = load(path)
    assert len(build(case, 0.03).net.cylinder) == int(more["cylinders"])
    assert (case.intake.flow.kind == "sheet") == ("bench_lifts" in more)


def test_comments_become_values_by_taking_the_sign_away(tmp_path):
    path = tmp_path / "twin.toml"
    cli.run_line(words(path))
    opened = "".join(
        line[2:] if line.startswith("# ") and (" = " in line or line.startswith("# [")) else line
        for line in path.read_text().splitlines(keepends=True)
    )
    path.write_text(opened)
    left = load(path).assumptions
    assert not [each for each in left if each.low is not None]


def test_missing_answers_come_out_together_with_their_questions(tmp_path, capsys):
    path = tmp_path / "twin.toml"
    assert cli.run_line(["new", str(path), "--answer", "bore=80 mm"]) == 2
    said = capsys.readouterr().err
    for name in set(GIVEN) - {"bore"}:
        assert f"no answer: {name}: {question(name).text}" in said
    assert "bore:" not in said and not path.exists()


def test_wrong_answers_are_refused_in_the_words_of_the_case(tmp_path, capsys):
    path = tmp_path / "twin.toml"
    assert cli.run_line(words(path, GIVEN | {"bore": "800 mm", "stroke": "70", "strok": "70 mm"})) == 2
    said = capsys.readouterr().err
    assert 'bore = "800 mm": above 300 mm (allowed 20 to 300 mm: engine cylinder); did you mean "80 mm"?' in said
    assert 'stroke = "70": missing unit' in said and 'no question has this name; did you mean "stroke"?' in said
    assert not path.exists()


def test_a_file_is_overwritten_only_with_force(tmp_path, capsys):
    path = tmp_path / "twin.toml"
    path.write_text("mine")
    assert cli.run_line(words(path)) == 2
    assert "--force" in capsys.readouterr().err and path.read_text() == "mine"
    assert cli.run_line([*words(path), "--force"]) == 0 and load(path).engine.cylinders == 2


def test_answers_from_a_file_give_way_to_options(tmp_path):
    page, path = tmp_path / "page.toml", tmp_path / "twin.toml"
    page.write_text("".join(f'{name} = "{text}"\n' for name, text in GIVEN.items()))
    assert cli.run_line(["new", str(path), "--answers", str(page), "--answer", "bore=81 mm", "--no-sensitivity"]) == 0
    assert load(path).engine.bore == pytest.approx(0.081)


def test_on_a_terminal_a_wrong_answer_is_asked_again_and_enter_takes_the_guess(tmp_path, monkeypatch, capsys):
    typed = io.StringIO("")
    typed.isatty = lambda: True
    monkeypatch.setattr(sys, "stdin", typed)
    answers = dict(GIVEN)
    said, asked = ["", "800 mm"], []

    def answer(_):
        shown = capsys.readouterr().err
        name = next(each.name for each in QUESTIONS if each.text in shown) if "of 2" in shown else "bore"
        asked.append(name)
        return said.pop(0) if name == "bore" and said else answers.get(name, "")

    monkeypatch.setattr("builtins.input", answer)
    path = tmp_path / "twin.toml"
    assert cli.run_line(["new", str(path), "--no-sensitivity"]) == 0
    assert asked.count("bore") == 3 and load(path).engine.bore == pytest.approx(3.15 * 0.0254)


def test_every_question_takes_its_own_guess():
    answers = {}
    for asked in QUESTIONS:
        text = GIVEN.get(asked.name) or asked.default({name: each.value for name, each in answers.items()})
        made = read_answer(asked, text, guessed=asked.name not in GIVEN)
        assert not isinstance(made, CaseProblem), made
        answers[asked.name] = made
    text, case = case_text(answers)
    assert case.assumptions and [each.key for each in case.warnings] == ["intake.valve.head_diameter"]  # 50 % of the bore


def test_sensitive_refuses_speeds_and_cells_in_one_sentence(capsys):
    assert cli.run_line(["sensitive", "cases/starter.toml", "--rpm", "fast"]) == 2
    assert "3000,6000" in capsys.readouterr().err
    assert cli.run_line(["sensitive", "cases/starter.toml", "--rpm", "3000", "--cell", "20"]) == 2
    assert "run.cell" in capsys.readouterr().err


def test_sensitive_prints_a_table_and_the_sentence(capsys, monkeypatch):
    from types import SimpleNamespace

    import waveflow.study.cycle

    def run_point(case, rpm, *, cell, start=None):
        return SimpleNamespace(scalars={"torque": 20.0 * case.fuel.lambda_, "volumetric_efficiency": 0.9},
                               converged=True, end_state=None)  # fmt: skip

    monkeypatch.setattr(waveflow.study.cycle, "run_point", run_point)
    assert cli.run_line(["sensitive", "cases/starter.toml", "--rpm", "3000", "--quiet"]) == 0
    printed = capsys.readouterr()
    assert "fuel.lambda" in printed.out and "The value that matters most" in printed.out and printed.err == ""
    assert cli.run_line(["sensitive", "cases/starter.toml", "--rpm", "3000", "--json"]) == 0
    assert '"sentence"' in capsys.readouterr().out


@pytest.mark.parametrize(("text", "pieces"), [
    ("2, 4, 6 mm", ["2 mm", "4 mm", "6 mm"]), ("2 4 6 mm", ["2 mm", "4 mm", "6 mm"]),
    ("2 mm, 4 mm; 6 mm", ["2 mm", "4 mm", "6 mm"]), ("380 mm", ["380 mm"]),
    ("0.1, 0.2 in +- 0.002 in", ["0.1 in +- 0.002 in", "0.2 in +- 0.002 in"]), ("380 mm +- 5 mm", ["380 mm +- 5 mm"]),
    ("1e-3, 2e-3 m", ["1e-3 m", "2e-3 m"]), ("10 mm +- 1 mm, 12 mm +- 2 mm", ["10 mm +- 1 mm", "12 mm +- 2 mm"]),
])  # fmt: skip
def test_columns_as_people_write_them(text, pieces):
    from waveflow.engine.tables import split_series

    assert split_series(text) == pieces


def terminal(monkeypatch, capsys, said):
    """A terminal that answers by the question's name, one answer after the other; Enter where none is left."""
    typed = io.StringIO("")
    typed.isatty = lambda: True
    monkeypatch.setattr(sys, "stdin", typed)
    seen = []

    def answer(_):
        shown = capsys.readouterr().err
        name = max((each for each in QUESTIONS if each.text in shown), key=lambda each: len(each.text)).name
        seen.append((name, shown))
        left = said.get(name, [])
        if left and left[0] is KeyboardInterrupt:
            raise KeyboardInterrupt
        return left.pop(0) if left else ""

    monkeypatch.setattr("builtins.input", answer)
    return seen


def test_enter_takes_what_a_refusal_suggests_and_a_column_without_unit_is_asked_for(tmp_path, monkeypatch, capsys):
    said = {"cylinders": ["2"], "bore": ["92", ""], "stroke": ["75,5 mm", ""], "top_speed": ["8200", ""],
            "intake_valve": ["36 mm"], "valves": ["2"], "intake_lift": ["9.4 mm"], "intake_duration": ["230 deg"],
            "bench_lifts": ["2 4 6 8 10 mm"],
            "intake_flow": ["62 118 158 181 193", ""], "plenum": ["no"], "exhaust_duration": ["?"]}  # fmt: skip
    seen = terminal(monkeypatch, capsys, said)
    path = tmp_path / "twin.toml"
    assert cli.run_line(["new", str(path), "--no-sensitivity"]) == 0
    case = load(path)
    assert case.engine.bore == pytest.approx(0.092) and case.engine.stroke == pytest.approx(0.0755)
    assert case.intake.flow.lift == pytest.approx([0.002, 0.004, 0.006, 0.008, 0.010])
    assert len(case.intake.flow.flow) == 5 and case.intake.plenum is None
    marks = {each.key: each.mark for each in case.uncertain}
    assert marks["engine.bore"] == "measured" and marks["exhaust.cam.duration"] == "guess"
    assert any("[Enter: 92 mm]" in text for _, text in seen) and any("such as 80.6 mm" in text for _, text in seen)
    assert any('did you mean "62, 118, 158, 181, 193 CFM"?' in text for _, text in seen)


def test_what_was_typed_is_kept_when_it_is_broken_off(tmp_path, monkeypatch, capsys):
    said = {"cylinders": ["2"], "bore": ["92 mm +- 0.02 mm"], "stroke": ["75 mm?"], "ratio": [KeyboardInterrupt]}
    terminal(monkeypatch, capsys, said)
    path, kept = tmp_path / "twin.toml", tmp_path / "twin.answers.toml"
    assert cli.run_line(["new", str(path), "--no-sensitivity"]) == 130
    assert not path.exists() and "waveflow new" in capsys.readouterr().err
    monkeypatch.setattr(sys, "stdin", io.StringIO(""))
    rest = [word for name in ("top_speed", "intake_valve", "intake_lift", "intake_duration") for word in
            ("--answer", f"{name}={GIVEN[name]}")]  # fmt: skip
    assert cli.run_line(["new", str(path), "--answers", str(kept), *rest, "--no-sensitivity"]) == 0
    marks = {each.key: (each.mark, each.plus_minus) for each in load(path).uncertain}
    assert marks["engine.bore"] == ("measured", "0.02 mm") and marks["engine.stroke"][0] == "guess"


def test_what_to_measure_next_is_said_as_questions():
    from waveflow.show.new import to_measure

    varied = [SimpleNamespace(key=key, mark=mark) for key, mark in (
        ("intake.runner.length", "guess"), ("engine.bore", "measured"), ("burn.ca50", "guess"),
        ("exhaust.header.primary_length", "guess"))]  # fmt: skip
    made = SimpleNamespace(rows=[SimpleNamespace(varied=each) for each in varied])
    assert to_measure(made) == [
        "Length of the intake pipe in front of the head?",
        "Length of an exhaust pipe from the head to where pipes meet or end?",
    ]


@pytest.mark.parametrize("text", ['28"', "28 in", "28in"])
def test_inches_of_a_bench_are_asked_about_not_guessed(text):
    made = read_answer(question("depression"), text)
    assert isinstance(made, CaseProblem) and made.hint == 'did you mean "28 inH2O"?'
