"""What cutting files are made of: paths and words on named layers, before any format. mm, x right, y up."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from .outline import Path

__all__ = ["Corner", "Drawing", "Item", "Line", "Words"]

Corner = tuple[float, float]


@dataclass(frozen=True)
class Line:
    """A path on a layer (a key of `look.LAYERS`)."""

    layer: str
    path: Path


@dataclass(frozen=True)
class Words:
    """A line of words: lower left corner, height and turn in degrees; ``middle`` centres it there instead."""

    layer: str
    text: str
    at: Corner
    height: float
    turn: float = 0.0
    middle: bool = False


Item = Line | Words


@dataclass(frozen=True)
class Drawing:
    """One cutting file: a title, and its items in cutting order."""

    title: str
    items: tuple[Item, ...]

    def on(self, layer: str) -> tuple[Line, ...]:
        """The paths on a layer, in order."""
        return tuple(item for item in self.items if isinstance(item, Line) and item.layer == layer)

    @cached_property
    def extents(self) -> tuple[Corner, Corner]:
        """Lower left and upper right corner of all paths, mm to 0.001, to 0.05 mm where they are arcs."""
        paths = [item.path for item in self.items if isinstance(item, Line)]
        dense = np.vstack([path.dense(0.05) if path.arcs else path.points for path in paths])
        (x0, y0), (x1, y1) = dense.min(axis=0).round(3).tolist(), dense.max(axis=0).round(3).tolist()
        return (x0 + 0.0, y0 + 0.0), (x1 + 0.0, y1 + 0.0)
