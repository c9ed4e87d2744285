"""Nest true shapes for cutting by outline: plasma, snips, router.

    place_profile(parts, sheets, gap_mm=6, edge_mm=0, seconds=20, seed=0) -> Placement

Words used here
    quick     a first legal layout, within a second
    search    our own: overlaps allowed and driven out, on any sheet, with holes, damage, part in part
    work      what ``seconds`` buys: a fixed amount of it a second, so that the same input and seed
              give the same layout however busy the machine is. Only where a machine is so slow that the
              work would take some seconds longer than ``seconds`` does the clock end the run, and then a note says so.

Every layout that leaves here has been checked with plain geometry (``_profile_check``): overlap, gap and edge
to 1e-6 mm.
"""

from __future__ import annotations

import math
import time
from collections.abc import Sequence
from functools import partial

import numpy as np
from shapely import affinity

from ._profile_check import faults
from ._profile_climb import climb_down, fill_up
from ._profile_engine import available
from ._profile_grid import OutOfTime
from ._profile_library import pack_sheet, shorten_by_library
from ._profile_quick import Stock
from ._profile_search import Nest, Problem, Work, quick_nest, shorten
from ._profile_sets import part_area, rank_of, sheet_area, sheet_sets
from ._profile_shapes import Variants
from .errors import BadSetting, LayoutFault
from .model import OnBetter, Part, Placed, Placement, Rotations, Sheet, Unplaced

__all__ = ["place_by_work", "place_profile", "work_for"]

WORK_PER_SECOND = 0.5  # a quiet core of 2026 does about 0.7: there is a quarter to spare before the clock decides
SLACK = 3.0  # seconds over before the clock decides: a short search on a busy machine shall still come out the same
CLOCK_NOTE = "The clock ended the search before its work was done; another run may differ."
STOP_NOTE = "Stopped by hand: the best layout found until then."


def place_profile(
    parts: Sequence[Part],
    sheets: Sequence[Sheet],
    *,
    gap_mm: float = 0.0,
    edge_mm: float = 0.0,
    seconds: float = 20.0,
    seed: int = 0,
    rotations: Rotations = None,
    on_better: OnBetter | None = None,
) -> Placement:
    """Place true shapes on the cheapest sheets, with as much as can be freed at the end of one of them.

    Parameters
    ----------
    gap_mm, edge_mm : float
        Least distance between true outlines, and from an outline to the sheet's edge or a blocked place.
    seconds : float
        About how long to search; the first legal layout comes within one whatever it is.
    rotations
        See ``model.allowed_turns``. Where any turn would do: quarter turns of the part as drawn and of the part
        laid along its snuggest rectangle.
    on_better : callable, optional
        Called with each better ``Placement``.

    Returns
    -------
    Placement
        ``bound`` is proven by area alone. Interrupted (Ctrl-C), the best layout so far, with a note.

    Raises
    ------
    BadSetting
        If a length or the time is negative or not a number.
    LayoutFault
        If the finished layout fails its own check; never expected.
    """
    for name, value in (("gap_mm", gap_mm), ("edge_mm", edge_mm), ("seconds", seconds)):
        if not (math.isfinite(value) and value >= 0):
            raise BadSetting(name, value, "0 or more")
    work = work_for(seconds)
    return place_by_work(
        tuple(parts), tuple(sheets), gap_mm=gap_mm, edge_mm=edge_mm, work=work, seed=seed, rotations=rotations,
        on_better=on_better,
    )  # fmt: skip


def work_for(seconds: float) -> Work:
    """What may be done in ``seconds``, with a clock that ends it if that takes `SLACK` seconds longer."""
    end = time.monotonic() + seconds + SLACK
    return Work(seconds * WORK_PER_SECOND, lambda: end - time.monotonic())


def place_by_work(
    parts: tuple[Part, ...],
    sheets: tuple[Sheet, ...],
    *,
    gap_mm: float,
    edge_mm: float,
    work: Work,
    seed: int,
    rotations: Rotations,
    on_better: OnBetter | None = None,
    engine: bool = True,
) -> Placement:
    """``place_profile`` with the work spelled out; without a clock the same on every machine."""
    variants = Variants(parts, rotations)
    order = sorted(range(len(parts)), key=lambda p: (-parts[p].priority, -parts[p].outline.area, p))
    copies = tuple(p for p in order for _ in range(parts[p].quantity))
    if not copies or not sheets:
        return Placement((), (), tuple(_left(parts, sheets, copies, [], gap_mm, edge_mm, rotations)))
    problem = Problem(variants, Stock(sheets), copies, gap_mm, edge_mm, work.late)
    best, notes, stopped = quick_nest(problem), [], False

    def better(nest: Nest) -> None:
        nonlocal best
        best = nest
        if on_better is not None:
            on_better(_placement(problem, nest, ()))

    try:
        better(best)
        rng = np.random.default_rng(seed)
        best = fill_up(problem, best, work, rng, better)
        library = engine and available()
        ask = partial(pack_sheet, problem, work, seed) if library else None
        best = climb_down(problem, best, work, rng, better, ask)
        if library:
            best = shorten_by_library(problem, best, work, seed, better)
        best = shorten(problem, best, work, rng, better)
    except OutOfTime:
        work.cut_short = True
    except KeyboardInterrupt:
        stopped = True
        notes.append(STOP_NOTE)
    if work.cut_short:
        notes.append(CLOCK_NOTE)
    wrong = faults(problem, best)
    if wrong:
        raise LayoutFault("gap", (), None, math.nan, gap_mm, "; ".join(wrong))
    return _placement(problem, best, tuple(notes), stopped)


def _placement(problem: Problem, nest: Nest, notes: tuple[str, ...], stopped: bool = False) -> Placement:
    parts, sheets = problem.variants.parts, problem.stock.sheets
    placed = []
    for part, spot in zip(problem.copies, nest.spots, strict=True):
        if spot is not None:
            outline = affinity.translate(spot.variant.outline, spot.x, spot.y)
            placed.append(Placed(parts[part], spot.sheet, outline, spot.variant.turn, spot.variant.flipped))
    placed.sort(key=lambda item: item.sheet)
    missing = [p for p, s in zip(problem.copies, nest.spots, strict=True) if s is None]
    unplaced = tuple(_left(parts, sheets, missing, nest.kinds, problem.gap, problem.edge, problem.variants.rotations))
    used = tuple(sheets[kind] for kind in nest.kinds)
    bound = 0.0 if unplaced else _bound(problem, used)
    cost = rank_of(used)
    reached = cost[0] if any(s.price > 0 for s in sheets) else cost[1]
    return Placement(
        tuple(placed),
        used,
        unplaced,
        bound=bound,
        proven=not unplaced and reached <= bound + 1e-9,
        stopped=stopped,
        notes=notes,
    )


def _bound(problem: Problem, used: tuple[Sheet, ...]) -> float:
    """Least price (number of sheets where all are free) that any nest of all copies must have."""
    sheets = problem.stock.sheets
    parts = problem.variants.parts
    each = {p: part_area(parts[p], problem.gap) for p in set(problem.copies)}
    needed = math.fsum(each[p] for p in problem.copies)
    areas = [sheet_area(sheet, problem.gap, problem.edge) for sheet in sheets]
    _, rank = sheet_sets(sheets, needed, areas, below=rank_of(used), most=1)
    return float(rank[0] if any(s.price > 0 for s in sheets) else rank[1])


def _left(
    parts: Sequence[Part],
    sheets: Sequence[Sheet],
    missing: Sequence[int],
    kinds: Sequence[int],
    gap: float,
    edge: float,
    rotations: Rotations,
) -> list[Unplaced]:
    """Why each missing part has no place, in a sentence."""
    from ._profile_grid import Bench

    variants = Variants(tuple(parts), rotations)
    found = []
    for part in sorted(set(missing)):
        count = sum(p == part for p in missing)
        stock = [s for s in sheets if s.quantity != 0]
        tight: list[tuple[float, str]] = []
        for sheet in stock:
            bench = Bench(sheet, edge)
            room = bench.high[0] - bench.low[0], bench.high[1] - bench.low[1]
            for v in variants.on(part, sheet):
                over = max(v.width - room[0], v.height - room[1])
                tight.append((over, f"{v.width:.1f} x {v.height:.1f} mm as it must lie; usable on {sheet.name!r}: "
                              f"{room[0]:.1f} x {room[1]:.1f} mm"))  # fmt: skip
        if not stock:
            why = "there is no sheet to put it on"
        elif min(tight)[0] > 1e-6:
            over, text = min(tight)
            why = f"too big by {over:.1f} mm for the nearest sheet: {text}; use a larger sheet or add a seam"
        else:
            why = f"no room left on the sheets given, with a gap of {gap:g} mm and a margin of {edge:g} mm"
        found.append(Unplaced(parts[part], why, count))
    return found
