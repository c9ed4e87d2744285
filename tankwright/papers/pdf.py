"""Drawing on PDF pages in millimetres: pens, letters, paths, tables. Every PDF paper is made with these.

Words used here
    page     its lower left corner is the origin, x right, y up, mm; one PDF unit is one millimetre inside it
    sheet    what is drawn on: a document that takes pages, or a drawing of its own that pages carry
    ink      PDF operators as text, and words that wait for the document's font
    size     height of letters in mm, as in `look.SIZES`
    spell    put a text into letters that the embedded font has

Pages carry no clock and no random id: the same input gives the same bytes. Figures are written here, not by the
library, to 0.001 mm: it is asked only for the document, its fonts and its pages.
"""

from __future__ import annotations

import io
import math
import unicodedata
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from functools import cache, lru_cache
from pathlib import Path as File
from typing import TYPE_CHECKING, Any, NamedTuple

from .look import FONT, FONT_BOLD, INK, PENS, SIZES, Pen
from .pdfpath import along, apart, ring, through
from .wrapping import bound

if TYPE_CHECKING:
    from .outline import Path

__all__ = [
    "Sheet",
    "begin",
    "carry",
    "circle",
    "clip_box",
    "draw_path",
    "finish",
    "fit_size",
    "line",
    "lines",
    "page",
    "paragraph",
    "pen",
    "polygon",
    "rectangle",
    "spell",
    "table",
    "table_height",
    "text",
    "text_width",
    "unclip",
    "wrap",
]

POINTS_PER_MM = 72 / 25.4
FAR_MM = 20000.0  # no blank reaches so far
LINE_SPACING = 1.35
CELL_PAD = 0.8  # mm beside the words of a table's cell


#: What a text in a PDF cannot hold as it is.
_ESCAPED = {
    **{code: f"\\{code:03o}" for code in (*range(32), *range(127, 256))},
    **{ord(letter): f"\\{letter}" for letter in "()\\"},
}


class Words(NamedTuple):
    """A line of text that waits for the document's font: what stands before it, its size, its letters."""

    before: str
    size: float
    bold: bool
    text: str


class Carried(NamedTuple):
    """A drawing placed on a page: its name in the document, and how far it is moved, mm."""

    name: str
    drawing: Sheet
    shift: tuple[float, float]


@dataclass
class Sheet:
    """What is drawn on: ink so far; of a document also its library canvas and the drawings it holds."""

    ink: list[str | Words | Carried] = field(default_factory=list)
    canvas: Any = None
    held: set[str] = field(default_factory=set)


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


def begin(title: str, subject: str) -> tuple[Sheet, io.BytesIO]:
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
    return Sheet(canvas=canvas), buffer


@contextmanager
def page(sheet: Sheet, size: tuple[float, float], bookmark: str = "") -> Iterator[Sheet]:
    """One page of that size in mm; inside, one unit is one millimetre."""
    canvas = sheet.canvas
    canvas.setPageSize((size[0] * POINTS_PER_MM, size[1] * POINTS_PER_MM))
    if bookmark:
        key = f"page{canvas.getPageNumber()}"
        canvas.bookmarkPage(key)
        canvas.addOutlineEntry(spell(bookmark), key, level=0)
    sheet.ink.append(f"q {POINTS_PER_MM:.8f} 0 0 {POINTS_PER_MM:.8f} 0 0 cm 0 J 1 j")
    yield sheet
    sheet.ink.append("Q")
    for part in sheet.ink:  # drawings first: a page and a drawing cannot be written at one time
        if isinstance(part, Carried) and part.name not in sheet.held:
            sheet.held.add(part.name)
            _hold(canvas, part)
    _write(canvas, sheet.ink)
    sheet.ink.clear()
    canvas.showPage()


def finish(sheet: Sheet, buffer: io.BytesIO) -> bytes:
    """The finished file."""
    sheet.canvas.save()
    return buffer.getvalue()


def carry(sheet: Sheet, name: str, drawing: Sheet, shift: tuple[float, float]) -> None:
    """Put a drawing of its own on the page, moved: the document holds it once, whatever pages carry it."""
    sheet.ink.append(Carried(name, drawing, shift))


def _hold(canvas: Any, part: Carried) -> None:
    """Write a drawing into the document, as a form that pages refer to; it has no bounds of its own."""
    canvas.beginForm(part.name, -FAR_MM, -FAR_MM, FAR_MM, FAR_MM)
    _write(canvas, part.drawing.ink)
    canvas.endForm()


def _write(canvas: Any, ink: Sequence[str | Words | Carried]) -> None:
    """Ink as the document's own operators."""
    ready: list[str] = []
    for part in ink:
        if isinstance(part, str):
            ready.append(part)
        elif isinstance(part, Words):
            ready.append(_shown(canvas, part))
        else:
            canvas.addLiteral("\n".join([*ready, "q " + _moved(part.shift)]))
            canvas.doForm(part.name)
            ready = ["Q"]
    canvas.addLiteral("\n".join(ready))


def _moved(shift: tuple[float, float]) -> str:
    return f"1 0 0 1 {shift[0]:.4f} {shift[1]:.4f} cm"


def _shown(canvas: Any, part: Words) -> str:
    """A line of text in the codes that the document gives its letters."""
    from reportlab.pdfbase import pdfmetrics

    font: Any = pdfmetrics.getFont(FONT_BOLD if part.bold else FONT)
    shown = [part.before]
    for subset, codes in font.splitString(part.text, canvas._doc):
        name = font.getSubsetInternalName(subset, canvas._doc)
        shown.append(f"{name} {part.size:.3f} Tf ({codes.decode('latin-1').translate(_ESCAPED)}) Tj")
    return " ".join([*shown, "ET"])


def pen(sheet: Sheet, name: str | Pen, colour: tuple[float, float, float] | None = None) -> None:
    """Take up a pen of `look.PENS`."""
    sheet.ink.append(_pen(PENS[name] if isinstance(name, str) else name, colour))


@lru_cache(maxsize=256)
def _pen(chosen: Pen, colour: tuple[float, float, float] | None) -> str:
    dash = " ".join(f"{length:g}" for length in chosen.dash)
    return f"{chosen.width:g} w [{dash}] 0 d {_colour(colour or chosen.colour)} RG"


@lru_cache(maxsize=64)
def _colour(colour: tuple[float, float, float]) -> str:
    return " ".join(f"{part:g}" for part in colour)


def line(sheet: Sheet, *points: Any) -> None:
    """Straight strokes through points."""
    sheet.ink.append(through(points) + " S")


def lines(sheet: Sheet, strokes: Any) -> None:
    """Many strokes of two points each, (n, 2, 2), with the pen in hand."""
    if len(strokes):
        sheet.ink.append(f"{apart(strokes)} S")


def polygon(
    sheet: Sheet,
    points: Sequence[Sequence[float]],
    *,
    fill: tuple[float, float, float] | None = None,
    stroke: bool = True,
) -> None:
    """A closed polygon, filled with a colour if one is given."""
    paint = "S" if fill is None else "B" if stroke else "f"
    colour = "" if fill is None else f"{_colour(fill)} rg "
    sheet.ink.append(f"{colour}{through(points)} h {paint}")


def rectangle(sheet: Sheet, x: float, y: float, wide: float, high: float) -> None:
    """The outline of a rectangle from its lower left corner."""
    sheet.ink.append(f"{x:.3f} {y:.3f} {wide:.3f} {high:.3f} re S")


def circle(sheet: Sheet, x: float, y: float, radius: float, *, paper: bool = False) -> None:
    """A circle stroked; ``paper`` makes it white inside."""
    sheet.ink.append(f"1 g {ring(x, y, radius)} B" if paper else f"{ring(x, y, radius)} S")


def clip_box(sheet: Sheet, low: Sequence[float], high: Sequence[float]) -> None:
    """Draw only inside a rectangle from here on; give the ink back with `unclip`."""
    wide, high_ = high[0] - low[0], high[1] - low[1]
    sheet.ink.append(f"q {low[0]:.4f} {low[1]:.4f} {wide:.4f} {high_:.4f} re W n")


def unclip(sheet: Sheet) -> None:
    """End what `clip_box` began."""
    sheet.ink.append("Q")


def draw_path(sheet: Sheet, path: Path) -> None:
    """Lines and arcs with the pen in hand; arcs as cubics that miss them by less than 0.001 mm."""
    sheet.ink.append(f"{along(path)} S")


@lru_cache(maxsize=8192)
def _unit_width(words: str, bold: bool) -> float:
    """Width of a line of text whose letters are 1 mm high."""
    from reportlab.pdfbase import pdfmetrics

    _letters()
    face: Any = pdfmetrics.getFont(FONT_BOLD if bold else FONT)
    widths, rest = face.face.charWidths, face.face.defaultWidth
    return sum(widths.get(ord(letter), rest) for letter in words) / 1000


def text_width(words: object, size: float, *, bold: bool = False) -> float:
    """Width of a line of text, mm."""
    return _unit_width(spell(words), bold) * size


def fit_size(words: object, room: float, size: float, *, bold: bool = False, least: float = 1.6) -> float:
    """The size, or as much less as makes the text fit the room; never below ``least``."""
    wide = text_width(words, size, bold=bold)
    return size if wide <= room else max(least, size * room / wide)


def text(
    sheet: Sheet,
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
    left = {"left": 0.0, "middle": -wide / 2, "right": -wide}[align]
    c, s = (math.cos(math.radians(turn)), math.sin(math.radians(turn))) if turn else (1.0, 0.0)
    before = ""
    if paper:
        x0, x1, y0, y1 = left - 0.4, left + wide + 0.4, -0.3 * size, 0.95 * size
        corners = [(x + c * u - s * v, y + s * u + c * v) for u, v in ((x0, y0), (x1, y0), (x1, y1), (x0, y1))]
        before = f"1 g {through(corners)} f "
    matrix = f"{c:.5f} {s:.5f} {-s:.5f} {c:.5f} {x + c * left:.3f} {y + s * left:.3f} Tm"
    sheet.ink.append(Words(f"{before}{_colour(colour)} rg BT {matrix}", size, bold, words))


def wrap(words: object, room: float, size: float, *, bold: bool = False) -> list[str]:
    """The text broken into lines that fit the room; a word wider than the room stands alone.

    A whole number and its fraction are one word, and so are a number and its unit where they fit the room.
    """
    lines: list[str] = []
    for word in bound(spell(words), lambda both: text_width(both, size, bold=bold) <= room):
        trial = f"{lines[-1]} {word}" if lines else word
        if lines and text_width(trial, size, bold=bold) <= room:
            lines[-1] = trial
        else:
            lines.append(word)
    return lines or [""]


def paragraph(
    sheet: Sheet,
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
        text(sheet, x, y + 0.3 * size, row, size, bold=bold, colour=colour)
    return y


def _cells(row: Sequence[object], widths: Sequence[float], size: float, *, bold: bool) -> tuple[list[list[str]], float]:
    """The lines of each cell of a row, and how high the row is, mm."""
    cells = [wrap(cell, wide - 2 * CELL_PAD, size, bold=bold) for cell, wide in zip(row, widths, strict=True)]
    return cells, max(map(len, cells)) * size * LINE_SPACING + 0.6


def table_height(widths: Sequence[float], rows: Sequence[Sequence[object]], size: float = SIZES["small"]) -> float:
    """How high `table` makes these rows, mm."""
    return sum(_cells(row, widths, size, bold=number == 0)[1] for number, row in enumerate(rows))


def table(
    sheet: Sheet,
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
    pad = CELL_PAD
    for number, row in enumerate(rows):
        bold = number == 0
        cells, high = _cells(row, widths, size, bold=bold)
        left = x
        for column, (lines, wide) in enumerate(zip(cells, widths, strict=True)):
            for k, words in enumerate(lines):
                base = y - (k + 1) * size * LINE_SPACING + 0.25 * size
                at_right = column in right
                small = fit_size(words, wide - 2 * pad, size, bold=bold)
                place = left + wide - pad if at_right else left + pad
                text(sheet, place, base, words, small, bold=bold, align="right" if at_right else "left")
            left += wide
        y -= high
        pen(sheet, "frame" if number == 0 else "rule")
        line(sheet, (x, y), (x + sum(widths), y))
    return y
