"""The tunnel's folds are round, and what meets their ends is notched to the round: closed forms on a box, and tunnels
folded back by rotation alone against the notches of their caps, laid into the tank by a rigid move."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest
import shapely

from panels.body import build_body
from panels.choose_k import KFactor
from panels.curves import curve_through
from panels.make_blanks import make_blanks
from panels.patterns import Division
from panels.seams import seams_of
from tests.panels import bodies
from tests.panels.sewn import at_edge, vault
from tests.panels.test_make_blanks import rigid
from tests.panels.test_round_top import rolled_back

THICKNESS = 1.6
#: Both edges of a seam, and the notch against the folded tunnel, mm.
LENGTH_MM, FIT_MM = 0.05, 0.1


def tank(seed=None, *, rake=None, round_rear=False, **tunnel):
    """A saddle tank with another tunnel, its rear end raked by so many mm or rounded in the side view."""
    made = bodies.saddle_tank(seed)
    side = made.side
    if rake is not None:
        top = side.top.points.copy()
        top[-1, 0] = side.bottom.points[-1, 0] + rake
        side = replace(side, top=curve_through("top", top), rear=curve_through("rear", [side.rear.points[0], top[-1]]))
    if round_rear:
        (x0, z0), (x1, z1) = side.rear.points[[0, -1]]
        points = [[x0, z0], [(x0 + x1) / 2 + 9, (z0 + z1) / 2], [x1, z1]]
        side = replace(side, rear=curve_through("rear", points))
    return replace(made, side=side, tunnel=replace(made.tunnel, **tunnel))


TANKS = {
    "vault": vault,
    "saddle": tank,
    "tapered": lambda: tank(backbone_rear=16.0),
    "widening": lambda: tank(3, backbone_rear=60.0),
    "raked": lambda: tank(rake=-60.0),
    "leaning out": lambda: tank(rake=25.0, backbone_rear=20.0),
    "rounded": lambda: tank(round_rear=True),
    "rounded, tapered": lambda: tank(11, round_rear=True, backbone_rear=18.0),
    "arch": lambda: tank(top="arch", arch_rise=12.0),
    "arch, tapered": lambda: tank(top="arch", arch_rise=20.0, backbone_rear=22.0),
    "arch, rounded": lambda: tank(round_rear=True, top="arch", arch_rise=8.0),
}
FLAT = [name for name in TANKS if not name.startswith("arch")]


@cache
def made(name, radius=3.0, scheme="crown and sides", thickness=THICKNESS):
    sewn = seams_of(build_body(TANKS[name](), Division(scheme), thickness=thickness, step_mm=8.0))
    k = KFactor(0.42, "a test")
    return sewn, {b.name: b for b in make_blanks(sewn, at_edge, inside_radius=radius, k_factor=k)}


def tunnel_edges(sewn, blanks, cap):
    """(edge of the cap, edge of the tunnel) by letter."""
    own = {edge.letter: edge for edge in blanks[cap].edges}
    return {e.letter: (own[e.letter], e) for e in blanks["tunnel"].edges if e.meets == cap}


@pytest.mark.parametrize("radius", [0.0, 1.0, 3.0, 8.0])
def test_a_square_box_is_notched_to_a_quarter_circle(radius):
    """The middle of the fold's metal: a circle of inside radius and half the metal about the fold's own axis. Straight
    and quarter circles in closed form; the corner of a square less a quarter disc, (1 - pi / 4) r^2, is left standing.
    """
    sewn, blanks = made("vault", radius, "widest line")
    cap, tunnel = blanks["rear end"], blanks["tunnel"]
    bend, half, top = radius + 0.8, 35.8, 60.8
    both = tunnel_edges(sewn, blanks, "rear end")
    wanted = {"top": 2 * (half - bend) + bend * np.pi / 2, "leg": top - bend - 0.8 + bend * np.pi / 4}
    for letter, edges in both.items():
        kind = "leg" if letter[-1] in "RL" else "top"
        for edge in edges:
            assert edge.length_surface == pytest.approx(wanted[kind], abs=4e-4 * bend)  # chords of 3.75 degrees
    assert len(both) == 3
    # The notch: heights on the blank from the crown edge, which the cap shares with the tank's closed form.
    points = np.vstack([own.points for own, _ in both.values()])
    z = top - (points[:, 0].max() - points[:, 0])
    around = np.hypot(np.abs(points[:, 1]) - (half - bend), z - (top - bend))
    on_round = (np.abs(points[:, 1]) > half - bend + 1e-3) & (z > top - bend + 1e-3)
    assert on_round.sum() > 40
    assert around[on_round] == pytest.approx(bend, abs=1e-3)
    # Metal on the cap: the box's face less a square notch, and what stands in its two corners.
    low = np.array(cap.net.exterior.coords)
    square = shapely.Polygon(low).union(shapely.box(z_to_x(points, top, 0), -half, points[:, 0].max(), half))
    assert square.area - cap.net.area == pytest.approx(2 * half * (top - 0.8) - 2 * (1 - np.pi / 4) * bend**2, rel=1e-3)
    assert tunnel.net.is_valid


def z_to_x(points, top, z):
    """Where a height lies on the blank, along x; the floor is taken half its metal up."""
    return points[:, 0].max() - (top - z) + 0.8


def folded(blank, points):
    """Points (n, 2) of a tunnel's blank in space, in the middle of its metal: rotations about the two folds alone."""
    solid = np.column_stack([points, np.zeros(len(points))])
    for fold in blank.folds:
        inner, outer = sorted(fold.tangents, key=lambda line: np.abs(line[:, 1]).mean())
        along = (inner[1] - inner[0]) / np.linalg.norm(inner[1] - inner[0])
        out = np.array([-along[1], along[0]])
        out = out * np.sign((outer[0] - inner[0]) @ out)
        wide, turn = abs((outer[0] - inner[0]) @ out), np.radians(fold.angle)
        bend = fold.inside_radius + blank.thickness / 2
        u, d = (points - inner[0]) @ along, (points - inner[0]) @ out
        phi = np.clip(d / wide, 0, 1) * turn
        beyond = np.maximum(d - wide, 0)
        far = bend * np.sin(phi) + beyond * np.cos(turn)
        high = bend * (1 - np.cos(phi)) + beyond * np.sin(turn)
        there = np.column_stack([inner[0] + np.outer(u, along) + np.outer(far, out), high])
        solid = np.where((d > 0)[:, None], there, solid)
    return solid


def dense(line, step=0.25):
    """Points along a line (n, 3), not further apart than a step."""
    run = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(line, axis=0), axis=1))])
    at = np.linspace(0, run[-1], int(run[-1] / step) + 2)
    return np.column_stack([np.interp(at, run, column) for column in line.T])


def apart(one, two):
    """Furthest that points of either line lie from the other."""
    gaps = np.linalg.norm(one[:, None] - two[None], axis=2)
    return max(gaps.min(axis=0).max(), gaps.min(axis=1).max())


@pytest.mark.parametrize("name", list(TANKS))
@pytest.mark.parametrize("radius", [0.0, 3.0, 6.0])
def test_both_edges_of_the_ends_are_as_long(name, radius):
    """Every seam that the tunnel's ends share with caps and skins, formed: 0.05 mm."""
    _, blanks = made(name, radius)
    tunnel = blanks["tunnel"]
    own = {(b.name, e.letter): e for b in blanks.values() for e in b.edges if b is not tunnel}
    checked = 0
    for edge in tunnel.edges:
        mate = own.get((edge.meets, edge.letter))
        if mate is not None:
            assert mate.length_surface == pytest.approx(edge.length_surface, abs=LENGTH_MM), edge.letter
            checked += 1
    assert checked >= 6


@pytest.mark.parametrize("name", list(TANKS))
@pytest.mark.parametrize("radius", [0.0, 3.0, 6.0])
def test_the_folded_tunnel_fills_the_notch_of_its_cap(name, radius):
    """The tunnel rolled and folded back by its blank's own figures meets the cap's notch all along, round and all: laid
    into the tank by its straight parts, and the cap, which is ruled square to the centre plane, by its height there."""
    sewn, blanks = made(name, radius)
    tunnel = blanks["tunnel"]
    both = tunnel_edges(sewn, blanks, "rear end")
    back = (lambda p: rolled_back(tunnel, p, 0.0)) if tunnel.rolls else (lambda p: folded(tunnel, p))
    reach = 2.5 * (radius + THICKNESS) + 3
    seams = {seam.letter: seam for seam in sewn.seams}
    flat, true = [], []
    for letter, (_, edge) in both.items():
        chain = sewn.body.neutral[seams[letter].chain]
        corners = [p for p in chain[[0, -1]] if np.abs(chain[[0, -1], 2]).max() - p[2] < 25]
        plain = np.array([min(np.linalg.norm(p - c) for c in corners) > reach for p in chain])
        places = matched(edge, chain)
        flat.append(places[plain])
        true.append(chain[plain])
    for edge in tunnel.edges:  # and the lower edges of the legs, which no round touches
        if edge.meets.startswith("floor") and edge.letter in seams:
            flat.append(edge.points)
            true.append(sewn.body.neutral[seams[edge.letter].chain])
    flat, true = np.vstack(flat), np.vstack(true)
    turn, shift = rigid(back(flat), true)
    assert np.linalg.norm(back(flat) @ turn.T + shift - true, axis=1).max() < FIT_MM
    in_tank = [dense(back(dense(edge.points)) @ turn.T + shift) for _, edge in both.values()]
    notch = [dense(in_space(sewn, blanks["rear end"], edge)) for edge, _ in both.values()]
    assert apart(np.vstack(in_tank), np.vstack(notch)) < FIT_MM + 0.13  # half a step of each at the most


def matched(edge, chain):
    """Where the vertices of a seam lie on a flat edge of the same direction, measured from its end off the corner, or
    from the middle where both ends are at one."""
    flat = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(edge.points, axis=0), axis=1))])
    true = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(chain, axis=0), axis=1))])
    low = chain[:, 2].argmin()
    across = np.ptp(chain[:, 1]) > 20
    rule = 0.5 if across else float(low > 0)
    s = true + (flat[-1] - true[-1]) * rule
    return np.column_stack([np.interp(s, flat, column) for column in edge.points.T])


def in_space(sewn, cap, edge):
    """A flat edge of an upright cap in the tank: y as it is, height along the cap turned into (x, z) by the cap's own
    outline in the side view, read from the body's vertices."""
    used = np.unique(sewn.body.faces_of(cap.name))
    profile = sewn.body.neutral[used][:, [0, 2]]
    profile = profile[np.argsort(profile[:, 1])]
    run = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(profile, axis=0), axis=1))])
    x = np.vstack([e.points for e in cap.edges])[:, 0]
    s = edge.points[:, 0] - x.min()
    return np.column_stack([np.interp(s, run, profile[:, 0]), edge.points[:, 1], np.interp(s, run, profile[:, 1])])


def test_a_seam_within_the_bend_is_told_of():
    """A wide fold on a tank whose widest line meets the tunnel just below its corner: what meets it there stays sharp,
    and the tunnel's blank says so, where and how tight the fold is; a smaller one fits, and nothing is said."""
    sizes = {"backbone_front": 32.2, "backbone_rear": 46.5, "side_room": 22.7, "top_room": 14.3}
    sewn = seams_of(
        build_body(tank(25, round_rear=True, **sizes), Division("widest line"), thickness=0.8, step_mm=14.0)
    )
    for radius, said in ((8.0, True), (0.3, False)):  # the seam comes 0.95 mm below the corner
        blanks = make_blanks(sewn, at_edge, inside_radius=radius, k_factor=KFactor(0.42, "a test"))
        (tunnel,) = (blank for blank in blanks if blank.name == "tunnel")
        told = [note for note in tunnel.notes if "notched sharp" in note]
        assert bool(told) == said
        assert all(f"fold of {radius:.1f} mm" in note for note in told)
