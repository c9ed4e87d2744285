"""The corner line of a tunnel, and how its top and leg lie along it."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from panels.bend import inside_setback
from panels.errors import TunnelError

__all__ = ["SIDES", "TunnelFrame", "pairs", "sign_of", "tunnel_frame"]

Array = NDArray[np.float64]

SIDES = {"right": 1.0, "left": -1.0}


@dataclass(frozen=True)
class TunnelFrame:
    """The corner line on the right, and how top and leg lie along it.

    ``u`` runs along the corner line from the front corner; ``v`` square to it, into the top or
    down the leg.
    """

    corner: tuple[float, float, float]
    run: float  # x from front to rear corner, mm
    widening: float  # half width gained over that run
    climb: float  # height gained over that run

    @property
    def slope_run(self) -> float:
        return math.hypot(self.run, self.climb)

    @property
    def leg_run(self) -> float:
        return math.hypot(self.run, self.widening)

    @property
    def length(self) -> float:
        return math.hypot(self.slope_run, self.widening)

    @property
    def bend_angle(self) -> float:
        """Degrees between the outward normals of top and leg; exactly 90 where it is square."""
        product = self.climb * self.widening
        if product == 0:
            return 90.0
        return math.degrees(math.acos(product / (self.slope_run * self.leg_run)))

    @property
    def flat_start(self) -> Array:
        """Where the front corner lies in the flat."""
        return np.array([0.0, self.corner[1]])

    def setback(self, radius: float) -> float:
        """From the corner line to where a fold of that inside radius begins, mm."""
        return inside_setback(radius, self.bend_angle)

    def half_at(self, s: float) -> float:
        """Half width of the top in the flat, at the corner line."""
        return self.corner[1] + s * self.widening / self.slope_run

    @property
    def along_top(self) -> Array:
        return np.array([self.slope_run, self.widening]) / self.length

    @property
    def out_top(self) -> Array:
        return np.array([-self.widening, self.slope_run]) / self.length

    def plan_to_top(self, xy: Array) -> Array:
        return np.column_stack([(xy[:, 0] - self.corner[0]) * self.slope_run / self.run, xy[:, 1]])

    def top_to_uv(self, sy: Array) -> Array:
        offset = sy - self.flat_start
        return np.column_stack([offset @ self.along_top, -(offset @ self.out_top)])

    def leg_to_uv(self, xz: Array) -> Array:
        q = (xz[:, 0] - self.corner[0]) * self.leg_run / self.run
        z = xz[:, 1] - self.corner[2]
        along, rise = self.leg_run / self.length, self.climb / self.length
        return np.column_stack([q * along + z * rise, q * rise - z * along])

    def uv_to_flat(self, u: Array, outward: Array) -> Array:
        """Flat points at ``u`` along the corner line and ``outward`` of it, right-hand side."""
        return self.flat_start + np.outer(u, self.along_top) + np.outer(outward, self.out_top)


def pairs(value: ArrayLike, what: str) -> Array:
    array = np.asarray(value, dtype=float)
    if array.ndim != 2 or array.shape[1] != 2 or not np.all(np.isfinite(array)):
        raise TunnelError(f"{what} must be numbers in pairs, shape (n, 2); got shape {array.shape}.")
    return array


def sign_of(side: str) -> float:
    if side not in SIDES:
        raise TunnelError(f"Side is {side!r}; it must be 'right' or 'left'.", side=side)
    return SIDES[side]


def tunnel_frame(front: tuple[float, float, float], rear: tuple[float, float, float]) -> TunnelFrame:
    if len(front) != 3 or len(rear) != 3 or not np.all(np.isfinite([*front, *rear])):
        raise TunnelError(
            f"A tunnel corner is three numbers, x, half width and height; got {front} and {rear}.",
            corner_front=front,
            corner_rear=rear,
        )
    (x0, w0, z0), (x1, w1, z1) = map(float, front), map(float, rear)
    if x1 - x0 <= 0:
        raise TunnelError(
            f"The tunnel's rear corner lies at x {x1:g} mm, its front corner at {x0:g} mm; x runs rearwards.\n\n"
            "hint: give the front corner first",
            front=x0,
            rear=x1,
        )
    for where, half in (("front", w0), ("rear", w1)):
        if half <= 0:
            raise TunnelError(
                f"The tunnel is {2 * half:g} mm wide at the {where}; it must be more than 0 mm.\n\n"
                "hint: half widths are measured from the centre line outwards",
                where=where,
                width=2 * half,
            )
    return TunnelFrame((x0, w0, z0), x1 - x0, w1 - w0, z1 - z0)
