"""A customer's patterns as values: what was drawn on paper, in millimetres, before anything is made of it.

Words used here
    side pattern     the tank seen from its side: x rearwards from the front register mark, z up
    run              one of the four parts of its outline: top, bottom, front, rear
    line             a curve drawn on it from front to rear: ``widest``, ``frame``, ``style`` ...
    plan pattern     half outline lying on one line or run of the side pattern: (along, out), the first
                     measured *along that line*, so a raked or curved line makes the paper longer
    section pattern  half outline across the tank at a section line: (out, height)
    tunnel           the channel that clears the backbone; its sizes are those of the face towards the frame
    outside          patterns show the outside of the finished tank

Nothing here is checked beyond its shape; ``panels.agree`` says whether the papers fit one another.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np

from .curves import Curve

__all__ = [
    "BumpOut",
    "Clearance",
    "Division",
    "KneeRelief",
    "NeckRelief",
    "Outlet",
    "Patterns",
    "PlanPattern",
    "SeamLine",
    "SectionPattern",
    "SectionShape",
    "SidePattern",
    "TunnelPattern",
]

#: How far a conic section reaches from its chord towards the corner of its tangents, 0 to 1.
#: An ellipse has sqrt(2) - 1 = 0.414; 0.5 is a parabola (conic lofting).
ELLIPSE_FULLNESS = 2**0.5 - 1


@dataclass(frozen=True)
class SidePattern:
    """Outline in the centre plane: runs as curves (x, z), top and bottom from front to rear, ends upwards."""

    top: Curve
    bottom: Curve
    front: Curve
    rear: Curve
    lines: Mapping[str, Curve]

    def line(self, name: str) -> Curve:
        """The run or drawn line of that name; KeyError if there is none."""
        runs = {"top": self.top, "bottom": self.bottom, "front": self.front, "rear": self.rear}
        return {**self.lines, **runs}[name]


@dataclass(frozen=True)
class PlanPattern:
    """Half outline (along, out), mm, lying on the side pattern's line of that name."""

    name: str
    line: str
    half: Curve


@dataclass(frozen=True)
class SectionShape:
    """Shape of a section where no pattern gives it.

    ``crown_fullness`` and ``side_fullness`` are conic fullnesses (0..1, ellipse 0.414) from top to widest
    point and from there to the lower edge; ``crown_lean_deg`` and ``side_lean_deg`` lean the section in
    from the vertical at the widest point, above and below it: not zero makes the style line a crease.
    ``lower_share`` is the lower edge's half width as a share of the widest where no plan gives it.
    """

    crown_fullness: float = ELLIPSE_FULLNESS
    side_fullness: float = ELLIPSE_FULLNESS
    crown_lean_deg: float = 0.0
    side_lean_deg: float = 0.0
    lower_lean_deg: float = 45.0
    lower_share: float = 0.8


@dataclass(frozen=True)
class SectionPattern:
    """Half outline across the tank at a section line.

    ``foot`` and ``head`` (x, z) are the section line's ends on bottom and top run in the side view.
    ``half`` is (out, up), mm, from the top at the centre plane to the lower edge; ``up`` is z for an
    upright line, else the distance up the line from its foot. ``shape`` serves where ``half`` is None.
    """

    name: str
    foot_x: float
    head_x: float
    half: Curve | None = None
    shape: SectionShape | None = None

    @property
    def title(self) -> str:
        """Its name, with the word "section" before it where the name does not have it."""
        return self.name if "section" in self.name.lower() else f"section {self.name}"


@dataclass(frozen=True)
class KneeRelief:
    """A hollow in both sides: outline (n, 2) on the side pattern, depth, and width of its slope, mm.

    It is sunk into the tank that the other papers show: plan and sections are drawn without it. A knee
    relief that the section patterns show already needs no outline.
    """

    outline: np.ndarray
    depth: float
    blend: float


@dataclass(frozen=True)
class NeckRelief:
    """Room for the steering neck: a round cut about the steering axis, open towards the front.

    ``at`` (x, z) is any point of the axis, ``axis_deg`` how far the axis leans back from the upright (its
    top lies further to the rear), ``radius`` the clear radius about it, mm. Ahead of the axis the cut runs
    straight out as wide as it is at the axis, so that the tank goes over the neck.
    """

    at: tuple[float, float]
    axis_deg: float
    radius: float


@dataclass(frozen=True)
class BumpOut:
    """A patch of metal set in or out, walled all round: room for a carburettor, a coil or a bracket.

    ``on`` is what it lies on: "side" (the skin) and "leg" (of the tunnel), with ``outline`` (n, 2) as (x, z) on
    the side pattern; "top" (of the tunnel) and "floor", with the outline as (x, out) seen in plan. ``depth`` in mm
    is into the tank, negative out of it: square to the centre plane on side and leg, straight up on top and
    floor. Outline and depth are those of the face away from the fuel; ``corner_radius`` rounds its corners.
    ``hand`` is "right", "left" or "both"; a patch that crosses the centre plane is one. ``clears`` names the
    `Clearance` that it is there for, "" for none.
    """

    name: str
    on: str
    outline: np.ndarray
    depth: float
    corner_radius: float = 10.0
    hand: str = "both"
    clears: str = ""


@dataclass(frozen=True)
class TunnelPattern:
    """Clear sizes of the tunnel, mm: backbone widths, room at each side and over the frame line.

    ``closed_front_x`` and ``closed_rear_x`` are where the tunnel stops inside the tank with an upright end
    wall of its own; None where it runs out through that end. The widths are those at the tunnel's ends.
    ``top`` is "flat", "round" (a half round, as wide as the tunnel) or "arch", which rises ``arch_rise`` in the
    middle at the front and in proportion to the width elsewhere. ``top_room`` is measured in the middle, where a
    rounded top is highest. ``backbone`` is the section of what it must clear, "round" or "square". ``past_front``
    and ``past_rear`` are how far its metal runs on past the tank at an open end.
    """

    backbone_front: float
    backbone_rear: float
    side_room: float
    top_room: float
    draw_in: float = 1.5  # weld draw-in a side; common practice, no source
    closed_front_x: float | None = None
    closed_rear_x: float | None = None
    top: str = "flat"
    arch_rise: float = 0.0
    backbone: str = "square"
    past_front: float = 0.0
    past_rear: float = 0.0

    @property
    def half_front(self) -> float:
        """Half the clear width at the front end, mm."""
        return self.backbone_front / 2 + self.side_room

    @property
    def half_rear(self) -> float:
        """Half the clear width at the rear end, mm."""
        return self.backbone_rear / 2 + self.side_room


@dataclass(frozen=True)
class Clearance:
    """Something the tank must miss: a round bar from ``start`` to ``end`` (x, y, z) of that radius, mm.

    A point (start equal to end) is a ball. ``both_sides`` mirrors it. ``gap`` is the wanted clear distance.
    """

    name: str
    start: tuple[float, float, float]
    end: tuple[float, float, float]
    radius: float
    gap: float
    both_sides: bool = True


@dataclass(frozen=True)
class Outlet:
    """Where fuel leaves: x from the front, out from the centre plane, and height of its standpipe, mm."""

    x: float
    out: float
    standpipe: float = 0.0
    both_sides: bool = True


@dataclass(frozen=True)
class SeamLine:
    """A seam drawn on the side pattern (x, z) or the plan (x, out), dividing the skin where it runs."""

    name: str
    view: str  # "side" or "plan"
    path: Curve


@dataclass(frozen=True)
class Division:
    """How the skin is divided: a named scheme and any seam lines drawn besides.

    Schemes: ``halves`` (left and right, one seam along the top), ``crown and sides`` (a strip over the
    top between two shoulder seams, and two sides), ``crown, shoulders and sides`` (the same with the
    sides parted once more at the widest line), ``widest line`` (a top skin and two sides that meet at
    the widest line), ``drawn`` (only the seam lines; left and right stay one piece where no line
    parts them). ``halved_ends`` are the ends, "front" and "rear", whose cap is made as two mirrored halves.
    """

    scheme: str = "crown and sides"
    shoulder: float = 0.5  # where the shoulder seams lie between centre (0) and widest line (1), by girth
    seams: tuple[SeamLine, ...] = ()
    halved_ends: tuple[str, ...] = ()


@dataclass(frozen=True)
class Patterns:
    """Everything the customer sent, in mm."""

    side: SidePattern
    plans: tuple[PlanPattern, ...]
    tunnel: TunnelPattern | None = None
    sections: tuple[SectionPattern, ...] = ()
    shape: SectionShape = field(default_factory=SectionShape)
    knee: KneeRelief | None = None
    clearances: tuple[Clearance, ...] = ()
    outlets: tuple[Outlet, ...] = ()
    neck: NeckRelief | None = None
    bump_outs: tuple[BumpOut, ...] = ()

    def plan_on(self, line: str) -> PlanPattern | None:
        """The first plan pattern that lies on the side pattern's line of that name."""
        return next((plan for plan in self.plans if plan.line == line), None)
