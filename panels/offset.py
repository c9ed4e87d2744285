"""The neutral and inner surface of a body of sheet metal, from its outer surface.

Every vertex moves inwards so that each surface that meets there is offset by the same distance: on a
smooth skin along its normal, at an edge or corner to where the offset surfaces cross. Neighbouring
panels therefore still share their edges, and mass and capacity are right at the corners too.
"""

from __future__ import annotations

import numpy as np

from .cutting_mesh import area_vectors

__all__ = ["inward_directions"]

#: Below this share of the largest, a direction counts as shared by all surfaces at a vertex: it limits
#: how far the tip of a knife edge runs back to about 6 thicknesses.
SAME_DIRECTION = 0.15
#: How far from an edge a surface's points give way along it, mm: several times the longest run-back of
#: an edge, so that the mesh is pressed together a little over a width instead of crushed at the edge.
GIVE_MM = 15.0


def _corner_weights(vertices: np.ndarray, faces: np.ndarray) -> np.ndarray:
    """Angle of each face at each of its corners (m, 3), radians."""
    p = vertices[faces]
    to_next = np.roll(p, -1, axis=1) - p
    to_last = np.roll(p, 1, axis=1) - p
    cross = np.linalg.norm(np.cross(to_next, to_last), axis=2)
    return np.arctan2(cross, np.einsum("mij,mij->mi", to_next, to_last))


def inward_directions(vertices: np.ndarray, faces: np.ndarray, group: np.ndarray) -> np.ndarray:
    """Displacement of each vertex (n, 3) that offsets every surface there by one unit inwards.

    ``group`` (m,) numbers the smooth surfaces; faces turn anticlockwise seen from outside.
    """
    normal = area_vectors(vertices, faces)
    normal = normal / np.maximum(np.linalg.norm(normal, axis=1), 1e-300)[:, None]
    weight = _corner_weights(vertices, faces)
    groups = int(group.max()) + 1
    key = faces * groups + group[:, None]
    pairs, where = np.unique(key.ravel(), return_inverse=True)
    mean = np.zeros((len(pairs), 3))
    np.add.at(mean, where, np.repeat(normal, 3, axis=0) * weight.ravel()[:, None])
    mean = mean / np.maximum(np.linalg.norm(mean, axis=1), 1e-300)[:, None]
    vertex = pairs // groups
    square = np.zeros((len(vertices), 3, 3))
    right = np.zeros((len(vertices), 3))
    np.add.at(square, vertex, mean[:, :, None] * mean[:, None, :])
    np.add.at(right, vertex, -mean)
    value, basis = np.linalg.eigh(square)
    keep = value > SAME_DIRECTION**2 * value[:, -1:]
    inverse = np.where(keep, 1 / np.where(keep, value, 1.0), 0.0)
    inwards = np.einsum("nij,nj,nkj,nk->ni", basis, inverse, basis, right)
    return _giving_way(vertices, faces, group, inwards, vertex, pairs % groups, mean)


def _giving_way(
    vertices: np.ndarray,
    faces: np.ndarray,
    group: np.ndarray,
    inwards: np.ndarray,
    vertex: np.ndarray,
    owner: np.ndarray,
    normal: np.ndarray,
) -> np.ndarray:
    """Displacements with each surface's inner points following the slide of its edges, dying away.

    At an edge a vertex slides along each of its surfaces to where their offsets cross. The slide inside
    a surface is the screened harmonic field that takes those values at its edge.
    """
    from scipy.sparse import coo_array, diags_array
    from scipy.sparse.linalg import spsolve

    out = inwards.copy()
    alone = np.bincount(vertex, minlength=len(vertices)) == 1
    for k in np.unique(group):
        mine = owner == k
        inner = mine & alone[vertex]
        if not inner.any():
            continue
        number = np.full(len(vertices), -1)
        number[vertex[mine]] = np.arange(mine.sum())
        edges = np.unique(np.sort(faces[group == k][:, [0, 1, 1, 2, 2, 0]].reshape(-1, 2), axis=1), axis=0)
        length = np.linalg.norm(vertices[edges[:, 0]] - vertices[edges[:, 1]], axis=1)
        a, b = number[edges].T
        link = coo_array((1 / length, (a, b)), shape=(mine.sum(), mine.sum()))
        link = (link + link.T).tocsr()
        reach = coo_array((length, (a, b)), shape=link.shape)
        screen = np.asarray((reach + reach.T).sum(axis=1)).ravel() / GIVE_MM**2
        system = (diags_array(np.asarray(link.sum(axis=1)).ravel() + screen) - link).tocsr()
        slide = inwards[vertex[mine]] + normal[mine]
        free = alone[vertex[mine]]
        right = -system[free][:, ~free] @ slide[~free]
        moved = spsolve(system[free][:, free].tocsc(), right).reshape(-1, 3)
        n = normal[mine][free]
        moved -= np.einsum("ni,ni->n", moved, n)[:, None] * n
        out[vertex[mine][free]] = moved - n
    return out
