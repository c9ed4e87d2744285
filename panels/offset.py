"""The neutral and inner surface of a body of sheet metal, from its outer surface.

Every vertex moves inwards so that each surface that meets there is offset by the same distance: on a
smooth skin along its normal, at an edge or corner to where the offset surfaces cross. Neighbouring
panels therefore still share their edges, and mass and capacity are right at the corners too.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from .cutting_mesh import area_vectors
from .edges import edges_of

__all__ = ["inward_directions"]

#: Sine of half the angle at which two surfaces meet from which an edge runs back no further: about 6 thicknesses.
SAME_DIRECTION = 0.15
#: Faces of one surface that meet at more than about 28 degrees make a corner in it: cosine of half of that.
SHARP_SHARE = 0.97
#: A face less high than this, mm, is a sliver: rounding, and its normal with it.
SLIVER_MM = 1e-4
#: How far from an edge a surface's points give way along it, mm: several times the longest run-back of
#: an edge, so that the mesh is pressed together a little over a width instead of crushed at the edge.
GIVE_MM = 15.0
#: How nearly that field is solved, as a share of its start, and the most rounds spent on it.
CLOSE_ENOUGH = 1e-7
MOST_ROUNDS = 500


def _corner_weights(vertices: np.ndarray, faces: np.ndarray) -> np.ndarray:
    """Angle of each face at each of its corners (m, 3), radians."""
    p = vertices[faces]
    to_next = np.roll(p, -1, axis=1) - p
    to_last = np.roll(p, 1, axis=1) - p
    cross = np.linalg.norm(np.cross(to_next, to_last), axis=2)
    return np.arctan2(cross, np.einsum("mij,mij->mi", to_next, to_last))


def _slivers_turned(vertices: np.ndarray, faces: np.ndarray, normal: np.ndarray, twice: np.ndarray) -> np.ndarray:
    """Unit normals (m, 3), those of slivers taken from the face beyond their longest edge: where three lines of a
    body all but meet in a point, what lies between them turns any way. ``twice`` (m,) are their areas doubled."""
    p = vertices[faces]
    long = np.linalg.norm(np.roll(p, -1, axis=1) - p, axis=2)  # of the edges from each corner to the next
    thin = np.flatnonzero(twice < SLIVER_MM * long.max(axis=1))
    if not len(thin):
        return normal
    size, turned = len(vertices), normal.copy()
    start = faces.ravel()
    owner = dict(zip((start * size + np.roll(faces, -1, axis=1).ravel()).tolist(), range(3 * len(faces)), strict=True))
    # The thickest first: a sliver beside a sliver takes what that one took.
    for k in thin[np.argsort(-twice[thin] / long[thin].max(axis=1), kind="stable")]:
        corner = int(long[k].argmax())
        beyond = owner.get(int(faces[k, (corner + 1) % 3]) * size + int(faces[k, corner]))
        if beyond is not None:
            turned[k] = turned[beyond // 3]
    return turned


def inward_directions(vertices: np.ndarray, faces: np.ndarray, group: np.ndarray) -> np.ndarray:
    """Displacement of each vertex (n, 3) that offsets every surface there by one unit inwards.

    ``group`` (m,) numbers the smooth surfaces; faces turn anticlockwise seen from outside.
    """
    normal = area_vectors(vertices, faces)
    size = np.linalg.norm(normal, axis=1)
    normal = _slivers_turned(vertices, faces, normal / np.maximum(size, 1e-300)[:, None], 2 * size)
    weight = _corner_weights(vertices, faces)
    groups = int(group.max()) + 1
    key = faces * groups + group[:, None]
    pairs, where = np.unique(key.ravel(), return_inverse=True)
    mean = np.zeros((len(pairs), 3))
    np.add.at(mean, where, np.repeat(normal, 3, axis=0) * weight.ravel()[:, None])
    size = np.linalg.norm(mean, axis=1)
    mean = mean / np.maximum(size, 1e-300)[:, None]
    further = _further(size, weight.ravel(), where)
    vertex = pairs // groups
    square = np.zeros((len(vertices), 3, 3))
    right = np.zeros((len(vertices), 3))
    np.add.at(square, vertex, mean[:, :, None] * mean[:, None, :])
    np.add.at(right, vertex, -further[:, None] * mean)
    value, basis = np.linalg.eigh(square)
    along = np.einsum("nji,nj->ni", basis, right)
    # Along what the surfaces share little of, no further than to the limit: not dropped, or a tip would jump back.
    most = np.maximum(np.maximum(value, SAME_DIRECTION * np.abs(along)), 1e-5 * value[:, -1:])
    inwards = np.einsum("nij,nj->ni", basis, along / most)
    inwards = _giving_way(vertices, inwards, _Sheets(vertex, pairs % groups, mean, where.reshape(-1, 3)))
    sharp = np.flatnonzero((further > 1) & (np.bincount(vertex, minlength=len(vertices))[vertex] == 1))
    inwards[vertex[sharp]] -= (further[sharp, None] - 1) * mean[sharp]
    return inwards


def _further(size: np.ndarray, weight: np.ndarray, where: np.ndarray) -> np.ndarray:
    """How far along its mean normal a surface's point moves for one unit of offset (p,), from how long the weighted sum
    of its faces' normals is: 1 where it is smooth; at a corner inside it, to where the offset faces cross."""
    share = size / np.maximum(np.bincount(where.ravel(), weight, len(size)), 1e-300)
    return np.where(share < SHARP_SHARE, 1 / np.maximum(share, 0.5), 1.0)


@dataclass(frozen=True)
class _Sheets:
    """Each smooth surface's own points: their ``vertex`` (p,), ``surface`` (p,), ``normal`` (p, 3), and the
    points (m, 3) of every face."""

    vertex: np.ndarray
    surface: np.ndarray
    normal: np.ndarray
    faces: np.ndarray


def _giving_way(vertices: np.ndarray, inwards: np.ndarray, sheets: _Sheets) -> np.ndarray:
    """Displacements with each surface's inner points following the slide of its edges, dying away.

    At an edge a vertex slides along each of its surfaces to where their offsets cross. The slide inside
    a surface is the screened harmonic field that takes those values at its edge.
    """
    one, two = edges_of(sheets.faces).T
    length = np.linalg.norm(vertices[sheets.vertex[one]] - vertices[sheets.vertex[two]], axis=1)
    count = len(sheets.vertex)
    slide = inwards[sheets.vertex] + sheets.normal
    free = np.bincount(sheets.vertex, minlength=len(vertices))[sheets.vertex] == 1
    moved = _screened(count, one, two, 1 / length, length / GIVE_MM**2, slide, free)[free]
    n = sheets.normal[free]
    moved -= np.einsum("ni,ni->n", moved, n)[:, None] * n
    out = inwards.copy()
    out[sheets.vertex[free]] = moved - n
    return out


def _screened(
    count: int,
    one: np.ndarray,
    two: np.ndarray,
    pull: np.ndarray,
    screen: np.ndarray,
    value: np.ndarray,
    free: np.ndarray,
) -> np.ndarray:
    """Values (count, 3) of the screened harmonic field on links one-two, held at ``value`` where not free.

    Conjugate gradients scaled by the diagonal: the screen keeps the system far from singular, so a few tens
    of rounds reach `CLOSE_ENOUGH`, sooner than a solver could be imported.
    """
    diagonal = np.bincount(one, pull + screen, count) + np.bincount(two, pull + screen, count)

    def apply(x: np.ndarray) -> np.ndarray:
        out = diagonal[:, None] * x
        for k in range(3):
            out[:, k] -= np.bincount(one, pull * x[two, k], count) + np.bincount(two, pull * x[one, k], count)
        out[~free] = 0.0
        return out

    x = np.where(free[:, None], 0.0, value)
    left = -apply(x)
    scaled = left / diagonal[:, None]
    step, size = scaled, (left * scaled).sum(axis=0)
    goal = CLOSE_ENOUGH**2 * size
    for _ in range(MOST_ROUNDS):
        if np.all(size <= goal):
            break
        image = apply(step)
        share = size / np.maximum((step * image).sum(axis=0), 1e-300)
        x, left = x + share * step, left - share * image
        scaled = left / diagonal[:, None]
        size, before = (left * scaled).sum(axis=0), size
        step = scaled + size / np.maximum(before, 1e-300) * step
    return x
