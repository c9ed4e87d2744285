"""What stands before the pieces on the job sheet: what lines and hatches mean, and what a maker does about them."""

from __future__ import annotations

from html import escape
from textwrap import dedent

from .look import WORDS
from .svg import zone_hatches
from .words import fixed

__all__ = ["pieces_key"]

_SHRINK = """
    <strong>Where to shrink, where to stretch.</strong> A flat cannot lie on a crowned shape as it is: in places it
    holds more metal than the shape has room for, in places less. Minus signs: too much, shrink it there. Plus signs:
    too little, stretch it there; the drawings and templates carry the same signs. 1 % is 1 mm in every 100 mm. Each
    edge says by how many mm it must grow shorter (&quot;lose&quot;: shrink) or longer (&quot;gain&quot;: stretch)
    until it fits its neighbour; an edge that says nothing stays as it is."""

_TABLES = """
    In the tables: a zone is a part of the blank filled with signs, numbered on the picture. &quot;Mean&quot; is what
    it asks for all over, &quot;worst&quot; at its worst place, &quot;worst at&quot; where that is: from the left end of
    the blank as cut / up from its lower edge, the base line on the drawings. &quot;Along / across&quot;: + stretch,
    − shrink; along is left to right on the picture, across up and down, both
    on the mean of the zone. &quot;Share&quot; is of the blank. A spot is
    worse than the zone it lies in, but too small to show as one, or is shrunk one way while it is stretched the other.
    &quot;The sheet&quot; holds worked-out strain against printed figures and promises nothing: a hand shop anneals and
    moves metal from beside, and nobody prints a limit for shrinking."""

_SLITS = """
    <strong>The slit card</strong> of a crowned piece is what a card shows that is slit between the sections and
    pressed onto the buck: strips laid flat one by one. Its figures are the gaps in mm at each slit (minus: the strips
    lie over one another). A gap is metal to shrink away, an overlap is metal to stretch in. The card shows
    where the shape is full. It is not cut or shrunk to: a blank in one piece is stretched along its middle too, so that
    its edges ask for less than the card's gaps. What an edge has to lose or gain stands in the edge table alone."""

_FOLDS = """
    <strong>K, or K-factor:</strong> how deep in the metal the line lies that keeps its length in a fold, 0 at the
    inside of the bend, 1 at the outside. DIN 6935 prints a factor twice as large. A fold is as long as its line on the
    flat blank, from edge to edge; the list of seams has it along the sharp corner of the finished tank, which the bend
    rounds off, so that the two may differ by a few tenths."""


def pieces_key(limits: tuple[float, float, float], *, formed: bool, folded: bool, rolled: bool, stays: bool) -> str:
    """Lines, hatches, and plain words on what is done; ``limits`` in percent. What no piece needs is left out."""
    rows = "".join(
        f"<li>{picture}{words}</li>" for picture, words in (*_lines(folded, rolled, stays), *_hatches(formed))
    )
    made = [
        f"<p>{escape(WORDS['face'])} The letter at an edge stands again on the piece that meets it there.</p>",
        f'<ul class="key">{rows}</ul>',
    ]
    if formed:
        easy, ordinary, hard = (fixed(limit, 0) for limit in limits)
        by_hand = (
            f" By hand up to {easy} % is easy, up to {ordinary} % ordinary, up to {hard} % hard; above that split the "
            "piece. Below 0.5 % leave be (common practice, no source)."
        )
        made.append(_said(_SHRINK + by_hand) + _said(_SLITS) + _said(_TABLES, "small soft"))
    if folded:
        made.append(_said(_FOLDS))
    return "".join(made)


def _said(words: str, kind: str = "") -> str:
    style = f' class="{kind}"' if kind else ""
    return f"<p{style}>{' '.join(dedent(words).split())}</p>"


def _lines(folded: bool, rolled: bool, stays: bool) -> list[tuple[str, str]]:
    def pen(name: str, extra: str = "") -> str:
        return f'<svg viewBox="0 0 38 26" aria-hidden="true"><path class="pen-{name} {extra}" d="M2,13h34"/></svg>'

    fold = [(pen("fold"), "fold; short dashes: where the bend starts and ends")] if folded else []
    fold += [(pen("roll"), "a roll begins or ends")] if rolled else []
    return [
        (pen("cut", "heavy"), "cut here"),
        (pen("trim"), "trim line, after forming"),
        *([(pen("stays"), "lap, lip, ledge: it STAYS ON; a lip is bent between two such lines")] if stays else []),
        *fold,
        (pen("station"), "station, numbered as on the buck"),
    ]


_RING = (
    '<svg viewBox="0 0 38 26" aria-hidden="true"><circle class="worst" cx="19" cy="13" r="7"/>'
    '<circle class="worst dot" cx="19" cy="13" r="2"/></svg>'
)


def _hatches(formed: bool) -> list[tuple[str, str]]:
    if not formed:
        return []

    def swatch(kind: str, level: int) -> str:
        name = f"key{kind}{level}-"
        return (
            f'<svg viewBox="0 0 38 26" aria-hidden="true">{zone_hatches(name, 9)}<rect width="38" height="26" '
            f'fill="#fff"/><rect width="38" height="26" fill="url(#{name}{kind}{level})"/></svg>'
        )

    return [
        (swatch("stretch", 1), "plus signs: stretch here"),
        (swatch("shrink", 1), "minus signs: shrink here"),
        (swatch("shrink", 2), "closer together: more"),
        (_RING, "ring with a dot: the worst place"),
    ]
