"""A new job folder to fill in: a small tank that makes as it stands, every section explained."""

from __future__ import annotations

from importlib import resources
from pathlib import Path

from .errors import CannotStart, FolderInUse, TankwrightError
from .units import UNITS

__all__ = ["STARTER_FILES", "start_folder", "starter_text"]

STARTER_FILES = ("job.toml", "shop.toml")


def starter_text(name: str, unit: str = "mm") -> str:
    """The text of one starter file, its numbers in mm or in inches with fractions.

    Raises
    ------
    ValueError
        For a unit that is neither "mm" nor "in".
    """
    if unit not in UNITS:
        raise ValueError(f'unit {unit!r} is not known: write "mm" or "in"')
    if unit == "in":
        name = name.replace(".toml", "_in.toml")
    return resources.files("tankwright").joinpath("templates", name).read_text(encoding="utf-8")


def start_folder(folder: str | Path, unit: str = "mm") -> tuple[Path, ...]:
    """Write a starter ``job.toml`` and ``shop.toml`` into a folder, made if it is not there.

    ``unit``, "mm" or "in", is what its numbers are in.
    Returns the files written. Nothing is ever overwritten, and nothing is written if anything is in the way.

    Raises
    ------
    FolderInUse
        One of the files is already there, or the folder's name is taken by a file; carries ``.path``.
    ValueError
        For a unit that is neither "mm" nor "in".
    CannotStart
        The folder cannot be made or written to.
    """
    place = Path(folder)
    texts = {name: starter_text(name, unit) for name in STARTER_FILES}
    try:
        return _write(place, texts)
    except TankwrightError:
        raise
    except (OSError, ValueError) as fault:
        raise CannotStart(place, getattr(fault, "strerror", None) or "this is no name for a folder") from fault


def _write(place: Path, texts: dict[str, str]) -> tuple[Path, ...]:
    if place.exists() and not place.is_dir():
        raise FolderInUse(place)
    targets = [place / name for name in texts]
    for target in targets:
        if target.exists() or target.is_symlink():
            raise FolderInUse(target)
    place.mkdir(parents=True, exist_ok=True)
    for target in targets:
        with target.open("x", encoding="utf-8", newline="\n") as file:
            file.write(texts[target.name])
    return tuple(targets)
