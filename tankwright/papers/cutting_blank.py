"""What a cutting file shows of one blank, worked out once, and laid wherever the blank lies.

Words used here
    face      outline, holes, lines and notes of a blank in its own frame
    note      words beside a line (`cutting_notes`); those of a fold change when the blank lies face down
    run       part of a line that lies on the metal
    frame     how a blank's own coordinates become its sheet's: points @ matrix.T + shift, flipped or not
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from .cutting_hold import STAYS, is_strip
from .cutting_items import Item, Line, Words
from .cutting_kerf import kerfed
from .cutting_label import corner, degrees, face_words, label_items, says_face
from .cutting_marks import (
    BREAKABLE,
    Label,
    Sign,
    find_label,
    seam_signs,
    signs_room,
)
from .cutting_notes import Note, Wanted, fold_text, label_room, note_box, place_away, place_notes
from .cutting_short import without_short
from .names import plain
from .outline import Path, fit_line, fit_outline
from .rollwords import roll_lines, roll_notes

if TYPE_CHECKING:
    from shapely.geometry import LinearRing, Polygon
    from shapely.geometry.base import BaseGeometry

    from panels.blank import Blank

    from .blankface import Tick

__all__ = ["HAIR_MM", "Face", "Frame", "degrees", "face_of", "label_words", "laid", "name_beside", "runs_inside"]

#: Marks along the very edge of a blank count as on its metal.
HAIR_MM = 1e-6
#: Lines that are not cut end this far inside the cut, so that a burn at their end does not nick the edge.
INSIDE_MM = 2.0
#: What is left of a line is drawn from this length up, mm.
SHORTEST_MM = 0.5
#: Least length of a match tick that is left on an edge without trim, mm.
TICK_MM = 3.0
#: How far from a small blank its name stands beside it, and its letters, mm.
BESIDE_MM = 4.0
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
class Face:
    """A blank ready for drawing, in its own frame."""

    blank: Blank
    outer: Path
    holes: tuple[Path, ...]
    lines: tuple[Line, ...]
    notes: tuple[Note, ...]  # those that found room
    label: Label
    signs: tuple[Sign, ...]

    @property
    def unlettered(self) -> frozenset[str]:
        """Letters of edges that found no room for them."""
        return frozenset(edge.letter for edge in self.blank.edges) - {"", *(sign.text for sign in self.signs)}

    def cuts(self, frame: Frame) -> tuple[tuple[Path, ...], Path]:
        """Holes and outline where they lie, the part always on the right."""
        holes, outer = tuple(frame.path(hole) for hole in self.holes), frame.path(self.outer)
        if frame.flipped:
            return tuple(hole.reversed() for hole in holes), outer.reversed()
        return holes, outer


def face_of(blank: Blank, number: str = "", kerf_mm: float = 0.0, ticks: Sequence[Tick] = ()) -> Face:
    """Work out what is drawn on a blank, piece ``number`` of the job; the kerf is in its outline and holes.

    ``ticks`` are the strokes across its seams that meet those of its neighbours (`blankface.seam_ticks`).

    Raises JobError, a ValueError, where the kerf closes a hole or a slot.
    """
    from shapely import GeometryCollection

    outer, holes = _cut_paths(kerfed(blank.outline, kerf_mm, blank.name))
    label = find_label(blank, label_words(blank, number))
    metal = blank.outline.buffer(-INSIDE_MM, quad_segs=4)
    lines, wanted = _lines(blank, metal, label)
    lines += _tick_lines(ticks, metal)
    drawn = _drawn(lines, label)
    words_too = [face_words(label)] if says_face(blank, label) else []
    signs = seam_signs(blank, metal, GeometryCollection([drawn, *words_too]))
    notes = place_notes(wanted, blank.outline, drawn, (label_room(label), signs_room(signs)))
    notes += _fitting_notes(blank, metal, label, wanted, notes, (label_room(label), signs_room(signs)))
    crossed = [box for box in map(note_box, notes) if box.intersects(drawn)]
    if crossed:  # no place for the words of a fold or fitting is clear of the stations: those are broken there
        lines = [*_lines(blank, metal, label, crossed)[0], *_tick_lines(ticks, metal)]
    return Face(blank, outer, holes, tuple(lines), notes, label, tuple(signs))


def _fitting_notes(
    blank: Blank,
    metal: BaseGeometry,
    label: Label,
    wanted: Sequence[Wanted],
    notes: Sequence[Note],
    signs: tuple[BaseGeometry, ...],
) -> tuple[Note, ...]:
    """Places for names of fittings that had none: on stations, which are broken there, else away, led to."""
    names = {mark.label for mark in blank.marks if mark.kind == "fitting" and mark.label}
    placed = {id(note.of) for note in notes}
    left = [one for one in wanted if one.text in names and id(one) not in placed]
    if not left:
        return ()
    bare = replace(blank, marks=tuple(mark for mark in blank.marks if mark.kind not in BREAKABLE))
    drawn = _drawn(_lines(bare, metal, label)[0], label)
    taken = [*signs, *map(note_box, notes)]
    found = list(place_notes(left, blank.outline, drawn, taken))
    taken += map(note_box, found)
    near = {id(note.of) for note in found}
    for one in left:
        away = None if id(one) in near else place_away(one, blank.outline, drawn, taken)
        if away is not None:
            found.append(away)
            taken.append(note_box(away))
    return tuple(found)


def _cut_paths(shape: Polygon) -> tuple[Path, tuple[Path, ...]]:
    """Outline and holes, without pieces that a torch would stand still on."""
    from shapely.geometry import LinearRing as Ring

    outer, holes = fit_outline(shape)

    def own(hole: Path) -> LinearRing:
        drawn = Ring(hole.dense(0.5))
        return min(shape.interiors, key=drawn.hausdorff_distance)

    return without_short(outer, shape.exterior), tuple(without_short(hole, own(hole)) for hole in holes)


def label_words(blank: Blank, number: str) -> str:
    """Number, name and side, as they are written on the blank.

    The side is left away where the name has it, and on the centre line.
    """
    side = "" if blank.hand == "centre" or blank.hand in blank.name.split() else blank.hand
    return " ".join(part for part in (number, blank.name, side) if part)


def _lines(
    blank: Blank, metal: BaseGeometry, label: Label, gaps: Sequence[BaseGeometry] = ()
) -> tuple[list[Line], list[Wanted]]:
    """Trim lines, folds and marks of a blank, and what is to be written beside them.

    Lines that there are many of are broken where the label stands with the words below it, and at ``gaps``.
    """
    from shapely import prepare, union_all

    words_too = [face_words(label)] if label.lines and not is_strip(blank) else []
    broken = metal.difference(union_all([label.box, *words_too, *gaps])) if label.lines or gaps else metal
    prepare(metal)
    prepare(broken)
    lines: list[Line] = []
    notes: list[Wanted] = []

    def add(layer: str, points: np.ndarray, on: BaseGeometry = metal) -> None:
        for run in runs_inside(points, on):
            if np.hypot(*np.diff(run, axis=0).T).sum() >= SHORTEST_MM:
                lines.append(Line(layer, fit_line(run)))

    bent = {lip.letter for lip in blank.lips}  # the lines of the bend say where: the net line runs a hair beside one
    for edge in blank.edges:
        if edge.allowance > 0.05 and not (edge.joint == "fold" and edge.letter and edge.letter in bent):
            near = edge.allowance < INSIDE_MM + SHORTEST_MM  # the whole line lies that near the cut
            on = blank.outline.buffer(-edge.allowance / 2) if near else metal
            add("trim" if edge.joint not in STAYS else "scribe", edge.points, on)
    for fold in blank.folds:
        add("up" if fold.up else "down", np.array([fold.start, fold.end]))
        for tangent in fold.tangents:
            add("scribe", tangent)
        half = float(np.abs(_across(fold.start, fold.end, fold.tangents.reshape(-1, 2))).max(initial=0.0))
        notes.append(Wanted(fold_text(fold, False), np.array([fold.start, fold.end]), half, fold))
    for ends in roll_lines(blank):
        add("scribe", ends)
    notes += [Wanted(says, ends) for says, ends in roll_notes(blank)]
    for mark in blank.marks:
        if mark.kind == "grid":
            continue
        add("scribe", mark.points, broken if mark.kind in BREAKABLE else metal)
        if mark.label and len(mark.points) > 1:
            notes.append(Wanted(mark.label, mark.points))
    return _without_repeats(lines), notes


def name_beside(face: Face, says: str, frame: Frame) -> list[Item]:
    """The name right of a blank that carries no more than its number; nothing where it carries its name."""
    if says in " ".join(face.label.lines):
        return []
    x1, y0, y1 = (face.blank.outline.bounds[k] for k in (2, 1, 3))
    at = frame.points(np.array([x1, (y0 + y1) / 2])) + [BESIDE_MM, -BESIDE_MM / 2]
    return [Words("text", plain(says), corner(at), BESIDE_MM)]


def _tick_lines(ticks: Sequence[Tick], metal: BaseGeometry) -> Iterator[Line]:
    """Match ticks to scribe, from 2 mm inside the cut to some way inside the net edge: a trimmed edge has them too."""
    for tick in ticks:
        outer, inner = tick.ends
        inward = (inner - outer) / np.hypot(*(inner - outer))
        net = outer + inward * max(tick.edge.allowance, 0.0)
        ends = np.array([outer, net + inward * max(float((inner - net) @ inward), INSIDE_MM + TICK_MM)])
        for run in runs_inside(ends, metal)[:1]:
            yield Line("scribe", fit_line(run))


def _drawn(lines: list[Line], label: Label) -> BaseGeometry:
    """Where lines and the label stand, as one geometry."""
    from shapely import GeometryCollection, LineString, MultiLineString

    paths = MultiLineString([LineString(line.path.dense(0.5)) for line in lines])
    return GeometryCollection([paths, label.box]) if label.lines else paths


def laid(face: Face, frame: Frame, held: bool = False) -> list[Item]:
    """Lines, notes and label of a blank where it lies, with the word HOLD where it waits; not its cuts."""
    items: list[Item] = []
    for line in face.lines:
        layer = OVER.get(line.layer, line.layer) if frame.flipped else line.layer
        items.append(Line(layer, frame.path(line.path)))
    for note in face.notes:
        text = note.text if note.fold is None else fold_text(note.fold, note.fold.up != frame.flipped)
        at, turn = corner(frame.points(note.middle)), degrees(frame.matrix @ note.along)
        items.append(Words("text", plain(text), at, note.height, turn, middle=True))
        if note.lead is not None:
            items.append(Line("text", fit_line(frame.points(note.lead))))
    return items + label_items(face, frame, held)


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


def _across(start: np.ndarray, end: np.ndarray, points: np.ndarray) -> np.ndarray:
    """How far points (n, 2) lie to the left of the line from start to end, mm."""
    along = (end - start) / max(1e-9, float(np.hypot(*(end - start))))
    off = points - start
    return np.asarray(along[0] * off[:, 1] - along[1] * off[:, 0])


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
