"""Figures keep together where a text is broken into lines."""

from __future__ import annotations

import re
from itertools import pairwise

import pytest

from tankwright.papers.pdf import text_width, wrap

TEXT = "trim 15 1/4 in (387.4 mm) from 8.5, 12 (15 1/4) to 0.0 (0), stays on; R 2.0 (5/64), K 0.420, 1/2 and 3.2 kg"


@pytest.mark.parametrize("room", [4.0, 9.0, 14.0, 17.0, 23.0, 31.0, 60.0, 200.0])
def test_a_number_keeps_its_fraction_and_its_unit(room: float) -> None:
    """In any room: a fraction never begins a line after a whole number; a unit stands alone only where it must."""
    lines = wrap(TEXT, room, 2.1)
    assert " ".join(lines) == TEXT
    for line, after in pairwise(lines):
        first = after.split()[0]
        assert not (re.search(r"(^|[ (])\d+$", line) and re.match(r"\d+/\d", first)), (line, after)
        if line[-1].isdigit() and re.fullmatch(r"(mm|in|kg)\W*|\(0\),", first):
            figure = re.findall(r"(?:\d+ (?=\d+/))?\S+$", line)[0]
            assert text_width(f"{figure} {first}", 2.1) > room, (line, after)
    wide = [line for line in lines if text_width(line, 2.1) > room]
    assert all(" " not in line or re.fullmatch(r"\(?\d+ \d+/\d+\W*", line) for line in wide), wide
