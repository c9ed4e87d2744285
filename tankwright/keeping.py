"""The two small files that a shop keeps from job to job: read whole, changed under a lock, swapped in whole.

A change reads the file afresh while it holds the lock, so that two runs at once both count. The lock is
the operating system's, on a file beside it, and falls with the process that holds it: nothing is left
locked after a crash. What is written goes into a file beside the target first and then takes its name.
"""

from __future__ import annotations

import json
import os
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any, TypeVar

from .errors import TankwrightError

__all__ = ["Kept", "NotKept", "read_kept", "shop_folder", "update_kept"]

Kept = dict[str, Any]
Result = TypeVar("Result")

#: How long to wait for another run to let go, s.
PATIENCE_S = 20.0
#: The lists that a file holds, by its format.
LISTS = {"tankwright offcut rack 1": ("pieces", "done"), "tankwright hours taken 1": ("jobs",)}


class NotKept(TankwrightError, OSError):
    """A file that the shop keeps cannot be read or written; it is as it was before."""


def shop_folder(folder: Path, keep_in: str = "") -> Path:
    """Where a job's shop keeps its files: beside its shop file, in ``keep_in`` from there; else beside the job."""
    from .shopfile import find_shop

    found = find_shop(folder)
    base = found[0].parent if found is not None else folder
    return base / keep_in if keep_in else base


def read_kept(path: Path, form: str) -> Kept:
    """What a file holds; empty lists where it is not there yet.

    Raises
    ------
    NotKept
        If it cannot be read, or is not such a file.
    """
    empty: Kept = {"format": form, **{name: [] for name in LISTS[form]}}
    try:
        text = path.read_text(encoding="utf-8-sig")
    except FileNotFoundError:
        return empty
    except (OSError, UnicodeDecodeError) as fault:
        reason = getattr(fault, "strerror", None) or "it is not UTF-8 text"
        raise NotKept(f"{path.name} cannot be read: {reason}.\nhint: look at the file, or move it away") from fault
    try:
        data = json.loads(text)
    except ValueError as fault:
        line = getattr(fault, "lineno", 1)
        raise NotKept(
            f"{path.name} is damaged at line {line}: {getattr(fault, 'msg', fault)}.\n"
            "hint: mend that line, or take the file from your last backup"
        ) from fault
    _check(path, form, data)
    return {**empty, **data}


def _check(path: Path, form: str, data: Any) -> None:
    if not isinstance(data, dict) or data.get("format") != form:
        found = data.get("format", "no format") if isinstance(data, dict) else "no list of ours"
        raise NotKept(
            f"{path.name} is not the file it should be.\n  found    {str(found)[:60]}\n  wanted   {form}\n"
            "hint: another version may have written it; move it away to begin afresh"
        )
    for name in LISTS[form]:
        rows = data.get(name, [])
        if not isinstance(rows, list) or not all(isinstance(row, dict) for row in rows):
            raise NotKept(f"{path.name}: {name} is not a list of entries.\nhint: mend it by hand or move the file away")


def update_kept(path: Path, form: str, change: Callable[[Kept], Result]) -> Result:
    """Read a file, let ``change`` alter what it holds, and put it back, alone under the lock.

    Nothing is written if ``change`` raises.

    Raises
    ------
    NotKept
        If the file cannot be read or written, or another run holds it for too long.
    """
    from .files import replace_text

    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        with _locked(path):
            kept = read_kept(path, form)
            result = change(kept)
            replace_text(path, _text(kept))
            return result
    except OSError as fault:
        if isinstance(fault, TankwrightError):
            raise
        raise NotKept(
            f"{path.name} could not be written: {fault.strerror or fault}. It is as it was before.\n"
            "hint: check that its folder may be written to and the disk has room"
        ) from fault


def _text(kept: Kept) -> str:
    """One entry a line, so that a person can read it and a comparison shows what changed."""
    blocks = []
    for key, value in kept.items():
        if isinstance(value, list) and value:
            rows = ",\n".join(f"  {json.dumps(row, ensure_ascii=False)}" for row in value)
            blocks.append(f" {json.dumps(key)}: [\n{rows}\n ]")
        else:
            blocks.append(f" {json.dumps(key)}: {json.dumps(value, ensure_ascii=False)}")
    return "{\n" + ",\n".join(blocks) + "\n}\n"


@contextmanager
def _locked(path: Path) -> Iterator[None]:
    """Alone with a file, by a lock on a small file beside it that stays there."""
    beside = path.with_name(f".{path.name}.lock")
    handle = os.open(beside, os.O_RDWR | os.O_CREAT, 0o644)
    try:
        end = time.monotonic() + PATIENCE_S
        while not _try_lock(handle):
            if time.monotonic() > end:
                raise NotKept(
                    f"{path.name} is held by another run of Tankwright for more than {PATIENCE_S:g} s.\n"
                    "hint: wait for it to end, then try again"
                )
            time.sleep(0.02)
        yield
    finally:
        os.close(handle)  # lets go of the lock


def _try_lock(handle: int) -> bool:
    try:
        if sys.platform == "win32":
            import msvcrt

            msvcrt.locking(handle, msvcrt.LK_NBLCK, 1)
        else:
            import fcntl

            fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except (BlockingIOError, PermissionError):
        return False
    return True
