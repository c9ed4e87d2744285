"""Outlines as few lines and arcs, for cutting files, templates and drawings alike.

Words used here
    ring      a closed outline, its last point not repeated
    bulge     tan of a quarter of an arc's angle from one point to the next, + anticlockwise, 0 a line
    run       the part of an outline between two breaks
    break     a point that must stay: a corner, or the end of a straight edge
    miss      how far a line or an arc lies from the outline it stands for, mm

Arcs are fitted through the points given and held within the tolerance of the chords between them too, so
that neither a coarse nor a fine outline is changed by more than that. Everything is in mm.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property, lru_cache
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from shapely.geometry import Polygon

__all__ = ["Path", "arc_centre", "fit_line", "fit_outline", "fit_ring", "flatten"]

#: Most that a fitted outline may miss the points it stands for. Asked of a cutting file: 0.05 mm in all.
MISS_MM = 0.02
#: Most that it may miss the chords between them, which themselves miss the curve they were sampled from.
CHORD_MISS_MM = 0.045
#: Points nearer than this are one point, and points this near a chord say nothing.
SAME_MM = 0.001
#: No piece is shorter than this: nearer points, left over where offset edges meet, are thinned out.
SHORTEST_MM = 0.05
#: A turn sharper than this is a corner. Finer than any curve is drawn, coarser than any true corner.
CORNER_RAD = math.radians(20)
#: A segment that would bow by more than this, were it part of the curve beside it, is a straight edge.
STRAIGHT_BOW_MM = 0.045
#: An arc that rises less than this over its chord is a line: no machine shows it, and some refuse it.
FLAT_MM = 0.01
#: An arc of a larger radius is drawn as lines: controls lose its centre in their rounding (common practice, no source).
MOST_RADIUS_MM = 5000.0
#: No single arc turns further than this: half a circle, and room for rounding.
MOST_ARC_RAD = math.radians(180.5)


@dataclass(frozen=True)
class Path:
    """Lines and arcs: points (n, 2) mm and bulges (n,); the last bulge closes the ring where ``closed``."""

    points: np.ndarray
    bulges: np.ndarray
    closed: bool

    def dense(self, chord_mm: float = 0.01) -> np.ndarray:
        """Points (k, 2) whose chords miss the path by at most that; a ring's first point is repeated."""
        return flatten(self, chord_mm)

    @cached_property
    def length(self) -> float:
        """Length along lines and arcs, mm."""
        chord = np.linalg.norm(self._ends() - self._starts(), axis=1)
        angle = 4 * np.arctan(self._bulges())
        half = np.where(np.abs(angle) > 1e-12, np.sin(angle / 2), 1.0)
        return float(np.where(np.abs(angle) > 1e-12, chord * angle / (2 * half), chord).sum())

    @cached_property
    def area(self) -> float:
        """Signed area of a ring, mm2, + anticlockwise, arcs and all."""
        a, b, bulge = self._starts(), self._ends(), self._bulges()
        angle = 4 * np.arctan(bulge)
        chord = np.linalg.norm(b - a, axis=1)
        half = np.where(np.abs(angle) > 1e-12, np.sin(angle / 2), 1.0)
        radius = np.where(np.abs(angle) > 1e-12, chord / (2 * half), 0.0)
        under_chords = a[:, 0] * b[:, 1] - b[:, 0] * a[:, 1]
        return float((under_chords + radius**2 * (angle - np.sin(angle))).sum() / 2)

    @cached_property
    def arcs(self) -> int:
        """How many of its pieces are arcs."""
        return int(np.count_nonzero(self._bulges()))

    def reversed(self) -> Path:
        """The same path the other way round; a ring keeps its first point."""
        if not self.closed:
            return Path(self.points[::-1], np.append(-self.bulges[-2::-1], 0.0), False)
        return Path(np.roll(self.points[::-1], 1, axis=0), -self.bulges[::-1], True)

    def moved(self, matrix: np.ndarray, shift: np.ndarray) -> Path:
        """The path turned, mirrored and moved: points @ matrix.T + shift, matrix (2, 2) orthogonal."""
        sign = 1.0 if np.linalg.det(matrix) > 0 else -1.0
        return Path(self.points @ np.asarray(matrix).T + shift, self.bulges * sign, self.closed)

    def _starts(self) -> np.ndarray:
        return self.points if self.closed else self.points[:-1]

    def _ends(self) -> np.ndarray:
        return np.roll(self.points, -1, axis=0) if self.closed else self.points[1:]

    def _bulges(self) -> np.ndarray:
        return self.bulges if self.closed else self.bulges[:-1]


def arc_centre(a: np.ndarray, b: np.ndarray, bulge: float) -> tuple[np.ndarray, float]:
    """Centre (2,) and radius of the arc from a to b; the bulge must not be 0."""
    chord = b - a
    left = np.array([-chord[1], chord[0]])
    centre = (a + b) / 2 + left * (1 - bulge * bulge) / (4 * bulge)
    return centre, float(np.hypot(*(a - centre)))


def flatten(path: Path, chord_mm: float) -> np.ndarray:
    """Points (k, 2) along the path whose chords miss it by at most ``chord_mm``."""
    start, bulge = _complex(path._starts()), path._bulges()
    chord = _complex(path._ends()) - start
    arc = bulge != 0
    safe = np.where(arc, bulge, 1.0)
    # Centres lie to the left of the chord's middle.
    centre = start + chord / 2 + 1j * chord * (1 - safe * safe) / (4 * safe)
    radius, angle = np.abs(start - centre), 4 * np.arctan(bulge)
    step = 2 * np.arccos(np.maximum(-1.0, 1 - np.minimum(chord_mm, radius) / np.maximum(radius, 1e-12)))
    count = np.where(arc, np.maximum(1, np.ceil(np.abs(angle) / np.maximum(step, 1e-9))), 1).astype(int)
    piece = np.repeat(np.arange(len(count)), count)
    share = (np.arange(len(piece)) - np.repeat(np.cumsum(count) - count, count)) / count[piece]
    turned = centre[piece] + (start - centre)[piece] * np.exp(1j * angle[piece] * share)
    points = np.where(share == 0, start[piece], turned)
    last = path.points[:1] if path.closed else path.points[-1:]
    return np.vstack([np.column_stack([points.real, points.imag]), last])


def _complex(points: np.ndarray) -> np.ndarray:
    """Points (n, 2) as x + iy (n,)."""
    return np.asarray(points[:, 0] + 1j * points[:, 1])


def fit_outline(shape: Polygon, miss_mm: float = MISS_MM) -> tuple[Path, tuple[Path, ...]]:
    """The outline of a polygon, clockwise, and its holes, anticlockwise, smallest first.

    With these senses the part lies to the right of the cut all the way round, inside and out.
    """
    from shapely.geometry import Polygon as Shape

    outer = fit_ring(np.asarray(shape.exterior.coords), miss_mm)
    holes = [fit_ring(np.asarray(ring.coords), miss_mm) for ring in shape.interiors if Shape(ring).area > 0]
    outer = outer.reversed() if outer.area > 0 else outer
    turned = (hole if hole.area > 0 else hole.reversed() for hole in holes)
    return outer, tuple(sorted(turned, key=lambda hole: (round(hole.area, 3), *hole.points[0])))


def fit_ring(points: np.ndarray, miss_mm: float = MISS_MM) -> Path:
    """Lines and arcs round a closed outline (n, 2), within ``miss_mm`` of its points.

    A true circle becomes two half circles. Raises ValueError for fewer than three different points.
    """
    return _fit_ring(np.ascontiguousarray(points, dtype=float)[:, :2].tobytes(), miss_mm)


@lru_cache(maxsize=256)
def _fit_ring(data: bytes, miss_mm: float) -> Path:
    """`fit_ring`, remembered: every paper draws the same outlines."""
    ring = _tidy_ring(np.frombuffer(data).reshape(-1, 2))
    circle = _circle(ring, miss_mm)
    if circle is not None:
        return circle
    breaks = _breaks(ring)
    first = int(breaks[0]) if len(breaks) else int(np.lexsort((ring[:, 1], ring[:, 0]))[0])
    ring = np.vstack([ring[first:], ring[: first + 1]])
    stops = sorted({0, len(ring) - 1, *((b - first) for b in breaks)})
    return _fitted(ring, stops, miss_mm, closed=True)


def fit_line(points: np.ndarray, miss_mm: float = MISS_MM) -> Path:
    """Lines and arcs along an open line (n, 2), within ``miss_mm`` of its points; its ends stay."""
    return _fit_line(np.ascontiguousarray(points, dtype=float)[:, :2].tobytes(), miss_mm)


@lru_cache(maxsize=2048)
def _fit_line(data: bytes, miss_mm: float) -> Path:
    """`fit_line`, remembered."""
    line = _tidy_line(np.frombuffer(data).reshape(-1, 2))
    if len(line) < 2:
        raise ValueError("A line needs two different points.")
    if len(line) == 2:
        return Path(line, np.zeros(2), False)
    return _fitted(line, sorted({0, len(line) - 1, *_breaks_inside(line)}), miss_mm, closed=False)


def _tidy_line(points: np.ndarray) -> np.ndarray:
    """Without repeated points and points that lie on the chord between their neighbours."""
    from shapely import LineString

    kept = _thinned(points)
    if len(kept) < 3:
        return kept
    return np.asarray(LineString(kept).simplify(SAME_MM).coords)


def _thinned(points: np.ndarray) -> np.ndarray:
    """Without points nearer than `SHORTEST_MM` to the one kept before them; the two ends stay."""
    step = np.linalg.norm(np.diff(points, axis=0), axis=1)
    if len(points) < 3 or step.min() >= SHORTEST_MM:
        return points if len(points) > 2 or step.max(initial=0.0) > SAME_MM else points[:1]
    kept = [0]
    for k in range(1, len(points) - 1):
        near = min(np.hypot(*(points[k] - points[kept[-1]])), np.hypot(*(points[k] - points[-1])))
        if near >= SHORTEST_MM:
            kept.append(k)
    alone = len(kept) == 1 and np.hypot(*(points[0] - points[-1])) <= SAME_MM
    return points[kept] if alone else points[[*kept, len(points) - 1]]


def _tidy_ring(points: np.ndarray) -> np.ndarray:
    """The ring without its closing point, repeated points and points on a chord; never fewer than three."""
    if len(points) > 1 and np.hypot(*(points[0] - points[-1])) <= SAME_MM:
        points = points[:-1]
    gap = np.linalg.norm(points - np.roll(points, 1, axis=0), axis=1)
    points = points[gap > SAME_MM]
    if len(points) < 3:
        raise ValueError("An outline needs three different points.")
    # Start at a point that is surely kept: the one farthest from the middle.
    far = int(np.argmax(np.hypot(*(points - points.mean(axis=0)).T)))
    closed = np.vstack([points[far:], points[: far + 1]])
    tidy = _tidy_line(closed)[:-1]
    return tidy if len(tidy) >= 3 else points


def _circle(ring: np.ndarray, miss_mm: float) -> Path | None:
    """Two half circles where the ring is a circle: its points on it, its chords within the tolerance."""
    if len(ring) < 8:
        return None
    middle = ring.mean(axis=0)
    p = ring - middle
    fit, *_ = np.linalg.lstsq(np.column_stack([2 * p, np.ones(len(p))]), (p**2).sum(axis=1), rcond=None)
    centre = fit[:2]
    radius = math.sqrt(max(0.0, fit[2] + centre @ centre))
    mids = (p + np.roll(p, 1, axis=0)) / 2
    off = np.abs(np.hypot(*(np.vstack([p, mids]) - centre).T) - radius)
    if off[: len(p)].max() > miss_mm / 2 or off.max() > CHORD_MISS_MM:
        return None
    centre = centre + middle
    sign = 1.0 if _signed_area(ring) > 0 else -1.0
    ends = np.array([centre - [radius, 0], centre + [radius, 0]])
    return Path(ends, np.array([sign, sign]), True)


def _signed_area(ring: np.ndarray) -> float:
    x, y = (ring - ring[0]).T
    return float((x * np.roll(y, -1) - np.roll(x, -1) * y).sum() / 2)


def _turns(before: np.ndarray, after: np.ndarray) -> np.ndarray:
    """Unsigned angle between steps (n, 2) and the ones that follow, radians."""
    cross = before[:, 0] * after[:, 1] - before[:, 1] * after[:, 0]
    return np.abs(np.arctan2(cross, (before * after).sum(axis=1)))


def _breaks(ring: np.ndarray) -> np.ndarray:
    """Indices of the points of a ring that must stay."""
    step = np.roll(ring, -1, axis=0) - ring
    length = np.hypot(*step.T)
    turn = _turns(np.roll(step, 1, axis=0), step)
    corner = turn > CORNER_RAD
    # The bow a segment would have, were the turn at either end spread over it and its neighbour: l^2 k / 8.
    bend = np.where(corner, 0.0, turn) / (length + np.roll(length, 1))
    straight = np.maximum(bend, np.roll(bend, -1)) * length**2 / 4 > STRAIGHT_BOW_MM
    return np.flatnonzero(corner | straight | np.roll(straight, 1))


def _breaks_inside(line: np.ndarray) -> list[int]:
    """Indices of the inner points of an open line that must stay."""
    if len(line) < 3:
        return []
    step = np.diff(line, axis=0)
    length = np.hypot(*step.T)
    turn = np.concatenate([[0.0], _turns(step[:-1], step[1:]), [0.0]])
    corner = turn > CORNER_RAD
    beside = np.concatenate([[length[0]], length[:-1] + length[1:], [length[-1]]])
    bend = np.where(corner, 0.0, turn) / beside
    straight = np.maximum(bend[:-1], bend[1:]) * length**2 / 4 > STRAIGHT_BOW_MM
    keep = corner.copy()
    keep[:-1] |= straight
    keep[1:] |= straight
    return [int(k) for k in np.flatnonzero(keep[1:-1]) + 1]


def _fitted(line: np.ndarray, stops: list[int], miss_mm: float, *, closed: bool) -> Path:
    """The path over points (n, 2) broken at ``stops``; a ring comes with its first point repeated."""
    index, bulges = [0], []
    every = np.empty(2 * len(line) - 1, dtype=complex)  # each point, and after it the middle to the next
    every[::2] = _complex(line)
    every[1::2] = (every[:-2:2] + every[2::2]) / 2
    for k in range(len(stops) - 1):
        at, stop = stops[k], stops[k + 1]
        while at < stop:
            at, bulge = _longest(every, at, stop, miss_mm)
            index.append(at)
            bulges.append(bulge)
    if closed:
        return Path(line[index[:-1]], np.array(bulges), True)
    return Path(line[index], np.array([*bulges, 0.0]), False)


def _longest(every: np.ndarray, at: int, stop: int, miss_mm: float) -> tuple[int, float]:
    """The farthest point that one line or arc reaches from ``at``, and its bulge."""
    reach, bulge, step = at + 1, 0.0, 2
    low, high = at + 1, stop
    while at + step < stop:  # double until it fails
        found = _bulge(every[2 * at : 2 * (at + step) + 1], miss_mm)
        if found is None:
            high = at + step - 1
            break
        reach, bulge, low = at + step, found, at + step
        step *= 2
    while low < high:  # then halve
        middle = (low + high + 1) // 2
        found = _bulge(every[2 * at : 2 * middle + 1], miss_mm)
        if found is None:
            high = middle - 1
        else:
            reach, bulge, low = middle, found, middle
    return reach, bulge


def _bulge(every: np.ndarray, miss_mm: float) -> float | None:
    """Bulge of the arc from the first to the last of ``every`` that best follows those between; None if it misses.

    Points x + iy, three or more, stand at the even places, the middles of the chords between them at the odd ones.
    With u along the chord from its middle and v to its left, circles through both ends satisfy
    2 k v = u^2 + v^2 - c^2/4 with k the centre's place along v. Flat arcs are fitted for 1/2k, which is 0 for a
    line, full ones for k, which is 0 for half a circle; both are linear.
    """
    a, b = complex(every[0]), complex(every[-1])
    c = abs(b - a)
    if c <= SAME_MM:
        return None
    t = (every[1:-1] - (a + b) / 2) * ((b - a).conjugate() / c)
    u, v = t.real, t.imag
    if float(np.abs(v).max()) <= SAME_MM:
        return 0.0
    rise = _rise(u[1::2], v[1::2], c)
    bulge = -2 * rise / c
    if abs(4 * math.atan(bulge)) > MOST_ARC_RAD:
        return None
    if abs(rise) <= FLAT_MM or abs(bulge) * MOST_RADIUS_MM < c / 4 * (1 + bulge * bulge):
        miss, bulge = np.abs(v), 0.0
    else:
        k = (rise * rise - c * c / 4) / (2 * rise)
        miss = np.abs(np.abs(t - 1j * k) - math.hypot(k, c / 2))
    if float(miss[1::2].max()) > miss_mm or float(miss[::2].max()) > max(miss_mm, CHORD_MISS_MM):
        return None
    inner = u[1::2]  # each point must lie beyond the one before it, within the tolerance
    back = max(-c / 2 - float(inner[0]), float(inner[-1]) - c / 2, float((inner[:-1] - inner[1:]).max(initial=0.0)))
    return bulge if back < miss_mm else None


def _rise(u: np.ndarray, v: np.ndarray, c: float) -> float:
    """Height over the middle of a chord of length c of the arc that best follows points (u, v)."""
    w = u * u + v * v - c * c / 4
    peak = float(v[np.abs(v).argmax()])
    along = float(w @ v)
    if abs(peak) > 0.1 * c:
        k = along / (2 * float(v @ v))
        return k + math.copysign(math.hypot(k, c / 2), peak)
    weight = float(w @ w)
    q = along / weight if weight > 0 else 0.0
    return -(q * c * c / 2) / (1 + math.sqrt(1 + q * q * c * c))
