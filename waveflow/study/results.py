"""What a sweep gives back: arrays by name over the speeds, with gaps where a speed failed and words for each gap."""

from __future__ import annotations

import difflib
import html
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np

from waveflow.study.columns import COLUMNS, shown, unit_of, words_of
from waveflow.study.records import PointRecord, to_float, to_plain

__all__ = ["COLUMNS", "CaseFacts", "SweepResult", "assemble", "shown", "unit_of", "words_of"]

# The columns a notebook's table shows.
_NOTEBOOK = ("rpm", "volumetric_efficiency", "trapped_efficiency", "residual_fraction", "torque", "power")

@dataclass(frozen=True)
class CaseFacts:
    """What a result has to know of its case after the case is gone: names, marks, range, lengths, the text itself.

    `assumed_why`: one sentence for each ASSUMED part (an option without its own flow sheet). `band` [rpm, rpm],
    `redline` [rpm], `intake_length` [m] from valve to the first volume plus end correction. `inputs`: every input with value,
    plus or minus, mark and instrument (`engine.provenance.Input`), the least certain first. `ratio`: compression ratio;
    `remarks`: what is legal in the case but looks wrong.
    """

    name: str
    option: str = ""
    assumed_why: tuple[str, ...] = ()
    band: tuple[float, float] | None = None
    redline: float | None = None
    intake_length: float | None = None
    digest: str = ""
    text: str = ""
    inputs: tuple[Mapping[str, str], ...] = ()
    ratio: float | None = None
    remarks: tuple[str, ...] = ()


@dataclass(frozen=True)
class SweepResult:
    """One case over n speeds. Every column of ``COLUMNS`` is an attribute: a float array (n,) in SI, NaN in a gap.

    `rpm` (n,) as asked for; `per_cylinder[name]` (n, cylinders); `failed` rpm -> sentence; `converged` (n,) bool;
    `added` (n,) bool marks points that refinement put in; `checks` one mapping a point; `warnings` sentences;
    `flow_band` the same sweep with valve flow lowered and raised, where the option is ASSUMED.
    """

    facts: CaseFacts
    rpm: np.ndarray
    columns: Mapping[str, np.ndarray]
    per_cylinder: Mapping[str, np.ndarray]
    failed: Mapping[float, str]
    converged: np.ndarray
    added: np.ndarray
    checks: tuple[Mapping[str, Any], ...] = ()
    warnings: tuple[str, ...] = ()
    settings: Mapping[str, Any] = field(default_factory=dict)
    program: str = ""
    flow_band: tuple[SweepResult, SweepResult] | None = None

    def __getattr__(self, name: str) -> np.ndarray:
        """A column by name (called only for names that are no fields)."""
        if name.startswith("_"):
            raise AttributeError(name)
        columns = self.__dict__.get("columns", {})
        if name in columns or (name in COLUMNS and "rpm" in self.__dict__):
            return self.column(name)
        near = difflib.get_close_matches(name, [*columns, *self.__dict__], n=1)
        hint = f"; did you mean {near[0]!r}?" if near else ""
        raise AttributeError(f"this result has no column {name!r}{hint}")

    def __dir__(self) -> list[str]:
        return sorted({*super().__dir__(), *self.columns})

    def __len__(self) -> int:
        return len(self.rpm)

    @property
    def case_name(self) -> str:
        """Name of the case."""
        return self.facts.name

    @property
    def option(self) -> str:
        """Short label of the port option ("" where the case names none)."""
        return self.facts.option

    @property
    def label(self) -> str:
        """The option in words ("as cast"), or the name of the case."""
        return (self.facts.option or self.facts.name).replace("_", " ")

    @property
    def assumed(self) -> bool:
        """True where something that decides the answer (valve flow) is ASSUMED, not measured."""
        return bool(self.facts.assumed_why)

    @property
    def band(self) -> tuple[float, float] | None:
        """The user's band of speeds [rpm], if the case states one."""
        return self.facts.band

    @property
    def redline(self) -> float | None:
        """Redline [rpm], if the case states one."""
        return self.facts.redline

    @property
    def intake_length(self) -> float | None:
        """Length from valve to the first volume plus end correction [m]."""
        return self.facts.intake_length

    @property
    def names(self) -> tuple[str, ...]:
        """Names of the columns held, `rpm` first, in the order of ``COLUMNS``."""
        known = [name for name in COLUMNS if name in self.columns]
        return ("rpm", *known, *sorted(set(self.columns) - set(known)))

    def column(self, name: str) -> np.ndarray:
        """Column by name (n,) [SI]; all NaN where the result does not hold it."""
        if name == "rpm":
            return self.rpm
        return self.columns.get(name, np.full(len(self.rpm), np.nan))

    def ordered(self, name: str) -> tuple[np.ndarray, np.ndarray]:
        """Speeds [rpm] that were computed, ascending and each once, and the column's values [SI] there."""
        speeds, first = np.unique(self.rpm, return_index=True)
        values = self.column(name)[first]
        good = np.isfinite(values)
        return speeds[good], values[good]

    def with_flow_band(self, low: SweepResult, high: SweepResult) -> SweepResult:
        """This result with the same sweep at lowered and at raised valve flow beside it."""
        return replace(self, flow_band=(low, high))

    def with_warnings(self, more: Iterable[str]) -> SweepResult:
        """This result with more warning sentences."""
        return replace(self, warnings=(*self.warnings, *more))

    def __repr__(self) -> str:
        speeds = f"{min(self.rpm):g} to {max(self.rpm):g} rpm" if len(self) else "no speeds"
        parts = [f"{len(self)} speeds", speeds]
        if self.failed:
            parts.append(f"{len(self.failed)} failed")
        if self.assumed:
            parts.append("ASSUMED")
        return f"<SweepResult {self.label!r}: {', '.join(parts)}>"

    def _repr_html_(self) -> str:
        """A table for notebooks: the main columns in user's units."""
        names = [name for name in self.names if name in _NOTEBOOK]
        cells = [shown(name, self.column(name)) for name in names]
        titles = [f"{words_of(name)} [{unit}]" for name, (_, unit, _) in zip(names, cells, strict=True)]
        head = "".join(f"<th>{html.escape(title)}</th>" for title in titles)
        rows = []
        for i, rpm in enumerate(self.rpm):
            if rpm in self.failed:
                inner = f"<td>{rpm:g}</td><td colspan='{len(names) - 1}'>{html.escape(self.failed[rpm])}</td>"
            else:
                inner = "".join(f"<td>{values[i]:.{digits}f}</td>" for values, _, digits in cells)
            rows.append(f"<tr>{inner}</tr>")
        title = html.escape(repr(self))
        return f"<table><caption>{title}</caption><thead><tr>{head}</tr></thead><tbody>{''.join(rows)}</tbody></table>"

    def as_dict(self) -> dict[str, Any]:
        """Everything as JSON can hold it."""
        return {
            "case": to_plain(vars(self.facts)),
            "rpm": to_plain(self.rpm),
            "columns": to_plain(self.columns),
            "per_cylinder": to_plain(self.per_cylinder),
            "failed": [[rpm, why] for rpm, why in self.failed.items()],
            "converged": to_plain(self.converged),
            "added": to_plain(self.added),
            "checks": to_plain(self.checks),
            "warnings": list(self.warnings),
            "settings": to_plain(self.settings),
            "program": self.program,
            "flow_band": [result.as_dict() for result in self.flow_band] if self.flow_band else None,
        }

    @classmethod
    def from_dict(cls, data: Mapping[str, Any]) -> SweepResult:
        """The result back from ``as_dict``. Raises ``ValueError`` where the data are not such a result."""
        try:
            facts = dict(data["case"])
            facts["assumed_why"] = tuple(facts["assumed_why"])
            facts["band"] = tuple(facts["band"]) if facts["band"] else None
            facts["inputs"] = tuple(dict(each) for each in facts.get("inputs", ()))
            facts["remarks"] = tuple(facts.get("remarks", ()))
            rpm = _frozen(data["rpm"])
            columns = {name: _frozen(values) for name, values in data["columns"].items()}
            cylinders = {name: _frozen(rows).reshape(len(rpm), -1) for name, rows in data["per_cylinder"].items()}
            sized = [*columns.values(), *cylinders.values(), data["converged"], data["added"], data["checks"]]
            if any(len(values) != len(rpm) for values in sized):
                raise ValueError("columns of unequal length")
            return cls(
                facts=CaseFacts(**facts),
                rpm=rpm,
                columns=columns,
                per_cylinder=cylinders,
                failed={float(speed): str(why) for speed, why in data["failed"]},
                converged=_frozen(data["converged"], bool),
                added=_frozen(data["added"], bool),
                checks=tuple(data["checks"]),
                warnings=tuple(data["warnings"]),
                settings=dict(data["settings"]),
                program=str(data["program"]),
                flow_band=tuple(cls.from_dict(inner) for inner in data["flow_band"]) if data["flow_band"] else None,
            )
        except (KeyError, TypeError, AttributeError) as error:
            raise ValueError(f"not a sweep result ({error})") from error


def assemble(
    facts: CaseFacts, speeds: Sequence[float], records: Mapping[float, PointRecord], **more: Any
) -> SweepResult:
    """Put the records of computed speeds together.

    `speeds` [rpm] in the order wanted (a speed may come twice); `records` by speed; a speed without a record (the sweep
    was stopped) is left out. `more`: the remaining fields of ``SweepResult``.
    """
    rpm = [float(speed) for speed in speeds if float(speed) in records]
    points = [records[speed] for speed in rpm]
    added = set(more.pop("added", ()))
    names = list(dict.fromkeys(name for point in points for name in point.scalars if name != "rpm"))
    columns = {name: _frozen([point.scalars.get(name) for point in points]) for name in names}
    shapes: dict[str, int] = {}
    for point in points:
        for name, values in point.per_cylinder.items():
            shapes[name] = max(shapes.get(name, 0), len(values))
    cylinders = {
        name: _frozen([[*point.per_cylinder.get(name, ()), *[None] * width][:width] for point in points])
        for name, width in shapes.items()
    }
    return SweepResult(
        facts=facts,
        rpm=_frozen(rpm),
        columns=columns,
        per_cylinder=cylinders,
        failed={point.rpm: point.failed for point in points if point.failed},
        converged=_frozen([point.converged for point in points], bool),
        added=_frozen([speed in added for speed in rpm], bool),
        checks=tuple(point.checks for point in points),
        **more,
    )


def _frozen(values: Any, kind: type = float) -> np.ndarray:
    """An array that cannot be written to, from numbers as JSON holds them."""
    if kind is float:
        array = np.array(_floats(values), dtype=float)
    else:
        array = np.array(list(values), dtype=kind)
    array.setflags(write=False)
    return array


def _floats(values: Any) -> Any:
    return [_floats(value) if isinstance(value, list | tuple) else to_float(value) for value in values]


def case_of(result: SweepResult) -> Any | None:
    """The case [engine.case.Case] a result was computed from, read back from the text it carries; None without."""
    from waveflow.engine.case import load_text
    from waveflow.errors import CaseError

    if not result.facts.text:
        return None
    try:
        return load_text(result.facts.text, result.facts.name)
    except CaseError:
        return None
