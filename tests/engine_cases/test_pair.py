"""A port that splits to two valves: two true branches against one duct of their area, and what the case must say for it."""

import pytest
from case_runs import case_of, run

from waveflow.engine.build import build
from waveflow.errors import CaseError
from waveflow.physics import layout as lay

PAIR = {"intake.port.pair": "two branches"}


def test_branches_share_area_and_volume_from_the_split_on():
    """Two pipes of half the area each from the station where branches begin; the gas in all intakes is the same (1e-9)."""
    one, two = build(case_of("t192")), build(case_of("t192", PAIR))
    second = [pipe for pipe in two.pipes if pipe.name == "intake branch 2"]
    assert {pipe.cylinder for pipe in second} == {0, 1, 2, 3}
    runner = case_of("t192").intake.runner
    split = 0.6133 * 0.5 * runner.inlet_diameter + runner.length + 0.068  # mouth's end correction, runner, first pair's station
    assert {round(float(pipe.faces[0]), 9) for pipe in second} == {round(split, 9)}
    volume = [sum(float((m.net.geometry[lay.AREA] * m.net.geometry[lay.LENGTH])[p.first : p.first + len(p.faces) - 1].sum())
                  for p in m.pipes if p.name.startswith("intake")) for m in (one, two)]  # fmt: skip
    assert volume[1] == pytest.approx(volume[0], rel=1e-9)
    valves = two.net.end[two.net.end["role"] == 1]
    assert len(valves) == 8 and valves["area"].sum() == pytest.approx(one.net.end[one.net.end["role"] == 1]["area"].sum())


def test_a_true_pair_breathes_like_its_equivalent_duct():
    """Equal branches, equal valves, no loss at the split: within 0.5 % of filling."""
    one, two = run("t192", 2500), run("t192", 2500, PAIR)
    assert two.converged and two.checks["mass_balance"] < 1e-10 and two.checks["energy_balance"] < 1e-10
    assert two.scalars["volumetric_efficiency"] == pytest.approx(one.scalars["volumetric_efficiency"], rel=5e-3)


def test_a_pair_needs_a_split():
    with pytest.raises(CaseError) as told:
        case_of("n155", PAIR)
    (found,) = told.value.problems
    assert found.key == "intake.port.pair" and "one a valve" in found.message and "one equivalent duct" in found.hint
