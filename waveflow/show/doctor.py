"""What an installation is made of, whether its folders can be written, and whether it finds known answers."""

from __future__ import annotations

import os
import platform
import sys
import time
from collections.abc import Iterator
from dataclasses import dataclass
from importlib import metadata
from typing import IO

from waveflow.errors import CaseError, RunError
from waveflow.show.terminal import console
from waveflow.show.words import duration, plain

PARTS = ("numpy", "scipy", "numba", "cantera", "matplotlib", "pydantic", "rich", "click", "platformdirs")

@dataclass(frozen=True)
class Finding:
    """One thing looked at: `what` it is, what was `found`, and whether it is `ok`."""

    what: str
    found: str
    ok: bool = True


def examine(quick: bool = False) -> list[Finding]:
    """Look at versions, cores, folders and the compiled solver; unless `quick` [bool], test against known answers."""
    found = [*_versions(), *_machine(), *_folders()]
    return found if quick else [*found, *_known_answers()]


def _version(name: str) -> str:
    try:
        return metadata.version(name)
    except metadata.PackageNotFoundError:
        return ""


def _versions() -> Iterator[Finding]:
    own = _version("waveflow")
    yield Finding("waveflow", own or "run from its source folder, not installed")
    yield Finding("Python", f"{platform.python_version()}, {platform.system()} {platform.machine()}")
    known = {name: _version(name) for name in PARTS}
    missing = [name for name, version in known.items() if not version]
    yield Finding("libraries", ", ".join(f"{name} {version}" for name, version in known.items() if version))
    if missing:
        yield Finding("missing libraries", ", ".join(missing), ok=False)


def _machine() -> Iterator[Finding]:
    from waveflow.study.workers import usable_cores

    yield Finding("cores", f"{usable_cores()} usable of {os.cpu_count()}")
    yield Finding("output", f"standard output in {getattr(sys.stdout, 'encoding', None) or 'an unknown encoding'}")


def _folders() -> Iterator[Finding]:
    from waveflow.compiled import CACHE_FOLDER, cache_root, is_cold

    kept = cache_root() in CACHE_FOLDER.parents
    where = f"{CACHE_FOLDER}" + ("" if kept else ", as the user's own cache folder cannot be written")
    yield Finding("cache folder", where, ok=os.access(CACHE_FOLDER, os.W_OK))
    yield Finding("solver", "not compiled yet; the first run does that" if is_cold() else "compiled and kept")


def _known_answers() -> Iterator[Finding]:
    from waveflow.show.selftest import KNOWN, WITHIN, filling

    for rpm, wanted in KNOWN.items():
        begun = time.monotonic()
        try:
            got = filling(rpm)
        except (CaseError, RunError) as error:
            yield Finding(f"self-test at {rpm:.0f} rpm", str(error), ok=False)
            continue
        off = got / wanted - 1
        took = duration(time.monotonic() - begun)
        words = f"filling {100 * got:.3f} %, known {100 * wanted:.3f} % ({100 * off:+.3f} %), in {took}"
        yield Finding(f"self-test at {rpm:.0f} rpm", words, ok=abs(off) <= WITHIN)


def print_findings(findings: list[Finding], stream: IO[str] | None = None) -> None:
    """Findings as lines, then one sentence that says how it stands."""
    out = console(stream)
    wide = max(len(each.what) for each in findings)
    for each in findings:
        mark = "" if each.ok else "NOT RIGHT: "
        out.print(f"{plain(each.what, 60):<{wide}}  {mark}{plain(each.found, 600)}")
    wrong = sum(not each.ok for each in findings)
    out.print()
    out.print("All is well." if not wrong else f"{wrong} of {len(findings)} findings are not right.")
