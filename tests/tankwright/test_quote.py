"""The quote: a worked example by hand, what is missing, what a job changes, and sums that always tie."""

from __future__ import annotations

import datetime
import re
from copy import copy
from dataclasses import replace
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from panels.findings import Finding
from panels.fittings import Fitting
from tankwright.papers.quote import quote_files
from tankwright.papers.quotetext import customer_text, worked_text
from tankwright.papers.quotewords import customer_points
from tankwright.quote import make_quote
from tankwright.quotecount import counts_of
from tankwright.quotefile import JobQuoteSection
from tankwright.quotelines import Counts, Stock, cents

from .papers.fixture import small_work

COUNTS = Counts(
    bought=(Stock("1000 x 2000", 1, 58.0, 8.74),),
    rack=(),
    scrap_kg=3.5,
    offcuts_worth=20.0,
    cutting="shear",
    strokes=10,
    outline_m=8.0,
    cut_m=9.0,
    pierces=0,
    shaped=(("ordinary", 0.25, ("crown", "side right")),),
    rolled=0,
    folds=2,
    butt_m=3.0,
    lap_m=0.5,
    flange_m=0.0,
    shell_m2=0.5,
    blanks=7,
    fillers=1,
    outlets=1,
    mounts=2,
    baffles=0,
    dry_kg=2.4,
)


def rules(**given: Any) -> JobQuoteSection:
    """A shop that charges 50 an hour, with one part and one consumable."""
    shop = {
        "rate": 50,
        "overhead": 10,
        "margin": 20,
        "tax": 25,
        "deposit": 40,
        "date": "2026-04-01",
        "part": [{"name": "cap", "price": 30, "per": "filler"}],
        "consumable": [{"name": "rod", "price": 40, "per": "weld metre", "quantity": 0.03, "unit": "kg"}],
        "shipping": {"box": 20, "carriage": 10, "carriage_kg": 2},
    }
    return JobQuoteSection.model_validate({**shop, **given})


def test_a_quote_worked_by_hand():
    """Every figure as it comes out with pencil and paper from the usual hours; arithmetic beside it."""
    quote = make_quote(COUNTS, rules(), currency="EUR")
    hours = {line.key: line.quantity.likely for line in quote.lines if line.key}
    assert hours == {
        "reading": 2.0,
        "buck": 6.5,  # 4 + 0.5 x 5
        "shearing": 0.6,  # 0.25 + 10 x 0.03 = 0.55, half up
        "snipping": 0.7,  # 0.25 + 8 x 0.06 = 0.73
        "ordinary": 5.5,  # 0.25 x 22
        "folding": 1.1,  # 0.5 + 2 x 0.3
        "fitting": 4.2,  # 3.5 x 1.2
        "butt": 3.6,  # 3 x 1.2
        "lap": 0.5,  # 0.5 x 1.0
        "fittings": 3.2,  # (1 + 1 + 2) x 0.8
        "testing": 3.0,
        "finishing": 7.0,  # 2 + 0.5 x 10
        "packing": 1.5,
    }
    # Work: 39.4 h x 50 = 1970. Sheet 58. Cap 30. Rod 3.5 x 0.03 = 0.105, 0.11 kg half up, x 40 = 4.40. Box 20.
    # Carriage 10 + 2.4 x 2 = 14.80. Together 2097.20; a tenth of it 209.72; a fifth of both, 2306.92, 461.38.
    # Net 2768.30; a quarter of it 692.075, half up 692.08; asked 3460.38, of which 40 % 1384.15.
    assert quote.cost_of("work").likely == 1970.0
    rod = next(line for line in quote.lines if line.name == "rod")
    assert (rod.quantity.likely, rod.amount.likely) == (0.11, 4.40)
    assert quote.costs.likely == 2097.20
    assert (quote.overhead.likely, quote.margin.likely) == (209.72, 461.38)
    assert (quote.net.likely, quote.asked, quote.deposit) == (2768.30, 3460.38, 1384.15)
    assert quote.valid_until == datetime.date(2026, 5, 1)  # 30 days after 1 April
    assert quote.missing == ()


def test_what_has_no_price_is_said():
    """A price that is left away, or nought, is missing; one that the job itself sets to nought is free."""
    quote = make_quote(COUNTS, rules(rate=0, part=[{"name": "cap", "price": 0, "per": "filler"}]))
    names = {line.name for line in quote.missing}
    assert "cap" in names
    assert "buck" in names
    assert "box" not in names
    free = make_quote(COUNTS, rules(part=[{"name": "cap", "per": "filler"}], line=[{"name": "cap", "price": 0}]))
    assert free.missing == ()


def test_a_job_changes_adds_and_drops_lines():
    """Hours with the operation's own spread, a line of its own, and what is dropped is told as not included."""
    lines = [
        {"name": "buck", "hours": 4},
        {"name": "carriage", "drop": True},
        {"name": "powder coat", "group": "outside work", "price": 120},
    ]
    quote = make_quote(COUNTS, rules(line=lines))
    buck = next(line for line in quote.lines if line.key == "buck")
    assert tuple(buck.quantity) == (2.0, 4.0, 6.0)
    assert buck.edited
    assert quote.cost_of("outside work").likely == 120.0
    assert "carriage" in quote.not_included
    assert all(line.name != "carriage" for line in quote.lines)


def test_what_is_given_back_stays_given_back():
    """A job that changes a credit's quantity still gives that back; by weight, offcuts are credited by weight."""
    counts = replace(COUNTS, bought=(Stock("1000 x 2000", 1, 58.0, 8.74, scrap_kg=3.5),), offcuts_kg=2.0)
    line = [{"name": "scrap sold", "quantity": 2}, {"name": "offcuts kept", "quantity": 1}]
    quote = make_quote(counts, rules(line=line, credit_scrap=True, scrap_kg=0.9, credit_offcuts=50))
    amounts = {line.name: line.amount.likely for line in quote.lines}
    assert amounts["scrap sold"] == -1.80  # 2 kg x 0.90
    assert amounts["offcuts kept"] == -10.0  # half of 20
    quote = make_quote(counts, rules(material="kilogram", price_kg=5, credit_offcuts=50))
    amounts = {line.name: line.amount.likely for line in quote.lines}
    assert amounts["offcuts kept"] == -5.0  # half of 2 kg x 5


@settings(max_examples=60, deadline=None)
@given(
    st.floats(0, 5),
    st.floats(0, 20),
    st.integers(0, 40),
    st.floats(0.5, 300),
    st.sampled_from(["low", "likely", "high"]),
)
def test_sums_always_tie(area, metres, strokes, rate, ask):
    """Lines add up to costs, groups to the net price asked for, to the cent; low <= likely <= high."""
    counts = replace(COUNTS, shell_m2=area, butt_m=metres, strokes=strokes)
    quote = make_quote(counts, rules(rate=rate, ask=ask))
    assert quote.costs.likely == pytest.approx(sum(line.amount.likely for line in quote.lines), abs=0.005)
    assert sum(quote.price_of().values()) == pytest.approx(getattr(quote.net, ask), abs=0.005)
    assert quote.total.low <= quote.total.likely <= quote.total.high
    for line in quote.lines:
        assert line.amount.likely == cents(line.quantity.likely * (line.price or 0))


@pytest.mark.parametrize("cutting", ["profile", "shear"])
def test_papers_are_the_same_each_time_and_show_no_margin(cutting):
    """The same bytes from the same work; the customer's papers name neither rate, overhead nor margin."""
    work = small_work(cutting)
    files = quote_files(work)
    assert files == quote_files(work)
    text = files["quote.txt"].decode()
    assert "margin" not in text.lower()
    assert "overhead" not in text.lower()
    assert " h x " not in text
    for word in ("NOT INCLUDED", "no price given", "2026-05-01", "CAUTIONS"):
        assert word in text
    assert "buck" in files["quote-worked.txt"].decode()
    assert "2 jobs" in files["quote-worked.txt"].decode() or "EARLIER JOBS" in files["quote-worked.txt"].decode()


def _text(work, **given: Any) -> str:
    """The customer's quote with other rules."""
    own = work.job.shop.quote.model_copy(update=given)
    found = make_quote(counts_of(work), own, currency="EUR")
    return " ".join(customer_text(work, found).split())


def test_an_offer_is_one_thing():
    """A fixed price has no range and a second payment in money; an estimate has a range and no fixed rest."""
    work = small_work()
    fixed, estimate = (_text(work, offer=offer, deposit=40.0, rate=50.0) for offer in ("fixed", "estimate"))
    assert "is a fixed price" in fixed
    assert "between" not in fixed.split("Included".upper())[0]
    assert "the other" in fixed
    assert "only if you agree in writing" in estimate
    assert "the final sum less this deposit" in estimate
    assert "fixed price" not in estimate
    assert "the other" not in estimate.split("TERMS")[1].split("CAUTIONS")[0].split("or other decisions")[0]


def test_an_hour_costs_the_customer_overhead_margin_and_tax():
    """50 an hour, 10 % and 20 % on it, 25 % tax: 50 x 1.1 x 1.2 x 1.25 = 82.50, and both ends of the range have it."""
    said = _text(small_work(), offer="estimate", rate=50.0, overhead=10.0, margin=20.0, tax=25.0, tax_name="VAT")
    assert "charged at 82.50 EUR an hour with VAT, between" in said
    assert "EUR, both with VAT" in said
    assert "no minimum" in _text(small_work(), offer="estimate", rate=50.0, deposit=40.0)


def test_lips_are_folds_to_turn():
    """Two legs folded and two curved lips are four folds; a straight lip that is a fold too is one."""
    work = small_work()
    tunnel = next(blank for blank in work.blanks if blank.folds)
    plain = counts_of(work).folds
    lips = [replace(edge, joint="fold", allowance=9.0) for edge in tunnel.edges[:2]]
    others = tuple(blank for blank in work.blanks if blank is not tunnel)
    lipped = replace(tunnel, edges=(*lips, *tunnel.edges[2:]))
    assert counts_of(replace(work, blanks=(*others, lipped))).folds == plain + 2
    straight = replace(lipped, folds=(*tunnel.folds, replace(tunnel.folds[0], lip=lips[0].letter)))
    assert counts_of(replace(work, blanks=(*others, straight))).folds == plain + 2


def test_a_vent_is_told_as_priced_or_not():
    """Not drawn: neither part nor work; drawn: the work is in, the part is one bought for each vent where listed."""
    left = " / ".join(make_quote(COUNTS, rules(part=[])).not_included)
    assert "vent (breather): none is drawn on the patterns" in left
    drawn = replace(COUNTS, others=1, vents=1)
    left = " / ".join(make_quote(drawn, rules(part=[])).not_included)
    assert "setting it in is in the price" in left
    quote = make_quote(drawn, rules(part=[{"name": "vent bung", "price": 7, "per": "vent"}]))
    assert quote.cost_of("bought parts").likely == 7.0
    assert "vent (" not in " / ".join(quote.not_included)


@pytest.mark.parametrize(("overhead", "margin"), [(12.0, 10.0), (None, 15.0), (33.3, 7.7), (None, None)])
def test_the_shown_prices_multiply_out(overhead, margin):
    """Costs of a group times the factor printed, to the cent; where one differs, it is by the rounding that is told."""
    quote = make_quote(COUNTS, rules().model_copy(update={"overhead": overhead, "margin": margin}))
    off = {}
    for group, price in quote.price_of().items():
        by_hand = cents(quote.cost_of(group).likely * (1 + (overhead or 0) / 100) * (1 + (margin or 0) / 100))
        if price != by_hand:
            off[group] = cents(price - by_hand)
    assert sum(quote.price_of().values()) == pytest.approx(quote.net.likely, abs=0.001)
    assert list(off.values()) == ([quote.rounding] if quote.rounding else [])
    assert abs(quote.rounding) < 0.05


def test_what_is_usual_is_included_or_not():
    """Tap, brackets, vent: each is among the bought parts or said not to be; a bung for a petcock is no petcock."""
    part = [{"name": "petcock bung", "price": 9, "per": "outlet"}, {"name": "neck and vented cap", "per": "filler"}]
    left = " / ".join(make_quote(COUNTS, rules(part=part)).not_included)
    assert "fuel tap: yours to bring" in left
    assert "mount brackets" in left
    assert "vent (" not in left
    assert "filler" not in left
    assert "outlet boss" not in left
    part = [{"name": "outlet bung and tap", "per": "outlet"}, {"name": "brackets with rubbers, a pair", "per": "mount"}]
    left = " / ".join(make_quote(COUNTS, rules(part=part)).not_included)
    assert "tap" not in left
    assert "mount brackets" not in left
    assert "filler neck: yours" in left
    assert "vent (breather)" in left


def test_nothing_is_both_included_and_on_top():
    """What has no price yet stands under what is not finished, and nowhere under what is included."""
    work = small_work()
    quote = make_quote(counts_of(work), work.job.shop.quote.model_copy(update={"rate": 50.0}))
    assert quote.missing
    text = customer_text(work, quote)
    included = text.split("INCLUDED")[1].split("NOT INCLUDED")[0]
    unfinished = " ".join(text.split("PRICE,")[0].split("PRICE\n")[0].split())
    for line in quote.missing:
        if line.group != "material":
            name = "wood for the form" if line.name == "buck board" else line.name  # in the customer's words
            assert name not in " ".join(included.split()), name
            assert name in unfinished, name


def test_the_customer_reads_what_the_tank_holds_and_decides():
    """Brim, usable, what stays below the outlets; looks that are the customer's, not the shop's own; where to sign."""
    work = small_work()
    held = replace(work.capacity, brim_l=7.53, ullage_l=0.3, below_outlet_l=1.34, usable_l=5.89)
    found = (
        Finding("look", "filler", "the filler falls across seam F", "28.6 mm over it", "", None, "move it"),
        Finding("look", "fold radius", "the fold radius is tight"),
        Finding("look", work.blanks[0].name, "a panel is strained"),
        Finding("note", "sections", "no section given"),
    )
    asked = replace(work, capacity=held, findings=found)
    none, vent, *points = customer_points(asked)
    assert none.startswith("Where the filler goes: none is drawn")
    assert vent.startswith("Where the tank breathes: no vent is drawn")
    assert points == ["The filler falls across seam F: 28.6 mm over it. Ways out: move it."]
    text = _text(asked, customer="A. Rider")
    for said in (
        "7.5 L to the brim",
        "Usable 5.9 L",
        "1.3 L stays below",
        "for A. Rider",
        "Decided: ___",
        "Signature ___",
    ):
        assert said in text, said
    with_filler = copy(work.job)
    with_filler.fittings = (Fitting("filler", "top", 100.0, 0.0, 57.0),)  # whose cap, of the usual parts, is vented
    assert "FOR YOU TO DECIDE" not in _text(replace(asked, findings=found[1:], job=with_filler))
    assert "no test pressure" not in text
    assert "planish" not in text
    assert not re.search(r"\d ?ga\b", text)


def test_the_fittings_of_the_worked_paper_are_those_of_the_offer():
    """4 fittings are 1 filler, 1 outlet and 2 pairs of mounts: the offer sets 4 mounts, 2 each side."""

    def why(**given):
        lines = make_quote(replace(COUNTS, **given), rules()).lines
        return next(line.why for line in lines if line.key == "fittings")

    assert why(mount_points=4) == "4 fitting x 0.8 h: 1 filler, 1 outlet, 2 pairs of mounts (a pair counts as one)"
    assert why() == "4 fitting x 0.8 h: 1 filler, 1 outlet, 2 mounts"
    assert why(mount_points=3, others=2).endswith("1 outlet, 2 mounts (3 on the tank), 2 vents or bungs")


def test_the_worked_paper_shows_where_the_metal_goes():
    """Yields and scrap as the sheets have them; what the customer's quote still wants is told to the shop alone."""
    work = small_work()
    quote = make_quote(counts_of(work), work.job.shop.quote.model_copy(update={"scrap_kg": 0.5}))
    text = " ".join(worked_text(work, quote).split())
    layout = work.layout
    kept = sum(o.outline.area for o in layout.offcuts)
    assert f"blanks {100 * layout.parts_area / layout.sheet_area:.1f} %" in text
    assert f"{100 * (layout.parts_area + kept) / layout.sheet_area:.1f} %" in text
    scrap = layout.sheet_area - layout.parts_area - kept
    kg = scrap * work.job.thickness * work.job.metal.density * 1e-9
    assert f"Scrap: {100 * scrap / layout.sheet_area:.1f} %, {kg:.2f} kg, worth {cents(round(kg, 2) * 0.5):.2f}" in text
    assert "Still wanting on the customer's quote" in text
    assert "the customer's name" in text
    assert "Scrap" not in customer_text(work, quote)
