"""Which strokes of the shear wait for the bend test, and which ones free a kept offcut.

Words used here
    piece    what lies under the shear, by the label of the nest
    held     a part whose flat size hangs on the bend test (`cutting_hold.waits`)
    closes   a stroke that leaves a part no metal to grow, on both of its sides: from then on its size is fixed

All in mm on the sheet.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from .cutting_hold import waits

if TYPE_CHECKING:
    from nesting.model import Cut

    from ..work import Work

__all__ = ["Box", "closes_on", "freeing_cuts", "held_cuts", "piece_boxes", "within"]

Box = tuple[float, float, float, float]
SAME_MM = 0.05
#: A bend test moves a flat size by less than this, mm: a part with as much metal beside it can still grow.
CLOSE_MM = 3.0


def piece_boxes(work: Work, index: int) -> dict[str, Box]:
    """Every piece of a sheet by its label, the whole sheet among them."""
    sheet = work.layout.sheets[index].sheet
    boxes: dict[str, Box] = {str(index + 1): (0.0, 0.0, sheet.width, sheet.height)}
    for cut in work.layout.cuts:
        if cut.sheet == index:
            box = boxes.setdefault(cut.piece, (0.0, 0.0, sheet.width, sheet.height))
            boxes.update(zip(cut.makes, _parted(cut, box), strict=True))
    return boxes


def _parted(cut: Cut, box: Box) -> tuple[Box, Box]:
    x0, y0, x1, y1 = box
    if cut.axis == "x":
        return (x0, y0, x0 + cut.distance, y1), (x0 + cut.distance, y0, x1, y1)
    return (x0, y0, x1, y0 + cut.distance), (x0, y0 + cut.distance, x1, y1)


def within(part: Box, box: Box) -> bool:
    """Whether what a part takes lies in a piece."""
    (a, b, c, d), (x0, y0, x1, y1) = part, box
    return a > x0 - SAME_MM and b > y0 - SAME_MM and c < x1 + SAME_MM and d < y1 + SAME_MM


def closes_on(part: Box, box: Box, axis: str) -> bool:
    """Whether a part fills the piece it lies in along an axis, with nothing to grow into."""
    low, high = (0, 2) if axis == "x" else (1, 3)
    return within(part, box) and part[low] - box[low] < CLOSE_MM and box[high] - part[high] < CLOSE_MM


def held_cuts(work: Work, index: int) -> dict[int, tuple[str, ...]]:
    """By the number of the cut: held parts whose size it fixes; none named where only its piece comes of such a cut."""
    held = {blank.name for blank in work.blanks if waits(blank)}
    parts = [(p.part.name, p.outline.bounds) for p in work.layout.on_sheet(index) if p.part.name in held]
    boxes, found, waiting = piece_boxes(work, index), dict[int, tuple[str, ...]](), set[str]()
    for cut in work.layout.cuts:
        if cut.sheet == index:
            names = tuple(
                name
                for name, part in parts
                if any(closes_on(part, boxes[label], cut.axis) for label in cut.makes)
                and not closes_on(part, boxes[cut.piece], cut.axis)
            )
            if names or cut.piece in waiting:
                found[cut.order] = names
                waiting.update(cut.makes)
    return found


def freeing_cuts(work: Work, piece: str) -> tuple[int, ...]:
    """The numbers of the cuts that a piece comes of, in order."""
    made_by = {label: cut for cut in work.layout.cuts for label in cut.makes}
    orders = []
    while piece in made_by:
        orders.append(made_by[piece].order)
        piece = made_by[piece].piece
    return tuple(reversed(orders))
