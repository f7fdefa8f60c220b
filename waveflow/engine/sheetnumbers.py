"""Numbers of a table as its cells write them: decimal commas and points, thousands, units behind them.

A cell never becomes a number by a guess. Where a comma could part thousands as well as decimals ("1,270"), and nothing
else in the table decides it, `decimal_mark` says so and the table's reader asks.
"""

from __future__ import annotations

import math
import re

_NUMBER = re.compile(r"([+-]?[0-9.,]*[0-9][0-9.,]*(?:[eE][+-]?[0-9]{1,4})?)(?:\s*([^\d\s.,+-].*))?")
_PLAIN = re.compile(r"[+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][+-]?[0-9]{1,4})?")
_MONTH = r"(?:jan|feb|mar|mär|apr|may|mai|jun|jul|aug|sep|oct|okt|nov|dec|dez)[a-z]*\.?"
_DATE = re.compile(
    rf"[0-9]{{4}}-[0-9]{{2}}-[0-9]{{2}}.*|[0-9]{{1,2}}[./-][0-9]{{1,2}}[./-][0-9]{{2,4}}"
    rf"|[0-9]{{1,2}}[. -]+{_MONTH}(?:[ -]*[0-9]{{2,4}})?|{_MONTH}[ -][0-9]{{1,4}}",
    re.IGNORECASE,
)
NOTHING = ("-", "--", "---", "\N{EN DASH}", "\N{EM DASH}", "\N{MINUS SIGN}", "n/a", "na", "n.a.", "#n/a")
"""What a shop writes where nothing was read."""


def split_cell(cell: str) -> tuple[str, str]:
    """`"19,5 CFM"` as `("19,5", "CFM")`; ("", "") for a text that does not begin with a number."""
    match = _NUMBER.fullmatch(cell) if len(cell) <= 60 else None
    return (match[1], (match[2] or "").strip()) if match else ("", "")


def is_number(cell: str) -> bool:
    """Whether a cell is a number, perhaps with a unit behind it."""
    return bool(split_cell(cell)[0]) and not _DATE.fullmatch(cell)


def _reading(number: str) -> str:
    """What one number says of the decimal mark: "point", "comma", "comma?" and "point?" (could part thousands), ""."""
    digits = re.sub(r"[eE].*", "", number.lstrip("+-"))
    marks = [mark for mark in digits if mark in ",."]
    if not marks:
        return ""
    names = {",": "comma", ".": "point"}
    other = {",": "point", ".": "comma"}
    if len(set(marks)) == 2:
        return names[marks[-1]]
    if len(marks) > 1:
        return other[marks[0]]
    thousands = re.fullmatch(r"[1-9][0-9]{0,2}[.,][0-9]{3}", digits)
    return names[marks[0]] + ("?" if thousands else "")


def decimal_mark(numbers: list[str], separator: str) -> tuple[str, str]:
    """("point" or "comma", "") as the numbers of a table decide it, or ("", example) where they leave it open.

    A lone "1.270" is open only between semicolons or tabs, where a decimal comma is at home. `numbers`: texts.
    """
    readings = {}
    for number in numbers:
        readings.setdefault(_reading(number), number)
    sure = [each for each in ("comma", "point") if each in readings]
    if separator == "" and "comma" in sure:
        return "comma", ""  # a workbook's own numbers always come with a point
    if len(sure) == 1:
        return sure[0], ""
    if sure:
        return "", readings["comma"]
    if "comma?" in readings:
        return "", readings["comma?"]
    if "point?" in readings and separator in (";", "\t"):
        return "", readings["point?"]
    return "point", ""


def plain_number(number: str, decimal: str, workbook: bool = False) -> str:
    """The number's text with a decimal point and without thousands; "" where it does not fit the decimal mark."""
    mark, parting = (",", ".") if decimal == "comma" else (".", ",")
    if workbook and "," not in number:
        mark, parting = ".", ","
    whole, _, rest = number.partition(mark)
    if parting in whole and not re.fullmatch(rf"[+-]?[1-9][0-9]{{0,2}}(?:{re.escape(parting)}[0-9]{{3}})+", whole):
        return ""
    text = whole.replace(parting, "") + ("." + rest if mark in number else "")
    return text if _PLAIN.fullmatch(text) else ""


def fault_of(cell: str, decimal: str, workbook: bool = False) -> str:
    """Why a cell is no number that can be used, in words; "" if it can."""
    if _DATE.fullmatch(cell):
        return "looks like a date: the spreadsheet has turned a number into one"
    number, _ = split_cell(cell)
    if not number:
        return "is not a number"
    text = plain_number(number, decimal, workbook)
    if not text:
        other = "points" if decimal == "comma" else "commas"
        return f"does not fit a table of decimal {decimal}s" if ("," in number or "." in number) else f"mixes {other}"
    value = float(text)
    if not math.isfinite(value) or abs(value) > 1e12:
        return "is too large"
    return "is negative" if value < 0 or text.startswith("-") else ""
