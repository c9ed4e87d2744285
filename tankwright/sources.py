"""Where a pattern comes from: the one place that turns what stands in a job into points.

Words used here
    source     points in the job file ([[0, 126], [55, 150], ...]), a block of text with one point a line,
               or a file beside the job: { file = "top.csv" }
    columns    what the two numbers of a point are: ("x", "z"), ("along", "out") or ("out", "up")
    corner     a point where the curve breaks direction: a third entry "corner"

A new kind of source (a drawing, a photograph) is one more entry in `FILE_READERS`.
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field
from pathlib import Path, PurePosixPath
from typing import Any

import numpy as np

from .fields import Fault, Setting, Trouble, nearest, shown
from .files import read_text
from .units import length_mm

__all__ = ["FILE_READERS", "MOST_POINTS", "Columns", "PointSet", "read_points"]

#: More points than this on one curve were not read off card by hand. Common practice, no source.
MOST_POINTS = 2000
#: Most faults named for one curve: past it they are one and the same slip.
MOST_FAULTS = 8

Columns = tuple[str, str]


@dataclass(frozen=True)
class PointSet:
    """Points (n, 2), mm, and which of them are corners; ``lines`` (n) are where each is written."""

    points: np.ndarray
    corners: tuple[int, ...] = ()
    columns: Columns = ("x", "z")
    file: str = ""  # the pattern file, "" where the points stand in the job itself
    lines: tuple[int | None, ...] = ()
    notes: tuple[str, ...] = ()

    def fault(self, index: int, says: str, found: str, allowed: str, remedy: str) -> Fault:
        """A fault of one point, with the place it is written."""
        line = self.lines[index] if self.file and index < len(self.lines) else None
        return Fault(says, found, allowed, remedy, at=(index,), file=self.file, line=line)


@dataclass(frozen=True)
class _Row:
    """One point as written: its cells, and the line it stands on in a file."""

    cells: Sequence[Any]
    line: int | None = None


@dataclass
class _Reading:
    """Points while they are read; faults are gathered, not raised one by one."""

    columns: Columns
    unit: str
    file: str = ""
    faults: list[Fault] = field(default_factory=list)

    def blame(self, index: int, line: int | None, says: str, found: str, allowed: str, remedy: str) -> None:
        self.faults.append(Fault(says, found, allowed, remedy, at=(index,), file=self.file, line=line))

    @property
    def form(self) -> str:
        a, b = self.columns
        return f"{a}, {b}" if self.file else f"[{a}, {b}]"

    def point(self, index: int, row: _Row) -> tuple[float, float, bool] | None:
        """(first, second, whether a corner) of one row, None if it is faulty."""
        cells = list(row.cells)
        count = len(self.faults)
        if len(cells) not in (2, 3):
            amount = "1 entry" if len(cells) == 1 else f"{len(cells)} entries"
            a, b = self.columns
            self.blame(
                index,
                row.line,
                f"this point has {amount}",
                shown(cells),
                f'two lengths, {self.form}, and "corner" where the curve breaks',
                f"write {a} and {b}, in that order",
            )
            return None
        values = [self.cell(index, name, cell, row) for name, cell in zip(self.columns, cells, strict=False)]
        corner = len(cells) == 3 and self.corner(index, cells[2], row)
        if len(self.faults) > count:
            return None
        return values[0], values[1], corner

    def cell(self, index: int, name: str, cell: object, row: _Row) -> float:
        try:
            return length_mm(cell, self.unit)
        except ValueError as fault:
            self.blame(
                index,
                row.line,
                f"{name} is not a length",
                shown(cell),
                "a length, such as 36.5 or 1 7/16",
                str(fault),
            )
            return 0.0

    def corner(self, index: int, mark: object, row: _Row) -> bool:
        if isinstance(mark, str) and mark.strip().lower() in ("corner", ""):
            return bool(mark.strip())
        near = nearest(mark, ["corner"]) if isinstance(mark, str) else ""
        hint = 'did you mean "corner"?' if near else "a point has two lengths; leave the third entry away"
        self.blame(index, row.line, "the third entry is not known", shown(mark), '"corner" or nothing', hint)
        return False


# ---------------------------------------------------------------------------------------- sources


def read_points(value: object, columns: Columns, setting: Setting) -> PointSet:
    """The points of a source, in mm, unchecked but for being points.

    Raises `Trouble` with every fault found: a file that is missing or outside the job folder, a wrong
    column, a cell that is not a length, too many points.
    """
    if isinstance(value, dict):
        return _from_file(value, columns, setting)
    if isinstance(value, str):
        reading = _Reading(columns, setting.unit)
        return _gather(_table_rows(value, reading, header=False), reading)
    if isinstance(value, list):
        reading = _Reading(columns, setting.unit)
        return _gather(_listed(value, reading), reading)
    raise Trouble(
        Fault("these are not points", shown(value), _allowed(columns), "list the points one by one")
    )


def _allowed(columns: Columns) -> str:
    a, b = columns
    return f'a list of points [{a}, {b}], or {{ file = "points.csv" }}'


def _listed(value: list[object], reading: _Reading) -> list[_Row]:
    rows = []
    for index, item in enumerate(value[: MOST_POINTS + 1]):
        if not isinstance(item, list):
            a, b = reading.columns
            flat = len(value) == 2 and not any(isinstance(other, list) for other in value)
            hint = f"one point is written [[{a}, {b}], ...]" if flat else "put each point in its own brackets"
            reading.blame(index, None, "this is not a point", shown(item), f"[{a}, {b}]", hint)
        rows.append(_Row(item if isinstance(item, list) else (0, 0)))
    return rows


def _gather(rows: Iterable[_Row], reading: _Reading) -> PointSet:
    """All rows as one `PointSet`; Trouble if any is faulty."""
    rows = list(rows)
    if len(rows) > MOST_POINTS:
        raise Trouble(
            Fault(
                "far too many points for one curve",
                f"more than {MOST_POINTS}",
                f"2 to {MOST_POINTS}",
                "keep the points a person would read off: one every 20 to 50 mm, closer where it bends",
                file=reading.file,
            )
        )
    read = [reading.point(index, row) for index, row in enumerate(rows) if len(reading.faults) < MOST_FAULTS]
    if reading.faults:
        raise Trouble(*reading.faults[:MOST_FAULTS])
    good = [point for point in read if point is not None]
    return PointSet(
        np.array([point[:2] for point in good], dtype=float).reshape(-1, 2),
        tuple(index for index, point in enumerate(good) if point[2]),
        reading.columns,
        reading.file,
        tuple(row.line for row in rows),
    )


def _from_file(value: dict[str, object], columns: Columns, setting: Setting) -> PointSet:
    for key in value:
        if key not in ("file", "unit"):
            near = nearest(key, ["file", "unit"])
            hint = f"did you mean {near}?" if near else 'write { file = "points.csv" }'
            raise Trouble(Fault(f"{key} is not known here", shown(value), "file, unit", hint, at=(key,)))
    name = value.get("file")
    if not isinstance(name, str) or not name.strip():
        raise Trouble(
            Fault("no file is named", shown(value), 'file = "points.csv"', "name a file beside job.toml")
        )
    unit = value.get("unit", setting.unit)
    if unit not in ("mm", "in"):
        raise Trouble(Fault("the file's unit is not known", shown(unit), '"mm" or "in"', at=("unit",)))
    path = _beside(name, setting.folder)
    reader = FILE_READERS.get(path.suffix.lower())
    if reader is None:
        kinds = ", ".join(FILE_READERS)
        says = "this kind of pattern file cannot be read"
        raise Trouble(Fault(says, shown(name), kinds, "save the points as a .csv table", at=("file",)))
    return reader(path, _Reading(columns, str(unit), file=name))


def _beside(name: str, folder: Path) -> Path:
    """The path of a pattern file, which must lie in the job folder."""
    parts = PurePosixPath(name.replace("\\", "/")).parts
    if ".." in parts or not parts or parts[0].startswith("/") or ":" in parts[0] or "\x00" in name:
        raise Trouble(
            Fault(
                "this file lies outside the job folder",
                shown(name),
                "a file beside job.toml",
                "copy it into the job folder, so that the folder holds all there is",
                at=("file",),
            )
        )
    return folder.joinpath(*parts)


def _read_table(path: Path, reading: _Reading) -> PointSet:
    """Points from a table of cells with a heading row."""
    text = read_text(path, reading.file)
    return _gather(_table_rows(text, reading, header=True), reading)


#: By the ending of a file's name: what turns it into points.
FILE_READERS: dict[str, Callable[[Path, _Reading], PointSet]] = {".csv": _read_table, ".txt": _read_table}


def _table_rows(text: str, reading: _Reading, *, header: bool) -> list[_Row]:
    """The rows of a table, cells in the order of the columns; Trouble if its heading is wrong."""
    comma = _delimiter(text)
    rows: list[_Row] = []
    order: list[int] | None = None
    try:
        for number, cells in _cells(text, comma):
            if order is None:
                order = _heading(cells, reading, number, header)
                if order is not None:
                    continue
                order = [0, 1, 2]
            rows.append(_Row(_pick(cells, order, comma), number))
            if len(rows) > MOST_POINTS:
                break
    except csv.Error as fault:
        hint = "open it in a spreadsheet program and save it as CSV"
        raise Trouble(
            Fault("this table cannot be read", str(fault), "one point a row", hint, file=reading.file)
        ) from fault
    if not rows:
        raise Trouble(
            Fault(
                "there are no points in it",
                "an empty table",
                "at least 2 points",
                "fill it in",
                file=reading.file,
            )
        )
    return rows


def _cells(text: str, comma: str) -> Iterable[tuple[int, list[str]]]:
    """(line number, cells) of each row that is neither blank nor a remark."""
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=comma, skipinitialspace=True)
    for row in reader:
        cells = [cell.strip() for cell in row]
        if any(cells) and not cells[0].startswith("#"):
            yield reader.line_num, cells


def _delimiter(text: str) -> str:
    """What parts the cells: a semicolon or tab if the first row has one, else a comma."""
    rows = (line for line in text.splitlines() if line.strip() and not line.lstrip().startswith("#"))
    first = next(rows, "")
    return next((mark for mark in (";", "\t") if mark in first), ",")


def _heading(cells: list[str], reading: _Reading, number: int, needed: bool) -> list[int] | None:
    """Where each column stands, from the heading row; None if the row is no heading and none is needed."""
    names = [re.sub(r"\s*[\[(].*", "", cell).strip().lower() for cell in cells]
    while names and not names[-1]:
        names.pop()
    known = [*reading.columns, "corner"]
    if all(name in names for name in reading.columns) and all(name in known for name in names):
        return [names.index(name) if name in names else -1 for name in known]
    if not needed and not any(name in known for name in names):
        return None
    wrong = next((name for name in names if name not in known), "")
    missing = next((name for name in reading.columns if name not in names), "")
    says = (
        f"there is no column {missing}" if missing else f"the column {wrong or 'without a name'} is not known"
    )
    near = nearest(wrong, known) if wrong else ""
    allowed = f"{reading.columns[0]}, {reading.columns[1]} and, where a curve breaks, corner"
    hint = f"call it {near}" if near and near == missing else "let the first row name the columns"
    found = ", ".join(shown(cell, 20).strip('"') for cell in cells[:6])
    raise Trouble(Fault(says, f"columns {found}", allowed, hint, file=reading.file, line=number))


def _pick(cells: list[str], order: list[int], comma: str) -> list[str]:
    """The cells in the order of the columns; a decimal comma is read where commas do not part the cells."""
    while len(cells) > 2 and not cells[-1]:
        cells = cells[:-1]
    if len(cells) > max(order) + 1 or len(cells) < 2:
        return cells if len(cells) not in (2, 3) else [*cells, "", ""]
    picked = [cells[at] if 0 <= at < len(cells) else "" for at in order]
    if comma != ",":  # 1,250 stays as it is and is refused: it may be one and a quarter or a thousand
        picked[:2] = [re.sub(r"^([+-]?\d+),(\d{1,2}|\d{4,})$", r"\1.\2", cell) for cell in picked[:2]]
    return picked if picked[2] else picked[:2]
