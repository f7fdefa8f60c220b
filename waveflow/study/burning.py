"""How long the charge burns: the inlet jet of a cycle, and the burn that follows a trend from cycle to cycle."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np

from waveflow.engine.model import Model
from waveflow.engine.trend import duration_ratio, ratio_range
from waveflow.physics import layout as lay
from waveflow.physics.accounts import CYLINDER_COLUMNS

FASTEST = 500.0  # [m/s] a jet at the throat is taken no faster: where the valve is hardly open, flow over area means nothing


def inlet_jet(engine: Any) -> np.ndarray:
    """Inlet jet of each cylinder (cylinders,) [m/s]: root of the mean of u^2 over the mass that flows in, u = flow over density
    in the cylinder and effective valve area. Zero where nothing flows in."""
    m = engine.model
    rows = engine.rows[: engine.written]
    grid = np.arange(lay.CURVE_POINTS) * (720.0 / (lay.CURVE_POINTS - 1))
    jets = np.zeros(len(m.net.cylinder))
    for k, area in enumerate(valve_areas(m)):
        at = 1 + CYLINDER_COLUMNS * k
        pressure, temperature, flow = rows[:, at], rows[:, at + 1], np.maximum(rows[:, at + 4], 0.0)
        open_area = np.interp((rows[:, 0] - m.phases[k]) % 720.0, grid, area)
        with np.errstate(divide="ignore", invalid="ignore"):
            speed = np.minimum(flow * m.gas.r[0] * temperature / (pressure * open_area), FASTEST)
        moving = (flow > 0.0) & (open_area > 0.0)
        mass = flow[moving].sum()
        jets[k] = np.sqrt(np.sum(flow[moving] * speed[moving] ** 2) / mass) if mass > 0.0 else 0.0
    return jets


def valve_areas(model: Model) -> list[np.ndarray]:
    """Effective area of the intake valves of each cylinder (2881,) [m2] over its own clock, for flow into it."""
    found: dict[int, np.ndarray] = {}
    for end in model.net.end:
        if end["role"] == lay.INTAKE_VALVE:
            found[int(end["cylinder"])] = model.net.area_curves[end["curve_out"]] * end["area"]
    for orifice in model.net.orifice:
        if orifice["role"] == lay.INTAKE_VALVE:
            found[int(orifice["cylinder"])] = model.net.area_curves[orifice["curve_ab"]]
    return [found[k] for k in range(len(model.net.cylinder))]


class Burning:
    """The burn of each cylinder while an engine runs: as the case says, or following its trend after every cycle.

    The crank angle at which half has burned stays where the case has it, as if the spark were set anew; only the duration
    changes. A cycle burns by what the cycle before it trapped, so the trend settles with the cycles.
    """

    def __init__(self, case: Any, model: Model) -> None:
        trend = getattr(case, "burn_trend", None)
        self.trend = trend if trend is not None and trend.use else None
        self.model = model
        if self.trend is not None:  # the model may be shared: its table of cylinders is not written to
            self.model = replace(model, net=model.net._replace(cylinder=model.net.cylinder.copy()))
        table = model.net.cylinder
        self.start, self.span = table["burn_start"].copy(), table["burn_span"].copy()
        shares = np.linspace(0.0, 1.0, len(model.net.burn))
        burns = model.net.burn[-1] > 0.0
        self.places = tuple(float(np.interp(q, model.net.burn, shares)) if burns else 0.0 for q in (0.1, 0.5, 0.9))
        self.ratio = np.ones(len(table))
        self.low, self.high = self.ratio.copy(), self.ratio.copy()

    def follow(self, engine: Any) -> None:
        """Set the burns of the next cycle by what the last one trapped."""
        if self.trend is None:
            return
        memory = engine.state.memory
        residual = memory[:, lay.M_TRAP_BURNED] / memory[:, lay.M_TRAP_MASS]
        at = list(zip(residual, inlet_jet(engine), strict=True))
        self.ratio = np.array([duration_ratio(self.trend, engine.rpm, float(x), float(jet)) for x, jet in at])
        ranges = np.array([ratio_range(self.trend, engine.rpm, float(x), float(jet)) for x, jet in at])
        self.low, self.high = ranges[:, 0], ranges[:, 1]
        table, half = self.model.net.cylinder, self.start + self.places[1] * self.span
        table["burn_span"] = self.span * self.ratio
        table["burn_start"] = (half - self.places[1] * table["burn_span"]) % 720.0

    def numbers(self) -> dict[str, float]:
        """Mean 10-90 % duration of the cylinders [deg], and its likely range where it follows a trend."""
        if not self.span.any():
            return {}
        whole = (self.places[2] - self.places[0]) * self.span
        found = {"burn_duration": float(np.mean(whole * self.ratio))}
        if self.trend is not None:
            found |= {"burn_duration_low": float(np.mean(whole * self.low)),
                      "burn_duration_high": float(np.mean(whole * self.high))}  # fmt: skip
        return found
