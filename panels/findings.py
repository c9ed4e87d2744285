"""What was found when patterns were held against one another: stop, look or note."""

from __future__ import annotations

from dataclasses import dataclass

__all__ = ["Finding"]


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
