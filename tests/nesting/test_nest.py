"""The public door: settings, reasons, preferences, limits of the shear, offcuts, stopping early."""

from __future__ import annotations

import doctest
import importlib

import pytest
from shapely.geometry import Point, Polygon, box

from nesting import BadPart, BadSetting, BadSheet, Part, Sheet, nest, shortest_length
from nesting.offcuts import largest_rectangle, rectangles_to_keep

LID = Part("lid", box(0, 0, 400, 300), 4)


def test_the_examples_in_the_docstrings_run():
    """What the documentation shows is what happens."""
    module = importlib.import_module("nesting.nest")
    assert doctest.testmod(module).failed == 0


@pytest.mark.parametrize(
    "settings",
    [
        {"cutting": "laser"},
        {"gap_mm": -1},
        {"edge_mm": float("nan")},
        {"seconds": 0},
        {"rotations": ()},
        {"rotations": "90"},
        {"longest_cut_mm": -5.0},
        {"prefer": ("cheapest",)},
    ],
)
def test_settings_out_of_range_are_refused(settings):
    """With the setting, the value and what is allowed."""
    with pytest.raises(BadSetting, match="allowed"):
        nest([LID], [Sheet("s", 1000, 1000)], **settings)


def test_no_sheets_and_doubled_names_are_refused():
    """An empty stock list and two different parts of one name are mistakes."""
    with pytest.raises(BadSheet, match="no sheet"):
        nest([LID], [])
    with pytest.raises(BadPart, match="two parts"):
        nest([LID, Part("lid", box(0, 0, 10, 10))], [Sheet("s", 1000, 1000)])


def test_nothing_to_cut_costs_nothing():
    """No parts, or none wanted: an empty, proven layout."""
    for parts in ([], [Part("lid", box(0, 0, 400, 300), 0)]):
        layout = nest(parts, [Sheet("s", 1000, 1000, 50)])
        assert (layout.sheets, layout.cost, layout.proven) == ((), 0.0, True)


def test_a_part_too_big_says_by_how_much():
    """The size, the nearest sheet, what of it is usable, and what is missing."""
    layout = nest([Part("skin", box(0, 0, 640, 602))], [Sheet("half", 600, 1000)], edge_mm=10, seconds=1)

    (left,) = layout.unplaced
    assert left.count == 1
    for word in ("skin", "half", "580.0", "980.0", "22.0 mm"):
        assert word in left.why


def test_a_part_of_exactly_the_sheets_size_fits():
    """Also where the size is no whole number of hundredths."""
    layout = nest([Part("a", box(0, 0, 999.9993, 500.0007))], [Sheet("s", 999.9993, 500.0007)], seconds=1)
    assert not layout.unplaced
    assert layout.cuts == ()


def test_sheets_that_run_out_leave_the_least_worth_behind():
    """Two of three fit: the one of least priority stays."""
    parts = [Part(name, box(0, 0, 500, 900), priority=p) for name, p in (("a", -1), ("b", 5), ("c", 3))]

    layout = nest(parts, [Sheet("s", 1000, 1000, quantity=1)], seconds=2)

    assert [left.part.name for left in layout.unplaced] == ["a"]
    assert "1 of s" in layout.unplaced[0].why
    assert layout.proven


def test_offcuts_go_first_among_equal_costs():
    """At no price of its own the offcut is used where it saves nothing else."""
    sheets = [Sheet("new", 1000, 1000, 0), Sheet("rack", 500, 500, 0, quantity=1)]
    layout = nest([Part("p", box(0, 0, 300, 300))], sheets, seconds=1)
    assert [used.name for used in layout.sheets] == ["rack"]


def test_the_largest_offcut_is_kept_whole():
    """By hand: 600 x 400 and 400 x 1000 leave 600 x 600 of 1000 x 1000 if laid well, 200 x 1000 at most if not."""
    parts = [Part("a", box(0, 0, 600, 400)), Part("b", box(0, 0, 400, 1000))]

    layout = nest(parts, [Sheet("s", 1000, 1000, 30)], seconds=2)

    assert [offcut.size for offcut in layout.offcuts] == [(600.0, 600.0)]
    assert layout.yield_whole == pytest.approx(0.64)
    assert layout.yield_with_offcuts == pytest.approx(1.0)


def test_the_order_of_preference_can_be_changed():
    """Fewest cuts asked for before the largest offcut: no more cuts than the other way round, no larger offcut."""
    parts = [Part(f"p{i}", box(0, 0, 130 + 40 * i, 210 + 25 * (i % 3))) for i in range(7)]

    def best(*prefer: str):
        return nest(parts, [Sheet("s", 1220, 1000, 30)], prefer=prefer, keep_side_mm=100, seconds=3)

    few, large = best("cuts", "length"), best("largest")
    assert few.cost == large.cost == 30
    assert len(few.cuts) <= len(large.cuts)
    assert max(o.area for o in large.offcuts) >= max((o.area for o in few.offcuts), default=0.0)


def test_offcuts_too_small_for_the_rack_are_scrap():
    """Shorter side and area both count."""
    layout = nest([Part("a", box(0, 0, 1000, 880))], [Sheet("s", 1000, 1000)], keep_side_mm=121, seconds=1)
    assert layout.offcuts == ()
    layout = nest([Part("a", box(0, 0, 1000, 880))], [Sheet("s", 1000, 1000)], keep_side_mm=119, seconds=1)
    assert [sorted(offcut.size) for offcut in layout.offcuts] == [[120.0, 1000.0]]


def test_a_raw_edge_is_squared_before_anything_is_measured():
    """The first two cuts take the strip off the left and lower edge; no part lies in it."""
    layout = nest([Part("a", box(0, 0, 300, 200), 3)], [Sheet("s", 800, 600)], squaring_mm=7.0, seconds=1)

    squared = [cut for cut in layout.cuts if cut.purpose == "square"]
    assert sorted((cut.axis, cut.distance) for cut in squared) == [("x", 7.0), ("y", 7.0)]
    assert min(cut.order for cut in layout.cuts if cut.purpose != "square") == 3
    assert all(min(item.outline.bounds[:2]) >= 7.0 - 1e-9 for item in layout.placed)


def test_a_short_shear_changes_the_first_cut():
    """A 1220 x 2440 sheet and a 1300 mm blade: never along the length; a part longer than the blade is left out."""
    parts = [Part("a", box(0, 0, 600, 1100), 4), Part("long", box(0, 0, 300, 1500))]

    layout = nest(parts, [Sheet("4x8", 1220, 2440, 60)], longest_cut_mm=1300, seconds=3)

    assert layout.cuts[0].axis == "y"
    assert max(cut.length for cut in layout.cuts) <= 1300
    assert [left.part.name for left in layout.unplaced] == ["long"]
    assert "1500.0" in layout.unplaced[0].why
    assert "1300.0" in layout.unplaced[0].why


def test_every_part_says_which_piece_it_becomes():
    """The label on a placed part is the last piece the cuts make there, and no other cut touches it afterwards."""
    layout = nest([Part("a", box(0, 0, 300, 200), 3)], [Sheet("s", 800, 600)], edge_mm=9, keep_side_mm=100, seconds=1)

    made = {label for cut in layout.cuts for label in cut.makes}
    cut_up = {cut.piece for cut in layout.cuts}
    finished = [item.piece for item in layout.placed] + [offcut.piece for offcut in layout.offcuts]
    assert len(set(finished)) == len(finished) > 3
    assert set(finished) <= made - cut_up


def test_strips_too_narrow_to_hold_are_named():
    """A 30 mm strip cut to length under hold-downs that need 40 mm."""
    layout = nest(
        [Part("strap", box(0, 0, 30, 20), 2)], [Sheet("bar", 36, 100)], smallest_strip_mm=40, rotations=(0,), seconds=1
    )
    assert layout.notes
    assert "40.0 mm" in layout.notes[0]


def test_mirrored_pairs_share_their_rectangles():
    """Left and right blanks of the same box are proven as quickly as one kind; each is placed in its own shape."""
    left = Polygon([(0, 0), (500, 0), (430, 260), (40, 300)])
    right = Polygon([(500 - x, y) for x, y in left.exterior.coords])
    layout = nest([Part("left", left, 3), Part("right", right, 3)], [Sheet("s", 1220, 1220, 30)], gap_mm=6, seconds=4)

    assert layout.proven
    assert sorted(item.part.name for item in layout.placed) == ["left"] * 3 + ["right"] * 3


def test_an_interrupt_keeps_the_best_so_far():
    """Ctrl-C while it searches hands over a sound layout and says so."""
    parts = [Part(f"p{i}", box(0, 0, 90 + 13 * i, 400 - 9 * i)) for i in range(24)]
    seen = []

    def stop(layout) -> None:
        seen.append(layout.cost)
        raise KeyboardInterrupt

    layout = nest(parts, [Sheet("s", 900, 700, 10)], gap_mm=3, seconds=5, on_better=stop)

    assert layout.stopped
    assert layout.cost == seen[0]
    assert len(layout.placed) == 24


def test_better_layouts_are_told_as_they_come():
    """Every layout told costs no more than the one before, and the last one returned is no worse."""
    parts = [Part(f"p{i}", box(0, 0, 90 + 13 * i, 400 - 9 * i)) for i in range(20)]
    costs: list[float] = []

    layout = nest(parts, [Sheet("s", 900, 700, 10)], gap_mm=3, seconds=1, on_better=lambda one: costs.append(one.cost))

    assert costs == sorted(costs, reverse=True)
    assert layout.cost <= costs[-1]


def test_the_shortest_length_refuses_what_is_too_wide():
    """A part wider than the sheet both ways is an error with both numbers."""
    with pytest.raises(BadPart, match=r"too big by 80\.0 mm"):
        shortest_length([Part("wide", box(0, 0, 700, 700))], 620)


def test_rectangles_in_odd_offcuts():
    """Closed forms: half a square cut off at the diagonal holds a square of half its side; an L its larger arm."""
    triangle = Polygon([(0, 0), (1000, 0), (0, 1000)])
    found = largest_rectangle(triangle)
    assert found is not None
    assert found.area == pytest.approx(250_000, rel=0.01)

    ell = box(0, 0, 600, 200).union(box(0, 0, 200, 500))
    first, second = rectangles_to_keep(ell, min_side_mm=150, min_area_mm2=50_000)
    assert (first.area, second.area) == (pytest.approx(120_000), pytest.approx(60_000))

    disc = Point(0, 0).buffer(100, quad_segs=64)
    found = largest_rectangle(disc)
    assert found is not None
    assert found.area == pytest.approx(20_000, rel=0.01)  # inscribed square of a circle: 2 r^2
    assert disc.buffer(1e-3).covers(found)


def test_no_cut_takes_off_less_than_anyone_can_cut():
    """A plate laid at 30 degrees to the grain is 0.00005 mm off a whole hundredth: that was once cut off as a trim."""
    parts = [Part(f"p{i}", box(0, 0, 15, 15)) for i in range(7)] + [Part("skew", box(0, 0, 218.4, 358.2), grain=30.0)]

    layout = nest(parts, [Sheet("s", 1000, 600, 10.0)], seconds=1)

    widths = {str(one.index + 1): (one.sheet.width, one.sheet.height) for one in layout.sheets}
    for cut in layout.cuts:
        w, h = widths[cut.piece]
        across = w if cut.axis == "x" else h
        assert 0.2 < cut.distance < across - 0.2
        widths[cut.makes[0]] = (cut.distance, h) if cut.axis == "x" else (w, cut.distance)
        widths[cut.makes[1]] = (across - cut.distance, h) if cut.axis == "x" else (w, across - cut.distance)
