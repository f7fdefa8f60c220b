"""Rows of the reference tables in tests/data (each file's first lines say where its numbers come from)."""

import csv
from pathlib import Path

DATA = Path(__file__).parent.parent / "data"


def rows(name: str) -> list[dict]:
    """Rows of `name`.csv by column name, numbers as floats."""
    lines = (DATA / f"{name}.csv").read_text(encoding="utf-8").splitlines()
    return [
        {key: _number(value) for key, value in row.items()} for row in csv.DictReader(x for x in lines if x[:1] != "#")
    ]


def _number(text: str) -> float | str:
    try:
        return float(text)
    except ValueError:
        return text
