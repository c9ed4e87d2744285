"""A blank as a picture: cut edge, trim line, marks, folds, zones to stretch and shrink, edges with what they gain.

Drawn good face up, in mm, y up. Words are sized to the picture, not to the blank, so that a phone shows them.
"""

from __future__ import annotations

import math
from itertools import chain
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from .svg import dimension, line, number, ring, shape_path, svg, words, zone_hatches
from .words import fixed, length, percent
from .zones import Zone

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Sequence

    from shapely.geometry.base import BaseGeometry

    from panels.blank import Blank, Edge

__all__ = ["NOT_FORMED_MM", "Frame", "flat_svg", "zone_words"]

#: The picture is as wide as this many text heights, and at most as high as `TALL`: 360 px shows 9 px letters.
WIDE, TALL = 40.0, 28.0

#: An edge of a piece that is not formed is left as it is below this, mm: the width of a scribed line's doubt.
NOT_FORMED_MM = 0.5  # common practice, no source


class Frame(NamedTuple):
    """Bounds of what is drawn and the height of its words, mm of the drawing."""

    x0: float
    y0: float
    x1: float
    y1: float
    size: float


def _frame(bounds: tuple[float, float, float, float]) -> Frame:
    x0, y0, x1, y1 = bounds
    return Frame(x0, y0, x1, y1, max((x1 - x0) / (WIDE - 9), (y1 - y0) / (TALL - 9)))


def zone_words(zone: Zone) -> str:
    """``shrink up to 4.0 %`` and the like."""
    return f"{zone.kind} up to {percent(abs(zone.worst))}"


def flat_svg(blank: Blank, zones: Sequence[Zone], *, number_of_piece: int, name: str, unit: str = "mm") -> str:
    """The picture of one blank. ``zones`` as `strain_zones` gives them; ``name`` must be unique on the page."""
    f = _frame(blank.outline.bounds)
    edges, edge_room = _edges(blank, f)
    parts = [
        zone_hatches(f"{name}-", f.size),
        f'<path class="metal" fill-rule="evenodd" d="{shape_path(blank.outline)}"/>',
        *_zones(blank, zones, name, f),
        f'<path class="pen-trim" d="{shape_path(blank.net)}"/>',
        *_marks(blank, [*edge_room, *_zone_room(zones, f)], f),
        *_folds(blank, f),
        f'<path class="pen-cut heavy" fill-rule="evenodd" d="{shape_path(blank.outline)}"/>',
        *edges,
        *_zone_labels(zones, f),
        *_sizes(f, unit),
        *_foot(blank, f),
    ]
    box = (
        f.x0 - 5.6 * f.size,
        f.y0 - 7.6 * f.size,
        max(f.x1, _foot_middle(f) + 0.4 * f.size) + 3.4 * f.size,
        f.y1 + 3.4 * f.size,
    )
    told = "; ".join(zone_words(z) for z in zones if z.kind != "leave") or "nothing to stretch or shrink"
    size = f"{fixed(f.x1 - f.x0)} by {fixed(f.y1 - f.y0)} mm"
    return svg(
        box, parts, title=f"Flat of piece {number_of_piece}, {blank.name}", describes=f"{size}; {told}",
        kind="flat", name=name,
    )  # fmt: skip


def _zones(blank: Blank, zones: Sequence[Zone], name: str, f: Frame) -> list[str]:
    """The zones with their borders drawn fair: what is narrower than half a letter is left out."""
    width = 0.25 * f.size

    def fair(zone: Zone) -> BaseGeometry:
        opened = zone.shape.buffer(-width, 4).buffer(2 * width, 4).buffer(-width, 4)
        return opened.intersection(blank.net)

    return [
        f'<path class="zone {z.kind}" fill="url(#{name}-{z.kind}{min(z.level, 4)})" fill-rule="evenodd" '
        f'd="{shape_path(fair(z), simplify=0.3)}"/>'
        for z in zones
        if z.kind != "leave"
    ]


def _zone_labels(zones: Sequence[Zone], f: Frame) -> list[str]:
    """Each zone's number and words; the number alone where the zone is small."""
    labels = []
    for k, zone in enumerate(zones, 1):
        x, y = zone.at
        if zone.kind == "leave":
            if zone.room > 2.6 * f.size:
                labels.append(words("leave be", zone.at, f.size * 0.9, kind="halo soft"))
            continue
        short = f"{zone.kind} {percent(abs(zone.worst))}"
        wide = _chord(zone, f)
        if zone.room > 1.25 * f.size and wide > 0.6 * len(short) * f.size:
            labels.append(words(f"zone {k}", (x, y + 0.62 * f.size), f.size, kind="halo strong"))
            labels.append(words(short, (x, y - 0.62 * f.size), f.size, kind="halo"))
        else:
            labels.append(
                words(
                    f"zone {k}" if wide > 3.8 * f.size and zone.room > 0.5 * f.size else f"{k}",
                    zone.at,
                    f.size,
                    kind="halo strong",
                )
            )
    return labels


def _chord(zone: Zone, f: Frame) -> float:
    """Room for a line of words through the zone's point, mm."""
    from shapely.geometry import LineString, Point, box

    x, y = zone.at
    strip = zone.shape.intersection(box(zone.shape.bounds[0] - 1, y - 0.01, zone.shape.bounds[2] + 1, y + 0.01))
    parts = [p for p in getattr(strip, "geoms", [strip]) if p.distance(Point(x, y)) < 0.1]
    if not parts or isinstance(strip, LineString):
        return 0.0
    left, _, right, _ = parts[0].bounds
    return float(2 * min(x - left, right - x))


class _Box(NamedTuple):
    """Room that a line of words takes on the drawing, its sides along x and y."""

    x0: float
    y0: float
    x1: float
    y1: float

    def meets(self, other: _Box) -> bool:
        return self.x0 < other.x1 and other.x0 < self.x1 and self.y0 < other.y1 and other.y0 < self.y1


def _box(text: str, at: Sequence[float] | np.ndarray, size: float, turn: float = 0.0, anchor: str = "middle") -> _Box:
    """The room of a line of words; letters are taken as 0.58 of their height wide."""
    long, c, s = 0.58 * len(text) * size, math.cos(math.radians(turn)), math.sin(math.radians(turn))
    shift = {"start": 0.5, "middle": 0.0, "end": -0.5}[anchor] * long
    x, y = float(at[0]) + c * shift, float(at[1]) + s * shift
    wide, high = (abs(c) * long + abs(s) * size) / 2, (abs(s) * long + abs(c) * size) / 2
    return _Box(x - wide, y - high, x + wide, y + high)


def _best(places: Iterable[tuple[np.ndarray, float, str]], text: str, size: float, taken: list[_Box], f: Frame) -> str:
    """The words at the first of the places that is clear, or the least bad; ``taken`` grows by their room."""
    least, chosen = math.inf, None
    for at, turn, anchor in places:
        room = _box(text, at, size, turn, anchor)
        out = max(f.x0 - room.x0, f.y0 - room.y0, room.x1 - f.x1, room.y1 - f.y1, 0.0)
        bad = sum(room.meets(other) for other in taken) + out / size
        if bad < least:
            least, chosen = bad, (room, words(text, at, size, turn=turn, anchor=anchor, kind="halo soft"))
        if bad == 0:
            break
    if chosen is None:
        return ""
    taken.append(chosen[0])
    return chosen[1]


def _zone_room(zones: Sequence[Zone], f: Frame) -> list[_Box]:
    return [_box("zone 00000", zone.at, 1.5 * f.size) for zone in zones]


def _marks(blank: Blank, taken: list[_Box], f: Frame) -> list[str]:
    """The marks with their names, clear of what is taken, of folds and of one another as far as there is room."""
    taken = [*taken, *(_box(text, at, f.size, turn) for text, at, turn in _fold_words(blank, f))]
    small = f.size * 0.8
    drawn = [mark for mark in blank.marks if len(mark.points) > 1]
    made = [line(mark.points, mark.kind) for mark in drawn]
    for mark in sorted((mark for mark in drawn if mark.label), key=lambda mark: mark.kind == "station"):
        ends = [np.asarray(mark.points[k], dtype=float) for k in (0, -1)]
        ways = [_direction(end, np.asarray(mark.points[k], dtype=float)) for end, k in zip(ends, (1, -2), strict=True)]
        if mark.kind == "station":
            near = (end + way * small * 1.3 for end, way in zip(ends, ways, strict=True))
            spots = chain(near, _along(mark.points, (0.2, 0.8, 0.35, 0.65)))
            made.append(_best(((at, 0.0, "middle") for at in spots), mark.label.split()[0], small, taken, f))
            continue
        places = []
        for end, way in zip(ends, ways, strict=True):
            turn, anchor = _upright(way)
            up = np.array([-np.sin(np.radians(turn)), np.cos(np.radians(turn))])
            for side in (0.75, -0.75):
                places.append((end + way * small * 2.6 + up * small * side, turn, anchor))
        made.append(_best(places, mark.label, small, taken, f))
    return made


def _along(points: np.ndarray, shares: Sequence[float]) -> Iterator[np.ndarray]:
    """Points of a polyline at shares of its length."""
    p = np.asarray(points, dtype=float)
    run = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(p, axis=0).T))])
    for share in shares:
        yield np.array([np.interp(share * run[-1], run, p[:, k]) for k in (0, 1)])


def _direction(start: np.ndarray, end: np.ndarray) -> np.ndarray:
    return (end - start) / max(float(np.hypot(*(end - start))), 1e-9)


def _upright(along: np.ndarray) -> tuple[float, str]:
    """Turn that keeps words upright along a direction, and the anchor that lets them run that way."""
    turn = float(np.degrees(np.arctan2(along[1], along[0])))
    if -89.99 < turn <= 90.01:
        return turn, "start"
    return turn - 180 * np.sign(turn), "end"


def _fold_words(blank: Blank, f: Frame) -> list[tuple[str, np.ndarray, float]]:
    """Each fold's words, their place beside its line, and their turn."""
    made = []
    for k, fold in enumerate(blank.folds, 1):
        start, end = np.asarray(fold.start, dtype=float), np.asarray(fold.end, dtype=float)
        turn, _ = _upright(_direction(start, end))
        up = np.array([-np.sin(np.radians(turn)), np.cos(np.radians(turn))])
        way = "up" if fold.up else "down"
        text = f"fold {k}: {fixed(fold.angle, 0)}° {way}, R {number(fold.inside_radius)} mm"
        made.append((text, start + (end - start) * 0.27 + up * f.size * 0.85, turn))
    return made


def _folds(blank: Blank, f: Frame) -> list[str]:
    made = []
    for fold in blank.folds:
        made += [line(np.asarray(tangent), "tangent") for tangent in fold.tangents]
        made.append(line(np.array([fold.start, fold.end], dtype=float), "fold"))
    told = _fold_words(blank, f)
    return [*made, *(words(text, at, f.size * 0.9, turn=turn, kind="halo strong") for text, at, turn in told)]


def _edges(blank: Blank, f: Frame) -> tuple[list[str], list[_Box]]:
    """Every edge's words and the room they take; where two would lie over each other the later one moves outwards."""
    taken: list[_Box] = []
    return [_edge(blank, edge, k, f, taken) for k, edge in enumerate(blank.edges, 1)], taken


def _edge(blank: Blank, edge: Edge, count: int, f: Frame, taken: list[_Box]) -> str:
    """The edge's letter and what it gains or loses, outside the blank along its middle."""
    points = np.asarray(edge.points, dtype=float)
    steps = np.hypot(*np.diff(points, axis=0).T)
    run = np.concatenate([[0.0], np.cumsum(steps)])
    if run[-1] < 1e-9:
        return ""
    centre, before, after = _along(points, (0.5, 0.42, 0.58))
    along = (after - before) / max(float(np.hypot(*(after - before))), 1e-9)
    out = _outward(blank, centre, np.array([along[1], -along[0]]))
    turn, _ = _upright(along)
    gain = edge.gain
    least = 0.05 if blank.kind == "formed" else NOT_FORMED_MM
    short = "" if abs(gain) < least else f"{'gain' if gain > 0 else 'lose'} {fixed(abs(gain))}"
    label = edge.letter or f"{count}"
    text = f"{label}: {short}" if short else label
    if run[-1] < f.size * len(text) * 0.6:  # too short for words: the letter, the table says the rest
        text, turn = label, 0.0
    at = centre + out * (edge.allowance + f.size * 0.95)
    reach = f.size * np.array([max(0.3 * len(text) + 0.15, 0.5), 0.55])  # half width and height of the words
    if abs(turn) > 45:
        reach = reach[::-1]
    for _ in range(4):
        if not any(_Box(*(at - reach), *(at + reach)).meets(other) for other in taken):
            break
        at = at + out * f.size * 0.6
    taken.append(_Box(*(at - reach), *(at + reach)))
    return words(text, at, f.size, turn=turn, kind="halo letter")


def _outward(blank: Blank, point: np.ndarray, normal: np.ndarray) -> np.ndarray:
    """The one of the two normals that points away from the metal."""
    from shapely.geometry import Point

    step = 0.5
    inside = blank.net.distance(Point(point + normal * step)) < blank.net.distance(Point(point - normal * step))
    return -normal if inside else normal


def _sizes(f: Frame, unit: str) -> list[str]:
    """Bounding width below and height to the left, as dimension lines."""
    low, left = f.y0 - 2.9 * f.size, f.x0 - 3.4 * f.size
    return [
        dimension(np.array([f.x0, low]), np.array([f.x1, low]), length(f.x1 - f.x0, unit), f.size),
        dimension(np.array([left, f.y0]), np.array([left, f.y1]), _tight(f.y1 - f.y0, unit, f), f.size),
    ]


def _tight(value: float, unit: str, f: Frame) -> str:
    """A height in both units where there is room beside the piece, else in mm."""
    both = length(value, unit)
    return both if value > 0.55 * f.size * len(both) else fixed(value)


def _bar(f: Frame) -> float:
    """Length of the bar to measure by, mm."""
    return 50.0 if f.x1 - f.x0 < 160 else 100.0


def _foot_middle(f: Frame) -> float:
    """Where the grain stands, right of the bar."""
    return max(f.x1 - 5.0 * f.size, f.x0 + _bar(f) + 7.0 * f.size)


def _foot(blank: Blank, f: Frame) -> list[str]:
    """A 100 mm bar and the grain arrow, under the picture."""
    y, small = f.y0 - 5.5 * f.size, f.size * 0.85
    bar = _bar(f)
    ends = np.array([[f.x0, y], [f.x0 + bar, y]])
    ticks = [np.array([[x, y - small * 0.4], [x, y + small * 0.4]]) for x in (f.x0, f.x0 + bar)]
    data = "".join(ring(p, closed=False) for p in (ends, *ticks))
    made = [
        f'<path class="pen-bar" d="{data}"/>',
        words(f"{number(bar)} mm", (f.x0 + bar / 2, y - small * 1.15), small, kind="soft"),
    ]
    middle = np.array([_foot_middle(f), y])
    if blank.grain_deg is None:
        return [*made, words("grain: any way", middle, small, kind="soft")]
    turn = np.radians(blank.grain_deg)
    along = np.array([np.cos(turn), np.sin(turn)]) * 1.9 * f.size
    side = np.array([-along[1], along[0]]) * 0.18
    heads = [
        np.array([middle + s * along * 0.72 + side, middle + s * along, middle + s * along * 0.72 - side])
        for s in (1, -1)
    ]
    data = "".join(ring(p, closed=False) for p in (np.array([middle - along, middle + along]), *heads))
    made.append(f'<path class="pen-bar" d="{data}"/>')
    made.append(words("grain", middle - [2.4 * f.size, 0], small, anchor="end", kind="soft"))
    return made
