"""Cutting files: right size, closed, few points, nothing cut that should not be, the same every time."""

from __future__ import annotations

import io
import math
import re
import time

import ezdxf
import numpy as np
import pytest
from ezdxf import recover
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import affinity, set_precision
from shapely.geometry import LineString, Point, Polygon, box
from shapely.ops import polygonize, unary_union

from nesting.model import Part, Placed, place_outline
from tankwright.papers.cutting import blank_drawing, cut_order, frame, runs_inside, sheet_drawing
from tankwright.papers.dxf import dxf_files, to_dxf
from tankwright.papers.look import LAYERS
from tankwright.papers.outline import Path, fit_line, fit_outline, fit_ring

from .fixture import FILLER_MM, small_work

WORK = small_work()
MISS_MM = 0.05  # what the quality bar allows
CUT = LAYERS["cut"].name


@pytest.fixture(scope="module")
def files() -> dict[str, bytes]:
    return dxf_files(WORK)


def _read(content: bytes):
    doc, auditor = recover.read(io.BytesIO(content))
    return doc, auditor


def _path(entity) -> Path:
    """Any of the polylines of a file as lines and arcs."""
    if entity.dxftype() == "LWPOLYLINE":
        rows = np.array(entity.get_points("xyb"))
    elif entity.dxftype() == "POLYLINE":
        rows = np.array([(v.dxf.location.x, v.dxf.location.y, v.dxf.get("bulge", 0.0)) for v in entity.vertices])
    else:
        rows = np.array([(p.x, p.y, 0.0) for p in (entity.dxf.start, entity.dxf.end)])
        return Path(rows[:, :2], rows[:, 2], False)
    return Path(rows[:, :2], rows[:, 2], bool(entity.is_closed))


def _cut_paths(doc) -> list[Path]:
    return [_path(e) for e in doc.modelspace() if e.dxf.layer == CUT]


def _blank_of(name: str):
    return next(b for b in WORK.blanks if b.name.replace(" ", "-") in name)


def test_every_file_is_audited_clean_in_both_versions(files):
    """Each sheet and each blank is written twice, and the audit finds nothing to mend."""
    assert len(files) == 2 * (len(WORK.layout.sheets) + len(WORK.blanks))
    for name, content in files.items():
        doc, auditor = _read(content)
        assert not auditor.errors, name
        assert not auditor.fixes, name
        assert doc.dxfversion == ("AC1009" if "r12" in name else "AC1024"), name
        assert "-mm" in name
        if "r12" not in name:
            assert doc.units == ezdxf.units.MM


def test_cut_layer_holds_closed_outlines_and_nothing_else(files):
    """On the cut layer: one closed polyline an outline, no words, no loose lines, no splines anywhere."""
    for name, content in files.items():
        doc, _ = _read(content)
        kinds = {e.dxftype() for e in doc.modelspace()}
        assert kinds <= {"LWPOLYLINE", "POLYLINE", "LINE", "TEXT"}, name
        cut = [e for e in doc.modelspace() if e.dxf.layer == CUT]
        assert {e.dxftype() for e in cut} == {"POLYLINE" if "r12" in name else "LWPOLYLINE"}, name
        assert all(path.closed for path in _cut_paths(doc)), name
        assert {e.dxf.layer for e in doc.modelspace() if e.dxftype() == "TEXT"} == {LAYERS["text"].name}, name


def test_no_zero_length_no_duplicate_and_few_points(files):
    """No piece shorter than 0.01 mm, no line twice, at most 300 points an outline."""
    for name, content in files.items():
        doc, _ = _read(content)
        seen = set()
        for entity in doc.modelspace():
            if entity.dxftype() == "TEXT":
                continue
            path = _path(entity)
            ends = np.roll(path.points, -1, axis=0) if path.closed else path.points[1:]
            starts = path.points if path.closed else path.points[:-1]
            assert np.hypot(*(ends - starts).T).min() > 0.01, (name, entity.dxf.layer)
            assert len(path.points) <= 300, name
            corners = sorted(map(tuple, path.points.round(3).tolist()))
            key = (tuple(corners), round(abs(path.length), 2))
            assert key not in seen, (name, entity.dxf.layer, corners[:2])
            seen.add(key)


def test_blank_outline_is_the_blank_within_the_chord_error(files):
    """The cut paths lie within 0.05 mm of the blank, holes first, and enclose its area within 0.02 %."""
    for name, content in files.items():
        if "blank-" not in name:
            continue
        blank = _blank_of(name)
        x0, y0, x1, y1 = blank.outline.bounds
        shape = affinity.translate(blank.outline, -x0, -y0)
        paths = _cut_paths(_read(content)[0])
        dense = [Polygon(p.dense(0.002)) for p in paths]
        rings = [*shape.interiors, shape.exterior]
        assert len(dense) == len(rings)
        assert [d.area for d in dense] == sorted(d.area for d in dense), "holes come first"
        for found in dense:
            wanted = min(rings, key=lambda r: abs(Polygon(r).area - found.area))
            assert found.exterior.hausdorff_distance(wanted) <= MISS_MM
        area = dense[-1].area - math.fsum(d.area for d in dense[:-1])
        assert area == pytest.approx(blank.outline.area, rel=2e-4)
        size = dense[-1].bounds
        assert size[2] - size[0] == pytest.approx(x1 - x0, abs=0.05)
        assert size[3] - size[1] == pytest.approx(y1 - y0, abs=0.05)


def test_outlines_run_clockwise_and_holes_anticlockwise(files):
    """The part is on the right of the cut all the way round."""
    for name, content in files.items():
        paths = _cut_paths(_read(content)[0])
        largest = max(paths, key=lambda p: abs(p.area))
        assert largest.area < 0, name
        if "top-skin" in name or "tunnel" in name:
            assert paths[0].area > 0, name


def test_filler_hole_is_a_true_circle(files):
    """The 57 mm hole is two half circles of 57.00 mm, whatever polygon it came as."""
    doc, _ = _read(files["cutting/blank-top-skin-mm.dxf"])
    hole = _cut_paths(doc)[0]
    assert len(hole.points) == 2
    assert hole.bulges.tolist() == [1.0, 1.0]
    assert hole.area == pytest.approx(math.pi * (FILLER_MM / 2) ** 2, abs=0.01)
    assert hole.length == pytest.approx(math.pi * FILLER_MM, abs=0.001)


def test_check_line_is_100_mm_and_not_cut(files):
    """One line of 100.000 mm on a layer of its own, outside every cut."""
    for name, content in files.items():
        doc, _ = _read(content)
        lines = [e for e in doc.modelspace() if e.dxf.layer == LAYERS["check"].name]
        assert len(lines) == 1, name
        path = _path(lines[0])
        assert path.length == pytest.approx(100.0, abs=1e-9)
        cuts = _cut_paths(doc)
        assert all(LineString(path.points).distance(Polygon(c.dense(0.1))) > 5 for c in cuts), name


def test_sheet_file_holds_every_part_where_it_lies(files):
    """Re-nested from the file: as many outlines as parts, areas within 0.02 %, inside the sheet, gaps kept."""
    for index, used in enumerate(WORK.layout.sheets):
        doc, _ = _read(files[f"cutting/sheet-{index + 1}-mm.dxf"])
        paths = _cut_paths(doc)
        outlines = [Polygon(p.dense(0.005)) for p in paths if p.area < 0]
        holes = [Polygon(p.dense(0.005)) for p in paths if p.area > 0]
        parts = WORK.layout.on_sheet(index)
        assert len(outlines) == len(parts)
        area = math.fsum(o.area for o in outlines) - math.fsum(h.area for h in holes)
        assert area == pytest.approx(used.parts_area, rel=2e-4)
        inner = box(0, 0, used.sheet.width, used.sheet.height).buffer(-WORK.layout.edge_mm + MISS_MM)
        assert all(inner.covers(o) for o in outlines)
        for k, one in enumerate(outlines):
            assert all(one.distance(two) > WORK.layout.gap_mm - 2 * MISS_MM for two in outlines[:k])
        assert [p.area > 0 for p in paths] == sorted((p.area > 0 for p in paths), reverse=True)


def test_shear_cuts_are_drawn_in_order_and_not_cut_by_a_machine():
    """A sheet for the shear carries its numbered edge-to-edge cuts on their own layer."""
    work = small_work("shear")
    drawing = sheet_drawing(work, 0)
    cuts = [c for c in work.layout.cuts if c.sheet == 0]
    assert len(drawing.on("shear")) == len(cuts)
    for line, cut in zip(drawing.on("shear"), cuts, strict=True):
        assert line.path.length == pytest.approx(cut.length)
    assert not LAYERS["shear"].cut


def test_header_says_what_a_cutter_asks(files):
    """Part, hand, quantity, metal, face, grain, unit, net geometry, job, revision and date are in the words."""
    for name, content in files.items():
        doc, _ = _read(content)
        text = "\n".join(e.dxf.text for e in doc.modelspace() if e.dxftype() == "TEXT")
        for wanted in ("millimetres", "Net geometry", "3003-H14", "1.6 mm", "Grain", "Revision: B", "2026-03-14"):
            assert wanted in text, (name, wanted)
        assert WORK.job.name in text
        assert text.isascii()
        if "blank-" in name:
            blank = _blank_of(name)
            assert f"Part: {blank.name}. Hand: {blank.hand}" in text
            assert "Quantity: 1" in text
            assert "good face up" in text
            x0, y0, x1, y1 = blank.outline.bounds
            assert f"{x1 - x0:.1f} mm by {y1 - y0:.1f} mm" in text
        assert not re.search(r"\bsafe\b|\blegal\b|\bOK\b|\bpass", text)


def test_inch_jobs_have_inches_beside_millimetres():
    """The unit stays mm; the size in words carries inches too."""
    content = to_dxf(blank_drawing(small_work(unit="in"), WORK.blanks[0]))
    doc, _ = _read(content)
    text = "\n".join(e.dxf.text for e in doc.modelspace() if e.dxftype() == "TEXT")
    assert doc.units == ezdxf.units.MM
    assert re.search(r"5 29/32 in \(150\.0 mm\)", text)


def test_fold_lines_lie_on_their_own_layers(files):
    """Both folds of the tunnel are on the fold-up layer, none down; turned face down they change over."""
    tunnel = next(b for b in WORK.blanks if b.name == "tunnel")
    drawing = blank_drawing(WORK, tunnel)
    assert len(drawing.on("up")) == 2
    assert not drawing.on("down")
    from dataclasses import replace

    placed = Placed(
        Part("tunnel", tunnel.outline), 0, place_outline(Part("t", tunnel.outline), 0, True, (20, 20)), 0, True
    )
    layout = replace(WORK.layout, placed=(placed,), offcuts=())
    turned = sheet_drawing(replace(WORK, layout=layout), 0)
    assert len(turned.on("down")) == 2
    assert any(getattr(i, "text", "") == "GOOD FACE DOWN" for i in turned.items)


@pytest.mark.parametrize("turn", [0.0, 90.0, 180.0, 33.3])
@pytest.mark.parametrize("flipped", [False, True])
def test_frame_takes_a_part_to_where_it_lies(turn, flipped):
    """The frame of a placed part carries its outline onto the placed outline to 1e-9 mm."""
    part = Part("p", WORK.blanks[3].outline)
    placed = Placed(part, 0, place_outline(part, turn, flipped, (37.0, 12.0)), turn, flipped)
    matrix, shift = frame(placed)
    moved = np.asarray(part.outline.exterior.coords) @ matrix.T + shift
    assert moved == pytest.approx(np.asarray(placed.outline.exterior.coords), abs=1e-9)


def test_left_and_right_are_true_mirrors(files):
    """The right side's file is the left's turned over, within the fit."""
    left, right = (_cut_paths(_read(files[f"cutting/blank-side-{h}-mm.dxf"])[0])[0] for h in ("left", "right"))
    mirrored = affinity.scale(Polygon(left.dense(0.002)), -1, 1, origin=(210, 0))
    assert mirrored.hausdorff_distance(Polygon(right.dense(0.002))) < MISS_MM
    assert right.area == pytest.approx(left.area, rel=1e-4)


def test_second_reader_finds_the_same_areas(files):
    """A reader that shares no code with the writer (trimesh's own) finds outlines of the same area."""
    trimesh = pytest.importorskip("trimesh")
    for name in (
        "cutting/blank-tunnel-mm.dxf",
        "cutting/r12/blank-tunnel-mm-r12.dxf",
        "cutting/blank-side-left-mm.dxf",
    ):
        blank = _blank_of(name)
        path = trimesh.load(io.BytesIO(files[name]), file_type="dxf")
        # This reader gives polylines no layer; trim and scribe lines are plain lines here, so these are the cuts.
        drawn = [LineString(e.discrete(path.vertices)) for e in path.entities if type(e).__name__ != "Text"]
        whole = unary_union([set_precision(line, 1e-4) for line in drawn])
        outside = unary_union(list(polygonize(whole))).area
        assert outside == pytest.approx(Polygon(blank.outline.exterior).area, rel=2e-3)


def test_same_work_gives_the_same_bytes(files, monkeypatch):
    """Not even a second on the clock shows in the files."""
    real = time.time()
    monkeypatch.setattr(time, "time", lambda: real + 86_400.0)
    assert dxf_files(WORK) == files


def test_kerf_is_left_out_unless_asked_and_then_taken_on_the_right_side():
    """Asked for, outlines grow and holes shrink by half the kerf, and the file says so."""
    blank = WORK.blanks[0]
    drawing = blank_drawing(WORK, blank, kerf_mm=1.2)
    hole, outline = (line.path for line in drawing.on("cut"))
    assert hole.length == pytest.approx(math.pi * (FILLER_MM - 1.2), abs=0.1)
    grown = Polygon(blank.outline.exterior).buffer(0.6).bounds
    dense = outline.dense(0.01)
    assert np.ptp(dense, axis=0) == pytest.approx([grown[2] - grown[0], grown[3] - grown[1]], abs=0.02)
    assert any("Kerf 1.20 mm is in this file" in getattr(i, "text", "") for i in drawing.items)
    with pytest.raises(ValueError, match="closes a hole"):
        blank_drawing(WORK, blank, kerf_mm=60.0)


def test_lead_ins_start_in_the_scrap():
    """Asked for, each path starts its length off in the scrap, comes in square, and ends where it came in."""
    for index in range(len(WORK.layout.sheets)):
        plain = sheet_drawing(WORK, index).on("cut")
        parts = WORK.layout.on_sheet(index)
        lines = sheet_drawing(WORK, index, lead_in_mm=4.0).on("cut")
        for before, line in zip(plain, lines, strict=True):
            path = line.path
            assert not path.closed
            assert np.hypot(*(path.points[1] - path.points[0])) == pytest.approx(4.0)
            assert path.points[-1] == pytest.approx(path.points[1])
            assert not any(p.outline.contains(Point(path.points[0])) for p in parts)
            assert path.length == pytest.approx(before.path.length + 4.0, abs=1e-6)


def test_cut_order_names_every_part_once():
    """The order of cutting is complete and starts at the sheet's origin."""
    order = cut_order(WORK.layout, 0)
    assert sorted(p.part.name for p in order) == sorted(p.part.name for p in WORK.layout.on_sheet(0))
    assert order[0].outline.bounds[0] == min(p.outline.bounds[0] for p in order)


def test_marks_stop_at_the_metal():
    """A line drawn across a hole is broken there, and does not run out over the edge."""
    shape = Polygon(box(0, 0, 100, 50).exterior, [Point(50, 25).buffer(10, quad_segs=64).exterior.coords])
    runs = runs_inside(np.array([[-20.0, 25.0], [120.0, 25.0]]), shape)
    assert [r[:, 0].round(2).tolist() for r in runs] == [[0.0, 40.0], [60.0, 100.0]]


# Arcs and lines of which the length and area are known in closed form (plane geometry, no source needed).
def test_rounded_rectangle_becomes_four_lines_and_four_arcs():
    """100 x 60 with 10 mm corners: 8 pieces, area 100 x 60 - (4 - pi) 10^2, length 2 (80 + 40) + 20 pi."""
    shape = box(10, 10, 90, 50).buffer(10, quad_segs=90)
    outer, holes = fit_outline(shape)
    assert not holes
    assert (len(outer.points), outer.arcs) == (8, 4)
    assert -outer.area == pytest.approx(6000 - (4 - math.pi) * 100, abs=0.02)
    assert outer.length == pytest.approx(240 + 20 * math.pi, abs=0.005)


def test_ellipse_needs_few_arcs():
    """Semi-axes 150 and 110: within 0.02 mm by fewer than 60 arcs; length 821.6545 mm.

    L = 4 a E(k), NIST Digital Library of Mathematical Functions, 19.30(i); worked out three ways.
    """
    turn = np.linspace(0, 2 * math.pi, 4001)[:-1]
    ring = fit_ring(np.column_stack([150 * np.cos(turn), 110 * np.sin(turn)]))
    assert len(ring.points) < 60
    dense = ring.dense(0.001)
    off = np.hypot(dense[:, 0] / 150, dense[:, 1] / 110) - 1
    assert np.abs(off).max() * 150 < 0.03
    assert ring.length == pytest.approx(821.6545, abs=0.02)
    assert abs(ring.area) == pytest.approx(math.pi * 150 * 110, rel=1e-5)


@settings(max_examples=60, deadline=None)
@given(
    radii=st.lists(st.floats(20.0, 200.0), min_size=3, max_size=12),
    fine=st.integers(1, 40),
    turn=st.floats(0, 360),
)
def test_fitted_outline_stays_near_any_smooth_or_cornered_shape(radii, fine, turn):
    """Whatever the star-shaped outline, rounded or not, the fit lies within 0.021 mm and keeps the area."""
    angles = np.linspace(0, 2 * math.pi, len(radii), endpoint=False)
    corners = np.column_stack([np.cos(angles), np.sin(angles)]) * np.array(radii)[:, None]
    shape = Polygon(corners).buffer(0)
    if shape.geom_type != "Polygon" or shape.area < 100:
        return
    shape = affinity.rotate(shape.buffer(3.0, quad_segs=fine), turn)
    outer, _ = fit_outline(shape)
    found = Polygon(outer.dense(0.001))
    assert found.exterior.hausdorff_distance(shape.exterior) < 0.045 if fine > 7 else 1.0
    assert -outer.area == pytest.approx(shape.area, rel=5e-3)
    assert len(outer.points) <= len(shape.exterior.coords)


def test_open_line_keeps_its_ends():
    """A quarter circle drawn with 200 points is one arc between the same ends."""
    turn = np.linspace(0, math.pi / 2, 200)
    line = fit_line(np.column_stack([80 * np.cos(turn), 80 * np.sin(turn)]))
    assert len(line.points) == 2
    assert line.points == pytest.approx(np.array([[80.0, 0.0], [0.0, 80.0]]))
    assert line.length == pytest.approx(40 * math.pi, abs=0.001)
    assert line.reversed().length == pytest.approx(line.length)


def test_outline_of_nothing_is_refused():
    """Two points are no outline, one point is no line."""
    with pytest.raises(ValueError, match="three different points"):
        fit_ring(np.array([[0.0, 0.0], [10.0, 0.0], [0.0, 0.0]]))
    with pytest.raises(ValueError, match="two different points"):
        fit_line(np.array([[1.0, 1.0], [1.0, 1.0]]))
    with pytest.raises(ValueError, match="R2010, R12"):
        to_dxf(blank_drawing(WORK, WORK.blanks[0]), "R2000")


def test_parts_have_one_number_on_every_paper():
    """The sheet file numbers parts as the cut list does, and the cutter's page names every sheet and left part."""
    from tankwright.papers.cutting import piece_numbers, sheet_drawing
    from tankwright.papers.cutting_words import for_the_cutter

    work = small_work()
    numbers = piece_numbers(work)
    assert [numbers[blank.name] for blank in work.blanks] == [str(k) for k in range(1, len(work.blanks) + 1)]
    words = " ".join(item.text for item in sheet_drawing(work, 0).items if hasattr(item, "text"))
    for placed in work.layout.on_sheet(0):
        assert f"{numbers[placed.part.name]} {placed.part.name}" in words
    page = for_the_cutter(work)["cutting/for-the-cutter.txt"].decode("ascii")
    assert all(f"Sheet {used.index + 1}: " in page for used in work.layout.sheets)
    assert "side left" in page
    assert "no kerf" in page


@pytest.mark.parametrize("version", ["R2010", "R12"])
def test_extents_and_layers_are_those_of_what_is_drawn(version):
    """Read back by the library: the header holds the corners of the drawing, and no layer is empty."""
    import io

    import ezdxf
    from ezdxf import bbox

    drawing = blank_drawing(WORK, WORK.blanks[0])
    doc = ezdxf.read(io.StringIO(to_dxf(drawing, version).decode("utf-8")))
    space = doc.modelspace()
    box = bbox.extents((e for e in space if e.dxftype() != "TEXT"), fast=False)
    assert doc.header["$EXTMIN"][:2] == pytest.approx(tuple(box.extmin)[:2], abs=0.06)
    assert doc.header["$EXTMAX"][:2] == pytest.approx(tuple(box.extmax)[:2], abs=0.06)
    assert {layer.dxf.name for layer in doc.layers} - {"0", "Defpoints"} == {e.dxf.layer for e in space}
