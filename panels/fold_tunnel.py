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

from .assemble import LEG, ROOF
from .blank import AtEdge, Blank, Edge, Fold, Mark, Roll
from .body import Body
from .choose_k import KFactor
from .curves import polyline_length
from .cutting_mesh import boundary_chains, boundary_edges, contour_chains
from .errors import TunnelError
from .findings import Show, in_mm
from .fittings import Placed, marks_on
from .lips import TurnedEdge
from .margins import with_holes, with_margins
from .openings import tunnel_of
from .round_top import RoundTop
from .round_tunnel import develop_round, roll_lines, roll_turn, round_frame
from .seams import Sewn
from .stations import station_label, stations_between
from .tunnel_kinks import KinkedTunnel, Sheet, develop_kinked, stray_of, without_hair_kinks
from .turned import lipped, turned_edge

__all__ = ["TUNNEL_PIECES", "folded_tunnel"]

TUNNEL_PIECES = ("tunnel right", "tunnel left", "tunnel top")

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
    """Outline (n, 3) of a piece: in the middle of the metal, but at a fold on the frame side of it.

    A fold's vertices keep their place along the tunnel, so that its ends meet the end walls' middle; those
    at a kink of its ``line`` stay there.
    """
    ring = boundary_chains(boundary_edges(body.faces_of(piece)))[0][:-1]
    outline = body.neutral[ring].copy()
    for fold in folds:
        here = np.flatnonzero(np.isin(ring, fold))
        own = line * [1, np.sign(body.outer[fold[0], 1]), 1]
        x = body.outer[ring[here], 0]
        part = np.clip(np.searchsorted(own[1:-1, 0], x), 0, len(own) - 2)
        start, along = own[part], np.diff(own, axis=0)[part]
        along = along / np.linalg.norm(along, axis=1)[:, None]
        far = np.einsum("ni,ni->n", outline[here] - start, along)
        outline[here] = start + far[:, None] * along
        for kink in own[1:-1]:
            outline[here[np.abs(x - kink[0]) < 1e-3]] = kink
    return outline


def _tidy(ring: np.ndarray) -> np.ndarray:
    """A ring (n, 2) without the loop that a knife-edged tip leaves where its two edges run past each other."""
    polygon = shapely.Polygon(ring)
    if polygon.is_valid:
        return ring
    parts = shapely.get_parts(polygon.buffer(0))
    return np.array(max(parts, key=lambda part: part.area).exterior.coords)[:-1]


def _kinked(body: Body, inside_radius: float, k_factor: KFactor, show: Show) -> KinkedTunnel:
    """The flats under a flat top."""
    corner = _corner(body)
    line = _corner_line(body, corner, show)
    leg = _outline_of(body, "tunnel right", line, corner)
    top = _outline_of(body, "tunnel top", line, corner, body.shell.mirror[corner])
    return develop_kinked(
        line,
        _tidy(leg[:, [0, 2]]),
        _tidy(top[:, :2]),
        thickness=body.thickness,
        inside_radius=inside_radius,
        k_factor=k_factor,
    )


def _rounded(body: Body) -> RoundTop | None:
    """The rounded top; None for a flat one."""
    tunnel = tunnel_of(body.patterns)
    return None if tunnel is None else tunnel.rounded


def _rolled(body: Body, rounded: RoundTop, inside_radius: float, k_factor: KFactor) -> KinkedTunnel:
    """The flat under a rounded top: its outline in the middle of the metal, but along the springs on them."""
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
    leg = _outline_of(body, "tunnel right", line, spring)
    ring = boundary_chains(boundary_edges(body.faces_of("tunnel top")))[0][:-1]
    flat = _in_flat(body, rounded, body.neutral[ring])
    frame = round_frame(rounded, ends, neutral=_roll_height(body), fold_radius=inside_radius)
    along = (line[1] - line[0]) / np.linalg.norm(line[1] - line[0])
    for found, sign in ((spring, 1.0), (body.shell.mirror[spring], -1.0)):
        here = np.flatnonzero(np.isin(ring, found))
        far = (body.neutral[ring[here]] * [1, sign, 1] - line[0]) @ along
        flat[here] = frame.uv_to_flat(far, np.zeros(len(far))) * [1.0, sign]
    return develop_round(
        rounded,
        ends,
        _tidy(leg[:, [0, 2]]),
        _tidy(flat),
        thickness=body.thickness,
        inside_radius=inside_radius,
        k_factor=k_factor,
        roll_k=body.k_factor,
    )


def _roll_height(body: Body) -> float:
    """How far off the frame side a rolled top keeps its length, mm."""
    return body.k_factor * body.thickness


def _in_flat(body: Body, rounded: RoundTop, points: np.ndarray) -> np.ndarray:
    """Points (n, 3) of a rounded top in the flat (n, 2), none beyond its springs."""
    seen = rounded.seen(points)
    seen[:, 1] = np.clip(seen[:, 1], -rounded.spring, rounded.spring)
    return rounded.to_flat(seen, _roll_height(body))


def folded_tunnel(
    sewn: Sewn,
    at_edge: AtEdge,
    *,
    inside_radius: float,
    k_factor: KFactor,
    placed: Sequence[Placed] = (),
    show: Show = in_mm,
) -> tuple[Blank, ...]:
    """The tunnel as folded blanks, with the fittings that sit on it: one, and one more for each dip of the
    frame line. ``show`` puts the lengths in notes into words.

    Raises
    ------
    TunnelError
        Where it cannot be folded: the frame line is curved, its kinks lie too close, or an end is too odd.
    """
    body = sewn.body
    rounded = _rounded(body)
    rolls: tuple[Roll, ...] = ()
    if rounded is None:
        tunnel = _kinked(body, inside_radius, k_factor, show)
    else:
        tunnel = _rolled(body, rounded, inside_radius, k_factor)
        rolls = _rolls(rounded, tunnel)
    names = ["tunnel"] if len(tunnel.sheets) == 1 else [f"tunnel {k + 1}" for k in range(len(tunnel.sheets))]
    edges = _edges(sewn, tunnel, at_edge, names)
    turned = _turned(sewn, tunnel, at_edge)
    marks, holes = _marks(body, tunnel), _fitted(body, tunnel, placed)
    blanks = []
    for k, sheet in enumerate(tunnel.sheets):
        own = tuple(edge for number, edge in edges if number == k)
        ring = _up(sheet.outline)[::-1]
        cut = [hole for number, hole in holes[1] if number == k]
        blank = Blank(
            name=names[k],
            hand="centre",
            kind="folded",
            outline=with_holes(with_margins(ring, _margins(ring, own)), cut),
            net=with_holes(with_margins(ring, np.zeros(len(ring))), cut),
            edges=own,
            folds=tuple(_folds(sheet, k_factor)),
            marks=tuple(mark for number, mark in (*marks, *holes[0]) if number == k),
            grain_deg=90.0,
            thickness=body.thickness,
            area_formed=sheet.area,
            flat=None,
            notes=_rolled_notes(tunnel, sheet, rolls, show) if rolls else _notes(tunnel, sheet, names[k], show),
            rolls=rolls,
        )
        lips = [edge for number, edge in turned if number == k]
        blanks.append(lipped(blank, ring, lips, inside_radius=inside_radius, k_factor=k_factor, show=show))
    return tuple(blanks)


def _notes(tunnel: KinkedTunnel, sheet: Sheet, name: str, show: Show) -> tuple[str, ...]:
    """How the sheet is folded, what each pie cut measures, and where it is parted."""
    notes = ["legs fold towards the frame side, the face drawn up; grain runs across these folds"]
    for cut in sheet.cuts[::2]:
        kink = cut.kink
        notes.append(
            f"pie cut in both legs at x {show(kink.at[0])}: {kink.dart:.1f} degrees, {show(cut.width)} wide at the "
            f"lower edge, {show(cut.depth)} deep; it closes when the top is folded {kink.turn:.1f} degrees across "
            "there, towards the frame side. Fold the top across first, then the legs; the open tip is filled in welding"
        )
    for k, kink in enumerate(tunnel.kinks):
        if not kink.crest and (k in sheet.parts or k + 1 in sheet.parts):
            notes.append(
                f"{name} ends at x {show(kink.at[0])}, where the frame line dips by {-kink.turn:.1f} degrees: a sheet "
                "folded there would have to be stretched, so the tunnel is parted and welded"
            )
    return tuple(notes)


def _rolls(rounded: RoundTop, tunnel: KinkedTunnel) -> tuple[Roll, ...]:
    """The zones across the blank: a leg, the rolled top, the other leg."""
    sheet = tunnel.sheets[0]
    right, left = (_on_metal(_up(line), _up(sheet.outline)) for line in roll_lines(tunnel))
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


def _on_metal(line: np.ndarray, ring: np.ndarray) -> np.ndarray:
    """A line (2, 2) from edge to edge of the blank."""
    step = (line[1] - line[0]) / np.linalg.norm(line[1] - line[0])
    whole = shapely.LineString([line[0] - BEYOND_MM * step, line[1] + BEYOND_MM * step])
    points = shapely.get_coordinates(whole.intersection(shapely.Polygon(ring)))
    if len(points) < 2:
        return line
    along = (points - line[0]) @ step
    return points[[int(along.argmin()), int(along.argmax())]]


def _rolled_notes(tunnel: KinkedTunnel, sheet: Sheet, rolls: tuple[Roll, ...], show: Show) -> tuple[str, ...]:
    """How the top is rolled, and how its legs are folded where it is an arch."""
    x0, x1 = tunnel.line[:, 0]
    right, left = roll_lines(tunnel)
    wide = np.linalg.norm(right - left, axis=1)
    front, rear = rolls[1].across
    if abs(front - rear) < 0.05:
        how = f"inside radius {show(front)}, {show(wide.mean())} of metal"
    else:
        how = (
            f"a cone: inside radius {show(front)}, {show(wide[0])} of metal, at x {show(x0)}; inside radius "
            f"{show(rear)}, {show(wide[1])} of metal, at x {show(x1)}"
        )
    notes = (f"roll the top between the two lines towards the frame side, the face drawn up: {how}",)
    if not sheet.folds:
        return (*notes, "the legs run on from the roll without a fold, flat and upright")
    return (
        *notes,
        f"then fold both legs {sheet.folds[0].angle_deg:.1f} degrees along the lines, towards the frame side too",
    )


def _up(points: np.ndarray) -> np.ndarray:
    """Points of the flat turned over: the frame side up."""
    return points * [1.0, -1.0]


def _side(piece: str) -> str:
    return piece.rsplit(" ", 1)[1]


def _seen(body: Body, piece: str, points: np.ndarray) -> np.ndarray:
    """What counts of points (n, 3) on a piece: (x, y) of the top, a rounded one's in the flat, (x, z) of a leg."""
    rounded = _rounded(body)
    if rounded is None:
        return points[:, :2] if piece == "tunnel top" else points[:, [0, 2]]
    if piece == "tunnel top":
        return _in_flat(body, rounded, points)
    x, z = points[:, 0], points[:, 2]
    return np.column_stack([x, z if rounded.smooth else np.minimum(z, rounded.height(x, rounded.spring))])


def _laid(body: Body, tunnel: KinkedTunnel, piece: str, points: np.ndarray) -> list[tuple[int, np.ndarray]]:
    """A line (n, 3) on one piece in the flat, in runs where kinks part it: sheet number and points (k, 2)."""
    runs = tunnel.runs(_side(piece), _seen(body, piece, points))
    return [(tunnel.sheet_of(part), _up(run)) for part, run in runs]


def _edges(sewn: Sewn, tunnel: KinkedTunnel, at_edge: AtEdge, names: list[str]) -> list[tuple[int, Edge]]:
    """Every edge with the number of the sheet it is on."""
    found = []
    for seam in sewn.seams:
        mine = [p for p in seam.pieces if p in TUNNEL_PIECES]
        if len(mine) != 1:
            continue  # a fold, or none of ours
        meets = next(p for p in seam.pieces if p != mine[0])
        joint, allowance = at_edge("folded", mine[0], meets)
        for number, points in _laid(sewn.body, tunnel, mine[0], sewn.body.neutral[seam.chain]):
            length = polyline_length(points)  # folding changes the length of no edge
            found.append((number, Edge(seam.letter, meets, joint, allowance, points, length, length)))
    for number, sheet in enumerate(tunnel.sheets):
        for cut in sheet.cuts:
            letter = f"T{tunnel.kinks.index(cut.kink) + 1}{'R' if cut.side == 'right' else 'L'}"
            for points in cut.edges:
                length = polyline_length(points)
                found.append((number, Edge(letter, names[number], "butt", 0.0, _up(points), length, length)))
    for k, kink in enumerate(tunnel.kinks):
        if not kink.crest:
            for part, other in ((k, k + 1), (k + 1, k)):
                number = tunnel.sheet_of(part)
                points = _up(tunnel.end(part, at_rear=part == k))
                length = polyline_length(points)
                meets = names[tunnel.sheet_of(other)]
                found.append((number, Edge(f"T{k + 1}", meets, "butt", 0.0, points, length, length)))
    return found


def _turned(sewn: Sewn, tunnel: KinkedTunnel, at_edge: AtEdge) -> list[tuple[int, TurnedEdge]]:
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
        points = _seen(sewn.body, piece, sewn.body.neutral[seam.chain])
        for part, laid, own in tunnel.carried(_side(piece), points, values):
            if len(laid) < 2:
                continue
            flat = _up(laid)
            edge = TurnedEdge(seam.letter, width, flat, own[:, 0], own[:, 1], own[:, 2:5], own[:, 5:8])
            sheet = tunnel.sheets[tunnel.sheet_of(part)]
            found.append((tunnel.sheet_of(part), edge if _metal_on_left(_up(sheet.outline), flat) else edge.reversed))
    return found


def _metal_on_left(ring: np.ndarray, line: np.ndarray) -> bool:
    """Whether a line along a ring's edge has the metal on its left."""
    k = int(np.argmax(np.linalg.norm(np.diff(line, axis=0), axis=1)))
    step = line[k + 1] - line[k]
    aside = np.array([-step[1], step[0]]) / np.linalg.norm(step)
    return bool(shapely.Polygon(ring).contains(shapely.Point((line[k] + line[k + 1]) / 2 + 0.5 * aside)))


def _margins(ring: np.ndarray, edges: tuple[Edge, ...]) -> np.ndarray:
    """What is left outside each segment of the ring: that of the edge nearest its middle."""
    middle = shapely.points((ring + np.roll(ring, -1, axis=0)) / 2)
    apart = np.array([shapely.distance(shapely.LineString(edge.points), middle) for edge in edges])
    left = [0.0 if edge.joint == "fold" else edge.allowance for edge in edges]
    return np.array(left)[np.argmin(apart, axis=0)]


def _folds(sheet: Sheet, k: KFactor) -> list[Fold]:
    return [
        Fold(
            _up(np.asarray(line.start)),
            _up(np.asarray(line.end)),
            np.array([[_up(np.asarray(a)), _up(np.asarray(b))] for a, b in line.tangents]),
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
            marks += [(number, replace(mark, points=run)) for number, run in _laid(body, tunnel, piece, mark.points)]
        for hole in cut:
            whole = [*_laid(body, tunnel, piece, hole)]
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
                marks += [(number, Mark("centre", run, "CL")) for number, run in _laid(body, tunnel, piece, line)]
        for station in stations_between(at[:, 0].min(), at[:, 0].max()):
            for line in contour_chains(at, faces, at[:, 0] - station):
                if polyline_length(line) > 8.0:
                    label = station_label(station)
                    marks += [(number, Mark("station", run, label)) for number, run in _laid(body, tunnel, piece, line)]
    return marks
