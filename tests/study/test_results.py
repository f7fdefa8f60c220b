"""Arrays by name, gaps, words, units, and the way to JSON and back."""

from __future__ import annotations

import copy
import json
import math
import pickle
from types import SimpleNamespace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from made_up import Engine, make_case

from waveflow.study.columns import COLUMNS
from waveflow.study.records import PointRecord, record_of
from waveflow.study.results import SweepResult, shown, words_of
from waveflow.study.sweep import sweep


@pytest.fixture
def result():
    return sweep(make_case(stock_flow=True, option="race"), [3000, 2000, 4000], run_point=Engine(broken=(4000,)))


def test_columns_are_attributes_of_the_lists_length(result):
    for name in COLUMNS:
        assert getattr(result, name).shape == (3,)
    assert result.torque[0] == result.column("torque")[0] and np.isnan(result.torque[2])
    assert np.isnan(result.gross_torque).all()  # a known column that this engine does not give
    assert result.names[:2] == ("rpm", "volumetric_efficiency") and "torque" in dir(result)
    speeds, torque = result.ordered("torque")
    assert speeds.tolist() == [2000, 3000] and torque.tolist() == [result.torque[1], result.torque[0]]


def test_a_slip_in_a_name_gets_the_nearest_one(result):
    with pytest.raises(AttributeError, match="did you mean 'torque'"):
        _ = result.torqe


def test_arrays_cannot_be_written_to(result):
    for array in (result.rpm, result.torque, result.converged, result.per_cylinder["volumetric_efficiency"]):
        with pytest.raises(ValueError, match="read-only"):
            array[0] = 1


def test_words_for_a_result(result):
    assert repr(result) == "<SweepResult 'race': 3 speeds, 2000 to 4000 rpm, 1 failed, ASSUMED>"
    assert result.assumed and "stock valve coefficient" in result.facts.assumed_why[0]
    page = result._repr_html_()
    assert page.count("<tr>") == 4 and "above the gas table" in page


def test_hostile_names_are_escaped_in_notebooks():
    page = sweep(make_case(option="<script>x</script>"), [3000], run_point=Engine())._repr_html_()
    assert "<script>" not in page


def test_copies_are_the_same(result):
    for made in (copy.deepcopy(result), pickle.loads(pickle.dumps(result)), SweepResult.from_dict(result.as_dict())):
        assert json.dumps(made.as_dict()) == json.dumps(result.as_dict())
        assert repr(made) == repr(result)


def test_json_is_strict(result):
    text = json.dumps(result.with_flow_band(result, result).as_dict(), allow_nan=False)
    back = SweepResult.from_dict(json.loads(text))
    assert back.flow_band[1].torque[0] == result.torque[0] and np.isnan(back.torque[2])
    assert back.failed == dict(result.failed) and back.facts == result.facts


@pytest.mark.parametrize("spoil", [lambda d: d.pop("rpm"), lambda d: d["rpm"].append(1), lambda d: d.update(case=3)])
def test_spoiled_data_are_refused(result, spoil):
    data = json.loads(json.dumps(result.as_dict()))
    spoil(data)
    with pytest.raises(ValueError):
        SweepResult.from_dict(data)


@given(
    numbers=st.lists(st.floats(), min_size=1, max_size=6),
    ve=st.floats(allow_nan=False, allow_infinity=False),
    word=st.text(max_size=5),
)
def test_a_record_keeps_every_bit_through_json(numbers, ve, word):
    point = SimpleNamespace(
        scalars={"volumetric_efficiency": ve, "torque": 1.0, "power": 2.0, "other": numbers[0]},
        per_cylinder={"torque": np.array(numbers)},
        converged=np.bool_(True),
        cycles=np.int64(5),
        checks={"note": word, "sizes": np.array(numbers), 3: (1, None, True)},
    )
    record = record_of(3000.0, point)
    back = PointRecord.from_dict(json.loads(json.dumps(record.as_dict(), allow_nan=False)))
    assert json.dumps(back.as_dict()) == json.dumps(record.as_dict())
    for a, b in zip(back.per_cylinder["torque"], numbers, strict=True):
        assert a == b and math.copysign(1, a) == math.copysign(1, b) or math.isnan(a) and math.isnan(b)
    assert back.scalars["volumetric_efficiency"] == ve


def test_every_column_has_words_and_a_known_unit():
    for name, (unit, words) in COLUMNS.items():
        assert unit in {"rpm", "1", "N m", "W", "Pa", "K", "kg/s", "m/s", "deg"} and words == words_of(name)


def test_users_units():
    for name, si, user, unit in [
        ("power", 75000.0, 75.0, "kW"),
        ("volumetric_efficiency", 0.95, 95.0, "%"),
        ("exhaust_temperature", 273.15, 0.0, "deg C"),
        ("peak_pressure", 6.5e6, 6500.0, "kPa"),
        ("air_flow", 0.05, 50.0, "g/s"),
        ("rpm", 3000.0, 3000.0, "rpm"),
        ("port_mach_mean", 0.3, 0.3, "1"),
    ]:
        values, name_of_unit, _ = shown(name, [si])
        assert values[0] == pytest.approx(user) and name_of_unit == unit


def test_every_input_goes_into_the_result_with_its_mark_and_comes_back():
    from waveflow.engine.case import load
    from waveflow.study.results import assemble
    from waveflow.study.sweep import facts_of

    facts = facts_of(load("cases/n155.toml"), 0.36)
    rows = {each["key"]: each for each in facts.inputs}
    assert facts.inputs[0]["mark"] == "guess" and rows["engine.bore"]["mark"] == "card"
    station = rows["intake.port.stations[0].width"]
    assert (station["value"], station["plus_minus"], station["instrument"]) == ("33 mm", "0.05 mm", "inside caliper")
    result = assemble(facts, [], {})
    assert SweepResult.from_dict(json.loads(json.dumps(result.as_dict()))).facts == facts
    old = result.as_dict()
    del old["case"]["inputs"]  # as written before inputs were kept
    assert SweepResult.from_dict(old).facts.inputs == ()
