"""The least worst strain: smallest t such that every principal strain lies between -t and +t.

An interior-point method. For a falling price mu the smooth sum

    t / mu - sum of weight * (log(t - e) + log(t + e))   over both strains e of every triangle

is brought near its minimum by Newton steps in the layout and t together, then mu falls. The derivative of
the barrier is a field of stress; where the layout is in balance that stress is in balance too, and any balanced stress
proves a limit on what every other layout can reach (``floor_from_stress``). So the method also says
how far it may still be from the best on this mesh. S. Boyd, L. Vandenberghe, "Convex Optimization", 2004, ch. 11.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from panels._develop_energy import (
    Strains,
    element_modes,
    factored,
    gradient,
    longest_step,
    stiffnesses,
    strains_of,
)
from panels._develop_mesh import Disc
from panels._develop_sparse import Pattern

__all__ = ["floor_from_stress", "level"]

Floats = NDArray[np.float64]

PRICE_FALL = 0.3  # tuned by eye: smaller needs more steps per price, larger more prices
SMALLEST_SHARE = 0.1  # weight of a triangle against the mean; tiny ones still need a barrier of their own
NEARLY_CENTRED, CENTRED = 0.3, 1e-3  # Newton decrement at which the price may fall, and at which stress is in balance


def balanced(disc: Disc, points: Floats) -> tuple[Floats, Strains]:
    """The layout scaled so that most stretch and most shrink are alike."""
    st = strains_of(disc, points)
    if st is None:
        raise ValueError("balanced needs a layout without folded triangles")
    shift = (st.e.max() + st.e.min()) / 2
    scale = float(np.exp(shift))
    return points * scale, Strains(st.e - shift, st.s * scale, st.u, st.v)


def level(
    disc: Disc, pattern: Pattern, points: Floats, *, gap: float, most: int = 100
) -> tuple[Floats, Strains, float]:
    """Layout with the least range of strain, and a floor under that range on this mesh, first order in strain."""
    points, st = balanced(disc, points)
    t = 1.1 * float(np.abs(st.e).max())
    weight = np.clip(disc.area / disc.area.mean(), SMALLEST_SHARE, 1 / SMALLEST_SHARE)
    weight = (weight / weight.sum())[:, None]
    price, floor = 0.1 * t, 0.0
    for _ in range(most):
        points, st, t, decrement, reach = _step(disc, pattern, points, st, t, price, weight)
        if reach == 1.0 and decrement < CENTRED:
            floor = max(floor, floor_from_stress(st, t, weight))
            if 4 * price < gap * t:
                break
            price *= PRICE_FALL
        elif reach == 0.0:
            break
        elif reach == 1.0 and decrement < NEARLY_CENTRED and 4 * price >= gap * t:
            price *= PRICE_FALL
    points, st = balanced(disc, points)
    return points, st, 2 * floor


def _step(
    disc: Disc, pattern: Pattern, points: Floats, st: Strains, t: float, price: float, weight: Floats
) -> tuple[Floats, Strains, float, float, float]:
    """One Newton step in layout and t: the new ones, the decrement promised, how much of the step was taken."""
    room = t * t - st.e**2
    first, second = weight * 2 * st.e / room, weight * 2 * (t * t + st.e**2) / room**2
    modes = element_modes(disc, st)
    down = gradient(disc, modes, -first / st.s)
    cross = gradient(disc, modes, weight * 4 * st.e * t / room**2 / st.s)
    slope_t = 1 / price - float((weight * 2 * t / room).sum())
    curve_t = float((weight * (4 * t * t / room**2 - 2 / room)).sum())
    # The layout's unknowns are eliminated with two right-hand sides; t remains alone.
    factor = factored(pattern, points, modes, stiffnesses(st, first, second))
    solved = pattern.solve(factor, np.column_stack([down, cross]))
    step_t = -(slope_t - _work(cross, solved[:, 0])) / (curve_t - _work(cross, solved[:, 1]))
    step = -solved[:, 0] - solved[:, 1] * step_t
    decrement = -_work(down, step) - slope_t * step_t
    move = step.reshape(2, -1).T
    value = t / price - float((weight * np.log(room)).sum())
    reach = min(1.0, 0.9 * longest_step(disc, points, move))
    for _ in range(30):
        trial_t, trial = t + reach * step_t, strains_of(disc, points + reach * move)
        if trial is not None and trial_t > np.abs(trial.e).max():
            now = trial_t / price - float((weight * np.log(trial_t**2 - trial.e**2)).sum())
            if now <= value - 1e-4 * reach * decrement + 1e-12 * abs(value):
                return points + reach * move, trial, trial_t, decrement, reach
        reach *= 0.7
    return points, st, t, decrement, 0.0


def floor_from_stress(st: Strains, t: float, weight: Floats) -> float:
    """Least worst strain of any layout near this one, by the work of the barrier's stress, which is in balance.

    For a stress q in balance the work sum(q e) is the same for every layout, to first order in strain; and
    no layout with worst strain t can make it more than t * sum(|q|).
    """
    stress = weight * 2 * st.e / (t * t - st.e**2)
    return float((stress * st.e).sum() / np.abs(stress).sum())


def _work(force: Floats, step: Floats) -> float:
    """Their inner product; not a dot product, which on long vectors starts threads."""
    return float((force * step).sum())
