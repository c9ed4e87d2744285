"""The tunnel of a body as folded blanks: one sheet where its frame line is straight or crests, more where it dips.
Under a rounded top it is one sheet, rolled between its springs.

Drawn like every other blank with the tank's outside up, which for the tunnel is the face towards the
frame: both legs fold up, and so do the folds across the top. A curved frame line cannot be folded.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise

import numpy as np
import shapely

from ._tunnel_frame import tunnel_frame
from .assemble import LEG, ROOF
from .blank import AtEdge, Blank, Edge, Fold, Mark, Roll
from .body import Body
from .choose_k import KFactor
from .curves import polyline_length
from .cutting_mesh import boundary_chains, boundary_edges, contour_chains
from .errors import TunnelError
from .findings import Show, in_mm
from .fittings import Placed, marks_on
from .ledge import over_ledges
from .margins import with_holes, with_margins
from .round_corner import RoundCorner, round_corners
from .round_top import RoundTop
from .round_tunnel import develop_round, roll_lines, roll_turn, round_frame
from .seams import Sewn
from .stations import station_label, stations_between
from .tunnel_edges import (
    TUNNEL_PIECES,
    in_flat,
    laid_on_tunnel,
    onto_frame_side,
    roll_height,
    rounded_top,
    tunnel_edges,
    turned_tunnel_edges,
    up,
)
from .tunnel_flat import RoundEnds
from .tunnel_kinks import KinkedTunnel, Sheet, develop_kinked, stray_of, without_hair_kinks
from .tunnel_told import fold_notes, roll_notes, sharp_end_note, sharp_ends
from .turned import lipped

__all__ = ["TUNNEL_PIECES", "folded_tunnel"]

#: A kink this close to an end of the tunnel cannot be folded, mm: the line is held to be straight there.
NEAR_END_MM = 15.0
#: Roll lines are looked for this far beyond the springs, mm.
BEYOND_MM = 100.0
#: A corner line that strays from straight by more than this cannot be folded on one line, mm.
STRAIGHT_MM = 0.25


def _corner(body: Body) -> np.ndarray:
    """Vertices (k,) along the right-hand corner line, front to rear."""
    flags = body.shell.flags
    on = np.flatnonzero(((flags & LEG) > 0) & ((flags & ROOF) > 0) & (body.shell.vertices[:, 1] > 0))
    return on[np.argsort(body.outer[on, 0])]


def _corner_line(body: Body, corner: np.ndarray, show: Show) -> np.ndarray:
    """The corner line (m + 1, 3) on the frame side: its ends, and the frame line's kinks between them."""
    p = body.outer[corner]
    frame = body.patterns.side.line("frame")
    kinks = frame.points[1:-1][frame.corner[1:-1], 0]
    kinks = kinks[(kinks > p[0, 0] + NEAR_END_MM) & (kinks < p[-1, 0] - NEAR_END_MM)]
    at = np.array([[x, *(np.interp(x, p[:, 0], p[:, k]) for k in (1, 2))] for x in kinks]).reshape(-1, 3)
    line = np.vstack([p[:1], at, p[-1:]])
    line = without_hair_kinks(line)
    for start, end in pairwise(line):
        between = p[(p[:, 0] >= start[0] - 1e-6) & (p[:, 0] <= end[0] + 1e-6)]
        stray = stray_of(np.vstack([start, between, end]))
        if stray > STRAIGHT_MM:
            raise TunnelError(
                f"the frame line strays {show(stray)} from straight between x {show(start[0])} and {show(end[0])}, "
                "so the corners cannot be folded; a line that bends at points only can, if they are marked as corners"
                + _in_one_piece(body, between),
                stray=stray,
            )
    return line


def _in_one_piece(body: Body, corner: np.ndarray) -> str:
    """What the legs would have to give at their lower edges if the curved corner line (n, 3) were folded all the same.

    Metal h below an edge that is bent to radius R, in its own plane, gets longer or shorter by h / R. Left out where
    it is nothing to speak of.
    """
    x, z = corner[:, 0], corner[:, 2]
    curve = np.polynomial.Polynomial.fit(x, z, min(6, len(x) - 1))
    bend = curve.deriv(2)(x) / (1 + curve.deriv()(x) ** 2) ** 1.5
    leg = body.outer[np.unique(body.faces_of("tunnel right"))]
    low = np.where(np.abs(leg[:, 0] - x[:, None]) < NEAR_END_MM, leg[:, 2], np.inf).min(axis=1)
    share = bend * np.maximum(z - low, 0.0)
    most = {"stretched": float(share.max()), "shrunk": float(-share.min())}
    told = [f"{word} by up to {100 * value:.0f} %" for word, value in most.items() if value >= 0.005]
    return f"; in one piece its legs' lower edges would be {' and '.join(told)}" if told else ""


def _outline_of(body: Body, piece: str, line: np.ndarray, *folds: np.ndarray) -> np.ndarray:
    """Outline (n, 2) of a piece, what counts of it: in the middle of the metal, but at a fold on the frame side of it.

    A fold's vertices keep their place along the tunnel; those at a kink of its ``line`` stay there. Left out of
    ``folds`` are ends whose round is known: there the outline runs on to where the two middles cross.
    """
    ring = boundary_chains(boundary_edges(body.faces_of(piece)))[0][:-1]
    outline = onto_frame_side(body, line, piece, body.neutral[ring])
    for fold in (fold for fold in folds if len(fold)):
        here = np.flatnonzero(np.isin(ring, fold))
        own = line * [1, np.sign(body.outer[fold[0], 1]), 1]
        x = body.outer[ring[here], 0]
        part = np.clip(np.searchsorted(own[1:-1, 0], x), 0, len(own) - 2)
        start, along = own[part], np.diff(own, axis=0)[part]
        along = along / np.linalg.norm(along, axis=1)[:, None]
        far = np.einsum("ni,ni->n", body.neutral[ring[here]] - start, along)
        outline[here] = start + far[:, None] * along
        for kink in own[1:-1]:
            outline[here[np.abs(x - kink[0]) < 1e-3]] = kink
    return outline[:, :2] if piece == "tunnel top" else outline[:, [0, 2]]


def _tidy(ring: np.ndarray) -> np.ndarray:
    """A ring (n, 2) without the loop that a knife-edged tip leaves where its two edges run past each other."""
    polygon = shapely.Polygon(ring)
    if polygon.is_valid:
        return ring
    parts = shapely.get_parts(polygon.buffer(0))
    return np.array(max(parts, key=lambda part: part.area).exterior.coords)[:-1]


def _kinked(
    sewn: Sewn, inside_radius: float, k_factor: KFactor, show: Show
) -> tuple[KinkedTunnel, tuple[RoundCorner, ...]]:
    """The flats under a flat top, and the rounds at their ends."""
    body, corner = sewn.body, _corner(sewn.body)
    line = _corner_line(body, corner, show)
    frames = [tunnel_frame(tuple(a), tuple(b)) for a, b in (line[:2], line[-2:])]
    rounds = round_corners(sewn, *frames, inside_radius=inside_radius)
    sharp = _sharp(corner, rounds)
    leg = _outline_of(body, "tunnel right", line, sharp)
    top = _outline_of(body, "tunnel top", line, sharp, body.shell.mirror[sharp])
    tunnel = develop_kinked(
        line,
        _tidy(leg),
        _tidy(top),
        thickness=body.thickness,
        inside_radius=inside_radius,
        k_factor=k_factor,
        round_ends=_round_ends(rounds),
    )
    return tunnel, rounds


def _sharp(corner: np.ndarray, rounds: Sequence[RoundCorner]) -> np.ndarray:
    """The vertices of the right-hand corner line but for its ends with a round."""
    return corner[~np.isin(corner, [one.leg[0] for one in rounds])]


def _round_ends(rounds: Sequence[RoundCorner]) -> RoundEnds:
    """The front and the rear end of the right-hand fold, None where it has no round."""
    ends = {one.at_rear: np.column_stack([one.u, 1 - one.share]) for one in rounds if one.side == "right"}
    return ends.get(False), ends.get(True)


def _rolled(
    sewn: Sewn, rounded: RoundTop, inside_radius: float, k_factor: KFactor
) -> tuple[KinkedTunnel, tuple[RoundCorner, ...]]:
    """The flat under a rounded top, its outline in the middle of the metal, but along the springs on them; and the
    rounds at the ends of an arch's folds."""
    body = sewn.body
    if "tunnel right" not in body.pieces:
        raise TunnelError(
            "the rounded top's legs are in several parts or gone: its springs come down to the lower edge"
        )
    legs, top = (np.unique(body.faces_of(piece)) for piece in ("tunnel right", "tunnel top"))
    spring = np.intersect1d(legs, top)
    if len(spring) < 2:
        raise TunnelError("the rounded top does not run along the legs: the tank's ends cut it away")
    x = body.outer[spring, 0]
    ends = (float(x.min()), float(x.max()))
    half = rounded.half + rounded.widening * (np.array(ends) - rounded.x_front)
    line = np.column_stack([ends, half, rounded.height(np.array(ends), rounded.spring)])
    frame = round_frame(rounded, ends, neutral=roll_height(body), fold_radius=inside_radius)
    rounds = () if rounded.smooth else round_corners(sewn, frame, frame, inside_radius=inside_radius)
    sharp = _sharp(spring, rounds)
    leg = _outline_of(body, "tunnel right", line, sharp)
    ring = boundary_chains(boundary_edges(body.faces_of("tunnel top")))[0][:-1]
    flat = in_flat(body, rounded, body.neutral[ring])
    along = (line[1] - line[0]) / np.linalg.norm(line[1] - line[0])
    for found, sign in ((sharp, 1.0), (body.shell.mirror[sharp], -1.0)):
        here = np.flatnonzero(np.isin(ring, found))
        far = (body.neutral[ring[here]] * [1, sign, 1] - line[0]) @ along
        flat[here] = frame.uv_to_flat(far, np.zeros(len(far))) * [1.0, sign]
    tunnel = develop_round(
        rounded,
        ends,
        _tidy(leg),
        _tidy(flat),
        thickness=body.thickness,
        inside_radius=inside_radius,
        k_factor=k_factor,
        roll_k=body.k_factor,
        round_ends=_round_ends(rounds),
    )
    return tunnel, rounds


def folded_tunnel(
    sewn: Sewn,
    at_edge: AtEdge,
    *,
    inside_radius: float,
    k_factor: KFactor,
    placed: Sequence[Placed] = (),
    show: Show = in_mm,
) -> tuple[tuple[Blank, ...], tuple[RoundCorner, ...]]:
    """The tunnel as folded blanks, with the fittings that sit on it: one, and one more for each dip of the
    frame line; and the rounds at its ends, to which its neighbours are notched. ``show`` puts the lengths in
    notes into words.

    Raises
    ------
    TunnelError
        Where it cannot be folded: the frame line is curved, its kinks lie too close, or an end is too odd.
    """
    body = sewn.body
    rounded = rounded_top(body)
    if rounded is None:
        tunnel, rounds = _kinked(sewn, inside_radius, k_factor, show)
    else:
        tunnel, rounds = _rolled(sewn, rounded, inside_radius, k_factor)
    names = ["tunnel"] if len(tunnel.sheets) == 1 else [f"tunnel {k + 1}" for k in range(len(tunnel.sheets))]
    sharp = sharp_ends(tunnel, rounds)
    edges = tunnel_edges(sewn, tunnel, at_edge, names, rounds)
    turned = turned_tunnel_edges(sewn, tunnel, at_edge)
    marks, holes = _marks(body, tunnel), _fitted(body, tunnel, placed)
    blanks = []
    for k, sheet in enumerate(tunnel.sheets):
        own = tuple(edge for number, edge in edges if number == k)
        ring = up(sheet.outline)[::-1]
        cut = [hole for number, hole in holes[1] if number == k]
        metal = with_margins(ring, _margins(ring, own))
        outline, rolls = with_holes(metal, cut), () if rounded is None else _rolls(rounded, tunnel, metal)
        blank = Blank(
            name=names[k],
            hand="centre",
            kind="folded",
            outline=outline,
            net=with_holes(with_margins(ring, np.zeros(len(ring))), cut),
            edges=own,
            folds=over_ledges(tuple(_folds(sheet, k_factor)), outline, body.patterns.tunnel),
            marks=tuple(mark for number, mark in (*marks, *holes[0]) if number == k),
            grain_deg=90.0,
            thickness=body.thickness,
            area_formed=sheet.area,
            flat=None,
            notes=(
                *(roll_notes(tunnel, sheet, rolls, show) if rolls else fold_notes(tunnel, sheet, names[k], show)),
                *sharp_end_note(sharp, k, inside_radius, show),
            ),
            rolls=rolls,
        )
        lips = [edge for number, edge in turned if number == k]
        blanks.append(lipped(blank, ring, lips, inside_radius=inside_radius, k_factor=k_factor, show=show))
    return tuple(blanks), rounds


def _rolls(rounded: RoundTop, tunnel: KinkedTunnel, metal: shapely.Polygon) -> tuple[Roll, ...]:
    """The zones across the blank, ledges and all: a leg, the rolled top, the other leg."""
    sheet = tunnel.sheets[0]
    right, left = (_on_metal(up(line), metal) for line in roll_lines(tunnel))
    radii = [rounded.radius_at(float(x)) for x in tunnel.line[:, 0]]
    mean, turn = sum(radii) / 2, math.degrees(2 * roll_turn(tunnel))
    out = np.abs(sheet.outline[:, 1]).max() - np.abs(right[:, 1]).max()
    low, high = right + [0.0, -out], left + [0.0, out]  # the good face is up: the right leg lies below
    across = (radii[0], radii[1])
    return (
        Roll("flat", low, right, 0.0, True, math.inf, (math.inf, math.inf), (math.inf, math.inf)),
        Roll("rolled", right, left, turn, True, mean, (mean, mean), across),
        Roll("flat", left, high, 0.0, True, math.inf, (math.inf, math.inf), (math.inf, math.inf)),
    )


def _on_metal(line: np.ndarray, metal: shapely.Polygon) -> np.ndarray:
    """A line (2, 2) from edge to edge of the blank."""
    step = (line[1] - line[0]) / np.linalg.norm(line[1] - line[0])
    whole = shapely.LineString([line[0] - BEYOND_MM * step, line[1] + BEYOND_MM * step])
    points = shapely.get_coordinates(whole.intersection(metal))
    if len(points) < 2:
        return line
    along = (points - line[0]) @ step
    return points[[int(along.argmin()), int(along.argmax())]]


def _margins(ring: np.ndarray, edges: tuple[Edge, ...]) -> np.ndarray:
    """What is left outside each segment of the ring: that of the edge nearest its middle."""
    middle = shapely.points((ring + np.roll(ring, -1, axis=0)) / 2)
    apart = np.array([shapely.distance(shapely.LineString(edge.points), middle) for edge in edges])
    left = [0.0 if edge.joint == "fold" else edge.allowance for edge in edges]
    return np.array(left)[np.argmin(apart, axis=0)]


def _folds(sheet: Sheet, k: KFactor) -> list[Fold]:
    return [
        Fold(
            up(np.asarray(line.start)),
            up(np.asarray(line.end)),
            np.array([[up(np.asarray(a)), up(np.asarray(b))] for a, b in line.tangents]),
            line.angle_deg,
            line.radius,
            True,
            float(k),
            k.source,
        )
        for line in sheet.folds
    ]


def _fitted(
    body: Body, tunnel: KinkedTunnel, placed: Sequence[Placed]
) -> tuple[list[tuple[int, Mark]], list[tuple[int, np.ndarray]]]:
    """Fittings scribed on top and legs, and the holes to be cut, each with the number of its sheet."""
    marks: list[tuple[int, Mark]] = []
    holes: list[tuple[int, np.ndarray]] = []
    for piece in TUNNEL_PIECES:
        scribed, cut = marks_on(body, body.faces_of(piece), body.neutral, placed)
        for mark in scribed:
            marks += [
                (number, replace(mark, points=run)) for number, run in laid_on_tunnel(body, tunnel, piece, mark.points)
            ]
        for hole in cut:
            whole = [*laid_on_tunnel(body, tunnel, piece, hole)]
            if len(whole) == 1:  # a hole across a kink is marked, not cut
                holes += whole
    return marks, holes


def _marks(body: Body, tunnel: KinkedTunnel) -> list[tuple[int, Mark]]:
    """Centre line and stations, over the top and down both legs, each with the number of its sheet."""
    marks: list[tuple[int, Mark]] = []
    for piece in TUNNEL_PIECES:
        used, faces = np.unique(body.faces_of(piece), return_inverse=True)
        at, faces = body.neutral[used], faces.reshape(-1, 3)
        if piece == "tunnel top":
            for line in contour_chains(at, faces, at[:, 1]):
                marks += [
                    (number, Mark("centre", run, "CL")) for number, run in laid_on_tunnel(body, tunnel, piece, line)
                ]
        for station in stations_between(at[:, 0].min(), at[:, 0].max()):
            for line in contour_chains(at, faces, at[:, 0] - station):
                if polyline_length(line) > 8.0:
                    label = station_label(station)
                    marks += [
                        (number, Mark("station", run, label))
                        for number, run in laid_on_tunnel(body, tunnel, piece, line)
                    ]
    return marks
