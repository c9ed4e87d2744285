"""What a cutting file shows of one blank, worked out once, and laid wherever the blank lies.

Words used here
    face      outline, holes, lines and notes of a blank in its own frame
    note      words beside a line; those of a fold change when the blank lies face down
    run       part of a line that lies on the metal
    frame     how a blank's own coordinates become its sheet's: points @ matrix.T + shift, flipped or not
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np

from .cutting_items import Corner, Item, Line, Words
from .cutting_kerf import kerfed
from .names import plain
from .outline import Path, fit_line, fit_outline

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

    from panels.blank import Blank, Fold

__all__ = ["HAIR_MM", "Face", "Frame", "face_of", "laid", "runs_inside"]

#: Marks along the very edge of a blank count as on its metal.
HAIR_MM = 1e-6
OVER = {"up": "down", "down": "up"}  # what a fold becomes when its blank is turned over


class Frame(NamedTuple):
    """Where a blank lies: matrix (2, 2), shift (2,) mm, and whether its good face is down."""

    matrix: np.ndarray
    shift: np.ndarray
    flipped: bool = False

    def points(self, points: np.ndarray) -> np.ndarray:
        """Points (n, 2) or (2,) of the blank where they lie."""
        return np.asarray(points, dtype=float) @ self.matrix.T + self.shift

    def path(self, path: Path) -> Path:
        """A path of the blank where it lies."""
        return path.moved(self.matrix, self.shift)


@dataclass(frozen=True)
class Note:
    """Words beside the line from start to end, ``clear`` mm away from it."""

    text: str
    start: np.ndarray
    end: np.ndarray
    clear: float = 0.0
    fold: Fold | None = None


@dataclass(frozen=True)
class Face:
    """A blank ready for drawing, in its own frame."""

    blank: Blank
    outer: Path
    holes: tuple[Path, ...]
    lines: tuple[Line, ...]
    notes: tuple[Note, ...]
    spot: Corner  # middle of the largest circle that is free of folds, and its radius
    room: float

    def cuts(self, frame: Frame) -> tuple[tuple[Path, ...], Path]:
        """Holes and outline where they lie, the part always on the right."""
        holes, outer = tuple(frame.path(hole) for hole in self.holes), frame.path(self.outer)
        if frame.flipped:
            return tuple(hole.reversed() for hole in holes), outer.reversed()
        return holes, outer


def face_of(blank: Blank, kerf_mm: float = 0.0) -> Face:
    """Work out what is drawn on a blank; the kerf is in its outline and holes.

    Raises ValueError where the kerf closes a hole.
    """
    from shapely import prepare

    outer, holes = fit_outline(kerfed(blank.outline, kerf_mm))
    metal = blank.outline.buffer(HAIR_MM)
    prepare(metal)
    lines: list[Line] = []
    notes: list[Note] = []

    def add(layer: str, points: np.ndarray) -> None:
        lines.extend(Line(layer, fit_line(run)) for run in runs_inside(points, metal))

    for edge in blank.edges:
        if edge.allowance > 0.05:
            add("trim" if edge.joint not in ("lap", "fold") else "scribe", edge.points)
    for fold in blank.folds:
        add("up" if fold.up else "down", np.array([fold.start, fold.end]))
        for tangent in fold.tangents:
            add("scribe", tangent)
        half = float(np.abs(_across(fold.start, fold.end, fold.tangents.reshape(-1, 2))).max(initial=0.0))
        notes.append(Note("", fold.start, fold.end, half, fold))
    for mark in blank.marks:
        if mark.kind == "grid":
            continue
        add("scribe", mark.points)
        if mark.label and len(mark.points) > 1:
            notes.append(Note(mark.label, mark.points[0], mark.points[-1]))
    spot, room = _spot(blank)
    return Face(blank, outer, holes, tuple(_without_repeats(lines)), tuple(notes), spot, room)


def laid(face: Face, frame: Frame) -> list[Item]:
    """Lines, notes and label of a blank where it lies; not its cuts."""
    items: list[Item] = []
    for line in face.lines:
        layer = OVER.get(line.layer, line.layer) if frame.flipped else line.layer
        items.append(Line(layer, frame.path(line.path)))
    for note in face.notes:
        at, turn = _beside(frame.points(note.start), frame.points(note.end), note.clear)
        text = note.text if note.fold is None else _fold_text(note.fold, note.fold.up != frame.flipped)
        items.append(Words("text", plain(text), at, 3.5, turn))
    return items + _label(face, frame)


def runs_inside(points: np.ndarray, shape: BaseGeometry) -> list[np.ndarray]:
    """The parts of an open line (n, 2) that lie on the metal of ``shape``, each (k, 2), in order.

    Grow the shape by a hair first where lines along its very edge must be kept.
    """
    from shapely import LineString, MultiLineString
    from shapely.ops import linemerge

    points = np.asarray(points, dtype=float)
    if len(points) < 2 or np.ptp(points, axis=0).max() <= 1e-3:
        return []
    line = LineString(points)
    if shape.covers(line):
        return [points]
    inside = line.intersection(shape)
    if isinstance(inside, MultiLineString):
        inside = linemerge(inside)
    parts = [g for g in getattr(inside, "geoms", [inside]) if g.geom_type == "LineString" and g.length > 0.01]
    parts.sort(key=lambda part: line.project(part.interpolate(0.5, normalized=True)))
    return [np.asarray(part.coords) for part in parts]


def _fold_text(fold: Fold, up: bool) -> str:
    return f"FOLD {'UP' if up else 'DOWN'} {fold.angle:.1f} deg, inside R {fold.inside_radius:.1f}"


def _across(start: np.ndarray, end: np.ndarray, points: np.ndarray) -> np.ndarray:
    """How far points (n, 2) lie to the left of the line from start to end, mm."""
    along = (end - start) / max(1e-9, float(np.hypot(*(end - start))))
    off = points - start
    return np.asarray(along[0] * off[:, 1] - along[1] * off[:, 0])


def _beside(a: np.ndarray, b: np.ndarray, clear: float) -> tuple[Corner, float]:
    """A place for words just above a line near its start, and the turn that makes them read upright."""
    angle = math.degrees(math.atan2(b[1] - a[1], b[0] - a[0]))
    if not -90.1 < angle <= 89.9:
        a, b = b, a
        angle = (angle + 360) % 360 - 180 if angle > 0 else angle + 180
    length = max(1e-9, float(np.hypot(*(b - a))))
    along = (b - a) / length
    left = np.array([-along[1], along[0]])
    at = a + along * min(8.0, length / 4) + left * (clear + 1.2)
    return (float(at[0]), float(at[1])), round(angle, 3)


def _without_repeats(lines: list[Line]) -> list[Line]:
    """Without lines that lie on one already there, whichever way they run."""
    seen: set[bytes] = set()
    kept = []
    for line in lines:
        ways = (line.path, line.path.reversed())
        keys = [(np.column_stack([w.points, w.bulges]).round(3) + 0.0).tobytes() for w in ways]
        if not seen.intersection(keys):
            seen.update(keys)
            kept.append(line)
    return kept


def _spot(blank: Blank) -> tuple[Corner, float]:
    """Middle and radius of the largest circle on the blank that keeps clear of its folds."""
    from shapely import LineString, maximum_inscribed_circle

    free: BaseGeometry = blank.outline
    for fold in blank.folds:
        free = free.difference(LineString([fold.start, fold.end]).buffer(5))
    circle: Any = maximum_inscribed_circle(free, tolerance=1.0)  # type: ignore[call-overload]
    x, y = circle.coords[0]
    return (float(x), float(y)), float(circle.length)


def _label(face: Face, frame: Frame) -> list[Item]:
    """Name, hand and grain arrow inside a blank, on the text layer."""
    blank, room = face.blank, face.room
    x, y = frame.points(np.array(face.spot)).tolist()
    lines = [blank.name, f"{blank.hand}, qty 1", "GOOD FACE DOWN" if frame.flipped else "good face up"]
    height = min(8.0, room / 5, 1.8 * room / max(len(line) for line in lines))
    items: list[Item] = []
    for k, line in enumerate(lines):
        items.append(Words("text", plain(line), (x, y + (1.2 - 1.6 * k) * height), height, middle=True))
    if blank.grain_deg is not None:
        turn = math.radians(blank.grain_deg)
        along = frame.matrix @ np.array([math.cos(turn), math.sin(turn)])
        items += _grain_arrow(np.array([x, y - 4.2 * height]), along, max(10.0, min(60.0, room)))
    return items


def _grain_arrow(middle: np.ndarray, along: np.ndarray, length: float) -> list[Item]:
    """A line with a head at both ends: grain runs either way."""
    side = np.array([-along[1], along[0]])
    ends = middle - along * length / 2, middle + along * length / 2
    barb = min(4.0, length / 5)
    left, right = (
        np.array([end + s * along * barb + side * barb / 2, end, end + s * along * barb - side * barb / 2])
        for end, s in zip(ends, (1, -1), strict=True)
    )
    at = ends[1] + along * 2
    return [
        *(Line("text", Path(points, np.zeros(len(points)), False)) for points in (np.array(ends), left, right)),
        Words("text", "GRAIN", (float(at[0]), float(at[1])), 3.5, _upright(along)),
    ]


def _upright(along: np.ndarray) -> float:
    angle = math.degrees(math.atan2(along[1], along[0]))
    return round(angle if -90 < angle <= 90 else angle - math.copysign(180, angle), 3)
