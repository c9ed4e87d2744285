"""How a blank is spread over pages that print on A4 and on letter.

Words used here
    tile      one page of a template; rows are lettered from the top, columns numbered from the left
    window    the part of a tile that the drawing shows, inside the live area
    cell      the part of the drawing that is a tile's own: its window less half the overlaps
    targets   the two crosses, as far apart as the tiles allow, that check the joined sheet
    join      the strip that two neighbouring tiles both show, with two match crosses and the neighbour's name

All in the blank's own mm, x right, y up.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from .look import TILE

if TYPE_CHECKING:
    from shapely.geometry import Polygon

    from panels.blank import Blank

__all__ = ["GUTTER_MM", "MATCH_SHARES", "Tiling", "join_rooms", "targets", "tile_blank"]

PAD_MM = 7.0  # round the cut outline, for ticks and tags that stand outside it
GUTTER_MM = 8.0  # left of the window, for the upright bar
TARGET_INSET_MM = 7.0
MATCH_SHARES = (0.22, 0.78)  # where along a join its match crosses stand
FRAME_MM = 0.5  # so little of the room round words may lie under an outer frame
MATCH_MM, LABEL_MM = 4.5, (2.2, 6.0)  # half the room of a match cross, and of a neighbour's name


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

    def join(self, row: int, column: int, down: int, right: int) -> tuple[np.ndarray, np.ndarray]:
        """Lower left and upper right corner (2,) of what a tile shares with the tile beside it."""
        here, beside = self.corner(row, column), self.corner(row + down, column + right)
        return np.maximum(here, beside), np.minimum(here, beside) + self.window

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


def join_rooms(tiling: Tiling) -> list[Polygon]:
    """What words keep off, so that each stands whole on one tile: joins, their signs, what is past the frames."""
    from shapely.geometry import box

    rooms = []
    for row, column in tiling.used:
        for down, right in ((0, 1), (1, 0)):
            if tiling.neighbour(row, column, down, right):
                first, last = tiling.join(row, column, down, right)
                across, along = (0, 1) if right else (1, 0)
                bar = np.array([first, last])
                bar[:, across] = bar[:, across].mean() + [-0.2, 0.2]
                rooms.append(box(*bar.ravel()))
                signs = [(share, (MATCH_MM, MATCH_MM)) for share in MATCH_SHARES] + [(0.5, LABEL_MM)]
                for share, (thick, long) in signs:
                    middle, half = (first + last) / 2, np.empty(2)
                    middle[along] = first[along] + share * (last - first)[along]
                    half[across], half[along] = thick, long
                    rooms.append(box(*(middle - half), *(middle + half)))
    low = tiling.low - FRAME_MM
    high = tiling.low + tiling.step * [tiling.columns - 1, tiling.rows - 1] + tiling.window + FRAME_MM
    far = max(*tiling.window)
    for axis in (0, 1):  # past the outer frames nothing is printed
        for edge, away in ((low, -far), (high, far)):
            ends = np.array([low - far, high + far])
            ends[:, axis] = sorted((edge[axis], edge[axis] + away))
            rooms.append(box(*ends.ravel()))
    return rooms
