"""Pack true shapes on a strip of given height as short as they go, for comparison with published bests.

    pack_strip(parts, 40.0, seconds=20, rotations=(0, 180)) -> Strip

A shop's sheets go through ``nest``; this serves a coil, and ``benchmarks/nest_profile.py``.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from ._profile_quick import Stock
from ._profile_search import Problem, Work, quick_nest
from ._profile_shapes import Variants
from .errors import BadPart, BadSetting
from .model import Part, Placed, Rotations, Sheet
from .profile import place_by_work, work_for

__all__ = ["Strip", "pack_strip", "strip_by_work"]

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
    installed: our own search alone. The same seed gives the same strip, as in ``place_profile``.

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
    return strip_by_work(
        parts, height, work=work_for(seconds), gap_mm=gap_mm, seed=seed, rotations=rotations, library=library
    )


def strip_by_work(
    parts: Sequence[Part],
    height: float,
    *,
    work: Work,
    gap_mm: float = 0.0,
    seed: int = 0,
    rotations: Rotations = None,
    library: bool = True,
) -> Strip:
    """``pack_strip`` with the work spelled out; without a clock the same on every machine."""
    sheet = _long_enough(tuple(parts), height, gap_mm, rotations)
    found = place_by_work(
        tuple(parts), (sheet,), gap_mm=gap_mm, edge_mm=0.0, work=work, seed=seed, rotations=rotations, engine=library
    )
    length = max(item.outline.bounds[2] for item in found.placed)
    area = math.fsum(item.outline.area for item in found.placed)
    return Strip(height, length, found.placed, area / (height * length))


def _long_enough(parts: tuple[Part, ...], height: float, gap: float, rotations: Rotations) -> Sheet:
    """A strip long enough for a first layout."""
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
