"""The tunnel as a shape, and the lines that a vertex of the body may lie on.

A vertex carries one bit for each line it lies on; an edge lies on a line when both its ends do.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from .curves import Curve
from .patterns import Patterns, TunnelPattern
from .surface import line_height

__all__ = [
    "CENTRE",
    "FRONT",
    "LEG",
    "LOWER",
    "NECK",
    "REAR",
    "ROOF",
    "RULES",
    "SEAM",
    "SHOULDER",
    "SHUT",
    "WIDEST",
    "Tunnel",
    "tunnel_of",
]

# SHUT: an upright wall that closes the tunnel inside the tank. RULES: rulings of the neck wall, two
# bits in turn so that no edge joins two rulings of one bit. SEAM is the first of many: keep it last.
FRONT, REAR, LOWER, CENTRE, ROOF, LEG, WIDEST, SHOULDER, NECK, SHUT, _EVEN, _ODD, SEAM = (1 << k for k in range(13))
RULES = _EVEN, _ODD

#: Beyond any tank, mm.
FAR = 1e5


@dataclass(frozen=True)
class Tunnel:
    """The tunnel's face towards the frame: z of its top at x, half width at x, mm."""

    pattern: TunnelPattern
    frame: Curve
    x_front: float
    x_rear: float

    @property
    def reach(self) -> tuple[float, float]:
        """x from which and to which there is a tunnel; far outside the tank at an open end."""
        front, rear = self.pattern.closed_front_x, self.pattern.closed_rear_x
        return -FAR if front is None else front, FAR if rear is None else rear

    @property
    def shut(self) -> tuple[float, ...]:
        """x of the walls that close the tunnel inside the tank."""
        return tuple(x for x in self.reach if abs(x) < FAR)

    def top(self, x: np.ndarray) -> np.ndarray:
        """z of the tunnel's top at x."""
        return line_height(self.frame, x) + self.pattern.top_room

    def half(self, x: np.ndarray) -> np.ndarray:
        """Half the tunnel's clear width at x: straight from front to rear."""
        share = (np.asarray(x) - self.x_front) / (self.x_rear - self.x_front)
        return self.pattern.half_front + share * (self.pattern.half_rear - self.pattern.half_front)

    def holds(self, x: np.ndarray, z: np.ndarray) -> np.ndarray:
        """Whether points (x, z) of the side view lie below its top and between its ends."""
        front, rear = self.reach
        return (z < self.top(x)) & (x > front) & (x < rear)


def tunnel_of(patterns: Patterns) -> Tunnel | None:
    """The tunnel, from the tunnel pattern and the frame line; None where the job has none."""
    if patterns.tunnel is None:
        return None
    tunnel = patterns.tunnel
    frame = patterns.side.line("frame")
    front, rear = (run.points[:, 0] for run in (patterns.side.front, patterns.side.rear))
    x_front = float(front.min()) if tunnel.closed_front_x is None else tunnel.closed_front_x
    x_rear = float(rear.max()) if tunnel.closed_rear_x is None else tunnel.closed_rear_x
    return Tunnel(tunnel, frame, x_front, x_rear)
