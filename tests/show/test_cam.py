"""`waveflow cam`: events in a porter's words, the doubt of intake closing, its effect as a range, the figure."""

import json
from pathlib import Path
from types import SimpleNamespace

import pytest

from waveflow import cli
from waveflow.engine.case import load
from waveflow.engine.valves import lift_of
from waveflow.show.cam import before_after, cam_data, effect_rows
from waveflow.show.cam_figure import cam_figure
from waveflow.show.canvas import rendered, words_of
from waveflow.study.camrange import closing_effect

CASES = Path(__file__).parents[2] / "cases"


def late_is_good(case, rpm, cell):
    """A stand-in for the engine: a degree of later closing at the seat is worth 1 % at 6000 rpm and nothing at 2000."""
    closes = lift_of(case.intake.cam, "intake").close_angle(1e-5)
    ve = 0.9 * (1 + 0.01 * (closes - 598.0) * (rpm - 2000.0) / 4000.0)
    return SimpleNamespace(scalars={"volumetric_efficiency": ve, "torque": 100 * ve}, converged=rpm < 6000.0)


def test_the_effect_is_the_range_between_earliest_and_latest():
    case = load(CASES / "n155.toml")
    told = []
    made = closing_effect(case, [2000.0, 6000.0], run_point=late_is_good, workers=1, progress=lambda *each: told.append(each))
    used, earliest, latest = made.closes
    assert earliest < used < latest and told[-1][:2] == (6, 6)
    low, high = made.band("efficiency")[1]
    assert made.band("efficiency")[0] == pytest.approx((0.0, 0.0), abs=1e-12)
    assert (low, high) == pytest.approx((0.01 * (earliest - used), 0.01 * (latest - used)), rel=0.1)
    assert "at 6000 rpm" in made.sentence and made.unsettled == 3
    assert effect_rows(made)[0][0] == "2000" and effect_rows(made)[1][4].startswith("-0.")


def test_a_lift_table_has_no_card_to_be_uncertain_of():
    case = load(CASES / "n155_race_long_cam_table.toml")
    assert closing_effect(case, [4000.0], run_point=late_is_good, workers=1) is None
    assert cam_data(case, None)["sentences"] == [
        "The intake cam is a lift table: its closing is as good as the readings near the seat; there is no card to be "
        "uncertain of."
    ]


@pytest.mark.parametrize(
    ("angle", "words"),
    [(342, "18.0° before top"), (598, "58.0° after bottom"), (10.0, "10.0° after firing top"), (170, "10.0° before bottom")],
)
def test_angles_in_words(angle, words):
    assert before_after(angle) == words


def test_the_command_tells_events_and_doubt(capsys, tmp_path):
    assert cli.run_line(["cam", str(CASES / "t192.toml"), "--figure", str(tmp_path / "cam.svg")]) == 0
    out = " ".join(capsys.readouterr().out.split())
    assert "1.27 mm at the follower" in out and "leaves intake closing open: at the seat" in out
    assert "0.05 mm more lash closes it" in out and "Overlap: at the seat" in out
    assert "<desc" in (tmp_path / "cam.svg").read_text()
    assert cli.run_line(["cam", str(CASES / "t192.toml"), "--json"]) == 0
    data = json.loads(capsys.readouterr().out)
    seat, higher = data["intake_closing"]
    assert seat["earliest"] < seat["used"] < seat["latest"] and higher["height"] == 1e-3


def test_one_duration_is_drawn_with_its_wide_band_and_says_what_narrows_it(tmp_path):
    text = (CASES / "n155.toml").read_text()
    for line in ('second_duration = "258 deg"\n', 'second_duration_at = "0.006 in"\n'):
        text = text.replace(line, "", 1)
    for name in ("n155_flow_as_cast.csv", "n155_intake_port_as_cast.csv", "n155_exhaust_port_as_cast.csv"):
        (tmp_path / name).write_text((CASES / name).read_text())
    (tmp_path / "one.toml").write_text(text)
    figure = cam_figure(load(tmp_path / "one.toml"))
    assert len(rendered(figure, ".png")) > 20000
    assert "its one duration" in words_of(figure)[1] and "lift table read off the cam ends it" in words_of(figure)[1]


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        (("--rpm", "fast"), "write speeds from 100 to 30000 rpm"),
        (("--figure", "cam.pdf"), "must end in .png or .svg"),
        (("--cell", "20"), "missing unit"),
        (("--set", "x"), "write KEY=VALUE"),
    ],
)
def test_refusals(words, sentence, capsys):
    assert cli.run_line(["cam", str(CASES / "n155.toml"), *words]) == 2
    assert sentence in capsys.readouterr().err
