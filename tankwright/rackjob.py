"""What a job takes from the offcut rack and puts onto it, once for each revision.

Words used here
    take       pieces of the rack that a job's layout uses
    put        offcuts of a job's layout that are worth keeping
    commit     to make the change: pieces taken leave the rack, those kept go onto it
    saw        the pieces that a job could choose from when it was committed
    undo       to take a commit back, as long as nothing is cut

A job and revision is committed once. What it saw is remembered with what it took and put, and from then on this
revision is shown that rack and no other: its papers come out the same again, whatever others have done to the
rack since. Where its layout changes all the same (other patterns, other sheets), it is told and nothing is
changed: metal that was given away once is never given away by the same revision again. Lengths in mm.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, Protocol

from .keeping import Kept, NotKept, read_kept, update_kept
from .papers.names import slug
from .rack import FORMAT, RACK_FILE, Piece, RackRefused, all_there, from_rack, pieces_of, row_of
from .units import show_size

if TYPE_CHECKING:
    from nesting import Layout
    from nesting.model import Offcut
    from panels.findings import Finding

    from .load import Job
    from .shop import StockSheet

__all__ = ["Committed", "Proposal", "commit", "job_key", "propose", "rack_for", "rack_found", "undo"]

#: Two layouts put the same offcut where its sides differ by no more than this, mm: less than a scribed line.
SAME_OFFCUT_MM = 0.6


@dataclass(frozen=True)
class Committed:
    """What a job and revision changed. ``put`` is None in an entry of an early version, which held no sizes."""

    took: tuple[Piece, ...]
    put: tuple[Piece, ...] | None
    saw: tuple[Piece, ...]


@dataclass(frozen=True)
class Proposal:
    """What a job takes from the rack and puts onto it; ``by_hand`` stand in the shop file, never changed.

    ``before`` is what the same job and revision changed already.
    """

    job: str
    revision: str
    take: tuple[str, ...]
    put: tuple[Piece, ...]
    by_hand: tuple[str, ...] = ()
    before: Committed | None = None

    @property
    def differs(self) -> bool:
        """Whether this is another layout than the one that was committed."""
        before = self.before
        if before is None:
            return False
        if sorted(self.take) != sorted(piece.name for piece in before.took):
            return True
        return before.put is not None and not _alike(self.put, before.put)


def _alike(some: Sequence[Piece], others: Sequence[Piece]) -> bool:
    """Whether the sizes are the same, whatever the names."""
    sides = [sorted((piece.width, piece.height) for piece in pieces) for pieces in (some, others)]
    return len(some) == len(others) and all(
        abs(one - other) <= SAME_OFFCUT_MM
        for size, like in zip(*sides, strict=True)
        for one, other in zip(size, like, strict=True)
    )


class Headed(Protocol):
    """A job, or the head of its file."""

    @property
    def name(self) -> str: ...
    @property
    def reference(self) -> str: ...
    @property
    def revision(self) -> str: ...


def job_key(job: Headed) -> dict[str, str]:
    """What a job and revision is known by."""
    return {"name": job.name, "reference": job.reference or "", "revision": str(job.revision or "")}


# ------------------------------------------------------------------------------- reading


def rack_for(folder: Path, job: Mapping[str, str]) -> tuple[tuple[Piece, ...], Committed | None]:
    """The pieces that a job may be laid out on, and what it changed before: then, what it saw at that time.

    Raises
    ------
    NotKept
        If the file or an entry in it cannot be read.
    """
    kept = read_kept(folder / RACK_FILE, FORMAT)
    before = _before(kept, job)
    return (pieces_of(kept["pieces"]) if before is None else before.saw), before


def _done(kept: Kept, job: Mapping[str, str]) -> dict[str, Any] | None:
    return next((row for row in kept["done"] if row.get("job") == dict(job)), None)


def _before(kept: Kept, job: Mapping[str, str]) -> Committed | None:
    """What a job changed, from its entry."""
    row = _done(kept, job)
    if row is None:
        return None
    took, put, saw = row.get("took"), row.get("put"), row.get("saw", row.get("took"))
    if not (isinstance(took, list) and isinstance(put, list) and isinstance(saw, list)):
        name = f"{job['name']}, revision {job['revision'] or 'none'}"
        raise NotKept(
            f'{RACK_FILE}: the entry of {name} under "done" cannot be read.\n  found    {str(row)[:80]}\n'
            '  wanted   "took" and "put", a list each\n'
            "hint: mend it from your last backup, or take the entry out: the job is then laid out on the rack as it is"
        )
    sized = all(isinstance(entry, dict) for entry in put)
    return Committed(pieces_of(took), pieces_of(put) if sized else None, pieces_of(saw))


# ------------------------------------------------------------------------------- proposing


def propose(job: Job, layout: Layout) -> Proposal:
    """What the layout of a job takes from the rack, and the offcuts it would put onto it."""
    written = {sheet.name for sheet in job.shop.sheets if sheet.rack}
    used_up = tuple(used.name for used in layout.sheets if from_rack(used.sheet))
    take = tuple(name for name in used_up if name not in written)
    by_hand = tuple(name for name in used_up if name in written)
    put = tuple(_kept_piece(job, offcut, k, layout) for k, offcut in enumerate(layout.offcuts, 1))
    return Proposal(job.name, str(job.revision or ""), take, put, by_hand, job.shop.committed)


def _kept_piece(job: Job, offcut: Offcut, number: int, layout: Layout) -> Piece:
    """A kept offcut, which is always a rectangle, as a piece of the rack."""
    sheet = layout.sheets[offcut.sheet].sheet
    width, height = (round(side, 1) for side in offcut.size)
    grain = {None: "", 0.0: "x", 90.0: "y"}[sheet.grain_deg]
    named = [slug(job.name)[:24].strip("-"), *([slug(job.reference)[:24].strip("-")] if job.reference else [])]
    name = "-".join([*named, slug(job.revision) if job.revision else "0", f"K{number}"])
    note = f"K{number} of {job.name}, revision {job.revision or 'none'}"
    return Piece(name, width, height, job.metal.name, job.thickness, grain, note=note)


def rack_found(job: Job, layout: Layout) -> tuple[Finding, ...]:
    """A layout that is another one than this revision has changed the rack for."""
    from panels.findings import Finding

    proposal = propose(job, layout)
    if not proposal.differs or proposal.before is None:
        return ()
    before = _told([piece.name for piece in proposal.before.took], proposal.before.put, job.unit)
    says = f"revision {job.revision or 'none'} changed the offcut rack for another layout than this one"
    now = _told(proposal.take, proposal.put, job.unit)
    return (Finding("look", "sheets", says, now, before, None, _either()),)


def _told(take: Sequence[str], put: Sequence[Piece] | None, unit: str) -> str:
    """``takes R1; puts 600 x 300 mm`` in a row."""
    sizes = "offcuts" if put is None else ", ".join(show_size(p.width, p.height, unit) for p in put) or "nothing"
    return f"takes {', '.join(take) or 'nothing'}; puts {sizes}"


def _either() -> str:
    return (
        "give the job a new revision, which is laid out on the rack as it is now; or, if nothing is cut yet, "
        "take the change back with tankwright rack undo"
    )


# ------------------------------------------------------------------------------- changing


def commit(folder: Path, job: Job, proposal: Proposal) -> bool:
    """Change the rack as proposed; False where this revision changed it in the same way before: nothing is done twice.

    Raises
    ------
    RackRefused
        If the same revision changed the rack for another layout, another job has taken one of the pieces since,
        or a name is taken; nothing is changed.
    """
    key = job_key(job)

    def change(kept: Kept) -> bool:
        before = _before(kept, key)
        if before is not None:
            now = Proposal(proposal.job, proposal.revision, proposal.take, proposal.put, before=before)
            if now.differs:
                raise RackRefused(_another(job, now, before))
            return False
        rows = {str(row.get("name")): row for row in kept["pieces"]}
        all_there(proposal.take, rows, "another job has taken it: make the papers again, then commit")
        taken = [rows[name] for name in proposal.take]
        left = [row for row in kept["pieces"] if not any(row is gone for gone in taken)]
        put = [row_of(piece) for piece in proposal.put]
        _no_clash([row["name"] for row in put], left, "give this job another reference: it stands in the name")
        kept["pieces"] = [*left, *put]
        saw = [row_of(_as_piece(sheet)) for sheet in job.shop.rack if sheet.serves(job.metal.name, job.thickness)]
        kept["done"].append({"job": key, "took": taken, "put": put, "saw": saw})
        return True

    return update_kept(folder / RACK_FILE, FORMAT, change)


def _another(job: Job, now: Proposal, before: Committed) -> str:
    took = [piece.name for piece in before.took]
    return (
        f"{job.name}, revision {job.revision or 'none'}, changed the rack before, for another layout; it is left as it "
        f"is.\n  before   {_told(took, before.put, job.unit)}\n  now      {_told(now.take, now.put, job.unit)}\n"
        f"hint: {_either()}"
    )


def _no_clash(names: Sequence[str], rows: Sequence[Mapping[str, Any]], hint: str) -> None:
    there = {row.get("name") for row in rows}
    clash = [name for name in names if name in there]
    if clash:
        is_are = "is" if len(clash) == 1 else "are"
        raise RackRefused(f"{', '.join(clash)} {is_are} on the rack already; nothing was changed.\nhint: {hint}")


def _as_piece(sheet: StockSheet) -> Piece:
    """A piece of the rack again, from the stock sheet that it was made (`rack.stock_of`)."""
    return Piece(
        sheet.name, sheet.width, sheet.height, sheet.metal, sheet.thickness or 0.0, sheet.grain or "", sheet.outline,
        sheet.price or 0.0, sheet.note,
    )  # fmt: skip


def undo(folder: Path, job: Mapping[str, str]) -> Committed:
    """Take a job's change back: what it put leaves the rack, what it took lies there again.

    Raises
    ------
    RackRefused
        If the job has changed nothing, or what it put is no longer on the rack; nothing is changed.
    """
    name = f"{job['name']}, revision {job['revision'] or 'none'}"
    nothing = RackRefused(f"{name}, has changed nothing on the rack.\nhint: name the revision that did with --revision")
    if not (folder / RACK_FILE).exists():
        raise nothing  # before a lock is left where there is no rack

    def change(kept: Kept) -> Committed:
        row, before = _done(kept, job), _before(kept, job)
        if row is None or before is None:
            raise nothing
        put = [str(entry["name"] if isinstance(entry, dict) else entry) for entry in row["put"]]
        all_there(put, {str(entry.get("name")): entry for entry in kept["pieces"]}, "it is cut up or in use already")
        left = [entry for entry in kept["pieces"] if str(entry.get("name")) not in put]
        _no_clash([piece.name for piece in before.took], left, "take that other piece off, and add it by another name")
        kept["pieces"] = [*left, *row["took"]]
        kept["done"] = [entry for entry in kept["done"] if entry is not row]
        return before

    return update_kept(folder / RACK_FILE, FORMAT, change)
