"""The two inspected heads as cases: equal to the inspection sheets they were made from."""

from pathlib import Path

import pytest
from demo_parts import CFM, toml

from waveflow.engine.case import load
from waveflow.engine.percylinder import of_cylinder
from waveflow.engine.section import net_area

CASES = Path(__file__).parents[2] / "cases"
NAMES = {"n155": "n155_street_as_inspected", "t192": "t192_street_low_cylinder"}


@pytest.mark.parametrize("engine", ["n155", "t192"])
def test_readings_are_those_of_the_inspection_sheet(engine):
    case, sheet = load(CASES / f"{NAMES[engine]}.toml"), toml(f"inspection_{engine}")["uniformity_after_work"]
    assert sorted(entry.number for entry in case.cylinder) == [1, 2, 3, 4]
    for entry in case.cylinder:
        assert entry.intake.readings.lift == pytest.approx([1e-3 * lift for lift in sheet["lift_mm"]])
        assert entry.intake.readings.flow == pytest.approx([CFM * flow for flow in sheet[f"cylinder_{entry.number}"]])
    assert sum(entry.intake.port is not None for entry in case.cylinder) == (1 if engine == "t192" else 0)


def test_the_low_cylinder_has_the_stations_that_were_measured_on_it():
    case = load(CASES / "t192_street_low_cylinder.toml")
    own, common = of_cylinder(case, 3).intake.port, case.intake.port
    rows = toml("inspection_t192")["stations_after_work"]["cylinder_4"]["intake"]
    measured = {round(1e-3 * row["distance_mm"], 6): row for row in rows}
    assert len(measured) == 4
    for station, other in zip(own.stations, common.stations, strict=True):
        row = measured.get(round(station.at, 6))
        if row is None:
            assert station == other
            continue
        assert (station.shape, station.branches) == (row["shape"], row["branches"])
        assert station.width == pytest.approx(1e-3 * row["width_mm"])
        assert station.blocked_area == pytest.approx(1e-6 * row.get("blocked_mm2_each", 0.0))
    # only the bowl differs in area; the other three were measured and found alike
    differ = [s.at for s, o in zip(own.stations, common.stations, strict=True) if abs(net_area(s) / net_area(o) - 1) > 2e-3]
    assert differ == pytest.approx([0.080])
