"""Ruled strips laid flat, against closed forms (tests/published/development-checks.csv, rows D1 to D9)."""

import csv
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from panels.errors import PanelsError, RailMismatch, UnrollError, ZeroRuling
from panels.unroll import unroll_strip

TABLE = Path(__file__).parents[1] / "published" / "development-checks.csv"
FINE = 100_001  # points on a rail: the chord error of a full turn is then below 1e-6 mm


def published(case, quantity):
    """Value of one row; the formula is in the row itself."""
    with TABLE.open(newline="") as rows:
        found = [
            float(r["value"])
            for r in csv.DictReader(rows)
            if r["id"] == case and r["quantity"].startswith(quantity)
        ]
    assert len(found) == 1, (case, quantity)
    return found[0]


def along(points):
    return np.linalg.norm(np.diff(points, axis=0), axis=1).sum()


def distances(points, centre):
    return np.linalg.norm(points - centre, axis=1)


def all_close(values, expected, tolerance):
    return np.abs(values - expected).max() <= tolerance


def area(left, right):
    ring = np.concatenate([left, right[::-1]])
    x, y = ring.T
    return 0.5 * abs(np.dot(x, np.roll(y, -1)) - np.dot(y, np.roll(x, -1)))


def angle_between(u, v):
    return np.degrees(np.arctan2(u[..., 0] * v[..., 1] - u[..., 1] * v[..., 0], (u * v).sum(-1)))


def opening(flat, apex):
    """Total angle that the flat rail turns about the apex, degrees, any number of turns."""
    ray = flat - apex
    return abs(angle_between(ray[:-1], ray[1:]).sum())


def circle(radius, t, z=0.0):
    return np.column_stack([radius * np.cos(t), radius * np.sin(t), np.broadcast_to(z, t.shape)])


def test_cylinder_opens_into_a_rectangle():
    """D1: a tube of radius 50 and height 120 opens 2 pi R wide."""
    t = np.linspace(0, 2 * np.pi, FINE)
    left, right = unroll_strip(circle(50, t), circle(50, t, 120.0))
    assert np.ptp(left[:, 1]) == pytest.approx(published("D1", "flat width"), abs=1e-6)
    assert area(left, right) == pytest.approx(published("D1", "area"), abs=1e-4)
    assert np.linalg.norm(left[0] - right[-1]) == pytest.approx(published("D1", "flat diagonal"), abs=1e-6)


def test_tube_cut_at_a_slant():
    """D2: the cut edge opens into a sine curve of length 4 (R / cos b) E(sin^2 b)."""
    t = np.linspace(0, 2 * np.pi, FINE)
    height = 100 + 50 * np.cos(t) * np.tan(np.radians(30))
    base, cut = unroll_strip(circle(50, t), circle(50, t, height))
    assert along(cut) == pytest.approx(published("D2", "cut edge length"), abs=1e-6)
    assert area(base, cut) == pytest.approx(published("D2", "area"), abs=1e-4)
    eighth = (FINE - 1) // 8
    assert cut[eighth, 0] - base[eighth, 0] == pytest.approx(published("D2", "height at s"), abs=1e-8)
    assert cut[:, 0].max() == pytest.approx(published("D2", "max edge height"), abs=1e-8)


def test_cone_frustum():
    """D3: two arcs about one centre, 216 degrees of them."""
    t = np.linspace(0, 2 * np.pi, FINE)
    outer, inner = unroll_strip(circle(100, t), circle(40, t, 80.0))
    assert np.linalg.norm(outer[0] - inner[0]) == pytest.approx(published("D3", "slant"), abs=1e-9)
    apex = outer[0] + (inner[0] - outer[0]) * 100 / 60
    assert all_close(distances(outer, apex), published("D3", "outer flat radius"), 1e-6)
    assert all_close(distances(inner, apex), published("D3", "inner flat radius"), 1e-6)
    assert opening(outer, apex) == pytest.approx(published("D3", "sector angle"), abs=1e-6)
    assert area(outer, inner) == pytest.approx(published("D3", "area"), abs=1e-4)


def oblique_cone(points):
    t = np.linspace(0, 2 * np.pi, points)
    base = circle(60, t)
    return unroll_strip(np.broadcast_to([40.0, 0.0, 100.0], base.shape), base)


def test_oblique_cone():
    """D4: one rail stands still at the apex; angle, area and generators are integrals of the cosine rule."""
    apex, base = oblique_cone(FINE)
    assert np.ptp(apex, axis=0).max() < 1e-9
    ray = np.linalg.norm(base - apex[0], axis=1)
    assert ray.min() == pytest.approx(published("D4", "shortest generator"), abs=1e-9)
    assert ray.max() == pytest.approx(published("D4", "longest generator"), abs=1e-9)
    assert ray[(FINE - 1) // 4] == pytest.approx(published("D4", "generator at phi=90"), abs=1e-9)
    assert opening(base, apex[0]) == pytest.approx(published("D4", "total developed angle"), abs=1e-6)
    assert opening(base[: (FINE - 1) // 4 + 1], apex[0]) == pytest.approx(
        published("D4", "developed angle phi=0..90"), abs=1e-6
    )
    assert area(apex, base) == pytest.approx(published("D4", "area"), abs=1e-4)
    assert along(base) == pytest.approx(published("D4", "base edge length"), abs=1e-6)


# Total angle of the same cone with N chords, degrees; rows D4t, sums of cosine-rule angles.
@pytest.mark.parametrize(
    "chords, degrees",
    [
        (12, 172.13495742138),
        (16, 172.8308407388),
        (24, 173.32675959265),
        (48, 173.62384670276),
        (96, 173.69806354231),
    ],
)
def test_shop_triangulation_of_the_oblique_cone(chords, degrees):
    """D4t: with N chords the answer is the shop's triangulation to the last digit."""
    apex, base = oblique_cone(chords + 1)
    assert opening(base, apex[0]) == pytest.approx(degrees, abs=1e-9)


def test_tangents_of_a_helix():
    """D5: the edge of regression keeps its length and its curvature, so it becomes an arc."""
    a, b, reach = 30.0, 20.0, 80.0
    t = np.linspace(0, 2 * np.pi, FINE)
    edge = circle(a, t, b * t)
    tangent = np.column_stack([-a * np.sin(t), a * np.cos(t), np.full_like(t, b)]) / np.hypot(a, b)
    inner, outer = unroll_strip(edge, edge + reach * tangent)
    # Three points fix the circle; all the others must then lie on it.
    p, q, r = inner[0], inner[FINE // 3], inner[2 * FINE // 3]
    centre = np.linalg.solve(2 * np.array([q - p, r - p]), [q @ q - p @ p, r @ r - p @ p])
    assert all_close(distances(inner, centre), published("D5", "flat edge-of-regression radius"), 1e-3)
    assert all_close(distances(outer, centre), published("D5", "flat outer radius"), 2e-3)
    assert opening(outer, centre) == pytest.approx(published("D5", "flat arc angle per turn"), abs=1e-2)
    assert along(inner) == pytest.approx(published("D5", "inner edge length"), abs=1e-6)
    assert along(outer) == pytest.approx(published("D5", "outer edge length"), abs=1e-4)


@pytest.mark.parametrize("degrees", [15, 30, 45, 60, 75, 90])
def test_oval_tube(degrees):
    """D6: arcs of an ellipse by the second elliptic integral."""
    t = np.linspace(0, np.radians(degrees), 20_001)
    rail = np.column_stack([125 * np.cos(t), 90 * np.sin(t), 0 * t])
    left, _ = unroll_strip(rail, rail + [0, 0, 70.0])
    assert np.ptp(left[:, 1]) == pytest.approx(
        published("D6", f"arc from (a,0) to eccentric angle {degrees} deg"), abs=1e-6
    )


def test_oval_cone():
    """D7: angle is the integral of |g x g'| / |g|^2."""
    t = np.linspace(0, 2 * np.pi, FINE)
    base = np.column_stack([120 * np.cos(t), 70 * np.sin(t), 0 * t])
    apex, rim = unroll_strip(np.broadcast_to([0, 0, 90.0], base.shape), base)
    assert opening(rim, apex[0]) == pytest.approx(published("D7", "total developed angle"), abs=1e-6)
    assert opening(rim[: (FINE - 1) // 8 + 1], apex[0]) == pytest.approx(
        published("D7", "angle phi=0..45"), abs=1e-6
    )
    assert area(apex, rim) == pytest.approx(published("D7", "area"), abs=1e-4)


def test_tunnels():
    """D8, D9: a parabolic tunnel and a U tunnel by their girths."""
    x = np.linspace(-40, 40, 100_001)
    rail = np.column_stack([x, 60 * (1 - (x / 40) ** 2), 0 * x])
    assert np.ptp(unroll_strip(rail, rail + [0, 0, 9])[0][:, 1]) == pytest.approx(
        published("D8", "developed width"), abs=1e-6
    )
    t = np.linspace(np.pi, 0, 100_001)
    u = np.concatenate(
        [[[-30, -45, 0]], np.column_stack([30 * np.cos(t), 30 * np.sin(t), 0 * t]), [[30, -45, 0]]]
    )
    assert np.ptp(unroll_strip(u, u + [0, 0, 9])[0][:, 1]) == pytest.approx(
        published("D9", "developed width"), abs=1e-6
    )


def test_left_stays_left():
    """Seen from above, a strip whose left rail is on the left lands that way up: +x right, +y ahead."""
    left, right = unroll_strip([[0, 0, 0], [0, 10, 0], [0, 20, 0]], [[5, 0, 0], [5, 10, 0], [5, 20, 0]])
    assert left.tolist() == [[0, 0], [0, 10], [0, 20]]
    assert right.tolist() == [[5, 0], [5, 10], [5, 20]]


def test_strip_may_come_to_a_point_at_both_ends():
    """A lens of three rulings, the outer two of no length, keeps its four edges."""
    left = np.array([[0, 0, 0], [-3, 4, 0], [0, 8, 0]], float)
    right = np.array([[0, 0, 0], [3, 4, 0], [0, 8, 0]], float)
    flat_left, flat_right = unroll_strip(left, right)
    assert (along(flat_left), along(flat_right)) == pytest.approx((10, 10))
    assert flat_left[[0, 2]] == pytest.approx(flat_right[[0, 2]])
    assert area(flat_left, flat_right) == pytest.approx(24)


@settings(max_examples=60, deadline=None)
@given(st.integers(2, 12), st.integers(0, 10_000), st.sampled_from([1e-6, 1.0, 1e6]))
def test_edges_rulings_and_one_diagonal_keep_their_length(points, seed, scale):
    """Lengths come out true at any scale; a reflected strip has the same flat."""
    rng = np.random.default_rng(seed)
    left, right = rng.normal(size=(2, points, 3)) * scale
    a, b = unroll_strip(left, right)
    for flat, solid in [
        (np.diff(a, axis=0), np.diff(left, axis=0)),
        (np.diff(b, axis=0), np.diff(right, axis=0)),
        (b - a, right - left),
        (a[1:] - b[:-1], left[1:] - right[:-1]),
    ]:
        assert np.linalg.norm(flat, axis=1) == pytest.approx(np.linalg.norm(solid, axis=1), rel=1e-9)
    mirrored = unroll_strip(left * [1, 1, -1], right * [1, 1, -1])
    assert mirrored[0] == pytest.approx(a, rel=1e-9, abs=1e-9 * scale)


def test_bad_strips_get_one_clear_message():
    """Errors say which rail, which point, both numbers."""
    with pytest.raises(RailMismatch, match="3 points on the left, 2 on the right") as caught:
        unroll_strip(np.eye(3), np.eye(3)[:2])
    assert (caught.value.left, caught.value.right) == (3, 2)
    with pytest.raises(ZeroRuling, match="point 1 of 3") as caught:
        unroll_strip([[0, 0, 0], [1, 0, 0], [2, 0, 0]], [[0, 1, 0], [1, 0, 0], [2, 1, 0]])
    assert caught.value.step == 1
    with pytest.raises(UnrollError, match="Point 1 of the right rail"):
        unroll_strip(np.zeros((2, 3)), [[0, 0, 1], [0, np.nan, 1]])
    with pytest.raises(UnrollError, match="at least 2"):
        unroll_strip(np.zeros((1, 3)), np.ones((1, 3)))
    assert ZeroRuling.__mro__[1:] == UnrollError.__mro__
    assert UnrollError.__bases__ == (PanelsError, ValueError)
