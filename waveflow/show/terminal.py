"""What goes to a terminal: streams that never fail on a glyph, and tables that read in a line of plain text too.

Results go to standard output, everything else (progress, warnings, errors) to standard error. User text never meets
markup: rich's markup, emoji codes and highlighting are off, and control characters are taken out before.
"""

from __future__ import annotations

import codecs
import os
import shutil
import sys
from collections.abc import Sequence
from typing import IO, TYPE_CHECKING

from waveflow.show.words import ASCII_GLYPHS, plain

if TYPE_CHECKING:
    from rich.console import Console
    from rich.table import Table

NARROWEST, WIDEST = 60, 132
_DEGRADE = "waveflow-degrade"


def _degraded(error: UnicodeError) -> tuple[str, int]:
    """Codec error handler: a character the output cannot hold becomes its plain spelling, or "?"."""
    if not isinstance(error, UnicodeEncodeError):
        raise error
    bad = error.object[error.start : error.end]
    return "".join(ASCII_GLYPHS.get(char, "?") for char in bad), error.end


codecs.register_error(_DEGRADE, _degraded)


def prepare_streams(*streams: IO[str]) -> None:
    """Make streams (by default stdout and stderr) spell out what their encoding lacks instead of failing."""
    for stream in streams or (sys.stdout, sys.stderr):
        reconfigure = getattr(stream, "reconfigure", None)
        if reconfigure is not None:
            reconfigure(errors=_DEGRADE)


def can_show(glyphs: str, stream: IO[str]) -> bool:
    """Whether the stream's encoding holds every one of `glyphs` [str]."""
    try:
        glyphs.encode(getattr(stream, "encoding", None) or "ascii")
    except (UnicodeEncodeError, LookupError):
        return False
    return True


def is_live(stream: IO[str]) -> bool:
    """Whether the stream is a terminal on which lines can be drawn over (not a file, a pipe or TERM=dumb)."""
    try:
        return stream.isatty() and os.environ.get("TERM") != "dumb"
    except ValueError:  # closed
        return False


def width_of(stream: IO[str]) -> int:
    """Columns to write in; 100 where the stream is no terminal and COLUMNS is not set."""
    columns = shutil.get_terminal_size((100, 24)).columns if is_live(stream) or os.environ.get("COLUMNS") else 100
    return min(max(columns, NARROWEST), WIDEST)


def console(stream: IO[str] | None = None) -> Console:
    """A console on a stream (stdout by default) that leaves user text alone and knows NO_COLOR."""
    from rich.console import Console

    file = stream or sys.stdout
    return Console(file=file, markup=False, emoji=False, highlight=False, width=width_of(file), soft_wrap=False,
                   no_color=True if "NO_COLOR" in os.environ else None)  # fmt: skip


def table(
    columns: Sequence[tuple[str, str]], rows: Sequence[Sequence[str]], title: str = "", roomy: bool = True
) -> Table:
    """Table of texts, made safe. `columns`: (heading, kind); "left" texts may wrap, "right" numbers and "key" not.

    Not `roomy` [bool]: columns of numbers are only as wide as their numbers, and their headings wrap.
    """
    from rich import box
    from rich.table import Table
    from rich.text import Text

    made = Table(box=box.SIMPLE_HEAD, title=Text(plain(title, 200)) if title else None, title_justify="left",
                 title_style="bold", header_style="bold", pad_edge=False, show_edge=False)  # fmt: skip
    for (heading, kind), width in zip(columns, _widths(columns, rows, roomy), strict=True):
        made.add_column(Text(plain(heading, 60)), justify="right" if kind == "right" else "left", overflow="fold",
                        width=None if kind == "left" else width)  # fmt: skip
    for row in rows:
        made.add_row(*(Text(plain(cell, 400)) for cell in row))
    return made


def _widths(columns: Sequence[tuple[str, str]], rows: Sequence[Sequence[str]], roomy: bool) -> list[int]:
    """Width [characters] each column needs for its longest cell, and its heading whole or (not `roomy`) by word."""
    widths = []
    for k, (heading, _) in enumerate(columns):
        words = [plain(heading, 60)] if roomy else plain(heading, 60).split()
        widths.append(max([1, *(len(plain(row[k], 400)) for row in rows), *(len(word) for word in words)]))
    return widths


def tables_that_fit(
    columns: Sequence[tuple[str, str]], rows: Sequence[Sequence[str]], width: int, title: str = ""
) -> list[Table]:
    """One table, or several beside the same first column, so that none is wider than `width` [characters]."""
    gap = 3
    roomy = sum(_widths(columns, rows, True)) + gap * (len(columns) - 1) <= width
    needed = _widths(columns, rows, roomy)
    groups: list[list[int]] = [[]]
    for k in range(1, len(columns)):
        if groups[-1] and needed[0] + sum(needed[j] + gap for j in groups[-1]) + gap + needed[k] > width:
            groups.append([])
        groups[-1].append(k)
    made = []
    for group in groups:
        heads, cells = [columns[k] for k in (0, *group)], [[row[k] for k in (0, *group)] for row in rows]
        made.append(table(heads, cells, "" if made else title, roomy))
    return made


def say(text: str, stream: IO[str] | None = None) -> None:
    """Write one line of text, made safe, to standard error (by default)."""
    file = stream or sys.stderr
    file.write(plain(text, 2000) + "\n")
    file.flush()


def say_if_cold(quiet: bool = False) -> None:
    """Say, before the first run on a machine, that it will compile the solver."""
    from waveflow.compiled import is_cold

    if not quiet and is_cold():
        say("The solver is compiled for this machine first; that takes about half a minute and is kept.")
