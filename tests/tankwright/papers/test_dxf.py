"""Cutting files: right size, closed, few points, nothing cut that should not be, the same every time."""

from __future__ import annotations

import csv
import io
import math
import os
import re
import subprocess
import sys
import time
from dataclasses import replace

import ezdxf
import numpy as np
import pytest
from ezdxf import bbox
from ezdxf.colors import DXF_DEFAULT_COLORS, int2rgb
from shapely import affinity, set_precision
from shapely.geometry import LineString, Point, Polygon, box
from shapely.ops import polygonize, unary_union

from nesting.model import Part, Placed, Sheet, place_outline
from panels.blank import Mark
from panels.metal import lookup_metal
from tankwright.papers.cutlist import cut_lists
from tankwright.papers.cutting import blank_drawing, frame, piece_numbers, runs_inside, sheet_drawing
from tankwright.papers.cutting_items import Words
from tankwright.papers.cutting_kerf import Asked
from tankwright.papers.cutting_order import cut_order
from tankwright.papers.cutting_words import for_the_cutter
from tankwright.papers.dxf import dxf_files, to_dxf
from tankwright.papers.look import LAYERS

from .fixture import FILLER_MM, job_changed, small_work
from .reading_dxf import CUT, LATER, cut_paths, path_of, read_dxf

WORK = small_work()
MISS_MM = 0.05  # what the quality bar allows


@pytest.fixture(scope="module")
def files() -> dict[str, bytes]:
    return dxf_files(WORK)


def _blank_of(name: str):
    return next(b for b in WORK.blanks if b.name.replace(" ", "-") in name)


def test_every_file_is_audited_clean_in_both_versions(files):
    """Each sheet, each blank and the test strip are written twice, and the audit finds nothing to mend."""
    assert len(files) == 2 * (len(WORK.layout.sheets) + len(WORK.blanks) + 1)
    for name, content in files.items():
        doc, auditor = read_dxf(content)
        assert not auditor.errors, name
        assert not auditor.fixes, name
        assert doc.dxfversion == ("AC1009" if "r12" in name else "AC1024"), name
        assert "-mm" in name
        if "r12" not in name:
            assert doc.units == ezdxf.units.MM


def test_cut_layer_holds_closed_outlines_and_nothing_else(files):
    """On the cut layer: one closed polyline an outline, no words, no loose lines, no splines anywhere."""
    for name, content in files.items():
        doc, _ = read_dxf(content)
        kinds = {e.dxftype() for e in doc.modelspace()}
        assert kinds <= {"LWPOLYLINE", "POLYLINE", "LINE", "TEXT"}, name
        cut = [e for e in doc.modelspace() if e.dxf.layer == CUT]
        assert {e.dxftype() for e in cut} == {"POLYLINE" if "r12" in name else "LWPOLYLINE"}, name
        assert all(path.closed for path in cut_paths(doc)), name
        assert {e.dxf.layer for e in doc.modelspace() if e.dxftype() == "TEXT"} == {LAYERS["text"].name}, name
        with_words = {LAYERS[key].name for key in ("text", "mark")}
        assert with_words <= {e.dxf.layer for e in doc.modelspace()}, name


def test_no_zero_length_no_duplicate_and_few_points(files):
    """No piece shorter than 0.01 mm, no line twice, at most 300 points an outline."""
    for name, content in files.items():
        doc, _ = read_dxf(content)
        seen = set()
        for entity in doc.modelspace():
            if entity.dxftype() == "TEXT":
                continue
            path = path_of(entity)
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
        paths = cut_paths(read_dxf(content)[0])
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


def test_size_in_the_file_is_the_size_on_the_cut_list(files):
    """The span of the cut paths is the cut list's width and height to 0.1 mm, in both versions."""
    rows = list(csv.DictReader(io.StringIO(cut_lists(WORK)["cut-list.csv"].decode("utf-8-sig"))))
    for name, content in files.items():
        if "blank-" not in name:
            continue
        row = next(r for r in rows if r["Name"] == _blank_of(name).name)
        span = np.ptp(np.vstack([p.dense(0.001) for p in cut_paths(read_dxf(content)[0])]), axis=0)
        assert span == pytest.approx([float(row["Width, mm"]), float(row["Height, mm"])], abs=0.1), name


def test_outlines_run_clockwise_and_holes_anticlockwise(files):
    """The part is on the right of the cut all the way round."""
    for name, content in files.items():
        paths = cut_paths(read_dxf(content)[0])
        largest = max(paths, key=lambda p: abs(p.area))
        assert largest.area < 0, name
        if "top-skin" in name or "tunnel" in name:
            assert paths[0].area > 0, name


def test_filler_hole_is_a_true_circle(files):
    """The 57 mm hole is two half circles of 57.00 mm, whatever polygon it came as."""
    doc, _ = read_dxf(files["cutting/blank-top-skin-mm.dxf"])
    hole = cut_paths(doc)[0]
    assert len(hole.points) == 2
    assert hole.bulges.tolist() == [1.0, 1.0]
    assert hole.area == pytest.approx(math.pi * (FILLER_MM / 2) ** 2, abs=0.01)
    assert hole.length == pytest.approx(math.pi * FILLER_MM, abs=0.001)


def test_check_line_is_100_mm_and_not_cut(files):
    """One line of 100.000 mm on a layer of its own, outside every cut."""
    for name, content in files.items():
        doc, _ = read_dxf(content)
        lines = [e for e in doc.modelspace() if e.dxf.layer == LAYERS["check"].name]
        assert len(lines) == 1, name
        path = path_of(lines[0])
        assert path.length == pytest.approx(100.0, abs=1e-9)
        cuts = cut_paths(doc)
        assert all(LineString(path.points).distance(Polygon(c.dense(0.1))) > 5 for c in cuts), name


def test_sheet_file_holds_every_part_where_it_lies(files):
    """Re-nested from the file: as many outlines as parts, areas within 0.02 %, inside the sheet, gaps kept."""
    for index, used in enumerate(WORK.layout.sheets):
        doc, _ = read_dxf(files[f"cutting/sheet-{index + 1}-mm.dxf"])
        paths = cut_paths(doc)
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
        for layer in (CUT, LATER):
            turns = [path_of(e).area > 0 for e in doc.modelspace() if e.dxf.layer == layer]
            assert turns == sorted(turns, reverse=True), layer


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
        doc, _ = read_dxf(content)
        text = "\n".join(e.dxf.text for e in doc.modelspace() if e.dxftype() == "TEXT")
        for wanted in ("millimetres", "Net geometry", "3003-H14", "1.6 mm", "Grain", "Revision: B", "2026-03-14"):
            assert wanted in text, (name, wanted)
        assert WORK.job.name in text
        assert text.isascii()
        if "blank-" in name:
            blank = _blank_of(name)
            assert f"Part: {WORK.blanks.index(blank) + 1} {blank.name}. Hand: {blank.hand}" in text
            assert "Quantity: 1" in text
            assert "good face up" in text
            x0, y0, x1, y1 = blank.outline.bounds
            assert f"{x1 - x0:.1f} mm by {y1 - y0:.1f} mm" in text
        assert not re.search(r"\bsafe\b|\blegal\b|\bOK\b|\bpass", text)


def test_inch_jobs_have_inches_beside_millimetres():
    """The unit stays mm; the size in words carries inches too."""
    content = to_dxf(blank_drawing(small_work(unit="in"), WORK.blanks[0]))
    doc, _ = read_dxf(content)
    text = "\n".join(e.dxf.text for e in doc.modelspace() if e.dxftype() == "TEXT")
    assert doc.units == ezdxf.units.MM
    assert re.search(r"5 29/32 in \(150\.0 mm\)", text)


def test_fold_lines_lie_on_their_own_layers(files):
    """Both folds of the tunnel are on the fold-up layer, none down; turned face down they change over."""
    tunnel = next(b for b in WORK.blanks if b.name == "tunnel")
    drawing = blank_drawing(WORK, tunnel)
    assert len(drawing.on("up")) == 2
    assert not drawing.on("down")
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
    left, right = (cut_paths(read_dxf(files[f"cutting/blank-side-{h}-mm.dxf"])[0])[0] for h in ("left", "right"))
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


def test_a_sheet_for_the_shear_has_nothing_to_cut_for_a_torch():
    """Laid out for the shear, parts may touch: their outlines are off the cut layer, and names and words say why."""
    work = small_work("shear")
    for name, content in dxf_files(work).items():
        layers = {e.dxf.layer for e in read_dxf(content)[0].modelspace()}
        words = " ".join(e.dxf.text for e in read_dxf(content)[0].modelspace() if e.dxftype() == "TEXT")
        if "/sheet-" in name or "/r12/sheet-" in name:
            assert "-shear-mm" in name
            assert CUT not in layers
            assert LAYERS["part"].name in layers
            assert "FOR THE SHEAR" in words
        else:
            assert CUT in layers
            assert LAYERS["part"].name not in layers
    page = for_the_cutter(work)["cutting/for-the-cutter.txt"].decode("ascii")
    assert "take the blank files" in page
    asked = sheet_drawing(work, 0, Asked(kerf=1.0, lead_in=4.0))
    assert to_dxf(asked) == to_dxf(sheet_drawing(work, 0))


def test_cut_order_names_every_part_once():
    """The order of cutting is complete, small parts first, each kind from the sheet's origin on."""
    order = cut_order(WORK.layout, 0)
    assert sorted(p.part.name for p in order) == sorted(p.part.name for p in WORK.layout.on_sheet(0))
    spans = [max(np.subtract(p.outline.bounds[2:], p.outline.bounds[:2])) <= 150.0 for p in order]
    assert spans == sorted(spans, reverse=True)
    large = [p.outline.bounds[0] for p, small in zip(order, spans, strict=True) if not small]
    assert large == sorted(large)


def test_a_part_in_a_hole_of_another_is_cut_whole_before_that_hole():
    """Three rings one in another: the innermost first, and no path is cut before what lies inside it."""
    sizes = (400.0, 260.0, 120.0)
    rings = [box(0, 0, s, s).difference(box(30, 30, s - 30, s - 30)) for s in sizes]
    sheet = Sheet("sheet", 500.0, 500.0)
    parts = [Part(f"ring {s:.0f}", ring) for s, ring in zip(sizes, rings, strict=True)]
    placed = tuple(
        Placed(part, 0, affinity.translate(part.outline, (500 - s) / 2, (500 - s) / 2))
        for part, s in zip(parts, sizes, strict=True)
    )
    layout = replace(WORK.layout, cutting="profile", placed=placed, offcuts=())
    assert [p.part.name for p in cut_order(layout, 0)] == ["ring 120", "ring 260", "ring 400"]
    blanks = [
        replace(
            WORK.blanks[4],
            name=p.name,
            outline=p.outline,
            net=p.outline,
            edges=(),
            marks=(),
            folds=(),
            rolls=(),
            lips=(),
        )
        for p in parts
    ]
    used = replace(WORK.layout.sheets[0], sheet=sheet)
    work = replace(WORK, blanks=tuple(blanks), layout=replace(layout, sheets=(used,)))
    cuts = [Polygon(line.path.points) for line in sheet_drawing(work, 0).on("cut")]
    assert len(cuts) == 6
    for k, cut in enumerate(cuts):
        assert not any(cut.contains(later) for later in cuts[k + 1 :])


def test_marks_stop_at_the_metal():
    """A line drawn across a hole is broken there, and does not run out over the edge."""
    shape = Polygon(box(0, 0, 100, 50).exterior, [Point(50, 25).buffer(10, quad_segs=64).exterior.coords])
    runs = runs_inside(np.array([[-20.0, 25.0], [120.0, 25.0]]), shape)
    assert [r[:, 0].round(2).tolist() for r in runs] == [[0.0, 40.0], [60.0, 100.0]]


def test_parts_have_one_number_on_every_paper():
    """The sheet file numbers parts as the cut list does, and the cutter's page names every sheet and left part."""
    work = small_work()
    numbers = piece_numbers(work)
    assert [numbers[blank.name] for blank in work.blanks] == [str(k) for k in range(1, len(work.blanks) + 1)]
    words = " ".join(item.text for item in sheet_drawing(work, 0).items if hasattr(item, "text"))
    for placed in work.layout.on_sheet(0):
        assert f"{numbers[placed.part.name]} {placed.part.name}" in words
    page = for_the_cutter(work)["cutting/for-the-cutter.txt"].decode("ascii")
    assert all(f"Sheet {used.index + 1} (sheet-{used.index + 1}-mm.dxf): " in page for used in work.layout.sheets)
    assert "side left" in page
    assert "no kerf" in page


@pytest.mark.parametrize("version", ["R2010", "R12"])
def test_extents_and_layers_are_those_of_what_is_drawn(version):
    """Read back by the library: the header holds the corners of the drawing, and no layer is empty."""
    drawing = blank_drawing(WORK, WORK.blanks[0])
    doc = ezdxf.read(io.StringIO(to_dxf(drawing, version).decode("utf-8")))
    space = doc.modelspace()
    box = bbox.extents((e for e in space if e.dxftype() != "TEXT"), fast=False)
    assert doc.header["$EXTMIN"][:2] == pytest.approx(tuple(box.extmin)[:2], abs=0.06)
    assert doc.header["$EXTMAX"][:2] == pytest.approx(tuple(box.extmax)[:2], abs=0.06)
    assert {layer.dxf.name for layer in doc.layers} - {"0", "Defpoints"} == {e.dxf.layer for e in space}


def _luminance(colour: tuple[int, int, int]) -> float:
    """Relative luminance as WCAG 2.1 defines it."""
    share = [c / 255 / 12.92 if c / 255 <= 0.03928 else ((c / 255 + 0.055) / 1.055) ** 2.4 for c in colour]
    return 0.2126 * share[0] + 0.7152 * share[1] + 0.0722 * share[2]


def test_layers_are_told_apart_on_white_and_on_black():
    """Contrast of 3 to 1 at least against either ground, as W3C WCAG 2.1, 1.4.11 asks of graphics; cut has its own.

    Colour 7 is white on black and black on white by itself. In SVG, which is seen on white, against white alone.
    """
    assert len({layer.colour for layer in LAYERS.values()}) == len(LAYERS)
    assert len({layer.name for layer in LAYERS.values()}) == len(LAYERS)
    for layer in LAYERS.values():
        light = _luminance(int2rgb(DXF_DEFAULT_COLORS[layer.colour]))
        if layer.colour != 7:
            assert min(1.05 / (light + 0.05), (light + 0.05) / 0.05) >= 3.0, layer.name
        red, green, blue = (int(layer.web[k : k + 2], 16) for k in (1, 3, 5))
        assert 1.05 / (_luminance((red, green, blue)) + 0.05) >= 3.0, layer.name


@pytest.mark.parametrize("kind", ["profile", "shear"])
def test_what_is_not_cut_ends_two_millimetres_inside(kind):
    """No end of a line drawn on a blank lies nearer than 2 mm to its cut; nor does any etched letter."""
    work = small_work() if kind == "profile" else small_work(kind)
    for blank in work.blanks:
        drawing = blank_drawing(work, blank)
        rim = affinity.translate(blank.outline, *(-np.array(blank.outline.bounds[:2]))).boundary
        for layer in ("scribe", "up", "down", "trim"):
            for line in drawing.on(layer):
                ends = line.path.points[:1] if line.path.closed else line.path.points[[0, -1]]
                assert all(rim.distance(Point(end)) > 1.99 for end in ends), (blank.name, layer)
        for line in drawing.on("mark"):
            assert rim.distance(LineString(line.path.dense(0.1))) > 1.99, blank.name


def test_other_versions_are_refused():
    """Only the two versions that are promised are written."""
    with pytest.raises(ValueError, match="R2010, R12"):
        to_dxf(blank_drawing(WORK, WORK.blanks[0]), "R2000")


def test_the_page_answers_the_neighbour():
    """Which file, unit, check line, layers, order, pierces, left over, face, pairs, metal, whom to ask."""
    work = job_changed(WORK, shop=replace(WORK.job.shop, name="Bench Lane tanks", contact="555 0100"))
    page = " ".join(for_the_cutter(work)["cutting/for-the-cutter.txt"].decode("ascii").split())
    for said in (
        "Bench Lane tanks, 555 0100",
        "millimetres, 1:1",
        "CHECK_LINE first: it must be 100.0 mm, 3.937 in",
        "sheet files (everything laid out) on sheets of the size named, or the blank files",
        "Holes first, then outlines",
        "3003-H14 aluminium, 14 ga (1.6 mm)",
        "all drawn good face up",
        "Mirror images",
        "Left over and wanted back, on KEEP",
        "aluminium dust and water",
        "Net geometry: no kerf, no lead-ins",
        f"{WORK.layout.sheets[0].pierces} pierces",
    ):
        assert said in page, said
    used = {item.layer for k in range(len(WORK.layout.sheets)) for item in sheet_drawing(WORK, k).items}
    assert all(f"{LAYERS[key].name} {LAYERS[key].what}" in page for key in used)


@pytest.mark.parametrize(("metal", "said"), [("DC04", "plated"), ("304", "chromium")])
def test_cautions_speak_of_the_metal_of_the_job(metal, said):
    """Steel gets no word about aluminium dust."""
    page = for_the_cutter(job_changed(WORK, metal=lookup_metal(metal)))["cutting/for-the-cutter.txt"].decode("ascii")
    assert "aluminium dust" not in page
    assert said in page


def test_the_order_of_sets_does_not_show_in_the_files():
    """Two interpreters that hash words differently write the same bytes."""
    code = "from tankwright.papers.dxf import _shell; import sys; sys.stdout.write(repr(_shell('R2010', ('cut',))))"
    seeds = ("1", "2", "3")
    told = {
        subprocess.run(
            [sys.executable, "-c", code], env={**os.environ, "PYTHONHASHSEED": seed}, capture_output=True, check=True
        ).stdout
        for seed in seeds
    }
    assert len(told) == 1


def _crowded():
    """A strip 300 by 40 mm with three fittings 16 mm apart: crosses so close that names do not go beside them."""
    shape = box(0, 0, 300, 40)
    marks = []
    for name, x in (("vent 8", 140.0), ("front mount", 156.0), ("petrol tap", 172.0)):
        ring = Point(x, 20).buffer(7.5, quad_segs=16).exterior.coords
        marks.append(Mark("fitting", np.array(ring), name))
        marks += [Mark("fitting", np.array([[x - 8, 20.0], [x + 8, 20.0]]), "")]
        marks += [Mark("fitting", np.array([[x, 12.0], [x, 28.0]]), "")]
    stations = [
        Mark("station", np.array([[x, 0.0], [x, 40.0]]), f"S{k} x {50 * k}") for k, x in enumerate((132, 164, 181))
    ]
    bare = replace(WORK.blanks[4], name="strip", outline=shape, net=shape, edges=(), folds=(), rolls=(), lips=())
    return replace(bare, marks=(*marks, *stations))


def test_every_fitting_is_named_at_its_place_or_led_to_and_told_in_the_words():
    """On a crowded strip every name stands on the metal, off the others, and its middle is in the words of the file."""
    blank = _crowded()
    drawing = blank_drawing(replace(WORK, blanks=(blank,)), blank)
    words = {item.text: item for item in drawing.items if isinstance(item, Words)}
    rooms = {}
    for name, x in (("vent 8", 140.0), ("front mount", 156.0), ("petrol tap", 172.0)):
        item = words[name]
        half = 0.3 * item.height * len(name), item.height / 2
        rooms[name] = box(item.at[0] - half[0], item.at[1] - half[1], item.at[0] + half[0], item.at[1] + half[1])
        assert rooms[name].within(blank.outline)
        place = Point(x, 20).buffer(8.0)
        leads = [LineString(i.path.points) for i in drawing.on("text") if len(i.path.points) == 2]
        led = any(lead.distance(rooms[name]) < 2.0 and lead.distance(place) < 2.0 for lead in leads)
        assert led or rooms[name].distance(place) < 8.0, name
        assert any(f"{name} at {x:.1f}, 20.0" in said for said in words)
    assert not any(a.intersects(b) for k, a in enumerate(rooms.values()) for b in list(rooms.values())[:k])


def test_a_blank_too_small_for_its_name_carries_its_number_and_no_words_cross_its_cut():
    """40 by 26 mm with a hole of 8.5: the number is etched on it, the name stands beside it."""
    shape = box(0, 0, 40, 26).difference(Point(20, 13).buffer(4.25))
    small = replace(_crowded(), name="doubler front mount left", outline=shape, net=shape, marks=())
    work = replace(WORK, blanks=(*WORK.blanks, small))
    drawing = blank_drawing(work, small)
    etched = [LineString(item.path.points) for item in drawing.on("mark")]
    assert etched
    assert all(line.within(shape) for line in etched)
    number = str(len(work.blanks))
    beside = next(i for i in drawing.items if isinstance(i, Words) and i.text.startswith(f"{number} doubler"))
    assert beside.at[0] > 40
    for item in drawing.items:
        if isinstance(item, Words) and item.middle:
            half = 0.3 * item.height * len(item.text)
            assert box(item.at[0] - half, item.at[1] - 0.5, item.at[0] + half, item.at[1] + 0.5).within(shape)
