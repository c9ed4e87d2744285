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

LIBRARY = 0.85  # of the work, where the strip packing library can take the sheet; the rest makes it exact and tighter
FEW_COPIES, SEEDS_APART = 16, 1000
PATIENCE = 80  # reports without success after which the library starts afresh; tuned by eye
WORTH_STARTING = 0.2  # work: with less than this the library does little more than start
ONE_SHEET = 0.3  # of the work, for one sheet that may hold all


def shorten_by_library(problem: Problem, best: Nest, work: Work, seed: int, better: Callable[[Nest], None]) -> Nest:
    """What the library makes of the sheet that is to be shortened, if it can take it."""
    sheet, _ = problem.short_side(best)
    share = LIBRARY * (work.total - work.done)
    if sheet < 0 or work.over() or share < WORTH_STARTING:
        return best
    bench = problem.benches(best.kinds)[sheet]
    copies = [p for p, s in zip(problem.copies, best.spots, strict=True) if s is not None and s.sheet == sheet]
    runs = _run(problem, copies, bench, share, work, seed)
    return best if runs is None else _from_engine(problem, best, runs, work, better)


def pack_sheet(
    problem: Problem, work: Work, seed: int, copies: Sequence[int], kinds: tuple[int, ...]
) -> list[Spot] | None:
    """Legal places for all copies (part numbers) on the one sheet ``kinds``; None where the library finds none."""
    if len(kinds) != 1 or work.over():
        return None
    (bench,) = benches = problem.benches(kinds)
    share = min(ONE_SHEET * work.total, work.total - work.done)
    runs = _run(problem, copies, bench, share, work, seed, enough=True)
    for _, found in (each for run in runs or () for each in run.layouts(list(copies), 0)):
        legal = settle(problem.grid, benches, found, problem.grid.step)
        if legal is not None:
            return legal
    return None


def _run(
    problem: Problem,
    copies: Sequence[int],
    bench: Bench,
    share: float,
    work: Work,
    seed: int,
    *,
    enough: bool = False,
) -> list[Run] | None:
    """Runs of the library that have ended; with ``enough`` they end where the strip goes on the sheet."""
    given = strip_job(problem.variants, copies, bench, problem.gap, seed)
    if given is None or _nests_in_holes(problem, copies):
        return None
    job = {**given[0], "work": share, "patience": PATIENCE}
    if enough:
        job["enough"] = bench.high[bench.axis] - bench.low[bench.axis] + 2 * problem.gap
    # few parts: two runs from different seeds, for luck differs more than a second worker helps
    each = [(1, seed), (1, seed + SEEDS_APART)] if len(copies) <= FEW_COPIES else [(2, seed)]
    runs = [start({**job, "workers": w, "seed": s}, given[1], bench, problem.gap) for w, s in each]
    try:
        for run in runs:
            work.cut_short |= not run.wait(work.left())
    finally:
        for run in runs:
            run.stop()
    work.done += max(run.done for run in runs) if enough else share
    return runs


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


def _from_engine(problem: Problem, best: Nest, runs: list[Run], work: Work, better: Callable[[Nest], None]) -> Nest:
    """The better of ``best`` and what the library found, made exact: the shortest, then others while work is left."""
    sheet, _ = problem.short_side(best)
    held = [i for i, s in enumerate(best.spots) if s is not None]
    here = [k for k, i in enumerate(held) if best.spots[i].sheet == sheet]  # type: ignore[union-attr]
    start = best
    copies = [problem.copies[held[k]] for k in here]
    told = sorted((each for run in runs for each in run.layouts(copies, sheet)), key=lambda each: each[0])
    for number, (_, found) in enumerate(told):
        if number and work.over():
            break
        before = problem.grid.spent
        spots = [s for s in start.spots if s is not None]
        for k, spot in zip(here, found, strict=True):
            spots[k] = spot
        legal = settle_no_longer(problem.grid, problem.benches(best.kinds), spots, sheet, problem.grid.step)
        work.done += problem.grid.spent - before
        if legal is not None and not faults(problem, wrap(start, held, legal)):
            best = tighten(problem, best, held, legal, sheet, work, better)[0]
    return best
