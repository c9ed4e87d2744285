"""The shortest length of a sheet of given width that holds all pieces, cut edge to edge.

Works from both ends: from below, lengths are shown to be too short by building blocks with hardly any waste
(``_guillotine_blocks``); from above, a layout is shortened by ruin and recreate and by solving folded
layouts again. Where
the two meet, the length is proven. Few pieces go straight to the exact recursion.
"""

from __future__ import annotations

import random
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from ._guillotine import NO_LIMIT, STACK, Tree, joined, leaf, leaves
from ._guillotine_blocks import build, code_bits, rest_by_area
from ._guillotine_exact import FAR, Needs, count_splits
from .shear_exact import MOST_BYTES, coarse_grid
from .shear_job import Job, Stock
from .shear_plan import plan_of
from .shear_resolve import shorter
from .shear_search import Rounds, Watch

__all__ = ["PAIR_SECONDS", "Strip", "renamed", "shorten"]

PAIR_SECONDS = 8e-8  # one pair looked at by ``build``; measured on a 2-core machine
EXACT_ADDS_PER_SECOND, EXACT_STATE_SECONDS = 0.9e9, 1.4e-4
LEVEL_SECONDS = 2e-5  # what building costs per pair of levels besides
EXACT_SHARE = 0.9  # of the time left that the exact recursion may be foreseen to take
RULE_OUT_SHARE = 0.2  # of the time, for proving short lengths impossible
FOLDED = 10  # blocks in one exact re-solve
SMALL, MIDDLE, LARGE = 300, 1000, 3000  # blocks kept per level
SPELL_SECONDS = 1.5  # one spell of ruin and recreate


@dataclass(frozen=True)
class Strip:
    """The shortest layout found, a length that none can be under, and whether they meet."""

    tree: Tree
    bound: int
    proven: bool


def shorten(
    job: Job,
    stock: int,
    kinds: list[int],
    watch: Watch,
    seed: int,
    start: Tree | None = None,
    report: Callable[[Tree], object] | None = None,
) -> Strip:
    """The shortest layout of these pieces (kinds, one per copy) in the width of this stock; its height is ignored."""
    one = job.stocks[stock]
    choices = job.choices(one.look)
    width = one.w
    counts = Counter(kinds)
    tree = start if start is not None else _stacked(width, kinds, choices)
    area = sum(job.kinds[k].area for k in kinds)
    bound = max(-(-area // width), max(min(h for w, h in choices[k] if w <= width) for k in counts))
    search = _Search(job, one, kinds, tree, bound, watch, random.Random(seed), report)
    search.run()
    return Strip(search.tree, search.bound, search.tree[4] <= search.bound and job.exact)


def _stacked(width: int, kinds: list[int], choices: list[tuple[tuple[int, int], ...]]) -> Tree:
    """A first layout: shelves of pieces lying down, the tallest first."""
    laid = [
        leaf(
            k,
            min(range(len(choices[k])), key=lambda c: (choices[k][c][0] > width, choices[k][c][1])),
            choices,
        )
        for k in kinds
    ]
    laid.sort(key=lambda piece: (-piece[4], -piece[3]))
    shelves: list[Tree] = []
    for piece in laid:
        for i, shelf in enumerate(shelves):
            if shelf[3] + piece[3] <= width:
                shelves[i] = joined(0, shelf, piece)
                break
        else:
            shelves.append(piece)
    tree = shelves[0]
    for shelf in shelves[1:]:
        tree = joined(STACK, tree, shelf)
    return tree


def _exact_seconds(width: int, height: int, counts: list[int]) -> float:
    states = 1
    for count in counts:
        states *= count + 1
        if states > 1 << 18:
            return float("inf")
    grid = coarse_grid([(width, height)])
    points = (width + height) // grid + 2
    if states * points * 2 > MOST_BYTES:
        return float("inf")
    return count_splits(counts) * points / EXACT_ADDS_PER_SECOND + states * EXACT_STATE_SECONDS


def renamed(tree: Tree, order: list[int], choices: list[tuple[tuple[int, int], ...]]) -> Tree:
    """Leaves numbered within ``order`` back to the job's kinds and boxes."""
    if tree[0] == 2:
        return leaf(order[tree[1]], tree[2], choices)
    return joined(tree[0], renamed(tree[1], order, choices), renamed(tree[2], order, choices))


class _Search:
    """Shortening from above and ruling out from below, turn and turn about."""

    def __init__(
        self,
        job: Job,
        one: Stock,
        kinds: list[int],
        tree: Tree,
        bound: int,
        watch: Watch,
        draw: random.Random,
        report: Callable[[Tree], object] | None,
    ) -> None:
        self.job, self.one, self.kinds, self.tree, self.bound = job, one, kinds, tree, bound
        self.watch, self.draw, self.report = watch, draw, report
        self.choices = job.choices(one.look)
        self.counts = Counter(kinds)
        self.order = sorted(self.counts)
        self.area = sum(job.kinds[k].area for k in kinds)
        self.packed = code_bits([self.counts[k] for k in self.order]) <= 64

    @property
    def open(self) -> bool:
        return not self.watch.up and self.tree[4] > self.bound

    def run(self) -> None:
        if self.packed:
            self.rule_out(MIDDLE)
            self._halve(SMALL)
        self._exact()
        if self.packed:
            self._halve(MIDDLE)
            while self.open and self._build(self.tree[4] - self._stride(), LARGE, lucky=False)[0]:
                pass
            if self.open:
                self._build(self.tree[4] - 1, LARGE, lucky=False)
        spell, quiet = SPELL_SECONDS, 0
        while self.open:
            before = self.tree[4]
            self._recreate(max(self.bound, self.tree[4] - (1 if quiet else self._stride())), spell)
            if self.open:
                self._refold()
            if self.open and self.packed:
                low = max(self.bound, self.tree[4] - 2 * self._stride())
                most = LARGE if quiet % 4 == 3 else MIDDLE
                self._build(self.draw.randint(low, self.tree[4] - 1), most, lucky=True)
            quiet = 0 if self.tree[4] < before else quiet + 1
            spell = SPELL_SECONDS * (1 + quiet)

    def _stride(self) -> int:
        """How much shorter to try next."""
        return max(1, (self.tree[4] - self.bound) // 8)

    def rule_out(self, most: int) -> None:
        """Raise the bound as long as whole searches of the shortest lengths come up empty, in growing steps."""
        step, stop = 1, self.watch.spent + RULE_OUT_SHARE * self.watch.seconds
        while self.open and self.watch.spent < stop:
            length = min(self.bound + step, self.tree[4]) - 1
            found, complete = self._build(length, most, lucky=False)
            if found:
                step = max(1, step // 2)
            elif complete:
                self.bound, step = length + 1, step * 2
            elif step == 1:
                return
            else:
                step = max(1, step // 4)

    def _exact(self) -> None:
        """The exact recursion, if it is foreseen to end in time: on the units themselves, or on a grid from
        both sides."""
        counts = [self.counts[k] for k in self.order]
        cost = _exact_seconds(self.one.w, self.tree[4], counts)
        grid = coarse_grid([(self.one.w, self.tree[4])])
        if not self.open or cost * (1 if grid == 1 else 2) > EXACT_SHARE * self.watch.left:
            return
        needs = self._needs(grid, counts, up=True)
        full = needs.states - 1
        least = needs.height_for(full, needs.width)
        if least < FAR:
            self._better(renamed(needs.tree(full, needs.width, least), self.order, self.choices))
        if grid > 1:
            low = self._needs(grid, counts, up=False)
            least = low.height_for(full, low.width)
        self.watch.spend(cost * (1 if grid == 1 else 2))
        if self.job.longest == NO_LIMIT:
            self.bound = max(self.bound, min(self.tree[4], least * grid if least < FAR else self.tree[4]))

    def _needs(self, grid: int, counts: list[int], *, up: bool) -> Needs:
        slack = 0 if up or self.job.exact else 1  # an inexact unit was itself rounded up, by less than one
        boxes = [
            [
                (-(-w // grid), -(-h // grid)) if up else ((w - slack) // grid, (h - slack) // grid)
                for w, h in self.choices[k]
            ]
            for k in self.order
        ]
        width, height = self.one.w // grid, -(-self.tree[4] // grid)
        area = sum(min(w * h for w, h in kind) * n for kind, n in zip(boxes, counts, strict=True))
        return Needs(boxes, counts, width, height, waste=width * height - area, longest=self.job.longest // grid)

    def _better(self, tree: Tree | None) -> bool:
        if tree is None or tree[4] >= self.tree[4] or tree[3] > self.one.w:
            return False
        assert Counter(node[1] for node in leaves(tree)) == self.counts
        self.tree = tree
        if self.report is not None:
            self.report(tree)
        return True

    def _halve(self, most: int) -> None:
        """Close in on the length that ``most`` blocks per level can reach."""
        low = self.bound
        while self.open and self.tree[4] - low > 1:
            middle = (self.tree[4] + low) // 2
            if not self._build(middle, most, lucky=False)[0]:
                low = middle

    def _build(self, length: int, most: int, *, lucky: bool) -> tuple[bool, bool]:
        """Try this length with blocks; whether it was reached, and whether a failure is proof."""
        boxes = [self.choices[k] for k in self.order]
        found = build(
            boxes,
            [self.counts[k] for k in self.order],
            [self.job.kinds[k].area for k in self.order],
            self.one.w,
            length,
            target=self.area,
            hope=rest_by_area(self.one.w, length, [side for kind in boxes for box in kind for side in box]),
            most=most,
            waste=self.one.w * length - self.area,
            pairs_limit=max(1e5, self.watch.left / PAIR_SECONDS),
            stop_at_target=True,
            longest=self.job.longest,
            luck=np.random.default_rng(self.draw.getrandbits(32)) if lucky else None,
        )
        self.watch.spend(found.pairs * PAIR_SECONDS + LEVEL_SECONDS * len(self.kinds) ** 2)
        tree = None if found.tree is None else renamed(found.tree, self.order, self.choices)
        return self._better(tree), found.complete

    def _recreate(self, length: int, seconds: float) -> None:
        """Ruin and recreate in a sheet of this length for a spell."""
        held = self.counts
        slim = replace(
            self.job,
            kinds=tuple(replace(kind, parts=kind.parts[: held[k]]) for k, kind in enumerate(self.job.kinds)),
            stocks=(replace(self.one, h=length, limit=None, turned=False),),
        )
        plan = plan_of(slim, [(0, self.tree)])
        spell = Rounds(slim, [0], plan, self.draw).run(self.watch, min(self.watch.left, seconds), plan)
        if spell is not None and len(spell.sheets) == 1 and not spell.left:
            self._better(spell.sheets[0][1])

    def _refold(self) -> None:
        """Lay the folded layout out again, exactly, a few times."""
        blocks = min(FOLDED, len(self.kinds))
        cost = _exact_seconds(self.one.w, self.tree[4], [1] * blocks)
        for _ in range(3):
            if not self.open:
                return
            tree = shorter(self.tree, self.one.w, self.tree[4], self.choices, blocks, self.draw, self.job.longest)
            self.watch.spend(cost)
            if not self._better(tree) and tree[4] == self.tree[4]:
                self.tree = tree
