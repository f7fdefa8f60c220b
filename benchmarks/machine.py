"""What a figure was measured on."""

from __future__ import annotations

import datetime
import os
import platform
from importlib import metadata
from pathlib import Path

from benchmarks.twin import compiler


def describe() -> dict[str, str]:
    """Date, processor, versions and load, as words."""
    versions = {name: _version(name) for name in ("numpy", "numba", "llvmlite", "clawpack")}
    return {
        "date": datetime.date.today().isoformat(),
        "processor": _processor(),
        "cores": str(os.cpu_count()),
        "system": f"{platform.system()} {platform.machine()}",
        "python": platform.python_version(),
        **versions,
        "C compiler": compiler() or "none",
        "load": f"{os.getloadavg()[0]:.1f}" if hasattr(os, "getloadavg") else "unknown",
    }


def one_line(machine: dict[str, str]) -> str:
    """The description in one line."""
    parts = [machine["date"], f"{machine['processor']}, {machine['cores']} cores", machine["system"]]
    parts += [f"{name} {machine[name]}" for name in ("python", "numpy", "numba", "clawpack")]
    return ", ".join([*parts, machine["C compiler"], f"load {machine['load']}"])


def _version(name: str) -> str:
    try:
        return metadata.version(name)
    except metadata.PackageNotFoundError:
        return "none"


def _processor() -> str:
    try:
        lines = Path("/proc/cpuinfo").read_text(encoding="utf-8").splitlines()
        fields = {key.strip(): value.strip() for key, _, value in (line.partition(":") for line in lines) if value}
        family = f"family {fields['cpu family']} model {fields['model']}" if "cpu family" in fields else ""
        return f"{fields['model name']} {family}".strip()
    except (OSError, KeyError):
        return platform.processor() or platform.machine()
