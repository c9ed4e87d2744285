"""What a piece from the rack is charged at, and what scrap is given back for; sums by hand beside each."""

from __future__ import annotations

from dataclasses import replace

import pytest
from shapely.geometry import box

from tankwright.job import nest_blanks
from tankwright.load import load_job
from tankwright.quotecount import quote_of
from tankwright.rack import Piece, add_piece
from tankwright.shop import StockSheet
from tankwright.ways import _Box

from .papers.fixture import small_work
from .test_rack import peanut

NEW = StockSheet("1250 x 1000", 1250.0, 1000.0, price=62.0)
OFFCUT = StockSheet("rack offcut 600 x 300", 600.0, 300.0, rack=True)  # 0.18 of 1.25 m2: 8.93 new


def quoted(*, sheets=(NEW,), rack=(OFFCUT,), **rules):
    """The fixture's quote in a shop with those sheets and pieces: its lines by name."""
    work = small_work("profile")
    shop = work.job.shop
    rules = shop.quote.model_copy(update={"credit_scrap": True, **rules})
    job = type(work.job)(**{**vars(work.job), "shop": replace(shop, sheets=sheets, rack=rack, quote=rules)})
    quote = quote_of(replace(work, job=job))
    return {line.name: line for line in quote.lines}, quote


def scrap_kg(*origins):
    """What is left of the fixture's sheets from there, kg, to the hundredth as on the quote."""
    work = small_work("profile")
    kg = work.job.thickness * work.job.metal.density * 1e-9
    return round(sum(used.skeleton_area for used in work.layout.sheets if used.sheet.origin in origins) * kg, 2)


def test_an_offcut_without_a_price_is_charged_by_its_share():
    """Half of 62 x 0.18 / 1.25 = 8.928 is 4.46; a quarter 2.23; the quote says so and is finished."""
    lines, quote = quoted()
    assert lines["metal from the rack"].price == 4.46
    assert "0.5 of what as much of it costs new" in lines["metal from the rack"].why
    assert "metal from the rack" not in {line.name for line in quote.missing}
    assert quoted(offcut_share=0.25)[0]["metal from the rack"].price == 2.23


def test_the_cheapest_new_sheet_counts():
    """A small sheet is dearer by the metre: 40 for 0.5 m2."""
    small = StockSheet("1000 x 500", 1000.0, 500.0, price=40.0)
    assert quoted(sheets=(small, NEW))[0]["metal from the rack"].price == 4.46


def test_metal_by_weight_sets_the_share_too():
    """0.18 m2 x 1.6 mm x 2730 kg/m3 = 0.786 kg at 6.50: half of it 2.56."""
    kg = 0.18 * 1.6 * small_work("profile").job.metal.density / 1000
    assert quoted(material="kilogram", price_kg=6.5)[0]["metal from the rack"].price == pytest.approx(
        kg * 6.5 / 2, abs=0.005
    )


def test_its_own_price_stands():
    assert quoted(rack=(replace(OFFCUT, price=7.5),))[0]["metal from the rack"].price == 7.5
    assert quoted(sheets=(NEW, replace(OFFCUT, price=7.5)), rack=())[0]["metal from the rack"].price == 7.5


def test_a_share_of_nought_is_no_charge_and_gives_no_scrap_back():
    """The line stands at nought and is not missing; scrap is credited for the sheet that was paid for."""
    lines, quote = quoted(offcut_share=0.0)
    assert lines["metal from the rack"].amount.likely == 0
    assert "metal from the rack" not in {line.name for line in quote.missing}
    assert lines["scrap sold"].quantity.likely == -scrap_kg("")
    assert quoted()[0]["scrap sold"].quantity.likely == -scrap_kg("", "rack")


def test_no_scrap_is_given_back_of_metal_never_charged():
    """Neither sheet has a price nor could get one: it is missing, and nothing is credited."""
    lines, quote = quoted(sheets=())
    assert "metal from the rack" in {line.name for line in quote.missing}
    work = small_work("profile")
    assert all(used.sheet.price == 0 for used in work.layout.sheets if used.sheet.origin == "rack")
    assert lines["scrap sold"].quantity.likely == -scrap_kg("")
    assert "scrap sold" not in quoted(material="kilogram", offcut_share=0.0)[0]


def test_what_an_offcut_is_charged_at_does_not_keep_it_on_the_rack(tmp_path):
    """Metal of the shop's own is used before any is bought, whatever the customer pays for it."""
    peanut(tmp_path)
    add_piece(tmp_path, Piece("dear", 1250.0, 640.0, "mild steel", 1.2141, "x", (), 500.0))
    layout = nest_blanks(load_job(tmp_path), [_Box("blank", box(0, 0, 500, 300), None)])
    assert [used.name for used in layout.sheets] == ["dear"]
