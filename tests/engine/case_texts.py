"""An invented engine as one case text, for tests to spoil: two cylinders, plenum, paired header."""

GOOD = """\
name = "twin"
option = "as cast"

[engine]
cylinders = 2
firing_order = [1, 2]
bore = "80 mm"
stroke = "76 mm"
rod_length = "128 mm"
redline = "7000 rpm"

[compression]
chamber = "36 cc"
deck = "0.3 mm"
gasket_bore = "81 mm"
gasket_thickness = "1.2 mm"

[intake.valve]
head_diameter = "38 mm"
stem_diameter = "7 mm"

[intake.cam]
kind = "card"
lobe_lift = "6.4 mm"
rocker_ratio = 1.45
lash = "0.25 mm"
duration = "208 deg"
duration_at = "1.27 mm"
second_duration = "258 deg"
second_duration_at = "0.15 mm"
lobe_centre = "110 deg"

[intake.flow]
kind = "sheet"
lift = "2, 4, 6, 8, 10 mm"
flow = ["34 CFM", "61 CFM", "80 CFM", "93 CFM", "102 CFM"]
depression = "28 inH2O"
reference_area = "curtain"
leak_subtracted = false
leak = "1 CFM"
plate_corrected = true

[intake.port]
stations = [
  { at = "0 mm", shape = "rounded rectangle", width = "33 mm", height = "29 mm", corner_radius = "9 mm" },
  { at = "30 mm", shape = "rounded rectangle", width = "30 mm", height = "27 mm", corner_radius = "9 mm" },
  { at = "58 mm", shape = "ellipse", width = "35 mm", height = "33 mm", blocked_area = "95 mm2" },
  { at = "76 mm", shape = "round", width = "33 mm", blocked_area = "38 mm2", note = "throat" },
]

[intake.runner]
length = "270 mm"
inlet_diameter = "37 mm"
entry = "bellmouth"

[intake.plenum]
volume = "2 L"

[intake.throttle]
diameter = "44 mm"

[exhaust.valve]
head_diameter = "32 mm"

[exhaust.cam]
kind = "sine_squared"
open = "114 deg"
close = "382 deg"
max_lift = "9 mm"

[exhaust.flow]
kind = "coefficient"
lift_over_diameter = [0.1, 0.2, 0.3]
coefficient = [0.68, 0.62, 0.55]
reference_area = "curtain"

[exhaust.header]
primary_length = ["380 mm", "390 mm"]
primary_diameter = "35 mm"
tail_length = "1200 mm"
tail_diameter = "45 mm"
silencer_at = "500 mm"
silencer_volume = "5 L"
silencer_length = "400 mm"

[ambient]
pressure = "101 kPa abs"
temperature = "20 degC"

[fuel]
kind = "gasoline"

[range]
from = "1500 rpm"
to = "7500 rpm"
"""
