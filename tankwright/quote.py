"""What to charge for a tank: a quote in lines that can be opened, and its sums.

Words used here
    costs     all lines together; overhead, margin and tax are percents, each put on what stands before it
    net       before tax
    asked     the sum the customer is asked for: low, likely or high, as the shop has it

No clock is read: dates count from the job's own day of the quote.
"""

from __future__ import annotations

import datetime
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from .quoteedits import edited
from .quotefile import GROUPS, NOT_INCLUDED, WORK, JobQuoteSection
from .quotelines import Counts, Line, Three, cents, usual_lines

if TYPE_CHECKING:
    from .quotehours import Past

__all__ = ["Quote", "make_quote"]


@dataclass(frozen=True)
class Quote:
    """A finished quote. ``tax`` and its like are None where the shop names no percentage."""

    currency: str
    date: datetime.date | None
    valid_days: int
    lines: tuple[Line, ...]
    costs: Three
    overhead_percent: float | None
    overhead: Three
    margin_percent: float | None
    margin: Three
    net: Three
    tax_name: str
    tax_percent: float | None
    tax: Three
    total: Three
    ask: str
    show_range: bool
    deposit_percent: float | None
    lead_time: str
    not_included: tuple[str, ...]
    dropped: tuple[str, ...]
    scrap_kg: float
    scrap_worth: float | None
    past: tuple[Past, ...] = ()

    @property
    def missing(self) -> tuple[Line, ...]:
        """Lines with something to charge for and no price."""
        return tuple(line for line in self.lines if line.missing)

    @property
    def asked(self) -> float:
        """What the customer is asked for, tax included."""
        return float(getattr(self.total, self.ask))

    @property
    def deposit(self) -> float | None:
        return None if self.deposit_percent is None else cents(self.asked * self.deposit_percent / 100)

    @property
    def valid_until(self) -> datetime.date | None:
        """The last day; None where the job gives no day of the quote."""
        return None if self.date is None else self.date + datetime.timedelta(days=self.valid_days)

    @property
    def groups(self) -> tuple[str, ...]:
        """The groups there are, in the order of the papers."""
        return tuple(group for group in GROUPS if any(line.group == group for line in self.lines))

    def of_group(self, group: str) -> tuple[Line, ...]:
        return tuple(line for line in self.lines if line.group == group)

    def cost_of(self, group: str) -> Three:
        """What a group's lines come to."""
        return _sum(line.amount for line in self.of_group(group))

    def price_of(self) -> dict[str, float]:
        """What the customer pays for each group before tax: overhead and margin spread over all alike.

        The largest group takes up the rounding, so that the groups add up to the net price asked for.
        """
        net, costs = (float(getattr(three, self.ask)) for three in (self.net, self.costs))
        share = net / costs if costs else 0.0
        prices = {group: cents(float(getattr(self.cost_of(group), self.ask)) * share) for group in self.groups}
        if prices:
            largest = max(prices, key=lambda group: abs(prices[group]))
            prices[largest] = cents(prices[largest] + net - sum(prices.values()))
        return prices

    def hours_of(self, trade: str) -> float:
        """Likely hours of one trade."""
        keys = {work.key for work in WORK if work.trade == trade}
        return round(sum(line.quantity.likely for line in self.lines if line.key in keys), 1)


def make_quote(counts: Counts, rules: JobQuoteSection, *, currency: str = "", past: tuple[Past, ...] = ()) -> Quote:
    """The quote for what was counted, by the shop's rates and the job's own lines."""
    usual = [line for line in usual_lines(counts, rules) if line.quantity.high != 0]
    lines, dropped = edited(usual, rules)
    costs = _sum(line.amount for line in lines)
    overhead = _percent(costs, rules.overhead)
    margin = _percent(_sum((costs, overhead)), rules.margin)
    net = _sum((costs, overhead, margin))
    tax = _percent(net, rules.tax)
    worth = cents(round(counts.scrap_kg, 2) * rules.scrap_kg) if rules.scrap_kg else None
    return Quote(
        currency=currency,
        date=rules.date,
        valid_days=rules.valid_days,
        lines=lines,
        costs=costs,
        overhead_percent=rules.overhead,
        overhead=overhead,
        margin_percent=rules.margin,
        margin=margin,
        net=net,
        tax_name=rules.tax_name or "tax",
        tax_percent=rules.tax,
        tax=tax,
        total=_sum((net, tax)),
        ask=rules.ask,
        show_range=rules.show_range,
        deposit_percent=rules.deposit,
        lead_time=rules.lead_time,
        not_included=_not_included(counts, rules, dropped),
        dropped=dropped,
        scrap_kg=round(counts.scrap_kg, 2),
        scrap_worth=worth,
        past=past,
    )


def _sum(items: Iterable[Three]) -> Three:
    low = likely = high = 0.0
    for item in items:
        low, likely, high = low + item.low, likely + item.likely, high + item.high
    return Three(cents(low), cents(likely), cents(high))


def _percent(of: Three, percent: float | None) -> Three:
    return Three(*(cents(value * (percent or 0.0) / 100) for value in of))


def _not_included(c: Counts, rules: JobQuoteSection, dropped: Sequence[str]) -> tuple[str, ...]:
    """What the customer might expect and does not get."""
    left = list(NOT_INCLUDED if rules.not_included is None else rules.not_included)
    left += [name for name in dropped if name not in left]
    if not c.fillers:
        left.append("filler neck and cap: none is drawn on the patterns")
    if not c.outlets:
        left.append("fuel outlet and tap: none is drawn on the patterns")
    if not c.mounts:
        left.append("mounts: none are drawn on the patterns")
    if rules.tax is None:
        left.append("taxes and duties")
    return tuple(left)
