"""Shear nesting against published and proven values; sources in tests/published/nesting/rectangles.source.md.

The proven values are exact: more pieces in a sheet, or fewer sheets, would be a fault of ours as well.
"""

from __future__ import annotations

import json
import math

import pytest
from shapely.geometry import Polygon, box

from nesting import Part, Sheet, nest, shortest_length

from .rectangles import PUBLISHED, instance, one_sheet, parts_of, rectangles, zero_waste


@pytest.mark.parametrize(
    "name, sheets",
    [
        ("gz1_08", 1),
        ("gz1_12", 1),
        ("gz1_16", 1),
        ("gz2_10", 2),
        ("bp_c01_20_04", 5),
        ("bp_c03_20_03", 5),
        ("bp_c05_20_09", 6),
        ("bp_c07_20_06", 5),
        ("bp_c09_20_07", 9),
    ],
)
def test_fewest_sheets_are_found_and_proven(name, sheets):
    """Published and constructed minima of sheets are reached, with 90 degree turns."""
    data = instance(name)

    layout = nest(parts_of(data), [one_sheet(data)], gap_mm=data.get("gap", 0), seconds=8)

    assert len(layout.sheets) == sheets
    assert layout.bound == sheets
    assert layout.proven
    assert not layout.unplaced


@pytest.mark.parametrize(
    "name, turns, value",
    [
        ("cgcut1", (0,), 244),
        ("cgcut1", (0, 90), 260),
        ("cgcut3", (0,), 1860),
        ("of1", (0,), 2737),
        ("gcut01", (0,), 56460),
        ("gcut01", (0, 90), 58136),
        ("gcut05", (0, 90), 246000),
    ],
)
def test_most_value_from_one_sheet_is_found_and_proven(name, turns, value):
    """Christofides and Whitlock 1977, Oliveira and Ferreira 1990, Beasley 1985: priorities as values, one sheet."""
    data = instance(name)
    sheet = one_sheet(data, quantity=1)
    fitting = sheet.width * sheet.height // min(item["w"] * item["h"] for item in data["items"])

    layout = nest(parts_of(data, copies=int(fitting)), [sheet], rotations=turns, seconds=8)

    assert sum(item.part.priority for item in layout.placed) == value
    assert layout.proven


@pytest.mark.parametrize("name, width, height", [("ht_c1_p1", 20, 20), ("ht_c1_p3", 20, 20), ("ht_c2_p2", 40, 15)])
def test_strips_without_waste_are_found(name, width, height):
    """Hopper and Turton 2001: the item area fills width x height, and an edge-to-edge layout does too."""
    found = shortest_length(parts_of(instance(name)), width, seconds=8)

    assert found.length_mm == pytest.approx(height, abs=1e-6)
    assert found.proven


@pytest.mark.parametrize("name, length", [("tank08", 1046), ("tank12", 1175)])
def test_bounding_rectangles_of_blanks_need_their_proven_length(name, length):
    """Blanks as bounding rectangles rounded up to 1 mm, 6 mm apart, on a 1220 mm sheet: proven by exhaustion."""
    data = json.loads((PUBLISHED.parent / "tank" / f"{name}.json").read_text())
    whole, real = [], []
    for item in data["items"]:
        outline = Polygon(item["polygon"])
        x0, y0, x1, y1 = outline.bounds
        size = (math.ceil(x1 - x0 - 1e-6), math.ceil(y1 - y0 - 1e-6))
        whole.append(Part(item["id"], box(0, 0, *size), item["demand"]))
        real.append(Part(item["id"], outline, item["demand"]))

    found = shortest_length(whole, 1220, gap_mm=data["gap"], seconds=8)
    layout = nest(real, [Sheet("short", 1220, length, grain=None)], gap_mm=data["gap"], rotations=(0, 90), seconds=10)

    assert found.proven
    assert found.length_mm == pytest.approx(length, abs=1e-6)
    assert len(layout.sheets) == 1


def test_mixed_sheets_cost_no_more_than_found_before():
    """A multi-size file after Pisinger and Sigurd 2005, fixed orientation: 451 was found and checked cell by cell."""
    data = instance("vs_mb_c1_4")
    sheets = [Sheet(str(s["id"]), s["w"], s["h"], s["cost"]) for s in data["sheets"]]

    layout = nest(parts_of(data), sheets, rotations=(0,), seconds=2)

    assert layout.bound <= layout.cost <= 470
    assert not layout.unplaced


@pytest.mark.parametrize("pieces, gap, seed", [(6, 0, 1), (9, 4, 2), (13, 6, 3), (18, 3, 4), (24, 6, 5)])
def test_sheets_without_waste_come_out_whole(pieces, gap, seed):
    """A sheet cut up edge to edge into random rectangles goes back into one sheet of the same size."""
    sizes = zero_waste(1220, 2440, pieces, gap, seed)

    layout = nest(rectangles(sizes), [Sheet("4x8", 1220, 2440, 60.0)], gap_mm=gap, seconds=8)

    assert len(layout.sheets) == 1
    assert layout.proven
    assert layout.cost == 60.0


def test_two_sheets_without_waste_come_out_as_two():
    """Two sheets' worth of such rectangles, mixed, need two sheets again."""
    sizes = zero_waste(610, 1220, 5, 6, 7) + zero_waste(610, 1220, 5, 6, 8)

    layout = nest(rectangles(sizes), [Sheet("2x4", 610, 1220, 20.0)], gap_mm=6, seconds=8)

    assert layout.cost == 40.0
    assert layout.proven
