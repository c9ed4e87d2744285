"""Improving a shear plan until the time is up: take pieces out, put them back better, with one sheet less.

Words used here
    pool     pieces that lie on no sheet at the moment
    set      the sheets a round works on, as stock numbers; a cheaper set than the best plan's is the goal
    ruin     take some pieces out of one or two sheets
    recreate put the pool back, large ones first with some luck, each at its best spot

A round that empties the pool has found a cheaper plan. The search follows its own count of work, not a clock, so the
same input and seed give the same plan; a clock only stops it when the machine is much slower than foreseen.
"""

from __future__ import annotations

import math
import random
import time
from collections.abc import Iterator

from ._guillotine import Tree, leaf, leaves, without
from ._guillotine_greedy import best_spot, insert, put
from .shear_job import Job
from .shear_plan import Plan, cost_of, fits, plan_of, priced, prices

__all__ = ["Rounds", "Watch", "area_bound", "cheaper_sets", "greedy_plans"]

NODE_SECONDS = 1.1e-6  # one node looked at by best_spot; measured on a 2-core machine, Python 3.11
ROUND_SECONDS = 6e-5  # what one round costs besides
MOST_TRIES = 20_000  # sets of sheets looked at for the bound by area
CPU_OVERRUN, WALL_OVERRUN = 1.5, 3.0  # a clock stops the search at these times the seconds asked for, and a bit


class Watch:
    """Counts foreseen seconds of work against a limit; ``up`` when it is spent or the machine is far too slow."""

    def __init__(self, seconds: float) -> None:
        self.seconds, self.spent = seconds, 0.0
        self._cpu_stop = time.process_time() + CPU_OVERRUN * seconds + 1.0
        self._wall_stop = time.monotonic() + WALL_OVERRUN * seconds + 2.0

    def spend(self, seconds: float) -> None:
        """Note work done."""
        self.spent += seconds

    @property
    def up(self) -> bool:
        """Whether to stop."""
        return self.spent >= self.seconds or time.process_time() > self._cpu_stop or time.monotonic() > self._wall_stop

    def part(self, seconds: float) -> Watch:
        """A watch for a part of the work; its ``spent`` still has to be noted here."""
        child = Watch(min(seconds, self.left))
        child._cpu_stop = min(child._cpu_stop, self._cpu_stop)
        child._wall_stop = min(child._wall_stop, self._wall_stop)
        return child

    @property
    def left(self) -> float:
        """Foreseen seconds left."""
        return max(0.0, self.seconds - self.spent)


def area_bound(job: Job) -> float:
    """A cost that no plan of the whole job can beat.

    The largest of: whole sheets whose areas come to the area of all pieces; each piece's area at the best rate of a
    sheet that holds it; the sheets of pieces of which no two can share one.
    """
    price = prices(job)
    total = sum(kind.area * len(kind.parts) for kind in job.kinds)
    holders = [
        [s for s, one in enumerate(job.stocks) if one.limit != 0 and _holds(job, k, s)] for k in range(len(job.kinds))
    ]
    if not job.kinds or not all(holders):
        return 0.0
    each = [min(price[s] for s in mine) for mine in holders]
    apart = sum(each[k] for k in _loners(job))
    sizes = [(one.area, price[s], one.limit) for s, one in enumerate(job.stocks) if one.area > 0 and one.limit != 0]
    rates = _by_rates(job, price, holders)
    return max(_fewest_by_area(sizes, total), rates, apart, max(each))


def _by_rates(job: Job, price: list[float], holders: list[list[int]]) -> float:
    """Area of the pieces at the best rate each can have; what limited sheets can hold at most saves its best rate."""
    spared, most = 0, 0.0
    cost = 0.0
    for kind, mine in zip(job.kinds, holders, strict=True):
        endless = [price[s] / job.stocks[s].area for s in mine if job.stocks[s].limit is None]
        rate = min(endless, default=0.0)
        cost += rate * kind.area * len(kind.parts)
        most = max(most, rate)
    for one in job.stocks:
        spared += one.area * (one.limit or 0)
    cost = max(0.0, cost - spared * most)
    if all(p == round(p) for p in price):
        step = math.gcd(*(round(p) for p in price)) or 1
        cost = step * math.ceil(cost / step - 1e-9)
    return cost


def _fewest_by_area(sizes: list[tuple[int, float, int | None]], need: int) -> float:
    """Least cost of whole sheets of these (area, price, limit) covering ``need``; by fractions if they are many.

    If all together do not cover it, pieces will be left out, and nothing is said: 0.
    """
    ordered = sorted(sizes, key=lambda size: size[1] / size[0])
    if not any(limit is None for _, _, limit in sizes) and sum(a * (n or 0) for a, _, n in sizes) < need:
        return 0.0
    best, tries = math.inf, 0

    def fraction(i: int, need: int) -> float:
        cost = 0.0
        for area, price, limit in ordered[i:]:
            part = need if limit is None else min(need, area * limit)
            cost += price * part / area
            need -= part
            if need <= 0:
                return cost
        return math.inf

    def go(i: int, need: int, cost: float) -> None:
        nonlocal best, tries
        tries += 1
        if need <= 0:
            best = min(best, cost)
            return
        if tries > MOST_TRIES or i == len(ordered) or cost + fraction(i, need) >= best - 1e-9:
            return
        area, price, limit = ordered[i]
        top = -(-need // area) if limit is None else min(limit, -(-need // area))
        for count in range(top, -1, -1):
            go(i + 1, need - count * area, cost + count * price)

    go(0, need, 0.0)
    return best if tries <= MOST_TRIES else fraction(0, need)


def _holds(job: Job, kind: int, stock: int) -> bool:
    one = job.stocks[stock]
    return any(w <= one.w and h <= one.h for w, h in job.kinds[kind].choices[one.look])


def _loners(job: Job) -> list[int]:
    """Pieces of which no two can share a sheet of any size, as many as a greedy choice finds."""
    pieces = [k for k in range(len(job.kinds)) for _ in job.kinds[k].parts]
    chosen: list[int] = []
    can_pair: dict[tuple[int, int], bool] = {}
    for k in pieces:
        for other in chosen:
            key = (min(k, other), max(k, other))
            if key not in can_pair:
                can_pair[key] = _pair(job, *key)
            if can_pair[key]:
                break
        else:
            chosen.append(k)
    return chosen


def _pair(job: Job, a: int, b: int) -> bool:
    for one in job.stocks:
        if one.limit == 0:
            continue
        for aw, ah in job.kinds[a].choices[one.look]:
            for bw, bh in job.kinds[b].choices[one.look]:
                beside = max(ah, bh) <= one.h and aw + bw <= one.w
                if beside or (max(aw, bw) <= one.w and ah + bh <= one.h):
                    return True
    return False


def greedy_plans(job: Job) -> Iterator[Plan]:
    """Plans put together piece by piece: every open-ended sheet size on its own, limited sheets first and not."""
    price = prices(job)
    limited = [s for s, one in enumerate(job.stocks) if one.limit]
    limited.sort(key=lambda s: (price[s] / max(job.stocks[s].area, 1), job.stocks[s].area))
    endless = [s for s, one in enumerate(job.stocks) if one.limit is None]
    endless.sort(key=lambda s: (price[s] / max(job.stocks[s].area, 1), -job.stocks[s].area))
    pieces = [k for k, kind in enumerate(job.kinds) for _ in kind.parts]
    orders = [
        sorted(pieces, key=lambda k: (-job.kinds[k].worth, -job.kinds[k].area, k)),
        sorted(pieces, key=lambda k: (-job.kinds[k].worth, -max(max(b) for b in job.kinds[k].choices[0]), k)),
    ]
    for order in orders:
        for tail in [[s] for s in endless] or [[]]:
            for head in [limited, []] if limited and endless else [limited]:
                spare = [s for s in head for _ in range(min(job.stocks[s].limit or 0, len(pieces)))]
                yield _greedy(job, order, spare, tail, endless)


def _greedy(job: Job, order: list[int], spare: list[int], tail: list[int], endless: list[int]) -> Plan:
    sheets: list[tuple[int, Tree]] = []
    free: list[int] = []
    spare = list(spare)
    for kind in order:
        for i, (stock, tree) in enumerate(sheets):
            if free[i] < job.kinds[kind].area:
                continue
            one = job.stocks[stock]
            grown = put(tree, one.w, one.h, kind, job.choices(one.look), job.longest)
            if grown is not None:
                sheets[i] = (stock, grown)
                free[i] -= job.kinds[kind].area
                break
        else:
            for stock in [*spare, *tail, *endless]:
                one = job.stocks[stock]
                grown = put(None, one.w, one.h, kind, job.choices(one.look))
                if grown is not None:
                    if stock in spare:
                        spare.remove(stock)
                    sheets.append((stock, grown))
                    free.append(one.area - job.kinds[kind].area)
                    break
    return cheaper_sheets(job, plan_of(job, sheets))


def cheaper_sheets(job: Job, plan: Plan) -> Plan:
    """The plan with every tree moved to the cheapest sheet that holds it as it is."""
    price = prices(job)
    used = [0] * len(job.stocks)
    for stock, _ in plan.sheets:
        used[stock] += 1
    out = []
    for stock, tree in plan.sheets:
        best = stock
        for s, one in enumerate(job.stocks):
            if one.look != job.stocks[stock].look or not fits(job, s, tree):
                continue
            if s != stock and one.limit is not None and used[s] >= one.limit:
                continue
            if _cheaper_key(job, price, s) < _cheaper_key(job, price, best):
                best = s
        used[stock] -= 1
        used[best] += 1
        out.append((best, tree))
    return Plan(tuple(out), plan.left)


def _cheaper_key(job: Job, price: list[float], stock: int) -> tuple[float, bool, int]:
    """Price first, then offcuts before new sheets; of new sheets at one price the largest, of offcuts the smallest."""
    one = job.stocks[stock]
    return price[stock], one.whole, -one.area if one.whole and priced(job) else one.area


def cheaper_sets(job: Job, best: Plan, bound: float, draw: random.Random) -> list[list[int]]:
    """Sets of sheets cheaper than the best plan's (or the same, where pieces are left out), the roomiest first."""
    current = sorted(stock for stock, _ in best.sheets)
    if best.left:
        full = [s for s, one in enumerate(job.stocks) for _ in range(min(one.limit or 0, sum(job.counts)))]
        return [full]
    price = prices(job)
    cost = cost_of(job, best)
    need = sum(kind.area * len(kind.parts) for kind in job.kinds)
    top = [
        one.limit if one.limit is not None else int(cost / price[s]) if price[s] > 0 else len(current)
        for s, one in enumerate(job.stocks)
    ]
    sets: list[tuple[float, list[int]]] = []

    def go(s: int, chosen: list[int], cost_so_far: float, area: int) -> None:
        if len(sets) > 4000 or cost_so_far >= cost - 1e-9:
            return
        if s == len(job.stocks):
            if area >= need and cost_so_far >= bound - 1e-9:
                sets.append((area, chosen))
            return
        for count in range(top[s] + 1):
            go(s + 1, chosen + [s] * count, cost_so_far + count * price[s], area + count * job.stocks[s].area)

    go(0, [], 0.0, 0)
    sets.sort(key=lambda item: (-item[0], len(item[1]), item[1]))
    roomy = sets[:40]
    if len(roomy) > 3:
        head, tail = roomy[:3], roomy[3:]
        draw.shuffle(tail)
        roomy = head + tail[:9]
    return [chosen for _, chosen in roomy]


class Rounds:
    """Ruin and recreate on a fixed set of sheets until the pool is empty."""

    def __init__(self, job: Job, goal: list[int], start: Plan, draw: random.Random) -> None:
        self.job, self.draw = job, draw
        self.stocks = list(goal)
        self.trees: list[Tree | None] = [None] * len(goal)
        self.choices = [job.choices(job.stocks[s].look) for s in goal]
        self.area = [kind.area for kind in job.kinds]
        self.pool: list[int] = []
        self.nodes = 0
        self._adopt(start)

    def _adopt(self, start: Plan) -> None:
        """Keep what the start plan has on sheets that the set has too, fullest first; the rest goes to the pool."""
        free = list(range(len(self.stocks)))
        full = sorted(start.sheets, key=lambda item: -sum(self.area[n[1]] for n in leaves(item[1])))
        self.pool = list(start.left)
        for stock, tree in full:
            spot = next((i for i in free if self.stocks[i] == stock), None)
            if spot is None:
                spot = next(
                    (
                        i
                        for i in free
                        if self.job.stocks[self.stocks[i]].look == self.job.stocks[stock].look
                        and fits(self.job, self.stocks[i], tree)
                    ),
                    None,
                )
            if spot is None:
                self.pool += [node[1] for node in leaves(tree)]
            else:
                free.remove(spot)
                self.trees[spot] = tree
        self.trees, self.pool = self._recreate(self.trees, self.pool, list(range(len(self.stocks))), 0.0)

    def run(self, watch: Watch, seconds: float, best: Plan) -> Plan | None:
        """A plan with an empty pool, or with less left out than ``best`` where that has something left out."""
        leftover = self._leftover(best.left) if best.left else None
        now = self._leftover(self.pool)
        lowest = now
        spent = 0.0
        heat = 0.02 * sum(self.area) / max(1, len(self.area))
        found: Plan | None = None
        while spent < seconds and not watch.up:
            self.nodes = 0
            trees, pool = self._round()
            score = self._leftover(pool)
            cost = ROUND_SECONDS + self.nodes * NODE_SECONDS
            spent += cost
            watch.spend(cost)
            share = 1.0 - spent / seconds
            if score[0] <= now[0] and score[1] <= now[1] + heat * share * self.draw.expovariate(1.0):
                self.trees, self.pool, now = trees, pool, score
                if score < lowest:
                    lowest = score
                    if not pool:
                        return self._plan()
                    if leftover is not None and score < leftover:
                        leftover, found = score, self._plan()
        return found

    def _leftover(self, pool: tuple[int, ...] | list[int]) -> tuple[float, float]:
        return (
            round(sum(self.job.kinds[k].worth for k in pool), 9),
            float(sum(self.area[k] for k in pool)),
        )

    def _plan(self) -> Plan:
        sheets = [(s, t) for s, t in zip(self.stocks, self.trees, strict=True) if t is not None]
        return cheaper_sheets(self.job, plan_of(self.job, sheets))

    def _round(self) -> tuple[list[Tree | None], list[int]]:
        draw = self.draw
        count = len(self.stocks)
        trees, pool = list(self.trees), list(self.pool)
        picked = draw.sample(range(count), min(count, 1 + (draw.random() < 0.6) + (draw.random() < 0.2)))
        for i in picked:
            tree = trees[i]
            if tree is None:
                continue
            held = [node[1] for node in leaves(tree)]
            much = draw.random()
            gone = {j for j in range(len(held)) if draw.random() < 0.1 + 0.7 * much}
            if not gone:
                gone = {draw.randrange(len(held))}
            pool += [held[j] for j in gone]
            trees[i] = without(tree, gone)
        return self._recreate(trees, pool, picked, 0.25)

    def _recreate(
        self, trees: list[Tree | None], pool: list[int], first: list[int], luck: float
    ) -> tuple[list[Tree | None], list[int]]:
        draw = self.draw
        weight = {k: self.area[k] for k in pool}
        order = sorted(pool, key=lambda k: -weight[k] * (1.0 + luck * (draw.random() - 0.5) * 2))
        order.sort(key=lambda k: -self.job.kinds[k].worth)
        left: list[int] = []
        trees = list(trees)
        others = [i for i in range(len(trees)) if i not in first]
        for kind in order:
            if not self._place(trees, kind, first, luck) and not self._place(trees, kind, others, luck):
                left.append(kind)
        return trees, left

    def _place(self, trees: list[Tree | None], kind: int, where: list[int], luck: float) -> bool:
        best: tuple[tuple[int, tuple[int, ...], int, int], int] | None = None
        for i in where:
            tree, one = trees[i], self.job.stocks[self.stocks[i]]
            boxes = self.choices[i][kind]
            if tree is None:
                if best is None:
                    for choice, (w, h) in enumerate(boxes):
                        if w <= one.w and h <= one.h:
                            best = ((1 << 60, (), 0, choice), i)
                            if self.draw.random() < 0.5:
                                break
                continue
            spot = best_spot(tree, one.w, one.h, boxes, self.job.longest)
            self.nodes += 8
            if (
                spot is not None
                and (best is None or spot[0] < best[0][0])
                and not (luck and best is not None and self.draw.random() < 0.1)
            ):
                best = (spot, i)
        if best is None:
            return False
        (_, path, op, choice), i = best
        piece = leaf(kind, choice, self.choices[i])
        tree = trees[i]
        trees[i] = piece if tree is None else insert(tree, path, op, piece)
        return True
