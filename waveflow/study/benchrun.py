"""The modelled bench run: CFM against lift of a case's port and valve in steady flow, beside the sheet that was measured.

Steady flow is solved directly (`engine.rig`, `engine.steady`), which takes a moment; `marched_flow` runs the same rig through
the solver's own pipes, ends and joints until nothing changes and is there to prove it.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from waveflow import units
from waveflow.engine.bench import incompressible_flux
from waveflow.engine.breathing import END_AREA_SHARE
from waveflow.engine.flowsheet import ValveFlow
from waveflow.engine.rig import Rig, rig_of
from waveflow.engine.share import VALVE_ALONE, share_of
from waveflow.engine.valvealone import valve_alone
from waveflow.engine.valves import flow_of, valve_flow

SIDES = ("intake", "exhaust")
STANDARD_LIFTS = tuple(k * 1e-3 for k in range(1, 13))
SETTLED = 2e-6
CONVERSIONS = ("10 inH2O", "25 inH2O", "28 inH2O")


@dataclass(frozen=True, eq=False)
class BenchRun:
    """One side of one case on the modelled bench. Rows (n,) over `lift` [m]; flows in m3/s of room air.

    `modelled`: with the coefficient in use; `measured`: the sheet, leak and plate seen to, brought to this depression by the
    isentropic law, between its readings by their curve, NaN beyond them, None without a sheet of this direction;
    `coefficient` on the valve-head area; `on_throat`: effective area over the throat's. `share`: "whole port" or "valve alone".
    """

    side: str
    reverse: bool
    depression: float
    lift: NDArray
    modelled: NDArray
    measured: NDArray | None
    coefficient: NDArray
    on_throat: NDArray
    share: str
    assumed: bool
    other_bench: str
    findings: tuple[str, ...]
    read_at: float | None = None
    conversions: dict[str, tuple[float, float]] = field(default_factory=dict)
    adapter: tuple[float, float] | None = None

    @property
    def missed(self) -> NDArray | None:
        """Modelled over measured flow, less 1 (n,)."""
        return None if self.measured is None else self.modelled / self.measured - 1.0

    @property
    def worst(self) -> float | None:
        """Greatest |missed|."""
        return None if self.missed is None else float(np.nanmax(np.abs(self.missed), initial=0.0))


def bench(case: Any, depression: str | float | None = None, *, side: str | None = None, reverse: bool = False,
          lift: ArrayLike | None = None, share: str | None = None, adapter: float | None = None) -> list[BenchRun]:  # fmt: skip
    """Put the intake and the exhaust (or one `side`) of a case on the modelled bench.

    depression [Pa] or text such as "28 inH2O": that of the sheet if not given, else 28 inH2O. lift [m]: the sheet's own if
    not given. share: "whole port" or "valve alone" in place of the case's own choice. adapter: bore [m] of the bore adapter,
    the engine's if neither this nor the sheet says it. Raises engine.valvealone.NoCoefficient for a sheet that no valve
    coefficient can return, ValueError for arguments that cannot be.
    """
    if side is not None and side not in SIDES:
        raise ValueError(f"side must be intake or exhaust, not {side!r}")
    if isinstance(depression, str):
        depression = units.parse(depression, "pressure_difference")
    return [_one(case, each, depression, reverse, lift, share, adapter) for each in ((side,) if side else SIDES)]


def sheet_of(flow: Any) -> Any:
    """The measured sheet behind a case's flow, None where there is none (a coefficient table, or a stock flow's sheet, which
    belongs to another port)."""
    return flow if flow.kind == "sheet" else None


def _one(case: Any, side: str, depression: float | None, reverse: bool, lift: ArrayLike | None, share: str | None,
         adapter: float | None) -> BenchRun:  # fmt: skip
    table = getattr(case, side)
    sheet = sheet_of(table.flow)
    rig = rig_of(table, side, sheet or _inner(table.flow), case.ideal)
    if depression is None:
        depression = (sheet or _inner(table.flow)).depression if (sheet or _inner(table.flow)) else units.parse(
            "28 inH2O", "pressure_difference")  # fmt: skip
    if not 0.0 < depression < rig.barometer:
        raise ValueError(f"a depression of {depression:g} Pa must lie between 0 and the barometer, {rig.barometer:g} Pa")
    own = sheet_of(table.flow) is not None
    used = _flow_in_use(case, side, rig, share)
    lifts = _lifts(lift, used if own or table.flow.kind == "stock" else None)
    areas = rig.count * used.effective_area(lifts, reverse=reverse)
    air = rig.air(depression, reverse)
    modelled = rig.flow_through(areas, depression, reverse) / air.density
    measured = None
    if sheet is not None and not reverse:
        plain = valve_flow(table.flow, table.valve, side)
        read = plain.lift_over_diameter * plain.head_diameter
        inside = (lifts >= read[0] - 1e-9) & (lifts <= read[-1] + 1e-9)
        measured = np.where(inside, air.flow(rig.count * plain.effective_area(lifts)), np.nan)
    bore = adapter or (sheet.adapter_bore if sheet is not None else None) or case.engine.bore
    most = float(modelled.max() * air.density)
    return BenchRun(
        side, reverse, depression, lifts, modelled, measured, areas / rig.count / (0.25 * np.pi * table.valve.head_diameter**2),
        areas / rig.throat, share or share_of(case, side), used.assumed,
        sheet.other_bench if sheet is not None else "", used.findings, sheet.depression if sheet is not None else None,
        _conversions(rig, float(areas.max()), reverse), (bore, rig.adapter_share(most, bore, depression)),
    )  # fmt: skip


def _inner(flow: Any) -> Any:
    inner = getattr(flow, "stock_flow", None)
    return inner if inner is not None and inner.kind == "sheet" else None


def _flow_in_use(case: Any, side: str, rig: Rig, share: str | None) -> ValveFlow:
    table = getattr(case, side)
    if share is None or table.flow.kind != "sheet":
        return flow_of(case, side)
    plain = valve_flow(table.flow, table.valve, side)
    return valve_alone(plain, rig, table.flow.depression) if share == VALVE_ALONE else plain


def _lifts(lift: ArrayLike | None, used: ValveFlow | None) -> NDArray:
    if lift is not None:
        lifts = np.atleast_1d(np.asarray(lift, float))
        if lifts.ndim != 1 or not (np.isfinite(lifts).all() and (lifts > 0.0).all()):
            raise ValueError("lifts on a bench are numbers above 0")
        return lifts
    if used is None:
        return np.array(STANDARD_LIFTS)
    return used.lift_over_diameter[used.lift_over_diameter > 0.0] * used.head_diameter


def _conversions(rig: Rig, area: float, reverse: bool) -> dict[str, tuple[float, float]]:
    """Flow per effective area over that at 28 inH2O by the isentropic and by the root law, for each usual depression."""
    rows = {}
    for words in CONVERSIONS:
        air = rig.air(units.parse(words, "pressure_difference"), reverse)
        rows[words] = air.flow_per_area, incompressible_flux(air.density, air.depression) / air.density
    last = rows[CONVERSIONS[-1]]
    return {words: (isen / last[0], root / last[1]) for words, (isen, root) in rows.items()}


def marched_flow(rig: Rig, area: float, depression: float, reverse: bool = False, cell: float = 2e-3) -> float:
    """Mass flow [kg/s] through open valves of effective `area` [m2], by marching the rig to rest of change.

    The solver's own pipes, steps and ends, ideal gas of the bench, adiabatic, in cells of `cell` [m]. Raises RuntimeError
    where the march fails or does not settle to 2e-6 in 2 seconds of flow.
    """
    from waveflow.engine.losses import loss_rows
    from waveflow.engine.tract import cell_areas, mesh
    from waveflow.physics import layout as lay
    from waveflow.physics.assembly import Assembly
    from waveflow.physics.gas import ideal_gas
    from waveflow.physics.march import march

    if rig.duct is None:
        raise ValueError("there is no port to march through")
    asm = Assembly(ideal_gas())
    room = asm.reservoir(rig.barometer, rig.temperature)
    box = asm.reservoir(rig.barometer + (depression if rig.blown(reverse) else -depression), rig.temperature)
    laid: list[int] = []
    for x0, x1 in rig.duct.sections():
        faces = mesh(rig.duct.curve, x0, x1, cell)
        face_area, mean, hydraulic = cell_areas(rig.duct.curve, faces)
        middle = 0.5 * (faces[1:] + faces[:-1])
        rough = np.array([next(s.roughness for s in rig.duct.stretches if s.x0 <= x <= s.x1) for x in middle])
        laid.append(asm.pipe(faces - x0, face_area, mean, pressure=rig.barometer, temp=rig.temperature, hydraulic=hydraulic,
                             roughness=rough, loss=loss_rows(rig.duct.turns, faces)))  # fmt: skip
        if len(laid) > 1:
            asm.joint([(laid[-2], "far")], [(laid[-1], "near")])
    asm.end(laid[0], "near", room, inward=rig.mouth, outward=1.0)
    opening = min(area / rig.end_area, END_AREA_SHARE)
    asm.end(laid[-1], "far", box, inward=opening, outward=opening, recovery=float(rig.recovery))
    net, state = asm.finish(friction=not rig.frictionless, heat=0.0)
    span = 40.0 * rig.duct.length / 340.0
    last, time = 0.0, 0.0
    while time < 2.0:
        books = np.zeros((len(net.volume), lay.VOLUME_ACCOUNTS))
        code, *_ = march(net, asm.gas, state, 1.0 / 6.0, time, span, np.zeros((0, lay.ACCOUNTS)), books,
                         np.zeros(state.temp.size), np.zeros((0, 1)), 1.0)  # fmt: skip
        if code:
            raise RuntimeError(f"the marched bench failed ({code})")
        time += span
        flow = abs(float(books[box, lay.B_MASS])) / span
        if time > 2.5 * span and abs(flow - last) <= SETTLED * flow:
            return flow
        last = flow
    raise RuntimeError("the marched bench did not come to rest")
