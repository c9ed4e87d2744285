"""Add the metal that is left outside a developed outline, edge by edge.

Each edge keeps its own margin. Where two edges meet, their margins run on to the corner that their
outer lines make; where one of them has none, the other stops at that edge's line carried on. A corner
sharper than the limit is cut off square, so that no spike is left.
"""

from __future__ import annotations

import numpy as np
import shapely
from shapely.geometry import Polygon
from shapely.geometry.base import BaseGeometry

__all__ = ["with_margins"]

#: A corner may reach this many times the larger margin beyond the outline before it is cut off.
CORNER_REACH = 2.0


def _crossing(a: np.ndarray, d: np.ndarray, b: np.ndarray, e: np.ndarray) -> np.ndarray | None:
    """Where the line through a along d meets the line through b along e; None if nearly parallel."""
    det = d[0] * e[1] - d[1] * e[0]
    if abs(det) < 1e-6:
        return None
    t = ((b - a)[0] * e[1] - (b - a)[1] * e[0]) / det
    return a + t * d


def with_margins(ring: np.ndarray, margins: np.ndarray) -> Polygon:
    """The polygon of an anticlockwise ring (n, 2), not closed, with a margin outside each of its segments.

    ``margins`` (n,) mm: segment i runs from point i to point i + 1. Margins of 0 leave the outline as it is.
    """
    net = _clean(Polygon(ring))
    if not np.any(margins > 0):
        return net
    ahead = np.roll(ring, -1, axis=0)
    along = ahead - ring
    length = np.linalg.norm(along, axis=1)
    along = along / np.maximum(length, 1e-12)[:, None]
    out = np.column_stack([along[:, 1], -along[:, 0]])
    wide = margins > 0
    quads = np.stack([ring, ahead, ahead + margins[:, None] * out, ring + margins[:, None] * out], axis=1)[wide]
    parts = [net, *(Polygon(quad) for quad in quads)]
    for i in range(len(ring)):
        j = (i + 1) % len(ring)
        if margins[i] == 0 and margins[j] == 0:
            continue
        turn = along[i, 0] * along[j, 1] - along[i, 1] * along[j, 0]
        if turn <= 1e-9:
            continue  # hollow corner: the strips overlap there
        corner = ahead[i]
        a, b = corner + margins[i] * out[i], corner + margins[j] * out[j]
        tip = _crossing(a, along[i], b, along[j])
        reach = CORNER_REACH * max(margins[i], margins[j])
        if tip is None or np.linalg.norm(tip - corner) > reach:
            patch = [corner, a, b]
        else:
            patch = [corner, a, tip, b]
        parts.append(Polygon(patch))
    good = [part if part.is_valid else part.buffer(0) for part in parts]
    return _clean(shapely.union_all(good).buffer(1e-6).buffer(-1e-6))


def _clean(shape: BaseGeometry) -> Polygon:
    """The largest polygon of a shape, valid, without holes left by rounding."""
    if not shape.is_valid:
        shape = shapely.make_valid(shape)
    polygons = [p for p in shapely.get_parts(shape) if p.geom_type == "Polygon"]
    if not polygons:
        polygons = [q for p in shapely.get_parts(shape) for q in shapely.get_parts(p) if q.geom_type == "Polygon"]
    biggest = max(polygons, key=lambda p: p.area)
    return Polygon(biggest.exterior)
