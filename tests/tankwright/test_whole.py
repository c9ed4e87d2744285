"""A folder of papers appears whole or not at all, and nobody's files are lost."""

from __future__ import annotations

import os

import pytest

from tankwright import whole
from tankwright.whole import LEDGER, PapersNotWritten, write_whole

PAPERS = {"list.csv": b"one", "templates/a.pdf": b"a"}


@pytest.fixture
def folder(tmp_path):
    return tmp_path / "papers"


def tree(folder):
    return sorted(p.relative_to(folder).as_posix() for p in folder.rglob("*") if p.name != LEDGER)


def test_new_folder_holds_the_papers_and_nothing_is_left_beside_it(folder):
    """The papers, their ledger, and no working folder."""
    write_whole(folder, PAPERS, revision="B")
    assert tree(folder) == ["list.csv", "templates", "templates/a.pdf"]
    assert [p.name for p in folder.parent.iterdir()] == ["papers"]


def test_users_files_links_and_folders_move_over(folder, tmp_path):
    """Files, empty folders, links that work and links that do not: all there after the next run."""
    write_whole(folder, PAPERS)
    (folder / "note.txt").write_text("mine")
    (folder / "templates" / "mine.txt").write_text("mine too")
    (folder / "photos").mkdir()
    (folder / "broken").symlink_to(tmp_path / "nowhere")
    (folder / "link").symlink_to(tmp_path)
    write_whole(folder, {"list.csv": b"two"})
    assert tree(folder) == ["broken", "link", "list.csv", "note.txt", "photos", "templates", "templates/mine.txt"]
    assert (folder / "link").is_symlink()
    assert (folder / "list.csv").read_bytes() == b"two"
    assert [p.name for p in tmp_path.iterdir()] == ["papers"]


def test_a_paper_somebody_changed_is_kept_aside(folder):
    """A cut list with pencil notes in it is not written over without a trace."""
    write_whole(folder, PAPERS, revision="B")
    (folder / "list.csv").write_bytes(b"one, but three of them")
    write_whole(folder, PAPERS, revision="B")
    assert (folder / "list.csv").read_bytes() == b"one"
    assert (folder / "earlier" / "revision-b" / "list.csv").read_bytes() == b"one, but three of them"


def test_every_earlier_revision_is_kept(folder):
    """B, C, B again, D: both states of B and that of C are there."""
    for revision, content in (("B", b"1"), ("C", b"2"), ("B", b"3"), ("D", b"4")):
        write_whole(folder, {"list.csv": content}, revision=revision)
    kept = {p.parent.name: p.read_bytes() for p in (folder / "earlier").rglob("list.csv")}
    assert kept == {"revision-b": b"1", "revision-c": b"2", "revision-b-2": b"3"}


@pytest.mark.parametrize("revision", ["../../../x", "A/B", "A:1\nB", "R" * 300, ""])
def test_a_revision_never_names_a_place_outside(folder, revision):
    """Whatever the customer calls a revision, its papers stay in the folder."""
    write_whole(folder, PAPERS, revision=revision)
    write_whole(folder, PAPERS, revision="next")
    assert [p.name for p in folder.parent.iterdir()] == ["papers"]
    assert len(list((folder / "earlier").iterdir())) == 1


def test_folder_of_somebody_elses_files_is_left_alone(folder):
    """No ledger of ours: nothing is touched, whatever the files are called; nor with a list of their own."""
    folder.mkdir()
    (folder / LEDGER).write_bytes(b"\xff list.csv\n")
    (folder / "list.csv").write_text("mine")
    with pytest.raises(PapersNotWritten, match=r"list\.csv"):
        write_whole(folder, PAPERS)
    assert (folder / "list.csv").read_text() == "mine"


def test_a_file_where_a_folder_is_needed_is_left_alone(folder):
    """A file called templates stands in the way: said, not deleted."""
    write_whole(folder, {"list.csv": b"one"})
    (folder / "templates").write_text("mine")
    with pytest.raises(PapersNotWritten, match="templates"):
        write_whole(folder, PAPERS)
    assert (folder / "templates").read_text() == "mine"
    assert (folder / "list.csv").read_bytes() == b"one"


@pytest.mark.parametrize("fault", [KeyboardInterrupt, OSError])
@pytest.mark.parametrize("step", [1, 2, 3])
def test_a_break_at_any_exchange_loses_nothing(folder, monkeypatch, fault, step):
    """Ctrl-C or a fault at the first, second or third move: every file is still there, old or new."""
    write_whole(folder, PAPERS)
    (folder / "note.txt").write_text("mine")
    real, count = os.replace, 0

    def breaking(a, b):
        nonlocal count
        count += 1
        if count == step:
            raise fault("broken off")
        real(a, b)

    monkeypatch.setattr(whole.os, "replace", breaking)
    with pytest.raises((KeyboardInterrupt, PapersNotWritten)):
        write_whole(folder, {"list.csv": b"two"})
    assert (folder / "list.csv").read_bytes() in (b"one", b"two")
    notes = list(folder.parent.rglob("note.txt"))
    assert len(notes) == 1
    assert notes[0].read_text() == "mine"


def test_a_private_folder_stays_private(folder):
    """Rights are those it had."""
    write_whole(folder, PAPERS)
    folder.chmod(0o700)
    write_whole(folder, PAPERS)
    assert folder.stat().st_mode & 0o777 == 0o700


def test_the_folder_one_stands_in_is_refused(folder, monkeypatch):
    """Exchanging it would leave the shell in a folder that is gone."""
    folder.mkdir()
    monkeypatch.chdir(folder)
    for target in (folder, folder.parent):
        with pytest.raises(PapersNotWritten, match="stand in"):
            write_whole(target, PAPERS)


def test_a_link_that_leads_round_in_a_circle_is_refused(folder):
    """One message, no fault of ours."""
    folder.symlink_to(folder)
    with pytest.raises(PapersNotWritten):
        write_whole(folder, PAPERS)
