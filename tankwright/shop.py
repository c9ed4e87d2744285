"""The shop's settings as one value, after the job has had its say (``tankwright.merge``).

Lengths in mm, areas in mm2, shares as named. What neither file gives is the default of
``tankwright.shopfile``.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from panels.choose_k import KFactor, StripReading, choose_k
from panels.metal import Metal

from .quotefile import JobQuoteSection

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
]

#: How far a sheet's thickness may be from the job's and still be the same sheet, mm: the difference
#: between a gauge and the round millimetre it is sold as. Common practice, no source.
SAME_SHEET_MM = 0.06


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
