"""Patterns in, papers out: the whole story on one screen.

load_job   the job folder, read and checked
check      do the patterns agree, what does the tank hold
work_out   everything the papers are written from
make       the papers, whole or not at all
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Protocol

from .baffles import baffles_for, mass_kg, standing_kg
from .errors import Finding as Mistake
from .errors import JobError, says_and_remedy
from .load import Job, load_job
from .nofit import no_fit
from .rackjob import rack_found
from .units import show_length, show_thickness
from .work import Work

if TYPE_CHECKING:
    from shapely.geometry import Polygon

    from nesting import Layout
    from panels.blank import Blank
    from panels.body import Body, Capacity
    from panels.findings import Finding
    from panels.seams import Sewn
    from panels.slits import PanelSlits

__all__ = ["Checked", "Job", "Made", "check", "load_job", "make", "nest_blanks", "work_out"]

#: Skins are shaped at radii many times their thickness, where the neutral surface lies in the middle
#: (DIN 6935: K = 0.5 from r/t = 5 upward).
SKIN_K = 0.5

Progress = Callable[[str], None]


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
        return tuple(f for f in self.findings if f.strength == "stop")


@dataclass(frozen=True)
class Made:
    """A finished set of papers: where it is, and the name of each."""

    work: Work
    folder: Path
    papers: tuple[str, ...]


class Flat(Protocol):
    """What is laid on a sheet: a blank, or a rectangle that several share."""

    @property
    def name(self) -> str: ...
    @property
    def outline(self) -> Polygon: ...
    @property
    def grain_deg(self) -> float | None: ...


def _quiet(step: str) -> None:
    """No progress wanted."""


def check(job: Job, *, progress: Progress = _quiet) -> Checked:
    """Hold the patterns against one another; build and measure the body if nothing stops it."""
    from panels.agree import agree
    from panels.body import build_body, measure_capacity
    from panels.bump_found import bump_outs_found
    from panels.doublers import doubler_blanks
    from panels.errors import PanelsError
    from panels.findings import Finding, strongest_first
    from panels.fit import clearances, knee_found, misses, misses_found
    from panels.fittings import place_fittings
    from panels.fittings_found import fittings_found
    from panels.seams import seams_of

    show = partial(show_length, unit=job.unit)
    progress("holding the patterns against one another")
    found = agree(job.patterns, thickness=job.thickness, tolerance=job.shop.agree_mm, show=show)
    found += _bend_findings(job) + tuple(Finding("note", "reading", note) for note in job.notes)
    if any(f.strength == "stop" for f in found):
        return Checked(strongest_first(found), None, None, {})
    progress("building the body")
    try:
        body = build_body(
            job.patterns, job.division, thickness=job.thickness, k_factor=SKIN_K, inside=job.surface == "inside"
        )
        capacity = measure_capacity(body, density=job.metal.density, ullage=job.shop.ullage_percent / 100)
        off = misses(body)
        found += misses_found(off, show=show) + knee_found(body, show=show) + clearances(body, show=show)
        found += bump_outs_found(body, show=show)
        placed = place_fittings(body, job.fittings)
        found += fittings_found(seams_of(body), placed, inside_radius=job.fold_radius, show=show)
        doublers = doubler_blanks(body, placed, show=show)
        baffles, said = baffles_for(job, body, capacity, show)
    except PanelsError as fault:
        says, remedy = says_and_remedy(fault)
        stop = Finding("stop", "patterns", says, remedy=remedy)
        return Checked(strongest_first((*found, stop)), None, None, {})
    if capacity.usable_l <= 0:
        says = "the outlets reach no fuel: what lies below them is all the tank holds"
        held = f"{capacity.below_outlet_l:.1f} L below the outlets, {capacity.brim_l:.1f} L to the brim"
        found += (Finding("stop", "outlet", says, held, "less", None, "a shorter standpipe, or a lower outlet"),)
    capacity = replace(capacity, dry_mass_kg=capacity.dry_mass_kg + mass_kg(job, (*baffles, *doublers)))
    return Checked(strongest_first(found + said), body, capacity, off, (*baffles, *doublers))


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
    return (
        Finding(
            "look",
            "fold radius",
            f"the fold radius is tighter than the published minimum for {job.metal.name}",
            f"{job.fold_radius:.1f} mm",
            f"{least.radius:.1f} mm or more ({least.source})",
            None,
            "a larger fold_radius, or a softer temper; cracks start on the outside of the fold",
        ),
    )


def work_out(job: Job, *, progress: Progress = _quiet) -> Work:
    """Everything the papers are written from.

    Raises
    ------
    JobError
        Where a finding stops the job, or a blank does not go on any sheet.
    """
    from panels.errors import PanelsError
    from panels.findings import strongest_first
    from panels.joints import joints_of
    from panels.make_blanks import make_blanks
    from panels.seams import seams_of

    checked = check(job, progress=progress)
    if checked.stops or checked.body is None or checked.capacity is None:
        raise JobError([_mistake(f) for f in checked.stops])
    progress("laying the panels flat")
    sewn = seams_of(checked.body)
    try:
        blanks = make_blanks(
            sewn,
            job.allowances.at_edge,
            inside_radius=job.fold_radius,
            k_factor=job.k,
            fittings=job.fittings,
            aim_of=job.shop.forming.of,
            show=partial(show_length, unit=job.unit),
        )
    except PanelsError as fault:
        says, remedy = says_and_remedy(fault)
        raise JobError([Mistake("stop", says, remedy=remedy)]) from fault
    blanks += checked.plates
    stops = [note for blank in blanks for note in blank.notes if note.startswith("stop: ")]
    if stops:
        raise JobError([Mistake("stop", note.removeprefix("stop: ")) for note in stops])
    progress("laying the blanks on sheets")
    layout = nest_blanks(job, [blank for blank in blanks if not blank.metal])
    told = (*_strain_findings(job, blanks), *_tight(job, blanks), *_unfolded(blanks))
    told += (*_idle(job, sewn), *_told_of(job, layout))
    work = Work(
        job,
        strongest_first((*checked.findings, *told)),
        checked.body,
        checked.capacity,
        checked.misses,
        blanks,
        _slits(checked.body, blanks),
        layout,
        joints_of(sewn.seams, blanks, outside=job.allowances.outside),
        _assumptions(job),
        _cautions(),
    )
    return replace(work, capacity=replace(work.capacity, dry_mass_kg=standing_kg(work)))


def _mistake(finding: Finding) -> Mistake:
    place = "" if finding.at_mm is None else f", at x = {finding.at_mm:.0f} mm from the front"
    return Mistake("stop", f"{finding.says}{place}", None, finding.found, finding.allowed, finding.remedy)


def nest_blanks(job: Job, blanks: Iterable[Flat], cutting: str = "") -> Layout:
    """The blanks on the shop's sheets and the pieces of its rack, in the shop's own way of cutting or another."""
    from nesting import NestingError, Part, nest

    rules = job.shop.nesting
    cutting = cutting or rules.cutting
    stock, _ = job.shop.sheets_for(job.metal.name, job.thickness)
    try:
        sheets = [sheet.to_lay_on() for sheet in (*job.shop.pieces_for(job.metal.name, job.thickness), *stock)]
        parts = [Part(blank.name, blank.outline, grain=blank.grain_deg) for blank in blanks]
        layout = nest(
            parts,
            sheets,
            cutting=cutting,
            gap_mm=rules.gap_for(cutting),
            edge_mm=rules.edge,
            seconds=rules.seconds,
            seed=rules.seed,
            rotations=rules.rotations,
            keep_side_mm=rules.keep_offcut_side,
            keep_area_mm2=rules.keep_offcut_area,
            squaring_mm=rules.squaring,
            longest_cut_mm=rules.longest_cut,
            smallest_strip_mm=rules.smallest_strip,
        )
    except NestingError as fault:
        says, remedy = says_and_remedy(fault)
        raise JobError([Mistake("stop", says, remedy=remedy)]) from fault
    if layout.unplaced:
        raise no_fit(job, layout, sheets)
    return layout


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


def _slits(body: Body, blanks: tuple[Blank, ...]) -> dict[str, PanelSlits]:
    """The slit pattern of each crowned panel; a left-hand one is its right-hand twin's mirror image."""
    from panels.slits import panel_slits

    formed = [blank.name for blank in blanks if blank.kind == "formed" and blank.hand != "left"]
    found = {name: panel_slits(body, name) for name in formed}
    return {name: slits for name, slits in found.items() if slits is not None}


def _told_of(job: Job, layout: Layout) -> tuple[Finding, ...]:
    """What the layout of the sheets has to say of itself, and of what the rack was changed for."""
    from panels.findings import Finding

    return (*rack_found(job, layout), *(Finding("note", "sheets", note) for note in layout.notes))


def _unfolded(blanks: tuple[Blank, ...]) -> tuple[Finding, ...]:
    """A tunnel that could not be laid out as a folded sheet, and why."""
    from panels.findings import Finding

    notes = dict.fromkeys(
        n for blank in blanks for n in blank.notes if n.startswith("the tunnel comes in three pieces")
    )
    remedy = "a straight frame line or one with marked corners, or a smaller fold radius"
    return tuple(Finding("look", "tunnel", note, remedy=remedy) for note in notes)


def _idle(job: Job, sewn: Sewn) -> tuple[Finding, ...]:
    """Seam rules and drawn seams that do nothing."""
    return _idle_rules(job, sewn) + _idle_aims(job, sewn) + _idle_seams(job, sewn) + _idle_halves(job, sewn)


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
            "note",
            "seams",
            f"the seam rule between {rule.between[0]} and {rule.between[1]} fits no seam of this tank",
            " and ".join(rule.between),
            pieces,
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
    nowhere = "this tank has no such edge to turn", (
        "take it away, or check the pattern: an end that closes on the centre plane has no cap"
    )
    before = "the job's own seam rules decide every edge of it", "take the lip away, or the rule"
    told = []
    for on in dict.fromkeys(rule.on for rule in asked if rule.on not in used):
        why, remedy = before if on in outranked else nowhere
        told.append(Finding("look", on, f"a lip is asked for on the {on}, but {why}", remedy=remedy))
    return tuple(told)


def _assumptions(job: Job) -> tuple[tuple[str, str], ...]:
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


def _cautions() -> tuple[str, ...]:
    from .cautions import CAUTIONS

    return CAUTIONS


def make(job: Job | str | Path, out: str | Path | None = None, *, progress: Progress = _quiet) -> Made:
    """Make every paper of a job, into ``out`` or the job folder's ``papers``.

    Raises
    ------
    JobError
        Where the job cannot be made as it stands; nothing is written then.
    PapersNotWritten
        Where the papers cannot be put in place; what was there is still there.
    """
    from .papers import all_papers
    from .whole import may_write, write_whole

    job = job if isinstance(job, Job) else load_job(job)
    folder = Path(out) if out is not None else job.folder / "papers"
    may_write(folder)
    work = work_out(job, progress=progress)
    progress("writing the papers")
    papers = all_papers(work)
    write_whole(folder, papers, revision=job.revision)
    return Made(work, folder, tuple(sorted(papers)))
