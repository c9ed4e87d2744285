"""Solving part of a plan again, exactly: a few sheets, their trees folded into a few solid blocks.

A tree of many pieces is folded: whole branches become single blocks, until no more than a handful are left. The
handful is laid out again by the exact recursion, so every step is the best possible rearrangement of those
blocks. Folding
differently each time reaches what one folding cannot.
"""

from __future__ import annotations

import random
from dataclasses import replace

from ._guillotine import LEAF, SIDE, STACK, Tree, joined
from ._guillotine_exact import FAR, Needs
from .shear_exact import coarse_grid, solve_exact
from .shear_job import Job, Kind
from .shear_plan import Plan, plan_of

__all__ = ["fold", "resolve", "shorter"]


def fold(tree: Tree, most: int, draw: random.Random) -> list[Tree]:
    """Branches of the tree, at most ``most`` of them, that together hold all its leaves."""
    blocks = [tree]
    while len(blocks) < most:
        open_ones = [i for i, block in enumerate(blocks) if block[0] != LEAF]
        if not open_ones:
            break
        i = draw.choice(open_ones)
        blocks[i : i + 1] = [blocks[i][1], blocks[i][2]]
    return blocks


def _turned(tree: Tree, choices: list[tuple[tuple[int, int], ...]]) -> Tree | None:
    """The tree mirrored in the diagonal, if every leaf may be turned."""
    op, a, b, w, h = tree
    if op == LEAF:
        return (LEAF, a, choices[a].index((h, w)), h, w) if (h, w) in choices[a] else None
    a, b = _turned(a, choices), _turned(b, choices)
    if a is None or b is None:
        return None
    return (STACK if op == SIDE else SIDE, a, b, h, w)


def _faces(block: Tree, choices: list[tuple[tuple[int, int], ...]]) -> list[Tree]:
    """The block in every box it may have: a single piece in all its own, a branch as it is and turned."""
    if block[0] == LEAF:
        return [(LEAF, block[1], i, w, h) for i, (w, h) in enumerate(choices[block[1]])]
    turned = _turned(block, choices) if block[3] != block[4] else None
    return [block] if turned is None else [block, turned]


def _unfold(tree: Tree, faces: list[list[Tree]]) -> Tree:
    if tree[0] == LEAF:
        return faces[tree[1]][tree[2]]
    return joined(tree[0], _unfold(tree[1], faces), _unfold(tree[2], faces))


def resolve(job: Job, plan: Plan, picked: list[int], most: int, draw: random.Random) -> Plan:
    """The plan with the picked sheets laid out again as cheaply as their folded blocks allow.

    All sheets of the plan keep within the stock's limits. Only plans of one look.
    """
    choices = job.choices(0)
    share = max(1, most // len(picked))
    blocks: list[Tree] = []
    for i in picked:
        blocks += fold(plan.sheets[i][1], share, draw)
    faces = [_faces(block, choices) for block in blocks]
    kinds = tuple(
        Kind((tuple((face[3], face[4]) for face in mine),), (0,), 0.0, mine[0][3] * mine[0][4]) for mine in faces
    )
    rest = [plan.sheets[i] for i in range(len(plan.sheets)) if i not in picked]
    used = [0] * len(job.stocks)
    for stock, _ in rest:
        used[stock] += 1
    stocks = tuple(
        replace(one, limit=None if one.limit is None else max(0, one.limit - used[s]))
        for s, one in enumerate(job.stocks)
    )
    found = solve_exact(replace(job, stocks=stocks, kinds=kinds)).plan
    if found.left:
        return plan
    return plan_of(job, rest + [(stock, _unfold(tree, faces)) for stock, tree in found.sheets])


def shorter(
    tree: Tree,
    width: int,
    height: int,
    choices: list[tuple[tuple[int, int], ...]],
    most: int,
    draw: random.Random,
    longest: int,
) -> Tree:
    """The same pieces in width x height, stacked no higher than before: the least height the folded blocks allow."""
    blocks = fold(tree, most, draw)
    faces = [_faces(block, choices) for block in blocks]
    grid = coarse_grid([(width, height)])
    boxes = [[(-(-face[3] // grid), -(-face[4] // grid)) for face in mine] for mine in faces]
    needs = Needs(boxes, [1] * len(boxes), max(1, width // grid), max(1, -(-height // grid)), longest=longest // grid)
    full = needs.states - 1
    least = needs.height_for(full, needs.width)
    if least >= FAR:
        return tree
    found = _unfold(needs.tree(full, needs.width, least), faces)
    return found if found[3] <= width and found[4] <= tree[4] else tree
