"""The command line's words about the offcut rack."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

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
    """The offcuts you keep: list, add, remove. Jobs are laid out on them before sheets are bought."""


def _folder(job: Path) -> Path:
    """The folder in which the shop of a job, or of this folder, keeps its rack."""
    from .keeping import shop_folder
    from .load import shop_of

    folder = job if job.is_dir() else job.parent
    return shop_folder(folder, shop_of(folder))


@rack.command("list")
@_JOB
def list_(job: Path) -> None:
    """What lies on the rack."""
    from .rack import RACK_FILE, read_rack

    folder = _folder(job)
    pieces = read_rack(folder)
    if not pieces:
        click.echo(f"Nothing on the rack ({folder / RACK_FILE}).")
        return
    for piece in pieces:
        click.echo(_words(piece))
    area = sum(piece.area for piece in pieces) / 1e6
    click.echo(f"{len(pieces)} piece{'s' if len(pieces) > 1 else ''}, {area:.2f} m², in {folder / RACK_FILE}")


def _words(piece: Piece) -> str:
    from .rack import GRAINS

    shape = " not square," if piece.outline else ""
    price = f", charged at {piece.price:.2f}" if piece.price else ""
    note = f"  ({piece.note})" if piece.note else ""
    return (
        f"{piece.name:<24} {piece.width:7.1f} x {piece.height:<7.1f} mm,{shape} {piece.metal} "
        f"{piece.thickness:.2f} mm, grain {GRAINS[piece.grain]}{price}{note}"
    )


@rack.command()
@click.argument("width")
@click.argument("height")
@click.option("--metal", required=True, help="Such as 3003-H14.")
@click.option("--thickness", required=True, help="A length or a gauge.")
@click.option("--grain", type=click.Choice(["width", "height", "unknown"]), default="unknown", show_default=True)
@click.option("--name", default="", help="As it stands on the piece in marker; the next R number if left out.")
@click.option("--price", type=click.FloatRange(0.0, 1e6), default=0.0, help="What a job is charged for it.")
@click.option("--note", default="")
@click.option("--unit", type=click.Choice(["mm", "in"]), default="mm", show_default=True, help="Of plain numbers here.")
@_JOB
def add(job: Path, width: str, height: str, metal: str, thickness: str, grain: str, unit: str, **rest: Any) -> None:
    """Put a piece WIDTH x HEIGHT on the rack."""
    from .rack import add_piece, read_piece

    piece = read_piece(width, height, metal, thickness, grain, unit, **rest)
    click.echo(f"on the rack: {_words(add_piece(_folder(job), piece))}")


@rack.command()
@click.argument("names", nargs=-1, required=True)
@_JOB
def remove(job: Path, names: tuple[str, ...]) -> None:
    """Take pieces off the rack by NAME."""
    from .rack import remove_pieces

    for piece in remove_pieces(_folder(job), names):
        click.echo(f"off the rack: {_words(piece)}")


def tell_proposal(made: Made) -> None:
    """What a made job takes from the rack and would put onto it, and how to say yes."""
    from .rack import propose

    proposal = propose(made.work.job, made.work.layout)
    for name in proposal.take:
        click.echo(f"from the rack: {name}")
    for name in proposal.by_hand:
        click.echo(f"from the rack: {name}; it stands in the shop file: take it out there once it is cut")
    for k, piece in enumerate(proposal.put, 1):
        click.echo(f"for the rack:  K{k}, {piece.width:.0f} x {piece.height:.0f} mm, as {piece.name}")


def commit_offcuts(made: Made) -> None:
    """Change the rack as the made job proposes, or say that it was done before."""
    from .keeping import shop_folder
    from .rack import RACK_FILE, commit, propose

    job = made.work.job
    folder = shop_folder(job.folder, job.shop.keep_in)
    proposal = propose(job, made.work.layout)
    if commit(folder, job, proposal):
        click.echo(f"rack changed: {len(proposal.take)} off, {len(proposal.put)} on, in {folder / RACK_FILE}")
    else:
        click.echo(
            f"The rack was changed for {job.name}, revision {job.revision or 'none'}, before: nothing is done twice."
        )
