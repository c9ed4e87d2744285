"""Write a folder of papers whole or not at all.

The papers are first written into a folder beside the target, then swapped in. Whatever was in the target
before is kept: papers of another revision are moved aside, files that are not ours are carried over.
"""

from __future__ import annotations

import os
import shutil
import tempfile
from collections.abc import Mapping
from pathlib import Path

from .errors import TankwrightError

__all__ = ["LEDGER", "PapersNotWritten", "write_whole"]

#: Lists the papers of a folder, so that the next run knows which files are its own.
LEDGER = "papers.list"


class PapersNotWritten(TankwrightError, OSError):
    """The papers could not be put in place; what was there before is still there."""


def _ours(folder: Path) -> set[str]:
    ledger = folder / LEDGER
    return set(ledger.read_text(encoding="utf-8").splitlines()) | {LEDGER} if ledger.is_file() else set()


def write_whole(target: Path, papers: Mapping[str, bytes], *, revision: str = "") -> None:
    """Put ``papers`` (name -> content; names may hold folders) into ``target``, all of them or none.

    Papers of an earlier run that this one no longer makes are removed if they are of the same revision,
    and kept in ``earlier/REVISION`` if not. Files that no run wrote are left where they are.

    Raises
    ------
    PapersNotWritten
        If the target is a file, cannot be written, or a paper in it would have to give way to one of the
        user's own files.
    """
    target = target.resolve()
    _check(target, papers)
    parent = target.parent
    try:
        parent.mkdir(parents=True, exist_ok=True)
        work = Path(tempfile.mkdtemp(prefix=f".{target.name}.", dir=parent))
    except OSError as fault:
        raise PapersNotWritten(_cannot(target, fault)) from fault
    fresh = work / "fresh"
    try:
        for name, content in papers.items():
            path = fresh / name
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_bytes(content)
        (fresh / LEDGER).write_text("\n".join([*sorted(papers), f"revision {revision}"]) + "\n", encoding="utf-8")
        _carry_over(target, fresh, revision)
        if target.exists():
            os.replace(target, work / "before")
            try:
                os.replace(fresh, target)
            except OSError:
                os.replace(work / "before", target)
                raise
        else:
            os.replace(fresh, target)
        target.chmod(0o755)
    except OSError as fault:
        raise PapersNotWritten(_cannot(target, fault)) from fault
    finally:
        shutil.rmtree(work, ignore_errors=True)


def _check(target: Path, papers: Mapping[str, bytes]) -> None:
    if target.is_file():
        raise PapersNotWritten(
            f"{target.name} is a file, and the papers need a folder.\nhint: name another folder with --out"
        )
    if not target.is_dir():
        return
    ours = _ours(target)
    foreign = sorted(name for name in papers if name not in ours and (target / name).exists())
    if foreign:
        raise PapersNotWritten(
            f"{target.name} holds files of your own that papers would overwrite: {', '.join(foreign[:5])}.\n"
            "hint: move them away, or name another folder with --out"
        )


def _carry_over(target: Path, fresh: Path, revision: str) -> None:
    """Take along what the target holds that is not made anew."""
    if not target.is_dir():
        return
    ours = _ours(target)
    before = next((line[9:] for line in sorted(ours) if line.startswith("revision ")), "")
    for path in sorted(p for p in target.rglob("*") if p.is_file()):
        name = path.relative_to(target).as_posix()
        if name in ours:
            if before == revision:
                continue
            place = fresh / "earlier" / f"revision {before or 'none'}" / name
        else:
            place = fresh / name
        if not place.exists():
            place.parent.mkdir(parents=True, exist_ok=True)
            shutil.copy2(path, place)


def _cannot(target: Path, fault: OSError) -> str:
    reason = fault.strerror or str(fault)
    return (
        f"The papers could not be written to {target.name}: {reason}.\n"
        "Nothing there was changed.\n"
        "hint: close programs that have papers open, check that the folder may be written to and the disk has room, "
        "or name another folder with --out"
    )
