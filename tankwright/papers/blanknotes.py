"""What is told of a blank beside its lines: which way round it lies, its ticks, its fittings, its worst places.

Words used here
    taken     shapes on the page where words or strokes stand already, so that other words keep off
    lead      a thin line from words to what they name, where they stand away from it

Sizes are letter heights on the page, mm.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import takewhile
from typing import TYPE_CHECKING, Any

import numpy as np

from .offsets import EIGHTHS, middle_of
from .pdf import circle, line, pen, text, text_width
from .zones import worst_places

if TYPE_CHECKING:
    from .blankface import Face
    from .blankview import View

__all__ = [
    "bend_strokes",
    "draw_ends_inside",
    "draw_ticks",
    "draw_worst",
    "fitting_strokes",
    "free_beside",
    "lead",
    "name_fittings",
    "tick_strokes",
    "trim_strokes",
    "write_inside",
]

WORST_MM = 1.6  # radius of the ring at a worst place, on paper
ARROWS = ("\u2190 {}", "{} \u2192", "\u2193 {}", "\u2191 {}")


def end_words(face: Face) -> list[tuple[int, str]]:
    """What stands at the left, right, lower and upper side of a blank, with an arrow: (0 to 3, words)."""
    return [(k, ARROWS[k].format(word.upper())) for k, word in enumerate(face.ends) if word]


def draw_ends_inside(canvas: Any, face: Face, view: View, size: float, taken: list[Any], metal: Any) -> None:
    """Front, rear, top and the like on the metal, as near to the side they name as there is room off the trim line."""
    off = [*taken, *trim_strokes(face, view)]
    for side, says in end_words(face):
        shares = (0.5, 0.38, 0.62, 0.26, 0.74)
        spots = [(float(far), share, side) for far in np.arange(3.0, 36.0, 4.0) for share in shares]
        if any(write_inside(canvas, says, k * size, spots, off, taken, metal) for k in (1.0, 0.7)):
            off.append(taken[-1])


def trim_strokes(face: Face, view: View) -> list[Any]:
    """The trim lines on the page, a little wider than drawn."""
    from shapely import LineString

    return [LineString(view.points(path.points)).buffer(0.5, quad_segs=1) for _, path in face.trims]


def write_inside(
    canvas: Any,
    says: str,
    size: float,
    spots: Sequence[tuple[float, float, int]],
    off: Sequence[Any],
    taken: list[Any],
    metal: Any,
) -> bool:
    """Words at the first of the spots that is metal and keeps ``off``: so far in from a side (0 left, 1 right, 2 low,
    3 high), at a share of the way across; whether there was one. ``taken`` grows."""
    import shapely

    x0, y0, x1, y1 = metal.bounds
    wide = text_width(says, size, bold=True)
    far, share, side = np.array(spots, dtype=float).T
    x = np.select([side == 0, side == 1], [x0 + far, x1 - far - wide], x0 + share * (x1 - x0) - wide / 2)
    y = np.select([side == 2, side == 3], [y0 + far, y1 - far - size], y0 + share * (y1 - y0) - 0.36 * size)
    rooms = shapely.box(x - 0.8, y - 0.8, x + wide + 0.8, y + size + 0.4)
    avoided = list(off)
    for k in np.flatnonzero(shapely.contains(metal, rooms)).tolist():
        if not shapely.intersects(rooms[k], avoided).any():
            text(canvas, float(x[k]), float(y[k]), says, size, bold=True, paper=True)
            taken.append(rooms[k])
            return True
    return False


def draw_worst(canvas: Any, face: Face, view: View, taken: list[Any]) -> None:
    """A ring with a dot where the blank is stretched most and where it is shrunk most."""
    from shapely.geometry import Point

    if face.blank.flat is None:
        return
    pen(canvas, "register")
    for place in worst_places(face.blank.flat):
        for spot in place.at:
            x, y = view.points(spot).tolist()
            circle(canvas, x, y, WORST_MM)
            circle(canvas, x, y, 0.25)
            taken.append(Point(x, y).buffer(WORST_MM + 0.3, quad_segs=2))


def fitting_strokes(face: Face, view: View) -> list[Any]:
    """The crosses and rings of fittings on the page, a little wider than drawn."""
    from shapely import LineString

    runs = [view.points(run) for mark, runs in face.marks if mark.kind == "fitting" for run in runs]
    return [LineString(run).buffer(0.5, quad_segs=1) for run in runs if len(run) > 1]


def tick_strokes(face: Face, view: View) -> list[Any]:
    """The ticks across the edges on the page, a little wider than drawn."""
    from shapely import LineString

    return [LineString(view.points(tick.ends)).buffer(0.3, quad_segs=1) for tick in face.ticks]


def bend_strokes(face: Face, view: View) -> list[Any]:
    """The lines between which lips bend, on the page, about as wide as drawn."""
    from shapely import LineString

    runs = [view.points(run) for mark, runs in face.marks if mark.kind == "bend" for run in runs]
    return [LineString(run).buffer(0.15, quad_segs=1) for run in runs if len(run) > 1]


def name_fittings(
    canvas: Any, face: Face, view: View, size: float, taken: list[Any], metal: Any, trims: Sequence[Any]
) -> None:
    """Each fitting's name beside its cross or ring; where it stands farther off a line leads to it.

    It keeps off what is cut and off the trim line, which are drawn over it.
    """
    from shapely import STRtree, box, contains

    rims = [metal.exterior, *metal.interiors, *trims]
    for k, (mark, runs) in enumerate(face.marks):
        if mark.kind != "fitting" or not mark.label or not runs:
            continue
        arms = list(takewhile(lambda m: m[0].kind == "fitting" and not m[0].label, face.marks[k + 1 :]))
        every = view.points(np.vstack([*runs, *(run for _, more in arms for run in more)]))
        middle = view.points(middle_of(mark.points, [m.points for m, _ in arms]))
        low, high = every.min(axis=0), every.max(axis=0)
        wide = text_width(mark.label, size)
        far, spots = _beside_fitting(low, high, middle, wide, size)
        rooms = box(spots[:, 0] - 0.5, spots[:, 1] - 0.5, spots[:, 0] + wide + 0.5, spots[:, 1] + size + 0.3)
        bad = 0.5 * (~contains(metal, rooms))
        np.add.at(bad, STRtree([*rims, *taken]).query(rooms, predicate="intersects")[0], 1.0)
        best = int(np.argmin(bad))
        (x, y), room, away = spots[best].tolist(), rooms[best], far[best]
        taken.append(room)
        if away > 2:
            lead(canvas, np.array([x + wide / 2, y + size / 2]), (wide, size), middle)
        text(canvas, x, y, mark.label, size, paper=True)


def _beside_fitting(
    low: np.ndarray, high: np.ndarray, middle: np.ndarray, wide: float, size: float
) -> tuple[np.ndarray, np.ndarray]:
    """How far off (n,), and lower left corners (n, 2), of places for a name about a box on the page, the best first."""
    rows = []
    for far in (1.2, 4.0, 8.0, 13.0, 19.0):
        level = middle[1] - 0.36 * size
        over, under = high[1] + far, low[1] - far - size
        rows += [
            (high[0] + far, level), (low[0] - far - wide, level),
            (middle[0] - wide / 2, over), (middle[0] - wide / 2, under),
            (high[0] + 0.5 * far, high[1] + 0.5 * far), (high[0] + 0.5 * far, low[1] - 0.5 * far - size),
            (low[0] - 0.5 * far - wide, high[1] + 0.5 * far), (low[0] - 0.5 * far - wide, low[1] - 0.5 * far - size),
        ]  # fmt: skip
    return np.repeat([1.2, 4.0, 8.0, 13.0, 19.0], 8), np.array(rows)


def draw_ticks(canvas: Any, face: Face, view: View, size: float, taken: list[Any]) -> None:
    """Ticks across the edges at quarters and halves, lettered at one of their ends or beside them where that is free.

    A half is lettered in any case.
    """
    from shapely import STRtree, box

    pen(canvas, "register")
    for tick in face.ticks:
        line(canvas, *view.points(tick.ends))
    for tick in face.ticks:
        says = f"{tick.edge.letter} {EIGHTHS[round(8 * tick.share)]}"
        feet = _tick_feet(view.points(tick.ends), text_width(says, size), size)
        half = text_width(says, size) / 2
        rooms = box(feet[:, 0] - half, feet[:, 1] - 0.2, feet[:, 0] + half, feet[:, 1] + 0.9 * size)
        free = np.ones(len(feet), dtype=bool)
        free[STRtree(taken).query(rooms, predicate="intersects")[0]] = False
        if free.any() or tick.share == 0.5:
            k = int(np.argmax(free))
            taken.append(rooms[k])
            text(canvas, float(feet[k, 0]), float(feet[k, 1]), says, size, align="middle", paper=True)


def _tick_feet(ends: np.ndarray, wide: float, size: float) -> np.ndarray:
    """Middle feet (10, 2) of places for a tick's words: past its outer end, beside that, past its inner end."""
    away = (ends[0] - ends[1]) / max(1e-9, float(np.hypot(*(ends[0] - ends[1]))))
    side = np.array([-away[1], away[0]])
    reach = np.array([wide / 2, size / 2])
    out, across = 0.5 + np.abs(away) @ reach, 0.6 + np.abs(side) @ reach
    shifts = np.array([0.0, across, -across, across + 5.0, -across - 5.0])[:, None] * side
    return np.concatenate([ends[0] + away * out + shifts, ends[1] - away * out + shifts]) - [0, 0.36 * size]


def free_beside(at: np.ndarray, size: tuple[float, float], taken: Sequence[Any], metal: Any) -> np.ndarray | None:
    """Middle of the nearest room of a size, off the blank, with a free way to a point; None if there is none.

    Neither the room nor the way to the point crosses what is ``taken``.
    """
    import shapely

    half = np.array(size) / 2 + 0.4
    x0, y0, x1, y1 = metal.bounds
    turns = [math.pi / 2 * (-1) ** k + (-1) ** (k // 2) * (k // 4) * math.pi / 8 for k in range(16)]
    way = np.array([[math.cos(turn), math.sin(turn)] for turn in turns])
    middles = (at + np.arange(6.0, 42.0, 4.0)[:, None, None] * way).reshape(-1, 2)
    low, high = middles - half, middles + half
    inside = (low > [x0 - 6, y0 - 12]).all(axis=1) & (high < [x1 + 6, y1 + 12]).all(axis=1)
    rooms = shapely.box(*low.T, *high.T)
    good = np.flatnonzero(inside & ~shapely.intersects(metal, rooms))
    tree = shapely.STRtree(list(taken))
    good = np.setdiff1d(good, good[tree.query(rooms[good], predicate="intersects")[0]])
    leads = shapely.linestrings(np.stack([middles[good], np.broadcast_to(at, (len(good), 2))], axis=1))
    clear = np.setdiff1d(np.arange(len(good)), tree.query(leads, predicate="intersects")[0])
    return middles[good[clear[0]]] if len(clear) else None


def lead(canvas: Any, at: np.ndarray, size: tuple[float, float], to: np.ndarray) -> None:
    """A thin line from the side of words about a middle to what they name."""
    way = to - at
    share = float(np.min((np.array(size) / 2 + 0.5) / np.maximum(np.abs(way), 1e-9)))
    if share < 1:
        pen(canvas, "register")
        line(canvas, at + way * share, to)
