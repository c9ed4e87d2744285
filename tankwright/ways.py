"""One job cut three ways, side by side: by the shear, as profiles, and mixed.

Words used here
    way       shear, profile or mixed
    mixed     blanks that lie snugly together share one rectangle: the shear cuts the rectangles, the blanks
              are cut out of them as profiles
    snug      two groups of blanks whose common rectangle is smaller than their two rectangles together

The groups are found by trying which two groups save most, joining them, and going on; after each join the
rectangles are laid out for the shear, and the cheapest layout stands. Same job, same table.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import combinations
from typing import TYPE_CHECKING

from .errors import JobError

if TYPE_CHECKING:
    from shapely.geometry import Polygon

    from nesting import Layout, Part

    from .job import Job
    from .work import Work

__all__ = ["Way", "compare", "table", "ways_of"]

#: Heights tried for a common rectangle, as shares between the least that holds each and all side by side.
HEIGHTS = 4
MOST_JOINS = 4
WORDS = {"shear": "for the shear", "profile": "as profiles"}


@dataclass(frozen=True)
class Way:
    """One way of cutting. Lengths in m, yields as shares; ``why_not`` is not empty where it cannot be done."""

    name: str
    sheets: int = 0
    bought: int = 0
    cost: float = 0.0
    priced: bool = True
    yield_whole: float = 0.0
    yield_with_offcuts: float = 0.0
    strokes: int = 0
    stroke_m: float = 0.0
    profile_m: float = 0.0
    pierces: int = 0
    groups: tuple[tuple[str, ...], ...] = ()
    why_not: str = ""


def compare(job: Job, *, progress: Callable[[str], None] = lambda step: None) -> tuple[Way, ...]:
    """The job's blanks cut by the shear, as profiles, and mixed; ``progress`` is told each step that takes a while.

    Raises
    ------
    JobError
        Where the job cannot be made as it stands.
    """
    from .job import work_out

    return ways_of(work_out(job, progress=progress), progress=progress)


def ways_of(work: Work, *, progress: Callable[[str], None] = lambda step: None) -> tuple[Way, ...]:
    """The same of a job that is worked out already."""
    from .job import nest_blanks

    job, ways = work.job, []
    for cutting in ("shear", "profile"):
        try:
            if work.layout.cutting == cutting:
                layout = work.layout
            else:
                progress(f"laying the blanks out {WORDS[cutting]}")
                layout = nest_blanks(job, work.own_blanks, cutting)
        except JobError as fault:
            ways.append(Way(cutting, why_not=fault.findings[0].where))
            continue
        ways.append(_way(cutting, layout, [blank.outline for blank in work.own_blanks]))
    return (*ways, _mixed(job, [_part(blank) for blank in work.own_blanks], progress))


def _part(blank: object) -> Part:
    from nesting import Part

    return Part(blank.name, blank.outline, grain=blank.grain_deg)  # type: ignore[attr-defined]


def _way(name: str, layout: Layout, outlines: Sequence[Polygon], parts_mm2: float | None = None) -> Way:
    """The figures of a layout; ``outlines`` are what is cut as profiles, whatever the shear has done before."""
    from .rack import from_rack

    bought = [used.sheet for used in layout.sheets if not from_rack(used.sheet)]
    whole = layout.sheet_area or 1.0
    parts = layout.parts_area if parts_mm2 is None else parts_mm2
    kept = math.fsum(used.offcuts_area for used in layout.sheets)
    rings = [ring for outline in outlines for ring in (outline.exterior, *outline.interiors)]
    return Way(
        name,
        len(layout.sheets),
        len(bought),
        layout.cost,
        all(sheet.price for sheet in bought),
        parts / whole,
        (parts + kept) / whole,
        len(layout.cuts),
        math.fsum(cut.length for cut in layout.cuts) / 1e3,
        math.fsum(ring.length for ring in rings) / 1e3,
        len(rings),
    )


# ------------------------------------------------------------------------------- mixed


@dataclass(frozen=True)
class _Group:
    """Blanks that share a rectangle, drawn with their grain along x where they have one."""

    parts: tuple[Part, ...]
    width: float
    height: float
    grain: float | None

    @property
    def area(self) -> float:
        return self.width * self.height

    @property
    def spare(self) -> float:
        """What a rectangle has that its blanks do not fill, mm2."""
        return self.area - math.fsum(part.outline.area for part in self.parts)

    @property
    def names(self) -> tuple[str, ...]:
        return tuple(part.name for part in self.parts)


def _mixed(job: Job, parts: Sequence[Part], progress: Callable[[str], None]) -> Way:
    """The cheapest layout of rectangles that hold one blank or several."""
    groups = tuple(_alone(part) for part in parts)
    room = max(max(s.width, s.height) for s in job.shop.sheets_for(job.metal.name, job.thickness)[0])
    joined: dict[tuple[str, ...], _Group | None] = {}
    best: tuple[tuple[float, ...], Way] | None = None
    why = ""
    for joins in range(MOST_JOINS + 1):
        shared = f"{joins} pair{'s' if joins > 1 else ''} in one rectangle" if joins else "each in its own rectangle"
        progress(f"laying rectangles out for the shear, {shared}")
        try:
            layout = _lay(job, groups)
        except JobError as fault:
            why = fault.findings[0].where
        else:
            way = _way("mixed", layout, [part.outline for part in parts], math.fsum(p.outline.area for p in parts))
            way = replace(way, groups=tuple(group.names for group in groups if len(group.parts) > 1))
            rank = (way.cost, way.bought, way.sheets, -way.yield_with_offcuts)
            if best is None or rank < best[0]:
                best = rank, way
        progress("seeing which of them lie snugly together")
        grown = _join(groups, joined, job.shop.nesting.gap_for("profile"), room)
        if grown is None:
            break
        groups = grown
    return best[1] if best is not None else Way("mixed", why_not=why)


def _alone(part: Part) -> _Group:
    from shapely import affinity

    from nesting import Part as Fresh

    turned = affinity.rotate(part.outline, -part.grain, origin=(0, 0)) if part.grain else part.outline
    x0, y0, x1, y1 = turned.bounds
    shape = Fresh(part.name, turned, grain=None)
    return _Group((shape,), x1 - x0, y1 - y0, None if part.grain is None else 0.0)


def _lay(job: Job, groups: Sequence[_Group]) -> Layout:
    """The groups' rectangles on the shop's sheets, by the shear."""
    from shapely.geometry import box

    from .job import nest_blanks

    boxes = [_Box(" + ".join(group.names), box(0, 0, group.width, group.height), group.grain) for group in groups]
    return nest_blanks(job, boxes, "shear")


@dataclass(frozen=True)
class _Box:
    """What `job.nest_blanks` needs to know of a blank."""

    name: str
    outline: Polygon
    grain_deg: float | None


def _join(
    groups: Sequence[_Group], joined: dict[tuple[str, ...], _Group | None], gap: float, room: float
) -> tuple[_Group, ...] | None:
    """The groups with the two put together that save most; None where no two save anything."""
    best, saved = None, 0.0
    for one, other in sorted(combinations(groups, 2), key=lambda pair: -(pair[0].spare + pair[1].spare)):
        if one.spare + other.spare <= saved:
            break  # no rectangle is smaller than what lies in it
        key = (*one.names, *other.names)
        if key not in joined:
            joined[key] = _together(one, other, gap, room)
        pair = joined[key]
        if pair is not None and one.area + other.area - pair.area > saved:
            best, saved = (one, other, pair), one.area + other.area - pair.area
    if best is None:
        return None
    one, other, pair = best
    return (*(group for group in groups if group is not one and group is not other), pair)


def _together(one: _Group, other: _Group, gap: float, room: float) -> _Group | None:
    """The least rectangle found that holds the blanks of both groups, a gap between them."""
    from nesting import NestingError
    from nesting.strip import pack_strip

    parts = (*one.parts, *other.parts)
    grained = {name for group in (one, other) if group.grain is not None for name in group.names}
    turns: Mapping[str, Sequence[float]] = {
        part.name: (0.0, 180.0) if part.name in grained else (0.0, 90.0, 180.0, 270.0) for part in parts
    }
    low, high = max(one.height, other.height), one.height + other.height + gap
    found = []
    for k in range(HEIGHTS):
        height = low + (high - low) * k / (HEIGHTS - 1)
        try:
            strip = pack_strip(parts, height + 0.01, gap_mm=gap, seconds=0.02, rotations=turns, library=False)
        except NestingError:
            continue
        top = max(item.outline.bounds[3] for item in strip.placed)
        if max(top, strip.length) <= room:
            found.append((strip.length * top, strip.length, top))
    if not found:
        return None
    _, width, height = min(found)
    return _Group(parts, width, height, 0.0 if grained else None)


# ------------------------------------------------------------------------------- the table


def table(ways: Sequence[Way], currency: str = "") -> str:
    """The ways side by side, and what the cheapest saves."""
    heads = ("", *(way.name for way in ways))
    rows = [
        ("sheets", [str(way.sheets) for way in ways]),
        ("of them bought", [str(way.bought) for way in ways]),
        (f"money{', ' + currency if currency else ''}", [_money(way) for way in ways]),
        ("yield of whole sheets", [f"{100 * way.yield_whole:.1f} %" for way in ways]),
        ("yield with kept offcuts", [f"{100 * way.yield_with_offcuts:.1f} %" for way in ways]),
        ("shear strokes", [f"{way.strokes}, {way.stroke_m:.1f} m" if way.strokes else "none" for way in ways]),
        ("outlines to cut", [f"{way.profile_m:.1f} m" for way in ways]),
        ("starts (pierces)", [str(way.pierces) for way in ways]),
    ]
    lines = [f"{heads[0]:<26}" + "".join(f"{head:>16}" for head in heads[1:])]
    for name, cells in rows:
        shown = ["cannot" if way.why_not else cell for way, cell in zip(ways, cells, strict=True)]
        lines.append(f"{name:<26}" + "".join(f"{cell:>16}" for cell in shown))
    lines += [f"{way.name} cannot be done: {way.why_not}" for way in ways if way.why_not]
    lines += [f"mixed: {' and '.join(group)} share a rectangle" for way in ways for group in way.groups]
    return "\n".join([*lines, _verdict(ways, currency)]) + "\n"


def _money(way: Way) -> str:
    return f"{way.cost:.2f}" if way.priced else "no price given"


def _verdict(ways: Sequence[Way], currency: str) -> str:
    able = [way for way in ways if not way.why_not]
    if len(able) < 2:
        return "Nothing to compare."
    ranked = sorted(able, key=lambda way: (way.cost if way.priced else 0.0, way.bought, way.sheets))
    first, last = ranked[0], ranked[-1]
    sheets, money = last.bought - first.bought, last.cost - first.cost
    if not sheets and money < 0.005:
        return "All ways buy the same sheets."
    saves = [f"{sheets} sheet{'s' if sheets != 1 else ''}"] if sheets > 0 else []
    saves += [f"{money:.2f} {currency}".strip()] if money >= 0.005 and first.priced and last.priced else []
    return f"{first.name} saves {' and '.join(saves) or 'metal'} against {last.name}."
