"""From job folder to papers, by the command line as a shop uses it."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import numpy as np
import pytest
import trimesh
from click.testing import CliRunner

from tankwright.cli import main
from tankwright.job import load_job, make, work_out

ROOT = Path(__file__).resolve().parents[2]
EXAMPLES = ("saddle-12l", "peanut-2gal", "scrambler")


@pytest.fixture(scope="module", params=EXAMPLES)
def made(request, tmp_path_factory):
    out = tmp_path_factory.mktemp(request.param) / "papers"
    return make(ROOT / "examples" / request.param, out)


def run(*args: object):
    return CliRunner().invoke(main, [str(a) for a in args])


def test_examples_make_without_a_stop(made):
    """Each example gives its papers, with nothing that stops it."""
    assert all(f.strength != "stop" for f in made.work.findings)
    wanted = {"job-sheet.html", "results.json", "cut-list.csv", "cut-list.xlsx", "body.stl"}
    assert wanted <= set(made.papers)
    assert all((made.folder / name).stat().st_size > 0 for name in made.papers)


def test_examples_hold_what_they_are_meant_to(made):
    """About 11 to 13 L, two US gallons, and 9 to 11 L; brim, ullage and rest tie together."""
    low, high = {"saddle-12l": (11, 13), "peanut-2gal": (7, 8.2), "scrambler": (9, 11)}[made.work.job.folder.name]
    held = made.work.capacity
    assert low < held.brim_l < high
    assert held.usable_l == pytest.approx(held.brim_l - held.ullage_l - held.below_outlet_l)


def test_every_pattern_lies_on_the_surface(made):
    """Largest miss of any pattern under 1.5 mm, told in the papers."""
    assert made.work.misses
    assert max(made.work.misses.values()) < 1.5


def test_body_file_is_watertight(made):
    """The STL as trimesh, a general mesh library, reads it: closed, and as large as the body."""
    mesh = trimesh.load(made.folder / "body.stl")
    assert mesh.is_watertight
    assert mesh.volume == pytest.approx(trimesh.Trimesh(made.work.body.outer, made.work.body.faces).volume, rel=1e-4)


def test_blanks_ask_for_no_more_than_hard_forming(made):
    """The examples are tanks a shop would build: under 15 % at the worst place, none folded over."""
    for blank in made.work.blanks:
        assert blank.outline.is_valid
        assert blank.net.within(blank.outline.buffer(0.01))
        assert max(blank.stretch, blank.shrink) < 0.15


def test_areas_tie(made):
    """Blanks + offcuts + skeleton = sheets, within 0.1 %."""
    layout = made.work.layout
    for used in layout.sheets:
        whole = used.parts_area + used.offcuts_area + used.skeleton_area
        assert whole == pytest.approx(used.sheet.area, rel=1e-3)
    blanks = sum(blank.outline.area for blank in made.work.blanks)
    assert layout.parts_area == pytest.approx(blanks, rel=1e-3)


def test_left_and_right_are_true_mirrors(made):
    """Every left blank turned over lies on its right one within 0.01 mm."""
    by_name = {blank.name: blank for blank in made.work.blanks}
    pairs = [(blank, by_name[blank.mirrors]) for blank in made.work.blanks if blank.mirrors]
    assert pairs
    for left, right in pairs:
        turned = np.array(left.outline.exterior.coords) * [1, -1]
        assert right.outline.exterior.hausdorff_distance(type(right.outline)(turned).exterior) < 0.01


def test_same_input_gives_the_same_papers(tmp_path):
    """Two runs, byte for byte."""
    folders = [make(ROOT / "examples" / "saddle-12l", tmp_path / name).folder for name in ("one", "two")]
    for path in sorted(p for p in folders[0].rglob("*") if p.is_file()):
        assert path.read_bytes() == (folders[1] / path.relative_to(folders[0])).read_bytes(), path.name


def test_check_writes_nothing_and_speaks_json(tmp_path):
    """``check --json`` gives findings and figures and leaves the folder as it was."""
    folder = tmp_path / "job"
    shutil.copytree(ROOT / "examples" / "saddle-12l", folder, ignore=shutil.ignore_patterns("papers"))
    before = sorted(p.name for p in folder.rglob("*"))
    ran = run("check", folder, "--json")
    assert ran.exit_code == 0, ran.output
    said = json.loads(ran.output)
    assert said["capacity"]["brim_l"] > 11
    assert sorted(p.name for p in folder.rglob("*")) == before


def edited(tmp_path: Path, *swaps: tuple[str, str]) -> Path:
    """The first example with words of its job file exchanged."""
    folder = tmp_path / "job"
    shutil.copytree(ROOT / "examples" / "saddle-12l", folder, ignore=shutil.ignore_patterns("papers"))
    text = (folder / "job.toml").read_text(encoding="utf-8")
    for old, new in swaps:
        assert old in text
        text = text.replace(old, new)
    (folder / "job.toml").write_text(text, encoding="utf-8")
    return folder


def test_papers_that_disagree_stop_the_job_with_both_numbers(tmp_path):
    """A plan 9 mm too long for its line: both lengths, the difference, exit status 2, no papers."""
    folder = edited(tmp_path, ("[526, 82", "[535, 82"), ("[526, 0", "[535, 0"))
    for command in ("check", "make"):
        ran = run(command, folder)
        assert ran.exit_code == 2
        assert "526.4 mm" in ran.output
        assert "535.0 mm" in ran.output
        assert "8.6 mm longer" in ran.output
        assert isinstance(ran.exception, SystemExit)
    assert not (folder / "papers").exists()


def test_a_point_misread_by_an_inch_is_told(tmp_path):
    """One plan point 25 mm too far out: the plan and the point are named, whatever the sections say."""
    folder = edited(tmp_path, ("[390, 114]", "[390, 140]"))
    ran = run("check", folder)
    assert "plan at the widest line: point 8 lies" in ran.output
    assert "read that point again" in ran.output


def test_tunnel_through_the_crown_stops_the_job(tmp_path):
    """A frame line that climbs through the top run is told with its place."""
    folder = edited(tmp_path, ("frame = [[0, 70], [540, 52]]", "frame = [[0, 70], [540, 125]]"))
    ran = run("check", folder)
    assert ran.exit_code == 2
    assert "comes through the crown" in ran.output
    assert "x = " in ran.output


def test_neck_in_the_way_is_told(tmp_path):
    """A steering neck that runs into the nose stops the job."""
    folder = edited(
        tmp_path, ("from = [-70, 0, 20]", "from = [40, 0, 20]"), ("to = [0, 0, 180]", "to = [40, 0, 180]")
    )
    ran = run("check", folder)
    assert ran.exit_code == 2
    assert "steering neck runs into the tank" in ran.output


def test_making_again_replaces_only_its_own_papers(tmp_path):
    """A second run swaps the papers; a file of the maker's own in the folder stays."""
    folder = edited(tmp_path)
    assert run("make", folder).exit_code == 0
    note = folder / "papers" / "my note.txt"
    note.write_text("weld the floor last")
    ran = run("make", folder, "-q")
    assert ran.exit_code == 0, ran.output
    assert note.read_text() == "weld the floor last"
    assert not [p for p in folder.iterdir() if p.name.startswith(".papers")]


def test_a_file_of_the_users_own_is_never_overwritten(tmp_path):
    """``--out`` into a folder that holds a file of that name and is not ours: nothing is touched."""
    out = tmp_path / "mine"
    out.mkdir()
    (out / "results.json").write_text("mine")
    ran = run("make", ROOT / "examples" / "saddle-12l", "--out", out)
    assert ran.exit_code == 2
    assert "results.json" in ran.output
    assert (out / "results.json").read_text() == "mine"
    assert len(list(out.iterdir())) == 1


def test_out_that_is_a_file_is_refused(tmp_path):
    """A file where the folder should be: a message, and the file as it was."""
    out = tmp_path / "papers"
    out.write_text("mine")
    ran = run("make", ROOT / "examples" / "saddle-12l", "--out", out)
    assert ran.exit_code == 2
    assert out.read_text() == "mine"


def test_blank_larger_than_the_stock_is_told(tmp_path):
    """A shop with small sheets only hears which blank, how much too big, and what to do."""
    folder = edited(tmp_path)
    (folder / "shop.toml").write_text('[[sheet]]\nname = "small"\nwidth = "500 mm"\nheight = "500 mm"\n')
    ran = run("make", folder)
    assert ran.exit_code == 2
    assert "does not go on any sheet" in ran.output
    assert "crown" in ran.output


def test_started_job_makes_as_it_stands(tmp_path):
    """``start`` writes a whole small tank to fill in over; it makes before a word is changed."""
    folder = tmp_path / "new tank"
    assert run("start", folder).exit_code == 0
    assert run("start", folder).exit_code == 2, "a second start must not overwrite"
    work = work_out(load_job(folder))
    assert work.capacity.brim_l > 1
    assert work.blanks


def test_seam_that_parts_nothing_is_told(tmp_path):
    """A seam drawn beside the tank, and one that stops half way; one that turns back stops the job."""
    seam = '\n[[division.seam]]\nname = "nose"\nview = "side"\npoints = {points}\n'
    for points in ("[[900, -20], [900, 300]]", "[[150, 100], [300, 100]]"):
        folder = edited(tmp_path / points[2:5])
        with (folder / "job.toml").open("a", encoding="utf-8") as file:
            file.write(seam.replace("{points}", points))
        said = " ".join(f.says for f in work_out(load_job(folder)).findings)
        assert "the seam nose parts nothing" in said
    folder = edited(tmp_path / "u")
    with (folder / "job.toml").open("a", encoding="utf-8") as file:
        file.write(seam.replace("{points}", "[[150, 150], [150, 40], [300, 40], [300, 150]]"))
    ran = run("check", folder)
    assert ran.exit_code == 2
    assert "turns back on itself" in ran.output


def test_outlet_that_reaches_nothing_stops_the_job(tmp_path):
    """A standpipe taller than the tank: no negative litres, a stop with both figures."""
    folder = edited(tmp_path, ("x = 390\nout = 75", "x = 390\nout = 75\nstandpipe = 200"))
    ran = run("check", folder)
    assert ran.exit_code == 2
    assert "reach no fuel" in ran.output
    assert " -" not in ran.output.replace("-03-14", ""), "no negative litres"


def test_fold_too_wide_for_the_tunnel_is_told(tmp_path):
    """A fold radius that leaves no flat between the folds: three pieces, and the reason on the command line."""
    plain = ("doubler = { size = [44, 28], corner_radius = 6, hole = 8.5 }\n", "")  # it would fall into the bend
    folder = edited(tmp_path, ("fold_radius = 3.0", "fold_radius = 60"), plain)
    findings = work_out(load_job(folder)).findings
    assert any(f.strength == "look" and "three pieces" in f.says for f in findings)


def test_version_and_unknown_folder():
    """``--version`` speaks; a folder that is not there is one clear line and status 2."""
    assert "tankwright" in run("--version").output
    ran = run("check", ROOT / "no such folder")
    assert ran.exit_code == 2
    assert isinstance(ran.exception, SystemExit)
    assert "no such folder" in ran.output
