"""Seam tags: a seam's letter in a ring, with its joint, allowance, neighbour, and what the edge gains or loses."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from . import words
from .blankface import Face, along_edge
from .blankview import FULL, Sizes, View, axes, box_at, is_free, upright
from .cutting_hold import STAYS
from .look import BLUE, INK, RED
from .pdf import circle, fit_size, pen, text, text_width

if TYPE_CHECKING:
    from panels.blank import Edge

    from ..work import Work

__all__ = ["is_opening", "ringed", "seam_tag"]

FARTHER_MM = 5.5  # in from an edge where the words of its lip stand close to it
Place = tuple[np.ndarray, float, Any, float, np.ndarray]

BOW_MM = 7.0  # an edge that bows more than this under its words has its letter alone


def seam_tag(
    canvas: Any, face: Face, edge: Edge, view: View, sizes: Sizes, taken: list[Any], metal: Any, trims: Sequence[Any]
) -> None:
    """Letter, joint, neighbour and change of length along an edge, at the first place along it that is free.

    Small drawings may carry it outside the outline; where there is no room for all, the letter stands alone.
    """
    room = edge.length_blank * view.scale
    if room < 2 and not edge.letter:
        return
    lines = _seam_lines(edge, face.blank.kind, face.work)
    ring = 2.4 * sizes.tag if edge.letter else 0.0
    size = min(fit_size(row, 0.85 * room - ring, sizes.tag, bold=k > 0, least=0.1) for k, row in enumerate(lines))
    tries: list[tuple[list[str], bool, float]] = []
    if size >= 1.5:
        tries = [(lines, True, 0.0), (lines, True, FARTHER_MM) if sizes is FULL else (lines, False, 0.0)]
    if edge.letter:
        tries += [([], inside, farther) for farther in (0.0, FARTHER_MM, 2 * FARTHER_MM) for inside in (True, False)]
    # The fold of an edge's own lip lies between it and any words: no other edge's is there.
    folds = [] if edge.joint == "fold" else [other for other in taken if other.geom_type == "LineString"]
    if is_opening(face, edge):  # outside it lies the hole, and past that another part of the blank
        tries = [each for each in tries if each[1]]
    widths = {len(rows): _wide(rows, size, ring) for rows in (lines, [])}
    spots: dict[float, tuple[np.ndarray, np.ndarray, np.ndarray]] = {}
    fallback = None  # free, but on a trim line or over the cut
    for rows, inside, farther in tries:
        # A letter alone stands close to the edge: on a long one beside the tick of its middle.
        first = (0.4, 0.6) if not rows and room > 40 else (0.5,)
        for share in (*first, 0.36, 0.64, 0.22, 0.78, *((0.43, 0.57, 0.29, 0.71) if farther else (0.5,))):
            if share not in spots:
                spots[share] = along_edge(edge, face.blank.net, share)
            place = _tag_place(spots[share], edge, rows, size, ring, widths[len(rows)], inside, view, farther)
            box = place[2]
            if rows and place[3] > BOW_MM:
                continue  # words along a chord would stand far off an edge that bows so
            if (inside and not metal.contains(box)) or not is_free(box, taken):
                continue
            if folds and not is_free(_lead(place[4], box, view), folds):
                continue
            if is_free(box, trims) and (inside or not metal.intersects(box)):
                _write_tag(canvas, edge, rows, size, ring, place, sizes)
                taken.append(box)
                return
            fallback = fallback or (rows, place)
    if fallback is not None:
        _write_tag(canvas, edge, fallback[0], size, ring, fallback[1], sizes)
        taken.append(fallback[1][2])


def _wide(rows: Sequence[str], size: float, ring: float) -> float:
    """Width of a tag on the page."""
    return ring + max((text_width(row, size, bold=k > 0) for k, row in enumerate(rows)), default=0.0)


def _lead(point: np.ndarray, box: Any, view: View) -> Any:
    """The way on the page from an edge to the middle of its tag: across a fold it would be read as another edge's."""
    from shapely.geometry import LineString

    return LineString([view.points(point), box.centroid])


def is_opening(face: Face, edge: Edge) -> bool:
    """Whether the edge runs round an opening in the blank."""
    from shapely.geometry import Point

    rim = face.blank.outline
    if not rim.interiors:
        return False
    middle = Point(*edge.points[len(edge.points) // 2])
    return any(ring.distance(middle) < rim.exterior.distance(middle) for ring in rim.interiors)


def _tag_place(
    spot: tuple[np.ndarray, np.ndarray, np.ndarray],
    edge: Edge,
    rows: Sequence[str],
    size: float,
    ring: float,
    wide: float,
    inside: bool,
    view: View,
    farther: float = 0.0,
) -> Place:
    """Left middle of a seam tag on the page, its turn in degrees, the box it takes, how far the edge bows along it, mm
    on the page, and where on the edge it is."""
    point, along, inward = spot
    turn = upright(along)
    unit, up = axes(turn)
    depth = max(len(rows) * 1.35 * size, ring)
    way = inward if inside else -inward
    # Clear of the edge where it bends towards the words, and of the half tick or the allowance.
    off = (edge.points - point) * view.scale
    near = np.abs(off @ along) <= wide / 2
    reach = (off @ way)[near]
    clear, bow = max(0.0, float(reach.max(initial=0.0))), float(np.ptp(reach)) if near.any() else 0.0
    clear += farther + ((6.2 if rows else 2.0) if inside else edge.allowance * view.scale + 1.5)
    start = view.points(point) + way * (clear + depth / 2) - unit * wide / 2
    return start, turn, box_at(start - up * depth / 2, wide, depth + 0.6, turn), bow, point


def _write_tag(
    canvas: Any,
    edge: Edge,
    rows: Sequence[str],
    size: float,
    ring: float,
    place: Place,
    sizes: Sizes,
) -> None:
    start, turn, *_ = place
    unit, up = axes(turn)
    for k, row in enumerate(rows):
        base = start + unit * ring + up * ((len(rows) / 2 - k - 1) * 1.35 * size + 0.3 * size)
        colour = INK if k == 0 else (RED if edge.gain > 0 else BLUE)
        text(canvas, base[0], base[1], row, size, turn=turn, bold=k > 0, colour=colour, paper=True)
    if edge.letter:
        ringed(canvas, start + unit * ring / 2, edge.letter, sizes.tag)


def _seam_lines(edge: Edge, kind: str, work: Work) -> list[str]:
    unit = work.job.unit
    metal = words.edge_metal(edge, unit) if edge.allowance >= 0.05 else "net edge"
    first = f"{metal}, meets {edge.meets}" if edge.meets else f"free edge, {metal}"
    joint, lies = words.joint_of(edge, work.seams)
    if lies or (joint == "butt" and edge.allowance >= 0.05):
        carries = edge.joint in STAYS
        first = f"{'' if carries else f'{joint}, '}{first}{f', lies {lies}' if lies else ''}"
    change = words.edge_change(edge, kind, unit)
    return [first, change] if change != "as it is" else [first]


def ringed(canvas: Any, at: np.ndarray, letter: str, size: float) -> None:
    """A letter in a ring."""
    radius = max(0.95 * size, 0.6 * text_width(letter, size, bold=True) + 0.4)
    pen(canvas, "register")
    circle(canvas, float(at[0]), float(at[1]), radius, paper=True)
    text(canvas, float(at[0]), float(at[1]) - 0.36 * size, letter, size, bold=True, align="middle")
