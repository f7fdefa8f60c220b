"""Drawings made of characters: the area along the gas path, and a small curve that grows while speeds are computed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from waveflow.show.sizes import with_unit
from waveflow.show.views import Stretch, Tract
from waveflow.show.words import plain

BLOCKS = " \u2581\u2582\u2583\u2584\u2585\u2586\u2587\u2588"
CHAMBER = "\N{LIGHT SHADE}"
FINE_GLYPHS = BLOCKS[1:] + CHAMBER
DOT, MARK = "\N{MIDDLE DOT}", "\N{BULLET}"


def path_drawing(tract: Tract, width: int, rows: int = 7, fine: bool = True) -> list[str]:
    """Flow area along the whole path as lines of text: `width` [characters] long to scale, `rows` [lines] high.

    Height is area, up to the largest pipe; chambers are shaded to the top. Not `fine` [bool]: only "#" and ".".
    """
    parts = _placed(tract)
    total = parts[-1][1] + parts[-1][0].length if parts else 0.0
    if total <= 0:
        return ["no pipes"]
    pipes = [s for s, _ in parts if s.kind != "volume"]
    top = max((float(s.area.max()) for s in pipes), default=1.0)
    scale = f"{with_unit('area', top)} "
    columns = max(width - len(scale), 20)
    places = (np.arange(columns) + 0.5) * total / columns
    heights = [_height(parts, place, top) for place in places]
    lines = []
    for row in range(rows, 0, -1):
        cells = "".join(_cell(height, row, rows, fine) for height in heights)
        lines.append((scale if row == rows else " " * len(scale)) + cells.rstrip())
    lines += [" " * len(scale) + line for line in _names(parts, total, columns)]
    lines.append(" " * len(scale) + f"{with_unit('length', total / columns)} a character; height is flow area")
    return lines


def near_cylinder(tract: Tract) -> Tract:
    """The tract [Tract] cut down to the last pipe and the port before the cylinder, and the port after it."""
    intake = [s for s in tract.intake if s.kind in ("pipe", "port")]
    exhaust = [s for s in tract.exhaust if s.kind in ("pipe", "port")]
    return replace(tract, intake=tuple(intake[-2:]), exhaust=tuple(exhaust[:1]))


def _placed(tract: Tract) -> list[tuple[Stretch, float]]:
    """Every part with its start [m]; the cylinder is drawn as a gap of 3 % of the length."""
    lengths = sum(s.length for s in (*tract.intake, *tract.exhaust))
    start, parts = 0.0, []
    for stretch in tract.intake:
        parts.append((stretch, start))
        start += stretch.length
    start += 0.03 * lengths
    for stretch in tract.exhaust:
        parts.append((stretch, start))
        start += stretch.length
    return parts


def _height(parts: list[tuple[Stretch, float]], place: float, top: float) -> float:
    """Area at a place as a share of the top; -1 in a chamber, 0 in the cylinder."""
    for stretch, start in parts:
        if start <= place < start + stretch.length:
            return -1.0 if stretch.kind == "volume" else stretch.area_at(stretch.x[0] + place - start) / top
    return 0.0


def _cell(height: float, row: int, rows: int, fine: bool) -> str:
    if height < 0:
        return CHAMBER if fine else "."
    filled = height * rows - (row - 1)
    if not fine:
        return "#" if filled >= 0.5 else " "
    return BLOCKS[int(np.clip(round(8 * filled), 0, 8))]


def _names(parts: list[tuple[Stretch, float]], total: float, columns: int) -> list[str]:
    """Names under their parts on as many lines as they need so that none overlaps another."""
    lines: list[list[str]] = []
    for stretch, start in parts:
        name = plain(stretch.name, 16)
        middle = int((start + stretch.length / 2) / total * columns)
        first = int(np.clip(middle - len(name) // 2, 0, max(columns - len(name), 0)))
        around = slice(max(first - 1, 0), first + len(name) + 1)
        row = next((line for line in lines if not "".join(line[around]).strip()), None)
        if row is None:
            row = [" "] * columns
            lines.append(row)
        row[first : first + len(name)] = name
    return ["".join(line).rstrip() for line in lines]


def small_curve(points: Sequence[tuple[float, float]], width: int, rows: int, fine: bool = True) -> list[str]:
    """A curve of (x, y) [any units] as lines of text `width` by `rows` [characters], scaled to its own range.

    Points that are not finite are left out; with fewer than two the lines are empty.
    """
    known = sorted((x, y) for x, y in points if np.isfinite(y))
    grid = [[" "] * width for _ in range(rows)]
    if len(known) >= 2:
        x, y = np.array(known).T
        across = np.linspace(x[0], x[-1], width)
        between = np.interp(across, x, y)
        low, high = float(y.min()), float(y.max())
        height = max(high - low, 1e-12)
        levels = np.clip(((between - low) / height * (rows - 1)).round().astype(int), 0, rows - 1)
        for column, level in enumerate(levels):
            grid[rows - 1 - level][column] = DOT if fine else "."
        for value_x, value_y in known:
            column = int(round((value_x - x[0]) / (x[-1] - x[0]) * (width - 1)))
            level = int(np.clip(round((value_y - low) / height * (rows - 1)), 0, rows - 1))
            grid[rows - 1 - level][column] = MARK if fine else "o"
    return ["".join(line).rstrip() for line in grid]
