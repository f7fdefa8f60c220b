"""Numbers and names as words: every report, table and figure writes them through here.

Nothing here knows about terminals or pictures. Text that came from a user goes through ``plain`` before it is shown
anywhere: control characters, terminal escapes and direction overrides are taken out, so a name can neither clear a
screen nor turn a line around; each sink then escapes what is special to it.
"""

from __future__ import annotations

import math
import re
import unicodedata
from collections.abc import Iterable, Sequence

MINUS = "\N{MINUS SIGN}"
DASH = "\N{EN DASH}"
NOTHING = "\N{EN DASH}"  # shown where there is no number

_ESCAPES = re.compile(r"\x1b\][^\x07\x1b]*(?:\x07|\x1b\\)|\x1b\[[0-?]*[ -/]*[@-~]|\x1b.")
_HIDDEN = {"Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp"}

MODEL_NOTE = (
    "A flow sheet serves for the valve alone where the port is described: what the port loses in steady flow is taken out of "
    "the sheet and charged by the port. Bends and merging angles are charged outside the head."
)

# What a glyph becomes where the output's encoding lacks it.
ASCII_GLYPHS = {
    MINUS: "-", DASH: "-", "\N{EM DASH}": "-", "\N{MIDDLE DOT}": "-", "\N{BULLET}": "*",
    "\N{MULTIPLICATION SIGN}": "x", "\N{PLUS-MINUS SIGN}": "+/-", "\N{DEGREE SIGN}": " deg",
    "\N{SUPERSCRIPT TWO}": "2", "\N{SUPERSCRIPT THREE}": "3", "\N{RIGHTWARDS ARROW}": "->",
    "\N{LEFTWARDS ARROW}": "<-", "\N{LESS-THAN OR EQUAL TO}": "<=", "\N{GREATER-THAN OR EQUAL TO}": ">=",
    "\N{ALMOST EQUAL TO}": "~", "\N{HORIZONTAL ELLIPSIS}": "...", "\N{CHECK MARK}": "ok", "\N{BALLOT X}": "x",
    "\N{GREEK SMALL LETTER LAMDA}": "lambda", "\N{INFINITY}": "inf", "\N{NARROW NO-BREAK SPACE}": " ",
    "\N{NO-BREAK SPACE}": " ", "\N{LEFT DOUBLE QUOTATION MARK}": '"', "\N{RIGHT DOUBLE QUOTATION MARK}": '"',
    "\N{RIGHT SINGLE QUOTATION MARK}": "'", "\N{FULL BLOCK}": "#", "\N{DARK SHADE}": "#", "\N{LIGHT SHADE}": ".",
    "\N{BOX DRAWINGS LIGHT HORIZONTAL}": "-", "\N{BOX DRAWINGS HEAVY HORIZONTAL}": "=",
    "\N{BOX DRAWINGS LIGHT VERTICAL}": "|", "\N{BLACK DIAMOND}": "*", "\N{BLACK CIRCLE}": "o",
    "\N{WHITE CIRCLE}": "o", "\N{BLACK UP-POINTING TRIANGLE}": "^", "\N{BLACK DOWN-POINTING TRIANGLE}": "v",
}  # fmt: skip


def plain(text: object, limit: int = 160) -> str:
    """Text [any object] safe to show on one line: no control, format or surrogate characters, at most `limit` long."""
    shown = _ESCAPES.sub("", str(text))
    shown = re.sub(r"\s+", " ", shown)
    shown = "".join(char for char in shown if unicodedata.category(char) not in _HIDDEN).strip()
    return shown if len(shown) <= limit else shown[: limit - 1].rstrip() + "\N{HORIZONTAL ELLIPSIS}"


def in_ascii(text: str) -> str:
    """Text [str] with every character outside ASCII replaced by its nearest plain spelling, or by "?"."""
    return "".join(char if ord(char) < 128 else ASCII_GLYPHS.get(char, "?") for char in text)


def number(value: float | None, digits: int = 1, unit: str = "") -> str:
    """Value [any unit] with a fixed count of decimals; a dash where it is missing or not finite, "0.0" never signed."""
    return _formatted(value, digits, unit, signed=False)


def signed(value: float | None, digits: int = 1, unit: str = "") -> str:
    """Value [any unit] with its sign always written, as differences are read: "+3.2 %", "-0.4 %", "0.0 %"."""
    return _formatted(value, digits, unit, signed=True)


def _formatted(value: float | None, digits: int, unit: str, signed: bool) -> str:
    if value is None or not math.isfinite(value):
        return NOTHING
    text = f"{abs(value):.{digits}f}"
    if float(text) != 0.0:
        text = (MINUS if value < 0 else "+" if signed else "") + text
    return f"{text} {unit}" if unit else text


def percent(fraction: float | None, digits: int = 1) -> str:
    """Fraction [1] as "93.4 %"."""
    return number(None if fraction is None else 100.0 * fraction, digits, "%")


def percent_change(fraction: float | None, digits: int = 1) -> str:
    """Relative change [1] as "+3.4 %"."""
    return signed(None if fraction is None else 100.0 * fraction, digits, "%")


def speed(rpm: float | None) -> str:
    """Engine speed [rpm] as "6240 rpm"."""
    return number(rpm, 0, "rpm")


def span(low: float, high: float, unit: str = "rpm", digits: int = 0) -> str:
    """Range [unit] as "3000-6000 rpm" with a proper dash."""
    return f"{low:.{digits}f}{DASH}{high:.{digits}f} {unit}"


def listed(items: Iterable[object], last: str = "and") -> str:
    """Items [any] as "a", "a and b", "a, b and c"."""
    words = [str(item) for item in items]
    if len(words) < 2:
        return "".join(words)
    return f"{', '.join(words[:-1])} {last} {words[-1]}"


def counted(count: int, singular: str, plural: str | None = None) -> str:
    """Count [1] with its noun: "1 point", "3 points"."""
    return f"{count} {singular if count == 1 else plural or singular + 's'}"


def tiny(value: float | None) -> str:
    """Relative balance error [1] as a power of ten that reads at a glance: "3e-13", "0" for exactly nothing."""
    if value is None or not math.isfinite(value):
        return NOTHING
    return "0" if value == 0 else f"{abs(value):.0e}".replace("e-0", "e-").replace("e+0", "e")


def duration(seconds: float) -> str:
    """Time [s] as "8 s", "2 min 05 s", "1 h 10 min"."""
    whole = max(0, int(round(seconds)))
    if whole < 60:
        return f"{whole} s"
    if whole < 3600:
        return f"{whole // 60} min {whole % 60:02d} s"
    return f"{whole // 3600} h {whole % 3600 // 60:02d} min"


def wrapped(text: str, width: int) -> list[str]:
    """Text [str] broken at spaces into lines of at most `width` characters, the lines as even as they can be."""
    import textwrap

    lines = textwrap.wrap(text, width) or [""]
    if len(lines) < 2:
        return lines
    narrow = width
    while narrow > 20:
        tighter = textwrap.wrap(text, narrow - 1)
        if len(tighter) > len(lines):
            break
        narrow -= 1
    return textwrap.wrap(text, narrow)


def in_columns(values: Sequence[float], digits: int = 0) -> str:
    """Values [any unit] as "1500, 2000, 2500"; long lists are cut in the middle."""
    texts = [f"{value:.{digits}f}" for value in values]
    if len(texts) > 12:
        texts = [*texts[:6], "\N{HORIZONTAL ELLIPSIS}", *texts[-4:]]
    return ", ".join(texts)
