"""Invented engines, curves and cycles for the tests of pictures and tables; no real engine, no solver result."""

from __future__ import annotations

import numpy as np

from waveflow.show.views import (
    ComparisonView,
    CycleView,
    OptionView,
    Peak,
    ProbeTrace,
    StationMark,
    Stretch,
    Tract,
)

INTAKE = {
    "as cast": [(0, 887, ""), (15, 812, ""), (30, 761, "pinch"), (45, 796, ""), (58, 812, "guide boss"), (68, 848, ""),
                (76, 796, "throat"), (82, 891, "")],
    "street": [(0, 983, ""), (15, 925, ""), (30, 867, "pinch"), (45, 882, ""), (58, 908, ""), (68, 927, ""),
               (76, 891, "throat"), (82, 957, "")],
    "race": [(0, 1082, ""), (15, 1046, ""), (30, 1024, "pinch"), (45, 1017, ""), (58, 1017, ""), (68, 1031, ""),
             (76, 996, "throat"), (82, 1072, "")],
}  # fmt: skip
EXHAUST = {
    "as cast": [(0, 551, "throat"), (12, 574, ""), (28, 592, ""), (44, 645, ""), (60, 725, "")],
    "street": [(0, 586, "throat"), (12, 653, ""), (28, 664, ""), (44, 711, ""), (60, 791, "")],
    "race": [(0, 631, "throat"), (12, 707, ""), (28, 770, ""), (44, 826, ""), (60, 905, "")],
}
RUNNER_END = {"as cast": (804, 0), "street": (983, 60), "race": (1082, 60)}
SHOWN = ("volumetric_efficiency", "torque")
VALVES = {"as cast": (38.5, 32.5), "street": (38.5, 32.5), "race": (40.5, 33.5)}


def _circle(diameter: float) -> float:
    return np.pi * diameter**2 / 4


def _port(rows: list[tuple[float, float, str]]) -> Stretch:
    at, area = np.array([r[0] for r in rows]) * 1e-3, np.array([r[1] for r in rows]) * 1e-6
    fine = np.unique(np.concatenate([np.linspace(0, at[-1], 83), at]))
    marks = tuple(StationMark(a, s, row[2]) for a, s, row in zip(at, area, rows, strict=True))
    return Stretch("port", "port", fine, np.interp(fine, at, area), 4, stations=marks)


def _pipe(name: str, length: float, start: float, end: float, count: int, **more) -> Stretch:
    return Stretch(name, "pipe", np.array([0, length]) * 1e-3, np.array([start, end]) * 1e-6, count, **more)


def tract(level: str = "as cast") -> Tract:
    """Whole path of the invented N155 at a level."""
    end, blend = RUNNER_END[level]
    mouth = _circle(37)
    own = mouth + (804 - mouth) * (270 - blend) / 270
    runner = Stretch("runner", "pipe", np.array([0, 270 - blend, 270]) * 1e-3 if blend else np.array([0, 270]) * 1e-3,
                     np.array([mouth, own, end]) * 1e-6 if blend else np.array([mouth, end]) * 1e-6, 4)  # fmt: skip
    plenum = Stretch("plenum", "volume", np.array([0, 0.12]), np.array([0.0032 / 0.12] * 2), 1, volume=0.0032)
    throttle = _pipe("throttle", 30, _circle(54), _circle(54), 1)
    silencer = Stretch("silencer", "volume", np.array([0, 0.55]), np.array([0.008 / 0.55] * 2), 1, volume=0.008)
    intake, exhaust = VALVES[level]
    return Tract(
        level,
        (throttle, plenum, runner, _port(INTAKE[level])),
        (_port(EXHAUST[level]), _pipe("primary", 380, _circle(35), _circle(35), 4),
         _pipe("secondary", 420, _circle(42), _circle(42), 2), _pipe("tail", 900, _circle(50.8), _circle(50.8), 1),
         silencer, _pipe("tail end", 350, _circle(50.8), _circle(50.8), 1)),
        0.0806, 0.0762, intake * 1e-3, exhaust * 1e-3,
    )  # fmt: skip


def _curve(rpm: np.ndarray, level: float) -> np.ndarray:
    base = 0.79 + 0.17 * np.exp(-(((rpm - 4700 - 350 * level) / 1900) ** 2)) - 0.05 * ((rpm - 4500) / 3000) ** 2
    waves = 0.013 * np.sin(2 * np.pi * 21000 * (1 + 0.02 * level) / rpm) * np.clip(rpm / 5000, 0.2, 1)
    gain = level * (0.075 / (1 + np.exp(-(rpm - 5900) / 500)) - 0.022 * np.exp(-(((rpm - 3900) / 800) ** 2)))
    return base + waves + gain


def _peak(rpm: np.ndarray, values: np.ndarray) -> Peak:
    best = int(np.nanargmax(values))
    return Peak(float(rpm[best]), float(values[best]))


def option(name: str, level: float, rpm: np.ndarray | None = None, assumed: bool = False, hole: bool = False):
    """One option's curves; `level` 0 is stock, 1 fully opened."""
    rpm = np.arange(1500.0, 7501.0, 100.0) if rpm is None else rpm
    ve = _curve(rpm, level)
    if hole:
        ve[7] = np.nan
    friction = 8 + 9 * (rpm / 7000)
    torque = 143 * ve - friction
    curves = {"volumetric_efficiency": ve, "trapped_efficiency": ve * 0.985, "torque": torque,
              "power": torque * rpm * np.pi / 30, "residual_fraction": 0.03 + 0.04 * np.exp(-(rpm / 2500) ** 2),
              "reverse_flow_fraction": 0.002 + 0.03 * np.exp(-(((rpm - 2000) / 900) ** 2)),
              "port_mach_mean": 0.05 + rpm / 25000, "port_mach_peak": 0.1 + rpm / 12000,
              "inlet_mach_index": rpm / (13500 + 2500 * level), "pumping_mean_pressure": -1.2e4 - 4 * rpm}  # fmt: skip
    low = {k: curves[k] * (1 - 0.05 * rpm / 7500) for k in SHOWN} if assumed else {}
    high = {k: curves[k] * (1 + 0.04 * rpm / 7500) for k in SHOWN} if assumed else {}
    peaks = {k: _peak(rpm, curves[k]) for k in ("volumetric_efficiency", "torque", "power")}
    changes, bands = {}, {}
    if level > 0:
        stock = option("as cast", 0.0, rpm)
        changes = {k: (rpm, curves[k] / stock.curves[k] - 1) for k in SHOWN}
        rows = {k: (low[k] / stock.curves[k] - 1, high[k] / stock.curves[k] - 1) for k in SHOWN if assumed}
        bands = {k: (rpm, *row) for k, row in rows.items()}
    return OptionView(
        name, rpm, curves, assumed, low, high, peaks, {"volumetric_efficiency": 4620 + 260 * level},
        {float(rpm[7]): "temperature above the gas table"} if hole else {},
        tract(name if name in INTAKE else "race"),
        {} if level == 0 else {"volumetric_efficiency": 0.012 * level, "torque": 0.014 * level},
        {} if level == 0 else {"volumetric_efficiency": (4905.0,), "torque": (4870.0,)},
        changes, bands,
    )  # fmt: skip


def comparison(*levels: tuple[str, float], assumed: str = "", hole: bool = False) -> ComparisonView:
    """Options side by side; the default is as cast against race."""
    levels = levels or (("as cast", 0.0), ("race", 1.0))
    options = tuple(option(name, level, assumed=name == assumed, hole=hole and level > 0) for name, level in levels)
    return ComparisonView(
        "The race port moves the VE peak up by 350 rpm, from 4820 to 5170 rpm, gains 7.6 % at 6900 rpm and gives away "
        "2.1 % at 3300 rpm; below 4905 rpm the as-cast port fills better.",
        options, "N155 (invented)",
        "road cam, wide-open throttle, 101.0 kPa, 20 °C; VE = fresh air delivered, on ambient density",
        (3000, 6000), ("6500 rpm", 6500.0),
        "Left out: fuel film, mixture motion, burn rate at low port speed, bend losses of the port, detonation.",
        "mass balance 3e-14, energy balance 2e-13, every point repeated within 14 cycles",
    )  # fmt: skip


def cycle(rpm: float = 5500.0) -> CycleView:
    """A drawn cycle with a wave that runs up and down the runner; shapes only, no gas dynamics."""
    angle = np.arange(0.0, 720.0, 1.0)
    volume = 1 + 8.5 * (1 - np.cos(np.radians(angle))) / 2
    pressure = 1e5 * np.ones_like(angle)
    expansion = angle < 130
    pressure[expansion] = 62e5 * volume[expansion] ** -1.28 * (1 - np.exp(-((angle[expansion] + 12) / 14) ** 2))
    blow = (angle >= 130) & (angle < 370)
    pressure[blow] = 1.03e5 + (pressure[129] - 1.03e5) * np.exp(-(angle[blow] - 130) / 22)
    suck = (angle >= 370) & (angle < 590)
    s = (angle[suck] - 370) / 220
    pressure[suck] = 1.0e5 - 1.6e4 * np.sin(np.pi * s) + 2.4e4 * np.clip(s - 0.7, 0, 1) / 0.3
    press = angle >= 590
    pressure[press] = pressure[589] * (volume[589] / volume[press]) ** 1.33
    lift_in = np.where((angle > 335) & (angle < 605), 9.2e-3 * np.sin(np.pi * (angle - 335) / 270) ** 2, 0)
    lift_ex = np.where((angle > 110) & (angle < 385), 8.6e-3 * np.sin(np.pi * (angle - 110) / 275) ** 2, 0)
    flow_in = 0.085 * np.where(lift_in > 0, np.sin(np.pi * (angle - 345) / 240), 0)
    flow_in[(angle > 335) & (angle < 350)] = -0.01 * np.sin(np.pi * (angle[(angle > 335) & (angle < 350)] - 335) / 15)
    flow_in[(angle > 590) & (angle < 605)] = -0.008 * np.sin(np.pi * (angle[(angle > 590) & (angle < 605)] - 590) / 15)
    gush = np.exp(-(((angle - 160) / 30) ** 2)) + 0.35 * np.exp(-(((angle - 270) / 50) ** 2))
    flow_ex = 0.14 * np.where(lift_ex > 0, gush, 0)
    speed = 343.0
    probes = []
    for place in np.linspace(0.0, 0.352, 9):
        delay = np.degrees(2 * np.pi * rpm / 60 * place / speed)
        down = -1.7e4 * np.exp(-(((angle - 455 - delay) / 38) ** 2))
        back = 2.1e4 * np.exp(-(((angle - 570 + delay) / 28) ** 2))
        ring = 7e3 * np.cos(np.pi * place / 0.704) * np.sin(np.radians((angle - 605) * 5.4)) * (
            ((angle - 605) % 720) < 450) * np.exp(-((angle - 605) % 720) / 260)
        pull = 40 * np.exp(-(((angle - 480) / 60) ** 2))
        name = f"{1000 * place:.0f} mm from the valve"
        sound = np.full_like(angle, speed)
        probes.append(ProbeTrace(name, "intake", float(place), 1.01e5 + down + back + ring, pull, sound))
    for place, size in ((0.0, 1.0), (0.44, 0.7)):
        p = 1.04e5 + size * 5.5e4 * np.exp(-(((angle - 165 - 90 * place) / 22) ** 2)) - 1.5e4 * np.exp(
            -(((angle - 345 + 60 * place) / 30) ** 2))
        probes.append(ProbeTrace(f"{1000 * place:.0f} mm from the valve", "exhaust", place, p, 60 * size + 0 * angle))
    return CycleView(
        "N155 (invented)", "as cast", rpm, angle, pressure, 300 + pressure / 4e3, lift_in, lift_ex, flow_in, flow_ex,
        tuple(probes), 335, 605, 110, 385, 1.01e5, {"volumetric_efficiency": 0.962, "residual_fraction": 0.031},
        "Left out: fuel film, mixture motion, burn rate at low port speed.", "mass balance 3e-14, 14 cycles",
    )  # fmt: skip
