"""Do the patterns agree, what do they make, and what does that have to say: all that is told before metal is laid flat.

begin      the patterns held against one another, and the body they make
look_at    the body measured, and held against the patterns, the motorcycle and its fittings
check      both
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace
from functools import partial
from typing import TYPE_CHECKING

from .assumed import SKIN_K
from .baffles import baffles_for, mass_kg
from .errors import says_and_remedy
from .units import show_length

if TYPE_CHECKING:
    from panels.blank import Blank
    from panels.body import Body, Capacity
    from panels.findings import Finding, Show
    from panels.fittings import Placed

    from .load import Job

__all__ = ["Checked", "Looked", "Progress", "begin", "check", "look_at", "quiet"]

Progress = Callable[[str], None]


@dataclass(frozen=True)
class Looked:
    """What a body has to say of itself; no capacity where a fault stopped the looking."""

    findings: tuple[Finding, ...]
    capacity: Capacity | None
    misses: dict[str, float]
    plates: tuple[Blank, ...] = ()  # baffles and doublers


@dataclass(frozen=True)
class Checked:
    """What the patterns say of one another, and the body they make; no body where a finding is a stop."""

    findings: tuple[Finding, ...]
    body: Body | None
    capacity: Capacity | None
    misses: dict[str, float]
    plates: tuple[Blank, ...] = ()  # baffles and doublers

    @property
    def stops(self) -> tuple[Finding, ...]:
        """The findings that keep the tank from being made."""
        return tuple(f for f in self.findings if f.strength == "stop")


def quiet(step: str) -> None:
    """No progress wanted."""


def check(job: Job, *, progress: Progress = quiet) -> Checked:
    """Hold the patterns against one another; build and measure the body if nothing stops it."""
    found, body = begin(job, progress=progress)
    return checked(found, body, None if body is None else look_at(job, body))


def checked(found: tuple[Finding, ...], body: Body | None, looked: Looked | None) -> Checked:
    """What ``begin`` and ``look_at`` found, together."""
    from panels.findings import strongest_first

    if body is None or looked is None:
        return Checked(strongest_first(found), None, None, {})
    found = strongest_first((*found, *looked.findings))
    if looked.capacity is None:
        return Checked(found, None, None, {})
    return Checked(found, body, looked.capacity, looked.misses, looked.plates)


def begin(job: Job, *, progress: Progress = quiet) -> tuple[tuple[Finding, ...], Body | None]:
    """What the patterns say of one another, and the body they make; None where a finding is a stop."""
    from panels.agree import agree
    from panels.body import build_body
    from panels.errors import PanelsError
    from panels.findings import Finding

    progress("holding the patterns against one another")
    show = partial(show_length, unit=job.unit)
    found = agree(job.patterns, thickness=job.thickness, tolerance=job.shop.agree_mm, show=show)
    found += _bend_findings(job) + tuple(Finding("note", "reading", note) for note in job.notes)
    if any(f.strength == "stop" for f in found):
        return found, None
    progress("building the body")
    try:
        return found, build_body(
            job.patterns, job.division, thickness=job.thickness, k_factor=SKIN_K, inside=job.surface == "inside"
        )
    except PanelsError as fault:
        return (*found, _stop_of(fault, show)), None


def look_at(job: Job, body: Body) -> Looked:
    """Measure the body, and hold it against the patterns, the motorcycle and what is fitted to it."""
    from panels.body import measure_capacity
    from panels.bump_found import bump_outs_found
    from panels.doublers import doubler_blanks
    from panels.errors import PanelsError
    from panels.findings import Finding
    from panels.fit import clearances, knee_found, misses, misses_found
    from panels.fittings import place_fittings
    from panels.fittings_found import fittings_found
    from panels.seams import seams_of

    show = partial(show_length, unit=job.unit)
    found: tuple[Finding, ...] = ()
    try:
        capacity = measure_capacity(body, density=job.metal.density, ullage=job.shop.ullage_percent / 100)
        off = misses(body)
        found += misses_found(off, show=show) + knee_found(body, show=show) + clearances(body, show=show)
        found += bump_outs_found(body, show=show)
        placed = place_fittings(body, job.fittings)
        found += _off_the_tunnel(job, placed, show) + _not_given(job)
        found += fittings_found(seams_of(body), placed, inside_radius=job.fold_radius, show=show)
        doublers = doubler_blanks(body, placed, show=show)
        baffles, said = baffles_for(job, body, capacity, show)
    except PanelsError as fault:
        return Looked((*found, _stop_of(fault, show)), None, {})
    if capacity.usable_l <= 0:
        says = "the outlets reach no fuel: what lies below them is all the tank holds"
        held = f"{capacity.below_outlet_l:.1f} L below the outlets, {capacity.brim_l:.1f} L to the brim"
        found += (Finding("stop", "outlet", says, held, "less", None, "a shorter standpipe, or a lower outlet"),)
    capacity = replace(capacity, dry_mass_kg=capacity.dry_mass_kg + mass_kg(job, (*baffles, *doublers)))
    return Looked(found + said, capacity, off, (*baffles, *doublers))


def _not_given(job: Job) -> tuple[Finding, ...]:
    """A tank is filled and breathes: which of the two openings the job says nothing of."""
    from panels.findings import Finding

    given = {fitting.purpose for fitting in job.fittings}
    return tuple(
        Finding("note", "fittings", f"no {kind} given: none is drawn, placed or weighed")
        for kind in ("filler", "vent")
        if kind not in given
    )


def _off_the_tunnel(job: Job, placed: Iterable[Placed], show: Show) -> tuple[Finding, ...]:
    """Fittings meant for the tunnel whose place does not lie over it: they have been put on the skin."""
    from panels.findings import Finding

    return tuple(
        Finding(
            "look",
            wanted.name,
            f"the {wanted.name} is meant for the tunnel but does not lie over it: it is put on {got.piece}",
            f"x = {show(wanted.x)}, z = {show(wanted.across)}",
            "a place on the tunnel's leg",
            wanted.x,
            'lower it onto the leg, or write on = "side"',
        )
        for wanted, got in zip(job.fittings, placed, strict=True)
        if wanted.on == "tunnel" and got.fitting.on != "tunnel" and got.piece
    )


def _stop_of(fault: Exception, show: Show) -> Finding:
    from panels.findings import Finding, lengths_shown

    says, remedy = (lengths_shown(words, show) for words in says_and_remedy(fault))
    return Finding("stop", "patterns", says, remedy=remedy)


def _bend_findings(job: Job) -> tuple[Finding, ...]:
    """Folds tighter than the published minimum for the metal."""
    from panels.errors import PanelsError
    from panels.findings import Finding
    from panels.min_radius import minimum_radius

    try:
        least = minimum_radius(job.metal.name, None, job.thickness)
    except PanelsError as fault:
        return (Finding("note", "fold radius", f"least fold radius not checked: {str(fault).splitlines()[0]}"),)
    if job.fold_radius >= least.radius - 1e-9:
        return ()
    show = partial(show_length, unit=job.unit)
    return (
        Finding(
            "look",
            "fold radius",
            f"the fold radius is tighter than the published minimum for {job.metal.name}",
            show(job.fold_radius),
            f"{show(least.radius)} or more ({least.source})",
            None,
            "a larger fold_radius, or a softer temper; cracks start on the outside of the fold",
        ),
    )
