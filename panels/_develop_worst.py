"""The least worst strain: smallest t such that every principal strain lies between -t and +t.

An interior-point method. For a falling price mu the smooth sum

    t / mu - sum of weight * (log(t - e) + log(t + e))   over both strains e of every triangle

is brought near its minimum by Newton steps in the layout and t together, then mu falls. The slope of the sum is a field
of stress, each Newton step brings it into balance, and any stress in balance proves a limit on what every other layout
can reach (``_floor``). So the method knows how far it may still be from the best on this mesh, and when to stop.
S. Boyd, L. Vandenberghe, "Convex Optimization", 2004, ch. 11.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from panels._develop_energy import (
    Strains,
    along_modes,
    element_modes,
    factored,
    gradient,
    longest_step,
    stiffnesses,
    strains_of,
)
from panels._develop_mesh import Disc
from panels._develop_sparse import Pattern

__all__ = ["level"]

Floats = NDArray[np.float64]

PRICE_FALL = 0.3  # tuned by eye: smaller needs more steps per price, larger more prices
WALL = 0.9  # share of the way to the wall that a step may take
SMALLEST_SHARE = 0.1  # weight of a triangle against the mean; tiny ones still need a barrier of their own
FLOOR_FROM = 5.0  # price over gap and worst strain from which floors are worked out: the last is not always the highest
NEARLY_CENTRED, NEARLY_WHOLE = 0.5, 0.6  # decrement below and share of a step above which the price falls


def balanced(disc: Disc, points: Floats) -> tuple[Floats, Strains]:
    """The layout scaled so that most stretch and most shrink are alike."""
    st = strains_of(disc, points)
    if st is None:
        raise ValueError("balanced needs a layout without folded triangles")
    shift = (st.e.max() + st.e.min()) / 2
    scale = float(np.exp(shift))
    return points * scale, Strains(st.e - shift, st.s * scale, st.u, st.v)


@dataclass(frozen=True)
class _Pass:
    """Where the method stands: layout, strains, wall, and what the last step said."""

    points: Floats
    st: Strains
    t: float
    decrement: float = np.inf  # twice what the last step promised
    reach: float = 1.0  # share of it that was taken

    @property
    def worst(self) -> float:
        return float(np.abs(self.st.e).max())

    @property
    def settled(self) -> bool:
        return self.reach > NEARLY_WHOLE and self.decrement < NEARLY_CENTRED


def level(
    disc: Disc, pattern: Pattern, points: Floats, *, gap: float, most: int = 100
) -> tuple[Floats, Strains, float]:
    """Layout with the least range of strain, and a floor under that range on this mesh, first order in strain.

    Stops when the worst strain is within ``gap`` of its floor, or when nothing worth a tenth of that is promised.
    """
    points, st = balanced(disc, points)
    now = _Pass(points, st, 1.1 * float(np.abs(st.e).max()))
    weight = np.clip(disc.area / disc.area.mean(), SMALLEST_SHARE, 1 / SMALLEST_SHARE)
    weight = (weight / weight.sum())[:, None]
    price, known, late = 0.1 * now.t, 0.0, 0.0
    for _ in range(most):
        now = _step(disc, pattern, now, price, weight)
        small = 4 * price < 2 * gap * now.worst  # a settled layout is within 4 prices of the best
        if now.settled and price < FLOOR_FROM * gap * now.worst:
            floor = _floor(disc, pattern, now, weight)
            known, late = max(known, floor), max(late, floor) if small else 0.0
        spent = small and price * now.decrement < 0.1 * gap * now.worst and 8 * price < gap * now.worst
        if now.worst <= (1 + gap) * late or now.reach == 0.0 or spent:
            break
        if now.settled and 8 * price >= gap * now.worst:
            price *= PRICE_FALL
    points, st = balanced(disc, now.points)
    return points, st, 2 * max(known, 0.0 if late else _floor(disc, pattern, now, weight))


def _step(disc: Disc, pattern: Pattern, now: _Pass, price: float, weight: Floats) -> _Pass:
    """One Newton step in layout and t."""
    st, t = now.st, now.t
    room = t * t - st.e**2
    first, second = weight * 2 * st.e / room, weight * 2 * (t * t + st.e**2) / room**2
    modes = element_modes(disc, st)
    down = gradient(disc, modes, -first / st.s)
    cross = gradient(disc, modes, weight * 4 * st.e * t / room**2 / st.s)
    slope_t = 1 / price - float((weight * 2 * t / room).sum())
    curve_t = float((weight * (4 * t * t / room**2 - 2 / room)).sum())
    # The layout's unknowns are eliminated with two right-hand sides; t remains alone.
    factor = factored(pattern, now.points, modes, stiffnesses(st, first, second))
    solved = pattern.solve(factor, np.column_stack([down, cross]))
    step_t = -(slope_t - _work(cross, solved[:, 0])) / (curve_t - _work(cross, solved[:, 1]))
    step = -solved[:, 0] - solved[:, 1] * step_t
    decrement = -_work(down, step) - slope_t * step_t
    move = step.reshape(2, -1).T
    reach = min(
        1.0, 0.9 * longest_step(disc, now.points, move), _to_the_wall(st, t, along_modes(disc, modes, move), step_t)
    )
    value = t / price - float((weight * np.log(room)).sum())
    for _ in range(30):
        points, wall = now.points + reach * move, t + reach * step_t
        trial = strains_of(disc, points)
        if trial is not None and wall > np.abs(trial.e).max():
            found = wall / price - float((weight * np.log(wall**2 - trial.e**2)).sum())
            if found <= value - 1e-4 * reach * decrement + 1e-12 * abs(value):
                return _Pass(points, trial, wall, decrement, reach)
        reach *= 0.7
    return _Pass(now.points, st, t, decrement, 0.0)


def _to_the_wall(st: Strains, t: float, along: Floats, step_t: float) -> float:
    """Nearly the share of a step at which the first strain meets -t or +t, strains taken to change in proportion."""
    change = -along[:, :2] / st.s
    closing = np.stack([change - step_t, -change - step_t]) / np.stack([t - st.e, t + st.e])
    fastest = float(closing.max())
    return WALL / fastest if fastest > WALL else 1.0


def _floor(disc: Disc, pattern: Pattern, now: _Pass, weight: Floats) -> float:
    """Least worst strain of any layout near this one, by the work of a stress in balance.

    A stress q in balance with a free edge does no work on any change of layout, so to first order in strain sum(q : e)
    is the same for all; and no layout with worst strain t can make it more than t * sum(|q1| + |q2|) of its principal
    values. The barrier's slope is such a stress but for what is left to settle; one linear step, without stiffness
    against twist so that it stays a symmetric stress, brings it into balance.
    """
    st = now.st
    room = now.t**2 - st.e**2
    first, second = weight * 2 * st.e / room, weight * 2 * (now.t**2 + st.e**2) / room**2
    modes, stiff, slope = element_modes(disc, st), stiffnesses(st, first, second), -first / st.s
    stiff[:, 2] = 0.0
    solved = pattern.solve(factored(pattern, now.points, modes, stiff), gradient(disc, modes, slope))
    along = -along_modes(disc, modes, solved.reshape(2, -1).T)
    q = -(slope + stiff[:, :2] * along[:, :2]) * st.s
    across = stiff[:, 3] * along[:, 3] * st.s.mean(axis=1) / np.sqrt(2)
    middle, radius = q.sum(axis=1) / 2, np.hypot((q[:, 0] - q[:, 1]) / 2, across)
    size = float((2 * np.maximum(np.abs(middle), radius)).sum())
    return max(0.0, float((q * st.e).sum()) / size)


def _work(force: Floats, step: Floats) -> float:
    """Their inner product; not a dot product, which on long vectors starts threads."""
    return float((force * step).sum())
