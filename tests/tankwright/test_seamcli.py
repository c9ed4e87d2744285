"""`tankwright seams`: what it prints can be pasted into the job, and is then what the job gives."""

import re
import shutil
from pathlib import Path

import pytest
from click.testing import CliRunner

from tankwright.cli import main
from tankwright.job import load_job, work_out

EXAMPLES = Path(__file__).parents[2] / "examples"


@pytest.mark.parametrize("example, shrink", [("saddle-12l", "9"), ("peanut-2gal", "5")])
def test_a_proposal_pasted_into_the_job_is_what_was_proposed(example, shrink, tmp_path):
    """Millimetres and inches: the first [division] listed keeps the wish, and pasted gives its skins and worst shrink.

    The peanut's nose is tight: only a search that feels strain there as the full mesh does finds a way to 5 %.
    """
    run = CliRunner().invoke(main, ["seams", str(EXAMPLES / example), "--shrink", shrink, "--list", "1"])
    assert run.exit_code == 0, run.output
    assert "As the job divides it now" in run.output
    assert "keeps the wish" in run.output.split("\n1\n")[1]
    proposal = run.output.split("\n1\n")[1]
    pasted = "\n".join(line[4:] for line in proposal.splitlines() if line.startswith("    ") and "%" not in line)
    text = (EXAMPLES / example / "job.toml").read_text(encoding="utf-8")
    text = re.sub(r"^\[division\].*?(?=^\[(?!\[?division)|\Z)", "", text, flags=re.S | re.M)
    folder = shutil.copytree(EXAMPLES / example, tmp_path / example)
    (folder / "job.toml").write_text(f"{text}\n{pasted}\n", encoding="utf-8")
    work = work_out(load_job(folder))
    skins = [blank for blank in work.blanks if blank.kind in ("formed", "rolled") and "tunnel" not in blank.name]
    told = [float(value) for value in re.findall(r"shrink +([\d.]+) %   ", proposal)]
    assert max(told) == pytest.approx(100 * max(blank.shrink for blank in skins), abs=0.11)
    assert f"{len([b for b in skins if b.kind == 'formed'])} skins" in proposal


def test_patterns_that_do_not_agree_are_refused(tmp_path):
    """A plan that is far too long: the same stop as everywhere, exit status 2."""
    text = (EXAMPLES / "saddle-12l" / "job.toml").read_text(encoding="utf-8")
    (tmp_path / "job.toml").write_text(
        text.replace('[526, 82, "corner"], [526, 0, "corner"]', '[560, 82, "corner"], [560, 0, "corner"]')
    )
    run = CliRunner().invoke(main, ["seams", str(tmp_path)])
    assert run.exit_code == 2
    assert "Traceback" not in run.output


@pytest.mark.parametrize("option", [("--shrink", "0"), ("--skins", "0"), ("--stretch", "many")])
def test_wishes_that_make_no_sense_are_named(option):
    """Nothing, none, and no number."""
    run = CliRunner().invoke(main, ["seams", str(EXAMPLES / "saddle-12l"), *option])
    assert run.exit_code == 2
    assert option[0] in run.output
