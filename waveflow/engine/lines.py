"""Where in a TOML text each key and each list item stands, and how deep the text nests.

The standard library's parser gives no positions. This scanner runs beside it, once over the text in linear time: first
to refuse what nests too deep (before the parser recurses), then to find the line of every dotted key.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterator

Key = tuple[str | int, ...]

DEEPEST = 64

_TOKEN = re.compile(
    r"(?P<comment>\#[^\n]*)"
    r'|(?P<string>"""(?:[^\\"]|\\[\s\S]|"(?!""))*+"{3,5}'
    r"|'''(?:[^']|'(?!''))*+'{3,5}"
    r'|"(?:[^"\\\n]|\\.)*+"'
    r"|'[^'\n]*+')"
    r"|(?P<newline>\n)"
    r"|(?P<mark>[\[\]{}=,.])"
    r"|(?P<word>[^\s\[\]{}=,.#\"']++)"
    r"|(?P<other>[\"'])"
    r"|(?P<blank>[^\S\n]++)"
)


def tokens(text: str) -> Iterator[tuple[str, str, int]]:
    """(kind, text, line) of every piece but blanks and comments."""
    line = 1
    for match in _TOKEN.finditer(text):
        kind, piece = match.lastgroup or "", match.group()
        if kind not in ("blank", "comment"):
            yield kind, piece, line
        line += piece.count("\n")


def too_deep(text: str) -> int:
    """Line at which lists, tables or dotted keys nest deeper than DEEPEST levels; 0 if nowhere."""
    depth = dots = 0
    for kind, piece, line in tokens(text):
        if piece in "[{" and kind == "mark":
            depth += 1
        elif piece in "]}" and kind == "mark":
            depth = max(0, depth - 1)
        if piece == "." and kind == "mark":
            dots += 1
        elif kind == "newline" or piece in "=,":
            dots = 0
        if depth > DEEPEST or dots >= DEEPEST:
            return line
    return 0


def _word(kind: str, piece: str) -> str:
    """Name of a key as the parser will know it."""
    if kind != "string":
        return piece
    try:
        return tomllib.loads(f"k = {piece}")["k"]
    except ValueError:
        return piece


class _Index:
    """Reads the tokens of a valid TOML text and notes the line of every key; never looks at values."""

    def __init__(self, text: str):
        self.pieces = list(tokens(text))
        self.at = 0
        self.lines: dict[Key, int] = {}
        self.counts: dict[Key, int] = {}

    def peek(self) -> tuple[str, str, int]:
        return self.pieces[self.at] if self.at < len(self.pieces) else ("end", "", 0)

    def take(self) -> tuple[str, str, int]:
        piece = self.peek()
        self.at += 1
        return piece

    def skip_newlines(self) -> None:
        while self.peek()[0] == "newline":
            self.at += 1

    def note(self, path: Key, line: int) -> None:
        for length in range(1, len(path) + 1):
            self.lines.setdefault(path[:length], line)

    def key(self, end: str) -> tuple[Key, int]:
        """Dotted key up to the mark `end`."""
        parts: list[str] = []
        line = self.peek()[2]
        while True:
            kind, piece, _ = self.take()
            if kind == "end" or piece == end and kind == "mark":
                return tuple(parts), line
            if kind in ("word", "string"):
                parts.append(_word(kind, piece))

    def through(self, path: Key) -> Key:
        """A table header's path with the number of the last item of every list of tables it goes through."""
        full: Key = ()
        for part in path:
            full += (part,)
            if full in self.counts:
                full += (self.counts[full] - 1,)
        return full

    def header(self) -> Key:
        self.take()
        listed = self.peek()[:2] == ("mark", "[")
        if listed:
            self.take()
        path, line = self.key("]")
        if listed:
            self.take()
            parent = self.through(path[:-1]) + path[-1:]
            number = self.counts.get(parent, 0)
            self.counts[parent] = number + 1
            full = (*parent, number)
        else:
            full = self.through(path)
        self.note(full, line)
        return full

    def value(self, path: Key) -> None:
        """Passes over one value; iterates over nested lists and inline tables with its own stack."""
        self.skip_newlines()
        kind, piece, line = self.peek()
        if (kind, piece) == ("mark", "["):
            self.take()
            number = 0
            while True:
                self.skip_newlines()
                kind, piece, line = self.peek()
                if kind == "end" or (kind, piece) == ("mark", "]"):
                    self.take()
                    return
                if (kind, piece) == ("mark", ","):
                    self.take()
                    continue
                self.note((*path, number), line)
                before = self.at
                self.value((*path, number))
                if self.at == before:  # a brace that opens nothing: no TOML, and nothing to wait for
                    self.take()
                number += 1
        if (kind, piece) == ("mark", "{"):
            self.take()
            while True:
                self.skip_newlines()
                kind, piece, line = self.peek()
                if kind == "end" or (kind, piece) == ("mark", "}"):
                    self.take()
                    return
                if (kind, piece) == ("mark", ","):
                    self.take()
                    continue
                name, line = self.key("=")
                self.note(path + name, line)
                self.value(path + name)
        while True:
            kind, piece, _ = self.peek()
            if kind in ("end", "newline") or kind == "mark" and piece in ",]}":
                return
            self.take()

    def run(self) -> dict[Key, int]:
        table: Key = ()
        while True:
            self.skip_newlines()
            kind, piece, _ = self.peek()
            if kind == "end":
                return self.lines
            if (kind, piece) == ("mark", "["):
                table = self.header()
            else:
                name, line = self.key("=")
                self.note(table + name, line)
                self.value(table + name)


def key_lines(text: str) -> dict[Key, int]:
    """Line (from 1) of every table, key and list item of a valid TOML text: {("intake", "port", "stations", 3): 41}."""
    return _Index(text).run()
