"""Bench arithmetic against closed-form tables, sheets against their own readings, one convention against the other."""

import math

import numpy as np
import pytest
from demo_parts import CFM, ENGINES, INCH_OF_WATER, LEVELS, rows, sheet
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import trapezoid

from waveflow.engine.bench import AIR_GAMMA, BenchAir, convert_flow, critical_ratio, incompressible_flux, nozzle_flux
from waveflow.engine.breathing import area_time, curtain_equals_valve_lift, throat_share
from waveflow.engine.flowsheet import (
    curtain_area,
    effective_area_table,
    from_coefficient,
    from_sheet,
    head_area,
    inlet_mach_index,
    lift_time_flow,
    mean_effective_area_open,
    with_stock_coefficient,
)
from waveflow.engine.valvetrain import sine_squared

ROOM = {"air_temperature": 293.15, "barometer": 101325.0}
PLAIN = {"leak_subtracted": True, "plate_corrected": True, **ROOM}
CASE_CD = {"lift_over_diameter": [0.0, 0.1, 0.2, 0.3], "coefficient": [0.70, 0.68, 0.62, 0.55], "head_diameter": 0.042,
           "reference_area": "curtain capped by throat", "throat_area": 1.000982e-3}


@pytest.mark.parametrize("row", rows("isentropic_valve_mass_flux.csv"), ids=lambda r: f"{r['gamma']}-{r['p_p0']}")
def test_nozzle_flux_is_the_closed_form(row):
    flux = nozzle_flux(1e5, row["T0_K"], row["p_p0"], row["gamma"], 287.0)
    assert flux == pytest.approx(row["G_kg_m2s"], rel=1e-8)
    assert (row["p_p0"] <= critical_ratio(row["gamma"]) * (1 + 1e-9)) == bool(row["choked"])


@pytest.mark.parametrize("row", rows("flow_bench_conversions.csv"), ids=lambda r: f"{r['inH2O']:g} inH2O")
def test_bench_flow_per_area_and_speeds(row):
    """Table of isentropic bench flow: 101325 Pa, 293.15 K, gamma 1.4, R 287; ours has R 287.05."""
    air = BenchAir(row["inH2O"] * INCH_OF_WATER, 293.15, 101325.0)
    assert air.depression == pytest.approx(row["dp_Pa"], rel=1e-8)
    assert air.mass_flux == pytest.approx(row["G_kg_m2s"], rel=5e-4)
    assert air.flow_per_area == pytest.approx(row["Q_per_area_m_s"], rel=5e-4)
    assert air.flow(0.0254**2) / CFM == pytest.approx(row["cfm_per_in2"], rel=5e-4)
    assert nozzle_flux(101325.0, 293.15, row["p_p0"], 1.4, 287.0) == pytest.approx(row["G_kg_m2s"], rel=1e-8)
    root = BenchAir(air.depression, 293.15, 101325.0, law="root")
    assert root.flow_per_area == pytest.approx(row["v_incomp_m_s"], rel=5e-4)


def test_ten_to_twenty_eight_inches_by_both_laws():
    """1.632 isentropic, 1.673 by the root law (closed forms)."""
    ten, more = (BenchAir(n * INCH_OF_WATER, 293.15, 101325.0) for n in (10, 28))
    assert convert_flow(1.0, ten, more) == pytest.approx(1.632, abs=5e-4)
    ten, more = (BenchAir(n * INCH_OF_WATER, 293.15, 101325.0, law="root") for n in (10, 28))
    assert convert_flow(1.0, ten, more) == pytest.approx(math.sqrt(2.8), rel=1e-12)


@given(st.floats(1.0, 5.0), st.floats(270.0, 320.0))
def test_small_depressions_meet_the_root_law(depression, temperature):
    air = BenchAir(depression, temperature, 1e5)
    assert air.mass_flux == pytest.approx(incompressible_flux(air.density, depression), rel=1e-4)


def test_blowing_has_the_denser_air_upstream():
    drawn, blown = (BenchAir(6974.5, 293.65, 100600.0, blown=b) for b in (False, True))
    assert blown.mass_flux == pytest.approx(nozzle_flux(107574.5, 293.65, 100600.0 / 107574.5))
    assert blown.mass_flux / drawn.mass_flux == pytest.approx(math.sqrt(107574.5 / 100600.0), rel=0.01)


@pytest.mark.parametrize("side", ["intake", "exhaust"])
@pytest.mark.parametrize("level", LEVELS)
@pytest.mark.parametrize("engine", ENGINES)
def test_demo_sheets_pass_their_own_readings_back(engine, level, side):
    """A modelled bench with the sheet's leak and plate shows what was read: flow x plate read/expected + leak."""
    known = sheet(engine, level, side)
    for reference in ("curtain", "valve head"):
        valve = from_sheet(**known, reference_area=reference)
        air = BenchAir(known["depression"], known["air_temperature"], known["barometer"], known["blown"])
        net = air.flow(known["valves_open"] * valve.effective_area(known["lift"]))
        read = net * known["plate_read"] / known["plate_expected"] + known["leak"]
        assert read == pytest.approx(known["flow"], rel=1e-12)
        back = valve.effective_area(known["lift"], reverse=True)
        assert back == pytest.approx(0.9 * valve.effective_area(known["lift"]))
    falling = engine == "n155" and level == "race" and side == "intake"
    assert bool(valve.findings) == falling


def test_a_falling_sheet_is_flagged_and_not_smoothed():
    valve = from_sheet(**sheet("n155", "race", "intake"), reference_area="curtain")
    sentence, = valve.findings
    assert sentence.startswith("flow falls by 2.1 % from 10 to 11 mm lift")
    lift = np.linspace(10e-3, 11e-3, 21)
    assert (np.diff(valve.effective_area(lift)) < 0.0).all()


def test_a_jagged_point_is_named_with_its_lift():
    known = sheet("n155", "street", "intake")
    known["flow"] = known["flow"].copy()
    known["flow"][5] *= 0.96
    sentences = from_sheet(**known, reference_area="curtain").findings
    assert any(s.startswith("the point at 6 mm lift lies") and "below" in s for s in sentences)


def test_more_than_the_curtain_can_pass_is_flagged():
    known = sheet("n155", "street", "intake") | {"head_diameter": 0.0385 / 2.0}
    assert any("of the curtain" in s for s in from_sheet(**known, reference_area="valve head").findings)


readings = st.lists(st.floats(0.002, 0.08), min_size=1, max_size=12)


@given(readings, st.floats(0.02, 0.05))
@settings(max_examples=60, deadline=None)
def test_curtain_and_valve_head_are_two_ways_to_say_one_area(flows, diameter):
    lift = 1e-3 * np.arange(1, len(flows) + 1)
    both = [from_sheet(lift, flows, head_diameter=diameter, depression=7000.0, reference_area=r, **PLAIN)
            for r in ("curtain", "valve head")]
    fine = np.linspace(0.0, lift[-1] * 1.2, 301)
    for reverse in (False, True):
        a, b = (v.effective_area(fine, reverse) for v in both)
        assert a == pytest.approx(b, rel=1e-13, abs=1e-20)
    assert both[0].on_reference("valve head").coefficient == pytest.approx(both[1].coefficient, rel=1e-13)
    area = both[0].effective_area(fine)
    assert area.max() <= both[0].effective_area(lift).max() * (1 + 1e-12)
    inside = fine[(fine > lift[0]) & (fine < lift[-1])]
    assert both[1].coefficient_at(inside, "curtain") * curtain_area(diameter, inside) == pytest.approx(
        both[0].effective_area(inside), rel=1e-12)


@given(st.lists(st.floats(0.001, 0.02), min_size=2, max_size=10))
@settings(max_examples=40, deadline=None)
def test_a_rising_sheet_rises_between_its_readings(increments):
    flows, lift = np.cumsum(increments), 1e-3 * np.arange(1, len(increments) + 1)
    valve = from_sheet(lift, flows, head_diameter=0.04, depression=7000.0, reference_area="curtain", **PLAIN)
    area = valve.effective_area(np.linspace(0.0, lift[-1], 500))
    assert (np.diff(area) > -1e-18).all()


def test_toward_the_seat_the_area_falls_in_proportion_to_lift_and_beyond_the_sheet_it_stays():
    valve = from_sheet(**sheet("n155", "as_cast", "intake"), reference_area="curtain")
    lift = np.array([0.0, 1e-5, 2e-4, 5e-4, 1e-3])
    assert valve.effective_area(lift) == pytest.approx(valve.coefficient[0] * curtain_area(0.0385, lift), rel=1e-12)
    assert valve.effective_area(-1e-3) == 0.0
    assert valve.effective_area(12e-3) == pytest.approx(valve.effective_area(11e-3), rel=1e-14)
    assert valve.lift_sentence(11e-3) is None and valve.excess_lift(11e-3) == 0.0
    assert "is held" in valve.lift_sentence(11.4e-3)
    assert "measure further" in valve.lift_sentence(11.6e-3) and valve.excess_lift(11.6e-3) == pytest.approx(0.6e-3)


def test_leak_at_another_depression_and_plate():
    base = {"head_diameter": 0.0385, "depression": 28 * INCH_OF_WATER, "reference_area": "valve head", **ROOM}
    lift, flow = [2e-3, 4e-3], np.array([30.0, 60.0]) * CFM
    plain = from_sheet(lift, flow - 2.0 * CFM, leak_subtracted=True, plate_corrected=True, **base)
    same = from_sheet(lift, flow, leak_subtracted=False, leak=2.0 * CFM, plate_corrected=True, **base)
    other = from_sheet(lift, flow, leak_subtracted=False, leak=1.0 * CFM, leak_depression=7 * INCH_OF_WATER,
                       plate_corrected=True, **base)
    plate = from_sheet(lift, flow, leak_subtracted=False, leak=2.0 * CFM, plate_corrected=False, plate_expected=187.0,
                       plate_read=186.3, **base)
    assert same.coefficient == pytest.approx(plain.coefficient, rel=1e-13)
    assert other.coefficient == pytest.approx(plain.coefficient, rel=1e-13)
    assert plate.coefficient == pytest.approx(plain.coefficient * 187.0 / 186.3, rel=1e-13)


def test_two_valves_open_give_half_each():
    known = sheet("t192", "race", "intake")
    one = from_sheet(**known, reference_area="valve head")
    both = from_sheet(**(known | {"valves_open": 1}), reference_area="valve head")
    assert 2.0 * one.coefficient == pytest.approx(both.coefficient, rel=1e-14)


@pytest.mark.parametrize("change", [
    {"reference_area": "throat"}, {"lift": [0.0, 1e-3]}, {"lift": [2e-3, 1e-3]}, {"lift": [1e-3]}, {"leak": 1.0},
    {"plate_read": None}, {"valves_open": 0}, {"depression": 2e5}, {"depression": -1.0}, {"head_diameter": 0.0},
    {"flow": [math.nan, 0.01]}, {"leak": -0.1}, {"law": "bernoulli"}])
def test_sheets_that_cannot_be_are_refused(change):
    known = sheet("n155", "street", "intake") | {"lift": [1e-3, 2e-3], "flow": [0.009, 0.018]}
    known["reference_area"] = "curtain"
    from_sheet(**known)
    with pytest.raises(ValueError):
        from_sheet(**(known | change))


@given(st.floats(0.0, 0.016))
def test_a_coefficient_table_capped_by_the_throat_is_read_as_stated(lift):
    """A_eff = Cd(L/D) min(pi D L, throat area), straight lines in L/D: the definition written in the engine cases."""
    valve = from_coefficient(**CASE_CD)
    cd = np.interp(lift / 0.042, CASE_CD["lift_over_diameter"], CASE_CD["coefficient"])
    assert valve.effective_area(lift) == pytest.approx(cd * min(math.pi * 0.042 * lift, 1.000982e-3), rel=1e-14)
    assert valve.effective_area(lift, reverse=True) == pytest.approx(valve.effective_area(lift))


def test_plain_coefficient_tables_on_each_reference():
    x, c = [0.05, 0.15, 0.25], [0.7, 0.6, 0.5]
    curtain = from_coefficient(x, c, head_diameter=0.04, reference_area="curtain", reverse_factor=0.8)
    assert curtain.effective_area(0.004) == pytest.approx(0.65 * curtain_area(0.04, 0.004))
    assert curtain.effective_area(0.001) == pytest.approx(0.7 * curtain_area(0.04, 0.001))
    assert curtain.effective_area(0.02) == pytest.approx(0.5 * curtain_area(0.04, 0.01))
    assert curtain.effective_area(0.004, reverse=True) == pytest.approx(0.8 * curtain.effective_area(0.004))
    head = from_coefficient(x, [0.14, 0.36, 0.5], head_diameter=0.04, reference_area="valve head",
                            reverse_coefficient=[0.1, 0.3, 0.4])
    assert head.effective_area(0.004) == pytest.approx(0.25 * head_area(0.04))
    assert head.effective_area(0.001) == pytest.approx(0.07 * head_area(0.04))
    assert head.effective_area(0.02, reverse=True) == pytest.approx(0.4 * head_area(0.04))
    zero = from_coefficient([0.0, 0.1], [0.0, 0.3], head_diameter=0.04, reference_area="valve head")
    assert zero.effective_area([0.0, 0.002]) == pytest.approx([0.0, 0.15 * head_area(0.04)])
    for wrong in ({"reference_area": "throat"}, {"reference_area": "curtain", "throat_area": 1e-3},
                  {"reference_area": "curtain capped by throat"}):
        with pytest.raises(ValueError):
            from_coefficient(x, c, head_diameter=0.04, **wrong)
    with pytest.raises(ValueError, match="zero lift"):
        from_coefficient([0.0, 0.1], [0.2, 0.3], head_diameter=0.04, reference_area="valve head")


@pytest.mark.parametrize("build", [lambda: from_sheet(**sheet("n155", "as_cast", "intake"), reference_area="curtain"),
                                   lambda: from_coefficient(**CASE_CD)])
@given(ratio=st.floats(0.9, 1.2))
@settings(max_examples=20, deadline=None)
def test_stock_coefficient_is_kept_on_valve_head_area_at_equal_lift_over_diameter(build, ratio):
    stock = build()
    new = with_stock_coefficient(stock, stock.head_diameter * ratio)
    lift = np.linspace(1e-4, 12e-3, 60)
    kept = stock.coefficient_at(lift, "valve head")
    assert new.coefficient_at(lift * ratio, "valve head") == pytest.approx(kept, rel=1e-12)
    assert new.effective_area(lift * ratio) == pytest.approx(ratio**2 * stock.effective_area(lift), rel=1e-12)
    assert new.assumed and not stock.assumed and "ASSUMED" in new.source
    assert with_stock_coefficient(stock).effective_area(lift) == pytest.approx(stock.effective_area(lift))


def test_scaled_flow_scales_everywhere_both_ways():
    valve = from_sheet(**sheet("n155", "race", "exhaust"), reference_area="curtain")
    lift = np.linspace(0.0, 13e-3, 80)
    for factor in (0.92, 1.08):
        for reverse in (False, True):
            assert valve.scaled(factor).effective_area(lift, reverse) == pytest.approx(
                factor * valve.effective_area(lift, reverse), rel=1e-13)
    with pytest.raises(ValueError):
        valve.scaled(0.0)


def test_effective_area_over_the_cycle_counts_valves_and_minds_the_pipe():
    lift, valve = sine_squared(334.0, 602.0, 0.010), from_coefficient(**CASE_CD, reverse_factor=0.9)
    forward, reverse = effective_area_table(lift, valve, 2)
    assert forward.shape == reverse.shape == (2881,)
    assert forward == pytest.approx(2.0 * valve.effective_area(lift.lift)) and reverse == pytest.approx(0.9 * forward)
    assert (forward[: 334 * 4] == 0.0).all() and (forward[602 * 4 + 1:] == 0.0).all()
    limited, _ = effective_area_table(lift, valve, 2, limit_area=1.0e-3)
    assert limited.max() == pytest.approx(0.999e-3) and (limited <= forward).all()


def test_inlet_mach_index_and_mean_area_reproduce_the_choked_filling_bound():
    """A valve choked all the time fills VE = (choked flux/(rho0 a0)) (open angle/180)/Z: the closed-form bound printed
    beside the filling solutions, whose valve area is sin^2 between two angles with mean A_max/2."""
    bore = stroke = 0.086
    rpm, temperature, density = 3000.0, 300.0, 1e5 / (287.0 * 300.0)
    sound = math.sqrt(AIR_GAMMA * 287.0 * temperature)
    flat = from_coefficient([1.0], [0.5], head_diameter=0.04, reference_area="curtain")  # area in proportion to lift
    for row in rows("quasi_steady_filling_VE_vs_Z.csv")[::7]:
        lift = sine_squared(360.0, 540.0 + row["IVC_deg_ABDC"], 0.010)
        mean = mean_effective_area_open(lift, flat)
        assert mean == pytest.approx(flat.effective_area(0.010) / 2.0, rel=1e-6)
        z = inlet_mach_index(bore, stroke, rpm, mean, sound)
        forward, _ = effective_area_table(lift, flat)
        mass = nozzle_flux(1e5, temperature, 0.3, gas_constant=287.0) * area_time(forward) / (6.0 * rpm)
        bound = mass / (density * math.pi / 4.0 * bore**2 * stroke)
        assert bound * z == pytest.approx(row["choke_bound"] * row["Z"], rel=1e-4)


def test_lift_time_flow_is_the_mean_over_the_open_period():
    known = sheet("n155", "street", "intake")
    valve = from_sheet(**known, reference_area="curtain")
    air = BenchAir(known["depression"], known["air_temperature"], known["barometer"])
    lift = sine_squared(340.0, 600.0, 0.009)
    t = np.linspace(340.0, 600.0, 4001)
    mean = trapezoid(air.flow(valve.effective_area(lift.at(t))), t) / 260.0
    assert lift_time_flow(lift, valve, air.flow_per_area) == pytest.approx(mean, rel=1e-5)


def test_change_over_lift_and_throat_share():
    assert curtain_equals_valve_lift(0.04) / 0.04 == pytest.approx(0.25)
    lift = curtain_equals_valve_lift(0.04, 0.007)
    assert curtain_area(0.04, lift) == pytest.approx(head_area(0.04) - head_area(0.007))
    assert throat_share(0.0326, 0.0385) == pytest.approx(0.8468, abs=1e-4)
