"""How a blank is spread over pages that print on A4 and on letter.

Words used here
    tile      one page of a template; rows are lettered from the top, columns numbered from the left
    window    the part of a tile that the drawing shows, inside the live area
    cell      the part of the drawing that is a tile's own: its window less half the overlaps
    targets   the two crosses, as far apart as the tiles allow, that check the joined sheet

All in the blank's own mm, x right, y up.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from .look import TILE

if TYPE_CHECKING:
    from panels.blank import Blank

__all__ = ["GUTTER_MM", "Tiling", "targets", "tile_blank"]

PAD_MM = 7.0  # round the cut outline, for ticks and tags that stand outside it
GUTTER_MM = 8.0  # left of the window, for the upright bar
TARGET_INSET_MM = 7.0


@dataclass(frozen=True)
class Tiling:
    """How a blank is spread over tiles: ``low`` (2,) is the lower left corner of the lowest left window."""

    low: np.ndarray
    window: tuple[float, float]
    columns: int
    rows: int
    used: tuple[tuple[int, int], ...]  # (row from the top, column from the left), both from 0
    landscape: bool

    @property
    def step(self) -> np.ndarray:
        """From one window to the next, (2,) mm."""
        return np.array(self.window) - TILE.overlap

    def corner(self, row: int, column: int) -> np.ndarray:
        """Lower left corner (2,) of a tile's window, in the blank's mm."""
        return self.low + self.step * [column, self.rows - 1 - row]

    def name(self, row: int, column: int) -> str:
        """``B3``: row B, column 3; past Z, ``AA``."""
        letters = ""
        n = row + 1
        while n:
            n, digit = divmod(n - 1, 26)
            letters = chr(65 + digit) + letters
        return f"{letters}{column + 1}"

    def neighbour(self, row: int, column: int, down: int, right: int) -> str:
        """Name of the tile beside, "" where there is none."""
        beside = (row + down, column + right)
        return self.name(*beside) if beside in self.used else ""


def tile_blank(blank: Blank) -> Tiling:
    """The tiling with fewest pages, upright or lying; tiles that would carry nothing are left out."""
    choices = [_tiling(blank, landscape) for landscape in (False, True)]
    return min(choices, key=lambda t: (len(t.used), t.columns * t.rows, t.landscape))


def _tiling(blank: Blank, landscape: bool) -> Tiling:
    from shapely.geometry import box

    live = TILE.live[::-1] if landscape else TILE.live
    window = (live[0] - GUTTER_MM, live[1] - TILE.foot)
    x0, y0, x1, y1 = blank.outline.bounds
    size = np.array([x1 - x0, y1 - y0]) + 2 * PAD_MM
    step = np.array(window) - TILE.overlap
    counts = np.maximum(1, np.ceil((size - TILE.overlap) / step - 1e-9)).astype(int)
    spread = step * (counts - 1) + window
    low = np.array([x0, y0]) - PAD_MM - (spread - size) / 2
    columns, rows = int(counts[0]), int(counts[1])
    reach = blank.outline.buffer(1.0)
    used = []
    for row in range(rows):
        for column in range(columns):
            corner = low + step * [column, rows - 1 - row]
            half = TILE.overlap / 2
            cell_low = corner + [half * (column > 0), half * (row < rows - 1)]
            cell_high = corner + window - [half * (column < columns - 1), half * (row > 0)]
            if reach.intersection(box(*cell_low, *cell_high)).area > 1.0:
                used.append((row, column))
    return Tiling(low, window, columns, rows, tuple(used), landscape)


def targets(tiling: Tiling) -> np.ndarray:
    """The two points (2, 2) of the longest diagonal between corners of tiles."""
    corners = []
    for row, column in tiling.used:
        low = tiling.corner(row, column) + TARGET_INSET_MM
        high = low + tiling.window - 2 * TARGET_INSET_MM
        corners += [low, high, [low[0], high[1]], [high[0], low[1]]]
    points = np.array(corners, dtype=float)
    apart = np.hypot(*(points[:, None] - points[None]).transpose(2, 0, 1)).round(6)
    i, j = np.unravel_index(int(np.argmax(apart)), apart.shape)
    return points[sorted((int(i), int(j)), key=lambda k: (points[k][0], points[k][1]))]
