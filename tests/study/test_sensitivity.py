"""One value at a time: what is varied, what is told, and that the order of finishing does not matter."""

import math
from types import SimpleNamespace

import numpy as np
import pytest

from waveflow.engine.case import load
from waveflow.errors import RunError
from waveflow.study.sensitivity import sensitivity
from waveflow.study.varied import varied_values

STARTER = "cases/starter.toml"


def made_up(case, rpm, *, cell, start=None):
    """Torque linear in the runner's wall temperature and the mixture, filling in the runner's length."""
    torque = 20.0 * (1 - 1e-3 * (case.intake.runner.wall_temperature - 318.15) + (case.fuel.lambda_ - 0.89))
    filling = 0.9 * (1 + (case.intake.runner.length - 0.22))
    return SimpleNamespace(scalars={"torque": torque, "volumetric_efficiency": filling}, converged=True, end_state=np.zeros(2))


@pytest.fixture
def case():
    return load(STARTER, {"intake.runner.length": "220 mm +- 20 mm"})


def test_every_value_with_a_range_is_varied_and_can_be_set(case):
    values = varied_values(case)
    expected = {each.key for each in case.assumptions if each.low is not None} | {"intake.runner.length"}
    assert {each.key for each in values} == expected
    for each in values:
        for overrides in (each.low, each.high):
            changed = case.changed(overrides)
            assert each.key not in {filled.key for filled in changed.assumptions}


def test_known_changes_are_told_and_the_largest_comes_first(case):
    made = sensitivity(case, [3000, 6000], run_point=made_up)
    rows = {row.varied.key: row for row in made.rows}
    assert rows["intake.runner.wall_temperature"].band() == pytest.approx((-0.025, 0.020), abs=1e-9)
    assert rows["fuel.lambda"].band() == pytest.approx((-0.11, 0.06), abs=1e-9)
    assert rows["intake.runner.length"].band("filling") == pytest.approx((-0.02, 0.02), abs=1e-9)
    assert rows["walls.head_temperature"].band() == (0.0, 0.0)
    spreads = [row.spread() for row in made.rows]
    assert spreads == sorted(spreads, reverse=True) and made.rows[0].varied.key == "fuel.lambda"
    for word in ("fuel.lambda", "-11.0 to +6.0 %", "3000, 6000 rpm", "20 mm", "intake.runner.wall_temperature"):
        assert word in made.sentence


def test_result_does_not_depend_on_workers_and_progress_counts_every_run(case):
    told = []
    one = sensitivity(case, 4000, run_point=made_up, workers=1, progress=lambda *seen: told.append(seen))
    assert one == sensitivity(case, 4000, run_point=made_up, workers=3)
    assert [seen[0] for seen in told] == list(range(1, 2 + 2 * len(one.rows))) and {seen[1] for seen in told} == {len(told)}


def test_a_run_that_fails_is_a_reason_and_a_case_that_fails_is_an_error(case):
    def fails(changed, rpm, *, cell, start=None):
        if start is not None and changed.fuel.lambda_ < 0.8:
            raise RunError("too rich")
        return made_up(changed, rpm, cell=cell)

    row = next(row for row in sensitivity(case, 4000, run_point=fails).rows if row.varied.key == "fuel.lambda")
    assert row.failed == "too rich" and math.isnan(row.torque[0][0]) and row.torque[1][0] == pytest.approx(0.06)

    def never(changed, rpm, *, cell, start=None):
        raise RunError("no air")

    with pytest.raises(RunError, match="no air"):
        sensitivity(case, 4000, run_point=never)


def test_range_outside_what_a_case_allows_is_told():
    wide = load(STARTER, {"intake.valve.head_diameter": "33 mm +- 99 %"})
    row = next(row for row in sensitivity(wide, 4000, run_point=made_up).rows if row.varied.key.endswith("head_diameter"))
    assert "below 10 mm" in row.failed


def test_nothing_that_matters_is_said_so(case):
    flat = sensitivity(case, 4000, run_point=lambda *a, **k: SimpleNamespace(
        scalars={"torque": 10.0, "volumetric_efficiency": 0.9}, converged=False, end_state=None))  # fmt: skip
    assert flat.sentence.startswith("No uncertain value moves") and flat.unsettled == 1 + 2 * len(flat.rows)


def test_interruption_ends_at_once(case):
    def stop(*_):
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        sensitivity(case, 4000, run_point=made_up, progress=stop)


def test_warmer_charge_lowers_filling_of_the_real_engine(monkeypatch):
    """Density of the charge falls as walls warm it: the sign of one real run on coarse cells."""
    import waveflow.study.sensitivity as module

    case = load(STARTER, {"run.cell": "40 mm"})
    only = [each for each in varied_values(case) if each.key == "intake.runner.wall_temperature"]
    monkeypatch.setattr(module, "varied_values", lambda case: only)
    (row,) = sensitivity(case, 6000, cell=0.04).rows
    assert row.filling[0][0] > 0.0 > row.filling[1][0]


def test_a_column_moves_as_a_whole_and_a_shut_valve_stays_shut():
    flow = '"18, 34, 48.5, 61, 71.5, 80, 87.5, 93.5, 98, 102.5, 106.5 CFM +- 2 %"'
    sheet = load("cases/n155.toml", {"intake.flow.flow": flow})
    (row,) = [each for each in varied_values(sheet) if each.key == "intake.flow.flow"]
    for ends, factor in ((row.low, 0.98), (row.high, 1.02)):
        moved = sheet.changed(ends).intake.flow.flow
        assert moved == pytest.approx([each * factor for each in sheet.intake.flow.flow], rel=1e-6)
    assert row.low_text == "all 11 - 2 %" and row.mark == "card"
    table = load("cases/n155_race_long_cam_table.toml")
    listed = ", ".join(f"{1e3 * each:.3f}" for each in table.intake.cam.lift)
    table = load("cases/n155_race_long_cam_table.toml", {"intake.cam.lift": f'"{listed} mm +- 0.03 mm"'})
    (row,) = [each for each in varied_values(table) if each.key == "intake.cam.lift"]
    for ends, sign in ((row.low, -1), (row.high, 1)):
        for now, then in zip(table.intake.cam.lift, table.changed(ends).intake.cam.lift, strict=True):
            assert then == pytest.approx(max(now + sign * 3e-5, 0.0) if now > 0 else 0.0, abs=1e-9)


def test_a_list_with_margins_is_one_row():
    lengths = '["380 mm +- 5 mm", "385 mm +- 5 mm", "380 mm +- 5 mm", "390 mm +- 5 mm"]'
    varied = [each for each in varied_values(load("cases/n155.toml", {"exhaust.header.primary_length": lengths}))
              if each.key.startswith("exhaust.header.primary_length")]  # fmt: skip
    assert [each.key for each in varied] == ["exhaust.header.primary_length"] and len(varied[0].low) == 4
    assert varied[0].high_text == "all 4 + 5 mm" and set(varied[0].low.values()) == {"375 mm", "380 mm", "385 mm"}


def test_a_measured_port_moves_as_a_whole_by_its_instruments():
    case = load("cases/n155.toml")
    rows = {each.key: each for each in varied_values(case) if each.key.endswith("port.stations")}
    assert set(rows) == {"intake.port.stations", "exhaust.port.stations"}
    narrow, wide = (case.changed(ends).intake.port.stations for ends in (rows["intake.port.stations"].low,
                                                                         rows["intake.port.stations"].high))  # fmt: skip
    for now, less, more in zip(case.intake.port.stations, narrow, wide, strict=True):
        step = now.resolution
        assert less.width == pytest.approx(now.width - step) and more.width == pytest.approx(now.width + step)
        if now.corner_radius:
            assert more.corner_radius == pytest.approx(now.corner_radius - 0.5e-3)
    two = load(STARTER, {"intake.port.stations[0].width": "30 mm +- 0.5 mm"})
    assert "intake.port.stations[0].width" in {each.key for each in varied_values(two)}


def test_an_enlarged_port_is_not_moved_by_readings_of_another():
    assert not [each for each in varied_values(load("cases/n155_plus15.toml")) if each.key == "intake.port.stations"]
