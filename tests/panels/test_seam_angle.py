"""The angle between two sheets along their seam: plates folded by a known angle, tanks whose walls stand square."""

from __future__ import annotations

import math
from types import SimpleNamespace

import numpy as np
import pytest

from panels.seam_angle import laps_found, seam_angle
from panels.seams import Seam
from tests.panels.sewn import sewn


def hinge(degrees, steps=12):
    """Two plates 40 wide, the second turned down by that much along a seam 120 long; a sliver beside every third edge
    of it, its normal anywhere."""
    x = np.linspace(0, 120, steps + 1)
    turn = math.radians(degrees)
    zero = 0 * x
    rows = [
        np.column_stack([x, zero, zero]),
        np.column_stack([x, zero - 40, zero]),
        np.column_stack([x, zero + 40 * math.cos(turn), zero - 40 * math.sin(turn)]),
    ]
    n, k = len(x), np.arange(steps)
    flat = np.vstack([np.c_[n + k, n + k + 1, k + 1], np.c_[n + k, k + 1, k]])
    turned = np.vstack([np.c_[k, k + 1, 2 * n + k + 1], np.c_[k, 2 * n + k + 1, 2 * n + k]])
    third = k[::3]
    slivers = np.column_stack([(x[third] + x[third + 1]) / 2, 0 * third, 0 * third + 1e-4])
    faces = np.vstack([flat, turned, np.c_[third, third + 1, 3 * n + np.arange(len(third))]])
    piece = np.r_[np.zeros(len(flat), int), np.ones(len(turned) + len(third), int)]
    outer = np.vstack([*rows, slivers])
    body = SimpleNamespace(
        outer=outer, faces=faces, faces_of=lambda name: faces[piece == ["floor right", "skin right"].index(name)]
    )
    return body, Seam("AR", ("floor right", "skin right"), k.tolist() + [steps], 120.0)


@pytest.mark.parametrize("degrees", [0.0, 12.0, 29.0, 31.0, 90.0, 150.0])
def test_plates_turned_by_a_known_angle(degrees):
    body, seam = hinge(degrees)
    angle = seam_angle(body, seam)
    assert angle.least == pytest.approx(degrees, abs=0.01)
    assert angle.most == pytest.approx(degrees, abs=0.01)
    assert angle.beyond == pytest.approx(120.0 if degrees > 30 else 0.0)
    made = SimpleNamespace(body=body, seams=(seam,))
    told = laps_found(made, lambda one, other: "floor right")
    assert len(told) == (degrees > 30)
    for found in told:
        assert found.strength == "look"
        assert found.found == f"{degrees:.0f}° out of one plane, all along its 120.0 mm"
        assert "floor right is to lap skin right along seam AR, but" in found.says
        assert 'joint = "fold"' in found.remedy
        assert 'joint = "butt"' in found.remedy
    assert laps_found(made, lambda one, other: "") == ()


def test_floor_and_leg_of_a_tunnel_meet_square():
    """A level floor, an upright leg: 90 degrees all along; the twin on the left is told with it."""
    made = sewn("vault", "widest line")
    both = {"floor", "tunnel"}

    def lapped(one, other):
        return (one if "floor" in one else other) if {one.split()[0], other.split()[0]} == both else ""

    (found,) = laps_found(made, lapped)
    assert found.found.startswith("90° out of one plane, all along its 400.0 mm")
    assert "along its twin on the other side" in found.says
    assert found.says.startswith("floor right is to lap tunnel right")


@pytest.mark.parametrize(
    "tank", [("saddle", "crown, shoulders and sides"), ("barrel", "widest line"), ("tube", "halves")]
)
def test_skin_that_runs_on_into_skin_laps(tank):
    """Pieces parted along a smooth surface lie in one plane there, but for facets and a soft style line."""
    made = sewn(*tank)

    def skins(one, other):
        return one if {one.split()[0], other.split()[0]} <= {"crown", "shoulder", "side", "skin", "top"} else ""

    seams = [seam for seam in made.seams if skins(*seam.pieces)]
    assert seams
    assert laps_found(made, skins) == ()
    assert all(seam_angle(made.body, seam).least < 5 for seam in seams)
