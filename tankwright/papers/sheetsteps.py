"""A sheet on a machine with a torch, laser or jet, told step by step beside its drawing: nothing else need be read."""

from __future__ import annotations

from typing import TYPE_CHECKING

from . import words
from .blankface import named
from .cutting import file_stems, strip_stems
from .cutting_header import asked_words
from .cutting_hold import as_carried, edge_words, hold_words, strip_source, strips_of, waits
from .cutting_kerf import asked_of
from .cutting_order import cut_order, is_small, nested
from .look import CHECK_MM, LAYERS, WORDS
from .shearhold import CLOSE_MM

if TYPE_CHECKING:
    from nesting.model import Placed
    from panels.blank import Blank

    from ..work import Work

__all__ = ["sheet_hold", "sheet_steps"]


def sheet_hold(work: Work, index: int) -> list[str]:
    """What waits for the bend test and what is to be decided first, as sentences; none where nothing waits."""
    blanks = [blank for blank, _ in _on_sheet(work, index)]
    said = hold_words(work, blanks)
    if any(waits(blank) for blank in blanks):
        sources = "; ".join(dict.fromkeys(strip_source(work, strip) for strip in strips_of(work)))
        room = work.layout.gap_mm >= CLOSE_MM
        meanwhile = (
            "The other parts may be cut meanwhile, if the place of what waits is left whole: it is then cut there from "
            "its new blank file."
            if room
            else "The whole sheet waits: parts lie too near to one another for one to grow."
        )
        files = ", ".join(f"cutting/{stem}-mm.dxf" for stem in strip_stems(work, asked_of(work)))
        said.append(f"The test strip ({files}) comes first: {sources}. {meanwhile}")
    return said


def sheet_steps(work: Work, index: int) -> list[str]:
    """What to do with the sheet, in order, as numbered sentences."""
    return [f"{k}. {says}" for k, says in enumerate(_steps(work, index), 1)]


def _steps(work: Work, index: int) -> list[str]:
    layout, unit = work.layout, work.job.unit
    sheet = layout.sheets[index].sheet
    asked = asked_of(work)
    mark = LAYERS["mark"].name
    pairs = [named(work, b.name) + " of " + named(work, b.mirrors) for b, _ in _on_sheet(work, index) if b.mirrors]
    steps = [
        f"File: cutting/{file_stems(work, asked)[0][index]}-mm.dxf, in cutting/r12 for old readers. Millimetres, 1:1: "
        f"{LAYERS['check'].name} must measure {CHECK_MM:.1f}. Cut what is on {LAYERS['cut'].name}, nothing else. "
        + " ".join(asked_words(asked)),
        f"Sheet: no smaller than {words.size(sheet.width, sheet.height, unit)}; good face up, lower left corner at 0, "
        "grain as the arrow.",
        f"Mark while it is whole: number, name and side on each part's good face, as here, or etch {mark}. "
        + (f"Mirror images, which pass for one another turned over: {'; '.join(pairs)}." if pairs else ""),
        _holes(work, index),
        _outlines(work, index),
    ]
    kept = [k for k, offcut in enumerate(layout.offcuts, 1) if offcut.sheet == index]
    last = "What is left is scrap."
    if kept:
        names = " and ".join(f"K{k}" for k in kept)
        write = "write name, metal and thickness on it"
        last = f"Last, cut {names} off along {LAYERS['offcut'].name}; {write}. The rest is scrap."
    return [*steps, last, *_exact(work, index), f"{WORDS['edges']} Extraction for fume and dust; local rules first."]


def _holes(work: Work, index: int) -> str:
    """Which parts have holes, and what lies in them."""
    order = cut_order(work.layout, index)
    deep = nested(order)
    inside = [named(work, p.part.name) for p, k in zip(order, deep, strict=True) if k]
    first = f"{', '.join(inside)} whole, for {_it(inside)} in a hole of another part; then all" if inside else "All"
    holed = [
        f"{named(work, p.part.name)} ({len(p.outline.interiors)})"
        for p, k in zip(order, deep, strict=True)
        if not k and p.outline.interiors
    ]
    return f"{first} holes: {', '.join(holed)}." if holed else "No part has a hole to cut."


def _it(names: list[str]) -> str:
    return "it lies" if len(names) == 1 else "they lie"


def _outlines(work: Work, index: int) -> str:
    order = cut_order(work.layout, index)
    small = [k for k, placed in enumerate(order, 1) if is_small(placed)]
    says = "Outlines by the ringed numbers"
    if small and len(small) < len(order):
        says += f": the small parts up to {max(small)} while the sheet is stiff, then the large ones, left to right"
    return (
        f"{says}. Where a small part would drop or tip, leave it a tab as thin as the metal and file that off (common "
        "practice, no source)."
    )


def _exact(work: Work, index: int) -> list[str]:
    """How exact, by what is left on the edges; empty where no edge is named."""
    net, trimmed = list[str](), list[str]()
    for blank, _ in _on_sheet(work, index):
        says = edge_words(as_carried(work, blank), work.job.unit)
        if says:
            (trimmed if says.startswith("all edges trimmed later") else net).append(named(work, blank.name))
    said = []
    if trimmed:
        said.append(f"within 1 mm, for their edges are trimmed later: {', '.join(trimmed)}")
    if net:
        said.append(f"within 0.5 mm, for some of their edges are finished: {', '.join(net)}")
    told = "; ".join(said)
    return [f"{told[0].upper()}{told[1:]} (common practice, no source)."] if said else []


def _on_sheet(work: Work, index: int) -> list[tuple[Blank, Placed]]:
    by_name = {blank.name: blank for blank in work.blanks}
    return [(by_name[p.part.name], p) for p in cut_order(work.layout, index) if p.part.name in by_name]
