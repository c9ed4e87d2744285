"""A blank in figures on a page: offsets, corners, ticks, curves of standing edges, holes, stations.

Words used here
    point row   a point with its place on the cut line and on the trim line, where it has one
    line row    a line on the blank with the places of its two ends
    more        rows for which the first page has no room; they fill a page of their own
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import takewhile
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np

from panels.ledge import LEDGE

from . import words
from .blankdraw import draw_cuts
from .blankface import Face, along_edge, named
from .blankview import View
from .cutting_words import figure
from .drawingpage import FLOOR, LEFT, LIVE, RIGHT, page_title
from .look import PENCIL, SIZES
from .offsets import EIGHTHS, bend_heights, bend_point, cut_over, holes, middle_of, of_outline, standing_edges, stations
from .pdf import LINE_SPACING, Sheet, line, paragraph, pen, table, text, wrap

if TYPE_CHECKING:
    from .offsets import Place, Station

__all__ = ["Parted", "figures_page", "more_page", "parted"]

ROW_MM = 2.0 * LINE_SPACING + 0.6  # a row of a table in fine letters
SAYS = (
    "Draw the base line with a straight edge and mark 0 at its left end. Square up from it at each distance along, "
    "and mark off each pair: metal from the first figure to the second. Join with a batten; corners and ticks stand "
    "by themselves, as points. The cut line has trim and seam allowances on it; the trim line is net{lap}.{lips} "
    "Ticks \u00bc \u00bd \u00be part a seam from its front end, or from its top, or from the left: the same end on "
    "both "
    "pieces."
)

POINT_SHARES = (0.38, 0.31, 0.31)
LINE_SHARES = (0.24, 0.38, 0.38)

Rows = list[list[str]]


def _tables(face: Face) -> tuple[Rows, Rows]:
    """Point rows and line rows, without heads."""
    unit = face.work.job.unit
    x0, y0, _, _ = face.blank.outline.bounds

    def at(place: Sequence[float] | np.ndarray | None) -> str:
        return "" if place is None else f"{figure(float(place[0]), unit)}, {figure(float(place[1]), unit)}"

    points: Rows = []
    for k, (mark, runs) in enumerate(face.marks):
        if mark.kind == "fitting" and mark.label and runs:
            arms = takewhile(lambda m: m.kind == "fitting" and not m.label, (m for m, _ in face.marks[k + 1 :]))
            points.append(
                [f"{mark.label}, middle", "", at(middle_of(mark.points, [m.points for m in arms]) - [x0, y0])]
            )
    for name, place in of_outline(face):
        trim = name.startswith("trim")
        points.append([name, "" if trim else at(place), at(place) if trim else ""])
    both: dict[str, list[Place | None]] = {}
    for name, place in _edge_points(face):
        both.setdefault(name.rpartition(" ")[0], [None, None])[name.endswith("trim")] = place
    points += [[name, at(cut), at(trim)] for name, (cut, trim) in both.items()]
    lines: Rows = []
    for mark, runs in face.marks:
        if mark.label and runs and mark.kind in ("station", "centre", "register"):
            name = mark.label.split()[0] if mark.kind == "station" else mark.label
            a, b = runs[0][0] - [x0, y0], runs[-1][-1] - [x0, y0]
            lines.append([name, at(a), at(b)])
    return points, lines


def _side(face: Face, label: str, place: np.ndarray) -> str:
    """Which of several fittings of one name: the side of the blank it lies to."""
    if sum(mark.label == label for mark, _ in face.marks) < 2:
        return ""
    _, y0, _, y1 = face.blank.outline.bounds
    side = face.ends.high if place[1] > (y0 + y1) / 2 else face.ends.low
    return f" {side}" if side else ""


def _edge_points(face: Face) -> list[tuple[str, Place]]:
    """Points of standing edges, and the ticks of those edges whose quarters are not among them."""
    found = standing_edges(face)
    told = {name.split()[0] for name, _ in found}
    x0, y0, _, _ = face.blank.outline.bounds
    for tick in face.ticks:
        if tick.edge.letter in told:
            continue
        name = f"{tick.edge.letter} {EIGHTHS[round(8 * tick.share)]}"
        trim, _, inward = along_edge(tick.edge, face.blank.net, tick.at)
        cut = cut_over(face, tick.edge, trim, inward)
        if cut is not None:
            found.append((f"{name} cut", (cut[0] - x0, cut[1] - y0)))
        if tick.edge.joint == "fold":
            trim = bend_point(face.blank, tick.edge, trim)
        if tick.edge.allowance >= 0.05 or cut is None:
            found.append((f"{name} trim", (float(trim[0]) - x0, float(trim[1]) - y0)))
    return found


class Parted(NamedTuple):
    """Point rows and line rows of the first page, then those that go on a page of their own."""

    points: Rows
    lines: Rows
    more_points: Rows
    more_lines: Rows

    @property
    def more(self) -> bool:
        return bool(self.more_points or self.more_lines)


def parted(face: Face) -> Parted:
    """The rows of a blank, parted over its pages."""
    points, lines = _tables(face)
    sheet = Sheet()
    y = _head(sheet, face)
    y = _holes_table(sheet, face, 0.0, y, _room_beside(face))
    room = int((y - FLOOR - 2) / ROW_MM) - 1
    wide = _room_beside(face)
    high = np.cumsum([_lines_of(row, [k * wide for k in POINT_SHARES]) for row in points] or [0])
    lined = sum(_lines_of(row, [k * wide for k in LINE_SHARES]) for row in lines)
    if high[-1] + lined + 3 <= room:
        return Parted(points, lines, [], [])
    fits = int(np.searchsorted(high, room, side="right"))
    return Parted(points[:fits], [], points[fits:], lines)


def _lines_of(row: Sequence[str], widths: Sequence[float]) -> int:
    """How many lines a row of a table in fine letters takes."""
    return max(len(wrap(cell, wide - 1.6, SIZES["fine"])) for cell, wide in zip(row, widths, strict=True))


def _room_beside(face: Face) -> float:
    """Width of the tables beside those of stations, mm."""
    inches = face.work.job.unit == "in"
    *_, widths = _columns(face, (), inches)
    return RIGHT - LEFT - (1 if inches else 2) * (sum(widths) + 4.5)


def _head(canvas: Any, face: Face) -> float:
    y = page_title(canvas, f"{named(face.work, face.blank.name)}: offsets", f"{words.hand(face.blank)}, qty 1")
    lap = "; along a lap it is how far the other piece reaches, and the lap STAYS ON" if _has(face, "lap") else ""
    lap += "; along a ledge it is where the other pieces stand, and the ledge STAYS ON" if _has(face, LEDGE) else ""
    lips = (
        " Bend: a lip is bent between these two lines, the first at the piece\u2019s side, and STAYS ON; a point of "
        "its edge is given on the middle of the bend."
        if face.blank.lips
        else ""
    )
    return paragraph(canvas, LEFT, y, SAYS.format(lap=lap, lips=lips), LIVE[0], SIZES["small"]) - 1.5


def _has(face: Face, joint: str) -> bool:
    return any(edge.joint == joint and edge.allowance >= 0.05 for edge in face.blank.edges)


def _columns(face: Face, rows: Sequence[Station], inches: bool) -> tuple[list[str], Rows, list[float]]:
    """Head, cells and widths of the table of stations; of a piece with lips also where these are bent."""
    unit = face.work.job.unit
    head = ["along", "cut line, from base", "trim line, from base"]
    cells = [[figure(s.along, unit), _pair_words(s.cut, unit), _pair_words(s.trim, unit)] for s in rows]
    widths = [26.0, 58.0, 58.0] if inches else [14.0, 33.0, 33.0]
    if not face.blank.lips:
        return head, cells, widths
    bends = bend_heights(face.blank, [s.along for s in rows])
    told = ["; ".join(f"{e} {figure(a, unit)} \u2013 {figure(b, unit)}" for e, a, b in row) for row in bends]
    trims = any(edge.allowance >= 0.05 and edge.joint != "fold" for edge in face.blank.edges)
    head = [*head[: 2 + trims], "lip: bend from \u2013 to, from base"]
    cells = [[*cell[: 2 + trims], bend] for cell, bend in zip(cells, told, strict=True)]
    if trims:
        return head, cells, [22.0, 44.0, 44.0, 56.0] if inches else [12.0, 24.0, 24.0, 30.0]
    return head, cells, [26.0, 58.0, 66.0] if inches else [12.0, 28.0, 42.0]


def figures_page(canvas: Any, face: Face, rows_: Parted) -> None:
    """Offsets, corners, holes and ticks in figures, with a small drawing of the stations."""
    blank, unit = face.blank, face.work.job.unit
    y = _head(canvas, face)
    rows = stations(blank.outline, blank.net, corners=of_outline(face))
    inches = unit == "in"
    head, cells, widths = _columns(face, rows, inches)
    half = math.ceil(len(cells) / 2) if len(cells) > 12 and not inches else len(cells)
    x, foot = LEFT, y
    for column in (cells[:half], cells[half:]):
        if column:
            low = table(canvas, x, y, widths, [head, *column], SIZES["fine" if inches else "small"])
            foot = min(foot, low)
            x += sum(widths) + 4.5
    room = RIGHT - x
    low = _holes_table(canvas, face, x, y, room)
    low = _points(canvas, rows_.points, x, low, room)
    if rows_.lines:
        low = _lines(canvas, rows_.lines, x, low - 2.0, room)
    if rows_.more:
        text(canvas, x, low - 2.6, "more on the next page", SIZES["fine"], colour=PENCIL)
    under = min(foot, low) - 4 - FLOOR
    # Under all the tables, or beside the points where these reach far down: where it comes out larger.
    rooms = (LIVE[0], under), (x - 5 - LEFT, foot - 4 - FLOOR)
    best = max(rooms, key=lambda r: _stations_scale(face, r))
    _stations_drawn(canvas, face, [s.along for s in rows], (LEFT, FLOOR), best)


def more_page(canvas: Any, face: Face, rows: Parted) -> None:
    """The rows for which the page of figures had no room, in three columns."""
    y = page_title(canvas, f"{named(face.work, face.blank.name)}: points", f"{words.hand(face.blank)}, qty 1")
    says = "Along the base line from 0, and up from it, as on the page before."
    y = paragraph(canvas, LEFT, y, says, LIVE[0], SIZES["small"]) - 1.5
    points, lines = rows.more_points, rows.more_lines
    room = (LIVE[0] - 10) / 3
    holds = int((y - FLOOR) / ROW_MM) - 2
    columns = [(_points, points[k : k + holds]) for k in range(0, len(points), holds)]
    columns += [(_lines, lines[k : k + holds]) for k in range(0, len(lines), holds)]
    for k, (draw, part) in enumerate(columns[:3]):
        draw(canvas, part, LEFT + k * (room + 5), y, room)


def _points(canvas: Any, rows: Rows, x: float, y: float, room: float) -> float:
    head = ["point", "cut (along, up)", "trim, bend or mark"]
    return table(canvas, x, y, [room * k for k in POINT_SHARES], [head, *rows], SIZES["fine"]) if rows else y


def _lines(canvas: Any, rows: Rows, x: float, y: float, room: float) -> float:
    head = ["line", "from (along, up)", "to (along, up)"]
    return table(canvas, x, y, [room * k for k in LINE_SHARES], [head, *rows], SIZES["fine"])


def _stations_scale(face: Face, room: tuple[float, float]) -> float:
    """Scale of the small drawing of the stations in a room."""
    x0, y0, x1, y1 = face.blank.outline.bounds
    return min((room[0] - 30) / (x1 - x0), (room[1] - 10) / (y1 - y0), 1.0)


def _stations_drawn(
    canvas: Any, face: Face, along: Sequence[float], at: tuple[float, float], room: tuple[float, float]
) -> None:
    """The cut and trim line in small, with the base line, the stations and their distances."""
    x0, y0, x1, y1 = face.blank.outline.bounds
    scale = _stations_scale(face, room)
    if scale * (y1 - y0) < 8:
        return
    left = at[0] + (room[0] - scale * (x1 - x0)) / 2
    view = View(scale, (left - scale * x0, at[1] + 8 - scale * y0))
    last = -99.0
    for value in along:
        x, low = view.points([x0 + value, y0])
        high = float(view.points([x0, y1])[1])
        pen(canvas, "rule")
        line(canvas, (x, low), (x, high))
        if x - last > 6.5:
            text(canvas, x, low - 3.0, f"{value:.0f}", SIZES["fine"], align="middle")
            last = x
    draw_cuts(canvas, face, view)
    a, b = view.points([[x0, y0], [x1, y0]])
    pen(canvas, "frame")
    line(canvas, a - [4, 0], b + [4, 0])
    text(canvas, b[0] + 5, b[1] - 0.7, "base line", SIZES["fine"], colour=PENCIL)


def _holes_table(canvas: Any, face: Face, x: float, y: float, room: float) -> float:
    """Middle and size of each hole; the y under it."""
    unit = face.work.job.unit
    found = holes(face)
    if not found:
        return y
    rows = [["hole", "middle (along, up)", "size"]]
    for k, hole in enumerate(found):
        if hole.diameter is not None:
            size = f"\u00d8 {figure(hole.diameter, unit)}"
        else:
            size = f"{figure(hole.size[0], unit)} \u00d7 {figure(hole.size[1], unit)}"
            long, wide, turn = hole.true
            if min(abs(turn), 90 - abs(turn)) > 0.1:
                way = "left" if turn > 0 else "right"
                true = f"{figure(long, unit)} \u00d7 {figure(wide, unit)}"
                size = f"{true}, turned {words.fixed(abs(turn))}\u00b0 {way}; upright box round it {size}"
        rows.append([str(k + 1), f"{figure(hole.middle[0], unit)}, {figure(hole.middle[1], unit)}", size])
    return table(canvas, x, y, [10, (room - 10) * 0.55, (room - 10) * 0.45], rows, SIZES["fine"]) - 2.5


def _pair_words(pairs: Sequence[Place], unit: str) -> str:
    """``12.0 \u2013 48.5; 60.1 \u2013 72.0``; a point that is only touched by itself."""
    told = (figure(a, unit) if b - a < 0.05 else f"{figure(a, unit)} \u2013 {figure(b, unit)}" for a, b in pairs)
    return "; ".join(told) or "none"
