"""The cut list: one row a blank, one row a sheet, totals, as a spreadsheet and as plain tables.

The spreadsheet's totals are formulas that carry their values, so that they show where nothing is calculated.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from .cutlist_columns import Column, Row, blank_columns, sheet_columns
from .words import fixed

if TYPE_CHECKING:
    from ..work import Work

__all__ = ["cut_lists"]


def cut_lists(work: Work, got: Row | None = None) -> dict[str, bytes]:
    """``cut-list.xlsx``, ``cut-list.csv`` (one row a blank), ``sheets.csv`` (one row a sheet), by file name.

    The same bytes from the same work: dates come from the job. ``got``: `figures` where they are at hand.
    """
    from .cutlist_book import book
    from .results import figures

    got = got or figures(work)
    return {
        "cut-list.xlsx": book(got),
        "cut-list.csv": _table(blank_columns(got), got["blanks"], got),
        "sheets.csv": _table(sheet_columns(got), got["sheets"], got),
    }


def _table(columns: Sequence[Column], rows: Sequence[Row], got: Row) -> bytes:
    """One table as comma-separated text, UTF-8 with a mark, the job on every row, totals in the last row."""
    out = io.StringIO(newline="")
    write = csv.writer(out)
    job = got["job"]
    tail = [job["name"], job["reference"], job["revision"], job["pattern_date"], got["found"]["stop"]]
    heads = ["Job", "Reference", "Revision", "Patterns of", "Stops in this job"]
    write.writerow([*(c.head for c in columns), *heads])
    for row in rows:
        write.writerow([*(_plain(c, c.cell(row)) for c in columns), *map(_guarded, tail)])
    sums = [_plain(c, sum(c.cell(row) for row in rows)) if c.total else "" for c in columns]
    sums[0] = "total"
    write.writerow([*sums, *map(_guarded, tail)])
    return out.getvalue().encode("utf-8-sig")


def _plain(column: Column, value: Any) -> str:
    """The cell as text: numbers with a point and their column's decimals."""
    if not column.show:
        return _guarded(value)
    places = column.show.partition(".")[2]
    text = fixed(value, len(places))
    return text.rstrip("0") + "0" * (text.rstrip("0")[-1] == ".") if "#" in places else text


def _guarded(value: Any) -> str:
    """Text that no spreadsheet takes for a formula."""
    text = str(value)
    return f"'{text}" if text[:1] in ("=", "+", "-", "@", "\t", "\r") else text
