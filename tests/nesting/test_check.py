"""The checker finds every kind of fault that is put into a sound layout."""

from __future__ import annotations

from dataclasses import replace

import pytest
from shapely import affinity
from shapely.geometry import box

from nesting import Layout, LayoutFault, Part, Sheet, nest
from nesting.check import check_layout

PARTS = (Part("a", box(0, 0, 300, 200), 2, grain=0.0), Part("b", box(0, 0, 150, 100), 3))
SHEETS = (Sheet("s", 800, 500, 10.0, quantity=2, grain="x"),)
RULES = {"gap_mm": 6.0, "edge_mm": 8.0}


@pytest.fixture(scope="module")
def sound() -> Layout:
    """A layout of ours that passes."""
    layout = nest(PARTS, SHEETS, seconds=3, rotations=(0, 90, 180), **RULES)
    check_layout(layout, PARTS, SHEETS, (0, 90, 180))
    return layout


def moved(layout: Layout, index: int, dx: float, dy: float) -> Layout:
    """The layout with one part pushed."""
    items = list(layout.placed)
    items[index] = replace(items[index], outline=affinity.translate(items[index].outline, dx, dy))
    return replace(layout, placed=tuple(items))


def fault(layout: Layout, rotations=(0, 90, 180), **more) -> LayoutFault:
    with pytest.raises(LayoutFault) as caught:
        check_layout(layout, PARTS, SHEETS, rotations, **more)
    return caught.value


def test_a_part_over_the_edge_is_found(sound):
    """2 mm into an 8 mm margin: both numbers are told."""
    corner = min(range(len(sound.placed)), key=lambda i: sum(sound.placed[i].outline.bounds[:2]))
    found = fault(moved(sound, corner, -2.0, 0.0))
    assert (found.rule, found.wanted) == ("edge", 8.0)
    assert found.found == pytest.approx(6.0)


def test_a_part_off_the_sheet_is_found(sound):
    """Outside the metal altogether."""
    assert fault(moved(sound, 0, -300.0, 0.0)).rule == "edge"


def test_a_gap_too_small_and_an_overlap_are_found(sound):
    """Two parts pushed together, a little and a lot."""
    first = sound.placed[0]
    second = next(i for i, item in enumerate(sound.placed) if item is not first and item.sheet == first.sheet)
    x0, y0, _, _ = sound.placed[second].outline.bounds
    beside = first.outline.bounds[2] + 5.0 - x0
    assert fault(moved(sound, second, beside, first.outline.bounds[1] - y0)).rule in ("gap", "edge", "overlap")
    assert fault(moved(sound, second, first.outline.bounds[0] - x0, first.outline.bounds[1] - y0)).rule == "overlap"


def test_a_turn_that_was_not_allowed_is_found(sound):
    """Said to lie at another angle than it does; and against the grain."""
    items = list(sound.placed)
    i = next(i for i, item in enumerate(items) if item.part.grain is None)
    items[i] = replace(items[i], turn_deg=items[i].turn_deg + 1.0)
    assert fault(replace(sound, placed=tuple(items))).rule == "outline"
    assert fault(sound, rotations=(45,)).rule == "turn"

    i = next(i for i, item in enumerate(items) if item.part.grain is not None)
    shape = affinity.rotate(items[i].outline, 90)
    items = list(sound.placed)
    items[i] = replace(items[i], outline=shape, turn_deg=(items[i].turn_deg + 90.0) % 360.0)
    assert fault(replace(sound, placed=tuple(items))).rule == "grain"


def test_a_lost_part_and_a_sheet_too_many_are_found(sound):
    """One copy missing; more sheets than the rack has."""
    assert fault(replace(sound, placed=sound.placed[1:])).rule == "count"
    many = tuple(replace(sound.sheets[0], index=i) for i in range(3))
    assert fault(replace(sound, sheets=many)).rule == "count"


def test_areas_that_do_not_tie_are_found(sound):
    """Half a percent of a sheet gone astray."""
    used = replace(sound.sheets[0], skeleton_area=sound.sheets[0].skeleton_area + 0.005 * SHEETS[0].area)
    assert fault(replace(sound, sheets=(used, *sound.sheets[1:]))).rule == "areas"


def test_cuts_that_do_not_do_it_are_found(sound):
    """A cut left out, one through a part, one of a wrong length, one too long for the shear."""
    assert fault(replace(sound, cuts=sound.cuts[:-1])).rule == "cuts"
    parting = next(i for i, cut in enumerate(sound.cuts) if cut.purpose == "part")
    wrong = list(sound.cuts)
    wrong[parting] = replace(wrong[parting], distance=wrong[parting].distance - 20.0)
    assert fault(replace(sound, cuts=tuple(wrong))).rule == "cuts"
    wrong = list(sound.cuts)
    wrong[0] = replace(wrong[0], length=wrong[0].length + 1.0)
    assert fault(replace(sound, cuts=tuple(wrong))).rule == "cuts"
    assert fault(sound, longest_cut_mm=100.0).rule == "cuts"


def test_an_offcut_over_a_part_is_found(sound):
    """A kept offcut may not hold metal of a part."""
    from nesting import Offcut

    over = Offcut(0, sound.placed[0].outline)
    assert fault(replace(sound, offcuts=(over,))).rule == "overlap"
