"""A piece that is one even arc, a cylinder with a straight before and after it or none, or a cone: ``panels.roll``.

Words used here: see ``panels.roll``.
    side-on   seen along the rulings of a cylinder: every vertex is a point on its profile

The turn of a piece whose ends are cut slanting across its rulings cannot be read there: the last rulings are short, and
the mesh has little more than slivers along them. A round piece is known by where its vertices lie instead: those of a
cylinder on one circle, seen side-on; the rays from the apex of a cone to them at one angle to its axis. Then one radius
and the length of the piece say how far it turns; where straights run on from the arc, their directions do.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from ._roll_arcs import Cut
from ._roll_turn import Turned, rising

__all__ = ["one_round"]

#: No vertex, and no middle of an edge, is further off circle, straight or cone than this, mm: the facets of the tank's
#: own meshes miss their curves by 0.03 to 0.05.
ROUND_MM = 0.1
#: What is left beside an arc and shorter than this belongs to it, mm.
SHORT_MM = 1.0
#: Length and points tell the same turn within this share.
ALIKE = 0.02
#: A circle is fitted so many times with the distances of its points from it, an arc grown so many times: both settle.
FITS, GROWN = 4, 8


class _Circle(NamedTuple):
    middle: np.ndarray  # (2,)
    radius: float

    def off(self, at: np.ndarray) -> np.ndarray:
        """How far points (n, 2) are off it, mm."""
        return np.asarray(np.abs(np.linalg.norm(at - self.middle, axis=1) - self.radius))


def one_round(
    solid: np.ndarray, faces: np.ndarray, flat: np.ndarray, turned: Turned, cuts: Sequence[Cut]
) -> list[Cut] | None:
    """The zones of a piece that has one even arc, straights beside it or none; None where it is no such piece.

    ``solid`` (n, 3) and ``flat`` (n, 2) mm, ``faces`` (m, 3) as in `panels.roll.roll_zones`; ``cuts`` are the zones
    that its turn was cut into: the one that turns most says where the arc is looked for, and which way it turns.
    """
    seed = max(cuts, key=lambda cut: abs(cut.turn))
    if seed.flat or seed.sharp:
        return None
    chart = turned.family.chart(flat)
    sides = np.unique(np.sort(faces[:, [0, 1, 1, 2, 2, 0]].reshape(-1, 2), axis=1), axis=0)
    used = np.unique(faces)  # vertices first, then the middles of edges
    points = np.vstack([solid[used], solid[sides].mean(axis=1)])
    place = np.concatenate([chart[used, 0], chart[sides, 0].mean(axis=1)])
    if turned.family.apex is not None:
        return _cone_all_over(solid[used], points, chart[used], turned.family.middle, seed)
    table = chart[faces]
    one, two = table[:, 1] - table[:, 0], table[:, 2] - table[:, 0]
    axis = np.abs(one[:, 0] * two[:, 1] - one[:, 1] * two[:, 0]) @ rising(solid[faces], table)
    across = np.linalg.svd(axis[None, :])[2][1:]
    at = (points - points.mean(axis=0)) @ across.T
    order = np.argsort(place, kind="stable")
    return _arc_and_straights(place[order], at[order], order < len(used), seed)


def _arc_and_straights(place: np.ndarray, at: np.ndarray, vertex: np.ndarray, seed: Cut) -> list[Cut] | None:
    """Zones of a profile, points (n, 2) at places (n,) in order: an arc about the middle of ``seed``.

    Radius and miss are the vertices' (n,); the middles of edges between them only say whether it is round at all.
    """
    grown = _grown(place, at, vertex, seed)
    if grown is None:
        return None
    circle, low, high = grown
    miss = float(circle.off(at[low:high][vertex[low:high]]).max())
    touches, feet = [float(place[0]), float(place[-1])], [at[0], at[-1]]
    for k, beside in enumerate((slice(0, low), slice(high, len(at)))):
        if len(at[beside]) == 0 or np.ptp(place[beside]) < SHORT_MM:
            continue  # the arc runs on to the end
        straight = _tangent(place[beside], at[beside], circle)
        if straight is None:
            return None
        touches[k], feet[k], off = straight
        miss = max(miss, off)
    start, end = max(touches[0], float(place[0])), min(touches[1], float(place[-1]))
    if end - start < SHORT_MM:
        return None
    first, last = (np.array(foot) - circle.middle for foot in feet)
    between, about = math.atan2(_cross(first, last), float(first @ last)), (end - start) / circle.radius
    turn = min((abs(between + k * math.tau) for k in (-1, 0, 1)), key=lambda whole: abs(whole - about))
    if abs(turn - about) > ALIKE * about:
        return None
    radius = (end - start) / turn
    zones = [Cut(start, end, math.copysign(turn, seed.turn), (radius, radius), miss, False)]
    if start > place[0]:
        zones.insert(0, Cut(float(place[0]), start, 0.0, (math.inf, math.inf), 0.0, True))
    if end < place[-1]:
        zones.append(Cut(end, float(place[-1]), 0.0, (math.inf, math.inf), 0.0, True))
    return zones


def _grown(place: np.ndarray, at: np.ndarray, vertex: np.ndarray, seed: Cut) -> tuple[_Circle, int, int] | None:
    """The circle about the middle half of ``seed``, and from which point to which others lie on it with those."""
    quarter = (seed.end - seed.start) / 4
    low, high = np.searchsorted(place, (seed.start + quarter, seed.end - quarter))
    centre = (low + high) // 2
    for _ in range(GROWN):
        on = at[low:high][vertex[low:high]]
        if len(on) < 6:
            return None
        circle = _circle(on)
        off = np.flatnonzero(circle.off(at) > ROUND_MM)
        before, after = off[off < centre], off[off >= centre]
        was = low, high
        low, high = int(before[-1]) + 1 if len(before) else 0, int(after[0]) if len(after) else len(at)
        if was == (low, high):
            break
    return circle, low, high


def _tangent(place: np.ndarray, at: np.ndarray, circle: _Circle) -> tuple[float, np.ndarray, float] | None:
    """Where the straight through points (n, 2) at places (n,) touches the circle: place and point (2,), and how far the
    worst point is off the straight, mm; None where they are on no straight that touches it."""
    mean, middle = at.mean(axis=0), float(place.mean())
    way = (place - middle) @ (at - mean)
    way = way / max(float(np.linalg.norm(way)), 1e-12)
    off = float(np.abs(_cross(way, at - mean)).max())
    beside = abs(float(_cross(way, circle.middle - mean)))
    if off > ROUND_MM or abs(beside - circle.radius) > 2 * ROUND_MM:
        return None
    on = float((circle.middle - mean) @ way)
    return middle + on, mean + on * way, off


def _cross(a: np.ndarray, b: np.ndarray) -> np.ndarray:
    return np.asarray(a[..., 0] * b[..., 1] - a[..., 1] * b[..., 0])


def _circle(at: np.ndarray) -> _Circle:
    """The circle nearest to points (n, 2)."""
    sums = np.linalg.lstsq(np.column_stack([2 * at, np.ones(len(at))]), (at**2).sum(axis=1), rcond=None)[0]
    middle, radius = sums[:2], math.sqrt(max(float(sums[2] + sums[:2] @ sums[:2]), 0.0))
    for _ in range(FITS):
        off = at - middle
        far = np.maximum(np.linalg.norm(off, axis=1), 1e-9)
        step = np.linalg.lstsq(np.column_stack([off / far[:, None], np.ones(len(at))]), far - radius, rcond=None)[0]
        middle, radius = middle + step[:2], radius + float(step[2])
    return _Circle(middle, radius)


def _cone_all_over(
    corners: np.ndarray, points: np.ndarray, chart: np.ndarray, middle: float, seed: Cut
) -> list[Cut] | None:
    """The one zone of a round cone through points (k, 3); ``chart`` (n, 2) of its corners (n, 3).

    A ray at an angle a to the axis is bent, across it, to the radius tan(a) times the distance from the apex.
    """
    mean = corners.mean(axis=0)
    off = corners - mean
    square = (off**2).sum(axis=1) - chart[:, 1] ** 2
    apex = mean + np.linalg.lstsq(np.column_stack([2 * off, np.ones(len(off))]), square, rcond=None)[0][:3]
    rays = points - apex
    far = np.maximum(np.linalg.norm(rays, axis=1), 1e-9)
    rays = rays / far[:, None]
    centre = rays.mean(axis=0)
    axis = np.linalg.svd(rays - centre, full_matrices=False)[2][-1]
    angle = np.arccos(np.clip(rays @ axis * math.copysign(1.0, float(centre @ axis)), -1.0, 1.0))
    even = float(angle.mean())
    miss = float((far * np.abs(angle - even)).max())
    if miss > ROUND_MM or even < 1e-6:
        return None
    start, end, radius = float(chart[:, 0].min()), float(chart[:, 0].max()), middle * math.tan(even)
    return [Cut(start, end, math.copysign((end - start) / radius, seed.turn), (radius, radius), miss, False)]
