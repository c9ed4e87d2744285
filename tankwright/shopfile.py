"""What does not change from job to job: stock, gaps and margins, allowances, the shop's own bend strips.

Where it is looked for, first found wins: ``shop.toml`` beside ``job.toml``; the file that the environment
variable TANKWRIGHT_SHOP names; ``shop.toml`` in the user's folder for settings; else the plain defaults
below, each common practice without a source unless it says otherwise.

A job overrides its shop by one rule: every section but [shop] may stand in ``job.toml`` too. What is
written there wins, value by value; a list ([[sheet]], [[allowances.seam]], [[bend.strip]]) replaces the
shop's list whole.
"""

from __future__ import annotations

import os
from pathlib import Path
from typing import Annotated

from pydantic import AfterValidator, Field, model_validator

from .fields import Fault, Flag, Gap, Place, Size, Small, Text, Trouble, Unit, choice, length, number, shown, whole
from .models import Section, Thickness, alloy_name
from .quotefile import QuoteSection

__all__ = ["SHOP_VARIABLE", "ShopFile", "ShopSections", "find_shop"]

SHOP_VARIABLE = "TANKWRIGHT_SHOP"

JOINTS = ("butt", "lap", "fold")
Percent = Annotated[float, number(0.0, 100.0, unit=" percent")]
MaybeAlloy = Annotated[str, AfterValidator(lambda name: alloy_name(name) if name else "")]


class SheetSection(Section):
    """[[sheet]]: one size of stock, or one offcut."""

    name: Text = ""
    width: Size = Field(examples=["1000"])
    height: Size = Field(examples=["2000"])
    metal: MaybeAlloy = Field(default="", description="left away: any metal")
    thickness: Annotated[float | None, Thickness("metal", 0.4, 6.5)] = None
    price: Annotated[float | None, number(0.0, 1e6)] = None
    quantity: Annotated[int | None, whole(0, 10_000)] = None
    grain: Annotated[str, choice("long", "width", "height", "none")] = "long"
    rack: Flag = Field(default=False, description="true: it lies on the shop's own rack and is not bought")


class NestingSection(Section):
    """[nesting]: how blanks are laid on sheets."""

    gap: Gap = 8.0
    edge: Gap = 10.0
    cutting: Annotated[str, choice("shear", "profile")] = "shear"
    seconds: Annotated[float, number(above=0.0, high=3600.0)] = 2.0
    seed: Annotated[int, whole()] = 1
    keep_offcut_side: Gap = 150.0
    keep_offcut_area: Annotated[float, number(0.0, 10.0, unit=" m²")] = 0.05
    squaring: Annotated[float, length(0.0, 50.0)] = 0.0
    longest_cut: Annotated[float, length(high=10_000.0, low=100.0)] | None = None
    smallest_strip: Annotated[float, length(0.0, 300.0)] = 0.0
    rotations: list[Annotated[float, number(0.0, 360.0)]] | None = Field(default=None, min_length=1, max_length=360)


class CuttingSection(Section):
    """[cutting]: what cutting files hold beside the outlines; 0: nothing, the machine sets its own."""

    kerf: Annotated[float, length(0.0, 6.0)] = 0.0
    lead_in: Annotated[float, length(0.0, 25.0)] = 0.0


class SeamAllowanceSection(Section):
    """[[allowances.seam]]: a joint that is not a plain butt."""

    between: tuple[Text, Text] = Field(examples=['["floor", "tunnel"]'])
    joint: Annotated[str, choice(*JOINTS)] = Field(examples=['"lap"'])
    width: Gap | None = None
    on: Text = ""
    outside: Text = Field(default="", description="which of the two lies outside in a lap; left away: the one it is on")

    @model_validator(mode="after")
    def _on_one_of_the_two(self) -> SeamAllowanceSection:
        if not all(self.between):
            says, hint = "a panel has no name", "name both, such as floor and tunnel"
            raise Trouble(Fault(says, shown(list(self.between)), "two names", hint, at=("between",)))
        if self.on and self.on not in self.between:
            says, hint = "the metal must be left on one of the two", f'write on = "{self.between[0]}"'
            raise Trouble(Fault(says, shown(self.on), " or ".join(self.between), hint, at=("on",)))
        if self.outside and (self.joint != "lap" or self.outside not in self.between):
            says, hint = "only a lap has an outside, and it is one of the two", f'write outside = "{self.between[0]}"'
            found = f"{self.joint}, {shown(self.outside)}"
            raise Trouble(Fault(says, found, " or ".join(self.between), hint, at=("outside",)))
        return self


class AllowancesSection(Section):
    """[allowances]: metal left outside the trim line, edge by edge."""

    formed: Gap = 12.0
    rolled: Gap = 3.0
    folded: Gap = 0.0
    flat: Gap = 0.0
    lap: Gap = 12.0
    seam: list[SeamAllowanceSection] = Field(default_factory=list, max_length=50)


class BaffleSection(Section):
    """[baffle]: plates across the tank against surge; ``wanted`` forces or forbids them for a job."""

    over_litres: Annotated[float, number(0.0, 1000.0, unit=" L")] = 12.0
    clearance: Gap = 3.0
    opening: Gap = 20.0
    hole: Gap = 40.0
    pieces: Annotated[str, choice("whole", "halves")] = "whole"
    wanted: Flag | None = None
    at: list[Place] | None = Field(default=None, min_length=1, max_length=8)


class CapacitySection(Section):
    """[capacity]: what is left empty."""

    ullage: Annotated[float, number(0.0, 50.0, unit=" percent")] = 4.0


class ChecksSection(Section):
    """[checks]: how far patterns may disagree."""

    agree: Annotated[float, Small.__metadata__[0]] = 1.5


class DifficultySection(Section):
    """[difficulty]: change of length, percent, up to which a panel is easy, ordinary, hard."""

    easy: Percent = 3.0
    ordinary: Percent = 8.0
    hard: Percent = 15.0


AIMS = ("even", "least worst")
ShrinkCost = Annotated[float, number(0.01, 100.0)]


class FormingPanelSection(Section):
    """[[forming.panel]]: how one panel's blank is laid out; a name stands for every panel that has it in its own."""

    name: Text = Field(min_length=1, examples=['"crown"'])
    aim: Annotated[str | None, choice(*AIMS)] = None
    shrink_cost: ShrinkCost | None = None


class FormingSection(Section):
    """[forming]: what the blanks of crowned panels are laid out for."""

    aim: Annotated[str, choice(*AIMS)] = Field(default="even", description="least work, or the least worst place")
    shrink_cost: ShrinkCost = Field(default=1.0, description="how much dearer it is to shrink than to stretch")
    panel: list[FormingPanelSection] = Field(default_factory=list, max_length=20)


class StripSection(Section):
    """[[bend.strip]]: one measured test strip."""

    metal: Annotated[str, AfterValidator(alloy_name)] = Field(examples=['"3003-H14"'])
    thickness: Annotated[float, Thickness("metal", 0.4, 6.5)] = Field(examples=["1.6"])
    inside_radius: Gap = Field(examples=["3"])
    k_factor: Annotated[float, number(0.0, 0.5)] = Field(examples=["0.42"])
    tooling: Text = ""
    note: Text = ""


class BendSection(Section):
    """[bend]: what the shop folds on, and what its strips have shown."""

    k_factor: Annotated[float | None, number(0.0, 0.5)] = None
    tooling: Text = ""
    strip: list[StripSection] = Field(default_factory=list, max_length=200)


class HouseSection(Section):
    """[shop]: the shop itself, and the unit of this file's plain numbers."""

    name: Text = ""
    unit: Unit = "mm"
    currency: Text = ""
    address: list[Text] = Field(default_factory=list, max_length=8)
    contact: Text = ""
    keep_in: Text = Field(default="", description="folder of the offcut rack and the hours taken, from this file's own")


class ShopSections(Section):
    """The sections that a shop file and a job file share."""

    sheet: list[SheetSection] = Field(default_factory=list, max_length=200)
    nesting: NestingSection = Field(default_factory=lambda: NestingSection())
    cutting: CuttingSection = Field(default_factory=lambda: CuttingSection())
    allowances: AllowancesSection = Field(default_factory=lambda: AllowancesSection())
    baffle: BaffleSection = Field(default_factory=lambda: BaffleSection())
    capacity: CapacitySection = Field(default_factory=lambda: CapacitySection())
    checks: ChecksSection = Field(default_factory=lambda: ChecksSection())
    difficulty: DifficultySection = Field(default_factory=lambda: DifficultySection())
    forming: FormingSection = Field(default_factory=lambda: FormingSection())
    bend: BendSection = Field(default_factory=lambda: BendSection())
    quote: QuoteSection = Field(default_factory=lambda: QuoteSection())


class ShopFile(ShopSections):
    """All that may stand in ``shop.toml``."""

    shop: HouseSection = Field(default_factory=lambda: HouseSection())


def find_shop(folder: Path) -> tuple[Path, str] | None:
    """The shop file that holds for a job folder and what to call it in messages; None if there is none.

    A file named by TANKWRIGHT_SHOP is returned even if it is not there, so that the slip is seen.
    """
    beside = folder / "shop.toml"
    if beside.is_file():
        return beside, "shop.toml"
    named = os.environ.get(SHOP_VARIABLE, "").strip()
    if named:
        return Path(named), f"{Path(named).name} (named by {SHOP_VARIABLE})"
    import click

    settings = Path(click.get_app_dir("tankwright")) / "shop.toml"
    return (settings, "shop.toml in your settings") if settings.is_file() else None
