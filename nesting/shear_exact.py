"""Proven cheapest shear plans for small jobs: which pieces can share a sheet, then which sheets to take.

First, for every set of pieces, whether it can be cut from each size of sheet (``_guillotine_exact``). Then the
cheapest way to cover all pieces with sets that fit, sheet by sheet: the same recursion over states.

Where boxes have more places than the staircases can carry, they are worked on a coarser grid twice: rounded up,
which gives a plan that holds, and rounded down, which gives a cost that nothing can beat. When the two agree the plan
is proven all the same.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ._guillotine import SIDE, STACK, Tree, joined, remade
from ._guillotine_exact import FAR, Needs, count_splits
from .shear_job import Job
from .shear_plan import Plan, plan_of, priced, prices

__all__ = ["MOST_BYTES", "Exact", "coarse_grid", "exact_seconds", "solve_exact", "starting_grid"]

GRID_POINTS = 4000  # most points along width and height together
ADDS_PER_SECOND = 0.9e9  # measured on a 2-core machine with numpy 2.4; only used to foresee, never to prove
STATE_SECONDS = 1.4e-4  # cost of one state besides its additions, same machine
MOST_BYTES = 2.5e8
OFFCUT_TRIALS = 400  # rearrangements looked at to keep the largest offcut in one piece


@dataclass(frozen=True)
class Exact:
    """The best plan found, a lower bound on the cost of any plan, and whether the plan is proven cheapest."""

    plan: Plan
    bound: float
    proven: bool


def coarse_grid(sizes: list[tuple[int, int]]) -> int:
    """Units per grid step: coarse enough for the staircases, and dividing the sheets with little left over."""
    most = max((w + h for w, h in sizes), default=1)
    least = max(1, -(-most // GRID_POINTS))
    if least == 1:
        return 1

    def lost(grid: int) -> tuple[float, int]:
        return sum((w % grid) / (w + 1) + (h % grid) / (h + 1) for w, h in sizes), grid

    return min(range(least, least + least // 2 + 3), key=lost)


def starting_grid(job: Job) -> int:
    """The grid to begin with."""
    return coarse_grid([(one.w, one.h) for one in job.stocks])


def exact_seconds(job: Job, grid: int | None = None) -> float:
    """Seconds that ``solve_exact`` should take; infinite where it would need too much memory."""
    grid = grid or starting_grid(job)
    states = 1
    for count in job.counts:
        states *= count + 1
        if states > 1 << 20:
            return float("inf")
    points = max((stock.w + stock.h) // grid + 2 for stock in job.stocks)
    if states * points * 2 > MOST_BYTES or points >= FAR:
        return float("inf")
    rounds = job.looks * (1 if grid == 1 and job.exact else 2)
    extra = sum(min(stock.limit, sum(job.counts)) for stock in job.stocks if stock.limit is not None)
    splits = count_splits(job.counts)
    fill = splits * points / ADDS_PER_SECOND + states * STATE_SECONDS
    return rounds * fill + (1 + extra) * (states * 3e-5 + splits * 2e-8)


def solve_exact(job: Job, grid: int | None = None) -> Exact:
    """The cheapest plan there is, or the best on the grid (units per step) together with a lower bound."""
    grid = grid or starting_grid(job)
    needs = _needs(job, grid, up=True)
    cover = _Cover(job, needs, [_fits(job, needs, s, grid) for s in range(len(job.stocks))])
    plan = cover.plan(grid)
    cost = cover.cost
    if grid == 1 and job.exact:
        return Exact(plan, cost, not plan.left or cover.all_tried)
    low_needs = _needs(job, grid, up=False)
    low = _Cover(job, low_needs, [_fits(job, low_needs, s, grid) for s in range(len(job.stocks))])
    same = low.placed == cover.placed and low.cost >= cost - 1e-9
    return Exact(plan, low.cost, same)


def _needs(job: Job, grid: int, *, up: bool) -> list[Needs]:
    out = []
    for look in range(job.looks):
        sizes = [(s.w // grid, s.h // grid) for s in job.stocks if s.look == look]
        slack = 0 if job.exact else 1  # an inexact unit was itself rounded up, by less than one
        choices = [
            [
                (-(-w // grid), -(-h // grid)) if up else ((w - slack) // grid, (h - slack) // grid)
                for w, h in kind.choices[look]
            ]
            for kind in job.kinds
        ]
        width, height = max(w for w, _ in sizes), max(h for _, h in sizes)
        out.append(Needs(choices, job.counts, max(width, 1), max(height, 1), longest=job.longest // grid))
    return out


def _fits(job: Job, needs: list[Needs], stock: int, grid: int) -> NDArray[np.bool_]:
    one = job.stocks[stock]
    if one.limit == 0:
        return np.zeros(needs[one.look].states, dtype=bool)
    return needs[one.look].fits(one.w // grid, one.h // grid)


class _Cover:
    """Cheapest choice of sheets for every state, and how it was made."""

    def __init__(self, job: Job, needs: list[Needs], fits: list[NDArray[np.bool_]]) -> None:
        self.job, self.needs, self.fits = job, needs, fits
        self.price = prices(job)
        self.tied = [p + t for p, t in zip(self.price, _tie_breaks(job), strict=True)]
        base = needs[0]
        self.subs = [base.substates(state) for state in range(base.states)]
        self.layers: list[tuple[NDArray[np.int64], NDArray[np.int64]]] = []
        self.best = self._open_ended()
        self.history = [self.best]
        for stock, one in enumerate(job.stocks):
            for _ in range(min(one.limit or 0, sum(job.counts))):
                if not self._add_one(stock):
                    break
        self.target = self._target()
        self.placed = base.digits(self.target)
        self.all_tried = True
        self.cost = sum(self.price[stock] for stock, _ in self._chosen(self.target, len(self.layers)))

    def _open_ended(self) -> NDArray[np.float64]:
        """Least cost of every state with the sheets that never run out."""
        states = self.needs[0].states
        least, which = np.full(states, np.inf), np.full(states, -1, dtype=np.int64)
        for stock, one in enumerate(self.job.stocks):
            if one.limit is None:
                better = self.fits[stock] & (self.tied[stock] < least)
                least[better], which[better] = self.tied[stock], stock
        best, taken = np.full(states, np.inf), np.zeros(states, dtype=np.int64)
        best[0] = 0.0
        for state in range(1, states):
            subs = self.subs[state][1:]
            costs = least[subs] + best[state - subs]
            i = int(costs.argmin())
            best[state], taken[state] = costs[i], subs[i]
        self.layers.append((taken, which[taken]))
        return best

    def _add_one(self, stock: int) -> bool:
        """Allow one more copy of a sheet in limited number; False when it changes nothing."""
        old = self.best
        cost_in = np.where(self.fits[stock], self.tied[stock], np.inf)
        cost_in[0] = np.inf
        best, taken = old.copy(), np.zeros(len(old), dtype=np.int64)
        for state in range(1, len(old)):
            subs = self.subs[state]
            costs = cost_in[subs] + old[state - subs]
            i = int(costs.argmin())
            if costs[i] < best[state]:
                best[state], taken[state] = costs[i], subs[i]
        if not taken.any():
            return False
        self.layers.append((taken, np.where(taken > 0, stock, -1)))
        self.best = best
        self.history.append(best)
        return True

    def _target(self) -> int:
        """The state to make: everything, or the one that leaves out the least worth, then the least area, then
        costs least."""
        base = self.needs[0]
        reach = np.flatnonzero(np.isfinite(self.best))
        if reach[-1] == base.states - 1:
            return base.states - 1
        digits = reach[:, None] // base.radix % (np.array(base.counts) + 1)
        worth = digits @ np.array([kind.worth for kind in self.job.kinds])
        area = digits @ np.array([kind.area for kind in self.job.kinds], dtype=np.float64)
        return int(reach[np.lexsort((self.best[reach], -area, -worth))[0]])

    def _chosen(self, state: int, layers: int) -> list[tuple[int, int]]:
        """(stock, state on it) of the cheapest cover."""
        out = []
        for layer in range(layers - 1, 0, -1):
            taken = int(self.layers[layer][0][state])
            if taken:
                out.append((int(self.layers[layer][1][state]), taken))
                state -= taken
        while state:
            taken = int(self.layers[0][0][state])
            out.append((int(self.layers[0][1][state]), taken))
            state -= taken
        return out

    def _roomiest_last(self) -> list[tuple[int, int]]:
        """A cheapest cover with one sheet that keeps as much as possible in one piece."""
        chosen = self._chosen(self.target, len(self.layers))
        subs = self.subs[self.target][1:]
        best, pick = -1, None
        for stock, one in enumerate(self.job.stocks):
            if one.limit is not None:
                continue
            rest = self.history[0] if len(self.history) == 1 else self.history[-1]
            equal = subs[
                self.fits[stock][subs] & (self.tied[stock] + rest[self.target - subs] <= self.best[self.target] + 1e-9)
            ]
            for state in equal:
                strip = self._strip(stock, int(state))
                if strip > best:
                    best, pick = strip, (stock, int(state))
        if pick is None:
            return chosen
        return [pick, *self._chosen(self.target - pick[1], len(self.layers))]

    def _strip(self, stock: int, state: int) -> int:
        """Area of the larger full strip left when the state is laid close on the sheet."""
        one, needs = self.job.stocks[stock], self.needs[self.job.stocks[stock].look]
        w, h = min(one.w, needs.width), min(one.h, needs.height)
        return max((h - needs.height_for(state, w)) * w, (w - needs.width_for(state, h)) * h)

    def plan(self, grid: int) -> Plan:
        """The cover as cutting trees in the job's own units."""
        sheets = []
        for stock, state in self._roomiest_last():
            one = self.job.stocks[stock]
            tree = roomy_tree(self.needs[one.look], state, one.w // grid, one.h // grid)
            sheets.append((stock, remade(tree, self.job.choices(one.look))))
        return plan_of(self.job, sheets)


def _tie_breaks(job: Job) -> list[float]:
    """A sliver on each price: among equal costs fewer sheets are bought new, then less is taken from the rack."""
    price = prices(job)
    sliver = 1e-7 * max(price)
    area = max(stock.area for stock in job.stocks) or 1
    by_area = 0.0 if priced(job) else 0.01
    return [
        sliver * (1.0 + by_area * one.area / area) if one.whole else sliver * 0.01 * one.area / area
        for one in job.stocks
    ]


def roomy_tree(needs: Needs, state: int, width: int, height: int) -> Tree:
    """A tree of the state in width x height that leaves the largest rectangle free, as far as ``OFFCUT_TRIALS``
    reach."""
    width, height = min(width, needs.width), min(height, needs.height)
    search = _Roomy(needs)
    search.look(state, width, height, lambda tree: tree)
    assert search.make is not None
    return search.make()


class _Roomy:
    """Depth-first search for where to leave the largest free rectangle: beside everything, or inside one side
    of a cut."""

    def __init__(self, needs: Needs) -> None:
        self.needs, self.best, self.trials = needs, -1, OFFCUT_TRIALS
        self.make: Callable[[], Tree] | None = None
        self.least = [min(w * h for w, h in c) for c in needs.choices]

    def look(self, state: int, width: int, height: int, wrap: Callable[[Tree], Tree]) -> None:
        needs = self.needs
        used_h, used_w = needs.height_for(state, width), needs.width_for(state, height)
        for area, w, h in (
            (width * (height - used_h), width, used_h),
            ((width - used_w) * height, used_w, height),
        ):
            if used_h <= height and area > self.best:
                self.best = area
                self.make = lambda w=w, h=h: wrap(needs.tree(state, w, h))
        subs = needs.substates(state)[1:-1]
        subs = subs[needs.ok[subs] & needs.ok[state - subs]]
        if not len(subs):
            return
        rows = needs.row[subs]
        free = np.array([needs.digits(int(rest)) for rest in state - subs]) @ np.array(self.least)
        options = []
        for op, tight in ((STACK, needs.need_h[rows, width]), (SIDE, needs.need_w[rows, height])):
            room = (
                (height - tight.astype(np.int64)) * width if op == STACK else (width - tight.astype(np.int64)) * height
            )
            if (width if op == STACK else height) > needs.longest:
                continue
            hope = np.where(tight < FAR, room - free, -1)
            options += [(int(hope[i]), int(subs[i]), op, int(tight[i])) for i in np.argsort(-hope)[:40]]
        for hope_here, sub, op, least in sorted(options, reverse=True):
            if hope_here <= self.best or self.trials <= 0:
                return
            self.trials -= 1
            w, h = (width, height - least) if op == STACK else (width - least, height)
            if needs.height_for(state - sub, w) > h:
                continue
            at = (width, least) if op == STACK else (least, height)

            def beside(tree: Tree, sub: int = sub, op: int = op, at: tuple[int, int] = at) -> Tree:
                return wrap(joined(op, needs.tree(sub, *at), tree))

            self.look(state - sub, w, h, beside)
