"""From a case to the model the solver runs: valves to area tables, ducts to cells, cylinders and volumes to rows.

The names of rows stay beside the numbers (`Model`), so that trouble can be told as "runner of cylinder 2, 123 mm from the
plenum" and a probe can be put at "cylinder 1 intake port 30 mm".
"""

from __future__ import annotations

from typing import Any

import numpy as np

from waveflow.engine.breathing import effective_area_table, mean_effective_area_open
from waveflow.engine.charger import ChargerRows, lay_charge_pipe, lay_manifold, outside_of
from waveflow.engine.cylinders import burn_of, cylinder_columns
from waveflow.engine.flowsheet import ValveFlow
from waveflow.engine.losses import loss_rows, rough_friction
from waveflow.engine.model import Model, PipeInfo
from waveflow.engine.pair import lay_intake
from waveflow.engine.parts_engine import GRIDS
from waveflow.engine.percylinder import of_cylinder
from waveflow.engine.tract import (
    Duct,
    cell_areas,
    circle,
    exhaust_duct,
    intake_duct,
    inward_opening,
    mesh,
    plain_duct,
    tail_ducts,
)
from waveflow.engine.valves import flow_of, lift_of
from waveflow.engine.valvetrain import LiftCurve
from waveflow.physics.assembly import Assembly
from waveflow.physics.gas import Gas, ideal_gas, moist_air, real_gas

HOT_CELLS = 1.7
"""Exhaust cells over intake cells: the sound speed of hot gas is about 1.7 times that of air, so waves cross both alike."""

MOST_DEGREES = 2.0
"""Longest step in degrees of crank; long cells would allow more at high speeds. From 1 to 2 degrees filling moves by less than
0.1 % and torque by no more than filling."""

MOST_DEGREES_BARE = 0.1
"""The same where there is no pipe: then only this keeps a wide-open valve stable (good to 0.1 % of filling down to an
inlet Mach index of 0.005, found by halving it)."""

MEAN_FRICTION_CELLS = 64


def gas_of(case: Any) -> Gas:
    """Gas tables of the case."""
    if case.ideal.gas == "constant gamma":
        return ideal_gas(case.ideal.gamma, case.ideal.gas_constant)
    a = case.ambient
    water = moist_air(a.temperature, a.pressure, a.relative_humidity)
    return real_gas(case.fuel.kind, case.fuel.lambda_, water)


def firing_phases(case: Any) -> tuple[float, ...]:
    """Engine angle [deg] of firing top dead centre of cylinder 1, 2, ...: even intervals in firing order."""
    n = case.engine.cylinders
    phase = [0.0] * n
    for place, cylinder in enumerate(case.engine.firing_order):
        phase[cylinder - 1] = 720.0 / n * place
    return tuple(phase)


class _Builder:
    """Collects one engine into an `Assembly`, remembering names."""

    def __init__(self, case: Any, cell: float) -> None:
        self.case, self.cell = case, cell
        self.in_port = GRIDS[case.run.grid][1]  # cells of an intake port over those of its runner
        self.gas = gas_of(case)
        self.asm = Assembly(self.gas)
        self.pipes: list[PipeInfo] = []
        self.volume_names: list[str] = []
        self.probes: dict[str, int] = {}
        self.first = 1
        real = case.ideal.gas == "real"
        premixed = real and case.fuel.added == "plenum" and self.gas.air_fuel > 0.0
        self.fresh_fuel = 1.0 / (1.0 + self.gas.air_fuel) if premixed else 0.0
        self.port_fuel = real and not premixed and self.gas.air_fuel > 0.0

    # pieces ----------------------------------------------------------------------------------------------------------

    def name_volume(self, row: int, name: str) -> int:
        assert row == len(self.volume_names)
        self.volume_names.append(name)
        return row

    def chain(
        self, duct: Duct, cell: float, cylinder: int, label: str, start: dict, span: tuple[float, float] = (0.0, 1e9),
        share: float = 1.0,
    ) -> list[tuple[int, float, float]]:  # fmt: skip
        """Lay a duct, or `share` of its area within `span` [m], as pipes joined at its steps: [(pipe number, x0, x1)]."""
        laid = []
        for x0, x1 in ((max(a, span[0]), min(b, span[1])) for a, b in duct.sections()):
            if x1 - x0 < 1e-9:
                continue
            faces = mesh(duct.curve, x0, x1, duct.sizes(cell, self.in_port) if label.startswith("intake") else cell)
            face_area, mean, hydraulic = cell_areas(duct.curve, faces)
            face_area, mean = share * face_area, share * mean
            centres = 0.5 * (faces[1:] + faces[:-1])
            rough = np.empty(len(centres))
            wall = np.empty(len(centres))
            for s in duct.stretches:
                inside = (centres >= s.x0) & (centres <= s.x1)
                rough[inside], wall[inside] = s.roughness, s.wall_temperature
            number = self.asm.pipe(
                faces - x0, face_area, mean, hydraulic=hydraulic, roughness=rough, wall_temp=wall,
                loss=loss_rows(duct.turns, faces), **start,
            )  # fmt: skip
            self.pipes.append(PipeInfo(label, cylinder, faces, self.first))
            self.first += len(centres) + 2
            if laid:
                self.asm.joint([(laid[-1][0], "far")], [(number, "near")])
            laid.append((number, x0, x1))
        return laid

    def probe(self, name: str, laid: list[tuple[int, float, float]], x: float) -> None:
        """Put a probe at the place `x` [m] of a chain of pipes."""
        for number, x0, x1 in laid:
            if x <= x1 or number == laid[-1][0]:
                self.probes[name] = self.asm.probe(number, min(max(x - x0, 0.0), x1 - x0))
                return

    def valve_curves(self, side: str, lift: LiftCurve, flow: ValveFlow, area: float | None) -> tuple[int, int]:
        """Rows of the forward and reverse area tables, over the pipe end's area where there is a pipe."""
        count = getattr(self.case, side).valve.count
        forward, reverse = effective_area_table(lift, flow, count, area)
        scale = 1.0 if area is None else 1.0 / area
        return self.asm.curve(forward * scale), self.asm.curve(reverse * scale)


def _steady_resistance(duct: Duct | None, entry: float, frictionless: bool) -> float:
    """Sum of loss coefficients over area squared [1/m4] of a duct in steady flow: entry, bends and wall friction, the last
    as for fully rough flow, since no Reynolds number is at hand."""
    if duct is None:
        return 0.0
    faces = np.linspace(0.0, duct.length, MEAN_FRICTION_CELLS + 1)
    _, mean, hydraulic = cell_areas(duct.curve, faces)
    centres = 0.5 * (faces[1:] + faces[:-1])
    rough = np.array([next(s.roughness for s in duct.stretches if s.x0 <= x <= s.x1) for x in centres])
    wall = 0.0 if frictionless else rough_friction(rough, hydraulic) / hydraulic
    friction = float(np.sum((wall + 2.0 * loss_rows(duct.turns, faces)) * np.diff(faces) / mean**2))
    return friction + entry / mean[0] ** 2


def _in_series(valve_area: np.ndarray, resistance: float) -> np.ndarray:
    """Effective area of a valve and a steady duct resistance in series [m2]."""
    return valve_area / np.sqrt(1.0 + resistance * valve_area**2)


def build(case: Any, cell: float | None = None, probes: dict[str, tuple[int, str, float]] | None = None) -> Model:
    """The model of a case. `cell` [m] overrides the case's cell length.

    probes: name -> (cylinder 1.., "intake" | "exhaust", distance [m] from the duct's outer end (intake) or from the valve
    (exhaust)).
    """
    b = _Builder(case, cell if cell is not None else case.run.cell)
    asm, gas, ideal = b.asm, b.gas, case.ideal
    n = case.engine.cylinders
    intake_lift, exhaust_lift = lift_of(case.intake.cam, "intake"), lift_of(case.exhaust.cam, "exhaust")
    intake_flow = flow_of(case, "intake")
    exhaust_flow = flow_of(case, "exhaust")
    phases = firing_phases(case)
    start = ideal.start_angle if ideal.start_angle is not None else 90.0

    # volumes ---------------------------------------------------------------------------------------------------------
    ambient = case.ambient
    outside = outside_of(case, gas)
    source, sink = outside.source, outside.sink
    fresh = dict(pressure=source[0], temp=source[1], yf=b.fresh_fuel * (1.0 - source[2]), yb=source[2])
    air = b.name_volume(asm.reservoir(source[0], source[1], b.fresh_fuel * (1.0 - source[2]), source[2]), "outside air")
    outlet = b.name_volume(asm.reservoir(sink[0], sink[1], 0.0, sink[2]), "exhaust outlet")
    plenum = air
    if case.intake.plenum is not None and not ideal.infinite_plenum_at_valve:
        plenum = b.name_volume(asm.plenum(case.intake.plenum.volume, source[0], source[1], b.fresh_fuel), "plenum")
        throttle = case.intake.throttle
        if throttle is not None:
            area = throttle.discharge_coefficient * circle(throttle.diameter) * throttle.open_share
        else:
            area = 4.0 * n * circle(case.intake.runner.inlet_diameter) if case.intake.runner else 0.01
        lay_charge_pipe(b, air, plenum, area, fresh)

    # cylinders -------------------------------------------------------------------------------------------------------
    columns = cylinder_columns(case, gas, b.port_fuel, intake_lift, exhaust_lift)
    asm.burn = burn_of(case).fractions
    fired = case.burn.kind != "motored"
    first_temp = ideal.start_temperature if ideal.start_temperature is not None else (900.0 if fired else 350.0)
    first_burned = ideal.start_burned if ideal.start_burned is not None else (1.0 if fired else 0.0)
    first_pressure = ideal.start_pressure if ideal.start_pressure is not None else outside.cylinder_start
    cylinders = []
    for k in range(n):
        row = asm.cylinder(
            first_pressure, first_temp, yb=first_burned, start_angle=start, phase=phases[k], **columns
        )
        cylinders.append(row)
        b.name_volume(asm.volume_of(row), f"cylinder {k + 1}")

    # intake ----------------------------------------------------------------------------------------------------------
    duct = intake_duct(case)
    restarts: list[tuple[float, list[int], int]] = []
    lumped = ideal.quasi_steady or ideal.infinite_plenum_at_valve or duct is None
    entry = case.intake.runner.entry if case.intake.runner is not None else "ideal"
    end_area = None if lumped else float(duct.curve.area_at(duct.length))
    alike = (duct, *_intake_curves(b, duct, intake_lift, intake_flow, lumped, entry))
    for k, row in enumerate(cylinders):
        fuelled = 1.0 if b.port_fuel else 0.0
        own, (path, forward, reverse) = of_cylinder(case, k), alike
        if own is not case:
            flow = intake_flow if own.intake.flow is case.intake.flow else flow_of(own, "intake")
            path = intake_duct(own)
            forward, reverse = _intake_curves(b, path, intake_lift, flow, lumped, entry)
        if lumped:
            asm.orifice(
                plenum, asm.volume_of(row), curve_ab=forward, curve_ba=reverse, cylinder=row, role=1, fuelled=fuelled
            )
            continue
        laid, seconds = lay_intake(b, own.intake, path, k, fresh)
        asm.end(laid[0][0], "near", plenum, inward=inward_opening(entry), outward=1.0)
        for number in (laid[-1][0], *(branch[-1][0] for branch in seconds)):
            asm.end(
                number, "far", asm.volume_of(row), curve_in=reverse, curve_out=forward, cylinder=row, role=1,
                recovery=float(ideal.valve_recovery == "momentum"), fuelled=fuelled,
            )  # fmt: skip
        _intake_probes(b, path, laid, k)
        if ideal.no_memory:
            opens = (intake_lift.open_angle() + phases[k]) % 720.0
            restarts.append((opens, [number for pipes in (laid, *seconds) for number, _, _ in pipes], plenum))

    # exhaust ---------------------------------------------------------------------------------------------------------
    charger = _lay_exhaust(b, cylinders, outlet, exhaust_lift, exhaust_flow, fired, outside.exhaust_start)

    for name, (cylinder, side, x) in (probes or {}).items():
        _user_probe(b, name, cylinder - 1, side, x)

    net, state = asm.finish(
        friction=not ideal.frictionless, heat=0.0 if ideal.adiabatic_pipes else 1.0, cfl=case.run.cfl,
        max_degrees=MOST_DEGREES if b.pipes else MOST_DEGREES_BARE,
    )  # fmt: skip
    area = mean_effective_area_open(intake_lift, intake_flow, case.intake.valve.count, end_area)
    return Model(
        gas=gas, net=net, state=state, start_angle=float(start), swept=columns["swept"],
        ambient_pressure=ambient.pressure, ambient_temperature=ambient.temperature, plenum=plenum, pipes=b.pipes,
        volumes=b.volume_names, probes=b.probes, intake_lift=intake_lift, exhaust_lift=exhaust_lift, intake_flow=intake_flow,
        exhaust_flow=exhaust_flow, mean_intake_area=area, intake_length=duct.length if duct is not None else 0.0,
        assumed=intake_flow.assumed or exhaust_flow.assumed, phases=phases, charger=charger, restarts=restarts,
    )  # fmt: skip


def _intake_curves(
    b: _Builder, duct: Duct | None, lift: LiftCurve, flow: ValveFlow, lumped: bool, entry: str
) -> tuple[int, int]:
    """Rows of the area tables of one cylinder's intake valves, forward and reverse; a pipe without inertia is in series."""
    if lumped and b.case.ideal.quasi_steady and duct is not None:
        loss = _steady_resistance(duct, 1.0 / inward_opening(entry) ** 2 - 1.0, b.case.ideal.frictionless)
        tables = effective_area_table(lift, flow, b.case.intake.valve.count, None)
        forward, reverse = (b.asm.curve(_in_series(t, loss)) for t in tables)
        return forward, reverse
    return b.valve_curves("intake", lift, flow, None if lumped else float(duct.curve.area_at(duct.length)))


def _intake_probes(b: _Builder, duct: Duct, laid: list, k: int) -> None:
    port = duct.stretch("port") or duct.stretches[-1]
    inside = np.linspace(port.x0, port.x1 - 1e-9, 200)
    pinch = float(inside[np.argmin(duct.curve.area_at(inside))])
    label = f"cylinder {k + 1}"
    b.probe(f"{label} intake valve", laid, duct.length)
    b.probe(f"{label} port pinch", laid, pinch)
    b.probe(f"{label} runner middle", laid, 0.5 * duct.length)
    b.probe(f"{label} runner mouth", laid, 0.0)


def _lay_exhaust(
    b: _Builder, cylinders: list[int], outlet: int, lift: LiftCurve, flow: ValveFlow, fired: bool, pressure: float
) -> ChargerRows | None:
    case, asm, ideal = b.case, b.asm, b.case.ideal
    h = case.exhaust.header
    temp = ideal.exhaust_start_temperature
    if temp is None:
        temp = 900.0 if fired else case.ambient.temperature
    burned = ideal.exhaust_start_burned
    if burned is None:
        burned = 1.0 if fired else 0.0
    hot = dict(pressure=pressure, temp=temp, yb=burned)
    charger = None
    if case.charger is not None:
        outlet, charger = lay_manifold(b, outlet, hot)
    cell = b.cell * (HOT_CELLS if fired and ideal.gas == "real" else 1.0)
    first = exhaust_duct(case, 0)
    lumped = ideal.quasi_steady or first is None
    end_area = None if lumped else float(first.curve.area_at(0.0))
    alike = flow, *b.valve_curves("exhaust", lift, flow, end_area)
    ends: list[int] = []
    for k, row in enumerate(cylinders):
        own, (flow, forward, reverse) = of_cylinder(case, k), alike
        if own is not case:
            flow = flow if own.exhaust.flow is case.exhaust.flow else flow_of(own, "exhaust")
            end_area = None if lumped else float(exhaust_duct(own, k).curve.area_at(0.0))
            forward, reverse = b.valve_curves("exhaust", lift, flow, end_area)
        if lumped:
            loss = _steady_resistance(exhaust_duct(own, k), 0.0, ideal.frictionless)
            tables = effective_area_table(lift, flow, case.exhaust.valve.count, None)
            out, back = (asm.curve(_in_series(t, loss)) for t in tables)
            asm.orifice(outlet, asm.volume_of(row), curve_ab=back, curve_ba=out, cylinder=row, role=2)
            continue
        duct = exhaust_duct(own, k)
        laid = b.chain(duct, cell, k, "exhaust", hot)
        asm.end(
            laid[0][0], "near", asm.volume_of(row), curve_in=forward, curve_out=reverse, cylinder=row, role=2,
            recovery=float(ideal.valve_recovery == "momentum"),
        )  # fmt: skip
        b.probe(f"cylinder {k + 1} exhaust valve", laid, 0.0)
        ends.append(laid[-1][0])
    if lumped:
        return charger
    exit_kind = h.exit if h is not None else "ideal"
    free = dict(inward=inward_opening(exit_kind), outward=1.0)
    if h is None or (h.tail_length is None and h.secondary_length is None):
        for number in ends:
            asm.end(number, "far", outlet, **free)
        return charger
    _lay_header(b, h, ends, outlet, cell, hot, free)
    return charger


def _lay_header(b: _Builder, h: Any, ends: list[int], outlet: int, cell: float, hot: dict, free: dict) -> None:
    """Secondaries, tail and silencer behind the primaries whose pipe numbers are `ends`."""
    asm, angle = b.asm, h.merge_angle or 0.0
    feeding = [(number, "far") for number in ends]
    if h.secondary_length is not None:
        groups = h.groups or (tuple(range(1, len(ends) + 1)),)
        merged = []
        for g, group in enumerate(groups):
            duct = plain_duct("secondary", h.secondary_length, circle(h.secondary_diameter), h.roughness, h.wall_temperature)
            duct = duct.bent(h.secondary_bends)
            laid = b.chain(duct, cell, -1, f"secondary {g + 1}", hot)
            asm.joint([(ends[k - 1], "far") for k in group], [(laid[0][0], "near")], angles={ends[k - 1]: angle for k in group})
            merged.append((laid[-1][0], "far"))
        feeding = merged
    if h.tail_length is None:
        for number, side in feeding:
            asm.end(number, side, outlet, **free)
        return
    for duct in tail_ducts(h):
        laid = b.chain(duct, cell, -1, duct.stretches[0].name, hot)
        merging = {number: angle for number, _ in feeding} if len(feeding) > 1 else {}
        asm.joint(feeding, [(laid[0][0], "near")], angles=merging)
        feeding = [(laid[-1][0], "far")]
    asm.end(feeding[0][0], "far", outlet, **free)


def _user_probe(b: _Builder, name: str, cylinder: int, side: str, x: float) -> None:
    chain = [(i, p.faces[0], p.faces[-1]) for i, p in enumerate(b.pipes) if p.cylinder == cylinder and p.name == side]
    if not chain:
        raise ValueError(f"no {side} pipe of cylinder {cylinder + 1}")
    if not 0.0 <= x <= chain[-1][2] + 1e-9:
        raise ValueError(f"the {side} duct of cylinder {cylinder + 1} is {chain[-1][2] * 1e3:.0f} mm long")
    b.probe(name, chain, x)
