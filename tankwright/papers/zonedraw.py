"""The zones of a blank on a page: plus and minus signs, and each zone's number, mean and worst.

Words used here
    taken     shapes on the page where words or strokes stand already, so that other words keep off
    roomiest  the middle of the largest circle in a shape that keeps off what is taken
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from . import words
from .blanknotes import free_beside, lead
from .blankview import SMALL, Sizes, View, box_at, is_free
from .look import BLUE, RED
from .pdf import lines, pen, text, text_width

if TYPE_CHECKING:
    from .blankface import Face
    from .zones import Zone

__all__ = ["draw_signs", "roomiest", "zone_words"]

SIGN_STEP_MM = 12.5  # spacing of the plus and minus signs that fill zones at full size, on paper
PLACES = 160  # about so many places in a zone are tried for its words
LEADS = 6  # and from so many a line to words beside the blank
LEAST_STEP_MM = 2.0  # and they are no nearer to one another, on paper


def draw_signs(canvas: Any, zone: Zone, view: View) -> None:
    """Plus signs where metal is stretched, minus signs where it is shrunk, larger where it is harder."""
    from shapely import contains_xy

    if zone.kind == "leave":
        return
    full = view.scale > 0.5
    step = (SIGN_STEP_MM if full else 6.0) / view.scale
    x0, y0, x1, y1 = zone.shape.bounds
    xs = np.arange(math.floor(x0 / step), math.ceil(x1 / step) + 1) * step
    ys = np.arange(math.floor(y0 / step), math.ceil(y1 / step) + 1) * step
    grid = np.array([(x + step / 2 * (k % 2), y) for k, y in enumerate(ys) for x in xs])
    inside = grid[contains_xy(zone.shape, grid[:, 0], grid[:, 1])]
    reach = (0.5 + 0.25 * zone.level) * (1.0 if full else 0.7)
    pen(canvas, "rule", RED if zone.kind == "stretch" else BLUE)
    at = view.points(inside)[:, None]
    strokes = [at + np.array([[-reach, 0.0], [reach, 0.0]])]
    if zone.kind == "stretch":
        strokes.append(at + np.array([[0.0, -reach], [0.0, reach]]))
    lines(canvas, np.concatenate(strokes))


def zone_words(
    canvas: Any,
    face: Face,
    number: int,
    zone: Zone,
    view: View,
    sizes: Sizes,
    taken: list[Any],
    metal: Any,
    trims: Sequence[Any],
) -> None:
    """Number, mean and worst of a zone where it is widest and free; on small drawings else beside the blank, led to it.

    Where there is no room at all the number stands alone.
    """
    if zone.kind == "leave":
        return
    colour = RED if zone.kind == "stretch" else BLUE
    off = [*taken, *trims]
    said = _said(face, number, zone)
    spot: np.ndarray | None = None
    x, y, room = roomiest(zone.shape, view, taken, clear=0.3 * _spread(said[0], sizes)[0])
    middle = np.array([x, y])
    for rows in said:
        wide, high = _spread(rows, sizes)
        spot = middle if is_free(_zone_box(middle, wide, high), off) else None
        if spot is None:
            spot = _free_inside(zone, middle, (wide, high), view, off, metal)
        if spot is not None:
            break
    if spot is None and sizes is SMALL:
        rows = said[0]
        wide, high = _spread(rows, sizes)
        for at in (middle, *_spread_over(zone, view)):
            spot = free_beside(at, (wide, high), taken, metal)
            if spot is not None:
                lead(canvas, spot, (wide, high), at)
                break
    if spot is None:
        _zone_number(canvas, number, (x, y), room, colour, sizes, taken)
        return
    top = spot[1] + high / 2
    for row, bold in rows:
        size = sizes.tag if bold else sizes.small
        top -= 1.3 * size
        text(canvas, float(spot[0]), top + 0.3 * size, row, size, bold=bold, align="middle", colour=colour, paper=True)
    taken.append(_zone_box(spot, wide, high))


def _said(face: Face, number: int, zone: Zone) -> list[list[tuple[str, bool]]]:
    """What is said of a zone: rows of words, bold or not; the wider way first."""
    word = "STRETCH +" if zone.kind == "stretch" else "SHRINK \u2212"
    mean = f"mean {words.percent(abs(zone.mean))}"
    worst = f"worst {words.percent(abs(zone.worst))}"
    hard = words.difficulty(abs(zone.worst), _limits(face))
    return [
        [(f"{number} {word} {mean}", True), (f"{worst}, {hard}", False)],
        [(f"{number} {word}", True), (mean, True), (worst, False), (hard, False)],
    ]


def _spread(rows: Sequence[tuple[str, bool]], sizes: Sizes) -> tuple[float, float]:
    """Width and height of rows of words on the page."""
    wide = max(text_width(row, sizes.tag if bold else sizes.small, bold=bold) for row, bold in rows)
    return wide, 1.3 * sum(sizes.tag if bold else sizes.small for _, bold in rows)


def _free_inside(
    zone: Zone, near: np.ndarray, room: tuple[float, float], view: View, off: Sequence[Any], metal: Any
) -> np.ndarray | None:
    """The middle nearest to a point on the page about which a zone's words stand in it, clear of what is ``off``."""
    import shapely

    middles = _points_in(zone, view)
    if not len(middles):
        return None
    middles = middles[np.argsort(np.hypot(*(middles - near).T).round(3), kind="stable")]
    first = shapely.get_coordinates(_zone_box(middles[0], *room))[:4]
    boxes = shapely.polygons(first + (middles - middles[0])[:, None])
    held = np.ones(len(boxes), dtype=bool)
    held[np.unique(shapely.STRtree(off).query(boxes, predicate="intersects")[0])] = False
    found = np.flatnonzero(held)
    inside = found[shapely.contains(metal, boxes[found])]
    return middles[inside[0]] if len(inside) else None


def _points_in(zone: Zone, view: View) -> np.ndarray:
    """Points (n, 2) all over a zone, on the page."""
    import shapely

    x0, y0, x1, y1 = zone.shape.bounds
    step = max(math.sqrt((x1 - x0) * (y1 - y0) / PLACES), LEAST_STEP_MM / view.scale)
    xs, ys = np.arange(x0 + step / 2, x1, step), np.arange(y0 + step / 2, y1, step)
    grid = np.array(np.meshgrid(xs, ys)).reshape(2, -1).T
    return view.points(grid[shapely.contains_xy(zone.shape, *grid.T)])


def _spread_over(zone: Zone, view: View) -> np.ndarray:
    """A few of them, from all over it."""
    points = _points_in(zone, view)
    return points[:: max(1, len(points) // LEADS)]


def _zone_box(middle: np.ndarray, wide: float, high: float) -> Any:
    return box_at(middle - [wide / 2, high / 2], wide, high + 0.3, 0.0)


def _zone_number(
    canvas: Any, number: int, at: tuple[float, float], room: float, colour: Any, sizes: Sizes, taken: list[Any]
) -> None:
    """A zone's number alone, where the zone is widest: the table has the rest."""
    size = min(sizes.tag, max(1.6, 1.4 * room))
    x, y = at[0], at[1] - 0.36 * size
    text(canvas, x, y, str(number), size, bold=True, align="middle", colour=colour, paper=True)
    taken.append(box_at(np.array([x - 0.5 * size, y]), size, 1.2 * size, 0.0))


def _limits(face: Face) -> tuple[float, float, float]:
    return words.difficulty_limits(face.work.job)


def roomiest(shape: Any, view: View, taken: Sequence[Any], clear: float) -> tuple[float, float, float]:
    """Middle and radius on the page of the largest circle in a shape of the blank that keeps off what is taken."""
    from shapely import STRtree, affinity, box, buffer, maximum_inscribed_circle, union_all

    k = view.scale
    free: Any = affinity.affine_transform(shape, [k, 0, 0, k, *view.shift])
    low, high = np.array(free.bounds).reshape(2, 2)
    near = [taken[n] for n in sorted(STRtree(taken).query(box(*(low - clear), *(high + clear))).tolist())]
    if near:
        for reach in (clear, 0.0):
            less = free.difference(union_all(buffer(near, reach, quad_segs=2)))
            if not less.is_empty and less.area > 4:
                free = less
                break
    circle: Any = maximum_inscribed_circle(free, tolerance=0.5)
    x, y = circle.coords[0]
    return float(x), float(y), float(circle.length)
