"""The pictures: what is on them, in which units, told apart in grey, and safe against what a name may hold."""

import io
import xml.etree.ElementTree as ET
from dataclasses import replace
from itertools import combinations

import invented
import numpy as np
import pytest
from hostile import HOSTILE
from PIL import Image

from waveflow.show import canvas, looks
from waveflow.show.comparison import comparison_figure
from waveflow.show.cycle_figure import cycle_figure
from waveflow.show.strip import draw_strip, height_needed
from waveflow.show.tract_figure import tract_figure

SVG = "{http://www.w3.org/2000/svg}"


def three():
    return invented.comparison(("as cast", 0.0), ("street", 0.4), ("race", 1.0), assumed="race", hole=True)


FIGURES = {
    "two options": lambda: comparison_figure(invented.comparison()),
    "three options": lambda: comparison_figure(three()),
    "gas path": lambda: tract_figure(invented.tract("race"), "N155, race", ("a note",)),
    "cycle": lambda: cycle_figure(invented.cycle()),
}


def axes_named(figure, label):
    return next(axes for axes in figure.axes if axes.get_label() == label)


def shown_lines(axes):
    return [line for line in axes.get_lines() if not line.get_label().startswith("_")]


def texts(figure):
    found = list(figure.texts)
    for axes in figure.axes:
        found += [*axes.texts, axes.xaxis.label, axes.yaxis.label]
        found += axes.get_legend().get_texts() if axes.get_legend() else []
    return [text for text in found if text.get_text().strip() and text.get_visible()]


@pytest.mark.parametrize("name", FIGURES)
def test_nothing_is_written_outside_the_sheet(name):
    figure = FIGURES[name]()
    with canvas.style():
        figure.canvas.draw()
        renderer, edge = figure.canvas.get_renderer(), figure.bbox
        for text in texts(figure):
            box = text.get_window_extent(renderer)
            inside = box.x0 >= -1 and box.y0 >= -1 and box.x1 <= edge.x1 + 1 and box.y1 <= edge.y1 + 1
            assert inside, text.get_text()


@pytest.mark.parametrize("name", FIGURES)
def test_sheet_is_a4_and_white_to_its_edges(name):
    figure = FIGURES[name]()
    assert tuple(figure.get_size_inches()) == pytest.approx((11.69, 8.27))
    picture = np.asarray(Image.open(io.BytesIO(canvas.rendered(figure, ".png"))).convert("L"))
    border = np.concatenate([picture[:20].ravel(), picture[-12:].ravel(), picture[:, :40].ravel(), picture[:, -20:].ravel()])
    assert border.min() == 255


@pytest.mark.parametrize("name", FIGURES)
def test_same_figure_gives_the_same_bytes(name):
    for suffix in canvas.FORMATS:
        assert canvas.rendered(FIGURES[name](), suffix) == canvas.rendered(FIGURES[name](), suffix)


@pytest.mark.parametrize("name", FIGURES)
def test_words_for_those_who_hear_it_are_inside_the_file(name):
    figure = FIGURES[name]()
    title, description = canvas.words_of(figure)
    assert title and len(description) > 100
    root = ET.fromstring(canvas.rendered(figure, ".svg"))
    assert root.get("role") == "img" and root.get("aria-labelledby") == "words-title words-desc"
    assert [child.tag for child in root][:2] == [f"{SVG}title", f"{SVG}desc"]
    assert root.find(f"{SVG}title").text == title and root.find(f"{SVG}desc").text == description
    assert Image.open(io.BytesIO(canvas.rendered(figure, ".png"))).text["Description"] == description


def test_description_of_a_comparison_names_peaks_and_metal():
    said = canvas.words_of(comparison_figure(three()))[1]
    for words in ("race (ASSUMED valve flow): highest volumetric efficiency", "at 5100 rpm", "intake port +18.0 cc",
                  "smallest section 761 to 996 mm²", "Left out: fuel film"):  # fmt: skip
        assert words in said


@pytest.mark.parametrize(
    ("label", "up", "across"),
    [("ribbon volumetric_efficiency", "VE against as cast, %", "engine speed, rpm"),
     ("ribbon torque", "torque against as cast, %", "engine speed, rpm"),
     ("curves volumetric_efficiency", "volumetric efficiency, %", ""),
     ("curves torque", "torque, N m", "")],
)  # fmt: skip
def test_axes_of_a_comparison_say_what_and_in_which_unit(label, up, across):
    axes = axes_named(comparison_figure(invented.comparison()), label)
    assert up in [text.get_text() for text in axes.texts] and axes.get_xlabel() == across


def test_every_option_is_drawn_with_its_own_line_marker_and_values():
    view = three()
    axes = axes_named(comparison_figure(view), "curves volumetric_efficiency")
    lines = {line.get_label(): line for line in shown_lines(axes)}
    assert set(lines) == {"as cast", "street", "race (ASSUMED valve flow)"}
    for (_, one), (_, other) in combinations(lines.items(), 2):
        assert one.get_color() != other.get_color() and one.get_marker() != other.get_marker()
        assert (one.get_linestyle(), one._dash_pattern) != (other.get_linestyle(), other._dash_pattern)
    drawn = lines["street"].get_ydata()
    np.testing.assert_allclose(drawn, 100 * view.options[1].curve("volumetric_efficiency"), equal_nan=True)


def test_looks_differ_in_line_marker_hatch_and_first_ones_in_grey():
    for one, other in combinations(looks.LOOKS, 2):
        assert one.line != other.line and one.marker != other.marker and one.hatch != other.hatch
    greys = [looks.greyness(look.color) for look in looks.LOOKS[:3]]
    assert min(abs(a - b) for a, b in combinations(greys, 2)) > 0.05
    assert looks.greyness("#ffffff") == pytest.approx(1.0) and looks.greyness("#000000") == 0.0


def test_assumed_option_has_a_hatched_band_between_low_and_high():
    view = three()
    axes = axes_named(comparison_figure(view), "curves volumetric_efficiency")
    (band,) = [each for each in axes.collections if "valve flow -8 to +8 %" in str(each.get_label())]
    assert band.get_hatch() == looks.look(2).hatch and band.get_facecolor().size == 0
    heights = np.concatenate([path.vertices[:, 1] for path in band.get_paths()])
    race = view.options[2]
    assert heights.min() == pytest.approx(100 * np.nanmin(race.low["volumetric_efficiency"]))
    assert heights.max() == pytest.approx(100 * np.nanmax(race.high["volumetric_efficiency"]))
    plain = axes_named(comparison_figure(invented.comparison()), "curves volumetric_efficiency")
    assert not any("valve flow" in str(each.get_label()) for each in plain.collections)


def test_assumed_is_said_in_the_legend_and_at_the_foot():
    shown = [text.get_text() for text in texts(comparison_figure(three()))]
    assert "ASSUMED valve flow" in shown
    assert any(text.startswith("ASSUMED: race has no flow sheet") for text in shown)
    assert any(text.startswith("Left out: fuel film") for text in shown)


def test_peaks_band_crossings_and_failed_speeds_are_marked():
    view = invented.comparison(hole=True)
    figure = comparison_figure(view)
    curves, ribbon = (axes_named(figure, f"{kind} volumetric_efficiency") for kind in ("curves", "ribbon"))
    flags = [text.get_text() for text in curves.texts]
    for option in view.options:
        peak = option.peaks["volumetric_efficiency"]
        assert f"{peak.rpm:.0f} rpm, {100 * peak.value:.1f} %" in flags
    assert "wanted 6500 rpm" in flags
    (failed,) = [line for line in curves.get_lines() if line.get_label().startswith("_failed")]
    assert list(failed.get_xdata()) == list(view.options[1].failed)
    words = [text.get_text() for text in ribbon.texts]
    assert "4905" in words and any("your band 3000–6000 rpm: mean +1.2 %" in text for text in words)
    (band,) = [line for line in ribbon.get_lines() if line.get_label() == "_band"]
    assert {band.get_xdata()[0], band.get_xdata()[-1]} == {3000, 6000}


def test_ribbon_fills_gain_above_and_loss_below_the_line():
    axes = axes_named(comparison_figure(invented.comparison()), "ribbon volumetric_efficiency")
    fills = {str(each.get_label()): each for each in axes.collections if str(each.get_label()) in ("gain", "loss")}
    for name, side in (("gain", 1), ("loss", -1)):
        heights = np.concatenate([path.vertices[:, 1] for path in fills[name].get_paths()])
        assert (side * heights).min() >= -1e-9 and (side * heights).max() > 1
    assert fills["loss"].get_hatch() and not fills["gain"].get_hatch()


def test_lines_of_equal_power_are_where_torque_times_speed_says():
    axes = axes_named(comparison_figure(invented.comparison()), "curves torque")
    lines = [line for line in axes.get_lines() if line.get_label() == "_power"]
    powers = [np.mean(line.get_xdata() * line.get_ydata() * np.pi / 30e3) for line in lines]
    assert len(powers) >= 4 and np.diff(powers) == pytest.approx(np.diff(powers)[0])
    for line in lines:
        assert np.ptp(line.get_xdata() * line.get_ydata()) < 1e-6 * np.max(line.get_xdata() * line.get_ydata())
    assert any(text.get_text() == f"{powers[-1]:g} kW" for text in axes.texts)


def test_strip_fills_exactly_what_was_taken_out():
    first, other = invented.tract("as cast"), invented.tract("race")
    with canvas.style():
        axes = canvas.sheet().add_axes((0, 0, 1, 1))
        draw_strip(axes, first, other, looks.look(0), looks.look(1), height_needed([first, other]))
    filled = 0.0
    for each in axes.collections:
        if tuple(np.round(each.get_facecolor()[0][:3], 3)) == (0.0, 0.447, 0.698):
            for path in each.get_paths():
                for loop in path.to_polygons():
                    x, y = loop[:, 0], loop[:, 1]
                    filled += 0.5 * abs(np.dot(x, np.roll(y, 1)) - np.dot(y, np.roll(x, 1)))
    taken = sum(
        1e9 * (b.content - a.content)
        for side in ("intake", "exhaust")
        for a, b in zip(getattr(first, side), getattr(other, side), strict=True)
    )
    assert filled == pytest.approx(taken, rel=0.02)  # mm of length times mm2 of area: mm3


@pytest.mark.parametrize("start", range(0, len(HOSTILE), 4))
def test_hostile_names_break_no_picture(start):
    names = [HOSTILE[(start + k) % len(HOSTILE)] for k in range(4)]
    view = invented.comparison()
    options = tuple(
        replace(option, name=name or "x", failed={4000.0: names[2]})
        for option, name in zip(view.options, names, strict=False)
    )
    view = replace(view, options=options, engine=names[2], headline=names[3] or "x", conditions=names[0],
                   left_out=names[1], stamp=names[2])  # fmt: skip
    path = replace(invented.tract(), name=names[0])
    stretch = replace(path.intake[2], name=names[1])
    noted = zip(path.intake[3].stations, [*names, *names], strict=True)
    port = replace(path.intake[3], stations=tuple(replace(mark, note=name) for mark, name in noted))
    path = replace(path, intake=(*path.intake[:2], stretch, port))
    cycle = replace(invented.cycle(), engine=names[0], option=names[1], left_out=names[2], stamp=names[3])
    for figure in (comparison_figure(view), tract_figure(path, names[2], tuple(names)), cycle_figure(cycle)):
        root = ET.fromstring(canvas.rendered(figure, ".svg"))
        tags = {child.tag for child in root.iter()}
        assert tags.isdisjoint({f"{SVG}script", f"{SVG}b", f"{SVG}foreignObject", f"{SVG}a"})


def test_missing_parts_leave_their_place_empty_and_nothing_fails():
    view = invented.comparison()
    bare = [replace(option, tract=None, peaks={}, envelope_peaks={}, crossovers={}) for option in view.options]
    gone = np.full(len(bare[1].rpm), np.nan)
    bare[1] = replace(bare[1], curves={"volumetric_efficiency": gone}, changes={}, band_mean_change={})
    figure = comparison_figure(replace(view, options=tuple(bare), band=None, target=None))
    assert canvas.rendered(figure, ".png")
    assert not any(axes.get_label().startswith("strip") for axes in figure.axes)


def test_saving_is_whole_and_by_its_ending(tmp_path):
    figure = FIGURES["gas path"]()
    assert canvas.save(figure, tmp_path / "a.PNG").read_bytes().startswith(b"\x89PNG")
    with pytest.raises(ValueError, match="not '.pdf'"):
        canvas.save(figure, tmp_path / "a.pdf")
    assert [path.name for path in tmp_path.iterdir()] == ["a.PNG"]


def test_users_own_style_sheet_goes_on_top(tmp_path, monkeypatch):
    own = tmp_path / "own.mplstyle"
    own.write_text("grid.color: ff0000\n")
    monkeypatch.setenv("WAVEFLOW_STYLE", str(own))
    import matplotlib

    with canvas.style():
        assert matplotlib.rcParams["grid.color"].endswith("ff0000") and matplotlib.rcParams["svg.hashsalt"] == "waveflow"
    assert not matplotlib.rcParams["grid.color"].endswith("ff0000")


def test_drawing_loads_no_window_system():
    import subprocess
    import sys

    text = (
        "import sys; sys.path[:0] = ['tests/show']\n"
        "import invented; from waveflow.show import canvas, comparison\n"
        "canvas.rendered(comparison.comparison_figure(invented.comparison()), '.svg')\n"
        "print([name for name in ('matplotlib.pyplot', 'tkinter') if name in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", text], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"
