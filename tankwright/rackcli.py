"""The command line's words about the offcut rack."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any, NamedTuple

import click

if TYPE_CHECKING:
    from .job import Made
    from .rack import Piece

__all__ = ["commit_offcuts", "rack", "tell_proposal"]

_JOB = click.option(
    "--job", type=click.Path(path_type=Path), default=Path(), help="A job of the shop; this folder if left out."
)


@click.group()
def rack() -> None:
    """The offcuts you keep: list, add, price, remove. Jobs are laid out on them before sheets are bought."""


class _Place(NamedTuple):
    """The folder in which a shop keeps its rack, and the shop's unit."""

    folder: Path
    unit: str


def _place(job: Path) -> _Place:
    """Where the shop of a job, or of this folder, keeps its rack.

    Raises
    ------
    RackRefused
        If there is no such folder, or neither a job nor a shop nor a rack in it.
    """
    from .keeping import shop_folder
    from .load import shop_of
    from .rack import RACK_FILE, RackRefused
    from .shopfile import find_shop

    folder = job.parent if job.suffix == ".toml" and job.is_file() else job
    if not folder.is_dir():
        raise RackRefused(
            f"There is no folder {job}; nothing was changed.\n"
            "hint: --job names a job's folder; leave it away in the folder of a job or of the shop file"
        )
    if find_shop(folder) is None and not any((folder / name).is_file() for name in ("job.toml", RACK_FILE)):
        raise RackRefused(
            f"{folder.resolve().name or folder} is no job's folder, and no shop file serves it; nothing was changed.\n"
            f"  wanted   job.toml, shop.toml or {RACK_FILE} in it\n"
            "hint: name a job's folder with --job, or go to the folder of the shop file"
        )
    keep_in, unit = shop_of(folder)
    return _Place(shop_folder(folder, keep_in), unit)


@rack.command("list")
@_JOB
def list_(job: Path) -> None:
    """What lies on the rack."""
    from .rack import RACK_FILE, list_rack

    folder, unit = _place(job)
    pieces, faults = list_rack(folder)
    wide = max((len(piece.name) for piece in pieces), default=0)
    for piece in pieces:
        click.echo(_words(piece, unit, wide))
    for fault in faults:
        click.echo(fault, err=True)
    if pieces:
        area = sum(piece.area for piece in pieces) / 1e6
        click.echo(f"{len(pieces)} piece{'s' if len(pieces) > 1 else ''}, {area:.2f} m², in {folder / RACK_FILE}")
    elif not faults:
        click.echo(f"Nothing on the rack ({folder / RACK_FILE}).")
    if faults:
        click.get_current_context().exit(2)


def _words(piece: Piece, unit: str, wide: int = 0) -> str:
    from .rack import GRAINS
    from .units import show_size, show_thickness

    shape = " not square," if piece.outline else ""
    price = f", charged at {piece.price:.2f}" if piece.price else ""
    note = f"  ({piece.note})" if piece.note else ""
    return (
        f"{piece.name:<{wide}}  {show_size(piece.width, piece.height, unit)},{shape} {piece.metal} "
        f"{show_thickness(piece.thickness, unit)}, grain {GRAINS[piece.grain]}{price}{note}"
    )


@rack.command()
@click.argument("width")
@click.argument("height")
@click.option("--metal", required=True, help="Such as 3003-H14.")
@click.option("--thickness", required=True, help="A length or a gauge.")
@click.option("--grain", type=click.Choice(["width", "height", "unknown"]), default="unknown", show_default=True)
@click.option("--name", default="", help="As it stands on the piece in marker; the next R number if left out.")
@click.option("--price", default="0", help="What a job is charged for it; by the shop's offcut_share if left out.")
@click.option("--note", default="")
@click.option("--unit", type=click.Choice(["mm", "in"]), help="Of plain numbers here; the shop's own if left out.")
@_JOB
def add(
    job: Path, width: str, height: str, metal: str, thickness: str, grain: str, unit: str | None, **rest: Any
) -> None:
    """Put a piece WIDTH x HEIGHT on the rack."""
    from .rack import add_piece, read_piece

    folder, own = _place(job)
    piece = read_piece(width, height, metal, thickness, grain, unit or own, **rest)
    click.echo(f"on the rack: {_words(add_piece(folder, piece), unit or own)}")


@rack.command()
@click.argument("name")
@click.argument("price")
@_JOB
def price(job: Path, name: str, price: str) -> None:
    """Charge PRICE for the piece called NAME wherever a job uses it; 0: by the shop's offcut_share again."""
    from .rack import price_piece, read_price

    folder, unit = _place(job)
    click.echo(f"on the rack: {_words(price_piece(folder, name, read_price(price)), unit)}")


@rack.command()
@click.argument("names", nargs=-1, required=True)
@_JOB
def remove(job: Path, names: tuple[str, ...]) -> None:
    """Take pieces off the rack by NAME."""
    from .rack import remove_pieces

    folder, unit = _place(job)
    for piece in remove_pieces(folder, names):
        click.echo(f"off the rack: {piece if isinstance(piece, str) else _words(piece, unit)}")


@rack.command()
@click.argument("job", type=click.Path(path_type=Path))
@click.option("--revision", help="Of the job; the one that its file has now if left out.")
def undo(job: Path, revision: str | None) -> None:
    """Take back what make --commit-offcuts did for a JOB whose metal is not cut yet."""
    from .keeping import shop_folder
    from .load import load_job
    from .rackjob import job_key
    from .rackjob import undo as run

    loaded = load_job(job)
    key = job_key(loaded)
    before = run(
        shop_folder(loaded.folder, loaded.shop.keep_in), key if revision is None else {**key, "revision": revision}
    )
    for piece in before.took:
        click.echo(f"back on the rack: {_words(piece, loaded.unit)}")
    for piece in before.put or ():
        click.echo(f"off the rack: {_words(piece, loaded.unit)}")


def tell_proposal(made: Made) -> None:
    """What a made job takes from the rack and would put onto it, or what it changed before."""
    from .rackjob import propose
    from .units import show_size

    job = made.work.job
    proposal = propose(job, made.work.layout)
    done = proposal.before is not None and not proposal.differs
    for name in proposal.take:
        click.echo(f"from the rack: {name}{', taken off before' if done else ''}")
    for name in proposal.by_hand:
        click.echo(f"from the rack: {name}; it stands in the shop file: take it out there once it is cut")
    for k, piece in enumerate(proposal.put, 1):
        size = show_size(piece.width, piece.height, job.unit)
        click.echo(f"for the rack:  K{k}, {size}, as {piece.name}{', put there before' if done else ''}")


def commit_offcuts(made: Made) -> None:
    """Change the rack as the made job proposes, or say that it was done before."""
    from .keeping import shop_folder
    from .rack import RACK_FILE
    from .rackjob import commit, propose

    job = made.work.job
    folder = shop_folder(job.folder, job.shop.keep_in)
    proposal = propose(job, made.work.layout)
    if commit(folder, job, proposal):
        click.echo(f"rack changed: {len(proposal.take)} off, {len(proposal.put)} on, in {folder / RACK_FILE}")
    else:
        click.echo(
            f"The rack was changed for {job.name}, revision {job.revision or 'none'}, before: nothing is done twice."
        )
