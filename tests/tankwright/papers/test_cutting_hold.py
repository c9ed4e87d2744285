"""Cutting files say what waits, what stays on, what is cut first; they carry match ticks, and words stand apart."""

from __future__ import annotations

import re
from dataclasses import replace

import numpy as np
import pytest
from shapely import affinity
from shapely.geometry import LineString, Polygon, box

from nesting.model import Cut, Layout, Part, Placed
from panels.findings import Finding
from tankwright.papers.blankface import seam_ticks
from tankwright.papers.cutting import blank_drawing, cutting_drawings, sheet_drawing
from tankwright.papers.cutting_hold import (
    BEND_HOLD,
    as_carried,
    edge_words,
    hold_words,
    open_parts,
    strip_source,
    strips_of,
    waits,
)
from tankwright.papers.cutting_items import Words
from tankwright.papers.cutting_words import decimal_inches, for_the_cutter
from tankwright.papers.dxf import dxf_files
from tankwright.papers.shearhold import freeing_cuts, held_cuts, piece_boxes
from tankwright.papers.shearsteps import finished_by, finished_words, shear_hold, shear_steps

from .fixture import small_work

WORK = small_work()
TUNNEL = next(b for b in WORK.blanks if b.name == "tunnel")
SIDE = next(b for b in WORK.blanks if b.name == "side left")


def _page(work) -> str:
    return " ".join(for_the_cutter(work)["cutting/for-the-cutter.txt"].decode("ascii").split())


def _words(drawing) -> str:
    return "\n".join(item.text for item in drawing.items if isinstance(item, Words))


def test_folded_parts_wait_for_the_bend_test():
    """The page, the part's own file and the sheet's say so; parts without folds do not wait."""
    assert f"HOLD: {WORK.blanks.index(TUNNEL) + 1} tunnel: {BEND_HOLD}" in _page(WORK)
    assert f"HOLD: {BEND_HOLD}." in _words(blank_drawing(WORK, TUNNEL))
    assert f"HOLD (tunnel): {BEND_HOLD}." in _words(sheet_drawing(WORK, _sheet_of("tunnel")))
    assert "HOLD" not in _words(blank_drawing(WORK, SIDE))


def _sheet_of(name: str) -> int:
    return next(p.sheet for p in WORK.layout.placed if p.part.name == name)


def test_a_measured_fold_waits_for_nothing():
    """K read off the shop's own strip: there is nothing to wait for."""
    source = "the shop's own measurement, a test strip of 3003-H14 1.6 mm at 3 mm radius"
    known = replace(TUNNEL, folds=tuple(replace(fold, k_source=source) for fold in TUNNEL.folds))
    assert waits(TUNNEL)
    assert not waits(known)


def test_open_findings_stand_on_the_parts_they_concern():
    """What is open is said in words, on the page and in the files of its parts; nothing where only notes are left."""
    seam = Finding("look", "tap", "the tap falls across seam F (side left and crown)")
    lost = Finding("look", "outlet", "the far half has no outlet")
    work = replace(WORK, findings=(Finding("note", "side left", "a remark"), seam, lost))
    assert [blank.name for blank in open_parts(work, seam)] == [
        b.name for b in WORK.blanks if b.name in ("side left", "crown")
    ]
    assert open_parts(work, lost) == ()
    assert hold_words(work, [SIDE]) == [f"OPEN: {seam.says}. Ask the shop whether that is decided."]
    assert not any("OPEN" in line for line in hold_words(work, [TUNNEL]))
    number = WORK.blanks.index(SIDE) + 1
    assert f"{number} side left: {seam.says}." in _page(work)
    assert f": {lost.says}." in _page(work)
    assert "a remark" not in _page(work)
    assert "OPEN" not in _page(replace(WORK, findings=()))


def test_a_fitting_is_open_on_the_part_it_sits_on():
    """A finding named after a fitting concerns the blanks with that fitting, and no part of a like name."""
    fitted = next(blank for blank in WORK.blanks for mark in blank.marks if mark.kind == "fitting" and mark.label)
    label = next(mark.label for mark in fitted.marks if mark.kind == "fitting" and mark.label)
    name = re.sub(r" \d.*", "", label)
    found = open_parts(WORK, Finding("look", name, "it is too near a fold"))
    assert fitted in found
    assert all(any(mark.label.startswith(name) for mark in blank.marks) for blank in found)
    assert open_parts(WORK, Finding("look", name[:-1], "x")) == ()


def test_the_lap_is_told_from_what_is_trimmed():
    """Edge by edge, by the letters: trimmed later, staying on, net; nobody trims a lap off."""
    lap = [edge for edge in SIDE.edges if edge.joint == "lap"]
    assert len(lap) == 1
    assert f"STAYS ON: {lap[0].letter}, lap 12.0 mm" in edge_words(SIDE)
    trimmed = edge_words(SIDE).split("trimmed later: ")[1].split(",")[: len(SIDE.edges) - 1]
    assert {letter.strip() for letter in trimmed} == {e.letter for e in SIDE.edges if e.joint != "lap"}
    net = [edge.letter for edge in TUNNEL.edges if edge.allowance == 0]
    assert f"net: {', '.join(net)}" in edge_words(TUNNEL)
    bare = replace(TUNNEL, edges=tuple(replace(edge, allowance=0.0) for edge in TUNNEL.edges))
    assert edge_words(bare) == "all edges net"
    assert f"side left: {edge_words(SIDE)}." in _page(WORK)
    assert edge_words(SIDE) in _words(blank_drawing(WORK, SIDE))


def test_only_the_side_that_carries_a_lap_keeps_its_metal():
    """Both edges of seam A called a lap with 12 mm: the side left carries it, on the top skin it is trimmed."""
    top = next(blank for blank in WORK.blanks if any(e.letter == "A" for e in blank.edges) and blank is not SIDE)
    edges = tuple(replace(e, joint="lap", allowance=12.0) if e.letter == "A" else e for e in top.edges)
    lapped = replace(top, edges=edges)
    assert "STAYS ON: A, lap 12.0 mm" in edge_words(lapped)
    assert "lap" not in edge_words(as_carried(WORK, lapped))
    assert as_carried(WORK, SIDE) is SIDE


def test_the_test_strip_is_a_file_of_its_own():
    """150 x 30 mm, one fold across its middle, the grain to the fold as on the piece; cut before the rest."""
    (strip,) = strips_of(WORK)
    assert strip.outline.bounds == (0.0, 0.0, 150.0, 30.0)
    assert np.array([strip.folds[0].start, strip.folds[0].end]) == pytest.approx(np.array([[75.0, 0.0], [75.0, 30.0]]))
    fold = TUNNEL.folds[0]
    run = np.degrees(np.arctan2(*(fold.end - fold.start)[::-1]))
    assert (strip.grain_deg - 90.0) % 180 == pytest.approx((TUNNEL.grain_deg - run) % 180, abs=5.0)
    drawing = cutting_drawings(WORK)["test-strip"]
    (cut,) = drawing.on("cut")
    assert np.ptp(cut.path.points, axis=0) == pytest.approx([150.0, 30.0])
    assert "cut this first" in _words(drawing)
    assert "test-strip-mm.dxf" in _page(WORK)
    assert "cutting/r12/test-strip-mm-r12.dxf" in dxf_files(WORK)


def test_the_strip_is_cut_from_an_offcut_that_holds_it():
    """Any spare first; else the smallest kept offcut with room for it, the grain as it must lie."""
    (strip,) = strips_of(WORK)
    sheet = WORK.layout.sheets[0].sheet
    kept = WORK.layout.offcuts[0]

    def source(*sizes: tuple[float, float]) -> str:
        made = tuple(replace(kept, outline=box(0, 0, *size), sheet=0) for size in sizes)
        return strip_source(replace(WORK, layout=replace(WORK.layout, offcuts=made)), strip)

    turned = (sheet.grain_deg - strip.grain_deg) % 180
    long, wide = (150.0, 30.0) if turned in (0.0, 180.0) else (30.0, 150.0)
    assert "any spare of the same sheet metal" in source()
    assert "K2" in source((900, 900), (long, wide), (long - 1, wide))
    assert "no kept offcut holds it" in source((long - 1, 900) if long > wide else (900, wide - 1))
    assert "no kept offcut holds it" in source()


def test_ticks_of_mating_edges_are_scribed():
    """Every match tick of the templates is in the part's file, 2 mm inside the cut, its own way."""
    found = 0
    for blank in WORK.blanks:
        shift = -np.array(blank.outline.bounds[:2])
        metal = affinity.translate(blank.outline, *shift)
        scribed = [LineString(line.path.dense(0.1)) for line in blank_drawing(WORK, blank).on("scribe")]
        for tick in seam_ticks(WORK, blank):
            outer, inner = tick.ends + shift
            near = [line for line in scribed if line.distance(LineString([outer, inner])) < 0.01 and line.length < 25]
            along = (inner - outer) / np.hypot(*(inner - outer))
            same = [
                s
                for s in near
                if abs(np.dot(np.diff(np.array(s.coords)[[0, -1]], axis=0)[0], along)) > 0.999 * s.length
            ]
            assert same, (blank.name, tick.edge.letter, tick.share)
            assert max(s.length for s in same) >= 2.5
            assert min(s.distance(metal.boundary) for s in same) > 1.99
            found += 1
    assert found > 6


def _taken(item: Words) -> Polygon:
    """What words take at least on paper: 0.7 of their height a letter."""
    half, high = 0.35 * item.height * len(item.text), item.height / 2
    x0 = -half if item.middle else 0.0
    shape = box(x0, -high if item.middle else 0.0, x0 + 2 * half, high if item.middle else 2 * high)
    return affinity.translate(affinity.rotate(shape, item.turn, origin=(0, 0)), *item.at)


@pytest.mark.parametrize("kind", ["profile", "shear"])
def test_no_words_stand_on_other_words(kind):
    """Words of a part keep clear of one another, of etched letters and of the lines."""
    work = small_work(kind)
    for blank in work.blanks:
        drawing = blank_drawing(work, blank)
        words = [(i, _taken(i)) for i in drawing.items if isinstance(i, Words) and i.at[1] > -10]
        etched = [LineString(line.path.dense(0.2)) for line in drawing.on("mark")]
        scribed = [LineString(line.path.dense(0.2)) for key in ("scribe", "trim") for line in drawing.on(key)]
        for k, (item, shape) in enumerate(words):
            assert not any(shape.intersects(other) for _, other in words[:k]), (blank.name, item.text)
            assert not any(shape.intersects(line) for line in etched), (blank.name, item.text)
            if item.text != "GRAIN":
                assert not any(shape.intersects(line) for line in scribed), (blank.name, item.text)


def test_inches_stand_beside_millimetres_and_are_decimal_in_columns():
    """Where the job is in inches the page has both; a column is all decimals, 25.4 mm exactly one inch."""
    page = for_the_cutter(small_work(unit="in"))["cutting/for-the-cutter.txt"].decode("ascii")
    table = [row for row in page.splitlines() if ".dxf  " in row]
    assert len(table) == len(WORK.blanks) + 1
    for row, blank in zip(table[1:], WORK.blanks, strict=True):
        x0, y0, x1, y1 = blank.outline.bounds
        assert f"{x1 - x0:.1f} x {y1 - y0:.1f}" in row
        assert f"{decimal_inches(x1 - x0)} x {decimal_inches(y1 - y0)}" in row
        assert "/" not in row
    assert (decimal_inches(25.4), decimal_inches(1.25 * 25.4), decimal_inches(0.375 * 25.4)) == (
        "1.000",
        "1.250",
        "0.375",
    )
    assert "3.937 in" in page


def test_old_files_say_their_unit():
    """R12 has no place for a unit: the words have it, with what the check line reads in inches."""
    for name, content in dxf_files(WORK).items():
        if "r12" in name:
            assert b"millimetres, scale 1:1. CHECK_LINE is 100.0 mm, 3.937 in" in content, name
            assert "-mm-" in name


def test_a_stroke_along_a_finished_edge_says_so():
    """Edges laid on a cut in closed form: a straight net edge is made over its length, a tip only touches."""
    work = small_work("shear")
    cut = next(c for c in work.layout.cuts if c.axis == "x")
    at, (low, high) = cut.line[0][0], sorted(point[1] for point in cut.line)
    middle = (low + high) / 2
    net = box(at - 40, middle - 20, at, middle + 20)  # its right side, 40 mm, lies on the cut
    tip = Polygon([(at, middle), (at + 30, middle - 30), (at + 30, middle + 30)])  # only its corner does
    part = work.blanks[0].name

    def along(shape: Polygon, allowance: float = 0.0) -> dict:
        ring = np.asarray(shape.exterior.coords)
        edge = replace(work.blanks[0].edges[0], points=ring, allowance=allowance)
        blank = replace(work.blanks[0], outline=shape, net=shape, edges=(edge,))
        placed = Placed(Part(part, shape), cut.sheet, shape, 0.0, False)
        layout = replace(work.layout, placed=(placed,))
        return finished_by(replace(work, blanks=(blank,), layout=layout), cut.sheet)

    ((name, run),) = along(net)[cut.order]
    assert (name, run) == (part, pytest.approx(40.0, abs=1.0))
    assert along(tip)[cut.order] == ((part, 0.0),)
    assert cut.order not in along(net, 3.0)
    assert cut.order not in along(affinity.translate(net, -1.0))


def _shorn(*cuts: tuple[str, str, float]) -> Layout:
    """One sheet 1000 x 1000 with the tunnel's rectangle 200 x 100 in a corner, cut by hand: piece, axis, distance."""
    work = small_work("shear")
    made, label = [], 1
    for order, (piece, axis, distance) in enumerate(cuts, 1):
        labels = (f"1.{label}", f"1.{label + 1}")
        made.append(Cut(order, 0, piece, axis, distance, 1000.0, ((0.0, 0.0), (1.0, 1.0)), labels))
        label += 2
    used = work.layout.sheets[0]
    used = replace(used, sheet=replace(used.sheet, width=1000.0, height=1000.0))
    placed = (Placed(Part("tunnel", box(0, 0, 200, 100)), 0, box(0, 0, 200, 100), 0.0, False),)
    return replace(work.layout, cuts=tuple(made), sheets=(used,), placed=placed, offcuts=())


def test_strokes_that_fix_a_held_part_wait():
    """The tunnel 200 x 100 in the corner: a stroke 50 mm off leaves it room, those on its size do not."""
    layout = _shorn(
        ("1", "x", 250.0), ("1.1", "y", 100.0), ("1.3", "x", 200.0), ("1.2", "y", 400.0), ("1.6", "x", 30.0)
    )
    work = replace(small_work("shear"), layout=layout)
    assert held_cuts(work, 0) == {2: ("tunnel",), 3: ("tunnel",), 5: ()}
    assert freeing_cuts(work, "1.8") == (1, 4)
    assert freeing_cuts(work, "1.4") == (1, 2)
    steps = {step[0]: step for step in shear_steps(work, 0)}
    assert [order for order, step in steps.items() if step.mind.startswith("HOLD")] == ["2", "3", "5"]
    assert "tunnel, HOLD" in steps["3"].first
    assert shear_hold(work, 0).startswith(f"HOLD {WORK.blanks.index(TUNNEL) + 1} tunnel. The test strip comes first")
    assert shear_hold(replace(work, layout=replace(layout, placed=())), 0) == ""


def test_the_strip_comes_off_before_a_held_part_has_its_size():
    """Of two kept offcuts the larger that is free early is named, not the smaller behind the tunnel's own stroke."""
    (strip,) = strips_of(WORK)
    layout = _shorn(("1", "x", 250.0), ("1.1", "y", 100.0), ("1.2", "y", 400.0))
    kept = small_work("shear").layout.offcuts[0]
    late = replace(kept, sheet=0, piece="1.4", outline=box(0, 100, 250, 1000))
    early = replace(kept, sheet=0, piece="1.6", outline=box(250, 400, 1000, 1000))
    work = replace(small_work("shear"), layout=replace(layout, offcuts=(late, early)))
    assert "from K2 of sheet 1, 750 x 600 mm, which cuts 1 and 3 set free" in strip_source(work, strip)
    alone = replace(work, layout=replace(layout, offcuts=(late,)))
    assert "by hand out of what becomes K1 of sheet 1, 250 x 900 mm, before cut 2" in strip_source(alone, strip)


@pytest.mark.parametrize("shift", [0.0, 0.04, 0.05])
def test_a_piece_of_the_shear_has_one_size_on_all_papers(shift: float):
    """What a cut leaves is printed as its own size rounded, not as the rest of rounded figures: a kept offcut reads on
    the shear's page as on all others. The two pieces add up to what was cut, within the last place."""
    work = small_work("shear")
    cuts = tuple(replace(cut, distance=cut.distance - shift) for cut in work.layout.cuts)
    work = replace(work, layout=replace(work.layout, cuts=cuts))
    for used in work.layout.sheets:
        for step in shear_steps(work, used.index):
            said = f"{step.take} {step.first} {step.second}"
            whole, low, high = (tuple(map(float, s)) for s in re.findall(r"([\d.]+) × ([\d.]+)", said))
            axis = 0 if "up and down" in step.stroke else 1
            if "left" in step.measure or "lower" in step.measure:
                assert low[axis] + high[axis] == pytest.approx(whole[axis], abs=0.101)
            assert low[1 - axis] == high[1 - axis] == whole[1 - axis]
        boxes = piece_boxes(work, used.index)
        for step in shear_steps(work, used.index):
            said = f"{step.take} {step.first} {step.second}"
            for label, wide, high in re.findall(r"piece ([\d.]+), ([\d.]+) × ([\d.]+)", said):
                x0, y0, x1, y1 = boxes[label]
                assert (wide, high) == (f"{x1 - x0:.1f}", f"{y1 - y0:.1f}")


def test_the_strokes_of_a_finished_edge_are_told_on_page_and_cuts():
    """Whatever stroke makes a finished edge is named in the steps, in the sheet's file and on the page."""
    work = small_work("shear")
    for used in work.layout.sheets:
        steps = {step.order: step.mind for step in shear_steps(work, used.index)}
        for order, said in finished_words(work, used.index).items():
            assert said in steps[str(order)]
            assert f"CUT {order}: {said}." in _words(sheet_drawing(work, used.index))
            assert f"Cut {order}: {said}." in _page(work)


def test_a_part_of_other_stock_names_its_metal():
    """A doubler of another alloy is listed and drawn with its own metal, not the tank's."""
    other = replace(SIDE, name="doubler", metal="5052-H32", thickness=2.0)
    work = replace(WORK, blanks=(*WORK.blanks, other))
    assert "5052-H32, 2 mm, FROM OTHER STOCK" in _page(work)
    assert "Metal: 5052-H32, 2 mm, FROM OTHER STOCK" in _words(blank_drawing(work, other))
    assert "OTHER STOCK" not in _page(WORK)


def test_numbers_of_cuts_keep_off_the_parts():
    """Every cut of the shear has its number in the file, beside its line, apart from the others."""
    work = small_work("shear")
    for used in work.layout.sheets:
        cuts = [cut for cut in work.layout.cuts if cut.sheet == used.index]
        items = [i for i in sheet_drawing(work, used.index).items if isinstance(i, Words) and i.text.startswith("CUT ")]
        named = {int(i.text.removeprefix("CUT ").split(":")[0]): i for i in items if i.middle}
        assert sorted(named) == [cut.order for cut in cuts]
        shapes = [_taken(named[cut.order]) for cut in cuts]
        for k, (cut, shape) in enumerate(zip(cuts, shapes, strict=True)):
            assert shape.distance(LineString(cut.line)) < 3.0
            assert not any(shape.intersects(other) for other in shapes[:k])
        parts = [p.outline for p in work.layout.on_sheet(used.index)]
        off = sum(not any(shape.intersects(part) for part in parts) for shape in shapes)
        assert off >= len(cuts) / 2
