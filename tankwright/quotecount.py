"""What there is to charge for in a finished piece of work: sheets, strokes, square metres, metres of seam."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING

from panels.doublers import fillet_length
from panels.joints import weld_lengths

from .baffles import density_of
from .papers.words import difficulty_limits
from .quote import Quote, make_quote
from .quotelines import Counts, Stock, cents
from .rack import from_rack

if TYPE_CHECKING:
    from nesting import Layout
    from nesting.model import UsedSheet
    from panels.blank import Blank

    from .load import Job
    from .work import Work

__all__ = ["counts_of", "quote_of"]

CLASSES = ("easy", "ordinary", "hard", "split")
MM_PER_M, MM2_PER_M2 = 1e3, 1e6


def counts_of(work: Work) -> Counts:
    """Everything that lines of a quote are counted by."""
    job, layout = work.job, work.layout
    metres = {name: mm / MM_PER_M for name, mm in weld_lengths(work.seams).items()}
    return Counts(
        bought=_stock(layout, job, rack=False),
        rack=_stock(layout, job, rack=True),
        scrap_kg=sum(used.skeleton_area for used in layout.sheets) * _kg_per_mm2(job),
        offcuts_worth=sum(
            used.sheet.price * used.offcuts_area / used.sheet.area
            for used in layout.sheets
            if used.sheet.area and not from_rack(used.sheet)
        ),
        offcuts_kg=sum(used.offcuts_area for used in layout.sheets if not from_rack(used.sheet)) * _kg_per_mm2(job),
        cutting=layout.cutting,
        strokes=len(layout.cuts),
        outline_m=sum(_outline_mm(blank) for blank in work.blanks) / MM_PER_M,
        cut_m=layout.cut_length / MM_PER_M,
        pierces=layout.pierces,
        shaped=_shaped(work.blanks, difficulty_limits(job)),
        rolled=sum(blank.kind == "rolled" or (blank.kind == "folded" and bool(blank.rolls)) for blank in work.blanks),
        folds=sum(map(_folds, work.blanks)),
        butt_m=metres["butt"],
        lap_m=metres["lap"],
        flange_m=metres["flange"],
        shell_m2=work.capacity.shell_area_mm2 / MM2_PER_M2,
        blanks=len(work.blanks),
        fillers=sum(fitting.purpose == "filler" for fitting in job.fittings),
        outlets=sum(fitting.purpose == "outlet" for fitting in job.fittings),
        mounts=len({f.name for f in job.fittings if f.purpose in ("mount", "bracket")}),
        others=sum(fitting.purpose in ("vent", "bung") for fitting in job.fittings),
        vents=sum(fitting.purpose == "vent" for fitting in job.fittings),
        mount_points=sum(fitting.purpose in ("mount", "bracket") for fitting in job.fittings),
        fillet_m=fillet_length(work.blanks) / MM_PER_M,
        doublers=tuple(
            (f"{blank.metal} {blank.thickness:g} mm", _kg(job, blank)) for blank in work.blanks if blank.metal
        ),
        baffles=sum("baffle" in blank.name for blank in work.blanks),
        dry_kg=work.capacity.dry_mass_kg,
    )


def quote_of(work: Work) -> Quote:
    """The quote for a finished piece of work."""
    shop = work.job.shop
    return make_quote(counts_of(work), shop.quote, currency=shop.currency, past=shop.past)


def _kg_per_mm2(job: Job) -> float:
    return job.thickness * job.metal.density * 1e-9


def _kg(job: Job, blank: Blank) -> float:
    return blank.outline.area * blank.thickness * density_of(job, blank) * 1e-9


def _stock(layout: Layout, job: Job, *, rack: bool) -> tuple[Stock, ...]:
    """The sheets of a layout, like ones together, in the order they are used."""
    kinds: dict[tuple[str, float, str], list[UsedSheet]] = {}
    for used in layout.sheets:
        if from_rack(used.sheet) == rack:
            price, why = _charged(job, used) if rack else (used.sheet.price, "")
            kinds.setdefault((used.name, price, why), []).append(used)
    kg = _kg_per_mm2(job)
    return tuple(
        Stock(
            name,
            len(sheets),
            price,
            kg * sum(used.sheet.area for used in sheets) / len(sheets),
            kg * sum(used.skeleton_area for used in sheets),
            why,
        )
        for (name, price, why), sheets in kinds.items()
    )


def _charged(job: Job, used: UsedSheet) -> tuple[float, str]:
    """What a piece from the rack is charged at, and why: its own price, else the shop's share of as much new metal."""
    shop = job.shop
    own = next((sheet.price for sheet in (*shop.rack, *shop.sheets) if sheet.rack and sheet.name == used.name), None)
    if own:
        return own, ""
    share, new = shop.quote.offcut_share, _new_mm2(job)
    if not share or not new:
        return 0.0, ""
    return cents(share * new * used.sheet.area), f"{share:g} of what as much of it costs new"


def _new_mm2(job: Job) -> float:
    """What a mm2 of the job's metal costs new, by weight or on the cheapest sheet; 0 where nothing is known."""
    rules = job.shop.quote
    if rules.material == "kilogram":
        return (rules.price_kg or 0.0) * _kg_per_mm2(job)
    sheets = [s for s in job.shop.sheets if s.price and not s.rack and s.serves(job.metal.name, job.thickness)]
    return min(((sheet.price or 0.0) / (sheet.width * sheet.height) for sheet in sheets), default=0.0)


def _folds(blank: Blank) -> int:
    """Folds of a blank and its lips to turn, straight or curved, each counted once."""
    lips = {edge.letter for edge in blank.edges if edge.joint == "fold" and edge.allowance > 0}
    return sum(not fold.lip for fold in blank.folds) + len(lips | {fold.lip for fold in blank.folds if fold.lip})


def _outline_mm(blank: Blank) -> float:
    return float(sum(ring.length for ring in (blank.outline.exterior, *blank.outline.interiors)))


def _shaped(
    blanks: Iterable[Blank], limits: tuple[float, float, float]
) -> tuple[tuple[str, float, tuple[str, ...]], ...]:
    """Area and names of the crowned blanks, by the class of their worst strain."""
    area = dict.fromkeys(CLASSES, 0.0)
    names: dict[str, list[str]] = {name: [] for name in CLASSES}
    for blank in blanks:
        if blank.kind == "formed":
            worst = 100 * max(blank.stretch, blank.shrink)
            name = CLASSES[sum(worst > limit for limit in limits)]
            area[name] += blank.outline.area / MM2_PER_M2
            names[name].append(blank.name)
    return tuple((name, area[name], tuple(names[name])) for name in CLASSES if names[name])
