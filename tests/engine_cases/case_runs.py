"""Runs of the shipped cases, each made once however many tests look at it, and rows of the tables in tests/data."""

import csv
from functools import cache
from pathlib import Path

from waveflow.engine.build import build
from waveflow.engine.case import Case, load
from waveflow.engine.model import Model
from waveflow.study.cycle import PointResult, run_point

CASES = Path(__file__).parents[2] / "cases"
DATA = Path(__file__).parents[1] / "data"


def rows(name: str) -> list[dict]:
    """Rows of `name`.csv by column name, numbers as floats; lines that begin with # say where the numbers come from."""
    lines = (DATA / f"{name}.csv").read_text(encoding="utf-8").splitlines()
    return [{k: _number(v) for k, v in row.items()} for row in csv.DictReader(x for x in lines if x[:1] != "#")]


def _number(text: str) -> float | str:
    try:
        return float(text)
    except ValueError:
        return text


@cache
def _case(name: str, changes: tuple[tuple[str, str], ...]) -> Case:
    return load(CASES / f"{name}.toml", dict(changes))


def case_of(name: str, changes: dict[str, str] | None = None) -> Case:
    """A shipped case by its file name, with some values set anew."""
    return _case(name, tuple((changes or {}).items()))


@cache
def _model(case: Case, cell: float | None) -> Model:
    return build(case, cell)


@cache
def _run(case: Case, rpm: float, cell: float | None, max_cycles: int | None, trace: bool) -> PointResult:
    return run_point(case, rpm, max_cycles=max_cycles, cell=cell, trace=trace, model=_model(case, cell))


def run(
    name: str, rpm: float, changes: dict[str, str] | None = None, *, cell: float | None = None,
    max_cycles: int | None = None, trace: bool = False,
) -> PointResult:  # fmt: skip
    """One speed of a shipped case; the same call gives the same result object."""
    return _run(case_of(name, changes), float(rpm), cell, max_cycles, trace)


def filling(name: str, rpm: float, changes: dict[str, str] | None = None, **options) -> float:
    """Volumetric efficiency of `run`, which must have come to rest."""
    result = run(name, rpm, changes, **options)
    assert result.converged, f"{name} at {rpm} rpm had not come to rest after {result.cycles} cycles"
    return result.scalars["volumetric_efficiency"]
