"""The slit pattern of each crowned panel of a body: strips between sections, hung together at a spine.

A panel's part of the surface grid is found from the vertices it shares with the body: the columns that
lie in the panel, and the rows that cross all of them. Where the tunnel, a nose or a seam cuts a panel
short, the slit pattern covers the run between, and says from where to where.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from .body import Body
from .errors import StripError
from .strips import SlitPattern, slit_pattern

__all__ = ["PanelSlits", "panel_slits"]

#: Strips are about this wide, mm: what a shaper slits in card. Common practice, no source.
STRIP_MM = 30.0
#: A panel needs this many rows and columns of its own to be worth slitting.
LEAST = 3


@dataclass(frozen=True)
class PanelSlits:
    """The slit pattern of one panel, covering x from ``front`` to ``rear``, mm, with ``spine`` in words."""

    pattern: SlitPattern
    front: float
    rear: float
    spine: str


def panel_slits(body: Body, piece: str) -> PanelSlits | None:
    """Strips of one skin panel between sections, at its neutral surface; None where it has no clear run.

    The spine is the middle line of the panel: the centre line for one that spans it. Left-hand panels
    are the mirror images of right-hand ones and are not laid out again.
    """
    from scipy.spatial import cKDTree

    used = np.unique(body.faces_of(piece))
    outer = body.shell.vertices[used]
    grid = body.surface.grid
    apart, nearest = cKDTree(outer).query(grid.reshape(-1, 3))
    mine = (apart < 1e-6).reshape(grid.shape[:2])
    vertex = used[nearest].reshape(mine.shape)
    columns = np.flatnonzero(mine.mean(axis=0) > 0.5)
    if len(columns) < LEAST:
        return None
    columns = np.arange(columns[0], columns[-1] + 1)
    rows = _longest_run(mine[:, columns].all(axis=1))
    rows = rows[_wide(grid[np.ix_(rows, columns)])] if len(rows) else rows
    if len(rows) < LEAST:
        return None
    both = outer[:, 1].min() < -1 and outer[:, 1].max() > 1
    lines = body.neutral[vertex[np.ix_(rows, columns)]]
    if both:
        lines = np.concatenate([lines, lines[:, -2::-1] * [1, -1, 1]], axis=1)
    lines = lines[_every(lines[:, lines.shape[1] // 2], STRIP_MM)]
    try:
        pattern = slit_pattern(lines, run="across")
    except StripError:
        return None
    where = "the centre line" if both else "the line half way between its long edges"
    return PanelSlits(pattern, float(lines[0, :, 0].mean()), float(lines[-1, :, 0].mean()), where)


def _longest_run(good: np.ndarray) -> np.ndarray:
    """Indices of the longest unbroken run of True."""
    edge = np.flatnonzero(np.diff(np.concatenate([[0], good.astype(int), [0]])))
    starts, stops = edge[::2], edge[1::2]
    if len(starts) == 0:
        return np.zeros(0, dtype=int)
    k = int(np.argmax(stops - starts))
    return np.arange(starts[k], stops[k])


def _wide(lines: np.ndarray) -> np.ndarray:
    """Rows whose section is at least a strip long."""
    return np.linalg.norm(np.diff(lines, axis=1), axis=2).sum(axis=1) >= STRIP_MM


def _every(line: np.ndarray, step: float) -> np.ndarray:
    """Indices of the points of a line nearest to even steps along it, first and last among them."""
    along = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(line, axis=0), axis=1))])
    wanted = np.linspace(0, along[-1], max(2, round(along[-1] / step) + 1))
    return np.unique(np.abs(along[:, None] - wanted[None]).argmin(axis=0))
