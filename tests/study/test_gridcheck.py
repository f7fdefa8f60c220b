"""Observed order and grid convergence index: a published example, manufactured errors, cases without an order."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from waveflow.study.gridcheck import grid_check


def test_the_published_example():
    # Celik, Ghia, Roache, Freitas, Coleman, Raad, J. Fluids Eng. 130 (2008) 078001, table 1, first column:
    # 18000, 8000 and 4500 cells in two dimensions; p = 1.53, extrapolated 6.1685, GCI 2.2 %.
    ratios = (math.sqrt(8000 / 4500), math.sqrt(18000 / 8000))
    check = grid_check([5.863, 5.972, 6.063], ratios, quantity="reattachment length")
    assert check.kind == "converges"
    assert check.order == pytest.approx(1.53, abs=0.01)
    assert check.limit == pytest.approx(6.1685, abs=5e-4)
    assert 100 * check.gci == pytest.approx(2.2, abs=0.05)


@given(
    order=st.floats(0.6, 2.0), limit=st.floats(0.1, 10), size=st.floats(-1, 1).filter(lambda s: abs(s) > 1e-3),
    r32=st.floats(1.3, 3.0), r21=st.floats(1.3, 3.0),
)  # fmt: skip
def test_a_manufactured_error_gives_its_order_and_limit_back(order, limit, size, r32, r21):
    h = (r32 * r21, r21, 1.0)
    values = [limit + 0.01 * limit * size * step**order for step in h]
    check = grid_check(values, (r32, r21))
    assert check.order == pytest.approx(order, abs=1e-5) and check.limit == pytest.approx(limit, rel=1e-7)
    # The index is 1.25 times the true error.
    assert check.gci == pytest.approx(1.25 * abs(values[2] - limit) / values[2], rel=1e-4)
    assert check.kind == "converges"


@given(order=st.floats(0.6, 2.0))
def test_in_the_range_of_the_order_the_indices_fit(order):
    values = [1.0 + 1e-4 * step**order for step in (4.0, 2.0, 1.0)]
    assert grid_check(values, 2.0).in_range == pytest.approx(1.0, abs=2e-3)


def test_a_lucky_order_is_not_used():
    values = [1.0 + 1e-3 * step**4.0 for step in (4.0, 2.0, 1.0)]
    check = grid_check(values, 2.0)
    assert check.order == pytest.approx(4.0) and "taken with order 2" in check.sentence
    assert check.gci == pytest.approx(1.25 * 15e-3 / 3.0 / values[2])


@pytest.mark.parametrize(
    ("values", "noise", "kind", "says"),
    [
        ([1.010, 0.998, 1.001], 0.0, "oscillates", "swings around its limit"),
        ([1.001, 0.998, 1.010], 0.0, "diverges", "swings do not fall"),
        ([1.0, 1.01, 1.03], 0.0, "diverges", "does not converge"),
        ([1.0, 1.0, 1.03], 0.0, "diverges", "does not converge"),
        ([1.0, 1.0, 1.0], 0.0, "same", "does not change"),
        ([1.0, 1.1, 1.1], 0.0, "same", "though it does from the coarse one"),
        ([1.0001, 1.0002, 1.0001], 3e-4, "same", "does not change"),
        ([1.0, 1.010, 1.018], 0.0, "slow", "too coarse"),
    ],
)
def test_the_cases_without_an_order_are_said(values, noise, kind, says):
    check = grid_check(values, 2.0, quantity="volumetric efficiency", noise=noise)
    assert check.kind == kind and says in check.sentence and check.sentence.startswith("Volumetric efficiency")
    assert "nan" not in check.sentence
    if kind == "diverges":
        assert math.isnan(check.gci) and math.isnan(check.limit)
    else:
        assert check.gci >= 0.0


def test_half_the_span_stands_for_a_swinging_value():
    assert grid_check([1.02, 0.99, 1.0], 2.0).gci == pytest.approx(0.015)


def test_a_value_of_zero_gives_no_share():
    assert "not to be given" in grid_check([0.4, 0.1, 0.0], 2.0).sentence


@pytest.mark.parametrize(
    ("values", "ratio"),
    [([1, 2, float("nan")], 2.0), ([1, 2, 3], 1.0), ([1, 2, 3], (2.0, 0.5)), ([1, 2, 3], (0.5, 2.0))],
)
def test_senseless_questions_are_refused(values, ratio):
    with pytest.raises(ValueError):
        grid_check(values, ratio)


@given(values=st.lists(st.floats(-1e6, 1e6), min_size=3, max_size=3), r32=st.floats(1.01, 9), r21=st.floats(1.01, 9))
def test_any_three_values_get_a_sentence(values, r32, r21):
    check = grid_check(values, (r32, r21))
    assert check.kind in {"converges", "slow", "oscillates", "diverges", "same"}
    assert check.sentence.endswith(".") and "nan" not in check.sentence
    assert math.isnan(check.gci) or check.gci >= 0.0
