"""The quote as a PDF that a customer can be sent: a page or two, on paper that prints as A4 and letter.

Words used here
    flow      the blocks cut into pieces that stay together, each with its height, laid down the pages
    piece     a height in mm, and what draws it with its top at y
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import TYPE_CHECKING, Any, NamedTuple

from .look import PENCIL, SIZES, TILE
from .names import job_line
from .pdf import LINE_SPACING, begin, finish, fit_size, line, page, paragraph, pen, text, text_width, wrap
from .quotewords import Block, Sheet, customer_sheet

if TYPE_CHECKING:
    from ..quote import Quote
    from ..work import Work

__all__ = ["quote_pdf"]

WIDE, HIGH = TILE.page
LEFT = (WIDE - TILE.live[0]) / 2 + 5
RIGHT = WIDE - LEFT
TOP, FLOOR, FOOT = HIGH - 14.0, 19.5, 12.0
ROOM = RIGHT - LEFT
BODY, SMALL = SIZES["body"], SIZES["small"]
NAMES = 24.0  # width of the names beside what the quote is about
BULLET = 4.0


class Piece(NamedTuple):
    """So many mm of height, and what draws them with their top at y."""

    height: float
    draw: Callable[[Any, float], None]


def quote_pdf(work: Work, quote: Quote) -> bytes:
    """The customer's quote; the same bytes from the same work."""
    sheet = customer_sheet(work, quote)
    canvas, buffer = begin(f"Quote: {work.job.name}", job_line(work.job))
    pages = _pages([_head(sheet), *(piece for block in sheet.blocks for piece in _block(block))])
    for number, pieces in enumerate(pages, 1):
        with page(canvas, TILE.page, f"Quote, page {number}"):
            y = TOP
            for piece in pieces:
                piece.draw(canvas, y)
                y -= piece.height
            _foot(canvas, work, f"quote \u00b7 page {number} of {len(pages)}")
    return finish(canvas, buffer)


def _pages(pieces: list[Piece]) -> list[list[Piece]]:
    """The pieces page by page, as many on each as it holds."""
    pages: list[list[Piece]] = [[]]
    y = TOP
    for piece in pieces:
        if pages[-1] and y - piece.height < FLOOR:
            pages.append([])
            y = TOP
        pages[-1].append(piece)
        y -= piece.height
    return pages


def _foot(canvas: Any, work: Work, says: str) -> None:
    pen(canvas, "rule")
    line(canvas, (LEFT, FOOT + 5.5), (RIGHT, FOOT + 5.5))
    stamp = f"{job_line(work.job)} \u00b7 {says}"
    text(canvas, LEFT, FOOT + 1.6, stamp, fit_size(stamp, ROOM, SMALL, least=1.2), colour=PENCIL)


def _head(sheet: Sheet) -> Piece:
    """The shop at the left, the word at the right, and what it is about below."""
    sender = sheet.sender or ("",)
    rows = [(name, wrap(value, ROOM - NAMES, BODY)) for name, value in sheet.about]
    step = BODY * LINE_SPACING
    top = max(SIZES["title"] + 3.0, SIZES["head"] + 1.5 + (len(sender) - 1) * SMALL * LINE_SPACING) + 4.0

    def draw(canvas: Any, y: float) -> None:
        text(canvas, RIGHT, y - SIZES["title"], "Quote", SIZES["title"], bold=True, align="right")
        room = ROOM - 40.0
        size = fit_size(sender[0], room, SIZES["head"], bold=True)
        text(canvas, LEFT, y - SIZES["head"], sender[0], size, bold=True)
        for k, words in enumerate(sender[1:], 1):
            base = y - SIZES["head"] - 1.5 - k * SMALL * LINE_SPACING
            text(canvas, LEFT, base, words, fit_size(words, room, SMALL), colour=PENCIL)
        y -= top
        pen(canvas, "frame")
        line(canvas, (LEFT, y), (RIGHT, y))
        for name, lines in rows:
            text(canvas, LEFT, y - step, name, BODY, colour=PENCIL)
            for words in lines:
                y -= step
                text(canvas, LEFT + NAMES, y, words, BODY, bold=name in ("for", "tank"))

    return Piece(top + sum(len(lines) for _, lines in rows) * step + 3.0, draw)


def _block(block: Block) -> Iterator[Piece]:
    """A block in pieces: its heading with the first thing under it, then the rest; lines to sign on stay together."""
    parts = list(_rows(block)) + list(_says(block)) + list(_write(block))
    if block.write:
        parts = [_together(parts)]
    size = SIZES["head"] * 0.85
    above = 2.9

    def head(canvas: Any, y: float) -> None:
        text(canvas, LEFT, y - above - size, block.head, size, bold=True)

    high = above + size + 1.4
    yield _together([Piece(high, head), *parts[:1]])
    yield from parts[1:]


def _together(parts: list[Piece]) -> Piece:
    """Pieces as one, which no page parts."""

    def draw(canvas: Any, y: float) -> None:
        for part in parts:
            part.draw(canvas, y)
            y -= part.height

    return Piece(sum(part.height for part in parts), draw)


def _rows(block: Block) -> Iterator[Piece]:
    """Rows of the price: words at the left, money at the right, the total under a heavier rule."""
    if not block.rows:
        return
    step = BODY * LINE_SPACING + 1.1

    def draw(canvas: Any, y: float) -> None:
        pen(canvas, "frame")
        line(canvas, (LEFT, y), (RIGHT, y))
        for k, (left, right) in enumerate(block.rows):
            bold = k in block.strong
            if bold:
                pen(canvas, "frame")
                line(canvas, (LEFT, y), (RIGHT, y))
            room = ROOM - text_width(right, BODY, bold=bold) - 6.0
            base = y - step + 1.5
            text(canvas, LEFT + 1, base, left, fit_size(left, room, BODY, bold=bold), bold=bold)
            text(canvas, RIGHT - 1, base, right, BODY, bold=bold, align="right")
            y -= step
            pen(canvas, "frame" if bold else "rule")
            line(canvas, (LEFT, y), (RIGHT, y))

    yield Piece(len(block.rows) * step + 1.0, draw)


def _says(block: Block) -> Iterator[Piece]:
    """Sentences, after a dash or a number; under a number a line for the decision."""
    plain = bool(block.rows or block.write)
    indent = 0.0 if plain else BULLET
    for number, sentence in enumerate(block.says, 1):
        lines = len(wrap(sentence, ROOM - indent, BODY))
        high = lines * BODY * LINE_SPACING + 0.3

        def draw(canvas: Any, y: float, sentence: str = sentence, number: int = number) -> None:
            if not plain:
                lead = f"{number}." if block.numbered else "\u2013"
                text(canvas, LEFT, y - BODY * LINE_SPACING + 0.3 * BODY, lead, BODY)
            paragraph(canvas, LEFT + indent, y, sentence, ROOM - indent, BODY)

        piece = Piece(high, draw)
        yield _together([piece, _to_write("Decided", LEFT + indent, 20.0)]) if block.numbered else piece


def _write(block: Block) -> Iterator[Piece]:
    for name in block.write:
        yield _to_write(name, LEFT, 34.0)


def _to_write(name: str, left: float, beside: float) -> Piece:
    """A name and a line to write on."""
    high = 8.0

    def draw(canvas: Any, y: float) -> None:
        text(canvas, left, y - high + 1.0, name, BODY, colour=PENCIL)
        pen(canvas, "rule")
        line(canvas, (left + beside, y - high), (RIGHT, y - high))

    return Piece(high + 1.2, draw)
