"""What one job changes in its quote: lines with other hours or prices, lines of its own, lines dropped."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace

from .quotefile import GROUPS, WORK, ItemSection, JobQuoteSection, LineSection
from .quotelines import Line, Three, alike, halfup

__all__ = ["edited"]


def edited(usual: Sequence[Line], rules: JobQuoteSection) -> tuple[tuple[Line, ...], tuple[str, ...]]:
    """The lines with the job's own changes, and the names of those it drops."""
    lines, dropped = list(usual), []
    for change in rules.line:
        at = [k for k, line in enumerate(lines) if _means(change, line)]
        if change.drop:
            dropped += [lines[k].name for k in at]
            lines = [line for k, line in enumerate(lines) if k not in at]
        elif at:
            for k in at:
                lines[k] = _changed(lines[k], change, rules)
        else:
            lines.append(_new(change, rules))
    order = {group: k for k, group in enumerate(GROUPS)}
    return tuple(sorted(lines, key=lambda line: order[line.group])), tuple(dropped)


def _means(change: LineSection, line: Line) -> bool:
    """Whether a change speaks of a line: by its name, its key, or the name before a colon."""
    wanted = change.name.lower()
    names = (line.name.lower(), line.key.lower(), line.name.lower().partition(":")[0])
    return wanted in names and (change.group is None or change.group == line.group)


def _changed(line: Line, change: LineSection, rules: JobQuoteSection) -> Line:
    quantity = line.quantity
    if change.hours is not None and line.group == "work":
        own = getattr(rules.work, line.key, None)
        quantity = _hours(change, own.low if own else 1.0, own.high if own else 1.0)
    elif change.quantity is not None or change.hours is not None:
        sign = -1.0 if line.quantity.likely < 0 else 1.0  # what is given back stays given back
        quantity = alike(sign * halfup(change.quantity if change.quantity is not None else change.hours or 0.0, 2))
    price = line.price if change.price is None else change.price
    why = change.note or f"set in the job; before: {line.why or 'one'}"
    given = line.given or change.price is not None
    return replace(
        line, quantity=quantity, price=price, unit=change.unit or line.unit, why=why, edited=True, given=given
    )


def _hours(change: LineSection, low: float, high: float) -> Three:
    """The hours that a job gives, its spread the operation's own where it names none."""
    likely = float(change.hours or 0.0)
    least = low * likely if change.low is None else change.low
    most = high * likely if change.high is None else change.high
    return Three(*(halfup(value, 1) for value in (least, likely, most)))


def _new(change: LineSection, rules: JobQuoteSection) -> Line:
    """A line that only this job has; an operation it has none of by count, with its hours."""
    name = change.name.lower()
    work = next((work for work in WORK if name in (work.key, work.name.lower())), None)
    if work is not None:
        own = getattr(rules.work, work.key)
        price = change.price if change.price is not None else (rules.rate if own.rate is None else own.rate)
        hours = _hours(change, own.low, own.high)
        return Line("work", work.name, hours, "h", price, change.note, work.key, True, change.price is not None)
    group = change.group or next(
        (g for g, items in (("bought parts", rules.parts), ("consumables", rules.used_up)) if _named(name, items)),
        "material" if name.startswith(("sheets", "metal")) else "outside work",
    )
    if change.hours is not None:
        price = rules.rate if change.price is None else change.price
        given = change.price is not None
        return Line(group, change.name, _hours(change, 1.0, 1.0), "h", price, change.note, "", True, given)
    quantity = alike(1.0 if change.quantity is None else halfup(change.quantity, 2))
    unit = change.unit or "lot"
    return Line(group, change.name, quantity, unit, change.price, change.note, "", True, change.price is not None)


def _named(name: str, items: Iterable[ItemSection]) -> bool:
    return any(item.name.lower() == name for item in items)
