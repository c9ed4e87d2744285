"""Patterns in, papers out: the whole story on one screen.

load_job   the job folder, read and checked
check      do the patterns agree, what does the tank hold
work_out   everything the papers are written from
make       the papers, whole or not at all
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Protocol

from .assumed import SKIN_K, assumptions
from .baffles import standing_kg
from .checked import Checked, Progress, begin, check, checked, look_at, quiet
from .errors import Finding as Mistake
from .errors import JobError, says_and_remedy
from .load import Job, load_job
from .nofit import no_fit
from .rackjob import rack_found
from .units import show_length
from .work import Work

if TYPE_CHECKING:
    from shapely.geometry import Polygon

    from nesting import Layout
    from panels.blank import Blank
    from panels.body import Body
    from panels.findings import Finding
    from panels.seams import Sewn
    from panels.slits import PanelSlits

__all__ = ["SKIN_K", "Checked", "Job", "Made", "check", "load_job", "make", "nest_blanks", "work_out"]


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


def work_out(job: Job, *, progress: Progress = quiet) -> Work:
    """Everything the papers are written from. The body is looked at alongside, while its panels are laid flat.

    Raises
    ------
    JobError
        Where a finding stops the job, or a blank does not go on any sheet.
    """
    from panels.findings import strongest_first
    from panels.joints import joints_of
    from panels.seams import seams_of

    from .alongside import alongside
    from .blankfindings import blanks_found
    from .cautions import CAUTIONS
    from .idle import idle_found

    found, body = begin(job, progress=progress)
    if body is None:
        raise _stopped(job, checked(found, None, None))
    with alongside(partial(look_at, job, body)) as looked:
        progress("laying the panels flat")
        sewn = seams_of(body)
        blanks = _blanks_of(job, sewn)
        told = checked(found, body, looked())
    if told.stops or told.capacity is None:
        raise _stopped(job, told)
    if isinstance(blanks, JobError):
        raise blanks
    blanks += told.plates
    progress("laying the blanks on sheets")
    layout = nest_blanks(job, [blank for blank in blanks if not blank.metal])
    more = (*blanks_found(job, blanks), *idle_found(job, sewn), *_told_of(job, layout))
    work = Work(
        job,
        strongest_first((*told.findings, *more)),
        body,
        told.capacity,
        told.misses,
        blanks,
        _slits(body, blanks),
        layout,
        joints_of(sewn.seams, blanks, outside=job.allowances.outside),
        assumptions(job),
        CAUTIONS,
    )
    return replace(work, capacity=replace(work.capacity, dry_mass_kg=standing_kg(work)))


def _blanks_of(job: Job, sewn: Sewn) -> tuple[Blank, ...] | JobError:
    """The panels laid flat, or what stops that: a finding on the body is told before it."""
    from panels.errors import PanelsError
    from panels.make_blanks import make_blanks

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
        return JobError([Mistake("stop", says, remedy=remedy)])
    noted = [(blank, note.removeprefix("stop: ")) for blank in blanks for note in blank.notes if note[:6] == "stop: "]
    stops = [Mistake("stop", f"{blank.name}: {note}") for blank, note in noted if blank.hand != "left"]
    return JobError(stops) if stops else blanks


def _stopped(job: Job, told: Checked) -> JobError:
    return JobError([_mistake(finding, job.unit) for finding in told.stops])


def _mistake(finding: Finding, unit: str) -> Mistake:
    place = "" if finding.at_mm is None else f", at x = {show_length(finding.at_mm, unit)} from the front"
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


def make(job: Job | str | Path, out: str | Path | None = None, *, progress: Progress = quiet) -> Made:
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
