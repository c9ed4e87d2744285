"""Search on a grid: let parts overlap, then move them one by one to where they overlap least.

Words used here
    cell      a crossing of the grid, ``step`` mm apart; a part lies with the middle of its bounding box on one
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
from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np
from shapely.geometry import box

from ._profile_shapes import Variant, Variants, clash_of, convex_pieces, halfplanes
from .model import Sheet

__all__ = ["Bench", "Grid", "OutOfTime", "Spot", "State", "separate"]

SLACK = 0.5  # overlap, in cells, that the grid lets pass because squeezing takes it out; tuned by eye
HEAVIEST = 1e4
REFINED, NEAR = 3, 2  # turns and sheets looked at closely, and how many cells about; tuned by eye
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


class OutOfTime(Exception):
    """The clock ran out while maps were being made: use the best nest so far."""


@dataclass(eq=False)
class Grid:
    """Depth maps and wall maps at one step, made when first asked for. ``spent`` counts work, see ``profile``."""

    variants: Variants
    gap: float
    step: float
    late: Callable[[], bool] = lambda: False
    spent: float = 0.0
    _depth: dict[tuple[int, int], tuple[int, int, tuple[np.ndarray, ...]]] = field(default_factory=dict)
    _straight: dict[tuple[int, int, int], tuple[int, int, np.ndarray]] = field(default_factory=dict)
    _coarse: dict[tuple[int, float], list[np.ndarray]] = field(default_factory=dict)
    _walls: dict[tuple[int, int], np.ndarray] = field(default_factory=dict)

    def coarse(self, variant: Variant, gap: float = 0.0) -> list[np.ndarray]:
        """Coarse convex pieces about the middle of the bounding box."""
        key = (variant.twin, gap)
        if key not in self._coarse:
            middle = np.array([variant.width / 2, variant.height / 2])
            self._coarse[key] = [piece - middle for piece in variant.coarse(0.1 * self.step, gap)]
        return self._coarse[key]

    def depth(self, fixed: Variant, moving: Variant) -> tuple[int, int, tuple[np.ndarray, ...]]:
        """First row, first column (cells, of the shift moving - fixed) and depths beyond the slack, mm.

        The depths five times: every second cell from row and column 0 or 1 (four arrays), then all.
        """
        key = (fixed.twin, moving.twin)
        if key not in self._depth:
            row, column, found = self._turned_map(fixed, moving)
            halves = [np.ascontiguousarray(found[r::2, c::2]) for r in (0, 1) for c in (0, 1)]
            self._depth[key] = (row, column, (*halves, found))
        return self._depth[key]

    def _turned_map(self, fixed: Variant, moving: Variant) -> tuple[int, int, np.ndarray]:
        """The map of two turned variants from that of the first one not turned."""
        between = (moving.quarter - fixed.quarter) % 4
        if moving.base < fixed.base:
            row, column, found = self._straight_map(moving.base, fixed.base, -between % 4)
            row, column, found = _quarter_turn(row, column, found, 2)
            return _quarter_turn(row, column, found, moving.quarter)
        row, column, found = self._straight_map(fixed.base, moving.base, between)
        return _quarter_turn(row, column, found, fixed.quarter)

    def _straight_map(self, fixed: int, moving: int, quarter: int) -> tuple[int, int, np.ndarray]:
        key = (fixed, moving, quarter)
        if key not in self._straight:
            if self.late():
                raise OutOfTime
            items = self.variants.items
            turn = np.array(((1, 0), (0, 1), (-1, 0), (0, -1)))[quarter]
            matrix = np.array([[turn[0], turn[1]], [-turn[1], turn[0]]], dtype=float)
            pieces = [piece @ matrix for piece in self.coarse(items[moving])]
            rings = clash_of(self.coarse(items[fixed], self.gap), pieces)
            self._straight[key] = _depth_map(rings, self.step)
            self.spent += 1e-3 + 0.08e-3 * len(rings) + 0.4e-6 * self._straight[key][2].size
        return self._straight[key]

    def barred(self, bench: Bench, variant: Variant) -> np.ndarray | None:
        """Where on the whole sheet (from its first cell) walls are in the way; None for a plain rectangle."""
        if not bench.walls:
            return None
        key = (id(bench.stock), variant.twin)
        if key not in self._walls:
            first_row, first_column, rows, columns = cells(bench, variant, self.step, whole=True)
            rings = clash_of(bench.walls, self.coarse(variant, bench.edge))
            grid = np.zeros((rows, columns), dtype=bool)
            row, column, found = _depth_map(rings, self.step, origin=bench.low)
            _paste(grid, row - first_row, column - first_column, found > 0)
            self._walls[key] = grid
            self.spent += 0.06e-3 * len(rings) + 0.2e-6 * found.size
        return self._walls[key]


def _quarter_turn(row: int, column: int, found: np.ndarray, quarter: int) -> tuple[int, int, np.ndarray]:
    """A map and its first row and column after counter-clockwise quarter turns about shift 0, 0."""
    rows, columns = found.shape
    last_row, last_column = row + rows - 1, column + columns - 1
    # rows run along y, so a counter-clockwise turn of the plane is a clockwise one of the array as printed
    starts = ((row, column), (column, -last_row), (-last_row, -last_column), (-last_column, row))
    return (*starts[quarter], np.ascontiguousarray(np.rot90(found, -quarter)))


def cells(bench: Bench, variant: Variant, step: float, *, whole: bool = False) -> tuple[int, int, int, int]:
    """First row, first column, rows and columns that the variant's middle may take; none where it does not fit.

    The outermost may stick out of the room by the slack, as parts may overlap by it.
    """
    x0, y0, x1, y1 = (*bench.low, *bench.high) if whole else bench.room()
    wide, high = x1 - x0 - variant.width, y1 - y0 - variant.height
    if min(wide, high) < -1e-6:
        return 0, 0, 0, 0
    first_column, last_column = _range(variant.width / 2, wide, step)
    first_row, last_row = _range(variant.height / 2, high, step)
    return first_row, first_column, last_row - first_row + 1, last_column - first_column + 1


def _range(start: float, spare: float, step: float) -> tuple[int, int]:
    first, last = math.ceil(start / step - SLACK), math.floor((start + spare) / step + SLACK)
    return first, max(first, last)


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


def _pick(cost: np.ndarray, low: float, rng: np.random.Generator) -> tuple[int, int]:
    """Row and column of one of the least elements."""
    spots = np.flatnonzero(cost == low)
    at = int(spots[rng.integers(len(spots))]) if len(spots) > 1 else int(spots[0])
    return at // cost.shape[1], at % cost.shape[1]


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
        """Put copy ``i`` on the allowed cell nearest to corner x, y on its sheet."""
        bench, variant, step = self.benches[self.sheet[i]], self.variant[i], self.grid.step
        row, column, rows, columns = cells(bench, variant, step)
        at_column = round((x + variant.width / 2 - bench.low[0]) / step)
        at_row = round((y + variant.height / 2 - bench.low[1]) / step)
        self.column[i] = min(max(at_column, column), column + max(columns, 1) - 1)
        self.row[i] = min(max(at_row, row), row + max(rows, 1) - 1)

    def spots(self) -> list[Spot]:
        """Places in mm."""
        found, step = [], self.grid.step
        for s, v, c, r in zip(self.sheet, self.variant, self.column, self.row, strict=True):
            low = self.benches[s].low
            found.append(Spot(s, v, low[0] + c * step - v.width / 2, low[1] + r * step - v.height / 2))
        return found

    def measure(self) -> None:
        """Work out every overlap afresh."""
        for i in range(len(self.sheet)):
            self.overlap[i] = self._row(i)

    def _row(self, i: int) -> np.ndarray:
        """Overlap of copy ``i`` with each other one; with itself stands for being where a wall is."""
        found = np.zeros(len(self.sheet))
        bench, variant = self.benches[self.sheet[i]], self.variant[i]
        barred = self.grid.barred(bench, variant)
        if barred is not None:
            row, column, rows, columns = cells(bench, variant, self.grid.step, whole=True)
            r, c = self.row[i] - row, self.column[i] - column
            if not (0 <= r < rows and 0 <= c < columns) or barred[r, c]:
                found[i] = self.grid.step
        for k, sheet in enumerate(self.sheet):
            if k == i or sheet != self.sheet[i]:
                continue
            row, column, maps = self.grid.depth(self.variant[k], self.variant[i])
            depth = maps[4]
            r, c = self.row[i] - self.row[k] - row, self.column[i] - self.column[k] - column
            if 0 <= r < depth.shape[0] and 0 <= c < depth.shape[1]:
                found[k] = depth[r, c]
        return found

    def move(self, i: int, rng: np.random.Generator) -> None:
        """Put copy ``i`` where its weighted overlap is least, over all sheets and turns.

        Every second cell each way is looked at first, then all cells about the best of those.
        """
        weights = self.weight[i]
        tried: list[tuple[float, float, int, Variant, int, int]] = []
        for s, bench in enumerate(self.benches):
            others = [k for k, sheet in enumerate(self.sheet) if sheet == s and k != i]
            for variant in self.choices[i][s]:
                row, column, rows, columns = cells(bench, variant, self.grid.step)
                if rows <= 0 or columns <= 0:
                    continue
                cost = self._costs((row, column, rows, columns), bench, variant, others, weights, every=2)
                low = float(cost.min())
                if math.isfinite(low):
                    r, c = _pick(cost, low, rng)
                    tried.append((low, float(rng.random()), s, variant, row + 2 * r, column + 2 * c))
        tried.sort(key=lambda t: t[:2])
        if not tried:
            return
        best = (tried[0][0], *tried[0][2:])
        if best[0] > 0:
            for _, _, s, variant, r, c in tried[:REFINED]:
                found = self._refine(i, s, variant, r, c, weights, rng)
                if found[0] < best[0]:
                    best = found
        _, self.sheet[i], self.variant[i], self.row[i], self.column[i] = best
        found_row = self._row(i)
        self.overlap[i], self.overlap[:, i] = found_row, found_row

    def _refine(
        self, i: int, s: int, variant: Variant, r: int, c: int, weights: np.ndarray, rng: np.random.Generator
    ) -> tuple[float, int, Variant, int, int]:
        """The best of the cells about row ``r``, column ``c``."""
        bench = self.benches[s]
        row, column, rows, columns = cells(bench, variant, self.grid.step)
        r0, r1 = max(r - NEAR, row), min(r + NEAR + 1, row + rows)
        c0, c1 = max(c - NEAR, column), min(c + NEAR + 1, column + columns)
        others = [k for k, sheet in enumerate(self.sheet) if sheet == s and k != i]
        cost = self._costs((r0, c0, r1 - r0, c1 - c0), bench, variant, others, weights, every=1)
        low = float(cost.min())
        at = _pick(cost, low, rng)
        return low, s, variant, r0 + at[0], c0 + at[1]

    def _costs(
        self,
        window: tuple[int, int, int, int],
        bench: Bench,
        variant: Variant,
        others: list[int],
        weights: np.ndarray,
        every: int,
    ) -> np.ndarray:
        """Weighted overlap at every first or second cell of a window (first row, first column, rows, columns)."""
        first_row, first_column, rows, columns = window
        high, wide = (rows + every - 1) // every, (columns + every - 1) // every
        cost = np.zeros((high, wide), dtype=np.float32)
        barred = self.grid.barred(bench, variant)
        if barred is not None:
            row, column, _, _ = cells(bench, variant, self.grid.step, whole=True)
            part = barred[first_row - row :, first_column - column :][:rows:every, :columns:every]
            cost[: part.shape[0], : part.shape[1]][part] = np.inf
        touched = high * wide
        for k in others:
            row, column, maps = self.grid.depth(self.variant[k], variant)
            row, column = row + self.row[k] - first_row, column + self.column[k] - first_column
            if every == 1:
                depth = maps[4]
            else:
                depth = maps[2 * (row & 1) + (column & 1)]
                row, column = (row + (row & 1)) >> 1, (column + (column & 1)) >> 1
            r0, r1 = max(row, 0), min(row + depth.shape[0], high)
            c0, c1 = max(column, 0), min(column + depth.shape[1], wide)
            if r0 < r1 and c0 < c1:
                cost[r0:r1, c0:c1] += depth[r0 - row : r1 - row, c0 - column : c1 - column] * np.float32(weights[k])
                touched += (r1 - r0) * (c1 - c0)
        self.grid.spent += 15e-6 + 6e-6 * len(others) + 1e-9 * touched
        return cost

    def reweigh(self) -> None:
        """Make stubborn overlaps count for more and settled ones for less."""
        worst = float(self.overlap.max())
        if worst > 0:
            grown = self.weight * (1.0 + (GROW - 1.0) * self.overlap / worst)
            grown = np.minimum(grown, HEAVIEST)
            self.weight = np.where(self.overlap > 0, grown, np.maximum(1.0, self.weight * FADE))


def separate(
    state: State,
    rng: np.random.Generator,
    *,
    work: float,
    patience: int = 120,
    stop: Callable[[], bool] = lambda: False,
) -> bool:
    """Move copies until none overlaps by more than the slack; False when work or patience ends first.

    ``work`` is the reading of ``grid.spent`` to stop at; ``stop`` may end it sooner. On failure the state is the
    least overlapping one seen.
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
        if idle > patience or state.grid.spent >= work or stop():
            break
        busy = np.flatnonzero(state.overlap.sum(axis=1) > 0)
        for i in rng.permutation(busy):
            if stop():
                break
            if state.overlap[i].any():
                state.move(int(i), rng)
        state.reweigh()
    if kept is not None:
        state.sheet, state.variant, state.row, state.column, state.overlap = kept
    return False
