"""What was found when patterns were held against one another: stop, look or note."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass

__all__ = ["Finding", "Show", "in_mm", "strongest_first"]

#: Puts a length in mm into words.
Show = Callable[[float], str]


def in_mm(length: float) -> str:
    """A length as "36.5 mm"."""
    return f"{length:.1f} mm"


@dataclass(frozen=True)
class Finding:
    """One thing a maker should know before metal is cut.

    ``strength``: "stop" (the papers would be wrong), "look" (decide before cutting), "note" (worth
    knowing, or not checked). ``at_mm`` is the place, x from the front register mark, where there is one.
    """

    strength: str
    pattern: str
    says: str
    found: str = ""
    allowed: str = ""
    at_mm: float | None = None
    remedy: str = ""


def strongest_first(found: Iterable[Finding]) -> tuple[Finding, ...]:
    """Findings with stops before looks before notes, otherwise in the order given."""
    order = {"stop": 0, "look": 1, "note": 2}
    return tuple(sorted(found, key=lambda finding: order[finding.strength]))
