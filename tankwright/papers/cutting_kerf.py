"""Kerf and lead-ins: only where they are asked for.

Words used here
    kerf      width the cut takes away; left to the machine unless it is asked for here
    lead-in   short cut from the scrap to the outline, so that the pierce mark stays off the part
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from typing import TYPE_CHECKING

import numpy as np

from .outline import Path

if TYPE_CHECKING:
    from shapely.geometry import Polygon

__all__ = ["kerfed", "with_lead"]


def kerfed(shape: Polygon, kerf_mm: float) -> Polygon:
    """The centre line of the cut: half a kerf outside the outline and inside its holes.

    Raises ValueError where the kerf closes a hole or a slot.
    """
    if kerf_mm <= 0:
        return shape
    grown = shape.buffer(kerf_mm / 2, quad_segs=64)
    if grown.geom_type != "Polygon" or len(grown.interiors) != len(shape.interiors):
        raise ValueError(f"A kerf of {kerf_mm:.2f} mm closes a hole or a slot of this part. Use a finer cut.")
    return grown


def with_lead(path: Path, shape: Polygon, others: Iterable[Polygon], lead_mm: float) -> Path:
    """The path opened at the middle of a straight edge, or of an arc, with a lead-in square to it.

    Where no lead finds room it is left closed.
    """
    from shapely import LineString

    if lead_mm <= 0:
        return path
    others = tuple(others)
    chords = np.roll(path.points, -1, axis=0) - path.points
    rank = sorted(range(len(chords)), key=lambda i: (path.bulges[i] != 0, -round(float(np.hypot(*chords[i])), 6)))
    for i in rank:
        a, b, bulge = path.points[i], path.points[(i + 1) % len(chords)], float(path.bulges[i])
        right = np.array([chords[i][1], -chords[i][0]]) / np.hypot(*chords[i])
        start = (a + b) / 2 + right * bulge * np.hypot(*chords[i]) / 2
        half = math.tan(math.atan(bulge) / 2)
        pierce = start - right * lead_mm  # the part is on the right, the scrap on the left
        lead = LineString([pierce, start - right * 1e-3])
        if lead.intersects(shape) or any(lead.distance(other) < lead_mm / 2 for other in others):
            continue
        points = np.vstack([pierce, start, np.roll(path.points, -(i + 1), axis=0), start])
        bulges = np.concatenate([[0.0, half], np.roll(path.bulges, -(i + 1))[:-1], [half, 0.0]])
        return Path(points, bulges, False)
    return path
