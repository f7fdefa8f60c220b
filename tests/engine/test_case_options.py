"""Port options: a difference brings its own flow, or keeps the measured port's coefficient and says so."""

import pytest
from case_texts import GOOD

from waveflow.engine.case import load, load_text
from waveflow.errors import CaseError

STATIONS = (
    '[intake.port]\nstations = [{ at = "0 mm", width = "36 mm" }, { at = "40 mm", width = "34 mm" }, '
    '{ at = "76 mm", width = "35 mm" }]\n'
)
SHEET = (
    '[intake.flow]\nkind = "sheet"\nlift = "2, 4, 6, 8, 10 mm"\nflow = "36, 65, 88, 103, 115 CFM"\ndepression = "28 inH2O"\n'
    'reference_area = "valve head"\nleak_subtracted = true\nplate_corrected = true\n'
)


@pytest.fixture(autouse=True)
def in_its_own_folder(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "twin.toml").write_text(GOOD)


def option(text, name="option.toml", base="twin.toml"):
    with open(name, "w") as stream:
        stream.write(f'base = "{base}"\n{text}')
    return name


def test_a_port_with_its_own_sheet_is_measured():
    case = load(option(STATIONS + SHEET))
    assert case.intake.flow.kind == "sheet" and case.intake.flow.reference_area == "valve head" and not case.assumed


def test_other_stations_without_a_sheet_keep_the_stock_coefficient():
    case = load(option(STATIONS))
    flow = case.intake.flow
    assert flow.kind == "stock" and case.assumed and case.exhaust.flow.kind == "coefficient"
    assert flow.stock_flow.model_dump() == load("twin.toml").intake.flow.model_dump()
    assert flow.stock_valve.head_diameter == 0.038
    (said,) = [each for each in case.assumptions if each.mark == "assumed"]
    assert (said.key, said.low, said.high) == ("intake.flow", 0.92, 1.08)
    assert str(said) == (
        "intake.flow = coefficient of the measured port on valve-head area "
        "(assumed, likely 0.92 to 1.08: no flow sheet for this port)"
    )


@pytest.mark.parametrize(
    ("text", "assumed"),
    [
        ('[intake.valve]\nhead_diameter = "40 mm"\n', True),
        ('[intake.valve]\nhead_diameter = "3.8 cm"\n', False),
        ('[intake.valve]\nstem_diameter = "6 mm"\n', False),
        ('[intake.port]\nwall_temperature = "90 degC"\nroughness = "0.02 mm"\n', False),
        ('[intake.runner]\nlength = "300 mm"\n', False),
        ('[exhaust.valve]\nhead_diameter = "33 mm"\n', False),
        ("[enlarge]\npercent = 10\n", True),
        ('[ambient]\ntemperature = "30 degC"\n', False),
    ],
)
def test_what_makes_another_port_of_it(text, assumed):
    assert load(option(text)).assumed is assumed


def test_values_set_from_outside_make_another_port_too():
    assert load("twin.toml", {"intake.port.stations[1].width": "32 mm"}).assumed
    assert not load("twin.toml", {"intake.port.stations[1].width": "3 cm"}).assumed
    assert load("twin.toml", {"enlarge.percent": "15"}).assumed


def test_a_coefficient_belongs_to_the_valve_and_stays():
    text = GOOD.replace('head_diameter = "32 mm"', 'head_diameter = "33 mm"')
    assert load_text(text).exhaust.flow.kind == "coefficient"


def test_a_difference_upon_a_difference_keeps_the_measured_sheet():
    option(STATIONS, "wide.toml")
    cam = '[intake.cam]\nkind = "sine_squared"\nopen = "340 deg"\nclose = "600 deg"\nmax_lift = "9 mm"\n'
    option(cam, "cam.toml", "wide.toml")
    case = load("cam.toml")
    assert case.assumed and case.intake.flow.stock_valve.head_diameter == 0.038
    option('[intake.valve]\nhead_diameter = "39 mm"\n', "valve.toml", "wide.toml")
    case = load("valve.toml")
    assert case.intake.flow.stock_valve.head_diameter == 0.038 and case.intake.valve.head_diameter == 0.039


def test_stock_can_be_said_and_is_found_through_several_files():
    option('[intake.flow]\nkind = "stock"\n', "a.toml")
    option('[intake.valve]\nhead_diameter = "39 mm"\n[intake.flow]\nkind = "stock"\nfactor = 0.95\n', "b.toml", "a.toml")
    flow = load("b.toml").intake.flow
    assert flow.factor == 0.95 and flow.stock_valve.head_diameter == 0.038 and flow.stock_flow.kind == "sheet"
    option(SHEET, "c.toml", "b.toml")
    flow = load("c.toml").intake.flow
    assert flow.kind == "sheet" and flow.reference_area == "valve head"
    option(STATIONS, "d.toml", "c.toml")
    flow = load("d.toml").intake.flow
    assert flow.stock_flow.reference_area == "valve head" and flow.stock_valve.head_diameter == 0.039


def test_the_flow_can_be_scaled_to_see_what_an_error_of_it_does():
    for factor in (0.92, 1.08):
        case = load(option(STATIONS), {"intake.flow.factor": str(factor)})
        assert case.intake.flow.factor == factor and case.intake.flow.stock_flow.factor == 1.0
        assert load("twin.toml", {"exhaust.flow.factor": str(factor)}).exhaust.flow.factor == factor


@pytest.mark.parametrize("text", [STATIONS, "[enlarge]\npercent = 12\nwhere = \"throat\"\n", '[intake.flow]\nkind = "stock"\n'])
def test_the_text_of_an_option_stands_alone(text):
    case = load(option(text))
    again = load_text(case.text, case.source)
    assert again.model_dump() == case.model_dump() and again.digest == case.digest and again.assumed


def test_an_enlarged_port_has_that_much_more_area():
    from waveflow.engine.section import net_area

    before, case = load("twin.toml"), load(option("[enlarge]\npercent = 15\n"))
    for old, new in zip(before.intake.port.stations, case.intake.port.stations, strict=True):
        assert net_area(new) == pytest.approx(1.15 * net_area(old), rel=1e-12)
    assert case.derived.volume_after == pytest.approx(1.15 * case.derived.volume_before, rel=1e-9)
    assert before.derived is None and before.enlarge is None
    assert case.intake.port.burette_volume is None
    assert (case.enlarge.percent, case.enlarge.where, case.enlarge.side) == (15.0, "port", "intake")
    assert case.exhaust.model_dump() == before.exhaust.model_dump()


def test_a_stretch_is_enlarged_inside_only():
    from waveflow.engine.section import net_area

    before = load("twin.toml").intake.port.stations
    case = load(option('[enlarge]\npercent = 10\nwhere = ["20 mm", "50 mm"]\n'))
    stations = case.intake.port.stations
    assert len(stations) > len(before)
    areas = {round(each.at * 1e3, 6): net_area(each) for each in stations}
    for old in before:
        grown = 1.10 if old.at == 0.03 else 1.0
        assert areas[round(old.at * 1e3, 6)] == pytest.approx(grown * net_area(old), rel=1e-9)
    assert case.enlarge.where == (0.02, 0.05)


def test_a_derived_option_can_be_derived_anew_from_the_measured_port():
    case = load(option("[enlarge]\npercent = 15\n"))
    other = case.changed({"enlarge.percent": "5"})
    assert other.derived.volume_before == case.derived.volume_before
    assert other.derived.volume_after == pytest.approx(1.05 * case.derived.volume_before, rel=1e-9)
    assert load("twin.toml").changed({"enlarge.percent": "5"}).intake.port == other.intake.port


def test_the_exhaust_port_can_be_enlarged():
    start = GOOD.index("[exhaust.header]")
    text = GOOD[:start] + (
        '[exhaust.port]\nstations = [{ at = "0 mm", width = "27 mm", note = "throat" }, { at = "60 mm", width = "30 mm" }]\n\n'
    ) + GOOD[start:]
    case = load_text(text, overrides={"enlarge.percent": "8", "enlarge.side": "exhaust", "enlarge.where": "throat"})
    assert case.exhaust.port.stations[0].width == pytest.approx(0.027 * 1.08**0.5)
    assert case.intake.flow.kind == "sheet" and not case.assumed


def test_a_throat_that_leaves_no_seat_is_warned_of():
    case = load(option('[enlarge]\npercent = 30\nwhere = "throat"\n'))
    assert any("% of the valve" in each.message for each in case.warnings)


def test_a_derived_port_has_no_sheet_of_its_own():
    option("[enlarge]\npercent = 15\n", "plus.toml")
    with pytest.raises(CaseError) as caught:
        load(option(SHEET, base="plus.toml"))
    assert str(caught.value) == (
        "option.toml:2: intake.flow: a flow sheet of its own for a port that is only derived; "
        "give the stations that were measured with it, or leave the sheet out"
    )


def test_a_port_and_its_sheet_in_one_file_belong_together():
    assert not load_text(GOOD).assumed
    assert load_text(GOOD + "\n[enlarge]\npercent = 5\n").assumed
