"""One blank drawn on a page at any scale, with everything that is marked on it.

Words used here
    view      scale and shift from the blank's own mm to the page's: 1 on templates, less on drawings
    seam tag  a seam's letter in a ring, with its joint, allowance, neighbour, and what the edge gains or loses
    taken     boxes on the page where words stand already, so that other words keep off

Line weights and letters keep their size on paper whatever the scale.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from . import words
from .blankface import Face
from .blankname import double_arrow, write_name
from .blanknotes import (
    bend_strokes,
    draw_ends_inside,
    draw_ticks,
    draw_worst,
    fitting_strokes,
    name_fittings,
    tick_strokes,
    trim_strokes,
)
from .blankview import FULL, Sizes, View, axes, box_at, is_free, upright
from .look import BLUE, GRID_MM, PENCIL, SIZES
from .pdf import draw_path, fit_size, line, pen, text, text_width
from .rolldraw import draw_rolls
from .seamtags import is_opening, seam_tag
from .zonedraw import draw_signs, zone_words

if TYPE_CHECKING:
    from panels.blank import Fold, Mark

__all__ = ["double_arrow", "draw_blank", "draw_cuts", "draw_grid"]

CURVED_MM = 2.0  # a line on the page that strays further than this from straight has its words beside its curve


def draw_blank(canvas: Any, face: Face, view: View, sizes: Sizes, keep_off: Sequence[Any] = ()) -> None:
    """The blank and all its marks: signs, marks, folds, tags, name, figures; trim and cut lines on top.

    Words keep off the boxes on the page in ``keep_off``.
    """
    taken: list[Any] = list(keep_off)
    metal = _on_page(face.blank.outline, view)
    for zone in face.zones:
        draw_signs(canvas, zone, view)
    pen(canvas, "zone")
    for points in face.zone_lines:
        line(canvas, *view.points(points))
    for mark, runs in face.marks:
        if mark.kind != "bend":
            _mark_line(canvas, mark, runs, view)
    draw_worst(canvas, face, view, taken)
    taken += fitting_strokes(face, view)
    trims = trim_strokes(face, view)
    taken += bend_strokes(face, view)
    taken += tick_strokes(face, view)
    for number, (fold, runs, tangents) in enumerate(face.folds, 1):
        _fold(canvas, fold, number, runs, tangents, view, sizes, taken, metal)
    draw_rolls(canvas, face, view, sizes, taken)
    _words_of_marks(canvas, face, view, sizes, taken, metal, trims, bends=True)
    if sizes is FULL:
        draw_ends_inside(canvas, face, view, 1.3 * sizes.tag, taken, metal)
    name_fittings(canvas, face, view, sizes.small, taken, metal, trims)
    for edge in sorted(face.blank.edges, key=lambda edge: not is_opening(face, edge)):  # these have least choice
        seam_tag(canvas, face, edge, view, sizes, taken, metal, trims)
    draw_ticks(canvas, face, view, sizes.small, taken)
    write_name(canvas, face, view, sizes, taken, metal, trims)
    for k, zone in enumerate(face.zones, 1):
        zone_words(canvas, face, k, zone, view, sizes, taken, metal, trims)
    _words_of_marks(canvas, face, view, sizes, taken, metal, trims, bends=False)
    draw_cuts(canvas, face, view)


def _words_of_marks(
    canvas: Any,
    face: Face,
    view: View,
    sizes: Sizes,
    taken: list[Any],
    metal: Any,
    trims: Sequence[Any],
    *,
    bends: bool,
) -> None:
    """The labels of all marks but fittings: of the bends of lips, or of the others."""
    from shapely.geometry import LineString

    named: set[str] = set()
    strokes = [
        (mark, LineString(view.points(run)))
        for mark, runs in face.marks
        if mark.kind in ("style", "bend")
        for run in runs
        if len(run) > 1
    ]
    for mark, runs in face.marks:
        if (mark.kind == "bend") == bends:
            others = [stroke for other, stroke in strokes if other is not mark and other.kind == mark.kind]
            _mark_words(canvas, mark, runs, view, sizes, taken, named, metal, others, trims)


def draw_cuts(canvas: Any, face: Face, view: View) -> None:
    """Trim lines dashed, the bends of lips, then the cut line: thin and black."""
    for mark, runs in face.marks:
        if mark.kind == "bend":
            _mark_line(canvas, mark, runs, view)
    for name, path in face.trims:
        pen(canvas, name)
        draw_path(canvas, view.path(path))
    pen(canvas, "cut")
    for path in face.cuts:
        draw_path(canvas, view.path(path))


def draw_grid(canvas: Any, low: Sequence[float], high: Sequence[float], view: View) -> None:
    """A 50 mm grid over a rectangle of the blank's own mm, counted from its lower left corner."""
    pen(canvas, "grid")
    counts = [math.floor((high[k] - low[k]) / GRID_MM + 1e-6) for k in (0, 1)]
    for axis in (0, 1):
        for k in range(counts[axis] + 1):
            at = low[axis] + k * GRID_MM
            ends = np.array([low, high], dtype=float)
            ends[:, axis] = at
            a, b = view.points(ends)
            line(canvas, a, b)
            if k:
                x, y = a + ([0.6, 0.8] if axis == 0 else [0.8, 0.6])
                text(canvas, x, y, f"{k * GRID_MM:.0f}", SIZES["fine"], colour=PENCIL)


def _on_page(shape: Any, view: View) -> Any:
    """A shape of the blank on the page."""
    from shapely import affinity, prepare

    k = view.scale
    moved = affinity.affine_transform(shape, [k, 0, 0, k, *view.shift])
    prepare(moved)
    return moved


def _mark_line(canvas: Any, mark: Mark, runs: Sequence[np.ndarray], view: View) -> None:
    known = ("centre", "station", "style", "register", "fitting", "bend")
    pen(canvas, mark.kind if mark.kind in known else "station")
    for run in runs:
        line(canvas, *view.points(run))


def _mark_words(
    canvas: Any,
    mark: Mark,
    runs: Sequence[np.ndarray],
    view: View,
    sizes: Sizes,
    taken: list[Any],
    named: set[str],
    metal: Any,
    others: Sequence[Any],
    trims: Sequence[Any],
) -> None:
    """A mark's label, off the ``others`` of its kind; a station's in full once, then by its number only, at the ends
    of each of its lines."""
    if not mark.label or not runs:
        return
    if mark.kind == "station":
        short = mark.label.split()[0]
        for run in (runs[0], runs[-1][::-1]):
            labels = (short,) if mark.label in named else (mark.label, short)
            for label, strict in [(label, strict) for strict in (True, False) for label in labels]:
                found = _station_number(canvas, label, view.points(run), sizes, taken, metal, trims, strict)
                if found:
                    named |= {label} & {mark.label}
                    break
            if found and float(np.hypot(*(run[-1] - run[0]))) * view.scale < 45:
                break
        return
    if mark.kind == "fitting":
        return  # `name_fittings` has
    longest = view.points(max(runs, key=lambda r: float(np.hypot(*(r[-1] - r[0])))))
    along = longest[-1] - longest[0]
    length = float(np.hypot(*along))
    if length < 4:
        return
    turn = upright(along)
    unit, up = axes(turn)
    start = longest[0] if float(unit @ along) > 0 else longest[-1]
    size = fit_size(mark.label, max(length, 20.0), sizes.small)
    wide = text_width(mark.label, size)
    shares = (0.1, 0.3, 0.6, 0.8, 0.45)
    if np.abs((longest - longest[0]) @ up).max() > CURVED_MM:
        places = [_beside(longest, share, wide, lift, size) for lift in (1, -1) for share in shares]
    else:
        ahead = [min(max(share * length, 2.0), max(length - wide, 0.0)) for share in shares]
        places = [(start + unit * k + up * r, turn) for r in (0.9, -0.9 - size) for k in ahead]
    for at, turn in places:
        box = box_at(at, wide, 1.3 * size, turn)
        if is_free(box, [*taken, *others]) and metal.contains(box):
            taken.append(box)
            text(canvas, at[0], at[1], mark.label, size, turn=turn, colour=PENCIL, paper=True)
            return


def _beside(run: np.ndarray, share: float, wide: float, side: int, size: float) -> tuple[np.ndarray, float]:
    """Left foot and turn of words ``wide`` beside a curve, at a share of its length: over it (side 1) or under it."""
    far = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(run, axis=0).T))])
    middle = min(max(share * far[-1], wide / 2), far[-1] - wide / 2)
    reach = np.linspace(middle - wide / 2, middle + wide / 2, 9)
    on = np.column_stack([np.interp(reach, far, run[:, k]) for k in (0, 1)])
    turn = upright(on[-1] - on[0])
    unit, up = axes(turn)
    rise = (on - on[4]) @ up
    lift = rise.max() + 0.9 if side > 0 else rise.min() - 0.9 - size
    return on[4] - unit * wide / 2 + up * lift, turn


def _station_number(
    canvas: Any,
    label: str,
    run: np.ndarray,
    sizes: Sizes,
    taken: list[Any],
    metal: Any,
    trims: Sequence[Any],
    strict: bool,
) -> bool:
    """The number on a station line near the end it starts from, else beside it; whether it found room.

    Strictly it is all on the metal and off the trim lines; else it may stand on the line over one of these.
    """
    from shapely import box, contains, intersects

    steps = np.hypot(*np.diff(run, axis=0).T)
    along = np.concatenate([[0.0], np.cumsum(steps)])
    wide = text_width(label, sizes.tag)
    far = float(along[-1])
    reaches = [r for r in (7.5 + sizes.tag, 16 + sizes.tag, 28 + sizes.tag) if far >= 2 * r - 6]
    short = sizes.tag * 1.4  # lines too short for these carry it close to an end, or in the middle
    if far > 2 * short:
        reaches += [short, far - short, far / 2]
    if not reaches:
        return False
    on = np.column_stack([np.interp(reaches, along, run[:, k]) for k in (0, 1)]) - [0.0, 0.36 * sizes.tag]
    low, high = np.array([-wide / 2 - 0.6, -0.3]), np.array([wide / 2 + 0.6, 1.2 * sizes.tag - 0.3])
    found = None
    for shift in (0.0, wide / 2 + 1.2, -wide / 2 - 1.2):
        feet = on + [shift, 0.0]
        boxes = np.asarray(box(*(feet + low).T, *(feet + high).T))
        free = ~intersects(np.array(taken)[:, None], boxes).any(axis=0) if taken else np.ones(len(boxes), dtype=bool)
        clear = free & contains(metal, boxes)
        if trims and clear.any():
            clear = clear & ~intersects(np.array(trims)[:, None], boxes).any(axis=0)
        if clear.any():
            found = feet[int(np.argmax(clear))], boxes[int(np.argmax(clear))]
            break
        if free.any() and not strict:
            found = feet[int(np.argmax(free))], boxes[int(np.argmax(free))]
            break
    if found is None:
        return False
    (x, y), room = found
    taken.append(room)
    text(canvas, float(x), float(y), label, sizes.tag, align="middle", paper=True)
    return True


def _fold(
    canvas: Any,
    fold: Fold,
    number: int,
    runs: Sequence[np.ndarray],
    tangents: Sequence[np.ndarray],
    view: View,
    sizes: Sizes,
    taken: list[Any],
    metal: Any,
) -> None:
    """The fold's lines and its words beside them: on a short fold fewer, down to its number in the table."""
    from shapely.geometry import LineString

    pen(canvas, "tangent")
    for run in tangents:
        line(canvas, *view.points(run))
    pen(canvas, "fold", BLUE)
    for run in runs:
        line(canvas, *view.points(run))
    taken += [LineString(view.points(run)) for run in (*runs, *tangents)]  # other words do not break its lines
    a, b = view.points(fold.start), view.points(fold.end)
    along = b - a
    length = float(np.hypot(*along))
    turn = upright(along)
    unit, up = axes(turn)
    corners = view.points(fold.tangents.reshape(-1, 2))
    over, under = (float(((corners - a) @ side).max()) for side in (up, -up))
    start = a if float(unit @ along) > 0 else b
    way = "\u2191 UP" if fold.up else "\u2193 DOWN"
    kind = f"lip {fold.lip}" if fold.lip else "fold"
    short = f"{kind} {way} {words.fixed(fold.angle)}\u00b0"
    whole = f"{short}, inside radius {words.fixed(fold.inside_radius)} mm, K {words.fixed(fold.k_factor, 3)}"
    for says in (whole, short, f"{way[0]} {words.fixed(fold.angle)}\u00b0", f"{kind} {number}", f"{number}"):
        size = fit_size(says, 0.8 * length, sizes.tag, bold=True)
        wide = text_width(says, size, bold=True)
        if wide > length and says != f"{number}":
            continue
        for lift in (over + 1.2, -under - 1.2 - size):
            for share in (0.12, 0.3, 0.5, 0.7):
                at = start + unit * min(share * length, max(length - wide, 0.0)) + up * lift
                box = box_at(at, wide, 1.4 * size, turn)
                if is_free(box, taken) and not metal.exterior.crosses(box):
                    taken.append(box)
                    text(canvas, at[0], at[1], says, size, turn=turn, bold=True, colour=BLUE, paper=True)
                    return
