"""Cell updates a second of the full kernel beside its C twin and beside PyClaw's compiled Roe solver.

One update is one full time step of one cell: thermally perfect gas, five fields, wall friction and heat (their laws every
so many steps, as in `march`), the time step's reduction, the old state kept so that a step can be taken back, the look at
the temperature range. `steps` calls the very passes that `march` calls, in its order, on one pipe closed at both ends;
`march` itself on the same pipe stands beside it, with what its two ends cost.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

import numpy as np

from benchmarks.clock import Side, interleaved, median_ratio, spread
from benchmarks.twin import WIDTHS, Twin, compiler
from waveflow.compiled import kernel_with_memory
from waveflow.physics import layout as lay
from waveflow.physics import march as solver
from waveflow.physics.assembly import Assembly
from waveflow.physics.gas import Gas, real_gas
from waveflow.physics.pipes import fastest, fluxes, primitives, reconstruct, update

SIZES = (50, 200, 1000)
WALL_EVERY = solver._WALL_EVERY
CFL = 0.9
FLOPS, BYTES = 385, 576  # a cell update, counted by hand in pipes.py; see README.md
AGREEMENT = 1e-10
NARROW = ("C 128", "C 256")


@kernel_with_memory
def steps(geometry, ghosts, gas, cfl, cells, temps, count, wall_every, wall_heat):
    """`count` steps of one pipe closed at both ends; returns the time gone by [s]."""
    n = cells.shape[1]
    far = ghosts[1].cell  # the last real cell; idle ones may follow behind its ghost
    w = np.ones((lay.PRIMITIVES, n))
    wall = np.zeros((lay.SOURCES, n))
    half = np.ones((10, n + 1))
    half[lay.L_PRES] = 1e5
    half[lay.R_PRES] = 1e5
    flux = np.zeros((lay.FIELDS, n + 1))
    face_area = np.empty(n + 1)
    face_area[:n] = geometry[lay.AREA_L]
    face_area[far + 1] = geometry[lay.AREA_R, far]  # not the ghost's own
    face_area[n] = 1.0
    saved_cells, saved_temps = np.empty_like(cells), np.empty_like(temps)
    switches = np.ones(lay.SWITCHES)
    bits = np.empty(1, np.int64)
    time = 0.0
    primitives(cells, temps, geometry, gas, w, wall)
    for step in range(count):
        bits[0] = fastest(wall[lay.RATE])
        dt = cfl / bits.view(np.float64)[0]
        if step % wall_every == 0:
            solver.wall_laws(geometry, w, gas, wall, switches)
        solver.fill_ghosts(ghosts, w)
        reconstruct(w, geometry, wall, half, dt)
        fluxes(half, face_area, gas, flux)
        for side in range(2):
            i = far + 1 if side else 1
            cell = far if side else 1
            first = lay.L_RHO if side else lay.R_RHO
            sign = 1.0 if side else -1.0
            impedance = half[first, i] * math.sqrt(w[lay.SOUND2, cell])
            for k in range(lay.FIELDS):
                flux[k, i] = 0.0
            flux[lay.MOMENTUM, i] = face_area[i] * (half[first + 2, i] + sign * impedance * half[first + 1, i])
        for i in range(n):
            saved_temps[i] = temps[i]
        update(cells, saved_cells, flux, geometry, wall, dt)
        for i in range(n):
            wall_heat[i] += dt * wall[lay.SRC_ENERGY, i]
        primitives(cells, temps, geometry, gas, w, wall)
        if step % 16 == 0:
            for i in range(n):
                if temps[i] * 1e3 > gas.t_high or temps[i] * 1e3 < gas.t_low:
                    return math.nan
        time += dt
    return time


def pipe(n: int) -> tuple[Gas, Any, Any]:
    """(gas, Net, State): a metre of closed, rough, cooled pipe of wavy area, full of waves and of three gases."""
    gas = real_gas("gasoline", 0.89, 0.01)
    x = np.linspace(0.0, 1.0, n + 1)
    centre = 0.5 * (x[1:] + x[:-1])
    area = 1.0e-3 * (1.0 + 0.2 * np.sin(7.0 * x))
    step = 0.5 * (1.0 + np.tanh((centre - 0.4) / 0.03))
    assembly = Assembly(gas)
    made = assembly.pipe(
        x, area, 0.5 * (area[1:] + area[:-1]),
        pressure=1e5 * (1.0 + 0.4 * np.exp(-(((centre - 0.3) / 0.06) ** 2)) + 0.2 * np.sin(9.0 * centre)),
        temp=320.0 + 900.0 * step, vel=60.0 * np.sin(math.pi * centre), yf=0.05 * (1.0 - step), yb=0.9 * step,
        roughness=5e-5, wall_temp=400.0,
    )  # fmt: skip
    assembly.closed(made, "near")
    assembly.closed(made, "far")
    net, state = assembly.finish(friction=True, heat=1.0, cfl=CFL, max_degrees=1e9)
    return gas, net, state


def disagreement(twin: Twin, n: int, count: int) -> float:
    """Largest difference of any conserved value after `count` steps, over the largest of its row."""
    gas, net, state = pipe(n)
    ours, theirs = state.cells.copy(), state.cells.copy()
    heat_ours, heat_theirs = np.zeros(state.temp.size), np.zeros(state.temp.size)
    time = steps(net.geometry, net.ghost, gas, CFL, ours, state.temp.copy(), count, WALL_EVERY, heat_ours)
    other = twin.steps(net.geometry, net.ghost, gas, CFL, theirs, state.temp.copy(), count, WALL_EVERY, heat_theirs)
    real = slice(1, int(net.ghost[1]["cell"]) + 1)
    worst = max(float(np.abs(a[real] - b[real]).max() / np.abs(a[real]).max()) for a, b in zip(ours, theirs, strict=True))
    moved = float(np.abs(ours[:, real] - state.cells[:, real]).max())
    if not (moved > 0.0 and math.isfinite(worst)):
        raise RuntimeError("the comparison of kernel and twin did not run")
    return max(worst, abs(time - other) / time, float(np.abs(heat_ours - heat_theirs).max() / np.abs(heat_ours).max()))


def _side(run: Callable, n: int, count: int) -> Side:
    gas, net, state = pipe(n)
    heat = np.zeros(state.temp.size)

    def prepared() -> Callable[[], float]:
        cells, temps = state.cells.copy(), state.temp.copy()

        def once() -> float:
            if not math.isfinite(run(net.geometry, net.ghost, gas, CFL, cells, temps, count, WALL_EVERY, heat)):
                raise RuntimeError("a benchmark's flow left the gas tables")
            return float(n * count)

        return once

    return prepared


def _march_side(n: int, count: int) -> Side:
    """`march` over about as long a time: one call, as in an engine's cycle."""
    gas, net, state = pipe(n)
    heat = np.zeros(state.temp.size)
    time = steps(net.geometry, net.ghost, gas, CFL, state.cells.copy(), state.temp.copy(), count, WALL_EVERY, heat)
    nothing, volumes, no_trace = np.zeros((0, lay.ACCOUNTS)), np.zeros((len(net.volume), lay.VOLUME_ACCOUNTS)), np.zeros((0, 1))
    rpm = 1000.0

    def prepared() -> Callable[[], float]:
        fresh = lay.State(*(part.copy() for part in state))

        def once() -> float:
            code, _, _, done, _ = solver.march(
                net, gas, fresh, rpm, 0.0, time * 6.0 * rpm, nothing, volumes, heat, no_trace, 1.0
            )
            if code != solver.OK:
                raise RuntimeError("a benchmark's flow left the gas tables")
            return float(n * done)

        return once

    return prepared


def measure(rounds: int, updates: int) -> dict[str, Any]:
    """Rates and ratios at all `SIZES`; `updates`: cell updates of the kernels in each round."""
    from benchmarks.roe import roe_side, why_not

    result: dict[str, Any] = {"rounds": rounds, "wall_laws_every": WALL_EVERY, "compiler": compiler(), "sizes": {}}
    twins = {f"C {width}": Twin(width) for width in WIDTHS} if result["compiler"] else {}
    result["flags"] = {name: " ".join(twin.flags) for name, twin in twins.items()}
    result["agreement"] = {name: max(disagreement(twin, n, 300) for n in SIZES) for name, twin in twins.items()}
    for name, worst in result["agreement"].items():
        if worst > AGREEMENT:
            raise RuntimeError(f"{name} and the kernel differ by {worst:.1e}: their speeds cannot be compared")
    result["roe"] = why_not() or "PyClaw classic, Roe, MC"
    for n in SIZES:
        count = max(updates // n, 50)
        sides: dict[str, Side] = {"kernel": _side(steps, n, count), "march": _march_side(n, count)}
        sides |= {name: _side(twin.steps, n, count) for name, twin in twins.items()}
        if why_not() is None:
            sides["roe"] = roe_side(n, max(count // 12, 50))
        result["sizes"][n] = _row(interleaved(sides, rounds), list(twins))
    return result


def _row(times: dict[str, list[float]], twins: list[str]) -> dict[str, Any]:
    row: dict[str, Any] = {
        "rate": {name: 1.0 / float(np.median(each)) for name, each in times.items()},
        "spread": {name: spread(each) for name, each in times.items()},
    }
    if twins:
        best = min(twins, key=lambda name: float(np.median(times[name])))
        row["best C"] = best
        narrow = min((name for name in twins if name in NARROW), key=lambda name: float(np.median(times[name])))
        row["kernel / best C to 256 bits"] = median_ratio(times[narrow], times["kernel"])
        row["kernel / best C"] = median_ratio(times[best], times["kernel"])
        row["march / best C"] = median_ratio(times[best], times["march"])
        if "roe" in times:
            row["best C / roe"] = median_ratio(times["roe"], times[best])
    if "roe" in times:
        row["kernel / roe"] = median_ratio(times["roe"], times["kernel"])
    return row

