"""Predicted sheets: arithmetic of the series, its limits, and the blind errors on the invented levels (which prove nothing)."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from waveflow.engine.case import load
from waveflow.engine.predict import passage_of, series_of
from waveflow.engine.rig import sheet_areas
from waveflow.engine.valves import valve_flow
from waveflow.study.predicted import predicted_sheet

CASES = Path(__file__).parents[2] / "cases"


def fitted(name="n155", side="intake"):
    table = getattr(load(CASES / f"{name}.toml"), side)
    flow = valve_flow(table.flow, table.valve, side)
    return flow, series_of(flow, passage_of(table, side))


@pytest.mark.parametrize("name", ["n155", "t192"])
@pytest.mark.parametrize("side", ["intake", "exhaust"])
def test_the_measured_port_is_returned_exactly_and_the_fit_is_close(name, side):
    flow, series = fitted(name, side)
    lift = flow.lift_over_diameter * flow.head_diameter
    assert series.area(lift, series.passage) == pytest.approx(series.passage.count * sheet_areas(flow), rel=1e-12)
    assert np.abs(series.misfit - 1.0).max() < 0.07
    assert series.k_valve > 1.0 and series.k_port > 1.0  # neither flows more than its area


def test_twice_the_port_in_every_length_flows_four_times():
    flow, series = fitted()
    p = series.passage
    twice = replace(p, throat=4 * p.throat, tightest=4 * p.tightest, mean=4 * p.mean, diameter=2 * p.diameter)
    lift = flow.lift_over_diameter * flow.head_diameter
    assert series.area(2 * lift, twice) == pytest.approx(4 * series.area(lift, p), rel=1e-12)


def test_a_bigger_throat_helps_at_high_lift_and_hardly_at_the_seat():
    flow, series = fitted()
    lift = flow.lift_over_diameter * flow.head_diameter
    gain = series.area(lift, replace(series.passage, throat=1.1 * series.passage.throat)) / series.area(lift, series.passage)
    assert gain[0] < 1.005 < 1.03 < gain[-1] < 1.10
    assert (np.diff(gain) > 0.0).all()


@pytest.mark.parametrize("engine", ["n155", "t192"])
@pytest.mark.parametrize("level", ["pocket", "street", "race"])
@pytest.mark.parametrize("side", ["intake", "exhaust"])
def test_blind_prediction_is_nearer_than_the_stock_rule(engine, level, side):
    """Root-mean-square over the lifts, on sheets that are invented."""
    made = predicted_sheet(load(CASES / f"{engine}.toml"), load(CASES / f"{engine}_{level}.toml"), side)
    stock = made.stock / made.measured - 1.0
    assert np.sqrt(np.mean(made.error**2)) < np.sqrt(np.mean(stock**2))
    assert (made.low < made.flow).all() and (made.flow < made.high).all()


def test_without_a_sheet_to_start_from_it_is_refused():
    plus = load(CASES / "n155_plus15.toml")
    made = predicted_sheet(load(CASES / "n155.toml"), plus, "intake")
    assert made.measured is None and made.flow[-1] > made.stock[-1]
    with pytest.raises(ValueError, match="starts from a measured sheet"):
        predicted_sheet(plus, plus, "intake")
