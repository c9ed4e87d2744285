"""Kerf and lead-ins: left out unless asked for, then on the right side, in the scrap and in the words."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from shapely.geometry import LineString, Point, Polygon

from tankwright.errors import JobError
from tankwright.merge import merge_faults
from tankwright.papers.cutting import blank_drawing, sheet_drawing
from tankwright.papers.cutting_kerf import Asked, kerfed
from tankwright.papers.cutting_words import for_the_cutter
from tankwright.papers.dxf import dxf_files
from tankwright.shop import CuttingRules
from tankwright.shopfile import ShopFile

from .fixture import FILLER_MM, job_changed, small_work
from .reading_dxf import read_dxf

WORK = small_work()


def test_kerf_is_left_out_unless_asked_and_then_taken_on_the_right_side():
    """Asked for, outlines grow and holes shrink by half the kerf, and file names and words say so."""
    blank = WORK.blanks[0]
    drawing = blank_drawing(WORK, blank, Asked(kerf=1.2))
    hole, outline = (line.path for line in drawing.on("cut"))
    assert hole.length == pytest.approx(math.pi * (FILLER_MM - 1.2), abs=0.1)
    assert hole.area > 0 > outline.area
    grown = Polygon(blank.outline.exterior).buffer(0.6).bounds
    dense = outline.dense(0.01)
    assert np.ptp(dense, axis=0) == pytest.approx([grown[2] - grown[0], grown[3] - grown[1]], abs=0.02)
    assert any("KERF IS IN THIS FILE: 1.20 mm" in getattr(i, "text", "") for i in drawing.items)
    with pytest.raises(JobError, match="top skin") as refused:
        blank_drawing(WORK, blank, Asked(kerf=60.0))
    assert refused.value.findings[0].found == "60.00 mm"
    assert isinstance(refused.value, ValueError)


def test_a_kerf_that_fills_a_slot_is_refused():
    """A slot of 1 mm from the edge is lost to a kerf of 1.2 mm, not to one of 0.8; a sharp inner corner is kept."""
    slotted = Polygon([(0, 0), (100, 0), (100, 60), (50.5, 60), (50.5, 20), (49.5, 20), (49.5, 60), (0, 60)])
    with pytest.raises(JobError, match="closes a hole or a slot"):
        kerfed(slotted, 1.2)
    assert kerfed(slotted, 0.8).area > slotted.area
    corner = Polygon([(0, 0), (100, 0), (100, 30), (40, 30), (40, 60), (0, 60)])
    assert kerfed(corner, 1.2).area > corner.area


def test_lead_ins_start_in_the_scrap():
    """Asked for, each path starts its length off in the scrap, comes in square, and ends where it came in."""
    for index in range(len(WORK.layout.sheets)):
        plain = sheet_drawing(WORK, index).on("cut")
        parts = WORK.layout.on_sheet(index)
        lines = sheet_drawing(WORK, index, Asked(lead_in=4.0)).on("cut")
        for before, line in zip(plain, lines, strict=True):
            path = line.path
            assert not path.closed
            assert np.hypot(*(path.points[1] - path.points[0])) == pytest.approx(4.0)
            assert path.points[-1] == pytest.approx(path.points[1])
            assert not any(p.outline.contains(Point(path.points[0])) for p in parts)
            assert path.length == pytest.approx(before.path.length + 4.0, abs=1e-6)


def test_leads_stay_on_the_sheet_and_off_what_is_kept():
    """With leads longer than the edge margin none begins beside the sheet or in an offcut for the rack."""
    found = 0
    for index, used in enumerate(WORK.layout.sheets):
        metal = used.sheet.metal
        kept = [o.outline for o in WORK.layout.offcuts if o.sheet == index]
        for line in sheet_drawing(WORK, index, Asked(lead_in=20.0)).on("cut"):
            if not line.path.closed:
                lead = LineString(line.path.points[:2])
                assert metal.covers(lead)
                assert not any(lead.crosses(k) or k.contains(lead) for k in kept)
                found += 1
    assert found


def test_a_lead_in_without_room_is_left_away_and_counted():
    """60 mm find no room in a hole of 57 mm: it stays closed, and the words say how many are."""
    drawing = blank_drawing(WORK, WORK.blanks[0], Asked(lead_in=60.0))
    assert [line.path.closed for line in drawing.on("cut")] == [True, False]
    assert any("1 had no room for one" in getattr(i, "text", "") for i in drawing.items)


def test_what_the_job_asks_for_is_in_the_names_and_on_the_page():
    """[cutting] of the shop or the job: every file is made so, its name says so, the cutter's page too."""
    work = job_changed(WORK, shop=replace(WORK.job.shop, cutting=CuttingRules(kerf=1.2, lead_in=4.0)))
    files = dxf_files(work)
    assert len(files) == 2 * (len(work.layout.sheets) + len(work.blanks) + 1)
    assert all("-kerf-1.20-lead-4.0-mm" in name for name in files)
    page = for_the_cutter(work)["cutting/for-the-cutter.txt"].decode("ascii")
    assert "KERF IS IN THIS FILE: 1.20 mm" in page
    assert "blank-tunnel-kerf-1.20-lead-4.0-mm.dxf" in page
    assert "Net geometry" not in page
    for content in files.values():
        assert not read_dxf(content)[1].errors
    assert all("kerf" not in name and "lead" not in name for name in dxf_files(WORK))


def test_a_kerf_as_wide_as_the_gap_is_refused():
    """Between two blanks cut by a torch something of the gap must be left; a shear has no kerf."""
    for kerf, cutting, faults in ((8.0, "profile", 0), (6.0, "profile", 1), (6.0, "shear", 0), (0.0, "profile", 0)):
        given = {"cutting": {"kerf": min(kerf, 6.0)}, "nesting": {"gap": 6.0 if kerf < 8 else 9.0, "cutting": cutting}}
        found = [fault for fault in merge_faults(ShopFile.model_validate(given), ShopFile()) if "kerf" in fault.says]
        assert len(found) == faults
