"""What may stand in a job file: its sections, their values and what each must be.

``job.toml`` describes one tank. Lengths are numbers in the job's unit or text with a unit of its own
(``tankwright.units``); points come from ``tankwright.sources``. Sections of the shop file may stand here
too and then hold for this job only (``tankwright.shopfile``).

Everything here is about one value or one section; what two sections must agree on is in
``tankwright.across``, and whether the patterns fit one another is for ``panels`` to say.
"""

from __future__ import annotations

import datetime
from functools import partial
from typing import Annotated, Any

from pydantic import AfterValidator, BeforeValidator, Field, ValidationInfo, model_validator

from panels.round_top import NEARLY_ROUND

from .fields import (
    Angle,
    Fault,
    Flag,
    Gap,
    Place,
    Setting,
    Share,
    Size,
    Small,
    Text,
    Trouble,
    Unit,
    choice,
    length,
    nearest,
    number,
    read_date,
    setting_of,
    shown,
)
from .fittingfile import FillerSection, FittingSection, OutletSection
from .models import THICKEST_MM, THINNEST_MM, Section, Thickness, alloy_name
from .orders import EndPoints, OutlinePoints, PlanPoints, RunPoints, SectionPoints, points_field
from .outline import side_faults
from .quotefile import JobQuoteSection
from .shopfile import ShopSections
from .sources import PointSet
from .units import show_length

__all__ = ["RUNS", "SCHEMES", "JobFile"]

RUNS = ("top", "bottom", "front", "rear")
SCHEMES = ("crown and sides", "crown, shoulders and sides", "widest line", "halves", "drawn")


class JobSection(Section):
    """[job]: what the papers are headed with, and how the numbers are to be read."""

    name: Text = Field(min_length=1, examples=['"Saddle tank"'], description="what the tank is called")
    reference: Text = Field(default="", description="the customer's or the shop's own reference")
    revision: Text = Field(default="", description="which state of the patterns this is")
    pattern_date: Annotated[datetime.date | None, BeforeValidator(read_date)] = None
    unit: Unit = Field(examples=['"mm"'], description='unit of every plain number: "mm" or "in"')
    surface: Annotated[str, choice("outside", "inside")] = "outside"


class MetalSection(Section):
    """[metal]: what the tank is made of and how it folds."""

    alloy: Annotated[str, AfterValidator(alloy_name)] = Field(examples=['"3003-H14"'])
    thickness: Annotated[float, Thickness("alloy", THINNEST_MM, THICKEST_MM)] = Field(examples=["1.6"])
    fold_radius: Annotated[float | None, Gap.__metadata__[0]] = None
    k_factor: Annotated[float | None, number(0.0, 0.5)] = None
    k_source: Text = ""


Marks = dict[Text, tuple[Place, Place]]


class SideSection(Section):
    """[side]: the side pattern, its lines and marks."""

    top: RunPoints = Field(examples=["[[0, 120], [250, 170], [500, 120]]"])
    bottom: RunPoints = Field(examples=["[[0, 20], [250, 0], [500, 20]]"])
    front: EndPoints | None = None
    rear: EndPoints | None = None
    lines: dict[Text, RunPoints] = Field(default_factory=dict, max_length=30)
    marks: Marks = Field(default_factory=dict, max_length=60)

    @model_validator(mode="after")
    def _fits_together(self, info: ValidationInfo) -> SideSection:
        faults = side_faults(self, setting_of(info))
        if faults:
            raise Trouble(*faults)
        return self


def _on_a_line(value: str, info: ValidationInfo) -> str:
    """The name of a run or line that the side pattern really has."""
    lines = setting_of(info).lines
    if lines and value not in lines:
        near = nearest(value, lines)
        hint = f"did you mean {near}?" if near else f"draw it under [side.lines]: {value} = [[...], ...]"
        says = "the side pattern has no such line"
        raise Trouble(Fault(says, shown(value), ", ".join(sorted(lines)), hint))
    return value


class PlanSection(Section):
    """[[plan]]: a half outline lying on one line of the side pattern."""

    name: Text = ""
    line: Annotated[Text, AfterValidator(_on_a_line)] = Field(examples=['"widest"'])
    half: PlanPoints = Field(examples=["[[0, 0], [60, 100], [500, 0]]"])


class ShapeSection(Section):
    """[shape]: the section where no section pattern is given."""

    crown_fullness: Annotated[float, number(0.0, 1.0)] = 2**0.5 - 1
    side_fullness: Annotated[float, number(0.0, 1.0)] = 2**0.5 - 1
    crown_lean: Angle = 0.0
    side_lean: Angle = 0.0
    lower_lean: Angle = 45.0
    lower_share: Share = 0.8


class SectionSection(Section):
    """[[section]]: a half outline across the tank, drawn, or given by its numbers."""

    name: Text = ""
    at: Place | None = None
    foot_x: Place | None = None
    head_x: Place | None = None
    half: SectionPoints | None = None
    shape: ShapeSection | None = None

    @model_validator(mode="after")
    def _one_place_one_shape(self) -> SectionSection:
        faults = []
        raked = (self.foot_x is not None, self.head_x is not None)
        if (self.at is not None) == any(raked) or (any(raked) and not all(raked)):
            given = [key for key in ("at", "foot_x", "head_x") if getattr(self, key) is not None]
            says = "it is not clear where this section stands"
            hint = "write at = 250 for an upright section, or foot_x and head_x for a raked one"
            faults.append(Fault(says, ", ".join(given) or "no place", "at, or foot_x with head_x", hint))
        if (self.half is None) == (self.shape is None):
            found = "neither" if self.half is None else "both"
            hint = "give the drawn half outline, or the shape's numbers"
            faults.append(Fault("a section is drawn or given by numbers", found, "half or shape", hint))
        if faults:
            raise Trouble(*faults)
        return self


class KneeSection(Section):
    """[knee]: a hollow for the knee in both sides."""

    outline: OutlinePoints = Field(examples=["[[300, 30], [420, 40], [400, 110], [310, 100]]"])
    depth: Small = Field(examples=["15"])
    blend: Small = Field(examples=["30"])


class TunnelSection(Section):
    """[tunnel]: the channel that clears the backbone."""

    backbone_front: Size = Field(examples=["38"], description="width of the backbone at the front")
    backbone_rear: Size = Field(examples=["38"], description="width of the backbone at the rear")
    side_room: Gap = Field(examples=["19"], description="clear room at each side of the backbone")
    top_room: Gap = Field(examples=["10"], description="clear room over the frame line")
    draw_in: Gap = 1.5
    closed_front: Place | None = None
    closed_rear: Place | None = None
    top: Annotated[str, choice("flat", "round", "arch")] = Field(
        default="flat", description="round: a half round as wide as the tunnel; arch: a shallow arch; both are rolled"
    )
    arch_rise: Gap = Field(default=0.0, description="of an arch: its middle over its edges, at the front")
    backbone: Annotated[str, choice("square", "round")] = Field(
        default="square", description="the backbone's section; counts for the room under a rounded top"
    )
    flange: Gap = Field(default=0.0, description="legs turned out under the floors, outside width; 0 for plain edges")
    past_front: Gap = Field(default=0.0, description="how far its metal runs on past the tank's front")
    past_rear: Gap = Field(default=0.0, description="how far its metal runs on past the tank's rear")

    @model_validator(mode="after")
    def _past_an_open_end(self, info: ValidationInfo) -> TunnelSection:
        """Only an end that is open runs on."""
        show = partial(show_length, unit=setting_of(info).unit)
        for end in ("front", "rear"):
            past, shut = getattr(self, f"past_{end}"), getattr(self, f"closed_{end}")
            if past and shut is not None:
                says, hint = f"a tunnel that is closed at the {end} does not run on past it", f"take past_{end} away"
                found, allowed = f"past_{end} = {show(past)} and closed_{end} = {show(shut)}", "one of the two"
                raise Trouble(Fault(says, found, allowed, hint, at=(f"past_{end}",)))
        return self

    @model_validator(mode="after")
    def _top_has_its_rise(self, info: ValidationInfo) -> TunnelSection:
        """An arch has a rise, lower than a half round; nothing else has one."""
        half, unit = self.backbone_front / 2 + self.side_room, setting_of(info).unit
        most = show_length(NEARLY_ROUND * half, unit)
        if self.top == "arch" and not 0 < self.arch_rise <= NEARLY_ROUND * half:
            says = "an arch needs a rise, and less than a half round has"
            hint = (
                f'{most} is {NEARLY_ROUND:.0%} of half the tunnel\'s width at the front; a half round is top = "round"'
            )
            found, allowed = f"arch_rise = {show_length(self.arch_rise, unit)}", f"more than 0, up to {most}"
            raise Trouble(Fault(says, found, allowed, hint, at=("arch_rise",)))
        if self.top != "arch" and self.arch_rise:
            says, hint = "only an arch has a rise", 'write top = "arch", or take arch_rise away'
            raise Trouble(Fault(says, f'arch_rise with top = "{self.top}"', 'top = "arch"', hint, at=("arch_rise",)))
        return self


class EndsSection(Section):
    """[ends]: how the end caps are made."""

    lip_front: Gap = Field(default=0.0, description="front cap's lip inside the skin, its outside width; 0: plain")
    lip_rear: Gap = Field(default=0.0, description="rear cap's lip inside the skin, its outside width; 0: plain")
    halves: Annotated[str, choice("neither", "front", "rear", "both")] = Field(
        default="neither", description="caps that are made as two mirrored halves, with a seam in the centre plane"
    )


class NeckSection(Section):
    """[neck]: the relief for the steering neck, a round cut about the steering axis, open to the front."""

    at: tuple[Place, Place] = Field(examples=["[-10, 120]"], description="any point of the steering axis")
    lean: Annotated[float, number(-45.0, 60.0, unit=" degrees")] = Field(
        examples=["24"], description="how far the axis leans back from the vertical"
    )
    radius: Annotated[float, length(high=300.0, low=5.0)] = Field(examples=["42"], description="clear radius about it")


class BumpOutSection(Section):
    """[[bump_out]]: a patch of metal set into the tank, or out of it, walled all round."""

    name: Text = Field(examples=['"coil"'])
    on: Annotated[str, choice("side", "leg", "top", "floor")] = Field(
        examples=['"leg"'], description="the skin's side, the tunnel's leg or top, or the floor"
    )
    outline: OutlinePoints = Field(
        examples=["[[250, 20], [340, 20], [340, 55], [250, 55]]"],
        description="its corners once round: [x, z] on side and leg, [x, out] on top and floor",
    )
    depth: Annotated[float, length(-150.0, 150.0)] = Field(
        examples=["12"], description="into the tank; negative: out of it"
    )
    corner_radius: Annotated[float, length(high=100.0, low=3.0)] = 10.0
    hand: Annotated[str, choice("both", "right", "left")] = "both"
    clears: Text = Field(default="", description="the name of the [[clear]] that it makes room for")


class ClearSection(Section):
    """[[clear]]: something the tank must miss, a round bar or a ball."""

    name: Text = Field(examples=['"steering neck"'])
    start: tuple[Place, Place, Place] = Field(alias="from", examples=["[-24, 0, 20]"])
    end: tuple[Place, Place, Place] | None = Field(default=None, alias="to")
    radius: Small = Field(examples=["24"])
    gap: Gap = Field(examples=["8"])
    both_sides: Flag = True


class SeamSection(Section):
    """[[division.seam]]: a seam drawn on the side or the plan pattern."""

    name: Text = Field(examples=['"shoulder seam"'])
    view: Annotated[str, choice("side", "plan")] = Field(examples=['"side"'])
    points: PointSet = Field(examples=["[[0, 90], [500, 90]]"])

    @model_validator(mode="before")
    @classmethod
    def _columns_by_view(cls, data: Any, info: ValidationInfo) -> Any:
        """Points are (x, z) on the side view and (x, out) on the plan."""
        if not isinstance(data, dict) or "points" not in data:
            return data
        columns = ("x", "out") if data.get("view") == "plan" else ("x", "z")
        try:
            points = points_field(columns, "path").func(data["points"], info)  # type: ignore[call-arg]
        except Trouble as trouble:
            moved = [_below(fault, "points") for fault in trouble.faults]
            raise Trouble(*moved) from trouble
        return {**data, "points": points}


def _below(fault: Fault, key: str) -> Fault:
    return Fault(**{**vars(fault), "at": (key, *fault.at)})


class DivisionSection(Section):
    """[division]: how the skin is divided."""

    scheme: Annotated[str, choice(*SCHEMES)] = "crown and sides"
    shoulder: Annotated[float, number(0.05, 0.95)] = 0.5
    seam: list[SeamSection] = Field(default_factory=list, max_length=20)


class JobFile(ShopSections):
    """All that may stand in ``job.toml``."""

    job: JobSection
    metal: MetalSection
    side: SideSection
    plan: list[PlanSection] = Field(min_length=1, max_length=10)
    section: list[SectionSection] = Field(default_factory=list, max_length=40)
    shape: ShapeSection = Field(default_factory=lambda: ShapeSection())
    knee: KneeSection | None = None
    tunnel: TunnelSection | None = None
    ends: EndsSection = Field(default_factory=lambda: EndsSection())
    neck: NeckSection | None = None
    bump_out: list[BumpOutSection] = Field(default_factory=list, max_length=10)
    outlet: list[OutletSection] = Field(default_factory=list, max_length=10)
    filler: FillerSection | None = None
    fitting: list[FittingSection] = Field(default_factory=list, max_length=30)
    clear: list[ClearSection] = Field(default_factory=list, max_length=40)
    division: DivisionSection = Field(default_factory=lambda: DivisionSection())
    quote: JobQuoteSection = Field(default_factory=lambda: JobQuoteSection())


def setting_for(data: dict[str, Any], setting: Setting) -> Setting:
    """The setting with the unit, the line names and the metal that the raw data of a job hold."""
    job, side, metal = data.get("job"), data.get("side"), data.get("metal")
    unit = job.get("unit") if isinstance(job, dict) else None
    lines = side.get("lines") if isinstance(side, dict) else None
    names = (*RUNS, *lines) if isinstance(lines, dict) else ()
    sure = unit in ("mm", "in")
    alloy = metal.get("alloy") if isinstance(metal, dict) else None
    return Setting(str(unit) if sure else "mm", setting.folder, sure, names, _known_metal(alloy))


def _known_metal(alloy: object) -> str:
    """The name of a metal of the table, "" for anything else."""
    from panels.errors import PanelsError
    from panels.metal import lookup_metal

    try:
        return lookup_metal(alloy).name if isinstance(alloy, str) else ""
    except PanelsError:
        return ""
