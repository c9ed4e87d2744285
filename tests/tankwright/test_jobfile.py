"""A job folder becomes a `Job`: values, points, files, and what a wrong one is told."""

from __future__ import annotations

import datetime
import doctest
import tomllib
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings

from tankwright import tomllines
from tankwright.errors import Finding, JobError, TankwrightError
from tankwright.job import check
from tankwright.load import Job, load_job
from tankwright.start import start_folder, starter_text
from tankwright.tomllines import line_numbers
from tests.tankwright.strategies import EXAMPLES, paths, spoiled, starter, toml_text

STARTER = starter_text("job.toml")


pytestmark = pytest.mark.usefixtures("no_shop_from_outside")


def load(tmp_path: Path, *changes: tuple[str, str], text: str = STARTER, **files: str) -> Job:
    """The starter job with some of its text exchanged, and files beside it (``top_csv`` is top.csv)."""
    for old, new in changes:
        assert old in text, old
        text = text.replace(old, new, 1)
    (tmp_path / "job.toml").write_text(text, encoding="utf-8")
    for name, content in files.items():
        (tmp_path / name.replace("_", ".")).write_text(content, encoding="utf-8")
    return load_job(tmp_path)


def findings(tmp_path: Path, *changes: tuple[str, str], **files: str) -> tuple[Finding, ...]:
    """What is said of the starter job once it is spoiled."""
    with pytest.raises(JobError) as error:
        load(tmp_path, *changes, **files)
    return error.value.findings


TOP = "top = [[0, 120], [60, 150], [150, 168], [260, 165], [380, 145], [492, 110]]"
THICKNESS = "thickness = 1.6 "

# ------------------------------------------------------------------------------------ what is read


def test_the_starter_job_is_read_as_it_stands(tmp_path):
    """Names, metal, patterns and settings of the starter come out in millimetres."""
    job = load(tmp_path)
    assert (job.name, job.revision, job.unit, job.surface) == ("My first tank", "A", "mm", "outside")
    assert job.pattern_date == datetime.date(2026, 1, 15)
    assert (job.metal.name, job.thickness, job.gauge, job.fold_radius) == ("3003-H14", 1.6, "", 3.0)
    side = job.patterns.side
    assert side.top.points.shape == (6, 2)
    assert side.front.points.tolist() == [[0, 20], [0, 120]]
    assert side.rear.points.tolist() == [[500, 20], [492, 110]]
    assert set(side.lines) == {"widest", "frame"}
    assert job.patterns.tunnel is not None
    assert job.patterns.tunnel.half_front == 38 / 2 + 19
    assert job.marks["register_rear"] == (460.0, 0.0)
    assert job.filler is not None
    assert job.filler.diameter == 60
    assert job.outlet_names == ("petrol tap",)
    assert job.files == ("job.toml",)
    assert job.notes == ()


@pytest.mark.parametrize("name", ["saddle-12l", "peanut-2gal", "scrambler"])
def test_the_examples_are_read(name):
    """Every example can be read, from its folder or its file, and reads the same both ways."""
    job = load_job(EXAMPLES / name)
    assert load_job(EXAMPLES / name / "job.toml").source_text_digest == job.source_text_digest
    assert "invented" in (EXAMPLES / name / "job.toml").read_text(encoding="utf-8").lower()


def test_an_example_in_inches_is_exact():
    """Fractions, gauges and a table beside the job are read to the last bit."""
    job = load_job(EXAMPLES / "peanut-2gal")
    assert job.unit == "in"
    assert job.gauge == "18 ga"
    assert job.thickness == pytest.approx(0.0478 * 25.4, abs=0.002)  # printed on two gauge charts
    assert job.fold_radius == 25.4 / 16
    for curve in (job.patterns.side.top, job.patterns.plans[0].half):
        sixteenths = curve.points / 25.4 * 16
        assert np.abs(sixteenths - np.round(sixteenths)).max() < 1e-9
    assert job.patterns.side.top.points[0].tolist() == [0, 73.025]
    assert job.files == ("job.toml", "shop.toml", "plan.csv")


@pytest.mark.parametrize(
    "top, files",
    [
        ("top = { file = 'top.csv' }", {"top_csv": "x,z\n0,120\n250,160\n500,110\n"}),
        ("top = { file = 'top.csv' }", {"top_csv": "\ufeffz;x\r\n120;0\r\n160;250\r\n110,0;500\r\n"}),
        ("top = { file = 'top.txt' }", {"top_txt": "# top\nX (mm)\tZ (mm)\n0\t120\n250\t160\n\n500\t110\n"}),
        ("top = { file = 'top.csv', unit = 'in' }", {"top_csv": 'x,z\n0,"120mm"\n250 mm,160 mm\n500mm,110mm\n'}),
        ("top = '''\n0, 120\n250, 160\n500, 110\n'''", {}),
        ("top = '''\nx, z\n0, 120\n250, 160\n500, 110'''", {}),
        ("top = [['0', '120 mm'], ['25 cm', 160], [500, 110]]", {}),
    ],
)
def test_points_come_from_anywhere(tmp_path, top, files):
    """Points in the job, in a block of text and in tables of several makes are the same points."""
    job = load(tmp_path, (TOP, top), **files)
    assert job.patterns.side.top.points == pytest.approx(np.array([[0, 120], [250, 160], [500, 110.0]]))


def test_corners_are_read_from_every_source(tmp_path):
    """A third entry breaks the curve, in a list and in a table, with or without a corner column."""
    for top, content in (
        ("[[0, 120], [250, 160, 'corner'], [500, 110]]", ""),
        ("{ file = 'top.csv' }", "x,z,corner\n0,120,\n250,160,corner\n500,110,\n"),
        ("'''\n0, 120\n250, 160, corner\n500, 110\n'''", ""),
    ):
        job = load(tmp_path, (TOP, f"top = {top}"), top_csv=content)
        assert job.patterns.side.top.corner.tolist() == [False, True, False]


def test_an_open_plan_is_closed_square(tmp_path):
    """A half outline left open gets its square end, and the job says so."""
    job = load(tmp_path, ('[496, 62, "corner"], [496, 0]]', "[496, 62]]"))
    half = job.patterns.plans[0].half
    assert half.points[-2:].tolist() == [[496, 62], [496, 0]]
    assert half.corner[-2:].tolist() == [True, True]
    assert job.notes == ("plan at the widest line: open at the rear: closed square to the centre plane",)


def test_a_left_half_is_mirrored(tmp_path):
    """A plan read with negative widths is the same plan, with a note."""
    half = STARTER[STARTER.index("half = [[0, 0]") :].splitlines()[0]
    left = half.replace("], [", "], [").replace(", 4", ", -4", 1)
    points = tomllib.loads(half)["half"]
    left = "half = " + str([[p[0], -p[1], *p[2:]] for p in points]).replace("-0", "0")
    there, mirrored = load(tmp_path), load(tmp_path, (half, left))
    assert mirrored.patterns.plans[0].half.points == pytest.approx(there.patterns.plans[0].half.points)
    assert "mirrored" in mirrored.notes[0]


def test_ends_meet_top_and_bottom(tmp_path):
    """A drawn front run is moved onto the ends it was read near to."""
    job = load(tmp_path, (TOP, TOP + "\nfront = [[0.5, 20], [-8, 70], [0, 119]]"))
    front = job.patterns.side.front.points
    assert front.tolist() == [[0, 20], [-8, 70], [0, 120]]


def test_a_section_of_numbers_keeps_the_rest_of_the_shape(tmp_path):
    """A section given by a few numbers takes the others from the job's own shape."""
    extra = "\n[[section]]\nat = 250\nshape = { crown_fullness = 0.7 }\n"
    job = load(tmp_path, text=STARTER + extra)
    section = job.patterns.sections[0]
    assert section.shape is not None
    assert (section.shape.crown_fullness, section.shape.side_fullness) == (0.7, 0.45)
    assert (section.foot_x, section.head_x, section.name) == (250.0, 250.0, "section 1")


def test_the_digest_follows_every_file(tmp_path):
    """Any change in the job, its shop or a pattern file changes the digest; nothing else does."""
    table = "x,z\n0,120\n250,160\n500,110\n"
    first = load(tmp_path, (TOP, "top = { file = 'top.csv' }"), top_csv=table)
    again = load(tmp_path, (TOP, "top = { file = 'top.csv' }"), top_csv=table)
    other = load(tmp_path, (TOP, "top = { file = 'top.csv' }"), top_csv=table.replace("160", "161"))
    assert first.source_text_digest == again.source_text_digest != other.source_text_digest


# --------------------------------------------------------------------------------- what is refused


def test_a_message_says_all_there_is_to_say(tmp_path):
    """Which pattern, which point, what was found, what is allowed, where it is written, what to do."""
    (finding,) = findings(tmp_path, ("[150, 168], [260, 165]", "[260, 165], [150, 168]"))
    line = STARTER.splitlines().index(TOP) + 1
    assert str(finding) == (
        "Side pattern, top, point 4: x runs backwards.\n"
        "  found    x = 150.0 mm after x = 260.0 mm\n"
        "  allowed  x rising from front to rear\n"
        f"  job.toml, line {line}\n"
        "hint: check the order of the points; front comes first"
    )


def test_every_mistake_is_said_at_once(tmp_path):
    """Mistakes in five sections come as five findings, in the order of the file."""
    said = findings(
        tmp_path,
        (THICKNESS, 'thickness = "18 swg"'),
        ("[60, 150]", "[60, nan]"),
        ('line = "widest"', 'line = "widst"'),
        ("side_room = 19 ", "side_rom = 19 "),
        ('scheme = "crown and sides"', 'scheme = "crown"'),
    )
    assert [f.line for f in said] == sorted(f.line for f in said)  # type: ignore[type-var]
    assert [f.where.split(":")[0] for f in said] == [
        "Metal, thickness",
        "Side pattern, top, point 2",
        "Plan pattern “plan at the widest line”, line",
        "Tunnel, side_rom",
        "Division, scheme",
    ]
    assert "side_room" in said[3].remedy
    assert "crown and sides" in said[4].remedy


@pytest.mark.parametrize(
    "old, new, where, words",
    [
        (THICKNESS, "thicknes = 1.6 ", "Metal, thicknes", ["did you mean thickness"]),
        (THICKNESS, "", "Metal", ["thickness is missing", "add thickness = 1.6"]),
        (THICKNESS, "thickness = 16 ", "Metal, thickness", ["16.00 mm", "0.4 to 6.5 mm"]),
        (THICKNESS, "thickness = true ", "Metal, thickness", ["true"]),
        ('"3003-H14"', '"3003"', "Metal, alloy", ["3003-O or 3003-H14"]),
        ('"3003-H14"', '"unobtainium"', "Metal, alloy", ["mild steel"]),
        ('unit = "mm"', "", "Job", ["unit is missing"]),
        ('unit = "mm"', 'unit = "inches"', "Job, unit", ['write unit = "in"']),
        ("2026-01-15", '"15.1.2026"', "Job, pattern_date", ["write year-month-day, such as 2026-11-20"]),
        ("[[plan]]", "[plan]", "Plan pattern", ["may come several times stand in double brackets: [[plan]]"]),
        ("[[clear]]", "[clear]", "Clear", ["stand in double brackets: [[clear]]"]),
        ("[[outlet]]", "[outlet]", "Outlet", ["stand in double brackets: [[outlet]]"]),
        ("[[outlet]]", "[[outlett]]", "Outlett", ["[[outlet]]"]),
        ("[tunnel]", "[tunel]", "Tunel", ["did you mean tunnel"]),
        ("widest = [[0, 75]", "wide = [[0, 75]", "Plan pattern “plan at the widest line”, line", ["wide"]),
        ("frame = [[0, 50], [500, 45]]", "", "Side pattern, lines", ["tunnel", "frame = [["]),
        ("[0, 50], [500, 45]", "[0, 50], [500, 245]", "Side pattern, line frame", ["over the top"]),
        ("x = 260", "x = 820", "Outlet “petrol tap”, x", ["820.0 mm", "0.0 mm to 500.0 mm"]),
        ("both_sides = false", "both_sides = 'no'", "Clearance “steering neck”, both_sides", ["true or false"]),
        ("diameter = 60", "diameter = 260", "Filler neck, diameter", ["diameter = 260.0 mm, where the tank is 21"]),
        ("out = 0 ", "out = -90 ", "Filler neck, out", ["half the diameter is 120.0 mm"]),
        ("out = 0 ", "out = 76 ", "Filler neck, out", ["allowed  out up to 75."]),
        ("from = [-75, 0, 20]", "from = [-75, 0]", "Clearance “steering neck”, from", ["entry 3"]),
        ("radius = 24", "radius = -24", "Clearance “steering neck”, radius", ["a distance has no minus"]),
        ("side_room = 19", "side_room = -19", "Tunnel, side_room", ["a distance has no minus"]),
        ("diameter = 60", "diameter = -60", "Filler neck, diameter", ["a distance has no minus"]),
        ("lower_share = 0.8 ", "lower_share = 80 ", "Section shape, lower_share", ["up to 1"]),
        ('"crown and sides"', '"drawn"', "Division", ["[[division.seam]]"]),
        ("bottom = [[0, 20]", "bottom = [[0, 140]", "Side pattern, top", ["cross one another"]),
        ("[250, 0], [380, 5]", "[250, 0], [250, 0], [380, 5]", "Side pattern, bottom, point 4", ["twice"]),
        ("[8, 40], [30, 70]", "[8, 40], [30, -70]", "“plan at the widest line”, half, point 3", ["one side only"]),
        ("widest = [[0, 75]", "widest = [[-30, 75]", "Side pattern, line widest, point 1", ["front"]),
        (TOP, TOP + "\nfront = [[-30, 20], [0, 120]]", "Side pattern, front, point 1", ["30.0 mm away"]),
        (TOP, "top = [[0, 120]]", "Side pattern, top", ["at least 2 points"]),
        (TOP, "top = [0, 120]", "Side pattern, top, point 1", ["own brackets", "[[x, z], ...]"]),
    ],
)
def test_a_slip_is_named(tmp_path, old, new, where, words):
    """One slip gives a finding that names the place and says what would mend it."""
    said = findings(tmp_path, (old, new))
    text = next(str(f) for f in said if where in f.where)
    assert any(word in text for word in words), text
    assert len(said) <= 2, [str(f) for f in said]


@pytest.mark.parametrize(
    "table, words",
    [
        ("x,y\n0,120\n", ["there is no column z", "columns x, y", "top.csv, line 1"]),
        ("x,z\n0,120\n60,abc\n", ["point 2", "z is not a length", '"abc"', "top.csv, line 3"]),
        ("x,z\n0,120\n\n# remark\n60\n500,9\n", ["1 entry", "top.csv, line 5"]),
        ("x,z\n0,120\n60,150,170\n500,9\n", ["3", "top.csv, line 3"]),
        ("x;z\n0;1,250\n500;110\n", ["write a point", "top.csv, line 2"]),
        ("x,z\n0,120\n60,150\n30,140\n500,9\n", ["x runs backwards", "top.csv, line 4"]),
        ("x,z\n", ["no points"]),
        ("", ["top.csv is empty"]),
        ("0,120\n500,110\n", ["first row name the columns"]),
        ("x,z\n" + "1,1\n" * 3000, ["far too many points"]),
    ],
)
def test_a_faulty_table_is_named_by_file_row_and_column(tmp_path, table, words):
    """What is wrong in a pattern file is said of that file, its line and its column."""
    said = "\n".join(str(f) for f in findings(tmp_path, (TOP, 'top = { file = "top.csv" }'), top_csv=table))
    for word in words:
        assert word in said, said


@pytest.mark.parametrize("name", ["../top.csv", "/etc/passwd", "C:/top.csv", "sub/../../top.csv"])
def test_pattern_files_lie_in_the_job_folder(tmp_path, name):
    """A file outside the folder is refused: the folder holds all there is to a job."""
    (finding,) = findings(tmp_path, (TOP, f'top = {{ file = "{name}" }}'))
    assert "outside the job folder" in finding.where


def test_a_missing_file_suggests_the_one_that_is_there(tmp_path):
    """The nearest name beside it is offered."""
    (finding,) = findings(tmp_path, (TOP, 'top = { file = "topp.csv" }'), top_csv="x,z\n0,1\n")
    assert "did you mean top.csv" in finding.remedy


@pytest.mark.parametrize("unit, told", [("in", "12 sizes"), ("mm", "too short")])
def test_a_wrong_unit_is_asked_about(tmp_path, unit, told):
    """A job 25.4 times too large or small is asked whether its unit is right, and told once."""
    text = STARTER if unit == "in" else toml_text(_in_inches(starter()))
    (tmp_path / "job.toml").write_text(text.replace('unit = "mm" ', f'unit = "{unit}" '), encoding="utf-8")
    with pytest.raises(JobError) as error:
        load_job(tmp_path)
    assert f'is unit = "{unit}" right?' in str(error.value)
    assert sum(f.remedy.startswith("is unit") for f in error.value.findings) == 1


def _in_inches(data: dict) -> dict:
    """The starter with its lengths in inches but its unit left at mm."""
    scale = 1 / 25.4
    data["side"] = {
        key: [[x * scale, z * scale] for x, z in value]
        for key, value in data["side"].items()
        if key in ("top", "bottom")
    } | {"lines": {k: [[x * scale, z * scale] for x, z in v] for k, v in data["side"]["lines"].items()}}
    return data


@pytest.mark.parametrize(
    "text, words",
    [
        ("[metal]\nthickness = 1 7/16\n", ["line 2", 'fractions stand in straight quotes: "1 7/16"']),
        ("[side]\ntop = [\n  [0, 1],\n  [2, 5 5/8],\n]", ["line 4", 'straight quotes: "5 5/8"']),
        ("[side]\ntop = [[0, 1], [3-1/4, 2]]", ["line 2", 'straight quotes: "3-1/4"']),
        ("[side]\ntop = [[0, 1], [“5 5/8”, 2]]", ["line 2", 'straight quotes: "5 5/8"']),
        ('[filler]\nx = 5 5/8" # 1/2', ["line 2", 'straight quotes: "5 5/8"']),
        ("[job]\nname = “My tank”", ["line 2", 'quotes are straight: "My tank"']),
        ("[filler]\nx = 36.5mm", ["line 2", 'its unit stands in straight quotes: "36.5mm"']),
        ("[job]\npattern_date = 20.11.2026", ["line 2", "write year-month-day, such as 2026-11-20"]),
        ("[job]\npattern_date = 20/11/2026", ["line 2", "write year-month-day, such as 2026-11-20"]),
        ("[job]\npattern_date = 2026-20-11", ["line 2", "write year-month-day, such as 2026-11-20"]),
        ("[job]\npattern_date = 2026-02-30", ["line 2", "write year-month-day, such as 2026-11-20"]),
        ("[plan]\nline = 'widest'\n[plan]\nline = 'bottom'", ["line 3", "double brackets: [[plan]]"]),
        ("[section]\nat = 3\n[[section]]\nat = 4", ["line 3", "double brackets: [[section]]"]),
        ("[metal]\nthickness = 36,5\n", ["line 2", "point, not a comma"]),
        ("[metal]\nalloy = steel\n", ["line 2", "words stand in quotes"]),
        ("[side]\ntop = [[0, 1], [2, 3]\n[metal]\n", ["line 3", "bracket"]),
        ("[job]\nname = 'a'\n[job]\n", ["line 3", "already given"]),
        ("[job]\nname\n", ["line 2", "name = value"]),
    ],
)
def test_a_broken_file_says_where_it_breaks(tmp_path, text, words):
    """Syntax errors come with line, column and the likely slip."""
    (tmp_path / "job.toml").write_text(text, encoding="utf-8")
    with pytest.raises(JobError) as error:
        load_job(tmp_path)
    for word in words:
        assert word in str(error.value)


@pytest.mark.parametrize(
    "content, words",
    [
        (b"", "is empty"),
        (b"\n \n", "is empty"),
        ("[job]".encode("utf-16"), "UTF-16"),
        ("[job]\nname = 'Réservoir'".encode("latin-1"), "not saved as UTF-8"),
        (b"PK\x03\x04rest", "spreadsheet"),
        (b"a = 1\x00", "not text"),
        (b"# " + b"x" * 3_000_000, "too large"),
        (b"a = " + b"[" * 3000, "too deep"),
    ],
)
def test_a_file_that_is_no_job_is_refused(tmp_path, content, words):
    """Empty, huge, binary and wrongly saved files are told apart."""
    (tmp_path / "job.toml").write_bytes(content)
    with pytest.raises(JobError) as error:
        load_job(tmp_path)
    assert words in str(error.value)


@pytest.mark.parametrize("path", ["nowhere", "nowhere/job.toml", "x" * 5000, "a\x00b", ""])
def test_a_path_that_leads_nowhere_is_refused(tmp_path, path):
    """A folder or file that is not there gives a message, whatever its name."""
    with pytest.raises(JobError):
        load_job(str(tmp_path / path) if path != "a\x00b" else path)


def test_a_misspelt_folder_is_answered_with_the_nearest(tmp_path):
    """A job folder beside it with nearly that name is suggested; with none near, how to begin one."""
    start_folder(tmp_path / "saddle")
    (tmp_path / "saddles-notes").mkdir()
    with pytest.raises(JobError) as error:
        load_job(tmp_path / "sadle")
    assert error.value.findings[0].remedy == "did you mean saddle?"
    with pytest.raises(JobError) as error:
        load_job(tmp_path / "x1y2")
    assert "tankwright start x1y2" in error.value.findings[0].remedy
    assert "saddle" in error.value.findings[0].found


def test_a_misspelt_section_is_answered_with_the_likeliest(tmp_path):
    """The nearest section comes first, and the rest are only counted."""
    (told,) = findings(tmp_path, ("[[clear]]", "[[sektion]]"))
    assert told.found == "[[sektion]]"
    assert told.allowed.startswith("[[section]]")
    assert told.allowed.count("[") <= 6
    assert told.remedy == "did you mean section?"


@pytest.mark.parametrize(
    "metal, gauge, said",
    [
        ("3003-H14", "18 ga", "18 ga aluminium is 1.02 mm (0.040 in); in steel 18 ga is 1.21 mm"),
        ("mild steel", "16 gauge", "16 ga steel is 1.52 mm (0.060 in); in aluminium 16 ga is 1.29 mm"),
    ],
)
def test_a_gauge_is_said_in_both_metals(tmp_path, metal, gauge, said):
    """A gauge is told as a thickness, beside what it is in the metal it is confused with.

    Aluminium gauges are Brown & Sharpe (ASTM B258: 18 is 0.0403 in, 16 is 0.0508 in); sheet steel gauges are the
    Manufacturers' Standard (18 is 0.0478 in, 16 is 0.0598 in). All four from memory.
    """
    job = load(tmp_path, ('"3003-H14"', f'"{metal}"'), (THICKNESS, f'thickness = "{gauge}" '))
    assert job.notes == (said,)


def test_a_line_that_stops_short_is_said_to_be_carried_on(tmp_path):
    """The frame line short of the rear by a known amount: one note with the amount; none where it is not needed.

    The rear runs from (500, 20) to (492, 110): at z = 45 it lies at x = 500 - 8 * 25 / 90 = 497.8 mm.
    """
    short = ("frame = [[0, 50], [500, 45]]", "frame = [[0, 50], [460, 45]]")
    (note,) = load(tmp_path, short).notes
    assert note == (
        "side pattern, line frame: it stops 37.8 mm short of the rear run at x = 460.0 mm and was carried on straight"
    )
    closed = ("draw_in = 1.5 ", "closed_rear = 430\ndraw_in = 1.5 ")
    assert load(tmp_path, short, closed).notes == ()


def test_a_widest_line_a_little_short_is_said_too(tmp_path):
    """Within what patterns may differ by it is carried on and said; past that the check of the patterns stops."""
    at_front = "widest = [[0, 75]"
    (note,) = load(tmp_path, (at_front, "widest = [[1.2, 75]")).notes
    assert "line widest: it stops 1.2 mm short of the front run" in note
    far = load(tmp_path, (at_front, "widest = [[12, 75]"))
    assert far.notes == ()
    assert any("does not reach the front" in stop.says for stop in check(far).stops)


def test_an_error_is_both_ours_and_a_value_error(tmp_path):
    """Callers may catch our base or the builtin; the findings are attributes."""
    with pytest.raises(ValueError) as error:
        load_job(tmp_path)
    assert isinstance(error.value, TankwrightError)
    assert error.value.findings[0].strength == "stop"
    assert "tankwright start" in error.value.findings[0].remedy


# ------------------------------------------------------------------------------------------- lines


@settings(max_examples=60, deadline=None)
@given(spoiled())
def test_every_path_has_a_line(data):
    """Whatever a sound TOML text holds, each of its values is found on a line."""
    text = toml_text(data)
    lines = line_numbers(text)
    for path in paths(tomllib.loads(text)):
        assert path in lines, path


def test_lines_are_those_of_an_editor():
    """Line numbers agree with a search for the text, in tables, lists of tables and long lists."""
    lines = line_numbers(STARTER)
    rows = STARTER.splitlines()
    for path, text in {
        ("side", "top", 3): TOP,
        ("clear", 0, "to", 1): "to = [-40, 0, 180]",
        ("division", "scheme"): 'scheme = "crown and sides"',
    }.items():
        assert rows[lines[path] - 1].startswith(text)
    long = 'a = [\n  1,\n  # remark ]\n  [2,\n   3],\n]\n\'b c\'.d = """\nx = 1\n"""\n[[e]]\n[[e]]\nf.g = {h = 1}\n'
    lines = line_numbers(long)
    assert (lines["a", 0], lines["a", 1, 1], lines["b c", "d"], lines["e", 1, "f", "g", "h"]) == (2, 5, 7, 12)


def test_examples_in_the_docstrings_hold():
    """Every example in the module runs as printed."""
    assert doctest.testmod(tomllines).failed == 0
