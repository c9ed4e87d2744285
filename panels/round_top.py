"""The tunnel's top as a part of a cylinder or a cone: a half round, or a shallow arch.

Words used here
    crown      the top's highest line, in the centre plane
    spring     the straight line where top and leg meet: a half round runs into its leg there without a fold
    axis       the middle line of the cylinder or cone, in the centre plane
    turn       angle about the axis, from the crown out to the spring
    ruling     a straight line of the top: along the cylinder, or towards the cone's tip
    way        distance along a ruling from the section square to the axis under the crown's front end
    facet      the flat between two rulings; the body is made of them, the blank is not

Where the tunnel keeps its width the top is a cylinder, where it tapers a cone: crown and springs then run to one
tip. Its rulings are straight lines of the side view, and every upright section is the same shape, only larger or
smaller. All sizes are those of the face towards the frame. Closed forms throughout; a cone is laid flat in polar
coordinates about its tip, written so that they hold without any taper too.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import ArrayLike

from .errors import TunnelError

__all__ = ["RoundTop", "round_top"]

#: Most that a facet may miss the round by, mm.
SAGITTA_MM = 0.02
#: An arch rises no more than this share of the half width; a half round is made as one.
NEARLY_ROUND = 0.95
#: An arch so shallow beside the tunnel's taper that its cone opens further than this either side, degrees, is refused.
WIDEST_CONE_DEG = 45.0


@dataclass(frozen=True)
class RoundTop:
    """A top: where its axis runs and how wide it is. Angles in radians, lengths in mm.

    ``start`` (x, z) of the axis under the crown's front end; ``lean`` how far the axis climbs rearwards; ``flare``
    half the cone's angle, positive where it widens rearwards; ``radius`` at ``start``, square to the axis;
    ``spring`` the turn of the springs; ``half`` and ``widening`` the tunnel's half width at the front and what it
    gains per mm of x, from ``x_front`` on; ``arch`` the rise of an arch as a share of that, None for a half round.
    """

    start: tuple[float, float]
    lean: float
    flare: float
    radius: float
    spring: float
    x_front: float
    half: float
    widening: float
    arch: float | None = None

    @property
    def smooth(self) -> bool:
        """Whether it runs into its legs without a fold."""
        return self.arch is None

    # -------------------------------------------------------------------------- in space

    @property
    def axes(self) -> np.ndarray:
        """Unit vectors (2, 2) of the side view: along the axis rearwards, and square to it towards the crown."""
        cos, sin = math.cos(self.lean), math.sin(self.lean)
        return np.array([[cos, sin], [-sin, cos]])

    @cached_property
    def turns(self) -> np.ndarray:
        """Turn of each ruling (n + 1,), from the roof's edge to the spring; the roof is half a facet either side."""
        widest = 2 * math.acos(max(1 - SAGITTA_MM / self.radius, 0.9))
        count = max(4, math.ceil(self.spring / widest))
        step = self.spring / (count + 0.5)
        return step * (np.arange(count + 1) + 0.5)

    @property
    def step(self) -> float:
        """Turn of one facet."""
        return float(self.turns[1] - self.turns[0])

    def at(self, way: ArrayLike, turn: ArrayLike, height: float = 0.0) -> np.ndarray:
        """Points (n, 3), y >= 0, of the right half; ``height`` square off the frame side, into the metal."""
        way, turn = np.broadcast_arrays(np.asarray(way, dtype=float), np.asarray(turn, dtype=float))
        cos, sin = math.cos(self.flare), math.sin(self.flare)
        along = way * cos - height * sin
        out = self.radius + way * sin + height * cos
        xz = self.start + np.multiply.outer(along, self.axes[0]) + np.multiply.outer(out * np.cos(turn), self.axes[1])
        return np.stack([xz[..., 0], out * np.sin(turn), xz[..., 1]], axis=-1)

    def seen(self, p: np.ndarray) -> np.ndarray:
        """Points (n, 3) as (way, turn) of the ruling they stand on; turn is negative on the left."""
        along, rise = self._from_axis(p)
        turn = np.arctan2(p[:, 1], rise)
        out = np.hypot(p[:, 1], rise)
        way = along * math.cos(self.flare) + (out - self.radius) * math.sin(self.flare)
        return np.column_stack([way, turn])

    def _from_axis(self, p: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """How far points lie along the axis, and how far off it towards the crown."""
        along, rise = self.axes @ (p[:, [0, 2]] - self.start).T
        return along, rise

    def way_at(self, x: np.ndarray | float, turn: float) -> np.ndarray:
        """Way at which a ruling passes x."""
        front, behind = self.at(np.array([0.0, 1.0]), turn)[:, 0]
        return np.asarray((np.asarray(x, dtype=float) - front) / (behind - front))

    def radius_at(self, x: float) -> float:
        """Radius of the face towards the frame where the crown passes x, square to the axis."""
        return float(self.radius + self.way_at(x, 0.0) * math.sin(self.flare))

    def height(self, x: np.ndarray, turn: float) -> np.ndarray:
        """z of a ruling at x."""
        p = self.at(np.array([0.0, 1000.0]), turn)
        return np.asarray(p[0, 2] + (np.asarray(x) - p[0, 0]) * (p[1, 2] - p[0, 2]) / (p[1, 0] - p[0, 0]))

    # -------------------------------------------------------------------------- as facets

    @cached_property
    def profile(self) -> tuple[np.ndarray, np.ndarray]:
        """An upright section (n + 1,): depth below the roof as a share of that of the spring, rising, and half
        width as a share of the tunnel's; the same at every x."""
        points = np.array([self.at(self.way_at(self.x_front, t), t) for t in self.turns])
        down = (points[0, 2] - points[:, 2]) / (points[0, 2] - points[-1, 2])
        out = points[:, 1] / self.half
        down[0], down[-1], out[-1] = 0.0, 1.0, 1.0
        return down, out

    def depth(self, x: np.ndarray, z: np.ndarray) -> np.ndarray:
        """How far points (x, z) of the side view lie below the roof, as a share of the spring's depth there."""
        roof, spring = self.height(x, self.turns[0]), self.height(x, self.turns[-1])
        return np.asarray((roof - z) / (roof - spring))

    def share(self, x: np.ndarray, z: np.ndarray) -> np.ndarray:
        """Half width of the facets at (x, z) as a share of the tunnel's; 1 from the spring downwards."""
        return np.interp(self.depth(x, z), *self.profile)

    def facet(self, x: np.ndarray, z: np.ndarray) -> np.ndarray:
        """Number of the facet at points of the side view, from the roof's edge; the leg is one past the last."""
        down, _ = self.profile
        return np.clip(np.searchsorted(down, self.depth(x, z), side="right") - 1, 0, len(down) - 1)

    def outside(self, p: np.ndarray) -> np.ndarray:
        """(n, m): whether points (n, 3), y >= 0, lie outside the roof, each facet and the leg, in this order."""
        middle = np.append(self.step * np.arange(len(self.turns)), 0.0)
        found = self._over(p, middle) > 0
        found[:, -1] = self._beside(p) > 0
        return np.asarray(found)

    def _over(self, p: np.ndarray, middle: np.ndarray) -> np.ndarray:
        """How far points lie outside the facets whose middles have these turns; rows by columns."""
        along, rise = self._from_axis(p)
        flat = math.cos(self.step / 2) * (self.radius + along * math.tan(self.flare))
        out = np.multiply.outer(rise, np.cos(middle)) + np.multiply.outer(p[:, 1], np.sin(middle))
        return np.asarray(out - flat[:, None])

    def _beside(self, p: np.ndarray) -> np.ndarray:
        """How far out points lie of the leg."""
        return np.asarray(p[:, 1] - self.half - self.widening * (p[:, 0] - self.x_front))

    def excess(self, p: np.ndarray) -> np.ndarray:
        """How far points (n, 3), y >= 0 and below the roof, lie outside the facet or leg they face; negative inside."""
        along, rise = self._from_axis(p)
        turn = np.arctan2(p[:, 1], rise)
        k = np.clip(np.floor(turn / self.step - 0.5), 0, len(self.turns) - 2)
        middle, flat = (k + 1) * self.step, math.cos(self.step / 2)
        facet = rise * np.cos(middle) + p[:, 1] * np.sin(middle) - flat * (self.radius + along * math.tan(self.flare))
        leg = self._beside(p)
        # At the spring's own turn both must grow alike, or the cut would bend there.
        spring = math.sin(self.spring) + self.widening * math.sin(self.lean) * math.cos(self.spring)
        return np.asarray(np.where(turn > self.turns[-1], leg * flat / spring, facet))

    def inside(self, p: np.ndarray) -> np.ndarray:
        """How far points (n, 3), y >= 0, lie inside the round top or, below its springs, the leg; negative outside."""
        along, rise = self._from_axis(p)
        out = np.hypot(p[:, 1], rise)
        gap = (self.radius + along * math.tan(self.flare) - out) * math.cos(self.flare)
        leg = -self._beside(p) / math.hypot(1, self.widening)
        return np.asarray(np.where(np.arctan2(p[:, 1], rise) > self.spring, leg, np.minimum(gap, leg)))

    def aside(self, p: np.ndarray, turn: float) -> np.ndarray:
        """0 for points (n, 3) in the plane of the axis that holds a ruling, positive further out."""
        _, rise = self._from_axis(p)
        return np.asarray(p[:, 1] * math.cos(turn) - rise * math.sin(turn))

    # -------------------------------------------------------------------------- laid flat

    def to_flat(self, seen: np.ndarray, height: float) -> np.ndarray:
        """(way, turn) (n, 2) of the surface at ``height`` in the metal, laid flat: (along, out), the crown at out 0.

        A cone's ruling keeps its length and turns by ``turn sin(flare)`` about the tip.
        """
        way, turn = seen.T
        sin = math.sin(self.flare)
        out = self.radius + way * sin + height * math.cos(self.flare)
        angle = turn * sin
        # out / sin is the distance from the tip: sin(angle) / sin and (1 - cos(angle)) / sin without the division.
        across = turn * np.sinc(angle / np.pi)
        back = turn * np.sinc(angle / 2 / np.pi) * np.sin(angle / 2)
        return np.column_stack([way - out * back, out * across])

    def ruling_in_flat(self, turn: float) -> np.ndarray:
        """Unit vector (2,) of a ruling in the flat."""
        angle = turn * math.sin(self.flare)
        return np.array([math.cos(angle), math.sin(angle)])


def round_top(
    x_front: float, half: float, widening: float, crown: float, climb: float, *, rise: float | None = None
) -> RoundTop:
    """The top over a tunnel with straight legs under a straight crown.

    Parameters
    ----------
    x_front, half, widening
        Half width at ``x_front``, and what it gains per mm of x.
    crown, climb
        z of the crown there, and what it gains per mm of x.
    rise
        Height of the crown over the springs at ``x_front`` for an arch; where the tunnel tapers it keeps its share
        of the width. None for a half round, which meets the legs without a fold.

    Raises
    ------
    TunnelError
        An arch that is not lower than a half round, flat, or too shallow for the tunnel's taper.
    """
    if rise is None:
        return _half_round(x_front, half, widening, crown, climb)
    if not 0 < rise <= NEARLY_ROUND * half:
        raise TunnelError(
            f"The arch rises {rise:.1f} mm over a tunnel {2 * half:.1f} mm wide at its front.\n"
            f'hint: more than 0 and up to {NEARLY_ROUND * half:.1f} mm makes an arch; a half round is top = "round"',
            rise=rise,
            half=half,
        )
    arch = _arch(x_front, half, widening, crown, climb, rise / half)
    if abs(math.degrees(arch.flare)) > WIDEST_CONE_DEG:
        raise TunnelError(
            f"The arch rises only {rise:.1f} mm over a tunnel that tapers by {1000 * abs(widening):.0f} mm a side in a "
            f"metre: its cone opens {abs(math.degrees(arch.flare)):.0f} degrees, {WIDEST_CONE_DEG:.0f} is the most.\n"
            "hint: a larger arch_rise, or a flat top",
            rise=rise,
        )
    return arch


def _half_round(x_front: float, half: float, widening: float, crown: float, climb: float) -> RoundTop:
    """The cone, its axis in the centre plane, that touches both legs all along and has the crown for a ruling."""
    toe, slope = math.atan(widening), math.atan(climb)
    # A plane through the tip touches the cone where sin(flare) = sin(toe) cos(lean), and lean = slope - flare.
    lean = math.atan2(math.sin(slope) - math.sin(toe), math.cos(slope))
    flare = slope - lean
    spring = math.acos(math.sin(toe) * math.sin(lean) / math.cos(flare))
    # The spring's own half width where the section square to the axis under the crown meets it.
    radius = half / (math.sin(spring) - widening * math.sin(lean) * (1 - math.cos(spring)))
    start = (x_front + radius * math.sin(lean), crown - radius * math.cos(lean))
    return RoundTop(start, lean, flare, radius, spring, x_front, half, widening)


def _arch(x_front: float, half: float, widening: float, crown: float, climb: float, share: float) -> RoundTop:
    """The cone through the crown and both springs: its axis makes the same angle with all three."""
    fall = climb - share * widening  # the springs' climb
    n0, n1 = math.hypot(1, climb), math.sqrt(1 + widening**2 + fall**2)
    m = (widening - 2 * share * climb + share**2 * widening) / (n0 + n1)  # (n1 - n0) / widening
    lean = math.atan2(-m, m * climb + share * n0)
    lean = lean if abs(lean) < math.pi / 2 else lean - math.copysign(math.pi, lean)
    flare = math.atan(climb) - lean
    along = np.array([math.cos(lean), 0.0, math.sin(lean)])
    ruling = np.array([1.0, widening, fall])
    foot = np.array([0.0, half, -share * half])  # the spring from the crown's front end
    foot = foot - (foot @ along) / (ruling @ along) * ruling
    down = -float(foot @ [-math.sin(lean), 0.0, math.cos(lean)])
    radius = (foot[1] ** 2 + down**2) / (2 * down)
    spring = math.atan2(foot[1], radius - down)
    start = (x_front + radius * math.sin(lean), crown - radius * math.cos(lean))
    return RoundTop(start, lean, flare, float(radius), spring, x_front, half, widening, share)
