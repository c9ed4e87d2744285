"""The job sheet as a file: whole, self-contained, in its place, and its drawings true to size."""

from __future__ import annotations

import base64
import io
import json
import re
from dataclasses import replace
from functools import cache
from html.parser import HTMLParser
from types import SimpleNamespace
from typing import Any

import numpy as np
import openpyxl
import pytest
import shapely
import trimesh
from shapely import affinity
from shapely.geometry import Polygon

from nesting.model import Part, Placed
from panels.findings import Finding
from tankwright.cautions import CAUTIONS
from tankwright.papers.cutlist import cut_lists
from tankwright.papers.jobsheet import job_sheet
from tankwright.papers.jobsheet_cutting import sheets_section
from tankwright.papers.jobsheet_order import order_section
from tankwright.papers.results import figures
from tankwright.papers.shearsteps import stroke_cautions
from tankwright.papers.tank_svg import VIEWS, groups_of, still_mesh, tank_svg
from tankwright.papers.words import turned
from tankwright.papers.zones import _bands

from .fixture import small_work

VOID = {"meta", "link", "br", "input", "img", "hr"}
# SVG elements that close themselves.
SELF_CLOSED = {"path", "rect", "circle"}


@cache
def sheet(cutting: str = "profile", unit: str = "mm") -> str:
    return job_sheet(small_work(cutting, unit))


@cache
def reader_of(cutting: str = "profile", unit: str = "mm") -> Reader:
    return read(sheet(cutting, unit))


class Reader(HTMLParser):
    """Checks that every element is closed, in order; keeps ids, links and words."""

    def __init__(self) -> None:
        super().__init__()
        self.open: list[str] = []
        self.ids: list[str] = []
        self.links: list[str] = []
        self.words: list[str] = []
        self.outside: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self._note(tag, dict(attrs))
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self._note(tag, dict(attrs))

    def _note(self, tag: str, given: dict[str, str | None]) -> None:
        if given.get("id"):
            self.ids.append(str(given["id"]))
        if tag == "a":
            self.links.append(str(given.get("href")))
        for key in ("src", "href", "action", "srcset", "data"):
            value = given.get(key)
            if value and not value.startswith(("#", "data:")):
                self.outside.append(value)

    def handle_endtag(self, tag: str) -> None:
        assert self.open, f"</{tag}> closes nothing"
        assert self.open.pop() == tag

    def handle_data(self, data: str) -> None:
        if not self.open or self.open[-1] not in ("script", "style"):
            self.words.append(data)


def read(html: str) -> Reader:
    reader = Reader()
    reader.feed(html)
    reader.close()
    assert reader.open == []
    return reader


@pytest.mark.parametrize("unit", ["mm", "in"])
@pytest.mark.parametrize("cutting", ["profile", "shear"])
def test_it_is_one_whole_page_that_asks_for_nothing_else(cutting: str, unit: str) -> None:
    """Well formed, ids once each, links that lead somewhere, under 1 MB, no address but the names of its languages."""
    html = sheet(cutting, unit)
    reader = reader_of(cutting, unit)
    assert len(html.encode("utf-8")) < 1_000_000
    assert len(set(reader.ids)) == len(reader.ids)
    assert {link.lstrip("#") for link in reader.links} <= set(reader.ids)
    assert reader.outside == []
    assert set(re.findall(r"https?://[^\"' )]+", html)) == {"http://www.w3.org/2000/svg"}
    assert "@import" not in html
    assert not re.search(r"url\((?!#)", html)


def test_warnings_come_first_strongest_first() -> None:
    """Stop before look before note, before any other section."""
    html = sheet()
    places = [html.index(f'<div class="find {strength}') for strength in ("stop", "look", "note")]
    assert places == sorted(places)
    assert html.index('id="first"') < places[0]
    assert places[-1] < html.index('id="tank"')
    for figure in ("557.0 mm", "548.0 mm, 1.5 mm apart at most", "Measure both between the same two marks."):
        assert figure in html


def test_the_same_job_gives_the_same_page() -> None:
    """Byte for byte."""
    assert job_sheet(small_work()) == sheet()


def test_it_shows_what_results_hold() -> None:
    """Sizes, edges, areas, order and seams as in results.json."""
    got, words = figures(small_work()), " ".join(reader_of().words)
    for blank in got["blanks"]:
        assert f"{blank['width_mm']:.1f}\u00a0×\u00a0{blank['height_mm']:.1f}" in words
        for edge in blank["edges"]:
            assert f"{edge['blank_length_mm']:.1f}" in words
            if abs(edge["gain_mm"]) >= 0.05:
                assert f"lose {abs(edge['gain_mm']):.1f} mm, {abs(edge['gain_percent']):.1f} %" in words
    for order in got["buy"]:
        assert order["words"] in words
    for name in ("parts", "offcuts", "skeleton", "sheet"):
        assert f"{got['totals'][f'{name}_area_mm2'] / 1e6:.3f}" in words
    c = got["capacity"]
    for key in ("brim_l", "ullage_l", "below_outlet_l", "usable_l"):
        assert f"{c[key]:.2f} L" in words


def test_the_parts_of_the_brim_add_up_as_printed() -> None:
    """Usable + left empty + below the outlet = brim, within the last figure printed."""
    c = figures(small_work())["capacity"]
    assert c["usable_l"] + c["ullage_l"] + c["below_outlet_l"] == pytest.approx(c["brim_l"], abs=0.011)


FORBIDDEN = re.compile(
    r"\b(is|are|be) (safe|legal|approved|certified)\b|\bpasses\b|\bpassed\b|\bOK\b|\b\d+(\.\d+)? ?(bar|psi|kPa)\b", re.I
)


@pytest.mark.parametrize("cutting", ["profile", "shear"])
def test_it_never_says_that_a_tank_is_good(cutting: str) -> None:
    """No pass, no OK, no test pressure; approval is the maker's, who goes by one name."""
    words = " ".join(reader_of(cutting).words)
    assert not FORBIDDEN.search(words)
    assert "approval are the maker" in words
    assert "builder" not in words + " ".join(CAUTIONS)


@pytest.mark.parametrize("unit", ["mm", "in"])
def test_welds_are_summed_by_joint(unit: str) -> None:
    """Under the seams stands the weld of each joint, the sum of its own rows, and that of all."""
    work = small_work("shear", unit)
    kinds = ("butt", "lap", "flange")
    seams = tuple(replace(joint, kind=kinds[k % 3]) for k, joint in enumerate(work.seams))
    section = job_sheet(replace(work, seams=seams)).split('<section id="seams"')[1].split("</section>")[0]
    foot = re.findall(r'<th scope="row"[^>]*>([^<]+)</th>.*?([\d.]+)(?:<small>|</td>)', section.split("<tfoot>")[1])
    expected = {f"All {kind}": sum(j.length for j in seams if j.kind == kind) for kind in kinds}
    expected["All welds"] = sum(joint.length for joint in seams)
    assert {name: float(value) for name, value in foot} == {
        name: pytest.approx(value, abs=0.051) for name, value in expected.items()
    }


def test_the_table_of_cuts_warns_of_finished_edges_and_holds() -> None:
    """What the shear's page says of a stroke is said in the job sheet's table, in that cut's own row."""
    work = small_work("shear")
    cut = work.layout.cuts[-1]
    wide, high = (30.0, 200.0) if cut.axis == "x" else (200.0, 30.0)
    (x, y), _ = cut.line
    net = affinity.translate(Polygon([(0, 0), (wide, 0), (wide, high), (0, high)]), x, y)  # a side on the stroke
    own = next(blank for blank in work.blanks if blank.name == "tunnel")
    edge = replace(own.edges[0], points=np.asarray(net.exterior.coords), allowance=0.0)
    blanks = tuple(replace(b, outline=net, net=net, edges=(edge,)) if b is own else b for b in work.blanks)
    placed = (Placed(Part("tunnel", net), cut.sheet, net, 0.0, False),)
    work = replace(work, blanks=blanks, layout=replace(work.layout, placed=placed))
    said = stroke_cautions(work, cut.sheet)
    assert "finished edge of" in said[cut.order]
    rows = sections_cuts(work)
    for order, row in rows.items():
        assert ("finished edge of" in row) == ("finished edge of" in said.get(order, ""))
        assert ("HOLD" in row) == ("HOLD" in said.get(order, ""))


def test_assumptions_read_as_words_not_as_numbers_of_a_program() -> None:
    """A source's page stays with its "p."; a gauge's thickness has two decimals; the source is in small print."""
    value = "K-factor 0.407 from a handbook, p. 1421, eq. 33. No strip for mild steel 1.21412 mm at 1.5875 mm radius."
    html = job_sheet(replace(small_work(), assumptions=(("folds", value),)))
    assert "a handbook, p. 1421, eq. 33. <small>No strip for mild steel 1.21 mm at 1.59 mm radius.</small></td>" in html


def test_what_lies_alike_on_a_sheet_is_told_together() -> None:
    """Every part once, in the order of the sheet, its turn behind the last of those that share it."""
    got = figures(small_work())
    for sheet_, said in zip(
        got["sheets"], re.findall(r"In the order of cutting: (.*?)\. Blanks", sheet()), strict=True
    ):
        names = [f"{p['piece']} {p['name']}" for p in sheet_["parts"]]
        places = [said.index(name) for name in names]
        assert places == sorted(places)
        for part, name in zip(sheet_["parts"], names, strict=True):
            way = turned(part["turn_deg"])
            told = said[said.index(name) :].split(";")[0]
            assert told.endswith(f": {way}") if way else ":" not in told


def test_edges_that_differ_have_a_column_and_a_mark() -> None:
    """All alike: one sentence. One pair 0.7 mm apart: a column, and LOOK in its row."""
    work = small_work()
    alike = tuple(replace(j, sides=tuple(replace(s, length=j.length) for s in j.sides)) for j in work.seams)
    assert "Edges differ" not in job_sheet(replace(work, seams=alike))
    first = replace(alike[0], sides=(alike[0].sides[0], replace(alike[0].sides[1], length=alike[0].length + 0.7)))
    html = job_sheet(replace(work, seams=(first, *alike[1:])))
    assert "Edges differ" in html
    assert html.count("0.7 LOOK") == 1


def sections_cuts(work) -> dict[int, str]:
    """The rows of the table of cuts, by the cut's number, as words."""
    table = sheets_section(work, figures(work)).split("Shear cuts, in order")[1].split("<tbody>")[1]
    rows = [re.sub(r"<[^>]+>", " ", row) for row in re.findall(r"<tr>(.*?)</tr>", table)]
    return {int(row.split()[0]): row for row in rows}


def test_names_from_outside_stay_words() -> None:
    """A job name, a piece or a finding that looks like markup cannot become any."""
    nasty = "</title><script>alert(1)</script>\"'{{css}}\\ & Söhne"
    work = small_work()
    job = SimpleNamespace(**{**vars(work.job), "name": nasty, "reference": nasty, "revision": "</style>"})
    finding = Finding("look", nasty, nasty, nasty, nasty, 1.0, nasty)
    blanks = tuple(replace(b, name=nasty) if b.name == "tunnel" else b for b in work.blanks)
    body = replace(work.body, pieces=tuple(nasty if name == "tunnel" else name for name in work.body.pieces))
    html = job_sheet(replace(work, job=job, findings=(finding,), blanks=blanks, body=body, cautions=(nasty,)))
    read(html)
    assert "<script>alert" not in html
    assert html.count("<script") == html.count("</script>") == 2
    assert html.count("<style") == html.count("</style>") == 1
    assert f"<h1>{nasty.replace('&', '&amp;').replace('<', '&lt;').replace('>', '&gt;')[:20]}" in html
    data = json.loads(re.search(r'id="tank-data">(.*?)</script>', html, re.S).group(1))
    assert any(nasty in group["label"] for group in data["groups"])


def _rings(data: str) -> list[np.ndarray]:
    """Rings of path data in our own short form: M, relative l, z."""
    rings = []
    for start, steps in re.findall(r"M(-?[\d.]+,-?[\d.]+)(?:l([^zM]*))?z?", data):
        points = [np.array(start.split(","), dtype=float)]
        for step in (steps or "").split():
            points.append(points[-1] + np.array(step.split(","), dtype=float))
        rings.append(np.array(points))
    return rings


def _area(data: str) -> float:
    """Area of even-odd rings."""
    rings = sorted((abs(Polygon(r).area) for r in _rings(data)), reverse=True)
    return rings[0] - sum(rings[1:])


def test_flats_are_drawn_true_to_size() -> None:
    """The cut edge on the page has the blank's area within 0.1 % and its size within 0.1 mm."""
    html = sheet()
    for k, blank in enumerate(small_work().blanks, 1):
        drawing = html[html.index(f'aria-labelledby="flat{k}"') :]
        data = re.search(r'class="pen-cut heavy"[^>]* d="([^"]+)"', drawing).group(1)
        x0, y0, x1, y1 = blank.outline.bounds
        points = np.vstack(_rings(data))
        # y is turned over; relative steps of 0.1 mm may drift by rounding, but not by more than that
        assert points.min(axis=0) == pytest.approx([x0, -y1], abs=0.11)
        assert points.max(axis=0) == pytest.approx([x1, -y0], abs=0.11)
        assert _area(data) == pytest.approx(blank.outline.area, rel=1e-3)


def test_sheets_are_drawn_true_to_size() -> None:
    """Every blank of the nest is on its sheet's picture, in its place."""
    html, layout = sheet(), small_work().layout
    for used in layout.sheets:
        start = html.index(f'aria-labelledby="sheet{used.index + 1}"')
        drawn = re.findall(r'class="laid"[^>]* d="([^"]+)"', html[start : html.index("</svg>", start)])
        assert len(drawn) == len(layout.on_sheet(used.index))
        for data, placed in zip(drawn, layout.on_sheet(used.index), strict=True):
            x0, _, _, y1 = placed.outline.bounds
            assert np.vstack(_rings(data)).min(axis=0) == pytest.approx([x0, -y1], abs=0.11)
            assert _area(data) == pytest.approx(placed.outline.area, rel=1e-3)


def test_the_viewer_gets_the_whole_tank() -> None:
    """What is packed for the viewer is the outer surface: closed, and its volume within 0.1 %, by trimesh."""
    data = json.loads(re.search(r'id="tank-data">(.*?)</script>', sheet(), re.S).group(1))
    whole = np.frombuffer(base64.b64decode(data["points"]), "<u2").reshape(-1, 3)
    points = whole / 65535 * data["span"] + data["low"]
    faces = np.frombuffer(base64.b64decode(data["faces"]), "<u4" if data["wide"] else "<u2").reshape(-1, 3)
    body = small_work().body
    assert sum(group["faces"] for group in data["groups"]) == len(faces) == len(body.faces)
    mesh = trimesh.Trimesh(points, faces, process=False)
    assert mesh.is_watertight
    assert mesh.volume == pytest.approx(trimesh.Trimesh(body.outer, body.faces, process=False).volume, rel=1e-3)


def test_pieces_are_told_apart_without_colour() -> None:
    """Each piece of the tank has a hatch of its own, by direction or spacing, and its number."""
    data = json.loads(re.search(r'id="tank-data">(.*?)</script>', sheet(), re.S).group(1))
    hatches = [tuple(group["hatch"]) for group in data["groups"]]
    assert len(set(hatches)) == len(hatches)
    assert [group["label"].split()[0] for group in data["groups"]] == ["1", "2", "3", "4", "5", "6"]


@pytest.mark.parametrize("view", VIEWS, ids=lambda view: view.title)
def test_the_still_picture_covers_what_the_tank_covers(view) -> None:
    """The pieces drawn fill the tank's shadow within 1 %, found by joining every face's shadow (shapely)."""
    work = small_work()
    drawn = tank_svg(still_mesh(work.body, groups_of(work.body, work.blanks)), view, name="t")
    edges = re.findall(r'class="pen-cut" d="([^"]+)"', drawn)
    pieces = [shapely.make_valid(Polygon(r)) for data in edges for r in _rings(data) if len(r) > 2]
    d = np.array(view.towards) / np.linalg.norm(view.towards)
    right = np.cross([0, 0, 1.0], d)
    right /= np.linalg.norm(right)
    flat = np.stack([work.body.outer @ right, -(work.body.outer @ np.cross(d, right))], axis=1)
    shadow = shapely.union_all(shapely.polygons(flat[work.body.faces]))
    assert shapely.union_all(pieces).symmetric_difference(shadow).area < 0.01 * shadow.area


def test_a_zone_is_told_in_words_numbers_and_pattern() -> None:
    """The shrink of the ball skin: a hatch of its own kind, words on the picture, a row with worst and mean."""
    html = sheet()
    start = html.index('id="piece2"')
    piece = html[start : html.index('id="piece3"')]
    assert 'fill="url(#flat2-shrink2)"' in piece
    assert 'id="flat2-shrink2"' in piece
    assert "shrink, worst 4.0 %" in piece  # the picture's description, read aloud
    assert re.search(r'data-h="Zone"[^>]*>1<.*?shrink.*?4\.0 %.*?ordinary', piece, re.S)
    assert "A: lose 3.9" in piece


def test_an_inch_job_reads_in_both_units() -> None:
    """Inches beside millimetres in tables, US gallons beside litres."""
    words = " ".join(reader_of("profile", "in").words)
    assert "US gal" in words
    assert re.search(r"\d+(\.\d+)? in\b", words)
    assert "US gal" not in " ".join(reader_of().words)


def test_the_worst_of_stretch_and_of_shrink_always_has_a_place() -> None:
    """Of every piece that is strained, both worst values stand in a row with where they are."""
    html, got = sheet(), figures(small_work())
    for blank in got["blanks"]:
        if blank["strain"] is None:
            continue
        start = html.index(f'id="piece{blank["piece"]}"')
        piece = html[start : html.index("</article>", start)]
        for kind in ("stretch", "shrink"):
            at = blank["strain"][f"{kind}_worst_at_mm"]
            if at is None:
                continue
            rows = re.findall(
                rf">{kind}</td><td[^>]*>[^<]*</td><td[^>]*>([\d.]+) %</td>.*?>([\d.]+)\u00a0/\u00a0([\d.]+)", piece
            )
            worst = max(float(row[0]) for row in rows)
            assert worst == pytest.approx(blank["strain"][f"{kind}_worst_percent"], abs=0.051)


def test_bands_that_hang_by_a_neck_are_zones_of_their_own() -> None:
    """Two 100 mm squares on a 4 mm neck come apart; on a 60 mm neck they do not. No area is lost."""
    for neck, count in ((4.0, 2), (60.0, 1)):
        shape = shapely.union_all(
            [shapely.box(0, 0, 100, 100), shapely.box(160, 0, 260, 100), shapely.box(90, 20, 170, 20 + neck)]
        )
        bands = _bands(shape, 8.0, 100.0)
        assert len(bands) == count
        assert sum(band.area for band in bands) == pytest.approx(shape.area, abs=0.01)


def test_small_changes_of_edges_that_are_not_formed_are_left() -> None:
    """Under 0.5 mm a flat, rolled or folded edge is told as it is, in the table and on the picture."""
    html, got = sheet(), figures(small_work())
    seen = 0
    for blank in got["blanks"]:
        start = html.index(f'id="piece{blank["piece"]}"')
        piece = html[start : html.index("</article>", start)]
        for edge in blank["edges"]:
            if blank["kind"] != "formed" and abs(edge["gain_mm"]) < 0.5:
                seen += 1
                assert f"{edge['letter']}: lose" not in piece
                assert f"{edge['letter']}: gain" not in piece
    assert seen


def test_a_job_in_inches_prints_on_letter() -> None:
    """The shop's own paper: letter where the job is in inches, A4 where it is in mm; the cut list too."""
    assert "@page{size:letter;" in sheet("profile", "in")
    assert "@page{size:A4;" in sheet()
    for unit, number in (("mm", 9), ("in", 1)):
        book = openpyxl.load_workbook(io.BytesIO(cut_lists(small_work(unit=unit))["cut-list.xlsx"]))
        assert {int(page.page_setup.paperSize) for page in book} == {number}


def test_the_order_of_work_can_be_followed() -> None:
    """A baffle that straddles the tunnel stands before it; a rolled wall that meets the tunnel comes after it; the trim
    of the floors comes off before they close the bottom."""
    work = small_work()
    got = figures(work)
    cap, top = (next(b for b in got["blanks"] if b["name"] == name) for name in ("end cap rear", "top skin"))

    def made(name: str, like: dict[str, Any], edges: list[dict[str, Any]]) -> dict[str, Any]:
        return {**like, "piece": len(got["blanks"]) + 1, "name": name, "mirrors": "", "lips": [], "edges": edges}

    net = {**cap["edges"][0], "letter": "", "meets": "", "joint": "none", "allowance": "net", "allowance_mm": 0.0}
    trim = {**net, "joint": "butt", "allowance": "trim 3.0 mm", "allowance_mm": 3.0}
    got["blanks"].append(made("baffle", cap, [net]))
    got["blanks"].append(made("neck wall", top, [{**trim, "letter": "P", "meets": "tunnel"}]))
    got["blanks"].append(made("floor right", top, [{**trim, "letter": "QR", "meets": "tunnel right"}]))
    work = replace(work, blanks=(*work.blanks, *[work.blanks[-1]] * 3))
    steps = re.findall(r"<li>(.*?)</li>", order_section(work, got))
    words = [re.sub(r"<[^>]+>", "", step) for step in steps]

    def at(begins: str) -> int:
        (place,) = (k for k, step in enumerate(words) if step.startswith(begins))
        return place

    order = [
        at("Roll 1 top skin and fit between its"),
        at("Fold 4 tunnel"),
        at("Stand 7 baffle in the shell before the tunnel and the ends close it. It straddles"),
        at("Set 4 tunnel in the shell: scribe C and D to it"),
        at("Roll 8 neck wall"),
        at("End pieces"),
        at("Roll 9 floor right"),
        at(
            "Hold it in its place and scribe it to its neighbours. Now the 3.0 mm left on QR of 9 floor right comes off"
        ),
        at("Close the bottom last: 9 floor right"),
    ]
    assert order == sorted(order)
    assert "Nothing on its edge holds it: tabs, or tacks to tunnel and skins" in words[order[2]]
    assert "until 5 end cap front, 6 end cap rear and 8 neck wall are fitted" in " ".join(words)
    assert "before cutting" not in " ".join(words[2:])
