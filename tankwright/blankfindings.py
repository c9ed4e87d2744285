"""What the flat blanks have to say: strain past what the metal bears, bends too tight, pieces not to be laid flat."""

from __future__ import annotations

import math
from functools import partial
from typing import TYPE_CHECKING

from .units import show_length

if TYPE_CHECKING:
    from panels.blank import Blank
    from panels.findings import Finding

    from .load import Job

__all__ = ["blanks_found"]


def blanks_found(job: Job, blanks: tuple[Blank, ...]) -> tuple[Finding, ...]:
    """Findings on a job's blanks."""
    return (*_strain_findings(job, blanks), *_tight(job, blanks), *_unfolded(blanks), *_within_the_bend(job, blanks))


def _strain_findings(job: Job, blanks: tuple[Blank, ...]) -> tuple[Finding, ...]:
    """Panels that ask for more than hard forming."""
    from panels.findings import Finding

    hard = job.shop.difficulty.hard / 100
    return tuple(
        Finding(
            "look",
            blank.name,
            f"{blank.name} asks for more than hard forming",
            f"{100 * blank.stretch:.1f} % stretch, {100 * blank.shrink:.1f} % shrink at the worst place",
            f"{100 * hard:.0f} %",
            None,
            "part this panel with one more seam where the strain is worst",
        )
        for blank in blanks
        if max(blank.stretch, blank.shrink) > hard and blank.hand != "left"
    ) + _past_the_sheet(job, blanks)


def _past_the_sheet(job: Job, blanks: tuple[Blank, ...]) -> tuple[Finding, ...]:
    """Panels that ask for more stretch than is published of the sheet as supplied."""
    from panels.findings import Finding
    from panels.forming import sheet_load

    loads = [
        (blank.name, sheet_load(blank.flat.strain, job.metal, blank.thickness))
        for blank in blanks
        if blank.flat is not None and blank.hand != "left"
    ]
    return tuple(
        Finding(
            "look",
            name,
            f"{name} asks for more stretch than is published of {load.metal} as supplied",
            f"{100 * load.stretch:.1f} % stretch at the worst place",
            f"{100 * load.elongation:.0f} % elongation"
            if load.limit is None
            else f"{100 * math.expm1(load.limit.plane_strain):.0f} % forming limit where it is pulled one way",
            None,
            "anneal while you shape, a softer temper, or one more seam; a comparison, no promise either way",
        )
        for name, load in loads
        if load.place == "past"
    )


def _tight(job: Job, blanks: tuple[Blank, ...]) -> tuple[Finding, ...]:
    """Rolled pieces with a bend tighter than the published minimum for the metal."""
    from panels.errors import PanelsError
    from panels.min_radius import minimum_radius
    from panels.roll import tight_rolls

    try:
        least = minimum_radius(job.metal.name, None, job.thickness)
    except PanelsError:
        return ()  # `_bend_findings` has told of it
    return tight_rolls(blanks, least, show=partial(show_length, unit=job.unit))


def _unfolded(blanks: tuple[Blank, ...]) -> tuple[Finding, ...]:
    """A tunnel that could not be laid out as a folded sheet, and why."""
    from panels.findings import Finding

    notes = dict.fromkeys(
        n for blank in blanks for n in blank.notes if n.startswith("the tunnel comes in three pieces")
    )
    remedy = "a straight frame line or one with marked corners, or a smaller fold radius"
    return tuple(Finding("look", "tunnel", note, remedy=remedy) for note in notes)


def _within_the_bend(job: Job, blanks: tuple[Blank, ...]) -> tuple[Finding, ...]:
    """A skin seam that lies within the tunnel's bend: what meets the tunnel there is notched sharp."""
    from panels.findings import Finding

    radius = show_length(job.fold_radius, job.unit)
    notes = dict.fromkeys(note for blank in blanks for note in blank.notes if "lies within its fold of" in note)
    return tuple(
        Finding(
            "look",
            "tunnel",
            note.partition(", trim and fill")[0],
            f"inside radius {radius}",
            "a bend that ends before the seam",
            None,
            "a smaller fold radius, or another place for the seam; else trim and fill them to the folded corner",
        )
        for note in notes
    )
