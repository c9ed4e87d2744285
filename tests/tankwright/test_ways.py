"""Ways of cutting side by side: snug blanks share a rectangle, and the table says what is saved."""

from __future__ import annotations

import pytest
from shapely.geometry import Polygon

from nesting import Part
from tankwright.ways import Way, _alone, _join, table


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
