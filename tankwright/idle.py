"""Rules and drawn seams of a job that do nothing on the tank it makes, or ask of it what it cannot do."""

from __future__ import annotations

from functools import partial
from typing import TYPE_CHECKING

from .units import show_length

if TYPE_CHECKING:
    from panels.findings import Finding
    from panels.seams import Sewn

    from .load import Job

__all__ = ["idle_found"]


def idle_found(job: Job, sewn: Sewn) -> tuple[Finding, ...]:
    """Findings on seam rules, forming rules, halved ends and drawn seams that this tank has no use for, and on laps of
    sheets that meet at an angle."""
    idle = _idle_rules(job, sewn) + _idle_aims(job, sewn) + _idle_seams(job, sewn) + _idle_halves(job, sewn)
    return idle + _laps(job, sewn)


def _laps(job: Job, sewn: Sewn) -> tuple[Finding, ...]:
    """Laps that a seam rule asks for where one sheet cannot lie on the other."""
    from panels.seam_angle import laps_found

    def lapped(one: str, other: str) -> str:
        rule = job.allowances.rule(one, other)
        if rule is None or rule.joint != "lap":
            return ""
        return min((piece for piece in (one, other) if rule.on.lower() in piece.lower()), default=one)

    return laps_found(sewn, lapped, show=partial(show_length, unit=job.unit))


def _idle_halves(job: Job, sewn: Sewn) -> tuple[Finding, ...]:
    """Caps asked for as halves at an end that has none across the centre plane."""
    from panels.findings import Finding

    pieces = sewn.body.pieces
    ends = {name.split()[0] for name in pieces if name.endswith((" end right", " end left"))}
    says = "the {} cap is asked for as two halves, but this tank has none there that runs across the centre plane"
    remedy = "take it away, or check the pattern: an end that closes on the centre plane has no cap"
    return tuple(
        Finding("note", f"{end} end", says.format(end), remedy=remedy)
        for end in job.division.halved_ends
        if end not in ends
    )


def _idle_aims(job: Job, sewn: Sewn) -> tuple[Finding, ...]:
    """Forming rules that name no panel of this tank."""
    from panels.findings import Finding

    pieces = sewn.body.pieces
    return tuple(
        Finding(
            "note",
            "forming",
            f"the forming rule for {rule.name} fits no panel of this tank",
            rule.name,
            ", ".join(pieces),
        )
        for rule in job.shop.forming.panels
        if not any(rule.fits(piece) for piece in pieces)
    )


def _idle_seams(job: Job, sewn: Sewn) -> tuple[Finding, ...]:
    """Drawn seams along which no two panels meet."""
    from panels.findings import Finding
    from panels.openings import SEAM

    flags = sewn.body.shell.flags
    parted = [flags[seam.chain] >> (SEAM.bit_length() - 1) for seam in sewn.seams]
    found = []
    for number, drawn in enumerate(job.division.seams):
        if not any(((chain >> number) & 1).sum() > 1 for chain in parted):
            says = f"the seam {drawn.name} parts nothing: it does not run from edge to edge of the skin"
            remedy = "carry both its ends past the edges of the skin it shall part"
            found.append(Finding("look", "seams", says, remedy=remedy))
    return tuple(found)


def _idle_rules(job: Job, sewn: Sewn) -> tuple[Finding, ...]:
    """Seam rules of the shop or the job that speak of no seam of this tank."""
    from panels.findings import Finding

    pairs = [pair for seam in sewn.seams for pair in (seam.pieces, seam.pieces[::-1])]
    pieces = ", ".join(sewn.body.pieces)
    return tuple(
        Finding(
            "look",
            "seams",
            f"the seam rule between {rule.between[0]} and {rule.between[1]} fits no seam of this tank: it does nothing",
            " and ".join(rule.between),
            pieces,
            None,
            "name two pieces that meet, by any word of their names, or take the rule away",
        )
        for rule in job.shop.allowances.seams
        if not any(rule.fits(*pair) for pair in pairs)
    ) + _idle_lips(job, pairs)


def _idle_lips(job: Job, pairs: list[tuple[str, str]]) -> tuple[Finding, ...]:
    """A flange or lip that the job asks for on a piece which this tank does not have, which meets nothing there, or
    whose every edge a seam rule of the job decides before it."""
    from panels.findings import Finding

    asked = [rule for rule in job.allowances.seams if rule not in job.shop.allowances.seams]
    used = {rule.on for pair in pairs if (rule := job.allowances.rule(*pair)) in asked and rule is not None}
    outranked = {rule.on for rule in asked if any(rule.fits(*pair) for pair in pairs)} - used
    nowhere = (
        "this tank has no such edge to turn",
        ("take it away, or check the pattern: an end that closes on the centre plane has no cap"),
    )
    before = "the job's own seam rules decide every edge of it", "take the lip away, or the rule"
    told = []
    for on in dict.fromkeys(rule.on for rule in asked if rule.on not in used):
        why, remedy = before if on in outranked else nowhere
        told.append(Finding("look", on, f"a lip is asked for on the {on}, but {why}", remedy=remedy))
    return tuple(told)
