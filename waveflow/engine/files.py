"""Text files from disk: size, encoding and nesting capped before anything is parsed; every failure is one sentence."""

from __future__ import annotations

import difflib
import re
import tomllib
from pathlib import Path
from typing import Any

from waveflow.engine.lines import DEEPEST, Key, key_lines, too_deep
from waveflow.errors import CaseError, CaseProblem

LARGEST = 1_000_000


def read_bytes(path: Path, label: str, largest: int = LARGEST, what: str = "a case file") -> bytes:
    """Bytes of a file, or CaseError: missing, no plain file, too large to be `what`."""
    try:
        if path.exists() and not path.is_file():
            raise CaseError([CaseProblem(label, "", None, "not a file")])
        with path.open("rb") as stream:
            data = stream.read(largest + 1)
    except FileNotFoundError:
        raise CaseError([CaseProblem(label, "", None, "no such file", hint=_neighbour(path))]) from None
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise CaseError([CaseProblem(label, "", None, f"cannot be read: {reason}")]) from None
    if len(data) > largest:
        raise CaseError([CaseProblem(label, "", None, f"larger than {largest // 1_000_000} MB: not {what}")])
    return data


def decoded(data: bytes) -> tuple[str, str]:
    """Text of a table and the name of its encoding: UTF-8, UTF-16 (with its mark, or known by its zero bytes), else
    Windows-1252, which any byte can be read as (undefined ones become U+FFFD).
    """
    if data[:2] in (b"\xff\xfe", b"\xfe\xff"):
        return data.decode("utf-16", errors="replace"), "UTF-16"
    zeros = data[:2000].count(0)
    if zeros * 3 > len(data[:2000]) > 3:
        little = data[1:2000:2].count(0) >= data[0:2000:2].count(0)
        return data.decode("utf-16-le" if little else "utf-16-be", errors="replace"), "UTF-16"
    try:
        return data.decode("utf-8-sig"), "UTF-8"
    except UnicodeDecodeError:
        return data.decode("cp1252", errors="replace"), "Windows-1252"


def read_text(path: Path, label: str) -> str:
    """Text of a file, or CaseError: missing, no plain file, too large, not UTF-8."""
    data = read_bytes(path, label)
    if data[:2] in (b"\xff\xfe", b"\xfe\xff"):
        raise CaseError([CaseProblem(label, "", None, "UTF-16 text", hint="save it as UTF-8")])
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data[: error.start].count(b"\n") + 1
        message = f"not UTF-8 text: byte 0x{data[error.start]:02x}"
        raise CaseError([CaseProblem(label, "", None, message, hint="save it as UTF-8", line=line)]) from None
    if "\0" in text:
        line = text[: text.index("\0")].count("\n") + 1
        raise CaseError([CaseProblem(label, "", None, "holds a zero byte: not a text file", line=line)])
    return text.replace("\r\n", "\n")


def _neighbour(path: Path) -> str:
    """`did you mean "n155_race.toml"?` from the files of the same folder."""
    try:
        names = [entry.name for entry in path.parent.iterdir() if entry.suffix == path.suffix][:500]
    except (OSError, ValueError):
        return ""
    close = difflib.get_close_matches(path.name, names, 1, 0.6)
    return f'did you mean "{close[0]}"?' if close else ""


def parse_toml(text: str, label: str) -> tuple[dict[str, Any], dict[Key, int]]:
    """TOML text to (tree, line of every key), or CaseError with the line of the mistake."""
    if len(text) > LARGEST:
        raise CaseError([CaseProblem(label, "", None, "larger than 1 MB: not a case file")])
    line = too_deep(text)
    if line:
        raise CaseError([CaseProblem(label, "", None, f"nested deeper than {DEEPEST} levels", line=line)])
    try:
        tree = tomllib.loads(text)
    except (ValueError, RecursionError) as error:
        raise CaseError([_toml_problem(str(error), text, label)]) from None
    return tree, key_lines(text)


def _toml_problem(message: str, text: str, label: str) -> CaseProblem:
    found = re.search(r"\(at line ([0-9]+), column ([0-9]+)\)", message)
    if found:
        line, column = int(found[1]), int(found[2])
        row = (text.split("\n") + [""])[line - 1]
        hint = _toml_cure(message, row)
        what = f"not valid TOML at column {column}: {message[: found.start()].strip()}"
        return CaseProblem(label, "", None, what, hint=hint, line=line)
    line = text.count("\n") + 1 if "end of document" in message else None
    what = "a number of too many digits" if "digits" in message else message.replace(" (at end of document)", "")
    return CaseProblem(label, "", None, f"not valid TOML: {what[:200]}", hint=_toml_cure(message, ""), line=line)


def _toml_cure(message: str, row: str) -> str:
    bare = re.match(r"""\s*([\w.-]+)\s*=\s*([0-9][^"'\[\]{}#]*?)\s*(#.*)?$""", row)
    if bare and not re.fullmatch(r"[-+0-9._eE]+", bare[2]):
        return f'a value with a unit stands in quotes: {bare[1]} = "{bare[2][:40]}"'
    word = re.match(r"""\s*([\w.-]+)\s*=\s*([A-Za-z][^"'\[\]{}#=]*?)\s*(#.*)?$""", row)
    if word:
        return f'a text stands in quotes: {word[1]} = "{word[2][:40]}"'
    if "overwrite" in message or "declare" in message or "twice" in message:
        return "the key or table stands in the file twice"
    return ""
