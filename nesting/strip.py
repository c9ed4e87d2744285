"""Pack true shapes on a strip of given height as short as they go, for comparison with published bests.

    pack_strip(parts, 40.0, seconds=20, rotations=(0, 180)) -> Strip

A shop's sheets go through ``nest``; this serves a coil, and ``benchmarks/nest_profile.py``.
"""

from __future__ import annotations

import math
import time
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from shapely import affinity

from ._profile_check import faults
from ._profile_engine import available, cores, start, strip_job
from ._profile_quick import Stock
from ._profile_search import Nest, Problem, Work, quick_nest, shorten, tighten, wrap
from ._profile_shapes import Variants
from ._profile_squeeze import settle_no_longer, used_length
from .errors import BadPart, BadSetting, LayoutFault
from .model import Part, Placed, Rotations, Sheet
from .profile import work_for

__all__ = ["Strip", "pack_strip", "strip_by_work"]

MOST_RUNS, FEW_COPIES = 4, 30  # tuned on the published strips
QUICK_LENGTH = 2.5  # of the area bound, the length first tried


@dataclass(frozen=True)
class Strip:
    """A packed strip: ``length`` along x, ``height`` along y, mm; ``density`` is part area over length x height."""

    height: float
    length: float
    placed: tuple[Placed, ...]
    density: float


def pack_strip(
    parts: Sequence[Part],
    height: float,
    *,
    gap_mm: float = 0.0,
    seconds: float = 20.0,
    seed: int = 0,
    rotations: Rotations = None,
    library: bool = True,
) -> Strip:
    """Pack every copy of every part on a strip ``height`` mm high, as short as can be found in ``seconds``.

    The gap is kept between parts, not to the strip's edges. ``library`` False, or no strip packing library
    installed: our own search alone, which is the same for the same seed. With the library, its own clock
    decides, and two runs may differ.

    Raises
    ------
    BadSetting
        If the height is not more than 0, or a gap or time is less than 0.
    BadPart
        If a part fits the strip in none of its turns, or there is no part.
    LayoutFault
        If the result fails its own check; never expected.

    Examples
    --------
    >>> from shapely.geometry import box
    >>> pack_strip([Part("tile", box(0, 0, 10, 5), 4)], 10.0, seconds=1, library=False).length
    20.0
    """
    for name, value in (("height", height), ("gap_mm", gap_mm), ("seconds", seconds)):
        if not (math.isfinite(value) and value >= 0) or (name == "height" and value == 0):
            raise BadSetting(name, value, "more than 0" if name == "height" else "0 or more")
    work = work_for(seconds)
    problem, best = _start(tuple(parts), height, gap_mm, rotations)
    if library and available():
        best = _with_library(problem, best, seconds, seed, work)
    else:
        best = shorten(problem, best, work, np.random.default_rng(seed), lambda _: None)
    return _finished(problem, best, height)


def strip_by_work(
    parts: Sequence[Part], height: float, *, work: Work, gap_mm: float = 0.0, seed: int = 0, rotations: Rotations = None
) -> Strip:
    """``pack_strip`` by our own search with the work spelled out; without a clock the same on every machine."""
    problem, best = _start(tuple(parts), height, gap_mm, rotations)
    return _finished(problem, shorten(problem, best, work, np.random.default_rng(seed), lambda _: None), height)


def _finished(problem: Problem, best: Nest, height: float) -> Strip:
    """The strip that a nest makes, checked."""
    wrong = faults(problem, best)
    if wrong:
        raise LayoutFault("gap", (), 0, math.nan, problem.gap, "; ".join(wrong))
    parts = problem.variants.parts
    placed = tuple(
        Placed(parts[part], 0, affinity.translate(s.variant.outline, s.x, s.y), s.variant.turn, s.variant.flipped)
        for part, s in zip(problem.copies, best.spots, strict=True)
        if s is not None
    )
    length = max(item.outline.bounds[2] for item in placed)
    return Strip(height, length, placed, math.fsum(item.outline.area for item in placed) / (height * length))


def _start(parts: tuple[Part, ...], height: float, gap: float, rotations: Rotations) -> tuple[Problem, Nest]:
    """A strip long enough for a first layout, and that layout."""
    copies = tuple(p for p in sorted(range(len(parts)), key=lambda p: (-parts[p].outline.area, p))
                   for _ in range(parts[p].quantity))  # fmt: skip
    if not copies:
        raise BadPart("(none)", "there is no part to pack")
    variants = Variants(parts, rotations)
    area = math.fsum(parts[p].outline.area for p in copies)
    largest = max(math.hypot(v.width, v.height) for v in variants.on(copies[0], Sheet("strip", height, height)))
    length = max(QUICK_LENGTH * area / height + largest, 1.01 * height)
    for _ in range(12):
        problem = Problem(variants, Stock((Sheet("strip", length, height, quantity=1, grain=None),)), copies, gap, 0.0)
        best = quick_nest(problem)
        missing = [p for p, s in zip(copies, best.spots, strict=True) if s is None]
        if not missing:
            return problem, best
        length *= 1.6
    name = parts[missing[0]].name
    raise BadPart(name, f"it fits the strip, {height:g} mm high, in none of its turns")


def _with_library(problem: Problem, best: Nest, seconds: float, seed: int, work: Work) -> Nest:
    """What the library finds in the time, made exact and squeezed."""
    begun, bench = time.monotonic(), problem.benches(best.kinds)[0]
    job = strip_job(problem.variants, problem.copies, bench, problem.gap, seed)
    if job is None:
        return best
    # few parts: a run a core, from different seeds, for luck differs more than cores help; many: all cores on one
    several = min(cores(), MOST_RUNS) if len(problem.copies) <= FEW_COPIES else 1
    workers = {"workers": 1} if several > 1 else {}
    runs = [
        start({**job[0], "seed": seed + k, "seconds": max(2.0, seconds - 1.0), **workers}, job[1], bench, problem.gap)
        for k in range(several)
    ]
    try:
        for run in runs:
            run.wait(max(0.1, seconds + 5.0 - (time.monotonic() - begun)))
    finally:
        for run in runs:
            run.stop()
    held = list(range(len(problem.copies)))
    layouts = [spots for run in runs for spots in run.layouts(problem.copies, 0)]
    for spots in sorted(layouts, key=lambda spots: used_length([bench], spots, 0)):
        legal = settle_no_longer(problem.grid, [bench], spots, 0, problem.grid.step)
        if legal is not None and not faults(problem, wrap(best, held, legal)):
            if problem.score(wrap(best, held, legal)) < problem.score(best):
                best = wrap(best, held, legal)
            best, _ = tighten(problem, best, held, legal, 0, work, lambda _: None)
    return best
