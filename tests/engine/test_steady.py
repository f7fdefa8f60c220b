"""Steady flow of duct and valve against closed forms, exact Fanno flow, and the wall law of the solver."""

import csv
from pathlib import Path

import numpy as np
import pytest

from waveflow.engine.bench import nozzle_flux
from waveflow.engine.port import AreaCurve
from waveflow.engine.rig import Rig
from waveflow.engine.steady import SONIC, SteadyDuct, entered, friction_factor, from_static, mach_of, static
from waveflow.engine.tract import Duct, Stretch, plain_duct

DATA = Path(__file__).parents[1] / "data"
T0, P0 = 298.15, 101325.0


def rows(name):
    with open(DATA / f"{name}.csv", encoding="utf-8") as file:
        return list(csv.DictReader(line for line in file if not line.startswith("#")))


def duct_of(x, area):
    return Duct(AreaCurve.linear_area(x, area), (Stretch("port", 0.0, x[-1], 0.0, 300.0),))


def test_mach_number_of_the_flow_function_inverts_the_closed_form():
    m = np.array([1e-4, 0.01, 0.2, 0.5, 0.8, 0.95, 0.999])
    assert mach_of(m / (1.0 + 0.2 * m * m) ** 3) == pytest.approx(m, rel=1e-8)
    assert SONIC == pytest.approx(0.5787037, rel=1e-6)  # 1.2^-3
    assert np.isnan(mach_of(np.array([1.001 * SONIC]))).all()


def test_rows_of_friction_are_those_of_the_solver():
    from waveflow.physics.walls import friction_factor as scalar

    for reynolds in (0.5, 300.0, 2500.0, 3900.0, 1e4, 3e5):
        for rough in (0.0, 1e-4, 5e-3):
            assert friction_factor(np.array([reynolds]), rough)[0] == pytest.approx(scalar(reynolds, rough), rel=1e-12)


@pytest.mark.parametrize("row", rows("fanno_pipe_cases"), ids=lambda row: row["pb_Pa"])
def test_exact_fanno_flow(row):
    """Pipe of constant friction from a bellmouth without loss to a back pressure, a choked exit included: the upstream
    pressure the tabulated mass flow needs is the tabulated one, 0.05 % (R 287 in the table, 287.05 here)."""
    v = {key: float(value) for key, value in row.items()}
    area = 0.25 * np.pi * v["D_m"] ** 2
    flow = np.array([v["mdot_kg_s"] * np.sqrt(287.0 / 287.05)])
    steady = SteadyDuct.of(plain_duct("pipe", v["L_m"], area, 0.0, 300.0), constant_friction=v["f_darcy"])
    needed = steady.upstream(flow, v["pb_Pa"], v["T0_K"])
    assert needed[0] == pytest.approx(v["p0_Pa"], rel=5e-4)
    if v["M_exit"] < 0.99:
        left = steady.through(flow, np.array([v["p0_Pa"]]), v["T0_K"])
        assert static(flow, area, left, v["T0_K"])[0] == pytest.approx(v["pb_Pa"], rel=1e-3)
    else:
        assert np.isnan(steady.through(1.002 * flow, np.array([v["p0_Pa"]]), v["T0_K"])).all()


def test_a_nozzle_without_loss_keeps_its_stagnation_pressure_and_meets_the_nozzle_law():
    """Converging duct, no friction, open valve: flow of the ideal nozzle of its end area, 0.1 %, and choked 0.1 %."""
    rig = Rig("intake", duct_of([0.0, 0.1], [2e-3, 1e-3]), 1.0, 1e-3, 1, T0, P0, frictionless=True)
    for depression in (2490.89, 6974.49, 30000.0, 60000.0):
        found = rig.flow_through(np.array([0.5e-3]), depression)[0]
        exact = 0.5e-3 * float(nozzle_flux(P0, T0, 1.0 - depression / P0))
        assert found == pytest.approx(exact, rel=1e-3)


def test_the_bench_conversion_table():
    """Ideal CFM per square inch at 10, 25 and 28 inH2O of the reference table, by the modelled bench of a short duct."""
    rig = Rig("intake", duct_of([0.0, 0.05], [6e-3, 6e-3]), 1.0, 5e-3, 1, 293.15, 101325.0, frictionless=True)
    for row in rows("flow_bench_conversions"):
        air = rig.air(float(row["dp_Pa"]))
        flow = rig.flow_through(np.array([0.0254**2]), air.depression)[0] / air.density / (0.3048**3 / 60.0)
        assert flow == pytest.approx(float(row["cfm_per_in2"]) * np.sqrt(287.05 / 287.0), rel=2e-4)


def test_an_entry_costs_its_dynamic_heads():
    """Slow flow: an opening of 1/sqrt(1 + K) takes K heads, 1 %."""
    area, flow, loss = 1e-3, np.array([0.02]), 0.5
    p0 = entered(flow, area, (1.0 + loss) ** -0.5, P0, T0)
    density = P0 / (287.05 * T0)
    head = (flow / area) ** 2 / (2.0 * density)
    assert (P0 - p0[0]) / head[0] == pytest.approx(loss, rel=0.01)
    assert entered(flow, area, 1.0, P0, T0)[0] == P0


def test_a_sudden_step_is_borda_carnot_and_vena_contracta():
    """Slow flow through a step between pipes without friction: (1 - A1/A2)^2 and K heads of the handbooks, 1 %."""
    def lost(first, second, flow):
        curve = AreaCurve.linear_area([0.0, 0.05], [first, first]).joined(AreaCurve.linear_area([0.0, 0.05], [second] * 2))
        duct = Duct(curve, (Stretch("port", 0.0, 0.1, 0.0, 300.0),))
        assert len(duct.sections()) == 2
        steady = SteadyDuct.of(duct, frictionless=True)
        p0 = steady.through(np.array([flow]), np.array([P0]), T0)
        back = steady.upstream(np.array([flow]), float(static(np.array([flow]), second, p0, T0)[0]), T0)
        assert back[0] == pytest.approx(P0, rel=1e-7)
        return (P0 - p0[0]) * 2.0 * P0 / (287.05 * T0) / flow**2

    assert lost(1e-3, 2e-3, 0.02) * 1e-6 == pytest.approx((1.0 - 0.5) ** 2, rel=0.01)
    assert lost(2e-3, 1e-3, 0.02) * 1e-6 == pytest.approx(0.5 * (1.0 - 0.5), rel=0.01)


def test_upstream_and_through_are_each_others_inverse():
    duct = duct_of([0.0, 0.03, 0.08], [9e-4, 7e-4, 1e-3])
    steady = SteadyDuct.of(duct)
    flow = np.array([0.01, 0.05, 0.09])
    p0 = steady.through(flow, np.full(3, P0), T0)
    end = static(flow, steady.last_area, p0, T0)
    for k in range(3):
        assert steady.upstream(flow[k : k + 1], float(end[k]), T0)[0] == pytest.approx(P0, rel=1e-6)
    assert from_static(flow, 1e-3, static(flow, 1e-3, p0, T0), T0) == pytest.approx(p0, rel=1e-9)


def test_meter_arithmetic_of_the_standards():
    """ISO 5167-2:2003 orifice coefficient and expansibility and ISO 9300:2022 toroidal venturi, through the library and the
    stated form: the values a bench's own meter is worked out with."""
    from fluids.flow_meter import C_Reader_Harris_Gallagher, nozzle_expansibility, orifice_expansibility

    for row in rows("iso5167_orifice_C_fluids"):
        d, do, re = float(row["D_m"]), float(row["Do_m"]), float(row["Re_D"])
        mu = 1.8e-5
        m = re * np.pi * d * mu / 4.0
        assert C_Reader_Harris_Gallagher(d, do, 1.2, mu, m, row["taps"]) == pytest.approx(float(row["C"]), rel=1e-6)
    for row in rows("iso5167_expansibility_fluids"):
        beta, ratio = float(row["beta"]), float(row["p2_p1"])
        orifice = orifice_expansibility(1.0, beta, 1e5, ratio * 1e5, 1.4)
        nozzle = nozzle_expansibility(1.0, beta, 1e5, ratio * 1e5, 1.4)
        assert orifice == pytest.approx(float(row["eps_orifice"]), rel=1e-6)
        assert nozzle == pytest.approx(float(row["eps_nozzle"]), rel=1e-6)


def test_our_nozzle_law_has_the_expansibility_of_the_standard():
    """Isentropic over root-law flux of a nozzle from rest is ISO 5167's nozzle expansibility as beta goes to 0 (0.05 %)."""
    from fluids.flow_meter import nozzle_expansibility

    for ratio in (0.98, 0.93, 0.8):
        rho = P0 / (287.05 * T0)
        ours = float(nozzle_flux(P0, T0, ratio)) / np.sqrt(2.0 * rho * P0 * (1.0 - ratio))
        assert ours == pytest.approx(nozzle_expansibility(1.0, 1e-3, P0, ratio * P0, 1.4), rel=5e-4)


def test_a_critical_venturi_passes_its_coefficient():
    """ISO 9300 form Cd = 0.9959 - 2.720 Re^-0.5 as an effective area: the choked rig passes Cd times the ideal flow."""
    for row in rows("iso9300_toroidal_Cd"):
        re, cd = float(row["Re_d"]), float(row["Cd"])
        assert 0.9959 - 2.720 / np.sqrt(re) == pytest.approx(cd, rel=1e-9)
        rig = Rig("intake", None, 1.0, 1e-3, 1, T0, P0)
        found = rig.flow_through(np.array([cd * 0.5e-3]), 0.6 * P0)[0]
        assert found == pytest.approx(cd * 0.5e-3 * 0.0404184 * P0 / np.sqrt(T0), rel=1e-3)  # choked air, closed form
