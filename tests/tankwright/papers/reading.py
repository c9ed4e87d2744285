"""Reading PDF papers back: every straight stroke and every piece of text in millimetres on its page.

The reader (pypdf) shares no code with the writer. Curves are left out; strokes come with their line width.
"""

from __future__ import annotations

import io
from dataclasses import dataclass

import numpy as np
from pypdf import PdfReader

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
    """Every straight stroke of a page, curves' ends left out."""
    found: list[Stroke] = []
    state = {"width": 1.0, "at": None, "start": None}
    stack: list[float] = []

    def place(cm, x, y) -> np.ndarray:
        return np.array([cm[0] * x + cm[2] * y + cm[4], cm[1] * x + cm[3] * y + cm[5]]) * MM

    def before(operator, operands, cm, tm) -> None:
        if operator == b"w":
            state["width"] = float(operands[0])
        elif operator == b"q":
            stack.append(state["width"])
        elif operator == b"Q":
            state["width"] = stack.pop()
        elif operator == b"m":
            state["at"] = state["start"] = place(cm, *map(float, operands))
        elif operator == b"l":
            to = place(cm, *map(float, operands))
            scale = abs(cm[0] * cm[3] - cm[1] * cm[2]) ** 0.5 * MM
            found.append(Stroke(np.array([state["at"], to]), state["width"] * scale))
            state["at"] = to
        elif operator == b"c":
            state["at"] = place(cm, *map(float, operands[4:]))
        elif operator == b"h" and state["at"] is not None:
            scale = abs(cm[0] * cm[3] - cm[1] * cm[2]) ** 0.5 * MM
            found.append(Stroke(np.array([state["at"], state["start"]]), state["width"] * scale))

    page.extract_text(visitor_operand_before=before)
    return found


def words_of(page) -> str:
    return page.extract_text()


def ink(content: bytes, page: int, dpi: int = 150) -> np.ndarray:
    """Darkness (rows, columns) 0..1 of a page, row 0 at the top."""
    import pypdfium2 as pdfium

    document = pdfium.PdfDocument(content)
    bitmap = document[page].render(scale=dpi / 72, grayscale=True)
    return 1.0 - bitmap.to_numpy().astype(float).squeeze() / 255
