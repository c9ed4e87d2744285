"""Reading the text files of a job, each failure one clear fault; replacing one whole or not at all."""

from __future__ import annotations

import os
import tempfile
from pathlib import Path

from .fields import Fault, Trouble

__all__ = ["LARGEST_BYTES", "read_text", "replace_text"]

#: Past this a file is no list of points written by hand, bytes.
LARGEST_BYTES = 2_000_000

#: First bytes of files that are often sent by mistake.
_KINDS = {
    b"\xff\xfe": "text saved as UTF-16",
    b"\xfe\xff": "text saved as UTF-16",
    b"PK\x03\x04": "a spreadsheet or archive",
    b"%PDF": "a PDF",
    b"\x89PNG": "a picture",
    b"\xff\xd8\xff": "a photograph",
    b"\xd0\xcf\x11\xe0": "an old spreadsheet",
}


def read_text(path: Path, name: str) -> str:
    """The text of a file; ``name`` is what it is called in messages.

    Raises `Trouble`: missing, a folder, unreadable, empty, too large, or not UTF-8 text.
    """
    raw = _read_bytes(path, name)
    if not raw.strip():
        raise Trouble(Fault(f"{name} is empty", "nothing in it", "", "fill it in, or take it away", file=name))
    kind = next((kind for start, kind in _KINDS.items() if raw.startswith(start)), "")
    if kind or b"\x00" in raw:
        found = kind or "bytes that are not text"
        hint = "save it as plain text, UTF-8" if name.endswith(".toml") else "save it as CSV, UTF-8"
        raise Trouble(Fault(f"{name} is not a text file", found, "plain text, UTF-8", hint, file=name))
    try:
        return raw.decode("utf-8-sig").replace("\r\n", "\n").replace("\r", "\n")
    except UnicodeDecodeError as fault:
        line = raw[: fault.start].count(b"\n") + 1
        found = f"a letter that is not UTF-8 (byte {fault.object[fault.start]:#04x})"
        says = f"{name} is not saved as UTF-8"
        hint = "save it again with encoding UTF-8"
        raise Trouble(Fault(says, found, "plain text, UTF-8", hint, file=name, line=line)) from fault


def _read_bytes(path: Path, name: str) -> bytes:
    try:
        if path.is_dir():
            raise Trouble(Fault(f"{name} is a folder", "a folder", "a text file", "name the file in it"))
        if not path.is_file():
            raise Trouble(_missing(path, name))
        size = path.stat().st_size
        if size > LARGEST_BYTES:
            found, allowed = f"{size / 1e6:.1f} MB", f"up to {LARGEST_BYTES / 1e6:g} MB"
            hint = "keep the points a person would read off the pattern"
            raise Trouble(Fault(f"{name} is too large", found, allowed, hint, file=name))
        return path.read_bytes()
    except OSError as fault:
        reason = fault.strerror or "it cannot be opened"
        raise Trouble(Fault(f"{name} cannot be read", reason.lower(), "a text file", "check the file")) from fault


def _missing(path: Path, name: str) -> Fault:
    """A fault that names the files that are there instead."""
    try:
        there = sorted(item.name for item in path.parent.iterdir() if item.suffix == path.suffix)[:6]
    except OSError:
        there = []
    found = ("beside it: " + ", ".join(there)) if there else "no such file"
    from .fields import nearest

    near = nearest(path.name, there)
    hint = f"did you mean {near}?" if near else "check the name; it is looked for beside job.toml"
    return Fault(f"{name} is not there", found, "", hint)


def replace_text(path: Path, text: str) -> None:
    """The text under that name, letter for letter, whole or not at all; a link stays a link. Raises OSError."""
    path = path.resolve()
    handle, made = tempfile.mkstemp(prefix=f".{path.name}.", dir=path.parent)
    try:
        with os.fdopen(handle, "w", encoding="utf-8", newline="") as file:
            file.write(text)
            file.flush()
            os.fsync(file.fileno())
        os.chmod(made, path.stat().st_mode & 0o7777 if path.exists() else 0o644)
        os.replace(made, path)
    except BaseException:
        if os.path.exists(made):
            os.unlink(made)
        raise
