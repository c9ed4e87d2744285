"""Cut triangle meshes along lines, follow their edges, and close gaps between two chains of points.

Words used here
    flag     bits a vertex carries for the lines it lies on; a cut never pulls it off them
    chain    indices of vertices that follow one another along an edge
    zipper   the triangles between two chains that run side by side
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from .edges import edges_of

__all__ = [
    "FlaggedMesh",
    "area_vectors",
    "boundary_chains",
    "boundary_edges",
    "contour_chains",
    "cut_along",
    "split_faces",
    "zipper",
]

#: A vertex nearer to a cut than this share of its edge is moved onto the cut: fewer slivers.
SNAP_SHARE = 0.3


@dataclass(frozen=True)
class FlaggedMesh:
    """Vertices (n, 3), faces (m, 3), bits (n,) of the lines each vertex lies on."""

    vertices: np.ndarray
    faces: np.ndarray
    flags: np.ndarray

    def edges(self) -> np.ndarray:
        """Every edge once, (e, 2), smaller index first."""
        return edges_of(self.faces)


def area_vectors(vertices: np.ndarray, faces: np.ndarray) -> np.ndarray:
    """Half the cross product of each face's edges (m, 3): its normal times its area, mm2."""
    p = vertices[faces]
    return np.cross(p[:, 1] - p[:, 0], p[:, 2] - p[:, 0]) / 2


def _slide_onto(mesh: FlaggedMesh, g: np.ndarray, edges: np.ndarray, flag: int) -> tuple[FlaggedMesh, np.ndarray]:
    """Move vertices that lie close to the zero of g (n,) along an edge onto it, within their own lines."""
    a, b = edges[:, 0], edges[:, 1]
    share = g[a] / (g[a] - g[b])
    ends = np.concatenate([np.column_stack([a, b, share]), np.column_stack([b, a, 1 - share])])
    ends = ends[ends[:, 2] < SNAP_SHARE]
    tail, head = ends[:, 0].astype(int), ends[:, 1].astype(int)
    free = (mesh.flags[tail] & ~mesh.flags[head]) == 0
    ends, tail, head = ends[free], tail[free], head[free]
    order = np.lexsort([head, ends[:, 2], tail])
    tail, head, share = tail[order], head[order], ends[order, 2]
    tail, first = np.unique(tail, return_index=True)
    head, share = head[first], share[first]
    # Only one end of an edge may move, or the edge could shrink to nothing.
    moving = np.zeros(len(g), dtype=bool)
    moving[tail] = True
    keep = ~(moving[head] & (head < tail))
    tail, head, share = tail[keep], head[keep], share[keep]
    vertices, flags, g = mesh.vertices.copy(), mesh.flags.copy(), g.copy()
    vertices[tail] += share[:, None] * (mesh.vertices[head] - mesh.vertices[tail])
    flags[tail] |= flag
    g[tail] = 0.0
    return replace(mesh, vertices=vertices, flags=flags), g


def cut_along(
    mesh: FlaggedMesh, g: np.ndarray, flag: int, only: np.ndarray | None = None
) -> tuple[FlaggedMesh, np.ndarray, np.ndarray]:
    """Cut a mesh along the zero of a value given at its vertices, g (n,).

    Vertices on the cut get ``flag``. ``only`` (n,) limits the cut to edges with both ends marked.

    Returns the mesh, g at its vertices (0 on the cut), and for each face the face it came from.
    """
    tiny = 1e-9 * max(1.0, float(np.abs(g).max()))
    g = np.where(np.abs(g) < tiny, 0.0, g)
    only = np.ones(len(g), dtype=bool) if only is None else only

    def crossing(m: FlaggedMesh, value: np.ndarray) -> np.ndarray:
        e = m.edges()
        return e[(value[e[:, 0]] * value[e[:, 1]] < 0) & only[e[:, 0]] & only[e[:, 1]]]

    mesh, g = _slide_onto(mesh, g, crossing(mesh, g), flag)
    flags = np.where((g == 0) & only, mesh.flags | flag, mesh.flags)
    edges = crossing(mesh, g)
    a, b = edges[:, 0], edges[:, 1]
    share = (g[a] / (g[a] - g[b]))[:, None]
    new = mesh.vertices[a] + share * (mesh.vertices[b] - mesh.vertices[a])
    count = len(mesh.vertices)
    at = {(int(i), int(j)): count + k for k, (i, j) in enumerate(edges)}
    faces, parent = split_faces(mesh.faces, at)
    cut = FlaggedMesh(np.vstack([mesh.vertices, new]), faces, np.concatenate([flags, (flags[a] & flags[b]) | flag]))
    return cut, np.concatenate([g, np.zeros(len(new))]), parent


def split_faces(faces: np.ndarray, at: dict[tuple[int, int], int]) -> tuple[np.ndarray, np.ndarray]:
    """Faces with the new vertices of split edges worked in, and the face each came from."""
    if not at:
        return faces, np.arange(len(faces))
    keys = np.sort(faces[:, [[0, 1], [1, 2], [2, 0]]], axis=2)
    size = int(faces.max()) + 1
    split = np.array(sorted(i * size + j for i, j in at))
    touched = np.isin(keys[..., 0] * size + keys[..., 1], split).any(axis=1)
    out, parent = [], []
    for k in np.flatnonzero(touched):
        ring: list[int] = []
        for i, j in ((0, 1), (1, 2), (2, 0)):
            p, q = int(faces[k, i]), int(faces[k, j])
            ring.append(p)
            middle = at.get((min(p, q), max(p, q)))
            if middle is not None:
                ring.append(middle)
        pieces = _triangulate_ring(ring, {int(v) for v in faces[k]})
        out += pieces
        parent += [k] * len(pieces)
    keep = np.flatnonzero(~touched)
    return np.vstack([faces[keep], np.array(out)]), np.concatenate([keep, np.array(parent)])


def _triangulate_ring(ring: list[int], corners: set[int]) -> list[list[int]]:
    """Triangles of a face whose edges hold new vertices: ring in order, ``corners`` the old three."""
    new = [k for k, v in enumerate(ring) if v not in corners]
    if len(new) == 1:
        k, n = new[0], len(ring)
        return [
            [ring[k], ring[(k + 1) % n], ring[(k + 2) % n]],
            [ring[k], ring[(k + 2) % n], ring[(k + 3) % n]],
        ]
    if len(new) == 3:
        ring = ring[-1:] + ring[:-1] if new[0] == 0 else ring
        a, ab, b, bc, c, ca = ring
        return [[a, ab, ca], [b, bc, ab], [c, ca, bc], [ab, bc, ca]]
    # Two new vertices: the corner between them is cut off, the rest is a quad.
    n = len(ring)
    start = next(k for k in new if (k + 2) % n in new)
    p, tip, q, far, near = (ring[(start + k) % n] for k in range(5))
    return [[p, tip, q], [p, q, far], [p, far, near]]


def boundary_edges(faces: np.ndarray) -> np.ndarray:
    """Directed edges (e, 2) that only one face has."""
    e = faces[:, [0, 1, 1, 2, 2, 0]].reshape(-1, 2)
    size = int(faces.max()) + 1
    forward, back = e[:, 0] * size + e[:, 1], e[:, 1] * size + e[:, 0]
    return e[~np.isin(forward, back)]


def boundary_chains(edges: np.ndarray) -> list[np.ndarray]:
    """Directed edges (e, 2) joined into chains, in a fixed order; a closed chain repeats its first vertex."""
    follow: dict[int, list[int]] = {}
    for a, b in sorted(map(tuple, edges.tolist()), reverse=True):
        follow.setdefault(a, []).append(b)
    heads = {int(b) for b in edges[:, 1]}
    starts = [a for a in sorted(follow) if a not in heads] + sorted(follow)
    chains = []
    for start in starts:
        while follow.get(start):
            chain = [start]
            while follow.get(chain[-1]):
                chain.append(follow[chain[-1]].pop())
            chains.append(np.array(chain))
    return chains


def contour_chains(points: np.ndarray, faces: np.ndarray, g: np.ndarray) -> list[np.ndarray]:
    """Polylines (k, d) on a mesh where a value given at its vertices, g (n,), is zero.

    ``points`` (n, d) may be the flat or the formed vertices: the lines are carried from one to the other.
    """
    g = np.where(g == 0, 1e-12 * max(1.0, float(np.abs(g).max())), g)
    tri = faces[(g[faces].min(axis=1) < 0) & (g[faces].max(axis=1) > 0)]
    if len(tri) == 0:
        return []
    e = tri[:, [[0, 1], [1, 2], [2, 0]]]
    crosses = g[e[..., 0]] * g[e[..., 1]] < 0
    pair = np.sort(e[crosses].reshape(len(tri), 2, 2), axis=2)
    nodes, where = np.unique(pair.reshape(-1, 2), axis=0, return_inverse=True)
    where = where.reshape(-1, 2)
    share = (g[nodes[:, 0]] / (g[nodes[:, 0]] - g[nodes[:, 1]]))[:, None]
    at = points[nodes[:, 0]] + share * (points[nodes[:, 1]] - points[nodes[:, 0]])
    links: dict[int, list[int]] = {}
    for a, b in where.tolist():
        links.setdefault(a, []).append(b)
        links.setdefault(b, []).append(a)
    chains, seen = [], set()
    for start in sorted(links, key=lambda k: (len(links[k]) != 1, k)):
        if start in seen:
            continue
        chain, before = [start], -1
        seen.add(start)
        while True:
            ahead = [k for k in links[chain[-1]] if k != before]
            if not ahead:
                break
            before = chain[-1]
            chain.append(ahead[0])
            if ahead[0] in seen:
                break
            seen.add(ahead[0])
        chains.append(at[chain])
    return chains


def zipper(first: np.ndarray, second: np.ndarray, at_first: np.ndarray, at_second: np.ndarray) -> np.ndarray:
    """Triangles (m, 3) between two chains of vertex indices, advancing along whichever lags.

    ``at_first``, ``at_second`` place the vertices along the chains. Triangles that shared vertices make
    flat are left out.
    """
    i = j = 0
    faces = []
    while i < len(first) - 1 or j < len(second) - 1:
        if j == len(second) - 1 or (i < len(first) - 1 and at_first[i + 1] <= at_second[j + 1]):
            faces.append((first[i], first[i + 1], second[j]))
            i += 1
        else:
            faces.append((first[i], second[j + 1], second[j]))
            j += 1
    triangles = np.array(faces, dtype=int).reshape(-1, 3)
    a, b, c = triangles.T
    return triangles[(a != b) & (b != c) & (a != c)]
