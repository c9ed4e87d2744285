"""Edges of the folded tunnel in its flat: those welded to other pieces, those to be turned, and what maps onto it.

The tunnel's metal is measured on its face towards the frame, the body in the middle of the metal: every point is
carried square through it before it is laid out.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import shapely

from ._tunnel_frame import SIDES
from .blank import AtEdge, Edge
from .body import Body
from .curves import polyline_length
from .ledge import joint_along
from .lips import TurnedEdge
from .openings import tunnel_of
from .round_corner import NotchedLine, RoundCorner
from .round_top import RoundTop
from .seams import Seam, Sewn
from .tunnel_kinks import KinkedTunnel
from .turned import turned_edge

__all__ = [
    "TUNNEL_PIECES",
    "in_flat",
    "laid_on_tunnel",
    "onto_frame_side",
    "roll_height",
    "rounded_top",
    "tunnel_edges",
    "turned_tunnel_edges",
    "up",
]

TUNNEL_PIECES = ("tunnel right", "tunnel left", "tunnel top")


def tunnel_edges(
    sewn: Sewn, tunnel: KinkedTunnel, at_edge: AtEdge, names: list[str], rounds: Sequence[RoundCorner]
) -> list[tuple[int, Edge]]:
    """Every edge with the number of the sheet it is on."""
    found = []
    for seam in sewn.seams:
        mine = [p for p in seam.pieces if p in TUNNEL_PIECES]
        if len(mine) != 1:
            continue  # a fold, or none of ours
        meets = next(p for p in seam.pieces if p != mine[0])
        joint, allowance = joint_along(at_edge, "folded", sewn.body, seam, mine[0], meets)
        for number, points, length in _run_to_round(sewn.body, tunnel, mine[0], seam, rounds):
            found.append((number, Edge(seam.letter, meets, joint, allowance, points, length, polyline_length(points))))
    for number, sheet in enumerate(tunnel.sheets):
        for cut in sheet.cuts:
            letter = f"T{tunnel.kinks.index(cut.kink) + 1}{'R' if cut.side == 'right' else 'L'}"
            for points in cut.edges:
                length = polyline_length(points)
                found.append((number, Edge(letter, names[number], "butt", 0.0, up(points), length, length)))
    for k, kink in enumerate(tunnel.kinks):
        if not kink.crest:
            for part, other in ((k, k + 1), (k + 1, k)):
                number = tunnel.sheet_of(part)
                points = up(tunnel.end(part, at_rear=part == k))
                length = polyline_length(points)
                meets = names[tunnel.sheet_of(other)]
                found.append((number, Edge(f"T{k + 1}", meets, "butt", 0.0, points, length, length)))
    return found


def _run_to_round(
    body: Body, tunnel: KinkedTunnel, piece: str, seam: Seam, rounds: Sequence[RoundCorner]
) -> list[tuple[int, np.ndarray, float]]:
    """A seam's line in the flat, in runs: sheet number, points (k, 2) and formed length. Where it ends in a round it
    follows the end of the bend from its tangent on; formed, the middle of the metal is as long as the notch it meets.
    """
    line = NotchedLine.of(seam.chain, seam.letter, rounds)
    straight = line.cut(body.neutral[seam.chain])
    runs = [
        (number, points, polyline_length(points)) for number, points in laid_on_tunnel(body, tunnel, piece, straight)
    ]
    if line.first is not None:
        number, points, length = runs[0]
        space, flat = (line.half(line.first, all_of) for all_of in _both_of(body, tunnel, line.first))
        runs[0] = (number, np.vstack([flat[:-1], points]), length + polyline_length(space))
    if line.last is not None:
        number, points, length = runs[-1]
        space, flat = (line.half(line.last, all_of) for all_of in _both_of(body, tunnel, line.last))
        runs[-1] = (number, np.vstack([points, flat[1:]]), length + polyline_length(space))
    return runs


def _both_of(body: Body, tunnel: KinkedTunnel, one: RoundCorner) -> tuple[np.ndarray, np.ndarray]:
    """A round in space (n, 3) and in the flat (n, 2)."""
    return one.swept(body.neutral[one.leg], body.neutral[one.top]), _end_of_bend(tunnel, one)


def _end_of_bend(tunnel: KinkedTunnel, one: RoundCorner) -> np.ndarray:
    """The end of a fold's bend zone (n, 2) in its sheet, leg first."""
    part = len(tunnel.flats) - 1 if one.at_rear else 0
    flat = tunnel.flats[part]
    out = (1 - one.share) * flat.allowance - flat.inside_setback
    laid = flat.frame.uv_to_flat(one.u, out) * [1.0, SIDES[one.side]] + [tunnel.shift[part], 0.0]
    return up(laid)


def turned_tunnel_edges(sewn: Sewn, tunnel: KinkedTunnel, at_edge: AtEdge) -> list[tuple[int, TurnedEdge]]:
    """Every edge to be turned, metal on its left in the sheet as drawn, with the number of its sheet."""
    found = []
    for seam in sewn.seams:
        mine = [p for p in seam.pieces if p in TUNNEL_PIECES]
        if len(mine) != 1:
            continue
        piece, meets = mine[0], next(p for p in seam.pieces if p != mine[0])
        joint, width = at_edge("folded", piece, meets)
        if joint != "fold" or width <= 0:
            continue
        bare = turned_edge(sewn.body, seam.chain, piece, meets, letter=seam.letter, width=width)
        values = np.column_stack([bare.turn, bare.set_in, bare.mould, bare.way])
        points = _seen(sewn.body, tunnel, piece, sewn.body.neutral[seam.chain])
        for part, laid, own in tunnel.carried(_side(piece), points, values):
            if len(laid) < 2:
                continue
            flat = up(laid)
            edge = TurnedEdge(seam.letter, width, flat, own[:, 0], own[:, 1], own[:, 2:5], own[:, 5:8])
            sheet = tunnel.sheets[tunnel.sheet_of(part)]
            found.append((tunnel.sheet_of(part), edge if _metal_on_left(up(sheet.outline), flat) else edge.reversed))
    return found


def _metal_on_left(ring: np.ndarray, line: np.ndarray) -> bool:
    """Whether a line along a ring's edge has the metal on its left."""
    k = int(np.argmax(np.linalg.norm(np.diff(line, axis=0), axis=1)))
    step = line[k + 1] - line[k]
    aside = np.array([-step[1], step[0]]) / np.linalg.norm(step)
    return bool(shapely.Polygon(ring).contains(shapely.Point((line[k] + line[k + 1]) / 2 + 0.5 * aside)))


def laid_on_tunnel(body: Body, tunnel: KinkedTunnel, piece: str, points: np.ndarray) -> list[tuple[int, np.ndarray]]:
    """A line (n, 3) on one piece in the flat, in runs where kinks part it: sheet number and points (k, 2)."""
    runs = tunnel.runs(_side(piece), _seen(body, tunnel, piece, points))
    return [(tunnel.sheet_of(part), up(run)) for part, run in runs]


def _seen(body: Body, tunnel: KinkedTunnel, piece: str, points: np.ndarray) -> np.ndarray:
    """What counts of points (n, 3) on a piece: (x, y) of the top, a rounded one's in the flat, (x, z) of a leg."""
    rounded = rounded_top(body)
    if piece == "tunnel top":
        if rounded is not None:
            return in_flat(body, rounded, points)
        return onto_frame_side(body, tunnel.line, piece, points)[:, :2]
    x, _, z = onto_frame_side(body, tunnel.line, piece, points).T
    smooth = rounded is None or rounded.smooth
    return np.column_stack([x, z if smooth or rounded is None else np.minimum(z, rounded.height(x, rounded.spring))])


def onto_frame_side(body: Body, line: np.ndarray, piece: str, points: np.ndarray) -> np.ndarray:
    """Points (n, 3) in the middle of a flat top or leg, square through the metal to the face towards the frame. Only
    their x changes, where the tunnel tapers or climbs: what a flat top's height and a leg's width are is not asked."""
    steps = np.diff(line, axis=0)
    part = np.clip(np.searchsorted(line[1:-1, 0], points[:, 0]), 0, len(steps) - 1)
    off = steps[part, 2 if piece == "tunnel top" else 1]
    deep = (1 - body.k_factor) * body.thickness
    return points + np.outer(deep * off / np.hypot(steps[part, 0], off), [1.0, 0.0, 0.0])


def rounded_top(body: Body) -> RoundTop | None:
    """The rounded top; None for a flat one."""
    tunnel = tunnel_of(body.patterns)
    return None if tunnel is None else tunnel.rounded


def roll_height(body: Body) -> float:
    """How far off the frame side a rolled top keeps its length, mm."""
    return body.k_factor * body.thickness


def in_flat(body: Body, rounded: RoundTop, points: np.ndarray) -> np.ndarray:
    """Points (n, 3) of a rounded top in the flat (n, 2), none beyond its springs."""
    seen = rounded.seen(points)
    seen[:, 1] = np.clip(seen[:, 1], -rounded.spring, rounded.spring)
    return rounded.to_flat(seen, roll_height(body))


def up(points: np.ndarray) -> np.ndarray:
    """Points of the flat turned over: the frame side up."""
    return points * [1.0, -1.0]


def _side(piece: str) -> str:
    return piece.rsplit(" ", 1)[1]
