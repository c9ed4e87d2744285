"""What a quote says, in words, for the customer and for the shop; `tankwright.quote` has the sums.

Words used here
    sheet       one reading of the quote: title, then blocks in order, set as text or as a PDF
    block       a heading with rows of two cells, or with sentences under it
    worked      the shop's own reading: every line opened, overhead and margin shown; not for the customer
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING, NamedTuple

from ..quotefile import WORK
from . import words
from .names import date_words

if TYPE_CHECKING:
    from ..quote import Line, Quote
    from ..work import Work

__all__ = ["Block", "Sheet", "customer_sheet", "missing_words", "money"]


class Block(NamedTuple):
    """A heading with rows or sentences under it; ``strong`` are the numbers of rows to be set heavier."""

    head: str
    rows: tuple[tuple[str, str], ...] = ()
    says: tuple[str, ...] = ()
    strong: tuple[int, ...] = ()
    small: bool = False


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
        blocks.insert(0, Block("Not finished: no price given", says=(_missing_sentence(quote),)))
    blocks += [
        Block("Included", says=tuple(_included(quote))),
        Block("Not included", says=quote.not_included),
        Block("Terms", says=tuple(_terms(quote))),
        Block("Cautions", says=work.cautions, small=True),
    ]
    return Sheet(sender, tuple(_about(work, quote)), tuple(blocks))


def _about(work: Work, quote: Quote) -> Iterator[tuple[str, str]]:
    job, held = work.job, work.capacity
    yield "for", job.name
    if job.reference:
        yield "reference", job.reference
    yield "patterns", f"revision {job.revision or 'none'}, of {date_words(job.pattern_date)}"
    yield "date", date_words(quote.date) if quote.date else "not dated"
    until = date_words(quote.valid_until) if quote.valid_until else f"{quote.valid_days} days from the day it is sent"
    yield "valid until" if quote.valid_until else "valid", until
    tolerance = f"give or take {words.fixed(held.tolerance_l)} L"
    yield "what", f"one fuel tank, {words.litres(held.brim_l, job.unit)} to the brim, {tolerance}, made by hand"
    yield "metal", f"{words.metal_words(job)}; about {words.mass(held.dry_mass_kg, job.unit)} without fittings"


_GROUPS = {
    "material": "Material",
    "work": "Work",
    "bought parts": "Bought parts",
    "consumables": "Gas, rod, abrasives and the like",
    "outside work": "Outside work",
    "packing and shipping": "Packing and shipping",
}


def _price(quote: Quote) -> Block:
    """Prices by group, tax and total; what has no price is said in its place."""
    prices = quote.price_of()
    rows = [(_GROUPS[group], _group_price(quote, group, price)) for group, price in prices.items()]
    name, percent = quote.tax_name, quote.tax_percent
    if percent is not None:
        net = getattr(quote.net, quote.ask)
        tax = getattr(quote.tax, quote.ask)
        rows += [(f"Before {name}", money(net)), (f"{name[:1].upper()}{name[1:]}, {percent:g} %", money(tax))]
    left = " of what has a price" if quote.missing else ""
    without = f", without {name}" if percent is None else ""
    rows.append((f"Total{left}{without}", money(quote.asked, quote.currency)))
    says = []
    low, high = quote.total.low, quote.total.high
    if quote.show_range and low != high:
        says.append(f"As the work turns out it may come to {money(low)} to {money(high, quote.currency)}.")
    return Block(f"Price{', ' + quote.currency if quote.currency else ''}", tuple(rows), tuple(says), (len(rows) - 1,))


def _group_price(quote: Quote, group: str, price: float) -> str:
    lines = quote.of_group(group)
    missing = sum(line.missing for line in lines)
    if missing == len(lines):
        return "no price given"
    return f"{money(price)} and more" if missing else money(price)


def missing_words(quote: Quote) -> str:
    """The lines without a price, work of one rate together."""
    lines = quote.missing
    work = [line for line in lines if line.group == "work"]
    every = len(work) == len(quote.of_group("work")) and len(work) > 1
    names = ["all work (no rate an hour)"] if every else []
    return ", ".join(names + [line.name for line in lines if not (every and line.group == "work")])


def _missing_sentence(quote: Quote) -> str:
    return f"These come on top of the sum below: {missing_words(quote)}."


_TRADES = {
    "reading": "working out the shape and the flat blanks from your patterns",
    "buck": "a buck to shape against",
    "cutting": "cutting the blanks",
    "shaping": "shaping the skins by hand",
    "folding": "folding and rolling the pieces that are not shaped",
    "fitting": "fitting, trimming and tacking",
    "welding": "welding all seams",
    "fittings": "setting filler, outlets, mounts and baffles as far as drawn",
    "testing": "a leak test by the shop, and mending what it shows",
    "finishing": "planishing and filing the outside",
    "packing": "packing",
}


def _included(quote: Quote) -> Iterator[str]:
    """What the customer gets, in sentences."""
    keys = {line.key for line in quote.lines if line.quantity.high > 0}
    trades = dict.fromkeys(work.trade for work in WORK if work.key in keys)
    own = [line.name for line in quote.of_group("work") if not line.key]
    yield f"Work: {'; '.join([_TRADES[trade] for trade in trades] + own) or 'none'}."
    material = [_number(line) for line in quote.of_group("material") if line.quantity.likely > 0]
    if material:
        yield f"Material: {'; '.join(material)}."
    for group in ("bought parts", "consumables", "outside work", "packing and shipping"):
        lines = [_number(line) for line in quote.of_group(group) if line.quantity.high > 0]
        if lines:
            yield f"{_GROUPS[group] if group != 'consumables' else 'Used up'}: {'; '.join(lines)}."


def _number(line: Line) -> str:
    """A line as the customer reads it: how many of whole things, else only what."""
    n = line.quantity.likely
    if line.unit == "sheet":
        return f"{n:g} {'sheet' if n == 1 else 'sheets'} {line.why}"
    whole = n == int(n) and line.unit == "piece" and line.group != "material"
    return f"{int(n)} x {line.name}" if whole and n > 1 else line.name


def _terms(quote: Quote) -> Iterator[str]:
    if quote.deposit is None:
        yield "No deposit is named."
    else:
        rest = quote.asked - quote.deposit
        yield (
            f"Deposit {quote.deposit_percent:g} %: {money(quote.deposit, quote.currency)} before metal is bought; "
            f"{money(rest, quote.currency)} before the tank is handed over."
        )
    if quote.lead_time:
        yield f"Lead time: {quote.lead_time}."
    if quote.tax_percent is not None:
        name = quote.tax_name
        tax = f"The total includes {quote.tax_percent:g} % {name}; the prices above it are before {name}."
        yield tax if quote.tax_percent else f"No {name} is charged."
    yield "The price holds for the patterns of the revision named above; other patterns, another price."
