"""No kernel reads or writes beyond the rows of its arrays: engines run with every index checked, in a process of their own."""

import os
import subprocess
import sys

import numpy as np
import pytest

from waveflow.engine.build import build
from waveflow.engine.case import load
from waveflow.physics import layout as lay
from waveflow.physics import march as solver

RUN = """
import waveflow
from waveflow.study.cycle import run_point
for name in ("starter", "n155_race", "n155_long_cam", "t192_race"):
    for rpm in (2000.0, 6500.0):
        case = waveflow.load(f"cases/{name}.toml", {"run.grid": "quick"})
        print(name, rpm, run_point(case, rpm, max_cycles=2).volumetric_efficiency)
"""


@pytest.mark.full
def test_engines_keep_within_their_arrays(tmp_path):
    """Checked code is compiled anew, which takes about a minute."""
    settings = os.environ | {"NUMBA_BOUNDSCHECK": "1", "WAVEFLOW_CACHE": str(tmp_path)}
    done = subprocess.run([sys.executable, "-c", RUN], env=settings, capture_output=True, text=True, timeout=600)
    assert done.returncode == 0, done.stderr[-2000:]
    assert len(done.stdout.splitlines()) == 8


def test_tables_too_short_are_refused():
    model = build(load("cases/starter.toml"))
    net, state = model.net, lay.State(*(part.copy() for part in model.state))
    cells = state.temp.size
    for short in ((1, 0, 0), (0, 1, 0), (0, 0, 1)):
        accounts = np.zeros((len(net.cylinder) - short[0], lay.ACCOUNTS))
        volumes = np.zeros((len(net.volume) - short[1], lay.VOLUME_ACCOUNTS))
        heat = np.zeros(cells - short[2])
        with pytest.raises(ValueError, match="a row a cylinder, volume and cell"):
            solver.march(net, model.gas, state, 3000.0, 0.0, 1.0, accounts, volumes, heat, np.zeros((0, 1)), 1.0)
