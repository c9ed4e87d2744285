"""What the shear search passes around: which sheets, which cutting tree on each, what is left over.

The order of preference lives here, in ``rank``: nothing worth having left out, then cost, then less bought area (so
that offcuts are used first), then less sheet in all, then the largest piece kept whole.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass

from ._guillotine import LEAF, SIDE, Tree, leaves
from .shear_job import Job

__all__ = ["Plan", "biggest_free", "cost_of", "fits", "plan_of", "prices", "rank"]


@dataclass(frozen=True)
class Plan:
    """``sheets`` are (stock, tree) pairs; ``left`` the kinds of the pieces left out, one entry per copy."""

    sheets: tuple[tuple[int, Tree], ...]
    left: tuple[int, ...] = ()


def prices(job: Job) -> list[float]:
    """Price of each stock; 1 each where nothing has a price, so that fewest sheets is cheapest."""
    if any(stock.price > 0 for stock in job.stocks if stock.limit != 0):
        return [stock.price for stock in job.stocks]
    return [1.0] * len(job.stocks)


def cost_of(job: Job, plan: Plan) -> float:
    """Sum of prices of the sheets used."""
    price = prices(job)
    return sum(price[stock] for stock, _ in plan.sheets)


def rank(job: Job, plan: Plan) -> tuple[float, ...]:
    """Less is better, compared left to right."""
    bought = sum(job.stocks[s].area for s, _ in plan.sheets if job.stocks[s].whole)
    every = sum(job.stocks[s].area for s, _ in plan.sheets)
    free = max((biggest_free(tree, job.stocks[s].w, job.stocks[s].h) for s, tree in plan.sheets), default=0)
    return (
        sum(job.kinds[k].worth for k in plan.left),
        sum(job.kinds[k].area for k in plan.left),
        round(cost_of(job, plan), 6),
        bought,
        every,
        -free,
    )


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
