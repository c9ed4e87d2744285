"""The words of a cutting file: what a cutter asks, answered beside the part; and figures as papers give them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

from ..rack import from_rack
from . import words
from .look import LAYERS, WORDS
from .names import date_words, job_line, plain

if TYPE_CHECKING:
    from nesting.model import Placed
    from panels.blank import Blank

    from ..work import Work

__all__ = ["blank_words", "figure", "for_the_cutter", "metal_line", "sheet_words"]


def _common_words(work: Work, kerf_mm: float, lead_in_mm: float) -> list[str]:
    job = work.job
    lines = ["Units: millimetres, scale 1:1."]
    if kerf_mm > 0:
        lines.append(
            f"Kerf {kerf_mm:.2f} mm is in this file: outlines are {kerf_mm / 2:.2f} mm larger all round, holes "
            f"{kerf_mm / 2:.2f} mm smaller. Set no kerf at the machine."
        )
    else:
        lines.append(WORDS["net"] if lead_in_mm <= 0 else "Net geometry: no kerf. Set kerf at the machine.")
    if lead_in_mm > 0:
        lines.append(f"Lead-ins of {lead_in_mm:.1f} mm, from the scrap.")
    lines.append("Direction as drawn: outlines clockwise, holes anticlockwise, the part on the right of the cut.")
    not_cut = ", ".join(layer.name for layer in LAYERS.values() if not layer.cut)
    lines.append(f"Cut layer {LAYERS['cut'].name} only, holes before outlines. Not cut: {not_cut}.")
    lines.append(f"Job: {job.name}. Reference: {job.reference or 'none'}.")
    lines.append(f"Revision: {job.revision or 'none'}. Patterns of {date_words(job.pattern_date)}.")
    return lines


def figure(value: float, unit: str) -> str:
    """A figure in mm to 0.1, with inches in brackets behind where the job is in inches.

    >>> figure(36.5, "mm"), figure(36.5, "in")
    ('36.5', '36.5 (1 7/16)')
    """
    from ..units import show_inches

    plain = words.fixed(value)
    return plain if unit != "in" else f"{plain} ({show_inches(value)})"


def metal_line(job: Any, thickness: float | None = None) -> str:
    """Metal, temper, thickness, and its gauge unless the job already names it."""
    says = words.metal_words(job, thickness)
    gauge = words.gauge(job.thickness if thickness is None else thickness, job)
    return says if gauge in says else f"{says}, {gauge}"


def blank_words(work: Work, blank: Blank, number: str, kerf_mm: float, lead_in_mm: float) -> list[str]:
    x0, y0, x1, y1 = blank.outline.bounds
    unit = work.job.unit
    metal = metal_line(work.job, blank.thickness)
    grain = "any way" if blank.grain_deg is None else f"along the arrow, {blank.grain_deg % 180:.1f} deg from x"
    lines = [
        f"Part: {number} {blank.name}. Hand: {words.hand(blank)}. Quantity: 1.",
        f"Metal: {metal}.",
        f"{WORDS['face']}",
        f"Grain: {grain}.",
        f"Size of the cut outline: {words.length(x1 - x0, unit)} by {words.length(y1 - y0, unit)}. "
        f"Area {words.fixed(blank.outline.area / 100)} cm2. Holes: {len(blank.outline.interiors)}.",
    ]
    return lines + _common_words(work, kerf_mm, lead_in_mm)


def _numbered(placed: Placed, numbers: Mapping[str, str]) -> str:
    return f"{numbers.get(placed.part.name, '')} {placed.part.name}".strip()


def for_the_cutter(work: Work) -> dict[str, bytes]:
    """``cutting/for-the-cutter.txt``: what whoever cuts must know, in plain words and plain letters."""
    layout, job = work.layout, work.job
    left = [blank.name for blank in work.blanks if blank.hand == "left"]
    net = [blank.name for blank in work.blanks if not any(edge.allowance > 0 for edge in blank.edges)]
    lines = [
        f"For whoever cuts: {job_line(job)}",
        "",
        "Take the sheet files (everything laid out) or the blank files (one part each), not both.",
        "Files ending in -mm.dxf are R2010; those in r12/ are for readers of the old kind; svg/ is for small cutters.",
        "Millimetres, 1:1. CHECK_LINE is 100 mm long: measure it first.",
        "Cut what is on the layer CUT and nothing else. SHEET_EDGE and KEEP show the sheet and what is left of it.",
        "Outlines are as the blank shall be: no kerf, no lead-ins. The part lies to the right of travel.",
        "",
    ]
    for used in layout.sheets:
        sheet = used.sheet
        bought = "from the rack" if from_rack(sheet) else "to buy, see sheets.csv"
        grain = {None: "no direction", 0.0: "along x", 90.0: "along y"}[sheet.grain_deg]
        lines.append(
            f"Sheet {used.index + 1}: {sheet.name}, {sheet.width:.1f} x {sheet.height:.1f} mm, {metal_line(job)}, "
            f"{bought}. Grain {grain}. Origin at its lower left corner."
        )
    lines.append(
        f"Gap between parts {layout.gap_mm:.1f} mm, to the edge {layout.edge_mm:.1f} mm: measure the sheet first."
    )
    if layout.cutting == "shear":
        lines.append(
            "The sheets are laid out for a shear, parts as close as its cuts allow. A torch takes its kerf from the "
            "neighbour: for torch, laser or water jet take the blank files and leave your own gap."
        )
    lines += [
        "",
        "Openings for filler, taps and mounts are cut after forming unless they are on CUT here; crosses and rings on "
        "SCRIBE only mark them.",
        "Before a part leaves the sheet write on its good face, up as drawn: its number of the cut list, its name, and "
        "the side.",
    ]
    if left:
        lines.append(f"Left and right are mirror images and pass for one another turned over: {', '.join(left)}.")
    if net:
        lines.append(
            f"Net edges, nothing to trim: {', '.join(net)}: within 0.5 mm, please (common practice, no source)."
        )
    lines += [
        "Edges with trim: 1 mm either way does no harm.",
        "",
        "Cut edges are sharp: gloves. Fume and dust: extraction; aluminium dust and water do not go together. Local "
        "rules and the maker of your machine come first.",
    ]
    return {"cutting/for-the-cutter.txt": ("\r\n".join(plain(line) for line in lines) + "\r\n").encode("ascii")}


def sheet_words(
    work: Work, index: int, order: Sequence[Placed], numbers: Mapping[str, str], kerf: float, lead_in: float
) -> list[str]:
    used, unit = work.layout.sheets[index], work.job.unit
    sheet = used.sheet
    grain = {None: "no direction", 0.0: "along x", 90.0: "along y"}[sheet.grain_deg]
    lines = [
        f"Sheet {index + 1} of {len(work.layout.sheets)}: {sheet.name}, "
        f"{words.length(sheet.width, unit)} by {words.length(sheet.height, unit)}.",
        f"Metal: {metal_line(work.job)}. Grain {grain}.",
        "Good face up, but for parts marked GOOD FACE DOWN." if any(p.flipped for p in order) else WORDS["face"],
        f"Cut in this order (numbers of the cut list): {', '.join(_numbered(p, numbers) for p in order)}.",
        f"Gap between parts {work.layout.gap_mm:.1f} mm, edge margin {work.layout.edge_mm:.1f} mm. "
        f"Cut length {used.cut_length / 1000:.2f} m, pierces {used.pierces}.",
    ]
    return lines + _common_words(work, kerf, lead_in)
