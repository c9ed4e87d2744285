"""Cutting trees: layouts that come apart by straight cuts from edge to edge.

Words used here
    box      the size of a piece as laid, (w, h), whole units, gap included (see ``shear_job`` for
    the units) choices  the boxes a kind of piece may have, one per allowed turn, none larger than
    another both ways kind     pieces with the same choices; a tree does not care which of them it
    holds tree     ``(LEAF, kind, choice, w, h)`` one piece; ``(SIDE, a, b, w, h)`` a left of b;
    ``(STACK, a, b, w, h)``
             a below b. w and h are the least rectangle it needs: widths add and heights are shared
             in SIDE, the other way in STACK.
    room     the largest rectangle that a node could grow to while the whole tree stays in its sheet

Every tree can be cut edge to edge, by construction: first between its two branches, then each
branch. Trees are nested tuples, so they compare, hash and never change under anyone's hands.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

__all__ = [
    "LEAF",
    "NO_LIMIT",
    "SIDE",
    "STACK",
    "Tree",
    "joined",
    "laid",
    "leaf",
    "leaves",
    "remade",
    "separate",
    "without",
]

SIDE, STACK, LEAF = 0, 1, 2
NO_LIMIT = 1 << 40  # a longest cut that never binds
Tree = tuple  # (op, a, b, w, h); mypy has no recursive tuple worth reading
Choices = Sequence[Sequence[tuple[int, int]]]


def leaf(kind: int, choice: int, choices: Choices) -> Tree:
    """A tree of one piece."""
    w, h = choices[kind][choice]
    return (LEAF, kind, choice, w, h)


def joined(op: int, a: Tree, b: Tree) -> Tree:
    """Two trees side by side or one on the other."""
    if op == SIDE:
        return (SIDE, a, b, a[3] + b[3], a[4] if a[4] > b[4] else b[4])
    return (STACK, a, b, a[3] if a[3] > b[3] else b[3], a[4] + b[4])


def leaves(tree: Tree) -> Iterator[Tree]:
    """Every leaf, left to right and bottom to top."""
    if tree[0] == LEAF:
        yield tree
    else:
        yield from leaves(tree[1])
        yield from leaves(tree[2])


def laid(tree: Tree, x: float = 0, y: float = 0) -> Iterator[tuple[Tree, float, float]]:
    """(leaf, x, y) of every leaf, pushed towards the lower left corner."""
    op, a, b = tree[:3]
    if op == LEAF:
        yield tree, x, y
        return
    yield from laid(a, x, y)
    if op == SIDE:
        yield from laid(b, x + a[3], y)
    else:
        yield from laid(b, x, y + a[4])


def remade(tree: Tree, choices: Choices) -> Tree:
    """The same tree with the boxes of its leaves looked up again, say in finer units."""
    if tree[0] == LEAF:
        return leaf(tree[1], tree[2], choices)
    return joined(tree[0], remade(tree[1], choices), remade(tree[2], choices))


def without(tree: Tree, gone: set[int], _count: list[int] | None = None) -> Tree | None:
    """The tree with the leaves of these numbers (left to right, from 0) taken out; None if nothing is left."""
    count = [0] if _count is None else _count
    op, a, b = tree[:3]
    if op == LEAF:
        count[0] += 1
        return None if count[0] - 1 in gone else tree
    a, b = without(a, gone, count), without(b, gone, count)
    if a is None or b is None:
        return a if b is None else b
    return joined(op, a, b)


def within_limit(tree: Tree, longest: int) -> bool:
    """Whether no cut of the tree is longer than ``longest``."""
    op, a, b, w, h = tree
    if op == LEAF:
        return True
    return (h if op == SIDE else w) <= longest and within_limit(a, longest) and within_limit(b, longest)


def separate(rects: Sequence[tuple[float, float, float, float, Tree]], tolerance: float = 0) -> Tree | None:
    """A cutting tree for rectangles as they lie, or None if no row of edge-to-edge cuts sets them apart.

    ``rects`` are (x0, y0, x1, y1, leaf). Two rectangles may overlap by up to ``tolerance``. It is
    enough to try any one cut at each step: a cut that goes through between the pieces never takes
    another one away, since it only shortens the cuts that cross it.
    """
    if len(rects) == 1:
        return rects[0][4]
    for op, low, high in ((SIDE, 0, 2), (STACK, 1, 3)):
        groups = _bands(rects, low, high, tolerance)
        if len(groups) > 1:
            trees = [separate(group, tolerance) for group in groups]
            tree = trees[0]
            for other in trees[1:]:
                if tree is None or other is None:
                    return None
                tree = joined(op, tree, other)
            return tree
    return None


def _bands(rects: Sequence[tuple], low: int, high: int, tolerance: float) -> list[list[tuple]]:
    """Groups of rectangles between the cuts that go right through, along one direction."""
    groups: list[list[tuple]] = []
    reach = 0.0
    for rect in sorted(rects, key=lambda rect: (rect[low], rect[high])):
        if not groups or rect[low] >= reach - tolerance:
            groups.append([])
            reach = rect[high]
        groups[-1].append(rect)
        reach = max(reach, rect[high])
    return groups
