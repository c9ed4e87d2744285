"""Where words beside the lines of a blank go, so that none stands on another, on a line or on the label.

Words used here
    wanted   words that belong to a line, before they have a place
    note     words with a place: about their middle, along their line
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from .cutting_marks import SMALL_MM, Label, upright

if TYPE_CHECKING:
    from shapely.geometry import Polygon
    from shapely.geometry.base import BaseGeometry

    from panels.blank import Fold

__all__ = ["Note", "Wanted", "fold_text", "label_room", "note_box", "place_away", "place_notes"]

#: Letters from the largest down, mm.
HEIGHTS_MM = (3.5, 2.5, 2.0)
#: Most that a letter takes of a line, heights: readers of DXF use their own letters, wide ones among them.
LETTER = 0.95
#: Between words and the line they belong to, and round them, mm.
OFF_MM, CLEAR_MM = 1.2, 0.4
#: How much farther off words are tried that find no room close by a short line, mm.
FAR_MM = 5.0
#: Letters of words that stand away from what they name, and how far off they are tried, mm.
AWAY_MM = (3.5, 2.5)
AWAY_FAR_MM = np.arange(5.0, 90.0, 3.0)
#: Places along a line are tried this far apart, mm.
STEP_MM = 9.0
#: Lines this short are those of fittings.
SHORT_LINE_MM = 25.0
#: A grain arrow is at most so long, mm.
ARROW_MM = 60.0


@dataclass(frozen=True)
class Wanted:
    """Words for a line, points (n, 2), ``clear`` mm away from it; those of a fold ``must`` be there."""

    text: str
    line: np.ndarray
    clear: float = 0.0
    fold: Fold | None = None
    must: bool = False


@dataclass(frozen=True)
class Note:
    """Words about ``middle`` (2,), along a direction (2,) of the blank's frame."""

    text: str
    middle: np.ndarray
    along: np.ndarray
    height: float
    fold: Fold | None = None
    of: Wanted | None = None
    lead: np.ndarray | None = None  # ends (2, 2) of a line to what it names, where it stands away from that


def fold_text(fold: Fold, up: bool) -> str:
    """What is written beside a fold."""
    return f"FOLD {'UP' if up else 'DOWN'} {fold.angle:.1f} deg, inside R {fold.inside_radius:.1f}"


def place_notes(
    wanted: Sequence[Wanted],
    outline: Polygon,
    drawn: BaseGeometry,
    signs: Sequence[BaseGeometry] = (),
    heights: Sequence[float] = HEIGHTS_MM,
) -> tuple[Note, ...]:
    """A place for every note that finds one on the metal of ``outline``, clear of what is drawn and of the signs.

    The words of a fold that find no free place stand near its start all the same, other words
    are left out: they say what the line's kind and the drawings say too.
    """
    from shapely import covers, intersects, prepare

    prepare([outline, drawn, *signs])
    taken: list[BaseGeometry] = list(signs)
    notes = []
    for one in sorted(wanted, key=_rank):
        found: tuple[Note, BaseGeometry] | None = None
        for height in heights:
            middles, along = _places(one, height)
            boxes = _boxes(middles, along, one.text, height)
            free = covers(outline, boxes)
            if taken:
                free &= ~intersects(np.array(taken)[:, None], boxes[None]).any(axis=0)
            free[free] = ~intersects(drawn, boxes[free])
            must = (one.must or one.fold is not None) and found is None
            if free.any() or must:
                k = int(free.argmax())
                found = Note(one.text, middles[k], along[k], height, one.fold, one), boxes[k]
            if free.any():
                break
        if found is not None:
            notes.append(found[0])
            taken.append(found[1])
    return tuple(notes)


def place_away(wanted: Wanted, outline: Polygon, drawn: BaseGeometry, signs: Sequence[BaseGeometry]) -> Note | None:
    """A place on the metal away from what the words name, nearest first, with a free way for a line to it."""
    from shapely import covers, intersects, linestrings, prepare

    prepare([outline, drawn, *signs])
    low, high = wanted.line.min(axis=0), wanted.line.max(axis=0)
    at, radius = (low + high) / 2, float((high - low).max()) / 2
    turns = np.arange(16) * math.pi / 8
    ways = np.column_stack([np.cos(turns), np.sin(turns)])
    for height in AWAY_MM:
        half = np.array([LETTER * height * len(wanted.text) / 2 + CLEAR_MM, height / 2 + CLEAR_MM])
        off = (radius + AWAY_FAR_MM)[:, None, None] * ways + ways * half
        middles, way = (at + off).reshape(-1, 2), np.tile(ways, (len(AWAY_FAR_MM), 1))
        along = np.tile([1.0, 0.0], (len(middles), 1))
        boxes = _boxes(middles, along, wanted.text, height)
        # From the rim of what is named to the words: where the way leaves their box.
        share = np.min(half / np.maximum(np.abs(middles - at), 1e-9), axis=1)
        ends = np.stack([at + way * (radius + OFF_MM / 2), middles - (middles - at) * share[:, None]], axis=1)
        good = covers(outline, boxes)
        good[good] = ~intersects(drawn, boxes[good])
        leads = linestrings(ends)
        for sign in signs:
            good &= ~(intersects(sign, boxes) | intersects(sign, leads))
        good &= covers(outline, leads)
        if good.any():
            k = int(good.argmax())
            return Note(wanted.text, middles[k], along[k], height, None, wanted, ends[k])
    return None


def _rank(wanted: Wanted) -> tuple[bool, bool]:
    """Folds first, then fittings and other short lines, then what is there many times."""
    return wanted.fold is None, bool(np.ptp(wanted.line, axis=0).max() > SHORT_LINE_MM)


def label_room(label: Label) -> BaseGeometry:
    """Where the label stands with the words and the grain arrow about it, whichever way up it is read."""
    from shapely import Polygon

    if not label.lines:
        return label.box
    wide, deep = label.size
    height = min(SMALL_MM, label.room / 4)
    arrow = max(10.0, min(ARROW_MM, label.room))
    x = label.along * (max(wide, arrow) / 2 + 2.0)
    y = np.array([-label.along[1], label.along[0]]) * (deep / 2 + 4.5 * height)
    spot = label.spot
    return Polygon([spot - x - y, spot + x - y, spot + x + y, spot - x + y])


def _places(wanted: Wanted, height: float) -> tuple[np.ndarray, np.ndarray]:
    """Middles (k, 2) of places for the words and which way they run (k, 2), the best first.

    From near the line's start on, on either side of it; about a line that is shorter than its words: above it,
    below it, at its right and left, then aslant, then a little farther off.
    """
    points = np.asarray(wanted.line, dtype=float)
    run = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(points, axis=0).T))])
    wide = LETTER * height * len(wanted.text)
    if run[-1] < wide:
        low, high = points.min(axis=0), points.max(axis=0)
        x, y = (high - low) / 2 + OFF_MM + wanted.clear + np.array([wide, height]) / 2
        off = np.array([(0, y), (0, -y), (x, 0), (-x, 0), (x / 2, y), (-x / 2, y), (x / 2, -y), (-x / 2, -y)])
        off = np.concatenate([off, off[:4] + np.sign(off[:4]) * FAR_MM])  # past what stands close by
        return (low + high) / 2 + off, np.tile([1.0, 0.0], (len(off), 1))
    first = min(8.0, run[-1] / 4) + wide / 2
    s = np.arange(first, max(first, run[-1] - wide / 2) + 1e-9, STEP_MM)

    def at(where: np.ndarray) -> np.ndarray:
        return np.column_stack([np.interp(where, run, points[:, k]) for k in (0, 1)])

    way = at(s + wide / 2) - at(s - wide / 2)
    along = np.array([upright(step / max(1e-9, float(np.hypot(*step)))) for step in way])
    off = np.column_stack([-along[:, 1], along[:, 0]]) * (wanted.clear + OFF_MM + height / 2)
    middles = np.stack([at(s) + off, at(s) - off], axis=1).reshape(-1, 2)
    return middles, np.repeat(along, 2, axis=0)


def note_box(note: Note) -> BaseGeometry:
    """What the words of a note take, with some room round them."""
    found: BaseGeometry = _boxes(note.middle[None], note.along[None], note.text, note.height)[0]
    return found


def _boxes(middles: np.ndarray, along: np.ndarray, text: str, height: float) -> np.ndarray:
    """What the words take at each place, as polygons (k,)."""
    from shapely import polygons

    x = along * (LETTER * height * len(text) / 2 + CLEAR_MM)
    y = np.column_stack([-along[:, 1], along[:, 0]]) * (height / 2 + CLEAR_MM)
    corners = np.stack([middles - x - y, middles + x - y, middles + x + y, middles - x + y], axis=1)
    return np.asarray(polygons(corners))
