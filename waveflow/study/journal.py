"""Finished points on the disk, at once: a text file with one line a point, only ever added to.

Each line is JSON, with the key of what was computed and a checksum, and is forced to the disk before the next point is
taken. A line torn by a crash or a full disk is passed over when reading. The key is a digest of the case, the program
(its version and its sources) and the settings: points of another case or another program in the same file are ignored,
so one file serves several options, and a changed case never meets old numbers.
"""

from __future__ import annotations

import contextlib
import hashlib
import json
import os
import zlib
from collections.abc import Iterator, Mapping
from functools import cache
from pathlib import Path
from typing import Any, Self

from waveflow.study.records import PointRecord, to_plain
from waveflow.study.writing import make_folder, storing, write_all

FORMAT = 1


@cache
def program_version() -> str:
    """Version of this program, as installed."""
    from importlib import metadata

    try:
        return metadata.version("waveflow")
    except metadata.PackageNotFoundError:
        return "not installed"


@cache
def source_digest() -> str:
    """Digest (12 hex digits) of every source file that has a part in a computed point."""
    package = Path(__file__).parent.parent
    digest = hashlib.sha256()
    study = [package / "study" / f"{name}.py" for name in ("chain", "cycle", "numbers", "settling", "shaft", "trace")]
    for path in sorted([*package.glob("physics/*.py"), *package.glob("engine/*.py"), *study]):
        if path.exists():
            digest.update(f"{path.parent.name}/{path.name}\n".encode())
            digest.update(path.read_bytes())
    return digest.hexdigest()[:12]


def journal_key(case_digest: str, settings: Mapping[str, Any]) -> str:
    """Key (16 hex digits) of points that may stand for each other: same case, same program, same settings."""
    parts = [case_digest, program_version(), source_digest(), json.dumps(to_plain(settings), sort_keys=True)]
    return hashlib.sha256("\n".join(parts).encode()).hexdigest()[:16]


class LineFile:
    """Lines of one key in a file that is only ever added to. `path` None keeps nothing.

    Raises ``StoreError`` where the file cannot be opened, read or added to. `damaged` counts lines passed over.
    """

    def __init__(self, path: str | os.PathLike[str] | None, key: str) -> None:
        self.path = None if path is None else Path(path)
        self.key = key
        self.damaged = 0
        self._handle: int | None = None
        self._torn = False
        if self.path is not None:
            self._open()

    def _open(self) -> None:
        with storing(self.path, "the journal of finished speeds cannot be read"), contextlib.suppress(FileNotFoundError):
            open(self.path, "rb").close()  # what stands in its way is told before anything is made
        make_folder(self.path.parent)
        with storing(self.path, "the journal of finished speeds cannot be written"):
            flags = os.O_WRONLY | os.O_CREAT | os.O_APPEND | getattr(os, "O_BINARY", 0)
            self._handle = os.open(self.path, flags, 0o666)

    def bodies(self) -> Iterator[dict[str, Any]]:
        """What this key's lines say, one at a time; one that is torn, changed or of another format is passed over."""
        if self.path is None:
            return
        self.damaged = 0
        with storing(self.path, "the journal of finished speeds cannot be read"):
            lines = open(self.path, "rb")
        with lines:
            while line := self._next(lines):
                self._torn = not line.endswith(b"\n")
                body = self._body(line) if line.strip() else None
                if body is not None:
                    yield body

    def _next(self, lines: Any) -> bytes:
        with storing(self.path, "the journal of finished speeds cannot be read"):
            return lines.readline()

    def _body(self, line: bytes) -> dict[str, Any] | None:
        try:
            entry = json.loads(line)
            body = entry["point"]
            if entry["format"] != FORMAT or entry["sum"] != _checksum(entry["key"], body):
                raise ValueError("checksum")
            return body if entry["key"] == self.key else None
        except (ValueError, KeyError, TypeError, RecursionError):
            self.damaged += 1
            return None

    def add(self, body: Mapping[str, Any]) -> None:
        """Put a line on the disk, before anything else is done with what it says."""
        if self._handle is not None:
            entry = {"format": FORMAT, "key": self.key, "sum": _checksum(self.key, body), "point": body}
            # A torn line before this one is closed first, so that it cannot take this one with it.
            line = ("\n" if self._torn else "") + json.dumps(entry, allow_nan=False) + "\n"
            with storing(self.path, "the journal of finished speeds cannot be written"):
                self._torn = True
                write_all(self._handle, line.encode())
                self._torn = False
                os.fsync(self._handle)

    def close(self) -> None:
        """Close the file."""
        if self._handle is not None:
            handle, self._handle = self._handle, None
            with storing(self.path, "the journal of finished speeds cannot be closed"):
                os.close(handle)

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()


class Journal(LineFile):
    """The finished speeds of one key in one file; `points` by speed [rpm], readable after closing, too."""

    def __init__(self, path: str | os.PathLike[str] | None, key: str) -> None:
        super().__init__(path, key)
        self.points: dict[float, PointRecord] = {}
        for body in self.bodies():
            try:
                record = PointRecord.from_dict(body)
            except ValueError:
                self.damaged += 1
            else:
                self.points[record.rpm] = record

    def add(self, record: PointRecord) -> None:
        """Put a finished point on the disk, before anything else is done with it."""
        super().add(record.as_dict())
        self.points[record.rpm] = record


def _checksum(key: str, body: Mapping[str, Any]) -> str:
    """Checksum (8 hex digits) of a line's content, independent of spacing and order."""
    return f"{zlib.crc32((key + json.dumps(body, sort_keys=True)).encode()):08x}"
