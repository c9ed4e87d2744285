"""The shear's work on one sheet told cut by cut, for somebody who has only the page and a rule.

Words used here
    piece     what lies under the shear: the whole sheet, then what earlier cuts left, by the labels of the nest
    first     the piece measured off, nearer the sheet's origin; the rest is what lies beyond the cut
    finished  an edge on which nothing is left to trim: a stroke along it must sit on the line

All in mm from the lower left corner of the sheet, drawn good face up.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

import numpy as np

from .blankface import named
from .cutting_hold import finished_edges
from .cutting_words import column_figure as figure
from .words import length

if TYPE_CHECKING:
    from nesting.model import Cut, Placed
    from panels.blank import Blank

    from ..work import Work

__all__ = ["finished_by", "finished_words", "shear_steps"]

Box = tuple[float, float, float, float]
SAME_MM = 0.05
#: A finished edge this near a stroke is made by it: a shear is set no finer, mm.
ON_MM = 0.25
#: A shorter run along a stroke is a tip or the crest of a curve that touches it, mm.
TOUCH_MM = 5.0
STEP_MM = 0.5


def shear_steps(work: Work, index: int) -> Iterator[tuple[str, str, str, str]]:
    """Cut number, the piece to take, where to cut it, and what the two pieces are, in cutting order."""
    sheet = work.layout.sheets[index].sheet
    pieces: dict[str, Box] = {str(index + 1): (0.0, 0.0, sheet.width, sheet.height)}
    cuts = [cut for cut in work.layout.cuts if cut.sheet == index]
    later = {cut.piece for cut in cuts}
    finishes = finished_words(work, index)
    for cut in cuts:
        box = pieces.get(cut.piece, (0.0, 0.0, sheet.width, sheet.height))
        first, rest = _parted(cut, box)
        for label, made in zip(cut.makes, (first, rest), strict=True):
            pieces[label] = made
        edge = "left" if cut.axis == "x" else "lower"
        across = "up and down" if cut.axis == "x" else "side to side"
        unit = work.job.unit
        where = f"{figure(cut.distance, unit)} from its {edge} edge, {across}, {figure(cut.length, unit)} long"
        if cut.purpose == "square":
            squared = any(c.purpose == "square" and c.axis != cut.axis and c.order < cut.order for c in cuts)
            clean = f"a clean {edge} edge, all else is squared to it"
            where += "; square to the edge just cut" if squared else f"; makes {clean}"
        if cut.order in finishes:
            where = f"{where}; {finishes[cut.order]}"
        take = "the whole sheet" if cut.piece == str(index + 1) else f"piece {cut.piece}"
        sides = ("left", "right") if cut.axis == "x" else ("lower", "upper")
        left = (
            f"{side}: {_what(work, index, label, pieces[label], label in later)}"
            for side, label in zip(sides, cut.makes, strict=True)
        )
        yield str(cut.order), f"{take}, {_size(box, unit)}", where, "; ".join(left)


def finished_by(work: Work, index: int) -> dict[int, tuple[tuple[str, float], ...]]:
    """By the number of the cut: parts whose finished edge it runs along, and how far, mm; 0 where it only touches."""
    blanks = {blank.name: blank for blank in work.blanks}
    edges = [
        (placed.part.name, _dense_edges(blanks[placed.part.name], placed))
        for placed in work.layout.on_sheet(index)
        if placed.part.name in blanks
    ]
    found = {}
    for cut in work.layout.cuts:
        if cut.sheet == index:
            runs = ((name, _run_along(cut, points)) for name, points in edges)
            along = tuple((name, run) for name, run in runs if run is not None)
            if along:
                found[cut.order] = along
    return found


def finished_words(work: Work, index: int) -> dict[int, str]:
    """The same in words for whoever sets the shear, by the number of the cut."""
    unit = work.job.unit
    told = {}
    for order, runs in finished_by(work, index).items():
        made = [f"{named(work, name)} over {length(run, unit)}" for name, run in runs if run > 0]
        touched = [named(work, name) for name, run in runs if run == 0]
        says = [f"this stroke makes the finished edge of {', '.join(made)}: set it to the line"] if made else []
        says += [f"it touches the finished edge of {', '.join(touched)}: no stroke inside the line"] if touched else []
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


def _parted(cut: Cut, box: Box) -> tuple[Box, Box]:
    x0, y0, x1, y1 = box
    if cut.axis == "x":
        return (x0, y0, x0 + cut.distance, y1), (x0 + cut.distance, y0, x1, y1)
    return (x0, y0, x1, y0 + cut.distance), (x0, y0 + cut.distance, x1, y1)


def _size(box: Box, unit: str) -> str:
    return f"{figure(box[2] - box[0], unit)} \u00d7 {figure(box[3] - box[1], unit)}"


def _what(work: Work, index: int, label: str, box: Box, goes_on: bool) -> str:
    """A piece by its label and size, and what becomes of it; of a blank's own rectangle, where the blank lies in it."""
    x0, y0, x1, y1 = box
    unit = work.job.unit
    held = []
    for placed in work.layout.on_sheet(index):
        a, b, c, d = placed.outline.bounds
        if a > x0 - SAME_MM and b > y0 - SAME_MM and c < x1 + SAME_MM and d < y1 + SAME_MM:
            off = [max(0.0, a - x0), max(0.0, b - y0)]
            lies = f", {figure(off[0], unit)} from its left and {figure(off[1], unit)} from below"
            held.append(named(work, placed.part.name) + (lies if max(off) > 0.5 else ""))
    if goes_on:
        use = "cut again"
    elif held:
        use = f"for {'; '.join(held)}"
    else:
        offcuts = enumerate(work.layout.offcuts, 1)
        kept = [f"K{k}" for k, offcut in offcuts if offcut.sheet == index and offcut.piece == label]
        use = f"keep, {kept[0]}" if kept else "scrap"
    return f"piece {label}, {_size(box, unit)}, {use}"
