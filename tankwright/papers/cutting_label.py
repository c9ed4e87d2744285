"""The label of a blank where it lies: number and name, seam letters, good face, grain, and HOLD on what waits.

Words used here
    standing    what words may not cover: the label, letters, notes
    read box    what words take, along the way they are read

Words beside the label stand at their place below it, else where there is metal for them.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from .cutting_hold import is_strip
from .cutting_items import Corner, Item, Line, Words
from .cutting_marks import Label, Sign, label_signs, marks_box, sign_lines, signs_room, upright
from .cutting_notes import LETTER, note_box
from .cutting_room import on_metal, room_for
from .outline import Path

if TYPE_CHECKING:
    from shapely.geometry import Polygon
    from shapely.geometry.base import BaseGeometry

    from panels.blank import Blank

    from .cutting_blank import Face, Frame

__all__ = ["corner", "degrees", "face_words", "label_items", "says_face"]

#: A letter takes at least so much of a line, heights, in narrow letters.
NARROW = 0.7
#: Letters of the word on a part that waits; a grain arrow's word; lengths of arrow that are tried where room is short.
HOLD, HOLD_MM, CLEAR_MM = "HOLD", (12.0, 8.0, 6.0, 5.0, 4.0, 3.0), 1.0
GRAIN_LETTER_MM, ARROWS_MM = 3.0, (40.0, 25.0, 16.0, 12.0)


def face_words(label: Label) -> Polygon:
    """Where the words on the good face stand, below the label whichever way up it is read."""
    height = min(4.0, label.room / 4)
    _, deep = label.size
    return marks_box(label.spot, label.along, LETTER * height * len("GOOD FACE DOWN"), deep + 3.8 * height, 0.0)


def says_face(blank: Blank, label: Label, text: str = "good face up") -> bool:
    """Whether the words of the good face find room below the label; else those of the file say it.

    A test strip has no good face.
    """
    height = min(4.0, label.room / 4)
    reach = marks_box(_below(label), label.along, NARROW * height * len(text), height, 0.0)
    return not is_strip(blank) and bool(blank.outline.covers(reach))


def _below(label: Label) -> np.ndarray:
    """Middle (2,) of the words below a label, as the blank itself is read."""
    along, height = upright(label.along), min(4.0, label.room / 4)
    return label.spot + np.array([along[1], -along[0]]) * (label.size[1] / 2 + 1.2 * height)


def label_items(face: Face, frame: Frame, held: bool) -> list[Item]:
    """Number and name in strokes, seam letters, and in words which face is up, where the grain runs, what waits."""
    label = face.label
    spot, along = frame.points(label.spot), upright(frame.matrix @ label.along)
    down = np.array([along[1], -along[0]])
    items: list[Item] = [line for sign in label_signs(label, spot, along) for line in sign_lines(sign)]
    for sign in face.signs:
        turned = Sign(sign.text, frame.points(sign.middle), frame.matrix @ sign.along, sign.height)
        items += sign_lines(turned)
    wide, deep = label.size
    height = min(4.0, label.room / 4)
    below = spot + down * (deep / 2 + 1.2 * height)
    text = "GOOD FACE DOWN" if frame.flipped else "good face up"
    if says_face(face.blank, label, text) or (frame.flipped and not is_strip(face.blank)):
        items.append(Words("text", text, corner(below), height, degrees(along), middle=True))
    taken: list[BaseGeometry] = []
    if face.blank.grain_deg is not None:
        turn = math.radians(face.blank.grain_deg)
        grain = frame.matrix @ np.array([math.cos(turn), math.sin(turn)])
        lies_along = abs(float(grain @ along)) > math.sqrt(0.5)
        beneath = below + down * (0.0 if is_strip(face.blank) else 1.4 * height)
        middle = beneath if lies_along else spot - along * (wide / 2 + 9.5)
        items += _grain_arrow(face, frame, middle, grain, taken)
    return items + (_hold_word(face, frame, taken) if held else [])


def _hold_word(face: Face, frame: Frame, taken: list[BaseGeometry]) -> list[Item]:
    """HOLD in letters as large as find room, near the label."""
    x = np.array([1.0, 0.0])
    shapes = [
        _read_box(x, half, -h / 2 - CLEAR_MM, h / 2 + CLEAR_MM) @ frame.matrix
        for h in HOLD_MM
        if (half := LETTER * h * len(HOLD) / 2 + CLEAR_MM)
    ]
    found = room_for(face.blank.outline, shapes, face.label.spot, _standing(face, taken), _lines_of(face))
    if found is None:
        return []  # the words of the file say it
    k, at = found
    return [Words("text", HOLD, corner(frame.points(at)), HOLD_MM[k], middle=True)]


def _grain_arrow(
    face: Face, frame: Frame, middle: np.ndarray, along: np.ndarray, taken: list[BaseGeometry]
) -> list[Item]:
    """A line with a head at both ends, for grain runs either way, and its word below it: at its place by the label,
    else where there is metal for it; ``taken`` grows by what it covers."""
    from shapely import Polygon

    first = max(10.0, min(60.0, face.label.room))
    lengths = (first, *(length for length in ARROWS_MM if length < first))
    shapes = [_arrow_box(along, length) @ frame.matrix for length in lengths]
    at, k = (middle - frame.shift) @ frame.matrix, 0
    if not on_metal(face.blank.outline, shapes[0], at):
        found = room_for(face.blank.outline, shapes, at, _standing(face, []), _lines_of(face))
        if found is None:
            return []  # the words of the file say it
        k, at = found
    taken.append(Polygon(shapes[k] + at))
    return _arrow(frame.points(at), along, lengths[k])


def _arrow(middle: np.ndarray, along: np.ndarray, length: float) -> list[Item]:
    side = np.array([-along[1], along[0]])
    ends = middle - along * length / 2, middle + along * length / 2
    barb = min(4.0, length / 5)
    left, right = (
        np.array([end + s * along * barb + side * barb / 2, end, end + s * along * barb - side * barb / 2])
        for end, s in zip(ends, (1, -1), strict=True)
    )
    reads = upright(along)
    at = corner(middle + np.array([reads[1], -reads[0]]) * (barb / 2 + 2.5))  # below the heads too
    return [
        *(Line("text", Path(points, np.zeros(len(points)), False)) for points in (np.array(ends), left, right)),
        Words("text", "GRAIN", at, GRAIN_LETTER_MM, degrees(along), middle=True),
    ]


def _arrow_box(along: np.ndarray, length: float) -> np.ndarray:
    """What a grain arrow takes with its word below it (4, 2), about the arrow's middle."""
    barb = min(4.0, length / 5) / 2
    half = max(length, LETTER * GRAIN_LETTER_MM * len("GRAIN")) / 2 + 0.5
    return _read_box(along, half, -(barb + 2.5 + GRAIN_LETTER_MM / 2), barb)


def _read_box(along: np.ndarray, half: float, low: float, high: float) -> np.ndarray:
    """Corners (4, 2) of a box along a direction, from ``low`` to ``high`` across it as it is read."""
    reads = upright(along)
    up = np.array([-reads[1], reads[0]])
    corners = ((-half, low), (half, low), (half, high), (-half, high))
    return np.array([reads * a + up * b for a, b in corners])


def _standing(face: Face, more: Sequence[BaseGeometry]) -> BaseGeometry:
    """What words may not cover: label with the words below it, seam letters, notes, and more."""
    from shapely import union_all

    words_too = [face.label.box, face_words(face.label)] if face.label.lines else []
    return union_all([*words_too, signs_room(face.signs), *map(note_box, face.notes), *more])


def _lines_of(face: Face) -> BaseGeometry:
    from shapely import LineString, MultiLineString

    return MultiLineString([LineString(line.path.dense(0.5)) for line in face.lines])


def corner(at: np.ndarray) -> Corner:
    """A point as a pair of plain numbers."""
    return float(at[0]), float(at[1])


def degrees(along: np.ndarray) -> float:
    """Turn of words along a direction, so that they are read upright."""
    x, y = upright(along).tolist()
    return round(math.degrees(math.atan2(y, x)), 3)
