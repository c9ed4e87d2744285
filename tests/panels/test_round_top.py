"""Tunnels under a half round or an arch: bodies, capacity and blanks against closed forms, other libraries, and the
rolling back of the blank, which is written out here and knows nothing of how it was laid flat."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest
import shapely
import shapely.affinity
from hypothesis import given, settings
from hypothesis import strategies as st

from panels.agree import agree
from panels.body import build_body, measure_capacity
from panels.choose_k import KFactor
from panels.curves import curve_through
from panels.divide import SCHEMES
from panels.errors import TrimError, TunnelError
from panels.fold_tunnel import folded_tunnel
from panels.make_blanks import make_blanks
from panels.openings import tunnel_of
from panels.patterns import BumpOut, Division, NeckRelief, TunnelPattern
from panels.round_top import round_top
from panels.seams import seams_of
from tests.panels import bodies
from tests.panels.sewn import laid, vault
from tests.panels.test_neck import closed, random_neck, square_front

THICKNESS, FOLD_RADIUS, FOLD_K = 1.6, 3.0, 0.42
#: Promised: 0.2 mm and 0.5 degrees.
FIT_MM, FIT_DEG = 0.2, 0.5


def topped(patterns, kind, rise=0.0, **sizes):
    return replace(patterns, tunnel=replace(patterns.tunnel, top=kind, arch_rise=rise, **sizes))


def segment(half, rise):
    """Area between a chord and its arc: R^2 (a - sin a cos a), any handbook; a half disc where rise is half."""
    radius = (half**2 + rise**2) / (2 * rise)
    turn = np.arctan2(half, radius - rise)
    return radius**2 * (turn - np.sin(turn) * np.cos(turn))


# ------------------------------------------------------------------------------ the shape


@settings(deadline=None, max_examples=60)
@given(st.floats(-0.06, 0.06), st.floats(-0.15, 0.15), st.floats(20, 60), st.one_of(st.none(), st.floats(0.15, 0.9)))
def test_crown_and_springs_are_where_the_pattern_says(widening, climb, half, share):
    """On the crown z is that of the frame line and top room; on the springs y is the half width; the legs' plane
    touches a half round; an arch rises as it was told."""
    top = round_top(5.0, half, widening, 90.0, climb, rise=None if share is None else share * half)
    x = np.array([5.0, 150.0, 300.0])
    wide, crown = half + widening * (x - 5), 90 + climb * (x - 5)
    at_crown, at_spring = (top.at(top.way_at(x, turn), turn) for turn in (0.0, top.spring))
    assert np.abs(at_crown - np.column_stack([x, 0 * x, crown])).max() < 1e-8
    assert np.abs(at_spring[:, 1] - wide).max() < 1e-8
    if share is None:
        normal = top.at(0.0, top.spring, 1.0) - top.at(0.0, top.spring)
        toe = np.arctan(widening)
        assert np.abs(normal - [-np.sin(toe), np.cos(toe), 0]).max() < 1e-9
    else:
        assert np.abs(crown - at_spring[:, 2] - share * wide).max() < 1e-7


@settings(deadline=None, max_examples=40)
@given(
    st.one_of(st.just(0.0), st.just(1e-13), st.floats(-0.06, 0.06)),
    st.floats(-0.1, 0.1),
    st.one_of(st.none(), st.floats(0.15, 0.9)),
)
def test_laying_flat_changes_no_length_in_the_neutral_surface(widening, climb, share):
    """Short steps along and across the neutral surface are as long on the flat; a hair of a taper is no trouble."""
    top = round_top(0.0, 38.0, widening, 90.0, climb, rise=None if share is None else share * 38)
    r = np.random.default_rng(1)
    seen = np.column_stack([r.uniform(0, 400, 60), r.uniform(-top.spring, top.spring, 60)])
    for step in ([1e-2, 0.0], [0.0, 1e-4], [1e-2, 2e-4]):
        solid = [top.at(*s.T, 0.8) for s in (seen, seen + step)]
        flat = [top.to_flat(s, 0.8) for s in (seen, seen + step)]
        long = np.linalg.norm(solid[1] - solid[0], axis=1)
        assert np.linalg.norm(flat[1] - flat[0], axis=1) == pytest.approx(long, rel=1e-6)


def test_a_half_round_of_constant_width_is_as_wide_as_its_half_circle():
    """pi (R + K t), the neutral surface in the middle of the metal: DIN 6935 gives K = 0.5 from r/t = 5 up."""
    tunnel = blanks_of("vault", "round")["tunnel"]
    (right, left) = (tunnel.rolls[1].start, tunnel.rolls[1].end)
    assert np.linalg.norm(right - left, axis=1) == pytest.approx(np.pi * (35 + 0.8), abs=1e-6)
    assert not tunnel.folds
    assert tunnel.rolls[1].angle == pytest.approx(180)
    assert tunnel.rolls[1].radius == pytest.approx(35)
    legs = 2 * 24.2  # 60 - 35 from the frame side's crown down, less half the floor's metal
    assert np.ptp(np.array(tunnel.net.exterior.coords)[:, 1]) == pytest.approx(np.pi * 35.8 + legs, abs=0.05)


def test_a_level_cones_blank_is_the_sector_of_the_handbook():
    """Frustum with half angle b: a sector of 2 pi sin b, radii r / sin b (any sheet-metal handbook); here half."""
    top = round_top(0.0, 40.0, -0.02, 90.0, 0.0)
    b = abs(top.flare)
    ends = [top.to_flat(np.array([[way, turn] for turn in (-np.pi / 2, np.pi / 2)]), 0.0) for way in (0.0, 400.0)]
    chords = [np.linalg.norm(e[1] - e[0]) for e in ends]
    radii = [top.radius, top.radius - 400 * np.sin(b)]
    want = [2 * r / np.sin(b) * np.sin(np.pi / 2 * np.sin(b)) for r in radii]
    assert chords == pytest.approx(want, abs=1e-9)


# ------------------------------------------------------------------------------ the body


@pytest.mark.parametrize("kind, rise", [("round", 0.0), ("arch", 12.0), ("arch", 25.0)])
@pytest.mark.parametrize("thickness", [0.0, 1.6])
def test_a_box_holds_what_half_cylinder_and_box_say(kind, rise, thickness):
    """Box less the tunnel in closed form: a box up to the springs and the segment of a circle over it, every wall
    inside by the thickness; the arch's circle grows with it."""
    patterns = bodies.box(400, 200, 150, TunnelPattern(40, 40, 15, 10, top=kind, arch_rise=rise))
    body = build_body(patterns, Division("halves"), thickness=thickness)
    half, crown = 35 + thickness, 60.0
    if kind == "round":
        up = half
    else:
        radius = (35**2 + rise**2) / (2 * rise) + thickness
        up = radius - np.sqrt(radius**2 - half**2)
    tunnel = 2 * half * (crown - up) + segment(half, up)
    exact = (400 - 2 * thickness) * ((200 - 2 * thickness) * (150 - 2 * thickness) - tunnel)
    assert body.capacity_mm3 == pytest.approx(exact, rel=1e-4)
    closed(body)


def prism(patterns):
    """The tunnel as a solid of its own, in manifold3d, from the pattern's numbers alone: upright sections of half
    circles or arcs, ellipses where the axis leans, hulled."""
    manifold3d = pytest.importorskip("manifold3d")
    tunnel, frame = patterns.tunnel, patterns.side.lines["frame"].points
    x0, x1 = patterns.side.front.points[:, 0].min(), patterns.side.rear.points[:, 0].max()
    slope = (frame[-1, 1] - frame[0, 1]) / (frame[-1, 0] - frame[0, 0])
    ring = []
    for x in (x0 - 60, x1 + 60):
        half = tunnel.half_front + (x - x0) / (x1 - x0) * (tunnel.half_rear - tunnel.half_front)
        crown = frame[0, 1] + slope * (x - frame[0, 0]) + tunnel.top_room
        if tunnel.top == "round":
            high = half * np.hypot(1, slope)
            turn = np.linspace(-np.pi / 2, np.pi / 2, 721)
            y, z = half * np.sin(turn), crown - high * (1 - np.cos(turn))
        else:
            rise = tunnel.arch_rise * half / tunnel.half_front / np.hypot(1, slope)
            radius = (half**2 + rise**2) / (2 * rise)
            turn = np.linspace(-1, 1, 721) * np.arctan2(half, radius - rise)
            y, z = radius * np.sin(turn), crown - radius * (1 - np.cos(turn)) * np.hypot(1, slope)
        ring += [(x, a, b) for a, b in zip(y, z, strict=True)] + [(x, -half, -90.0), (x, half, -90.0)]
    return manifold3d.Manifold.hull_points(np.array(ring))


def solid(body):
    manifold3d = pytest.importorskip("manifold3d")
    return manifold3d.Manifold(manifold3d.Mesh(np.asarray(body.outer, np.float32), np.asarray(body.faces, np.uint32)))


@pytest.mark.parametrize("kind, rise", [("round", 0.0), ("arch", 10.0)])
@pytest.mark.parametrize("taper", [0.0, 10.0])
def test_body_is_what_boolean_subtraction_leaves(kind, rise, taper):
    """Against manifold3d, a general solid library: the tank without a tunnel less the tunnel as a solid."""
    patterns = bodies.saddle_tank()
    patterns = topped(patterns, kind, rise, backbone_rear=38.0 - taper)
    whole = build_body(replace(patterns, tunnel=None), thickness=0.0)
    body = build_body(patterns, thickness=0.0)
    taken = solid(whole).volume() - (solid(whole) - prism(patterns)).volume()
    assert whole.capacity_mm3 - body.capacity_mm3 == pytest.approx(taken, rel=2e-3)


@pytest.mark.parametrize("seed", range(50))
def test_random_tanks_are_closed_and_their_tunnels_roll_back(seed):
    """Nose round or flat, necks, tunnels that stop inside, tapers: a hundred tanks, half rounds and arches."""
    r = np.random.default_rng(seed)
    patterns = bodies.saddle_tank(seed + 300) if seed % 4 else square_front(r.uniform(-20, 20))
    if seed % 3:
        patterns = replace(patterns, neck=random_neck(seed, patterns))
    long = patterns.side.bottom.points[-1, 0]
    ends = {}
    if seed % 2:
        front = None if r.random() < 0.5 else r.uniform(0.08, 0.4) * long
        ends = {"closed_front_x": front, "closed_rear_x": r.uniform(0.55, 0.92) * long}
    scheme = SCHEMES[seed % 4]
    for kind in ("round", "arch"):
        rise = r.uniform(0.1, 0.9) * patterns.tunnel.half_front
        body = build_body(topped(patterns, kind, rise, **ends), Division(scheme), thickness=1.6, step_mm=25)
        closed(body)
        sewn, k = seams_of(body), KFactor(FOLD_K, "a test")
        (tunnel,), _ = folded_tunnel(sewn, at_edge, inside_radius=FOLD_RADIUS, k_factor=k)
        check_rolls_back(sewn, tunnel)


@pytest.mark.parametrize("seed", range(4))
def test_rounder_tops_hold_more_under_one_highest_line(seed):
    """The crown lies where a flat top would: each rounder top gives fuel back beside it, a half round most."""
    patterns = bodies.saddle_tank(seed)
    half = patterns.tunnel.half_front
    tops = [("flat", 0.0), ("arch", 0.2 * half), ("arch", 0.6 * half), ("round", 0.0)]
    held = [build_body(topped(patterns, *top), thickness=1.6, step_mm=25).capacity_mm3 for top in tops]
    assert sorted(held) == held
    assert held[-1] > held[0] + 1e5


@pytest.mark.parametrize("kind, rise", [("round", 0.0), ("arch", 10.0)])
def test_widening_the_tunnel_never_raises_capacity(kind, rise):
    """Nor does raising its crown; and a mm costs what the papers say."""
    patterns = topped(bodies.saddle_tank(), kind, rise)

    def held(**more):
        sizes = {key: getattr(patterns.tunnel, key) + value for key, value in more.items()}
        body = build_body(replace(patterns, tunnel=replace(patterns.tunnel, **sizes)), thickness=1.6, step_mm=20)
        return measure_capacity(body, density=2700)

    here = held()
    for key, told in (("side_room", here.litres_per_mm_width), ("top_room", here.litres_per_mm_depth)):
        at = [held(**{key: mm}).brim_l for mm in (-1.0, 0.0, 1.0, 4.0)]
        assert sorted(at, reverse=True) == at
        assert (at[0] - at[2]) / 2 == pytest.approx(told, rel=0.05)


@pytest.mark.parametrize("kind, rise", [("round", 0.0), ("arch", 10.0)])
def test_left_and_right_are_mirror_images(kind, rise):
    body = build_body(topped(bodies.saddle_tank(3), kind, rise), thickness=1.6)
    mirror = body.shell.mirror
    assert np.abs(body.outer[mirror] * [1, -1, 1] - body.outer).max() < 1e-9
    tunnel = blanks_of("tapered", kind, rise)["tunnel"].net
    # Trim lines leave points out that lie within 0.01 mm of straight, from wherever they begin.
    assert shapely.affinity.scale(tunnel, 1, -1, origin=(0, 0)).hausdorff_distance(tunnel) < 0.03


def test_patterns_of_the_inside_keep_the_clear_sizes():
    """The tunnel's sizes are those towards the frame either way: its frame side is where it would be."""
    for kind, rise in (("round", 0.0), ("arch", 10.0)):
        patterns = topped(bodies.saddle_tank(), kind, rise)
        tops = []
        for inside in (False, True):
            body = build_body(patterns, thickness=1.6, inside=inside)
            tops.append(body.outer[np.unique(body.faces_of("tunnel top"))])
        one, two = (p[(p[:, 0] > 100) & (p[:, 0] < 300)] for p in tops)
        crown = tunnel_of(patterns).rounded
        for p in (one, two):
            # Facets of metal a thickness larger all round, seen from within: to their own sagitta.
            assert np.abs(np.hypot(*_off_axis(crown, p)) - crown.radius).max() < 0.05


def _off_axis(top, p):
    _, rise = top.axes @ (p[:, [0, 2]] - top.start).T
    return rise, p[:, 1]


# ------------------------------------------------------------------------------ the blank


def at_edge(kind, piece, meets):
    return ("butt" if meets else "free", {"formed": 12.0, "rolled": 3.0}.get(kind, 0.0))


TANKS = {
    "vault": vault,
    "saddle": bodies.saddle_tank,
    "tapered": lambda: topped(bodies.saddle_tank(), "flat", backbone_rear=26.0),
    "widening": lambda: topped(bodies.saddle_tank(7), "flat", backbone_rear=44.0),
    "shut": lambda: topped(bodies.saddle_tank(5), "flat", closed_rear_x=400.0),
    "necked": lambda: replace(bodies.saddle_tank(), neck=NeckRelief((-5, 40), 25, 26)),
}


@cache
def made(name, kind, rise=0.0):
    body = build_body(topped(TANKS[name](), kind, rise), Division("widest line"), thickness=THICKNESS)
    sewn = seams_of(body)
    k = KFactor(FOLD_K, "a test")
    return sewn, {b.name: b for b in make_blanks(sewn, at_edge, inside_radius=FOLD_RADIUS, k_factor=k)}


def blanks_of(name, kind, rise=0.0):
    return made(name, kind, rise)[1]


def rolled_back(blank, points, height):
    """Points (n, 2) of a tunnel's blank as drawn, ``height`` over the middle of its metal towards the good face, in
    space: the roll made between its two lines, its folds after that. From the blank's own figures alone."""
    roll = blank.rolls[1]
    turn = np.radians(roll.angle) / 2
    right, left = roll.start, roll.end
    u, v = (line[1] - line[0] for line in (right, left))
    skew = u[0] * v[1] - u[1] * v[0]
    if abs(skew) < 1e-9 * np.linalg.norm(u) * np.linalg.norm(v):  # a cylinder
        along = u / np.linalg.norm(u)
        aside = np.array([-along[1], along[0]])
        middle = (right[0] + left[0]) / 2
        wide = abs((left[0] - right[0]) @ aside)
        radius, reach, out = wide / 2 / turn, (points - middle) @ along, (points - middle) @ aside
        angle, beyond = np.clip(out, -wide / 2, wide / 2) / radius, np.abs(out) - wide / 2

        def place(r, fall, far):
            """Off the middle line: r out at the angle, then ``far`` along the tangent and ``fall`` towards the axis."""
            c, s, sign = np.cos(angle), np.sin(angle), np.sign(out)
            y = (r - fall) * s + far * sign * c
            z = radius - (r - fall) * c + far * sign * s
            return np.column_stack([reach, y, z])

        return _with_fold(blank, beyond, radius, height, place)
    shares = np.linalg.solve(np.column_stack([u, -v]), left[0] - right[0])
    tip = right[0] + shares[0] * u
    middle = (right.mean(axis=0) + left.mean(axis=0)) / 2
    axis = (middle - tip) / np.linalg.norm(middle - tip)
    side = np.array([-axis[1], axis[0]])
    edge = abs(np.arctan2((left.mean(axis=0) - tip) @ side, (left.mean(axis=0) - tip) @ axis))
    sin = edge / turn  # a cone's half angle: the flat turns by sin of it for each turn about the axis
    cos = np.sqrt(1 - sin**2)
    x, y = (points - tip) @ axis, (points - tip) @ side
    far, bent = np.hypot(x, y), np.arctan2(y, x)
    inside = np.abs(bent) <= edge
    angle, sign = np.clip(bent, -edge, edge) / sin, np.sign(bent)
    reach = np.where(inside, far, far * np.cos(np.abs(bent) - edge))  # along the ruling
    beyond = np.where(inside, -1.0, far * np.sin(np.abs(bent) - edge))

    def place(r, fall, off):
        c, s = np.cos(angle), np.sin(angle)
        out = np.column_stack([0 * c, s, -c])
        around = np.column_stack([0 * c, c, s]) * sign[:, None]
        ruling = cos * np.array([1.0, 0, 0]) + sin * out
        normal = cos * out - sin * np.array([1.0, 0, 0])
        return reach[:, None] * ruling - (fall + 0 * c)[:, None] * normal + (off + 0 * c)[:, None] * around

    return _with_fold(blank, beyond, 0.0, height, place)


def _with_fold(blank, beyond, radius, height, place):
    """What lies beyond the roll line: straight on, or round the fold and then straight."""
    beyond = np.maximum(beyond, 0.0)
    if not blank.folds:
        return place(radius, height, beyond)
    fold = blank.folds[0]
    angle, neutral = np.radians(fold.angle), fold.inside_radius + fold.k_factor * blank.thickness
    # Heights count from the middle of the metal: the fold's own neutral surface lies a little inside it.
    middle = fold.inside_radius + blank.thickness / 2
    bent = np.minimum(beyond / neutral, angle)
    rest = np.maximum(beyond - angle * neutral, 0.0)
    arm = middle - height
    far = arm * np.sin(bent) + rest * np.cos(bent)
    fall = middle - arm * np.cos(bent) + rest * np.sin(bent)
    return place(radius, fall, far)


def onto(points, target):
    """The motion that lays points on their targets best: rotation and shift (Kabsch 1976)."""
    a, b = points.mean(axis=0), target.mean(axis=0)
    w, _, v = np.linalg.svd((points - a).T @ (target - b))
    turn = w @ np.diag([1, 1, np.sign(np.linalg.det(w @ v))]) @ v
    return turn, b - a @ turn


def near_a_fold(blank, flat):
    gap = np.full(len(flat), np.inf)
    for fold in blank.folds:
        along = (fold.end - fold.start) / np.linalg.norm(fold.end - fold.start)
        gap = np.minimum(gap, np.abs((flat - fold.start) @ [-along[1], along[0]]))
    return gap < 4.5


CASES = [(name, kind, rise) for name in TANKS for kind, rise in (("round", 0.0), ("arch", 10.0), ("arch", 24.0))]


@pytest.mark.parametrize("name, kind, rise", CASES)
def test_rolled_and_folded_back_the_blank_is_the_tunnel(name, kind, rise):
    sewn, blanks = made(name, kind, rise)
    check_rolls_back(sewn, blanks["tunnel"])


def check_rolls_back(sewn, blank):
    """Edges of the blank, rolled back, lie on the body's own seams, its faces on the body's frame side."""
    igl = pytest.importorskip("igl")
    body = sewn.body
    seams = {seam.letter: seam for seam in sewn.seams}
    flat, target = [], []
    for edge in blank.edges:
        chain = body.neutral[seams[edge.letter].chain]
        flat.append(laid(edge, chain, body))
        target.append(chain)
    flat, target = np.vstack(flat), np.vstack(target)
    clear = ~near_a_fold(blank, flat)
    back = rolled_back(blank, flat, np.zeros(len(flat)))
    turn, shift = onto(back[clear], target[clear])
    off = np.linalg.norm(back @ turn + shift - target, axis=1)[clear]
    assert off.max() < FIT_MM
    # The frame side, everywhere: on the body's outside of legs and top.
    r = np.random.default_rng(0)
    x0, y0, x1, y1 = blank.net.bounds
    spots = r.uniform([x0, y0], [x1, y1], (900, 2))
    spots = spots[shapely.contains(blank.net.buffer(-4.0), shapely.points(spots))]
    spots = spots[~near_a_fold(blank, spots)]
    half = blank.thickness / 2
    face = rolled_back(blank, spots, np.full(len(spots), half)) @ turn + shift
    faces = np.vstack([body.faces_of(f"tunnel {piece}") for piece in ("right", "left", "top")])
    square, _, _ = igl.point_mesh_squared_distance(face, body.outer, faces)
    assert np.sqrt(square).max() < FIT_MM
    back_side = rolled_back(blank, spots, np.full(len(spots), -half)) @ turn + shift
    normal = (face - back_side) / blank.thickness  # towards the frame
    want = outwards(body.patterns, face)
    lean = np.degrees(np.arccos(np.clip(np.einsum("ni,ni->n", normal, want), -1, 1)))
    assert lean.max() < FIT_DEG


def outwards(patterns, p):
    """Unit vectors towards the frame at points of legs and top: from the slopes of the pattern's own numbers, the
    circle drawn square to the crown's direction through crown and legs' feet."""
    tunnel = patterns.tunnel
    front, rear = patterns.side.front.points[:, 0].min(), patterns.side.rear.points[:, 0].max()
    front = front if tunnel.closed_front_x is None else tunnel.closed_front_x
    rear = rear if tunnel.closed_rear_x is None else tunnel.closed_rear_x
    frame = patterns.side.lines["frame"].points
    slope = (frame[-1, 1] - frame[0, 1]) / (frame[-1, 0] - frame[0, 0])
    taper = (tunnel.half_rear - tunnel.half_front) / (rear - front)

    def over(q):
        """Height of points over the top's surface, in upright sections: their own ellipse at each x."""
        x, y, z = q.T
        half = tunnel.half_front + taper * (x - front)
        crown = frame[0, 1] + slope * (x - frame[0, 0]) + tunnel.top_room
        stretch = np.hypot(1, slope)
        rise = half if tunnel.top == "round" else tunnel.arch_rise * half / tunnel.half_front / stretch
        radius = (half**2 + rise**2) / (2 * rise)
        drop = (crown - z) / stretch
        return np.hypot(y, radius - drop) - radius, crown - rise * stretch - z

    below = over(p)[1]
    grad = np.column_stack([(over(p + d)[0] - over(p - d)[0]) / 2e-4 for d in np.eye(3) * 1e-4])
    leg = np.column_stack([np.full(len(p), -taper), np.sign(p[:, 1]), np.zeros(len(p))])
    out = np.where((below > 0)[:, None], leg, grad)
    return -out / np.linalg.norm(out, axis=1)[:, None]


@pytest.mark.parametrize("name, kind, rise", CASES)
def test_every_edge_has_a_partner_of_its_length(name, kind, rise):
    """Both edges of every seam are as long as each other: to a hair at a half round, to what a round corner saves
    over a square notch where an arch is folded."""
    pairs = {}
    for blank in blanks_of(name, kind, rise).values():
        for edge in blank.edges:
            pairs.setdefault(edge.letter, []).append(edge)
    assert all(len(pair) == 2 for pair in pairs.values())
    limit = 0.1 if kind == "round" else 0.6
    for letter, (one, two) in pairs.items():
        assert abs(one.length_surface - two.length_surface) < limit, letter


@pytest.mark.parametrize("name, kind, rise", CASES)
def test_the_roll_is_told_between_its_lines(name, kind, rise):
    """Leg, roll, leg; radii front and rear; an arch has two folds beside its roll that are less than square."""
    blank = blanks_of(name, kind, rise)["tunnel"]
    assert [roll.kind for roll in blank.rolls] == ["flat", "rolled", "flat"]
    roll = blank.rolls[1]
    assert roll.up
    assert len(blank.folds) == (0 if kind == "round" else 2)
    assert all(0 < fold.angle < 90 and fold.up for fold in blank.folds)
    turned = roll.angle + sum(fold.angle for fold in blank.folds)
    assert turned == pytest.approx(180, abs=0.5)
    assert any("roll the top between the two lines" in note for note in blank.notes)
    tapers = abs(np.ptp(roll.across)) > 0.05
    assert tapers == any("cone" in note for note in blank.notes)
    assert blank.net.area == pytest.approx(blank.area_formed, rel=1e-5)


# ------------------------------------------------------------------------------ what is said and refused


def stops(found):
    return [f for f in found if f.strength == "stop"]


def test_a_bent_frame_line_is_refused_with_its_stray():
    """A kinked or curved frame line: one stop that says where and by how much, and what would mend it."""
    patterns = topped(bodies.saddle_tank(), "round")
    bent = curve_through("frame", [[0, 61], [250, 70], [540, 51]], straight=True)
    patterns = replace(patterns, side=replace(patterns.side, lines={**patterns.side.lines, "frame": bent}))
    (stop,) = stops(agree(patterns, thickness=1.6))
    stray = 70 - np.interp(250, [0, 540], [61, 51])
    assert f"{stray:.1f} mm" in stop.says
    assert stop.at_mm == pytest.approx(250)
    assert "flat" in stop.remedy
    with pytest.raises(TunnelError, match="straight"):
        build_body(patterns, thickness=1.6)


@pytest.mark.parametrize("rise, says", [(0.0, "rises 0.0"), (38.0, "76.0 mm wide")])
def test_an_arch_without_a_fitting_rise_is_refused(rise, says):
    (stop,) = stops(agree(topped(bodies.saddle_tank(), "arch", rise), thickness=1.6))
    assert says in stop.says
    assert "round" in stop.remedy


def test_the_crown_counts_under_the_tanks_own():
    """The top's middle is what may come through the crown: as high as a flat top, whatever its shape."""
    for kind, rise in (("flat", 0.0), ("arch", 10.0), ("round", 0.0)):
        patterns = topped(bodies.saddle_tank(), kind, rise, top_room=112.0)
        assert any("comes through the crown" in f.says for f in stops(agree(patterns, thickness=1.6))), kind


def test_room_at_a_square_backbones_corners():
    """R less the corner's distance from the middle of the circle, both from the pattern: a level frame line."""
    tunnel = TunnelPattern(38, 38, 19, 10, top="round")
    patterns = bodies.box(400, 200, 170, tunnel, frame_z=70.0)
    room = 38 - np.hypot(19, 38 - 10)
    (found,) = [f for f in agree(patterns, thickness=1.6) if "corner" in f.says]
    assert found.strength == "look"
    assert f"{room:.1f} mm at the corners" in found.found
    tube = topped(patterns, "round", backbone="round")
    assert not [f for f in agree(tube, thickness=1.6) if "corner" in f.says]
    roomy = topped(patterns, "arch", 5.0)
    (note,) = [f for f in agree(roomy, thickness=1.6) if "corner" in f.says]
    assert note.strength == "note"


def test_springs_at_the_lower_edge_are_told():
    low = agree(topped(bodies.saddle_tank(), "round", backbone_rear=60.0), thickness=1.6)
    assert any("no leg is left" in f.says for f in low)


def test_bump_outs_lie_on_the_leg_not_on_the_roll():
    """A patch on the leg is set in as ever; one on the rolled top is refused and told where else it may lie."""
    base = topped(bodies.box(400, 240, 190, TunnelPattern(38, 38, 19, 10), frame_z=110.0), "round")
    leg = BumpOut("coil", "leg", np.array([[150, 20], [230, 20], [230, 55], [150, 55]], float), 12.0)
    patterns = replace(base, bump_outs=(leg,))
    body = build_body(patterns, Division("halves"), thickness=1.6)
    closed(body)
    assert "bump-out face right" in body.pieces
    top = replace(leg, on="top", outline=np.array([[150, -15], [230, -15], [230, 15], [150, 15]], float))
    with pytest.raises(TrimError, match="rolled"):
        build_body(replace(base, bump_outs=(top,)), Division("halves"), thickness=1.6)


@pytest.mark.parametrize("frame_z, legs", [(25.0, False), (35.0, True)])
def test_a_top_without_legs_is_rolled_alone(frame_z, legs):
    """Where the springs lie below the floor all along there is no leg: the top is a rolled piece, every edge paired."""
    tank = bodies.saddle_tank()
    low = curve_through("frame", [[0, frame_z], [540, frame_z]], straight=True)
    patterns = topped(replace(tank, side=replace(tank.side, lines={**tank.side.lines, "frame": low})), "round")
    body = build_body(patterns, Division("halves"), thickness=1.6, step_mm=20)
    closed(body)
    made = make_blanks(seams_of(body), at_edge, inside_radius=3.0, k_factor=KFactor(FOLD_K, "a test"))
    (tunnel,) = [blank for blank in made if blank.name.startswith("tunnel")]
    assert (tunnel.name, tunnel.kind) == (("tunnel", "folded") if legs else ("tunnel top", "rolled"))
    assert not any("three pieces" in note for note in tunnel.notes)
    letters = [edge.letter for blank in made for edge in blank.edges]
    assert all(letters.count(letter) == 2 for letter in set(letters))
