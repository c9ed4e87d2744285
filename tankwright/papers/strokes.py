"""Letters and figures of single strokes, for whoever etches or scribes: our own, drawn on a grid of 4 by 6.

Words used here
    stroke    a line of the pen without lifting it, points (n, 2)
    height    of a capital, mm; a letter is two thirds as wide, and a third of the height is left between two

Capitals only: small letters are written as capitals, what has no letter here as a question mark. O is plain, 0 has a
bar across it, so that a number is never read for a letter.
"""

from __future__ import annotations

from functools import cache

import numpy as np

from .names import plain

__all__ = ["GLYPHS", "stroke_width", "strokes"]

TALL = 6  # grid steps of a capital
STEP = 6  # grid steps from letter to letter

#: Strokes of each letter; a stroke is its points, each as two figures, x and y on the grid.
GLYPHS = {
    " ": "",
    "0": "100105163645413010 1036",
    "1": "152620 1030",
    "2": "05163645440040",
    "3": "05163645443313 334241301001",
    "4": "30360242",
    "5": "460604344341301001",
    "6": "4536160501103041423303",
    "7": "064610",
    "8": "13040516364544331302011030414233",
    "9": "011030414536160504133343",
    "A": "0004264440 0242",
    "B": "00063645443303 3342413000",
    "C": "4536160501103041",
    "D": "00062644422000",
    "E": "46060040 0333",
    "F": "460600 0333",
    "G": "45361605011030414323",
    "H": "0006 4640 0343",
    "I": "2620 1030 1636",
    "J": "4641301001",
    "K": "0006 460340",
    "L": "060040",
    "M": "0006234640",
    "N": "00064046",
    "O": "100105163645413010",
    "P": "00063645443303",
    "Q": "100105163645413010 2240",
    "R": "00063645443303 1340",
    "S": "453616050413334241301001",
    "T": "0646 2620",
    "U": "060110304146",
    "V": "062046",
    "W": "0610243046",
    "X": "0046 0640",
    "Y": "062346 2320",
    "Z": "06460040",
    "-": "1333",
    "_": "0040",
    "+": "0343 2521",
    "=": "0242 0444",
    ".": "2021",
    ",": "2110",
    ":": "2122 2425",
    "'": "2624",
    '"': "1614 3634",
    "/": "0046",
    "(": "36251130",
    ")": "16253110",
    "#": "1016 3036 0242 0444",
    "?": "05163645442322 2021",
}


def strokes(text: str, height: float) -> list[np.ndarray]:
    """The strokes of a line of words, each (n, 2) mm, the first letter's lower left corner at 0, 0."""
    scale = height / TALL
    return [(stroke + [STEP * k, 0]) * scale for k, letter in enumerate(_letters(text)) for stroke in _glyph(letter)]


def stroke_width(text: str, height: float) -> float:
    """Width of a line of words, mm."""
    count = len(_letters(text))
    return max(0.0, (STEP * count - 2) * height / TALL)


def _letters(text: str) -> str:
    return "".join(letter if letter in GLYPHS else "?" for letter in plain(text).upper())


@cache
def _glyph(letter: str) -> tuple[np.ndarray, ...]:
    return tuple(
        np.array([[int(x), int(y)] for x, y in zip(stroke[::2], stroke[1::2], strict=True)], dtype=float)
        for stroke in GLYPHS[letter].split()
    )
