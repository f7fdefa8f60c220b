"""How fast the charge burns: the fraction burned against crank angle.

A burn is three things: the crank angle at which it starts (degrees, 0 = firing top dead centre, 0 <= start < 720),
how many degrees it lasts, and the cumulative fraction at `BURN_POINTS` equal steps over that span, from 0 to its
final value. Kept so, a burn that starts before top dead centre needs no special case where the angle jumps from 720
to 0.

Burning here only says how much of the mixture has become burned gas; the heat is the difference of the energies of
formation in the gas tables.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from waveflow.compiled import kernel

BURN_POINTS = 1001
"""Number of points of a tabulated burn."""


class Burn(NamedTuple):
    """Start [deg, 0 to 720], duration [deg] (0: never burns), cumulative fractions [-], shape (BURN_POINTS,)."""

    start: float
    duration: float
    fractions: NDArray[np.float64]


@kernel
def wiebe(y: float, a: float, m: float, normalised: bool) -> float:
    """Burned fraction [-] at the share y [-] of the burn's duration, 0 before y = 0 and constant after y = 1.

    x = 1 - exp(-a y^(m + 1)): I. I. Wiebe (Vibe), "Brennverlauf und Kreisprozess von Verbrennungsmotoren" (1970).
    Without `normalised` it ends at 1 - exp(-a), 0.9933 for a = 5; with it x is divided by that, so all of the charge
    burns.
    """
    y = min(max(y, 0.0), 1.0)
    x = -math.expm1(-a * y ** (m + 1.0))
    return x / -math.expm1(-a) if normalised else x


@kernel
def burn_fraction(theta: float, start: float, duration: float, fractions: NDArray[np.float64]) -> float:
    """Cumulative fraction [-] of a `Burn` at crank angle theta [deg], counting from its last start."""
    if duration <= 0.0:
        return 0.0
    place = min(((theta - start) % 720.0) / duration, 1.0) * (fractions.shape[0] - 1)
    i = min(int(place), fractions.shape[0] - 2)
    return fractions[i] + (place - i) * (fractions[i + 1] - fractions[i])


def wiebe_from_ca50(
    ca50: float, duration_10_90: float, a: float = 5.0, m: float = 2.0, normalised: bool = True
) -> tuple[float, float]:
    """Start and duration [deg, deg] of the Wiebe burn that is half done at `ca50` and takes `duration_10_90`.

    ca50 [deg after firing top dead centre], duration_10_90 [deg] from 10 to 90 % burned. In closed form, since the
    fraction q is reached at y = (-ln(1 - q x_end) / a)^(1 / (m + 1)). The start may be negative. Raises ValueError
    where no such burn exists.
    """
    if not (a > 0.0 and m > -1.0 and duration_10_90 > 0.0):
        raise ValueError("a Wiebe burn needs a > 0, m > -1 and a positive duration")
    end = -math.expm1(-a)
    if not normalised and end <= 0.9:
        raise ValueError(f"a Wiebe burn with a = {a:g} ends at {end:.2f}: it never reaches 90 %")
    scale = end if normalised else 1.0
    y10, y50, y90 = ((-math.log1p(-q * scale) / a) ** (1.0 / (m + 1.0)) for q in (0.1, 0.5, 0.9))
    duration = duration_10_90 / (y90 - y10)
    return ca50 - y50 * duration, duration


def burn_table(start: float, duration: float, a: float = 5.0, m: float = 2.0, normalised: bool = True) -> Burn:
    """Tabulated Wiebe burn; start [deg, any turn], duration [deg], 0 < duration <= 720. Raises ValueError."""
    if not (math.isfinite(start) and 0.0 < duration <= 720.0):
        raise ValueError(f"a burn of {duration:g} deg from {start:g} deg: duration must be above 0 and at most 720")
    fractions = np.array([wiebe(y, a, m, normalised) for y in np.linspace(0.0, 1.0, BURN_POINTS)])
    return Burn(start % 720.0, float(duration), fractions)


def burn_table_from_points(angle: ArrayLike, fraction: ArrayLike) -> Burn:
    """Tabulated burn through measured points; angle [deg after firing TDC, may be negative], fraction burned [-].

    Between points a monotone cubic (F. N. Fritsch & J. Butland, "A Method for Constructing Local Monotone Piecewise
    Cubic Interpolants", SIAM J. Sci. Stat. Comput. 5 (1984)); scaled to run from 0 at the first point to 1 at the
    last. Raises ValueError unless angles rise strictly over at most 720 deg and fractions never fall and rise
    somewhere.
    """
    from scipy.interpolate import PchipInterpolator

    x, y = np.asarray(angle, dtype=float), np.asarray(fraction, dtype=float)
    if x.ndim != 1 or x.shape != y.shape or x.size < 2:
        raise ValueError("burned fractions: two lists of equal length, two points or more, are needed")
    if not (np.isfinite(x).all() and np.isfinite(y).all()):
        raise ValueError("burned fractions: every angle and fraction must be a finite number")
    if (np.diff(x) <= 0.0).any() or x[-1] - x[0] > 720.0:
        raise ValueError("burned fractions: angles must rise from point to point and span at most 720 deg")
    if (np.diff(y) < 0.0).any() or y[-1] <= y[0]:
        raise ValueError("burned fractions: they must never fall, and end above where they begin")
    values = PchipInterpolator(x, (y - y[0]) / (y[-1] - y[0]))(np.linspace(x[0], x[-1], BURN_POINTS))
    return Burn(x[0] % 720.0, float(x[-1] - x[0]), np.clip(values, 0.0, 1.0))


def no_burn() -> Burn:
    """The burn of a motored engine: none."""
    return Burn(0.0, 0.0, np.zeros(BURN_POINTS))
