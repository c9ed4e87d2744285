"""Rolls on the papers: every paper that a rolled piece is made from says where, how tight, how far and which way.

The fixture's top skin turns 60 degrees over half its 150 mm: neutral radius 75 / (pi / 3) = 71.62 mm, inside 70.8.
"""

from __future__ import annotations

import io
import math
from dataclasses import replace

import ezdxf
import numpy as np
import pytest
from pypdf import PdfReader

from tankwright.papers.blankface import face_of
from tankwright.papers.drawings import drawings_pdf
from tankwright.papers.dxf import dxf_files
from tankwright.papers.jobsheet_pieces import pieces_section
from tankwright.papers.results import figures
from tankwright.papers.rollwords import hollow_words, radius_words, roll_notes, where_words
from tankwright.papers.templates import full_size_pdf, tiled_pdf

from .fixture import ROLL_DEG, THICKNESS, small_work

INSIDE = 75 / math.radians(ROLL_DEG) - THICKNESS / 2


def _skin(work):
    return next(blank for blank in work.blanks if blank.name == "top skin")


def _text(pdf: bytes) -> str:
    return " ".join(" ".join(page.extract_text().split()) for page in PdfReader(io.BytesIO(pdf)).pages)


def test_drawing_and_templates_say_radius_turn_and_way() -> None:
    work = small_work()
    face = face_of(work, _skin(work))
    assert f"{INSIDE:.1f}" == "70.8"
    drawing = _text(drawings_pdf(work, [face]))
    for said in ("roll 1: inside R 70.8, 60.0\u00b0 \u2193 DOWN", "up 37.5", "up 112.5", "60.0\u00b0 down"):
        assert said in drawing, said
    for pdf in (full_size_pdf(face), tiled_pdf(face)):
        assert "up 37.5 to up 112.5: inside R 70.8, 60.0\u00b0 down" in _text(pdf)
    assert "from here" in _text(full_size_pdf(face))
    assert "to here" in _text(full_size_pdf(face))


def test_only_rolled_pieces_have_a_table_of_rolls() -> None:
    work = small_work()
    for blank in work.blanks:
        said = _text(drawings_pdf(work, [face_of(work, blank)]))
        assert ("Lay the lines along the rolls" in said) == (blank.name == "top skin"), blank.name


def test_results_and_job_sheet_say_the_same() -> None:
    work = small_work()
    got = figures(work)
    (row,) = (row for row in got["blanks"] if row["name"] == "top skin")
    flat, roll, last = row["rolls"]
    assert (flat["kind"], roll["kind"], last["kind"]) == ("flat", "rolled", "flat")
    assert (roll["roll"], roll["direction"], roll["angle_deg"]) == (1, "down", 60.0)
    assert roll["inside_radius_mm"] == pytest.approx(INSIDE, abs=0.01)
    assert flat["inside_radius_mm"] is None
    assert np.array(roll["from_mm"])[:, 1] == pytest.approx([37.5, 37.5])
    assert all(not other["rolls"] for other in got["blanks"] if other["name"] != "top skin")
    html = pieces_section(work, got)
    assert "37.5 up" in html
    assert "60.0\u00b0 down" in html


def test_roll_lines_are_scribed_and_never_cut() -> None:
    work = small_work()
    files = dxf_files(work)
    (name,) = (n for n in files if n.endswith("blank-top-skin-mm.dxf") and "r12" not in n)
    drawing = ezdxf.read(io.StringIO(files[name].decode()))
    low = _skin(work).outline.bounds[1]
    heights = {}
    for line in drawing.modelspace().query("LINE"):
        (x0, y0), (x1, y1) = line.dxf.start.vec2, line.dxf.end.vec2
        if abs(y0 - y1) < 0.01 and abs(x1 - x0) > 100:
            heights.setdefault(line.dxf.layer, set()).add(round(y0 - low, 1))
    assert {37.5, 112.5} <= heights["SCRIBE"]
    assert not {37.5, 112.5} & heights.get("CUT", set())
    words = [entity.dxf.text for entity in drawing.modelspace().query("TEXT")]
    assert any("inside R 70.8" in text for text in words)


def test_words_of_a_roll() -> None:
    """A radius that changes has both in brackets; a cone's has both edges; hollow: r - sqrt(r2 - c2 / 4)."""
    roll = _skin(small_work()).rolls[1]
    assert radius_words(roll) == "70.8"
    assert radius_words(roll, "in") == "70.8 (2.79 in)"
    assert radius_words(replace(roll, along=(80.0, 60.0)), "in") == "70.8 (2.79 in), 80.0 to 60.0 mm"
    assert radius_words(replace(roll, along=(80.0, 1e4))) == "70.8 (80.0 to flat)"
    assert radius_words(replace(roll, across=(50.0, 90.0))) == "50.0 at the narrow edge to 90.0 at the wide"
    wide = replace(roll, radius=1000.0, along=(1000.0, 1000.0), across=(1000.0, 1000.0), angle=20.0)
    assert hollow_words(wide) == "5.0 over 200"  # 1000 - sqrt(1000^2 - 100^2) = 5.01
    assert where_words(np.array([[41.83, 0.0], [41.79, 22.0]]), "mm") == "along 41.8"
    assert where_words(np.array([[0.0, 30.0], [41.79, 22.0]]), "mm") == "0.0, 30.0 \u2013 41.8, 22.0"
    ((says, ends),) = roll_notes(_skin(small_work()))
    assert says == "ROLL 1: R 70.8, 60.0 deg, away from good face"
    assert ends[:, 1] == pytest.approx([37.5, 37.5])
