"""Cylinders that differ: the case as one of them has it, and what is said of one that makes no sense."""

import pytest
from case_texts import GOOD

from waveflow.engine.case import load_text
from waveflow.engine.percylinder import of_cylinder, own_parts
from waveflow.errors import CaseError

CFM = 0.3048**3 / 60.0
END = 'to = "7500 rpm"\n'
SECOND = "[[cylinder]]\nnumber = 2\n"


def made(more: str, **overrides):
    return load_text(GOOD.replace(END, END + more), "engine.toml", overrides or None)


def sentences(more: str) -> list[str]:
    with pytest.raises(CaseError) as caught:
        made(more)
    return [str(each).partition(": ")[2] for each in caught.value.problems]


def test_without_a_difference_the_case_is_the_same_object():
    case = load_text(GOOD, "engine.toml")
    assert of_cylinder(case, 0) is case and of_cylinder(case, 1) is case and own_parts(case) == {}


def test_a_changed_station_stands_in_for_the_one_at_its_place():
    case = made(SECOND + 'intake.port.changed = [{ at = "30 mm", shape = "round", width = "29 mm" }]\n')
    own, common = of_cylinder(case, 1).intake.port, case.intake.port
    assert of_cylinder(case, 0) is case
    assert [s.at for s in own.stations] == [s.at for s in common.stations]
    assert [a == b for a, b in zip(own.stations, common.stations, strict=True)] == [True, False, True, True]
    assert (own.stations[1].shape, own.stations[1].width) == ("round", pytest.approx(0.029))
    assert own.roughness == common.roughness and own_parts(case) == {2: ("intake port",)}
    # its flow is still the common sheet, and that is told
    assert "cylinder[0].intake.flow" in [each.key for each in case.assumptions]


def test_a_burette_volume_of_other_stations_is_not_kept():
    text = GOOD.replace("[intake.port]\n", '[intake.port]\nburette_volume = "62 cc"\n')
    rough = load_text(text.replace(END, END + SECOND + 'intake.port.roughness = "0.2 mm"\n'), "engine.toml")
    assert of_cylinder(rough, 1).intake.port.burette_volume == rough.intake.port.burette_volume == pytest.approx(62e-6)
    changed = SECOND + 'intake.port.changed = [{ at = "30 mm", shape = "round", width = "29 mm" }]\n'
    other = load_text(text.replace(END, END + changed), "engine.toml")
    assert of_cylinder(other, 1).intake.port.burette_volume is None


def test_readings_scale_the_sheet_by_their_ratio():
    """Sheet 34, 61, 80, 93, 102 at 2 to 10 mm; 58 at 4 mm and 90 at 8 mm: their ratio straight between, flat beyond."""
    case = made(SECOND + 'intake.readings = { lift = "4, 8 mm", flow = "58, 90 CFM" }\n')
    low, high = 58.0 / 61.0, 90.0 / 93.0
    expected = [34.0 * low, 58.0, 80.0 * 0.5 * (low + high), 90.0, 102.0 * high]
    assert of_cylinder(case, 1).intake.flow.flow == pytest.approx([CFM * flow for flow in expected], rel=1e-12)
    same = made(SECOND + 'intake.readings = { lift = "4, 8 mm", flow = "61, 93 CFM" }\n')
    assert of_cylinder(same, 1).intake.flow.flow == same.intake.flow.flow


def test_own_lengths_replace_one_pipe_only():
    more = SECOND + 'intake.runner.length = "300 mm"\nexhaust.primary_length = "450 mm"\n'
    case = made(more)
    own = of_cylinder(case, 1)
    assert own.intake.runner.length == pytest.approx(0.3) and own.intake.runner.entry == case.intake.runner.entry
    assert own.exhaust.header.primary_length == pytest.approx((0.38, 0.45))
    assert case.exhaust.header.primary_length == pytest.approx((0.38, 0.39))
    assert own_parts(case) == {2: ("intake runner", "exhaust primary")}


def test_the_text_of_a_case_keeps_the_difference_and_follows_a_change_of_all():
    case = made(SECOND + 'intake.readings = { lift = "4, 8 mm", flow = "58, 90 CFM" }\n')
    again = load_text(case.text, "kept")
    assert again.cylinder == case.cylinder and again.digest == case.digest
    scaled = case.changed({"intake.flow.factor": "0.9"})
    assert of_cylinder(scaled, 1).intake.flow.factor == 0.9
    other = case.changed({"cylinder[0].intake.readings.flow": "59, 90 CFM"})
    assert of_cylinder(other, 1).intake.flow.flow[1] == pytest.approx(59 * CFM)


def test_stations_of_one_cylinder_from_a_table(tmp_path):
    from waveflow.engine.case import load

    (tmp_path / "port2.csv").write_text("at (mm),shape,width (mm)\n0,round,34\n40,round,30\n76,round,32\n")
    (tmp_path / "flow2.csv").write_text("lift (mm),intake (CFM)\n2,33\n6,78\n10,100\n")
    sheet = GOOD[GOOD.index('depression = "28'):GOOD.index("[intake.port]")]
    more = SECOND + '[cylinder.intake.port]\nfile = "port2.csv"\n'
    more += '[cylinder.intake.flow]\nkind = "sheet"\nfile = "flow2.csv"\n' + sheet
    (tmp_path / "engine.toml").write_text(GOOD.replace(END, END + more))
    own = of_cylinder(load(tmp_path / "engine.toml"), 1).intake
    assert [s.width for s in own.port.stations] == pytest.approx([0.034, 0.030, 0.032])
    assert own.flow.flow == pytest.approx([33 * CFM, 78 * CFM, 100 * CFM])


@pytest.mark.parametrize(("more", "expected"), [
    ("[[cylinder]]\nnumber = 3\nintake.runner.length = \"300 mm\"\n",
     ["cylinder[0].number = 3: the engine has 2 (allowed 1 to 2)"]),
    (SECOND + 'intake.runner.length = "300 mm"\n' + SECOND + 'intake.runner.length = "310 mm"\n',
     ["cylinder[1].number = 2: given twice; put all that differs in it under one [[cylinder]]"]),
    (SECOND, ["cylinder[0]: nothing of it differs; give what is its own, such as intake.readings or intake.port.changed, "
              "or leave it out"]),
    (SECOND + "intake = {}\n",
     ["cylinder[0].intake: nothing in it differs; leave it out, or give port, flow or readings"]),
    (SECOND + 'exhaust.port.roughness = "0.1 mm"\n',
     ["cylinder[0].exhaust.port: there is no exhaust.port to differ from; describe exhaust.port first; here stands only what "
      "differs from it"]),
    (SECOND + 'intake.port.changed = [{ at = "33 mm", width = "29 mm" }]\n',
     ['cylinder[0].intake.port.changed[0].at = "33 mm": the port has no station there; the nearest stands at 30 mm; with other '
      "places give all stations"]),
    (SECOND + 'intake.port.changed = [{ at = "30 mm", width = "290 mm" }]\n',
     ['cylinder[0].intake.port.changed[0].width = "290 mm": above 120 mm (allowed 5 to 120 mm: one passage of a port); did you '
      'mean "29 mm"?']),
    (SECOND + 'intake.port.changed = [{ at = "30 mm", shape = "ellipse", width = "29 mm" }]\n',
     ["cylinder[0].intake.port.changed[0].height: missing for the shape \"ellipse\"; add height = \"29 mm\" or what it is"]),
    (SECOND + 'intake.port.chnaged = [{ at = "30 mm", width = "29 mm" }]\n',
     ['cylinder[0].intake.port.chnaged = [{...}]: unknown key; did you mean "changed"?']),
    (SECOND + 'intake.readings = { lift = "4, 8 mm", flow = "58 CFM" }\n',
     ["cylinder[0].intake.readings.flow = \"58 CFM\": 1 of flow at 2 of lift"]),
    (SECOND + 'intake.readings = { lift = "4, 12 mm", flow = "58, 103 CFM" }\n',
     ['cylinder[0].intake.readings.lift[1] = "12 mm": outside the sheet it is compared with (allowed 2 to 10 mm)']),
    (SECOND + 'intake.readings = { lift = "4, 8 mm", flow = "58, 9 CFM" }\n',
     ['cylinder[0].intake.readings.flow[1] = "9 CFM": -90% of the sheet of all cylinders (allowed within -30 and +40 %); look '
      "at lift, unit and depression again"]),
    (SECOND + 'exhaust.readings = { lift = "4 mm", flow = "58 CFM" }\n',
     ["cylinder[0].exhaust.readings: there is no sheet to scale; readings scale a flow sheet; give this cylinder's own flow, "
      "or exhaust.flow as a sheet"]),
    ("[cylinder]\nnumber = 2\n", ["cylinder: not a list; write [[cylinder]] with double brackets"]),
])  # fmt: skip
def test_every_sentence(more, expected):
    assert sentences(more) == expected


def test_a_cylinder_is_checked_as_a_whole_engine_would_be():
    """A throat of 97 % of the valve head in one cylinder: told at its own place, not at that of the others."""
    case = made(SECOND + 'intake.port.changed = [{ at = "76 mm", shape = "round", width = "37 mm", note = "throat" }]\n')
    told = [str(each) for each in case.warnings]
    assert len(told) == 1 and "cylinder[0].intake.port.changed[0]" in told[0] and "97.4%" in told[0]
