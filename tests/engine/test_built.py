"""Models are built once a case, and nothing a run changes reaches another run."""

from case_texts import GOOD

from waveflow.engine.build import build
from waveflow.engine.built import model_of
from waveflow.engine.case import load_text


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
