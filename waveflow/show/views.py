"""What the pictures and tables are drawn from: plain records of numbers and words, made from results elsewhere.

Drawing code reads only these, so a figure can be made from a fresh run, from a result reopened from disk, or by hand.
All values SI (speeds rpm, crank angles degrees); a missing number is NaN or None.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np

Array = np.ndarray


@dataclass(frozen=True)
class StationMark:
    """A measured place: `at` [m] along its stretch, net `area` [m2], and the user's `note` ("pinch").

    `width`, `height` [m] over all of one branch and how many `branches`, for drawing; `throat_share` [1]: its diameter
    over that of the valve head, where it is the throat.
    """

    at: float
    area: float
    note: str = ""
    width: float | None = None
    height: float | None = None
    branches: int = 1
    throat_share: float | None = None


@dataclass(frozen=True)
class Stretch:
    """One piece of the gas path, in flow direction.

    `x` [m] from its start and `area` [m2] there; `kind` is "pipe", "port", "charge pipe", "throttle" (any place
    without a length) or "volume" (drawn as a chamber, `volume` [m3]); `count` is how many alike the engine has at this
    place; `stations` are the measured places of a port.
    """

    name: str
    kind: str
    x: Array
    area: Array
    count: int = 1
    volume: float = 0.0
    stations: tuple[StationMark, ...] = ()
    note: str = ""

    @property
    def length(self) -> float:
        """Length [m]."""
        return float(self.x[-1] - self.x[0])

    @property
    def content(self) -> float:
        """Gas volume [m3]: the stated one of a chamber, the integral of the area of a pipe."""
        return self.volume or float(np.trapezoid(self.area, self.x))

    def area_at(self, x: float) -> float:
        """Area [m2] at `x` [m]."""
        return float(np.interp(x, self.x, self.area))


@dataclass(frozen=True)
class Tract:
    """The whole path of one cylinder: what lies before the intake valve and after the exhaust valve, in flow order.

    `intake_valve`, `exhaust_valve`: head diameters [m] and counts; `bore`, `stroke` [m] of the cylinder; `gasket` [m2]: the
    hole in the intake gasket, if it is known.
    """

    name: str
    intake: tuple[Stretch, ...]
    exhaust: tuple[Stretch, ...]
    bore: float
    stroke: float
    intake_valve: float
    exhaust_valve: float
    intake_valves: int = 1
    exhaust_valves: int = 1
    gasket: float | None = None

    def find(self, side: str, kind: str) -> Stretch | None:
        """First stretch of a `kind` [str] on a `side` ["intake" or "exhaust"], or None."""
        return next((stretch for stretch in getattr(self, side) if stretch.kind == kind), None)


@dataclass(frozen=True)
class Peak:
    """Highest point of a curve: at `rpm` [rpm] it is `value` [unit of the curve]; `sure` where points lie close by."""

    rpm: float
    value: float
    sure: bool = True

    @property
    def place(self) -> str:
        """Its speed as it is spoken of: "5170 rpm", "about 5070 rpm"."""
        return ("" if self.sure else "about ") + f"{10 * round(self.rpm / 10):.0f} rpm"


@dataclass(frozen=True)
class OptionView:
    """One option's curves over `rpm` [rpm]: `curves[name]` arrays of the same length, NaN where a point failed.

    `low`, `high`: the same curves with valve flow -8 / +8 % where the option is `assumed`. `peaks[name]` refined peaks,
    `envelope_peaks[name]` [rpm] peaks of the mean over one lobe, `failed` [rpm] -> reason. `changes[name]` speeds [rpm]
    and relative change [1] against the first option, `change_bands[name]` speeds and the same at low and high flow.
    """

    name: str
    rpm: Array
    curves: Mapping[str, Array]
    assumed: bool = False
    low: Mapping[str, Array] = field(default_factory=dict)
    high: Mapping[str, Array] = field(default_factory=dict)
    peaks: Mapping[str, Peak] = field(default_factory=dict)
    envelope_peaks: Mapping[str, float] = field(default_factory=dict)
    failed: Mapping[float, str] = field(default_factory=dict)
    tract: Tract | None = None
    band_mean_change: Mapping[str, float] = field(default_factory=dict)
    crossovers: Mapping[str, tuple[float, ...]] = field(default_factory=dict)
    changes: Mapping[str, tuple[Array, Array]] = field(default_factory=dict)
    change_bands: Mapping[str, tuple[Array, Array, Array]] = field(default_factory=dict)

    def curve(self, name: str) -> Array:
        """Curve `name` [SI] over ``rpm``; all NaN where the result does not hold it."""
        values = self.curves.get(name)
        return np.full(len(self.rpm), np.nan) if values is None else np.asarray(values, float)

    def change(self, name: str) -> tuple[Array, Array]:
        """Speeds [rpm] and relative change [1] of `name` against the first option; empty for the first itself."""
        return self.changes.get(name, (np.array([]), np.array([])))


@dataclass(frozen=True)
class ComparisonView:
    """Options side by side, the first being what the others are measured against.

    `headline` is the answer in one sentence, `conditions` the line of what was held equal, `band` [rpm] the user's
    speeds, `target` (words, rpm) the wanted speed of peak, `left_out` the sentence of what the model leaves out,
    `remarks` what is said of single cylinders.
    """

    headline: str
    options: tuple[OptionView, ...]
    engine: str = ""
    conditions: str = ""
    band: tuple[float, float] | None = None
    target: tuple[str, float] | None = None
    left_out: str = ""
    stamp: str = ""
    remarks: tuple[str, ...] = ()


@dataclass(frozen=True)
class ProbeTrace:
    """What one place in a pipe sees over a cycle: `pressure` [Pa], `velocity` [m/s, positive with the flow].

    `side` "intake" or "exhaust"; `place` [m] from the valve along the path; `name` words for it; `sound_speed` [m/s].
    """

    name: str
    side: str
    place: float
    pressure: Array
    velocity: Array
    sound_speed: Array | None = None


@dataclass(frozen=True)
class CycleView:
    """One cycle of one cylinder by crank angle [deg, 0 = firing TDC, 360 = gas-exchange TDC].

    Pressures [Pa], temperature [K], lifts [m], flows [kg/s, positive forward: into the cylinder at the intake valve,
    out of it at the exhaust valve], valve angles [deg].
    """

    engine: str
    option: str
    rpm: float
    angle: Array
    cylinder_pressure: Array
    cylinder_temperature: Array
    intake_lift: Array
    exhaust_lift: Array
    intake_flow: Array
    exhaust_flow: Array
    probes: tuple[ProbeTrace, ...]
    intake_open: float
    intake_close: float
    exhaust_open: float
    exhaust_close: float
    reference_pressure: float
    scalars: Mapping[str, float] = field(default_factory=dict)
    left_out: str = ""
    stamp: str = ""

    def side(self, side: str) -> tuple[ProbeTrace, ...]:
        """Probes of one side ["intake" or "exhaust"], nearest the valve first."""
        return tuple(sorted((probe for probe in self.probes if probe.side == side), key=lambda probe: probe.place))
