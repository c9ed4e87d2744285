"""Full-size templates: tiles that print on A4 and letter, and one sheet at full size for a plan printer.

Words used here
    tile      one page of a template; rows are lettered from the top, columns numbered from the left
    window    the part of a tile that the drawing shows, inside the live area
    cell      the part of the drawing that is a tile's own: its window less half the overlaps
    match     a cross that two neighbouring tiles both carry
    diagonal  the distance between the crosses D1 and D2 once the tiles are joined

Every page carries a 100 mm bar across and one up the page. Scale is 1:1; mm, x right, y up, good face up.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from . import words
from .blankdraw import double_arrow, draw_blank, draw_cuts, draw_grid
from .blankface import Face, face_of, named
from .blankview import FULL, View
from .cutting_words import figure, metal_of
from .legend import legend
from .look import CHECK_MM, FAINT, INK, PENCIL, RED, SIZES, TILE, WORDS
from .names import job_line, unique_slugs
from .pdf import (
    Sheet,
    begin,
    carry,
    circle,
    clip_box,
    finish,
    fit_size,
    line,
    page,
    paragraph,
    pen,
    polygon,
    rectangle,
    table,
    text,
    unclip,
)
from .rolldraw import roll_facts
from .tiling import GUTTER_MM, MATCH_SHARES, Tiling, join_rooms, targets, tile_blank

if TYPE_CHECKING:
    from panels.blank import Blank

    from ..work import Work

__all__ = ["full_size_pdf", "template_files", "tiled_pdf"]


def template_files(work: Work, faces: Sequence[Face] = ()) -> dict[str, bytes]:
    """Two files a blank: ``templates/NAME-tiles.pdf`` and ``templates/full-size/NAME-full-size.pdf``.

    ``faces``, one a blank in order, saves working them out again.
    """
    faces = tuple(faces) or tuple(face_of(work, blank) for blank in work.blanks)
    files = {}
    slugs = unique_slugs([blank.name for blank in work.blanks])
    for slug, face in zip(slugs, faces, strict=True):
        tiling = tile_blank(face.blank)
        drawn = at_full_size(face, tiling)
        files[f"templates/{slug}-tiles.pdf"] = tiled_pdf(face, drawn, tiling)
        files[f"templates/full-size/{slug}-full-size.pdf"] = full_size_pdf(face, drawn)
    return files


def at_full_size(face: Face, tiling: Tiling | None = None) -> Sheet:
    """The blank with its grid, drawn once in its own mm for every page that carries it; no words on a join of tiles."""
    x0, y0, x1, y1 = face.blank.outline.bounds
    drawn, view = Sheet(), View(1.0, (0.0, 0.0))
    draw_grid(drawn, (x0, y0), (x1, y1), view)
    draw_blank(drawn, face, view, FULL, join_rooms(tiling or tile_blank(face.blank)))
    return drawn


def tiled_pdf(face: Face, drawn: Sheet | None = None, tiling: Tiling | None = None) -> bytes:
    """The map page and the tiles of one blank; ``drawn`` and ``tiling`` save doing that again."""
    work, blank = face.work, face.blank
    tiling = tiling or tile_blank(blank)
    drawn = drawn or at_full_size(face, tiling)
    canvas, buffer = begin(f"{work.job.name}: {blank.name}, template in tiles", job_line(work.job))
    total = len(tiling.used) + 1
    with page(canvas, TILE.page, f"{blank.name}: how the tiles join"):
        _map_page(canvas, face, tiling, total)
    for number, (row, column) in enumerate(tiling.used):
        size = TILE.page[::-1] if tiling.landscape else TILE.page
        with page(canvas, size, f"tile {tiling.name(row, column)}"):
            _tile_page(canvas, face, drawn, tiling, (row, column), f"page {number + 2} of {total}")
    return finish(canvas, buffer)


def _live(landscape: bool) -> tuple[np.ndarray, np.ndarray]:
    """Corner and size of the live area on its page."""
    size = np.array(TILE.page[::-1] if landscape else TILE.page)
    live = np.array(TILE.live[::-1] if landscape else TILE.live)
    return (size - live) / 2, live


def _tile_page(canvas: Any, face: Face, drawn: Sheet, tiling: Tiling, tile: tuple[int, int], number: str) -> None:
    work, blank = face.work, face.blank
    row, column = tile
    live_at, live = _live(tiling.landscape)
    window_at = live_at + [GUTTER_MM, TILE.foot]
    low = tiling.corner(row, column)
    view = View(1.0, tuple(window_at - low))
    clip_box(canvas, window_at.tolist(), (window_at + tiling.window).tolist())
    carry(canvas, "blank", drawn, view.shift)
    _diagonal(canvas, tiling, view, work.job.unit)
    unclip(canvas)
    _joins(canvas, tiling, tile, view, window_at)
    name = tiling.name(row, column)
    beside = {
        "left": tiling.neighbour(row, column, 0, -1),
        "right": tiling.neighbour(row, column, 0, 1),
        "above": tiling.neighbour(row, column, -1, 0),
        "below": tiling.neighbour(row, column, 1, 0),
    }
    neighbours = ", ".join(f"{way}: {tile_name or 'none'}" for way, tile_name in beside.items())
    where = f"row {name.rstrip('0123456789')} of {tiling.rows}, column {column + 1} of {tiling.columns}"
    _foot(canvas, work, blank, live_at, float(live[0]), name, f"{where}. Neighbours: {neighbours}.", number)
    _upright_bar(canvas, live_at + [3.5, TILE.foot + 20])


def _joins(canvas: Any, tiling: Tiling, tile: tuple[int, int], view: View, window_at: np.ndarray) -> None:
    """Frame, the lines where the neighbours' frames lie, their names, and the match crosses."""
    row, column = tile
    wide, high = tiling.window
    x, y = window_at
    pen(canvas, "rule")
    rectangle(canvas, x, y, wide, high)
    joins = (
        (0, 1, "right"), (0, -1, "left"), (-1, 0, "above"), (1, 0, "below"),
    )  # fmt: skip
    for down, right, _ in joins:
        other = tiling.neighbour(row, column, down, right)
        if not other:
            continue
        axis = 0 if right else 1
        first, last = tiling.join(row, column, down, right)
        if right > 0 or down < 0:  # the neighbour is laid on top of this tile, up to this line
            at = view.points(first)[axis]
            pen(canvas, "shear", PENCIL)
            if axis == 0:
                line(canvas, (at, y), (at, y + high))
            else:
                line(canvas, (x, at), (x + wide, at))
        middle = (first + last) / 2
        for share in MATCH_SHARES:
            point = middle.copy()
            point[1 - axis] = first[1 - axis] + share * (last - first)[1 - axis]
            _match(canvas, view.points(point))
        label = view.points(middle)
        turn = 90.0 if axis == 0 else 0.0
        away = {1: "\u2192", -1: "\u2190"}[right] if right else {1: "\u2193", -1: "\u2191"}[down]
        words_ = f"{away} {other}"
        nudge = np.array([0.36 * SIZES["body"], 0]) if axis == 0 else np.array([0, -0.36 * SIZES["body"]])
        text(
            canvas,
            (label + nudge)[0],
            (label + nudge)[1],
            words_,
            SIZES["body"],
            turn=turn,
            align="middle",
            colour=PENCIL,
            paper=True,
        )


def _match(canvas: Any, at: np.ndarray) -> None:
    """A cross in a ring, hair lines so that two can be laid over one another."""
    x, y = map(float, at)
    pen(canvas, "match")
    line(canvas, (x - 4, y), (x + 4, y))
    line(canvas, (x, y - 4), (x, y + 4))
    circle(canvas, x, y, 2.0)


def _diagonal(canvas: Any, tiling: Tiling, view: View, unit: str) -> None:
    """The crosses D1 and D2 with the distance between them."""
    ends = targets(tiling)
    apart = float(np.hypot(*(ends[1] - ends[0])))
    for k, point in enumerate(view.points(ends)):
        x, y = map(float, point)
        pen(canvas, "match")
        for reach in ((3.5, 3.5), (3.5, -3.5)):
            line(canvas, (x - reach[0], y - reach[1]), (x + reach[0], y + reach[1]))
        circle(canvas, x, y, 1.2)
        words_ = f"D{k + 1}: {words.length(apart, unit)} to D{2 - k}"
        middle = float(view.points(ends).mean(axis=0)[0])
        align, off = ("left", 5.0) if x <= middle else ("right", -5.0)
        text(canvas, x + off, y - 1.0, words_, SIZES["small"], align=align, paper=True)


def _bar(canvas: Any, a: np.ndarray, b: np.ndarray) -> None:
    """A bar of 100 mm with end strokes."""
    pen(canvas, "bar")
    along = (b - a) / np.hypot(*(b - a))
    side = np.array([-along[1], along[0]]) * 2.0
    line(canvas, a, b)
    for end in (a, b):
        line(canvas, end - side, end + side)
    for share in range(1, 10):
        tick = a + (b - a) * share / 10
        line(canvas, tick, tick + side * (0.8 if share == 5 else 0.5))


def _upright_bar(canvas: Any, foot: np.ndarray) -> None:
    _bar(canvas, foot, foot + [0.0, CHECK_MM])
    x, y = foot + [-1.0, CHECK_MM / 4]
    text(canvas, x, y, "100 mm up", SIZES["fine"], turn=90, align="middle", paper=True)


def _foot(
    canvas: Any, work: Work, blank: Blank, at: np.ndarray, wide: float, name: str, where: str, number: str
) -> None:
    """The strip under the window: tile, part, bar across, neighbours, job."""
    x, y = map(float, at)
    size = fit_size(name, 16, 9.0, bold=True)
    text(canvas, x, y + 15.5, name, size, bold=True)
    title = f"{named(work, blank.name)} \u2013 {words.hand(blank)}, qty 1"
    text(canvas, x + 18, y + 20.4, title, fit_size(title, wide - 42, 4.2, bold=True), bold=True)
    metal = f"{words.metal_words(work.job, blank.thickness, blank.metal)}. Good face up. Grain: {words.grain(blank)}."
    text(canvas, x + 18, y + 16.0, metal, fit_size(metal, wide - 34, SIZES["small"]))
    if blank.grain_deg is not None:
        double_arrow(canvas, np.array([x + wide - 6.0, y + 20.0]), blank.grain_deg, 4.0)
        text(canvas, x + wide - 12.0, y + 19.3, "grain", SIZES["fine"], align="right")
    _bar(canvas, np.array([x + 1, y + 9.0]), np.array([x + 1 + CHECK_MM, y + 9.0]))
    text(canvas, x + 1 + CHECK_MM / 2, y + 11.6, "100 mm across", SIZES["fine"], align="middle")
    room = wide - CHECK_MM - 6
    paragraph(canvas, x + CHECK_MM + 5, y + 14.2, where, room, SIZES["small"])
    scale = WORDS["scale"]
    text(canvas, x, y + 3.9, scale, fit_size(scale, wide, SIZES["small"], bold=True), bold=True)
    stamp = f"{job_line(work.job)} \u00b7 {number} \u00b7 mm, 1:1"
    text(canvas, x, y + 0.6, stamp, fit_size(stamp, wide, SIZES["small"], least=1.2))


def _warnings(canvas: Any, work: Work, x: float, y: float, room: float) -> float:
    """Stops in full, the rest counted: warnings come before anything else."""
    stops = [f for f in work.findings if f.strength == "stop"]
    for finding in stops:
        held = " ".join(words.limit_of(finding.strength, finding.allowed))
        numbers = f" Found {finding.found}{f'; {held}' if finding.allowed else ''}." if finding.found else ""
        words_ = f"STOP \u2013 {finding.pattern}: {finding.says.rstrip('.')}.{numbers} {finding.remedy}"
        y = paragraph(canvas, x, y, words_, room, SIZES["body"], bold=True, colour=RED) - 0.8
    looks = sum(f.strength == "look" for f in work.findings)
    notes = sum(f.strength == "note" for f in work.findings)
    if looks or notes:
        words_ = f"The job sheet lists {looks} to look at and {notes} to note. Read them before cutting."
        y = paragraph(canvas, x, y, words_, room, SIZES["small"]) - 0.8
    return y


def _kind(blank: Blank) -> str:
    """How a blank is made; a tunnel under a rolled top may have no fold at all."""
    if blank.kind == "folded" and blank.rolls:
        return "rolled and folded" if blank.folds else "rolled"
    return "formed: crowned by hand" if blank.kind == "formed" else blank.kind


def _facts(work: Work, blank: Blank) -> list[tuple[str, str]]:
    """What a maker asks of a blank, in words."""
    unit = work.job.unit
    x0, y0, x1, y1 = blank.outline.bounds
    outside = work.job.surface != "inside"
    facts = [
        ("cut size", f"{words.length(x1 - x0, unit)} by {words.length(y1 - y0, unit)}"),
        ("metal", metal_of(work.job, blank)),
        ("kind", _kind(blank)),
        ("good face", "up as drawn, the outside of the finished tank"),
        ("grain", words.grain(blank)),
        ("patterns show", "the outside of the finished tank" if outside else "the inside of the finished tank"),
    ]
    if blank.flat is not None:
        facts.append(("worst stretch, shrink", f"{words.percent(blank.stretch)}, {words.percent(blank.shrink)}"))
    facts += [("note", note) for note in blank.notes]
    return facts


def _edge_rows(work: Work, blank: Blank) -> list[list[str]]:
    rows = [["seam", "joint", "meets", "outside the trim line", "on the flat", "when formed", "gain or lose"]]
    for edge in blank.edges:
        rows.append(
            [
                edge.letter or "\u2013",
                words.joint_word(edge, work.seams),
                edge.meets or "nothing",
                words.edge_metal(edge, work.job.unit),
                figure(edge.length_blank, work.job.unit),
                figure(edge.length_surface, work.job.unit),
                words.edge_change(edge, blank.kind, work.job.unit),
            ]
        )
    return rows


def _map_page(canvas: Any, face: Face, tiling: Tiling, total: int) -> None:
    """How the tiles join, and everything about the blank that is not a line on it."""
    work, blank = face.work, face.blank
    live_at, live = _live(False)
    x, right = float(live_at[0]) + GUTTER_MM, float(live_at[0] + live[0])
    room = right - x
    y = float(live_at[1] + live[1])
    title = f"{named(work, blank.name)}: full-size template"
    y = paragraph(canvas, x, y, title, room, SIZES["title"], bold=True) - 1.0
    y = _warnings(canvas, work, x, y, room)
    for name, value in _facts(work, blank) + roll_facts(face):
        text(canvas, x, y - 2.5, name, SIZES["small"], colour=PENCIL)
        y = paragraph(canvas, x + 34, y, value, room - 34, SIZES["small"])
    y -= 2
    y = table(canvas, x, y, [11, 13, 34, 34, 23, 23, room - 138], _edge_rows(work, blank), right=(4, 5)) - 2.5
    ends = targets(tiling)
    apart = float(np.hypot(*(ends[1] - ends[0])))
    count = len(tiling.used)
    steps = [
        f"Print {count + 1} pages at 100 %. They fit A4 and letter. Measure both 100 mm bars on each page.",
        "Trim each tile along the left and the lower side of its frame, where a neighbour lies there.",
        "Start at the lower left. Lay each tile over its neighbour up to the long dashed line; crosses match.",
        f"{'Joined, ' if count > 1 else ''}D1 to D2 must measure {words.length(apart, work.job.unit)} within 1 mm. "
        "If not, print again.",
        legend(face, full_size=True),
    ]
    if count == 1:
        steps[1:3] = []
    for k, step in enumerate(steps):
        y = paragraph(canvas, x, y, f"{k + 1}. {step}", room, SIZES["small"])
    floor = float(live_at[1]) + TILE.foot + 3
    _map(canvas, face, tiling, (x, floor), (room, y - floor - 3))
    _foot(
        canvas,
        work,
        blank,
        live_at,
        float(live[0]),
        "map",
        f"{count} tiles, this page shows how they join." if count > 1 else "One tile.",
        f"page 1 of {total}",
    )
    _upright_bar(canvas, live_at + [3.5, TILE.foot + 20])


def _map(canvas: Any, face: Face, tiling: Tiling, at: tuple[float, float], room: tuple[float, float]) -> None:
    """The blank in small with its tiles, their names, and D1 to D2."""
    spread = tiling.step * [tiling.columns - 1, tiling.rows - 1] + tiling.window
    scale = min(room[0] / spread[0], room[1] / spread[1], 0.5)
    shift = np.array(at) + (np.array(room) - spread * scale) / 2 - tiling.low * scale
    view = View(scale, (float(shift[0]), float(shift[1])))
    for row, column in tiling.used:
        low = view.points(tiling.corner(row, column))
        wide, high = np.array(tiling.window) * scale
        pen(canvas, "rule")
        rectangle(canvas, low[0], low[1], wide, high)
        size = min(12.0, 0.35 * min(wide, high))
        x, y = low + [wide / 2, high / 2 - 0.36 * size]
        text(canvas, x, y, tiling.name(row, column), size, bold=True, align="middle", colour=FAINT)
    draw_cuts(canvas, face, view)
    ends = view.points(targets(tiling))
    pen(canvas, "zone")
    line(canvas, *ends)
    for k, end in enumerate(ends):
        polygon(canvas, [end + [-0.8, -0.8], end + [0.8, -0.8], end + [0, 0.9]], fill=INK, stroke=False)
        align, off = ("left", 1.5) if k == 0 else ("right", -1.5)
        text(canvas, end[0] + off, end[1] - 0.8, f"D{k + 1}", SIZES["small"], align=align)


def full_size_pdf(face: Face, drawn: Sheet | None = None) -> bytes:
    """One page as large as the blank, for a plan printer; ``drawn`` as for `tiled_pdf`."""
    work, blank = face.work, face.blank
    x0, y0, x1, y1 = blank.outline.bounds
    margin, foot = 15.0, 46.0
    rows = _edge_rows(work, blank)
    facts = _facts(work, blank) + roll_facts(face)
    deep = max(len(rows) + 1, len(facts)) * 4.2 + 8 + 6 * sum(f.strength == "stop" for f in work.findings)
    wide = max(x1 - x0 + 2 * margin + GUTTER_MM + 6, 330.0)
    high = max(y1 - y0 + 2 * margin, CHECK_MM + 20) + foot + deep
    view = View(1.0, (margin + GUTTER_MM + 6 - x0, foot + deep + margin - y0))
    canvas, buffer = begin(f"{work.job.name}: {blank.name}, template at full size", job_line(work.job))
    with page(canvas, (wide, high), blank.name):
        carry(canvas, "blank", drawn or at_full_size(face), view.shift)
        corners = view.points([[x0 - 6, y0 - 6], [x1 + 6, y1 + 6]])
        apart = float(np.hypot(*(corners[1] - corners[0])))
        for k, (x, y) in enumerate(corners):
            pen(canvas, "match")
            line(canvas, (x - 3, y - 3), (x + 3, y + 3))
            line(canvas, (x - 3, y + 3), (x + 3, y - 3))
            align, off = ("left", 5.0) if k == 0 else ("right", -5.0)
            text(
                canvas,
                x + off,
                y - 1,
                f"D{k + 1}: {words.length(apart, work.job.unit)} to D{2 - k}",
                SIZES["small"],
                align=align,
            )
        _upright_bar(canvas, np.array([margin - 5, foot + deep + margin]))
        y = foot + deep - 2
        pen(canvas, "frame")
        line(canvas, (margin - 5, y + 2), (wide - margin + 5, y + 2))
        y = _warnings(canvas, work, margin, y, wide - 2 * margin)
        half = 120.0
        left = y
        for name, value in facts:
            text(canvas, margin, left - 2.5, name, SIZES["small"], colour=PENCIL)
            left = paragraph(canvas, margin + 34, left, value, half - 36, SIZES["small"])
        table_room = min(180.0, wide - 2 * margin - half)
        share = [0.07, 0.09, 0.22, 0.18, 0.12, 0.13, 0.19]
        table(canvas, margin + half, y, [s * table_room for s in share], rows, right=(4, 5))
        _foot(
            canvas,
            work,
            blank,
            np.array([margin, 12.0]),
            wide - 2 * margin,
            "1:1",
            "One page at full size, for a plan printer.",
            "page 1 of 1",
        )
    return finish(canvas, buffer)
