"""Write a folder of papers whole or not at all.

The papers are first written into a folder beside the target, then the two are exchanged. A folder is written into
only if it is new, empty, or one of ours, known by its ledger. What is in it and not ours is moved over, never copied
or deleted; papers of another revision, and papers that somebody has changed since, are kept under ``earlier/``.
"""

from __future__ import annotations

import hashlib
import os
import shutil
import tempfile
from collections.abc import Mapping
from pathlib import Path

from .errors import TankwrightError
from .papers.names import slug

__all__ = ["LEDGER", "PapersNotWritten", "may_write", "write_whole"]

#: Lists the papers of a folder and what they were, so that the next run knows its own from others'.
LEDGER = "papers.list"
SIGNATURE = "Papers written by Tankwright. This list tells its own files from yours."


class PapersNotWritten(TankwrightError, OSError):
    """The papers could not be put in place; what was there before is still there."""


def write_whole(target: Path, papers: Mapping[str, bytes], *, revision: str = "") -> None:
    """Put ``papers`` (name -> content; names may hold folders) into ``target``, all of them or none.

    Raises
    ------
    PapersNotWritten
        If the target is a file, a folder of somebody else's files or one that somebody stands in, cannot be
        written, or a file of the user's is in a paper's way.
    """
    try:
        target = target.resolve()
        ledger = _checked(target, papers)
        target.parent.mkdir(parents=True, exist_ok=True)
        work = Path(tempfile.mkdtemp(prefix=f".{target.name}.", dir=target.parent))
    except (OSError, RuntimeError, ValueError) as fault:
        if isinstance(fault, PapersNotWritten):
            raise
        raise PapersNotWritten(_cannot(target, fault)) from fault
    fresh, before = work / "fresh", work / "before"
    try:
        _write(fresh, papers, revision)
        if target.exists():
            shutil.copymode(target, fresh)
            os.replace(target, before)
        os.replace(fresh, target)
        if before.exists():
            _move_over(before, target, ledger, revision)
    except BaseException as fault:
        if before.exists() and not target.exists():
            os.replace(before, target)
        if isinstance(fault, OSError):
            raise PapersNotWritten(_cannot(target, fault)) from fault
        raise
    finally:
        # Whatever could not be moved is worth more than a tidy folder.
        if not (before.exists() and any(before.iterdir())):
            shutil.rmtree(work, ignore_errors=True)


def may_write(target: Path) -> None:
    """Say no early to a target that no papers could be written into; the same no as `write_whole`'s."""
    try:
        _checked(target.resolve(), {})
    except (RuntimeError, ValueError) as fault:
        raise PapersNotWritten(_cannot(target, fault)) from fault
    except OSError as fault:
        if isinstance(fault, PapersNotWritten):
            raise
        raise PapersNotWritten(_cannot(target, fault)) from fault


def _write(folder: Path, papers: Mapping[str, bytes], revision: str) -> None:
    lines = [SIGNATURE, f"revision {' '.join(revision.split())}"]
    for name, content in sorted(papers.items()):
        path = folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(content)
        lines.append(f"{hashlib.sha256(content).hexdigest()} {name}")
    (folder / LEDGER).write_text("\n".join(lines) + "\n", encoding="utf-8")


def _ledger(folder: Path) -> dict[str, str] | None:
    """Name -> digest of the papers of the last run, and its revision under ""; None if the folder is not ours."""
    path = folder / LEDGER
    if path.is_symlink() or not path.is_file():
        return None
    lines = path.read_bytes().decode("utf-8", errors="replace").splitlines()
    if len(lines) < 2 or lines[0] != SIGNATURE:
        return None
    rows = (line.split(" ", 1) for line in lines[2:] if " " in line)
    return {"": lines[1].removeprefix("revision "), **{name: digest for digest, name in rows}}


def _checked(target: Path, papers: Mapping[str, bytes]) -> dict[str, str]:
    """The ledger of a folder that may be written into; empty where it is new or empty."""
    if target.exists() and not target.is_dir():
        raise PapersNotWritten(
            f"{target.name} is a file, and the papers need a folder.\nhint: name another folder with --out"
        )
    here = Path.cwd().resolve()
    if target == here or target in here.parents:
        raise PapersNotWritten(
            f"{target.name or target} is the folder you stand in, or above it; papers need one of their own.\n"
            "hint: name a folder inside it: --out papers"
        )
    if not target.is_dir() or not any(target.iterdir()):
        return {}
    ledger = _ledger(target)
    if ledger is None:
        found = ", ".join(sorted(path.name for path in target.iterdir())[:5])
        raise PapersNotWritten(
            f"{target.name} holds files that are not papers of an earlier run: {found}.\n"
            "hint: name a new or empty folder with --out"
        )
    for name in papers:
        path = target / name
        parts = [target.joinpath(*Path(name).parts[:k]) for k in range(1, len(Path(name).parts))]
        blocked = next((part for part in parts if part.is_symlink() or (part.exists() and not part.is_dir())), None)
        if blocked is None and name not in ledger and (path.exists() or path.is_symlink()):
            blocked = path
        if blocked is not None:
            raise PapersNotWritten(
                f"{blocked.relative_to(target)} in {target.name} is not one of the papers and stands in the way of "
                f"{name}.\nhint: move it away, or name another folder with --out"
            )
    return ledger


def _move_over(before: Path, target: Path, ledger: Mapping[str, str], revision: str) -> None:
    """Move what is not ours from the old folder into the new one, and keep aside what should not be lost."""
    old = ledger.get("", "")
    other = old != " ".join(revision.split())
    if (before / "earlier").exists():
        os.replace(before / "earlier", target / "earlier")
    aside = _free(target / "earlier", f"revision-{slug(old) if old else 'none'}")
    for folder, folders, files in os.walk(before, topdown=True):
        at = Path(folder)
        for name in [*files, *(f for f in folders if (at / f).is_symlink() or _all_foreign(at / f, before, ledger))]:
            path = at / name
            key = path.relative_to(before).as_posix()
            if key == LEDGER:
                path.unlink()
                continue
            ours = key in ledger and not path.is_symlink()
            if not ours:
                place = target / key
            elif other or hashlib.sha256(path.read_bytes()).hexdigest() != ledger[key]:
                place = aside / key
            else:
                path.unlink()
                continue
            place.parent.mkdir(parents=True, exist_ok=True)
            os.replace(path, place)
        folders[:] = [f for f in folders if (at / f).is_dir() and not (at / f).is_symlink()]
    for folder, _, _ in os.walk(before, topdown=False):
        os.rmdir(folder)


def _all_foreign(folder: Path, top: Path, ledger: Mapping[str, str]) -> bool:
    """Whether a folder holds no paper of ours: it moves as a whole."""
    start = folder.relative_to(top).as_posix() + "/"
    return not any(name.startswith(start) for name in ledger)


def _free(folder: Path, name: str) -> Path:
    """A name in a folder that is not taken: with a number where it is."""
    place, number = folder / name, 2
    while place.exists():
        place, number = folder / f"{name}-{number}", number + 1
    return place


def _cannot(target: Path, fault: Exception) -> str:
    reason = getattr(fault, "strerror", None) or str(fault)
    return (
        f"The papers could not be written to {target.name}: {reason}.\n"
        "hint: close programs that have papers open, check that the folder may be written to and the disk has room, "
        "or name another folder with --out"
    )
