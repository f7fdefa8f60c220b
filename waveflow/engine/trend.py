"""The duration of a burn relative to a reference point of the same engine: a trend model, off unless it is asked for.

Time to burn goes with L / (u' or S_L): with eddies burned at the laminar speed over Taylor's microscale, at constant geometry,

    t / t0 = (u0 / u)^p (S0 / S)^p,    p = 2/3

(G. L. Hires, R. J. Tabaczynski & J. M. Novak, "The Prediction of Ignition Delay and Combustion Intervals for a Homogeneous
Charge, Spark Ignition Engine", SAE 780232 (1978), from memory; the small dependence on viscosity is left out). Degrees are
time times speed. Turbulence u follows in part the inlet jet, in part mean piston speed; with the piston alone degrees go with
the third root of speed. The laminar speed falls with residual gas x as S = 1 - d x^0.77, d = 2.06 (D. B. Rhodes & J. C. Keck,
"Laminar Burning Speed Measurements of Indolene-Air-Diluent Mixtures at High Pressures and Temperatures", SAE 850047 (1985),
from memory; mole fraction taken as mass fraction).

None of its constants was fitted to an engine here. What tumble, swirl, squish and the plug's place do is outside it.
"""

from __future__ import annotations

from itertools import product
from typing import Any

DILUTION_POWER = 0.77
SLOWEST = 0.15
"""Least laminar speed over that without residual gas: beyond it a flame would not run, and the form says nothing."""
RANGES = {"jet_share": (0.2, 0.8), "power": (0.5, 0.8), "dilution": (1.6, 2.5)}
"""Likely ranges of the three constants; those of parts_trend."""


def turbulence(trend: Any, rpm: float, jet: float, jet_share: float | None = None) -> float:
    """Turbulence over that of the reference point [1]; `rpm` [rpm], inlet `jet` [m/s]."""
    share = trend.jet_share if jet_share is None else jet_share
    return share * jet / trend.at_jet + (1.0 - share) * rpm / trend.at_speed


def flame_speed(residual: float, dilution: float) -> float:
    """Laminar flame speed over that without residual gas [1]; residual [1]."""
    return max(1.0 - dilution * max(residual, 0.0) ** DILUTION_POWER, SLOWEST)


def duration_ratio(
    trend: Any, rpm: float, residual: float, jet: float, *, jet_share: float | None = None, power: float | None = None,
    dilution: float | None = None,
) -> float:  # fmt: skip
    """Duration in degrees over that of the reference point [1]; rpm [rpm], residual [1], inlet jet [m/s]."""
    p = trend.power if power is None else power
    d = trend.dilution if dilution is None else dilution
    slower = flame_speed(trend.at_residual, d) / flame_speed(residual, d)
    return rpm / trend.at_speed * (slower / turbulence(trend, rpm, jet, jet_share)) ** p


def ratio_range(trend: Any, rpm: float, residual: float, jet: float) -> tuple[float, float]:
    """Least and greatest ratio [1] while each of the three constants goes through its likely range."""
    corners = [
        duration_ratio(trend, rpm, residual, jet, jet_share=s, power=p, dilution=d) for s, p, d in product(*RANGES.values())
    ]
    return min(corners), max(corners)
