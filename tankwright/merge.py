"""A job's settings put over the shop's: one ``Shop`` of both, and what cannot stand together in it."""

from __future__ import annotations

from typing import Any

from panels.choose_k import StripReading

from .fields import Fault, nearest, shown
from .models import Section
from .quotefile import JobQuoteSection, fixed_names
from .shop import (
    Allowances,
    BaffleRules,
    BendRules,
    CuttingRules,
    Difficulty,
    Forming,
    FormingRule,
    NestingRules,
    SeamRule,
    Shop,
    StockSheet,
)
from .shopfile import SheetSection, ShopFile, ShopSections
from .units import show_size

__all__ = ["merge", "merge_faults"]

MM2_PER_M2 = 1e6

_MERGED = ("nesting", "cutting", "allowances", "baffle", "capacity", "checks", "difficulty", "forming", "bend")


def merge(shop: ShopFile | None, job: ShopSections, file: str = "") -> Shop:
    """The shop's settings with the job's own put over them, value by value."""
    house = (shop or ShopFile()).shop
    merged = _merged(shop, job)
    sheets = job.sheet if "sheet" in job.model_fields_set else (shop.sheet if shop else [])
    return Shop(
        name=house.name,
        currency=house.currency,
        file=file,
        sheets=tuple(_stock(sheet) for sheet in sheets),
        nesting=_nesting(merged),
        allowances=_allowances(merged),
        ullage_percent=merged.capacity.ullage,
        agree_mm=merged.checks.agree,
        difficulty=Difficulty(**merged.difficulty.model_dump()),
        forming=_forming(merged),
        bend=BendRules(
            merged.bend.k_factor,
            merged.bend.tooling,
            tuple(StripReading(**strip.model_dump()) for strip in merged.bend.strip),
        ),
        baffle=BaffleRules(**{**merged.baffle.model_dump(), "at": tuple(merged.baffle.at or ())}),
        quote=_quote(shop, job),
        address=tuple(house.address),
        contact=house.contact,
        keep_in=house.keep_in,
        cutting=CuttingRules(**merged.cutting.model_dump()),
    )


def _quote(shop: ShopFile | None, job: ShopSections) -> JobQuoteSection:
    """What the quote is worked out with: usual figures, the shop's over them, the job's over both."""
    rules = JobQuoteSection()
    return _over(_over(rules, shop.quote) if shop else rules, job.quote)


def _over(base: Any, over: Section) -> Any:
    """A section with another's given values put over it, section by section and value by value."""
    given: dict[str, Any] = {}
    for key in over.model_fields_set:
        value = getattr(over, key)
        given[key] = _over(getattr(base, key), value) if isinstance(value, Section) else value
    return base.model_copy(update=given)


def _merged(shop: ShopFile | None, job: ShopSections) -> ShopSections:
    """The shared sections, each with the job's given values put over the shop's."""
    sections = {}
    for name in _MERGED:
        base = getattr(shop or ShopFile(), name)
        over = getattr(job, name)
        given = {key: getattr(over, key) for key in over.model_fields_set}
        sections[name] = base.model_copy(update=given)
    return ShopSections.model_construct(**sections)


def merge_faults(shop: ShopFile | None, job: ShopSections) -> list[Fault]:
    """What is wrong only once the job's values stand over the shop's."""
    merged = _merged(shop, job)
    return _levels(merged) + _kerf(merged) + _lines(_quote(shop, job))


def _kerf(merged: ShopSections) -> list[Fault]:
    """A kerf that would meet its neighbour's."""
    kerf, gap = merged.cutting.kerf, merged.nesting.gap
    if merged.nesting.cutting == "shear" or kerf < gap or kerf == 0:
        return []
    says = "the kerf leaves nothing of the gap between two blanks"
    hint = "a wider gap in [nesting], or a finer cut"
    return [Fault(says, f"kerf {kerf:g} mm, gap {gap:g} mm", "kerf < gap", hint, at=("cutting", "kerf"))]


def _levels(merged: ShopSections) -> list[Fault]:
    """Levels of difficulty that do not rise."""
    d = merged.difficulty
    if d.easy < d.ordinary < d.hard:
        return []
    found = f"easy {d.easy:g}, ordinary {d.ordinary:g}, hard {d.hard:g} percent"
    hint = "put the three in rising order"
    return [Fault("the three levels do not rise", found, "easy < ordinary < hard", hint, at=("difficulty",))]


def _lines(rules: JobQuoteSection) -> list[Fault]:
    """Lines of the job's quote that change nothing there is and are not new either."""
    faults, names = [], fixed_names(rules)
    lower = {name.lower() for name in (*names, *type(rules.work).model_fields)}
    for k, line in enumerate(rules.line):
        if line.group is None and line.name.lower() not in lower:
            near = nearest(line.name, names)
            hint = f'did you mean "{near}"?' if near else "a new line needs a group"
            says = "the quote has no line of this name"
            allowed = 'a line of the quote, or a group for a new one, such as group = "outside work"'
            faults.append(Fault(says, shown(line.name), allowed, hint, at=("quote", "line", k)))
    return faults


def _nesting(merged: ShopSections) -> NestingRules:
    n = merged.nesting
    rotations = None if n.rotations is None else tuple(n.rotations)
    area = n.keep_offcut_area * MM2_PER_M2
    # A shear takes no metal away: unless the shop asks for a gap, blanks lie edge to edge.
    shear_gap = n.gap if "gap" in n.model_fields_set else 0.0
    gap, other = (shear_gap, n.gap) if n.cutting == "shear" else (n.gap, shear_gap)
    return NestingRules(
        gap,
        n.edge,
        n.cutting,
        n.seconds,
        n.seed,
        n.keep_offcut_side,
        area,
        rotations,
        n.squaring,
        n.longest_cut,
        n.smallest_strip,
        other,
    )


def _forming(merged: ShopSections) -> Forming:
    f = merged.forming
    panels = tuple(
        FormingRule(rule.name, rule.aim or f.aim, rule.shrink_cost if rule.shrink_cost is not None else f.shrink_cost)
        for rule in f.panel
    )
    return Forming(f.aim, f.shrink_cost, panels)


def _allowances(merged: ShopSections) -> Allowances:
    a = merged.allowances
    seams = tuple(
        SeamRule(
            seam.between,
            seam.joint,
            seam.width if seam.width is not None else (0.0 if seam.joint == "butt" else a.lap),
            seam.on or seam.between[0],
            seam.outside,
        )
        for seam in a.seam
    )
    return Allowances(a.formed, a.rolled, a.folded, a.flat, a.lap, seams)


def _stock(s: SheetSection) -> StockSheet:
    """A `StockSheet` from a section of the file."""
    grain = {"long": "long", "width": "x", "height": "y", "none": None}[s.grain]
    name = s.name or show_size(s.width, s.height)
    return StockSheet(name, s.width, s.height, s.metal, s.thickness, s.price, s.quantity, grain, rack=s.rack)
