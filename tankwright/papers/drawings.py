"""Shop drawings: each blank in figures a helper can lay out with, each sheet in the order it is cut.

Pages are as wide as letter is high and as high as A4 is wide, so they print on both at 100 %. The drawings
on them are to the scale they name; the figures govern. mm, good face up, x right, y up.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from functools import partial
from typing import TYPE_CHECKING, Any

import numpy as np

from . import words
from .blankdraw import draw_blank
from .blankface import Face, face_of, named
from .blanknotes import end_words
from .blankview import SMALL, View
from .cutting_hold import BEND_HOLD, strip_source, strips_of, waits
from .cutting_words import figure, metal_of
from .drawingpage import FLOOR, FOOT, LEFT, LIVE, PAGE, RIGHT, page_title
from .figurespage import figures_page, more_page, parted
from .legend import legend
from .look import INK, PENCIL, RED, SIZES, WORDS
from .names import job_line
from .pdf import begin, finish, fit_size, line, page, paragraph, pen, polygon, table, table_height, text, text_width
from .rolldraw import roll_table, roll_table_height
from .sheetpage import SheetPage, sheet_pages
from .zones import worst_places, zone_twin

if TYPE_CHECKING:
    from panels.blank import Blank

    from ..work import Work

__all__ = ["drawing_files", "drawings_pdf"]

#: Scales a drawing may have: 1 to 1, 1.5, 2, 2.5, 3, 4, 5, 10, 20.
SCALES = (1.0, 2 / 3, 0.5, 0.4, 1 / 3, 0.25, 0.2, 0.1, 0.05)
#: Widths of the columns of a blank's three tables, mm.
EDGES, FOLDS, ZONES = (9, 22, 26, 26, 13, 13, 33), (14, 19, 19, 17, 44), (11, 14, 14, 14, 20, 40)


def drawing_files(work: Work, faces: Sequence[Face] = ()) -> dict[str, bytes]:
    """``drawings.pdf``: contents, then every blank, then every sheet."""
    return {"drawings.pdf": drawings_pdf(work, faces)}


def drawings_pdf(work: Work, faces: Sequence[Face] = ()) -> bytes:
    """The whole set as one file; ``faces`` saves working them out again."""
    faces = tuple(faces) or tuple(face_of(work, blank) for blank in work.blanks)
    canvas, buffer = begin(f"{work.job.name}: shop drawings", job_line(work.job))
    pages = sheet_pages(work)
    parts = [_pages_of(face) for face in faces]
    total = 1 + sum(map(len, parts)) + len(pages)
    number = 1
    with _page(canvas, work, "contents", f"page 1 of {total}"):
        _contents(canvas, work, faces, [len(drawn) for drawn in parts], pages)
    for face, drawn in zip(faces, parts, strict=True):
        name = face.blank.name
        for part, draw in drawn:
            number += 1
            with _page(canvas, work, f"{name}: {part}", f"page {number} of {total}"):
                draw(canvas, face)
    for each in pages:
        number += 1
        with _page(canvas, work, each.title, f"page {number} of {total}"):
            each.draw(canvas, work, each.sheet)
    return finish(canvas, buffer)


def _pages_of(face: Face) -> list[tuple[str, Callable[[Any, Face], None]]]:
    """The pages of a blank: what each is called, and what draws it."""
    rows = parted(face)
    pages: list[tuple[str, Callable[[Any, Face], None]]] = [("drawing", _blank_page)]
    pages.append(("offsets", partial(figures_page, rows_=rows)))
    if rows.more:
        pages.append(("points", partial(more_page, rows=rows)))
    return pages


@contextmanager
def _page(canvas: Any, work: Work, bookmark: str, number: str) -> Iterator[None]:
    """A page with the job on its foot."""
    with page(canvas, PAGE, bookmark):
        yield
        pen(canvas, "rule")
        line(canvas, (LEFT, FOOT + 5.5), (RIGHT, FOOT + 5.5))
        stamp = f"{job_line(work.job)} \u00b7 shop drawings \u00b7 {number} \u00b7 all figures mm unless marked"
        text(canvas, LEFT, FOOT + 1.6, stamp, fit_size(stamp, LIVE[0], SIZES["small"], least=1.2))


def _contents(canvas: Any, work: Work, faces: Sequence[Face], count: Sequence[int], pages: Sequence[SheetPage]) -> None:
    """What is in the set, what waits and the warnings first; ``count`` pages of each blank."""
    y = page_title(canvas, "Shop drawings")
    hold = _hold(work)
    y = paragraph(canvas, LEFT, y, hold, LIVE[0], SIZES["small"], bold=True) if hold else y
    for finding in work.findings:
        if y < 95:
            y = paragraph(canvas, LEFT, y, "More on the job sheet: read it before cutting.", LIVE[0], SIZES["small"])
            break
        held = " ".join(words.limit_of(finding.strength, finding.allowed))
        numbers = f"found {finding.found}{f'; {held}' if finding.allowed else ''}" if finding.found else ""
        told = _notes([part for part in (finding.says, numbers, finding.remedy) if part])
        says = f"{finding.strength.upper()} \u2013 {finding.pattern}. {told}"
        stop = finding.strength == "stop"
        y = paragraph(canvas, LEFT, y, says, LIVE[0], SIZES["small"], bold=stop, colour=RED if stop else INK)
    y -= 2.0
    rows: list[list[str]] = [["pages", "piece", "side", "kind", "cut size", "worst stretch, shrink", "on sheet"]]
    sheets = {placed.part.name: placed.sheet + 1 for placed in work.layout.placed}
    page_ = 2
    for face, many in zip(faces, count, strict=True):
        blank = face.blank
        x0, y0, x1, y1 = blank.outline.bounds
        strain = "none" if blank.flat is None else f"{words.percent(blank.stretch)}, {words.percent(blank.shrink)}"
        where = str(sheets[blank.name]) if blank.name in sheets else "none"
        size = words.size(x1 - x0, y1 - y0, work.job.unit)
        span = f"{page_}\u2013{page_ + many - 1}"
        rows.append([span, named(work, blank.name), words.hand(blank), blank.kind, size, strain, where])
        page_ += many
    for at, each in enumerate(pages, page_):
        sheet = work.layout.sheets[each.sheet]
        size = words.size(sheet.sheet.width, sheet.sheet.height, work.job.unit)
        about = [sheet.name, size] if each.about is None else [each.about, ""]
        rows.append([str(at), each.title, "", *about, "", ""])
    y = table(canvas, LEFT, y, [18, 42, 46, 42, 52, 37, 22], rows, SIZES["small"]) - 3.0
    facts = "; ".join(f"{name}: {value}" for name, value in work.assumptions)
    y = paragraph(canvas, LEFT, y, f"Assumed. {facts}.", LIVE[0], SIZES["fine"]) - 1.5
    for caution in work.cautions:
        if y < FLOOR + 4:
            break
        y = paragraph(canvas, LEFT, y, caution, LIVE[0], SIZES["fine"])


def _hold(work: Work) -> str:
    """What is not to be cut before the bend test, and where its strip comes from; empty where nothing waits."""
    held = [named(work, blank.name) for blank in work.blanks if waits(blank)]
    if not held:
        return ""
    one = len(held) == 1
    strips = _notes(tuple(dict.fromkeys(strip_source(work, strip) for strip in strips_of(work))))
    return (
        f"HOLD \u2013 {', '.join(held)} wait{'s' * one} for the bend test: {'it' if one else 'they'} may change, so "
        f"{BEND_HOLD}. The test strip is cut first. {strips}"
    )


def _blank_page(canvas: Any, face: Face) -> None:
    """The blank to scale with its sizes, folds and edges."""
    work, blank = face.work, face.blank
    y = page_title(canvas, named(work, blank.name), f"{words.hand(blank)}, qty 1")
    metal = f"{metal_of(work.job, blank)}. "
    says = f"{metal}{WORDS['face']} Grain: {words.grain(blank)}. {_notes((*blank.notes, *_k_sources(blank)))}"
    y = paragraph(canvas, LEFT, y, says, LIVE[0], SIZES["small"]) - 0.6
    y = paragraph(canvas, LEFT, y, legend(face), LIVE[0], SIZES["fine"]) - 1.0
    tables = _edge_table(face), _fold_table(face), _zone_table(face)
    heights = [_room_for(rows, wide) for rows, wide in zip(tables, (EDGES, FOLDS, ZONES), strict=True)]
    floor = FLOOR + max(heights[0], heights[1] + heights[2] + roll_table_height(face)) + 2.0
    scale_words = _to_scale(canvas, face, (LEFT, floor), (LIVE[0], y - floor))
    text(canvas, RIGHT, y - 2.5, scale_words, SIZES["small"], align="right", colour=PENCIL)
    table(canvas, LEFT, floor - 1.0, EDGES, tables[0], SIZES["fine"], right=(4, 5))
    at = LEFT + 146
    foot = floor - 1.0
    if len(tables[1]) > 1:
        foot = table(canvas, at, foot, FOLDS, tables[1], SIZES["fine"]) - 1.5
    foot = roll_table(canvas, face, at, foot) - 1.5
    if len(tables[2]) > 1:
        table(canvas, at, foot, ZONES, tables[2], SIZES["fine"], right=(2, 3))


def _notes(notes: Sequence[str]) -> str:
    """Notes as sentences."""
    return " ".join(f"{note[:1].upper()}{note[1:].rstrip('.')}." for note in notes)


def _room_for(rows: Sequence[Sequence[str]], wide: Sequence[float]) -> float:
    """Room for a table and what parts it from the next, mm; none for one without rows."""
    return 0.0 if len(rows) < 2 else table_height(wide, rows, SIZES["fine"]) + 2.0


def _k_sources(blank: Blank) -> list[str]:
    """Where the K-factors of a blank's folds and lips come from, each once."""
    known = dict.fromkeys((fold.k_factor, fold.k_source) for fold in blank.folds)
    known |= dict.fromkeys((lip.k_factor, lip.k_source) for lip in blank.lips)
    return [f"K {words.fixed(k, 3)}: {source.replace(' (K is half its k)', '')}" for k, source in known]


def _to_scale(canvas: Any, face: Face, at: tuple[float, float], room: tuple[float, float]) -> str:
    """The blank as large as there is room, with overall sizes; its scale in words."""
    x0, y0, x1, y1 = face.blank.outline.bounds
    unit = face.work.job.unit
    most = min((room[0] - 30) / (x1 - x0), (room[1] - 18) / (y1 - y0), 1.0)
    scale = next((k for k in SCALES if k <= most), most)
    left = at[0] + 14 + (room[0] - 30 - scale * (x1 - x0)) / 2
    low = at[1] + 10 + (room[1] - 18 - scale * (y1 - y0)) / 2
    view = View(scale, (left - scale * x0, low - scale * y0))
    ends = view.points([[x0, y0], [x1, y1]])
    keep_off = _frame_boxes(ends)
    _ends(canvas, face, ends, keep_off)
    draw_blank(canvas, face, view, SMALL, keep_off)
    _size_line(canvas, ends[0] + [0, -6.5], [ends[1][0], ends[0][1] - 6.5], words.length(x1 - x0, unit))
    _size_line(canvas, ends[0] + [-10.5, 0], [ends[0][0] - 10.5, ends[1][1]], words.length(y1 - y0, unit))
    pen(canvas, "frame")
    line(canvas, ends[0] + [-4, 0], [ends[1][0] + 4, ends[0][1]])
    text(canvas, ends[1][0] + 5, ends[0][1] - 0.7, "base line", SIZES["fine"], colour=PENCIL)
    polygon(canvas, [ends[0], ends[0] + [-1.4, -2.2], ends[0] + [1.4, -2.2]], fill=INK, stroke=False)
    text(canvas, ends[0][0] - 1.8, ends[0][1] - 3.4, "0", SIZES["small"], align="right", bold=True)
    return f"scale 1:{1 / scale:.3g}" if scale in SCALES else "not to scale"


def _frame_boxes(ends: np.ndarray) -> list[Any]:
    """Where the base line and the two size lines stand on the page."""
    from shapely.geometry import box

    (left, low), (right, high) = ends
    return [box(left - 4, low - 9, right + 18, low - 0.2), box(left - 13, low, left - 8.5, high)]


def _ends(canvas: Any, face: Face, ends: np.ndarray, taken: list[Any]) -> None:
    """Front, rear, top and the like outside the drawing, each at the side it names."""
    from shapely.geometry import box

    (left, low), (right, high) = ends
    size = SIZES["small"]
    places = (
        (left - 2.0, low - 7.4, "right"), (right + 2.0, low - 7.4, "left"),
        (left + 0.2 * (right - left), low - 4.6, "middle"), (left + 0.2 * (right - left), high + 3.4, "middle"),
    )  # fmt: skip
    for side, says in end_words(face):
        x, y, align = places[side]
        text(canvas, x, y, says, size, bold=True, align=align, paper=True)
        wide = text_width(says, size, bold=True)
        x -= {"left": 0.0, "middle": wide / 2, "right": wide}[align]
        taken.append(box(x - 0.5, y - 0.5, x + wide + 0.5, y + size))


def _size_line(canvas: Any, a: Any, b: Any, words_: str) -> None:
    """A size line with arrow heads and its figure."""
    a, b = np.asarray(a, dtype=float), np.asarray(b, dtype=float)
    pen(canvas, "rule")
    line(canvas, a, b)
    along = (b - a) / max(1e-9, float(np.hypot(*(b - a))))
    side = np.array([-along[1], along[0]])
    for end, way in ((a, 1.0), (b, -1.0)):
        polygon(
            canvas,
            [end, end + way * along * 2 + side * 0.5, end + way * along * 2 - side * 0.5],
            fill=PENCIL,
            stroke=False,
        )
    middle = (a + b) / 2
    turn = 90.0 if abs(along[1]) > 0.5 else 0.0
    off = np.array([0.36 * SIZES["body"], 0.0]) if turn else np.array([0.0, -0.36 * SIZES["body"]])
    if text_width(words_, SIZES["body"], bold=True) > float(np.hypot(*(b - a))) - 6:
        off = off + (np.array([-3.2, 0.0]) if turn else np.array([0.0, -3.2]))  # beside a line too short for it
    x, y = middle + off
    text(canvas, x, y, words_, SIZES["body"], bold=True, turn=turn, align="middle", paper=True)


def _edge_table(face: Face) -> list[list[str]]:
    rows = [["seam", "joint", "meets", "metal outside", "on flat", "formed", "gain or lose"]]
    unit = face.work.job.unit
    for edge in face.blank.edges:
        flat, formed = figure(edge.length_blank, unit), figure(edge.length_surface, unit)
        meets = edge.meets or "nothing"
        rows.append(
            [
                edge.letter or "\u2013",
                words.joint_word(edge, face.work.seams),
                meets,
                words.edge_metal(edge, unit),
                flat,
                formed,
                words.edge_change(edge, face.blank.kind, unit),
            ]
        )
    return rows


def _fold_table(face: Face) -> list[list[str]]:
    """Where each fold and each lip's bend starts and ends from the base line, how far it turns, and what it takes."""
    rows = [["fold", "from (along, up)", "to (along, up)", "turn", "inside radius, K, width of the bend"]]
    x0, y0, _, _ = face.blank.outline.bounds
    unit = face.work.job.unit

    def row(name: str, line_: Sequence[np.ndarray], turn: str, how: tuple[float, float], wide: Any) -> list[str]:
        ends = [f"{figure(p[0] - x0, unit)}, {figure(p[1] - y0, unit)}" for p in line_]
        radius, k = how
        apart = words.fixed(min(wide), 2)
        if max(wide) - min(wide) > 0.05:
            apart += f" to {words.fixed(max(wide), 2)}"
        return [name, *ends, turn, f"R {figure(radius, unit)}, K {words.fixed(k, 3)}, {apart} mm wide"]

    for k, fold in enumerate(face.blank.folds, 1):
        wide = np.hypot(*(fold.tangents[1] - fold.tangents[0]).T)
        turn = f"{words.fixed(fold.angle)}\u00b0 {'up' if fold.up else 'down'}"
        name = f"{k}, lip {fold.lip}" if fold.lip else str(k)
        rows.append(row(name, (fold.start, fold.end), turn, (fold.inside_radius, fold.k_factor), wide))
    for lip in face.blank.lips:
        if not lip.straight:
            middle, turn = lip.middle, f"{words.angles(*lip.turn)} {'up' if lip.up else 'down'}"
            how = lip.inside_radius, lip.k_factor
            ends = sorted((middle[0], middle[-1]), key=lambda end: float(end[0]))
            made = row(f"lip {lip.letter}", ends, turn, how, np.hypot(*(lip.ends - lip.begins).T))
            rows.append([*made[:-1], f"{made[-1]}; curved: see the next page"])
    return rows


def _zone_table(face: Face) -> list[list[str]]:
    """Each zone with its mean and its worst, and where that is; then what is worse than any zone shows."""
    rows = [["zone", "do", "mean", "worst", "how hard", "worst at (along, up)"]]
    limits, unit, flat = words.difficulty_limits(face.work.job), face.work.job.unit, face.blank.flat
    if flat is None:
        return rows
    x0, y0, _, _ = face.blank.outline.bounds

    def at(places: Sequence[tuple[float, float]]) -> str:
        return " and ".join(f"{figure(x - x0, unit)}, {figure(y - y0, unit)}" for x, y in places)

    for k, zone in enumerate(face.zones[:8], 1):
        if zone.kind != "leave":
            mean, worst = words.percent(abs(zone.mean)), words.percent(abs(zone.worst))
            hard = words.difficulty(zone.worst, limits)
            rows.append([str(k), zone.kind, mean, worst, hard, at((zone.worst_at, *zone_twin(flat, zone)))])
    for place in worst_places(flat):
        if abs(place.share) > max((abs(z.worst) for z in face.zones if z.kind == place.kind), default=0.0) + 0.0005:
            worst = words.percent(abs(place.share))
            spot = "spots" if len(place.at) > 1 else "spot"
            rows.append([spot, place.kind, "", worst, words.difficulty(place.share, limits), at(place.at)])
    return rows
