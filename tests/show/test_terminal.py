import io

import numpy as np
import pytest
from hostile import HOSTILE
from invented import tract

from waveflow.show import terminal, text_drawing
from waveflow.show.progress import Watch


class Screen(io.StringIO):
    """A terminal in memory."""

    encoding = "utf-8"

    def isatty(self):
        return True


def encoded(encoding):
    raw = io.BytesIO()
    return raw, io.TextIOWrapper(raw, encoding=encoding)


@pytest.mark.parametrize("text", HOSTILE)
def test_names_are_shown_as_they_are_or_not_at_all(text):
    out = io.StringIO()
    terminal.console(out).print(terminal.table((("name", "left"), ("value", "right")), [[text, "1"]], title=text))
    shown = out.getvalue()
    assert "\x1b" not in shown and "\x00" not in shown and "\r" not in shown
    if text.startswith("[red]"):
        assert "[red]markup[/red]" in shown


def test_glyphs_degrade_where_the_encoding_lacks_them():
    raw, stream = encoded("cp1252")
    terminal.prepare_streams(stream)
    stream.write("\N{MINUS SIGN}1 \N{RIGHTWARDS ARROW} 2 mm² \N{FULL BLOCK} 汽")
    stream.flush()
    assert raw.getvalue().decode("cp1252") == "-1 -> 2 mm² # ?"
    assert not terminal.can_show("\N{FULL BLOCK}", stream) and terminal.can_show("²", stream)


def test_numbers_are_never_cut_and_no_table_is_too_wide():
    heads = [("rpm", "right"), *((f"VE option number {k}", "right") for k in range(8))]
    rows = [[f"{1500 + 500 * i}", *(f"{90 + k + i / 10:.1f} % (+{k}.{i} %)" for k in range(8))] for i in range(5)]
    for width in (60, 80, 132):
        out = io.StringIO()
        console = terminal.console(out)
        console.width = width
        for each in terminal.tables_that_fit(heads, rows, width):
            console.print(each)
        shown = out.getvalue()
        assert max(map(len, shown.splitlines())) <= width
        for row in rows:
            assert all(cell in shown for cell in row)


def test_path_drawing_is_to_scale():
    path = tract("as cast")
    lines = text_drawing.path_drawing(path, 120, 8, fine=False)
    assert all(line.replace("²", "2").isascii() for line in lines)
    bottom = lines[7]
    columns = len(bottom) - bottom.index("#")
    parts = [*path.intake, *path.exhaust]
    total = sum(part.length for part in parts) * 1.03
    shaded = bottom.count(".") / columns  # chambers are shaded
    chambers = sum(part.length for part in parts if part.kind == "volume") / total
    assert shaded == pytest.approx(chambers, abs=2 / columns)
    assert "throttle" in "".join(lines[8:]) and "silencer" in "".join(lines[8:])


def test_fine_drawing_is_as_high_as_the_area():
    path = tract("as cast")
    top = max(float(part.area.max()) for part in (*path.intake, *path.exhaust) if part.kind != "volume")
    lines = text_drawing.path_drawing(path, 200, 8)[:8]
    start = lines[0].index("mm² ") + 4
    heights = []
    for column in range(start, max(map(len, lines))):
        cells = [line[column] if column < len(line) else " " for line in lines]
        if text_drawing.CHAMBER not in cells:
            heights.append(sum(text_drawing.BLOCKS.index(cell) for cell in cells) / 64)
    tail = path.exhaust[3].area[0] / top
    assert min(abs(height - tail) for height in heights) < 1 / 64
    assert max(heights) == pytest.approx(1.0, abs=1 / 64)


def test_small_curve_puts_the_highest_point_on_the_top_row():
    points = [(1000.0, 0.8), (2000.0, 0.95), (3000.0, 0.9), (4000.0, np.nan)]
    lines = text_drawing.small_curve(points, 21, 5)
    assert lines[0].index(text_drawing.MARK) == 10 and lines[-1].startswith(text_drawing.MARK)
    assert text_drawing.small_curve(points[:1], 21, 5) == [""] * 5


def told(watch, count=6):
    watch.begin("race")
    for k in range(count):
        watch(k + 1, count, 2000.0 + 500 * k, 0.8 + 0.02 * k if k != 2 else np.nan)


def test_progress_off_a_terminal_is_a_line_a_speed():
    out = io.StringIO()
    with Watch(out) as watch:
        told(watch)
    lines = out.getvalue().splitlines()
    assert lines[0] == "race: 1 of 6, 2000 rpm, VE 80.0 %" and lines[2] == "race: 3 of 6, 3000 rpm, failed"
    assert len(lines) == 6 and "\x1b" not in out.getvalue()


def test_progress_on_a_terminal_grows_a_curve_and_leaves_nothing_behind():
    out = Screen()
    with Watch(out) as watch:
        told(watch, 5)
        drawn = watch.lines(80)
    assert "5 of 5" in drawn[0] and "highest so far 88.0 % at 4000 rpm" in drawn[-1]
    assert sum(line.count(text_drawing.MARK) for line in drawn) == 4
    assert max(map(len, drawn)) <= 80
    assert "\x1b[2K" in out.getvalue()  # what was drawn is taken away again


def test_quiet_says_nothing():
    for out in (io.StringIO(), Screen()):
        with Watch(out, quiet=True) as watch:
            told(watch)
            watch.say("hello")
        assert out.getvalue() == ""


def test_time_left_follows_the_pace_of_new_speeds(monkeypatch):
    import waveflow.show.progress as progress

    now = [0.0]
    monkeypatch.setattr(progress.time, "monotonic", lambda: now[0])
    watch = Watch(io.StringIO(), quiet=True)
    watch.begin("x")
    assert np.isnan(watch.time_left())
    now[0] = 12.0
    watch(4, 10, 3000.0, 0.9)
    assert watch.time_left() == pytest.approx(12.0 / 4 * 6)


def test_dumb_terminal_gets_plain_lines(monkeypatch):
    monkeypatch.setenv("TERM", "dumb")
    out = Screen()
    with Watch(out) as watch:
        told(watch)
    assert "\x1b" not in out.getvalue() and len(out.getvalue().splitlines()) == 6
