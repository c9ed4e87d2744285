"""Margins outside an outline: areas in closed form, corners full, hollow and sharp."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely.geometry import Point, Polygon

from panels.margins import CORNER_REACH, with_margins

SQUARE = np.array([[0.0, 0.0], [100, 0], [100, 100], [0, 100]])
ELL = np.array([[0.0, 0.0], [200, 0], [200, 80], [90, 80], [90, 200], [0, 200]])


def test_no_margin_leaves_the_outline_as_it_is():
    """Nothing to leave, nothing changed."""
    assert with_margins(ELL, np.zeros(6)).equals(Polygon(ELL))


def test_square_with_four_different_margins_is_a_rectangle():
    """Margins run on to the corner of their outer lines: (100 + right + left) x (100 + top + bottom)."""
    grown = with_margins(SQUARE, np.array([5.0, 10, 20, 3]))
    assert grown.area == pytest.approx((100 + 10 + 3) * (100 + 5 + 20), abs=1e-3)
    assert grown.bounds == pytest.approx((-3, -5, 110, 120), abs=1e-4)


def test_edge_without_margin_stops_its_neighbours():
    """Next to an edge with nothing outside it, the margin ends on that edge's line."""
    grown = with_margins(SQUARE, np.array([0.0, 10, 0, 0]))
    assert grown.area == pytest.approx(110 * 100, abs=1e-3)
    assert grown.bounds == pytest.approx((0, 0, 110, 100), abs=1e-4)


def test_ell_with_a_margin_on_every_edge():
    """An L of 200 x 200 less 110 x 120, grown by m all round: both rectangles grow by m a side."""
    m = 12.0
    grown = with_margins(ELL, np.full(6, m))
    exact = (200 + 2 * m) ** 2 - (200 - 90) * (200 - 80)
    assert grown.area == pytest.approx(exact, abs=1e-3)


def test_ell_with_different_margins_in_its_hollow_corner():
    """In a hollow corner each margin keeps its own width, and they share where they overlap."""
    grown = with_margins(ELL, np.array([0.0, 0, 7, 15, 0, 0]))
    net = 200 * 80 + 90 * 120
    assert grown.area == pytest.approx(net + 7 * 110 + 15 * 120 - 7 * 15, abs=1e-3)


def test_margin_runs_up_to_a_slanting_hollow_edge():
    """A hollow corner of 135 degrees with nothing on one edge: no bite is left between margin and edge."""
    ring = np.array([[0.0, 0], [100, 0], [200, 100], [200, 200], [0, 200]])
    grown = with_margins(ring, np.array([10.0, 0, 0, 0, 0]))
    # the strip under the first edge, ended by the slanting edge carried down: no corner there (it is full) ...
    assert grown.area == pytest.approx(Polygon(ring).area + 10 * 100 - 10 * 10 / 2, abs=1e-3)
    hollow = np.array([[0.0, 0], [100, 0], [200, -100], [200, 200], [0, 200]])
    grown = with_margins(hollow, np.array([10.0, 0, 0, 0, 0]))
    assert grown.area == pytest.approx(Polygon(hollow).area + 10 * 100 + 10 * 10 / 2, abs=1e-3)


@pytest.mark.parametrize("degrees", [10, 25, 40])
def test_sharp_corner_is_cut_off(degrees):
    """A tip sharper than the limit reaches no further than the limit, cut square to its middle."""
    m, half = 10.0, np.radians(degrees) / 2
    tip = np.array([0.0, 0.0])
    foot = 300 * np.tan(half)
    ring = np.array([[0, 0], [300, -foot], [300, foot]])[[0, 1, 2]]
    grown = with_margins(ring, np.array([m, 0, m]))
    assert grown.bounds[0] == pytest.approx(-CORNER_REACH * m, abs=0.02)
    far = max(Point(tip).distance(Point(p)) for p in grown.exterior.coords if p[0] < 0)
    assert far < CORNER_REACH * m * 1.2
    # Nothing of the margin itself is lost: every point beside the edges is still covered.
    for s in (20.0, 150.0, 280.0):
        out = np.array([-np.sin(half), np.cos(half)])
        point = s * np.array([np.cos(half), np.sin(half)]) + (m - 0.01) * out
        assert grown.covers(Point(point))


@pytest.mark.parametrize("degrees", [6, 25, 60, 89.9])
@pytest.mark.parametrize("first", [True, False])
@pytest.mark.parametrize("trim", [0.0, 3.0])
def test_a_lap_ends_square_at_a_sharp_corner(degrees, first, trim):
    """A wedge from (300, 0) with a lap of 10 along its straight side: the lap ends where that side does, but for what
    the trim beside it stands out past the corner, trim x sin(angle). Trimmed margins run on as before."""
    angle = np.radians(degrees)
    ring = np.array([[0.0, 0], [300, 0], [300 - 300 * np.cos(angle), 300 * np.sin(angle)]])
    margins, stays = np.array([10.0, trim, 0.0]), np.array([True, False, False])
    if not first:  # the other hand: the lap comes after the corner
        ring, margins, stays = (ring * [1, -1])[[1, 0, 2]], margins[[0, 2, 1]], stays[[0, 2, 1]]
    lapped, trimmed = with_margins(ring, margins, stays=stays), with_margins(ring, margins)
    hand = 1 if first else -1
    past = trim * np.sin(angle)
    lap = [[0, 0], [300 + past, 0], [300 + past, -10 * hand], [0, -10 * hand]]
    assert lapped.buffer(0.01).covers(Polygon(lap))
    assert lapped.bounds[2] == pytest.approx(300 + past, abs=0.01)
    assert trimmed.buffer(0.01).covers(lapped)
    if trim == 0.0:
        far = min(10 / np.tan(angle), 20.0)
        assert trimmed.bounds[2] > 300 + 0.4 * far  # what used to hang past
        assert lapped.area == pytest.approx(Polygon(ring).area + 10 * 300, abs=0.5)
    assert with_margins(ring, margins, stays=np.zeros(3, bool)).equals(trimmed)


@pytest.mark.parametrize("hook", [(0.1, 0.2), (-0.05, 0.25), (0.3, 0.6)])
def test_a_hook_at_the_end_of_a_lap_does_not_lead_it_off(hook):
    """The wedge with the last bit of its lapped side turned aside: a strip square to that bit would stand 10 past."""
    ring = np.array([[0.0, 0], [300, 0], [300 + hook[0], hook[1]], [50, 90]])
    margins, stays = np.array([10.0, 10, 0, 0]), np.array([True, True, False, False])
    lapped = with_margins(ring, margins, stays=stays)
    assert lapped.bounds[2] < 300 + max(hook[0], 0) + 0.05
    assert with_margins(ring, margins).bounds[2] > 305
    assert lapped.area == pytest.approx(Polygon(ring).area + 10 * 300, abs=1.0)
    assert lapped.buffer(0.01).covers(Polygon(ring))
    other = with_margins((ring * [1, -1])[::-1], margins[[2, 1, 0, 3]], stays=stays[[2, 1, 0, 3]])
    assert other.area == pytest.approx(lapped.area, abs=1e-3)  # the other hand


def test_laps_of_one_width_and_blunt_corners_run_on():
    """Two laps that meet keep their corner, and so does a lap at a square or blunt corner."""
    wedge, stays = np.array([[0.0, 0], [300, 0], [20, 90]]), np.ones(3, bool)
    assert with_margins(wedge, np.full(3, 8.0), stays=stays).equals(with_margins(wedge, np.full(3, 8.0)))
    margins = np.array([5.0, 10, 20, 3])
    assert with_margins(SQUARE, margins, stays=np.ones(4, bool)).area == pytest.approx(113 * 125, abs=1e-3)


def test_blunt_corner_keeps_its_point():
    """A square corner is within the limit: the point is there."""
    grown = with_margins(SQUARE, np.full(4, 10.0))
    assert grown.covers(Point(109.999, 109.999))


def test_hole_keeps_metal_standing_inside_it():
    """A 40 x 40 hole with 5 mm left on each side is cut 30 x 30; with none it is cut as drawn."""
    hole = np.array([[30.0, 30], [30, 70], [70, 70], [70, 30]])  # clockwise
    for m, left in ((0.0, 40.0), (5.0, 30.0), (25.0, 0.0)):
        cut = with_margins(SQUARE, np.zeros(4), [(hole, np.full(4, m))])
        assert cut.area == pytest.approx(100**2 - left**2, abs=1e-3)
    assert with_margins(SQUARE, np.full(4, 10.0), [(hole, np.zeros(4))]).area == pytest.approx(120**2 - 40**2, abs=1e-3)


def star(values):
    """A ring round the origin, never crossing itself: one radius for each equal turn."""
    angle = 2 * np.pi * np.arange(len(values)) / len(values)
    return np.column_stack([np.cos(angle), np.sin(angle)]) * np.array(values)[:, None]


@settings(max_examples=120, deadline=None)
@given(st.lists(st.floats(40, 200), min_size=5, max_size=24), st.data())
def test_margins_cover_what_they_promise(radii, data):
    """Any outline: the grown shape is valid, holds the net shape, and every margin's strip lies in it."""
    ring = star(radii)
    margins = np.array(data.draw(st.lists(st.sampled_from([0.0, 3.0, 12.0]), min_size=len(ring), max_size=len(ring))))
    grown = with_margins(ring, margins)
    assert grown.is_valid
    assert grown.buffer(0.01).covers(Polygon(ring))
    ahead = np.roll(ring, -1, axis=0)
    along = (ahead - ring) / np.linalg.norm(ahead - ring, axis=1)[:, None]
    out = np.column_stack([along[:, 1], -along[:, 0]])
    long = np.linalg.norm(ahead - ring, axis=1) > 2 * CORNER_REACH * margins.max()
    middle = (ring + ahead) / 2 + (margins[:, None] - 0.02) * out
    full = grown.buffer(0.02)
    assert all(full.covers(Point(p)) for p in middle[long & (margins > 0)])
    # ... and nothing reaches further than a corner may.
    assert grown.within(Polygon(ring).buffer(margins.max() * CORNER_REACH * 1.2 + 0.05))
