"""End caps as two mirrored halves: nothing of the tank changes but that a seam runs down the middle of the cap."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from panels.body import build_body
from panels.choose_k import KFactor
from panels.cutting_mesh import area_vectors, boundary_edges
from panels.joints import joints_of
from panels.make_blanks import make_blanks, mirrored
from panels.patterns import Division, NeckRelief
from panels.seams import seams_of
from tests.panels import bodies
from tests.panels.sewn import closed_rear
from tests.panels.test_joints import check as check_joints

TANKS = {
    "saddle": bodies.saddle_tank,
    "seed 7": lambda: bodies.saddle_tank(7),
    "closed rear": closed_rear,
    "barrel": lambda: bodies.elliptic_cylinder(300, 200, 160),
}


def plain(kind, piece, meets):
    return ("butt" if meets else "free"), 0.0


def made(tank, scheme="crown and sides", halved=("front", "rear"), at_edge=plain):
    body = build_body(tank, Division(scheme, halved_ends=halved), thickness=1.6, step_mm=14.0)
    sewn = seams_of(body)
    blanks = make_blanks(sewn, at_edge, inside_radius=3.0, k_factor=KFactor(0.42, "a test"))
    return sewn, {blank.name: blank for blank in blanks}


@pytest.mark.parametrize("name", TANKS)
def test_halving_moves_no_metal(name):
    """Capacity and each cap's area as before; the body closed; both halves true mirror images; one seam more a cap."""
    (whole, one), (parted, two) = made(TANKS[name](), halved=()), made(TANKS[name]())
    assert parted.body.capacity_mm3 == pytest.approx(whole.body.capacity_mm3, rel=1e-9)
    assert len(boundary_edges(parted.body.faces)) == 0
    caps = [piece for piece in whole.body.pieces if piece in ("front end", "rear end")]
    assert caps
    for cap in caps:
        right, left = two[f"{cap} right"], two[f"{cap} left"]
        assert cap not in two
        plane = np.linalg.norm(area_vectors(whole.body.neutral, whole.body.faces_of(cap)).sum(axis=0))
        assert right.kind == one[cap].kind == "flat"
        # The body's notch for the tunnel is sharp, the cap's round: (1 - pi / 4) 3.8^2 stands in each corner.
        gussets = one[cap].net.area - plane
        assert gussets == pytest.approx(0, abs=1e-5 * plane) or gussets == pytest.approx(6.2, abs=0.5)
        assert right.net.area + left.net.area == pytest.approx(one[cap].net.area, rel=1e-5)
        assert left.mirrors == right.name
        assert left.outline.equals_exact(mirrored(right, left.name).outline, 1e-9)
        (middle,) = [edge for edge in right.edges if edge.meets == left.name]
        seam = next(s for s in parted.seams if s.letter == middle.letter)
        assert np.abs(parted.body.outer[seam.chain, 1]).max() == 0.0
        around = sum(edge.length_blank for edge in right.edges + left.edges)
        before = sum(edge.length_blank for edge in one[cap].edges)
        assert around - 2 * middle.length_blank == pytest.approx(before, abs=1e-6)
    check_joints(parted.seams, two.values(), joints_of(parted.seams, list(two.values())))


def test_only_the_end_asked_for_is_halved():
    _, flat = made(TANKS["barrel"](), "halves", halved=("rear",))
    assert "front end" in flat
    assert {"rear end right", "rear end left"} <= set(flat)


def test_a_half_may_have_its_lip():
    """A lip against the skins, none along the middle seam: both halves' lips are as wide."""

    def lips(kind, piece, meets):
        if piece.startswith("rear end") and meets.startswith("side"):
            return "fold", 9.0
        return plain(kind, piece, meets)

    _, flat = made(TANKS["saddle"](), halved=("rear",), at_edge=lips)
    right, left = flat["rear end right"], flat["rear end left"]
    assert right.outline.area == pytest.approx(left.outline.area, rel=1e-9)
    assert right.outline.area > right.net.area - 1e-6
    assert any("lip along edge" in note for note in right.notes)
    assert {edge.joint for edge in right.edges if edge.meets == left.name} == {"butt"}


def test_a_cap_that_a_neck_has_parted_stays_as_it_is():
    """A neck relief parts the front: halving it changes nothing more."""
    tank = replace(bodies.elliptic_cylinder(300, 200, 160), neck=NeckRelief((5.0, 80.0), 0.0, 40.0))
    (_, one), (_, two) = made(tank, "halves", halved=()), made(tank, "halves", halved=("front",))
    assert set(one) == set(two)
