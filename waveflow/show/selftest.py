"""An engine with known answers, small enough to run anywhere: motored, short pipes, ideal gas, no friction, no heat.

Its fillings were found by an independent method (two-step Lax-Wendroff with characteristic ends on 8, 4 and 2 mm cells,
extrapolated; uncertainty about 5e-5). Air enters the pipes without loss and leaves at the pressure outside.
"""

from __future__ import annotations

# Volumetric efficiency [1] by speed [rpm].
KNOWN = {1000.0: 0.91709, 3000.0: 0.90878, 5000.0: 0.80308}
WITHIN = 2e-3  # relative; the cells are coarse for a quick answer

CASE = """
name = "self-test"

[engine]
cylinders = 1
bore = "86 mm"
stroke = "86 mm"
rod_length = "143 mm"

[compression]
ratio = 10.0

[intake.valve]
head_diameter = "42 mm"

[intake.cam]
kind = "sine_squared"
open = "334 deg"
close = "602 deg"
max_lift = "10 mm"

[intake.flow]
kind = "coefficient"
lift_over_diameter = [0.0, 1.0]
coefficient = [0.65, 0.65]
reference_area = "curtain capped by throat"
throat_area = "1000.982 mm2"

[intake.runner]
length = "80 mm"
inlet_diameter = "36 mm"
entry = "ideal"

[exhaust.valve]
head_diameter = "35 mm"

[exhaust.cam]
kind = "sine_squared"
open = "114 deg"
close = "382 deg"
max_lift = "9 mm"

[exhaust.flow]
kind = "coefficient"
lift_over_diameter = [0.0, 1.0]
coefficient = [0.65, 0.65]
reference_area = "curtain capped by throat"
throat_area = "695.1265 mm2"

[exhaust.header]
primary_length = "80 mm"
primary_diameter = "34 mm"
exit = "ideal"

[ambient]
pressure = "100 kPa abs"
temperature = "300 K"

[fuel]
kind = "none"

[burn]
kind = "motored"

[walls]
heat = "adiabatic"

[range]
from = "1000 rpm"
to = "5000 rpm"

[run]
cell = "5 mm"
tolerance = 1e-5

[ideal]
gas = "constant gamma"
frictionless = true
adiabatic_pipes = true
start_angle = "90 deg"
start_pressure = "100 kPa abs"
start_temperature = "300 K"
start_burned = 0.0
"""


def filling(rpm: float) -> float:
    """Volumetric efficiency [1] this installation finds at a speed [rpm]. Raises ``RunError`` where the run fails."""
    from waveflow.engine.case import load_text
    from waveflow.study.cycle import run_point

    return float(run_point(load_text(CASE, "self-test"), rpm).scalars["volumetric_efficiency"])
