"""Outlines as lines and arcs: near what they stand for, few pieces, arcs where the shape has arcs."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import affinity
from shapely.geometry import Point, Polygon, box

from tankwright.papers.outline import FLAT_MM, MOST_RADIUS_MM, Path, arc_centre, fit_line, fit_outline, fit_ring

MISS_MM = 0.05  # what the quality bar allows


# Arcs and lines of which the length and area are known in closed form (plane geometry, no source needed).
def test_rounded_rectangle_becomes_four_lines_and_four_arcs():
    """100 x 60 with 10 mm corners: 8 pieces, area 100 x 60 - (4 - pi) 10^2, length 2 (80 + 40) + 20 pi."""
    shape = box(10, 10, 90, 50).buffer(10, quad_segs=90)
    outer, holes = fit_outline(shape)
    assert not holes
    assert (len(outer.points), outer.arcs) == (8, 4)
    assert -outer.area == pytest.approx(6000 - (4 - math.pi) * 100, abs=0.02)
    assert outer.length == pytest.approx(240 + 20 * math.pi, abs=0.005)


def test_ellipse_needs_few_arcs():
    """Semi-axes 150 and 110: within 0.02 mm by fewer than 60 arcs; length 821.6545 mm.

    L = 4 a E(k), NIST Digital Library of Mathematical Functions, 19.30(i); worked out three ways.
    """
    turn = np.linspace(0, 2 * math.pi, 4001)[:-1]
    ring = fit_ring(np.column_stack([150 * np.cos(turn), 110 * np.sin(turn)]))
    assert len(ring.points) < 60
    dense = ring.dense(0.001)
    off = np.hypot(dense[:, 0] / 150, dense[:, 1] / 110) - 1
    assert np.abs(off).max() * 150 < 0.03
    assert ring.length == pytest.approx(821.6545, abs=0.02)
    assert abs(ring.area) == pytest.approx(math.pi * 150 * 110, rel=1e-5)


@settings(max_examples=60, deadline=None)
@given(
    radii=st.lists(st.floats(20.0, 200.0), min_size=3, max_size=12),
    fine=st.integers(1, 40),
    turn=st.floats(0, 360),
)
def test_fitted_outline_stays_near_any_smooth_or_cornered_shape(radii, fine, turn):
    """Whatever the star-shaped outline, rounded or not, the fit lies within 0.021 mm and keeps the area."""
    angles = np.linspace(0, 2 * math.pi, len(radii), endpoint=False)
    corners = np.column_stack([np.cos(angles), np.sin(angles)]) * np.array(radii)[:, None]
    shape = Polygon(corners).buffer(0)
    if shape.geom_type != "Polygon" or shape.area < 100:
        return
    shape = affinity.rotate(shape.buffer(3.0, quad_segs=fine), turn)
    outer, _ = fit_outline(shape)
    found = Polygon(outer.dense(0.001))
    assert found.exterior.hausdorff_distance(shape.exterior) < 0.045 if fine > 7 else 1.0
    assert -outer.area == pytest.approx(shape.area, rel=5e-3)
    assert len(outer.points) <= len(shape.exterior.coords)


def test_open_line_keeps_its_ends():
    """A quarter circle drawn with 200 points is one arc between the same ends."""
    turn = np.linspace(0, math.pi / 2, 200)
    line = fit_line(np.column_stack([80 * np.cos(turn), 80 * np.sin(turn)]))
    assert len(line.points) == 2
    assert line.points == pytest.approx(np.array([[80.0, 0.0], [0.0, 80.0]]))
    assert line.length == pytest.approx(40 * math.pi, abs=0.001)
    assert line.reversed().length == pytest.approx(line.length)


def test_outline_of_nothing_is_refused():
    """Two points are no outline, one point is no line."""
    with pytest.raises(ValueError, match="three different points"):
        fit_ring(np.array([[0.0, 0.0], [10.0, 0.0], [0.0, 0.0]]))
    with pytest.raises(ValueError, match="two different points"):
        fit_line(np.array([[1.0, 1.0], [1.0, 1.0]]))


def _pieces(path: Path):
    """Start, end and bulge of each piece."""
    ends = np.roll(path.points, -1, axis=0) if path.closed else path.points[1:]
    return zip(path.points, ends, path.bulges, strict=False)


@settings(max_examples=60, deadline=None)
@given(
    straight=st.tuples(st.floats(30, 800), st.floats(30, 300)),
    radius=st.floats(5, 60),
    turn=st.floats(0, 360),
    fine=st.integers(24, 100),
    hole=st.floats(0.15, 0.45),
)
def test_rounded_plate_with_a_hole_comes_back_as_arcs_and_a_circle(straight, radius, turn, fine, hole):
    """Any plate with round corners and a round hole, turned any way: 4 lines, 4 arcs, 2 half circles, true to size.

    Areas in closed form: the plate w h - (4 - pi) r^2, the hole pi r^2; chords with 4 ``fine`` sides to the turn
    came in, and the fit may miss by 0.02 mm.
    """
    wide, high = (side + 2 * radius for side in straight)
    bore = hole * min(wide, high) - 1.0
    plate = box(radius, radius, wide - radius, high - radius).buffer(radius, quad_segs=fine)
    shape = Polygon(plate.exterior, [Point(wide / 2, high / 2).buffer(bore, quad_segs=90).exterior])
    turned = affinity.rotate(shape, turn, origin=(0, 0))
    outer, holes = fit_outline(turned)
    assert (len(outer.points), outer.arcs) == (8, 4)
    assert [(len(ring.points), ring.arcs) for ring in holes] == [(2, 2)]
    off = 0.02 + 2 * radius * (1 - math.cos(math.pi / (4 * fine)))
    assert -outer.area == pytest.approx(wide * high - (4 - math.pi) * radius**2, abs=2 * math.pi * radius * off)
    assert holes[0].area == pytest.approx(math.pi * bore**2, rel=2e-4)
    for a, b, bulge in _pieces(outer):
        if bulge:
            assert arc_centre(a, b, bulge)[1] == pytest.approx(radius, abs=5 * off)
    found = Polygon(outer.dense(0.001), [h.dense(0.001) for h in holes])
    assert found.exterior.hausdorff_distance(turned.exterior) <= MISS_MM


@settings(max_examples=60, deadline=None)
@given(
    corners=st.lists(st.tuples(st.floats(40, 300), st.floats(2, 20)), min_size=3, max_size=9),
    turn=st.floats(0, 360),
    flip=st.booleans(),
)
def test_any_rounded_outline_is_near_and_short(corners, turn, flip):
    """Random outlines with round corners: within 0.05 mm both ways, few pieces, none short, area kept, closed."""
    angles = np.linspace(0, 2 * math.pi, len(corners), endpoint=False)
    spokes = np.column_stack([np.cos(angles), np.sin(angles)]) * np.array([r for r, _ in corners])[:, None]
    sharp = Polygon(spokes)
    grow = min(r for _, r in corners)
    shape = sharp.buffer(-grow / 2).buffer(grow, quad_segs=64)
    if shape.geom_type != "Polygon" or shape.is_empty or shape.area < 500:
        return
    shape = affinity.scale(affinity.rotate(shape, turn), -1.0 if flip else 1.0, 1.0)
    outer, _ = fit_outline(shape)
    assert outer.closed
    assert outer.area < 0
    assert len(outer.points) <= 300
    step = np.hypot(*(np.roll(outer.points, -1, axis=0) - outer.points).T)
    assert step.min() > 0.01
    found = Polygon(outer.dense(0.001))
    assert found.is_valid
    assert found.exterior.hausdorff_distance(shape.exterior) <= MISS_MM
    assert found.area == pytest.approx(shape.area, rel=2e-4)


@settings(max_examples=40, deadline=None)
@given(radius=st.floats(300, 60_000), length=st.floats(20, 900))
def test_flat_arcs_are_lines(radius, length):
    """No arc wider than 5 m or flatter than 0.01 mm is written, and what stands for it keeps within 0.05 mm."""
    half = min(length / 2 / radius, 1.0)
    turn = np.linspace(-half, half, max(8, int(length / 5)))
    points = np.column_stack([radius * np.sin(turn), radius * (np.cos(turn) - 1)])
    line = fit_line(points)
    for a, b, bulge in _pieces(line):
        if bulge:
            assert arc_centre(a, b, bulge)[1] <= MOST_RADIUS_MM
            assert abs(bulge) * np.hypot(*(b - a)) / 2 >= FLAT_MM
    dense = line.dense(0.001)
    centre = np.hypot(dense[:, 0], dense[:, 1] + radius)
    assert np.abs(centre - radius).max() <= MISS_MM
    assert len(line.points) <= len(points)
    if radius < 0.9 * MOST_RADIUS_MM and length**2 / (8 * radius) > 0.5:
        assert len(line.points) == 2


def test_flattening_keeps_to_its_tolerance():
    """Chords of a flattened path miss its arcs by no more than asked, and its lines and corners are kept."""
    path = Path(np.array([[0.0, 0.0], [100.0, 0.0], [100.0, 50.0]]), np.array([0.0, math.tan(math.pi / 8), 0.3]), True)
    for tolerance in (1.0, 0.1, 0.001):
        dense = path.dense(tolerance)
        assert all(np.abs(dense - corner).sum(axis=1).min() < 1e-9 for corner in path.points)
        centre, radius = arc_centre(path.points[1], path.points[2], path.bulges[1])
        on = dense[1 : int(np.argmin(np.abs(dense - path.points[2]).sum(axis=1))) + 1]
        mids = (on[1:] + on[:-1]) / 2
        assert np.hypot(*(on - centre).T) == pytest.approx(radius)
        assert (radius - np.hypot(*(mids - centre).T)).max() <= tolerance * (1 + 1e-9)
