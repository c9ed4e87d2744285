"""The words in a cutting file: what a cutter asks, answered beside the part."""

from __future__ import annotations

import textwrap
from collections.abc import Collection, Mapping, Sequence
from itertools import takewhile
from typing import TYPE_CHECKING

from ..units import MM_PER_INCH
from . import words
from .cutting_hold import STRIP_EXACT, as_carried, edge_words, hold_words, strip_source
from .cutting_later import later_on, later_words
from .cutting_order import order_letter
from .cutting_words import figure, grain_words, metal_line, metal_of
from .look import CHECK_MM, LAYERS, WORDS
from .names import date_words
from .rollwords import roll_sentences

if TYPE_CHECKING:
    from nesting.model import Placed
    from panels.blank import Blank

    from ..work import Work
    from .cutting_kerf import Asked

__all__ = ["asked_words", "blank_words", "sheet_words", "strip_words"]


#: What may be scribed or etched by a machine that can; everything else but the cut is to be read.
WIDE = 110  # letters in a row of what takes several
IN_A_ROW = 3  # fittings in a line of the words
LATER_TOO = ", with the part that waits"
ETCHED = ("scribe", "mark", "up", "down", "trim")


def asked_words(asked: Asked, without_lead: int = 0) -> list[str]:
    """Kerf and lead-ins: none, or how much and on which side."""
    if asked.kerf > 0:
        half = asked.kerf / 2
        lines = [
            f"KERF IS IN THIS FILE: {asked.kerf:.2f} mm. Paths are the middle of the cut, {half:.2f} mm outside each "
            f"outline and inside each hole. Set no kerf at the machine."
        ]
    elif asked.lead_in <= 0:
        return [WORDS["net"]]
    else:
        lines = ["Net geometry: no kerf. Set kerf at the machine."]
    if asked.lead_in <= 0:
        return [*lines, "No lead-ins."]
    left = f" {without_lead} had no room for one and stay closed." if without_lead else ""
    return [*lines, f"LEAD-INS ARE IN THIS FILE: {asked.lead_in:.1f} mm, square on from the scrap.{left}"]


def blank_words(
    work: Work, blank: Blank, number: str, asked: Asked, without_lead: int, unlettered: Collection[str] = ()
) -> list[str]:
    """The lines under one blank; ``unlettered`` edges found no room for their letters."""
    x0, y0, x1, y1 = blank.outline.bounds
    unit = work.job.unit
    lines = [
        *hold_words(work, [blank]),
        f"Part: {f'{number} {blank.name}'.strip()}. Hand: {words.hand(blank)}. Quantity: 1.",
        *([f"Edges: {edge_words(as_carried(work, blank), unit, unlettered)}."] if blank.edges else []),
        f"Metal: {metal_of(work.job, blank)}.",
        f"{WORDS['face']}",
        *(f"{name[0].upper()}{name[1:]} (SCRIBE lines): {says}." for name, says in roll_sentences(blank, unit)),
        *_fittings(blank, unit),
        *_folds(blank),
        _grain(blank),
        f"Size of the cut outline: {words.length(x1 - x0, unit)} by {words.length(y1 - y0, unit)}. "
        f"Area {words.fixed(blank.outline.area / 100)} cm2. Holes: {len(blank.outline.interiors)}.",
    ]
    zero = "Zero is 0,0 of this file: lower left of the net outline's box. Check line and notes stand below it."
    return [*lines, zero, *_how_to_cut(asked, without_lead), *_job_words(work)]


def _folds(blank: Blank) -> list[str]:
    """The K-factors that the size hangs on, with where each is from."""
    known = dict.fromkeys((fold.k_factor, fold.k_source) for fold in blank.folds)
    return [f"Folded: K {words.fixed(k, 3)} from {source}." for k, source in known]


def _fittings(blank: Blank, unit: str) -> list[str]:
    """Where each fitting is scribed, whether or not its name found room beside it."""
    from .offsets import middle_of

    x0, y0, _, _ = blank.outline.bounds
    told = []
    for k, mark in enumerate(blank.marks):
        if mark.kind == "fitting" and mark.label:
            arms = list(takewhile(lambda m: m.kind == "fitting" and not m.label, blank.marks[k + 1 :]))
            x, y = middle_of(mark.points, [arm.points for arm in arms])
            told.append(f"{mark.label} at {figure(x - x0, unit)}, {figure(y - y0, unit)}")
    rows = ["; ".join(told[k : k + IN_A_ROW]) for k in range(0, len(told), IN_A_ROW)]
    if not rows:
        return []
    return ["Fittings (SCRIBE, not cut), middles from the lower left of the outline:", *(f"   {row}." for row in rows)]


def _grain(blank: Blank) -> str:
    way = "any way" if blank.grain_deg is None else f"along the arrow, {blank.grain_deg % 180:.1f} deg from x"
    return f"Grain: {way}."


def strip_words(work: Work, strip: Blank, asked: Asked, without_lead: int) -> list[str]:
    """The lines under a test strip."""
    unit, source = work.job.unit, strip_source(work, strip)
    x0, y0, x1, y1 = strip.outline.bounds
    return [
        f"{strip.name[:1].upper()}{strip.name[1:]}: cut this first, then fold it, before any folded part is cut.",
        *(f"{part[:1].upper()}{part[1:]}." for part in source.split("; ")),
        f"Metal: {metal_line(work.job, strip.thickness)}. Quantity: 1.",
        _grain(strip),
        f"Size: {words.length(x1 - x0, unit)} by {words.length(y1 - y0, unit)}; {STRIP_EXACT}. What to measure: see "
        "the job sheet.",
        *_how_to_cut(asked, without_lead),
        *_job_words(work),
    ]


def sheet_words(
    work: Work, index: int, order: Sequence[Placed], numbers: Mapping[str, str], asked: Asked, without_lead: int
) -> list[str]:
    """The lines under one sheet."""
    layout, used, unit = work.layout, work.layout.sheets[index], work.job.unit
    sheet, shear = used.sheet, layout.cutting == "shear"
    names = ", ".join(f"{numbers.get(p.part.name, '')} {p.part.name}".strip() for p in order)
    later = later_on(work, index)
    lettered = [
        f"{order_letter(k)} {numbers.get(p.part.name, '')} {p.part.name}".replace("  ", " ")
        for k, p in enumerate(order, 1)
    ]
    now, last = (", ".join(some) for some in (lettered[: len(order) - len(later)], lettered[len(order) - len(later) :]))
    lines = [
        f"Sheet {index + 1} of {len(layout.sheets)}: {sheet.name}, "
        f"{words.length(sheet.width, unit)} by {words.length(sheet.height, unit)}.",
        f"Metal: {metal_line(work.job)}. Grain {grain_words(sheet.grain_deg)}.",
        "Good face up, but for parts marked GOOD FACE DOWN." if any(p.flipped for p in order) else WORDS["face"],
    ]
    from .shearsteps import finished_words

    by_name = {blank.name: blank for blank in work.blanks}
    lines += hold_words(work, [by_name[p.part.name] for p in order if p.part.name in by_name])
    if shear:
        return [
            *lines,
            "FOR THE SHEAR. Nothing in this file is for a torch, laser or water jet: parts may touch, and a kerf would "
            "come off the neighbour. For those take the blank files.",
            f"Shear along {LAYERS['shear'].name} from edge to edge in the order of the numbers. {LAYERS['part'].name} "
            f"shows the parts. On it: {names}.",
            *(f"CUT {order}: {said}." for order, said in finished_words(work, index).items()),
            f"Shear strokes {used.cut_length / 1000:.2f} m.",
            *_job_words(work),
        ]
    return [
        *lines,
        f"Cut in this order (letters: the order; numbers: the cut list): {now or 'nothing yet'}.",
        *([f"{LAYERS['later'].name}, NOT YET: {last}."] if last else []),
        *(row for says in later_words(work, index) for row in _rows(says)),
        *_rows(
            "Zero of the sheet, its lower left corner, is 0,0 of this file. Check line and notes stand below it: never "
            "let the machine take the lower left of the whole drawing for zero."
        ),
        f"Gap between parts {words.length(layout.gap_mm, unit)}, edge margin {words.length(layout.edge_mm, unit)}. "
        f"Cut length {used.cut_length / 1000:.2f} m, pierces {used.pierces}{LATER_TOO if later else ''}.",
        *_how_to_cut(asked, without_lead, kept=any(o.sheet == index for o in layout.offcuts)),
        *_job_words(work),
    ]


def _rows(says: str) -> list[str]:
    """A sentence in rows that do not run far past the sheet."""
    return textwrap.wrap(says, WIDE, subsequent_indent="   ")


def _how_to_cut(asked: Asked, without_lead: int, kept: bool = False) -> list[str]:
    etched = ", ".join(LAYERS[key].name for key in ETCHED)
    cut, keep = LAYERS["cut"].name, LAYERS["offcut"].name
    last = f", last of all what is on {keep}; nothing else" if kept else " and nothing else, holes before outlines"
    return [
        *asked_words(asked, without_lead),
        "Direction as drawn: outlines clockwise, holes anticlockwise, the part on the right of the cut.",
        f"Cut what is on {cut}{', holes before outlines' if kept else ''}{last}.",
        f"May be scribed or etched, never cut through: {etched}.",
    ]


def _job_words(work: Work) -> list[str]:
    job = work.job
    return [
        f"Units: millimetres, scale 1:1. {LAYERS['check'].name} is {CHECK_MM:.1f} mm, "
        f"{CHECK_MM / MM_PER_INCH:.3f} in; if it reads otherwise, set the reader to millimetres.",
        f"Job: {job.name}. Reference: {job.reference or 'none'}.",
        f"Revision: {job.revision or 'none'}. Patterns of {date_words(job.pattern_date)}.",
    ]
