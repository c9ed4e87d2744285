"""The rim of a bump-out: its outline with round corners, and the surface's triangles parted along it.

Words used here
    seen      points in the view, two of their three coordinates (see ``panels.bump_out``)
    parting   one of the two points of the rim at which the wall is cut in two, in the middle of a straight
"""

from __future__ import annotations

import numpy as np
import shapely
from shapely.geometry.polygon import orient

from .cutting_mesh import area_vectors, boundary_edges
from .edges import edges_of
from .openings import SEAM, SHOULDER, WIDEST
from .outlets import within_faces

__all__ = ["led_onto", "parted", "partings", "rounded"]

#: Most that a rounded corner may miss its arc by, mm.
SAGITTA_MM = 0.03
#: Lines that run within a piece, and go on through a patch's rim.
ON_SKIN = WIDEST | SHOULDER | -SEAM
#: Lines in the view cross on this grid, mm.
GRID_MM = 1e-6
#: Points of the surface this near the rim are led onto it, mm, if their triangles are large enough: no slivers.
SLIDE_MM = 1.2
SLIDE_SHARE = 0.25
#: The rim's own points keep this far from those where it crosses the surface's edges, mm.
APART_MM = 0.4


def rounded(outline: np.ndarray, radius: float, grown: float = 0.0) -> shapely.Polygon | None:
    """An outline (n, 2) with its corners rounded, then grown all round, mm; None where it is too narrow for that."""
    drawn = shapely.Polygon(outline)
    segments = max(4, int(np.ceil(np.pi / 4 / np.arccos(max(1 - SAGITTA_MM / radius, 0.5)))))
    shape = drawn.buffer(-radius).buffer(radius, quad_segs=segments)  # rounds what points outwards
    shape = shape.buffer(radius).buffer(-radius, quad_segs=segments)  # and what points inwards
    shape = shape.buffer(grown, quad_segs=segments)
    if not isinstance(shape, shapely.Polygon) or shape.is_empty or shape.interiors:
        return None
    return _with_partings(orient(shapely.simplify(shape, 1e-4)))


def _with_partings(shape: shapely.Polygon) -> shapely.Polygon:
    """The outline with the middles of two straights, about half a turn apart, as its points 0 and k."""
    ring = np.array(shape.exterior.coords)[:-1]
    step = np.linalg.norm(np.roll(ring, -1, axis=0) - ring, axis=1)
    at = np.concatenate([[0.0], np.cumsum(step)])
    middle = (at[:-1] + at[1:]) / 2
    first = int(np.argmax(step))
    around = np.abs((middle - middle[first] + at[-1] / 2) % at[-1] - at[-1] / 2)  # the shorter way round
    second = int(np.argmax(np.where(around > at[-1] / 4, step, -1.0)))
    points = []
    for k, point in enumerate(ring):
        points.append(point)
        if k in (first, second):
            points.append((ring[k] + ring[(k + 1) % len(ring)]) / 2)
    return shapely.Polygon(np.array(points))


def partings(bump: shapely.Polygon) -> np.ndarray:
    """The two points (2, 2) at which the wall is parted, found again: middles of straights that they halve."""
    ring = np.array(bump.exterior.coords)[:-1]
    before, after = np.roll(ring, 1, axis=0), np.roll(ring, -1, axis=0)
    off = np.linalg.norm((before + after) / 2 - ring, axis=1)
    long = np.linalg.norm(after - before, axis=1)
    return ring[np.sort(np.lexsort([-long, np.round(off, 9)])[:2])]


def led_onto(
    vertices: np.ndarray,
    faces: np.ndarray,
    near: np.ndarray,
    flags: np.ndarray,
    shape: shapely.Polygon,
    axes: list[int],
) -> np.ndarray:
    """Vertices that all but lie on the rim, led onto it along the surface."""
    used, own = np.unique(faces[near], return_inverse=True)
    own = own.reshape(-1, 3)
    seen = vertices[used][:, axes]
    rim = shape.exterior
    points = shapely.points(seen)
    edge = np.concatenate([own[:, [0, 1]], own[:, [1, 2]], own[:, [2, 0]]])
    shortest = np.full(len(used), np.inf)
    length = np.linalg.norm(seen[edge[:, 0]] - seen[edge[:, 1]], axis=1)
    for k in (0, 1):
        np.minimum.at(shortest, edge[:, k], length)
    apart = shapely.distance(points, rim)
    border = np.zeros(len(used), dtype=bool)
    border[np.unique(boundary_edges(own))] = True
    free = (apart > 0) & (apart < np.minimum(SLIDE_MM, SLIDE_SHARE * shortest)) & (flags[used] == 0) & ~border
    if not free.any():
        return vertices.copy()
    foot = shapely.get_coordinates(shapely.line_interpolate_point(rim, shapely.line_locate_point(rim, points[free])))
    out = vertices.copy()
    out[used[free]] = _on_surface(foot, vertices, faces[near], axes)[0]
    return out


def _on_surface(
    at: np.ndarray, vertices: np.ndarray, faces: np.ndarray, axes: list[int]
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Places (k, 2) of the view on the surface: (k, 3), the face of each (k,) and its shares (k, 3)."""
    inside, share = within_faces(vertices[:, axes], faces, at)
    best = np.argmax(np.where(inside, share.min(axis=-1), -np.inf), axis=1)
    own = share[np.arange(len(at)), best]
    found = np.einsum("kj,kjd->kd", own, vertices[faces[best]])
    found[:, axes] = at
    return found, best, own


def parted(
    vertices: np.ndarray, faces: np.ndarray, flags: np.ndarray, shape: shapely.Polygon, axes: list[int]
) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """The faces parted along the rim: those within it, those without, new vertices (k, 3) and their flags (k,)."""
    seen = vertices[:, axes]
    edges = boundary_edges(faces) if _flat(vertices, faces) else edges_of(faces)
    rim = _through(shape, shapely.linestrings(seen[edges]))
    lines = shapely.union_all([*shapely.linestrings(seen[edges]), rim.exterior], grid_size=GRID_MM)
    regions = shapely.get_parts(shapely.polygonize(list(shapely.get_parts(lines))))
    covered = shapely.union_all(shapely.polygons(seen[faces]), grid_size=GRID_MM)
    middle = shapely.point_on_surface(regions)
    regions = regions[shapely.contains(covered, middle)]
    within = shapely.contains(rim, shapely.point_on_surface(regions))
    corners, turns = [], []
    for region in regions:
        found = _triangulated(orient(region))
        corners.append(found)
        turns.append(len(found))
    places = np.concatenate(corners).reshape(-1, 2)
    key = np.rint(places / GRID_MM).astype(np.int64)
    nodes, where = np.unique(key, axis=0, return_inverse=True)
    where = where.reshape(-1, 3)
    used = np.unique(faces)
    own = np.rint(seen[used] / GRID_MM).astype(np.int64).tolist()
    known = {tuple(k): int(v) for k, v in zip(own, used, strict=True)}
    number = np.array([known.get(tuple(k), -1) for k in nodes.tolist()])
    fresh = np.flatnonzero(number < 0)
    number[fresh] = len(vertices) + np.arange(len(fresh))
    at = np.zeros((len(nodes), 2))
    at[where.ravel()] = places
    new, face, share = _on_surface(at[fresh], vertices, faces, axes)
    lies = np.where(share > 1e-6, flags[faces[face]] & ON_SKIN, -1)  # on an edge: what both its ends lie on
    marks = np.where((share > 1e-6).sum(axis=1) < 3, np.bitwise_and.reduce(lies, axis=1), 0)
    made = number[where]
    u, v = seen[faces[:, 1]] - seen[faces[:, 0]], seen[faces[:, 2]] - seen[faces[:, 0]]
    if (u[:, 0] * v[:, 1] - u[:, 1] * v[:, 0]).sum() < 0:
        made = made[:, ::-1]
    inside = np.repeat(within, turns)
    return made[inside], made[~inside], new, marks.astype(flags.dtype)


def _flat(vertices: np.ndarray, faces: np.ndarray) -> bool:
    """Whether faces lie in one plane: then they are parted as one, without the triangles they had."""
    looks = area_vectors(vertices, faces)
    mean = looks.sum(axis=0) / np.linalg.norm(looks.sum(axis=0))
    high = vertices[np.unique(faces)] @ mean
    return bool(np.ptp(high) < 1e-6)


def _through(shape: shapely.Polygon, edges: np.ndarray) -> shapely.Polygon:
    """The rim led through its crossings with the surface's edges, its own points left out where one is near:
    no wall facet is narrower than it need be."""
    ring = shape.exterior
    met = shapely.get_coordinates(shapely.intersection(edges, ring))
    points = np.array(ring.coords)[:-1]
    if len(met) == 0:
        return shape
    places = np.atleast_1d(shapely.line_locate_point(ring, shapely.points(met)))
    own = np.atleast_1d(shapely.line_locate_point(ring, shapely.points(points)))
    near = np.abs(own[:, None] - places)
    apart = np.minimum(near, ring.length - near).min(axis=1)
    cuts = partings(shape)
    fixed = (points[:, None] == cuts).all(axis=2).any(axis=1)
    kept = (apart > APART_MM) | fixed
    at = np.concatenate([own[kept], places])
    led = np.vstack([points[kept], met])[np.argsort(at, kind="stable")]
    at = np.sort(at, kind="stable")
    return shapely.Polygon(led[np.concatenate([[True], np.diff(at) > 10 * GRID_MM])])


def _triangulated(region: shapely.Polygon) -> np.ndarray:
    """Corners (t, 3, 2) of triangles, anticlockwise, that fill a region of the view."""
    ring = np.array(region.exterior.coords)[:-1]
    if len(ring) == 3 and not region.interiors:
        return ring[None]
    parts = shapely.get_parts(shapely.constrained_delaunay_triangles(region))
    corners = shapely.get_coordinates(parts).reshape(-1, 4, 2)[:, :3]
    u, v = corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]
    wrong = u[:, 0] * v[:, 1] - u[:, 1] * v[:, 0] < 0
    return np.where(wrong[:, None, None], corners[:, ::-1], corners)
