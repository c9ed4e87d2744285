"""How a blank comes to lie on a page, and where on it there is room for words."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from .outline import Path

__all__ = ["FULL", "SMALL", "Sizes", "View", "axes", "box_at", "is_free", "upright"]


@dataclass(frozen=True)
class View:
    """Page point = scale * blank point + shift."""

    scale: float
    shift: tuple[float, float]

    def points(self, points: Any) -> np.ndarray:
        """Points (..., 2) of the blank on the page."""
        return np.asarray(points, dtype=float) * self.scale + self.shift

    def path(self, path: Path) -> Path:
        """A path of the blank on the page."""
        return Path(self.points(path.points), path.bulges, path.closed)


@dataclass(frozen=True)
class Sizes:
    """Letter heights on the page, mm."""

    name: float
    tag: float
    small: float


FULL = Sizes(8.0, 3.4, 2.8)
SMALL = Sizes(3.6, 2.3, 2.0)


def upright(along: np.ndarray) -> float:
    """Angle in degrees that lets words along a direction be read from below or from the right."""
    angle = math.degrees(math.atan2(along[1], along[0]))
    if angle > 90.01:
        angle -= 180
    return angle + 180 if angle <= -89.99 else angle


def axes(turn: float) -> tuple[np.ndarray, np.ndarray]:
    """Unit vectors along and above words turned by that many degrees."""
    unit = np.array([math.cos(math.radians(turn)), math.sin(math.radians(turn))])
    return unit, np.array([-unit[1], unit[0]])


def box_at(left_foot: np.ndarray, wide: float, high: float, turn: float) -> Any:
    """The place words take on the page, as a polygon."""
    from shapely.geometry import Polygon

    unit, up = axes(turn)
    foot = np.asarray(left_foot) - up * 0.3 - unit * 0.6
    return Polygon([foot, foot + unit * (wide + 1.2), foot + unit * (wide + 1.2) + up * high, foot + up * high])


def is_free(box: Any, taken: Sequence[Any]) -> bool:
    from shapely import intersects, prepare

    prepare(box)
    return not (len(taken) and intersects(box, list(taken)).any())
