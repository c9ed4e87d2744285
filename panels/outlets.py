"""What a tank keeps back below its outlets, side by side.

Words used here
    level    height that an outlet takes fuel down to: the inside of the floor there, and its standpipe
    pass     the lowest place where left and right are one: over the tunnel's top, or behind its end wall
"""

from __future__ import annotations

import numpy as np

from .cutting_mesh import contour_chains
from .measure import volume_below
from .patterns import Outlet

__all__ = ["kept_back", "outlet_levels", "within_faces"]


def within_faces(points: np.ndarray, faces: np.ndarray, at: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Whether each place (k, 2) lies in each face (m, 3) of points (n, 2): (k, m), and its shares of the
    face's corners (k, m, 3)."""
    a, b, c = (points[faces[:, i]] for i in range(3))
    u, v = b - a, c - a
    det = u[:, 0] * v[:, 1] - u[:, 1] * v[:, 0]
    det = np.where(np.abs(det) < 1e-12, np.inf, det)
    w = at[:, None] - a
    second = (w[..., 0] * v[:, 1] - w[..., 1] * v[:, 0]) / det
    third = (u[:, 0] * w[..., 1] - u[:, 1] * w[..., 0]) / det
    share = np.stack([1 - second - third, second, third], axis=-1)
    return np.isfinite(det) & (share.min(axis=-1) > -1e-7), share


def outlet_levels(inner: np.ndarray, faces: np.ndarray, outlets: tuple[Outlet, ...]) -> dict[str, float]:
    """z, mm, that each side with an outlet, "left" or "right", is emptied down to.

    An outlet that lies beside the tank (``panels.fittings`` says so) takes fuel from the lowest point.
    """
    level: dict[str, float] = {}
    for outlet in outlets:
        inside, share = within_faces(inner[:, :2], faces, np.array([[outlet.x, outlet.out]]))
        hit = np.flatnonzero(inside[0])
        heights = np.einsum("mk,mk->m", share[0, hit], inner[faces[hit], 2])
        z = (float(heights.min()) if len(hit) else float(inner[:, 2].min())) + outlet.standpipe
        for side in ("left", "right") if outlet.both_sides else ("right" if outlet.out >= 0 else "left",):
            level[side] = min(z, level.get(side, np.inf))
    return level


def kept_back(inner: np.ndarray, faces: np.ndarray, outlets: tuple[Outlet, ...]) -> dict[str, float]:
    """Fuel in mm3 that each side, "left" and "right", keeps back; empty where no outlet is given.

    ``inner`` (n, 3) and ``faces`` (m, 3) are the tank's inside, closed and alike left and right. A side
    without an outlet keeps all below the pass to the other side.
    """
    level = outlet_levels(inner, faces, outlets)
    if not level:
        return {}
    middle = contour_chains(inner, faces, inner[:, 1])
    lowest = min(float(chain[:, 2].min()) for chain in middle)
    other = max(lowest, min(level.values()))
    return {side: volume_below(inner, faces, level.get(side, other)) / 2 for side in ("left", "right")}
