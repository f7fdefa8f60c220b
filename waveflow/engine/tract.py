"""The gas path of one cylinder as ducts: which parts follow each other, their areas, walls, and where the area steps.

`intake_duct` runs from the outer end of the runner to the valve, `exhaust_duct` from the valve to the end of the primary.
Both are used to mesh the model and to draw the tract to scale. An open end is lengthened by its end correction: 0.6133
radii for a pipe that stands free (Levine & Schwinger, "On the Radiation of Sound from an Unflanged Circular Pipe", Phys.
Rev. 73, 1948), 0.8216 radii for one that ends in a wall (Norris & Sheng, "Acoustic Radiation from a Circular Pipe with an
Infinite Flange", J. Sound Vib. 135, 1989, value from memory).
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from waveflow.engine.losses import ENTRY_LOSS, Turn, bend_loss
from waveflow.engine.port import AreaCurve, ramps_as_steps, runner_curve, steep_steps

END_CORRECTION = {"ideal": 0.0, "bellmouth": 0.6133, "plain": 0.6133, "flanged": 0.8216}
"""Added length over pipe radius; a bellmouth is taken as standing free (a choice)."""

SAME_AREA = 1e-3
"""Relative difference of area below which two parts are one duct; above it the joint between them is a step."""


def inward_opening(kind: str) -> float:
    """Opening for flow into an open end that costs its entry loss, 1/sqrt(1 + K) [-]."""
    return 1.0 / math.sqrt(1.0 + ENTRY_LOSS[kind])


@dataclass(frozen=True)
class Stretch:
    """A part of a duct between x0 and x1 [m]: its name, roughness [m] and wall temperature [K]."""

    name: str
    x0: float
    x1: float
    roughness: float
    wall_temperature: float

    def moved(self, by: float) -> Stretch:
        """The same part `by` metres further along."""
        return replace(self, x0=self.x0 + by, x1=self.x1 + by)


@dataclass(frozen=True)
class Duct:
    """An area curve, the parts along it and their bends; steps of area stay in the curve."""

    curve: AreaCurve
    stretches: tuple[Stretch, ...]
    turns: tuple[Turn, ...] = ()

    @property
    def length(self) -> float:
        """Centreline length [m]."""
        return self.curve.length

    def stretch(self, name: str) -> Stretch | None:
        """The part of that name, if the duct has it."""
        return next((s for s in self.stretches if s.name == name), None)

    def followed_by(self, other: Duct) -> Duct:
        """This duct and then the other one."""
        at = self.curve.length
        stretches = self.stretches + tuple(s.moved(at) for s in other.stretches)
        return Duct(self.curve.joined(other.curve), stretches, self.turns + tuple(t.moved(at) for t in other.turns))

    def sections(self) -> list[tuple[float, float]]:
        """Stretches [m] without a step inside: what becomes one pipe each. Ramps too steep to mesh count as steps."""
        edges = [0.0]
        for step in self.curve.steps:
            if abs(step.area_after / step.area_before - 1.0) > SAME_AREA:
                edges.append(step.x)
        edges.append(self.curve.length)
        return [(a, b) for a, b in zip(edges[:-1], edges[1:], strict=True) if b - a > 1e-9]

    def sizes(self, cell: float, in_port: float) -> Callable[[float], float]:
        """Wanted cell length at any place [m]: `cell`, and `in_port` times that where the port is."""
        port = self.stretch("port")
        return lambda x: cell * in_port if port is not None and port.x0 < x < port.x1 else cell

    def without_steep_ramps(self) -> Duct:
        """The duct with every ramp too steep for cells made a step, decided from the description alone."""
        ramps = steep_steps(self.curve)
        return replace(self, curve=ramps_as_steps(self.curve, ramps)) if ramps else self

    def bent(self, bends: Any, start: float = 0.0, whole: float | None = None) -> Duct:
        """The duct with those of a case's bends that lie in it, as the piece from `start` [m] on of a pipe `whole` [m] long.

        A bend that does not say where it begins is spread over the whole pipe.
        """
        whole = self.length if whole is None else whole
        turns = []
        for bend in bends:
            x0, x1 = 0.0, whole
            if bend.at is not None:
                x0, x1 = bend.at, min(bend.at + bend.arc, whole)
            low, high = max(x0, start) - start, min(x1, start + self.length) - start
            if high - low < 1e-9:
                continue
            diameter = 2.0 * math.sqrt(self.curve.mean_area(low, high) / math.pi)
            rough = next(s.roughness for s in self.stretches if s.x0 <= low <= s.x1)
            k = bend_loss(bend.angle, bend.radius, diameter, rough) * (high - low) / (x1 - x0)
            turns.append(Turn(low, high, k))
        return replace(self, turns=(*self.turns, *turns))


def plain_duct(name: str, length: float, area: float, roughness: float, wall_temperature: float) -> Duct:
    """A straight duct of constant area."""
    curve = AreaCurve.linear_area([0.0, length], [area, area])
    return Duct(curve, (Stretch(name, 0.0, length, roughness, wall_temperature),))


def circle(diameter: float) -> float:
    """Area of a circle [m2]."""
    return 0.25 * math.pi * diameter**2


def port_curve(port: Any) -> AreaCurve:
    """Area along a port: smooth through its stations, or linear in between where the case says so."""
    if port.between == "linear area":
        from waveflow.engine.section import net_area, net_perimeter

        at = [s.at for s in port.stations]
        return AreaCurve.linear_area(at, [net_area(s) for s in port.stations], [net_perimeter(s) for s in port.stations])
    return AreaCurve.from_stations(port.stations, port.length)


def intake_duct(case: Any) -> Duct | None:
    """From the runner's mouth (end correction included) to the intake valve; None if the case has neither runner nor port."""
    side = case.intake
    duct = None
    if side.runner is not None:
        r = side.runner
        inlet = circle(r.inlet_diameter)
        outlet = r.outlet_area if r.outlet_area is not None else inlet
        face = port_curve(side.port).area_at(0.0) if side.port is not None else outlet
        curve = runner_curve(r.length, inlet, outlet, r.blend_length, face if r.blend_length else None)
        correction = END_CORRECTION[r.entry] * 0.5 * r.inlet_diameter
        if correction > 0.0:
            duct = plain_duct("mouth", correction, inlet, r.roughness, r.wall_temperature)
        own = Duct(curve, (Stretch("runner", 0.0, r.length, r.roughness, r.wall_temperature),)).bent(r.bends)
        duct = own if duct is None else duct.followed_by(own)
    if side.port is not None:
        curve = port_curve(side.port)
        own = Duct(curve, (Stretch("port", 0.0, curve.length, side.port.roughness, side.port.wall_temperature),))
        duct = own if duct is None else duct.followed_by(own)
    return duct.without_steep_ramps() if duct is not None else None


def exhaust_duct(case: Any, cylinder: int) -> Duct | None:
    """From the exhaust valve to the end of the primary of cylinder 0, 1, ...; end correction of a free end included."""
    side = case.exhaust
    duct = None
    if side.port is not None:
        curve = port_curve(side.port)
        duct = Duct(curve, (Stretch("port", 0.0, curve.length, side.port.roughness, side.port.wall_temperature),))
    h = side.header
    if h is not None:
        length = h.primary_length[cylinder % len(h.primary_length)]
        own = plain_duct("primary", length, circle(h.primary_diameter), h.roughness, h.wall_temperature)
        own = own.bent(h.primary_bends)
        duct = own if duct is None else duct.followed_by(own)
        if h.tail_length is None and h.secondary_length is None:
            duct = with_free_end(duct, h, h.primary_diameter)
    return duct.without_steep_ramps() if duct is not None else None


def with_free_end(duct: Duct, header: Any, diameter: float) -> Duct:
    """The duct lengthened by the end correction of the header's open end."""
    extra = END_CORRECTION[header.exit] * 0.5 * diameter
    if extra == 0.0:
        return duct
    return duct.followed_by(plain_duct("open end", extra, circle(diameter), header.roughness, header.wall_temperature))


def tail_ducts(header: Any) -> list[Duct]:
    """What follows the collector: tail, silencer as an expansion chamber, rest of the tail; the last one ends free."""
    area = circle(header.tail_diameter)
    walls = (header.roughness, header.wall_temperature)
    whole, bends = header.tail_length, header.tail_bends
    if header.silencer_at is None:
        return [with_free_end(plain_duct("tail", whole, area, *walls).bent(bends), header, header.tail_diameter)]
    ducts = []
    if header.silencer_at > 1e-6:
        ducts.append(plain_duct("tail", header.silencer_at, area, *walls).bent(bends, 0.0, whole))
    chamber = header.silencer_volume / header.silencer_length
    ducts.append(plain_duct("silencer", header.silencer_length, chamber, *walls))
    behind = header.silencer_at + header.silencer_length
    if whole - behind > 1e-6:
        last = plain_duct("tail end", whole - behind, area, *walls).bent(bends, behind, whole)
        ducts.append(with_free_end(last, header, header.tail_diameter))
    return ducts


def mesh(curve: AreaCurve, x0: float, x1: float, cell: float | Callable[[float], float]) -> np.ndarray:
    """Faces [m] of cells near `cell` [m] long (a length, or one for any place [m]) between x0 and x1, a face on every kink
    that does not make a small cell.

    Cells carry the exact mean and face areas of the curve, so a kink without a face costs accuracy, not volume; no cell
    is shorter than about 0.7 of the wanted length unless the whole stretch is.
    """
    size = cell if callable(cell) else lambda x: cell
    edges = [x0]
    for kink in curve.kinks:
        if kink - edges[-1] > 0.7 * size(0.5 * (kink + edges[-1])) and x1 - kink > 0.7 * size(0.5 * (kink + x1)):
            edges.append(float(kink))
    edges.append(x1)
    faces = [x0]
    for a, b in zip(edges[:-1], edges[1:], strict=True):
        wanted = size(0.5 * (a + b))
        n = max(1, round((b - a) / wanted))
        if (b - a) / n < 0.7 * wanted:
            n = max(1, n - 1)
        faces.extend(np.linspace(a, b, n + 1)[1:])
    if len(faces) < 5 and x1 - x0 > 0.0:
        faces = list(np.linspace(x0, x1, len(faces)))
    return np.array(faces)


def cell_areas(curve: AreaCurve, faces: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """(face areas (n+1), mean areas (n) [m2], hydraulic diameters (n) [m]) of the cells between `faces`."""
    inside = faces.copy()
    inside[-1] -= 1e-9 * curve.length  # a step at the end belongs to the next pipe
    face_area = np.asarray(curve.area_at(inside), float)
    mean = np.asarray(curve.mean_area(faces[:-1], faces[1:]), float)
    perimeter = np.asarray(curve.mean_perimeter(faces[:-1], faces[1:]), float)
    return face_area, mean, 4.0 * mean / perimeter
