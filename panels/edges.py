"""Edges of a mesh, who shares them, and what hangs together by them.

Plain array work: importing a graph library for it would take longer than the check of a whole job.
"""

from __future__ import annotations

import numpy as np

__all__ = ["connected", "edges_of", "shared_edges"]


def edges_of(faces: np.ndarray) -> np.ndarray:
    """Edges (e, 2) of the faces (m, 3), each once, lower vertex first, in order."""
    if len(faces) == 0:
        return np.zeros((0, 2), dtype=np.intp)
    size = int(faces.max()) + 1
    edge = np.sort(faces[:, [0, 1, 1, 2, 2, 0]].reshape(-1, 2), axis=1)
    return np.column_stack(np.divmod(np.unique(edge[:, 0] * size + edge[:, 1]), size))


def shared_edges(faces: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Edges (e, 2) that two of the faces (m, 3) share, and those two faces (e, 2)."""
    edge = np.sort(faces[:, [0, 1, 1, 2, 2, 0]].reshape(-1, 2), axis=1)
    key = edge[:, 0] * (int(faces.max(initial=0)) + 1) + edge[:, 1]
    order = np.argsort(key, kind="stable")
    first = np.flatnonzero(key[order][1:] == key[order][:-1])
    owner = order // 3
    return edge[order[first]], np.column_stack([owner[first], owner[first + 1]])


def connected(count: int, pairs: np.ndarray) -> np.ndarray:
    """Number (count,) of the part each of ``count`` things belongs to, joined by pairs (p, 2).

    Parts are numbered in order of their first thing. The larger of two meeting roots is hung under the
    smaller until none meet (Y. Shiloach and U. Vishkin, "An O(log n) parallel connectivity algorithm",
    J. Algorithms 3 (1982), in its simplest form).
    """
    root = np.arange(count)
    one, two = np.asarray(pairs, dtype=np.intp).reshape(-1, 2).T
    while True:
        above, below = np.minimum(root[one], root[two]), np.maximum(root[one], root[two])
        apart = above != below
        if not apart.any():
            return np.unique(root, return_inverse=True)[1]
        one, two = one[apart], two[apart]
        np.minimum.at(root, below[apart], above[apart])
        while not np.array_equal(jumped := root[root], root):
            root = jumped
