"""The job sheet in a browser: no errors, no network, keys, phone, scripts off, print."""

from __future__ import annotations

import io
import re
import shutil
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import numpy as np
import pypdf
import pytest

from tankwright.papers.jobsheet import job_sheet

from .fixture import small_work

playwright = pytest.importorskip("playwright.sync_api", reason="playwright is not installed")
CHROMIUM = next(filter(None, map(shutil.which, ("chromium", "chromium-browser", "google-chrome"))), None)
pytestmark = pytest.mark.skipif(CHROMIUM is None, reason="no chromium found on the path")

FLAGS = [  # no network of the browser's own; drawing in software
    "--no-sandbox",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--use-angle=swiftshader",
    "--enable-unsafe-swiftshader",
    "--ignore-gpu-blocklist",
]


@pytest.fixture(scope="module")
def browser() -> Iterator:
    with playwright.sync_playwright() as play:
        started = play.chromium.launch(executable_path=CHROMIUM, args=FLAGS)
        yield started
        started.close()


@pytest.fixture(scope="module")
def address(tmp_path_factory: pytest.TempPathFactory) -> str:
    path: Path = tmp_path_factory.mktemp("sheet") / "job sheet Kovács.html"
    path.write_text(job_sheet(small_work()), encoding="utf-8")
    return path.as_uri()


def _opened(browser, address: str, *, width: int = 1280, scripts: bool = True, before: str = ""):
    """A page, with a list of everything it complained of or asked for."""
    context = browser.new_context(viewport={"width": width, "height": 844}, java_script_enabled=scripts)
    page = context.new_page()
    said: list[str] = []
    page.on("console", lambda message: said.append(message.text))
    page.on("pageerror", lambda error: said.append(str(error)))
    page.on("request", lambda request: said.append(request.url) if not request.url.startswith("data:") else None)
    if before:
        page.add_init_script(before)
    page.goto(address)
    return page, said


def _picture(page) -> np.ndarray:
    """What the canvas shows, (height, width, 3)."""
    _drawn(page)
    from PIL import Image

    image = Image.open(io.BytesIO(page.locator("#tank-canvas").screenshot()))
    return np.asarray(image.convert("RGB"), dtype=int)


def _drawn(page) -> None:
    """Waits until two more frames have been drawn."""
    page.evaluate("new Promise((done) => requestAnimationFrame(() => requestAnimationFrame(done)))")


def _view(page) -> list[float]:
    """Angle around, angle above, zoom, pull, as last drawn."""
    _drawn(page)
    return [float(v) for v in page.locator("#tank-canvas").get_attribute("data-view").split()]


@pytest.mark.parametrize("width", [1280, 390])
def test_it_opens_from_a_file_without_a_word_and_without_the_network(browser, address: str, width: int) -> None:
    """No console message, no request but the file itself, nothing wider than the screen."""
    page, said = _opened(browser, address, width=width)
    page.wait_for_timeout(200)
    assert said == [address]
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    assert page.locator("#tank-canvas").is_visible()
    assert not page.locator(".still").first.is_visible()


@pytest.mark.parametrize("unit", ["mm", "in"])
def test_on_a_narrow_phone_no_cell_is_cut(browser, tmp_path: Path, unit: str) -> None:
    """At 360 px: the page is no wider than the screen, no box scrolls sideways, and every cell's own letters lie inside
    the screen; long words of a source among them. A cell without words takes no room."""
    work = small_work("shear", unit)
    long = ("folds", "inside radius 3.0 mm, K 0.4. " + "No strip was measured for this sheet at such a radius. " * 3)
    path = tmp_path / "phone.html"
    path.write_text(job_sheet(replace(work, assumptions=(*work.assumptions, long))), encoding="utf-8")
    page, said = _opened(browser, path.as_uri(), width=360)
    page.wait_for_timeout(200)
    wide, screen, boxes, cut, cells = page.evaluate(
        """(() => {
          const root = document.documentElement, cut = [];
          const cells = [...document.querySelectorAll('th, td, caption')].filter((c) => c.offsetParent);
          for (const cell of cells) {
            const range = document.createRange();
            range.selectNodeContents(cell);
            const over = [...range.getClientRects()].some((r) => r.left < 0 || r.right > root.clientWidth + 0.5);
            if (!cell.textContent || over || cell.scrollWidth > cell.clientWidth + 1) cut.push(cell.textContent);
          }
          const boxes = [...document.querySelectorAll('.scroll')].filter((b) => b.scrollWidth > b.clientWidth);
          return [root.scrollWidth, root.clientWidth, boxes.map((b) => b.textContent), cut, cells.length];
        })()"""
    )
    assert wide == screen == 360
    assert boxes == []
    assert cells > 200
    assert cut == []
    assert said == [path.as_uri()]


def test_the_tank_is_drawn_turned_and_pulled_apart(browser, address: str) -> None:
    """Mouse, keys, buttons and slider each change the picture; Home brings it back."""
    page, said = _opened(browser, address)
    first = _picture(page)
    drawn = (np.abs(first - first[2, 2]).sum(axis=2) > 30).mean()
    assert drawn > 0.15  # the tank fills a fair part of the picture
    page.locator("#tank-canvas").focus()
    start = _view(page)
    page.keyboard.press("ArrowRight")
    page.keyboard.press("ArrowUp")
    page.keyboard.press("+")
    turned = _view(page)
    assert turned[0] == start[0] - 6
    assert turned[1] == start[1] + 6
    assert turned[2] > start[2]
    page.keyboard.press("Home")
    assert _view(page) == start
    box = page.locator("#tank-canvas").bounding_box()
    page.mouse.move(box["x"] + 300, box["y"] + 200)
    page.mouse.down()
    page.mouse.move(box["x"] + 400, box["y"] + 230)
    page.mouse.up()
    assert _view(page)[:2] != start[:2]
    page.get_by_role("button", name="Left side").click()
    assert _view(page)[:2] == [-90, 0]
    whole = _picture(page)
    page.get_by_label("Pull apart").fill("100")
    apart = _picture(page)
    assert _view(page)[3] == 100
    assert (np.abs(apart - whole).sum(axis=2) > 30).mean() > 0.03
    assert said == [address]


def test_no_words_of_a_picture_are_cut_off(browser, address: str) -> None:
    """Every word of a flat, a slit card, a sheet and a still lies inside its picture, by the browser's own measure."""
    page, _ = _opened(browser, address, before="HTMLCanvasElement.prototype.getContext = () => null;")
    cut, count = page.evaluate(
        """(() => {
          const all = [...document.querySelectorAll('main svg text')];
          const over = all.filter((t) => {
            const [a, b] = [t.getBoundingClientRect(), t.closest('svg').getBoundingClientRect()];
            return a.left < b.left - 1 || a.right > b.right + 1 || a.top < b.top - 1 || a.bottom > b.bottom + 1;
          });
          return [over.map((t) => t.textContent), all.length];
        })()"""
    )
    assert count > 50
    assert cut == []


def test_touch_turns_and_pinches(browser, address: str) -> None:
    """One finger turns, two fingers zoom."""
    page, _ = _opened(browser, address, width=390)
    start = _view(page)
    finger = """([id, type, x, y]) => {
      const c = document.getElementById('tank-canvas'), b = c.getBoundingClientRect();
      c.dispatchEvent(new PointerEvent(type, {pointerId: id, pointerType: 'touch', clientX: b.x + x, clientY: b.y + y,
        bubbles: true, isPrimary: id === 1}));
    }"""
    for event in ([1, "pointerdown", 100, 100], [1, "pointermove", 140, 100]):
        page.evaluate(finger, event)
    turned = _view(page)
    assert turned[0] == pytest.approx(start[0] - 18, abs=1)
    for event in ([2, "pointerdown", 200, 100], [2, "pointermove", 260, 100]):
        page.evaluate(finger, event)
    assert _view(page)[2] == pytest.approx(start[2] * 2, rel=0.02)
    for event in ([1, "pointerup", 140, 100], [2, "pointerup", 260, 100]):
        page.evaluate(finger, event)


def test_every_control_is_reached_by_tab(browser, address: str) -> None:
    """Links, picture, slider and buttons come in turn, in the order they stand on the page, each with a name."""
    page, _ = _opened(browser, address)
    page.keyboard.press("Tab")
    reached = []
    for _ in range(40):
        reached.append(page.evaluate("[document.activeElement.tagName, document.activeElement.id]"))
        page.keyboard.press("Tab")
    assert ["CANVAS", "tank-canvas"] in reached
    assert ["INPUT", "tank-pull"] in reached
    assert sum(tag == "BUTTON" for tag, _ in reached) == 7
    tops = page.evaluate(
        """[...document.querySelectorAll('a[href], button, input, [tabindex]')].filter((e) => e.offsetParent)
        .map((e) => [e.tabIndex, (e.textContent || e.ariaLabel || e.id).trim()])"""
    )
    assert {index for index, _ in tops} == {0}  # the page's own order, nothing taken out of turn
    assert all(name for _, name in tops)
    assert page.get_by_role("img", name="three dimensions").count() == 1
    assert page.get_by_role("slider", name="Pull apart").count() == 1


@pytest.mark.parametrize(
    "scripts, before",
    [
        (False, ""),
        (True, "HTMLCanvasElement.prototype.getContext = () => null;"),
    ],
    ids=["scripts off", "no WebGL"],
)
def test_without_the_viewer_the_still_pictures_serve(browser, address: str, scripts: bool, before: str) -> None:
    """Scripts off, or no WebGL: both still views are shown, and no empty canvas."""
    page, said = _opened(browser, address, scripts=scripts, before=before)
    assert page.locator(".still svg").count() == 2
    assert page.locator(".still svg").first.is_visible()
    assert page.locator("#tank-live").is_hidden()
    assert said == [address]


@pytest.fixture(scope="module")
def printed(browser, address: str) -> list[pypdf.PageObject]:
    """The pages it prints."""
    page, _ = _opened(browser, address)
    data = page.pdf(prefer_css_page_size=True, print_background=True)
    return list(pypdf.PdfReader(io.BytesIO(data)).pages)


def test_it_prints_on_paged_a4_with_the_job_on_every_page(printed: list[pypdf.PageObject]) -> None:
    """A4, job, revision and date on every page, page numbers, still views in place of the viewer, no page empty."""
    count = len(printed)
    assert 5 <= count <= 10
    for k, sheet in enumerate(printed, 1):
        size = sorted(float(v) * 25.4 / 72 for v in (sheet.mediabox.width, sheet.mediabox.height))
        assert size == pytest.approx([210, 297], abs=0.5)
        words = " ".join(sheet.extract_text().split())
        assert "Fixture tank (invented)" in words
        assert "revision B" in words
        assert "2026-03-14" in words
        assert f"{k} of {count}" in words
        assert len(words) > 300, f"page {k} is all but empty"
    first = " ".join(printed[0].extract_text().split())
    assert first.index("plan pattern is longer") < first.index("side room is less") < first.index("No neck given")


def test_no_heading_is_left_at_the_foot_of_a_page(printed: list[pypdf.PageObject]) -> None:
    """After the last heading of a page something else follows before the page's foot."""
    heads = {"Read first", "The tank", "What it holds", "Order of work", "Assumptions", "Cut list", "Sheets", "Pieces"}
    heads |= {"Seams", "Patterns met", "Cautions", "Offcuts to keep and label", "Where the metal goes"}
    heads |= {f"Sheet {k}" for k in (1, 2)} | {blank.name for blank in small_work().blanks}
    seen = set()
    for sheet in printed:
        lines = [line.strip() for line in sheet.extract_text().splitlines() if line.strip()]
        body = [line for line in lines if not line.startswith("Job sheet.") and not re.fullmatch(r"\d+ of \d+", line)]
        for k, line in enumerate(body):
            name = re.sub(r"^\d+ ", "", line)
            if name in heads:
                seen.add(name)
                assert k < len(body) - 1, f"{name} stands alone at the foot of a page"
    assert {"Cut list", "Pieces", "Seams", "tunnel"} <= seen


def test_no_row_of_a_table_is_cut_in_two(browser, tmp_path: Path) -> None:
    """Sixty rows of three lines each, too many for a page: every row's lines are on one page, under its heads again."""
    from tankwright.papers.jobsheet_html import table, text

    rows = [
        [text(f"row {k} begins"), text(f"middle {k} " + "of many words " * 12), text(f"end {k}")] for k in range(60)
    ]
    long = table(("First", "Second", "Third"), rows, kind="named long")
    html = job_sheet(small_work()).replace(
        '<section id="cautions"', f'<section id="extra">{long}</section>\n<section id="cautions"'
    )
    path = tmp_path / "long.html"
    path.write_text(html, encoding="utf-8")
    page, _ = _opened(browser, path.as_uri())
    sheets = pypdf.PdfReader(io.BytesIO(page.pdf(prefer_css_page_size=True))).pages
    found = 0
    for words in (" ".join(sheet.extract_text().split()) for sheet in sheets):
        begun = set(re.findall(r"row (\d+) begins", words))
        assert begun == set(re.findall(r"middle (\d+)", words))
        if begun:
            assert "First Second Third" in words
            assert words.count("of many words") == 12 * len(begun)
        found += len(begun)
    assert found == 60


def test_each_piece_stays_on_one_printed_page(printed: list[pypdf.PageObject]) -> None:
    """A flat and its tables are not torn apart."""
    pages = [" ".join(sheet.extract_text().split()) for sheet in printed]
    for name in ("end cap rear", "tunnel", "side left"):
        heads = [text for text in pages if "Size as cut" in text and "Mass as cut" in text and name in text]
        assert any("Left outside trim line" in text for text in heads)


def test_it_reads_without_colour(browser, address: str) -> None:
    """In greys, neighbouring pieces of the tank still differ: their hatches run differently."""
    page, _ = _opened(browser, address)
    page.wait_for_timeout(250)  # the labels find their places
    page.evaluate("document.querySelectorAll('.stage .tag').forEach((t) => (t.style.visibility = 'hidden'))")
    grey = _picture(page).mean(axis=2)
    spots = page.evaluate(
        """[...document.querySelectorAll('.stage .tag')].filter((t) => t.style.display === 'block')
        .map((t) => [t.textContent, parseFloat(t.style.left), parseFloat(t.style.top)])"""
    )
    seen = {}
    for text, left, top in spots:
        row, column = int(top / 100 * grey.shape[0]), int(left / 100 * grey.shape[1])
        patch = grey[max(0, row - 22) : row + 22, max(0, column - 22) : column + 22]
        seen[text] = patch.std()
    assert len(seen) >= 3
    assert all(spread > 4 for spread in seen.values()), seen
