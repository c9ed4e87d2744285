"""The pieces that the true-shape placer is made of, each against plain geometry or a closed form."""

from __future__ import annotations

import json
import math
from pathlib import Path

import numpy as np
import pytest
import shapely
from hypothesis import Phase, given, settings
from hypothesis import strategies as st
from shapely import affinity
from shapely.geometry import Point, Polygon, box

import nesting
from nesting._profile_check import faults_on_sheet
from nesting._profile_engine import available
from nesting._profile_grid import SLACK, Bench, Grid, Spot
from nesting._profile_search import Work
from nesting._profile_sets import sheet_sets
from nesting._profile_shapes import Variants, clash_of, convex_pieces
from nesting._profile_squeeze import settle, squeeze, used_length
from nesting.errors import BadPart, BadSetting
from nesting.model import Part, Sheet
from nesting.strip import pack_strip, strip_by_work

PUBLISHED = Path(__file__).parent.parent / "published" / "nesting"


@st.composite
def stars(draw) -> Polygon:
    """A star-shaped outline of 3 to 10 points."""
    count = draw(st.integers(3, 10))
    radii = np.array(draw(st.lists(st.floats(20, 100), min_size=count, max_size=count)))
    angles = np.arange(count) * 2 * math.pi / count
    return Polygon(np.stack((radii * np.cos(angles), radii * np.sin(angles)), axis=1))


@settings(max_examples=40, deadline=None, derandomize=True, phases=(Phase.generate,))
@given(stars(), st.booleans())
def test_convex_pieces_make_up_the_outline(shape, holed):
    """They are convex, do not overlap, and cover the outline less its hole."""
    if holed:
        shape = shape.difference(affinity.scale(shape, 0.3, 0.3, origin=(0, 0)))
    pieces = [Polygon(ring) for ring in convex_pieces(shape)]
    assert math.fsum(p.area for p in pieces) == pytest.approx(shape.area, rel=1e-9)
    assert shapely.union_all(pieces).symmetric_difference(shape).area <= 1e-9 * shape.area
    for piece in pieces:
        assert piece.convex_hull.area == pytest.approx(piece.area, rel=1e-9)


def test_clash_of_two_rectangles():
    """A 30 x 20 rectangle must stay out of a 50 x 40 one: shifts from -30, -20 to 50, 40 (closed form)."""
    (ring,) = clash_of(convex_pieces(box(0, 0, 50, 40)), convex_pieces(box(0, 0, 30, 20)))
    assert Polygon(ring).symmetric_difference(box(-30, -20, 50, 40)).area < 1e-9


@settings(max_examples=30, deadline=None, derandomize=True, phases=(Phase.generate,))
@given(stars(), stars())
def test_area_of_a_clash_of_convex_outlines(one, two):
    """The sum of convex outlines is their points' sums' hull (definition of the Minkowski sum)."""
    one, two = one.convex_hull, two.convex_hull
    (ring,) = clash_of(convex_pieces(one), convex_pieces(two))
    sums = [
        (a[0] - b[0], a[1] - b[1])
        for a in shapely.get_coordinates(one.exterior)
        for b in shapely.get_coordinates(two.exterior)
    ]
    hull = shapely.MultiPoint(sums).convex_hull
    assert Polygon(ring).symmetric_difference(hull).area <= 1e-9 * hull.area


@settings(max_examples=15, deadline=None, derandomize=True, phases=(Phase.generate,))
@given(stars(), stars(), st.sampled_from([0.0, 5.0]), st.integers(0, 3), st.integers(0, 3))
def test_depth_maps_tell_overlap_from_none(one, two, gap, turn_one, turn_two):
    """Where the map says no overlap there is none beyond the slack; where it says some, parts are too near."""
    step = 6.0
    variants = Variants((Part("a", one), Part("b", two)), (0, 90, 180, 270))
    sheet = Sheet("s", 1000, 1000)
    a, b = variants.on(0, sheet), variants.on(1, sheet)
    fixed, moving = a[turn_one % len(a)], b[turn_two % len(b)]
    row, column, maps = Grid(variants, gap, step).depth(fixed, moving)
    rng = np.random.default_rng(0)
    for r, c in zip(rng.integers(0, maps[4].shape[0], 40), rng.integers(0, maps[4].shape[1], 40), strict=True):
        x = (column + c) * step + (fixed.width - moving.width) / 2
        y = (row + r) * step + (fixed.height - moving.height) / 2
        shifted = affinity.translate(moving.outline, x, y)
        apart = fixed.outline.distance(shifted)
        if maps[4][r, c] > 0:
            assert apart < gap + 0.2 * step
        elif gap == 0:
            lap = fixed.outline.intersection(shifted)
            deepest = 0.0 if lap.is_empty else 2 * lap.area / max(lap.length, 1e-9)
            assert deepest <= 2 * (SLACK + 0.7) * step
        else:
            assert apart >= 0.0


def test_settle_takes_out_a_small_overlap_exactly():
    """Two plates 3 mm into one another end up touching, or the wanted gap apart."""
    variants = Variants((Part("p", box(0, 0, 100, 50)),), (0,))
    sheet = Sheet("s", 300, 100)
    (plate,) = variants.on(0, sheet)
    for gap in (0.0, 4.0):
        grid, bench = Grid(variants, gap, 8.0), Bench(sheet, 0.0)
        found = settle(grid, [bench], [Spot(0, plate, 0, 0), Spot(0, plate, 97, 0)], 16)
        assert found is not None
        outlines = [affinity.translate(s.variant.outline, s.x, s.y) for s in found]
        assert faults_on_sheet(outlines, sheet, gap=gap, edge=0) == []


def test_squeeze_closes_up_to_the_closed_form():
    """Three discs of 100 in a row 100 high, 5 apart: 310 long at least; loose ones are pushed to that."""
    variants = Variants((Part("d", Point(0, 0).buffer(50, quad_segs=16)),), (0,))
    sheet = Sheet("s", 600, 100)
    (disc,) = variants.on(0, sheet)
    grid, bench = Grid(variants, 5.0, 5.0), Bench(sheet, 0.0)
    spots = squeeze(grid, [bench], [Spot(0, disc, x, 0) for x in (10, 150, 330)], 0, 30)
    assert used_length([bench], spots, 0) == pytest.approx(310.0, abs=0.01)


def test_check_finds_what_is_wrong():
    """The check of last resort sees overlap, gap, edge, damage and leaving the sheet, and nothing where nothing is."""
    sheet = Sheet("s", 100, 100, blocked=(box(80, 80, 90, 90),))
    square = box(0, 0, 20, 20)

    def wrong(*corners, gap=2.0, edge=1.0):
        return faults_on_sheet([affinity.translate(square, *c) for c in corners], sheet, gap=gap, edge=edge)

    assert wrong((1, 1), (23, 1)) == []
    assert "apart" in wrong((1, 1), (22, 1))[0]
    assert "apart" in wrong((1, 1), (10, 10), gap=0.0)[0]
    assert "edge" in wrong((0.5, 1))[0]
    assert "outside" in wrong((-1, 1), edge=0.0)[0]
    assert "blocked" in wrong((60, 60))[0]


def test_sets_of_sheets_come_cheapest_first():
    """Against trying every set of up to 4 sheets: the same cheapest one."""
    from itertools import combinations_with_replacement

    sheets = [Sheet("a", 100, 100, price=5), Sheet("b", 200, 100, price=8, quantity=2), Sheet("c", 60, 60, quantity=1)]
    areas = [s.area for s in sheets]
    for needed in (3000.0, 9000.0, 23000.0, 35000.0, 44000.0):
        found, bound = sheet_sets(sheets, needed, areas, below=(math.inf, 0, 0.0), most=1)
        every = [
            s
            for n in range(1, 6)
            for s in combinations_with_replacement(range(3), n)
            if sum(areas[k] for k in s) >= needed and s.count(1) <= 2 and s.count(2) <= 1
        ]
        assert bound[0] == min(sum(sheets[k].price for k in s) for s in every)
        assert sum(sheets[k].price for k in found[0]) == bound[0]


# -------------------------------------------------------------------------------------------- strips


def instance(name: str) -> tuple[list[Part], dict[str, list[float]], float, float]:
    """Parts, turns, height and best known density (tests/published/nesting/true-shape.source.md)."""
    data = json.loads((PUBLISHED / "irregular" / f"{name}.json").read_text())
    parts = [Part(str(item["id"]), Polygon(item["polygon"]), item["demand"]) for item in data["items"]]
    turns = {str(item["id"]): item["rotations"] for item in data["items"]}
    return parts, turns, data["strip_height"], data["best_known"]["density_pct"] / 100


def assert_packed(strip, parts, gap=0.0):
    """All copies, apart, within the strip; the density is what the areas say."""
    assert len(strip.placed) == sum(part.quantity for part in parts)
    sheet = Sheet("strip", strip.length, strip.height)
    assert faults_on_sheet([item.outline for item in strip.placed], sheet, gap=gap, edge=0) == []
    area = math.fsum(part.outline.area * part.quantity for part in parts)
    assert strip.density == pytest.approx(area / (strip.height * strip.length), rel=1e-9)


def test_fu_comes_near_the_published_best():
    """Fu (Fujita and others 1993): a short run of our own search is within 12 points of the best known 92.4 %."""
    parts, turns, height, best = instance("fu")
    strip = strip_by_work(parts, height, work=Work(1.5), rotations=turns)
    assert_packed(strip, parts)
    assert best - 0.12 < strip.density <= best + 0.005


@pytest.mark.skipif(not available(), reason="no strip packing library here")
def test_jakobs_with_the_library():
    """Jakobs 1 (1996): within 20 points of the best known 89.2 % in 3 s, however busy the machine."""
    parts, turns, height, best = instance("jakobs1")
    strip = pack_strip(parts, height, seconds=3, rotations=turns)
    assert_packed(strip, parts)
    assert best - 0.20 < strip.density <= best + 0.005


@pytest.mark.skipif(not available(), reason="no strip packing library here")
def test_a_part_as_tall_as_the_strip():
    """The library panics on it if asked plainly; the strip is packed all the same."""
    parts = [Part("tall", box(0, 0, 30, 100), 2), Part("disc", Point(0, 0).buffer(20), 3)]
    strip = pack_strip(parts, 100.0, gap_mm=3.0, seconds=3, rotations=(0,))
    assert_packed(strip, parts, gap=3.0)


def test_a_part_taller_than_the_strip_is_named():
    """The message names the part and the strip's height."""
    with pytest.raises(BadPart, match=r"beam.*50"):
        pack_strip([Part("beam", box(0, 0, 60, 60))], 50.0, seconds=1)


def test_a_strip_of_no_height_is_refused():
    """Height 0 is a bad setting."""
    with pytest.raises(BadSetting, match="height"):
        pack_strip([Part("p", box(0, 0, 1, 1))], 0.0)


@pytest.mark.skipif(not available(), reason="no strip packing library here")
def test_each_strip_told_of_is_shorter_and_an_interrupt_keeps_the_last():
    """Every strip told of is whole and legal; stopped at the third, that or a shorter one comes back, marked."""
    parts, turns, height, _ = instance("jakobs1")
    told = []

    def stop_at_third(better) -> None:
        assert_packed(better, parts)
        told.append(better.length)
        if len(told) == 3:
            raise KeyboardInterrupt

    strip = nesting.pack_strip(parts, height, seconds=20, rotations=turns, on_better=stop_at_third)
    assert_packed(strip, parts)
    assert strip.stopped
    assert strip.notes
    assert told == sorted(told, reverse=True)
    assert strip.length == told[-1]


def test_a_long_sheet_is_left_short_in_use():
    """On one sheet 5 m long ``nest`` frees the far end: bounding squares need 3 x 500 mm, ells a fifth less or so."""
    parts = [Part("ell", Polygon([(0, 0), (500, 0), (500, 200), (200, 200), (200, 500), (0, 500)]), 6)]

    def used(layout) -> float:
        return max(item.outline.bounds[2] for item in layout.placed)

    def enough(layout) -> None:
        if used(layout) < 1350:
            raise KeyboardInterrupt

    coil = Sheet("coil", 5000, 1000, quantity=1)
    layout = nesting.nest(parts, [coil], cutting="profile", seconds=60, on_better=enough)
    assert used(layout) < 1350
    (rest,) = [one.outline.bounds for one in layout.offcuts if one.outline.bounds[2] > 4999]
    assert rest[0] == pytest.approx(used(layout), abs=1.0)
