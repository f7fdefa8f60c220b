"""One computed speed as a plain record: what the journal keeps, and what a sweep is put together from.

Every number passes through here once, whether the point was computed a moment ago or read back from the disk, so a
resumed sweep gives the same bits as a straight one (``repr`` of a float reads back as the same float).
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, Protocol

import numpy as np

from waveflow.study.chain import state_text, usable

# Without these a point says nothing; if one is not a finite number, the point is a gap with a reason.
NEEDED = ("volumetric_efficiency", "torque", "power")


class Point(Protocol):
    """What a computed speed has to offer (see study/cycle.py)."""

    scalars: Mapping[str, float]
    per_cylinder: Mapping[str, np.ndarray]
    converged: bool
    cycles: int
    checks: Mapping[str, Any]


class RunPoint(Protocol):
    """Computes one speed [rpm] of a case; raises ``RunError`` where that cannot be done."""

    def __call__(self, case: Any, rpm: float, start: np.ndarray | None = None, max_cycles: int | None = None) -> Point:
        ...


@dataclass(frozen=True)
class PointRecord:
    """One speed [rpm]: its numbers (SI), or, where it could not be computed, the sentence in `failed` that says why."""

    rpm: float
    scalars: Mapping[str, float] = field(default_factory=dict)
    per_cylinder: Mapping[str, tuple[float, ...]] = field(default_factory=dict)
    converged: bool = False
    cycles: int = 0
    checks: Mapping[str, Any] = field(default_factory=dict)
    failed: str = ""
    state: str = ""  # end state for whoever starts from it (study/chain.py), kept in the journal only

    @property
    def volumetric_efficiency(self) -> float:
        """Delivered fresh air on ambient density [1]; NaN for a failed speed."""
        return self.scalars.get("volumetric_efficiency", math.nan)

    def as_dict(self) -> dict[str, Any]:
        """The record as JSON can hold it (not-a-number as null, infinities as text)."""
        if self.failed:
            return {"rpm": self.rpm, "failed": self.failed}
        return {
            "rpm": self.rpm,
            "scalars": to_plain(self.scalars),
            "per_cylinder": to_plain(self.per_cylinder),
            "converged": self.converged,
            "cycles": self.cycles,
            "checks": to_plain(self.checks),
            **({"state": self.state} if self.state else {}),
        }

    @classmethod
    def from_dict(cls, data: Mapping[str, Any]) -> PointRecord:
        """The record back from ``as_dict``. Raises ``ValueError`` where the data are not such a record."""
        try:
            rpm = float(data["rpm"])
            if data.get("failed"):
                return cls(rpm=rpm, failed=str(data["failed"]))
            return cls(
                rpm=rpm,
                scalars={str(name): to_float(value) for name, value in data["scalars"].items()},
                per_cylinder={
                    str(name): tuple(to_float(value) for value in values)
                    for name, values in data["per_cylinder"].items()
                },
                converged=bool(data["converged"]),
                cycles=int(data["cycles"]),
                checks=dict(data["checks"]),
                state=str(data.get("state", "")),
            )
        except (KeyError, TypeError, AttributeError) as error:
            raise ValueError(f"not a record of a computed speed ({error})") from error


def record_of(rpm: float, point: Point, keep_state: bool = False) -> PointRecord:
    """The record of a point just computed, with its end state if wanted; without finite main numbers a failed one."""
    scalars = {str(name): float(value) for name, value in point.scalars.items()}
    wrong = [name for name in NEEDED if not math.isfinite(scalars.get(name, math.nan))]
    if wrong:
        names = " and ".join(name.replace("_", " ") for name in wrong)
        return PointRecord(rpm=rpm, failed=f"{rpm:g} rpm: no finite number came out for {names}")
    state = getattr(point, "end_state", None) if keep_state else None
    made = PointRecord(
        rpm=rpm,
        state=state_text(state) if usable(state) else "",
        scalars=scalars,
        per_cylinder={
            str(name): tuple(float(value) for value in np.atleast_1d(values))
            for name, values in point.per_cylinder.items()
        },
        converged=bool(point.converged),
        cycles=int(point.cycles),
        checks=to_plain(point.checks),
    )
    return PointRecord.from_dict(made.as_dict())


def to_plain(value: Any) -> Any:
    """Any nest of mappings, sequences, arrays, numbers and words as JSON can hold it."""
    if isinstance(value, Mapping):
        return {str(key): to_plain(inner) for key, inner in value.items()}
    if isinstance(value, np.ndarray):
        return to_plain(value.tolist())
    if isinstance(value, list | tuple | set | frozenset):
        return [to_plain(inner) for inner in value]
    if isinstance(value, bool | np.bool_):
        return bool(value)
    if isinstance(value, int | np.integer):
        return int(value)
    if isinstance(value, float | np.floating):
        return from_float(float(value))
    if value is None or isinstance(value, str):
        return value
    return str(value)


def from_float(value: float) -> float | str | None:
    """A float as strict JSON can hold it: null for not-a-number, "inf" and "-inf" in words."""
    if math.isfinite(value):
        return value
    return None if math.isnan(value) else "inf" if value > 0 else "-inf"


def to_float(value: Any) -> float:
    """The float back from ``from_float``. Raises ``ValueError`` for anything else."""
    if value is None:
        return math.nan
    if isinstance(value, str) and value not in ("inf", "-inf"):
        raise ValueError(f"{value!r} is not a number")
    return float(value)
