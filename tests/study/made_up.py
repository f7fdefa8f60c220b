"""A made-up engine as a formula: volumetric efficiency with lobes, so that studies can be tested without the solver.

VE(n) = hump(n) * (1 + ripple(n) * cos(2 pi (q - 1/2))), q = 30 c / (L n): tops near q = 1.5, 2.5, ...; nothing here is
an engine's behaviour, only a curve whose peak, lobes and envelope are known.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from types import SimpleNamespace

import numpy as np

from waveflow.errors import RunError

LENGTH = 0.40  # [m]
SOUND = 345.0  # [m/s]


def make_case(option="as_cast", digest="d0", band=None, redline=7000.0, stock_flow=False, name="made-up"):
    """A stand-in for a case: only what studies look at."""
    return SimpleNamespace(
        name=name,
        option=option,
        digest=digest,
        text=f'name = "{name}"\noption = "{option}"\n',
        assumptions=[],
        warnings=[],
        engine=SimpleNamespace(redline=redline),
        range=SimpleNamespace(band=band),
        ambient=SimpleNamespace(temperature=293.15),
        intake=SimpleNamespace(
            runner=SimpleNamespace(length=LENGTH, inlet_diameter=0.036, entry="ideal"),
            port=None,
            flow=SimpleNamespace(kind="stock" if stock_flow else "sheet"),
        ),
        exhaust=SimpleNamespace(flow=SimpleNamespace(kind="sheet")),
    )


@dataclass
class Engine:
    """The formula. `centre` [rpm] of the hump, its `width` [rpm], `ripple` share; speeds in `broken` fail."""

    centre: float = 5000.0
    width: float = 6000.0
    ripple: float = 0.02
    level: float = 0.95
    broken: tuple[float, ...] = ()
    slow: float = 0.0
    cylinders: int = 4
    calls: list[float] = field(default_factory=list)

    def ve(self, rpm):
        """Volumetric efficiency [1] at `rpm`."""
        rpm = np.asarray(rpm, float)
        hump = self.level * np.exp(-(((rpm - self.centre) / self.width) ** 2))
        q = 30.0 * SOUND / (LENGTH * rpm)
        fade = 1.0 / (1.0 + np.exp(-(rpm - 2500.0) / 300.0))  # lobes fade at low speed
        return hump * (1.0 + self.ripple * fade * np.cos(2.0 * np.pi * (q - 0.5)))

    def torque(self, rpm):
        """Torque [N m] at `rpm`."""
        return 160.0 * self.ve(rpm) - 8.0 - 3e-3 * np.asarray(rpm, float)

    def __call__(self, case, rpm, start=None, max_cycles=None):
        if self.slow:
            import time

            time.sleep(self.slow)
        self.calls.append(rpm)
        if rpm in self.broken:
            raise RunError(message="temperature above the gas table", part="runner 2", rpm=rpm, crank_angle=312.0)
        ve, torque = float(self.ve(rpm)), float(self.torque(rpm))
        return SimpleNamespace(
            scalars={
                "rpm": rpm,
                "volumetric_efficiency": ve,
                "trapped_efficiency": 0.98 * ve,
                "residual_fraction": 0.05,
                "torque": torque,
                "power": torque * math.pi * rpm / 30.0,
                "runner_sound_speed": SOUND,
                "exhaust_temperature": 1100.0,
                "port_mach_mean": math.nan,
            },
            per_cylinder={"volumetric_efficiency": np.full(self.cylinders, ve) + 0.001 * np.arange(self.cylinders)},
            converged=rpm < 6990.0 or rpm > 7010.0,
            cycles=7,
            checks={"mass": 3e-13, "worst": np.float64(1e-12), "repeats": True},
        )
