"""The cut list as a spreadsheet: cut list, sheets, edges, folds, shear cuts, totals and order.

Every page carries job, revision and date of the patterns in its header, has its heads frozen and repeated,
and fits one page in width. Formulas carry the value they give.
"""

from __future__ import annotations

import datetime
import io
import textwrap
from collections.abc import Sequence
from typing import TYPE_CHECKING

from .cutlist_columns import (
    Column,
    Row,
    blank_columns,
    cut_columns,
    cut_head,
    edge_columns,
    fold_columns,
    seam_columns,
    sheet_columns,
)
from .cutting_hold import BEND_HOLD
from .look import WORDS
from .words import length

if TYPE_CHECKING:
    from xlsxwriter.format import Format
    from xlsxwriter.workbook import Workbook
    from xlsxwriter.worksheet import Worksheet

__all__ = ["book"]

WELD_WORDS = {"butt": "edge to edge", "lap": "one over the other", "flange": "a lip behind"}
HEAD_ROW = 4  # the row of the heads, from 0; above it the job, the warnings and a line of explanation
PAPER = {"mm": 9, "in": 1}  # A4 and letter, by their numbers in the file format; fitting to the page serves both


def book(got: Row) -> bytes:
    """The whole spreadsheet from `results.figures`."""
    import xlsxwriter

    out = io.BytesIO()
    work = xlsxwriter.Workbook(out, {"in_memory": True})
    work.set_properties(
        {
            "title": f"Cut list, {got['job']['name']}, revision {got['job']['revision']}",
            "subject": _job_line(got),
            "created": _created(got["job"]["pattern_date"]),
        }
    )
    looks, unit = _looks(work), got["job"]["unit"]
    blanks = _page(
        work, looks, got, "Cut list", blank_columns(got), got["blanks"],
        f"Sizes as cut, good face up. {WORDS['face']} What stays: inside the trim line, with laps, flanges and lips.",
    )  # fmt: skip
    sheets = _page(
        work, looks, got, "Sheets", sheet_columns(got), got["sheets"],
        "Left and low edges of the drawing are the sheet's own. Blanks + offcuts + skeleton (scrap) = sheet.",
    )  # fmt: skip
    _page(
        work, looks, got, "Edges", edge_columns(unit), _with_piece(got, "edges"),
        "Gain: the edge must be stretched by that much; a minus sign: it must be shrunk.", sums=False,
    )  # fmt: skip
    if got["seams"]:
        _page(
            work, looks, got, "Seams", seam_columns(got), got["seams"],
            "Every edge with the one it meets. Butt: edge to edge; lap: one over the other; flange: a lip behind.",
        )  # fmt: skip
    if any(blank["folds"] for blank in got["blanks"]):
        _page(
            work, looks, got, "Folds", fold_columns(unit), _with_piece(got, "folds"),
            "Up: towards the good face as drawn. Fold lines run to the middle of the bend.", sums=False,
        )  # fmt: skip
    if got["cuts"]:
        _page(
            work, looks, got, "Shear cuts", cut_columns(unit), got["cuts"],
            "In order. Halves as the sheet is drawn. 1.7: the seventh piece made from sheet 1. "
            "A blank lies in the lower left corner of its piece; its outline is cut after shearing.",
            sums=False,
        )  # fmt: skip
    _totals_page(work, looks, got, blanks, sheets)
    work.close()
    return out.getvalue()


def _created(day: str) -> datetime.datetime:
    """The patterns' date, so that the clock leaves no trace; the oldest date of the format where there is none."""
    try:
        return datetime.datetime.fromisoformat(day)
    except ValueError:
        return datetime.datetime(1980, 1, 1)


def _job_line(got: Row) -> str:
    job = got["job"]
    reference = f", {job['reference']}" if job["reference"] else ""
    return f"{job['name']}{reference} | revision {job['revision']} | patterns of {job['pattern_date']}"


def _warning_line(got: Row) -> str:
    """The stops in words, and how many more things there are to read."""
    found = got["found"]
    stops = " / ".join(f["says"] for f in got["findings"] if f["strength"] == "stop")
    rest = f"{found['look']} to look at, {found['note']} notes: see the job sheet."
    held = ", ".join(f"{b['piece']} {b['name']}" for b in got["blanks"] if b["hold"] != "none")
    hold = f" HOLD {held}: {BEND_HOLD}." if held else ""
    return f"STOP, do not cut yet: {stops} {rest}{hold}" if stops else f"Before cutting: {rest}{hold}"


def _looks(work: Workbook) -> dict[str, Format]:
    base = {"font_name": "Arial", "font_size": 9, "valign": "top"}
    box = base | {"border": 1, "border_color": "#888888"}
    return {
        "title": work.add_format(base | {"bold": True, "font_size": 14}),
        "line": work.add_format(base),
        "warn": work.add_format(base | {"bold": True}),
        "head": work.add_format(box | {"bold": True, "text_wrap": True, "bottom": 2, "bg_color": "#EDEAE0"}),
        "words": work.add_format(box | {"text_wrap": True}),
        "inches": work.add_format(box | {"align": "right"}),
        **{
            show: work.add_format(box | {"num_format": show})
            for show in ("0", "0.0", "0.0##", "0.00", "0.000", "0.0000")
        },
        **{
            f"sum {show}": work.add_format(box | {"num_format": show, "bold": True, "top": 2})
            for show in ("", "0", "0.0", "0.00", "0.000", "0.0000")
        },
    }


def _page(
    work: Workbook,
    looks: dict[str, Format],
    got: Row,
    name: str,
    columns: Sequence[Column],
    rows: Sequence[Row],
    explains: str,
    *,
    sums: bool = True,
) -> dict[str, tuple[str, float]]:
    """One table on a page of its own; gives where each total stands and its value, by head."""
    page = work.add_worksheet(name)
    _set_up(page, looks, got, name, explains)
    for k, column in enumerate(columns):
        page.set_column(k, k, column.width)
        page.write_string(HEAD_ROW, k, column.head, looks["head"])
    page.set_row(HEAD_ROW, _height(max(_lines(column.head, 0.95 * column.width) for column in columns)))
    for i, row in enumerate(rows, HEAD_ROW + 1):
        lines = 1
        for k, column in enumerate(columns):
            value = column.cell(row)
            if column.show:
                page.write_number(i, k, value, looks[column.show])
            else:
                page.write_string(i, k, str(value), looks["inches" if column.head.endswith(", in") else "words"])
                lines = max(lines, _lines(str(value), column.width))
        page.set_row(i, _height(lines))
    page.freeze_panes(HEAD_ROW + 1, 2)
    page.repeat_rows(HEAD_ROW)
    if not sums or not rows:
        return {}
    return _sums(page, looks, name, columns, rows)


def _lines(text: str, width: float) -> int:
    """Lines that words take in a column so many figures wide; letters are a little narrower than figures."""
    return max(1, len(textwrap.wrap(text, max(3, int(width * 1.05)))))


def _height(lines: int) -> float:
    """Height of a row of so many lines of 9 point letters, points."""
    return 12.5 * lines + 2


def _sums(
    page: Worksheet, looks: dict[str, Format], name: str, columns: Sequence[Column], rows: Sequence[Row]
) -> dict[str, tuple[str, float]]:
    """The row of totals under a table, as formulas that carry their values."""
    from xlsxwriter.utility import xl_col_to_name

    first, last = HEAD_ROW + 2, HEAD_ROW + 1 + len(rows)
    places: dict[str, tuple[str, float]] = {}
    for k, column in enumerate(columns):
        if not column.total:
            page.write_string(last, k, "Total" if k == 1 else "", looks["sum "])
            continue
        letter = xl_col_to_name(k)
        value = sum(column.cell(row) for row in rows)
        page.write_formula(last, k, f"=SUM({letter}{first}:{letter}{last})", looks[f"sum {column.show}"], value)
        places[column.head] = (f"'{name}'!{letter}{last + 1}", value)
    return places


def _set_up(page: Worksheet, looks: dict[str, Format], got: Row, name: str, explains: str) -> None:
    """Title, job, warnings, one line of explanation, and the paper."""
    page.write_string(0, 0, f"{name}: {got['job']['name']}", looks["title"])
    page.write_string(1, 0, f"{_job_line(got)} | {got['metal']['words']}", looks["line"])
    page.write_string(2, 0, _warning_line(got), looks["warn"])
    page.write_string(3, 0, explains, looks["line"])
    page.set_landscape()
    page.set_paper(PAPER[got["job"]["unit"]])
    page.set_margins(left=0.3, right=0.3, top=0.7, bottom=0.6)
    page.fit_to_pages(1, 0)
    job = got["job"]
    head = f"&L{_header(job['name'])}&Crevision {_header(job['revision'])}&Rpatterns of {job['pattern_date']}"
    page.set_header(head)
    page.set_footer(f"&L{name}&CLengths in mm&R&P of &N")


def _header(text: str) -> str:
    """Text for a page header, where & starts a command; kept short, the format allows 255 letters."""
    return text[:60].replace("&", "&&")


def _with_piece(got: Row, key: str) -> list[Row]:
    """The edges or folds of every blank, each with its piece's number and name."""
    names = [blank["name"] for blank in got["blanks"]]
    return [
        {"piece": blank["piece"], "name": blank["name"], "names": names, **item}
        for blank in got["blanks"]
        for item in blank[key]
    ]


#: Label, value, formula, format and explanation of a total.
Line = tuple[str, float, str, str, str]


def _totals_page(
    work: Workbook,
    looks: dict[str, Format],
    got: Row,
    blanks: dict[str, tuple[str, float]],
    sheets: dict[str, tuple[str, float]],
) -> None:
    """Sheets to buy in the supplier's words, masses, yields, and the check that the areas tie."""
    page = work.add_worksheet("Totals and order")
    _set_up(page, looks, got, "Totals and order", "Order these sheets; the rest says what becomes of them.")
    page.set_column(0, 0, 46)
    page.set_column(1, 1, 14)
    page.set_column(2, 2, 60)
    for k, head in enumerate(("What", "Figure", "How it is worked out")):
        page.write_string(HEAD_ROW, k, head, looks["head"])
    page.freeze_panes(HEAD_ROW + 1, 0)
    page.repeat_rows(HEAD_ROW)
    first = HEAD_ROW + 1 + max(1, len(got["buy"]))
    orders: list[Line] = [
        (f"Buy: {order['words']}", order["quantity"], "", "0", f"stock named {order['stock']}") for order in got["buy"]
    ]
    nothing: list[Line] = [("Buy: nothing, everything comes from the rack", 0, "", "0", "")]
    lines = [*(orders or nothing), *_total_lines(got, blanks, sheets, first + 1)]
    for row, (label, value, formula, show, explains) in enumerate(lines, HEAD_ROW + 1):
        page.write_string(row, 0, label, looks["words"])
        if formula:
            page.write_formula(row, 1, formula, looks[show], value)
        else:
            page.write_number(row, 1, value, looks[show])
        page.write_string(row, 2, explains, looks["words"])
        page.set_row(row, _height(max(_lines(label, 46), _lines(explains, 60))))


def _total_lines(
    got: Row, blanks: dict[str, tuple[str, float]], sheets: dict[str, tuple[str, float]], first: int
) -> list[Line]:
    """The totals; ``first`` is the row of the first one."""
    if not sheets or not blanks:
        return []
    (area_at, area), (parts_at, parts), (kept_at, kept), (skeleton_at, skeleton) = (
        sheets[f"{name}, m²"] for name in ("Sheet", "Blanks", "Offcuts", "Skeleton (scrap)")
    )
    cut_at, cut = blanks["Area as cut, m²"]
    bought = sum(s["sheet_area_mm2"] for s in got["sheets"] if s["from"] == "bought") / 1e6
    metal = got["metal"]
    t, density = metal["thickness_mm"], metal["density_kg_m3"]
    t_at, density_at, bought_at = (f"B{first + k}" for k in range(3))

    def mass(at: str) -> str:
        return f"={at}*{t_at}*{density_at}/1000"

    def kg(area_m2: float) -> float:
        return area_m2 * t * density / 1000

    total, unit = got["totals"], got["job"]["unit"]
    other = round(total["other_stock_area_mm2"] / 1e6, 6)
    from_other = f" - those from other stock ({other:.4f})" if other else ""
    lines: list[Line] = [
        ("Thickness, mm", t, "", "0.0##", f"{metal['words']}, {metal['gauge']}"),
        ("Density, kg/m³", density, "", "0", metal["name"]),
        ("Sheets bought, m²", bought, "", "0.0000", "without those from the own rack"),
        ("Mass bought, kg", kg(bought), mass(bought_at), "0.00", "area × thickness × density"),
        ("Mass of all sheets used, kg", kg(area), mass(area_at), "0.00", "with those from the own rack"),
        ("Mass in blanks as cut, kg", kg(parts), mass(parts_at), "0.00", "before trimming"),
        ("Mass in kept offcuts, kg", kg(kept), mass(kept_at), "0.00", ""),
        ("Mass of scrap, kg", kg(skeleton), mass(skeleton_at), "0.00", ""),
        (
            "Yield of whole sheets, %",
            100 * parts / area,
            f"=100*{parts_at}/{area_at}",
            "0.0",
            "blanks / sheets",
        ),
        (
            "Yield with kept offcuts, %",
            100 * (parts + kept) / area,
            f"=100*({parts_at}+{kept_at})/{area_at}",
            "0.0",
            "blanks and kept offcuts / sheets",
        ),
        (
            "Areas tie, m²",
            round(area - parts - kept - skeleton, 6) + 0.0,
            f"=ROUND({area_at}-{parts_at}-{kept_at}-{skeleton_at},6)",
            "0.0000",
            "sheets - blanks - offcuts - skeleton: must be 0 within 0.1 %",
        ),
        (
            "Blanks tie, m²",
            round(cut - other - parts, 6) + 0.0,
            f"=ROUND({cut_at}-{other}-{parts_at},6)" if other else f"=ROUND({cut_at}-{parts_at},6)",
            "0.0000",
            f"blanks on the cut list{from_other} - blanks on the sheets: must be 0 within 0.1 %",
        ),
        (
            cut_head(got).replace(", mm", ", m"),
            sheets[cut_head(got)][1] / 1000,
            f"={sheets[cut_head(got)][0]}/1000",
            "0.0",
            f"{total['cutting']}, gap {length(total['gap_mm'], unit)}, edge margin {length(total['edge_mm'], unit)}",
        ),
        (
            "Starts (pierces)",
            sheets["Starts (pierces)"][1],
            f"={sheets['Starts (pierces)'][0]}",
            "0",
            "one a closed line, for profile cutting",
        ),
        *(
            (f"Weld, {joint}, m", total[f"seam_{joint}_mm"] / 1000, "", "0.00", f"{explains}; seam by seam on Seams")
            for joint, explains in WELD_WORDS.items()
            if total[f"seam_{joint}_mm"]
        ),
        *(
            [("Weld, fillet, m", total["fillet_length_mm"] / 1000, "", "0.00", "round doublers; not among the seams")]
            if total["fillet_length_mm"]
            else []
        ),
    ]
    price = next((head for head in sheets if head.startswith("Price")), "")
    if price:
        at, value = sheets[price]
        lines.append((f"{price}, sheets", value, f"={at}", "0.00", "sheets only; nothing else is priced here"))
    return lines
