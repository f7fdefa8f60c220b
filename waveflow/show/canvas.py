"""The sheet every figure is drawn on: style, size, safe text, and saving as PNG or SVG with a description inside.

Figures are made with ``Figure`` and its own canvas, never through pyplot, so nothing is kept in a global list, no
window system is asked for and two threads may draw at once.
"""

from __future__ import annotations

import io
import os
import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING
from xml.sax.saxutils import escape

from waveflow.show.looks import FAINT, INK

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

STYLE_SHEET = Path(__file__).with_name("waveflow.mplstyle")
A4_LANDSCAPE = (11.69, 8.27)
FORMATS = (".png", ".svg")


@contextmanager
def style() -> Iterator[None]:
    """Draw inside this: our style sheet, on top of it the user's own (path in WAVEFLOW_STYLE) if there is one."""
    import matplotlib

    sheets = [STYLE_SHEET]
    if own := os.environ.get("WAVEFLOW_STYLE"):
        sheets.append(Path(own).expanduser())
    with matplotlib.rc_context(), warnings.catch_warnings():
        # A name in a script the font lacks is drawn with boxes; that is no reason to write to the user's terminal.
        warnings.filterwarnings("ignore", message=r"Glyph .* missing from", category=UserWarning)
        for sheet in sheets:
            matplotlib.rcParams.update(matplotlib.rc_params_from_file(sheet, use_default_template=False))
        yield


def sheet(size: tuple[float, float] = A4_LANDSCAPE) -> Figure:
    """Empty figure of `size` [inch]; call inside ``style()``."""
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    figure = Figure(figsize=size)
    FigureCanvasAgg(figure)
    return figure


def describe(figure: Figure, title: str, description: str) -> Figure:
    """Give the figure the words [str] read aloud in its place; they are saved inside the file."""
    figure.set_label(title)
    figure.waveflow_words = (title, description)
    return figure


def words_of(figure: Figure) -> tuple[str, str]:
    """Title and description [str] the figure was given with ``describe``; empty where it was given none."""
    return getattr(figure, "waveflow_words", ("", ""))


def rendered(figure: Figure, suffix: str) -> bytes:
    """The figure as the bytes of a file of kind `suffix` [".png" or ".svg"]; the same figure gives the same bytes.

    Raises ValueError for any other suffix.
    """
    if suffix.lower() not in FORMATS:
        raise ValueError(f"figures are written as {' or '.join(FORMATS)}, not {suffix!r}")
    title, description = words_of(figure)
    buffer = io.BytesIO()
    with style():
        if suffix.lower() == ".png":
            metadata = {"Title": title, "Description": description, "Software": "waveflow"}
            figure.savefig(buffer, format="png", metadata=metadata)
            return buffer.getvalue()
        figure.savefig(buffer, format="svg", metadata={"Date": None, "Creator": "waveflow"})
    return _with_words(buffer.getvalue().decode(), title, description).encode()


def _with_words(svg: str, title: str, description: str) -> str:
    """Put <title> and <desc> first inside <svg> and point the picture's role at them (SVG 1.1, section 5.4)."""
    start = svg.index("<svg ")
    end = svg.index(">", start)
    opening = svg[start:end] + ' role="img" aria-labelledby="words-title words-desc"'
    words = f'<title id="words-title">{escape(title)}</title>\n <desc id="words-desc">{escape(description)}</desc>'
    return f"{svg[:start]}{opening}>\n {words}{svg[end + 1 :]}"


def save(figure: Figure, path: str | os.PathLike[str]) -> Path:
    """Write the figure to `path` (kind by its ending, .png or .svg) whole or not at all; returns the path.

    Raises ValueError for another ending and StoreError (study.writing) where the folder cannot be written.
    """
    from waveflow.study.writing import write_atomic

    target = Path(path)
    write_atomic(target, rendered(figure, target.suffix))
    return target


def name_axes(axes: Axes, up: str, across: str = "", aside: str = "") -> None:
    """Name the axes: `across` below, `up` as a line above the top left corner, where it reads without turning."""
    if across:
        axes.set_xlabel(across)
    axes.text(0, 1.015, up, transform=axes.transAxes, fontsize=8, color=INK, fontweight="bold", va="bottom")
    if aside:
        axes.text(1, 1.015, aside, transform=axes.transAxes, fontsize=7, color=FAINT, va="bottom", ha="right")


def bare(axes: Axes) -> Axes:
    """Strip an axes of frame, ticks and grid, for drawings that are not charts."""
    axes.set_axis_off()
    axes.grid(False)
    return axes
