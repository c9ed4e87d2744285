"""Putting pieces into cutting trees one by one: the quick answer, and the repair step of the search.

A piece may join a tree at any node, on either side or on top of what the node holds, in any of its boxes, as long as
the node stays within its room (see ``_guillotine``). Checking one such place costs two comparisons.
"""

from __future__ import annotations

from collections.abc import Sequence

from ._guillotine import NO_LIMIT, SIDE, STACK, Tree, joined, leaf

__all__ = ["best_spot", "insert", "put"]

Choices = Sequence[Sequence[tuple[int, int]]]
Spot = tuple[int, tuple[int, ...], int, int]  # (score, path to the node, op, choice)


def best_spot(
    tree: Tree, width: int, height: int, boxes: Sequence[tuple[int, int]], longest: int = NO_LIMIT
) -> Spot | None:
    """Where a piece with these boxes goes into the tree best; None if nowhere.

    Best: least growth of the whole tree's rectangle; then the least room left over beside the piece, so that a piece
    takes the hole that it fills. No cut is longer than ``longest``: SIDE nodes stay no taller, STACK nodes no wider.
    """
    best: Spot | None = None
    best_score = 1 << 62
    root_w, root_h = tree[3], tree[4]
    stack: list[tuple[Tree, int, int, tuple[int, ...]]] = [(tree, width, height, ())]
    while stack:
        node, room_w, room_h, path = stack.pop()
        op, a, b, w, h = node
        free_w, free_h = room_w - w, room_h - h
        cut_w, cut_h = (room_w if room_w < longest else longest), (room_h if room_h < longest else longest)
        fits_side, fits_stack = h <= longest, w <= longest
        for choice, (bw, bh) in enumerate(boxes):
            if fits_side and bw <= free_w and bh <= cut_h:
                # grown: how far the node now outgrows what the tree needed before
                wide, tall = w + bw, h if h > bh else bh
                over_w, over_h = wide - (room_w - width + root_w), tall - (room_h - height + root_h)
                new_w = root_w + over_w if over_w > 0 else root_w
                new_h = root_h + over_h if over_h > 0 else root_h
                spare = free_w - bw if free_w - bw < room_h - bh else room_h - bh
                score = (new_w * new_h - root_w * root_h) * 4096 + spare
                if score < best_score:
                    best_score, best = score, (score, path, SIDE, choice)
            if fits_stack and bh <= free_h and bw <= cut_w:
                wide, tall = w if w > bw else bw, h + bh
                over_w, over_h = wide - (room_w - width + root_w), tall - (room_h - height + root_h)
                new_w = root_w + over_w if over_w > 0 else root_w
                new_h = root_h + over_h if over_h > 0 else root_h
                spare = free_h - bh if free_h - bh < room_w - bw else room_w - bw
                score = (new_w * new_h - root_w * root_h) * 4096 + spare
                if score < best_score:
                    best_score, best = score, (score, path, STACK, choice)
        if op == SIDE:
            stack.append((a, room_w - b[3], cut_h, (*path, 1)))
            stack.append((b, room_w - a[3], cut_h, (*path, 2)))
        elif op == STACK:
            stack.append((a, cut_w, room_h - b[4], (*path, 1)))
            stack.append((b, cut_w, room_h - a[4], (*path, 2)))
    return best


def insert(tree: Tree, path: tuple[int, ...], op: int, piece: Tree) -> Tree:
    """The tree with ``piece`` joined to the node at the end of ``path``."""
    if not path:
        return joined(op, tree, piece)
    if path[0] == 1:
        return joined(tree[0], insert(tree[1], path[1:], op, piece), tree[2])
    return joined(tree[0], tree[1], insert(tree[2], path[1:], op, piece))


def put(
    tree: Tree | None, width: int, height: int, kind: int, choices: Choices, longest: int = NO_LIMIT
) -> Tree | None:
    """The tree with a piece of this kind put in at its best spot; None if it does not fit. An empty tree is None."""
    if tree is None:
        for choice, (w, h) in enumerate(choices[kind]):
            if w <= width and h <= height:
                return leaf(kind, choice, choices)
        return None
    spot = best_spot(tree, width, height, choices[kind], longest)
    if spot is None:
        return None
    return insert(tree, spot[1], spot[2], leaf(kind, spot[3], choices))
