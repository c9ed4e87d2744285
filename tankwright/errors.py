"""Every way the shop's counter says no.

    TankwrightError (Exception)
    ├── JobError (ValueError)          a job folder that cannot be read as it stands; carries ``.findings``
    ├── FolderInUse (FileExistsError)  a new job would overwrite something; carries ``.path``
    └── CannotStart (OSError)          a new job's folder cannot be written; carries ``.path``

A `Finding` is one mistake: which pattern or value, what was found, what is allowed, where it is
written and one thing to try. ``JobError`` holds all of them, so that a job is mended in one go.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

__all__ = ["CannotStart", "Finding", "FolderInUse", "JobError", "TankwrightError", "says_and_remedy"]

#: Most mistakes written out in one message: more than fit on a screen help nobody.
MOST_SHOWN = 20


class TankwrightError(Exception):
    """Base of everything this package raises on purpose."""


@dataclass(frozen=True)
class Finding:
    """One thing that stops a job. ``line`` counts from 1 in ``file``; both may be unknown."""

    strength: str  # "stop": nothing can be made until it is mended
    where: str  # a sentence: "Side pattern, top, point 3: x runs backwards."
    line: int | None = None
    found: str = ""
    allowed: str = ""
    remedy: str = ""
    file: str = ""

    @property
    def place(self) -> str:
        """Where it is written: ``job.toml, line 22``."""
        if not self.file:
            return ""
        return self.file if self.line is None else f"{self.file}, line {self.line}"

    def __str__(self) -> str:
        rows = [("found", self.found), ("allowed", self.allowed)]
        lines = [self.where, *(f"  {name:<8} {text}" for name, text in rows if text)]
        if self.place:
            lines.append(f"  {self.place}")
        if self.remedy:
            lines.append(f"hint: {self.remedy}")
        return "\n".join(lines)


class JobError(TankwrightError, ValueError):
    """A job that cannot be read as it stands; ``.findings`` are all its mistakes, in file order."""

    def __init__(self, findings: Iterable[Finding]) -> None:
        self.findings = tuple(findings)
        shown = [str(finding) for finding in self.findings[:MOST_SHOWN]]
        left = len(self.findings) - len(shown)
        if left > 0:
            shown.append(f"and {left} more; mend these first.")
        super().__init__("\n\n".join(shown))


class FolderInUse(TankwrightError, FileExistsError):
    """A new job would overwrite ``.path``."""

    def __init__(self, path: Path) -> None:
        self.path = path
        super().__init__(
            f"{path.name} is already there, and nothing is ever overwritten.\n"
            "hint: name a folder that does not exist yet, or move that file away"
        )


class CannotStart(TankwrightError, OSError):
    """A new job's folder cannot be made or written to; carries ``.path``."""

    def __init__(self, path: Path, reason: str) -> None:
        self.path = path
        super().__init__(
            f"{path.name or 'This folder'} cannot be written: {reason.lower()}.\nhint: choose another folder"
        )


def says_and_remedy(fault: Exception) -> tuple[str, str]:
    """What an error of ``panels`` or ``nesting`` says, and the one thing to try ("" where it names none)."""
    says, _, remedy = str(fault).partition("hint: ")
    return says.strip(), remedy.strip()
