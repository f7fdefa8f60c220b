"""Stations of a port against its burette volume: what agrees, what does not, and which station to measure again.

Weighted least squares. Observed: the net area of every station, the burette volume, the length of the centreline, and
- weakly, as ports do have bosses and pinches - that a station lies between its neighbours. Sought: areas and length
that fit all of it best. A residual is judged against its own uncertainty, which is smaller than that of the reading
(W. Baarda, A testing procedure for use in geodetic networks, 1968).

Uncertainties (one sigma) of stations: `station_margins.py`. The others by a rule that is our choice, no source:
* the burette: its margin or 0.3 cc, and 0.5 % for where plate and seat close the port; the length: its margin or 1 mm;
* a station beside the line through its neighbours: 20 % of its area.

The stations run in the model as they were measured: nothing here moves them.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np

from waveflow.engine.section import net_area
from waveflow.engine.station_margins import PortMargins, reading_error, resolution_of, station_error

__all__ = ["Adjusted", "Difference", "PortMargins", "Reading", "Reconciled", "adjust", "against", "reading_error", "reconcile",
           "resolution_of", "station_error"]  # fmt: skip

DOUBT = 3.0
"""Residual over its own uncertainty from which a reading is doubted (our choice: 0.3 % of good readings go beyond)."""
SAME_DOUBT = 0.9
"""Share of the greatest doubt from which another reading cannot be told from it (our choice)."""
EVENNESS = 0.20
LENGTH_ERROR = 1e-3
BURETTE_ERROR = (0.3e-6, 0.005)
NEAR = 1e-3


class Reading(NamedTuple):
    """One station [m, m2]: measured net area, its uncertainty (one sigma), area that fits best, residual over its own
    uncertainty [-], and the least error of the station [m2] that would be noticed.
    """

    at: float
    measured: float
    error: float
    fitted: float
    doubt: float
    noticed: float


@dataclass(frozen=True)
class Reconciled:
    """A port's stations against its burette. `volume`, `volume_error`: burette [m3]; `stations_volume`: what the stations
    hold [m3]; `fitted_volume` [m3]; `volume_doubt`, `length_doubt` [-]; `chi`: root of the weighted sum of squares over
    its `freedom`, near 1 or below if all agrees; `advice`: what to measure again, in words.
    """

    stations: tuple[Reading, ...]
    volume: float
    volume_error: float
    stations_volume: float
    fitted_volume: float
    volume_doubt: float
    length_doubt: float
    chi: float
    freedom: int
    advice: str

    @property
    def agrees(self) -> bool:
        """Whether no reading lies beyond its uncertainty."""
        return max(self.volume_doubt, self.length_doubt, *(each.doubt for each in self.stations)) <= DOUBT


class Adjusted(NamedTuple):
    """Result of `adjust`: corrections to the readings, their doubts [-], least errors noticed, sum of squares."""

    correction: np.ndarray
    doubt: np.ndarray
    noticed: np.ndarray
    squares: float


def adjust(design: np.ndarray, observed: np.ndarray, error: np.ndarray) -> Adjusted:
    """Weighted least squares of `design` (m, n) times the unknowns against `observed` (m,) with `error` (m,) one sigma.

    Correction = fitted - observed; doubt = |correction| / its own sigma, 0 where a reading is not checked by others;
    noticed = error of a reading that alone would give a doubt of `DOUBT`, infinite where it is not checked.
    """
    scaled = design / error[:, None]
    unknowns = np.linalg.lstsq(scaled, observed / error, rcond=None)[0]
    correction = design @ unknowns - observed
    basis = np.linalg.qr(scaled)[0]
    free = np.clip(1.0 - (basis**2).sum(axis=1), 0.0, 1.0)
    checked = free > 1e-9
    root = np.sqrt(np.where(checked, free, 1.0))
    doubt = np.where(checked, np.abs(correction) / error / root, 0.0)
    noticed = np.where(checked, DOUBT * error / root, np.inf)
    return Adjusted(correction, doubt, noticed, float(((correction / error) ** 2).sum()))


def _volume(at: np.ndarray, areas: np.ndarray, straight: bool, length: float) -> float:
    beyond = areas[-1] * (length - at[-1])
    if straight or len(at) == 2:
        return float(np.trapezoid(areas, at) + beyond)
    from scipy.interpolate import PchipInterpolator

    return float(PchipInterpolator(at, areas).integrate(at[0], at[-1]) + beyond)


def reconcile(stations: Sequence[Any], burette: float, length: float | None = None, *,
              straight: bool = False, margins: PortMargins | None = None) -> Reconciled:
    """Stations [m, m2] of a port against its burette volume [m3] and centreline length [m] (the last station's place if
    not given); `straight`: the area runs linearly between stations, else by the port's own smooth curve; `margins`: those
    given with the values, before which the rule stands back.

    Raises ValueError for fewer than two stations or a volume that is not positive.
    """
    if len(stations) < 2 or not burette > 0.0:
        raise ValueError("reconciling needs two stations at least and a positive burette volume")
    at = np.array([s.at for s in stations], float)
    areas = np.array([net_area(s) for s in stations])
    known = margins or PortMargins()
    error = np.array([station_error(s, known.of(number)) for number, s in enumerate(stations)])
    length = float(at[-1]) if length is None else max(float(length), float(at[-1]))
    held, count = _volume(at, areas, straight, length), len(areas)
    # how the volume goes with each area; a curve through the stations scales with them, so held = weight @ areas
    step = 1e-4 * areas.mean()
    weight = np.array([(_volume(at, areas + step * unit, straight, length)
                        - _volume(at, areas - step * unit, straight, length)) / (2.0 * step) for unit in np.eye(count)])
    volume_error = math.hypot(known.burette or BURETTE_ERROR[0], BURETTE_ERROR[1] * burette)
    # unknowns: change of every area and relative change of the length
    rows = [np.eye(count, count + 1), np.append(weight, held)[None], np.append(np.zeros(count), length)[None]]
    observed, sigma = [*np.zeros(count), burette - held, 0.0], [*error, volume_error, known.length or LENGTH_ERROR]
    for i in range(1, count - 1):
        share = (at[i] - at[i - 1]) / (at[i + 1] - at[i - 1])
        row = np.zeros(count + 1)
        row[i - 1 : i + 2] = share - 1.0, 1.0, -share
        rows.append(row[None])
        observed.append(-(row[:count] @ areas))
        sigma.append(EVENNESS * areas[i])
    made = adjust(np.vstack(rows), np.array(observed), np.array(sigma))
    readings = tuple(Reading(float(x), float(a), float(e), float(a + c), float(d), float(n)) for x, a, e, c, d, n in
                     zip(at, areas, error, made.correction, made.doubt, made.noticed, strict=False))
    doubts = {f"the station at {1e3 * s.at:g} mm{_words(s)}": float(d) for s, d in zip(stations, made.doubt, strict=False)}
    doubts |= {"the burette volume": float(made.doubt[count]), "the length": float(made.doubt[count + 1])}
    freedom = count - 1
    return Reconciled(readings, burette, volume_error, held, burette + float(made.correction[count]),
                      float(made.doubt[count]), float(made.doubt[count + 1]), math.sqrt(made.squares / freedom), freedom,
                      _advice(doubts, made.correction[:count] / areas))


def _words(station: Any) -> str:
    words = [text for text in (getattr(station, "note", ""), getattr(station, "instrument", "")) if text]
    return f" ({', '.join(words)})" if words else ""


def _advice(doubts: dict[str, float], relative: np.ndarray) -> str:
    worst = max(doubts, key=lambda name: doubts[name])
    if doubts[worst] <= DOUBT:
        return "all agree within their uncertainty"
    names = list(doubts)
    others = [name for name in names if name != worst and doubts[name] >= SAME_DOUBT * doubts[worst]]
    place = names.index(worst)
    off = f", {relative[place]:+.1%} to fit" if place < len(relative) else ""
    text = f"measure this one again: {worst}{off}, {doubts[worst]:.1f} times its uncertainty"
    return text + (f"; {' or '.join(others)} could be it as well" if others else "")


class Difference(NamedTuple):
    """One station beside the same one of another port: place [m], net areas [m2], difference over its uncertainty."""

    at: float
    area: float
    other_area: float
    doubt: float


def against(stations: Sequence[Any], other: Sequence[Any]) -> tuple[tuple[Difference, ...], str]:
    """Stations of a port beside those of another that should be equal (the reference port, another cylinder), and in
    words which one differs most if beyond what the instruments can read.

    Places within 1 mm count as the same; shape and blocked area are taken to be alike, so only the readings' own
    uncertainty counts. Raises ValueError where no place is common.
    """
    rows = []
    for station in stations:
        twin = min(other, key=lambda each, x=station.at: abs(each.at - x))
        if abs(twin.at - station.at) <= NEAR:
            error = math.hypot(reading_error(station), reading_error(twin))
            areas = net_area(station), net_area(twin)
            rows.append((Difference(float(station.at), *areas, abs(areas[0] - areas[1]) / error), station))
    if not rows:
        raise ValueError("the two ports have no station at the same place")
    worst, station = max(rows, key=lambda row: row[0].doubt)
    text = "no station differs beyond what the instruments read"
    if worst.doubt > DOUBT:
        text = (f"the station at {1e3 * worst.at:g} mm{_words(station)} differs: {worst.area / worst.other_area - 1:+.1%} "
                f"of area, {worst.doubt:.1f} times what the instruments read")
    return tuple(row for row, _ in rows), text
