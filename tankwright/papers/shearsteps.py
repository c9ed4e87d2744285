"""The shear's work on one sheet told cut by cut, for somebody who has only the page and a rule.

Words used here
    piece     what lies under the shear: the whole sheet, then what earlier cuts left, by the labels of the nest
    first     the piece measured off, nearer the sheet's origin; the rest is what lies beyond the cut
    finished  an edge on which nothing is left to trim: a stroke along it must sit on the line

All in mm from the lower left corner of the sheet, drawn good face up.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from . import words
from .blankface import named
from .cutting_hold import BEND_HOLD, finished_edges, strip_source, strips_of, waits
from .cutting_words import column_figure as figure
from .shearhold import Box, closes_on, held_cuts, piece_boxes, within

if TYPE_CHECKING:
    from nesting.model import Cut, Placed
    from panels.blank import Blank

    from ..work import Work

__all__ = [
    "Step",
    "finished_by",
    "finished_words",
    "measured",
    "shear_hold",
    "shear_steps",
    "stroke_cautions",
    "turn_words",
]

#: A finished edge this near a stroke is made by it: a shear is set no finer, mm.
ON_MM = 0.25
#: A shorter run along a stroke is a tip or the crest of a curve that touches it, mm.
TOUCH_MM = 5.0
STEP_MM = 0.5


class Step(NamedTuple):
    """One cut in words, a cell each."""

    order: str
    take: str  # the piece to lay under the shear, and its size
    measure: str  # how far from which of its edges
    stroke: str  # which way the cut runs, and how long it is
    first: str  # the piece left or below the cut: its label, size and use
    second: str  # and that right of it or above
    mind: str  # what waits, what is squared, what is a finished edge


def shear_steps(work: Work, index: int) -> Iterator[Step]:
    """The cuts of a sheet in cutting order.

    Every size is rounded by itself, as on all other papers: a sum may be off by one in the last place.
    """
    unit = work.job.unit
    boxes = piece_boxes(work, index)
    sizes = {label: (x1 - x0, y1 - y0) for label, (x0, y0, x1, y1) in boxes.items()}
    cuts = [cut for cut in work.layout.cuts if cut.sheet == index]
    later = {cut.piece for cut in cuts}
    minds, measures = stroke_cautions(work, index), measured(work, index)
    for cut in cuts:
        edge, distance, filled = measures[cut.order]
        mind = [minds[cut.order]] if cut.order in minds else []
        if cut.purpose == "square":
            squared = any(c.purpose == "square" and c.axis != cut.axis and c.order < cut.order for c in cuts)
            clean = f"makes a clean {edge} edge, all else is squared to it"
            mind.append("square to the edge just cut" if squared else clean)
        if filled:
            mind.append(f"from the {edge} edge: {filled} is what is left there, and has no trim")
        take = "the whole sheet" if cut.piece == str(index + 1) else f"piece {cut.piece}"
        sides = ("left", "right") if cut.axis == "x" else ("lower", "upper")
        first, second = (
            f"{side}: piece {label}, {_size(sizes[label], unit)}, {_use(work, index, label, boxes, label in later)}"
            for side, label in zip(sides, cut.makes, strict=True)
        )
        across = "up and down" if cut.axis == "x" else "side to side"
        yield Step(
            str(cut.order),
            f"{take}, {_size(sizes[cut.piece], unit)}",
            f"{figure(distance, unit)} from its {edge} edge",
            f"{across}, {figure(cut.length, unit)} long",
            first,
            second,
            "; ".join(mind),
        )


def measured(work: Work, index: int) -> dict[int, tuple[str, float, str]]:
    """By the number of the cut: the edge of its piece that it is measured from, how far, and for what part's sake.

    From the left or lower edge, and no part named; from the far one where a part without trim is just what is left
    there: errors of all cuts before would pile up on it.
    """
    boxes, found = piece_boxes(work, index), {}
    for cut in work.layout.cuts:
        if cut.sheet == index:
            k, rest = ("xy".index(cut.axis), boxes[cut.makes[1]])
            filled = _fills(work, index, rest, cut.axis)
            near = (("left", "lower")[k], cut.distance, "")
            found[cut.order] = (("right", "upper")[k], rest[k + 2] - rest[k], filled) if filled else near
    return found


def shear_hold(work: Work, index: int) -> str:
    """What to bend before the strokes marked HOLD, in a sentence; empty where no part of the sheet waits."""
    placed = {p.part.name for p in work.layout.on_sheet(index)}
    held = [named(work, blank.name) for blank in work.blanks if blank.name in placed and waits(blank)]
    if not held:
        return ""
    sources = "; ".join(dict.fromkeys(strip_source(work, strip) for strip in strips_of(work)))
    piece = f"whatever is cut out of the piece that holds {'it' if len(held) == 1 else 'them'}"
    which = f"Strokes marked HOLD, and {piece}," if held_cuts(work, index) else f"W{piece[1:]} has to"
    return f"HOLD {', '.join(held)}. The test strip comes first: {sources}. {which} {BEND_HOLD}."


def stroke_cautions(work: Work, index: int) -> dict[int, str]:
    """What to mind at a stroke, by its number, in the few words of a table: that it waits for the bend test, whose
    finished edge it makes or touches. `finished_words` says at length what that asks for."""
    told: dict[int, list[str]] = {}
    for order, names in held_cuts(work, index).items():
        held = ", ".join(named(work, name) for name in names)
        told[order] = [f"HOLD, fixes {held}" if names else "HOLD"]
    for order, runs in finished_by(work, index).items():
        made = ", ".join(f"{named(work, name)} ({words.length(run, work.job.unit)})" for name, run in runs if run > 0)
        touched = ", ".join(named(work, name) for name, run in runs if run == 0)
        said = told.setdefault(order, [])
        said += [f"finished edge of {made}"] * bool(made) + [f"touches {touched}"] * bool(touched)
    return {order: "; ".join(said) for order, said in sorted(told.items())}


def finished_by(work: Work, index: int) -> dict[int, tuple[tuple[str, float], ...]]:
    """By the number of the cut: parts whose finished edge it runs along, and how far, mm; 0 where it only touches."""
    blanks, boxes = {blank.name: blank for blank in work.blanks}, piece_boxes(work, index)
    edges = [
        (placed.part.name, placed.outline.bounds, _dense_edges(blanks[placed.part.name], placed))
        for placed in work.layout.on_sheet(index)
        if placed.part.name in blanks
    ]
    found = {}
    for cut in work.layout.cuts:
        if cut.sheet == index:
            here = boxes[cut.piece]  # what was parted off before is under the shear no more
            runs = ((name, _run_along(cut, points)) for name, bounds, points in edges if within(bounds, here))
            along = tuple((name, run) for name, run in runs if run is not None)
            if along:
                found[cut.order] = along
    return found


def finished_words(work: Work, index: int) -> dict[int, str]:
    """The same in words for whoever sets the shear, by the number of the cut."""
    unit = work.job.unit
    told = {}
    for order, runs in finished_by(work, index).items():
        made = [f"{named(work, name)}, along {words.length(run, unit)} of it" for name, run in runs if run > 0]
        touched = [named(work, name) for name, run in runs if run == 0]
        says = [f"measure carefully: this stroke is the finished edge of {'; '.join(made)}"] if made else []
        beyond = "nothing may come off beyond it"
        says += [f"it touches the finished edge of {', '.join(touched)}: {beyond}"] if touched else []
        told[order] = "; ".join(says)
    return told


def _dense_edges(blank: Blank, placed: Placed) -> np.ndarray:
    """Points (n, 2) on the sheet along the finished edges of a placed blank, `STEP_MM` apart or a little less."""
    from shapely import get_coordinates, segmentize
    from shapely.geometry import LineString

    from .cutting import frame

    lines = [LineString(edge.points) for edge in finished_edges(blank)]
    if not lines:
        return np.empty((0, 2))
    matrix, shift = frame(placed)
    return get_coordinates(segmentize(lines, STEP_MM)) @ matrix.T + shift


def _run_along(cut: Cut, points: np.ndarray) -> float | None:
    """How far points lie along a cut, mm; 0 where they only touch it, None where they do not."""
    across, along = (0, 1) if cut.axis == "x" else (1, 0)
    (start, end) = sorted(point[along] for point in cut.line)
    on = np.abs(points[:, across] - cut.line[0][across]) <= ON_MM
    on &= (points[:, along] >= start - ON_MM) & (points[:, along] <= end + ON_MM)
    if not on.any():
        return None
    steps = np.unique(np.floor(points[on, along] / STEP_MM))  # so many steps of the cut are taken
    run = float(len(steps) * STEP_MM)
    return run if run >= TOUCH_MM else 0.0


def _fills(work: Work, index: int, rest: Box, axis: str) -> str:
    """The part, of finished edges, that is just what a cut leaves: errors of all cuts before would pile up on it."""
    from .cutting_hold import NET_MM

    blanks = {blank.name: blank for blank in work.blanks}
    for placed in work.layout.on_sheet(index):
        blank = blanks.get(placed.part.name)
        if blank and blank.edges and all(edge.allowance < NET_MM for edge in blank.edges):
            part = placed.outline.bounds
            if closes_on(part, rest, axis):
                return named(work, blank.name)
    return ""


def _size(size: tuple[float, float], unit: str) -> str:
    return f"{figure(size[0], unit)} \u00d7 {figure(size[1], unit)}"


def turn_words(degrees: float) -> str:
    """A turn to 0.1 degrees, whole ones without the point.

    >>> turn_words(90.0), turn_words(89.44)
    ('90\u00b0', '89.4\u00b0')
    """
    return f"{words.fixed(degrees, 1).removesuffix('.0')}\u00b0"


def _use(work: Work, index: int, label: str, boxes: dict[str, Box], goes_on: bool) -> str:
    """What becomes of a piece; of a blank's own rectangle, where the blank lies in it and how it is turned."""
    x0, y0, _, _ = boxes[label]
    unit = work.job.unit
    if goes_on:
        return "cut again"
    waiting = {blank.name for blank in work.blanks if waits(blank)}
    held = []
    for placed in work.layout.on_sheet(index):
        if within(placed.outline.bounds, boxes[label]):
            a, b, _, _ = placed.outline.bounds
            off = [max(0.0, a - x0), max(0.0, b - y0)]
            lies = f", {figure(off[0], unit)} from its left and {figure(off[1], unit)} from below"
            turn = placed.turn_deg % 360
            aslant = "" if min(turn, 360 - turn) < 0.05 else f", turned {turn_words(turn)} to the left"
            waits_ = ", HOLD" if placed.part.name in waiting else ""
            held.append(named(work, placed.part.name) + (lies if max(off) > 0.5 else "") + aslant + waits_)
    if held:
        return f"for {'; '.join(held)}"
    offcuts = enumerate(work.layout.offcuts, 1)
    kept = [f"K{k}" for k, offcut in offcuts if offcut.sheet == index and offcut.piece == label]
    return f"keep, {kept[0]}" if kept else "scrap"
