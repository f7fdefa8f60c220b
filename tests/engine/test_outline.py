"""A mould slice as points round it: polygons in closed form, the limit of a circle, and the way through a case file."""

import math

import numpy as np
import pytest
from case_texts import GOOD
from hypothesis import given
from hypothesis import strategies as st

from waveflow.engine.case import load, load_text
from waveflow.engine.derive import enlarge, scale_area
from waveflow.engine.section import Station, net_area, net_perimeter, polygon, section
from waveflow.errors import CaseError

RECTANGLE = ((0.0, 0.0), (0.04, 0.0), (0.04, 0.03), (0.0, 0.03))


def circle(points, diameter=0.033):
    angle = 2 * np.pi * np.arange(points) / points
    return [(diameter / 2 * math.cos(a), diameter / 2 * math.sin(a)) for a in angle]


@pytest.mark.parametrize(("points", "area", "perimeter"), [
    (RECTANGLE, 12e-4, 0.14),
    (((0, 0), (0.03, 0), (0, 0.04)), 6e-4, 0.12),
    (((0, 0), (0.04, 0), (0.04, 0.01), (0.01, 0.01), (0.01, 0.03), (0, 0.03)), 6e-4, 0.14),
    (circle(6, 0.02), 1.5 * math.sqrt(3) * 1e-4, 0.06),
])  # fmt: skip
def test_known_polygons(points, area, perimeter):
    assert polygon(points) == pytest.approx((area, perimeter), rel=1e-9)
    assert polygon(points[::-1]) == pytest.approx((area, perimeter), rel=1e-9)
    assert polygon([*points, points[0]]) == pytest.approx((area, perimeter), rel=1e-9)
    assert section("outline", points=points) == polygon(points)


@given(st.floats(-0.2, 0.2), st.floats(-0.2, 0.2), st.floats(0, 2 * math.pi))
def test_where_the_slice_lies_on_the_paper_does_not_matter(dx, dy, turn):
    c, s = math.cos(turn), math.sin(turn)
    moved = [(dx + c * x - s * y, dy + s * x + c * y) for x, y in RECTANGLE]
    assert polygon(moved) == pytest.approx((12e-4, 0.14), rel=1e-9)


def test_more_points_come_nearer_to_the_circle_at_second_order():
    whole = math.pi / 4 * 0.033**2
    for points in (12, 36, 144):
        area, perimeter = polygon(circle(points))
        x = 2 * math.pi / points
        assert area / whole == pytest.approx(math.sin(x) / x, rel=1e-9)
        assert perimeter / (math.pi * 0.033) == pytest.approx(math.sin(x / 2) / (x / 2), rel=1e-9)
    missing = [1 - polygon(circle(points))[0] / whole for points in (40, 80, 160)]
    assert np.log2(missing[0] / missing[1]) == pytest.approx(2, abs=0.01)
    assert np.log2(missing[1] / missing[2]) == pytest.approx(2, abs=0.01)
    # as the docstring says
    assert [1 - polygon(circle(n))[0] / whole for n in (36, 12)] == pytest.approx([0.005, 0.045], abs=5e-4)


@pytest.mark.parametrize("points", [
    ((0, 0), (0.03, 0.03), (0.03, 0), (0, 0.03)), ((0, 0), (0.01, 0)), ((0, 0), (0.01, 0), (0.02, 0)),
    ((0, 0), (0.01, 0), (0.01, math.nan)), ((0, 0), (0.04, 0), (0.04, 0.03), (0.02, 0.0), (0, 0.03)),
])  # fmt: skip
def test_what_is_no_outline_is_refused(points):
    with pytest.raises(ValueError):
        polygon(points)


def test_two_branches_scaling_and_enlarging():
    station = Station(0.02, "outline", points=RECTANGLE, branches=2, blocked_area=1e-4)
    assert (net_area(station), net_perimeter(station)) == pytest.approx((22e-4, 0.28))
    grown = scale_area(station, 1.2)
    assert net_area(grown) == pytest.approx(1.2 * 22e-4, rel=1e-12)
    assert (grown.points[2][0] / grown.points[2][1]) == pytest.approx(4 / 3)
    ends = Station(0.0, "round", 0.05), Station(0.05, "round", 0.05)
    made = enlarge([ends[0], station, ends[1]], 10, (0.005, 0.045))
    assert any(s.shape == "outline" and net_area(s) == pytest.approx(1.1 * 22e-4, rel=0.02) for s in made.stations)


SECOND = '{ at = "30 mm", shape = "rounded rectangle", width = "30 mm", height = "27 mm", corner_radius = "9 mm" }'
INLINE = 'points = [["0 mm", "0 mm"], ["30 mm", "0 mm"], ["30 mm", "27 mm"], ["0 mm", "27 mm"]]'


def with_station(rest):
    assert SECOND in GOOD
    return GOOD.replace(SECOND, f'{{ at = "30 mm", shape = "outline", {rest} }}')


def test_points_in_the_case_file():
    case = load_text(with_station(INLINE))
    assert net_area(case.intake.port.stations[1]) == pytest.approx(810e-6, rel=1e-12)
    assert load_text(case.text).model_dump() == case.model_dump()


@pytest.mark.parametrize("table", ["x (mm),y (mm)\n0,0\n30,0\n30,27\n0,27\n", "x (mm);y (mm)\n0;0\n30,0;0\n30,0;27,0\n0;27\n"])
def test_points_in_a_csv_file(tmp_path, table):
    (tmp_path / "slice.csv").write_text(table, encoding="utf-8")
    (tmp_path / "a.toml").write_text(with_station('file = "slice.csv"'), encoding="utf-8")
    case = load(tmp_path / "a.toml")
    assert net_area(case.intake.port.stations[1]) == pytest.approx(810e-6, rel=1e-12)
    assert case.intake.port.stations[1].read_from == "slice.csv"
    assert load_text(case.text).model_dump() == case.model_dump()


def test_a_slice_named_in_a_table_of_stations(tmp_path):
    (tmp_path / "slice.csv").write_text("x (mm),y (mm)\n0,0\n30,0\n30,27\n0,27\n", encoding="utf-8")
    rows = "at (mm),shape,width (mm),file\n0,round,33,\n30,outline,,slice.csv\n70,round,32,\n"
    (tmp_path / "port.csv").write_text(rows, encoding="utf-8")
    start, end = GOOD.index("[intake.port]"), GOOD.index("[intake.runner]")
    text = GOOD[:start] + '[intake.port]\nfile = "port.csv"\n\n' + GOOD[end:]
    (tmp_path / "a.toml").write_text(text, encoding="utf-8")
    case = load(tmp_path / "a.toml")
    assert [round(1e6 * net_area(s)) for s in case.intake.port.stations] == [855, 810, 804]


@pytest.mark.parametrize(("rest", "part"), [
    ('note = "no points"', 'points: missing for the shape "outline"'),
    (INLINE + ', width = "30 mm"', 'the shape "outline" has its size from its points'),
    (INLINE.replace('["30 mm", "27 mm"], ["0 mm", "27 mm"]', '["0 mm", "27 mm"], ["30 mm", "27 mm"]'), "crosses itself"),
    (INLINE.replace('"27 mm"', "27"), "missing unit"),
    ('points = [["0 mm", "0 mm"], ["30 mm", "0 mm"]]', "points"),
    ('points = [["0 mm"], ["30 mm", "0 mm"], ["3 mm", "9 mm"]]', "points[0]"),
    ('file = "none.csv"', "no such file"),
])  # fmt: skip
def test_spoilt_outlines_are_told(tmp_path, rest, part):
    (tmp_path / "a.toml").write_text(with_station(rest), encoding="utf-8")
    with pytest.raises(CaseError) as told:
        load(tmp_path / "a.toml")
    assert part in str(told.value)


@pytest.mark.parametrize(("table", "part"), [
    ("x (mm),z (mm)\n0,0\n30,0\n30,27\n", 'slice.csv: no column "y"'),
    ("x (mm),y (mm)\n0,0\n30,\n30,27\n", "slice.csv:3: no y"),
    ("x (mm),y (mm)\n0,0\n30,a\n30,27\n", "slice.csv:3"),
])  # fmt: skip
def test_spoilt_tables_of_points_are_told(tmp_path, table, part):
    (tmp_path / "slice.csv").write_text(table, encoding="utf-8")
    (tmp_path / "a.toml").write_text(with_station('file = "slice.csv"'), encoding="utf-8")
    with pytest.raises(CaseError) as told:
        load(tmp_path / "a.toml")
    assert part in str(told.value)


def test_points_with_another_shape_are_told():
    text = GOOD.replace(SECOND, SECOND.replace("{ ", "{ " + INLINE + ", "))
    with pytest.raises(CaseError, match='do not belong to the shape "rounded rectangle"'):
        load_text(text)
