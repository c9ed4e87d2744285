"""One blank drawn on a page at any scale, with everything that is marked on it.

Words used here
    view      scale and shift from the blank's own mm to the page's: 1 on templates, less on drawings
    seam tag  a seam's letter in a ring, with its joint, allowance, neighbour, and what the edge gains or loses
    tick      a short stroke across an edge at a half or a quarter of its length, the same on both mating edges

Line weights and letters keep their size on paper whatever the scale.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from . import words
from .cutting import runs_inside
from .look import BLUE, GRID_MM, INK, PENCIL, RED, SIZES
from .outline import Path, fit_line, fit_outline
from .pdf import draw_path, fit_size, line, pen, text, text_width
from .zones import Zone, strain_zones

if TYPE_CHECKING:
    from shapely.geometry import Polygon

    from panels.blank import Blank, Edge, Fold, Mark

    from ..work import Work

__all__ = ["FULL", "SMALL", "Sizes", "View", "blank_zones", "draw_blank", "draw_cuts", "draw_grid", "seam_ticks"]

SIGN_STEP_MM = 12.5  # spacing of the plus and minus signs that fill zones, on paper


@dataclass(frozen=True)
class View:
    """Page point = scale * blank point + shift."""

    scale: float
    shift: tuple[float, float]

    def points(self, points: Any) -> np.ndarray:
        """Points (..., 2) of the blank on the page."""
        return np.asarray(points, dtype=float) * self.scale + self.shift

    def path(self, path: Path) -> Path:
        """A path of the blank on the page."""
        return Path(self.points(path.points), path.bulges, path.closed)


@dataclass(frozen=True)
class Sizes:
    """Letter heights on the page, mm."""

    name: float
    tag: float
    small: float


FULL = Sizes(8.0, 3.4, 2.8)
SMALL = Sizes(3.6, 2.3, 2.0)


def blank_zones(work: Work, blank: Blank) -> tuple[Zone, ...]:
    """The zones of a blank to stretch, to shrink and to leave be; none where nothing is strained."""
    return () if blank.flat is None else strain_zones(blank.flat, words.difficulty_limits(work.job))


def draw_blank(canvas: Any, work: Work, blank: Blank, view: View, sizes: Sizes, zones: Sequence[Zone] = ()) -> None:
    """The blank and all its marks: zones, stations, folds, seam tags, name, then trim and cut lines on top."""
    for zone in zones:
        _zone(canvas, blank, zone, view, sizes)
    for mark in blank.marks:
        _mark(canvas, blank, mark, view, sizes)
    for fold in blank.folds:
        _fold(canvas, blank, fold, view, sizes)
    for edge in blank.edges:
        _seam_tag(canvas, work, blank, edge, view, sizes)
    for edge, share, points in seam_ticks(work, blank):
        pen(canvas, "register")
        ends = view.points(points)
        line(canvas, *ends)
        if share == 0.5:
            away = (ends[0] - ends[1]) / max(1e-9, float(np.hypot(*(ends[0] - ends[1]))))
            at = ends[0] + away * sizes.small * 0.9 - [0, sizes.small * 0.35]
            text(canvas, at[0], at[1], f"{edge.letter} \u00bd", sizes.small, align="middle", paper=True)
    _name(canvas, work, blank, view, sizes, zones)
    draw_cuts(canvas, blank, view)


def draw_cuts(canvas: Any, blank: Blank, view: View) -> None:
    """Trim lines dashed, then the cut line: thin and black."""
    for edge in blank.edges:
        if edge.allowance > 0.05:
            pen(canvas, "trim" if edge.joint not in ("lap", "fold") else "style")
            draw_path(canvas, view.path(fit_line(edge.points)))
    pen(canvas, "cut")
    outer, holes = fit_outline(blank.outline)
    for path in (*holes, outer):
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


def seam_ticks(work: Work, blank: Blank) -> list[tuple[Edge, float, np.ndarray]]:
    """Strokes across the edges at quarters and halves of their length: (edge, share, ends (2, 2) outside first).

    Only where the two mating edges are alike to 0.5 mm when formed, and no register marks were given for the
    seam: then a half of one meets a half of the other.
    """
    given = {mark.label.split()[0] for mark in blank.marks if mark.kind == "register" and mark.label.strip()}
    result = []
    for edge in blank.edges:
        if not edge.letter or edge.letter in given or edge.length_blank < 60:
            continue
        mates = [(other.name, e) for other in work.blanks for e in other.edges if e.letter == edge.letter]
        lengths = [e.length_surface for _, e in mates]
        if len(mates) != 2 or abs(lengths[0] - lengths[1]) > 0.5:
            continue
        for share in (0.25, 0.5, 0.75):
            at, _, inward = _along(edge, blank.net, share)
            reach = 5.0 if share == 0.5 else 3.0
            result.append((edge, share, np.array([at - inward * max(edge.allowance, 0.0), at + inward * reach])))
    return result


def _along(edge: Edge, net: Polygon, share: float) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Point, unit direction and unit inward normal at a share of an edge's length."""
    from shapely.geometry import Point

    steps = np.linalg.norm(np.diff(edge.points, axis=0), axis=1)
    run = np.concatenate([[0.0], np.cumsum(steps)])
    target = run[-1] * share

    def at(s: float) -> np.ndarray:
        s = min(max(s, 0.0), float(run[-1]))
        return np.array([np.interp(s, run, edge.points[:, k]) for k in (0, 1)])

    reach = min(8.0, run[-1] / 4)
    along = at(target + reach) - at(target - reach)
    along /= max(1e-9, float(np.hypot(*along)))
    left = np.array([-along[1], along[0]])
    point = at(target)
    inward = left if net.contains(Point(point + left * 0.5)) else -left
    return point, along, inward


def _upright(along: np.ndarray) -> float:
    """Angle in degrees that lets words along a direction be read from below or from the right."""
    angle = math.degrees(math.atan2(along[1], along[0]))
    if angle > 90.01:
        angle -= 180
    return angle + 180 if angle <= -89.99 else angle


def _seam_tag(canvas: Any, work: Work, blank: Blank, edge: Edge, view: View, sizes: Sizes) -> None:
    room = edge.length_blank * view.scale
    if room < 8:
        return
    point, along, inward = _along(edge, blank.net, 0.5)
    metal = words.edge_metal(edge)
    first = f"{metal}, meets {edge.meets}" if edge.meets else f"free edge, {metal}"
    if edge.joint not in ("", "free", "lap") and edge.allowance >= 0.05:
        first = f"{edge.joint}, {first}"
    change = words.edge_change(edge)
    lines = [first, change] if change != "as it is" else [first]
    ring = 2.4 * sizes.tag if edge.letter else 0.0
    size = min(fit_size(row, 0.85 * room - ring, sizes.tag, bold=k == 1, least=0.1) for k, row in enumerate(lines))
    if size < 1.5:
        lines, size = [], sizes.tag
    wide = max((text_width(row, size, bold=k == 1) for k, row in enumerate(lines)), default=0.0)
    turn = _upright(along)
    unit = np.array([math.cos(math.radians(turn)), math.sin(math.radians(turn))])
    # Clear of the edge where it bends inwards beside the words, and of the half tick.
    off = (edge.points - point) * view.scale
    near = np.abs(off @ along) <= (ring + wide) / 2
    clear = max(0.0, float((off @ inward)[near].max(initial=0.0))) + 6.2
    depth = max(len(lines) * 1.35 * size, ring)
    middle = view.points(point) + inward * (clear + depth / 2) - unit * (ring + wide) / 2
    up = np.array([-unit[1], unit[0]])
    for k, row in enumerate(lines):
        base = middle + unit * ring + up * ((len(lines) / 2 - k - 1) * 1.35 * size + 0.3 * size)
        colour = INK if k == 0 else (RED if edge.gain > 0 else BLUE)
        text(canvas, base[0], base[1], row, size, turn=turn, bold=k == 1, colour=colour, paper=True)
    if edge.letter:
        _ringed(canvas, middle + unit * ring / 2, edge.letter, sizes.tag)


def _ringed(canvas: Any, at: np.ndarray, letter: str, size: float) -> None:
    """A letter in a ring."""
    radius = max(0.95 * size, 0.6 * text_width(letter, size, bold=True) + 0.4)
    pen(canvas, "register")
    canvas.setFillColorRGB(1, 1, 1)
    canvas.circle(float(at[0]), float(at[1]), radius, stroke=1, fill=1)
    text(canvas, float(at[0]), float(at[1]) - 0.36 * size, letter, size, bold=True, align="middle")


def _mark(canvas: Any, blank: Blank, mark: Mark, view: View, sizes: Sizes) -> None:
    if mark.kind == "grid":
        return
    pen(canvas, mark.kind if mark.kind in ("centre", "station", "style", "register", "fitting") else "station")
    runs = runs_inside(mark.points, blank.outline)
    for run in runs:
        draw_path(canvas, view.path(fit_line(run)))
    if not mark.label or not runs:
        return
    if mark.kind == "station":
        for run, end in ((runs[0], 0), (runs[-1], -1)):
            tip, next_in = view.points(run[end]), view.points(run[1 if end == 0 else -2])
            away = next_in - tip
            length = float(np.hypot(*away))
            if length > 16:
                at = tip + away / length * (7.5 + sizes.tag)
                canvas.setFillColorRGB(1, 1, 1)
                canvas.rect(
                    at[0] - sizes.tag, at[1] - 0.7 * sizes.tag, 2 * sizes.tag, 1.4 * sizes.tag, stroke=0, fill=1
                )
                text(canvas, at[0], at[1] - 0.36 * sizes.tag, mark.label, sizes.tag, align="middle")
        return
    longest = max(runs, key=lambda r: float(np.hypot(*(r[-1] - r[0]))))
    a, b = view.points(longest[0]), view.points(longest[-1])
    along = b - a
    length = float(np.hypot(*along))
    if length < 4:
        return
    turn = _upright(along)
    unit = np.array([math.cos(math.radians(turn)), math.sin(math.radians(turn))])
    start = a if float(unit @ along) > 0 else b
    at = start + unit * min(18.0, length / 6) + np.array([-unit[1], unit[0]]) * 0.9
    size = fit_size(mark.label, max(length, 20.0), sizes.small)
    text(canvas, at[0], at[1], mark.label, size, turn=turn, colour=PENCIL, paper=True)


def _fold(canvas: Any, blank: Blank, fold: Fold, view: View, sizes: Sizes) -> None:
    pen(canvas, "tangent")
    for tangent in fold.tangents:
        for run in runs_inside(tangent, blank.outline):
            line(canvas, *view.points(run))
    pen(canvas, "fold", BLUE)
    for run in runs_inside(np.array([fold.start, fold.end]), blank.outline):
        line(canvas, *view.points(run))
    a, b = view.points(fold.start), view.points(fold.end)
    along = b - a
    turn = _upright(along)
    unit = np.array([math.cos(math.radians(turn)), math.sin(math.radians(turn))])
    up = np.array([-unit[1], unit[0]])
    corners = view.points(fold.tangents.reshape(-1, 2))
    clear = float(((corners - a) @ up).max())
    start = a if float(unit @ along) > 0 else b
    length = float(np.hypot(*along))
    way = "\u2191 UP" if fold.up else "\u2193 DOWN"
    words_ = (
        f"fold {way} {words.fixed(fold.angle)}\u00b0, inside radius {words.fixed(fold.inside_radius)} mm, "
        f"K {words.fixed(fold.k_factor, 3)}"
    )
    size = fit_size(words_, 0.8 * length, sizes.tag)
    at = start + unit * min(22.0, length / 8) + up * (clear + 1.2)
    text(canvas, at[0], at[1], words_, size, turn=turn, bold=True, colour=BLUE, paper=True)


def _zone(canvas: Any, blank: Blank, zone: Zone, view: View, sizes: Sizes) -> None:
    """A zone's edge dotted, plus or minus signs over it, and its figures."""
    from shapely import contains_xy

    pen(canvas, "zone")
    # Closed over cracks between triangles, and without the part of its edge that is the trim line itself.
    whole = zone.shape.buffer(0.5).buffer(-0.5)
    edge = whole.boundary.intersection(blank.net.buffer(-1.5 / view.scale)).simplify(0.3)
    for part in getattr(edge, "geoms", [edge]):
        if part.length * view.scale > 5:
            line(canvas, *view.points(np.asarray(part.coords)))
    if zone.kind == "leave":
        return
    step = SIGN_STEP_MM / view.scale if view.scale > 0.5 else 7.0 / view.scale
    x0, y0, x1, y1 = zone.shape.bounds
    xs = np.arange(math.floor(x0 / step), math.ceil(x1 / step) + 1) * step
    ys = np.arange(math.floor(y0 / step), math.ceil(y1 / step) + 1) * step
    grid = np.array([(x + step / 2 * (k % 2), y) for k, y in enumerate(ys) for x in xs])
    inside = grid[contains_xy(zone.shape, grid[:, 0], grid[:, 1])]
    reach = (0.5 + 0.25 * zone.level) * (1.0 if view.scale > 0.5 else 0.7)
    pen(canvas, "rule", RED if zone.kind == "stretch" else BLUE)
    for x, y in view.points(inside):
        line(canvas, (x - reach, y), (x + reach, y))
        if zone.kind == "stretch":
            line(canvas, (x, y - reach), (x, y + reach))
    x, y = view.points(zone.at)
    word = "STRETCH +" if zone.kind == "stretch" else "SHRINK \u2212"
    colour = RED if zone.kind == "stretch" else BLUE
    text(
        canvas,
        x,
        y + 0.3,
        f"{word}{words.percent(abs(zone.mean))}",
        sizes.tag,
        bold=True,
        align="middle",
        colour=colour,
        paper=True,
    )
    worst = f"worst {words.percent(abs(zone.worst))}, {words.difficulty(abs(zone.worst))}"
    text(canvas, x, y - 1.3 * sizes.small, worst, sizes.small, align="middle", colour=colour, paper=True)


def _name(canvas: Any, work: Work, blank: Blank, view: View, sizes: Sizes, zones: Sequence[Zone]) -> None:
    """Name, hand, quantity, metal, face and grain, where there is most room clear of folds and tags."""
    from shapely import LineString, MultiPoint, maximum_inscribed_circle

    free: Any = blank.net if not blank.net.is_empty else blank.outline
    margin = 2.5 * sizes.tag / view.scale
    inner = free.buffer(-min(margin, 0.2 * math.sqrt(free.area)))
    free = inner if not inner.is_empty else free
    blocks: list[Any] = [LineString([fold.start, fold.end]).buffer(3 * sizes.tag / view.scale) for fold in blank.folds]
    if zones:
        blocks += [MultiPoint([z.at]).buffer(3.5 * sizes.tag / view.scale) for z in zones if z.kind != "leave"]
    for block in blocks:
        less = free.difference(block)
        free = less if not less.is_empty else free
    circle: Any = maximum_inscribed_circle(free, tolerance=1.0)
    (x, y), room = view.points(circle.coords[0]), float(circle.length) * view.scale
    grain = "grain: any way" if blank.grain_deg is None else "grain"
    rows = [
        (blank.name, sizes.name, True),
        (f"{words.hand(blank)}, qty 1", sizes.tag, False),
        (words.metal_words(work.job, blank.thickness), sizes.tag, False),
        ("good face up (outside of the tank)", sizes.tag, False),
        (grain, sizes.tag, False),
    ]
    total = sum(1.35 * size for _, size, _ in rows)
    shrink = min(1.0, 1.9 * room / (total + 6))
    y += total * shrink / 2
    for row, size, bold in rows:
        small = fit_size(row, 1.9 * room, size * shrink, bold=bold, least=1.2)
        y -= 1.35 * small
        text(canvas, x, y, row, small, bold=bold, align="middle", paper=True)
    if blank.grain_deg is not None:
        half = max(8.0, min(40.0, 0.8 * room))
        turn = math.radians(blank.grain_deg)
        along = np.array([math.cos(turn), math.sin(turn)])
        middle = np.array([x, y - 3.0 - (half * abs(along[1]))])
        _double_arrow(canvas, middle - along * half, middle + along * half)


def _double_arrow(canvas: Any, a: np.ndarray, b: np.ndarray) -> None:
    """A line with a head at both ends."""
    pen(canvas, "fitting")
    along = (b - a) / max(1e-9, float(np.hypot(*(b - a))))
    side = np.array([-along[1], along[0]])
    line(canvas, a, b)
    for end, way in ((a, 1.0), (b, -1.0)):
        line(canvas, end + way * along * 3 + side, end, end + way * along * 3 - side)
