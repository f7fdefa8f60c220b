"""Sections against polygons, curves against exact integrals, demo ports against their stated areas and burettes."""

import math

import numpy as np
import pytest
from demo_parts import ENGINES, LEVELS, port
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import trapezoid

from waveflow.engine.port import (
    AreaCurve,
    Station,
    net_area,
    net_perimeter,
    ramps_as_steps,
    runner_curve,
    section,
    steep_steps,
)


def _arc(cx, cy, rx, ry, start, stop, n=4000):
    t = np.linspace(start, stop, n)
    return np.stack([cx + rx * np.cos(t), cy + ry * np.sin(t)], axis=1)


def _outline(shape, w, h, r):
    """Outline of a section, drawn independently of the closed forms."""
    quarter = math.pi / 2.0
    if shape in ("round", "ellipse"):
        return _arc(0.0, 0.0, w / 2.0, h / 2.0, 0.0, 2.0 * math.pi)
    if shape == "rounded rectangle":
        corners = ((w / 2 - r, h / 2 - r), (r - w / 2, h / 2 - r), (r - w / 2, r - h / 2), (w / 2 - r, r - h / 2))
        return np.vstack([_arc(x, y, r, r, i * quarter, (i + 1) * quarter) for i, (x, y) in enumerate(corners)])
    if shape == "oblong":
        s, l = min(w, h), max(w, h)
        x, y = ((l - s) / 2, 0.0) if w > h else (0.0, (l - s) / 2)
        turn = 0.0 if w > h else quarter
        return np.vstack([_arc(x, y, s / 2, s / 2, turn - quarter, turn + quarter),
                          _arc(-x, -y, s / 2, s / 2, turn + quarter, turn + 3 * quarter)])
    # D: half circle on the right, rounded corners on the left
    return np.vstack([_arc(w - h / 2, 0, h / 2, h / 2, -quarter, quarter),
                      _arc(r, h / 2 - r, r, r, quarter, 2 * quarter),
                      _arc(r, r - h / 2, r, r, 2 * quarter, 3 * quarter)])


@pytest.mark.parametrize(("shape", "w", "h", "r"), [
    ("round", 0.033, 0.033, None), ("ellipse", 0.035, 0.028, None), ("rounded rectangle", 0.033, 0.029, 0.009),
    ("oblong", 0.047, 0.033, None), ("oblong", 0.03, 0.044, None), ("D", 0.034, 0.03, 0.0), ("D", 0.034, 0.03, 0.006)])
def test_area_and_perimeter_are_those_of_the_drawn_outline(shape, w, h, r):
    p = _outline(shape, w, h, r or 0.0)
    q = np.roll(p, -1, axis=0)
    area = abs((p[:, 0] * q[:, 1] - p[:, 1] * q[:, 0]).sum()) / 2.0
    perimeter = np.hypot(*(q - p).T).sum()
    assert section(shape, w, h, r) == pytest.approx((area, perimeter), rel=2e-6)


@given(st.floats(5e-3, 0.1), st.floats(1.0, 3.0))
@settings(max_examples=50, deadline=None)
def test_ellipse_perimeter_is_the_complete_elliptic_integral(width, ratio):
    from scipy.special import ellipe

    exact = 2.0 * width * ratio * ellipe(1.0 - ratio**-2)
    assert section("ellipse", width, width * ratio)[1] == pytest.approx(exact, rel=4e-8)


def test_limits_of_shapes_meet():
    assert section("rounded rectangle", 0.03, 0.03, 0.015) == pytest.approx(section("round", 0.03))
    assert section("rounded rectangle", 0.04, 0.03, 0.015) == pytest.approx(section("oblong", 0.04, 0.03))
    assert section("ellipse", 0.03, 0.03) == pytest.approx(section("round", 0.03))
    assert section("D", 0.015, 0.03)[0] == pytest.approx(section("round", 0.03)[0] / 2.0)
    assert section("measured", area=8e-4)[1] == pytest.approx(section("round", math.sqrt(4 * 8e-4 / math.pi))[1])


@pytest.mark.parametrize("arguments", [
    ("round", None), ("round", 0.03, 0.031), ("ellipse", 0.03), ("rounded rectangle", 0.03, 0.02, 0.011),
    ("oblong", 0.03, -0.02), ("D", 0.01, 0.03), ("D", 0.03, 0.03, 0.02), ("square", 0.03, 0.03),
    ("measured", 0.03, 0.03), ("round", math.nan),
    ("rounded rectangle", 0.03, 0.02, -0.001)])
def test_sizes_that_cannot_be_are_refused(arguments):
    with pytest.raises(ValueError):
        section(*arguments)


def test_a_station_blocked_shut_is_refused():
    with pytest.raises(ValueError, match="blocked"):
        net_area(Station(0.0, "round", 0.01, blocked_area=1e-4))


@pytest.mark.parametrize("side", ["intake", "exhaust"])
@pytest.mark.parametrize("level", LEVELS)
@pytest.mark.parametrize("engine", ENGINES)
def test_demo_ports_give_their_stated_areas_and_burette_volume(engine, level, side):
    stations, stated, burette = port(engine, level, side)
    curve = AreaCurve.from_stations(stations)
    assert [net_area(s) for s in stations] == pytest.approx(stated, abs=0.5e-6)
    assert curve.area == pytest.approx(stated, abs=0.5e-6)
    assert curve.volume() == pytest.approx(burette, rel=0.01)
    assert curve.steps == [] and len(curve.kinks) == 0 and steep_steps(curve) == []


def test_split_port_has_the_wall_of_both_branches():
    one = Station(0.0, "ellipse", 0.0265, 0.028, branches=2, blocked_area=70e-6)
    assert net_perimeter(one) == pytest.approx(2.0 * section("ellipse", 0.0265, 0.028)[1])
    assert net_area(one) == pytest.approx(2.0 * (section("ellipse", 0.0265, 0.028)[0] - 70e-6))


areas = st.lists(st.floats(2e-4, 2e-3), min_size=2, max_size=8)


@given(areas, st.floats(0.003, 0.03))
@settings(max_examples=60, deadline=None)
def test_curve_through_stations_neither_bulges_nor_pinches_between_them(values, spacing):
    curve = AreaCurve.from_stations([Station(i * spacing, "measured", area=a) for i, a in enumerate(values)])
    for i, (a, b) in enumerate(zip(values[:-1], values[1:], strict=True)):
        between = curve.area_at(np.linspace(i, i + 1, 41)[:-1] * spacing)
        assert between.min() >= min(a, b) * (1 - 1e-12) and between.max() <= max(a, b) * (1 + 1e-12)
    assert curve.min_area() == pytest.approx(min(values))


@given(areas, st.integers(1, 40))
@settings(max_examples=60, deadline=None)
def test_cell_volumes_add_up_to_the_port_on_any_mesh(values, cells):
    curve = AreaCurve.from_stations([Station(0.01 * i, "measured", area=a) for i, a in enumerate(values)])
    faces = np.linspace(0.0, curve.length, cells + 1)
    mean = curve.mean_area(faces[:-1], faces[1:])
    assert (mean * np.diff(faces)).sum() == pytest.approx(curve.volume(), rel=1e-12)
    fine = np.linspace(0.0, curve.length, 20001)
    assert trapezoid(curve.area_at(fine), fine) == pytest.approx(curve.volume(), rel=1e-6)
    assert curve.mean_area(0.004, 0.004) == pytest.approx(curve.area_at(0.004))


def test_linear_area_is_exact():
    """A linear taper: mean = mean of its ends, inertance = ln(A2/A1) L/(A2 - A1)."""
    a, b, length = 1.0e-3, 0.6e-3, 0.3
    curve = AreaCurve.linear_area([0.0, length], [a, b])
    assert curve.volume() == pytest.approx((a + b) / 2.0 * length, rel=1e-14)
    assert curve.mean_area(0.1, 0.2) == pytest.approx((a + b) / 2.0, rel=1e-13)
    assert curve.l_over_a() == pytest.approx(math.log(b / a) * length / (b - a), rel=1e-10)
    x = np.linspace(0.0, length, 50)
    assert curve.perimeter_at(x) == pytest.approx(2.0 * np.sqrt(np.pi * curve.area_at(x)), rel=3e-4)
    assert curve.slope_at(0.1) == pytest.approx((b - a) / length)


def test_every_station_of_a_linear_curve_is_a_kink():
    curve = AreaCurve.linear_area([0.0, 0.1, 0.15, 0.3], [1e-3, 8e-4, 9e-4, 9e-4], [0.12, 0.11, 0.115, 0.115])
    assert curve.kinks == pytest.approx([0.1, 0.15])
    assert curve.perimeter_at([0.05, 0.2]) == pytest.approx([0.115, 0.115])


@given(areas)
@settings(max_examples=40, deadline=None)
def test_walked_from_the_other_end_it_is_the_same_tract(values):
    curve = AreaCurve.from_stations([Station(0.01 * i, "measured", area=a) for i, a in enumerate(values)])
    curve = curve.joined(AreaCurve.linear_area([0.0, 0.05], [values[0], 5e-4]))
    back = curve.reversed()
    x = np.linspace(0.0001, curve.length - 0.0001, 173)
    x = x[np.abs(x - 0.01 * (len(values) - 1)) > 1e-6]  # not on the step itself, where "just after" depends on the way
    assert back.area_at(curve.length - x) == pytest.approx(curve.area_at(x), rel=1e-9)
    assert back.perimeter_at(curve.length - x) == pytest.approx(curve.perimeter_at(x), rel=1e-9)
    assert back.volume() == pytest.approx(curve.volume(), rel=1e-12)
    assert back.l_over_a() == pytest.approx(curve.l_over_a(), rel=1e-12)
    assert back.kinks == pytest.approx(curve.length - curve.kinks[::-1])
    again = back.reversed()
    assert again.area == pytest.approx(curve.area, rel=1e-12)


def test_a_joint_keeps_its_step():
    stations, _, _ = port("n155", "as_cast", "intake")
    head = AreaCurve.from_stations(stations)
    runner = runner_curve(0.270, math.pi / 4 * 0.037**2, 804e-6)
    tract = runner.joined(head)
    assert len(tract.steps) == 1
    step = tract.steps[0]
    assert step == pytest.approx((0.270, 804e-6, head.area_at(0.0)))
    assert tract.area_at(0.270) == pytest.approx(head.area_at(0.0))
    assert tract.area_at(0.270, before=True) == pytest.approx(804e-6)
    assert 0.270 in tract.kinks
    assert tract.volume() == pytest.approx(runner.volume() + head.volume(), rel=1e-14)
    assert tract.reversed().steps[0] == pytest.approx((head.length, step.area_after, step.area_before))
    assert list(tract.x).count(0.270) == 2


def test_length_beyond_the_last_station_keeps_its_section():
    stations, _, _ = port("n155", "race", "exhaust")
    short, long = AreaCurve.from_stations(stations), AreaCurve.from_stations(stations, length=0.07)
    assert long.volume() - short.volume() == pytest.approx(0.01 * net_area(stations[-1]), rel=1e-9)
    assert long.kinks == pytest.approx([0.06])
    with pytest.raises(ValueError, match="before the last station"):
        AreaCurve.from_stations(stations, length=0.05)


def test_blended_runner_leaves_its_own_area_where_the_blend_begins():
    """Demo street level: 270 mm runner, last 60 mm opened to the 983 mm2 port face."""
    inlet = math.pi / 4 * 0.037**2
    own, blended = runner_curve(0.27, inlet, 804e-6), runner_curve(0.27, inlet, 804e-6, 0.06, 983e-6)
    assert blended.kinks == pytest.approx([0.21])
    x = np.linspace(0.0, 0.21, 30)
    assert blended.area_at(x) == pytest.approx(own.area_at(x), rel=1e-12)
    assert blended.area_at(0.24) == pytest.approx((own.area_at(0.21) + 983e-6) / 2.0)
    assert blended.area_at(0.27) == pytest.approx(983e-6)
    assert runner_curve(0.27, inlet, 804e-6, 0.27, 983e-6).area == pytest.approx([inlet, 983e-6])
    for wrong in ({"blend_length": 0.3, "port_inlet_area": 983e-6}, {"blend_length": 0.06}):
        with pytest.raises(ValueError):
            runner_curve(0.27, inlet, 804e-6, **wrong)


def test_only_ramps_above_the_limit_are_steep():
    gentle = AreaCurve.linear_area([0.0, 0.1, 0.116, 0.2], [1e-3, 1e-3, 1.5e-3, 1.5e-3])
    assert steep_steps(gentle) == []
    steep = AreaCurve.linear_area([0.0, 0.1, 0.104, 0.2], [1e-3, 1e-3, 1.5e-3, 1.5e-3])
    ramp, = steep_steps(steep)
    assert ramp == pytest.approx((0.1, 0.104, 1e-3, 1.5e-3), rel=1e-6)
    partial = AreaCurve.linear_area([0.0, 0.02], [1e-3, 2e-3])
    ramp, = steep_steps(partial)
    # slope / A = 50 / m at the small end falls to 40 where A = slope / 40
    assert ramp.area_after == pytest.approx(0.05 / 40.0, rel=0.02) and ramp.x0 == 0.0


@given(st.floats(4e-4, 9e-4), st.floats(1.1e-3, 2e-3), st.booleans())
@settings(max_examples=30, deadline=None)
def test_a_ramp_made_a_step_keeps_volume_and_end_areas(small, large, falling):
    a, b = (large, small) if falling else (small, large)
    curve = AreaCurve.linear_area([0.0, 0.1, 0.103, 0.2], [a, a, b, b])
    stepped = ramps_as_steps(curve, steep_steps(curve, 20.0))
    step, = stepped.steps
    assert 0.1 < step.x < 0.103 and (step.area_before, step.area_after) == pytest.approx((a, b), rel=1e-6)
    assert stepped.volume() == pytest.approx(curve.volume(), rel=1e-9)
    assert stepped.length == pytest.approx(curve.length) and step.x in stepped.kinks
    x = np.concatenate([np.linspace(0.0, 0.0999, 20), np.linspace(0.1031, 0.2, 20)])
    assert stepped.area_at(x) == pytest.approx(curve.area_at(x), rel=1e-12)


@pytest.mark.parametrize("build", [
    lambda: AreaCurve.from_stations([Station(0.0, "round", 0.03)]),
    lambda: AreaCurve.from_stations([Station(0.0, "round", 0.03), Station(0.0, "round", 0.03)]),
    lambda: AreaCurve.from_stations([Station(0.01, "round", 0.03), Station(0.02, "round", 0.03)]),
    lambda: AreaCurve.linear_area([0.0, 0.1], [1e-3, -1e-3]),
    lambda: AreaCurve.linear_area([0.0, 0.1], [1e-3, math.nan]),
    lambda: AreaCurve.linear_area([0.1, 0.0], [1e-3, 1e-3]),
    lambda: AreaCurve.linear_area([0.0, 0.1], [1e-3, 1e-3]).area_at(0.2)])
def test_curves_that_cannot_be_are_refused(build):
    with pytest.raises(ValueError):
        build()
