"""What a development asks of the shaper, against closed forms of a spherical cap (rows S30) and plain counting."""

from dataclasses import replace

import numpy as np
import pytest
import shapely

from panels.develop import develop_mesh
from panels.errors import DevelopError
from panels.strain import edge_lengths, grid_lines, how_hard, strain_contours, vertex_strain
from tests.panels import develop_shapes as shapes
from tests.panels.develop_shapes import published
from tests.panels.test_develop import strain_again


@pytest.fixture(scope="module")
def cap():
    vertices, faces = shapes.cap(30)
    return vertices, develop_mesh(vertices, faces, aim="least_worst", shrink_cost=1e-6)


def test_rim_of_a_shrink_only_cap(cap):
    """The rim of the blank is 2 pi R a long, on the panel 2 pi R sin a: the difference is to be shrunk away."""
    vertices, skin = cap
    (rim,) = edge_lengths(skin, vertices)
    assert rim.length_surface == pytest.approx(2 * np.pi * 50, rel=1e-3)
    assert rim.length_blank == pytest.approx(
        2 * np.pi * published("S30", "azimuthal equidistant blank radius"), rel=0.003
    )
    assert rim.gain == pytest.approx(rim.length_surface - rim.length_blank)
    assert rim.share == pytest.approx(50 / 52.3598775598 - 1, abs=0.002)
    assert rim.hard() == "ordinary"


def test_edges_run_from_corner_to_corner():
    """A tube patch has four edges, none to gain or lose; named corners part them elsewhere; a hole is its own run."""
    vertices, faces = shapes.tube()
    skin = develop_mesh(vertices, faces)
    runs = edge_lengths(skin, vertices)
    assert sorted(round(run.length_blank, 6) for run in runs) == pytest.approx(
        [200, 200, 239.943755, 239.943755], abs=1e-3
    )
    assert max(abs(run.gain) for run in runs) < 1e-9
    half = len(skin.loops[0]) // 2
    named = edge_lengths(skin, vertices, corners=[skin.loops[0][3], skin.loops[0][3 + half]])
    assert [len(run.vertices) for run in named] == [half + 1, half + 1]
    holed, faces = shapes.without(vertices, faces, lambda x, y, z: np.hypot(x - 100, z + 80) < 25)
    assert {run.loop for run in edge_lengths(develop_mesh(holed, faces), holed)} == {0, 1}


def test_words_for_the_work():
    """3, 8 and 15 percent change of length part easy, ordinary, hard and split; a shop may set its own."""
    for percent, word in ((3, "easy"), (3.01, "ordinary"), (-8, "ordinary"), (-8.01, "hard"), (15.1, "split")):
        assert how_hard(np.log1p(percent / 100)) == word
    assert how_hard(0.05, (0.01, 0.02, 0.04)) == "split"
    with pytest.raises(DevelopError, match="three growing"):
        how_hard(0.05, (0.1, 0.02, 0.04))


def test_contours_are_circles_on_a_cap(cap):
    """Rays straight at true length: shrink of level e begins where ln(sin t / t) = e, on a circle of radius R t."""
    vertices, skin = cap
    rho, angle, _ = shapes.rings(18)
    radius = 100 * np.radians(30) * rho
    laid = replace(skin, points=np.column_stack([radius * np.cos(angle), radius * np.sin(angle)]))
    laid = replace(laid, strain=strain_again(vertices, laid.faces, laid)[0])
    blank = shapely.Polygon(laid.points[laid.loops[0]])
    t = np.linspace(0.01, np.radians(30), 5000)
    for level, shape in strain_contours(laid, [-0.01, -0.02, -0.03]):
        begins = 100 * np.interp(-level, np.log(t / np.sin(t)), t)
        assert shape.is_valid
        assert len(shapely.get_parts(shape)) == 1
        assert shape.area == pytest.approx(blank.area - np.pi * begins**2, rel=0.03)
        hole = np.linalg.norm(shapely.get_coordinates(shape.interiors[0]), axis=1)
        assert (hole.min(), hole.max()) == pytest.approx((begins, begins), abs=1.5)  # half a ring
    assert strain_contours(laid, [0.05])[0][1].is_empty
    assert strain_contours(laid, [-0.5])[0][1].is_empty


def test_contours_shrink_with_their_level():
    """Each level lies inside the one before, for stretch and for shrink, and inside the blank."""
    skin = develop_mesh(*shapes.torus())
    blank = shapely.Polygon(skin.points[skin.loops[0]])
    for levels in ([0.005, 0.01, 0.02], [-0.005, -0.02, -0.04]):
        areas = [shape.area for _, shape in strain_contours(skin, levels)]
        assert blank.area > areas[0] > areas[1] > areas[2] > 0
        assert all(blank.buffer(1e-6).covers(shape) for _, shape in strain_contours(skin, levels))
    with pytest.raises(DevelopError, match="level is 0"):
        strain_contours(skin, [0.0])


def test_vertex_strain_stays_between_the_triangles(cap):
    """Means never go past what they are means of."""
    _, skin = cap
    value = vertex_strain(skin)
    assert value.max() <= skin.max_stretch
    assert value.min() >= skin.max_shrink


def test_grid_lines_and_their_image(cap):
    """Every 10 mm, straight on the blank, on the sphere afterwards; lengths differ by the strain along them."""
    vertices, skin = cap
    lines = grid_lines(skin, vertices, pitch=10)
    assert len(lines) == 2 * 11
    for line in lines:
        column = "xy".index(line.axis)
        assert np.abs(line.flat[:, column] - line.at).max() < 1e-9
        assert (np.diff(line.flat[:, 1 - column]) > -1e-9).all()
        assert np.abs(np.linalg.norm(line.surface, axis=1) - 100).max() < 0.12
        flat, solid = (np.linalg.norm(np.diff(p, axis=0), axis=1).sum() for p in (line.flat, line.surface))
        assert skin.max_shrink - 1e-9 <= np.log(solid / flat) <= skin.max_stretch + 1e-9
    holed = shapes.without(*shapes.cap(45), lambda x, y, z: np.hypot(x, y) < 15)
    parted = grid_lines(develop_mesh(*holed), holed[0], pitch=1000)
    assert [line.axis for line in parted] == ["x", "x", "y", "y"]
    with pytest.raises(DevelopError, match="pitch of a grid is 0"):
        grid_lines(skin, vertices, pitch=0)
