"""Bends, entries and throttle plates against published coefficients (through the library `fluids`) and plain geometry."""

import numpy as np
import pytest
from case_texts import GOOD
from fluids.fittings import bend_rounded, entrance_distance, entrance_rounded, entrance_sharp

from waveflow.engine.build import build
from waveflow.engine.case import load_text
from waveflow.engine.losses import ENTRY_LOSS, Turn, bend_loss, loss_rows, plate_opening, rough_friction
from waveflow.engine.tract import exhaust_duct, intake_duct, tail_ducts
from waveflow.physics import layout as lay


def test_worked_value_of_a_bend():
    """`fluids` prints bend_rounded(Di=4.020, rc=4.0*5, angle=30, Re=1E5) = 0.11519070808085191 (Rennels & Hudson 2012)."""
    assert bend_rounded(Di=4.020, rc=4.0 * 5, angle=30, Re=1e5) == pytest.approx(0.11519070808085191, rel=1e-9)


@pytest.mark.parametrize(("radius", "diameter"), [(45e-3, 35e-3), (53e-3, 35e-3), (70e-3, 35e-3), (35e-3, 33e-3)])
def test_bends_of_three_sources(radius, diameter):
    """90 degree bends with their wall friction: Miller (1990) and Ito (1960) within 15 % of ours (Rennels & Hudson 2012)."""
    f = float(rough_friction(5e-6, diameter))
    ours = bend_loss(90.0, radius, diameter, 5e-6) + f * np.pi / 2 * radius / diameter
    for method in ("Miller", "Ito"):
        other = bend_rounded(Di=diameter, angle=90, bend_diameters=radius / diameter, Re=4e5, roughness=5e-6, method=method)
        assert ours == pytest.approx(other, rel=0.15)


def test_entries_are_those_of_one_handbook():
    """Crane TP-410 (2009): flush 0.5, projecting 0.78, rounded by 0.15 diameters or more 0.04."""
    assert ENTRY_LOSS["flanged"] == entrance_sharp("Crane")
    assert ENTRY_LOSS["plain"] == entrance_distance(0.05, t=0.001, method="Crane")
    assert ENTRY_LOSS["bellmouth"] == entrance_rounded(0.05, 0.15 * 0.05, method="Crane")


@pytest.mark.parametrize("shaft", [0.0, 0.1, 0.2])
@pytest.mark.parametrize(("angle", "shut"), [(8.0, 5.0), (25.0, 5.0), (50.0, 10.0), (80.0, 7.0), (88.0, 0.0), (90.0, 7.0)])
def test_throttle_plate_covers_what_a_drawing_shows(angle, shut, shaft):
    """Share of points of a fine raster of the bore that neither plate nor shaft hides: 0.05 % of the bore."""
    x = (np.arange(3000) + 0.5) / 1500.0 - 1.0
    across, along = np.meshgrid(x, x)
    bore = across**2 + along**2 <= 1.0
    short = np.cos(np.radians(angle)) / np.cos(np.radians(shut))
    hidden = (across**2 * short**2 + along**2 <= short**2) | (np.abs(along) <= shaft)
    assert plate_opening(angle, shut, shaft) == pytest.approx((bore & ~hidden).sum() / bore.sum(), abs=5e-4)


def test_a_shut_plate_leaves_nothing_and_a_flat_one_all():
    assert plate_opening(7.0, 7.0) == pytest.approx(0.0, abs=1e-12)
    assert plate_opening(90.0, 7.0) == pytest.approx(1.0, abs=1e-12)
    with pytest.raises(ValueError, match="shut angle"):
        plate_opening(5.0, 7.0)


def test_a_bend_costs_its_coefficient_however_the_cells_fall():
    turns = (Turn(0.013, 0.081, 0.3), Turn(0.05, 0.2, 0.1))
    for cells in (1, 3, 17, 200):
        faces = np.linspace(0.0, 0.2, cells + 1)
        assert 2.0 * (loss_rows(turns, faces) * np.diff(faces)).sum() == pytest.approx(0.4, rel=1e-12)


BENT = GOOD.replace(
    'entry = "bellmouth"', 'entry = "bellmouth"\nbends = [{angle = "60 deg", radius = "50 mm", at = "100 mm"}]'
).replace(
    'primary_diameter = "35 mm"',
    'primary_diameter = "35 mm"\nprimary_bends = [{angle = "90 deg", radius = "60 mm"}]\nmerge_angle = "20 deg"\n'
    'tail_bends = [{angle = "45 deg", radius = "120 mm"}, {angle = "45 deg", radius = "120 mm", at = "950 mm"}]',
)


def test_bends_of_a_case_reach_the_cells():
    """Sum of K = 2 LOSS dx over all cells of the model: every bend once, whatever steps and pieces lie in between."""
    case = load_text(BENT)
    net = build(case).net
    g = net.geometry
    found = 2.0 * (g[lay.LOSS] * g[lay.LENGTH])[g[lay.VOLUME_INV] > 0.0].sum()
    wanted = 0.0
    each = [duct for k in (0, 1) for duct in (intake_duct(case), exhaust_duct(case, k))]
    for duct in (*each, *tail_ducts(case.exhaust.header)):
        wanted += sum(turn.k for turn in duct.turns)
    assert len(intake_duct(case).turns) == 1 and found == pytest.approx(wanted, rel=1e-9)
    # the bend in the tail that says nothing of its place is spread over the tail without the silencer's share
    spread = bend_loss(45.0, 0.12, 0.045, case.exhaust.header.roughness)
    silent = case.exhaust.header.silencer_length / case.exhaust.header.tail_length
    in_the_tail = sum(turn.k for duct in tail_ducts(case.exhaust.header) for turn in duct.turns)
    assert in_the_tail == pytest.approx(spread * (2.0 - silent), rel=1e-6)
    assert sorted(set(net.member["turn"].round(9))) == [round(float(np.cos(np.radians(15.0))), 9), 1.0]


def test_a_throttle_by_angle_is_a_throttle_by_area():
    case = load_text(GOOD.replace('diameter = "44 mm"', 'diameter = "44 mm"\nplate_angle = "40 deg"\nshaft_diameter = "8 mm"'))
    share = plate_opening(40.0, 7.0, 8.0 / 44.0)
    same = load_text(GOOD.replace('diameter = "44 mm"', f'diameter = "44 mm"\nopening = {share!r}'))
    assert case.intake.throttle.open_share == pytest.approx(share, rel=1e-9)
    assert build(case).net.orifice["area_ab"][0] == pytest.approx(build(same).net.orifice["area_ab"][0], rel=1e-9)


