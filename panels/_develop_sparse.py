"""Sparse symmetric systems on a mesh, set up once and solved many times.

The unknowns are put in an order that keeps the factor small, found once on the bare graph of the vertices (minimum
degree: A. George, J. Liu, "The evolution of the minimum degree ordering algorithm", SIAM Review 31(1), 1989). Each
assembly is then one weighted count into places worked out beforehand, and each factor one call of SuperLU without
pivoting, which a positive definite matrix allows.

LAPACK's banded Cholesky is up to twice as fast on a quiet machine, but its inner products start threads that wait for
each other: beside one other busy program it was measured fifty times slower. See notes/decisions/0003.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

__all__ = ["Pattern", "fill_order", "pattern_for"]

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]


@dataclass(frozen=True)
class Pattern:
    """Where the entries of small symmetric blocks, one per triangle, go in one sparse matrix."""

    size: int  # unknowns
    indptr: NDArray[np.int32]  # compressed columns
    indices: NDArray[np.int32]
    slot: Ints  # (m, k * k) place of each block entry among the matrix's values
    diagonal: Ints  # (size,) place of each unknown's diagonal entry, in the caller's order
    place: Ints  # (size,) unknown i of the caller is unknown place[i] of the matrix

    def assemble(self, blocks: Floats) -> Floats:
        """Sum of (m, k, k) symmetric blocks as the matrix's values."""
        total = np.bincount(self.slot.ravel(), weights=blocks.ravel(), minlength=len(self.indices))
        return np.asarray(total, dtype=float)

    def factor(self, values: Floats) -> Any | None:
        """Factor of the matrix, or None where it is singular."""
        from scipy.sparse import csc_matrix
        from scipy.sparse.linalg import splu

        matrix = csc_matrix((values, self.indices, self.indptr), shape=(self.size, self.size))
        try:
            return splu(matrix, permc_spec="NATURAL", diag_pivot_thresh=0.0, options={"SymmetricMode": True})
        except RuntimeError:  # SuperLU's word for exactly singular
            return None

    def nearly(self, values: Floats, factor: Any, right: Floats, *, within: float, most: int) -> Floats | None:
        """Solution for one right-hand side by conjugate gradients with the factor of a matrix not far from this one;
        None where it is not within that share, in the matrix's own norm, after so many rounds.
        """
        from scipy.sparse import csc_matrix

        matrix = csc_matrix((values, self.indices, self.indptr), shape=(self.size, self.size))
        b = np.empty_like(right)
        b[self.place] = right
        x = factor.solve(b)
        target = within**2 * float((b * x).sum())
        r = b - matrix @ x
        z = factor.solve(r)
        left = float((r * z).sum())
        p = z
        for _ in range(most):
            if left <= target:
                return x[self.place]
            ap = matrix @ p
            curve = float((p * ap).sum())
            if curve <= 0:
                return None
            x, r = x + left / curve * p, r - left / curve * ap
            z = factor.solve(r)
            left, before = float((r * z).sum()), left
            p = z + left / before * p
        return None

    def solve(self, factor: Any, right: Floats) -> Floats:
        """Solution for right-hand sides (size,) or (size, k) in the caller's order."""
        moved = np.empty_like(right, order="F")
        moved[self.place] = right
        return factor.solve(moved)[self.place]


def fill_order(faces: Ints, count: int) -> Ints:
    """Rank of every vertex in an order that keeps the factor of a mesh matrix small."""
    from scipy.sparse import coo_matrix, diags
    from scipy.sparse.linalg import splu

    a, b = faces.ravel(), np.roll(faces, -1, axis=1).ravel()
    rows, cols = np.concatenate([a, b]), np.concatenate([b, a])
    graph = coo_matrix((np.full(len(rows), -1.0), (rows, cols)), shape=(count, count)).tocsc()
    graph = (graph + diags(1.0 - np.asarray(graph.sum(axis=0)).ravel())).tocsc()
    found = splu(graph, permc_spec="MMD_AT_PLUS_A", diag_pivot_thresh=0.0, options={"SymmetricMode": True})
    return found.perm_c.astype(np.intp)


def pattern_for(faces: Ints, rank: Ints, per_vertex: int) -> Pattern:
    """Pattern for blocks over a triangle's corners, ``per_vertex`` unknowns each.

    Unknown c of vertex i is c * n + i for the caller; a block lists the three corners of unknown 0, then of unknown 1.
    """
    n, p = len(rank), per_vertex
    moved = rank[faces]
    row, col = (grid.ravel() for grid in np.meshgrid(np.arange(3), np.arange(3), indexing="ij"))
    keys, found = np.unique(moved[:, col] * n + moved[:, row], return_inverse=True)
    block: Ints = np.asarray(found, dtype=np.intp).reshape(-1, 9)
    column, line = np.divmod(keys, n)
    start = np.searchsorted(column, np.arange(n + 1))
    deep = np.diff(start)
    # Vertex pair k of column J becomes p * p entries: unknown d of J has the p unknowns of each of its rows in turn.
    first = p * p * start[column] + p * (np.arange(len(keys)) - start[column])
    entry: Any = (
        first[None, None, :] + np.arange(p)[:, None, None] + (p * deep[column])[None, None, :] * np.arange(p)[:, None]
    )
    indices = np.empty(p * p * len(keys), dtype=np.int32)
    indices[entry] = (p * line)[None, None, :] + np.arange(p)[:, None, None]
    indptr = np.concatenate([[0], np.cumsum(np.repeat(p * deep, p))]).astype(np.int32)
    own = np.searchsorted(keys, np.arange(n) * (n + 1))
    diagonal = np.concatenate([entry[c, c, own[rank]] for c in range(p)])
    place = np.concatenate([p * rank + c for c in range(p)])
    return Pattern(p * n, indptr, indices, _slots(entry, block, p), diagonal, place)


def _slots(entry: Ints, block: Ints, p: int) -> Ints:
    """(m, (3 p)^2) places for blocks whose rows and columns run unknown by unknown, corner by corner."""
    every = entry[:, :, block]  # row unknown, column unknown, triangle, row corner * 3 + column corner
    every = every.reshape(p, p, len(block), 3, 3).transpose(2, 0, 3, 1, 4)
    return np.ascontiguousarray(every).reshape(len(block), (3 * p) ** 2)
