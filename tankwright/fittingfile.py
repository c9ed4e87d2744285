"""What a job file may say of fittings: filler, outlets, and vents, bungs, mounts and brackets with their doublers."""

from __future__ import annotations

from typing import Annotated

from pydantic import AfterValidator, Field, model_validator

from .fields import Fault, Flag, Gap, Place, Small, Text, Trouble, choice
from .models import THICKEST_MM, THINNEST_MM, Section, Thickness, alloy_name

__all__ = ["FITTING_ON", "DoublerSection", "FillerSection", "FittingSection", "OutletSection"]

#: Least metal beside the hole of a doubler, mm. Common practice, no source.
LEAST_WEB_MM = 3.0

#: What a [[fitting]] may be, and what it lies on where it does not say.
FITTING_ON = {"filler": "top", "vent": "top", "bung": "floor", "mount": "tunnel", "bracket": "tunnel"}


class OutletSection(Section):
    """[[outlet]]: where fuel leaves."""

    name: Text = "outlet"
    x: Place = Field(examples=["450"])
    out: Place = Field(examples=["60"])
    standpipe: Gap = 0.0
    both_sides: Flag = True
    diameter: Gap = Field(default=0.0, description="of its hole; left away: a scribed cross")
    flange: Gap = Field(default=0.0, description="diameter of the bung's flange or boss round the hole")
    cut: Flag = Field(default=False, description="true: cut the hole in the blank; else it is scribed")

    @model_validator(mode="after")
    def _flange_round_hole(self) -> OutletSection:
        if faults := _flange_faults(self.diameter, self.flange):
            raise Trouble(*faults)
        return self


class FillerSection(Section):
    """[filler]: the filler neck."""

    x: Place = Field(examples=["160"])
    out: Place = 0.0
    diameter: Small = Field(examples=["60"])
    flange: Gap = Field(default=0.0, description="diameter of the neck's flange round the hole")
    cut: Flag = Field(default=False, description="true: cut the hole in the blank; else it is scribed")

    @model_validator(mode="after")
    def _flange_round_hole(self) -> FillerSection:
        if faults := _flange_faults(self.diameter, self.flange):
            raise Trouble(*faults)
        return self


class DoublerSection(Section):
    """[fitting.doubler]: a plate welded on the outside under a fitting, round or with rounded corners."""

    diameter: Small | None = None
    size: tuple[Small, Small] | None = Field(default=None, description="along the tank and across it")
    corner_radius: Gap = 6.0
    alloy: Annotated[str, AfterValidator(lambda value: alloy_name(value) if value else "")] = ""
    thickness: Annotated[float | None, Thickness("alloy", THINNEST_MM, 2 * THICKEST_MM)] = None
    hole: Gap = Field(default=0.0, description="diameter of the hole in its middle; 0 for none")

    @model_validator(mode="after")
    def _one_shape(self) -> DoublerSection:
        if (self.diameter is None) == (self.size is None):
            found = "neither" if self.size is None else "both"
            hint = "a diameter for a round one, size = [60, 40] for one with corners"
            raise Trouble(Fault("a doubler is round, or has a length and a width", found, "diameter or size", hint))
        least = self.diameter if self.size is None else min(self.size)
        if self.hole >= (least or 0.0) - 2 * LEAST_WEB_MM:
            hint = f"leave at least {LEAST_WEB_MM:g} mm of metal beside it (common practice)"
            found, allowed = f"hole {self.hole:g} mm", f"less than {(least or 0.0) - 2 * LEAST_WEB_MM:g} mm"
            raise Trouble(Fault("the hole leaves too little of the doubler", found, allowed, hint, at=("hole",)))
        return self


class FittingSection(Section):
    """[[fitting]]: a vent, bung, mount or bracket, or one more filler, at a place or a mark of the side pattern."""

    name: Text = Field(min_length=1, examples=['"front mount"'])
    kind: Annotated[str, choice(*FITTING_ON)] = Field(examples=['"mount"'])
    on: Annotated[str | None, choice("top", "floor", "side", "tunnel", "tunnel top")] = None
    at: tuple[Place, Place] | None = Field(
        default=None, description="[x, z] on side and tunnel, [x, out] on top, floor and tunnel top"
    )
    mark: Text = Field(default="", description="a mark of the side pattern in place of at")
    hand: Annotated[str | None, choice("both", "right", "left")] = None
    diameter: Gap = Field(default=0.0, description="of its hole; left away: a scribed cross")
    flange: Gap = Field(default=0.0, description="diameter of the flange or boss that is welded round the hole")
    cut: Flag = Field(default=False, description="true: cut the hole in the blank; else it is scribed")
    doubler: DoublerSection | None = None

    @property
    def place(self) -> str:
        """What it lies on, by its kind where it does not say."""
        return self.on or FITTING_ON[self.kind]

    @model_validator(mode="after")
    def _one_place(self) -> FittingSection:
        faults = []
        if (self.at is None) == (not self.mark):
            hint = "write at = [48, 40], or mark = and the name of a mark under [side.marks]"
            found = "neither" if self.at is None else "both"
            faults.append(Fault("it is not clear where this fitting sits", found, "at or mark", hint))
        if self.mark and self.place not in ("side", "tunnel"):
            hint = "a mark of the side pattern gives x and z; write at = [x, out] there"
            faults.append(Fault("a mark places no fitting there", self.place, "side or tunnel", hint, at=("mark",)))
        faults += _flange_faults(self.diameter, self.flange)
        if faults:
            raise Trouble(*faults)
        return self


def _flange_faults(diameter: float, flange: float) -> list[Fault]:
    """A flange is larger than the hole in it."""
    if not flange or flange > diameter:
        return []
    hint = "diameter is that of the hole, flange that of the rim or boss round it"
    return [
        Fault(
            "the flange is no larger than its hole",
            f"{flange:g} mm",
            f"more than {diameter:g} mm",
            hint,
            at=("flange",),
        )
    ]
