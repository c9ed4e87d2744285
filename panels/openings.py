"""The tunnel as a shape, and the lines that a vertex of the body may lie on.

A vertex carries one bit for each line it lies on; an edge lies on a line when both its ends do.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from .curves import Curve
from .errors import TunnelError
from .half_section import line_height
from .patterns import Patterns, TunnelPattern
from .round_top import RoundTop, round_top

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
    "TOP_RULES",
    "WIDEST",
    "Tunnel",
    "tunnel_of",
]

# SHUT: an upright wall that closes the tunnel inside the tank. RULES: rulings of the neck wall, TOP_RULES those of
# a rounded top, each two bits in turn so that no edge joins two rulings of one bit. SEAM is the first of many: keep
# it last.
_BITS = [1 << k for k in range(15)]
FRONT, REAR, LOWER, CENTRE, ROOF, LEG, WIDEST, SHOULDER, NECK, SHUT, *_RULED, SEAM = _BITS
RULES, TOP_RULES = (_RULED[0], _RULED[1]), (_RULED[2], _RULED[3])

#: Beyond any tank, mm.
FAR = 1e5
#: A frame line that strays from straight by no more than this may have a rounded top over it, mm.
STRAIGHT_MM = 0.25


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

    @cached_property
    def rounded(self) -> RoundTop | None:
        """The rounded top, None for a flat one.

        Raises
        ------
        TunnelError
            Where the frame line is not straight, or the arch cannot be made.
        """
        if self.pattern.top == "flat":
            return None
        ends = np.array([self.x_front, self.x_rear])
        z = line_height(self.frame, ends)
        within = np.clip(self.frame.dense[:, 0], *ends)
        stray = np.abs(line_height(self.frame, within) - np.interp(within, ends, z))
        k, run = int(np.argmax(stray)), self.x_rear - self.x_front
        if stray[k] > STRAIGHT_MM:
            raise TunnelError(
                f"The frame line strays {stray[k]:.1f} mm from straight at x = {within[k]:.0f} mm: a rounded top can "
                f"only be rolled along a straight one, within {STRAIGHT_MM} mm.\n"
                'hint: a straight frame line over what the backbone needs, or top = "flat", which folds over kinks',
                stray=float(stray[k]),
                at=float(within[k]),
            )
        rise = self.pattern.arch_rise if self.pattern.top == "arch" else None
        widening = (self.pattern.half_rear - self.pattern.half_front) / run
        crown, climb = float(z[0]) + self.pattern.top_room, float(z[1] - z[0]) / run
        return round_top(self.x_front, self.pattern.half_front, widening, crown, climb, rise=rise)

    def top(self, x: np.ndarray) -> np.ndarray:
        """z of the tunnel's top at x: of the roof of a rounded one, as it is made of facets."""
        if self.rounded is not None:
            return self.rounded.height(x, self.rounded.turns[0])
        return line_height(self.frame, x) + self.pattern.top_room

    def corner(self, x: np.ndarray) -> np.ndarray:
        """z at x of the line where top and leg meet."""
        return self.top(x) if self.rounded is None else self.rounded.height(x, self.rounded.turns[-1])

    def half(self, x: np.ndarray) -> np.ndarray:
        """Half the tunnel's clear width at x: straight from front to rear."""
        share = (np.asarray(x) - self.x_front) / (self.x_rear - self.x_front)
        return self.pattern.half_front + share * (self.pattern.half_rear - self.pattern.half_front)

    def low(self, x: np.ndarray, z: np.ndarray) -> np.ndarray:
        """Half the tunnel's clear width at points (x, z) of the side view below its top."""
        half = self.half(x)
        return half if self.rounded is None else half * self.rounded.share(x, z)

    @property
    def corner_room(self) -> tuple[float, float] | None:
        """Room, mm, from the top corners of a square backbone to a rounded top, at front and rear; None where there
        is no such corner or the top is flat."""
        if self.rounded is None or self.pattern.backbone != "square":
            return None
        x = np.array([self.x_front, self.x_rear])
        half = np.array([self.pattern.backbone_front, self.pattern.backbone_rear]) / 2
        front, rear = self.rounded.inside(np.column_stack([x, half, line_height(self.frame, x)]))
        return float(front), float(rear)

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
