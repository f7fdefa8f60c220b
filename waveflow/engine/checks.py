"""Checks between values: what no single value can say. Each runs on its own, so all mistakes come out at once."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any

from waveflow.engine.fields import Skip
from waveflow.engine.lines import Key
from waveflow.engine.part import Part, key_of
from waveflow.engine.parts_pipe import kind_of
from waveflow.engine.reading import Reading, dotted, written
from waveflow.errors import CaseProblem, CaseWarning


@dataclass(frozen=True)
class Finding:
    """One remark of a check; `warning` where the case can be used as it stands."""

    key: Key
    message: str
    allowed: str = ""
    hint: str = ""
    why: str = ""
    warning: bool = False
    missing: bool = False


Check = Callable[[Any], Iterator[Finding]]


def find(case: Any, reading: Reading, partly_wrong: bool) -> tuple[list[CaseProblem], list[CaseWarning]]:
    """All findings of all checks; values already known to be wrong (`UNKNOWN`) end only the check that meets them."""
    from waveflow.engine import (
        checks_bench,
        checks_charger,
        checks_cylinder,
        checks_engine,
        checks_head,
        checks_pipes,
        checks_practice,
        checks_valves,
    )

    problems: list[CaseProblem] = []
    warnings: list[CaseWarning] = []
    sided = (*checks_valves.CHECKS, *checks_pipes.CHECKS, *checks_practice.CHECKS, *checks_bench.CHECKS)
    whole = (*checks_engine.CHECKS, *checks_charger.CHECKS)
    for check in (*whole, *sided, *checks_cylinder.CHECKS, lambda case: checks_cylinder.as_a_case(case, sided)):
        # what was found before a wrong value ended the check still stands
        try:
            for finding in check(case):
                _put(finding, reading, problems, warnings)
        except Skip:
            continue
    if not partly_wrong and not problems:
        late = (*checks_valves.LATE_CHECKS, *checks_practice.LATE_CHECKS, *checks_bench.LATE_CHECKS)
        for check in (*late, *checks_head.LATE_CHECKS, lambda case: checks_cylinder.as_a_case(case, late)):
            for finding in check(case):
                _put(finding, reading, problems, warnings)
        for key, message in reading.notes.remarks:
            _put(Finding(key, message, warning=True), reading, problems, warnings)
        for finding in unusual(case, ()):
            _put(finding, reading, problems, warnings)
    return problems, warnings


def _put(finding: Finding, reading: Reading, problems: list, warnings: list) -> None:
    file, line = reading.place(finding.key)
    value = None if finding.missing else written(reading.value(finding.key))
    made = CaseWarning if finding.warning else CaseProblem
    (warnings if finding.warning else problems).append(
        made(file, dotted(finding.key), value, finding.message, finding.allowed, finding.hint, line, finding.why)
    )


def unusual(part: Part, path: Key) -> Iterator[Finding]:
    """Legal values outside the range in which nearly all engines lie."""
    for name, field in type(part).model_fields.items():
        if name not in part.model_fields_set:
            continue
        key = (*path, key_of(name, field))
        yield from _unusual_value(getattr(part, name), kind_of(field), key)


def _unusual_value(value: Any, kind: Any, key: Key) -> Iterator[Finding]:
    if isinstance(value, Part):
        yield from unusual(value, key)
    elif isinstance(value, tuple):
        for number, item in enumerate(value):
            yield from _unusual_value(item, kind, (*key, number))
    elif value is not None and hasattr(kind, "remark"):
        remark = kind.remark(value)
        if remark:
            yield Finding(key, remark, warning=True)
