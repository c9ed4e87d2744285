"""Exact edge-to-edge layouts for a handful of pieces, any number of stages.

Words used here
    state     how many copies of each kind of piece, as one whole number in mixed radix
    need      need_h[state][w]: the least height that holds the state in width w; need_w[state][h] the
              least width in height h. Both are staircases that never rise.

A state is laid out either as one piece, or as two smaller states with one cut between them.
Stacked, their heights add at equal width; side by side, their widths add at equal height. Both are
one vector addition per split, and turning a staircase round (heights by width into widths by
height) is one sorted search. So the whole recursion is exact for every rectangle up to the largest
sheet and runs at numpy's speed: 3**n / 2 splits of some thousand numbers each.

The idea of keeping, per subset, only the boxes that no other beats in both directions is old: Wang,
Operations Research 31 (1983) 573-586 builds blocks this way (volume and pages from memory, not
verified).
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from ._guillotine import NO_LIMIT, SIDE, STACK, Tree, joined, leaf

__all__ = ["Needs", "count_splits"]

FAR = 30000  # stands for "does not fit"; twice this still fits in 16 bits unsigned
CHUNK_BYTES = 1 << 19  # rows are summed in lumps that stay in the processor's cache; tuned by eye


def count_splits(counts: Sequence[int]) -> int:
    """Number of additions per direction that ``Needs`` makes at most for these copies of each kind."""
    total = 1
    for count in counts:
        total *= (count + 1) * (count + 2) // 2
    return total // 2


class Needs:
    """The staircases of every state of ``counts`` copies of pieces with ``choices``, within width x
    height.

    ``choices[kind]`` are the boxes of one kind, whole numbers. ``ok[state]`` says whether the state
    fits in width x height at all. Sizes above 30 000 units are refused by an assertion: scale
    first.
    """

    def __init__(
        self,
        choices: Sequence[Sequence[tuple[int, int]]],
        counts: Sequence[int],
        width: int,
        height: int,
        *,
        waste: int | None = None,
        longest: int = NO_LIMIT,
    ) -> None:
        assert 0 < width < FAR
        assert 0 < height < FAR
        self.choices, self.counts = [list(c) for c in choices], list(counts)
        self.width, self.height = width, height
        self.radix = np.cumprod([1] + [c + 1 for c in counts])[:-1].astype(np.int64)
        self.states = int(np.prod([c + 1 for c in counts], dtype=np.int64))
        self.row = np.full(self.states, -1, dtype=np.int64)  # row of need_* for states that fit
        self.ok = np.zeros(self.states, dtype=bool)
        # Rows are taken up as states are found to fit; memory not written to costs nothing.
        self.need_h = np.empty((self.states, width + 1), dtype=np.uint16)
        self.need_w = np.empty((self.states, height + 1), dtype=np.uint16)
        self._rows = 0
        self._waste, self.longest = waste, longest
        self._widths = np.arange(width + 1, dtype=np.int64)
        half = len(self.counts) // 2
        self._low_states = int(np.prod([c + 1 for c in self.counts[:half]], dtype=np.int64))
        self._lows = _inside(self.counts[:half], 1)
        self._highs = _inside(self.counts[half:], self._low_states)
        self._fill()

    def state(self, taken: Sequence[int]) -> int:
        """The state with ``taken[kind]`` copies of each kind."""
        return int(np.dot(self.radix, taken))

    def digits(self, state: int) -> list[int]:
        """Copies of each kind in a state."""
        out = []
        for count in self.counts:
            state, digit = divmod(state, count + 1)
            out.append(digit)
        return out

    def substates(self, state: int) -> NDArray[np.int64]:
        """Every state inside ``state``, rising; entry i and entry -1-i make up the state together."""
        high, low = divmod(state, self._low_states)
        lows, highs = self._lows[low], self._highs[high]
        return lows if len(highs) == 1 else (highs[:, None] + lows).ravel()

    def fits(self, width: int, height: int) -> NDArray[np.bool_]:
        """Which states fit in a sheet of this size (no larger than the one the staircases were made for)."""
        out = np.zeros(self.states, dtype=bool)
        if width < 1 or height < 1:
            out[0] = True
            return out
        w, h = min(width, self.width), min(height, self.height)
        good = np.flatnonzero(self.ok)
        out[good] = self.need_h[self.row[good], w] <= h
        return out

    def height_for(self, state: int, width: int) -> int:
        """Least height of the state in this width; FAR if it does not fit."""
        return int(self.need_h[self.row[state], min(width, self.width)]) if self.ok[state] else FAR

    def width_for(self, state: int, height: int) -> int:
        """Least width of the state in this height; FAR if it does not fit."""
        return int(self.need_w[self.row[state], min(height, self.height)]) if self.ok[state] else FAR

    def _fill(self) -> None:
        least = np.array([min(w * h for w, h in c) for c in self.choices], dtype=np.int64)
        index = np.arange(self.states, dtype=np.int64)
        digits = index[:, None] // self.radix % (np.array(self.counts, dtype=np.int64) + 1)
        roomy = digits @ least <= self.width * self.height
        self.ok[0] = True
        self._store(0, np.zeros(self.width + 1, np.uint16), np.zeros(self.height + 1, np.uint16))
        single = {int(r): kind for kind, r in enumerate(self.radix)}
        for state in range(1, self.states):
            if not roomy[state]:
                continue
            by_w, by_h = self._joined(state)
            by_w[self.longest + 1 :] = FAR
            by_h[self.longest + 1 :] = FAR
            if state in single:
                for w, h in self.choices[single[state]]:
                    if w <= self.width and h <= self.height:
                        np.minimum(by_w[w:], h, out=by_w[w:])
            by_w = np.minimum(by_w, _turned(np.minimum.accumulate(by_h), self.width))
            by_w = np.minimum.accumulate(by_w)
            if by_w[-1] <= self.height and not (
                self._waste is not None and self._least_waste(by_w, int(digits[state] @ least)) > self._waste
            ):
                by_w[by_w > self.height] = FAR
                self.ok[state] = True
                self._store(state, by_w, _turned(by_w, self.height))

    def _least_waste(self, by_w: NDArray[np.uint16], area: int) -> int:
        boxes = self._widths * by_w
        return int(boxes[by_w <= self.height].min()) - area

    def _store(self, state: int, by_w: NDArray[np.uint16], by_h: NDArray[np.uint16]) -> None:
        self.need_h[self._rows], self.need_w[self._rows] = by_w, by_h
        self.row[state] = self._rows
        self._rows += 1

    def _splits(self, state: int) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
        """Rows of both halves of every split of the state into two that fit, each pair once."""
        subs = self.substates(state)
        half = subs[1 : (len(subs) + 1) // 2]
        a, b = self.row[half], self.row[state - half]
        good = (a >= 0) & (b >= 0)
        return a[good], b[good]

    def _joined(self, state: int) -> tuple[NDArray[np.uint16], NDArray[np.uint16]]:
        """Least heights by width when stacked, least widths by height when side by side."""
        a, b = self._splits(state)
        return _least_sum(self.need_h, a, b, self.width), _least_sum(self.need_w, a, b, self.height)

    def tree(self, state: int, width: int, height: int) -> Tree:
        """A cutting tree of the state within width x height; leaves carry the kinds. It must fit."""
        width, height = min(width, self.width), min(height, self.height)
        assert self.height_for(state, width) <= height
        return self._tree(state, width, height)

    def _tree(self, state: int, width: int, height: int) -> Tree:
        kinds = np.flatnonzero(self.radix == state)
        for kind in kinds:
            for choice, (w, h) in enumerate(self.choices[int(kind)]):
                if w <= width and h <= height:
                    return leaf(int(kind), choice, self.choices)
        subs = self.substates(state)
        half = subs[1 : (len(subs) + 1) // 2]
        half = half[self.ok[half] & self.ok[state - half]]
        a, b = self.row[half], self.row[state - half]
        tall = self.need_h[a, width].astype(np.int64) + self.need_h[b, width]
        wide = self.need_w[a, height].astype(np.int64) + self.need_w[b, height]
        if width > self.longest:
            tall[:] = FAR  # the cut across would be too long here; a narrower stack may still do
        if height > self.longest:
            wide[:] = FAR
        i, j = int(tall.argmin()), int(wide.argmin())
        if tall[i] > height and wide[j] > width:
            return self._tree(state, *self._trimmed(state, width, height))
        # Of the two ways that fit, take the one that leaves the larger strip whole.
        if tall[i] <= height and (wide[j] > width or (height - tall[i]) * width >= (width - wide[j]) * height):
            first, used = int(half[i]), int(self.need_h[a[i], width])
            rest = int(self.need_h[b[i], width])
            return joined(STACK, self._tree(first, width, used), self._tree(state - first, width, rest))
        assert wide[j] <= width
        first, used = int(half[j]), int(self.need_w[a[j], height])
        rest = int(self.need_w[b[j], height])
        return joined(SIDE, self._tree(first, used, height), self._tree(state - first, rest, height))

    def _trimmed(self, state: int, width: int, height: int) -> tuple[int, int]:
        """A smaller box for the state, where this one only holds it with waste cut off first."""
        by_w = self.need_h[self.row[state]]
        tight_w = int(np.flatnonzero(by_w <= height)[0])
        tight_h = int(by_w[width])
        if tight_w < width:
            return tight_w, height
        assert tight_h < height
        return width, tight_h


def _least_sum(table: NDArray[np.uint16], a: NDArray[np.int64], b: NDArray[np.int64], top: int) -> NDArray[np.uint16]:
    """Least of table[a] + table[b], position by position; FAR where nothing fits."""
    best = np.full(top + 1, 2 * FAR, dtype=np.uint16)
    step = max(1, CHUNK_BYTES // (2 * (top + 1)))
    for start in range(0, len(a), step):
        total = table[a[start : start + step]]
        total += table[b[start : start + step]]
        np.minimum(best, total.min(axis=0), out=best)
    return best


def _turned(stairs: NDArray[np.uint16], top: int) -> NDArray[np.uint16]:
    """The staircase read the other way: for each v in 0..top the least index whose value is at most v."""
    tall = np.minimum(stairs, top + 1)
    lower = np.cumsum(np.bincount(tall, minlength=top + 2)[: top + 1])  # how many values are at most v
    return np.where(lower, len(stairs) - lower, FAR).astype(np.uint16)


def _inside(counts: Sequence[int], unit: int) -> list[NDArray[np.int64]]:
    """For every state of these kinds, all states inside it, rising, in steps of ``unit``."""
    table = [np.zeros(1, dtype=np.int64)]
    radix = unit
    for count in counts:
        steps = [np.arange(digit + 1, dtype=np.int64)[:, None] * radix for digit in range(count + 1)]
        table = [(step + lows).ravel() for step in steps for lows in table]
        radix *= count + 1
    return table
