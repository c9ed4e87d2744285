"""Whether a job's tank gets baffles, where they stand, and what they weigh."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

from .errors import says_and_remedy

if TYPE_CHECKING:
    from panels.blank import Blank
    from panels.body import Body, Capacity
    from panels.findings import Finding

    from .load import Job
    from .work import Work

__all__ = ["baffles_for", "density_of", "mass_kg", "standing_kg"]


def baffles_for(
    job: Job, body: Body, capacity: Capacity, show: Callable[[float], str]
) -> tuple[tuple[Blank, ...], tuple[Finding, ...]]:
    """Blanks of the job's baffles, none where it gets none, and what to say of them.

    A place that the job names must do (a stop if not); one that is taken by default need not (a look).
    """
    from panels.baffle import BafflePlan, baffle_blanks
    from panels.errors import BaffleError
    from panels.findings import Finding, lengths_shown

    rules = job.shop.baffle
    if not rules.wants(capacity.brim_l):
        return (), ()
    plan = BafflePlan(rules.clearance, rules.opening, rules.hole, rules.pieces == "halves")
    places = rules.at or (capacity.centre[0],)
    blanks: list[Blank] = []
    told: list[Finding] = []
    for number, x in enumerate(places, 1):
        name = "baffle" if len(places) == 1 else f"baffle {number}"
        try:
            made = baffle_blanks(body, x, plan, name=name, show=show)
        except BaffleError as fault:
            says, remedy = (lengths_shown(words, show) for words in says_and_remedy(fault))
            told.append(Finding("stop" if rules.at else "look", name, says, at_mm=x, remedy=remedy))
            continue
        blanks += made
        why = "as the job asks" if rules.wanted else f"the tank holds more than {rules.over_litres:g} L"
        says = (
            f"{name}: {len(made)} plate{'s' if len(made) > 1 else ''} at x {show(x)}, {mass_kg(job, made):.2f} kg, "
            f"counted in the bare metal; {why}"
        )
        told.append(Finding("note", name, says, at_mm=x))
    return tuple(blanks), tuple(told)


def mass_kg(job: Job, blanks: tuple[Blank, ...]) -> float:
    """What plates weigh once cut out, kg."""
    return sum(blank.net.area * blank.thickness * density_of(job, blank) for blank in blanks) / 1e9


def standing_kg(work: Work) -> float:
    """What all blanks weigh as they stand on the tank, kg: trimmed, with laps, lips, flanges, doublers and baffles.

    Forming moves metal and loses none, so flat areas at the sheet's own thickness have it all. Holes that are only
    scribed count as metal; weld, fittings and paint do not.
    """
    from .papers.cutting_hold import as_carried, stays_area

    return sum(
        stays_area(as_carried(work, blank)) * blank.thickness * density_of(work.job, blank) for blank in work.blanks
    ) / 1e9  # fmt: skip


def density_of(job: Job, blank: Blank) -> float:
    """Density of a blank's metal, kg/m3: the tank's own where it names none."""
    from panels.metal import lookup_metal

    return lookup_metal(blank.metal).density if blank.metal else job.metal.density
