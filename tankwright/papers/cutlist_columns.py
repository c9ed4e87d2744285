"""The columns of the cut list's tables: blanks, sheets, edges, folds, shear cuts.

Words used here
    head      what a column is called, its unit with it
    column    a head, how its cell follows from a row of `results.figures`, how it is shown, if it is summed
    net       a size inside the trim line; everything else is as cut

Where the job is in inches every length has a second column in inches: the inches that the other papers give it, as
decimals all the way down, so that a column reads one way and adds up.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from typing import Any, NamedTuple

from panels.joints import WELDED

from ..units import MM_PER_INCH, inches_shown
from .words import AS_IT_IS, fixed, length, piece_part, size, turned

__all__ = [
    "Column",
    "Row",
    "allowances_words",
    "blank_columns",
    "cut_columns",
    "cut_head",
    "edge_columns",
    "fold_columns",
    "folds_words",
    "on_sheet_words",
    "seam_columns",
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


def allowances_words(blank: Row) -> str:
    """Metal outside the trim line edge by edge, like ones together: ``A, C trim 10.0 mm; edge 2 net``."""
    alike: dict[str, list[str]] = {}
    for edge in blank["edges"]:
        alike.setdefault(edge["allowance"], []).append(edge["letter"] or f"edge {edge['edge']}")
    if len(alike) == 1 and len(blank["edges"]) > 1:
        return f"all edges {next(iter(alike))}"
    return "; ".join(f"{', '.join(names)} {metal}" for metal, names in alike.items())


def folds_words(blank: Row, unit: str = "mm") -> str:
    """Angle, radius, direction and K of each fold."""
    return "; ".join(
        f"{f['fold']}: {fixed(f['angle_deg'])}° {f['direction']}, "
        f"inside radius {length(f['inside_radius_mm'], unit)}, K {fixed(f['k_factor'], 3)}"
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
    sizes = [f"{o['label']} {size(o['width_mm'], o['height_mm'], got['job']['unit'])}" for o in kept]
    return "; ".join(s if o["square"] else f"{s}, not square" for s, o in zip(sizes, kept, strict=True)) or "none"


def _side(blank: Row) -> str:
    return f"{blank['side']}, mirror of {blank['mirrors']}" if blank["mirrors"] else blank["side"]


def _length(
    head: str, cell: Callable[[Row], Any], unit: str, width: float = 8, show: str = "0.0", total: bool = False
) -> list[Column]:
    """A column of lengths in mm, and one in inches beside it where the job is in inches."""
    made = [Column(f"{head}, mm", cell, width, show, total)]
    places = len(show.partition(".")[2])
    if unit == "in":
        made.append(Column(f"{head}, in", lambda row: inches_shown(cell(row), places=places), width, "0.000", total))
    return made


def _thickness_in(unit: str) -> list[Column]:
    return [Column("Thickness, in", lambda b: b["thickness_mm"] / MM_PER_INCH, 8.5, "0.000")] if unit == "in" else []


def _lies_on(blank: Row) -> str:
    return ", ".join(map(str, blank["sheets"])) or ("from other stock" if blank["other_stock"] else "NONE")


def blank_columns(got: Row) -> list[Column]:
    """Columns of the cut list, one row a blank."""
    unit = got["job"]["unit"]
    return [
        Column("No.", lambda b: b["piece"], 4, "0"),
        Column("Name", lambda b: b["name"], 13),
        Column("Side", _side, 10),
        Column("Quantity", lambda b: b["quantity"], 7, "0", True),
        Column("Metal, temper", lambda b: b["metal"], 9),
        Column("Thickness, mm", lambda b: b["thickness_mm"], 8.5, "0.0##"),
        *_thickness_in(unit),
        Column("Gauge", lambda b: b["gauge"], 7.5),
        Column("Grain", lambda b: b["grain"], 8),
        Column("Good face", lambda b: "up as drawn", 6),
        *_length("Width", lambda b: b["width_mm"], unit, 6.5),
        *_length("Height", lambda b: b["height_mm"], unit, 6.5),
        Column("Area as cut, m²", lambda b: b["cut_area_mm2"] / 1e6, 7, "0.0000", True),
        Column("Area that stays (net, laps, lips), m²", lambda b: b["stays_area_mm2"] / 1e6, 8, "0.0000", True),
        Column("Mass as cut, kg", lambda b: b["mass_kg"], 7, "0.00", True),
        *_length("Outline length", lambda b: b["cut_length_mm"], unit, 7, total=True),
        Column("Starts (pierces)", lambda b: b["pierces"], 7, "0", True),
        Column("Lies on sheet", _lies_on, 6),
        Column("Hold", lambda b: b["hold"], 10),
        Column("Left outside the trim line, edge by edge", allowances_words, 19),
        Column("Folds: angle, direction, inside radius, K", lambda b: folds_words(b, unit), 17),
    ]


def cut_head(got: Row) -> str:
    """What the length of all cuts on a sheet is called: strokes of a shear are not outlines."""
    return "Shear strokes, mm" if got["totals"]["cutting"] == "shear" else "Outline length, mm"


def _grade(got: Row) -> str:
    """The grade as far as the job names one; what a supplier has to be asked besides."""
    name = got["metal"]["name"]
    graded = any(letter.isdigit() for letter in name)
    return f"{name}, finish to be agreed" if graded else "to be agreed with the supplier: the job names none"


def sheet_columns(got: Row, *, priced: bool = True) -> list[Column]:
    """Columns of the sheets, one row a sheet; without prices for whoever else reads it."""
    unit = got["job"]["unit"]
    priced = priced and any(s["price"] for s in got["sheets"])
    price = f"Price, {got['totals']['currency']}".rstrip(", ")
    return [
        Column("Sheet", lambda s: s["sheet"], 6, "0"),
        Column("Stock", lambda s: s["stock"], 10),
        Column("Quantity", lambda s: 1, 7, "0", True),
        Column("From", lambda s: s["from"], 7),
        Column("Metal, temper", lambda s: got["metal"]["name"], 9),
        Column("Grade, finish", lambda s: _grade(got), 11),
        Column("Thickness, mm", lambda s: s["thickness_mm"], 8.5, "0.0##"),
        *_thickness_in(unit),
        *_length("Width", lambda s: s["width_mm"], unit, 7),
        *_length("Height", lambda s: s["height_mm"], unit, 7),
        Column("Grain", lambda s: s["grain"], 7),
        Column("Lies on it: number, name, turn from its own drawing", on_sheet_words, 26),
        Column("Offcuts kept", lambda s: _offcuts_words(s, got), 15),
        Column("Sheet, m²", lambda s: s["sheet_area_mm2"] / 1e6, 7, "0.0000", True),
        Column("Blanks, m²", lambda s: s["parts_area_mm2"] / 1e6, 7, "0.0000", True),
        Column("Offcuts, m²", lambda s: s["offcuts_area_mm2"] / 1e6, 7, "0.0000", True),
        Column("Skeleton (scrap), m²", lambda s: s["skeleton_area_mm2"] / 1e6, 8, "0.0000", True),
        Column("Yield, %", lambda s: s["yield_percent"], 6, "0.0"),
        Column("Yield with offcuts, %", lambda s: s["yield_with_offcuts_percent"], 8, "0.0"),
        Column(cut_head(got), lambda s: s["cut_length_mm"], 9, "0.0", True),
        Column("Starts (pierces)", lambda s: s["pierces"], 7, "0", True),
        *([Column(price, lambda s: s["price"], 7, "0.00", True)] if priced else []),
    ]


def _worth_telling(edge: Row, key: str) -> float:
    """An edge's gain as the drawings tell it: none where it is left as it is."""
    return 0.0 if edge["difficulty"] == AS_IT_IS else float(edge[key])


def edge_columns(unit: str) -> list[Column]:
    """Columns of the edges, one row an edge."""
    return [
        Column("No.", lambda e: e["piece"], 5, "0"),
        Column("Name", lambda e: e["name"], 18),
        Column("Edge", lambda e: e["edge"], 6, "0"),
        Column("Seam letter", lambda e: e["letter"] or "none", 8),
        Column("Meets", lambda e: piece_part(e["meets"], e["names"]) or "nothing", 20),
        Column("Joint", lambda e: f"{e['joint']}, {e['lies']}" if e["lies"] else e["joint"], 12),
        *_length("Left outside the trim line", lambda e: e["allowance_mm"], unit, 11),
        Column("In words", lambda e: e["allowance"], 16),
        *_length("On the flat", lambda e: e["blank_length_mm"], unit, 10),
        *_length("Formed", lambda e: e["formed_length_mm"], unit, 10),
        *_length("Gain", lambda e: _worth_telling(e, "gain_mm"), unit, 9),
        Column("Gain, %", lambda e: _worth_telling(e, "gain_percent"), 9, "0.0"),
        Column("Work", lambda e: e["difficulty"], 14),
    ]


def seam_columns(got: Row) -> list[Column]:
    """Columns of the joints, one row a pair of edges that meet."""
    unit, names = got["job"]["unit"], [blank["name"] for blank in got["blanks"]]

    def numbers(pieces: list[int]) -> str:
        return " and ".join(map(str, pieces)) or "none"

    return [
        Column("Seam letter", lambda s: s["letter"], 8),
        Column("One piece", lambda s: piece_part(s["one"], names), 22),
        Column("No.", lambda s: numbers(s["one_piece"]), 6),
        Column("The other", lambda s: piece_part(s["other"], names), 22),
        Column("No. of it", lambda s: numbers(s["other_piece"]), 6),
        Column("Joint", lambda s: s["joint"], 8),
        *_length("Lap or lip", lambda s: s["allowance_mm"], unit, 8),
        Column("Carried by", lambda s: s["allowance_on"], 18),
        Column("Lies outside", lambda s: s["outside"], 18),
        *_length("Weld", lambda s: s["length_mm"] if s["joint"] in WELDED else 0.0, unit, 10, total=True),
        *_length("Fold", lambda s: s["length_mm"] if s["joint"] == "fold" else 0.0, unit, 10, total=True),
    ]


def fold_columns(unit: str) -> list[Column]:
    """Columns of the folds, one row a fold."""
    return [
        Column("No.", lambda f: f["piece"], 5, "0"),
        Column("Name", lambda f: f["name"], 18),
        Column("Fold", lambda f: f["fold"], 6, "0"),
        Column("Angle turned, °", lambda f: f["angle_deg"], 9, "0.0"),
        Column("Direction", lambda f: f["direction"], 10),
        *_length("Inside radius", lambda f: f["inside_radius_mm"], unit, 10),
        Column("K-factor", lambda f: f["k_factor"], 9, "0.000"),
        Column("K from", lambda f: f["k_source"], 32),
        *_length("Length", lambda f: f["length_mm"], unit, 9),
        *_length("From x", lambda f: f["start_mm"][0], unit, 9),
        *_length("From y", lambda f: f["start_mm"][1], unit, 9),
        *_length("To x", lambda f: f["end_mm"][0], unit, 9),
        *_length("To y", lambda f: f["end_mm"][1], unit, 9),
    ]


def cut_columns(unit: str) -> list[Column]:
    """Columns of the shear cuts, one row a cut."""
    return [
        Column("Order", lambda c: c["order"], 6, "0"),
        Column("Under the shear", lambda c: c["piece"], 10),
        Column("Sheet", lambda c: c["sheet"], 6, "0"),
        Column("Measure", lambda c: c["measure"], 22),
        *_length("Distance", lambda c: c["distance_mm"], unit, 10),
        *_length("Stroke", lambda c: c["length_mm"], unit, 10),
        *(Column(f"{half} half", partial(_half, k=k), 34) for k, half in enumerate(("Left, lower", "Right, upper"))),
        Column("What for", lambda c: c["purpose"], 10),
        Column(
            "Mind (HOLD: wait for the bend test; finished edge: measure carefully; touches: nothing off beyond)",
            lambda c: c["mind"],
            30,
        ),
    ]


def _half(cut: Row, k: int) -> str:
    """One half of a cut: its label, its side, what it is."""
    return f"{cut['makes'][k]} ({cut['sides'][k]}): {cut['becomes'][k]}"
