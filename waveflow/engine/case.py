"""The case: an engine with its ports as the user describes it, checked and immutable, SI inside.

`load` reads a TOML file (and the files it names), reports every mistake at once as `CaseError`, and returns a `Case`.
Whatever was filled in stands in `case.assumptions`; whatever is legal but looks wrong in `case.warnings`.
"""

from __future__ import annotations

import hashlib
import os
from collections.abc import Mapping
from pathlib import Path
from typing import Annotated, Any

from pydantic import Field, PrivateAttr, ValidationError

from waveflow import units
from waveflow.engine.assumptions import MARKS, Assumption, filled_in, of_use
from waveflow.engine.compression import swept_volume
from waveflow.engine.fields import Whole, Words, standard
from waveflow.engine.margins import split_margin
from waveflow.engine.options import Enlarge, settle_flows
from waveflow.engine.part import Part
from waveflow.engine.parts_charger import Charger
from waveflow.engine.parts_cylinder import MOST_CYLINDERS, Cylinder
from waveflow.engine.parts_engine import (
    Ambient,
    Burn,
    Compression,
    Engine,
    Friction,
    Fuel,
    Ideal,
    Range,
    Run,
    Walls,
    Wiebe,
)
from waveflow.engine.parts_pipe import Exhaust, Intake
from waveflow.engine.parts_trend import BurnTrend
from waveflow.engine.percylinder import without_own_flow
from waveflow.engine.reading import SET, Reading, read, read_string
from waveflow.errors import CaseError, CaseProblem, CaseWarning

FORMAT = 1


class Case(Part):
    """An engine, its intake and exhaust, and how it is run. Lengths in m, pressures in Pa, angles in crank degrees."""

    format: Annotated[int, Whole(1, FORMAT, why="a higher number was written by a later version")] = standard(
        FORMAT, "the format of this version"
    )
    name: Annotated[str, Words(80, 1, why="name of the engine", example="my engine")]
    note: Annotated[str, Words(1000, why="whatever is worth knowing")] = ""
    option: Annotated[str, Words(40, why="short name of this port option")] = ""
    engine: Engine
    compression: Compression
    intake: Intake
    exhaust: Exhaust
    charger: Charger | None = None
    ambient: Ambient
    fuel: Fuel
    burn: Burn = Field(default_factory=lambda: Wiebe(kind="wiebe"))
    burn_trend: BurnTrend | None = None
    walls: Walls = Field(default_factory=Walls)
    friction: Friction = Field(default_factory=Friction)
    range: Range
    run: Run = Field(default_factory=Run)
    ideal: Ideal = Field(default_factory=Ideal)
    enlarge: Enlarge | None = None
    cylinder: Annotated[tuple[Cylinder, ...], Field(max_length=MOST_CYLINDERS)] = ()

    _source: str = PrivateAttr(default="")
    _base: str | None = PrivateAttr(default=None)
    _text: str = PrivateAttr(default="")
    _digest: str = PrivateAttr(default="")
    _assumptions: tuple[Assumption, ...] = PrivateAttr(default=())
    _warnings: tuple[CaseWarning, ...] = PrivateAttr(default=())
    _uncertain: tuple[Any, ...] = PrivateAttr(default=())
    _derived: Any = PrivateAttr(default=None)

    @property
    def source(self) -> str:
        """Path of the file as it was given to `load`."""
        return self._source

    @property
    def base(self) -> str | None:
        """Name of the file this one is a difference to; None if it stands alone."""
        return self._base

    @property
    def text(self) -> str:
        """The case as one self-contained TOML text: bases, tables and set values in place, defaults as comments."""
        return self._text

    @property
    def digest(self) -> str:
        """SHA-256 of `text` [hex]."""
        return self._digest

    @property
    def assumptions(self) -> tuple[Assumption, ...]:
        """Every default and guess that was filled in."""
        return self._assumptions

    @property
    def uncertain(self) -> tuple[Any, ...]:
        """Every given value with a margin or a mark (`uncertain.Uncertain`), guesses first."""
        return self._uncertain

    @property
    def warnings(self) -> tuple[CaseWarning, ...]:
        """Values that are legal but look wrong."""
        return self._warnings

    @property
    def derived(self) -> Any:
        """What `enlarge` did: an `Enlargement` (stations, changes, volumes before and after); None without it."""
        return self._derived

    @property
    def assumed(self) -> bool:
        """Whether a valve's flow stands in for a sheet that was never measured."""
        return "stock" in (self.intake.flow.kind, self.exhaust.flow.kind)

    @property
    def boost_controlled(self) -> bool:
        """Whether a charger holds the boost whatever the weather, so that a correction by ambient air over-corrects."""
        return self.charger is not None

    @property
    def swept_volume(self) -> float:
        """Volume swept by one piston [m3], area of the bore times stroke."""
        return swept_volume(self.engine.bore, self.engine.stroke)

    @property
    def displacement(self) -> float:
        """Swept volume of all cylinders [m3]."""
        return self.swept_volume * self.engine.cylinders

    @property
    def clearance_volume(self) -> float:
        """Volume of one cylinder at top dead centre [m3]."""
        return self.compression.clearance_volume

    def changed(self, overrides: Mapping[str, str]) -> Case:
        """The same case with some values set anew, through the same checks: `case.changed({"run.cell": "5 mm"})`."""
        return load_text(self.text, self.source, overrides)

    def __repr__(self) -> str:
        option = f", option {self.option}" if self.option else ""
        count = "1 cylinder" if self.engine.cylinders == 1 else f"{self.engine.cylinders} cylinders"
        return f"<Case {self.name}{option}: {count}, {self.displacement * 1e6:.0f} cc>"

    def __str__(self) -> str:
        return repr(self)


def load(path: str | os.PathLike[str], overrides: Mapping[str, str] | None = None) -> Case:
    """Case of a TOML file. `overrides` sets values by dotted key ({"intake.runner.length": "300 mm"}).

    Raises CaseError with every mistake in the file, the files it names, and the overrides.
    """
    return _made(read(Path(path), os.fspath(path), overrides))


def load_text(text: str, label: str = "case", overrides: Mapping[str, str] | None = None) -> Case:
    """Case of a TOML text that names no other file, such as the text kept in a result; `label` stands for its name."""
    return _made(read_string(text, label, overrides))


def defaults_and_guesses(case: Case) -> list[Assumption]:
    """Everything filled in, what is assumed first, then the guesses, then the defaults."""
    return sorted(case.assumptions, key=lambda each: MARKS.index(each.mark))


def _made(reading: Reading) -> Case:
    from waveflow.engine.checks import find
    from waveflow.engine.fill import complete, enlarged
    from waveflow.engine.resolved import marks_table, toml_text
    from waveflow.engine.uncertain import collect, take_marks
    from waveflow.engine.wording import problems_of, with_unknown

    marks = take_marks(reading, Case)
    settled = settle_flows(reading)
    context: dict[str, Any] = {"barometer": _barometer(reading)}
    problems: list[CaseProblem] = list(reading.notes.problems)
    try:
        case = Case.model_validate(reading.tree, context=context)
        checked = case
        uncertain = tuple(collect(reading, Case, marks))
        case._uncertain = uncertain  # the checks weigh readings by their margins
    except ValidationError as error:
        found, misspelt = problems_of(error, Case, reading)
        problems += found
        partly = with_unknown(reading.tree, misspelt, reading.notes.unread)
        checked = Case.model_validate(partly, context=context | {"lenient": True})
    mistakes, warnings = find(checked, reading, bool(problems))
    problems += mistakes
    if problems:
        raise CaseError(sorted(dict.fromkeys(problems), key=lambda each: (each.file == SET, each.file, each.line or 0)))
    case, computed = complete(case)
    settled += _common_sheets(case)
    if case.enlarge is not None:
        case, remarks = _with_derived_port(case, enlarged, reading)
        warnings += remarks
    assumptions = settled + [each for each in filled_in(case) if of_use(each, case)] + computed
    case._assumptions = tuple(assumptions)
    case._warnings = tuple(warnings)
    case._source = reading.label
    case._base = reading.base
    case._uncertain = uncertain
    case._text = toml_text(reading.tree | marks_table(marks), [f"filled in: {each}" for each in assumptions])
    case._digest = hashlib.sha256(case._text.encode()).hexdigest()
    return case


def _common_sheets(case: Case) -> list[Assumption]:
    """What is assumed for cylinders with a port of their own and no flow of their own."""
    why = "no reading of this cylinder's own port: give intake.readings or flow"
    return [
        Assumption(f"cylinder[{place}].{side}.flow", "the common sheet", "guess", why=why.replace("intake", side))
        for place, side in without_own_flow(case)
    ]


def _with_derived_port(case: Case, enlarged: Any, reading: Reading) -> tuple[Case, list[CaseWarning]]:
    from waveflow.engine.fill import replaced

    key = "enlarge"
    file, line = reading.place((key,))
    try:
        derived = enlarged(case)
    except ValueError as error:
        raise CaseError([CaseProblem(file, key, None, str(error), line=line)]) from None
    case = replaced(case, f"{case.enlarge.side}.port.stations", derived.stations)
    case = replaced(case, f"{case.enlarge.side}.port.burette_volume", None)
    case._derived = derived
    return case, [CaseWarning(file, key, None, text, line=line) for text in derived.warnings]


def _barometer(reading: Reading) -> float:
    """Ambient pressure [Pa], which gauge pressures are counted from; where it is wrong, the case is refused anyway."""
    try:
        given = reading.value(("ambient", "pressure"))
        return units.parse(split_margin(given)[0], "absolute_pressure")
    except units.UnitError:
        return units.parse("1 atm", "barometer")
