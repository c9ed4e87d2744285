"""The figures of the quote and of the rack, for `results.figures`."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from ..quotecount import quote_of
from ..rackjob import propose
from .rounding import mm, rounded

if TYPE_CHECKING:
    from ..quotelines import Line, Three
    from ..work import Work

__all__ = ["quote_figures", "rack_figures"]


def quote_figures(work: Work) -> dict[str, Any]:
    """The quote as plain values; keys in `results_fields.FIELDS`."""
    quote = quote_of(work)
    return {
        "currency": quote.currency,
        "date": quote.date.isoformat() if quote.date else "",
        "valid_until": quote.valid_until.isoformat() if quote.valid_until else "",
        "valid_days": quote.valid_days,
        "lines": [_line(line) for line in quote.lines],
        "costs": _three(quote.costs),
        "overhead_percent": quote.overhead_percent,
        "margin_percent": quote.margin_percent,
        "tax_percent": quote.tax_percent,
        "net": _three(quote.net),
        "total": _three(quote.total),
        "asked": quote.asked,
        "deposit": quote.deposit,
        "missing": [line.name for line in quote.missing],
        "not_included": list(quote.not_included),
        "scrap_kg": quote.scrap_kg,
        "scrap_worth": quote.scrap_worth,
        "past": [
            {"trade": past.trade, "jobs": past.jobs, "estimated_h": past.estimated, "taken_h": past.taken}
            for past in quote.past
        ],
    }


def _line(line: Line) -> dict[str, Any]:
    return {
        "group": line.group,
        "name": line.name,
        **_three(line.quantity),
        "unit": line.unit,
        "price": rounded(line.price or 0.0, 4),
        "amount": line.amount.likely,
        "missing": line.missing,
        "edited": line.edited,
        "why": line.why,
    }


def _three(three: Three) -> dict[str, float]:
    return {name: rounded(value, 2) for name, value in three._asdict().items()}


def rack_figures(work: Work) -> dict[str, Any]:
    """What the layout takes from the rack, and what it would put there."""
    proposal = propose(work.job, work.layout)
    return {
        "take": list(proposal.take),
        "put": [
            {"label": f"K{k}", "name": piece.name, "width_mm": mm(piece.width), "height_mm": mm(piece.height)}
            for k, piece in enumerate(proposal.put, 1)
        ],
    }
