"""The traps planted in the demo data, one by one: found, and named in words a porter would use.

Each is asked of `check` (warnings of the case) or `compare` (its notes) on the demo case that holds it, and each is shown
to be silent where the trap is not.
"""

import io
import math
from pathlib import Path

import numpy as np
import pytest
from demo_parts import toml

from waveflow.engine.case import load
from waveflow.engine.percylinder import of_cylinder
from waveflow.engine.section import net_area
from waveflow.show.check import print_check
from waveflow.study.compare import compare
from waveflow.study.results import assemble
from waveflow.study.sweep import facts_of

CASES = Path(__file__).parents[2] / "cases"


def told(name, **settings):
    case = load(CASES / f"{name}.toml", {key.replace("__", "."): value for key, value in settings.items()} or None)
    return " | ".join(str(each) for each in case.warnings)


def notes(*names):
    """Notes of a comparison of demo cases, torque and filling made up: only what the cases say of themselves counts."""
    from waveflow.study.records import PointRecord

    results = []
    for number, name in enumerate(names):
        records = {}
        for rpm in np.arange(2000.0, 7001.0, 250.0):
            level = math.exp(-(((rpm - 4500.0) / 4000.0) ** 2)) * (1 + 0.02 * number)
            torque = 130 * level
            scalars = {"torque": torque, "volumetric_efficiency": 0.9 * level, "power": torque * rpm * math.pi / 30}
            records[float(rpm)] = PointRecord(float(rpm), scalars, {}, True, 9, {})
        results.append(assemble(facts_of(load(CASES / f"{name}.toml"), 0.36), list(records), records))
    return " | ".join(compare(results, band=results[0].band).notes)


def checked(name):
    out = io.StringIO()
    print_check(load(CASES / f"{name}.toml"), out)
    return " ".join(out.getvalue().split())


def test_the_foreign_bench_sheet():
    words = "OTHER BENCH: benches differ by far more than one bench repeats"
    assert words in told("t192_street_other_bench") and words not in told("t192_street")
    both = notes("t192_street", "t192_street_other_bench")
    assert "Street, other bench: intake.flow.other_bench: OTHER BENCH" in both and "Street: intake.flow" not in both


def test_the_race_sheet_that_falls():
    words = "the sheet falls from 144.5 CFM to 141.5 CFM at 11 mm"
    race = told("n155_race")
    assert words in race and "read that lift again; if it stays, the flow parts from the wall there" in race
    assert "taken as it is" in race and "falls" not in told("n155_street")
    assert words in notes("n155_street", "n155_race")


def test_the_low_cylinder_and_its_station():
    text, data = told("t192_street_low_cylinder"), toml("inspection_t192")["uniformity_after_work"]
    others = sorted(data[f"cylinder_{k}"][2] for k in (1, 2, 3))
    share = data["cylinder_4"][2] / others[1] - 1
    assert f"cylinder 4 flows low: {share:+.1%} beside the middle of the others at 10 mm" in text
    area = (math.pi / 4 * 28.6**2 - 28.3) / (math.pi / 4 * 29.2**2 - 28.3) - 1
    assert f"the station at 80 mm (ball gauge + calliper) differs: {area:+.1%} of area" in text
    assert "grind that one, not the others" in text and "cylinder 1 flows" not in text
    even = {"cylinder[0].intake.readings.flow": "126.5, 181.5, 211.5 CFM"}
    assert not any("flows" in str(each) for each in load(CASES / "t192_street_low_cylinder.toml", even).warnings)
    assert "flows" not in told("n155_street_as_inspected")  # an even head
    same = {"cylinder[0].intake.port.changed[2].width": "29.2 mm"}  # low, and no station says why
    text = " ".join(str(each) for each in load(CASES / "t192_street_low_cylinder.toml", same).warnings)
    assert "cylinder 4 flows low" in text and "look at seat, guide and short turn" in text


def test_the_station_found_is_the_one_that_was_ground_small():
    """Of cylinder 4's own area curve only the bowl is smaller than the common one, beyond what a gauge reads."""
    case = load(CASES / "t192_street_low_cylinder.toml")
    own, common = of_cylinder(case, 3).intake.port.stations, case.intake.port.stations
    ratio = {round(1e3 * a.at): net_area(a) / net_area(b) for a, b in zip(own, common, strict=True)}
    assert min(ratio, key=ratio.get) == 80 and all(abs(value - 1) < 1e-12 for at, value in ratio.items() if at != 80)


def test_the_step_at_the_runner_joint():
    words = "a step at the runner's joint with the head: 804 mm2 runs into 887.5 mm2, +10% of area, 0.8 mm all round"
    assert words in told("n155") and "step" not in told("n155_street")
    assert "a step at the runner's joint with the head: 1164 mm2" in told("t192")
    assert words in notes("n155", "n155_street")


@pytest.mark.parametrize("engine", ["n155", "t192"])
def test_an_advertised_duration_says_nothing_without_its_height(engine):
    """The demo cards give 258 to 288 degrees "advertised"; their height is 0.006 in, and no other may be supposed."""
    from waveflow.engine.case import load_text
    from waveflow.errors import CaseError

    text = load(CASES / f"{engine}.toml").text
    for height, words in (('second_duration_at = "0.006 in"\n', "a duration means nothing without the lift it was read at"),
                          ('duration_at = "0.050 in"\n', "duration_at")):  # fmt: skip
        assert height in text
        with pytest.raises(CaseError) as caught:
            load_text(text.replace("\n" + height, "\n", 1))
        assert any(words in str(each) for each in caught.value.problems)


def test_the_changed_compression():
    assert "changed compression: 9.78 in n155.toml, 9.38 here, +2.1 cc above the piston" in checked("n155_race")
    assert "changed compression: 8.80 in t192.toml, 8.65 here" in checked("t192_race")
    assert 'waveflow chamber' in checked("n155_race") and "changed compression" not in checked("n155")
    text = notes("n155", "n155_race")
    assert "Changed compression: race runs 9.38 to 1 where as cast runs 9.78; that part of its torque is the chamber's" in text
    assert "Changed compression" not in notes("n155", "n155_pocket")


def test_the_valve_that_fills_the_bore():
    words = "50.2% of the bore; a single intake valve usually has 44% to 48%"
    assert words in told("n155_race") and "of the bore" not in told("n155_street")
    assert "shrouds a big valve" in told("n155_race") and words in notes("n155", "n155_race")


def test_the_band_beyond_the_redline():
    words = "your band ends beyond the redline of 7000 rpm; does the valve train stand it?"
    assert words in told("n155_club_circuit") and "redline" not in told("n155_classic_road")
    assert "your band ends beyond the redline of 7800 rpm" in told("t192_race_long_cam")
    assert "The band ends 800 rpm beyond the redline of 7000 rpm." in notes("n155_club_circuit", "n155_race_long_cam")


def test_the_enquiries_are_cases():
    wanted = {job["id"]: job for job in toml("jobs")["job"]}
    for name, job in (("t192_road_race_port", "J-01"), ("n155_classic_road", "J-03"), ("n155_club_circuit", "J-04"),
                      ("t192_race_long_cam", "J-02")):  # fmt: skip
        assert load(CASES / f"{name}.toml").range.band == (wanted[job]["rpm_from"], wanted[job]["rpm_to"]), name
