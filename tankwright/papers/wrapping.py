"""Which words of a text stay on one line: figures are never parted."""

from __future__ import annotations

import re
from collections.abc import Callable

__all__ = ["bound"]

_WHOLE = re.compile(r"(?:^|[^\d./])\d+$")
_FRACTION = re.compile(r"\d+/\d+\W*")
_UNIT = re.compile(r"(?:mm|in|m|m²|L|mL|kg|lb|%)[).,;:]*")


def bound(words: str, fits: Callable[[str], bool]) -> list[str]:
    """The words of a text, a whole number with its fraction, and a number with its unit as far as both ``fits``.

    >>> bound("leg (15 1/4 in) or 36.5 mm", lambda text: True), bound("36.5 mm", lambda text: len(text) < 5)
    (['leg', '(15 1/4 in)', 'or', '36.5 mm'], ['36.5', 'mm'])
    """
    kept: list[str] = []
    for word in words.split():
        before = kept[-1] if kept else ""
        part = bool(_FRACTION.fullmatch(word) and _WHOLE.search(before))
        unit = before[-1:].isdigit() and bool(_UNIT.fullmatch(word)) and fits(f"{before} {word}")
        if part or unit:
            kept[-1] = f"{before} {word}"
        else:
            kept.append(word)
    return kept
