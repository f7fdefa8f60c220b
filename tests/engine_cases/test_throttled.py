"""Residual gas takes the place of charge where an engine is throttled: filling at low over high plenum pressure."""

import pytest
from case_runs import case_of

from waveflow.engine.case import load_text
from waveflow.study.cycle import run_point


def unboosted(plenum: str):
    """T192 as cast without its charger, its intake from this pressure."""
    text = case_of("t192").text
    start = text.index("[charger]")
    end = text.index("\n[", start)
    return load_text(f'{text[:start]}{text[end:]}\n[intake.reservoir]\npressure = "{plenum}"\ntemperature = "295 K"\n')


@pytest.mark.full
@pytest.mark.parametrize(
    "rpm", [pytest.param(1800, marks=pytest.mark.xfail(strict=True, reason="0.836, 0.045 below: see below")), 2500, 3300]
)
def test_filling_at_40_over_100_kpa(rpm):
    """Filling on plenum density at 40 over 100 kPa, exhaust near 1.0 bar: 0.881 to 0.890 at 1800 to 3300 rpm on a 2.3 l
    four-cylinder turbo engine of ratio about 9 (student laboratory measurement, public repository, commit 727655f; the range
    was chosen after looking). Asked within 0.04; a code without residual gas gives 1.00. At 1800 rpm ours is 0.836, 0.045 below
    the measured range: a known miss, perhaps the valve overlap of another cam at low speed."""
    numbers = {p: run_point(unboosted(f"{p} kPa abs"), rpm).scalars for p in (40, 100)}
    ratio = numbers[40]["volumetric_efficiency_plenum"] / numbers[100]["volumetric_efficiency_plenum"]
    assert 0.881 - 0.04 <= ratio <= 0.890 + 0.04
    assert numbers[40]["residual_fraction"] > 1.5 * numbers[100]["residual_fraction"]
