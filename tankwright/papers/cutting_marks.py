"""Where the single-stroke letters of a blank go: its number and name in its middle, seam letters along its edges.

Words used here
    sign      a line of words in single strokes, about its middle
    label     the signs of number and name; lines drawn on the blank are broken where it stands
    free      metal on which a label covers nothing: inside the trim line, away from folds, centre lines and fittings
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from .cutting_items import Line
from .outline import Path
from .strokes import stroke_width, strokes

if TYPE_CHECKING:
    from shapely.geometry import LineString, Polygon
    from shapely.geometry.base import BaseGeometry

    from panels.blank import Blank, Edge

__all__ = [
    "Label",
    "Sign",
    "find_label",
    "label_signs",
    "marks_box",
    "seam_signs",
    "sign_lines",
    "signs_room",
    "upright",
]

#: Room kept round a label and round a seam letter, mm.
CLEAR_MM = 1.5
#: Letters are tried from the largest down, mm: read at arm's length, and not lost in a wide kerf.
LABEL_MM = (8.0, 6.5, 5.0, 4.0, 3.0)
SEAM_MM = (5.0, 3.5, 2.5)
#: How a letter is tried that finds no room so: letters, how much farther in, room round it, all mm.
TIGHT = (
    ((2.5, 2.0, 1.6), (0.0, 1.0, 2.0), 0.4),
    ((3.5, 2.5), (3.0, 6.0, 9.0, 12.0, 15.0), CLEAR_MM),
    ((2.5, 2.0, 1.6), (3.0, 6.0, 9.0, 12.0, 15.0), 0.4),
)
#: Edges as short as this, mm, have their letters first, all of them close by if smaller letters help.
SHORT_MM = 30.0
#: Where a seam letter may stand along its edge, the best first, shares of its length: the middle is mostly free.
SHARES = ((0.5,), (0.42, 0.58, 0.34, 0.66, 0.26, 0.74, 0.18, 0.82))
#: Height of the words below a label at most, mm, and how far down they reach with it, heights.
SMALL_MM, BELOW = 4.0, 1.8
#: Distance from line to line of a label, heights.
PITCH = 1.7
#: Share of a unit step to the right under which a direction counts as upright: lines that lean a little read alike.
STEEP = 0.15
#: Lines that a label may break: there are many of them and each is drawn again either side.
BREAKABLE = ("station", "grid")


@dataclass(frozen=True)
class Sign:
    """Words in single strokes about a point (2,), along a direction (2,) of the blank's frame; height in mm."""

    text: str
    middle: np.ndarray
    along: np.ndarray
    height: float


@dataclass(frozen=True)
class Label:
    """The lines of a label from the top, about ``spot``; ``box`` is what they take. No lines: no room for any."""

    lines: tuple[str, ...]
    spot: np.ndarray
    along: np.ndarray
    height: float
    box: Polygon
    room: float  # free round the spot, mm

    @property
    def size(self) -> tuple[float, float]:
        """Width along it and height across it, mm."""
        return max((stroke_width(row, self.height) for row in self.lines), default=0.0), _deep(
            len(self.lines), self.height
        )


def upright(along: np.ndarray) -> np.ndarray:
    """The direction or its opposite, whichever words are read along: to the right, near upright from below."""
    x, y = along.tolist()
    return along if x > STEEP or (abs(x) <= STEEP and y > 0) else -along


def sign_lines(sign: Sign) -> list[Line]:
    """The strokes of a sign, read along its direction, on the layer for marks."""
    along = upright(sign.along)
    matrix = np.column_stack([along, [-along[1], along[0]]])
    corner = np.array([stroke_width(sign.text, sign.height), sign.height]) / 2
    lines = []
    for stroke in strokes(sign.text, sign.height):
        points = (stroke - corner) @ matrix.T + sign.middle
        closed = bool((stroke[0] == stroke[-1]).all())
        points = points[:-1] if closed else points
        lines.append(Line("mark", Path(points, np.zeros(len(points)), closed)))
    return lines


def find_label(blank: Blank, words: str) -> Label:
    """The largest letters for ``words``, in one line or two, that find free metal in the blank's middle.

    About the widest spot, else about its middle: a strip is as wide at its end. Where there is none, their first, the
    piece's number.
    """
    from shapely import LineString, MultiLineString, Point, maximum_inscribed_circle, prepare

    free: BaseGeometry = blank.net.intersection(blank.outline)  # inside the trim line, outside the holes
    lines = [LineString([fold.start, fold.end]) for fold in blank.folds]
    lines += [LineString(m.points) for m in blank.marks if m.kind not in BREAKABLE and len(m.points) > 1]
    if lines:
        cleared = free.difference(MultiLineString(lines).buffer(4.0, quad_segs=2))
        free = free if cleared.is_empty else cleared
    circle: Any = maximum_inscribed_circle(free, tolerance=1.0)  # type: ignore[call-overload]
    widest = np.array(circle.coords[0]), float(circle.length)
    prepare(free)
    ways = (np.array([1.0, 0.0]), _longest_way(blank.outline))
    whole, number = _in_rows(words), [(words.split()[0],)] if words else []
    centre = np.array(free.centroid.coords[0])
    tries = [(*widest, whole)]
    if free.contains(Point(centre)):
        tries.append((centre, float(free.boundary.distance(Point(centre))), whole))
    for spot, room, said, below in [(*t, b) for t in tries for b in (True, False)] + [(*widest, number, False)]:
        extra = 2 * BELOW * min(SMALL_MM, room / 4) if below else 0.0  # for the words below it, whichever side that is
        for height in LABEL_MM:
            for rows in said:
                for along in ways:
                    wide, deep = max(stroke_width(row, height) for row in rows), _deep(len(rows), height)
                    if free.covers(marks_box(spot, along, wide, deep + extra)):
                        return Label(rows, spot, along, height, marks_box(spot, along, wide, deep), room)
    return Label((), widest[0], ways[1], 0.0, marks_box(widest[0], ways[1], 0.0, 0.0), widest[1])


def signs_room(signs: Sequence[Sign]) -> BaseGeometry:
    """Where signs stand."""
    from shapely import MultiPolygon

    return MultiPolygon([marks_box(s.middle, s.along, stroke_width(s.text, s.height), s.height) for s in signs])


def label_signs(label: Label, spot: np.ndarray, along: np.ndarray) -> list[Sign]:
    """The label as signs about a place, read along a direction."""
    along = upright(along)
    up = np.array([-along[1], along[0]])
    first = (len(label.lines) - 1) / 2
    return [
        Sign(text, spot + up * (first - k) * PITCH * label.height, along, label.height)
        for k, text in enumerate(label.lines)
    ]


def seam_signs(blank: Blank, metal: BaseGeometry, busy: BaseGeometry) -> list[Sign]:
    """The letter of every seam beside the middle of its edge, on ``metal``, clear of what is ``busy``.

    In the metal that is trimmed away where that is wide enough, else inside the trim line; where neither has room
    smaller, closer to what stands there, or farther in, but never nearer to another lettered edge than to its own.
    """
    from shapely import LineString, prepare

    prepare([metal, busy])
    edges = [edge for edge in blank.edges if edge.letter]
    rims = [LineString(edge.points) for edge in edges]
    short = [k for k, edge in enumerate(edges) if edge.length_blank <= SHORT_MM]
    found: dict[int, tuple[Sign, Polygon]] = {}
    for cap in range(len(SEAM_MM)):
        placed = _signs(blank, edges, rims, short, metal, [busy], SEAM_MM[cap:])
        found = found if len(found) > len(placed) else placed
        if len(placed) == len(short):
            break
    tight = [*(k for k in short if k not in found), *(k for k in range(len(edges)) if k not in short)]
    taken = [busy, *(box for _, box in found.values())]
    found |= _signs(blank, edges, rims, tight, metal, taken, SEAM_MM, TIGHT)
    return [found[k][0] for k in sorted(found)]


def _signs(
    blank: Blank,
    edges: Sequence[Edge],
    rims: Sequence[LineString],
    which: Sequence[int],
    metal: BaseGeometry,
    taken: Sequence[BaseGeometry],
    heights: Sequence[float],
    tight: Sequence[tuple[tuple[float, ...], tuple[float, ...], float]] = (),
) -> dict[int, tuple[Sign, Polygon]]:
    """Letters of those edges that have a place, one after another, with what they take."""
    found: dict[int, tuple[Sign, Polygon]] = {}
    for k in which:
        others = [rim for j, rim in enumerate(rims) if j != k]
        boxes = [*taken, *(box for _, box in found.values())]
        sign = _seam_sign(edges[k], blank.net, metal, boxes, heights, tight, (rims[k], others))
        if sign is not None:
            found[k] = sign
    return found


def _seam_sign(
    edge: Edge,
    net: Polygon,
    metal: BaseGeometry,
    taken: Sequence[BaseGeometry],
    heights: Sequence[float],
    tight: Sequence[tuple[tuple[float, ...], tuple[float, ...], float]],
    rims: tuple[LineString, Sequence[LineString]],
) -> tuple[Sign, Polygon] | None:
    """The largest letter that finds a place, nearest the edge's middle, in its trim before inside it.

    ``rims``: the edge's own line, and those of others.
    """
    from .blankface import along_edge

    places: dict[tuple[float, ...], tuple[np.ndarray, np.ndarray, np.ndarray]] = {}

    def at(shares: tuple[float, ...]) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        if shares not in places:
            points, ways, inward = (np.array(p) for p in zip(*(along_edge(edge, net, s) for s in shares), strict=True))
            places[shares] = points, ways, inward
        return places[shares]

    for height in heights:
        offs = np.array([-edge.allowance / 2, CLEAR_MM + height / 2, 2 * CLEAR_MM + height / 2 + 1.0])
        for shares in SHARES:
            found = _first_free(edge.letter, height, *at(shares), offs, metal, taken, CLEAR_MM, None)
            if found is not None:
                return found
    for smaller, farther, clear in tight:
        for height in smaller:
            offs = clear + height / 2 + np.array(farther)
            for shares in SHARES:
                found = _first_free(edge.letter, height, *at(shares), offs, metal, taken, clear, rims)
                if found is not None:
                    return found
    return None


def _first_free(
    letter: str,
    height: float,
    at: np.ndarray,
    along: np.ndarray,
    inward: np.ndarray,
    offs: np.ndarray,
    metal: BaseGeometry,
    taken: Sequence[BaseGeometry],
    clear: float,
    rims: tuple[LineString, Sequence[LineString]] | None,
) -> tuple[Sign, Polygon] | None:
    """The first place so far off points on an edge where a letter stands on metal, clear of what is taken.

    With ``rims``: nearer to its own line than to any other.
    """
    from shapely import contains_xy, covers, distance, intersects, points

    wide = stroke_width(letter, height)
    middles = (at[:, None] + inward[:, None] * offs[:, None]).reshape(-1, 2)
    ways = np.repeat(along, len(offs), axis=0)
    tight = _boxes(middles, ways, wide, height, 0.0)
    on = np.flatnonzero(contains_xy(metal, *tight.reshape(-1, 2).T).reshape(-1, 4).all(axis=1))
    on = on[covers(metal, _polygons(tight[on]))]
    boxes = _polygons(_boxes(middles[on], ways[on], wide, height, clear))
    free = np.flatnonzero(~intersects(np.array(taken)[:, None], boxes[None]).any(axis=0))
    if rims is not None and rims[1] and len(free):
        at_box = points(middles[on[free]])
        free = free[distance(rims[0], at_box) < distance(np.array(rims[1])[:, None], at_box[None]).min(axis=0)]
    if not len(free):
        return None
    k = on[free[0]]
    return Sign(letter, middles[k], ways[k], height), boxes[free[0]]


def _boxes(middles: np.ndarray, along: np.ndarray, wide: float, deep: float, clear: float) -> np.ndarray:
    """Corners (k, 4, 2) of rectangles about middles (k, 2), along directions (k, 2), with some room round each."""
    x = along * (wide / 2 + clear)
    y = np.column_stack([-along[:, 1], along[:, 0]]) * (deep / 2 + clear)
    return np.stack([middles - x - y, middles + x - y, middles + x + y, middles - x + y], axis=1)


def _polygons(corners: np.ndarray) -> np.ndarray:
    from shapely import polygons

    return np.asarray(polygons(corners))


def _in_rows(words: str) -> list[tuple[str, ...]]:
    """The words in one line, and in the two lines that are most alike in length.

    No second line begins with a figure: it would be read for the number of the piece.
    """
    parts = words.split()
    breaks = [k for k in range(1, len(parts)) if not parts[k][0].isdigit()]
    splits = [(" ".join(parts[:k]), " ".join(parts[k:])) for k in breaks]
    two = min(splits, key=lambda rows: max(map(len, rows)), default=None)
    return [(words,), *([two] if two else [])]


def _deep(rows: int, height: float) -> float:
    return height * (1 + PITCH * (rows - 1))


def marks_box(middle: np.ndarray, along: np.ndarray, wide: float, deep: float, clear: float = CLEAR_MM) -> Polygon:
    """A rectangle with some room round it."""
    from shapely import Polygon

    x = along * (wide / 2 + clear)
    y = np.array([-along[1], along[0]]) * (deep / 2 + clear)
    return Polygon([middle - x - y, middle + x - y, middle + x + y, middle - x + y])


def _longest_way(outline: Polygon) -> np.ndarray:
    """Direction of the longer side of the smallest rectangle round an outline."""
    from shapely import oriented_envelope

    box: Any = oriented_envelope(outline)
    corners = np.asarray(box.exterior.coords)
    sides = np.diff(corners[:3], axis=0)
    length = np.hypot(*sides.T)
    side: Sequence[float] = sides[int(np.argmax(length))] / length.max()
    return upright(np.asarray(side))
