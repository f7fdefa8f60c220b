"""How far a station may be off: margins before resolutions before the rule, and what all of a port do together."""

import math
from pathlib import Path

import pytest
from case_texts import GOOD
from demo_parts import port

from waveflow.engine.case import load, load_text
from waveflow.engine.portfacts import beside_gasket, port_facts
from waveflow.engine.provenance import ORDER, counts, inputs_of
from waveflow.engine.reconcile import BURETTE_ERROR, reconcile
from waveflow.engine.section import Station, net_area, section
from waveflow.engine.station_margins import (
    CORNER_ERROR,
    PortMargins,
    port_margins,
    reading_error,
    size_errors,
    station_error,
    together,
)

CASES = Path(__file__).parents[2] / "cases"
BOX = Station(0.0, "rounded rectangle", 0.030, 0.027, 0.009, resolution=0.05e-3)


def test_the_corner_radius_fixes_the_area_more_than_the_calliper():
    """30 x 27 mm: 0.05 mm of both sides is 0.25 % of area in squares, a millimetre of corner radius 2.1 to 2.2 %."""
    by_calliper = reading_error(BOX, {"corner_radius": 1e-9}) / net_area(BOX)
    by_corner = reading_error(BOX, {"width": 1e-9, "height": 1e-9, "corner_radius": 1e-3}) / net_area(BOX)
    area = 30 * 27 - (4 - math.pi) * 81
    assert by_calliper == pytest.approx(math.hypot(27 * 0.05, 30 * 0.05) / area, rel=1e-6)
    assert by_corner == pytest.approx((4 - math.pi) * (2 * 9 - 0.5) / area, rel=1e-6)
    assert by_corner > 7 * by_calliper


def test_a_margin_goes_before_the_resolution_and_the_resolution_before_the_rule():
    assert size_errors(BOX) == {"width": 0.05e-3, "height": 0.05e-3, "corner_radius": CORNER_ERROR}
    assert size_errors(BOX, {"height": 0.2e-3})["height"] == 0.2e-3
    round_one = Station(0.0, "round", 0.03)
    assert reading_error(round_one, {"width": 0.4e-3}) == pytest.approx(math.pi * 0.03 / 2 * 0.4e-3, rel=1e-12)
    measured = Station(0.0, "measured", area=8e-4, branches=2, blocked_area=4e-5)
    assert reading_error(measured, {"area": 1e-5}) == pytest.approx(2e-5)
    exact = 2 * math.sqrt(1e-5**2 + (0.01 * 8e-4) ** 2 + 1e-6**2)
    assert station_error(measured, {"area": 1e-5, "blocked_area": 1e-6}) == pytest.approx(exact, rel=1e-12)


def test_margins_of_a_case_reach_its_stations_and_the_burette():
    text = GOOD.replace('width = "30 mm", height = "27 mm", corner_radius = "9 mm"',
                        'width = "30 mm +- 0.2 mm", height = "27 mm", corner_radius = "9 mm +- 1 mm"')  # fmt: skip
    text = text.replace("[intake.runner]", 'burette_volume = "62 cc +- 0.8 cc"\nlength = "76 mm +- 2 mm"\n\n[intake.runner]')
    case = load_text(text)
    margins = port_margins(case, "intake")
    assert margins.of(1) == pytest.approx({"width": 0.2e-3, "corner_radius": 1e-3}) and margins.of(0) == {}
    assert margins.burette == pytest.approx(0.8e-6) and margins.length == pytest.approx(2e-3)
    port_ = case.intake.port
    plain, weighed = (reconcile(port_.stations, port_.burette_volume, port_.length, margins=each) for each in (None, margins))
    assert weighed.volume_error == pytest.approx(math.hypot(0.8e-6, BURETTE_ERROR[1] * 62e-6))
    assert weighed.stations[1].error > plain.stations[1].error and weighed.stations[0].error == plain.stations[0].error
    # a reading that may be further off is moved further and doubted less
    assert abs(weighed.stations[1].fitted / weighed.stations[1].measured - 1) > 0


def test_a_coarse_reading_takes_the_misfit_of_the_burette():
    rows, _, burette = port("n155", "street", "intake")
    loose = PortMargins(tuple({"width": 2e-3} if number == 3 else {} for number in range(len(rows))))
    even, odd = reconcile(rows, 1.03 * burette), reconcile(rows, 1.03 * burette, margins=loose)
    moved = [each.fitted / each.measured - 1 for each in odd.stations]
    assert max(moved) == moved[3] and moved[3] > 2 * (even.stations[3].fitted / even.stations[3].measured - 1)


def test_all_stations_together_are_the_widest_and_the_narrowest_passage():
    rows = [BOX, Station(0.03, "round", 0.033, resolution=0.1e-3), Station(0.05, "measured", area=8e-4, resolution=0.3e-3)]
    wide, narrow = (together(rows, PortMargins(), sign) for sign in (1, -1))
    assert wide[0] == pytest.approx({"width": 0.03005, "height": 0.02705, "corner_radius": 0.0085})
    assert narrow[0] == pytest.approx({"width": 0.02995, "height": 0.02695, "corner_radius": 0.0095})
    assert wide[1]["width"] == pytest.approx(0.0331)
    wall = section("measured", area=8e-4)[1]
    assert wide[2]["area"] - 8e-4 == pytest.approx(wall * 0.15e-3) == pytest.approx(8e-4 - narrow[2]["area"])
    tight = Station(0.0, "rounded rectangle", 0.02, 0.02, 0.0099)
    assert together([tight], PortMargins(), -1)[0]["corner_radius"] <= 0.0099
    assert together([tight], PortMargins(), -1)[0]["corner_radius"] <= min(0.0198, 0.0198) / 2 + 1e-12


@pytest.mark.parametrize(("name", "side"), [("n155", "intake"), ("t192", "intake"), ("t192_race", "exhaust")])
def test_facts_of_a_demo_port_by_hand(name, side):
    case = load(CASES / f"{name}.toml")
    facts, valve = port_facts(case, side), getattr(case, side).valve
    areas = {s.at: net_area(s) for s in getattr(case, side).port.stations}
    assert facts.pinch == (min(areas, key=areas.get), min(areas.values()))
    assert facts.pinch_share == pytest.approx(min(areas.values()) / (valve.count * math.pi / 4 * valve.head_diameter**2))
    first, last = facts.tapers[0], max(facts.tapers, key=lambda t: abs(t.rate))
    assert areas[first.x1] == pytest.approx(areas[first.x0] * math.exp(first.rate * (first.x1 - first.x0)))
    assert facts.steepest == last and 0.8 < facts.throat_share < 0.91
    outer = facts.joints[-1]
    assert outer.edge == pytest.approx(math.sqrt(outer.after / math.pi) - math.sqrt(outer.before / math.pi))


def test_the_gasket_is_held_against_the_neighbour_it_offends():
    assert beside_gasket(8e-4, 9e-4, 7e-4) == 8e-4 and beside_gasket(9e-4, 8e-4, 1e-3) == 9e-4
    assert beside_gasket(8e-4, 9e-4, 8.5e-4) == 8.5e-4


def test_every_input_has_a_place_it_comes_from_the_least_certain_first():
    case = load(CASES / "n155_race.toml")
    inputs = {each.key: each for each in inputs_of(case)}
    marks = [each.mark for each in inputs_of(case)]
    assert [ORDER.index(mark) for mark in marks] == sorted(ORDER.index(mark) for mark in marks)
    assert sum(counts(inputs_of(case)).values()) == len(marks)
    width = inputs["intake.port.stations[0].width"]
    assert (width.mark, width.instrument, width.plus_minus) == ("measured", "inside caliper", "0.05 mm")
    assert inputs["engine.bore"].mark == "card" and inputs["intake.port.roughness"].mark == "guess"
    assert inputs["compression.chamber"].instrument == "burette and depth gauge"
    assert inputs["walls.head_temperature"].plus_minus == "likely 140 to 230 degC"
    given = {each.key for each in case.assumptions}
    assert given <= set(inputs) and not any(key.startswith("marks") for key in inputs)
    margin = load_text(GOOD.replace('"80 mm"', '"80 mm +- 0.02 mm"') + '\n[marks]\nengine.bore = "measured, bore gauge"\n')
    assert {each.key: each for each in inputs_of(margin)}["engine.bore"][1:5] == ("80 mm", "0.02 mm", "measured", "bore gauge")
