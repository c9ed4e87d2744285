"""A tunnel with a rounded top as one flat: the top rolled, the legs running on from it.

Words used here
    spring line   where top and leg meet, straight; a half round runs into its leg there, an arch is folded
    roll line     the edge of what is rolled: the spring line, or where the fold of an arch begins

The top is laid flat in closed form (``panels.round_top``) in the neutral surface of the roll, legs and folds as those
of every tunnel (``panels.tunnel_flat``): only where the corner line lies in the flat is another matter.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from panels._tunnel_frame import SIDES, TunnelFrame
from panels.bend import KFactor
from panels.errors import TunnelError
from panels.round_top import RoundTop
from panels.tunnel_flat import NO_ROUND, SHARP_MM, RoundEnds, develop_tunnel
from panels.tunnel_kinks import KinkedTunnel, Sheet

__all__ = ["RoundFrame", "develop_round", "roll_lines", "roll_turn", "round_frame"]

Array = NDArray[np.float64]


@dataclass(frozen=True)
class RoundFrame(TunnelFrame):
    """The spring line on the right, and how a rounded top and a leg lie along it.

    ``top`` as a shape; ``neutral`` how far off the frame side its metal keeps its length when rolled, mm;
    ``fold_radius`` inside, of the fold between arch and leg, mm.
    """

    top: RoundTop
    neutral: float
    fold_radius: float

    @property
    def _middle(self) -> float:
        """The top's radius half-way along the spring line, mm."""
        way = self.top.way_at(self.corner[0] + self.run / 2, self.top.spring)
        return float(self.top.radius + way * math.sin(self.top.flare))

    @property
    def fold_begins(self) -> float:
        """Turn at which the fold of an arch begins: where the circle of its inside radius touches both."""
        radius = self._middle
        free = radius - self.fold_radius
        return math.asin(min(1.0, (radius * math.sin(self.top.spring) - self.fold_radius) / free))

    @property
    def bend_angle(self) -> float:
        """Degrees between the outward normals of the top, where its fold begins, and the leg; 0 for a half round."""
        if self.top.smooth:
            return 0.0
        turn, flare = self.fold_begins, self.top.flare
        along, rise = self.top.axes
        out = -math.sin(flare) * along + math.cos(flare) * math.cos(turn) * rise
        normal = np.array([out[0], math.cos(flare) * math.sin(turn), out[1]])
        leg = np.array([-self.widening, self.run, 0.0]) / self.leg_run
        return math.degrees(math.acos(min(1.0, float(normal @ leg))))

    def setback(self, radius: float) -> float:
        if radius == 0 or self.top.smooth:
            return 0.0
        around = self._middle
        out = around * math.sin(self.top.spring) - radius
        return around * math.cos(self.top.spring) - math.sqrt((around - radius) ** 2 - out**2)

    def setback_at(self, radius: float, height: float) -> float:
        """The setback in the surface that lies this high off the frame side, from where arch and leg cross there."""
        around, half = self._middle, self._middle * math.sin(self.top.spring)
        centre = math.sqrt((around - radius) ** 2 - (half - radius) ** 2)
        return math.sqrt((around + height) ** 2 - (half + height) ** 2) - centre

    def spring_drop(self, height: float) -> float:
        """How far the spring line lies below where arch and leg cross in that surface."""
        around, half = self._middle, self._middle * math.sin(self.top.spring)
        return math.sqrt((around + height) ** 2 - (half + height) ** 2) - around * math.cos(self.top.spring)

    @property
    def spring_start(self) -> Array:
        """Where the front of the spring line lies in the flat."""
        way = self.top.way_at(self.corner[0], self.top.spring)
        return self.top.to_flat(np.array([[float(way), self.top.spring]]), self.neutral)[0]

    @property
    def flat_start(self) -> Array:
        """That, set off so that the fold begins as far in from it as it does on the leg."""
        if self.top.smooth:
            return self.spring_start
        bent = (self._middle + self.neutral) * (self.top.spring - self.fold_begins)
        return self.spring_start + (self.setback(self.fold_radius) - bent) * self.out_top

    @property
    def along_top(self) -> Array:
        return self.top.ruling_in_flat(self.top.spring)

    @property
    def out_top(self) -> Array:
        return self.along_top[::-1] * [-1.0, 1.0]

    def half_at(self, s: float) -> float:
        start, along = self.flat_start, self.along_top
        return float(start[1] + (s - start[0]) * along[1] / along[0])

    def plan_to_top(self, xy: Array) -> Array:
        """Points of a rounded top are given as they lie in the flat."""
        return xy


def round_frame(top: RoundTop, ends: tuple[float, float], *, neutral: float, fold_radius: float) -> RoundFrame:
    """The frame of a top whose right-hand spring line begins and ends at these x."""
    x = np.array(ends)
    half = top.half + top.widening * (x - top.x_front)
    z = top.height(x, top.spring)
    radius = fold_radius if fold_radius > SHARP_MM else 0.0
    run, widening, climb = (float(v[1] - v[0]) for v in (x, half, z))
    return RoundFrame((float(x[0]), float(half[0]), float(z[0])), run, widening, climb, top, neutral, radius)


def develop_round(
    top: RoundTop,
    ends: tuple[float, float],
    leg_xz: ArrayLike,
    top_flat: ArrayLike,
    *,
    thickness: float,
    inside_radius: float,
    k_factor: float | KFactor,
    roll_k: float = 0.5,
    round_ends: RoundEnds = NO_ROUND,
) -> KinkedTunnel:
    """The flat of a tunnel under a rounded top.

    Parameters
    ----------
    top, ends
        The top, and x at which its right-hand spring line begins and ends.
    leg_xz, top_flat : (n, 2) arrays
        Outline of a leg seen from the side, and of the whole top as `RoundTop.to_flat` lays it.
    thickness, inside_radius, k_factor
        mm; of the folds between an arch and its legs: mm on the frame side, 0 to 0.5 or a ``KFactor``.
    roll_k : float
        K of the roll: its neutral surface lies ``roll_k * thickness`` off the frame side.
    round_ends
        As for ``develop_tunnel``.

    Raises
    ------
    TunnelError
        Where the top is rolled tighter than the fold radius, or the parts do not make one blank.
    """
    frame = round_frame(top, ends, neutral=roll_k * thickness, fold_radius=inside_radius)
    front = frame.corner
    rear = (front[0] + frame.run, front[1] + frame.widening, front[2] + frame.climb)
    tightest = min(top.radius_at(float(end)) for end in ends)
    if not top.smooth and tightest < 2 * inside_radius:
        raise TunnelError(
            f"The arch is rolled to {tightest:.1f} mm inside, its corners folded to {inside_radius:.1f} mm: the two "
            "run into each other.\nhint: a smaller fold_radius, or a flatter arch",
            roll=tightest,
            fold=inside_radius,
        )
    flat = develop_tunnel(
        front,
        rear,
        leg_xz,
        top_flat,
        thickness=thickness,
        inside_radius=inside_radius,
        k_factor=k_factor,
        frame=frame,
        round_ends=round_ends,
    )
    from shapely.geometry import Polygon

    sheet = Sheet(flat.outline, flat.folds, (), flat.area, (0,))
    return KinkedTunnel(np.array([front, rear]), Polygon(np.asarray(leg_xz)), (), (flat,), (0.0,), (sheet,))


def roll_lines(tunnel: KinkedTunnel) -> list[Array]:
    """The two roll lines (2, 2) in the flat, right then left, from front to rear."""
    flat, frame = tunnel.flats[0], tunnel.flats[0].frame
    if flat.folds:
        inner = [min(fold.tangents, key=lambda line: abs(line[0, 1])) for fold in flat.folds]
        return [np.asarray(line) for line in inner]
    line = frame.uv_to_flat(np.array([0.0, frame.length]), np.zeros(2))
    return [line * [1.0, sign] for sign in SIDES.values()]


def roll_turn(tunnel: KinkedTunnel) -> float:
    """Turn from the crown to where the roll ends, radians."""
    frame = tunnel.flats[0].frame
    assert isinstance(frame, RoundFrame)
    return frame.top.spring if frame.top.smooth else frame.fold_begins
