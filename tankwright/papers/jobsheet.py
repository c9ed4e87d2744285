"""The job sheet: one HTML file with everything, for a bench, a phone or a printer. No network, no other file.

The parts that are not words of a job (page, style, viewer) lie in ``jobsheet_parts``; colours and pens come from
`look`; figures from `results.figures`. The same work gives the same bytes.
"""

from __future__ import annotations

import json
from html import escape
from importlib.resources import files
from typing import TYPE_CHECKING, Any

from .look import BLUE, FAINT, INK, PENCIL, RED
from .names import job_line
from .svg import css_colour, pen_css

if TYPE_CHECKING:
    from collections.abc import Sequence

    from ..work import Work
    from .blankface import Face

__all__ = ["job_sheet"]

#: Colours of the notebook that no other paper needs: desk, paper, drawing ground, writing in soft pencil, margin.
SCREEN = {"desk": "#d8d3c6", "paper": "#fbf8f0", "card": "#fffefa", "soft": "#4d4a43", "rule-red": "#e4b4ac"}


#: Tables of no more rows stay on one printed page.
FITS_A_PAGE = {"cutlist": 24, "seams": 60}


def job_sheet(work: Work, faces: Sequence[Face] | None = None, got: dict[str, Any] | None = None) -> str:
    """The whole page as text, under 1 MB.

    ``faces``: the blanks made ready for drawing; ``got``: `results.figures`; either where it is at hand.
    """
    from .jobsheet_cutting import cut_list_section, sheets_section
    from .jobsheet_order import order_section
    from .jobsheet_pieces import pieces_section
    from .jobsheet_sections import (
        assumptions_section,
        cautions_section,
        checks_section,
        cover,
        findings_section,
        holds_section,
        seams_section,
    )
    from .jobsheet_tank import tank_section
    from .results import figures

    got = got or figures(work)
    tank, data = tank_section(work, got)
    sections = [
        ("first", "Read first", findings_section(got)),
        ("tank", "The tank", tank),
        ("holds", "What it holds", holds_section(got)),
        ("order", "Order of work", order_section(work, got)),
        ("assumed", "Assumptions", assumptions_section(got)),
        ("cutlist", "Cut list", cut_list_section(got)),
        ("sheets", "Sheets", sheets_section(work, got)),
        ("pieces", "Pieces", pieces_section(work, got, faces)),
        ("seams", "Seams", seams_section(got)),
        ("checks", "Patterns met", checks_section(got)),
        ("cautions", "Cautions", cautions_section(got)),
    ]
    kinds = dict.fromkeys(("tank", "holds", "checks", "cautions"), "whole")
    for key, rows in (("cutlist", got["blanks"]), ("seams", got["seams"])):
        if len(rows) <= FITS_A_PAGE[key]:
            kinds[key] = "whole"
    page = {
        "title": escape(f"Job sheet: {work.job.name}, revision {work.job.revision}"),
        "css": _style(work),
        "cover": cover(work, got),
        "nav": "".join(f'<a href="#{key}">{name}</a>' for key, name, _ in sections),
        "sections": "\n".join(
            f'<section id="{key}" class="{kinds.get(key, "")}"><h2 data-n="{k}">{name}</h2>\n{body}\n</section>'
            for k, (key, name, body) in enumerate(sections, 1)
        ),
        "foot": f"{escape(job_line(work.job))}. {_units_words(work)} By Tankwright.",
        "data": f'<script type="application/json" id="tank-data">{_harmless(json.dumps(data))}</script>',
        "script": _part("viewer.js"),
    }
    return _filled(_part("page.html"), page)


def _part(name: str) -> str:
    """A file of `jobsheet_parts`."""
    return (files(__package__ or "tankwright.papers") / "jobsheet_parts" / name).read_text(encoding="utf-8")


def _filled(template: str, values: dict[str, str]) -> str:
    """The template with each ``{{name}}`` replaced once, so that words of a job are never taken for a name."""
    pieces = template.split("{{")
    made = [pieces[0]]
    for piece in pieces[1:]:
        name, _, rest = piece.partition("}}")
        made += [values[name], rest]
    return "".join(made)


def _harmless(text: str) -> str:
    """JSON that cannot end the script element it stands in."""
    return text.replace("<", "\\u003c")


def _style(work: Work) -> str:
    """Colours and pens of `look`, the sheet's own rules, and the job's name in the margin of every printed page."""
    colours = {"ink": INK, "pencil": PENCIL, "faint": FAINT, "red": RED, "blue": BLUE}
    named = {name: css_colour(colour) for name, colour in colours.items()} | SCREEN
    named |= {"ink": "#16161a", "pencil": "#5f5b53"}  # on a lit screen pure black glares and pale pencil is lost
    root = ":root{" + "".join(f"--{name}:{value};" for name, value in named.items()) + "}"
    line = _css_text(job_line(work.job))
    page = (
        f"@page{{size:{'letter' if work.job.unit == 'in' else 'A4'};margin:16mm 13mm 14mm;"
        f"@top-left{{content:{line};font:8.5pt sans-serif;color:#333;white-space:nowrap}}"
        f'@bottom-left{{content:"{_units_words(work)}";font:8.5pt sans-serif;color:#333}}'
        '@bottom-right{content:counter(page) " of " counter(pages);font:8.5pt sans-serif;color:#333}}'
    )
    return root + _part("look.css") + pen_css() + page


def _units_words(work: Work) -> str:
    """What every printed page says of its lengths."""
    return f"Job sheet. Lengths in mm{', inches beside them' if work.job.unit == 'in' else ''}."


def _css_text(text: str) -> str:
    """Text as a style sheet's string that holds no quote, backslash, angle bracket or line break as it stands."""
    plain = "".join(f"\\{ord(c):x} " if c in "\"\\<>&'\n\r\f" else c for c in text)
    return f'"{plain}"'
