"""In which order the parts of a sheet are cut on a machine.

Words used here
    nested   a part that lies in a hole of another: it is cut before that hole, or it drops with the slug
    small    a part no longer than `SMALL_MM` either way
    later    parts that wait for a test: after all others
    letter   what the order is told by, a, b, c, so that nobody takes it for the number of a part

Nested parts first, then small ones while the sheet is whole and stiff, then the rest; each of these column by column
from the sheet's origin, so that the sheet stays in one piece beyond them (common practice, no source).
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from nesting import Layout
    from nesting.model import Placed

__all__ = ["SMALL_MM", "cut_order", "is_small", "nested", "nested_in", "order_letter"]

SMALL_MM = 150.0


def order_letter(place: int) -> str:
    """A place in the order, from 1, in letters.

    >>> [order_letter(k) for k in (1, 2, 26, 27, 28, 52, 53)]
    ['a', 'b', 'z', 'aa', 'ab', 'az', 'ba']
    """
    letters = ""
    while place > 0:
        place, last = divmod(place - 1, 26)
        letters = chr(ord("a") + last) + letters
    return letters


def cut_order(layout: Layout, sheet: int, later: Collection[str] = ()) -> tuple[Placed, ...]:
    """The parts of a sheet in the order they are cut, those named ``later`` after the rest.

    On a sheet for the shear by their places alone.
    """
    placed = layout.on_sheet(sheet)
    deep = nested(placed) if layout.cutting != "shear" else (0,) * len(placed)
    small = [layout.cutting != "shear" and is_small(part) for part in placed]

    def key(k: int) -> tuple[float, ...]:
        x0, y0, _, _ = placed[k].outline.bounds
        return (placed[k].part.name in later, -deep[k], not (small[k] or deep[k]), round(x0, 3), round(y0, 3))

    return tuple(placed[k] for k in sorted(range(len(placed)), key=key))


def nested(placed: Sequence[Placed]) -> tuple[int, ...]:
    """In how many holes of others each part lies."""
    return tuple(map(len, nested_in(placed)))


def nested_in(placed: Sequence[Placed]) -> tuple[tuple[int, ...], ...]:
    """In holes of which others each part lies, by their places in ``placed``."""
    from shapely import Polygon

    holes = [[Polygon(ring) for ring in part.outline.interiors] for part in placed]
    return tuple(
        tuple(k for k, own in enumerate(holes) if k != index for hole in own if hole.contains(part.outline))
        for index, part in enumerate(placed)
    )


def is_small(placed: Placed) -> bool:
    """Whether a part is small."""
    x0, y0, x1, y1 = placed.outline.bounds
    return max(x1 - x0, y1 - y0) <= SMALL_MM
