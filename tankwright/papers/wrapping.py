"""Which words of a text stay on one line: figures are never parted."""

from __future__ import annotations

import re
from collections.abc import Callable

__all__ = ["bound"]

_WHOLE = re.compile(r"(?:^|[^\d./])\d+$")
_FRACTION = re.compile(r"\d+/\d+\W*")
_UNIT = re.compile(r"(?:mm|in|m|m²|L|mL|kg|lb|%)[).,;:]*")
_BRACKET = re.compile(r"\(\d[^()]*\)\W*")


def bound(words: str, fits: Callable[[str], bool]) -> list[str]:
    """The words of a text: a whole number with its fraction, and, as far as both ``fits``, a number with its unit or
    with the inches in brackets behind it.

    >>> bound("leg (15 1/4 in) or 36.5 mm", lambda text: True), bound("36.5 mm", lambda text: len(text) < 5)
    (['leg', '(15 1/4 in)', 'or', '36.5 mm'], ['36.5', 'mm'])
    """
    whole = _joined(words.split(), lambda before, word: bool(_FRACTION.fullmatch(word) and _WHOLE.search(before)))
    return _joined(
        whole,
        lambda before, word: (
            before[-1:].isdigit()
            and bool(_UNIT.fullmatch(word) or _BRACKET.fullmatch(word))
            and fits(f"{before} {word}")
        ),
    )


def _joined(words: list[str], belongs: Callable[[str, str], bool]) -> list[str]:
    """Words, each that ``belongs`` to the one before it joined to that."""
    kept: list[str] = []
    for word in words:
        if kept and belongs(kept[-1], word):
            kept[-1] = f"{kept[-1]} {word}"
        else:
            kept.append(word)
    return kept
