"""The second demo engine as cases: equal to the sheets it was made from, its planted traps told, the sheet's charger."""

from pathlib import Path

import pytest
from demo_parts import CFM, INCH_OF_WATER, LEVELS, port, toml

from waveflow.engine.case import load, load_text
from waveflow.engine.compression import ratio_from_clearance
from waveflow.engine.section import net_area
from waveflow.errors import CaseError

CASES = Path(__file__).parents[2] / "cases"


def t192(level, cam="road"):
    name = "t192" + ("" if level == "as_cast" else f"_{level}") + ("_long_cam" if cam == "long" else "")
    return load(CASES / f"{name}.toml")


def told(case):
    return " ".join(str(each) for each in case.warnings)


@pytest.mark.parametrize("level", LEVELS)
@pytest.mark.parametrize("side", ["intake", "exhaust"])
def test_stations_and_flow_are_those_of_the_sheets(level, side):
    part, made = getattr(t192(level), side), toml("ports_t192")["level"][level]
    expected, areas, burette = port("t192", level, side)
    for station, wanted, area in zip(part.port.stations, expected, areas, strict=True):
        assert (station.shape, station.branches, station.note) == (wanted.shape, wanted.branches, wanted.note)
        assert (station.at, station.width, station.blocked_area) == pytest.approx(
            (wanted.at, wanted.width, wanted.blocked_area), rel=1e-12
        )
        # one duct of both branches' area; the sheet's own areas are rounded to 1 mm2
        assert net_area(station) == pytest.approx(area, abs=0.51e-6)
    assert part.port.burette_volume == pytest.approx(burette)
    sheet = toml("flow_t192")["sheet"][level]
    assert part.flow.flow == pytest.approx([value * CFM for value in sheet[f"{side}_CFM"]])
    assert part.flow.lift == pytest.approx([value * 1e-3 for value in sheet["lift_mm"]])
    assert (part.valve.count, part.flow.valves_open) == (2, 2) and part.flow.leak == pytest.approx(1.5 * CFM)
    assert part.valve.head_diameter == pytest.approx(made[f"{side}_valve_mm"] * 1e-3)


@pytest.mark.parametrize(("cam", "card"), [("road", "T192-S"), ("long", "T192-R")])
@pytest.mark.parametrize("level", LEVELS)
def test_cams_are_those_of_the_card(cam, card, level):
    (wanted,) = [each for each in toml("cams")["cam"] if each["id"] == card]
    for side in ("intake", "exhaust"):
        ours, theirs = getattr(t192(level, cam), side).cam, wanted[side]
        assert (ours.lobe_lift, ours.lash) == pytest.approx((theirs["lobe_lift_mm"] * 1e-3, theirs["lash_mm"] * 1e-3))
        assert (ours.duration, ours.second_duration) == (theirs["duration_050_deg"], theirs["duration_advertised_deg"])
        assert (ours.lobe_centre, ours.rocker_ratio) == (theirs["lobe_centre_deg"], 1)


def test_the_measured_lobe_is_that_of_the_card():
    cam, card = load(CASES / "t192_race_long_cam_table.toml").intake.cam, t192("race", "long").intake.cam
    rows = toml("cams")["lift_table"]["T192-R"]["intake"]["lobe_lift"]
    assert cam.angle == tuple(row["crank_deg_after_TDC"] for row in rows)
    assert cam.lift == pytest.approx([row["lobe_lift_mm"] * 1e-3 for row in rows])
    assert max(cam.lift) == pytest.approx(card.lobe_lift, rel=0.002) and cam.lash == card.lash


@pytest.mark.parametrize(("boost", "which"), [("", "street"), ("_high_boost", "race")])
def test_the_charger_is_that_of_the_sheet_for_every_level_and_cam(boost, which):
    turbo = toml("engine_t192")["turbo"]
    for level in ("", "_pocket", "_street", "_race"):
        for cam in ("", "_long_cam"):
            case = load(CASES / f"t192{level}{cam}{boost}.toml")
            c, gauge = case.charger, turbo[f"boost_gauge_kPa_{which}"]
            assert c.boost - case.ambient.pressure == pytest.approx(1e3 * gauge) and case.boost_controlled
            assert c.charge_temperature - 273.15 == pytest.approx(turbo[f"charge_temperature_C_{which}"])
            assert (c.compressor_efficiency, c.turbine_efficiency) == (
                turbo["compressor_efficiency"], turbo["turbine_efficiency"]
            )  # fmt: skip
            assert c.turbine_area == pytest.approx(1e-6 * turbo["turbine_equivalent_nozzle_area_mm2"])
            assert (c.charge_pipe_length, c.charge_pipe_diameter) == pytest.approx((0.9, 0.055))
            assert (c.filter_loss, c.filter_loss_at, c.manifold_volume) == pytest.approx((2e3, 0.2, 420e-6))
            assert case.intake.reservoir is None and case.exhaust.reservoir is None
            assert case.ideal.start_angle is None


def test_the_chamber_takes_the_ratio_with_it():
    for level, ratio in (("as_cast", 8.80), ("race", 8.65)):
        case = t192(level)
        assert case.compression.ratio == pytest.approx(ratio, abs=0.006)
        assert case.compression.chamber == pytest.approx(toml("ports_t192")["level"][level]["chamber_cc"] * 1e-6)
        assert ratio_from_clearance(case.swept_volume, case.clearance_volume) == pytest.approx(case.compression.ratio)


def test_the_step_at_the_runner_is_told_where_it_is_and_gone_where_it_was_matched():
    assert "a step at the runner's joint with the head: 1164 mm2 runs into 1317 mm2, +13% of area" in told(t192("as_cast"))
    assert "runner's joint" in told(t192("pocket"))
    assert "runner's joint" not in told(t192("street")) + told(t192("race"))


def test_the_foreign_sheet_is_flagged_wherever_it_is_used():
    case = load(CASES / "t192_street_other_bench.toml")
    assert "OTHER BENCH" in told(case) and "OTHER BENCH" not in told(t192("street"))
    sheet = toml("flow_t192")["sheet_other_bench"]
    assert case.intake.flow.lift == pytest.approx([value * 0.0254 for value in sheet["lift_inch"]])
    assert case.intake.flow.flow == pytest.approx([value * CFM for value in sheet["intake_CFM"]])
    assert case.intake.flow.depression == pytest.approx(10 * INCH_OF_WATER) and case.intake.flow.other_bench
    assert case.exhaust.flow == t192("street").exhaust.flow


def test_the_band_beyond_the_redline_is_told():
    assert "your band ends beyond the redline of 7800 rpm" in told(t192("race", "long"))
    assert "redline" not in told(t192("race")) and t192("as_cast").range.band[1] < t192("as_cast").engine.redline


def test_an_advertised_duration_without_its_height_is_refused(tmp_path):
    text = t192("as_cast").text
    lines = [line for line in text.splitlines() if not line.startswith("second_duration_at")]
    assert len(text.splitlines()) - len(lines) == 2
    with pytest.raises(CaseError) as told_so:
        load_text("\n".join(lines))
    assert len(told_so.value.problems) == 2
    assert all("second_duration_at: missing" in str(each) and "means nothing" in str(each)
               for each in told_so.value.problems)  # fmt: skip


def test_the_ports_of_every_level_agree_with_their_burette():
    for level in LEVELS:
        assert "do not fit each other" not in told(t192(level))
