"""Strain as a hand reads it: the mean over a patch about a fingertip wide, not triangle by triangle."""

from __future__ import annotations

import numpy as np

from .blank import FlatMesh
from .develop import Development

__all__ = ["felt"]

#: Radius of the patch, mm: what a hand can feel and work. Common practice, no source. Smaller shows the
#: grain of the mesh, larger hides a sharp shoulder.
PATCH_MM = 9.0


def felt(dev: Development, formed: np.ndarray | None = None) -> FlatMesh:
    """The flat with the strain of each triangle's neighbourhood: the area mean over a patch of the flat.

    ``formed`` (n, 3): the panel that was developed, mm.
    """
    from scipy.sparse import csr_array
    from scipy.spatial import cKDTree

    p = dev.points[dev.faces]
    middle = p.mean(axis=1)
    u, v = p[:, 1] - p[:, 0], p[:, 2] - p[:, 0]
    area = np.abs(u[:, 0] * v[:, 1] - u[:, 1] * v[:, 0]) / 2
    near = cKDTree(middle).query_pairs(PATCH_MM, output_type="ndarray")
    count, own = len(middle), np.arange(len(middle))
    (e1, e2), way = dev.strain.T, dev.directions[:, 0]
    xx, yy, xy = e1 * way[:, 0] ** 2, e1 * way[:, 1] ** 2, e1 * way[:, 0] * way[:, 1]
    tensor = np.column_stack([xx + e2 * way[:, 1] ** 2, yy + e2 * way[:, 0] ** 2, xy - e2 * way[:, 0] * way[:, 1]])
    weighed = np.column_stack([tensor * area[:, None], area])
    one = np.ones(len(near) + count)
    rows, columns = np.concatenate([near[:, 0], own]), np.concatenate([near[:, 1], own])
    half = csr_array((one, (rows, columns)), shape=(count, count))
    total = half @ weighed + half.T @ weighed - weighed
    xx, yy, xy = (total[:, :3] / np.maximum(total[:, 3:], 1e-300)).T
    mean, radius, turn = (xx + yy) / 2, np.hypot((xx - yy) / 2, xy), np.arctan2(2 * xy, xx - yy) / 2
    way = np.column_stack([np.cos(turn), np.sin(turn)])
    return FlatMesh(
        dev.points,
        dev.faces,
        np.column_stack([mean + radius, mean - radius]),
        np.stack([way, np.column_stack([-way[:, 1], way[:, 0]])], axis=1),
        formed,
    )
