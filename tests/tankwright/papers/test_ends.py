"""Which way round a blank lies: checked on a made-up body whose seams are known, and on a whole job."""

from __future__ import annotations

from functools import cache
from pathlib import Path

import numpy as np
import pytest

from tankwright.job import load_job, work_out
from tankwright.papers.blankface import seam_ticks
from tankwright.papers.ends import Ends, ends_of, runs_from_start
from tankwright.work import Work

EXAMPLES = Path(__file__).parents[3] / "examples"


@cache
def scrambler() -> Work:
    return work_out(load_job(EXAMPLES / "scrambler"))


def test_the_sides_of_a_blank_are_named_as_they_lie_on_the_tank() -> None:
    """The right side is drawn crown edge down, the left one crown edge up: both from outside, front at the left."""
    work = scrambler()
    found = {blank.name: ends_of(work, blank) for blank in work.blanks}
    assert found["side right"] == Ends("front", "rear", "top", "bottom")
    assert found["side left"] == Ends("front", "rear", "bottom", "top")
    assert found["crown"] == Ends("front", "rear", "left", "right")
    assert found["rear end"] == Ends("bottom", "top", "right", "left")
    assert found["floor right"] == Ends("front", "rear", "outer", "inner")


@pytest.mark.parametrize("letter", ["B", "AL", "AR", "DR", "EL", "ER", "ML"])
def test_both_mates_count_a_seam_from_the_same_end(letter: str) -> None:
    """The seams met at the end where a seam begins are those of one corner of the tank, on both mates."""
    work = scrambler()
    begins = []
    for blank in work.blanks:
        for edge in blank.edges:
            if edge.letter == letter:
                start = edge.points[0 if runs_from_start(work, blank, edge) else -1]
                ends = [other for other in blank.edges if other is not edge]
                near = min(ends, key=lambda other: np.hypot(*(other.points - start).T).min())
                begins.append((blank.name, near.letter[:1], near.letter[1:]))
    # The neighbour seams at the beginning meet at one corner of the tank, where three pieces come together.
    assert len(begins) == 2
    corner = {(name, letter_) for name, letter_, _ in begins}
    hands = {hand for _, _, hand in begins if hand}
    assert len(corner) == 2
    assert len(hands) <= 1


def test_a_quarter_meets_a_quarter() -> None:
    """Ticks of like share stand at the same place of the finished seam: B begins at the rider's left on both mates."""
    work = scrambler()
    at = {}
    for blank in work.blanks:
        for tick in seam_ticks(work, blank):
            if tick.edge.letter == "B" and tick.share == 0.25:
                at[blank.name] = float(tick.ends.mean(axis=0)[1])
    assert at["crown"] < -5  # drawn with the left below
    assert at["rear end"] > 5  # drawn with the left above
