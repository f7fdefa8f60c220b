"""What `check` says of the measurements: stations against the burette, compression with its plus or minus."""

import io
import json
from pathlib import Path

import pytest

from waveflow.engine.case import load
from waveflow.engine.section import net_area
from waveflow.show.check import check_data, print_check
from waveflow.show.measured import compression_lines, measured_data, reconciled_ports, spread_of, station_rows

CASES = Path(__file__).parents[2] / "cases"


def case(name, **settings):
    return load(CASES / f"{name}.toml", {key.replace("__", "."): value for key, value in settings.items()} or None)


def words(known):
    out = io.StringIO()
    print_check(known, out)
    return " ".join(out.getvalue().split())


def test_check_shows_every_station_and_the_verdict():
    known = case("n155_race")
    text = words(known)
    assert text.count("all agree within their uncertainty") == 2 and "intake port against its burette" in text
    rows = station_rows(reconciled_ports(known)["intake"])
    assert [row[0] for row in rows] == ["0", "15", "30", "45", "58", "68", "76", "82"]
    assert [row[1] for row in rows] == [f"{1e6 * net_area(s):.0f}" for s in known.intake.port.stations]
    assert not any("!" in row[5] for row in rows)


def test_a_misread_station_is_marked_and_named():
    known = load(CASES / "n155_street.toml", {"intake.port.stations[3].width": "26 mm"})
    found = reconciled_ports(known)["intake"]
    assert not found.agrees and "the station at 45 mm" in found.advice
    assert [row[0] for row in station_rows(found) if "!" in row[5]][:1] == ["45"]
    assert "measure this one again: the station at 45 mm" in words(known)


def test_changed_compression_is_said_with_what_brings_it_back():
    lines = compression_lines(case("n155_race"))
    assert lines[0].startswith("compression 9.38 ± 0.1")
    assert lines[1].startswith("changed compression: 9.78 in n155.toml, 9.38 here, +2.1 cc above the piston")
    assert "a skim of 0.41 mm" in lines[1]  # 2.1 cc over 5102 mm2 of bore
    assert compression_lines(case("n155_pocket"))[1:] == []
    assert compression_lines(case("starter")) == []


def test_the_ratio_of_each_cylinder():
    known = case("n155", compression__chambers="36.5, 36.1, 36.7, 36.7 cc")
    line = compression_lines(known)[1]
    assert line.startswith("by cylinder: 1 9.78, 2 9.86, 3 9.74, 4 9.74; lowest in cylinder 3, highest in cylinder 2")
    assert line.endswith("the run uses 9.78 for all")


def test_margins_given_with_the_values_count():
    usual, wide = spread_of(case("n155")), spread_of(case("n155", compression__chamber="36.5 cc +- 3 cc"))
    assert wide.parts["chamber"] == pytest.approx(10 * usual.parts["chamber"], rel=1e-9)
    assert wide.parts["deck"] == usual.parts["deck"] and wide.ratio == usual.ratio


def test_the_data_are_those_of_the_words():
    known = case("t192")
    data = json.loads(json.dumps(check_data(known)))["measured"]
    assert data == json.loads(json.dumps(measured_data(known)))
    assert data["ports"]["intake"]["agrees"] and len(data["ports"]["intake"]["stations"]) == 9
    assert data["compression"]["ratio"] == pytest.approx(known.compression.ratio)
    assert measured_data(case("starter"))["ports"] == {}
