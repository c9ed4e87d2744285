"""Nesting for a shear: bounding rectangles, straight cuts from edge to edge, any number of stages.

Small jobs are solved to proof (``shear_exact``). Larger ones start from quick layouts (``quick`` and our own
greedy) and
are improved until their time is up (``shear_search``), always with a lower bound beside them.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Sequence

from ._guillotine import NO_LIMIT
from .errors import BadPart
from .model import Cut, OnBetter, Part, Placement, Rotations, Sheet, Unplaced
from .quick import quick_plan
from .shear_cuts import realise
from .shear_exact import exact_seconds, solve_exact, starting_grid
from .shear_improve import OFFCUT_SHARE, improve, into_one_sheet, polish, widen_offcuts
from .shear_job import Job, Wishes, make_job
from .shear_plan import Plan, cost_of, plan_of, rank
from .shear_search import Watch, area_bound, greedy_plans
from .shear_strip import shorten
from .shear_value import fill_one_sheet

__all__ = ["place_shear", "shortest_plan"]

EXACT_SHARE = 0.7  # of the time given that the proof may be foreseen to take
OFFCUT_MOST_SECONDS = 30.0  # and never more than this, once the cost is settled
SETTLED_SHARE = 0.2  # the same where the cost is settled and only offcuts are left to win


def place_shear(
    parts: tuple[Part, ...],
    sheets: tuple[Sheet, ...],
    *,
    gap_mm: float,
    edge_mm: float,
    seconds: float,
    seed: int,
    rotations: Rotations = None,
    squaring_mm: float = 0.0,
    longest_cut_mm: float | None = None,
    smallest_strip_mm: float = 0.0,
    prefer: Sequence[str] = Wishes.prefer,
    keep_side_mm: float = 150.0,
    keep_area_mm2: float = 60000.0,
    on_better: OnBetter | None = None,
) -> Placement:
    """Place the parts' bounding rectangles; see ``nest`` for the settings and ``Placement`` for what comes back."""
    wishes = Wishes(tuple(prefer), keep_side_mm, keep_area_mm2, squaring_mm)
    job = make_job(
        parts,
        sheets,
        gap_mm=gap_mm,
        edge_mm=edge_mm,
        longest_mm=longest_cut_mm,
        rotations=rotations,
        wishes=wishes,
    )

    def finish(plan: Plan, bound: float, proven: bool, stopped: bool = False) -> Placement:
        return placement_of(job, plan, bound, proven, stopped=stopped, smallest_strip_mm=smallest_strip_mm)

    if not job.kinds:
        return finish(Plan(()), 0.0, True)

    def tell(plan: Plan, bound: float) -> None:
        if on_better is not None:
            on_better(finish(plan, bound, False))

    watch = Watch(seconds)
    bound = area_bound(job)
    best: Plan | None = None
    proven = False
    try:
        for plan in greedy_plans(job):
            if best is None or rank(job, plan) < rank(job, best):
                best = plan
                tell(best, bound)
        assert best is not None
        quick = quick_plan(job, tries=_quick_tries(job), seed=seed)
        if quick is not None and rank(job, quick) < rank(job, best):
            best = quick
            tell(best, bound)
        only = _only_sheet(job)
        if best.left and only is not None:
            best, proven = fill_one_sheet(job, only, best, watch)
            if proven:
                return finish(best, cost_of(job, best), True)
        if cost_of(job, best) > bound + 1e-9:
            best = into_one_sheet(job, best, bound, watch, seed, tell)
        settled = not best.left and cost_of(job, best) <= bound + 1e-9
        foreseen = exact_seconds(job)
        exactly = foreseen <= (SETTLED_SHARE if settled else EXACT_SHARE) * seconds
        if exactly:
            best, bound, proven = _exactly(job, best, bound, watch)
        if not proven:
            best, bound, proven = improve(job, best, bound, watch, seed, tell)
        if not exactly:
            spare = watch.part(min(OFFCUT_SHARE * seconds, OFFCUT_MOST_SECONDS))
            best = widen_offcuts(job, best, spare, seed, lambda plan: tell(plan, bound))
        best = polish(job, best, seed)
    except KeyboardInterrupt:
        if best is None:
            raise
        return finish(best, bound, False, True)
    proven = proven or (not best.left and cost_of(job, best) <= bound + 1e-9)
    return finish(best, bound, proven)


def _exactly(job: Job, best: Plan, bound: float, watch: Watch) -> tuple[Plan, float, bool]:
    """The exact recursion, on a finer grid again while plan and bound disagree and there is time for it."""
    grid, free = starting_grid(job), job.longest == NO_LIMIT
    while True:
        exact = solve_exact(job, grid)
        watch.spend(exact_seconds(job, grid))
        if free:  # under a limit boxes are kept a little short of it: no proof
            bound = max(bound, exact.bound)
        if rank(job, exact.plan) < rank(job, best):
            best = exact.plan
        if exact.proven and free:
            return best, bound, True
        grid //= 2
        if not free or best.left or grid < 1 or exact_seconds(job, grid) > 0.9 * watch.left:
            return best, bound, False


def _only_sheet(job: Job) -> int | None:
    """The stock of the one sheet there is, if there is only one."""
    have = [s for s, one in enumerate(job.stocks) if one.limit != 0]
    return have[0] if len(have) == 1 and job.stocks[have[0]].limit == 1 else None


def placement_of(
    job: Job, plan: Plan, bound: float, proven: bool, *, stopped: bool = False, smallest_strip_mm: float = 0.0
) -> Placement:
    """A plan laid out on its real sheets, with cuts, offcuts and what was left out."""
    real = realise(job, plan)
    return Placement(
        placed=real.placed,
        used=tuple(job.stocks[stock].sheet for stock, _ in plan.sheets),
        unplaced=(*job.hopeless, *_left(job, plan)),
        bound=min(bound, cost_of(job, plan)) if not plan.left else bound,
        proven=proven,
        cuts=real.cuts,
        offcuts=real.offcuts,
        notes=_strip_notes(real.cuts, job, plan, smallest_strip_mm),
        stopped=stopped,
    )


def shortest_plan(
    parts: tuple[Part, ...],
    width_mm: float,
    *,
    gap_mm: float,
    edge_mm: float,
    seconds: float,
    seed: int,
    rotations: Rotations,
    grain: str | None,
) -> tuple[float, float, bool, Placement]:
    """Shortest sheet of this width for everything: its length, a proven lower bound, whether they meet, the
    layout."""
    tall = sum(part.quantity * (max(_reach(part), 0.0) + gap_mm) for part in parts) + 2 * edge_mm + 1.0

    def job_for(height: float) -> Job:
        return make_job(
            parts,
            (Sheet("strip", width_mm, height, grain=grain),),
            gap_mm=gap_mm,
            edge_mm=edge_mm,
            rotations=rotations,
            wishes=Wishes((), math.inf, math.inf),  # what is over in length is not an offcut here
        )

    job = job_for(tall)
    if job.hopeless:
        raise BadPart(job.hopeless[0].part.name, job.hopeless[0].why)
    kinds = [k for k, kind in enumerate(job.kinds) for _ in kind.parts]
    strip = shorten(job, 0, kinds, Watch(seconds), seed)
    over = 2 * edge_mm - gap_mm
    length, bound = strip.tree[4] * job.unit + over, strip.bound * job.unit + over
    final = job_for(length + (0.0 if job.exact else job.unit))
    plan = plan_of(final, [(0, strip.tree)])
    placement = placement_of(final, plan, 0.0, strip.proven)
    return length, min(bound, length), strip.proven, placement


def _reach(part: Part) -> float:
    """No turn of the part is taller than this."""
    x0, y0, x1, y1 = part.outline.bounds
    return math.hypot(x1 - x0, y1 - y0)


def _strip_notes(cuts: tuple[Cut, ...], job: Job, plan: Plan, smallest_strip_mm: float) -> tuple[str, ...]:
    """A note for each cut that leaves the shear's hold-downs less than they need on both sides of the blade."""
    spans = {
        str(i + 1): (job.stocks[s].sheet.width, job.stocks[s].sheet.height) for i, (s, _) in enumerate(plan.sheets)
    }
    notes = []
    for cut in cuts:
        width, height = spans[cut.piece]
        across = width if cut.axis == "x" else height
        near, far = cut.distance, across - cut.distance
        spans[cut.makes[0]] = (near, height) if cut.axis == "x" else (width, near)
        spans[cut.makes[1]] = (far, height) if cut.axis == "x" else (width, far)
        if max(near, far) < smallest_strip_mm - 1e-6:
            notes.append(
                f"cut {cut.order} leaves {near:.1f} mm and {far:.1f} mm to hold; the shear needs "
                f"{smallest_strip_mm:.1f} mm: make it with snips"
            )
    return tuple(notes)


def _quick_tries(job: Job) -> int:
    """How many rectpack layouts to ask for: 24 of a usual job, fewer of a large one; about half a second at most."""
    return max(4, min(24, 2400 // max(1, sum(job.counts))))


def _left(job: Job, plan: Plan) -> list[Unplaced]:
    """Why each kind was left out: the sheets ran out."""
    copies = Counter(plan.left)
    out = []
    for kind, count in sorted(copies.items()):
        names = Counter(job.kinds[kind].parts[-count:])
        for p, many in sorted(names.items()):
            part = job.parts[p]
            have = ", ".join(f"{one.limit} of {one.sheet.name}" for one in job.stocks if one.limit is not None)
            out.append(Unplaced(part, f"{part.name}: no room left for {many} on the sheets in stock ({have})", many))
    return out
