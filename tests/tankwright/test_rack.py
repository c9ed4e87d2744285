"""The offcut rack: two runs at once both count, a job is committed once, and is made again alike."""

from __future__ import annotations

import subprocess
import sys
from dataclasses import replace
from types import SimpleNamespace

import pytest

from tankwright.papers.results import figures
from tankwright.quotehours import HoursUnclear, past_of, read_hours, record
from tankwright.rack import Piece, RackRefused, add_piece, commit, job_key, propose, read_rack, remove_pieces
from tankwright.shop import StockSheet

from .papers.fixture import small_work

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


def test_a_job_is_committed_once_and_then_sees_the_rack_as_before(tmp_path):
    """Taken pieces leave, kept offcuts come; the second time nothing changes; the job's own view stays."""
    work = small_work("profile")
    add_piece(tmp_path, PIECE)
    before = read_rack(tmp_path)
    proposal = propose(work.job, work.layout)
    assert proposal.take == (PIECE.name,)
    assert len(proposal.put) == 2
    assert commit(tmp_path, work.job, proposal)
    after = read_rack(tmp_path)
    assert {piece.name for piece in after} == {piece.name for piece in proposal.put}
    assert not commit(tmp_path, work.job, proposal)
    assert read_rack(tmp_path) == after
    assert read_rack(tmp_path, job_key(work.job)) == before


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


def test_a_rack_piece_of_the_shop_file_is_left_to_the_shop(tmp_path):
    """A sheet that the shop file says lies on the rack is told, not looked for on the rack of ours."""
    work = small_work("profile")
    sheet = StockSheet(PIECE.name, 600.0, 300.0, rack=True)
    job = SimpleNamespace(**{**vars(work.job), "shop": replace(work.job.shop, sheets=(sheet,))})
    proposal = propose(job, work.layout)
    assert (proposal.take, proposal.by_hand) == ((), (PIECE.name,))
    assert commit(tmp_path, job, proposal)
