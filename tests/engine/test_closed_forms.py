"""Areas and volumes against closed forms to a part in 10^9, and the adjustment against a solver of another hand."""

import math

import numpy as np
import pytest
from scipy.optimize import lsq_linear
from scipy.special import ellipe

from waveflow.engine.port import AreaCurve, Station, net_area, section
from waveflow.engine.reconcile import adjust

TIGHT = 1e-9


@pytest.mark.parametrize(("w", "h", "r"), [(0.033, 0.029, 0.009), (0.05, 0.02, 0.0), (0.03, 0.03, 0.015)])
def test_rounded_rectangle(w, h, r):
    """A cross of two rectangles and four quarter circles."""
    area = w * (h - 2 * r) + 2 * r * (w - 2 * r) + math.pi * r * r
    perimeter = 2 * (w - 2 * r) + 2 * (h - 2 * r) + 2 * math.pi * r
    assert section("rounded rectangle", w, h, r) == pytest.approx((area, perimeter), rel=TIGHT)


@pytest.mark.parametrize(("w", "h"), [(0.035, 0.035), (0.036, 0.034), (0.0358, 0.0338)])
def test_ellipse(w, h):
    """Area pi a b; perimeter by the complete elliptic integral, for the axis ratios of a port's bowl."""
    a, b = max(w, h) / 2, min(w, h) / 2
    assert section("ellipse", w, h) == pytest.approx((math.pi * a * b, 4 * a * ellipe(1 - (b / a) ** 2)), rel=TIGHT)


def curve(breaks, pieces):
    rows = np.array(pieces, float)
    wall = np.tile([0.1, 0.0, 0.0, 0.0], (len(rows), 1))
    return AreaCurve(np.array(breaks, float), rows, wall, np.array(breaks[1:-1], float))


@pytest.mark.parametrize(("r0", "r1", "h"), [(0.016, 0.019, 0.08), (0.02, 0.01, 0.03)])
def test_frustum(r0, r1, h):
    """pi h (r0^2 + r0 r1 + r1^2) / 3: area goes with the square of a radius that is straight along the axis."""
    k = (r1 - r0) / h
    cone = curve([0, h], [[math.pi * r0**2, 2 * math.pi * r0 * k, math.pi * k**2, 0]])
    exact = math.pi * h * (r0**2 + r0 * r1 + r1**2) / 3
    assert cone.volume() == pytest.approx(exact, rel=TIGHT)
    # by round stations at even distances the smooth curve's volume is exact: slopes inside cancel, those at the ends are
    # three-point ones, exact for a square law; at uneven distances it comes to it fast
    even, uneven = np.linspace(0, h, 6), h * np.linspace(0, 1, 6) ** 1.3
    rows = [[Station(float(at), "round", 2 * (r0 + k * at)) for at in x] for x in (even, uneven)]
    assert AreaCurve.from_stations(rows[0]).volume() == pytest.approx(exact, rel=TIGHT)
    assert AreaCurve.from_stations(rows[1]).volume() == pytest.approx(exact, rel=1e-3)


def test_sphere_ended_bowl():
    """A bowl: a cylinder of the sphere's radius closed by a half sphere, cut off where a valve of 0.86 of it stands."""
    r, straight = 0.018, 0.012
    rim = r * math.sqrt(1 - 0.86**2)  # height over the sphere's middle at which the section is 0.86 of the diameter
    bowl = curve([0, straight, straight + rim],
                 [[math.pi * r**2, 0, 0, 0], [math.pi * r**2, 0, -math.pi, 0]])  # fmt: skip
    zone = math.pi * rim * (r**2 - rim**2 / 3)
    assert bowl.volume() == pytest.approx(math.pi * r**2 * straight + zone, rel=TIGHT)
    assert bowl.area_at(straight + rim, before=True) == pytest.approx(math.pi * (0.86 * r) ** 2, rel=TIGHT)
    rows = [Station(float(x), "round", 2 * math.sqrt(r**2 - x**2)) for x in np.linspace(0, rim, 5)]
    assert AreaCurve.from_stations(rows).volume() == pytest.approx(zone, rel=TIGHT)
    assert bowl.mean_area(straight, straight + rim) == pytest.approx(zone / rim, rel=TIGHT)


def test_two_oval_branches_with_stems():
    stem = math.pi / 4 * 0.006**2
    pair = Station(0.07, "ellipse", 0.0278, 0.0286, branches=2, blocked_area=stem)
    assert net_area(pair) == pytest.approx(2 * (math.pi * 0.0139 * 0.0143 - stem), rel=TIGHT)


def test_weighted_least_squares_against_another_solver_and_the_normal_equations():
    """Corrections as scipy's bounded solver finds them (bounds far away), doubts by the cofactor matrix of the normal
    equations: Qvv = P^-1 - A (A' P A)^-1 A' (W. Baarda, A testing procedure for use in geodetic networks, 1968)."""
    random = np.random.default_rng(11)
    design, observed, error = random.normal(size=(9, 4)), random.normal(size=9), random.uniform(0.2, 3.0, 9)
    made = adjust(design, observed, error)
    other = lsq_linear(design / error[:, None], observed / error, bounds=(-1e6, 1e6), tol=1e-14, method="bvls")
    assert made.correction == pytest.approx(design @ other.x - observed, abs=1e-9)
    assert made.squares == pytest.approx(2 * other.cost, rel=1e-9)
    cofactor = np.diag(error**2) - design @ np.linalg.inv(design.T @ np.diag(error**-2) @ design) @ design.T
    assert made.doubt == pytest.approx(np.abs(made.correction) / np.sqrt(np.diag(cofactor)), rel=1e-7)


def test_a_triangle_of_angles_shares_its_misclosure_by_the_squares_of_its_errors():
    """The oldest worked example there is: three angles that must add up to 180 degrees; each takes the misclosure by the
    square of its own error (condition adjustment, any textbook of surveying)."""
    readings, error = np.array([61.002, 58.994, 60.010]), np.array([0.002, 0.004, 0.002])
    design = np.array([[1.0, 0.0], [0.0, 1.0], [-1.0, -1.0]])
    made = adjust(design, readings - np.array([0.0, 0.0, 180.0]), error)
    assert made.correction == pytest.approx(-0.006 * error**2 / (error**2).sum(), abs=1e-12)
    assert made.correction == pytest.approx([-0.001, -0.004, -0.001], abs=1e-9)
