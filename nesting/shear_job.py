"""A shear job in whole numbers: which boxes each piece may have on each sheet.

Words used here
    unit     the length that one whole number stands for, mm. Where every box is a whole number of
    millimetres, of tenths,
             of 1/64 inch ... it is that; otherwise 0.01 mm, boxes rounded up.
    box      bounding rectangle of a part at one allowed turn, the gap added on both sides' worth: (w + gap, h + gap).
             A sheet gains one gap too, so a row of boxes fits exactly when the parts fit with gaps between them only.
    kind     parts that have the same boxes on every sheet and the same priority
    look     sheets on which every kind has the same boxes share a look; a sheet may be turned in its diagonal
             to share one
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property

from shapely import minimum_rotated_rectangle
from shapely.geometry import Polygon, box

from ._guillotine import NO_LIMIT
from .model import Part, Rotations, Sheet, Unplaced, allowed_turns, place_outline
from .offcuts import largest_rectangle

__all__ = ["Job", "Kind", "Stock", "Wishes", "make_job"]

UNITS_MM = (1.0, 0.5, 0.25, 0.1, 25.4 / 16, 25.4 / 32, 25.4 / 64, 0.05, 0.02, 0.01)
SLACK = 1e-6  # of a unit: keeps 0.1 + 0.2 from being rounded up
NEVER = (1 << 24, 1 << 24)  # the box of a part that this shear cannot cut: larger than any sheet
Box = tuple[int, int]


@dataclass(frozen=True)
class Stock:
    """One size of sheet in units. ``corner`` is the usable rectangle's lower left corner, ``room`` its real size, mm.

    ``w`` and ``h`` are in the frame of ``look``, so swapped where ``turned``.
    """

    sheet: Sheet
    corner: tuple[float, float]
    room: tuple[float, float]
    w: int
    h: int
    look: int
    turned: bool
    price: float
    limit: int | None
    whole: bool

    @property
    def area(self) -> int:
        """Square units."""
        return self.w * self.h


@dataclass(frozen=True)
class Kind:
    """Interchangeable pieces. ``choices[look]`` their boxes there; ``parts`` the part of each copy."""

    choices: tuple[tuple[Box, ...], ...]
    parts: tuple[int, ...]
    worth: float
    area: int


@dataclass(frozen=True)
class Wishes:
    """What else counts: the order of preference after cost, offcuts worth keeping, edges to be squared; mm, mm2."""

    prefer: tuple[str, ...] = ("offcuts", "largest", "cuts", "length")
    keep_side_mm: float = 0.0
    keep_area_mm2: float = 0.0
    squaring_mm: float = 0.0


@dataclass(frozen=True)
class Job:
    """Everything the search needs. ``turns[part, sheet]`` maps a box on that sheet, mm frame, to the turn that
    gives it."""

    parts: tuple[Part, ...]
    stocks: tuple[Stock, ...]
    kinds: tuple[Kind, ...]
    looks: int
    unit: float
    exact: bool
    gap_mm: float
    longest: int
    longest_mm: float
    turns: dict[tuple[int, int], dict[Box, float]]
    hopeless: tuple[Unplaced, ...]
    wishes: Wishes

    @cached_property
    def measured(self) -> dict[tuple, tuple[int, float]]:
        """Number and length of the cuts of sheets looked at so far; see ``shear_cuts.measure``."""
        return {}

    @property
    def counts(self) -> list[int]:
        """Copies of each kind."""
        return [len(kind.parts) for kind in self.kinds]

    def choices(self, look: int) -> list[tuple[Box, ...]]:
        """Boxes of every kind in this look."""
        return self._by_look[look]

    @cached_property
    def _by_look(self) -> list[list[tuple[Box, ...]]]:
        return [[kind.choices[look] for kind in self.kinds] for look in range(self.looks)]


def make_job(
    parts: tuple[Part, ...],
    sheets: tuple[Sheet, ...],
    *,
    gap_mm: float,
    edge_mm: float,
    longest_mm: float | None = None,
    rotations: Rotations = None,
    wishes: Wishes | None = None,
) -> Job:
    """Boxes of all parts on all sheets, sorted into kinds and looks; parts that fit nowhere come out as hopeless."""
    wishes = wishes or Wishes()
    most_mm = math.inf if longest_mm is None else longest_mm
    real = {
        (p, s): _real_boxes(part, sheet, rotations) for p, part in enumerate(parts) for s, sheet in enumerate(sheets)
    }
    sizes = [v + gap_mm for boxes in real.values() for w, h, _ in boxes for v in (w, h)]
    unit, exact = _unit(sizes)
    rooms = [_usable(sheet, edge_mm, wishes.squaring_mm) for sheet in sheets]
    for s, sheet in enumerate(sheets):
        if min(sheet.width, sheet.height) > most_mm:  # no first cut is short enough
            rooms[s] = (*rooms[s][:2], 0.0, 0.0)
    units = [_whole_units(room, gap_mm, unit) for room in rooms]
    turns = {
        (p, s): _padded([one for one in boxes if max(one[:2]) <= most_mm + 1e-6], gap_mm, unit, rooms[s], units[s])
        for (p, s), boxes in real.items()
    }
    # A cut is as long as the cell it goes through: the node's boxes, at most one gap more, and both margins.
    margin = max([room[i] for room in rooms for i in (0, 1)] + [edge_mm]) + edge_mm
    longest = NO_LIMIT if longest_mm is None else math.floor((most_mm - margin - gap_mm) / unit + SLACK)
    lost = {
        p
        for p in range(len(parts))
        if not any(
            sheet.quantity != 0 and any(w <= units[s][0] and h <= units[s][1] for w, h in turns[p, s])
            for s, sheet in enumerate(sheets)
        )
    }
    hopeless = tuple(
        Unplaced(part, _why_hopeless(part, sheets, rooms, real, p, unit, most_mm), part.quantity)
        for p, part in enumerate(parts)
        if part.quantity and p in lost
    )
    lowest = min([0.0, *(float(part.priority) for part in parts)])
    groups: dict[tuple, list[int]] = {}
    for p, part in enumerate(parts):
        if part.quantity and p not in lost:
            key = (tuple(tuple(sorted(turns[p, s])) for s in range(len(sheets))), float(part.priority) - lowest)
            groups.setdefault(key, []).extend([p] * part.quantity)
    keys = sorted(groups, key=lambda key: (-_area(key[0]), key))
    looks, placing = _looks([[key[0][s] for key in keys] for s in range(len(sheets))])
    stocks = tuple(_stock(sheet, rooms[s], units[s], *placing[s]) for s, sheet in enumerate(sheets))
    kinds = tuple(
        Kind(tuple(look[k] for look in looks), tuple(groups[key]), key[1], _area(key[0])) for k, key in enumerate(keys)
    )
    return Job(parts, stocks, kinds, len(looks), unit, exact, gap_mm, longest, most_mm, turns, hopeless, wishes)


def _stock(
    sheet: Sheet, room: tuple[float, float, float, float], size: tuple[int, int], look: int, turned: bool
) -> Stock:
    w, h = size[::-1] if turned else size
    return Stock(
        sheet,
        corner=room[:2],
        room=room[2:],
        w=w,
        h=h,
        look=look,
        turned=turned,
        price=float(sheet.price),
        limit=sheet.quantity,
        whole=sheet.quantity is None and sheet.outline is None,
    )


def _whole_units(room: tuple[float, float, float, float], gap_mm: float, unit: float) -> tuple[int, int]:
    """The usable rectangle and one gap in whole units; 0 x 0 if there is none."""
    if min(room[2:]) <= 0:
        return 0, 0
    return math.floor((room[2] + gap_mm) / unit + SLACK), math.floor((room[3] + gap_mm) / unit + SLACK)


def _area(boxes_by_sheet: tuple[tuple[Box, ...], ...]) -> int:
    return min(w * h for boxes in boxes_by_sheet for w, h in boxes)


def _real_boxes(part: Part, sheet: Sheet, rotations: Rotations) -> list[tuple[float, float, float]]:
    """(width, height, turn) at every turn worth trying, mm, lowest turn first."""
    turns = allowed_turns(part, sheet, rotations)
    if turns is None:
        lean = _least_rectangle_deg(part)
        turns = (0.0, 90.0) if lean == 0.0 else (0.0, lean, 90.0, lean + 90.0)
    out = []
    for turn in turns:
        x0, y0, x1, y1 = place_outline(part, turn).bounds
        out.append((x1 - x0, y1 - y0, turn))
    return out


def _least_rectangle_deg(part: Part) -> float:
    """Turn in 0..90 degrees that brings the least bounding rectangle level; 0 unless it saves 0.1 % of area."""
    rectangle = minimum_rotated_rectangle(part.outline)
    assert isinstance(rectangle, Polygon)
    x0, y0, x1, y1 = part.outline.bounds
    if rectangle.area > 0.999 * (x1 - x0) * (y1 - y0):
        return 0.0
    (ax, ay), (bx, by) = list(rectangle.exterior.coords)[:2]
    return -math.degrees(math.atan2(by - ay, bx - ax)) % 90.0


def _unit(sizes: list[float]) -> tuple[float, bool]:
    for unit in UNITS_MM:
        if all(abs(size / unit - round(size / unit)) < SLACK for size in sizes):
            return unit, True
    return UNITS_MM[-1], False


def _usable(sheet: Sheet, edge_mm: float, squaring_mm: float) -> tuple[float, float, float, float]:
    """Corner and size of the rectangle that may be cut up, mm; size 0 if there is none."""
    low = max(edge_mm, squaring_mm)
    if sheet.outline is None and not sheet.blocked:
        return low, low, max(0.0, sheet.width - edge_mm - low), max(0.0, sheet.height - edge_mm - low)
    free = sheet.usable(edge_mm).intersection(box(low, low, sheet.width, sheet.height))
    rectangle = largest_rectangle(free)
    if rectangle is None:
        return low, low, 0.0, 0.0
    x0, y0, x1, y1 = rectangle.bounds
    return x0, y0, x1 - x0, y1 - y0


def _padded(
    boxes: list[tuple[float, float, float]],
    gap_mm: float,
    unit: float,
    room: tuple[float, float, float, float],
    sheet: tuple[int, int],
) -> dict[Box, float]:
    """Boxes in units, none larger than another both ways, each with its turn. Some may be too large for the sheet.

    A part that just fits the sheet is not rounded up beyond it.
    """
    found: dict[Box, float] = {}
    for w, h, turn in boxes:
        w_units, h_units = (math.ceil((v + gap_mm) / unit - SLACK) for v in (w, h))
        if w <= room[2] + SLACK * unit and 0 < sheet[0] < w_units:
            w_units = sheet[0]
        if h <= room[3] + SLACK * unit and 0 < sheet[1] < h_units:
            h_units = sheet[1]
        found.setdefault((w_units, h_units), turn)
    if not found:
        return {NEVER: 0.0}
    return {
        (w, h): turn
        for (w, h), turn in found.items()
        if not any((a <= w and b <= h) and (a, b) != (w, h) for a, b in found)
    }


def _looks(boxes: list[list[tuple[Box, ...]]]) -> tuple[list[list[tuple[Box, ...]]], list[tuple[int, bool]]]:
    """Distinct looks, and for every sheet its look and whether it must be turned in the diagonal for it."""
    looks: list[list[tuple[Box, ...]]] = []
    placing: list[tuple[int, bool]] = []
    for look in boxes:
        turned = [tuple(sorted((h, w) for w, h in kind)) for kind in look]
        if look in looks:
            placing.append((looks.index(look), False))
        elif turned in looks:
            placing.append((looks.index(turned), True))
        else:
            looks.append(look)
            placing.append((len(looks) - 1, False))
    return looks, placing


def _why_hopeless(
    part: Part, sheets: tuple[Sheet, ...], rooms: list, real: dict, p: int, unit: float, most_mm: float
) -> str:
    """One sentence: the part's size, the most roomy sheet, by how much it is too big."""
    have = [s for s, sheet in enumerate(sheets) if sheet.quantity != 0]
    if not have:
        return f"{part.name} has no sheet to go on: no sheet is left in stock"
    if all(min(sheets[s].width, sheets[s].height) > most_mm for s in have):
        return f"{part.name}: the shear cuts {most_mm:.1f} mm at most, less than the shorter side of every sheet"
    options = [(w, h, s) for s in have for w, h, _ in real[p, s]]
    if all(max(w, h) > most_mm for w, h, _ in options):
        w, h, _ = min(options, key=lambda option: max(option[:2]))
        return (
            f"{part.name} is {w:.1f} x {h:.1f} mm as it may be turned: it needs a cut of {max(w, h):.1f} mm and the "
            f"shear cuts {most_mm:.1f} mm at most"
        )
    over, w, h, s = min((max(w - rooms[s][2], h - rooms[s][3]), w, h, s) for w, h, s in options)
    return (
        f"{part.name} is {w:.1f} x {h:.1f} mm as it may be turned; the sheet nearest to holding it is "
        f"{sheets[s].name}, {sheets[s].width:.1f} x {sheets[s].height:.1f} mm, of which {rooms[s][2]:.1f} x "
        f"{rooms[s][3]:.1f} mm is usable: too big by {max(over, unit):.1f} mm"
    )
