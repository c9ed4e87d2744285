"""A first flat layout without folded triangles.

Three ways, tried in this order:

1. ``unfolded``: every inner vertex has its full 2 pi, so the panel is a developable; its triangles are laid
   beside one another and nothing is approximated.
2. ``conformal``: the angle-preserving layout whose edge keeps its true length. Its scale ln u solves
   Laplace u = K with u = 0 round the edge, which is also the layout with the least spread of scale among the
   angle-preserving ones (Chebyshev's principle, see notes/decisions/0003). R. Sawhney, K. Crane, "Boundary first
   flattening", ACM Transactions on Graphics 37(1), 2018, gives the discrete form used here.
3. ``embedded``: W. T. Tutte, "How to draw a graph", Proc. London Math. Soc. 13 (1963): every inner vertex at the
   mean of its neighbours inside a circle. Far from true size, but it cannot fold.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from panels._develop_mesh import Disc, frames, neighbours
from panels._develop_sparse import Pattern, fill_order, pattern_for

__all__ = ["conformal", "embedded", "unfolded"]

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]

FLAT_DEFECT = 1e-9  # rad at a vertex; rounding on a fine mesh of a true cylinder gives about 1e-12


def unfolded(disc: Disc) -> Floats | None:
    """The panel laid flat triangle by triangle, or None where it is not a developable."""
    inner = disc.inner
    if inner.any() and np.abs(disc.defect[inner]).max() > FLAT_DEFECT:
        return None
    heading = _headings(disc)
    # Every edge now has its flat direction; walk a tree of edges from vertex 0.
    from scipy.sparse import coo_matrix
    from scipy.sparse.csgraph import breadth_first_order

    half, n = np.arange(3 * len(disc.faces)), len(disc.vertices)
    tail, head = disc.faces.ravel(), np.roll(disc.faces, -1, axis=1).ravel()
    length = np.linalg.norm(disc.vertices[head] - disc.vertices[tail], axis=1)
    angle = heading[half // 3] + _edge_heading(disc, half)
    step = length[:, None] * np.column_stack([np.cos(angle), np.sin(angle)])
    edges = {(i, j): v for i, j, v in zip(tail.tolist(), head.tolist(), step.tolist(), strict=True)}
    order, parent = breadth_first_order(coo_matrix((length, (tail, head)), shape=(n, n)).tocsr(), 0, directed=False)
    at = [(0.0, 0.0)] * n
    for child, before in zip(order[1:].tolist(), parent[order[1:]].tolist(), strict=True):
        ahead = (before, child) in edges
        dx, dy = edges[(before, child)] if ahead else edges[(child, before)]
        sign = 1.0 if ahead else -1.0
        at[child] = (at[before][0] + sign * dx, at[before][1] + sign * dy)
    return np.array(at)


def _headings(disc: Disc) -> Floats:
    """Angle of each triangle's frame on the table, rad, handed on from triangle to triangle."""
    from scipy.sparse import coo_matrix
    from scipy.sparse.csgraph import breadth_first_order

    a, b = neighbours(disc.faces)
    m = len(disc.faces)
    turn = (_edge_heading(disc, a) - _edge_heading(disc, b) + np.pi).tolist()
    fa, fb = (a // 3).tolist(), (b // 3).tolist()
    between = {(f, g): t for f, g, t in zip(fa, fb, turn, strict=True)}
    between |= {(g, f): -t for f, g, t in zip(fa, fb, turn, strict=True)}
    graph = coo_matrix((np.ones(len(a), dtype=np.int8), (a // 3, b // 3)), shape=(m, m)).tocsr()
    order, parent = breadth_first_order(graph, 0, directed=False)
    heading = [0.0] * m
    for face, before in zip(order[1:].tolist(), parent[order[1:]].tolist(), strict=True):
        heading[face] = heading[before] + between[(before, face)]
    return np.array(heading)


def _edge_heading(disc: Disc, half: Ints) -> Floats:
    """Direction of half edges in their own triangle's frame, rad."""
    face, side = half // 3, half % 3
    corners = disc.faces[face]
    rows = np.arange(len(half))
    vector = disc.vertices[corners[rows, (side + 1) % 3]] - disc.vertices[corners[rows, side]]
    along = np.einsum("ij,ij->i", vector, disc.u_axis[face])
    return np.arctan2(np.einsum("ij,ij->i", vector, disc.v_axis[face]), along)


def conformal(disc: Disc, rank: Ints) -> Floats:
    """Angle-preserving layout with a true-length edge; may fold on bad meshes, the caller checks.

    ``rank`` (n,) is the fill order of the disc's own vertices; holes that are closed for this need another.
    """
    faces, weights, defect, count = _filled(disc)
    outer = disc.loops[0]
    fixed = np.zeros(count, dtype=bool)
    fixed[outer] = True
    pattern = pattern_for(faces, rank if count == len(rank) else fill_order(faces, count), 1)
    factor = _grounded(pattern, faces, weights, fixed)
    if factor is None:
        return embedded(disc)
    log_scale = pattern.solve(factor, np.where(fixed, 0.0, -defect))
    turning = defect[outer] + _laplace(faces, weights, log_scale, count)[outer]
    edge = _closed_edge(disc.vertices[outer], turning)
    return _stretched_over(pattern, factor, faces, weights, fixed, outer, edge)[: len(disc.vertices)]


def embedded(disc: Disc) -> Floats:
    """Tutte's layout in a circle as large as the panel."""
    faces, weights, _, count = _filled(disc)
    outer = disc.loops[0]
    fixed = np.zeros(count, dtype=bool)
    fixed[outer] = True
    length = _loop_lengths(disc.vertices[outer])
    angle = 2 * np.pi * np.concatenate([[0.0], np.cumsum(length)[:-1]]) / length.sum()
    radius = np.sqrt(disc.area.sum() / np.pi)
    edge = radius * np.column_stack([np.cos(angle), np.sin(angle)])
    pattern = pattern_for(faces, fill_order(faces, count), 1)
    even = np.ones_like(weights)
    factor = _grounded(pattern, faces, even, fixed)
    if factor is None:  # cannot happen: a graph Laplacian with a grounded edge is positive definite
        raise ArithmeticError("graph Laplacian lost its definiteness")
    return _stretched_over(pattern, factor, faces, even, fixed, outer, edge)[: len(disc.vertices)]


def _filled(disc: Disc) -> tuple[Ints, Floats, Floats, int]:
    """Faces, cotangent weights, defects and vertex count once every hole is closed by a fan about its middle."""
    cot = _cotangents(disc.area, disc.gx, disc.gy)
    count = len(disc.vertices)
    if len(disc.loops) == 1:
        return disc.faces, cot, disc.defect, count
    points, fans = disc.vertices, []
    for loop in disc.loops[1:]:
        fans.append(np.column_stack([np.roll(loop, -1), loop, np.full(len(loop), len(points))]))
        points = np.concatenate([points, points[loop].mean(axis=0, keepdims=True)])
    faces = np.concatenate([disc.faces, *fans])
    _, _, area, gx, gy, angles = frames(points, faces)
    turn: Floats = np.full(len(points), 2 * np.pi)
    turn[disc.loops[0]] = np.pi
    defect = turn - np.bincount(faces.ravel(), weights=angles.ravel(), minlength=len(points))
    return faces, _cotangents(area, gx, gy), defect, len(points)


def _cotangents(area: Floats, gx: Floats, gy: Floats) -> Floats:
    """Weight of the side opposite each corner, (m, 3): half the cotangent of the corner's angle."""
    b, c = [1, 2, 0], [2, 0, 1]
    return -area[:, None] * (gx[:, b] * gx[:, c] + gy[:, b] * gy[:, c])


def _grounded(pattern: Pattern, faces: Ints, weights: Floats, fixed: NDArray[np.bool_]) -> Any | None:
    """Factor of the Laplacian in which fixed vertices stand alone with a 1."""
    blocks = np.zeros((len(faces), 3, 3))
    for corner, (b, c) in enumerate(((1, 2), (2, 0), (0, 1))):
        w = weights[:, corner]
        blocks[:, b, b] += w
        blocks[:, c, c] += w
        blocks[:, b, c] -= w
        blocks[:, c, b] -= w
    held = fixed[faces]
    blocks[held[:, :, None] | held[:, None, :]] = 0.0
    matrix = pattern.assemble(blocks)
    matrix[pattern.diagonal[fixed]] = 1.0
    return pattern.factor(matrix)


def _laplace(faces: Ints, weights: Floats, values: Floats, count: int) -> Floats:
    """The Laplacian times values (n,) or (n, 2)."""
    total = np.zeros_like(values)
    for corner, (b, c) in enumerate(((1, 2), (2, 0), (0, 1))):
        i, j = faces[:, b], faces[:, c]
        for column in np.ndindex(values.shape[1:]):
            flow = weights[:, corner] * (values[(i, *column)] - values[(j, *column)])
            total[(slice(None), *column)] += np.bincount(i, flow, count) - np.bincount(j, flow, count)
    return total


def _stretched_over(
    pattern: Pattern, factor: Any, faces: Ints, weights: Floats, fixed: NDArray[np.bool_], outer: Ints, edge: Floats
) -> Floats:
    """Both coordinates harmonic inside the given edge."""
    points = np.zeros((len(fixed), 2))
    points[outer] = edge
    pull = -_laplace(faces, weights, points, len(fixed))
    pull[fixed] = points[fixed]
    return pattern.solve(factor, pull)


def _loop_lengths(points: Floats) -> Floats:
    return np.linalg.norm(np.roll(points, -1, axis=0) - points, axis=1)


def _closed_edge(points: Floats, turning: Floats) -> Floats:
    """A closed polygon with the loop's own side lengths, nearly, that turns by the given angles."""
    length = _loop_lengths(points)
    turning = turning * (2 * np.pi / turning.sum())
    heading = np.cumsum(turning) - turning[0]
    step = np.vstack([np.cos(heading), np.sin(heading)])
    # Least change of length, weighted by length, that closes the polygon (Sawhney and Crane, section 4.3).
    inverse = np.linalg.solve((step * length) @ step.T, step @ length)
    length = length * (1 - step.T @ inverse)
    return np.concatenate([[[0.0, 0.0]], np.cumsum(step * length, axis=1).T[:-1]])
