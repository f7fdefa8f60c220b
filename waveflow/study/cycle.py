"""One speed: the engine run cycle after cycle until the cycles repeat (see `settling`), and what the last one says."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import numpy as np

from waveflow.engine.built import model_of
from waveflow.engine.model import Model, place_of_cell
from waveflow.errors import RunError
from waveflow.physics import layout as lay
from waveflow.physics import march as solver
from waveflow.physics.accounts import trace_columns
from waveflow.physics.layout import State
from waveflow.study.burning import Burning
from waveflow.study.numbers import mean_of, numbers_of
from waveflow.study.settling import BLOCK, HALF, Settling
from waveflow.study.shaft import Shaft
from waveflow.study.trace import Trace, trace_of


@dataclass(frozen=True)
class PointResult:
    """One speed: plain numbers (SI), numbers a cylinder, the state the next run may start from, and the checks."""

    scalars: dict[str, float]
    per_cylinder: dict[str, np.ndarray]
    end_state: np.ndarray
    converged: bool
    cycles: int
    checks: dict[str, Any] = field(default_factory=dict)
    trace: Trace | None = None

    @property
    def angle(self) -> np.ndarray:
        """Crank angle of the trace (n,) [deg], 0 = firing top dead centre of cylinder 1 at engine angle 0."""
        return self._traced().angle

    def __getitem__(self, name: str) -> np.ndarray:
        """A column of the trace (n,) by name [SI]; raises KeyError with the names there are."""
        trace = self._traced()
        if name not in trace.columns:
            raise KeyError(f"no column {name!r}; there are: {', '.join(trace.names)}")
        return trace[name]

    def _traced(self) -> Trace:
        if self.trace is None:
            raise KeyError("this point was run without its trace")
        return self.trace

    def __getattr__(self, name: str) -> float:
        """A scalar by its name [SI]: result.torque, result.volumetric_efficiency."""
        if name.startswith("_") or name not in self.scalars:
            raise AttributeError(f"{type(self).__name__} has no {name!r}")
        return self.scalars[name]

    def __repr__(self) -> str:
        s = self.scalars
        return f"<one cycle at {s['rpm']:g} rpm: VE {100.0 * s['volumetric_efficiency']:.1f} %, torque {s['torque']:.1f} N m>"


def pack(state: State) -> np.ndarray:
    """The whole state as one vector."""
    return np.concatenate([part.ravel() for part in state])


def unpack(vector: np.ndarray, like: State) -> State:
    """A state of the shapes of `like` from a vector; raises ValueError where it does not fit."""
    parts, place = [], 0
    for part in like:
        parts.append(vector[place : place + part.size].reshape(part.shape).copy())
        place += part.size
    if place != vector.size:
        raise ValueError("this end state belongs to another mesh")
    return State(*parts)


class Engine:
    """A model running at one speed: `cycle()` advances it by 720 degrees and keeps the accounts of that cycle."""

    def __init__(self, model: Model, rpm: float, trace_step: float = 1.0) -> None:
        self.model, self.rpm, self.trace_step = model, float(rpm), trace_step
        net = model.net
        self.state = State(*(part.copy() for part in model.state))
        self._rest = State(*(part.copy() for part in model.state))
        self.accounts = np.zeros((len(net.cylinder), lay.ACCOUNTS))
        self.volume_accounts = np.zeros((len(net.volume), lay.VOLUME_ACCOUNTS))
        self.wall_heat = np.zeros(self.state.temp.size)
        columns = trace_columns(net)
        self.rows = np.zeros((int(720.0 / trace_step) + 64, columns))
        self.written = 0
        self.steps = 0
        self.before: State | None = None
        self.forgotten = np.zeros(4)

    def cycle(self) -> None:
        """One cycle from the model's start angle; raises RunError where the gas does what the model cannot follow."""
        for table in (self.accounts, self.volume_accounts, self.wall_heat):
            table[:] = 0.0
        self.before = State(*(part.copy() for part in self.state))
        self.forgotten[:] = 0.0
        start = self.model.start_angle
        stops = sorted(((angle - start) % 720.0, pipes, volume) for angle, pipes, volume in self.model.restarts)
        self.written = 0
        at = 0.0
        for offset, pipes, volume in [*stops, (720.0, [], -1)]:
            if offset - at > 1e-9:
                self._march(start + at, offset - at)
            if pipes:
                held = self._contents(self.state)
                self._to_rest(pipes, volume)
                self.forgotten += self._contents(self.state) - held
            at = offset

    def _march(self, angle: float, span: float) -> None:
        m = self.model
        code, row, where, steps, written = solver.march(
            m.net, m.gas, self.state, self.rpm, float(angle), float(span), self.accounts, self.volume_accounts,
            self.wall_heat, self.rows[self.written :], self.trace_step,
        )  # fmt: skip
        self.written += written
        self.steps += steps
        if code != solver.OK:
            raise self._trouble(code, int(row), float(where))

    def _to_rest(self, pipes: list[int], volume: int) -> None:
        """Forget the waves in these pipes: gas at rest at the state of the volume they draw from."""
        for number in pipes:
            row = self.model.net.pipe[number]
            at = slice(int(row["first"]) - 1, int(row["first"] + row["cells"]) + 1)
            v = self.state.volumes[volume]
            size = v[lay.V_VOL]
            self.state.cells[lay.MASS, at] = v[lay.V_MASS] / size
            self.state.cells[lay.MOMENTUM, at] = 0.0
            self.state.cells[lay.ENERGY, at] = v[lay.V_ENERGY] / size
            self.state.cells[lay.FUEL, at] = v[lay.V_FUEL] / size
            self.state.cells[lay.BURNED, at] = v[lay.V_BURNED] / size
            self.state.temp[at] = v[lay.V_TEMP] * 1e-3
            cell = self.model.net.end["cell"]
            self.state.slugs[(cell >= at.start) & (cell < at.stop)] = 0.0

    def _trouble(self, code: int, row: int, angle: float) -> RunError:
        m = self.model
        if code in (solver.VOLUME_TROUBLE,):
            v = self.state.volumes[row]
            message = (
                f"the gas in it reached {v[lay.V_TEMP]:.0f} K and {v[lay.V_PRES] / 1e5:.2f} bar, outside what the gas "
                f"tables cover ({m.gas.t_low:.0f} to {m.gas.t_high:.0f} K)"
            )
            return RunError(message, part=m.volumes[row], rpm=self.rpm, crank_angle=angle % 720.0)
        if code == solver.JOINT_TROUBLE:
            return RunError("no pressure balances the flows", f"joint {row + 1}", "", self.rpm, angle % 720.0)
        part, place = place_of_cell(m, row)
        temp = self.state.temp[row] * 1e3
        message = {
            solver.TOO_HOT: f"temperature {temp:.0f} K is above the gas table ({m.gas.t_high:.0f} K)",
            solver.TOO_COLD: f"temperature {temp:.0f} K is below the gas table ({m.gas.t_low:.0f} K)",
            solver.STEP_COLLAPSED: "the time step became too small to go on",
        }.get(code, "density or pressure stopped being a positive number")
        return RunError(message, part, place, self.rpm, angle % 720.0)

    # what a cycle says -----------------------------------------------------------------------------------------------

    def key_numbers_of_next_cycle(self) -> np.ndarray:
        """Run one cycle and return its key numbers."""
        self.cycle()
        return self.key_numbers()

    def key_numbers(self) -> np.ndarray:
        """(3, cylinders): delivered air, trapped mass, indicated work, each over a fixed size, to watch them settle."""
        m = self.model
        air = m.ambient_pressure / (m.gas.r[0] * m.ambient_temperature) * m.swept
        a = self.accounts
        return np.array(
            [
                (a[:, lay.A_AIR_IN] - a[:, lay.A_AIR_BACK]) / air,
                self.state.memory[:, lay.M_TRAP_MASS] / air,
                a[:, lay.A_WORK] / (10.0 * m.ambient_pressure * m.swept),
            ]
        )

    def _contents(self, state: State) -> np.ndarray:
        """Air, fuel, burned gas [kg] and energy [J] in all pipes and all volumes but the reservoirs."""
        g = self.model.net.geometry
        real = g[lay.VOLUME_INV] > 0.0
        size = 1.0 / g[lay.VOLUME_INV][real]
        mass, energy, fuel, burned = (
            float(np.dot(state.cells[k][real], size)) for k in (lay.MASS, lay.ENERGY, lay.FUEL, lay.BURNED)
        )
        inside = self.model.net.volume["kind"] != lay.RESERVOIR
        v = state.volumes[inside].sum(axis=0)
        fuel += v[lay.V_FUEL]
        burned += v[lay.V_BURNED]
        return np.array([mass + v[lay.V_MASS] - fuel - burned, fuel, burned, energy + v[lay.V_ENERGY]])

    def balances(self) -> tuple[float, float]:
        """What the last cycle's books are short of: worst species over intake mass, energy over heat release (or intake
        enthalpy where nothing burns); both should be round-off."""
        m, a = self.model, self.accounts
        outside = m.net.volume["kind"] == lay.RESERVOIR
        out = self.volume_accounts[outside].sum(axis=0)
        added = a[:, lay.A_FUEL_ADDED].sum()
        used_air, used_fuel = a[:, lay.A_AIR_USED].sum(), a[:, lay.A_FUEL_USED].sum()
        out_air = out[lay.B_MASS] - out[lay.B_FUEL] - out[lay.B_BURNED]
        flows = np.array(
            [
                -out_air - used_air,
                -out[lay.B_FUEL] + added - used_fuel,
                -out[lay.B_BURNED] + used_air + used_fuel,
                -out[lay.B_ENERGY]
                + float(np.dot(a[:, lay.A_FUEL_ADDED], m.net.cylinder["fuel_enthalpy"]))
                + self.wall_heat.sum()
                + self.volume_accounts[:, lay.B_WALL].sum()
                + a[:, lay.A_RELEASE].sum()
                - a[:, lay.A_WORK].sum(),
            ]
        )
        short = self._contents(self.state) - self._contents(self.before) - flows - self.forgotten
        through = a[:, lay.A_MASS_IN].sum() or 1.0
        release = a[:, lay.A_RELEASE].sum()
        if release == 0.0 and used_fuel > 0.0:
            release = used_fuel * 4.0e7
        scale = release or abs(through * m.gas.r[0] * 3.5 * m.ambient_temperature)
        return float(np.abs(short[:3]).max() / through), float(abs(short[3]) / scale)


def run_point(
    case: Any, rpm: float, start: np.ndarray | None = None, max_cycles: int | None = None, *, cell: float | None = None,
    trace: bool = False, probes: dict[str, tuple[int, str, float]] | None = None, model: Model | None = None,
) -> PointResult:  # fmt: skip
    """Run a case at `rpm` [rpm] until its cycles repeat.

    start: `end_state` of an earlier run on the same mesh; cell [m]: other cells than the case's; trace: keep the last
    cycle by crank angle; probes as in `engine.build.build`. Raises RunError where the run cannot go on.
    """
    model = model or model_of(case, cell, probes)
    burning = Burning(case, model)
    engine = Engine(burning.model, rpm)
    if start is not None:
        engine.state = unpack(start, model.state)
    most = max_cycles or case.run.max_cycles
    watch = Settling(case.run.tolerance, from_neighbour=start is not None)
    shaft = Shaft(case, engine) if model.charger is not None else None
    kept: list[dict] = []
    while len(watch.history) < most and not watch.settled:
        watch.add(engine.key_numbers_of_next_cycle())
        count = len(watch.history)
        if watch.settled or count > HALF or count == most or shaft is not None:  # the mean of a block looks no further back
            kept = [*kept[-(BLOCK - 1) :], numbers_of(case, engine, burning)]
        burning.follow(engine)
        if shaft is not None:
            shaft.settle()
            kept[-1]["scalars"] |= shaft.numbers()
            if not shaft.settled:
                watch.settled, watch.block = False, 1
    if shaft is not None:
        shaft.refuse_if_impossible()
    mass, energy = engine.balances()
    numbers = mean_of(kept[-watch.block :])
    cycles = len(watch.history)
    numbers["scalars"] |= {"rpm": float(rpm), "mass_balance": mass, "energy_balance": energy, "cycles": float(cycles)}
    checks = {
        "mass_balance": mass,
        "energy_balance": energy,
        "last_change": watch.last_change,
        "jitter": watch.jitter,
        "steps": engine.steps,
        "cells": int(model.net.pipe["cells"].sum()),
    }
    return PointResult(
        numbers["scalars"], numbers["per_cylinder"], pack(engine.state), watch.settled, cycles, checks,
        trace_of(engine) if trace else None,
    )  # fmt: skip


def run(case: Any, rpm: float, probes: dict[str, tuple[int, str, float]] | None = None) -> PointResult:
    """One repeating cycle of a case at `rpm` [rpm], by crank angle.

    `result["cylinder 1 pressure"]` against `result.angle` [deg]; `result.trace.names` lists the columns: cylinder pressure
    [Pa], temperature [K], mass [kg], volume [m3], valve flows [kg/s] and lifts [m], and pressure, velocity [m/s],
    temperature and sound speed at the probes. probes: name -> (cylinder 1.., "intake" | "exhaust", distance [m] from the
    runner's mouth (intake) or from the valve (exhaust)). Raises RunError.
    """
    return run_point(case, rpm, trace=True, probes=probes)
