"""Cut paths without pieces so short that a torch stands still on them.

Words used here
    piece   one line or arc of a path
    merged  taken up by its neighbours: one of its two ends left out, or both drawn together
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

import numpy as np

from .outline import Path

if TYPE_CHECKING:
    from shapely.geometry import LinearRing

__all__ = ["MERGED_MISS_MM", "SHORT_MM", "without_short"]

#: A control slows down for every piece; on one shorter than this a plasma torch dwells (common practice, no source).
SHORT_MM = 1.0
#: Most that a path may lie from the outline it stands for once pieces are merged, mm: what is asked of a cutting file.
MERGED_MISS_MM = 0.05


def without_short(path: Path, outline: LinearRing) -> Path:
    """The closed path with every piece under `SHORT_MM` merged that can be, within `MERGED_MISS_MM` of the outline.

    Shorter pieces that give a corner its shape stay.
    """
    left: set[bytes] = set()  # pieces that cannot be merged
    while len(path.points) > 3:
        chord = np.linalg.norm(np.roll(path.points, -1, axis=0) - path.points, axis=1)
        found = next((k for k in np.argsort(chord) if chord[k] < SHORT_MM and _key(path, k) not in left), None)
        if found is None:
            return path
        tried = [(_miss(other, outline), n, other) for n, other in enumerate(_merged(path, int(found)))]
        miss, _, best = min(tried, key=lambda way: way[:2])
        if miss <= MERGED_MISS_MM:
            path = best
        else:
            left.add(_key(path, int(found)))
    return path


def _key(path: Path, k: int) -> bytes:
    return path.points[[k, (k + 1) % len(path.points)]].tobytes()


def _merged(path: Path, k: int) -> Iterator[Path]:
    """The path without the piece from point ``k`` on: its end left out, its start left out, both drawn together."""
    n = len(path.points)
    after = (k + 1) % n
    for moved in (path.points[k], path.points[after], (path.points[k] + path.points[after]) / 2):
        points, bulges = path.points.copy(), path.bulges.copy()
        points[k] = moved
        bulges[k] = bulges[after]  # the piece that now leaves point k
        yield Path(np.delete(points, after, axis=0), np.delete(bulges, after), True)


def _miss(path: Path, outline: LinearRing) -> float:
    """How far the path lies from the outline, or the outline from it, mm."""
    from shapely.geometry import LinearRing as Ring

    return float(Ring(path.dense(0.002)).hausdorff_distance(outline))
