"""The offcut rack: what the shop keeps, what a job takes from it, and what it puts back.

Words used here
    rack      the offcuts a shop keeps, in ``offcut-rack.json`` in the shop's folder
    piece     one offcut: a name that stands on it in marker, its size, metal, thickness, grain
    take      pieces of the rack that a job's layout uses
    put       offcuts of a job's layout that are worth keeping
    commit    to make the change: pieces taken leave the rack, those kept go onto it

A job and revision is committed once. What it took is remembered, and for that job the rack is shown as it
was before its own commit: making the papers again gives the same papers. Lengths in mm.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, Protocol

from .errors import TankwrightError
from .keeping import Kept, NotKept, read_kept, update_kept
from .papers.names import slug
from .shop import StockSheet
from .units import length_mm, thickness_mm

if TYPE_CHECKING:
    from nesting import Layout
    from nesting.model import Offcut, Sheet

    from .load import Job

__all__ = [
    "RACK",
    "RACK_FILE",
    "Piece",
    "Proposal",
    "RackRefused",
    "add_piece",
    "commit",
    "from_rack",
    "is_committed",
    "job_key",
    "propose",
    "read_piece",
    "read_rack",
    "remove_pieces",
    "stock_of",
]

RACK_FILE = "offcut-rack.json"
FORMAT = "tankwright offcut rack 1"
#: What ``nesting.Sheet.origin`` says of a sheet that lies on the shop's own rack.
RACK = "rack"
LONGEST_SIDE_MM, LONGEST_WORDS = 20_000.0, 80
GRAINS = {"x": "along its width", "y": "along its height", "": "not known"}


class RackRefused(TankwrightError, ValueError):
    """The rack cannot be changed like this; it is as it was before."""


@dataclass(frozen=True)
class Piece:
    """One offcut. ``outline`` is empty for a rectangle; ``grain`` is "x", "y" or "" where it is not known."""

    name: str
    width: float
    height: float
    metal: str
    thickness: float
    grain: str = ""
    outline: tuple[tuple[float, float], ...] = ()
    price: float = 0.0  # what it is charged at; nought: not given
    note: str = ""

    @property
    def area(self) -> float:
        """mm2."""
        from shapely.geometry import Polygon

        return float(Polygon(self.outline).area) if self.outline else self.width * self.height


@dataclass(frozen=True)
class Proposal:
    """What a job takes from the rack and puts onto it; ``by_hand`` stand in the shop file, never changed."""

    job: str
    revision: str
    take: tuple[str, ...]
    put: tuple[Piece, ...]
    by_hand: tuple[str, ...] = ()


def from_rack(sheet: object) -> bool:
    """Whether a sheet of a layout comes from the shop's own rack, by its origin."""
    return getattr(sheet, "origin", "") == RACK


# ------------------------------------------------------------------------------- reading


def read_rack(folder: Path, job: Mapping[str, str] | None = None) -> tuple[Piece, ...]:
    """The pieces on the rack in a shop's folder, by name; for a job that is committed, as before its commit.

    Raises
    ------
    NotKept
        If the file cannot be read.
    """
    kept = read_kept(folder / RACK_FILE, FORMAT)
    pieces = {piece.name: piece for piece in map(_piece, kept["pieces"])}
    done = _done(kept, job) if job else None
    if done is not None:
        pieces |= {piece.name: piece for piece in map(_piece, done["took"])}
        pieces = {name: piece for name, piece in pieces.items() if name not in done["put"]}
    return tuple(pieces[name] for name in sorted(pieces))


def _piece(row: Mapping[str, Any]) -> Piece:
    """A piece from its entry; a clear no where the entry has been spoilt by hand."""
    try:
        outline = tuple((float(x), float(y)) for x, y in row.get("outline", ()))
        piece = Piece(
            str(row["name"]),
            float(row["width"]),
            float(row["height"]),
            str(row["metal"]),
            float(row["thickness"]),
            str(row.get("grain", "")),
            outline,
            float(row.get("price", 0.0)),
            str(row.get("note", "")),
        )
    except (KeyError, TypeError, ValueError) as fault:
        raise NotKept(
            f"{RACK_FILE}: an entry cannot be read: {str(row)[:80]}\n  missing or wrong: {fault}\n"
            "hint: mend it, or take it out and add the piece with tankwright rack add"
        ) from fault
    if not (0 < piece.width <= 1e5 and 0 < piece.height <= 1e5 and piece.thickness > 0 and piece.price >= 0):
        raise NotKept(f"{RACK_FILE}: {piece.name} has a size or price that cannot be.\nhint: measure it again")
    if piece.grain not in GRAINS:
        raise NotKept(f'{RACK_FILE}: {piece.name} has grain "{piece.grain}".\nhint: write "x", "y" or ""')
    return piece


def stock_of(pieces: Iterable[Piece]) -> tuple[StockSheet, ...]:
    """The pieces as stock to lay blanks on: one of each, from the rack, charged at what they are worth."""
    return tuple(
        StockSheet(
            piece.name,
            piece.width,
            piece.height,
            piece.metal,
            piece.thickness,
            piece.price,
            1,
            piece.grain or None,
            piece.note,
            rack=True,
            outline=piece.outline,
        )
        for piece in pieces
    )


# ------------------------------------------------------------------------------- changing by hand


def read_piece(
    width: str,
    height: str,
    metal: str,
    thickness: str,
    grain: str = "unknown",
    unit: str = "mm",
    *,
    name: str = "",
    price: float = 0.0,
    note: str = "",
) -> Piece:
    """A piece from words as a person gives them; lengths may be fractions, the thickness a gauge.

    Raises
    ------
    RackRefused
        Where a size, metal or thickness cannot be read or cannot be.
    """
    from panels.metal import lookup_metal

    try:
        found = lookup_metal(metal)
        sheet = thickness_mm(thickness, unit, found.gauge_system)
        sides = [length_mm(side, unit) for side in (width, height)]
    except (ValueError, LookupError) as fault:
        raise RackRefused(str(fault)) from fault
    if min(*sides, sheet) <= 0 or max(sides) > LONGEST_SIDE_MM:
        raise RackRefused(
            f"A piece of {sides[0]:g} x {sides[1]:g} x {sheet:g} mm cannot be.\n"
            f"  allowed  more than 0, up to {LONGEST_SIDE_MM:g} mm\nhint: measure it again, or say --unit in"
        )
    for words in (name, note):
        if not words.isprintable() or len(words) > LONGEST_WORDS:
            raise RackRefused(f"A name or note is one line of up to {LONGEST_WORDS} letters.\nhint: shorten it")
    return Piece(
        name.strip(), round(sides[0], 2), round(sides[1], 2), found.name, round(sheet, 4),
        {"width": "x", "height": "y"}.get(grain, ""), (), price, note.strip(),
    )  # fmt: skip


def add_piece(folder: Path, piece: Piece) -> Piece:
    """Put a piece on the rack; one without a name gets the next number, R1, R2 ...

    Raises
    ------
    RackRefused
        If the name is taken.
    """

    def change(kept: Kept) -> Piece:
        names = {row.get("name") for row in kept["pieces"]}
        number = 1
        while f"R{number}" in names:
            number += 1
        named = Piece(**{**asdict(piece), "name": piece.name or f"R{number}", "outline": piece.outline})
        if named.name in names:
            raise RackRefused(f"{named.name} is on the rack already.\nhint: choose another name, or leave it away")
        kept["pieces"].append(_row(named))
        return named

    return update_kept(folder / RACK_FILE, FORMAT, change)


def remove_pieces(folder: Path, names: Iterable[str]) -> tuple[Piece, ...]:
    """Take pieces off the rack, all of them or none.

    Raises
    ------
    RackRefused
        If one is not there.
    """
    wanted = tuple(dict.fromkeys(names))
    if not (folder / RACK_FILE).exists():
        _all_there(wanted, {})  # before a lock is left where there is no rack

    def change(kept: Kept) -> tuple[Piece, ...]:
        rows = {row.get("name"): row for row in kept["pieces"]}
        _all_there(wanted, rows)
        kept["pieces"] = [row for name, row in rows.items() if name not in wanted]
        return tuple(_piece(rows[name]) for name in wanted)

    return update_kept(folder / RACK_FILE, FORMAT, change)


def _all_there(wanted: Iterable[str], rows: Mapping[Any, Any], hint: str = "") -> None:
    missing = [name for name in wanted if name not in rows]
    if missing:
        have = ", ".join(str(name) for name in rows) or "nothing"
        raise RackRefused(
            f"{', '.join(missing)} {'is' if len(missing) == 1 else 'are'} not on the rack; nothing was changed.\n"
            f"  on it    {have[:300]}\nhint: {hint or 'tankwright rack list shows what is there'}"
        )


def _row(piece: Piece) -> dict[str, Any]:
    """A piece as its entry, what is empty left away."""
    row = asdict(piece) | {"outline": [list(point) for point in piece.outline]}
    return {key: value for key, value in row.items() if value not in ("", [], 0.0)}


# ------------------------------------------------------------------------------- what a job does


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


def _done(kept: Kept, job: Mapping[str, str]) -> dict[str, Any] | None:
    return next((row for row in kept["done"] if row.get("job") == dict(job)), None)


def propose(job: Job, layout: Layout) -> Proposal:
    """What the layout of a job takes from the rack, and the offcuts it would put onto it."""
    written = {sheet.name for sheet in job.shop.sheets if sheet.rack}
    used_up = tuple(used.name for used in layout.sheets if from_rack(used.sheet))
    take = tuple(name for name in used_up if name not in written)
    by_hand = tuple(name for name in used_up if name in written)
    put = tuple(_kept_piece(job, offcut, k, layout) for k, offcut in enumerate(layout.offcuts, 1))
    return Proposal(job.name, str(job.revision or ""), take, put, by_hand)


def _kept_piece(job: Job, offcut: Offcut, number: int, layout: Layout) -> Piece:
    """A kept offcut as a piece of the rack, its own lower left corner as origin."""
    sheet: Sheet = layout.sheets[offcut.sheet].sheet
    x0, y0, _, _ = offcut.outline.bounds
    width, height = (round(side, 1) for side in offcut.size)
    points: tuple[tuple[float, float], ...] = ()
    if abs(offcut.area - offcut.size[0] * offcut.size[1]) > 1.0:
        points = tuple((round(x - x0, 2), round(y - y0, 2)) for x, y in list(offcut.outline.exterior.coords)[:-1])
    grain = {None: "", 0.0: "x", 90.0: "y"}[sheet.grain_deg]
    revision = slug(job.revision) if job.revision else "0"
    name = f"{slug(job.name)[:24].strip('-')}-{revision}-K{number}"
    note = f"K{number} of {job.name}, revision {job.revision or 'none'}"
    return Piece(name, width, height, job.metal.name, job.thickness, grain, points, 0.0, note)


def commit(folder: Path, job: Job, proposal: Proposal) -> bool:
    """Change the rack as proposed; False where this job and revision was committed before, and nothing is changed.

    Raises
    ------
    RackRefused
        If another job has taken one of the pieces since; nothing is changed.
    """
    key = job_key(job)

    def change(kept: Kept) -> bool:
        if _done(kept, key) is not None:
            return False
        rows = {row.get("name"): row for row in kept["pieces"]}
        _all_there(proposal.take, rows, "another job has taken it: make the papers again, then commit")
        taken = [rows.pop(name) for name in proposal.take]
        put = [_row(piece) for piece in proposal.put]
        clash = [row["name"] for row in put if row["name"] in rows]
        if clash:
            raise RackRefused(
                f"{', '.join(clash)} is on the rack already; nothing was changed.\n"
                "hint: two jobs go by one name; give this one another reference or name"
            )
        kept["pieces"] = [*rows.values(), *put]
        kept["done"].append({"job": key, "took": taken, "put": [row["name"] for row in put]})
        return True

    return update_kept(folder / RACK_FILE, FORMAT, change)


def is_committed(folder: Path, job: Job) -> bool:
    """Whether this job and revision has changed the rack already."""
    return _done(read_kept(folder / RACK_FILE, FORMAT), job_key(job)) is not None
