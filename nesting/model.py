"""The values that go into a nest and come out of it.

Words used here
    sheet     a rectangle of stock, corner at the origin, width along x, height along y, mm. An
              offcut is a sheet too, with an outline of its own.
    grain     the rolling direction. On a part: the angle, in degrees in the part's own drawing, of
              the line that must lie along the sheet's grain (either way round); None where it does not matter.
    turn      counter-clockwise rotation in degrees, as placed against as drawn.
    flipped   turned face down: mirrored left to right (x becomes -x) *before* the turn.
    gap       least distance between the outlines of two parts on a sheet.
    edge      least distance from a part to the edge of its sheet, or to a blocked place.
    placed    a part's outline in its sheet's coordinates.
    skeleton  what is left of a sheet once parts and kept offcuts are taken out.

How the two ways of cutting hand over their work: ``shear.place_shear`` and
``profile.place_profile`` are both

    place(parts, sheets, *, gap_mm, edge_mm, seconds, seed, rotations, ...) -> Placement

``parts`` and ``sheets`` are tuples, already checked. ``Placement`` says which sheets are used, in
order, and where each copy of each part lies; ``nest`` checks it, works out costs, yields, offcuts
and cut lengths, and wraps it as a ``Layout``.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property

from shapely import affinity
from shapely.geometry import MultiPolygon, Polygon, box
from shapely.geometry.base import BaseGeometry

from .errors import BadPart, BadSheet

__all__ = [
    "Cut",
    "Layout",
    "Length",
    "Offcut",
    "Part",
    "Placed",
    "Placement",
    "Rotations",
    "Sheet",
    "Unplaced",
    "UsedSheet",
    "allowed_turns",
    "place_outline",
]

# One tuple of degrees for every part, or one per part name ("*" for the rest); None leaves it to
# the way of cutting.
Rotations = Sequence[float] | Mapping[str, Sequence[float]] | None

QUARTER_TURNS = (0.0, 90.0, 180.0, 270.0)
GRAIN_TOLERANCE_DEG = 0.05  # common practice, no source: far finer than anyone can lay a template


@dataclass(frozen=True)
class Part:
    """One flat part to be cut, ``quantity`` times.

    ``outline`` is a shapely polygon in mm; its holes are kept and count as open. ``grain`` see the
    module. ``may_flip`` allows it to be turned face down. ``priority`` is what a copy is worth when
    the sheets given do not hold everything: the sum of priorities left out is made least, and among
    equals the area left out.

    Raises ``BadPart`` (a ValueError) for an outline that is empty, crosses itself or is not finite.
    """

    name: str
    outline: Polygon
    quantity: int = 1
    grain: float | None = None
    may_flip: bool = False
    priority: float = 0

    def __post_init__(self) -> None:
        name = str(self.name)
        outline = self.outline
        if not isinstance(outline, BaseGeometry):
            try:
                points = [(float(x), float(y)) for x, y in outline]
                finite = all(math.isfinite(v) for point in points for v in point)
                outline = Polygon(points) if finite else Polygon()
            except (TypeError, ValueError) as fault:
                raise BadPart(name, f"its outline is not a polygon ({fault})") from fault
        if isinstance(outline, MultiPolygon) and len(outline.geoms) == 1:
            outline = outline.geoms[0]
        if not isinstance(outline, Polygon):
            raise BadPart(name, f"its outline is a {outline.geom_type}, not one polygon", "give one part per outline")
        if outline.is_empty or not all(map(math.isfinite, outline.bounds)):
            raise BadPart(name, "its outline is empty or has a point that is not a number")
        if not outline.is_valid:
            from shapely.validation import explain_validity

            raise BadPart(name, f"its outline crosses or touches itself: {explain_validity(outline)}")
        if not outline.area > 0:
            raise BadPart(name, "its outline has no area")
        if isinstance(self.quantity, bool) or int(self.quantity) != self.quantity or self.quantity < 0:
            raise BadPart(name, f"quantity is {self.quantity!r}; a whole number of at least 0 is needed")
        for label, value in (("grain", self.grain), ("priority", self.priority)):
            if value is not None and not math.isfinite(value):
                raise BadPart(name, f"{label} is {value!r}, not a number")
        object.__setattr__(self, "name", name)
        object.__setattr__(self, "outline", outline)
        object.__setattr__(self, "quantity", int(self.quantity))


@dataclass(frozen=True)
class Sheet:
    """One size of stock, or one offcut.

    ``width`` along x and ``height`` along y in mm; ``price`` each; ``quantity`` how many there are,
    None for as many as needed. ``grain`` is "long" (along the longer side; along x when square),
    "x", "y", or None (no direction: any turn is allowed). ``outline`` is the real shape of an
    offcut, inside the rectangle 0..width x 0..height; holes in it are holes in the metal. ``origin`` is a
    word of the caller's for where it comes from; it travels with the sheet and changes nothing.
    ``blocked`` are polygons where nothing may lie: damage, clamps.

    Raises ``BadSheet`` (a ValueError).
    """

    name: str
    width: float
    height: float
    price: float = 0
    quantity: int | None = None
    grain: str | None = "long"
    outline: Polygon | None = None
    blocked: tuple[Polygon, ...] = ()
    origin: str = ""

    def __post_init__(self) -> None:
        name = str(self.name)
        for label in ("width", "height"):
            value = getattr(self, label)
            if not (math.isfinite(value) and value > 0):
                raise BadSheet(name, f"{label} is {value!r} mm; more than 0 is needed")
        if not (math.isfinite(self.price) and self.price >= 0):
            raise BadSheet(name, f"price is {self.price!r}; at least 0 is needed")
        if self.quantity is not None and (int(self.quantity) != self.quantity or self.quantity < 0):
            raise BadSheet(name, f"quantity is {self.quantity!r}; a whole number or None (no limit) is needed")
        if self.grain not in ("long", "x", "y", None):
            raise BadSheet(name, f"grain is {self.grain!r}; one of 'long', 'x', 'y', None is needed")
        blocked = tuple(self.blocked)
        for shape in (*blocked, *((self.outline,) if self.outline is not None else ())):
            if not isinstance(shape, (Polygon, MultiPolygon)) or not shape.is_valid or shape.is_empty:
                raise BadSheet(name, "its outline or a blocked place is not a sound polygon")
        if self.outline is not None:
            x0, y0, x1, y1 = self.outline.bounds
            if min(x0, y0) < -1e-6 or x1 > self.width + 1e-6 or y1 > self.height + 1e-6:
                raise BadSheet(
                    name,
                    f"its outline spans {x0:.1f}..{x1:.1f} x {y0:.1f}..{y1:.1f} mm, outside 0..{self.width:.1f} x "
                    f"0..{self.height:.1f} mm",
                    "move the outline so that its lower left corner is at 0, 0",
                )
        object.__setattr__(self, "name", name)
        object.__setattr__(self, "blocked", blocked)

    @property
    def grain_deg(self) -> float | None:
        """Direction of the grain: 0 along x, 90 along y, None if it has none."""
        if self.grain is None:
            return None
        if self.grain == "long":
            return 0.0 if self.width >= self.height else 90.0
        return 0.0 if self.grain == "x" else 90.0

    @property
    def metal(self) -> Polygon:
        """The metal there is: the outline, or the whole rectangle. Blocked places still count as metal."""
        return self.outline if self.outline is not None else box(0.0, 0.0, self.width, self.height)

    @property
    def area(self) -> float:
        """Area of the metal, mm2."""
        return float(self.metal.area)

    def usable(self, edge_mm: float) -> BaseGeometry:
        """Where a part may lie: the metal less the edge margin all round, less blocked places grown by it."""
        free: BaseGeometry = self.metal
        if edge_mm > 0:
            free = free.buffer(-edge_mm, join_style="mitre")
        for shape in self.blocked:
            free = free.difference(shape.buffer(edge_mm) if edge_mm > 0 else shape)
        return free


@dataclass(frozen=True)
class Placed:
    """One copy of a part as it lies: ``outline`` in the coordinates of physical sheet number ``sheet`` (from 0).

    ``piece`` is the label of its finished piece in ``Cut.makes`` (shear only).
    """

    part: Part
    sheet: int
    outline: Polygon
    turn_deg: float = 0.0
    flipped: bool = False
    piece: str = ""


@dataclass(frozen=True)
class Unplaced:
    """``count`` copies of a part left out, and ``why``, in a sentence for the person at the bench."""

    part: Part
    why: str
    count: int = 1


@dataclass(frozen=True)
class Cut:
    """One straight cut from edge to edge of the piece that is under the shear.

    ``piece`` is the label of the piece being cut: "2" is the second sheet, "2.5" the fifth piece
    made from it. ``makes`` are the labels of the two it becomes: the one measured off (nearer the
    sheet's origin), then the rest. ``axis`` "x": the blade stands along y, and ``distance`` (mm) is measured along x
    from the piece's left edge; "y": the blade lies along x, measured up from the lower edge.
    ``length`` is the length of the cut, mm; ``line`` its two ends on the sheet. ``purpose`` is
    "square" (squaring cut on a raw edge), "part" (sets parts apart) or "trim" (takes waste off).
    """

    order: int
    sheet: int
    piece: str
    axis: str
    distance: float
    length: float
    line: tuple[tuple[float, float], tuple[float, float]]
    makes: tuple[str, str]
    purpose: str = "part"


@dataclass(frozen=True)
class Offcut:
    """A piece worth keeping: its outline on the sheet it came from, mm.

    ``piece`` is its label in ``Cut.makes`` (shear only).
    """

    sheet: int
    outline: Polygon
    piece: str = ""

    @property
    def size(self) -> tuple[float, float]:
        """Width along x and height along y of its bounding rectangle, mm."""
        x0, y0, x1, y1 = self.outline.bounds
        return x1 - x0, y1 - y0

    @property
    def area(self) -> float:
        """mm2."""
        return float(self.outline.area)


@dataclass(frozen=True)
class UsedSheet:
    """One physical sheet of a layout and its areas in mm2: ``parts`` + ``offcuts`` + ``skeleton`` =
    ``sheet.area``."""

    index: int
    sheet: Sheet
    parts_area: float
    offcuts_area: float
    skeleton_area: float
    cut_length: float = 0.0
    pierces: int = 0

    @property
    def name(self) -> str:
        return self.sheet.name


@dataclass(frozen=True)
class Placement:
    """What a placer hands to ``nest``: ``used[i]`` is the stock of physical sheet i,
    ``placed[k].sheet`` points into it.

    ``bound`` is a proven lower bound on cost (on the number of sheets where all prices are 0),
    ``proven`` that it is reached. ``cuts`` and ``offcuts`` may be given where the placer knows them
    (shear does); None has them worked out.
    """

    placed: tuple[Placed, ...]
    used: tuple[Sheet, ...]
    unplaced: tuple[Unplaced, ...] = ()
    bound: float = 0.0
    proven: bool = False
    cuts: tuple[Cut, ...] | None = None
    offcuts: tuple[Offcut, ...] | None = None
    notes: tuple[str, ...] = ()
    stopped: bool = False


@dataclass(frozen=True)
class Layout:
    """A finished, checked nest.

    ``bound`` is a proven lower bound: on ``cost``, or on the number of sheets where every price is
    0 (``bound_of`` says which). ``proven`` is true when nothing can be cheaper in this way of
    cutting. ``cuts`` are the ordered edge-to-edge cuts (shear only); ``cut_length`` mm and
    ``pierces`` serve both ways. ``stopped`` is true when the search was interrupted and this is the
    best found until then.
    """

    cutting: str
    placed: tuple[Placed, ...]
    sheets: tuple[UsedSheet, ...]
    unplaced: tuple[Unplaced, ...]
    cost: float
    bound: float
    bound_of: str
    proven: bool
    yield_whole: float
    yield_with_offcuts: float
    offcuts: tuple[Offcut, ...]
    cuts: tuple[Cut, ...]
    cut_length: float
    pierces: int
    gap_mm: float = 0.0
    edge_mm: float = 0.0
    stopped: bool = False
    notes: tuple[str, ...] = field(default=())

    def on_sheet(self, index: int) -> tuple[Placed, ...]:
        """The parts on physical sheet ``index``, in the order placed."""
        return tuple(item for item in self.placed if item.sheet == index)

    @cached_property
    def sheet_area(self) -> float:
        """mm2 of metal bought or taken from the rack."""
        return math.fsum(used.sheet.area for used in self.sheets)

    @cached_property
    def parts_area(self) -> float:
        """mm2 in parts."""
        return math.fsum(used.parts_area for used in self.sheets)


@dataclass(frozen=True)
class Length:
    """The shortest sheet of a given width found for a set of parts, cut edge to edge.

    ``length_mm`` with its ``layout``; ``bound_mm`` no length can be under; ``proven`` when they meet.
    """

    length_mm: float
    bound_mm: float
    proven: bool
    layout: Layout


# Anything that wants to watch a search: called with each better Placement as it is found.
OnBetter = Callable[[Placement], None]


def allowed_turns(part: Part, sheet: Sheet, rotations: Rotations, *, flipped: bool = False) -> tuple[float, ...] | None:
    """Turns in degrees, 0 <= turn < 360, that ``part`` may have on ``sheet``; None where any turn
    will do.

    Grain decides where both have it: the two turns that lay the part's grain along the sheet's,
    whatever ``rotations`` says, less one of them if ``rotations`` names only the other. Otherwise
    ``rotations`` decides. A flipped part's grain runs at the mirror image of its angle.
    """
    wanted: Sequence[float] | None
    if isinstance(rotations, Mapping):
        wanted = rotations.get(part.name, rotations.get("*"))
    else:
        wanted = rotations
    named = None if wanted is None else tuple(sorted({float(turn) % 360.0 for turn in wanted}))
    if part.grain is None or sheet.grain_deg is None:
        return named
    first = (sheet.grain_deg - (-part.grain if flipped else part.grain)) % 180.0
    if 180.0 - first < 1e-9:
        first = 0.0
    pair = (first, first + 180.0)
    if named is None:
        return pair
    kept = tuple(turn for turn in pair if any(_apart_deg(turn, other) <= GRAIN_TOLERANCE_DEG for other in named))
    return kept or pair


def _apart_deg(a: float, b: float) -> float:
    """Least angle between two directions, degrees."""
    return abs((a - b + 180.0) % 360.0 - 180.0)


def place_outline(
    part: Part, turn_deg: float, flipped: bool = False, corner: tuple[float, float] | None = None
) -> Polygon:
    """The part's outline flipped, then turned about its origin, then moved so that its bounding box
    starts at ``corner``.

    Quarter turns are exact. With ``corner`` None it is not moved. The caller flips only parts whose
    ``may_flip`` is true.
    """
    shape = part.outline
    quarters = turn_deg / 90.0
    quarter = round(quarters) % 4 if abs(quarters - round(quarters)) < 1e-12 else None
    mirror = -1.0 if flipped else 1.0
    if quarter is not None:
        c, s = ((1.0, 0.0), (0.0, 1.0), (-1.0, 0.0), (0.0, -1.0))[quarter]
    else:
        c, s = math.cos(math.radians(turn_deg)), math.sin(math.radians(turn_deg))
    if flipped or quarter != 0:
        shape = affinity.affine_transform(shape, (c * mirror, -s, s * mirror, c, 0.0, 0.0))
    if corner is not None:
        x0, y0, _, _ = shape.bounds
        shape = affinity.translate(shape, corner[0] - x0, corner[1] - y0)
    return shape
