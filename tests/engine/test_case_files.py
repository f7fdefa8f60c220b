"""The cases that come with the program: complete, marked as invented, and equal to the sheets they were made from."""

import math
from pathlib import Path

import pytest
from demo_parts import CFM, port, toml

from waveflow.engine.case import defaults_and_guesses, load, load_text
from waveflow.engine.section import net_area

CASES = Path(__file__).parents[2] / "cases"
FILES = sorted(CASES.glob("*.toml"))
LEVELS = ("as_cast", "pocket", "street", "race")
VERIFICATION = ("long_intake_motored", "runner_area_fired", "short_pipes_motored")


def n155(level, cam="road"):
    name = "n155" + ("" if level == "as_cast" else f"_{level}") + ("_long_cam" if cam == "long" else "")
    return load(CASES / f"{name}.toml")


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.stem)
def test_every_case_loads_and_stands_alone_as_text(path):
    case = load(path)
    again = load_text(case.text, case.source)
    assert again.model_dump() == case.model_dump() and again.digest == case.digest
    assert defaults_and_guesses(case)
    assert (case.engine.cylinders, case.burn.kind == "motored") == (
        4 if path.stem.startswith(("n155", "t192")) else 1, "motored" in path.stem
    )  # fmt: skip


def test_cases_differ_from_each_other():
    digests = {load(path).digest for path in FILES}
    assert len(digests) == len(FILES) >= 18


@pytest.mark.parametrize("path", [path for path in sorted(CASES.iterdir()) if path.suffix in (".toml", ".csv")],
                         ids=lambda path: path.name)  # fmt: skip
def test_invented_data_say_so(path):
    if not path.stem.startswith(VERIFICATION):
        assert path.read_text(encoding="utf-8").startswith("# INVENTED DEMO DATA - not measured on any real engine")
    if path.suffix == ".toml" and not path.stem.startswith(VERIFICATION):
        assert "INVENTED DEMO DATA" in load(path).note


@pytest.mark.parametrize("level", LEVELS)
@pytest.mark.parametrize("side", ["intake", "exhaust"])
def test_stations_are_those_of_the_sheet(level, side):
    case = n155(level)
    expected, areas, burette = port("n155", level, side)
    stations = getattr(case, side).port.stations
    assert len(stations) == len(expected)
    for station, wanted, area in zip(stations, expected, areas, strict=True):
        assert station.shape == wanted.shape
        assert (station.at, station.width) == pytest.approx((wanted.at, wanted.width), rel=1e-12)
        assert (station.blocked_area, station.branches) == (pytest.approx(wanted.blocked_area), 1)
        assert station.corner_radius == pytest.approx(wanted.corner_radius) and station.note == wanted.note
        # the sheet's own areas are rounded to 1 mm2
        assert net_area(station) == pytest.approx(area, abs=0.51e-6)
    assert getattr(case, side).port.burette_volume == pytest.approx(burette)


@pytest.mark.parametrize("level", LEVELS)
@pytest.mark.parametrize("cam", ["road", "long"])
def test_every_level_brings_its_own_sheet_valves_and_chamber(level, cam):
    case = n155(level, cam)
    sheet, made = toml("flow_n155")["sheet"][level], toml("ports_n155")["level"][level]
    for side in ("intake", "exhaust"):
        part = getattr(case, side)
        assert part.flow.kind == "sheet"
        assert part.flow.flow == pytest.approx([value * CFM for value in sheet[f"{side}_CFM"]])
        assert part.flow.lift == pytest.approx([value * 1e-3 for value in sheet["lift_mm"]])
        assert part.valve.head_diameter == pytest.approx(made[f"{side}_valve_mm"] * 1e-3)
    assert case.compression.chamber == pytest.approx(made["chamber_cc"] * 1e-6)
    # the runner's own end; where it is blended, it runs out to the port's face over the length of the blend
    assert case.intake.runner.outlet_area == pytest.approx(804e-6)
    end = net_area(case.intake.port.stations[0]) if made["runner_blended_to_port"] else 804e-6
    assert end == pytest.approx(made["runner_outlet_area_mm2"] * 1e-6, abs=0.51e-6)
    assert case.intake.runner.blend_length == pytest.approx(made.get("runner_blended_length_mm", 0) * 1e-3)
    assert not case.assumed


def test_the_bench_of_the_sheets():
    bench = toml("flow_n155")["bench"]
    flow = n155("race").exhaust.flow
    assert flow.depression == pytest.approx(bench["depression_inH2O"] * 249.08891)
    assert flow.air_temperature == pytest.approx(bench["air_temperature_C"] + 273.15)
    assert flow.barometer == pytest.approx(bench["barometer_kPa"] * 1e3)
    assert (flow.leak, flow.plate_expected, flow.plate_read) == pytest.approx(
        [bench["leak_at_zero_lift_CFM"] * CFM, bench["calibration_plate_CFM_expected"] * CFM,
         bench["calibration_plate_CFM_read"] * CFM]
    )  # fmt: skip
    assert (flow.leak_subtracted, flow.plate_corrected) == (False, False)


@pytest.mark.parametrize(("cam", "card"), [("road", "N155-S"), ("long", "N155-R")])
@pytest.mark.parametrize("level", LEVELS)
@pytest.mark.parametrize("side", ["intake", "exhaust"])
def test_cams_are_those_of_the_card(cam, card, level, side):
    (wanted,) = [each for each in toml("cams")["cam"] if each["id"] == card]
    ours, theirs = getattr(n155(level, cam), side).cam, wanted[side]
    assert ours.lobe_lift == pytest.approx(theirs["lobe_lift_mm"] * 1e-3)
    assert ours.rocker_ratio == wanted["rocker_ratio"] and ours.lash == pytest.approx(theirs["lash_mm"] * 1e-3)
    assert (ours.duration, ours.duration_at) == (theirs["duration_050_deg"], pytest.approx(1.27e-3))
    assert (ours.second_duration, ours.second_duration_at) == (theirs["duration_advertised_deg"], pytest.approx(0.1524e-3))
    assert ours.lobe_centre == theirs["lobe_centre_deg"]


def test_the_measured_lobe_is_that_of_the_card():
    cam, card = load(CASES / "n155_race_long_cam_table.toml").intake.cam, n155("race", "long").intake.cam
    rows = toml("cams")["lift_table"]["N155-R"]["intake"]["lobe_lift"]
    assert cam.angle == tuple(row["crank_deg_after_TDC"] for row in rows)
    assert cam.lift == pytest.approx([row["lobe_lift_mm"] * 1e-3 for row in rows])
    assert max(cam.lift) == pytest.approx(card.lobe_lift, rel=0.002) and cam.lash == card.lash


def test_the_falling_sheet_of_the_race_level_is_told_and_kept():
    case = n155("race")
    assert any("the sheet falls from 144.5 CFM to 141.5 CFM" in each.message for each in case.warnings)
    assert case.intake.flow.flow[-1] < case.intake.flow.flow[-2]
    assert not n155("street").warnings


def test_a_level_is_a_difference_only():
    for level in ("pocket", "street", "race"):
        text = (CASES / f"n155_{level}.toml").read_text(encoding="utf-8")
        assert 'base = "n155.toml"' in text and not any(
            f"[{table}]" in text for table in ("engine", "ambient", "fuel", "intake.cam", "exhaust.header", "range")
        )
    assert n155("race").model_dump(include={"engine", "ambient", "range"}) == n155("as_cast").model_dump(
        include={"engine", "ambient", "range"}
    )


def test_the_option_on_paper_is_marked_as_assumed():
    case, cast = load(CASES / "n155_plus15.toml"), n155("as_cast")
    assert case.assumed and case.intake.flow.kind == "stock" and case.exhaust.flow == cast.exhaust.flow
    assert defaults_and_guesses(case)[0].mark == "assumed"
    for old, new in zip(cast.intake.port.stations, case.intake.port.stations, strict=True):
        assert net_area(new) == pytest.approx(1.15 * net_area(old), rel=1e-12)


@pytest.mark.parametrize(
    ("name", "runner", "header"),
    [("short_pipes_motored", (0.08, 0.036), (0.08, 0.034)), ("long_intake_motored", (0.64, 0.036), (0.08, 0.034)),
     ("runner_area_fired", (0.32, 0.036), (0.56, 0.038))],
)  # fmt: skip
def test_ideal_engine_cases(name, runner, header):
    case = load(CASES / f"{name}.toml")
    assert (case.engine.bore, case.engine.stroke, case.engine.rod_length, case.compression.ratio) == (
        0.086, 0.086, 0.143, 10.0
    )  # fmt: skip
    assert (case.intake.runner.length, case.intake.runner.inlet_diameter) == runner
    assert (case.exhaust.header.primary_length, case.exhaust.header.primary_diameter) == ((header[0],), header[1])
    assert (case.intake.runner.entry, case.exhaust.header.exit) == ("ideal", "ideal")
    for side, diameter, opens, closes, lift in (("intake", 0.042, 334, 602, 0.01), ("exhaust", 0.035, 114, 382, 0.009)):
        part = getattr(case, side)
        assert (part.cam.open, part.cam.close, part.cam.max_lift) == (opens, closes, lift)
        assert part.valve.head_diameter == diameter and part.flow.reference_area == "curtain capped by throat"
        assert part.flow.throat_area == pytest.approx(math.pi / 4 * (0.85 * diameter) ** 2, rel=1e-6)
        assert part.flow.reverse_factor == 1.0 and part.reservoir.pressure == 1e5
    ideal = case.ideal
    assert (ideal.gas, ideal.gamma, ideal.gas_constant, ideal.valve_recovery) == ("constant gamma", 1.4, 287.05, "none")
    assert ideal.frictionless and ideal.adiabatic_pipes and case.walls.heat == "adiabatic"
    assert (ideal.start_angle, ideal.start_pressure) == (90.0, 1e5)


def test_the_fired_case_and_its_variants():
    case = load(CASES / "runner_area_fired.toml")
    burn = case.burn
    assert (burn.start, burn.duration, burn.a, burn.m, burn.normalised) == (700, 50, 6.908, 2, True)
    assert burn.heat_per_kg_fresh_air == 1.8e6
    assert (case.exhaust.reservoir.temperature, case.exhaust.reservoir.burned) == (900, 1)
    assert (case.ideal.start_temperature, case.ideal.start_burned) == (900, 1)
    wide = load(CASES / "runner_area_fired_enlarged.toml")
    assert wide.intake.runner.outlet_area / case.intake.runner.outlet_area == pytest.approx(1.5, rel=1e-9)
    assert wide.exhaust == case.exhaust and wide.intake.flow == case.intake.flow
    for name in ("runner_area_fired_short_cam", "runner_area_fired_enlarged_short_cam"):
        short = load(CASES / f"{name}.toml")
        assert (short.intake.cam.open, short.intake.cam.close) == (350, 586)
        assert (short.exhaust.cam.open, short.exhaust.cam.close) == (130, 366)
        assert short.intake.cam.max_lift == 0.01 and short.exhaust.cam.max_lift == 0.009


def test_the_starter_and_its_opened_port():
    small, big = load(CASES / "starter.toml"), load(CASES / "starter_bigger_port.toml")
    assert small.base is None and big.base == "starter.toml" and not big.assumed
    assert net_area(big.intake.port.stations[1]) > 1.1 * net_area(small.intake.port.stations[1])
    assert not small.warnings and not big.warnings
