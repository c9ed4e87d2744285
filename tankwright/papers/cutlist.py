"""The cut list: one row a blank, one row a sheet, totals, as a spreadsheet and as plain tables.

The spreadsheet's totals are formulas that carry their values, so that they show where nothing is calculated.
"""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from .cutlist_columns import Column, Row, blank_columns, sheet_columns
from .cutting_hold import BEND_HOLD, as_carried, stays_area, waits
from .shearsteps import stroke_cautions
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

    got = _completed(work, got or figures(work))
    return {
        "cut-list.xlsx": book(got),
        "cut-list.csv": _table(blank_columns(got), got["blanks"], got),
        "sheets.csv": _table(sheet_columns(got, priced=False), got["sheets"], got),
    }


def _completed(work: Work, got: Row) -> Row:
    """The figures with what only these lists carry: holds, what stays of a blank, what to mind at a stroke."""
    own = {blank.name: blank for blank in work.blanks}
    mind: dict[tuple[int, int], str] = {}
    for used in work.layout.sheets:
        mind |= {(used.index + 1, order): said for order, said in stroke_cautions(work, used.index).items()}
    blanks = [
        {
            **row,
            "hold": BEND_HOLD if waits(own[row["name"]]) else "none",
            "stays_area_mm2": stays_area(as_carried(work, own[row["name"]])),
        }
        for row in got["blanks"]
    ]
    cuts = [{**cut, "mind": mind.get((cut["sheet"], cut["order"]), "nothing")} for cut in got["cuts"]]
    metal = {**got["metal"], "thickness_mm": work.job.thickness}  # masses follow from it, not from its rounding
    return {**got, "blanks": blanks, "cuts": cuts, "metal": metal}


def _table(columns: Sequence[Column], rows: Sequence[Row], got: Row) -> bytes:
    """One table as comma-separated text, UTF-8 with a mark, the job on every row, totals in the last row."""
    out = io.StringIO(newline="")
    write = csv.writer(out)
    job = got["job"]
    found = got["found"]
    tail = [job["name"], job["reference"], job["revision"], job["pattern_date"], found["stop"], found["look"]]
    heads = [
        "Job",
        "Reference",
        "Revision",
        "Patterns of",
        "Stops in this job",
        "To decide before cutting: see job sheet",
    ]
    write.writerow([*(c.head for c in columns), *heads])
    for row in rows:
        write.writerow([*(_plain(c, c.cell(row)) for c in columns), *map(_guarded, tail)])
    sums = [_plain(c, round(math.fsum(c.cell(row) for row in rows), 9)) if c.total else "" for c in columns]
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
