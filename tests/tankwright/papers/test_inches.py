"""A job in inches: the same length reads the same on every paper, millimetres and inches."""

from __future__ import annotations

import csv
import io
import re
from functools import cache

import pypdf
import pytest

from tankwright.papers import all_papers
from tankwright.units import inches_shown, length_mm, show_inches, show_length, show_size, show_thickness

from .fixture import small_work


@cache
def papers() -> dict[str, bytes]:
    return all_papers(small_work("shear", "in"))


@cache
def words(name: str) -> str:
    """A paper's words, in one line."""
    content = papers()[name]
    if name.endswith(".pdf"):
        return " ".join(" ".join(p.extract_text() for p in pypdf.PdfReader(io.BytesIO(content)).pages).split())
    text = content.decode("utf-8-sig")
    return " ".join(re.sub(r"<script.*?</script>|<[^>]+>", " ", text, flags=re.S).replace("\u00a0", " ").split())


def _named(start: str, end: str) -> str:
    return next(name for name in papers() if name.startswith(start) and name.endswith(end))


def test_the_size_of_a_blank_reads_the_same_everywhere() -> None:
    """Job sheet, cut list, drawing, template and the cutter's page tell one size, in both units."""
    rows = list(csv.DictReader(io.StringIO(papers()["cut-list.csv"].decode("utf-8-sig"), newline="")))
    for blank, row in zip(small_work("shear", "in").blanks, rows, strict=False):
        x0, y0, x1, y1 = blank.outline.bounds
        assert show_size(x1 - x0, y1 - y0, "in") in words("job-sheet.html")
        for key, mm in (("Width, in", x1 - x0), ("Height, in", y1 - y0)):  # a column is all decimals
            assert float(row[key]) == pytest.approx(length_mm(show_inches(mm), "in") / 25.4, abs=0.00051)
            assert float(row[key]) == pytest.approx(mm / 25.4, abs=0.0045)
        assert show_length(x1 - x0, "in") in words(_named("drawings", ".pdf"))
        assert show_length(x1 - x0, "in") in words(f"templates/{blank.name.replace(' ', '-')}-tiles.pdf")


def test_columns_of_inches_are_the_same_on_every_paper() -> None:
    """The cutter's page and the shear's steps have the inches of the cut list, always three decimals of them."""
    rows = list(csv.DictReader(io.StringIO(papers()["cut-list.csv"].decode("utf-8-sig"), newline="")))
    page = papers()["cutting/for-the-cutter.txt"].decode("ascii")
    for blank, row in zip(small_work("shear", "in").blanks, rows, strict=False):
        size = f"{float(row['Width, in']):.3f} x {float(row['Height, in']):.3f}"
        assert re.search(rf"-mm\.dxf +[\d.]+ x [\d.]+ +{re.escape(size)}  ", page), (blank.name, size)
    pairs = re.findall(r"(\d+\.\d) \((\d+\.\d+)\)", words(_named("drawings", ".pdf")))
    columns = [(mm, inches) for mm, inches in pairs if re.fullmatch(r"\d+\.\d{3}", inches)]
    assert columns
    for mm, inches in columns:
        assert inches == f"{inches_shown(float(mm)):.3f}", (mm, inches)


@pytest.mark.parametrize("name", ["job-sheet.html", "drawings", "templates"])
def test_the_two_figures_of_a_pair_are_one_length(name: str) -> None:
    """Every "inches in (millimetres mm)" on a paper: the inches, read back, are those millimetres within 0.06 mm."""
    text = words(name if name.endswith(".html") else _named(name, ".pdf"))
    text = text.replace(show_thickness(small_work("shear", "in").job.thickness, "in"), "")  # always decimal, as sold
    pairs = re.findall(r"(?<![\d/.])(-?\d+ \d+/\d+|-?\d+/\d+|-?\d*\.?\d+) in \((-?\d+\.\d) mm\)", text)
    assert len(pairs) >= 2
    for inches, mm in pairs:
        assert length_mm(inches, "in") == pytest.approx(float(mm), abs=0.06), (inches, mm)
        assert inches == show_inches(float(mm)), (inches, mm)
