"""The grid scribed on a blank and its image on the panel, against a sphere and against the tank itself."""

import numpy as np
import pytest

from panels.body import build_body
from panels.choose_k import KFactor
from panels.develop import develop_mesh
from panels.errors import DevelopError
from panels.felt import felt
from panels.formed_grid import grid_lines
from panels.make_blanks import make_blanks
from panels.patterns import Division
from panels.seams import seams_of
from tests.panels import bodies
from tests.panels import develop_shapes as shapes
from tests.panels.sewn import THICKNESS, at_edge


def laid(vertices, faces):
    return felt(develop_mesh(vertices, faces, aim="least_worst", shrink_cost=1e-6), vertices)


@pytest.fixture(scope="module")
def cap():
    return laid(*shapes.cap(30))


def test_lines_of_the_blank_lie_on_the_sphere(cap):
    """Every 10 mm, straight on the blank, on the sphere afterwards.

    On a shrink-only cap the line through the pole keeps its length, R a either way; the others lose some (S30).
    """
    lines = grid_lines(cap, pitch=10)
    assert len(lines) == 2 * 11
    for line in lines:
        column = "xy".index(line.axis)
        assert np.abs(line.flat[:, column] - line.at).max() < 1e-9
        assert (np.diff(line.flat[:, 1 - column]) > -1e-9).all()
        assert np.abs(np.linalg.norm(line.formed, axis=1) - 100).max() < 0.12
        assert line.length_formed <= line.length_flat * 1.001
        if line.at == 0:
            assert line.length_formed == pytest.approx(2 * 100 * np.radians(30), rel=2e-3)


def test_lines_across_meet_at_one_place_of_the_panel(cap):
    """Lines along x and along y say the same place on the sphere where they cross."""
    lines = grid_lines(cap, pitch=10, origin=(3.0, -2.0))
    places = {
        axis: [p for line in lines if line.axis == axis for p in line.places(10, start)[1:-1]]
        for axis, start in (("x", -2.0), ("y", 3.0))
    }
    assert len(places["x"]) == len(places["y"]) > 70
    apart = np.linalg.norm(np.array(places["x"])[:, None] - np.array(places["y"])[None], axis=2)
    assert apart.min(axis=1).max() < 0.05
    assert apart.min(axis=0).max() < 0.05


def test_a_hole_parts_the_lines():
    """A line that leaves the blank and comes back is two."""
    holed = laid(*shapes.without(*shapes.cap(45), lambda x, y, z: np.hypot(x, y) < 15))
    assert [line.axis for line in grid_lines(holed, pitch=1000)] == ["x", "x", "y", "y"]


def test_a_twin_blank_has_the_image_on_the_other_side():
    """Right and left skin: the grid of each lies on its own side of the tank, on the neutral surface."""
    from scipy.spatial import cKDTree

    body = build_body(bodies.saddle_tank(), Division("crown and sides"), thickness=THICKNESS)
    made = make_blanks(seams_of(body), at_edge, inside_radius=3, k_factor=KFactor(0.42, "a test"))
    flats = {blank.name: blank.flat for blank in made if blank.flat is not None}
    for name, sign in (("side right", 1), ("side left", -1)):
        points = np.concatenate([line.formed for line in grid_lines(flats[name], pitch=50)])
        assert (sign * points[:, 1] > 0).all()
        own = body.neutral[np.unique(body.faces_of(name))]
        assert cKDTree(own).query(points)[0].max() < 10  # no further than the mesh is wide
    right, left = (grid_lines(flats[name], pitch=50) for name in ("side right", "side left"))
    assert sorted(line.length_formed for line in left) == pytest.approx(sorted(line.length_formed for line in right))


def test_what_cannot_be_gridded_is_said(cap):
    """No pitch, and a flat without its panel."""
    with pytest.raises(DevelopError, match="pitch of a grid is 0"):
        grid_lines(cap, pitch=0)
    with pytest.raises(DevelopError, match="formed panel"):
        grid_lines(felt(develop_mesh(*shapes.cap(30, 4))), pitch=10)
