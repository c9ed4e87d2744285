"""How a rolled piece bends, on the job sheet: lines and numbers on its picture, and a table."""

from __future__ import annotations

from html import escape
from typing import TYPE_CHECKING

import numpy as np

from .flat_places import Frame, Room, room_of
from .jobsheet_html import Cell, table, text
from .rollwords import bend_words, hollow_words, kind_word, numbered, radius_words, roll_advice, roll_lines, where_words
from .svg import line, words

if TYPE_CHECKING:
    from panels.blank import Blank

__all__ = ["roll_picture", "rolls_table"]


def rolls_table(blank: Blank, unit: str) -> str:
    """Each zone of a rolled piece: from, to, inside radius, turn; nothing for other pieces."""
    if not blank.rolls:
        return ""
    corner = np.array(blank.outline.bounds[:2])
    rows: list[tuple[Cell, ...]] = []
    for number, roll in numbered(blank):
        where = [where_words(ends - corner, unit, ("{} from left", "{} up")) for ends in (roll.start, roll.end)]
        rows.append(
            (
                Cell(f"<strong>{kind_word(roll)} {number}</strong>" if number else "flat"),
                *map(text, where),
                text("" if not number else radius_words(roll, unit)),
                text(bend_words(roll)),
                text(hollow_words(roll)),
            )
        )
    heads = ["Roll", "From, mm", "To, mm", "Inside radius, mm", "Turn", "Hollow under a straight edge, mm"]
    if not any(row[-1].html for row in rows):
        heads, rows = heads[:-1], [row[:-1] for row in rows]
    note = (
        "Up is towards the good face, which lies up as drawn. Where a radius changes on the way, it is also given "
        f"at from and at to. {roll_advice(blank)}"
    )
    return table(heads, rows) + f'<p class="small soft">{escape(note)}</p>'


def roll_picture(blank: Blank, f: Frame, taken: list[Room]) -> list[str]:
    """Roll lines, and each bend's number in the middle of its zone where there is room."""
    made = [line(ends, "roll") for ends in roll_lines(blank)]
    for number, roll in numbered(blank):
        if not number:
            continue
        for share in (0.5, 0.7, 0.3):
            at = (1 - share) * (roll.start[0] + roll.end[0]) / 2 + share * (roll.start[1] + roll.end[1]) / 2
            says = next(
                (t for t in (f"{kind_word(roll)} {number}", number) if _fits(t, roll.start, roll.end, f)), number
            )
            room = room_of(says, at, f.size)
            if not any(room.meets(other) for other in taken):
                taken.append(room)
                made.append(words(says, at, f.size, kind="halo strong"))
                break
    return made


def _fits(says: str, start: np.ndarray, end: np.ndarray, f: Frame) -> bool:
    """Whether level words go between two lines."""
    apart = np.abs(end.mean(axis=0) - start.mean(axis=0))
    return bool(0.6 * len(says) * f.size < apart[0] or f.size * 1.2 < apart[1])
