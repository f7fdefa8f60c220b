import math
import unicodedata

import pytest
from hostile import HOSTILE

from waveflow.show import words


@pytest.mark.parametrize("text", HOSTILE)
def test_plain_text_has_no_character_that_acts(text):
    shown = words.plain(text)
    assert len(shown) <= 160
    assert not any(unicodedata.category(char) in ("Cc", "Cf", "Cs", "Zl", "Zp") for char in shown)
    assert words.plain(shown) == shown
    shown.encode("utf-8")


def test_plain_text_keeps_what_is_harmless():
    assert words.plain("N155, 38.5 mm², Überströmkanal \N{EN DASH} 汽車") == "N155, 38.5 mm², Überströmkanal \N{EN DASH} 汽車"
    assert words.plain("\x1b[31mred\x1b[0m") == "red"
    assert words.plain("  a \t b\n") == "a b"


def test_signs_are_written_and_zero_has_none():
    assert words.signed(3.14159, 2, "mm") == "+3.14 mm"
    assert words.signed(-0.04, 1, "%") == "0.0 %"
    assert words.percent_change(-0.0123) == "\N{MINUS SIGN}1.2 %"
    assert words.percent(0.934) == "93.4 %"
    assert words.number(math.nan) == words.signed(None) == words.NOTHING


@pytest.mark.parametrize("value", [0.0, 1.0, -1.0, 12.345, -9.999e3, 1e-9, 123456.7])
def test_a_number_reads_back_as_itself(value):
    text = words.signed(value, 3).replace(words.MINUS, "-")
    assert float(text) == pytest.approx(value, abs=5e-4)


def test_every_degraded_glyph_is_ascii_and_every_glyph_of_ours_has_one():
    assert all(spelled.isascii() for spelled in words.ASCII_GLYPHS.values())
    shown = words.signed(-1.0) + words.span(1, 2) + words.NOTHING + words.plain("x" * 300)
    assert words.in_ascii(shown).isascii() and "?" not in words.in_ascii(shown)


def test_lists_counts_and_times_as_spoken():
    assert words.listed(["a"]) == "a" and words.listed(["a", "b", "c"]) == "a, b and c" and words.listed([]) == ""
    assert words.counted(1, "speed") == "1 speed" and words.counted(2, "warning") == "2 warnings"
    assert [words.duration(t) for t in (8, 125, 4200)] == ["8 s", "2 min 05 s", "1 h 10 min"]
    assert words.tiny(3.2e-13) == "3e-13" and words.tiny(2e-5) == "2e-5" and words.tiny(0.0) == "0"


def test_broken_lines_hold_all_words_and_are_even():
    text = "race moves the peak up and gains a lot at the top while giving a little away at the bottom of the range"
    lines = words.wrapped(text, 60)
    assert " ".join(lines) == text and max(map(len, lines)) <= 60
    assert max(map(len, lines)) - min(map(len, lines)) < 20
