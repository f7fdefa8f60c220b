"""Pipe ends: the vector code for many against `ends.end_flux` for one, whose laws it shares and whose tests vouch for both."""

import numpy as np
import pytest
from tubes import frozen_gas

from waveflow.physics import layout as lay
from waveflow.physics.assembly import Assembly
from waveflow.physics.end_blocks import END_BLOCK, FLOW_BLOCK, MEMORY, end_fluxes, gather_ends
from waveflow.physics.ends import end_flux
from waveflow.physics.lanes import LANES

COUNT = 20


class Ends:
    """Twenty pipes, each with one end on a volume of its own."""

    def __init__(self):
        self.gas = frozen_gas()
        assembly = Assembly(self.gas)
        for k in range(COUNT):
            pipe = assembly.pipe([0.0, 1.0, 2.0], [1e-3] * 3, [1e-3] * 2, pressure=1e5, temp=300.0)
            assembly.end(pipe, "far" if k % 2 else "near", assembly.reservoir(1e5, 300.0), inward=1.0, outward=1.0)
            assembly.closed(pipe, "near" if k % 2 else "far")
        self.net, state = assembly.finish()
        self.rows = np.array([k for k in range(len(self.net.end)) if self.net.end[k]["inward"] > 0.0])
        self.volumes = state.volumes.copy()
        self.faces = state.temp.size + 1
        self.memory = np.ones((len(self.net.end), MEMORY))

    def both_ways(self, pipe, volume, openings):
        """Fluxes (ends, 5) by the blocks and one by one. pipe, volume: (ends, 5) rho, outward velocity, pressure, yf, yb and
        temperature, pressure, yf, yb; openings (ends, 2)."""
        half = np.ones((10, self.faces))
        opened = np.zeros((len(self.net.end), 2))
        for row, (rho, vel, pres, yf, yb), (temp, pres0, yf0, yb0), psi in zip(self.rows, pipe, volume, openings, strict=True):
            end = self.net.end[row]
            rows = half[:5] if end["sign"] > 0 else half[5:]
            rows[:, end["face"]] = rho, end["sign"] * vel, pres, yf, yb
            v = self.volumes[end["volume"]]
            v[lay.V_TEMP], v[lay.V_PRES], v[lay.V_MASS], v[lay.V_FUEL], v[lay.V_BURNED] = temp, pres0, 1.0, yf0, yb0
            opened[row] = psi
        blocks = np.ones(((len(self.net.end) + LANES - 1) // LANES, END_BLOCK))
        answer = np.full((len(self.net.end), 5), np.nan)
        gather_ends(self.net, self.gas, half, blocks)
        end_fluxes(
            self.net, self.gas, self.volumes, blocks, opened, np.isin(np.arange(len(opened)), self.rows), self.memory,
            np.ones((2, FLOW_BLOCK)), np.zeros((2, LANES + 1), np.int64), answer,
        )  # fmt: skip
        alone = np.array([
            end_flux(self.gas, *state, psi[0], psi[1], *behind, 0.0)
            for state, behind, psi in zip(pipe, volume, openings, strict=True)
        ])  # fmt: skip
        return answer[self.rows], alone


def drawn(rng, count, spread):
    """States of the gas in `count` pipes and volumes: cold to hot, fresh to burned, pressures up to `spread` apart."""
    air, burned = frozen_gas().r[0], frozen_gas().r[2]
    yb, yb0 = rng.uniform(0.0, 1.0, (2, count))
    temp, temp0 = rng.uniform(260.0, 1400.0, (2, count))
    pres = 1.2e5 * np.exp(rng.uniform(-0.4, 0.4, count))
    pres0 = pres * np.exp(rng.uniform(-spread, spread, count))
    r = air + yb * (burned - air)
    vel = rng.uniform(-0.4, 0.4, count) * np.sqrt(1.35 * r * temp)
    pipe = np.column_stack([pres / (r * temp), vel, pres, np.zeros(count), yb])
    return pipe, np.column_stack([temp0, pres0, np.zeros(count), yb0])


@pytest.mark.parametrize("spread", [1e-3, 0.1, 0.5, 1.6])
def test_same_fluxes_as_one_by_one(spread):
    """Nearly shut to wide open, both ways, throats sonic or not, from a cold start and from the last answer: apart by
    3e-6 of the flux and 1e-8 of what the pipe's gas would carry at some 400 m/s."""
    rng = np.random.default_rng(11)
    worst = 0.0
    ends = Ends()
    for _ in range(30):
        pipe, volume = drawn(rng, COUNT, spread)
        openings = 10.0 ** rng.uniform(-4.0, 0.0, (COUNT, 2))
        openings[rng.uniform(size=COUNT) < 0.2] = 1.0
        for _ in range(2):
            many, alone = ends.both_ways(pipe, volume, openings)
            flux = 3e-6 * np.abs(alone[:, 0]) + 1e-8 * 400.0 * pipe[:, 0]
            for k, scale in enumerate((flux, 1e-6 * pipe[:, 2], 3e6 * flux, flux, flux)):
                worst = max(worst, (np.abs(many - alone)[:, k] / scale).max())
    assert worst < 1.0
