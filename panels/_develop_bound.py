"""What no blank can beat: lower limits on the range of strain, from the shape alone.

Take a straight line (a geodesic) of length l on the panel and all points within r of it, a stadium; l = 0 gives a
disc. Let its edge be L long. Any blank whose strains span D has D >= ln((2 pi r + 2 l) / L) where the panel is crowned,
and to first order the same with the sign turned where it is saddle-shaped. Derivation:
notes/decisions/0003-developing-skins.md; the disc about the pole of a spherical cap is J. Milnor, "A problem in
cartography", American Mathematical Monthly 76 (1969).

On a mesh L follows from the angle defects alone. By Gauss and Bonnet dL/dr = 2 pi less the curvature within r, so

    L(r) = 2 l + 2 pi r - sum of defect_v * (r - d_v) over vertices nearer than r,   d_v distance to the line.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from panels._develop_energy import Strains
from panels._develop_mesh import Disc

__all__ = ["lower_bound"]

Floats = NDArray[np.float64]

# Distances come from straight lines on the blank with the local stretch put back. Such a line is longer than the
# geodesic by the square of a few percent, so r is taken this much shorter to stay inside the panel.
HOLD_BACK = 0.998
GAUSS = np.polynomial.legendre.leggauss(4)


def lower_bound(disc: Disc, points: Floats, st: Strains) -> tuple[float, str]:
    """Best limit found by a short search over discs and stadiums, and a sentence saying where it comes from."""
    inner = disc.inner
    if not inner.any():
        return 0.0, "no inner vertex, so nothing bends in two ways at once"
    defect, body = disc.defect[inner], points[inner]
    stadium = _searched(points[np.concatenate(disc.loops)], body, defect)
    metric, line = _Metric(disc, points, st), _line(stadium)
    value, radius, crowned = _limit(
        defect, metric.distance(body, line), metric.distance(_dense(disc, points), line), metric.length(line)
    )
    size = f"disc of radius {radius:.1f} mm"
    if stadium[2]:
        size = f"strip {2 * radius:.1f} mm wide about a line of {metric.length(line):.1f} mm"
    return value, f"{size}, {'crowned' if crowned else 'saddle-shaped: first order in strain'}"


def _limit(defect: Floats, body: Floats, edge: Floats, length: float) -> tuple[float, float, bool]:
    """Limit, radius and whether crowned, for distances of inner vertices and of the edge from one line."""
    radius = HOLD_BACK * float(edge.min())
    flat = 2 * np.pi * radius + 2 * length
    missing = float(defect @ np.maximum(radius - body, 0.0))
    if flat <= missing:
        return 0.0, radius, True
    return abs(float(np.log(flat / (flat - missing)))), radius, missing >= 0


def _searched(edge: Floats, body: Floats, defect: Floats) -> Floats:
    """Middle x and y, half length and angle of the line on the blank with the best limit, by flat distances."""
    span = float(np.ptp(edge, axis=0).max())
    deepest = body[np.argmax(_nearest(body, edge))]
    body, defect = _gathered(body, defect)
    step = np.array([0.05 * span, 0.05 * span, 0.05 * span, np.pi / 24])
    trials = _first_trials(np.array([deepest, body.mean(axis=0)]), span)
    value = _flat_limits(edge, body, defect, trials)
    at, best = trials[np.argmax(value)], float(value.max())
    ways = np.array([row for k in range(4) for row in (np.eye(4)[k], -np.eye(4)[k])])
    for _ in range(8):
        trials = at + step * (ways if at[2] else ways[:4])
        trials[:, 2] = np.maximum(trials[:, 2], 0.0)
        value = _flat_limits(edge, body, defect, trials)
        if value.max() > best:
            at, best = trials[np.argmax(value)], float(value.max())
        else:
            step = step / 2
    return at


def _first_trials(centres: Floats, span: float) -> Floats:
    halves, angles = span * np.array([0.05, 0.1, 0.2, 0.3, 0.4]), np.arange(12) * np.pi / 12
    half, angle = (grid.ravel() for grid in np.meshgrid([0.0, *halves], angles, indexing="ij"))
    half, angle = half[11:], angle[11:]  # of the discs, which have no direction, one is enough
    return np.concatenate([np.column_stack([np.tile(c, (len(half), 1)), half, angle]) for c in centres])


def _gathered(body: Floats, defect: Floats) -> tuple[Floats, Floats]:
    """At most about a thousand points: on a fine mesh the curvature is gathered into cells for the search."""
    if len(body) < 1500:
        return body, defect
    low, size = body.min(axis=0), np.ptp(body, axis=0).max() / 36
    _, cell = np.unique(((body - low) // size).astype(int), axis=0, return_inverse=True)
    count = np.bincount(cell.ravel())
    middle: Floats = np.column_stack([np.bincount(cell.ravel(), column) / count for column in body.T])
    return middle, np.asarray(np.bincount(cell.ravel(), defect), dtype=float)


def _line(stadium: Floats) -> Floats:
    reach = stadium[2] * np.array([np.cos(stadium[3]), np.sin(stadium[3])])
    return np.array([stadium[:2] - reach, stadium[:2] + reach])


def _flat_limits(edge: Floats, body: Floats, defect: Floats, stadiums: Floats) -> Floats:
    """Limit of each stadium (k, 4), distances taken on the blank."""
    radius = HOLD_BACK * _apart(edge, stadiums).min(axis=1)
    flat = 2 * np.pi * radius + 4 * stadiums[:, 2]
    missing = np.einsum("kn,n->k", np.maximum(radius[:, None] - _apart(body, stadiums), 0.0), defect)
    left = flat - missing
    return np.where(left > 0, np.abs(np.log(flat / np.where(left > 0, left, flat))), 0.0)


def _apart(points: Floats, stadiums: Floats) -> Floats:
    """(k, n) distance of every point from the line of every stadium."""
    x, y = points[:, 0] - stadiums[:, 0, None], points[:, 1] - stadiums[:, 1, None]
    c, s = np.cos(stadiums[:, 3, None]), np.sin(stadiums[:, 3, None])
    beyond = np.maximum(np.abs(x * c + y * s) - stadiums[:, 2, None], 0.0)
    return np.hypot(beyond, y * c - x * s)


def _foot(points: Floats, line: Floats) -> Floats:
    """Nearest point of the line to each point."""
    along = line[1] - line[0]
    square = float(along @ along)
    if square == 0:
        return np.broadcast_to(line[0], points.shape)
    t = np.clip((points - line[0]) @ along / square, 0.0, 1.0)
    return line[0] + t[:, None] * along


def _nearest(points: Floats, edge: Floats) -> Floats:
    from scipy.spatial import cKDTree

    return cKDTree(edge).query(points)[0]


def _dense(disc: Disc, points: Floats) -> Floats:
    """Points of the edge and, between them, the middles of its sides."""
    rows = [points[loop] for loop in disc.loops]
    return np.concatenate([*rows, *((row + np.roll(row, -1, axis=0)) / 2 for row in rows)])


class _Metric:
    """Lengths on the surface, measured along straight lines of the blank."""

    def __init__(self, disc: Disc, points: Floats, st: Strains) -> None:
        from scipy.spatial import cKDTree

        n, at = len(points), disc.faces.ravel()
        c, s = st.u[:, 0], st.u[:, 1]
        first, second = np.exp(2 * st.e).T
        tensor = np.array([first * c * c + second * s * s, (first - second) * c * s, first * s * s + second * c * c])
        share = np.bincount(at, np.repeat(disc.area, 3), n)
        self.tensor = np.array([np.bincount(at, np.repeat(disc.area * row, 3), n) / share for row in tensor])
        self.tree = cKDTree(points)

    def distance(self, points: Floats, line: Floats) -> Floats:
        return self.between(_foot(points, line), points)

    def length(self, line: Floats) -> float:
        return float(self.between(line[:1], line[1:])[0])

    def between(self, start: Floats, end: Floats) -> Floats:
        way, total = end - start, np.zeros(len(end))
        for node, weight in zip(*GAUSS, strict=True):
            _, near = self.tree.query(start + (0.5 + node / 2) * way)
            xx, xy, yy = self.tensor[:, near]
            square = xx * way[:, 0] ** 2 + 2 * xy * way[:, 0] * way[:, 1] + yy * way[:, 1] ** 2
            total += weight / 2 * np.sqrt(square)
        return total
