"""Room on a blank for words that are read as the blank lies: clear of its edge, of holes, and of what stands there.

Words used here
    shape    what words or an arrow take, about the point they are placed by, as read (k, 2)
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from shapely.geometry import Polygon
    from shapely.geometry.base import BaseGeometry

__all__ = ["on_metal", "room_for"]

STEP_MM = 7.0  # places are tried this far apart
MOST = 60  # steps each way at most


def on_metal(outline: Polygon, shape: np.ndarray, at: np.ndarray) -> bool:
    """Whether a shape about a place lies on the metal."""
    from shapely import Polygon

    return bool(outline.covers(Polygon(shape + at)))


def room_for(
    outline: Polygon, shapes: Sequence[np.ndarray], near: np.ndarray, taken: BaseGeometry, drawn: BaseGeometry
) -> tuple[int, np.ndarray] | None:
    """Which of some shapes, the best first, finds room on the metal, and where, nearest to a point; None: none does.

    Clear of what is ``taken``; clear of lines ``drawn`` too where that can be. All in the blank's own frame.
    """
    from shapely import covers, intersects, polygons, prepare

    prepare([outline, taken, drawn])
    x0, y0, x1, y1 = outline.bounds
    places = np.stack(np.meshgrid(_along(x0, x1), _along(y0, y1), indexing="ij"), axis=-1).reshape(-1, 2)
    places = places[np.argsort(np.hypot(*(places - near).T).round(3), kind="stable")]
    for lines in (drawn, None):
        for k, shape in enumerate(shapes):
            boxes = np.asarray(polygons(shape[None] + places[:, None]))
            free = covers(outline, boxes)
            free[free] = ~intersects(taken, boxes[free])
            if lines is not None:
                free[free] = ~intersects(lines, boxes[free])
            if free.any():
                return k, places[int(free.argmax())]
    return None


def _along(low: float, high: float) -> np.ndarray:
    count = int(min(MOST, max(2, (high - low) // STEP_MM)))
    return np.linspace(low, high, count + 2)[1:-1]
