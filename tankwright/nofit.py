"""What to say where blanks do not go on the sheets there are: the blank, the sheets, the shear, what to try."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from .errors import Finding, JobError
from .rack import from_rack
from .units import show_length, show_size

if TYPE_CHECKING:
    from nesting import Layout, Sheet

    from .load import Job

__all__ = ["no_fit"]


def no_fit(job: Job, layout: Layout, sheets: Sequence[Sheet]) -> JobError:
    """The mistake in a layout that leaves blanks out: one for all where the shear cuts none of the sheets."""
    longest = job.shop.nesting.longest_cut if layout.cutting == "shear" else None
    there = [sheet for sheet in sheets if sheet.quantity != 0]
    if longest is not None and there and all(_across(sheet) > longest for sheet in there):
        return JobError([_short_blade(job, longest, min(there, key=_across))])
    remedy = _remedy(job, sheets, longest)
    return JobError(
        [
            Finding("stop", f"{item.part.name} does not go on any sheet in stock: {item.why}", remedy=remedy)
            for item in layout.unplaced
        ]
    )


def _across(sheet: Sheet) -> float:
    """The shortest first cut that a sheet can be given, mm."""
    return min(sheet.width, sheet.height)


def _short_blade(job: Job, longest: float, sheet: Sheet) -> Finding:
    return Finding(
        "stop",
        "No sheet in stock can be cut on this shear.",
        found=f"the shortest cut across one is {show_length(_across(sheet), job.unit)}, on {sheet.name}",
        allowed=f"cuts of up to {show_length(longest, job.unit)}: [nesting] longest_cut",
        remedy=f"have the supplier cut the sheets down to no more than {show_length(longest, job.unit)} across and put "
        'these in stock; or lay the job out as profiles, cutting = "profile"; or use another shear',
    )


def _remedy(job: Job, sheets: Sequence[Sheet], longest: float | None) -> str:
    bought = [sheet for sheet in sheets if not from_rack(sheet)]
    names = ", ".join(f"{sheet.name} ({show_size(sheet.width, sheet.height, job.unit)})" for sheet in bought)
    ways = "add a seam to that panel, or put a larger sheet in stock"
    if longest is not None:
        ways = "add a seam to that panel, put a larger sheet in stock, or cut it on a longer shear or as a profile"
    return f"{ways}; in stock are {names}"
