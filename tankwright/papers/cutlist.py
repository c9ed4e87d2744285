"""The cut list: one row a blank, one row a sheet, totals, as a spreadsheet and as plain tables.

Words used here
    head      what a column is called, its unit with it
    column    a head, how its cell follows from a row of `results.figures`, how it is shown, if it is summed
    net       a size inside the trim line; everything else is as cut

The spreadsheet's totals are formulas that carry their values, so that they show where nothing is calculated.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, Any, NamedTuple

from .words import fixed, turned

if TYPE_CHECKING:
    from ..work import Work

__all__ = [
    "Column",
    "allowances_words",
    "blank_columns",
    "cut_head",
    "cut_lists",
    "folds_words",
    "on_sheet_words",
    "sheet_columns",
]

Row = dict[str, Any]


class Column(NamedTuple):
    """One column of a table."""

    head: str
    cell: Callable[[Row], Any]
    width: float = 8.0  # of the spreadsheet's column, letters
    show: str = ""  # number format; empty for words
    total: bool = False


def cut_lists(work: Work) -> dict[str, bytes]:
    """``cut-list.xlsx``, ``cut-list.csv`` (one row a blank), ``sheets.csv`` (one row a sheet), by file name.

    The same bytes from the same work: dates come from the job.
    """
    from .cutlist_book import book
    from .results import figures

    got = figures(work)
    return {
        "cut-list.xlsx": book(got),
        "cut-list.csv": _table(blank_columns(got), got["blanks"], got),
        "sheets.csv": _table(sheet_columns(got), got["sheets"], got),
    }


def allowances_words(blank: Row) -> str:
    """Metal outside the trim line edge by edge, like ones together: ``A, C trim 10.0 mm; edge 2 net``."""
    alike: dict[str, list[str]] = {}
    for edge in blank["edges"]:
        alike.setdefault(edge["allowance"], []).append(edge["letter"] or f"edge {edge['edge']}")
    if len(alike) == 1 and len(blank["edges"]) > 1:
        return f"all edges {next(iter(alike))}"
    return "; ".join(f"{', '.join(names)} {metal}" for metal, names in alike.items())


def folds_words(blank: Row) -> str:
    """Angle, radius, direction and K of each fold."""
    return "; ".join(
        f"{f['fold']}: {fixed(f['angle_deg'])}° {f['direction']}, "
        f"inside radius {fixed(f['inside_radius_mm'])} mm, K {fixed(f['k_factor'], 3)}"
        for f in blank["folds"]
    )


def on_sheet_words(sheet: Row) -> str:
    """What lies on a sheet: piece numbers, names, turns."""
    words = []
    for part in sheet["parts"]:
        way = turned(part["turn_deg"])
        turn = f", {way}" if way else ""
        over = ", FACE DOWN" if part["turned_over"] else ""
        number = "" if part["piece"] is None else f"{part['piece']} "
        words.append(f"{number}{part['name']}{turn}{over}")
    return "; ".join(words)


def _offcuts_words(sheet: Row, got: Row) -> str:
    kept = [o for o in got["offcuts"] if o["sheet"] == sheet["sheet"]]
    sizes = [f"{o['label']} {fixed(o['width_mm'])} x {fixed(o['height_mm'])} mm" for o in kept]
    return "; ".join(s if o["square"] else f"{s}, not square" for s, o in zip(sizes, kept, strict=True)) or "none"


def _side(blank: Row) -> str:
    return f"{blank['side']}, mirror of {blank['mirrors']}" if blank["mirrors"] else blank["side"]


def _inch(key: str) -> Callable[[Row], str]:
    from ..units import show_inches

    return lambda row: show_inches(row[key])


def blank_columns(got: Row) -> list[Column]:
    """Columns of the cut list, one row a blank."""
    inch = [Column("Width, in", _inch("width_mm"), 8), Column("Height, in", _inch("height_mm"), 8)]
    return [
        Column("No.", lambda b: b["piece"], 4, "0"),
        Column("Name", lambda b: b["name"], 16),
        Column("Side", _side, 12),
        Column("Quantity", lambda b: b["quantity"], 8, "0", True),
        Column("Metal, temper", lambda b: b["metal"], 11),
        Column("Thickness, mm", lambda b: b["thickness_mm"], 9, "0.0##"),
        Column("Gauge", lambda b: b["gauge"], 10),
        Column("Grain", lambda b: b["grain"], 11),
        Column("Good face", lambda b: "up as drawn", 8),
        Column("Width, mm", lambda b: b["width_mm"], 8, "0.0"),
        Column("Height, mm", lambda b: b["height_mm"], 8, "0.0"),
        *(inch if got["job"]["unit"] == "in" else []),
        Column("Area as cut, m²", lambda b: b["cut_area_mm2"] / 1e6, 8, "0.0000", True),
        Column("Net area, m²", lambda b: b["net_area_mm2"] / 1e6, 8, "0.0000", True),
        Column("Mass as cut, kg", lambda b: b["mass_kg"], 8, "0.00", True),
        Column("Outline length, mm", lambda b: b["cut_length_mm"], 8, "0.0", True),
        Column("Starts (pierces)", lambda b: b["pierces"], 7, "0", True),
        Column("Lies on sheet", lambda b: ", ".join(map(str, b["sheets"])) or "NONE", 7),
        Column("Left outside the trim line, edge by edge", allowances_words, 30),
        Column("Folds: angle, direction, inside radius, K", folds_words, 24),
    ]


def cut_head(got: Row) -> str:
    """What the length of all cuts on a sheet is called: strokes of a shear are not outlines."""
    return "Shear strokes, mm" if got["totals"]["cutting"] == "shear" else "Outline length, mm"


def sheet_columns(got: Row) -> list[Column]:
    """Columns of the sheets, one row a sheet."""
    inch = [Column("Width, in", _inch("width_mm"), 8), Column("Height, in", _inch("height_mm"), 8)]
    priced = any(s["price"] for s in got["sheets"])
    price = f"Price, {got['totals']['currency']}".rstrip(", ")
    return [
        Column("Sheet", lambda s: s["sheet"], 6, "0"),
        Column("Stock", lambda s: s["stock"], 18),
        Column("From", lambda s: s["from"], 9),
        Column("Metal, temper", lambda s: got["metal"]["name"], 11),
        Column("Thickness, mm", lambda s: s["thickness_mm"], 9, "0.0##"),
        Column("Width, mm", lambda s: s["width_mm"], 8, "0.0"),
        Column("Height, mm", lambda s: s["height_mm"], 8, "0.0"),
        *(inch if got["job"]["unit"] == "in" else []),
        Column("Grain", lambda s: s["grain"], 12),
        Column("Lies on it: number, name, turn from its own drawing", on_sheet_words, 36),
        Column("Offcuts kept", lambda s: _offcuts_words(s, got), 22),
        Column("Sheet, m²", lambda s: s["sheet_area_mm2"] / 1e6, 8, "0.0000", True),
        Column("Blanks, m²", lambda s: s["parts_area_mm2"] / 1e6, 8, "0.0000", True),
        Column("Offcuts, m²", lambda s: s["offcuts_area_mm2"] / 1e6, 8, "0.0000", True),
        Column("Skeleton (scrap), m²", lambda s: s["skeleton_area_mm2"] / 1e6, 8, "0.0000", True),
        Column("Yield, %", lambda s: s["yield_percent"], 7, "0.0"),
        Column("Yield with offcuts, %", lambda s: s["yield_with_offcuts_percent"], 8, "0.0"),
        Column(cut_head(got), lambda s: s["cut_length_mm"], 9, "0.0", True),
        Column("Starts (pierces)", lambda s: s["pierces"], 7, "0", True),
        *([Column(price, lambda s: s["price"], 8, "0.00", True)] if priced else []),
    ]


def _table(columns: Sequence[Column], rows: Sequence[Row], got: Row) -> bytes:
    """One table as comma-separated text, UTF-8 with a mark, the job on every row, totals in the last row."""
    out = io.StringIO(newline="")
    write = csv.writer(out)
    job = got["job"]
    tail = [job["name"], job["reference"], job["revision"], job["pattern_date"], got["found"]["stop"]]
    heads = ["Job", "Reference", "Revision", "Patterns of", "Stops in this job"]
    write.writerow([*(c.head for c in columns), *heads])
    for row in rows:
        write.writerow([*(_plain(c, c.cell(row)) for c in columns), *map(_guarded, tail)])
    sums = [_plain(c, sum(c.cell(row) for row in rows)) if c.total else "" for c in columns]
    sums[0] = "total"
    write.writerow([*sums, *map(_guarded, tail)])
    return out.getvalue().encode("utf-8-sig")


def _plain(column: Column, value: Any) -> str:
    """The cell as text: numbers with a point and their column's decimals."""
    if not column.show:
        return _guarded(value)
    places = column.show.partition(".")[2]
    text = fixed(value, len(places))
    return text.rstrip("0") + "0" * (text.rstrip("0")[-1] == ".") if "#" in places else text


def _guarded(value: Any) -> str:
    """Text that no spreadsheet takes for a formula."""
    text = str(value)
    return f"'{text}" if text[:1] in ("=", "+", "-", "@", "\t", "\r") else text
