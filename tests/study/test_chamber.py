"""Laying back a chamber: ratio by hand, only that changes, and the model's own run loses what a lower ratio loses."""

import json
from types import SimpleNamespace

import pytest

from waveflow import cli
from waveflow.engine.case import load, load_text
from waveflow.study.chamber import chamber_study, with_chamber


def made_up(case, rpm, *, cell, start=None):
    """Torque 100 times (1 - ratio^-0.3) times the flow factor; filling the flow factor alone."""
    torque = 100.0 * (1.0 - case.compression.ratio**-0.3) * case.intake.flow.factor
    scalars = {"torque": torque, "volumetric_efficiency": 0.9 * case.intake.flow.factor}
    return SimpleNamespace(scalars=scalars, converged=True, end_state=None)


def test_ratio_torque_and_the_skim_that_brings_it_back():
    case = load("cases/n155.toml")
    made = chamber_study(case, 2.1e-6, [3000, 6000], flow=0.02, run_point=made_up, workers=1)
    swept, clearance = case.swept_volume, case.clearance_volume
    after = (swept + clearance + 2.1e-6) / (clearance + 2.1e-6)
    assert made.change.ratio_after == pytest.approx(after, rel=1e-12)
    alone = (1 - after**-0.3) / (1 - made.change.ratio_before**-0.3) - 1
    assert made.share("chamber", 0) == pytest.approx(alone, rel=1e-6)
    assert made.share("chamber", 1, 1) == pytest.approx(0, abs=1e-12)
    assert made.share("both", 1) == pytest.approx(1.02 * (1 + alone) - 1, rel=1e-6)
    assert made.share("both", 1, 1) == pytest.approx(0.02)
    assert f"{100 * alone:+.1f} % at 3000 rpm" in made.sentence and "from 9.78 to 9.38" in made.sentence
    skimmed = with_chamber(load("cases/n155_race.toml"), -2.1e-6)
    assert skimmed.compression.ratio == pytest.approx(made.change.ratio_before, rel=1e-9)


def test_a_case_that_states_only_its_ratio_and_nothing_else_changes():
    starter = load("cases/starter.toml")
    grown = with_chamber(starter, 1e-6)
    assert grown.clearance_volume == pytest.approx(starter.clearance_volume + 1e-6, rel=1e-7)
    assert {name for name in type(grown).model_fields if getattr(grown, name) != getattr(starter, name)} == {"compression"}


@pytest.mark.parametrize(("words", "said"), [
    (["--added", "2.1", "--rpm", "3000"], '--added "2.1": missing unit'),
    (["--added", "-90 cc", "--rpm", "3000"], "leaves no clearance volume"),
    (["--added", "2 cc", "--rpm", "fast"], "3000,6000"),
    (["--added", "2 cc", "--rpm", "3000", "--flow", "80 %"], "allowed -50 to 50 %"),
])  # fmt: skip
def test_what_cannot_be_is_refused_in_a_sentence(words, said, capsys):
    assert cli.run_line(["chamber", "cases/n155.toml", *words, "--quiet"]) == 2
    assert said in capsys.readouterr().err


def test_the_command_prints_table_sentence_and_json(capsys, monkeypatch):
    import waveflow.study.cycle

    monkeypatch.setattr(waveflow.study.cycle, "run_point", made_up)
    line = ["chamber", "cases/n155.toml", "--added", "2.1 cc", "--rpm", "3000,6000", "--quiet"]
    assert cli.run_line(line) == 0
    printed = " ".join(capsys.readouterr().out.split())
    assert "ratio 9.78 to 9.38" in printed and "a skim of 0.41 mm" in printed and "Burn and spark are held" in printed
    assert cli.run_line([*line, "--flow", "2 %", "--json"]) == 0
    data = json.loads(capsys.readouterr().out)
    assert data["change"]["ratio_after"] == pytest.approx(9.378, abs=1e-3) and len(data["both"]) == 2


def test_the_engine_itself_loses_torque_and_hardly_any_filling():
    """Real runs on coarse cells: the loss of torque is about that of the ideal cycle, (1 - r^-0.3) with gamma 1.3."""
    made = chamber_study(load("cases/starter.toml"), 2e-6, 4000, cell=0.04, workers=1)
    change = made.change
    ideal = (1 - change.ratio_after**-0.3) / (1 - change.ratio_before**-0.3) - 1
    assert 0.5 * ideal > made.share("chamber", 0) > 2.5 * ideal
    assert abs(made.share("chamber", 0, 1)) < 0.5 * abs(made.share("chamber", 0))


def test_the_spread_between_cylinders_names_the_low_and_the_high_one():
    from waveflow.show.measured import compression_lines

    text = load("cases/n155.toml").text
    for listed, words in (('["36.5 cc", "36.9 cc", "36.1 cc", "36.5 cc"]', "within what two burette readings"),
                          ('["36.5 cc", "38.5 cc", "35.5 cc", "36.5 cc"]', "beyond what two burette readings")):  # fmt: skip
        case = load_text(text.replace('chamber = "36.5 cc"', f'chamber = "36.5 cc"\nchambers = {listed}'))
        (line,) = [each for each in compression_lines(case) if each.startswith("by cylinder")]
        assert "lowest in cylinder 2, highest in cylinder 3" in line and words in line
        values = case.compression.chambers
        rest = case.clearance_volume - case.compression.chamber
        ratios = [(case.swept_volume + rest + each) / (rest + each) for each in values]
        assert f"a spread of {max(ratios) - min(ratios):.2f}" in line
