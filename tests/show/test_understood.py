"""From a case to its gas path, its tables and its figure: what is shown is what the solver is given."""

import io
from pathlib import Path

import numpy as np
import pytest

from waveflow.engine.case import load
from waveflow.engine.tract import exhaust_duct, intake_duct
from waveflow.engine.valves import lift_of
from waveflow.show import check, from_results
from waveflow.show.canvas import words_of
from waveflow.show.probes import places_asked
from waveflow.show.tract import tract_of

CASES = Path(__file__).parents[2] / "cases"


def case(name, **settings):
    return load(CASES / f"{name}.toml", {key.replace("__", "."): value for key, value in settings.items()} or None)


@pytest.mark.parametrize("name", sorted(path.stem for path in CASES.glob("*.toml")))
def test_every_case_is_shown_in_words_data_and_picture(name):
    out = io.StringIO()
    known = case(name)
    check.print_check(known, out)
    assert known.name in out.getvalue()
    data = check.check_data(known)
    assert len(data["filled_in"]) == len(known.assumptions) and len(data["warnings"]) == len(known.warnings)
    title, description = words_of(check.check_figure(known))
    assert known.name in title and "Exhaust in flow order" in description


@pytest.mark.parametrize("name", ["n155", "n155_race", "n155_plus15"])
def test_drawn_path_is_the_one_the_solver_runs(name):
    known = case(name)
    path = tract_of(known)
    pipes = [part for part in path.intake if part.kind in ("pipe", "port")]
    duct = intake_duct(known)
    drawn = sum(part.length for part in pipes)
    ahead = duct.length - drawn  # the end correction of the mouth is no metal
    assert 0 < ahead < 0.02
    assert sum(part.content for part in pipes) == pytest.approx(
        duct.curve.volume() - ahead * float(duct.curve.area_at(0.0)), rel=2e-3
    )
    port = path.find("exhaust", "port")
    out = exhaust_duct(known, 0)
    for x in np.linspace(0, 0.999 * port.length, 7):
        assert port.area_at(x) == pytest.approx(float(out.curve.area_at(x)), rel=2e-3)
    assert sum(part.length for part in path.exhaust[2:]) == pytest.approx(0.420 + 1.800)


def test_every_value_nobody_gave_is_listed_guesses_before_defaults():
    known = case("n155_plus15")
    lines = check.filled_lines(check_sorted(known), 100)
    text = " ".join(" ".join(lines).split())
    for each in known.assumptions:
        head, _, tail = each.key.partition("[")
        assert head in text and each.value_text in text and each.range_text in text, each.key
    order = [text.index(word) for word in ("ASSUMED, standing", "guesses, nobody", "defaults, choices")]
    assert order == sorted(order) and max(map(len, lines)) <= 100
    assert "intake.port.stations[0-7].branches = 1" in text


def check_sorted(known):
    from waveflow.engine.case import defaults_and_guesses

    return defaults_and_guesses(known)


def test_derived_port_shows_its_stations_and_cc():
    known = case("n155_plus15")
    rows = check.derived_rows(known)
    assert len(rows) == 8 and all(row[3] == "+15.0 %" for row in rows)
    out = io.StringIO()
    check.print_check(known, out)
    assert "derived intake port: 66.4 to 76.4 cc" in out.getvalue()
    assert check.derived_rows(case("n155")) == []


def test_warnings_are_all_printed():
    known = case("n155_race")
    out = io.StringIO()
    check.print_check(known, out)
    shown = " ".join(out.getvalue().split())
    assert known.warnings and all(str(warning) in shown for warning in known.warnings)


def test_burette_and_stations_are_held_against_each_other():
    figure = check.check_figure(case("n155"))
    notes = [text.get_text() for text in figure.texts]
    assert any("Intake port:" in note and "by burette" in note for note in notes)


def test_lift_of_a_case_opens_where_the_solver_opens_it():
    known = case("n155")
    lift = lift_of(known.intake.cam, "intake")
    card = known.intake.cam
    # At the follower's checking height the valve stands rocker ratio times that, less the lash.
    height = card.rocker_ratio * card.duration_at - card.lash
    assert lift.duration(height) == pytest.approx(208.0, abs=0.1)
    assert lift.max_lift_angle == pytest.approx(360 + 110, abs=0.3)


def test_probes_are_measured_from_the_valve_on_both_sides():
    known = case("n155")
    length = intake_duct(known).length
    places = places_asked(known, ["intake:0.12 m", "3:exhaust:2 in"])
    assert places["cylinder 1 intake 120 mm from the valve"] == (1, "intake", pytest.approx(length - 0.12))
    assert places["cylinder 3 exhaust 50.8 mm from the valve"] == (3, "exhaust", pytest.approx(0.0508))
    drawn = from_results.probe_places(known)
    assert len(drawn) == from_results.PROBES_DRAWN
    assert {x for _, _, x in drawn.values()} >= {0.0, length}
    assert from_results.probe_places(case("n155", ideal__quasi_steady="true")) == {}


def test_conditions_name_throttle_and_ambient():
    assert from_results.conditions_of(case("n155")).startswith("wide-open throttle, 101.0 kPa, 20 °C")
    assert "throttle 30 % open" in from_results.conditions_of(case("n155", intake__throttle__opening="0.3"))
    assert "throttle" not in from_results.conditions_of(case("short_pipes_motored"))


@pytest.mark.parametrize("name", ["n155", "t192"])
def test_the_port_is_drawn_to_scale_with_its_joints(name):
    known = case(name)
    figure = check.check_figure(known)
    plans = {axes.get_label(): axes for axes in figure.axes if axes.get_label().endswith("plan")}
    assert set(plans) == {"intake plan", "exhaust plan"}
    for label, axes in plans.items():
        (x0, x1), (y0, y1), box = axes.get_xlim(), axes.get_ylim(), axes.get_position()
        wide, high = figure.get_size_inches()
        along, across = (x1 - x0) / (box.width * wide), (y1 - y0) / (box.height * high)
        assert along == pytest.approx(across, rel=1e-9)  # a millimetre is a millimetre
        station = getattr(known, label.split()[0]).port.stations[1]
        whole = 1e3 * station.branches * station.width + 4.0 * (station.branches - 1)
        assert max(abs(line.get_ydata()).max() for line in axes.lines if len(line.get_xdata()) > 2) >= 0.95 * whole / 2
    words = [text.get_text() for axes in figure.axes for text in axes.texts]
    assert any("all round" in text for text in words) and any("steepest" in text for text in words)
    assert any("of the valve)" in text for text in words)
    assert any("gasket's hole" in text for text in words) == (name == "t192")


def test_port_facts_are_printed_and_in_the_data():
    known, out = case("n155"), io.StringIO()
    check.print_check(known, out)
    text = " ".join(out.getvalue().split())
    assert "32.6 mm across, 84.7% of the valve" in text and "804 to 887 mm², +10.4 % (0.8 mm all" in text
    assert "23 guessed" in text and "65 measured" in text
    data = check.check_data(known)
    assert data["ports"]["intake"]["throat_of_valve"] == pytest.approx(32.6 / 38.5, abs=1e-9)
    assert {each["mark"] for each in data["inputs"]} == {"guess", "given", "default", "card", "measured"}


def test_a_charged_engine_is_drawn_from_its_charge_pipe_to_its_turbine():
    """Sizes as the case gives them; an engine without a charger has none of it."""
    set_ = {"charger__charge_pipe_length": "900 mm", "charger__charge_pipe_diameter": "55 mm"}
    known = case("t192", **set_)
    path = tract_of(known)
    first, (manifold, nozzle) = path.intake[0], path.exhaust[-2:]
    assert (first.name, first.length) == ("charge pipe", pytest.approx(0.9))
    assert first.area[0] == pytest.approx(np.pi / 4 * 0.055**2)
    assert (manifold.kind, manifold.content) == ("volume", known.charger.manifold_volume)
    assert nozzle.area[0] == pytest.approx(known.charger.turbine_area)
    other = tract_of(case("n155"))
    assert not {"charge pipe", "exhaust manifold", "turbine nozzle"} & {part.name for part in other.intake + other.exhaust}
    assert tract_of(known).find("intake", "pipe").name == "runner"


def test_the_drawing_says_which_cylinders_it_does_not_show():
    notes = " ".join(text.get_text() for text in check.check_figure(case("t192_street_low_cylinder")).texts)
    assert "parts of their own: cylinders 1, 3 and 4" in notes and "Invented demo data" in notes
    plain = " ".join(text.get_text() for text in check.check_figure(case("t192")).texts)
    assert "parts of their own" not in plain
