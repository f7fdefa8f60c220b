"""A result as a folder of open files, to be read again without the solver.

``result.json`` holds everything: the format's version, the program's version and sources, the case as text with its
digest, all numbers, checks, and the checksums of the other files and of itself. ``points.csv`` is the same table for a
spreadsheet, in user's units; ``traces.npz`` holds arrays by crank angle, if there are any.

Saving writes all files beside the old ones, then renames them, ``result.json`` last. A save cut off before the first
rename has changed nothing; one cut off later is finished by whoever opens or saves next. So a folder is always the old
result or the new one.
"""

from __future__ import annotations

import contextlib
import hashlib
import io
import json
import os
import platform
import time
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import numpy as np

from waveflow.study.compare import Comparison, compare
from waveflow.study.journal import program_version, source_digest
from waveflow.study.pointsfile import points_csv
from waveflow.study.records import to_plain
from waveflow.study.results import SweepResult
from waveflow.study.writing import (
    StoreError,
    commit,
    discard,
    make_folder,
    parts_of,
    storing,
    sweep_orphans,
    write_part,
)

__all__ = ["FORMAT", "StoreError", "Stored", "checks_of", "open_folder", "open_result", "save"]

FORMAT = 1
RESULT, POINTS, TRACES = "result.json", "points.csv", "traces.npz"
LARGEST = 300_000_000  # [bytes] of a result.json that is still opened


@dataclass(frozen=True)
class Stored:
    """What a folder holds.

    `traces` arrays by name; `extra` what the saver added; `made` time of saving (UTC, ISO 8601); `program` versions;
    `warnings` sentences on files that were changed since.
    """

    result: SweepResult | Comparison
    made: str
    program: Mapping[str, str]
    traces: Mapping[str, np.ndarray] = field(default_factory=dict)
    extra: Mapping[str, Any] = field(default_factory=dict)
    warnings: tuple[str, ...] = ()


def save(
    result: SweepResult | Comparison,
    folder: str | os.PathLike[str],
    *,
    traces: Mapping[str, np.ndarray] | None = None,
    extra: Mapping[str, Any] | None = None,
) -> Path:
    """Write a result to a folder, made if needed; a result already there is replaced as a whole.

    `traces`: number arrays by name; `extra`: anything JSON can hold (a grid study, the command line).
    Returns the folder. Raises ``StoreError`` (full disk, folder that may only be read) with the old result untouched,
    and ``ValueError`` for traces that are not numbers.
    """
    path = make_folder(folder)
    with _locked(path):
        _finish(path)
        sweep_orphans(path)
        others = {POINTS: points_csv(_sweeps(result))}
        if traces:
            others[TRACES] = _packed(traces)
        data = _document(result, {name: _sum(content) for name, content in others.items()}, extra or {})
        parts: dict[str, Path] = {}
        try:
            for name, content in {**others, RESULT: _dumped(data)}.items():
                parts[name] = write_part(path / name, content)
            for name in list(parts):  # result.json comes last
                commit(parts[name], path / name)
                parts.pop(name)
        except BaseException:
            if len(parts) > len(others):  # nothing has been renamed yet
                for part in parts.values():
                    discard(part)
            raise
        if not traces:
            discard(path / TRACES)
    return path


def open_result(folder: str | os.PathLike[str]) -> SweepResult | Comparison:
    """The result a folder holds; sentences on files changed since are among its warnings or notes.

    Raises ``StoreError`` where there is none, or where it is damaged or of a newer format.
    """
    stored = open_folder(folder)
    if not stored.warnings:
        return stored.result
    if isinstance(stored.result, Comparison):
        return replace(stored.result, notes=(*stored.result.notes, *stored.warnings))
    return stored.result.with_warnings(stored.warnings)


def open_folder(folder: str | os.PathLike[str]) -> Stored:
    """Everything a folder holds. Raises ``StoreError`` as ``open_result`` does."""
    path = Path(folder)
    data, warnings = _current(path)
    try:
        results = [SweepResult.from_dict(entry) for entry in data["results"]]
        if data["kind"] == "comparison":
            band = tuple(data["band"]) if data["band"] else None
            made: Any = compare(results, band=band, target=data["target"], target_of=data["target_of"])
        else:
            (made,) = results
        return Stored(made, data["made"], data["program"], _traces(path, data), data["extra"], tuple(warnings))
    except (KeyError, TypeError, ValueError) as error:
        raise StoreError(path / RESULT, f"it is not a result this program understands ({error})") from error


def checks_of(result: SweepResult) -> dict[str, Any]:
    """The stamp of a result: worst balances over its speeds, and speeds that failed or did not come to repeat."""
    worst = {}
    for name in ("mass_balance", "energy_balance"):
        values = np.abs(result.column(name))
        worst[f"worst_{name}"] = float(np.nanmax(values)) if np.any(np.isfinite(values)) else None
    slow = [float(rpm) for rpm, known in zip(result.rpm, result.converged, strict=True) if not known]
    return {
        **worst,
        "speeds": len(result),
        "failed_at": sorted(result.failed),
        "not_repeating_at": sorted(set(slow) - set(result.failed)),
    }


def _sweeps(result: SweepResult | Comparison) -> list[tuple[str, SweepResult]]:
    if isinstance(result, Comparison):
        return [(option.label, option.result) for option in result.options]
    return [(result.label, result)]


def _document(result: SweepResult | Comparison, sums: Mapping[str, str], extra: Mapping[str, Any]) -> dict[str, Any]:
    """What result.json holds, without its own checksum."""
    compared = isinstance(result, Comparison)
    sweeps = [sweep for _, sweep in _sweeps(result)]
    return {
        "what": "waveflow result",
        "format": FORMAT,
        "kind": "comparison" if compared else "sweep",
        "made": datetime.now(UTC).isoformat(timespec="seconds"),
        "program": {
            "waveflow": program_version(),
            "sources": source_digest(),
            "python": platform.python_version(),
            "numpy": np.__version__,
        },
        "headline": result.headline if compared else "",
        "sentences": list(result.sentences) if compared else [],
        "notes": list(result.notes) if compared else list(result.warnings),
        "leaves_out": result.leaves_out if compared else "",
        "checks": [checks_of(sweep) for sweep in sweeps],
        "band": list(result.band) if compared and result.band else None,
        "target": result.target.rpm if compared and result.target else None,
        "target_of": result.target.of if compared and result.target else "power",
        "results": [sweep.as_dict() for sweep in sweeps],
        "extra": to_plain(extra),
        "files": dict(sums),
    }


def _dumped(data: Mapping[str, Any]) -> bytes:
    """The file's bytes: readable JSON with the checksum of its content."""
    return (json.dumps({**data, "sum": _own_sum(data)}, indent=1, allow_nan=False) + "\n").encode()


def _own_sum(data: Mapping[str, Any]) -> str:
    rest = {key: value for key, value in data.items() if key != "sum"}
    return _sum(json.dumps(rest, sort_keys=True, separators=(",", ":")).encode())


def _sum(content: bytes) -> str:
    return hashlib.sha256(content).hexdigest()


def _packed(traces: Mapping[str, np.ndarray]) -> bytes:
    arrays = {name: np.asarray(array) for name, array in traces.items()}
    wrong = [name for name, array in arrays.items() if array.dtype.kind not in "fiub"]
    if wrong:
        raise ValueError(f"traces must be numbers; {wrong[0]!r} is not")
    buffer = io.BytesIO()
    np.savez_compressed(buffer, **arrays)
    return buffer.getvalue()


def _traces(path: Path, data: Mapping[str, Any]) -> dict[str, np.ndarray]:
    if TRACES not in data["files"]:
        return {}
    with storing(path / TRACES, "cannot be read"):
        content = (path / TRACES).read_bytes()
    if _sum(content) != data["files"][TRACES]:
        raise StoreError(path / TRACES, "it was changed or damaged after it was saved")
    with np.load(io.BytesIO(content), allow_pickle=False) as file:
        return {name: file[name] for name in file.files}


def _read(path: Path) -> dict[str, Any]:
    """A result.json, checked. Raises ``StoreError`` with a sentence."""
    with storing(path, "cannot be read"):
        if path.stat().st_size > LARGEST:
            raise StoreError(path, "it is too large to be a result")
        content = path.read_bytes()
    try:
        data = json.loads(content)
        what, version, own = data["what"], data["format"], data["sum"]
    except (ValueError, KeyError, TypeError, RecursionError) as error:
        raise StoreError(path, "it is damaged or not a result: it cannot be read to its end") from error
    if what != "waveflow result" or not isinstance(version, int):
        raise StoreError(path, "it is not a result")
    if version > FORMAT:
        raise StoreError(path, f"it was written by a newer version (format {version}; this program reads {FORMAT})")
    if own != _own_sum(data):
        raise StoreError(path, "it was changed or damaged after it was saved: its checksum does not fit")
    return data


def _current(path: Path) -> tuple[dict[str, Any], list[str]]:
    """The folder's result, and sentences on other files that do not fit it."""
    for attempt in range(20):
        finished = _finish(path)
        if finished is not None:
            return finished, []
        try:
            data = _read(path / RESULT)
        except StoreError as error:
            if isinstance(error.__cause__, FileNotFoundError):
                raise StoreError(path, f"no result is stored here ({RESULT} is missing)") from None
            raise
        unfit = [name for name, own in data["files"].items() if _sum_on_disk(path / name) != own]
        if not unfit:
            return data, []
        if not parts_of(path, RESULT) or attempt == 19:  # nobody is saving here at this moment
            break
        time.sleep(0.05)
    return data, [
        f"{name} is missing or was changed after it was saved; the numbers here are those of {RESULT}."
        for name in unfit
        if name == POINTS
    ]


def _sum_on_disk(path: Path) -> str:
    try:
        return _sum(path.read_bytes())
    except OSError:
        return ""


def _finish(path: Path) -> dict[str, Any] | None:
    """Finish a save that was cut off between its renames; the result it put in place, or None if there was none.

    A save had begun to rename if a file on the disk already is the one the new result.json speaks of, and not the one
    the old result.json speaks of.
    """
    for part in parts_of(path, RESULT):
        try:
            new = _read(part)
            old = _read(path / RESULT)["files"] if (path / RESULT).exists() else {}
        except StoreError:
            continue
        moves, begun = [], False
        for name, own in new["files"].items():
            if _sum_on_disk(path / name) == own:
                begun = begun or old.get(name) != own
                continue
            fitting = [other for other in parts_of(path, name) if _sum_on_disk(other) == own]
            if not fitting:
                break
            moves.append((fitting[0], path / name))
        else:
            if begun:
                with contextlib.suppress(StoreError):  # in a folder that may only be read, reading on is enough
                    for source, target in [*moves, (part, path / RESULT)]:
                        commit(source, target)
                    if TRACES not in new["files"]:
                        discard(path / TRACES)
                return new
    return None


@contextlib.contextmanager
def _locked(folder: Path) -> Iterator[None]:
    """Let one process at a time save to a folder, where the system can lock a folder."""
    try:
        import fcntl
    except ImportError:
        yield
        return
    with storing(folder, "the folder cannot be opened"):
        handle = os.open(folder, os.O_RDONLY)
    try:
        with contextlib.suppress(OSError):  # some network file systems know no locks
            fcntl.flock(handle, fcntl.LOCK_EX)
        yield
    finally:
        with contextlib.suppress(OSError):  # nothing was written through it
            os.close(handle)
