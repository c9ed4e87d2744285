"""Quick layouts from rectpack, behind our own types: a first answer and a second opinion.

rectpack's guillotine algorithms sometimes return sheets that no edge-to-edge cuts set apart (about 3 in 100, measured
on random sets), so every sheet is taken apart by ``separate`` and the whole layout dropped if one of them is not.
"""

from __future__ import annotations

import random
from collections.abc import Callable, Iterator

from ._guillotine import Tree, leaf, separate, within_limit
from .shear_job import Job
from .shear_plan import Plan, plan_of, prices, rank

__all__ = ["quick_plan", "quick_plans"]


def quick_plan(
    job: Job, *, tries: int = 24, seed: int = 0, out_of_time: Callable[[], bool] | None = None
) -> Plan | None:
    """The best of ``tries`` rectpack layouts that can be cut edge to edge; None if there was none."""
    best: Plan | None = None
    for plan in quick_plans(job, tries=tries, seed=seed):
        if best is None or rank(job, plan) < rank(job, best):
            best = plan
        if out_of_time is not None and out_of_time():
            break
    return best


def quick_plans(job: Job, *, tries: int, seed: int) -> Iterator[Plan]:
    """Layouts of the whole job from rectpack, several rules, orders and sheet orders; separable ones only."""
    import rectpack  # here because it is only wanted in shear mode

    rules = [
        rectpack.GuillotineBssfSas,
        rectpack.GuillotineBafSas,
        rectpack.GuillotineBlsfSas,
        rectpack.GuillotineBssfLas,
        rectpack.GuillotineBafLas,
        rectpack.GuillotineBssfMinas,
        rectpack.MaxRectsBssf,
        rectpack.MaxRectsBl,
    ]
    sorts = [rectpack.SORT_AREA, rectpack.SORT_LSIDE, rectpack.SORT_SSIDE, rectpack.SORT_PERI]
    draw = random.Random(seed)
    orders = _sheet_orders(job)
    for i in range(tries):
        rule = rules[i % len(rules)]
        sort = sorts[(i // len(rules)) % len(sorts)]
        order = orders[i % len(orders)]
        mode = rectpack.PackingBin.BBF if i % 2 else rectpack.PackingBin.BFF
        plan = _one(job, rule, sort, order, mode, draw if i >= len(rules) else None)
        if plan is not None:
            yield plan


def _sheet_orders(job: Job) -> list[list[int]]:
    """Sheets to offer first: what is in limited number and cheap, then one open-ended size; every size gets its
    turn."""
    price = prices(job)
    limited = [s for s, one in enumerate(job.stocks) if one.limit]
    limited.sort(key=lambda s: (price[s] / max(job.stocks[s].area, 1), -job.stocks[s].area))
    endless = [s for s, one in enumerate(job.stocks) if one.limit is None]
    endless.sort(key=lambda s: (price[s] / max(job.stocks[s].area, 1), -job.stocks[s].area))
    if not endless:
        return [limited]
    return [[*limited, s] for s in endless] + ([[s] for s in endless] if limited else [])


def _one(job: Job, rule, sort, order: list[int], mode, draw: random.Random | None) -> Plan | None:
    import rectpack

    looks = {job.stocks[s].look for s in order}
    look = looks.pop()
    if looks:  # rectpack knows one size per rectangle: only sheets that share a look
        order = [s for s in order if job.stocks[s].look == look]
    choices = job.choices(look)
    free = all((h, w) in boxes for boxes in choices for w, h in boxes)
    packer = rectpack.newPacker(rectpack.PackingMode.Offline, mode, pack_algo=rule, sort_algo=sort, rotation=free)
    total = sum(job.counts)
    for s in order:
        one = job.stocks[s]
        if one.w > 0 and one.h > 0:
            packer.add_bin(one.w, one.h, count=total if one.limit is None else min(one.limit, total), bid=s)
    for kind, boxes in enumerate(choices):
        for _ in range(job.counts[kind]):
            w, h = boxes[draw.randrange(len(boxes))] if draw and not free else boxes[0]
            packer.add_rect(w, h, rid=kind)
    packer.pack()
    sheets: list[tuple[int, Tree]] = []
    for one_bin in packer:
        rects = []
        for rect in one_bin:
            kind = rect.rid
            box = (rect.width, rect.height)
            if box not in choices[kind]:
                return None
            piece = leaf(kind, choices[kind].index(box), choices)
            rects.append((rect.x, rect.y, rect.x + box[0], rect.y + box[1], piece))
        if rects:
            tree = separate(rects)
            if tree is None or not within_limit(tree, job.longest):
                return None
            sheets.append((one_bin.bid, tree))
    return plan_of(job, sheets)
