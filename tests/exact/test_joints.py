"""Joints and steps of area: balances, second law, continuity, transparency, linear reflection, choking.

Linear reflection at a step, (A1 - A2)/(A1 + A2), is in any text on acoustics (e.g. A. D. Pierce, *Acoustics*, 1981,
section 7.1, from memory); sudden expansion by Borda and Carnot and choked flow in any text on fluid mechanics.
"""

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st
from junctions import Junction, Member, end_states
from tubes import Tubes, add_pipe, centres, frozen_gas, perfect_gas

from waveflow.physics.assembly import Assembly

GAS = perfect_gas(1.4, 287.05)
QUICK = settings(max_examples=150, deadline=None, derandomize=True)


def members(most: int, most_burned: float):
    """Between one and `most` members in any state met in an engine's pipes, and beyond."""
    burned = st.floats(0.0, most_burned)
    one = st.builds(
        Member, st.floats(2e-4, 3e-3), st.floats(0.5e5, 2.5e5), st.floats(280.0, 1100.0), st.floats(-0.7, 0.7), burned
    )
    return st.lists(one, min_size=1, max_size=most)


@QUICK
@given(members(4, 1.0), members(2, 1.0), st.floats(0.0, 1.0))
def test_nothing_is_made_or_lost(upstream, downstream, contraction):
    """Mass of every species and energy, thermally perfect mixtures: to round-off of what flows."""
    all_of = [*upstream, *downstream]
    flow = Junction(frozen_gas(), [m.area for m in upstream], [m.area for m in downstream], contraction).flow(all_of)
    for name in ("mass", "energy", "fuel", "burned"):
        each = getattr(flow, name)
        assert abs(each.sum()) <= 2e-14 * max(np.abs(each).sum(), np.abs(flow.mass).sum())
    assert (flow.momentum > 0.0).all()


def stagnation(flow, area):
    """(supplies, receives, stagnation pressure, entropy over R) of every member."""
    pressure, vel, temp = end_states(flow, area)
    total = temp + vel**2 / (7.0 * 287.05)
    p0 = pressure * (total / temp) ** 3.5
    return flow.mass > 0.0, flow.mass < 0.0, p0, 3.5 * np.log(temp) - np.log(pressure)


# Narrow fast streams into wide, hot or nearly stopped pipes, where more than one flow could satisfy a careless rule
NARROW_INTO_WIDE = ([Member(1.559e-3, 125259.0, 790.9, -0.0022)], [Member(3.035e-4, 216619.0, 322.37, 0.4586)], 0.813)
HOT_INTO_WIDE = ([Member(2.104e-4, 233984.0, 816.3, -0.0882)], [Member(1.416e-3, 72732.0, 1099.07, -0.1706)], 0.929)
INTO_HOT = ([Member(2.582e-3, 51993.0, 1043.2, -0.1251)], [Member(2.571e-4, 192713.0, 853.3, -0.0999)], 0.263)


@QUICK
@given(members(4, 0.0), members(2, 0.0), st.floats(0.0, 1.0))
@example(*NARROW_INTO_WIDE)
@example(*HOT_INTO_WIDE)
@example(*INTO_HOT)
def test_stagnation_pressure_never_rises(upstream, downstream, contraction):
    """No receiver lies above the suppliers' mean (weighted by mass flow), and entropy is not destroyed.

    Margin: 0.1 % of the pressure, the error of the kernel's series for dynamic pressure near sonic speed.
    """
    all_of = [*upstream, *downstream]
    area = np.array([m.area for m in all_of])
    flow = Junction(GAS, [m.area for m in upstream], [m.area for m in downstream], contraction).flow(all_of)
    gives, takes, p0, entropy = stagnation(flow, area)
    if not gives.any():
        return
    supply = flow.mass[gives].sum()
    mean = (flow.mass[gives] * p0[gives]).sum() / supply
    assert (p0[takes] <= mean * 1.001).all()
    made = -(flow.mass[takes] * entropy[takes]).sum() - (flow.mass[gives] * entropy[gives]).sum()
    assert made >= -1e-3 * supply


SWEEPS = {
    "equal pair": ([1e-3], [1e-3]),
    "widening": ([1e-3], [3e-3]),
    "narrowing": ([3e-3], [1e-3]),
    "two into one": ([1e-3, 1e-3], [1.3e-3]),
    "four into one": ([1e-3] * 4, [1.5e-3]),
    "one into two": ([1.5e-3], [1e-3, 0.7e-3]),
}


@pytest.mark.parametrize("mach", [-0.2, 0.0, 0.2])
@pytest.mark.parametrize("name", SWEEPS)
def test_flow_is_continuous_in_pressure(name, mach):
    """As the pressure in the first pipe rises from 0.6 to 1.6 bar, flow reversing on the way, no flow jumps.

    A change dp may bring no more than half the mass flow of a linear wave in all pipes together, sum(A) dp / a.
    """
    upstream, downstream = SWEEPS[name]
    junction = Junction(GAS, upstream, downstream)
    area = np.array([*upstream, *downstream])
    pressures = np.linspace(0.6e5, 1.6e5, 4001)
    flows = np.array(
        [
            junction.flow([Member(area[0], p, 400.0, mach), *(Member(a, 1e5, 350.0, -0.1) for a in area[1:])]).mass
            for p in pressures
        ]
    )
    linear = area.sum() * np.diff(pressures)[0] / 350.0
    assert np.abs(np.diff(flows, axis=0)).max() < 0.5 * linear
    assert flows[:, 0].min() < 0.0 < flows[:, 0].max()


def test_flows_are_in_proportion_to_small_differences():
    """Differences of 1e-6, 1e-8, 1e-10 of the pressure: flows a hundredth each time, to 0.1 % of the largest of them."""
    areas, temps, burned = [1.2e-3, 0.9e-3, 1.5e-3, 2e-4], [500.0, 1200.0, 290.0, 700.0], [0.3, 0.7, 0.0, 0.4]
    junction = Junction(frozen_gas(), areas[:2], areas[2:])

    def flow(size):
        pressures = [1e5 * (1.0 + size * part) for part in (0.3, -1.0, 0.6, -0.2)]
        each = zip(areas, pressures, temps, burned, strict=True)
        return junction.flow([Member(a, p, t, 0.0, b) for a, p, t, b in each]).mass / size

    wanted = flow(1e-6)
    for size in (1e-8, 1e-10):
        assert np.abs(flow(size) - wanted).max() < 1e-3 * np.abs(wanted).max()


@pytest.mark.parametrize("name", SWEEPS)
def test_order_of_members_does_not_matter(name):
    upstream, downstream = SWEEPS[name]
    ups = [Member(a, 1.1e5 + 5e3 * i, 400.0 + 50.0 * i, 0.1) for i, a in enumerate(upstream)]
    downs = [Member(a, 0.95e5 - 4e3 * i, 300.0 + 20.0 * i, -0.1) for i, a in enumerate(downstream)]
    straight = Junction(GAS, upstream, downstream).flow([*ups, *downs])
    turned = Junction(GAS, upstream[::-1], downstream[::-1]).flow([*ups[::-1], *downs[::-1]])
    back = [*range(len(ups) - 1, -1, -1), *range(len(ups) + len(downs) - 1, len(ups) - 1, -1)]
    assert turned.mass[back] == pytest.approx(straight.mass, rel=1e-7)
    assert turned.energy[back] == pytest.approx(straight.energy, rel=1e-7)


def pulse(ratio):
    """Right-going wave of a pressure ratio over 1e5 Pa, 300 K."""
    return {
        "pressure": 1e5 * ratio, "temp": 300.0 * ratio ** (2.0 / 7.0),
        "vel": 5.0 * np.sqrt(1.4 * 287.05 * 300.0) * (ratio ** (1.0 / 7.0) - 1.0),
    }  # fmt: skip


def stepped(second_area: float, amplitude: float, joined: bool = True, cells: int = 200, contraction: float = 0.5):
    """Pressure over rest along two pipes of 1 m when a pulse has met the step between them (or run on in one of 2 m)."""
    x = np.linspace(0.0, 2.0, 2 * cells + 1)
    wave = pulse(1.0 + amplitude * np.exp(-(((centres(x) - 0.55) / 0.08) ** 2)))
    assembly = Assembly(GAS)
    if joined:
        first = add_pipe(assembly, x[: cells + 1], 1e-3, **{k: v[:cells] for k, v in wave.items()})
        second = add_pipe(assembly, x[: cells + 1], second_area, pressure=1e5, temp=300.0)
        assembly.joint([(first, "far")], [(second, "near")], contraction)
        ends = [(first, "near"), (second, "far")]
    else:
        pipe = add_pipe(assembly, x, 1e-3, **wave)
        ends = [(pipe, "near"), (pipe, "far")]
    for pipe, side in ends:
        assembly.closed(pipe, side)
    run = Tubes(assembly)
    run.march(0.85 / np.sqrt(1.4 * 287.05 * 300.0))
    parts = [run.profile(k) for k in range(len(run.net.pipe))]
    return np.concatenate([part.pres for part in parts]) / 1e5 - 1.0


@pytest.mark.parametrize("amplitude", [1e-3, 0.1, 0.3, 0.6])
def test_joint_of_equal_pipes_is_transparent(amplitude):
    """Less than 0.5 % of a pulse comes back, and what goes through is the pulse of an unbroken pipe to 1 %."""
    joined, whole = stepped(1e-3, amplitude), stepped(1e-3, amplitude, joined=False)
    assert np.abs(joined - whole)[:200].max() < 5e-3 * amplitude
    assert np.abs(joined - whole).max() < 1e-2 * amplitude


@pytest.mark.parametrize("ratio", [0.1, 0.2, 0.5, 0.8, 1.25, 2.0, 5.0, 10.0])
def test_linear_reflection_of_a_step(ratio):
    """Reflected (A1 - A2)/(A1 + A2), transmitted 2 A1/(A1 + A2), by the areas under small pulses: 0.5 %."""
    amplitude = 1e-5
    found = stepped(1e-3 * ratio, amplitude)
    whole = amplitude * 0.08 * np.sqrt(np.pi) / 0.005
    assert found[:200].sum() / whole == pytest.approx((1.0 - ratio) / (1.0 + ratio), rel=5e-3)
    assert found[200:].sum() / whole == pytest.approx(2.0 / (1.0 + ratio), rel=5e-3)


def steady_step(first: float, second: float, ratio: float, contraction: float = 0.5):
    """Two pipes between vessels at 1e5 Pa and ratio x 1e5 Pa, steady; their profiles and the mass flow."""
    assembly = Assembly(GAS)
    x = np.linspace(0.0, 0.2, 21)
    pipes = [add_pipe(assembly, x, a, pressure=1e5, temp=300.0) for a in (first, second)]
    assembly.end(pipes[0], "near", assembly.reservoir(1e5, 300.0))
    assembly.end(pipes[1], "far", assembly.reservoir(1e5 * ratio, 300.0))
    assembly.joint([(pipes[0], "far")], [(pipes[1], "near")], contraction)
    run = Tubes(assembly)
    run.march(0.3)
    run.volume_accounts[:] = 0.0
    run.march(0.01)
    flow = run.volume_accounts[1, 0] / 0.01
    assert -run.volume_accounts[0, 0] / 0.01 == pytest.approx(flow, rel=1e-4)
    return run.profile(0), run.profile(1), flow


def total_pressure(profile):
    return float(np.mean(profile.pres * (1.0 + 0.2 * profile.mach**2) ** 3.5))


@pytest.mark.parametrize("second", [1.5e-3, 2e-3, 4e-3])
def test_sudden_expansion(second):
    """Steady slow flow: loss of stagnation pressure 1/2 rho u1^2 (1 - A1/A2)^2 (Borda-Carnot), within 1 %."""
    before, behind, _ = steady_step(1e-3, second, 0.998)
    dynamic = 0.5 * float(np.mean(before.rho * before.vel**2))
    lost = total_pressure(before) - total_pressure(behind)
    assert lost == pytest.approx(dynamic * (1.0 - 1e-3 / second) ** 2, rel=1e-2)


@pytest.mark.parametrize("second", [0.25e-3, 0.5e-3, 0.8e-3])
def test_sudden_contraction(second):
    """Steady slow flow: loss c (1 - A2/A1) of the dynamic pressure in the narrow pipe, within 1 %."""
    before, behind, _ = steady_step(1e-3, second, 0.998, contraction=0.4)
    dynamic = 0.5 * float(np.mean(behind.rho * behind.vel**2))
    lost = total_pressure(before) - total_pressure(behind)
    assert lost == pytest.approx(dynamic * 0.4 * (1.0 - second / 1e-3), rel=1e-2)


def test_expansion_chokes():
    """A narrow pipe discharging into a wide one at low pressure runs sonic at the step, with the choked flow of the
    vessel behind it, and no lower pressure draws more (0.3 %)."""
    wanted = 1e-3 * 0.5282817877 * 1e5 * np.sqrt(1.4 / (287.05 * 300.0 / 1.2))
    flows = []
    for ratio in (0.3, 0.15):
        before, _, flow = steady_step(1e-3, 4e-3, ratio)
        flows.append(flow)
        assert before.mach[-1] == pytest.approx(1.0, abs=0.03)
    assert flows[0] == pytest.approx(wanted, rel=3e-3)
    assert flows[1] == pytest.approx(flows[0], rel=1e-3)


def test_contraction_chokes():
    """A wide pipe discharging through a narrow one at low pressure: sonic flow of the narrow pipe at the most, less the
    stated loss; no lower pressure draws more; the state stays physical at any pressure ratio."""
    most = 0.5e-3 * 0.5282817877 * 1e5 * np.sqrt(1.4 / (287.05 * 300.0 / 1.2))
    flows = [steady_step(1e-3, 0.5e-3, ratio)[2] for ratio in (0.4, 0.2)]
    assert 0.80 * most < flows[0] <= most
    assert flows[1] == pytest.approx(flows[0], rel=1e-3)
    free = steady_step(1e-3, 0.5e-3, 0.4, contraction=0.0)[2]
    assert free == pytest.approx(most, rel=5e-3)
