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

from .curves import Curve
from .errors import SurfaceError
from .half_section import (
    Proportions,
    Stations,
    carried,
    conic_proportions,
    plan_half_width,
    section_proportions,
    stations_of,
)
from .patterns import KneeRelief, Patterns

__all__ = ["HalfSurface", "half_surface"]

#: Most the mesh may miss the surface along its length, mm; tuned so that capacity is right to 0.1 %.
CHORD_MM = 0.05
#: Longest step between stations and between columns, mm: small enough to show strain zones.
STEP_MM = 10.0
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

    stations: Stations
    grids: tuple[np.ndarray, np.ndarray]
    sections: list[tuple[float, Proportions]]

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
            p = carried(self.sections, u)
            low = p.lower * w if lower is None else lower
        else:
            low = patterns.shape.lower_share * w if lower is None else lower
            p = conic_proportions(patterns.shape, w, height * (1 - up_w), height * up_w, low, self.grids)
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
    stations = stations_of(patterns)
    bare = _Field(stations, grids, [])
    rows = []
    for section in patterns.sections:
        u = float(stations.knots[stations.knots[:, 1] == section.foot_x, 0][0])
        up, w, lower = bare.widths(np.array([u]))
        low = None if lower is None else float(lower[0])
        rows.append((u, section_proportions(section, stations, u, float(up[0]), float(w[0]), low, grids)))
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
