"""The panel as the flattener sees it: a disc of triangles, each with its own flat frame.

Words used here
    frame     the plane of one triangle, its first edge along u and its outside towards the reader
    defect    2 pi less the angles round an inner vertex: the Gaussian curvature gathered there, in radians
    edge      in this module a side of a triangle; a loop is a closed row of edges that only one triangle has
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import ArrayLike, NDArray

from panels.errors import BadTriangle, DevelopError, NotADisc

__all__ = ["Disc", "disc_from", "frames", "neighbours"]

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]

#: Curvature, radians, that an opening may take out before the panel counts as closed round it; less for one
#: half as long as the outer edge or more. A filler hole in a tight crown takes out half a radian, a closed cone of
#: 45 degrees to its axis 1.8. Tuned by eye: smaller refuses crowns with a wide hole, larger lays out closed cones.
CLOSED, CLOSED_WIDE, WIDE = np.pi, 1.5, 0.5
THINNEST = 1e-7  # smallest height over longest side still taken for a triangle; below it strain has no digits


@dataclass(frozen=True)
class Disc:
    """A checked panel: one piece, one outer loop, holes allowed, windings consistent."""

    vertices: Floats  # (n, 3) mm
    faces: Ints  # (m, 3), anticlockwise seen from outside
    loops: tuple[Ints, ...]  # outer loop first; each runs with the panel on its left, seen from outside
    area: Floats  # (m,) mm2
    gx: Floats  # (m, 3) slope of each corner's hat function along u, 1/mm
    gy: Floats  # (m, 3) the same along v
    u_axis: Floats  # (m, 3) the frame's u in space
    v_axis: Floats  # (m, 3)
    defect: Floats  # (n,) rad; at a boundary vertex pi less the angles there, its turning

    @cached_property
    def inner(self) -> NDArray[np.bool_]:
        """Which vertices lie on no loop."""
        mask = np.ones(len(self.vertices), dtype=bool)
        mask[np.concatenate(self.loops)] = False
        return mask

    @property
    def size(self) -> float:
        """Diagonal of the box about the panel, mm."""
        return float(np.linalg.norm(np.ptp(self.vertices, axis=0)))


def disc_from(vertices: ArrayLike, faces: ArrayLike) -> Disc:
    """A checked disc, its windings made to agree with the first triangle.

    Raises
    ------
    BadTriangle
        A corner that is not a number, an index that names no vertex, or a triangle without area.
    NotADisc
        Several pieces, an edge with three triangles, a closed shell, a handle, a one-sided band, two parts
        that hang together at a single point.
    """
    points, corners = _arrays(vertices, faces)
    corners = _same_winding(corners)
    loops = _loops(corners, points)
    u, v, area, gx, gy, angles = frames(points, corners)
    turn: Floats = np.full(len(points), 2 * np.pi)
    turn[np.concatenate(loops)] = np.pi
    defect = turn - np.bincount(corners.ravel(), weights=angles.ravel(), minlength=len(points))
    _refuse_tube(points, loops, defect)
    return Disc(points, corners, loops, area, gx, gy, u, v, defect)


def _refuse_tube(points: Floats, loops: tuple[Ints, ...], defect: Floats) -> None:
    """Refuse a panel that runs round an opening like a tube or a cone.

    By Gauss and Bonnet the curvature that an opening takes out is 2 pi plus the turning of its loop, which runs
    with the panel on its left: nothing for a hole in a flat sheet, a little for one in a crown, 2 pi for the end of a
    tube. What is taken out cannot be laid flat without a slit up to it.
    """
    length = [float(np.linalg.norm(points[loop] - points[np.roll(loop, -1)], axis=1).sum()) for loop in loops]
    for loop, around in zip(loops[1:], length[1:], strict=True):
        missing = 2 * np.pi + float(defect[loop].sum())
        if missing > (CLOSED_WIDE if around > WIDE * length[0] else CLOSED):
            raise NotADisc(
                "The panel closes on itself round an opening, like a tube or a cone: it cannot lie flat in one piece.\n"
                f"  its two edges   {length[0]:.1f} and {around:.1f} mm round\n"
                f"  opened flat     {np.degrees(missing):.0f} degrees are missing round the opening\n\n"
                "hint: cut it open along a seam from one edge to the other.",
                around=(length[0], around),
                missing_deg=float(np.degrees(missing)),
            )


def _arrays(vertices: ArrayLike, faces: ArrayLike) -> tuple[Floats, Ints]:
    points = np.array(vertices, dtype=float)
    corners = np.array(faces)
    if points.ndim != 2 or points.shape[1] != 3:
        raise DevelopError(f"Vertices have shape {points.shape}, not rows of x, y, z in mm.")
    if corners.ndim != 2 or corners.shape[1] != 3 or not len(corners):
        raise DevelopError(f"Faces have shape {corners.shape}, not rows of three vertex numbers.")
    if corners.dtype.kind not in "iu":
        raise DevelopError(f"Faces are {corners.dtype} values, not whole vertex numbers.")
    corners = corners.astype(np.intp)
    wrong = np.flatnonzero((corners < 0).any(axis=1) | (corners >= len(points)).any(axis=1))
    if wrong.size:
        raise BadTriangle(
            f"Triangle {wrong[0]} names vertices {corners[wrong[0]].tolist()}, there are {len(points)}.",
            triangle=int(wrong[0]),
        )
    used = np.zeros(len(points), dtype=bool)
    used[corners] = True
    if not used.all():
        lost = int(np.flatnonzero(~used)[0])
        raise NotADisc(f"Vertex {lost} belongs to no triangle.\n\nhint: drop loose vertices.", vertex=lost)
    nan = np.flatnonzero(~np.isfinite(points).all(axis=1))
    if nan.size:
        raise BadTriangle(f"Vertex {nan[0]} is not a number: {points[nan[0]].tolist()}.", vertex=int(nan[0]))
    return points, corners


def _same_winding(corners: Ints) -> Ints:
    """The faces, one piece, turned over where they disagree with the first."""
    from scipy.sparse import coo_matrix
    from scipy.sparse.csgraph import connected_components

    a, b = neighbours(corners)
    tail, m = corners.ravel(), len(corners)
    fa, fb = a // 3, b // 3
    pieces, label = connected_components(coo_matrix((np.ones(len(a)), (fa, fb)), shape=(m, m)), directed=False)
    if pieces > 1:
        size = int(np.count_nonzero(label == label[0]))
        raise NotADisc(
            f"The panel is in {pieces} pieces; the first has {size} of {m} triangles.\n\n"
            "hint: develop each piece on its own.",
            pieces=int(pieces),
        )
    agree = tail[a] != tail[b]  # neighbours wound alike run their common edge in opposite directions
    if agree.all():
        return corners
    # Every triangle twice, as given and turned over; alike joins alike, unlike joins crosswise.
    rows, cols = np.concatenate([fa, fa + m]), np.concatenate([fb + m * ~agree, fb + m * agree])
    twofold = coo_matrix((np.ones(len(rows)), (rows, cols)), shape=(2 * m, 2 * m))
    _, both = connected_components(twofold, directed=False)
    if (both[:m] == both[m:]).any():
        raise NotADisc("The panel is a one-sided band: it has no outside.")
    return np.where((both[:m] == both[0])[:, None], corners, corners[:, ::-1])


def neighbours(corners: Ints) -> tuple[Ints, Ints]:
    """Half edges (3 face + side) on either side of every edge that two triangles share."""
    twice = np.flatnonzero((corners == np.roll(corners, -1, axis=1)).any(axis=1))
    if twice.size:
        named = corners[twice[0]].tolist()
        raise BadTriangle(f"Triangle {twice[0]} names a vertex twice: {named}.", triangle=int(twice[0]))
    order, start, count = _edges(corners)
    if count.max() > 2:
        half = order[start[np.argmax(count)]]
        ends = int(corners.ravel()[half]), int(np.roll(corners, -1, axis=1).ravel()[half])
        raise NotADisc(
            f"{count.max()} triangles meet at the edge between vertices {min(ends)} and {max(ends)}; at most 2 can.",
            vertices=ends,
        )
    first = start[count == 2]
    return order[first], order[first + 1]


def _edges(corners: Ints) -> tuple[Ints, Ints, Ints]:
    """Half edges ordered so that those of one edge stand together; where each edge starts; how many it has."""
    n = int(corners.max()) + 1
    tail, head = corners.ravel(), np.roll(corners, -1, axis=1).ravel()
    key = np.minimum(tail, head) * n + np.maximum(tail, head)
    order = np.argsort(key, kind="stable")
    start = np.flatnonzero(np.diff(key[order], prepend=-1))
    return order, start, np.diff(start, append=len(key))


def _loops(corners: Ints, points: Floats) -> tuple[Ints, ...]:
    """Boundary loops, the longest first: on a disc with holes that is the outer edge."""
    order, start, count = _edges(corners)
    single = order[start[count == 1]]
    if not single.size:
        raise NotADisc("The panel is a closed shell without an edge.\n\nhint: cut it at a seam first.")
    tail, head = corners.ravel()[single], np.roll(corners, -1, axis=1).ravel()[single]
    pinch = np.flatnonzero(np.bincount(tail) > 1)
    if pinch.size:
        raise NotADisc(
            f"Two parts of the panel hang together at one point only, vertex {pinch[0]}.",
            vertex=int(pinch[0]),
        )
    after = np.full(len(points), -1, dtype=np.intp)
    after[tail] = head
    loops = _walk(tail, after)
    # Euler's count: a sphere with k holes has 2 - k; each handle costs 2, each pinched vertex 1.
    if len(points) - len(start) + len(corners) != 2 - len(loops):
        raise NotADisc(
            "The panel has a handle or touches itself at a vertex: "
            f"{len(points)} vertices, {len(start)} edges, {len(corners)} triangles, {len(loops)} loops."
        )
    length = [np.linalg.norm(points[loop] - points[np.roll(loop, -1)], axis=1).sum() for loop in loops]
    outer = int(np.argmax(length))
    return (loops[outer], *(loop for i, loop in enumerate(loops) if i != outer))


def _walk(tail: Ints, after: Ints) -> list[Ints]:
    loops, step = [], after.tolist()
    left = dict.fromkeys(tail.tolist())
    while left:
        loop = [next(iter(left))]
        while (following := step[loop[-1]]) != loop[0]:
            loop.append(following)
        for vertex in loop:
            del left[vertex]
        loops.append(np.array(loop, dtype=np.intp))
    return loops


def frames(points: Floats, corners: Ints) -> tuple[Floats, Floats, Floats, Floats, Floats, Floats]:
    """Axes, areas, hat-function slopes and corner angles of every triangle."""
    p0, p1, p2 = points[corners[:, 0]], points[corners[:, 1]], points[corners[:, 2]]
    e1, e2, e3 = p1 - p0, p2 - p0, p2 - p1
    normal = np.cross(e1, e2)
    twice = np.sqrt(np.einsum("ij,ij->i", normal, normal))
    l1, l2, l3 = (np.sqrt(np.einsum("ij,ij->i", e, e)) for e in (e1, e2, e3))
    longest = np.maximum(np.maximum(l1, l2), l3)
    thin = np.flatnonzero(~(twice > THINNEST * longest**2))
    if thin.size:
        t = int(thin[0])
        height = float(twice[t] / longest[t]) if longest[t] > 0 else 0.0
        raise BadTriangle(
            f"Triangle {t} (vertices {corners[t].tolist()}) has no area: "
            f"longest side {longest[t]:.6g} mm, height {height:.3g} mm.\n\n"
            "hint: merge points that coincide, or leave the triangle out.",
            triangle=t,
        )
    u = e1 / l1[:, None]
    v = np.cross(normal / twice[:, None], u)
    x2, y2 = np.einsum("ij,ij->i", e2, u), twice / l1
    # Corners lie at (0, 0), (l1, 0), (x2, y2): the slopes of the three hat functions in that frame.
    gx = np.column_stack([-1 / l1, 1 / l1, np.zeros(len(l1))])
    gy = np.column_stack([(x2 - l1) / (l1 * y2), -x2 / (l1 * y2), 1 / y2])
    a0 = np.arctan2(twice, np.einsum("ij,ij->i", e1, e2))
    a1 = np.arctan2(twice, -np.einsum("ij,ij->i", e1, e3))
    angles = np.column_stack([a0, a1, np.pi - a0 - a1])
    return u, v, twice / 2, gx, gy, angles
