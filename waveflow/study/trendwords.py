"""What a result says of a burn that follows a trend model: that it does, and how uncertain it is."""

from __future__ import annotations

from typing import Any

import numpy as np

TREND_NOTE = (
    "TREND MODEL: the burn's duration follows residual gas, speed and inlet jet (constants from memory, none fitted); what it "
    "does to the answer shows with --set burn_trend.use=false."
)


def trend_sentence(result: Any) -> str:
    """What a result [SweepResult] says of its burn where that follows a trend; empty where it does not."""
    low, high = result.column("burn_duration_low"), result.column("burn_duration_high")
    good = np.isfinite(low)
    if not good.any():
        return ""
    mean = result.column("burn_duration")[good]
    wide = float(np.max((high[good] - low[good]) / (2.0 * mean)))
    return f"{TREND_NOTE} Here 10-90 % takes {mean.min():.1f} to {mean.max():.1f} deg, uncertain by up to {100.0 * wide:.0f} %."
