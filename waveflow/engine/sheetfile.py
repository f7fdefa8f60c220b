"""A flow sheet as found in practice, read: its columns, units and rows, and what has to be asked before it can be used.

The records only; `sheetreading` makes them, `sheetnormal` writes them in the plain form. Numbers keep their text, so that
a sheet written again and read again gives the same values bit for bit.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal

from waveflow.engine.grid import SEPARATOR_WORDS
from waveflow.units import parse


@dataclass(frozen=True)
class Question:
    """What a sheet leaves open: `key` to answer by, `about` in words, possible `readings` and what each would mean.

    `free`: another answer than the `readings` can be given, such as another depression.
    """

    key: str
    about: str
    readings: tuple[str, ...]
    meanings: tuple[str, ...] = ()
    free: bool = False

    def __str__(self) -> str:
        told = self.meanings or ("",) * len(self.readings)
        choices = [f"{each} ({words})" if words else each for each, words in zip(self.readings, told, strict=True)]
        return f"{self.about}: {' or '.join([*choices, *(['another'] if self.free else [])])}?"


@dataclass(frozen=True)
class BadRow:
    """A row that cannot be used: its number in the file, its text and why."""

    line: int
    text: str
    why: str

    def __str__(self) -> str:
        return f"row {self.line}: {self.why}"


@dataclass(frozen=True)
class FlowColumn:
    """One column of readings. `texts` (n,) hold a number each, or None where the cell is empty.

    `side` "intake" or "exhaust"; `label` such as "before"; `depression` as text; `shut`: the reading at zero lift.
    """

    place: int
    heading: str
    side: str
    label: str
    unit: str
    depression: str
    texts: tuple[str | None, ...]
    shut: str | None = None

    @property
    def name(self) -> str:
        """`"intake before"`."""
        return " ".join(word for word in (self.side, self.label) if word) or self.heading or f"column {self.place + 1}"


@dataclass(frozen=True)
class FlowFile:
    """A sheet as read. `lifts` (n,) texts of numbers in `lift_unit` ("D": lift over diameter), at the rows `lines` (n,).

    `facts`: what the sheet says of its bench, by the names of `sheetwords.FACTS`; `foreign`: it speaks of another bench.
    """

    source: str
    separator: str
    decimal: str
    lift_heading: str
    lift_unit: str
    lifts: tuple[str, ...]
    lines: tuple[int, ...]
    columns: tuple[FlowColumn, ...]
    facts: Mapping[str, str]
    questions: tuple[Question, ...]
    bad_rows: tuple[BadRow, ...]
    notes: tuple[str, ...]
    foreign: bool = False

    @property
    def ready(self) -> bool:
        """Whether nothing is left to ask and every row could be read."""
        return not self.questions and not self.bad_rows

    def valve(self, side: str) -> str:
        """Head diameter of a side's valve as text, if the sheet names one; else ""."""
        return self.facts.get(f"{side} valve", "") or self.facts.get("valve", "")

    def lift_texts(self, side: str) -> tuple[tuple[str, ...], str]:
        """Lifts (n,) as texts, and their unit. Lift over diameter is multiplied out exactly, by the side's valve in mm."""
        if self.lift_unit != "D":
            return self.lifts, self.lift_unit
        diameter = Decimal(repr(parse(self.valve(side), "length"))) * 1000
        return tuple(format((Decimal(text) * diameter).normalize(), "f") for text in self.lifts), "mm"

    def readings(self, column: FlowColumn) -> tuple[list[float], list[float]]:
        """Lifts (k,) [m] and flows (k,) [m3/s] of one column, where its cells hold a reading."""
        texts, unit = self.lift_texts(column.side)
        pairs = [(lift, flow) for lift, flow in zip(texts, column.texts, strict=True) if flow is not None]
        return ([parse(f"{lift} {unit}", "length") for lift, _ in pairs],
                [parse(f"{flow} {column.unit}", "volume_flow") for _, flow in pairs])  # fmt: skip

    def recognised(self) -> list[str]:
        """Sentences on what was understood of the file."""
        decimal = ", decimal commas" if self.decimal == "comma" else ""
        kind = f"{SEPARATOR_WORDS[self.separator]} between columns{decimal}" if self.separator else "workbook"
        unit = {"D": "lift over valve diameter", "": "unit not said"}.get(self.lift_unit, self.lift_unit)
        heading = f' from column "{self.lift_heading}"' if self.lift_heading else ""
        out = [f"{kind}; {len(self.lifts)} lifts{heading} ({unit})"]
        for column in self.columns:
            where = f" at {column.depression}" if column.depression else ", depression not said"
            told = f'column {column.place + 1} "{column.heading}": flow, {column.name}, {column.unit or "unit not said"}{where}'
            out.append(told + (f", {column.shut} at zero lift" if column.shut else ""))
        return out
