"""The offcut rack: what the shop keeps, and how it is changed by hand; what a job does with it is in `rackjob`.

Words used here
    rack      the offcuts a shop keeps, in ``offcut-rack.json`` in the shop's folder
    piece     one offcut: a name that stands on it in marker, its size, metal, thickness, grain
    entry     a piece as it stands in the file; one that somebody has spoilt can still be taken off by its name

Lengths in mm.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Iterable, Mapping
from dataclasses import asdict, dataclass, replace
from pathlib import Path
from typing import Any

from .errors import TankwrightError
from .fields import shown
from .keeping import Kept, NotKept, read_kept, update_kept
from .shop import StockSheet
from .units import length_mm, thickness_mm

__all__ = [
    "FORMAT",
    "RACK",
    "RACK_FILE",
    "Piece",
    "RackRefused",
    "add_piece",
    "all_there",
    "from_rack",
    "list_rack",
    "pieces_of",
    "price_piece",
    "read_piece",
    "read_price",
    "read_rack",
    "remove_pieces",
    "row_of",
    "stock_of",
]

RACK_FILE = "offcut-rack.json"
FORMAT = "tankwright offcut rack 1"
#: What ``nesting.Sheet.origin`` says of a sheet that lies on the shop's own rack.
RACK = "rack"
LONGEST_SIDE_MM, LONGEST_WORDS, THICKEST_MM, DEAREST = 20_000.0, 80, 25.0, 1e6
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
    price: float = 0.0  # what it is charged at; nought: by the shop's ``offcut_share``
    note: str = ""

    @property
    def area(self) -> float:
        """mm2."""
        from shapely.geometry import Polygon

        return float(Polygon(self.outline).area) if self.outline else self.width * self.height


def from_rack(sheet: object) -> bool:
    """Whether a sheet of a layout comes from the shop's own rack, by its origin."""
    return getattr(sheet, "origin", "") == RACK


# ------------------------------------------------------------------------------- reading


def read_rack(folder: Path) -> tuple[Piece, ...]:
    """The pieces on the rack in a shop's folder, by name.

    Raises
    ------
    NotKept
        If the file or an entry in it cannot be read.
    """
    return pieces_of(read_kept(folder / RACK_FILE, FORMAT)["pieces"])


def list_rack(folder: Path) -> tuple[tuple[Piece, ...], tuple[str, ...]]:
    """The pieces that can be read, by name, and of each entry that cannot what is wrong with it.

    Raises
    ------
    NotKept
        If the file cannot be read at all.
    """
    pieces, faults = [], []
    for row in read_kept(folder / RACK_FILE, FORMAT)["pieces"]:
        try:
            pieces.append(_piece(row))
        except NotKept as fault:
            faults.append(str(fault))
    return tuple(sorted(pieces, key=lambda piece: piece.name)), tuple(faults)


def pieces_of(rows: Iterable[Mapping[str, Any]]) -> tuple[Piece, ...]:
    """The pieces of a list of entries, by name. NotKept where one cannot be read or two go by one name."""
    pieces = sorted(map(_piece, rows), key=lambda piece: piece.name)
    twice = next((one.name for one, other in itertools.pairwise(pieces) if one.name == other.name), None)
    if twice is not None:
        raise NotKept(f"{RACK_FILE}: two pieces are called {twice}.\nhint: give one of them another name in that file")
    return tuple(pieces)


def _piece(row: Mapping[str, Any]) -> Piece:
    """A piece from its entry; a clear no where the entry has been spoilt by hand."""
    if not isinstance(row, Mapping):
        raise _spoilt({}, f"{str(row)[:60]} is no entry")
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
    except KeyError as fault:
        raise _spoilt(row, f"it has no {fault.args[0]}") from fault
    except (TypeError, ValueError, OverflowError) as fault:
        raise _spoilt(row, str(fault)) from fault
    wrong = _wrong(piece)
    if wrong:
        raise _spoilt(row, wrong)
    return piece


def _wrong(piece: Piece) -> str:
    """What cannot be true of a piece; "" where nothing is wrong."""
    sides = (("width", piece.width, 1e5), ("height", piece.height, 1e5), ("thickness", piece.thickness, 1e3))
    for what, side, most in sides:
        if not 0 < side <= most:  # not a number is neither
            return f"its {what} is {side:g} mm; more than 0, up to {most:g} mm, can be"
    if not 0 <= piece.price <= DEAREST:
        return f"its price is {piece.price:g}; 0 to {DEAREST:g} can be"
    if piece.grain not in GRAINS:
        return f'its grain is {shown(piece.grain, 20)}; "x", "y" or "" can be'
    return _wrong_outline(piece) if piece.outline else ""


def _wrong_outline(piece: Piece) -> str:
    from shapely.geometry import Polygon

    flat = [value for point in piece.outline for value in point]
    if len(piece.outline) < 3 or not all(map(math.isfinite, flat)):
        return f"its outline has {len(piece.outline)} points; at least 3, of two numbers each, make one"
    shape = Polygon(piece.outline)
    if not shape.is_valid or not shape.area > 0:
        return "its outline crosses or touches itself"
    x0, y0, x1, y1 = shape.bounds
    if min(x0, y0) < -1e-6 or x1 > piece.width + 1e-6 or y1 > piece.height + 1e-6:
        return (
            f"its outline spans {x0:g} to {x1:g} and {y0:g} to {y1:g} mm; 0 to {piece.width:g} and 0 to "
            f"{piece.height:g} mm is its size"
        )
    return ""


def _spoilt(row: Mapping[str, Any], wrong: str) -> NotKept:
    name = row.get("name")
    who = str(name)[:LONGEST_WORDS] if name not in (None, "") else f"an entry without a name, {str(dict(row))[:80]}"
    off = "take the entry out of the file" if name in (None, "") else f'tankwright rack remove "{who}"'
    return NotKept(
        f"{RACK_FILE}: {who} cannot be read: {wrong}.\n"
        f"hint: {off}, then measure the piece and put it back with tankwright rack add"
    )


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
    price: str | float = 0.0,
    note: str = "",
) -> Piece:
    """A piece from words as a person gives them; lengths may be fractions, the thickness a gauge.

    Raises
    ------
    RackRefused
        Where a size, metal, thickness or price cannot be read or cannot be.
    """
    from panels.metal import lookup_metal

    try:
        found = lookup_metal(metal)
    except LookupError as fault:
        raise RackRefused(str(fault)) from fault
    sides = [
        _size(what, length_mm, (words, unit), LONGEST_SIDE_MM, "620, 620mm, 24 1/2 or 24.5 in")
        for what, words in (("width", width), ("height", height))
    ]
    sheet = _size(
        "thickness", thickness_mm, (thickness, unit, found.gauge_system), THICKEST_MM, "1.6, 0.063 in or 16 ga"
    )
    for words in (name, note):
        if not words.isprintable() or len(words) > LONGEST_WORDS:
            raise RackRefused(
                f"A name or note is one line.\n  found    {shown(words)}, {len(words)} letters\n"
                f"  allowed  up to {LONGEST_WORDS}\nhint: shorten it"
            )
    return Piece(
        name.strip(), round(sides[0], 2), round(sides[1], 2), found.name, round(sheet, 4),
        {"width": "x", "height": "y"}.get(grain, ""), (), read_price(price), note.strip(),
    )  # fmt: skip


def _size(what: str, read: Callable[..., float], words: tuple[Any, ...], most: float, such: str) -> float:
    """A length from a person's words, mm; RackRefused with what it may be."""
    try:
        mm = read(*words)
    except ValueError as fault:
        raise RackRefused(
            f"The {what} of the piece cannot be read: {fault}.\n  found    {shown(words[0])}\n"
            f"  allowed  more than 0, up to {most:g} mm\nhint: write it as {such}"
        ) from fault
    if not 0 < mm <= most:
        raise RackRefused(
            f"A piece with a {what} of {mm:g} mm cannot be.\n  found    {shown(words[0])}, read in {words[1]}\n"
            f"  allowed  more than 0, up to {most:g} mm\nhint: measure it again, or say --unit mm or in"
        )
    return mm


def read_price(words: str | float) -> float:
    """A price from a person's words, to the cent.

    Raises
    ------
    RackRefused
        For what is no amount of money.
    """
    try:
        price = float(words)
    except ValueError:
        price = math.nan
    if not 0 <= price <= DEAREST:
        raise RackRefused(
            f"This is no price.\n  found    {shown(words)}\n  allowed  0 to {DEAREST:g}\n"
            "hint: write it with a point and without a currency, such as 12.50"
        )
    return round(price, 2)


def add_piece(folder: Path, piece: Piece) -> Piece:
    """Put a piece on the rack; one without a name gets the next number, R1, R2 ...

    Raises
    ------
    RackRefused
        If the name is taken.
    """

    def change(kept: Kept) -> Piece:
        there = {str(row.get("name")) for row in kept["pieces"]}
        took = [row for done in kept["done"] if isinstance(done.get("took"), list) for row in done["took"]]
        before = {str(row.get("name")) for row in took if isinstance(row, dict)}
        number = 1
        while f"R{number}" in there | before:  # a number is not given twice: it may stand on a cut list
            number += 1
        named = replace(piece, name=piece.name or f"R{number}")
        if named.name in there:
            raise RackRefused(f"{named.name} is on the rack already.\nhint: choose another name, or leave it away")
        kept["pieces"].append(row_of(named))
        return named

    return update_kept(folder / RACK_FILE, FORMAT, change)


def price_piece(folder: Path, name: str, price: float) -> Piece:
    """Set what a piece is charged at.

    Raises
    ------
    RackRefused
        If it is not there.
    NotKept
        If its entry cannot be read.
    """
    if not (folder / RACK_FILE).exists():
        all_there([name], {})

    def change(kept: Kept) -> Piece:
        rows = {str(row.get("name")): row for row in kept["pieces"]}
        all_there([name], rows)
        rows[name]["price"] = price
        return _piece(rows[name])

    return update_kept(folder / RACK_FILE, FORMAT, change)


def remove_pieces(folder: Path, names: Iterable[str]) -> tuple[Piece | str, ...]:
    """Take pieces off the rack by name, all of them or none; a spoilt entry is taken off too, and told by its name.

    Raises
    ------
    RackRefused
        If one is not there.
    """
    wanted = tuple(dict.fromkeys(names))
    if not (folder / RACK_FILE).exists():
        all_there(wanted, {})  # before a lock is left where there is no rack

    def change(kept: Kept) -> tuple[Piece | str, ...]:
        rows = {str(row.get("name")): row for row in kept["pieces"]}
        all_there(wanted, rows)
        kept["pieces"] = [row for row in kept["pieces"] if str(row.get("name")) not in wanted]
        return tuple(_readable(rows[name]) for name in wanted)

    return update_kept(folder / RACK_FILE, FORMAT, change)


def _readable(row: Mapping[str, Any]) -> Piece | str:
    try:
        return _piece(row)
    except NotKept:
        return str(row.get("name"))


def all_there(wanted: Iterable[str], rows: Mapping[str, Any], hint: str = "") -> None:
    """RackRefused where a name is not among the entries."""
    missing = [name for name in wanted if name not in rows]
    if missing:
        have = ", ".join(rows) or "nothing"
        raise RackRefused(
            f"{', '.join(missing)} {'is' if len(missing) == 1 else 'are'} not on the rack; nothing was changed.\n"
            f"  on it    {have[:300]}\nhint: {hint or 'tankwright rack list shows what is there'}"
        )


def row_of(piece: Piece) -> dict[str, Any]:
    """A piece as its entry, what is empty left away."""
    row = asdict(piece) | {"outline": [list(point) for point in piece.outline]}
    return {key: value for key, value in row.items() if value not in ("", [], 0.0)}
