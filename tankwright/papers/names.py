"""Names that any file system and any machine's reader takes, made from names that people give."""

from __future__ import annotations

import re
import unicodedata

__all__ = ["date_words", "job_line", "plain", "slug", "unique_slugs"]

# Letters that do not come apart into a plain letter and an accent.
_PLAIN = str.maketrans(
    {
        **{"ß": "ss", "ẞ": "SS", "æ": "ae", "Æ": "AE", "œ": "oe", "Œ": "OE", "ø": "o", "Ø": "O"},
        **{"ł": "l", "Ł": "L", "đ": "d", "Đ": "D", "ð": "d", "Ð": "D", "þ": "th", "Þ": "Th", "ı": "i"},
        **{"×": "x", "÷": "/", "–": "-", "—": "-", "−": "-", "‘": "'", "’": "'", "“": '"', "”": '"'},
        **{"„": '"', "…": "...", "°": " deg", "²": "2", "³": "3", "€": "EUR", "£": "GBP", "·": "-"},
        **{"•": "-", "→": "->", "≤": "<=", "≥": ">=", "±": "+/-"},
    }
)


def plain(text: object) -> str:
    """The text in plain ASCII on one line; letters with no plain likeness become ``?``.

    >>> plain("Kovács Łukasz, 1 × 2 mm")
    'Kovacs Lukasz, 1 x 2 mm'
    """
    text = str(text)
    if text.isascii():
        return " ".join(text.split())
    apart = unicodedata.normalize("NFKD", text.translate(_PLAIN))
    bare = "".join(letter for letter in apart if not unicodedata.combining(letter))
    return re.sub(r"\s+", " ", bare).encode("ascii", "replace").decode("ascii").strip()


def slug(text: object) -> str:
    """A file name part: lower case letters, digits and hyphens.

    >>> slug("Side, left / Ölfach")
    'side-left-olfach'
    """
    return re.sub(r"[^a-z0-9]+", "-", plain(text).lower()).strip("-")[:60].strip("-") or "piece"


def unique_slugs(names: list[str]) -> list[str]:
    """A file name part for each name, in order, all different.

    >>> unique_slugs(["Side 1", "side-1", "tunnel"])
    ['side-1', 'side-1-2', 'tunnel']
    """
    taken: set[str] = set()
    result = []
    for name in names:
        base = slug(name)
        found, count = base, 1
        while found in taken:
            count += 1
            found = f"{base}-{count}"
        taken.add(found)
        result.append(found)
    return result


def date_words(day: object) -> str:
    """A date as ``2026-03-14``; what is not a date is given as it stands, and none as ``no date``."""
    return day.isoformat()[:10] if hasattr(day, "isoformat") else str(day or "no date")


def job_line(job: object) -> str:
    """What every page carries: job, reference, revision, date of the patterns."""
    parts = [str(getattr(job, "name", "")), str(getattr(job, "reference", "") or "")]
    parts += [f"revision {getattr(job, 'revision', '') or 'none'}"]
    parts += [f"patterns of {date_words(getattr(job, 'pattern_date', None))}"]
    return " \u00b7 ".join(part for part in parts if part)
