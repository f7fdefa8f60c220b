"""Waves meeting pipe ends, steepening waves, and steady flow through restrictions, against exact relations.

Simple waves and their reflections by Riemann invariants (tests/data/simple_wave_end_reflections.csv,
bellmouth_inflow_reflections.csv, shock_formation_time.csv; the method is in any text on gas dynamics, e.g. A. H. Shapiro,
*The Dynamics and Thermodynamics of Compressible Fluid Flow*, vol. 2, 1954). Nozzle flow: isentropic_valve_mass_flux.csv
(closed form) and critical_flow_thermally_perfect_cantera.csv.
"""

import numpy as np
import pytest
from reference_files import rows
from tubes import Tubes, add_pipe, centres, frozen_gas, perfect_gas

from waveflow.physics import layout as lay
from waveflow.physics.assembly import Assembly

GAS = perfect_gas(1.4, 287.0)
SOUND = np.sqrt(1.4 * 287.0 * 300.0)
LENGTH, RAMP = 1.2, 0.4


def simple_wave(pressure: np.ndarray) -> dict[str, np.ndarray]:
    """Temperature, pressure and velocity of a right-going homentropic wave into air at 1e5 Pa, 300 K."""
    ratio = pressure ** (1.0 / 7.0)
    return {"pressure": 1e5 * pressure, "temp": 300.0 * ratio**2, "vel": 5.0 * SOUND * (ratio - 1.0)}


def reflected(strength: float, end: str, reverse: bool = False, cells: int = 240) -> tuple[float, float]:
    """(pressure over rest, velocity outward) next to the end when the whole ramp has come back from it."""
    x = np.linspace(0.0, LENGTH, cells + 1)
    at = np.clip((LENGTH - centres(x)) / RAMP, 0.0, 1.0)
    wave = simple_wave(1.0 + (strength - 1.0) * at)
    if reverse:
        wave = {key: values[::-1] for key, values in wave.items()}
        wave["vel"] = -wave["vel"]
    assembly = Assembly(GAS)
    pipe = add_pipe(assembly, x, 1e-3, **wave)
    here, there = ("near", "far") if reverse else ("far", "near")
    assembly.closed(pipe, there)
    if end == "closed":
        assembly.closed(pipe, here)
    else:
        assembly.end(pipe, here, assembly.reservoir(1e5, 300.0))
    run = Tubes(assembly)
    crest = wave["vel"][-1 if reverse else 0] * (-1.0 if reverse else 1.0) + np.sqrt(wave["temp"].max() / 300.0) * SOUND
    run.march(1.45 * RAMP / min(SOUND, crest))
    found = run.profile()
    last = slice(0, 6) if reverse else slice(-6, None)
    return found.pres[last].mean() / 1e5, found.vel[last].mean() * (-1.0 if reverse else 1.0)


WAVES = rows("simple_wave_end_reflections")


@pytest.mark.parametrize("row", WAVES, ids=lambda x: f"p{x['pinc_p0']}")
def test_closed_end(row):
    """Pressure at the wall, within 0.1 %."""
    pressure, velocity = reflected(row["pinc_p0"], "closed")
    assert pressure == pytest.approx(row["closed_pend_p0"], rel=1e-3)
    assert abs(velocity) < 0.2


@pytest.mark.parametrize("row", [x for x in WAVES if x["pinc_p0"] > 1.0], ids=lambda x: f"p{x['pinc_p0']}")
def test_open_end_outflow(row):
    pressure, velocity = reflected(row["pinc_p0"], "open")
    assert velocity == pytest.approx(row["open_uend_m_s"], rel=5e-3)
    assert pressure == pytest.approx(1.0, rel=1e-3)


@pytest.mark.parametrize("row", rows("bellmouth_inflow_reflections"), ids=lambda x: f"p{x['pinc_p0']}")
def test_bellmouth_inflow(row):
    pressure, velocity = reflected(row["pinc_p0"], "open")
    assert velocity == pytest.approx(row["u_end"], rel=5e-3)
    assert pressure == pytest.approx(row["p_end_p0"], rel=1e-3)


@pytest.mark.parametrize("end, strength", [("closed", 0.8), ("closed", 1.3), ("open", 0.8), ("open", 1.3)])
def test_near_end_is_the_mirror_image_of_the_far_end(end, strength):
    assert reflected(strength, end, reverse=True) == pytest.approx(reflected(strength, end), rel=1e-12)


@pytest.mark.parametrize("row", rows("shock_formation_time"), ids=lambda x: f"a{x['a_piston_m_s2']:.0f}")
def test_shock_formation_time(row):
    """The wave of a uniformly accelerated piston steepens to a shock at its head at 2 a0 / ((gamma + 1) acceleration).

    Started from the exact wave at 0.4 of that time; the steepness at the head grows as 1 / (t_s - t), so its inverse,
    fitted at several instants up to 0.8 t_s, points to t_s: within 3 %.
    """
    push, t_s = row["a_piston_m_s2"], row["t_s"]
    length = row["x_m"] * 1.05
    x = np.linspace(0.0, length, 801)
    run_to, now = np.linspace(0.5, 0.8, 7) * t_s, 0.4 * t_s
    # u from x(u): characteristic of the piston's position when it had speed u, at speed a0 + 1.2 u
    u = np.linspace(0.0, push * now, 20001)
    left = u / push
    place = 0.5 * push * left**2 + (SOUND + 1.2 * u) * (now - left)
    vel = np.interp(-centres(x), -place, u)
    wave = simple_wave((1.0 + 0.2 * vel / SOUND) ** 7)
    assembly = Assembly(GAS)
    pipe = add_pipe(assembly, x, 1.0, **wave)
    assembly.closed(pipe, "near")
    assembly.closed(pipe, "far")
    run = Tubes(assembly)
    inverse = []
    for t in run_to:
        run.march(t - now)
        now = t
        found = run.profile()
        few = (found.vel > 0.02 * SOUND) & (found.vel < 0.15 * SOUND) & (found.x > 0.7 * SOUND * t)
        # the place of a given speed is a quadratic of the speed; its slope at the head
        slope = np.polyfit(found.vel[few], found.x[few], 2)[1]
        inverse.append(-slope)
    fall, start = np.polyfit(run_to, inverse, 1)
    assert -start / fall == pytest.approx(t_s, rel=3e-2)
    assert SOUND * -start / fall == pytest.approx(row["x_m"], rel=3e-2)


NOZZLES = rows("isentropic_valve_mass_flux")


def flow_between(gas, first, second, area=1e-4):
    """Steady mass flow [kg/s] through a nozzle between two reservoirs given as (p, T, burned)."""
    assembly = Assembly(gas)
    a = assembly.reservoir(first[0], first[1], yb=first[2])
    b = assembly.reservoir(second[0], second[1], yb=second[2])
    assembly.orifice(a, b, area_ab=area, area_ba=0.7 * area)
    add = assembly.pipe(np.array([0.0, 1.0]), [1.0, 1.0], [1.0], pressure=1e5, temp=300.0)
    assembly.closed(add, "near")
    assembly.closed(add, "far")
    run = Tubes(assembly)
    run.march(0.01)
    assert run.volume_accounts[a, lay.B_MASS] == -run.volume_accounts[b, lay.B_MASS]
    return run.volume_accounts[b, lay.B_MASS] / 0.01


@pytest.mark.parametrize("row", NOZZLES, ids=lambda x: f"g{x['gamma']}-p{x['p_p0']}")
def test_nozzle_between_volumes(row):
    """Closed form of the isentropic nozzle, both ways through an orifice of different areas: 0.1 %."""
    gas = perfect_gas(row["gamma"], 287.0)
    high, low = (1e5, row["T0_K"], 0.0), (1e5 * row["p_p0"], row["T0_K"], 0.0)
    assert flow_between(gas, high, low) == pytest.approx(1e-4 * row["G_kg_m2s"], rel=1e-3)
    assert flow_between(gas, low, high) == pytest.approx(-0.7e-4 * row["G_kg_m2s"], rel=1e-3)


CRITICAL = rows("critical_flow_thermally_perfect_cantera")


@pytest.mark.parametrize("row", CRITICAL, ids=lambda x: f"{x['gas']}-{x['T0_K']:.0f}")
def test_choked_nozzle_of_hot_gas(row):
    """Critical flow of frozen air and burned gas: 0.05 %, and no more below the critical pressure."""
    burned = 0.0 if row["gas"] == "air" else 1.0
    source = (1e5, row["T0_K"], burned)
    flow = flow_between(frozen_gas(), source, (0.5e5, 300.0, 0.0))
    assert flow == pytest.approx(1e-4 * row["G_kg_m2s"], rel=5e-4)
    assert flow_between(frozen_gas(), source, (0.1e5, 300.0, 0.0)) == pytest.approx(flow, rel=1e-7)


def steady_restriction(gas, opening: float, temp: float, ratio: float, at: str):
    """(mass flow per restriction area, pressure and temperature before it, pressure behind it) of a steady stream.

    A pipe between a vessel at 1e5 Pa and one at ratio x 1e5 Pa, a restriction at its exit or at its entry.
    """
    assembly = Assembly(gas)
    high, low = assembly.reservoir(1e5, temp), assembly.reservoir(1e5 * ratio, temp)
    x = np.linspace(0.0, 0.2, 9)
    start = 1e5 if at == "exit" else 1e5 * ratio
    pipe = add_pipe(assembly, x, 1e-3, pressure=start, temp=temp)
    assembly.end(pipe, "near", high, inward=opening if at == "entry" else 1.0)
    assembly.end(pipe, "far", low, outward=opening if at == "exit" else 1.0)
    run = Tubes(assembly)
    run.march(1.0)
    run.volume_accounts[:] = 0.0
    run.march(0.01)
    into, out = -run.volume_accounts[high, lay.B_MASS] / 0.01, run.volume_accounts[low, lay.B_MASS] / 0.01
    assert into == pytest.approx(out, rel=1e-5)
    found = run.profile()
    return out / (1e-3 * opening), found


@pytest.mark.parametrize("row", NOZZLES[1:], ids=lambda x: f"g{x['gamma']}-p{x['p_p0']}")
@pytest.mark.parametrize("at", ["exit", "entry"])
def test_nozzle_at_a_pipe_end(row, at):
    """A restriction of 2 % of the pipe passes the closed form's flow, 0.1 %: between the stagnation state of the stream
    before it and the pressure at the pipe end behind it (which here differ from the vessels' by 0.1 % or less)."""
    flux, found = steady_restriction(perfect_gas(row["gamma"], 287.0), 0.02, row["T0_K"], row["p_p0"], at)
    assert flux == pytest.approx(row["G_kg_m2s"], rel=1e-3)
    if at == "entry":  # the jet's energy stays: the stream is as warm as the vessel, slower than the jet
        assert found.temp[5:] == pytest.approx(row["T0_K"], rel=2e-3)
        assert found.pres == pytest.approx(1e5 * row["p_p0"], rel=1e-3)
