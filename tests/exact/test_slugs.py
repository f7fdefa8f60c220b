"""Gas pushed into a pipe and drawn back: layers in the cell at the valve against the law that the last in is the first out."""

from pathlib import Path

import numpy as np
import pytest
from tubes import frozen_gas

from waveflow.engine.build import build
from waveflow.engine.case import load
from waveflow.physics import layout as lay
from waveflow.physics.assembly import Assembly
from waveflow.physics.march import OK, march
from waveflow.physics.slugs import follow_slugs, part_slugs
from waveflow.study.cycle import Engine

CASES = Path(__file__).resolve().parents[2] / "cases"

AREA, CELL = 8e-4, 0.02
SPEED = 2000.0  # [rpm]


class Breathing:
    """A cylinder of burned gas that breathes a tenth of itself into a closed pipe of air and out again."""

    def __init__(self, cells: int, role: int = lay.INTAKE_VALVE, temp: float = 300.0, side: str = "far"):
        self.gas = frozen_gas()
        asm = Assembly(self.gas)
        swept = 0.25 * np.pi * 0.05**2 * 0.02
        sizes = dict(bore=0.05, crank=0.01, rod=0.1, clearance=4e-4, swept=swept, intake_close=719.0)
        cylinder = asm.cylinder(1e5, temp, yb=1.0, start_angle=180.0, **sizes)
        x = np.linspace(0.0, 10.0 * CELL, cells + 1)
        pipe = asm.pipe(x, np.full(cells + 1, AREA), np.full(cells, AREA), pressure=1e5, temp=300.0)
        self.row = asm.volume_of(cylinder)
        asm.end(pipe, side, self.row, cylinder=cylinder, role=role)
        asm.closed(pipe, "near" if side == "far" else "far")
        self.net, self.state = asm.finish(max_degrees=0.5)
        self.at = 180.0

    def to(self, angle: float) -> float:
        """March to an engine angle [deg]; returns the mass of air in the cylinder over its whole mass."""
        code, *_ = march(
            self.net, self.gas, self.state, SPEED, self.at, angle - self.at, np.zeros((1, lay.ACCOUNTS)),
            np.zeros((len(self.net.volume), lay.VOLUME_ACCOUNTS)), np.zeros(self.state.temp.size), np.zeros((0, 1)), 1.0,
        )  # fmt: skip
        assert code == OK
        self.at = angle
        v = self.state.volumes[self.row]
        return 1.0 - v[lay.V_BURNED] / v[lay.V_MASS]

    @property
    def burned(self) -> float:
        """Burned gas in all [kg]."""
        size = self.net.geometry[lay.SIZE]
        real = self.net.geometry[lay.VOLUME_INV] > 0.0
        return float(self.state.cells[lay.BURNED, real] @ size[real]) + float(self.state.volumes[self.row, lay.V_BURNED])


@pytest.mark.parametrize("side", ["near", "far"])
@pytest.mark.parametrize("temp", [300.0, 600.0])
def test_what_was_pushed_into_a_pipe_comes_back_alone(side, temp):
    # Pushed into less than one cell and drawn back to the same volume, the cylinder should hold hardly any air.
    breathing = Breathing(10, temp=temp, side=side)
    held = breathing.burned
    breathing.to(360.0)
    pushed = breathing.state.cells[lay.BURNED, breathing.net.end["cell"][0]] * AREA * CELL
    assert 0.3 < pushed / (breathing.state.cells[lay.MASS, breathing.net.end["cell"][0]] * AREA * CELL) < 0.9
    air = breathing.to(540.0)
    assert abs(breathing.burned / held - 1.0) < 1e-13
    mixing = Breathing(10, role=0, temp=temp, side=side)
    mixing.to(360.0)
    stirred = mixing.to(540.0)
    assert stirred > 0.008  # a stirred cell gives back air, a fifth and more of what had been pushed in
    assert air < 0.1 * stirred


def test_a_coarse_pipe_with_layers_is_as_good_as_a_fine_one():
    coarse, fine = Breathing(10, temp=600.0), Breathing(160, role=0, temp=600.0)
    for angle in (360.0, 540.0, 720.0, 900.0):
        coarse.to(angle), fine.to(angle)
        here, there = coarse.state.volumes[coarse.row], fine.state.volumes[fine.row]
        assert here[lay.V_PRES] == pytest.approx(there[lay.V_PRES], rel=2e-3)
        assert here[lay.V_TEMP] == pytest.approx(there[lay.V_TEMP], rel=5e-3)


def test_no_species_falls_below_nothing_when_much_is_breathed():
    # Deep breaths, over several cells, again and again: layers are cut off at their cell, species stay within 0..1.
    breathing = Breathing(80, temp=900.0)
    for angle in np.arange(190.0, 1800.0, 10.0):
        breathing.to(float(angle))
        share = breathing.state.cells[lay.BURNED] / breathing.state.cells[lay.MASS]
        assert share.min() > -1e-11 and share.max() < 1.0 + 1e-11
        assert np.isfinite(breathing.state.slugs).all()


@pytest.mark.parametrize(("name", "rpm"), [("n155", 1500.0), ("n155_race_long_cam", 3500.0), ("starter", 5000.0)])
def test_mass_fractions_of_an_engine_stay_between_nothing_and_all(name, rpm):
    # Blow-back of hot gas over several cells of a port: where layers would give more than there is, they are forgotten.
    model = build(load(CASES / f"{name}.toml", {"run.grid": "quick"}))
    engine = Engine(model, rpm)
    real = model.net.geometry[lay.VOLUME_INV] > 0.0
    engine.cycle()
    for angle in np.arange(90.0, 810.0, 10.0):
        engine._march(float(angle), 10.0)
        mass = engine.state.cells[lay.MASS, real]
        burned, fuel = engine.state.cells[lay.BURNED, real] / mass, engine.state.cells[lay.FUEL, real] / mass
        assert min(burned.min(), fuel.min()) > -1e-11 and burned.max() < 1.0 + 1e-6
        assert (burned + fuel).max() < 1.0 + 5e-4  # slopes of the two are limited apart, with or without layers


class Stack:
    """One end with a full cell, fed flows by hand: the kernels beside a list of layers that never merge."""

    def __init__(self):
        self.gas = frozen_gas()
        asm = Assembly(self.gas)
        room = asm.reservoir(1e5, 300.0)
        pipe = asm.pipe(CELL * np.arange(5.0), np.full(5, AREA), np.full(4, AREA), pressure=1e5, temp=300.0)
        asm.end(pipe, "far", room, role=lay.INTAKE_VALVE)
        asm.closed(pipe, "near")
        self.net, self.state = asm.finish()
        self.end = next(n for n in range(2) if self.net.end["role"][n])
        self.cell = int(self.net.end["cell"][self.end])
        self.w = np.ones((lay.PRIMITIVES, self.state.temp.size))
        self.w[lay.PRES], self.w[lay.VEL] = 1e5, 0.0
        self.layers: list[list[float]] = []  # mass, burned

    def step(self, moved: float, burned: float = 0.0) -> None:
        """`moved` kg of air with a share `burned` at 300 K go into the pipe; less than 0: leave, as the layers say."""
        through = np.zeros((2, 5))
        r = (1.0 - burned) * self.gas.r[0] + burned * self.gas.r[2]
        e = (1.0 - burned) * self.gas.e[0] + burned * self.gas.e[2]
        h = float(np.polynomial.polynomial.polyval(0.3, e[:6])) + r * 300.0
        through[self.end] = -moved / AREA, 1e5, -moved * h / AREA, 0.0, -moved * burned / AREA
        cells, here = self.state.cells, self.cell
        size = AREA * CELL
        cells[lay.BURNED, here] += moved * (burned if moved > 0.0 else self.first(-moved)) / size
        cells[lay.MASS, here] += moved / size
        self.w[lay.RHO] = cells[lay.MASS]
        self.w[lay.SOUND2] = 1.4 * self.w[lay.PRES] / self.w[lay.RHO]
        follow_slugs(self.net, self.gas, cells, self.w, self.state.volumes, through, 1.0, self.state.slugs)
        if moved > 0.0:
            self.layers.append([moved, moved * burned])
        else:
            self.take(-moved)

    def take(self, mass: float) -> float:
        """Take mass [kg] off the list; returns the burned gas in it."""
        burned = 0.0
        while mass > 1e-18 and self.layers:
            top = self.layers[-1]
            part = min(1.0, mass / top[0])
            burned += part * top[1]
            mass -= part * top[0]
            top[0], top[1] = top[0] * (1.0 - part), top[1] * (1.0 - part)
            if part == 1.0:
                self.layers.pop()
        return burned

    def first(self, mass: float) -> float:
        """Share of burned gas in the next `mass` [kg] to leave, by the list."""
        kept = [list(layer) for layer in self.layers]
        burned = self.take(mass)
        self.layers = kept
        return burned / mass

    def at_the_valve(self, moved: float) -> tuple[float, float]:
        """Shares of burned gas that the kernel sees at the valve and on the other side, when `moved` kg will leave."""
        half = np.ones((10, self.state.temp.size + 1))
        half[lay.L_PRES], half[lay.R_PRES], half[lay.L_VEL] = 1e5, 1e5, 0.0
        through = np.zeros((2, 5))
        through[self.end, 0] = moved / AREA / 1.5  # the kernel looks half as far again
        part_slugs(self.net, self.w, self.state.cells, self.state.slugs, np.ones((1, 2)), through, 1.0, half)
        face = int(self.net.end["face"][self.end])
        return float(half[lay.L_YB, face]), float(half[lay.R_YB, face - 1])


def test_layers_leave_in_the_order_of_the_list():
    stack = Stack()
    whole = stack.state.cells[lay.MASS, stack.cell] * AREA * CELL
    for share, burned in ((0.1, 1.0), (0.05, 0.2), (0.08, 0.7), (0.03, 0.0)):
        stack.step(share * whole, burned)
    for _ in range(10):
        own, beyond = stack.at_the_valve(0.02 * whole)
        assert own == pytest.approx(stack.first(0.02 * whole), abs=1e-9)
        assert beyond == pytest.approx(0.0, abs=1e-9)
        stack.step(-0.02 * whole)


def test_more_layers_than_there_is_room_for_keep_what_they_hold():
    stack = Stack()
    whole = stack.state.cells[lay.MASS, stack.cell] * AREA * CELL
    rng = np.random.default_rng(5)
    held = burned = 0.0
    for share in rng.uniform(0.0, 1.0, 3 * lay.LAYERS):
        stack.step(0.02 * whole, share)
        held, burned = held + 0.02 * whole, burned + 0.02 * whole * share
    row = stack.state.slugs[stack.end]
    layers = row[lay.SLUG_LAYER :].reshape(lay.LAYERS, lay.LAYER)[: int(row[lay.SLUG_COUNT])]
    assert layers[:, lay.S_MASS].sum() == pytest.approx(held, rel=1e-12)
    assert layers[:, lay.S_BURNED].sum() == pytest.approx(burned, rel=1e-12)
    assert len(layers) == lay.LAYERS


def test_layers_deeper_than_their_cell_are_cut_off():
    stack = Stack()
    whole = stack.state.cells[lay.MASS, stack.cell] * AREA * CELL
    for _ in range(40):
        stack.step(0.05 * whole, 1.0)
        stack.state.cells[:, stack.cell] *= whole / (stack.state.cells[lay.MASS, stack.cell] * AREA * CELL)
    row = stack.state.slugs[stack.end]
    count = int(row[lay.SLUG_COUNT])
    mass = row[lay.SLUG_LAYER :].reshape(lay.LAYERS, lay.LAYER)[:count, lay.S_MASS].sum()
    assert mass <= 1.05 * whole * (1.0 + 1e-9)
