"""Models are built once a case, and nothing a run changes reaches another run."""

import pytest
from case_texts import GOOD

from waveflow.engine import valvealone, valves
from waveflow.engine.build import build
from waveflow.engine.built import model_of
from waveflow.engine.case import load, load_text
from waveflow.engine.valves import flow_of


def test_the_same_case_gives_the_same_model():
    case = load_text(GOOD)
    first, again, fresh = model_of(case), model_of(case), build(case)
    assert again.net.geometry is first.net.geometry
    assert (first.net.geometry == fresh.net.geometry).all() and (first.state.cells == fresh.state.cells).all()
    assert model_of(case, 0.02).net.geometry.shape != first.net.geometry.shape


def test_a_changed_copy_is_another_case():
    """A copy keeps its original's digest, so the digest must not decide."""
    case = load_text(GOOD)
    wider = case.model_copy(update={"engine": case.engine.model_copy(update={"bore": 0.085})})
    assert wider.digest == case.digest
    assert model_of(wider).swept > model_of(case).swept


def test_what_a_run_opens_stays_its_own():
    case = load_text(GOOD)
    first = model_of(case)
    first.net.orifice["area_ab"][:] = 1.0
    assert (model_of(case).net.orifice["area_ab"] != 1.0).all()


def test_the_valves_own_share_is_sought_once_for_checks_and_engine(monkeypatch):
    """Twice (intake and exhaust) for a case, not again for another bore, and again on one side where its port is another."""
    asked, seek = [], valvealone.valve_alone
    monkeypatch.setattr(valvealone, "valve_alone", lambda *args: asked.append(args[1].side) or seek(*args))
    valves._alone.cache_clear()
    case = load("cases/starter.toml")
    build(case)
    assert sorted(asked) == ["exhaust", "intake"]
    wider = case.changed({"engine.bore": "82 mm"})
    build(wider)
    assert len(asked) == 2
    rougher = case.changed({"intake.port.roughness": "0.2 mm"})
    build(rougher)
    assert asked[2:] == ["intake"]
    assert (flow_of(rougher, "intake").coefficient > flow_of(case, "intake").coefficient).any()
    assert (flow_of(rougher, "exhaust").coefficient == flow_of(case, "exhaust").coefficient).all()


def test_a_flow_factor_scales_what_is_left_for_the_valve():
    case = load("cases/starter.toml")
    more = case.changed({"intake.flow.factor": 1.02})
    assert flow_of(more, "intake").coefficient == pytest.approx(1.02 * flow_of(case, "intake").coefficient, rel=1e-12)
