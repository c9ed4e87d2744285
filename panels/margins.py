"""Add the metal that is left outside a developed outline, edge by edge.

Each edge keeps its own margin. Where two edges meet, their margins run on to the corner that their
outer lines make; where one of them has none, the other stops at that edge's line carried on. A corner
sharper than the limit is cut off square to its middle, so that no spike is left.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import shapely
from shapely.geometry import Polygon
from shapely.geometry.base import BaseGeometry
from shapely.geometry.polygon import orient

__all__ = ["with_holes", "with_margins"]

#: A corner may reach this many times the larger margin beyond the outline before it is cut off.
CORNER_REACH = 2.0
#: Points that lie this close to the line between their neighbours are left out, mm: ten times finer than
#: any machine in the shop cuts, and a quarter of the points.
THINNED_MM = 0.005
#: Cracks narrower than twice this are closed, mm; much smaller, and the general library loses the shape.
HAIR_MM = 1e-3
#: Openings smaller than this are rounding, mm2.
LEAST_HOLE_MM2 = 1.0


def _crossing(a: np.ndarray, d: np.ndarray, b: np.ndarray, e: np.ndarray) -> np.ndarray | None:
    """Where the line through a along d meets the line through b along e; None if nearly parallel."""
    det = d[0] * e[1] - d[1] * e[0]
    if abs(det) < 1e-6:
        return None
    t = ((b - a)[0] * e[1] - (b - a)[1] * e[0]) / det
    return a + t * d


def with_margins(ring: np.ndarray, margins: np.ndarray, holes: Sequence[tuple[np.ndarray, np.ndarray]] = ()) -> Polygon:
    """The polygon of an anticlockwise ring (n, 2), not closed, with a margin outside each of its segments.

    ``margins`` (n,) mm: segment i runs from point i to point i + 1. Margins of 0 leave the outline as it is.
    ``holes`` are clockwise rings with margins of their own, which are left standing inside the hole.
    """
    metal = _grown(_clean(Polygon(ring)), ring, margins)
    if not holes:
        return metal
    left: BaseGeometry = metal
    for hole, standing in holes:
        gap = _clean(Polygon(hole[::-1]))
        left = left.difference(gap.difference(_strips(hole, standing)))
    return _clean(left, keep_holes=True)


def with_holes(shape: Polygon, holes: Sequence[np.ndarray]) -> Polygon:
    """The polygon with holes (n, 2) cut in it; a hole that does not lie wholly inside it is left out."""
    inside = [hole for hole in holes if shape.contains(Polygon(hole))]
    return orient(Polygon(shape.exterior, [*shape.interiors, *inside]))


def _grown(net: Polygon, ring: np.ndarray, margins: np.ndarray) -> Polygon:
    """The net polygon with the margins outside its ring."""
    if not np.any(margins > 0):
        return net
    whole = net.union(_strips(ring, margins))
    return _clean(whole.buffer(HAIR_MM, join_style="mitre").buffer(-HAIR_MM, join_style="mitre"))


def _strips(ring: np.ndarray, margins: np.ndarray) -> BaseGeometry:
    """The margins of a ring with the metal on its left: a strip along each segment, ended at each corner
    by the next one's outer line."""
    ahead = np.roll(ring, -1, axis=0)
    along = ahead - ring
    length = np.linalg.norm(along, axis=1)
    along = along / np.maximum(length, 1e-12)[:, None]
    out = np.column_stack([along[:, 1], -along[:, 0]])
    wide = margins > 0
    quads = np.stack([ring, ahead, ahead + margins[:, None] * out, ring + margins[:, None] * out], axis=1)[wide]
    parts, over = [Polygon(quad) for quad in quads], []
    for i in range(len(ring)):
        j = (i + 1) % len(ring)
        if margins[i] == 0 and margins[j] == 0:
            continue
        turn = along[i, 0] * along[j, 1] - along[i, 1] * along[j, 0]
        hollow = turn <= 1e-9
        if hollow and margins[i] == margins[j]:
            continue  # the two strips overlap there
        corner = ahead[i]
        a, b = corner + margins[i] * out[i], corner + margins[j] * out[j]
        tip = _crossing(a, along[i], b, along[j])
        reach = CORNER_REACH * max(margins[i], margins[j])
        if tip is not None and np.linalg.norm(tip - corner) <= reach:
            parts.append(Polygon([corner, a, tip, b]))
            if not hollow:  # a blunt corner: the wider strip stops where the other's outer line crosses it
                over += [
                    Polygon([end, tip, b if end is a else a])
                    for end, way in ((a, along[i]), (b, -along[j]))
                    if (tip - end) @ way < -1e-9
                ]
        elif not hollow:
            parts.append(_cut_off(corner, a, b, along[i], along[j], tip, reach))
    kept = shapely.union_all([part if part.is_valid else part.buffer(0) for part in parts])
    return kept.difference(shapely.union_all(over)) if over else kept


def _cut_off(
    corner: np.ndarray,
    a: np.ndarray,
    b: np.ndarray,
    along_a: np.ndarray,
    along_b: np.ndarray,
    tip: np.ndarray | None,
    reach: float,
) -> Polygon:
    """The patch at a sharp corner, its spike cut off square at ``reach`` from the corner."""
    if tip is None:
        return Polygon([corner, a, b])
    spike = tip - corner
    spike = spike / np.linalg.norm(spike)
    ends = []
    for start, way in ((a, along_a), (b, -along_b)):
        left = reach - (start - corner) @ spike
        pace = way @ spike
        ends.append(start + max(left / pace, 0.0) * way if pace > 1e-6 else start)
    return Polygon([corner, a, ends[0], ends[1], b])


def _clean(shape: BaseGeometry, keep_holes: bool = False) -> Polygon:
    """The largest polygon of a shape, valid, without holes left by rounding."""
    if not shape.is_valid:
        shape = shapely.make_valid(shape)
    polygons = [p for p in shapely.get_parts(shape) if p.geom_type == "Polygon"]
    if not polygons:
        polygons = [q for p in shapely.get_parts(shape) for q in shapely.get_parts(p) if q.geom_type == "Polygon"]
    biggest = max(polygons, key=lambda p: p.area)
    holes = [hole for hole in biggest.interiors if Polygon(hole).area > LEAST_HOLE_MM2] if keep_holes else []
    thinned = orient(Polygon(biggest.exterior, holes)).simplify(THINNED_MM)
    assert isinstance(thinned, Polygon)
    return thinned
