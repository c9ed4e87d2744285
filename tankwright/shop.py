"""The shop's settings as one value, after the job has had its say.

Lengths in mm, areas in mm2, shares as named. What neither file gives is the default of
``tankwright.shopfile``.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

from panels.choose_k import KFactor, StripReading, choose_k
from panels.metal import Metal

from .fields import Fault, nearest, shown
from .models import Section
from .quotefile import JobQuoteSection, fixed_names
from .shopfile import SheetSection, ShopFile, ShopSections
from .units import show_size

if TYPE_CHECKING:
    from nesting import Sheet
    from panels.blank import Aim

    from .quotehours import Past
    from .rackjob import Committed

__all__ = [
    "SAME_SHEET_MM",
    "STANDARD_SHEETS",
    "Allowances",
    "BaffleRules",
    "BendRules",
    "CuttingRules",
    "Difficulty",
    "NestingRules",
    "SeamRule",
    "Shop",
    "StockSheet",
    "merge",
    "merge_faults",
]

#: How far a sheet's thickness may be from the job's and still be the same sheet, mm: the difference
#: between a gauge and the round millimetre it is sold as. Common practice, no source.
SAME_SHEET_MM = 0.06
MM2_PER_M2 = 1e6


@dataclass(frozen=True)
class StockSheet:
    """One size of stock. Empty ``metal`` or no ``thickness``: serves any. No ``price``: not known."""

    name: str
    width: float
    height: float
    metal: str = ""
    thickness: float | None = None
    price: float | None = None
    quantity: int | None = None  # None: as many as needed
    grain: str | None = "long"  # "long", "x" (along the width), "y" or None
    note: str = ""
    rack: bool = False  # lies on the shop's own rack: not bought
    outline: tuple[tuple[float, float], ...] = ()  # of an offcut that is no rectangle, mm

    def serves(self, metal: str, thickness: float) -> bool:
        """Whether a job in that metal and thickness, mm, can be cut from it."""
        same_metal = self.metal in ("", metal)
        return same_metal and (self.thickness is None or abs(self.thickness - thickness) <= SAME_SHEET_MM)

    def to_lay_on(self) -> Sheet:
        """The sheet as ``nesting`` takes it; its origin says whether it is from the rack.

        What lies there is paid for: it costs a layout nothing, whatever a customer is charged for it.
        """
        from shapely.geometry import Polygon

        from nesting import Sheet

        outline = Polygon(self.outline) if self.outline else None
        origin = "rack" if self.rack else ""
        price = 0.0 if self.rack else self.price or 0.0
        return Sheet(self.name, self.width, self.height, price, self.quantity, self.grain, outline, origin=origin)


_COMMON = "stock size, common practice, no price"
#: What is taken where the shop names no sheets.
STANDARD_SHEETS = (
    StockSheet("1000 x 2000 mm", 1000.0, 2000.0, note=_COMMON),
    StockSheet("1250 x 2500 mm", 1250.0, 2500.0, note=_COMMON),
    StockSheet("4 x 8 ft", 1219.2, 2438.4, note=_COMMON),
)


@dataclass(frozen=True)
class NestingRules:
    """How blanks are laid on sheets; ``rotations`` None leaves the turns to the way of cutting.

    Of the shear: ``squaring`` is taken off two raw edges first, ``longest_cut`` is its blade (None: any length),
    ``smallest_strip`` what its hold-downs need, all mm.
    """

    gap: float
    edge: float
    cutting: str
    seconds: float
    seed: int
    keep_offcut_side: float
    keep_offcut_area: float
    rotations: tuple[float, ...] | None
    squaring: float = 0.0
    longest_cut: float | None = None
    smallest_strip: float = 0.0
    other_gap: float = 0.0  # for the other way of cutting, where both are compared

    def gap_for(self, cutting: str) -> float:
        """Least distance between two blanks, mm, in that way of cutting."""
        return self.gap if cutting == self.cutting else self.other_gap


@dataclass(frozen=True)
class CuttingRules:
    """What cutting files hold beside the outlines, mm; 0: net geometry, no lead-ins."""

    kerf: float = 0.0
    lead_in: float = 0.0


@dataclass(frozen=True)
class SeamRule:
    """A joint between two panels; each name stands for every panel that has it in its own name."""

    between: tuple[str, str]
    joint: str
    width: float
    on: str  # the panel that carries the extra metal, the first where not said
    outside: str = ""  # the panel that lies outside in a lap; "": the one that carries the metal
    but: str = ""  # panels of this name it does not speak of; "": it speaks of all

    def fits(self, panel: str, meets: str) -> bool:
        """Whether the rule speaks of the seam of these two panels."""
        one, other = self.between
        if self.but and (_named(self.but, panel) or _named(self.but, meets)):
            return False
        return (_named(one, panel) and _named(other, meets)) or (_named(other, panel) and _named(one, meets))


def _named(word: str, panel: str) -> bool:
    return word.lower() in panel.lower()


@dataclass(frozen=True)
class Allowances:
    """Metal left outside the trim line, mm, by the kind of blank, and the joints that are not butts."""

    formed: float
    rolled: float
    folded: float
    flat: float
    lap: float
    seams: tuple[SeamRule, ...] = ()

    def rule(self, panel: str, meets: str) -> SeamRule | None:
        """The rule that decides the seam of two panels: the first that speaks of them, None where none does."""
        return next((rule for rule in self.seams if rule.fits(panel, meets)), None)

    def at_edge(self, kind: str, panel: str, meets: str) -> tuple[str, float]:
        """(joint, allowance in mm) of the edge of a blank of that kind that meets another panel.

        The first rule that speaks of the two decides; the panel that carries the lap gets its width, the
        other is cut to its kind's own allowance. Only the one that carries a fold is turned: for the other it
        is a butt. An edge that meets nothing is free.
        """
        own = float(getattr(self, kind))
        if not meets:
            return "free", own
        rule = self.rule(panel, meets)
        if rule is None or rule.joint == "butt":
            return "butt", rule.width if rule is not None and _carries(rule, panel, meets) else own
        if _carries(rule, panel, meets):
            return rule.joint, rule.width
        return "butt" if rule.joint == "fold" else rule.joint, own

    def outside(self, panel: str, meets: str) -> str:
        """Which of two panels lies outside where they lap; "" where no rule says."""
        rule = self.rule(panel, meets)
        if rule is None or not rule.outside or _named(rule.outside, panel) == _named(rule.outside, meets):
            return ""
        return panel if _named(rule.outside, panel) else meets


def _carries(rule: SeamRule, panel: str, meets: str) -> bool:
    """Whether the extra metal of a seam is left on ``panel``; the left one where both go by that name."""
    if _named(rule.on, panel) and _named(rule.on, meets):
        return panel < meets
    return _named(rule.on, panel)


@dataclass(frozen=True)
class FormingRule:
    """How the blanks of some panels are laid out; the name stands for every panel that has it in its own."""

    name: str
    aim: str  # "even" or "least worst"
    shrink_cost: float

    def fits(self, panel: str) -> bool:
        """Whether the rule speaks of that panel."""
        return _named(self.name, panel)


@dataclass(frozen=True)
class Forming:
    """How blanks of crowned panels are laid out: for all, and for some."""

    aim: str
    shrink_cost: float
    panels: tuple[FormingRule, ...] = ()

    def of(self, panel: str) -> Aim:
        """What that panel's blank is laid out for; the first rule that speaks of it decides."""
        from panels.blank import Aim

        rule = next((rule for rule in self.panels if rule.fits(panel)), self)
        return Aim("least_worst" if rule.aim == "least worst" else "even", rule.shrink_cost)


@dataclass(frozen=True)
class Difficulty:
    """Change of length, percent, up to which forming is easy, ordinary, hard; past it, split the panel."""

    easy: float
    ordinary: float
    hard: float


@dataclass(frozen=True)
class BendRules:
    """What the shop folds on and what its strips have shown; ``k_factor`` is its plain K, if it has one."""

    k_factor: float | None
    tooling: str
    strips: tuple[StripReading, ...]

    def choose(self, metal: Metal, thickness: float, inside_radius: float) -> KFactor:
        """The K-factor for a fold: a strip that fits, the shop's plain K, then table and standard."""
        chosen = choose_k(metal, thickness, inside_radius, tooling=self.tooling, strips=self.strips)
        if chosen.basis == "strip" or self.k_factor is None:
            return chosen
        return KFactor(self.k_factor, "the shop file, for every fold", "No measured strip fits this fold.")


@dataclass(frozen=True)
class BaffleRules:
    """When a tank gets baffles and how they are made, mm; ``wanted`` None leaves it to the tank's size."""

    over_litres: float
    clearance: float
    opening: float
    hole: float
    pieces: str  # "whole" or "halves"
    wanted: bool | None
    at: tuple[float, ...]  # x of each; none: one in the middle of the fuel

    def wants(self, litres: float) -> bool:
        """Whether a tank of that size gets any."""
        return litres > self.over_litres if self.wanted is None else self.wanted


@dataclass(frozen=True)
class Shop:
    """The shop as it stands for one job. ``file`` is where its settings are from, "" for the defaults.

    ``rack`` are the offcuts it keeps, ``committed`` what this job and revision has changed there before, ``past`` what
    earlier jobs took against their estimates; all are kept in ``keep_in``, a folder told from the shop file's own.
    """

    name: str
    currency: str
    file: str
    sheets: tuple[StockSheet, ...]
    nesting: NestingRules
    allowances: Allowances
    ullage_percent: float
    agree_mm: float
    difficulty: Difficulty
    forming: Forming
    bend: BendRules
    baffle: BaffleRules
    quote: JobQuoteSection
    address: tuple[str, ...] = ()
    contact: str = ""
    keep_in: str = ""
    rack: tuple[StockSheet, ...] = ()
    committed: Committed | None = None
    past: tuple[Past, ...] = ()
    cutting: CuttingRules = CuttingRules()

    def pieces_for(self, metal: str, thickness: float) -> tuple[StockSheet, ...]:
        """The offcuts on the rack that a job can be cut from."""
        return tuple(piece for piece in self.rack if piece.serves(metal, thickness))

    def sheets_for(self, metal: str, thickness: float) -> tuple[tuple[StockSheet, ...], str]:
        """The sheets a job can be cut from, and a sentence where the shop names none that fit."""
        fitting = tuple(sheet for sheet in self.sheets if sheet.serves(metal, thickness))
        if fitting:
            return fitting, ""
        sheets = tuple(replace(sheet, metal=metal, thickness=thickness) for sheet in STANDARD_SHEETS)
        if not self.sheets:
            return sheets, "no stock sheets are given: standard sizes are taken, without prices"
        have = "; ".join(sorted({_stock_words(sheet) for sheet in self.sheets}))
        return sheets, (
            f"no stock sheet is {metal} {thickness:.2f} mm (stock: {have}): standard sizes are taken, without prices"
        )


def _stock_words(sheet: StockSheet) -> str:
    thickness = "any thickness" if sheet.thickness is None else f"{sheet.thickness:.2f} mm"
    return f"{sheet.metal or 'any metal'} {thickness}"


# ---------------------------------------------------------------------------------- job over shop

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
