"""What the shear search passes around: which sheets, which cutting tree on each, what is left over.

The order of preference lives here, in ``rank``: nothing worth having left out, then cost, then fewer sheets
bought new (so that offcuts are used first) and less of the rack, then the largest piece kept whole, fewest cuts,
shortest cuts. What comes after cost may be put in another order.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass

from ._guillotine import LEAF, SIDE, Tree, leaves
from .shear_job import Job

__all__ = ["PREFERENCES", "Plan", "biggest_free", "cost_of", "fits", "plan_of", "priced", "prices", "rank"]


MOST_MEASURED = 150  # pieces in a job up to which cuts are counted while searching


@dataclass(frozen=True)
class Plan:
    """``sheets`` are (stock, tree) pairs; ``left`` the kinds of the pieces left out, one entry per copy."""

    sheets: tuple[tuple[int, Tree], ...]
    left: tuple[int, ...] = ()


def priced(job: Job) -> bool:
    """Whether any sheet that there is has a price."""
    return any(stock.price > 0 for stock in job.stocks if stock.limit != 0)


def prices(job: Job) -> list[float]:
    """Price of each stock; 1 each where nothing has a price, so that fewest sheets is cheapest."""
    if priced(job):
        return [stock.price for stock in job.stocks]
    return [1.0] * len(job.stocks)


def cost_of(job: Job, plan: Plan) -> float:
    """Sum of prices of the sheets used."""
    price = prices(job)
    return sum(price[stock] for stock, _ in plan.sheets)


def rank(job: Job, plan: Plan) -> tuple[float, ...]:
    """Less is better, compared left to right: worth and area left out, cost, then the job's order of preference."""
    out: list[float] = [
        sum(job.kinds[k].worth for k in plan.left),
        sum(job.kinds[k].area for k in plan.left),
        round(cost_of(job, plan), 6),
    ]
    for wish in job.wishes.prefer:
        out += PREFERENCES[wish](job, plan)
    return tuple(out)


def _offcuts_first(job: Job, plan: Plan) -> list[float]:
    """Sheets bought new, then area taken from the rack; where nothing has a price, area bought as well."""
    stocks = [job.stocks[s] for s, _ in plan.sheets]
    bought = sum(one.area for one in stocks if one.whole) if not priced(job) else 0
    return [sum(one.whole for one in stocks), sum(one.area for one in stocks if not one.whole), bought]


def _largest_first(job: Job, plan: Plan) -> list[float]:
    """The largest rectangle left whole."""
    return [-max((biggest_free(tree, job.stocks[s].w, job.stocks[s].h) for s, tree in plan.sheets), default=0)]


def _cuts(job: Job, plan: Plan) -> list[float]:
    """How many cuts; not counted in large jobs, where it would take the time of the search."""
    return [_measures(job, plan)[0]]


def _length(job: Job, plan: Plan) -> list[float]:
    """Length of all cuts."""
    return [_measures(job, plan)[1]]


def _measures(job: Job, plan: Plan) -> tuple[float, float]:
    from .shear_cuts import measure  # which lays out plans, so it has to know them first

    if sum(job.counts) > MOST_MEASURED:
        return 0, 0.0
    found = [measure(job, stock, tree) for stock, tree in plan.sheets]
    return sum(cuts for cuts, _ in found), sum(length for _, length in found)


PREFERENCES = {"offcuts": _offcuts_first, "largest": _largest_first, "cuts": _cuts, "length": _length}


def biggest_free(tree: Tree, width: int, height: int) -> int:
    """Area of the largest rectangle that could be cut from the sheet beside the tree's pieces, edge to edge."""
    best = 0
    stack = [(tree, width, height)]
    while stack:
        (op, a, b, w, h), room_w, room_h = stack.pop()
        best = max(best, (room_w - w) * room_h, (room_h - h) * room_w)
        if op != LEAF:
            if op == SIDE:
                stack += [(a, room_w - b[3], room_h), (b, room_w - a[3], room_h)]
            else:
                stack += [(a, room_w, room_h - b[4]), (b, room_w, room_h - a[4])]
    return best


def fits(job: Job, stock: int, tree: Tree) -> bool:
    """Whether the tree, made for this stock's look, lies within it."""
    return tree[3] <= job.stocks[stock].w and tree[4] <= job.stocks[stock].h


def plan_of(job: Job, sheets: list[tuple[int, Tree]]) -> Plan:
    """The plan with these sheets; everything they do not hold is left out."""
    held = Counter(node[1] for _, tree in sheets for node in leaves(tree))
    left = [k for k, count in enumerate(job.counts) for _ in range(count - held[k])]
    return Plan(tuple(sheets), tuple(left))
