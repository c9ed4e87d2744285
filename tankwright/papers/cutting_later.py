"""What of a sheet on a machine is cut after the bend test: on a layer of its own, last in the order, told alike on all
papers.

Words used here
    held    a part that waits for the bend test (`cutting_hold.waits`)
    later   held, or it has a held part in one of its holes: that hole would drop with it
    place   where the lower left of a part's outline lies on the sheet, and how it is turned there
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from . import words
from .cutting_hold import waits
from .cutting_order import cut_order, nested_in
from .look import LAYERS
from .names import plain
from .shearhold import CLOSE_MM

if TYPE_CHECKING:
    from nesting.model import Placed
    from panels.blank import Blank

    from ..work import Work

__all__ = ["held_on", "later_on", "later_words", "sheet_order"]


def held_on(work: Work, index: int) -> tuple[Blank, ...]:
    """The blanks of a sheet that wait for the bend test, in the order of the cut list."""
    there = {placed.part.name for placed in work.layout.on_sheet(index)}
    return tuple(blank for blank in work.blanks if blank.name in there and waits(blank))


def later_on(work: Work, index: int) -> frozenset[str]:
    """Names of the parts of a sheet that are cut after the bend test; none on a sheet for the shear."""
    held = {blank.name for blank in held_on(work, index)}
    if work.layout.cutting == "shear" or not held:
        return frozenset()
    placed = work.layout.on_sheet(index)
    around = (placed[k].part.name for part, holes in zip(placed, nested_in(placed), strict=True)
              if part.part.name in held for k in holes)  # fmt: skip
    return frozenset((*held, *around))


def sheet_order(work: Work, index: int) -> tuple[Placed, ...]:
    """The parts of a sheet in the order they are cut, those that are cut after the bend test last."""
    return cut_order(work.layout, index, later_on(work, index))


def later_words(work: Work, index: int) -> list[str]:
    """How the parts are cut that wait, sentence by sentence; none where nothing waits."""
    held = held_on(work, index)
    if not held or work.layout.cutting == "shear":
        return []
    numbers = {blank.name: str(k) for k, blank in enumerate(work.blanks, 1)}
    names = ", ".join(f"{numbers[blank.name]} {blank.name}" for blank in held)
    around = sorted(later_on(work, index) - {blank.name for blank in held})
    later = LAYERS["later"].name
    it, is_ = ("it", "is") if len(held) == 1 else ("they", "are")
    said = [
        f"{later} is never cut from this file, neither with the rest nor after the test: {names} {is_} then cut from "
        "the blank file made after it. Ask for that file: it has no HOLD, and its notes give the shop's own "
        "measurement as the source of K."
    ]
    if around:
        those = ", ".join(f"{numbers[name]} {name}" for name in around)
        said.append(f"{those} lies round one that waits: it alone is cut from here, after that one.")
    if work.layout.gap_mm >= CLOSE_MM:
        places = "; ".join(_place(work, index, blank.name) for blank in held)
        said.append(
            "Either here: leave the sheet clamped, or its zero and edge marked; turn the new file as told and lay the "
            f"lower left of its net outline, so turned, where told: {places}. Or from other metal of the same kind; "
            "not from both."
        )
    else:
        said.append(
            f"Parts lie too near to one another here for one to grow: cut {it} from other metal of the same kind, or "
            "leave the whole sheet until the shop has made a new sheet file."
        )
    return said


def _place(work: Work, index: int, name: str) -> str:
    """Where a part lies on its sheet, and how it is turned, for whoever lays its own file there."""
    placed = next(p for p in work.layout.on_sheet(index) if p.part.name == name)
    x, y, _, _ = placed.outline.bounds
    turn = placed.turn_deg % 360
    turned = f"turned {words.fixed(turn, 1).removesuffix('.0')} deg to the left" if turn else "as it is drawn"
    over = "mirrored over its upright axis first, " if placed.flipped else ""
    # Always in mm: that is what the machine is set to.
    return f"{plain(name)} {over}{turned}, at {words.fixed(x)}, {words.fixed(y)} mm"
