"""Fittings and doublers in a job: read, refused in words, nested or left to other stock, weighed and charged."""

from __future__ import annotations

import math
import shutil
from importlib import resources
from pathlib import Path

import pytest

from tankwright.errors import JobError
from tankwright.job import check, work_out
from tankwright.load import load_job
from tankwright.papers.results import figures

STARTER = resources.files("tankwright").joinpath("templates/job.toml").read_text(encoding="utf-8")
EXAMPLES = Path(__file__).parents[2] / "examples"

MOUNT = """
[[fitting]]
name = "front mount"
kind = "mount"
at = [60, 35]
diameter = 10
doubler = { size = [44, 26], hole = 10 }
"""


def saddle_with(tmp_path, old: str, new: str, more: str = "") -> Path:
    """A copy of the saddle tank's folder with some of its job's words changed and some more at the end."""
    folder = tmp_path / "saddle-12l"
    shutil.copytree(EXAMPLES / "saddle-12l", folder)
    path = folder / "job.toml"
    text = path.read_text(encoding="utf-8")
    assert old in text
    path.write_text(text.replace(old, new) + more, encoding="utf-8")
    return folder


def job_in(folder, more: str = "", text: str = STARTER):
    (folder / "job.toml").write_text(text + more, encoding="utf-8")
    return load_job(folder)


def refused(folder, more: str) -> str:
    with pytest.raises(JobError) as caught:
        job_in(folder, more)
    (one,) = caught.value.findings
    return f"{one.where} {one.found} {one.allowed} {one.remedy}"


def test_the_starters_fitting_is_read(tmp_path):
    """The commented example as it stands: a plate of other stock at both sides, without a word against it."""
    lines = STARTER.splitlines()
    start = lines.index("# [[fitting]]")
    for k in range(start, len(lines)):
        if lines[k].startswith("# ") and not lines[k].startswith("#  ") and ("=" in lines[k] or "[" in lines[k][:4]):
            lines[k] = lines[k][2:]
        if not lines[k]:
            break
    job = job_in(tmp_path, text="\n".join(lines))
    plates = [f for f in job.fittings if f.doubler is not None]
    assert [f.hand for f in plates] == ["right", "left"]
    assert (plates[0].doubler.thickness, plates[0].doubler.metal) == (2.0, "3003-H14")
    assert not [f for f in check(job).findings if "mount" in f.pattern]


def test_places_and_sides(tmp_path):
    """Mounts at both sides, a vent where it is put, a mark's place by its name and then not twice."""
    more = MOUNT + '[[fitting]]\nname = "vent"\nkind = "vent"\nat = [190, -3]\n'
    more += '[[fitting]]\nname = "lug"\nkind = "bracket"\nmark = "register_rear"\nhand = "left"\n'
    job = job_in(tmp_path, more)
    places = {(f.name, f.hand): (f.on, f.x, f.across) for f in job.fittings}
    assert places["front mount", "right"] == places["front mount", "left"] == ("tunnel", 60, 35)
    assert places["vent", "left"] == ("top", 190, -3)
    assert places["lug", "left"] == ("tunnel", 460, 0)
    assert ("lug", "right") not in places
    assert ("register rear", "right") not in places
    assert ("register front", "right") in places


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (("at = [60, 35]", ""), "it is not clear where this fitting sits"),
        (("at = [60, 35]", 'mark = "mount"'), "no mark of this name"),
        (("size = [44, 26]", "size = [44, 26], diameter = 40"), "diameter or size"),
        (("hole = 10 ", "hole = 22 "), "less than 20 mm"),
        (("diameter = 10", "diameter = 10\nflange = 9"), "more than 10 mm"),
        (('kind = "mount"', 'kind = "tap"'), "choices"),
        (("at = [60, 35]", "at = [900, 35]"), "lies outside the tank"),
    ],
)
def test_what_cannot_be_is_refused_in_words(tmp_path, change, words):
    assert words in refused(tmp_path, MOUNT.replace(*change))


def test_a_plate_of_the_tanks_own_metal_is_nested_weighed_and_charged():
    """The saddle tank's two plates: on the sheet, in the mass, a fillet of their own length, not among the seams."""
    work = work_out(load_job(EXAMPLES / "saddle-12l"))
    got = figures(work)
    plates = [blank for blank in got["blanks"] if blank["name"].startswith("doubler")]
    assert len(plates) == 2
    assert all(blank["sheets"] and not blank["other_stock"] for blank in plates)
    around = 2 * (44 + 28) - 8 * 6 + 2 * math.pi * 6
    assert got["totals"]["fillet_length_mm"] == pytest.approx(2 * around, abs=0.3)
    area = 44 * 28 - (4 - math.pi) * 36 - math.pi * 8.5**2 / 4
    assert plates[0]["net_mass_kg"] == pytest.approx(area * 1.6 * 2730e-9, abs=1e-3)
    seams = sum(seam["length_mm"] for seam in got["seams"] if seam["joint"] in ("butt", "lap", "flange"))
    assert got["totals"]["seam_length_mm"] == pytest.approx(seams, abs=2)
    lines = {line["name"]: line["likely"] for line in got["quote"]["lines"]}
    assert "welding fillets round doublers" in lines
    numbers = {blank["piece"] for blank in plates}
    assert {f["doubler"] for f in got["fittings"] if f["name"] == "front mount"} == numbers
    assert abs(got["totals"]["tie_mm2"]) < 5


def test_a_plate_of_other_stock_is_on_no_sheet(tmp_path):
    """Twice as thick: named with its metal, weighed at its own thickness, left off the sheets, its price missing."""
    folder = saddle_with(tmp_path, "size = [44, 28]", "size = [44, 28], thickness = 2")
    plain, thick = (check(load_job(where)).capacity.dry_mass_kg for where in (EXAMPLES / "saddle-12l", folder))
    area = 44 * 28 - (4 - math.pi) * 36 - math.pi * 8.5**2 / 4
    assert thick - plain == pytest.approx(2 * area * 0.4 * 2730e-9, rel=0.01)
    work = work_out(load_job(folder))
    assert not [p for p in work.layout.placed if p.part.name.startswith("doubler")]
    got = figures(work)
    plates = [blank for blank in got["blanks"] if blank["other_stock"]]
    assert [(p["metal"], p["thickness_mm"], p["sheets"]) for p in plates] == [("3003-H14", 2.0, [])] * 2
    cut = sum(blank["cut_area_mm2"] for blank in got["blanks"]) - got["totals"]["other_stock_area_mm2"]
    assert cut == pytest.approx(got["totals"]["parts_area_mm2"], rel=1e-4)
    assert "doublers from other stock: 3003-H14 2 mm" in got["quote"]["missing"]


def test_the_scramblers_vent_stands_at_its_highest_point():
    vent = next(f for f in figures(work_out(load_job(EXAMPLES / "scrambler")))["fittings"] if f["name"] == "vent")
    assert vent["below_top_mm"] < 2


def test_a_mount_over_the_tunnels_top_is_told(tmp_path):
    """At z 90 there is no leg of the saddle tank's tunnel: put on the skin, and said."""
    mount = '\n[[fitting]]\nname = "rear mount"\nkind = "mount"\nmark = "rear_mount"\n'
    folder = saddle_with(tmp_path, "rear_mount = [500, 30]", "rear_mount = [430, 90]", more=mount)
    told = [finding for finding in check(load_job(folder)).findings if "meant for the tunnel" in finding.says]
    assert told
    assert {finding.strength for finding in told} == {"look"}


def test_a_doublers_gauge_is_of_the_jobs_metal(tmp_path):
    """16 ga is 1.29 mm in aluminium (AWG, handbooks' table in tests/published) and 1.52 mm in steel."""
    folder = saddle_with(tmp_path, "size = [44, 28]", 'size = [44, 28], thickness = "16 ga"')
    mount = next(fitting for fitting in load_job(folder).fittings if fitting.name == "front mount")
    assert mount.doubler is not None
    assert mount.doubler.thickness == pytest.approx(1.29, abs=0.01)
