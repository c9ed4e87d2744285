"""What a cutting file holds, before it is written in any format: paths and words on named layers.

Words used here
    drawing   the items of one file, in the order a machine meets them: holes, outlines,
              then what is not cut
    frame     how a part's own coordinates become its sheet's: turned, perhaps flipped, moved
    kerf      width the cut takes away; left to the machine unless it is asked for here
    lead-in   short cut from the scrap to the outline, so that the pierce mark stays off the part

Outlines run clockwise and holes anticlockwise, so that the part is on the right of the torch all the way
round: the square side of a plasma cut with the usual swirl ring (common practice, no source).
mm, x right, y up.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from .cutting_words import blank_words, sheet_words
from .look import CHECK_MM, WORDS
from .names import plain, unique_slugs
from .outline import Path, fit_line, fit_outline

if TYPE_CHECKING:
    from shapely.geometry import Polygon
    from shapely.geometry.base import BaseGeometry

    from nesting import Layout
    from nesting.model import Placed
    from panels.blank import Blank

    from ..work import Work

__all__ = [
    "Drawing",
    "Line",
    "Words",
    "blank_drawing",
    "cut_order",
    "cutting_drawings",
    "frame",
    "piece_numbers",
    "runs_inside",
    "sheet_drawing",
]


#: Marks along the very edge of a blank count as on its metal.
HAIR_MM = 1e-6


@dataclass(frozen=True)
class Line:
    """A path on a layer (a key of `look.LAYERS`)."""

    layer: str
    path: Path


@dataclass(frozen=True)
class Words:
    """A line of words: lower left corner, height and turn in degrees; ``middle`` centres it there instead."""

    layer: str
    text: str
    at: tuple[float, float]
    height: float
    turn: float = 0.0
    middle: bool = False


@dataclass(frozen=True)
class Drawing:
    """One cutting file: a title, and its items in cutting order."""

    title: str
    items: tuple[Line | Words, ...]

    def on(self, layer: str) -> tuple[Line, ...]:
        """The paths on a layer, in order."""
        return tuple(item for item in self.items if isinstance(item, Line) and item.layer == layer)


def frame(placed: Placed) -> tuple[np.ndarray, np.ndarray]:
    """Matrix (2, 2) and shift (2,) with sheet = part @ matrix.T + shift, for a placed part."""
    from nesting.model import place_outline

    turn = math.radians(placed.turn_deg % 360)
    c, s = round(math.cos(turn), 15), round(math.sin(turn), 15)
    matrix = np.array([[c, -s], [s, c]]) @ np.diag([-1.0 if placed.flipped else 1.0, 1.0])
    lain = place_outline(placed.part, placed.turn_deg, placed.flipped)
    return matrix, np.array(placed.outline.bounds[:2]) - np.array(lain.bounds[:2])


def piece_numbers(work: Work) -> dict[str, str]:
    """The one number of every piece, by its name: its place on the cut list."""
    return {blank.name: str(k) for k, blank in enumerate(work.blanks, 1)}


def cut_order(layout: Layout, sheet: int) -> tuple[Placed, ...]:
    """The parts of a sheet in the order they are cut: column by column from the sheet's origin."""
    return tuple(
        sorted(
            layout.on_sheet(sheet),
            key=lambda p: (round(p.outline.bounds[0], 3), round(p.outline.bounds[1], 3)),
        )
    )


def cutting_drawings(work: Work, *, kerf_mm: float = 0.0, lead_in_mm: float = 0.0) -> dict[str, Drawing]:
    """Every cutting drawing by file stem: ``sheet-1`` and on, then ``blank-NAME``."""
    drawings = {
        f"sheet-{i + 1}": sheet_drawing(work, i, kerf_mm=kerf_mm, lead_in_mm=lead_in_mm)
        for i in range(len(work.layout.sheets))
    }
    slugs = unique_slugs([blank.name for blank in work.blanks])
    for slug, blank in zip(slugs, work.blanks, strict=True):
        drawings[f"blank-{slug}"] = blank_drawing(work, blank, kerf_mm=kerf_mm, lead_in_mm=lead_in_mm)
    return drawings


def blank_drawing(work: Work, blank: Blank, *, kerf_mm: float = 0.0, lead_in_mm: float = 0.0) -> Drawing:
    """One blank as it is drawn, its lower left corner at the origin."""
    shift = -np.array(blank.outline.bounds[:2])
    items: list[Line | Words] = _cuts([(blank.outline, shift)], kerf_mm, lead_in_mm)
    items += _lines_of(blank, np.eye(2), shift, flipped=False)
    items += _label(blank, np.eye(2), shift)
    items += _foot(blank_words(work, blank, kerf_mm, lead_in_mm))
    return Drawing(f"{work.job.name}: {blank.name}", tuple(items))


def sheet_drawing(work: Work, index: int, *, kerf_mm: float = 0.0, lead_in_mm: float = 0.0) -> Drawing:
    """One sheet of the nest, its corner at the origin."""
    layout, used = work.layout, work.layout.sheets[index]
    order = cut_order(layout, index)
    by_name = {blank.name: blank for blank in work.blanks}
    items: list[Line | Words] = _cuts([(p.outline, np.zeros(2)) for p in order], kerf_mm, lead_in_mm)
    for placed in order:
        blank = by_name.get(placed.part.name)
        if blank is not None:
            matrix, shift = frame(placed)
            items += _lines_of(blank, matrix, shift, flipped=placed.flipped)
            items += _label(blank, matrix, shift, face_down=placed.flipped)
    items.append(Line("sheet", fit_outline(used.sheet.metal)[0]))
    items += [Line("offcut", fit_outline(o.outline)[0]) for o in layout.offcuts if o.sheet == index]
    for cut in layout.cuts:
        if cut.sheet == index:
            items.append(Line("shear", fit_line(np.array(cut.line))))
            x, y = np.mean(cut.line, axis=0)
            items.append(Words("text", f"CUT {cut.order}", (float(x) + 2, float(y) + 2), 5.0))
    scale = max(1.0, used.sheet.width / 600)  # read beside a large sheet, the words must be large too
    items += _foot(sheet_words(work, index, order, piece_numbers(work), kerf_mm, lead_in_mm), scale)
    return Drawing(f"{work.job.name}: sheet {index + 1}", tuple(items))


def _cuts(shapes: Sequence[tuple[Polygon, np.ndarray]], kerf_mm: float, lead_in_mm: float) -> list[Line | Words]:
    """Cut paths of shapes, all holes before all outlines, kerf and lead-ins only where asked for."""
    from shapely import affinity

    moved = [affinity.translate(shape, *shift) if shift.any() else shape for shape, shift in shapes]
    grown = [_kerfed(shape, kerf_mm) for shape in moved]
    holes: list[Path] = []
    outlines: list[Path] = []
    for k, shape in enumerate(grown):
        outer, inner = fit_outline(shape)
        others = [s for j, s in enumerate(grown) if j != k]
        holes += [_with_lead(path, shape, others, lead_in_mm) for path in inner]
        outlines.append(_with_lead(outer, shape, others, lead_in_mm))
    return [Line("cut", path) for path in (*holes, *outlines)]


def _kerfed(shape: Polygon, kerf_mm: float) -> Polygon:
    """The centre line of the cut: half a kerf outside the outline and inside its holes."""
    if kerf_mm <= 0:
        return shape
    grown = shape.buffer(kerf_mm / 2, quad_segs=64)
    if grown.geom_type != "Polygon" or len(grown.interiors) != len(shape.interiors):
        raise ValueError(f"A kerf of {kerf_mm:.2f} mm closes a hole or a slot of this part. Use a finer cut.")
    return grown


def _with_lead(path: Path, shape: Polygon, others: Iterable[Polygon], lead_mm: float) -> Path:
    """The path opened at the middle of a straight edge, or of an arc, with a lead-in square to it.

    Where no lead finds room it is left closed.
    """
    from shapely import LineString

    if lead_mm <= 0:
        return path
    others = tuple(others)
    chords = np.roll(path.points, -1, axis=0) - path.points
    rank = sorted(range(len(chords)), key=lambda i: (path.bulges[i] != 0, -round(float(np.hypot(*chords[i])), 6)))
    for i in rank:
        a, b, bulge = path.points[i], path.points[(i + 1) % len(chords)], float(path.bulges[i])
        right = np.array([chords[i][1], -chords[i][0]]) / np.hypot(*chords[i])
        start = (a + b) / 2 + right * bulge * np.hypot(*chords[i]) / 2
        half = math.tan(math.atan(bulge) / 2)
        pierce = start - right * lead_mm  # the part is on the right, the scrap on the left
        lead = LineString([pierce, start - right * 1e-3])
        if lead.intersects(shape) or any(lead.distance(other) < lead_mm / 2 for other in others):
            continue
        points = np.vstack([pierce, start, np.roll(path.points, -(i + 1), axis=0), start])
        bulges = np.concatenate([[0.0, half], np.roll(path.bulges, -(i + 1))[:-1], [half, 0.0]])
        return Path(points, bulges, False)
    return path


def _lines_of(blank: Blank, matrix: np.ndarray, shift: np.ndarray, *, flipped: bool) -> list[Line | Words]:
    """Trim lines, folds and marks of a blank, in its frame."""
    items: list[Line | Words] = []
    metal = blank.outline.buffer(HAIR_MM)

    def add(layer: str, points: np.ndarray) -> None:
        for run in runs_inside(points, metal):
            items.append(Line(layer, fit_line(run).moved(matrix, shift)))

    for edge in blank.edges:
        if edge.allowance > 0.05:
            add("trim" if edge.joint not in ("lap", "fold") else "scribe", edge.points)
    for fold in blank.folds:
        up = fold.up != flipped
        add("up" if up else "down", np.array([fold.start, fold.end]))
        for tangent in fold.tangents:
            add("scribe", tangent)
        half = float(np.abs(_across(fold.start, fold.end, fold.tangents.reshape(-1, 2))).max(initial=0.0))
        words_at, turn = _beside(fold.start, fold.end, matrix, shift, clear=half)
        items.append(Words("text", plain(_fold_text(fold.angle, fold.inside_radius, up)), words_at, 3.5, turn))
    for mark in blank.marks:
        if mark.kind == "grid":
            continue
        add("scribe", mark.points)
        if mark.label and len(mark.points) > 1:
            at, turn = _beside(mark.points[0], mark.points[-1], matrix, shift)
            items.append(Words("text", plain(mark.label), at, 3.5, turn))
    return _without_repeats(items)


def runs_inside(points: np.ndarray, shape: Polygon) -> list[np.ndarray]:
    """The parts of an open line (n, 2) that lie on the metal of ``shape``, each (k, 2), in order.

    Grow the shape by a hair first where lines along its very edge must be kept.
    """
    from shapely import LineString, MultiLineString
    from shapely.ops import linemerge

    points = np.asarray(points, dtype=float)
    if len(points) < 2 or np.ptp(points, axis=0).max() <= 1e-3:
        return []
    line = LineString(points)
    if shape.covers(line):
        return [points]
    inside = line.intersection(shape)
    if isinstance(inside, MultiLineString):
        inside = linemerge(inside)
    parts = [g for g in getattr(inside, "geoms", [inside]) if g.geom_type == "LineString" and g.length > 0.01]
    parts.sort(key=lambda part: line.project(part.interpolate(0.5, normalized=True)))
    return [np.asarray(part.coords) for part in parts]


def _fold_text(angle: float, radius: float, up: bool) -> str:
    return f"FOLD {'UP' if up else 'DOWN'} {angle:.1f} deg, inside R {radius:.1f}"


def _across(start: np.ndarray, end: np.ndarray, points: np.ndarray) -> np.ndarray:
    """How far points (n, 2) lie to the left of the line from start to end, mm."""
    along = (end - start) / max(1e-9, float(np.hypot(*(end - start))))
    off = points - start
    return along[0] * off[:, 1] - along[1] * off[:, 0]


def _beside(
    start: np.ndarray, end: np.ndarray, matrix: np.ndarray, shift: np.ndarray, *, clear: float = 0.0
) -> tuple[tuple[float, float], float]:
    """A place for words just above a line near its start, and the turn that makes them read upright."""
    a, b = (np.asarray(p, dtype=float) @ matrix.T + shift for p in (start, end))
    angle = math.degrees(math.atan2(b[1] - a[1], b[0] - a[0]))
    if not -90.1 < angle <= 89.9:
        a, b = b, a
        angle = (angle + 360) % 360 - 180 if angle > 0 else angle + 180
    length = max(1e-9, float(np.hypot(*(b - a))))
    along = (b - a) / length
    left = np.array([-along[1], along[0]])
    at = a + along * min(8.0, length / 4) + left * (clear + 1.2)
    return (float(at[0]), float(at[1])), round(angle, 3)


def _without_repeats(items: list[Line | Words]) -> list[Line | Words]:
    """Without lines that lie on one already there, whichever way they run."""
    seen: set[tuple] = set()
    kept = []
    for item in items:
        if isinstance(item, Line):
            ways = (item.path, item.path.reversed())
            keys = [tuple(np.round(np.column_stack([w.points, w.bulges]), 3).ravel().tolist()) for w in ways]
            if seen.intersection(keys):
                continue
            seen.update(keys)
        kept.append(item)
    return kept


def _label(blank: Blank, matrix: np.ndarray, shift: np.ndarray, *, face_down: bool = False) -> list[Line | Words]:
    """Name, hand and grain arrow inside a blank, on the text layer."""
    from shapely import LineString, affinity, maximum_inscribed_circle

    free: BaseGeometry = blank.outline
    for fold in blank.folds:
        free = free.difference(LineString([fold.start, fold.end]).buffer(5))
    placed = affinity.affine_transform(free, [*matrix.ravel(), *shift])
    circle: Any = maximum_inscribed_circle(placed, tolerance=1.0)  # type: ignore[call-overload]
    (x, y), room = circle.coords[0], circle.length
    lines = [blank.name, f"{blank.hand}, qty 1", "GOOD FACE DOWN" if face_down else "good face up"]
    height = min(8.0, room / 5, 1.8 * room / max(len(line) for line in lines))
    items: list[Line | Words] = []
    for k, line in enumerate(lines):
        items.append(Words("text", plain(line), (x, y + (1.2 - 1.6 * k) * height), height, middle=True))
    if blank.grain_deg is not None:
        turn = math.radians(blank.grain_deg)
        along = matrix @ np.array([math.cos(turn), math.sin(turn)])
        items += _grain_arrow(np.array([x, y - 4.2 * height]), along, max(10.0, min(60.0, room)))
    return items


def _grain_arrow(middle: np.ndarray, along: np.ndarray, length: float) -> list[Line | Words]:
    """A line with a head at both ends: grain runs either way."""
    side = np.array([-along[1], along[0]])
    ends = middle - along * length / 2, middle + along * length / 2
    barb = min(4.0, length / 5)
    left, right = (
        np.array([end + s * along * barb + side * barb / 2, end, end + s * along * barb - side * barb / 2])
        for end, s in zip(ends, (1, -1), strict=True)
    )
    paths = [fit_line(points) for points in (np.array(ends), left, right)]
    at = ends[1] + along * 2
    return [
        *(Line("text", path) for path in paths),
        Words("text", "GRAIN", (float(at[0]), float(at[1])), 3.5, _upright(along)),
    ]


def _upright(along: np.ndarray) -> float:
    angle = math.degrees(math.atan2(along[1], along[0]))
    return round(angle if -90 < angle <= 90 else angle - math.copysign(180, angle), 3)


def _foot(lines: Sequence[str], scale: float = 1.0) -> list[Line | Words]:
    """Check line and header block below the origin."""
    y = -25.0
    items: list[Line | Words] = [
        Line("check", fit_line(np.array([[0.0, y], [CHECK_MM, y]]))),
        Words("text", plain(WORDS["check"]), (CHECK_MM + 4, y - 2), 4.0 * scale),
    ]
    for k, line in enumerate(lines):
        items.append(Words("text", plain(line), (0.0, y - (12 + 7.0 * k) * scale), 4.0 * scale))
    return items
