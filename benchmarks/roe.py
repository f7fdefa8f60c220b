"""PyClaw's classic solver with its compiled Roe solver and the MC limiter: perfect gas, three fields, no sources.

It does less work per cell than the kernel here; it is a yardstick that anyone can install (package ``clawpack``).
"""

from __future__ import annotations

import contextlib
import functools
import logging
import tempfile
from collections.abc import Callable
from typing import Any

import numpy as np
from numpy.typing import NDArray

from benchmarks.clock import Side

GAMMA = 1.4
CFL = 0.9


@functools.cache
def why_not() -> str | None:
    """None where PyClaw with its compiled solvers is here, else what is missing."""
    with tempfile.TemporaryDirectory() as folder, contextlib.chdir(folder):  # its import opens a log file where it stands
        try:
            from clawpack import pyclaw, riemann  # noqa: F401
            from clawpack.pyclaw.classic import classic1  # noqa: F401
            from clawpack.riemann import euler_with_efix_1D  # noqa: F401
        except ImportError as missing:
            return f"not measured ({missing})"
    for name in (None, "pyclaw"):
        logger = logging.getLogger(name)
        for handler in list(logger.handlers):
            if isinstance(handler, logging.FileHandler):
                logger.removeHandler(handler)
                handler.close()
    return None


def solution(cells: NDArray, length: float = 1.0) -> tuple[Any, Any]:
    """(solver, solution) from conserved values (3, n) on 0..length, walls of zero gradient, set up and ready to run."""
    if why_not() is not None:
        raise ImportError(why_not())
    from clawpack import pyclaw, riemann

    logging.getLogger("pyclaw").setLevel(logging.ERROR)
    solver = pyclaw.ClawSolver1D(riemann.euler_with_efix_1D)
    solver.kernel_language = "Fortran"
    solver.limiters = pyclaw.limiters.tvd.MC
    solver.order = 2
    solver.cfl_desired, solver.cfl_max = CFL, 1.0
    solver.dt_initial = 1e-9
    solver.max_steps = 10**8
    solver.bc_lower[0] = solver.bc_upper[0] = pyclaw.BC.extrap
    domain = pyclaw.Domain([pyclaw.Dimension(0.0, length, cells.shape[1], name="x")])
    state = pyclaw.State(domain, 3)
    state.problem_data["gamma"] = GAMMA
    state.problem_data["gamma1"] = GAMMA - 1.0
    state.problem_data["efix"] = False
    state.q[:] = cells
    made = pyclaw.Solution(state, domain)
    solver.setup(made)
    speed = np.abs(cells[1] / cells[0]).max() + np.sqrt(
        GAMMA * ((GAMMA - 1.0) * (cells[2] - 0.5 * cells[1] ** 2 / cells[0]) / cells[0]).max()
    )
    solver.dt = 0.5 * CFL * length / cells.shape[1] / speed
    return solver, made


def roe_side(n: int, count: int) -> Side:
    """A side for `clock.interleaved`: about `count` steps of waves in a pipe of n cells."""
    x = (np.arange(n) + 0.5) / n
    rho = 1.0 + 0.2 * np.sin(6.0 * x)
    vel = 0.2 * np.sin(np.pi * x)
    pres = 1.0 + 0.3 * np.exp(-(((x - 0.4) / 0.06) ** 2))
    cells = np.array([rho, rho * vel, pres / (GAMMA - 1.0) + 0.5 * rho * vel**2])
    span = count * CFL / n / 1.5

    def prepared() -> Callable[[], float]:
        solver, made = solution(cells)
        return lambda: float(n * solver.evolve_to_time(made, span)["numsteps"])

    return prepared
