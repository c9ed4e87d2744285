"""Add the metal that is left outside a developed outline, edge by edge.

Each edge keeps its own margin. Where two edges meet, their margins run on to the corner that their
outer lines make; where one of them has none, the other stops at that edge's line carried on. A corner
sharper than the limit is cut off square to its middle, so that no spike is left. Metal that stays on (a lap) does not
run on round a sharp corner to a narrower margin: it ends square at the end of its own edge, for nothing would ever be
under what hangs past it.
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
#: A seam's last millimetre may turn aside where three pieces meet; a lap ends square to what lies before it.
HOOK_MM = 1.0
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


def with_margins(
    ring: np.ndarray,
    margins: np.ndarray,
    holes: Sequence[tuple[np.ndarray, np.ndarray]] = (),
    *,
    stays: np.ndarray | None = None,
) -> Polygon:
    """The polygon of an anticlockwise ring (n, 2), not closed, with a margin outside each of its segments.

    ``margins`` (n,) mm: segment i runs from point i to point i + 1. Margins of 0 leave the outline as it is.
    ``holes`` are clockwise rings with margins of their own, which are left standing inside the hole.
    ``stays`` (n,) says of each segment whether its margin stays on; None: all of it is trimmed.
    """
    metal = _grown(_clean(Polygon(ring)), ring, margins, np.zeros(len(ring), bool) if stays is None else stays)
    if not holes:
        return metal
    left: BaseGeometry = metal
    for hole, standing in holes:
        gap = _clean(Polygon(hole[::-1]))
        left = left.difference(gap.difference(_strips(hole, standing, np.zeros(len(hole), bool))))
    return _clean(left, keep_holes=True)


def with_holes(shape: Polygon, holes: Sequence[np.ndarray]) -> Polygon:
    """The polygon with holes (n, 2) cut in it; a hole that does not lie wholly inside it is left out."""
    inside = [hole for hole in holes if shape.contains(Polygon(hole))]
    return orient(Polygon(shape.exterior, [*shape.interiors, *inside]))


def _grown(net: Polygon, ring: np.ndarray, margins: np.ndarray, stays: np.ndarray) -> Polygon:
    """The net polygon with the margins outside its ring."""
    if not np.any(margins > 0):
        return net
    plain = _without_hooks(ring, margins, stays) if stays.any() else (ring, margins, stays)
    filled = [] if len(plain[0]) == len(ring) else [_clean(Polygon(plain[0]))]
    whole = shapely.union_all([net, _strips(*plain), *filled])
    return _clean(whole.buffer(HAIR_MM, join_style="mitre").buffer(-HAIR_MM, join_style="mitre"))


def _without_hooks(
    ring: np.ndarray, margins: np.ndarray, stays: np.ndarray
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """The ring, margins and what stays as its strips go by them: where metal that stays on ends at a corner, the seam
    may turn aside by a hair just there, and a lap would be led off by it. The points within `HOOK_MM` of such a corner
    on its own edge become one, the furthest."""
    count, kept, margins, stays = len(ring), np.ones(len(ring), bool), margins.copy(), stays.copy()
    runs_on = stays & (margins == np.roll(margins, 1)) & np.roll(stays, 1)  # does the segment before go on in this one?
    ends = stays & (margins > np.roll(margins, -1))
    begins = stays & (margins > np.roll(margins, 1))
    for i in np.flatnonzero(ends).tolist():
        corner, k = (i + 1) % count, i
        while runs_on[k] and _apart(ring, (k - 1) % count, corner) < HOOK_MM:
            k = (k - 1) % count
        if runs_on[k] and _apart(ring, k, corner) < HOOK_MM:
            kept[[(k + n) % count for n in range(1, (corner - k) % count + 1)]] = False
            margins[k], stays[k] = margins[corner], stays[corner]
    for i in np.flatnonzero(begins).tolist():
        k = (i + 1) % count
        while runs_on[k] and _apart(ring, k, i) < HOOK_MM:
            kept[(k - 1) % count] = False
            k = (k + 1) % count
    return ring[kept], margins[kept], stays[kept]


def _apart(ring: np.ndarray, one: int, other: int) -> float:
    return float(np.linalg.norm(ring[one] - ring[other]))


def _strips(ring: np.ndarray, margins: np.ndarray, stays: np.ndarray) -> BaseGeometry:
    """The margins of a ring with the metal on its left: a strip along each segment, ended at each corner
    by the next one's outer line, or square where it ``stays`` and the corner is sharp."""
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
        if along[i] @ along[j] < 0 and not hollow:
            wide_end, narrow_end, way, k = (a, b, along[i], i) if margins[i] > margins[j] else (b, a, -along[j], j)
            if stays[k] and margins[i] != margins[j]:
                past = max(float((narrow_end - corner) @ way), 0.0)  # as far as the trim's own strip stands out there
                parts.append(Polygon([corner, wide_end, wide_end + past * way, narrow_end]))
                continue
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
