"""Make a nearly right layout exact, and pack it tighter, by moving all copies at once a little.

Two convex pieces are kept apart along one straight line; which line is best is read off the present layout, and
with it fixed "stay apart by the gap" is linear in the two shifts. All pairs together are a linear program: least
remaining overlap (``settle``), or least length used along one axis (``squeeze``), each copy moving at most ``REACH``.
Repeated with fresh lines until nothing moves. (Compaction and separation by linear programming: Z. Li, V. Milenkovic,
European Journal of Operational Research 84 (1995); from memory.)
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import shapely

from ._profile_grid import Bench, Grid, Spot

__all__ = ["settle", "settle_no_longer", "squeeze", "used_length"]

ROUNDS = 8
CLEAR = 1e-3  # mm; nearer pieces have no telling shortest connection
MARGIN = 2e-7  # mm kept beyond the gap where there is room, so that rounding cannot eat into it


def settle(grid: Grid, benches: list[Bench], spots: list[Spot], reach: float) -> list[Spot] | None:
    """Take out overlaps smaller than about a cell; None where that cannot be done by small moves."""
    left = math.inf
    for _ in range(ROUNDS):
        program = _Program(grid, benches, spots, reach)
        found = program.separate()
        if found is None:
            return None
        spots, remaining = found
        if remaining < 1e-9:
            return spots
        if remaining > 0.9 * left and remaining > 1e-6:
            return None
        left = remaining
    return None


def settle_no_longer(
    grid: Grid, benches: list[Bench], spots: list[Spot], sheet: int, reach: float
) -> list[Spot] | None:
    """``settle`` without using more of ``sheet`` than now, or with a little more where that cannot be done."""
    bench = benches[sheet]
    before = bench.limit
    try:
        for more in (1e-6, 1e-4, 1e-2):
            bench.limit = used_length(benches, spots, sheet) * (1 + more)
            found = settle(grid, benches, spots, reach)
            if found is not None:
                return found
        return None
    finally:
        bench.limit = before


def squeeze(grid: Grid, benches: list[Bench], spots: list[Spot], sheet: int, reach: float) -> list[Spot]:
    """From a legal layout to one at least as short on ``sheet`` along its axis."""
    length = used_length(benches, spots, sheet)
    least = reach / 10
    for _ in range(3 * ROUNDS):
        found = _Program(grid, benches, spots, reach).shorten(sheet)
        if found is None:
            break
        shorter = used_length(benches, found, sheet)
        if shorter > length - 1e-3:
            break
        moved = max(max(abs(a.x - b.x), abs(a.y - b.y)) for a, b in zip(spots, found, strict=True))
        reach = min(reach, max(2 * moved, least))
        gained, length, spots = length - shorter, shorter, found
        if gained < 2e-5 * length:
            break
    return spots


def used_length(benches: list[Bench], spots: list[Spot], sheet: int) -> float:
    """How far from the sheet's origin its parts reach along its axis, mm; 0 for an empty sheet."""
    axis = benches[sheet].axis
    ends = [s.x + s.variant.width if axis == 0 else s.y + s.variant.height for s in spots if s.sheet == sheet]
    return max(ends, default=0.0)


class _Program:
    """The linear rows of one layout: each ``normal @ (move_b - move_a) >= need``; a = -1 is a wall."""

    def __init__(self, grid: Grid, benches: list[Bench], spots: list[Spot], reach: float) -> None:
        self.grid, self.benches, self.spots, self.reach = grid, benches, spots, reach
        self.a = np.zeros(0, dtype=int)
        self.b = np.zeros(0, dtype=int)
        self.normal = np.zeros((0, 2))
        self.need = np.zeros(0)
        pieces = 0
        for number, bench in enumerate(benches):
            here = [i for i, spot in enumerate(spots) if spot.sheet == number]
            self._collect(bench, here)
            pieces += len(bench.walls) + sum(len(spots[i].variant.pieces) for i in here)
        grid.spent += 3e-3 + 20e-6 * len(self.a) + 40e-6 * pieces

    def _collect(self, bench: Bench, here: list[int]) -> None:
        rings, owner = list(bench.walls), [-1] * len(bench.walls)
        for i in here:
            shift = np.array([self.spots[i].x, self.spots[i].y])
            rings += [piece + shift for piece in self.spots[i].variant.pieces]
            owner += [i] * len(self.spots[i].variant.pieces)
        if len(rings) < 2:
            return
        owners = np.array(owner)
        low = np.array([ring.min(axis=0) for ring in rings])
        high = np.array([ring.max(axis=0) for ring in rings])
        far = np.maximum(low[None] - high[:, None], low[:, None] - high[None]).max(axis=2)
        near = (far < max(self.grid.gap, bench.edge) + 2 * self.reach) & (owners[:, None] < owners[None])
        first, second = np.nonzero(near)
        if not len(first):
            return
        wanted = np.where(owners[first] < 0, bench.edge, self.grid.gap)
        normal, apart = _best_lines(rings, first, second)
        useful = apart < wanted + 2.9 * self.reach
        self.a = np.concatenate((self.a, owners[first][useful]))
        self.b = np.concatenate((self.b, owners[second][useful]))
        self.normal = np.vstack((self.normal, normal[useful]))
        self.need = np.concatenate((self.need, (wanted - apart)[useful]))

    def _matrix(self, extra: int):
        """Rows of ``-normal @ (move_b - move_a)`` over moves (x then y) and ``extra`` more unknowns."""
        from scipy.sparse import csr_matrix

        count, rows = len(self.spots), np.arange(len(self.a))
        free = self.a >= 0
        row = np.concatenate((rows, rows, rows[free], rows[free]))
        column = np.concatenate((self.b, self.b + count, self.a[free], self.a[free] + count))
        value = np.concatenate((-self.normal[:, 0], -self.normal[:, 1], self.normal[free, 0], self.normal[free, 1]))
        return csr_matrix((value, (row, column)), shape=(len(rows), 2 * count + extra))

    def _bounds(self) -> list[tuple[float, float]]:
        """How far each copy may move, within its reach and its sheet."""
        along_x, along_y = [], []
        for spot in self.spots:
            x0, y0, x1, y1 = self.benches[spot.sheet].room()
            along_x.append(_span(spot.x, x0, x1 - spot.variant.width, self.reach))
            along_y.append(_span(spot.y, y0, y1 - spot.variant.height, self.reach))
        return along_x + along_y

    def separate(self) -> tuple[list[Spot], float] | None:
        """Least sum of remaining overlaps, one per pair of copies; the layout and that sum."""
        from scipy.optimize import linprog
        from scipy.sparse import csr_matrix, hstack

        count = len(self.spots)
        if not len(self.a):
            moves = np.array([min(max(0.0, low), high) for low, high in self._bounds()])
            return self._moved(moves), 0.0
        pairs, index = np.unique(self.a * (count + 1) + self.b, return_inverse=True)
        loose = csr_matrix((-np.ones(len(index)), (np.arange(len(index)), index)))
        cost = np.concatenate((np.zeros(2 * count), np.ones(len(pairs))))
        rows = hstack((self._matrix(0), loose), format="csr")
        bounds = self._bounds() + [(0.0, float("inf"))] * len(pairs)
        done = linprog(cost, A_ub=rows, b_ub=-self.need - MARGIN, bounds=bounds, method="highs")
        if done.x is None:
            return None
        return self._moved(done.x[: 2 * count]), max(0.0, float(done.x[2 * count :].sum()) - MARGIN * len(pairs))

    def shorten(self, sheet: int) -> list[Spot] | None:
        """Least length on ``sheet``; a little of every part's distance counts too, so that all close up."""
        from scipy.optimize import linprog
        from scipy.sparse import csr_matrix, vstack

        count, axis = len(self.spots), self.benches[sheet].axis
        here = [i for i, spot in enumerate(self.spots) if spot.sheet == sheet]
        if not here:
            return None
        ends = np.array([
            (s.x + s.variant.width, s.y + s.variant.height)[axis] for s in (self.spots[i] for i in here)
        ])  # fmt: skip
        cost = np.zeros(2 * count + 1)
        cost[-1] = 1.0
        cost[[i + axis * count for i in here]] = 1e-4
        row = np.arange(len(here))
        columns = np.array(here) + axis * count
        reach_rows = csr_matrix(
            (np.concatenate((np.ones(len(here)), -np.ones(len(here)))),
             (np.concatenate((row, row)), np.concatenate((columns, np.full(len(here), 2 * count))))),
            shape=(len(here), 2 * count + 1),
        )  # fmt: skip
        rows = vstack((self._matrix(1), reach_rows), format="csr")
        limits = np.concatenate((-self.need, -ends))
        bounds = [*self._bounds(), (0.0, float("inf"))]
        done = linprog(cost, A_ub=rows, b_ub=limits, bounds=bounds, method="highs")
        return None if done.x is None else self._moved(done.x[: 2 * count])

    def _moved(self, moves: np.ndarray) -> list[Spot]:
        count = len(self.spots)
        return [
            replace(spot, x=float(spot.x + moves[i]), y=float(spot.y + moves[count + i]))
            for i, spot in enumerate(self.spots)
        ]


def _span(at: float, low: float, high: float, reach: float) -> tuple[float, float]:
    """Allowed move of a coordinate now ``at``, between ``low`` and ``high``."""
    high = max(low, high)
    first, last = max(low - at, -reach), min(high - at, reach)
    return (first, last) if first <= last else ((low - at, low - at) if at < low else (high - at, high - at))


def _best_lines(rings: list[np.ndarray], first: np.ndarray, second: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """For each pair of convex rings the unit normal, first to second, that sets them furthest apart, and how far.

    Clear of one another: along their shortest connection. Touching or overlapping: square to one of their sides.
    """
    owner = np.repeat(np.arange(len(rings)), [len(ring) for ring in rings])
    shapes = np.asarray(shapely.polygons(shapely.linearrings(np.concatenate(rings), indices=owner)))
    ends = shapely.get_coordinates(shapely.shortest_line(shapes[first], shapes[second])).reshape(-1, 2, 2)
    normal = ends[:, 1] - ends[:, 0]
    apart = np.hypot(normal[:, 0], normal[:, 1])
    normal /= np.maximum(apart, 1e-300)[:, None]
    close = np.flatnonzero(apart < CLEAR)
    for k in close:
        normal[k], apart[k] = _best_side(rings[first[k]], rings[second[k]])
    most = max(len(ring) for ring in rings)
    points = np.stack([np.vstack((ring, np.repeat(ring[-1:], most - len(ring), axis=0))) for ring in rings])
    clear = np.flatnonzero(apart >= CLEAR)
    # measured along the normal as it is, so that its rounding cannot promise too much
    near = np.einsum("knc,kc->kn", points[second[clear]], normal[clear]).min(axis=1)
    far = np.einsum("knc,kc->kn", points[first[clear]], normal[clear]).max(axis=1)
    apart[clear] = near - far
    return normal, apart


def _best_side(a: np.ndarray, b: np.ndarray) -> tuple[np.ndarray, float]:
    """The same for one pair, trying the sides of both."""
    tried = np.vstack((_normals(a), -_normals(b)))
    apart = (tried @ b.T).min(axis=1) - (tried @ a.T).max(axis=1)
    best = int(apart.argmax())
    return tried[best], float(apart[best])


def _normals(ring: np.ndarray) -> np.ndarray:
    """Outward unit normals of a convex ring's sides."""
    step = np.vstack((ring[1:], ring[:1])) - ring
    size = np.hypot(step[:, 0], step[:, 1])
    step, size = step[size > 1e-9], size[size > 1e-9]
    return np.stack((step[:, 1] / size, -step[:, 0] / size), axis=1)
