"""The papers of a quote: a PDF and a plain text for the customer, and the worked sheet for the shop."""

from __future__ import annotations

from typing import TYPE_CHECKING

from ..quotecount import quote_of
from .quotepdf import quote_pdf
from .quotetext import customer_text, worked_text

if TYPE_CHECKING:
    from ..work import Work

__all__ = ["quote_files"]


def quote_files(work: Work) -> dict[str, bytes]:
    """``quote.pdf`` and ``quote.txt`` to send, ``quote-worked.txt`` to keep; the same bytes from the same work."""
    quote = quote_of(work)
    return {
        "quote.pdf": quote_pdf(work, quote),
        "quote.txt": customer_text(work, quote).encode("utf-8"),
        "quote-worked.txt": worked_text(work, quote).encode("utf-8"),
    }
