"""How a rolled piece bends, on the papers: lines along the rolls, words in each zone, and a table beside the drawing.

Words used here
    roll line   where a bend begins or ends: it is laid along the rolls, or along the bar that the metal is bent over
    zone        what lies between two roll lines, one radius; flat ones have no number
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

import numpy as np

from . import words
from .look import BLUE, PENCIL, SIZES
from .pdf import LINE_SPACING, line, paragraph, pen, table, table_height, text, text_width, wrap
from .rollwords import (
    bend_words,
    hollow_words,
    kind_word,
    numbered,
    plain_radius,
    radius_words,
    roll_advice,
    roll_lines,
    roll_sentences,
    where_words,
)

if TYPE_CHECKING:
    from panels.blank import Roll

    from .blankface import Face
    from .blankview import Sizes, View

__all__ = ["draw_rolls", "roll_facts", "roll_table", "roll_table_height"]

#: An arc that leaves the piece by more than this says so, mm.
SAYS_MISS_MM = 0.35
LEAST_MM = 2.0  # letters, where a zone has no room for larger ones
#: Where words are tried in a zone: shares of the way from its first line to its last, and up its lines.
SPOTS = np.array([(along, up) for up in (0.5, 0.72, 0.28, 0.85, 0.15) for along in (0.5, 0.35, 0.65, 0.2, 0.8)])
ALONG = np.array([[0.5], [0.3], [0.7], [0.15], [0.85]])  # and up a line
WIDTHS = (9.0, 22.0, 22.0, 30.0, 15.0, 15.0)


def _rows(face: Face) -> list[list[str]]:
    rows = [["roll", "from", "to", "inside radius", "turn", "hollow"]]
    x0, y0, _, _ = face.blank.outline.bounds
    unit = face.work.job.unit
    for number, roll in numbered(face.blank):
        radius = radius_words(roll, unit) + (" bend" if roll.kind == "bend" else "")
        if roll.miss > SAYS_MISS_MM:
            radius += f", within {words.fixed(roll.miss)} mm"
        where = [where_words(ends - [x0, y0], unit) for ends in (roll.start, roll.end)]
        rows.append([number or "\u2013", *where, radius, bend_words(roll), hollow_words(roll)])
    return rows


NOTE = (
    "Up: towards the good face, which lies up. Radius to the inside of the metal; where it changes, also at from and "
    "at to. Hollow: depth under a straight edge of 200, 100 or 50. "
)


def roll_facts(face: Face) -> list[tuple[str, str]]:
    """Each bend in a line, for the page of a template that has its facts: (``roll 1``, where, radius, turn)."""
    return roll_sentences(face.blank, face.work.job.unit)


def roll_table_height(face: Face) -> float:
    """Room that `roll_table` takes, mm; none for a piece that is not rolled."""
    if not face.blank.rolls:
        return 0.0
    lines = wrap(NOTE + roll_advice(face.blank), sum(WIDTHS), SIZES["fine"])
    return table_height(WIDTHS, _rows(face), SIZES["fine"]) + len(lines) * SIZES["fine"] * LINE_SPACING + 4.0


def roll_table(canvas: Any, face: Face, x: float, y: float) -> float:
    """The zones of a rolled piece in figures, top at y; the y of its foot."""
    if not face.blank.rolls:
        return y
    y = table(canvas, x, y, WIDTHS, _rows(face), SIZES["fine"])
    return paragraph(canvas, x, y - 1.0, NOTE + roll_advice(face.blank), sum(WIDTHS), SIZES["fine"], colour=PENCIL)


def draw_rolls(canvas: Any, face: Face, view: View, sizes: Sizes, taken: list[Any]) -> None:
    """Roll lines across the blank, and in each zone its radius, turn and way; words that follow keep off."""
    from shapely import LineString, affinity, prepare

    if not face.blank.rolls:
        return
    net = affinity.affine_transform(face.blank.net, [view.scale, 0, 0, view.scale, *view.shift])
    prepare(net)
    pen(canvas, "roll", BLUE)
    for ends in roll_lines(face.blank):
        line(canvas, *view.points(ends))
    taken += [LineString(view.points(ends)) for ends in roll_lines(face.blank)]
    for number, roll in numbered(face.blank):
        _zone(canvas, face, number, roll, view, sizes, taken, net)
    if view.scale > 0.99 and sizes.name > 5:  # at full size each line says what begins or ends there
        for number, roll in numbered(face.blank):
            _line_words(canvas, number, roll, view, sizes, taken, net)


def _said(number: str, roll: Roll, unit: str) -> list[list[str]]:
    """What a zone may say, longest first, as lines."""
    if not number:
        return [["flat"]]
    arrow = "\u2191 UP" if roll.up else "\u2193 DOWN"
    way = f"{words.fixed(roll.angle)}\u00b0 {arrow}"
    radius = f"inside R {radius_words(roll, unit)}"
    kind = kind_word(roll)
    short = f"R {plain_radius(roll.radius, unit)}"
    return [
        [f"{kind} {number}: {radius}, {way}"],
        [f"{kind} {number}: {radius}", way],
        [f"{kind} {number}", short, way],
    ]


def _zone(
    canvas: Any, face: Face, number: str, roll: Roll, view: View, sizes: Sizes, taken: list[Any], net: Any
) -> None:
    """Words in a zone, level or along its lines, as much as there is free room for inside the trim line."""
    from shapely import Polygon, prepare

    corners = view.points(np.vstack([roll.start, roll.end[::-1]]))
    inside = Polygon(corners).convex_hull.intersection(net)
    if inside.is_empty:
        return
    prepare(inside)
    share, up = SPOTS[:, :1], SPOTS[:, 1:]
    low, high = corners[0] + share * (corners[3] - corners[0]), corners[1] + share * (corners[2] - corners[1])
    spots = low + up * (high - low)
    tries = [(said, turn) for turn in _turns(roll, view) for said in _said(number, roll, face.work.job.unit)]
    if number:
        tries.append(([number], 0.0))
    for said, turn in tries:
        reach = np.ptp(corners @ _axes(turn).T, axis=0)
        for size in dict.fromkeys((sizes.tag, sizes.small, LEAST_MM)):
            room = _span(said, size), size * 1.3 * len(said)
            if room[0] > reach[0] or room[1] > reach[1]:
                continue
            found = _first_free(spots, room, turn, inside, taken)
            if found is not None:
                _write(canvas, said, size, turn, spots[found], BLUE if number else PENCIL)
                return


def _turns(roll: Roll, view: View) -> list[float]:
    """Ways that words in a zone may run, degrees: level, then along its lines."""
    along = roll.start[1] - roll.start[0]
    turn = math.degrees(math.atan2(along[1], along[0]))
    turn = turn - 180 if turn > 90.01 else turn + 180 if turn <= -89.99 else turn
    return [0.0] if abs(turn) < 1 else [0.0, turn]


def _axes(turn: float) -> np.ndarray:
    """Unit vectors (2, 2) along words turned by degrees, and above them."""
    c, s = math.cos(math.radians(turn)), math.sin(math.radians(turn))
    return np.array([[c, s], [-s, c]])


def _span(said: list[str], size: float) -> float:
    return max(text_width(row, size, bold=True) for row in said)


def _first_free(
    middles: np.ndarray, room: tuple[float, float], turn: float, inside: Any, taken: list[Any]
) -> int | None:
    """The first of the places (n, 2) where words of a size go inside a shape and off what is taken: now taken too."""
    from shapely import contains, intersects, polygons

    axes = _axes(turn) * [[room[0] / 2 + 0.6], [room[1] / 2 + 0.2]]
    boxes = polygons(middles[:, None] + np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]]) @ axes)
    for k in np.flatnonzero(contains(inside, boxes)):
        if not intersects(taken, boxes[k]).any():
            taken.append(boxes[k])
            return int(k)
    return None


def _write(canvas: Any, said: list[str], size: float, turn: float, middle: np.ndarray, colour: Any) -> None:
    for k, row in enumerate(said):
        off = (len(said) / 2 - k - 1) * 1.3 * size + 0.3 * size
        x, y = middle + _axes(turn)[1] * off
        text(canvas, float(x), float(y), row, size, turn=turn, bold=True, align="middle", colour=colour, paper=True)


def _line_words(canvas: Any, number: str, roll: Roll, view: View, sizes: Sizes, taken: list[Any], net: Any) -> None:
    """``roll 2 from here`` and ``roll 2 to here`` along the lines of a bend, on its own side of them."""
    if not number:
        return
    turn = _turns(roll, view)[-1]
    up = _axes(turn)[1]
    for ends, other, says in ((roll.start, roll.end, "from here"), (roll.end, roll.start, "to here")):
        a, b = view.points(ends)
        side = up * math.copysign(1.0, float(up @ (view.points(other).mean(axis=0) - (a + b) / 2)))
        for said, size in ((f"{kind_word(roll)} {number} {says}", sizes.small), (says, sizes.small), (says, LEAST_MM)):
            middles = a + ALONG * (b - a) + side * (0.65 * size + 0.8)
            room = _span([said], size), 1.3 * size
            found = _first_free(middles, room, turn, net, taken) if room[0] < np.hypot(*(b - a)) else None
            if found is not None:
                _write(canvas, [said], size, turn, middles[found], BLUE)
                break
