"""Real hours of finished jobs, and how the shop's estimates have compared.

Words used here
    trade     what hours are told by: buck, shaping, welding ...; one trade may be several lines of a quote
    took      the hours a trade really took on one job, beside the hours that its quote had for it
    past      all jobs of a trade together: how many, hours estimated, hours taken

They are kept in ``hours-taken.json`` in the shop's folder, one entry a job and revision. It is changed under
a lock and swapped in whole (`tankwright.keeping`).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any, NamedTuple

from .errors import TankwrightError
from .fields import nearest
from .keeping import Kept, NotKept, read_kept, update_kept
from .quotefile import WORK

__all__ = ["HOURS_FILE", "TRADES", "HoursUnclear", "Past", "past_of", "read_hours", "record"]

HOURS_FILE = "hours-taken.json"
FORMAT = "tankwright hours taken 1"
TRADES = tuple(dict.fromkeys(work.trade for work in WORK))
MOST_HOURS = 2000.0  # of one trade, that can be told
MOST_FOUND = 1e6  # that an entry may hold


class HoursUnclear(TankwrightError, ValueError):
    """Hours that were told of a job do not make sense."""


class Past(NamedTuple):
    """One trade over all jobs told: hours estimated and taken."""

    trade: str
    jobs: int
    estimated: float
    taken: float

    @property
    def ratio(self) -> float:
        """Hours taken for each hour estimated."""
        return self.taken / self.estimated


def past_of(folder: Path) -> tuple[Past, ...]:
    """How estimates have compared so far, trade by trade; empty where nothing was told yet.

    Raises
    ------
    NotKept
        If the file or an entry in it cannot be read.
    """
    pairs: dict[str, list[tuple[float, float]]] = {trade: [] for trade in TRADES}
    for row in read_kept(folder / HOURS_FILE, FORMAT)["jobs"]:
        for trade, (estimated, taken) in _hours_of(row).items():
            if trade in pairs and estimated > 0:
                pairs[trade].append((estimated, taken))
    return tuple(
        Past(trade, len(rows), round(sum(e for e, _ in rows), 1), round(sum(t for _, t in rows), 1))
        for trade, rows in pairs.items()
        if rows
    )


def _hours_of(row: Mapping[str, Any]) -> dict[str, tuple[float, float]]:
    """Hours estimated and taken by trade, from the entry of a job; a clear no where somebody has spoilt it."""
    try:
        told = {str(trade): (float(hours["estimated"]), float(hours["taken"])) for trade, hours in row["hours"].items()}
    except (KeyError, TypeError, AttributeError, ValueError, OverflowError):
        told = None
    if told is None or not all(0 <= hours <= MOST_FOUND for pair in told.values() for hours in pair):
        raise NotKept(
            f"{HOURS_FILE}: the entry of a job cannot be read.\n  found    {str(dict(row))[:100]}\n"
            '  wanted   "hours", and for each trade "estimated" and "taken", numbers of hours\n'
            "hint: mend that line, or take it out and tell the hours again with tankwright took"
        )
    return told


def read_hours(words: Sequence[str]) -> dict[str, float]:
    """Hours by trade from words like ``buck=9``, ``welding=7.5``.

    Raises
    ------
    HoursUnclear
        For a trade that there is not, or hours that cannot be.
    """
    hours: dict[str, float] = {}
    for word in words:
        trade, sign, value = word.partition("=")
        trade = trade.strip().lower()
        if trade not in TRADES or not sign:
            near = nearest(trade, TRADES)
            hint = f"did you mean {near}=HOURS?" if near else f"write for example {TRADES[1]}=9"
            raise HoursUnclear(f"{word[:40]} is not understood.\n  trades   {', '.join(TRADES)}\nhint: {hint}")
        try:
            number = float(value.replace(",", "."))
        except ValueError:
            number = -1.0
        if not 0 <= number <= MOST_HOURS:
            raise HoursUnclear(
                f"{trade}: {value[:20]} is no number of hours.\n  allowed  0 to {MOST_HOURS:g}\n"
                f"hint: write hours with a point, such as {trade}=7.5"
            )
        hours[trade] = round(hours.get(trade, 0.0) + number, 2)
    return hours


def record(folder: Path, job: Mapping[str, str], taken: Mapping[str, float], estimated: Mapping[str, float]) -> bool:
    """Write down what a job took; True where hours told before were replaced.

    ``job`` are its name, reference and revision. Other trades of the same job and revision stay as told.
    """

    def change(kept: Kept) -> bool:
        rows: list[dict[str, Any]] = kept["jobs"]
        row = next((row for row in rows if row.get("job") == dict(job)), None)
        if row is None:
            row = {"job": dict(job), "hours": {}}
            rows.append(row)
        _hours_of(row)
        before = any(trade in row["hours"] for trade in taken)
        for trade, hours in taken.items():
            row["hours"][trade] = {"estimated": estimated.get(trade, 0.0), "taken": hours}
        return before

    return bool(update_kept(folder / HOURS_FILE, FORMAT, change))
