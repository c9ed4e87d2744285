"""The zones of a rolled piece in words and figures, the same on every paper.

Words used here
    roll line   where a bend begins or ends: it is laid along the rolls, or along the bar that the metal is bent over
    zone        what lies between two roll lines, one radius; flat ones have no number
    hollow      how deep the inside is in the middle of a straight edge of this length: how a large radius is measured
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from ..units import MM_PER_INCH
from . import words
from .cutting_words import figure

if TYPE_CHECKING:
    import numpy as np

    from panels.blank import Blank, Roll

__all__ = [
    "bend_words",
    "hollow_words",
    "kind_word",
    "numbered",
    "plain_radius",
    "radius_words",
    "roll_lines",
    "roll_notes",
    "roll_sentences",
]

#: A radius so many times the zone's own is as good as flat at that end.
NEARLY_FLAT = 10.0
#: Straight edges that a hollow is told for, mm: the longest that fits the zone, where it gives a figure to measure.
EDGES_MM = (200.0, 100.0, 50.0)
LEAST_HOLLOW_MM = 0.4
#: Inside radius below which most slip rolls do not go, mm. Common practice, no source.
BAR_MM = 30.0
#: Lines whose ends differ by less than this along or up stand square to the base line, mm.
SQUARE_MM = 0.3
#: Width of the smallest letter of the notes in cutting files, mm.
NOTE_LETTER_MM = 1.9


def numbered(blank: Blank) -> list[tuple[str, Roll]]:
    """The zones of a blank in order, with their numbers; "" for flat ones."""
    count, found = 0, []
    for roll in blank.rolls:
        count += roll.kind != "flat"
        found.append(("" if roll.kind == "flat" else str(count), roll))
    return found


def roll_lines(blank: Blank) -> list[np.ndarray]:
    """Lines (2, 2) where bends begin and end inside the piece."""
    return [roll.start for roll in blank.rolls[1:]]


def _even(radius: float) -> float:
    """A radius as it is worth telling: to 0.1 mm below 100, then to 1, then to 10."""
    return round(radius, 1 if radius < 100 else 0 if radius < 1000 else -1)


def plain_radius(radius: float, unit: str = "mm") -> str:
    """One radius in figures, with inches behind where the job is in inches: ``763 (30.0 in)``."""
    plain = words.fixed(_even(radius), 1 if radius < 100 else 0)
    return plain if unit != "in" else f"{plain} ({words.fixed(radius / MM_PER_INCH, 2 if radius < 100 else 1)} in)"


def kind_word(roll: Roll) -> str:
    """``roll``, or ``bend`` where it is as tight as one."""
    return "bend" if roll.kind == "bend" else "roll"


def radius_words(roll: Roll, unit: str = "mm") -> str:
    """``10.2``; ``985 (1283 to 799)`` where it changes from start to end; for a cone that at both its edges."""
    if roll.kind == "flat":
        return "flat"
    narrow, wide = sorted(roll.across)
    if wide - narrow > 0.02 * wide:
        return f"{plain_radius(narrow, unit)} at the narrow edge to {plain_radius(wide, unit)} at the wide"
    said = plain_radius(roll.radius, unit)
    if max(abs(end - roll.radius) for end in roll.along) > 0.02 * roll.radius:
        ends = " to ".join("flat" if end > NEARLY_FLAT * roll.radius else plain_radius(end) for end in roll.along)
        said += f" ({ends})" if unit != "in" else f", {ends} mm"
    return said


def bend_words(roll: Roll) -> str:
    """``90.0° up``; nothing for a flat."""
    return "" if roll.kind == "flat" else f"{words.fixed(roll.angle)}° {'up' if roll.up else 'down'}"


def hollow_words(roll: Roll) -> str:
    """``1.3 over 100``: how deep its inside is under a straight edge that long; nothing where no such edge fits."""
    long = math.radians(roll.angle) * roll.radius
    if roll.kind == "flat" or max(roll.across) - min(roll.across) > 0.02 * roll.radius:
        return ""
    for edge in EDGES_MM:
        if edge <= long and edge <= roll.radius:
            deep = roll.radius - math.sqrt(roll.radius**2 - edge**2 / 4)
            return f"{words.fixed(deep)} over {edge:.0f}" if deep >= LEAST_HOLLOW_MM else ""
    return ""


def roll_advice(blank: Blank) -> str:
    """What to do about the lines, in sentences; of bars where a bend is tighter than most rolls go."""
    says = "Lay the lines along the rolls, and check against the formed edges of the pieces it meets."
    if any(roll.least < BAR_MM for roll in blank.rolls):
        says += " What is tighter than your rolls: round a bar of twice the radius, or less for what it springs back."
    return says


def where_words(ends: np.ndarray, unit: str, says: tuple[str, str] = ("along {}", "up {}")) -> str:
    """A roll line (2, 2) from 0 and the base line: ``along 41.8``, ``up 30.0``, or both its ends."""
    (x0, y0), (x1, y1) = ends.tolist()
    if abs(x0 - x1) < SQUARE_MM:
        return says[0].format(figure((x0 + x1) / 2, unit))
    if abs(y0 - y1) < SQUARE_MM:
        return says[1].format(figure((y0 + y1) / 2, unit))
    return f"{figure(x0, unit)}, {figure(y0, unit)} \u2013 {figure(x1, unit)}, {figure(y1, unit)}"


def roll_sentences(blank: Blank, unit: str) -> list[tuple[str, str]]:
    """Each bend with its name: (``roll 1``, ``along 41.8 to along 58.6: inside R 10.2, 90.0° up``)."""
    corner = blank.outline.bounds[:2]
    found = []
    for number, roll in numbered(blank):
        if number:
            where = " to ".join(where_words(ends - corner, unit) for ends in (roll.start, roll.end))
            says = f"{where}: inside R {radius_words(roll, unit)}, {bend_words(roll)}"
            found.append((f"{kind_word(roll)} {number}", says))
    return found


def roll_notes(blank: Blank) -> list[tuple[str, np.ndarray]]:
    """Words along the first roll line of each bend, as many as the line has room for, and the line.

    ``ROLL 1: R 10.2, 90.0 deg, to good face`` or ``R 10.2 to good face`` or ``ROLL 1``: true whichever face lies up.
    """
    found = []
    for number, roll in numbered(blank):
        if not number:
            continue
        ends = roll.start if roll is not blank.rolls[0] else roll.end
        name, radius = f"{kind_word(roll).upper()} {number}", f"R {plain_radius(roll.radius, 'mm')}"
        way = "to good face" if roll.up else "away from good face"
        tries = [f"{name}: {radius}, {words.fixed(roll.angle)} deg, {way}", f"{radius} {way}", name]
        room = math.dist(*ends) / NOTE_LETTER_MM
        found.append((next((says for says in tries if len(says) < room), name), ends))
    return found
