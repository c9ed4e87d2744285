"""``cutting/for-the-cutter.txt``: what whoever cuts must know; and figures as papers give them.

The page is for a neighbour who gets the folder by mail and has a machine warm: which file, what to cut in which
order, what is left over, and whom to ask. Plain words in plain letters.
"""

from __future__ import annotations

import textwrap
from collections.abc import Iterator
from typing import TYPE_CHECKING, Any

from ..units import MM_PER_INCH, inches_shown, show_thickness
from . import words
from .look import CHECK_MM, LAYERS
from .names import job_line, plain

if TYPE_CHECKING:
    from nesting.model import UsedSheet
    from panels.blank import Blank

    from ..work import Work
    from .cutting_kerf import Asked

__all__ = ["column_figure", "decimal_inches", "figure", "for_the_cutter", "grain_words", "metal_line", "metal_of"]

WIDE = 96  # letters in a line


def figure(value: float, unit: str) -> str:
    """A figure in mm to 0.1, with inches in brackets behind where the job is in inches.

    >>> figure(36.5, "mm"), figure(36.5, "in")
    ('36.5', '36.5 (1 7/16)')
    """
    from ..units import show_inches

    plain = words.fixed(value)
    return plain if unit != "in" else f"{plain} ({show_inches(value)})"


def column_figure(value: float, unit: str) -> str:
    """The same for a column of figures: inches always to 0.001, since one way of writing is read faster.

    >>> column_figure(36.5, "mm"), column_figure(36.5, "in")
    ('36.5', '36.5 (1.438)')
    """
    plain = words.fixed(value)
    return plain if unit != "in" else f"{plain} ({decimal_inches(value)})"


def decimal_inches(value: float) -> str:
    """Inches to 0.001, always three decimals: those that every other paper gives of the length, fraction or not.

    >>> decimal_inches(9.525), decimal_inches(31.75), decimal_inches(68.25)
    ('0.375', '1.250', '2.685')
    """
    return words.fixed(inches_shown(value), 3)


def metal_line(job: Any, thickness: float | None = None) -> str:
    """Metal, temper, thickness, and its gauge unless the job already names it."""
    says = words.metal_words(job, thickness)
    gauge = words.gauge(job.thickness if thickness is None else thickness, job)
    return says if gauge in says else f"{says}, {gauge}"


def metal_of(job: Any, blank: Blank) -> str:
    """Metal and thickness of a blank, which may be from other stock than the tank's."""
    if not blank.metal:
        return metal_line(job, blank.thickness)
    return f"{blank.metal}, {show_thickness(blank.thickness, job.unit)}, FROM OTHER STOCK: on no sheet of these"


def grain_words(degrees: float | None) -> str:
    """Direction of a sheet's grain.

    >>> grain_words(None), grain_words(90.0)
    ('no direction', 'along y')
    """
    if degrees is None:
        return "no direction"
    return {0.0: "along x", 90.0: "along y"}.get(degrees % 180, f"{degrees % 180:.1f} deg from x")


def for_the_cutter(work: Work, asked: Asked | None = None) -> dict[str, bytes]:
    """The page by its name, for the cutting files made with the same ``asked``; None: what the job asks."""
    from .cutting_kerf import asked_of

    asked = asked_of(work) if asked is None else asked
    parts = (_hold, _first, _layers, _sheets, _parts, _edges, _after, _cautions)
    lines = [f"FOR WHOEVER CUTS: {job_line(work.job)}"]
    for part in parts:
        said = list(part(work, asked))
        lines += ["", *said] if said else []
    rows = (row for line in lines for row in _wrapped(line))
    return {"cutting/for-the-cutter.txt": ("\r\n".join(rows) + "\r\n").encode("ascii")}


def _wrapped(line: str) -> list[str]:
    """A line in rows that a small screen and a printer hold; rows of a table, set in by spaces, stay whole."""
    if line.startswith("  "):
        return [line]
    return textwrap.wrap(plain(line), WIDE) or [""]


def _hold(work: Work, asked: Asked) -> Iterator[str]:
    """What must not be cut yet, and the strip that is cut first."""
    from .cutting import for_shear, piece_numbers, strip_stems
    from .cutting_hold import BEND_HOLD, STRIP_EXACT, looks_open, open_parts, strip_source, strips_of, waits

    numbers = piece_numbers(work)
    held = ", ".join(f"{numbers[blank.name]} {blank.name}" for blank in work.blanks if waits(blank))
    if held:
        where = (
            "; on the sheets laid out for the shear the strokes that fix its size wait too"
            if for_shear(work)
            else f". On the sheet files what waits is on {LAYERS['later'].name}, after all that is cut now"
        )
        yield (
            f"HOLD: {held}: {BEND_HOLD}{where}. The flat size may change: cut it from its blank file made after the "
            "test, which has no HOLD and gives the shop's own measurement as the source of K."
        )
    for stem, strip in zip(strip_stems(work, asked), strips_of(work), strict=True):
        size = _spans(strip, work.job.unit)
        yield f"CUT FIRST: the {strip.name}, {stem}-mm.dxf, {size}: {strip_source(work, strip)}; {STRIP_EXACT}."
    looks = looks_open(work)
    if looks:
        yield "OPEN, to be decided before the parts named are cut; ask the shop whether that is done:"
        for finding in looks:
            names = ", ".join(f"{numbers[blank.name]} {blank.name}" for blank in open_parts(work, finding))
            yield from _set_in(f"{names or 'which parts it changes is the shop to say'}: {finding.says}.")


def _spans(blank: Blank, unit: str) -> str:
    x0, y0, x1, y1 = blank.outline.bounds
    return words.size(x1 - x0, y1 - y0, unit)


def _first(work: Work, asked: Asked) -> Iterator[str]:
    """What to do before anything else."""
    from .cutting import for_shear
    from .cutting_header import asked_words
    from .cutting_hold import waits

    shop = work.job.shop
    who = ", ".join(part for part in (shop.name, shop.contact) if part) or "whoever sent you this"
    yield f"Ask before you guess: {who}. Name the job and its revision."
    yield (
        f"Every file is in millimetres, 1:1; its name ends in -mm. Measure {LAYERS['check'].name} first: it must be "
        f"{CHECK_MM:.1f} mm, {CHECK_MM / MM_PER_INCH:.3f} in, long in each of them. Files in r12/ cannot carry a unit: "
        "a machine that works in inches asks for it, or guesses. Tell it millimetres."
    )
    if for_shear(work):
        yield (
            "With a torch, laser or water jet take the blank files, one part each, on the metal as agreed with the "
            "shop, a whole sheet or rectangles already sheared, and leave your own gap between them. The sheet files "
            "(sheet-N-shear) are laid out for a shear: parts may touch, a torch would take its kerf from the "
            "neighbour, and nothing in them is on the layer that is cut. K1 and the like are on them alone."
        )
    else:
        yield (
            "Take the sheet files (everything laid out) on sheets of the size named, or the blank files (one part "
            "each) on the metal as agreed with the shop; no part from both. What waits (HOLD) comes from its new blank "
            "file either way."
            if any(waits(blank) for blank in work.blanks)
            else "Take the sheet files (everything laid out) on sheets of the size named, or the blank files (one part "
            "each) on the metal as agreed with the shop; no part from both."
        )
    yield "The shop says who brings the metal: ask if it has not."
    yield (
        "Files ending in -mm.dxf are DXF R2010; those in r12/ hold the same for readers of the old kind; those in svg/ "
        "for small cutters that read no DXF."
    )
    yield " ".join(asked_words(asked))
    yield (
        "Outlines run clockwise, holes anticlockwise: the part lies to the right of travel, where the usual swirl ring "
        "leaves the square side (common practice, no source). Holes first, then outlines; on the sheets small parts "
        "while the sheet is stiff, then the rest; what lies in a hole of another part whole before that hole."
    )
    if not for_shear(work):
        cut, keep = LAYERS["cut"].name, LAYERS["offcut"].name
        yield (
            f"Cut what is on {cut}; last of all, on a sheet, what is on {keep}: open lines that free what is kept, out "
            "to the edge of the sheet."
        )
        yield (
            "Zero of every file is 0,0: the lower left corner of the sheet, or of the box round the part. The check "
            "line and the notes stand below it: never let the machine take the lower left of the whole drawing for "
            "zero. In svg/ the file says how far zero is from the page's lower left."
        )


def _layers(work: Work, asked: Asked) -> Iterator[str]:
    from .cutting import cutting_drawings, for_shear

    used = {item.layer for drawing in cutting_drawings(work, asked).values() for item in drawing.items}
    yield "Layers:"
    for key, layer in LAYERS.items():
        if key in used:
            yield f"  {layer.name:<11} {layer.what}"
    if for_shear(work):
        yield f"{LAYERS['cut'].name} stands in the blank files alone."
    yield "Lines that are not cut end 2 mm inside the outline. A hole that is only scribed is not yours to cut."


def _sheets(work: Work, asked: Asked) -> Iterator[str]:
    from .cutting import for_shear

    layout, shear = work.layout, for_shear(work)
    yield "Sheets:" if not shear else "Sheets, for the shear:"
    for used in layout.sheets:
        yield from _sheet(work, used, asked, shear)
    if not shear:
        yield (
            f"Gap between parts {words.length(layout.gap_mm, work.job.unit)}, to the edge "
            f"{words.length(layout.edge_mm, work.job.unit)}. Measure the sheet before you start: it must be no smaller."
        )


def _sheet(work: Work, used: UsedSheet, asked: Asked, shear: bool) -> Iterator[str]:
    from ..rack import from_rack
    from .cutting import file_stems, piece_numbers
    from .cutting_header import LATER_TOO
    from .cutting_later import later_on, later_words, sheet_order
    from .cutting_order import order_letter

    sheet, layout, unit = used.sheet, work.layout, work.job.unit
    stem = file_stems(work, asked)[0][used.index]
    bought = "from the rack" if from_rack(sheet) else "to buy"
    yield (
        f"Sheet {used.index + 1} ({stem}-mm.dxf): {sheet.name}, {words.size(sheet.width, sheet.height, unit)}, "
        f"{metal_line(work.job)}, {bought}. Grain {grain_words(sheet.grain_deg)}. Origin at its lower left corner."
    )
    if not shear:
        numbers, order, later = piece_numbers(work), sheet_order(work, used.index), later_on(work, used.index)
        names = [
            " ".join(f"{order_letter(k)} {numbers.get(p.part.name, '')} {p.part.name}".split())
            for k, p in enumerate(order, 1)
        ]
        yield (
            f"  {len(order)} parts, {used.pierces} pierces, {used.cut_length / 1000:.2f} m of cut"
            f"{LATER_TOO if later else ''}, in this order (by the letters):"
        )
        yield from _set_in(f"{', '.join(names[: len(names) - len(later)]) or 'nothing yet'}.")
        if later:
            yield from _set_in(f"{LAYERS['later'].name}, NOT YET: {', '.join(names[len(names) - len(later) :])}.")
            yield from _set_in(" ".join(later_words(work, used.index)))
        down = [p.part.name for p in order if p.flipped]
        if down:
            yield from _set_in(f"Good face DOWN: {', '.join(down)}.")
    if shear:
        from .shearsteps import finished_words

        for cut, said in finished_words(work, used.index).items():
            yield from _set_in(f"Cut {cut}: {said}.")
    kept = [(number, o) for number, o in enumerate(layout.offcuts, 1) if o.sheet == used.index]
    sizes = ", ".join(f"K{number} {words.size(*o.size, unit)}" for number, o in kept)
    yield (
        f"  Left over and wanted back, on {LAYERS['offcut'].name}: {sizes}." if kept else "  Nothing left over to keep."
    )


def _set_in(text: str) -> list[str]:
    return [f"  {row}" for row in textwrap.wrap(plain(text), WIDE - 2)]


def _parts(work: Work, asked: Asked) -> Iterator[str]:
    """One row a blank: what is in its file; the test strip before them."""
    from .cutting import file_stems, strip_stems
    from .cutting_hold import strips_of

    stems = [*strip_stems(work, asked), *file_stems(work, asked)[1]]
    blanks = [*strips_of(work), *work.blanks]
    names = [f"{stem}-mm.dxf" for stem in stems]
    wide, inches = max(map(len, names)), work.job.unit == "in"
    heads = f"{'Width x height, mm':>18}" + (f"  {'in':>15}" if inches else "")
    but = ", but where another is named" if any(blank.metal for blank in work.blanks) else ""
    yield f"Parts, one of each, {metal_line(work.job)}{but}, all drawn good face up (the outside of the tank):"
    heads += f"  {'Cut, in' if inches else 'Cut, m':>7}  {'Pierces':>7}  Grain in the file"
    yield f"  {'No.':<4}{'File':<{wide}}  {heads}"
    for k, (name, blank) in enumerate(zip(names, blanks, strict=True), 1 + len(work.blanks) - len(blanks)):
        x0, y0, x1, y1 = blank.outline.bounds
        size = f"{f'{x1 - x0:.1f} x {y1 - y0:.1f}':>18}"
        size += f"  {f'{decimal_inches(x1 - x0)} x {decimal_inches(y1 - y0)}':>15}" if inches else ""
        grain = "any way" if blank.grain_deg is None else grain_words(blank.grain_deg)
        pierces, cut = 1 + len(blank.outline.interiors), blank.outline.length
        run = f"{cut / MM_PER_INCH:.1f}" if inches else f"{cut / 1000:.2f}"
        yield f"  {k if k > 0 else '-':<4}{name:<{wide}}  {size}  {run:>7}  {pierces:>7}  {grain}"
        if blank.metal:
            yield f"      {plain(metal_of(work.job, blank))}"


def _edges(work: Work, asked: Asked) -> Iterator[str]:
    """Which edges are trimmed later, which metal stays on the tank, which edges are net; like parts together."""
    from .cutting import piece_numbers, unlettered
    from .cutting_hold import as_carried, edge_words

    numbers, bare, said = piece_numbers(work), unlettered(work, asked), dict[str, list[str]]()
    for blank in work.blanks:
        edges = edge_words(as_carried(work, blank), work.job.unit, bare[blank.name])
        said.setdefault(edges, []).append(f"{numbers[blank.name]} {blank.name}")
    yield (
        f"Edges, by the letters on the layer {LAYERS['mark'].name}. Trimmed later: 1 mm either way does no harm. Net, "
        "and metal that STAYS ON (lap, flange, lip, ledge), is the finished edge: within 0.5 mm, please (common "
        "practice, no source)."
    )
    for edges, names in said.items():
        yield from _set_in(f"{', '.join(names)}: {edges or 'no edge named'}.")


def _after(work: Work, asked: Asked) -> Iterator[str]:
    pairs = [f"{blank.name} of {blank.mirrors}" for blank in work.blanks if blank.mirrors]
    yield (
        "Before a part leaves the sheet write its number, name and side on its good face, as on the layer "
        f"{LAYERS['mark'].name}, or let the machine etch that."
    )
    if pairs:
        yield (
            f"Mirror images, which pass for one another turned over: {'; '.join(pairs)}. Do not cut one twice or turn "
            "one over."
        )


def _cautions(work: Work, asked: Asked) -> Iterator[str]:
    dust = {
        "aluminium": "aluminium dust and water do not go together",
        "stainless": "the fume of stainless steel holds chromium",
    }.get(work.job.metal.kind, "no coated or plated sheet without asking: its fume harms")
    yield (
        f"Cut edges are sharp: gloves. Fume and dust: extraction; {dust}. Local rules and the maker of your machine "
        "come first."
    )
