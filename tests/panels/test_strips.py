"""Slit patterns against closed forms: what the gaps must add up to on sphere, torus, saddle and tube.

Row values from tests/published/development-checks.csv (T1, H1); gores of a sphere are usual sheet-metal drafting:
a gore of n is 2 R sin(pi / n) wide at the equator along the chord, and that times cos(latitude) elsewhere.
"""

import numpy as np
import pytest

from panels.errors import PanelsError, StripError
from panels.strips import slit_pattern
from tests.panels import develop_shapes as shapes
from tests.panels.develop_shapes import published


def sphere(rows=61, columns=41, along_deg=60.0, half_deg=40.0, radius=100.0):
    """Columns to the right are latitudes growing east to west; rows ahead are meridians; seen from outside."""
    lam = np.radians(along_deg) * np.linspace(-0.5, 0.5, rows)[:, None]
    phi = np.radians(np.linspace(-half_deg, half_deg, columns))[None, :]
    one = np.ones_like(lam * phi)
    return radius * np.stack([np.cos(phi) * np.cos(lam), -np.cos(phi) * np.sin(lam), -np.sin(phi) * one], axis=-1)


def torus(rows=121, columns=41):
    u = np.radians(np.linspace(-30, 30, rows))[:, None]
    v = np.radians(np.linspace(45, -45, columns))[None, :]
    r = 150 + 60 * np.cos(v)
    return np.stack([r * np.cos(u), r * np.sin(u), 60 * np.sin(v) * np.ones_like(u)], axis=-1)


def saddle(rows=201, columns=21):
    x, y = np.linspace(-100, 100, rows)[:, None], np.linspace(100, -100, columns)[None, :]
    return np.stack([x + 0 * y, y + 0 * x, x * y / 200], axis=-1)


def lengths(points):
    return np.linalg.norm(np.diff(points, axis=0), axis=1).sum()


def same_sides(pattern, grid):
    """Every strip keeps its rails and its rulings; none is turned over."""
    lines = grid if pattern.run == "across" else grid.transpose(1, 0, 2)
    for strip in pattern.strips:
        low, high = lines[strip.first], lines[strip.first + 1]
        left, right = (high, low) if pattern.run == "across" else (low, high)
        for flat, solid in ((strip.left, left), (strip.right, right)):
            assert lengths(flat) == pytest.approx(lengths(solid))
        rulings = np.linalg.norm(strip.right - strip.left, axis=1)
        assert rulings == pytest.approx(np.linalg.norm(right - left, axis=1))
        assert strip.area > 0


def test_gaps_of_a_sphere_are_the_missing_parallel():
    """Strips between meridians, joined on the equator: the gaps add up to R dl (1 - cos latitude), to be shrunk."""
    grid = sphere()
    pattern = slit_pattern(grid)
    same_sides(pattern, grid)
    phi = np.radians(np.linspace(-40, 40, 41))
    joints = len(pattern.joints)
    expected = 100 * np.radians(60) * joints / (joints + 1) * (1 - np.cos(phi))
    assert pattern.total_gap == pytest.approx(expected, abs=0.01)
    assert (pattern.total_gain <= 1e-9).all()
    assert pattern.place == pytest.approx(100 * phi, abs=0.05)
    widths = np.linalg.norm(pattern.strips[7].right - pattern.strips[7].left, axis=1)
    assert widths == pytest.approx(2 * 100 * np.sin(np.radians(60) / 60 / 2) * np.cos(phi))


def test_gaps_of_the_torus():
    """T1: the equator is 219.911 mm long, the edge at 45 degrees 201.508: the difference is to be shrunk away."""
    pattern = slit_pattern(torus())
    missing = published("T1", "spine blank length") - published("T1", "short edge arc")
    every = len(pattern.strips) / len(pattern.joints)
    assert pattern.total_gap[[0, -1]] * every == pytest.approx([missing, missing], abs=0.02)
    assert pattern.total_gap[20] == pytest.approx(0, abs=1e-9)


def test_overlaps_of_the_saddle():
    """H1: strips lie over each other towards the edges, metal must be stretched, by how much wider they are there.

    First form of z = x y / c: E = 1 + y^2/c^2, F = x y/c^2, G = 1 + x^2/c^2. Square to the sections x = constant
    the panel is sqrt((E G - F^2) / G) dx wide, against dx on the middle line.
    """
    pattern = slit_pattern(saddle())
    x = (np.arange(20_000) + 0.5) / 100 - 100
    wide = np.sqrt((1 + (x**2 + 100**2) / 200**2) / (1 + x**2 / 200**2))
    every = len(pattern.strips) / len(pattern.joints)
    assert pattern.total_gain[[0, -1]] * every == pytest.approx(200 * (wide - 1).mean(), abs=0.05)
    assert pattern.worst_gap < 0


@pytest.mark.parametrize("run", ["across", "along"])
def test_tube_has_no_gaps(run):
    """On a developable all strips close up, and their areas add up to the panel's."""
    t, x = np.linspace(0, 2.5, 41)[None, :], np.linspace(0, 200, 21)[:, None]
    grid = np.stack([80 * np.cos(t) + 0 * x, x + 0 * t, 80 * np.sin(t) + 0 * x], axis=-1)[:, ::-1]
    pattern = slit_pattern(grid, run=run)
    same_sides(pattern, grid)
    assert np.abs(pattern.total_gap).max() < 1e-9
    assert pattern.twist < 1e-9
    chord = 2 * 80 * np.sin(2.5 / 40 / 2) * 40
    assert sum(strip.area for strip in pattern.strips) == pytest.approx(chord * 200)


def test_long_gores_open_at_both_ends():
    """Strips along a sphere part from their best place, the middle, alike to both ends; and join there truly."""
    grid = sphere(rows=61, columns=9, along_deg=80, half_deg=30)
    pattern = slit_pattern(grid, run="along")
    same_sides(pattern, grid)
    for joint in pattern.joints:
        assert joint.held == 30
        assert joint.gap[30] == pytest.approx(0, abs=1e-9)
        assert (np.diff(joint.gap[30:]) > -1e-9).all()
        assert joint.gap == pytest.approx(joint.gap[::-1], abs=1e-6)
    # Two strips of width w, each bending away by half: K w s^2 / 2 at distance s.
    width, s = 100 * np.radians(60 / 8), pattern.joints[3].place[40] - pattern.joints[3].place[30]
    assert pattern.joints[3].gap[40] == pytest.approx(width * s**2 / 2 / 100**2, rel=0.02)


def test_pattern_is_seen_from_outside():
    """A flat grid comes out as it lies: rows ahead along y, columns to the right along x."""
    x, y = np.linspace(0, 30, 4)[None, :], np.linspace(0, 50, 6)[:, None]
    grid = np.stack([x + 0 * y, y + 0 * x, 0 * x * y], axis=-1)
    for run in ("across", "along"):
        strips = slit_pattern(grid, run=run, spine=1).strips
        assert [strip.first for strip in strips] == list(range(5 if run == "across" else 3))
        middles = np.array([strip.outline.mean(axis=0) for strip in strips])
        assert (np.diff(middles[:, 1 if run == "across" else 0]) > 1).all()
        assert np.ptp(middles[:, 0 if run == "across" else 1]) < 1e-9


def test_mirrored_panel_gives_the_mirrored_pattern():
    """Reflect the panel and number its columns the other way: gaps stay, positions are reflected."""
    vertices, _ = shapes.tank_quarter(30, 12)
    grid = vertices.reshape(31, 13, 3)
    right = slit_pattern(grid, spine=4)
    left = slit_pattern(grid[:, ::-1] * [1, -1, 1], spine=8)
    assert left.total_gap[::-1] == pytest.approx(right.total_gap, abs=0.05)


def test_strips_may_come_to_a_point():
    """A tank's pointed end: the last row is one point, its strip a fan."""
    x, t = np.linspace(0, 100, 11)[:, None], np.linspace(-1, 1, 9)[None, :]
    size = np.sqrt(1 - x / 100)
    grid = np.stack([40 * size * t, x + 0 * t, 20 * size * np.sqrt(2 - t * t)], axis=-1)
    pattern = slit_pattern(grid, run="along")
    assert all(np.isfinite(strip.outline).all() for strip in pattern.strips)


def test_bad_grids_are_named():
    """Shape, number, spine, run."""
    grid = saddle(5, 4)
    with pytest.raises(StripError, match=r"shape \(5, 4\)"):
        slit_pattern(grid[..., 0])
    spoilt = grid.copy()
    spoilt[2, 1, 0] = np.nan
    with pytest.raises(StripError, match="row 2, column 1") as caught:
        slit_pattern(spoilt)
    assert isinstance(caught.value, PanelsError)
    with pytest.raises(StripError, match="spine is column 9, the grid has columns 0 to 3"):
        slit_pattern(grid, spine=9)
    with pytest.raises(StripError, match="choose one of across, along"):
        slit_pattern(grid, run="around")
    with pytest.raises(StripError, match="row 7"):
        slit_pattern(grid, run="along", held=7)
