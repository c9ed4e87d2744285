"""What waits for the bend test is on a layer of its own, last, and told alike; what is kept is cut as open lines."""

from __future__ import annotations

import io
import re
from dataclasses import replace
from xml.etree import ElementTree

import ezdxf
import numpy as np
import pytest
from shapely import affinity
from shapely.geometry import LineString, Point, Polygon, box
from shapely.ops import polygonize, unary_union

from nesting.model import Part, Placed, Sheet
from panels.blank import Bend, Fold
from tankwright.papers.cutting import blank_drawing, cutting_drawings, sheet_drawing, unlettered
from tankwright.papers.cutting_blank import face_of
from tankwright.papers.cutting_hold import STRIP_EXACT, strip_source, strips_of, waits
from tankwright.papers.cutting_items import Words
from tankwright.papers.cutting_keep import free_edges
from tankwright.papers.cutting_label import face_words
from tankwright.papers.cutting_later import held_on, later_on, later_words, sheet_order
from tankwright.papers.cutting_marks import seam_signs
from tankwright.papers.cutting_order import cut_order, order_letter
from tankwright.papers.cutting_svg import svg_files
from tankwright.papers.cutting_words import for_the_cutter
from tankwright.papers.dxf import dxf_files
from tankwright.papers.look import LAYERS
from tankwright.papers.sheetsteps import sheet_steps

from .fixture import small_work

WORK = small_work()
INDEX = next(p.sheet for p in WORK.layout.placed if p.part.name == "tunnel")
TUNNEL = next(b for b in WORK.blanks if b.name == "tunnel")
SPACE = {"s": "http://www.w3.org/2000/svg"}


def _flat(text: str) -> str:
    return " ".join(text.split())


def _words(drawing) -> str:
    return _flat(" ".join(item.text for item in drawing.items if isinstance(item, Words)))


def _page(work) -> str:
    return _flat(for_the_cutter(work)["cutting/for-the-cutter.txt"].decode("ascii"))


def test_what_waits_is_on_a_layer_of_its_own_after_all_others():
    """In every sheet file of each kind: the tunnel's paths on CUT_LATER and nobody else's, after the last on CUT."""
    for used in WORK.layout.sheets:
        drawing = sheet_drawing(WORK, used.index)
        waiting = [p for p in WORK.layout.on_sheet(used.index) if p.part.name == "tunnel"]
        later = [Polygon(line.path.dense(0.01)) for line in drawing.on("later")]
        assert len(later) == sum(1 + len(p.outline.interiors) for p in waiting)
        for placed in waiting:
            assert later[-1].area == pytest.approx(Polygon(placed.outline.exterior).area, rel=2e-4)
        layers = [item.layer for item in drawing.items if item.layer in ("cut", "later")]
        assert layers == sorted(layers)
        names = [p.part.name for p in sheet_order(WORK, used.index)]
        assert names[len(names) - len(waiting) :] == [p.part.name for p in waiting]
        stem = f"sheet-{used.index + 1}-mm"
        for name in (f"cutting/{stem}.dxf", f"cutting/r12/{stem}-r12.dxf"):
            space = ezdxf.read(io.StringIO(dxf_files(WORK)[name].decode("ascii"))).modelspace()
            found = [e for e in space if e.dxf.layer == LAYERS["later"].name]
            assert len(found) == len(later), name
        root = ElementTree.fromstring(svg_files(WORK)[f"cutting/svg/{stem}.svg"])
        group = root.find(f"s:g[@id='{LAYERS['later'].name}']", SPACE)
        assert (len(group) if group is not None else 0) == len(later)


def test_its_own_file_and_a_measured_fold_are_plain_cuts():
    """The tunnel's own file begins with HOLD and cuts on CUT; once the shop has measured, so does the sheet's."""
    assert not blank_drawing(WORK, TUNNEL).on("later")
    source = "the shop's own measurement, a test strip of 3003-H14 1.6 mm at 3 mm radius"
    known = replace(TUNNEL, folds=tuple(replace(fold, k_source=source) for fold in TUNNEL.folds))
    assert f"Folded: K 0.400 from {source}." in _words(blank_drawing(WORK, known))
    work = replace(WORK, blanks=tuple(known if b is TUNNEL else b for b in WORK.blanks))
    assert not waits(known)
    assert not sheet_drawing(work, INDEX).on("later")
    assert sheet_order(work, INDEX) == cut_order(WORK.layout, INDEX)
    assert later_words(work, INDEX) == []
    assert "CUT_LATER" not in _page(work)


def test_hold_is_written_on_the_metal_of_what_waits():
    """One HOLD on the sheet, its words on the tunnel's metal, and none in the tunnel's hole."""
    drawing = sheet_drawing(WORK, INDEX)
    (word,) = [item for item in drawing.items if isinstance(item, Words) and item.text == "HOLD"]
    (placed,) = [p for p in WORK.layout.on_sheet(INDEX) if p.part.name == "tunnel"]
    wide, high = 0.35 * word.height * len(word.text), word.height / 2
    assert placed.outline.covers(box(word.at[0] - wide, word.at[1] - high, word.at[0] + wide, word.at[1] + high))


@pytest.mark.parametrize("gap", [6.0, 1.0])
def test_what_comes_after_is_told_alike_everywhere(gap: float):
    """Page, sheet file and steps carry the same sentences: new file, turned and placed as in the table, or other metal.

    Where parts lie too near for one to grow, no place on this sheet is offered.
    """
    work = replace(WORK, layout=replace(WORK.layout, gap_mm=gap))
    said = later_words(work, INDEX)
    (placed,) = [p for p in work.layout.on_sheet(INDEX) if p.part.name == "tunnel"]
    x, y, _, _ = placed.outline.bounds
    assert "blank file made after" in said[0]
    assert (f"at {x:.1f}, {y:.1f} mm" in " ".join(said)) == (gap == 6.0)
    assert "other metal of the same kind" in said[-1]
    for text in (_page(work), _words(sheet_drawing(work, INDEX)), _flat(" ".join(sheet_steps(work, INDEX)))):
        assert all(sentence in text for sentence in said)
    assert "no part from both" in _page(work)


def test_holes_and_letters_of_what_waits_are_not_told_as_cut_now():
    """The step of the holes names those cut now; rings go from a on; the step that waits has the last letter."""
    steps = sheet_steps(WORK, INDEX)
    order = [p.part.name for p in sheet_order(WORK, INDEX)]
    holes = next(s for s in steps if " hole" in s and "Cut what is" not in s)
    assert "tunnel" not in holes
    outlines = next(s for s in steps if "ringed letters" in s)
    assert f"a to {order_letter(len(order) - 1)}" in outlines
    held = next(s for s in steps if " HOLD: " in s)
    assert f"HOLD: {order_letter(len(order))}, " in held
    assert steps.index(held) == steps.index(outlines) + 1


def test_what_lies_round_a_part_that_waits_waits_with_it():
    """A ring with a held plate in its hole: the ring's hole would drop the plate with it. A plate beside is cut now."""
    ring = box(0, 0, 300, 300).difference(box(50, 50, 250, 250))
    shapes = {"ring": ring, "tunnel": box(0, 0, 150, 150), "plate": box(0, 0, 100, 300)}
    at = {"ring": (10, 10), "tunnel": (80, 80), "plate": (330, 10)}
    placed = tuple(Placed(Part(n, s), 0, affinity.translate(s, *at[n]), 0.0, False) for n, s in shapes.items())
    blanks = tuple(replace(TUNNEL if n == "tunnel" else replace(TUNNEL, folds=()), name=n, outline=s, net=s, edges=(),
                           marks=(), rolls=(), lips=()) for n, s in shapes.items())  # fmt: skip
    used = replace(WORK.layout.sheets[0], sheet=Sheet("sheet", 450.0, 320.0))
    layout = replace(WORK.layout, cutting="profile", placed=placed, sheets=(used,), offcuts=())
    work = replace(WORK, blanks=blanks, layout=layout)
    assert [b.name for b in held_on(work, 0)] == ["tunnel"]
    assert later_on(work, 0) == {"ring", "tunnel"}
    assert [p.part.name for p in sheet_order(work, 0)] == ["plate", "tunnel", "ring"]
    drawing = sheet_drawing(work, 0)
    assert len(drawing.on("cut")) == 1
    cuts = [Polygon(line.path.points) for line in drawing.on("later")]
    assert [round(c.area) for c in cuts] == [150 * 150, 200 * 200, 300 * 300]
    assert "1 ring lies round one that waits" in " ".join(later_words(work, 0))


def test_kept_metal_is_cut_free_once_and_not_along_the_sheets_edge():
    """Open lines inside the sheet that, with the sheet's edge, part the whole of every kept offcut from the rest."""
    for used in WORK.layout.sheets:
        kept = [o.outline for o in WORK.layout.offcuts if o.sheet == used.index]
        lines = [LineString(line.path.dense(0.1)) for line in sheet_drawing(WORK, used.index).on("offcut")]
        rim = used.sheet.metal.boundary
        assert bool(lines) == bool(kept)
        assert all(line.intersection(rim.buffer(0.01)).length < 0.05 for line in lines)
        faces = list(polygonize(unary_union([rim, *(affinity.scale(line, 1.000001, 1.000001) for line in lines)])))
        for shape in kept:
            inside = unary_union([face for face in faces if shape.buffer(0.1).covers(face)])
            assert inside.area == pytest.approx(shape.area, rel=1e-3)


def test_free_edges_of_a_corner_a_band_and_an_island():
    """Closed forms: two sides of a corner piece, one line across, a ring; a shared side is there once."""
    sheet = box(0, 0, 1000, 500)
    (corner,) = free_edges(box(700, 0, 1000, 200), sheet)
    assert sorted(map(tuple, corner.round(6).tolist())) == [(700, 0), (700, 200), (1000, 200)]
    (across,) = free_edges(box(0, 400, 1000, 500), sheet)
    assert sorted(map(tuple, across.round(6).tolist())) == [(0, 400), (1000, 400)]
    assert sum(LineString(run).length for run in free_edges(box(100, 100, 200, 200), sheet)) == pytest.approx(400)
    assert free_edges(sheet, sheet) == []
    slanted = Polygon([(0, 0), (1000, 0), (900, 500), (0, 500)])
    (side,) = free_edges(Polygon([(800, 0), (1000, 0), (900, 500), (800, 500)]), slanted)
    assert LineString(side).length == pytest.approx(500)
    done = LineString(corner).buffer(0.02, cap_style="flat")
    beside = free_edges(box(400, 0, 700, 200), sheet, done)
    assert sum(LineString(run).length for run in beside) == pytest.approx(500, abs=0.1)


def test_zero_is_told_and_true():
    """Every file says that notes stand below zero; the SVG's zero is where its view box has it, to 0.001 mm."""
    for name, drawing in cutting_drawings(WORK).items():
        if name.startswith(("sheet", "blank")):
            assert "is 0,0 of this file" in _words(drawing), name
        root = ElementTree.fromstring(svg_files(WORK)[f"cutting/svg/{name}-mm.svg"])
        left, top, _, high = map(float, root.get("viewBox", "").split())
        told = re.search(r"is ([\d.]+) right of and ([\d.]+) above", root.find("s:desc", SPACE).text or "")
        assert (float(told[1]), float(told[2])) == pytest.approx((-left, top + high), abs=1e-3)


@pytest.mark.parametrize("grain", ["x", "y"])
def test_the_strip_is_turned_where_its_grain_needs_it(grain: str):
    """An offcut that holds it either way, the sheet's grain along and across the strip's: the turn is told."""
    (strip,) = strips_of(WORK)
    kept = replace(WORK.layout.offcuts[0], outline=box(0, 0, 400, 400), sheet=0)
    used = WORK.layout.sheets[0]
    sheet = replace(used.sheet, grain=grain)
    turn = ({"x": 0.0, "y": 90.0}[grain] - strip.grain_deg) % 180
    layout = replace(WORK.layout, offcuts=(kept,), sheets=(replace(used, sheet=sheet), *WORK.layout.sheets[1:]))
    work = replace(WORK, layout=layout)
    says = f"turned {turn:.0f} deg from its file" if turn else "as its file has it"
    assert f"{says}, for the grain" in strip_source(work, strip)
    assert STRIP_EXACT in _page(work)
    assert "both ends square" in _page(work)


def test_the_grain_stands_on_metal():
    """A frame whose label has room only on one side: no point of the arrow and no letter over the hole."""
    frame = box(0, 0, 300, 120).difference(box(60, 15, 290, 105))
    blank = replace(TUNNEL, outline=frame, net=frame, edges=(), marks=(), folds=(), rolls=(), lips=(), grain_deg=0.0)
    items = blank_drawing(WORK, blank).items
    (word,) = [item for item in items if isinstance(item, Words) and item.text == "GRAIN"]
    wide = 0.35 * word.height * len(word.text)
    along = np.array([np.cos(np.radians(word.turn)), np.sin(np.radians(word.turn))]) * wide
    assert frame.covers(LineString([np.array(word.at) - along, np.array(word.at) + along]))
    arrows = [i.path.points for i in items if i.layer == "text" and hasattr(i, "path")]
    assert len(arrows) == 3
    assert all(frame.covers(LineString(points)) for points in arrows)


def test_a_lips_net_line_is_left_to_its_bend():
    """Folded edges with bend lines have no net line beside them, others keep theirs."""
    edge = replace(TUNNEL.edges[0], joint="fold", letter="A", allowance=9.0)
    shape = box(-9, -9, 400, 200)
    line = np.array([[0.0, 0.0], [0.0, 190.0]])
    bare = replace(TUNNEL, outline=shape, net=shape.buffer(-9), marks=(), folds=(), rolls=(), lips=(),
                   edges=(replace(edge, points=line),))  # fmt: skip

    def near(blank) -> int:
        scribed = [LineString(item.path.points) for item in blank_drawing(WORK, blank).on("scribe")]
        shift = -np.array(blank.outline.bounds[:2])
        return sum(s.hausdorff_distance(LineString(line + shift)) < 10 for s in scribed)

    bend = _lip(line)
    assert near(bare) == 1
    assert near(replace(bare, lips=(bend,))) == 0


def _lip(line: np.ndarray):
    """A lip on edge A."""
    return Bend("A", 9.0, line, line + [2.0, 0.0], (90.0, 90.0), 3.0, False, 0.4, "a table", True)


def test_every_lettered_edge_has_its_letter():
    """On every blank each letter is there once; an edge crowded close by has it farther in."""
    for blank in WORK.blanks:
        wanted = sorted({edge.letter for edge in blank.edges if edge.letter})
        metal = blank.outline.buffer(-2.0)
        assert sorted({s.text for s in seam_signs(blank, metal, LineString([(-9, -9), (-8, -9)]))}) == wanted
    edge = next(e for e in TUNNEL.edges if e.letter)
    crowd = LineString(edge.points).buffer(9.0)
    metal = TUNNEL.outline.buffer(-2.0)
    (sign,) = [s for s in seam_signs(TUNNEL, metal, crowd) if s.text == edge.letter]
    assert crowd.distance(LineString([sign.middle, sign.middle + 1e-6])) > 0


def test_an_edge_without_a_letter_is_not_told_by_one():
    """A side of 1 mm has no room for four letters: its file and the page say so and give its length; no other is."""
    shape = Polygon([(0, 0), (200, 0), (200, 100), (199, 100), (0, 100)])
    points = {"A": [(0, 0), (200, 0)], "WXYZ": [(200, 100), (199, 100)]}
    edges = tuple(
        replace(TUNNEL.edges[0], letter=k, points=np.array(v, float), allowance=a, joint="butt", length_blank=length)
        for (k, v), a, length in zip(points.items(), (3.0, 0.0), (200.0, 1.0), strict=True)
    )
    crowd = tuple(Fold(np.array([x, 30.0]), np.array([x, 99.0]), np.empty((0, 2, 2)), 90.0, 3.0, True, 0.4, "a table")
                  for x in np.arange(150.0, 199.0, 2.0))  # fmt: skip
    blank = replace(TUNNEL, outline=shape, net=shape, edges=edges, folds=crowd, marks=(), rolls=(), lips=())
    work = replace(WORK, blanks=tuple(blank if b is TUNNEL else b for b in WORK.blanks))
    says = "net: WXYZ (its letter has no room: 1.0 mm long)"
    assert says in _words(blank_drawing(work, blank))
    assert says in _page(work)
    assert "A (its" not in _page(work)
    assert unlettered(work)["tunnel"] == {"WXYZ"}


def test_a_letter_is_nearest_to_its_own_edge():
    """A narrow strip with its name along it: both long sides and both ends have their letters, each at its own.

    None stands on the name or on the words below it.
    """
    wide = 20.0
    shape = box(0, 0, 160, wide)
    corners = np.array([(0, 0), (160, 0), (160, wide), (0, wide), (0, 0)], dtype=float)
    lengths = (160.0, wide, 160.0, wide)
    edges = tuple(
        replace(TUNNEL.edges[0], letter=letter, points=corners[k : k + 2], allowance=0.0, length_blank=lengths[k])
        for k, letter in enumerate(("AR", "BR", "CR", "DR"))
    )
    blank = replace(TUNNEL, name="bump-out wall front", outline=shape, net=shape, edges=edges, folds=(), marks=(),
                    rolls=(), lips=(), grain_deg=None)  # fmt: skip
    face = face_of(blank, "8")
    assert sorted(sign.text for sign in face.signs) == ["AR", "BR", "CR", "DR"]
    lines = {edge.letter: LineString(edge.points) for edge in edges}
    kept_off = unary_union([face.label.box, face_words(face.label)])
    for sign in face.signs:
        at = Point(sign.middle)
        away = {letter: line.distance(at) for letter, line in lines.items()}
        assert min(away, key=away.__getitem__) == sign.text
        assert not kept_off.contains(at)
