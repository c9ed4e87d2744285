"""Reading PDF papers back: every straight stroke and every piece of text in millimetres on its page.

The reader (pypdf) shares no code with the writer. Curves are left out; strokes come with their line width.
"""

from __future__ import annotations

import io
import re
from dataclasses import dataclass

import numpy as np
from pypdf import PdfReader
from pypdf.generic import ContentStream

MM = 25.4 / 72


@dataclass(frozen=True)
class Stroke:
    """A straight stroke: ends (2, 2) mm on the page, line width mm."""

    ends: np.ndarray
    width: float

    @property
    def length(self) -> float:
        return float(np.hypot(*(self.ends[1] - self.ends[0])))


def read(content: bytes) -> PdfReader:
    return PdfReader(io.BytesIO(content))


def page_size(page) -> tuple[float, float]:
    return float(page.mediabox.width) * MM, float(page.mediabox.height) * MM


def strokes(page) -> list[Stroke]:
    """Every straight stroke of a page, curves' ends left out; also of the drawings that the page carries."""
    return [stroke for stroke, _ in _strokes(page, page.get_contents(), page.pdf, np.eye(3) * [MM, MM, 1.0], None)]


def seen(page) -> list[Stroke]:
    """The strokes of a page that its clipping lets through, in whole or in part."""
    return [
        stroke for stroke, box in _strokes(page, page.get_contents(), page.pdf, np.eye(3) * [MM, MM, 1.0], None) if box
    ]


def _strokes(holder, stream, pdf, matrix: np.ndarray, clip) -> list[tuple[Stroke, bool]]:
    """Strokes of a content stream and whether any of each is seen; matrix (3, 3) takes its units to mm."""
    found: list[tuple[Stroke, bool]] = []
    width, at, start, box = 1.0, None, None, None
    stack: list = []

    def place(x, y) -> np.ndarray:
        return (np.array([float(x), float(y), 1.0]) @ matrix)[:2]

    def add(to: np.ndarray) -> None:
        ends = np.array([at, to])
        scale = abs(float(np.linalg.det(matrix[:2, :2]))) ** 0.5
        inside = clip is None or bool((ends.max(axis=0) >= clip[0]).all() and (ends.min(axis=0) <= clip[1]).all())
        found.append((Stroke(ends, width * scale), inside))

    for operands, operator in ContentStream(stream, pdf).operations:
        if operator == b"w":
            width = float(operands[0])
        elif operator == b"q":
            stack.append((width, matrix, clip))
        elif operator == b"Q":
            width, matrix, clip = stack.pop()
        elif operator == b"cm":
            a, b, c, d, e, f = map(float, operands)
            matrix = np.array([[a, b, 0], [c, d, 0], [e, f, 1]]) @ matrix
        elif operator == b"re":
            x, y, wide, high = map(float, operands)
            box = np.array([place(x, y), place(x + wide, y + high)])
        elif operator == b"W":
            clip = box
        elif operator == b"m":
            at = start = place(*operands)
        elif operator == b"l":
            to = place(*operands)
            add(to)
            at = to
        elif operator == b"c":
            at = place(*operands[4:])
        elif operator == b"h" and at is not None:
            add(start)
        elif operator == b"Do":
            form = holder["/Resources"]["/XObject"][operands[0]].get_object()
            found += _strokes(form, form, pdf, matrix, clip)
    return found


def words_of(page) -> str:
    """Every line of text of a page and of the drawings it carries, one a row, in the order drawn."""
    return "\n".join(_words(page, page.get_contents(), page.pdf))


def _words(holder, stream, pdf) -> list[str]:
    rows, letters = [], {}
    for operands, operator in ContentStream(stream, pdf).operations:
        if operator == b"BT":
            rows.append("")
        elif operator == b"Tf":
            letters = _letters_of(holder["/Resources"]["/Font"][operands[0]])
        elif operator == b"Tj":
            rows[-1] += "".join(letters[code] for code in operands[0].original_bytes)
        elif operator == b"Do":
            form = holder["/Resources"]["/XObject"][operands[0]].get_object()
            rows += _words(form, form, pdf)
    return [row for row in rows if row]


def _letters_of(font) -> dict[int, str]:
    """What each code of a font stands for, by the table in the file."""
    table = font["/ToUnicode"].get_data().decode("ascii")
    return {int(a, 16): chr(int(b, 16)) for a, b in re.findall(r"<(\w\w)> <(\w{4})>", table)}


def ink(content: bytes, page: int, dpi: int = 150) -> np.ndarray:
    """Darkness (rows, columns) 0..1 of a page, row 0 at the top."""
    import pypdfium2 as pdfium

    document = pdfium.PdfDocument(content)
    bitmap = document[page].render(scale=dpi / 72, grayscale=True)
    return 1.0 - bitmap.to_numpy().astype(float).squeeze() / 255
