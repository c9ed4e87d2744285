"""What the papers tell of a lip: when it is turned, how far, where its bend lies, and which side of it is the piece."""

from __future__ import annotations

import re
from dataclasses import replace

import numpy as np
import pytest
from shapely.geometry import Polygon, box

from panels.blank import Bend, Blank, Edge, Mark
from tankwright.papers.blankface import along_edge, face_of
from tankwright.papers.drawings import drawings_pdf
from tankwright.papers.ends import left_is_metal
from tankwright.papers.jobsheet_order import order_section
from tankwright.papers.offsets import bend_heights, cut_over
from tankwright.papers.results import figures
from tankwright.papers.words import joint_word

from .fixture import small_work
from .reading import read, words_of

WIDTH, TURN = 9.0, 90.0


def _lipped(blank: Blank) -> Blank:
    """The tunnel with its edge at the lower side turned over along a parabola, and an opening beside it."""
    x = np.linspace(5.0, 395.0, 79)
    begins = np.column_stack([x, 16 + (x - 200) ** 2 / 4000])
    ends = begins - [0, 4]
    lip = Bend("D", 12.0, begins, ends, (TURN, TURN), 3.0, False, 0.4, "common practice, no source", False)
    marks = (Mark("bend", begins, "lip D: bend 90.0\u00b0 down between these two lines"), Mark("bend", ends))
    edges = tuple(replace(e, joint="fold", allowance=WIDTH) if e.letter == "D" else e for e in blank.edges)
    return replace(blank, lips=(lip,), marks=(*blank.marks, *marks), edges=edges)


@pytest.fixture(scope="module")
def work():
    work = small_work()
    return replace(work, blanks=tuple(_lipped(b) if b.name == "tunnel" else b for b in work.blanks))


def test_a_lip_is_turned_before_the_legs_are_folded(work):
    """Common practice, no source: in the order of work the lip comes before the folds, with its angle and way."""
    told = order_section(work, figures(work))
    assert told.index("Turn the lips of") < told.index(">Fold <a")
    step = told[told.index("Turn the lips of") :].partition("</li>")[0]
    assert "D 90.0\u00b0 down, away from the good face" in step
    assert "while it lies flat" in step


def test_the_fold_table_and_the_offsets_have_the_lip(work):
    """Angle, way and radius on the drawing; beside the stations where its bend lies: a parabola's own heights."""
    pages = [words_of(page) for page in read(drawings_pdf(work)).pages]
    drawn = next(page for page in pages if "lip D" in page and "inside radius, K" in page)
    assert "90.0\u00b0 down" in drawn
    assert "stays on" in drawn
    assert any("lip: bend from" in page for page in pages)
    tunnel = next(blank for blank in work.blanks if blank.name == "tunnel")
    x0, y0, *_ = tunnel.outline.bounds
    for along, row in zip((100.0, 300.0), bend_heights(tunnel, (100.0, 300.0)), strict=True):
        high = 16 + (along + x0 - 200) ** 2 / 4000 - y0
        assert row == [("D", pytest.approx(high, abs=0.01), pytest.approx(high - 4, abs=0.01))]
    assert bend_heights(tunnel, (396.0 - x0,)) == [[]]


def test_the_piece_is_told_from_its_lip_though_both_lie_in_the_net():
    """Whichever way the edge is walked, the piece is the side whose metal goes on, not the side the lip ends on."""
    net = Polygon(box(0, 0, 300, 100).exterior, [box(100, 30, 160, 60).exterior.coords])
    for way in (1, -1):
        points = np.array([[0.0, WIDTH], [300.0, WIDTH]])[::way]
        edge = Edge("D", "floor", "fold", WIDTH, points, 300.0, 300.0)
        left = np.array([0.0, 1.0]) * way
        assert left_is_metal(edge, net, np.array([130.0, WIDTH]), left) == (way == 1)
        at, _, inward = along_edge(edge, net, 0.5)
        assert inward @ [0, 1] > 0.99
        work = small_work()
        blank = replace(work.blanks[0], outline=net, net=net, edges=(edge,), marks=(), folds=(), flat=None)
        cut = cut_over(face_of(work, blank), edge, at, inward)
        assert cut == pytest.approx((150.0, 0.0), abs=0.01)  # the lip's free edge, not the opening's


def test_both_edges_of_a_seam_have_one_joint(work):
    """A flange is a flange on the piece that lies over it too."""
    seam = next(joint for joint in work.seams if joint.letter == "D")
    flange = replace(seam, kind="flange", outside=seam.sides[0].piece)
    edges = [edge for blank in work.blanks for edge in blank.edges if edge.letter == "D"]
    told = {joint_word(edge, (flange,)) for edge in edges}
    assert told == {"flange, lies inside", "flange, lies outside"}


def test_the_order_says_what_is_drilled_when_and_which_trim_waits(work):
    """Scribed holes have a step; a mount's opens into the fuel; what has no size is named; trim at the ends
    is kept until the end piece is there."""
    got = figures(work)
    tap = {"name": "tap <a>", "kind": "outlet", "on": "floor", "piece": [99], "hole_mm": 0.0, "cut": False}
    filler = {**tap, "name": "filler", "kind": "filler", "hole_mm": 56.0}
    mount = {**tap, "name": "mount", "kind": "mount", "hole_mm": 8.5}
    told = order_section(work, {**got, "fittings": [tap, filler, mount]})
    assert "only scribed: filler \u00d8 56.0 mm in floor." in told
    assert "opens into the fuel: mount \u00d8 8.5 mm" in told
    assert "No size is given for tap &lt;a&gt;:" in told
    assert "Cut the holes" not in order_section(work, {**got, "fittings": [{**filler, "cut": True}]})
    formed = next(blank for blank in got["blanks"] if blank["kind"] == "formed")
    formed["edges"][0].update(meets="end cap front", letter="ZZ", allowance_mm=12.0)
    told = order_section(work, got)
    assert re.search(r"ZZ until <a[^>]*>\d+ end cap front</a>", told)
