"""Where the tunnel runs on past the tank: a ledge of its own metal beyond the seam that closes round it.

Words used here
    ledge    what of the tunnel stands out at an open end, past the pieces that meet it there; the weld runs round
             outside it, in the corner
    mouth    the seams at an open end, from one lower edge up over the top and down to the other
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import shapely

from .blank import AtEdge, Fold
from .body import Body
from .half_section import line_height
from .patterns import TunnelPattern
from .seams import Seam

__all__ = ["LEDGE", "joint_along", "over_ledges"]

#: What the joint is called along the edge that carries the ledge; its mate's is a butt.
LEDGE = "ledge"

#: A seam that keeps nearer to the bottom run than this is a leg's lower edge, mm: it is off it by metal and mesh alone.
LOWER_MM = 4.0


#: Pieces that meet the tunnel elsewhere than at its open ends.
INSIDE = ("tunnel", "floor", "bump-out")


def joint_along(at_edge: AtEdge, kind: str, body: Body, seam: Seam | None, piece: str, meets: str) -> tuple[str, float]:
    """The joint of a piece's edge and what is left outside it, mm, as the shop has it; where the tunnel runs on past
    the edge, the ledge, unless a lap or a lip of its own is wider or turned there."""
    joint, allowance = at_edge(kind, piece, meets)
    past = 0.0 if seam is None else ledge_of(body, seam, piece, meets)
    return (LEDGE, past) if past > allowance and joint in ("butt", "lap") else (joint, allowance)


def ledge_of(body: Body, seam: Seam, piece: str, meets: str) -> float:
    """How far a piece runs on past a seam of its own, mm: 0 but for the tunnel at an open end which has a ledge.

    ``meets`` is the piece on the other side. A seam along a leg's lower edge is no part of the mouth: it keeps to the
    bottom run, and runs along the tank.
    """
    tunnel = body.patterns.tunnel
    if tunnel is None or not (tunnel.past_front or tunnel.past_rear):
        return 0.0
    if not piece.startswith("tunnel") or piece.startswith("tunnel end") or meets.startswith(INSIDE):
        return 0.0
    chain = body.neutral[seam.chain]
    x, _, z = chain.T
    low = (z - line_height(body.patterns.side.bottom, x)).max() < LOWER_MM
    if low and np.ptp(x) > np.linalg.norm(np.diff(chain, axis=0), axis=1).sum() / 2:
        return 0.0
    ends = body.patterns.side.lines["frame"].points[[0, -1], 0]
    at_rear = abs(x.mean() - ends[1]) < abs(x.mean() - ends[0])
    return tunnel.past_rear if at_rear else tunnel.past_front


def over_ledges(folds: tuple[Fold, ...], outline: shapely.Polygon, tunnel: TunnelPattern | None) -> tuple[Fold, ...]:
    """Folds along a tunnel's blank, front first, carried on over its ledges to the cut edge."""
    if tunnel is None or not folds or not (tunnel.past_front or tunnel.past_rear):
        return folds
    first, last = min(f.start[0] for f in folds), max(f.end[0] for f in folds)
    near = outline.length  # a fold ends at the mouth if it ends about where the outermost does
    made = []
    for fold in folds:
        along = abs(fold.end[0] - fold.start[0]) > abs(fold.end[1] - fold.start[1])
        front = near if tunnel.past_front and along and fold.start[0] - first < tunnel.past_front else 0.0
        rear = near if tunnel.past_rear and along and last - fold.end[0] < tunnel.past_rear else 0.0
        start, end = _carried(fold.start, fold.end, front, rear, outline)
        tangents = np.array([_carried(a, b, front, rear, outline) for a, b in fold.tangents])
        made.append(replace(fold, start=start, end=end, tangents=tangents))
    return tuple(made)


def _carried(
    start: np.ndarray, end: np.ndarray, front: float, rear: float, outline: shapely.Polygon
) -> tuple[np.ndarray, np.ndarray]:
    """A line's ends, each carried on by so much, or to where the line leaves the metal."""
    step = (end - start) / np.linalg.norm(end - start)
    whole = shapely.LineString([start - front * step, end + rear * step])
    inside = shapely.get_coordinates(whole.intersection(outline))
    if len(inside) < 2:
        return start, end
    along = (inside - start) @ step
    return start + min(0.0, along.min()) * step, start + max(along.max(), float((end - start) @ step)) * step
