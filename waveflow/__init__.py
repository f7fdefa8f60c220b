"""waveflow: what an enlarged port does to an engine's filling, torque and power, before any metal is cut.

    import waveflow
    case = waveflow.load("cases/n155.toml")
    curve = waveflow.sweep(case, rpm=[3000, 4000, 5000])
    print(curve.rpm, curve.volumetric_efficiency, curve.torque)
    cycle = waveflow.run(case, rpm=5000)

Names are fetched on first use, so that importing the package costs nothing.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from waveflow.engine.case import Case, load, load_text
    from waveflow.errors import CaseError, RunError
    from waveflow.study.benchrun import bench
    from waveflow.study.cycle import run
    from waveflow.study.store import open_folder as open_result
    from waveflow.study.store import save
    from waveflow.study.sweep import sweep
    from waveflow.study.together import compare_cases as compare

_PLACES = {
    "Case": ("waveflow.engine.case", "Case"),
    "CaseError": ("waveflow.errors", "CaseError"),
    "RunError": ("waveflow.errors", "RunError"),
    "bench": ("waveflow.study.benchrun", "bench"),
    "compare": ("waveflow.study.together", "compare_cases"),
    "load": ("waveflow.engine.case", "load"),
    "load_text": ("waveflow.engine.case", "load_text"),
    "open_result": ("waveflow.study.store", "open_folder"),
    "run": ("waveflow.study.cycle", "run"),
    "save": ("waveflow.study.store", "save"),
    "sweep": ("waveflow.study.sweep", "sweep"),
}

__version__ = "0.1"
__all__ = [
    "Case",
    "CaseError",
    "RunError",
    "bench",
    "compare",
    "load",
    "load_text",
    "open_result",
    "run",
    "save",
    "sweep",
]


def __getattr__(name: str) -> Any:
    if name not in _PLACES:
        raise AttributeError(f"module 'waveflow' has no attribute {name!r}")
    module, attribute = _PLACES[name]
    value = getattr(import_module(module), attribute)
    globals()[name] = value
    return value


def __dir__() -> list[str]:
    return sorted([*globals(), *_PLACES])
