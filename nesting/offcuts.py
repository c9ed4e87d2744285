"""Offcuts worth keeping: large empty rectangles in what is left of a sheet.

Words used here
    free      where nothing lies: the sheet's metal less parts grown by the gap
    keep      an empty rectangle whose shorter side and area are both worth a place in the rack
"""

from __future__ import annotations

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry import Polygon, box
from shapely.geometry.base import BaseGeometry

__all__ = ["largest_rectangle", "rectangles_to_keep"]

MOST_LINES = 72  # trial grid lines per direction; tuned by eye: more finds a little more and costs its square
TOUCH_MM = 1e-6  # an edge this near to a cell's side runs along it, not through it
FINE_MM = 0.05  # how closely a rectangle is grown towards the metal's edge


def rectangles_to_keep(
    free: BaseGeometry, *, min_side_mm: float, min_area_mm2: float, most: int = 6, apart_mm: float = 0.0
) -> tuple[Polygon, ...]:
    """The largest empty rectangles of ``free``, largest first, none overlapping, each worth keeping.

    ``free`` is a shapely area in mm. A rectangle counts when its shorter side is at least ``min_side_mm``
    and its area at
    least ``min_area_mm2``. Neighbours are kept ``apart_mm`` from one another. Sides lie along x and y. Each is the
    largest that a trial grid through the corners of ``free`` finds, grown until it touches: very near
    the largest there is, and exactly it where all edges of ``free`` lie along x and y and its corners are few.
    """
    found: list[Polygon] = []
    while len(found) < most:
        rectangle = largest_rectangle(free)
        if rectangle is None:
            break
        x0, y0, x1, y1 = rectangle.bounds
        if min(x1 - x0, y1 - y0) < min_side_mm - 1e-6 or rectangle.area < min_area_mm2 - 1e-6:
            break
        found.append(rectangle)
        taken = box(x0 - apart_mm, y0 - apart_mm, x1 + apart_mm, y1 + apart_mm) if apart_mm else rectangle
        free = free.difference(taken)
    return tuple(found)


def largest_rectangle(free: BaseGeometry) -> Polygon | None:
    """The largest rectangle along x and y inside ``free`` that a trial grid finds; None if there is none."""
    best: Polygon | None = None
    for region in getattr(free, "geoms", (free,)):
        if not isinstance(region, Polygon) or region.is_empty:
            continue
        if best is not None and region.area <= best.area:
            continue
        candidate = _in_region(region)
        if candidate is not None and (best is None or candidate.area > best.area):
            best = candidate
    return best


def _in_region(region: Polygon) -> Polygon | None:
    xs, ys = _lines(region, 0), _lines(region, 1)
    middle_x, middle_y = (xs[:-1] + xs[1:]) / 2, (ys[:-1] + ys[1:]) / 2
    shapely.prepare(region)
    inside = shapely.contains_xy(region, middle_x[:, None], middle_y[None, :]) & ~_crossed(region, xs, ys)
    spot = _largest_block(inside, np.diff(xs), np.diff(ys))
    if spot is None:
        return None
    i0, i1, j0, j1 = spot
    bounds = [float(xs[i0]), float(ys[j0]), float(xs[i1]), float(ys[j1])]
    return _grown(region, bounds)


def _crossed(region: Polygon, xs: NDArray[np.float64], ys: NDArray[np.float64]) -> NDArray[np.bool_]:
    """Which cells (len(xs) - 1, len(ys) - 1) of the grid an edge of the region runs through, touching apart."""
    rings = [shapely.get_coordinates(ring) for ring in (region.exterior, *region.interiors)]
    start, end = np.concatenate([r[:-1] for r in rings]), np.concatenate([r[1:] for r in rings])
    swap = start[:, 0] > end[:, 0]
    start[swap], end[swap] = end[swap], start[swap]
    low = np.maximum(start[:, :1], xs[:-1] + TOUCH_MM)  # (edges, columns)
    high = np.minimum(end[:, :1], xs[1:] - TOUCH_MM)
    edge, column = np.nonzero(low <= high)
    run = end[edge, 0] - start[edge, 0]
    slope = (end[edge, 1] - start[edge, 1]) / np.where(run > 0, run, 1.0)
    y0 = np.where(run > 0, start[edge, 1] + slope * (low[edge, column] - start[edge, 0]), start[edge, 1])
    y1 = np.where(run > 0, start[edge, 1] + slope * (high[edge, column] - start[edge, 0]), end[edge, 1])
    first = np.searchsorted(ys[1:] - TOUCH_MM, np.minimum(y0, y1))
    last = np.searchsorted(ys[:-1] + TOUCH_MM, np.maximum(y0, y1), side="right") - 1
    real = first <= last
    change = np.zeros((len(xs) - 1, len(ys) + 1))
    np.add.at(change, (column[real], first[real]), 1)
    np.add.at(change, (column[real], last[real] + 1), -1)
    return np.asarray(np.cumsum(change, axis=1)[:, : len(ys) - 1] > 0.5)


def _lines(region: Polygon, axis: int) -> NDArray[np.float64]:
    """Grid lines: every corner's coordinate if they are few, an even spread otherwise."""
    low, high = region.bounds[axis], region.bounds[axis + 2]
    corners = np.unique(np.round(shapely.get_coordinates(region)[:, axis], 6))
    if len(corners) < 2:
        corners = np.array([low, high])
    if len(corners) > MOST_LINES:
        corners = np.quantile(corners, np.linspace(0, 1, MOST_LINES // 2))
    spread = np.linspace(low, high, max(2, MOST_LINES - len(corners)))
    lines = np.unique(np.concatenate([corners, spread]))
    return lines[np.concatenate([[True], np.diff(lines) > 1e-6])]


def _largest_block(
    inside: NDArray[np.bool_], dx: NDArray[np.float64], dy: NDArray[np.float64]
) -> tuple[int, int, int, int] | None:
    """Largest run of whole cells: for every pair of columns, the tallest run of rows free in all between."""
    best, spot = 0.0, None
    rows = np.arange(len(dy))
    tops = np.concatenate([[0.0], np.cumsum(dy)])
    for i in range(len(dx)):
        free = np.ones(len(dy), dtype=bool)
        width = 0.0
        for j in range(i, len(dx)):
            free = free & inside[j]
            if not free.any():
                break
            width += dx[j]
            start = np.maximum.accumulate(np.where(free, -1, rows)) + 1
            tall = np.where(free, tops[1:] - tops[start], 0.0)
            k = int(tall.argmax())
            if tall[k] * width > best:
                best, spot = float(tall[k] * width), (i, j + 1, int(start[k]), k + 1)
    return spot


def _grown(region: Polygon, bounds: list[float]) -> Polygon:
    """The rectangle pushed out side by side, as far as it stays in the region."""
    roomy = region.buffer(1e-6)
    shapely.prepare(roomy)
    for side, sign in ((0, -1.0), (2, 1.0), (1, -1.0), (3, 1.0)):
        reach = abs(region.bounds[side] - bounds[side])
        low, high = 0.0, reach
        while high - low > FINE_MM:
            mid = (low + high) / 2
            trial = list(bounds)
            trial[side] += sign * mid
            low, high = (mid, high) if roomy.covers(box(trial[0], trial[1], trial[2], trial[3])) else (low, mid)
        trial = list(bounds)
        trial[side] += sign * reach
        bounds[side] = (
            trial[side] if roomy.covers(box(trial[0], trial[1], trial[2], trial[3])) else bounds[side] + sign * low
        )
    return box(bounds[0], bounds[1], bounds[2], bounds[3])
