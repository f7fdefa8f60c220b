"""The sheet a port is predicted to show, beside the sheet it did show where there is one."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from waveflow.engine.bench import BenchAir
from waveflow.engine.flowsheet import with_stock_coefficient
from waveflow.engine.predict import passage_of, series_of
from waveflow.engine.valves import valve_flow


@dataclass(frozen=True, eq=False)
class PredictedSheet:
    """Flows (n,) [m3/s of room air] at `lift` (n,) [m] and the measured sheet's depression [Pa]: `low`, `flow`, `high`, `stock`
    (the coefficient kept on the valve head), `measured` (NaN beyond the readings; None where there is no sheet)."""

    side: str
    depression: float
    lift: NDArray
    low: NDArray
    flow: NDArray
    high: NDArray
    stock: NDArray
    measured: NDArray | None

    @property
    def error(self) -> NDArray | None:
        """Predicted over measured, less 1 (n,)."""
        return None if self.measured is None else self.flow / self.measured - 1.0


def predicted_sheet(measured: Any, wanted: Any, side: str, lift: Any = None) -> PredictedSheet:
    """Sheet of case `wanted` from the sheet of case `measured`; `wanted`'s own sheet is only set beside it.

    lift [m]: those of the measured sheet if not given. Raises ValueError where `measured` has no sheet or a port is missing.
    """
    table, other = getattr(measured, side), getattr(wanted, side)
    if table.flow.kind != "sheet":
        raise ValueError(f"{side}.flow: a prediction starts from a measured sheet, and there is none")
    plain = valve_flow(table.flow, table.valve, side)
    series, new = series_of(plain, passage_of(table, side)), passage_of(other, side)
    lifts = np.asarray(plain.lift_over_diameter * plain.head_diameter if lift is None else lift, float)
    air = BenchAir(table.flow.depression, table.flow.air_temperature, table.flow.barometer, side == "exhaust")
    low, middle, high = (air.flow(area) for area in series.band(lifts, new))
    stock = air.flow(new.count * with_stock_coefficient(plain, new.diameter).effective_area(lifts))
    found = None
    if other.flow.kind == "sheet":
        own = valve_flow(other.flow, other.valve, side)
        ends = own.lift_over_diameter[[0, -1]] * own.head_diameter
        inside = (lifts >= ends[0] - 1e-9) & (lifts <= ends[1] + 1e-9)
        found = np.where(inside, air.flow(new.count * own.effective_area(lifts)), np.nan)
    return PredictedSheet(side, table.flow.depression, lifts, low, middle, high, stock, found)
