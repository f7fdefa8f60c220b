"""One look per option: colour, line, marker and hatch, so that each is told apart in colour and in grey.

Colours are those of Okabe and Ito ("Color universal design", 2008), which readers with any of the common colour-vision
deficiencies can separate; the order is chosen so that neighbours also differ in lightness when printed in grey.
"""

from __future__ import annotations

from dataclasses import dataclass

INK = "#20252b"
SOFT_INK = "#4a525b"
FAINT = "#8a9199"
HAIRLINE = "#d9dde1"
METAL = "#eceae6"
PAPER = "#ffffff"
GAIN = "#56B4E9"
LOSS = "#E69F00"
ALARM = "#B3261E"


@dataclass(frozen=True)
class Look:
    """How one option is drawn: `color`, `line` (dash pattern), `marker`, `width` [pt] and `hatch` of its band."""

    color: str
    line: str | tuple[float, tuple[float, ...]]
    marker: str
    width: float
    hatch: str


LOOKS = (
    Look(INK, "solid", "o", 1.4, "...."),
    Look("#0072B2", (0, (8, 1.5)), "D", 2.0, "////"),
    Look("#D55E00", (0, (4, 1.2, 1, 1.2)), "^", 2.0, "\\\\\\\\"),
    Look("#009E73", (0, (1.2, 1.1)), "s", 2.2, "xxxx"),
    Look("#CC79A7", (0, (9, 1.5, 1, 1.5, 1, 1.5)), "v", 2.0, "----"),
    Look("#999933", (0, (2.6, 1.2)), "P", 2.0, "||||"),
)


def look(index: int) -> Look:
    """Look of the option at `index` [1] in the order given; the seventh option starts over with the first look."""
    return LOOKS[index % len(LOOKS)]


def greyness(color: str) -> float:
    """Relative luminance [1] of a "#rrggbb" colour, 0 black to 1 white (ITU-R BT.709 weights, sRGB decoded)."""
    channels = [int(color[start : start + 2], 16) / 255 for start in (1, 3, 5)]
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in channels]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]
