"""The charger from cycle to cycle: nozzles move until the shaft balances, or until the manifold stands at the stated pressure.

The compressor brings ambient air, less the filter's loss, to the boost; its work is the isentropic rise of enthalpy over its
efficiency. The turbine gives what an isentropic expansion of every instant's flow from the manifold to the outlet would,
times its efficiency and the shaft's. A wastegate beside it passes what is not needed. One number says where the charger
stands: above zero the logarithm of open area over the turbine's own, below zero, with the wastegate shut, the logarithm of
gauge boost over the wanted one (only where the case allows less boost). Both ends meet at zero, and the balance moves the
same way along the whole line, so steps against the last cycle's deviation find it. Where the exhaust pressure is stated
instead, turbine and wastegate are one nozzle whose area is moved the same way, and no shaft is balanced.

With the wastegate shut and a turbine of constant efficiency the balance hardly changes with the boost, as both powers fall
with it: where a charger just begins to spool up, its boost is ill-determined and cycles are slow to repeat.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from waveflow.engine.charger import charge_temperature, isentropic_rise, nozzle_for, put_state
from waveflow.errors import RunError
from waveflow.physics import layout as lay

FOUND = 3e-4
"""Deviation at which the balance, or the pressure, counts as found: turbine over compressor power, pressure over target."""
WIDEST = math.log(6.0)
"""Largest open area over the turbine's own where the case names no largest wastegate."""
LEAST_BOOST = math.log(0.02)
"""Gauge boost over the wanted one below which a charger counts as standing still."""
_STEP = 0.35
_SLOPES, _SLOPE = (0.3, 12.0), 2.0
MEAN_OF = 6  # cycles, where they jitter; as in settling.BLOCK


class Shaft:
    """One charger beside one running engine; `settle` is called after every cycle."""

    def __init__(self, case: Any, engine: Any) -> None:
        self.case, self.engine, self.rows = case, engine, engine.model.charger
        self.balanced = case.charger.kind == "power balance"
        self.seconds = 120.0 / engine.rpm
        self.boost = case.charger.boost
        self.loss = 0.0
        self.turbine_power = self.compressor_power = 0.0
        self.turbine_flow = self.whole_flow = 0.0
        self.exhaust_pressure = 0.0
        self.errors: list[float] = []
        self._slope = _SLOPE
        self._lowest, self._highest = self._bounds()
        self.place = self._first()
        self._put()

    # where it stands -------------------------------------------------------------------------------------------------

    def _bounds(self) -> tuple[float, float]:
        c = self.case.charger
        if not self.balanced:
            return -12.0, 6.0
        widest = WIDEST if c.wastegate_area is None else math.log(1.0 + c.wastegate_area / c.turbine_area)
        return (LEAST_BOOST if c.if_short == "less boost" else 0.0), widest

    @property
    def _nozzle(self) -> float:
        """Area [m2] the place is counted from."""
        return self.case.charger.turbine_area if self.balanced else 1e-4

    def _first(self) -> float:
        """A first guess from steady flow: full cylinders, and the pressure ratio an ideal balance needs."""
        c, case = self.case.charger, self.case
        flow = 0.95 * self.boost / (287.0 * 320.0) * case.displacement / self.seconds
        back = float(self.engine.state.volumes[self.rows.outlet, lay.V_PRES])
        if self.balanced:
            rise = self._rise() / (c.compressor_efficiency * c.turbine_efficiency * c.mechanical_efficiency) / 1.06
            share = min(rise / (1200.0 * 1050.0), 0.5)
            wanted = back * (1.0 - share) ** (-1.32 / 0.32)
        else:
            wanted = self._target(self.boost)
        place = math.log(nozzle_for(1.06 * flow, wanted, back) / self._nozzle)
        return float(np.clip(place, max(self._lowest, -0.1) if self.balanced else self._lowest, self._highest))

    def _put(self) -> None:
        """The place into nozzles and charge."""
        c, m, orifice = self.case.charger, self.engine.model, self.engine.model.net.orifice
        if not self.balanced:
            orifice[self.rows.turbine]["area_ab"] = orifice[self.rows.turbine]["area_ba"] = 1e-4 * math.exp(self.place)
        else:
            wastegate = c.turbine_area * (math.exp(max(self.place, 0.0)) - 1.0)
            orifice[self.rows.wastegate]["area_ab"] = orifice[self.rows.wastegate]["area_ba"] = wastegate
        air = self.case.ambient
        less = math.exp(min(self.place, 0.0)) if self.balanced else 1.0
        self.boost = air.pressure + less * (c.boost - air.pressure)
        if c.filter_loss_at is None:
            self.loss = c.filter_loss
        elif self.whole_flow > 0.0:
            self.loss = min(c.filter_loss * (self._air / c.filter_loss_at) ** 2, 0.3 * air.pressure)
        row = self.engine.state.volumes[self.rows.charge]
        put_state(m.gas, row, self.boost, charge_temperature(c, m.gas, air, self.boost, self.loss))

    def _rise(self) -> float:
        air = self.case.ambient
        return isentropic_rise(self.engine.model.gas, air.temperature, self.boost / (air.pressure - self.loss))

    def _target(self, plenum: float) -> float:
        """The stated pressure in the manifold [Pa]."""
        c = self.case.charger
        if c.kind == "exhaust ratio":
            return c.ratio * plenum
        return float(np.interp(self.engine.rpm, c.speed, c.exhaust_pressure))

    # after a cycle ---------------------------------------------------------------------------------------------------

    def settle(self) -> None:
        """Take the last cycle's books and move the place."""
        self._read()
        self.errors.append(self._error())
        if self.found:
            return
        error = self.errors[-1]
        # the engine follows a cycle late, so slopes between cycles mislead: go slower after an overshoot, faster while creeping
        if len(self.errors) > 1:
            before = self.errors[-2]
            if error * before < 0.0:
                self._slope *= 1.4
            elif abs(error) > 0.6 * abs(before):
                self._slope *= 0.8
            self._slope = float(np.clip(self._slope, *_SLOPES))
        step = float(np.clip(error / self._slope, -_STEP, _STEP))
        self.place = float(np.clip(self.place + step, self._lowest, self._highest))
        self._put()

    def _read(self) -> None:
        c, engine, rows = self.case.charger, self.engine, self.rows
        books = engine.volume_accounts
        taken = books[rows.charge]
        self._air = -(taken[lay.B_MASS] - taken[lay.B_FUEL]) / self.seconds
        self.whole_flow = books[rows.outlet, lay.B_MASS] / self.seconds
        self.turbine_flow = books[rows.manifold, lay.B_TURBINE_MASS] / self.seconds
        self.exhaust_pressure = books[rows.manifold, lay.B_P_TIME] / self.seconds
        self.compressor_power = max(self._air, 0.0) * self._rise() / c.compressor_efficiency
        self.work = books[rows.manifold, lay.B_TURBINE_WORK] / self.seconds
        if self.balanced:
            self.turbine_power = self.work * c.turbine_efficiency * c.mechanical_efficiency

    def _error(self) -> float:
        if self.balanced:
            return self.turbine_power / max(self.compressor_power, 1e-3) - 1.0
        m, engine = self.engine.model, self.engine
        plenum = engine.state.volumes[m.plenum, lay.V_PRES]
        if m.net.volume[m.plenum]["kind"] != lay.RESERVOIR:
            plenum = engine.volume_accounts[m.plenum, lay.B_P_TIME] / self.seconds
        return self.exhaust_pressure / self._target(float(plenum)) - 1.0

    @property
    def at_end(self) -> bool:
        """The place stands at an end of its range and would go beyond it."""
        if not self.errors:
            return False
        return (self.place <= self._lowest and self.errors[-1] < 0.0) or (self.place >= self._highest and self.errors[-1] > 0.0)

    @property
    def found(self) -> bool:
        """The last cycle, or the mean of a block of cycles that jitter, keeps the balance."""
        if not self.errors:
            return False
        block = np.array(self.errors[-MEAN_OF:])
        if len(block) == MEAN_OF and abs(block.mean()) < FOUND and np.abs(block).max() < 10.0 * FOUND:
            return True
        return abs(self.errors[-1]) < FOUND

    @property
    def settled(self) -> bool:
        """Nothing more to move."""
        return self.found or self.at_end

    def refuse_if_impossible(self) -> None:
        """Raise RunError where the balance lies beyond what the charger can do."""
        if self.found or not self.at_end:
            return
        c, error = self.case.charger, self.errors[-1]
        given, taken = self.turbine_power / 1e3, self.compressor_power / 1e3
        powers = f"the turbine gives {given:.2f} kW and the compressor needs {taken:.2f} kW"
        if not self.balanced:
            stands = f"{self.exhaust_pressure / 1e3:.0f} kPa abs"
            message = f"no nozzle brings the manifold to the stated pressure; it stands at {stands}"
        elif error < 0.0 and c.if_short == "stop":
            message = (
                f"with the wastegate shut {powers}: this turbine is too big to hold the boost here; a smaller turbine_area, "
                'less boost or more speed would, or if_short = "less boost"'
            )
        elif error < 0.0:
            message = f"{powers}: this turbine holds no boost here; a smaller turbine_area would"
        else:
            message = (
                f"with the wastegate wide open {powers}: the boost would rise beyond what is asked; a larger turbine_area or "
                "wastegate_area would hold it"
            )
        raise RunError(message, part="charger", rpm=self.engine.rpm)

    def numbers(self) -> dict[str, float]:
        """What a result says of the charger [SI]; what the case does not describe is left out."""
        charge = self.engine.state.volumes[self.rows.charge]
        made = {
            "exhaust_pressure": self.exhaust_pressure,
            "boost_pressure": self.boost - self.case.ambient.pressure,
            "charge_temperature": charge[lay.V_TEMP],
            "compressor_power": self.compressor_power,
            "turbine_flow": self.turbine_flow,
        }
        if self.balanced:
            made["turbine_power"] = self.turbine_power
            made["wastegate_share"] = 1.0 - self.turbine_flow / self.whole_flow if self.whole_flow > 0.0 else 0.0
        return {name: float(value) for name, value in made.items()}
