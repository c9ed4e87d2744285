"""Triangles of a folded sheet, for looking at it and for files of triangles."""

from __future__ import annotations

import math
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from panels.fold import FoldedSheet

if TYPE_CHECKING:
    from shapely.geometry import Polygon

__all__ = ["folded_mesh"]

MERGE_DIGITS = 5  # corners of the flat that agree to 1e-5 mm are one corner


def folded_mesh(
    sheet: FoldedSheet, *, turn_deg: float = 10.0, height: float = 0.0
) -> tuple[NDArray[np.float64], NDArray[np.int64]]:
    """Triangles of a folded sheet at one height in its thickness.

    Parameters
    ----------
    turn_deg : float
        The most a bend turns from one row of triangles to the next, degrees.
    height : float
        0 for the lower face of the flat, the thickness for the upper, mm.

    Returns
    -------
    vertices, faces : ndarray, shapes (n, 3) mm and (m, 3)
        Triangles turn anticlockwise seen from the flat's upper side.
    """
    import shapely

    corners, placed = [], []
    for at, part in enumerate(sheet.parts):
        pieces = [part.polygon]
        if at >= len(sheet.faces):
            bend = sheet.bends[at - len(sheet.faces)]
            count = max(1, math.ceil(math.degrees(bend.turn) / turn_deg - 1e-9))
            pieces = _slices(bend.polygon, bend.origin, bend.along, bend.away, bend.width, count)
        for piece in pieces:
            for triangle in shapely.constrained_delaunay_triangles(piece).geoms:
                ring = shapely.get_coordinates(shapely.orient_polygons(triangle))[:3]
                corners.append(ring)
                placed.append(part.place(ring, height))
    flat = np.round(np.concatenate(corners), MERGE_DIGITS)
    _, first, index = np.unique(flat, axis=0, return_index=True, return_inverse=True)
    return np.concatenate(placed)[first], index.reshape(-1, 3).astype(np.int64)


def _slices(
    zone: Polygon, origin: NDArray, along: NDArray, away: NDArray, width: float, count: int
) -> list[Polygon]:
    """A bend zone cut along its length into strips that turn alike."""
    from shapely.geometry import Polygon

    levels = np.linspace(0, width, count + 1)
    levels[0], levels[-1] = -1e-6, width + 1e-6  # outer edges kept whole
    reach = along * 1e4
    slices = []
    for low, high in pairwise(levels):
        one, two = origin + away * low, origin + away * high
        met = zone.intersection(Polygon([one - reach, one + reach, two + reach, two - reach]))
        slices += [piece for piece in getattr(met, "geoms", [met]) if piece.geom_type == "Polygon"]
    return slices
