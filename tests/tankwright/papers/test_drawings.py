"""Shop drawings: figures a helper can lay a blank out with, checked against the blank itself."""

from __future__ import annotations

import math
import re
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import affinity
from shapely.geometry import Point, Polygon, box
from shapely.ops import unary_union

from panels.blank import Mark
from tankwright.papers.blankface import face_of
from tankwright.papers.cutting_hold import waits
from tankwright.papers.cutting_later import later_on, sheet_order
from tankwright.papers.cutting_order import order_letter
from tankwright.papers.drawingpage import FLOOR
from tankwright.papers.drawings import drawing_files, drawings_pdf
from tankwright.papers.jobsheet import job_sheet
from tankwright.papers.legend import legend
from tankwright.papers.look import A4, LETTER, PENS
from tankwright.papers.offsets import corners, holes, standing_edges, stations, step_for
from tankwright.papers.outline import fit_outline
from tankwright.papers.shearsteps import shear_steps
from tankwright.papers.words import limit_of

from .fixture import FILLER_MM, small_work
from .reading import page_size, read, words_of

WORK = small_work()


@pytest.fixture(scope="module")
def content() -> bytes:
    return drawings_pdf(WORK)


@pytest.fixture(scope="module")
def texts(content) -> list[str]:
    return [words_of(page) for page in read(content).pages]


def _page(texts: list[str], title: str) -> str:
    """The page of a piece by its title, which starts with the piece's number on the cut list."""
    numbered = {f"{k} {blank.name}": blank.name for k, blank in enumerate(WORK.blanks, 1)}
    for text in texts:
        first, _, rest = text.splitlines()[0].partition(":")
        if numbered.get(first, first) + (f":{rest}" if rest else "") == title:
            return text
    raise AssertionError(title)


def test_one_file_with_a_page_for_everything(content, texts):
    """Contents, a drawing and its offsets for every blank, then every sheet; each bookmarked."""
    assert set(drawing_files(WORK)) == {"drawings.pdf"}
    reader = read(content)
    assert len(reader.pages) == 1 + 2 * len(WORK.blanks) + len(WORK.layout.sheets)
    marks = [mark.title for mark in reader.outline]
    assert marks[0] == "contents"
    for blank in WORK.blanks:
        assert f"{blank.name}: drawing" in marks
        assert f"{blank.name}: offsets" in marks
    assert marks[-1] == f"sheet {len(WORK.layout.sheets)}"


def test_pages_fit_both_papers_and_say_whose_they_are(content, texts):
    """Every page prints on A4 and letter, and carries job, reference, revision, date and its number."""
    reader = read(content)
    for number, (page, text) in enumerate(zip(reader.pages, texts, strict=True)):
        short, long = sorted(page_size(page))
        assert short <= min(A4[0], LETTER[0]) + 0.01
        assert long <= min(A4[1], LETTER[1]) + 0.01
        for wanted in (WORK.job.name, "Kovács Łukasz", "revision B", "patterns of 2026-03-14"):
            assert wanted in text, number
        assert f"page {number + 1} of {len(texts)}" in text
        assert not re.search(r"\bsafe\b|\blegal\b|\bOK\b|\bpasses\b", text)


def test_warnings_come_first(texts):
    """The first page opens with what waits, then stop, look and note, before the list of pieces; in the job sheet's
    words for what a figure is held against."""
    first = " ".join(texts[0].split())
    places = [first.index(word) for word in ("HOLD", "STOP", "LOOK", "NOTE", "cut size")]
    assert places == sorted(places)
    assert re.search(r"HOLD \u2013 \d+ tunnel waits for the bend test", first)
    for finding in WORK.findings:
        if finding.found and finding.allowed:
            held = " ".join(limit_of(finding.strength, finding.allowed))
            assert held in first, held
    sheet = " ".join(re.sub(r"<[^>]+>", " ", job_sheet(WORK)).split())
    assert all(" ".join(limit_of(f.strength, f.allowed)) in sheet for f in WORK.findings if f.allowed)


def test_every_kind_of_line_is_explained_and_told_from_the_others():
    """The legend names the widest line and says how a fitting on a shaped piece is drawn; no two pens are alike."""
    shown = set()
    for blank in WORK.blanks:
        face = face_of(WORK, blank)
        kinds = {mark.kind for mark, runs in face.marks if runs}
        run = blank.outline.exterior.coords[:2]
        widest = (Mark("style", np.array(run), "widest line"), (np.array(run),))
        for full_size in (False, True):
            said = legend(face, full_size=full_size)
            assert "widest line" not in said, blank.name  # no piece of this tank runs over it
            assert ("comes to its size when shaped" in said) == ("fitting" in kinds and blank.kind == "formed")
            assert "widest line" in legend(replace(face, marks=(*face.marks, widest)), full_size=full_size)
        shown |= kinds
    assert "fitting" in shown
    dashes = [PENS[name].dash for name in ("trim", "style", "fold", "roll", "stays", "centre")]
    assert len(set(dashes)) == len(dashes)
    assert PENS["style"].dash[0] < 0.6 * PENS["trim"].dash[0]


def test_offsets_on_paper_are_those_of_the_blank(texts):
    """Each pair printed for the side is where the outline lies, found anew, to 0.1 mm."""
    blank = next(b for b in WORK.blanks if b.name == "side left")
    text = _page(texts, "side left: offsets")
    x0, y0, x1, _ = blank.outline.bounds
    pair = r"(\d+\.\d)(?: – (\d+\.\d))?"
    rows = re.findall(rf"^(\d+\.\d)\n{pair}\n(?:{pair}|none)$", text, re.M)
    alongs = {float(row[0]) for row in rows}
    assert len(rows) >= 1 + round((x1 - x0) / step_for(x1 - x0))
    points = [*corners(face_of(WORK, blank).cuts[-1], (x0, y0)), *corners(fit_outline(blank.net)[0], (x0, y0))]
    for px, py in points:
        assert min(abs(px - along) for along in alongs) <= 0.1  # each corner is found from a station
        told = {v for row in rows if abs(float(row[0]) - px) <= 0.1 for v in row[1:]}
        assert f"{py:.1f}" in told  # and stands in it as it stands among the corners
    near = [px for px, _ in points]
    for along, low, high, trim_low, trim_high in rows:
        if float(along) in (0.0, round(x1 - x0, 1)) or min(abs(float(along) - px) for px in near) < 0.2:
            continue  # ends and corners: see above
        x = x0 + float(along)
        cut = box(x - 1e-6, -1e4, x + 1e-6, 1e4).intersection(blank.outline).bounds
        assert float(low) == pytest.approx(cut[1] - y0, abs=0.06)
        assert float(high) == pytest.approx(cut[3] - y0, abs=0.06)
        if trim_low:
            net = box(x - 1e-6, -1e4, x + 1e-6, 1e4).intersection(blank.net).bounds
            assert float(trim_low) == pytest.approx(net[1] - y0, abs=0.06)
            assert float(trim_high) == pytest.approx(net[3] - y0, abs=0.06)


def test_offsets_of_a_disc_follow_the_circle():
    """Half chords of a circle of radius 100: h = sqrt(r^2 - x^2), closed form."""
    disc = Point(0, 0).buffer(100, quad_segs=720)
    for station in stations(disc, disc, 20.0):
        half = math.sqrt(max(0.0, 100**2 - (station.along - 100) ** 2))
        if half < 1e-3:
            continue
        ((low, high),) = station.cut
        assert low == pytest.approx(100 - half, abs=0.002)
        assert high == pytest.approx(100 + half, abs=0.002)


def test_a_station_across_a_notch_gives_two_pairs():
    """Where the tunnel notch is, metal starts and ends twice."""
    notched = unary_union([box(0, 0, 30, 100), box(0, 70, 90, 100), box(60, 0, 90, 100)])
    found = {s.along: s.cut for s in stations(notched, notched, 20.0)}
    assert [tuple(round(v, 6) for v in pair) for pair in found[40.0]] == [(70.0, 100.0)]
    sideways = affinity.rotate(notched, 90, origin=(0, 0))
    assert any(len(s.cut) == 2 for s in stations(sideways, sideways, 10.0))


@settings(max_examples=30, deadline=None)
@given(wide=st.floats(5, 1500), high=st.floats(5, 600), turn=st.floats(0, 180))
def test_offsets_enclose_the_area(wide, high, turn):
    """Trapezoids between fine stations give the area of any rectangle, however it lies, within 2 %."""
    shape = affinity.rotate(box(0, 0, wide, high), turn)
    x0, _, x1, _ = shape.bounds
    rows = stations(shape, shape, (x1 - x0) / 199.7)
    depth = [sum(b - a for a, b in s.cut) for s in rows]
    area = float(np.trapezoid(depth, np.linspace(x0, x1, len(rows))))
    assert area == pytest.approx(shape.area, rel=0.02)


def test_corners_are_the_corners_and_tangent_arcs_have_none():
    """A rectangle has four, a rounded one none, a half disc two."""
    outer, _ = fit_outline(box(5, 7, 105, 57))
    found = corners(outer, (5, 7))
    assert sorted(map(tuple, found.round(6).tolist())) == [(0, 0), (0, 50), (100, 0), (100, 50)]
    smooth, _ = fit_outline(box(20, 20, 80, 40).buffer(10, quad_segs=90))
    assert len(corners(smooth, (0, 0))) == 0
    half, _ = fit_outline(Point(0, 0).buffer(50, quad_segs=180).intersection(box(-60, 0, 60, 60)))
    assert len(corners(half, (0, 0))) == 2


def test_an_end_says_where_it_touches_and_a_corner_what_the_corner_is():
    """Beside steep ends a tenth along is a millimetre up: a bulged end touches at a point, corners stand exactly."""
    bulge = Point(100, 50).buffer(100, quad_segs=360).intersection(box(0.3, 0, 60, 100)).union(box(50, 0, 90, 100))
    nose = Polygon([(0, 40), (0.3, 20), (50, 0), (50, 100), (0.3, 80), (0, 60)])
    known = [("corner 1", (0.3, 20.0)), ("corner 2", (0.3, 80.0)), ("corner 3", (0.0, 40.0)), ("corner 4", (0.0, 60.0))]
    found = {s.along: s.cut for s in stations(nose, nose, 20.0, corners=known)}
    assert found[0.0] == ((40.0, 60.0),)
    assert found[0.3] == ((20.0, 80.0),)
    disc = Point(100, 50).buffer(100, quad_segs=360)
    ((low, high),) = next(s.cut for s in stations(disc, disc, 20.0) if s.along == 0.0)
    assert low == pytest.approx(100, abs=2.1)
    assert high == pytest.approx(100, abs=2.1)
    assert stations(bulge, bulge, 20.0)[0].cut


def test_curved_standing_edges_are_given_on_the_outlines():
    # Stations run along a standing edge and miss its curve; its own points must lie on the lines themselves.
    met = 0
    for blank in small_work().blanks:
        face = face_of(small_work(), blank)
        x0, y0, _, _ = blank.outline.bounds
        for name, (along, up) in standing_edges(face):
            line = blank.outline if name.endswith("cut") else blank.net
            assert line.boundary.distance(Point(along + x0, up + y0)) < 0.05, (blank.name, name)
            met += 1
    assert met >= 3


def test_holes_are_given_by_middle_and_diameter(texts):
    """The filler hole: 57.0 mm about a point 118.0 along, 75.0 up."""
    blank = WORK.blanks[0]
    (hole,) = holes(face_of(WORK, blank))
    assert hole.diameter == pytest.approx(FILLER_MM, abs=0.001)
    x0, y0, _, _ = blank.outline.bounds
    centre = Polygon(blank.outline.interiors[0]).centroid
    assert hole.middle == pytest.approx((centre.x - x0, centre.y - y0), abs=0.005)
    text = _page(texts, "top skin: offsets")
    assert "118.0, 75.0" in text
    assert "Ø 57.0" in text


def test_drawing_gives_sizes_folds_and_edges(texts):
    """The tunnel's page has its overall size, both folds by place, turn, radius, K and width, and each edge."""
    blank = next(b for b in WORK.blanks if b.name == "tunnel")
    text = _page(texts, "tunnel")
    x0, y0, x1, y1 = blank.outline.bounds
    assert f"{x1 - x0:.1f} mm" in text
    assert f"{y1 - y0:.1f} mm" in text
    for fold in blank.folds:
        assert f"{fold.start[0] - x0:.1f}, {fold.start[1] - y0:.1f}" in text
        assert f"{fold.end[0] - x0:.1f}, {fold.end[1] - y0:.1f}" in text
    # Width between tangents is the bend allowance: pi/2 (r + K t) for a square fold.
    wide = math.pi / 2 * (3.0 + 0.4 * 1.6)
    assert text.count(f"{wide:.2f} mm") == 2
    assert text.count("90.0° up") == 2
    for edge in blank.edges:
        assert f"{edge.length_blank:.1f}" in text


def test_a_drawing_explains_its_own_lines_and_no_others(texts):
    """Each kind of line on a blank is explained on its page: trim, what stays, folds, rolls, ticks; no other is."""
    for blank in WORK.blanks:
        face = face_of(WORK, blank)
        text = " ".join(_page(texts, blank.name).split())
        pens = {pen for pen, _ in face.trims}
        assert ("trim line, cut after forming" in text) == ("trim" in pens), blank.name
        assert ("its metal STAYS ON" in text) == bool("stays" in pens or blank.lips), blank.name
        assert ("where its bend begins and ends" in text) == bool(blank.folds), blank.name
        assert ("a roll begins or ends" in text) == bool(blank.rolls), blank.name
        assert ("match tick" in text) == bool(face.ticks), blank.name
        assert ("Plus signs" in text) == any(zone.kind != "leave" for zone in face.zones), blank.name
    assert any("STAYS ON" in text for text in texts)


def test_drawing_says_how_much_each_edge_gains_or_loses(texts):
    """Every edge of the side that must lose says by how much, as worked out on the ball."""
    blank = next(b for b in WORK.blanks if b.name == "side left")
    text = _page(texts, "side left")
    for edge in blank.edges:
        assert f"lose {-edge.gain:.1f} mm ({-100 * edge.gain / edge.length_blank:.1f} %)" in text


def test_sheet_page_numbers_parts_in_cutting_order(texts):
    """Each part of a sheet is on its page by number, name, place and size; the areas add up to the sheet."""
    for index, used in enumerate(WORK.layout.sheets):
        text = next(t for t in texts if t.startswith(f"Sheet {index + 1} of {len(WORK.layout.sheets)}"))
        for placed in WORK.layout.on_sheet(index):
            x0, y0, x1, y1 = placed.outline.bounds
            name = placed.part.name + (", HOLD" if placed.part.name in later_on(WORK, index) else "")
            assert f"{name}\n{x0:.1f}, {y0:.1f}\n{x1 - x0:.1f} × {y1 - y0:.1f}" in text
        areas = [float(v) for v in re.findall(r"^(?:parts|offcuts kept|scrap|sheet)\n(\d+\.\d{4})$", text, re.M)]
        assert len(areas) == 4
        assert sum(areas[:3]) == pytest.approx(areas[3], abs=2e-4)
        assert areas[3] == pytest.approx(used.sheet.area / 1e6, abs=1e-4)
        assert "keep" in text


def test_sheet_page_tells_a_torch_all_it_must_know(texts):
    """On one page: file, what waits, marks, holes before outlines, the order part by part, what is kept, how exact."""
    for index in range(len(WORK.layout.sheets)):
        text = next(t for t in texts if t.startswith(f"Sheet {index + 1} of"))
        flat = " ".join(text.split())
        order = [placed.part.name for placed in sheet_order(WORK, index)]
        numbers = {blank.name: k for k, blank in enumerate(WORK.blanks, 1)}
        later = later_on(WORK, index)
        held = {name: ", HOLD" if name in later else "" for name in order}
        rows = [f"{order_letter(k)} {numbers[name]} {name}{held[name]} " for k, name in enumerate(order, 1)]
        places = [flat.index(row, flat.index("cut piece name")) for row in rows]
        assert places == sorted(places)
        assert f"cutting/sheet-{index + 1}-mm.dxf" in flat
        assert ("HOLD" in flat) == any(waits(blank) for blank in WORK.blanks if blank.name in order)
        holes = re.search(r"All holes|No part (of what is cut now )?has a hole", flat)
        assert flat.index("Mark while it is whole") < holes.start() < flat.index("Outlines by the ringed")
        there = WORK.layout.on_sheet(index)
        holed = [p.part.name for p in there if p.outline.interiors and p.part.name not in later]
        assert all(f"{numbers[name]} {name} (1)" in flat for name in holed)
        kept = [f"K{k}" for k, offcut in enumerate(WORK.layout.offcuts, 1) if offcut.sheet == index]
        assert all(re.search(rf"Last, cut .*{name}.* off along KEEP", flat) for name in kept)
        pairs = [b for b in WORK.blanks if b.mirrors and b.name in order]
        assert all(f"{numbers[b.name]} {b.name} of {numbers[b.mirrors]} {b.mirrors}" in flat for b in pairs)


def test_shear_cuts_are_listed_in_order_and_none_is_below_the_foot():
    """For the shear: every cut by number and what it takes, one under another, above the line that names the job."""
    work = small_work("shear")
    pages = [page for page in read(drawings_pdf(work)).pages if words_of(page).startswith("Cuts of sheet")]
    text = "\n".join(map(words_of, pages))
    takes = ["the whole sheet" if c.piece == str(c.sheet + 1) else f"piece {c.piece}," for c in work.layout.cuts]
    places = [text.index(f"{c.order}\n{take}") for c, take in zip(work.layout.cuts, takes, strict=True)]
    assert places == sorted(places)
    for page in pages:
        low: list[float] = []
        page.extract_text(visitor_text=lambda text, _, at, *__, low=low: low.append(at[5]) if text.strip() else None)
        assert sum(1 for y in low if y < 0.9 * FLOOR * 72 / 25.4) <= 1  # the job's own line


def test_cuts_page_leads_from_the_sheet_to_every_part():
    """Followed on a rule: each cut halves a piece in hand by the printed figures, and every part ends in one piece."""
    work = small_work("shear")
    text = "\n".join(t for t in map(words_of, read(drawings_pdf(work)).pages) if t.startswith("Cuts of sheet"))
    flat = " ".join(text.split())
    assert "cut take (wide × high, mm) measure (mm) stroke leaves and mind 1 the whole sheet" in flat
    for cut in work.layout.cuts:
        step = next(s for s in shear_steps(work, cut.sheet) if s.order == str(cut.order))
        wide, high = (float(v) for v in re.findall(r"(\d+\.\d) × (\d+\.\d)", step.take)[0])
        (first,), (second,) = (re.findall(r"(\d+\.\d) × (\d+\.\d)", s) for s in (step.first, step.second))
        made = [(float(a), float(b)) for a, b in (first, second)]
        k = "xy".index(cut.axis)
        assert made[0][k] + made[1][k] == pytest.approx((wide, high)[k], abs=0.11)
        assert made[0][k] == pytest.approx(cut.distance, abs=0.051)
        assert {made[0][1 - k], made[1][1 - k]} == {(wide, high)[1 - k]}
        # Measured from whichever edge is named, the rule stops where the two pieces part.
        far, edge = re.fullmatch(r"(\d+\.\d) from its (\w+) edge", step.measure).groups()
        assert edge in (("left", "right"), ("lower", "upper"))[k]
        assert float(far) == made[edge in ("right", "upper")][k]
        assert step.stroke == f"{('up and down', 'side to side')[k]}, {cut.length:.1f} long"
        for word in (step.take, step.measure, step.stroke, step.mind):
            assert " ".join(word.split()) in flat
    cut_sheets = {cut.sheet for cut in work.layout.cuts}
    for number, blank in enumerate(work.blanks, 1):
        (placed,) = (p for p in work.layout.placed if p.part.name == blank.name)
        if placed.sheet in cut_sheets:
            ends = [made for s in shear_steps(work, placed.sheet) for made in (s.first, s.second)]
            assert sum(f"{number} {blank.name}" in end for end in ends) == 1


def test_inch_jobs_have_inches_beside():
    """A job in inches shows each offset in both."""
    work = small_work(unit="in")
    texts = [words_of(page) for page in read(drawings_pdf(work)).pages]
    text = _page(texts, "top skin: offsets")
    assert re.search(r"0\.0 \(0\) – 150\.0 \(5 29/32\)", text)
    assert "Ø 57.0 (2.244)" in text


def test_same_work_gives_the_same_bytes(content):
    """Written twice, from faces worked out anew or given, the file is the same to the byte."""
    assert drawings_pdf(WORK) == content
    assert drawings_pdf(WORK, [face_of(WORK, blank) for blank in WORK.blanks]) == content
