"""Proven costs against exhaustion that shares nothing with ours: every cut position, every way to share the pieces."""

from __future__ import annotations

import itertools
import random
from functools import cache

import pytest
from shapely.geometry import box

from nesting import Part, Sheet, nest
from nesting._guillotine_exact import Needs


def cuttable(pieces: tuple[tuple[int, int], ...], width: int, height: int, turns: bool) -> bool:
    """Whether the pieces come from width x height by edge-to-edge cuts at whole positions, tried one and all."""

    @cache
    def go(ids: tuple[int, ...], w: int, h: int) -> bool:
        if sum(pieces[i][0] * pieces[i][1] for i in ids) > w * h:
            return False
        if len(ids) == 1:
            pw, ph = pieces[ids[0]]
            return (pw <= w and ph <= h) or (turns and ph <= w and pw <= h)
        for count in range(1, len(ids)):
            for some in itertools.combinations(ids, count):
                rest = tuple(i for i in ids if i not in some)
                if any(go(some, x, h) and go(rest, w - x, h) for x in range(1, w)):
                    return True
                if any(go(some, w, y) and go(rest, w, h - y) for y in range(1, h)):
                    return True
        return False

    return go(tuple(range(len(pieces))), width, height)


def cheapest(pieces: list[tuple[int, int]], sheets: list[tuple[int, int, float]], turns: bool) -> float:
    """Least cost over all partitions of the pieces into groups, each cut from one sheet."""

    @cache
    def group(ids: tuple[int, ...]) -> float:
        mine = tuple(pieces[i] for i in ids)
        return min((price for w, h, price in sheets if cuttable(mine, w, h, turns)), default=float("inf"))

    @cache
    def go(ids: tuple[int, ...]) -> float:
        if not ids:
            return 0.0
        first, others = ids[0], ids[1:]
        best = float("inf")
        for count in range(len(others) + 1):
            for some in itertools.combinations(others, count):
                left = tuple(i for i in others if i not in some)
                best = min(best, group((first, *some)) + go(left))
        return best

    return go(tuple(range(len(pieces))))


@pytest.mark.parametrize("seed", range(8))
def test_cost_is_the_exhaustive_cost(seed):
    """Up to six random pieces, two sheet sizes, with and without turns: our proven cost is the cheapest there is."""
    draw = random.Random(seed)
    count, turns = draw.choice([3, 4, 5, 6]), draw.random() < 0.5
    pieces = [(draw.randint(1, 6), draw.randint(1, 6)) for _ in range(count)]
    sheets = [(8, 7, 10.0), (6, 6, draw.choice([5.0, 6.0, 8.0]))]

    layout = nest(
        [Part(f"p{i}", box(0, 0, w, h)) for i, (w, h) in enumerate(pieces)],
        [Sheet(f"s{i}", w, h, price, grain=None) for i, (w, h, price) in enumerate(sheets)],
        rotations=(0, 90) if turns else (0,),
        seconds=5,
    )

    assert layout.proven
    assert layout.cost == layout.bound == cheapest(pieces, sheets, turns)


def test_a_rack_of_offcuts_is_used_as_cheaply_as_can_be():
    """Limited offcuts at almost nothing are taken before a bought sheet, each at most as often as there are."""
    pieces = [(6, 4), (5, 3), (3, 3), (4, 2)]
    parts = [Part(f"p{i}", box(0, 0, w, h)) for i, (w, h) in enumerate(pieces)]
    rack = [Sheet("offcut", 6, 4, 0.5, quantity=2, grain=None), Sheet("new", 10, 10, 40.0, grain=None)]

    layout = nest(parts, rack, seconds=5)

    names = sorted(used.name for used in layout.sheets)
    assert names == ["new", "offcut"] or layout.cost < 40.5
    assert layout.proven
    # By hand: two offcuts of 24 hold at most 48 of 24 + 15 + 9 + 8 = 56, so one new sheet is needed, and it holds all.
    assert layout.cost == 40.0


@pytest.mark.parametrize("seed", range(4))
def test_staircases_agree_with_exhaustion(seed):
    """For every subset and every width, the least height is the one that trying every cut finds."""
    draw = random.Random(100 + seed)
    pieces = [(draw.randint(1, 5), draw.randint(1, 5)) for _ in range(4)]
    needs = Needs([[p, p[::-1]] for p in pieces], [1] * 4, 9, 9)
    for state in range(1, 16):
        mine = tuple(pieces[i] for i in range(4) if state >> i & 1)
        for width in range(1, 10):
            fitting = [h for h in range(1, 10) if cuttable(mine, width, h, True)]
            least = needs.height_for(state, width)
            assert (least if least <= 9 else None) == (fitting[0] if fitting else None)


@pytest.mark.parametrize("seed", range(6))
def test_the_quick_bound_is_never_above_the_exhaustive_cost(seed):
    """Limited offcuts, odd prices: the bound by areas, rates and pieces apart stays under the cheapest there is."""
    from nesting.shear_job import make_job
    from nesting.shear_search import area_bound

    draw = random.Random(50 + seed)
    pieces = [(draw.randint(1, 6), draw.randint(1, 6)) for _ in range(5)]
    parts = tuple(Part(f"p{i}", box(0, 0, w, h)) for i, (w, h) in enumerate(pieces))
    sheets = (
        Sheet("new", 8, 6, draw.choice([7.0, 10.0]), grain=None),
        Sheet("rack", draw.randint(3, 7), 6, draw.choice([0.5, 4.0, 9.0]), quantity=draw.randint(0, 2), grain=None),
    )

    bound = area_bound(make_job(parts, sheets, gap_mm=0.0, edge_mm=0.0, rotations=(0, 90)))
    layout = nest(parts, sheets, rotations=(0, 90), seconds=5)
    cost = cheapest_with_rack(pieces, [(s.width, s.height, s.price, s.quantity) for s in sheets])

    assert bound <= cost + 1e-9
    assert layout.cost == pytest.approx(cost)
    assert layout.proven


def cheapest_with_rack(pieces: list[tuple[int, int]], sheets: list[tuple]) -> float:
    """Least cost over all ways to share the pieces among sheets of which some are few; with quarter turns."""

    @cache
    def fits(ids: tuple[int, ...], s: int) -> bool:
        return cuttable(tuple(pieces[i] for i in ids), int(sheets[s][0]), int(sheets[s][1]), True)

    @cache
    def go(ids: tuple[int, ...], left: tuple) -> float:
        if not ids:
            return 0.0
        best = float("inf")
        for count in range(len(ids)):
            for some in itertools.combinations(ids[1:], count):
                rest = tuple(i for i in ids[1:] if i not in some)
                for s, (_, _, price, _) in enumerate(sheets):
                    if left[s] != 0 and fits((ids[0], *some), s):
                        fewer = tuple(n - 1 if i == s and n is not None else n for i, n in enumerate(left))
                        best = min(best, price + go(rest, fewer))
        return best

    return go(tuple(range(len(pieces))), tuple(sheet[3] for sheet in sheets))
