"""What a quote is worked out with: the [quote] sections of a shop file, and what a job may say over them.

Words used here
    work      one operation of labour: hours for each tank, plus hours for each unit that it is counted by
    spread    how far an estimate may be out: low and high, as shares of the likely hours
    item      something bought or used up, so many for each filler, metre of weld ...

Hours are common practice without a source: nobody publishes a table for one-off tanks. Prices have no
default. One that is left away, or nought, is said to be missing; it is never counted as nothing.
"""

from __future__ import annotations

import datetime
from typing import Annotated, Any, NamedTuple

from pydantic import BeforeValidator, Field, model_validator

from .fields import Fault, Flag, Text, Trouble, choice, number, read_date, whole
from .models import Section

__all__ = [
    "COUNTED_BY",
    "GROUPS",
    "NOT_INCLUDED",
    "PARTS",
    "USED_UP",
    "WORK",
    "ItemSection",
    "JobQuoteSection",
    "LineSection",
    "QuoteSection",
    "Work",
    "WorkSection",
    "fixed_names",
]

#: Groups of lines, in the order of the papers.
GROUPS = ("material", "work", "bought parts", "consumables", "outside work", "packing and shipping")

#: What an item may be counted by, in words.
COUNTED_BY = (
    *("tank", "filler", "outlet", "mount", "vent", "baffle", "blank", "fold"),
    *("weld metre", "weld hour", "hour", "square metre", "kilogram"),
)

Money = Annotated[float | None, number(0.0, 1e7)]
Hours = Annotated[float, number(0.0, 10_000.0, unit=" hours")]
MaybeHours = Annotated[float | None, number(0.0, 10_000.0, unit=" hours")]
MaybePercent = Annotated[float | None, number(0.0, 100.0, unit=" percent")]
Percent = Annotated[float, number(0.0, 100.0, unit=" percent")]
Amount = Annotated[float, number(0.0, 1e6)]
MaybeAmount = Annotated[float | None, number(0.0, 1e6)]


class Work(NamedTuple):
    """One operation: its key in the file, its name on papers, what it is counted by, its usual figures."""

    key: str
    name: str
    unit: str  # what ``per`` counts
    trade: str  # what real hours are told by
    each: float
    per: float
    low: float = 0.7
    high: float = 1.5


#: Operations in the order of the work. Hours: common practice, no source; calibrate on your own jobs.
WORK = (
    Work("reading", "reading patterns, drawing, questions", "", "reading", 2.0, 0.0, 0.5, 1.5),
    Work("buck", "buck", "m² of shell", "buck", 4.0, 5.0, 0.5, 1.5),
    Work("shearing", "shearing", "stroke", "cutting", 0.25, 0.03),
    Work("snipping", "cutting blanks out of their sheared pieces", "m of outline", "cutting", 0.25, 0.06),
    Work("profile", "profile cutting", "m cut", "cutting", 0.5, 0.02),
    Work("piercing", "piercing", "pierce", "cutting", 0.0, 0.01),
    Work("easy", "shaping, easy", "m² of blank", "shaping", 0.0, 12.0, 0.6, 1.6),
    Work("ordinary", "shaping, ordinary", "m² of blank", "shaping", 0.0, 22.0, 0.6, 1.6),
    Work("hard", "shaping, hard", "m² of blank", "shaping", 0.0, 36.0, 0.6, 1.8),
    Work("split", "shaping, harder than hard", "m² of blank", "shaping", 0.0, 60.0, 0.6, 2.0),
    Work("rolling", "rolling", "blank", "folding", 0.0, 0.4),
    Work("folding", "folding", "fold or lip", "folding", 0.5, 0.3),
    Work("fitting", "fitting to the buck, trimming, tacking", "m of seam", "fitting", 0.0, 1.2, 0.7, 1.4),
    Work("butt", "welding butt seams", "m of seam", "welding", 0.0, 1.2, 0.7, 1.4),
    Work("lap", "welding lap seams", "m of seam", "welding", 0.0, 1.0, 0.7, 1.4),
    Work("flange", "welding flanged seams", "m of seam", "welding", 0.0, 0.9, 0.7, 1.4),
    Work("fillet", "welding fillets round doublers", "m of fillet", "welding", 0.0, 0.9, 0.7, 1.4),
    Work("fittings", "filler, outlets, mounts and the like", "fitting", "fittings", 0.0, 0.8),
    Work("baffles", "baffles", "baffle", "fittings", 0.0, 1.5),
    Work("testing", "leak test and mending", "", "testing", 3.0, 0.0, 0.7, 1.4),
    Work("finishing", "planishing and filing", "m² of shell", "finishing", 2.0, 10.0, 0.6, 1.5),
    Work("packing", "packing", "", "packing", 1.5, 0.0, 0.7, 1.4),
)


class OneWorkSection(Section):
    """[quote.work.KEY]: hours a tank, hours a unit, spread, and a rate of its own."""

    each: Hours = 0.0
    per: Hours = 0.0
    low: Annotated[float, number(0.0, 1.0)] = 0.7
    high: Annotated[float, number(1.0, 10.0)] = 1.5
    rate: Money = None


def _usual(key: str) -> Any:
    work = next(work for work in WORK if work.key == key)
    return Field(default_factory=lambda: OneWorkSection(each=work.each, per=work.per, low=work.low, high=work.high))


class WorkSection(Section):
    """[quote.work]: the operations, one by one."""

    reading: OneWorkSection = _usual("reading")
    buck: OneWorkSection = _usual("buck")
    shearing: OneWorkSection = _usual("shearing")
    snipping: OneWorkSection = _usual("snipping")
    profile: OneWorkSection = _usual("profile")
    piercing: OneWorkSection = _usual("piercing")
    easy: OneWorkSection = _usual("easy")
    ordinary: OneWorkSection = _usual("ordinary")
    hard: OneWorkSection = _usual("hard")
    split: OneWorkSection = _usual("split")
    rolling: OneWorkSection = _usual("rolling")
    folding: OneWorkSection = _usual("folding")
    fitting: OneWorkSection = _usual("fitting")
    butt: OneWorkSection = _usual("butt")
    lap: OneWorkSection = _usual("lap")
    flange: OneWorkSection = _usual("flange")
    fillet: OneWorkSection = _usual("fillet")
    fittings: OneWorkSection = _usual("fittings")
    baffles: OneWorkSection = _usual("baffles")
    testing: OneWorkSection = _usual("testing")
    finishing: OneWorkSection = _usual("finishing")
    packing: OneWorkSection = _usual("packing")


class ItemSection(Section):
    """[[quote.part]] or [[quote.consumable]]: so much for each of what it is counted by."""

    name: Text = Field(min_length=1, examples=['"filler cap"'])
    price: Money = None
    quantity: Amount = 1.0
    per: Annotated[str, choice(*COUNTED_BY)] = "tank"
    unit: Text = "piece"


class ShippingSection(Section):
    """[quote.shipping]: the box and the carrier."""

    box: Money = None
    carriage: Money = None
    carriage_kg: Annotated[float, number(0.0, 1e5)] = 0.0


class OutsideSection(Section):
    """[quote.outside]: profile cutting done by a neighbour, in money instead of hours."""

    profile: Flag = False
    start: Money = None
    metre: Money = None
    pierce: Money = None


#: Bought parts and what is used up, where the shop names none: what must not be forgotten, without prices.
PARTS = (
    ItemSection(name="filler neck", per="filler"),
    ItemSection(name="filler cap, vented", per="filler"),
    ItemSection(name="outlet bung", per="outlet"),
    ItemSection(name="fuel tap", per="outlet"),
    ItemSection(name="mount brackets with rubbers, a pair", per="mount"),
    ItemSection(name="vent bung", per="vent"),
)
USED_UP = (
    ItemSection(name="shielding gas", per="weld hour", quantity=0.3, unit="m³"),
    ItemSection(name="filler rod", per="weld metre", quantity=0.03, unit="kg"),
    ItemSection(name="discs, files, abrasives", per="square metre", quantity=4, unit="piece"),
    ItemSection(name="buck board", per="tank", quantity=1, unit="board"),
)
NOT_INCLUDED = (
    "paint, polish, lettering",
    "sealing or lining the inside",
    "fitting to the motorcycle, and changes to frame or seat",
    "work after changes to the patterns once metal is cut",
    "approval or registration where the local code asks for it",
)


class QuoteSection(Section):
    """[quote]: rates, terms and the lists of a shop."""

    rate: Money = None
    ask: Annotated[str, choice("low", "likely", "high")] = "likely"
    offer: Annotated[str, choice("fixed", "estimate")] = "fixed"
    material: Annotated[str, choice("sheet", "kilogram")] = "sheet"
    price_kg: Money = None
    scrap_kg: Money = None
    credit_scrap: Flag = False
    credit_offcuts: Percent = 0.0
    offcut_share: Annotated[float, number(0.0, 1.0)] = 0.5
    overhead: MaybePercent = None
    margin: MaybePercent = None
    tax: MaybePercent = None
    tax_name: Text = "tax"
    deposit: MaybePercent = None
    valid_days: Annotated[int, whole(1, 3650)] = 30
    lead_time: Text = ""
    not_included: list[Text] | None = Field(default=None, max_length=40)
    work: WorkSection = Field(default_factory=lambda: WorkSection())
    outside: OutsideSection = Field(default_factory=lambda: OutsideSection())
    part: list[ItemSection] | None = Field(default=None, max_length=60)
    consumable: list[ItemSection] | None = Field(default=None, max_length=60)
    shipping: ShippingSection = Field(default_factory=lambda: ShippingSection())

    @property
    def parts(self) -> tuple[ItemSection, ...]:
        """Bought parts: the shop's own list, or the usual one without prices."""
        return PARTS if self.part is None else tuple(self.part)

    @property
    def used_up(self) -> tuple[ItemSection, ...]:
        """Consumables likewise."""
        return USED_UP if self.consumable is None else tuple(self.consumable)


class LineSection(Section):
    """[[quote.line]]: one line of this job's quote changed, added or dropped."""

    name: Text = Field(min_length=1, examples=['"buck"'])
    group: Annotated[str | None, choice(*GROUPS)] = None
    hours: MaybeHours = None
    low: MaybeHours = None
    high: MaybeHours = None
    quantity: MaybeAmount = None
    unit: Text = ""
    price: Money = None
    drop: Flag = False
    note: Text = ""

    @model_validator(mode="after")
    def _says_one_thing(self) -> LineSection:
        given = [key for key in ("hours", "low", "high", "quantity", "price") if getattr(self, key) is not None]
        if self.drop and given:
            says, hint = "a line is dropped or changed, not both", "take drop = true out, or the figures"
            raise Trouble(Fault(says, ", ".join(given), "drop = true alone", hint))
        if not self.drop and not given:
            says, hint = "this line changes nothing", "write hours = 10, price = 48 or drop = true"
            raise Trouble(Fault(says, "no figure", "hours, quantity, price or drop", hint))
        if self.hours is not None and self.quantity is not None:
            says, hint = "hours are the quantity of work", "keep one of the two"
            raise Trouble(Fault(says, "hours and quantity", "one of them", hint))
        low, likely, high = self.low, self.hours, self.high
        if likely is None and (low is not None or high is not None):
            says, hint = "low and high stand about the likely hours", "write hours = 10 as well"
            raise Trouble(Fault(says, "no hours", "hours with low and high", hint))
        if likely is not None and not (low if low is not None else 0) <= likely <= (likely if high is None else high):
            found = f"low {low if low is not None else '-'}, hours {likely:g}, high {high if high is not None else '-'}"
            raise Trouble(Fault("these hours do not rise", found, "low <= hours <= high", "put them in order"))
        return self


class JobQuoteSection(QuoteSection):
    """[quote] in a job file: the shop's, with the customer, the day of the quote and this job's own lines."""

    date: Annotated[datetime.date | None, BeforeValidator(read_date)] = None
    customer: Text = ""
    line: list[LineSection] = Field(default_factory=list, max_length=100)


def fixed_names(rules: QuoteSection) -> tuple[str, ...]:
    """Every name that a line of the shop's own can have."""
    return (
        *("sheets bought", "metal by weight", "metal from the rack", "offcuts kept", "scrap sold"),
        *(work.name for work in WORK),
        *(item.name for item in (*rules.parts, *rules.used_up)),
        *("profile cutting, start", "profile cutting, metres", "profile cutting, pierces"),
        *("box", "carriage"),
    )
