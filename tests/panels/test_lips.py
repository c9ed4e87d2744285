"""Lips turned along edges: sizes by the handbook's sum, strain by closed forms, and folded back.

Closed forms: a flange on a disc of radius R, turned 90 degrees, keeps at its free edge the length of the mould line,
so its natural strain is ln((R - set-in) / (R + growth)); growth is width - deduction - set-in (geometry).
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
import shapely

from panels.bend import bend_deduction
from panels.body import build_body
from panels.choose_k import KFactor
from panels.curves import curve_through
from panels.errors import LipError
from panels.fold import FoldLine, fold_flat
from panels.lip_told import lip_folds, lip_notes
from panels.lips import TurnedEdge, lay_lips, least_lip, with_lips
from panels.make_blanks import make_blanks
from panels.patterns import Division, TunnelPattern
from panels.seams import seams_of
from panels.turned import turned_edge
from tests.panels import sewn
from tests.panels.test_make_blanks import rigid

K = KFactor(0.42, "a test")
SHEET = {"thickness": 1.6, "inside_radius": 3.0, "k_factor": K}


def turned(line, letter="A", width=14.0, turn=90.0, set_in=0.0):
    """An edge of a flat plate in the plane z = 0, its lip hanging down."""
    line = np.asarray(line, dtype=float)
    n = len(line)
    mould = np.column_stack([line, np.zeros(n)])
    return TurnedEdge(letter, width, line, np.full(n, turn), np.full(n, set_in), mould, np.tile([0, 0, -1.0], (n, 1)))


def plate(corners, **how):
    ring = np.array(corners, dtype=float)
    edges = [turned([ring[k], ring[(k + 1) % len(ring)]], chr(65 + k), **how) for k in range(len(ring))]
    return ring, edges


def fold_lines(folds):
    return [FoldLine(tuple(f.start), tuple(f.end), f.angle, f.inside_radius, "up" if f.up else "down") for f in folds]


@pytest.mark.parametrize("turn", [60.0, 90.0, 120.0])
def test_a_lip_adds_its_width_less_the_deduction(turn):
    """The flat grows by width - bend deduction (Machinery's Handbook's sum of outside legs less deduction)."""
    ring, edges = plate([[0, 0], [200, 0], [200, 120], [0, 120]], turn=turn)
    lips, _ = lay_lips(ring, edges, **SHEET)
    bounds = with_lips(shapely.Polygon(ring), lips).bounds
    grown = 14.0 - bend_deduction(1.6, 3.0, turn, 0.42)
    assert bounds == pytest.approx((-grown, -grown, 200 + grown, 120 + grown), abs=0.01)


def test_a_plate_with_four_lips_folds_to_a_tray_of_its_outside_sizes():
    """Folded by ``panels.fold``, which knows nothing of lips, it is 200 x 120 x 14 mm outside."""
    ring, edges = plate([[0, 0], [200, 0], [200, 120], [0, 120]])
    lips, _ = lay_lips(ring, edges, **SHEET)
    net = with_lips(shapely.Polygon(ring), lips)
    sheet = fold_flat(net, fold_lines(lip_folds(lips, 3.0, K)), thickness=1.6, k_factor=0.42, base=(100, 60))
    outside = sheet.points(np.array(net.exterior.coords), 1.6)
    assert np.ptp(outside, axis=0) == pytest.approx([200, 120, 14.0], abs=0.02)


def test_lips_at_a_corner_leave_a_relief_where_the_bends_would_meet():
    ring, edges = plate([[0, 0], [200, 0], [200, 120], [0, 120]])
    lips, _ = lay_lips(ring, edges, **SHEET)
    net = with_lips(shapely.Polygon(ring), lips)
    meet = np.array([4.6, 4.6])  # where the two bends begin: radius and thickness in from both edges
    assert not net.contains(shapely.Point(meet))
    assert net.distance(shapely.Point(meet)) == pytest.approx(1.6, abs=0.1)  # a hole of twice the thickness


def test_a_corner_that_turns_in_parts_its_two_lips():
    corners = [[0, 0], [200, 0], [200, 60], [120, 60], [120, 140], [0, 140]]
    ring, edges = plate(corners)
    lips, _ = lay_lips(ring, edges, **SHEET)
    net = with_lips(shapely.Polygon(ring), lips)
    sheet = fold_flat(net, fold_lines(lip_folds(lips, 3.0, K)), thickness=1.6, k_factor=0.42, base=(60, 30))
    outside = sheet.points(np.array(net.exterior.coords), 1.6)
    assert outside[:, 2].min() == pytest.approx(1.6 - 14.0, abs=0.02)
    assert np.ptp(outside[:, :2], axis=0) == pytest.approx([200, 140], abs=0.02)


@pytest.mark.parametrize("radius", [40.0, 80.0, 200.0])
@pytest.mark.parametrize("hollow", [False, True])
def test_strain_on_a_round_edge(radius, hollow):
    """A convex edge shrinks its lip, a hollow one stretches it, by the closed form at the head of this file."""
    angle = np.linspace(0, math.pi / 2, 181)
    arc = radius * np.column_stack([np.cos(angle), np.sin(angle)])
    set_in, width = 0.8, 14.0
    growth = width - bend_deduction(1.6, 3.0, 90, 0.42) - set_in
    if hollow:
        far = 2 * radius + 50
        ring = np.vstack([arc[::-1], [[far, 0], [far, far], [0, far]][0:3]])
        edge, sign = turned(arc[::-1], set_in=set_in), -1
    else:
        ring, edge, sign = np.vstack([[0, 0], arc]), turned(arc, set_in=set_in), 1
    mould = np.column_stack([edge.flat * (radius - sign * set_in) / radius, np.zeros(len(arc))])
    (lip,), _ = lay_lips(ring, [replace(edge, mould=mould)], **SHEET)
    assert lip.strain == pytest.approx(math.log((radius - sign * set_in) / (radius + sign * growth)), abs=2e-4)
    assert lip.radius == pytest.approx(radius, rel=1e-3)
    said = lip_notes([lip], 1.6, 3.0)[0]
    assert ("stretches" if hollow else "shrinks") in said


def test_notches_close_what_the_free_edge_is_too_long():
    """All V notches of a quarter disc together take what the free edge must lose."""
    angle = np.linspace(0, math.pi / 2, 181)
    arc = 60 * np.column_stack([np.cos(angle), np.sin(angle)])
    (lip,), _ = lay_lips(np.vstack([[0, 0], arc]), [turned(arc)], **SHEET)
    words = lip_notes([lip], 1.6, 3.0)[0].split("V notches every ")[1]
    pitch, wide = float(words.split(" mm")[0]), float(words.split("there, ")[1].split(" mm")[0])
    growth = 14.0 - bend_deduction(1.6, 3.0, 90, 0.42)
    lost = math.pi / 2 * growth  # free edge in the flat less the edge itself
    assert wide * (math.pi / 2 * (60 + growth) / pitch) == pytest.approx(lost, rel=0.05)
    assert pitch**2 / 8 / 60 < 0.55  # a straight fold from notch to notch strays that far from the arc


@pytest.mark.parametrize(
    ("how", "said"),
    [
        ({"width": 4.0}, "its bend alone takes"),
        ({"turn": 170.0}, "would be turned"),
        ({"turn": 5.0}, "would be turned"),
    ],
)
def test_what_cannot_be_turned_says_why(how, said):
    ring, edges = plate([[0, 0], [200, 0], [200, 120], [0, 120]], **how)
    with pytest.raises(LipError, match=said):
        lay_lips(ring, edges, **SHEET)


def test_a_curve_tighter_than_the_lip_is_refused():
    angle = np.linspace(0, math.pi / 2, 91)
    hollow = 8 * np.column_stack([np.cos(angle), np.sin(angle)])[::-1]
    with pytest.raises(LipError, match="more tightly"):
        lay_lips(np.vstack([hollow, [[60, 0], [60, 60], [0, 60]]]), [turned(hollow)], **SHEET)


def test_a_narrow_lip_says_what_can_be_held():
    ring, edges = plate([[0, 0], [200, 0], [200, 120], [0, 120]], width=7.0)
    assert f"narrower than {least_lip(1.6, 3.0):.1f} mm" in lip_notes(lay_lips(ring, edges, **SHEET)[0], 1.6, 3.0)[0]


def lipped_ends_and_legs(kind, piece, meets):
    if not meets:
        return "free", 0.0
    if piece.endswith("end") and "tunnel" not in meets:
        return "fold", 12.0
    if piece.startswith("tunnel") and meets.startswith("floor"):
        return "fold", 14.0
    return "butt", 0.0


def made(patterns, scheme="widest line", step=10.0):
    body = build_body(patterns, Division(scheme), thickness=1.6, step_mm=step)
    found = seams_of(body)
    return found, {b.name: b for b in make_blanks(found, lipped_ends_and_legs, inside_radius=3.0, k_factor=K)}


def vaulted(front, rear, frame=None):
    """A long vault over a flat floor, its tunnel tapered and its frame line sloping."""
    tank = replace(sewn.vault(), tunnel=TunnelPattern(front, rear, 15, 10))
    if frame is None:
        return tank
    line = curve_through("frame", [[0, frame[0]], [400, frame[1]]], straight=True)
    return replace(tank, side=replace(tank.side, lines={**tank.side.lines, "frame": line}))


@pytest.mark.parametrize(
    ("front", "rear", "frame"), [(40, 40, None), (60, 36, None), (36, 60, (40, 62)), (50, 50, (60, 35))]
)
def test_a_flanged_tunnel_folds_back_onto_the_floor(front, rear, frame):
    """Folded with its fold lines, angles, radii and K, the blank's flange lies against the floor's inner face where
    the body has it: 0.2 mm and 0.5 degrees."""
    found, blanks = made(vaulted(front, rear, frame))
    body, blank = found.body, blanks["tunnel"]
    top = np.mean([[f.start, f.end] for f in blank.folds if f.up], axis=(0, 1))
    sheet = fold_flat(blank.net, fold_lines(blank.folds), thickness=1.6, k_factor=0.42, base=tuple(top))
    turn, shift = into_body(found, blank, sheet)
    checked = 0
    for edge in blank.edges:
        if edge.joint != "fold":
            continue
        seam = next(seam for seam in found.seams if seam.letter == edge.letter)
        piece = next(p for p in seam.pieces if p.startswith("tunnel"))
        meets = next(p for p in seam.pieces if p != piece)
        wanted = turned_edge(body, seam.chain, piece, meets, letter=edge.letter, width=14.0)
        free = wanted.mould + 14.0 * wanted.way
        line = free_edge(blank, edge.points)
        solid = sheet.points(line, blank.thickness) @ turn.T + shift  # the outside is drawn up
        at = np.argsort(free[:, 0])
        for k in (1, 2):
            assert np.abs(np.interp(solid[:, 0], free[at, 0], free[at, k]) - solid[:, k]).max() < 0.2
        normals = sheet.normals(line) @ turn.T
        assert np.degrees(np.arccos(np.clip(-normals[:, 2], -1, 1))).max() < 0.5  # the floor is level
        checked += len(line)
    assert checked > 40


def free_edge(blank, net_edge):
    """Points of the blank's own outline beyond a net edge, ends left out."""
    ring = np.array(shapely.segmentize(blank.net.exterior, 5.0).coords)[:-1]
    side = np.sign(net_edge[:, 1].mean())
    net = net_edge[np.argsort(net_edge[:, 0])]
    middle = (ring[:, 0] > net[0, 0] + 20) & (ring[:, 0] < net[-1, 0] - 20)
    return ring[middle & (side * ring[:, 1] > np.interp(ring[:, 0], net[:, 0], side * net[:, 1]) + 5)]


def into_body(found, blank, sheet):
    """Turn and shift that lay the folded tunnel into the body by the ends of its top and legs."""
    by_letter = {seam.letter: seam for seam in found.seams}
    flat, true = [], []
    for edge in blank.edges:
        if edge.joint == "fold":
            continue
        at = found.body.neutral[by_letter[edge.letter].chain]
        points = sewn.laid(edge, at, found.body)
        on_blank = np.array([blank.net.distance(shapely.Point(p)) < 0.009 for p in points])
        folds = [(np.array(f.start), np.array(f.end)) for f in blank.folds]
        off_bends = np.array([min(shapely.LineString(f).distance(shapely.Point(p)) for f in folds) > 8 for p in points])
        keep = on_blank & off_bends
        flat.append(points[keep])
        true.append(at[keep])
    folded, true = sheet.points(np.vstack(flat), blank.thickness / 2), np.vstack(true)
    turn, shift = rigid(folded, true)
    assert len(true) >= 16
    assert np.linalg.norm(folded @ turn.T + shift - true, axis=1).max() < 0.2
    return turn, shift


@pytest.mark.parametrize("name", ["vault", "saddle", "seed 3"])
def test_end_caps_with_lips_are_whole_and_say_what_they_ask(name):
    """A lip stands beyond the skin and floor edges and nowhere at the tunnel; every blank is one valid piece."""
    _, blanks = made(sewn.PATTERNS[name]())
    blank = blanks["rear end"]
    assert blank.net.is_valid
    assert blank.outline.is_valid
    lips = [edge for edge in blank.edges if edge.joint == "fold"]
    assert lips
    assert all(5 < edge.allowance < 12 for edge in lips)
    for edge in blank.edges:
        middle = shapely.LineString(edge.points).interpolate(0.5, normalized=True)
        on_edge = blank.net.exterior.distance(middle) < 0.05
        assert on_edge == (edge.joint != "fold")
    named = [note.split(": ")[0] for note in blank.notes if note.startswith("lip along edge")]
    for edge in lips:
        assert sum(edge.letter in words.replace(",", "").split() for words in named) == 1
    assert len(named) <= (len(lips) + 1) // 2 + 1  # left and right ask for the same, and are told once


def test_the_left_half_of_a_lipped_cap_mirrors_the_right():
    _, blanks = made(sewn.PATTERNS["vault"]())
    net = blanks["rear end"].net
    mirrored = shapely.transform(net, lambda p: p * [1, -1])
    assert net.symmetric_difference(mirrored).area < 0.002 * net.area


def test_a_lip_never_makes_a_tank_hold_less():
    """Lips lie inside the skin and are not counted: the body is the same."""
    plain = build_body(sewn.PATTERNS["vault"](), Division("widest line"), thickness=1.6, step_mm=10.0)
    found, _ = made(sewn.PATTERNS["vault"]())
    assert found.body.capacity_mm3 == plain.capacity_mm3
