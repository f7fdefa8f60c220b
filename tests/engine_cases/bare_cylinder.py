"""A cylinder without pipes: between reservoirs behind orifice valves, or closed. For comparisons with other integrators."""

import numpy as np

from waveflow.physics import layout as lay
from waveflow.physics.accounts import trace_columns
from waveflow.physics.assembly import Assembly
from waveflow.physics.march import OK, march

ANGLE = np.arange(lay.CURVE_POINTS) * 0.25


def sine_squared_area(opens: float, closes: float, most: float) -> np.ndarray:
    """Effective area (2881,) [m2] over 0 to 720 degrees: most sin^2 between two angles [deg]."""
    share = ((ANGLE - opens) % 720.0) / ((closes - opens) % 720.0)
    return np.where(share <= 1.0, most * np.sin(np.pi * share) ** 2, 0.0)


def square_engine(ratio: float, **more) -> dict:
    """Columns of an 86 x 86 mm cylinder with a 143 mm rod, adiabatic, without burn."""
    swept = 0.25 * np.pi * 0.086**2 * 0.086
    return dict(bore=0.086, crank=0.043, rod=0.143, clearance=swept / (ratio - 1.0), swept=swept, intake_close=719.0) | more


class Bench:
    """An `Assembly` with one cylinder as its last volume, marched over spans of crank angle."""

    def __init__(self, assembly: Assembly, cylinder: int, start: float, rpm: float, max_degrees: float | None = None) -> None:
        self.gas, self.row = assembly.gas, assembly.volume_of(cylinder)
        self.net, self.state = assembly.finish(**({} if max_degrees is None else {"max_degrees": max_degrees}))
        self.at, self.rpm = start, rpm
        self.accounts = np.zeros((1, lay.ACCOUNTS))
        self.volume_accounts = np.zeros((len(self.net.volume), lay.VOLUME_ACCOUNTS))

    def to(self, angle: float) -> np.ndarray:
        """March on to the engine angle [deg]; returns the cylinder's state (columns of `layout`, V_...)."""
        self.trace = np.zeros((int(angle - self.at) + 64, trace_columns(self.net)))
        code, row, where, self.steps, written = march(
            self.net, self.gas, self.state, float(self.rpm), float(self.at), float(angle - self.at), self.accounts,
            self.volume_accounts, np.zeros(self.state.temp.size), self.trace, 1.0,
        )  # fmt: skip
        assert code == OK, (code, row, where)
        self.trace = self.trace[:written]
        self.at = angle
        return self.state.volumes[self.row].copy()
