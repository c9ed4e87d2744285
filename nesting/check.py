"""Go over a finished layout with independent geometry: nothing here trusts how the layout was made.

Every layout that ``nest`` returns has been through ``check_layout``. What it finds is our own fault, so it raises
``LayoutFault`` with the rule, the parts, the sheet and the two numbers.
"""

from __future__ import annotations

import math
from collections import Counter

import numpy as np
import shapely
from shapely import affinity

from .errors import LayoutFault
from .model import GRAIN_TOLERANCE_DEG, Layout, Part, Placed, Rotations, Sheet, allowed_turns, place_outline

__all__ = ["check_layout"]

LENGTH_MM = 1e-3  # rounding that may build up over a row of placed parts
AREA_SHARE = 1e-3  # the areas must tie within 0.1 %
SPARE_MM = 0.25  # waste that may stay on a part besides the gap: less than anyone trims on a hand shear
SHAPE_MM = 1e-4  # placed outline against the part's own

Rect = tuple[float, float, float, float]


def check_layout(
    layout: Layout,
    parts: tuple[Part, ...],
    sheets: tuple[Sheet, ...],
    rotations: Rotations = None,
    *,
    longest_cut_mm: float | None = None,
) -> None:
    """Raise ``LayoutFault`` unless the layout keeps every rule.

    Counts (every copy placed or named as left out, no sheet used more often than there are), shapes and
    turns, grain, inside
    the sheet with the edge margin, clear of blocked places, gaps between outlines, areas that tie, and for the
    shear: the cuts, followed one by one from whole sheets, leave every part alone in its piece and touch none.
    """
    _check_counts(layout, parts, sheets)
    for item in layout.placed:
        _check_shape(item)
        _check_turn(item, layout.sheets[item.sheet].sheet, rotations)
    for used in layout.sheets:
        on_it = layout.on_sheet(used.index)
        _check_inside(on_it, used.sheet, used.index, layout.edge_mm)
        _check_gaps(on_it, used.index, layout.gap_mm)
        tied = used.parts_area + used.offcuts_area + used.skeleton_area
        if (
            abs(tied - used.sheet.area) > AREA_SHARE * used.sheet.area
            or used.skeleton_area < -AREA_SHARE * used.sheet.area
        ):
            raise LayoutFault("areas", (used.name,), used.index, tied, used.sheet.area)
        _check_offcuts(layout, used.index, on_it)
    if layout.cutting == "shear":
        _check_cuts(layout)
        for cut in layout.cuts:
            if longest_cut_mm is not None and cut.length > longest_cut_mm + LENGTH_MM:
                raise LayoutFault("cuts", (cut.piece,), cut.sheet, cut.length, longest_cut_mm, "Longer than the shear.")


def _check_counts(layout: Layout, parts: tuple[Part, ...], sheets: tuple[Sheet, ...]) -> None:
    have = Counter(id(item.part) for item in layout.placed)
    for loose in layout.unplaced:
        have[id(loose.part)] += loose.count
    wanted: Counter[int] = Counter()
    for part in parts:
        wanted[id(part)] += part.quantity
    for part in parts:
        if have[id(part)] != wanted[id(part)]:
            raise LayoutFault("count", (part.name,), None, have[id(part)], wanted[id(part)])
    taken = Counter(id(used.sheet) for used in layout.sheets)
    for sheet in sheets:
        if sheet.quantity is not None and taken[id(sheet)] > sheet.quantity:
            raise LayoutFault("count", (sheet.name,), None, taken[id(sheet)], sheet.quantity)


def _check_shape(item: Placed) -> None:
    """The placed outline is the part's own, flipped and turned as said and moved."""
    x0, y0, _, _ = item.outline.bounds
    wanted = place_outline(item.part, item.turn_deg, item.flipped, (x0, y0))
    off = shapely.hausdorff_distance(wanted, item.outline)
    if off > SHAPE_MM or abs(wanted.area - item.outline.area) > 1e-6 * wanted.area + 1e-6:
        raise LayoutFault("outline", (item.part.name,), item.sheet, off, 0.0)
    if item.flipped and not item.part.may_flip:
        raise LayoutFault("turn", (item.part.name,), item.sheet, 1.0, 0.0, "It lies face down and may not.")


def _check_turn(item: Placed, sheet: Sheet, rotations: Rotations) -> None:
    runs = turned_grain(item)
    if runs is not None and sheet.grain_deg is not None:
        lean = abs((runs - sheet.grain_deg + 90.0) % 180.0 - 90.0)
        if lean > GRAIN_TOLERANCE_DEG:
            raise LayoutFault("grain", (item.part.name,), item.sheet, runs, sheet.grain_deg)
    turns = allowed_turns(item.part, sheet, rotations, flipped=item.flipped)
    if turns is None:
        return
    off = min(abs((item.turn_deg - turn + 180.0) % 360.0 - 180.0) for turn in turns)
    if off > GRAIN_TOLERANCE_DEG:
        raise LayoutFault("turn", (item.part.name,), item.sheet, item.turn_deg, turns[0])


def _check_inside(items: tuple[Placed, ...], sheet: Sheet, index: int, edge_mm: float) -> None:
    rim = sheet.metal.boundary
    metal = sheet.metal.buffer(LENGTH_MM)
    for item in items:
        if not metal.covers(item.outline):
            out = float(item.outline.difference(sheet.metal).area)
            raise LayoutFault("edge", (item.part.name,), index, -out, edge_mm, "It leaves the sheet.")
        near = float(item.outline.distance(rim))
        if near < edge_mm - LENGTH_MM:
            raise LayoutFault("edge", (item.part.name,), index, near, edge_mm)
        for shape in sheet.blocked:
            near = float(item.outline.distance(shape))
            if near < edge_mm - LENGTH_MM or item.outline.intersection(shape).area > LENGTH_MM:
                raise LayoutFault("edge", (item.part.name,), index, near, edge_mm, "A blocked place is there.")


def _check_gaps(items: tuple[Placed, ...], index: int, gap_mm: float) -> None:
    """Least distance of every pair that comes near; a part may lie in another one's hole."""
    if len(items) < 2:
        return
    shapes = np.array([item.outline for item in items], dtype=object)
    tree = shapely.STRtree(shapes)
    first, second = tree.query(shapes, predicate="dwithin", distance=gap_mm + LENGTH_MM)
    for a, b in zip(first, second, strict=True):
        if a >= b:
            continue
        names = (items[a].part.name, items[b].part.name)
        overlap = float(shapely.intersection(shapes[a], shapes[b]).area)
        perimeter = min(shapes[a].length, shapes[b].length)
        if overlap > LENGTH_MM * perimeter:
            raise LayoutFault("overlap", names, index, overlap, 0.0)
        apart = float(shapely.distance(shapes[a], shapes[b]))
        if apart < gap_mm - LENGTH_MM:
            raise LayoutFault("gap", names, index, apart, gap_mm)


def _check_offcuts(layout: Layout, index: int, items: tuple[Placed, ...]) -> None:
    metal = layout.sheets[index].sheet.metal.buffer(LENGTH_MM)
    kept = [offcut.outline for offcut in layout.offcuts if offcut.sheet == index]
    for i, outline in enumerate(kept):
        if not metal.covers(outline):
            raise LayoutFault("edge", ("offcut",), index, outline.difference(metal).area, 0.0)
        for other in kept[:i]:
            if outline.intersection(other).area > 1.0:
                raise LayoutFault("overlap", ("offcut", "offcut"), index, outline.intersection(other).area, 0.0)
        for item in items:
            if outline.intersection(item.outline).area > LENGTH_MM * item.outline.length:
                found = outline.intersection(item.outline).area
                raise LayoutFault("overlap", ("offcut", item.part.name), index, found, 0.0)


def _check_cuts(layout: Layout) -> None:
    """Follow the cuts from whole sheets: each goes edge to edge through one piece, none touches a part."""
    pieces: dict[str, Rect] = {
        str(used.index + 1): (0.0, 0.0, used.sheet.width, used.sheet.height) for used in layout.sheets
    }
    for cut in layout.cuts:
        piece = pieces.pop(cut.piece, None)
        if piece is None:
            raise LayoutFault("cuts", (cut.piece,), cut.sheet, cut.order, 0, "There is no such piece to cut.")
        x0, y0, x1, y1 = piece
        along, length = (x1 - x0, y1 - y0) if cut.axis == "x" else (y1 - y0, x1 - x0)
        if not LENGTH_MM < cut.distance < along - LENGTH_MM:
            raise LayoutFault("cuts", (cut.piece,), cut.sheet, cut.distance, along, "The cut misses its piece.")
        if abs(length - cut.length) > LENGTH_MM:
            raise LayoutFault("cuts", (cut.piece,), cut.sheet, cut.length, length, "Its length is wrong.")
        if cut.axis == "x":
            near, far = (x0, y0, x0 + cut.distance, y1), (x0 + cut.distance, y0, x1, y1)
        else:
            near, far = (x0, y0, x1, y0 + cut.distance), (x0, y0 + cut.distance, x1, y1)
        pieces[cut.makes[0]], pieces[cut.makes[1]] = near, far
    by_sheet: dict[int, list[tuple[str, Rect]]] = {}
    for label, piece in pieces.items():
        by_sheet.setdefault(_sheet_of(label), []).append((label, piece))
    held: dict[str, str] = {}
    for item in layout.placed:
        _check_home(item, by_sheet[item.sheet], held, layout.gap_mm)
    for offcut in layout.offcuts:
        if not any(_within(offcut.outline.bounds, piece) for _, piece in by_sheet[offcut.sheet]):
            raise LayoutFault("cuts", ("offcut",), offcut.sheet, 0, 1, "The cuts go through an offcut.")


def _check_home(item: Placed, pieces: list[tuple[str, Rect]], held: dict[str, str], gap_mm: float) -> None:
    """The part lies in one finished piece, alone, with no more waste on it than the gap."""
    bounds = item.outline.bounds
    homes = [(label, piece) for label, piece in pieces if _within(bounds, piece)]
    if len(homes) != 1:
        text = "The cuts do not leave it in one piece."
        raise LayoutFault("cuts", (item.part.name,), item.sheet, len(homes), 1, text)
    label, piece = homes[0]
    if item.piece and item.piece != label:
        text = f"It is said to be piece {item.piece} and is {label}."
        raise LayoutFault("cuts", (item.part.name,), item.sheet, 0, 0, text)
    if label in held:
        raise LayoutFault("cuts", (held[label], item.part.name), item.sheet, 2, 1, "The cuts do not part them.")
    held[label] = item.part.name
    spare = max(bounds[0] - piece[0], bounds[1] - piece[1], piece[2] - bounds[2], piece[3] - bounds[3])
    if spare > gap_mm + SPARE_MM:
        raise LayoutFault("cuts", (item.part.name,), item.sheet, spare, gap_mm, "Waste is left on it.")


def _within(inner: Rect, outer: Rect) -> bool:
    return (
        inner[0] >= outer[0] - LENGTH_MM
        and inner[1] >= outer[1] - LENGTH_MM
        and inner[2] <= outer[2] + LENGTH_MM
        and inner[3] <= outer[3] + LENGTH_MM
    )


def _sheet_of(label: str) -> int:
    return int(label.split(".")[0]) - 1


def turned_grain(item: Placed) -> float | None:
    """Direction in which a placed part's grain runs on its sheet, 0 <= degrees < 180; None where it has none."""
    if item.part.grain is None:
        return None
    along = affinity.rotate(shapely.LineString([(0, 0), (1, 0)]), item.part.grain, origin=(0, 0))
    if item.flipped:
        along = affinity.scale(along, xfact=-1.0, origin=(0, 0))
    (x0, y0), (x1, y1) = affinity.rotate(along, item.turn_deg, origin=(0, 0)).coords
    return math.degrees(math.atan2(y1 - y0, x1 - x0)) % 180.0
