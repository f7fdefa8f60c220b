"""How long a user waits before anything happens: CPU seconds of whole processes, children included."""

from __future__ import annotations

import os
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

ROOT = Path(__file__).resolve().parent.parent
STARTER = ROOT / "cases" / "starter.toml"
COMMAND = "import sys; from waveflow.cli import main; sys.argv[0] = 'waveflow'; main()"
FIRST_NUMBER = f"""
import waveflow
from waveflow.study.cycle import run_point
point = run_point(waveflow.load({str(STARTER)!r}), 4000.0)
print(point.scalars["volumetric_efficiency"])
"""


def _process(arguments: list[str], cache: str, code: int = 0) -> tuple[float, float, str]:
    """(CPU seconds, wall seconds, printed text) of a fresh Python process; raises RuntimeError on another exit code."""
    environment = os.environ | {"WAVEFLOW_CACHE": cache, "PYTHONPATH": str(ROOT)}
    with tempfile.TemporaryFile("w+") as told:
        start = time.monotonic()
        child = subprocess.Popen(
            [sys.executable, *arguments], stdout=told, stderr=subprocess.STDOUT, env=environment, cwd=cache
        )
        _, status, usage = os.wait4(child.pid, 0)
        wall = time.monotonic() - start
        child.returncode = os.waitstatus_to_exitcode(status)  # already waited for
        told.seek(0)
        text = told.read()
    if child.returncode != code:
        raise RuntimeError(f"exit code {child.returncode}, not {code}: {text[-2000:]}")
    return usage.ru_utime + usage.ru_stime, wall, text


def measure(rounds: int) -> dict[str, Any]:
    """CPU and wall seconds: cold first number (once), then medians of `rounds` of the cached starts."""
    with tempfile.TemporaryDirectory() as cache:
        bad = Path(cache) / "bad.toml"
        bad.write_text(STARTER.read_text(encoding="utf-8").replace('bore = "70 mm"', 'boer = "70 mm"', 1), encoding="utf-8")
        cold_cpu, cold_wall, text = _process(["-c", FIRST_NUMBER], cache)
        cold_number = float(text.split()[-1])
        jobs: dict[str, tuple[list[str], int]] = {
            "first number, cached": (["-c", FIRST_NUMBER], 0),
            "waveflow run, cached": (["-c", COMMAND, "run", str(STARTER), "--rpm", "4000"], 0),
            "waveflow --help": (["-c", COMMAND, "--help"], 0),
            "bad case refused": (["-c", COMMAND, "check", str(bad)], 2),
            "python alone": (["-c", "pass"], 0),
        }
        times: dict[str, list[tuple[float, float]]] = {name: [] for name in jobs}
        for arguments, code in jobs.values():
            _process(arguments, cache, code)
        for _ in range(rounds):
            for name, (arguments, code) in jobs.items():
                cpu, wall, text = _process(arguments, cache, code)
                times[name].append((cpu, wall))
                if name.startswith("first number") and float(text.split()[-1]) != cold_number:
                    raise RuntimeError("the cached start gave another number than the cold one")
    result: dict[str, Any] = {"first number, cold": {"cpu": cold_cpu, "wall": cold_wall}}
    for name, each in times.items():
        cpus, walls = zip(*each, strict=True)
        result[name] = {"cpu": statistics.median(cpus), "wall": statistics.median(walls)}
    return {"rounds": rounds, "times": result}
