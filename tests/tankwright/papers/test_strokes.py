"""Letters of single strokes: all that is needed, told from one another, to size, each stroke drawn once."""

from __future__ import annotations

import string
from itertools import combinations

import numpy as np
import pytest
from shapely.geometry import LineString

from tankwright.papers.cutting_marks import _in_rows, find_label
from tankwright.papers.strokes import GLYPHS, stroke_width, strokes

from .fixture import small_work


def _steps(letter: str) -> list[frozenset[tuple[float, float]]]:
    """The straight pieces of a letter, without their sense."""
    return [
        frozenset({tuple(a), tuple(b)})
        for stroke in strokes(letter, 6.0)
        for a, b in zip(stroke.tolist(), stroke.tolist()[1:], strict=False)
    ]


def test_every_letter_of_plain_words_is_there():
    """Capitals, figures and the signs names are written with; small letters as capitals, the rest as ?."""
    assert set(string.ascii_uppercase + string.digits + " -./(),:'") <= set(GLYPHS)
    small, large = strokes("side 12", 5.0), strokes("SIDE 12", 5.0)
    assert all((a == b).all() for a, b in zip(small, large, strict=True))
    assert len(strokes("~", 5.0)) == len(strokes("?", 5.0))
    assert len(strokes("Łódź", 5.0)) == len(strokes("LODZ", 5.0))


@pytest.mark.parametrize("letter", sorted(set(GLYPHS) - {" "}))
def test_a_letter_is_drawn_once_within_its_height(letter):
    """No piece is drawn twice or has no length, and none leaves the box of 4 by 6."""
    steps = _steps(letter)
    assert len(steps) == len(set(steps))
    assert all(len(step) == 2 for step in steps)
    points = np.vstack(strokes(letter, 6.0))
    assert points.min() >= 0
    assert points[:, 0].max() <= 4
    assert points[:, 1].max() <= 6


def test_no_two_letters_are_alike():
    """Every pair differs in some piece; 0 and O, 1 and I, 5 and S, 8 and B are told apart."""
    shapes = {letter: frozenset(_steps(letter)) for letter in GLYPHS}
    assert all(shapes[a] != shapes[b] for a, b in combinations(shapes, 2))
    for pair in ("0O", "1I", "5S", "8B", "2Z"):
        assert shapes[pair[0]] ^ shapes[pair[1]]


def test_no_second_line_begins_with_a_figure():
    """A second line of a label that did would be read for the number of the piece."""
    assert _in_rows("1 skin 1 right") == [("1 skin 1 right",), ("1 skin 1", "right")]
    assert _in_rows("8 rear end")[1] == ("8 rear", "end")
    assert _in_rows("9 2") == [("9 2",)]


def test_width_is_what_is_drawn():
    """From the first letter's left to the last one's right; letters follow at a height's distance."""
    drawn = np.vstack(strokes("HELEN", 12.0))
    assert np.ptp(drawn[:, 0]) == pytest.approx(stroke_width("HELEN", 12.0)) == pytest.approx(56.0)
    assert np.ptp(drawn[:, 1]) == pytest.approx(12.0)


def test_the_label_lies_inside_the_trim_line_clear_of_folds():
    """On every blank of the fixture there is one, on the net shape, off the folds and the centre line."""
    for blank in small_work().blanks:
        label = find_label(blank, f"1 {blank.name}")
        assert label.lines, blank.name
        assert " ".join(label.lines) == f"1 {blank.name}"
        assert blank.net.buffer(1e-6).covers(label.box), blank.name
        assert blank.outline.buffer(1e-6).covers(label.box), blank.name
        for fold in blank.folds:
            assert label.box.distance(LineString([fold.start, fold.end])) > 3.9
