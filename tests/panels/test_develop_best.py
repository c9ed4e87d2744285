"""Is the least worst layout the best there is? A linear programme of a general library (scipy, HiGHS) is asked.

Around a layout the strain of a direction d is -ln|J d|, which changes by -(J d) . (dJ d) / |J d|^2. Twelve directions a
triangle, counted from its principal axes, each between -t and +t after any move of the vertices, least t: what the
programme finds is, to first order in strain, below what every other layout of the mesh reaches.
"""

import numpy as np
import pytest
from scipy.optimize import linprog
from scipy.sparse import csr_array, hstack, vstack

from panels.develop import develop_mesh
from tests.panels import develop_shapes as shapes

DIRECTIONS = 12
REACH_MM = 10.0  # how far vertices may move; a tenth of that or ten times finds the same


def frames(vertices, faces):
    """(m, 2, 2) the two sides of every triangle from its first corner, in its own plane, as columns."""
    p = vertices[faces]
    e1, e2 = p[:, 1] - p[:, 0], p[:, 2] - p[:, 0]
    u = e1 / np.linalg.norm(e1, axis=1)[:, None]
    normal = np.cross(e1, e2)
    v = np.cross(normal / np.linalg.norm(normal, axis=1)[:, None], u)
    return np.stack([np.stack([(e * u).sum(1), (e * v).sum(1)], axis=1) for e in (e1, e2)], axis=2)


def least_range(vertices, faces, points):
    """Least range of strain that any move of the vertices reaches, to first order."""
    inverse = np.linalg.inv(frames(vertices, faces))
    q = points[faces]
    jacobian = np.stack([q[:, 1] - q[:, 0], q[:, 2] - q[:, 0]], axis=2) @ inverse
    axes = np.linalg.svd(jacobian)[2]
    turn = np.arange(DIRECTIONS) * np.pi / DIRECTIONS
    way = np.einsum("mji,kj->mki", axes, np.column_stack([np.cos(turn), np.sin(turn)]))
    image = np.einsum("mij,mkj->mki", jacobian, way)
    square = (image**2).sum(axis=2)
    strain = -np.log(square).ravel() / 2
    g1, g2 = (np.einsum("mj,mkj->mk", inverse[:, row], way) for row in (0, 1))
    n, m = len(vertices), len(faces)
    columns, values = [], []
    for corner, slope in enumerate((-g1 - g2, g1, g2)):
        for axis in (0, 1):
            columns.append(np.repeat(faces[:, corner] + axis * n, DIRECTIONS))
            values.append((-image[..., axis] * slope / square).ravel())
    rows = np.tile(np.arange(m * DIRECTIONS), 6)
    change = csr_array((np.concatenate(values), (rows, np.concatenate(columns))), shape=(m * DIRECTIONS, 2 * n))
    one = csr_array(np.ones((m * DIRECTIONS, 1)))
    bounds = vstack([hstack([change, -one]), hstack([-change, -one])]).tocsr()
    found = linprog(
        np.concatenate([np.zeros(2 * n), [1.0]]),
        A_ub=bounds,
        b_ub=np.concatenate([-strain, strain]),
        bounds=[(-REACH_MM, REACH_MM)] * (2 * n) + [(0, None)],
        method="highs-ipm",
    )
    assert found.status == 0
    return 2 * found.x[-1]


@pytest.mark.parametrize(
    "shape",
    [
        lambda: shapes.torus(20, 12),
        lambda: shapes.torus(20, 12, inner=True),
        lambda: shapes.saddle(16),
        lambda: shapes.tank_quarter(18, 10),
        lambda: shapes.cap(45, 8),
    ],
    ids=["torus T1", "torus T2", "saddle H1", "tank quarter", "cap 45"],
)
def test_a_linear_programme_finds_nothing_better(shape):
    """Within 0.3 % of what any layout of the mesh can reach, and the floor that the tool tells is that too."""
    vertices, faces = shape()
    skin = develop_mesh(vertices, faces, aim="least_worst")
    best = least_range(vertices, faces, skin.points)
    assert skin.distortion <= 1.003 * best
    assert skin.mesh_floor == pytest.approx(best, rel=3e-3)
