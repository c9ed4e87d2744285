"""The pages of a sheet in the shop drawings: its layout with all that a cutter must know, and a shear's cuts."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import partial
from typing import TYPE_CHECKING, Any, NamedTuple

from . import words
from .cutting_words import figure, metal_line
from .drawingpage import FLOOR, LEFT, LIVE, page_title
from .look import BLUE, INK, SIZES, WORDS
from .pdf import Sheet, paragraph, table, table_height, text
from .shearsteps import shear_hold, shear_steps
from .sheetdraw import Table, draw_sheet, sheet_tables
from .sheetsteps import sheet_hold, sheet_steps

if TYPE_CHECKING:
    from ..work import Work

__all__ = ["SheetPage", "sheet_pages"]

ROOM = 162.0  # of a page's width for the drawing, mm
GAP = 4.0  # and between it and the tables
#: Widths of the columns of a sheet's cuts, mm.
CUT_WIDTHS = (14.0, 42.0, 31.0, 31.0, 45.0, 45.0, LIVE[0] - 208.0)

Placed = tuple[float, float, Table]  # a table with its left and its top


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
        left = _laid(work, index)[1]
        while left:
            pages.append(SheetPage(f"sheet {index + 1}, on", partial(_more_page, tables=left), index, "its tables"))
            left = _flow(left, _columns(page_title(Sheet(), "Sheet")))[1]
        if work.layout.cutting == "profile" and not _steps_fit(work, index):
            pages.append(SheetPage(f"cutting sheet {index + 1}", _steps_page, index, "for whoever cuts"))
    about = "for whoever stands at the shear"
    for index in sheets:
        rows = _cut_rows(work, index)
        for number, part in enumerate(_cut_parts(work, index, rows)):
            title = f"cuts of sheet {index + 1}{', on' if number else ''}"
            pages.append(SheetPage(title, partial(_cuts_page, rows=part, first=number == 0), index, about))
    return pages


def _sheet_page(canvas: Any, work: Work, index: int) -> None:
    """One sheet with its parts in cutting order, what is kept, and on a machine the steps."""
    used, total = work.layout.sheets[index], len(work.layout.sheets)
    y = page_title(canvas, f"Sheet {index + 1} of {total}: {used.name}", _size_of(work, index))
    y = _head(canvas, work, index, y)
    draw_sheet(canvas, work, index, (LEFT, FLOOR + 4), (ROOM, y - FLOOR - 6))
    foot = _draw(canvas, _laid(work, index)[0], y)
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


def _laid(work: Work, index: int) -> tuple[list[Placed], list[Table]]:
    """A sheet's tables beside its drawing, and what of them finds no room there."""
    blind = Sheet()
    y = _head(blind, work, index, page_title(blind, "Sheet"))
    return _flow(sheet_tables(work, index), [(LEFT + ROOM + GAP, y)])


def _columns(y: float) -> list[tuple[float, float]]:
    """Where two columns of tables begin on a page of nothing else."""
    return [(LEFT, y), (LEFT + ROOM + GAP, y)]


def _flow(tables: Sequence[Table], columns: Sequence[tuple[float, float]]) -> tuple[list[Placed], list[Table]]:
    """Tables one under another down columns, parted between rows where one ends; and those for the next page."""
    placed, (here, *later) = [], columns
    x, y = here
    waiting = list(tables)
    while waiting:
        widths, rows, right = waiting.pop(0)
        many = _rows_above_floor(widths, rows, y)
        if many > 1:
            placed.append((x, y, (widths, rows[:many], right)))
            y -= table_height(widths, rows[:many], SIZES["fine"]) + 2.0
        if many < len(rows):
            waiting.insert(0, (widths, [rows[0], *rows[max(many, 1) :]], right))
            if not later:
                break
            (x, y), *later = later
    return placed, waiting


def _rows_above_floor(widths: Sequence[float], rows: Sequence[Sequence[str]], y: float, size: str = "fine") -> int:
    """How many rows of a table with its top at y end above the line that names the job."""
    for many in range(len(rows), 1, -1):
        if y - table_height(widths, rows[:many], SIZES[size]) > FLOOR:
            return many
    return 0


def _draw(canvas: Any, placed: Sequence[Placed], y: float) -> float:
    """Tables where they were placed; the y of the last one's foot."""
    for x, top, (widths, rows, right) in placed:
        y = table(canvas, x, top, widths, rows, SIZES["fine"], right=right) - 2.0
    return y


def _more_page(canvas: Any, work: Work, index: int, *, tables: Sequence[Table]) -> None:
    """Tables of a sheet that found no room beside its drawing."""
    used = work.layout.sheets[index]
    y = page_title(canvas, f"Sheet {index + 1}, on: {used.name}", _size_of(work, index))
    _draw(canvas, _flow(tables, _columns(y))[0], y)


def _size_of(work: Work, index: int) -> str:
    """The sheet's size in words."""
    sheet = work.layout.sheets[index].sheet
    return words.size(sheet.width, sheet.height, work.job.unit)


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
    placed, left = _laid(work, index)
    if left:
        return False
    y = _draw(blind, placed, 0.0)
    return _steps(blind, work, index, LEFT + ROOM + GAP, y, LIVE[0] - ROOM - GAP, SIZES["fine"]) > FLOOR


def _steps_page(canvas: Any, work: Work, index: int) -> None:
    """The steps of cutting a sheet on a page of their own."""
    used = work.layout.sheets[index]
    y = page_title(canvas, f"Cutting sheet {index + 1}: {used.name}", _size_of(work, index))
    for held in sheet_hold(work, index):
        y = paragraph(canvas, LEFT, y, held, LIVE[0], SIZES["small"], bold=True)
    _steps(canvas, work, index, LEFT, y - 1.0, LIVE[0], SIZES["small"])


def _cut_rows(work: Work, index: int) -> list[list[str]]:
    """The shear's cuts of a sheet, a row each; none where it is not sheared."""
    rows = []
    for step in shear_steps(work, index):
        order = f"{step.order} HOLD" if step.mind.startswith("HOLD") else step.order
        rows.append([order, *step[1:]])
    return rows


def _cut_parts(work: Work, index: int, rows: list[list[str]]) -> list[list[list[str]]]:
    """The rows of a sheet's cuts, parted by pages."""
    parts: list[list[list[str]]] = []
    while rows:
        y = _cuts_head(Sheet(), work, index, first=not parts)
        many = max(_rows_above_floor(CUT_WIDTHS, [_cut_heads(work), *rows], y, "fine") - 1, 1)
        parts.append(rows[:many])
        rows = rows[many:]
    return parts


def _cut_heads(work: Work) -> list[str]:
    in_ = "mm (in)" if work.job.unit == "in" else "mm"
    return ["cut", f"take (wide \u00d7 high, {in_})", f"measure ({in_})", "stroke", "leaves", "and", "mind"]


def _cuts_head(canvas: Any, work: Work, index: int, *, first: bool) -> float:
    """What stands over the cuts of a sheet: how to follow them, and what waits; the y of its foot."""
    used, unit = work.layout.sheets[index], work.job.unit
    y = page_title(canvas, f"Cuts of sheet {index + 1}{'' if first else ', on'}: {used.name}", _size_of(work, index))
    hold = shear_hold(work, index)
    if hold:
        y = paragraph(canvas, LEFT, y, hold, LIVE[0], SIZES["small"], bold=True) - 1.5
    if not first:
        return y
    longest = max((cut.length for cut in work.layout.cuts if cut.sheet == index), default=0.0)
    says = (
        f"{metal_line(work.job)}. Lay the sheet as drawn on its page, good face up, 0 at your lower left; keep every "
        "piece turned that way and chalk its label on; on a blank's own rectangle chalk the blank's number. Down the "
        "list: take the piece, measure from the edge named, mark at both ends, bring the mark under the blade, cut "
        "from edge to edge. A back gauge serves where it reaches and the piece stays under the hold-down; a narrow "
        f"rest lies beyond the blade. Longest cut {figure(longest, unit)}{'' if unit == 'in' else ' mm'}; "
        "a stroke longer than your shear is cut by hand along the same line. On a blank's own rectangle lay its "
        "template, turned as told, lower left of its box in the lower left corner if no place is told, and cut the "
        "outline. Finished edge: nothing is left to trim on that edge of the blank over the length in brackets, which "
        "the stroke makes: measure carefully. Touches: it only touches such an edge, nothing may come off beyond it."
    )
    return paragraph(canvas, LEFT, y, says, LIVE[0], SIZES["small"]) - 1.5


def _cuts_page(canvas: Any, work: Work, index: int, *, rows: Sequence[Sequence[str]], first: bool) -> None:
    """The shear's cuts of one sheet, a row each, to be followed without another page."""
    y = _cuts_head(canvas, work, index, first=first)
    table(canvas, LEFT, y, CUT_WIDTHS, [_cut_heads(work), *rows], SIZES["fine"])
