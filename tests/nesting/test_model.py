"""Parts and sheets say no early and clearly; turns, flips and grain are placed as they are said to be."""

from __future__ import annotations

import math

import pytest
from shapely.geometry import MultiPolygon, Polygon, box

from nesting import BadPart, BadSheet, Part, Sheet
from nesting.model import allowed_turns, place_outline

FLAG = Polygon([(0, 0), (40, 0), (40, 10), (10, 10), (10, 30), (0, 30)])


@pytest.mark.parametrize(
    "outline, found",
    [
        (Polygon([(0, 0), (10, 10), (10, 0), (0, 10)]), "crosses"),
        (Polygon(), "empty"),
        (MultiPolygon([box(0, 0, 1, 1), box(5, 5, 6, 6)]), "not one polygon"),
        ([(0, 0), (1, 0)], "not a polygon"),
        ([(0, 0), (math.nan, 0), (1, 1)], "not a number"),
    ],
)
def test_bad_outlines_are_refused_by_name(outline, found):
    """A part that cannot be cut names itself and what is wrong, and is a ValueError too."""
    with pytest.raises(BadPart, match=found) as caught:
        Part("left skin", outline)
    assert caught.value.name == "left skin"
    assert isinstance(caught.value, ValueError)


@pytest.mark.parametrize("quantity", [-1, 1.5, True])
def test_quantities_are_whole_and_not_negative(quantity):
    """Half a part or fewer than none is refused."""
    with pytest.raises(BadPart, match="quantity"):
        Part("p", box(0, 0, 1, 1), quantity)


@pytest.mark.parametrize(
    "change, found",
    [
        ({"width": 0}, "width"),
        ({"height": math.inf}, "height"),
        ({"price": -1}, "price"),
        ({"quantity": -2}, "quantity"),
        ({"grain": "across"}, "grain"),
        ({"outline": box(-5, 0, 50, 50)}, "outside"),
        ({"blocked": ("damage",)}, "polygon"),
    ],
)
def test_bad_sheets_are_refused_by_name(change, found):
    """A sheet that cannot be says which field and both numbers."""
    with pytest.raises(BadSheet, match=found):
        Sheet(**{"name": "rack 3", "width": 100, "height": 60, **change})


def test_points_may_stand_for_a_polygon():
    """A list of points is taken as an outline; holes of a polygon stay."""
    ring = box(0, 0, 10, 10).difference(box(4, 4, 6, 6))
    assert Part("a", [(0, 0), (3, 0), (0, 4)]).outline.area == 6.0
    assert len(Part("b", ring).outline.interiors) == 1


@pytest.mark.parametrize("turn, size", [(0, (40, 30)), (90, (30, 40)), (180, (40, 30)), (270, (30, 40))])
def test_quarter_turns_are_exact(turn, size):
    """No rounding in quarter turns, counter-clockwise, moved to the corner asked for."""
    placed = place_outline(Part("flag", FLAG), turn, False, (7.0, 5.0))
    x0, y0, x1, y1 = placed.bounds
    assert (x0, y0, x1 - x0, y1 - y0) == (7.0, 5.0, *size)
    assert placed.area == FLAG.area


def test_a_quarter_turn_is_counter_clockwise():
    """What pointed along x points along y."""
    placed = place_outline(Part("flag", FLAG), 90)
    assert placed.equals(Polygon([(0, 0), (0, 40), (-10, 40), (-10, 10), (-30, 10), (-30, 0)]))


def test_flipping_mirrors_before_the_turn():
    """Face down: x becomes -x, then the turn."""
    placed = place_outline(Part("flag", FLAG, may_flip=True), 90, True)
    by_hand = Polygon([(-y, -x) for x, y in FLAG.exterior.coords])
    assert placed.equals(by_hand)


@pytest.mark.parametrize(
    "grain, sheet_grain, flipped, turns",
    [
        (0.0, "x", False, (0.0, 180.0)),
        (0.0, "y", False, (90.0, 270.0)),
        (90.0, "long", False, (0.0, 180.0)),
        (30.0, "x", False, (150.0, 330.0)),
        (30.0, "x", True, (30.0, 210.0)),
        (None, "x", False, None),
        (0.0, None, False, None),
    ],
)
def test_grain_leaves_two_turns(grain, sheet_grain, flipped, turns):
    """Either way round along the sheet's grain; a flipped part's grain is its mirror image."""
    sheet = Sheet("s", 600, 900, grain=sheet_grain)
    part = Part("p", FLAG, grain=grain, may_flip=True)
    found = allowed_turns(part, sheet, None, flipped=flipped)
    assert found == (None if turns is None else pytest.approx(turns))


def test_turns_may_be_given_per_part():
    """A mapping by part name, with "*" for the rest."""
    sheet, part = Sheet("s", 600, 900), Part("p", FLAG)
    assert allowed_turns(part, sheet, {"p": (0, 90)}) == (0.0, 90.0)
    assert allowed_turns(part, sheet, {"*": (45,)}) == (45.0,)
    assert allowed_turns(part, sheet, {"q": (45,)}) is None


def test_usable_metal_keeps_clear_of_edges_and_damage():
    """The margin counts from the real outline of an offcut and round blocked places."""
    sheet = Sheet("offcut", 100, 100, outline=Polygon([(0, 0), (100, 0), (0, 100)]), blocked=(box(20, 20, 25, 25),))
    free = sheet.usable(5.0)
    assert free.distance(sheet.metal.boundary) == pytest.approx(5.0)
    assert free.distance(sheet.blocked[0]) == pytest.approx(5.0, abs=0.05)
    assert sheet.area == 5000.0
