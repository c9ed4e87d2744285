"""What a quote says, in words, for the customer and for the shop; `tankwright.quote` has the sums.

Words used here
    sheet       one reading of the quote: title, then blocks in order, set as text or as a PDF
    block       a heading with rows of two cells, or with sentences under it
    worked      the shop's own reading: every line opened, overhead and margin shown; not for the customer
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import TYPE_CHECKING, NamedTuple

from ..quotefile import WORK
from ..quotelines import cents
from . import words
from .names import date_words

if TYPE_CHECKING:
    from ..quote import Line, Quote
    from ..work import Work

__all__ = ["Block", "Sheet", "customer_points", "customer_sheet", "missing_words", "money", "spelled"]


class Block(NamedTuple):
    """A heading with rows or sentences under it; ``strong`` are the numbers of rows to be set heavier.

    ``write`` are the names of lines to be written on by hand; sentences are numbered where ``numbered``, and have a
    line for the decision under each.
    """

    head: str
    rows: tuple[tuple[str, str], ...] = ()
    says: tuple[str, ...] = ()
    strong: tuple[int, ...] = ()
    write: tuple[str, ...] = ()
    numbered: bool = False


class Sheet(NamedTuple):
    """Who it is from, in lines; what it is for, in rows; then blocks."""

    sender: tuple[str, ...]
    about: tuple[tuple[str, str], ...]
    blocks: tuple[Block, ...]


def money(value: float, currency: str = "") -> str:
    """An amount to the cent, thousands set apart.

    >>> money(12345.6, "EUR"), money(-0.001)
    ('12 345.60 EUR', '0.00')
    """
    text = f"{value + 0.0:,.2f}".replace(",", " ")
    return f"{text.removeprefix('-') if not value or text == '-0.00' else text} {currency}".strip()


def customer_sheet(work: Work, quote: Quote) -> Sheet:
    """The quote as the customer gets it: prices by group, no hours' rate, overhead or margin."""
    shop = work.job.shop
    sender = tuple(line for line in (shop.name, *shop.address, shop.contact) if line)
    blocks = [_price(quote)]
    if quote.missing:
        blocks.insert(0, Block("Not finished: no price given yet", says=(_missing_sentence(quote),)))
    decide = customer_points(work)
    if decide:
        blocks.append(Block("For you to decide before metal is cut", says=decide, numbered=True))
        blocks.append(Block("About these points", says=tuple(_about_points(" ".join(decide)))))
    blocks += [
        Block("Included", says=tuple(_included(quote))),
        Block("Not included", says=quote.not_included),
        Block("Terms", says=tuple(_terms(quote))),
        Block("Cautions", says=CAUTIONS),
        Block(
            "Agreed",
            says=(_agreed(quote, bool(decide)),),
            write=("Customer, name", "Signature", "Date", "For the shop"),
        ),
    ]
    return Sheet(sender, tuple(_about(work, quote)), tuple(blocks))


#: What the customer is told; the shop's own cautions stand on the job sheet.
CAUTIONS = (
    "A quote gives shapes, sizes and prices; it does not certify a tank. Where the local code asks for an approval, "
    "for the road, the track or anything else, seek it there, with a licensed person where one is asked for.",
    "The shop looks for leaks before it hands the tank over, in a way of its own choice. Look again at every seam, tap "
    "and cap once the tank is on the motorcycle and filled, and after the first ride.",
    "Petrol vapour is heavier than air and travels to flames and sparks: fill and work on the tank in the open, engine "
    "cold.",
    "A tank that has held fuel can explode. Never cut, grind, weld, solder or heat it unless a competent person has "
    "made it fit for hot work under the local rules.",
    "Try the tank on the motorcycle, at full lock and full travel, before it is painted and before fuel is put in.",
)

#: Findings of these are the shop's own to decide.
SHOP_DECIDES = ("fold radius", "seams", "sheets", "forming", "tunnel", "stock")


def customer_points(work: Work) -> tuple[str, ...]:
    """The open points that are the customer's to decide, in sentences: what was found, and the ways out."""
    own = {blank.name for blank in work.blanks} | set(work.body.pieces) | set(SHOP_DECIDES)
    told = []
    if not any(fitting.purpose == "filler" for fitting in work.job.fittings):
        told.append(
            "Where the filler goes: none is drawn on your patterns, and neither its neck and cap nor the work of "
            "setting them is in the price. Ways out: name its place, its size and its cap, and we price it; or write "
            "that the tank is to come without one."
        )
    if not any(fitting.purpose == "vent" for fitting in work.job.fittings) and not _vented(work):
        told.append(
            "Where the tank breathes: no vent is drawn on your patterns, and neither the part nor setting it in is in "
            "the price. Ways out: name its place and its size, and we price it; or write that the cap has its own vent."
        )
    for found in work.findings:
        if found.strength == "look" and found.pattern not in own:
            says = f"{found.says[:1].upper()}{found.says[1:]}"
            is_so = f": {found.found}" if found.found and found.found not in found.says else ""
            ways = f" Ways out: {found.remedy}." if found.remedy else ""
            told.append(f"{says}{is_so}.{ways}")
    return tuple(told)


def _vented(work: Work) -> bool:
    """Whether a part in the price is a vent, or has one: not what hangs on a fitting that the job has none of."""
    here = {"tank", *(fitting.purpose for fitting in work.job.fittings)}
    names = " ".join(part.name for part in work.job.shop.quote.parts if part.per in here).lower()
    return re.search(r"\b(vents?|vented|breathers?)\b", names) is not None


def _about_points(told: str) -> Iterator[str]:
    """What a decision costs, and the words in the points that somebody who makes no tanks may not know."""
    yield "A decision that adds parts or work, or moves something, is priced before we begin: no sum here has it."
    if re.search(r"\b[xz] = ", told):
        yield "x is how far to the rear a place is and z how far up, both from the zero of your side pattern."
    if re.search(r"\bseam [A-Z]|\bskin \d", told):
        yield (
            "Seams have letters, and where the skin is made of several pieces they are numbered: both stand on the "
            "drawings of the pieces, which we show you on request."
        )
    if "standpipe" in told:
        yield "A standpipe is the tube of the fuel tap that stands up inside the tank: fuel below its top stays there."


def _agreed(quote: Quote, decided: bool) -> str:
    what = "price" if quote.offer == "fixed" else "estimate and its range"
    points = ", and to the points for you to decide as written under each" if decided else ""
    return f"I agree to the {what}, the terms and what the tank holds, as given above{points}."


def _about(work: Work, quote: Quote) -> Iterator[tuple[str, str]]:
    job = work.job
    if quote.customer:
        yield "for", quote.customer
    yield "tank", f"{job.name}: one fuel tank, made by hand"
    if job.reference:
        yield "reference", job.reference
    yield "patterns", f"revision {job.revision or 'none'}, of {date_words(job.pattern_date)}"
    yield "date", date_words(quote.date) if quote.date else "not dated"
    until = date_words(quote.valid_until) if quote.valid_until else f"{quote.valid_days} days from the day it is sent"
    yield "valid until" if quote.valid_until else "valid", until
    yield "holds", _holds(work)
    yield "metal", plain_metal(work)


def _holds(work: Work) -> str:
    """To the brim, and what of it can be used, with where the rest goes."""
    held, unit = work.capacity, work.job.unit
    brim, air, below, usable = (
        words.litres(value, unit) for value in (held.brim_l, held.ullage_l, held.below_outlet_l, held.usable_l)
    )
    outlets = "outlets" if sum(fitting.purpose == "outlet" for fitting in work.job.fittings) > 1 else "outlet"
    stays = f", and {below} stays below the {outlets}" if held.below_outlet_l >= 0.05 else ""
    return (
        f"{brim} to the brim, give or take {words.fixed(held.tolerance_l)} L. Usable {usable}: {air} is left free "
        f"above the fuel for it to expand{stays}. Each figure is rounded by itself."
    )


def plain_metal(work: Work) -> str:
    """The metal for somebody who buys no sheet: gauges spelled out, the finished mass."""
    return f"{spelled(words.metal_words(work.job))}; about {words.mass(work.capacity.dry_mass_kg, work.job.unit)} empty"


def spelled(text: str) -> str:
    """Words of the trade spelled out: ``18 ga`` as ``18 gauge``.

    >>> spelled("2 x 4 ft, 18 ga"), spelled("3 gallons")
    ('2 x 4 ft, 18 gauge', '3 gallons')
    """
    return re.sub(r"(\d) ?ga\b", r"\1 gauge", text)


_GROUPS = {
    "material": "Material",
    "work": "Work",
    "bought parts": "Bought parts",
    "consumables": "Gas, rod, abrasives and the like",
    "outside work": "Work by other shops",
    "packing and shipping": "Packing and carriage",
}


def _group_name(quote: Quote, group: str) -> str:
    """A group's name on the quote; packing alone is not called carriage."""
    names = {line.name for line in quote.of_group(group)}
    if group == "packing and shipping" and "carriage" not in names:
        return "Packing"
    return "Carriage" if names == {"carriage"} else _GROUPS[group]


def _price(quote: Quote) -> Block:
    """Prices by group, tax and total; what has no price is said in its place."""
    prices = quote.price_of()
    rows = [(_group_name(quote, group), _group_price(quote, group, price)) for group, price in prices.items()]
    name, percent = quote.tax_name, quote.tax_percent
    if percent is not None:
        net = getattr(quote.net, quote.ask)
        tax = getattr(quote.tax, quote.ask)
        rows += [(f"Before {name}", money(net)), (f"{name[:1].upper()}{name[1:]}, {percent:g} %", money(tax))]
    left = " of what has a price" if quote.missing else ""
    without = f", without {name}" if percent is None else ""
    rows.append((f"Total{left}{without}", money(quote.asked, quote.currency)))
    head = "Price" if quote.offer == "fixed" else "Price, estimated"
    if quote.currency:
        head += f", {quote.currency}"
    return Block(head, tuple(rows), (_offer_sentence(quote),), (len(rows) - 1,))


def _offer_sentence(quote: Quote) -> str:
    """What the sum means: fixed, or an estimate with its range."""
    low, high = (money(value, quote.currency) for value in (quote.total.low, quote.total.high))
    taxed = f", both with {quote.tax_name}" if quote.tax_percent else ""
    so_far = "What has a price so far" if quote.missing else "This"
    if quote.offer == "fixed":
        this = "Once the open prices are in it, this" if quote.missing else "This"
        fixed = f"{this} is a fixed price for what is included below"
        return f"{fixed}: it stays the same however many hours the work takes."
    if quote.total.low == quote.total.high:
        return f"{so_far} is an estimate: the work really done is charged."
    return (
        f"{so_far} is an estimate: the work really done is charged{_by_the_hour(quote)}, between {low} and "
        f"{high}{taxed}. It goes above {high} only if you agree in writing first."
    )


def _by_the_hour(quote: Quote) -> str:
    """What an hour of work comes to for the customer, overhead, margin and tax in it; empty where it has no price."""
    rates = {line.price for line in quote.of_group("work") if line.unit == "h" and line.price}
    if not rates:
        return ""
    factor = quote.factor * (1 + (quote.tax_percent or 0.0) / 100)
    costs = [money(cents(rate * factor), quote.currency) for rate in sorted({min(rates), max(rates)})]
    return f" at {' to '.join(costs)} an hour{f' with {quote.tax_name}' if quote.tax_percent else ''}"


def _group_price(quote: Quote, group: str, price: float) -> str:
    lines = quote.of_group(group)
    missing = sum(line.missing for line in lines)
    if missing == len(lines):
        return "no price given yet"
    return f"{money(price)} so far" if missing else money(price)


def missing_words(quote: Quote) -> str:
    """The lines without a price, work of one rate together."""
    lines = quote.missing
    work = [line for line in lines if line.group == "work"]
    every = len(work) == len(quote.of_group("work")) and len(work) > 1
    names = ["all work (no rate an hour)"] if every else []
    return ", ".join(names + [line.name for line in lines if not (every and line.group == "work")])


def _missing_sentence(quote: Quote) -> str:
    lines = quote.missing
    work = [line for line in lines if line.group == "work"]
    names = ["all work" if len(work) == len(quote.of_group("work")) else f"work: {line.name}" for line in work]
    names += [_plain_name(line) for line in lines if line.group != "work"]
    return f"These are not in the sum below and come on top of it: {'; '.join(dict.fromkeys(names))}."


#: Names of the usual lines in words for somebody who makes no tanks.
_PLAIN = {
    "buck board": "wood for the form",
    "profile cutting, start": "cutting by another shop",
    "profile cutting, metres": "cutting by another shop",
    "profile cutting, pierces": "cutting by another shop",
}


def _plain_name(line: Line) -> str:
    return spelled(_PLAIN.get(line.name, line.name))


_TRADES = {
    "reading": "working out the shape and the flat pieces from your patterns",
    "buck": "a wooden form to fit the panels to (a buck)",
    "cutting": "cutting the pieces",
    "shaping": "shaping the panels by hand",
    "folding": "folding and rolling the pieces that are not shaped",
    "fitting": "fitting, trimming and tack welding",
    "welding": "welding all seams",
    "fittings": "",  # told by what is set
    "testing": "looking for leaks, and mending what shows",
    "finishing": "smoothing and filing the outside",
    "packing": "packing",
}


def _set(quote: Quote) -> str:
    """What is set into the tank, counted: ``setting 1 filler, 2 outlets and 4 mounts (2 each side)``."""
    c = quote.counts
    paired = c.mount_points == 2 * c.mounts
    mounts = (c.mount_points or c.mounts, "mount", f" ({c.mounts} each side)" if paired else "")
    kinds = [(c.fillers, "filler", ""), (c.outlets, "outlet", ""), mounts]
    kinds += [(getattr(c, "others", 0), "vent or other bung", ""), (c.baffles, "baffle", "")]
    told = [f"{n} {name}{'s' if n > 1 else ''}{more}" for n, name, more in kinds if n]
    return f"setting {', '.join(told[:-1])}{' and ' if told[:-1] else ''}{told[-1]}" if told else ""


def _included(quote: Quote) -> Iterator[str]:
    """What the customer gets for the sum, in sentences; what has no price yet is told elsewhere."""
    keys = {line.key for line in quote.lines if line.quantity.high > 0}
    trades = dict.fromkeys(work.trade for work in WORK if work.key in keys)
    own = [line.name for line in quote.of_group("work") if not line.key and not line.missing]
    done = [_TRADES[trade] if trade != "fittings" else _set(quote) for trade in trades]
    if not any(line.key and line.missing for line in quote.lines):
        yield f"Work: {'; '.join([one for one in done if one] + own) or 'none'}."
    material = [_number(line) for line in quote.of_group("material") if line.quantity.likely > 0 and not line.missing]
    if material:
        yield f"Material: {'; '.join(material)}."
    for group in ("bought parts", "consumables", "outside work", "packing and shipping"):
        lines = [_number(line) for line in quote.of_group(group) if line.quantity.high > 0 and not line.missing]
        if lines:
            name = _group_name(quote, group) if group != "consumables" else "Used up"
            yield f"{name}: {'; '.join(dict.fromkeys(lines))}."


def _number(line: Line) -> str:
    """A line as the customer reads it: how many of whole things, else only what."""
    n = line.quantity.likely
    if line.unit == "sheet":
        return f"{n:g} {'sheet' if n == 1 else 'sheets'} {spelled(line.why)}"
    whole = n == int(n) and line.unit == "piece" and line.group != "material"
    name = _plain_name(line)
    return f"{int(n)} x {name}" if whole and n > 1 else name


def _terms(quote: Quote) -> Iterator[str]:
    """Deposit, lead time, tax, and what changes the price."""
    if quote.deposit is None:
        yield "Deposit: none is named."
    elif quote.offer == "fixed":
        rest = money(cents(quote.asked - quote.deposit), quote.currency)
        yield (
            f"Deposit {quote.deposit_percent:g} %: {money(quote.deposit, quote.currency)} before metal is bought; "
            f"the other {rest} before the tank is handed over."
        )
    else:
        yield (
            f"Deposit {quote.deposit_percent:g} % of the estimate: {money(quote.deposit, quote.currency)} before metal "
            "is bought; the rest, the final sum less this deposit, before the tank is handed over. It is part of the "
            "sum and no minimum: should the work come to less, the difference is paid back."
        )
    yield f"Lead time: {quote.lead_time or 'to be agreed'}."
    if any(line.unit == "sheet" and line.quantity.likely > 0 for line in quote.of_group("material")):
        back = any(line.name == "offcuts kept" for line in quote.of_group("material"))
        credit = "; part of its cost is taken off the price" if back else ""
        yield f"Sheets are charged whole; what is left of them stays with the shop unless agreed otherwise{credit}."
    if quote.tax_percent is not None:
        name = quote.tax_name
        tax = f"The total includes {quote.tax_percent:g} % {name}; the prices above it are before {name}."
        yield tax if quote.tax_percent else f"No {name} is charged."
    what = "price" if quote.offer == "fixed" else "estimate"
    yield (
        f"The {what} is for the patterns of the revision named above. Other patterns, or other decisions once metal is "
        f"cut, make another {what}, told before the work goes on."
    )
