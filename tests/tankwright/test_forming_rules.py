"""[forming]: what blanks are laid out for, for the shop, the job and one panel."""

from pathlib import Path

import pytest

from tankwright.errors import JobError
from tankwright.job import load_job, work_out
from tests.tankwright.test_shopfile import load

EXAMPLE = Path(__file__).parents[2] / "examples" / "saddle-12l"


def test_the_job_stands_over_the_shop_value_by_value(tmp_path):
    """The shop shrinks dearly; the job wants its crown level; the crown keeps the shop's cost."""
    job = load(tmp_path, "[forming]\nshrink_cost = 3\n", '\n[[forming.panel]]\nname = "Crown"\naim = "least worst"\n')
    crown, side = job.shop.forming.of("crown"), job.shop.forming.of("side right")
    assert (crown.aim, crown.shrink_cost) == ("least_worst", 3.0)
    assert (side.aim, side.shrink_cost) == ("even", 3.0)


@pytest.mark.parametrize(
    "line, words",
    [('aim = "best"', '"even", "least worst"'), ("shrink_cost = 0", "too small"), ("cost = 2", "cost")],
)
def test_what_cannot_stand_there_is_named(tmp_path, line, words):
    """A wrong word, a cost of nothing, a key that does not exist."""
    with pytest.raises(JobError, match=words):
        load(tmp_path, "", f"\n[forming]\n{line}\n")


def test_the_worst_place_is_eased_and_the_whole_works_more(tmp_path):
    """Least worst on the crown of the first example: its worst strain falls by a third, the mean nearly doubles."""
    text = (EXAMPLE / "job.toml").read_text(encoding="utf-8")
    worst, mean = [], []
    for name, extra in (("a", ""), ("b", '\n[forming]\naim = "least worst"\n')):
        folder = tmp_path / name
        folder.mkdir()
        (folder / "job.toml").write_text(text + extra)
        work = work_out(load_job(folder))
        crown = next(blank for blank in work.blanks if blank.name == "crown")
        worst.append(max(crown.stretch, crown.shrink))
        mean.append(abs(crown.flat.strain).mean())
        words = dict(work.assumptions)["crowned skins"]
        assert ("least worst" in words) == bool(extra)
    assert worst[1] < worst[0] / 1.5
    assert mean[1] > 1.8 * mean[0]


def test_more_stretch_than_the_sheet_is_known_to_take_is_a_finding(tmp_path):
    """The first example as two halves stretches by 6 %: nothing said of 3003-O (30 %), a look at 6061-T6 with n = 0.05.

    Elongation and n: the table of metals, sources there.
    """
    text = (EXAMPLE / "job.toml").read_text(encoding="utf-8").split("[division]")[0] + '[division]\nscheme = "halves"\n'
    said = {}
    for alloy in ("3003-O", "6061-T6"):
        folder = tmp_path / alloy
        folder.mkdir()
        given = text.replace("3003-H14", alloy).replace("fold_radius = 3.0", "fold_radius = 8.0")
        (folder / "job.toml").write_text(given, encoding="utf-8")
        work = work_out(load_job(folder))
        said[alloy] = [f for f in work.findings if "more stretch than is published" in f.says]
    assert not said["3003-O"]
    assert [f.strength for f in said["6061-T6"]] == ["look"]
    assert "5 % forming limit" in said["6061-T6"][0].allowed
    assert "safe" not in said["6061-T6"][0].remedy
