"""Blanks that do not go on the sheets there are: what is said names what has to change."""

from __future__ import annotations

from pathlib import Path

import pytest
from shapely.geometry import box

from tankwright.errors import JobError
from tankwright.job import nest_blanks
from tankwright.load import load_job
from tankwright.ways import _Box

EXAMPLE = Path(__file__).resolve().parents[2] / "examples" / "peanut-2gal"


def refused(folder, longest, *sizes):
    """The mistakes told of rectangles, inches, on a shear with a blade of that length, inches."""
    for file in EXAMPLE.iterdir():
        if file.is_file():
            (folder / file.name).write_bytes(file.read_bytes())
    shop = folder / "shop.toml"
    shop.write_text(shop.read_text().replace("[nesting]\n", f"[nesting]\nlongest_cut = {longest}\n"))
    blanks = [_Box(f"blank {k}", box(0, 0, w * 25.4, h * 25.4), None) for k, (w, h) in enumerate(sizes)]
    with pytest.raises(JobError) as caught:
        nest_blanks(load_job(folder), blanks)
    return caught.value.findings


def test_a_blade_too_short_for_every_sheet_is_told_once(tmp_path):
    """Sheets of 2 x 4 and 4 x 8 ft, a blade of 20 in: no seam mends that, and a larger sheet neither."""
    (found,) = refused(tmp_path, 20, (10, 8), (9, 7), (12, 5))
    assert found.where == "No sheet in stock can be cut on this shear."
    assert "24 in (609.6 mm), on 2 x 4 ft" in found.found
    assert "20 in (508.0 mm)" in found.allowed
    for way in ("supplier", "profile", "another shear"):
        assert way in found.remedy
    assert "seam" not in found.remedy


def test_a_blank_longer_than_the_blade_may_go_on_another_shear(tmp_path):
    """The sheets can be cut, the one blank cannot: it is named, and a longer shear is among what to try."""
    (found,) = refused(tmp_path, 30, (45, 20), (10, 8))
    assert "blank 0" in found.where
    assert "longer shear" in found.remedy
    assert "48 x 96 in (1219.2 x 2438.4 mm)" in found.remedy
