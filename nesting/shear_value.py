"""The most that one sheet can hold, when not everything fits: by worth, then by area.

First as if every kind of piece came without limit: a recursion over the places where cuts can usefully lie (sums of
side lengths), exact. If that layout uses no more of any kind than there is, it is the best there is. Otherwise the
same table bounds what the rest of a sheet could still add to a block, and blocks are built up under that bound
(Viswanathan and Bagchi, Operations Research 41, 1993, 768-776; volume and pages from memory, not verified).
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from ._guillotine import SIDE, STACK, Tree, joined, leaf, leaves, within_limit
from ._guillotine_blocks import build, code_bits, rest_by_area
from .shear_job import Job
from .shear_plan import Plan, plan_of, rank
from .shear_search import Watch
from .shear_strip import PAIR_SECONDS, renamed

__all__ = ["Unlimited", "fill_one_sheet"]

MOST_PLACES = 400_000  # of the table; beyond it the bound is by area alone
PLACE_SECONDS = 8e-6
BLOCKS_KEPT = (1000, 4000, 16000)


def fill_one_sheet(job: Job, stock: int, best: Plan, watch: Watch) -> tuple[Plan, bool]:
    """The best filling of one sheet of this stock found in the time, and whether it is proven best."""
    one = job.stocks[stock]
    choices = list(job.choices(one.look))
    worth = _worths(job)
    proven = False
    table = None
    order = [k for k in range(len(job.kinds)) if any(w <= one.w and h <= one.h for w, h in choices[k])]
    places = _places(one.w, [side for k in order for w, h in choices[k] for side in (w,)])
    ups = _places(one.h, [h for k in order for _, h in choices[k]])
    if len(places) * len(ups) <= MOST_PLACES:
        table = Unlimited([choices[k] for k in order], [worth[k] for k in order], places, ups)
        watch.spend(PLACE_SECONDS * len(places) * len(ups))
        tree = renamed(table.tree(), order, choices)
        used = Counter(node[1] for node in leaves(tree))
        if within_limit(tree, job.longest) and all(used[k] <= job.counts[k] for k in used):
            return _better(job, best, plan_of(job, [(stock, tree)])), True
    counts = [min(job.counts[k], one.area // job.kinds[k].area) for k in order]
    if code_bits(counts) > 64:
        return best, False
    have = sum(worth[node[1]] for s, tree in best.sheets for node in leaves(tree) if s == stock)
    if table is not None:
        hope = table.hope()
    else:
        sides = [side for k in order for box in choices[k] for side in box]
        rate = max(worth[k] / job.kinds[k].area for k in order)
        hope = rest_by_area(one.w, one.h, sides, rate)
    for most in BLOCKS_KEPT:
        if watch.up:
            break
        found = build(
            [choices[k] for k in order],
            counts,
            [worth[k] for k in order],
            one.w,
            one.h,
            target=have + 1e-7 * max(worth),
            hope=hope,
            most=most,
            pairs_limit=max(1e5, watch.left / PAIR_SECONDS),
            longest=job.longest,
        )
        watch.spend(found.pairs * PAIR_SECONDS + 1e-3)
        if found.tree is not None:
            best = _better(job, best, plan_of(job, [(stock, renamed(found.tree, order, choices))]))
            have = max(have, found.worth)
        if found.complete:
            proven = True
            break
    return best, proven


def _better(job: Job, best: Plan, plan: Plan) -> Plan:
    return plan if rank(job, plan)[:3] < rank(job, best)[:3] else best


def _worths(job: Job) -> list[float]:
    """Worth of each kind with a sliver for its area, so that among equal worths more area is better."""
    area = [float(kind.area) for kind in job.kinds]
    if not any(kind.worth > 0 for kind in job.kinds):
        return area
    least = min(kind.worth for kind in job.kinds if kind.worth > 0)
    total = sum(a * len(kind.parts) for a, kind in zip(area, job.kinds, strict=True))
    return [kind.worth + 1e-3 * least * a / total for a, kind in zip(area, job.kinds, strict=True)]


def _places(top: int, sides: Sequence[int]) -> NDArray[np.int64]:
    """0, every sum of sides up to ``top``, and ``top`` itself."""
    reach = np.zeros(top + 1, dtype=bool)
    reach[0] = True
    for side in sorted(set(sides)):
        for start in range(side, top + 1, side):
            stop = min(start + side, top + 1)
            reach[start:stop] |= reach[start - side : start - side + stop - start]
    reach[top] = True
    return np.flatnonzero(reach).astype(np.int64)


class Unlimited:
    """Most worth of every rectangle whose sides are places, any number of copies of each kind."""

    def __init__(
        self,
        choices: Sequence[Sequence[tuple[int, int]]],
        worth: Sequence[float],
        xs: NDArray[np.int64],
        ys: NDArray[np.int64],
    ) -> None:
        self.choices, self.worth, self.xs, self.ys = choices, worth, xs, ys
        self.down_x, self.down_y = _floor_index(xs), _floor_index(ys)
        self.best = np.zeros((len(xs), len(ys)))
        for kind, boxes in enumerate(choices):
            for w, h in boxes:
                if w <= xs[-1] and h <= ys[-1]:
                    i, j = np.searchsorted(xs, w), np.searchsorted(ys, h)
                    np.maximum(self.best[i:, j:], worth[kind], out=self.best[i:, j:])
        self._fill()

    def _fill(self) -> None:
        best, xs, ys = self.best, self.xs, self.ys
        for i in range(1, len(xs)):
            near = np.arange(1, np.searchsorted(xs, xs[i] // 2, side="right"))
            row = np.maximum(best[i], best[i - 1])
            for start in range(0, len(near), 128):
                part = near[start : start + 128]
                row = np.maximum(row, (best[part] + best[self.down_x[xs[i] - xs[part]]]).max(axis=0))
            for j in range(1, len(ys)):
                low = np.arange(1, np.searchsorted(ys, ys[j] // 2, side="right"))
                value = max(row[j], row[j - 1])
                if len(low):
                    value = max(value, (row[low] + row[self.down_y[ys[j] - ys[low]]]).max())
                row[j] = value
            best[i] = row

    def tree(self) -> Tree:
        """A layout of the whole sheet that reaches the most."""
        return self._tree(len(self.xs) - 1, len(self.ys) - 1)

    def _tree(self, i: int, j: int) -> Tree:
        w, h, value = int(self.xs[i]), int(self.ys[j]), self.best[i, j]
        close = 1e-9 * max(1.0, value)
        for kind, boxes in enumerate(self.choices):
            for choice, (bw, bh) in enumerate(boxes):
                if bw <= w and bh <= h and self.worth[kind] >= value - close:
                    return leaf(kind, choice, self.choices)
        for a in range(1, i):
            b = int(self.down_x[w - self.xs[a]])
            if self.best[a, j] > 0 and b > 0 and self.best[a, j] + self.best[b, j] >= value - close:
                if self.best[b, j] > 0:
                    return joined(SIDE, self._tree(a, j), self._tree(b, j))
                return self._tree(a, j)
        for a in range(1, j):
            b = int(self.down_y[h - self.ys[a]])
            if self.best[i, a] > 0 and self.best[i, a] + self.best[i, b] >= value - close:
                if self.best[i, b] > 0:
                    return joined(STACK, self._tree(i, a), self._tree(i, b))
                return self._tree(i, a)
        raise AssertionError("the table has no way to its own value")

    def hope(self):
        """For ``build``: the most that the rest of the sheet could add to a block of each size."""
        best, xs, ys = self.best, self.xs, self.ys
        rest = np.zeros_like(best)
        for i in range(len(xs) - 1, -1, -1):
            wide = np.arange(1, np.searchsorted(xs, xs[-1] - xs[i], side="right"))
            grown = self.down_x[xs[i] + xs[wide]]
            beside = (rest[grown] + best[wide]).max(axis=0) if len(wide) else np.zeros(len(ys))
            for j in range(len(ys) - 1, -1, -1):
                tall = np.arange(1, np.searchsorted(ys, ys[-1] - ys[j], side="right"))
                value = beside[j]
                if len(tall):
                    value = max(value, (rest[i, self.down_y[ys[j] + ys[tall]]] + best[i, tall]).max())
                rest[i, j] = value

        def lookup(w: NDArray[np.int64], h: NDArray[np.int64]) -> NDArray[np.float64]:
            return rest[self.down_x[w], self.down_y[h]]

        return lookup


def _floor_index(places: NDArray[np.int64]) -> NDArray[np.int64]:
    """For each length the number of the last place that is no longer."""
    return (np.searchsorted(places, np.arange(places[-1] + 1), side="right") - 1).astype(np.int64)
