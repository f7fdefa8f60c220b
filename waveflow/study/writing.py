"""Files that are either the old one or the new one, never half of each.

``write_atomic`` writes a temporary file in the same folder, forces it to the disk and renames it over the old one. A
process killed in between leaves a temporary file behind, which ``sweep_orphans`` removes later. Everything that can go
wrong (full disk, folder that may not be written, name that leaves the folder) comes out as one ``StoreError``.
"""

from __future__ import annotations

import contextlib
import errno
import os
import re
import time
from pathlib import Path

_PART = re.compile(r"^\.(?P<name>.+)\.(?P<pid>\d+)-(?P<tag>[0-9a-f]+)\.part$")
_ORPHAN_AGE = 600.0  # [s] only used where a process number cannot be asked about

_PLAIN_REASONS = {
    errno.ENOSPC: "the disk is full",
    errno.EDQUOT: "the disk quota is used up",
    errno.EROFS: "the folder can only be read",
    errno.EACCES: "permission denied",
    errno.EPERM: "permission denied",
    errno.EMFILE: "too many open files",
    errno.ENFILE: "too many open files",
    errno.EIO: "the disk reported a read or write error",
    errno.ENOENT: "no such file or folder",
    errno.ENOTDIR: "a part of the path is a file, not a folder",
    errno.EISDIR: "it is a folder",
    errno.ENAMETOOLONG: "the name is too long",
}


class StoreError(Exception):
    """A result could not be written or read. `path` says which file or folder, `reason` why, in plain words."""

    def __init__(self, path: str | os.PathLike[str], reason: str) -> None:
        self.path = Path(path)
        self.reason = reason
        super().__init__(f"{self.path}: {reason}")


def plain_reason(error: OSError) -> str:
    """Words for an operating system's error, without its number: "the disk is full"."""
    return _PLAIN_REASONS.get(error.errno or 0) or (error.strerror or str(error) or type(error).__name__).lower()


@contextlib.contextmanager
def storing(path: str | os.PathLike[str], doing: str):
    """Turn any OSError inside the block into a ``StoreError`` that says what was being done: "cannot be written"."""
    try:
        yield
    except OSError as error:
        raise StoreError(path, f"{doing}: {plain_reason(error)}") from error


def safe_path(root: str | os.PathLike[str], name: str) -> Path:
    """Path of the file `name` inside the folder `root`.

    Raises ``StoreError`` if the name is empty, has control characters, or leads out of the folder (through "..", an
    absolute path, or a link that points elsewhere).
    """
    folder = Path(root)
    if not name or name in {".", ".."} or any(ord(char) < 32 or ord(char) == 127 for char in name):
        raise StoreError(folder, f"{name!r} is not a usable file name")
    try:
        with storing(folder, "cannot be looked up"):
            base = folder.resolve()
            full = (base / name).resolve()
    except (ValueError, RuntimeError) as error:  # lone surrogates; a loop of links
        raise StoreError(folder, f"{name!r} is not a usable file name") from error
    if full == base or not full.is_relative_to(base):
        raise StoreError(folder, f"{name!r} leads out of the folder")
    return full


def make_folder(folder: str | os.PathLike[str]) -> Path:
    """The folder, made with its parents where needed. Raises ``StoreError``."""
    path = Path(folder)
    with storing(path, "the folder cannot be made"):
        os.makedirs(path, exist_ok=True)
    return path


def write_part(path: str | os.PathLike[str], data: bytes) -> Path:
    """Write `data` to a temporary file beside `path` and force it to the disk; returns the temporary file's path.

    Raises ``StoreError`` and leaves nothing behind if any step fails.
    """
    target = Path(path)
    part = target.with_name(f".{target.name}.{os.getpid()}-{os.urandom(6).hex()}.part")
    try:
        with storing(target, "cannot be written"):
            handle = os.open(part, os.O_WRONLY | os.O_CREAT | os.O_EXCL | getattr(os, "O_BINARY", 0), 0o666)
            try:
                write_all(handle, data)
                os.fsync(handle)
            finally:
                os.close(handle)
    except BaseException:
        discard(part)
        raise
    return part


def write_all(handle: int, data: bytes) -> None:
    """Write every byte to an open file; a short write is continued, as a full disk may answer the first one by half."""
    view = memoryview(data)
    while view:
        view = view[os.write(handle, view) :]


def commit(part: Path, path: str | os.PathLike[str]) -> None:
    """Rename a finished temporary file over `path`. Raises ``StoreError``; the temporary file is then still there."""
    with storing(path, "cannot be replaced"):
        os.replace(part, path)
    _sync_folder(Path(path).parent)


def write_atomic(path: str | os.PathLike[str], data: bytes | str) -> None:
    """Write a whole file so that a reader sees the old or the new content, whatever happens meanwhile.

    `data`: bytes, or text that is written as UTF-8 with its line ends as they are. Raises ``StoreError``.
    """
    part = write_part(path, data.encode("utf-8") if isinstance(data, str) else data)
    try:
        commit(part, path)
    except BaseException:
        discard(part)
        raise


def discard(part: Path) -> None:
    """Remove a temporary file if it is there; a failure is left to ``sweep_orphans``."""
    with contextlib.suppress(OSError):
        os.unlink(part)


def parts_of(folder: str | os.PathLike[str], name: str) -> list[Path]:
    """Temporary files of `name` left in a folder, in any state."""
    try:
        found = sorted(os.listdir(folder))
    except OSError:
        return []
    return [Path(folder) / entry for entry in found if (match := _PART.match(entry)) and match["name"] == name]


def sweep_orphans(folder: str | os.PathLike[str]) -> list[Path]:
    """Remove temporary files whose writer is gone; returns those removed. Never raises: it is only tidying."""
    removed = []
    try:
        entries = sorted(os.listdir(folder))
    except OSError:
        return []
    for entry in entries:
        match = _PART.match(entry)
        path = Path(folder) / entry
        if match and not _alive(int(match["pid"]), path):
            discard(path)
            removed.append(path)
    return removed


def _alive(pid: int, path: Path) -> bool:
    """Whether the process that wrote a temporary file may still be writing it."""
    if pid == os.getpid():
        return True
    if os.name != "posix":  # there, signal 0 would not ask but interrupt
        try:
            return time.time() - path.stat().st_mtime < _ORPHAN_AGE
        except OSError:
            return True
    try:
        os.kill(pid, 0)
    except ProcessLookupError:
        return False
    except OSError:
        return True
    return True


def _sync_folder(folder: Path) -> None:
    """Force a rename to the disk where the system can; the data itself is already there."""
    if os.name != "posix":
        return
    with contextlib.suppress(OSError):
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)
