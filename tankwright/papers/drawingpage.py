"""The page that shop drawings stand on: its size, its edges, its title."""

from __future__ import annotations

from typing import Any

from .look import SIZES, TILE
from .pdf import fit_size, text

__all__ = ["FLOOR", "FOOT", "LEFT", "LIVE", "PAGE", "RIGHT", "TOP", "page_title"]

PAGE = (TILE.page[1], TILE.page[0])
LIVE = (TILE.live[1], TILE.live[0])
LEFT, FOOT = (PAGE[0] - LIVE[0]) / 2, (PAGE[1] - LIVE[1]) / 2
RIGHT, TOP = LEFT + LIVE[0], FOOT + LIVE[1]
FLOOR = FOOT + 9.0  # above the line that names the job


def page_title(canvas: Any, words_: str, side: str = "") -> float:
    """Title over the page; the y of its foot."""
    size = fit_size(words_, LIVE[0] - 70, SIZES["title"], bold=True)
    text(canvas, LEFT, TOP - SIZES["title"], words_, size, bold=True)
    if side:
        text(canvas, RIGHT, TOP - SIZES["title"], side, SIZES["body"], align="right")
    return TOP - SIZES["title"] - 3.0
