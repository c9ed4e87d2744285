"""The tunnel of a body as blanks: one folded sheet where its corner line is straight, else three pieces.

Drawn like every other blank with the tank's outside up, which for the tunnel is the face towards the
frame: both legs fold up.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import shapely

from .assemble import LEG, ROOF
from .blank import AtEdge, Blank, Edge, Fold, Mark
from .body import Body
from .choose_k import KFactor
from .curves import polyline_length
from .cutting_mesh import boundary_chains, boundary_edges, contour_chains
from .errors import TunnelError
from .fittings import Placed, marks_on
from .margins import with_holes, with_margins
from .seams import Sewn
from .stations import station_label, stations_between
from .tunnel_flat import TunnelFlat, develop_tunnel

__all__ = ["TUNNEL_PIECES", "folded_tunnel"]

TUNNEL_PIECES = ("tunnel right", "tunnel left", "tunnel top")

#: A corner line that strays from straight by more than this cannot be folded on one line, mm.
STRAIGHT_MM = 0.25


def _corner(body: Body) -> np.ndarray:
    """Vertices (k,) along the right-hand corner line, front to rear."""
    flags = body.shell.flags
    on = np.flatnonzero(((flags & LEG) > 0) & ((flags & ROOF) > 0) & (body.shell.vertices[:, 1] > 0))
    return on[np.argsort(body.outer[on, 0])]


def _stray(points: np.ndarray) -> float:
    """Most that points stray from the line between the first and the last, mm."""
    along = points[-1] - points[0]
    along = along / np.linalg.norm(along)
    apart = points - points[0]
    return float(np.linalg.norm(apart - (apart @ along)[:, None] * along, axis=1).max())


def _outline_of(body: Body, piece: str, *folds: np.ndarray) -> np.ndarray:
    """Outline (n, 3) of a piece: in the middle of the metal, but at a fold on the frame side of it.

    A fold's vertices keep their place along the tunnel, so that its ends meet the end walls' middle.
    """
    ring = boundary_chains(boundary_edges(body.faces_of(piece)))[0][:-1]
    outline = body.neutral[ring].copy()
    for fold in folds:
        start, end = body.outer[fold[0]], body.outer[fold[-1]]
        along = (end - start) / np.linalg.norm(end - start)
        here = np.isin(ring, fold)
        outline[here] = start + ((outline[here] - start) @ along)[:, None] * along
    return outline


def _tidy(ring: np.ndarray) -> np.ndarray:
    """A ring (n, 2) without the loop that a knife-edged tip leaves where its two edges run past each other."""
    polygon = shapely.Polygon(ring)
    if polygon.is_valid:
        return ring
    parts = shapely.get_parts(polygon.buffer(0))
    return np.array(max(parts, key=lambda part: part.area).exterior.coords)[:-1]


def folded_tunnel(
    sewn: Sewn,
    at_edge: AtEdge,
    *,
    inside_radius: float,
    k_factor: KFactor,
    placed: Sequence[Placed] = (),
) -> Blank:
    """The tunnel as one blank with two folds, and the fittings that sit on it.

    Raises
    ------
    TunnelError
        Where it cannot be folded from one sheet: the frame line is not straight, or an end is too odd.
    """
    body = sewn.body
    corner = _corner(body)
    stray = _stray(body.outer[corner])
    if stray > STRAIGHT_MM:
        raise TunnelError(f"the frame line strays {stray:.1f} mm from straight, so the corners cannot be folded")
    twins = body.shell.mirror[corner]
    leg = _outline_of(body, "tunnel right", corner)
    top = _outline_of(body, "tunnel top", corner, twins)
    ends = [tuple(float(c) for c in body.outer[k]) for k in corner[[0, -1]]]
    flat = develop_tunnel(
        ends[0],  # type: ignore[arg-type]
        ends[1],  # type: ignore[arg-type]
        _tidy(leg[:, [0, 2]]),
        _tidy(top[:, :2]),
        thickness=body.thickness,
        inside_radius=inside_radius,
        k_factor=k_factor,
    )
    edges = tuple(_edges(sewn, flat, at_edge))
    ring = _up(flat.outline)[::-1]
    fitted, holes = _fitted(body, flat, placed)
    return Blank(
        name="tunnel",
        hand="centre",
        kind="folded",
        outline=with_holes(with_margins(ring, _margins(ring, edges)), holes),
        net=with_holes(with_margins(ring, np.zeros(len(ring))), holes),
        edges=edges,
        folds=tuple(_folds(flat, k_factor)),
        marks=(*_marks(body, flat), *fitted),
        grain_deg=90.0,
        thickness=body.thickness,
        area_formed=flat.area,
        flat=None,
        notes=("legs fold towards the frame side, the face drawn up; grain runs across the folds",),
    )


def _up(points: np.ndarray) -> np.ndarray:
    """Points of the flat turned over: the frame side up."""
    return points * [1.0, -1.0]


def _place(flat: TunnelFlat, piece: str, points: np.ndarray) -> np.ndarray:
    """Points (n, 2) of one piece on the blank: (x, y) of the top, (x, z) of a leg."""
    if piece == "tunnel top":
        return _up(flat.plan_to_flat(points))
    return _up(flat.leg_to_flat(points, piece.rsplit(" ", 1)[1]))


def _to_flat(body: Body, flat: TunnelFlat, piece: str, chain: np.ndarray) -> np.ndarray:
    return _place(flat, piece, body.neutral[chain][:, [0, 1] if piece == "tunnel top" else [0, 2]])


def _edges(sewn: Sewn, flat: TunnelFlat, at_edge: AtEdge) -> list[Edge]:
    found = []
    for seam in sewn.seams:
        mine = [p for p in seam.pieces if p in TUNNEL_PIECES]
        if len(mine) != 1:
            continue  # a fold, or none of ours
        meets = next(p for p in seam.pieces if p != mine[0])
        joint, allowance = at_edge("folded", mine[0], meets)
        points = _to_flat(sewn.body, flat, mine[0], seam.chain)
        length = polyline_length(points)  # folding changes the length of no edge
        found.append(Edge(seam.letter, meets, joint, allowance, points, length, length))
    return found


def _margins(ring: np.ndarray, edges: tuple[Edge, ...]) -> np.ndarray:
    """What is left outside each segment of the ring: that of the edge nearest its middle."""
    middle = shapely.points((ring + np.roll(ring, -1, axis=0)) / 2)
    apart = np.array([shapely.distance(shapely.LineString(edge.points), middle) for edge in edges])
    return np.array([edge.allowance for edge in edges])[np.argmin(apart, axis=0)]


def _folds(flat: TunnelFlat, k: KFactor) -> list[Fold]:
    return [
        Fold(
            _up(np.asarray(line.start)),
            _up(np.asarray(line.end)),
            np.array([[_up(np.asarray(a)), _up(np.asarray(b))] for a, b in line.tangents]),
            flat.bend_angle,
            flat.inside_radius,
            True,
            float(k),
            k.source,
        )
        for line in flat.folds
    ]


def _fitted(body: Body, flat: TunnelFlat, placed: Sequence[Placed]) -> tuple[list[Mark], list[np.ndarray]]:
    """Fittings scribed on top and legs, and the holes to be cut."""
    marks: list[Mark] = []
    holes: list[np.ndarray] = []
    for piece in TUNNEL_PIECES:
        axes = [0, 1] if piece == "tunnel top" else [0, 2]
        scribed, cut = marks_on(body, body.faces_of(piece), body.neutral, placed)
        marks += [replace(mark, points=_place(flat, piece, mark.points[:, axes])) for mark in scribed]
        holes += [_place(flat, piece, hole[:, axes]) for hole in cut]
    return marks, holes


def _marks(body: Body, flat: TunnelFlat) -> list[Mark]:
    """Centre line and stations, over the top and down both legs."""
    marks = []
    for piece in TUNNEL_PIECES:
        used, faces = np.unique(body.faces_of(piece), return_inverse=True)
        at = body.neutral[used]
        axes = [0, 1] if piece == "tunnel top" else [0, 2]
        if piece == "tunnel top":
            middle = contour_chains(at, faces.reshape(-1, 3), at[:, 1])
            marks += [Mark("centre", _place(flat, piece, line[:, :2]), "CL") for line in middle]
        for station in stations_between(at[:, 0].min(), at[:, 0].max()):
            lines = contour_chains(at, faces.reshape(-1, 3), at[:, 0] - station)
            marks += [
                Mark("station", _place(flat, piece, line[:, axes]), station_label(station))
                for line in lines
                if polyline_length(line) > 8.0
            ]
    return marks
