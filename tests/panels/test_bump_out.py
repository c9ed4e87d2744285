"""Bump-outs: closed, as large as a boolean of general solids, exact to unroll, and refused where they cannot be."""

from __future__ import annotations

import re
from dataclasses import replace

import numpy as np
import pytest
import trimesh
from shapely.geometry import Polygon

from panels.body import build_body
from panels.bump_found import bump_out_volume, bump_outs_found
from panels.bump_out import with_rims
from panels.choose_k import KFactor
from panels.cutting_mesh import boundary_edges
from panels.errors import TrimError
from panels.fit import clearance_gap
from panels.fold_tunnel import folded_tunnel
from panels.make_blanks import make_blanks
from panels.patterns import BumpOut, Clearance, NeckRelief
from panels.seams import seams_of
from tests.panels import bodies
from tests.panels.sewn import at_edge
from tests.panels.sewn import kinked as sewn_kinked


def square(x0, x1, s0, s1):
    return np.array([[x0, s0], [x1, s0], [x1, s1], [x0, s1]], dtype=float)


CASES = {
    "leg": (BumpOut("coil", "leg", square(150, 230, 22, 46), 20),),
    "leg, left only, out": (BumpOut("coil", "leg", square(150, 230, 22, 46), -5, hand="left"),),
    "side, right only": (BumpOut("carburettor", "side", square(250, 340, 30, 70), 15, hand="right"),),
    "side, out": (BumpOut("carburettor", "side", square(250, 340, 40, 70), -8),),
    "top": (BumpOut("coil", "top", square(200, 280, -20, 20), 18),),
    "floor": (BumpOut("carburettor", "floor", square(200, 280, 55, 80), 14, corner_radius=6),),
    "three": (
        BumpOut("coil", "leg", square(150, 230, 22, 46), 20),
        BumpOut("carburettor", "side", square(250, 340, 40, 70), 10, hand="right"),
        BumpOut("strap", "top", square(300, 360, -18, 18), 8),
    ),
}


def tank(*bumps):
    return build_body(replace(bodies.saddle_tank(), bump_outs=bumps), thickness=1.6)


def closed(body):
    for surface in (body.outer, body.neutral, body.inner):
        mesh = trimesh.Trimesh(surface, body.faces, process=False)
        assert mesh.is_watertight
        assert mesh.is_winding_consistent


@pytest.mark.parametrize("case", CASES)
def test_body_stays_closed_and_counts_what_the_bump_out_takes(case):
    """Closed on all three surfaces; the fuel room told is the difference to the tank without it, within 0.5 %."""
    body = tank(*CASES[case])
    closed(body)
    lost = tank().capacity_mm3 - body.capacity_mm3
    told = sum(bump_out_volume(body, k) for k in range(len(CASES[case])))
    assert told == pytest.approx(lost, rel=5e-3)


def test_a_box_on_a_leg_takes_what_its_closed_form_says():
    """Outside: area with rounded corners, a b - (4 - pi) r2, times depth. Inside, grown by the sheet all round."""
    shape = bodies.box(400, 200, 150, bodies.TunnelPattern(40, 40, 15, 10))
    body = build_body(replace(shape, bump_outs=(BumpOut("coil", "leg", square(100, 180, 15, 45), 20),)), thickness=1.6)
    plain = build_body(shape, thickness=1.6)
    outside = (80 * 30 - (4 - np.pi) * 10**2) * 20
    inside = ((80 + 3.2) * (30 + 3.2) - (4 - np.pi) * 11.6**2) * 20
    volume = lambda b, surface: trimesh.Trimesh(surface, b.faces, process=False).volume  # noqa: E731
    assert volume(plain, plain.outer) - volume(body, body.outer) == pytest.approx(2 * outside, rel=2e-3)
    assert plain.capacity_mm3 - body.capacity_mm3 == pytest.approx(2 * inside, rel=3e-3)


@pytest.mark.parametrize("case", CASES)
def test_every_edge_is_paired_and_as_long_on_both_blanks(case):
    """Each edge of each piece lies in one seam; both blanks of a wall's seam agree to 1.5 % (the skin is formed)."""
    sewn = seams_of(tank(*CASES[case]))
    for name in sewn.body.pieces:
        own = sorted(map(tuple, np.sort(boundary_edges(sewn.body.faces_of(name)), axis=1).tolist()))
        mine = [np.column_stack([s.chain[:-1], s.chain[1:]]) for s in sewn.seams if name in s.pieces]
        assert sorted(map(tuple, np.sort(np.vstack(mine), axis=1).tolist())) == own
    blanks = make_blanks(sewn, at_edge, inside_radius=3, k_factor=KFactor(0.42, "a test"))
    made = {b.name for b in blanks}
    assert {n for n in sewn.body.pieces if "bump-out" in n} <= made
    for blank in blanks:
        if "wall" in blank.name and "bump-out" in blank.name:
            assert blank.kind == "rolled", blank.name
            assert blank.flat is None
            for edge in blank.edges:
                assert edge.length_blank == pytest.approx(edge.length_surface, rel=1e-4)
                mate = next(e for b in blanks for e in b.edges if e.letter == edge.letter and b.name != blank.name)
                assert mate.length_blank == pytest.approx(edge.length_blank, rel=0.015)


def test_the_folded_tunnel_is_opened_under_a_bump_out():
    """A leg's blank has one opening a side, as large as the rim at the middle of the metal."""
    sewn = seams_of(tank(*CASES["leg"]))
    blanks = {b.name: b for b in make_blanks(sewn, at_edge, inside_radius=3, k_factor=KFactor(0.42, "a test"))}
    assert [len(blanks["tunnel"].net.interiors)] == [2]
    rims = [s for s in sewn.seams if s.letter.endswith("R") and "tunnel right" in s.pieces and "bump" in str(s)]
    around = sum(s.length for s in rims)
    assert blanks["tunnel"].net.interiors[0].length == pytest.approx(around, abs=0.1)


def test_one_hand_leaves_the_other_as_it_was():
    """A bump-out on the right: the left side's blank is its own, without a hole, and no mirror image."""
    sewn = seams_of(tank(*CASES["side, right only"]))
    blanks = {b.name: b for b in make_blanks(sewn, at_edge, inside_radius=3, k_factor=KFactor(0.42, "a test"))}
    assert len(blanks["side right"].net.interiors) == 1
    assert len(blanks["side left"].net.interiors) == 0
    assert not blanks["side left"].mirrors


def test_it_says_whether_it_clears_what_it_is_for():
    """A ball 4 mm off the bare side: a deep bump-out clears it, a shallow one is told by how much it does not."""
    plain = tank()
    out = plain.outer[plain.outer[:, 1] > 0]
    near = out[np.argmin(np.linalg.norm(out[:, [0, 2]] - [295, 55], axis=1))]
    middle = (295, float(near[1]) + 9, 55)
    ball = Clearance("carburettor", middle, middle, 5, 12, both_sides=False)
    for depth, strength in ((14, "note"), (3, "look")):
        bump = BumpOut("relief", "side", square(250, 340, 30, 78), depth, hand="right", clears="carburettor")
        body = build_body(replace(bodies.saddle_tank(), bump_outs=(bump,), clearances=(ball,)), thickness=1.6)
        (found,) = bump_outs_found(body)
        assert found.strength == strength, found


def test_the_gap_without_it_is_that_of_the_plain_tank():
    """A bar beside the skin, before a bump-out into the tank: pressed flat again, the patch is 6 mm off the bar, as the
    tank without it is, and not run into by the bar's radius."""
    plain = tank()
    out = plain.outer[plain.outer[:, 1] > 0]
    near = out[np.argmin(np.linalg.norm(out[:, [0, 2]] - [295, 55], axis=1))]
    for sides in (True, False):
        bar = Clearance("coil", (280, near[1] + 14, 55), (310, near[1] + 14, 55), 8, 3, both_sides=sides)
        bare, _ = clearance_gap(plain, bar)
        assert 4 < bare < 8
        bump = BumpOut("relief", "side", square(250, 340, 30, 78), 14, hand="both", clears="coil")
        body = build_body(replace(bodies.saddle_tank(), bump_outs=(bump,), clearances=(bar,)), thickness=1.6)
        (found,) = bump_outs_found(body)
        (told,) = re.findall(r"([\d.]+) mm from it without", found.says)
        assert float(told) == pytest.approx(bare, abs=0.15)


REFUSED = {
    "edge": (BumpOut("a", "leg", square(150, 230, 22, 64), 10), "edge, a seam or a fold"),
    "seam": (BumpOut("a", "side", square(250, 340, 60, 160), 10), "edge, a seam or a fold"),
    "through": (BumpOut("a", "leg", square(150, 230, 22, 46), 80), "comes through"),
    "nowhere": (BumpOut("a", "leg", square(150, 230, 322, 346), 10), "does not lie on a leg"),
    "frame": (BumpOut("a", "leg", square(150, 230, 22, 46), -15), "too far into the tunnel"),
    "thin": (BumpOut("a", "leg", square(150, 230, 22, 30), 10), "too narrow"),
    "crossed": (BumpOut("a", "leg", square(150, 230, 22, 46)[[0, 2, 1, 3]], 10), "crosses itself"),
}


@pytest.mark.parametrize("case", REFUSED)
def test_what_cannot_be_says_so_once(case):
    """One message with the place, what was found and one thing to try."""
    bump, says = REFUSED[case]
    with pytest.raises(TrimError, match=says) as told:
        tank(bump)
    assert str(told.value).count("hint: ") == 1


def kinked_tank(*bumps):
    """A tank whose frame line crests at x = 250: its tunnel is folded across there, with a pie cut in each leg."""
    return replace(sewn_kinked(), bump_outs=bumps)


BY_THE_KINK = {
    "leg": ("leg", (18, 42), "the pie cut in the leg"),
    "top": ("top", (-18, 18), "the fold across the tunnel's top"),
}


@pytest.mark.parametrize("on", BY_THE_KINK)
@pytest.mark.parametrize(("far", "gap"), [(-30.0, 0.0), (5.0, 5.0)])
def test_over_a_kink_or_too_near_it_none_is_made(on, far, gap):
    """A fold cannot run through a wall: decision 13 refuses it, with the distance and the least."""
    surface, (low, high), what = BY_THE_KINK[on]
    bump = BumpOut("coil", surface, square(250 + far, 320 + far, low, high), 8)
    with pytest.raises(TrimError, match=f"{what}, at the kink of the frame line") as told:
        build_body(kinked_tank(bump), thickness=1.6)
    assert f"found   {gap:.0f}." in str(told.value)
    assert "8 mm" in str(told.value)


@pytest.mark.parametrize("on", BY_THE_KINK)
def test_beside_a_kink_every_rim_is_open_in_the_folded_tunnel(on):
    """Well clear of the fold the same bump-out is made: one opening for each rim, and a flat face."""
    surface, (low, high), _ = BY_THE_KINK[on]
    bump = BumpOut("coil", surface, square(280, 340, low, high), 8)
    sewn = seams_of(build_body(kinked_tank(bump), thickness=1.6))
    blanks = {b.name: b for b in make_blanks(sewn, at_edge, inside_radius=3, k_factor=KFactor(0.42, "a test"))}
    assert len(blanks["tunnel"].net.interiors) == (2 if surface == "leg" else 1)
    assert {b.kind for b in blanks.values() if "face" in b.name} == {"flat"}
    grown = 0.8  # the rim is as drawn on the face away from the fuel; the blank has it in the middle of the sheet
    area = (60 + 2 * grown) * (high - low + 2 * grown) - (4 - np.pi) * (10 + grown) ** 2
    for ring in blanks["tunnel"].net.interiors:
        assert Polygon(ring).area == pytest.approx(area, rel=0.02)  # seen square, on a slope of a few degrees


def test_a_blank_whose_rims_do_not_close_is_not_let_out():
    """Half a rim: no opening can be cut, and a tunnel without one would be welded shut over its bump-out."""
    sewn = seams_of(tank(*CASES["leg"]))
    whole = folded_tunnel(sewn, at_edge, inside_radius=3, k_factor=KFactor(0.42, "a test"))[0][0]
    assert len(with_rims(whole).net.interiors) == 2
    half = tuple(edge for edge in whole.edges if edge.meets != "bump-out wall front right")
    with pytest.raises(TrimError, match="cannot be opened under bump-out"):
        with_rims(replace(whole, edges=half))


def test_two_that_meet_name_one_another():
    one = BumpOut("coil", "leg", square(150, 230, 22, 46), 8)
    two = BumpOut("strap", "leg", square(200, 280, 22, 46), 8)
    with pytest.raises(TrimError, match="The bump-out strap runs over the bump-out coil"):
        tank(one, two)
    with pytest.raises(TrimError, match="The bump-out strap comes too close to the bump-out coil"):
        tank(one, replace(two, outline=two.outline + [35.0, 0.0]))


def random_bumps(r):
    x, z = r.uniform(140, 200), r.uniform(16, 20)
    leg = BumpOut("one", "leg", square(x, x + r.uniform(30, 60), z, z + r.uniform(18, 24)), r.uniform(-8, 25), 8)
    x, turn = r.uniform(230, 260), r.uniform(0, 2 * np.pi) + np.linspace(0, 2 * np.pi, 8)[:-1]
    ring = [x + 40, 52] + np.column_stack([r.uniform(24, 34) * np.cos(turn), r.uniform(14, 18) * np.sin(turn)])
    return leg, BumpOut("two", "side", ring, r.uniform(-12, 14), 6, hand=str(r.choice(["right", "both"])))


@pytest.mark.parametrize("decade", range(10))
def test_a_hundred_random_tanks_with_kink_neck_and_bump_outs_are_closed(decade):
    """Watertight on all surfaces; capacity against manifold3d's reading of the inner mesh within 0.2 %."""
    import manifold3d

    for seed in range(10 * decade, 10 * decade + 10):
        r = np.random.default_rng(seed)
        drawn, (leg, side) = bodies.saddle_tank(seed), random_bumps(r)
        if seed % 2:
            frame = drawn.side.lines["frame"].points
            low, high = frame[0], frame[-1]
            x = leg.outline[:, 0].max() + r.uniform(10, 60)  # clear of the bump-out: over a kink it is refused
            middle = [x, np.interp(x, [low[0], high[0]], [low[1], high[1]]) + r.uniform(2, 7)]
            line = bodies.curve_through("frame", np.array([low, middle, high]), straight=True)
            drawn = replace(drawn, side=replace(drawn.side, lines={**drawn.side.lines, "frame": line}))
        neck = NeckRelief((float(r.uniform(-8, 0)), 40.0), float(r.uniform(15, 30)), float(r.uniform(22, 28)))
        drawn = replace(drawn, neck=neck if seed % 3 else None, bump_outs=(leg, side))
        body = build_body(drawn, thickness=1.2, step_mm=14.0)
        closed(body)
        solid = manifold3d.Manifold(manifold3d.Mesh(body.inner.astype(np.float32), body.faces.astype(np.uint32)))
        assert solid.volume() == pytest.approx(body.capacity_mm3, rel=2e-3), seed
