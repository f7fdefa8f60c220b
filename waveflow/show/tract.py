"""From a case to the gas path of one cylinder, part after part, for drawings and tables."""

from __future__ import annotations

from typing import Any

import numpy as np

from waveflow.show.sizes import size, with_unit
from waveflow.show.views import StationMark, Stretch, Tract

SIGN_LENGTH = 0.12  # [m] drawn for a chamber whose length the case does not say
PLATE_LENGTH = 0.02  # [m] drawn for a throttle
FINE = 0.001  # [m] spacing of the drawn curve of a port


def tract_of(case: Any) -> Tract:
    """Gas path [Tract] of cylinder 1 of a case [engine.case.Case]; every pipe as the solver's own area curve has it."""
    intake, exhaust = case.intake, case.exhaust
    return Tract(
        (case.option or case.name).replace("_", " "),
        tuple(_intake(case)),
        tuple(_exhaust(case)),
        case.engine.bore,
        case.engine.stroke,
        intake.valve.head_diameter,
        exhaust.valve.head_diameter,
        intake.valve.count,
        exhaust.valve.count,
        None if intake.runner is None else intake.runner.gasket_area,
    )


def _intake(case: Any) -> list[Stretch]:
    from waveflow.engine.port import runner_curve

    side, alike = case.intake, case.engine.cylinders
    found: list[Stretch] = []
    charger = case.charger
    if charger is not None and charger.charge_pipe_length is not None:
        across = charger.charge_pipe_diameter
        found.append(_straight("charge pipe", charger.charge_pipe_length, across, 1, "charge pipe", "before the throttle"))
    if side.throttle is not None:
        note = "" if side.throttle.open_share == 1.0 else f"{100 * side.throttle.open_share:.0f} % open"
        found.append(_straight("throttle", PLATE_LENGTH, side.throttle.diameter, 1, "throttle", note))
    if side.plenum is not None:
        found.append(_chamber("plenum", side.plenum.volume, SIGN_LENGTH))
    port = _port(case, "intake")
    if side.runner is not None:
        runner = side.runner
        inlet = _circle(runner.inlet_diameter)
        outlet = inlet if runner.outlet_area is None else runner.outlet_area
        face = float(port.area[0]) if port is not None else None
        curve = runner_curve(runner.length, inlet, outlet, runner.blend_length, face)
        found.append(Stretch("runner", "pipe", curve.x, curve.area, alike, note=f"{runner.entry} entry"))
    return found if port is None else [*found, port]


def _exhaust(case: Any) -> list[Stretch]:
    return [*_pipes_behind(case), *_before_turbine(case.charger)]


def _before_turbine(charger: Any) -> list[Stretch]:
    """The manifold of a charged engine, and the nozzle its turbine passes as much as, where the case says one."""
    if charger is None:
        return []
    found = [_chamber("exhaust manifold", charger.manifold_volume, SIGN_LENGTH)]
    area = getattr(charger, "turbine_area", None)
    if area is not None:
        across = float(np.sqrt(4.0 * area / np.pi))
        found.append(_straight("turbine nozzle", PLATE_LENGTH, across, 1, "throttle", "beside its wastegate"))
    return found


def _pipes_behind(case: Any) -> list[Stretch]:
    side, alike = case.exhaust, case.engine.cylinders
    port = _port(case, "exhaust")
    found = [] if port is None else [port]
    header = side.header
    if header is None:
        return found
    lengths = header.primary_length
    note = "" if len(set(lengths)) == 1 else f"{size('length', min(lengths))} to {with_unit('length', max(lengths))}"
    found.append(_straight("primary", lengths[0], header.primary_diameter, alike, note=note))
    if header.secondary_length is not None:
        groups = len(header.groups) if header.groups else 1
        across = header.secondary_diameter or header.primary_diameter
        found.append(_straight("secondary", header.secondary_length, across, groups))
    if header.tail_length is not None:
        found += _tail(header)
    return found


def _tail(header: Any) -> list[Stretch]:
    """The tail with its silencer, where it has one, at its place along it."""
    across = header.tail_diameter or header.secondary_diameter or header.primary_diameter
    if header.silencer_at is None:
        return [_straight("tail", header.tail_length, across)]
    at, long = header.silencer_at, header.silencer_length
    rest = header.tail_length - at - long
    before = [_straight("tail", at, across)] if at > 1e-6 else []
    after = [_straight("tail end", rest, across)] if rest > 1e-6 else []
    return [*before, _chamber("silencer", header.silencer_volume, long), *after]


def _port(case: Any, side: str) -> Stretch | None:
    from waveflow.engine.portfacts import port_facts
    from waveflow.engine.tract import port_curve

    port = getattr(case, side).port
    if port is None:
        return None
    curve = port_curve(port)
    x = np.unique(np.concatenate([np.arange(0.0, curve.length, FINE), curve.breaks]))
    throat = port_facts(case, side)
    marks = tuple(_mark(station, throat) for station in port.stations)
    alike = case.engine.cylinders
    return Stretch("port", "port", x, np.asarray(curve.area_at(x)), alike, volume=curve.volume(), stations=marks)


def _mark(station: Any, facts: Any) -> StationMark:
    """A station as it is drawn; a mould slice by its extent, a measured area as a round passage."""
    from waveflow.engine.section import net_area

    width, height = station.width, station.height or station.width
    if station.shape == "measured":
        width = height = float(np.sqrt(4.0 * station.area / np.pi))
    elif station.shape == "outline":
        width, height = (max(each) - min(each) for each in zip(*station.points, strict=True))
    share = facts.throat_share if facts.throat is not None and facts.throat[0] == station.at else None
    return StationMark(station.at, net_area(station), station.note, width, height, station.branches, share)


def _circle(diameter: float) -> float:
    return float(np.pi / 4 * diameter**2)


def _straight(
    name: str, length: float, diameter: float, count: int = 1, kind: str = "pipe", note: str = ""
) -> Stretch:
    area = _circle(diameter)
    return Stretch(name, kind, np.array([0.0, length]), np.array([area, area]), count, note=note)


def _chamber(name: str, volume: float, length: float) -> Stretch:
    area = volume / length
    return Stretch(name, "volume", np.array([0.0, length]), np.array([area, area]), 1, volume=volume)
