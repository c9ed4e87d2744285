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
from .outline import Path

if TYPE_CHECKING:
    from shapely.geometry import Polygon

    from .blankface import Face

__all__ = ["Hole", "Station", "corners", "holes", "middle_of", "standing_edges", "stations", "step_for"]

#: A turn sharper than this is a corner that a maker would prick through.
CORNER_RAD = math.radians(12)
#: How near the ends of the outline a station must not be, so that it does not run along an edge,
#: nor misses a corner that lies a hair inside an end.
CLEAR_MM = 0.2
#: A standing edge that leaves its chord by less than this is drawn with a straight edge, mm.
BOW_MM = 0.5
EIGHTHS = ("", "\u215b", "\u00bc", "\u215c", "\u00bd", "\u215d", "\u00be", "\u215e")
#: A station nearer than this to another says nothing more.
BESIDE_MM = 0.5


@dataclass(frozen=True)
class Station:
    """One station: its distance along the base line, and pairs (from, to) on the cut and on the trim line."""

    along: float
    cut: tuple[tuple[float, float], ...]
    trim: tuple[tuple[float, float], ...]


@dataclass(frozen=True)
class Hole:
    """A hole: its middle, its size along and up, and its diameter where it is round, else None."""

    middle: tuple[float, float]
    size: tuple[float, float]
    diameter: float | None


def step_for(width: float) -> float:
    """Spacing of stations, mm: the finest of 10, 20, 25, 50, 100 that needs no more than 30."""
    return next((step for step in (10.0, 20.0, 25.0, 50.0) if width / step <= 30), 100.0)


def stations(
    outline: Polygon, net: Polygon, step: float | None = None, *, beside: Sequence[float] = ()
) -> tuple[Station, ...]:
    """Offsets of the cut outline and of the trim line at even stations, from end to end.

    The two ends themselves are given too, a hair inside, so that an end that is not square shows; and the distances
    ``beside``, such as those of corners, to 0.1 mm.
    """
    x0, y0, x1, _ = outline.bounds
    step = step or step_for(x1 - x0)
    at = [k * step for k in range(int((x1 - x0) / step) + 1)]
    clear = min(CLEAR_MM, (x1 - x0) / 1000)
    at = [max(clear, min(value, x1 - x0 - clear)) for value in at]
    if x1 - x0 - at[-1] > 0.5:
        at.append(x1 - x0 - clear)
    for value in sorted(round(value, 1) for value in beside):
        if min(abs(value - other) for other in at) > BESIDE_MM:
            at.append(value)
    at.sort()
    return tuple(
        Station(
            round(value, 1),
            _pairs(outline, x0 + value, y0),
            _pairs(net, x0 + value, y0),
        )
        for value in at
    )


def _pairs(shape: Polygon, x: float, base: float) -> tuple[tuple[float, float], ...]:
    """Where a line square to the base line lies on the metal, lowest first."""
    from shapely import LineString

    low, high = shape.bounds[1] - 1, shape.bounds[3] + 1
    found: Any = LineString([(x, low), (x, high)]).intersection(shape)
    parts = [g for g in getattr(found, "geoms", [found]) if g.geom_type == "LineString" and g.length > 0.01]
    return tuple(sorted((g.bounds[1] - base, g.bounds[3] - base) for g in parts))


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


def standing_edges(face: Face) -> list[tuple[str, tuple[float, float]]]:
    """Points on the cut and the trim line at each quarter of a curved standing edge, or eighth of a deep one, from 0.

    The point on the cut line lies square outside its point on the trim line; where there is no metal left outside,
    the cut line's stands alone.
    """
    from shapely.geometry import LineString, Point

    x0, y0, _, _ = face.blank.outline.bounds
    rim = face.blank.outline.boundary  # openings have seams too
    found = []
    for edge in face.blank.edges:
        chord = edge.points[-1] - edge.points[0]
        long = float(np.hypot(*chord))
        off = edge.points - edge.points[0]
        bow = float(np.abs(off[:, 0] * chord[1] - off[:, 1] * chord[0]).max()) / max(long, 1e-9)
        if abs(chord[1]) <= abs(chord[0]) or bow < BOW_MM:
            continue
        name = edge.letter or "edge"
        for eighth in range(1, 8) if bow > 0.15 * long else (2, 4, 6):
            says, share = EIGHTHS[eighth], eighth / 8
            trim, _, inward = along_edge(edge, face.blank.net, share)
            way: Any = LineString([trim + inward * 0.2, trim - inward * (2 * edge.allowance + 0.5)]).intersection(rim)
            ends = [p for p in getattr(way, "geoms", [way]) if p.geom_type == "Point"]
            if not ends:
                continue
            cut = max(ends, key=Point(*trim).distance) if edge.allowance >= 0.05 else Point(*trim)
            found.append((f"{name} {says} cut", (cut.x - x0, cut.y - y0)))
            if edge.allowance >= 0.05:
                found.append((f"{name} {says} trim", (float(trim[0]) - x0, float(trim[1]) - y0)))
    return found


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
        found.append(Hole((float(middle[0]), float(middle[1])), size, diameter))
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
