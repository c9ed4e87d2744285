"""The figures of the sheets: what lies on each, offcuts kept, shear cuts in order, what to buy.

Part of `results.figures`; keys are told in `results_fields.FIELDS`.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING, Any

from ..rack import from_rack
from .rounding import mm, mm2, percent, rounded
from .words import length, metal_words, size, turned

if TYPE_CHECKING:
    from nesting import Layout, UsedSheet

    from ..work import Work

__all__ = ["cut_figures", "offcut_figures", "sheet_figures", "to_buy"]


def sheet_figures(work: Work, used: UsedSheet, blanks: list[dict[str, Any]]) -> dict[str, Any]:
    """One sheet: its stock, what lies on it in the order of cutting, its areas, which tie, and its cuts."""
    from .cutting_later import sheet_order

    number = {blank["name"]: blank["piece"] for blank in blanks}
    sheet = used.sheet
    grain_words = {0.0: "along the width", 90.0: "along the height", None: "none given"}
    whole = sheet.area or 1.0
    return {
        "sheet": used.index + 1,
        "stock": used.name,
        "width_mm": mm(sheet.width),
        "height_mm": mm(sheet.height),
        "thickness_mm": rounded(work.job.thickness, 3),
        "from": "own rack" if from_rack(sheet) else "bought",
        "price": rounded(sheet.price, 2),
        "grain": grain_words.get(sheet.grain_deg, f"{sheet.grain_deg}°"),
        "parts": [
            {
                "piece": number.get(p.part.name),
                "name": p.part.name,
                "turn_deg": rounded(p.turn_deg % 360, 1),
                "turned_over": p.flipped,
                "left_mm": mm(p.outline.bounds[0]),
                "low_mm": mm(p.outline.bounds[1]),
            }
            for p in sheet_order(work, used.index)
        ],
        "sheet_area_mm2": mm2(sheet.area),
        "parts_area_mm2": mm2(used.parts_area),
        "offcuts_area_mm2": mm2(used.offcuts_area),
        "skeleton_area_mm2": mm2(used.skeleton_area),
        "yield_percent": percent(used.parts_area / whole),
        "yield_with_offcuts_percent": percent((used.parts_area + used.offcuts_area) / whole),
        "cut_length_mm": mm(used.cut_length),
        "pierces": used.pierces,
    }


def offcut_figures(layout: Layout) -> list[dict[str, Any]]:
    """Kept offcuts, named K1, K2 ... in the order of the layout."""
    return [
        {
            "label": f"K{k}",
            "sheet": offcut.sheet + 1,
            "width_mm": mm(offcut.size[0]),
            "height_mm": mm(offcut.size[1]),
            "area_mm2": mm2(offcut.area),
            "square": abs(offcut.area - offcut.size[0] * offcut.size[1]) < 1.0,
        }
        for k, offcut in enumerate(layout.offcuts, 1)
    ]


def cut_figures(work: Work, blanks: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """Edge-to-edge cuts in order, with what becomes of both halves; empty when it is cut as profiles."""
    from .shearsteps import measured

    layout = work.layout
    if not layout.cuts:
        return []
    becomes = _becomes(layout, blanks, work.job.unit)
    measures = {(s.index, order): told for s in layout.sheets for order, told in measured(work, s.index).items()}
    return [
        {
            "order": cut.order,
            "sheet": cut.sheet + 1,
            "piece": cut.piece if "." in cut.piece or cut.piece != str(cut.sheet + 1) else f"sheet {cut.piece}",
            "measure": f"from the {measures[cut.sheet, cut.order][0]} edge",
            "distance_mm": mm(measures[cut.sheet, cut.order][1]),
            "length_mm": mm(cut.length),
            "makes": list(cut.makes),
            "sides": ["left", "right"] if cut.axis == "x" else ["lower", "upper"],
            "becomes": [becomes[label] for label in cut.makes],
            "purpose": cut.purpose,
        }
        for cut in layout.cuts
    ]


def _becomes(layout: Layout, blanks: list[dict[str, Any]], unit: str) -> dict[str, str]:
    """What each piece that comes from the shear is: a blank and where it sits, kept, scrap, or cut again."""
    cells = _sheared(layout)
    cut_again = {cut.piece: cut.order for cut in layout.cuts}
    number = {blank["name"]: blank["piece"] for blank in blanks}
    named = {label: f"cut again, cut {order}" for label, order in cut_again.items()}
    named |= {offcut.piece: f"K{k}, keep" for k, offcut in enumerate(layout.offcuts, 1) if offcut.piece}
    for placed in layout.placed:
        if placed.piece not in cells:
            continue
        x0, y0, x1, y1 = cells[placed.piece]
        bx, by, _, _ = placed.outline.bounds
        sits = ""  # in the lower left corner
        if bx - x0 > 0.05 or by - y0 > 0.05:
            left, low = (length(max(0.0, off), unit) for off in (bx - x0, by - y0))
            sits = f", blank {left} from its left and lower edges"
            if left != low:
                sits = f", blank {left} from its left, {low} from its lower edge"
        off = placed.turn_deg % 90  # a quarter turn is seen; a blank that lies a little aslant is not
        if min(off, 90 - off) > 0.05:
            sits += f", {turned(placed.turn_deg)} in it"
        owner = f"{number.get(placed.part.name, '')} {placed.part.name}".strip()
        named[placed.piece] = f"piece {owner}, {size(x1 - x0, y1 - y0, unit)}{sits}"
    known = all(placed.piece for placed in layout.placed)
    left = "scrap" if known else "see the drawing"
    return {label: named.get(label, left) for cut in layout.cuts for label in cut.makes}


def _sheared(layout: Layout) -> dict[str, tuple[float, float, float, float]]:
    """The rectangle of every piece that comes from the shear, by label: left, low, right, high on its sheet."""
    cells: dict[str, tuple[float, float, float, float]] = {}
    for cut in layout.cuts:
        sheet = layout.sheets[cut.sheet].sheet
        x0, y0, x1, y1 = cells.get(cut.piece, (0.0, 0.0, sheet.width, sheet.height))
        at = cut.line[0][0 if cut.axis == "x" else 1]
        first, rest = cut.makes
        if cut.axis == "x":
            cells[first], cells[rest] = (x0, y0, at, y1), (at, y0, x1, y1)
        else:
            cells[first], cells[rest] = (x0, y0, x1, at), (x0, at, x1, y1)
    return cells


def to_buy(work: Work, sheets: Iterable[dict[str, Any]]) -> list[dict[str, Any]]:
    """Sheets to buy, one entry a size, in the supplier's words."""
    count: dict[tuple[str, float, float, float], int] = {}
    for sheet in sheets:
        if sheet["from"] == "bought":
            key = (sheet["stock"], sheet["width_mm"], sheet["height_mm"], sheet["price"])
            count[key] = count.get(key, 0) + 1
    metal, unit = metal_words(work.job), work.job.unit
    return [
        {
            "quantity": n,
            "stock": stock,
            "width_mm": width,
            "height_mm": height,
            "price": price,
            "words": f"{n} sheet{'s' if n > 1 else ''} {metal}, {size(width, height, unit)}",
        }
        for (stock, width, height, price), n in count.items()
    ]
