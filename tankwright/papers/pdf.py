"""Drawing on PDF pages in millimetres: pens, letters, paths, tables. Every PDF paper is made with these.

Words used here
    page     its lower left corner is the origin, x right, y up, mm; one PDF unit is one millimetre inside it
    size     height of letters in mm, as in `look.SIZES`
    spell    put a text into letters that the embedded font has

Pages carry no clock and no random id: the same input gives the same bytes.
"""

from __future__ import annotations

import io
import math
import unicodedata
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from functools import cache, lru_cache
from pathlib import Path as File
from typing import TYPE_CHECKING, Any

import numpy as np

from .look import FONT, FONT_BOLD, INK, PENS, SIZES, Pen
from .outline import arc_centre

if TYPE_CHECKING:
    from .outline import Path

__all__ = [
    "begin",
    "clip_box",
    "draw_path",
    "finish",
    "fit_size",
    "line",
    "page",
    "paragraph",
    "pen",
    "polygon",
    "spell",
    "table",
    "text",
    "text_width",
    "wrap",
]

POINTS_PER_MM = 72 / 25.4
MOST_BEZIER_RAD = math.radians(30)  # a cubic misses a 30 degree arc by 4e-7 of its radius
LINE_SPACING = 1.35


@cache
def _letters() -> frozenset[int]:
    """Register the embedded fonts; the code points they have."""
    from reportlab.pdfbase import pdfmetrics
    from reportlab.pdfbase.ttfonts import TTFont

    folder = File(__file__).with_name("fonts")
    for name in (FONT, FONT_BOLD):
        pdfmetrics.registerFont(TTFont(name, str(folder / f"{name}.ttf")))
    font: Any = pdfmetrics.getFont(FONT)
    return frozenset(font.face.charToGlyph)


def spell(words: object) -> str:
    """The text in letters the font has: those it lacks without their accents, else as an empty box."""
    return _spelt(str(words))


@lru_cache(maxsize=4096)
def _spelt(words: str) -> str:
    known = _letters()
    result = []
    for letter in words.replace("\n", " "):
        if ord(letter) in known:
            result.append(letter)
            continue
        bare = "".join(c for c in unicodedata.normalize("NFKD", letter) if ord(c) in known)
        result.append(bare or "\u25a1")
    return "".join(result)


def begin(title: str, subject: str) -> tuple[Any, io.BytesIO]:
    """A new PDF, set to print at 100 %; draw with `page`, end with `finish`."""
    from reportlab import rl_config
    from reportlab.pdfgen.canvas import Canvas

    rl_config.useA85 = 0  # streams as they are: smaller, and no time spent on spelling them in letters
    _letters()
    buffer = io.BytesIO()
    first: Any = FONT  # typed as a number in the stubs
    canvas = Canvas(buffer, invariant=1, pageCompression=1, initialFontName=first)
    canvas.setTitle(spell(title))
    canvas.setSubject(spell(subject))
    canvas.setAuthor("Tankwright")
    canvas.setCreator("Tankwright")
    canvas.setViewerPreference("PrintScaling", "None")
    return canvas, buffer


@contextmanager
def page(canvas: Any, size: tuple[float, float], bookmark: str = "") -> Iterator[Any]:
    """One page of that size in mm; inside, one unit is one millimetre."""
    canvas.setPageSize((size[0] * POINTS_PER_MM, size[1] * POINTS_PER_MM))
    if bookmark:
        key = f"page{canvas.getPageNumber()}"
        canvas.bookmarkPage(key)
        canvas.addOutlineEntry(spell(bookmark), key, level=0)
    canvas.saveState()
    canvas.scale(POINTS_PER_MM, POINTS_PER_MM)
    canvas.setLineCap(0)
    canvas.setLineJoin(1)
    yield canvas
    canvas.restoreState()
    canvas.showPage()


def finish(canvas: Any, buffer: io.BytesIO) -> bytes:
    """The finished file."""
    canvas.save()
    return buffer.getvalue()


def pen(canvas: Any, name: str | Pen, colour: tuple[float, float, float] | None = None) -> None:
    """Take up a pen of `look.PENS`."""
    chosen = PENS[name] if isinstance(name, str) else name
    canvas.setLineWidth(chosen.width)
    canvas.setDash(*([list(chosen.dash), 0] if chosen.dash else [[], 0]))
    canvas.setStrokeColorRGB(*(colour or chosen.colour))


def line(canvas: Any, *points: Any) -> None:
    """Straight strokes through points."""
    path = canvas.beginPath()
    path.moveTo(*map(float, points[0][:2]))
    for point in points[1:]:
        path.lineTo(*map(float, point[:2]))
    canvas.drawPath(path, stroke=1, fill=0)


def polygon(
    canvas: Any,
    points: Sequence[Sequence[float]],
    *,
    fill: tuple[float, float, float] | None = None,
    stroke: bool = True,
) -> None:
    """A closed polygon, filled with a colour if one is given."""
    path = canvas.beginPath()
    path.moveTo(*map(float, points[0][:2]))
    for point in points[1:]:
        path.lineTo(*map(float, point[:2]))
    path.close()
    if fill is not None:
        canvas.setFillColorRGB(*fill)
    canvas.drawPath(path, stroke=int(stroke), fill=int(fill is not None))


def clip_box(canvas: Any, low: Sequence[float], high: Sequence[float]) -> None:
    """Draw only inside a rectangle from here to the end of the saved state."""
    path = canvas.beginPath()
    path.rect(low[0], low[1], high[0] - low[0], high[1] - low[1])
    canvas.clipPath(path, stroke=0, fill=0)


def draw_path(canvas: Any, path: Path) -> None:
    """Lines and arcs with the pen in hand; arcs as cubics that miss them by less than 0.001 mm."""
    drawn = canvas.beginPath()
    points = np.vstack([path.points, path.points[:1]]) if path.closed else path.points
    drawn.moveTo(*points[0].tolist())
    for k in range(len(points) - 1):
        a, b, bulge = points[k], points[k + 1], float(path.bulges[k])
        if bulge == 0:
            drawn.lineTo(*b.tolist())
            continue
        for control in _cubics(a, b, bulge):
            drawn.curveTo(*control)
    if path.closed:
        drawn.close()
    canvas.drawPath(drawn, stroke=1, fill=0)


def _cubics(a: np.ndarray, b: np.ndarray, bulge: float) -> Iterator[list[float]]:
    """Control points and end of each cubic along an arc."""
    centre, radius = arc_centre(a, b, bulge)
    angle = 4 * math.atan(bulge)
    count = max(1, math.ceil(abs(angle) / MOST_BEZIER_RAD))
    step = angle / count
    reach = 4 / 3 * math.tan(step / 4) * radius
    start = math.atan2(*(a - centre)[::-1])
    for k in range(count):
        t, u = start + k * step, start + (k + 1) * step
        p = centre + radius * np.array([math.cos(t), math.sin(t)])
        q = b if k == count - 1 else centre + radius * np.array([math.cos(u), math.sin(u)])
        first = p + reach * np.array([-math.sin(t), math.cos(t)])
        second = q - reach * np.array([-math.sin(u), math.cos(u)])
        yield [*first.tolist(), *second.tolist(), *q.tolist()]


def text_width(words: object, size: float, *, bold: bool = False) -> float:
    """Width of a line of text, mm."""
    from reportlab.pdfbase import pdfmetrics

    _letters()
    return float(pdfmetrics.stringWidth(spell(words), FONT_BOLD if bold else FONT, size))


def fit_size(words: object, room: float, size: float, *, bold: bool = False, least: float = 1.6) -> float:
    """The size, or as much less as makes the text fit the room; never below ``least``."""
    wide = text_width(words, size, bold=bold)
    return size if wide <= room else max(least, size * room / wide)


def text(
    canvas: Any,
    x: float,
    y: float,
    words: object,
    size: float = SIZES["body"],
    *,
    bold: bool = False,
    align: str = "left",
    turn: float = 0.0,
    colour: tuple[float, float, float] = INK,
    paper: bool = False,
) -> None:
    """One line of text, its foot at (x, y), turned by degrees; ``paper`` puts white behind it."""
    words = spell(words)
    wide = text_width(words, size, bold=bold)
    canvas.saveState()
    canvas.translate(x, y)
    if turn:
        canvas.rotate(turn)
    left = {"left": 0.0, "middle": -wide / 2, "right": -wide}[align]
    if paper:
        canvas.setFillColorRGB(1, 1, 1)
        canvas.rect(left - 0.4, -0.3 * size, wide + 0.8, 1.25 * size, stroke=0, fill=1)
    canvas.setFillColorRGB(*colour)
    canvas.setFont(FONT_BOLD if bold else FONT, size)
    canvas.drawString(left, 0, words)
    canvas.restoreState()


def wrap(words: object, room: float, size: float, *, bold: bool = False) -> list[str]:
    """The text broken into lines that fit the room; a word wider than the room stands alone."""
    lines: list[str] = []
    for word in spell(words).split():
        trial = f"{lines[-1]} {word}" if lines else word
        if lines and text_width(trial, size, bold=bold) <= room:
            lines[-1] = trial
        else:
            lines.append(word)
    return lines or [""]


def paragraph(
    canvas: Any,
    x: float,
    y: float,
    words: object,
    room: float,
    size: float = SIZES["body"],
    *,
    bold: bool = False,
    colour: tuple[float, float, float] = INK,
) -> float:
    """Text broken to the room, its first line's top at y; the y of its foot."""
    for row in wrap(words, room, size, bold=bold):
        y -= size * LINE_SPACING
        text(canvas, x, y + 0.3 * size, row, size, bold=bold, colour=colour)
    return y


def table(
    canvas: Any,
    x: float,
    y: float,
    widths: Sequence[float],
    rows: Sequence[Sequence[object]],
    size: float = SIZES["small"],
    *,
    right: Sequence[int] = (),
) -> float:
    """Rows of cells under ruled lines, the first row a head, top at y; the y of its foot.

    ``right`` names the columns set to the right. Cells are broken into lines where they are too long.
    """
    pad = 0.8
    for number, row in enumerate(rows):
        bold = number == 0
        cells = [wrap(cell, wide - 2 * pad, size, bold=bold) for cell, wide in zip(row, widths, strict=True)]
        high = max(map(len, cells)) * size * LINE_SPACING + 0.6
        left = x
        for column, (lines, wide) in enumerate(zip(cells, widths, strict=True)):
            for k, words in enumerate(lines):
                base = y - (k + 1) * size * LINE_SPACING + 0.25 * size
                at_right = column in right
                small = fit_size(words, wide - 2 * pad, size, bold=bold)
                place = left + wide - pad if at_right else left + pad
                text(canvas, place, base, words, small, bold=bold, align="right" if at_right else "left")
            left += wide
        y -= high
        pen(canvas, "frame" if number == 0 else "rule")
        line(canvas, (x, y), (x + sum(widths), y))
    return y
