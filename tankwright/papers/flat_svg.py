"""A blank as a picture: cut edge, trim line, marks, folds, zones to stretch and shrink, edges with what they gain.

Drawn good face up, in mm, y up. Words are sized to the picture, not to the blank, so that a phone shows them.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from panels.ledge import LEDGE

from .flat_places import (
    Frame,
    Room,
    direction,
    edge_letters,
    end_words,
    fitting_names,
    mark_names,
    room_of,
    strokes_of,
    upright,
)
from .roll_svg import roll_picture
from .svg import dimension, line, number, ring, shape_path, svg, words, zone_hatches
from .words import changes, fixed, length, percent
from .zones import Zone, worst_places

if TYPE_CHECKING:
    from collections.abc import Sequence

    from shapely.geometry.base import BaseGeometry

    from panels.blank import Blank, Edge

    from .ends import Ends

__all__ = ["Frame", "flat_svg", "zone_words"]

#: The picture is as wide as this many text heights, and at most as high as `TALL`: 360 px shows 9 px letters.
WIDE, TALL = 40.0, 28.0

#: How far from a zone's middle its words are tried, letter heights, so that they keep off other words.
SHIFTS = ((0.0, 0.0), *((x, y) for y in (0.0, 1.5, -1.5, 3.0, -3.0) for x in (0.0, 4.0, -4.0, 8.0, -8.0) if x or y))


def _frame(bounds: tuple[float, float, float, float]) -> Frame:
    x0, y0, x1, y1 = bounds
    return Frame(x0, y0, x1, y1, max((x1 - x0) / (WIDE - 9), (y1 - y0) / (TALL - 9)))


def zone_words(zone: Zone) -> str:
    """``shrink, worst 4.0 %`` and the like."""
    return f"{zone.kind}, worst {percent(abs(zone.worst))}"


def flat_svg(
    blank: Blank,
    zones: Sequence[Zone],
    *,
    number_of_piece: int,
    name: str,
    unit: str = "mm",
    ends: Ends,
) -> str:
    """The picture of one blank. ``zones`` as `strain_zones` gives them; ``name`` must be unique on the page."""
    f = _frame(blank.outline.bounds)
    taken = [room_of(text, at, f.size, turn) for text, at, turn in _fold_words(blank, f)]
    taken += [room_of(length(f.x1 - f.x0, unit), ((f.x0 + f.x1) / 2, _low(f)), 1.5 * f.size), *strokes_of(blank)]
    letters = edge_letters(blank, f, [_edge_words(blank, e, k) for k, e in enumerate(blank.edges, 1)], taken)
    ways = end_words(ends, f, _low(f), taken)
    worst = _worst(blank, f, taken)
    fittings = fitting_names(blank, f, taken)
    labels = _zone_labels(zones, f, taken)
    rolls = roll_picture(blank, f, taken)
    parts = [
        zone_hatches(f"{name}-", f.size) if zones else "",
        f'<path class="metal" fill-rule="evenodd" d="{shape_path(blank.outline)}"/>',
        *_zones(blank, zones, name, f),
        *(
            line(edge.points, "stays" if edge.joint in ("lap", LEDGE) else "trim")
            for edge in blank.edges
            if edge.allowance > 0.05 and edge.joint != "fold"
        ),
        *(line(mark.points, mark.kind) for mark in blank.marks if len(mark.points) > 1),
        *mark_names(blank, f, taken),
        *_folds(blank, f),
        *rolls,
        f'<path class="pen-cut heavy" fill-rule="evenodd" d="{shape_path(blank.outline)}"/>',
        *letters,
        *worst,
        *fittings,
        *labels,
        *ways,
        *_sizes(f, unit),
        *_foot(blank, f),
    ]
    box = (
        f.x0 - max(5.6, _beside(ends.left)) * f.size,
        f.y0 - 7.6 * f.size,
        max(f.x1, _foot_middle(f) + 0.4 * f.size) + max(3.4, _beside(ends.right)) * f.size,
        f.y1 + 3.4 * f.size,
    )
    told = "; ".join(zone_words(z) for z in zones if z.kind != "leave") or "nothing to stretch or shrink"
    size = f"{fixed(f.x1 - f.x0)} by {fixed(f.y1 - f.y0)} mm"
    lies = f"; {ends.words}" if ends.words else ""
    return svg(
        box, parts, title=f"Flat of piece {number_of_piece}, {blank.name}", describes=f"{size}{lies}; {told}",
        kind="flat", name=name,
    )  # fmt: skip


def _worst(blank: Blank, f: Frame, taken: list[Room]) -> list[str]:
    """A ring with a dot at the worst places of the blank; ``taken`` grows."""
    made = []
    for place in () if blank.flat is None else worst_places(blank.flat):
        for x, y in place.at:
            r = 0.34 * f.size
            taken.append(Room(x - r, y - r, x + r, y + r))
            made.append(
                f'<circle class="worst" cx="{number(x)}" cy="{number(-y)}" r="{number(r)}"/>'
                f'<circle class="worst dot" cx="{number(x)}" cy="{number(-y)}" r="{number(0.1 * f.size)}"/>'
            )
    return made


def _zones(blank: Blank, zones: Sequence[Zone], name: str, f: Frame) -> list[str]:
    """The zones with their borders drawn fair: what is narrower than half a letter is left out."""
    width = 0.25 * f.size

    def fair(zone: Zone) -> BaseGeometry:
        opened = zone.shape.buffer(-width, 4).buffer(2 * width, 4).buffer(-width, 4)
        return opened.intersection(blank.net)

    return [
        f'<path class="zone {z.kind}" fill="url(#{name}-{z.kind}{min(z.level, 4)})" fill-rule="evenodd" '
        f'd="{shape_path(fair(z), simplify=0.3)}"/>'
        for z in zones
        if z.kind != "leave"
    ]


def _zone_labels(zones: Sequence[Zone], f: Frame, taken: list[Room]) -> list[str]:
    """Each zone's number and words; the number alone where the zone is small. ``taken`` grows."""
    labels = []
    for k, zone in enumerate(zones, 1):
        if zone.kind == "leave":
            if zone.room > 2.6 * f.size:
                labels += _stacked([("leave be", "halo soft")], zone, f, taken)
            continue
        short = f"{zone.kind}, worst {percent(abs(zone.worst))}"
        wide = _chord(zone, f)
        told: list[str] = []
        if zone.room > 1.25 * f.size and wide > 0.6 * len(short) * f.size:
            told = _stacked([(f"zone {k}", "halo strong"), (short, "halo")], zone, f, taken, clear_only=True)
        text = f"zone {k}" if wide > 3.8 * f.size and zone.room > 0.5 * f.size else f"{k}"
        labels += told or _stacked([(text, "halo strong")], zone, f, taken)
    return labels


def _stacked(
    rows: Sequence[tuple[str, str]], zone: Zone, f: Frame, taken: list[Room], *, clear_only: bool = False
) -> list[str]:
    """Lines of words over one another in a zone, beside what stands there already where the zone is wide enough.

    Where there is no clear place: in its middle all the same, or none with ``clear_only``.
    """
    from shapely.geometry import box

    first: tuple[list[np.ndarray], list[Room]] | None = None
    for shift in SHIFTS:
        at = np.array(zone.at) + np.array(shift) * f.size
        spots = [at + [0, (0.62 * (len(rows) - 1) - 1.24 * k) * f.size] for k in range(len(rows))]
        rooms = [room_of(text, spot, f.size) for (text, _), spot in zip(rows, spots, strict=True)]
        first = first or (spots, rooms)
        clear = not any(room.meets(other) for room in rooms for other in taken)
        if clear and (shift == SHIFTS[0] or all(zone.shape.covers(box(*room)) for room in rooms)):
            break
    else:
        if clear_only:
            return []
        spots, rooms = first if first is not None else (spots, rooms)
    taken += rooms
    return [words(text, spot, f.size, kind=kind) for (text, kind), spot in zip(rows, spots, strict=True)]


def _chord(zone: Zone, f: Frame) -> float:
    """Room for a line of words through the zone's point, mm."""
    from shapely.geometry import LineString, Point, box

    x, y = zone.at
    strip = zone.shape.intersection(box(zone.shape.bounds[0] - 1, y - 0.01, zone.shape.bounds[2] + 1, y + 0.01))
    parts = [p for p in getattr(strip, "geoms", [strip]) if p.distance(Point(x, y)) < 0.1]
    if not parts or isinstance(strip, LineString):
        return 0.0
    left, _, right, _ = parts[0].bounds
    return float(2 * min(x - left, right - x))


def _fold_words(blank: Blank, f: Frame) -> list[tuple[str, np.ndarray, float]]:
    """Each fold's words, their place beside its line, and their turn."""
    made = []
    for k, fold in enumerate(blank.folds, 1):
        start, end = np.asarray(fold.start, dtype=float), np.asarray(fold.end, dtype=float)
        turn, _ = upright(direction(start, end))
        up = np.array([-np.sin(np.radians(turn)), np.cos(np.radians(turn))])
        way = "up" if fold.up else "down"
        name = f"lip {fold.lip}" if fold.lip else f"fold {k}"
        text = f"{name}: {fixed(fold.angle, 0)}° {way}, R {number(fold.inside_radius)} mm"
        made.append((text, start + (end - start) * 0.27 + up * f.size * 0.85, turn))
    return made


def _folds(blank: Blank, f: Frame) -> list[str]:
    made = []
    for fold in blank.folds:
        made += [line(np.asarray(tangent), "tangent") for tangent in fold.tangents]
        made.append(line(np.array([fold.start, fold.end], dtype=float), "fold"))
    told = _fold_words(blank, f)
    return [*made, *(words(text, at, f.size * 0.9, turn=turn, kind="halo strong") for text, at, turn in told)]


def _edge_words(blank: Blank, edge: Edge, count: int) -> str:
    """The edge's letter and what it gains or loses: ``A: lose 3.2``."""
    letter = edge.letter or f"{count}"
    if not changes(edge.gain, blank.kind):
        return letter
    return f"{letter}: {'gain' if edge.gain > 0 else 'lose'} {fixed(abs(edge.gain))}"


def _beside(word: str) -> float:
    """Room for a word and its arrow beside the size line, letter heights."""
    return 1.4 + 0.62 * (len(word) + 2)


def _low(f: Frame) -> float:
    """Where the size line under the picture lies."""
    return f.y0 - 2.9 * f.size


def _sizes(f: Frame, unit: str) -> list[str]:
    """Bounding width below and height to the left, as dimension lines."""
    low, left = _low(f), f.x0 - 3.4 * f.size
    return [
        dimension(np.array([f.x0, low]), np.array([f.x1, low]), length(f.x1 - f.x0, unit), f.size),
        dimension(np.array([left, f.y0]), np.array([left, f.y1]), _tight(f.y1 - f.y0, unit, f), f.size),
    ]


def _tight(value: float, unit: str, f: Frame) -> str:
    """A height in both units where there is room beside the piece, else in mm."""
    both = length(value, unit)
    return both if value > 0.55 * f.size * len(both) else fixed(value)


def _bar(f: Frame) -> float:
    """Length of the bar to measure by, mm."""
    return 50.0 if f.x1 - f.x0 < 160 else 100.0


def _foot_middle(f: Frame) -> float:
    """Where the grain stands, right of the bar."""
    return max(f.x1 - 5.0 * f.size, f.x0 + _bar(f) + 7.0 * f.size)


def _foot(blank: Blank, f: Frame) -> list[str]:
    """A 100 mm bar and the grain arrow, under the picture."""
    y, small = f.y0 - 5.5 * f.size, f.size * 0.85
    bar = _bar(f)
    ends = np.array([[f.x0, y], [f.x0 + bar, y]])
    ticks = [np.array([[x, y - small * 0.4], [x, y + small * 0.4]]) for x in (f.x0, f.x0 + bar)]
    data = "".join(ring(p, closed=False) for p in (ends, *ticks))
    made = [
        f'<path class="pen-bar" d="{data}"/>',
        words(f"{number(bar)} mm", (f.x0 + bar / 2, y - small * 1.15), small, kind="soft"),
    ]
    middle = np.array([_foot_middle(f), y])
    if blank.grain_deg is None:
        return [*made, words("grain: any way", middle, small, kind="soft")]
    turn = np.radians(blank.grain_deg)
    along = np.array([np.cos(turn), np.sin(turn)]) * 1.9 * f.size
    side = np.array([-along[1], along[0]]) * 0.18
    heads = [
        np.array([middle + s * along * 0.72 + side, middle + s * along, middle + s * along * 0.72 - side])
        for s in (1, -1)
    ]
    data = "".join(ring(p, closed=False) for p in (np.array([middle - along, middle + along]), *heads))
    made.append(f'<path class="pen-bar" d="{data}"/>')
    made.append(words("grain", middle - [2.4 * f.size, 0], small, anchor="end", kind="soft"))
    return made
