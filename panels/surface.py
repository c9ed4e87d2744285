"""The outer surface that the patterns describe, one half of it, as a grid of points.

Words used here
    station     a line across the side view from the bottom run to the top run; straight where the ends
                are straight, bent towards a curved end run the nearer it lies to it
    u           place of a station from front (0) to rear (1)
    up          place on a station from its foot on the bottom run (0) to its head on the top run (1)
    half section  the points of one station: lower edge, side, widest point, crown, centre plane
    column      one place in every half section; column 0 is the lower edge, ``widest`` the widest line

The surface is a height field over the side view: every point (x, z) of it has one half width. So a
station may be read straight off the patterns, and the body is closed by walls that run square to the
centre plane. Section shapes are conics where no pattern gives them, and are carried from one section
pattern to the next by monotone interpolation of their proportions, so that each pattern lies on the
surface and nothing between two of them overshoots either.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from .curves import Curve, crossing, monotone_between
from .errors import SurfaceError
from .patterns import KneeRelief, Patterns, PlanPattern, SectionPattern, SectionShape

__all__ = ["HalfSurface", "half_surface", "plan_half_width", "section_at"]

#: Most the mesh may miss the surface along its length, mm; tuned so that capacity is right to 0.1 %.
CHORD_MM = 0.05
#: Longest step between stations and between columns, mm: small enough to show strain zones.
STEP_MM = 10.0
#: A fullness below the first is all but straight; above the second its bend is tighter than sheet metal's; above the
#: third it is a square corner.
NEARLY_STRAIGHT, NEARLY_SQUARE, SQUARE = 0.1, 0.985, 1 - 1e-9
#: Turns sharper than this (radius 12 mm) are corners to a shaper; the mesh does not chase them.
SHARPEST_PER_MM = 1 / 12


@dataclass(frozen=True)
class HalfSurface:
    """Points of the right half, y >= 0: ``grid`` (nu, nc, 3) mm, stations by columns.

    ``drawn`` (nu, nc, 3) is the same without the knee relief: what plan and section patterns show.
    ``u`` (nu,) places the stations; ``widest`` is the column of the widest line (0 where the lower edge
    is the widest); ``shoulder`` is the column nearest the asked-for shoulder seam; ``up`` (nu, nc).
    """

    grid: np.ndarray
    drawn: np.ndarray
    u: np.ndarray
    up: np.ndarray
    widest: int
    shoulder: int

    @property
    def widths(self) -> np.ndarray:
        """Half width at the widest line of each station, mm (nu,)."""
        return self.grid[:, self.widest, 1]


@dataclass(frozen=True)
class _Stations:
    """Where the stations run in the side view, and the half widths they carry."""

    patterns: Patterns
    knots: np.ndarray  # (k, 3): u, x of the foot, x of the head

    def foot_head(self, u: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        side = self.patterns.side
        x = monotone_between(self.knots[:, 0], self.knots[:, 1:], u)
        foot, head = (
            np.column_stack([x[:, k], run.second_at(x[:, k])]) for k, run in enumerate((side.bottom, side.top))
        )
        return foot, head

    def point(self, u: np.ndarray, up: np.ndarray) -> np.ndarray:
        """Side view points (nu, nc, 2) at stations u (nu,) and heights up (nu, nc)."""
        return self._between(u, *self.foot_head(u), up)

    def _between(self, u: np.ndarray, foot: np.ndarray, head: np.ndarray, up: np.ndarray) -> np.ndarray:
        point = foot[:, None] + up[..., None] * (head - foot)[:, None]
        for run, weight in ((self.patterns.side.front, 1 - u), (self.patterns.side.rear, u)):
            if len(run.dense) > 2:  # a straight run bends no station
                chord = run.points[0] + up[..., None] * (run.points[-1] - run.points[0])
                point = point + weight[:, None, None] * (run.at(up * run.length) - chord)
        return point

    def height(self, u: np.ndarray) -> np.ndarray:
        """Length of each station from foot to head, mm (nu,)."""
        foot, head = self.foot_head(u)
        return np.maximum(np.linalg.norm(head - foot, axis=1), 1e-9)

    def up_at_line(self, u: np.ndarray, line: Curve) -> np.ndarray:
        """Height (nu,) at which each station crosses a line of the side pattern; 0 or 1 where it does not."""
        foot, head = self.foot_head(u)

        def over(up: np.ndarray, rows: np.ndarray) -> np.ndarray:
            point = self._between(u[rows], foot[rows], head[rows], up[:, None])[:, 0]
            return point[:, 1] - line_height(line, point[:, 0])

        up = crossing(over, len(u))
        return np.where(up < 1e-9, 0.0, np.where(up > 1 - 1e-9, 1.0, up))


def line_height(line: Curve, x: np.ndarray) -> np.ndarray:
    """z of a side pattern line at x, carried on straight beyond its ends."""
    d = line.dense
    z = np.interp(x, d[:, 0], d[:, 1])
    for end, inner, beyond in ((0, 1, x < d[0, 0]), (-1, -2, x > d[-1, 0])):
        run = d[end, 0] - d[inner, 0]
        slope = (d[end, 1] - d[inner, 1]) / run if abs(run) > 1e-9 else 0.0
        z = np.where(beyond, d[end, 1] + slope * (x - d[end, 0]), z)
    return z


def plan_half_width(plan: PlanPattern, share: np.ndarray) -> np.ndarray:
    """Half width, mm, at shares (0..1) of the plan pattern's length along its line.

    Square ends (a last stroke straight in to the centre line) are left off: they are the end cap.
    """
    dense = plan.half.dense
    keep = np.ones(len(dense), dtype=bool)
    flat = np.abs(np.diff(dense[:, 0])) < 1e-6
    for i in range(len(flat)):
        if not flat[i]:
            break
        keep[i] = False
    for i in range(len(flat) - 1, -1, -1):
        if not flat[i]:
            break
        keep[i + 1] = False
    d = dense[keep]
    along = (d[:, 0] - d[0, 0]) / (d[-1, 0] - d[0, 0])
    return np.maximum(np.interp(share, along, np.abs(d[:, 1])), 0.0)


def _stations(patterns: Patterns) -> _Stations:
    side = patterns.side
    feet = [side.bottom.points[0, 0], *(s.foot_x for s in patterns.sections), side.bottom.points[-1, 0]]
    heads = [side.top.points[0, 0], *(s.head_x for s in patterns.sections), side.top.points[-1, 0]]
    x = np.array(sorted(zip(feet, heads, strict=True)))
    if np.any(np.diff(x, axis=0) <= 1e-3):
        raise SurfaceError(
            "Section lines cross one another or an end of the tank.\n"
            f"  feet on the bottom run, x  {', '.join(f'{v:.1f}' for v in x[:, 0])}\n"
            f"  heads on the top run, x    {', '.join(f'{v:.1f}' for v in x[:, 1])}\n"
            "hint: give each section its own place between the ends, in the same order on both runs"
        )
    middle = x.mean(axis=1)
    return _Stations(patterns, np.column_stack([(middle - middle[0]) / np.ptp(middle), x]))


def _conic(a: np.ndarray, c: np.ndarray, b: np.ndarray, fullness: float, t: np.ndarray) -> np.ndarray:
    """Conic points (n, len(t), 2) from a through the pull of c to b (each (n, 2))."""
    weight = min(fullness, SQUARE) / (1 - min(fullness, SQUARE))
    if not NEARLY_STRAIGHT < fullness < NEARLY_SQUARE:
        return _even_conic(a, c, b, weight, t)
    f = np.stack([(1 - t) ** 2, 2 * weight * t * (1 - t), t**2])
    f = f / f.sum(axis=0)
    return np.einsum("kt,knd->ntd", f, np.stack([a, c, b]))


def _even_conic(a: np.ndarray, c: np.ndarray, b: np.ndarray, weight: float, t: np.ndarray) -> np.ndarray:
    """Conic points (n, len(t), 2) evenly along either half, one of them its apex: by their own parameter they would
    lie in the corner of a square one, or at the ends of a straight one, closer together than the metal is thick."""
    u = np.concatenate([[0.0], np.logspace(-12, 0, 200)])  # t / (1 - t), up to the apex
    f = np.stack([1 + 0 * u, 2 * weight * u, u**2])
    f = f / f.sum(axis=0)
    t = t.copy()
    t[np.abs(t - 0.5).argmin()] = 0.5
    out = np.empty((len(a), len(t), 2))
    for k, (one, pull, other) in enumerate(zip(a, c, b, strict=True)):
        first = _even(f.T @ np.stack([one, pull, other]), 2 * t[t <= 0.5])
        last = _even(f.T @ np.stack([other, pull, one]), 2 * (1 - t[t > 0.5]))
        out[k] = np.vstack([first, last])
    return out


@dataclass(frozen=True)
class _Proportions:
    """Half sections as shares: crown (n, t, 2) of (width, height over the widest point), and side
    (n, t, 2) of (width off the chord from lower edge to widest point, height to the widest point)."""

    crown: np.ndarray
    side: np.ndarray
    lower: np.ndarray  # lower half width / widest half width (n,)


def _conic_proportions(
    shape: SectionShape,
    w: np.ndarray,
    crown_h: np.ndarray,
    side_h: np.ndarray,
    lower: np.ndarray,
    grids: tuple,
) -> _Proportions:
    """Sections of stated fullness. Leans in degrees hold at the widest station, elsewhere they keep its
    proportions, so that sections stay alike where the plan closes to a point or a round end."""
    ref = int(np.argmax(w))
    n, one = len(w), np.ones(len(w))
    lean = np.tan(np.radians(shape.crown_lean_deg)) * crown_h[ref] / w[ref]
    crown = _conic(
        np.column_stack([one, 0 * one]),
        np.column_stack([one * max(0.0, 1 - lean), one]),
        np.column_stack([0 * one, one]),
        shape.crown_fullness,
        grids[1],
    )
    share = lower / np.maximum(w, 1e-12)
    rise = (1 - share[ref]) * w[ref] / max(np.tan(np.radians(shape.lower_lean_deg)), 1e-9)
    knee = float(np.clip(rise / max(side_h[ref], 1e-9), 0.0, 0.95))
    tuck = np.tan(np.radians(shape.side_lean_deg)) * side_h[ref] * (1 - knee) / w[ref]
    pulled = np.maximum(1 - tuck, share)  # the pull may not lie inside the lower edge
    side = _conic(
        np.column_stack([share, 0 * one]),
        np.column_stack([pulled, knee * one]),
        np.column_stack([one, one]),
        shape.side_fullness,
        grids[0],
    )
    chord = share[:, None] + (1 - share)[:, None] * side[..., 1]
    return _Proportions(crown, np.stack([side[..., 0] - chord, side[..., 1]], axis=-1), np.broadcast_to(share, n))


def section_at(section: SectionPattern, stations: _Stations, u: float, up_widest: float) -> dict[str, np.ndarray]:
    """A drawn section's points split at the widest line: ``crown`` and ``side`` (k, 2) as (out, up in mm),
    from the lower edge upwards; ``up`` is measured along the station from its foot."""
    assert section.half is not None
    foot, head = (p[0] for p in stations.foot_head(np.array([u])))
    upright = abs(section.foot_x - section.head_x) < 1e-9
    d = section.half.dense[::-1].copy()
    d[:, 0] = np.abs(d[:, 0])
    if upright:
        d[:, 1] -= foot[1]
    height = float(np.linalg.norm(head - foot)) * up_widest
    above = np.flatnonzero(d[:, 1] >= height)
    if len(above) == 0 or above[0] == 0:
        raise SurfaceError(
            f"Section pattern {section.name} does not reach across the widest line.\n"
            f"  widest line  {height:.1f} mm above the lower edge of the side pattern\n"
            f"  section      {d[:, 1].min():.1f} to {d[:, 1].max():.1f} mm\n"
            "hint: measure the section from the same line as the side pattern, from the top to the lower edge"
        )
    k = above[0]
    share = (height - d[k - 1, 1]) / (d[k, 1] - d[k - 1, 1])
    at = d[k - 1] + share * (d[k] - d[k - 1])
    return {"side": np.vstack([d[:k], at]), "crown": np.vstack([at, d[k:]])}


def _even(points: np.ndarray, t: np.ndarray) -> np.ndarray:
    """Points at shares t of a polyline's length."""
    s = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(points, axis=0), axis=1))])
    return np.stack([np.interp(t * s[-1], s, points[:, k]) for k in range(2)], axis=1)


def _section_proportions(
    section: SectionPattern,
    stations: _Stations,
    u: float,
    up_widest: float,
    w: float,
    lower: float | None,
    grids: tuple,
) -> _Proportions:
    """Proportions of one section pattern, drawn or of stated shape, at its own station."""
    height = float(stations.height(np.array([u]))[0])
    side_h, crown_h = height * up_widest, height * (1 - up_widest)
    if section.half is None:
        shape = section.shape or stations.patterns.shape
        low = shape.lower_share * w if lower is None else lower
        one = np.ones(1)
        return _conic_proportions(shape, w * one, crown_h * one, side_h * one, low * one, grids)
    parts = section_at(section, stations, u, up_widest)
    crown = _even(parts["crown"], grids[1])
    wide = crown[0, 0]
    crown = np.column_stack([crown[:, 0] / wide, (crown[:, 1] - side_h) / (crown[-1, 1] - side_h)])
    crown[-1, 0] = 0.0
    side = _even(parts["side"], grids[0])
    base, span = side[0, 1], side[-1, 1] - side[0, 1]
    rise = (side[:, 1] - base) / span
    chord = side[0, 0] + (side[-1, 0] - side[0, 0]) * rise
    return _Proportions(
        crown[None], np.column_stack([(side[:, 0] - chord) / wide, rise])[None], np.array([side[0, 0] / wide])
    )


def _carry(rows: list[tuple[float, _Proportions]], u: np.ndarray) -> _Proportions:
    """Proportions at stations u (n,), carried monotonely from section to section and held at the ends."""
    at = [row[0] for row in rows]
    ends_before, ends_after = [0.0] * (at[0] > 1e-9), [1.0] * (at[-1] < 1 - 1e-9)
    knots = np.array([*ends_before, *at, *ends_after])

    def carried(part: str) -> np.ndarray:
        values = [getattr(row[1], part)[0] for row in rows]
        values = [values[0]] * len(ends_before) + values + [values[-1]] * len(ends_after)
        return monotone_between(knots, np.array(values), u)

    return _Proportions(carried("crown"), carried("side"), carried("lower"))


def relief_depth(knee: KneeRelief, xz: np.ndarray) -> np.ndarray:
    """How far the knee relief sinks the side at side view points (..., 2), mm: nothing outside its
    outline, full depth from ``blend`` mm inside it, a smooth step between."""
    import shapely

    ring = np.asarray(knee.outline, dtype=float)
    closed = Curve("knee", np.vstack([ring, ring[:1]]), np.zeros(len(ring) + 1, dtype=bool), ring[-3:], ring[1:4])
    outline = shapely.Polygon(closed.dense).buffer(0)
    shapely.prepare(outline)
    within = shapely.contains_xy(outline, xz[..., 0], xz[..., 1])
    inside = np.zeros(within.shape)
    inside[within] = shapely.distance(outline.exterior, shapely.points(xz[within]))
    share = np.clip(inside / max(knee.blend, 1e-9), 0, 1)
    return knee.depth * share * share * (3 - 2 * share)


@dataclass(frozen=True)
class _Field:
    """Everything needed to evaluate half sections at any stations."""

    stations: _Stations
    grids: tuple[np.ndarray, np.ndarray]
    sections: list[tuple[float, _Proportions]]

    def widths(self, u: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray | None]:
        """Height of the widest line, half width there, and lower half width where a plan gives it."""
        patterns = self.stations.patterns
        line = patterns.side.line("widest")
        up = self.stations.up_at_line(u, line)
        at = self.stations.point(u, up[:, None])[:, 0]
        # Measured from the first station to the last, so that a plan fits its line from end to end.
        ends = self.stations.point(np.array([0.0, 1.0]), self.stations.up_at_line(np.array([0.0, 1.0]), line)[:, None])
        first, last = line.along_at(ends[:, 0, 0])
        plan = patterns.plan_on("widest")
        assert plan is not None  # half_surface has made sure of it
        w = plan_half_width(plan, (line.along_at(at[:, 0]) - first) / (last - first))
        low = patterns.plan_on("bottom")
        lower = None
        if low is not None:
            bottom = patterns.side.bottom
            lower = plan_half_width(low, bottom.along_at(self.stations.foot_head(u)[0][:, 0]) / bottom.length)
        return up, w, lower

    def evaluate(self, u: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Points (nu, nc, 3), without any relief, and heights (nu, nc) of the half sections at stations u."""
        patterns = self.stations.patterns
        up_w, w, lower = self.widths(u)
        height = self.stations.height(u)
        if self.sections:
            p = _carry(self.sections, u)
            low = p.lower * w if lower is None else lower
        else:
            low = patterns.shape.lower_share * w if lower is None else lower
            p = _conic_proportions(patterns.shape, w, height * (1 - up_w), height * up_w, low, self.grids)
        rise = p.side[..., 1]
        side_y = low[:, None] + (w - low)[:, None] * rise + p.side[..., 0] * w[:, None]
        crown_y = p.crown[..., 0] * w[:, None]
        up = np.concatenate([rise[:, :-1] * up_w[:, None], up_w[:, None] + p.crown[..., 1] * (1 - up_w)[:, None]], 1)
        y = np.concatenate([side_y[:, :-1], crown_y], axis=1)
        xz = self.stations.point(u, up)
        y[np.abs(y) < 1e-9] = 0.0
        return np.stack([xz[..., 0], y, xz[..., 1]], axis=-1), up


def _dented(points: np.ndarray, knee: KneeRelief | None) -> np.ndarray:
    """The points with the knee relief sunk into them."""
    if knee is None:
        return points
    dented = points.copy()
    dented[..., 1] -= np.minimum(relief_depth(knee, points[..., [0, 2]]), 0.9 * points[..., 1])
    return dented


def _field(patterns: Patterns, grids: tuple[np.ndarray, np.ndarray]) -> _Field:
    stations = _stations(patterns)
    bare = _Field(stations, grids, [])
    rows = []
    for section in patterns.sections:
        u = float(stations.knots[stations.knots[:, 1] == section.foot_x, 0][0])
        up, w, lower = bare.widths(np.array([u]))
        low = None if lower is None else float(lower[0])
        rows.append((u, _section_proportions(section, stations, u, float(up[0]), float(w[0]), low, grids)))
    return _Field(stations, grids, sorted(rows, key=lambda row: row[0]))


def _must_have(patterns: Patterns, field: _Field) -> np.ndarray:
    """Stations that no mesh may skip: corners of every curve and every section line."""
    side = patterns.side
    fine = np.linspace(0, 1, 4001)
    foot, head = field.stations.foot_head(fine)
    wanted = [row[0] for row in field.sections]
    for curve, reached in ((side.bottom, foot[:, 0]), (side.top, head[:, 0])):
        inner = curve.points[1:-1][curve.corner[1:-1]]
        wanted += list(np.interp(inner[:, 0], reached, fine))
    up = field.stations.up_at_line(fine, side.line("widest"))
    along_x = field.stations.point(fine, up[:, None])[:, 0, 0]
    line = side.line("widest")
    wanted += list(np.interp(line.points[1:-1][line.corner[1:-1], 0], along_x, fine))
    plan = patterns.plan_on("widest")
    if plan is not None:
        corners = plan.half.points[1:-1][plan.half.corner[1:-1], 0]
        share = (corners - plan.half.points[0, 0]) / np.ptp(plan.half.points[:, 0])
        along = line.along_at(along_x)
        wanted += list(np.interp(along[0] + share * (along[-1] - along[0]), along, fine))
    return np.array([0.0, *wanted, 1.0])


def _spread(field: _Field, must: np.ndarray, step: float, chord: float) -> np.ndarray:
    """Stations close where the surface turns along its length, ``step`` apart at most, the musts kept."""
    # Square-root crowding at both ends: a round nose turns fastest there.
    fine = (1 - np.cos(np.linspace(0, np.pi, 1201))) / 2
    side, crown = (len(grid) - 1 for grid in field.grids)
    columns = sorted({0, side, side + (crown + 1) // 2, side + crown})
    lines = _dented(field.evaluate(fine)[0][:, columns], field.stations.patterns.knee)
    density = np.full(len(fine) - 1, 0.0)
    for p in lines.swapaxes(0, 1):
        seg = np.linalg.norm(np.diff(p, axis=0), axis=1)
        unit = np.diff(p, axis=0) / np.maximum(seg, 1e-12)[:, None]
        turn = np.linalg.norm(np.diff(unit, axis=0), axis=1)
        bend = turn / np.maximum((seg[1:] + seg[:-1]) / 2, 1e-9)
        bend = np.minimum(np.concatenate([bend[:1], bend]), SHARPEST_PER_MM)
        bend = np.maximum(bend, np.concatenate([bend[1:], bend[-1:]]))
        density = np.maximum(density, seg * np.maximum(1 / step, np.sqrt(bend / (8 * chord))))
    count = np.concatenate([[0.0], np.cumsum(density)])
    places = np.interp(must, fine, count)
    out = []
    order = np.argsort(places)
    must, places = must[order], places[order]
    for a, b, ua in zip(places[:-1], places[1:], must[:-1], strict=True):
        if b - a < 1e-6:
            continue
        pieces = max(1, int(np.ceil(b - a)))
        mids = np.interp(a + (b - a) * np.arange(1, pieces) / pieces, count, fine)
        out += [ua, *mids]
    return np.array([*out, 1.0])


def half_surface(
    patterns: Patterns, *, shoulder: float = 0.5, step_mm: float = STEP_MM, chord_mm: float = CHORD_MM
) -> HalfSurface:
    """The right half of the outer surface.

    Parameters
    ----------
    patterns
        What the customer sent, mm. A plan pattern on the ``widest`` line and that line are needed.
    shoulder
        Share of the girth from the centre plane (0) to the widest line (1) to give a column of its own.
    step_mm, chord_mm
        Longest step between points, and most that a step may miss the surface, mm.

    Raises
    ------
    SurfaceError
        Where a pattern that the surface cannot do without is missing or does not reach.
    """
    if "widest" not in patterns.side.lines or patterns.plan_on("widest") is None:
        raise SurfaceError(
            "The widest line is not given.\n"
            f"  lines on the side pattern  {', '.join(sorted(patterns.side.lines)) or 'none'}\n"
            f"  plan patterns lie on       {', '.join(p.line for p in patterns.plans) or 'none'}\n"
            "hint: draw the line 'widest' on the side pattern and give a plan pattern that lies on it"
        )
    rough = _field(patterns, (np.linspace(0, 1, 9), np.linspace(0, 1, 9)))
    points, up = rough.evaluate(np.linspace(0, 1, 41))
    girth = np.linalg.norm(np.diff(points, axis=1), axis=2)
    fine_step = np.sqrt(8 * chord_mm * 100)  # a section rarely turns tighter than 100 mm for long
    count = [
        max(2, int(np.ceil(part.sum(axis=1).max() / min(step_mm, fine_step)))) for part in (girth[:, :8], girth[:, 8:])
    ]
    if girth[:, :8].sum(axis=1).max() < 1e-6:
        count[0] = 0  # the lower edge is the widest line
    crown_t = np.linspace(0, 1, count[1] + 1)
    side_t = np.linspace(0, 1, count[0] + 1)
    grids = (side_t, crown_t)
    field = _field(patterns, grids)
    u = _spread(field, _must_have(patterns, field), step_mm, chord_mm)
    drawn, up = field.evaluate(u)
    grid = _dented(drawn, patterns.knee)
    widest = len(side_t) - 1
    middle = grid[int(np.argmax(grid[:, widest, 1])), widest:]
    reach = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(middle, axis=0), axis=1))])
    column = widest + int(np.argmin(np.abs(reach / reach[-1] - (1 - shoulder))))
    column = int(np.clip(column, widest + 1, grid.shape[1] - 2))
    return HalfSurface(grid, drawn, u, up, widest, column)
