"""Gas at rest stays at rest; a net is the same whichever way and in whatever order its pipes are described; nothing is
made or lost in a closed net."""

from functools import lru_cache

import numpy as np
import pytest
from tubes import Tubes, add_pipe, frozen_gas

from waveflow.physics import layout as lay
from waveflow.physics.assembly import Assembly


def bumpy(x):
    return 1e-3 * (1.0 + 0.5 * np.sin(9.0 * x) + 0.3 * np.cos(23.0 * x))


def steps_of(*values):
    """A function of place with a jump from one value to the next at every equal part of a 0.4 m pipe."""

    def of(x):
        return np.array(values)[np.minimum((x / 0.4 * len(values)).astype(int), len(values) - 1)]

    return of


PARTS_AT_REST = ("joint", "open end", "throttled plenum", "recovering valve", "orifice")


def resting(pressure: float, parts: tuple[str, ...]) -> Assembly:
    """Three pipes of changing area and a stub, jumps of temperature and composition, everything at one pressure; walls
    where a part is left out."""
    assembly = Assembly(frozen_gas())
    x = np.linspace(0.0, 0.4, 41)
    still = [
        {"temp": steps_of(300.0, 900.0, 500.0), "yb": steps_of(0.0, 1.0, 0.3)},
        {"temp": steps_of(1200.0, 310.0), "yb": steps_of(0.7, 0.0), "yf": steps_of(0.0, 0.06)},
        {"temp": steps_of(290.0, 2000.0, 300.0, 800.0), "yb": steps_of(0.0, 1.0, 0.0, 0.5)},
    ]
    pipes = [add_pipe(assembly, x, bumpy, pressure=pressure, **state) for state in still]
    stub = add_pipe(assembly, x[:5], 2e-4, pressure=pressure, temp=700.0, yb=0.4)
    plenum = assembly.plenum(1e-3, pressure, 400.0, yb=0.2)
    other = assembly.plenum(2e-3, pressure, 1500.0, yb=0.9)
    free = {(number, side) for number in pipes for side in ("near", "far")} | {(stub, "far"), (stub, "near")}
    if "joint" in parts:
        upstream, downstream = [(pipes[0], "far"), (pipes[1], "near")], [(pipes[2], "near"), (stub, "far")]
        assembly.joint(upstream, downstream)
        free -= {*upstream, *downstream}
    for part, pipe, side, volume, opening in (
        ("open end", pipes[0], "near", assembly.reservoir(pressure, 350.0), {}),
        ("throttled plenum", pipes[1], "far", plenum, {"inward": 0.3, "outward": 0.4}),
        ("recovering valve", pipes[2], "far", other, {"inward": 0.02, "outward": 0.05, "recovery": 1.0}),
    ):
        if part in parts:
            assembly.end(pipe, side, volume, **opening)
            free -= {(pipe, side)}
    if "orifice" in parts:
        assembly.orifice(plenum, other, area_ab=1e-4, area_ba=2e-4)
    for pipe, side in sorted(free):
        assembly.closed(pipe, side)
    return assembly


@pytest.mark.parametrize("pressure", [1e5, 101325.0, 3.7e5])
@pytest.mark.parametrize("parts", [(), *((part,) for part in PARTS_AT_REST), PARTS_AT_REST], ids="+".join)
def test_gas_at_rest_stays_at_rest(pressure, parts):
    """|u| < 1e-7 m/s everywhere after 2000 steps, and the pressure is still that of the start to 1e-11."""
    run = Tubes(resting(pressure, parts), friction=len(parts) > 1)
    while run.steps < 2000:
        run.march(0.01)
    for pipe in range(4):
        found = run.profile(pipe)
        assert np.abs(found.vel).max() < 1e-7
        assert np.abs(found.pres / pressure - 1.0).max() < 1e-11
    assert np.abs(run.state.volumes[:, lay.V_PRES] / pressure - 1.0).max() < 1e-11


# A small manifold with a pulse in it: pipes by name with length, area at the near and far end, first state.
PARTS = {
    "long": (0.5, 1e-3, 1.6e-3, {"temp": 400.0}),
    "short": (0.3, 0.8e-3, 0.8e-3, {"temp": 900.0, "yb": 1.0}),
    "tail": (0.6, 2e-3, 1.2e-3, {"temp": 600.0, "yb": 0.5}),
}


def manifold(order: list[str], turned: set[str]) -> tuple[Tubes, list[str]]:
    """`long` and `short` meet in `tail`; pipes entered in this order, those in `turned` described from the other end."""
    assembly = Assembly(frozen_gas())
    number = {}
    for name in order:
        length, near, far, state = PARTS[name]
        x = np.linspace(0.0, length, round(length / 0.01) + 1)

        def crest(at, name=name, length=length):
            return 1e5 * (1.0 + (0.8 * np.exp(-(((at - 0.2 * length) / 0.06) ** 2)) if name == "long" else 0.0))

        def shape(at, near=near, far=far, length=length):
            return near + (far - near) * at / length

        def from_far(function, length=length):
            return lambda at: function(length - at)

        turn = from_far if name in turned else (lambda function: function)
        number[name] = add_pipe(assembly, x, turn(shape), pressure=turn(crest), roughness=5e-5, **state)

    def end(name, side):
        return number[name], side if name not in turned else {"near": "far", "far": "near"}[side]

    assembly.joint([end("long", "far"), end("short", "far")], [end("tail", "near")])
    box = assembly.plenum(5e-4, 1.3e5, 500.0, yb=0.3)
    assembly.end(*end("long", "near"), box, inward=0.4, outward=0.5)
    assembly.closed(*end("short", "near"))
    assembly.end(*end("tail", "far"), assembly.reservoir(1e5, 300.0))
    return Tubes(assembly, friction=True, heat=1.0), order


@lru_cache
def outcome(order: tuple[str, ...], turned: tuple[str, ...]):
    """States of every pipe by name after 4 ms, seen from its own near end."""
    run, _ = manifold(list(order), set(turned))
    run.march(4e-3)
    found = {}
    for number, name in enumerate(order):
        part = run.profile(number)
        back = slice(None, None, -1) if name in turned else slice(None)
        sign = -1.0 if name in turned else 1.0
        found[name] = np.array([part.rho[back], part.pres[back], part.temp[back], part.yb[back], sign * part.vel[back]])
    return run.steps, found


AS_WRITTEN = ("long", "short", "tail")


@pytest.mark.parametrize(
    "order, turned",
    [
        (("tail", "long", "short"), ()),
        (("short", "tail", "long"), ()),
        (AS_WRITTEN, ("long",)),
        (AS_WRITTEN, ("short", "tail")),
        (("tail", "short", "long"), AS_WRITTEN),
    ],
)
def test_order_and_direction_of_pipes_do_not_matter(order, turned):
    """To 1e-10 of each quantity's size, through strong waves, friction, wall heat, a joint, a plenum and an open end."""
    steps, wanted = outcome(AS_WRITTEN, ())
    other_steps, found = outcome(order, turned)
    assert other_steps == steps
    for name in AS_WRITTEN:
        size = np.abs(wanted[name]).max(axis=1, keepdims=True)
        assert (np.abs(found[name] - wanted[name]) <= 1e-10 * size).all()


def test_symmetric_flow_stays_symmetric():
    """A pulse in the middle of a symmetric duct: mirror images to 1e-10 (of 1 bar, 400 m/s) after three passages."""
    x = np.linspace(0.0, 1.0, 101)
    assembly = Assembly(frozen_gas())
    pipe = add_pipe(
        assembly, x, lambda at: 1e-3 * (1.0 + 3.0 * (at - 0.5) ** 2), temp=500.0,
        pressure=lambda at: 1e5 * (1.0 + np.exp(-(((at - 0.5) / 0.1) ** 2))),
    )  # fmt: skip
    for side in ("near", "far"):
        assembly.end(pipe, side, assembly.reservoir(1e5, 300.0, yb=0.5), inward=0.6, outward=0.5)
    run = Tubes(assembly)
    run.march(3.0 / 450.0)
    found = run.profile()
    assert np.abs(found.pres - found.pres[::-1]).max() < 1e-10 * 1e5
    assert np.abs(found.vel + found.vel[::-1]).max() < 1e-10 * 400.0


def test_closed_net_keeps_mass_of_every_species_and_energy():
    """Pipes, joints, a plenum and a cylinder without piston motion, strong waves: kept to 1e-13 of what there is."""
    assembly = Assembly(frozen_gas())
    x = np.linspace(0.0, 0.5, 51)
    high = {"pressure": lambda at: np.where(at < 0.25, 4e5, 1e5), "temp": lambda at: np.where(at < 0.25, 1500.0, 350.0)}
    first = add_pipe(assembly, x, bumpy, yb=lambda at: np.where(at < 0.25, 1.0, 0.0), **high)
    second = add_pipe(assembly, x, 1.5e-3, pressure=1e5, temp=320.0, yf=0.06)
    third = add_pipe(assembly, x, 0.7e-3, pressure=0.6e5, temp=300.0)
    assembly.joint([(first, "far"), (second, "far")], [(third, "near")])
    box = assembly.plenum(3e-4, 2e5, 700.0, yb=0.8)
    cylinder = assembly.volume_of(
        assembly.cylinder(
            3e5, 900.0, yb=0.5, bore=0.08, crank=1e-9, rod=0.1, clearance=2e-4, swept=1e-4, intake_close=200.0,
            exhaust_open=500.0,
        )
    )  # fmt: skip
    assembly.end(first, "near", box, inward=0.3, outward=0.2)
    assembly.end(second, "near", cylinder, inward=0.5, outward=0.6)
    assembly.closed(third, "far")
    assembly.orifice(box, cylinder, area_ab=5e-5, area_ba=8e-5)
    run = Tubes(assembly, friction=True)
    before = run.sums()
    run.march(0.02)
    assert run.steps > 1000
    assert np.abs(run.profile(2).vel).max() > 1.0  # it is alive
    assert run.sums() == pytest.approx(before, rel=1e-12)


def test_accounts_match_the_contents():
    """What the accounts say went into a plenum is what it holds more, species by species, and came out of the pipe."""
    assembly = Assembly(frozen_gas())
    x = np.linspace(0.0, 0.4, 41)
    pipe = add_pipe(assembly, x, 1e-3, pressure=3e5, temp=800.0, yb=0.9, yf=0.02)
    box = assembly.plenum(1e-3, 1e5, 300.0)
    assembly.closed(pipe, "near")
    assembly.end(pipe, "far", box, inward=0.5, outward=0.5)
    run = Tubes(assembly)
    start, pipe_start = run.state.volumes[box].copy(), run.pipe_sums()
    run.march(0.01)
    gained = run.state.volumes[box] - start
    account = run.volume_accounts[box]
    for inside, entry, in_pipe in (
        (lay.V_MASS, lay.B_MASS, lay.MASS),
        (lay.V_FUEL, lay.B_FUEL, lay.FUEL),
        (lay.V_BURNED, lay.B_BURNED, lay.BURNED),
        (lay.V_ENERGY, lay.B_ENERGY, lay.ENERGY),
    ):
        size = abs(pipe_start[in_pipe])
        assert abs(gained[inside] - account[entry]) < 1e-12 * size
        assert abs(gained[inside] + (run.pipe_sums() - pipe_start)[in_pipe]) < 1e-12 * size
