"""Models that were built before: a sweep asks for the same one at every speed.

Kept by the case object itself, not by its digest: a copy of a case with other values is another object. What a run may change
in a model, the areas of orifices (a charger's wastegate), is copied for every caller; states are copied by the engine.
"""

from __future__ import annotations

import threading
from collections import OrderedDict
from dataclasses import replace
from typing import Any

from waveflow.engine.build import build
from waveflow.engine.model import Model

KEPT = 6
"""How many models are kept; the largest of the demo engines holds about a megabyte."""

_kept: OrderedDict[tuple, tuple[Any, Model]] = OrderedDict()
_lock = threading.Lock()


def model_of(case: Any, cell: float | None = None, probes: dict[str, tuple[int, str, float]] | None = None) -> Model:
    """The model of a case, as `engine.build.build` makes it, built once for each case, cell and set of probes."""
    key = (id(case), cell, tuple(sorted((probes or {}).items())))
    with _lock:
        found = _kept.get(key)
        if found is None:
            found = _kept[key] = (case, build(case, cell, probes))  # the case is held too, so its id cannot be another's
            while len(_kept) > KEPT:
                _kept.popitem(last=False)
        _kept.move_to_end(key)
    model = found[1]
    return replace(model, net=model.net._replace(orifice=model.net.orifice.copy()))
