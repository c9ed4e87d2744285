"""The tunnel as one flat: a top strip and two legs, with the folds between them.

Words used here
    corner line   where the frame-side faces of top and leg would cross if the fold were sharp
                  (the inside mould line); straight, from (x0, half width, height) at the front
                  to the same at the rear, and mirrored to the other side
    top           the strip over the backbone; may taper in plan and slope in side view
    leg           the side that hangs down, in the upright plane through its corner line
    frame side    the hollow side of both folds; every dimension given is on this side
    tangent line  where the bend begins: the corner line set in by r tan(A/2)

In space x runs rearwards, y out to the right, z up. In the flat x runs rearwards along the
slope of the top from the front corner, y out to the right: the metal seen from outside, frame
side down, both legs folding down, away from the viewer.

The angle is not 90 degrees when the tunnel both tapers and slopes: top and leg meet at the
angle of their planes, and that is what is folded.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from panels._bend_checks import check_k_factor, check_radius, check_thickness
from panels._tunnel_frame import TunnelFrame, pairs, sign_of, tunnel_frame
from panels._tunnel_parts import (
    bend_zone,
    hair,
    join_parts,
    leg_below_fold,
    leg_in_flat,
    top_between_folds,
    top_crossings,
)
from panels.bend import KFactor, bend_allowance
from panels.fold import FoldLine

__all__ = ["NO_ROUND", "SHARP_MM", "RoundEnds", "TunnelFlat", "develop_tunnel"]

Array = NDArray[np.float64]

#: Front and rear end of a bend zone (n, 2), where they are known: u along the corner line, and which share of the zone
#: lies between there and the top. None: told from the outlines.
RoundEnds = tuple[Array | None, Array | None]

NO_ROUND: RoundEnds = (None, None)
SHARP_MM = 1e-4  # a radius or bend zone smaller than this is a dead sharp fold


@dataclass(frozen=True, eq=False)
class TunnelFlat:
    """A tunnel's flat blank, net, with its fold lines and the way from tunnel to flat.

    ``outline`` (n, 2), mm, anticlockwise, first corner not repeated. ``folds`` right then left,
    each the middle of its bend zone from front to rear; ``FoldLine.tangents`` are the zone's
    edges. ``bend_angle`` degrees; ``allowance`` width of a bend zone; ``inside_setback`` from
    corner line to tangent line, both mm.
    """

    outline: Array
    folds: tuple[FoldLine, ...]
    corner_front: tuple[float, float, float]
    corner_rear: tuple[float, float, float]
    thickness: float
    inside_radius: float
    k_factor: float
    bend_angle: float
    allowance: float
    inside_setback: float
    area: float  # mm2
    frame: TunnelFrame

    @property
    def base_point(self) -> tuple[float, float]:
        """A point of the flat on the top; ``fold_flat(..., base=flat.base_point)`` keeps the top down,
        which is how ``place`` wants it."""
        x, y = np.array([(fold.start, fold.end) for fold in self.folds]).mean(axis=(0, 1))
        return float(x), float(y)

    def leg_to_flat(self, xz: ArrayLike, side: str = "right") -> Array:
        """Points (x, z) on a leg's frame side, (n, 2) mm, in the flat.

        Between corner line and tangent line, where the metal is round, points land in
        proportion: the corner line on the fold line.
        """
        uv = self.frame.leg_to_uv(pairs(xz, "Leg points"))
        return self._mirror(self.frame.uv_to_flat(uv[:, 0], self._leg_outward(uv[:, 1])), side)

    def top_to_flat(self, sy: ArrayLike) -> Array:
        """Points (s, y) on the top's frame side in the flat; s along its slope from the front corner.

        Between tangent line and corner line points land in proportion, as for a leg.
        """
        sy = pairs(sy, "Top points")
        right = np.column_stack([sy[:, 0], np.abs(sy[:, 1])])
        uv = self.frame.top_to_uv(right)
        beyond = uv[:, 1] < self.inside_setback
        flat = self.frame.uv_to_flat(uv[:, 0], self._top_outward(uv[:, 1]))
        flat = np.where(beyond[:, None], flat, right)
        return flat * np.column_stack([np.ones(len(sy)), np.where(sy[:, 1] < 0, -1.0, 1.0)])

    def plan_to_flat(self, xy: ArrayLike) -> Array:
        """Points (x, y) on the top, seen from above, in the flat."""
        return self.top_to_flat(self.frame.plan_to_top(pairs(xy, "Plan points")))

    def leg_to_space(self, xz: ArrayLike, side: str = "right") -> Array:
        """Points (x, z) on a leg's frame side in space, (n, 3) mm, as if the fold were sharp."""
        xz = pairs(xz, "Leg points")
        frame = self.frame
        y = frame.corner[1] + (xz[:, 0] - frame.corner[0]) * frame.widening / frame.run
        return np.column_stack([xz[:, 0], sign_of(side) * y, xz[:, 1]])

    def top_to_space(self, sy: ArrayLike) -> Array:
        """Points (s, y) on the top's frame side in space, (n, 3) mm."""
        sy = pairs(sy, "Top points")
        return self.place(np.column_stack([sy, np.zeros(len(sy))]))

    def place(self, solid: ArrayLike) -> Array:
        """Put a sheet folded with the top as base into the tunnel's place in space.

        ``solid`` (n, 3): flat x and y of the top, and height above its frame side, mm.
        """
        solid = np.asarray(solid, dtype=float)
        frame = self.frame
        cos, sin = frame.run / frame.slope_run, frame.climb / frame.slope_run
        x, y, height = solid.T
        front, _, level = frame.corner
        return np.column_stack([front + x * cos - height * sin, y, level + x * sin + height * cos])

    def _leg_outward(self, v: Array) -> Array:
        back, width = self.inside_setback, self.allowance
        shifted = v - 2 * back + width
        if back == 0:
            return shifted
        return np.where(v >= back, shifted, width / 2 - back + v * width / (2 * back))

    def _top_outward(self, v: Array) -> Array:
        back, width = self.inside_setback, self.allowance
        if back == 0:
            return -v
        return np.where(v >= back, -v, width / 2 - back - v * width / (2 * back))

    def _mirror(self, flat: Array, side: str) -> Array:
        return flat * [1.0, sign_of(side)]


def develop_tunnel(
    corner_front: tuple[float, float, float],
    corner_rear: tuple[float, float, float],
    leg_xz: ArrayLike,
    top_outline_xy: ArrayLike | None = None,
    *,
    thickness: float,
    inside_radius: float,
    k_factor: float | KFactor,
    left_leg_xz: ArrayLike | None = None,
    frame: TunnelFrame | None = None,
    round_ends: RoundEnds = NO_ROUND,
) -> TunnelFlat:
    """The flat blank of a straight tunnel: top, two legs, bend allowance between them.

    Parameters
    ----------
    corner_front, corner_rear : (x, half_width, z)
        Two points of the right-hand corner line on the frame side, mm. They fix the line; the
        metal runs as far as the leg and top outlines say.
    leg_xz : (n, 2) array
        Outline of the leg seen square from the side, (x, z) mm, any shape below, reaching up to
        the corner line (what lies above it is cut off). Both legs, unless ``left_leg_xz`` gives
        the left one.
    top_outline_xy : (n, 2) array, optional
        Outline of the top seen from above, (x, y) mm; an outline with no y under 0 is mirrored.
        It is cut to the corner lines. Left out: straight across between the ends of the legs.
    thickness, inside_radius, k_factor
        mm, mm on the frame side, 0 to 0.5 or a ``KFactor``.
    frame : TunnelFrame, optional
        That of a rounded top (``panels.round_tunnel``), whose outline is then given as it lies in the flat. Left out:
        that of a flat top between the two corners.
    round_ends : (array or None, array or None), optional
        Where the folds end at front and rear, if that is known better than by the outlines' slopes: (n, 2), mm along
        the corner line from its front corner, and the share of the bend between there and the top, leg first.

    Returns
    -------
    TunnelFlat

    Raises
    ------
    TunnelError
        No width left between the folds, a leg that does not reach its fold or is cut through
        there, corners in the wrong order; carries the numbers.

    Notes
    -----
    Where leg and top end at the same point of the corner line, the end of the bend zone is the
    flat shape of a plane cut through the round corner, so that a raked end stays plane. Where
    they end up to a bend zone's width apart, a straight line joins them; further apart, the
    zone ends with the shorter and the longer runs on to its own tangent line.

    Examples
    --------
    >>> leg = [[0, 0], [400, 0], [400, -80], [0, -60]]
    >>> flat = develop_tunnel((0, 30, 0), (400, 30, 0), leg, thickness=1.6, inside_radius=3, k_factor=0.42)
    >>> flat.bend_angle, float(np.ptp(flat.outline[:, 1]).round(3))
    (90.0, 219.536)
    """
    k_value = float(k_factor)
    check_thickness(thickness)
    check_radius(inside_radius)
    check_k_factor(k_value)
    frame = frame or tunnel_frame(corner_front, corner_rear)
    angle = frame.bend_angle
    radius = inside_radius if inside_radius > SHARP_MM and angle > 0 else 0.0
    back = frame.setback(radius)
    width = bend_allowance(thickness, radius, angle, k_value)
    width = width if width > SHARP_MM else 0.0

    legs = {"right": leg_below_fold(frame, leg_xz, back, "right")}
    legs["left"] = legs["right"] if left_leg_xz is None else leg_below_fold(frame, left_leg_xz, back, "left")
    top = top_between_folds(frame, top_outline_xy, back, legs)
    parts, folds = [top], []
    for side, leg in legs.items():
        strip = top_crossings(frame, top, back, side)
        zone, fold = bend_zone(frame, leg[1], strip, angle, radius, back, width, side, round_ends)
        parts += [zone, leg_in_flat(frame, leg[0], back, width, side)]
        if angle > 0:
            folds.append(fold)
        else:
            parts.append(hair(frame, leg[1], side))
    outline, area = join_parts(parts)
    return TunnelFlat(
        outline=outline,
        folds=tuple(folds),
        corner_front=frame.corner,
        corner_rear=(corner_rear[0], corner_rear[1], corner_rear[2]),
        thickness=thickness,
        inside_radius=inside_radius,
        k_factor=k_value,
        bend_angle=angle,
        allowance=width,
        inside_setback=back,
        area=area,
        frame=frame,
    )
