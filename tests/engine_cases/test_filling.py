"""Filling and compression of a cylinder where the answer is known without gas dynamics.

* quasi_steady_filling_VE_vs_Z.csv: infinite plenum, valve, cylinder, solved by two other integrators (agreeing to 2e-9):
  0.3 % of filling row by row;
* low_speed_VE_limit.csv: closed form of the limit of no speed at all (open-system energy balance): 0.5 %;
* adiabatic_compression_air_cantera.csv: isentropic compression of thermally perfect air: 0.1 % of p and T.
"""

import math

import pytest
from bare_cylinder import Bench, sine_squared_area, square_engine
from case_runs import CASES, rows

from waveflow.engine.case import load
from waveflow.physics import layout as lay
from waveflow.physics.assembly import Assembly
from waveflow.physics.gas import ideal_gas, real_gas
from waveflow.study.cycle import run_point

FILLING = rows("quasi_steady_filling_VE_vs_Z")


def plenum_valve_cylinder(mach_index: float, closes: float, residual_temp: float, rpm: float = 3000.0) -> tuple:
    """(filling, p / p0, T / T0) at intake closing [deg after bottom dead centre]; 1 bar and 300 K outside."""
    gas = ideal_gas(1.4, 287.0)
    engine = square_engine(10.0)
    speed = 2.0 * 0.086 * rpm / 60.0
    mean_area = 0.25 * math.pi * 0.086**2 * speed / (mach_index * math.sqrt(1.4 * 287.0 * 300.0))
    model = Assembly(gas)
    plenum = model.reservoir(1e5, 300.0)
    row = model.cylinder(1e5, residual_temp, start_angle=360.0, **engine)
    curve = model.curve(sine_squared_area(360.0, 540.0 + closes, 2.0 * mean_area))
    model.orifice(plenum, model.volume_of(row), curve_ab=curve, curve_ba=curve, cylinder=row, role=1)
    bench = Bench(model, row, 360.0, rpm, max_degrees=min(1.0, 10.0 * mach_index))
    residual = bench.state.volumes[bench.row, lay.V_MASS]
    end = bench.to(540.0 + closes)
    filled = (end[lay.V_MASS] - residual) / (1e5 / (287.0 * 300.0) * engine["swept"])
    return filled, end[lay.V_PRES] / 1e5, end[lay.V_TEMP] / 300.0


@pytest.mark.parametrize("row", FILLING, ids=lambda r: f"{r['IVC_deg_ABDC']:.0f}ABDC-{r['T_res_K']:.0f}K-Z{r['Z']:g}")
def test_quasi_steady_filling(row):
    filled, pressure, temp = plenum_valve_cylinder(row["Z"], row["IVC_deg_ABDC"], row["T_res_K"])
    assert filled == pytest.approx(row["VE"], rel=3e-3)
    assert pressure == pytest.approx(row["p_IVC_over_pi"], rel=3e-3)
    assert temp == pytest.approx(row["T_IVC_over_Ti"], rel=3e-3)
    assert filled < row["choke_bound"]


@pytest.mark.parametrize("closes", [30.0, 50.0])
def test_filling_falls_off_near_half_the_speed_of_sound(closes):
    """5 % below its own maximum at an inlet Mach index of 0.4 to 0.6 (published: falls sharply above about 0.5, JSME
    Mechanical Engineering Dictionary)."""
    most = max(plenum_valve_cylinder(z, closes, 300.0)[0] for z in (0.1, 0.2, 0.3))
    assert plenum_valve_cylinder(0.4, closes, 300.0)[0] > 0.95 * most > plenum_valve_cylinder(0.6, closes, 300.0)[0]


SLOW = [(row, share) for row in rows("low_speed_VE_limit") for share in ("0.9", "1.0", "1.2")]
QUICK = {(8.0, 1.75, 0.0), (8.0, 1.5, 40.0), (12.0, 2.0, 60.0)}


def _all_at_once(opens: float, closes: float) -> dict:
    """A valve that is wide open all but 2 degrees at either end [deg after gas-exchange top dead centre]."""
    angles = (opens, opens + 2.0, 0.5 * (opens + closes), closes - 2.0, closes)
    lift = ["0 mm", "10 mm", "10 mm", "10 mm", "0 mm"]
    return {"kind": "table", "angle": [f"{x:g} deg" for x in angles], "lift": lift, "lift_of": "valve"}


@pytest.mark.parametrize(
    ("row", "share"),
    [
        pytest.param(
            row, share, id=f"r{row['r']:g}-{row['rod_over_stroke']:g}-{row['IVC_deg_ABDC']:.0f}ABDC-{share}",
            marks=() if (row["r"], row["rod_over_stroke"], row["IVC_deg_ABDC"]) in QUICK else pytest.mark.full,
        )
        for row, share in SLOW
    ],
)  # fmt: skip
def test_low_speed_limit(row, share):
    """At 100 rpm, valves wide open between dead centre and their closing, a short wide pipe that keeps what is pushed back;
    `share` is exhaust over intake pressure."""
    changes = {
        "compression.ratio": f"{row['r']:g}",
        "engine.rod_length": f"{86.0 * row['rod_over_stroke']:g} mm",
        "intake.cam": _all_at_once(0.0, 180.0 + row["IVC_deg_ABDC"]),
        "exhaust.cam": _all_at_once(-180.0, 0.0),
        "exhaust.reservoir.pressure": f"{100.0 * float(share):g} kPa abs",
        "intake.runner.length": "150 mm",
    }
    result = run_point(load(CASES / "short_pipes_motored.toml", changes), 100.0, cell=0.025)
    assert result.converged
    assert result.scalars["volumetric_efficiency"] == pytest.approx(row[f"VE_pe_{share}pi"], rel=5e-3)


@pytest.mark.parametrize("row", rows("adiabatic_compression_air_cantera"), ids=lambda row: f"r{row['r']:.0f}")
def test_adiabatic_compression(row):
    model = Assembly(real_gas("none"))
    cylinder = model.cylinder(row["p1"], row["T1"], start_angle=540.0, **square_engine(row["r"]))
    top = Bench(model, cylinder, 540.0, 2000.0).to(720.0)
    assert top[lay.V_PRES] == pytest.approx(row["p2_Pa"], rel=1e-3)
    assert top[lay.V_TEMP] == pytest.approx(row["T2_K"], rel=1e-3)


def test_compression_and_expansion_undo_each_other():
    """Adiabatic, shut: after a whole turn temperature and pressure are back within 0.01 % and so is the work, 0."""
    model = Assembly(real_gas("none"))
    cylinder = model.cylinder(1e5, 300.0, start_angle=540.0, **square_engine(10.0))
    bench = Bench(model, cylinder, 540.0, 2000.0)
    before = bench.state.volumes[bench.row].copy()
    after = bench.to(900.0)
    assert after[lay.V_PRES] == pytest.approx(before[lay.V_PRES], rel=1e-4)
    assert after[lay.V_TEMP] == pytest.approx(before[lay.V_TEMP], rel=1e-4)
    assert after[lay.V_ENERGY] - before[lay.V_ENERGY] == pytest.approx(-bench.accounts[0, lay.A_WORK], abs=1e-9)
