"""From a first layout to a better one with a shorter last sheet, until the work is used up.

Words used here
    nest      kinds of the sheets in use, and a place on them for every copy
    work      seconds on the machine these figures were measured on, counted from what is done, not from a clock

Nothing here reads a clock; ``Work.clock`` may be given to stop a run early on a slow machine.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

import numpy as np

from ._profile_check import faults
from ._profile_grid import Bench, Grid, Spot, State, separate
from ._profile_quick import Stock, first_layout
from ._profile_sets import part_area, rank_of, sheet_area
from ._profile_shapes import Variant, Variants
from ._profile_squeeze import settle, squeeze, used_length

__all__ = ["Nest", "Problem", "Work", "drop_empty", "quick_nest", "shorten", "solve", "tighten", "wrap"]

CELLS = 12000  # cells of the grid over the area that the parts will fill; tuned by eye
IDLE = 100  # sweeps without gain after which two copies are swapped; tuned by eye
FEW = 40  # copies up to which the first layout is sought on a fine grid and from several sheets
SHRINK, TRY = 0.02, 0.08  # of the length; of the work, for one length


@dataclass(eq=False)
class Work:
    """A budget of work, and who to tell of better nests."""

    total: float
    clock: Callable[[], float] | None = None  # seconds left
    done: float = 0.0
    cut_short: bool = False

    def over(self) -> bool:
        """Whether to stop."""
        if self.late():
            self.cut_short = True
        return self.cut_short or self.done >= self.total

    def late(self) -> bool:
        """Whether the clock has run out."""
        return self.clock is not None and self.clock() <= 0

    def left(self) -> float | None:
        """Seconds left by the clock, at least a moment; None without one."""
        return None if self.clock is None else max(self.clock(), 0.01)


@dataclass(frozen=True, eq=False)
class Nest:
    """Kinds of the sheets used and a place for each copy; None for a copy left out."""

    kinds: tuple[int, ...]
    spots: tuple[Spot | None, ...]


@dataclass(eq=False)
class Problem:
    """What is to be nested: copies by part number, largest first."""

    variants: Variants
    stock: Stock
    copies: tuple[int, ...]
    gap: float
    edge: float
    late: Callable[[], bool] = lambda: False
    grid: Grid = field(init=False)
    _areas: dict[int, float] = field(default_factory=dict)

    def __post_init__(self) -> None:
        area = sum(self.variants.parts[p].outline.area for p in self.copies)
        least = min(min(_sides(self.variants.parts[p].outline.bounds)) for p in self.copies)
        step = math.sqrt(area / 0.8 / CELLS)
        self.grid = Grid(self.variants, self.gap, min(step, max(least / 2, step / 3)), self.late)

    def area(self, part: int) -> float:
        """Area of a part grown by half the gap, mm2."""
        if part not in self._areas:
            self._areas[part] = part_area(self.variants.parts[part], self.gap)
        return self._areas[part]

    def needed(self, copies: Sequence[int]) -> float:
        """Area of copies grown by half the gap, mm2."""
        return math.fsum(self.area(p) for p in copies)

    def benches(self, kinds: Sequence[int]) -> list[Bench]:
        return [Bench(self.stock.sheets[kind], self.edge) for kind in kinds]

    def choices(self, copies: Sequence[int], kinds: Sequence[int]) -> list[list[list[Variant]]]:
        """[copy][sheet] -> variants that may lie there."""
        by_part = {
            part: {kind: self.variants.on(part, self.stock.sheets[kind]) for kind in set(kinds)} for part in set(copies)
        }
        return [[by_part[part][kind] for kind in kinds] for part in copies]

    def score(self, nest: Nest) -> tuple[float, ...]:
        """Less is better: worth left out, area left out, price, sheets, area, length on the sheet to be kept."""
        left = [self.variants.parts[p] for p, s in zip(self.copies, nest.spots, strict=True) if s is None]
        worth = math.fsum(part.priority for part in left)
        area = math.fsum(part.outline.area for part in left)
        rank = rank_of([self.stock.sheets[kind] for kind in nest.kinds])
        return (worth, area, *rank, self.short_side(nest)[1])

    def short_side(self, nest: Nest) -> tuple[int, float]:
        """The sheet with most to spare beyond its parts, and minus the area to spare (mm2)."""
        benches, spots = self.benches(nest.kinds), [s for s in nest.spots if s is not None]
        spare = []
        for number, bench in enumerate(benches):
            free = bench.high[bench.axis] - used_length(benches, spots, number)
            spare.append(free * (bench.high[1 - bench.axis] - bench.low[1 - bench.axis]))
        best = max(range(len(spare)), key=lambda k: spare[k], default=-1)
        return best, -round(spare[best], 3) if best >= 0 else 0.0


def _sides(bounds: tuple[float, float, float, float]) -> tuple[float, float]:
    return bounds[2] - bounds[0], bounds[3] - bounds[1]


def quick_nest(problem: Problem) -> Nest:
    """The best of a few first layouts, each opening sheets in another order."""
    sheets = problem.stock.sheets
    areas = [sheet_area(sheet, problem.gap, problem.edge) for sheet in sheets]
    kinds = [k for k in range(len(sheets)) if sheets[k].quantity != 0 and areas[k] > 0]
    by_price = sorted(kinds, key=lambda k: (sheets[k].price / areas[k], sheets[k].price, -areas[k], k))
    orders = [by_price]
    squares = 12000 if len(problem.copies) <= FEW else 6000 if len(problem.copies) <= 3 * FEW else 3000
    if len(problem.copies) <= FEW:
        orders += [[k, *[o for o in by_price if o != k]] for k in by_price[1:4]]
    best: Nest | None = None
    for order in orders:
        step = math.sqrt(max((areas[k] for k in order), default=1.0) / squares)
        used, spots = first_layout(
            problem.variants, problem.copies, problem.stock, order, gap=problem.gap, edge=problem.edge, step=step
        )
        nest = drop_empty(Nest(tuple(used), tuple(spots)))
        if not faults(problem, nest) and (best is None or problem.score(nest) < problem.score(best)):
            best = nest
    return best or Nest((), (None,) * len(problem.copies))


def drop_empty(nest: Nest) -> Nest:
    """Without sheets that hold nothing."""
    held = sorted({spot.sheet for spot in nest.spots if spot is not None})
    number = {old: new for new, old in enumerate(held)}
    spots = tuple(s and Spot(number[s.sheet], s.variant, s.x, s.y) for s in nest.spots)
    return Nest(tuple(nest.kinds[k] for k in held), spots)


def solve(problem: Problem, state: State, until: float, work: Work, rng: np.random.Generator) -> list[Spot] | None:
    """Separate, then settle exactly; shake and go on until ``until``."""
    grid = state.grid
    while not work.over() and work.done < until:
        before = grid.spent
        limit = before + min(until, work.total) - work.done
        free = separate(state, rng, work=limit, patience=IDLE, stop=work.late)
        near = free or float(state.overlap.sum()) < 3 * grid.step
        found = settle(grid, state.benches, state.spots(), 2 * grid.step) if near else None
        work.done += grid.spent - before
        if found is not None:
            return found
        if grid.spent < limit:
            shake(state, rng)
    return None


def shake(state: State, rng: np.random.Generator) -> None:
    """Swap two copies, large ones more often, and forget the weights."""
    count = len(state.sheet)
    state.weight[:] = 1.0
    if count < 2:
        return
    size = np.array([v.width * v.height for v in state.variant])
    i, k = (int(v) for v in rng.choice(count, size=2, replace=False, p=size / size.sum()))
    places = [state.spots()[n] for n in (i, k)]
    for n, spot in ((i, places[1]), (k, places[0])):
        options = state.choices[n][spot.sheet]
        if options:
            state.sheet[n] = spot.sheet
            state.variant[n] = options[int(rng.integers(len(options)))]
            state.snap(n, spot.x, spot.y)
    state.measure()


# ---------------------------------------------------------------------------------- a shorter last sheet


def shorten(
    problem: Problem,
    best: Nest,
    work: Work,
    rng: np.random.Generator,
    better: Callable[[Nest], None],
    until: float = math.inf,
) -> Nest:
    """Free as much as can be freed at the far end of the sheet that has most to spare.

    Stops when ``work`` is over or its reading reaches ``until``.
    """
    sheet, _ = problem.short_side(best)
    if sheet < 0:
        return best
    held = [i for i, spot in enumerate(best.spots) if spot is not None]
    choices = problem.choices([problem.copies[i] for i in held], best.kinds)
    benches = problem.benches(best.kinds)
    spots = [spot for spot in best.spots if spot is not None]
    until, shrink = min(until, work.total), SHRINK
    shortest = _shortest(problem, best)
    while not work.over() and work.done < until:
        best, spots = tighten(problem, best, held, spots, sheet, work, better)
        if len(best.kinds) < len(benches):  # a sheet has run empty
            return shorten(problem, best, work, rng, better, until)
        length = used_length(benches, spots, sheet)
        if length <= shortest * (1 + 1e-6):
            break
        found = None
        while found is None and not work.over() and work.done < until:
            start = benches[sheet].low[benches[sheet].axis]
            benches[sheet].limit = start + (length - start) * (1 - shrink)
            if not _fits(choices, benches):
                shrink /= 2
                if shrink < 1e-4:
                    return best
                continue
            state = State.of(problem.grid, benches, choices, _turned(spots, choices, benches))
            found = solve(problem, state, min(until, work.done + TRY * work.total), work, rng)
            if found is None:
                shrink = max(shrink * 0.6, 0.002)
        if found is not None and not faults(problem, wrap(best, held, found)):
            spots = found
    return best


def _shortest(problem: Problem, nest: Nest) -> float:
    """A length that the parts of a nest on one sheet cannot go below; 0 where there are more sheets."""
    if len(nest.kinds) != 1:
        return 0.0
    (bench,) = problem.benches(nest.kinds)
    axis, copies = bench.axis, [p for p, s in zip(problem.copies, nest.spots, strict=True) if s is not None]
    longest = max(
        min((v.width, v.height)[axis] for v in problem.variants.on(part, bench.stock)) for part in set(copies)
    )
    across = bench.high[1 - axis] - bench.low[1 - axis] + problem.gap
    by_area = math.fsum(problem.variants.parts[p].outline.area for p in copies) / across
    return bench.low[axis] + max(
        longest, by_area if problem.gap == 0 else problem.needed(copies) / across - problem.gap
    )


def tighten(
    problem: Problem,
    best: Nest,
    held: Sequence[int],
    spots: list[Spot],
    sheet: int,
    work: Work,
    better: Callable[[Nest], None],
) -> tuple[Nest, list[Spot]]:
    """Squeeze a legal layout; the better nest of it and ``best``, and the squeezed places."""
    before = problem.grid.spent
    tight = squeeze(problem.grid, problem.benches(best.kinds), spots, sheet, 3 * problem.grid.step)
    work.done += problem.grid.spent - before
    nest = drop_empty(wrap(best, held, tight))
    if faults(problem, nest):
        return best, spots
    if problem.score(nest) < problem.score(best):
        best = nest
        better(best)
    return best, tight


def wrap(like: Nest, held: Sequence[int], spots: Sequence[Spot]) -> Nest:
    """A nest on the sheets of ``like`` with the copies numbered ``held`` at ``spots``."""
    full: list[Spot | None] = [None] * len(like.spots)
    for i, spot in zip(held, spots, strict=True):
        full[i] = spot
    return Nest(like.kinds, tuple(full))


def _fits(choices: list[list[list[Variant]]], benches: list[Bench]) -> bool:
    """Whether each copy still fits somewhere."""
    return all(any(_goes(v, bench) for s, bench in enumerate(benches) for v in options[s]) for options in choices)


def _goes(variant: Variant, bench: Bench) -> bool:
    x0, y0, x1, y1 = bench.room()
    return variant.width <= x1 - x0 + 1e-6 and variant.height <= y1 - y0 + 1e-6


def _turned(spots: Sequence[Spot], choices: list[list[list[Variant]]], benches: list[Bench]) -> list[Spot]:
    """The same, with copies that no longer fit as they lie given a turn that does."""
    found = []
    for spot, options in zip(spots, choices, strict=True):
        if not _goes(spot.variant, benches[spot.sheet]):
            s, v = next((s, v) for s, bench in enumerate(benches) for v in options[s] if _goes(v, bench))
            spot = Spot(s, v, spot.x, spot.y)
        found.append(spot)
    return found
