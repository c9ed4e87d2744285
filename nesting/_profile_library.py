"""What the strip packing library is asked: a shorter strip on one sheet, or whether all parts go on one sheet.

It sees outer outlines only. A hole that another part could lie in is a reason not to ask it; other holes are not.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

from ._profile_check import faults
from ._profile_engine import Run, start, strip_job
from ._profile_grid import Bench, Spot
from ._profile_search import Nest, Problem, Work, tighten, wrap
from ._profile_squeeze import settle, settle_no_longer

__all__ = ["pack_sheet", "shorten_by_library"]

LIBRARY = 0.95  # of the work, where the strip packing library can take the sheet; the rest makes it exact and tighter
WORKERS = 2  # one run with two does better than two runs from different seeds with one each
PATIENCE = 2.8  # work without success after which the library starts afresh; tuned by eye
WORTH_STARTING = 0.4  # work: with less than this the library does little more than start
ONE_SHEET = 0.3  # of the work, for one sheet that may hold all
FIRST_LOOK = 1.0  # seconds; the library's best is first looked at after as long, then after twice as long, and so on


def shorten_by_library(problem: Problem, best: Nest, work: Work, seed: int, better: Callable[[Nest], None]) -> Nest:
    """What the library makes of the sheet that is to be shortened, if it can take it.

    ``better`` hears now and then how far it is. An interrupt makes its best so far exact before it goes on its way.
    """
    sheet, _ = problem.short_side(best)
    share = LIBRARY * (work.total - work.done)
    if sheet < 0 or work.over() or share < WORTH_STARTING:
        return best
    bench = problem.benches(best.kinds)[sheet]
    copies = [p for p, s in zip(problem.copies, best.spots, strict=True) if s is not None and s.sheet == sheet]
    run = _start(problem, copies, bench, share, seed)
    if run is None:
        return best
    told = best

    def hear(nest: Nest) -> None:
        nonlocal told
        if problem.score(nest) < problem.score(told):
            told = nest
            better(nest)

    def look() -> None:
        for _, places in run.layouts(copies, sheet, 1):
            nest = _exact(problem, best, places, sheet)
            if nest is not None:
                hear(nest)

    try:
        _watch(run, work, look)
    except KeyboardInterrupt:
        run.stop()
        look()
        raise
    finally:
        run.stop()
    work.done += share
    found = _from_library(problem, best, copies, sheet, run, work, hear)
    # when it was looked at is a matter of the clock, so what was told on the way counts only if nothing is as good
    return found if problem.score(found) <= problem.score(told) else told


def pack_sheet(
    problem: Problem, work: Work, seed: int, copies: Sequence[int], kinds: tuple[int, ...]
) -> list[Spot] | None:
    """Legal places for all copies (part numbers) on the one sheet ``kinds``; None where the library finds none."""
    if len(kinds) != 1 or work.over():
        return None
    (bench,) = benches = problem.benches(kinds)
    share = min(ONE_SHEET * work.total, work.total - work.done)
    enough = bench.high[bench.axis] - bench.low[bench.axis] + 2 * problem.gap
    run = _start(problem, copies, bench, share, seed, enough)
    if run is None:
        return None
    try:
        work.cut_short |= not run.wait(work.left())
    finally:
        run.stop()
    work.done += run.done
    for _, found in run.layouts(copies, 0):
        legal = settle(problem.grid, benches, found, problem.grid.step)
        if legal is not None:
            return legal
    return None


def _start(
    problem: Problem, copies: Sequence[int], bench: Bench, share: float, seed: int, enough: float = 0.0
) -> Run | None:
    """The library at work, None where it cannot be asked; it ends where the strip is as short as ``enough``."""
    given = strip_job(problem.variants, copies, bench, problem.gap, seed)
    if given is None or _nests_in_holes(problem, copies):
        return None
    job = {**given[0], "work": share, "patience": PATIENCE, "enough": enough, "workers": WORKERS}
    return start(job, given[1], bench, problem.gap)


def _nests_in_holes(problem: Problem, copies: Sequence[int]) -> bool:
    """Whether some hole of these parts is wide enough, by its bounding box less the gap, for another of them."""
    shapes = [problem.variants.parts[p].outline for p in set(copies)]
    room = 2 * problem.gap
    holes = [_span(hole.bounds) for shape in shapes for hole in shape.interiors]
    spans = [_span(shape.bounds) for shape in shapes]
    return any(s[0] + room <= h[0] and s[1] + room <= h[1] for h in holes for s in spans)


def _span(bounds: tuple[float, float, float, float]) -> tuple[float, float]:
    """Shorter and longer side."""
    low, high = sorted((bounds[2] - bounds[0], bounds[3] - bounds[1]))
    return low, high


def _watch(run: Run, work: Work, look: Callable[[], None]) -> None:
    """Look now and then at what the library has so far, until it or the time ends. Looking counts as no work."""
    pause = FIRST_LOOK
    while not run.ended(pause if work.clock is None else min(pause, work.clock())):
        if work.late():
            work.cut_short = True
            break
        look()
        pause *= 2


def _from_library(
    problem: Problem,
    best: Nest,
    copies: Sequence[int],
    sheet: int,
    run: Run,
    work: Work,
    better: Callable[[Nest], None],
) -> Nest:
    """The better of ``best`` and what the library found, made exact: the shortest, then others while work is left."""
    start, held = best, [i for i, s in enumerate(best.spots) if s is not None]
    for number, (_, found) in enumerate(run.layouts(copies, sheet)):
        if number and work.over():
            break
        before = problem.grid.spent
        nest = _exact(problem, start, found, sheet)
        work.done += problem.grid.spent - before
        if nest is not None:
            spots = [s for s in nest.spots if s is not None]
            best = tighten(problem, best, held, spots, sheet, work, better)[0]
    return best


def _exact(problem: Problem, start: Nest, found: Sequence[Spot], sheet: int) -> Nest | None:
    """``start`` with the copies of one sheet at the places found, moved apart to the gap; None if that fails."""
    held = [i for i, s in enumerate(start.spots) if s is not None]
    told = iter(found)
    spots = [next(told) if s.sheet == sheet else s for s in start.spots if s is not None]
    legal = settle_no_longer(problem.grid, problem.benches(start.kinds), spots, sheet, problem.grid.step)
    nest = None if legal is None else wrap(start, held, legal)
    return None if nest is None or faults(problem, nest) else nest
