"""Lay pieces flat whose mesh has triangles without area: a square corner, or points in a row along a straight edge.

A body with straight patterns has many: the points of its crown lie in one line across an end cap, and close up in a
square corner. They are no fault of the patterns, and no metal: a flat piece is laid out in its own plane, where such
triangles do not matter; elsewhere points that all but coincide are laid out as one.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
from shapely.geometry import Polygon

from .cutting_mesh import area_vectors, boundary_chains, boundary_edges
from .develop import Development, develop_mesh
from .edges import edges_of

__all__ = ["develop_in_plane", "develop_merged", "is_planar"]

#: Points nearer than this are one, mm.
SAME_MM = 1e-3


def is_planar(points: np.ndarray) -> bool:
    """Whether points (n, 3) lie in a plane, to 0.01 mm."""
    spread = np.linalg.svd(points - points.mean(axis=0), compute_uv=False)
    return bool(spread[-1] / np.sqrt(len(points)) < 0.01)


def develop_in_plane(solid: np.ndarray, faces: np.ndarray, along: tuple[float, float, float]) -> Development:
    """A flat piece as it lies in its own plane, outside face up, ``along`` in space along x."""
    looks = area_vectors(solid, faces).sum(axis=0)
    normal, x = looks / np.linalg.norm(looks), np.array(along)
    x = x - (x @ normal) * normal
    x = x / np.linalg.norm(x)
    points = (solid - solid.mean(axis=0)) @ np.column_stack([x, np.cross(normal, x)])
    loops = _loops(points, faces)
    outline = Polygon(points[loops[0]])
    area = float(np.linalg.norm(looks))
    return Development(
        points=points - np.array(outline.centroid.coords[0]),
        faces=faces,
        loops=loops,
        strain=np.zeros((len(faces), 2)),
        directions=np.tile(np.eye(2), (len(faces), 1, 1)),
        aim="even",
        shrink_cost=1.0,
        distortion=0.0,
        rms=0.0,
        area_flat=area,
        area_formed=area,
        flipped=0,
        overlaps=0 if outline.is_valid else 1,
        developable=True,
        mesh_floor=0.0,
        _bound=lambda: (0.0, "a flat piece"),
    )


def _loops(points: np.ndarray, faces: np.ndarray) -> tuple[np.ndarray, ...]:
    """Vertex numbers round the outer edge and then round holes, the metal on the left."""
    loops = [loop[:-1] for loop in boundary_chains(boundary_edges(faces))]
    return tuple(sorted(loops, key=lambda loop: -Polygon(points[loop]).area))


def develop_merged(solid: np.ndarray, faces: np.ndarray, **how: Any) -> Development:
    """As `develop_mesh`, points that all but coincide laid out as one.

    Raises
    ------
    BadTriangle
        Where triangles without area are left all the same.
    """
    keep = _first_of_each(solid, faces)
    merged = keep[faces]
    a, b, c = merged.T
    real = (a != b) & (b != c) & (a != c)
    used, local = np.unique(merged[real], return_inverse=True)
    dev = develop_mesh(solid[used], local.reshape(-1, 3), **how)
    at = np.zeros(len(solid), dtype=int)
    at[used] = np.arange(len(used))
    points = dev.points[at[keep]]
    strain, directions = np.zeros((len(faces), 2)), np.tile(np.eye(2), (len(faces), 1, 1))
    strain[real], directions[real] = dev.strain, dev.directions
    return replace(dev, points=points, faces=faces, loops=_loops(points, faces), strain=strain, directions=directions)


def _first_of_each(points: np.ndarray, faces: np.ndarray) -> np.ndarray:
    """For each point the first of those that it coincides with along edges (n,)."""
    edges = edges_of(faces)
    close = edges[np.linalg.norm(points[edges[:, 0]] - points[edges[:, 1]], axis=1) < SAME_MM]
    first = np.arange(len(points))
    while len(close):
        low = first[close].min(axis=1)
        before = first.copy()
        for k in (0, 1):
            np.minimum.at(first, close[:, k], low)
        if np.array_equal(first, before):
            break
    return first[first]
