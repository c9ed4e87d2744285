"""Which sets of sheets could hold the parts at all, cheapest first: the ladder to climb down, and its lowest rung.

Parts grown by half the gap do not overlap and stay within the usable sheet grown by as much, so their areas cannot
add up to more than the sheets'. No set cheaper than the first whose area suffices can hold the parts: a proven bound.
"""

from __future__ import annotations

import heapq
import math
from collections.abc import Sequence
from itertools import count

from .model import Part, Sheet

__all__ = ["Rank", "part_area", "rank_of", "sheet_area", "sheet_sets"]

# What a set of sheets costs: price, how many sheets, their area. Less is better, in this order.
Rank = tuple[float, int, float]


def rank_of(sheets: Sequence[Sheet]) -> Rank:
    """Price, number and area of a set of sheets."""
    return (
        round(math.fsum(s.price for s in sheets), 6), len(sheets), round(math.fsum(s.area for s in sheets), 3)
    )  # fmt: skip


def part_area(part: Part, gap: float) -> float:
    """Area of the part grown by half the gap, mm2; never too large."""
    return float(part.outline.buffer(gap / 2).area) if gap > 0 else float(part.outline.area)


def sheet_area(sheet: Sheet, gap: float, edge: float) -> float:
    """Area of the usable sheet grown by half the gap, mm2; never too small."""
    usable = sheet.usable(edge)
    if gap > 0 and not usable.is_empty:
        usable = usable.buffer(gap / 2 * 1.01, join_style="mitre")
    return float(usable.area)


def sheet_sets(
    sheets: Sequence[Sheet], needed: float, areas: Sequence[float], *, below: Rank, most: int, pops: int = 20000
) -> tuple[list[list[int]], Rank]:
    """Sets of sheet numbers whose areas reach ``needed``, least rank first, all less than ``below``.

    At most ``most`` of them. Also a rank that no possible set is less than (only its price is a strict bound,
    or its number of sheets where every price is 0).
    """
    kinds = [k for k in range(len(sheets)) if sheets[k].quantity != 0 and areas[k] > 0]
    tick = count()
    heap: list[tuple[Rank, int, tuple[int, ...], float]] = [((0.0, 0, 0.0), next(tick), (), 0.0)]
    found: list[list[int]] = []
    bound: Rank | None = None
    for _ in range(pops):
        if not heap:
            break
        rank, _, chosen, area = heapq.heappop(heap)
        if rank >= below:
            bound = bound or below
            break
        if area >= needed * (1 - 1e-9):
            bound = bound or rank
            found.append(list(chosen))
            if len(found) >= most:
                break
        for k in kinds:
            if chosen and k < chosen[-1]:
                continue
            quantity = sheets[k].quantity
            if quantity is not None and chosen.count(k) >= quantity:
                continue
            after = (*chosen, k)
            heapq.heappush(heap, (rank_of([sheets[i] for i in after]), next(tick), after, area + areas[k]))
    if bound is None:
        bound = heap[0][0] if heap else below
    return found, min(bound, below)
