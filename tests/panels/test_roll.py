"""Roll zones against closed forms: what a wall is drawn with, in radius, turn and lengths, must come back.

All sources here are elementary: an arc of radius R over an angle a is R a long; the normal curvature of a right
circular cone across its rulings is cos(half apex angle) / (distance from the axis), so that its radius grows evenly
along them (M. do Carmo, Differential Geometry of Curves and Surfaces, 3-3, by Meusnier's theorem; from memory). Metal
bends about its middle: the inside radius is the neutral one less K t (the bend allowance of handbooks, (r + K t) a).
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import LineString
from shapely.geometry import box

from panels.min_radius import minimum_radius
from panels.roll import roll_zones, sharp_note, tight_rolls
from tests.panels.sewn import THICKNESS, blanks

HIGH = 30.0


def wall(runs, thickness=1.0, sharp_radius=0.0, rows=1, steps=0):
    """Zones of a wall ruled square to a profile of (length, radians turned) runs; an arc in ``steps`` chords, by
    default so many that they miss it by 0.04 mm, as the tank's own meshes do.

    A run of no length is a sharp corner. The flat is its chords one after another, turned by 0.3 rad and moved.
    """
    lengths, turns = [], []  # chords, and what the profile turns by before each
    for length, turn in runs:
        if length == 0:
            turns.append(turns.pop() + turn if len(turns) > len(lengths) else turn)
            continue
        count = 1 if turn == 0 else steps or max(4, math.ceil(math.sqrt(length * abs(turn) / 8 / 0.04)))
        half = turn / count / 2
        chord = length / count * (math.sin(half) / half if half else 1.0)
        for k in range(count):
            before = turns.pop() if len(turns) > len(lengths) else 0.0
            turns.append(before + half * (1 if k == 0 else 2))
            lengths.append(chord)
        turns.append(half)
    turns = turns[: len(lengths)]
    heading = np.cumsum(turns)
    profile = np.vstack([[0, 0], np.cumsum(np.array(lengths)[:, None] * np.c_[np.cos(heading), np.sin(heading)], 0)])
    along = np.concatenate([[0.0], np.cumsum(lengths)])
    n, up = len(along), np.linspace(0, HIGH, rows + 1)
    flat = np.array([[s, y] for y in up for s in along])
    solid = np.column_stack(
        [np.interp(flat[:, 0], along, profile[:, 0]), flat[:, 1], np.interp(flat[:, 0], along, profile[:, 1])]
    )
    faces = [
        face
        for r in range(rows)
        for k in range(n - 1)
        for a in [r * n + k]
        for face in ((a, a + 1, a + n + 1), (a, a + n + 1, a + n))
    ]
    turn = np.array([[math.cos(0.3), -math.sin(0.3)], [math.sin(0.3), math.cos(0.3)]])
    moved = flat @ turn.T + [40, -7]
    zones = roll_zones(
        solid, np.array(faces), moved, box(-2000, -2000, 2000, 2000), thickness=thickness, k_factor=0.5,
        sharp_radius=sharp_radius,
    )  # fmt: skip
    axis = turn @ [1.0, 0.0]
    return [(z, *sorted(float((line.mean(axis=0) - [40, -7]) @ axis) for line in (z.start, z.end))) for z in zones]


def told(zones):
    return [(zone.kind, zone.angle, zone.up) for zone, _, _ in zones if zone.kind != "flat"]


def arc(radius, degrees):
    """A run of this neutral radius and turn, up if positive."""
    return radius * math.radians(abs(degrees)), math.radians(degrees)


def test_a_stadium_is_flat_round_flat_round():
    """Straights of 100 between half turns of R 20, begun in the middle of one: the least wall that closes."""
    zones = wall([(50, 0), arc(20, 180), (100, 0), arc(20, 180), (50, 0)])
    assert [z.kind for z, _, _ in zones] == ["flat", "rolled", "flat", "rolled", "flat"]
    assert [z.angle for z, _, _ in zones] == pytest.approx([0, 180, 0, 180, 0], abs=0.01)
    half = 20 * math.pi
    wanted = np.cumsum([0, 50, half, 100, half, 50])
    assert [a for _, a, _ in zones] == pytest.approx(wanted[:-1], abs=0.5)
    assert [b for _, _, b in zones] == pytest.approx(wanted[1:], abs=0.5)
    assert [z.radius for z, _, _ in zones if z.kind == "rolled"] == pytest.approx([19.5, 19.5], abs=0.1)


@pytest.mark.parametrize("rows", [1, 4])
@pytest.mark.parametrize("radius", [4.0, 10.7, 25.0])
def test_the_wall_round_a_rounded_rectangle(rows, radius):
    """Four corners of 90 degrees and the straights between them: nine zones, however finely the wall is meshed."""
    corner, long, short = arc(radius, 90), (60, 0), (25, 0)
    zones = wall([(30, 0), corner, short, corner, long, corner, short, corner, (30, 0)], rows=rows)
    assert [z.kind for z, _, _ in zones][::2] == ["flat"] * 5
    corners = zones[1::2]
    assert len(corners) == 4
    for zone, start, end in corners:
        assert zone.angle == pytest.approx(90, abs=0.05)
        assert zone.up
        assert zone.radius == pytest.approx(radius - 0.5, rel=0.01)
        assert end - start == pytest.approx(radius * math.pi / 2, rel=0.01)
        assert zone.kind == "rolled"  # 3.5 inside is no bend yet at 1 mm


def test_a_cylinder_is_one_zone_of_its_radius():
    for radius, degrees in ((80.0, 150.0), (400.0, -60.0)):
        ((zone, _, _),) = wall([arc(radius, degrees)], thickness=1.6, steps=30)
        assert zone.kind == "rolled"
        assert zone.angle == pytest.approx(abs(degrees), abs=0.01)
        assert zone.up == (degrees > 0)
        assert zone.radius == pytest.approx(radius - 0.8, rel=1e-3)
        assert zone.least == zone.radius
        assert zone.miss < 0.01


def test_a_cone_is_wider_at_one_end_of_its_lines():
    """Frustum of radii 100 and 40, 80 high: its slant is 100, cos(half apex angle) = 80 / 100, the sector's angle 0.6
    of the turn about the axis; the neutral radius across a ruling is distance from the axis / 0.8."""
    turn, t = 2.0, 1.0
    u = np.linspace(0, turn, 41)
    rings = [np.column_stack([r * np.cos(u), r * np.sin(u), 0 * u + z]) for r, z in ((100, 0), (40, 80))]
    sector = [np.column_stack([r / 0.6 * np.cos(0.6 * u), r / 0.6 * np.sin(0.6 * u)]) for r in (100, 40)]
    k = np.arange(40)
    faces = np.vstack([np.c_[k, k + 1, k + 42], np.c_[k, k + 42, k + 41]])
    # Chords shorten the arcs by the same share at both edges: the sector's angle shrinks, no length but chords.
    outline = box(-400, -400, 400, 400)
    (zone,) = roll_zones(np.vstack(rings), faces, np.vstack(sector), outline, thickness=t, k_factor=0.5)
    assert zone.angle == pytest.approx(math.degrees(turn * 0.8), rel=2e-3)
    assert not zone.up  # outside is the good face
    assert zone.radius == pytest.approx(70 / 0.8 - 0.5, rel=2e-3)
    for line in (zone.start, zone.end):  # the lines run through the apex, here the origin
        assert LineString(line).distance(LineString([[0, 0], [1e-9, 0]])) < 0.2
    ends = np.linalg.norm(zone.start, axis=1)
    near, far = zone.across
    assert near < far
    assert (far + 0.5) / (near + 0.5) == pytest.approx(ends[1] / max(ends[0], 1e-9), rel=0.02) or ends[0] < 1


def test_a_cone_cut_slanting_is_one_zone():
    """The frustum above with its wide edge cut off aslant, down to almost nothing at the far end: the last rulings are
    short and their turn cannot be read there. Radius r / cos(a) at distance r from the axis, turn cos(a) of the one
    about it."""
    turn, sine = 2.0, 0.6
    u = np.linspace(0, turn, 41)
    wide = 160 / sine - 95 / sine * np.linspace(0, 1, 41) ** 2
    at = [r * sine * np.ones(41) for r in (wide, np.full(41, 100.0))]
    rings = [np.column_stack([r * np.cos(u), r * np.sin(u), -r * 0.8 / sine]) for r in at]
    sector = [np.column_stack([r / sine * np.cos(sine * u), r / sine * np.sin(sine * u)]) for r in at]
    k = np.arange(40)
    faces = np.vstack([np.c_[k, k + 41, k + 1], np.c_[k + 1, k + 41, k + 42]])
    (zone,) = roll_zones(
        np.vstack(rings), faces, np.vstack(sector), box(-400, -400, 400, 400), thickness=1.0, k_factor=0.5
    )
    assert zone.angle == pytest.approx(math.degrees(turn * 0.8), rel=2e-3)
    halfway = (100.0 + wide.max()) / 2 * sine
    assert zone.radius + 0.5 == pytest.approx(halfway / 0.8, rel=0.01)


@pytest.mark.parametrize(("before", "after"), [(0.0, 0.0), (40.0, 40.0), (0.0, 25.0), (60.0, 8.0)])
def test_one_arc_with_its_ends_cut_slanting(before, after):
    """R 40 over 150 degrees with straights before and after or none, cut so that its ends come to a point: radius, turn
    and straights are those it was drawn with."""
    radius, turn, facets = 40.0, math.radians(150), 36
    u = np.linspace(0, turn, facets + 1)
    long = np.concatenate([[-before] * (before > 0), radius * u, [radius * turn + after] * (after > 0)])
    on = np.clip(long, 0, radius * turn) / radius
    past = long - on * radius
    profile = np.column_stack(
        [radius * np.sin(on) + past * np.cos(on), radius - radius * np.cos(on) + past * np.sin(on)]
    )
    share = (long - long[0]) / np.ptp(long)
    top = 1.0 + 60 * np.sqrt(np.maximum(1 - (2 * share - 1) ** 2, 0))  # half an ellipse: a vertical edge at both ends
    n, k = len(long), np.arange(len(long) - 1)
    flat = np.vstack([np.c_[long, 0 * long], np.c_[long, top]])
    solid = np.column_stack([np.tile(profile[:, 0], 2), flat[:, 1], np.tile(profile[:, 1], 2)])
    faces = np.vstack([np.c_[k, k + 1, k + n + 1], np.c_[k, k + n + 1, k + n]])
    zones = roll_zones(solid, faces, flat, box(-500, -500, 500, 500), thickness=1.0, k_factor=0.5)
    assert [z.kind for z in zones] == ["flat"] * (before > 0) + ["rolled"] + ["flat"] * (after > 0)
    (rolled,) = (z for z in zones if z.kind == "rolled")
    assert rolled.radius + 0.5 == pytest.approx(radius, rel=0.005)
    assert rolled.angle == pytest.approx(150, abs=0.3)
    assert rolled.start[:, 0].mean() == pytest.approx(0, abs=0.3)
    assert rolled.end[:, 0].mean() == pytest.approx(radius * turn, abs=0.3)


def test_a_parabola_is_rolled_in_a_few_arcs_that_miss_it_little():
    """y = a x^2 has radius 1 / (2 a) at its foot and (1 + (2 a x)^2)^1.5 / (2 a) further out."""
    a, x = 60 / 200**2, np.linspace(-200, 200, 80)
    points = np.column_stack([x, a * x**2])
    steps = np.hypot(*np.diff(points, axis=0).T)
    heading = np.arctan(2 * a * x)
    runs = list(zip(steps, np.diff(heading), strict=True))
    zones = [z for z, _, _ in wall(runs, steps=1)]
    assert 2 <= len(zones) <= 5
    assert sum(z.angle for z in zones) == pytest.approx(math.degrees(2 * math.atan(2 * a * 200)), abs=0.2)
    assert all(z.miss <= 0.3 for z in zones)
    foot = 1 / (2 * a)
    assert min(z.least for z in zones) == pytest.approx(foot - 0.5, rel=0.06)
    outer = foot * (1 + (2 * a * 200) ** 2) ** 1.5
    assert zones[0].along[0] == pytest.approx(outer, rel=0.1)
    assert zones[-1].along[1] == pytest.approx(outer, rel=0.1)


@pytest.mark.parametrize("degrees", [8.0, 40.0, 80.0])
def test_a_sharp_corner_is_a_bend_with_the_radius_it_is_laid_out_for(degrees):
    """Up between two straights: as long as (r + K t) a, half from either side."""
    zones = wall([(60, 0), (0, math.radians(degrees)), (45, 0)], sharp_radius=2.0)
    assert [z.kind for z, _, _ in zones] == ["flat", "bend", "flat"]
    bend, start, end = zones[1]
    assert (bend.angle, bend.up, bend.radius) == (pytest.approx(degrees), True, pytest.approx(2.0))
    assert end - start == pytest.approx(2.5 * math.radians(degrees), abs=0.01)
    assert (start + end) / 2 == pytest.approx(60, abs=0.01)
    takes = 2 * 2.5 * math.tan(math.radians(degrees) / 2) - 2.5 * math.radians(degrees)
    said = sharp_note([zone for zone, _, _ in zones], 1.0, 0.5)
    assert bool(said) == (takes > 0.2)
    assert all(f"{takes:.1f} mm" in note for note in said)


def test_a_flat_piece_is_one_flat_zone():
    ((zone, _, _),) = wall([(60, 0), (40, 0.0002), (45, 0)])
    assert zone.kind == "flat"
    assert zone.radius == math.inf


@settings(max_examples=25, deadline=None)
@given(
    st.lists(st.tuples(st.floats(20, 80), st.floats(6, 60), st.floats(25, 120), st.booleans()), min_size=1, max_size=3)
)
def test_straights_and_arcs_come_back(parts):
    """Whatever a wall is made of, each arc comes back with its turn, its side and its radius, and the turns add up."""
    runs = [(30.0, 0.0)]
    for straight, radius, degrees, up in parts:
        runs += [arc(radius, degrees if up else -degrees), (straight, 0.0)]
    zones = wall(runs)
    total = sum(z.angle * (1 if z.up else -1) for z, _, _ in zones)
    assert total == pytest.approx(math.degrees(sum(turn for _, turn in runs)), abs=0.3)
    found = [z for z, _, _ in zones if z.kind != "flat"]
    assert len(found) == len(parts)
    for zone, (_, radius, degrees, up) in zip(found, parts, strict=True):
        assert zone.up == up
        assert zone.angle == pytest.approx(degrees, abs=0.5)
        assert zone.radius + 0.5 == pytest.approx(radius, rel=0.05, abs=0.3)


def test_mesh_that_does_not_follow_the_rulings():
    """A cylinder meshed between two rails sampled at different places: no triangle is right, and the whole is, but for
    the halves of the first and the last triangles that no other one continues."""
    rng = np.random.default_rng(4)
    radius, long = 80.0, 200.0
    rails = [np.sort(np.r_[0, long, rng.uniform(0, long, n)]) for n in (45, 52)]
    from panels.cutting_mesh import zipper

    one, two = np.arange(len(rails[0])), len(rails[0]) + np.arange(len(rails[1]))
    flat = np.vstack([np.c_[rails[0], 0 * rails[0]], np.c_[rails[1], 0 * rails[1] + 40]])
    faces = zipper(one, two, *rails)
    v = flat[faces]
    a, b = v[:, 1] - v[:, 0], v[:, 2] - v[:, 0]
    wrong = a[:, 0] * b[:, 1] < a[:, 1] * b[:, 0]
    faces[wrong] = faces[wrong][:, ::-1]
    angle = flat[:, 0] / radius
    solid = np.column_stack([radius * np.sin(angle), flat[:, 1], radius - radius * np.cos(angle)])
    zones = roll_zones(solid, faces, flat, box(0, 0, long, 40), thickness=1.0, k_factor=0.5)
    assert len(zones) <= 5
    assert all(z.up or z.kind == "flat" for z in zones)
    assert sum(z.angle for z in zones) == pytest.approx(math.degrees(long / radius), rel=0.06)
    for zone in zones:
        for line in (zone.start, zone.end):
            assert np.ptp(line[:, 0]) < 0.5


def test_neck_wall_is_round_over_a_half_turn():
    """The neck relief of the test tank has radius 26 towards the frame; ahead of its axis the wall runs straight."""
    zones = blanks("necked", "halves")["neck wall"].rolls
    assert [z.kind for z in zones] == ["flat", "rolled", "flat"]
    assert zones[1].angle == pytest.approx(180, abs=0.5)
    assert zones[1].up
    assert zones[1].radius == pytest.approx(26, abs=0.15)


def test_half_tube_is_one_zone():
    """Outside diameter 200, t 1.6: rolled to an inside radius of 98.4, away from the good face, by 180 degrees."""
    (zone,) = blanks("tube", "halves")["skin right"].rolls
    assert zone.radius == pytest.approx(100 - THICKNESS, abs=0.15)
    assert zone.angle == pytest.approx(180, abs=0.5)
    assert not zone.up


@pytest.mark.parametrize("tank", [("saddle", "crown and sides"), ("necked", "halves"), ("tube", "halves")])
def test_zones_of_a_pair_are_mirror_images(tank):
    made = blanks(*tank)
    pairs = [(b, made[b.mirrors]) for b in made.values() if b.mirrors and b.kind == "rolled"]
    assert pairs
    for left, right in pairs:
        assert len(left.rolls) == len(right.rolls) > 0
        for one, two in zip(left.rolls, right.rolls, strict=True):
            assert (one.kind, one.angle, one.up, one.radius) == (two.kind, two.angle, two.up, two.radius)
            assert one.start * [1, -1] == pytest.approx(two.start)
            assert one.end * [1, -1] == pytest.approx(two.end)
            for line in (one.start, one.end):
                assert left.outline.buffer(0.01).covers(LineString(line))


@pytest.mark.parametrize("tank", [("saddle", "crown and sides"), ("vault", "widest line"), ("barrel", "halves")])
def test_zones_lie_end_to_end_and_only_rolled_pieces_have_them(tank):
    for blank in blanks(*tank).values():
        assert bool(blank.rolls) == (blank.kind == "rolled"), blank.name
        for one, two in zip(blank.rolls[:-1], blank.rolls[1:], strict=True):
            assert one.end == pytest.approx(two.start)


def test_bends_tighter_than_published_are_looked_at():
    """5052-H32 of 1.6 mm asks for 1.6 mm (Aluminum Association table, see tests/published/min_bend_radius.csv)."""
    from dataclasses import replace

    (piece,) = (b for b in blanks("tube", "halves").values() if b.name == "skin right")
    least = minimum_radius("5052", "H32", 1.6)
    assert least.radius == pytest.approx(1.6)
    assert tight_rolls([piece], least) == ()
    tight = replace(piece.rolls[0], kind="bend", radius=1.0, along=(1.0, 1.0), across=(1.0, 1.0))
    (found,) = tight_rolls([replace(piece, rolls=(tight,))], least)
    assert (found.strength, found.pattern) == ("look", "skin right")
    assert "1.0 mm" in found.found
    assert "1.6 mm" in found.allowed
