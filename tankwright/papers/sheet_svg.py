"""A nested sheet as a picture: blanks with their numbers and cut order, kept offcuts, shear cuts, grain, sizes."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from .cutting_order import order_letter
from .svg import dimension, line, ring, shape_path, svg, words
from .words import fixed, length
from .words import size as fit

if TYPE_CHECKING:
    from nesting import Layout, UsedSheet
    from nesting.model import Placed

__all__ = ["sheet_svg"]

LEAST = 0.95  # a number lower than this, in text heights, is not read
WIDE, TALL = 44.0, 64.0  # the picture in text heights, at most


def sheet_svg(layout: Layout, used: UsedSheet, got: dict[str, Any], *, name: str, unit: str = "mm") -> str:
    """The picture of one sheet; ``got`` is its entry of `results.figures`, offcuts and cuts with it."""
    import shapely

    wide, high = used.sheet.width, used.sheet.height
    size = max(wide / (WIDE - 7), high / (TALL - 8))
    number = {part["name"]: part["piece"] for part in got["parts"]}
    # On a shear the cuts carry the order, not the blanks.
    order = {} if layout.cuts else {part["name"]: order_letter(k) for k, part in enumerate(got["parts"], 1)}
    step = size * 0.8
    placed = layout.on_sheet(used.index)
    laid = shapely.union_all([p.outline for p in placed])
    shapely.prepare(laid)
    parts = [
        f'<defs><pattern id="{name}-keep" width="{step}" height="{step}" patternUnits="userSpaceOnUse" '
        f'patternTransform="rotate(-45)"><path class="keepline" d="M0,0v{step}"/></pattern></defs>',
        f'<path class="skeleton" fill-rule="evenodd" d="{shape_path(used.sheet.metal)}"/>',
        *(f'<path class="blocked" d="{shape_path(b)}"/>' for b in used.sheet.blocked),
        *_offcuts(layout, used.index, got, size, name, unit),
        *(_part(p, number.get(p.part.name), order.get(p.part.name), size) for p in placed),
        *(_beside(p, number.get(p.part.name), laid, used, size) for p in placed),
        *_cuts(layout, used.index, size),
        f'<path class="pen-sheet" fill-rule="evenodd" d="{shape_path(used.sheet.metal)}"/>',
        dimension(np.array([0, -2.2 * size]), np.array([wide, -2.2 * size]), length(wide, unit), size),
        dimension(np.array([-2.2 * size, 0]), np.array([-2.2 * size, high]), length(high, unit), size),
        *_grain(used, size),
    ]
    box = (-4.2 * size, -5.6 * size, wide + 1.5 * size, high + 1.5 * size)
    told = ", ".join(f"{part['piece']} {part['name']}" for part in got["parts"])
    return svg(
        box, parts, title=f"Sheet {got['sheet']}, {fixed(wide)} by {fixed(high)} mm",
        describes=f"On it: {told}", kind="nest", name=name,
    )  # fmt: skip


def _part(placed: Placed, piece: int | None, order: str | None, size: float) -> str:
    """One blank: outline, number, name, turn, and its place in the order of cutting."""
    from shapely import maximum_inscribed_circle

    shape = placed.outline
    spot = maximum_inscribed_circle(shape, tolerance=max(1.0, shape.length / 300))
    x, y = spot.coords[0]
    room = spot.length * 2  # diameter of the free circle
    x0, y0, x1, y1 = shape.bounds
    upright = (y1 - y0) > 1.6 * (x1 - x0)
    turn = 90.0 if upright else 0.0
    up = np.array([-1.0, 0.0]) if upright else np.array([0.0, 1.0])
    head = str(piece) if piece is not None else placed.part.name
    over = ", FACE DOWN" if placed.flipped else ""
    below = f"{placed.part.name}{over}"
    lines = [(head, min(size * 2.0, room * 0.7), "halo strong")] if room * 0.7 >= LEAST * size else []
    if piece is not None and room > 3.0 * size:
        lines.append((below, size, "halo"))
    if room > 4.4 * size and order is not None:
        lines.append((f"cut {order}", size * 0.85, "halo soft"))
    made = [
        f'<path class="laid" fill-rule="evenodd" d="{shape_path(shape)}"/>',
        f'<path class="pen-cut heavy" d="{shape_path(shape)}"/>',
    ]
    reach = sum(height for _, height, _ in lines) / 2 * 1.05
    for text, height, kind in lines:
        made.append(words(text, np.array([x, y]) + up * (reach - height / 2), height, turn=turn, kind=kind))
        reach -= height * 1.08
    return "".join(made)


def _beside(placed: Placed, piece: int | None, laid: Any, used: UsedSheet, size: float) -> str:
    """The number of a piece too narrow for it, on the free metal beside it, led to it; nothing where it has room."""
    import shapely

    shape = placed.outline
    spot = shapely.maximum_inscribed_circle(shape, tolerance=max(1.0, shape.length / 300))
    if spot.length * 1.4 >= LEAST * size:
        return ""
    text = str(piece) if piece is not None else placed.part.name
    half = np.array([0.34 * len(text) + 0.15, 0.6]) * size
    middle = np.asarray(spot.coords[0])
    x0, y0, x1, y1 = shape.bounds
    best, least = middle, np.inf
    for far in (0.5, 1.2, 2.0, 3.0):
        for share in (0.5, 0.2, 0.8, 0.0, 1.0):
            x, y = x0 + share * (x1 - x0), y0 + share * (y1 - y0)
            off = half + far * size * 0.6
            for at in ((x0 - off[0], y), (x1 + off[0], y), (x, y1 + off[1]), (x, y0 - off[1])):
                room = shapely.box(at[0] - half[0], at[1] - half[1], at[0] + half[0], at[1] + half[1])
                bad = float(laid.intersection(room).area if laid.intersects(room) else 0.0)
                bad += 0.0 if used.sheet.metal.contains(room) else room.area
                if bad < least - 1e-6:
                    best, least = np.array(at), bad
        if least == 0:
            break
    way = middle - best
    start = best + way * min(1.0, float(np.min(half / np.maximum(np.abs(way), 1e-9))))
    return line(np.array([start, middle]), "lead") + words(text, best, 1.15 * size, kind="halo strong")


def _offcuts(layout: Layout, index: int, got: dict[str, Any], size: float, name: str, unit: str) -> list[str]:
    made = []
    for k, offcut in enumerate(layout.offcuts, 1):
        if offcut.sheet != index:
            continue
        wide, high = offcut.size
        data = shape_path(offcut.outline)
        made.append(f'<path class="pen-offcut" style="fill:url(#{name}-keep)" d="{data}"/>')
        point = offcut.outline.representative_point()
        centre = offcut.outline.centroid
        if offcut.outline.contains(centre):
            point = centre
        text = fit(wide, high, unit)
        turn = 90.0 if high > wide < 0.62 * len(text) * size else 0.0
        small = min(size, (high if turn else wide) / (0.62 * len(text)))
        up = np.array([-1.0, 0.0]) if turn else np.array([0.0, 1.0])
        at = np.array([point.x, point.y])
        made.append(words(f"keep K{k}", at + up * 0.65 * size, size * 1.1, turn=turn, kind="halo strong"))
        made.append(words(text, at - up * 0.65 * size, small, turn=turn, kind="halo"))
    return made


def _cuts(layout: Layout, index: int, size: float) -> list[str]:
    """Shear cuts, numbered near their first end, where no other number stands."""
    lines, tags, taken = [], [], np.empty((0, 2))
    for cut in layout.cuts:
        if cut.sheet != index:
            continue
        ends = np.asarray(cut.line, dtype=float)
        lines.append(line(ends, "shear"))
        far = float(np.hypot(*(ends[1] - ends[0])))
        steps = np.arange(1.4 * size, max(far - 0.6 * size, 1.5 * size), 0.45 * size)
        places = ends[0] + (ends[1] - ends[0]) * (steps / max(far, 1e-9))[:, None]
        apart = np.hypot(*(places[:, None] - taken[None]).transpose(2, 0, 1)).min(axis=1, initial=np.inf)
        at = places[np.argmax(np.minimum(apart, 1.9 * size))]
        taken = np.vstack([taken, at])
        tags.append(
            f'<circle class="tag" cx="{fixed(at[0])}" cy="{fixed(-at[1])}" r="{fixed(size * 0.85)}"/>'
            + words(str(cut.order), at, size * 0.95, kind="strong")
        )
    return [*lines, *tags]


def _grain(used: UsedSheet, size: float) -> list[str]:
    y = -4.6 * size
    if used.sheet.grain_deg is None:
        return [words("no grain given", (used.sheet.width / 2, y), size * 0.9, kind="soft")]
    flat = used.sheet.grain_deg == 0
    middle = np.array([used.sheet.width / 2 + 2.4 * size, y])
    along = np.array([1.0, 0.0]) * 2 * size if flat else np.array([0.0, 1.0]) * 0.8 * size
    side = np.array([-along[1], along[0]]) * (0.15 if flat else 0.35)
    shapes = [np.array([middle - along, middle + along])] + [
        np.array([middle + s * along * 0.7 + side, middle + s * along, middle + s * along * 0.7 - side])
        for s in (1, -1)
    ]
    data = "".join(ring(p, closed=False) for p in shapes)
    label = words("grain of the sheet", middle - [2.6 * size, 0], size * 0.9, anchor="end", kind="soft")
    return [f'<path class="pen-bar" d="{data}"/>', label]
