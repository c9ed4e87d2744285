"""Where words stand on the job sheet's picture of a blank: each by what it names, clear of the others, else led to it.

Words used here
    room      the box a line of words takes on the picture, its sides along x and y
    taken     rooms and lines that words keep off
    lead      a thin line from words to what they name, where they had to stand away from it

In the blank's own mm, y up; sizes are those of the picture.
"""

from __future__ import annotations

import math
import re
from itertools import chain
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from .ends import left_is_metal
from .svg import line, words

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Sequence

    from shapely.geometry.base import BaseGeometry

    from panels.blank import Blank, Edge, Mark

    from .ends import Ends

__all__ = [
    "Frame",
    "Room",
    "direction",
    "edge_letters",
    "end_words",
    "fitting_names",
    "mark_names",
    "room_of",
    "strokes_of",
    "upright",
]

#: An edge's letter stands straight out from its middle, else turned so far from that, degrees, and so far off, heights.
TURNS = (0, 35, -35, 65, -65, 85, -85)
REACHES = (0.95, 1.6, 2.3, 3.1)
#: A letter is led to its edge where another edge is nearly as near, this many times as far.
NEARLY = 1.35


class Frame(NamedTuple):
    """Bounds of what is drawn and the height of its words, mm of the drawing."""

    x0: float
    y0: float
    x1: float
    y1: float
    size: float


class Room(NamedTuple):
    """Room that a line of words takes on the drawing, its sides along x and y."""

    x0: float
    y0: float
    x1: float
    y1: float

    def meets(self, other: Room) -> bool:
        return self.x0 < other.x1 and other.x0 < self.x1 and self.y0 < other.y1 and other.y0 < self.y1

    @property
    def middle(self) -> np.ndarray:
        return np.array([(self.x0 + self.x1) / 2, (self.y0 + self.y1) / 2])


def room_of(
    text: str, at: Sequence[float] | np.ndarray, size: float, turn: float = 0.0, anchor: str = "middle"
) -> Room:
    """The room of a line of words; letters are taken as 0.6 of their height wide."""
    long, c, s = 0.6 * len(text) * size, math.cos(math.radians(turn)), math.sin(math.radians(turn))
    shift = {"start": 0.5, "middle": 0.0, "end": -0.5}[anchor] * long
    x, y = float(at[0]) + c * shift, float(at[1]) + s * shift
    wide, high = (abs(c) * long + abs(s) * size) / 2, (abs(s) * long + abs(c) * size) / 2
    return Room(x - wide, y - high, x + wide, y + high)


def direction(start: np.ndarray, end: np.ndarray) -> np.ndarray:
    """Unit vector from one point to another."""
    return (end - start) / max(float(np.hypot(*(end - start))), 1e-9)


def upright(along: np.ndarray) -> tuple[float, str]:
    """Turn that keeps words upright along a direction, and the anchor that lets them run that way."""
    turn = float(np.degrees(np.arctan2(along[1], along[0])))
    if -89.99 < turn <= 90.01:
        return turn, "start"
    return turn - 180 * np.sign(turn), "end"


def points_along(points: np.ndarray, shares: Sequence[float]) -> Iterator[np.ndarray]:
    """Points of a polyline at shares of its length."""
    p = np.asarray(points, dtype=float)
    run = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(p, axis=0).T))])
    for share in shares:
        yield np.array([np.interp(share * run[-1], run, p[:, k]) for k in (0, 1)])


# ------------------------------------------------------------------------------ edges


def edge_letters(blank: Blank, f: Frame, told: Sequence[str], taken: list[Room]) -> list[str]:
    """Each edge's words outside the blank by its own middle; ``taken`` grows by their rooms.

    ``told``: what each edge says, such as ``A: lose 3.2``; on an edge too short for that its letter stands alone.
    """
    import shapely

    shapely.prepare(blank.outline)
    lines = (
        shapely.linestrings([e.points for e in blank.edges])
        if len({len(e.points) for e in blank.edges}) == 1
        else ([shapely.LineString(edge.points) for edge in blank.edges])
    )
    made: list[str] = []
    for k, (edge, text) in enumerate(zip(blank.edges, told, strict=True)):
        if edge.length_blank > 1e-9:
            made += _letter(blank, k, np.array(lines), text, f, taken)
    return made


def _letter(blank: Blank, k: int, lines: np.ndarray, text: str, f: Frame, taken: list[Room]) -> list[str]:
    import shapely

    edge = blank.edges[k]
    centre, before, after = points_along(edge.points, (0.5, 0.42, 0.58))
    along = direction(before, after)
    out = _outward(blank, edge, centre, np.array([along[1], -along[0]]))
    if edge.length_blank >= f.size * len(text) * 0.6:
        at, turn = centre + out * (edge.allowance + f.size * 0.95), upright(along)[0]
        room = room_of(text, at, f.size, turn)
        if not any(room.meets(other) for other in taken):
            taken.append(room)
            return [words(text, at, f.size, turn=turn, kind="halo letter")]
    text = text.split(":")[0]
    best: tuple[float, np.ndarray, Room, bool] | None = None
    for count, (at, straight) in enumerate(_places(centre, out, edge, f)):
        room = room_of(text, at, 1.15 * f.size)
        way = shapely.LineString([centre, at])
        away = shapely.distance(lines, shapely.Point(*at))
        near = float(np.delete(away, k).min(initial=np.inf)) < NEARLY * float(away[k])
        bad = 4.0 * sum(room.meets(other) for other in taken) + 2.0 * bool(blank.outline.intersects(shapely.box(*room)))
        bad += 2.0 * (blank.net.intersection(way).length > 1.0) + 0.05 * count
        lead = near or not straight
        if best is None or bad < best[0]:
            best = (bad, at, room, lead)
        if bad < 1.0:
            break
    assert best is not None
    _, at, room, lead = best
    taken.append(room)
    letter = words(text, at, f.size, kind="halo letter")
    return [_lead(centre, room, f), letter] if lead else [letter]


def _places(centre: np.ndarray, out: np.ndarray, edge: Edge, f: Frame) -> Iterator[tuple[np.ndarray, bool]]:
    """Places for an edge's letter, and whether it stands straight before its edge and close to it."""
    for reach in REACHES:
        for turn in TURNS:
            c, s = math.cos(math.radians(turn)), math.sin(math.radians(turn))
            way = np.array([c * out[0] - s * out[1], s * out[0] + c * out[1]])
            yield centre + way * (edge.allowance + reach * f.size), turn == 0 and reach == REACHES[0]


def _lead(to: np.ndarray, room: Room, f: Frame) -> str:
    """A thin line from a room's side to what its words name."""
    middle = room.middle
    way = to - middle
    reach = np.array([(room.x1 - room.x0) / 2, (room.y1 - room.y0) / 2]) + 0.1 * f.size
    share = float(np.min(reach / np.maximum(np.abs(way), 1e-9)))
    if share >= 1:
        return ""
    return line(np.array([middle + way * share, to]), "lead")


def _outward(blank: Blank, edge: Edge, point: np.ndarray, normal: np.ndarray) -> np.ndarray:
    """The one of the two normals of an edge that points away from the metal."""
    from shapely.geometry import Point

    if edge.joint == "fold":
        return -normal if left_is_metal(edge, blank.net, point, normal) else normal
    step = 0.5
    inside = blank.net.distance(Point(point + normal * step)) < blank.net.distance(Point(point - normal * step))
    return -normal if inside else normal


# ------------------------------------------------------------------------------ ends


def end_words(ends: Ends, f: Frame, low: float, taken: list[Room]) -> list[str]:
    """Front, rear, top and the like at the sides they name: left and right beside the size line at height ``low``."""
    made, size, kind = [], 0.85 * f.size, "halo way"
    for text, x, anchor in ((f"\u2190 {ends.left}", f.x0, "end"), (f"{ends.right} \u2192", f.x1, "start")):
        if len(text) > 2:
            at = (x + (0.7 if anchor == "start" else -0.7) * f.size, low)
            taken.append(room_of(text, at, size, 0.0, anchor))
            made.append(words(text.upper(), at, size, anchor=anchor, kind=kind))
    shares = (0.5, 0.28, 0.72, 0.38, 0.62, 0.12, 0.88)
    for text, y in ((f"\u2191 {ends.high}", f.y1 + 2.5 * f.size), (f"\u2193 {ends.low}", f.y0 - 1.75 * f.size)):
        if len(text) > 2:
            spots = ((np.array([f.x0 + share * (f.x1 - f.x0), y]), 0.0, "middle") for share in shares)
            made.append(_first_free(spots, text.upper(), size, taken, kind))
    return made


def _first_free(
    places: Iterable[tuple[np.ndarray, float, str]], text: str, size: float, taken: list[Room], kind: str
) -> str:
    """The words at the first place that is clear, else at the last one tried; ``taken`` grows."""
    at, turn, anchor, room = np.zeros(2), 0.0, "middle", Room(0, 0, 0, 0)
    for at, turn, anchor in places:
        room = room_of(text, at, size, turn, anchor)
        if not any(room.meets(other) for other in taken):
            break
    taken.append(room)
    return words(text, at, size, turn=turn, anchor=anchor, kind=kind)


# ------------------------------------------------------------------------------ marks


def mark_names(blank: Blank, f: Frame, taken: list[Room]) -> list[str]:
    """The names of lines, then the stations' numbers; ``taken`` grows."""
    small = 0.8 * f.size
    drawn = [mark for mark in blank.marks if len(mark.points) > 1]
    made: list[str] = []
    taken += _flat_lines([np.array([fold.start, fold.end]) for fold in blank.folds], small)
    for mark in drawn:
        if mark.label and mark.kind == "bend":
            made.append(_bend_name(blank, mark, small, taken, f))
        elif mark.label and mark.kind not in ("fitting", "station"):
            made.append(_line_name(mark, small, taken, f))
    named: set[str] = set()
    for mark in drawn:
        if mark.label and mark.kind == "station":
            made.append(_station(mark, small, taken, named, f))
    return made


def strokes_of(blank: Blank) -> list[Room]:
    """Small rooms along the crosses and rings of fittings, so that words keep off them."""
    rooms = []
    for mark in blank.marks:
        if mark.kind == "fitting":
            p = np.asarray(mark.points, dtype=float)
            rooms += [Room(x - 1, y - 1, x + 1, y + 1) for x, y in p[:: max(1, len(p) // 24)].tolist()]
    return rooms


def _flat_lines(lines: Sequence[np.ndarray], small: float) -> list[Room]:
    """The rooms of lines that lie level or stand upright, near enough to be boxes."""
    rooms = [Room(*p.min(axis=0), *p.max(axis=0)) for p in lines]
    return [room for room in rooms if min(room.x1 - room.x0, room.y1 - room.y0) < small]


def fitting_names(blank: Blank, f: Frame, taken: list[Room]) -> list[str]:
    """The names of fittings by their crosses and rings; ``taken`` grows. The largest first: they have least choice."""
    import shapely

    rim = blank.outline.boundary
    shapely.prepare(rim)
    marks = [mark for mark in blank.marks if mark.kind == "fitting" and mark.label and len(mark.points) > 1]
    made: list[str] = []
    for mark in sorted(marks, key=lambda mark: -float(np.ptp(mark.points, axis=0).max())):
        made += _fitting(mark, f, taken, rim)
    return made


def _fitting(mark: Mark, f: Frame, taken: list[Room], rim: BaseGeometry) -> list[str]:
    """A fitting's name beside its cross or ring, on the metal or off it; where it stands further off, led to it."""
    from shapely import box

    size = 0.85 * f.size
    says = re.sub(r"(?<=doubler) [\d./ ]+x [\d./ ]+$", "", mark.label)  # its size stands on its own blank
    p = np.asarray(mark.points, dtype=float)
    middle = (p.min(axis=0) + p.max(axis=0)) / 2
    reach = np.ptp(p, axis=0) / 2
    best, least = (middle + [0.0, reach[1] + size], "middle", 0.0), math.inf
    for far in (0.5, 1.4, 2.4, 3.6, 5.0, 6.5):
        x, y = reach + far * size
        spots = (
            ((x, 0.0), "start"), ((-x, 0.0), "end"),
            ((0.0, y + 0.2 * size), "middle"), ((0.0, -y - 0.2 * size), "middle"),
            ((0.6 * x, y), "start"), ((0.6 * x, -y), "start"), ((-0.6 * x, y), "end"), ((-0.6 * x, -y), "end"),
        )  # fmt: skip
        for off, anchor in spots:
            room = room_of(says, middle + off, size, 0.0, anchor)
            out = max(f.x0 - 2 * f.size - room.x0, room.x1 - f.x1 - 2 * f.size, room.y1 - f.y1 - 3 * f.size, 0.0)
            bad = sum(room.meets(other) for other in taken) + bool(rim.intersects(box(*room))) + out / size
            if bad < least:
                best, least = (middle + off, anchor, far), bad
        if least == 0:
            break
    at, anchor, far = best
    room = room_of(says, at, size, 0.0, anchor)
    taken.append(room)
    name = words(says, at, size, anchor=anchor, kind="halo")
    return [_lead(middle, room, f), name] if far > 1 else [name]


def _line_name(mark: Mark, small: float, taken: list[Room], f: Frame) -> str:
    """The name of a line that runs over the blank, along it near one of its ends."""
    places = []
    for k, n in ((0, 1), (-1, -2)):
        end, beside = np.asarray(mark.points[k], dtype=float), np.asarray(mark.points[n], dtype=float)
        way = direction(end, beside)
        turn, anchor = upright(way)
        up = np.array([-np.sin(np.radians(turn)), np.cos(np.radians(turn))])
        places += [
            (end + way * small * far + up * small * s, turn, anchor) for far in (2.6, 7.0) for s in (0.75, -0.75)
        ]
    return _best(places, mark.label, small, taken, f) or ""


def _bend_name(blank: Blank, mark: Mark, small: float, taken: list[Room], f: Frame) -> str:
    """What is said of a lip's bend, beside its first line, at the piece's side of it."""
    from shapely.geometry import Point

    text = mark.label.split(" between ")[0].replace(": bend", "")
    p = np.asarray(mark.points, dtype=float)
    places = []
    for share in (0.5, 0.3, 0.7, 0.2, 0.8):
        at, before, after = points_along(p, (share, share - 0.1, share + 0.1))
        turn, _ = upright(direction(before, after))
        up = np.array([-np.sin(np.radians(turn)), np.cos(np.radians(turn))])
        rim = blank.outline.exterior
        inward = max((up, -up), key=lambda way: rim.distance(Point(at + way)))
        places += [(at + inward * small * far, turn, "middle") for far in (0.9, 2.0)]
    return _best(places, text, small, taken, f)


def _station(mark: Mark, small: float, taken: list[Room], named: set[str], f: Frame) -> str:
    """A station's number on its line; where no place on it is free it is left out, once it stands elsewhere."""
    text = mark.label.split()[0]
    ends = [np.asarray(mark.points[k], dtype=float) for k in (0, -1)]
    ways = [direction(end, np.asarray(mark.points[k], dtype=float)) for end, k in zip(ends, (1, -2), strict=True)]
    long = float(np.hypot(*(ends[1] - ends[0])))
    near = [end + way * small * 1.3 for end, way in zip(ends, ways, strict=True)] if long > 2.6 * small else []
    spots = chain(near, points_along(mark.points, (0.5, 0.2, 0.8, 0.35, 0.65)))
    beyond = (end - way * small * 0.9 for end, way in zip(ends, ways, strict=True))
    places = ((at, 0.0, "middle") for at in chain(spots, beyond))
    made = _best(places, text, small, taken, f, free_only=text in named)
    if made:
        named.add(text)
    return made


def _best(
    places: Iterable[tuple[np.ndarray, float, str]],
    text: str,
    size: float,
    taken: list[Room],
    f: Frame,
    *,
    free_only: bool = False,
) -> str:
    """The words at the first of the places that is clear, or the least bad; ``taken`` grows by their room."""
    least, chosen = math.inf, None
    for at, turn, anchor in places:
        room = room_of(text, at, size, turn, anchor)
        out = max(f.x0 - room.x0, f.y0 - room.y0, room.x1 - f.x1, room.y1 - f.y1, 0.0)
        bad = sum(room.meets(other) for other in taken) + out / size
        if bad < least:
            least, chosen = bad, (room, words(text, at, size, turn=turn, anchor=anchor, kind="halo soft"))
        if bad == 0:
            break
    if chosen is None or (free_only and least >= 1):
        return ""
    taken.append(chosen[0])
    return chosen[1]
