"""The shear's work on one sheet told cut by cut, for somebody who has only the page and a rule.

Words used here
    piece    what lies under the shear: the whole sheet, then what earlier cuts left, by the labels of the nest
    first    the piece measured off, nearer the sheet's origin; the rest is what lies beyond the cut

All in mm from the lower left corner of the sheet, drawn good face up.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

from .blankface import named
from .cutting_words import figure

if TYPE_CHECKING:
    from nesting.model import Cut

    from ..work import Work

__all__ = ["shear_steps"]

Box = tuple[float, float, float, float]
SAME_MM = 0.05


def shear_steps(work: Work, index: int) -> Iterator[tuple[str, str, str, str]]:
    """Cut number, the piece to take, where to cut it, and what the two pieces are, in cutting order."""
    sheet = work.layout.sheets[index].sheet
    pieces: dict[str, Box] = {str(index + 1): (0.0, 0.0, sheet.width, sheet.height)}
    cuts = [cut for cut in work.layout.cuts if cut.sheet == index]
    later = {cut.piece for cut in cuts}
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
        take = "the whole sheet" if cut.piece == str(index + 1) else f"piece {cut.piece}"
        sides = ("left", "right") if cut.axis == "x" else ("lower", "upper")
        left = (
            f"{side}: {_what(work, index, label, pieces[label], label in later)}"
            for side, label in zip(sides, cut.makes, strict=True)
        )
        yield str(cut.order), f"{take}, {_size(box, unit)}", where, "; ".join(left)


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
