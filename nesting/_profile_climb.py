"""The same copies on fewer or cheaper sheets, or more copies on the sheets there are.

Words used here
    rung      a set of sheets cheaper than the best nest so far, to be tried
    engine    the strip packing library where it can take a rung; it gets the first try
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np

from ._profile_check import faults
from ._profile_grid import Bench, Spot, State
from ._profile_search import Nest, Problem, Work, drop_empty, solve
from ._profile_sets import rank_of, sheet_area, sheet_sets

__all__ = ["climb_down", "fill_up"]

DENSE = 0.95  # sets filled beyond this are tried last
CLIMB, FEW = 0.7, 40  # of the work, for cheaper sheets; copies up to which all sheets are searched at once
FIRST_SLICE = 0.06  # of the work, for one rung

Engine = Callable[[Sequence[int], tuple[int, ...]], "list[Spot] | None"]  # copies by part number, kinds of sheet


def climb_down(
    problem: Problem,
    best: Nest,
    work: Work,
    rng: np.random.Generator,
    better: Callable[[Nest], None],
    engine: Engine | None = None,
) -> Nest:
    """Try to hold the same copies on cheaper sheets. ``better`` hears of each better nest.

    All sheets at once where the copies are few; else two of them at a time, one being the emptiest.
    """
    asked: set[tuple[int, ...]] = set()
    until = work.done + CLIMB * (work.total - work.done)
    share = FIRST_SLICE * work.total
    idle = 0
    while not work.over() and work.done < until and idle < 3 * len(best.kinds):
        few = sum(spot is not None for spot in best.spots) <= FEW or len(best.kinds) <= 2
        group = list(range(len(best.kinds))) if few else _two_sheets(problem, best, rng)
        rungs = _rungs(problem, best, group)
        if few and not rungs:
            break
        held = [i for i, spot in enumerate(best.spots) if spot is not None and spot.sheet in group]
        idle += 1
        for rung in rungs:
            found = None
            if engine is not None and few and rung not in asked:
                asked.add(rung)
                places = engine([problem.copies[i] for i in held], rung)
                found = None if places is None else _put(problem, best, group, held, rung, places)
            if found is None:
                found = _try_set(problem, best, group, held, rung, min(until, work.done + share), work, rng)
            if found is not None and problem.score(found) < problem.score(best):
                best, idle = found, 0
                better(best)
                break
        else:
            if few:
                share, idle = 1.5 * share, 0
    return best


def _two_sheets(problem: Problem, best: Nest, rng: np.random.Generator) -> list[int]:
    """The sheet with least on it, and another one."""
    filled = [0.0] * len(best.kinds)
    for part, spot in zip(problem.copies, best.spots, strict=True):
        if spot is not None:
            filled[spot.sheet] += problem.variants.parts[part].outline.area
    emptiest = min(range(len(filled)), key=lambda k: (filled[k], k))
    other = int(rng.integers(len(filled) - 1))
    return sorted({emptiest, other + (other >= emptiest)})


def fill_up(problem: Problem, best: Nest, work: Work, rng: np.random.Generator, better: Callable[[Nest], None]) -> Nest:
    """Where the stock does not hold everything, try to place one copy more, then another; half the work at most."""
    kinds = tuple(k for k, s in enumerate(problem.stock.sheets) for _ in range(s.quantity or 0))
    if any(sheet.quantity is None for sheet in problem.stock.sheets) or not kinds:
        return best
    areas = [sheet_area(sheet, problem.gap, problem.edge) for sheet in problem.stock.sheets]
    share, half = FIRST_SLICE / 2 * work.total, work.done + work.total / 2
    while not work.over() and work.done < half:
        held = [i for i, spot in enumerate(best.spots) if spot is not None]
        hopeful = []
        for part in dict.fromkeys(p for p, s in zip(problem.copies, best.spots, strict=True) if s is None):
            i = next(i for i, p in enumerate(problem.copies) if p == part and best.spots[i] is None)
            copies = [problem.copies[k] for k in (*held, i)]
            if _all_fit(problem, copies, kinds) and problem.needed(copies) <= sum(areas[k] for k in kinds):
                hopeful.append(sorted((*held, i)))
        if not hopeful:
            break
        for more in hopeful:
            found = _try_set(
                problem, best, range(len(best.kinds)), more, kinds, min(half, work.done + share), work, rng
            )
            if found is not None:
                best = found
                better(best)
                break
        else:
            share *= 1.5
    return best


def _rungs(problem: Problem, best: Nest, group: Sequence[int]) -> list[tuple[int, ...]]:
    """Up to six sets of sheets worth trying instead of those of a group, the most hopeful first."""
    held = [p for p, s in zip(problem.copies, best.spots, strict=True) if s is not None and s.sheet in group]
    elsewhere = [kind for number, kind in enumerate(best.kinds) if number not in group]
    sheets = [
        sheet if sheet.quantity is None else replace(sheet, quantity=sheet.quantity - elsewhere.count(kind))
        for kind, sheet in enumerate(problem.stock.sheets)
    ]
    needed = problem.needed(held)
    areas = [sheet_area(sheet, problem.gap, problem.edge) for sheet in sheets]
    now = rank_of([sheets[best.kinds[number]] for number in group])
    found, _ = sheet_sets(sheets, needed, areas, below=now, most=40)
    sets = [tuple(s) for s in found if _all_fit(problem, held, s)]
    fill = {s: needed / sum(areas[k] for k in s) for s in sets}
    # of sets of one price and number the loosest is tried, for it is the easiest
    loosest: dict[tuple[float, int], tuple[int, ...]] = {}
    for s in sets:
        rank = rank_of([sheets[k] for k in s])[:2]
        if rank not in loosest or fill[s] < fill[loosest[rank]]:
            loosest[rank] = s
    kept = sorted(loosest.values(), key=lambda s: (fill[s] > DENSE, rank_of([sheets[k] for k in s])))
    return kept[:6]


def _all_fit(problem: Problem, copies: Sequence[int], kinds: Sequence[int]) -> bool:
    """Whether each part by itself fits on some sheet of the set, by its bounding box."""
    benches = problem.benches(sorted(set(kinds)))
    for part in set(copies):
        if not any(
            v.width <= b.high[0] - b.low[0] + 1e-6 and v.height <= b.high[1] - b.low[1] + 1e-6
            for b in benches
            for v in problem.variants.on(part, b.stock)
        ):
            return False
    return True


def _try_set(
    problem: Problem,
    best: Nest,
    group: Sequence[int],
    held: Sequence[int],
    kinds: tuple[int, ...],
    until: float,
    work: Work,
    rng: np.random.Generator,
) -> Nest | None:
    """Search one set of sheets, in place of a group, for a legal nest of the copies numbered ``held``.

    From a fresh start: a search that has not succeeded soon seldom does, and the next start may.
    """
    copies = [problem.copies[i] for i in held]
    benches = problem.benches(kinds)
    start = _throw(problem, copies, kinds, benches, rng)
    if start is None:
        return None
    before = problem.grid.spent
    state = State.of(problem.grid, benches, problem.choices(copies, kinds), start)
    work.done += problem.grid.spent - before
    found = solve(problem, state, until, work, rng)
    return None if found is None else _put(problem, best, group, held, kinds, found)


def _put(
    problem: Problem,
    best: Nest,
    group: Sequence[int],
    held: Sequence[int],
    kinds: tuple[int, ...],
    found: Sequence[Spot],
) -> Nest | None:
    """The nest with the copies numbered ``held`` on the sheets ``kinds`` in place of a group; None if not legal."""
    kept = [number for number in range(len(best.kinds)) if number not in group]
    spots: list[Spot | None] = [
        replace(s, sheet=kept.index(s.sheet)) if s is not None and s.sheet in kept else None for s in best.spots
    ]
    for i, spot in zip(held, found, strict=True):
        spots[i] = replace(spot, sheet=spot.sheet + len(kept))
    nest = drop_empty(Nest((*(best.kinds[k] for k in kept), *kinds), tuple(spots)))
    return None if faults(problem, nest) else nest


def _throw(
    problem: Problem, copies: Sequence[int], kinds: Sequence[int], benches: list[Bench], rng: np.random.Generator
) -> list[Spot] | None:
    """A random place for each copy, on a sheet that can hold it, larger sheets more often."""
    spots = []
    for options in problem.choices(copies, kinds):
        open_ = [
            (s, v)
            for s, bench in enumerate(benches)
            for v in options[s]
            if v.width <= bench.room()[2] - bench.low[0] + 1e-6 and v.height <= bench.room()[3] - bench.low[1] + 1e-6
        ]
        if not open_:
            return None
        size = np.array([benches[s].stock.area for s, _ in open_])
        s, v = open_[int(rng.choice(len(open_), p=size / size.sum()))]
        x0, y0, x1, y1 = benches[s].room()
        spots.append(Spot(s, v, x0 + rng.random() * (x1 - x0 - v.width), y0 + rng.random() * (y1 - y0 - v.height)))
    return spots
