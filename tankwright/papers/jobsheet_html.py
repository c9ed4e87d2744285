"""Small helpers that write the job sheet's HTML: tables, facts, lengths in both units."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from html import escape
from typing import NamedTuple

from ..units import show_inches
from .words import fixed

__all__ = ["Cell", "facts", "mm", "num", "table", "text"]


class Cell(NamedTuple):
    """What a cell shows, as HTML, and whether it is a number."""

    html: str
    number: bool = False


def text(value: object) -> Cell:
    """A cell of words."""
    return Cell(escape(str(value)))


def num(value: float | None, places: int = 1, *, signed: bool = False) -> Cell:
    """A cell with a number; empty for None. Signed numbers show + and a true minus sign."""
    if value is None:
        return Cell("", True)
    shown = fixed(value, places)
    if signed:
        shown = "0.0"[: 1 if places == 0 else None] if float(shown) == 0 else f"{value:+.{places}f}"
        shown = shown.replace("-", "−")
    return Cell(shown, True)


def mm(value: float | None, unit: str, places: int = 1, *, signed: bool = False) -> Cell:
    """A cell with a length in mm, the inches under it where the job is in inches; empty for None."""
    if value is None or unit != "in":
        return num(value, places, signed=signed)
    under = f"<small>{escape(show_inches(value, places=places))} in</small>"
    return Cell(num(value, places, signed=signed).html + under, True)


def table(
    heads: Sequence[str],
    rows: Iterable[Sequence[Cell]],
    *,
    foot: Iterable[Sequence[Cell]] = (),
    caption: str = "",
    kind: str = "",
) -> str:
    """A table whose rows stack on a narrow screen and whose heads repeat on every printed page.

    ``foot``: rows of totals. ``kind``: "named" where a stacked row begins with the first head, "Edge A" and not "A";
    "plain" where it needs no heads at all; "long" for a table that may run over pages and columns when printed.
    """
    lines = [list(row) for row in rows]
    numeric = [any(row[k].number for row in lines) for k in range(len(heads))]
    head = "".join(f'<th scope="col"{_n(n)}>{escape(h)}</th>' for h, n in zip(heads, numeric, strict=True))
    body = "".join(f"<tr>{_row(heads, row)}</tr>" for row in lines)
    totals = "".join(f"<tr>{_row(heads, row)}</tr>" for row in foot)
    last = f"<tfoot>{totals}</tfoot>" if totals else ""
    title = f"<caption>{escape(caption)}</caption>" if caption else ""
    return (
        f'<div class="scroll {kind}"><table class="stack {kind}">{title}<thead><tr>{head}</tr></thead>'
        f"<tbody>{body}</tbody>{last}</table></div>"
    )


def _row(heads: Sequence[str], row: Sequence[Cell]) -> str:
    made = []
    for k, (head, cell) in enumerate(zip(heads, row, strict=True)):
        name = f' data-h="{escape(head)}"'
        if k == 0:
            made.append(f'<th scope="row"{name}{_n(cell.number)}>{cell.html}</th>')
        else:
            made.append(f"<td{name}{_n(cell.number)}>{cell.html}</td>")
    return "".join(made)


def _n(number: bool) -> str:
    return ' class="n"' if number else ""


def facts(pairs: Iterable[tuple[str, str]]) -> str:
    """Short facts side by side: name and value, the value as HTML; empty values are left out."""
    items = (f"<div><dt>{escape(name)}</dt><dd>{value}</dd></div>" for name, value in pairs if value)
    return f'<dl class="facts">{"".join(items)}</dl>'
