"""A tunnel whose frame line has kinks: flats with cross folds over the top and pie cuts in the legs.

Words used here
    kink        where the frame line, and with it the tunnel's corner, changes direction
    crest       a kink over which the line falls away to both sides
    dip         a kink into which the line falls from both sides
    cross fold  the fold across the top at a crest
    pie cut     the wedge cut out of a leg below a crest; it closes when the cross fold is made
    sheet       what is cut from one piece of metal: all between two dips

At a crest the angles round the corner point add up to less than a full turn, so the flat has a gap
there: the pie cut, halved by the line square to the corner. At a dip they add up to more: no flat can
hold them without lying over itself, so the tunnel is parted there and welded.

Each part between two kinks is a straight tunnel of its own (``panels.tunnel_flat``); a cross fold leaves
its own setback off both tops and puts its bend allowance between them.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
import shapely
from numpy.typing import ArrayLike, NDArray
from shapely.geometry.polygon import orient

from panels._tunnel_frame import pairs
from panels._tunnel_parts import join_parts
from panels.bend import KFactor, bend_allowance, inside_setback
from panels.errors import TunnelError
from panels.fold import FoldLine
from panels.tunnel_flat import NO_ROUND, SHARP_MM, RoundEnds, TunnelFlat, develop_tunnel

__all__ = ["Kink", "KinkedTunnel", "PieCut", "Sheet", "develop_kinked", "kinks_of", "stray_of", "without_hair_kinks"]

Array = NDArray[np.float64]

FAR = 1e5  # mm, past the end of any tunnel
#: A cross fold's zone reaches this far into both tops, mm: their outlines are rounded to half of it.
OVERLAP_MM = 2e-6
#: A corner that leaves straight by less than this is no kink: nothing can be folded or cut there, mm.
HAIR_KINK_MM = 0.1
#: A part of the top shorter than this between its cross folds cannot be held in a folder, mm.
SHORTEST_MM = 15.0  # common practice, no source


@dataclass(frozen=True)
class Kink:
    """One kink of the right-hand corner line.

    ``turn`` degrees the top turns there, ``dart`` degrees the legs do, both positive at a crest;
    ``down`` (x, z) the way of the cut down the leg, halving the angle.
    """

    at: tuple[float, float, float]
    turn: float
    dart: float
    down: tuple[float, float]

    @property
    def crest(self) -> bool:
        """Whether the line falls away to both sides."""
        return self.turn > 0

    def behind(self, xz: Array) -> Array:
        """How far points (n, 2) of a leg lie behind the cut, mm; negative ahead of it."""
        return (xz - [self.at[0], self.at[2]]) @ [-self.down[1], self.down[0]]


@dataclass(frozen=True)
class PieCut:
    """A wedge in one leg: its two edges (2, 2) in the flat from the tip down, and what it measures."""

    kink: Kink
    side: str
    edges: tuple[Array, Array]
    width: float  # at the leg's lower edge, mm
    depth: float  # along its edges, mm


@dataclass(frozen=True, eq=False)
class Sheet:
    """One flat: its outline (n, 2), fold lines, pie cuts and area, and the parts it is made of."""

    outline: Array
    folds: tuple[FoldLine, ...]
    cuts: tuple[PieCut, ...]
    area: float
    parts: tuple[int, ...]


@dataclass(frozen=True, eq=False)
class KinkedTunnel:
    """A tunnel in flats. ``line`` (m + 1, 3) is its right-hand corner line; part i lies between two of its points.

    ``flats`` are the parts by themselves, ``shift`` (m,) where each lies along its sheet.
    """

    line: Array
    leg: shapely.Polygon  # outline of a leg in the side view
    kinks: tuple[Kink, ...]
    flats: tuple[TunnelFlat, ...]
    shift: tuple[float, ...]
    sheets: tuple[Sheet, ...]

    def sheet_of(self, part: int) -> int:
        """Number of the sheet that a part lies on."""
        return next(k for k, sheet in enumerate(self.sheets) if part in sheet.parts)

    def runs(self, piece: str, points: ArrayLike) -> list[tuple[int, Array]]:
        """A line on one piece, cut at every kink: the part each run lies on, and the run in its sheet.

        ``piece`` is "top", points (x, y); or "right" or "left", points (x, z) of that leg.
        """
        return [(part, laid) for part, laid, _ in self.carried(piece, points, np.zeros((len(np.asarray(points)), 0)))]

    def carried(self, piece: str, points: ArrayLike, values: Array) -> list[tuple[int, Array, Array]]:
        """As ``runs``, with values (n, d) at the points of the line carried along."""
        p = np.column_stack([pairs(points, "Points of the tunnel"), values])
        found = []
        for part, run in self._split(piece, p):
            flat = self.flats[part]
            laid = self._top(part, run[:, :2]) if piece == "top" else flat.leg_to_flat(run[:, :2], piece)
            found.append((part, laid + [self.shift[part], 0.0], run[:, 2:]))
        return found

    def part_at(self, piece: str, points: Array) -> int:
        """The part that most of the points (n, 2) of a piece lie on."""
        behind = sum((np.median(self._behind(piece, kink, points[:, :2])) > 0 for kink in self.kinks), 0)
        return int(behind)

    def end(self, part: int, *, at_rear: bool) -> Array:
        """Where a part is welded to its neighbour at a dip (4, 2): from the left leg's lower edge to the right's."""
        flat, kink = self.flats[part], self.kinks[part if at_rear else part - 1]
        tip, down = np.array([kink.at[0], kink.at[2]]), np.array(kink.down)
        reach = shapely.LineString([tip, tip + down * FAR]).intersection(self.leg)
        low = tip + down * float(((shapely.get_coordinates(reach) - tip) @ down).max())
        high = tip + down * flat.inside_setback / np.cos(np.radians(kink.dart / 2))
        ends = {side: flat.leg_to_flat(np.array([low, high]), side) for side in ("left", "right")}
        return np.vstack([ends["left"], ends["right"][::-1]]) + [self.shift[part], 0.0]

    def _behind(self, piece: str, kink: Kink, p: Array) -> Array:
        return p[:, 0] - kink.at[0] if piece == "top" else kink.behind(p)

    def _split(self, piece: str, p: Array) -> list[tuple[int, Array]]:
        for kink in self.kinks:
            g = self._behind(piece, kink, p[:, :2])
            cross = np.flatnonzero(g[:-1] * g[1:] < 0)
            share = (g[cross] / (g[cross] - g[cross + 1]))[:, None]
            p = np.insert(p, cross + 1, p[cross] + share * (p[cross + 1] - p[cross]), axis=0)
        if len(p) < 2:
            return [(self.part_at(piece, p), p)] if len(p) else []
        middle = (p[:-1] + p[1:]) / 2
        part = np.zeros(len(middle), dtype=int)
        for kink in self.kinks:
            part += self._behind(piece, kink, middle[:, :2]) > 0
        ends = [0, *(np.flatnonzero(np.diff(part)) + 1), len(middle)]
        return [(int(part[i]), p[i : j + 1]) for i, j in pairwise(ends)]

    def _top(self, part: int, xy: Array) -> Array:
        """Points of a part's top on its own flat, those at a cross fold spread over half its zone."""
        flat = self.flats[part]
        laid = flat.plan_to_flat(xy)
        x, whole = laid[:, 0].copy(), _slope_run(self.line, part)
        for kink, at_rear in ((self._kink(part - 1), False), (self._kink(part), True)):
            if kink is None or not kink.crest:
                continue
            back, width = _cross_fold(kink, flat)
            if back == 0:
                continue
            depth = whole - x if at_rear else x  # from the kink, into the part
            near = back + (depth - back) * width / 2 / back
            depth = np.where(depth < back, near, depth)
            x = whole - depth if at_rear else depth
        return np.column_stack([x, laid[:, 1]])

    def _kink(self, number: int) -> Kink | None:
        return self.kinks[number] if 0 <= number < len(self.kinks) else None


def stray_of(points: ArrayLike) -> float:
    """Most that points (n, 3) stray from the line between the first and the last, mm."""
    p = np.asarray(points, dtype=float)
    along = (p[-1] - p[0]) / np.linalg.norm(p[-1] - p[0])
    apart = p - p[0]
    return float(np.linalg.norm(apart - (apart @ along)[:, None] * along, axis=1).max())


def without_hair_kinks(line: ArrayLike, hair_mm: float = HAIR_KINK_MM) -> Array:
    """A corner line (n, 3) without the corners that leave straight by less than a hair."""
    p = np.asarray(line, dtype=float)
    for k in range(len(p) - 2, 0, -1):
        if stray_of(p[k - 1 : k + 2]) < hair_mm:
            p = np.delete(p, k, axis=0)
    return p


def kinks_of(line: ArrayLike) -> tuple[Kink, ...]:
    """The kinks of a corner line (n, 3), front to rear, in one upright plane."""
    p = np.asarray(line, dtype=float)
    run, widening, climb = np.diff(p, axis=0).T
    top = np.degrees(np.arctan2(climb, run))
    leg = np.arctan2(climb, np.hypot(run, widening))
    stretch = run / np.hypot(run, widening)
    kinks = []
    for k in range(len(run) - 1):
        middle = (leg[k] + leg[k + 1]) / 2
        down = np.array([np.sin(middle) * stretch[k], -np.cos(middle)])
        down = down / np.linalg.norm(down)
        at = (float(p[k + 1, 0]), float(p[k + 1, 1]), float(p[k + 1, 2]))
        dart = float(np.degrees(leg[k] - leg[k + 1]))
        kinks.append(Kink(at, float(top[k] - top[k + 1]), dart, (float(down[0]), float(down[1]))))
    return tuple(kinks)


def _slope_run(line: Array, part: int) -> float:
    return float(np.hypot(*(line[part + 1] - line[part])[[0, 2]]))


def _cross_fold(kink: Kink, flat: TunnelFlat) -> tuple[float, float]:
    """Setback and width of the bend zone of a cross fold, mm."""
    return _fold_sizes(kink, flat.thickness, flat.inside_radius, flat.k_factor)


def _fold_sizes(kink: Kink, thickness: float, radius: float, k: float) -> tuple[float, float]:
    radius = radius if radius > SHARP_MM else 0.0
    width = bend_allowance(thickness, radius, kink.turn, k)
    return inside_setback(radius, kink.turn), width if width > SHARP_MM else 0.0


def _beyond(point: Array, along: Array, ahead: Array) -> shapely.Polygon:
    """All on the ``ahead`` side of the line through a point."""
    a, b = point - along * FAR, point + along * FAR
    return shapely.Polygon([a, b, b + ahead * FAR, a + ahead * FAR])


def _largest(shape: shapely.Geometry, what: str) -> Array:
    parts = [p for p in shapely.get_parts(shape) if p.geom_type == "Polygon" and p.area > 1.0]
    if len(parts) != 1:
        raise TunnelError(
            f"{what} falls into {len(parts)} pieces at the frame line's kinks.\n\n"
            "hint: keep kinks away from one another and from the tunnel's ends",
            pieces=len(parts),
        )
    return np.asarray(parts[0].exterior.coords)[:-1]


def _leg_part(leg: shapely.Polygon, before: Kink | None, after: Kink | None) -> Array:
    for kink, sign in ((before, 1.0), (after, -1.0)):
        if kink is not None:
            point, along = np.array([kink.at[0], kink.at[2]]), np.array(kink.down)
            leg = leg.intersection(_beyond(point, along, sign * np.array([-along[1], along[0]])))  # type: ignore[assignment]
    return _largest(leg, "The leg")


def _top_part(top: shapely.Polygon, line: Array, part: int, before: float, after: float) -> Array:
    """The top between two kinks in plan, less what its cross folds take, mm along its slope."""
    (x0, _, _), (x1, _, _) = line[part], line[part + 1]
    flat = (x1 - x0) / _slope_run(line, part)
    low = x0 + before * flat if part > 0 else -FAR
    high = x1 - after * flat if part < len(line) - 2 else FAR
    return _largest(top.intersection(shapely.box(low, -FAR, high, FAR)), "The top")


def develop_kinked(
    line: ArrayLike,
    leg_xz: ArrayLike,
    top_xy: ArrayLike,
    *,
    thickness: float,
    inside_radius: float,
    k_factor: float | KFactor,
    round_ends: RoundEnds = NO_ROUND,
) -> KinkedTunnel:
    """The flats of a tunnel with a kinked corner line.

    Parameters
    ----------
    line : (m + 1, 3) array
        The right-hand corner line on the frame side, (x, half width, z) mm: its ends and kinks, front
        to rear, its half width straight from end to end.
    leg_xz, top_xy : (n, 2) arrays
        Outline of a leg seen from the side, and of the whole top seen from above, as for ``develop_tunnel``.
    thickness, inside_radius, k_factor
        mm, mm on the frame side of corners and cross folds alike, 0 to 0.5 or a ``KFactor``.
    round_ends
        As for ``develop_tunnel``: the front end of the first part, and the rear end of the last in its own measure.

    Raises
    ------
    TunnelError
        Where kinks lie too close together, or a part cannot be folded.
    """
    p = np.asarray(line, dtype=float)
    kinks = kinks_of(p)
    leg, top = shapely.Polygon(pairs(leg_xz, "Leg")), shapely.Polygon(pairs(top_xy, "Top"))
    sizes = [_fold_sizes(k, thickness, inside_radius, float(k_factor)) if k.crest else (0.0, 0.0) for k in kinks]
    flats = []
    for part in range(len(p) - 1):
        before, after = (kinks[k] if 0 <= k < len(kinks) else None for k in (part - 1, part))
        back = [sizes[k][0] if 0 <= k < len(kinks) else 0.0 for k in (part - 1, part)]
        left = _slope_run(p, part) - sum(back)
        if left < SHORTEST_MM:
            raise TunnelError(
                f"Between two of the frame line's kinks only {left:.1f} mm of the tunnel's top stays flat; "
                f"{SHORTEST_MM:.0f} mm is the least that can be held.\n\n"
                "hint: take one of the two kinks away, or a smaller fold radius",
                left=left,
            )
        flats.append(
            develop_tunnel(
                tuple(p[part]),
                tuple(p[part + 1]),
                _leg_part(leg, before, after),
                _top_part(top, p, part, *back),
                thickness=thickness,
                inside_radius=inside_radius,
                k_factor=k_factor,
                round_ends=(round_ends[0] if before is None else None, round_ends[1] if after is None else None),
            )
        )
    shift = [0.0]
    for k, kink in enumerate(kinks):
        step = _slope_run(p, k) - 2 * sizes[k][0] + sizes[k][1]
        shift.append(shift[-1] + step if kink.crest else 0.0)
    groups: list[list[int]] = [[0]]
    for k, kink in enumerate(kinks):
        if kink.crest:
            groups[-1].append(k + 1)
        else:
            groups.append([k + 1])
    bare = KinkedTunnel(p, leg, kinks, tuple(flats), tuple(shift), ())
    sheets = tuple(_sheet(bare, group) for group in groups)
    return replace(bare, sheets=sheets)


def _sheet(tunnel: KinkedTunnel, group: list[int]) -> Sheet:
    parts, folds, cuts, reliefs = [], [], [], []
    for part in group:
        flat, shift = tunnel.flats[part], tunnel.shift[part]
        parts.append(shapely.Polygon(flat.outline + [shift, 0.0]))
        number = f" {part + 1}" if len(tunnel.flats) > 1 else ""
        for fold in flat.folds:
            start, end = ((x + shift, y) for x, y in (fold.start, fold.end))
            folds.append(replace(fold, start=start, end=end, name=fold.name + number))
        if part + 1 in group:
            zone, cross = _cross(tunnel, part)
            parts.append(zone)
            folds.append(cross)
            reliefs += _reliefs(tunnel, part)
            cuts += [_pie_cut(tunnel, part, side) for side in ("right", "left")]
    outline, area = join_parts([part for part in parts if part.area > 1e-9])
    if reliefs:
        outline = _largest(shapely.Polygon(outline).difference(shapely.union_all(reliefs)), "The flat tunnel")
        outline = np.asarray(orient(shapely.Polygon(outline)).exterior.coords)[:-1]
    return Sheet(outline, tuple(folds), tuple(cuts), area, tuple(group))


def _reliefs(tunnel: KinkedTunnel, part: int) -> list[shapely.Polygon]:
    """What is taken out at the tips of the pie cuts behind a part, where three folds would meet: as long as
    the corner's bend is wide, and a sheet thickness wide."""
    flat = tunnel.flats[part]
    zone, _ = _cross(tunnel, part)
    x = np.array([zone.bounds[0], zone.bounds[2]])
    middle, wide = x.mean(), max(flat.thickness, float(np.ptp(x)) + flat.thickness / 2) / 2
    ends = np.abs(shapely.get_coordinates(zone)[:, 1])
    low, high = ends.min(), ends.max() + flat.allowance + flat.thickness / 2
    return [shapely.box(middle - wide, y, middle + wide, y + high - low) for y in (low, -high)]


def _cross(tunnel: KinkedTunnel, part: int) -> tuple[shapely.Polygon, FoldLine]:
    """The zone and line of the cross fold behind a part."""
    kink, flat = tunnel.kinks[part], tunnel.flats[part]
    back, width = _cross_fold(kink, flat)
    x0 = tunnel.shift[part] + _slope_run(tunnel.line, part) - back
    near = _half_between_folds(tunnel, part, _slope_run(tunnel.line, part) - back)
    far = _half_between_folds(tunnel, part + 1, back)
    x1 = x0 + width
    a, b = x0 - OVERLAP_MM, x1 + OVERLAP_MM
    zone = shapely.Polygon([(a, -near), (b, -far), (b, far), (a, near)])
    half, middle = (near + far) / 2, (x0 + x1) / 2
    line = FoldLine(
        start=(middle, half),
        end=(middle, -half),
        angle_deg=kink.turn,
        radius=flat.inside_radius,
        direction="down",
        allowance=width,
        name=f"cross fold {part + 1}",
    )
    return zone, line


def _half_between_folds(tunnel: KinkedTunnel, part: int, s: float) -> float:
    """Half width of a part's top between the tangent lines of its folds, s mm along its slope."""
    frame = tunnel.flats[part].frame
    half = frame.corner[1] + s * frame.widening / frame.slope_run
    return float(half - tunnel.flats[part].inside_setback * frame.length / frame.slope_run)


def _pie_cut(tunnel: KinkedTunnel, part: int, side: str) -> PieCut:
    kink = tunnel.kinks[part]
    tip = np.array([kink.at[0], kink.at[2]])
    cut = shapely.LineString([tip, tip + np.array(kink.down) * FAR]).intersection(tunnel.leg)
    ends = shapely.get_coordinates(cut)
    low = ends[np.argmax((ends - tip) @ kink.down)]
    start = tip + np.array(kink.down) * tunnel.flats[part].inside_setback / np.cos(np.radians(kink.dart / 2))
    edges = []
    for k in (part, part + 1):
        laid = tunnel.flats[k].leg_to_flat(np.array([start, low]), side)
        edges.append(laid + [tunnel.shift[k], 0.0])
    width = float(np.linalg.norm(edges[0][1] - edges[1][1]))
    depth = float(np.linalg.norm(edges[0][1] - edges[0][0]))
    return PieCut(kink, side, (edges[0], edges[1]), width, depth)
