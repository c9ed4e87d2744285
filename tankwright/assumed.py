"""The assumptions box of every paper: metal, folds, margins, how skins are laid flat."""

from __future__ import annotations

from functools import partial
from typing import TYPE_CHECKING

from .units import show_length, show_thickness

if TYPE_CHECKING:
    from .load import Job

__all__ = ["SKIN_K", "assumptions"]

#: Skins are shaped at radii many times their thickness, where the neutral surface lies in the middle
#: (DIN 6935: K = 0.5 from r/t = 5 upward).
SKIN_K = 0.5


def assumptions(job: Job) -> tuple[tuple[str, str], ...]:
    """Name and words of everything that the papers take for granted."""
    allowances, show = job.allowances, partial(show_length, unit=job.unit)
    _, stock_note = job.shop.sheets_for(job.metal.name, job.thickness)
    rows = [
        ("metal", f"{job.metal.name}, {show_thickness(job.thickness, job.unit)}"),
        ("patterns show", f"the {job.surface} of the finished tank, one half; the other side is its mirror image"),
        ("skins", f"laid flat at the neutral surface, K = {SKIN_K} (shaped at radii over 5 thicknesses)"),
        ("crowned skins", f"laid flat for {_aim_words(job)}"),
        ("folds", f"inside radius {show(job.fold_radius)}, {job.k.words}"),
        (
            "margins",
            f"left outside the net outline: {show(allowances.formed)} on formed pieces, {show(allowances.rolled)} on "
            f"rolled, {show(allowances.folded)} on folded, {show(allowances.flat)} on flat ones",
        ),
        ("mass", "blanks trimmed, with the laps, lips, doublers and baffles that stay; no weld, no fittings"),
        ("corners", "pieces meet at the middle of their thickness; edges are dressed to fit before welding"),
        (
            "capacity",
            f"tolerance: every outline may have been read {show(1.0)} off; air space left above the fuel (ullage) "
            f"{job.shop.ullage_percent:.1f} %",
        ),
        ("reading", "points as given; smooth between them but for marked corners"),
    ]
    if stock_note:
        rows.append(("stock", stock_note))
    return tuple(rows)


def _aim_words(job: Job) -> str:
    """``the least work in all (aim even); crown: the least strain at its worst place (aim least worst)``."""
    words = {
        "even": "the least work in all (aim even)",
        "least worst": "the least strain at the worst place (aim least worst)",
    }
    forming = job.shop.forming
    rules = [("", forming.aim, forming.shrink_cost)]
    rules += [(f"{rule.name}: ", rule.aim, rule.shrink_cost) for rule in forming.panels]
    return "; ".join(
        f"{name}{words[aim]}" + (f", shrinking {cost:g} times as dear" if cost != 1 else "")
        for name, aim, cost in rules
    )
