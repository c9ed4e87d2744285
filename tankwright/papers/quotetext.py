"""A quote as plain text: for the customer, and worked, for the shop alone."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Iterator
from typing import TYPE_CHECKING

from .names import job_line
from .quotewords import Block, customer_sheet, missing_words, money
from .words import fixed

if TYPE_CHECKING:
    from ..quote import Quote
    from ..quotelines import Line, Three
    from ..work import Work

__all__ = ["customer_text", "worked_text"]

WIDE = 78
_OFFERS = {"fixed": "a fixed price", "estimate": "an estimate, the range from low to high told to the customer"}
TRADE_WIDE = 12


def customer_text(work: Work, quote: Quote) -> str:
    """``quote.txt``: what the customer is sent."""
    sheet = customer_sheet(work, quote)
    lines = ["QUOTE", *sheet.sender, ""]
    lines += [line for name, value in sheet.about for line in _hung(f"{name:<12}", value)]
    for block in sheet.blocks:
        lines += ["", block.head.upper(), *_block(block)]
    return "\n".join(lines) + "\n"


def _block(block: Block) -> Iterator[str]:
    for k, (left, right) in enumerate(block.rows):
        if k in block.strong:
            yield f"  {'-' * (WIDE - 2)}"
        yield f"  {left}{right:>{WIDE - 2 - len(left)}}"
    plain = bool(block.rows or block.write)
    for number, sentence in enumerate(block.says, 1):
        yield from _hung(f"  {number}. " if block.numbered else "  " if plain else "  - ", sentence)
        if block.numbered:
            yield f"     Decided: {'_' * (WIDE - 14)}"
    for name in block.write:
        yield ""
        yield f"  {name:<16}{'_' * (WIDE - 18)}"


def _hung(lead: str, text: str) -> list[str]:
    return textwrap.wrap(text, WIDE, initial_indent=lead, subsequent_indent=" " * len(lead), break_on_hyphens=False)


def worked_text(work: Work, quote: Quote) -> str:
    """``quote-worked.txt``: every line opened, for the shop alone."""
    low, likely, high = (f"{word:>11}" for word in ("low", "likely", "high"))
    lines = [
        "QUOTE, WORKED OUT: for the shop alone, not for the customer",
        job_line(work.job),
        f"Quote of {quote.date or 'no date: give [quote] date in job.toml'}; money in {quote.currency or '(unit)'}.",
        "Each line: quantity x price = amount; hours low, likely, high. * set in the job.",
    ]
    if quote.missing:
        lines += ["", *_hung("NO PRICE GIVEN, counted as nothing: ", missing_words(quote) + ".")]
    for group in quote.groups:
        lines += ["", f"{group.upper():<42}{low}{likely}{high}"]
        for line in quote.of_group(group):
            lines += _opened(line)
        lines.append(_row("  together", quote.cost_of(group)))
    lines += ["", *_sums(quote), "", *_groups(quote), "", *_metal(work, quote), "", *_past(quote)]
    wanting = _wanting(work, quote)
    if wanting:
        lines += ["", *_hung("Still wanting on the customer's quote: ", "; ".join(wanting) + ".")]
    if quote.dropped:
        lines += ["", *_hung("Dropped in the job: ", ", ".join(quote.dropped) + ".")]
    lines += ["", *_hung("Not included: ", "; ".join(quote.not_included) + ".")]
    return "\n".join(line.rstrip() for line in lines) + "\n"


def _opened(line: Line) -> list[str]:
    """A line and, under it, how its quantity and its amount come about."""
    price = "no price given" if line.missing else f"{fixed(line.price or 0.0, 2)} a {line.unit}"
    if line.quantity.low == line.quantity.high:
        quantity = f"{line.quantity.likely:g} {line.unit}"
    else:
        quantity = " / ".join(f"{value:g}" for value in line.quantity) + f" {line.unit}"
    name = f"{'*' if line.edited else ' '} {line.name}"
    amount = f"{'no price given':>33}" if line.missing else _amounts(line.amount)
    first = [f"{name:<42}{amount}"] if len(name) <= 42 else [name, f"{'':<42}{amount}"]
    why = f"; {line.why}" if line.why else ""
    return [*first, *_hung("      ", f"{quantity} x {price}{why}")]


def _amounts(three: Three) -> str:
    return "".join(f"{money(value):>11}" for value in three)


def _row(name: str, three: Three) -> str:
    return f"{name:<42}{_amounts(three)}"


def _sums(quote: Quote) -> Iterable[str]:
    def put_on(name: str, percent: float | None, three: Three) -> str:
        return f"{name}: no percentage given" if percent is None else _row(f"{name}, {percent:g} %", three)

    yield _row("COSTS", quote.costs)
    yield put_on("overhead", quote.overhead_percent, quote.overhead)
    yield put_on("margin", quote.margin_percent, quote.margin)
    yield _row("NET", quote.net)
    yield put_on(quote.tax_name, quote.tax_percent, quote.tax)
    yield _row("TOTAL", quote.total)
    yield f"Asked: {money(quote.asked, quote.currency)}, the {quote.ask} sum; {_OFFERS[quote.offer]}."
    if quote.deposit is None:
        yield "Deposit: no percentage given."
    else:
        yield f"Deposit: {quote.deposit_percent:g} % of it, {money(quote.deposit, quote.currency)}."


def _groups(quote: Quote) -> Iterable[str]:
    """How the customer's prices by group come from the costs, rounding and all."""
    yield f"AS THE CUSTOMER SEES IT: {'costs':>17} x {quote.factor:.4f} = {'price':>9}, before tax"
    prices = quote.price_of()
    largest = max(prices, key=lambda group: abs(prices[group]), default="")
    for group, price in prices.items():
        cost = float(getattr(quote.cost_of(group), quote.ask))
        rounding = f", {quote.rounding:+.2f} of rounding in it" if group == largest and quote.rounding else ""
        yield f"  {group:<29}{money(cost):>11}{money(price):>20}{rounding}"


def _metal(work: Work, quote: Quote) -> Iterable[str]:
    """Where the metal goes: yields, scrap, and what it is worth."""
    layout = work.layout
    kept = sum(used.offcuts_area for used in layout.sheets)
    area = layout.sheet_area or 1.0
    yield (
        f"Sheets used: {area / 1e6:.4f} m²; blanks {100 * layout.parts_area / area:.1f} % of it, with the offcuts kept "
        f"{100 * (layout.parts_area + kept) / area:.1f} %."
    )
    worth = "no price given" if quote.scrap_worth is None else money(quote.scrap_worth, quote.currency)
    share = 100 * sum(used.skeleton_area for used in layout.sheets) / area
    yield f"Scrap: {share:.1f} %, {fixed(quote.scrap_kg, 2)} kg, worth {worth}."


def _wanting(work: Work, quote: Quote) -> list[str]:
    """What a customer looks for on a quote and neither the shop file nor the job gives."""
    shop = work.job.shop
    rows = [
        (shop.address, "the shop's address ([shop] address)"),
        (shop.contact, "its telephone or mail ([shop] contact)"),
        (quote.customer, "the customer's name ([quote] customer in job.toml)"),
        (quote.date, "the day ([quote] date in job.toml)"),
        (quote.lead_time, "a lead time ([quote] lead_time)"),
    ]
    return [name for given, name in rows if not given]


def _past(quote: Quote) -> Iterable[str]:
    """How the shop's estimates have compared, trade by trade."""
    hours = {past.trade: quote.hours_of(past.trade) for past in quote.past}
    if not quote.past:
        yield "Earlier jobs: no hours told yet; tankwright took JOB buck=9 welding=7 ... tells them."
        return
    yield "EARLIER JOBS           jobs   estimated       taken   taken / estimated   here, as they went"
    for past in quote.past:
        here = hours[past.trade]
        yield (
            f"  {past.trade:<19}{past.jobs:>6}{past.estimated:>10.1f} h{past.taken:>10.1f} h{past.ratio:>20.2f}"
            f"   {here:.1f} h would be {here * past.ratio:.1f} h"
        )
