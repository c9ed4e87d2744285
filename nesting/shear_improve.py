"""The anytime search over whole plans: cheaper sets of sheets first, then larger offcuts.

Three tools take turns: ruin and recreate on a cheaper set of sheets (``shear_search``), exact re-solves of a
few sheets
with folded trees (``shear_resolve``), and blocks with little waste where everything might go into one sheet
(``_guillotine_blocks``). Once the cost meets the bound, a share of the time goes into keeping more in one piece.
"""

from __future__ import annotations

import random
from collections.abc import Callable
from dataclasses import replace

from ._guillotine import LEAF, SIDE, STACK, Tree, leaves
from ._guillotine_blocks import build, code_bits, rest_by_area
from ._guillotine_exact import count_splits
from ._guillotine_greedy import put
from .shear_job import Job
from .shear_plan import MOST_MEASURED, Plan, biggest_free, cost_of, plan_of, rank
from .shear_resolve import resolve
from .shear_search import Rounds, Watch, cheaper_sets
from .shear_strip import PAIR_SECONDS, renamed, shorten

__all__ = ["OFFCUT_SHARE", "improve", "into_one_sheet", "polish", "widen_offcuts"]

BLOCKS_KEPT = (300, 1000, 3000)
FOLDED = 9  # blocks in one exact re-solve of several sheets
OFFCUT_SHARE = 0.4  # of the time given that may go into larger offcuts once the cost is settled
POLISH_PLACES = 3000  # orders tried per sheet times the square of its pieces; a fraction of a second
Report = Callable[[Plan, float], object]


def improve(job: Job, best: Plan, bound: float, watch: Watch, seed: int, report: Report) -> tuple[Plan, float, bool]:
    """The best plan found in the time left, the bound, and whether something was proven beyond the bound."""
    search = _Improve(job, best, bound, watch, random.Random(seed), report)
    search.run()
    return search.best, search.bound, search.proven


def into_one_sheet(job: Job, best: Plan, bound: float, watch: Watch, seed: int, report: Report) -> Plan:
    """The plan, or a cheaper one of a single sheet if everything goes into it with little waste: quick to tell."""
    search = _Improve(job, best, bound, watch, random.Random(seed), report)
    for goal in cheaper_sets(job, best, bound, search.draw):
        if len(goal) == 1 and search.open and search.one_sheet(goal[0], BLOCKS_KEPT[:2]):
            break
    return search.best


class _Improve:
    def __init__(self, job: Job, best: Plan, bound: float, watch: Watch, draw: random.Random, report: Report) -> None:
        self.job, self.best, self.bound, self.watch = job, best, bound, watch
        self.draw, self.report = draw, report
        self.current = best
        self.proven = False
        self.tried: set[int] = set()

    @property
    def open(self) -> bool:
        return (
            not self.watch.up
            and not self.proven
            and (bool(self.best.left) or cost_of(self.job, self.best) > self.bound + 1e-9)
        )

    def run(self) -> None:
        quiet = 0
        while self.open:
            before = self.best
            for goal in cheaper_sets(self.job, self.best, self.bound, self.draw):
                if not self.open:
                    return
                if len(goal) == 1 and not self.best.left and goal[0] not in self.tried:
                    self.tried.add(goal[0])
                    if self.one_sheet(goal[0], BLOCKS_KEPT):
                        break
                spell = min(self.watch.left, max(0.3, 0.05 * self.watch.seconds) * (1 + 0.5 * quiet))
                if self._better(Rounds(self.job, goal, self.best, self.draw).run(self.watch, spell, self.best)):
                    break
            if self.job.looks == 1 and not self.best.left:
                self._resolve(8)
            quiet = 0 if self.best is not before else quiet + 1

    def _better(self, plan: Plan | None) -> bool:
        if plan is None or rank(self.job, plan) >= rank(self.job, self.best):
            return False
        cheaper = rank(self.job, plan)[:3] < rank(self.job, self.best)[:3]
        self.best = self.current = plan
        self.report(plan, self.bound)
        return cheaper

    def _resolve(self, times: int) -> None:
        """Solve a few sheets again with folded trees; go on from plans that cost no more."""
        for _ in range(times):
            if not self.open:
                return
            count = len(self.current.sheets)
            picked = self.draw.sample(range(count), min(count, self.draw.choice((2, 2, 3))))
            points = max(one.w + one.h for one in self.job.stocks)
            points = min(points, 4000)
            self.watch.spend(count_splits([1] * FOLDED) * points / 0.9e9 + (1 << FOLDED) * 2.5e-4)
            plan = resolve(self.job, self.current, picked, FOLDED, self.draw)
            if cost_of(self.job, plan) <= cost_of(self.job, self.current) + 1e-9:
                self.current = plan
            self._better(plan)

    def one_sheet(self, stock: int, kept: tuple[int, ...]) -> bool:
        """Whether everything goes into one sheet of this stock: yes, no (the bound may rise), or not found."""
        job, one = self.job, self.job.stocks[stock]
        order = [k for k, count in enumerate(job.counts) if count]
        counts = [job.counts[k] for k in order]
        if code_bits(counts) > 64:
            return False
        boxes = [job.choices(one.look)[k] for k in order]
        area = [job.kinds[k].area for k in order]
        total = sum(a * c for a, c in zip(area, counts, strict=True))
        for most in kept:
            if not self.open:
                return False
            found = build(
                boxes, counts, area, one.w, one.h,
                target=total,
                hope=rest_by_area(one.w, one.h, [side for kind in boxes for box in kind for side in box]),
                most=most,
                waste=one.w * one.h - total,
                pairs_limit=max(1e5, self.watch.left / PAIR_SECONDS),
                stop_at_target=True,
                longest=job.longest,
            )  # fmt: skip
            self.watch.spend(found.pairs * PAIR_SECONDS + 1e-3)
            if found.tree is not None:
                tree = renamed(found.tree, order, list(job.choices(one.look)))
                return self._better(plan_of(job, [(stock, tree)]))
            if found.complete:
                return False
        return False


def widen_offcuts(job: Job, plan: Plan, watch: Watch, seed: int, report: Callable[[Plan], object]) -> Plan:
    """The plan with more kept in one piece: the roomiest sheets laid out as short, then as narrow, as can be."""
    best = plan
    order = sorted(
        range(len(plan.sheets)),
        key=lambda i: (
            -biggest_free(plan.sheets[i][1], job.stocks[plan.sheets[i][0]].w, job.stocks[plan.sheets[i][0]].h)
        ),
    )
    for i in order[:2]:
        for across in (False, True):
            if watch.up:
                return best
            stock, tree = best.sheets[i]
            kinds = [node[1] for node in leaves(tree)]
            if len(kinds) < 2:
                continue
            part = watch.part(watch.left / (1 if across else 2))
            frame = _diagonal_job(job) if across else job
            start = _diagonal(tree) if across else tree
            strip = shorten(frame, stock, kinds, part, seed, start)
            watch.spend(part.spent)
            found = _diagonal(strip.tree) if across else strip.tree
            sheets = list(best.sheets)
            sheets[i] = (stock, found)
            trial = Plan(tuple(sheets), best.left)
            if rank(job, trial) < rank(job, best):
                best = trial
                report(best)
    return best


def polish(job: Job, plan: Plan, seed: int) -> Plan:
    """The plan with sheets laid out in fewer or shorter cuts, where that costs nothing the job prefers to it.

    Tries other orders of putting the same pieces on the same sheet: a fixed, small number of them.
    """
    if sum(job.counts) > MOST_MEASURED or plan.left:
        return plan
    draw = random.Random(seed)
    best, best_rank = plan, rank(job, plan)
    for i, (stock, tree) in enumerate(plan.sheets):
        one = job.stocks[stock]
        kinds = [node[1] for node in leaves(tree)]
        choices = job.choices(one.look)
        for _ in range(max(4, POLISH_PLACES // len(kinds) ** 2)):
            draw.shuffle(kinds)
            trial: Tree | None = None
            for kind in kinds:
                trial = put(trial, one.w, one.h, kind, choices, job.longest)
                if trial is None:
                    break
            else:
                assert trial is not None
                sheets = list(best.sheets)
                sheets[i] = (stock, trial)
                other = Plan(tuple(sheets), best.left)
                if rank(job, other) < best_rank:
                    best, best_rank = other, rank(job, other)
    return best


def _diagonal_job(job: Job) -> Job:
    """The job mirrored in the diagonal: width for height everywhere; choices keep their numbers."""
    kinds = tuple(
        replace(kind, choices=tuple(tuple((h, w) for w, h in look) for look in kind.choices)) for kind in job.kinds
    )
    return replace(job, kinds=kinds, stocks=tuple(replace(one, w=one.h, h=one.w) for one in job.stocks))


def _diagonal(tree: Tree) -> Tree:
    op, a, b, w, h = tree
    if op == LEAF:
        return (LEAF, a, b, h, w)
    return (STACK if op == SIDE else SIDE, _diagonal(a), _diagonal(b), h, w)
