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
from .blankface import Face, named
from .blanknotes import (
    draw_ends_inside,
    draw_ticks,
    draw_worst,
    fitting_strokes,
    free_beside,
    lead,
    name_fittings,
    trim_strokes,
    write_inside,
)
from .blankview import FULL, SMALL, Sizes, View, axes, box_at, is_free, upright
from .look import BLUE, GRID_MM, PENCIL, RED, SIZES
from .pdf import draw_path, fit_size, line, lines, pen, text, text_width
from .rolldraw import draw_rolls
from .seamtags import is_opening, seam_tag

if TYPE_CHECKING:
    from panels.blank import Fold, Mark

    from .zones import Zone

__all__ = ["double_arrow", "draw_blank", "draw_cuts", "draw_grid"]

LEAST_MM = 1.6  # words about a blank that come out smaller than this are left to the page
CURVED_MM = 2.0  # a line on the page that strays further than this from straight has its words beside its curve
SIGN_STEP_MM = 12.5  # spacing of the plus and minus signs that fill zones at full size, on paper


def draw_blank(canvas: Any, face: Face, view: View, sizes: Sizes, keep_off: Sequence[Any] = ()) -> None:
    """The blank and all its marks: signs, marks, folds, tags, name, figures; trim and cut lines on top.

    Words keep off the boxes on the page in ``keep_off``.
    """
    taken: list[Any] = list(keep_off)
    metal = _on_page(face.blank.outline, view)
    for zone in face.zones:
        _signs(canvas, zone, view)
    pen(canvas, "zone")
    for points in face.zone_lines:
        line(canvas, *view.points(points))
    for mark, runs in face.marks:
        if mark.kind != "bend":
            _mark_line(canvas, mark, runs, view)
    draw_worst(canvas, face, view, taken)
    taken += fitting_strokes(face, view)
    for number, (fold, runs, tangents) in enumerate(face.folds, 1):
        _fold(canvas, fold, number, runs, tangents, view, sizes, taken, metal)
    draw_rolls(canvas, face, view, sizes, taken)
    _words_of_marks(canvas, face, view, sizes, taken, metal, bends=True)
    if sizes is FULL:
        draw_ends_inside(canvas, face, view, 1.3 * sizes.tag, taken, metal)
    name_fittings(canvas, face, view, sizes.small, taken, metal)
    for edge in sorted(face.blank.edges, key=lambda edge: not is_opening(face, edge)):  # these have least choice
        seam_tag(canvas, face, edge, view, sizes, taken, metal)
    draw_ticks(canvas, face, view, sizes.small, taken)
    _name(canvas, face, view, sizes, taken, metal)
    for k, zone in enumerate(face.zones, 1):
        _zone_words(canvas, face, k, zone, view, sizes, taken, metal)
    _words_of_marks(canvas, face, view, sizes, taken, metal, bends=False)
    draw_cuts(canvas, face, view)


def _words_of_marks(
    canvas: Any, face: Face, view: View, sizes: Sizes, taken: list[Any], metal: Any, *, bends: bool
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
            _mark_words(canvas, mark, runs, view, sizes, taken, named, metal, others)


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
) -> None:
    """A mark's label, off the ``others`` of its kind; a station's in full once, then by its number only, at the ends
    of each of its lines."""
    if not mark.label or not runs:
        return
    if mark.kind == "station":
        short = mark.label.split()[0]
        for run in (runs[0], runs[-1][::-1]):
            label = short if mark.label in named else mark.label
            found = _station_number(canvas, label, view.points(run), sizes, taken)
            if found:
                named.add(mark.label)
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


def _station_number(canvas: Any, label: str, run: np.ndarray, sizes: Sizes, taken: list[Any]) -> bool:
    """The number on a station line near the end it starts from, where it is free; whether it found room."""
    steps = np.hypot(*np.diff(run, axis=0).T)
    along = np.concatenate([[0.0], np.cumsum(steps)])
    wide = text_width(label, sizes.tag)
    far = float(along[-1])
    reaches = [r for r in (7.5 + sizes.tag, 16 + sizes.tag, 28 + sizes.tag) if far >= 2 * r - 6]
    short = sizes.tag * 1.4  # lines too short for these carry it close to an end, or in the middle
    if sizes is SMALL and far > 2 * short:
        reaches += [short, far - short, far / 2]
    for reach in reaches:
        x, y = (float(np.interp(reach, along, run[:, k])) for k in (0, 1))
        box = box_at(np.array([x - wide / 2, y - 0.36 * sizes.tag]), wide, 1.2 * sizes.tag, 0.0)
        if is_free(box, taken):
            taken.append(box)
            text(canvas, x, y - 0.36 * sizes.tag, label, sizes.tag, align="middle", paper=True)
            return True
    return False


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


def _signs(canvas: Any, zone: Zone, view: View) -> None:
    """Plus signs where metal is stretched, minus signs where it is shrunk, larger where it is harder."""
    from shapely import contains_xy

    if zone.kind == "leave":
        return
    full = view.scale > 0.5
    step = (SIGN_STEP_MM if full else 6.0) / view.scale
    x0, y0, x1, y1 = zone.shape.bounds
    xs = np.arange(math.floor(x0 / step), math.ceil(x1 / step) + 1) * step
    ys = np.arange(math.floor(y0 / step), math.ceil(y1 / step) + 1) * step
    grid = np.array([(x + step / 2 * (k % 2), y) for k, y in enumerate(ys) for x in xs])
    inside = grid[contains_xy(zone.shape, grid[:, 0], grid[:, 1])]
    reach = (0.5 + 0.25 * zone.level) * (1.0 if full else 0.7)
    pen(canvas, "rule", RED if zone.kind == "stretch" else BLUE)
    at = view.points(inside)[:, None]
    strokes = [at + np.array([[-reach, 0.0], [reach, 0.0]])]
    if zone.kind == "stretch":
        strokes.append(at + np.array([[0.0, -reach], [0.0, reach]]))
    lines(canvas, np.concatenate(strokes))


def _zone_words(
    canvas: Any, face: Face, number: int, zone: Zone, view: View, sizes: Sizes, taken: list[Any], metal: Any
) -> None:
    """Number, mean and worst of a zone where it is widest and free; on small drawings else beside the blank, led to it.

    Where there is no room at all the number stands alone.
    """
    if zone.kind == "leave":
        return
    word = "STRETCH +" if zone.kind == "stretch" else "SHRINK \u2212"
    says = f"{number} {word} mean {words.percent(abs(zone.mean))}"
    worst = f"worst {words.percent(abs(zone.worst))}, {words.difficulty(abs(zone.worst), _limits(face))}"
    wide = max(text_width(says, sizes.tag, bold=True), text_width(worst, sizes.small))
    high = 3 * sizes.tag
    x, y, room = _roomiest(zone.shape, view, taken, clear=0.3 * wide)
    colour = RED if zone.kind == "stretch" else BLUE
    box = _zone_box(x, y, wide, sizes)
    if sizes is SMALL and not is_free(box, taken):
        spot = free_beside(np.array([x, y]), (wide, high), taken, metal)
        if spot is None:
            _zone_number(canvas, number, (x, y), room, colour, sizes, taken)
            return
        lead(canvas, spot, (wide, high), np.array([x, y]))
        x, y = float(spot[0]), float(spot[1])
        box = _zone_box(x, y, wide, sizes)
    text(canvas, x, y + 0.3, says, sizes.tag, bold=True, align="middle", colour=colour, paper=True)
    text(canvas, x, y - 1.3 * sizes.small, worst, sizes.small, align="middle", colour=colour, paper=True)
    taken.append(box)


def _zone_box(x: float, y: float, wide: float, sizes: Sizes) -> Any:
    return box_at(np.array([x - wide / 2, y - 1.5 * sizes.small]), wide, 3 * sizes.tag, 0.0)


def _zone_number(
    canvas: Any, number: int, at: tuple[float, float], room: float, colour: Any, sizes: Sizes, taken: list[Any]
) -> None:
    """A zone's number alone, where the zone is widest: the table has the rest."""
    size = min(sizes.tag, max(1.6, 1.4 * room))
    x, y = at[0], at[1] - 0.36 * size
    text(canvas, x, y, str(number), size, bold=True, align="middle", colour=colour, paper=True)
    taken.append(box_at(np.array([x - 0.5 * size, y]), size, 1.2 * size, 0.0))


def _limits(face: Face) -> tuple[float, float, float]:
    return words.difficulty_limits(face.work.job)


def _roomiest(shape: Any, view: View, taken: Sequence[Any], clear: float) -> tuple[float, float, float]:
    """Middle and radius on the page of the largest circle in a shape of the blank that keeps off what is taken."""
    from shapely import affinity, buffer, maximum_inscribed_circle, union_all

    k = view.scale
    free: Any = affinity.affine_transform(shape, [k, 0, 0, k, *view.shift])
    if taken:
        for reach in (clear, 0.0):
            less = free.difference(union_all(buffer(list(taken), reach, quad_segs=2)))
            if not less.is_empty and less.area > 4:
                free = less
                break
    circle: Any = maximum_inscribed_circle(free, tolerance=0.5)
    x, y = circle.coords[0]
    return float(x), float(y), float(circle.length)


def _name(canvas: Any, face: Face, view: View, sizes: Sizes, taken: list[Any], metal: Any) -> None:
    """Name, hand, quantity, metal, face and grain, where there is most room clear of folds and tags."""
    from shapely import LineString

    blank = face.blank
    bends = [runs for _, runs, _ in face.folds] + [runs for mark, runs in face.marks if mark.kind == "bend"]
    folds = [LineString(view.points(run)).buffer(1.5) for runs in bends for run in runs]
    shape = blank.net if not blank.net.is_empty else blank.outline
    x, y, room = _roomiest(shape, view, [*taken, *folds], clear=1.5)
    grain = "grain: any way" if blank.grain_deg is None else "grain"
    face_words = "good face up (outside of the tank)"
    if fit_size(face_words, 1.9 * room, sizes.tag, least=0.1) < 0.8 * sizes.small:
        face_words = "good face up"
    rows = [
        (named(face.work, blank.name), sizes.name, True),
        (f"{words.hand(blank)}, qty 1", sizes.tag, False),
        (words.metal_words(face.work.job, blank.thickness, blank.metal), sizes.tag, False),
        (face_words, sizes.tag, False),
        (grain, sizes.tag, False),
    ]
    total = sum(1.35 * size for _, size, _ in rows)
    shrink = min(1.0, 1.7 * room / (total + 6))
    off = [*taken, *trim_strokes(face, view)] if shrink * sizes.tag < LEAST_MM else []
    if off and _name_alone(canvas, rows[0][0], off, taken, metal):
        return
    if sizes is SMALL and shrink * sizes.tag < 1.5:  # the head of the page says the rest
        rows = [rows[0], rows[-1]]
        total = sum(1.35 * size for _, size, _ in rows)
        shrink = min(1.0, 1.7 * room / (total + 2))
    y += total * shrink / 2
    top = y
    wide = 0.0
    for row, size, bold in rows:
        small = fit_size(row, 1.9 * room, size * shrink, bold=bold, least=1.2)
        y -= 1.35 * small
        wide = max(wide, text_width(row, small, bold=bold))
        text(canvas, x, y, row, small, bold=bold, align="middle", paper=True)
    if blank.grain_deg is not None:
        half = max(6.0, min(40.0, 0.8 * room))
        turn = math.radians(blank.grain_deg)
        along = np.array([math.cos(turn), math.sin(turn)])
        middle = np.array([x, y - 2.5])
        if abs(along[1]) > 0.2:  # an arrow that stands goes beside the words, at the side that is free
            half = max(6.0, min(half, (top - y) / 2 + 4))
            beside = [np.array([x + side * (wide / 2 + 4.0), (top + y) / 2]) for side in (1, -1)]
            arrows = [LineString([m - along * half, m + along * half]).buffer(1.2) for m in beside]
            middle = beside[0] if is_free(arrows[0], taken) or not is_free(arrows[1], taken) else beside[1]
        double_arrow(canvas, middle, blank.grain_deg, half)
        taken.append(LineString([middle - along * half, middle + along * half]).buffer(1.2))
        y -= 4.0
    taken.append(box_at(np.array([x - wide / 2, y]), wide, top - y, 0.0))


def _name_alone(canvas: Any, says: str, off: Sequence[Any], taken: list[Any], metal: Any) -> bool:
    """The name in one line on a piece too narrow for more, else under it; the page says the rest."""
    high = metal.bounds[3] - metal.bounds[1]
    shares = (0.5, 0.4, 0.6, 0.3, 0.7, 0.2, 0.8)
    spots = [(far * high, share, 2) for far in (0.5, 0.3, 0.65, 0.2, 0.8) for share in shares]
    if any(write_inside(canvas, says, size, spots, off, taken, metal) for size in (3.4, 2.8, 2.4, 2.0)):
        return True
    x, y, size = metal.bounds[0], metal.bounds[1] - 6.6, 2.6
    box = box_at(np.array([x, y]), text_width(says, size, bold=True), 1.2 * size, 0.0)
    if not is_free(box, taken):
        return False
    text(canvas, x, y, says, size, bold=True, paper=True)
    taken.append(box)
    return True


def double_arrow(canvas: Any, middle: np.ndarray, degrees: float, half: float) -> None:
    """A line with a head at both ends, so long to each side of its middle."""
    pen(canvas, "fitting")
    turn = math.radians(degrees)
    along = np.array([math.cos(turn), math.sin(turn)])
    a, b = middle - along * half, middle + along * half
    side = np.array([-along[1], along[0]])
    line(canvas, a, b)
    for end, way in ((a, 1.0), (b, -1.0)):
        line(canvas, end + way * along * 3 + side, end, end + way * along * 3 - side)
