"""Blocks built up from pieces, keeping only those that can still be part of a good enough sheet.

Words used here
    block    pieces joined by cuts into a rectangle: how many of each kind, width, height, worth
    code     the counts of all kinds packed into one 64-bit number, a guard bit above each field
    hope     worth of the block plus the most that the rest of the sheet could ever add
    target   hope below it and the block is dropped
    level    blocks of the same number of pieces

Level k is every join of level i with level k - i. If no level had to be cut down to ``most`` blocks, the result is
exact: either the best there is, or proof that nothing reaches the target. With the worth of a piece its area
and the target the area of all pieces, this decides whether they fit a sheet, and the fuller the sheet the faster.

Building blocks bottom up under a bound on what the rest can add follows Wang (Operations Research 31, 1983,
573-586) and Viswanathan and Bagchi (Operations Research 41, 1993, 768-776); volumes and pages from memory,
not verified.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ._guillotine import NO_LIMIT, SIDE, STACK, Tree, joined, leaf

__all__ = ["Blocks", "Found", "build", "code_bits", "rest_by_area"]

PAIRS_AT_ONCE = 1 << 20
SHAKE = 0.02  # how much luck may add to a block's promise; tuned by eye on the strip benchmarks
Hope = Callable[[NDArray[np.int64], NDArray[np.int64]], NDArray[np.float64]]


@dataclass
class Blocks:
    """One level, struct of arrays. ``first`` and ``second`` are (level, row) of what each was joined from."""

    code: NDArray[np.uint64]
    w: NDArray[np.int64]
    h: NDArray[np.int64]
    worth: NDArray[np.float64]
    op: NDArray[np.int8]
    first: NDArray[np.int32]
    second: NDArray[np.int32]

    def __len__(self) -> int:
        return len(self.w)

    def take(self, rows: NDArray) -> Blocks:
        """Some rows."""
        return Blocks(*(getattr(self, name)[rows] for name in self.__dataclass_fields__))


@dataclass(frozen=True)
class Found:
    """The best tree that reached the target (None: none did), its worth, and whether that is proven best."""

    tree: Tree | None
    worth: float
    complete: bool
    pairs: int


def code_bits(counts: Sequence[int]) -> int:
    """Bits that the packed counts take; ``build`` needs at most 64."""
    return sum(int(count).bit_length() + 1 for count in counts)


def rest_by_area(width: int, height: int, sides: Sequence[int], best_rate: float = 1.0) -> Hope:
    """Hope of the rest of the sheet by area alone, less the strips beside a block that no sum of sides can fill.

    ``sides`` are all side lengths a piece may show; a block of width w leaves width - w beside it, of which only the
    largest sum of sides can be used.
    """
    usable_w, usable_h = _sums(sides, width), _sums(sides, height)

    def hope(w: NDArray[np.int64], h: NDArray[np.int64]) -> NDArray[np.float64]:
        wide = (width - usable_w[width - w]) * h
        tall = w * (height - usable_h[height - h])
        # Both at once would count a corner twice: only the larger of the two is sure.
        return (width * height - np.maximum(wide, tall)) * best_rate

    return hope


def _sums(sides: Sequence[int], top: int) -> NDArray[np.int64]:
    """For each length up to ``top`` the largest sum of sides (each any number of times) that is no longer."""
    reach = np.zeros(top + 1, dtype=bool)
    reach[0] = True
    for side in sorted(set(sides)):
        for start in range(side, top + 1, side):
            reach[start : start + side] |= reach[start - side : start][: len(reach[start : start + side])]
    return np.maximum.accumulate(np.where(reach, np.arange(top + 1), 0))


class _Codes:
    """Packing of counts and the test that two blocks together do not use more than there is."""

    def __init__(self, counts: Sequence[int]) -> None:
        assert code_bits(counts) <= 64
        self.one: list[int] = []
        guard = slack = shift = 0
        for count in counts:
            bits = int(count).bit_length()
            self.one.append(1 << shift)
            slack += ((1 << bits) - 1 - count) << shift
            guard |= 1 << (shift + bits)
            shift += bits + 1
        self.guard, self.slack = np.uint64(guard), np.uint64(slack)

    def allowed(self, total: NDArray[np.uint64]) -> NDArray[np.bool_]:
        """Which sums of two codes stay within the counts."""
        return ((total + self.slack) & self.guard) == 0


def build(
    choices: Sequence[Sequence[tuple[int, int]]],
    counts: Sequence[int],
    worth: Sequence[float],
    width: int,
    height: int,
    *,
    target: float,
    hope: Hope,
    most: int,
    waste: int | None = None,
    pairs_limit: float = 4e8,
    stop_at_target: bool = False,
    luck: np.random.Generator | None = None,
    longest: int = NO_LIMIT,
) -> Found:
    """The most worth of pieces cut from width x height, if it reaches ``target``.

    ``hope(w, h)`` is the most that the sheet can add to a block of this size. ``waste`` may give the most
    wasted area a
    block may hold where worth is area: neighbours of very different size are then not even looked at.
    ``most`` blocks are kept per level, ``pairs_limit`` pairs looked at in all; beyond either it is no proof.
    ``stop_at_target`` takes the first block that reaches the target. ``luck`` shakes the choice of which blocks
    a crowded level keeps, so that another try sees others. No cut is longer than ``longest``.
    """
    codes = _Codes(counts)
    levels: list[Blocks] = [_nothing()]
    best: tuple[float, int, int] | None = None
    complete, pairs = True, 0
    total = sum(counts)
    for k in range(1, total + 1):
        made = [_singles(choices, codes, worth, width, height)] if k == 1 else []
        for i in range(1, k // 2 + 1):
            a, b = levels[i], levels[k - i]
            if not len(a) or not len(b):
                continue
            for op in (SIDE, STACK):
                seen, joins = _join(a, b, i, k - i, op, codes, width, height, target, hope, waste, longest)
                pairs += seen
                made += joins
            if pairs > pairs_limit:
                complete = False
                break
        level = _tidy(made)
        keep = level.worth + hope(level.w, level.h) >= target - 1e-6
        level = level.take(np.flatnonzero(keep))
        if len(level):
            top = int(level.worth.argmax())
            if level.worth[top] >= target - 1e-6 and (best is None or level.worth[top] > best[0]):
                best = (float(level.worth[top]), k, top)
                target = max(target, best[0] if stop_at_target else best[0] + 1e-3)
        if len(level) > most:
            complete = False
            promise = level.worth + hope(level.w, level.h) if waste is None else level.worth / (level.w * level.h)
            if luck is not None:
                promise = promise * (1.0 + SHAKE * luck.standard_exponential(len(promise)))
            order = np.argsort(-promise, kind="stable")[:most]
            if best is not None and best[1] == k:
                order = np.concatenate([[best[2]], order[order != best[2]]])
                best = (best[0], k, 0)
            level = level.take(order)
        levels.append(level)
        if (best is not None and stop_at_target) or (pairs > pairs_limit):
            break
    tree = None if best is None else _tree(levels, best[1], best[2], choices, codes)
    return Found(tree, best[0] if best else 0.0, complete and pairs <= pairs_limit, pairs)


def _nothing() -> Blocks:
    return Blocks(
        np.zeros(0, np.uint64),
        np.zeros(0, np.int64),
        np.zeros(0, np.int64),
        np.zeros(0),
        np.zeros(0, np.int8),
        np.zeros((0, 2), np.int32),
        np.zeros((0, 2), np.int32),
    )


def _singles(
    choices: Sequence[Sequence[tuple[int, int]]],
    codes: _Codes,
    worth: Sequence[float],
    width: int,
    height: int,
) -> Blocks:
    rows = [
        (codes.one[kind], w, h, worth[kind], kind, choice)
        for kind, boxes in enumerate(choices)
        for choice, (w, h) in enumerate(boxes)
        if w <= width and h <= height
    ]
    if not rows:
        return _nothing()
    pick = [list(column) for column in zip(*rows, strict=True)]
    origin = np.array([pick[4], pick[5]], dtype=np.int32).T
    return Blocks(
        np.array(pick[0], np.uint64),
        np.array(pick[1], np.int64),
        np.array(pick[2], np.int64),
        np.array(pick[3], float),
        np.full(len(rows), -1, np.int8),
        origin,
        origin,
    )


def _join(
    a: Blocks,
    b: Blocks,
    level_a: int,
    level_b: int,
    op: int,
    codes: _Codes,
    width: int,
    height: int,
    target: float,
    hope: Hope,
    waste: int | None,
    longest: int,
) -> tuple[int, list[Blocks]]:
    """Every allowed join of a block of ``a`` with one of ``b``; also how many pairs were looked at."""
    along_a, across_a = (a.w, a.h) if op == SIDE else (a.h, a.w)
    along_b, across_b = (b.w, b.h) if op == SIDE else (b.h, b.w)
    top_along, top_across = (width, height) if op == SIDE else (height, width)
    top_across = min(top_across, longest)
    order = np.argsort(across_b, kind="stable")
    sorted_b = across_b[order]
    if waste is None:
        low = np.zeros(len(a), np.int64)
        high = np.full(len(a), len(b), np.int64)
    else:
        # |across_a - across_b| times the length of the narrower one is waste
        spare = waste - (a.w * a.h - a.worth)
        narrow = sorted_b[0] if len(b) else 0
        down = np.floor(np.maximum(spare, 0) / max(1, int(along_b.min()))).astype(np.int64)
        up = np.floor(np.maximum(spare, 0) / np.maximum(1, along_a)).astype(np.int64)
        low = np.searchsorted(sorted_b, np.maximum(narrow, across_a - down), side="left")
        high = np.searchsorted(sorted_b, np.minimum(top_across, across_a + up), side="right")
    count = np.maximum(0, high - low)
    out: list[Blocks] = []
    seen = 0
    bounds = np.cumsum(count)
    start = 0
    while start < len(a):
        done = bounds[start - 1] if start else 0
        stop = int(np.searchsorted(bounds, done + PAIRS_AT_ONCE, side="right"))
        stop = min(len(a), max(stop, start + 1))
        n = count[start:stop]
        total = int(n.sum())
        if total:
            seen += total
            rows_a = np.repeat(np.arange(start, stop), n)
            offset = np.arange(total) - np.repeat(np.cumsum(n) - n, n)
            rows_b = order[low[rows_a] + offset]
            code = a.code[rows_a] + b.code[rows_b]
            good = codes.allowed(code) & (along_a[rows_a] + along_b[rows_b] <= top_along)
            rows_a, rows_b, code = rows_a[good], rows_b[good], code[good]
            along = along_a[rows_a] + along_b[rows_b]
            across = np.maximum(across_a[rows_a], across_b[rows_b])
            w, h = (along, across) if op == SIDE else (across, along)
            worth = a.worth[rows_a] + b.worth[rows_b]
            good = (across <= top_across) & (worth + hope(w, h) >= target - 1e-6)
            if waste is not None:
                good &= w * h - worth <= waste
            rows_a, rows_b = rows_a[good], rows_b[good]
            if len(rows_a):
                out.append(
                    _tidy(
                        [
                            Blocks(
                                code[good],
                                w[good],
                                h[good],
                                worth[good],
                                np.full(len(rows_a), op, np.int8),
                                _origin(level_a, rows_a),
                                _origin(level_b, rows_b),
                            )
                        ]
                    )
                )
        start = stop
    return seen, out


def _origin(level: int, rows: NDArray) -> NDArray[np.int32]:
    out = np.empty((len(rows), 2), np.int32)
    out[:, 0], out[:, 1] = level, rows
    return out


def _tidy(parts: list[Blocks]) -> Blocks:
    """All in one, and of blocks with the same pieces only those that no other beats both ways."""
    parts = [part for part in parts if len(part)]
    if not parts:
        return _nothing()
    names = list(Blocks.__dataclass_fields__)
    whole = Blocks(*(np.concatenate([getattr(part, name) for part in parts]) for name in names))
    whole = whole.take(np.lexsort((whole.h, whole.w, whole.code)))
    group = np.concatenate([[0], np.cumsum(whole.code[1:] != whole.code[:-1])])
    step = int(whole.h.max()) + 1
    key = whole.h - group * step
    lowest = np.minimum.accumulate(key)
    keep = np.concatenate([[True], key[1:] < lowest[:-1]])
    return whole.take(np.flatnonzero(keep))


def _tree(
    levels: list[Blocks], level: int, row: int, choices: Sequence[Sequence[tuple[int, int]]], codes: _Codes
) -> Tree:
    blocks = levels[level]
    first, second = blocks.first[row], blocks.second[row]
    if blocks.op[row] < 0:
        return leaf(int(first[0]), int(first[1]), choices)
    a = _tree(levels, int(first[0]), int(first[1]), choices, codes)
    b = _tree(levels, int(second[0]), int(second[1]), choices, codes)
    return joined(int(blocks.op[row]), a, b)
