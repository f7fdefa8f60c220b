"""Finished points on the disk, at once: a text file with one line a point, only ever added to.

Each line is JSON, with the key of what was computed and a checksum, and is forced to the disk before the next point is
taken. A line torn by a crash or a full disk is passed over when reading. The key is a digest of the case, the program
(its version and its sources) and the settings: points of another case or another program in the same file are ignored,
so one file serves several options, and a changed case never meets old numbers.
"""

from __future__ import annotations

import hashlib
import json
import os
import zlib
from collections.abc import Mapping
from functools import cache
from pathlib import Path
from typing import Any

from waveflow.study.records import PointRecord, to_plain
from waveflow.study.writing import StoreError, make_folder, storing, write_all

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


class Journal:
    """The points of one key in one file. `path` None keeps nothing.

    Raises ``StoreError`` where the file cannot be opened, read or added to. `damaged` counts lines passed over.
    """

    def __init__(self, path: str | os.PathLike[str] | None, key: str) -> None:
        self.path = None if path is None else Path(path)
        self.key = key
        self.damaged = 0
        self.points: dict[float, PointRecord] = {}
        self._handle: int | None = None
        self._torn = False
        if self.path is not None:
            self._read()
            self._open()

    def _read(self) -> None:
        try:
            with storing(self.path, "the journal of finished speeds cannot be read"):
                data = self.path.read_bytes()
        except StoreError as error:
            if isinstance(error.__cause__, FileNotFoundError):
                return
            raise
        self._torn = bool(data) and not data.endswith(b"\n")
        for line in data.split(b"\n"):
            if line.strip():
                self._take(line)

    def _take(self, line: bytes) -> None:
        """Read one line; one that is torn, changed or of another format is counted and passed over."""
        try:
            entry = json.loads(line)
            body = entry["point"]
            if entry["format"] != FORMAT or entry["sum"] != _checksum(entry["key"], body):
                raise ValueError("checksum")
            if entry["key"] == self.key:
                record = PointRecord.from_dict(body)
                self.points[record.rpm] = record
        except (ValueError, KeyError, TypeError, RecursionError):
            self.damaged += 1

    def _open(self) -> None:
        make_folder(self.path.parent)
        with storing(self.path, "the journal of finished speeds cannot be written"):
            flags = os.O_WRONLY | os.O_CREAT | os.O_APPEND | getattr(os, "O_BINARY", 0)
            self._handle = os.open(self.path, flags, 0o666)

    def add(self, record: PointRecord) -> None:
        """Put a finished point on the disk, before anything else is done with it."""
        if self._handle is not None:
            body = record.as_dict()
            entry = {"format": FORMAT, "key": self.key, "sum": _checksum(self.key, body), "point": body}
            # A torn line before this one is closed first, so that it cannot take this one with it.
            line = ("\n" if self._torn else "") + json.dumps(entry, allow_nan=False) + "\n"
            with storing(self.path, "the journal of finished speeds cannot be written"):
                self._torn = True
                write_all(self._handle, line.encode())
                self._torn = False
                os.fsync(self._handle)
        self.points[record.rpm] = record

    def close(self) -> None:
        """Close the file; points stay readable from ``points``."""
        if self._handle is not None:
            handle, self._handle = self._handle, None
            with storing(self.path, "the journal of finished speeds cannot be closed"):
                os.close(handle)

    def __enter__(self) -> Journal:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()


def _checksum(key: str, body: Mapping[str, Any]) -> str:
    """Checksum (8 hex digits) of a line's content, independent of spacing and order."""
    return f"{zlib.crc32((key + json.dumps(body, sort_keys=True)).encode()):08x}"
