"""What to charge for a tank: a quote in lines that can be opened, and its sums.

Words used here
    costs     all lines together; overhead, margin and tax are percents, each put on what stands before it
    net       before tax
    asked     the sum the customer is asked for: low, likely or high, as the shop has it
    offer     "fixed": the sum holds whatever the work takes; "estimate": the work really done is charged, in a range

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
    offer: str
    deposit_percent: float | None
    lead_time: str
    not_included: tuple[str, ...]
    dropped: tuple[str, ...]
    scrap_kg: float
    scrap_worth: float | None
    counts: Counts
    customer: str = ""
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

    @property
    def factor(self) -> float:
        """What a cost is multiplied by to give its price before tax: overhead and margin."""
        return (1 + (self.overhead_percent or 0.0) / 100) * (1 + (self.margin_percent or 0.0) / 100)

    def price_of(self) -> dict[str, float]:
        """What the customer pays for each group before tax: its costs times `factor`, to the cent.

        The largest group takes up the rounding, so that the groups add up to the net price asked for.
        """
        prices = {group: self._price(group) for group in self.groups}
        if prices:
            prices[self._largest] = cents(prices[self._largest] + self.rounding)
        return prices

    def _price(self, group: str) -> float:
        return cents(float(getattr(self.cost_of(group), self.ask)) * self.factor)

    @property
    def _largest(self) -> str:
        return max(self.groups, key=lambda group: abs(self._price(group)))

    @property
    def rounding(self) -> float:
        """What the largest group's price is changed by, so that the groups add up to the net price."""
        return cents(float(getattr(self.net, self.ask)) - sum(self._price(group) for group in self.groups))

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
        offer=rules.offer,
        deposit_percent=rules.deposit,
        lead_time=rules.lead_time,
        not_included=_not_included(counts, rules, dropped),
        dropped=dropped,
        scrap_kg=round(counts.scrap_kg, 2),
        scrap_worth=worth,
        counts=counts,
        customer=rules.customer,
        past=past,
    )


def _sum(items: Iterable[Three]) -> Three:
    low = likely = high = 0.0
    for item in items:
        low, likely, high = low + item.low, likely + item.likely, high + item.high
    return Three(cents(low), cents(likely), cents(high))


def _percent(of: Three, percent: float | None) -> Three:
    return Three(*(cents(value * (percent or 0.0) / 100) for value in of))


#: What a tank is usually wanted with: its name, the words that an item for it has one of, what it hangs on.
USUAL_PARTS = (
    ("filler neck", ("neck",), "filler"),
    ("filler cap", ("cap",), "filler"),
    ("outlet boss", ("bung", "boss", "outlet"), "outlet"),
    ("fuel tap", ("tap", "petcock"), "outlet"),
    ("mount brackets and rubbers", ("bracket", "mount"), "mount"),
    ("vent (breather)", ("vent", "vented", "breather"), "tank"),
)


def _not_included(c: Counts, rules: JobQuoteSection, dropped: Sequence[str]) -> tuple[str, ...]:
    """What the customer might expect and does not get."""
    left = list(NOT_INCLUDED if rules.not_included is None else rules.not_included)
    left += [name for name in dropped if name not in left]
    drawn = {"filler": c.fillers, "outlet": c.outlets, "mount": c.mounts, "vent": c.vents, "tank": 1}
    if not c.fillers:
        left.append("filler neck and cap, and setting them: none is drawn on the patterns")
    if not c.outlets:
        left.append("fuel outlet and tap: none is drawn on the patterns")
    if not c.mounts:
        left.append("mounts: none are drawn on the patterns")
    items = [item.name for item in rules.parts if drawn.get(item.per, 1)]
    items += [line.name for line in rules.line if line.group == "bought parts" and not line.drop]
    given = [_says_of(name) for name in items if name not in dropped]
    told = " ".join(left).lower()
    for part, words, per in USUAL_PARTS:
        if drawn[per] and not any(words_of & set(words) for words_of in given) and part not in told:
            left.append(f"{part}: {_yours(part, c)}")
    if rules.tax is None:
        left.append("taxes and duties")
    return tuple(left)


def _yours(part: str, c: Counts) -> str:
    """Who brings a part, and whether the work of setting it is in the price."""
    if not part.startswith("vent"):
        return "yours to bring, or ask for a price"
    if c.vents:
        return "the part is yours to bring, or ask for a price; setting it in is in the price"
    return "none is drawn on the patterns, so that neither the part nor setting it in is in the price"


def _says_of(name: str) -> set[str]:
    """The words of an item's name; a bung for a petcock is no petcock."""
    plain = (word.strip(",.()") for word in name.lower().replace("-", " ").split())
    found = {word if word.endswith("ss") else word.removesuffix("s") for word in plain}
    return found - {"tap", "petcock"} if found & {"bung", "boss"} and "and" not in found else found
