"""The offcut rack: two runs at once both count, a job is committed once, and is made again alike."""

from __future__ import annotations

import json
import math
import subprocess
import sys
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import pytest
from click.testing import CliRunner
from shapely.geometry import box

from tankwright.cli import main
from tankwright.errors import JobError
from tankwright.job import nest_blanks
from tankwright.keeping import NotKept
from tankwright.load import load_job
from tankwright.papers.results import figures
from tankwright.quotehours import HOURS_FILE, HoursUnclear, past_of, read_hours, record
from tankwright.rack import RACK_FILE, Piece, RackRefused, add_piece, read_rack, remove_pieces
from tankwright.rackjob import commit, job_key, propose, rack_for, rack_found, undo
from tankwright.shop import StockSheet
from tankwright.ways import _Box

from .papers.fixture import small_work

ROOT = Path(__file__).resolve().parents[2]
PIECE = Piece("rack offcut 600 x 300", 600.0, 300.0, "3003-H14", 1.6, "x")

ADD = """
import sys
from pathlib import Path
from tankwright.rack import Piece, add_piece
for _ in range(12):
    add_piece(Path(sys.argv[1]), Piece("", 300.0, 200.0, "3003-H14", 1.6))
"""


def test_two_runs_at_once_lose_nothing(tmp_path):
    """Two processes put twelve pieces each on the rack: twenty-four are there, all with names of their own."""
    runs = [subprocess.Popen([sys.executable, "-c", ADD, str(tmp_path)]) for _ in range(2)]
    assert [run.wait(120) for run in runs] == [0, 0]
    assert len({piece.name for piece in read_rack(tmp_path)}) == 24


def peanut(folder):
    """The example in inches, by itself in a folder."""
    for file in (ROOT / "examples" / "peanut-2gal").iterdir():
        if file.is_file():
            (folder / file.name).write_bytes(file.read_bytes())
    return folder


def laid(folder, *sizes):
    """The job in that folder as it is read now, and rectangles of those sizes laid out as its blanks."""
    job = load_job(folder)
    return job, nest_blanks(job, [_Box(f"blank {k}", box(0, 0, *size), None) for k, size in enumerate(sizes)])


def steel(name="", width=1250.0, height=640.0):
    return Piece(name, width, height, "mild steel", 1.2141, "x", (), 5.0)


SIZES = ((600.0, 300.0), (500.0, 280.0))


def test_a_committed_job_is_laid_out_again_as_it_was(tmp_path):
    """An offcut that comes later is not cut by a revision that has its metal: same layout, same rack, said once."""
    job, layout = laid(peanut(tmp_path), *SIZES)
    first = propose(job, layout)
    assert first.take == ()
    assert commit(tmp_path, job, first)
    late = add_piece(tmp_path, steel())
    after = read_rack(tmp_path)
    job, layout = laid(tmp_path, *SIZES)
    again = propose(job, layout)
    assert (again.take, again.put, again.differs) == ((), first.put, False)
    assert rack_found(job, layout) == ()
    assert not commit(tmp_path, job, again)
    assert read_rack(tmp_path) == after
    assert late.name in {piece.name for piece in after}


def test_pieces_taken_stay_the_job_s_own_and_others_cannot_change_that(tmp_path):
    """It took the smaller of two; that one is gone, the larger one sold to others: its papers stay as they were."""
    peanut(tmp_path)
    add_piece(tmp_path, steel("small", 640.0, 340.0))
    add_piece(tmp_path, steel("large"))
    job, layout = laid(tmp_path, (600.0, 300.0))
    assert propose(job, layout).take == ("small",)
    commit(tmp_path, job, propose(job, layout))
    assert "small" not in {piece.name for piece in read_rack(tmp_path)}
    remove_pieces(tmp_path, ["large"])
    add_piece(tmp_path, steel("tiny", 610.0, 310.0))
    job, layout = laid(tmp_path, (600.0, 300.0))
    assert propose(job, layout).take == ("small",)
    assert not propose(job, layout).differs


def test_a_committed_revision_with_another_layout_is_refused(tmp_path):
    """Both are told with the remedy, the rack stays; undone or under a new revision it goes."""
    peanut(tmp_path)
    add_piece(tmp_path, steel("one", 640.0, 340.0))
    add_piece(tmp_path, steel("two"))
    job, layout = laid(tmp_path, (600.0, 300.0))
    commit(tmp_path, job, propose(job, layout))
    before = (tmp_path / RACK_FILE).read_bytes()
    job, layout = laid(tmp_path, (1200.0, 600.0))
    assert propose(job, layout).differs
    (found,) = rack_found(job, layout)
    assert (found.strength, found.found, found.allowed) == (
        "look", "takes two; puts nothing", "takes one; puts nothing"
    )  # fmt: skip
    with pytest.raises(RackRefused, match=r"(?s)takes one; .*takes two; .*new revision.*rack undo"):
        commit(tmp_path, job, propose(job, layout))
    assert (tmp_path / RACK_FILE).read_bytes() == before
    undo(tmp_path, job_key(job))
    assert {piece.name for piece in read_rack(tmp_path)} == {"one", "two"}
    assert commit(tmp_path, job, propose(job, layout))
    assert {piece.name for piece in read_rack(tmp_path)} == {"one"}


def test_a_change_is_undone_whole_or_not_at_all(tmp_path):
    """What was taken lies there again; not where an offcut that it put has gone on, and not twice."""
    work = small_work("profile")
    add_piece(tmp_path, PIECE)
    before = read_rack(tmp_path)
    commit(tmp_path, work.job, propose(work.job, work.layout))
    undo(tmp_path, job_key(work.job))
    assert read_rack(tmp_path) == before
    with pytest.raises(RackRefused, match="nothing on the rack"):
        undo(tmp_path, job_key(work.job))
    commit(tmp_path, work.job, propose(work.job, work.layout))
    remove_pieces(tmp_path, [read_rack(tmp_path)[0].name])
    left = read_rack(tmp_path)
    with pytest.raises(RackRefused, match="in use already"):
        undo(tmp_path, job_key(work.job))
    assert read_rack(tmp_path) == left


def test_a_commit_of_an_early_version_is_still_a_commit(tmp_path):
    """Its entry held what was taken and the names of what was put: that much is compared."""
    work = small_work("profile")
    add_piece(tmp_path, PIECE)
    commit(tmp_path, work.job, propose(work.job, work.layout))
    kept = json.loads((tmp_path / RACK_FILE).read_text())
    (done,) = kept["done"]
    kept["done"] = [{"job": done["job"], "took": done["took"], "put": [row["name"] for row in done["put"]]}]
    (tmp_path / RACK_FILE).write_text(json.dumps(kept))
    pieces, committed = rack_for(tmp_path, job_key(work.job))
    assert [piece.name for piece in pieces] == [PIECE.name]
    assert committed.put is None
    assert not commit(tmp_path, work.job, propose(work.job, work.layout))


def test_two_jobs_of_one_name_and_revision_both_commit(tmp_path):
    """The customer's reference stands in the names of their offcuts, so that they do not clash."""
    work = small_work("profile")
    other = SimpleNamespace(**{**vars(work.job), "reference": "another customer"})
    add_piece(tmp_path, PIECE)
    assert commit(tmp_path, work.job, propose(work.job, work.layout))
    add_piece(tmp_path, PIECE)
    assert commit(tmp_path, other, propose(other, work.layout))
    assert len({piece.name for piece in read_rack(tmp_path)}) == 4


def test_a_piece_that_another_job_took_stops_the_commit(tmp_path):
    """Nothing is changed where a piece is gone; unknown names are not removed half-way."""
    work = small_work("profile")
    add_piece(tmp_path, Piece("R1", 100.0, 100.0, "3003-H14", 1.6))
    for change in (
        lambda: commit(tmp_path, work.job, propose(work.job, work.layout)),
        lambda: remove_pieces(tmp_path, ["R1", "R9"]),
    ):
        with pytest.raises(RackRefused, match="not on the rack"):
            change()
    assert [piece.name for piece in read_rack(tmp_path)] == ["R1"]


def test_removing_where_there_is_no_rack_leaves_nothing_behind(tmp_path):
    with pytest.raises(RackRefused, match="not on the rack"):
        remove_pieces(tmp_path, ["R1"])
    assert not list(tmp_path.iterdir())


@pytest.mark.parametrize("cutting", ["profile", "shear"])
def test_areas_tie(cutting):
    """Blanks, kept offcuts and skeleton make up the sheets within 0.1 %."""
    total = figures(small_work(cutting))["totals"]
    assert abs(total["tie_mm2"]) <= 0.001 * total["sheet_area_mm2"]


def test_hours_taken_are_compared_over_jobs(tmp_path):
    """Two jobs: 8 and 10 h estimated, 10 and 8.9 h taken, 18.9 / 18 = 1.05 times; told again, replaced."""
    one, two = ({"name": name, "reference": "", "revision": "A"} for name in ("one", "two"))
    assert not record(tmp_path, one, {"buck": 12.0}, {"buck": 8.0})
    assert record(tmp_path, one, read_hours(["buck=10"]), {"buck": 8.0})
    record(tmp_path, two, read_hours(["buck=8,9"]), {"buck": 10.0})
    (past,) = past_of(tmp_path)
    assert (past.jobs, past.estimated, past.taken) == (2, 18.0, 18.9)
    assert past.ratio == pytest.approx(1.05)
    for words in (["bukc=9"], ["buck=-1"], ["buck"]):
        with pytest.raises(HoursUnclear):
            read_hours(words)


@pytest.mark.parametrize(
    "entry",
    [{}, {"hours": {"buck": 9}}, {"hours": {"buck": {"estimated": 8}}}, {"hours": 3}, {"hours": {"buck": None}}]
    + [{"hours": {"buck": {"estimated": 8, "taken": wrong}}} for wrong in (math.nan, "many", -1, 10**400)],
)
def test_spoilt_hours_are_no_fault_of_ours(tmp_path, entry):
    """Reading and telling say which entry, what is wanted, what to try; the file stays as it is."""
    job = {"name": "one", "reference": "", "revision": "A"}
    path = tmp_path / HOURS_FILE
    path.write_text(json.dumps({"format": "tankwright hours taken 1", "jobs": [{"job": job, **entry}]}))
    before = path.read_bytes()
    with pytest.raises(NotKept, match=r"(?s)found.*wanted.*hint:"):
        past_of(tmp_path)
    with pytest.raises(NotKept, match=r"(?s)found.*wanted.*hint:"):
        record(tmp_path, job, {"buck": 10.0}, {"buck": 8.0})
    assert path.read_bytes() == before


@pytest.mark.parametrize("day", ["9999-12-31", "0001-01-01", '"9999-12-31"'])
def test_a_day_of_a_quote_out_of_all_reach_is_refused(tmp_path, day):
    """Its last day would be past the end of the calendar: told with the years that there are."""
    peanut(tmp_path)
    text = (tmp_path / "job.toml").read_text()
    assert "date = 2026-02-10\n" in text
    (tmp_path / "job.toml").write_text(text.replace("date = 2026-02-10\n", f"date = {day}\n"))
    with pytest.raises(JobError, match=r"(?s)1900 to 2200.*hint:"):
        load_job(tmp_path)


def test_a_rack_piece_of_the_shop_file_is_left_to_the_shop(tmp_path):
    """A sheet that the shop file says lies on the rack is told, not looked for on the rack of ours."""
    work = small_work("profile")
    sheet = StockSheet(PIECE.name, 600.0, 300.0, rack=True)
    job = SimpleNamespace(**{**vars(work.job), "shop": replace(work.job.shop, sheets=(sheet,))})
    proposal = propose(job, work.layout)
    assert (proposal.take, proposal.by_hand) == ((), (PIECE.name,))
    assert commit(tmp_path, job, proposal)


# ------------------------------------------------------------------------------- at the counter


def rack(*words):
    """What the command says, and its exit status."""
    result = CliRunner().invoke(main, ["rack", *map(str, words)])
    return result.exit_code, result.output


STEEL = ("--metal", "mild steel", "--thickness", "18 ga")


def test_an_inch_shop_gives_its_offcuts_in_inches(tmp_path):
    """20 x 30 there is 508 x 762 mm, and both are shown; --unit says otherwise; mm where nobody says."""
    peanut(tmp_path)
    code, said = rack("add", "20", "30", *STEEL, "--job", tmp_path)
    assert code == 0
    assert "20 x 30 in (508 x 762 mm)" in said
    assert "0.048 in (1.21 mm)" in said
    rack("add", "300", "200", *STEEL, "--unit", "mm", "--job", tmp_path)
    assert [(p.width, p.height) for p in read_rack(tmp_path)] == [(508.0, 762.0), (300.0, 200.0)]
    code, said = rack("list", "--job", tmp_path)
    assert code == 0
    assert "20 x 30 in (508 x 762 mm)" in said
    (tmp_path / "shop.toml").unlink()  # then the job's own unit
    assert "40 x 50 in" in rack("add", "40", "50", *STEEL, "--job", tmp_path)[1]
    (tmp_path / "job.toml").unlink()
    assert "400 x 500 mm" in rack("add", "400", "500", *STEEL, "--job", tmp_path)[1]


@pytest.mark.parametrize("command", [("list",), ("add", "20", "30", *STEEL), ("remove", "R1"), ("price", "R1", "5")])
def test_a_mistyped_job_is_refused(tmp_path, command):
    """Neither a folder that is not there nor one without job and shop: one message, nothing made."""
    (tmp_path / "empty").mkdir()
    for folder in (tmp_path / "typo" / "x", tmp_path / "empty"):
        code, said = rack(*command, "--job", folder)
        assert code == 2
        assert said.count("hint:") == 1
    assert [path.name for path in tmp_path.rglob("*")] == ["empty"]


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("20", "nan", *STEEL), "height"),
        (("20", "1/0", *STEEL), "divides by nought"),
        (("20", "-5", *STEEL), "height"),
        (("20", "1e9", *STEEL), "height"),
        (("20", "30", "--metal", "mild steel", "--thickness", ""), "thickness"),
        (("20", "30", "--metal", "mild steel", "--thickness", "99 ga"), "thickness"),
        (("20", "30", "--metal", "mild steel", "--thickness", "900"), "thickness"),
        (("20", "30", "--metal", "mild stel", "--thickness", "1"), "mild steel"),
        (("20", "30", *STEEL, "--price", "nan"), "price"),
        (("20", "30", *STEEL, "--price", "inf"), "price"),
        (("20", "30", *STEEL, "--price", "-1"), "price"),
        (("20", "30", *STEEL, "--price", "12,50"), "price"),
        (("20", "30", *STEEL, "--name", "R\n2"), "one line"),
    ],
)
def test_what_cannot_be_is_one_message_with_a_remedy(tmp_path, words, says):
    """Named, with what was found and what to try; nothing comes onto the rack."""
    peanut(tmp_path)
    code, said = rack("add", "--job", tmp_path, *words[2:], "--", *words[:2])
    assert code == 2
    assert says in said
    assert said.count("hint:") == 1
    assert not (tmp_path / RACK_FILE).exists()


@pytest.mark.parametrize(
    "spoilt",
    [
        {"price": math.nan},
        {"width": math.inf},
        {"height": None},
        {"thickness": 10**400},
        {"grain": "z"},
        {"outline": [[0, 0], [100, 0]]},
        {"outline": [[0, 0], [100, 100], [100, 0], [0, 100]]},
        {"outline": [[0, 0], [900, 0], [0, 100]]},
        {"outline": [[0, 0, 0], [1, 1, 1]]},
    ],
)
def test_a_spoilt_entry_is_shown_and_can_be_taken_off(tmp_path, spoilt):
    """The rest of the rack is listed, a job is refused with the remedy, and the remedy works."""
    peanut(tmp_path)
    add_piece(tmp_path, steel("good"))
    row = {"name": "bad", "width": 600, "height": 300, "metal": "mild steel", "thickness": 1.2141}
    kept = json.loads((tmp_path / RACK_FILE).read_text())
    kept["pieces"].append({**row, **spoilt})
    (tmp_path / RACK_FILE).write_text(json.dumps(kept))
    code, said = rack("list", "--job", tmp_path)
    assert code == 2
    assert "good" in said
    assert 'tankwright rack remove "bad"' in said
    with pytest.raises(NotKept, match="rack remove"):
        load_job(tmp_path)
    assert rack("remove", "bad", "--job", tmp_path) == (0, "off the rack: bad\n")
    assert [sheet.name for sheet in load_job(tmp_path).shop.rack] == ["good"]


@pytest.mark.parametrize("spoilt", [{}, {"took": None, "put": []}, {"took": [], "put": 3}, {"took": ["R1"], "put": []}])
def test_a_spoilt_commit_is_no_fault_of_ours(tmp_path, spoilt):
    """One message that names the entry."""
    job, _ = laid(peanut(tmp_path), (600.0, 300.0))
    kept = {"format": "tankwright offcut rack 1", "pieces": [], "done": [{"job": job_key(job), **spoilt}]}
    (tmp_path / RACK_FILE).write_text(json.dumps(kept))
    with pytest.raises(NotKept, match="hint:"):
        load_job(tmp_path)


def test_a_piece_gets_a_price(tmp_path):
    """And a wrong name or price leaves it alone."""
    peanut(tmp_path)
    add_piece(tmp_path, steel("one"))
    assert rack("price", "one", "12.50", "--job", tmp_path)[0] == 0
    assert read_rack(tmp_path)[0].price == 12.5
    before = (tmp_path / RACK_FILE).read_bytes()
    for words in (("two", "5"), ("one", "nan"), ("one", "dear")):
        code, said = rack("price", *words, "--job", tmp_path)
        assert (code, said.count("hint:")) == (2, 1)
    assert (tmp_path / RACK_FILE).read_bytes() == before


def test_a_number_is_not_given_twice(tmp_path):
    """R1 stands on the cut list of the job that took it: the next piece is R2."""
    peanut(tmp_path)
    add_piece(tmp_path, steel())
    job, layout = laid(tmp_path, (600.0, 300.0))
    assert propose(job, layout).take == ("R1",)
    commit(tmp_path, job, propose(job, layout))
    assert add_piece(tmp_path, steel()).name == "R2"
