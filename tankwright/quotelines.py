"""The lines of a quote as the shop's rates give them, from what was counted.

Words used here
    count     how many units of something there are: strokes, metres of seam, square metres of shell
    line      a quantity times a price; work has its hours three times over: low, likely, high
    missing   a line without a price: it counts for nothing, and the quote says so wherever it gives a sum

Quantities are rounded before they are multiplied and amounts to the cent (half a cent up), so that every
line can be worked out again by hand from what is printed.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from decimal import ROUND_HALF_UP, Decimal
from typing import NamedTuple

from .quotefile import WORK, ItemSection, JobQuoteSection, Work

__all__ = ["Counts", "Line", "Stock", "Three", "alike", "cents", "halfup", "usual_lines"]


class Three(NamedTuple):
    """Low, likely, high."""

    low: float
    likely: float
    high: float


class Stock(NamedTuple):
    """Sheets of one kind that a job uses: name, how many, price each (0 where none is known), kg of one.

    ``scrap_kg`` is the skeleton of them all, ``why`` where the price is from if it is not the sheet's own.
    """

    name: str
    number: int
    price: float
    kg: float
    scrap_kg: float = 0.0
    why: str = ""


@dataclass(frozen=True)
class Counts:
    """What there is to charge for. Areas m2, lengths m, masses kg."""

    bought: tuple[Stock, ...]
    rack: tuple[Stock, ...]
    scrap_kg: float
    offcuts_worth: float  # what the kept offcuts' share of the bought sheets cost, by the sheets' prices
    cutting: str  # "shear" or "profile"
    strokes: int
    outline_m: float
    cut_m: float
    pierces: int
    shaped: tuple[tuple[str, float, tuple[str, ...]], ...]  # class, m2 of blanks, which blanks
    rolled: int
    folds: int
    butt_m: float
    lap_m: float
    flange_m: float
    shell_m2: float
    blanks: int
    fillers: int
    outlets: int
    mounts: int
    baffles: int
    dry_kg: float
    others: int = 0  # vents and bungs
    fillet_m: float = 0.0  # round doublers
    doublers: tuple[tuple[str, float], ...] = ()  # of other stock: metal and thickness, kg of each
    offcuts_kg: float = 0.0  # of offcuts kept from bought sheets
    vents: int = 0  # of the others
    mount_points: int = 0  # of the mounts, those on either side counted each

    @property
    def seam_m(self) -> float:
        """All seams that are fitted and welded."""
        return self.butt_m + self.lap_m + self.flange_m

    @property
    def bought_kg(self) -> float:
        return sum(sheet.number * sheet.kg for sheet in self.bought)


@dataclass(frozen=True)
class Line:
    """One line: ``quantity`` x ``price`` = ``amount``, three times. ``why`` says where the quantity is from."""

    group: str
    name: str
    quantity: Three
    unit: str
    price: float | None
    why: str = ""
    key: str = ""  # of the operation, for work
    edited: bool = False
    given: bool = False  # the price is the job's own, so that nought means at no charge

    @property
    def missing(self) -> bool:
        """No price, though there is something to charge for."""
        return not self.price and not self.given and self.quantity.high != 0

    @property
    def amount(self) -> Three:
        """Money, to the cent."""
        return Three(*(cents(quantity * (self.price or 0.0)) for quantity in self.quantity))


def cents(value: float) -> float:
    """Money to the cent, half a cent up.

    >>> cents(1.005), cents(-2.675)
    (1.01, -2.68)
    """
    return halfup(value, 2)


def halfup(value: float, places: int) -> float:
    """Rounded as with a pencil: half of the last place up.

    >>> halfup(3.5 * 0.03, 2), halfup(0.25, 1)
    (0.11, 0.3)
    """
    plain = Decimal(repr(round(value, 7)))
    return float(plain.quantize(Decimal(1).scaleb(-places), ROUND_HALF_UP)) + 0.0


def alike(quantity: float) -> Three:
    """The same, low, likely and high."""
    return Three(quantity, quantity, quantity)


def usual_lines(c: Counts, rules: JobQuoteSection) -> Iterator[Line]:
    """Every line that the shop's rates give; some may come to no quantity."""
    yield from _material(c, rules)
    hours = [line for work in WORK if (line := _work(work, c, rules)) is not None]
    yield from hours
    weld = sum(line.quantity.likely for line in hours if line.key in ("butt", "lap", "flange", "fillet"))
    every = sum(line.quantity.likely for line in hours)
    counted = _counted(c, weld, every)
    yield from (_item(item, "bought parts", counted) for item in rules.parts)
    yield from (_item(item, "consumables", counted) for item in rules.used_up)
    yield from _outside(c, rules)
    yield from _shipping(c, rules)


def _material(c: Counts, rules: JobQuoteSection) -> Iterator[Line]:
    if rules.material == "kilogram":
        kg = halfup(c.bought_kg, 2)
        why = "whole sheets: " + "; ".join(f"{s.number} x {s.name}" for s in c.bought)
        yield Line("material", "metal by weight", alike(kg), "kg", rules.price_kg, why)
    else:
        for sheet in c.bought:
            name = "sheets bought" if len(c.bought) == 1 else f"sheets bought: {sheet.name}"
            yield Line("material", name, alike(sheet.number), "sheet", sheet.price, sheet.name)
    for piece in c.rack:
        name = "metal from the rack" if len(c.rack) == 1 else f"metal from the rack: {piece.name}"
        why = f"{piece.name}: {piece.why}" if piece.why else piece.name
        free = not (piece.price or rules.offcut_share)
        yield Line("material", name, alike(piece.number), "piece", piece.price, why, given=free)
    for name in dict.fromkeys(name for name, _ in c.doublers):
        kg = halfup(sum(own for other, own in c.doublers if other == name), 2)
        yield Line("material", f"doublers from other stock: {name}", alike(kg), "kg", None, "not laid on the sheets")
    worth = c.offcuts_kg * (rules.price_kg or 0.0) if rules.material == "kilogram" else c.offcuts_worth
    if rules.credit_offcuts and worth:
        why = f"{rules.credit_offcuts:g} % of what the offcuts kept cost, {cents(worth):.2f}"
        back = cents(cents(worth) * rules.credit_offcuts / 100)
        yield Line("material", "offcuts kept", alike(-1.0), "lot", back, why)
    if rules.credit_scrap and rules.scrap_kg:
        why = "what is left of the sheets that are charged"
        yield Line("material", "scrap sold", alike(-halfup(_charged_scrap(c, rules), 2)), "kg", rules.scrap_kg, why)


def _charged_scrap(c: Counts, rules: JobQuoteSection) -> float:
    """kg of scrap from sheets that the customer pays for: none is given back of metal that was never charged."""
    by_weight = rules.material == "kilogram"
    bought = (sheet.scrap_kg for sheet in c.bought if (rules.price_kg if by_weight else sheet.price))
    return sum(bought) + sum(piece.scrap_kg for piece in c.rack if piece.price)


def _count_of(work: Work, c: Counts) -> tuple[float, str]:
    """How many units an operation is counted by there are, and on which blanks or of which kinds."""
    shear = c.cutting == "shear"
    shaped = {name: (area, ", ".join(blanks)) for name, area, blanks in c.shaped}
    if work.key in ("easy", "ordinary", "hard", "split"):
        return shaped.get(work.key, (0.0, ""))
    if work.key == "fittings":
        return c.fillers + c.outlets + c.mounts + c.others, _fittings_named(c)
    counts: dict[str, float] = {
        "reading": 1,
        "testing": 1,
        "packing": 1,
        "buck": c.shell_m2,
        "finishing": c.shell_m2,
        "shearing": c.strokes if shear else 0,
        "snipping": c.outline_m if shear else 0.0,
        "profile": 0.0 if shear else c.cut_m,
        "piercing": 0 if shear else c.pierces,
        "rolling": c.rolled,
        "folding": c.folds,
        "fitting": c.seam_m,
        "butt": c.butt_m,
        "lap": c.lap_m,
        "flange": c.flange_m,
        "fillet": c.fillet_m,
        "baffles": c.baffles,
    }
    return counts[work.key], ""


def _fittings_named(c: Counts) -> str:
    """What the fittings are, so that their number agrees with the offer's: a pair of mounts is counted once."""
    paired = c.mount_points == 2 * c.mounts
    both = f" ({c.mount_points} on the tank)" if c.mount_points > c.mounts and not paired else ""
    mount = "pair{s} of mounts (a pair counts as one)" if paired else f"mount{{s}}{both}"
    kinds = ((c.fillers, "filler{s}"), (c.outlets, "outlet{s}"), (c.mounts, mount), (c.others, "vent{s} or bung{s}"))
    return ", ".join(f"{n} {name.format(s='s' * (n > 1))}" for n, name in kinds if n)


def _work(work: Work, c: Counts, rules: JobQuoteSection) -> Line | None:
    """Hours of one operation; None where the job has nothing of it."""
    if rules.outside.profile and work.key in ("profile", "piercing"):
        return None
    count, which = _count_of(work, c)
    count = halfup(count, 2)
    if not count:
        return None
    own = getattr(rules.work, work.key)
    likely = own.each + own.per * count
    hours = Three(*(halfup(share * likely, 1) for share in (own.low, 1.0, own.high)))
    parts = [f"{own.each:g} h"] if own.each or not own.per else []
    parts += [f"{count:g} {work.unit or 'tank'} x {own.per:g} h"] if own.per else []
    why = " + ".join(parts) + (f": {which}" if which else "")
    return Line("work", work.name, hours, "h", rules.rate if own.rate is None else own.rate, why, work.key)


def _counted(c: Counts, weld_hours: float, hours: float) -> dict[str, float]:
    """How many there are of what items are counted by."""
    return {
        "tank": 1.0,
        "filler": c.fillers,
        "outlet": c.outlets,
        "mount": c.mounts,
        "vent": c.vents,
        "baffle": c.baffles,
        "blank": c.blanks,
        "fold": c.folds,
        "weld metre": c.seam_m + c.fillet_m,
        "weld hour": weld_hours,
        "hour": hours,
        "square metre": c.shell_m2,
        "kilogram": c.dry_kg,
    }


def _item(item: ItemSection, group: str, counted: dict[str, float]) -> Line:
    number = halfup(counted[item.per], 2)
    quantity = halfup(item.quantity * number, 2)
    why = "" if item.per == "tank" else f"{number:g} {item.per} x {item.quantity:g}"
    return Line(group, item.name, alike(quantity), item.unit, item.price, why)


def _outside(c: Counts, rules: JobQuoteSection) -> Iterator[Line]:
    """Profile cutting by somebody else, in money."""
    if c.cutting != "profile" or not rules.outside.profile:
        return
    own = rules.outside
    for name, quantity, unit, price in (
        ("profile cutting, start", 1.0, "job", own.start),
        ("profile cutting, metres", halfup(c.cut_m, 2), "m", own.metre),
        ("profile cutting, pierces", float(c.pierces), "pierce", own.pierce),
    ):
        yield Line("outside work", name, alike(quantity), unit, price)


def _shipping(c: Counts, rules: JobQuoteSection) -> Iterator[Line]:
    own = rules.shipping
    yield Line("packing and shipping", "box", alike(1.0), "box", own.box)
    kg = halfup(c.dry_kg, 1)
    price = None if own.carriage is None else cents(own.carriage + own.carriage_kg * kg)
    why = f"{own.carriage:g} + {kg:g} kg x {own.carriage_kg:g}" if own.carriage and own.carriage_kg else ""
    yield Line("packing and shipping", "carriage", alike(1.0), "parcel", price, why)
