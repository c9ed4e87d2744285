"""Full-size templates: true to scale by numbers and by ink, complete, and joinable."""

from __future__ import annotations

import re
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pypdf.generic import NameObject
from shapely import affinity
from shapely.geometry import LineString, Polygon, box
from shapely.ops import unary_union

from tankwright.papers import pdf
from tankwright.papers.blankface import face_of
from tankwright.papers.look import A4, LETTER, PENS, TILE
from tankwright.papers.pdf import spell, wrap
from tankwright.papers.templates import at_full_size, full_size_pdf, template_files, tiled_pdf
from tankwright.papers.tiling import targets, tile_blank

from .fixture import small_work
from .reading import MM, ink, page_size, read, seen, strokes, words_of

WORK = small_work()
NAMES = [blank.name.replace(" ", "-") for blank in WORK.blanks]


@pytest.fixture(scope="module")
def files() -> dict[str, bytes]:
    return template_files(WORK)


@pytest.fixture(scope="module")
def pages(files) -> dict[str, list]:
    """Strokes and words of every page, read once."""
    return {name: [(p, strokes(p), words_of(p)) for p in read(content).pages] for name, content in files.items()}


def test_both_forms_for_every_blank_and_both_hands(files):
    """Each blank has tiles and a full-size sheet; left and right both have theirs."""
    assert set(files) == {f"templates/{n}-tiles.pdf" for n in NAMES} | {
        f"templates/full-size/{n}-full-size.pdf" for n in NAMES
    }
    assert {"templates/side-left-tiles.pdf", "templates/side-right-tiles.pdf"} <= set(files)


def test_bars_of_100_mm_across_and_up_on_every_page(pages):
    """On each page a stroke of 100.00 mm lies across and one stands, to 0.01 mm as read back."""
    for name, sheets in pages.items():
        for number, (_, lines, _) in enumerate(sheets):
            bars = [s for s in lines if abs(s.length - 100.0) < 0.01 and s.width == pytest.approx(PENS["bar"].width)]
            across = [s for s in bars if abs(s.ends[0, 1] - s.ends[1, 1]) < 0.001]
            up = [s for s in bars if abs(s.ends[0, 0] - s.ends[1, 0]) < 0.001]
            assert len(across) == 1, (name, number)
            assert len(up) == 1, (name, number)


def test_tiles_print_on_a4_and_on_letter(pages):
    """Every tile is no wider and no higher than either paper; lying tiles are turned the same way."""
    for name, sheets in pages.items():
        if "tiles" not in name:
            continue
        for page, _, _ in sheets:
            short, long = sorted(page_size(page))
            assert short == pytest.approx(TILE.page[0], abs=0.01)
            assert long == pytest.approx(TILE.page[1], abs=0.01)
            assert short <= min(A4[0], LETTER[0]) + 0.01
            assert long <= min(A4[1], LETTER[1]) + 0.01


def test_ink_stays_in_the_live_area(files):
    """By ink: nothing is printed outside 190 x 259 mm in the middle of the page."""
    for name in ("templates/side-left-tiles.pdf", "templates/top-skin-tiles.pdf", "templates/tunnel-tiles.pdf"):
        for number, page in enumerate(read(files[name]).pages):
            wide, high = page_size(page)
            dark = ink(files[name], number, 75) > 0.2
            rows, columns = np.flatnonzero(dark.any(axis=1)), np.flatnonzero(dark.any(axis=0))
            live = TILE.live if wide < high else TILE.live[::-1]
            margin = (wide - live[0]) / 2, (high - live[1]) / 2
            px = wide / dark.shape[1]
            assert columns[0] * px > margin[0] - 2 * px
            assert (columns[-1] + 1) * px < wide - margin[0] + 2 * px
            assert rows[0] * px > margin[1] - 2 * px
            assert (rows[-1] + 1) * px < high - margin[1] + 2 * px


def test_bar_measures_100_mm_in_ink(files):
    """At 600 dots an inch the end strokes of the bar across lie 100.0 mm apart, to 0.05 mm."""
    content = files["templates/end-cap-rear-tiles.pdf"]
    page = read(content).pages[1]
    bar = next(
        s
        for s in strokes(page)
        if abs(s.length - 100) < 0.01 and abs(s.ends[0, 1] - s.ends[1, 1]) < 0.001 and s.width < 0.3
    )
    dark = ink(content, 1, 600)
    px = 25.4 / 600
    high = page_size(page)[1]
    # Just below the bar only the end strokes are dark: tenths stand above it.
    row = round((high - (bar.ends[0, 1] - 1.2)) / px)
    left, right = sorted(bar.ends[:, 0])
    centres = []
    for end in (left, right):
        columns = np.arange(round((end - 0.6) / px), round((end + 0.6) / px))
        weight = dark[row, columns]
        assert weight.max() > 0.5
        centres.append(float((weight * (columns + 0.5)).sum() / weight.sum()) * px)
    assert centres[1] - centres[0] == pytest.approx(100.0, abs=0.05)


def test_print_dialogue_is_told_not_to_scale(files):
    """Each file asks the viewer for no page scaling, and names the job."""
    for name, content in files.items():
        reader = read(content)
        wish = reader.trailer["/Root"]["/ViewerPreferences"]["/PrintScaling"]
        assert wish == NameObject("/None"), name
        assert WORK.job.name in reader.metadata.title
        assert "revision B" in reader.metadata.subject


def test_every_page_says_what_it_is(pages):
    """Part, job, reference, revision, date of the patterns, metal, face, grain, page number, scale, on each page."""
    for name, sheets in pages.items():
        blank = next(b for b in WORK.blanks if b.name.replace(" ", "-") in name)
        for number, (_, _, text) in enumerate(sheets):
            for wanted in (
                blank.name,
                WORK.job.name,
                "Kovács Łukasz",
                "revision B",
                "patterns of 2026-03-14",
                "3003-H14 aluminium, 1.6 mm",
                "Good face up",
                "Grain",
                "qty 1",
                f"page {number + 1} of {len(sheets)}",
                "100 mm across",
                "100 mm up",
                "Print at 100 %",
            ):
                assert wanted in text, (name, number, wanted)
            assert not re.search(r"\bsafe\b|\blegal\b|\bOK\b|\bpasses\b", text)


def test_first_page_warns_first_and_carries_the_edges(pages):
    """The map page shows the stop before any fact, and a row for each edge with what it gains or loses."""
    for name, sheets in pages.items():
        text = sheets[0][2]
        assert "STOP" in text
        assert text.index("STOP") < text.index("cut size"), name
        blank = next(b for b in WORK.blanks if b.name.replace(" ", "-") in name)
        for edge in blank.edges:
            if abs(edge.gain) >= 0.05:
                assert f"{'gain' if edge.gain > 0 else 'lose'} {abs(edge.gain):.1f} mm" in text, name


def test_full_size_outline_is_full_size(pages):
    """The cut line read back spans the blank's own size to 0.01 mm, and is 0.25 mm wide at most."""
    for blank in WORK.blanks:
        if blank.kind == "formed" or blank.name.startswith("end"):
            continue  # their extremes lie on arcs, which this reader leaves out
        name = f"templates/full-size/{blank.name.replace(' ', '-')}-full-size.pdf"
        ((_, lines, _),) = pages[name]
        x0, y0, x1, y1 = blank.outline.bounds
        sides = [s for s in lines if s.width == pytest.approx(PENS["cut"].width)]
        points = np.vstack([s.ends for s in sides])
        span = np.ptp(points, axis=0)
        assert span[1] == pytest.approx(y1 - y0, abs=0.01)
        assert span[0] == pytest.approx(x1 - x0, abs=0.01)
    assert PENS["cut"].width <= 0.25


def test_full_size_outline_is_full_size_in_ink(files):
    """By ink: near its middle the left side's cut lines lie as far apart as the blank is high, to 0.1 mm."""
    blank = next(b for b in WORK.blanks if b.name == "side left")
    content = files["templates/full-size/side-left-full-size.pdf"]
    page = read(content).pages[0]
    cuts = [s for s in strokes(page) if s.width == pytest.approx(PENS["cut"].width)]
    bottom = max(cuts, key=lambda s: s.length)
    off = 8.0  # beside the station line and the words in the middle
    x, y = bottom.ends.mean(axis=0) + [off, 0.0]
    px = 25.4 / 300
    column = ink(content, 0, 300)[:, int(x / px)]
    rows = (np.arange(len(column)) + 0.5) * px
    first = int(np.flatnonzero(column > 0.4)[0])
    top = slice(first - 4, first + 6)
    foot = slice(int((page_size(page)[1] - y) / px) - 6, int((page_size(page)[1] - y) / px) + 7)
    place = [float((column[s] * rows[s]).sum() / column[s].sum()) for s in (top, foot)]
    line = LineString([(off, -500), (off, 500)])
    _, low, _, high = blank.outline.intersection(line).bounds
    assert place[1] - place[0] == pytest.approx(high - low, abs=0.1)


def test_tiles_together_cover_the_blank_and_none_is_idle(files):
    """The cells of the tiles cover the outline; each holds some of it; pages are one more than tiles."""
    for blank in WORK.blanks:
        tiling = tile_blank(blank)
        cells = []
        for row, column in tiling.used:
            low = tiling.corner(row, column)
            cell = box(*low, *(low + tiling.window))
            assert cell.intersection(blank.outline).area > 0
            cells.append(cell)
        assert unary_union(cells).buffer(1e-6).covers(blank.outline)
        reader = read(files[f"templates/{blank.name.replace(' ', '-')}-tiles.pdf"])
        assert len(reader.pages) == len(tiling.used) + 1


def _l_shaped():
    shape = Polygon([(0, 0), (700, 0), (700, 90), (90, 90), (90, 700), (0, 700)])
    blank = WORK.blanks[4]
    return replace(blank, outline=shape, net=shape, edges=(), marks=(), folds=())


def test_tiles_that_carry_nothing_are_left_out():
    """An L leaves its empty corner unprinted, and no tile names a neighbour that is not there."""
    tiling = tile_blank(_l_shaped())
    assert len(tiling.used) < tiling.columns * tiling.rows
    for row, column in tiling.used:
        for down, right in ((0, 1), (0, -1), (1, 0), (-1, 0)):
            other = tiling.neighbour(row, column, down, right)
            assert (other != "") == ((row + down, column + right) in tiling.used)


def test_neighbours_name_one_another(pages):
    """If A1 says A2 is on its right, A2 says A1 is on its left; both carry the name in the drawing too."""
    for name, sheets in pages.items():
        if "tiles" not in name:
            continue
        says = {}
        for _, _, text in sheets[1:]:
            flat = " ".join(text.split())
            found = re.search(
                r"row ([A-Z]+) of \d+, column (\d+) of \d+\. Neighbours: left: (\w+), right: (\w+), "
                r"above: (\w+), below: (\w+)",
                flat,
            )
            assert found, name
            says[f"{found[1]}{found[2]}"] = dict(
                zip(("left", "right", "above", "below"), found.groups()[2:], strict=True)
            )
        back = {"left": "right", "right": "left", "above": "below", "below": "above"}
        for tile, beside in says.items():
            for way, other in beside.items():
                if other != "none":
                    assert says[other][back[way]] == tile


def test_match_marks_lie_over_one_another(pages):
    """Crosses of neighbouring tiles fall on the same places of the blank, to 0.01 mm; two at least a join."""
    blank = next(b for b in WORK.blanks if b.name == "tunnel")
    tiling = tile_blank(blank)
    sheets = pages["templates/tunnel-tiles.pdf"][1:]
    marks = {}
    for (row, column), (page, lines, _) in zip(tiling.used, sheets, strict=True):
        wide, high = page_size(page)
        live = np.array(TILE.live if wide < high else TILE.live[::-1])
        at = (np.array([wide, high]) - live) / 2 + [8.0, TILE.foot]
        shift = tiling.corner(row, column) - at
        across = [
            s
            for s in lines
            if abs(s.length - 8) < 1e-3
            and s.width == pytest.approx(0.2)
            and s.ends[0, 1] == pytest.approx(s.ends[1, 1])
        ]
        marks[row, column] = np.array([s.ends.mean(axis=0) + shift for s in across])
    joins = 0
    for row, column in tiling.used:
        for beside in ((row, column + 1), (row + 1, column)):
            if beside in marks:
                apart = np.hypot(*(marks[row, column][:, None] - marks[beside][None]).transpose(2, 0, 1))
                assert (apart < 0.01).sum() == 2
                joins += 1
    assert joins >= 3


def _rooms(drawn) -> dict[str, Polygon]:
    """Where the words of a drawing stand, by the words, off the white behind them."""
    rooms = {}
    for said in drawn.ink:
        white = re.match(r"1 g (.*?)f ", said.before) if isinstance(said, pdf.Words) else None
        if white:
            corners = np.array(re.findall(r"(-?[\d.]+) (-?[\d.]+) [ml]", white[1]), dtype=float)
            rooms[f"{said.text} {len(rooms)}"] = Polygon(corners)
    return rooms


@pytest.mark.parametrize("name", ["tunnel", "side left"])
def test_no_words_are_parted_by_a_join(name):
    """Of every word on a blank's metal one tile at least shows all."""
    blank = next(b for b in WORK.blanks if b.name == name)
    tiling = tile_blank(blank)
    assert len(tiling.used) > 1
    corners = [tiling.corner(*tile) for tile in tiling.used]
    windows = [box(*low, *(low + tiling.window)) for low in corners]
    rooms = _rooms(at_full_size(face_of(WORK, blank), tiling))
    assert len(rooms) > 10
    for words, room in rooms.items():
        if room.within(blank.outline):
            assert any(window.contains(room) for window in windows), words


def test_a_blank_too_small_for_its_name_has_it_beside_with_a_line_to_it():
    """On 24 by 12 mm the name does not go: it stands off the metal, wide enough to read, and a line leads there."""
    shape = box(0, 0, 24, 12).difference(box(8, 4, 16, 8))
    small = replace(
        WORK.blanks[4], name="doubler front mount left", outline=shape, net=shape, edges=(), marks=(), folds=()
    )
    drawn = at_full_size(face_of(WORK, small))
    name = next(room for said, room in _rooms(drawn).items() if "doubler front mount left" in said)
    assert name.disjoint(shape)
    assert name.bounds[3] - name.bounds[1] > 2.5
    assert name.bounds[2] - name.bounds[0] > 24  # in one row it would have run over both edges
    lines = [LineString(s.reshape(2, 2)) for said in drawn.ink if isinstance(said, str) for s in _lines_in(said)]
    assert any(line.distance(name) < 1.5 and line.intersects(shape) for line in lines)


def _lines_in(said: str) -> list[np.ndarray]:
    return [np.array(m, dtype=float) for m in re.findall(r"(-?[\d.]+) (-?[\d.]+) m (-?[\d.]+) (-?[\d.]+) l", said)]


def test_diagonal_is_what_it_says(pages):
    """D1 and D2 lie as far apart as the words say, in tiles of their own where there are several."""
    for blank in WORK.blanks:
        tiling = tile_blank(blank)
        ends = targets(tiling)
        apart = float(np.hypot(*(ends[1] - ends[0])))
        sheets = pages[f"templates/{blank.name.replace(' ', '-')}-tiles.pdf"]
        text = "\n".join(t for _, _, t in sheets[1:])
        assert f"D1: {apart:.1f} mm to D2" in text
        assert f"D2: {apart:.1f} mm to D1" in text
        assert f"D1 to D2 must measure {apart:.1f} mm" in " ".join(sheets[0][2].split())
        assert apart > 0.8 * np.hypot(*tiling.window)


def test_fold_lines_carry_angle_and_way(pages):
    """The tunnel's folds say up, 90 degrees, radius and K on the template."""
    text = pages["templates/full-size/tunnel-full-size.pdf"][0][2]
    assert text.count("UP 90.0°, inside radius 3.0 mm, K 0.400") == 2


def test_stretch_and_shrink_are_given_in_numbers(pages):
    """The sides say how much to shrink, as the ball says: 4.0 % at the worst corner."""
    text = pages["templates/full-size/side-left-full-size.pdf"][0][2]
    shown = [float(v) for v in re.findall(r"worst (\d+\.\d) %", text)]
    blank = next(b for b in WORK.blanks if b.name == "side left")
    assert max(shown) == pytest.approx(100 * blank.shrink, abs=0.051)
    assert "STRETCH" not in text


def test_stations_and_seam_letters_are_on_the_sheet(pages):
    """Stations 1 to 5 and the letters of all four seams are there, and halves on edges that are alike."""
    text = pages["templates/full-size/side-left-full-size.pdf"][0][2]
    rows = {row.strip() for row in text.splitlines()}
    assert {"1", "2", "3", "4", "5", "A", "C", "E", "F", "A ½"} <= rows


def test_halves_are_marked_on_both_mating_edges_at_the_same_share():
    """Ticks of seam A lie at quarters of the edge on both pieces; edges that are not alike get none."""
    ticks = {b.name: face_of(WORK, b).ticks for b in WORK.blanks if b.name in ("side left", "top skin")}
    for found in ticks.values():
        assert sorted(t.share for t in found if t.edge.letter == "A") == [0.25, 0.5, 0.75]
        assert not [t for t in found if t.edge.letter == "E"]


def test_inch_jobs_have_inches_beside(files):
    """A job in inches has both units on the map page."""
    work = small_work(unit="in")
    text = words_of(read(tiled_pdf(face_of(work, work.blanks[0]))).pages[0])
    assert re.search(r"5 29/32 in \(150\.0 mm\)", text)


def test_same_work_gives_the_same_bytes(files):
    """Written twice, each file is the same to the byte."""
    again = template_files(WORK)
    assert again == files


def test_letters_a_customer_may_have():
    """Accents, Greek and Cyrillic are in the font; what is not is shown bare or as an empty box, never dropped."""
    assert spell("Őszi Żółw, Ελένη, Юрий, Ångström ß") == "Őszi Żółw, Ελένη, Юрий, Ångström ß"
    assert spell("\u4e2d") == "\u25a1"
    assert wrap("one two three", 1.0, 3.0) == ["one", "two", "three"]


@settings(max_examples=40, deadline=None)
@given(wide=st.floats(5, 1500), high=st.floats(5, 1500), turn=st.floats(0, 90))
def test_any_size_of_blank_is_covered(wide, high, turn):
    """Whatever its size and lie, the tiles cover the blank and each shows some of it."""
    shape = affinity.rotate(box(0, 0, wide, high), turn)
    blank = replace(WORK.blanks[4], outline=shape, net=shape, edges=(), marks=(), folds=())
    tiling = tile_blank(blank)
    windows = [box(*tiling.corner(*t), *(tiling.corner(*t) + tiling.window)) for t in tiling.used]
    assert unary_union(windows).buffer(1e-6).covers(shape)
    assert all(w.intersects(shape.buffer(1.0)) for w in windows)
    assert len(set(tiling.used)) == len(tiling.used)


def test_a_small_blank_needs_one_tile():
    """A 60 mm disc is one tile and a map page, and the steps speak of no joining."""
    shape = box(0, 0, 60, 60).buffer(-20).buffer(20)
    blank = replace(WORK.blanks[4], outline=shape, net=shape, edges=(), marks=(), folds=())
    reader = read(tiled_pdf(face_of(WORK, blank)))
    assert len(reader.pages) == 2
    assert "Lay each tile" not in words_of(reader.pages[0])
    assert page_size(read(full_size_pdf(face_of(WORK, blank))).pages[0])[0] >= 300
    assert pytest.approx(0.352778, abs=1e-6) == MM


def test_a_blank_is_drawn_once_and_clipped_on_every_tile(files):
    """A file of tiles holds the blank's lines once; each tile clips some of them away."""
    reader = read(files["templates/side-left-tiles.pdf"])
    forms = {page["/Resources"]["/XObject"].raw_get("/FormXob.blank").idnum for page in reader.pages[1:]}
    assert len(forms) == 1
    for page in reader.pages[1:]:
        assert len(seen(page)) < len(strokes(page))


@pytest.mark.parametrize(
    "name",
    [
        "Wójcik Świętosław, Łódź, ąćęłńóśźż ŻĆŁ",
        "Dvořák Žaneta, ěščřžýáíéúůďťň ŘŮĎŤŇ",
        "Çağlar İpek Şık, ğüşıöç ĞÜŞİÖÇ",
        "Παπαδόπουλος Ωμέγα, άέήίόύώϊϋΐΰ",
        "Юлія Щербак, Ђорђе Љубић, ёїєґў ЖЦЧШЩЪЫЬЭЯ",
        "Őry Ürögdi, Ștefănescu Țuțea, Ķēniņš, Ąžuolas, Åse Ødegård Þóra ð",
    ],
)
def test_names_from_all_over_print_as_they_are_written(name):
    """Polish, Czech, Turkish, Greek, Cyrillic and other letters come back from the file and leave ink."""
    sheet, buffer = pdf.begin("names", name)
    with pdf.page(sheet, A4):
        pdf.text(sheet, 10, 200, name, 5.0)
        pdf.text(sheet, 10, 100, name, 5.0, bold=True)
    content = pdf.finish(sheet, buffer)
    assert words_of(read(content).pages[0]).splitlines() == [name, name]
    dark = ink(content, 0, 72).max(axis=1) > 0.2
    assert dark[: 140 * 3].any()
    assert dark[420:].any()
    assert "\u25a1" not in spell(name)
