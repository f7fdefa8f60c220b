"""A charger told wrongly: every sentence, word for word; and what a charger that is told right has."""

import pytest
from case_texts import GOOD

from waveflow.engine.case import load_text
from waveflow.errors import CaseError

BALANCE = """
[charger]
kind = "power balance"
boost = "80 kPa gauge"
turbine_area = "350 mm2"
"""
MEASURED = """
[charger]
kind = "measured exhaust pressure"
boost = "80 kPa gauge"
speed = "2000, 4000 rpm"
exhaust_pressure = "150, 190 kPa abs"
"""
RATIO = """
[charger]
kind = "exhaust ratio"
boost = "80 kPa gauge"
ratio = "1.3 +- 0.2"
"""
PLAIN = GOOD.replace('silencer_at = "500 mm"\nsilencer_volume = "5 L"\nsilencer_length = "400 mm"\n', "")
RESERVOIR = '\n[intake.reservoir]\npressure = "180 kPa abs"\ntemperature = "320 K"\n'

BAD = [
    (BALANCE, 'boost = "80 kPa gauge"', 'boost = "80 kPa"', [
        'charger.boost = "80 kPa": says neither "abs" nor "gauge" (allowed 80 to 700 kPa abs: charge before the throttle); '
        'write "80 kPa abs" or "80 kPa gauge"']),
    (BALANCE, 'boost = "80 kPa gauge"', 'boost = "90 kPa abs"', [
        'charger.boost = "90 kPa abs": not above the ambient pressure of 101 kPa abs; an engine without boost '
        'needs no charger']),
    (BALANCE, 'boost = "80 kPa gauge"', 'boost = "400 kPa gauge"', [
        'charger.boost = "400 kPa gauge": 5.1 times the pressure before the compressor (allowed at most 4.5 times: one '
        'compressor stage); did you mean psi?']),
    (BALANCE, 'turbine_area = "350 mm2"\n', "", [
        'charger.turbine_area: missing; add turbine_area = "420 mm2" or what it is']),
    (BALANCE, 'kind = "power balance"', 'kind = "turbine map"', [
        'charger.kind = "turbine map": not one of the kinds (allowed "power balance", "measured exhaust '
        'pressure" or "exhaust ratio"); did '
        'you mean kind = "power balance"?']),
    (BALANCE, "boost =", 'charge_temperature = "10 degC"\nboost =', [
        'charger.charge_temperature = "10 degC": colder than the ambient air of 20 degC that cools it '
        '(allowed at least 20 degC); '
        'was the day colder?']),
    (BALANCE, "boost =", 'cooler = "none"\ncharge_temperature = "45 degC"\nboost =', [
        'charger.charge_temperature = "45 degC": colder than a perfect compressor without a cooler would leave it (allowed at '
        'least 75.15 degC); describe the cooler: cooler = "air"']),
    (BALANCE, "boost =", 'charge_temperature = "45 degC"\ncooler_effectiveness = "70 %"\nboost =', [
        'charger.cooler_effectiveness = "70 %": given beside charge_temperature; leave one of the two out']),
    (BALANCE, "boost =", 'charge_pipe_length = "900 mm"\nboost =', [
        'charger.charge_pipe_diameter: missing beside the other; add charge_pipe_diameter = "55 mm" or what it is']),
    (BALANCE, 'turbine_area = "350 mm2"', 'turbine_area = "60 mm2"\nwastegate_area = "20 mm2"', [
        'charger.turbine_area = "60 mm2": with the wastegate wide open, full flow at 7500 rpm would need '
        'about 994.6 kPa abs before '
        'the turbine (allowed at most 543 kPa abs); a larger turbine_area or wastegate_area']),
    (MEASURED, '"150, 190 kPa abs"', '"99, 190 kPa abs"', [
        'charger.exhaust_pressure[0] = "99 kPa abs": not above the ambient pressure of 101 kPa abs (exhaust '
        'flows out); gauge or '
        'absolute?']),
    (MEASURED, '"150, 190 kPa abs"', '"150, 190, 220 kPa abs"', [
        'charger.exhaust_pressure = "150, 190, 220 kPa abs": 3 values for 2 speeds']),
    (MEASURED, '"2000, 4000 rpm"', '"4000, 2000 rpm"', [
        'charger.speed[1] = "2000 rpm": not above the one before it (allowed above 4000 rpm)']),
    (MEASURED, "speed =", 'turbine_area = "350 mm2"\nspeed =', [
        'charger.turbine_area = "350 mm2": does not go with kind = "measured exhaust pressure"; it belongs to kind = '
        '"power balance"']),
    (RATIO, '"1.3 +- 0.2"', "0.5", [
        'charger.ratio = 0.5: puts the exhaust at 90.5 kPa abs, below ambient (allowed above 0.56: exhaust flows out)']),
    (RATIO, '"1.3 +- 0.2"', "13", ["charger.ratio = 13: above 5 (allowed 0.4 to 5: exhaust over plenum, both absolute); "
                                   "did you mean 1.3?"]),
    (RESERVOIR + BALANCE, "", "", ["intake.reservoir: the charger says the charge; leave one of the two out"]),
]  # fmt: skip


@pytest.mark.parametrize(("table", "old", "new", "expected"), BAD, ids=lambda each: each[:40] if isinstance(each, str) else "")
def test_every_sentence(table, old, new, expected):
    with pytest.raises(CaseError) as caught:
        load_text(PLAIN + (table.replace(old, new, 1) if old else table), "engine.toml")
    assert [str(each).split(": ", 1)[1] for each in caught.value.problems] == expected


def test_a_silencer_stands_behind_the_turbine():
    with pytest.raises(CaseError) as caught:
        load_text(GOOD + BALANCE, "engine.toml")
    assert [each.key for each in caught.value.problems] == ["exhaust.header.silencer_at"]
    assert "charger.behind_turbine" in caught.value.problems[0].hint


@pytest.mark.parametrize("table", [BALANCE, MEASURED, RATIO])
def test_a_charger_told_right(table):
    case = load_text(PLAIN + table, "engine.toml")
    assert case.boost_controlled and case.charger.boost == pytest.approx(181e3)
    assert not load_text(PLAIN, "engine.toml").boost_controlled
    guesses = {each.key for each in case.assumptions if each.mark == "guess"}
    assert {"charger.cooler_effectiveness", "charger.compressor_efficiency", "charger.filter_loss"} <= guesses
    assert ("charger.turbine_efficiency" in guesses) == (table is BALANCE)


def test_a_ratio_keeps_its_bounds():
    case = load_text(PLAIN + RATIO, "engine.toml")
    assert [each.key for each in case.uncertain] == ["charger.ratio"]
