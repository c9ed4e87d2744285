"""Cut paths have no piece that a torch stands still on, and stay within 0.05 mm of their outline."""

from __future__ import annotations

import math

import numpy as np
import pytest
from shapely.geometry import LinearRing

from tankwright.papers.cutting_short import MERGED_MISS_MM, SHORT_MM, without_short
from tankwright.papers.outline import Path


def _lines(points: list[tuple[float, float]]) -> Path:
    return Path(np.array(points), np.zeros(len(points)), True)


def _shortest(path: Path) -> float:
    return float(np.linalg.norm(np.roll(path.points, -1, axis=0) - path.points, axis=1).min())


# A notch as found where bend reliefs meet net edges, in round numbers; misses by plane geometry, no source needed.
def test_a_short_piece_between_long_ones_is_merged():
    """A step of 0.37 mm that bows 0.03 mm off its neighbours' chord goes; the outline holds to 0.05 mm."""
    outline = _lines([(0, 0), (100, 0), (100, 40.0), (99.58, 44.15), (99.572, 44.52), (98.5, 50), (98, 90), (0, 90)])
    merged = without_short(outline, LinearRing(outline.points))
    assert len(merged.points) == len(outline.points) - 1
    assert _shortest(merged) > SHORT_MM
    assert LinearRing(merged.points).hausdorff_distance(LinearRing(outline.points)) <= MERGED_MISS_MM


@pytest.mark.parametrize(("chamfer", "left"), [(0.6, 5), (0.06, 4)])
def test_a_chamfer_stays_while_it_can_be_seen(chamfer, left):
    """Cut off a corner of 90 degrees, a chamfer c long lies c / 2 from the corner: 0.3 mm stays, 0.03 mm goes."""
    c = chamfer / math.sqrt(2)
    outline = _lines([(0, 0), (50, 0), (50, 30 - c), (50 - c, 30), (0, 30)])
    assert len(without_short(outline, LinearRing(outline.points)).points) == left


def test_a_path_without_short_pieces_is_given_back():
    """Nothing to do: the very same path."""
    outline = _lines([(0, 0), (50, 0), (50, 30), (0, 30)])
    assert without_short(outline, LinearRing(outline.points)) is outline
