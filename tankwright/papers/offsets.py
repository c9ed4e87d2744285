"""A blank in figures that are found with a square and a rule: offsets, corners, holes.

Words used here
    base line   along the lower edge of the cut outline's bounding rectangle, from its left end, 0
    station     a line square to the base line at an even distance from 0
    offset      height over the base line at which a station crosses an outline; they come in pairs, where the
                metal starts and where it ends
    corner      a point where the outline breaks direction
    standing    of an edge: rising more than it runs along, so that stations say too little of its curve

All in mm from the lower left corner of the bounding rectangle, good face up.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from .blankface import along_edge
from .ends import runs_from_start
from .outline import Path, fit_outline

if TYPE_CHECKING:
    from shapely.geometry import Polygon

    from panels.blank import Blank, Edge

    from .blankface import Face

Place = tuple[float, float]

__all__ = [
    "EIGHTHS",
    "Hole",
    "Place",
    "Station",
    "bend_heights",
    "bend_point",
    "corners",
    "cut_over",
    "holes",
    "of_outline",
    "standing_edges",
    "stations",
    "step_for",
]

#: A turn sharper than this is a corner that a maker would prick through.
CORNER_RAD = math.radians(12)
#: Outline this near to an end of the blank belongs to the end itself, mm: it is where a square put there touches.
TOUCH_MM = 0.02
#: A section is looked at this far to either side of a corner, mm, since it jumps there.
HAIR_MM = 1e-3
#: A section's end this near to a corner up the station is the corner, mm.
SNAP_MM = 1.0
#: A standing edge that leaves its chord by less than this is drawn with a straight edge, mm.
BOW_MM = 0.5
EIGHTHS = ("", "\u215b", "\u00bc", "\u215c", "\u00bd", "\u215d", "\u00be", "\u215e")
#: A station nearer than this to another says nothing more.
BESIDE_MM = 0.5
#: The end of a blank nearer than this to a corner says nothing more, mm.
NEAR_END_MM = 0.15
#: An outline with more corners than this is not laid out with a rule.
MOST_CORNERS = 16


@dataclass(frozen=True)
class Station:
    """One station: its distance along the base line, and pairs (from, to) on the cut and on the trim line."""

    along: float
    cut: tuple[tuple[float, float], ...]
    trim: tuple[tuple[float, float], ...]


@dataclass(frozen=True)
class Hole:
    """A hole: its middle, its size along and up, and its diameter where it is round, else None.

    ``true``: the size of the smallest rectangle round it and how far that is turned to the left, degrees.
    """

    middle: tuple[float, float]
    size: tuple[float, float]
    diameter: float | None
    true: tuple[float, float, float]


def step_for(width: float) -> float:
    """Spacing of stations, mm: the finest of 10, 20, 25, 50, 100 that needs no more than 30."""
    return next((step for step in (10.0, 20.0, 25.0, 50.0) if width / step <= 30), 100.0)


def stations(
    outline: Polygon, net: Polygon, step: float | None = None, *, corners: Sequence[tuple[str, Place]] = ()
) -> tuple[Station, ...]:
    """Offsets of the cut outline and of the trim line at even stations, at corners, and where the two ends touch.

    ``corners``: names and places from 0; those of the trim line have names that begin with ``trim``. A station stands
    at each and carries its height, so that both tables say the same: beside a corner an outline may be so steep
    that a tenth of a millimetre along is a millimetre up. For the same reason an end without corners is not cut
    a little inside, but given as the point, or the straight edge, where it touches.
    """
    x0, y0, x1, _ = outline.bounds
    wide = x1 - x0
    step = step or step_for(wide)
    exact: list[float] = []  # of corners side by side the one farther from the nearest end: there both lines are
    for value in sorted({x for _, (x, _) in corners}, key=lambda x: abs(x - wide / 2)):
        if all(abs(value - other) > BESIDE_MM / 5 for other in exact):
            exact.append(value)
    even = [k * step for k in range(int(wide / step) + 1)] + [wide]
    near = {0.0: NEAR_END_MM, wide: NEAR_END_MM}
    at = [value for value in even if all(abs(value - other) > near.get(value, BESIDE_MM) for other in exact)]
    at = [value for value in at if value in (0.0, wide) or wide - value > min(BESIDE_MM, step / 2)]
    cut = [place for name, place in corners if not name.startswith("trim")]
    trim = [place for name, place in corners if name.startswith("trim")]
    net_is_cut = net.equals(outline)

    steps = {False: _segments(outline), True: _segments(net)}

    def of(is_net: bool, known: Sequence[Place], value: float) -> tuple[Place, ...]:
        shape = net if is_net else outline
        if value in exact:
            return _at_corner(steps[is_net], known, value, (x0, y0))
        if value in (0.0, wide):
            return _touching(shape, x0 + value, y0)
        return _pairs(steps[is_net], x0 + value, y0)

    return tuple(
        Station(round(v, 1), of(False, cut, v), of(True, cut if net_is_cut else trim, v)) for v in sorted([*at, *exact])
    )


def _touching(shape: Polygon, x: float, base: float) -> tuple[Place, ...]:
    """From where to where the outline touches a line square to the base line at an end: twice the same for a point."""
    ring = np.asarray(shape.exterior.coords) if shape.geom_type == "Polygon" else np.empty((0, 2))
    up = ring[np.abs(ring[:, 0] - x) < TOUCH_MM, 1] - base
    return ((float(up.min()), float(up.max())),) if len(up) else ()


def _at_corner(steps: np.ndarray, known: Sequence[Place], value: float, origin: Place) -> tuple[Place, ...]:
    """The section at a corner, of its two sides the one that says more, with the heights of corners as they are."""
    sides = [_pairs(steps, origin[0] + value + way, origin[1]) for way in (-HAIR_MM, HAIR_MM)]
    best = max(sides, key=lambda pairs: (len(pairs), sum(b - a for a, b in pairs)))
    heights = [y for x, y in known if abs(x - value) <= BESIDE_MM / 5]

    def snapped(y: float) -> float:
        near = min(heights, key=lambda other: abs(other - y), default=y)
        return near if abs(near - y) < SNAP_MM else y

    if not best and heights:
        return ((min(heights), max(heights)),)
    return tuple((snapped(a), snapped(b)) for a, b in best)


def _segments(shape: Any) -> np.ndarray:
    """The straight pieces (n, 2, 2) of every ring of a shape."""
    import shapely

    rings = [np.asarray(ring.coords) for ring in shapely.get_rings(shapely.get_parts(shape))]
    return np.concatenate([np.stack([ring[:-1], ring[1:]], axis=1) for ring in rings] or [np.empty((0, 2, 2))])


def _pairs(steps: np.ndarray, x: float, base: float) -> tuple[tuple[float, float], ...]:
    """Where a line square to the base line lies on the metal, lowest first; ``steps``: the outline's pieces."""
    crossed = steps[(steps[:, 0, 0] < x) != (steps[:, 1, 0] < x)]
    a, b = crossed[:, 0], crossed[:, 1]
    up = np.sort(a[:, 1] + (x - a[:, 0]) / (b[:, 0] - a[:, 0]) * (b[:, 1] - a[:, 1])) - base
    return tuple((float(low), float(high)) for low, high in zip(up[::2], up[1::2], strict=True) if high - low > 0.01)


def corners(path: Path, origin: tuple[float, float]) -> np.ndarray:
    """Corners (n, 2) of a closed path, from the lower left corner given, in the order of the path."""
    count = len(path.points)
    found = []
    for k in range(count):
        before = _end_direction(path, (k - 1) % count)
        after = _start_direction(path, k)
        turn = abs(math.atan2(before[0] * after[1] - before[1] * after[0], float(before @ after)))
        if turn > CORNER_RAD:
            found.append(path.points[k] - np.array(origin))
    return np.array(found).reshape(-1, 2)


def _start_direction(path: Path, k: int) -> np.ndarray:
    """Direction in which piece k leaves its first point: its chord turned back by half the arc's angle."""
    return _turned(path, k, -1.0)


def _end_direction(path: Path, k: int) -> np.ndarray:
    return _turned(path, k, 1.0)


def _turned(path: Path, k: int, way: float) -> np.ndarray:
    chord = path.points[(k + 1) % len(path.points)] - path.points[k]
    angle = way * 2 * math.atan(float(path.bulges[k]))
    c, s = math.cos(angle), math.sin(angle)
    return np.array([c * chord[0] - s * chord[1], s * chord[0] + c * chord[1]])


def of_outline(face: Face) -> list[tuple[str, Place]]:
    """Corners of the cut outline, then of the trim line where the two differ, from 0; none of an outline of many."""
    x0, y0, _, _ = face.blank.outline.bounds
    lines = {"corner": face.cuts[-1]}
    if face.trims and face.blank.net.geom_type == "Polygon":
        lines["trim corner"] = fit_outline(face.blank.net)[0]
    found: list[tuple[str, Place]] = []
    for name, path in lines.items():
        points = corners(path, (x0, y0))
        if len(points) <= MOST_CORNERS:
            found += [(f"{name} {k}", (float(x), float(y))) for k, (x, y) in enumerate(points, 1)]
    return found


def cut_over(face: Face, edge: Edge, trim: np.ndarray, inward: np.ndarray) -> Place | None:
    """The point on the cut line square outside a point of an edge, mm of the blank; None where there is none."""
    from shapely.geometry import LineString, Point

    if edge.allowance < 0.05:
        return float(trim[0]), float(trim[1])
    rim = face.blank.outline.boundary  # openings have seams too
    way: Any = LineString([trim + inward * 0.2, trim - inward * (2 * edge.allowance + 0.5)]).intersection(rim)
    ends = [p for p in getattr(way, "geoms", [way]) if p.geom_type == "Point"]
    if not ends:
        return None
    cut = max(ends, key=Point(*trim).distance)
    return float(cut.x), float(cut.y)


def standing_edges(face: Face) -> list[tuple[str, tuple[float, float]]]:
    """Points on the cut and the trim line at each quarter of a curved standing edge, or eighth of a deep one, from 0.

    Quarters are those of the ticks: of the formed length, from where the seam begins.

    The point on the cut line lies square outside its point on the trim line; where there is no metal left outside,
    the cut line's stands alone.
    """
    x0, y0, _, _ = face.blank.outline.bounds
    found = []
    for edge in face.blank.edges:
        chord = edge.points[-1] - edge.points[0]
        long = float(np.hypot(*chord))
        off = edge.points - edge.points[0]
        bow = float(np.abs(off[:, 0] * chord[1] - off[:, 1] * chord[0]).max()) / max(long, 1e-9)
        if abs(chord[1]) <= abs(chord[0]) or bow < BOW_MM:
            continue
        name = edge.letter or "edge"
        forward = runs_from_start(face.work, face.blank, edge)
        for eighth in range(1, 8) if bow > 0.15 * long else (2, 4, 6):
            share = edge.blank_share(eighth / 8 if forward else 1 - eighth / 8)
            trim, _, inward = along_edge(edge, face.blank.net, share)
            cut = cut_over(face, edge, trim, inward)
            if cut is None:
                continue
            found.append((f"{name} {EIGHTHS[eighth]} cut", (cut[0] - x0, cut[1] - y0)))
            if edge.allowance >= 0.05:
                x, y = bend_point(face.blank, edge, trim) if edge.joint == "fold" else trim
                found.append((f"{name} {EIGHTHS[eighth]} trim", (float(x) - x0, float(y) - y0)))
    return found


def bend_heights(blank: Blank, along: Sequence[float]) -> list[list[tuple[str, float, float]]]:
    """At each station, for each lip that it crosses: its letter, and how high its bend begins and ends, from 0; the
    lowest first. A lip that stands is crossed by few stations: `bend_points` has it."""
    x0, y0, _, _ = blank.outline.bounds
    found: list[list[tuple[str, float, float]]] = [[] for _ in along]
    for lip in blank.lips:
        high = [_heights(line, np.asarray(along) + x0) - y0 for line in (lip.begins, lip.ends)]
        for k in np.flatnonzero(np.isfinite(high).all(axis=0)).tolist():
            found[k].append((lip.letter, float(high[0][k]), float(high[1][k])))
    return [sorted(row, key=lambda one: one[1]) for row in found]


def _heights(line: np.ndarray, x: np.ndarray) -> np.ndarray:
    """How high a line (n, 2) that runs along lies at each x; nan where it does not reach, or everywhere if it turns."""
    way = line if line[-1, 0] > line[0, 0] else line[::-1]
    if not (np.diff(way[:, 0]) > 0).all():
        return np.full(len(x), np.nan)
    return np.interp(x, way[:, 0], way[:, 1], left=np.nan, right=np.nan)


def bend_point(blank: Blank, edge: Edge, trim: np.ndarray) -> np.ndarray:
    """The point of the bend line of an edge's lip nearest to a point of the edge, mm of the blank."""
    from shapely.geometry import LineString, Point

    lines = [LineString(lip.middle) for lip in blank.lips if lip.letter == edge.letter]
    if not lines:
        return trim
    line = min(lines, key=Point(*trim).distance)
    return np.asarray(line.interpolate(line.project(Point(*trim))).coords[0])


def holes(face: Face) -> tuple[Hole, ...]:
    """The holes of a blank, in cutting order."""
    x0, y0, _, _ = face.blank.outline.bounds
    found = []
    for path in face.cuts[:-1]:
        dense = path.dense(0.01)
        low, high = dense.min(axis=0), dense.max(axis=0)
        middle = (low + high) / 2 - [x0, y0]
        round_ = len(path.points) == 2 and np.allclose(np.abs(path.bulges), 1.0)
        size = (float(high[0] - low[0]), float(high[1] - low[1]))
        diameter = float(np.hypot(*(path.points[1] - path.points[0]))) if round_ else None
        found.append(Hole((float(middle[0]), float(middle[1])), size, diameter, _smallest_box(dense)))
    return tuple(found)


def middle_of(mark: np.ndarray, arms: Sequence[np.ndarray] = ()) -> np.ndarray:
    """Middle (2,) of a fitting drawn as ``mark`` (n, 2) and the arms (k, 2) of its cross: where two of these meet.

    A piece's edge may leave only part of a rim, whose own middle is elsewhere. Without a rim ``mark`` is itself
    an arm.
    """
    from shapely import LineString, shortest_line

    lines = arms if len(arms) > 1 else [mark, *arms]
    if len(lines) < 2:
        return np.asarray((mark.min(axis=0) + mark.max(axis=0)) / 2)
    between: Any = shortest_line(LineString(lines[0]), LineString(lines[-1]))
    return np.asarray(between.coords).mean(axis=0)


def _smallest_box(ring: np.ndarray) -> tuple[float, float, float]:
    """Length and width of the smallest rectangle round points (n, 2), and how far its length is turned, degrees."""
    from shapely import MultiPoint

    box = np.asarray(getattr(MultiPoint(ring).minimum_rotated_rectangle, "exterior").coords)  # noqa: B009
    sides = np.diff(box[:3], axis=0)
    long = int(np.argmax(np.hypot(*sides.T)))
    turn = (math.degrees(math.atan2(sides[long][1], sides[long][0])) + 90) % 180 - 90
    return float(np.hypot(*sides[long])), float(np.hypot(*sides[1 - long])), turn
