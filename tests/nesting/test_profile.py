"""True shapes on sheets: what a shop may rely on, checked with plain geometry that the placer does not use."""

from __future__ import annotations

import json
import math
from pathlib import Path

import numpy as np
import pytest
from hypothesis import Phase, given, settings
from hypothesis import strategies as st
from shapely import affinity
from shapely.geometry import Point, Polygon, box

from nesting import profile
from nesting._profile_engine import available
from nesting._profile_search import Work
from nesting.errors import BadSetting
from nesting.model import Part, Placement, Sheet, place_outline
from nesting.profile import place_by_work, place_profile

PUBLISHED = Path(__file__).parent.parent / "published" / "nesting"
NEAR = 1e-5  # mm, ten times what the placer promises
SQUARE = Sheet("square", 600, 600, price=1)


def nested(
    parts, sheets, *, work=0.3, gap=0.0, edge=0.0, seed=0, rotations=None, engine=False, enough=None
) -> Placement:
    """A placement by a fixed amount of work, so that no test depends on how busy the machine is.

    ``enough`` ends it, as Ctrl-C would, at the first layout for which it is true.
    """

    def look(better: Placement) -> None:
        if enough is not None and enough(better):
            raise KeyboardInterrupt

    return place_by_work(
        tuple(parts),
        tuple(sheets),
        gap_mm=gap,
        edge_mm=edge,
        work=Work(work),
        seed=seed,
        rotations=rotations,
        engine=engine,
        on_better=look,
    )


def assert_sound(found: Placement, parts, *, gap: float = 0.0, edge: float = 0.0) -> None:
    """Every copy accounted for, in its own shape, inside, apart, clear of edges and damage."""
    for part in parts:
        lying = sum(item.part is part for item in found.placed)
        left = sum(item.count for item in found.unplaced if item.part is part)
        assert lying + left == part.quantity, part.name
    for item in found.placed:
        x0, y0, _, _ = item.outline.bounds
        again = place_outline(item.part, item.turn_deg, item.flipped, corner=(x0, y0))
        assert item.outline.symmetric_difference(again).area <= NEAR * item.outline.length
        assert item.part.may_flip or not item.flipped
    for number, sheet in enumerate(found.used):
        outlines = [item.outline for item in found.placed if item.sheet == number]
        assert outlines, "no sheet is bought for nothing"
        for outline in outlines:
            assert outline.difference(sheet.metal).area <= NEAR * outline.length
            assert outline.distance(sheet.metal.exterior) >= edge - NEAR
            for hole in sheet.metal.interiors:
                assert outline.distance(hole) >= edge - NEAR
            for bad in sheet.blocked:
                assert outline.distance(bad) >= edge - NEAR
                assert outline.intersection(bad).area <= NEAR * outline.length
        for i, one in enumerate(outlines):
            for two in outlines[:i]:
                assert one.intersection(two).area <= NEAR * min(one.length, two.length)
                assert one.distance(two) >= gap - NEAR


def tank(name: str) -> tuple[list[Part], dict[str, list[float]], dict[str, list[float]]]:
    """Parts, free turns and grain turns of a published instance (tests/published/nesting/true-shape.source.md)."""
    data = json.loads((PUBLISHED / "tank" / f"{name}.json").read_text())
    parts = [Part(item["id"], Polygon(item["polygon"]), item["demand"]) for item in data["items"]]
    free = {item["id"]: item["rotations"] for item in data["items"]}
    return parts, free, {item["id"]: item["grain_rotations"] for item in data["items"]}


def reach(found: Placement, axis: int) -> float:
    """How far the parts of the first sheet reach along an axis, mm."""
    return max(item.outline.bounds[2 + axis] for item in found.placed if item.sheet == 0)


# ------------------------------------------------------------------------------------------ properties


@st.composite
def blobs(draw) -> Polygon:
    """A star-shaped outline, sometimes with a hole."""
    count = draw(st.integers(3, 9))
    radii = draw(st.lists(st.floats(40, 160), min_size=count, max_size=count))
    angles = np.arange(count) * 2 * math.pi / count + draw(st.floats(0, 1))
    shape = Polygon(np.stack((radii * np.cos(angles), radii * np.sin(angles)), axis=1))
    if draw(st.booleans()):
        hole = affinity.scale(shape, 0.4, 0.4, origin=(0, 0))
        shape = shape.difference(hole)
    return shape


@st.composite
def jobs(draw):
    """Parts, sheets, gap, edge: an offcut of odd outline with damage, and whole sheets."""
    parts = [
        Part(
            f"p{k}", draw(blobs()), draw(st.integers(1, 2)), grain=draw(st.sampled_from([None, 0.0, 90.0, 33.0])),
            may_flip=draw(st.booleans()),
        )
        for k in range(draw(st.integers(1, 4)))
    ]  # fmt: skip
    corner = draw(st.floats(100, 500))
    ell = box(0, 0, 900, 700).difference(box(corner, corner, 900, 700))
    offcut = Sheet("offcut", 900, 700, quantity=1, outline=ell, blocked=(Point(150, 150).buffer(40),))
    whole = Sheet("whole", 800, 1000, price=10, grain=draw(st.sampled_from(["long", "x", "y", None])))
    return parts, [offcut, whole], draw(st.sampled_from([0.0, 4.0])), draw(st.sampled_from([0.0, 7.0]))


@settings(max_examples=20, deadline=None, derandomize=True, phases=(Phase.generate,))
@given(jobs())
def test_every_layout_keeps_its_rules(job):
    """Nothing overlaps, gaps and edges hold, grain runs along the sheet, on whole sheets and damaged offcuts."""
    parts, sheets, gap, edge = job
    found = nested(parts, sheets, gap=gap, edge=edge, work=0.1)
    assert_sound(found, parts, gap=gap, edge=edge)
    for item in found.placed:
        along = found.used[item.sheet].grain_deg
        if item.part.grain is not None and along is not None:
            drawn = np.array([math.cos(math.radians(item.part.grain)), math.sin(math.radians(item.part.grain))])
            if item.flipped:
                drawn[0] = -drawn[0]
            lies = math.degrees(math.atan2(drawn[1], drawn[0])) + item.turn_deg
            assert abs(math.sin(math.radians(lies - along))) < 1e-9


def test_same_input_and_seed_same_layout():
    """Two runs give the same outlines, bit for bit; another seed may not."""
    parts, free, _ = tank("tank08")
    runs = [
        nested(parts, [Sheet("s", 1220, 2440, price=1)], gap=6, work=0.6, seed=seed, rotations=free)
        for seed in (1, 1, 2)
    ]
    lying = [[(item.part.name, item.turn_deg, item.outline.wkb) for item in run.placed] for run in runs]
    assert lying[0] == lying[1]
    assert lying[0] != lying[2]


@pytest.mark.skipif(not available(), reason="no strip packing library here")
def test_same_layout_with_the_library_too():
    """The library is stopped by counting its reports, not by a clock: two runs agree with it as well."""
    parts, _, grain = tank("tank08")
    sheets = [Sheet("s", 1220, 2440, price=1)]
    runs = [nested(parts, sheets, gap=6, work=0.6, rotations=grain, engine=True) for _ in range(2)]
    assert_sound(runs[0], parts, gap=6)
    assert [item.outline.wkb for item in runs[0].placed] == [item.outline.wkb for item in runs[1].placed]


# ------------------------------------------------------------------------------------ known answers


@pytest.mark.parametrize("gap", [0.0, 6.0])
def test_rectangles_that_fill_a_sheet_exactly(gap):
    """Four rectangles and their gaps that add up to the sheet go on it: 2 x 302 + 6 = 610."""
    part = Part("plate", box(0, 0, (610 - gap) / 2, (1220 - gap) / 2), 4)
    found = nested([part], [Sheet("s", 610, 1220, price=1)], gap=gap, work=3, enough=lambda f: len(f.used) == 1)
    assert len(found.used) == 1
    assert found.proven
    assert_sound(found, [part], gap=gap)


def test_a_part_as_large_as_the_sheet():
    """A part of the sheet's own size is placed, a hair more is refused with both sizes and a remedy."""
    assert len(nested([Part("all", box(0, 0, 600, 600))], [SQUARE]).placed) == 1
    found = nested([Part("more", box(0, 0, 600, 602))], [SQUARE])
    assert not found.placed
    assert "too big by 2.0 mm" in found.unplaced[0].why
    assert "600.0 x 602.0" in found.unplaced[0].why
    assert "larger sheet" in found.unplaced[0].why


def test_a_part_lies_in_the_hole_of_another():
    """A disc of 240 goes into a ring of 300 clear, on a sheet that has no room beside the ring."""
    ring = Part("ring", Point(0, 0).buffer(200, quad_segs=32).difference(Point(0, 0).buffer(150, quad_segs=32)))
    disc = Part("disc", Point(0, 0).buffer(120, quad_segs=32))
    found = nested([ring, disc], [Sheet("s", 420, 420, price=1)], gap=6)
    assert len(found.used) == 1
    assert not found.unplaced
    assert_sound(found, [ring, disc], gap=6)


def test_damage_moves_parts_to_a_second_sheet():
    """Two plates fill a sheet; with damage in its middle only one is left room."""
    parts = [Part("plate", box(0, 0, 300, 600), 2)]
    whole = nested(parts, [SQUARE])
    damaged = Sheet("square", 600, 600, price=1, blocked=(box(310, 280, 330, 320),))
    found = nested(parts, [damaged])
    assert (len(whole.used), len(found.used)) == (1, 2)
    assert_sound(found, parts)


def test_the_free_offcut_goes_first():
    """What fits on an offcut is not bought for: an L-shaped one takes the L-shaped part."""
    ell = Polygon([(0, 0), (500, 0), (500, 200), (200, 200), (200, 500), (0, 500)])
    part = Part("ell", affinity.rotate(affinity.scale(ell, 0.95, 0.95), 90))
    sheets = [Sheet("new", 1220, 2440, price=60), Sheet("rack", 500, 500, quantity=1, outline=ell)]
    found = nested([part], sheets)
    assert [sheet.name for sheet in found.used] == ["rack"]
    assert found.proven
    assert found.bound == 0
    assert_sound(found, [part])


def test_only_a_flipped_part_fits():
    """A part drawn as the mirror of the offcut fits it only face down, and only where that is allowed."""
    hook = Polygon([(0, 0), (400, 0), (400, 150), (130, 150), (130, 300), (0, 300)])
    offcut = Sheet("rack", 400, 300, quantity=1, outline=affinity.scale(hook, -1, 1))
    drawn = affinity.scale(hook, 0.97, 0.97, origin=(0, 0))
    assert not nested([Part("hook", drawn)], [offcut]).placed
    found = nested([Part("hook", drawn, may_flip=True)], [offcut])
    assert found.placed[0].flipped


def test_grain_decides_which_way_a_part_lies():
    """A long part whose grain runs along it does not fit across the sheet's grain."""
    part = Part("strip", box(0, 0, 500, 100), grain=0)
    assert nested([part], [Sheet("s", 150, 550, price=1)]).placed[0].turn_deg in (90, 270)
    found = nested([part], [Sheet("s", 150, 550, price=1, grain="x")])
    assert not found.placed
    assert "too big" in found.unplaced[0].why


def test_what_is_worth_most_is_placed_when_the_stock_does_not_hold_all():
    """With one sheet only, the part of higher priority stays though it is smaller."""
    parts = [Part("big", box(0, 0, 500, 500)), Part("small", box(0, 0, 300, 300), priority=5)]
    found = nested(parts, [Sheet("s", 600, 600, quantity=1)], rotations=(0,))
    assert [item.part.name for item in found.placed] == ["small"]
    assert "no room left" in found.unplaced[0].why


def test_search_places_more_than_the_first_layout_does():
    """Four 4 x 2 parts as a pinwheel, two turns at once, round a 2 x 2 one: nothing to spare on 6 x 6."""
    parts = [Part("arm", box(0, 0, 400, 200), 4), Part("hub", box(0, 0, 200, 200))]
    found = nested(parts, [Sheet("s", 600, 600, quantity=1)], work=6, enough=lambda f: not f.unplaced)
    assert not found.unplaced
    assert_sound(found, parts)


# --------------------------------------------------------------------------------- published instances


@pytest.mark.parametrize("name", ["tank08", "tank12", "tank16"])
def test_true_shapes_beat_the_proven_rectangle_optimum(name):
    """Shorter than bounding rectangles can be cut, which the instance file gives as proven."""
    known = json.loads((PUBLISHED / "tank" / f"{name}.json").read_text())["known"]
    parts, free, _ = tank(name)
    proven = known["guillotine_bounding_rect_optimum_length_on_1220"]
    sheet = Sheet("s", 2440, 1220, price=1)
    found = nested(parts, [sheet], gap=6, work=4, rotations=free, enough=lambda f: reach(f, 0) < proven)
    assert_sound(found, parts, gap=6)
    assert reach(found, 0) < proven


def test_two_small_sheets_hold_what_rectangles_need_three_for():
    """tank12 goes on two 610 x 1220 sheets, the fewest that its area allows."""
    parts, free, _ = tank("tank12")
    found = nested(
        parts, [Sheet("half", 610, 1220, price=1)], gap=6, work=8, rotations=free, enough=lambda f: len(f.used) == 2
    )
    assert_sound(found, parts, gap=6)
    assert len(found.used) == 2
    assert found.proven


# ------------------------------------------------------------------------------------------- manners


def test_a_first_legal_layout_comes_before_any_search():
    """The first layout told of is whole and legal, and no work has been spent on searching by then."""
    parts, free, _ = tank("tank16")
    work, told = Work(0.5), []
    place_by_work(
        tuple(parts), (Sheet("s", 1220, 2440, price=1),), gap_mm=6, edge_mm=0, work=work, seed=0, rotations=free,
        on_better=lambda better: told.append((work.done, better)), engine=False,
    )  # fmt: skip
    assert told[0][0] == 0
    for _, better in told:
        assert_sound(better, parts, gap=6)


@pytest.mark.parametrize("engine", [False, True])
def test_ctrl_c_keeps_the_best_so_far(engine):
    """An interrupt while searching ends it with the last layout told of, marked as stopped."""
    parts, free, _ = tank("tank08")
    told: list[Placement] = []

    def stop_at_second(better: Placement) -> None:
        told.append(better)
        if len(told) == 2:
            raise KeyboardInterrupt

    found = place_by_work(
        tuple(parts), (Sheet("s", 1220, 2440, price=1),), gap_mm=6, edge_mm=0, work=Work(5), seed=0, rotations=free,
        on_better=stop_at_second, engine=engine,
    )  # fmt: skip
    assert found.stopped
    assert [i.outline.wkb for i in found.placed] == [i.outline.wkb for i in told[-1].placed]
    assert_sound(found, parts, gap=6)


def test_without_the_library_nothing_is_missing(monkeypatch):
    """Where the strip packing library has no wheel the same job is done by our own search."""
    monkeypatch.setattr(profile, "available", lambda: False)
    parts, free, _ = tank("tank08")
    found = nested(parts, [Sheet("s", 1220, 2440, price=1)], gap=6, work=0.5, rotations=free, engine=True)
    assert_sound(found, parts, gap=6)
    assert not found.unplaced


def test_a_library_that_breaks_costs_nothing(monkeypatch):
    """A child that dies at once leaves the layout to our own search."""
    from nesting import _profile_engine

    monkeypatch.setattr(_profile_engine.sys, "executable", "/nonexistent/python")
    parts, free, _ = tank("tank08")
    found = nested(parts, [Sheet("s", 1220, 2440, price=1)], gap=6, work=0.5, rotations=free, engine=True)
    assert_sound(found, parts, gap=6)


def test_nothing_to_do():
    """No copies: no sheets."""
    found = nested([Part("none", box(0, 0, 10, 10), 0)], [SQUARE])
    assert (found.placed, found.used, found.unplaced) == ((), (), ())


@pytest.mark.parametrize("name", ["gap_mm", "edge_mm", "seconds"])
@pytest.mark.parametrize("value", [-1.0, math.nan])
def test_lengths_and_times_out_of_range_are_refused(name, value):
    """The message names the setting and what is allowed."""
    with pytest.raises(BadSetting, match=name):
        place_profile([Part("p", box(0, 0, 10, 10))], [SQUARE], **{name: value})
