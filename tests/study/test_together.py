"""The whole job in one call: bands of an ASSUMED option, the wanted speed by area, three grids, one journal."""

from pathlib import Path
from types import SimpleNamespace

import pytest
from made_up import Engine

from waveflow.engine.case import load
from waveflow.study.together import BAND, GRIDS, check_grids, compare_cases

CASES = Path(__file__).parents[2] / "cases"


def case(name):
    return load(CASES / f"{name}.toml")


class ByArea:
    """The made-up engine with a hump that moves 30 rpm for every per cent of area and fills as the valve flows."""

    def __init__(self):
        self.seen = []

    def __call__(self, known, rpm, start=None, max_cycles=None):
        percent = known.enlarge.percent if known.enlarge is not None else 0.0
        flow = known.intake.flow.factor
        self.seen.append((percent, round(flow, 4), rpm))
        centre = 5600.0 + 30.0 * percent
        return Engine(centre=centre, width=3000.0, ripple=0.0, level=0.9 * flow)(known, rpm)


def test_assumed_option_is_run_at_less_and_more_valve_flow():
    engine = ByArea()
    outcome = compare_cases([case("n155"), case("n155_plus15")], [4000.0, 5000.0], run_point=engine, workers=1)
    stock, derived = outcome.comparison.results
    assert stock.flow_band is None and derived.flow_band is not None
    low, high = derived.flow_band
    for edge, share in zip((low, high), BAND, strict=True):
        assert edge.volumetric_efficiency == pytest.approx(share * derived.volumetric_efficiency)
        assert edge.rpm == pytest.approx(derived.rpm)
    assert {flow for percent, flow, _ in engine.seen if percent == 0.0} == {1.0}
    assert {flow for percent, flow, _ in engine.seen if percent == 15.0} == {0.92, 1.0, 1.08}


def test_wanted_speed_is_met_by_the_area_that_meets_it():
    outcome = compare_cases(
        [case("n155"), case("n155_race")], [float(rpm) for rpm in range(3000, 8001, 250)], target="6200 rpm",
        target_of="volumetric_efficiency", run_point=ByArea(), workers=1,
    )  # fmt: skip
    assert outcome.area.met and outcome.area.percent == pytest.approx(20.0, abs=1.0)
    assert "6200 rpm" in outcome.extra[0] and outcome.extra[0].startswith("A port derived from the first option:")


def test_wrong_target_is_told_before_anything_is_run():
    engine = ByArea()
    with pytest.raises(ValueError, match="unit"):
        compare_cases([case("n155"), case("n155_race")], [3000.0], target="6200", run_point=engine)
    assert engine.seen == []


def test_derived_first_option_is_not_derived_again():
    outcome = compare_cases(
        [case("n155_plus15"), case("n155")], [4000.0, 5000.0, 6000.0], target="5000 rpm", run_point=ByArea(), workers=1
    )
    assert outcome.area is None and outcome.extra == ()


class ByCell:
    """Filling that carries an error of second order in the cell, and a peak that moves with it, too."""

    def __call__(self, known, rpm, start=None, max_cycles=None):
        cell = known.run.cell
        centre = 5000.0 + 2e5 * cell**2
        ve = 0.95 * (1.0 + 40.0 * cell**2) * (1.0 - ((rpm - centre) / 4000.0) ** 2)
        scalars = {"rpm": rpm, "volumetric_efficiency": ve, "torque": 140 * ve, "power": 140 * ve * rpm / 9.55,
                   "runner_sound_speed": 345.0}  # fmt: skip
        return SimpleNamespace(scalars=scalars, per_cylinder={}, converged=True, cycles=5, checks={})


def test_three_grids_show_the_order_that_is_there():
    known = case("n155").changed({"run.tolerance": "1e-8", "run.cell": "12 mm"})
    from waveflow.study.sweep import sweep

    result = sweep(known, [4900.0, 4950.0, 5000.0, 5050.0, 5100.0], run_point=ByCell())
    report = check_grids(known, "as cast", result, run_point=ByCell())
    assert report.cells == pytest.approx([known.run.cell * share for share in GRIDS])
    assert report.efficiency.order == pytest.approx(2.0, abs=0.05)
    exact = 0.95 * (1.0 - ((5025.0 - 5000.0) / 4000.0) ** 2)
    assert report.efficiency.limit == pytest.approx(exact, rel=1e-4)
    assert report.peak_speed.order == pytest.approx(2.0, abs=0.05)
    assert report.peak_speed.limit == pytest.approx(5000.0, abs=0.5)
    assert all(sentence.startswith("as cast, cells of 12, 6, 3 mm: ") for sentence in report.sentences)


def test_peak_at_the_end_of_the_range_has_no_grid_report():
    known = case("n155")
    from waveflow.study.sweep import sweep

    result = sweep(known, [2000.0, 2500.0, 3000.0], run_point=ByCell())
    said = check_grids(known, "x", result, run_point=ByCell())
    assert said == "x: no grid check, since the computed speeds hold no VE peak between them."


def test_one_journal_serves_all_options_and_the_search(tmp_path):
    journal = tmp_path / "points.jsonl"
    cases = [case("n155"), case("n155_plus15")]
    speeds = [4000.0, 5000.0, 6000.0, 7000.0]
    straight = compare_cases(cases, speeds, target="6200 rpm", run_point=ByArea(), workers=1, resume=journal)
    again = ByArea()
    resumed = compare_cases(cases, speeds, target="6200 rpm", run_point=again, workers=1, resume=journal)
    assert again.seen == []
    assert [a.as_dict() for a in resumed.comparison.results] == [a.as_dict() for a in straight.comparison.results]
    assert resumed.area == straight.area
