"""Nest flat parts on sheets: fewest and cheapest sheets, the most useful offcut, cuts the machine
can make.

    layout = nest([Part("lid", box(0, 0, 400, 300), quantity=2)], [Sheet("4x8", 1220, 2440,
    price=60)], gap_mm=6)

Knows flat outlines, sheets and prices, and nothing of what the parts are for.
"""

from .errors import BadPart, BadSetting, BadSheet, LayoutFault, NestingError
from .model import Cut, Layout, Length, Offcut, Part, Placed, Sheet, Unplaced, UsedSheet
from .nest import nest, shortest_length
from .strip import Strip, pack_strip

__all__ = [
    "BadPart",
    "BadSetting",
    "BadSheet",
    "Cut",
    "Layout",
    "LayoutFault",
    "Length",
    "NestingError",
    "Offcut",
    "Part",
    "Placed",
    "Sheet",
    "Strip",
    "Unplaced",
    "UsedSheet",
    "nest",
    "pack_strip",
    "shortest_length",
]
