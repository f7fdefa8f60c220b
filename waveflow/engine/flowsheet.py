"""Flow-bench readings or a coefficient table -> effective area of a valve against its lift, both ways.

Effective area = coefficient(L/D) x reference area, and the reference belongs to the coefficient: "curtain" pi D L,
"valve head" pi D^2/4, or "curtain capped by throat" min(pi D L, throat area) for tables that were stated so. SI: m,
m2, m3/s, Pa, K, kg/s.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any, Literal

import numpy as np

from waveflow.engine.bench import BenchAir, sheet_effective_area, sheet_findings
from waveflow.engine.breathing import (
    effective_area_table,
    inlet_mach_index,
    lift_time_flow,
    mean_effective_area_open,
)

__all__ = ["LIFT_MARGIN", "REFERENCES", "SHEET_REVERSE_FACTOR", "Reference", "ValveFlow", "curtain_area",
           "effective_area_table", "from_coefficient", "from_sheet", "head_area", "inlet_mach_index", "lift_time_flow",
           "mean_effective_area_open", "with_stock_coefficient"]

Reference = Literal["curtain", "valve head", "curtain capped by throat"]
REFERENCES = ("curtain", "valve head", "curtain capped by throat")
SHEET_REVERSE_FACTOR = 0.9
"""Reverse coefficient over forward one where only forward was measured: a guess, 0.75 to 1.05."""
LIFT_MARGIN = 0.5e-3
"""A cam may lift this far [m] beyond the last reading of a sheet before it is a problem."""


def head_area(diameter: float) -> float:
    """Valve-head area pi D^2/4 [m2]."""
    return math.pi / 4.0 * diameter * diameter


def curtain_area(diameter: float, lift: Any) -> Any:
    """Curtain area pi D L [m2] at `lift` [m]."""
    return math.pi * diameter * np.asarray(lift, float)[()]


@dataclass(frozen=True, eq=False)
class ValveFlow:
    """Effective area of ONE valve [m2] as a function of lift [m], forward (port's normal direction) and reverse.

    `coefficient`, `reverse_coefficient` (n,) on `reference` at `lift_over_diameter` (n,), L/D with the head diameter
    D [m]. `interpolation` between the points:
    * "linear": the coefficient itself, straight lines in L/D (as a stated table is meant);
    * "shape preserving": the effective area, monotone cubics (Fritsch and Butland, 1984) over L/D. It is the same
      number in either convention, so a sheet kept on curtain and on valve-head area gives one and the same answer,
      and no rise or fall appears that the readings do not have.

    Below the first point the curtain-based coefficient is held, so the area falls to zero in proportion to lift. Above
    the last point the coefficient on valve-head area is held, i.e. the area stays (a capped table: its coefficient is
    held). `findings`: plain sentences about a suspicious sheet; `assumed`: not measured on this port.
    """

    head_diameter: float
    reference: Reference
    lift_over_diameter: np.ndarray
    coefficient: np.ndarray
    reverse_coefficient: np.ndarray
    interpolation: Literal["linear", "shape preserving"] = "linear"
    throat_area: float | None = None
    source: str = ""
    findings: tuple[str, ...] = ()
    assumed: bool = False

    def __post_init__(self) -> None:
        if self.reference not in REFERENCES:
            raise ValueError(f"reference area must be one of {', '.join(REFERENCES)}, not {self.reference!r}")
        if (self.reference == "curtain capped by throat") != (self.throat_area is not None):
            raise ValueError("a throat area belongs to the reference 'curtain capped by throat', and only to it")
        if not self.head_diameter > 0.0 or (self.throat_area is not None and not self.throat_area > 0.0):
            raise ValueError("head diameter and throat area must be positive")
        for name in ("lift_over_diameter", "coefficient", "reverse_coefficient"):
            array = np.array(getattr(self, name), dtype=float)
            if array.ndim != 1 or not len(array) or len(array) != len(self.lift_over_diameter):
                raise ValueError("lifts and coefficients must be lists of equal length, one point at least")
            if not np.isfinite(array).all() or array.min() < 0.0:
                raise ValueError(f"{name.replace('_', ' ')} must hold numbers that are not negative")
            array.setflags(write=False)
            object.__setattr__(self, name, array)
        if not (np.diff(self.lift_over_diameter) > 0.0).all():
            raise ValueError("lifts must increase from point to point")
        if self.lift_over_diameter[0] < 0.0:
            raise ValueError("lifts must not be negative")
        if self.lift_over_diameter[0] == 0.0 and self.reference == "valve head" and (
                self.coefficient[0] > 0.0 or self.reverse_coefficient[0] > 0.0):
            raise ValueError("on valve-head area the coefficient at zero lift must be 0, or be left out")
        if self.lift_over_diameter[0] == 0.0 and self.interpolation != "linear":
            raise ValueError("a sheet's point at zero lift is its leak: leave it out")

    @property
    def last_lift(self) -> float:
        """Highest lift [m] of the table."""
        return float(self.lift_over_diameter[-1] * self.head_diameter)

    def reference_area(self, lift: Any, reference: Reference | None = None) -> Any:
        """Reference area [m2] at `lift` [m], of this table or of another `reference`."""
        kind = reference or self.reference
        if kind == "valve head":
            return (np.zeros_like(np.asarray(lift, float)) + head_area(self.head_diameter))[()]
        curtain = curtain_area(self.head_diameter, lift)
        if kind == "curtain":
            return curtain
        if self.throat_area is None:
            raise ValueError("this table knows no throat area")
        return np.minimum(curtain, self.throat_area)

    def effective_area(self, lift: Any, reverse: bool = False) -> Any:
        """Effective area [m2] of one valve at `lift` [m] (any array; 0 or less: shut)."""
        l = np.maximum(np.asarray(lift, float), 0.0)
        x = l / self.head_diameter
        knots, c = self.lift_over_diameter, self.reverse_coefficient if reverse else self.coefficient
        if self.interpolation == "shape preserving":
            pieces = self._reverse_pieces if reverse else self._forward_pieces
            i = np.clip(np.searchsorted(knots, x, side="right") - 1, 0, max(len(knots) - 2, 0))
            s, p = np.minimum(x, knots[-1]) - knots[i], pieces[i]
            share = ((p[..., 0] * s + p[..., 1]) * s + p[..., 2]) * s + p[..., 3]
            share = np.where(x < knots[0], pieces[0, 3] * x / knots[0], share)
            return (share * head_area(self.head_diameter))[()]
        if self.reference == "curtain capped by throat":
            return (np.interp(x, knots, c) * self.reference_area(l))[()]
        if self.reference == "curtain":
            return (np.interp(x, knots, c) * self.reference_area(np.minimum(l, self.last_lift)))[()]
        toward_seat = np.minimum(x / knots[0], 1.0) if knots[0] > 0.0 else 1.0
        return (np.interp(x, knots, c) * toward_seat * head_area(self.head_diameter))[()]

    @cached_property
    def _forward_pieces(self) -> np.ndarray:
        return self._cubics(self.coefficient)

    @cached_property
    def _reverse_pieces(self) -> np.ndarray:
        return self._cubics(self.reverse_coefficient)

    def _cubics(self, coefficient: np.ndarray) -> np.ndarray:
        """Falling powers (n-1, 4) of the effective over the valve-head area."""
        x = self.lift_over_diameter
        share = coefficient * self.reference_area(x * self.head_diameter) / head_area(self.head_diameter)
        if len(x) == 1:
            return np.array([[0.0, 0.0, 0.0, share[0]]])
        from scipy.interpolate import PchipInterpolator

        return np.ascontiguousarray(PchipInterpolator(x, share).c.T)

    def coefficient_at(self, lift: Any, reference: Reference | None = None, reverse: bool = False) -> Any:
        """Coefficient at `lift` [m] > 0 on this table's or another reference area."""
        return self.effective_area(lift, reverse) / self.reference_area(lift, reference)

    def on_reference(self, reference: Literal["curtain", "valve head"]) -> ValveFlow:
        """The same valve with its coefficients told on another reference area (equal at every point of the table)."""
        lift = self.lift_over_diameter * self.head_diameter
        if lift[0] == 0.0:
            raise ValueError("a table with a point at zero lift cannot change its reference")
        ratio = self.reference_area(lift) / self.reference_area(lift, reference)
        return replace(self, reference=reference, coefficient=self.coefficient * ratio, throat_area=None,
                       reverse_coefficient=self.reverse_coefficient * ratio)

    def scaled(self, factor: float) -> ValveFlow:
        """The same table flowing `factor` times as much, for the band of an option without a sheet of its own."""
        if not factor > 0.0:
            raise ValueError(f"a flow factor must be positive, not {factor!r}")
        return replace(self, coefficient=self.coefficient * factor, source=f"{self.source}, flow x {factor:g}",
                       reverse_coefficient=self.reverse_coefficient * factor)

    def excess_lift(self, max_lift: float) -> float:
        """How far [m] a valve lift goes beyond the table; 0 if it does not."""
        return max(0.0, max_lift - self.last_lift)

    def lift_sentence(self, max_lift: float) -> str | None:
        """Plain words if the valve lifts beyond the last point, else None. Above `LIFT_MARGIN` it says that it is too
        far.
        """
        excess = self.excess_lift(max_lift)
        if excess <= 1e-9:
            return None
        words = f"the valve lifts {max_lift * 1e3:.2f} mm, the flow table ends at {self.last_lift * 1e3:.2f} mm"
        if excess > LIFT_MARGIN:
            return f"{words}: more than {LIFT_MARGIN * 1e3:g} mm beyond it, measure further or give more points"
        return f"{words}: beyond it the last effective area is held"


def from_sheet(lift: Sequence[float], flow: Sequence[float], *, head_diameter: float, depression: float,
               reference_area: Literal["curtain", "valve head"], leak_subtracted: bool, plate_corrected: bool,
               air_temperature: float, barometer: float, leak: float = 0.0, leak_depression: float | None = None,
               plate_expected: float | None = None, plate_read: float | None = None, valves_open: int = 1,
               blown: bool = False, reverse_factor: float = SHEET_REVERSE_FACTOR,
               law: Literal["compressible", "root"] = "compressible") -> ValveFlow:
    """Valve from a flow sheet: `lift` [m] and volume `flow` [m3/s, room air] of `valves_open` valves at `depression`
    [Pa].

    flow = (read - leak) x plate expected / plate read, as far as the sheet has not done it already; the leak [m3/s]
    counts at the test depression, or is brought there from `leak_depression` by the square root. `blown`: the port is
    blown through (exhaust), so the upstream pressure is the room's plus the depression; drawn (intake): the room's.
    See `BenchAir` for the ideal flow. Raises ValueError for a sheet that cannot be; what is only odd stands in
    `findings` and is never smoothed away.
    """
    if reference_area not in ("curtain", "valve head"):
        raise ValueError(f"a sheet's reference area is curtain or valve head, not {reference_area!r}")
    if not head_diameter > 0.0:
        raise ValueError("the head diameter must be positive")
    if valves_open < 1:
        raise ValueError("a sheet needs one valve open at least")
    lifts = np.asarray(lift, float)
    air = BenchAir(depression, air_temperature, barometer, blown, law)
    total = sheet_effective_area(lifts, np.asarray(flow, float), air, leak=0.0 if leak_subtracted else leak,
                                 leak_depression=leak_depression,
                                 plate=1.0 if plate_corrected else _plate(plate_expected, plate_read))
    per_valve = total / valves_open
    base = curtain_area(head_diameter, lifts) if reference_area == "curtain" else head_area(head_diameter)
    coefficient = per_valve / base
    return ValveFlow(head_diameter, reference_area, lifts / head_diameter, coefficient, reverse_factor * coefficient,
                     "shape preserving", source=f"flow sheet at {depression:.0f} Pa",
                     findings=tuple(sheet_findings(lifts, per_valve, curtain_area(head_diameter, lifts))))


def _plate(expected: float | None, read: float | None) -> float:
    if expected is None and read is None:
        return 1.0
    if expected is None or read is None or not (expected > 0.0 and read > 0.0):
        raise ValueError("a plate correction needs the flow expected of the plate and the flow read, both positive")
    return expected / read


def from_coefficient(lift_over_diameter: Sequence[float], coefficient: Sequence[float], *, head_diameter: float,
                     reference_area: Reference, throat_area: float | None = None, reverse_factor: float = 1.0,
                     reverse_coefficient: Sequence[float] | None = None) -> ValveFlow:
    """Valve from a table of coefficients, straight lines in L/D; reverse: its own column, else `reverse_factor` x
    forward.
    """
    c = np.asarray(coefficient, float)
    back = reverse_factor * c if reverse_coefficient is None else np.asarray(reverse_coefficient, float)
    lifts = np.asarray(lift_over_diameter, float)
    return ValveFlow(head_diameter, reference_area, lifts, c, back, "linear", throat_area, source="coefficient table")


def with_stock_coefficient(valve_flow: ValveFlow, new_head_diameter: float | None = None) -> ValveFlow:
    """A port without a sheet of its own: the measured port's coefficient on valve-head area, kept at equal L/D.

    With another head diameter the effective area at equal L/D grows with D^2 (a throat cap as well). Marked `assumed`.
    """
    d = valve_flow.head_diameter if new_head_diameter is None else new_head_diameter
    if not d > 0.0:
        raise ValueError("the new head diameter must be positive")
    throat = None if valve_flow.throat_area is None else valve_flow.throat_area * (d / valve_flow.head_diameter) ** 2
    return replace(valve_flow, head_diameter=d, throat_area=throat, assumed=True,
                   source=f"ASSUMED: stock coefficient on valve-head area ({valve_flow.source})")
