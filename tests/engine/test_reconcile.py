"""Stations against the burette: closed forms of the adjustment, planted mistakes, and the demo ports."""

import dataclasses
import math

import numpy as np
import pytest
from demo_parts import ENGINES, LEVELS, port, station, toml

from waveflow.engine.port import AreaCurve
from waveflow.engine.reconcile import (
    BURETTE_ERROR,
    DOUBT,
    adjust,
    against,
    reading_error,
    reconcile,
    resolution_of,
    station_error,
)
from waveflow.engine.section import Station, net_area


def test_the_worked_example_of_three_stations_and_a_burette():
    """800 mm2 at 0, 50 and 100 mm, one sigma 10, 20 and 10 mm2; trapezes hold 80 cc, the burette says 81 +- 0.3 cc.

    The misfit r = 1 cc has the variance s2 = sum (weight x sigma)^2 + 0.3^2 = 0.25^2 + 1^2 + 0.25^2 + 0.09 = 1.215 cc2;
    every area takes sigma^2 weight r / s2, and each reading is r / sqrt(s2) of its own uncertainty away.
    """
    sigma, weight = np.array([10.0, 20.0, 10.0]), np.array([25.0, 50.0, 25.0])
    design = np.vstack([np.eye(3), weight])
    made = adjust(design, np.array([0.0, 0.0, 0.0, 1000.0]), np.array([*sigma, 300.0]))
    variance = 1.215e6
    assert made.correction[:3] == pytest.approx(sigma**2 * weight * 1000 / variance, rel=1e-9)
    assert made.correction[:3] == pytest.approx([2.0576, 16.461, 2.0576], rel=1e-4)
    assert made.correction[3] == pytest.approx(-(300.0**2) * 1000 / variance, rel=1e-9)
    assert made.doubt == pytest.approx([1000 / math.sqrt(variance)] * 4, rel=1e-9)
    assert made.squares == pytest.approx(1e6 / variance, rel=1e-9)
    # an error of one reading by what is said to be noticed gives just that doubt
    for number in range(4):
        spoilt = np.zeros(4)
        spoilt[number] = made.noticed[number]
        assert adjust(design, spoilt, np.array([*sigma, 300.0])).doubt[number] == pytest.approx(DOUBT, rel=1e-9)


def test_a_reading_nobody_checks_is_not_judged():
    made = adjust(np.eye(2), np.array([1.0, 2.0]), np.array([0.1, 0.1]))
    assert (made.doubt == 0).all() and np.isinf(made.noticed).all()


def test_residuals_do_not_hang_on_the_unit_of_length():
    rows, _, burette = port("n155", "as_cast", "intake")
    far = reconcile(rows, 1.05 * burette)
    volume = AreaCurve.from_stations(rows).volume()
    assert far.stations_volume == pytest.approx(volume, rel=1e-9)
    assert far.fitted_volume == pytest.approx(1.05 * burette, rel=0.02) and far.fitted_volume < far.volume
    assert all(each.fitted > each.measured for each in far.stations if each.at in (0.0, 0.03))


@pytest.mark.parametrize("engine", ENGINES)
@pytest.mark.parametrize("level", LEVELS)
@pytest.mark.parametrize("side", ["intake", "exhaust"])
def test_every_demo_port_agrees_with_its_burette(engine, level, side):
    rows, _, burette = port(engine, level, side)
    found = reconcile(rows, burette)
    assert found.agrees and found.advice == "all agree within their uncertainty" and found.chi < 1.0
    assert found.stations_volume / burette == pytest.approx(1, abs=0.01)
    assert found.freedom == len(rows) - 1


@pytest.mark.parametrize(("at", "factor"), [(0.015, 1.25), (0.030, 1.25), (0.045, 0.75), (0.058, 1.3)])
def test_a_station_misread_is_the_one_to_measure_again(at, factor):
    rows, _, burette = port("n155", "street", "intake")
    spoilt = [dataclasses.replace(s, width=s.width * factor) if abs(s.at - at) < 1e-9 else s for s in rows]
    found = reconcile(spoilt, burette)
    worst = max(found.stations, key=lambda each: each.doubt)
    assert not found.agrees and worst.at == pytest.approx(at)
    assert found.advice.startswith(f"measure this one again: the station at {1e3 * at:g} mm")
    assert (worst.fitted < worst.measured) == (factor > 1)


def test_a_burette_that_nothing_explains_is_named():
    rows, _, burette = port("t192", "street", "intake")
    found = reconcile(rows, 1.25 * burette)
    assert found.volume_doubt > DOUBT and "the burette volume" in found.advice


def test_noise_as_large_as_stated_gives_a_chi_near_one():
    """Without the weak evenness nothing but the stated errors acts: the doubt of the burette is a standard normal."""
    random = np.random.default_rng(5)
    rows = [Station(x / 1e3, "round", 0.033, resolution=0.3e-3) for x in range(0, 90, 10)]
    error = station_error(rows[0])
    doubts = []
    for _ in range(300):
        made = [dataclasses.replace(s, shape="measured", area=net_area(s) + random.normal(0, error)) for s in rows]
        volume = net_area(rows[0]) * 0.08 * (1 + random.normal(0, 1 / 80))
        volume += random.normal(0, math.hypot(BURETTE_ERROR[0], BURETTE_ERROR[1] * volume))
        doubts.append(reconcile(made, volume, straight=True).volume_doubt)
    assert 0.85 < math.sqrt(np.mean(np.square(doubts))) < 1.15


def test_the_rule_of_uncertainty():
    gauge = Station(0, "round", 0.03, resolution=0.05e-3, instrument="ball gauge")
    assert reading_error(gauge) == pytest.approx(math.pi * 0.03 / 2 * 0.05e-3, rel=1e-9)
    assert station_error(gauge) == pytest.approx(math.hypot(reading_error(gauge), 0.01 * net_area(gauge)), rel=1e-9)
    box = Station(0, "rounded rectangle", 0.03, 0.02, 0.005, resolution=0.1e-3)
    exact = math.sqrt((0.02 * 1e-4) ** 2 + (0.03 * 1e-4) ** 2 + (2 * (4 - math.pi) * 0.005 * 0.5e-3) ** 2)
    assert reading_error(box) == pytest.approx(exact, rel=0.05)
    pair = dataclasses.replace(gauge, branches=2, blocked_area=3e-5)
    assert station_error(pair) == pytest.approx(
        2 * math.sqrt(reading_error(gauge) ** 2 + (0.01 * net_area(gauge)) ** 2 + 3e-6**2), rel=1e-9
    )
    words = {"silicone mould, sliced": 0.3e-3, "inside caliper": 0.1e-3, "": 0.2e-3}
    assert {text: resolution_of(Station(0, instrument=text)) for text in words} == words
    square = Station(0, "outline", points=((0, 0), (0.03, 0), (0.03, 0.03), (0, 0.03)), resolution=1e-4)
    assert reading_error(square) == pytest.approx(0.12 * 0.5e-4)


def test_the_low_cylinder_of_the_finished_head_is_told_by_its_bowl():
    reference, _, _ = port("t192", "street", "intake")
    reference = [dataclasses.replace(s, resolution=0.05e-3) for s in reference]
    low = toml("inspection_t192")["stations_after_work"]["cylinder_4"]["intake"]
    fourth = [dataclasses.replace(station(row), resolution=row["resolution_mm"] / 1e3, instrument="ball gauge")
              for row in low]
    rows, words = against(fourth, reference)
    assert [round(1e3 * row.at) for row in rows] == [45, 68, 80, 88]
    # 28.6 mm for 29.2 mm, the stem of 28.3 mm2 off both
    expected = (math.pi / 4 * 28.6**2 - 28.3) / (math.pi / 4 * 29.2**2 - 28.3) - 1
    assert words.startswith(f"the station at 80 mm (ball gauge) differs: {expected:+.1%} of area")
    assert [row.doubt > DOUBT for row in rows] == [False, False, True, False]
    same, words = against(reference, reference)
    assert max(row.doubt for row in same) == 0 and words == "no station differs beyond what the instruments read"
    with pytest.raises(ValueError):
        against([Station(0.2, width=0.03)], reference)


def test_what_cannot_be_reconciled_is_refused():
    with pytest.raises(ValueError):
        reconcile([Station(0, width=0.03)], 1e-5)
    with pytest.raises(ValueError):
        reconcile([Station(0, width=0.03), Station(0.1, width=0.03)], 0.0)
