"""The predicted sheet of a port that is not ground yet, from the sheet of the port that was measured.

The resistance 1/A^2 of a head with effective area A is taken as that of its valve and of its port in series, both areas without
recovery (handbook form for orifices in series, from memory):

    1/A(L)^2 = r(L/D) (k_valve / curtain(L)^2 + k_port / throat^2).

The two k, not negative, are fitted to the measured sheet by least squares of relative resistance; r, near 1, is what the fit
misses and is kept at equal L/D. For the new port the curtain follows its valve and the throat area its stations; where pinch
or bowl change otherwise than the throat the port's part follows the tightest or the mean of them at the edge of the band.
Nothing is known of how well the new seat and short turn will be cut: areas alone are the estimate, a better shape the upper
edge.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from waveflow.engine.flowsheet import ValveFlow, curtain_area
from waveflow.engine.rig import sheet_areas, throat_of
from waveflow.engine.tract import port_curve

BETTER_SEAT, BETTER_PORT = 0.85, 0.70
"""Share of the valve's and of the port's resistance that a good seat and a reshaped bowl leave: our choice, no source."""
WORSE = 0.02
"""How far below the areas' answer the band begins: three repeats of a bench that repeats to 0.6 %."""


@dataclass(frozen=True)
class Passage:
    """Net areas [m2] of a side's port that the prediction follows, valve count and head diameter [m]."""

    throat: float
    tightest: float
    mean: float
    count: int
    diameter: float


def passage_of(table: Any, side: str) -> Passage:
    """Areas of a case's intake or exhaust; raises ValueError without a port."""
    if table.port is None:
        raise ValueError(f"{side}.port: a prediction follows the areas of the port, and none is described")
    curve = port_curve(table.port)
    area = np.asarray(curve.area_at(np.linspace(0.0, curve.length * (1.0 - 1e-9), 400)))
    return Passage(throat_of(table.port, side), float(area.min()), float(np.mean(area**-2.0) ** -0.5), table.valve.count,
                   table.valve.head_diameter)  # fmt: skip


@dataclass(frozen=True, eq=False)
class Series:
    """Valve and port in series as fitted to one sheet: `k_valve`, `k_port`, and the misfit r (n,) at L/D (n,)."""

    k_valve: float
    k_port: float
    lift_over_diameter: NDArray
    misfit: NDArray
    passage: Passage

    def area(self, lift: NDArray, new: Passage, port_area: float | None = None, seat: float = 1.0,
             shape: float = 1.0) -> NDArray:  # fmt: skip
        """Effective area (n,) [m2] of all valves of another port at `lift` (n,) [m]; `port_area`: in place of its throat's."""
        x = np.asarray(lift, float) / new.diameter
        curtain = new.count * curtain_area(new.diameter, lift)
        r = np.interp(x, self.lift_over_diameter, self.misfit)
        return (r * (seat * self.k_valve / curtain**2 + shape * self.k_port / (port_area or new.throat) ** 2)) ** -0.5

    def band(self, lift: NDArray, new: Passage) -> tuple[NDArray, NDArray, NDArray]:
        """(low, estimate, high) effective area (n,) [m2]."""
        old = self.passage
        followed = [new.throat, old.throat * new.tightest / old.tightest, old.throat * new.mean / old.mean]
        rows = [self.area(lift, new, area) for area in followed]
        better = [self.area(lift, new, area, BETTER_SEAT, BETTER_PORT) for area in followed]
        return np.min(rows, axis=0) * (1.0 - WORSE), rows[0], np.max(better, axis=0)


def series_of(table: ValveFlow, passage: Passage) -> Series:
    """Fit to a measured sheet; needs three readings or more (ValueError)."""
    from scipy.optimize import nnls

    if len(table.lift_over_diameter) < 3:
        raise ValueError("a prediction needs three readings of the measured sheet or more")
    lift = table.lift_over_diameter * table.head_diameter
    resistance = (passage.count * sheet_areas(table)) ** -2.0
    curtain = passage.count * curtain_area(passage.diameter, lift)
    parts = np.stack([curtain**-2.0, np.full(len(lift), passage.throat**-2.0)], axis=1)
    (k_valve, k_port), _ = nnls(parts / resistance[:, None], np.ones(len(lift)))
    return Series(float(k_valve), float(k_port), table.lift_over_diameter, resistance / (parts @ [k_valve, k_port]), passage)
