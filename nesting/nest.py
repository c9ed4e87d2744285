"""One door to both ways of cutting: check what comes in, place, check what goes out, add up."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping, Sequence

from shapely import unary_union

from .check import check_layout
from .errors import BadPart, BadSetting, BadSheet
from .model import Layout, Length, Offcut, OnBetter, Part, Placed, Placement, Rotations, Sheet, UsedSheet
from .offcuts import rectangles_to_keep

__all__ = ["nest", "shortest_length"]

CUTTINGS = ("shear", "profile")
PREFER = ("offcuts", "largest", "cuts", "length")


def nest(
    parts: Iterable[Part],
    sheets: Iterable[Sheet],
    *,
    cutting: str = "shear",
    gap_mm: float = 0.0,
    edge_mm: float = 0.0,
    seconds: float = 5.0,
    seed: int = 0,
    rotations: Rotations = None,
    keep_side_mm: float = 150.0,
    keep_area_mm2: float = 60_000.0,
    prefer: Sequence[str] = PREFER,
    squaring_mm: float = 0.0,
    longest_cut_mm: float | None = None,
    smallest_strip_mm: float = 0.0,
    on_better: Callable[[Layout], None] | None = None,
) -> Layout:
    """Lay every copy of every part on sheets, at the least cost of sheets that can be found in the time.

    Parameters
    ----------
    parts, sheets : Part and Sheet values, mm.
    cutting : "shear" cuts the parts' bounding rectangles by straight cuts from edge to edge; "profile" lays true
        shapes, as a plasma table, router or snips can cut them.
    gap_mm : least distance between two parts. Shear: between their rectangles; it is left on as spare.
    edge_mm : least distance from a part to the sheet's edge and to blocked places.
    seconds : about how long to search. Small shear jobs are proven sooner; a first answer takes under a second.
    seed : the same input and seed give the same layout.
    rotations : turns in degrees that a part may have, for all parts or per part name ("*" for the rest).
    None: shear takes
        quarter turns of the part as drawn and as it lies in its least rectangle, profile the four quarter
        turns. A part with a grain lies along the sheet's grain, whatever this says.
    keep_side_mm, keep_area_mm2 : an offcut is worth keeping from this shorter side and area on.
    prefer : shear: what counts after cost, in this order: "offcuts" (used before new sheets are bought), "largest"
        (rectangle left whole), "cuts" (fewest), "length" (of all cuts, least). What is not named does not count.
    squaring_mm : shear: strip taken off the left and lower raw edges of each sheet before anything is measured.
    longest_cut_mm : shear: the blade's length; no cut is longer. None: no limit.
    smallest_strip_mm : shear: what the hold-downs need on one side of the blade; ``Layout.notes`` names each cut that
        leaves less on both.
    on_better : called with each better layout as it is found. An interrupt (Ctrl-C) ends the search
        and returns the best so far, with ``stopped`` true.

    Among layouts, in this order: nothing left out that need not be (by priority, then area), least cost, fewest
    sheets bought new (so offcuts go first), least area from the rack, largest offcut, fewest cuts, shortest cuts. What
    finds no room is in ``Layout.unplaced``, with the reason.

    Raises
    ------
    BadPart, BadSheet, BadSetting
        All are ValueErrors: what was given cannot be nested.
    LayoutFault
        The layout found broke a rule: an error of ours, never returned silently.

    Examples
    --------
    >>> from shapely.geometry import box
    >>> layout = nest([Part("lid", box(0, 0, 400, 300), 4)], [Sheet("offcut", 620, 820)], gap_mm=10)
    >>> len(layout.sheets), layout.proven, len(layout.cuts)
    (1, True, 3)
    """
    part_list, sheet_list = _checked(parts, sheets)
    _check_settings(
        cutting,
        gap_mm=gap_mm,
        edge_mm=edge_mm,
        seconds=seconds,
        keep_side_mm=keep_side_mm,
        keep_area_mm2=keep_area_mm2,
        squaring_mm=squaring_mm,
        smallest_strip_mm=smallest_strip_mm,
        **({} if longest_cut_mm is None else {"longest_cut_mm": longest_cut_mm}),
    )
    _check_rotations(rotations)
    if isinstance(prefer, str) or any(wish not in PREFER for wish in prefer) or len(set(prefer)) != len(prefer):
        raise BadSetting("prefer", prefer, f"some of {PREFER}, each once, in any order")

    def finish(placement: Placement) -> Layout:
        layout = _layout(
            placement,
            cutting,
            gap_mm,
            edge_mm,
            priced=any(sheet.price > 0 for sheet in sheet_list if sheet.quantity != 0),
            keep_side_mm=keep_side_mm,
            keep_area_mm2=keep_area_mm2,
        )
        check_layout(layout, part_list, sheet_list, rotations, longest_cut_mm=longest_cut_mm)
        return layout

    watcher: OnBetter | None = None
    if on_better is not None:
        tell = on_better

        def watcher(placement: Placement) -> None:
            tell(finish(placement))

    common = {
        "gap_mm": float(gap_mm),
        "edge_mm": float(edge_mm),
        "seconds": float(seconds),
        "seed": int(seed),
        "rotations": rotations,
        "on_better": watcher,
    }
    if cutting == "shear":
        from .shear import place_shear

        placement = place_shear(
            part_list,
            sheet_list,
            prefer=tuple(prefer),
            squaring_mm=float(squaring_mm),
            longest_cut_mm=longest_cut_mm,
            smallest_strip_mm=float(smallest_strip_mm),
            keep_side_mm=float(keep_side_mm),
            keep_area_mm2=float(keep_area_mm2),
            **common,  # type: ignore[arg-type]
        )
    else:
        from .profile import place_profile

        placement = place_profile(part_list, sheet_list, **common)  # type: ignore[arg-type]
    return finish(placement)


def shortest_length(
    parts: Iterable[Part],
    width_mm: float,
    *,
    gap_mm: float = 0.0,
    edge_mm: float = 0.0,
    seconds: float = 5.0,
    seed: int = 0,
    rotations: Rotations = None,
    grain: str | None = "y",
) -> Length:
    """How long a sheet of this width has to be for all parts, cut edge to edge: what to ask a supplier who
    sells by length.

    Parameters as in ``nest``, shear cutting; the sheet lies with ``width_mm`` along x, and its grain along its length
    unless ``grain`` says otherwise ("x", "y", None). Boxes that are not whole hundredths of a millimetre are
    rounded up.

    Raises
    ------
    BadPart
        If a part is wider than the sheet whichever way it may be turned.

    Examples
    --------
    >>> from shapely.geometry import box
    >>> found = shortest_length([Part("lid", box(0, 0, 400, 300), 4)], 620, gap_mm=10)
    >>> found.length_mm, found.proven
    (810.0, True)
    """
    part_list, _ = _checked(parts, [Sheet("strip", width_mm, 1.0)])
    _check_settings("shear", gap_mm=gap_mm, edge_mm=edge_mm, seconds=seconds)
    _check_rotations(rotations)
    if not any(part.quantity for part in part_list):
        raise BadPart("(none)", "there is no part to lay out", "give at least one part with a quantity of 1 or more")
    from .shear import shortest_plan

    length, bound, proven, placement = shortest_plan(
        part_list,
        float(width_mm),
        gap_mm=float(gap_mm),
        edge_mm=float(edge_mm),
        seconds=float(seconds),
        seed=int(seed),
        rotations=rotations,
        grain=grain,
    )
    layout = _layout(placement, "shear", gap_mm, edge_mm, priced=False, keep_side_mm=math.inf, keep_area_mm2=math.inf)
    check_layout(layout, part_list, placement.used, rotations)
    return Length(length, bound, proven, layout)


def _checked(parts: Iterable[Part], sheets: Iterable[Sheet]) -> tuple[tuple[Part, ...], tuple[Sheet, ...]]:
    part_list, sheet_list = tuple(parts), tuple(sheets)
    for part in part_list:
        if not isinstance(part, Part):
            raise BadPart(str(part), f"a nesting.Part is needed, not {type(part).__name__}")
    for sheet in sheet_list:
        if not isinstance(sheet, Sheet):
            raise BadSheet(str(sheet), f"a nesting.Sheet is needed, not {type(sheet).__name__}")
    if not sheet_list:
        raise BadSheet("(none)", "there is no sheet to nest on", "give at least one sheet size")
    seen: dict[str, Part] = {}
    for part in part_list:
        if seen.setdefault(part.name, part) is not part:
            raise BadPart(part.name, "two parts have this name", "give each part its own name, or one a quantity of 2")
    return part_list, sheet_list


def _check_settings(cutting: str, **numbers: float) -> None:
    if cutting not in CUTTINGS:
        raise BadSetting("cutting", cutting, " or ".join(repr(c) for c in CUTTINGS))
    for setting, value in numbers.items():
        if not (isinstance(value, (int, float)) and math.isfinite(value) and value >= 0):
            raise BadSetting(setting, value, "a number of at least 0")
    if numbers["seconds"] == 0:
        raise BadSetting("seconds", 0, "more than 0")


def _check_rotations(rotations: Rotations) -> None:
    if rotations is None:
        return
    lists: Iterable[Sequence[float]] = rotations.values() if isinstance(rotations, Mapping) else [rotations]
    for turns in lists:
        if isinstance(turns, (str, int, float)) or not len(turns) or not all(math.isfinite(t) for t in turns):
            raise BadSetting("rotations", rotations, "degrees, at least one, such as (0, 90, 180, 270)")


def _layout(
    placement: Placement,
    cutting: str,
    gap_mm: float,
    edge_mm: float,
    *,
    priced: bool,
    keep_side_mm: float,
    keep_area_mm2: float,
) -> Layout:
    """Costs, yields, offcuts and cut lengths of a placement."""
    offcuts = placement.offcuts
    if offcuts is None:
        offcuts = _find_offcuts(placement, gap_mm, keep_side_mm, keep_area_mm2)
    used = tuple(
        _used_sheet(index, sheet, placement, offcuts, shear=cutting == "shear")
        for index, sheet in enumerate(placement.used)
    )
    whole = math.fsum(one.sheet.area for one in used)
    in_parts = math.fsum(one.parts_area for one in used)
    kept = math.fsum(one.offcuts_area for one in used)
    cuts = placement.cuts or ()
    return Layout(
        cutting=cutting,
        placed=placement.placed,
        sheets=used,
        unplaced=placement.unplaced,
        cost=math.fsum(sheet.price for sheet in placement.used),
        bound=placement.bound,
        bound_of="cost" if priced else "sheets",
        proven=placement.proven,
        yield_whole=in_parts / whole if whole else 0.0,
        yield_with_offcuts=in_parts / (whole - kept) if whole > kept else 0.0,
        offcuts=offcuts,
        cuts=cuts,
        cut_length=math.fsum(one.cut_length for one in used),
        pierces=sum(one.pierces for one in used),
        gap_mm=gap_mm,
        edge_mm=edge_mm,
        stopped=placement.stopped,
        notes=placement.notes,
    )


def _used_sheet(
    index: int, sheet: Sheet, placement: Placement, offcuts: tuple[Offcut, ...], *, shear: bool
) -> UsedSheet:
    on_it = [item for item in placement.placed if item.sheet == index]
    parts_area = math.fsum(item.outline.area for item in on_it)
    kept = math.fsum(offcut.area for offcut in offcuts if offcut.sheet == index)
    if shear:
        length = math.fsum(cut.length for cut in placement.cuts or () if cut.sheet == index)
        pierces = 0
    else:
        length, pierces = _profile_cutting(on_it)
    return UsedSheet(index, sheet, parts_area, kept, sheet.area - parts_area - kept, length, pierces)


def _profile_cutting(items: list[Placed]) -> tuple[float, int]:
    """Length of all outlines and holes, mm, and how often the torch starts."""
    rings = [ring for item in items for ring in (item.outline.exterior, *item.outline.interiors)]
    return math.fsum(ring.length for ring in rings), len(rings)


def _find_offcuts(placement: Placement, gap_mm: float, keep_side_mm: float, keep_area_mm2: float) -> tuple[Offcut, ...]:
    """Rectangles worth keeping in what profile cutting leaves."""
    out: list[Offcut] = []
    for index, sheet in enumerate(placement.used):
        taken = [
            item.outline.buffer(gap_mm) if gap_mm else item.outline for item in placement.placed if item.sheet == index
        ]
        free = sheet.metal.difference(unary_union([*taken, *sheet.blocked]))
        kept = rectangles_to_keep(free, min_side_mm=keep_side_mm, min_area_mm2=keep_area_mm2, apart_mm=gap_mm)
        out += [Offcut(index, rectangle) for rectangle in kept]
    return tuple(out)
