"""The pages of a sheet in the shop drawings: its layout with all that a cutter must know, and a shear's cuts."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, Any, NamedTuple

from . import words
from .cutting_words import figure, metal_line
from .drawingpage import FLOOR, LEFT, LIVE, page_title
from .look import BLUE, INK, SIZES, WORDS
from .pdf import Sheet, paragraph, table, text
from .shearsteps import shear_hold, shear_steps
from .sheetdraw import Table, draw_sheet, sheet_tables
from .sheetsteps import sheet_hold, sheet_steps

if TYPE_CHECKING:
    from ..work import Work

__all__ = ["SheetPage", "sheet_pages"]

ROOM = 162.0  # of a page's width for the drawing, mm
GAP = 4.0  # and between it and the tables


class SheetPage(NamedTuple):
    """A page: its title in the contents, what draws it, which sheet (from 0), and what it is for, if not the sheet."""

    title: str
    draw: Callable[[Any, Work, int], None]
    sheet: int
    about: str | None = None


def sheet_pages(work: Work) -> list[SheetPage]:
    """A page a sheet, and one more for its cuts on the shear, or for the steps of cutting where they find no room."""
    sheets = range(len(work.layout.sheets))
    pages = []
    for index in sheets:
        pages.append(SheetPage(f"sheet {index + 1}", _sheet_page, index))
        if work.layout.cutting == "profile" and not _steps_fit(work, index):
            pages.append(SheetPage(f"cutting sheet {index + 1}", _steps_page, index, "for whoever cuts"))
    shorn = [index for index in sheets if any(cut.sheet == index for cut in work.layout.cuts)]
    about = "for whoever stands at the shear"
    return [*pages, *(SheetPage(f"cuts of sheet {index + 1}", _cuts_page, index, about) for index in shorn)]


def _sheet_page(canvas: Any, work: Work, index: int) -> None:
    """One sheet with its parts in cutting order, what is kept, and on a machine the steps."""
    used = work.layout.sheets[index]
    size = words.size(used.sheet.width, used.sheet.height, work.job.unit)
    total = len(work.layout.sheets)
    y = page_title(canvas, f"Sheet {index + 1} of {total}: {used.name}", size)
    y = _head(canvas, work, index, y)
    draw_sheet(canvas, work, index, (LEFT, FLOOR + 4), (ROOM, y - FLOOR - 6))
    foot = _tables(canvas, sheet_tables(work, index), y)
    if work.layout.cutting == "profile" and _steps_fit(work, index):
        _steps(canvas, work, index, LEFT + ROOM + GAP, foot, LIVE[0] - ROOM - GAP, SIZES["fine"])


def _head(canvas: Any, work: Work, index: int, y: float) -> float:
    """What waits, metal, grain and how to cut; the y of its foot."""
    layout, used = work.layout, work.layout.sheets[index]
    how = {
        "shear": "Shear edge to edge in the order of the ringed numbers, then cut each outline from its rectangle.",
        "profile": "Ringed: the order of cutting. Beside the ring: number and name of the piece.",
    }.get(layout.cutting, "")
    grain = {None: "no direction", 0.0: "along the sheet", 90.0: "up the sheet"}[used.sheet.grain_deg]
    flipped = any(p.flipped for p in layout.on_sheet(index))
    says = f"{metal_line(work.job)}. Grain {grain}. {how} {WORDS['face_mixed' if flipped else 'face']}"
    if layout.cutting == "profile":
        for held in sheet_hold(work, index):
            y = paragraph(canvas, LEFT, y, held, LIVE[0], SIZES["small"], bold=True)
    return paragraph(canvas, LEFT, y, says, LIVE[0], SIZES["small"], colour=BLUE if flipped else INK) - 1.0


def _tables(canvas: Any, tables: Sequence[Table], y: float) -> float:
    """Tables down the right of a page; the y of their foot."""
    for widths, rows, right in tables:
        y = table(canvas, LEFT + ROOM + GAP, y, widths, rows, SIZES["fine"], right=right) - 2.0
    return y


def _steps(canvas: Any, work: Work, index: int, x: float, y: float, room: float, size: float) -> float:
    """The steps of cutting a sheet on a machine; the y of their foot."""
    text(canvas, x, y - 1.4 * size, "How to cut it", size, bold=True)
    y -= 2.0 * size
    for step in sheet_steps(work, index):
        y = paragraph(canvas, x, y, step, room, size) - 0.3 * size
    return y


def _steps_fit(work: Work, index: int) -> bool:
    """Whether the steps find room under the tables: drawn on paper that nobody sees."""
    blind = Sheet()
    y = _head(blind, work, index, page_title(blind, "Sheet"))
    y = _tables(blind, sheet_tables(work, index), y)
    return _steps(blind, work, index, LEFT + ROOM + GAP, y, LIVE[0] - ROOM - GAP, SIZES["fine"]) > FLOOR


def _steps_page(canvas: Any, work: Work, index: int) -> None:
    """The steps of cutting a sheet on a page of their own."""
    used = work.layout.sheets[index]
    size = words.size(used.sheet.width, used.sheet.height, work.job.unit)
    y = page_title(canvas, f"Cutting sheet {index + 1}: {used.name}", size)
    for held in sheet_hold(work, index):
        y = paragraph(canvas, LEFT, y, held, LIVE[0], SIZES["small"], bold=True)
    _steps(canvas, work, index, LEFT, y - 1.0, LIVE[0], SIZES["small"])


def _cuts_page(canvas: Any, work: Work, index: int) -> None:
    """The shear's cuts of one sheet, a row each, to be followed without another page."""
    used = work.layout.sheets[index]
    size = words.size(used.sheet.width, used.sheet.height, work.job.unit)
    y = page_title(canvas, f"Cuts of sheet {index + 1}: {used.name}", size)
    unit = work.job.unit
    longest = max((cut.length for cut in work.layout.cuts if cut.sheet == index), default=0.0)
    says = (
        f"{metal_line(work.job)}. Lay the sheet as drawn on its page, good face up, 0 at your lower left; keep every "
        "piece turned that way and chalk its label on; on a blank's own rectangle chalk the blank's number. Down the "
        "list: take the piece, measure from the edge named, mark at both ends, bring the mark under the blade, cut "
        "from edge to edge. A back gauge serves where it reaches and the piece stays under the hold-down; a narrow "
        f"rest lies beyond the blade. Longest cut {figure(longest, unit)}{'' if unit == 'in' else ' mm'}; "
        "a stroke longer than your shear is cut by hand along the same line. On a blank's own rectangle lay its "
        "template, turned as told, lower left of its box in the lower left corner if no place is told, and cut the "
        "outline."
    )
    hold = shear_hold(work, index)
    if hold:
        y = paragraph(canvas, LEFT, y, hold, LIVE[0], SIZES["small"], bold=True) - 1.5
    y = paragraph(canvas, LEFT, y, says, LIVE[0], SIZES["small"]) - 1.5
    in_ = "mm (in)" if unit == "in" else "mm"
    rows = [["cut", f"take (wide \u00d7 high, {in_})", f"measure ({in_})", "stroke", "leaves", "and", "mind"]]
    for step in shear_steps(work, index):
        order = f"{step.order} HOLD" if step.mind.startswith("HOLD") else step.order
        rows.append([order, *step[1:]])
    wide = [10.0, 44.0, 33.0, 31.0, 46.0, 46.0]
    table(canvas, LEFT, y, [*wide, LIVE[0] - sum(wide)], rows, SIZES["small" if len(rows) < 16 else "fine"])
