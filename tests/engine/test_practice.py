"""What a porter would look at twice is told in his words, and only where it is so."""

import math
from pathlib import Path

import pytest
from case_texts import GOOD

from waveflow.engine.case import load, load_text
from waveflow.engine.section import net_area

CASES = Path(__file__).parents[2] / "cases"


def warned(text):
    return [str(each) for each in load_text(text).warnings]


def spoilt(old, new):
    assert old in GOOD
    return warned(GOOD.replace(old, new))


def test_a_sound_case_is_not_warned_of():
    assert warned(GOOD) == []


@pytest.mark.parametrize(("old", "new", "words"), [
    ('inlet_diameter = "37 mm"', 'inlet_diameter = "37 mm"\noutlet_area = "804 mm2"',
     "a step at the runner's joint with the head: 804 mm2 runs into 887.5 mm2, +10% of area"),
    ('inlet_diameter = "37 mm"', 'inlet_diameter = "37 mm"\ngasket_area = "800 mm2"',
     "the gasket stands into the flow: its hole against the passage, 887.5 mm2 runs into 800 mm2, -10% of area"),
    ('at = "58 mm"', 'at = "32 mm"', "a millimetre from stations[1] to here: too steep a taper"),
    ('width = "33 mm", blocked_area = "38 mm2"', 'width = "35 mm", blocked_area = "38 mm2"',
     "the throat is 92.1% of the valve head: above 90 to 91 %"),
    ('head_diameter = "38 mm"', 'head_diameter = "40 mm"', "50.0% of the bore; a single intake valve usually has 44% to 48%"),
    ('head_diameter = "38 mm"', 'head_diameter = "34.8 mm"', "43.5% of the bore"),
    ('reference_area = "curtain"\nleak', 'reference_area = "curtain"\nother_bench = "a small bench"\nleak', "OTHER BENCH"),
])  # fmt: skip
def test_each_is_told(old, new, words):
    assert any(words in text for text in spoilt(old, new)), spoilt(old, new)


def test_just_inside_the_limits_nothing_is_told():
    throat = 0.91 * 38
    assert spoilt('width = "33 mm", blocked_area = "38 mm2"', f'width = "{throat:.2f} mm", blocked_area = "38 mm2"') == []
    assert spoilt('head_diameter = "38 mm"', 'head_diameter = "38.4 mm"') == []
    face = net_area(load_text(GOOD).intake.port.stations[0])
    outlet = 1e6 * face / 1.049
    assert spoilt('inlet_diameter = "37 mm"', f'inlet_diameter = "37 mm"\noutlet_area = "{outlet:.1f} mm2"') == []


def test_a_gasket_that_leaves_the_passage_free_is_not_told():
    assert spoilt('inlet_diameter = "37 mm"', 'inlet_diameter = "37 mm"\ngasket_area = "860 mm2"') == []


def test_the_taper_is_the_number_it_states():
    (text,) = [each for each in spoilt('at = "58 mm"', 'at = "32 mm"') if "taper" in each]
    rows = load_text(GOOD).intake.port.stations
    steep = math.log(net_area(rows[2]) / net_area(rows[1])) / 2
    assert f"changes by {100 * steep:+.1f} % a millimetre" in text


def test_a_pipe_smaller_than_the_port_is_a_step_against_the_flow():
    case = load(CASES / "n155.toml", {"exhaust.header.primary_diameter": "28 mm"})
    told = [str(each) for each in case.warnings if "against the flow at the flange" in each.message]
    assert len(told) == 1 and "-15% of area" in told[0]


def test_a_burette_that_does_not_fit_names_what_to_measure_again():
    fits, off = (load(CASES / "n155.toml", {"intake.port.burette_volume": cc}) for cc in ("66.4 cc", "78 cc"))
    words = "do not fit each other; measure this one again: "
    assert not any(words in each.message for each in fits.warnings)
    assert any(words in each.message for each in off.warnings)


def test_the_planted_traps_of_the_first_demo_engine_are_told():
    cast, race = load(CASES / "n155.toml"), load(CASES / "n155_race.toml")
    assert any("a step at the runner's joint" in each.message and "+10% of area" in each.message for each in cast.warnings)
    told = " ".join(str(each) for each in race.warnings)
    assert "the sheet falls from 144.5 CFM to 141.5 CFM" in told and "50.2% of the bore" in told
    beyond = load(CASES / "n155_race_long_cam.toml", {"range.band": '["4500 rpm", "7800 rpm"]', "range.to": "7800 rpm"})
    assert any("your band ends beyond the redline of 7000 rpm" in each.message for each in beyond.warnings)
    assert not load(CASES / "n155_street.toml").warnings


def test_a_groove_at_the_gasket_and_an_exhaust_throat_beyond_the_usual_are_told():
    case = load(CASES / "n155.toml", {"intake.runner.gasket_area": "1100 mm2"})
    (text,) = [str(each) for each in case.warnings if "groove" in each.message]
    assert "never open a port to the gasket" in text and "887.5 mm2 runs into 1100 mm2, +24% of area, 1.9 mm all round" in text
    usual = load(CASES / "n155.toml", {"intake.runner.gasket_area": "1000 mm2"})
    assert not any("gasket" in str(each) for each in usual.warnings)
    wide = load(CASES / "n155.toml", {"exhaust.port.stations[0].width": "29.3 mm"})
    assert any("throat is 90.2% of the valve head: 85 to 88 % is usual" in each.message for each in wide.warnings)


def test_a_step_is_said_in_millimetres_of_the_wall():
    (text,) = [str(each) for each in load(CASES / "n155.toml").warnings]
    face = net_area(load(CASES / "n155.toml").intake.port.stations[0])
    edge = 1e3 * (math.sqrt(face / math.pi) - math.sqrt(804e-6 / math.pi))
    assert f"{edge:.1f} mm all round" in text
