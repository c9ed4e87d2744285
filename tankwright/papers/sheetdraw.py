"""One sheet of the nest drawn on a page, and what is on it in tables: order, places, cuts, areas."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from . import words
from .blankview import View
from .cutting import piece_numbers
from .cutting_later import later_on, sheet_order
from .cutting_order import order_letter
from .cutting_words import figure
from .look import FAINT, INK, SIZES
from .outline import fit_outline
from .pdf import draw_path, fit_size, line, pen, polygon, text, text_width
from .shearsteps import turn_words
from .sheetlabels import BALLOON, Page, Told, label_part, ring

if TYPE_CHECKING:
    from ..work import Work

__all__ = ["draw_sheet", "sheet_tables"]

Table = tuple[list[float], list[list[str]], tuple[int, ...]]


def draw_sheet(canvas: Any, work: Work, index: int, at: tuple[float, float], room: tuple[float, float]) -> None:
    """The sheet as large as there is room: parts by cut list number, offcuts hatched, the order of cutting in rings:
    letters for a machine, figures for the strokes of a shear."""
    import shapely
    from shapely import affinity, unary_union

    layout, used = work.layout, work.layout.sheets[index]
    sheet = used.sheet
    scale = min((room[0] - 8) / sheet.width, (room[1] - 12) / sheet.height)
    low = (at[0] + (room[0] - scale * sheet.width) / 2, at[1] + room[1] - 4 - scale * sheet.height)
    view = View(scale, low)
    taken = [
        _offcut(canvas, work, k, offcut, view) for k, offcut in enumerate(layout.offcuts, 1) if offcut.sheet == index
    ]
    pen(canvas, "sheet")
    outer, inner = fit_outline(sheet.metal)
    for path in (outer, *inner):
        draw_path(canvas, view.path(path))
    for blocked in sheet.blocked:
        polygon(canvas, view.points(np.asarray(blocked.exterior.coords)).tolist(), fill=FAINT)
    numbers, order, later = piece_numbers(work), sheet_order(work, index), later_on(work, index)
    for placed in order:
        _outline(canvas, placed, view)
    parts = unary_union([placed.outline for placed in order])
    metal = affinity.affine_transform(parts, [scale, 0, 0, scale, *low])
    corner = view.points([[0, 0], [sheet.width, sheet.height]])
    middle = (corner[0] + corner[1]) / 2
    unit = work.job.unit
    wide, high = words.length(sheet.width, unit), words.length(sheet.height, unit)
    half = text_width(high, SIZES["small"]) / 2
    beside = corner[0][0] - 1.4 - SIZES["small"], corner[0][0] - 1.0
    taken.append(np.array([[beside[0], middle[1] - half], [beside[1], middle[1] + half]]))
    foot = np.array([[corner[0][0], corner[0][1] - 9.0], [corner[1][0], corner[0][1] - 1.0]])
    taken.append(foot)
    rim = shapely.box(*corner.ravel()).exterior
    coarse = metal.simplify(0.2)
    shapely.prepare([coarse, rim])
    page = Page(coarse, rim, np.array(at), np.array(at) + room)
    widest = sorted(enumerate(order, 1), key=lambda each: -each[1].outline.area)  # these have their place in any case
    for place, placed in widest:
        name = placed.part.name
        ringed = "" if layout.cutting == "shear" else order_letter(place)
        told = Told(numbers.get(name, "-"), name, ringed, name in later, placed.flipped)
        label_part(canvas, placed, told, view, page, taken)
    cuts = [(cut.order, view.points(cut.line)) for cut in layout.cuts if cut.sheet == index]
    lines = shapely.multilinestrings([ends for _, ends in cuts]) if cuts else None
    pen(canvas, "shear")
    for _, ends in cuts:
        line(canvas, *ends)
    for number, (a, b) in cuts:
        x, y = _clear_of(a, b, metal, lines, taken)
        ring(canvas, float(x), float(y), str(number))
    text(canvas, corner[1][0], corner[0][1] - 3.6, wide, SIZES["small"], align="right")
    text(canvas, corner[0][0] - 1.4, middle[1], high, SIZES["small"], turn=90, align="middle")
    _grain(canvas, sheet.grain_deg, corner)
    text(canvas, corner[0][0], corner[0][1] - 3.6, "0", SIZES["small"], bold=True)


def _clear_of(a: np.ndarray, b: np.ndarray, metal: Any, cuts: Any, taken: list[np.ndarray]) -> np.ndarray:
    """Where on a cut its balloon hides least of parts, of other cuts and of what was set before."""
    import shapely

    at = a + (b - a) * np.linspace(0.04, 0.96, 24)[:, None]
    low, top = at - BALLOON, at + BALLOON
    boxes = shapely.box(*low.T, *top.T)
    hidden = shapely.area(shapely.intersection(boxes, metal))
    hidden += 2 * BALLOON * shapely.length(shapely.intersection(boxes, cuts))  # it would be read as another cut's
    for other in taken:
        hidden += 3 * np.clip(np.minimum(top, other[1]) - np.maximum(low, other[0]), 0, None).prod(axis=1)
    best = int(np.argmin(hidden.round(3)))
    taken.append(np.array([low[best], top[best]]))
    return np.asarray(at[best])


def _grain(canvas: Any, grain_deg: float | None, corner: np.ndarray) -> None:
    """The sheet's grain, beside it."""
    y = corner[0][1] - 7.2
    if grain_deg is None:
        text(canvas, corner[0][0], y, "no grain direction", SIZES["small"])
        return
    text(canvas, corner[0][0], y, "grain of the sheet", SIZES["small"])
    a = np.array([corner[0][0] + 31.0, y + 0.8])
    along = np.array([1.0, 0.0]) if grain_deg == 0.0 else np.array([0.0, 1.0])
    start, end = (a, a + along * 18) if grain_deg == 0.0 else (a - along * 1.5, a + along * 5)
    pen(canvas, "fitting")
    line(canvas, start, end)
    side = np.array([-along[1], along[0]])
    for tip, way in ((start, 1.0), (end, -1.0)):
        line(canvas, tip + way * along * 2 + side * 0.7, tip, tip + way * along * 2 - side * 0.7)


def _outline(canvas: Any, placed: Any, view: View) -> None:
    pen(canvas, "cut")
    outer, inner = fit_outline(placed.outline)
    for path in (*inner, outer):
        draw_path(canvas, view.path(path))


def _offcut(canvas: Any, work: Work, number: int, offcut: Any, view: View) -> np.ndarray:
    """A kept offcut: thin slanting lines, its size, and the word keep; the box (2, 2) of the words."""
    from shapely import LineString, maximum_inscribed_circle

    x0, y0, x1, y1 = offcut.outline.bounds
    pen(canvas, "grid")
    step = 5.0 / view.scale
    start = x0 - (y1 - y0)
    while start < x1:
        cut: Any = LineString([(start, y0), (start + (y1 - y0), y1)]).intersection(offcut.outline)
        for part in getattr(cut, "geoms", [cut]):
            if part.geom_type == "LineString" and part.length > 0:
                line(canvas, *view.points(np.asarray(part.coords)))
        start += step
    pen(canvas, "offcut")
    draw_path(canvas, view.path(fit_outline(offcut.outline)[0]))
    wide, high = offcut.size
    says = f"keep K{number}, {words.size(wide, high, work.job.unit)}"
    (x, y), long, turn = view.points([(x0 + x1) / 2, (y0 + y1) / 2]), 0.9 * (x1 - x0) * view.scale, 0.0
    if offcut.outline.area < 0.98 * (x1 - x0) * (y1 - y0):  # no rectangle: where there is most room
        circle: Any = maximum_inscribed_circle(offcut.outline, tolerance=2.0)
        (x, y), long = view.points(circle.coords[0]), 1.9 * float(circle.length) * view.scale
    elif y1 - y0 > x1 - x0 and text_width(says, SIZES["small"]) > long:
        long, turn = 0.9 * (y1 - y0) * view.scale, 90.0
    size = fit_size(says, long, SIZES["body"], least=1.4)
    text(canvas, x, y, says, size, turn=turn, align="middle", colour=INK, paper=True)
    half = text_width(says, size) / 2
    if turn:
        return np.array([[x - size, y - half], [x + 0.3 * size, y + half]])
    return np.array([[x - half, y - 0.3 * size], [x + half, y + size]])


def sheet_tables(work: Work, index: int) -> list[Table]:
    """Parts in cutting order, where the metal goes, and what else is to know of the sheet."""
    layout, used = work.layout, work.layout.sheets[index]
    unit = work.job.unit
    numbers = piece_numbers(work)
    torch, later = layout.cutting != "shear", later_on(work, index)
    rows = [[*(["cut"] if torch else []), "piece", "name", "lower left at", "size", "turned left"]]
    for order, placed in enumerate(sheet_order(work, index), 1):
        x0, y0, x1, y1 = placed.outline.bounds
        turned = turn_words(placed.turn_deg) + (", over" if placed.flipped else "")
        size = f"{figure(x1 - x0, unit)} \u00d7 {figure(y1 - y0, unit)}"
        place, number = f"{figure(x0, unit)}, {figure(y0, unit)}", numbers.get(placed.part.name, "-")
        name = placed.part.name + (", HOLD" if placed.part.name in later else "")
        rows.append([*([order_letter(order)] if torch else []), number, name, place, size, turned])
    widths = [7.0, 8.0, 26.0, 19.0, 21.0, 12.0] if torch else [8.0, 27.0, 21.0, 24.0, 13.0]
    tables: list[Table] = [(widths, rows, ())]
    density = work.job.metal.density * work.job.thickness / 1e9
    rows = [["where the metal goes", "m\u00b2", "kg"]]
    for name, area in (
        ("parts", used.parts_area),
        ("offcuts kept", used.offcuts_area),
        ("scrap", used.skeleton_area),
        ("sheet", used.sheet.area),
    ):
        rows.append([name, words.fixed(area / 1e6, 4), words.fixed(area * density, 2)])
    tables.append(([45, 24, 24], rows, (1, 2)))
    facts = [["gap, edge margin", f"{figure(layout.gap_mm, unit)}, {figure(layout.edge_mm, unit)} mm"]]
    facts += [["cut length", f"{words.fixed(used.cut_length / 1000, 2)} m"], ["pierces", str(used.pierces)]]
    facts += [["", "both with what waits (HOLD)"]] if later else []
    facts.append(["order", "by the list above" if torch else "by the list of its cuts"])
    for k, offcut in enumerate(layout.offcuts, 1):
        if offcut.sheet == index:
            x0, y0, _, _ = offcut.outline.bounds
            facts.append([f"keep K{k}", words.size(*offcut.size, unit)])
            facts.append(["  its lower left at", f"{figure(x0, unit)}, {figure(y0, unit)}"])
    tables.append(([38, 55], [["about this sheet", ""], *facts], ()))
    return tables
