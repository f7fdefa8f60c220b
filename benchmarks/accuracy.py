"""Error for its cost: Sod's tube and a smooth wave, ours against PyClaw's classic Roe solver with the MC limiter.

Both start from the same cell means, run at Courant number 0.9 and are compared with the cell means of the exact solution:
L1 of density, the mean of |rho - exact| over the tube. The gas is perfect, gamma 1.4; ours still runs its thermally
perfect kernel with five fields, and `march` with its two ends is what is timed.

Gas at rest does not tell how fast the waves of a burst diaphragm will be, so the first steps must be small: PyClaw takes
a step again that was too long; ours takes the first steps at Courant number 0.2, as E. F. Toro, "Riemann Solvers and
Numerical Methods for Fluid Dynamics" (2009), ch. 6, does.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
from numpy.typing import NDArray

from benchmarks.clock import Side, interleaved
from benchmarks.exact import GAMMA, Flow, cell_means, simple_wave, sod
from benchmarks.roe import CFL, solution, why_not
from waveflow.physics import layout as lay
from waveflow.physics import march as solver
from waveflow.physics.assembly import Assembly
from waveflow.physics.gas import ideal_gas

SIZES = (100, 200, 400, 800)
MORE = (25, 50, 1600)  # beyond the sizes compared: for the curves of error against time
PRESSURE = 1e5  # the unit of pressure; the unit of density is 1 kg/m3, of length 1 m
SECOND = PRESSURE**-0.5  # so that the unit of time is this
GENTLE_STEPS, GENTLE_CFL = 5, 0.2
NOTHING = np.zeros((0, 1))


Prepared = Callable[[], Callable[[], NDArray]]
"""Sets a run up and returns what runs it; that returns the density (n,) at the end."""


def ours(flow: Flow, n: int) -> Prepared:
    """The flow on n cells by `march`."""
    gas = ideal_gas(GAMMA)
    cells = cell_means(flow.start, n, 1)
    rho, vel = cells[0], cells[1] / cells[0]
    pres = (GAMMA - 1.0) * (cells[2] - 0.5 * cells[1] * vel) * PRESSURE
    assembly = Assembly(gas)
    x = np.linspace(0.0, 1.0, n + 1)
    pipe = assembly.pipe(
        x, np.full(n + 1, 1e-3), np.full(n, 1e-3), pressure=pres, temp=pres / (gas.r[0] * rho), vel=vel / SECOND
    )
    assembly.closed(pipe, "near")
    assembly.closed(pipe, "far")
    net, state = assembly.finish(cfl=CFL, max_degrees=1e9)
    accounts, volumes = np.zeros((0, lay.ACCOUNTS)), np.zeros((len(net.volume), lay.VOLUME_ACCOUNTS))
    heat = np.zeros(state.temp.size)
    rpm = 1000.0
    fastest = float((np.abs(vel) / SECOND + np.sqrt(GAMMA * pres / rho)).max())
    gentle = GENTLE_STEPS * GENTLE_CFL / (n * fastest) * 6.0 * rpm  # [deg]
    whole = flow.end * SECOND * 6.0 * rpm

    def prepared() -> Callable[[], NDArray]:
        fresh = lay.State(*(part.copy() for part in state))

        def run() -> NDArray:
            for cfl, start, span in ((GENTLE_CFL, 0.0, gentle), (CFL, gentle, whole - gentle)):
                net.switches[lay.SW_CFL] = cfl
                code, *_ = solver.march(net, gas, fresh, rpm, start, span, accounts, volumes, heat, NOTHING, 1.0)
                if code != solver.OK:
                    raise RuntimeError(f"{flow.name} at {n} cells stopped with code {code}")
            return fresh.cells[lay.MASS, 1 : n + 1]

        return run

    return prepared


def roe(flow: Flow, n: int) -> Prepared:
    """Likewise by PyClaw."""
    cells = cell_means(flow.start, n, 1)

    def prepared() -> Callable[[], NDArray]:
        made_solver, made = solution(cells)

        def run() -> NDArray:
            made_solver.evolve_to_time(made, flow.end)
            return made.state.q[0].copy()

        return run

    return prepared


def error(density: NDArray, flow: Flow) -> float:
    """Mean of |rho - exact mean of rho| over the cells."""
    pieces = max(6400 // density.size, 1)
    return float(np.abs(density - cell_means(flow.finish, density.size, pieces)[0]).mean())


def _timed(prepared: Prepared, repeats: int) -> Side:
    def side() -> Callable[[], float]:
        runs = [prepared() for _ in range(repeats)]

        def once() -> float:
            for run in runs:
                run()
            return float(repeats)

        return once

    return side


def measure(rounds: int, full: bool) -> dict[str, Any]:
    """Errors, CPU seconds and their ratios for both flows."""
    if why_not() is not None:
        return {"roe": why_not()}
    result: dict[str, Any] = {"rounds": rounds, "flows": {}}
    for flow in (sod(), simple_wave()):
        sizes = tuple(sorted(SIZES + (MORE if full else MORE[:2])))
        errors: dict[str, dict[int, float]] = {"ours": {}, "roe": {}}
        cpu: dict[str, dict[int, float]] = {"ours": {}, "roe": {}}
        for n in sizes:
            runs = {"ours": ours(flow, n), "roe": roe(flow, n)}
            for name, run in runs.items():
                errors[name][n] = error(run()(), flow)
            timed = {"ours": _timed(runs["ours"], max(1600 // n, 1)), "roe": _timed(runs["roe"], max(400 // n, 1))}
            for name, times in interleaved(timed, rounds).items():
                cpu[name][n] = float(np.median(times))
        result["flows"][flow.name] = {
            "error": errors,
            "cpu": cpu,
            "equal cells": {n: errors["ours"][n] / errors["roe"][n] for n in sizes},
            "equal time": {n: error_at(cpu["ours"], errors["ours"], cpu["roe"][n]) / errors["roe"][n] for n in SIZES},
            "order": {
                name: float(np.log2(each[SIZES[-2]] / each[SIZES[-1]])) for name, each in errors.items()
            },
        }  # fmt: skip
    return result


def error_at(cpu: dict[int, float], errors: dict[int, float], seconds: float) -> float:
    """Error of a code in a given CPU time, on its curve of error against time (a power law beyond its ends)."""
    sizes = sorted(cpu)
    t, e = np.log([cpu[n] for n in sizes]), np.log([errors[n] for n in sizes])
    t = np.maximum.accumulate(t)
    at = int(np.clip(np.searchsorted(t, np.log(seconds)), 1, len(t) - 1))
    share = (np.log(seconds) - t[at - 1]) / max(t[at] - t[at - 1], 1e-12)
    return float(np.exp(e[at - 1] + share * (e[at] - e[at - 1])))
