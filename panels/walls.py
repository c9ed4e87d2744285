"""Walls square to the centre plane: floor, ends, the tunnel's top and the walls that shut it.

Such a wall hangs between two edges of the right half that run one over the other in the side view: the
outer one belongs to the skin or to a leg, the inner one to a leg or to the neck wall. Where there is no
inner edge the wall runs across to its mirror image.

Words used here
    top       vertices along the outer edge
    run       vertices along an unbroken piece of the inner edge
    place     distance along the outer edge in the side view, mm
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely

from .cutting_mesh import zipper

__all__ = ["Wall", "inner_runs", "wall_between"]

#: Edges further apart than this in the side view do not run one over the other, mm.
NEAR_MM = 1e-4
#: A face turned over by no more than this, mm2, is rounding.
TURNED_MM2 = 1e-6
#: A face smaller than this is none, mm2: the bend of its wall could not be told from it.
NO_AREA_MM2 = 1e-6
#: Widths count this much beside places when a wall is laid out over both: its faces then span little of a bend.
FLATTER = 0.1


@dataclass(frozen=True)
class Wall:
    """Faces (m, 3) of a wall on the right, and of those that cross the centre plane."""

    right: np.ndarray
    across: np.ndarray


@dataclass(frozen=True)
class _Run:
    chain: np.ndarray
    place: np.ndarray


def _places(line: np.ndarray, points: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Distance along a polyline (k, 2) of the foot of each point (n, 2), and its distance from the line."""
    start, step = line[:-1], np.diff(line, axis=0)
    length = np.linalg.norm(step, axis=1)
    some = length > 1e-12
    start, step, length = start[some], step[some], length[some]
    along = np.concatenate([[0.0], np.cumsum(length)])[:-1]
    unit = step / length[:, None]
    t = np.clip(np.einsum("nkd,kd->nk", points[:, None] - start, unit), 0, length)
    apart = np.linalg.norm(points[:, None] - (start + t[..., None] * unit), axis=2)
    k = np.argmin(apart, axis=1)
    row = np.arange(len(points))
    return along[k] + t[row, k], apart[row, k]


def inner_runs(vertices: np.ndarray, top: np.ndarray, edges: np.ndarray) -> tuple[list[_Run], np.ndarray]:
    """The runs under an outer edge, in order along it, from directed inner edges (e, 2); and which of
    those edges they use (e,)."""
    used = np.zeros(len(edges), dtype=bool)
    if len(edges) == 0 or len(top) < 2:
        return [], used
    xz = vertices[:, [0, 2]]
    line = xz[top]
    place, apart = _places(line, np.vstack([xz[edges[:, 0]], xz[edges[:, 1]], xz[edges].mean(axis=1)]))
    place, apart = place.reshape(3, -1), apart.reshape(3, -1)
    used = apart.max(axis=0) < NEAR_MM
    runs: list[_Run] = []
    order = np.flatnonzero(used)
    order = order[np.argsort(place[2, order], kind="stable")]
    for k in order:
        (a, b), pair = edges[k], place[:2, k]
        if pair[0] > pair[1]:
            a, b, pair = b, a, pair[::-1]
        if runs and runs[-1].place[-1] > pair[0] - 2 * NEAR_MM:
            last = runs[-1]
            more = [b] if last.chain[-1] == a else [a, b]
            runs[-1] = _Run(np.append(last.chain, more), np.append(last.place, pair[-len(more) :]))
        else:
            runs.append(_Run(np.array([a, b]), pair.copy()))
    return runs, used


def _between(vertices: np.ndarray, outer: _Run, inner: _Run) -> np.ndarray:
    """Faces (m, 3) between an outer edge and a run under it: as they run side by side, unless a face would then
    turn over or have no area, as it may where the run is an arch or the edge runs straight across; there they are
    laid out over place and width."""
    faces = zipper(outer.chain, inner.chain, outer.place, inner.place)
    return _sound(faces, outer, inner, vertices[outer.chain, 1], vertices[inner.chain, 1])


def _across(vertices: np.ndarray, mirror: np.ndarray, run: _Run) -> np.ndarray:
    """Faces (m, 3) between a run and its mirror image, none of them without area."""
    s = np.arange(len(run.chain), dtype=float)
    faces = zipper(run.chain, mirror[run.chain], s, s)
    out = vertices[run.chain, 1]
    return _sound(faces, run, _Run(mirror[run.chain], run.place), out, -out)


def _sound(faces: np.ndarray, outer: _Run, inner: _Run, outer_y: np.ndarray, inner_y: np.ndarray) -> np.ndarray:
    """The faces between two runs, or others where one of them turns over or has no area."""
    at: dict[int, tuple[float, float]] = {}
    for run, y in ((inner, inner_y), (outer, outer_y)):
        at.update(zip(run.chain.tolist(), zip(run.place.tolist(), y.tolist(), strict=True), strict=True))
    seen = np.array([[at[k] for k in face] for face in faces.tolist()]).reshape(-1, 3, 2)
    u, v = seen[:, 1] - seen[:, 0], seen[:, 2] - seen[:, 0]
    twice = u[:, 0] * v[:, 1] - u[:, 1] * v[:, 0]
    if not len(faces) or (twice.max() < TURNED_MM2 and np.abs(twice).min() > NO_AREA_MM2):
        return faces
    ring = list(dict.fromkeys([*outer.chain.tolist(), *inner.chain[::-1].tolist()]))
    flat = [(at[k][0], at[k][1] * FLATTER) for k in ring]
    region, number = shapely.Polygon(flat), dict(zip(flat, ring, strict=True))
    if not region.is_valid or len(number) < len(ring):
        return faces
    parts = shapely.orient_polygons(shapely.get_parts(shapely.constrained_delaunay_triangles(region)), exterior_cw=True)
    corners = shapely.get_coordinates(parts).reshape(-1, 4, 2)[:, :3].tolist()
    return np.array([[number[(x, y)] for x, y in triangle] for triangle in corners], dtype=int)


def wall_between(vertices: np.ndarray, mirror: np.ndarray, top: np.ndarray, runs: list[_Run]) -> Wall:
    """The wall between an outer edge (directed as its neighbour has it) and the runs under it."""
    step = np.linalg.norm(np.diff(vertices[top][:, [0, 2]], axis=0), axis=1)
    place = np.concatenate([[0.0], np.cumsum(step)])
    right: list[np.ndarray] = []
    across: list[np.ndarray] = []
    group = _Run(np.zeros(0, dtype=int), np.zeros(0))
    first = 0  # the first outer vertex that the group of runs may use
    ends = [-np.inf, *(run.place[-1] for run in runs)]
    starts = [*(run.place[0] for run in runs), np.inf]

    def close_group(last: int) -> None:
        if len(group.chain):
            right.append(_between(vertices, _Run(top[first : last + 1], place[first : last + 1]), group))

    for k, (after, before) in enumerate(zip(ends, starts, strict=True)):
        inner = np.flatnonzero((place > after + NEAR_MM) & (place < before - NEAR_MM))
        gap = before - after > 2 * NEAR_MM and (len(inner) > 0 or (k > 0 and k < len(runs)))
        lead = group.chain[-1:] if len(group.chain) else top[:0]
        tail = runs[k].chain[:1] if k < len(runs) else top[:0]
        if gap:
            chain = np.concatenate([lead, top[inner], tail]).astype(int)
            if len(chain) > 1:
                middle = np.concatenate([group.place[-1:], place[inner], [before] * len(tail)])
                across.append(_across(vertices, mirror, _Run(chain, middle)))
            if len(inner):
                close_group(int(inner[0]))
                group, first = _Run(np.zeros(0, dtype=int), np.zeros(0)), int(inner[-1])
        if k < len(runs):
            group = _Run(np.append(group.chain, runs[k].chain), np.append(group.place, runs[k].place))
    close_group(len(top) - 1)
    none = np.zeros((0, 3), dtype=int)
    return Wall(np.vstack([none, *right])[:, ::-1].astype(int), np.vstack([none, *across])[:, ::-1].astype(int))
