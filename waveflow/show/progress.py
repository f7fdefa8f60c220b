"""How far a run is, on standard error: a growing curve on a terminal, a line a speed elsewhere, nothing if quiet."""

from __future__ import annotations

import math
import sys
import time
from typing import IO, Any

from waveflow.show.terminal import can_show, console, is_live, say, width_of
from waveflow.show.text_drawing import FINE_GLYPHS, small_curve
from waveflow.show.words import duration, percent, plain

BAR = "\N{BOX DRAWINGS HEAVY HORIZONTAL}"
CURVE_ROWS = 6


class Watch:
    """Told about finished speeds; used as a context manager, and called like ``study.sweep.Progress``.

    `stream`: where to write (standard error). `quiet`: write nothing at all.
    """

    def __init__(self, stream: IO[str] | None = None, quiet: bool = False) -> None:
        self.stream = stream or sys.stderr
        self.quiet = quiet
        self.label = ""
        self.points: dict[str, dict[float, float]] = {}
        self.done, self.total = 0, 0
        self.note = ""
        self._begun = time.monotonic()
        self._known = 0  # points that were there before this run and say nothing about its pace
        self._live: Any = None

    def __enter__(self) -> Watch:
        if not self.quiet and is_live(self.stream):
            from rich.live import Live

            self._live = Live(console=console(self.stream), auto_refresh=False, transient=True)
            self._live.start()
        return self

    def __exit__(self, *_: object) -> None:
        if self._live is not None:
            self._live.stop()
            self._live = None

    def say(self, text: str) -> None:
        """One line [str] for the user: above the drawing on a terminal, in the row of lines elsewhere."""
        if self.quiet:
            return
        if self._live is not None:
            self._live.console.print(plain(text, 400))
        else:
            say(text, self.stream)

    def begin(self, label: str, note: str = "") -> None:
        """A new curve [str] begins: speeds told from now on belong to it."""
        self.label = plain(label, 30)
        self.points.setdefault(self.label, {})
        self.note = note
        self._begun = time.monotonic()
        self.done = self.total = self._known = 0
        self._draw()

    def __call__(self, done: int, total: int, rpm: float, ve: float) -> None:
        """`done` of `total` speeds [1]; `rpm` [rpm] is finished with filling `ve` [1], NaN where it failed."""
        self.done, self.total, self.note = done, total, ""
        self.points.setdefault(self.label, {})[rpm] = ve
        if self.quiet:
            return
        if self._live is not None:
            self._draw()
            return
        result = "failed" if math.isnan(ve) else f"VE {percent(ve)}"
        self.stream.write(f"{self.label + ': ' if self.label else ''}{done} of {total}, {rpm:.0f} rpm, {result}\n")
        self.stream.flush()

    def reused(self, count: int) -> None:
        """`count` points [1] came from an earlier run; they are left out of the estimate of time."""
        self._known = count

    def time_left(self) -> float:
        """Estimate of the time left [s]; NaN before the first finished speed."""
        fresh = self.done - self._known
        if fresh <= 0 or self.total <= 0:
            return math.nan
        return (time.monotonic() - self._begun) / fresh * (self.total - self.done)

    def _draw(self) -> None:
        if self._live is None:
            return
        from rich.text import Text

        self._live.update(Text("\n".join(self.lines(width_of(self.stream)))), refresh=True)

    def lines(self, width: int) -> list[str]:
        """The drawing as lines of text at most `width` [characters] wide."""
        fine = can_show(FINE_GLYPHS, self.stream)
        curve = small_curve(list(self.points.get(self.label, {}).items()), min(width - 4, 72), CURVE_ROWS, fine)
        head = f"{self.label}: " if self.label else ""
        if self.total:
            share = self.done / self.total
            filled = int(round(24 * share))
            bar = (BAR if fine else "=") * filled + (" " * (24 - filled))
            left = self.time_left()
            rest = f", about {duration(left)} left" if math.isfinite(left) and self.done < self.total else ""
            head += f"[{bar}] {self.done} of {self.total} speeds{rest}"
        elif self.note:
            head += self.note
        known = [(rpm, ve) for rpm, ve in sorted(self.points.get(self.label, {}).items()) if math.isfinite(ve)]
        if len(known) < 2:
            return [head[:width]]
        top = max(known, key=lambda point: point[1])
        foot = f"VE {known[0][0]:.0f} to {known[-1][0]:.0f} rpm, highest so far {percent(top[1])} at {top[0]:.0f} rpm"
        return [head[:width], *("  " + line for line in curve), f"  {foot}"[:width]]
