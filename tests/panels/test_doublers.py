"""Doublers: their sizes in closed form, where they are scribed, the room they need and which way to move them."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import shapely

from panels.body import build_body
from panels.choose_k import KFactor
from panels.doublers import doubler_blanks, fillet_length
from panels.fittings import Doubler, Fitting, place_fittings
from panels.fittings_found import fittings_found
from panels.make_blanks import make_blanks
from panels.seams import seams_of
from tests.panels import bodies
from tests.panels.sewn import at_edge, sewn

PLATE = Doubler(60.0, 30.0, 6.0, 2.0, hole=10.0)
ROUND = Doubler(40.0, 40.0, 20.0, 1.6)
#: A leg of the vault's tunnel is 60 mm high, flat, upright, 35 mm out; its floor lies at z = 0.
MOUNT = Fitting("mount", "tunnel", 200.0, 30.0, 10.0, doubler=PLATE)


def found(*fittings, radius=0.0):
    made = sewn("vault", "widest line")
    said = fittings_found(made, place_fittings(made.body, fittings), inside_radius=radius)
    return [f for f in said if f.pattern in {one.name for one in fittings}]


def test_sizes_are_those_of_the_plane_figures():
    """Area and edge of a rounded rectangle and of a disc, less the hole; the fillet runs round the outside only."""
    body = sewn("vault", "widest line").body
    plate, disc = doubler_blanks(body, place_fittings(body, [MOUNT, replace(MOUNT, name="lug", doubler=ROUND)]))
    area = 60 * 30 - (4 - np.pi) * 36 - np.pi * 25
    assert plate.outline.area == pytest.approx(area, rel=3e-3)
    around = 2 * (60 + 30) - 8 * 6 + 2 * np.pi * 6
    assert fillet_length([plate]) == pytest.approx(around, rel=1e-3)
    assert disc.outline.area == pytest.approx(np.pi * 400, rel=3e-3)
    assert fillet_length([plate, disc]) == pytest.approx(around + np.pi * 40, rel=2e-3)
    assert (plate.thickness, plate.kind, plate.hand) == (2.0, "flat", "right")
    assert (plate.outline.bounds, len(plate.outline.interiors)) == ((-30.0, -15.0, 30.0, 15.0), 1)
    assert [edge.meets for edge in plate.edges] == ["tunnel right"]


def test_names_tell_sides_and_peers_apart():
    """A pair has its sides, one alone has none, two of a name on one side are numbered."""
    body = sewn("vault", "widest line").body
    pair = [MOUNT, replace(MOUNT, hand="left")]
    lug = replace(MOUNT, name="lug")
    two = [replace(MOUNT, name="tab"), replace(MOUNT, name="tab", x=100.0)]
    off = replace(MOUNT, name="off", x=900.0)
    names = [blank.name for blank in doubler_blanks(body, place_fittings(body, [*pair, lug, *two, off]))]
    assert names == ["doubler mount right", "doubler mount left", "doubler lug", "doubler tab 1", "doubler tab 2"]


def test_outline_is_scribed_on_the_folded_leg():
    """On a flat leg the scribed edge is the plate's, its long way along the tank, as far up from the floor's edge
    as asked: 30 mm less the half thickness that the floor's middle lies under its outside."""
    made = make_blanks(
        sewn("vault", "widest line"),
        at_edge,
        inside_radius=3,
        k_factor=KFactor(0.42, "a test"),
        fittings=[MOUNT, replace(MOUNT, hand="left")],
    )
    tunnel = next(blank for blank in made if blank.name == "tunnel")
    scribed = [m for m in tunnel.marks if m.label == "mount doubler 60 x 30"]
    assert len(scribed) == 2
    for mark, side in zip(scribed, ("right", "left"), strict=True):
        ring = shapely.Polygon(mark.points)
        assert ring.area == pytest.approx(60 * 30 - (4 - np.pi) * 36, rel=1e-3)
        assert np.ptp(mark.points, axis=0) == pytest.approx([60, 30], abs=1e-6)
        edge = next(e for e in tunnel.edges if e.meets == f"floor {side}")
        line = shapely.LineString(edge.points)
        assert line.distance(ring.centroid) == pytest.approx(30 - 0.8, abs=0.01)
        assert tunnel.net.contains(ring)
        for fold in tunnel.folds:  # clear of both bends
            assert not shapely.Polygon(np.vstack([fold.tangents[0], fold.tangents[1][::-1]])).intersects(ring)


@pytest.mark.parametrize("hand", ["right", "left"])
def test_room_and_which_way_to_move(hand):
    """12 mm up a leg a plate 30 mm high runs 3 mm over the floor's edge: to be 5 mm clear it goes 8 mm up."""
    low = replace(MOUNT, across=12.0, hand=hand)
    (said,) = found(low)
    assert said.strength == "stop"
    assert said.found == "3.0 mm over it"
    assert "does not lie wholly on one piece" in said.says
    assert said.remedy.startswith("move it 8.1 mm up")  # the 0.1 keeps rounding on the right side
    assert found(replace(low, across=12.0 + 8.1)) == []


def test_near_a_fold_the_bend_counts_too():
    """40 mm up, 5 mm from the corner: enough for a sharp one, not with a bend of 3 mm inside radius, whose
    tangent lies that far down (90 degrees: r tan 45)."""
    high = replace(MOUNT, across=40.0)
    assert found(high) == []
    (said,) = found(high, radius=3.0)
    assert (said.strength, said.found) == ("look", "2.0 mm from it")
    assert said.remedy.startswith("move it 3.1 mm down")
    assert found(replace(high, across=40.0 - 3.1), radius=3.0) == []


def test_no_room_either_way_is_said():
    """A plate 54 mm high on a leg of 60 leaves 3 mm at each edge: wherever it goes, a smaller one."""
    (said,) = found(replace(MOUNT, doubler=Doubler(60.0, 54.0, 6.0, 2.0)))
    assert said.strength == "look"
    assert "smaller" in said.remedy


def test_rims_of_two_fittings_do_not_lie_over_one_another():
    near = replace(MOUNT, name="lug", x=250.0)
    (said,) = found(MOUNT, near)
    assert "lie over one another" in said.says
    assert found(MOUNT, replace(near, x=270.0)) == []


def test_a_flange_is_scribed_and_needs_its_room():
    """A filler's flange of 80 mm about a hole of 56: both rims scribed, and the flange keeps clear, not the hole."""
    made = sewn("vault", "widest line")
    bung = Fitting("bung", "bottom", 300.0, 67.5, 20.0, flange=30.0)
    blanks = make_blanks(made, at_edge, inside_radius=3, k_factor=KFactor(0.42, "a test"), fittings=[bung])
    floor = next(blank for blank in blanks if blank.name == "floor right")
    sizes = {m.label: np.ptp(m.points, axis=0) for m in floor.marks if m.kind == "fitting" and len(m.points) > 40}
    assert sizes["bung 20"] == pytest.approx([20, 20], abs=0.05)
    assert sizes["bung flange 30"] == pytest.approx([30, 30], abs=0.05)
    assert found(bung) == []  # 65 mm of floor, less 30, leaves 17.5 at both sides
    (said,) = found(replace(bung, across=70.5))
    assert said.found == "14.5 mm from it"
    assert said.remedy.startswith("move it 0.6 mm inwards")


def test_a_plate_on_a_curved_side_says_how_far_it_stands_off():
    """On the barrel's side the metal leaves the plane by x^2 / 2R: R = b^2 / a = 58.2 mm half way up."""
    body = sewn("barrel", "halves").body
    side = Fitting("lug", "side", 200.0, 80.0, doubler=Doubler(40.0, 20.0, 5.0, 1.6))
    (blank,) = doubler_blanks(body, place_fittings(body, [side]))
    radius = 80.0**2 / 110.0
    stands = radius - np.sqrt(radius**2 - 10.0**2)
    (note,) = [note for note in blank.notes if "curves" in note]
    assert float(note.split(", ")[1].split()[0]) == pytest.approx(stands, abs=0.12)


def test_a_half_round_top_has_no_fold_to_keep_off():
    """Where leg and top are one rolled sheet a plate lies over their tangent without a word, and is scribed whole."""
    saddle = bodies.saddle_tank()
    tank = replace(saddle, tunnel=replace(saddle.tunnel, top="round"))
    made = seams_of(build_body(tank, thickness=1.6, step_mm=10.0))
    body = made.body
    seam = next(s for s in made.seams if set(s.pieces) == {"tunnel right", "tunnel top"})
    line = body.outer[seam.chain]
    line = line[np.argsort(line[:, 0])]
    x, z = 250.0, float(np.interp(250.0, line[:, 0], line[:, 2]))
    for hand, up in (("right", 0.5), ("left", -0.5)):  # just on the top, and just on the leg
        mount = Fitting("mount", "tunnel", x, z + up, 8.0, hand, doubler=Doubler(30.0, 24.0, 5.0, 1.6))
        placed = place_fittings(body, [mount])
        assert placed[0].piece == ("tunnel top" if up > 0 else f"tunnel {hand}")
        assert (placed[0].at[1] > 0) == (hand == "right")
        assert not [f for f in fittings_found(made, placed, inside_radius=3.0) if f.pattern == "mount"]
