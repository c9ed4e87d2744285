"""Search on a grid: let parts overlap, then move them one by one to where they overlap least.

Words used here
    cell      a square of the grid, ``step`` mm wide; a part lies with the lower left corner of its bounding box on one
    depth map of two variants: for every shift of one against the other, how deep they overlap (mm), as one array
    weight    of two copies: how much their overlap counts; it grows while they keep overlapping
    sweep     every overlapping copy moved once

A copy's best place is found by adding the depth maps of all others, each at its own place and weight, and taking the
least sum over all cells, turns and sheets at once. What is left over, less than a cell, ``_profile_squeeze``
takes out. Overlap maps by raster: A. K. Sato, T. C. Martins, A. M. Gomes, M. S. G. Tsuzuki, Raster
penetration map applied to the irregular packing problem, European Journal of Operational Research 279 (2019);
growing weights: J. Egeblad, B. K. Nielsen, A. Odgaard, Fast neighborhood search for two- and
three-dimensional nesting problems, same journal 183 (2007). Both from memory; the code is our own.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np
from shapely.geometry import box

from ._profile_shapes import Variant, Variants, clash_of, convex_pieces, halfplanes
from .model import Sheet

__all__ = ["Bench", "Grid", "Spot", "State", "separate"]

SLACK = 0.6  # overlap, in cells, that the grid lets pass because squeezing takes it out; tuned by eye
GROW, FADE = 1.5, 0.95  # weights: factor on the worst overlap, and on what no longer overlaps; tuned by eye


@dataclass(frozen=True)
class Spot:
    """Where one copy lies: sheet number, variant, lower left corner of its bounding box, mm."""

    sheet: int
    variant: Variant
    x: float
    y: float


@dataclass(eq=False)
class Bench:
    """A sheet being filled: its stock, the rectangle that corners may use, what is in the way, its limit.

    ``limit`` cuts the usable rectangle short along ``axis`` (0 along x, 1 along y), mm from the sheet's origin.
    """

    stock: Sheet
    edge: float
    axis: int = 0
    limit: float = math.inf
    low: tuple[float, float] = (0.0, 0.0)
    high: tuple[float, float] = (0.0, 0.0)
    walls: list[np.ndarray] = field(default_factory=list)

    def __post_init__(self) -> None:
        x0, y0, x1, y1 = self.stock.metal.bounds
        self.low, self.high = (x0 + self.edge, y0 + self.edge), (x1 - self.edge, y1 - self.edge)
        self.axis = 0 if x1 - x0 >= y1 - y0 else 1
        if self.stock.outline is not None:
            self.walls += convex_pieces(box(x0, y0, x1, y1).difference(self.stock.outline))
        for shape in self.stock.blocked:
            self.walls += convex_pieces(shape)

    def room(self) -> tuple[float, float, float, float]:
        """Usable rectangle less what ``limit`` takes away."""
        x1, y1 = self.high
        if self.axis == 0:
            x1 = min(x1, self.limit)
        else:
            y1 = min(y1, self.limit)
        return self.low[0], self.low[1], x1, y1


@dataclass(eq=False)
class Grid:
    """Depth maps and wall maps at one step, made when first asked for. ``spent`` counts work, see ``profile``."""

    variants: Variants
    gap: float
    step: float
    spent: float = 0.0
    _depth: dict[tuple[int, int], tuple[int, int, np.ndarray]] = field(default_factory=dict)
    _coarse: dict[tuple[int, float], list[np.ndarray]] = field(default_factory=dict)
    _walls: dict[tuple[int, int], np.ndarray] = field(default_factory=dict)

    def coarse(self, variant: Variant, gap: float = 0.0) -> list[np.ndarray]:
        key = (variant.twin, gap)
        if key not in self._coarse:
            self._coarse[key] = variant.coarse(0.1 * self.step, gap)
        return self._coarse[key]

    def depth(self, fixed: Variant, moving: Variant) -> tuple[int, int, np.ndarray]:
        """First row, first column (cells, of the shift moving - fixed) and depths beyond the slack, mm."""
        key = (fixed.twin, moving.twin)
        if key not in self._depth:
            rings = clash_of(self.coarse(fixed, self.gap), self.coarse(moving))
            row, column, found = _depth_map(rings, self.step)
            self._depth[key] = (row, column, found)
            if key[0] != key[1]:
                turned = np.ascontiguousarray(found[::-1, ::-1])
                rows, columns = found.shape
                self._depth[(key[1], key[0])] = (-(row + rows - 1), -(column + columns - 1), turned)
            self.spent += 0.8e-3 + 0.12e-3 * len(rings) + 0.25e-6 * found.size
        return self._depth[key]

    def barred(self, bench: Bench, variant: Variant) -> np.ndarray | None:
        """Cells (ny, nx) of the whole sheet where walls are in the way; None for a plain rectangle."""
        if not bench.walls:
            return None
        key = (id(bench.stock), variant.twin)
        if key not in self._walls:
            columns, rows = cells(bench, variant, self.step, whole=True)
            rings = clash_of(bench.walls, self.coarse(variant, bench.edge))
            grid = np.zeros((rows, columns), dtype=bool)
            row, column, found = _depth_map(rings, self.step, origin=bench.low)
            _paste(grid, row, column, found > 0)
            self._walls[key] = grid
            self.spent += 0.1e-3 * len(rings) + 0.25e-6 * found.size
        return self._walls[key]


def cells(bench: Bench, variant: Variant, step: float, *, whole: bool = False) -> tuple[int, int]:
    """How many columns and rows of cells the variant's corner may take; 0 where it does not fit.

    The last may stick out by the slack, as parts may overlap by it.
    """
    x0, y0, x1, y1 = (*bench.low, *bench.high) if whole else bench.room()
    spare_x, spare_y = x1 - x0 - variant.width, y1 - y0 - variant.height
    if min(spare_x, spare_y) < -1e-6:
        return 0, 0
    return math.floor(spare_x / step + SLACK) + 1, math.floor(spare_y / step + SLACK) + 1


def _paste(grid: np.ndarray, row: int, column: int, values: np.ndarray) -> None:
    """Or ``values`` into ``grid`` with their first element at (row, column), clipped."""
    rows, columns = grid.shape
    r0, r1 = max(row, 0), min(row + values.shape[0], rows)
    c0, c1 = max(column, 0), min(column + values.shape[1], columns)
    if r0 < r1 and c0 < c1:
        grid[r0:r1, c0:c1] |= values[r0 - row : r1 - row, c0 - column : c1 - column]


def _depth_map(
    rings: list[np.ndarray], step: float, origin: tuple[float, float] = (0.0, 0.0)
) -> tuple[int, int, np.ndarray]:
    """Depth inside the union of convex rings at every cell, less the slack: first row, first column, depths."""
    from scipy.ndimage import distance_transform_edt

    points = np.vstack(rings) - origin
    c0, r0 = (int(v) for v in np.floor(points.min(axis=0) / step - 1e-9))
    c1, r1 = (int(v) for v in np.ceil(points.max(axis=0) / step + 1e-9))
    fine = step / 2
    inside = _inside(rings, fine, (origin[0] + c0 * step, origin[1] + r0 * step), 2 * (r1 - r0) + 1, 2 * (c1 - c0) + 1)
    depth = distance_transform_edt(np.pad(inside, 1))[1:-1, 1:-1][::2, ::2] * fine
    return r0, c0, np.maximum(depth - SLACK * step, 0.0).astype(np.float32)


def _inside(rings: list[np.ndarray], step: float, origin: tuple[float, float], rows: int, columns: int) -> np.ndarray:
    """Which points of a grid lie inside any of the convex rings: row by row between left and right side."""
    normals, levels = halfplanes(rings)
    y = origin[1] + step * np.arange(rows)
    nx, ny = normals[..., 0, None], normals[..., 1, None]
    with np.errstate(divide="ignore", invalid="ignore"):
        reach = (levels[..., None] - ny * y) / nx
    flat = np.abs(nx) < 1e-12
    left = np.where((nx < 0) & ~flat, reach, -np.inf).max(axis=1)
    right = np.where((nx > 0) & ~flat, reach, np.inf).min(axis=1)
    above = (flat & (ny * y > levels[..., None] - 1e-6)).any(axis=1)
    first = np.ceil((left - origin[0] + 1e-6) / step)
    last = np.floor((right - origin[0] - 1e-6) / step)
    valid = ~above & (last >= first) & (last >= 0) & (first < columns)
    _, row = np.nonzero(valid)
    start = np.clip(first[valid], 0, columns - 1).astype(int)
    stop = np.clip(last[valid], 0, columns - 1).astype(int) + 1
    edges = np.zeros((rows, columns + 1), dtype=np.int32)
    np.add.at(edges, (row, start), 1)
    np.add.at(edges, (row, stop), -1)
    return np.cumsum(edges, axis=1)[:, :-1] > 0


# ------------------------------------------------------------------------------------------ the search


@dataclass(eq=False)
class State:
    """Every copy's place on the grid, and what overlaps what."""

    grid: Grid
    benches: list[Bench]
    choices: list[list[list[Variant]]]  # [copy][bench] -> variants
    sheet: list[int]
    variant: list[Variant]
    column: list[int]
    row: list[int]
    weight: np.ndarray
    overlap: np.ndarray

    @classmethod
    def of(cls, grid: Grid, benches: list[Bench], choices: list[list[list[Variant]]], spots: list[Spot]) -> State:
        """From places in mm, moved to the nearest cell that the room allows."""
        count = len(spots)
        state = cls(
            grid, benches, choices, [s.sheet for s in spots], [s.variant for s in spots], [0] * count, [0] * count,
            np.ones((count, count)), np.zeros((count, count)),
        )  # fmt: skip
        for i, spot in enumerate(spots):
            state.snap(i, spot.x, spot.y)
        state.measure()
        return state

    def snap(self, i: int, x: float, y: float) -> None:
        bench = self.benches[self.sheet[i]]
        columns, rows = cells(bench, self.variant[i], self.grid.step)
        self.column[i] = min(max(round((x - bench.low[0]) / self.grid.step), 0), max(columns - 1, 0))
        self.row[i] = min(max(round((y - bench.low[1]) / self.grid.step), 0), max(rows - 1, 0))

    def spots(self) -> list[Spot]:
        """Places in mm."""
        found = []
        for s, v, c, r in zip(self.sheet, self.variant, self.column, self.row, strict=True):
            low = self.benches[s].low
            found.append(Spot(s, v, low[0] + c * self.grid.step, low[1] + r * self.grid.step))
        return found

    def measure(self) -> None:
        """Work out every overlap afresh."""
        for i in range(len(self.sheet)):
            self.overlap[i] = self._row(i)

    def _row(self, i: int) -> np.ndarray:
        found = np.zeros(len(self.sheet))
        for k, sheet in enumerate(self.sheet):
            if k == i or sheet != self.sheet[i]:
                continue
            row, column, depth = self.grid.depth(self.variant[k], self.variant[i])
            r, c = self.row[i] - self.row[k] - row, self.column[i] - self.column[k] - column
            if 0 <= r < depth.shape[0] and 0 <= c < depth.shape[1]:
                found[k] = depth[r, c]
        return found

    def move(self, i: int, rng: np.random.Generator) -> None:
        """Put copy ``i`` where its weighted overlap is least, over all sheets and turns."""
        best: tuple[float, int, Variant, int, int] | None = None
        weights = self.weight[i]
        for s, bench in enumerate(self.benches):
            others = [k for k, sheet in enumerate(self.sheet) if sheet == s and k != i]
            for variant in self.choices[i][s]:
                cost = self._costs(bench, variant, others, weights)
                if cost is None:
                    continue
                low = float(cost.min())
                if best is not None and low > best[0]:
                    continue
                if best is not None and low == best[0] and rng.random() < 0.5:
                    continue
                if not math.isfinite(low):
                    continue
                spots = np.flatnonzero(cost == low)
                at = int(spots[rng.integers(len(spots))]) if len(spots) > 1 else int(spots[0])
                best = (low, s, variant, at // cost.shape[1], at % cost.shape[1])
        if best is None:
            return
        _, self.sheet[i], self.variant[i], self.row[i], self.column[i] = best
        found = self._row(i)
        self.overlap[i], self.overlap[:, i] = found, found

    def _costs(self, bench: Bench, variant: Variant, others: list[int], weights: np.ndarray) -> np.ndarray | None:
        columns, rows = cells(bench, variant, self.grid.step)
        if columns <= 0 or rows <= 0:
            return None
        cost = np.zeros((rows, columns), dtype=np.float32)
        barred = self.grid.barred(bench, variant)
        if barred is not None:
            cost[barred[:rows, :columns]] = np.inf
        touched = rows * columns
        for k in others:
            row, column, depth = self.grid.depth(self.variant[k], variant)
            row, column = row + self.row[k], column + self.column[k]
            r0, r1 = max(row, 0), min(row + depth.shape[0], rows)
            c0, c1 = max(column, 0), min(column + depth.shape[1], columns)
            if r0 < r1 and c0 < c1:
                cost[r0:r1, c0:c1] += depth[r0 - row : r1 - row, c0 - column : c1 - column] * np.float32(weights[k])
                touched += (r1 - r0) * (c1 - c0)
        self.grid.spent += 12e-6 + 3.5e-6 * len(others) + 0.6e-9 * touched
        return cost

    def reweigh(self) -> None:
        """Make stubborn overlaps count for more and settled ones for less."""
        worst = float(self.overlap.max())
        if worst > 0:
            grown = self.weight * (1.0 + (GROW - 1.0) * self.overlap / worst)
            self.weight = np.where(self.overlap > 0, grown, np.maximum(1.0, self.weight * FADE))


def separate(state: State, rng: np.random.Generator, *, work: float, patience: int = 120) -> bool:
    """Move copies until none overlaps by more than the slack; False when work or patience ends first.

    ``work`` is the reading of ``grid.spent`` to stop at. On failure the state is the least overlapping one seen.
    """
    best, kept, idle = math.inf, None, 0
    while True:
        total = float(state.overlap.sum())
        if total <= 0:
            return True
        if total < best * 0.999:
            best, idle = total, 0
            kept = (list(state.sheet), list(state.variant), list(state.row), list(state.column), state.overlap.copy())
        else:
            idle += 1
        if idle > patience or state.grid.spent >= work:
            break
        busy = np.flatnonzero(state.overlap.sum(axis=1) > 0)
        for i in rng.permutation(busy):
            if state.overlap[i].any():
                state.move(int(i), rng)
        state.reweigh()
    if kept is not None:
        state.sheet, state.variant, state.row, state.column, state.overlap = kept
    return False
