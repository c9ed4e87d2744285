"""What every shear layout keeps, on random parts: checked with plain arithmetic on rectangles, not with our checker."""

from __future__ import annotations

import math

import pytest
from hypothesis import Phase, given, settings
from hypothesis import strategies as st
from shapely.geometry import Point, Polygon, box

from nesting import Layout, Part, Sheet, nest

NEAR = 1e-3  # mm
PHASES = (Phase.explicit, Phase.reuse, Phase.generate)  # a failure is shown as found: shrinking nests takes minutes
SIZES = st.floats(15, 380).map(lambda value: round(value, 1))


@st.composite
def outlines(draw) -> Polygon:
    """Rectangles, triangles, plates with a hole, and rings."""
    w, h = draw(SIZES), draw(SIZES)
    shape = draw(st.sampled_from(["plate", "triangle", "holed", "disc"]))
    if shape == "triangle":
        return Polygon([(0, 0), (w, 0), (w / 3, h)])
    if shape == "disc":
        return Point(0, 0).buffer(min(w, h) / 2)
    plate = box(0, 0, w, h)
    return plate.difference(box(w / 4, h / 4, w / 2, h / 2)) if shape == "holed" else plate


@st.composite
def jobs(draw) -> dict:
    """A whole job: parts, sheets, gap, edge, turns."""
    shapes = draw(st.lists(outlines(), min_size=1, max_size=9))
    parts = [
        Part(
            f"p{i}",
            shape,
            draw(st.integers(1, 2)),
            grain=draw(st.sampled_from([None, None, 0.0, 90.0, 30.0])),
            may_flip=draw(st.booleans()),
        )
        for i, shape in enumerate(shapes)
    ]
    sheets = [
        Sheet("large", 1000, 600, 10.0, grain=draw(st.sampled_from(["long", "y", None]))),
        Sheet(
            "offcut", 420, 500, 1.0, draw(st.integers(0, 2)), outline=Polygon([(0, 0), (420, 0), (420, 350), (0, 500)])
        ),
        Sheet("hurt", 500, 700, 6.0, draw(st.sampled_from([None, 1])), blocked=(box(200, 300, 220, 320),)),
    ]
    return {
        "parts": parts,
        "sheets": sheets,
        "gap_mm": draw(st.sampled_from([0.0, 3.0, 6.5])),
        "edge_mm": draw(st.sampled_from([0.0, 10.0])),
        "squaring_mm": draw(st.sampled_from([0.0, 4.0])),
        "rotations": draw(st.sampled_from([None, (0, 90), (0,)])),
        "seed": draw(st.integers(0, 3)),
    }


def run(job: dict) -> Layout:
    settings_only = {key: value for key, value in job.items() if key not in ("parts", "sheets")}
    return nest(job["parts"], job["sheets"], seconds=0.25, **settings_only)


def rectangle_gap(a: tuple, b: tuple) -> float:
    """How far apart two rectangles are along the axis that parts them; negative if they overlap."""
    return max(b[0] - a[2], a[0] - b[2], b[1] - a[3], a[1] - b[3])


def separable(rects: list[tuple], slack: float) -> bool:
    """Whether rows of edge-to-edge cuts set the rectangles apart: tried afresh, cut by cut."""
    if len(rects) < 2:
        return True
    for low, high in ((0, 2), (1, 3)):
        for cut in sorted(rect[high] for rect in rects)[:-1]:
            near = [rect for rect in rects if rect[high] <= cut + slack]
            far = [rect for rect in rects if rect[low] >= cut - slack]
            if near and far and len(near) + len(far) == len(rects):
                return separable(near, slack) and separable(far, slack)
    return False


@settings(max_examples=30, deadline=None, phases=PHASES)
@given(jobs())
def test_layouts_keep_every_rule(job):
    """Counts, sheet limits, gaps, edges, blocked places, grain, separability and areas, on whatever comes."""
    layout = run(job)

    for part in job["parts"]:
        lying = sum(item.part is part for item in layout.placed)
        assert lying + sum(one.count for one in layout.unplaced if one.part is part) == part.quantity
    for sheet in job["sheets"]:
        if sheet.quantity is not None:
            assert sum(used.sheet is sheet for used in layout.sheets) <= sheet.quantity
    for used in layout.sheets:
        sheet, items = used.sheet, layout.on_sheet(used.index)
        bounds = [item.outline.bounds for item in items]
        assert items
        assert separable(list(bounds), NEAR)
        for i, rect in enumerate(bounds):
            assert all(rectangle_gap(rect, other) >= job["gap_mm"] - NEAR for other in bounds[:i])
            assert sheet.metal.buffer(NEAR).covers(box(*rect))
            assert box(*rect).distance(sheet.metal.boundary) >= job["edge_mm"] - NEAR
            for hurt in sheet.blocked:
                assert box(*rect).distance(hurt) >= max(job["edge_mm"] - NEAR, 0)
        for item in items:
            assert item.outline.area == pytest.approx(item.part.outline.area, rel=1e-9)
            if item.part.grain is not None and sheet.grain_deg is not None:
                lean = math.radians(item.part.grain + item.turn_deg - sheet.grain_deg)
                assert abs(math.sin(lean)) < 1e-3
            elif job["rotations"] is not None:
                assert item.turn_deg in job["rotations"]
        assert used.parts_area + used.offcuts_area + used.skeleton_area == pytest.approx(sheet.area, rel=1e-3)
        assert used.skeleton_area >= -1e-6 * sheet.area
    assert layout.cost == pytest.approx(sum(used.sheet.price for used in layout.sheets))
    assert 0 <= layout.bound <= layout.cost + 1e-9 or layout.unplaced
    assert 0 <= layout.yield_whole <= layout.yield_with_offcuts <= 1


@settings(max_examples=6, deadline=None, phases=PHASES)
@given(jobs())
def test_same_input_and_seed_give_the_same_layout(job):
    """Run twice, compared part by part to the last digit."""
    first, second = run(job), run(job)

    assert [(p.part.name, p.sheet, p.turn_deg, p.outline.wkb) for p in first.placed] == [
        (p.part.name, p.sheet, p.turn_deg, p.outline.wkb) for p in second.placed
    ]
    assert first.cuts == second.cuts


@settings(max_examples=20, deadline=None, phases=PHASES)
@given(jobs(), st.sampled_from([450.0, 650.0]))
def test_no_cut_is_longer_than_the_blade(job, longest):
    """With a longest cut given, every cut keeps to it and every offcut frame is cut all the same."""
    job = {**job, "sheets": [sheet for sheet in job["sheets"] if sheet.outline is None and not sheet.blocked]}
    options = {key: value for key, value in job.items() if key not in ("parts", "sheets")}

    layout = nest(job["parts"], job["sheets"], seconds=0.3, longest_cut_mm=longest, **options)

    assert all(cut.length <= longest + NEAR for cut in layout.cuts)


@settings(max_examples=15, deadline=None, phases=PHASES)
@given(st.integers(2, 9), st.integers(0, 10_000))
def test_a_sheet_twice_as_large_in_everything_gives_the_same_cost(count, seed):
    """Scale does not matter: parts, sheet and gap doubled cost the same."""
    import random

    draw = random.Random(seed)
    sizes = [(draw.randint(50, 500), draw.randint(50, 500)) for _ in range(count)]

    def cost(scale: int) -> tuple[float, bool]:
        parts = [Part(f"p{i}", box(0, 0, w * scale, h * scale)) for i, (w, h) in enumerate(sizes)]
        layout = nest(parts, [Sheet("s", 800 * scale, 900 * scale, 3.0)], gap_mm=5.0 * scale, seconds=10)
        return layout.cost, layout.proven

    (one, proven_one), (two, proven_two) = cost(1), cost(2)
    if proven_one and proven_two:
        assert one == two
