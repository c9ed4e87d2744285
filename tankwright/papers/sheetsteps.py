"""A sheet on a machine with a torch, laser or jet, told step by step beside its drawing: nothing else need be read."""

from __future__ import annotations

from typing import TYPE_CHECKING

from . import words
from .blankface import named
from .cutting import file_stems, strip_stems
from .cutting_header import asked_words
from .cutting_hold import STRIP_EXACT, as_carried, edge_words, hold_words, strip_source, strips_of, waits
from .cutting_kerf import asked_of
from .cutting_later import later_on, later_words, sheet_order
from .cutting_order import is_small, nested, order_letter
from .look import CHECK_MM, LAYERS, WORDS

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
        files = ", ".join(f"cutting/{stem}-mm.dxf" for stem in strip_stems(work, asked_of(work)))
        said.append(f"The test strip ({files}) comes first: {sources}; {STRIP_EXACT}.")
        said.append(
            f"What waits is on {LAYERS['later'].name} and is not cut with the rest: see the step that begins with HOLD."
        )
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
    kept = [k for k, offcut in enumerate(layout.offcuts, 1) if offcut.sheet == index]
    last = f", last {LAYERS['offcut'].name}" if kept else ""
    steps = [
        f"File: cutting/{file_stems(work, asked)[0][index]}-mm.dxf, in cutting/r12 for old readers. Millimetres, 1:1: "
        f"{LAYERS['check'].name} must measure {CHECK_MM:.1f}. Cut what is on {LAYERS['cut'].name}{last}; nothing else. "
        + " ".join(asked_words(asked)),
        f"Sheet: no smaller than {words.size(sheet.width, sheet.height, unit)}; good face up, grain as the arrow. Zero "
        "of the sheet, its lower left corner, is 0,0 of the file; notes and check line stand below it.",
        f"Mark while it is whole: number, name and side on each part's good face, as here, or etch {mark}. "
        + (f"Mirror images, which pass for one another turned over: {'; '.join(pairs)}." if pairs else ""),
        _holes(work, index),
        _outlines(work, index),
        *_later(work, index),
    ]
    last = "What is left is scrap."
    if kept:
        names = " and ".join(f"K{k}" for k in kept)
        write = "write name, metal and thickness on it"
        last = f"Last, cut {names} off along {LAYERS['offcut'].name}; {write}. The rest is scrap."
    return [*steps, last, *_exact(work, index), f"{WORDS['edges']} Extraction for fume and dust; local rules first."]


def _order_now(work: Work, index: int) -> list[tuple[str, Placed, int]]:
    """The parts that are cut now: letter of the order, part, in how many holes of others it lies."""
    order, later = sheet_order(work, index), later_on(work, index)
    deep = nested(order)
    return [(order_letter(k + 1), p, deep[k]) for k, p in enumerate(order) if p.part.name not in later]


def _later(work: Work, index: int) -> list[str]:
    """What is cut after the bend test, and how; one step or none."""
    order, later = sheet_order(work, index), later_on(work, index)
    names = [f"{order_letter(k)}, {named(work, p.part.name)}" for k, p in enumerate(order, 1) if p.part.name in later]
    return [f"HOLD: {'; '.join(names)}. {' '.join(later_words(work, index))}"] if names else []


def _holes(work: Work, index: int) -> str:
    """Which parts have holes, and what lies in them; of those that are cut now."""
    order = _order_now(work, index)
    now = " of what is cut now" if later_on(work, index) else ""
    inside = [named(work, p.part.name) for _, p, deep in order if deep]
    first = f"{', '.join(inside)} whole, for {_it(inside)} in a hole of another part; then all" if inside else "All"
    holed = [
        f"{named(work, p.part.name)} ({len(p.outline.interiors)})"
        for _, p, deep in order
        if not deep and p.outline.interiors
    ]
    if holed:
        return f"{first} holes: {', '.join(holed)}."
    if inside:
        return f"{', '.join(inside)} whole, for {_it(inside)} in a hole of another part. No other hole{now}."
    return f"No part{now} has a hole to cut."


def _it(names: list[str]) -> str:
    return "it lies" if len(names) == 1 else "they lie"


def _outlines(work: Work, index: int) -> str:
    order = [(letter, placed) for letter, placed, _ in _order_now(work, index)]
    small = [letter for letter, placed in order if is_small(placed)]
    if not order:
        return "Outlines: none now."
    says = f"Outlines by the ringed letters, {order[0][0]} to {order[-1][0]}"
    if small and len(small) < len(order):
        says += f": the small parts up to {small[-1]} while the sheet is stiff, then the large ones, left to right"
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
    return [(by_name[p.part.name], p) for p in sheet_order(work, index) if p.part.name in by_name]
