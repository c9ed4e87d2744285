"""The kinds of value that a job or shop file holds, and how each says no.

Words used here
    fault     one thing wrong with a value: what, what was found, what is allowed, one thing to try
    trouble   the error that carries a value's faults out of its reader, all at once
    setting   what a reader must know beside the value: the file's unit, its folder
    reach     the sizes that can be meant; past it the unit is probably wrong
"""

from __future__ import annotations

import datetime
import difflib
import math
import re
from collections.abc import Iterable
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Any

from pydantic import AfterValidator, BeforeValidator, StrictBool, StringConstraints, ValidationInfo

from .units import LONGEST_MM, MM_PER_INCH, UNITS, length_mm, show_length

__all__ = [
    "DATE_HINT",
    "LONGEST_TANK_MM",
    "SHORTEST_TANK_MM",
    "UNIT_QUESTION",
    "Angle",
    "Fault",
    "Flag",
    "Gap",
    "Number",
    "Place",
    "Setting",
    "Share",
    "Size",
    "Small",
    "Text",
    "Trouble",
    "Unit",
    "Whole",
    "choice",
    "length",
    "nearest",
    "number",
    "read_date",
    "read_unit",
    "setting_of",
    "shown",
    "unit_hint",
    "whole",
]

#: A tank shorter or longer than this, mm, is taken for a wrong unit. Common practice, no source.
SHORTEST_TANK_MM, LONGEST_TANK_MM = 100.0, 3000.0

#: How a date is written.
DATE_HINT = "write year-month-day, such as 2026-11-20"
#: Years that a paper or a quote can be of; another is a slip of the pen.
YEARS = (1900, 2200)

#: How the hint at a wrong unit begins.
UNIT_QUESTION = "is unit"


@dataclass(frozen=True)
class Fault:
    """One thing wrong with a value; ``at`` leads from the value to the part of it that is meant."""

    says: str
    found: str = ""
    allowed: str = ""
    remedy: str = ""
    at: tuple[str | int, ...] = ()
    file: str = ""
    line: int | None = None


class Trouble(ValueError):
    """A value that cannot be used; ``.faults`` says why, all at once."""

    def __init__(self, *faults: Fault) -> None:
        self.faults = faults
        super().__init__("; ".join(fault.says for fault in faults))


@dataclass(frozen=True)
class Setting:
    """What a reader must know beside the value. ``sure`` is False where the unit could not be read."""

    unit: str = "mm"
    folder: Path = Path()
    sure: bool = True
    lines: tuple[str, ...] = ()  # names of the side pattern's runs and lines
    metal: str = ""  # the job's own, if it names one of the table


def setting_of(info: ValidationInfo) -> Setting:
    """The setting of a validation; plain millimetres where none was handed over."""
    return info.context if isinstance(info.context, Setting) else Setting()


def shown(value: object, most: int = 60) -> str:
    """A value as it stands in the file, shortened."""
    if isinstance(value, bool):
        text = str(value).lower()
    elif isinstance(value, str):
        text = '"' + "".join(c if c.isprintable() else "?" for c in value[: most + 1]) + '"'
    elif isinstance(value, dict):
        text = "{ " + ", ".join(f"{key} = {shown(item, 20)}" for key, item in list(value.items())[:4]) + " }"
    elif isinstance(value, list | tuple):
        text = "[" + ", ".join(shown(item, 20) for item in value[:4]) + (", …]" if len(value) > 4 else "]")
    elif isinstance(value, int):
        text = str(value) if abs(value) < 10**most else "a number of very many digits"
    else:
        text = str(value)
    return text if len(text) <= most else text[: most - 1] + "…"


def nearest(word: str, choices: Iterable[str]) -> str:
    """The choice that was probably meant, "" if none is near."""
    plain = {_plain(choice): choice for choice in choices}
    close = difflib.get_close_matches(_plain(word), list(plain), n=1, cutoff=0.75)
    close = close or [text for text in plain if len(word) > 2 and text.startswith(_plain(word))][:1]
    close = close or difflib.get_close_matches(_plain(word), list(plain), n=1, cutoff=0.6)
    return plain[close[0]] if close else ""


def _plain(word: str) -> str:
    return re.sub(r"[\s_-]+", " ", word.strip().lower())


def unit_hint(mm: float, unit: str, low: float, high: float) -> str:
    """The question to ask where a length is out of reach but would be in it in the other unit."""
    other = mm * MM_PER_INCH if unit == "mm" else mm / MM_PER_INCH
    if not low <= abs(other) <= high:
        return ""
    read, name = ("inches", "mm") if unit == "mm" else ("millimetres", "in")
    return f'{UNIT_QUESTION} = "{name}" right? read as {read} it would be {show_length(other)}'


def length(
    low: float | None = None, high: float | None = None, *, above: float | None = None, typical: float = 1.0
) -> BeforeValidator:
    """Reads a length into mm and keeps it in reach: from ``low`` or more than ``above``, up to ``high``."""

    def read(value: object, info: ValidationInfo) -> float:
        setting = setting_of(info)
        try:
            mm = length_mm(value, setting.unit)
        except ValueError as fault:
            raise Trouble(_unreadable(value, fault, setting)) from fault
        under = (low is not None and mm < low) or (above is not None and mm <= above)
        if under or (high is not None and mm > high and setting.sure):
            raise Trouble(_out_of_reach(value, mm, setting))
        return mm

    def _out_of_reach(value: object, mm: float, setting: Setting) -> Fault:
        least = max(low or 0.0, above or 0.0, typical)
        signed = low is not None and low < 0
        hint = unit_hint(mm, setting.unit, least, high or LONGEST_MM) if mm > 0 or signed else ""
        if mm < 0 and not signed:
            hint = "a distance has no minus"
        side = "small" if high is None or mm <= high else "large"
        return Fault(
            f"too {side}",
            f"{shown(value)}, which is {show_length(mm, places=2)}",
            _range(low, high, above, " mm"),
            hint or "measure it again, and check the point",
        )

    return BeforeValidator(read)


def _unreadable(value: object, fault: ValueError, setting: Setting) -> Fault:
    example = '36.5, "36.5mm", "1 7/16 in"' if setting.unit == "mm" else '1.4375, "1 7/16", "36.5mm"'
    return Fault("this is not a length", shown(value), f"a length: {example}", str(fault))


def _range(low: float | None, high: float | None, above: float | None, unit: str = "") -> str:
    """``more than 0, up to 300 mm``."""
    least = f"more than {above:g}{unit}" if above is not None else f"{low:g}{unit}" if low is not None else ""
    if high is None:
        return f"{least} or more" if low is not None else least
    if not least:
        return f"up to {high:g}{unit}"
    joint = ", up to " if above is not None else " to "
    return f"{least.removesuffix(unit) if unit else least}{joint}{high:g}{unit}"


def _as_number(value: object) -> float:
    """A plain finite number; Trouble for anything else."""
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise Trouble(Fault("this is not a number", shown(value), "a plain number, without quotes"))
    try:
        plain = float(value)
    except OverflowError:
        plain = math.inf
    if not math.isfinite(plain):
        raise Trouble(Fault("this is not a finite number", shown(value), "a plain number"))
    return plain


def number(
    low: float | None = None, high: float | None = None, *, above: float | None = None, unit: str = ""
) -> BeforeValidator:
    """Reads a plain number and keeps it in its range."""

    def read(value: object) -> float:
        plain = _as_number(value)
        under = (low is not None and plain < low) or (above is not None and plain <= above)
        if under or (high is not None and plain > high):
            side = "small" if under else "large"
            raise Trouble(Fault(f"too {side}", shown(value), _range(low, high, above, unit)))
        return plain

    return BeforeValidator(read)


def whole(low: int = 0, high: int = 1_000_000) -> BeforeValidator:
    """Reads a whole number in its range."""

    def read(value: object) -> int:
        plain = _as_number(value)
        if plain != int(plain) or not low <= plain <= high:
            raise Trouble(Fault("not a whole number in range", shown(value), f"{low} to {high}"))
        return int(plain)

    return BeforeValidator(read)


def _clean(text: str) -> str:
    """Text without characters that would spoil a label or a file name."""
    if not text.isprintable():
        raise Trouble(Fault("this holds a character that cannot be printed", shown(text), "plain text on one line"))
    return text


def _to_text(value: object) -> object:
    """A revision or a reference written as a plain number is text all the same."""
    return str(value) if isinstance(value, int) and not isinstance(value, bool) else value


Text = Annotated[
    str,
    BeforeValidator(_to_text),
    StringConstraints(strip_whitespace=True, max_length=120),
    AfterValidator(_clean),
]
Flag = StrictBool
#: A coordinate on a pattern.
Place = Annotated[float, length(-LONGEST_TANK_MM, LONGEST_TANK_MM, typical=20.0)]
#: A width, height or diameter.
Size = Annotated[float, length(high=LONGEST_TANK_MM, above=0.0)]
#: A room, gap or margin: may be nought.
Gap = Annotated[float, length(0.0, 300.0)]
#: A radius or depth: more than nought.
Small = Annotated[float, length(high=300.0, above=0.0)]
Angle = Annotated[float, number(-80.0, 80.0, unit=" degrees")]
Share = Annotated[float, number(high=1.0, above=0.0)]
Number = Annotated[float, number(0.0)]
Whole = Annotated[int, whole()]


def read_date(value: object) -> Any:
    """A date, as TOML writes it or as text."""
    if isinstance(value, datetime.datetime):
        value = value.date()
    if isinstance(value, str):
        with suppress(ValueError):
            value = datetime.date.fromisoformat(value.strip())
    if not isinstance(value, datetime.date):
        raise Trouble(Fault("this is not a date", shown(value), "year-month-day", DATE_HINT))
    first, last = YEARS
    if not first <= value.year <= last:
        hint = "look at the year: four figures, and it stands first"
        raise Trouble(Fault("this date is out of all reach", value.isoformat(), f"{first} to {last}", hint))
    return value


def read_unit(value: object) -> Any:
    """The unit "mm" or "in"; Trouble names both."""
    if value not in UNITS:
        word = str(value).strip().lower().rstrip(".")
        meant = "in" if word.startswith(("inch", '"')) else "mm" if word.startswith(("mill", "metric")) else ""
        hint = f'write unit = "{meant}"' if meant else "a length with its own unit needs none: 1 7/16 in"
        raise Trouble(Fault("this unit is not known", shown(value), '"mm" or "in"', hint))
    return value


Unit = Annotated[str, BeforeValidator(read_unit)]


def choice(*choices: str) -> BeforeValidator:
    """Reads one of a few words."""

    def read(value: object) -> str:
        if value not in choices:
            near = nearest(value, choices) if isinstance(value, str) else ""
            hint = f'did you mean "{near}"?' if near else "write one of these words, in quotes"
            allowed = ", ".join(f'"{word}"' for word in choices)
            raise Trouble(Fault("this is not one of the choices", shown(value), allowed, hint))
        return str(value)

    return BeforeValidator(read)
