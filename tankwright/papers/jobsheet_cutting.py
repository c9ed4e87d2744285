"""The job sheet's cut list and sheets: what is cut, from which sheet, in which order, and where the metal goes."""

from __future__ import annotations

from html import escape
from itertools import groupby
from typing import TYPE_CHECKING, Any

from ..units import show_inches, show_thickness
from .cutlist_columns import allowances_words
from .jobsheet_html import Cell, mm, num, table, text
from .jobsheet_sections import hardest_first, named
from .words import area, fixed, length, size, turned

if TYPE_CHECKING:
    from ..work import Work

__all__ = ["cut_list_section", "sheets_section"]

#: What the marks in the table of strokes ask for.
STROKES = (
    "<p><strong>Mind these strokes.</strong> HOLD: wait until the shop says the bend test is done; the stroke fixes "
    "the size of a piece that hangs on it, or comes after one that does. Finished edge: nothing is left on that edge "
    "of the blank, the stroke makes it over the length given; measure carefully. Touches: it only touches such an "
    "edge, and nothing may come off beyond it.</p>"
)

Figures = dict[str, Any]


def cut_list_section(got: Figures) -> str:
    """One row a blank, one line of what is left outside the trim line, totals."""
    unit = got["job"]["unit"]
    numbers = {b["name"]: b["piece"] for b in got["blanks"]}
    rows = []
    for b in got["blanks"]:
        side = f"{b['side']}, mirror of {numbers.get(b['mirrors'], b['mirrors'])}" if b["mirrors"] else b["side"]
        rows.append(
            (
                Cell(f'<a href="#piece{b["piece"]}">{b["piece"]} {escape(b["name"])}</a>'),
                text(side),
                num(b["quantity"], 0),
                _size(b, unit),
                num(b["cut_area_mm2"] / 1e6, 3),
                num(b["net_area_mm2"] / 1e6, 3),
                num(b["mass_kg"], 2),
                mm(b["cut_length_mm"], unit),
                num(b["pierces"], 0),
                text(b["grain"]),
                text(", ".join(map(str, b["sheets"])) or "NONE"),
                text(allowances_words(b)),
            )
        )
    heads = (
        "Piece", "Side", "Qty", "Size as cut, mm", "m² as cut", "m² net", "kg as cut", "Outline, mm",
        "Starts", "Grain", "Sheet", "Left outside the trim line",
    )  # fmt: skip
    blanks = got["blanks"]

    def total(key: str) -> float:
        return sum(b[key] for b in blanks)

    foot = (
        text("Total"), text(""), num(total("quantity"), 0), text(""), num(total("cut_area_mm2") / 1e6, 3),
        num(total("net_area_mm2") / 1e6, 3), num(total("mass_kg"), 2), mm(total("cut_length_mm"), unit),
        num(total("pierces"), 0), text(""), text(""), text(""),
    )  # fmt: skip
    return (
        f"<p>{_of_what(got)}, good face up as drawn. Sizes as cut. Trim is "
        "metal left outside the trim line and taken off after forming; lap and flange stay on. Net edges have nothing "
        f"left on: they are tried and dressed. {_first_to_form(got)}</p>"
        f"{table(heads, rows, foot=[foot])}"
        '<p class="small soft">m² net: inside the trim line, on the flat. It is not quite the '
        f"{escape(area(got['capacity']['shell_area_mm2']))} of the finished shell, which is formed. Outline: length of "
        "all lines cut, holes too. Starts: closed lines, each pierced once. Each figure is rounded by itself: the last "
        "place of a total may differ.</p>"
    )


def _of_what(got: Figures) -> str:
    """Metal, temper, thickness and gauge; where blanks differ, of each."""
    kinds: dict[tuple[str, str, float], list[str]] = {}
    for b in got["blanks"]:
        kinds.setdefault((b["metal"], b["gauge"], b["thickness_mm"]), []).append(str(b["piece"]))
    unit, metal = got["job"]["unit"], got["metal"]
    if len(kinds) == 1:
        gauge = "" if metal["gauge"] in metal["words"] else f" ({metal['gauge']})"
        return escape(f"All of {metal['words']}{gauge}")
    told = (
        f"pieces {', '.join(pieces)} of {name}, {show_thickness(thick, unit)} ({gauge})"
        for (name, gauge, thick), pieces in kinds.items()
    )
    return escape("; ".join(told).capitalize())


def _first_to_form(got: Figures) -> str:
    """The cut list's order is not the order of work: which piece comes first."""
    formed = hardest_first(got)
    first = f": first to form is {named(formed[0])}" if formed else ""
    return f"The numbers are not the <a href='#order'>order of work</a>{first}."


def _size(blank: Figures, unit: str) -> Cell:
    """Bounding size as cut, the inches under it where the job is in inches."""
    millimetres = f"{fixed(blank['width_mm'])}\u00a0×\u00a0{fixed(blank['height_mm'])}"
    if unit != "in":
        return Cell(millimetres, True)
    inch = f"{show_inches(blank['width_mm'])} × {show_inches(blank['height_mm'])} in"
    return Cell(f"{millimetres}<small>{escape(inch)}</small>", True)


def sheets_section(work: Work, got: Figures) -> str:
    """Sheets to buy, each sheet's picture, what is kept, cuts in order, and where the metal goes."""
    from .sheet_svg import sheet_svg

    unit = got["job"]["unit"]
    buy = "".join(f"<li>Order <strong>{escape(order['words'])}</strong></li>" for order in got["buy"])
    made = [f'<ul class="buy">{buy}</ul>' if buy else "<p>Nothing to order: everything comes from the rack.</p>"]
    pictures = []
    for used, sheet in zip(work.layout.sheets, got["sheets"], strict=True):
        name = f"sheet{sheet['sheet']}"
        order = "On it" if got["cuts"] else "In the order of cutting"
        source = "from your own rack" if sheet["from"] == "own rack" else f"stock {sheet['stock']}"
        measures = size(sheet["width_mm"], sheet["height_mm"], unit)
        caption = (
            f"Sheet {sheet['sheet']}, {measures}, {source}. {order}: {_lying(sheet)}. Blanks "
            f"{fixed(sheet['yield_percent'])} % of the sheet, with kept offcuts "
            f"{fixed(sheet['yield_with_offcuts_percent'])} %."
        )
        tall = sheet["height_mm"] > 1.15 * sheet["width_mm"]
        pictures.append(
            f'<div class="sheet{" tall" if tall else ""}"><h3>Sheet {sheet["sheet"]}</h3><figure>'
            f"{sheet_svg(work.layout, used, sheet, name=name, unit=unit)}"
            f"<figcaption>{escape(caption)}</figcaption></figure></div>"
        )
    made.append(f'<div class="nested">{"".join(pictures)}<div class="used">{_offcuts(got)}{_metal(got)}</div></div>')
    made.append(_cuts(work, got))
    return "".join(made)


def _lying(sheet: Figures) -> str:
    """What lies on a sheet, in order; neighbours in that order that lie alike are told together."""
    told = []
    for (way, over), parts in groupby(sheet["parts"], lambda p: (turned(p["turn_deg"]), p["turned_over"])):
        how = ", ".join(filter(None, (way, "FACE DOWN" if over else "")))
        told.append(", ".join(f"{p['piece']} {p['name']}" for p in parts) + (f": {how}" if how else ""))
    return "; ".join(told)


def _offcuts(got: Figures) -> str:
    if not got["offcuts"]:
        return "<p>No offcut worth keeping.</p>"
    unit = got["job"]["unit"]
    rows = [
        (
            text(o["label"]), num(o["sheet"], 0), mm(o["width_mm"], unit), mm(o["height_mm"], unit),
            num(o["area_mm2"] / 1e6, 3), text("a rectangle" if o["square"] else "not a rectangle: see the drawing"),
        )
        for o in got["offcuts"]
    ]  # fmt: skip
    return table(
        ("Offcut", "Sheet", "Width, mm", "Height, mm", "m²", "Shape"),
        rows,
        caption="Offcuts to keep and label",
        kind="named",
    )


def _cuts(work: Work, got: Figures) -> str:
    from .shearsteps import stroke_cautions

    if not got["cuts"]:
        return ""
    mind: dict[tuple[int, int], str] = {}
    for used in work.layout.sheets:
        mind |= {(used.index + 1, order): said for order, said in stroke_cautions(work, used.index).items()}
    unit = got["job"]["unit"]
    rows = [
        (
            num(c["order"], 0), text(c["piece"]), text(c["measure"]), mm(c["distance_mm"], unit),
            mm(c["length_mm"], unit), *(_half(c, k) for k in (0, 1)),
            _purpose(c, mind.get((c["sheet"], c["order"]), "")),
        )
        for c in got["cuts"]
    ]  # fmt: skip
    heads = (
        "Cut", "Take", "Measure", "Set at, mm", "Stroke, mm", "Left or lower half", "Right or upper half", "What for",
    )  # fmt: skip
    longest = max(got["cuts"], key=lambda c: c["length_mm"])
    return (
        '<p class="lead">Halves are left and right, lower and upper as the sheet is drawn. A cut is measured from the '
        "far edge where a part without trim is what is left there. Sheared pieces are numbered sheet.piece: 1.7 is the "
        "seventh piece made from sheet 1, not blank "
        "7. Shearing leaves rectangles, larger than their blanks by the gap: a blank lies in the lower left corner of "
        "its own unless the table says otherwise; scribe it there and cut its outline after shearing. Square: takes a "
        "raw edge off; part: sets pieces apart; trim: takes waste off. On to cut 6: cut 6 goes on with it.</p>"
        f"{STROKES if mind else ''}<p><strong>The longest cut is cut {longest['order']}, "
        f"{escape(length(longest['length_mm'], unit))} long:</strong> it needs a shear that wide, or is cut by "
        "hand.</p>" + table(heads, rows, caption="Shear cuts, in order", kind="named long")
    )


def _purpose(cut: Figures, mind: str) -> Cell:
    """What a cut is for, and what to mind at it."""
    return Cell(escape(cut["purpose"]) + (f"; <strong>{escape(mind)}</strong>" if mind else ""))


def _half(cut: Figures, k: int) -> Cell:
    """One half of a cut: its label, what it is."""
    label, what = cut["makes"][k], cut["becomes"][k]
    strong = what.startswith(("piece", "K"))
    what = what.replace("cut again, cut ", "on\u00a0to\u00a0cut\u00a0").replace(" x ", "\u00a0x\u00a0")
    shown = f"<strong>{escape(what)}</strong>" if strong else escape(what)
    return Cell(f"{escape(label)}:\u00a0{shown}")


def _metal(got: Figures) -> str:
    """Where the metal goes: the four areas that tie, with their masses."""
    t, unit = got["totals"], got["job"]["unit"]
    whole = t["sheet_area_mm2"] or 1
    rows = [
        (text(name), num(t[key] / 1e6, 3), num(100 * t[key] / whole), num(t[kg], 2))
        for name, key, kg in (
            ("blanks", "parts_area_mm2", "mass_in_parts_kg"),
            ("offcuts kept", "offcuts_area_mm2", "mass_kept_kg"),
            ("skeleton (scrap)", "skeleton_area_mm2", "mass_scrap_kg"),
        )
    ]
    foot = (text("sheets used"), num(whole / 1e6, 3), num(100.0), num(t["mass_used_kg"], 2))
    money = ""
    if t["price"]:
        money = f" Sheets cost {fixed(t['price'], 2)} {escape(t['currency'])}."
    bought = f"Bought {fixed(t['mass_bought_kg'], 2)} kg." if t["mass_bought_kg"] else "Nothing is bought."
    proven = " No layout in this way of cutting needs less." if t["proven"] else ""
    notes = "".join(f"<p>{escape(note)}</p>" for note in t["nest_notes"])
    how = {"shear": "edge to edge on a shear", "profile": "as profiles"}.get(t["cutting"], t["cutting"])
    return (
        f"{table(('Metal', 'm²', '% of sheets', 'kg'), rows, foot=[foot], caption='Where the metal goes')}"
        f"<p>{bought} Cut {how}: {_all_cuts(t)}, "
        f"gap between blanks {escape(length(t['gap_mm'], unit))}, margin at the edge "
        f"{escape(length(t['edge_mm'], unit))}.{money}{proven}</p>{notes}"
    )


def _all_cuts(t: Figures) -> str:
    """Length of all cuts in words: strokes of a shear are not outlines."""
    metres = fixed(t["cut_length_mm"] / 1000, 2)
    if t["cutting"] == "shear":
        return f"{metres} m of shear strokes (the outlines, cut afterwards, are in the cut list)"
    return f"{metres} m of outlines, {t['pierces']} starts (pierces)"
