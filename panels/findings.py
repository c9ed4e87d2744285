"""What was found when patterns were held against one another: stop, look or note."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable
from dataclasses import dataclass

__all__ = ["Finding", "Show", "in_mm", "lengths_shown", "strongest_first"]

#: Puts a length in mm into words.
Show = Callable[[float], str]


def in_mm(length: float) -> str:
    """A length as "36.5 mm"."""
    return f"{length:.1f} mm"


#: A length in words, or two of one kind; not one that follows its inches, nor an area.
_LENGTHS = re.compile(
    r"(?<![\w.])(?<!in \()(?<!in \(-)(-?\d+(?:\.\d+)?)(?:( to | and | or | x )(-?\d+(?:\.\d+)?))? mm(?![\w²])"
)


def lengths_shown(text: str, show: Show) -> str:
    """The text with every length in mm as ``show`` puts it; it keeps the figure in mm that it has.

    >>> lengths_shown("It starts 0.25 mm below, 3 to 8 mm are allowed", lambda v: f"{v / 25.4:.2f} in ({v:.1f} mm)")
    'It starts 0.01 in (0.25 mm) below, 0.12 in (3 mm) to 0.31 in (8 mm) are allowed'
    """

    def one(figure: str) -> str:
        plain, shown = in_mm(float(figure)), show(float(figure))
        return f"{figure} mm" if shown == plain else shown.replace(plain, f"{figure} mm")

    def worded(found: re.Match[str]) -> str:
        first, between, second = found.groups()
        if second is None:
            return one(first)
        if one(first) == f"{first} mm":
            return found[0]
        return f"{one(first)}{between}{one(second)}"

    return _LENGTHS.sub(worded, text)


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
