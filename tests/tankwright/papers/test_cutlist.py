"""The cut list: complete, tied, computed, printable, and the same every time."""

from __future__ import annotations

import csv
import io
import re
import zipfile
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import openpyxl
import pytest
from shapely.geometry import box

from tankwright.papers.cutlist import cut_lists
from tankwright.papers.results import figures
from tankwright.papers.words import edge_change
from tankwright.units import length_mm, show_inches

from .fixture import small_work

REFERENCE = re.compile(r"(?:'([^']+)'!)?\$?([A-Z]+)\$?(\d+)(?::\$?([A-Z]+)\$?(\d+))?")


def _books(work):
    data = cut_lists(work)["cut-list.xlsx"]
    return (openpyxl.load_workbook(io.BytesIO(data), data_only=values) for values in (False, True))


def _rows(data: bytes) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(data.decode("utf-8-sig"), newline="")))


def _calculated(formulas, page, formula: str) -> float:
    """What a formula of sums and the four operations gives, following references; our own little reader."""

    def at(match: re.Match) -> str:
        name, column, row, column_2, row_2 = match.groups()
        where = formulas[name] if name else page
        if column_2:
            cells = where[f"{column}{row}:{column_2}{row_2}"]
            return "+".join(repr(_value(formulas, where, cell.value)) for line in cells for cell in line)
        return repr(_value(formulas, where, where[f"{column}{row}"].value))

    text = REFERENCE.sub(at, formula.lstrip("="))
    assert re.fullmatch(r"[\d.e+\-*/() SUMROND,]+", text), text
    return eval(text.replace("SUM", "").replace("ROUND", "round"), {"__builtins__": {}, "round": round})


def _value(formulas, page, value):
    return _calculated(formulas, page, value) if isinstance(value, str) and value[:1] == "=" else value


@pytest.mark.parametrize("unit", ["mm", "in"])
@pytest.mark.parametrize("cutting", ["profile", "shear"])
def test_every_formula_carries_the_value_it_gives(cutting: str, unit: str) -> None:
    """A viewer that does not calculate shows what a spreadsheet would."""
    formulas, values = _books(small_work(cutting, unit))
    checked = 0
    for page in formulas:
        for row in page.iter_rows():
            for cell in row:
                if isinstance(cell.value, str) and cell.value.startswith("="):
                    stored = values[page.title][cell.coordinate].value
                    assert stored == pytest.approx(_calculated(formulas, page, cell.value), abs=1e-9)
                    checked += 1
    assert checked >= 20


def test_one_row_a_blank_with_everything_a_helper_needs() -> None:
    """Names, sides, sizes, areas, mass, cut length, pierces, allowances edge by edge, folds."""
    work = small_work()
    rows = _rows(cut_lists(work)["cut-list.csv"])
    assert [r["Name"] for r in rows[:-1]] == [b.name for b in work.blanks]
    right = next(r for r in rows if r["Name"] == "side right")
    assert right["Side"] == "right, mirror of side left"
    allowances = right["Left outside the trim line, edge by edge"]
    assert "B lap 12.0 mm" in allowances
    assert "E, F, D trim 10.0 mm" in allowances
    tunnel = next(r for r in rows if r["Name"] == "tunnel")
    assert tunnel["Folds: angle, direction, inside radius, K"].startswith("1: 90.0° up, inside radius 3.0 mm, K 0.4")
    for row, blank in zip(rows, work.blanks, strict=False):
        x0, y0, x1, y1 = blank.outline.bounds
        assert float(row["Width, mm"]) == pytest.approx(x1 - x0, abs=0.05)
        assert float(row["Height, mm"]) == pytest.approx(y1 - y0, abs=0.05)
        assert all(row[head] for head in row if not head.startswith("Folds")), row
        assert (row["Revision"], row["Patterns of"]) == ("B", "2026-03-14")


def test_the_areas_on_the_paper_tie() -> None:
    """Blanks + offcuts + skeleton = sheets within 0.1 %, from the printed figures alone."""
    papers = cut_lists(small_work())
    sheets, blanks = _rows(papers["sheets.csv"]), _rows(papers["cut-list.csv"])
    for row in sheets:
        whole = float(row["Sheet, m²"])
        apart = whole - sum(float(row[f"{name}, m²"]) for name in ("Blanks", "Offcuts", "Skeleton (scrap)"))
        assert abs(apart) <= 0.001 * whole
    for name in ("Sheet", "Blanks", "Offcuts", "Skeleton (scrap)"):
        column = [float(row[f"{name}, m²"]) for row in sheets]
        assert column[-1] == pytest.approx(sum(column[:-1]), abs=2e-4)
    assert float(blanks[-1]["Area as cut, m²"]) == pytest.approx(float(sheets[-1]["Blanks, m²"]), rel=1e-3)


def test_sheets_to_buy_stand_on_the_order() -> None:
    """The supplier's words and the count; the piece from the rack is not ordered."""
    _, values = _books(small_work())
    page = values["Totals and order"]
    lines = [page.cell(r, 1).value for r in range(6, page.max_row + 1)]
    assert lines[0] == "Buy: 1 sheet 3003-H14 aluminium, 14 ga (1.6 mm), 1250 x 1000 mm"
    assert sum(line.startswith("Buy") for line in lines) == 1


def test_heads_are_frozen_repeated_and_the_page_fits() -> None:
    """Every page: heads frozen and repeated in print, one page wide, job, revision and date in its header."""
    formulas, _ = _books(small_work("shear"))
    assert formulas.sheetnames == ["Cut list", "Sheets", "Edges", "Seams", "Folds", "Shear cuts", "Totals and order"]
    for page in formulas:
        assert page.freeze_panes is not None
        assert page.print_title_rows == "$5:$5"
        assert page.sheet_properties.pageSetUpPr.fitToPage
        assert page.page_setup.fitToWidth in (1, None)
        assert page.page_setup.fitToHeight == 0
        header = "".join(str(getattr(page.oddHeader, part).text) for part in ("left", "center", "right"))
        assert "Fixture tank" in header
        assert "revision B" in header
        assert "2026-03-14" in header


def test_the_stop_stands_above_the_table() -> None:
    """A helper who opens only the spreadsheet reads the stop before the first blank."""
    _, values = _books(small_work())
    for page in values:
        assert page["A3"].value.startswith("STOP, do not cut yet: The plan pattern is longer")


def test_an_inch_job_gets_inches_beside_the_millimetres() -> None:
    """Both units, millimetres first."""
    row = _rows(cut_lists(small_work(unit="in"))["cut-list.csv"])[0]
    heads = list(row)
    assert heads.index("Width, mm") < heads.index("Width, in")
    assert "Width, in" not in _rows(cut_lists(small_work())["cut-list.csv"])[0]


def test_the_same_job_gives_the_same_bytes() -> None:
    """No clock: stamps inside the spreadsheet are fixed or the patterns' date."""
    one, two = cut_lists(small_work()), cut_lists(small_work())
    assert one == two
    with zipfile.ZipFile(io.BytesIO(one["cut-list.xlsx"])) as file:
        assert b"2026-03-14T00:00:00Z" in file.read("docProps/core.xml")
        assert {item.date_time[0] for item in file.infolist()} == {1980}


@pytest.mark.parametrize("name", ["=1+1", "+49 170", "@home", "-Z & Söhne", "A & B"])
def test_a_name_is_never_taken_for_a_formula(name: str) -> None:
    """A customer's name that starts like a formula stays words, and & survives the page header."""
    work = small_work()
    job = SimpleNamespace(**{**vars(work.job), "name": name})
    papers = cut_lists(replace(work, job=job))
    cell = _rows(papers["cut-list.csv"])[0]["Job"]
    assert cell.lstrip("'") == name
    assert cell[0] not in "=+-@"
    page = openpyxl.load_workbook(io.BytesIO(papers["cut-list.xlsx"]))["Cut list"]
    assert page["A1"].value == f"Cut list: {name}"
    assert page["A1"].data_type == "s"


def test_papers_and_results_show_the_same_figures() -> None:
    """The cut list prints what results.json holds."""
    work = small_work()
    got = figures(work)
    for row, blank in zip(_rows(cut_lists(work)["cut-list.csv"]), got["blanks"], strict=False):
        assert float(row["Outline length, mm"]) == blank["cut_length_mm"]
        assert float(row["Mass as cut, kg"]) == pytest.approx(blank["mass_kg"], abs=0.00501)


@pytest.mark.parametrize("cutting", ["profile", "shear"])
def test_the_areas_tie_when_the_sheet_is_calculated_again(cutting: str) -> None:
    """Formulas worked out afresh from the rows alone: both ties within 0.1 % of the sheets; the rows are the shapes."""
    work = small_work(cutting)
    formulas, _ = _books(work)
    page = formulas["Totals and order"]
    again = {row[0].value: _value(formulas, page, row[1].value) for row in page.iter_rows(min_row=6)}
    whole = sum(used.sheet.metal.area for used in work.layout.sheets) / 1e6
    assert abs(again["Areas tie, m²"]) <= 0.001 * whole
    assert abs(again["Blanks tie, m²"]) <= 0.001 * whole
    laid = sum(placed.outline.area for placed in work.layout.placed) / 1e6
    assert again["Yield of whole sheets, %"] == pytest.approx(100 * laid / whole, rel=1e-3)
    metal = work.job.metal
    assert again["Mass in blanks as cut, kg"] == pytest.approx(
        laid * work.job.thickness * metal.density / 1e3, rel=2e-3
    )


@pytest.mark.parametrize("unit", ["mm", "in"])
@pytest.mark.parametrize("cutting", ["shear", "profile"])
def test_a_page_prints_at_a_size_that_can_be_read(cutting: str, unit: str) -> None:
    """One page wide on A4 or letter, all columns at 7 pixels of 1/96 in a letter of width: never under 60 %, so that
    9 point letters come out at 5.4 points or more."""
    _, values = _books(small_work(cutting, unit))
    for page in values.worksheets:
        letters = sum(d.width * (d.max - d.min + 1) for d in page.column_dimensions.values())
        across = 297.0 if page.page_setup.paperSize == 9 else 279.4
        room = across - 25.4 * (page.page_margins.left + page.page_margins.right)
        assert page.page_setup.orientation == "landscape"
        assert room / (letters * 7 / 96 * 25.4) > 0.6, page.title


@pytest.mark.parametrize("unit", ["mm", "in"])
def test_words_fit_their_cells(unit: str) -> None:
    """By the widths of Helvetica, which Arial's letters share: no word is wider than its column, no row too low."""
    from reportlab.pdfbase.pdfmetrics import stringWidth

    _, values = _books(small_work("shear", unit))
    for page in values:
        wide = {k: d.width for d in page.column_dimensions.values() for k in range(d.min, d.max + 1)}
        for row in page.iter_rows(min_row=5):
            for cell in (cell for cell in row if isinstance(cell.value, str) and cell.value):
                font = "Helvetica-Bold" if cell.font.b else "Helvetica"
                room = 0.75 * (7 * wide[cell.column] + 5) - 4  # seven pixels a figure, less the cell's margin, points
                lines, run = 1, 0.0
                for word in cell.value.split():
                    length = stringWidth(word, font, 9)
                    assert length <= room, (page.title, cell.coordinate, word)
                    run += length + (stringWidth(" ", font, 9) if run else 0.0)
                    if run > room:
                        lines, run = lines + 1, length
                high = page.row_dimensions[cell.row].height or 15.0  # the format's own height of a row
                assert high >= 11.5 * lines, (page.title, cell.coordinate, cell.value)


def test_every_length_of_an_inch_job_has_its_inches() -> None:
    """On every page a column in mm has one in inches behind it: the number that other papers write."""
    _, values = _books(small_work("shear", "in"))
    for title in ("Cut list", "Sheets", "Edges", "Folds", "Shear cuts"):
        rows = list(values[title].iter_rows(min_row=5, values_only=True))
        heads = rows[0]
        lengths = [k for k, head in enumerate(heads) if head.endswith(", mm") and not head.startswith("Shear strokes")]
        assert lengths, title
        for k in lengths:
            assert heads[k + 1] == heads[k].replace(", mm", ", in")
            for row in rows[1:]:
                if isinstance(row[0], int) and not heads[k].startswith("Thickness"):
                    assert row[k + 1] == pytest.approx(length_mm(show_inches(row[k]), "in") / 25.4, abs=0.00051)
                    assert row[k + 1] == pytest.approx(row[k] / 25.4, abs=0.0025)


def test_an_inch_column_reads_one_way() -> None:
    """All decimals to 0.001 down the column, never a fraction beside a decimal."""
    rows = _rows(cut_lists(small_work("shear", "in"))["cut-list.csv"])
    for head in ("Width, in", "Height, in", "Outline length, in"):
        assert all(re.fullmatch(r"\d+\.\d{3}", row[head]) for row in rows[:-1]), head


def test_folded_blanks_are_held() -> None:
    """Table and spreadsheet tell to wait for the bend test, and how much is to be decided, before the first blank."""
    work = small_work()
    rows = _rows(cut_lists(work)["cut-list.csv"])
    for row, blank in zip(rows, work.blanks, strict=False):
        assert row["Hold"] == ("wait until the shop says the bend test is done" if blank.folds else "none")
        looks = sum(found.strength == "look" for found in work.findings)
        assert row["To decide before cutting: see job sheet"] == str(looks)
    _, values = _books(work)
    number = [blank.name for blank in work.blanks].index("tunnel") + 1
    assert f"HOLD {number} tunnel: wait until" in values["Cut list"]["A3"].value


def test_what_stays_has_its_lap() -> None:
    """Of 300 x 100 mm net with a lap of 10 mm along one side and trim along the other three, 300 x 110 mm stay."""
    from panels.blank import Edge
    from tankwright.papers.cutting_hold import stays_area

    net, outline = box(0, 0, 300, 100), box(-5, -10, 305, 105)
    corners = [(0, 0), (300, 0), (300, 100), (0, 100), (0, 0)]
    edges = tuple(
        Edge(f"E{k}", "x", "lap" if k == 0 else "butt", 10.0 if k == 0 else 5.0, np.array(corners[k : k + 2]), 1.0, 1.0)
        for k in range(4)
    )
    blank = replace(small_work().blanks[0], net=net, outline=outline, edges=edges)
    assert stays_area(blank) == pytest.approx(300 * 110, rel=1e-6)
    turned = replace(
        blank, edges=tuple(replace(e, joint="fold") if e.joint == "lap" else e for e in edges), net=outline
    )
    assert stays_area(turned) == pytest.approx(outline.area)  # a lip lies inside the net outline as developed


def test_the_suppliers_table_has_no_price() -> None:
    """Quantity, metal, grade and size of every sheet, and no price; the shop's own list has it."""
    work = small_work("shear")
    rows = _rows(cut_lists(work)["sheets.csv"])
    assert not any("Price" in head for head in rows[0])
    assert [row["Quantity"] for row in rows[:-1]] == ["1"] * len(work.layout.sheets)
    assert rows[-1]["Quantity"] == str(len(work.layout.sheets))
    assert all("finish to be agreed" in row["Grade, finish"] for row in rows[:-1])
    formulas, _ = _books(work)
    assert any(str(cell.value).startswith("Price") for cell in formulas["Sheets"][5])


@pytest.mark.parametrize("thickness", [1.6, 1.21412])
def test_a_mass_is_one_figure(thickness: float) -> None:
    """Blanks on the list, in the spreadsheet's totals and in the results: the same kilograms to 0.01."""
    work = small_work()
    job = SimpleNamespace(**{**vars(work.job), "thickness": thickness})
    blanks = tuple(replace(blank, thickness=thickness) for blank in work.blanks)
    other = replace(work, job=job, blanks=blanks)
    got = figures(other)
    _, values = _books(other)
    total = {row[0]: row[1] for row in values["Totals and order"].iter_rows(min_row=6, values_only=True)}
    shown = f"{got['totals']['mass_in_parts_kg']:.2f}"
    assert f"{total['Mass in blanks as cut, kg']:.2f}" == shown
    for name, key in (("scrap", "scrap"), ("all sheets used", "used")):
        label = f"Mass of {name}, kg"
        assert total[label] == pytest.approx(got["totals"][f"mass_{key}_kg"], abs=1e-5)
    assert float(_rows(cut_lists(other)["cut-list.csv"])[-1]["Mass as cut, kg"]) == pytest.approx(
        float(shown), abs=0.011
    )


def test_an_edge_that_is_left_as_it_is_has_no_gain_in_the_spreadsheet() -> None:
    """A tenth on a folded piece, 3.5 % of a short edge, is no gain on any paper; the same on a formed piece is."""
    work = small_work()
    blanks = tuple(
        replace(blank, edges=tuple(replace(edge, length_blank=2.9, length_surface=3.0) for edge in blank.edges))
        for blank in work.blanks
    )
    other = replace(work, blanks=blanks)
    _, values = _books(other)
    rows = [row for row in values["Edges"].iter_rows(min_row=5, values_only=True) if row[0] is not None]
    heads = {name: k for k, name in enumerate(rows[0])}
    assert len(rows) == 1 + sum(len(blank.edges) for blank in blanks)
    for row, edge in zip(rows[1:], (e for b in blanks for e in b.edges), strict=True):
        kind = next(blank.kind for blank in blanks if blank.name == row[heads["Name"]])
        told = row[heads["Gain, mm"]], row[heads["Gain, %"]], row[heads["Work"]]
        assert told == ((0.1, 3.4, "ordinary") if kind == "formed" else (0, 0, "as it is")), (kind, told)
        assert (edge_change(edge, kind) == "as it is") == (told[2] == "as it is")
