"""How a valve breathes with its cam: effective area over the cycle, inlet Mach index, flow weighted by lift and time.

Crank angle in degrees on the grid of a lift curve (0 to 720 in steps of 0.25); areas in m2.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np

END_AREA_SHARE = 0.999
"""A valve opens no further than this share of the pipe end it stands in: the boundary needs a throat below the pipe's
area.
"""


def effective_area_table(lift_curve: Any, valve_flow: Any, count: int = 1,
                         limit_area: float | None = None) -> tuple[np.ndarray, np.ndarray]:
    """Effective area per cylinder (2881,) [m2] over 0 to 720 degrees, forward and reverse.

    `count` valves of `valve_flow` lifted alike by `lift_curve`; nowhere more than 0.999 of `limit_area` [m2], the
    pipe end's.
    """
    if count < 1:
        raise ValueError("a cylinder has one valve of each kind at least")
    cap = math.inf if limit_area is None else END_AREA_SHARE * limit_area
    lift = lift_curve.lift
    return (np.minimum(count * valve_flow.effective_area(lift), cap),
            np.minimum(count * valve_flow.effective_area(lift, reverse=True), cap))


def area_time(table: np.ndarray) -> float:
    """Integral of an effective-area table (n,) over the 720 degrees of the cycle [m2 deg]."""
    step = 720.0 / (len(table) - 1)
    return float(step * (table.sum() - (table[0] + table[-1]) / 2.0))


def mean_effective_area_open(lift_curve: Any, valve_flow: Any, count: int = 1,
                             limit_area: float | None = None) -> float:
    """Mean forward effective area [m2] of all `count` valves over the crank angle they are open (lift above 0)."""
    forward, _ = effective_area_table(lift_curve, valve_flow, count, limit_area)
    return area_time(forward) / lift_curve.duration(0.0)


def inlet_mach_index(bore: float, stroke: float, rpm: Any, mean_effective_area: float, sound_speed: float) -> Any:
    """Inlet Mach index Z = piston area x mean piston speed / (mean effective area over the open period x sound speed).

    `bore`, `stroke` [m]; `mean_effective_area` [m2] of all intake valves of a cylinder; `sound_speed` [m/s] of the
    charge. The definition by mean effective area (JSME Mechanical Engineering Dictionary; filling falls sharply above
    about 0.5).
    """
    speed = 2.0 * stroke * np.asarray(rpm, float) / 60.0
    return (math.pi / 4.0 * bore**2 * speed / (mean_effective_area * sound_speed))[()]


def lift_time_flow(lift_curve: Any, valve_flow: Any, flow_per_area: float, count: int = 1) -> float:
    """Flow-bench flow [m3/s] weighted by the time the cam spends at each lift: the mean over the open period.

    `flow_per_area` [m/s]: ideal flow of the bench (`BenchAir.flow_per_area`). Two heads are compared with the same cam.
    """
    return mean_effective_area_open(lift_curve, valve_flow, count) * flow_per_area


def throat_share(throat_diameter: float, valve_diameter: float) -> float:
    """Throat over valve-head diameter."""
    return throat_diameter / valve_diameter


def curtain_equals_valve_lift(head_diameter: float, stem_diameter: float = 0.0) -> float:
    """Lift [m] at which the curtain pi D L equals the valve-head area less the stem: L/D = (1 - (stem/D)^2) / 4."""
    return (head_diameter - stem_diameter**2 / head_diameter) / 4.0
