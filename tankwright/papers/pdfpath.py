"""Lines, arcs and rings as the operators of a PDF page, in figures to 0.001 mm.

Words used here
    cubic    the curve a PDF draws: two control points and an end, from where the pen is
    path     moves and strokes as text, not yet stroked or filled
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from .outline import arc_centre

if TYPE_CHECKING:
    from .outline import Path

__all__ = ["along", "apart", "ring", "through"]

MOST_BEZIER_RAD = math.radians(30)  # a cubic misses a 30 degree arc by 4e-7 of its radius


def through(points: Iterable[Sequence[float]]) -> str:
    """A path to the first of points (n, 2), then straight on to each."""
    flat = [float(value) for point in points for value in point[:2]]
    return ("{:.3f} {:.3f} m" + " {:.3f} {:.3f} l" * (len(flat) // 2 - 1)).format(*flat)


def apart(strokes: Any) -> str:
    """A path of strokes (n, 2, 2) that do not hang together."""
    flat = np.asarray(strokes, dtype=float).reshape(-1, 4)
    return " ".join(["{:.3f} {:.3f} m {:.3f} {:.3f} l"] * len(flat)).format(*flat.ravel().tolist())


def along(path: Path) -> str:
    """A path of lines and arcs; arcs as cubics that miss them by less than 0.001 mm."""
    points = path.points.tolist()
    if path.closed:
        points.append(points[0])
    parts = [through(points[:1])]
    for a, b, bulge in zip(points, points[1:], path.bulges.tolist(), strict=False):
        parts.append(_arc(a, b, bulge) if bulge else f"{b[0]:.3f} {b[1]:.3f} l")
    return " ".join([*parts, "h"] if path.closed else parts)


def ring(x: float, y: float, radius: float) -> str:
    """A path round a circle."""
    west, east = (x - radius, y), (x + radius, y)
    return f"{through([west])} {_arc(west, east, 1.0)} {_arc(east, west, 1.0)} h"


def _arc(a: Sequence[float], b: Sequence[float], bulge: float) -> str:
    """Cubics along an arc from a to b."""
    middle, radius = arc_centre(np.array(a), np.array(b), bulge)
    cx, cy = middle.tolist()
    angle = 4 * math.atan(bulge)
    count = max(1, math.ceil(abs(angle) / MOST_BEZIER_RAD))
    step = angle / count
    reach = 4 / 3 * math.tan(step / 4) * radius
    start = math.atan2(a[1] - cy, a[0] - cx)
    parts = []
    for k in range(count):
        t, u = start + k * step, start + (k + 1) * step
        ct, st, cu, su = math.cos(t), math.sin(t), math.cos(u), math.sin(u)
        end = b if k == count - 1 else (cx + radius * cu, cy + radius * su)
        first = (cx + radius * ct - reach * st, cy + radius * st + reach * ct)
        second = (end[0] + reach * su, end[1] - reach * cu)
        parts.append("{:.3f} {:.3f} {:.3f} {:.3f} {:.3f} {:.3f} c".format(*first, *second, *end[:2]))
    return " ".join(parts)
