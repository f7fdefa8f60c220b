"""Fast ways to the answer of a joint against the general one, whose laws they share and whose tests vouch for all."""

import numpy as np
import pytest
from junctions import Junction, Member
from tubes import frozen_gas


def drawn(rng, spread, fastest):
    """State next to a joint: pressure within `spread` of 1.2 bar, cold to hot, fresh to burned, up to `fastest` either way."""
    return {
        "pressure": 1.2e5 * np.exp(rng.uniform(-spread, spread)),
        "temp": rng.uniform(260.0, 1300.0),
        "mach": rng.uniform(-fastest, fastest),
        "burned": rng.uniform(0.0, 1.0),
    }


def apart(fast, slow, members):
    """Largest difference of two answers, flows over what is carried at most, forces over themselves."""
    scale = abs(slow.mass).max() + 4e-4 * min(m.area for m in members)
    sizes = {"mass": scale, "fuel": scale, "burned": scale, "energy": 3e6 * scale, "momentum": slow.momentum}
    return max((abs(getattr(fast, name) - getattr(slow, name)) / size).max() for name, size in sizes.items())


@pytest.mark.parametrize("angle", [0.0, 30.0])
def test_two_pipes(angle):
    """Flows and forces agree to 2e-6 with those of the general joint, which has to solve few."""
    rng = np.random.default_rng(7 + int(angle))
    left, worst = 0, 0.0
    for _ in range(400):
        areas = np.exp(rng.uniform(-0.8, 0.8, 2)) * 1e-3
        joint = Junction(frozen_gas(), [areas[0]], [areas[1]], rng.choice([0.0, 0.5, 0.8]), {0: angle} if angle else None)
        members = [Member(area, **drawn(rng, 0.25, 0.35)) for area in areas]
        fast = joint.pair_flow(members)
        left += fast is None
        if fast is not None:
            worst = max(worst, apart(fast, joint.flow(members), members))
    assert worst < 2e-6
    assert left < 20


@pytest.mark.parametrize("angle", [0.0, 30.0])
@pytest.mark.parametrize(("upstream", "downstream"), [(2, 1), (1, 2), (4, 1), (3, 2), (3, 0)])
def test_many_pipes(upstream, downstream, angle):
    """The same for merges and splits, every start from another joint's answer."""
    rng = np.random.default_rng(upstream + 10 * downstream + int(angle))
    left, worst = 0, 0.0
    for _ in range(150):
        areas = np.exp(rng.uniform(-0.8, 0.8, upstream + downstream)) * 1e-3
        angles = {k: angle for k in range(upstream)} if angle else None
        joint = Junction(frozen_gas(), list(areas[:upstream]), list(areas[upstream:]), rng.choice([0.0, 0.5, 0.8]), angles)
        for _ in range(2):
            members = [Member(area, **drawn(rng, 0.25, 0.35)) for area in areas]
            fast = joint.merge_flow(members)
            left += fast is None
            if fast is not None:
                worst = max(worst, apart(fast, joint.flow(members), members))
    assert worst < 1e-5
    assert left < 30
