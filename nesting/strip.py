"""How short a strip of given height can be: true shapes for a coil, or for comparison with published bests.

    pack_strip(parts, 40.0, seconds=20, rotations=(0, 180)) -> Strip

A shop's sheets go through ``nest``, which also leaves the sheet with most to spare as short in use as it can;
``shortest_length`` asks the same of the shear.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import TYPE_CHECKING

from .errors import BadPart, BadSetting
from .model import OnBetter, Part, Placed, Placement, Rotations, Sheet

if TYPE_CHECKING:
    from ._profile_search import Work

__all__ = ["Strip", "pack_strip", "strip_by_work"]

QUICK_LENGTH = 2.5  # of the area bound, the length first tried


@dataclass(frozen=True)
class Strip:
    """A packed strip.

    ``length`` along x and ``height`` along y, mm; ``density`` is part area over length x height. ``placed`` as in
    ``Layout``, every copy of every part, the strip's corner at the origin. ``stopped``: by hand (Ctrl-C). ``notes``
    say so, and whether the clock cut the search short (then another run may differ).
    """

    height: float
    length: float
    placed: tuple[Placed, ...]
    density: float
    stopped: bool = False
    notes: tuple[str, ...] = ()


def pack_strip(
    parts: Iterable[Part],
    height: float,
    *,
    gap_mm: float = 0.0,
    seconds: float = 20.0,
    seed: int = 0,
    rotations: Rotations = None,
    library: bool = True,
    on_better: Callable[[Strip], None] | None = None,
) -> Strip:
    """Pack every copy of every part on a strip ``height`` mm high, as short as can be found in ``seconds``.

    Parameters
    ----------
    parts : Part values, mm. Grain is not looked at: turns that may not be are left out of ``rotations``.
    height : the strip's fixed side, mm, along y.
    gap_mm : least distance between two parts; none is kept to the strip's edges.
    seconds : about how long to search; the first layout comes within one whatever it is.
    seed : the same input and seed give the same strip, as in ``nest``.
    rotations : turns in degrees that a part may have, for all parts or per part name ("*" for the rest). None: the four
        quarter turns.
    library : False, or no strip packing library installed: our own search alone.
    on_better : called with each shorter strip as it is found. An interrupt (Ctrl-C) ends the search and returns
        the best so far, with ``stopped`` true.

    Returns
    -------
    Strip
        Checked with plain geometry, as every layout: overlap, gap and edge to 1e-6 mm.

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
    from .profile import work_for

    for name, value in (("height", height), ("gap_mm", gap_mm), ("seconds", seconds)):
        if not (math.isfinite(value) and value >= 0) or (name == "height" and value == 0):
            raise BadSetting(name, value, "more than 0" if name == "height" else "0 or more")
    return strip_by_work(
        parts, height, work=work_for(seconds), gap_mm=gap_mm, seed=seed, rotations=rotations, library=library,
        on_better=on_better,
    )  # fmt: skip


def strip_by_work(
    parts: Iterable[Part],
    height: float,
    *,
    work: Work,
    gap_mm: float = 0.0,
    seed: int = 0,
    rotations: Rotations = None,
    library: bool = True,
    on_better: Callable[[Strip], None] | None = None,
) -> Strip:
    """``pack_strip`` with the work spelled out; without a clock the same on every machine."""
    from .profile import place_by_work

    parts = tuple(parts)
    sheet = _long_enough(parts, height, gap_mm, rotations)
    watcher: OnBetter | None = None
    if on_better is not None:
        tell = on_better

        def watcher(found: Placement) -> None:
            tell(_strip(found, height))

    return _strip(
        place_by_work(
            parts, (sheet,), gap_mm=gap_mm, edge_mm=0.0, work=work, seed=seed, rotations=rotations, engine=library,
            on_better=watcher,
        ),
        height,
    )  # fmt: skip


def _strip(found: Placement, height: float) -> Strip:
    length = max(item.outline.bounds[2] for item in found.placed)
    area = math.fsum(item.outline.area for item in found.placed)
    return Strip(height, length, found.placed, area / (height * length), found.stopped, found.notes)


def _long_enough(parts: tuple[Part, ...], height: float, gap: float, rotations: Rotations) -> Sheet:
    """A strip long enough for a first layout."""
    from ._profile_quick import Stock
    from ._profile_search import Problem, quick_nest
    from ._profile_shapes import Variants

    copies = tuple(p for p in sorted(range(len(parts)), key=lambda p: (-parts[p].outline.area, p))
                   for _ in range(parts[p].quantity))  # fmt: skip
    if not copies:
        raise BadPart("(none)", "there is no part to pack")
    variants = Variants(parts, rotations)
    area = math.fsum(parts[p].outline.area for p in copies)
    largest = max(math.hypot(v.width, v.height) for v in variants.on(copies[0], Sheet("strip", height, height)))
    length = max(QUICK_LENGTH * area / height + largest, 1.01 * height)
    for _ in range(12):
        sheet = Sheet("strip", length, height, quantity=1, grain=None)
        best = quick_nest(Problem(variants, Stock((sheet,)), copies, gap, 0.0))
        missing = [p for p, s in zip(copies, best.spots, strict=True) if s is None]
        if not missing:
            return sheet
        length *= 1.6
    name = parts[missing[0]].name
    raise BadPart(name, f"it fits the strip, {height:g} mm high, in none of its turns")
