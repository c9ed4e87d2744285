"""Ways of cutting side by side: snug blanks share a rectangle, and the table says what is saved."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import pytest
from shapely.geometry import Polygon

from nesting import Part
from tankwright.job import nest_blanks
from tankwright.load import load_job
from tankwright.ways import Way, _alone, _Box, _join, table, ways_of


def test_two_triangles_share_a_rectangle():
    """Two right triangles 300 x 200: alone 2 x 60000 mm2, turned together little more than one rectangle."""
    triangle = Polygon([(0, 0), (300, 0), (0, 200)])
    groups = tuple(_alone(Part(name, triangle, grain=0.0)) for name in ("one", "other"))
    (pair,) = _join(groups, {}, 0.0, 2000.0) or (None,)
    assert pair is not None
    assert set(pair.names) == {"one", "other"}
    assert 60_000 - 1 <= pair.area < 2 * 60_000


def test_squares_save_nothing_together():
    """Rectangles that fill their own boxes are left alone."""
    groups = tuple(_alone(Part(name, Polygon([(0, 0), (100, 0), (100, 100), (0, 100)]))) for name in "ab")
    assert _join(groups, {}, 8.0, 2000.0) is None


@pytest.mark.parametrize(("priced", "says"), [(True, "1 sheet and 38.00 EUR"), (False, "1 sheet against")])
def test_the_table_names_what_is_saved(priced, says):
    """Two sheets against one at 38: one sheet and 38 saved; without prices, the sheet alone."""
    one = Way("shear", 2, 2, 76.0, priced, 0.4, 0.5, 10, 9.0, 8.0, 7)
    other = Way("profile", 1, 1, 38.0, priced, 0.8, 0.9, 0, 0.0, 8.0, 7)
    text = table((one, other), "EUR")
    assert says in text
    assert "80.0 %" in text
    assert ("no price given" in text) is not priced


EXAMPLE = Path(__file__).resolve().parents[2] / "examples" / "peanut-2gal"


def three_ways(width, height, **rules):
    """Two right triangles of that size, mm, on the example's sheets of 2 x 4 ft at 31 and 4 x 8 ft at 92."""
    job = load_job(EXAMPLE)
    job = replace(job, shop=replace(job.shop, nesting=replace(job.shop.nesting, seconds=0.3, **rules)))
    triangle = Polygon([(0, 0), (width, 0), (0, height)])
    blanks = tuple(_Box(name, triangle, None) for name in ("one", "other"))
    steps: list[str] = []
    work = SimpleNamespace(job=job, own_blanks=blanks, layout=nest_blanks(job, blanks))
    return {way.name: way for way in ways_of(work, progress=steps.append)}, steps


def test_the_same_blanks_cut_three_ways():
    """Each triangle 1050 x 550 alone fills a small sheet; turned together both go on one: 31 saved, by hand."""
    ways, steps = three_ways(1050.0, 550.0)
    shear, profile, mixed = (ways[name] for name in ("shear", "profile", "mixed"))
    assert (shear.bought, shear.cost, shear.groups) == (2, 62.0, ())
    assert (profile.bought, profile.cost, profile.strokes) == (1, 31.0, 0)
    assert (mixed.bought, mixed.cost) == (1, 31.0)
    assert [set(group) for group in mixed.groups] == [{"one", "other"}]
    sheet = 609.6 * 1219.2
    for way in ways.values():
        assert way.yield_whole == pytest.approx(1050 * 550 / (way.sheets * sheet), rel=1e-9)
        assert way.yield_whole <= way.yield_with_offcuts <= 1
        assert way.profile_m == pytest.approx(2 * (1.05 + 0.55 + math.hypot(1.05, 0.55)))
        assert way.pierces == 2
    assert 0 < mixed.strokes < shear.strokes
    assert "1 sheet and 31.00 USD" in table(tuple(ways.values()), "USD")
    assert len(steps) >= 3


def test_a_way_that_cannot_be_says_why():
    """A blade of 500 mm cuts no sheet across; the profile goes on, and the table says what cannot be."""
    ways, _ = three_ways(300.0, 200.0, cutting="profile", longest_cut=500.0)
    assert not ways["profile"].why_not
    assert "shear" in ways["shear"].why_not
    assert "shear" in ways["mixed"].why_not
    assert "shear cannot be done: No sheet in stock" in table(tuple(ways.values()))
