"""A blank's name on a page, with hand, quantity, metal, face and grain: on the metal, or beside a small piece.

Words used here
    taken     shapes on the page where words or strokes stand already, so that other words keep off
    beside    off the metal, with a line that leads to it
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

import numpy as np

from . import words
from .blankface import Face, named
from .blanknotes import lead, write_inside
from .blankview import FULL, SMALL, Sizes, View, box_at, is_free
from .pdf import fit_size, line, pen, text, text_width
from .zonedraw import roomiest

__all__ = ["double_arrow", "write_name"]

LEAST_MM = 1.6  # words about a blank that come out smaller than this are left to the page
LEAST_NAME_MM = 2.2  # and its name is not written smaller than this on the metal
IN_MM = 1.5  # how far in from the edge the line ends that leads from a name beside a blank


def write_name(
    canvas: Any, face: Face, view: View, sizes: Sizes, taken: list[Any], metal: Any, trims: Sequence[Any]
) -> None:
    """Name, hand, quantity, metal, face and grain, where there is most room clear of folds and tags.

    A piece too small for that has its name alone, or beside it.
    """
    from shapely import LineString

    blank, title = face.blank, named(face.work, face.blank.name)
    bends = [runs for _, runs, _ in face.folds] + [runs for mark, runs in face.marks if mark.kind == "bend"]
    folds = [LineString(view.points(run)).buffer(1.5) for runs in bends for run in runs]
    shape = blank.net if not blank.net.is_empty else blank.outline
    x, y, room = roomiest(shape, view, [*taken, *folds], clear=1.5)
    grain = "grain: any way" if blank.grain_deg is None else "grain"
    face_words = "good face up (outside of the tank)"
    if fit_size(face_words, 1.9 * room, sizes.tag, least=0.1) < 0.8 * sizes.small:
        face_words = "good face up"
    rows = [
        (title, sizes.name, True),
        (f"{words.hand(blank)}, qty 1", sizes.tag, False),
        (words.metal_words(face.work.job, blank.thickness, blank.metal), sizes.tag, False),
        (face_words, sizes.tag, False),
        (grain, sizes.tag, False),
    ]
    total = sum(1.35 * size for _, size, _ in rows)
    shrink = min(1.0, 1.7 * room / (total + 6))
    tight = sizes is FULL and shrink * sizes.tag < LEAST_MM
    if sizes is SMALL and shrink * sizes.tag < 1.5:  # the head of the page says the rest
        rows = [rows[0], rows[-1]]
        total = sum(1.35 * size for _, size, _ in rows)
        shrink = min(1.0, 1.7 * room / (total + 2))
    if tight or fit_size(title, 1.9 * room, sizes.name * shrink, bold=True, least=0.1) < LEAST_NAME_MM:
        off = [*taken, *trims]
        if blank.grain_deg is None and _name_alone(canvas, title, off, taken, metal):
            return
        if _name_beside(canvas, face, sizes, taken, metal):
            return
    y += total * shrink / 2
    top = y
    wide = 0.0
    for row, size, bold in rows:
        small = fit_size(row, 1.9 * room, size * shrink, bold=bold, least=1.2)
        y -= 1.35 * small
        wide = max(wide, text_width(row, small, bold=bold))
        text(canvas, x, y, row, small, bold=bold, align="middle", paper=True)
    if blank.grain_deg is not None:
        half = max(6.0, min(40.0, 0.8 * room))
        turn = math.radians(blank.grain_deg)
        along = np.array([math.cos(turn), math.sin(turn)])
        middle = np.array([x, y - 2.5])
        if abs(along[1]) > 0.2:  # an arrow that stands goes beside the words, at the side that is free
            half = max(6.0, min(half, (top - y) / 2 + 4))
            beside = [np.array([x + side * (wide / 2 + 4.0), (top + y) / 2]) for side in (1, -1)]
            arrows = [LineString([m - along * half, m + along * half]).buffer(1.2) for m in beside]
            middle = beside[0] if is_free(arrows[0], taken) or not is_free(arrows[1], taken) else beside[1]
        double_arrow(canvas, middle, blank.grain_deg, half)
        taken.append(LineString([middle - along * half, middle + along * half]).buffer(1.2))
        y -= 4.0
    taken.append(box_at(np.array([x - wide / 2, y]), wide, top - y, 0.0))


def _name_alone(canvas: Any, says: str, off: Sequence[Any], taken: list[Any], metal: Any) -> bool:
    """The name in one line on a piece too narrow for more; the page says the rest."""
    high = metal.bounds[3] - metal.bounds[1]
    shares = (0.5, 0.4, 0.6, 0.3, 0.7, 0.2, 0.8)
    spots = [(far * high, share, 2) for far in (0.5, 0.3, 0.65, 0.2, 0.8) for share in shares]
    return any(write_inside(canvas, says, size, spots, off, taken, metal) for size in (3.4, 2.8, 2.4))


def _name_beside(canvas: Any, face: Face, sizes: Sizes, taken: list[Any], metal: Any) -> bool:
    """Name, face and grain off the metal of a small piece, where that is free, and a line that leads to it."""
    import shapely

    blank, title = face.blank, named(face.work, face.blank.name)
    size, small = 1.15 * sizes.tag, sizes.small
    below = "good face up; grain: any way" if blank.grain_deg is None else "good face up; grain"
    arrow = 0.0 if blank.grain_deg is None else 12.0
    wide = max(text_width(title, size, bold=True), text_width(below, small) + arrow)
    high = 1.35 * (size + small)
    x0, y0, x1, y1 = metal.bounds
    half = np.array([wide, high]) / 2
    along, up = np.linspace(x0, x1, 9), np.linspace(y0, y1, 9)
    order = [4, 3, 5, 2, 6, 1, 7, 0, 8]
    middles = np.array(
        [
            spot
            for far in (3.0, 6.0, 10.0, 14.0)
            for spot in (
                *((x1 + far + 2 + half[0], up[k]) for k in order),
                *((along[k], y0 - far - half[1]) for k in order),
                *((along[k], y1 + far + half[1]) for k in order),
                *((x0 - far - 2 - half[0], up[k]) for k in order),
            )
        ]
    )
    boxes = np.asarray(shapely.box(*(middles - half - 0.6).T, *(middles + half + 0.6).T))
    rim = metal.exterior
    ends = shapely.line_interpolate_point(rim, shapely.line_locate_point(rim, shapely.points(middles)))
    to = shapely.get_coordinates(ends)
    leads = shapely.linestrings(np.stack([middles, to], axis=1))
    held = shapely.STRtree([metal, *taken])
    bad = np.zeros(len(boxes), dtype=bool)
    bad[held.query(boxes, predicate="intersects")[0]] = True
    bad[shapely.STRtree(taken).query(leads, predicate="intersects")[0]] = True
    if bad.all():
        return False
    k = int(np.argmin(bad))
    x, y = (middles[k] - half).tolist()
    inward = to[k] - middles[k]
    lead(canvas, middles[k], (wide, high), to[k] + inward * IN_MM / max(1e-9, float(np.hypot(*inward))))
    text(canvas, x, y + 1.35 * small + 0.3, title, size, bold=True, paper=True)
    text(canvas, x, y + 0.3, below, small, paper=True)
    if blank.grain_deg is not None:
        double_arrow(canvas, np.array([x + text_width(below, small) + 6.0, y + 0.4 * small]), blank.grain_deg, 4.5)
    taken.append(boxes[k])
    return True


def double_arrow(canvas: Any, middle: np.ndarray, degrees: float, half: float) -> None:
    """A line with a head at both ends, so long to each side of its middle."""
    pen(canvas, "fitting")
    turn = math.radians(degrees)
    along = np.array([math.cos(turn), math.sin(turn)])
    a, b = middle - along * half, middle + along * half
    side = np.array([-along[1], along[0]])
    line(canvas, a, b)
    for end, way in ((a, 1.0), (b, -1.0)):
        line(canvas, end + way * along * 3 + side, end, end + way * along * 3 - side)
