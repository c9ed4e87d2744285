"""A first legal layout at once: largest part first, each as far into the corner as it goes, on coarse squares.

Every square that a part touches, grown by the gap, is taken; a part may lie where none of its squares is.
Whether it may is one correlation of two pictures, done for all places together with Fourier transforms, so
outlines with holes, offcuts of any outline and blocked places need nothing special.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
import shapely
from shapely import affinity
from shapely.geometry import Polygon
from shapely.geometry.base import BaseGeometry

from ._profile_grid import Bench, Spot
from ._profile_shapes import Variant, Variants
from .model import Sheet

__all__ = ["Stock", "first_layout"]


@dataclass(frozen=True)
class Stock:
    """The sheets that may be used, and how many of each (``math.inf`` where there is no limit)."""

    sheets: tuple[Sheet, ...]

    def limit(self, kind: int) -> float:
        quantity = self.sheets[kind].quantity
        return math.inf if quantity is None else quantity


@dataclass(eq=False)
class _Table:
    """One sheet as squares: True where taken."""

    bench: Bench
    kind: int
    masks: _Masks
    taken: np.ndarray
    picture: np.ndarray = field(default_factory=lambda: np.zeros(0))


@dataclass(eq=False)
class _Masks:
    """Squares touched by each variant, bare and grown by the gap; and their transforms."""

    step: float
    gap: float
    bare: dict[int, np.ndarray] = field(default_factory=dict)
    grown: dict[int, tuple[int, np.ndarray]] = field(default_factory=dict)
    waves: dict[tuple[int, tuple[int, ...]], np.ndarray] = field(default_factory=dict)

    def of(self, variant: Variant) -> np.ndarray:
        if variant.twin not in self.bare:
            rows, columns = math.ceil(variant.height / self.step - 1e-6), math.ceil(variant.width / self.step - 1e-6)
            self.bare[variant.twin] = _touched(variant.outline, self.step, 0, 0, max(rows, 1), max(columns, 1))
        return self.bare[variant.twin]

    def with_gap(self, variant: Variant) -> tuple[int, np.ndarray]:
        """How many squares it begins before the corner, and the squares."""
        if variant.twin not in self.grown:
            more = math.ceil(self.gap / self.step) + 1
            rows, columns = self.of(variant).shape
            shape = variant.outline.buffer(self.gap * 1.01) if self.gap > 0 else variant.outline
            grid = _touched(shape, self.step, -more, -more, rows + 2 * more, columns + 2 * more)
            grid[more : more + rows, more : more + columns] |= self.of(variant)
            self.grown[variant.twin] = (more, grid)
        return self.grown[variant.twin]

    def wave(self, variant: Variant, shape: tuple[int, ...]) -> np.ndarray:
        key = (variant.twin, shape)
        if key not in self.waves:
            self.waves[key] = np.conj(np.fft.rfft2(self.of(variant), shape))
        return self.waves[key]


def _touched(shape: BaseGeometry, step: float, row: int, column: int, rows: int, columns: int) -> np.ndarray:
    """Squares whose middle is within half a diagonal of ``shape``: all that it touches, and some more."""
    wide = shape.buffer(step * 0.7072, quad_segs=4)
    shapely.prepare(wide)
    x, y = (column + 0.5 + np.arange(columns)) * step, (row + 0.5 + np.arange(rows)) * step
    return np.asarray(shapely.contains_xy(wide, *np.meshgrid(x, y)))


def first_layout(
    variants: Variants,
    copies: Sequence[int],
    stock: Stock,
    order: Sequence[int],
    *,
    gap: float,
    edge: float,
    step: float,
) -> tuple[list[int], list[Spot | None]]:
    """Kinds of the sheets used and a place for each copy, None where there is no room.

    ``copies`` are part numbers in the order to be placed, ``order`` the kinds of sheet in the order to be opened.
    """
    masks: dict[float, _Masks] = {}
    tables: list[_Table] = []
    spots: list[Spot | None] = []
    hopeless: set[int] = set()
    full: dict[tuple[int, int], bool] = {}
    for part in copies:
        spot = None
        for number, table in enumerate(tables):
            if full.get((part, number)):
                continue
            spot = _lay(table, number, variants.on(part, table.bench.stock))
            if spot is not None:
                break
            full[(part, number)] = True
        if spot is None and part not in hopeless:
            for kind in order:
                if sum(table.kind == kind for table in tables) >= stock.limit(kind):
                    continue
                table = _open(Bench(stock.sheets[kind], edge), kind, gap, step, masks)
                spot = _lay(table, len(tables), variants.on(part, table.bench.stock))
                if spot is not None:
                    tables.append(table)
                    break
            else:
                hopeless.add(part)
        spots.append(spot)
    return [table.kind for table in tables], spots


def _open(bench: Bench, kind: int, gap: float, step: float, masks: dict[float, _Masks]) -> _Table:
    """A fresh sheet; squares of about ``step``, so that a whole number of them makes up its shorter side."""
    across = max(bench.high[1 - bench.axis] - bench.low[1 - bench.axis], 1e-6)
    step = across / math.ceil(across / step - 1e-9)
    mask, edge = masks.setdefault(step, _Masks(step, gap)), bench.edge
    columns = max(1, math.floor((bench.high[0] - bench.low[0]) / step + 1e-6))
    rows = max(1, math.floor((bench.high[1] - bench.low[1]) / step + 1e-6))
    taken = np.zeros((rows, columns), dtype=bool)
    if bench.walls:
        walls = shapely.union_all([Polygon(ring) for ring in bench.walls])
        walls = walls.buffer(edge * 1.01) if edge > 0 else walls
        taken = _touched(affinity.translate(walls, -bench.low[0], -bench.low[1]), step, 0, 0, rows, columns)
    return _Table(bench, kind, mask, taken)


def _lay(table: _Table, number: int, choices: list[Variant]) -> Spot | None:
    """The place nearest the near end of the sheet, over all turns; marks it as taken."""
    best: tuple[float, float, int, Variant, int, int] | None = None
    bench, masks, step = table.bench, table.masks, table.masks.step
    for variant in choices:
        at = _corner(table, variant)
        if at is None:
            continue
        row, column = at
        ends = (column * step + variant.width, row * step + variant.height)
        rank = (ends[bench.axis], ends[1 - bench.axis], variant.key, variant, row, column)
        if best is None or rank[:3] < best[:3]:
            best = rank
    if best is None:
        return None
    _, _, _, variant, row, column = best
    more, grown = masks.with_gap(variant)
    rows, columns = table.taken.shape
    r0, r1 = max(row - more, 0), min(row - more + grown.shape[0], rows)
    c0, c1 = max(column - more, 0), min(column - more + grown.shape[1], columns)
    table.taken[r0:r1, c0:c1] |= grown[r0 - row + more : r1 - row + more, c0 - column + more : c1 - column + more]
    table.picture = np.zeros(0)
    return Spot(number, variant, bench.low[0] + column * step, bench.low[1] + row * step)


def _corner(table: _Table, variant: Variant) -> tuple[int, int] | None:
    """Row and column of the free place nearest the near end of the sheet."""
    rows, columns = table.taken.shape
    room_x, room_y = (high - low for low, high in zip(table.bench.low, table.bench.high, strict=True))
    if variant.width > room_x + 1e-6 or variant.height > room_y + 1e-6:
        return None
    masks, mask = table.masks, table.masks.of(variant)
    if not table.taken.any():
        return 0, 0
    high, wide = rows - mask.shape[0] + 1, columns - mask.shape[1] + 1
    if high <= 0 or wide <= 0:
        return None
    shape = (rows, columns)
    if not table.picture.size:
        table.picture = np.fft.rfft2(table.taken, shape)
    free = np.fft.irfft2(table.picture * masks.wave(variant, shape), shape)[:high, :wide] < 0.5
    if not free.any():
        return None
    if table.bench.axis == 0:
        at = int(np.argmax(free.T))
        return at % high, at // high
    at = int(np.argmax(free))
    return at // wide, at % wide
