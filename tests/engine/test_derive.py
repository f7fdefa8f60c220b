"""Derived ports: the asked gain where it was asked, proportions kept, no step made, the valve seat respected."""

from dataclasses import dataclass

import numpy as np
import pytest
from demo_parts import ENGINES, LEVELS, port
from hypothesis import given, settings
from hypothesis import strategies as st
from pydantic import BaseModel, ConfigDict

from waveflow.engine.derive import enlarge, scale_area, throat_index
from waveflow.engine.port import AreaCurve, Station, net_area, section_of, steep_steps


@pytest.mark.parametrize("side", ["intake", "exhaust"])
@pytest.mark.parametrize("level", LEVELS)
@pytest.mark.parametrize("engine", ENGINES)
def test_the_whole_port_gains_the_asked_area_at_every_station(engine, level, side):
    stations, _, _ = port(engine, level, side)
    end = "last" if side == "intake" else "first"
    result = enlarge(stations, 15.0, valve_end=end)
    assert [net_area(s) for s in result.stations] == pytest.approx([1.15 * net_area(s) for s in stations], rel=1e-12)
    assert result.volume_after == pytest.approx(1.15 * result.volume_before, rel=1e-9)
    assert result.volume_before == pytest.approx(AreaCurve.from_stations(stations).volume())
    assert len(result.changes) == len(stations) and not any(c.added for c in result.changes)


shapes = st.sampled_from([Station(0.0, "round", 0.033, 0.033), Station(0.0, "ellipse", 0.035, 0.033),
                          Station(0.0, "rounded rectangle", 0.031, 0.028, 0.0095), Station(0.0, "oblong", 0.047, 0.033),
                          Station(0.0, "D", 0.034, 0.03, 0.006), Station(0.0, "measured", area=8e-4, perimeter=0.11)])


@given(shapes, st.floats(0.5, 2.0), st.floats(0.0, 2e-4), st.integers(1, 2))
@settings(max_examples=60, deadline=None)
def test_a_section_keeps_its_proportions_and_what_blocks_it(base, factor, blocked, branches):
    station = Station(**(base.__dict__ | {"blocked_area": blocked, "branches": branches}))
    grown = scale_area(station, factor)
    assert net_area(grown) == pytest.approx(factor * net_area(station), rel=1e-12)
    assert grown.blocked_area == blocked and grown.branches == branches and grown.shape == station.shape
    (a0, p0), (a1, p1) = section_of(station), section_of(grown)
    assert p1**2 / a1 == pytest.approx(p0**2 / a0, rel=1e-12)
    if station.height is not None:
        assert grown.width / grown.height == pytest.approx(station.width / station.height)


@given(st.floats(0.0, 0.05), st.floats(0.008, 0.06), st.floats(5.0, 30.0), st.sampled_from(LEVELS))
@settings(max_examples=40, deadline=None)
def test_a_stretch_gains_inside_and_leaves_the_rest(x0, run, percent, level):
    stations, _, _ = port("n155", level, "intake")
    old = AreaCurve.from_stations(stations)
    x1 = min(x0 + run, old.length)
    result = enlarge(stations, percent, (x0, x1))
    new = AreaCurve.from_stations(result.stations)
    gain = percent / 100.0
    fine = np.linspace(0.0, old.length, 400)
    ratio = new.area_at(fine) / old.area_at(fine)
    assert ratio.max() < 1.01 + 1.25 * gain and ratio.min() > 0.988
    outside = (fine < x0 - 0.004) | (fine > x1 + 0.004)
    assert ratio[outside] == pytest.approx(1.0, abs=0.012)
    taper = min(0.015, (x1 - x0) / 3.0)
    full = (x0 + taper if x0 > 1e-3 else 0.0, x1 - taper if x1 < old.length - 1e-3 else old.length)
    middle = sum(full) / 2.0
    assert new.area_at(middle) / old.area_at(middle) == pytest.approx(1.0 + gain, abs=0.3 * gain + 0.015)
    assert new.steps == [] and result.volume_after > result.volume_before


def test_a_stretch_to_the_port_face_takes_the_full_gain_there():
    stations, _, _ = port("n155", "as_cast", "intake")
    result = enlarge(stations, 15.0, (0.0, 0.040))
    assert net_area(result.stations[0]) == pytest.approx(1.15 * net_area(stations[0]))
    assert net_area(result.stations[-1]) == net_area(stations[-1])
    new = AreaCurve.from_stations(result.stations)
    assert steep_steps(new) == []
    with pytest.raises(ValueError, match="inside the port"):
        enlarge(stations, 15.0, (0.05, 0.2))
    with pytest.raises(ValueError, match="inside the port"):
        enlarge(stations, 15.0, (0.05, 0.02))


def test_pinch_only_opens_the_pinch_and_says_where_the_new_smallest_section_is():
    stations, _, _ = port("n155", "as_cast", "intake")
    result = enlarge(stations, 15.0, "pinch")
    new = AreaCurve.from_stations(result.stations)
    assert new.area_at(0.030) == pytest.approx(1.15 * net_area(stations[2]), rel=1e-12)
    assert new.area_at([0.0, 0.082]) == pytest.approx([net_area(stations[0]), net_area(stations[-1])])
    assert result.smallest == pytest.approx((0.076, net_area(stations[6])))
    assert {round(c.at * 1e3) for c in result.changes if c.added} == {5, 55}


def test_throat_only_and_its_warning():
    stations, _, _ = port("n155", "as_cast", "intake")
    mild = enlarge(stations, 10.0, "throat", valve_diameter=0.0385)
    assert net_area(mild.stations[-2]) == pytest.approx(1.10 * net_area(stations[6]))
    assert mild.warnings == ()
    assert all(net_area(a) == net_area(b) for a, b in zip(mild.stations[:5], stations[:5], strict=True))
    big = enlarge(stations, 20.0, "throat", valve_diameter=0.0385)
    assert len(big.warnings) == 1 and "91 %" in big.warnings[0] and "common practice" in big.warnings[0]


def test_no_section_at_the_seat_outgrows_it():
    stations, _, _ = port("n155", "as_cast", "intake")
    result = enlarge(stations, 30.0, valve_diameter=0.0385, seat_inner_diameter=0.0365)
    last = result.stations[-1]
    assert last.width == last.height == pytest.approx(0.0365)
    assert any("held at 36.50 mm" in w for w in result.warnings)
    assert net_area(result.stations[0]) == pytest.approx(1.30 * net_area(stations[0]))
    over = [*stations[:-1], Station(0.082, "round", 0.037, 0.037, blocked_area=38.5e-6)]
    # never smaller than it was found
    assert enlarge(over, 30.0, seat_inner_diameter=0.0365).stations[-1].width == 0.037


def test_exhaust_throat_stands_at_the_first_station():
    stations, _, _ = port("n155", "as_cast", "exhaust")
    result = enlarge(stations, 10.0, "throat", valve_end="first")
    assert net_area(result.stations[0]) == pytest.approx(1.10 * net_area(stations[0]))
    assert net_area(result.stations[-1]) == net_area(stations[-1])
    bare = [Station(**(s.__dict__ | {"note": ""})) for s in stations]
    assert throat_index(bare, "first") == 0


@pytest.mark.parametrize("where", ["port", "pinch", "throat", (0.02, 0.06)])
def test_zero_per_cent_changes_no_volume_and_the_measured_port_is_left_alone(where):
    stations, _, _ = port("t192", "as_cast", "intake")
    before = list(stations)
    result = enlarge(stations, 0.0, where)
    assert result.volume_after == pytest.approx(result.volume_before, rel=1e-3)
    assert stations == before
    x = np.linspace(0.0, 0.095, 200)
    assert AreaCurve.from_stations(result.stations).area_at(x) == pytest.approx(
        AreaCurve.from_stations(stations).area_at(x), rel=0.01)


def test_a_station_added_where_the_port_splits_is_a_measured_section():
    stations, _, _ = port("t192", "as_cast", "intake")
    old = AreaCurve.from_stations(stations)
    result = enlarge(stations, 10.0, (0.02, 0.062))
    added = [s for s in result.stations if s.note == "added" and 0.057 < s.at < 0.068]
    assert added and all(s.shape == "measured" for s in added)
    assert net_area(added[0]) == pytest.approx(old.area_at(added[0].at), rel=1e-9)


def test_smaller_ports_can_be_derived_too():
    stations, _, _ = port("n155", "race", "intake")
    assert enlarge(stations, -10.0).volume_after == pytest.approx(0.9 * enlarge(stations, 0.0).volume_after, rel=1e-9)


class ModelStation(BaseModel):
    model_config = ConfigDict(frozen=True)
    at: float
    shape: str
    width: float | None = None
    height: float | None = None
    corner_radius: float | None = None
    area: float | None = None
    perimeter: float | None = None
    branches: int = 1
    blocked_area: float = 0.0


@dataclass(frozen=True)
class BareStation:
    at: float
    shape: str
    width: float | None
    height: float | None
    corner_radius: float | None
    area: float | None
    perimeter: float | None
    branches: int
    blocked_area: float


@pytest.mark.parametrize("kind", [ModelStation, BareStation])
def test_copies_are_of_the_callers_own_kind(kind):
    stations, _, _ = port("n155", "as_cast", "intake")
    names = ("at", "shape", "width", "height", "corner_radius", "area", "perimeter", "branches", "blocked_area")
    own = [kind(**{name: getattr(s, name) for name in names}) for s in stations]
    for where in ("port", "pinch", "throat", (0.02, 0.06)):
        result = enlarge(own, 12.0, where)
        assert all(type(s) is kind for s in result.stations)
        assert result.volume_after == pytest.approx(enlarge(stations, 12.0, where).volume_after, rel=1e-12)


@pytest.mark.parametrize("arguments", [(150.0, "port"), (-60.0, "port"), (float("nan"), "port"), (10.0, "bowl")])
def test_wishes_that_cannot_be_are_refused(arguments):
    with pytest.raises(ValueError):
        enlarge(port("n155", "as_cast", "intake")[0], *arguments)
