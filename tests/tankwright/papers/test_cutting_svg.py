"""Cutting files as SVG: true millimetres, the same outlines as the DXF, only one group to cut."""

from __future__ import annotations

import math
import re
from xml.etree import ElementTree

import numpy as np
import pytest

from tankwright.papers.cutting import cutting_drawings
from tankwright.papers.cutting_svg import svg_files
from tankwright.papers.look import LAYERS
from tankwright.papers.outline import Path

from .fixture import FILLER_MM, small_work

WORK = small_work()
SPACE = {"s": "http://www.w3.org/2000/svg"}


@pytest.fixture(scope="module")
def files() -> dict[str, bytes]:
    return svg_files(WORK)


def _read_path(data: str) -> Path:
    """Path data back into points and bulges, y up again."""
    points: list[np.ndarray] = []
    bulges: list[float] = []
    closed = data.endswith("Z")
    for letter, numbers in re.findall(r"([MLA])([^MLAZ]*)", data):
        values = [float(v) for v in numbers.split()]
        end = np.array([values[-2], -values[-1]])
        if letter == "A":
            chord = float(np.hypot(*(end - points[-1])))
            half = math.asin(min(1.0, chord / 2 / values[0]))
            angle = 2 * half
            bulges[-1] = math.tan(angle / 4) * (-1 if values[4] else 1)
        points.append(end)
        bulges.append(0.0)
    if closed and np.allclose(points[0], points[-1]):
        points, bulges = points[:-1], bulges[:-1]
    return Path(np.array(points), np.array(bulges), closed)


def _cuts(content: bytes) -> list[Path]:
    root = ElementTree.fromstring(content)
    group = root.find(f"s:g[@id='{LAYERS['cut'].name}']", SPACE)
    assert group is not None
    assert not group.findall("s:text", SPACE)
    return [_read_path(path.get("d", "")) for path in group.findall("s:path", SPACE)]


def test_one_user_unit_is_one_millimetre(files):
    """Width and height in mm are those of the view box."""
    for name, content in files.items():
        root = ElementTree.fromstring(content)
        _, _, wide, high = map(float, root.get("viewBox", "").split())
        assert root.get("width") == f"{wide:g}mm" or float(root.get("width", "")[:-2]) == pytest.approx(wide)
        assert float(root.get("height", "")[:-2]) == pytest.approx(high)
        assert name.endswith("-mm.svg")


def test_cut_paths_are_the_drawing(files):
    """Read back, each cut path has the area and length of the path it was written from, to 0.01 mm and 0.1 mm2."""
    for name, drawing in cutting_drawings(WORK).items():
        found = _cuts(files[f"cutting/svg/{name}-mm.svg"])
        wanted = [line.path for line in drawing.on("cut")]
        assert len(found) == len(wanted)
        for one, other in zip(found, wanted, strict=True):
            assert one.closed
            assert one.area == pytest.approx(other.area, abs=0.1)
            assert one.length == pytest.approx(other.length, abs=0.01)


def test_filler_hole_is_round(files):
    """The hole comes back as four arcs of 57 mm diameter, anticlockwise."""
    hole = _cuts(files["cutting/svg/blank-top-skin-mm.svg"])[0]
    assert hole.area == pytest.approx(math.pi * FILLER_MM**2 / 4, abs=0.01)


def test_check_line_and_words_are_there_and_not_cut(files):
    """100 mm check line in its own group, words in theirs with no stroke, net geometry said."""
    for content in files.values():
        root = ElementTree.fromstring(content)
        line = root.find(f"s:g[@id='{LAYERS['check'].name}']/s:path", SPACE)
        assert line is not None
        assert _read_path(line.get("d", "")).length == pytest.approx(100.0)
        texts = root.findall(f"s:g[@id='{LAYERS['text'].name}']/s:text", SPACE)
        assert all(t.get("stroke") == "none" for t in texts)
        words = "\n".join(t.text or "" for t in texts)
        assert "Net geometry" in words
        assert "Revision: B" in words


def test_words_lie_on_the_page(files):
    """Words that run level end on the page, at half their size a letter (sans-serif, from memory)."""
    for content in files.values():
        root = ElementTree.fromstring(content)
        left, _, wide, _ = map(float, root.get("viewBox", "").split())
        for text in root.iterfind(".//s:text", SPACE):
            if text.get("transform") is None and text.get("text-anchor") is None:
                end = float(text.get("x", "")) + 0.5 * float(text.get("font-size", "")) * len(text.text or "")
                assert end < left + wide, text.text


def test_same_work_gives_the_same_bytes(files):
    """Written twice, each file is the same to the byte."""
    assert svg_files(WORK) == files
