"""Invented demo ports, sheets and cams as SI objects for the tests of the engine's parts; rows of reference tables."""

import csv
import tomllib
from pathlib import Path

import numpy as np

from waveflow.engine.port import Station

DATA = Path(__file__).parents[1] / "data"
CFM = 0.3048**3 / 60.0
INCH_OF_WATER = 249.08891
LEVELS = ("as_cast", "pocket", "street", "race")
ENGINES = ("n155", "t192")


def toml(name: str) -> dict:
    return tomllib.loads((DATA / "demo" / f"{name}.toml").read_text(encoding="utf-8"))


def rows(name: str) -> list[dict[str, float]]:
    lines = [t for t in (DATA / name).read_text(encoding="utf-8").splitlines() if not t.startswith("#")]
    return [{k: float(v) for k, v in row.items()} for row in csv.DictReader(lines)]


def station(row: dict) -> Station:
    radius = row.get("corner_radius_mm")
    shape, width, height = row["shape"].replace("_", " "), row["width_mm"] / 1e3, row["height_mm"] / 1e3
    return Station(row["distance_mm"] / 1e3, shape, width, height,
                   None if radius is None else radius / 1e3, branches=row["branches"],
                   blocked_area=row.get("blocked_mm2_each", 0.0) / 1e6, note=row.get("note", ""))


def port(engine: str, level: str, side: str) -> tuple[list[Station], list[float], float]:
    """Stations, stated net areas [m2] and burette volume [m3] of a demo port."""
    data = toml(f"ports_{engine}")["level"][level]
    listed = data[side]["stations"]
    areas = [r["net_area_mm2"] / 1e6 for r in listed]
    return [station(r) for r in listed], areas, data[f"{side}_port_cc_burette"] / 1e6


def sheet(engine: str, level: str, side: str) -> dict:
    """Keywords for `from_sheet` of a demo flow sheet (the reference area is left to the test)."""
    data = toml(f"flow_{engine}")
    one, bench = data["sheet"][level], data["bench"]
    return {
        "lift": np.array(one["lift_mm"]) / 1e3, "flow": np.array(one[f"{side}_CFM"]) * CFM,
        "head_diameter": one[f"{side}_valve_mm"] / 1e3, "depression": bench["depression_inH2O"] * INCH_OF_WATER,
        "leak_subtracted": bench["leak_subtracted"], "leak": bench["leak_at_zero_lift_CFM"] * CFM,
        "plate_corrected": bench["plate_correction_applied"], "plate_expected": bench["calibration_plate_CFM_expected"],
        "plate_read": bench["calibration_plate_CFM_read"], "barometer": bench["barometer_kPa"] * 1e3,
        "air_temperature": bench["air_temperature_C"] + 273.15, "valves_open": 2 if engine == "t192" else 1,
        "blown": side == "exhaust",
    }


def cam(identity: str, side: str) -> dict:
    """Keywords for `from_card` of a demo cam; its table [deg after gas-exchange TDC, m at the lobe] if it has one."""
    data = toml("cams")
    one = next(c for c in data["cam"] if c["id"] == identity)
    card = one[side]
    table = data["lift_table"].get(identity, {}).get(side, {}).get("lobe_lift")
    return {
        "card": {"lobe_lift": card["lobe_lift_mm"] / 1e3, "duration": card["duration_050_deg"], "duration_at": 1.27e-3,
                 "second_duration": card["duration_advertised_deg"], "second_duration_at": 0.152e-3,
                 "lobe_centre": card["lobe_centre_deg"], "rocker_ratio": one["rocker_ratio"],
                 "lash": card["lash_mm"] / 1e3, "side": side},
        "table": None if table is None else (np.array([r["crank_deg_after_TDC"] for r in table], float),
                                             np.array([r["lobe_lift_mm"] for r in table]) / 1e3),
    }
