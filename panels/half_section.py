"""Stations and half sections: what shape the tank has across, and how that is carried from one section to the next.

Words as in ``panels.surface``. Section shapes are conics where no pattern gives them; proportions are shares of half
the width and of the heights below and above the widest line, so that they may be carried between sections of any size.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from .curves import Curve, crossing, monotone_between
from .errors import SurfaceError
from .patterns import Patterns, PlanPattern, SectionPattern, SectionShape

__all__ = [
    "Proportions",
    "Stations",
    "carried",
    "conic_proportions",
    "line_height",
    "plan_half_width",
    "section_at",
    "section_proportions",
    "stations_of",
]

#: A fullness below the first is all but straight; above the second its bend is tighter than sheet metal's; above the
#: third it is a square corner.
NEARLY_STRAIGHT, NEARLY_SQUARE, SQUARE = 0.1, 0.985, 1 - 1e-9


@dataclass(frozen=True)
class Stations:
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


def stations_of(patterns: Patterns) -> Stations:
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
    return Stations(patterns, np.column_stack([(middle - middle[0]) / np.ptp(middle), x]))


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
class Proportions:
    """Half sections as shares: crown (n, t, 2) of (width, height over the widest point), and side
    (n, t, 2) of (width off the chord from lower edge to widest point, height to the widest point)."""

    crown: np.ndarray
    side: np.ndarray
    lower: np.ndarray  # lower half width / widest half width (n,)


def conic_proportions(
    shape: SectionShape,
    w: np.ndarray,
    crown_h: np.ndarray,
    side_h: np.ndarray,
    lower: np.ndarray,
    grids: tuple,
) -> Proportions:
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
    return Proportions(crown, np.stack([side[..., 0] - chord, side[..., 1]], axis=-1), np.broadcast_to(share, n))


def section_at(section: SectionPattern, stations: Stations, u: float, up_widest: float) -> dict[str, np.ndarray]:
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


def section_proportions(
    section: SectionPattern,
    stations: Stations,
    u: float,
    up_widest: float,
    w: float,
    lower: float | None,
    grids: tuple,
) -> Proportions:
    """Proportions of one section pattern, drawn or of stated shape, at its own station."""
    height = float(stations.height(np.array([u]))[0])
    side_h, crown_h = height * up_widest, height * (1 - up_widest)
    if section.half is None:
        shape = section.shape or stations.patterns.shape
        low = shape.lower_share * w if lower is None else lower
        one = np.ones(1)
        return conic_proportions(shape, w * one, crown_h * one, side_h * one, low * one, grids)
    parts = section_at(section, stations, u, up_widest)
    crown = _even(parts["crown"], grids[1])
    wide = crown[0, 0]
    crown = np.column_stack([crown[:, 0] / wide, (crown[:, 1] - side_h) / (crown[-1, 1] - side_h)])
    crown[-1, 0] = 0.0
    side = _even(parts["side"], grids[0])
    base, span = side[0, 1], side[-1, 1] - side[0, 1]
    rise = (side[:, 1] - base) / span
    chord = side[0, 0] + (side[-1, 0] - side[0, 0]) * rise
    return Proportions(
        crown[None], np.column_stack([(side[:, 0] - chord) / wide, rise])[None], np.array([side[0, 0] / wide])
    )


def carried(rows: list[tuple[float, Proportions]], u: np.ndarray) -> Proportions:
    """Proportions at stations u (n,), carried monotonely from section to section and held at the ends."""
    at = [row[0] for row in rows]
    ends_before, ends_after = [0.0] * (at[0] > 1e-9), [1.0] * (at[-1] < 1 - 1e-9)
    knots = np.array([*ends_before, *at, *ends_after])

    def carried(part: str) -> np.ndarray:
        values = [getattr(row[1], part)[0] for row in rows]
        values = [values[0]] * len(ends_before) + values + [values[-1]] * len(ends_after)
        return monotone_between(knots, np.array(values), u)

    return Proportions(carried("crown"), carried("side"), carried("lower"))
